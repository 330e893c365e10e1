/* messages_can.h - how CAN messages are described: a row a message, a field list under its drawing.
 *
 * The decoder knows nothing of any message: what is odd about one is a column here. Bits are
 * counted from bit 0 (the lowest) of byte 0; numbers are little endian.
 */
#ifndef SEARUN_MESSAGES_CAN_H
#define SEARUN_MESSAGES_CAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "reading.h"

/* What a field is. Fields that decide about others come first in a list. */
enum can_role {
    CAN_VALUE,    /* raw * scale + offset is the value of the channel */
    CAN_INSTANCE, /* number of the engine, tank, battery or sensor */
    CAN_SELECT,   /* code that says what the values of its group are (struct can_choice) */
    CAN_CODE,     /* code that stands for a value of the channel (struct can_choice) */
    CAN_VALID,    /* one of these codes (struct can_choice): the fields after it are not sound */
    CAN_STATUS,   /* named bits (struct can_status): an event when one changes */
    CAN_DATE,     /* days since 1970 */
    CAN_TIME,     /* 0.1 ms since midnight UTC; with the date it is a statement of UTC */
    CAN_NAME,     /* 64-bit NAME of the device that claims its address */
    /* these are no numbers: */
    CAN_TEXT,         /* text of fixed length */
    CAN_TEXT_COUNTED, /* text behind its length and type; starts where the one before it ends */
    CAN_FAULTS        /* J1939 trouble codes of four bytes each, up to the end of the message */
};

#define CAN_GROUPS 3 /* group 0, which no CAN_SELECT decides about, and two more */

enum can_field_flag {
    CAN_SIGNED = 1,
    /* All ones mean "not available", although the type has another code for it or none. Devices
     * fill what they do not know with ones (seen in public captures of engine interfaces: load,
     * torque and trim FF, fuel rate FFFF, status words FFFF). A true -1 % or -0.1 L/h is not worth
     * a wrong reading. */
    CAN_ONES_MISSING = 2
};

/* The highest raw values are special: 0 below the highest is "not available", 1 below is "out of
 * range" or "error", further ones are reserved. `codes` says how many there are, after shifting the
 * distance right by `code_shift`.
 *   NMEA 2000: 3 from 8 bits on, 2 from 4 bits on, 1 from 2 bits on (open PGN database canboat).
 *   J1939: FF, FE and FD..FB of the highest byte; with 4 or 2 bits the two highest (J1939-71). */
#define N2K_CODES(bits) ((bits) >= 8 ? 3 : (bits) >= 4 ? 2 : (bits) >= 2 ? 1 : 0)
#define J1939_CODES(bits) ((bits) >= 8 ? 5 : 2)
#define J1939_CODE_SHIFT(bits) ((bits) > 8 ? (bits)-8 : 0)

struct can_field {
    uint8_t role;  /* enum can_role */
    uint8_t group; /* below CAN_GROUPS */
    uint16_t channel;
    uint16_t first; /* bit */
    uint16_t bits;
    uint8_t codes, code_shift;
    uint8_t flags; /* enum can_field_flag */
    uint8_t slot;  /* CAN_STATUS: number of the status word in its message, from 0 */
    double scale, offset;
    union {
        const struct can_choice *choices;
        const struct can_status *status;
        const char *title; /* CAN_TEXT: what stands before the text */
    };
};

#define CAN_STATUS_SLOTS 2 /* status words of one message */
#define CAN_STATUS_ITEMS 16

/* Named bits of a status word, from the lowest. `width` 1: 1 is on. `width` 2 (J1939): 00 off, 01
 * on, 10 error, 11 not available; the last two change nothing. */
struct can_status {
    uint8_t width;
    uint8_t count;
    struct can_status_item {
        const char *key, *title;
    } item[CAN_STATUS_ITEMS];
};

#define CHOICE_OTHER 0xFFFF /* last row of a list: any other code; its label gets the code added */
#define CHOICE_END 0xFFFE   /* last row of a list: other codes are reserved */

/* One meaning of a code. */
struct can_choice {
    uint16_t code;
    uint16_t channel;  /* CAN_SELECT: channel of the values whose field has CHANNEL_COUNT */
    uint8_t place;     /* CAN_SELECT: enum place */
    const char *label; /* CAN_SELECT: "sea"; "" = the values stand with those of group 0 */
    double value;      /* CAN_CODE */
};

enum can_carrier {
    CARRIED_SINGLE,  /* one frame, or a transport-protocol message */
    CARRIED_FAST,    /* fast packet, or a transport-protocol message */
    CARRIED_CONTROL, /* the frame manages the transport protocol */
    CARRIED_DATA     /* the frame is a part of a transport-protocol message */
};

struct can_row {
    uint32_t number; /* PGN */
    const char *key; /* name of the message in a run file: "127488", "EEC1" */
    const char *title;
    uint8_t protocol;        /* enum protocol; PROTOCOL_COUNT = both */
    uint8_t carrier;         /* enum can_carrier */
    uint8_t place;           /* enum place */
    bool instance_of_source; /* the source address tells the engine (J1939) */
    const char
        *instance_label; /* label of what has an instance above 0 but no group: "rudder", or NULL */
    const char *text_event; /* key of the event that gives its texts, or NULL */
    const struct can_field *fields;
    uint8_t count; /* of fields */
};

extern const struct can_row can_rows_n2k[];
extern const size_t can_row_count_n2k;
extern const struct can_row can_rows_j1939[];
extern const size_t can_row_count_j1939;
extern const struct can_row
    can_rows_both[]; /* messages that carry other messages, address claims */
extern const size_t can_row_count_both;

/* Start-up check of the tables: 0, or the PGN of the first row that lacks a key, title or fields,
 * is there twice, or whose fields are not as described above. */
uint32_t can_rows_check(void);
/* The same for one row, but for its number. */
bool can_row_is_sound(const struct can_row *row);

#endif
