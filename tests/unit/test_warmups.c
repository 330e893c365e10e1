/* test_warmups.c - heat cycles after a service, on made temperatures. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "../../analyze/hold.h"
#include "../../analyze/warmups.h"

#define FULL 2800.0
#define UNDER_WAY 2000.0
#define IDLING 700.0

/* A run made of straight lines: each leg lasts so many seconds and ends at that temperature. */
struct leg {
    double seconds, to, rpm;
};

static struct columns made(double from, const struct leg *legs, size_t count)
{
    struct columns columns;
    double seconds = 0;
    size_t cell = 0;
    for (size_t i = 0; i < count; i++)
        seconds += legs[i].seconds;
    assert_int_equal(columns_make(&columns, (size_t)seconds), STATUS_OK);
    for (size_t i = 0; i < count; i++) {
        for (double t = 0; t < legs[i].seconds; t++, cell++) {
            columns.coolant[cell] = from + (legs[i].to - from) * t / legs[i].seconds;
            columns.rpm[cell] = legs[i].rpm;
        }
        from = legs[i].to;
    }
    return columns;
}

#define MADE(from, ...)                                                                            \
    made(from, (const struct leg[]){__VA_ARGS__},                                                  \
         sizeof((const struct leg[]){__VA_ARGS__}) / sizeof(struct leg))

static void take(struct warmups *sum, size_t run, struct columns columns)
{
    warmups_take(sum, run, &columns, warm_limits_of(71, FULL));
    columns_free(&columns);
}

static void limits_follow_the_thermostat(void **state)
{
    (void)state;
    struct warm_limits limits = warm_limits_of(71, FULL);
    assert_true(limits.warm == 70 && limits.cold == 50 && !limits.usual);
    assert_true(limits.idle_rpm == 840); /* 30 % of 2800, as holds have it */
    limits = warm_limits_of(60, NAN);
    assert_true(limits.warm == 59 && limits.cold == 40 && isnan(limits.idle_rpm));
    limits = warm_limits_of(NAN, FULL);
    assert_true(limits.usual && limits.warm == 70 && limits.cold == 50);
    assert_true(warm_limits_of(85, FULL).cold == 50);
}

static void sees_two_cycles(void **state)
{
    (void)state;
    struct warmups sum = {0};
    take(&sum, 3,
         MADE(20, {500, 70, IDLING}, {100, 75, IDLING}, {2600, 23, 0}, {530, 76, IDLING},
              {1900, 78, UNDER_WAY}));
    assert_int_equal(sum.count, 2);
    assert_true(sum.cooled && !sum.cooled_between && !sum.began_warm && sum.any);
    /* 20 to 70 degC in 500 s: 50 degC is passed after 300 s, 70 degC after 500 s. */
    assert_true(fabs(sum.list[0].cold.time - 300) <= 1);
    assert_true(fabs(sum.list[0].warm.time - 500) <= 1);
    assert_int_equal(sum.list[0].warm.run, 3);
    /* 75 to 23 degC in 2600 s: 50 degC after 1250 s. */
    assert_true(fabs(sum.cool.time - 1850) <= 1);
    assert_true(fabs(sum.list[1].warm.time - (3200 + 470)) <= 1);
    assert_true(fabs(sum.underway - 1900) <= 1);
}

static void counts_no_half_cycles(void **state)
{
    (void)state;
    struct warmups sum = {0};
    /* Down to 55 only, and up again: neither cooled nor warmed again. */
    take(&sum, 0, MADE(20, {600, 75, IDLING}, {300, 55, 0}, {300, 75, IDLING}));
    assert_int_equal(sum.count, 1);
    assert_false(sum.cooled);
    /* Never warm. */
    memset(&sum, 0, sizeof sum);
    take(&sum, 0, MADE(20, {600, 68, UNDER_WAY}, {600, 40, UNDER_WAY}));
    assert_int_equal(sum.count, 0);
    assert_false(sum.cooled);
    assert_true(sum.underway == 0);
}

static void a_stray_reading_is_no_warm_up(void **state)
{
    (void)state;
    struct warmups sum = {0};
    struct columns columns = MADE(20, {600, 30, IDLING});
    for (size_t i = 100; i < 109; i++)
        columns.coolant[i] = 95;
    take(&sum, 0, columns);
    assert_int_equal(sum.count, 0);
}

static void readings_minutes_apart_will_do(void **state)
{
    (void)state;
    struct warmups sum = {0};
    struct columns columns = MADE(20, {600, 74, IDLING}, {600, 78, UNDER_WAY}, {1500, 30, 0});
    for (size_t i = 0; i < columns.count; i++)
        if (i % 120 != 0)
            columns.coolant[i] = NAN;
    take(&sum, 0, columns);
    assert_int_equal(sum.count, 1);
    assert_true(sum.cooled);
}

static void tells_a_warm_beginning(void **state)
{
    (void)state;
    struct warmups sum = {0};
    take(&sum, 0, MADE(74, {600, 76, UNDER_WAY}, {1300, 24, 0}, {600, 76, UNDER_WAY}));
    assert_true(sum.began_warm);
    assert_true(sum.cooled);
    assert_int_equal(sum.count, 1);
    memset(&sum, 0, sizeof sum);
    take(&sum, 0, MADE(NAN, {60, NAN, UNDER_WAY}));
    assert_false(sum.any || sum.began_warm);
}

static void goes_on_over_several_runs(void **state)
{
    (void)state;
    struct warmups sum = {0};
    take(&sum, 1, MADE(20, {600, 80, IDLING}));
    take(&sum, 0, MADE(25, {600, 75, IDLING}, {1000, 75, UNDER_WAY}));
    assert_int_equal(sum.count, 2);
    assert_true(sum.cooled && sum.cooled_between);
    assert_int_equal(sum.cool.run, 0);
    assert_int_equal(sum.list[1].cold.run, 0);
    assert_int_equal(sum.underway_run, 0);
}

static void time_under_way_is_honest(void **state)
{
    (void)state;
    struct warmups sum = {0};
    struct columns columns =
        MADE(75, {1000, 75, IDLING}, {1000, 75, UNDER_WAY}, {100, 60, UNDER_WAY});
    for (size_t i = 1200; i < 1250; i++) /* a short silence counts along ... */
        columns.coolant[i] = NAN;
    for (size_t i = 1400; i < 1500; i++) /* ... a long one does not */
        columns.rpm[i] = NAN;
    for (size_t i = 1600; i < 1700; i++) /* and neutral is not under way */
        columns.gear[i] = 0;
    size_t count = columns.count;
    assert_int_equal(count, 2100);
    warmups_take(&sum, 0, &columns, warm_limits_of(71, FULL));
    /* 1000 s, less 100 of silence and 100 in neutral; and the way from 75 down to 70 in 100/3 s. */
    assert_true(fabs(sum.underway - (1000 - 200 + 100.0 / 3)) <= 2);
    columns_free(&columns);
}

static void remembers_more_than_the_list_has_room_for(void **state)
{
    (void)state;
    struct warmups sum = {0};
    for (size_t run = 0; run < WARMUPS_MAX + 3; run++)
        take(&sum, run, MADE(20, {600, 80, IDLING}));
    assert_int_equal(sum.count, WARMUPS_MAX + 3);
    assert_int_equal(sum.list[WARMUPS_MAX - 1].warm.run, WARMUPS_MAX - 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(limits_follow_the_thermostat),
        cmocka_unit_test(sees_two_cycles),
        cmocka_unit_test(counts_no_half_cycles),
        cmocka_unit_test(a_stray_reading_is_no_warm_up),
        cmocka_unit_test(readings_minutes_apart_will_do),
        cmocka_unit_test(tells_a_warm_beginning),
        cmocka_unit_test(goes_on_over_several_runs),
        cmocka_unit_test(time_under_way_is_honest),
        cmocka_unit_test(remembers_more_than_the_list_has_room_for),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
