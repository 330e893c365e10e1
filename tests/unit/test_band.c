/* test_band.c - holds of like speed come into one band, under a round name. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../../analyze/band.h"
#include "../../analyze/rules.h"
#include "near.h"

static double uniform(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(*seed >> 11) / 9007199254740992.0;
}

static struct hold hold_at(double rpm, enum side side)
{
    return (struct hold){.rpm = rpm, .side = side, .band_rpm = NAN, .refusal = REFUSAL_NONE};
}

static void ladder_with_throttle_error(void **state)
{
    (void)state;
    static const double speeds[] = {1000, 1400, 1800, 2200, 2500, 2800};
    uint64_t seed = 42;
    for (int turn = 0; turn < 200; turn++) {
        struct hold holds[24];
        size_t n = 0;
        for (size_t i = 0; i < 6; i++)
            for (int k = 0; k < 4; k++) /* up and down, before and after, off by 35 rpm at most */
                holds[n++] = hold_at(speeds[i] + 70 * (uniform(&seed) - 0.5),
                                     k < 2 ? SIDE_BEFORE : SIDE_AFTER);
        assert_int_equal(band_assign(holds, n), STATUS_OK);
        for (size_t i = 0; i < n; i++)
            assert_near(holds[i].band_rpm, speeds[i / 4], 35 + 25); /* rounded to 50 at worst */
        for (size_t i = 0; i < n; i++)
            assert_true(holds[i].band_rpm == holds[i / 4 * 4].band_rpm);
    }
}

static void names_are_round(void **state)
{
    (void)state;
    static const struct {
        double rpm, name;
    } cases[] = {{1992, 2000}, {2012, 2000}, {1745, 1750}, {1760, 1750},
                 {1722, 1720}, {2833, 2850}, {618, 600},   {905, 900}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct hold hold = hold_at(cases[i].rpm, SIDE_BEFORE);
        assert_int_equal(band_assign(&hold, 1), STATUS_OK);
        assert_near(hold.band_rpm, cases[i].name, 0);
    }
}

static void steps_of_100_rpm_stay_apart(void **state)
{
    (void)state;
    struct hold holds[40];
    for (size_t i = 0; i < 40; i++)
        holds[i] = hold_at(1000 + 100 * (double)(i / 2) + (i % 2 ? 12 : -12),
                           i % 2 ? SIDE_AFTER : SIDE_BEFORE);
    assert_int_equal(band_assign(holds, 40), STATUS_OK);
    for (size_t i = 0; i < 40; i++)
        assert_near(holds[i].band_rpm, 1000 + 100 * (double)(i / 2), 0);
}

static void refused_holds_get_no_band(void **state)
{
    (void)state;
    struct hold holds[3] = {hold_at(2000, SIDE_BEFORE), hold_at(2010, SIDE_AFTER),
                            hold_at(2005, SIDE_AFTER)};
    holds[2].refusal = REFUSAL_GAP;
    assert_int_equal(band_assign(holds, 3), STATUS_OK);
    assert_near(holds[0].band_rpm, 2000, 0);
    assert_near(holds[1].band_rpm, 2000, 0);
    assert_true(isnan(holds[2].band_rpm));
    assert_int_equal(band_assign(holds, 0), STATUS_OK);
}

/* The middle is that of the sides, not of the holds: many runs on one side pull nothing over. */
static void sides_weigh_alike(void **state)
{
    (void)state;
    struct hold holds[6];
    for (size_t i = 0; i < 5; i++)
        holds[i] = hold_at(2640, SIDE_BEFORE);
    holds[5] = hold_at(2680, SIDE_AFTER);
    assert_int_equal(band_assign(holds, 6), STATUS_OK);
    assert_near(holds[0].band_rpm, 2650, 0); /* 2660; the mean of the holds would be 2647 */
}

static void bands_are_narrow_and_named_apart(void **state)
{
    (void)state;
    uint64_t seed = 4711;
    print_message("seed %llu\n", (unsigned long long)seed);
    for (int turn = 0; turn < 300; turn++) {
        struct hold holds[60];
        size_t n = (size_t)(60 * uniform(&seed));
        for (size_t i = 0; i < n; i++)
            holds[i] = hold_at(700 + 2500 * uniform(&seed), i % 2 ? SIDE_AFTER : SIDE_BEFORE);
        assert_int_equal(band_assign(holds, n), STATUS_OK);
        for (size_t i = 0; i < n; i++)
            for (size_t k = 0; k < i; k++) {
                double apart = fabs(holds[i].rpm - holds[k].rpm);
                double mean = 0.5 * (holds[i].rpm + holds[k].rpm);
                double wide = fmax(rules.band.width_rpm, rules.band.width_ratio * mean);
                if (holds[i].band_rpm == holds[k].band_rpm)
                    assert_true(apart <= wide + 1e-9);
                else /* names keep the order of the speeds */
                    assert_true((holds[i].rpm < holds[k].rpm) ==
                                (holds[i].band_rpm < holds[k].band_rpm));
            }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ladder_with_throttle_error),
        cmocka_unit_test(names_are_round),
        cmocka_unit_test(steps_of_100_rpm_stay_apart),
        cmocka_unit_test(refused_holds_get_no_band),
        cmocka_unit_test(sides_weigh_alike),
        cmocka_unit_test(bands_are_narrow_and_named_apart),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
