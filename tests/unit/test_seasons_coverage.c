/* test_seasons_coverage.c - a short sample of bench_seasons: boats of the model over four seasons,
 * through run files and service log, have their truth inside the intervals. BOATS=N takes more of
 * them. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include <cmocka.h>

#include "../simulated/fleet_score.h"
#include "../simulated/hand_run.h"

#define SEED 20261125
#define MISS 0.10 /* share of intervals that may miss, twice what is promised: this is no bench */

static const struct fleet_analyzer analyzer = {seasons_options_default, seasons_read, seasons_solve,
                                               seasons_free, hand_run_make};
static char folder[] = "/tmp/searun-seasons-XXXXXX";

static size_t boats_wanted(void)
{
    const char *given = getenv("BOATS");
    const unsigned long boats = given ? strtoul(given, NULL, 10) : 0;
    return boats > 0 ? boats : 5;
}

/* So many misses of `count` come by chance in one of some thousand cases, if MISS of all do. */
static size_t misses_allowed(size_t count)
{
    const double mean = MISS * (double)count;
    return (size_t)(mean + 3.3 * sqrt(mean) + 1);
}

static void check_kind(const struct fleet_boat_score *scores, size_t count, enum fleet_what what,
                       double half)
{
    struct fleet_tally tally;
    fleet_tally(scores, count, what, &tally);
    assert_true(tally.intervals > 0);
    if (tally.intervals - tally.held > misses_allowed(tally.intervals) || !(tally.half <= half))
        fail_msg("%s: %zu of %zu held, half-width %.3f", fleet_what_words[what], tally.held,
                 tally.intervals, tally.half);
}

static void four_seasons_hold_their_truth(void **state)
{
    (void)state;
    const size_t count = boats_wanted();
    struct fleet_boat_score *scores = calloc(count, sizeof *scores);
    assert_non_null(scores);
    for (size_t i = 0; i < count; i++) {
        fleet_score_boat(fleet_family_find("few"), SEED, i, folder, &analyzer, &scores[i]);
        if (!scores[i].done)
            fail_msg("boat %zu: %s", i, scores[i].failure);
    }
    check_kind(scores, count, FLEET_TREND, 0.15);
    check_kind(scores, count, FLEET_STEP, 0.3);
    check_kind(scores, count, FLEET_NOW, 10);
    check_kind(scores, count, FLEET_DATE, INFINITY);
    free(scores);
}

/* The scores themselves: an interval that does not hold the truth counts as a miss. */
static void misses_are_counted(void **state)
{
    (void)state;
    static struct fleet_boat_score score;
    struct fleet_tally tally;
    score = (struct fleet_boat_score){.done = true, .count = 4};
    score.check[0] = (struct fleet_check){FLEET_TREND, 0.03, {0.02, 0.01, 0.04}};
    score.check[1] = (struct fleet_check){FLEET_TREND, 0.05, {0.02, 0.01, 0.04}};
    score.check[2] = (struct fleet_check){FLEET_DATE, INFINITY, {3, 1, 5}};
    score.check[3] = (struct fleet_check){FLEET_DATE, INFINITY, {3, 1, INFINITY}};
    fleet_tally(&score, 1, FLEET_TREND, &tally);
    assert_int_equal(tally.intervals, 2);
    assert_int_equal(tally.held, 1);
    assert_true(fabs(tally.half - 0.015) < 1e-9);
    fleet_tally(&score, 1, FLEET_DATE, &tally);
    assert_int_equal(tally.held, 1);
    fleet_tally(&score, 1, FLEET_STEP, &tally);
    assert_int_equal(tally.intervals, 0);
    assert_true(isnan(tally.share));
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) ? 0 : -1;
}

static int remove_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(misses_are_counted),
                                       cmocka_unit_test(four_seasons_hold_their_truth)};
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
