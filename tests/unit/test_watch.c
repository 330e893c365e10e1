/* test_watch.c - what the person on board is told, and when. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../logger/watch.h"

static const struct run_input inputs[] = {{"udp:10110", "plotter"}, {"tcp:gw:1", "gateway"}};
static int words[2];
static struct voice voice;
static struct facts facts;
static struct watch *watch;

static void begin(bool live)
{
    assert_int_equal(pipe(words), 0);
    voice = (struct voice){.fd = words[1], .least = SAY_NOTE};
    assert_int_equal(watch_new(&voice, &facts, inputs, live, &watch), STATUS_OK);
}

static void finish(void)
{
    watch_free(watch);
    facts_free(&facts);
    close(words[0]);
    close(words[1]);
}

/* What was said since the last call; "" if nothing. */
static const char *said(void)
{
    static char text[60000];
    const struct voice end = {.fd = words[1], .least = SAY_NOTE};
    say(&end, SAY_NOTE, "."); /* so that read never waits */
    ssize_t length = read(words[0], text, sizeof text - 1);
    assert_true(length >= 17);
    text[length - 17] = '\0'; /* "searun-logger: .\n" */
    return text;
}

static void expect(const char *part)
{
    const char *text = said();
    if (!strstr(text, part))
        fail_msg("expected \"%s\", said \"%s\"", part, text);
}

static void hear(double at, enum place place, unsigned instance, enum channel_id channel,
                 double value, const char *label)
{
    struct origin origin;
    memset(&origin, 0, sizeof origin);
    origin.place = (uint8_t)place;
    origin.instance = (uint8_t)instance;
    strcpy(origin.message, *label ? "XDR" : "RPM");
    snprintf(origin.label, sizeof origin.label, "%s", label);
    const struct value values = {(uint16_t)channel, value};
    watch_readings(watch, (int64_t)(at * 1e9), &origin, &values, 1);
}

static int64_t tick(double at)
{
    return watch_tick(watch, (int64_t)(at * 1e9));
}

static void test_first_heard_and_missing(void **state)
{
    (void)state;
    begin(true);
    tick(14);
    assert_string_equal(said(), "");
    tick(15);
    expect("warning: after 15 s still missing: Engine speed of engine 0, Coolant temperature of "
           "engine 0, Sea water temperature");
    hear(16, PLACE_ENGINE, 0, CHANNEL_ENGINE_SPEED, 1450, "");
    expect("heard: engine 0, Engine speed: 1450 rpm (NMEA 0183 RPM on input plotter)");
    hear(17, PLACE_ENGINE, 0, CHANNEL_ENGINE_SPEED, 1451, "");
    assert_string_equal(said(), "");
    tick(17.5);
    hear(44, PLACE_ENGINE, 0, CHANNEL_ENGINE_SPEED, 1451, "");
    said();
    tick(45);
    expect("after 45 s still missing: Coolant temperature of engine 0, Sea water temperature");
    hear(46, PLACE_ENGINE, 0, CHANNEL_COOLANT_TEMPERATURE, 71.5, "C:ENGINE#0");
    expect("heard: engine 0, Coolant temperature: 71.5 °C (NMEA 0183 XDR C:ENGINE#0 on input "
           "plotter)");
    hear(46, PLACE_VESSEL, 0, CHANNEL_SEA_TEMPERATURE, 15, "");
    expect("heard: vessel, Sea water temperature: 15.0 °C");
    /* Reminders come at growing intervals; now nothing is missing. */
    for (double at = 47; at < 200; at++) {
        hear(at, PLACE_ENGINE, 0, CHANNEL_ENGINE_SPEED, 1450, "");
        hear(at, PLACE_ENGINE, 0, CHANNEL_COOLANT_TEMPERATURE, 71.5, "C:ENGINE#0");
        hear(at, PLACE_VESSEL, 0, CHANNEL_SEA_TEMPERATURE, 15, "");
        tick(at);
    }
    assert_string_equal(said(), "");
    finish();
}

static void test_reminders_grow(void **state)
{
    (void)state;
    int reminders = 0;
    begin(true);
    for (int at = 0; at < 3600; at++) {
        tick(at);
        reminders += strstr(said(), "still missing") != NULL;
    }
    assert_in_range(reminders, 8, 12); /* 15, 45, 105 ... 1545 s, then every ten minutes */
    finish();
}

/* How long silence may last: the catalogue, 5 s for engine speed. */
static size_t times(const char *text, const char *part)
{
    size_t count = 0;
    for (; (text = strstr(text, part)) != NULL; text++)
        count++;
    return count;
}

/* Told once, of each engine that it was not entered for; at the end where it was no use before. */
static void test_thermostat(void **state)
{
    (void)state;
    static const struct tally none[2];
    struct complaint complaint;
    facts_set(&facts, FACT_ENGINE, 0, "thermostat", "71,82", &complaint);
    facts_set(&facts, FACT_ENGINE, 1, "label", "port", &complaint);
    begin(true);
    tick(15);
    const char *text = said();
    assert_int_equal(times(text, "thermostat of engine"), 1);
    assert_non_null(strstr(text, "thermostat of engine 1 (port) was not entered"));
    assert_non_null(strstr(text, "--set engine1.thermostat=71,82 (degC, or 160F,180F)"));
    tick(45);
    watch_summary(watch, 60 * INT64_C(1000000000), none, 0);
    assert_null(strstr(said(), "thermostat"));
    finish();
    begin(false);
    watch_summary(watch, 60 * INT64_C(1000000000), none, 0);
    assert_null(strstr(said(), "thermostat")); /* no engine was heard: other things are wrong */
    hear(1, PLACE_ENGINE, 0, CHANNEL_ENGINE_SPEED, 1000, "");
    watch_summary(watch, 60 * INT64_C(1000000000), none, 0);
    expect("thermostat of engine 0 was not entered");
    finish();
}

static void test_silence(void **state)
{
    (void)state;
    begin(true);
    hear(1, PLACE_ENGINE, 0, CHANNEL_ENGINE_SPEED, 1450, "");
    said();
    tick(6);
    assert_string_equal(said(), "");
    tick(7);
    expect("warning: silent for 6 s: engine 0, Engine speed");
    tick(8);
    assert_string_equal(said(), "");
    hear(9, PLACE_ENGINE, 0, CHANNEL_ENGINE_SPEED, 1450, "");
    expect("heard again: engine 0, Engine speed");
    finish();
}

static void test_named_engines(void **state)
{
    (void)state;
    assert_int_equal(facts_set(&facts, FACT_ENGINE, 0, "label", "port", NULL), STATUS_OK);
    assert_int_equal(facts_set(&facts, FACT_ENGINE, 1, "label", "starboard", NULL), STATUS_OK);
    assert_int_equal(facts_set(&facts, FACT_RUN, 0, "sea_temperature", "15", NULL), STATUS_OK);
    begin(true);
    tick(15);
    /* The sea temperature was read by hand. */
    expect("still missing: Engine speed of engine 0 (port), Engine speed of engine 1 (starboard), "
           "Coolant temperature of engine 0 (port), Coolant temperature of engine 1 (starboard)\n");
    hear(16, PLACE_ENGINE, 2, CHANNEL_ENGINE_SPEED, 1450, "");
    expect("warning: engine 2 is heard, which the configuration does not name");
    hear(17, PLACE_ENGINE, 2, CHANNEL_ENGINE_SPEED, 1450, "");
    assert_string_equal(said(), "");
    finish();
}

/* The line that is offered must be one that the configuration takes. */
static void test_unmapped(void **state)
{
    (void)state;
    begin(true);
    hear(1, PLACE_VESSEL, 0, CHANNEL_TRANSDUCER_TEMPERATURE, 30.2, "C:Keel Cooler 2");
    expect("put this line under [transducers]: keelcooler2 = C, , Keel Cooler 2 -> "
           "coolant_temperature, engine 0");
    hear(2, PLACE_VESSEL, 0, CHANNEL_TRANSDUCER_TEMPERATURE, 30.2, "C:Keel Cooler 2");
    assert_string_equal(said(), "");
    hear(3, PLACE_VESSEL, 0, CHANNEL_TRANSDUCER_PRESSURE, 300, "P:\xE9");
    expect("mine = P, , ");
    for (int i = 0; i < 200; i++) {
        char label[16];
        snprintf(label, sizeof label, "C:T%d", i);
        hear(4, PLACE_VESSEL, 0, CHANNEL_TRANSDUCER_TEMPERATURE, 1, label);
    }
    int lines = 0;
    for (const char *c = said(); *c; c++)
        lines += *c == '\n';
    assert_int_equal(lines, 62); /* 64 are listed in all */
    finish();
}

static void test_mute_and_noisy_inputs(void **state)
{
    (void)state;
    static const struct run_input serial[] = {{"serial:/dev/ttyUSB0,4800", "engine"},
                                              {"udp:10110", "plotter"}};
    struct tally tallies[2];
    memset(tallies, 0, sizeof tallies);
    assert_int_equal(pipe(words), 0);
    voice = (struct voice){.fd = words[1], .least = SAY_NOTE};
    assert_int_equal(watch_new(&voice, &facts, serial, true, &watch), STATUS_OK);
    for (unsigned i = 0; i < 2; i++)
        watch_input(watch, i, 24 * NS_PER_S, 10 * NS_PER_S, &tallies[i]);
    assert_string_equal(said(), "");
    tally_add(&tallies[1], REASON_SENTENCES, 0);
    for (unsigned i = 0; i < 2; i++)
        watch_input(watch, i, 25 * NS_PER_S, 10 * NS_PER_S, &tallies[i]);
    const char *text = said();
    assert_non_null(
        strstr(text, "input engine (serial:/dev/ttyUSB0,4800): open, but nothing has come from it "
                     "yet; are its wires the right way round?"));
    assert_null(strstr(text, "plotter"));
    tally_add_many(&tallies[0], REASON_NOISE_BYTES, 0, 500);
    tally_add_many(&tallies[1], REASON_NOISE_BYTES, 0, 500);
    for (unsigned i = 0; i < 2; i++)
        watch_input(watch, i, 26 * NS_PER_S, 10 * NS_PER_S, &tallies[i]);
    text = said();
    assert_non_null(strstr(text, "the baud rate is probably another one"));
    assert_null(strstr(text, "plotter"));
    for (unsigned i = 0; i < 2; i++)
        watch_input(watch, i, 27 * NS_PER_S, 10 * NS_PER_S, &tallies[i]);
    assert_string_equal(said(), "");
    finish();
}

/* Sentences that are all refused: by what is wrong with them. */
static void test_refused_sentences(void **state)
{
    (void)state;
    static const struct run_input two[] = {{"serial:/dev/ttyUSB0,4800", "engine"},
                                           {"udp:10110", "plotter"}};
    struct tally tallies[2];
    memset(tallies, 0, sizeof tallies);
    assert_int_equal(pipe(words), 0);
    voice = (struct voice){.fd = words[1], .least = SAY_NOTE};
    assert_int_equal(watch_new(&voice, &facts, two, true, &watch), STATUS_OK);
    tally_add_many(&tallies[0], REASON_BAD_CHECKSUM, 0, 9);
    watch_input(watch, 0, 26 * NS_PER_S, 10 * NS_PER_S, &tallies[0]);
    assert_string_equal(said(), "");
    tally_add_many(&tallies[0], REASON_BAD_CHECKSUM, 0, 2);
    watch_input(watch, 0, 26 * NS_PER_S, 10 * NS_PER_S, &tallies[0]);
    assert_non_null(strstr(said(), "the checksums of all 11 sentences are wrong; a loose wire, or "
                                   "another baud rate"));
    tally_add_many(&tallies[1], REASON_NO_CHECKSUM, 0, 30);
    tally_add_many(&tallies[1], REASON_BAD_CHECKSUM, 0, 2);
    watch_input(watch, 1, 26 * NS_PER_S, 10 * NS_PER_S, &tallies[1]);
    assert_non_null(strstr(said(), "30 sentences without a checksum came, and none with one: they "
                                   "are refused. Switch the checksum on"));
    finish();
}

static void test_replay_says_less(void **state)
{
    (void)state;
    begin(false);
    assert_int_equal(tick(1000), INT64_MAX);
    hear(16, PLACE_ENGINE, 0, CHANNEL_ENGINE_SPEED, 1450, "");
    assert_string_equal(said(), "");
    finish();
}

static void test_nothing_heard(void **state)
{
    (void)state;
    struct tally tallies[2] = {0};
    const int64_t second = INT64_C(1000000000);
    begin(true);
    assert_false(watch_heard_nothing(watch, 14 * second, tallies, 2)); /* stopped at once */
    assert_true(watch_heard_nothing(watch, 15 * second, tallies, 2));
    tallies[0].line[REASON_REOPENED].count = 3;
    assert_true(watch_heard_nothing(watch, 15 * second, tallies, 2));
    tallies[1].line[REASON_NOISE_BYTES].count = 1;
    assert_false(watch_heard_nothing(watch, 15 * second, tallies, 2));
    finish();
}

static void test_events(void **state)
{
    (void)state;
    struct origin origin;
    memset(&origin, 0, sizeof origin);
    origin.place = PLACE_ENGINE;
    begin(true);
    watch_event(watch, 12 * NS_PER_S, &origin, "over_temperature", "over temperature began");
    expect("12 s: engine 0: over temperature began (over_temperature)");
    for (int i = 0; i < 1000; i++)
        watch_event(watch, 0, &origin, "x", "y");
    int lines = 0;
    for (const char *c = said(); *c; c++)
        lines += *c == '\n';
    assert_int_equal(lines, 100);
    finish();
}

static void test_summary(void **state)
{
    (void)state;
    struct tally tallies[2];
    memset(tallies, 0, sizeof tallies);
    begin(true);
    for (int i = 0; i <= 100; i++) {
        hear(i / 2.0, PLACE_ENGINE, 0, CHANNEL_ENGINE_SPEED, 1450, "");
        hear(i / 2.0, PLACE_TANK, 3, CHANNEL_FLUID_LEVEL, 50, "");
    }
    for (unsigned i = 0; i < 300; i++) /* far more rows than the table begins with */
        hear(1, PLACE_BATTERY, i % 100, (enum channel_id)(CHANNEL_BATTERY_VOLTAGE + i / 100), 12,
             "");
    tally_add_many(&tallies[0], REASON_BAD_CHECKSUM, 0, 3);
    said();
    watch_summary(watch, 125 * NS_PER_S, tallies, 2);
    const char *text = said();
    static const char *const parts[] = {
        "the run lasted 2 min 5 s\n",
        "  engine 0, Engine speed: 101 readings, one every 0.5 s\n",
        "  tank 3, Fluid level: 101 readings, one every 0.5 s\n",
        "  battery 99, Battery temperature: 1 reading\n",
        "input plotter (udp:10110):\n",
        "  3 sentences whose checksum did not match\n",
        "warning: input gateway (tcp:gw:1): nothing was heard\n",
        "warning: never heard, and needed to compare runs: Coolant temperature of engine 0, Sea "
        "water "
        "temperature.",
    };
    const char *at = text;
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        at = strstr(at, parts[i]);
        if (!at)
            fail_msg("expected \"%s\" in its place in:\n%s", parts[i], text);
    }
    finish();
}

/* The voice: levels are left out on demand, and a device's text cannot ring a bell. */
static void test_voice(void **state)
{
    (void)state;
    begin(true);
    voice.least = SAY_WARNING;
    say(&voice, SAY_NOTE, "not said");
    say(&voice, SAY_WARNING, "bell \a and \033[2J\n");
    say(&voice, SAY_ERROR, "%5000d", 1);
    const char *text = said();
    assert_int_equal(strncmp(text, "searun-logger: warning: bell ? and ?[2J?\n", 41), 0);
    assert_int_equal(text[strlen(text) - 1], '\n');
    assert_in_range(strlen(text), 2000, 2200);
    finish();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_first_heard_and_missing),
        cmocka_unit_test(test_reminders_grow),
        cmocka_unit_test(test_thermostat),
        cmocka_unit_test(test_silence),
        cmocka_unit_test(test_named_engines),
        cmocka_unit_test(test_unmapped),
        cmocka_unit_test(test_mute_and_noisy_inputs),
        cmocka_unit_test(test_refused_sentences),
        cmocka_unit_test(test_replay_says_less),
        cmocka_unit_test(test_nothing_heard),
        cmocka_unit_test(test_events),
        cmocka_unit_test(test_summary),
        cmocka_unit_test(test_voice),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
