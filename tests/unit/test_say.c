/* test_say.c - words for people and for the system's log. */
#include <fcntl.h>
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
    const struct voice voice = {.fd = -1, .least = SAY_NOTE};
    assert_string_equal(said(voice, SAY_ERROR, "x"), "searun-logger: error: x\n");
    assert_string_equal(said(voice, SAY_WARNING, "x"), "searun-logger: warning: x\n");
    assert_string_equal(said(voice, SAY_NOTE, "a\nb\x1B[2J"), "searun-logger: a?b?[2J\n");
    assert_string_equal(said((struct voice){.fd = -1, .least = SAY_WARNING}, SAY_NOTE, "x"), "");
}

/* Levels are those of syslog(3); words cannot forge one. */
static void test_log(void **state)
{
    (void)state;
    const struct voice voice = {.fd = -1, .least = SAY_NOTE, .levels = true};
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

/* A logger at work does not wait for a terminal that nobody reads: the recording goes on, and what
 * was not shown is counted. */
static void test_nobody_reads(void **state)
{
    (void)state;
    atomic_uint unsaid = 0;
    int ends[2];
    static char text[1 << 17];
    assert_int_equal(pipe(ends), 0);
    const struct voice voice = {.fd = ends[1], .least = SAY_NOTE, .unsaid = &unsaid};
    for (int i = 0; i < 10000; i++)
        say(&voice, SAY_NOTE, "the same again and again");
    unsigned lost = atomic_load(&unsaid);
    assert_in_range(lost, 1, 9999);
    ssize_t length = read(ends[0], text, sizeof text - 1);
    assert_int_equal(text[length - 1], '\n'); /* no line was cut */
    say(&voice, SAY_NOTE, "now");
    length = read(ends[0], text, sizeof text - 1);
    text[length] = '\0';
    char expected[128];
    snprintf(expected, sizeof expected,
             "searun-logger: warning: %u messages could not be shown: nothing took them\n"
             "searun-logger: now\n",
             lost);
    assert_string_equal(text, expected);
    assert_int_equal(atomic_load(&unsaid), 0);
    close(ends[1]);
    close(ends[0]);
    int gone = open("/dev/null", O_RDONLY); /* refuses: must not stop anything */
    const struct voice none = {.fd = gone, .least = SAY_NOTE, .unsaid = &unsaid};
    say(&none, SAY_NOTE, "x");
    close(gone);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_people),
        cmocka_unit_test(test_log),
        cmocka_unit_test(test_nobody_reads),
        cmocka_unit_test(test_journal_is_noticed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
