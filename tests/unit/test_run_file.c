/* test_run_file.c - what is written into a run file comes back from it. */
#include "run_support.h"

#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/resource.h>

#include "../../logger/run/run_writer.h"

/* --- a run of chance and what must come back from it */

#define MODEL_STREAMS 12
#define MODEL_CHANNELS 6

struct model_stream {
    struct origin origin;
    size_t rows;
    int64_t *at; /* ns */
    size_t channel_count;
    uint16_t channels[MODEL_CHANNELS];
    size_t begins[MODEL_CHANNELS];  /* row in which the channel appears */
    double *values[MODEL_CHANNELS]; /* NaN: missing */
};

static struct model_stream model[MODEL_STREAMS];

static const struct run_input three_inputs[] = {
    {"serial:/dev/ttyUSB0,4800", "nmea"}, {"can:can0", "can0"}, {"udp:10110", "udp"}};

/* A believable value, most often a whole number of steps. */
static double random_value(const struct channel *channel)
{
    double share = (double)(chance() >> 11) / 9007199254740992.0;
    double value = channel->low + (channel->high - channel->low) * share;
    if (chance_below(4) > 0)
        value = rint(value / channel->step) * channel->step;
    return value;
}

static void random_origin(struct origin *origin, unsigned number)
{
    static const char *const labels[] = {"", "C:ENGRM", "P:OIL#1", "sea \"in\" ~", "x/y"};
    char message[12], source[20];
    enum protocol protocol = (enum protocol)chance_below(3);
    enum place place = (enum place)chance_below(PLACE_COUNT);
    snprintf(message, sizeof message, "%u", 127000 + number);
    snprintf(source, sizeof source, "%u", chance_below(253));
    *origin = make_origin(protocol, place, place == PLACE_VESSEL ? 0 : chance_below(253), message,
                          source, labels[chance_below(5)]);
    origin->input = (uint8_t)chance_below(3);
}

static void random_channels(struct model_stream *stream)
{
    stream->channel_count = 1 + chance_below(MODEL_CHANNELS);
    for (size_t i = 0; i < stream->channel_count; i++) {
        bool taken = true;
        while (taken) {
            stream->channels[i] = (uint16_t)chance_below(CHANNEL_COUNT);
            taken = false;
            for (size_t k = 0; k < i; k++)
                taken |= stream->channels[k] == stream->channels[i];
        }
        stream->begins[i] = chance_below(3) ? 0 : chance_below((unsigned)stream->rows);
        stream->values[i] = malloc(stream->rows * sizeof(double));
        assert_non_null(stream->values[i]);
    }
    stream->begins[0] = 0;
}

/* Instants a multiple of 1 us, sometimes equal to the one before. */
static void random_rows(struct model_stream *stream)
{
    int64_t at = chance_below(1000) * NS_PER_MS;
    stream->at = malloc(stream->rows * sizeof *stream->at);
    assert_non_null(stream->at);
    for (size_t row = 0; row < stream->rows; row++) {
        at += chance_below(20) ? (int64_t)chance_below(200000) * NS_PER_US : 0;
        stream->at[row] = at;
        for (size_t i = 0; i < stream->channel_count; i++)
            stream->values[i][row] = row < stream->begins[i] || chance_below(10) == 0
                                         ? NAN
                                         : random_value(channel_get(stream->channels[i]));
    }
}

static void random_model(void)
{
    static const size_t lengths[] = {1, 2, 63, 64, 65, 1000, 4095, 4096, 4097, 12287, 12288, 12289};
    for (unsigned i = 0; i < MODEL_STREAMS; i++) {
        memset(&model[i], 0, sizeof model[i]);
        model[i].rows = lengths[i];
        random_origin(&model[i].origin, i);
        random_channels(&model[i]);
        random_rows(&model[i]);
    }
}

static void free_model(void)
{
    for (size_t i = 0; i < MODEL_STREAMS; i++) {
        free(model[i].at);
        for (size_t k = 0; k < model[i].channel_count; k++)
            free(model[i].values[k]);
    }
}

static void write_row(struct run_writer *run, const struct model_stream *stream, size_t row)
{
    struct value values[MODEL_CHANNELS];
    size_t count = 0;
    for (size_t i = 0; i < stream->channel_count; i++)
        if (!isnan(stream->values[i][row]))
            values[count++] = (struct value){stream->channels[i], stream->values[i][row]};
    assert_int_equal(run_write_readings(run, stream->at[row], &stream->origin, values, count),
                     STATUS_OK);
}

static void write_model(struct run_writer *run)
{
    for (size_t row = 0; row < 12289; row++)
        for (size_t i = 0; i < MODEL_STREAMS; i++)
            if (row < model[i].rows)
                write_row(run, &model[i], row);
}

/* What a value must come back as: the decimal number nearest to it with the channel's step. */
static double as_stored(double value, double step)
{
    char text[64];
    double parts = round(1.0 / step);
    double steps = parts >= 1 ? round(value * parts) : round(value / step);
    snprintf(text, sizeof text, "%.7f", parts >= 1 ? steps / parts : steps * step);
    return strtod(text, NULL);
}

static void compare_channel(struct run *run, const struct model_stream *stream, size_t number)
{
    const struct channel *channel = channel_get(stream->channels[number]);
    struct series series =
        read_channel(run, &stream->origin, (enum channel_id)stream->channels[number]);
    size_t at = 0;
    for (size_t row = 0; row < stream->rows; row++) {
        double value = stream->values[number][row];
        if (isnan(value))
            continue;
        assert_true(at < series.count);
        double wanted = as_stored(value, channel->step);
        double wanted_time = (double)(stream->at[row] / NS_PER_US) / 1e6;
        if (series.value[at] != wanted || series.time[at] != wanted_time)
            fail_msg("%s: wrote %.17g at %.17g, read %.17g at %.17g", channel->key, wanted,
                     wanted_time, series.value[at], series.time[at]);
        at++;
    }
    assert_int_equal(at, series.count);
    series_free(&series);
}

static size_t values_in(const struct model_stream *stream, size_t number)
{
    size_t count = 0;
    for (size_t row = 0; row < stream->rows; row++)
        count += isnan(stream->values[number][row]) ? 0 : 1;
    return count;
}

static void compare_stream(struct run *run, const struct model_stream *wanted)
{
    size_t index = find_stream(run, &wanted->origin), present = 0;
    assert_true(index != SIZE_MAX);
    assert_int_equal(run_stream(run, index)->count, wanted->rows);
    for (size_t i = 0; i < wanted->channel_count; i++) {
        if (values_in(wanted, i) == 0)
            continue; /* never said, so no column was made */
        compare_channel(run, wanted, i);
        present++;
    }
    assert_int_equal(run_stream(run, index)->channel_count, present);
}

static void random_runs_come_back(void **state)
{
    (void)state;
    seed_chance("random_runs_come_back");
    random_model();
    const char *path = in_folder("random.h5");
    struct run_writer *writer = begin_with(path, NULL, three_inputs, 3);
    write_model(writer);
    finish(writer, 3600 * NS_PER_S, NULL);
    struct run *run = open_run(path);
    assert_int_equal(run_stream_count(run), MODEL_STREAMS);
    for (size_t i = 0; i < MODEL_STREAMS; i++)
        compare_stream(run, &model[i]);
    struct findings findings = check_run(run);
    if (findings.worst != 0)
        fail_msg("%s", findings.text);
    run_close(run);
    free_model();
    unlink(path);
}

/* --- values */

/* A number as it stands in a sentence comes back as the same double, not as one beside it. */
static void decimals_come_back_exactly(void **state)
{
    (void)state;
    const char *path = in_folder("decimals.h5");
    struct run_writer *writer = begin(path);
    struct origin origin = make_origin(PROTOCOL_NMEA0183, PLACE_ENGINE, 0, "XDR", "II", "");
    char text[32];
    for (int i = 0; i < 10000; i++) {
        snprintf(text, sizeof text, "%d.%d", i / 100, i % 100);
        put_value(writer, i * NS_PER_MS, &origin, CHANNEL_COOLANT_TEMPERATURE, strtod(text, NULL));
    }
    finish(writer, 10 * NS_PER_S, NULL);
    struct run *run = open_run(path);
    struct series series = read_channel(run, &origin, CHANNEL_COOLANT_TEMPERATURE);
    assert_int_equal(series.count, 10000);
    for (int i = 0; i < 10000; i++) {
        snprintf(text, sizeof text, "%d.%d", i / 100, i % 100);
        assert_true(series.value[i] == strtod(text, NULL));
    }
    series_free(&series);
    run_close(run);
    unlink(path);
}

static void every_channel_keeps_its_range(void **state)
{
    (void)state;
    const char *path = in_folder("ranges.h5");
    struct run_writer *writer = begin(path);
    struct origin origin = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "ALL", "II", "");
    for (int id = 0; id < CHANNEL_COUNT; id++) {
        put_value(writer, 1, &origin, (enum channel_id)id, channel_get((enum channel_id)id)->low);
        put_value(writer, 2, &origin, (enum channel_id)id, channel_get((enum channel_id)id)->high);
    }
    finish(writer, NS_PER_S, NULL);
    struct run *run = open_run(path);
    assert_int_equal(check_run(run).worst, 0);
    for (int id = 0; id < CHANNEL_COUNT; id++) {
        const struct channel *channel = channel_get((enum channel_id)id);
        struct series series = read_channel(run, &origin, (enum channel_id)id);
        assert_int_equal(series.count, 2);
        assert_true(fabs(series.value[0] - channel->low) <= channel->step / 2);
        assert_true(fabs(series.value[1] - channel->high) <= channel->step / 2);
        series_free(&series);
    }
    run_close(run);
    unlink(path);
}

/* Beyond int32 steps nothing can be stored: it is counted, and its neighbours are kept. */
static void values_beyond_all_steps_are_counted(void **state)
{
    (void)state;
    const char *path = in_folder("beyond.h5");
    struct run_writer *writer = begin(path);
    struct origin origin = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "MTW", "II", "");
    put_value(writer, 1 * NS_PER_S, &origin, CHANNEL_SEA_TEMPERATURE, 1e9);
    put_value(writer, 2 * NS_PER_S, &origin, CHANNEL_SEA_TEMPERATURE, 12.5);
    put_value(writer, 3 * NS_PER_S, &origin, CHANNEL_SEA_TEMPERATURE, -1e300);
    put_value(writer, 4 * NS_PER_S, &origin, CHANNEL_SEA_TEMPERATURE, INFINITY);
    struct tally tally = {0};
    tally_add_many(&tally, REASON_OUT_OF_RANGE, 2 * NS_PER_S, 5);
    finish(writer, 5 * NS_PER_S, &tally);
    struct run *run = open_run(path);
    struct series series = read_channel(run, &origin, CHANNEL_SEA_TEMPERATURE);
    assert_int_equal(series.count, 1);
    assert_true(series.value[0] == 12.5);
    const struct tally_line *line = &run_tally(run, 0)->line[REASON_OUT_OF_RANGE];
    assert_int_equal(line->count, 8);
    assert_int_equal(line->first, 1 * NS_PER_S);
    assert_int_equal(line->last, 4 * NS_PER_S);
    series_free(&series);
    run_close(run);
    unlink(path);
}

static void times_that_go_back_are_sorted_and_told(void **state)
{
    (void)state;
    const char *path = in_folder("back.h5");
    struct run_writer *writer = begin(path);
    struct origin origin = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "MTW", "II", "");
    static const int64_t at[] = {5, 3, 3, 9, 1, 3};
    for (int i = 0; i < 6; i++)
        put_value(writer, at[i] * NS_PER_S, &origin, CHANNEL_SEA_TEMPERATURE, i);
    finish(writer, 10 * NS_PER_S, NULL);
    struct run *run = open_run(path);
    struct series series = read_channel(run, &origin, CHANNEL_SEA_TEMPERATURE);
    static const double times[] = {1, 3, 3, 3, 5, 9}, values[] = {4, 1, 2, 5, 0, 3};
    assert_int_equal(series.count, 6);
    for (int i = 0; i < 6; i++)
        assert_true(series.time[i] == times[i] && series.value[i] == values[i]);
    struct findings findings = check_run(run);
    assert_int_equal(findings.worst, 1);
    must_say(findings.text, "time goes back 2 times");
    series_free(&series);
    run_close(run);
    unlink(path);
}

static void instants_before_the_start_are_kept(void **state)
{
    (void)state;
    const char *path = in_folder("early.h5");
    struct run_writer *writer = begin(path);
    struct origin origin = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "MTW", "II", "");
    put_value(writer, -1500, &origin, CHANNEL_SEA_TEMPERATURE, 1);
    put_value(writer, 1999, &origin, CHANNEL_SEA_TEMPERATURE, 2);
    finish(writer, NS_PER_S, NULL);
    struct run *run = open_run(path);
    struct series series = read_channel(run, &origin, CHANNEL_SEA_TEMPERATURE);
    assert_true(series.time[0] == -2e-6 && series.time[1] == 1e-6);
    series_free(&series);
    run_close(run);
    unlink(path);
}

static void a_channel_that_is_not_there_is_said_so(void **state)
{
    (void)state;
    const char *path = in_folder("absent.h5");
    struct run_writer *writer = begin(path);
    struct origin origin = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "MTW", "II", "");
    put_value(writer, 1, &origin, CHANNEL_SEA_TEMPERATURE, 1);
    finish(writer, NS_PER_S, NULL);
    struct run *run = open_run(path);
    struct series series;
    struct complaint complaint;
    assert_int_equal(run_read_series(run, 0, CHANNEL_DEPTH, &series, &complaint), STATUS_NOT_FOUND);
    assert_int_equal(run_read_series(run, 1, CHANNEL_SEA_TEMPERATURE, &series, &complaint),
                     STATUS_NOT_FOUND);
    assert_null(run_stream(run, 1));
    assert_null(run_tally(run, 1));
    assert_null(run_input_at(run, 1));
    run_close(run);
    unlink(path);
}

/* --- origins and names */

static void names_are_plain_and_unique(void **state)
{
    (void)state;
    const char *path = in_folder("names.h5");
    struct run_writer *writer = begin(path);
    static const char *const labels[] = {"C:A#0", "C:A/0", "C:A.0", "C A 0", "..", "/", "~"};
    struct origin origins[ARRAY_COUNT(labels)];
    for (size_t i = 0; i < ARRAY_COUNT(labels); i++) {
        origins[i] =
            make_origin(PROTOCOL_NMEA0183, PLACE_ENGINE, 252, "XDR", "GP0001/GP", labels[i]);
        put_value(writer, NS_PER_S, &origins[i], CHANNEL_OTHER_TEMPERATURE, (double)i);
    }
    finish(writer, NS_PER_S, NULL);
    struct run *run = open_run(path);
    assert_int_equal(run_stream_count(run), ARRAY_COUNT(labels));
    for (size_t i = 0; i < ARRAY_COUNT(labels); i++) {
        struct series series = read_channel(run, &origins[i], CHANNEL_OTHER_TEMPERATURE);
        assert_true(series.count == 1 && series.value[0] == (double)i);
        const char *group = run_stream(run, find_stream(run, &origins[i]))->group;
        static const char *const plain = "/measurements/engine_252/XDR_GP0001_GP_";
        assert_int_equal(strncmp(group, plain, strlen(plain)), 0);
        assert_int_equal(strspn(group + strlen(plain), "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_"),
                         strlen(group + strlen(plain)));
        series_free(&series);
    }
    run_close(run);
    unlink(path);
}

static void the_input_stands_in_the_name_where_there_are_several(void **state)
{
    (void)state;
    const char *path = in_folder("inputs.h5");
    struct run_writer *writer = begin_with(path, NULL, three_inputs, 3);
    struct origin origin = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "MTW", "II", "");
    put_value(writer, 1, &origin, CHANNEL_SEA_TEMPERATURE, 10);
    origin.input = 2;
    put_value(writer, 1, &origin, CHANNEL_SEA_TEMPERATURE, 11);
    finish(writer, NS_PER_S, NULL);
    struct run *run = open_run(path);
    assert_int_equal(run_stream_count(run), 2);
    assert_string_equal(run_stream(run, 0)->group, "/measurements/vessel/MTW_II_nmea");
    assert_string_equal(run_stream(run, 1)->group, "/measurements/vessel/MTW_II_udp");
    assert_int_equal(run_input_count(run), 3);
    assert_string_equal(run_input_at(run, 2)->text, "udp:10110");
    assert_string_equal(run_input_at(run, 2)->label, "udp");
    run_close(run);
    unlink(path);
}

static void the_longest_names_fit(void **state)
{
    (void)state;
    const char *path = in_folder("longest.h5");
    struct run_input inputs[2] = {{"can:can0", "a"}, {"can:can1", "a"}};
    memset(inputs[0].label, 'l', sizeof inputs[0].label - 1);
    struct run_writer *writer = begin_with(path, NULL, inputs, 2);
    struct origin origins[2];
    for (int i = 0; i < 2; i++) {
        origins[i] = make_origin(PROTOCOL_NMEA0183, PLACE_BATTERY, 252, "", "", "");
        memset(origins[i].message, 'm', sizeof origins[i].message - 1);
        memset(origins[i].source, 's', sizeof origins[i].source - 1);
        memset(origins[i].label, i ? '/' : '.', sizeof origins[i].label - 1);
        put_value(writer, 1, &origins[i], CHANNEL_BATTERY_VOLTAGE, 20 + i);
    }
    finish(writer, NS_PER_S, NULL);
    struct run *run = open_run(path);
    for (int i = 0; i < 2; i++) {
        struct series series = read_channel(run, &origins[i], CHANNEL_BATTERY_VOLTAGE);
        assert_true(series.count == 1 && series.value[0] == 20 + i);
        series_free(&series);
    }
    run_close(run);
    unlink(path);
}

/* More origins than a file holds: the first ones are kept, the rest is counted. */
static void too_many_origins_are_counted(void **state)
{
    (void)state;
    const char *path = in_folder("many.h5");
    struct run_writer *writer = begin(path);
    struct origin origin;
    char source[20];
    for (int i = 0; i < STREAMS_MAX + 7; i++) {
        snprintf(source, sizeof source, "%d", i);
        origin =
            make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, (unsigned)i % 3, "127488", source, "");
        put_value(writer, i * NS_PER_MS, &origin, CHANNEL_ENGINE_SPEED, i);
    }
    finish(writer, 10 * NS_PER_S, NULL);
    struct run *run = open_run(path);
    assert_int_equal(run_stream_count(run), STREAMS_MAX);
    assert_int_equal(run_tally(run, 0)->line[REASON_NOT_KEPT].count, 7);
    for (int i = 0; i < STREAMS_MAX; i += 97) {
        snprintf(source, sizeof source, "%d", i);
        origin =
            make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, (unsigned)i % 3, "127488", source, "");
        struct series series = read_channel(run, &origin, CHANNEL_ENGINE_SPEED);
        assert_true(series.count == 1 && series.value[0] == i);
        series_free(&series);
    }
    run_close(run);
    unlink(path);
}

/* A stream that is as long as a reader takes: what comes then is counted, a channel that is new
 * then too, and the file is as good as any. The bound is set low here, to a row behind a chunk. */
static void too_many_rows_are_counted(void **state)
{
    (void)state;
    const uint64_t most = CHUNK_MEASUREMENTS + 1;
    const char *path = in_folder("long.h5");
    struct run_writer *writer = begin(path);
    struct origin fast = make_origin(PROTOCOL_NMEA0183, PLACE_ENGINE, 0, "RPM", "II", "");
    struct origin slow = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "MTW", "II", "");
    assert_int_equal(writer->rows_most, ROWS_SERIES_MAX);
    writer->rows_most = most;
    for (uint64_t i = 0; i < most + 7; i++)
        put_value(writer, (int64_t)i * NS_PER_MS, &fast, CHANNEL_ENGINE_SPEED, (double)i);
    put_value(writer, 9 * NS_PER_S, &fast, CHANNEL_COOLANT_TEMPERATURE, 80);
    put_value(writer, 9 * NS_PER_S, &slow, CHANNEL_SEA_TEMPERATURE, 15);
    finish(writer, 10 * NS_PER_S, NULL);
    struct run *run = open_run(path);
    const struct tally_line *line = &run_tally(run, 0)->line[REASON_NOT_KEPT];
    assert_int_equal(line->count, 8);
    assert_int_equal(line->first, (int64_t)most * NS_PER_MS);
    assert_int_equal(line->last, 9 * NS_PER_S);
    struct series series = read_channel(run, &fast, CHANNEL_ENGINE_SPEED);
    assert_int_equal(series.count, most);
    assert_float_equal(series.value[most - 1], (double)(most - 1), 0);
    series_free(&series);
    series = read_channel(run, &slow, CHANNEL_SEA_TEMPERATURE);
    assert_int_equal(series.count, 1);
    series_free(&series);
    assert_int_equal(check_run(run).worst, 0);
    run_close(run);
    unlink(path);
}

/* A decoder must not give such text; if one does, the run is not lost by it. */
static void strange_text_in_an_origin_does_no_harm(void **state)
{
    (void)state;
    const char *path = in_folder("strange.h5");
    struct run_writer *writer = begin(path);
    struct origin origin =
        make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "XDR", "II", "C:\xFF\n#");
    memset(origin.source, 'Z', sizeof origin.source);
    put_value(writer, 1, &origin, CHANNEL_SEA_TEMPERATURE, 10);
    assert_int_equal(run_write_event(writer, 1, &origin, "key", "text"), STATUS_OK);
    assert_int_equal(run_write_utc(writer, 1, &origin, START_US), STATUS_OK);
    finish(writer, NS_PER_S, NULL);
    struct run *run = open_run(path);
    assert_string_equal(run_stream(run, 0)->origin.label, "C:\?\?#");
    assert_int_equal(strlen(run_stream(run, 0)->origin.source), 19);
    run_close(run);
    unlink(path);
}

/* --- facts, head, tallies, events */

static void facts_come_back_whatever_they_say(void **state)
{
    (void)state;
    struct facts facts = {0};
    char longest[FACT_VALUE_MAX + 1];
    memset(longest, 'x', FACT_VALUE_MAX);
    longest[FACT_VALUE_MAX] = '\0';
    facts_set(&facts, FACT_BOAT, 0, "name", "Tern's Reach", NULL);
    facts_set(&facts, FACT_BOAT, 0, "owner", " Zoë \"Quay\" O'Łęk \\ 船 \xF0\x9F\x9A\xA4 ", NULL);
    facts_set(&facts, FACT_RUN, 0, "notes", "one\ntwo\r\n\tthree\x01\x7F\n", NULL);
    facts_set(&facts, FACT_RUN, 0, "hull", longest, NULL);
    facts_set(&facts, FACT_RUN, 0, "purpose", "after", NULL);
    facts_set(&facts, FACT_ENGINE, 0, "thermostat", "71, 82", NULL);
    facts_set(&facts, FACT_ENGINE, 252, "label", "starboard", NULL);
    assert_int_equal(facts.count, 7);
    const char *path = in_folder("facts.h5");
    finish(begin_with(path, &facts, &one_input, 1), NS_PER_S, NULL);
    struct run *run = open_run(path);
    assert_int_equal(run_facts(run)->count, facts.count);
    for (size_t i = 0; i < facts.count; i++) {
        const struct fact *fact = &facts.list[i];
        assert_string_equal(facts_get(run_facts(run), fact->section, fact->engine, fact->key),
                            fact->value);
    }
    run_close(run);
    facts_free(&facts);
    unlink(path);
}

static bool is_uuid(const char *text)
{
    if (strlen(text) != 36 || text[14] != '4' || !strchr("89ab", text[19]))
        return false;
    for (int i = 0; i < 36; i++)
        if (i == 8 || i == 13 || i == 18 || i == 23 ? text[i] != '-'
                                                    : !strchr("0123456789abcdef", text[i]))
            return false;
    return true;
}

static void the_head_says_what_run_it_is(void **state)
{
    (void)state;
    const char *path = in_folder("head.h5");
    char first_id[64];
    for (int clean = 0; clean < 2; clean++) {
        struct run_writer *writer = begin(path);
        struct run_end end = end_at(1500 * NS_PER_MS, NULL);
        end.clean = clean != 0;
        struct complaint complaint;
        assert_int_equal(run_write_close(writer, &end, &complaint), STATUS_OK);
        struct run *run = open_run(path);
        const struct run_facts_of *about = run_about(run);
        assert_string_equal(about->path, path);
        assert_string_equal(about->software, "test 1");
        assert_int_equal(about->format_version, 1);
        assert_true(is_uuid(about->run_id));
        assert_true(about->start_unix_us == START_US);
        assert_true(about->end_unix_us == START_US + 1500000);
        assert_true(about->duration == 1.5);
        assert_int_equal(about->clock, CLOCK_GNSS);
        assert_int_equal(about->closed_cleanly, clean);
        assert_false(about->rebuilt);
        assert_int_equal(check_run(run).worst, clean ? 0 : 1);
        if (clean)
            assert_string_not_equal(about->run_id, first_id);
        snprintf(first_id, sizeof first_id, "%s", about->run_id);
        run_close(run);
        unlink(path);
    }
}

static void a_rebuilt_run_says_so(void **state)
{
    (void)state;
    const char *path = in_folder("rebuilt.h5");
    struct run_start start = {.path = path, .start_unix_us = 0, .rebuilt = true};
    struct run_writer *writer;
    struct complaint complaint;
    assert_int_equal(run_write_open(&start, &writer, &complaint), STATUS_OK);
    finish(writer, NS_PER_S, NULL);
    struct run *run = open_run(path);
    assert_true(run_about(run)->rebuilt);
    assert_int_equal(run_input_count(run), 0);
    assert_int_equal(run_stream_count(run), 0);
    must_say(check_run(run).text, "from the journal");
    run_close(run);
    unlink(path);
}

/* The wall clock is often put right during a run: what is known at the end stands in the file. */
static void dates_come_from_the_end_of_the_run(void **state)
{
    (void)state;
    static const int64_t starts[] = {START_US, 0, INT64_C(951782399999999), 1,
                                     INT64_C(4102444800000000)};
    const char *path = in_folder("dates.h5");
    for (size_t i = 0; i < ARRAY_COUNT(starts); i++) {
        struct run_writer *writer = begin(path);
        struct run_end end = {.end = 86400 * NS_PER_S, .start_unix_us = starts[i], .clean = true};
        struct complaint complaint;
        assert_int_equal(run_write_close(writer, &end, &complaint), STATUS_OK);
        struct run *run = open_run(path);
        assert_true(run_about(run)->start_unix_us == starts[i]);
        assert_true(run_about(run)->end_unix_us == starts[i] + INT64_C(86400000000));
        run_close(run);
        unlink(path);
    }
}

static void tallies_come_back(void **state)
{
    (void)state;
    const char *path = in_folder("tallies.h5");
    struct run_writer *writer = begin_with(path, NULL, three_inputs, 3);
    struct tally tallies[3];
    memset(tallies, 0, sizeof tallies);
    for (int reason = 0; reason < REASON_COUNT; reason++) {
        tally_add_many(&tallies[1], (enum reason)reason, 5000 * reason, (uint64_t)reason * 1000);
        tally_add(&tallies[1], (enum reason)reason, 7000 * reason);
    }
    tally_add_many(&tallies[2], REASON_FRAMES, 3, UINT64_MAX);
    finish(writer, NS_PER_S, tallies);
    struct run *run = open_run(path);
    for (size_t i = 0; i < 3; i++)
        for (int reason = 0; reason < REASON_COUNT; reason++) {
            const struct tally_line *wanted = &tallies[i].line[reason];
            const struct tally_line *found = &run_tally(run, i)->line[reason];
            assert_true(found->count == wanted->count);
            if (wanted->count == 0)
                continue;
            assert_int_equal(found->first / 1000, wanted->first / 1000);
            assert_int_equal(found->last / 1000, wanted->last / 1000);
        }
    struct findings findings = check_run(run);
    assert_int_equal(findings.worst, 0);
    must_say(findings.text, "0 can0: 1001 sentences whose checksum did not match");
    run_close(run);
    unlink(path);
}

static void events_gaps_and_utc_come_back(void **state)
{
    (void)state;
    const char *path = in_folder("events.h5");
    struct run_writer *writer = begin(path);
    struct origin origin = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 1, "127489", "35", "");
    char text[400];
    memset(text, 'e', sizeof text);
    memcpy(text + 254, "°", 2);
    text[399] = '\0';
    for (int i = 0; i < 700; i++) {
        assert_int_equal(run_write_event(writer, i * NS_PER_MS, i % 2 ? &origin : NULL,
                                         "over_temperature", i % 3 ? "Kühlwasser \"heiß\"" : text),
                         STATUS_OK);
        assert_int_equal(run_write_utc(writer, i * NS_PER_MS, &origin, START_US + i), STATUS_OK);
        assert_int_equal(
            run_write_gap(writer, i * NS_PER_S, (i + 1) * NS_PER_S, 0, "unplugged", (uint64_t)i),
            STATUS_OK);
    }
    finish(writer, NS_PER_S, NULL);
    struct run *run = open_run(path);
    const struct run_event *events;
    const struct run_gap *gaps;
    const struct run_utc *utcs;
    size_t event_count, gap_count, utc_count;
    struct origin nobody;
    memset(&nobody, 0, sizeof nobody);
    assert_int_equal(run_events(run, &events, &event_count, NULL), STATUS_OK);
    assert_int_equal(run_gaps(run, &gaps, &gap_count, NULL), STATUS_OK);
    assert_int_equal(run_utcs(run, &utcs, &utc_count, NULL), STATUS_OK);
    assert_true(event_count == 700 && gap_count == 700 && utc_count == 700);
    for (int i = 0; i < 700; i++) {
        assert_true(events[i].time == i / 1000.0 && utcs[i].time == i / 1000.0);
        assert_string_equal(events[i].key, "over_temperature");
        if (i % 3)
            assert_string_equal(events[i].text, "Kühlwasser \"heiß\"");
        else
            assert_int_equal(strlen(events[i].text), 254); /* cut before the half character */
        assert_memory_equal(&events[i].origin, i % 2 ? &origin : &nobody, sizeof origin);
        assert_memory_equal(&utcs[i].origin, &origin, sizeof origin);
        assert_true(utcs[i].unix_us == START_US + i);
        assert_true(gaps[i].from == i && gaps[i].to == i + 1 && gaps[i].lost == (uint64_t)i);
        assert_string_equal(gaps[i].why, "unplugged");
    }
    struct findings findings = check_run(run);
    must_say(findings.text, "gap of 1.000 s at 3.000 s on nmea: unplugged; 3 messages lost");
    must_say(findings.text, "680 further gaps");
    run_close(run);
    unlink(path);
}

/* --- raw messages */

#define RAW_COUNT 40000

struct raw_model {
    int64_t at;
    unsigned input;
    uint32_t id;
    size_t length;
    unsigned char bytes[600];
};

static struct raw_model *raw_written;

static void make_raw(size_t number, int64_t at)
{
    struct raw_model *raw = &raw_written[number];
    raw->at = at;
    raw->input = chance_below(3);
    raw->id = raw->input == 1 ? (uint32_t)chance() : 0;
    raw->length = raw->input == 1    ? chance_below(9)
                  : chance_below(50) ? chance_below(90)
                                     : chance_below(600);
    for (size_t i = 0; i < raw->length; i++)
        raw->bytes[i] = (unsigned char)chance();
}

struct raw_walk {
    size_t at, stop;
};

static bool compare_raw(void *self, const struct raw_message *message)
{
    struct raw_walk *walk = self;
    const struct raw_model *wanted = &raw_written[walk->at++];
    assert_int_equal(message->at, wanted->at);
    assert_int_equal(message->input, wanted->input);
    assert_int_equal(message->is_can, wanted->input == 1);
    assert_int_equal(message->can_id, wanted->id);
    assert_int_equal(message->length, wanted->length);
    if (wanted->length)
        assert_memory_equal(message->bytes, wanted->bytes, wanted->length);
    return walk->at != walk->stop;
}

static void write_raw(struct run_writer *writer, const struct raw_model *raw)
{
    enum status status =
        raw->input == 1
            ? run_write_frame(writer, raw->at, 1, raw->id, raw->bytes, (unsigned)raw->length)
            : run_write_line(writer, raw->at, raw->input, (const char *)raw->bytes, raw->length);
    assert_int_equal(status, STATUS_OK);
}

/* By instant, then by input, then as recorded: what the header promises. */
static void sort_raw(void)
{
    for (size_t i = 1; i < RAW_COUNT; i++) /* nearly sorted already, so insertion is quick */
        for (size_t k = i; k > 0 && (raw_written[k - 1].at > raw_written[k].at ||
                                     (raw_written[k - 1].at == raw_written[k].at &&
                                      raw_written[k - 1].input > raw_written[k].input));
             k--) {
            struct raw_model swap = raw_written[k];
            raw_written[k] = raw_written[k - 1];
            raw_written[k - 1] = swap;
        }
}

static void raw_messages_come_back_in_order(void **state)
{
    (void)state;
    seed_chance("raw_messages_come_back_in_order");
    raw_written = calloc(RAW_COUNT, sizeof *raw_written);
    assert_non_null(raw_written);
    const char *path = in_folder("raw.h5");
    struct run_writer *writer = begin_with(path, NULL, three_inputs, 3);
    int64_t at = 0;
    for (size_t i = 0; i < RAW_COUNT; i++) {
        at += (int64_t)chance_below(3) * NS_PER_US;
        make_raw(i, at);
        write_raw(writer, &raw_written[i]);
    }
    finish(writer, NS_PER_S, NULL);
    sort_raw();
    struct run *run = open_run(path);
    struct raw_walk walk = {0, 0};
    assert_int_equal(run_raw(run, compare_raw, &walk, NULL), STATUS_OK);
    assert_int_equal(walk.at, RAW_COUNT);
    walk = (struct raw_walk){0, 100};
    assert_int_equal(run_raw(run, compare_raw, &walk, NULL), STATUS_OK);
    assert_int_equal(walk.at, 100);
    assert_int_equal(check_run(run).worst, 0);
    run_close(run);
    free(raw_written);
    unlink(path);
}

struct line_walk {
    size_t count;
    size_t lengths[8];
    bool can[8];
};

static bool note_raw(void *self, const struct raw_message *message)
{
    struct line_walk *walk = self;
    assert_true(walk->count < 8);
    walk->lengths[walk->count] = message->length;
    walk->can[walk->count++] = message->is_can;
    return true;
}

/* Empty lines, lines longer than all buffers, and lines and frames on one input. */
static void odd_raw_messages_are_kept(void **state)
{
    (void)state;
    const char *path = in_folder("odd.h5");
    struct run_writer *writer = begin(path);
    char *line = malloc(70000);
    assert_non_null(line);
    memset(line, '$', 70000);
    assert_int_equal(run_write_line(writer, 1000, 0, "", 0), STATUS_OK);
    assert_int_equal(run_write_line(writer, 2000, 0, line, 65536), STATUS_OK);
    assert_int_equal(run_write_line(writer, 3000, 0, line, 70000), STATUS_OK);
    assert_int_equal(run_write_frame(writer, 4000, 0, 0x123, NULL, 0), STATUS_OK);
    assert_int_equal(run_write_line(writer, 5000, 0, "", 0), STATUS_OK);
    assert_int_equal(run_write_line(writer, 4500, 0, line, 5), STATUS_OK);
    finish(writer, NS_PER_S, NULL);
    free(line);
    struct run *run = open_run(path);
    struct line_walk walk = {0};
    assert_int_equal(run_raw(run, note_raw, &walk, NULL), STATUS_OK);
    static const size_t lengths[] = {0, 65536, 65536, 0, 0, 5};
    assert_int_equal(walk.count, 6);
    for (size_t i = 0; i < 6; i++)
        assert_true(walk.lengths[i] == lengths[i] && walk.can[i] == (i == 3));
    assert_int_equal(run_tally(run, 0)->line[REASON_TOO_LONG].count, 1);
    struct findings findings = check_run(run);
    assert_int_equal(findings.worst, 1);
    must_say(findings.text, "/raw/nmea: time goes back 1 times");
    run_close(run);
    unlink(path);
}

static bool never_called(void *self, const struct raw_message *message)
{
    (void)self;
    (void)message;
    fail_msg("there is no raw message");
    return false;
}

static void an_empty_run_is_a_run(void **state)
{
    (void)state;
    const char *path = in_folder("empty.h5");
    finish(begin(path), 0, NULL);
    struct run *run = open_run(path);
    assert_int_equal(run_stream_count(run), 0);
    assert_int_equal(run_facts(run)->count, 0);
    assert_int_equal(run_raw(run, never_called, NULL, NULL), STATUS_OK);
    assert_int_equal(check_run(run).worst, 0);
    run_close(run);
    unlink(path);
}

/* --- refusals and failures */

static void refused(const char *path, enum status wanted, const char *words)
{
    struct run_start start = {.path = path, .inputs = &one_input, .input_count = 1};
    struct run_writer *writer = NULL;
    struct complaint complaint = {""};
    assert_int_equal(run_write_open(&start, &writer, &complaint), wanted);
    assert_null(writer);
    must_say(complaint.text, words);
}

static bool library_is_threadsafe = true;

/* Stands in front of the library's own in this program. */
herr_t H5is_library_threadsafe(hbool_t *is_safe)
{
    *is_safe = library_is_threadsafe;
    return 0;
}

static void a_library_without_a_lock_is_refused(void **state)
{
    (void)state;
    const char *path = in_folder("unsafe.h5");
    library_is_threadsafe = false;
    refused(path, STATUS_NO_TOOL, "built with --enable-threadsafe");
    library_is_threadsafe = true;
    assert_false(file_is_there(in_folder("unsafe.h5.part")));
    finish(begin(path), 0, NULL);
    unlink(path);
}

static void nothing_is_overwritten(void **state)
{
    (void)state;
    const char *path = in_folder("there.h5");
    write_bytes(path, "precious", 8);
    refused(path, STATUS_EXISTS, "never overwritten; choose another name");
    assert_false(file_is_there(in_folder("there.h5.part")));
    unlink(path);
    write_bytes(in_folder("there.h5.part"), "precious", 8);
    refused(path, STATUS_EXISTS, "If none is running, move that file away");
    size_t length;
    unsigned char *bytes = read_bytes(in_folder("there.h5.part"), &length);
    assert_true(length == 8 && memcmp(bytes, "precious", 8) == 0);
    free(bytes);
    unlink(in_folder("there.h5.part"));
    assert_int_equal(symlink("nowhere", path), 0);
    refused(path, STATUS_EXISTS, "never overwritten");
    unlink(path);
}

static void two_recordings_do_not_mix(void **state)
{
    (void)state;
    const char *path = in_folder("twice.h5");
    struct run_writer *writer = begin(path);
    refused(path, STATUS_EXISTS, "still going on");
    finish(writer, NS_PER_S, NULL);
    refused(path, STATUS_EXISTS, "never overwritten");
    unlink(path);
}

static void a_missing_folder_is_said(void **state)
{
    (void)state;
    refused(in_folder("no/such/run.h5"), STATUS_NOT_FOUND, "create it (mkdir -p)");
    write_bytes(in_folder("plain"), "x", 1);
    refused(in_folder("plain/run.h5"), STATUS_NOT_FOUND, "is not a folder");
    unlink(in_folder("plain"));
    refused("", STATUS_BAD_USAGE, "no name");
    char name[400];
    memset(name, 'n', sizeof name);
    name[399] = '\0';
    refused(in_folder(name), STATUS_BAD_USAGE, "too long");
}

/* As root everything may be written, so the test steps down for a moment. */
static void a_folder_without_permission_is_said(void **state)
{
    (void)state;
    assert_int_equal(chmod(folder, 0755), 0);
    assert_int_equal(mkdir(in_folder("locked"), 0555), 0);
    bool root = geteuid() == 0;
    if (root)
        assert_int_equal(seteuid(65534), 0);
    refused(in_folder("locked/run.h5"), STATUS_IO, "no permission");
    if (root)
        assert_int_equal(seteuid(0), 0);
    assert_int_equal(rmdir(in_folder("locked")), 0);
}

static void a_name_taken_meanwhile_is_not_overwritten(void **state)
{
    (void)state;
    const char *path = in_folder("meanwhile.h5"), *part = in_folder("meanwhile.h5.part");
    struct run_writer *writer = begin(path);
    write_bytes(path, "precious", 8);
    struct run_end end = end_at(NS_PER_S, NULL);
    struct complaint complaint = {""};
    assert_int_equal(run_write_close(writer, &end, &complaint), STATUS_EXISTS);
    must_say(complaint.text, "give it another name");
    size_t length;
    unsigned char *bytes = read_bytes(path, &length);
    assert_true(length == 8 && memcmp(bytes, "precious", 8) == 0);
    free(bytes);
    run_close(open_run(part)); /* the run is whole and can be renamed by hand */
    unlink(path);
    unlink(part);
}

static void an_abandoned_run_leaves_nothing(void **state)
{
    (void)state;
    const char *path = in_folder("abandoned.h5");
    struct run_writer *writer = begin(path);
    struct origin origin = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "MTW", "II", "");
    for (int i = 0; i < 5000; i++)
        put_value(writer, i, &origin, CHANNEL_SEA_TEMPERATURE, 10);
    assert_true(file_is_there(in_folder("abandoned.h5.part")));
    run_write_abandon(writer);
    assert_false(file_is_there(in_folder("abandoned.h5.part")));
    assert_false(file_is_there(path));
}

/* A storage that takes no more: a limit on the size of files stands for it. */
static enum status write_until_it_fails(struct run_writer *writer)
{
    enum status status = STATUS_OK;
    unsigned char data[8];
    for (int64_t i = 0; i < 2000000 && status == STATUS_OK; i++) {
        uint64_t noise = chance();
        memcpy(data, &noise, 8);
        status = run_write_frame(writer, i * 1000, 0, (uint32_t)(noise >> 16), data, 8);
    }
    return status;
}

static void a_write_that_fails_is_said_and_survived(void **state)
{
    (void)state;
    seed_chance("a_write_that_fails_is_said_and_survived");
    const char *path = in_folder("limit.h5");
    struct rlimit before, limit;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    signal(SIGXFSZ, SIG_IGN);
    limit = before;
    limit.rlim_cur = 3000000;
    struct run_writer *writer = begin(path);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
    enum status failed = write_until_it_fails(writer);
    assert_int_equal(failed, STATUS_IO);
    assert_int_equal(run_write_frame(writer, 0, 0, 0, NULL, 0), failed);
    assert_int_equal(run_write_line(writer, 0, 0, "", 0), failed);
    assert_int_equal(run_write_gap(writer, 0, 0, 0, "", 0), failed);
    struct run_end end = end_at(NS_PER_S, NULL);
    struct complaint complaint = {""};
    assert_int_equal(run_write_close(writer, &end, &complaint), failed);
    must_say(complaint.text, strerror(EFBIG));
    must_say(complaint.text, "limit.h5.part");
    assert_false(file_is_there(path));
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    /* The process goes on and records another run. */
    const char *next = in_folder("next.h5");
    finish(begin(next), NS_PER_S, NULL);
    run_close(open_run(next));
    unlink(next);
    unlink(in_folder("limit.h5.part"));
}

/* A device that is full answers with ENOSPC; a small file system of its own stands for it where the
 * test may mount one. */
static void a_full_storage_is_said(void **state)
{
    (void)state;
    seed_chance("a_full_storage_is_said");
    const char *small = in_folder("small");
    assert_int_equal(mkdir(small, 0755), 0);
    if (mount("none", small, "tmpfs", 0, "size=2m") != 0) {
        rmdir(small);
        printf("skipped: a small file system cannot be mounted here (%s)\n", strerror(errno));
        skip();
    }
    struct run_writer *writer = begin(in_folder("small/run.h5"));
    enum status failed = write_until_it_fails(writer);
    struct run_end end = end_at(NS_PER_S, NULL);
    struct complaint complaint = {""};
    enum status closed = run_write_close(writer, &end, &complaint);
    bool published = file_is_there(in_folder("small/run.h5"));
    umount2(small, MNT_DETACH);
    rmdir(small);
    assert_int_equal(failed, STATUS_FULL);
    assert_int_equal(closed, STATUS_FULL);
    assert_false(published);
    must_say(complaint.text, "Make room");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(random_runs_come_back),
        cmocka_unit_test(decimals_come_back_exactly),
        cmocka_unit_test(every_channel_keeps_its_range),
        cmocka_unit_test(values_beyond_all_steps_are_counted),
        cmocka_unit_test(times_that_go_back_are_sorted_and_told),
        cmocka_unit_test(instants_before_the_start_are_kept),
        cmocka_unit_test(a_channel_that_is_not_there_is_said_so),
        cmocka_unit_test(names_are_plain_and_unique),
        cmocka_unit_test(the_input_stands_in_the_name_where_there_are_several),
        cmocka_unit_test(the_longest_names_fit),
        cmocka_unit_test(too_many_origins_are_counted),
        cmocka_unit_test(too_many_rows_are_counted),
        cmocka_unit_test(strange_text_in_an_origin_does_no_harm),
        cmocka_unit_test(facts_come_back_whatever_they_say),
        cmocka_unit_test(the_head_says_what_run_it_is),
        cmocka_unit_test(a_rebuilt_run_says_so),
        cmocka_unit_test(dates_come_from_the_end_of_the_run),
        cmocka_unit_test(tallies_come_back),
        cmocka_unit_test(events_gaps_and_utc_come_back),
        cmocka_unit_test(raw_messages_come_back_in_order),
        cmocka_unit_test(odd_raw_messages_are_kept),
        cmocka_unit_test(an_empty_run_is_a_run),
        cmocka_unit_test(a_library_without_a_lock_is_refused),
        cmocka_unit_test(nothing_is_overwritten),
        cmocka_unit_test(two_recordings_do_not_mix),
        cmocka_unit_test(a_missing_folder_is_said),
        cmocka_unit_test(a_folder_without_permission_is_said),
        cmocka_unit_test(a_name_taken_meanwhile_is_not_overwritten),
        cmocka_unit_test(an_abandoned_run_leaves_nothing),
        cmocka_unit_test(a_write_that_fails_is_said_and_survived),
        cmocka_unit_test(a_full_storage_is_said),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
