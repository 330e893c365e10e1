/* test_intake.c - from bytes to records: stamps, pieces, datagrams, losses. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "intake_bench.h"

#define RING ((size_t)1 << 20)

static void push(unsigned input, int64_t at, const char *bytes)
{
    intake_bytes(&bench.intake, input, at, (const uint8_t *)bytes, strlen(bytes));
}

/* A line is stamped with the first byte of it, to the millisecond, however it is cut. */
static void test_stamps(void **state)
{
    (void)state;
    begin(RING);
    push(0, 1000999999, "$IIMTW,15.");       /* begins at 1.000 */
    push(1, 1100000000, "$IIMTW,3");         /* another input in between */
    push(0, 1200000000, "2,C*15\r\n$IIMTW"); /* the next begins at 1.2 */
    push(0, 1300000000, ",15.2,C*15");
    push(0, 1400000000, "\r"); /* ended at 1.4 */
    push(0, 1500000000, "\n"); /* nothing begins with this */
    push(0, 1600000000, "$IIMTW,15.2,C*15\r\n");
    push(1, 1700000000, "0.0,C*10\r\n");
    finish(2 * NS_PER_S);
    assert_string_equal(tape.text, "1.000000 line 0 $IIMTW,15.2,C*15\n"
                                   "1.000000 vessel0 sea_temperature=15.2\n"
                                   "1.200000 line 0 $IIMTW,15.2,C*15\n"
                                   "1.200000 vessel0 sea_temperature=15.2\n"
                                   "1.600000 line 0 $IIMTW,15.2,C*15\n"
                                   "1.600000 vessel0 sea_temperature=15.2\n"
                                   "1.100000 line 1 $IIMTW,30.0,C*10\n"
                                   "1.100000 vessel0 sea_temperature=30\n");
    assert_int_equal(counted(0, REASON_SENTENCES), 3);
}

/* What is refused is kept raw and counted; what had begun when the stream was cut as well. */
static void test_refused_lines_are_kept(void **state)
{
    (void)state;
    begin(RING);
    push(0, 0, "$IIMTW,15.2,C*16\r\nnoise\r\n$IIMTW,1");
    intake_cut(&bench.intake, 0, NS_PER_S);
    push(0, 2 * NS_PER_S, "$IIMTW,15.2,C*15"); /* cut by the end of the run, but whole */
    finish(3 * NS_PER_S);
    assert_string_equal(tape.text, "0.000000 line 0 $IIMTW,15.2,C*16\n"
                                   "0.000000 line 0 noise\n"
                                   "0.000000 line 0 $IIMTW,1\n"
                                   "2.000000 line 0 $IIMTW,15.2,C*15\n"
                                   "2.000000 vessel0 sea_temperature=15.2\n");
    assert_int_equal(counted(0, REASON_BAD_CHECKSUM), 1);
    assert_int_equal(counted(0, REASON_NOISE_BYTES), 5);
    assert_int_equal(counted(0, REASON_NO_CHECKSUM), 1);
}

/* Prefixes: constants of the Wireshark dissector for IEC 61162-450. */
static void test_datagrams(void **state)
{
    (void)state;
    static const char plain[] = "$IIMTW,15.2,C*15\r\n$IIMTW,30.0,C*10";
    static const char tagged[] = "UdPbC\0\\s:II0001*48\\$IIMTW,15.2,C*15\r\n";
    static const char file[] = "RrUdP\0binary";
    begin(RING);
    intake_datagram(&bench.intake, 0, 1, (const uint8_t *)plain, sizeof plain - 1);
    intake_datagram(&bench.intake, 0, 2, (const uint8_t *)tagged, sizeof tagged - 1);
    intake_datagram(&bench.intake, 0, 3, (const uint8_t *)file, sizeof file - 1);
    intake_datagram(&bench.intake, 0, 4, (const uint8_t *)"", 0);
    finish(NS_PER_S);
    assert_int_equal(counted(0, REASON_SENTENCES), 3);
    assert_int_equal(counted(0, REASON_BAD_TAG_BLOCK), 0);
    assert_int_equal(counted(0, REASON_OTHER_DATAGRAM), 1);
    assert_non_null(strstr(tape.text, "line 0 \\s:II0001*48\\$IIMTW,15.2,C*15\n"));
}

/* The lines of a capture are judged as the stream they came from was, too long ones included. */
static void test_lines_as_recorded(void **state)
{
    (void)state;
    char stream[6000] = "", *live;
    for (int i = 0; i < 3; i++)
        strcat(stream, "$IIMTW,15.2,C*15\r\n");
    strcat(stream, "$IIXDR");
    memset(stream + strlen(stream), 'A', 700);
    strcat(stream, "\r\n$IIMTW,15.2,C*15\r\nnoise$IIMTW,15.2,C*15\n\\c:1*00\\$IIMTW,15.2,C*15\r\n");
    memset(stream + strlen(stream), 'B', 1500);
    begin(RING);
    push(0, 0, stream);
    finish(0);
    live = strdup(tape.text);
    struct tally tally = bench.intake.tallies[0];
    assert_int_equal(tally.line[REASON_TOO_LONG].count, 1);

    begin(RING);
    for (const char *line = live; *line; line = strchr(line, '\n') + 1)
        if (strncmp(line, "0.000000 line 0 ", 16) == 0)
            intake_line(&bench.intake, 0, 0, line + 16, (size_t)(strchr(line, '\n') - line) - 16);
    finish(0);
    assert_string_equal(tape.text, live);
    assert_memory_equal(&bench.intake.tallies[0], &tally, sizeof tally);
    free(live);
}

static void test_utc_and_dates(void **state)
{
    (void)state;
    begin(RING);
    push(0, 5 * NS_PER_S, "$GPZDA,101500.00,25,11,2026,00,00*62\r\n");
    finish(6 * NS_PER_S);
    assert_non_null(strstr(tape.text, "5.000000 utc ZDA 1795601700000000\n"));
    assert_int_equal(bench.dates.count, 1);
    assert_int_equal(bench.dates.source[0].start_us[0], 1795601695000000);
}

/* A device that has the time from its own clock is recorded, but the run is not dated by it. */
static void test_a_clock_like_ours(void **state)
{
    (void)state;
    static const uint8_t crystal[8] = {1, 0xF5, 0x8B, 0x50, 0, 0x65, 0xCD, 0x1D};
    static const uint8_t gps[8] = {1, 0xF0, 0x8B, 0x50, 0, 0x65, 0xCD, 0x1D};
    begin(1 << 20);
    strcpy(bench.inputs[1].text, "can:can1");
    intake_frame(&bench.intake, 1, 0, 0x8DF01024, crystal, 8);
    assert_int_equal(bench.dates.count, 0);
    intake_frame(&bench.intake, 1, NS_PER_S, 0x8DF01024, gps, 8);
    assert_int_equal(bench.dates.count, 1);
    finish(2 * NS_PER_S);
    assert_int_equal(counted(1, REASON_FRAMES), 2);
}

static void test_frames(void **state)
{
    (void)state;
    /* EEC1 of address 0, 1500 rpm at 0.125 rpm a bit (SAE J1939-71): raw 12000 = 2EE0h. The input
     * says that address 0 is engine 1. */
    const uint8_t eec1[8] = {0xFF, 0xFF, 0xFF, 0xE0, 0x2E, 0xFF, 0xFF, 0xFF};
    begin(RING);
    intake_frame(&bench.intake, 2, 1000999, 0x8CF00400, eec1, 8);
    finish(NS_PER_S);
    assert_string_equal(tape.text, "0.001000 frame 2 8CF00400#FFFFFFE02EFFFFFF\n"
                                   "0.001000 engine1 engine_speed=1500\n");
    assert_int_equal(counted(2, REASON_FRAMES), 1);
}

static void test_kernel_losses(void **state)
{
    (void)state;
    begin(RING);
    push(0, NS_PER_S, "$IIMTW,15.2,C*15\r\n");
    intake_lost(&bench.intake, 0, 3 * NS_PER_S, 17);
    finish(4 * NS_PER_S);
    assert_int_equal(counted(0, REASON_KERNEL_LOST), 17);
    assert_int_equal(tape.gaps, 1);
    assert_int_equal(tape.gap_from, NS_PER_S);
    assert_int_equal(tape.gap_until, 3 * NS_PER_S);
    assert_int_equal(tape.lost, 17);
}

/* --- when storage does not keep up */

/* One engine frame (127488, 10 a second in real life) with a changing speed. */
static void push_frame(int number)
{
    uint8_t data[8] = {0, 0, 0, 0xFF, 0xFF, 0x7F, 0xFF, 0xFF};
    data[1] = (uint8_t)number;
    data[2] = (uint8_t)(0x10 + number % 16);
    intake_frame(&bench.intake, 1, number * NS_PER_MS, 0x89F20001, data, 8);
}

/* 60 s without storage on a bus with 1000 frames/s: nothing is lost with the default ring. */
static void test_stall_of_a_minute(void **state)
{
    (void)state;
    begin((size_t)16 << 20);
    tape.silent = true;
    atomic_store(&tape.stalled, true);
    for (int i = 0; i < 60000; i++)
        push_frame(i);
    print_message("the ring is %.0f %% full after 60 s\n", 100 * writer_fill(bench.writer));
    atomic_store(&tape.stalled, false);
    finish(60 * NS_PER_S);
    assert_int_equal(tape.frames, 60000);
    assert_int_equal(tape.readings, 60000);
    assert_int_equal(counted(1, REASON_OVERFLOW), 0);
    assert_int_equal(tape.gaps, 0);
}

/* A ring that is too small: what is lost is counted to the message and told as one gap with
 * times. */
static void test_overflow(void **state)
{
    (void)state;
    begin(65536);
    tape.silent = true;
    atomic_store(&tape.stalled, true);
    int pushed = 0;
    while (counted(1, REASON_OVERFLOW) < 1000)
        push_frame(pushed++);
    atomic_store(&tape.stalled, false);
    while (writer_fill(bench.writer) > 0)
        nanosleep(&(struct timespec){0, 1000000}, NULL);
    for (int i = 0; i < 100; i++)
        push_frame(pushed++);
    finish(pushed * NS_PER_MS);
    assert_int_equal(counted(1, REASON_OVERFLOW), 1000);
    assert_int_equal(tape.gaps, 1);
    assert_int_equal(tape.lost, 1000);
    assert_int_equal(tape.gap_from, (pushed - 1100) * NS_PER_MS);
    assert_int_equal(tape.gap_until, (pushed - 100) * NS_PER_MS);
    /* A message is kept whole or not at all. */
    assert_int_equal(tape.frames, pushed - 1000);
    assert_int_equal(tape.readings, pushed - 1000);
}

/* The run ends while storage is behind: the gap is told all the same. */
static void test_overflow_at_the_end(void **state)
{
    (void)state;
    begin(65536);
    tape.silent = true;
    atomic_store(&tape.stalled, true);
    int pushed = 0;
    while (counted(1, REASON_OVERFLOW) < 10)
        push_frame(pushed++);
    atomic_store(&tape.stalled, false);
    finish(pushed * NS_PER_MS);
    assert_int_equal(tape.gaps, 1);
    assert_int_equal(tape.lost, 10);
}

/* What is counted without a message is told to the stores, at most once a second and at the end. */
static void test_counts_are_told(void **state)
{
    (void)state;
    begin(RING);
    intake_count(&bench.intake, 1, REASON_REFUSED_SENDER, NS_PER_S, 1);
    intake_count(&bench.intake, 1, REASON_REFUSED_SENDER, 2 * NS_PER_S, 2);
    intake_tick(&bench.intake, 2 * NS_PER_S);
    intake_count(&bench.intake, 1, REASON_REFUSED_SENDER, 2 * NS_PER_S + 1000, 1);
    intake_tick(&bench.intake, 2 * NS_PER_S + NS_PER_MS);
    intake_count(&bench.intake, 0, REASON_REOPENED, 3 * NS_PER_S, 1);
    finish(4 * NS_PER_S);
    assert_string_equal(tape.text, "1.000000 count 1 until 2.000000 refused_sender 3\n"
                                   "3.000000 count 0 until 3.000000 reopened 1\n"
                                   "2.000001 count 1 until 2.000001 refused_sender 1\n");
    assert_int_equal(counted(1, REASON_REFUSED_SENDER), 4);
    intake_counted(&bench.intake, 1, REASON_REFUSED_SENDER, 0, 5 * NS_PER_S, 10);
    assert_int_equal(counted(1, REASON_REFUSED_SENDER), 14);
    assert_int_equal(bench.intake.tallies[1].line[REASON_REFUSED_SENDER].last, 5 * NS_PER_S);
}

/* A replay waits instead: nothing is lost however slow storage is. */
static void test_patience(void **state)
{
    (void)state;
    begin(4096);
    tape.silent = true;
    bench.intake.patient = true;
    for (int i = 0; i < 5000; i++)
        push_frame(i);
    finish(5 * NS_PER_S);
    assert_int_equal(tape.frames, 5000);
    assert_int_equal(tape.readings, 5000);
    assert_int_equal(counted(1, REASON_OVERFLOW), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_stamps),
        cmocka_unit_test(test_refused_lines_are_kept),
        cmocka_unit_test(test_datagrams),
        cmocka_unit_test(test_lines_as_recorded),
        cmocka_unit_test(test_utc_and_dates),
        cmocka_unit_test(test_frames),
        cmocka_unit_test(test_a_clock_like_ours),
        cmocka_unit_test(test_kernel_losses),
        cmocka_unit_test(test_stall_of_a_minute),
        cmocka_unit_test(test_overflow),
        cmocka_unit_test(test_overflow_at_the_end),
        cmocka_unit_test(test_patience),
        cmocka_unit_test(test_counts_are_told),
    };
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    tape_clear();
    return failed;
}
