/* test_sea.c - a sensor that is warmed by the engine is told from one that reads the sea. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../../analyze/sea.h"
#include "../../analyze/series.h"
#include "near.h"

#define CELLS 3600

static double uniform(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(*seed >> 11) / 9007199254740992.0;
}

/* Up and down through six speeds, five minutes each. */
static void ladder(double *rpm)
{
    static const double speeds[] = {1000, 1400, 1800, 2200, 2500, 2800,
                                    2800, 2500, 2200, 1800, 1400, 1000};
    for (size_t i = 0; i < CELLS; i++)
        rpm[i] = speeds[i / 300];
}

/* The sea with a drift over the run, and `heated` K of engine heat with a lag of `lag` s. */
static void sea_of(const double *rpm, double drift, double heated, double lag, double *sea)
{
    double heat[CELLS], slow[CELLS];
    uint64_t seed = 8;
    for (size_t i = 0; i < CELLS; i++)
        heat[i] = rpm[i] * rpm[i] / (2800.0 * 2800.0);
    cells_lag(heat, CELLS, 1.0, lag, slow);
    for (size_t i = 0; i < CELLS; i++)
        sea[i] = 15 + drift * (double)i / CELLS + heated * slow[i] + 0.1 * (uniform(&seed) - 0.5);
}

static void reads_the_sea(void **state)
{
    (void)state;
    double rpm[CELLS], sea[CELLS];
    ladder(rpm);
    sea_of(rpm, 0, 0, 300, sea);
    struct sea_look look = sea_look(sea, rpm, CELLS);
    assert_false(sea_follows_engine(&look));
    assert_near(look.effect, 0, 0.1);
    assert_near(look.drift, 0, 0.1);
    sea_of(rpm, 3, 0, 300, sea); /* other waters */
    look = sea_look(sea, rpm, CELLS);
    assert_false(sea_follows_engine(&look));
    /* between the middles of the first and last tenth of 50 min */
    assert_near(look.drift, 2.25, 0.1);
}

static void warmed_by_the_engine(void **state)
{
    (void)state;
    static const double lags[] = {60, 300, 900};
    double rpm[CELLS], sea[CELLS];
    ladder(rpm);
    for (size_t i = 0; i < 3; i++) {
        sea_of(rpm, 1, 3, lags[i], sea);
        struct sea_look look = sea_look(sea, rpm, CELLS);
        assert_true(sea_follows_engine(&look));
        assert_true(look.effect > 1.0 && look.effect < 3.0);
    }
}

/* A little warmth is not worth a word. */
static void warmed_by_half_a_kelvin(void **state)
{
    (void)state;
    double rpm[CELLS], sea[CELLS];
    ladder(rpm);
    sea_of(rpm, 0, 0.5, 300, sea);
    struct sea_look look = sea_look(sea, rpm, CELLS);
    assert_false(sea_follows_engine(&look));
}

/* Colder while the engine works: the boat left a warm harbour. Heat does not cool. */
static void colder_at_speed_is_the_open_sea(void **state)
{
    (void)state;
    double rpm[CELLS], sea[CELLS];
    ladder(rpm);
    sea_of(rpm, 0, -3, 300, sea);
    struct sea_look look = sea_look(sea, rpm, CELLS);
    assert_true(look.effect < -1);
    assert_false(sea_follows_engine(&look));
}

static void one_speed_tells_nothing(void **state)
{
    (void)state;
    double rpm[CELLS], sea[CELLS];
    for (size_t i = 0; i < CELLS; i++)
        rpm[i] = 2000;
    sea_of(rpm, 2, 0, 300, sea);
    struct sea_look look = sea_look(sea, rpm, CELLS);
    assert_true(isnan(look.effect));
    assert_false(sea_follows_engine(&look));
}

static void missing_readings(void **state)
{
    (void)state;
    double rpm[CELLS], sea[CELLS];
    ladder(rpm);
    for (size_t i = 0; i < CELLS; i++)
        sea[i] = NAN;
    struct sea_look look = sea_look(sea, rpm, CELLS);
    assert_true(isnan(look.effect) && look.drift == 0);
    assert_false(sea_follows_engine(&look));
    look = sea_look(sea, rpm, 0);
    assert_false(sea_follows_engine(&look));
    sea_of(rpm, 1, 3, 300, sea);
    for (size_t i = 0; i < CELLS; i += 3)
        sea[i] = NAN;
    look = sea_look(sea, rpm, CELLS);
    assert_true(sea_follows_engine(&look));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_the_sea),
        cmocka_unit_test(warmed_by_the_engine),
        cmocka_unit_test(warmed_by_half_a_kelvin),
        cmocka_unit_test(colder_at_speed_is_the_open_sea),
        cmocka_unit_test(one_speed_tells_nothing),
        cmocka_unit_test(missing_readings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
