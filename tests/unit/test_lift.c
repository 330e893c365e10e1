/* The heat balance: its own solution, its limits, and its slopes against differences. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>

#include "../../analyze/lift.h"

static const struct thermostat plain = {71, 82, 0, 0};

static void near_to(double got, double wanted, double bound)
{
    if (!(fabs(got - wanted) <= bound))
        fail_msg("got %.12g, wanted %.12g within %g", got, wanted, bound);
}

static void open_fraction_follows_the_rating(void **state)
{
    (void)state;
    near_to(lift_open_fraction(&plain, 60), 0, 1e-12);
    near_to(lift_open_fraction(&plain, 71), 0, 1e-12);
    near_to(lift_open_fraction(&plain, 76.5), 0.5, 1e-12);
    near_to(lift_open_fraction(&plain, 82), 1, 1e-12);
    near_to(lift_open_fraction(&plain, 95), 1, 1e-12);
    const struct thermostat bent = {71, 82, 0.2, 0};
    near_to(lift_open_fraction(&bent, 76.5), 0.7, 1e-9);
    near_to(lift_open_fraction(&bent, 71), 0, 1e-9);
    near_to(lift_open_fraction(&bent, 82), 1, 1e-9);
}

/* Worked by hand: sea 20, open rise 40 K. Wide open the reading would be 60, below the start, so
 * the thermostat controls: (T - 71)/11 * (T - 20) = 40, T^2 - 91 T + 980 = 0, T = (91 +
 * sqrt(4361))/2. */
static void reading_in_control_worked_by_hand(void **state)
{
    (void)state;
    near_to(lift_reading(&plain, 40, 20), (91 + sqrt(4361)) / 2, 1e-6);
    near_to(lift_open_rise(&plain, (91 + sqrt(4361)) / 2, 20, 0, 0), 40, 1e-6);
}

static void wide_open_follows_the_sea_one_for_one(void **state)
{
    (void)state;
    near_to(lift_reading(&plain, 70, 20), 90, 1e-6);
    near_to(lift_reading(&plain, 70, 25), 95, 1e-6);
    near_to(lift_sea_share(&plain, 90, 20), 1, 1e-9);
    near_to(lift_gain(&plain, 90, 20), 70, 1e-6);
}

/* In control the reading hardly follows: method range 0.02 to 0.15 K a kelvin. */
static void in_control_the_sea_hardly_counts(void **state)
{
    (void)state;
    for (double coolant = 72; coolant < 81; coolant += 0.5) {
        double share = lift_sea_share(&plain, coolant, 18);
        assert_true(share > 0.01 && share < 0.16);
    }
}

static void reading_and_rise_undo_each_other(void **state)
{
    (void)state;
    const struct thermostat kinds[] = {{71, 82, 0, 0}, {60, 74, 0.25, 0}, {79, 85, -0.2, 0.1}};
    for (size_t k = 0; k < 3; k++)
        for (double rise = 3; rise < 95; rise += 1.7)
            for (double sea = -1; sea < 32; sea += 4.1) {
                double reading = lift_reading(&kinds[k], rise, sea);
                near_to(lift_open_rise(&kinds[k], reading, sea, 0, 90), rise, 1e-4 * rise);
                assert_true(lift_reading(&kinds[k], rise * 1.01, sea) > reading);
            }
}

/* The slopes are those of the solution itself. */
static void slopes_agree_with_differences(void **state)
{
    (void)state;
    for (double rise = 10; rise < 90; rise += 7.3)
        for (double sea = 4; sea < 30; sea += 6.7) {
            double reading = lift_reading(&plain, rise, sea), step = 1e-4;
            if (fabs(reading - plain.full) < 0.05)
                continue; /* the corner has two slopes */
            double gain = (lift_reading(&plain, rise * exp(step), sea) -
                           lift_reading(&plain, rise * exp(-step), sea)) /
                          (2 * step);
            near_to(lift_gain(&plain, reading, sea), gain, 0.002 * gain + 1e-4);
            double share =
                (lift_reading(&plain, rise, sea + step) - lift_reading(&plain, rise, sea - step)) /
                (2 * step);
            near_to(lift_sea_share(&plain, reading, sea), share, 0.002);
        }
}

/* A reading that still climbs at 0.01 K/s with 90 s of stored heat has 0.9 K to go, wide open. */
static void stored_heat_is_added(void **state)
{
    (void)state;
    near_to(lift_open_rise(&plain, 90, 20, 0.01, 90), 70.9, 1e-9);
    near_to(lift_open_rise(&plain, 90, 20, -0.01, 90), 69.1, 1e-9);
}

/* Corners that a Monte Carlo passes through: finite and positive. */
static void corners_stay_sensible(void **state)
{
    (void)state;
    assert_true(lift_open_rise(&plain, 50, 20, 0, 90) >= 0.05);
    assert_true(lift_open_rise(&plain, 15, 20, 0, 90) >= 0.05);
    assert_true(lift_open_rise(&plain, 75, 20, -1, 90) >= 0.05);
    assert_true(isfinite(lift_reading(&plain, 0.05, 20)));
    assert_true(isfinite(lift_reading(&plain, 1e4, 20)));
    assert_true(isfinite(lift_gain(&plain, 71, 20)) && isfinite(lift_sea_share(&plain, 60, 20)));
}

/* Common practice, no source: healthy engines run at 170 to 175 degF (76.7 to 79.4 degC), suspect
 * ones a little over 180 degF (82.2 degC). With a common thermostat and an open rise that grew by a
 * half that is what the balance says. */
static void trade_figures_come_out(void **state)
{
    (void)state;
    double healthy = lift_reading(&plain, 42, 20), suspect = lift_reading(&plain, 42 * 1.5, 20);
    assert_true(healthy > 76.7 && healthy < 79.4);
    assert_true(suspect > 81.5 && suspect < 84);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(open_fraction_follows_the_rating),
        cmocka_unit_test(reading_in_control_worked_by_hand),
        cmocka_unit_test(wide_open_follows_the_sea_one_for_one),
        cmocka_unit_test(in_control_the_sea_hardly_counts),
        cmocka_unit_test(reading_and_rise_undo_each_other),
        cmocka_unit_test(slopes_agree_with_differences),
        cmocka_unit_test(stored_heat_is_added),
        cmocka_unit_test(corners_stay_sensible),
        cmocka_unit_test(trade_figures_come_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
