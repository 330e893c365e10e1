/* test_also.c - what else changed between the runs, and how sure that is. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../../analyze/also.h"
#include "near.h"

#define HOLDS 2 /* of each side, all at one speed */

/* Two runs with the coolant read once in each of two holds. */
struct made {
    struct trial trials[SIDE_COUNT];
    struct candidate coolant[SIDE_COUNT];
    double time[HOLDS], value[SIDE_COUNT][HOLDS];
    struct hold holds[SIDE_COUNT * HOLDS];
    struct engine_answer *engine;
};

static void make(struct made *made, double first, double second, double change)
{
    memset(made, 0, sizeof *made);
    made->engine = calloc(1, sizeof *made->engine);
    assert_non_null(made->engine);
    made->engine->hold_count = SIDE_COUNT * HOLDS;
    made->engine->holds = made->holds;
    made->engine->band_count = 1;
    made->engine->bands[0].rpm = 2000;
    for (int side = 0; side < SIDE_COUNT; side++) {
        struct candidate *coolant = &made->coolant[side];
        made->value[side][0] = first + side * change;
        made->value[side][1] = second + side * change;
        coolant->series.count = HOLDS;
        coolant->series.time = made->time;
        coolant->series.value = made->value[side];
        made->trials[side].run = (size_t)side;
        made->trials[side].chosen[QUANTITY_COOLANT] = coolant;
        for (int i = 0; i < HOLDS; i++) {
            made->time[i] = 100 + 1000 * i;
            made->holds[side * HOLDS + i] = (struct hold){.run = (size_t)side,
                                                          .side = (enum side)side,
                                                          .start = 1000 * i,
                                                          .used_from = 1000 * i + 50,
                                                          .end = 1000 * i + 300,
                                                          .band_rpm = 2000};
        }
    }
}

static struct also_row row_of(struct made *made)
{
    also_fill(made->trials, SIDE_COUNT, 0.95, made->engine);
    assert_int_equal(made->engine->also_count, 1);
    struct also_row row = made->engine->also[0];
    free(made->engine);
    return row;
}

static double half_width(struct interval interval)
{
    return (interval.high - interval.low) / 2;
}

/* Scatter of two holds a side, pooled: 2 degrees of freedom, for which the two-sided 95 % quantile
 * of Student's t is 4.303 (tables of the t distribution, e.g. NIST/SEMATECH e-Handbook,
 * 1.3.6.7.2). */
static void scatter_alone(void **state)
{
    (void)state;
    struct made made;
    make(&made, 80, 81, -5);
    struct also_row row = row_of(&made);
    assert_near(row.before.value, 80.5, 1e-9);
    assert_near(row.change.value, -5, 1e-9);
    assert_near(half_width(row.before), 4.303 * sqrt(0.5) / sqrt(2), 1e-3);
    assert_near(half_width(row.change), 4.303 * sqrt(0.5), 1e-3);
}

/* A gauge read to 5 K twice the same: the scatter is 0, what is known of it is not. */
static void rounded_readings(void **state)
{
    (void)state;
    struct made made;
    make(&made, 80, 80, -5);
    made.coolant[0].series.accuracy.step = made.coolant[1].series.accuracy.step = 5;
    struct also_row row = row_of(&made);
    assert_near(half_width(row.before), 1.960 * 5 / sqrt(12) / sqrt(2), 1e-3);
    assert_near(half_width(row.change), 1.960 * 5 / sqrt(12), 1e-3);
}

/* What all readings of a run share does not shrink with their number. */
static void shared_by_a_run(void **state)
{
    (void)state;
    struct made made;
    make(&made, 80, 80, -5);
    made.coolant[0].series.accuracy.run_u = made.coolant[1].series.accuracy.run_u = 1;
    made.coolant[0].series.accuracy.reading_u = 0.5;
    struct also_row row = row_of(&made);
    assert_near(half_width(row.before), 1.960 * sqrt(1 + 0.125), 1e-3);
    assert_near(half_width(row.after), 1.960, 1e-3);
    assert_near(half_width(row.change), 1.960 * sqrt(2.125), 1e-3);
}

/* One hold a side repeats nothing: no interval is made up. */
static void nothing_repeated(void **state)
{
    (void)state;
    struct made made;
    make(&made, 80, 80, -5);
    made.holds[1].refusal = made.holds[3].refusal = REFUSAL_TOO_SHORT;
    struct also_row row = row_of(&made);
    assert_near(row.change.value, -5, 1e-9);
    assert_true(isnan(row.change.low));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(scatter_alone),
        cmocka_unit_test(rounded_readings),
        cmocka_unit_test(shared_by_a_run),
        cmocka_unit_test(nothing_repeated),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
