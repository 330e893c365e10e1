/* test_decode_0183.c - fields, tables and whole sentences. The sentences and their values stand in
 * tests/captures; here are the rules behind them.
 *
 * Check values: times and dates against the C library's timegm, numbers against its strtod. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <locale.h>
#include <math.h>
#include <time.h>

#include "../../logger/fields_0183.h"
#include "../../logger/sentences_0183.h"
#include "record_0183.h"

static struct record *fresh(void)
{
    static struct record record;
    memset(&record, 0, sizeof record);
    record_clear(&record);
    return &record;
}

static struct field text_field(const char *text)
{
    return (struct field){text, strlen(text)};
}

/* --- fields ----------------------------------------------------------------------------------- */

static void splitting(void **state)
{
    (void)state;
    static struct fields fields;
    fields_split("IIRPM,E,,1450.0,", 16, &fields);
    assert_int_equal(fields.count, 5);
    assert_int_equal(fields.list[0].length, 5);
    assert_int_equal(fields.list[2].length, 0);
    assert_memory_equal(fields.list[3].text, "1450.0", 6);
    assert_int_equal(fields.list[4].length, 0);
    fields_split("", 0, &fields);
    assert_int_equal(fields.count, 1);
    char commas[2000];
    memset(commas, ',', sizeof commas);
    fields_split(commas, sizeof commas, &fields);
    assert_int_equal(fields.count, FIELDS_0183_MAX);
}

static const struct number_case {
    const char *text;
    enum reason reason;
    double value;
} number_cases[] = {
    {"0", FIELD_READ, 0},
    {"-0", FIELD_READ, 0},
    {"17.9", FIELD_READ, 17.9},
    {"+17.9", FIELD_READ, 17.9},
    {"-17.9", FIELD_READ, -17.9},
    {".5", FIELD_READ, .5},
    {"5.", FIELD_READ, 5},
    {"  17.9 ", FIELD_READ, 17.9},
    {"000000000000000000000000000017.9", FIELD_READ, 17.9},
    {"17.9000000000000000000000000000", FIELD_READ, 17.9},
    {"0.00000000000000000000000000001", FIELD_READ, 0},
    {"123456789012345678", FIELD_READ, 123456789012345678.0},
    {"1234567890123456789", REASON_OUT_OF_RANGE, 0},
    {"", REASON_NOT_AVAILABLE, 0},
    {"   ", REASON_NOT_AVAILABLE, 0},
    {"nan", REASON_NOT_A_NUMBER, 0},
    {"-nan(1)", REASON_NOT_A_NUMBER, 0},
    {"inf", REASON_NOT_A_NUMBER, 0},
    {"infinity", REASON_NOT_A_NUMBER, 0},
    {"0x12", REASON_NOT_A_NUMBER, 0},
    {"1e3", REASON_NOT_A_NUMBER, 0},
    {"1E3", REASON_NOT_A_NUMBER, 0},
    {"1p3", REASON_NOT_A_NUMBER, 0},
    {"1.2.3", REASON_NOT_A_NUMBER, 0},
    {"1 2", REASON_NOT_A_NUMBER, 0},
    {"- 1", REASON_NOT_A_NUMBER, 0},
    {"--1", REASON_NOT_A_NUMBER, 0},
    {"+-1", REASON_NOT_A_NUMBER, 0},
    {"-", REASON_NOT_A_NUMBER, 0},
    {".", REASON_NOT_A_NUMBER, 0},
    {"-.", REASON_NOT_A_NUMBER, 0},
    {"\t1", REASON_NOT_A_NUMBER, 0},
    {"1'000", REASON_NOT_A_NUMBER, 0},
    {"17;9", REASON_NOT_A_NUMBER, 0},
};

static void numbers(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof number_cases / sizeof number_cases[0]; i++) {
        const struct number_case *row = &number_cases[i];
        double value = 0;
        enum reason why = field_number(text_field(row->text), &value);
        if (why != row->reason || value != row->value || (value == 0 && signbit(value)))
            fail_msg("\"%s\" is read as %g, %s", row->text, value, reason_key(why));
    }
}

static void numbers_know_no_locale(void **state)
{
    (void)state;
    double value;
    setlocale(LC_ALL, "de_DE.UTF-8"); /* where it is not installed, this shows nothing new */
    assert_int_equal(field_number(text_field("17.9"), &value), FIELD_READ);
    assert_true(value == 17.9);
    assert_int_equal(field_number(text_field("17,9"), &value), REASON_NOT_A_NUMBER);
    setlocale(LC_ALL, "C");
}

/* Up to 15 digits the value is the nearest double there is, as strtod gives it. */
static void numbers_are_exact(void **state)
{
    (void)state;
    uint64_t seed = record_seed();
    for (int round = 0; round < 200000; round++) {
        char text[40];
        int digits = 1 + (int)record_below(&seed, 15), point = (int)record_below(&seed, 16);
        size_t n = 0;
        if (record_below(&seed, 2))
            text[n++] = '-';
        for (int i = 0; i < digits; i++) {
            if (i == point)
                text[n++] = '.';
            text[n++] = (char)('0' + record_below(&seed, 10));
        }
        text[n] = '\0';
        double value = -1;
        assert_int_equal(field_number(text_field(text), &value), FIELD_READ);
        if (value != strtod(text, NULL))
            fail_msg("%s is read as %.17g", text, value);
    }
}

static void times(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        enum reason reason;
        int64_t us;
    } rows[] = {
        {"000000", FIELD_READ, 0},
        {"142233.25", FIELD_READ, INT64_C(51753250000)},
        {"142233.", FIELD_READ, INT64_C(51753000000)},
        {"235959.999999", FIELD_READ, INT64_C(86399999999)},
        {"235959.9999999", FIELD_READ, INT64_C(86399999999)},
        {"235960", FIELD_READ, INT64_C(86400000000)}, /* leap second */
        {"225960", REASON_OUT_OF_RANGE, 0},
        {"235961", REASON_OUT_OF_RANGE, 0},
        {"240000", REASON_OUT_OF_RANGE, 0},
        {"126000", REASON_OUT_OF_RANGE, 0},
        {"", REASON_NOT_AVAILABLE, 0},
        {"12345", REASON_NOT_A_NUMBER, 0},
        {"1234567", REASON_NOT_A_NUMBER, 0},
        {"12:34:56", REASON_NOT_A_NUMBER, 0},
        {"12345x", REASON_NOT_A_NUMBER, 0},
        {"123456.x", REASON_NOT_A_NUMBER, 0},
        {"-12345", REASON_NOT_A_NUMBER, 0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        int64_t us = 0;
        enum reason why = field_time(text_field(rows[i].text), &us);
        if (why != rows[i].reason || us != rows[i].us)
            fail_msg("\"%s\" is read as %lld us, %s", rows[i].text, (long long)us, reason_key(why));
    }
}

/* One day, in the form of two digits and of four, against the C library's calendar. */
static void check_day(int day, int month, int year)
{
    char text[48], parts[3][16];
    struct tm tm = {.tm_year = year - 1900, .tm_mon = month - 1, .tm_mday = day};
    int64_t want = (int64_t)(timegm(&tm) / 86400), short_form = 0, long_form = 0;
    bool exists = tm.tm_mday == day && tm.tm_mon == month - 1;
    snprintf(text, sizeof text, "%02d%02d%02d", day, month, year % 100);
    snprintf(parts[0], sizeof parts[0], "%02d", day);
    snprintf(parts[1], sizeof parts[1], "%d", month);
    snprintf(parts[2], sizeof parts[2], "%d", year);
    const struct field three[3] = {text_field(parts[0]), text_field(parts[1]),
                                   text_field(parts[2])};
    enum reason why = exists ? FIELD_READ : REASON_OUT_OF_RANGE;
    assert_int_equal(field_date(text_field(text), &short_form), why);
    assert_int_equal(field_day_month_year(three, &long_form), why);
    if (exists && (short_form != want || long_form != want))
        fail_msg("%s is day %lld", text, (long long)short_form);
}

/* Every day that two digits of the year can say. */
static void dates(void **state)
{
    (void)state;
    for (int year = 1980; year < 2080; year++)
        for (int month = 1; month <= 12; month++)
            for (int day = 0; day <= 32; day++)
                check_day(day, month, year);
}

static void dates_that_are_none(void **state)
{
    (void)state;
    int64_t days;
    assert_int_equal(field_date(text_field(""), &days), REASON_NOT_AVAILABLE);
    assert_int_equal(field_date(text_field("15062026"), &days), REASON_NOT_A_NUMBER);
    assert_int_equal(field_date(text_field("15-626"), &days), REASON_NOT_A_NUMBER);
    assert_int_equal(field_date(text_field("151326"), &days), REASON_OUT_OF_RANGE);
    const struct field before[3] = {text_field("05"), text_field("01"), text_field("1979")};
    assert_int_equal(field_day_month_year(before, &days), REASON_OUT_OF_RANGE);
    const struct field century[3] = {text_field("29"), text_field("02"), text_field("2100")};
    assert_int_equal(field_day_month_year(century, &days), REASON_OUT_OF_RANGE);
}

static void positions(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        enum reason reason;
        double value;
    } rows[] = {
        {"4807.038", FIELD_READ, 48.1173},
        {"01131.000", FIELD_READ, 11 + 31 / 60.0},
        {"807.038", FIELD_READ, 8.1173},
        {"0000", FIELD_READ, 0},
        {"4859.9999", FIELD_READ, 48.99999833333333},
        {"4860.0", REASON_OUT_OF_RANGE, 0},
        {"", REASON_NOT_AVAILABLE, 0},
        {"48", REASON_NOT_A_NUMBER, 0},
        {"480700.038", REASON_NOT_A_NUMBER, 0},
        {"-4807.038", REASON_NOT_A_NUMBER, 0},
        {"48.1173", REASON_NOT_A_NUMBER, 0},
        {"4807,038", REASON_NOT_A_NUMBER, 0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double value = 0;
        enum reason why = field_position(text_field(rows[i].text), &value);
        if (why != rows[i].reason || fabs(value - rows[i].value) > 1e-12)
            fail_msg("\"%s\" is read as %.15g, %s", rows[i].text, value, reason_key(why));
    }
}

static void counts(void **state)
{
    (void)state;
    unsigned value = 77;
    assert_int_equal(field_count(text_field("007"), &value), FIELD_READ);
    assert_int_equal(value, 7);
    assert_int_equal(field_count(text_field("999999999"), &value), FIELD_READ);
    static const char *const bad[] = {"1234567890", "-1", "+1", "1.0", " 1", "x"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_int_equal(field_count(text_field(bad[i]), &value), REASON_NOT_A_NUMBER);
    assert_int_equal(field_count(text_field(""), &value), REASON_NOT_AVAILABLE);
}

/* --- tables ----------------------------------------------------------------------------------- */

static bool has_end(const struct unit_letter *units)
{
    for (int i = 0; i < 8; i++)
        if (units[i].scale == 0)
            return i > 0;
    return false;
}

static void check_row(const struct sentence_row *row, size_t i)
{
    const struct field_row *field = &row->fields[i];
    if ((unsigned)field->channel >= CHANNEL_COUNT || field->at == 0 || !has_end(field->units) ||
        field->letter_at == field->at)
        fail_msg("%s, row %zu is not complete", row->formatter, i + 1);
    if ((field->letter_at == 0) != (field->units[0].letter == '\0'))
        fail_msg("%s, row %zu: letters and where they stand do not fit", row->formatter, i + 1);
    if (field->otherwise && (i == 0 || field->channel != row->fields[i - 1].channel))
        fail_msg("%s, row %zu is no other form of the row above", row->formatter, i + 1);
    if (field->choice != '\0' && (row->select == 0 || !strchr(row->choices, field->choice)))
        fail_msg("%s, row %zu: choice that never comes", row->formatter, i + 1);
    for (size_t j = 0; j < i; j++)
        if (field->channel == row->fields[j].channel && !field->otherwise)
            fail_msg("%s: a channel occurs twice", row->formatter);
}

static void tables_are_sound(void **state)
{
    (void)state;
    for (size_t i = 0; i < sentence_row_count; i++) {
        const struct sentence_row *row = &sentence_rows[i];
        assert_int_equal(strlen(row->formatter), 3);
        assert_true(row->title[0] != '\0');
        assert_true(row->count <= VALUES_MAX);
        assert_true((row->place == PLACE_ENGINE) == (row->instance > 0));
        assert_true((row->status > 0) == (row->status_good != NULL));
        assert_true((row->mode > 0) == (row->mode_bad != NULL));
        assert_true((row->select > 0) == (row->choices != NULL));
        assert_true(row->groups || row->count > 0 || row->time > 0);
        assert_ptr_equal(sentence_row_find(row->formatter), row);
        for (size_t j = 0; j < row->count; j++)
            check_row(row, j);
    }
    assert_null(sentence_row_find("ZZZ"));
}

/* --- engines ---------------------------------------------------------------------------------- */

static void engine_numbers(void **state)
{
    (void)state;
    static const struct {
        int first;
        const char *body;
        int instance; /* -1 = refused */
    } rows[] = {
        {-1, "IIRPM,E,0,1450,,A", 0},      {-1, "IIRPM,E,1,1450,,A", 1},
        {0, "IIRPM,E,0,1450,,A", 0},       {0, "IIRPM,E,2,1450,,A", 2},
        {1, "IIRPM,E,1,1450,,A", 0},       {1, "IIRPM,S,2,1450,,A", 1},
        {1, "IIRPM,E,0,1450,,A", -1},      {0, "IIRPM,E,252,1450,,A", 252},
        {0, "IIRPM,E,253,1450,,A", -1},    {1, "IIRPM,E,253,1450,,A", 252},
        {0, "IIRPM,E,999999999,1,,A", -1},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct record *record = fresh();
        record->map.rpm_first_engine = rows[i].first;
        record_body(record, rows[i].body);
        assert_int_equal(record->count, rows[i].instance >= 0);
        assert_int_equal(record_counted(record, REASON_BAD_INSTANCE), rows[i].instance < 0);
        if (rows[i].instance >= 0)
            assert_int_equal(record->list[0].origin.instance, rows[i].instance);
    }
}

/* --- origins ---------------------------------------------------------------------------------- */

static void origins(void **state)
{
    (void)state;
    struct record *record = fresh();
    const char *line = "\\s:ABCDEFGHIJKLMNO*09\\$IIMTW,17.9,C*1C";
    record_line(record, line, strlen(line));
    assert_int_equal(record->count, 1);
    struct origin want;
    memset(&want, 0, sizeof want);
    want.protocol = PROTOCOL_NMEA0183;
    want.place = PLACE_VESSEL;
    memcpy(want.message, "MTW", 3);
    memcpy(want.source, "ABCDEFGHIJKLMNO/II", 18);
    assert_memory_equal(&record->list[0].origin, &want, sizeof want);
}

static void utc_is_told(void **state)
{
    (void)state;
    struct record *record = fresh();
    record_body(record, "GPZDA,142233.25,15,06,2026,00,00");
    record_body(record, "GPRMC,142233.25,A,,,,,,,150626,,,A");
    record_body(record, "GPGGA,142233.25,,,,,1,08,,,,,,,");
    assert_int_equal(record->utc_count, 2);
    assert_true(record->utc[0] == INT64_C(1781533353250000)); /* date -u -d 2026-06-15T14:22:33 */
    assert_true(record->utc[1] == record->utc[0]);
}

/* --- nonsense --------------------------------------------------------------------------------- */

static const char *const bodies[] = {
    "ERRPM,E,1,2418.5,10.5,A",
    "IIXDR,C,18.0,C,AIRTEMP,A,-1.0,D,HEEL,P,1.01,B,BARO,G,3,,MAGX,S,1,,BILGE",
    "IIMTW,17.9,C",
    "GNRMC,142233.25,A,3342.1234,S,15112.4567,E,18.75,271.3,150624,3.1,W,D,S",
    "GPVTG,220.86,T,219.4,M,2.550,N,4.724,K,A",
    "GPGGA,123519.00,4807.0380,N,01131.0000,E,1,08,0.9,545.4,M,46.9,M,,",
    "GPZDA,160012.00,29,02,2024,00,00",
    "VWVHW,245.1,T,243.5,M,12.3,N,22.8,K",
    "SDDBT,7.8,f,2.4,M,1.3,F",
    "INDPT,2.3,0.5,100.0",
    "HCHDG,98.3,1.0,E,12.6,W",
    "HEHDT,274.07,T",
    "VWVLW,10245.8,N,12.5,N,10300.1,N,13.0,N",
};
#define BODIES (sizeof bodies / sizeof bodies[0])

static bool is_clean_text(const char *text, size_t size)
{
    size_t length = strnlen(text, size);
    for (size_t i = 0; i < size; i++)
        if (i < length ? text[i] < 0x20 || text[i] > 0x7E : text[i] != '\0')
            return false;
    return length < size;
}

/* What every reading must be, whatever came in. */
static void assert_believable(const struct record *record, const char *body)
{
    for (size_t i = 0; i < record->count && i < RECORD_MAX; i++) {
        const struct recorded *reading = &record->list[i];
        const struct channel *channel = channel_get(reading->channel);
        if (!(reading->value >= channel->low && reading->value <= channel->high))
            fail_msg("%s: %s is %g", body, channel->key, reading->value);
        if (!is_clean_text(reading->origin.message, sizeof reading->origin.message) ||
            !is_clean_text(reading->origin.source, sizeof reading->origin.source) ||
            !is_clean_text(reading->origin.label, sizeof reading->origin.label) ||
            reading->origin.instance >= INSTANCE_MAX)
            fail_msg("%s: an origin that is not clean", body);
    }
    for (size_t i = 0; i < record->utc_count && i < RECORD_MAX; i++)
        if (record->utc[i] < 0)
            fail_msg("%s: a time before 1970", body);
    assert_int_equal(record_counted(record, REASON_READINGS), record->count);
}

/* A sentence that its sender ended anywhere, with a checksum that matches. */
static void every_prefix(void **state)
{
    (void)state;
    for (size_t n = 0; n < BODIES; n++) {
        for (size_t length = 0; length <= strlen(bodies[n]); length++) {
            char body[128];
            memcpy(body, bodies[n], length);
            body[length] = '\0';
            struct record *record = fresh();
            record_body(record, body);
            assert_believable(record, body);
        }
    }
}

/* Every field in turn is replaced by something odd. */
static void every_field_broken(void **state)
{
    (void)state;
    static const char *const odd[] = {"",  "nan", "-1e9",    "99999999999", "A",  "-", ".",
                                      "*", "1e5", "0x1.8p3", " ",           "-0", "^", "^41"};
    for (size_t n = 0; n < BODIES; n++) {
        static struct fields fields;
        fields_split(bodies[n], strlen(bodies[n]), &fields);
        for (size_t i = 1; i < fields.count; i++)
            for (size_t k = 0; k < sizeof odd / sizeof odd[0]; k++) {
                char body[256];
                int head = (int)(fields.list[i].text - bodies[n]);
                snprintf(body, sizeof body, "%.*s%s%s", head, bodies[n], odd[k],
                         fields.list[i].text + fields.list[i].length);
                struct record *record = fresh();
                record_body(record, body);
                assert_believable(record, body);
            }
    }
}

static void random_bodies(void **state)
{
    (void)state;
    static const char letters[] = "0123456789.,,,,-+ACFKPBHRLTUVINSEWM#^ ef\xFC~";
    uint64_t seed = record_seed();
    for (int round = 0; round < 100000; round++) {
        char body[200];
        size_t length = strlen(bodies[0]) + record_below(&seed, 100), n = 6;
        memcpy(body, bodies[record_below(&seed, BODIES)], 5);
        body[5] = ',';
        while (n < length)
            body[n++] = letters[record_below(&seed, sizeof letters - 1)];
        body[n] = '\0';
        struct record *record = fresh();
        record_body(record, body);
        assert_believable(record, body);
    }
}

/* Text that no framer gave: the decoder has no hidden trust in it. */
static void unframed_text(void **state)
{
    (void)state;
    static char text[3000];
    uint64_t seed = record_seed();
    for (int round = 0; round < 2000; round++) {
        size_t length = record_below(&seed, sizeof text);
        for (size_t i = 0; i < length; i++)
            text[i] = record_below(&seed, 3) ? (char)record_random(&seed) : ',';
        if (length > 6)
            memcpy(text, "IIXDR,", 6);
        struct sentence sentence = {.text = text, .length = length};
        struct record *record = fresh();
        const struct sink sink = {record, record_readings, record_event, record_utc};
        decode_sentence(&record->map, 0, 0, &sentence, &sink, &record->tally);
        assert_believable(record, "random text");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(splitting),
        cmocka_unit_test(numbers),
        cmocka_unit_test(numbers_know_no_locale),
        cmocka_unit_test(numbers_are_exact),
        cmocka_unit_test(times),
        cmocka_unit_test(dates),
        cmocka_unit_test(dates_that_are_none),
        cmocka_unit_test(positions),
        cmocka_unit_test(counts),
        cmocka_unit_test(tables_are_sound),
        cmocka_unit_test(engine_numbers),
        cmocka_unit_test(origins),
        cmocka_unit_test(utc_is_told),
        cmocka_unit_test(every_prefix),
        cmocka_unit_test(every_field_broken),
        cmocka_unit_test(random_bodies),
        cmocka_unit_test(unframed_text),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
