/* test_coverage.c - a short sample of the coverage bench: the comparison's 95 % intervals hold the
 * truth of the boat model, and those of the per-sample t test do not. The whole is `make
 * coverage`. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "../simulated/hand_run.h"
#include "../simulated/score.h"

#define SEED 20250101
#define PAIRS 8

static void score_some(const char *key, struct family_score *out)
{
    static const struct score_analyzer analyzer = {compare_options_default, compare_runs,
                                                   answer_free, hand_run_make};
    static struct pair_score scores[PAIRS];
    char folder[] = "/tmp/test_coverage-XXXXXX";
    assert_non_null(mkdtemp(folder));
    for (uint64_t i = 0; i < PAIRS; i++) {
        score_pair(family_find(key), SEED, i, folder, &analyzer, &scores[i]);
        if (!scores[i].compared)
            fail_msg("%s, seed %d, pair %llu: %s", key, SEED, (unsigned long long)i,
                     scores[i].failure);
    }
    rmdir(folder);
    score_family(scores, PAIRS, out);
    printf("%s, seed %d: covered %.2f, naive %.2f, half-width %.2f K\n", key, SEED, out->covered,
           out->naive_all, out->half_top);
}

/* With 8 pairs of 6 dependent bands, an honest 95 % rarely shows less than 0.8. */
static void check_coverage(const struct family_score *score)
{
    assert_true(score->covered >= 0.8);
    assert_true(score->naive_all <= 0.5);
    for (size_t k = 0; k < FAMILY_SPEEDS; k++)
        assert_true(score->compared_band[k] >= PAIRS / 2);
    assert_true(score->half_top > 0.0 && score->half_top < 15.0);
}

static void test_no_change(void **state)
{
    (void)state;
    struct family_score score;
    score_some("none-down", &score);
    check_coverage(&score);
    assert_true(score.finding[FINDING_LOWERED] <= 1.0 / PAIRS);
    assert_true(score.finding[FINDING_RAISED] <= 1.0 / PAIRS);
}

static void test_cured(void **state)
{
    (void)state;
    struct family_score score;
    score_some("cured-same", &score);
    check_coverage(&score);
    assert_true(score.finding[FINDING_LOWERED] >= 0.75);
    assert_true(score.finding[FINDING_RAISED] <= 0.0);
}

static void test_coarse_sender(void **state)
{
    (void)state;
    struct family_score score;
    score_some("step-1", &score);
    check_coverage(&score);
}

/* A gauge that is read to 5 degF: less is found, and what is said still holds. */
static void test_read_by_hand(void **state)
{
    (void)state;
    struct family_score score;
    score_some("sheet-gauge", &score);
    assert_true(score.covered >= 0.8);
    assert_true(score.covered_ratio >= 0.7);
    assert_true(score.finding[FINDING_RAISED] <= 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_no_change),
        cmocka_unit_test(test_cured),
        cmocka_unit_test(test_coarse_sender),
        cmocka_unit_test(test_read_by_hand),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
