/* test_capture.c - captures of all kinds, recognised and handed out with their times. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../logger/capture.h"
#include "capture_text.h"

/* --- a capture in memory */

struct text {
    char bytes[1 << 20];
    size_t length;
};

static struct text text; /* the capture that a test makes */

static void add_bytes(const char *bytes, size_t length)
{
    assert_true(text.length + length <= sizeof text.bytes);
    memcpy(text.bytes + text.length, bytes, length);
    text.length += length;
}

__attribute__((format(printf, 1, 2))) static void add(const char *format, ...)
{
    char line[4096];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(line, sizeof line, format, arguments);
    va_end(arguments);
    add_bytes(line, (size_t)length);
}

/* A sentence with its checksum, and its line end. */
__attribute__((format(printf, 1, 2))) static void add_sentence(const char *format, ...)
{
    char body[1024];
    unsigned char sum = 0;
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(body, sizeof body, format, arguments);
    va_end(arguments);
    for (const char *c = body; *c; c++)
        sum ^= (unsigned char)*c;
    add("$%s*%02X\r\n", body, sum);
}

static void add_tag(int64_t unix_time)
{
    char body[64];
    unsigned char sum = 0;
    snprintf(body, sizeof body, "c:%lld", (long long)unix_time);
    for (const char *c = body; *c; c++)
        sum ^= (unsigned char)*c;
    add("\\%s*%02X\\", body, sum);
}

static enum status open_text(struct capture **out, struct complaint *complaint)
{
    int fd = memfd_create("capture", 0);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, text.bytes, text.length), text.length);
    return capture_open_fd(fd, "folder/trial.txt", out, complaint);
}

static struct capture *open_as(enum capture_kind kind)
{
    struct capture *capture = NULL;
    struct complaint complaint = {""};
    enum status status = open_text(&capture, &complaint);
    if (status != STATUS_OK)
        print_message("%s\n", complaint.text);
    assert_int_equal(status, STATUS_OK);
    assert_int_equal(capture_about(capture)->kind, kind);
    return capture;
}

static struct capture_item next(struct capture *capture)
{
    struct capture_item item;
    enum status status = STATUS_OK;
    assert_true(capture_next(capture, &item, &status));
    return item;
}

static void expect_end(struct capture *capture)
{
    struct capture_item item;
    enum status status = STATUS_OK;
    assert_false(capture_next(capture, &item, &status));
    assert_int_equal(status, STATUS_OK);
    capture_close(capture);
}

static void expect_line(const struct capture_item *item, const char *line)
{
    assert_int_equal(item->what, CAPTURE_ITEM_LINE);
    assert_int_equal(item->length, strlen(line));
    assert_memory_equal(item->bytes, line, item->length);
}

/* --- one kind each */

#define START INT64_C(1795601700000000) /* 2026-11-25 10:15:00 UTC */

static void test_own(void **state)
{
    (void)state;
    const struct run_input inputs[] = {{"udp:10110", "plotter"}, {"can:can0,j1939", "engine"}};
    static const char noise[] = "\x80\xFF\0$II";
    const struct raw_message messages[] = {
        {.at = 5 * NS_PER_MS,
         .input = 0,
         .bytes = (const uint8_t *)"$IIMTW,15.2,C*15",
         .length = 16},
        {.at = 6123 * NS_PER_US,
         .input = 1,
         .is_can = true,
         .can_id = 0x8CF00400,
         .bytes = (const uint8_t *)"\1\2\3",
         .length = 3},
        {.at = 7 * NS_PER_MS,
         .input = 0,
         .bytes = (const uint8_t *)noise,
         .length = sizeof noise - 1},
    };
    char line[CAPTURE_TEXT_ROOM];
    text.length = 0;
    add_bytes(line, capture_text_start(line, sizeof line, START, CLOCK_GNSS));
    for (int i = 0; i < 2; i++)
        add_bytes(line, capture_text_input(line, sizeof line, &inputs[i]));
    for (int i = 0; i < 3; i++)
        add_bytes(line, capture_text_message(line, sizeof line, START, &inputs[messages[i].input],
                                             &messages[i]));
    add("# a comment\n");
    add_bytes(line, capture_text_gap(line, sizeof line, START, &inputs[1], NS_PER_S, 3 * NS_PER_S,
                                     4, "unplugged"));
    add_bytes(line, capture_text_event(line, sizeof line, START, 4 * NS_PER_S, "mark", "2000 rpm"));
    add("torn off in the mid\n");
    add_bytes(line, capture_text_end(line, sizeof line, START + 9000000));

    struct capture *capture = open_as(CAPTURE_OWN);
    const struct capture_about *about = capture_about(capture);
    assert_int_equal(about->start_unix_us, START);
    assert_int_equal(about->clock, CLOCK_GNSS);
    assert_int_equal(about->input_count, 2);
    assert_memory_equal(about->inputs, inputs, sizeof inputs);
    struct capture_item item = next(capture);
    expect_line(&item, "$IIMTW,15.2,C*15");
    assert_int_equal(item.at, 5 * NS_PER_MS);
    item = next(capture);
    assert_int_equal(item.what, CAPTURE_ITEM_FRAME);
    assert_int_equal(item.at, 6123 * NS_PER_US);
    assert_int_equal(item.input, 1);
    assert_int_equal(item.id, 0x8CF00400);
    assert_int_equal(item.data_length, 3);
    item = next(capture);
    assert_int_equal(item.length, sizeof noise - 1);
    assert_memory_equal(item.bytes, noise, item.length);
    item = next(capture);
    assert_int_equal(item.what, CAPTURE_ITEM_GAP);
    assert_int_equal(item.at, NS_PER_S);
    assert_int_equal(item.until, 3 * NS_PER_S);
    assert_int_equal(item.lost, 4);
    assert_memory_equal(item.bytes, "unplugged", item.length);
    item = next(capture);
    assert_int_equal(item.what, CAPTURE_ITEM_EVENT);
    assert_int_equal(item.at, 4 * NS_PER_S);
    assert_string_equal(item.key, "mark");
    assert_memory_equal(item.bytes, "2000 rpm", item.length);
    assert_int_equal(next(capture).what, CAPTURE_ITEM_BAD);
    item = next(capture);
    assert_int_equal(item.what, CAPTURE_ITEM_DONE);
    assert_int_equal(item.at, 9 * NS_PER_S);
    expect_end(capture);
}

static void test_own_empty_run(void **state)
{
    (void)state;
    text.length = 0;
    add("# searun capture 1 start=%lld clock=system\n", (long long)START);
    struct capture *capture = open_as(CAPTURE_OWN);
    assert_int_equal(capture_about(capture)->input_count, 1);
    expect_end(capture);
}

/* A gap can be all that there is of an input. */
static void test_own_gap_alone(void **state)
{
    (void)state;
    text.length = 0;
    add("# searun capture 1 start=%lld clock=system\n", (long long)START);
    add("# input can0 can:can0\n");
    add("# gap other %lld %lld 5 storage stood still\n", (long long)START + 200000,
        (long long)START + 300000);
    struct capture *capture = open_as(CAPTURE_OWN);
    assert_int_equal(capture_about(capture)->input_count, 2);
    assert_string_equal(capture_about(capture)->inputs[1].label, "other");
    struct capture_item item = next(capture);
    assert_int_equal(item.what, CAPTURE_ITEM_GAP);
    assert_int_equal(item.input, 1);
    expect_end(capture);
}

/* Layout: candump -l (can-utils). Two interfaces; one line is no frame. */
static void test_candump(void **state)
{
    (void)state;
    text.length = 0;
    add("(1635188455.020850) can0 18F00E00#821639C4FFFFFFFF\n");
    add("(1635188455.021900) can1 18FEDF00#82FFFFFF7D090201\n");
    add("(1635188455.0219\n");
    add("(1635188455.030000) can0 123#01\n");
    add("(1635188451.000000) can0 123#02\n"); /* set back by 4 s */
    struct capture *capture = open_as(CAPTURE_CANDUMP);
    const struct capture_about *about = capture_about(capture);
    assert_int_equal(about->start_unix_us, 1635188455020000);
    assert_int_equal(about->clock, CLOCK_CAPTURE);
    assert_int_equal(about->input_count, 2);
    assert_string_equal(about->inputs[0].label, "can0");
    assert_string_equal(about->inputs[1].label, "can1");
    assert_string_equal(about->inputs[1].text, "replay:trial.txt");
    struct capture_item item = next(capture);
    assert_int_equal(item.at, 850 * NS_PER_US);
    assert_int_equal(item.id, 0x98F00E00);
    item = next(capture);
    assert_int_equal(item.at, 1900 * NS_PER_US);
    assert_int_equal(item.input, 1);
    assert_int_equal(next(capture).what, CAPTURE_ITEM_BAD);
    item = next(capture);
    assert_int_equal(item.at, 10 * NS_PER_MS);
    assert_false(item.backward);
    item = next(capture);
    assert_int_equal(item.at, 10 * NS_PER_MS);
    assert_true(item.backward && item.clock_set);
    expect_end(capture);
}

static void test_tagged(void **state)
{
    (void)state;
    text.length = 0;
    add_tag(1795601700);
    add_sentence("IIMTW,15.2,C");
    add_tag(1795601700500);
    add_sentence("IIMTW,15.3,C");
    add_sentence("IIRPM,E,0,1450.0,,A"); /* without a time: as the line before */
    add("# a comment\r\n\r\n");
    add_tag(1795601702);
    add_sentence("IIMTW,15.4,C");
    struct capture *capture = open_as(CAPTURE_TAGGED);
    assert_int_equal(capture_about(capture)->start_unix_us, START);
    assert_int_equal(capture_about(capture)->clock, CLOCK_CAPTURE);
    assert_int_equal(capture_about(capture)->input_count, 1);
    assert_string_equal(capture_about(capture)->inputs[0].label, "capture");
    static const int64_t at_ms[] = {0, 500, 500, 2000};
    for (int i = 0; i < 4; i++)
        assert_int_equal(next(capture).at, at_ms[i] * NS_PER_MS);
    expect_end(capture);
}

/* RMC once a second across midnight, ten lines a second; the dates are right on both sides. */
static void test_plain_across_midnight(void **state)
{
    (void)state;
    text.length = 0;
    for (int i = 0; i < 20; i++) {
        int second = (86390 + i) % 86400;
        add_sentence("GPRMC,%02d%02d%02d.00,A,4955.8,N,00727.6,W,0.6,1.4,%d1126,,,A", second / 3600,
                     second / 60 % 60, second % 60, i < 10 ? 24 : 25);
        for (int k = 0; k < 9; k++)
            add_sentence("IIMTW,15.%d,C", k);
    }
    struct capture *capture = open_as(CAPTURE_PLAIN);
    /* 2026-11-24 23:59:50 UTC: date -u -d '2026-11-24 23:59:50' +%s */
    assert_int_equal(capture_about(capture)->start_unix_us, 1795564790000000);
    assert_int_equal(capture_about(capture)->clock, CLOCK_GNSS);
    int64_t last = -1;
    for (int i = 0; i < 200; i++) {
        struct capture_item item = next(capture);
        assert_true(item.at > last);
        assert_false(item.backward || item.clock_set);
        if (i % 10 == 0)
            assert_int_equal(item.at, i / 10 * NS_PER_S);
        last = item.at;
    }
    expect_end(capture);
}

static void test_plain_clock_set_back(void **state)
{
    (void)state;
    text.length = 0;
    for (int i = 0; i < 20; i++) {
        int minute = i < 10 ? 30 : 10; /* 20 minutes back in the middle */
        add_sentence("GPZDA,10%02d%02d.00,25,11,2026,00,00", minute, i);
        add_sentence("IIRPM,E,0,%d,,A", 1000 + i);
    }
    struct capture *capture = open_as(CAPTURE_PLAIN);
    int64_t last = -1;
    int backward = 0;
    for (int i = 0; i < 40; i++) {
        struct capture_item item = next(capture);
        assert_true(item.at > last);
        last = item.at;
        backward += item.backward && item.clock_set;
    }
    assert_int_equal(backward, 1);
    assert_in_range(last, 18 * NS_PER_S, 21 * NS_PER_S);
    expect_end(capture);
}

static void test_timeless(void **state)
{
    (void)state;
    text.length = 0;
    add("noise before anything \x80\xFE\r\n");
    for (int i = 0; i < 100; i++)
        add_sentence("IIMTW,15.2,C");
    struct capture *capture = open_as(CAPTURE_TIMELESS);
    assert_int_equal(capture_about(capture)->start_unix_us, 0);
    assert_int_equal(capture_about(capture)->clock, CLOCK_NOMINAL);
    struct capture_item item = next(capture);
    expect_line(&item, "noise before anything \x80\xFE");
    /* 26 bytes before, 18 a line, 480 bytes/s */
    for (int i = 0; i < 100; i++)
        assert_int_equal(next(capture).at / NS_PER_US, (26 + 18 * i) * 1000000 / 480);
    expect_end(capture);
}

/* The last line has no end, one is empty, one is longer than any buffer. */
static void test_odd_lines(void **state)
{
    (void)state;
    text.length = 0;
    add_sentence("IIMTW,15.2,C");
    add("\r\n\n");
    memset(text.bytes + text.length, 'x', 600000);
    text.length += 600000;
    add("\n");
    add("$IIMTW,15.2,C*15");
    struct capture *capture = open_as(CAPTURE_TIMELESS);
    struct capture_item item = next(capture);
    expect_line(&item, "$IIMTW,15.2,C*15");
    size_t total = 0;
    while ((item = next(capture)).bytes[0] == 'x')
        total += item.length;
    assert_int_equal(total, 600000);
    expect_line(&item, "$IIMTW,15.2,C*15");
    expect_end(capture);
}

/* --- what is no capture */

static void expect_refusal(const char *words)
{
    struct capture *capture = NULL;
    struct complaint complaint = {""};
    assert_int_equal(open_text(&capture, &complaint), STATUS_BAD_DATA);
    assert_non_null(strstr(complaint.text, "folder/trial.txt"));
    if (!strstr(complaint.text, words))
        print_message("%s\n", complaint.text);
    assert_non_null(strstr(complaint.text, words));
}

static void test_refused(void **state)
{
    (void)state;
    static const struct {
        const char *bytes;
        size_t length;
        const char *words;
    } rows[] = {
        {"", 0, "empty"},
        {"\x89HDF\r\n\x1a\n.....", 13, "HDF5"},
        {"\x1f\x8b\x08..", 5, "gunzip"},
        {"Dear diary,\nfine weather today.\n", 32, "no sound NMEA 0183 sentence"},
        {"$IIMTW,15.2,C*00\r\n", 18, "no sound NMEA 0183 sentence"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        text.length = 0;
        add_bytes(rows[i].bytes, rows[i].length);
        expect_refusal(rows[i].words);
    }
    text.length = 0;
    for (int i = 0; i < 17; i++)
        add("(1635188455.020850) can%d 123#01\n", i);
    expect_refusal("more than 16");
}

static void test_refused_files(void **state)
{
    (void)state;
    struct capture *capture = NULL;
    struct complaint complaint = {""};
    assert_int_equal(capture_open("/nonexistent/capture", &capture, &complaint), STATUS_NOT_FOUND);
    assert_non_null(strstr(complaint.text, "/nonexistent/capture"));
    assert_int_equal(capture_open("/tmp", &capture, &complaint), STATUS_BAD_DATA);
    assert_non_null(strstr(complaint.text, "not a file"));
    char fifo[] = "/tmp/test_capture_fifo_XXXXXX";
    close(mkstemp(fifo));
    unlink(fifo);
    assert_int_equal(mkfifo(fifo, 0600), 0);
    assert_int_equal(capture_open(fifo, &capture, &complaint), STATUS_BAD_DATA);
    unlink(fifo);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_own),
        cmocka_unit_test(test_own_empty_run),
        cmocka_unit_test(test_own_gap_alone),
        cmocka_unit_test(test_candump),
        cmocka_unit_test(test_tagged),
        cmocka_unit_test(test_plain_across_midnight),
        cmocka_unit_test(test_plain_clock_set_back),
        cmocka_unit_test(test_timeless),
        cmocka_unit_test(test_odd_lines),
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_refused_files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
