/* test_transducers.c - XDR: the map from names to channels, and chains of which a part is broken.
 *
 * Types and units: the public copy of the list in the Betke protocol notes and the gpsd project's
 * guide; their conversions stand in tests/captures. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "record_0183.h"

static struct record *fresh(void)
{
    static struct record record;
    memset(&record, 0, sizeof record);
    record_clear(&record);
    return &record;
}

static void assert_reading(const struct record *record, size_t i, enum channel_id channel,
                           enum place place, unsigned instance, const char *label)
{
    assert_true(i < record->count);
    const struct recorded *reading = &record->list[i];
    assert_string_equal(channel_get(reading->channel)->key, channel_get(channel)->key);
    assert_int_equal(reading->origin.place, place);
    assert_int_equal(reading->origin.instance, instance);
    assert_string_equal(reading->origin.label, label);
}

/* --- defaults --------------------------------------------------------------------------------- */

/* A unit letter that gives the channel's unit, and a value that is believable in it. */
static const struct sendable {
    char type;
    enum unit unit;
    const char *letter, *value;
} sendables[] = {
    {'C', UNIT_DEGC, "C", "40"},    {'P', UNIT_KPA, "B", "0.9"},
    {'T', UNIT_RPM, "R", "1500"},   {'R', UNIT_LITRE_PER_HOUR, "l", "0.01"},
    {'V', UNIT_PERCENT, "P", "40"}, {'H', UNIT_PERCENT, "P", "40"},
    {'G', UNIT_HOUR, "H", "1200"},  {'U', UNIT_VOLT, "V", "13.8"},
    {'I', UNIT_AMPERE, "A", "4.5"},
};

static const struct sendable *find_sendable(const struct transducer_row *row)
{
    for (size_t i = 0; i < sizeof sendables / sizeof sendables[0]; i++)
        if (sendables[i].type == row->type[0] &&
            sendables[i].unit == channel_get(row->channel)->unit)
            return &sendables[i];
    fail_msg("no way to send %s %s", row->type, row->name);
    return NULL;
}

/* The name with a number for {n}. */
static void fill_name(const char *pattern, unsigned number, char *out, size_t size)
{
    const char *at = strstr(pattern, "{n}");
    if (at)
        snprintf(out, size, "%.*s%u%s", (int)(at - pattern), pattern, number, at + 3);
    else
        snprintf(out, size, "%s", pattern);
}

static void every_default_works(void **state)
{
    (void)state;
    struct complaint complaint;
    for (size_t i = 0; i < transducer_default_count; i++) {
        const struct transducer_row *row = &transducer_defaults[i];
        const struct sendable *send = find_sendable(row);
        char name[64], body[160];
        if (transducer_row_check(row, &complaint) != STATUS_OK)
            fail_msg("%s: %s", row->name, complaint.text);
        fill_name(row->name, 7, name, sizeof name);
        snprintf(body, sizeof body, "IIXDR,%s,%s,%s,%s", row->type, send->value, send->letter,
                 name);
        struct record *record = fresh();
        record_body(record, body);
        if (record->count != 1 || record->list[0].channel != row->channel ||
            record->list[0].origin.instance != (row->engine == TRANSDUCER_NUMBERED ? 7 : 0))
            fail_msg("%s becomes %s", body,
                     record->count ? channel_get(record->list[0].channel)->key : "nothing");
        assert_int_equal(record->list[0].origin.place == PLACE_VESSEL,
                         row->engine == TRANSDUCER_VESSEL);
    }
}

/* No default hides one below it. */
static void defaults_do_not_repeat(void **state)
{
    (void)state;
    for (size_t i = 0; i < transducer_default_count; i++)
        for (size_t j = 0; j < i; j++)
            if (transducer_defaults[i].type[0] == transducer_defaults[j].type[0] &&
                strcmp(transducer_defaults[i].name, transducer_defaults[j].name) == 0)
                fail_msg("%s occurs twice", transducer_defaults[i].name);
}

/* --- rows of the configuration ---------------------------------------------------------------- */

static const struct transducer_row own_rows[] = {
    {"C", "", "ENGINE#1", CHANNEL_OIL_TEMPERATURE, 0}, /* before the default of that name */
    {"C", "F", "BLOCK", CHANNEL_COOLANT_TEMPERATURE, 2},
    {"C", "", "BLOCK", CHANNEL_EXCHANGER_COOLANT_IN, 2},
    {"C", "", "M{n} KEEL", CHANNEL_EXCHANGER_COOLANT_OUT, TRANSDUCER_NUMBERED},
    {"C", "", "unnamed 2", CHANNEL_ENGINE_ROOM_TEMPERATURE, TRANSDUCER_VESSEL},
    {"C", "", "A,B", CHANNEL_RAW_WATER_OUT, 1},
    {"C", "", "K^DCHL", CHANNEL_RAW_WATER_IN, 1},
    {"P", "", "TANK", CHANNEL_COOLANT_LEVEL, 0}, /* a level: its unit never comes as a pressure */
    {"V", "", "HEADER", CHANNEL_COOLANT_LEVEL, 0},
    {"U", "", "HOUSE", CHANNEL_BATTERY_VOLTAGE, 1},
};

static const struct own_case {
    const char *body;
    enum channel_id channel;
    enum place place;
    unsigned instance;
    const char *label;
} own_cases[] = {
    {"IIXDR,C,82.5,C,ENGINE#1", CHANNEL_OIL_TEMPERATURE, PLACE_ENGINE, 0, "C:ENGINE#1"},
    {"IIXDR,C,82.5,C,ENGINE#2", CHANNEL_COOLANT_TEMPERATURE, PLACE_ENGINE, 2, "C:ENGINE#2"},
    {"IIXDR,C,180,F,BLOCK", CHANNEL_COOLANT_TEMPERATURE, PLACE_ENGINE, 2, "C:BLOCK"},
    {"IIXDR,C,82.5,C,BLOCK", CHANNEL_EXCHANGER_COOLANT_IN, PLACE_ENGINE, 2, "C:BLOCK"},
    {"IIXDR,C,82.5,C,M11 KEEL", CHANNEL_EXCHANGER_COOLANT_OUT, PLACE_ENGINE, 11, "C:M11 KEEL"},
    {"IIXDR,C,82.5,C,M KEEL", CHANNEL_TRANSDUCER_TEMPERATURE, PLACE_VESSEL, 0, "C:M KEEL"},
    {"IIXDR,C,82.5,C,M1 KEELS", CHANNEL_TRANSDUCER_TEMPERATURE, PLACE_VESSEL, 0, "C:M1 KEELS"},
    {"IIXDR,C,82.5,C,A^2CB", CHANNEL_RAW_WATER_OUT, PLACE_ENGINE, 1, "C:A,B"},
    {"IIXDR,C,14.0,C,K\xDCHL", CHANNEL_RAW_WATER_IN, PLACE_ENGINE, 1, "C:K^DCHL"},
    {"IIXDR,C,14.0,C,K^dcHL", CHANNEL_RAW_WATER_IN, PLACE_ENGINE, 1, "C:K^DCHL"},
    {"IIXDR,V,40,P,HEADER", CHANNEL_COOLANT_LEVEL, PLACE_ENGINE, 0, "V:HEADER"},
    {"IIXDR,U,12.6,V,HOUSE", CHANNEL_BATTERY_VOLTAGE, PLACE_BATTERY, 1, "U:HOUSE"},
};

#define OWN_ROWS (sizeof own_rows / sizeof own_rows[0])

/* Own rows, and the defaults behind them. */
static struct record *with_own_rows(void)
{
    static struct transducer_row rows[256];
    struct record *record = fresh();
    assert_true(OWN_ROWS + transducer_default_count <= sizeof rows / sizeof rows[0]);
    memcpy(rows, own_rows, sizeof own_rows);
    memcpy(rows + OWN_ROWS, transducer_defaults, transducer_default_count * sizeof rows[0]);
    record->map.row = rows;
    record->map.count = OWN_ROWS + transducer_default_count;
    return record;
}

static void own_rows_come_first(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof own_cases / sizeof own_cases[0]; i++) {
        const struct own_case *row = &own_cases[i];
        struct record *record = with_own_rows();
        record_body(record, row->body);
        if (record->count != 1)
            fail_msg("%s gives %zu readings", row->body, record->count);
        assert_reading(record, 0, row->channel, row->place, row->instance, row->label);
    }
}

static void own_rows_alone(void **state)
{
    (void)state;
    struct record *record = fresh();
    record->map.row = own_rows;
    record_body(record, "IIXDR,C,82.5,C,ENGINE#0"); /* no rows at all: the defaults are off */
    record->map.count = OWN_ROWS;
    record_body(record, "IIXDR,C,82.5,C,ENGINE#0,C,82.5,C,ENGINE#1");
    assert_int_equal(record->count, 3);
    assert_reading(record, 0, CHANNEL_TRANSDUCER_TEMPERATURE, PLACE_VESSEL, 0, "C:ENGINE#0");
    assert_reading(record, 1, CHANNEL_TRANSDUCER_TEMPERATURE, PLACE_VESSEL, 0, "C:ENGINE#0");
    assert_reading(record, 2, CHANNEL_OIL_TEMPERATURE, PLACE_ENGINE, 0, "C:ENGINE#1");
}

static void nameless_ones_can_be_mapped(void **state)
{
    (void)state;
    struct record *record = with_own_rows();
    record_body(record, "IIXDR,C,20.5,C,C,41.5,C");
    assert_int_equal(record->count, 2);
    assert_reading(record, 0, CHANNEL_TRANSDUCER_TEMPERATURE, PLACE_VESSEL, 0, "C:unnamed 1");
    assert_reading(record, 1, CHANNEL_ENGINE_ROOM_TEMPERATURE, PLACE_VESSEL, 0, "C:unnamed 2");
}

static void a_wrong_unit_is_never_stored(void **state)
{
    (void)state;
    struct record *record = with_own_rows();
    record_body(record, "IIXDR,P,0.4,B,TANK");
    record_body(record, "IIXDR,V,40,L,HEADER");
    assert_int_equal(record->count, 0);
    assert_int_equal(record_counted(record, REASON_UNKNOWN_UNIT), 2);
}

static void numbers_too_large_for_an_engine(void **state)
{
    (void)state;
    static const char *const names[] = {"ENGINE#253", "ENGINE#1000", "ENGINE#4294967296",
                                        "ENGINE#18446744073709551616"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char body[96];
        struct record *record = fresh();
        snprintf(body, sizeof body, "IIXDR,C,82.5,C,%s,C,82.5,C,ENGINE#0252", names[i]);
        record_body(record, body);
        assert_int_equal(record_counted(record, REASON_BAD_INSTANCE), 1);
        assert_int_equal(record->count, 1);
        assert_int_equal(record->list[0].origin.instance, 252);
    }
}

static void rows_are_checked(void **state)
{
    (void)state;
    static const struct {
        struct transducer_row row;
        const char *words; /* in the complaint; NULL = the row is right */
    } rows[] = {
        {{"C", "C", "BLOCK", CHANNEL_COOLANT_TEMPERATURE, 0}, NULL},
        {{"P", "", "X{n}", CHANNEL_OIL_PRESSURE, TRANSDUCER_NUMBERED}, NULL},
        {{"P", "", "X{n}", CHANNEL_OIL_PRESSURE, 0}, NULL},
        {{"G", "", "HRS", CHANNEL_ENGINE_HOURS, 0}, NULL},
        {{"Q", "", "X", CHANNEL_OIL_PRESSURE, 0}, "type"},
        {{"", "", "X", CHANNEL_OIL_PRESSURE, 0}, "type"},
        {{"P", "C", "X", CHANNEL_OIL_PRESSURE, 0}, "unit"},
        {{"P", "BAR", "X", CHANNEL_OIL_PRESSURE, 0}, "unit"},
        {{"P", "", "", CHANNEL_OIL_PRESSURE, 0}, "name"},
        {{"P", "", "X ", CHANNEL_OIL_PRESSURE, 0}, "name"},
        {{"P", "", "X\x80", CHANNEL_OIL_PRESSURE, 0}, "name"},
        {{"P", "", "X", CHANNEL_OIL_PRESSURE, TRANSDUCER_NUMBERED}, "{n}"},
        {{"P", "", "X{n}{n}", CHANNEL_OIL_PRESSURE, TRANSDUCER_NUMBERED}, "{n}"},
        {{"P", "", "X", CHANNEL_OIL_PRESSURE, -3}, "numbered"},
        {{"P", "", "X", CHANNEL_OIL_PRESSURE, INSTANCE_MAX}, "numbered"},
        {{"P", "", "X", CHANNEL_OIL_TEMPERATURE, 0}, "unit"},
        {{"G", "P", "HRS", CHANNEL_ENGINE_HOURS, 0}, "unit"},
        {{"P", "", "X", CHANNEL_COUNT, 0}, "channel"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct complaint complaint = {""};
        enum status status = transducer_row_check(&rows[i].row, &complaint);
        assert_int_equal(status, rows[i].words ? STATUS_BAD_USAGE : STATUS_OK);
        if (rows[i].words && !strstr(complaint.text, rows[i].words))
            fail_msg("row %zu: %s", i, complaint.text);
        assert_int_equal(transducer_row_check(&rows[i].row, NULL), status);
    }
}

/* --- unmapped --------------------------------------------------------------------------------- */

static void unmapped_ones_are_known(void **state)
{
    (void)state;
    assert_true(transducer_is_unmapped(CHANNEL_TRANSDUCER_TEMPERATURE));
    assert_true(transducer_is_unmapped(CHANNEL_TRANSDUCER_SALINITY));
    assert_false(transducer_is_unmapped(CHANNEL_COOLANT_TEMPERATURE));
    for (int id = 0; id < CHANNEL_COUNT; id++)
        assert_int_equal(transducer_is_unmapped((enum channel_id)id),
                         strncmp(channel_get((enum channel_id)id)->key, "transducer_", 11) == 0);
}

static void long_names_stay_apart(void **state)
{
    (void)state;
    struct record *record = fresh();
    char body[160];
    for (char last = 'A'; last <= 'Z'; last++) {
        snprintf(body, sizeof body, "IIXDR,C,20,C,%.60s%c",
                 "HEADER TANK OF THE PORT ENGINE COOLANT RETURN SENDER NUMBER ", last);
        record_body(record, body);
    }
    assert_int_equal(record->count, 26);
    for (size_t i = 0; i < record->count; i++)
        for (size_t j = 0; j < i; j++)
            assert_memory_not_equal(&record->list[i].origin, &record->list[j].origin,
                                    sizeof record->list[i].origin);
}

/* A name that fits is shown whole. */
static void names_up_to_the_label(void **state)
{
    (void)state;
    const size_t most = sizeof((struct origin *)0)->label - 3;
    for (size_t length = 1; length <= most + 1; length++) {
        struct record *record = fresh();
        char name[64], body[96];
        memset(name, 'N', sizeof name);
        name[length] = '\0';
        snprintf(body, sizeof body, "IIXDR,C,20,C,%s", name);
        record_body(record, body);
        assert_int_equal(record->count, 1);
        assert_int_equal(strcmp(record->list[0].origin.label + 2, name) == 0, length <= most);
    }
}

static void odd_escapes(void **state)
{
    (void)state;
    static const struct {
        const char *sent, *label;
    } rows[] = {
        {"A^", "C:A^"},       {"A^4", "C:A^4"},     {"A^4G", "C:A^4G"},   {"^41^42", "C:AB"},
        {"A^00B", "C:A^00B"}, {"A^0AB", "C:A^0AB"}, {"A^7fB", "C:A^7FB"}, {"A^5E41", "C:A^41"},
        {"A^2a", "C:A*"},     {" A", "C: A"},       {"A  ", "C:A"},       {"   ", "C:unnamed 1"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char body[96];
        struct record *record = fresh();
        snprintf(body, sizeof body, "IIXDR,C,20,C,%s", rows[i].sent);
        record_body(record, body);
        assert_int_equal(record->count, 1);
        assert_string_equal(record->list[0].origin.label, rows[i].label);
    }
}

/* --- chains ----------------------------------------------------------------------------------- */

/* How one group of a chain is broken while it keeps its four fields. */
static const char *const broken_groups[] = {
    "C,abc,C,X", "C,,C,X",   ",,,",         "Q,1,C,X",     "C,1,Z,X",
    "C,1,,X",    "CC,1,C,X", "C,1e3,C,X",   "C,99999,C,X", ",1,C,X",
    "c,1,C,X",   "C,1,CC,X", "P,1.2.3,B,X", "S,1,ON,X",    "G,1,XX,X",
};

/* `at` of `groups` is broken, `missing` (0 to 4) is the field that it lacks, 0 = none. */
static size_t make_chain(char *body, size_t size, size_t groups, size_t at, const char *broken)
{
    size_t n = (size_t)snprintf(body, size, "ERXDR");
    for (size_t i = 0; i < groups; i++)
        n += i == at ? (size_t)snprintf(body + n, size - n, ",%s", broken)
                     : (size_t)snprintf(body + n, size - n, ",C,%zu.5,C,ENGINE#%zu", i + 10, i);
    return n;
}

/* All sound groups are there, with their own values and no others. */
static void check_chain(const char *body, size_t groups, size_t at)
{
    struct record *record = fresh();
    record_body(record, body);
    size_t found = 0;
    for (size_t i = 0; i < groups; i++) {
        if (i == at)
            continue;
        if (found >= record->count || record->list[found].origin.instance != i ||
            record->list[found].channel != CHANNEL_COOLANT_TEMPERATURE ||
            record->list[found].value != (double)i + 10.5)
            fail_msg("%s: group %zu is lost", body, i);
        found++;
    }
    if (record->count != found)
        fail_msg("%s gives a reading too many", body);
}

static void a_broken_group_costs_no_other(void **state)
{
    (void)state;
    char body[400];
    for (size_t k = 0; k < sizeof broken_groups / sizeof broken_groups[0]; k++)
        for (size_t groups = 1; groups <= 8; groups++)
            for (size_t at = 0; at < groups; at++) {
                make_chain(body, sizeof body, groups, at, broken_groups[k]);
                check_chain(body, groups, at);
            }
}

/* A group that lacks type, value or unit is lost; the others are not. */
static void a_short_group_costs_no_other(void **state)
{
    (void)state;
    static const char *const shorts[] = {"82.5,C,X", "C,C,X", "C,82.5,X", "C", "X,Y", "82.5"};
    char body[400];
    for (size_t k = 0; k < sizeof shorts / sizeof shorts[0]; k++)
        for (size_t groups = 1; groups <= 6; groups++)
            for (size_t at = 0; at < groups; at++) {
                make_chain(body, sizeof body, groups, at, shorts[k]);
                check_chain(body, groups, at);
            }
}

static void a_group_without_a_name_costs_no_other(void **state)
{
    (void)state;
    char body[400];
    for (size_t groups = 2; groups <= 6; groups++)
        for (size_t at = 0; at < groups; at++) {
            make_chain(body, sizeof body, groups, at, "P,3.8,B");
            struct record *record = fresh();
            record_body(record, body);
            assert_int_equal(record->count, groups);
            for (size_t i = 0; i < groups; i++)
                assert_int_equal(record->list[i].channel, i == at ? CHANNEL_TRANSDUCER_PRESSURE
                                                                  : CHANNEL_COOLANT_TEMPERATURE);
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_default_works),
        cmocka_unit_test(defaults_do_not_repeat),
        cmocka_unit_test(own_rows_come_first),
        cmocka_unit_test(own_rows_alone),
        cmocka_unit_test(nameless_ones_can_be_mapped),
        cmocka_unit_test(a_wrong_unit_is_never_stored),
        cmocka_unit_test(numbers_too_large_for_an_engine),
        cmocka_unit_test(rows_are_checked),
        cmocka_unit_test(unmapped_ones_are_known),
        cmocka_unit_test(long_names_stay_apart),
        cmocka_unit_test(names_up_to_the_label),
        cmocka_unit_test(odd_escapes),
        cmocka_unit_test(a_broken_group_costs_no_other),
        cmocka_unit_test(a_short_group_costs_no_other),
        cmocka_unit_test(a_group_without_a_name_costs_no_other),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
