/* test_outing.c - what one run says of each engine, and its way through JSON and back. */
#include "run_support.h"

#include <math.h>

#include "../../analyze/outing.h"
#include "near.h"

/* Three speeds of six minutes after a cold start, hour meter and sea. */
static const char *record(const char *name, bool hours)
{
    static const double speeds[] = {1500, 2200, 2800}, coolant[] = {75, 79, 84};
    struct facts facts = {0};
    struct complaint complaint = {""};
    facts_set(&facts, FACT_BOAT, 0, "name", "Tern's Reach", &complaint);
    facts_set(&facts, FACT_ENGINE, 0, "thermostat", "71,82", &complaint);
    const char *path = in_folder(name);
    struct run_writer *run = begin_with(path, &facts, &one_input, 1);
    struct origin rpm = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 0, "127488", "35", "");
    struct origin heat = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 0, "127489", "35", "");
    struct origin sea = make_origin(PROTOCOL_NMEA2000, PLACE_VESSEL, 0, "130312", "40", "sea");
    for (int s = 0; s < 1080; s++) {
        double wave = sin(0.05 * s) + 0.3 * sin(1.7 * s);
        put_value(run, s * NS_PER_S, &rpm, CHANNEL_ENGINE_SPEED, speeds[s / 360] + 2 * wave);
        put_value(run, s * NS_PER_S, &heat, CHANNEL_COOLANT_TEMPERATURE,
                  coolant[s / 360] + 0.05 * wave);
        put_value(run, s * NS_PER_S, &sea, CHANNEL_SEA_TEMPERATURE, 17 + 0.02 * sin(0.1 * s));
        if (hours && s % 60 == 0)
            put_value(run, s * NS_PER_S, &heat, CHANNEL_ENGINE_HOURS, 812.5 + s / 3600.0);
    }
    finish(run, 1080 * NS_PER_S, NULL);
    facts_free(&facts);
    return path;
}

static void an_outing_has_its_holds_and_hours(void **state)
{
    (void)state;
    struct outing outing;
    struct complaint complaint = {""};
    assert_int_equal(outing_read(record("hours.h5", true), &outing, &complaint), STATUS_OK);
    assert_int_equal(outing.engine_count, 1);
    const struct outing_engine *engine = outing_engine_of(&outing, 0);
    assert_non_null(engine);
    assert_null(outing_engine_of(&outing, 1));
    assert_int_equal(engine->hold_count, 3);
    for (size_t i = 0; i < 3; i++)
        assert_int_equal(engine->holds[i].refusal, REFUSAL_NONE);
    assert_near(engine->hours, 812.5 + 0.28, 0.02);
    assert_near(engine->holds[2].rpm, 2800, 5);
    assert_near(engine->holds[2].coolant, 84, 0.1);
    assert_near(outing.sea_high, 17, 0.1);
    assert_string_equal(facts_get(&outing.facts, FACT_BOAT, 0, "name"), "Tern's Reach");
    assert_int_equal(strlen(outing.sha256), 64);
    assert_int_equal(outing.start_unix_us, START_US);
    outing_free(&outing);
}

static void without_an_hour_meter_there_are_none(void **state)
{
    (void)state;
    struct outing outing;
    assert_int_equal(outing_read(record("none.h5", false), &outing, NULL), STATUS_OK);
    assert_true(isnan(outing.engines[0].hours));
    outing_free(&outing);
}

static void what_is_no_run_is_said(void **state)
{
    (void)state;
    struct outing outing;
    struct complaint complaint = {""};
    assert_int_equal(outing_read("/nowhere/at/all.h5", &outing, &complaint), STATUS_NOT_FOUND);
    assert_non_null(strstr(complaint.text, "all.h5"));
    outing_free(&outing);
}

static void json_brings_every_number_back(void **state)
{
    (void)state;
    struct outing outing, back;
    struct complaint complaint = {""};
    struct text first = {0}, second = {0};
    assert_int_equal(outing_read(record("json.h5", true), &outing, &complaint), STATUS_OK);
    outing.engines[0].holds[1].sea = 1.0 / 3.0;
    outing.engines[0].holds[1].refusal = REFUSAL_STUCK;
    assert_int_equal(outing_write_json(&outing, &first, &complaint), STATUS_OK);
    enum status status = outing_read_json(first.bytes, first.length, &back, &complaint);
    if (status)
        fail_msg("%s", complaint.text);
    assert_true(back.engines[0].holds[1].sea == 1.0 / 3.0);
    assert_int_equal(back.engines[0].holds[1].refusal, REFUSAL_STUCK);
    assert_true(isnan(back.engines[0].holds[0].load));
    assert_int_equal(outing_write_json(&back, &second, &complaint), STATUS_OK);
    assert_string_equal(first.bytes, second.bytes);
    text_free(&first);
    text_free(&second);
    outing_free(&outing);
    outing_free(&back);
}

/* Bytes that are no UTF-8 become longer in JSON; the text still fits where it came from. */
static void json_brings_texts_back_that_are_no_utf8(void **state)
{
    (void)state;
    struct outing outing, back;
    struct complaint complaint = {""};
    struct text json = {0};
    assert_int_equal(outing_read(record("bytes.h5", true), &outing, &complaint), STATUS_OK);
    char *source = outing.engines[0].sea_source;
    memset(source, 0xFF, sizeof outing.engines[0].sea_source - 1);
    source[sizeof outing.engines[0].sea_source - 1] = '\0';
    assert_int_equal(outing_write_json(&outing, &json, &complaint), STATUS_OK);
    assert_int_equal(outing_read_json(json.bytes, json.length, &back, &complaint), STATUS_OK);
    assert_memory_equal(back.engines[0].sea_source, "\uFFFD\uFFFD", 6);
    text_free(&json);
    outing_free(&outing);
    outing_free(&back);
}

/* Seeds of another version would be refused at once, and the fuzzer would look at nothing. */
static void the_seeds_are_of_this_version(void **state)
{
    (void)state;
    char json[8192];
    struct outing outing;
    struct complaint complaint = {""};
    FILE *file = fopen("tests/fuzz/corpus/outing/plain", "rb");
    assert_non_null(file);
    size_t length = fread(json, 1, sizeof json, file);
    fclose(file);
    if (outing_read_json(json, length, &outing, &complaint) != STATUS_OK)
        fail_msg("make tests/fuzz/corpus/outing anew: %s", complaint.text);
    assert_true(outing.engines[0].hold_count > 0);
    outing_free(&outing);
}

/* Every way of cutting it short, and bytes turned over, gives an answer and no crash. */
static void broken_json_is_refused(void **state)
{
    (void)state;
    struct outing outing, back;
    struct complaint complaint = {""};
    struct text json = {0};
    assert_int_equal(outing_read(record("broken.h5", true), &outing, &complaint), STATUS_OK);
    assert_int_equal(outing_write_json(&outing, &json, &complaint), STATUS_OK);
    for (size_t cut = 0; cut < json.length; cut += 7) {
        assert_int_equal(outing_read_json(json.bytes, cut, &back, &complaint), STATUS_BAD_DATA);
        outing_free(&back);
    }
    for (size_t at = 0; at < json.length; at += 3) {
        char was = json.bytes[at];
        json.bytes[at] = (char)(was ^ 0x15);
        outing_read_json(json.bytes, json.length, &back, &complaint);
        outing_free(&back);
        json.bytes[at] = was;
    }
    static const char *const wrong[] = {"",
                                        "{}",
                                        "[]",
                                        "null",
                                        "{\"format\":\"searun outing\"}",
                                        "{\"format\":\"searun outing\",\"version\":0}"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        assert_int_equal(outing_read_json(wrong[i], strlen(wrong[i]), &back, &complaint),
                         STATUS_BAD_DATA);
        outing_free(&back);
    }
    text_free(&json);
    outing_free(&outing);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_outing_has_its_holds_and_hours),
        cmocka_unit_test(without_an_hour_meter_there_are_none),
        cmocka_unit_test(what_is_no_run_is_said),
        cmocka_unit_test(json_brings_every_number_back),
        cmocka_unit_test(json_brings_texts_back_that_are_no_utf8),
        cmocka_unit_test(the_seeds_are_of_this_version),
        cmocka_unit_test(broken_json_is_refused),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
