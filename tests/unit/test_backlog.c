/* test_backlog.c - what was heard between runs: kept in order, within its memory, the oldest
 * goes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "../../logger/backlog.h"

static struct backlog *backlog;

static int begin(void **state)
{
    (void)state;
    return backlog_new(65536, &backlog) == STATUS_OK ? 0 : -1;
}

static int end(void **state)
{
    (void)state;
    backlog_free(backlog);
    backlog = NULL;
    return 0;
}

static void put_line(int64_t at, const char *text)
{
    backlog_put(
        backlog,
        &(struct backlog_item){
            .kind = BACKLOG_LINE, .input = 3, .at = at, .bytes = text, .length = strlen(text)});
}

static struct backlog_item take(void)
{
    struct backlog_item item;
    assert_true(backlog_first(backlog, &item));
    return item;
}

static void test_kinds(void **state)
{
    (void)state;
    struct backlog_item item;
    assert_false(backlog_first(backlog, &item));
    put_line(5, "$IIMTW,15.2,C*18");
    backlog_put(
        backlog,
        &(struct backlog_item){
            .kind = BACKLOG_FRAME, .at = 6, .id = 0x89F20001, .data = {1, 2, 3}, .length = 3});
    backlog_put(backlog, &(struct backlog_item){.kind = BACKLOG_GAP,
                                                .input = 1,
                                                .at = 2,
                                                .until = 7,
                                                .count = 9,
                                                .bytes = "unplugged",
                                                .length = 9});
    backlog_put(backlog,
                &(struct backlog_item){
                    .kind = BACKLOG_COUNT, .at = 8, .reason = REASON_REOPENED, .count = 2});
    backlog_put(backlog,
                &(struct backlog_item){
                    .kind = BACKLOG_EVENT, .at = 9, .key = "mark", .bytes = "x", .length = 1});

    item = take();
    assert_int_equal(item.kind, BACKLOG_LINE);
    assert_int_equal(item.input, 3);
    assert_int_equal(item.at, 5);
    assert_int_equal(item.length, 16);
    assert_memory_equal(item.bytes, "$IIMTW,15.2,C*18", 16);
    assert_int_equal(take().at, 5); /* it stays until it is dropped */
    backlog_drop(backlog);
    item = take();
    assert_int_equal(item.kind, BACKLOG_FRAME);
    assert_int_equal(item.id, 0x89F20001);
    assert_int_equal(item.length, 3);
    assert_memory_equal(item.data, "\1\2\3\0\0\0\0\0", 8);
    backlog_drop(backlog);
    item = take();
    assert_int_equal(item.kind, BACKLOG_GAP);
    assert_int_equal(item.until, 7);
    assert_int_equal(item.count, 9);
    assert_string_equal(item.bytes, "unplugged");
    backlog_drop(backlog);
    item = take();
    assert_int_equal(item.kind, BACKLOG_COUNT);
    assert_int_equal(item.reason, REASON_REOPENED);
    assert_int_equal(item.count, 2);
    backlog_drop(backlog);
    item = take();
    assert_int_equal(item.kind, BACKLOG_EVENT);
    assert_string_equal(item.key, "mark");
    assert_string_equal(item.bytes, "x");
    backlog_drop(backlog);
    assert_false(backlog_first(backlog, &item));
}

/* A hundred times more than it holds: the newest are there, in order, without a hole. */
static void test_the_oldest_goes(void **state)
{
    (void)state;
    struct backlog_item item;
    char text[40];
    for (int i = 0; i < 100000; i++) {
        snprintf(text, sizeof text, "line %d", i);
        put_line(i, text);
    }
    int64_t at = take().at;
    assert_true(at > 98000 && at < 99999);
    for (; backlog_first(backlog, &item); at++) {
        assert_int_equal(item.at, at);
        backlog_drop(backlog);
    }
    assert_int_equal(at, 100000);
}

static void test_expire(void **state)
{
    (void)state;
    struct backlog_item item;
    backlog_put(backlog, &(struct backlog_item){
                             .kind = BACKLOG_GAP, .at = 1, .until = 50, .bytes = "x", .length = 1});
    for (int i = 10; i < 60; i++)
        put_line(i, "x");
    backlog_expire(backlog, 30); /* the gap lasts until later */
    assert_int_equal(take().kind, BACKLOG_GAP);
    backlog_drop(backlog);
    backlog_expire(backlog, 30);
    assert_int_equal(take().at, 30);
    backlog_expire(backlog, 1000);
    assert_false(backlog_first(backlog, &item));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_kinds, begin, end),
        cmocka_unit_test_setup_teardown(test_the_oldest_goes, begin, end),
        cmocka_unit_test_setup_teardown(test_expire, begin, end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
