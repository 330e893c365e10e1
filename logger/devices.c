/* devices.c - who is behind an address of a CAN bus. See devices.h. */
#include "devices.h"

#include <stdio.h>
#include <string.h>

#include "frame_can.h"

#define ADDRESSES 256
#define NOBODY DEVICES_MAX
#define ORDINAL_MAX 99

void device_table_reset(struct device_table *table)
{
    memset(table, 0, sizeof *table);
    table->count = ADDRESSES;
    for (unsigned i = 0; i < ADDRESSES; i++) {
        table->device[i].home = (uint8_t)i;
        table->device[i].ordinal = 1;
        table->seat[i].device = (uint16_t)i;
    }
}

static unsigned find_name(const struct device_table *table, uint64_t name)
{
    for (unsigned i = 0; i < table->count; i++)
        if (table->device[i].named && table->device[i].name == name)
            return i;
    return NOBODY;
}

/* A further device of an address that others have had; the first one again if there is no room. */
static unsigned add_device(struct device_table *table, uint8_t address)
{
    unsigned ordinal = 1;
    for (unsigned i = 0; i < table->count; i++)
        if (table->device[i].home == address && table->device[i].ordinal >= ordinal)
            ordinal = table->device[i].ordinal + 1u;
    if (table->count == DEVICES_MAX || ordinal > ORDINAL_MAX)
        return address;
    table->device[table->count] = (struct device){.home = address, .ordinal = (uint8_t)ordinal};
    return table->count++;
}

/* Somebody unknown at an address. The first device of the address, unless that one is known by its
 * NAME and has gone elsewhere. */
static unsigned somebody_at(struct device_table *table, uint8_t address)
{
    return table->device[address].named ? add_device(table, address) : address;
}

/* Takes a device out of all its seats. */
static void vacate(struct device_table *table, unsigned device)
{
    for (unsigned i = 0; i < ADDRESSES; i++)
        if (table->seat[i].device == device)
            table->seat[i].device = NOBODY;
}

/* The address now belongs to the device with that NAME. */
static unsigned take_seat(struct device_table *table, uint8_t address, uint64_t name,
                          enum device_news *news)
{
    struct device_seat *seat = &table->seat[address];
    unsigned device = find_name(table, name);
    *news = device == NOBODY ? DEVICE_NAMED : DEVICE_MOVED;
    if (device == NOBODY) {
        bool unnamed = seat->device != NOBODY && !table->device[seat->device].named;
        device = unnamed ? seat->device : somebody_at(table, address);
        table->device[device].name = name;
        table->device[device].named = true;
    }
    vacate(table, device);
    seat->device = (uint16_t)device;
    seat->contested = false;
    return device;
}

/* A contested address goes to the claimant if nobody has defended it in time. */
static void settle(struct device_table *table, int64_t at, uint8_t address, enum device_news *news)
{
    struct device_seat *seat = &table->seat[address];
    *news = DEVICE_KNOWN;
    if (seat->contested && at > seat->since &&
        (uint64_t)at - (uint64_t)seat->since > CLAIM_DEFENCE_NS)
        take_seat(table, address, seat->claimant, news);
}

unsigned device_at(struct device_table *table, int64_t at, uint8_t address, enum device_news *news)
{
    struct device_seat *seat = &table->seat[address];
    settle(table, at, address, news);
    if (seat->device == NOBODY)
        seat->device = (uint16_t)somebody_at(table, address);
    return seat->device;
}

/* A device that has lost its address and found no other. */
static unsigned lose_seat(struct device_table *table, uint8_t address, uint64_t name)
{
    unsigned device = find_name(table, name);
    if (device == NOBODY)
        return address;
    vacate(table, device);
    return device;
}

unsigned device_claim(struct device_table *table, int64_t at, uint8_t address, uint64_t name,
                      enum device_news *news)
{
    struct device_seat *seat = &table->seat[address];
    settle(table, at, address, news);
    if (address >= CAN_ADDRESS_NONE)
        return lose_seat(table, address, name);
    unsigned holder = seat->device;
    bool held = holder != NOBODY && table->device[holder].named;
    if (!held || name < table->device[holder].name)
        return take_seat(table, address, name, news);
    seat->contested = name != table->device[holder].name;
    seat->claimant = name;
    seat->since = at;
    return holder;
}

void device_text(const struct device *device, char text[DEVICE_TEXT_MAX])
{
    if (device->ordinal <= 1)
        snprintf(text, DEVICE_TEXT_MAX, "%u", device->home);
    else
        snprintf(text, DEVICE_TEXT_MAX, "%u.%u", device->home, device->ordinal);
}

/*  bit   0                 21          32        40         48  49      56       60       63
 *        +------------------+-----------+---------+----------+---+-------+--------+--------+---+
 *        |  unique number   |   maker   |instance | function | - | class | system |industry|arb|
 *        +------------------+-----------+---------+----------+---+-------+--------+--------+---+
 */
struct device_name device_name_split(uint64_t name)
{
    return (struct device_name){
        .unique = (uint32_t)(name & 0x1FFFFF),
        .manufacturer = (uint16_t)(name >> 21 & 0x7FF),
        .instance = (uint8_t)(name >> 32),
        .function = (uint8_t)(name >> 40),
        .class = (uint8_t)(name >> 49 & 0x7F),
        .system = (uint8_t)(name >> 56 & 0xF),
        .industry = (uint8_t)(name >> 60 & 7),
    };
}

/* Enumeration DEVICE_CLASS of the open PGN database canboat. */
static const struct class_title {
    uint8_t class;
    const char *title;
} class_titles[] = {
    {10, "system tools"},
    {20, "safety"},
    {25, "gateway between networks"},
    {30, "electrical distribution"},
    {35, "electrical generation"},
    {40, "steering and control"},
    {50, "propulsion"},
    {60, "navigation"},
    {70, "communication"},
    {75, "sensor interface"},
    {80, "instrumentation"},
    {85, "external environment"},
    {90, "internal environment"},
    {100, "deck and fishing equipment"},
    {110, "human interface"},
    {120, "display"},
    {125, "entertainment"},
};

const char *device_class_title(unsigned class)
{
    for (size_t i = 0; i < sizeof class_titles / sizeof *class_titles; i++)
        if (class_titles[i].class == class)
            return class_titles[i].title;
    return "";
}
