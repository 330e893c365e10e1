/* test_hold.c - steady stretches are found, bounded and refused as hold.h says. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../../analyze/hold.h"
#include "../../analyze/rules.h"
#include "near.h"

#define CELLS_MAX 20000

/* A run in the making: legs are appended second by second. */
struct making {
    struct columns columns;
    struct hold_conditions conditions;
    size_t now;
    uint64_t seed;
    double noise; /* rpm, standard deviation of each second's speed */
    double step;  /* rpm of the tachometer, 0 fine */
};

static double uniform(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(*seed >> 11) / 9007199254740992.0;
}

/* Sum of twelve uniform numbers: near enough to a normal one. */
static double normal(uint64_t *seed)
{
    double sum = -6.0;
    for (int i = 0; i < 12; i++)
        sum += uniform(seed);
    return sum;
}

static void start(struct making *m)
{
    memset(m, 0, sizeof *m);
    assert_int_equal(columns_make(&m->columns, CELLS_MAX), STATUS_OK);
    m->conditions =
        (struct hold_conditions){.full_rpm = 2800, .thermostat_start = NAN, .thermostat_u = 1.0};
    m->seed = 1;
}

/* `seconds` at a speed, with coolant and sea standing at values. */
static void leg(struct making *m, double rpm, size_t seconds, double coolant)
{
    for (size_t i = 0; i < seconds; i++, m->now++) {
        double speed = rpm + m->noise * normal(&m->seed);
        m->columns.rpm[m->now] = m->step > 0 ? m->step * round(speed / m->step) : speed;
        m->columns.coolant[m->now] = coolant;
        m->columns.sea[m->now] = 15.0;
    }
}

struct found {
    struct hold *holds;
    size_t count;
};

static struct found find(struct making *m)
{
    struct found found;
    m->columns.count = m->now;
    assert_int_equal(hold_find(&m->columns, &m->conditions, &found.holds, &found.count), STATUS_OK);
    return found;
}

static void finish(struct making *m, struct found *found)
{
    free(found->holds);
    columns_free(&m->columns);
}

/* Runs a warm engine at 1500 rpm first, then what the caller added, and expects one refusal
 * there. */
static void expect_last(struct making *m, enum refusal refusal)
{
    struct found found = find(m);
    assert_true(found.count > 0);
    assert_string_equal(refusal_key(found.holds[found.count - 1].refusal), refusal_key(refusal));
    finish(m, &found);
}

/* --- finding */

static void finds_a_ladder(void **state)
{
    (void)state;
    static const double speeds[] = {1000, 1400, 1800, 2200, 2500, 2800};
    struct making m;
    start(&m);
    m.noise = 3;
    for (size_t i = 0; i < 6; i++) {
        leg(&m, speeds[i], 300, 75);
        leg(&m, speeds[i] + 150, 10, 75); /* on the way to the next */
    }
    struct found found = find(&m);
    assert_int_equal(found.count, 6);
    for (size_t i = 0; i < 6; i++) {
        const struct hold *hold = &found.holds[i];
        assert_int_equal(hold->refusal, REFUSAL_NONE);
        assert_near(hold->rpm, speeds[i], 1.5);
        assert_near(hold->start, 310.0 * (double)i, 8);
        assert_near(hold->end, 310.0 * (double)i + 300, 8);
        /* the last 60 % are used */
        assert_near(hold->used_from, hold->start + 0.4 * (hold->end - hold->start), 1.01);
        assert_near(hold->coolant, 75, 1e-9);
        assert_near(hold->sea, 15, 1e-9);
        assert_true(isnan(hold->load) && isnan(hold->fuel_rate) && isnan(hold->air));
        assert_true(isnan(hold->band_rpm) && isnan(hold->open_rise));
    }
    finish(&m, &found);
}

/* Without noise the running median keeps the edges to the second. */
static void bounds_are_exact(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 1500, 200, 75);
    leg(&m, 2000, 150, 77);
    leg(&m, 2500, 149, 79);
    leg(&m, 1500, 30, 75);
    struct found found = find(&m);
    assert_int_equal(found.count, 3); /* 30 s are not even listed */
    assert_near(found.holds[1].start, 200, 0);
    assert_near(found.holds[1].end, 350, 0);
    assert_near(found.holds[1].used_from, 260, 0); /* 90 s of 150 */
    assert_int_equal(found.holds[1].refusal, REFUSAL_NONE);
    assert_int_equal(found.holds[2].refusal, REFUSAL_TOO_SHORT);
    finish(&m, &found);
}

static void long_holds_settle_five_minutes(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 2000, 3600, 77);
    struct found found = find(&m);
    assert_int_equal(found.count, 1);
    assert_near(found.holds[0].used_from, 300, 0);
    finish(&m, &found);
}

static void noisy_speed_is_steady(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 20; seed++) {
        struct making m;
        start(&m);
        m.seed = seed;
        m.noise = 10;
        leg(&m, 1000, 300, 75);
        leg(&m, 1200, 300, 76);
        leg(&m, 2000, 300, 77);
        struct found found = find(&m);
        assert_int_equal(found.count, 3);
        for (size_t i = 0; i < 3; i++)
            assert_int_equal(found.holds[i].refusal, REFUSAL_NONE);
        assert_near(found.holds[0].rpm, 1000, 4);
        assert_near(found.holds[0].rpm_sd, 10, 2.5);
        finish(&m, &found);
    }
}

static void coarse_tachometer(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    m.noise = 8;
    m.step = 50;
    m.conditions.rpm_step = 50;
    leg(&m, 1525, 300, 75); /* between two of its steps: shows both */
    leg(&m, 2000, 300, 77);
    struct found found = find(&m);
    assert_int_equal(found.count, 2);
    assert_near(found.holds[0].rpm, 1525, 6);
    assert_int_equal(found.holds[0].refusal, REFUSAL_NONE);
    finish(&m, &found);
}

static void wandering_throttle_is_no_hold(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    for (size_t i = 0; i < 1200; i++)
        leg(&m, 1500 + (double)i, 1, 75); /* 60 rpm a minute */
    struct found found = find(&m);
    for (size_t i = 0; i < found.count; i++)
        assert_int_not_equal(found.holds[i].refusal, REFUSAL_NONE);
    finish(&m, &found);
}

static void slow_drift_within_the_tolerance(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    for (size_t i = 0; i < 400; i++)
        leg(&m, 2000 + 0.1 * (double)i, 1, 77); /* 40 rpm in all */
    struct found found = find(&m);
    assert_int_equal(found.count, 1);
    assert_near(found.holds[0].end - found.holds[0].start, 400, 0);
    finish(&m, &found);
}

static void short_excursions_do_not_end_a_hold(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 2000, 150, 77);
    leg(&m, 2120, 15, 77); /* a wake */
    leg(&m, 2000, 150, 77);
    leg(&m, 1500, 100, 76);
    leg(&m, 2400, 150, 78);
    leg(&m, 2520, 45, 78);
    leg(&m, 2400, 150, 78);
    struct found found = find(&m);
    assert_int_equal(found.count, 4);
    assert_near(found.holds[0].end - found.holds[0].start, 315, 0);
    assert_near(found.holds[2].end - found.holds[2].start, 150, 0);
    assert_near(found.holds[3].end - found.holds[3].start, 150, 0);
    finish(&m, &found);
}

static void standing_engine_is_nothing(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 0, 600, 40);
    struct found found = find(&m);
    assert_int_equal(found.count, 0);
    finish(&m, &found);
}

static void no_readings_at_all(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    struct found found = find(&m); /* no cell */
    assert_int_equal(found.count, 0);
    free(found.holds);
    m.now = 1000; /* cells, but no reading */
    found = find(&m);
    assert_int_equal(found.count, 0);
    assert_true(isinf(hold_warm_from(&m.columns, &m.conditions)));
    finish(&m, &found);
}

/* --- marks */

static void marks_part_near_speeds(void **state)
{
    (void)state;
    for (int marked = 0; marked < 2; marked++) {
        struct making m;
        start(&m);
        const double marks[] = {5, 300, 5000};
        leg(&m, 2000, 300, 77);
        leg(&m, 2025, 300, 77); /* within +-30: one hold, but for the mark */
        m.conditions.marks = marks;
        m.conditions.mark_count = marked ? 3 : 0;
        struct found found = find(&m);
        assert_int_equal(found.count, marked ? 2 : 1);
        if (marked) {
            assert_near(found.holds[0].rpm, 2000, 0.01);
            assert_near(found.holds[1].rpm, 2025, 0.01);
            assert_near(found.holds[1].start, 300, 0);
        }
        finish(&m, &found);
    }
}

static void marks_at_one_speed_change_nothing(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    const double marks[] = {200};
    leg(&m, 2000, 400, 77);
    m.conditions.marks = marks;
    m.conditions.mark_count = 1;
    struct found found = find(&m);
    assert_int_equal(found.count, 1);
    finish(&m, &found);
}

/* --- refusals, each with its counterpart that is used */

static void engine_cold(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    for (int i = 0; i < 30; i++) /* 300 s of warming up, slowly enough to pass for settled */
        leg(&m, 1500, 10, 40 + 0.3 * i);
    leg(&m, 2000, 1200, 76);
    struct found found = find(&m);
    assert_int_equal(found.count, 2);
    assert_int_equal(found.holds[0].refusal, REFUSAL_ENGINE_COLD);
    assert_int_equal(found.holds[1].refusal, REFUSAL_NONE);
    finish(&m, &found);
}

/* A run that was started warm has no cold hold, whatever its first temperature. */
static void warm_from_the_start(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 1500, 300, 74);
    leg(&m, 2500, 300, 80);
    struct found found = find(&m);
    assert_int_equal(found.holds[0].refusal, REFUSAL_NONE);
    assert_near(hold_warm_from(&m.columns, &m.conditions), 0, 0);
    finish(&m, &found);
}

static void no_coolant(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 1500, 300, 75);
    leg(&m, 2000, 300, NAN);
    expect_last(&m, REFUSAL_NO_COOLANT);
}

static void no_sea(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 1500, 300, 75);
    leg(&m, 1800, 700, 76);
    leg(&m, 2000, 300, 77);
    for (size_t i = 200; i < m.now; i++)
        m.columns.sea[i] = NAN;
    struct found found = find(&m);
    assert_int_equal(found.count, 3);
    /* the second is near enough to readings of the sea, the third is not */
    assert_int_equal(found.holds[1].refusal, REFUSAL_NONE);
    assert_near(found.holds[1].sea, 15, 1e-9);
    assert_int_equal(found.holds[2].refusal, REFUSAL_NO_SEA);
    assert_true(isnan(found.holds[2].sea));
    finish(&m, &found);
}

static void blank(double *cells, size_t from, size_t to)
{
    for (size_t i = from; i < to; i++)
        cells[i] = NAN;
}

static void short_silence_is_bridged(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 2000, 400, 77);
    blank(m.columns.rpm, 100, 155);
    struct found found = find(&m);
    assert_int_equal(found.count, 1);
    assert_int_equal(found.holds[0].refusal, REFUSAL_NONE);
    assert_near(found.holds[0].end - found.holds[0].start, 400, 0);
    finish(&m, &found);
}

static void long_silence_parts_a_hold(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 1500, 200, 76);
    leg(&m, 2000, 340, 77);
    blank(m.columns.rpm, 300, 410); /* 100 s, then 110 s missing, then 130 s */
    struct found found = find(&m);
    assert_int_equal(found.count, 3);
    assert_int_equal(found.holds[1].refusal,
                     REFUSAL_GAP); /* not "too short": readings are missing */
    assert_int_equal(found.holds[2].refusal, REFUSAL_GAP);
    finish(&m, &found);
}

static void coolant_missing_in_part(void **state)
{
    (void)state;
    for (int bad = 0; bad < 2; bad++) {
        struct making m;
        start(&m);
        leg(&m, 1500, 300, 76);
        leg(&m, 2000, 300, 77);                         /* used: 180 s */
        blank(m.columns.coolant, 450, bad ? 525 : 519); /* 75 or 69 of 180 s */
        expect_last(&m, bad ? REFUSAL_GAP : REFUSAL_NONE);
    }
}

static void stuck_senders(void **state)
{
    (void)state;
    static const unsigned char bits[] = {FROZEN_RPM, FROZEN_COOLANT};
    for (size_t b = 0; b < 2; b++)
        for (int bad = 0; bad < 2; bad++) {
            struct making m;
            start(&m);
            leg(&m, 1500, 300, 76);
            leg(&m, 2000, 300, 77);
            memset(m.columns.frozen + 500, bits[b], bad ? 50 : 30); /* of 180 used */
            expect_last(&m, bad ? REFUSAL_STUCK : REFUSAL_NONE);
        }
}

static void put_gear(struct making *m, size_t from, double gear)
{
    for (size_t i = from; i < m->now; i++)
        m->columns.gear[i] = gear;
}

static void neutral_and_astern_by_gear(void **state)
{
    (void)state;
    static const struct {
        double gear;
        enum refusal refusal;
    } cases[] = {{1, REFUSAL_NONE}, {0, REFUSAL_IDLE}, {-1, REFUSAL_ASTERN}, {NAN, REFUSAL_NONE}};
    for (size_t i = 0; i < 4; i++) {
        struct making m;
        start(&m);
        leg(&m, 1500, 300, 76);
        put_gear(&m, 0, 1);
        leg(&m, 2000, 300, 77);
        put_gear(&m, 300, cases[i].gear);
        expect_last(&m, cases[i].refusal);
    }
}

static void astern_by_sign(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 1500, 300, 76);
    leg(&m, -1400, 300, 76);
    expect_last(&m, REFUSAL_ASTERN);
}

static void idle_by_speed(void **state)
{
    (void)state;
    for (int idle = 0; idle < 2; idle++) {
        struct making m;
        start(&m);
        leg(&m, 1500, 300, 76);
        leg(&m, idle ? 800 : 880, 300, 74); /* 30 % of 2800 is 840 */
        expect_last(&m, idle ? REFUSAL_IDLE : REFUSAL_NONE);
    }
}

static void idle_by_boat_speed(void **state)
{
    (void)state;
    for (int idle = 0; idle < 2; idle++) {
        struct making m;
        start(&m);
        leg(&m, 1500, 300, 76);
        leg(&m, 1000, 300, 74);
        for (size_t i = 0; i < m.now; i++)
            m.columns.boat_speed[i] = i >= 300 && idle ? 0.2 : 3.0;
        expect_last(&m, idle ? REFUSAL_IDLE : REFUSAL_NONE);
    }
}

static void hard_against_the_pier_is_no_idling(void **state)
{
    (void)state;
    struct making m;
    start(&m);
    leg(&m, 2000, 300, 80);
    for (size_t i = 0; i < m.now; i++)
        m.columns.boat_speed[i] = 0;
    expect_last(&m, REFUSAL_NONE);
}

static void unsettled(void **state)
{
    (void)state;
    for (int bad = 0; bad < 2; bad++) {
        struct making m;
        start(&m);
        leg(&m, 1500, 300, 76);
        for (int i = 0; i < 200; i++)
            leg(&m, 2800, 1, 76 + (bad ? 0.06 : 0.04) * i);
        struct found found = find(&m);
        assert_int_equal(found.holds[1].refusal, bad ? REFUSAL_UNSETTLED : REFUSAL_NONE);
        assert_near(found.holds[1].coolant_slope, bad ? 0.06 : 0.04, 1e-6);
        assert_near(found.holds[1].coolant_sd, 0, 1e-6);
        finish(&m, &found);
    }
}

static void thermostat_shut(void **state)
{
    (void)state;
    for (int bad = 0; bad < 2; bad++) {
        struct making m;
        start(&m);
        m.conditions.thermostat_start = 71;
        m.conditions.thermostat_u = 1;
        leg(&m, 2500, 300, 80);
        leg(&m, 1500, 300, bad ? 67.5 : 68.5); /* 71 - 2 x 1 - 1 = 68 */
        expect_last(&m, bad ? REFUSAL_THERMOSTAT_SHUT : REFUSAL_NONE);
    }
}

/* --- whatever comes */

static void check_order(const struct making *m, const struct found *found)
{
    double last = 0;
    for (size_t i = 0; i < found->count; i++) {
        const struct hold *hold = &found->holds[i];
        assert_true(hold->start >= last);
        assert_true(hold->end > hold->start);
        assert_true(hold->used_from >= hold->start && hold->used_from < hold->end);
        assert_true(hold->end <= (double)m->now);
        assert_true(hold->end - hold->start >= rules.hold.listed);
        if (hold->refusal == REFUSAL_NONE) {
            assert_true(hold->end - hold->start >= rules.hold.shortest);
            assert_true(hold->end - hold->used_from >= rules.hold.used_least);
            assert_false(isnan(hold->rpm) || isnan(hold->coolant) || isnan(hold->sea));
        }
        last = hold->end;
    }
}

static void random_runs_keep_the_rules(void **state)
{
    (void)state;
    uint64_t seed = 20240611;
    print_message("seed %llu\n", (unsigned long long)seed);
    for (int run = 0; run < 200; run++) {
        struct making m;
        start(&m);
        m.seed = seed;
        m.noise = 12 * uniform(&seed);
        double marks[20];
        for (size_t i = 0; i < 20; i++)
            marks[i] = 300.0 * (double)i * uniform(&seed) + 10;
        m.conditions.marks = marks;
        m.conditions.mark_count = (size_t)(20 * uniform(&seed));
        while (m.now < 4000)
            leg(&m, 3000 * uniform(&seed), (size_t)(400 * uniform(&seed)),
                70 + 15 * uniform(&seed));
        for (size_t k = 0; k < 6; k++) {
            size_t from = (size_t)(3800 * uniform(&seed));
            blank(k % 2 ? m.columns.rpm : m.columns.coolant, from,
                  from + (size_t)(200 * uniform(&seed)));
        }
        struct found found = find(&m);
        check_order(&m, &found);
        finish(&m, &found);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_a_ladder),
        cmocka_unit_test(bounds_are_exact),
        cmocka_unit_test(long_holds_settle_five_minutes),
        cmocka_unit_test(noisy_speed_is_steady),
        cmocka_unit_test(coarse_tachometer),
        cmocka_unit_test(wandering_throttle_is_no_hold),
        cmocka_unit_test(slow_drift_within_the_tolerance),
        cmocka_unit_test(short_excursions_do_not_end_a_hold),
        cmocka_unit_test(standing_engine_is_nothing),
        cmocka_unit_test(no_readings_at_all),
        cmocka_unit_test(marks_part_near_speeds),
        cmocka_unit_test(marks_at_one_speed_change_nothing),
        cmocka_unit_test(engine_cold),
        cmocka_unit_test(warm_from_the_start),
        cmocka_unit_test(no_coolant),
        cmocka_unit_test(no_sea),
        cmocka_unit_test(short_silence_is_bridged),
        cmocka_unit_test(long_silence_parts_a_hold),
        cmocka_unit_test(coolant_missing_in_part),
        cmocka_unit_test(stuck_senders),
        cmocka_unit_test(neutral_and_astern_by_gear),
        cmocka_unit_test(astern_by_sign),
        cmocka_unit_test(idle_by_speed),
        cmocka_unit_test(idle_by_boat_speed),
        cmocka_unit_test(hard_against_the_pier_is_no_idling),
        cmocka_unit_test(unsettled),
        cmocka_unit_test(thermostat_shut),
        cmocka_unit_test(random_runs_keep_the_rules),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
