/* devices.h - who is behind an address of a CAN bus. Pure; fixed memory.
 *
 * Addresses on the bus may change while a run is recorded; a device is known by its 64-bit NAME,
 * which it states in its address claim (group 60928). A listener may hear a claim late or never, so
 * the text that names a source in a run file is the address at which the device was first heard:
 * "35". It stays "35" when the device moves to another address. A second device that comes to live
 * at an address after the first has left is "35.2", the next "35.3" ...
 */
#ifndef SEARUN_DEVICES_H
#define SEARUN_DEVICES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DEVICES_MAX 512

/* When two devices claim one address, the one with the lower NAME keeps it, by claiming it again
 * within this time (SAE J1939-81, from memory). */
#define CLAIM_DEFENCE_NS UINT64_C(250000000)

struct device {
    uint64_t name;   /* if named */
    bool named;      /* its claim has been heard */
    uint8_t home;    /* address at which it was first heard */
    uint8_t ordinal; /* 1 for the first device of that address */
};

/* Devices 0 .. 255 are the first ones of their address; the others come as they are needed. */
struct device_table {
    unsigned count; /* devices in the list, 256 at least */
    struct device device[DEVICES_MAX];
    struct device_seat {
        uint16_t device; /* who has the address; DEVICES_MAX = nobody known */
        bool contested;  /* `claimant` wants it, and the holder may still defend it */
        uint64_t claimant;
        int64_t since;
    } seat[256];
};

void device_table_reset(struct device_table *table);

enum device_news {
    DEVICE_KNOWN, /* nothing new */
    DEVICE_NAMED, /* its NAME is known now */
    DEVICE_MOVED  /* it has come here from another address */
};

/* Number of the device that speaks from `address` at instant `at`. *news tells of a claim that is
 * now settled because nobody has defended the address. */
unsigned device_at(struct device_table *table, int64_t at, uint8_t address, enum device_news *news);

/* The device with `name` claims `address` at instant `at`. Returns the number of the device that
 * has the address now. When the table is full, a new device takes the number of the first one of
 * the address. */
unsigned device_claim(struct device_table *table, int64_t at, uint8_t address, uint64_t name,
                      enum device_news *news);

#define DEVICE_TEXT_MAX 16
/* "35", or "35.2". */
void device_text(const struct device *device, char text[DEVICE_TEXT_MAX]);

/* The parts of a NAME (layout as in the open PGN database canboat, group 60928). */
struct device_name {
    uint32_t unique;       /* 21 bits: serial number of a kind */
    uint16_t manufacturer; /* 11 bits: code of the maker */
    uint8_t instance;      /* 8 bits */
    uint8_t function;      /* 8 bits */
    uint8_t class;         /* 7 bits */
    uint8_t system;        /* 4 bits: instance of the system */
    uint8_t industry;      /* 3 bits; 4 is marine */
};
struct device_name device_name_split(uint64_t name);

/* Words for a device class of the marine industry, e.g. "propulsion", or "" for one without. */
const char *device_class_title(unsigned class);

#endif
