/* test_advice.c - what usually comes next for an exchanger. The rules themselves (one acid clean
 * about five years in, a new exchanger after 10 to 12 years, oil coolers likewise) are common
 * practice, no source; the tests hold that they are told as such and never against the record. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../../analyze/advice.h"

#define TITLES "date,engine hours,engine,what was done,by,notes\n"
#define MAY_2026 (INT64_C(20587) * 86400 + 36000) /* 2026-05-14 10:00 UTC */

static struct service_log history;

static struct advice advise(const char *lines, struct advice_input input)
{
    static char content[2000];
    struct complaint complaint = {""};
    struct advice advice;
    snprintf(content, sizeof content, TITLES "%s", lines);
    service_log_free(&history);
    if (service_log_parse(content, strlen(content), "log", &history, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    input.log = &history;
    input.label = input.label != NULL ? input.label : "";
    input.condition_words = input.condition_words != NULL ? input.condition_words : "";
    input.exchanger = input.exchanger != NULL ? input.exchanger : "";
    input.coolant = input.coolant != NULL ? input.coolant : "";
    if (input.now == 0)
        input.now = MAY_2026;
    advice_make(&input, &advice);
    return advice;
}

static bool has(const struct advice *advice, const char *words)
{
    for (size_t i = 0; i < advice->count; i++)
        if (strstr(advice->lines[i].text, words) != NULL)
            return true;
    return false;
}

static void demand(const struct advice *advice, const char *words)
{
    if (has(advice, words))
        return;
    for (size_t i = 0; i < advice->count; i++)
        print_message("%s\n", advice->lines[i].text);
    fail_msg("nobody says: %s", words);
}

static const struct advice_input plain = {.hours = NAN};

static void a_clean_comes_about_five_years_in(void **state)
{
    (void)state;
    struct advice advice = advise("2021-05-01,900,,exchanger-replaced,,\n", plain);
    demand(&advice, "fitted new on 2021-05-01, 5 years before the last run.");
    demand(&advice, "Acid cleans: none recorded since it was new.");
    demand(&advice, "that is what usually comes next");
    advice = advise("2024-05-01,900,,exchanger-replaced,,\n", plain);
    demand(&advice, "not there yet");
}

static void never_advises_a_second_clean(void **state)
{
    (void)state;
    struct advice_input input = plain;
    input.condition = ADVICE_COOLS_POORLY;
    input.condition_words = "raised.";
    struct advice advice =
        advise("2018-05-01,900,,exchanger-replaced,,\n2023-04-01,1700,,acid,,\n", input);
    demand(&advice, "Acid cleans: once since it was new, the last on 2023-04-01, 3 years");
    demand(&advice, "not another acid clean");
    demand(&advice, "Condition measured: raised.");
    demand(&advice, "look at it now");
    assert_false(has(&advice, "that is what usually comes next"));
    advice = advise("2022-01-01,,,acid,,\n2023-04-01,1700,,acid,,\n", plain);
    demand(&advice, "Acid cleans: twice in the log");
    demand(&advice, "acid-cleaned twice at least");
}

static void a_new_exchanger_begins_anew(void **state)
{
    (void)state;
    struct advice advice = advise("2018-05-01,,,acid,,\n2019-05-01,,,rodded,,\n"
                                  "2025-05-01,,,exchanger-replaced,,\n",
                                  plain);
    demand(&advice, "Acid cleans: none recorded since it was new.");
    assert_false(has(&advice, "rodded:"));
}

static void an_old_one_is_replaced(void **state)
{
    (void)state;
    struct advice advice = advise("2014-05-01,,,exchanger-replaced,,\n", plain);
    demand(&advice, "about 10 to 12 years, and this one is 12 years old");
    demand(&advice, "what usually comes next is a new one");
    advice = advise("2015-05-01,,,zinc,,\n2020-05-01,,,acid,,\n", plain);
    demand(&advice, "this one is at least 11 years old");
}

static void without_an_age_it_says_so(void **state)
{
    (void)state;
    struct advice_input input = plain;
    input.exchanger = "bronze, from the yard";
    struct advice advice = advise("", input);
    demand(&advice, "Age of the heat exchanger: not recorded. Recorded of it: \"bronze, from the "
                    "yard\".");
    demand(&advice, "Without its age nothing can be said");
    demand(&advice, "Condition: not measured by these runs.");
    demand(&advice, "Nothing is recorded of this one.");
    demand(&advice, "Coolant, kind, mix and volume: not recorded. Last change: not recorded.");
}

static void keeps_engines_and_later_dates_apart(void **state)
{
    (void)state;
    struct advice_input input = plain;
    input.engine = 1;
    input.label = "starboard";
    input.hours = 2500;
    input.coolant = "50 % glycol, 22 L";
    struct advice advice =
        advise("2018-05-01,900,port,acid,,\n2019-05-01,500,1,exchanger-replaced,,\n"
               "2024-05-01,1900,all,coolant,,\"OAT, 50 %\"\n"
               "2024-06-01,,starboard,oil-cooler,,\n2027-01-01,,,acid,,\n",
               input);
    demand(&advice, "fitted new on 2019-05-01, 7 years before the last run (2000 engine hours).");
    demand(&advice, "Acid cleans: none recorded since it was new.");
    demand(&advice,
           "\"50 % glycol, 22 L\". Changed on 2024-05-01, 2 years before the last run (600 "
           "engine hours) (\"OAT, 50 %\").");
    demand(&advice, "cleaned or replaced on 2024-06-01, 23 months");
    demand(&advice, "1 line of the log is dated after the last run and left out here.");
}

static void practice_is_marked_and_the_yard_decides(void **state)
{
    (void)state;
    static const char *const logs[] = {"", "2015-05-01,,,exchanger-replaced,,\n",
                                       "2020-05-01,,,acid,,\n",
                                       "2023-05-01,,,exchanger-replaced,,\n"};
    for (size_t i = 0; i < 4; i++) {
        struct advice advice = advise(logs[i], plain);
        for (size_t l = 0; l < advice.count; l++) {
            const struct advice_line *line = &advice.lines[l];
            bool rests_on_practice =
                strstr(line->text, "usually") != NULL || strstr(line->text, "weakens") != NULL ||
                strstr(line->text, "years in") != NULL || strstr(line->text, "intervals") != NULL;
            assert_int_equal(rests_on_practice, line->kind == ADVICE_PRACTICE);
        }
        assert_int_equal(advice.lines[advice.count - 1].kind, ADVICE_DEFER);
    }
    assert_string_equal(advice_mark(ADVICE_PRACTICE), "Common practice, no source: ");
}

static void long_words_are_cut_at_a_character(void **state)
{
    (void)state;
    struct advice_input input = plain;
    static char words[4000];
    for (size_t i = 0; i + 2 < sizeof words; i += 2)
        memcpy(words + i, "\xC3\xA4", 2);
    input.coolant = words + 1; /* begins in the middle: every even length would split one */
    input.exchanger = words;
    struct advice advice = advise("", input);
    const char *cut = strstr(advice.lines[0].text, "...\".");
    assert_non_null(cut);
    assert_memory_equal(cut - 2, "\xC3\xA4", 2);
}

static int clear(void **state)
{
    (void)state;
    service_log_free(&history);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_clean_comes_about_five_years_in),
        cmocka_unit_test(never_advises_a_second_clean),
        cmocka_unit_test(a_new_exchanger_begins_anew),
        cmocka_unit_test(an_old_one_is_replaced),
        cmocka_unit_test(without_an_age_it_says_so),
        cmocka_unit_test(keeps_engines_and_later_dates_apart),
        cmocka_unit_test(practice_is_marked_and_the_yard_decides),
        cmocka_unit_test(long_words_are_cut_at_a_character),
    };
    return cmocka_run_group_tests(tests, NULL, clear);
}
