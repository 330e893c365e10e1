/* The JSON contract of searun-analyze(1), RESULT. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <cjson/cJSON.h>
#include <math.h>
#include <string.h>

#include "../../analyze/result_json.h"
#include "made_answer.h"

static cJSON *made_json(const struct answer *answer)
{
    struct text text = {0};
    struct complaint complaint = {""};
    assert_int_equal(result_json(answer, "searun-analyze compare", &text, &complaint), STATUS_OK);
    cJSON *root = cJSON_Parse(text_string(&text));
    assert_non_null(root);
    text_free(&text);
    return root;
}

static const cJSON *at(const cJSON *object, const char *key)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, key);
    if (item == NULL)
        fail_msg("the key %s is missing", key);
    return item;
}

static void same_number(const cJSON *object, const char *key, double expected)
{
    assert_true(cJSON_IsNumber(at(object, key)));
    assert_true(fabs(at(object, key)->valuedouble - expected) < 1e-12);
}

static void same_word(const cJSON *object, const char *key, const char *expected)
{
    assert_true(cJSON_IsString(at(object, key)));
    assert_string_equal(at(object, key)->valuestring, expected);
}

static void holds_the_contract(void **state)
{
    (void)state;
    struct answer answer;
    made_answer(&answer, 1);
    cJSON *root = made_json(&answer);
    same_word(root, "format", "searun comparison 1");
    same_number(root, "confidence_level", 0.95);
    same_number(root, "reference_sea_temperature", 18.1);
    assert_int_equal(cJSON_GetArraySize(at(root, "warnings")), 1);
    same_word(cJSON_GetArrayItem(at(root, "warnings"), 0), "key", "load_assumed");
    const cJSON *engine = cJSON_GetArrayItem(at(root, "engines"), 0);
    same_number(engine, "instance", 0);
    same_word(engine, "label", "main");
    same_word(engine, "finding", "lowered");
    same_number(at(engine, "open_rise_ratio"), "value", 0.71);
    same_number(at(engine, "open_rise_ratio"), "low", 0.66);
    assert_true(cJSON_IsNull(at(engine, "control_ratio")));
    assert_int_equal(cJSON_GetArraySize(at(engine, "bands")), 6);
    const cJSON *band = cJSON_GetArrayItem(at(engine, "bands"), 5);
    same_number(band, "rpm", 2800);
    same_number(at(band, "before"), "coolant", 92.0);
    same_number(at(band, "before"), "holds", 2);
    same_number(at(band, "before"), "sea", 17.2);
    same_word(at(band, "before"), "thermostat", "open");
    same_word(at(band, "after"), "thermostat", "in_control");
    same_number(at(band, "change"), "value", -10.8);
    same_word(band, "finding", "lowered");
    const cJSON *missing = cJSON_GetArrayItem(at(engine, "uncompared"), 0);
    same_number(missing, "rpm", 3000);
    same_word(missing, "missing", "after");
    assert_true(strlen(at(missing, "reason")->valuestring) > 0);
    cJSON_Delete(root);
    made_free(&answer);
}

static void tells_what_it_rests_on(void **state)
{
    (void)state;
    struct answer answer;
    made_answer(&answer, 2);
    cJSON *root = made_json(&answer);
    assert_int_equal(cJSON_GetArraySize(at(root, "engines")), 2);
    const cJSON *engine = cJSON_GetArrayItem(at(root, "engines"), 0);
    assert_int_equal(cJSON_GetArraySize(at(engine, "holds")), 16);
    assert_int_equal(cJSON_GetArraySize(at(engine, "budget")), 6);
    same_word(cJSON_GetArrayItem(at(engine, "also_changed"), 0), "channel", "oil_temperature");
    same_word(cJSON_GetArrayItem(at(engine, "also_changed"), 0), "change_unit", "K");
    const cJSON *run = cJSON_GetArrayItem(at(root, "runs"), 0);
    assert_int_equal(strlen(at(run, "sha256")->valuestring), 64);
    same_word(run, "start", "2026-05-14T09:52:00.000000Z");
    assert_true(cJSON_IsTrue(at(run, "closed_cleanly")));
    same_word(root, "command", "searun-analyze compare");
    same_word(at(root, "units"), "change", "K");
    cJSON_Delete(root);
    made_free(&answer);
}

static void unknown_numbers_are_null(void **state)
{
    (void)state;
    struct answer answer;
    made_answer(&answer, 1);
    answer.reference_sea = NAN;
    answer.engines[0].open_rise_ratio = (struct interval){NAN, NAN, NAN};
    answer.engines[0].key_band = BANDS_MAX;
    answer.engines[0].bands[0].change = (struct interval){-1, -INFINITY, INFINITY};
    cJSON *root = made_json(&answer);
    assert_true(cJSON_IsNull(at(root, "reference_sea_temperature")));
    const cJSON *engine = cJSON_GetArrayItem(at(root, "engines"), 0);
    assert_true(cJSON_IsNull(at(engine, "open_rise_ratio")));
    assert_true(cJSON_IsNull(at(engine, "key_band")));
    const cJSON *change = at(cJSON_GetArrayItem(at(engine, "bands"), 0), "change");
    same_number(change, "value", -1);
    assert_true(cJSON_IsNull(at(change, "low")));
    cJSON_Delete(root);
    made_free(&answer);
}

static void hostile_strings_stay_strings(void **state)
{
    (void)state;
    static const char nasty[] = "\"},\"format\":\"x\\u0000\xff\x80\n\x01<b>";
    struct answer answer;
    made_answer(&answer, 1);
    snprintf(answer.engines[0].label, sizeof answer.engines[0].label, "%s", nasty);
    snprintf(answer.runs[0].name, sizeof answer.runs[0].name, "%s", nasty);
    assert_int_equal(facts_set(answer.runs[0].facts, FACT_RUN, 0, "notes", "a\"b\\c", NULL),
                     STATUS_OK);
    cJSON *root = made_json(&answer);
    same_word(root, "format", "searun comparison 1");
    const char *label = at(cJSON_GetArrayItem(at(root, "engines"), 0), "label")->valuestring;
    assert_int_equal(strncmp(label, "\"},\"format\":\"x\\u0000\uFFFD\uFFFD\n\x01<b>", 30), 0);
    cJSON_Delete(root);
    made_free(&answer);
}

static void empty_answers_are_told_too(void **state)
{
    (void)state;
    struct answer answer = {.confidence_level = 0.95, .reference_sea = NAN};
    cJSON *root = made_json(&answer);
    assert_int_equal(cJSON_GetArraySize(at(root, "engines")), 0);
    assert_int_equal(cJSON_GetArraySize(at(root, "warnings")), 0);
    cJSON_Delete(root);
}

static void keys_in_manual(const cJSON *item, const char *page)
{
    for (const cJSON *child = item->child; child != NULL; child = child->next) {
        if (child->string != NULL && strstr(page, child->string) == NULL)
            fail_msg("the key %s is not in analyze/searun-analyze.1", child->string);
        keys_in_manual(child, page);
    }
}

static void manual_page_knows_every_key(void **state)
{
    (void)state;
    static char page[100000];
    struct answer answer;
    FILE *file = fopen("analyze/searun-analyze.1", "r");
    assert_non_null(file);
    page[fread(page, 1, sizeof page - 1, file)] = '\0';
    fclose(file);
    made_answer(&answer, 1);
    answer.engines[0].exchanger_count = answer.engines[0].hint_count = 1;
    answer.engines[0].hints[0].key = "raw_water_weak";
    cJSON *root = made_json(&answer);
    keys_in_manual(root, strstr(page, ".SH RESULT"));
    cJSON_Delete(root);
    made_free(&answer);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(holds_the_contract),
        cmocka_unit_test(tells_what_it_rests_on),
        cmocka_unit_test(unknown_numbers_are_null),
        cmocka_unit_test(hostile_strings_stay_strings),
        cmocka_unit_test(empty_answers_are_told_too),
        cmocka_unit_test(manual_page_knows_every_key),
    };
    return cmocka_run_group_tests_name("json", tests, NULL, NULL);
}
