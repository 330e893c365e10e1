/* test_run_readers.c - programs that know nothing of searun read a run file and agree: h5dump
 * (HDF5's own tool) and h5py where it is installed. Also the frozen file of format version 1. */
#include "run_support.h"

#include <math.h>

#define ROWS 9000 /* more than two chunks */

static struct origin engine, rudder, drops;

/* Values an outsider can compute again from the row number. */
static double speed_in(int row)
{
    return 600 + (row * 37 % 8800) * 0.25;
}
static double coolant_in(int row)
{
    return 70 + (row * 13 % 2500) * 0.01;
}

static void write_known_run(const char *path)
{
    static const struct run_input inputs[] = {{"can:can0", "can0"}, {"udp:10110", "udp"}};
    struct facts facts = {0};
    facts_set(&facts, FACT_BOAT, 0, "name", "Tern's Reach – \"Skerrow\"", NULL);
    facts_set(&facts, FACT_ENGINE, 1, "model", "Corrigal 6-230", NULL);
    struct run_writer *writer = begin_with(path, &facts, inputs, 2);
    for (int row = 0; row < ROWS; row++) {
        int64_t at = (int64_t)row * 100 * NS_PER_MS;
        struct value values[2] = {{CHANNEL_ENGINE_SPEED, speed_in(row)},
                                  {CHANNEL_COOLANT_TEMPERATURE, coolant_in(row)}};
        assert_int_equal(run_write_readings(writer, at, &engine, values, row < 5000 ? 1 : 2),
                         STATUS_OK);
        uint8_t data[8] = {(uint8_t)row, (uint8_t)(row >> 8), 3, 4, 5, 6, 7, 8};
        run_write_frame(writer, at, 0, 0x89F20023u, data, 8);
        if (row % 10 == 0) {
            put_value(writer, at, &rudder, CHANNEL_RUDDER_ANGLE, row / 1000.0 - 4);
            run_write_line(writer, at, 1, "$IIRSA,1.0,A,,V*4D", 18);
        }
    }
    put_value(writer, NS_PER_S, &drops, CHANNEL_LATITUDE, 57.1234567);
    put_value(writer, 2 * NS_PER_S, &drops, CHANNEL_LONGITUDE, -5.7654321);
    run_write_event(writer, NS_PER_S, &engine, "over_temperature", "Ärger");
    struct tally tallies[2];
    memset(tallies, 0, sizeof tallies);
    tally_add_many(&tallies[1], REASON_BAD_CHECKSUM, NS_PER_S, 12);
    finish(writer, ROWS / 10 * NS_PER_S, tallies);
    facts_free(&facts);
}

static int setup(void **state)
{
    engine = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 1, "127488", "35", "");
    rudder = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "RSA", "II", "");
    rudder.input = 1;
    drops = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "GGA", "GP", "");
    drops.input = 1;
    if (make_folder(state) != 0)
        return -1;
    write_known_run(in_folder("known.h5"));
    return 0;
}

#define SPEED "/measurements/engine_1/127488_35_can0/engine_speed"
#define COOLANT "/measurements/engine_1/127488_35_can0/coolant_temperature"

static char *h5dump(const char *option, const char *object)
{
    char *output;
    char *path = strdup(in_folder("known.h5"));
    char *arguments[] = {
        "h5dump", "-y", "-w", "0", (char *)(intptr_t)option, (char *)(intptr_t)object, path, NULL};
    int code = run_program(arguments, &output);
    free(path);
    if (code == -1) {
        free(output);
        printf("skipped: h5dump is not installed\n");
        skip();
    }
    assert_int_equal(code, 0);
    return output;
}

/* The numbers between "DATA {" and "}" are the packed ones: value = number * scale_factor. */
static int compare_packed(const char *output, double (*value_in)(int row), int first, double step)
{
    const char *at = strstr(output, "DATA {");
    assert_non_null(at);
    at += strlen("DATA {");
    int row = 0;
    for (;; row++) {
        char *end;
        long packed = strtol(at, &end, 10);
        if (end == at)
            break;
        double wanted = row < first ? INT32_MIN : round(value_in(row) / step);
        assert_true(packed == (long)wanted);
        at = end + strspn(end, ", \n");
    }
    return row;
}

static void h5dump_reads_the_packed_values(void **state)
{
    (void)state;
    char *output = h5dump("-d", SPEED);
    assert_int_equal(compare_packed(output, speed_in, 0, 0.005), ROWS);
    free(output);
    output = h5dump("-d", COOLANT);
    assert_int_equal(compare_packed(output, coolant_in, 5000, 0.001), ROWS);
    must_say(output, "H5T_STD_I32LE");
    free(output);
}

static void h5dump_reads_how_they_are_packed(void **state)
{
    (void)state;
    static const struct attribute {
        const char *name, *value;
    } attributes[] = {
        {COOLANT "/scale_factor", "0.001"},
        {COOLANT "/add_offset", "0"},
        {COOLANT "/_FillValue", "-2147483648"},
        {COOLANT "/valid_min", "-40000"},
        {COOLANT "/valid_max", "150000"},
        {COOLANT "/units", "\"degC\""},
        {COOLANT "/long_name", "\"Coolant temperature\""},
        {"/measurements/engine_1/127488_35_can0/time/units",
         "\"microseconds since 2024-05-01 10:00:00.250000\""},
        {"/measurements/engine_1/127488_35_can0/time/standard_name", "\"time\""},
        {"/measurements/engine_1/127488_35_can0/time/axis", "\"T\""},
        {"/measurements/engine_1/127488_35_can0/pgn", "127488"},
        {"/measurements/engine_1/127488_35_can0/source_address", "35"},
        {"/measurements/engine_1/127488_35_can0/instance", "1"},
        {"/measurements/vessel/RSA_II_udp/sentence", "\"RSA\""},
        {"/measurements/vessel/GGA_GP_udp/latitude/standard_name", "\"latitude\""},
        {"/run_start", "\"2024-05-01T10:00:00.250000Z\""},
        {"/run_end", "\"2024-05-01T10:15:00.250000Z\""},
        {"/Conventions", "\"CF-1.8\""},
        {"/format_version", "1"},
        {"/closed_cleanly", "1"},
        {"/clock_source", "\"gnss\""},
        {"/facts/engine_1/model", "\"Corrigal 6-230\""},
    };
    for (size_t i = 0; i < ARRAY_COUNT(attributes); i++) {
        char line[200];
        char *output = h5dump("-a", attributes[i].name);
        snprintf(line, sizeof line, "\n      %s\n", attributes[i].value);
        if (!strstr(output, line))
            fail_msg("%s is not %s in %s", attributes[i].name, attributes[i].value, output);
        free(output);
    }
}

static void h5dump_sees_checksums_and_the_time_scale(void **state)
{
    (void)state;
    char *output;
    char *path = strdup(in_folder("known.h5"));
    char *arguments[] = {"h5dump", "-p", "-H", "-d", COOLANT, path, NULL};
    int code = run_program(arguments, &output);
    free(path);
    if (code == -1) {
        free(output);
        skip();
    }
    must_say(output, "CHUNKED ( 4096 )");
    must_say(output, "PREPROCESSING SHUFFLE");
    must_say(output, "COMPRESSION DEFLATE { LEVEL 4 }");
    must_say(output, "CHECKSUM FLETCHER32");
    must_say(output, "DIMENSION_LIST");
    free(output);
}

/* Prints one line for each channel: where, how many, their sum, first and last date and value. */
static const char *const python_reader =
    "import sys, datetime, h5py\n"
    "f = h5py.File(sys.argv[1], 'r')\n"
    "def text(a): return a.decode('utf-8') if isinstance(a, bytes) else a\n"
    "def stream(name, group):\n"
    "    if not isinstance(group, h5py.Group) or 'time' not in group: return\n"
    "    time = group['time']\n"
    "    word, since, date = text(time.attrs['units']).split(' ', 2)\n"
    "    assert (word, since) == ('microseconds', 'since')\n"
    "    start = datetime.datetime.fromisoformat(date)\n"
    "    for key in sorted(group):\n"
    "        if key == 'time': continue\n"
    "        data = group[key]\n"
    "        assert data.dims[0][0] == time, key\n"
    "        raw = data[...]\n"
    "        there = raw != data.attrs['_FillValue']\n"
    "        values = raw[there] * data.attrs['scale_factor'] + data.attrs['add_offset']\n"
    "        us = time[...][there]\n"
    "        first = start + datetime.timedelta(microseconds=int(us[0]))\n"
    "        last = start + datetime.timedelta(microseconds=int(us[-1]))\n"
    "        print('%s/%s %s n=%d sum=%.4f first=%.6f last=%.6f %s %s' % (data.parent.name, key,\n"
    "              text(data.attrs['units']), len(values), values.sum(), values[0], values[-1],\n"
    "              first.isoformat(timespec='microseconds'),\n"
    "              last.isoformat(timespec='microseconds')))\n"
    "f['measurements'].visititems(stream)\n"
    "print('boat', text(f['facts/boat'].attrs['name']))\n"
    "print('frames', f['raw/can0/data'].shape, hex(f['raw/can0/can_id'][0]),\n"
    "      int(f['raw/can0/data'][:, :2].astype(int).sum()))\n"
    "lines = f['raw/udp']\n"
    "begin, end = lines['offset'][5], lines['offset'][6]\n"
    "print('line', bytes(lines['bytes'][begin:end]).decode())\n"
    "print('event', text(f['events/key'][0]), text(f['events/text'][0]))\n"
    "print('tally', text(f['tally/reason'][0]), f['tally/count'][0], f['tally/input'][0])\n";

/* The same lines from our own reader. */
static void print_date(char *to, size_t size, double seconds)
{
    time_t whole = (time_t)floor(0.25 + seconds + 1714557600.0);
    struct tm date;
    gmtime_r(&whole, &date);
    double micros = (0.25 + seconds - floor(0.25 + seconds)) * 1e6;
    char day[32];
    strftime(day, sizeof day, "%Y-%m-%dT%H:%M:%S", &date);
    snprintf(to, size, "%s.%06d", day, (int)lround(micros));
}

static void print_channel(struct run *run, size_t stream, enum channel_id channel, char *to,
                          size_t size)
{
    struct series series;
    char first[40], last[40];
    double sum = 0;
    assert_int_equal(run_read_series(run, stream, channel, &series, NULL), STATUS_OK);
    for (size_t i = 0; i < series.count; i++)
        sum += series.value[i];
    print_date(first, sizeof first, series.time[0]);
    print_date(last, sizeof last, series.time[series.count - 1]);
    snprintf(to, size, "%s/%s %s n=%zu sum=%.4f first=%.6f last=%.6f %s %s\n",
             run_stream(run, stream)->group, channel_get(channel)->key,
             unit_udunits(channel_get(channel)->unit), series.count, sum, series.value[0],
             series.value[series.count - 1], first, last);
    series_free(&series);
}

static void print_run(struct run *run, char *to, size_t size)
{
    to[0] = '\0';
    for (size_t i = 0; i < run_stream_count(run); i++)
        for (size_t k = 0; k < run_stream(run, i)->channel_count; k++)
            print_channel(run, i, run_stream(run, i)->channels[k], to + strlen(to),
                          size - strlen(to));
    long frames = 0;
    for (int row = 0; row < ROWS; row++)
        frames += (row & 255) + (row >> 8);
    snprintf(to + strlen(to), size - strlen(to),
             "boat %s\nframes (%d, 8) 0x89f20023 %ld\nline $IIRSA,1.0,A,,V*4D\n"
             "event over_temperature Ärger\ntally bad_checksum 12 1\n",
             facts_get(run_facts(run), FACT_BOAT, 0, "name"), ROWS, frames);
}

static void h5py_reads_the_same(void **state)
{
    (void)state;
    char *output, ours[4000];
    char *path = strdup(in_folder("known.h5"));
    char *ask[] = {"/usr/bin/python3", "-c", "import h5py", NULL};
    if (run_program(ask, &output) != 0) {
        free(output);
        free(path);
        printf("skipped: /usr/bin/python3 has no h5py\n");
        skip();
    }
    free(output);
    char *arguments[] = {"/usr/bin/python3", "-c", (char *)(intptr_t)python_reader, path, NULL};
    setenv("PYTHONIOENCODING", "utf-8", 1);
    assert_int_equal(run_program(arguments, &output), 0);
    struct run *run = open_run(path);
    print_run(run, ours, sizeof ours);
    assert_string_equal(output, ours);
    run_close(run);
    free(output);
    free(path);
}

/* --- the frozen file of format version 1: it must open and say the same for ever */

static const char *const frozen = "tests/frozen/run-format-1.h5";

static void the_frozen_head_is_read(struct run *run)
{
    const struct run_facts_of *about = run_about(run);
    const struct facts *facts = run_facts(run);
    double start, full, rated;
    assert_int_equal(about->format_version, 1);
    assert_string_equal(about->software, "searun-logger 0.1.0");
    assert_true(about->start_unix_us == INT64_C(1714557600250000));
    assert_true(about->duration == 60.0);
    assert_int_equal(about->clock, CLOCK_GNSS);
    assert_true(about->closed_cleanly && !about->rebuilt);
    assert_string_equal(facts_get(facts, FACT_BOAT, 0, "name"), "Tern's Reach");
    assert_string_equal(facts_get(facts, FACT_RUN, 0, "purpose"), "before service");
    assert_string_equal(facts_get(facts, FACT_RUN, 0, "notes"),
                        "slack water, \"new\" coolant\nSkye – Łódź");
    assert_true(facts_pair(facts, 0, "thermostat", &start, &full) && start == 71 && full == 82);
    assert_true(facts_number(facts, 0, "rated_rpm", &rated) && rated == 2800);
    assert_int_equal(run_input_count(run), 2);
    assert_string_equal(run_input_at(run, 0)->text, "serial:/dev/ttyUSB0,4800");
    assert_int_equal(run_tally(run, 0)->line[REASON_BAD_CHECKSUM].count, 3);
    assert_int_equal(run_tally(run, 1)->line[REASON_FRAMES].count, 600);
}

static void the_frozen_channels_are_read(struct run *run)
{
    struct origin bus = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 0, "127488", "35", "");
    struct origin xdr = make_origin(PROTOCOL_NMEA0183, PLACE_ENGINE, 0, "XDR", "II", "C:ENGINE#0");
    bus.input = 1;
    struct series speed = read_channel(run, &bus, CHANNEL_ENGINE_SPEED);
    struct series boost = read_channel(run, &bus, CHANNEL_BOOST_PRESSURE);
    struct series coolant = read_channel(run, &xdr, CHANNEL_COOLANT_TEMPERATURE);
    assert_true(speed.count == 600 && boost.count == 499 && coolant.count == 60);
    for (size_t i = 0; i < 600; i++)
        assert_true(speed.value[i] == 1450 + (double)(i % 40) * 0.25 &&
                    speed.time[i] == (double)i / 10);
    for (size_t i = 0; i < 499; i++)
        assert_true(boost.value[i] == 120 + (double)((i + 101) % 7));
    for (size_t i = 0; i < 60; i++)
        assert_true(coolant.value[i] == 80 + (double)(i * 10 % 100) / 10);
    series_free(&speed);
    series_free(&boost);
    series_free(&coolant);
}

static bool count_raw(void *self, const struct raw_message *message)
{
    size_t *counts = self;
    counts[message->input]++;
    if (message->is_can)
        assert_true(message->can_id == 0x89F20023u && message->length == 8);
    else
        assert_memory_equal(message->bytes, "$IIMTW,12.5,C*1B", 16);
    return true;
}

static void the_frozen_rest_is_read(struct run *run)
{
    const struct run_event *events;
    const struct run_gap *gaps;
    const struct run_utc *utcs;
    size_t count, raw[2] = {0, 0};
    assert_int_equal(run_events(run, &events, &count, NULL), STATUS_OK);
    assert_true(count == 1 && events[0].time == 5 && events[0].origin.number == 127488);
    assert_string_equal(events[0].key, "over_temperature");
    assert_int_equal(run_gaps(run, &gaps, &count, NULL), STATUS_OK);
    assert_true(count == 1 && gaps[0].from == 5 && gaps[0].to == 6 && gaps[0].lost == 7);
    assert_int_equal(run_utcs(run, &utcs, &count, NULL), STATUS_OK);
    assert_true(count == 1 && utcs[0].unix_us == INT64_C(1714557601000000));
    assert_int_equal(run_raw(run, count_raw, raw, NULL), STATUS_OK);
    assert_true(raw[0] == 60 && raw[1] == 600);
}

static void the_frozen_file_still_opens(void **state)
{
    (void)state;
    struct run *run = open_run(frozen);
    the_frozen_head_is_read(run);
    the_frozen_channels_are_read(run);
    the_frozen_rest_is_read(run);
    assert_int_equal(check_run(run).worst, 0);
    run_close(run);
}

/* --- the frozen run of a sheet: additive attributes of format version 1 */

static void test_frozen_sheet(void **state)
{
    (void)state;
    struct run *run = open_run("tests/frozen/run-format-1-by-hand.h5");
    struct origin gauge = make_origin(PROTOCOL_SHEET, PLACE_ENGINE, 0, "SHEET", "", "gauge");
    struct origin tachometer =
        make_origin(PROTOCOL_SHEET, PLACE_ENGINE, 0, "SHEET", "", "tachometer");
    struct series coolant = read_channel(run, &gauge, CHANNEL_COOLANT_TEMPERATURE);
    struct series held = read_channel(run, &tachometer, CHANNEL_SPEED_HELD);
    assert_int_equal(run_about(run)->format_version, 1);
    assert_true(coolant.count == 6 && held.count == 6);
    assert_true(fabs(coolant.value[0] - (165 - 32) / 1.8) < 1e-3 && coolant.time[0] == 600);
    assert_true(held.value[5] == 300);
    assert_true(coolant.accuracy.by_hand);
    assert_true(fabs(coolant.accuracy.step - 5 / 1.8) < 1e-9);
    assert_true(fabs(coolant.accuracy.instrument_u - 3 / sqrt(3.0)) < 1e-9);
    assert_string_equal(coolant.accuracy.instrument, "dash gauge as fitted");
    struct findings findings = check_run(run);
    assert_int_equal(findings.worst, 0);
    series_free(&coolant);
    series_free(&held);
    run_close(run);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_frozen_sheet),
        cmocka_unit_test(h5dump_reads_the_packed_values),
        cmocka_unit_test(h5dump_reads_how_they_are_packed),
        cmocka_unit_test(h5dump_sees_checksums_and_the_time_scale),
        cmocka_unit_test(h5py_reads_the_same),
        cmocka_unit_test(the_frozen_file_still_opens),
    };
    return cmocka_run_group_tests(tests, setup, remove_folder);
}
