/* Text from run files must be harmless wherever it goes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../../analyze/text.h"

static void same(struct text *text, const char *expected)
{
    assert_string_equal(text_string(text), expected);
    assert_false(text->failed);
    text_free(text);
}

static void cleans_controls_into_one_space(void **state)
{
    (void)state;
    struct text text = {0};
    text_clean(&text, "a\r\n\tb\x1b[31mc\x7f");
    same(&text, "a b [31mc ");
}

static void cleans_what_turns_the_direction_of_writing(void **state)
{
    (void)state;
    struct text text = {0};
    text_clean(&text, "x\u202eexe\u2066y\u2028z");
    same(&text, "x exe y z");
}

/* A name that is typed another way is the same name; another name is not. */
static void knows_the_same_words(void **state)
{
    (void)state;
    assert_true(text_same_words("Thermostat housing, as fitted", "thermostat-housing as  fitted"));
    assert_true(text_same_words("Tern's Reach", "TERN\u2019S REACH."));
    assert_true(text_same_words("", " - "));
    assert_false(text_same_words("thermostat housing", "thermostat housing 2"));
    assert_false(text_same_words("old sender", "new sender"));
    assert_false(text_same_words("F\u00fchler", "F\u00f6hler"));
}

/* Sequences that RFC 3629 forbids: overlong, surrogate, beyond U+10FFFF, cut short, lone bytes. */
static void replaces_broken_utf8(void **state)
{
    (void)state;
    static const char *const broken[] = {"\xc0\xaf", "\xed\xa0\x80", "\xf4\x90\x80\x80",
                                         "\xe2\x82", "\x80",         "\xff"};
    for (size_t i = 0; i < sizeof broken / sizeof broken[0]; i++) {
        struct text text = {0};
        text_clean(&text, broken[i]);
        assert_int_equal(strncmp(text_string(&text), "\uFFFD", 3), 0);
        assert_null(strstr(text_string(&text), broken[i]));
        text_free(&text);
    }
}

static void keeps_good_utf8(void **state)
{
    (void)state;
    struct text text = {0};
    const char *good = "Tern's Reach ü Ελλάδα 漢字 🚤";
    text_clean(&text, good);
    same(&text, good);
}

static void counts_columns(void **state)
{
    (void)state;
    assert_int_equal(text_columns("abc"), 3);
    assert_int_equal(text_columns("°C −"), 4);
    assert_int_equal(text_columns("漢字"), 4);
    assert_int_equal(text_columns("e\u0301"), 1);
}

static void clips_by_columns(void **state)
{
    (void)state;
    struct text text = {0};
    text_clip(&text, "abcdef", 6);
    same(&text, "abcdef");
    text_clip(&text, "abcdefg", 6);
    same(&text, "abcde…");
    text_clip(&text, "漢字漢字", 5);
    same(&text, "漢字…");
}

static void escapes_html(void **state)
{
    (void)state;
    struct text text = {0};
    text_html(&text, "<script>alert(\"1\")</script> & 'x'");
    same(&text, "&lt;script&gt;alert(&quot;1&quot;)&lt;/script&gt; &amp; &#39;x&#39;");
}

static void escapes_gnuplot(void **state)
{
    (void)state;
    struct text text = {0};
    text_gnuplot(&text, "it's \"`id`\" @x {/Bold y}\n!rm", 100);
    same(&text, "'it’s \"`id`\" @x {/Bold y} !rm'");
}

static void escapes_csv(void **state)
{
    (void)state;
    struct text text = {0};
    text_csv(&text, "plain");
    same(&text, "plain");
    text_csv(&text, "a,\"b\"\nc");
    same(&text, "\"a,\"\"b\"\" c\"");
    text_csv(&text, "=HYPERLINK(\"x\")");
    same(&text, "\"'=HYPERLINK(\"\"x\"\")\"");
}

static void quotes_for_the_shell(void **state)
{
    (void)state;
    struct text text = {0};
    text_shell(&text, "trials/before.h5");
    same(&text, "trials/before.h5");
    text_shell(&text, "Tern's $(reach)");
    same(&text, "'Tern'\\''s $(reach)'");
    text_shell(&text, "a\nb'");
    same(&text, "$'a\\012b\\''");
    text_shell(&text, "");
    same(&text, "''");
}

static void takes_ten_thousand_characters(void **state)
{
    (void)state;
    char *name = malloc(10001);
    assert_non_null(name);
    memset(name, '<', 10000);
    name[10000] = '\0';
    struct text text = {0};
    text_html(&text, name);
    assert_int_equal(text.length, 40000);
    text_free(&text);
    text_gnuplot(&text, name, 40);
    assert_int_equal(text_columns(text_string(&text)), 42);
    text_free(&text);
    free(name);
}

/* Any bytes at all: the result is valid UTF-8 without controls, and HTML without markup. */
static void random_bytes_come_out_clean(void **state)
{
    (void)state;
    unsigned seed = 20260514;
    for (int round = 0; round < 2000; round++) {
        char bytes[64];
        size_t length = 0;
        for (; length < sizeof bytes - 1; length++) {
            seed = seed * 1664525u + 1013904223u;
            bytes[length] = (char)(seed >> 24);
            if (bytes[length] == '\0')
                break;
        }
        bytes[length] = '\0';
        struct text html = {0};
        text_html(&html, bytes);
        for (const char *at = text_string(&html); *at != '\0';) {
            unsigned code;
            size_t taken = text_decode(at, &code);
            if (taken == 1 && (unsigned char)*at >= 0x80)
                fail_msg("seed 20260514 round %d: broken UTF-8", round);
            if (code < ' ' || code == '<' || code == '>' || code == '"' || code == '\'')
                fail_msg("seed 20260514 round %d: U+%04X came through", round, code);
            at += taken;
        }
        text_free(&html);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cleans_controls_into_one_space),
        cmocka_unit_test(cleans_what_turns_the_direction_of_writing),
        cmocka_unit_test(knows_the_same_words),
        cmocka_unit_test(replaces_broken_utf8),
        cmocka_unit_test(keeps_good_utf8),
        cmocka_unit_test(counts_columns),
        cmocka_unit_test(clips_by_columns),
        cmocka_unit_test(escapes_html),
        cmocka_unit_test(escapes_gnuplot),
        cmocka_unit_test(escapes_csv),
        cmocka_unit_test(quotes_for_the_shell),
        cmocka_unit_test(takes_ten_thousand_characters),
        cmocka_unit_test(random_bytes_come_out_clean),
    };
    return cmocka_run_group_tests_name("text", tests, NULL, NULL);
}
