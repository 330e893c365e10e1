/* test_season_year.c - which part of the year a boat is used in. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "../../analyze/season_clock.h"
#include "../../analyze/season_year.h"

#define YEAR YEAR_SECONDS

static void assert_near(double value, double wanted)
{
    assert_true(value > wanted - 1e-6 && value < wanted + 1e-6);
}

static void a_lay_up_in_winter_is_found(void **state)
{
    (void)state;
    const double at[] = {10.3 * YEAR, 10.5 * YEAR, 11.4 * YEAR, 11.8 * YEAR, 12.6 * YEAR};
    double scratch[5];
    struct season_year year;
    season_year_make(at, 5, scratch, &year);
    assert_near(year.start, 0.3);
    assert_near(year.length, 0.5);
    assert_near(season_year_share(&year, 13.3 * YEAR), 0);
    assert_near(season_year_share(&year, 13.55 * YEAR), 0.5);
    assert_near(season_year_share(&year, 13.9 * YEAR), 1);
    assert_near(season_year_share(&year, 14.2 * YEAR), 1);
}

/* South of the equator the season goes over the new year. */
static void a_season_may_go_over_the_new_year(void **state)
{
    (void)state;
    const double at[] = {10.8 * YEAR, 11.1 * YEAR, 11.9 * YEAR, 12.2 * YEAR};
    double scratch[4];
    struct season_year year;
    season_year_make(at, 4, scratch, &year);
    assert_near(year.start, 0.8);
    assert_near(year.length, 0.4);
    assert_near(season_year_share(&year, 13.0 * YEAR), 0.5);
}

static void a_boat_used_all_year_has_no_season(void **state)
{
    (void)state;
    double at[12], scratch[12];
    struct season_year year;
    for (size_t i = 0; i < 12; i++)
        at[i] = (10 + (double)i / 12) * YEAR;
    season_year_make(at, 12, scratch, &year);
    assert_near(season_year_share(&year, 10.7 * YEAR), 0);
    season_year_make(at, 3, scratch, &year); /* three outings say nothing of the year */
    assert_near(season_year_share(&year, 10.2 * YEAR), 0);
    for (size_t i = 0; i < 12; i++)
        at[i] = (double)(10 + i) * YEAR; /* always the same day */
    season_year_make(at, 12, scratch, &year);
    assert_near(season_year_share(&year, 10.7 * YEAR), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(a_lay_up_in_winter_is_found),
                                       cmocka_unit_test(a_season_may_go_over_the_new_year),
                                       cmocka_unit_test(a_boat_used_all_year_has_no_season)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
