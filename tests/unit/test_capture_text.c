/* test_capture_text.c - the text layout of captures, written and read back. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "capture_text.h"

#define START INT64_C(1795601700000000)

static const struct run_input plotter = {"udp:10110", "plotter"};

static enum capture_text_kind parse(const char *line, struct capture_text *out)
{
    return capture_text_parse(line, strlen(line), out);
}

static bool is_text(const char *bytes, size_t length, const char *expected)
{
    return length == strlen(expected) && memcmp(bytes, expected, length) == 0;
}

static void test_start(void **state)
{
    (void)state;
    char text[CAPTURE_TEXT_ROOM];
    size_t length = capture_text_start(text, sizeof text, START, CLOCK_GNSS);
    assert_true(is_text(text, length, "# searun capture 1 start=1795601700000000 clock=gnss\n"));
    struct capture_text out;
    assert_int_equal(capture_text_parse(text, length - 1, &out), CAPTURE_START);
    assert_int_equal(out.unix_us, START);
    assert_int_equal(out.clock, CLOCK_GNSS);
    assert_int_equal(parse("# searun capture 1 start=-5", &out), CAPTURE_START);
    assert_int_equal(out.unix_us, -5);
    assert_int_equal(out.clock, CLOCK_CAPTURE);
    assert_int_equal(parse("# searun capture 2 start=5", &out), CAPTURE_COMMENT);
    assert_int_equal(parse("# searun capture 1 start=", &out), CAPTURE_COMMENT);
}

static void test_input_and_end(void **state)
{
    (void)state;
    char text[CAPTURE_TEXT_ROOM];
    struct capture_text out;
    size_t length = capture_text_input(text, sizeof text, &plotter);
    assert_int_equal(capture_text_parse(text, length - 1, &out), CAPTURE_INPUT);
    assert_true(is_text(out.label, out.label_length, "plotter"));
    assert_true(is_text(out.bytes, out.length, "udp:10110"));
    length = capture_text_end(text, sizeof text, START + 7);
    assert_int_equal(capture_text_parse(text, length - 1, &out), CAPTURE_END);
    assert_int_equal(out.unix_us, START + 7);
}

static void test_gap(void **state)
{
    (void)state;
    char text[CAPTURE_TEXT_ROOM];
    struct capture_text out;
    size_t length = capture_text_gap(text, sizeof text, START, &plotter, 2 * NS_PER_S, 5 * NS_PER_S,
                                     17, "the device was unplugged");
    assert_int_equal(capture_text_parse(text, length - 1, &out), CAPTURE_GAP);
    assert_true(is_text(out.label, out.label_length, "plotter"));
    assert_int_equal(out.unix_us, START + 2000000);
    assert_int_equal(out.until_unix_us, START + 5000000);
    assert_int_equal(out.lost, 17);
    assert_true(is_text(out.bytes, out.length, "the device was unplugged"));
}

static void test_event(void **state)
{
    (void)state;
    char text[CAPTURE_TEXT_ROOM];
    struct capture_text out;
    size_t length = capture_text_event(text, sizeof text, START, 1500 * NS_PER_US, "mark",
                                       "throttle to 2000\nsea: \xC3\xBC");
    assert_true(
        is_text(text, length, "# event 1795601700001500 mark throttle to 2000 sea: \xC3\xBC\n"));
    assert_int_equal(capture_text_parse(text, length - 1, &out), CAPTURE_EVENT);
    assert_int_equal(out.unix_us, START + 1500);
    assert_true(is_text(out.label, out.label_length, "mark"));
    assert_true(is_text(out.bytes, out.length, "throttle to 2000 sea: \xC3\xBC"));
    length = capture_text_event(text, sizeof text, START, 0, "mark", "");
    assert_int_equal(capture_text_parse(text, length - 1, &out), CAPTURE_EVENT);
    assert_int_equal(out.length, 0);
    assert_int_equal(capture_text_event(text, sizeof text, START, 0, "two words", ""), 0);
    assert_int_equal(capture_text_event(text, sizeof text, START, 0, "", "text"), 0);
    assert_int_equal(parse("# event 17956017000015x mark text", &out), CAPTURE_COMMENT);
    assert_int_equal(parse("# eventful days", &out), CAPTURE_COMMENT);
}

/* The checksum was made with another program: python3, functools.reduce(xor, b"s:plotter,c:...") */
static void test_line(void **state)
{
    (void)state;
    static const char line[] = "$IIRPM,E,0,1450.0,,A*49";
    struct raw_message message = {
        .at = 123 * NS_PER_MS, .bytes = (const uint8_t *)line, .length = strlen(line)};
    char text[CAPTURE_TEXT_ROOM];
    size_t length = capture_text_message(text, sizeof text, START, &plotter, &message);
    assert_true(is_text(text, length, "\\s:plotter,c:1795601700123*62\\$IIRPM,E,0,1450.0,,A*49\n"));
    struct capture_text out;
    assert_int_equal(capture_text_parse(text, length - 1, &out), CAPTURE_LINE);
    assert_int_equal(out.unix_us, START + 123000);
    assert_true(is_text(out.label, out.label_length, "plotter"));
    assert_true(is_text(out.bytes, out.length, line));
    text[3] ^= 1;
    assert_int_equal(capture_text_parse(text, length - 1, &out), CAPTURE_OTHER);
    assert_int_equal(capture_text_message(text, length - 1, START, &plotter, &message), 0);
}

/* Layout of candump -l: can-utils, lib.h, "sprint_canframe". */
static void test_frame(void **state)
{
    (void)state;
    static const struct {
        const char *line;
        int64_t unix_us;
        uint32_t id;
        unsigned length;
        uint8_t first;
    } rows[] = {
        {"(1635188455.020850) can0 18F00E00#821639C4FFFFFFFF", 1635188455020850, 0x98F00E00, 8,
         0x82},
        {"(1635188455.020850) can0 123#", 1635188455020850, 0x123, 0, 0},
        {"(0000000000.352000) vcan0 09F20101#1A", 352000, 0x89F20101, 1, 0x1A},
        {"(0000000001.000001) can0 20000080#0102030405060708", 1000001, 0x20000080, 8, 1},
        {"(0000000001.000001) can0 09F20101#R", 1000001, 0xC9F20101, 0, 0},
        {"(0000000001.000001) can0 123#R8", 1000001, 0x40000123, 8, 0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct capture_text out;
        assert_int_equal(parse(rows[i].line, &out), CAPTURE_FRAME);
        assert_int_equal(out.unix_us, rows[i].unix_us);
        assert_int_equal(out.id, rows[i].id);
        assert_int_equal(out.data_length, rows[i].length);
        assert_int_equal(out.data[0], rows[i].first);
        struct run_input input = {.label = ""};
        memcpy(input.label, out.label, out.label_length);
        struct raw_message message = {.at = out.unix_us * NS_PER_US,
                                      .is_can = true,
                                      .can_id = out.id,
                                      .bytes = out.data,
                                      .length = out.data_length};
        char text[CAPTURE_TEXT_ROOM];
        size_t length = capture_text_message(text, sizeof text, 0, &input, &message);
        assert_true(is_text(text, length - 1, rows[i].line));
    }
}

/* Newer logs say behind a frame whether it was received or sent; remote frames too. */
static void test_direction(void **state)
{
    (void)state;
    struct capture_text out;
    assert_int_equal(parse("(1.000001) can0 123#0102 R", &out), CAPTURE_FRAME);
    assert_int_equal(out.data_length, 2);
    assert_int_equal(parse("(1.000001) can0 123#R8 R", &out), CAPTURE_FRAME);
    assert_int_equal(out.id, 0x40000123);
    assert_int_equal(out.data_length, 8);
    assert_int_equal(parse("(1.000001) can0 09F20101#R T", &out), CAPTURE_FRAME);
    assert_int_equal(out.id, 0xC9F20101);
    assert_int_equal(out.data_length, 0);
    assert_int_not_equal(parse("(1.000001) can0 123#RR", &out), CAPTURE_FRAME);
    assert_int_not_equal(parse("(1.000001) can0 123#0102T", &out), CAPTURE_FRAME);
}

static void test_broken_frames(void **state)
{
    (void)state;
    static const char *const lines[] = {
        "(1635188455.020850) can0 18F00E00#821639C4FFFFFFF",    /* half a byte */
        "(1635188455.020850) can0 18F00E00#821639C4FFFFFFFF00", /* nine bytes */
        "(1635188455.020850) can0 18F00E0#82",                  /* seven digits */
        "(1635188455.020850) can0 A8F00E00#82",                 /* over 29 bits */
        "(1635188455.020850) can0 800#82",                      /* over 11 bits */
        "(1635188455.020850) can0 18F00E00##182",               /* CAN FD */
        "(1635188455.020850) can0 F0200923#82", /* more than 29 bits and the error flag */
        "(1635188455.020850) can0 800#82",      /* more than 11 bits in three digits */
        "(1635188455.020850) can0 18F00E00",
        "(1635188455.020850) ",
        "(99999999999999999999.0) can0 123#",
        "(.5) can0 123#",
        "(",
    };
    struct capture_text out;
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
        assert_int_equal(parse(lines[i], &out), CAPTURE_OTHER);
    assert_int_equal(capture_text_parse("", 0, &out), CAPTURE_OTHER);
}

/* Any bytes but a line feed, before 1970 or after, come back as they were. */
static void test_random(void **state)
{
    (void)state;
    unsigned seed = (unsigned)time(NULL);
    print_message("seed %u\n", seed);
    for (int round = 0; round < 20000; round++) {
        uint8_t bytes[CAPTURE_LINE_MAX];
        size_t count = (size_t)rand_r(&seed) % (round % 50 == 0 ? sizeof bytes + 1 : 80);
        for (size_t i = 0; i < count; i++) {
            bytes[i] = (uint8_t)rand_r(&seed);
            bytes[i] = bytes[i] == '\n' ? '\r' : bytes[i];
        }
        struct raw_message message = {
            .at = (rand_r(&seed) % 100000000) * NS_PER_MS, .bytes = bytes, .length = count};
        int64_t start = (int64_t)(rand_r(&seed) - RAND_MAX / 2) * 1000000;
        char text[CAPTURE_TEXT_ROOM];
        struct capture_text out;
        size_t length = capture_text_message(text, sizeof text, start, &plotter, &message);
        assert_int_equal(capture_text_parse(text, length - 1, &out), CAPTURE_LINE);
        assert_int_equal(out.unix_us - start, message.at / NS_PER_US);
        assert_int_equal(out.length, count);
        assert_memory_equal(out.bytes, bytes, count);
        capture_text_parse((const char *)bytes, count, &out); /* noise must not trip it */
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_start),     cmocka_unit_test(test_input_and_end),
        cmocka_unit_test(test_gap),       cmocka_unit_test(test_event),
        cmocka_unit_test(test_line),      cmocka_unit_test(test_frame),
        cmocka_unit_test(test_direction), cmocka_unit_test(test_broken_frames),
        cmocka_unit_test(test_random),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
