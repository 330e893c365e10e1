/* test_written.c - numbers, units, dates and times as people write them.
 * Conversions: NIST SP 811 (2008), appendix B. Instants: the same by `date -u -d`. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "../../logger/written.h"
#include "near.h"

static void expect_number(const char *text, bool comma, double value)
{
    double number;
    if (!read_written_number(text, comma, &number))
        fail_msg("\"%s\" was not read", text);
    assert_near(number, value, 1e-12);
}

static void test_numbers(void **state)
{
    (void)state;
    double number;
    expect_number("82.5", false, 82.5);
    expect_number(" -3 ", false, -3);
    expect_number("82,5", true, 82.5);
    expect_number("82.5", true, 82.5);
    expect_number("\xE2\x88\x92"
                  "1.5",
                  false, -1.5); /* the minus sign of typographers */
    expect_number("1e3", false, 1000);
    expect_number(".5", false, 0.5);
    static const char *const bad[] = {"",      "-",    "82,5", "1,800", "0x10", "inf", "nan",
                                      "1.2.3", "82 C", "5.",   "1e999", "--1",  "e5"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        if (read_written_number(bad[i], false, &number))
            fail_msg("\"%s\" was read as %g", bad[i], number);
    /* Longer than any number that is meant; 62 digits and an exponent once wrote past the room. */
    assert_false(read_written_number("1234567890123456789012345678901234567890123456789012345678901"
                                     "2e+5",
                                     false, &number));
    assert_true(read_written_number("123456789012345678901234567890123456789012345678901234567890",
                                    false, &number));
    assert_near(number / 1.2345678901234568e59, 1, 1e-12);
}

static void expect_unit(const char *word, enum unit unit, double value, double stored)
{
    const struct written_unit *row = written_unit_find(word, unit);
    if (!row)
        fail_msg("\"%s\" is not known", word);
    assert_near(value * row->factor + row->offset, stored, 1e-9 * (1 + fabs(stored)));
}

static void test_units(void **state)
{
    (void)state;
    char list[100];
    expect_unit("°F", UNIT_DEGC, 180, 82.0 + 2.0 / 9.0);
    expect_unit("degF", UNIT_DEGC, 32, 0);
    expect_unit("F", UNIT_DEGC, 212, 100);
    expect_unit("c", UNIT_DEGC, 71, 71);
    expect_unit("K", UNIT_DEGC, 273.15, 0);
    expect_unit("psi", UNIT_KPA, 10, 68.94757293168361);
    expect_unit("bar", UNIT_KPA, 1.5, 150);
    expect_unit("RPM", UNIT_RPM, 1800, 1800);
    expect_unit("min", UNIT_SECOND, 5, 300);
    expect_unit("gal/h", UNIT_LITRE_PER_HOUR, 1, 3.785411784);
    expect_unit("kn", UNIT_METRE_PER_SECOND, 1, 1852.0 / 3600.0);
    assert_null(written_unit_find("psi", UNIT_DEGC));
    assert_null(written_unit_find("", UNIT_DEGC));
    written_unit_list(UNIT_DEGC, list, sizeof list);
    assert_string_equal(list, "°C, °F, K");
}

static void expect_instant(const char *date, const char *time, const char *zone, int64_t unix_s)
{
    struct written_date day;
    double seconds, ahead = 0;
    assert_true(take_written_date(&date, &day));
    assert_true(take_written_time(&time, &seconds));
    assert_true(!zone || take_written_zone(&zone, &ahead));
    assert_int_equal(written_unix_us(&day, seconds - ahead), unix_s * 1000000);
}

static void test_instants(void **state)
{
    (void)state;
    expect_instant("2026-11-25", "10:15", NULL, 1795601700);
    expect_instant("25.11.2026", "10:15:00", "Z", 1795601700);
    expect_instant("2026/11/25", "12:15", "+02:00", 1795601700);
    expect_instant("2026-11-25", "6:45 am", "UTC-3:30", 1795601700);
    expect_instant("2026-11-25", "10.15 h", "UTC", 1795601700);
    expect_instant("2026-11-25", "1015", NULL, 1795601700);
    expect_instant("2026-11-25", "10h15", NULL, 1795601700);
    expect_instant("2024-02-29", "11:59 PM", NULL, 1709251140);
    expect_instant("1970-01-01", "12:00 am", NULL, 0);
    expect_instant("2000-03-01", "00:00", NULL, 951868800);
}

/* With slashes only where the other order is no date. */
static void test_slashed_dates(void **state)
{
    (void)state;
    static const char *const same[] = {"11/25/2026", "25/11/2026"};
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++) {
        struct written_date day;
        const char *text = same[i];
        assert_true(take_slashed_date(&text, &day) && *text == '\0');
        assert_int_equal(day.year * 10000 + day.month * 100 + day.day, 20261125);
    }
}

static void test_no_instants(void **state)
{
    (void)state;
    static const char *const dates[] = {"",           "2026-13-01", "2026-02-29", "31.04.2026",
                                        "11/25/2026", "26-11-25",   "2026-11",    "today",
                                        "25.11.26",   "1969-12-31"};
    static const char *const times[] = {"",     "25:00",    "10:60",   "915",  "10",   "10155",
                                        "2515", "13:00 pm", "0:10 am", "10:5", "noon", "-1:00"};
    struct written_date day;
    double seconds;
    for (size_t i = 0; i < sizeof dates / sizeof dates[0]; i++) {
        const char *text = dates[i];
        if (take_written_date(&text, &day))
            fail_msg("\"%s\" was read as a date", dates[i]);
    }
    for (size_t i = 0; i < sizeof times / sizeof times[0]; i++) {
        const char *text = times[i];
        if (take_written_time(&text, &seconds))
            fail_msg("\"%s\" was read as a time", times[i]);
    }
    static const char *const slashed[] = {"11/5/2026", "13/13/2026", "11/25/26", "11-25-2026"};
    for (size_t i = 0; i < sizeof slashed / sizeof slashed[0]; i++) {
        const char *text = slashed[i];
        day = (struct written_date){2026, 11, 24}; /* of an earlier line: it stays */
        if (take_slashed_date(&text, &day))
            fail_msg("\"%s\" was read as a date", slashed[i]);
        assert_int_equal(day.year * 10000 + day.month * 100 + day.day, 20261124);
        assert_ptr_equal(text, slashed[i]);
    }
    const char *zone = "+25:00";
    assert_false(take_written_zone(&zone, &seconds));
    zone = "CET";
    assert_false(take_written_zone(&zone, &seconds));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers),     cmocka_unit_test(test_units),
        cmocka_unit_test(test_instants),    cmocka_unit_test(test_slashed_dates),
        cmocka_unit_test(test_no_instants),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
