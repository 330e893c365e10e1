/* The words of a finding: what weakens the key figure stands in them. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "../../analyze/finding.h"
#include "made_answer.h"

static const struct style si = {UNITS_SI, false}, us = {UNITS_US, false};

/* An engine of the made answer whose key speed was held twice on each side. */
struct made {
    struct answer answer;
    struct engine_answer *engine;
    struct evidence evidence;
    struct finding_context context;
};

static void start(struct made *made)
{
    memset(made, 0, sizeof *made);
    made_answer(&made->answer, 1);
    made->engine = &made->answer.engines[0];
    made->context = (struct finding_context){
        .level = 0.95, .reference_sea = 18.1, .evidence = &made->evidence, .load_u = 0.02};
    made->engine->key_band = 5;
    for (int side = 0; side < SIDE_COUNT; side++)
        made->engine->bands[5].side[side].holds = 2;
}

static void has(const char *text, const char *part)
{
    if (strstr(text, part) == NULL)
        fail_msg("\"%s\" is missing in: %s", part, text);
}

static void hasnt(const char *text, const char *part)
{
    if (strstr(text, part) != NULL)
        fail_msg("\"%s\" stands in: %s", part, text);
}

static void sound_holds_need_no_word(void **state)
{
    (void)state;
    struct made made;
    start(&made);
    finding_say(made.engine, &made.context);
    has(made.engine->sentence, "cooled better");
    hasnt(made.engine->sentence, "rests on");
    hasnt(made.engine->sentence, "a minute");
    assert_string_equal(made.engine->next, "");
    made_free(&made.answer);
}

static void an_interval_is_explained_on_request(void **state)
{
    (void)state;
    struct made made;
    char words[1400];
    start(&made);
    assert_true(finding_sentence(made.engine, 0.95, 18.1, &si, true, words, sizeof words));
    has(words, "K: 95 of 100 such ranges hold the truth). With the thermostat");
    assert_true(finding_sentence(made.engine, 0.9975, 18.1, &si, true, words, sizeof words));
    has(words, "K: 99.75 of 100");
    hasnt(made.engine->sentence, "such ranges");
    made_free(&made.answer);
}

static void single_holds_are_told(void **state)
{
    (void)state;
    struct made made;
    start(&made);
    made.engine->bands[5].side[SIDE_AFTER].holds = 1;
    finding_say(made.engine, &made.context);
    has(made.engine->sentence, "rests on one hold of this speed after.");
    made.engine->bands[5].side[SIDE_BEFORE].holds = 1;
    finding_say(made.engine, &made.context);
    has(made.engine->sentence, "rests on one hold of this speed on each side.");
    has(made.engine->next, "Hold 2800\u00a0rpm twice in each run, up the ladder and down again.");
    made_free(&made.answer);
}

/* 0.0202 K/s is 1.21 K/min, 2.2 degF a minute. */
static void a_drifting_hold_is_told(void **state)
{
    (void)state;
    struct made made;
    char words[1200];
    start(&made);
    made.engine->holds[5].coolant_slope = 0.0202;
    finding_say(made.engine, &made.context);
    has(made.engine->sentence,
        "In one hold before the coolant was still rising by 1.2\u00a0K a minute");
    has(made.engine->next, "for 7 minutes or more");
    assert_true(finding_sentence(made.engine, 0.95, 18.1, &us, false, words, sizeof words));
    has(words, "rising by 2.2\u00a0°F a minute");
    made.engine->holds[5].coolant_slope = 0;
    made.engine->holds[0].coolant_slope = 0.0202; /* of another speed */
    assert_true(finding_sentence(made.engine, 0.95, 18.1, &si, false, words, sizeof words));
    hasnt(words, "a minute");
    made_free(&made.answer);
}

static void a_load_that_is_assumed_is_told(void **state)
{
    (void)state;
    struct made made;
    start(&made);
    finding_say(made.engine, &made.context);
    has(made.engine->sentence, "takes for granted that the load at equal speed was alike");
    made.engine->finding = FINDING_NO_CHANGE_SHOWN; /* a propeller may have hidden one */
    finding_say(made.engine, &made.context);
    has(made.engine->sentence, "takes for granted that the load at equal speed was alike");
    made.engine->finding = FINDING_LOWERED;
    made.engine->load_from = "runs"; /* they tell of days, not of what came with the service */
    finding_say(made.engine, &made.context);
    has(made.engine->sentence, "for granted that the load did not change along with the service");
    made.engine->load_from = "fuel_rate";
    finding_say(made.engine, &made.context);
    hasnt(made.engine->sentence, "for granted");
    made.engine->load_from = "assumed";
    made.engine->control_ratio = (struct interval){1, 0.9, 1.1}; /* cancels */
    finding_say(made.engine, &made.context);
    hasnt(made.engine->sentence, "for granted");
    made_free(&made.answer);
}

/* What is known to differ is not taken to be alike. */
static void another_propeller_is_no_equal_load(void **state)
{
    (void)state;
    struct made made;
    start(&made);
    made.engine->propeller_changed = true;
    static const char *const from[] = {"assumed", "runs"};
    for (size_t i = 0; i < 2; i++) {
        made.engine->load_from = from[i];
        finding_say(made.engine, &made.context);
        has(made.engine->sentence, "The runs name different propellers, so the load at equal speed "
                                   "was hardly the same.");
        has(made.engine->sentence, "if it differed by more than 5 %");
        hasnt(made.engine->sentence, "takes for granted");
    }
    made.engine->load_from = "fuel_rate"; /* which tells it */
    finding_say(made.engine, &made.context);
    hasnt(made.engine->sentence, "propellers");
    made_free(&made.answer);
}

static void no_change_says_what_would_have_shown(void **state)
{
    (void)state;
    struct made made;
    start(&made);
    made.engine->finding = FINDING_NO_CHANGE_SHOWN;
    finding_say(made.engine, &made.context);
    has(made.engine->sentence, "A change within these intervals remains possible; one of 20 % or "
                               "more in the rise with the thermostat wide open would most likely");
    hasnt(made.engine->sentence, "ruled out");
    made_free(&made.answer);
}

/* Without a recorded load 5 % of it may be a propeller: 1/1.05 is 0.952. */
static void claims_survive_a_shift_of_load(void **state)
{
    (void)state;
    const struct interval near = {0.93, 0.90, 0.96}, far = {0.90, 0.87, 0.94};
    const struct interval up = {1.09, 1.06, 1.12}, little_up = {1.06, 1.02, 1.10};
    assert_int_equal(finding_of_ratio(near, 0), FINDING_LOWERED);
    assert_int_equal(finding_of_ratio(near, FINDING_LOAD_SHIFT), FINDING_CANNOT_BE_SHOWN);
    assert_int_equal(finding_of_ratio(far, FINDING_LOAD_SHIFT), FINDING_LOWERED);
    assert_int_equal(finding_of_ratio(up, FINDING_LOAD_SHIFT), FINDING_RAISED);
    assert_int_equal(finding_of_ratio(little_up, FINDING_LOAD_SHIFT), FINDING_CANNOT_BE_SHOWN);
    assert_int_equal(finding_of_ratio((struct interval){NAN, NAN, NAN}, 0),
                     FINDING_CANNOT_BE_SHOWN);
}

static void load_that_is_told_needs_no_guard(void **state)
{
    (void)state;
    struct made made;
    start(&made);
    made.engine->control_ratio = (struct interval){NAN, NAN, NAN};
    made.engine->load_from = "assumed";
    assert_true(finding_load_shift(made.engine) > 0);
    made.engine->load_from = "runs";
    assert_true(finding_load_shift(made.engine) > 0);
    made.engine->load_from = "fuel_rate";
    assert_true(finding_load_shift(made.engine) <= 0);
    made.engine->load_from = "assumed";
    made.engine->control_ratio = (struct interval){1, 0.98, 1.02};
    assert_true(finding_load_shift(made.engine) <= 0);
    made_free(&made.answer);
}

static void a_withheld_claim_says_why(void **state)
{
    (void)state;
    struct made made;
    start(&made);
    made.engine->control_ratio = (struct interval){NAN, NAN, NAN};
    made.engine->load_from = "assumed";
    made.engine->finding = FINDING_CANNOT_BE_SHOWN;
    made.engine->open_rise_ratio = (struct interval){0.93, 0.90, 0.96};
    finding_say(made.engine, &made.context);
    has(made.engine->sentence, "5 % more or less load would do that too");
    has(made.engine->next, "Against ");
    made.engine->open_rise_ratio = (struct interval){0.93, 0.80, 1.10};
    finding_say(made.engine, &made.context);
    hasnt(made.engine->sentence, "more or less load");
    made_free(&made.answer);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sound_holds_need_no_word),
        cmocka_unit_test(an_interval_is_explained_on_request),
        cmocka_unit_test(single_holds_are_told),
        cmocka_unit_test(a_drifting_hold_is_told),
        cmocka_unit_test(a_load_that_is_assumed_is_told),
        cmocka_unit_test(another_propeller_is_no_equal_load),
        cmocka_unit_test(no_change_says_what_would_have_shown),
        cmocka_unit_test(claims_survive_a_shift_of_load),
        cmocka_unit_test(load_that_is_told_needs_no_guard),
        cmocka_unit_test(a_withheld_claim_says_why),
    };
    return cmocka_run_group_tests_name("finding", tests, NULL, NULL);
}
