/* test_hand_over.c - from one run to the next: what comes between them, lines that have begun,
 * messages of several frames that are half way. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "intake_bench.h"

#define MS NS_PER_MS
#define ZERO (5000 * MS)

static struct intake idle;
static struct live live;

/* An intake without a run, beside the one of the bench, whose run begins at ZERO. */
static void begin_both(void)
{
    begin(1 << 20);
    memset(&live, 0, sizeof live);
    live.turning.above = 100;
    intake_init(&idle, NULL, &bench.map, NULL, NULL, bench.inputs, 3);
    assert_int_equal(backlog_new(65536, &idle.backlog), STATUS_OK);
    idle.live = &live;
    bench.intake.zero = ZERO;
    bench.intake.patient = true;
}

static void drain(void)
{
    struct backlog_item item;
    for (; backlog_first(idle.backlog, &item); backlog_drop(idle.backlog))
        intake_take(&bench.intake, &item);
    intake_hand_over(&idle, &bench.intake);
}

static void finish_both(int64_t at)
{
    finish(at);
    backlog_free(idle.backlog);
    intake_free(&idle);
}

static void push(struct intake *intake, int64_t at, const char *bytes)
{
    intake_bytes(intake, 0, at, (const uint8_t *)bytes, strlen(bytes));
}

/* Cut at every byte, a sentence is there once, with the instant of its first byte. */
static void test_lines_that_have_begun(void **state)
{
    (void)state;
    static const char line[] = "$IIRPM,E,0,1450.0,,A*49\r\n";
    for (size_t at = 0; at <= strlen(line); at++) {
        char first[40];
        begin_both();
        snprintf(first, sizeof first, "%.*s", (int)at, line);
        push(&idle, ZERO + 100 * MS, first);
        drain();
        push(&bench.intake, ZERO + 200 * MS, line + at);
        finish_both(ZERO + 300 * MS);
        assert_int_equal(tape.lines, 1);
        assert_int_equal(tape.readings, 1);
        assert_int_equal(counted(0, REASON_SENTENCES), 1);
        assert_int_equal(bench.intake.tallies[0].line[REASON_SENTENCES].first,
                         (at > 0 ? 100 : 200) * MS);
    }
}

/* All kinds come out of the backlog as they would have come in. */
static void test_all_kinds(void **state)
{
    (void)state;
    static const uint8_t eec1[8] = {0xF0, 0x7D, 0x7D, 0x40, 0x1F, 0, 0xFF, 0xFF}; /* 1000 rpm */
    begin_both();
    push(&idle, ZERO, "$IIMTW,15.2,C*18\r\n");
    intake_frame(&idle, 2, ZERO + 1 * MS, 0x8CF00400, eec1, 8);
    intake_frame(&idle, 2, ZERO + 2 * MS, 0x8CF00400, eec1, 8);
    intake_gap(&idle, 1, ZERO - 900 * MS, ZERO + 3 * MS, "unplugged", 0);
    intake_count(&idle, 1, REASON_REOPENED, ZERO + 3 * MS, 1);
    intake_tick(&idle, ZERO + 2000 * MS);
    intake_event(&idle, ZERO + 4 * MS, "mark", "cold");
    assert_true(live.turning.ever && live.turning.at == ZERO + 2 * MS);
    drain();
    finish_both(ZERO + 3000 * MS);
    assert_int_equal(tape.lines, 1);
    assert_int_equal(tape.frames, 2);
    assert_int_equal(tape.gaps, 1);
    assert_int_equal(tape.gap_from, 0); /* it began before the run did */
    assert_int_equal(tape.gap_until, 3 * MS);
    assert_int_equal(counted(1, REASON_REOPENED), 1);
    assert_non_null(strstr(tape.text, "cold"));
}

/* A line that began long before the run, from a device that was switched off in the middle of
 * it. */
static void test_old_line(void **state)
{
    (void)state;
    begin_both();
    push(&idle, 10 * MS, "$IIMTW,1");
    assert_int_equal(intake_begun_at(&idle, 500 * MS), 10 * MS);
    assert_int_equal(intake_begun_at(&idle, ZERO), ZERO); /* too old to count */
    push(&idle, ZERO + 10 * MS, "5.2,C*18\r\n");
    drain();
    finish_both(ZERO + 20 * MS);
    assert_int_equal(tape.lines, 1);
    assert_true(tape.text[0] != '-' && !strstr(tape.text, "\n-"));
    assert_int_equal(bench.intake.tallies[0].line[REASON_SENTENCES].first, 0);
}

/* PGN 127489 is a fast packet of 26 bytes: four frames (canboat's PGN database). */
static void test_between_messages(void **state)
{
    (void)state;
    begin_both();
    bench.intake.zero = 0;
    assert_true(intake_is_between(&bench.intake, 0));
    idle.inputs[2].bus = BUS_NMEA2000;
    for (uint8_t i = 0; i < 4; i++) {
        const uint8_t data[8] = {i, i == 0 ? 26 : 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF};
        intake_frame(&idle, 2, i * MS, 0x89F20101, data, 8);
        assert_int_equal(intake_is_between(&idle, i * MS), i == 3);
    }
    const uint8_t lost[8] = {0x20, 26, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF};
    intake_frame(&idle, 2, 10 * MS, 0x89F20101, lost, 8);
    assert_false(intake_is_between(&idle, 700 * MS));
    assert_true(intake_is_between(&idle, 1000 * MS)); /* its rest will not come any more */
    finish_both(ZERO);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_lines_that_have_begun),
        cmocka_unit_test(test_all_kinds),
        cmocka_unit_test(test_old_line),
        cmocka_unit_test(test_between_messages),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
