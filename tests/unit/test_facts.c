/* test_facts.c - facts that people enter. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "facts.h"

static enum status set(struct facts *facts, enum fact_section section, int engine, const char *key,
                       const char *value)
{
    struct complaint complaint = {""};
    enum status status = facts_set(facts, section, engine, key, value, &complaint);
    assert_true((status == STATUS_OK) == (complaint.text[0] == '\0'));
    return status;
}

static void refused(enum fact_section section, const char *key, const char *value,
                    const char *words)
{
    struct facts facts = {0};
    struct complaint complaint = {""};
    assert_int_equal(facts_set(&facts, section, 0, key, value, &complaint), STATUS_BAD_USAGE);
    if (!strstr(complaint.text, words))
        fail_msg("\"%s\" is not in \"%s\"", words, complaint.text);
    assert_int_equal(facts.count, 0);
    facts_free(&facts);
}

static void the_rows_are_sound(void **state)
{
    (void)state;
    assert_true(fact_row_count > 20);
    for (size_t i = 0; i < fact_row_count; i++) {
        const struct fact_row *row = &fact_rows[i];
        assert_true(row->key[0] && row->title[0] && row->help[0]);
        assert_ptr_equal(fact_row_find(row->section, row->key), row);
    }
    assert_null(fact_row_find(FACT_BOAT, "no_such_fact"));
}

static void keeps_replaces_and_forgets(void **state)
{
    (void)state;
    struct facts facts = {0};
    assert_string_equal(facts_get(&facts, FACT_BOAT, 0, "name"), "");
    assert_int_equal(set(&facts, FACT_BOAT, 0, "name", "Two Sisters"), STATUS_OK);
    assert_int_equal(set(&facts, FACT_BOAT, 7, "name", "Tern's Reach"), STATUS_OK);
    assert_string_equal(facts_get(&facts, FACT_BOAT, 3, "name"), "Tern's Reach");
    assert_int_equal(facts.count, 1);
    assert_int_equal(set(&facts, FACT_BOAT, 0, "port", "Skerrow Harbour"), STATUS_OK);
    assert_int_equal(set(&facts, FACT_BOAT, 0, "name", "  "), STATUS_OK);
    assert_int_equal(facts.count, 1);
    assert_string_equal(facts_get(&facts, FACT_BOAT, 0, "name"), "");
    assert_string_equal(facts_get(&facts, FACT_BOAT, 0, "port"), "Skerrow Harbour");
    facts_free(&facts);
    assert_int_equal(facts.count, 0);
}

static void engines_are_kept_apart(void **state)
{
    (void)state;
    struct facts facts = {0};
    double start, full, rpm;
    set(&facts, FACT_ENGINE, 0, "thermostat", "71, 82");
    set(&facts, FACT_ENGINE, 1, "thermostat", " 76.5,88 ");
    set(&facts, FACT_ENGINE, 1, "rated_rpm", "2800");
    assert_true(facts_pair(&facts, 1, "thermostat", &start, &full));
    assert_true(start == 76.5 && full == 88.0);
    assert_true(facts_pair(&facts, 0, "thermostat", &start, &full));
    assert_true(start == 71.0 && full == 82.0);
    assert_true(facts_number(&facts, 1, "rated_rpm", &rpm));
    assert_true(rpm == 2800.0);
    assert_false(facts_number(&facts, 0, "rated_rpm", &rpm));
    assert_true(rpm == 2800.0);
    facts_free(&facts);
}

static void defaults_are_given(void **state)
{
    (void)state;
    struct facts facts = {0};
    assert_string_equal(facts_get(&facts, FACT_RUN, 0, "purpose"), "other");
    assert_string_equal(facts_get(&facts, FACT_RUN, 0, "no_such_fact"), "");
    assert_int_equal(set(&facts, FACT_RUN, 0, "purpose", "before"), STATUS_OK);
    assert_string_equal(facts_get(&facts, FACT_RUN, 0, "purpose"), "before service");
    assert_int_equal(set(&facts, FACT_RUN, 0, "purpose", "After Service"), STATUS_OK);
    assert_string_equal(facts_get(&facts, FACT_RUN, 0, "purpose"), "after service");
    facts_free(&facts);
}

static void kept_as(enum fact_section section, const char *key, const char *value, const char *kept)
{
    struct facts facts = {0};
    assert_int_equal(set(&facts, section, 0, key, value), STATUS_OK);
    assert_string_equal(facts_get(&facts, section, 0, key), kept);
    facts_free(&facts);
}

/* degF to degC by (F - 32)/1.8 (NIST SP 811, appendix B.8); 160 degF is 71.11 degC, 212 is 100. */
static void fahrenheit_is_taken(void **state)
{
    (void)state;
    kept_as(FACT_ENGINE, "thermostat", "160F,180F", "71.11,82.22");
    kept_as(FACT_ENGINE, "thermostat", "160, 180 F", "71.11,82.22");
    kept_as(FACT_ENGINE, "thermostat",
            "71,180\xC2\xB0"
            "F",
            "21.67,82.22");
    kept_as(FACT_ENGINE, "thermostat", "71C,180F", "71,82.22");
    kept_as(FACT_ENGINE, "thermostat", "71,82", "71,82");
    kept_as(FACT_ENGINE, "alarm", "212 degF", "100");
    kept_as(FACT_ENGINE, "alarm",
            "98 \xC2\xB0"
            "C",
            "98");
    kept_as(FACT_ENGINE, "thermostat_uncertainty", "1.8F", "1");
    kept_as(FACT_RUN, "sea_temperature", "32F", "0");
}

static void refuses_with_words_that_help(void **state)
{
    (void)state;
    refused(FACT_RUN, "purpose", "during", "before service, after service, or other");
    refused(FACT_ENGINE, "rated_rpm", "2800 rpm", "without a unit");
    refused(FACT_ENGINE, "rated_rpm", "28,5", "decimal point");
    refused(FACT_ENGINE, "rated_rpm", "nan", "plain number");
    refused(FACT_ENGINE, "rated_rpm", "inf", "plain number");
    refused(FACT_ENGINE, "rated_rpm", "0x100", "plain number");
    refused(FACT_ENGINE, "rated_rpm", "1e999", "plain number");
    refused(FACT_ENGINE, "rated_rpm", "28000", "between 100 and 12000");
    refused(FACT_ENGINE, "thermostat", "71", "two numbers");
    refused(FACT_ENGINE, "thermostat", "71;82", "two numbers");
    refused(FACT_ENGINE, "thermostat", "71,82,93", "two numbers");
    refused(FACT_ENGINE, "thermostat", "82,71", "below the second");
    refused(FACT_ENGINE, "thermostat", "160,180", "between 0 and 150");
    refused(FACT_ENGINE, "thermostat", "160,180", "82, or with an F: 160F, 180F)");
    refused(FACT_ENGINE, "thermostat", "160F,180X", "two numbers");
    refused(FACT_ENGINE, "thermostat", "160F", "two numbers");
    refused(FACT_ENGINE, "thermostat", "160F,71C", "below the second");
    refused(FACT_ENGINE, "alarm", "500F", "between 0 and 200");
    refused(FACT_ENGINE, "alarm", "200 FF", "plain number");
    refused(FACT_ENGINE, "rated_rpm", "2800F", "without a unit");
    refused(FACT_BOAT, "colour", "grey", "colour");
}

static void refuses_engine_numbers_out_of_range(void **state)
{
    (void)state;
    struct facts facts = {0};
    assert_int_equal(set(&facts, FACT_ENGINE, -1, "label", "port"), STATUS_BAD_USAGE);
    assert_int_equal(set(&facts, FACT_ENGINE, 253, "label", "port"), STATUS_BAD_USAGE);
    assert_int_equal(set(&facts, FACT_ENGINE, 252, "label", "port"), STATUS_OK);
    facts_free(&facts);
}

/* Well-formed and ill-formed sequences after RFC 3629 and the Unicode Standard, table 3-7. */
static void text_is_utf8(void **state)
{
    (void)state;
    static const char *const good[] = {"Łódź \"quoted\" 'single'\nnext\tline",
                                       "\xC2\x80",
                                       "\xE0\xA0\x80",
                                       "\xED\x9F\xBF",
                                       "\xEF\xBF\xBF",
                                       "\xF0\x90\x80\x80",
                                       "\xF4\x8F\xBF\xBF"};
    static const char *const bad[] = {"\x80",
                                      "\xC0\xAF",
                                      "\xC1\xBF",
                                      "\xE0\x9F\xBF",
                                      "\xED\xA0\x80",
                                      "\xF0\x8F\xBF\xBF",
                                      "\xF4\x90\x80\x80",
                                      "\xF5\x80\x80\x80",
                                      "caf\xE9",
                                      "\xE2\x82",
                                      "\xC2",
                                      "\xFF"};
    struct facts facts = {0};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        assert_int_equal(set(&facts, FACT_RUN, 0, "notes", good[i]), STATUS_OK);
        assert_string_equal(facts_get(&facts, FACT_RUN, 0, "notes"), good[i]);
    }
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        refused(FACT_RUN, "notes", bad[i], "UTF-8");
    facts_free(&facts);
}

static void long_text_is_refused(void **state)
{
    (void)state;
    struct facts facts = {0};
    char *text = malloc(FACT_VALUE_MAX + 2);
    memset(text, 'n', FACT_VALUE_MAX + 1);
    text[FACT_VALUE_MAX + 1] = '\0';
    refused(FACT_RUN, "notes", text, "shorten");
    text[FACT_VALUE_MAX] = '\0';
    assert_int_equal(set(&facts, FACT_RUN, 0, "notes", text), STATUS_OK);
    free(text);
    facts_free(&facts);
}

static void pairs_are_read_strictly(void **state)
{
    (void)state;
    double a = -1, b = -1;
    assert_true(pair_parse("71,82", &a, &b) && a == 71 && b == 82);
    assert_true(pair_parse(" 71 , 8.2e1 ", &a, &b) && a == 71 && b == 82);
    assert_true(pair_parse("-1,+2.5", &a, &b) && a == -1 && b == 2.5);
    assert_false(pair_parse("", &a, &b));
    assert_false(pair_parse(",", &a, &b));
    assert_false(pair_parse("71,", &a, &b));
    assert_false(pair_parse("71 82", &a, &b));
    assert_false(pair_parse("71,82C", &a, &b));
    assert_false(pair_parse("nan,1", &a, &b));
    assert_false(pair_parse("1e400,1", &a, &b));
    assert_true(a == -1 && b == 2.5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_rows_are_sound),
        cmocka_unit_test(keeps_replaces_and_forgets),
        cmocka_unit_test(engines_are_kept_apart),
        cmocka_unit_test(defaults_are_given),
        cmocka_unit_test(fahrenheit_is_taken),
        cmocka_unit_test(refuses_with_words_that_help),
        cmocka_unit_test(refuses_engine_numbers_out_of_range),
        cmocka_unit_test(text_is_utf8),
        cmocka_unit_test(long_text_is_refused),
        cmocka_unit_test(pairs_are_read_strictly),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
