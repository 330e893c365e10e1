/* test_input.c - opening, failing and opening again, with a driver and a clock of the test's
 * own. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../logger/input.h"
#include "intake_bench.h"

#define RING ((size_t)1 << 20)

/* --- a device that does as it is told */

static struct device {
    bool there;               /* opens */
    bool slow;                /* opens, but is not ready yet */
    enum input_answer answer; /* of reading */
    const char *bytes;        /* read once, if not NULL */
    bool is_open;
    int opened, closed, reads;
} device;

static enum status device_open(void *self, struct complaint *complaint)
{
    (void)self;
    assert_false(device.is_open);
    if (!device.there)
        return complain(complaint, STATUS_IO, "not plugged in");
    device.is_open = true;
    device.opened++;
    return STATUS_OK;
}

static int device_fd(const void *self, uint32_t *events)
{
    (void)self;
    *events = 0;
    return device.is_open ? 99 : INPUT_NO_FD;
}

static enum input_answer device_read(void *self, const struct moment *now, struct intake *intake,
                                     unsigned number, struct complaint *complaint)
{
    (void)self;
    assert_true(device.is_open);
    device.reads++;
    if (device.slow)
        return INPUT_OPENING;
    if (device.bytes)
        intake_bytes(intake, number, now->at, (const uint8_t *)device.bytes, strlen(device.bytes));
    device.bytes = NULL;
    if (device.answer == INPUT_GONE)
        complain(complaint, STATUS_IO, "unplugged");
    if (device.answer == INPUT_DOWN)
        complain(complaint, STATUS_IO, "its line is down");
    return device.answer;
}

static void device_close(void *self)
{
    (void)self;
    device.is_open = false;
    device.closed++;
}

static const struct input_driver device_driver = {
    .name = "device",
    .usage = "device:",
    .open = device_open,
    .fd = device_fd,
    .read = device_read,
    .close = device_close,
};

/* --- an inlet on it, whose words are kept */

static struct inlet inlet;
static int words[2]; /* a pipe */
static struct voice voice;

static void begin_inlet(void)
{
    begin(RING);
    assert_int_equal(pipe(words), 0);
    voice = (struct voice){.fd = words[1], .least = SAY_NOTE};
    device = (struct device){.answer = INPUT_READ};
    inlet = (struct inlet){.driver = &device_driver,
                           .about = &bench.inputs[0],
                           .voice = &voice,
                           .longest = 30 * NS_PER_S,
                           .interval = REOPEN_FIRST_NS,
                           .say_interval = 60 * NS_PER_S,
                           .fd = -1};
}

/* Steps once a tenth of a second, so that the clock is right to a tenth. */
static void run(double from, double until)
{
    for (int64_t at = (int64_t)(from * 10); at < (int64_t)(until * 10); at++) {
        struct moment now = {at * NS_PER_S / 10, 0};
        inlet_step(&inlet, &now, true, &bench.intake);
    }
}

/* What was said since the last call; counts its lines. */
static const char *said(int *lines)
{
    static char text[20000];
    struct voice end = {.fd = words[1], .least = SAY_NOTE};
    say(&end, SAY_NOTE, "."); /* so that read never waits */
    ssize_t length = read(words[0], text, sizeof text - 1);
    assert_true(length > 0);
    text[length] = '\0';
    *lines = -1;
    for (const char *c = text; *c; c++)
        *lines += *c == '\n';
    return text;
}

static void finish_inlet(double at)
{
    inlet_finish(&inlet, (int64_t)(at * 1e9), &bench.intake);
    assert_false(device.is_open);
    finish((int64_t)(at * 1e9));
    close(words[0]);
    close(words[1]);
}

/* --- tests */

static void test_there_from_the_start(void **state)
{
    (void)state;
    int lines;
    begin_inlet();
    device.there = true;
    device.bytes = "$IIMTW,15.2,C*15\r\n";
    run(0, 10);
    assert_int_equal(inlet.state, INLET_OPEN);
    assert_non_null(strstr(said(&lines), "input a (udp:10110): open"));
    assert_int_equal(lines, 1);
    finish_inlet(10);
    assert_int_equal(tape.gaps, 0);
    assert_int_equal(tape.lines, 1);
    assert_int_equal(counted(0, REASON_REOPENED), 0);
}

/* A device that appears after an hour: tried at growing intervals, said sparingly, then
 * recorded. */
static void test_appears_after_an_hour(void **state)
{
    (void)state;
    int lines;
    begin_inlet();
    run(0, 3600);
    const char *text = said(&lines);
    assert_non_null(strstr(text, "warning: input a (udp:10110): not plugged in (tried again"));
    assert_in_range(lines, 3, 6); /* at 0, 1, 5 and 21 minutes, and then once an hour */
    device.there = true;
    run(3600, 3640);
    assert_int_equal(inlet.state, INLET_OPEN);
    assert_non_null(strstr(said(&lines), "open, after 36"));
    assert_int_equal(lines, 1);
    finish_inlet(3640);
    assert_int_equal(tape.gaps, 1);
    assert_int_equal(tape.gap_from, 0);
    assert_in_range(tape.gap_until, 3600 * NS_PER_S, 3631 * NS_PER_S);
    assert_non_null(strstr(tape.text, "not plugged in"));
    assert_int_equal(counted(0, REASON_REOPENED), 0); /* it was not open before */
}

/* 0.5, 1, 2, 4, 8, 16, 30, 30 ... seconds between attempts. */
static void test_growing_intervals(void **state)
{
    (void)state;
    static const double attempts[] = {0, 0.5, 1.5, 3.5, 7.5, 15.5, 31.5, 61.5, 91.5};
    begin_inlet();
    size_t seen = 0;
    for (int tenth = 0; tenth < 1000; tenth++) {
        int64_t before = inlet.retry_at;
        struct moment now = {tenth * NS_PER_S / 10, 0};
        inlet_step(&inlet, &now, false, &bench.intake);
        if (inlet.retry_at != before) {
            assert_int_equal(tenth, (int)(attempts[seen] * 10));
            seen++;
        }
        assert_int_equal(inlet_deadline(&inlet, now.at), inlet.retry_at);
    }
    assert_int_equal(seen, 9);
    finish_inlet(100);
    assert_int_equal(tape.gaps, 1); /* never there: the whole run is a gap */
    assert_int_equal(tape.gap_until, 100 * NS_PER_S);
}

static void test_unplugged_and_back(void **state)
{
    (void)state;
    int lines;
    begin_inlet();
    device.there = true;
    run(0, 20);
    device.bytes = "$IIMTW,15.2,C*15\r\n$IIMT"; /* cut in the middle of a line */
    run(20, 20.1);
    device.there = false;
    device.answer = INPUT_GONE;
    run(30, 30.1);
    assert_int_equal(inlet.state, INLET_AWAY);
    device.answer = INPUT_READ;
    said(&lines);
    assert_int_equal(lines, 2);
    run(30.1, 40);
    device.there = true;
    run(40, 50);
    said(&lines);
    assert_int_equal(lines, 1);
    finish_inlet(60);
    assert_int_equal(counted(0, REASON_REOPENED), 1);
    assert_int_equal(counted(0, REASON_NO_CHECKSUM), 1);
    assert_int_equal(tape.gaps, 1);
    assert_int_equal(tape.gap_from, 20 * NS_PER_S); /* the last that was heard */
    assert_in_range(tape.gap_until, 40 * NS_PER_S, 46 * NS_PER_S);
    assert_non_null(strstr(tape.text, "unplugged"));
}

/* A driver that stays open while its line is down: looked at without a pause and never closed, so
 * that nothing is missed when it comes up. Said like any other failure, again only now and then. */
static void test_line_down_and_up(void **state)
{
    (void)state;
    int lines;
    begin_inlet();
    device.there = true;
    device.answer = INPUT_DOWN; /* from the start */
    run(0, 10);
    assert_int_equal(inlet.state, INLET_AWAY);
    assert_string_equal(inlet.why, "its line is down");
    device.answer = INPUT_READ;
    run(10, 10.1);
    assert_int_equal(inlet.state, INLET_OPEN);
    said(&lines);
    assert_int_equal(lines, 2);
    device.bytes = "$IIMTW,15.2,C*15\r\n";
    run(10.1, 20);
    device.answer = INPUT_DOWN;
    run(20, 620);
    said(&lines);
    assert_in_range(lines, 1, 6);
    assert_true(inlet_deadline(&inlet, 620 * NS_PER_S) < 620 * NS_PER_S + NS_PER_S / 10);
    device.answer = INPUT_READ;
    run(620, 621);
    assert_int_equal(device.opened, 1);
    assert_int_equal(device.closed, 0);
    device.answer = INPUT_DOWN; /* the adapter is pulled out while its line is down */
    run(630, 631);
    device.answer = INPUT_GONE;
    device.there = false;
    run(631, 632);
    assert_int_equal(inlet.state, INLET_AWAY);
    assert_in_range(device.closed, 1, 4);
    device.there = true;
    device.answer = INPUT_READ;
    run(632, 640);
    assert_int_equal(device.opened, 2);
    finish_inlet(640);
    assert_int_equal(counted(0, REASON_REOPENED), 2);
    assert_int_equal(tape.gaps, 3);
}

static void test_away_at_the_end(void **state)
{
    (void)state;
    begin_inlet();
    device.there = true;
    run(0, 20);
    device.there = false;
    device.answer = INPUT_GONE;
    run(20, 25);
    finish_inlet(25);
    assert_int_equal(tape.gaps, 1);
    assert_int_equal(tape.gap_until, 25 * NS_PER_S);
}

/* A peer that takes the connection and drops it at once, for an hour: few words, slow attempts, but
 * every gap and every reopening is counted. */
static void test_flapping(void **state)
{
    (void)state;
    int lines;
    begin_inlet();
    device.there = true;
    for (double at = 0; at < 3600; at += 0.2) {
        device.answer = inlet.state == INLET_OPEN ? INPUT_GONE : INPUT_READ;
        run(at, at + 0.2);
    }
    said(&lines);
    assert_in_range(lines, 4, 20);
    assert_in_range(device.opened, 3600 / 31, 3600 / 30 + 8);
    finish_inlet(3600);
    assert_in_range(tape.gaps, (unsigned)device.opened - 1, (unsigned)device.opened);
    assert_int_equal(counted(0, REASON_REOPENED), device.opened - 1);
}

static void test_slow_to_open(void **state)
{
    (void)state;
    int lines;
    begin_inlet();
    device.there = true;
    device.slow = true;
    run(0, 5);
    assert_int_equal(inlet.state, INLET_OPENING);
    assert_true(inlet_deadline(&inlet, 5 * NS_PER_S) < 6 * NS_PER_S);
    device.slow = false;
    run(5, 6);
    assert_int_equal(inlet.state, INLET_OPEN);
    said(&lines);
    assert_int_equal(lines, 1);
    finish_inlet(6);
}

static void test_end_of_a_capture(void **state)
{
    (void)state;
    begin_inlet();
    device.there = true;
    device.answer = INPUT_END;
    run(0, 1);
    assert_int_equal(inlet.state, INLET_OVER);
    assert_int_equal(device.reads, 1);
    assert_false(inlet.broken);
    assert_int_equal(inlet_deadline(&inlet, NS_PER_S), INT64_MAX);
    finish_inlet(1);
}

/* Every row of the table is whole. */
/* What was written wrong stands in the words, whole. */
static void test_words_show_what_was_written(void **state)
{
    (void)state;
    static const char *const wrong[] = {"udp:99999", "udp:nowhere:1,from=10.0.0.0/8",
                                        "serial:/dev/ttyUSB0,0", "tcp:host"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct complaint complaint = {""};
        char shown[80];
        assert_int_equal(input_check(wrong[i], &complaint), STATUS_BAD_USAGE);
        snprintf(shown, sizeof shown, "\"%s\"", strchr(wrong[i], ':') + 1);
        assert_non_null(strstr(complaint.text, shown));
    }
}

static void test_table(void **state)
{
    (void)state;
    for (size_t i = 0; i < input_driver_count; i++) {
        const struct input_driver *it = input_drivers[i];
        const char *address;
        char text[64];
        assert_true(it->name && it->usage && it->create && it->open && it->fd && it->read &&
                    it->close && it->destroy);
        assert_memory_equal(it->usage, it->name, strlen(it->name));
        snprintf(text, sizeof text, "%s:x", it->name);
        assert_ptr_equal(input_driver_of(text, &address), it);
        assert_string_equal(address, "x");
        assert_null(input_driver_of(it->name, &address));
    }
    assert_null(input_driver_of("", NULL));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_there_from_the_start),
        cmocka_unit_test(test_appears_after_an_hour),
        cmocka_unit_test(test_growing_intervals),
        cmocka_unit_test(test_unplugged_and_back),
        cmocka_unit_test(test_line_down_and_up),
        cmocka_unit_test(test_away_at_the_end),
        cmocka_unit_test(test_flapping),
        cmocka_unit_test(test_slow_to_open),
        cmocka_unit_test(test_end_of_a_capture),
        cmocka_unit_test(test_words_show_what_was_written),
        cmocka_unit_test(test_table),
    };
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    tape_clear();
    return failed;
}
