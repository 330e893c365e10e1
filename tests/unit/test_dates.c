/* test_dates.c - the judge of the clock that dates a run. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../../logger/dates.h"

#define S INT64_C(1000000)              /* microseconds */
#define START INT64_C(1795601700000000) /* 2026-11-25 10:15:00 UTC (date -u -d @1795601700) */
#define TOLERANCE (5 * S)
#define ERA (1024 * 7 * 86400 * S) /* IS-GPS-200, 20.3.3.3: a week number of ten bits */

/* UTC once a second for so long, by a receiver that is `ahead_us` of the clock. */
static void hear(struct dates *dates, int seconds, int64_t ahead_us)
{
    for (int i = 0; i < seconds; i++)
        dates_add(dates, i * INT64_C(1000000000), START + i * S + ahead_us);
}

static struct dates_verdict judge(const struct dates *dates)
{
    return dates_judge(dates, START, TOLERANCE);
}

static void test_nothing_heard(void **state)
{
    (void)state;
    struct dates dates = {0};
    assert_false(judge(&dates).heard_enough);
    hear(&dates, DATES_NEEDED - 1, 3600 * S);
    assert_false(judge(&dates).heard_enough);
    assert_false(judge(&dates).moved);
    assert_int_equal(judge(&dates).start_unix_us, START);
}

static void test_right_clock(void **state)
{
    (void)state;
    struct dates dates = {0};
    hear(&dates, 100, -300000);
    struct dates_verdict verdict = judge(&dates);
    assert_true(verdict.heard_enough);
    assert_false(verdict.moved);
    assert_int_equal(verdict.behind_us, -300000);
    assert_int_equal(verdict.start_unix_us, START);
}

static void test_wrong_clock(void **state)
{
    (void)state;
    static const int64_t errors[] = {6 * S, -6 * S, 3600 * S, INT64_C(1795601700) * S};
    for (size_t i = 0; i < sizeof errors / sizeof errors[0]; i++) {
        struct dates dates = {0};
        hear(&dates, 100, errors[i] + 456);
        struct dates_verdict verdict = judge(&dates);
        assert_true(verdict.moved);
        assert_false(verdict.rolled_over);
        assert_int_equal(verdict.start_unix_us, START + errors[i]); /* to the millisecond */
    }
}

/* A receiver without a fix states nonsense at first; the median does not mind. */
static void test_bad_minority(void **state)
{
    (void)state;
    struct dates dates = {0};
    hear(&dates, 40, -20 * 365 * 86400 * S);
    hear(&dates, 60, 7 * S);
    assert_int_equal(judge(&dates).start_unix_us, START + 7 * S);
}

static void test_rollover(void **state)
{
    (void)state;
    for (int eras = 1; eras <= 2; eras++) {
        struct dates dates = {0};
        hear(&dates, 100, -eras * ERA + 2 * S);
        struct dates_verdict verdict = judge(&dates);
        assert_true(verdict.rolled_over);
        assert_false(verdict.moved);
        assert_int_equal(verdict.behind_us, 2 * S);
    }
    struct dates both = {0};
    hear(&both, 100, -ERA + 3600 * S); /* the clock is wrong as well */
    assert_true(judge(&both).rolled_over);
    assert_int_equal(judge(&both).start_unix_us, START + 3600 * S);
}

/* Far more statements than are kept: the kept ones cover the whole run evenly. */
static void test_long_run(void **state)
{
    (void)state;
    static struct dates dates;
    memset(&dates, 0, sizeof dates);
    for (int64_t i = 0; i < 500000; i++) /* the receiver drifts from 0 to 500 s ahead */
        dates_add(&dates, i * 1000000000, START + i * S + i * 1000);
    assert_in_range(dates.count, DATES_KEPT / 2, DATES_KEPT);
    assert_in_range(judge(&dates).behind_us, 249 * S, 251 * S);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nothing_heard), cmocka_unit_test(test_right_clock),
        cmocka_unit_test(test_wrong_clock),   cmocka_unit_test(test_bad_minority),
        cmocka_unit_test(test_rollover),      cmocka_unit_test(test_long_run),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
