/* test_status.c - words of a complaint. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <errno.h>
#include <string.h>

#include "status.h"

static void writes_words_and_returns_the_status(void **state)
{
    (void)state;
    struct complaint complaint = {"before"};
    assert_int_equal(complain(&complaint, STATUS_IO, "%s: line %d", "boat.ini", 7), STATUS_IO);
    assert_string_equal(complaint.text, "boat.ini: line 7");
}

/* What the system refuses is told with a way out; what is not known to us in its own words. */
static void says_what_to_do(void **state)
{
    (void)state;
    assert_non_null(strstr(status_words(EACCES), "Permission denied; take another place"));
    assert_non_null(strstr(status_words(ENOSPC), "make room"));
    assert_non_null(strstr(status_words(ENOENT), "check the name"));
    assert_string_equal(status_words(EIO), strerror(EIO));
}

static void allows_no_complaint(void **state)
{
    (void)state;
    assert_int_equal(complain(NULL, STATUS_FULL, "%d", 1), STATUS_FULL);
}

static void takes_the_newline_off(void **state)
{
    (void)state;
    struct complaint complaint;
    complain(&complaint, STATUS_IO, "one\ntwo\n\n");
    assert_string_equal(complaint.text, "one\ntwo");
}

static void may_quote_the_complaint_it_replaces(void **state)
{
    (void)state;
    struct complaint complaint = {"inner words"};
    complain(&complaint, STATUS_IO, "outer: %s", complaint.text);
    assert_string_equal(complaint.text, "outer: inner words");
}

/* Whatever the length, the text ends at a whole UTF-8 character: 2, 3 and 4 bytes long ones. */
static void cuts_at_a_whole_character(void **state)
{
    (void)state;
    static const char *const characters[] = {"x", "\xC2\xB0", "\xE2\x82\xAC", "\xF0\x9F\x9A\xA4"};
    for (size_t kind = 0; kind < 4; kind++) {
        size_t size = strlen(characters[kind]);
        for (size_t shift = 0; shift < 4; shift++) {
            char words[3000] = {0};
            memset(words, 'a', shift);
            for (size_t at = shift; at + size < sizeof words - 4; at += size)
                memcpy(words + at, characters[kind], size);
            struct complaint complaint;
            complain(&complaint, STATUS_IO, "%s", words);
            size_t length = strlen(complaint.text);
            assert_true(length < sizeof complaint.text && length >= sizeof complaint.text - 4);
            assert_int_equal((length - shift) % size, 0);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(writes_words_and_returns_the_status),
        cmocka_unit_test(says_what_to_do),
        cmocka_unit_test(allows_no_complaint),
        cmocka_unit_test(takes_the_newline_off),
        cmocka_unit_test(may_quote_the_complaint_it_replaces),
        cmocka_unit_test(cuts_at_a_whole_character),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
