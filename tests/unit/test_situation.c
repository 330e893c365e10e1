/* test_situation.c - how it goes, told to people and programs; rates and last values behind
 * that. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cjson/cJSON.h>
#include <cmocka.h>

#include "../../logger/situation.h"

#define S NS_PER_S

static struct live live;
static struct facts facts;
static struct inlet inlets[2];
static struct tally tallies[2];
static const struct run_input inputs[2] = {
    {"serial:/dev/serial/by-id/usb-A_Very_Long_Name_Of_An_Adapter_0001-if00-port0,38400", "engine"},
    {"udp:10110", "plotter"}};
static struct situation situation;

static int begin(void **state)
{
    (void)state;
    memset(&live, 0, sizeof live);
    memset(inlets, 0, sizeof inlets);
    memset(tallies, 0, sizeof tallies);
    live.turning.above = 100;
    inlets[0].state = INLET_OPEN;
    situation = (struct situation){.now = 100 * S,
                                   .run = "",
                                   .last_run = "",
                                   .folder = "/var/lib/searun",
                                   .facts = &facts,
                                   .space_free = UINT64_MAX,
                                   .live = &live,
                                   .inlets = inlets,
                                   .inputs = inputs,
                                   .input_count = 2,
                                   .tallies = tallies};
    return 0;
}

static int end(void **state)
{
    (void)state;
    facts_free(&facts);
    return 0;
}

static void hear_at(enum place place, double at, unsigned instance, enum channel_id channel,
                    double value, const char *label)
{
    struct origin origin;
    memset(&origin, 0, sizeof origin);
    origin.place = (uint8_t)place;
    origin.instance = (uint8_t)instance;
    strcpy(origin.label, label);
    const struct value values = {(uint16_t)channel, value};
    live_message(&live, 0, (int64_t)(at * 1e9));
    live_readings(&live, (int64_t)(at * 1e9), &origin, &values, 1);
}

static void hear(double at, unsigned instance, enum channel_id channel, double value,
                 const char *label)
{
    hear_at(PLACE_ENGINE, at, instance, channel, value, label);
}

static const char *words(void)
{
    static char text[60000];
    FILE *to = fmemopen(text, sizeof text, "w");
    situation_text(&situation, to);
    fclose(to);
    return text;
}

static void expect(const char *part)
{
    const char *text = words();
    if (!strstr(text, part))
        fail_msg("expected \"%s\" in:\n%s", part, text);
}

/* Columns of the widest line; but a word that is longer than a line stands alone, in one piece. */
static size_t width_of(const char *text)
{
    size_t widest = 0, columns = 0, words = 0;
    for (char before = ' '; *text; before = *text++) {
        columns = *text == '\n' ? 0 : columns + (((unsigned char)*text & 0xC0) != 0x80);
        words = *text == '\n' ? 0 : words + (before == ' ' && *text != ' ');
        widest = columns > widest && words > 1 ? columns : widest;
    }
    return widest;
}

static void test_activities(void **state)
{
    (void)state;
    expect("waiting    for an engine to turn faster than 100 rpm");
    expect("values: none heard yet");
    expect("nothing refused, missing or lost");
    expect("an unknown amount free");
    situation.by_hand = true;
    expect("stopped by hand");
    situation.activity = ACTIVITY_NO_SPACE;
    situation.space_free = 3 << 20;
    expect("NOT RECORDING: there is too little space");
    expect("3.0 MiB free");
    situation.activity = ACTIVITY_FAILED;
    expect("NOT RECORDING: storage failed");
    situation.activity = ACTIVITY_RECORDING;
    situation.run = "/var/lib/searun/20261125T101500Z-terns-reach.h5";
    situation.run_at = -3 * 86400 * S;
    situation.ring_fill = 0.5;
    situation.finishing = 2;
    expect("recording  20261125T101500Z-terns-reach.h5, since 3 d 0 h");
    expect("storage    behind: 50 %");
    expect("finishing  2 runs before");
}

static void test_inputs_and_losses(void **state)
{
    (void)state;
    inlets[1].state = INLET_AWAY;
    inlets[1].away_since = 40 * S;
    strcpy(inlets[1].why, "Connection refused");
    tally_add_many(&tallies[1], REASON_BAD_CHECKSUM, 0, 12);
    tally_add_many(&tallies[1], REASON_SENTENCES, 0, 1000);
    expect("AWAY");
    expect("for 1 min 0 s: Connection refused");
    expect("plotter         12 sentences whose checksum did not match");
    assert_null(strstr(words(), "sentences accepted"));
}

/* Rates are counted over the last five seconds or so. */
static void test_values(void **state)
{
    (void)state;
    facts_set(&facts, FACT_ENGINE, 1, "label", "st\xC3\xA9rboard of the boat", NULL);
    live_tick(&live, 5 * S);
    for (int i = 0; i < 50; i++)
        hear(90 + i / 5.0, 1, CHANNEL_COOLANT_TEMPERATURE, 80 + i / 10.0, "");
    expect("84.9 \xC2\xB0"
           "C       0.2 s        -");
    live_tick(&live, 100 * S);
    expect(
        "84.9 \xC2\xB0"
        "C       0.2 s   4.9 /s"); /* 49 intervals of 0.2 s in 10 s; not what was before */
    live_tick(&live, 102 * S);     /* too soon for another count */
    expect("4.9 /s");
    live_tick(&live, 105 * S);
    expect("0.0 /s");
    hear(109, 2, CHANNEL_COOLANT_TEMPERATURE, 70, "");
    situation.now = 110 * S;
    live_tick(&live, 110 * S); /* too short a time for a rate */
    expect("1.0 s        -");
    hear(114, 2, CHANNEL_COOLANT_TEMPERATURE, 70, "");
    live_tick(&live, 115 * S);
    situation.now = 115 * S;
    expect("1.0 s   0.2 /s");
    assert_true(width_of(words()) <= 80);
}

/* Positions have words for west and south; speeds are in the unit that stands beside them (1 kn =
 * 1852 m an hour, so 3.6 m/s are 6.998 kn). */
static void test_units(void **state)
{
    (void)state;
    hear_at(PLACE_VESSEL, 99, 0, CHANNEL_LATITUDE, 54.25, "");
    hear_at(PLACE_VESSEL, 99, 0, CHANNEL_LONGITUDE, -7.5, "");
    hear_at(PLACE_VESSEL, 99, 0, CHANNEL_SPEED_OVER_GROUND, 3.6, "");
    hear_at(PLACE_VESSEL, 99, 0, CHANNEL_AIR_TEMPERATURE, -0.01, "");
    hear(99, 0, CHANNEL_ENGINE_SPEED, 1450.2, "");
    expect(" 54.2500\xC2\xB0 N ");
    expect(" 7.5000\xC2\xB0 W ");
    expect(" 7.0 kn ");
    expect(" 1450 rpm ");
    expect(" 0.0 \xC2\xB0"
           "C");
    assert_null(strstr(words(), " -0"));
    assert_null(strstr(words(), " -7"));
    hear_at(PLACE_VESSEL, 99, 0, CHANNEL_LATITUDE, -54.25, "");
    hear_at(PLACE_VESSEL, 99, 0, CHANNEL_LONGITUDE, 7.5, "");
    expect(" 54.2500\xC2\xB0 S ");
    expect(" 7.5000\xC2\xB0 E ");
}

/* Long names, paths and titles are all there, in further lines where they must be. */
static void test_nothing_is_cut(void **state)
{
    (void)state;
    facts_set(&facts, FACT_ENGINE, 3, "label", "the one on the starboard side, looking forward",
              NULL);
    situation.folder =
        "/srv/a/folder/with/a/name/that/is/longer/than/any/screen/that/a/technician/has";
    situation.activity = ACTIVITY_RECORDING;
    situation.run = "20261125T101500Z-a-boat-with-a-name-that-is-rather-long-for-a-file.h5";
    inlets[1].state = INLET_AWAY;
    strcpy(inlets[1].why, "the interface is down: ip link set can_starboard up type can bitrate "
                          "250000");
    hear(99, 3, CHANNEL_SPEED_HELD, 60, "");
    hear(99, 3, CHANNEL_TRANSDUCER_TEMPERATURE, 60, "C:A VERY LONG NAME OF A TRANSDUCER ABOARD");
    expect("(the one on the starboard side, looking forward)");
    expect(situation.folder);
    expect(situation.run);
    expect(inputs[0].text);
    expect("250000\n");
    expect("Time the engine speed had been held, as stated by hand\n");
    expect("C:A VERY LONG NAME");
    expect("ABOARD\n");
    assert_true(width_of(words()) <= 80);
}

/* What is silent is seen at once, and so is what a comparison lacks. */
static void test_what_is_missing(void **state)
{
    (void)state;
    situation.activity = ACTIVITY_RECORDING;
    expect("MISSING    Engine speed of engine 0: not heard yet");
    expect("MISSING    Sea water temperature: not heard yet");
    hear(99, 0, CHANNEL_ENGINE_SPEED, 1450, "");
    hear(99, 0, CHANNEL_COOLANT_TEMPERATURE, 80, "");
    hear_at(PLACE_VESSEL, 20, 0, CHANNEL_SEA_TEMPERATURE, 14, "");
    assert_null(strstr(words(), "not heard"));
    expect("MISSING    Sea water temperature: silent for 1 min 20 s");
    expect("1 min 20 s   SILENT");
    facts_set(&facts, FACT_RUN, 0, "sea_temperature", "14.5", NULL);
    expect("heard      all that a comparison needs");
    facts_set(&facts, FACT_ENGINE, 0, "label", "port", NULL);
    facts_set(&facts, FACT_ENGINE, 1, "label", "starboard", NULL);
    expect("MISSING    Coolant temperature of engine 1 (starboard): not heard yet");
    situation.activity = ACTIVITY_WAITING;
    expect("missing    Coolant temperature of engine 1 (starboard)");
}

/* Any number of transducers with any names: bounded, and the table still finds each. */
static void test_many_values(void **state)
{
    (void)state;
    char label[44];
    for (int round = 0; round < 2; round++)
        for (int i = 0; i < 2 * LIVE_VALUES_MAX; i++) {
            snprintf(label, sizeof label, "C:A RATHER LONG NAME OF A %d", i);
            hear(round, 0, CHANNEL_TRANSDUCER_TEMPERATURE, i + round, label);
        }
    assert_int_equal(live.count, LIVE_VALUES_MAX);
    for (size_t i = 0; i < live.count; i++) {
        assert_int_equal(live.values[i].rate.count, 2);
        assert_float_equal(live.values[i].value, (double)i + 1, 0);
    }
    assert_true(width_of(words()) <= 80);
}

static unsigned rows_of(int number)
{
    unsigned count = 0;
    char label[20];
    snprintf(label, sizeof label, "T%d", number);
    for (size_t i = 0; i < live.count; i++)
        count += strcmp(live.values[i].label, label) == 0;
    return count;
}

static void hear_number(double at, int number)
{
    char label[20];
    snprintf(label, sizeof label, "T%d", number);
    hear(at, 0, CHANNEL_TRANSDUCER_TEMPERATURE, number, label);
}

/* Over months more values come than there are rows: those that are silent for long give way to new
 * ones, one at a time, and every other one keeps its row and its count. */
static void test_old_values_are_forgotten(void **state)
{
    (void)state;
    const int all = LIVE_VALUES_MAX;
    for (int i = 0; i < all; i++)
        hear_number(i, i);
    hear_number(3600, all); /* none is silent for more than an hour */
    assert_int_equal(rows_of(all), 0);
    for (int i = 0; i < all / 2; i++) { /* the even ones are heard again */
        hear_number(4000, 2 * i);
        hear_number(4000, 2 * i);
    }
    for (int i = 0; i < all / 2; i++)
        hear_number(6000, all + i);
    hear_number(6000, 2 * all); /* and none is left that is old enough */
    assert_int_equal(live.count, LIVE_VALUES_MAX);
    assert_int_equal(rows_of(2 * all), 0);
    for (int i = 0; i < all; i++)
        hear_number(6001, i < all / 2 ? 2 * i : all / 2 + i);
    for (size_t i = 0; i < live.count; i++) {
        int number = atoi(live.values[i].label + 1);
        assert_true(number >= all || number % 2 == 0);
        assert_int_equal(rows_of(number), 1);
        assert_int_equal(live.values[i].rate.count, number < all ? 4 : 2);
        assert_true(live.values[i].value == number && live.values[i].at == 6001 * S);
    }
}

static void test_json(void **state)
{
    (void)state;
    char *text = NULL;
    size_t length = 0;
    hear(98, 0, CHANNEL_ENGINE_SPEED, 1450, "");
    hear_at(PLACE_VESSEL, 98, 0, CHANNEL_SPEED_OVER_GROUND, 6 * 1852.0 / 3600, "");
    facts_set(&facts, FACT_BOAT, 0, "name", "Tern's \"Reach\"", NULL);
    inlets[1].state = INLET_AWAY;
    strcpy(inlets[1].why, "unplugged");
    FILE *to = open_memstream(&text, &length);
    assert_int_equal(situation_json(&situation, to), STATUS_OK);
    fclose(to);
    cJSON *top = cJSON_Parse(text);
    assert_non_null(top);
    assert_string_equal(cJSON_GetObjectItem(top, "boat")->valuestring, "Tern's \"Reach\"");
    assert_string_equal(cJSON_GetObjectItem(top, "activity")->valuestring, "waiting");
    assert_true(cJSON_IsNull(cJSON_GetObjectItem(top, "run")));
    assert_true(cJSON_IsNull(cJSON_GetObjectItem(cJSON_GetObjectItem(top, "space"), "free")));
    cJSON *list = cJSON_GetObjectItem(top, "inputs"), *one = cJSON_GetArrayItem(list, 1);
    assert_int_equal(cJSON_GetArraySize(list), 2);
    assert_string_equal(cJSON_GetObjectItem(one, "why")->valuestring, "unplugged");
    one = cJSON_GetArrayItem(cJSON_GetObjectItem(top, "values"), 0);
    assert_string_equal(cJSON_GetObjectItem(one, "channel")->valuestring, "engine_speed");
    assert_float_equal(cJSON_GetObjectItem(one, "value")->valuedouble, 1450, 0);
    assert_float_equal(cJSON_GetObjectItem(one, "age")->valuedouble, 2, 1e-9);
    one = cJSON_GetArrayItem(cJSON_GetObjectItem(top, "values"), 1);
    assert_string_equal(cJSON_GetObjectItem(one, "unit")->valuestring, "kn");
    assert_float_equal(cJSON_GetObjectItem(one, "value")->valuedouble, 6, 1e-9);
    cJSON_Delete(top);
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_activities, begin, end),
        cmocka_unit_test_setup_teardown(test_inputs_and_losses, begin, end),
        cmocka_unit_test_setup_teardown(test_values, begin, end),
        cmocka_unit_test_setup_teardown(test_units, begin, end),
        cmocka_unit_test_setup_teardown(test_nothing_is_cut, begin, end),
        cmocka_unit_test_setup_teardown(test_what_is_missing, begin, end),
        cmocka_unit_test_setup_teardown(test_many_values, begin, end),
        cmocka_unit_test_setup_teardown(test_old_values_are_forgotten, begin, end),
        cmocka_unit_test_setup_teardown(test_json, begin, end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
