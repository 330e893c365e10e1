/* The fit of thermostat and time constant on looks made from the balance itself, without noise. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "../../analyze/lag.h"
#include "../../analyze/thermostat.h"

#define SPEEDS 6
#define LOOKS (2 * 2 * SPEEDS)
#define START 71.8
#define FULL 82.4

static const double speed[SPEEDS] = {1000, 1400, 1800, 2200, 2500, 2800};

struct made {
    struct look looks[LOOKS];
    struct evidence_run runs[SIDE_COUNT];
    struct evidence evidence;
};

/* Two settled ladders in seas 6 K apart; K = 78 K (n / 2800)^1.9 before and a fifth less after. */
static void make(struct made *made)
{
    const struct thermostat truth = {START, FULL, 0, 0};
    memset(made, 0, sizeof *made);
    for (size_t i = 0; i < LOOKS; i++) {
        size_t k = i % SPEEDS;
        enum side side = i < LOOKS / 2 ? SIDE_BEFORE : SIDE_AFTER;
        double sea = side == SIDE_BEFORE ? 20 : 14;
        double rise = (side == SIDE_BEFORE ? 78 : 62) * pow(speed[k] / 2800, 1.9);
        made->looks[i] = (struct look){.hold = i,
                                       .run = side,
                                       .side = side,
                                       .band = k,
                                       .cell = k,
                                       .ln_speed = log(speed[k] / 1850),
                                       .lag_factor = pow(2800 / speed[k], 0.6),
                                       .coolant = lift_reading(&truth, rise, sea),
                                       .sea = sea};
    }
    for (int side = 0; side < SIDE_COUNT; side++)
        made->runs[side] = (struct evidence_run){(size_t)side, (enum side)side, LOOKS / 2};
    made->evidence = (struct evidence){.count = LOOKS,
                                       .looks = made->looks,
                                       .run_count = SIDE_COUNT,
                                       .runs = made->runs,
                                       .band_count = SPEEDS,
                                       .cell_count = SPEEDS,
                                       .middle_rpm = 1850,
                                       .load_from = "assumed"};
}

static void the_prior_of_a_rating_is_the_rating(void **state)
{
    (void)state;
    struct thermostat_prior prior = thermostat_prior_make(71, 82, 1, 135, 45);
    assert_true(prior.rated);
    assert_float_equal(prior.mean[AXIS_START], 71, 1e-9);
    assert_float_equal(prior.mean[AXIS_SPAN], 11, 1e-9);
    assert_true(prior.low[AXIS_START] < 71 && prior.high[AXIS_START] > 71);
    assert_false(thermostat_prior_make(NAN, NAN, 1, 135, 45).rated);
    assert_false(thermostat_prior_make(82, 71, 1, 135, 45).rated);
}

/* phi = (77.1 - 71.8) / 10.6 = 0.5 over a sea of 17.1: 0.5 * 60 K; load of 10 % more taken out. */
static void open_rise_by_hand(void **state)
{
    (void)state;
    const struct thermostat thermostat = {71.8, 82.4, 0, 0};
    struct look look = {.coolant = 77.1, .sea = 17.1};
    assert_float_equal(thermostat_ln_rise(&thermostat, &look, 100), log(30.0), 1e-9);
    look.slope = 0.01; /* 100 s of it: 1 K */
    look.load = log(1.1);
    assert_float_equal(thermostat_ln_rise(&thermostat, &look, 100), log(31.0 / 1.1), 1e-9);
}

static void fit(struct made *made, double start, double full, struct thermostat_fit *out)
{
    struct thermostat_prior prior = thermostat_prior_make(start, full, 1, 135, 45);
    memset(out, 0, sizeof *out);
    make(made);
    assert_int_equal(thermostat_fit_holds(out, &made->evidence, &prior), STATUS_OK);
}

/* The holds pull a rating that is 0.8 K off towards the truth, and say by how much they can. */
static void holds_correct_a_rating(void **state)
{
    (void)state;
    struct made made;
    struct thermostat_fit found;
    fit(&made, 71, 81.6, &found);
    assert_true(fabs(found.best.start - START) < fmax(2 * found.u[AXIS_START], 0.3));
    assert_true(fabs(found.best.full - FULL) < fmax(2 * found.full_u, 0.3));
    assert_true(found.u[AXIS_START] > 0 && found.u[AXIS_START] < 1);
    assert_true(found.scatter > 0 && found.scatter < 0.02);
    assert_true(found.df >= 1);
    thermostat_free(&found);
}

static void without_a_rating_the_holds_tell(void **state)
{
    (void)state;
    struct made made;
    struct thermostat_fit found;
    fit(&made, NAN, NAN, &found);
    assert_true(fabs(found.best.start - START) < 3 * found.u[AXIS_START] + 0.5);
    assert_true(found.u[AXIS_START] < 3);
    thermostat_free(&found);
}

/* The mean and spread of draws are those of the posterior they come from. */
static void draws_are_of_the_posterior(void **state)
{
    (void)state;
    enum { N = 4000 };
    struct made made;
    struct thermostat_fit found;
    double sum = 0, squares = 0;
    fit(&made, 71, 82, &found);
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_taus2);
    assert_non_null(rng);
    gsl_rng_set(rng, 20251125);
    for (int i = 0; i < N; i++) {
        double start = thermostat_draw(&found, rng).at[AXIS_START];
        sum += start;
        squares += (start - found.best.start) * (start - found.best.start);
    }
    gsl_rng_free(rng);
    double u = sqrt(squares / N);
    assert_true(fabs(sum / N - found.best.start) < 0.1 * found.u[AXIS_START] + 0.02);
    assert_true(u > 0.8 * found.u[AXIS_START] && u < 1.3 * found.u[AXIS_START] + 0.02);
    thermostat_free(&found);
}

/* Fits come out at 0.75 of what holds need (lag.c); 90 s of a run stand for 120 s, pulled by the
 * usual. */
static void pooled_time_constants_are_raised(void **state)
{
    (void)state;
    const struct lag one = {90, 27, 2};
    struct lag pooled = lag_pool(&one, 1);
    double wanted = (120 / (36.0 * 36) + 135 / (45.0 * 45)) / (1 / (36.0 * 36) + 1 / (45.0 * 45));
    assert_float_equal(pooled.seconds, wanted, 1e-6);
    assert_int_equal(pooled.steps, 2);
    assert_true(pooled.u >= 0.3 * pooled.seconds - 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_prior_of_a_rating_is_the_rating),
        cmocka_unit_test(open_rise_by_hand),
        cmocka_unit_test(holds_correct_a_rating),
        cmocka_unit_test(without_a_rating_the_holds_tell),
        cmocka_unit_test(draws_are_of_the_posterior),
        cmocka_unit_test(pooled_time_constants_are_raised),
    };
    return cmocka_run_group_tests_name("thermostat", tests, NULL, NULL);
}
