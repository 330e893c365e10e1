/* test_request.c - what can be asked of a logger at work, and what is refused with which words. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "../../logger/request.h"

static struct request request;
static struct complaint complaint;

static enum status parse(const char *line)
{
    complaint.text[0] = '\0';
    return request_parse(line, strlen(line), &request, &complaint);
}

static void expect(const char *line, enum request_kind kind, const char *key, const char *words)
{
    if (parse(line) != STATUS_OK)
        fail_msg("%s: %s", line, complaint.text);
    assert_int_equal(request.kind, kind);
    assert_string_equal(request.text, words);
    if (key)
        assert_string_equal(request.key, key);
}

static void refuse(const char *line, const char *words)
{
    assert_int_equal(parse(line), STATUS_BAD_USAGE);
    if (!strstr(complaint.text, words))
        fail_msg("%s: expected \"%s\", got \"%s\"", line, words, complaint.text);
}

static void test_requests(void **state)
{
    (void)state;
    expect("mark throttle to 2000", REQUEST_MARK, NULL, "throttle to 2000");
    expect("mark   two  words ", REQUEST_MARK, NULL, "two  words");
    expect("note sea_state=slight", REQUEST_NOTE, "sea_state", "slight");
    expect("note sea_state = slight, 0.3 m", REQUEST_NOTE, "sea_state", "slight, 0.3 m");
    expect("note notes=a=b", REQUEST_NOTE, "notes", "a=b");
    expect("note sea_temperature=15.2", REQUEST_NOTE, "sea_temperature", "15.2");
    expect("purpose before service", REQUEST_PURPOSE, "purpose", "before service");
    expect("purpose after", REQUEST_PURPOSE, "purpose", "after");
    expect("start", REQUEST_START, NULL, "");
    expect("stop ", REQUEST_STOP, NULL, "");
    expect("status", REQUEST_STATUS, NULL, "");
    assert_false(request.json);
    expect("status json", REQUEST_STATUS, NULL, "");
    assert_true(request.json);
    expect("mark \xC3\xA9t\xC3\xA9 \xE2\x86\x92", REQUEST_MARK, NULL,
           "\xC3\xA9t\xC3\xA9 \xE2\x86\x92");
}

static void test_refusals(void **state)
{
    (void)state;
    refuse("", "allowed: mark TEXT");
    refuse("marks x", "not a request");
    refuse("Mark x", "not a request");
    refuse("mark", "the mark is empty");
    refuse("mark    ", "the mark is empty");
    refuse("start now", "nothing may stand behind start");
    refuse("status xml", "only \"json\"");
    refuse("note", "KEY=VALUE is wanted");
    refuse("note sea_state", "KEY=VALUE is wanted");
    refuse("note =x", "KEY=VALUE is wanted");
    refuse("note name=Other boat", "no fact of a run; facts of a run are: purpose, who");
    refuse("note thermostat=71,82", "no fact of a run");
    refuse("note sea_state=", "the sea_state is empty");
    refuse("note sea_temperature=warm", "plain number");
    refuse("note sea_temperature=99", "between");
    refuse("note purpose=fun", "before service, after service");
    refuse("purpose fun", "before service, after service");
}

/* Line ends, cursor and bell controls, C1 controls, what turns the direction of writing, what is no
 * UTF-8 (RFC 3629: overlong, surrogate, beyond the last character, cut short). */
static void test_hostile_texts(void **state)
{
    (void)state;
    static const char *const controls[] = {
        "mark a\nb",
        "mark a\rb",
        "mark \x1B[2J",
        "mark \a",
        "mark a\x7F",
        "mark \xC2\x9B"
        "31m",
        "mark \xE2\x80\xAE"
        "x",
        "mark \xE2\x81\xA6x",
        "mark \xE2\x80\xA8",
        "mark a\tb",
        "note notes=a\nb",
        "mark \xD8\x9C",
    };
    static const char *const broken[] = {"mark \xFF", "mark \xC0\xAF", "mark \xED\xA0\x80",
                                         "mark \xF4\x90\x80\x80", "mark \xE2\x82"};
    for (size_t i = 0; i < sizeof controls / sizeof controls[0]; i++)
        refuse(controls[i], "control character");
    for (size_t i = 0; i < sizeof broken / sizeof broken[0]; i++)
        refuse(broken[i], "not UTF-8");
    assert_int_equal(request_parse("mark a\0b", 8, &request, &complaint), STATUS_BAD_USAGE);
    assert_non_null(strstr(complaint.text, "NUL"));
}

static void test_bounds(void **state)
{
    (void)state;
    char line[11000];
    snprintf(line, sizeof line, "mark %0*d", REQUEST_TEXT_MAX, 7);
    assert_int_equal(parse(line), STATUS_OK);
    assert_int_equal(strlen(request.text), REQUEST_TEXT_MAX);
    snprintf(line, sizeof line, "mark %0*d", REQUEST_TEXT_MAX + 1, 7);
    refuse(line, "201 bytes long; at most 200");
    snprintf(line, sizeof line, "mark %010000d", 7);
    refuse(line, "longer than 1024 bytes");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_requests),
        cmocka_unit_test(test_refusals),
        cmocka_unit_test(test_hostile_texts),
        cmocka_unit_test(test_bounds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
