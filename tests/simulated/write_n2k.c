/* write_n2k.c - see writers.h. Field positions and scales: the open PGN database of the canboat
 * project, version 6.2.0. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "unit.h"
#include "writers.h"

#define PAYLOAD_MAX 223 /* longest fast packet */
#define FRAME_US 600    /* about what 8 bytes take at 250 kbit/s */
#define DAY_US INT64_C(86400000000)

enum address { ADDRESS_ENGINES = 35, ADDRESS_GNSS = 36, ADDRESS_SOUNDER = 37, ADDRESS_TANKS = 38 };

struct bus {
    FILE *to;
    int64_t now;     /* us since 1970 that the next frame gets */
    unsigned packet; /* counts fast packets */
    unsigned sid;
};

struct payload {
    uint8_t bytes[PAYLOAD_MAX];
    size_t length;
};

/* --- fields */

static struct payload blank(size_t length)
{
    struct payload payload = {.length = length};
    memset(payload.bytes, 0xFF, length); /* not available, and reserved bits as they should be */
    return payload;
}

static void set(struct payload *payload, size_t first_bit, size_t bits, uint64_t raw)
{
    for (size_t i = 0; i < bits; i++) {
        uint8_t *byte = &payload->bytes[(first_bit + i) / 8];
        const unsigned mask = 1u << ((first_bit + i) % 8);
        *byte = (uint8_t)((raw >> i) & 1 ? *byte | mask : *byte & ~mask);
    }
}

static void set_unsigned(struct payload *payload, size_t first_bit, size_t bits, double value,
                         double scale)
{
    if (!isnan(value))
        set(payload, first_bit, bits, (uint64_t)llround(fmax(value / scale, 0.0)));
}

static void set_signed(struct payload *payload, size_t first_bit, size_t bits, double value,
                       double scale)
{
    const int64_t absent = (int64_t)(UINT64_MAX >> (65 - bits)); /* 0111...1: not available */
    set(payload, first_bit, bits,
        (uint64_t)(isnan(value) ? absent : (int64_t)llround(value / scale)));
}

static void set_temperature(struct payload *payload, size_t first_bit, size_t bits, double celsius,
                            double scale)
{
    set_unsigned(payload, first_bit, bits, celsius + KELVIN_AT_0_DEGC, scale);
}

static void set_text(struct payload *payload, size_t first_byte, size_t size, const char *text)
{
    const size_t length = strlen(text) < size ? strlen(text) : size;
    memcpy(payload->bytes + first_byte, text, length);
}

/* --- frames */

static void send_frame(struct bus *bus, uint32_t id, const uint8_t *data, size_t length)
{
    fprintf(bus->to, "(%lld.%06lld) can0 %08X#", (long long)(bus->now / 1000000),
            (long long)(bus->now % 1000000), id);
    for (size_t i = 0; i < length; i++)
        fprintf(bus->to, "%02X", data[i]);
    fputc('\n', bus->to);
    bus->now += FRAME_US;
}

static void send_fast(struct bus *bus, uint32_t id, const struct payload *payload)
{
    const unsigned sequence = bus->packet++ % 8u << 5;
    size_t done = 0;
    for (unsigned index = 0; done < payload->length; index++) {
        uint8_t frame[8];
        memset(frame, 0xFF, sizeof frame);
        frame[0] = (uint8_t)(sequence | index);
        size_t room = index == 0 ? 6 : 7;
        if (index == 0)
            frame[1] = (uint8_t)payload->length;
        room = payload->length - done < room ? payload->length - done : room;
        memcpy(frame + (index == 0 ? 2 : 1), payload->bytes + done, room);
        done += room;
        send_frame(bus, id, frame, sizeof frame);
    }
}

static void send_message(struct bus *bus, unsigned priority, unsigned pgn, enum address source,
                         const struct payload *payload)
{
    const uint32_t low = pgn == 60928 ? 0xFF00u : 0u; /* a claim goes to everybody */
    const uint32_t id = (uint32_t)priority << 26 | (uint32_t)pgn << 8 | low | (uint32_t)source;
    if (payload->length <= 8)
        send_frame(bus, id, payload->bytes, payload->length);
    else
        send_fast(bus, id, payload);
}

/* --- engine */

static void send_rapid(struct bus *bus, const struct boat *boat, size_t i)
{
    const struct boat_engine_reading *reading = &boat->reading.engine[i];
    struct payload payload = blank(8);
    set(&payload, 0, 8, i);
    set_unsigned(&payload, 8, 16, reading->rpm, 0.25);
    set_unsigned(&payload, 24, 16, reading->boost * 1000.0, 100.0);
    set_signed(&payload, 40, 8, NAN, 1.0);
    send_message(bus, 2, 127488, ADDRESS_ENGINES, &payload);
}

static void send_dynamic(struct bus *bus, const struct boat *boat, size_t i)
{
    const struct boat_engine_reading *reading = &boat->reading.engine[i];
    struct payload payload = blank(26);
    set(&payload, 0, 8, i);
    set_unsigned(&payload, 8, 16, reading->oil_pressure * 1000.0, 100.0);
    set_temperature(&payload, 24, 16, reading->oil_temperature, 0.1);
    set_temperature(&payload, 40, 16, reading->coolant, 0.01);
    set_signed(&payload, 56, 16, reading->voltage, 0.01);
    set_signed(&payload, 72, 16, reading->fuel, 0.1);
    set_unsigned(&payload, 88, 32, reading->hours * 3600.0, 1.0);
    set(&payload, 160, 32, 0); /* no alarm bits */
    set_signed(&payload, 192, 8, reading->load, 1.0);
    set_signed(&payload, 200, 8, NAN, 1.0);
    send_message(bus, 2, 127489, ADDRESS_ENGINES, &payload);
}

static void send_transmission(struct bus *bus, const struct boat *boat, size_t i)
{
    static const unsigned codes[] = {[GEAR_AHEAD] = 0, [GEAR_NEUTRAL] = 1, [GEAR_ASTERN] = 2};
    const struct boat_engine_reading *reading = &boat->reading.engine[i];
    struct payload payload = blank(8);
    set(&payload, 0, 8, i);
    set(&payload, 8, 2, codes[boat->truth.gear]);
    set_unsigned(&payload, 16, 16, reading->gear_pressure * 1000.0, 100.0);
    set_temperature(&payload, 32, 16, reading->gear_temperature, 0.1);
    set(&payload, 48, 8, 0);
    send_message(bus, 2, 127493, ADDRESS_ENGINES, &payload);
}

static void send_exhaust(struct bus *bus, const struct boat *boat, size_t i)
{
    struct payload payload = blank(8);
    set(&payload, 0, 8, bus->sid % 253);
    set(&payload, 8, 8, i);
    set(&payload, 16, 8, 14); /* exhaust gas */
    set_temperature(&payload, 24, 24, boat->reading.engine[i].exhaust, 0.001);
    send_message(bus, 5, 130316, ADDRESS_ENGINES, &payload);
}

static void each_engine(struct bus *bus, const struct boat *boat,
                        void (*send_one)(struct bus *, const struct boat *, size_t))
{
    for (size_t i = 0; i < boat->scenario->engine_count; i++)
        send_one(bus, boat, i);
}

static void send_rapids(struct bus *bus, const struct boat *boat)
{
    each_engine(bus, boat, send_rapid);
}
static void send_dynamics(struct bus *bus, const struct boat *boat)
{
    each_engine(bus, boat, send_dynamic);
}
static void send_transmissions(struct bus *bus, const struct boat *boat)
{
    each_engine(bus, boat, send_transmission);
}
static void send_exhausts(struct bus *bus, const struct boat *boat)
{
    each_engine(bus, boat, send_exhaust);
}

/* --- vessel */

static void set_clock(struct payload *payload, size_t first_bit, const struct bus *bus)
{
    set(payload, first_bit, 16, (uint64_t)(bus->now / DAY_US));
    set(payload, first_bit + 16, 32, (uint64_t)(bus->now % DAY_US / 100)); /* 0.0001 s */
}

static void send_time(struct bus *bus, const struct boat *boat)
{
    (void)boat;
    struct payload payload = blank(8);
    bus->sid++;
    set(&payload, 0, 8, bus->sid % 253);
    set(&payload, 8, 4, 0); /* from GPS */
    set_clock(&payload, 16, bus);
    send_message(bus, 3, 126992, ADDRESS_GNSS, &payload);
}

static void send_position(struct bus *bus, const struct boat *boat)
{
    struct payload payload = blank(8);
    set_signed(&payload, 0, 32, boat->reading.latitude, 1e-7);
    set_signed(&payload, 32, 32, boat->reading.longitude, 1e-7);
    send_message(bus, 2, 129025, ADDRESS_GNSS, &payload);
}

static void send_course(struct bus *bus, const struct boat *boat)
{
    struct payload payload = blank(8);
    set(&payload, 0, 8, bus->sid % 253);
    set(&payload, 8, 2, 0); /* true */
    set_unsigned(&payload, 16, 16, boat->reading.course * M_PI / 180.0, 0.0001);
    set_unsigned(&payload, 32, 16, boat->reading.over_ground, 0.01);
    send_message(bus, 2, 129026, ADDRESS_GNSS, &payload);
}

static void send_fix(struct bus *bus, const struct boat *boat)
{
    struct payload payload = blank(43);
    set(&payload, 0, 8, bus->sid % 253);
    set_clock(&payload, 8, bus);
    set_signed(&payload, 56, 64, boat->reading.latitude, 1e-16);
    set_signed(&payload, 120, 64, boat->reading.longitude, 1e-16);
    set_signed(&payload, 184, 64, 4.2, 1e-6);
    set(&payload, 248, 4, 0); /* GPS */
    set(&payload, 252, 4, 1); /* GNSS fix */
    set(&payload, 256, 2, 0);
    set(&payload, 264, 8, 9);
    set_signed(&payload, 272, 16, 0.9, 0.01);
    set_signed(&payload, 288, 16, 1.6, 0.01);
    set_signed(&payload, 304, 32, 52.1, 0.01);
    set(&payload, 336, 8, 0);
    send_message(bus, 3, 129029, ADDRESS_GNSS, &payload);
}

static void send_heading(struct bus *bus, const struct boat *boat)
{
    struct payload payload = blank(8);
    set(&payload, 0, 8, bus->sid % 253);
    set_unsigned(&payload, 8, 16, boat->reading.heading * M_PI / 180.0, 0.0001);
    set_signed(&payload, 24, 16, NAN, 1.0);
    set_signed(&payload, 40, 16, NAN, 1.0);
    set(&payload, 56, 2, 0); /* true */
    send_message(bus, 2, 127250, ADDRESS_GNSS, &payload);
}

static void send_speed(struct bus *bus, const struct boat *boat)
{
    struct payload payload = blank(8);
    set(&payload, 0, 8, bus->sid % 253);
    set_unsigned(&payload, 8, 16, boat->reading.speed, 0.01);
    set(&payload, 40, 8, 0); /* paddle wheel */
    send_message(bus, 2, 128259, ADDRESS_SOUNDER, &payload);
}

static void send_depth(struct bus *bus, const struct boat *boat)
{
    struct payload payload = blank(8);
    set(&payload, 0, 8, bus->sid % 253);
    set_unsigned(&payload, 8, 32, boat->reading.depth, 0.01);
    set_signed(&payload, 40, 16, 0.4, 0.001);
    send_message(bus, 3, 128267, ADDRESS_SOUNDER, &payload);
}

static void send_sea(struct bus *bus, const struct boat *boat)
{
    struct payload payload = blank(8);
    set(&payload, 0, 8, bus->sid % 253);
    set(&payload, 8, 8, 0);
    set(&payload, 16, 8, 0); /* sea */
    set_temperature(&payload, 24, 16, boat->reading.sea, 0.01);
    send_message(bus, 5, 130312, ADDRESS_SOUNDER, &payload);
}

static void send_surroundings(struct bus *bus, const struct boat *boat)
{
    struct payload payload = blank(8);
    set(&payload, 0, 8, bus->sid % 253);
    set_temperature(&payload, 24, 16, boat->reading.air, 0.01);
    set_unsigned(&payload, 40, 16, boat->reading.air_pressure * 1000.0, 100.0);
    send_message(bus, 5, 130310, ADDRESS_SOUNDER, &payload);
}

static void send_tank(struct bus *bus, const struct boat *boat)
{
    struct payload payload = blank(8);
    set(&payload, 0, 4, 0);
    set(&payload, 4, 4, 0); /* fuel */
    set_signed(&payload, 8, 16, boat->reading.fuel_level, 0.004);
    set_unsigned(&payload, 24, 32, 380.0, 0.1);
    send_message(bus, 6, 127505, ADDRESS_TANKS, &payload);
}

static void send_battery(struct bus *bus, const struct boat *boat)
{
    struct payload payload = blank(8);
    set(&payload, 0, 8, 0);
    set_signed(&payload, 8, 16, boat->reading.battery_voltage, 0.01);
    set_signed(&payload, 24, 16, boat->reading.battery_current, 0.1);
    set(&payload, 56, 8, bus->sid % 253);
    send_message(bus, 6, 127508, ADDRESS_TANKS, &payload);
}

/* --- who is on the bus; maker code 2000 and all models are invented */

static const struct device {
    enum address address;
    unsigned class, function, unique;
    const char *model, *serial;
} devices[] = {
    {ADDRESS_ENGINES, 50, 160, 7001, "Corrigal engine interface", "CI-0007"},
    {ADDRESS_GNSS, 60, 145, 7002, "Position and heading", "PH-0012"},
    {ADDRESS_SOUNDER, 75, 130, 7003, "Triducer", "TR-0304"},
    {ADDRESS_TANKS, 75, 150, 7004, "Tank and battery adapter", "TB-0040"},
};
#define DEVICE_COUNT (sizeof devices / sizeof *devices)

static void send_claim(struct bus *bus, const struct device *device)
{
    struct payload payload = blank(8);
    set(&payload, 0, 21, device->unique);
    set(&payload, 21, 11, 2000);
    set(&payload, 32, 8, 0);
    set(&payload, 40, 8, device->function);
    set(&payload, 48, 1, 0);
    set(&payload, 49, 7, device->class);
    set(&payload, 56, 4, 0);
    set(&payload, 60, 3, 4); /* marine */
    set(&payload, 63, 1, 1);
    send_message(bus, 6, 60928, device->address, &payload);
}

static void send_product(struct bus *bus, const struct device *device)
{
    struct payload payload = blank(134);
    set_unsigned(&payload, 0, 16, 2.1, 0.001);
    set(&payload, 16, 16, device->unique);
    set_text(&payload, 4, 32, device->model);
    set_text(&payload, 36, 32, "1.4");
    set_text(&payload, 68, 32, "B");
    set_text(&payload, 100, 32, device->serial);
    set(&payload, 1056, 8, 1);
    set(&payload, 1064, 8, 1);
    send_message(bus, 6, 126996, device->address, &payload);
}

static void send_devices(struct bus *bus, const struct boat *boat)
{
    (void)boat;
    for (size_t i = 0; i < DEVICE_COUNT; i++)
        send_claim(bus, &devices[i]);
    for (size_t i = 0; i < DEVICE_COUNT; i++)
        send_product(bus, &devices[i]);
}

/* --- the timetable of the bus; a period of 0 is that of 127488 */

static const struct slot {
    double period, phase; /* s */
    void (*send)(struct bus *, const struct boat *);
} slots[] = {
    {600, 0.00, send_devices},  {1, 0.00, send_time},          {0, 0.00, send_rapids},
    {0.5, 0.00, send_dynamics}, {1, 0.10, send_transmissions}, {2, 0.40, send_exhausts},
    {1, 0.20, send_position},   {1, 0.20, send_course},        {5, 0.30, send_fix},
    {1, 0.20, send_heading},    {1, 0.50, send_speed},         {1, 0.50, send_depth},
    {2, 0.60, send_sea},        {2, 0.70, send_surroundings},  {2.5, 0.80, send_tank},
    {1.5, 0.90, send_battery},
};
#define SLOT_COUNT (sizeof slots / sizeof *slots)

static void send_due(struct bus *bus, const struct boat *boat, double rapid, double due[])
{
    const int64_t start = boat->scenario->start_unix * 1000000 + llround(boat->truth.t * 1e6);
    bus->now = start > bus->now ? start : bus->now;
    for (size_t i = 0; i < SLOT_COUNT; i++) {
        if (boat->truth.t < due[i] - 1e-6)
            continue;
        slots[i].send(bus, boat);
        due[i] += slots[i].period > 0.0 ? slots[i].period : rapid;
    }
}

enum status write_n2k(const struct boat_scenario *scenario, double rapid_hz, FILE *to,
                      struct complaint *complaint)
{
    double due[SLOT_COUNT];
    struct bus bus = {.to = to};
    struct boat *boat = malloc(sizeof *boat);
    if (boat == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory for the boat model");
    for (size_t i = 0; i < SLOT_COUNT; i++)
        due[i] = slots[i].phase;
    boat_start(boat, scenario);
    do
        send_due(&bus, boat, 1.0 / rapid_hz, due);
    while (boat_advance(boat));
    free(boat);
    if (fflush(to) != 0 || ferror(to))
        return complain(complaint, STATUS_IO, "the capture could not be written");
    return STATUS_OK;
}
