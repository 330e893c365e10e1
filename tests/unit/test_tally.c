/* test_tally.c - counting by reason. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "tally.h"

static void keeps_count_first_and_last(void **state)
{
    (void)state;
    struct tally tally = {0};
    tally_add(&tally, REASON_NOISE_BYTES, 500);
    tally_add_many(&tally, REASON_NOISE_BYTES, 900, 40);
    tally_add(&tally, REASON_NOISE_BYTES, 700);
    tally_add(&tally, REASON_NOISE_BYTES, -3);
    const struct tally_line *line = &tally.line[REASON_NOISE_BYTES];
    assert_int_equal(line->count, 43);
    assert_int_equal(line->first, -3);
    assert_int_equal(line->last, 900);
    assert_int_equal(tally.line[REASON_BAD_CHECKSUM].count, 0);
}

static void adding_nothing_leaves_it_untouched(void **state)
{
    (void)state;
    struct tally tally = {0};
    tally_add_many(&tally, REASON_OVERFLOW, 77, 0);
    assert_int_equal(tally.line[REASON_OVERFLOW].count, 0);
    tally_add(&tally, REASON_OVERFLOW, 10);
    assert_int_equal(tally.line[REASON_OVERFLOW].first, 10);
}

static void does_not_wrap_round(void **state)
{
    (void)state;
    struct tally tally = {0};
    tally_add_many(&tally, REASON_KERNEL_LOST, 1, UINT64_MAX - 1);
    tally_add_many(&tally, REASON_KERNEL_LOST, 2, 5);
    assert_true(tally.line[REASON_KERNEL_LOST].count == UINT64_MAX);
}

static void reasons_have_keys_of_their_own(void **state)
{
    (void)state;
    for (int reason = 0; reason < REASON_COUNT; reason++) {
        const char *key = reason_key((enum reason)reason);
        assert_true(strlen(key) > 0 && strlen(key) < 32);
        assert_true(strlen(reason_title((enum reason)reason)) > 0);
        assert_true(strlen(reason_title((enum reason)reason)) < 96);
        assert_int_equal(reason_find(key), reason);
    }
    assert_int_equal(reason_find("no_such_reason"), REASON_COUNT);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(keeps_count_first_and_last),
        cmocka_unit_test(adding_nothing_leaves_it_untouched),
        cmocka_unit_test(does_not_wrap_round),
        cmocka_unit_test(reasons_have_keys_of_their_own),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
