/* bench_storage.c - size and speed of run files, on a made-up run of a twin-engined boat.
 *
 * Four hours (or the hours given as the first argument), 60 channels in 18 messages at the rates of
 * their standards, instants with the jitter of a bus, values that wander and carry noise in the
 * resolution of their messages. Prints:
 *   - bytes a sample in the run file, against one wide CSV file of the same data through gzip -6;
 *   - bytes a raw CAN frame;
 *   - CPU time in the writer for a second of data;
 *   - CPU time to load six channels for analysis, against bare H5Dread of the same datasets (the
 *   file is
 *     in memory; CPU time, because other programs disturb the clock).
 */
#include <fcntl.h>
#include <hdf5.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "run_read.h"

#define ARRAY_COUNT(array) (sizeof(array) / sizeof(array)[0])
#define FIELDS_MAX 10

/* What one message carries. `resolution` is that of the message, in the channel's unit. */
struct field {
    enum channel_id channel;
    double middle, swing, noise, resolution;
    int decimals; /* in CSV */
};

struct message {
    const char *pgn;
    enum place place;
    unsigned instance;
    double rate; /* Hz */
    struct field fields[FIELDS_MAX];
};

#define ENGINE(number)                                                                             \
    {"127488",                                                                                     \
     PLACE_ENGINE,                                                                                 \
     number,                                                                                       \
     10,                                                                                           \
     {{CHANNEL_ENGINE_SPEED, 1900, 700, 2, 0.25, 2},                                               \
      {CHANNEL_BOOST_PRESSURE, 110, 60, 0.5, 0.1, 1},                                              \
      {CHANNEL_DRIVE_TRIM, 20, 5, 0, 1, 0}}},                                                      \
        {"127489",                                                                                 \
         PLACE_ENGINE,                                                                             \
         number,                                                                                   \
         2,                                                                                        \
         {{CHANNEL_OIL_PRESSURE, 400, 60, 1, 0.1, 1},                                              \
          {CHANNEL_OIL_TEMPERATURE, 95, 8, 0.05, 0.1, 1},                                          \
          {CHANNEL_COOLANT_TEMPERATURE, 82, 5, 0.03, 0.01, 2},                                     \
          {CHANNEL_ALTERNATOR_VOLTAGE, 27.8, 0.2, 0.02, 0.01, 2},                                  \
          {CHANNEL_FUEL_RATE, 35, 20, 0.3, 0.1, 1},                                                \
          {CHANNEL_ENGINE_HOURS, 2400, 2, 0, 0.0002778, 4},                                        \
          {CHANNEL_COOLANT_PRESSURE, 90, 10, 0.3, 0.1, 1},                                         \
          {CHANNEL_FUEL_PRESSURE, 350, 20, 2, 1, 0},                                               \
          {CHANNEL_ENGINE_LOAD, 60, 30, 0.5, 1, 0},                                                \
          {CHANNEL_ENGINE_TORQUE, 60, 30, 0.5, 1, 0}}},                                            \
        {"127493",                                                                                 \
         PLACE_ENGINE,                                                                             \
         number,                                                                                   \
         1,                                                                                        \
         {{CHANNEL_TRANSMISSION_GEAR, 1, 0, 0, 1, 0},                                              \
          {CHANNEL_TRANSMISSION_OIL_PRESSURE, 1800, 50, 5, 0.1, 1},                                \
          {CHANNEL_TRANSMISSION_OIL_TEMPERATURE, 60, 10, 0.05, 0.1, 1}}},                          \
    {                                                                                              \
        "127497", PLACE_ENGINE, number, 1,                                                         \
        {                                                                                          \
            {CHANNEL_TRIP_FUEL, 80, 60, 0, 1, 0}, {CHANNEL_FUEL_RATE_AVERAGE, 34, 3, 0, 0.1, 1},   \
                {CHANNEL_FUEL_RATE_ECONOMY, 30, 3, 0, 0.1, 1},                                     \
            {                                                                                      \
                CHANNEL_FUEL_ECONOMY, 33, 5, 0.2, 0.1, 1                                           \
            }                                                                                      \
        }                                                                                          \
    }

static const struct message messages[] = {
    ENGINE(0),
    ENGINE(1),
    {"129025",
     PLACE_VESSEL,
     0,
     10,
     {{CHANNEL_LATITUDE, 57.2, 0.1, 1e-6, 1e-7, 7}, {CHANNEL_LONGITUDE, -5.7, 0.1, 1e-6, 1e-7, 7}}},
    {"129026",
     PLACE_VESSEL,
     0,
     4,
     {{CHANNEL_COURSE_OVER_GROUND, 180, 90, 0.3, 0.0057, 3},
      {CHANNEL_SPEED_OVER_GROUND, 8, 4, 0.05, 0.01, 2}}},
    {"127250",
     PLACE_VESSEL,
     0,
     10,
     {{CHANNEL_HEADING_MAGNETIC, 180, 90, 0.3, 0.0057, 3},
      {CHANNEL_MAGNETIC_VARIATION, -2, 0, 0, 0.0057, 3}}},
    {"127245", PLACE_VESSEL, 0, 10, {{CHANNEL_RUDDER_ANGLE, 0, 10, 0.2, 0.0057, 3}}},
    {"128267",
     PLACE_VESSEL,
     0,
     1,
     {{CHANNEL_DEPTH, 40, 20, 0.1, 0.01, 2}, {CHANNEL_DEPTH_OFFSET, 0.4, 0, 0, 0.001, 3}}},
    {"130310",
     PLACE_VESSEL,
     0,
     2,
     {{CHANNEL_SEA_TEMPERATURE, 12.5, 0.5, 0.01, 0.01, 2},
      {CHANNEL_AIR_TEMPERATURE, 16, 2, 0.02, 0.01, 2},
      {CHANNEL_AIR_PRESSURE, 101.3, 0.2, 0, 0.1, 1}}},
    {"127508",
     PLACE_BATTERY,
     0,
     0.67,
     {{CHANNEL_BATTERY_VOLTAGE, 27.6, 0.2, 0.02, 0.01, 2},
      {CHANNEL_BATTERY_CURRENT, 12, 8, 0.3, 0.1, 1},
      {CHANNEL_BATTERY_TEMPERATURE, 24, 2, 0.01, 0.01, 2}}},
    {"127505",
     PLACE_TANK,
     0,
     0.4,
     {{CHANNEL_FLUID_LEVEL, 60, 20, 0.2, 0.004, 3}, {CHANNEL_TANK_CAPACITY, 600, 0, 0, 0.1, 1}}},
    {"127505",
     PLACE_TANK,
     1,
     0.4,
     {{CHANNEL_FLUID_LEVEL, 70, 20, 0.2, 0.004, 3}, {CHANNEL_TANK_CAPACITY, 600, 0, 0, 0.1, 1}}},
    {"130312", PLACE_VESSEL, 0, 0.5, {{CHANNEL_ENGINE_ROOM_TEMPERATURE, 38, 5, 0.02, 0.01, 2}}},
};
#define MESSAGE_COUNT ARRAY_COUNT(messages)

/* --- chance that is the same every time */

static uint64_t chance_state;

static double uniform(void)
{
    chance_state ^= chance_state >> 12;
    chance_state ^= chance_state << 25;
    chance_state ^= chance_state >> 27;
    return (double)((chance_state * 0x2545F4914F6CDD1Du) >> 11) / 9007199254740992.0;
}

static double noise(void) /* nearly normal, standard deviation 1 */
{
    double sum = -6;
    for (int i = 0; i < 12; i++)
        sum += uniform();
    return sum;
}

/* --- the run, one message at a time in order of time */

struct source {
    const struct message *message;
    struct origin origin;
    size_t field_count;
    double next; /* s */
    double wander[FIELDS_MAX];
};

struct feed {
    struct source sources[MESSAGE_COUNT];
    double end;
    uint64_t samples, frames;
};

static void start_source(struct source *source, const struct message *message)
{
    memset(source, 0, sizeof *source);
    source->message = message;
    while (source->field_count < FIELDS_MAX && message->fields[source->field_count].resolution > 0)
        source->field_count++;
    source->origin.protocol = PROTOCOL_NMEA2000;
    source->origin.place = (uint8_t)message->place;
    source->origin.instance = (uint8_t)message->instance;
    source->origin.number = (uint32_t)strtoul(message->pgn, NULL, 10);
    strcpy(source->origin.message, message->pgn);
    strcpy(source->origin.source, "35");
    source->next = uniform() / message->rate;
}

static void start_feed(struct feed *feed, double hours)
{
    chance_state = 88172645463325252u;
    *feed = (struct feed){.end = hours * 3600};
    for (size_t i = 0; i < MESSAGE_COUNT; i++)
        start_source(&feed->sources[i], &messages[i]);
}

/* A value wanders slowly round its middle, as throttle, sea and load make it do. */
static double next_value(struct source *source, size_t number)
{
    const struct field *field = &source->message->fields[number];
    double pull = 1.0 / (300 * source->message->rate);
    source->wander[number] += -source->wander[number] * pull + noise() * sqrt(2 * pull) * 0.4;
    double value = field->middle + field->swing * source->wander[number] + field->noise * noise();
    const struct channel *channel = channel_get(field->channel);
    value = fmin(fmax(value, channel->low), channel->high);
    return round(value / field->resolution) * field->resolution;
}

/* Fills the next message; NULL at the end. */
static struct source *next_message(struct feed *feed, int64_t *at, struct value *values)
{
    struct source *source = &feed->sources[0];
    for (size_t i = 1; i < MESSAGE_COUNT; i++)
        if (feed->sources[i].next < source->next)
            source = &feed->sources[i];
    if (source->next > feed->end)
        return NULL;
    *at = (int64_t)(source->next * 1e6) * NS_PER_US;
    for (size_t i = 0; i < source->field_count; i++)
        values[i] =
            (struct value){(uint16_t)source->message->fields[i].channel, next_value(source, i)};
    source->next += 1 / source->message->rate + 0.0003 * noise();
    feed->samples += source->field_count;
    return source;
}

/* --- writing */

static double cpu_seconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

static long size_of(const char *path)
{
    struct stat info;
    return stat(path, &info) == 0 ? (long)info.st_size : -1;
}

static void must(enum status status, const struct complaint *complaint)
{
    if (status == STATUS_OK)
        return;
    fprintf(stderr, "bench_storage: %s\n", complaint->text);
    exit(1);
}

/* The frames of a message: fast packet where more than one is needed, two bytes a field. */
static void put_frames(struct run_writer *run, struct feed *feed, int64_t at,
                       const struct source *source, const struct value *values)
{
    uint8_t bytes[40] = {(uint8_t)source->message->instance};
    size_t length = 1;
    for (size_t i = 0; i < source->field_count; i++, length += 2) {
        long packed = lround(values[i].value / source->message->fields[i].resolution);
        bytes[length] = (uint8_t)packed;
        bytes[length + 1] = (uint8_t)(packed >> 8);
    }
    uint32_t id = 0x88000023u | source->origin.number << 8;
    bool single = length <= 8;
    for (size_t from = 0, frame = 0; from < length; frame++, feed->frames++) {
        uint8_t data[8];
        memset(data, 0xFF, sizeof data);
        size_t head = single ? 0 : frame ? 1 : 2;
        data[0] = (uint8_t)((feed->samples & 7) << 5 | frame);
        data[1] = (uint8_t)length;
        size_t part = length - from < 8 - head ? length - from : 8 - head;
        memcpy(data + head, bytes + from, part);
        run_write_frame(run, at + (int64_t)frame * 550000, 0, id, data, 8);
        from += part;
    }
}

static double write_run(const char *path, double hours, bool raw, struct feed *feed)
{
    static const struct run_input input = {"can:can0", "can0"};
    struct run_start start = {.path = path,
                              .start_unix_us = INT64_C(1714557600000000),
                              .inputs = &input,
                              .input_count = 1,
                              .software = "bench_storage"};
    struct run_writer *run;
    struct complaint complaint;
    struct value values[FIELDS_MAX];
    const struct source *source;
    int64_t at;
    unlink(path);
    must(run_write_open(&start, &run, &complaint), &complaint);
    start_feed(feed, hours);
    double cpu = 0;
    while ((source = next_message(feed, &at, values))) {
        double before = cpu_seconds();
        if (raw)
            put_frames(run, feed, at, source, values);
        else
            run_write_readings(run, at, &source->origin, values, source->field_count);
        cpu += cpu_seconds() - before;
    }
    struct run_end end = {.end = (int64_t)(hours * 3600) * NS_PER_S, .clean = true};
    double before = cpu_seconds();
    must(run_write_close(run, &end, &complaint), &complaint);
    printf("  closing and reading back: %.2f s of CPU\n", cpu_seconds() - before);
    return cpu;
}

/* --- the same data as one wide CSV file through gzip */

static FILE *open_gzip(const char *path, pid_t *child)
{
    int ends[2];
    if (pipe(ends) != 0)
        return NULL;
    *child = fork();
    if (*child == 0) {
        int out = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0644);
        dup2(ends[0], STDIN_FILENO);
        dup2(out, STDOUT_FILENO);
        close(ends[0]);
        close(ends[1]);
        execlp("gzip", "gzip", "-6", "-c", (char *)NULL);
        _exit(127);
    }
    close(ends[0]);
    return fdopen(ends[1], "w");
}

static void write_header(FILE *out)
{
    fputs("time", out);
    for (size_t i = 0; i < MESSAGE_COUNT; i++)
        for (size_t k = 0; k < FIELDS_MAX && messages[i].fields[k].resolution > 0; k++)
            fprintf(out, ",%s_%u_%s", place_key(messages[i].place), messages[i].instance,
                    channel_get(messages[i].fields[k].channel)->key);
    fputc('\n', out);
}

static void write_csv_row(FILE *out, const struct feed *feed, const struct source *source,
                          int64_t at, const struct value *values)
{
    fprintf(out, "%.6f", (double)at / 1e9);
    for (size_t i = 0; i < MESSAGE_COUNT; i++)
        for (size_t k = 0; k < feed->sources[i].field_count; k++)
            if (&feed->sources[i] == source)
                fprintf(out, ",%.*f", messages[i].fields[k].decimals, values[k].value);
            else
                fputc(',', out);
    fputc('\n', out);
}

static void write_csv(const char *path, double hours)
{
    struct feed feed;
    struct value values[FIELDS_MAX];
    const struct source *source;
    pid_t child;
    int64_t at;
    FILE *out = open_gzip(path, &child);
    if (!out)
        exit(1);
    write_header(out);
    start_feed(&feed, hours);
    while ((source = next_message(&feed, &at, values)))
        write_csv_row(out, &feed, source, at, values);
    fclose(out);
    waitpid(child, NULL, 0);
}

/* --- loading six channels */

static const struct wanted {
    const char *group;
    enum channel_id channel;
} wanted[] = {
    {"/measurements/engine_0/127488_35", CHANNEL_ENGINE_SPEED},
    {"/measurements/engine_0/127489_35", CHANNEL_COOLANT_TEMPERATURE},
    {"/measurements/engine_0/127489_35", CHANNEL_FUEL_RATE},
    {"/measurements/engine_1/127488_35", CHANNEL_ENGINE_SPEED},
    {"/measurements/engine_1/127489_35", CHANNEL_COOLANT_TEMPERATURE},
    {"/measurements/vessel/130310_35", CHANNEL_SEA_TEMPERATURE},
};

static size_t stream_of(const struct run *run, const char *group)
{
    for (size_t i = 0; i < run_stream_count(run); i++)
        if (strcmp(run_stream(run, i)->group, group) == 0)
            return i;
    return SIZE_MAX;
}

static double load_ours(const char *path, double *without_open)
{
    struct run *run;
    struct complaint complaint;
    double begin = cpu_seconds();
    must(run_open(path, &run, &complaint), &complaint);
    double opened = cpu_seconds();
    for (size_t i = 0; i < ARRAY_COUNT(wanted); i++) {
        struct series series;
        must(run_read_series(run, stream_of(run, wanted[i].group), wanted[i].channel, &series,
                             &complaint),
             &complaint);
        series_free(&series);
    }
    double loaded = cpu_seconds();
    run_close(run);
    *without_open = loaded - opened;
    return cpu_seconds() - begin;
}

static void read_bare(hid_t file, const char *group, const char *name, hid_t type, size_t size)
{
    char path[256];
    hsize_t rows;
    snprintf(path, sizeof path, "%s/%s", group, name);
    hid_t data = H5Dopen2(file, path, H5P_DEFAULT), space = H5Dget_space(data);
    H5Sget_simple_extent_dims(space, &rows, NULL);
    void *cells = malloc(rows * size);
    H5Dread(data, type, H5S_ALL, H5S_ALL, H5P_DEFAULT, cells);
    free(cells);
    H5Sclose(space);
    H5Dclose(data);
}

static double load_bare(const char *path, double *without_open)
{
    double begin = cpu_seconds();
    hid_t file = H5Fopen(path, H5F_ACC_RDONLY, H5P_DEFAULT);
    double opened = cpu_seconds();
    for (size_t i = 0; i < ARRAY_COUNT(wanted); i++) {
        bool same = i > 0 && strcmp(wanted[i].group, wanted[i - 1].group) == 0;
        if (!same)
            read_bare(file, wanted[i].group, "time", H5T_NATIVE_INT64, 8);
        read_bare(file, wanted[i].group, channel_get(wanted[i].channel)->key, H5T_NATIVE_INT32, 4);
    }
    double loaded = cpu_seconds();
    H5Fclose(file);
    *without_open = loaded - opened;
    return cpu_seconds() - begin;
}

static int by_size(const void *a, const void *b)
{
    double left = *(const double *)a, right = *(const double *)b;
    return left < right ? -1 : left > right;
}

#define ROUNDS 31

static void compare_loading(const char *path)
{
    double ours[ROUNDS], bare[ROUNDS], ours_inner[ROUNDS], bare_inner[ROUNDS];
    for (int i = 0; i < ROUNDS; i++) {
        ours[i] = load_ours(path, &ours_inner[i]);
        bare[i] = load_bare(path, &bare_inner[i]);
    }
    qsort(ours, ROUNDS, sizeof ours[0], by_size);
    qsort(bare, ROUNDS, sizeof bare[0], by_size);
    qsort(ours_inner, ROUNDS, sizeof ours[0], by_size);
    qsort(bare_inner, ROUNDS, sizeof bare[0], by_size);
    int middle = ROUNDS / 2;
    printf("loading 6 channels: %.1f ms of CPU, bare H5Dread %.1f ms, ratio %.2f (medians of %d)\n",
           ours[middle] * 1e3, bare[middle] * 1e3, ours[middle] / bare[middle], ROUNDS);
    printf("  without opening the file: %.1f ms, bare %.1f ms, ratio %.2f\n",
           ours_inner[middle] * 1e3, bare_inner[middle] * 1e3,
           ours_inner[middle] / bare_inner[middle]);
}

int main(int count, char **arguments)
{
    double hours = count > 1 ? strtod(arguments[1], NULL) : 4;
    char folder[] = "/tmp/searun-bench-XXXXXX", run[64], raw[64], csv[64];
    if (!mkdtemp(folder) || !(hours > 0))
        return 1;
    snprintf(run, sizeof run, "%s/run.h5", folder);
    snprintf(raw, sizeof raw, "%s/raw.h5", folder);
    snprintf(csv, sizeof csv, "%s/wide.csv.gz", folder);
    struct feed feed;
    double cpu = write_run(run, hours, false, &feed);
    printf("measurements: %.1f h, %llu samples, writer's CPU %.3f ms for a second of data\n", hours,
           (unsigned long long)feed.samples, cpu / feed.end * 1e3);
    write_csv(csv, hours);
    double samples = (double)feed.samples;
    printf("size: %.2f bytes a sample; wide CSV.gz %.2f; ratio %.2f\n",
           (double)size_of(run) / samples, (double)size_of(csv) / samples,
           (double)size_of(run) / (double)size_of(csv));
    cpu = write_run(raw, hours, true, &feed);
    printf("raw: %llu frames, %.2f bytes a frame, writer's CPU %.3f ms for a second of data\n",
           (unsigned long long)feed.frames, (double)size_of(raw) / (double)feed.frames,
           cpu / feed.end * 1e3);
    compare_loading(run);
    unlink(run);
    unlink(raw);
    unlink(csv);
    rmdir(folder);
    return 0;
}
