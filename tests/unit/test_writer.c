/* test_writer.c - the threads that own storage. Run under the thread sanitizer as well. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <poll.h>
#include <unistd.h>

#include <cmocka.h>

#include "run_read.h"
#include "tape_store.h"

#define RING ((size_t)1 << 16)

static const struct origin rpm = {.protocol = PROTOCOL_NMEA0183,
                                  .place = PLACE_ENGINE,
                                  .instance = 1,
                                  .message = "RPM",
                                  .source = "II"};

static enum status finish(struct writer *writer, int64_t end, struct complaint *complaint)
{
    static const struct tally tallies[INPUTS_MAX];
    const struct run_end how = {.end = end, .clean = true, .tallies = tallies};
    return writer_finish(writer, &how, complaint);
}

static void test_every_kind_in_order(void **state)
{
    (void)state;
    const struct value values[] = {{CHANNEL_ENGINE_SPEED, 1450}, {CHANNEL_PROPELLER_PITCH, 10.5}};
    const uint8_t data[8] = {1, 2, 3};
    tape_clear();
    struct writer *writer = tape_writer(RING, 2);
    assert_true(writer_line(writer, NS_PER_MS, 1, "$IIRPM", 6));
    assert_true(writer_readings(writer, NS_PER_MS, &rpm, values, 2));
    assert_true(writer_frame(writer, 2 * NS_PER_MS, 0, 0x89F20100, data, 3));
    assert_true(writer_event(writer, 3 * NS_PER_MS, &rpm, "over_temperature", "too hot"));
    assert_true(writer_event(writer, 3 * NS_PER_MS, NULL, "clock_set", "by hand"));
    assert_true(writer_utc(writer, 4 * NS_PER_MS, &rpm, 1795601700123456));
    assert_true(writer_gap(writer, NS_PER_S, 2 * NS_PER_S, 1, "unplugged", 7));
    assert_int_equal(finish(writer, 3 * NS_PER_S, NULL), STATUS_OK);
    assert_string_equal(tape.text, "0.001000 line 1 $IIRPM\n"
                                   "0.001000 engine1 engine_speed=1450\n"
                                   "0.001000 engine1 propeller_pitch=10.5\n"
                                   "0.002000 frame 0 89F20100#010203\n"
                                   "0.003000 event RPM over_temperature too hot\n"
                                   "0.003000 event - clock_set by hand\n"
                                   "0.004000 utc RPM 1795601700123456\n"
                                   "1.000000 gap 1 until 2.000000 lost 7 unplugged\n");
    assert_true(tape.closed && tape.clean);
    assert_int_equal(tape.end, 3 * NS_PER_S);
}

static void test_long_texts_are_cut(void **state)
{
    (void)state;
    char longest[600];
    memset(longest, 'x', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    tape_clear();
    struct writer *writer = tape_writer(RING, 1);
    assert_true(writer_event(writer, 0, NULL, longest, longest));
    assert_true(writer_gap(writer, 0, 0, 0, longest, 0));
    assert_int_equal(finish(writer, 0, NULL), STATUS_OK);
    size_t expected = strlen("0.000000 event -  \n") + 47 + 255 +
                      strlen("0.000000 gap 0 until 0.000000 lost 0 \n") + 95;
    assert_int_equal(strlen(tape.text), expected);
}

/* A store that stalls holds up nobody: the ring takes what it can and then says no. */
static void test_stall(void **state)
{
    (void)state;
    tape_clear();
    tape.silent = true;
    atomic_store(&tape.stalled, true);
    struct writer *writer = tape_writer(RING, 1);
    uint64_t put = 0;
    while (writer_line(writer, (int64_t)put, 0, "0123456789", 10))
        put++;
    assert_true(writer_fill(writer) > 0.9);
    assert_true(put >= RING / 64 - 1);
    atomic_store(&tape.stalled, false);
    assert_int_equal(finish(writer, 0, NULL), STATUS_OK);
    assert_int_equal(tape.lines, put);
}

/* The end waits for a ring that is full. */
static void test_end_with_full_ring(void **state)
{
    (void)state;
    tape_clear();
    tape.silent = true;
    struct writer *writer = tape_writer(4096, 1);
    uint64_t put = 0;
    for (int i = 0; i < 20000; i++)
        put += writer_line(writer, i, 0, "0123456789", 10);
    assert_int_equal(finish(writer, 0, NULL), STATUS_OK);
    assert_int_equal(tape.lines, put);
}

static void test_failing_store(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    tape_clear();
    tape.silent = true;
    atomic_store(&tape.fail_after, 10);
    struct writer *writer = tape_writer(RING, 1);
    struct pollfd trouble = {.fd = writer_news_fd(writer), .events = POLLIN};
    for (int i = 0; i < 100; i++)
        assert_true(writer_line(writer, i, 0, "x", 1));
    assert_int_equal(poll(&trouble, 1, 60000), 1);
    assert_int_equal(writer_trouble(writer, &complaint), STATUS_FULL);
    assert_string_equal(complaint.text,
                        "the tape can no longer be written: No space left on device");
    /* What comes now is taken and dropped, so that the loop is never held up. */
    for (int i = 0; i < 100000; i++)
        while (!writer_line(writer, i, 0, "x", 1))
            nanosleep(&(struct timespec){0, 100000}, NULL);
    assert_int_equal(finish(writer, 0, &complaint), STATUS_FULL);
    assert_int_equal(tape.lines, 10);
    assert_true(tape.closed);
    assert_false(tape.clean);
}

static void test_store_that_does_not_open(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    struct writer *writer = NULL;
    struct facts facts = {0};
    const struct run_start start = {.path = "tape", .facts = &facts};
    tape_clear();
    tape.open_failure = STATUS_EXISTS;
    assert_int_equal(writer_new(tape_stores, &start, RING, NULL, &writer, &complaint),
                     STATUS_EXISTS);
    assert_string_equal(complaint.text, "the tape does not open");
}

/* --- several stores */

static atomic_uint counter_lines, counter_sees;
static atomic_bool counter_waits, counter_fails;

static enum status count_open(const struct run_start *start, void **self,
                              struct complaint *complaint)
{
    (void)start;
    (void)complaint;
    *self = NULL;
    return STATUS_OK;
}

static enum status count_line(void *self, int64_t at, unsigned input, const char *bytes,
                              size_t length)
{
    (void)self;
    (void)at;
    (void)input;
    (void)bytes;
    (void)length;
    while (atomic_load(&counter_waits))
        nanosleep(&(struct timespec){0, 1000000}, NULL);
    atomic_fetch_add(&counter_lines, 1);
    errno = EROFS;
    return atomic_load(&counter_fails) ? STATUS_IO : STATUS_OK;
}

static enum status count_close(void *self, const struct run_end *end, struct complaint *complaint)
{
    (void)self;
    (void)end;
    (void)complaint;
    return STATUS_OK;
}

static enum status refuse(const struct run_start *start, void **self, struct complaint *complaint)
{
    (void)start;
    (void)self;
    return complain(complaint, STATUS_FULL, "refused");
}

/* Wants lines only, and has nothing to flush or to make durable. */
static const struct store counter = {
    .name = "counter", .open = count_open, .line = count_line, .close = count_close};
static const struct store refusing = {.name = "refusing", .open = refuse};
static const struct store *const both[] = {&tape_store, &counter, NULL};

static struct writer *begin_both(void)
{
    struct writer *writer = NULL;
    struct facts facts = {0};
    const struct run_start start = {.path = "tape", .facts = &facts};
    tape_clear();
    atomic_store(&counter_lines, 0);
    atomic_store(&counter_waits, false);
    atomic_store(&counter_fails, false);
    assert_int_equal(writer_new(both, &start, RING, NULL, &writer, NULL), STATUS_OK);
    return writer;
}

static void until_lines(uint64_t lines)
{
    while (atomic_load(&counter_lines) < lines)
        nanosleep(&(struct timespec){0, 1000000}, NULL);
}

/* Both get every line; what a store does not want is not given to it. */
static void test_two_stores(void **state)
{
    (void)state;
    const struct value value = {CHANNEL_ENGINE_SPEED, 1450};
    struct writer *writer = begin_both();
    assert_true(writer_line(writer, 0, 0, "x", 1));
    assert_true(writer_readings(writer, 0, &rpm, &value, 1));
    assert_true(writer_utc(writer, 0, &rpm, 1795601700123456));
    assert_true(writer_count(writer, 0, NS_PER_S, 0, REASON_REFUSED_SENDER, 3));
    assert_true(writer_line(writer, 0, 0, "y", 1));
    assert_int_equal(finish(writer, 0, NULL), STATUS_OK);
    assert_string_equal(tape.text, "0.000000 line 0 x\n"
                                   "0.000000 engine1 engine_speed=1450\n"
                                   "0.000000 utc RPM 1795601700123456\n"
                                   "0.000000 count 0 until 1.000000 refused_sender 3\n"
                                   "0.000000 line 0 y\n");
    assert_int_equal(counter_lines, 2);
}

/* A store that stalls does not hold up the other: that is what the journal's 0.2 s rest on. */
static void test_stall_of_one(void **state)
{
    (void)state;
    struct writer *writer = begin_both();
    atomic_store(&tape.stalled, true);
    for (int i = 0; i < 100; i++)
        assert_true(writer_line(writer, i, 0, "x", 1));
    until_lines(100);
    assert_true(writer_fill(writer) > 0); /* the slower one has it all before it */
    atomic_store(&tape.stalled, false);
    assert_int_equal(finish(writer, 0, NULL), STATUS_OK);
    assert_int_equal(tape.lines, 100);
}

/* A store that fails does not end the other: the run file of a failed journal is whole, and says
 * so. */
static void test_failure_of_one(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    struct writer *writer = begin_both();
    atomic_store(&counter_fails, true);
    assert_true(writer_line(writer, 0, 0, "x", 1));
    until_lines(1);
    while (writer_trouble(writer, &complaint) == STATUS_OK)
        nanosleep(&(struct timespec){0, 1000000}, NULL);
    assert_string_equal(complaint.text,
                        "the counter can no longer be written: Read-only file system");
    assert_true(writer_line(writer, 0, 0, "y", 1));
    assert_int_equal(finish(writer, 0, NULL), STATUS_IO);
    assert_int_equal(counter_lines, 1);
    assert_int_equal(tape.lines, 2);
    assert_true(tape.closed);
    assert_false(tape.clean);
}

/* Where one does not open, nothing is left of the others. */
static void test_second_does_not_open(void **state)
{
    (void)state;
    static const struct store *const bad[] = {&tape_store, &refusing, &counter, NULL};
    struct facts facts = {0};
    const struct run_start start = {.path = "tape", .facts = &facts};
    struct writer *writer = NULL;
    struct complaint complaint = {""};
    tape_clear();
    assert_int_equal(writer_new(bad, &start, RING, NULL, &writer, &complaint), STATUS_FULL);
    assert_string_equal(complaint.text, "refused");
    assert_true(tape.abandoned);
    assert_false(tape.closed);
}

/* --- the keeper */

static void wait_for_syncs(unsigned count)
{
    unsigned before = atomic_load(&tape.syncs);
    while (atomic_load(&tape.syncs) < before + count)
        nanosleep(&(struct timespec){0, 10000000}, NULL);
}

static void look(void *self, struct writer *writer)
{
    struct news news = {NEWS_NOTE, "looked", "the chore was done"};
    (void)self;
    if (atomic_fetch_add(&counter_sees, 1) == 0)
        writer_tell(writer, &news);
}

/* What storage could not make durable is told at once, not once a second for ever, and ends
 * nothing. */
static void test_news(void **state)
{
    (void)state;
    struct facts facts = {0};
    const struct run_start start = {.path = "tape", .facts = &facts};
    const struct chore chore = {NULL, look};
    struct writer *writer = NULL;
    struct news news;
    tape_clear();
    tape.silent = true;
    atomic_store(&counter_sees, 0);
    assert_int_equal(writer_new(tape_stores, &start, RING, &chore, &writer, NULL), STATUS_OK);
    struct pollfd fd = {.fd = writer_news_fd(writer), .events = POLLIN};
    assert_false(writer_news(writer, &news));
    assert_int_equal(poll(&fd, 1, 60000), 1);
    assert_true(writer_news(writer, &news));
    assert_string_equal(news.key, "looked");
    assert_false(writer_news(writer, &news));
    assert_int_equal(poll(&fd, 1, 0), 0);
    atomic_store(&tape.sync_fails, true);
    wait_for_syncs(5);
    atomic_store(&tape.sync_fails, false);
    for (unsigned i = 0; i < 3; i++) {
        assert_true(writer_news(writer, &news));
        assert_int_equal(news.kind, NEWS_WARNING);
        assert_string_equal(news.key, "sync_failed");
        assert_non_null(strstr(news.text, "Input/output error"));
        if (i == 1)
            assert_non_null(strstr(news.text, "2 times so far"));
    }
    assert_false(writer_news(writer, &news));
    assert_int_equal(writer_trouble(writer, NULL), STATUS_OK);
    for (unsigned i = 0; i < 100; i++)
        writer_tell(writer, &(struct news){.kind = NEWS_NOTE}); /* more than are kept: dropped */
    while (writer_news(writer, &news))
        ;
    assert_true(writer_line(writer, 0, 0, "x", 1));
    assert_int_equal(finish(writer, 0, NULL), STATUS_OK);
    assert_int_equal(tape.lines, 1);
    assert_true(tape.clean && tape.flushes > 0);
}

static const struct store *const run_file_stores[] = {&run_file_store, NULL};

/* The store of the program itself: what goes in is in the file. */
static void test_run_file(void **state)
{
    (void)state;
    char folder[] = "/tmp/test_writer_XXXXXX", path[64];
    const struct value value = {CHANNEL_ENGINE_SPEED, 1450};
    struct facts facts = {0};
    const struct run_input input = {"udp:10110", "plotter"};
    struct writer *writer = NULL;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/run.h5", folder);
    const struct run_start start = {.path = path,
                                    .start_unix_us = 1795601700000000,
                                    .facts = &facts,
                                    .inputs = &input,
                                    .input_count = 1,
                                    .software = "test"};
    assert_int_equal(writer_new(run_file_stores, &start, RING, NULL, &writer, NULL), STATUS_OK);
    assert_true(writer_readings(writer, NS_PER_S, &rpm, &value, 1));
    assert_int_equal(finish(writer, 2 * NS_PER_S, NULL), STATUS_OK);
    struct run *run = NULL;
    struct series series;
    assert_int_equal(run_open(path, &run, NULL), STATUS_OK);
    assert_int_equal(run_stream_count(run), 1);
    assert_int_equal(run_read_series(run, 0, CHANNEL_ENGINE_SPEED, &series, NULL), STATUS_OK);
    assert_int_equal(series.count, 1);
    assert_float_equal(series.value[0], 1450, 0.01);
    assert_float_equal(series.time[0], 1, 1e-9);
    series_free(&series);
    run_close(run);
    /* A second run into the same file is refused. */
    struct complaint complaint = {""};
    assert_int_equal(writer_new(run_file_stores, &start, RING, NULL, &writer, &complaint),
                     STATUS_EXISTS);
    assert_non_null(strstr(complaint.text, path));
    unlink(path);
    rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_kind_in_order),
        cmocka_unit_test(test_long_texts_are_cut),
        cmocka_unit_test(test_stall),
        cmocka_unit_test(test_end_with_full_ring),
        cmocka_unit_test(test_failing_store),
        cmocka_unit_test(test_store_that_does_not_open),
        cmocka_unit_test(test_two_stores),
        cmocka_unit_test(test_stall_of_one),
        cmocka_unit_test(test_failure_of_one),
        cmocka_unit_test(test_second_does_not_open),
        cmocka_unit_test(test_news),
        cmocka_unit_test(test_run_file),
    };
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    tape_clear();
    return failed;
}
