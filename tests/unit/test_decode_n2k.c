/* test_decode_n2k.c - NMEA 2000 messages become readings, events and UTC.
 *
 * What each message holds is checked by tests/captures (test_captures_can.c); here is what they
 * have in common. Facts: the open PGN database canboat (schema 2.3.0, version 6.2.0), and what
 * public captures of real buses show where a comment says so. */
#include "can_kit.h"

#include "../../logger/messages_can.h"

static bool is_fast(uint32_t pgn)
{
    static const uint32_t fast[] = {126996, 127489, 127497, 127498, 129029};
    for (size_t i = 0; i < sizeof fast / sizeof *fast; i++)
        if (fast[i] == pgn)
            return true;
    return false;
}

static void send(struct can_kit *kit, uint32_t pgn, unsigned source, const char *payload)
{
    uint8_t bytes[256];
    size_t length = kit_bytes(payload, strlen(payload), bytes, sizeof bytes);
    kit_message(kit, pgn, source, is_fast(pgn), 0, bytes, length);
}

static void tables_are_sound(void **state)
{
    (void)state;
    assert_int_equal(can_rows_check(), 0);
}

/* What the check at the start refuses. Each starts from a row that is sound. */
static void unsound_rows_are_refused(void **state)
{
    (void)state;
    static const struct can_choice choices[] = {
        {.code = 0, .channel = CHANNEL_SEA_TEMPERATURE, .place = PLACE_VESSEL, .label = "sea"},
        {.code = CHOICE_END},
    };
    static const struct can_choice no_label[] = {{.code = 0}, {.code = CHOICE_END}};
    static const struct can_choice wrong_place[] = {
        {.code = 0, .place = PLACE_TANK, .label = ""},
        {.code = CHOICE_END},
    };
    static const struct can_status bits = {1, 8, {{"a", "A"}, {"b", "B"}}};
    static const struct can_status pair = {2, 4, {{"a", "A"}, {"b", "B"}, {"c", "C"}, {"d", "D"}}};
    const struct can_field number = {.channel = CHANNEL_DEPTH, .bits = 8, .scale = 1};
    const struct can_field select = {.role = CAN_SELECT, .group = 1, .bits = 8, .choices = choices};
    struct can_field fields[VALUES_MAX + 1];
    const struct can_row sound = {.number = 1,
                                  .key = "key",
                                  .title = "title",
                                  .carrier = CARRIED_SINGLE,
                                  .place = PLACE_VESSEL,
                                  .text_event = "text",
                                  .fields = fields,
                                  .count = 1};
    struct can_row row = sound;
    fields[0] = number;
    assert_true(can_row_is_sound(&row));
#define REFUSED(...)                                                                               \
    do {                                                                                           \
        row = sound;                                                                               \
        __VA_ARGS__;                                                                               \
        assert_false(can_row_is_sound(&row));                                                      \
    } while (0)
    REFUSED(row.key = NULL);
    REFUSED(row.key = "");
    REFUSED(row.title = NULL);
    REFUSED(row.title = "");
    REFUSED(row.place = PLACE_COUNT);
    REFUSED(row.count = 0);
    REFUSED(row.carrier = CARRIED_DATA);
    REFUSED(fields[0].channel = CHANNEL_COUNT);
    REFUSED(fields[0] = number; fields[0].scale = 0);
    REFUSED(fields[0] = number; fields[0].bits = 0);
    REFUSED(fields[0] = number; fields[0].bits = 65);
    REFUSED(fields[0] = number; fields[0].bits = 64; fields[0].first = 1);
    REFUSED(fields[0] = number; fields[0].group = CAN_GROUPS);
    REFUSED(fields[0] = number; fields[0].group = 1); /* no field decides about the group */
    REFUSED(fields[0] = number; fields[0].role = 99);
    REFUSED(fields[0] = select; fields[0].group = 0);
    REFUSED(fields[0] = select; fields[0].bits = 0);
    REFUSED(fields[0] = select; fields[0].choices = NULL);
    REFUSED(fields[0] = select; fields[0].choices = no_label);
    REFUSED(fields[0] = select; fields[0].choices = wrong_place);
    REFUSED(fields[0] = select; fields[0].role = CAN_CODE; fields[0].choices = NULL);
    REFUSED(fields[0] = select; fields[0].role = CAN_CODE; fields[0].bits = 65);
    REFUSED(fields[0] = (struct can_field){.role = CAN_STATUS, .bits = 8}); /* no names */
    REFUSED(fields[0].status = &bits); /* six names are missing */
    REFUSED(fields[0].status = &pair; fields[0].bits = 16);
    REFUSED(fields[0].status = &pair; fields[0].bits = 8; fields[0].slot = CAN_STATUS_SLOTS);
    REFUSED(fields[0] = (struct can_field){.role = CAN_TEXT, .bits = 8}); /* no title */
    REFUSED(fields[0].title = "t"; fields[0].bits = 9);
    REFUSED(fields[0].bits = 8; fields[0].first = 1);
    REFUSED(fields[0].first = 0; row.text_event = NULL);
    REFUSED(fields[0] = (struct can_field){.role = CAN_FAULTS, .first = 4});
    REFUSED(fields[0] = (struct can_field){.role = CAN_DATE});
    for (size_t i = 0; i < VALUES_MAX + 1; i++)
        fields[i] = number;
    REFUSED(row.count = VALUES_MAX + 1);
    row.count = VALUES_MAX;
    assert_true(can_row_is_sound(&row));
    row.count = 2;
    fields[0] = select;
    fields[1] = number;
    fields[1].group = 1;
    assert_true(can_row_is_sound(&row));
    fields[0] = (struct can_field){.role = CAN_STATUS, .bits = 8, .status = &pair};
    fields[1] = (struct can_field){.role = CAN_TEXT, .bits = 8, .title = "t"};
    assert_true(can_row_is_sound(&row));
}

/* Reserved bits are sent as ones, but a decoder must not depend on them: with them cleared the
 * readings are the same. The reserved bits are those of 127488, 127505, 127250 and 130312. */
static void reserved_bits_do_not_matter(void **state)
{
    (void)state;
    static const struct {
        uint32_t pgn;
        const char *ones, *zeros;
    } pairs[] = {
        {127488, "009A0B170000FFFF", "009A0B1700000000"},
        {127505, "00C40AD80E0000FF", "00C40AD80E000000"},
        {127250, "1C21C2FF7FFF7FFC", "1C21C2FF7FFF7F00"},
        {130312, "1C00007F6FFFFFFF", "1C00007F6FFFFF00"},
    };
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
        struct can_kit ones, zeros;
        kit_start(&ones, BUS_AUTO, 0);
        kit_start(&zeros, BUS_AUTO, 0);
        send(&ones, pairs[i].pgn, 35, pairs[i].ones);
        send(&zeros, pairs[i].pgn, 35, pairs[i].zeros);
        char *text = kit_take(&ones);
        assert_non_null(strchr(text, '='));
        kit_expect(&zeros, "reserved bits", text);
        free(text);
        kit_stop(&ones);
        kit_stop(&zeros);
    }
}

/* --- lengths */

/* Seen on real buses: 127488 without its reserved bytes, 127489 cut short. What is there counts. */
static void short_messages(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    send(&kit, 127488, 35, "009A0B170000");
    kit_expect(&kit, "six bytes hold all fields",
               "127488 engine 0 35 \"\" engine_speed=742.5 boost_pressure=2.3 drive_trim=0\n");
    send(&kit, 127488, 35, "009A0B1700");
    kit_expect(&kit, "five bytes",
               "127488 engine 0 35 \"\" engine_speed=742.5 boost_pressure=2.3\n");
    send(&kit, 127488, 35, "009A0B17");
    kit_expect(&kit, "half a field", "127488 engine 0 35 \"\" engine_speed=742.5\n");
    send(&kit, 127488, 35, "00");
    send(&kit, 127488, 35, "");
    send(&kit, 127489, 35, "006E0F6B0E9F8A8405120180FE440000000000");
    kit_expect(&kit, "19 bytes",
               "127489 engine 0 35 \"\" oil_pressure=395 oil_temperature=95.95 "
               "coolant_temperature=81.72 alternator_voltage=14.12 fuel_rate=27.4 "
               "engine_hours=1256 coolant_pressure=0 fuel_pressure=0\n");
    send(&kit, 127489, 35, "006E0F6B0E9F8A");
    kit_expect(&kit, "7 bytes",
               "127489 engine 0 35 \"\" oil_pressure=395 oil_temperature=95.95 "
               "coolant_temperature=81.72\n");
    kit_end(&kit, "each is counted once", "tally short_message 6\n");
}

static void longer_messages(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    send(&kit, 127489, 35, "006E0F6B0E9F8A8405120180FE44008E033001FF000000004742AABBCC");
    kit_end(
        &kit, "what a later version adds is ignored",
        "127489 engine 0 35 \"\" oil_pressure=395 oil_temperature=95.95 coolant_temperature=81.72 "
        "alternator_voltage=14.12 fuel_rate=27.4 engine_hours=1256 coolant_pressure=91 "
        "fuel_pressure=304 engine_status_1=0 engine_status_2=0 engine_load=71 engine_torque=66\n");
}

/* --- status */

static void send_status(struct can_kit *kit, unsigned engine, unsigned source, unsigned word_1,
                        unsigned word_2)
{
    uint8_t payload[26];
    memset(payload, 0xFF, sizeof payload);
    payload[0] = (uint8_t)engine;
    payload[20] = (uint8_t)word_1;
    payload[21] = (uint8_t)(word_1 >> 8);
    payload[22] = (uint8_t)word_2;
    payload[23] = (uint8_t)(word_2 >> 8);
    kit_message(kit, 127489, source, true, 0, payload, sizeof payload);
}

static void status_bits_are_events(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    kit.texts = true;
    send_status(&kit, 0, 35, 0x0002, 0);
    kit_expect(
        &kit, "on at the start",
        "127489 engine 0 35 \"\" event over_temperature: Over temperature: on when first heard\n"
        "127489 engine 0 35 \"\" engine_status_1=2 engine_status_2=0\n");
    send_status(&kit, 0, 35, 0x0002, 0);
    kit_expect(&kit, "no change", "127489 engine 0 35 \"\" engine_status_1=2 engine_status_2=0\n");
    send_status(&kit, 0, 35, 0x0040, 0x0004);
    kit_expect(&kit, "one off, two on",
               "127489 engine 0 35 \"\" event over_temperature_ended: Over temperature: off\n"
               "127489 engine 0 35 \"\" event low_coolant_level: Low coolant level: on\n"
               "127489 engine 0 35 \"\" event power_reduction: Power reduction: on\n"
               "127489 engine 0 35 \"\" engine_status_1=64 engine_status_2=4\n");
    send_status(&kit, 0, 35, 0xFFFF, 0xFFFF);
    kit_expect(&kit, "all ones say nothing", "");
    send_status(&kit, 1, 35, 0x0080, 0);
    kit_expect(&kit, "another engine of the same source",
               "127489 engine 1 35 \"\" event water_flow: Water flow: on when first heard\n"
               "127489 engine 1 35 \"\" engine_status_1=128 engine_status_2=0\n");
    send_status(&kit, 0, 36, 0, 0);
    kit_expect(&kit, "another source of the same engine",
               "127489 engine 0 36 \"\" engine_status_1=0 engine_status_2=0\n");
    send_status(&kit, 0, 35, 0, 0);
    kit_expect(&kit, "all off",
               "127489 engine 0 35 \"\" event low_coolant_level_ended: Low coolant level: off\n"
               "127489 engine 0 35 \"\" event power_reduction_ended: Power reduction: off\n"
               "127489 engine 0 35 \"\" engine_status_1=0 engine_status_2=0\n");
    kit_stop(&kit);
}

/* All 16 + 16 bits have the key the database has a name for, in this order. */
static void status_keys(void **state)
{
    (void)state;
    static const char *const keys[] = {
        "check_engine",
        "over_temperature",
        "low_oil_pressure",
        "low_oil_level",
        "low_fuel_pressure",
        "low_system_voltage",
        "low_coolant_level",
        "water_flow",
        "water_in_fuel",
        "charge_indicator",
        "preheat_indicator",
        "high_boost_pressure",
        "rev_limit_exceeded",
        "egr_system",
        "throttle_position_sensor",
        "emergency_stop",
        "warning_level_1",
        "warning_level_2",
        "power_reduction",
        "maintenance_needed",
        "engine_communication_error",
        "secondary_throttle",
        "neutral_start_protect",
        "engine_shutting_down",
    };
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        char want[256];
        struct can_kit kit;
        unsigned word_1 = i < 16 ? 1u << i : 0, word_2 = i >= 16 ? 1u << (i - 16) : 0;
        kit_start(&kit, BUS_AUTO, 0);
        send_status(&kit, 0, 35, word_1, word_2);
        snprintf(want, sizeof want,
                 "127489 engine 0 35 \"\" event %s\n"
                 "127489 engine 0 35 \"\" engine_status_1=%u engine_status_2=%u\n",
                 keys[i], word_1, word_2);
        kit_expect(&kit, keys[i], want);
        kit_stop(&kit);
    }
}

/* A babbling device: events are rationed, what is held back is counted, and when peace returns the
 * events tell the state as it then is. */
static void events_are_rationed(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    for (unsigned i = 0; i < 1000; i++)
        send_status(&kit, 0, 35, i % 2 ? 0 : 0x5555, 0);
    char *text = kit_take(&kit);
    size_t events = 0;
    for (const char *p = text; (p = strstr(p, " event ")); p++)
        events++;
    free(text);
    /* 256 at once and two a second; 1000 messages of 4 frames of 1 ms take 4 s. What is held back
     * stays to be told, so it is counted with every message that has it. */
    assert_in_range(events, 256, 256 + 8);
    assert_in_range(kit.tally.line[REASON_EVENT_HELD_BACK].count, 3000, 8000);
    kit.at += 600 * NS_PER_S;
    send_status(&kit, 0, 35, 0x0002, 0);
    text = kit_take(&kit);
    assert_non_null(strstr(text, " event over_temperature\n"));
    free(text);
    kit_stop(&kit);
}

/* At one instant there are 256, and not one more. */
static void the_ration_is_256(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    kit.step = 0;
    for (unsigned source = 0; source < 40; source++)
        send_status(&kit, 0, source, 0x00FF, 0);
    char *text = kit_take(&kit);
    size_t events = 0;
    for (const char *p = text; (p = strstr(p, " event ")); p++)
        events++;
    free(text);
    assert_int_equal(events, 256);
    assert_int_equal(kit.tally.line[REASON_EVENT_HELD_BACK].count, 40 * 8 - 256);
    kit_stop(&kit);
}

/* --- UTC */

static void utc_is_told(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    send(&kit, 126992, 36, "1CF08A5000000000");
    kit_expect(&kit, "2026-06-15 is day 20619: 0x508B; this is the day before",
               "utc 126992 vessel 0 36 \"GPS\" 2026-06-14T00:00:00.000000Z\n");
    send(&kit, 126992, 36, "1CF58B50FF7F7D33"); /* 0x337D7FFF is 86386.2783 s */
    kit_expect(&kit, "a crystal clock says so",
               "utc 126992 vessel 0 36 \"crystal clock\" 2026-06-15T23:59:46.278300Z\n");
    send(&kit, 129033, 36, "8B5010D92E1F7800");
    kit_expect(&kit, "129033: 0x1F2ED910 is 52316.392 s",
               "utc 129033 vessel 0 36 \"\" 2026-06-15T14:31:56.392000Z\n");
    send(&kit, 126992, 36, "1CFF8B5010270000");
    kit_expect(&kit, "clock not known",
               "utc 126992 vessel 0 36 \"\" 2026-06-15T00:00:01.000000Z\n");
    send(&kit, 126992, 36, "1CF98B5010270000");
    kit_expect(&kit, "clock without a name",
               "utc 126992 vessel 0 36 \"clock 9\" 2026-06-15T00:00:01.000000Z\n");
    kit_end(&kit, "counts", "tally not_available 1\n");
}

static void utc_that_is_none(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    send(&kit, 126992, 36, "1CF0FFFF10270000"); /* no date */
    send(&kit, 126992, 36, "1CF08B50FFFFFFFF"); /* no time */
    send(&kit, 129033, 36, "FFFFFFFFFFFFFF7F"); /* neither */
    send(&kit, 129033, 36, "FEFFFEFFFFFFFF7F"); /* out of range */
    send(&kit, 129033, 36, "FDFFFDFFFFFFFF7F"); /* reserved */
    send(&kit, 129033, 36, "8B5000987F33FF7F"); /* 86400.0000 s: a leap second has no UNIX time */
    send(&kit, 129033, 36, "8B50109FA233FF7F"); /* beyond a leap second */
    send(&kit, 129033, 36, "0000000000000000"); /* 1970: the clock was never set */
    send(&kit, 129033, 36, "CC2A000000000000"); /* 1999-12-31, day 10956 */
    send(&kit, 129033, 36, "8B50");
    kit_end(
        &kit, "nothing",
        "tally not_available 4\ntally out_of_range 6\ntally reserved 2\ntally short_message 1\n");
}

static void first_and_last_day(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    send(&kit, 129033, 36, "CD2A000000000000"); /* day 10957 */
    send(&kit, 129033, 36, "FCFFFF977F330000"); /* day 65532, 86399.9999 s */
    kit_end(&kit, "days",
            "utc 129033 vessel 0 36 \"\" 2000-01-01T00:00:00.000000Z\n"
            "utc 129033 vessel 0 36 \"\" 2149-06-03T23:59:59.999900Z\n");
}

/* --- texts */

static void product_information(void **state)
{
    (void)state;
    struct can_kit kit;
    uint8_t payload[134];
    memset(payload, 0xFF, sizeof payload);
    memcpy(payload + 4, "Engine interface@@@@", 20); /* model, filled with '@' */
    memset(payload + 36, 0, 32);                     /* software, filled with zeros */
    memcpy(payload + 36, "1.40", 5);
    memset(payload + 68, ' ', 32);             /* version, nothing but spaces */
    memcpy(payload + 100, "A\xE9-00\1777", 7); /* serial number with a letter not ASCII */
    kit_start(&kit, BUS_AUTO, 0);
    kit.texts = true;
    kit_message(&kit, 126996, 35, true, 5, payload, sizeof payload);
    kit_expect(&kit, "texts",
               "126996 vessel 0 35 \"\" event product_information: model Engine interface; "
               "software 1.40; serial number A?-00?7\n");
    kit_message(&kit, 126996, 35, true, 6, payload, sizeof payload);
    kit_expect(&kit, "the same again is not told", "");
    payload[39] = '1';
    kit_message(&kit, 126996, 35, true, 7, payload, sizeof payload);
    kit_expect(&kit, "changed",
               "126996 vessel 0 35 \"\" event product_information: model Engine interface; "
               "software 1.41; serial number A?-00?7\n");
    kit_message(&kit, 126996, 36, true, 7, payload, 100);
    kit_expect(&kit, "cut short",
               "126996 vessel 0 36 \"\" event product_information: model Engine interface; "
               "software 1.41\n");
    kit_end(&kit, "counts", "tally not_available 4\ntally short_message 1\n");
}

static void engine_identification(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    kit.texts = true;
    kit.step = 0;
    /* 2800 rpm; VIN "CORR12" one byte a letter, software "V2" two bytes a letter */
    send(&kit, 127498, 35, "00C02B0801434F52523132060056003200");
    kit_expect(&kit, "both texts",
               "127498 engine 0 35 \"\" rated_speed=2800\n"
               "127498 engine 0 35 \"\" event engine_identification: VIN CORR12; software V2\n");
    send(&kit, 127498, 35, "01C02B02010201");
    kit_expect(&kit, "empty texts", "127498 engine 1 35 \"\" rated_speed=2800\n");
    send(&kit, 127498, 35, "01C02B4001434F5252");
    kit_expect(&kit, "length beyond the end", "127498 engine 1 35 \"\" rated_speed=2800\n");
    send(&kit, 127498, 35, "01C02B0837434F52523132");
    kit_expect(&kit, "a type that is none", "127498 engine 1 35 \"\" rated_speed=2800\n");
    send(&kit, 127498, 35, "01C02B0802434F52523132");
    kit_expect(&kit, "the first type that is none", "127498 engine 1 35 \"\" rated_speed=2800\n");
    send(&kit, 127498, 35, "01C02B0001");
    send(&kit, 127498, 35, "01C02B");
    kit_end(&kit, "counts",
            "127498 engine 1 35 \"\" rated_speed=2800\n"
            "127498 engine 1 35 \"\" rated_speed=2800\n"
            "tally not_available 2\ntally short_message 5\n");
}

/* The transport protocol may carry a text longer than an event: it is cut. */
static void a_text_that_is_too_long(void **state)
{
    (void)state;
    struct can_kit kit;
    uint8_t payload[3 + 255 + 2] = {0, 0xC0, 0x2B, 255, 1};
    memset(payload + 5, 'V', 253);
    memcpy(payload + 258, "\2\1", 2);
    kit_start(&kit, BUS_AUTO, 0);
    kit.texts = true;
    kit.step = 0;
    size_t packets = (sizeof payload + 6) / 7;
    kit_frame(&kit, 0x9CECFF23,
              (uint8_t[8]){0x20, sizeof payload & 0xFF, sizeof payload >> 8, (uint8_t)packets, 0xFF,
                           0x0A, 0xF2, 0x01},
              8);
    for (size_t i = 0; i < packets; i++) {
        uint8_t data[8];
        memset(data, 0xFF, sizeof data);
        data[0] = (uint8_t)(i + 1);
        size_t rest = sizeof payload - 7 * i;
        memcpy(data + 1, payload + 7 * i, rest < 7 ? rest : 7);
        kit_frame(&kit, 0x9CEBFF23, data, 8);
    }
    char *text = kit_take(&kit);
    const char *event = strstr(text, "engine_identification: ");
    assert_non_null(event);
    event += strlen("engine_identification: ");
    assert_memory_equal(event, "VIN VVVV", 8);
    assert_int_equal(strcspn(event, "\n"), 255);
    free(text);
    kit_stop(&kit);
}

/* --- the bus */

/* Seen in a public capture: one interface for two engines counts its fast packets apart for each
 * engine, 3, 0, 4, 1, 5, 2, and the frames of both may lie between each other. */
static void counters_of_two_engines(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    static const unsigned counters[] = {3, 0, 4, 1, 5, 2};
    for (unsigned i = 0; i < 6; i++)
        send_status(&kit, i % 2, 35, 1u << 4 | 1u << counters[i] % 2, 0);
    free(kit_take(&kit));
    kit_frames(&kit,
               "09F20123#601A006E0F6B0E9F 09F20123#001A016E0F6B0E24 09F20123#618A8405120180FE "
               "09F20123#018D8405190170F0 09F20123#6244008E033001FF 09F20123#0244008E033001FF "
               "09F20123#63000000004742FF 09F20123#03000000004A45FF");
    char *text = kit_take(&kit);
    assert_non_null(strstr(text, "127489 engine 0 35 \"\" oil_pressure=395 oil_temperature=95.95 "
                                 "coolant_temperature=81.72"));
    assert_non_null(strstr(text, "127489 engine 1 35 \"\" oil_pressure=395 oil_temperature=95.95 "
                                 "coolant_temperature=88.17"));
    free(text);
    can_decoder_expire(kit.decoder, INT64_MAX, &kit.tally);
    assert_int_equal(kit.tally.line[REASON_FAST_PACKET_LOST].count, 0);
    assert_int_equal(kit.tally.line[REASON_FAST_PACKET_TIMEOUT].count, 0);
    kit_stop(&kit);
}

static void foreign_frames_are_counted(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    kit.sums = true;
    static const uint8_t data[9] = {0};
    kit_frame(&kit, 0x123, data, 8);                                  /* 11 bits */
    kit_frame(&kit, 0x80000000u | 0x40000000u | 0x09F20023, data, 0); /* remote */
    kit_frame(&kit, 0x20000000u | 0x4, data, 8);                      /* error */
    kit_frame(&kit, 0x80000000u | 0x09F20023, data, 9);               /* longer than CAN has */
    kit_frame(&kit, 0x80000000u | 0x19F11323, data, 8); /* 127251, rate of turn: none of ours */
    kit_frame(&kit, 0x80000000u | 0x1DEF0023, data, 8); /* 126720, proprietary */
    kit_frame(&kit, 0x80000000u | 0x18EAFF23, data, 3); /* 59904, a request */
    kit_frame(&kit, 0x80000000u | 0x0BF20023, data, 8); /* the reserved bit set: another network */
    kit_end(&kit, "counts",
            "tally not_ours 4\ntally frames 4\ntally frame_11_bit 1\ntally frame_error 3\n");
}

static void a_bus_can_be_set(void **state)
{
    (void)state;
    static const struct {
        enum bus_kind kind;
        const char *expected;
    } buses[] = {
        {BUS_AUTO, "127488 engine 0 35 \"\" engine_speed=742.5 boost_pressure=2.3 drive_trim=0\n"
                   "EEC1 engine 0 0 \"\" engine_torque=33 engine_speed=1800\n"},
        {BUS_NMEA2000,
         "127488 engine 0 35 \"\" engine_speed=742.5 boost_pressure=2.3 drive_trim=0\n"
         "tally not_ours 1\n"},
        {BUS_J1939, "EEC1 engine 0 0 \"\" engine_torque=33 engine_speed=1800\n"
                    "tally not_ours 1\n"},
    };
    for (size_t i = 0; i < sizeof buses / sizeof *buses; i++) {
        struct can_kit kit;
        kit_start(&kit, buses[i].kind, 0);
        kit_frames(&kit, "09F20023#009A0B170000FFFF 0CF00400#31A09E403800F3A0");
        kit_end(&kit, "bus", buses[i].expected);
    }
}

/* A bus of nonsense that names sources and engines without end must not fill memory or file. */
static void origins_are_bounded(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    for (unsigned source = 0; source < 200; source++)
        for (unsigned engine = 0; engine < 10; engine++) {
            uint8_t data[8] = {(uint8_t)engine, 0x9A, 0x0B, 0x17, 0, 0, 0xFF, 0xFF};
            kit_message(&kit, 127488, source, false, 0, data, 8);
        }
    assert_int_equal(kit.tally.line[REASON_READINGS].count, 3 * 512);
    assert_int_equal(kit.tally.line[REASON_TOO_MANY_SOURCES].count, 2000 - 512);
    kit_stop(&kit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tables_are_sound),
        cmocka_unit_test(unsound_rows_are_refused),
        cmocka_unit_test(reserved_bits_do_not_matter),
        cmocka_unit_test(short_messages),
        cmocka_unit_test(longer_messages),
        cmocka_unit_test(status_bits_are_events),
        cmocka_unit_test(status_keys),
        cmocka_unit_test(events_are_rationed),
        cmocka_unit_test(the_ration_is_256),
        cmocka_unit_test(utc_is_told),
        cmocka_unit_test(utc_that_is_none),
        cmocka_unit_test(first_and_last_day),
        cmocka_unit_test(product_information),
        cmocka_unit_test(engine_identification),
        cmocka_unit_test(a_text_that_is_too_long),
        cmocka_unit_test(counters_of_two_engines),
        cmocka_unit_test(foreign_frames_are_counted),
        cmocka_unit_test(a_bus_can_be_set),
        cmocka_unit_test(origins_are_bounded),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
