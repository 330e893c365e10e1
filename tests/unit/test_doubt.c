/* Runs that cannot stand for one engine before and after a service: the finding is withheld, in
 * every output, and says what to do. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "../../analyze/chart.h"
#include "../../analyze/doubt.h"
#include "../../analyze/report.h"
#include "../../analyze/text.h"
#include "made_answer.h"

static void set(struct answer *answer, size_t run, enum fact_section section, int engine,
                const char *key, const char *value)
{
    struct complaint complaint = {""};
    if (facts_set(answer->runs[run].facts, section, engine, key, value, &complaint))
        fail_msg("%s", complaint.text);
}

/* Makes an answer; free with made_free. */
static void fresh(struct answer *answer, int engines)
{
    made_answer(answer, engines);
    snprintf(answer->runs[0].run_id, sizeof answer->runs[0].run_id, "one");
    snprintf(answer->runs[1].run_id, sizeof answer->runs[1].run_id, "two");
}

static void is_withheld(const struct engine_answer *engine, const char *key, const char *words)
{
    assert_non_null(engine->doubt.key);
    assert_string_equal(engine->doubt.key, key);
    assert_true(doubt_withholds(engine));
    assert_int_equal(engine->finding, FINDING_CANNOT_BE_SHOWN);
    for (size_t b = 0; b < engine->band_count; b++)
        assert_int_equal(engine->bands[b].finding, FINDING_CANNOT_BE_SHOWN);
    assert_int_equal(engine->hint_count, 0);
    if (strstr(engine->sentence, words) == NULL)
        fail_msg("\"%s\" is missing in: %s", words, engine->sentence);
    assert_true(strlen(engine->next) > 20);
}

static void is_untouched(const struct engine_answer *engine)
{
    assert_null(engine->doubt.key);
    assert_false(doubt_withholds(engine));
    assert_int_equal(engine->finding, FINDING_LOWERED);
}

/* --- what counts */

static void one_boat_in_order_is_no_doubt(void **state)
{
    (void)state;
    struct answer answer;
    fresh(&answer, 1);
    doubt_look(&answer, false);
    is_untouched(&answer.engines[0]);
    made_free(&answer);
}

/* Facts of two runs and what follows; NULL: nothing does. */
static const struct fact_case {
    enum fact_section section;
    const char *first[2], *second[2]; /* key and value of run 0 and run 1 */
    const char *also;                 /* key on which both agree on "X1" */
    const char *key, *words;
} fact_cases[] = {
    {FACT_BOAT, {"name", "Tern's Reach"}, {"name", "tern\u2019s  reach"}, NULL, NULL, NULL},
    {FACT_BOAT,
     {"name", "Tern's Reach"},
     {"name", "Two Sisters"},
     NULL,
     "boats_differ",
     "by their name: \"Tern's Reach\" in before.h5, \"Two Sisters\" in after.h5"},
    {FACT_BOAT,
     {"name", "Tern's Reach"},
     {"name", "Two Sisters"},
     "identification",
     NULL,
     NULL}, /* renamed */
    {FACT_BOAT, {"identification", "SK 41"}, {"identification", "sk-41"}, NULL, NULL, NULL},
    {FACT_BOAT,
     {"identification", "SK 41"},
     {"identification", "SK 14"},
     NULL,
     "boats_differ",
     "by their hull identification"},
    {FACT_BOAT,
     {"identification", "SK 41"},
     {"port", "Skerrow"},
     NULL,
     NULL,
     NULL}, /* not told is no difference */
    {FACT_ENGINE,
     {"serial", "C6-1187"},
     {"serial", "C6-1188"},
     NULL,
     "engine_differs",
     "by their serial number"},
    {FACT_ENGINE,
     {"model", "Corrigal 6-230"},
     {"model", "Corrigal 4-110"},
     NULL,
     "engine_differs",
     "by their model"},
    {FACT_ENGINE, {"model", "Corrigal 6-230"}, {"model", "Corrigal 6-230 M"}, "serial", NULL, NULL},
    {FACT_ENGINE,
     {"coolant", "glycol"},
     {"coolant", "glycol, renewed"},
     NULL,
     NULL,
     NULL}, /* part of the work */
    {FACT_RUN,
     {"purpose", "after service"},
     {"purpose", "other"},
     NULL,
     "sides_swapped",
     "before.h5 is given as a run before the service, but was recorded as one after it"},
    {FACT_RUN,
     {"purpose", "other"},
     {"purpose", "before service"},
     NULL,
     "sides_swapped",
     "after.h5 is given as a run after"},
    {FACT_RUN, {"purpose", "other"}, {"purpose", "other"}, NULL, NULL, NULL},
};

static void facts_that_differ_withhold(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof fact_cases / sizeof fact_cases[0]; i++) {
        const struct fact_case *c = &fact_cases[i];
        struct answer answer;
        fresh(&answer, 1);
        set(&answer, 0, c->section, 0, c->first[0], c->first[1]);
        set(&answer, 1, c->section, 0, c->second[0], c->second[1]);
        for (size_t r = 0; r < 2 && c->also; r++)
            set(&answer, r, c->section, 0, c->also, "X1");
        doubt_look(&answer, false);
        print_message("%s \"%s\" and %s \"%s\": %s\n", c->first[0], c->first[1], c->second[0],
                      c->second[1], c->key ? c->key : "compared");
        if (c->key)
            is_withheld(&answer.engines[0], c->key, c->words);
        else
            is_untouched(&answer.engines[0]);
        made_free(&answer);
    }
}

static void only_the_engine_in_doubt_is_withheld(void **state)
{
    (void)state;
    struct answer answer;
    fresh(&answer, 2);
    set(&answer, 0, FACT_ENGINE, 1, "serial", "S1");
    set(&answer, 1, FACT_ENGINE, 1, "serial", "S2");
    doubt_look(&answer, false);
    is_untouched(&answer.engines[0]);
    is_withheld(&answer.engines[1], "engine_differs", "\"S1\"");
    made_free(&answer);
}

static void one_recording_on_both_sides(void **state)
{
    (void)state;
    struct answer answer;
    fresh(&answer, 1);
    snprintf(answer.runs[1].run_id, sizeof answer.runs[1].run_id, "one");
    doubt_look(&answer, true); /* nobody can vouch for that */
    is_withheld(&answer.engines[0], "same_run", "the same recording");
    made_free(&answer);
    fresh(&answer, 1);
    memcpy(answer.runs[1].sha256, answer.runs[0].sha256, 64);
    doubt_look(&answer, false);
    is_withheld(&answer.engines[0], "same_run", "the same recording");
    made_free(&answer);
}

static void dates_in_the_wrong_order(void **state)
{
    (void)state;
    struct answer answer;
    fresh(&answer, 1);
    answer.runs[0].start_unix_us = answer.runs[1].start_unix_us + INT64_C(45) * 86400 * 1000000;
    doubt_look(&answer, false);
    is_withheld(&answer.engines[0], "order", "recorded 45\u00a0days later than after.h5");
    assert_non_null(strstr(answer.engines[0].next, "--as-given"));
    answer.engines[0].finding = FINDING_LOWERED;
    snprintf(answer.runs[0].clock, sizeof answer.runs[0].clock, "nominal");
    doubt_look(&answer, false);
    is_untouched(&answer.engines[0]); /* a date that is none speaks for nothing */
    made_free(&answer);
}

/* --- what the reader sees */

static void render(struct answer *answer, enum report_extent extent, struct text *out)
{
    static const struct style si = {UNITS_SI, false};
    struct drawing_list drawings = {0};
    struct document document = {0};
    assert_int_equal(charts_plan(answer, &si, &drawings, NULL), STATUS_OK);
    struct report_input input = {
        .extent = extent, .answer = answer, .style = &si, .drawings = &drawings, .command = "x"};
    assert_int_equal(report_build(&input, &document, NULL), STATUS_OK);
    report_text(out, &document, &drawings, NULL, false);
    assert_false(out->failed);
    document_free(&document);
    charts_free(&drawings);
}

static void the_report_withholds_verdict_and_key_figure(void **state)
{
    (void)state;
    struct answer answer;
    struct text text = {0};
    fresh(&answer, 1);
    set(&answer, 1, FACT_BOAT, 0, "name", "Two Sisters");
    doubt_look(&answer, false);
    render(&answer, REPORT_SUMMARY, &text);
    assert_non_null(strstr(text_string(&text), "Cannot be shown with these runs"));
    assert_non_null(strstr(text_string(&text), "Nothing can be concluded about a service"));
    assert_non_null(strstr(text_string(&text), "What to do: Check that the right files"));
    assert_non_null(strstr(text_string(&text), "Tern's Reach / Two Sisters, Skerrow Harbour"));
    assert_non_null(strstr(text_string(&text), "Changes are between the runs as they were given"));
    assert_null(strstr(text_string(&text), "lowered"));
    assert_null(strstr(text_string(&text), "cooled better"));
    assert_null(strstr(text_string(&text), "Change of coolant temperature at"));
    text_free(&text);
    made_free(&answer);
}

static void somebody_may_vouch_and_the_report_says_so(void **state)
{
    (void)state;
    struct answer answer;
    struct text text = {0};
    fresh(&answer, 1);
    set(&answer, 1, FACT_BOAT, 0, "name", "Two Sisters");
    doubt_look(&answer, true);
    assert_false(doubt_withholds(&answer.engines[0]));
    assert_int_equal(answer.engines[0].finding, FINDING_LOWERED);
    render(&answer, REPORT_SUMMARY, &text);
    assert_non_null(strstr(text_string(&text), "Coolant temperature lowered"));
    assert_non_null(strstr(text_string(&text), "Taken as given: the runs are of different boats"));
    text_free(&text);
    made_free(&answer);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_boat_in_order_is_no_doubt),
        cmocka_unit_test(facts_that_differ_withhold),
        cmocka_unit_test(only_the_engine_in_doubt_is_withheld),
        cmocka_unit_test(one_recording_on_both_sides),
        cmocka_unit_test(dates_in_the_wrong_order),
        cmocka_unit_test(the_report_withholds_verdict_and_key_figure),
        cmocka_unit_test(somebody_may_vouch_and_the_report_says_so),
    };
    return cmocka_run_group_tests_name("doubt", tests, NULL, NULL);
}
