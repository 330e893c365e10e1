/* test_capture_time.c - instants for captures whose clocks jump, or that state the time now and
 * then. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include <cmocka.h>

#include "../../logger/capture_time.h"

#define S INT64_C(1000000)
#define DAY (86400 * S)
#define START INT64_C(1795601700000000)

/* --- stamps */

/* Follows stamps of whole seconds and compares with the instants expected, in seconds. */
static void follow(const int64_t *stamps, const int64_t *instants, size_t count, int jumps)
{
    struct stamp_follower follower = {.begun = false};
    int jumped = 0;
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(stamp_follow(&follower, START + stamps[i] * S), instants[i] * S);
        jumped += follower.jumped;
    }
    assert_int_equal(jumped, jumps);
}

#define FOLLOW(jumps, stamps, instants)                                                            \
    follow((const int64_t[])stamps, (const int64_t[])instants,                                     \
           sizeof((int64_t[])stamps) / sizeof(int64_t), jumps)
#define LIST(...)                                                                                  \
    {                                                                                              \
        __VA_ARGS__                                                                                \
    }

static void test_stamps(void **state)
{
    (void)state;
    /* even; a pause of an hour, and of two days */
    FOLLOW(0, LIST(0, 1, 2, 3602, 176402, 176403), LIST(0, 1, 2, 3602, 176402, 176403));
    /* late by up to two seconds: as they say */
    FOLLOW(0, LIST(0, 10, 9, 11, 9, 12), LIST(0, 10, 9, 11, 9, 12));
    /* set back by an hour, for good */
    FOLLOW(1, LIST(0, 1, 2, -3598, -3597, -3596), LIST(0, 1, 2, 2, 3, 4));
    /* set forward by ten years */
    FOLLOW(1, LIST(0, 1, 315360000, 315360001), LIST(0, 1, 1, 2));
    /* a gateway that sends some lines 63 s late comes back to where it was */
    FOLLOW(1, LIST(0, 100, 37, 101, 38, 102, 103), LIST(0, 100, 100, 101, 101, 102, 103));
    /* set back, and over a minute later a pause that happens to undo it: too late for a return */
    FOLLOW(1, LIST(0, 100, 50, 80, 115, 180, 181), LIST(0, 100, 100, 130, 165, 230, 231));
}

static void test_date_jump_is_told(void **state)
{
    (void)state;
    struct stamp_follower follower = {.begun = false};
    stamp_follow(&follower, 5 * S); /* 1970: a computer without a clock */
    stamp_follow(&follower, 6 * S);
    assert_false(follower.date_jumped);
    assert_int_equal(stamp_follow(&follower, START + 7 * S), 1 * S);
    assert_true(follower.date_jumped);
    assert_int_equal(stamp_follow(&follower, START + 8 * S), 2 * S);
    assert_int_equal(-follower.shift_us, START + 6 * S); /* date of instant 0 */
}

/* Whatever comes: instants go back by two seconds at most, and an even clock is never disturbed. */
static void test_random_stamps(void **state)
{
    (void)state;
    unsigned seed = (unsigned)time(NULL);
    print_message("seed %u\n", seed);
    for (int round = 0; round < 300; round++) {
        struct stamp_follower follower = {.begun = false};
        int64_t last = 0, stamp = START;
        for (int i = 0; i < 500; i++) {
            int64_t sizes[] = {1, S, 100 * S, DAY, 400 * DAY};
            int64_t size = sizes[(unsigned)rand_r(&seed) % 5];
            bool wild = (unsigned)rand_r(&seed) % 10 == 0;
            stamp += wild ? (rand_r(&seed) % 2001 - 1000) * size / 1000 : 100000;
            int64_t at = stamp_follow(&follower, stamp);
            assert_true(at >= last - LATE_MAX_US);
            last = at > last ? at : last;
        }
    }
}

/* --- anchors */

static void add(struct anchors *anchors, uint64_t offset, int64_t second)
{
    assert_int_equal(anchors_add(anchors, offset, START + second * S), STATUS_OK);
}

/* RMC at byte 1000 and then every 500 bytes and second, with ZDA 80 bytes behind each. */
static void test_even(void **state)
{
    (void)state;
    struct anchors anchors = {0};
    size_t cursor = 0;
    for (int i = 0; i < 10; i++) {
        add(&anchors, 1000 + 500 * (uint64_t)i, i);
        add(&anchors, 1080 + 500 * (uint64_t)i, i);
    }
    assert_int_equal(anchors.count, 10);
    /* Byte 0 is 1000 bytes, so 2 s, before the first statement. */
    assert_int_equal(anchors_settle(&anchors), START - 2 * S);
    assert_int_equal(anchors_instant(&anchors, 0, &cursor), 0);
    assert_int_equal(anchors_instant(&anchors, 250, &cursor), S / 2);
    assert_int_equal(anchors_instant(&anchors, 1000, &cursor), 2 * S);
    assert_int_equal(anchors_instant(&anchors, 1250, &cursor), 2 * S + S / 2);
    assert_int_equal(anchors_instant(&anchors, 5500, &cursor), 11 * S);
    assert_int_equal(anchors_instant(&anchors, 6000, &cursor), 12 * S); /* behind the last */
    anchors_free(&anchors);
}

static void test_jumps(void **state)
{
    (void)state;
    struct anchors anchors = {0};
    size_t cursor = 0;
    add(&anchors, 0, 0);
    add(&anchors, 500, 1);
    add(&anchors, 1000, -3600); /* set back by an hour */
    add(&anchors, 1500, -3599);
    add(&anchors, 2000, 400 * 86400); /* a receiver that finds its date */
    add(&anchors, 2500, 400 * 86400 + 1);
    add(&anchors, 3000, 400 * 86400 + 1801); /* a pause of half an hour */
    assert_int_equal(anchors_settle(&anchors), START);
    double pace = anchors.bytes_per_s;
    assert_true(anchors.list[2].jumped && anchors.list[4].jumped && !anchors.list[6].jumped);
    assert_int_equal(anchors_instant(&anchors, 500, &cursor), S);
    int64_t step = (int64_t)(500 / pace * 1e6);
    assert_int_equal(anchors_instant(&anchors, 1000, &cursor), S + step);
    assert_int_equal(anchors_instant(&anchors, 1500, &cursor), 2 * S + step);
    assert_int_equal(anchors_instant(&anchors, 2500, &cursor), 3 * S + 2 * step);
    assert_int_equal(anchors_instant(&anchors, 3000, &cursor), 1803 * S + 2 * step);
    anchors_free(&anchors);
}

/* Two receivers state the time in turn, the second `behind` ms earlier: ten minutes stay ten
 * minutes. */
static struct anchors two_receivers(int64_t behind_ms)
{
    struct anchors anchors = {0};
    for (int i = 0; i <= 600; i++) {
        uint64_t offset = 500 * (uint64_t)i;
        int64_t now = START + i * S;
        assert_int_equal(anchors_add(&anchors, offset, now), STATUS_OK);
        assert_int_equal(anchors_add(&anchors, offset + 50, now - behind_ms * 1000), STATUS_OK);
    }
    anchors_settle(&anchors);
    return anchors;
}

static void test_two_receivers(void **state)
{
    (void)state;
    const int64_t behind_ms[] = {0, 300, 1000, 1900, 18000, -300, -18000};
    for (size_t i = 0; i < sizeof behind_ms / sizeof behind_ms[0]; i++) {
        struct anchors anchors = two_receivers(behind_ms[i]);
        size_t cursor = 0, jumps = 0;
        int64_t length = anchors_instant(&anchors, 500 * 600, &cursor);
        for (size_t k = 0; k < anchors.count; k++) {
            jumps += anchors.list[k].jumped;
            assert_true(k == 0 || anchors.list[k].at_us >= anchors.list[k - 1].at_us);
        }
        assert_in_range(length, 598 * S, behind_ms[i] < -2000 ? 620 * S : 602 * S);
        assert_true(jumps <= 1);
        anchors_free(&anchors);
    }
}

/* Set back by half a minute for good: no second is lost where it passes its old time. */
static void test_set_back_for_good(void **state)
{
    (void)state;
    struct anchors anchors = {0};
    size_t cursor = 0;
    for (int i = 0; i <= 200; i++)
        assert_int_equal(anchors_add(&anchors, 500 * (uint64_t)i,
                                     START + i * S - (i > 100 ? 30 * S + S / 2 : 0)),
                         STATUS_OK);
    anchors_settle(&anchors);
    assert_int_equal(anchors_instant(&anchors, 500 * 200, &cursor), 200 * S);
    anchors_free(&anchors);
}

static void test_few(void **state)
{
    (void)state;
    struct anchors none = {0}, one = {0};
    size_t cursor = 0;
    assert_int_equal(anchors_settle(&none), 0);
    assert_int_equal(anchors_instant(&none, 4800, &cursor), 10 * S); /* 4800 baud, 480 bytes/s */
    add(&one, 960, 0);
    assert_int_equal(anchors_settle(&one), START - 2 * S);
    assert_int_equal(anchors_instant(&one, 960, &cursor), 2 * S);
    assert_int_equal(anchors_instant(&one, 1440, &cursor), 3 * S);
    anchors_free(&one);
}

static void test_random_anchors(void **state)
{
    (void)state;
    unsigned seed = (unsigned)time(NULL);
    print_message("seed %u\n", seed);
    for (int round = 0; round < 300; round++) {
        struct anchors anchors = {0};
        uint64_t offset = 0;
        int64_t second = 0, last = 0;
        size_t cursor = 0;
        for (int i = rand_r(&seed) % 60; i > 0; i--) {
            offset += 1 + (unsigned)rand_r(&seed) % 1000;
            second += rand_r(&seed) % 10 ? rand_r(&seed) % 3 : rand_r(&seed) % 2000000 - 1000000;
            add(&anchors, offset, second);
        }
        anchors_settle(&anchors);
        for (uint64_t at = 0; at < offset + 2000; at += (unsigned)rand_r(&seed) % 100) {
            int64_t instant = anchors_instant(&anchors, at, &cursor);
            assert_true(instant >= last);
            last = instant;
        }
        anchors_free(&anchors);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_stamps),
        cmocka_unit_test(test_date_jump_is_told),
        cmocka_unit_test(test_random_stamps),
        cmocka_unit_test(test_even),
        cmocka_unit_test(test_jumps),
        cmocka_unit_test(test_two_receivers),
        cmocka_unit_test(test_set_back_for_good),
        cmocka_unit_test(test_few),
        cmocka_unit_test(test_random_anchors),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
