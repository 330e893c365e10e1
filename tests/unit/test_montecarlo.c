/* Intervals from draws against JCGM 101:2008, clause 9.
 *
 * Inputs of 9.2.2 and 9.3 as public implementations print them, of 9.2.3, 9.2.4 and 9.4 from
 * memory; the values compared with are exact ones, recomputed, not the rounded printed ones. With
 * 400,000 draws a 95 % limit is sure to about 0.5 %. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdio.h>

#include "../../analyze/montecarlo.h"
#include "../../analyze/stats.h"

enum { DRAWS = 400000 };
static double draws[DRAWS], scratch[DRAWS];

static void near_to(double got, double wanted, double bound)
{
    if (!(fabs(got - wanted) <= bound))
        fail_msg("got %.9g, wanted %.9g within %g", got, wanted, bound);
}

static double normal(gsl_rng *rng, double sd)
{
    return gsl_ran_gaussian(rng, sd);
}

static double rectangular(gsl_rng *rng, double sd)
{
    return gsl_ran_flat(rng, -sd * sqrt(3), sd * sqrt(3));
}

/* Sum of four numbers with standard deviation 1, the last with `last`. */
static void check_sum(double (*shape)(gsl_rng *rng, double sd), double last, double half, double u)
{
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    for (size_t i = 0; i < DRAWS; i++)
        draws[i] = shape(rng, 1) + shape(rng, 1) + shape(rng, 1) + shape(rng, last);
    struct interval interval = montecarlo_interval(draws, DRAWS, 0.95, scratch);
    near_to(interval.low, -half, 0.006 * half);
    near_to(interval.high, half, 0.006 * half);
    near_to(interval.value, 0, 0.01 * half);
    near_to(montecarlo_u(draws, DRAWS), u, 0.005 * u);
    gsl_rng_free(rng);
}

static void jcgm101_9_2_sums(void **state)
{
    (void)state;
    check_sum(normal, 1, 3.919927969, 2);
    check_sum(rectangular, 1, 3.879406741, 2);
    check_sum(rectangular, 10, 17.015814100, 10.148891565);
}

/* 9.3, mass calibration: a weight's conventional mass over nominal, mg. Air and weights have
 * rectangular densities. Standard deviation in closed form; limits from 4 million draws, sure to
 * 0.0002. */
static void jcgm101_9_3_mass(void **state)
{
    (void)state;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    for (size_t i = 0; i < DRAWS; i++) {
        double reference = 100000.000 + normal(rng, 0.050) + 1.234 + normal(rng, 0.020);
        double air = gsl_ran_flat(rng, 1.10, 1.30);
        double weight = gsl_ran_flat(rng, 7000, 9000), standard = gsl_ran_flat(rng, 7950, 8050);
        draws[i] = reference * (1 + (air - 1.2) * (1 / weight - 1 / standard)) - 100000;
    }
    struct interval interval = montecarlo_interval(draws, DRAWS, 0.95, scratch);
    near_to(montecarlo_u(draws, DRAWS), 0.0754797400, 0.0004);
    near_to(interval.value, 1.234, 0.001);
    near_to(interval.low, 1.0844394, 0.002);
    near_to(interval.high, 1.3835100, 0.002);
    gsl_rng_free(rng);
}

/* 9.4: Y = X1^2 + X2^2, u = 0.005, in units of 1e-6: probabilistically symmetric intervals. */
static void jcgm101_9_4_squares(void **state)
{
    (void)state;
    const double rows[][5] = {
        {0.000, 50, 50, 1.2658904, 184.44397},
        {0.010, 150, 111.80340, 8.547, 427.123},
        {0.050, 2550, 502.494, 1638.477, 3603.358},
    };
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    for (size_t row = 0; row < 3; row++) {
        double sum = 0;
        for (size_t i = 0; i < DRAWS; i++) {
            double x = rows[row][0] + normal(rng, 0.005), y = normal(rng, 0.005);
            draws[i] = 1e6 * (x * x + y * y);
            sum += draws[i] / DRAWS;
        }
        struct interval interval = montecarlo_interval(draws, DRAWS, 0.95, scratch);
        near_to(sum, rows[row][1], 0.01 * rows[row][1]);
        near_to(montecarlo_u(draws, DRAWS), rows[row][2], 0.01 * rows[row][2]);
        near_to(interval.low, rows[row][3], 0.03 * rows[row][3]);
        near_to(interval.high, rows[row][4], 0.01 * rows[row][4]);
    }
    gsl_rng_free(rng);
}

/* A t-scaled normal number has Student's quantiles. */
static void scaled_draws_are_students(void **state)
{
    (void)state;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    const double dfs[] = {3, 9, 30, INFINITY};
    for (size_t k = 0; k < 4; k++) {
        for (size_t i = 0; i < DRAWS; i++)
            draws[i] = montecarlo_t_scale(rng, dfs[k]) * normal(rng, 1);
        struct interval interval = montecarlo_interval(draws, DRAWS, 0.95, scratch);
        near_to(interval.high, stats_t(0.95, dfs[k]), 0.02 * stats_t(0.95, dfs[k]));
    }
    gsl_rng_free(rng);
}

/* Five independent intervals hold at once when each is widened to the level 0.95^(1/5). */
static void simultaneous_factor(void **state)
{
    (void)state;
    enum { EACH = 80000 };
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    const double *columns[5];
    struct interval single[5];
    for (size_t q = 0; q < 5; q++) {
        columns[q] = draws + q * EACH;
        for (size_t i = 0; i < EACH; i++)
            draws[q * EACH + i] = normal(rng, 1 + (double)q);
        single[q] = montecarlo_about(0, columns[q], EACH, 0.95, scratch);
    }
    double factor = montecarlo_simultaneous(columns, single, 5, EACH, 0.95, scratch);
    near_to(factor, stats_t(pow(0.95, 0.2), INFINITY) / stats_t(0.95, INFINITY), 0.02);
    near_to(montecarlo_simultaneous(columns, single, 1, EACH, 0.95, scratch), 1, 0.01);
    gsl_rng_free(rng);
}

static void few_draws_and_values_outside(void **state)
{
    (void)state;
    const double three[] = {3, 1, 2};
    assert_true(isnan(montecarlo_interval(three, 0, 0.95, scratch).low));
    assert_true(isnan(montecarlo_u(three, 1)));
    struct interval all = montecarlo_interval(three, 3, 0.95, scratch);
    assert_true(all.low >= 1 && all.high <= 3 && all.value == 2);
    assert_true(three[0] == 3 && three[1] == 1);
    assert_true(montecarlo_about(9, three, 3, 0.95, scratch).high == 9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(jcgm101_9_2_sums),    cmocka_unit_test(jcgm101_9_3_mass),
        cmocka_unit_test(jcgm101_9_4_squares), cmocka_unit_test(scaled_draws_are_students),
        cmocka_unit_test(simultaneous_factor), cmocka_unit_test(few_draws_and_values_outside),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
