/* test_stall.c - whether the threads that store get on, as the watchdog of a service asks. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tape_store.h"

static void wait_until(const struct writer *writer, bool stalled)
{
    for (int i = 0; i < 6000; i++) {
        int64_t stall = writer_stall(writer);
        if (stalled ? stall >= 1500 : stall < 1500)
            return;
        nanosleep(&(struct timespec){0, 10000000}, NULL);
    }
    fail_msg("the threads never %s", stalled ? "were stuck" : "got on again");
}

static void test_stall(void **state)
{
    (void)state;
    tape_clear();
    struct writer *writer = tape_writer(65536, 1);
    const struct run_end end = {.clean = true};
    wait_until(writer, false);
    atomic_store(&tape.stalled, true);
    assert_true(writer_line(writer, 0, 0, "x", 1));
    wait_until(writer, true);
    atomic_store(&tape.stalled, false);
    wait_until(writer, false);
    assert_int_equal(writer_finish(writer, &end, NULL), STATUS_OK);
    assert_int_equal(tape.lines, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_stall)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
