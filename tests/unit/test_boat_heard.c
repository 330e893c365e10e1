/* test_boat_heard.c - what the decoders hear from the model's captures is what its instruments
 * said, and a run file that the model writes straight has the origins and values that decoding
 * gives. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../logger/decode_can.h"
#include "../../logger/frame_0183.h"
#include "../simulated/model_facts.h"
#include "../simulated/writers.h"
#include "run_read.h"

#define HEARD_MAX 64
#define SERIES_MAX 5000

/* One channel of one origin, as heard. */
struct heard_series {
    struct origin origin;
    enum channel_id channel;
    size_t count;
    double value[SERIES_MAX];
};

struct heard {
    size_t count;
    struct heard_series series[HEARD_MAX];
    struct tally tally;
    size_t utc;
};

static const struct heard_series *find(const struct heard *heard, const struct origin *origin,
                                       enum channel_id channel)
{
    for (size_t i = 0; i < heard->count; i++)
        if (heard->series[i].channel == channel &&
            memcmp(&heard->series[i].origin, origin, sizeof *origin) == 0)
            return &heard->series[i];
    return NULL;
}

static struct heard_series *find_or_add(struct heard *heard, const struct origin *origin,
                                        enum channel_id channel)
{
    const struct heard_series *known = find(heard, origin, channel);
    if (known != NULL)
        return &heard->series[known - heard->series];
    assert_true(heard->count < HEARD_MAX);
    struct heard_series *series = &heard->series[heard->count++];
    series->origin = *origin;
    series->channel = channel;
    return series;
}

static void hear_readings(void *self, int64_t at, const struct origin *origin,
                          const struct value *values, size_t count)
{
    struct heard *heard = self;
    (void)at;
    for (size_t i = 0; i < count; i++) {
        struct heard_series *series = find_or_add(heard, origin, values[i].channel);
        assert_true(series->count < SERIES_MAX);
        series->value[series->count++] = values[i].value;
    }
}

static void hear_event(void *self, int64_t at, const struct origin *origin, const char *key,
                       const char *text)
{
    (void)self, (void)at, (void)origin, (void)key, (void)text;
}

static void hear_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    struct heard *heard = self;
    (void)at, (void)origin;
    assert_true(unix_us > INT64_C(1700000000000000));
    heard->utc++;
}

static struct heard *heard_new(void)
{
    struct heard *heard = calloc(1, sizeof *heard);
    assert_non_null(heard);
    return heard;
}

/* Nothing the model says may be refused for any reason. */
static void check_nothing_refused(const struct heard *heard)
{
    static const enum reason fine[] = {REASON_SENTENCES, REASON_READINGS, REASON_NOT_AVAILABLE,
                                       REASON_FRAMES};
    for (int reason = 0; reason < REASON_COUNT; reason++) {
        bool allowed = false;
        for (size_t i = 0; i < sizeof fine / sizeof *fine; i++)
            allowed = allowed || reason == (int)fine[i];
        if (!allowed && heard->tally.line[reason].count > 0)
            fail_msg("%llu: %s", (unsigned long long)heard->tally.line[reason].count,
                     reason_title((enum reason)reason));
    }
}

static struct boat_scenario short_run(const char *name, double seconds)
{
    struct boat_scenario scenario;
    assert_true(boat_scenario_named(name, &scenario));
    scenario.leg_count = 0;
    boat_add_leg(&scenario, (struct boat_leg){1800, seconds, GEAR_AHEAD, true});
    scenario.engine[0].coolant.dropouts = 60;
    scenario.engine[0].coolant.dropout_length = 5;
    return scenario;
}

static void hear_line(struct heard *heard, const char *line)
{
    const struct transducer_map map = {transducer_default_count, transducer_defaults, -1};
    const struct sink sink = {heard, hear_readings, hear_event, hear_utc};
    struct sentence sentence;
    if (frame_0183_line(0, line, strlen(line), &sentence, &heard->tally) == FRAME_READY)
        decode_sentence(&map, 0, 0, &sentence, &sink, &heard->tally);
}

static struct heard *hear_0183(const struct boat_scenario *scenario, bool tag)
{
    struct heard *heard = heard_new();
    char *text = NULL;
    size_t length;
    FILE *to = open_memstream(&text, &length);
    assert_int_equal(write_0183(scenario, tag, to, NULL), STATUS_OK);
    fclose(to);
    char *rest = text;
    for (char *line; (line = strtok_r(rest, "\r\n", &rest)) != NULL;)
        hear_line(heard, line);
    free(text);
    return heard;
}

static void hear_frame(struct heard *heard, struct can_decoder *decoder, const char *line)
{
    const struct sink sink = {heard, hear_readings, hear_event, hear_utc};
    const char *id = strstr(line, " can0 ") + 6, *data = strchr(id, '#') + 1;
    uint8_t bytes[8];
    for (size_t i = 0; i < 8; i++)
        assert_int_equal(sscanf(data + 2 * i, "%2hhx", &bytes[i]), 1);
    const double at = strtod(line + 1, NULL) - 1.7e9;
    can_decoder_frame(decoder, (int64_t)(at * 1e9),
                      (uint32_t)strtoul(id, NULL, 16) | UINT32_C(0x80000000), bytes, 8, &sink,
                      &heard->tally);
}

static struct heard *hear_n2k(const struct boat_scenario *scenario, double rapid_hz)
{
    struct heard *heard = heard_new();
    struct can_decoder *decoder;
    char *text = NULL;
    size_t length;
    FILE *to = open_memstream(&text, &length);
    assert_int_equal(write_n2k(scenario, rapid_hz, to, NULL), STATUS_OK);
    fclose(to);
    assert_int_equal(can_decoder_new(0, BUS_AUTO, 0, &decoder), STATUS_OK);
    char *rest = text;
    for (char *line; (line = strtok_r(rest, "\n", &rest)) != NULL;)
        hear_frame(heard, decoder, line);
    can_decoder_expire(decoder, INT64_MAX, &heard->tally);
    can_decoder_free(decoder);
    free(text);
    return heard;
}

/* The longest series of that channel and engine. */
static const struct heard_series *series_of(const struct heard *heard, enum channel_id channel,
                                            unsigned instance)
{
    const struct heard_series *best = NULL;
    for (size_t i = 0; i < heard->count; i++)
        if (heard->series[i].channel == channel && heard->series[i].origin.instance == instance &&
            (best == NULL || heard->series[i].count > best->count))
            best = &heard->series[i];
    if (best == NULL)
        fail_msg("nothing heard of %s", channel_get(channel)->key);
    return best;
}

static void test_sentences_are_heard(void **state)
{
    (void)state;
    const struct boat_scenario scenario = short_run("tern-before", 200);
    for (int tag = 0; tag < 2; tag++) {
        struct heard *heard = hear_0183(&scenario, tag != 0);
        check_nothing_refused(heard);
        assert_int_equal(series_of(heard, CHANNEL_ENGINE_SPEED, 0)->count, 200);
        assert_in_range(series_of(heard, CHANNEL_COOLANT_TEMPERATURE, 0)->count, 120, 199);
        assert_int_equal(series_of(heard, CHANNEL_SEA_TEMPERATURE, 0)->count, 100);
        static const enum channel_id others[] = {CHANNEL_OIL_TEMPERATURE,     CHANNEL_OIL_PRESSURE,
                                                 CHANNEL_AIR_TEMPERATURE,     CHANNEL_LATITUDE,
                                                 CHANNEL_SPEED_THROUGH_WATER, CHANNEL_DEPTH,
                                                 CHANNEL_COURSE_OVER_GROUND,  CHANNEL_HEADING_TRUE};
        for (size_t i = 0; i < sizeof others / sizeof *others; i++)
            assert_true(series_of(heard, others[i], 0)->count >= 39);
        assert_true(heard->utc >= 200);
        free(heard);
    }
}

static void test_frames_are_heard(void **state)
{
    (void)state;
    const struct boat_scenario scenario = short_run("sisters-before", 100);
    struct heard *heard = hear_n2k(&scenario, 10);
    check_nothing_refused(heard);
    for (unsigned engine = 0; engine < 2; engine++) {
        assert_int_equal(series_of(heard, CHANNEL_ENGINE_SPEED, engine)->count, 1000);
        static const enum channel_id dynamic[] = {
            CHANNEL_OIL_PRESSURE, CHANNEL_OIL_TEMPERATURE, CHANNEL_ALTERNATOR_VOLTAGE,
            CHANNEL_FUEL_RATE,    CHANNEL_ENGINE_LOAD,     CHANNEL_ENGINE_HOURS};
        for (size_t i = 0; i < sizeof dynamic / sizeof *dynamic; i++)
            assert_int_equal(series_of(heard, dynamic[i], engine)->count, 200);
        assert_int_equal(series_of(heard, CHANNEL_TRANSMISSION_GEAR, engine)->count, 100);
        assert_int_equal(series_of(heard, CHANNEL_EXHAUST_TEMPERATURE, engine)->count, 50);
    }
    assert_int_equal(series_of(heard, CHANNEL_SEA_TEMPERATURE, 0)->count, 50);
    assert_int_equal(series_of(heard, CHANNEL_BATTERY_VOLTAGE, 0)->count, 67);
    assert_int_equal(series_of(heard, CHANNEL_FLUID_LEVEL, 0)->count, 40);
    const struct heard_series *latitude = series_of(heard, CHANNEL_LATITUDE, 0);
    assert_true(fabs(latitude->value[0] - scenario.latitude) < 1e-3);
    free(heard);
}

/* Messages with a phase on the bus begin with the second step: one value less is heard then. */
static void check_series(const char *group, const struct series *series,
                         const struct heard_series *same)
{
    const size_t late = series->count - same->count;
    assert_in_range(late, 0, 1);
    for (size_t n = 0; n < same->count; n++)
        if (fabs(series->value[n + late] - same->value[n]) > 0.051)
            fail_msg("%s: %g written, %g heard", group, series->value[n + late], same->value[n]);
}

/* Each series of the run file, as decoding the capture gives it. */
static void check_run(struct run *run, const struct heard *heard)
{
    for (size_t i = 0; i < run_stream_count(run); i++) {
        const struct stream *stream = run_stream(run, i);
        for (size_t k = 0; k < stream->channel_count; k++) {
            struct series series;
            const struct heard_series *same = find(heard, &stream->origin, stream->channels[k]);
            if (same == NULL)
                fail_msg("no such origin heard: %s %s", stream->group,
                         channel_get(stream->channels[k])->key);
            assert_int_equal(run_read_series(run, i, stream->channels[k], &series, NULL),
                             STATUS_OK);
            check_series(stream->group, &series, same);
            series_free(&series);
        }
    }
}

static void compare_run(const struct boat_scenario *scenario, enum run_flavour flavour,
                        struct heard *heard)
{
    char folder[] = "/tmp/test_boat_heard-XXXXXX", path[64];
    struct facts facts = {0};
    struct run *run;
    struct complaint complaint = {""};
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/run.h5", folder);
    assert_int_equal(model_facts(scenario, "before", &facts, NULL), STATUS_OK);
    if (write_run(scenario, flavour, &facts, path, NULL, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    facts_free(&facts);
    assert_int_equal(run_open(path, &run, &complaint), STATUS_OK);
    check_run(run, heard);
    run_close(run);
    unlink(path);
    rmdir(folder);
    free(heard);
}

static void test_run_like_sentences(void **state)
{
    (void)state;
    struct boat_scenario scenario = short_run("tern-after", 200);
    scenario.engine[0].has_raw_out = true;
    compare_run(&scenario, RUN_LIKE_0183, hear_0183(&scenario, false));
}

/* With a step of one second the bus has its messages once a second too; the sea temperature is sent
 * every other second, and on odd ones, so it is kept still here. */
static void test_run_like_frames(void **state)
{
    (void)state;
    struct boat_scenario scenario = short_run("sisters-after", 200);
    scenario.step = 1.0;
    scenario.sea_wander = scenario.sea_sender.noise = 0.0;
    compare_run(&scenario, RUN_LIKE_N2K, hear_n2k(&scenario, 1));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sentences_are_heard),
        cmocka_unit_test(test_frames_are_heard),
        cmocka_unit_test(test_run_like_sentences),
        cmocka_unit_test(test_run_like_frames),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
