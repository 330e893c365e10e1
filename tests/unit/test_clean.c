/* test_clean.c - every rule of clean.h takes out what it should, and nothing else. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../../analyze/clean.h"
#include "../../analyze/rules.h"
#include "near.h"

#define READINGS_MAX 40000

struct made {
    struct series series;
    uint64_t seed;
};

static double uniform(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(*seed >> 11) / 9007199254740992.0;
}

static double normal(uint64_t *seed)
{
    double sum = -6.0;
    for (int i = 0; i < 12; i++)
        sum += uniform(seed);
    return sum;
}

static void start(struct made *m, enum channel_id channel)
{
    memset(m, 0, sizeof *m);
    m->series.channel = channel;
    m->series.time = calloc(READINGS_MAX, sizeof(double));
    m->series.value = calloc(READINGS_MAX, sizeof(double));
    m->seed = 7;
}

static void add(struct made *m, double time, double value)
{
    m->series.time[m->series.count] = time;
    m->series.value[m->series.count++] = value;
}

/* `count` readings a second apart with noise, rounded to a step. */
static void add_noisy(struct made *m, size_t count, double value, double sd, double step)
{
    for (size_t i = 0; i < count; i++) {
        double v = value + sd * normal(&m->seed);
        add(m, (double)m->series.count, step > 0 ? step * round(v / step) : v);
    }
}

static struct cleaned clean(struct made *m, double duration)
{
    struct cleaning cleaning;
    assert_int_equal(clean_series(&m->series, duration, &cleaning), STATUS_OK);
    spans_free(&cleaning.frozen);
    return cleaning.count;
}

static void finish(struct made *m)
{
    series_free(&m->series);
}

static void assert_untouched(const struct cleaned *count, size_t samples)
{
    assert_int_equal(count->samples, samples);
    assert_int_equal(count->unbelievable + count->spikes + count->dropouts, 0);
    assert_near(count->frozen_seconds, 0, 0);
}

/* --- what must stay */

static void honest_readings_stay(void **state)
{
    (void)state;
    static const struct {
        enum channel_id channel;
        double level, sd, step;
    } cases[] = {
        {CHANNEL_COOLANT_TEMPERATURE, 78, 0.1, 0.1},
        {CHANNEL_COOLANT_TEMPERATURE, 78, 0.1, 0.01},
        {CHANNEL_COOLANT_TEMPERATURE, 78.5, 0.2, 1.0},
        {CHANNEL_COOLANT_TEMPERATURE, 78, 0.05, 1.0},
        {CHANNEL_ENGINE_SPEED, 2000, 10, 0.25},
        {CHANNEL_ENGINE_SPEED, 2000, 10, 10},
        {CHANNEL_SEA_TEMPERATURE, 15.2, 0.03, 0.1},
        {CHANNEL_OIL_PRESSURE, 400, 6, 1},
        {CHANNEL_FUEL_RATE, 22, 0.4, 0.1},
        {CHANNEL_EXHAUST_TEMPERATURE, 420, 6, 1},
        {CHANNEL_TRANSMISSION_GEAR, 1, 0, 1},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct made m;
        start(&m, cases[i].channel);
        add_noisy(&m, 4000, cases[i].level, cases[i].sd, cases[i].step);
        struct cleaned count = clean(&m, 4000);
        assert_untouched(&count, 4000);
        finish(&m);
    }
}

/* Throttle steps, quick ramps, warming up: all real. */
static void real_changes_stay(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_ENGINE_SPEED);
    add_noisy(&m, 60, 0, 0, 0);
    add_noisy(&m, 300, 700, 5, 1);
    add_noisy(&m, 300, 2800, 5, 1);
    for (int i = 0; i < 10; i++)
        add_noisy(&m, 1, 2800 - 180 * i, 5, 1);
    add_noisy(&m, 25, 1000, 5, 1); /* slowing down for a neighbour */
    add_noisy(&m, 300, 2800, 5, 1);
    size_t samples = m.series.count;
    struct cleaned count = clean(&m, (double)samples);
    assert_untouched(&count, samples);
    finish(&m);
    start(&m, CHANNEL_COOLANT_TEMPERATURE);
    for (int i = 0; i < 600; i++)
        add_noisy(&m, 1, 20 + 0.1 * i, 0.1, 0.1);
    samples = m.series.count;
    count = clean(&m, (double)samples);
    assert_untouched(&count, samples);
    finish(&m);
}

/* --- unbelievable */

static void unbelievable_readings_go(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_COOLANT_TEMPERATURE);
    add_noisy(&m, 100, 78, 0.1, 0.1);
    add(&m, 100, 655.35);
    add(&m, 101, -273.15);
    add(&m, 102, NAN);
    add(&m, 103, 78);
    struct cleaned count = clean(&m, 104);
    assert_int_equal(count.samples, 104);
    assert_int_equal(count.unbelievable, 3);
    assert_int_equal(m.series.count, 101);
    finish(&m);
}

/* --- drop-outs */

static void dropouts_of_a_loose_contact_go(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_COOLANT_TEMPERATURE);
    add_noisy(&m, 100, 78, 0.1, 0.1);
    add_noisy(&m, 25, -20, 0.1, 0.1);
    add_noisy(&m, 100, 78, 0.1, 0.1);
    struct cleaned count = clean(&m, 225);
    assert_int_equal(count.dropouts, 25);
    assert_int_equal(count.spikes, 0);
    assert_int_equal(m.series.count, 200);
    for (size_t i = 0; i < m.series.count; i++)
        assert_near(m.series.value[i], 78, 1);
    finish(&m);
}

/* What stays away longer than 30 s is believed: the report shows it as it is. */
static void a_lasting_jump_stays(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_COOLANT_TEMPERATURE);
    add_noisy(&m, 100, 78, 0.1, 0.1);
    add_noisy(&m, 40, 40, 0.1, 0.1);
    add_noisy(&m, 100, 78, 0.1, 0.1);
    struct cleaned count = clean(&m, 240);
    assert_untouched(&count, 240);
    finish(&m);
}

static void a_wrong_start_goes(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_COOLANT_TEMPERATURE);
    add_noisy(&m, 12, 0, 0, 0.1);
    add_noisy(&m, 100, 60, 0.1, 0.1);
    struct cleaned count = clean(&m, 112);
    assert_int_equal(count.dropouts, 12);
    assert_near(m.series.value[0], 60, 1);
    finish(&m);
}

static void a_tachometer_that_vanishes_goes(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_ENGINE_SPEED);
    add_noisy(&m, 100, 2000, 5, 1);
    add_noisy(&m, 12, 0, 0, 1);
    add_noisy(&m, 100, 2000, 5, 1);
    struct cleaned count = clean(&m, 212);
    assert_int_equal(count.dropouts, 12);
    assert_int_equal(m.series.count, 200);
    finish(&m);
}

/* Stopped, or slowed down to idle: not vanished. */
static void a_stop_stays(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_ENGINE_SPEED);
    add_noisy(&m, 100, 2000, 5, 1);
    add_noisy(&m, 20, 650, 5, 1);
    add_noisy(&m, 100, 2000, 5, 1);
    add_noisy(&m, 100, 0, 0, 1);
    struct cleaned count = clean(&m, 320);
    assert_untouched(&count, 320);
    finish(&m);
}

/* --- spikes */

static void single_spikes_go(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_COOLANT_TEMPERATURE);
    add_noisy(&m, 1000, 78, 0.1, 0.1);
    static const size_t at[] = {0, 1, 100, 300, 301, 302, 700, 999};
    for (size_t i = 0; i < 8; i++)
        m.series.value[at[i]] += i % 2 ? 4 : -4;
    struct cleaned count = clean(&m, 1000);
    assert_int_equal(count.spikes, 8);
    assert_int_equal(m.series.count, 992);
    for (size_t i = 0; i < m.series.count; i++)
        assert_near(m.series.value[i], 78, 1);
    finish(&m);
}

static void spikes_on_a_ramp_go(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_ENGINE_SPEED);
    for (int i = 0; i < 200; i++)
        add_noisy(&m, 1, 1000 + 5 * i, 3, 1);
    m.series.value[100] += 400;
    struct cleaned count = clean(&m, 200);
    assert_int_equal(count.spikes, 1);
    finish(&m);
}

/* A step of a coarse sender is no spike. */
static void steps_of_a_coarse_sender_stay(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_SEA_TEMPERATURE);
    for (size_t i = 0; i < 500; i++)
        add(&m, (double)i, i % 50 == 25 ? 16 : 15);
    struct cleaned count = clean(&m, 500);
    assert_untouched(&count, 500);
    finish(&m);
}

/* --- frozen */

static struct spans frozen_of(struct made *m, double duration, struct cleaned *count)
{
    struct cleaning cleaning;
    assert_int_equal(clean_series(&m->series, duration, &cleaning), STATUS_OK);
    *count = cleaning.count;
    return cleaning.frozen;
}

static void a_lively_sender_that_stops_is_frozen(void **state)
{
    (void)state;
    struct made m;
    struct cleaned count;
    start(&m, CHANNEL_COOLANT_TEMPERATURE);
    add_noisy(&m, 500, 78, 0.1, 0.01);
    double last = m.series.value[499];
    add_noisy(&m, 200, last, 0, 0);
    add_noisy(&m, 500, 79, 0.1, 0.01);
    struct spans frozen = frozen_of(&m, 1200, &count);
    assert_int_equal(frozen.count, 1);
    assert_near(frozen.list[0].from, 499, 1);
    assert_near(frozen.list[0].to, 699, 1);
    assert_near(count.frozen_seconds, 200, 2);
    assert_int_equal(m.series.count, 1200); /* kept: told, not hidden */
    spans_free(&frozen);
    finish(&m);
}

/* The same stillness means nothing where the sender is coarse. */
static void a_coarse_sender_may_stand_still(void **state)
{
    (void)state;
    struct made m;
    struct cleaned count;
    start(&m, CHANNEL_COOLANT_TEMPERATURE);
    for (int i = 0; i < 100; i++)
        add_noisy(&m, 7, i % 2 ? 78 : 79, 0, 1);
    add_noisy(&m, 600, 79, 0, 1);
    struct spans frozen = frozen_of(&m, 1300, &count);
    assert_int_equal(frozen.count, 0);
    finish(&m);
}

/* A device that sends at 1 Hz what it measures every 10 s repeats itself in all honesty. */
static void slow_updates_are_not_frozen(void **state)
{
    (void)state;
    struct made m;
    struct cleaned count;
    start(&m, CHANNEL_COOLANT_TEMPERATURE);
    for (int i = 0; i < 100; i++)
        add_noisy(&m, 10, 78 + 0.3 * normal(&m.seed), 0, 0.01);
    add_noisy(&m, 100, m.series.value[999], 0, 0);
    struct spans frozen = frozen_of(&m, 1100, &count);
    assert_int_equal(frozen.count, 0);
    finish(&m);
}

static void a_standing_engine_is_not_frozen(void **state)
{
    (void)state;
    struct made m;
    struct cleaned count;
    start(&m, CHANNEL_ENGINE_SPEED);
    add_noisy(&m, 300, 0, 0, 1);
    add_noisy(&m, 600, 2000, 8, 1);
    struct spans frozen = frozen_of(&m, 900, &count);
    assert_int_equal(frozen.count, 0);
    spans_free(&frozen);
    finish(&m);
    start(&m, CHANNEL_ENGINE_SPEED);
    add_noisy(&m, 600, 2000, 8, 1);
    add_noisy(&m, 300, 1996, 0, 1);
    frozen = frozen_of(&m, 900, &count);
    assert_int_equal(frozen.count, 1);
    spans_free(&frozen);
    finish(&m);
}

static void coarse_coolant_through_the_ladder(void **state)
{
    (void)state;
    double coolant[2000], rpm[2000];
    for (int ladder = 0; ladder < 2; ladder++) {
        for (size_t i = 0; i < 2000; i++) {
            coolant[i] = i < 500 ? 78 + (double)(i / 100 % 2) : 79;
            rpm[i] = ladder ? 1000 + (double)(i / 300) * 300 : 2000;
        }
        struct spans frozen = {0};
        assert_int_equal(clean_coarse_frozen(coolant, rpm, 2000, &frozen), STATUS_OK);
        assert_int_equal(frozen.count, ladder ? 1 : 0);
        if (ladder)
            assert_near(frozen.list[0].to - frozen.list[0].from, 1500, 101);
        spans_free(&frozen);
    }
}

/* --- silence */

static void silences_are_counted(void **state)
{
    (void)state;
    struct made m;
    start(&m, CHANNEL_COOLANT_TEMPERATURE); /* stale after 10 s */
    for (int i = 0; i < 100; i++)
        add(&m, i, 78 + 0.1 * (i % 3));
    for (int i = 130; i < 200; i++)
        add(&m, i, 78 + 0.1 * (i % 3));
    struct cleaned count = clean(&m, 215);
    assert_int_equal(count.stale, 2);
    assert_near(count.stale_seconds, 31 + 16, 1e-9);
    assert_int_equal(m.series.count, 170);
    finish(&m);
}

static void nothing_comes_of_nothing(void **state)
{
    (void)state;
    for (size_t n = 0; n < 4; n++) {
        struct made m;
        start(&m, CHANNEL_COOLANT_TEMPERATURE);
        add_noisy(&m, n, 78, 0.1, 0.1);
        struct cleaned count = clean(&m, 5);
        assert_untouched(&count, n);
        assert_int_equal(count.stale, 0);
        finish(&m);
    }
}

/* Whatever comes, cleaning keeps order, loses nothing uncounted, and is done when it is done. */
static void random_rubbish(void **state)
{
    (void)state;
    uint64_t seed = 77;
    print_message("seed %llu\n", (unsigned long long)seed);
    static const enum channel_id channels[] = {CHANNEL_COOLANT_TEMPERATURE, CHANNEL_ENGINE_SPEED,
                                               CHANNEL_OIL_PRESSURE, CHANNEL_TRANSMISSION_GEAR};
    for (int run = 0; run < 300; run++) {
        struct made m;
        start(&m, channels[run % 4]);
        double now = 0;
        size_t n = (size_t)(300 * uniform(&seed));
        for (size_t i = 0; i < n; i++) {
            now += uniform(&seed) < 0.1 ? 40 * uniform(&seed) : uniform(&seed);
            add(&m, now, uniform(&seed) < 0.2 ? 4000 * (uniform(&seed) - 0.5) : 50);
        }
        struct cleaned count = clean(&m, now);
        assert_int_equal(count.samples, n);
        assert_int_equal(m.series.count + count.unbelievable + count.spikes + count.dropouts, n);
        for (size_t i = 1; i < m.series.count; i++)
            assert_true(m.series.time[i] >= m.series.time[i - 1]);
        finish(&m);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(honest_readings_stay),
        cmocka_unit_test(real_changes_stay),
        cmocka_unit_test(unbelievable_readings_go),
        cmocka_unit_test(dropouts_of_a_loose_contact_go),
        cmocka_unit_test(a_lasting_jump_stays),
        cmocka_unit_test(a_wrong_start_goes),
        cmocka_unit_test(a_tachometer_that_vanishes_goes),
        cmocka_unit_test(a_stop_stays),
        cmocka_unit_test(single_spikes_go),
        cmocka_unit_test(spikes_on_a_ramp_go),
        cmocka_unit_test(steps_of_a_coarse_sender_stay),
        cmocka_unit_test(a_lively_sender_that_stops_is_frozen),
        cmocka_unit_test(a_coarse_sender_may_stand_still),
        cmocka_unit_test(slow_updates_are_not_frozen),
        cmocka_unit_test(a_standing_engine_is_not_frozen),
        cmocka_unit_test(coarse_coolant_through_the_ladder),
        cmocka_unit_test(silences_are_counted),
        cmocka_unit_test(nothing_comes_of_nothing),
        cmocka_unit_test(random_rubbish),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
