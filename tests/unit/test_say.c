/* test_say.c - words for people and for the system's log. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../logger/say.h"

static const char *said(struct voice voice, enum say_level level, const char *words)
{
    static char text[4000];
    int ends[2];
    assert_int_equal(pipe(ends), 0);
    voice.fd = ends[1];
    say(&voice, level, "%s", words);
    close(ends[1]);
    ssize_t length = read(ends[0], text, sizeof text - 1);
    text[length > 0 ? length : 0] = '\0';
    close(ends[0]);
    return text;
}

static void test_people(void **state)
{
    (void)state;
    const struct voice voice = {-1, SAY_NOTE, false};
    assert_string_equal(said(voice, SAY_ERROR, "x"), "searun-logger: error: x\n");
    assert_string_equal(said(voice, SAY_WARNING, "x"), "searun-logger: warning: x\n");
    assert_string_equal(said(voice, SAY_NOTE, "a\nb\x1B[2J"), "searun-logger: a?b?[2J\n");
    assert_string_equal(said((struct voice){-1, SAY_WARNING, false}, SAY_NOTE, "x"), "");
}

/* Levels are those of syslog(3); words cannot forge one. */
static void test_log(void **state)
{
    (void)state;
    const struct voice voice = {-1, SAY_NOTE, true};
    assert_string_equal(said(voice, SAY_ERROR, "x"), "<3>error: x\n");
    assert_string_equal(said(voice, SAY_WARNING, "x"), "<4>warning: x\n");
    assert_string_equal(said(voice, SAY_NOTE, "x\n<0>y"), "<6>x?<0>y\n");
}

static void test_journal_is_noticed(void **state)
{
    (void)state;
    char stream[64];
    int ends[2];
    struct stat about;
    assert_int_equal(pipe(ends), 0);
    assert_int_equal(fstat(ends[1], &about), 0);
    unsetenv("JOURNAL_STREAM");
    assert_false(say_is_journal(ends[1]));
    snprintf(stream, sizeof stream, "%ju:%ju", (uintmax_t)about.st_dev, (uintmax_t)about.st_ino);
    setenv("JOURNAL_STREAM", stream, 1);
    assert_true(say_is_journal(ends[1]));
    assert_false(say_is_journal(-1));
    snprintf(stream, sizeof stream, "%ju:%ju", (uintmax_t)about.st_dev,
             (uintmax_t)about.st_ino + 1);
    setenv("JOURNAL_STREAM", stream, 1);
    assert_false(say_is_journal(ends[1]));
    setenv("JOURNAL_STREAM", "nonsense", 1);
    assert_false(say_is_journal(ends[1]));
    close(ends[0]);
    close(ends[1]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_people),
        cmocka_unit_test(test_log),
        cmocka_unit_test(test_journal_is_noticed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
