/* test_family.c - the families of the coverage bench draw what they promise, and scores add up. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../simulated/score.h"

#define NEAR(a, b, tolerance) assert_true(fabs((a) - (b)) <= (tolerance))
#define TOP_RPM family_speed[FAMILY_SPEEDS - 1]

static void test_keys(void **state)
{
    (void)state;
    for (size_t i = 0; i < family_count; i++) {
        assert_ptr_equal(family_find(families[i].key), &families[i]);
        assert_true(strlen(families[i].title) > 0 && families[i].runs <= FAMILY_RUNS_MAX);
        assert_in_range(families[i].engines, 1, BOAT_ENGINES_MAX);
    }
    assert_null(family_find("no such"));
}

static void test_draws_are_repeatable(void **state)
{
    (void)state;
    static struct family_pair one, again, other;
    const struct family *family = family_find("cured-down");
    family_draw(family, 7, 3, &one);
    family_draw(family, 7, 3, &again);
    family_draw(family, 7, 4, &other);
    NEAR(one.run[0][0].engine[0].opens, again.run[0][0].engine[0].opens, 0.0);
    assert_true(one.run[0][0].seed == again.run[0][0].seed);
    assert_true(one.run[0][0].seed != one.run[1][0].seed);
    assert_true(one.run[0][0].engine[0].opens != other.run[0][0].engine[0].opens);
    assert_true(one.run[0][0].engine[0].opens == one.run[1][0].engine[0].opens);
}

static void check_pair(const struct family_pair *pair)
{
    const struct family *family = pair->family;
    const struct boat_engine *before = &pair->run[FAMILY_BEFORE][0].engine[0];
    NEAR(family_true_ratio(pair, TOP_RPM), family->ratio, 1e-9);
    NEAR(before->opens, 71.0, 1.5);
    NEAR(before->full, 82.0, 1.5);
    const double change = family_true_change(pair, TOP_RPM, 17.0);
    if (family->ratio < 1.0)
        assert_true(change < -1.0 && change > -35.0);
    else
        NEAR(change, 0.0, 1e-9);
    for (int side = 0; side < FAMILY_SIDES; side++)
        for (size_t i = 0; i < pair->runs; i++)
            NEAR(pair->run[side][i].sea, family->sea[side], 0.41);
}

static void test_pairs_are_what_the_row_says(void **state)
{
    (void)state;
    static struct family_pair pair;
    for (size_t i = 0; i < family_count; i++)
        for (uint64_t number = 0; number < 20; number++) {
            family_draw(&families[i], 1, number, &pair);
            check_pair(&pair);
        }
}

/* A propeller of more pitch raises the load, not the truth. */
static void test_propeller_is_no_change(void **state)
{
    (void)state;
    static struct family_pair pair;
    family_draw(family_find("propeller"), 1, 0, &pair);
    const struct boat_engine *before = &pair.run[FAMILY_BEFORE][0].engine[0];
    const struct boat_engine *after = &pair.run[FAMILY_AFTER][0].engine[0];
    NEAR(family_true_change(&pair, TOP_RPM, 17.0), 0.0, 1e-9);
    NEAR(fabs(log(after->load_factor / before->load_factor)), log(1.05), 1e-9);
    assert_string_not_equal(before->propeller_words, after->propeller_words);
}

/* --- the naive way */

/* NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B: n 249 and 79, means 20.14458 and 30.48101, standard
 * deviations 6.41470 and 6.10771; Welch's T -12.94627 (Boost.Math example for these summary
 * data). */
static void test_naive_interval(void **state)
{
    (void)state;
    const struct naive_sum before = {79, 30.48101, 78 * 6.10771 * 6.10771};
    const struct naive_sum after = {249, 20.14458, 248 * 6.41470 * 6.41470};
    double low, high;
    assert_true(naive_interval(&before, &after, &low, &high));
    NEAR(0.5 * (low + high), 20.14458 - 30.48101, 1e-9);
    NEAR((low + high) / (high - low) * 1.95996398, -12.94627, 1e-4);
    const struct naive_sum few = {59, 30, 59};
    assert_false(naive_interval(&few, &after, &low, &high));
}

static void test_naive_sum(void **state)
{
    (void)state;
    struct naive_sum sum = {0, 0, 0};
    /* NIST StRD NumAcc1: 10000001, 10000003, 10000002: mean 10000002, standard deviation 1. */
    static const double numbers[] = {10000001, 10000003, 10000002};
    for (size_t i = 0; i < 3; i++)
        naive_add(&sum, numbers[i]);
    NEAR(sum.mean, 10000002, 1e-7);
    NEAR(sqrt(sum.squares / 2), 1.0, 1e-9);
    assert_true(naive_in_band(2840, 2800) && !naive_in_band(2845, 2800));
    assert_true(naive_in_band(1024, 1000) && !naive_in_band(1026, 1000));
}

/* --- scores */

static struct pair_score made_up(double truth, double low, double high)
{
    struct pair_score score;
    memset(&score, 0, sizeof score);
    score.compared = true;
    score.band_count = FAMILY_SPEEDS;
    score.true_ratio = 0.8;
    score.ratio = (struct interval){0.8, 0.75, 0.85};
    for (size_t k = 0; k < FAMILY_SPEEDS; k++) {
        const struct interval change = {0.5 * (low + high), low, high};
        const struct interval wide = {0.5 * (low + high), low - 1.0, high + 1.0};
        score.band[k] =
            (struct score_band){family_speed[k] + 12, truth, change, wide, FINDING_LOWERED};
        score.naive_truth[k] = truth;
        score.naive[k] = (struct interval){NAN, NAN, NAN};
    }
    score.finding = FINDING_LOWERED;
    return score;
}

static void test_scores_add_up(void **state)
{
    (void)state;
    struct pair_score scores[4] = {made_up(-4, -5, -3), made_up(-4, -3.5, -2.5),
                                   made_up(-4, -6, -3.9), made_up(-4, NAN, NAN)};
    struct family_score out;
    scores[1].ratio = (struct interval){0.9, 0.85, 0.95};
    scores[2].finding = FINDING_CANNOT_BE_SHOWN;
    scores[2].band[0].simultaneous.low = -3.95; /* misses in one band only */
    scores[3].compared = false;
    scores[3].ratio = (struct interval){NAN, NAN, NAN};
    score_family(scores, 4, &out);
    assert_int_equal(out.failed, 1);
    NEAR(out.covered, 2.0 / 3.0, 1e-12);
    for (size_t k = 0; k < FAMILY_SPEEDS; k++) {
        NEAR(out.covered_band[k], 2.0 / 3.0, 1e-12);
        assert_int_equal(out.compared_band[k], 3);
    }
    /* Whole pairs hit or miss: the error is that of three of them, sqrt(2/9/3). */
    NEAR(out.covered_error, sqrt(2.0 / 27.0), 1e-12);
    NEAR(out.simultaneous, 2.0 / 3.0, 1e-12);
    NEAR(out.covered_ratio, 2.0 / 3.0, 1e-12);
    NEAR(out.half_top, 1.0, 1e-12);
    NEAR(out.finding[FINDING_LOWERED], 2.0 / 3.0, 1e-12);
    NEAR(out.finding[FINDING_CANNOT_BE_SHOWN], 1.0 / 3.0, 1e-12);
    assert_true(isnan(out.naive_all));
}

static struct family_score good_score(void)
{
    return (struct family_score){
        .pairs = 1000, .covered = 0.95, .covered_error = 0.005, .finding = {0.01, 0.02, 0.9, 0.07}};
}

static void test_verdict(void **state)
{
    (void)state;
    const char *why;
    const struct family *none = family_find("none-same"), *cured = family_find("cured-same");
    struct family_score score = good_score();
    assert_true(score_passes(none, &score, &why));
    score.covered = 0.91;
    assert_false(score_passes(none, &score, &why));
    score.covered = 0.999;
    assert_false(score_passes(none, &score, &why));
    score = good_score();
    score.finding[FINDING_LOWERED] = 0.05;
    assert_false(score_passes(none, &score, &why));
    assert_true(score_passes(cured, &score, &why));
    score.finding[FINDING_RAISED] = 0.05;
    assert_false(score_passes(cured, &score, &why));
    score = good_score();
    score.failed = 1;
    assert_false(score_passes(none, &score, &why));
    score = good_score();
    score.covered = NAN;
    assert_false(score_passes(none, &score, &why));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_keys),
        cmocka_unit_test(test_draws_are_repeatable),
        cmocka_unit_test(test_pairs_are_what_the_row_says),
        cmocka_unit_test(test_propeller_is_no_change),
        cmocka_unit_test(test_naive_interval),
        cmocka_unit_test(test_naive_sum),
        cmocka_unit_test(test_scores_add_up),
        cmocka_unit_test(test_verdict),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
