/* bench_compare.c - seconds of CPU and memory from two run files to an answer, charts left out: a
 * pair of 40 minutes at one reading a second, and a pair of four hours of a twin on a bus at ten a
 * second. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

#include "../../analyze/compare.h"
#include "../../analyze/outing.h"
#include "run_write.h"

#define TURNS 5

struct plan {
    const char *title;
    double seconds, rapid_hz, slow_hz;
    unsigned engines;
};

static double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now); /* one thread; the machine may be shared */
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static struct origin make_origin(enum place place, unsigned instance, const char *message)
{
    struct origin origin;
    memset(&origin, 0, sizeof origin);
    origin.protocol = PROTOCOL_NMEA2000;
    origin.place = (uint8_t)place;
    origin.instance = (uint8_t)instance;
    snprintf(origin.message, sizeof origin.message, "%s", message);
    snprintf(origin.source, sizeof origin.source, "35");
    return origin;
}

/* Speed at an instant: a ladder of five-minute steps up and down, over and over. */
static double speed_at(double t)
{
    static const double speeds[] = {1000, 1400, 1800, 2200, 2500, 2800, 2500, 2200, 1800, 1400};
    return speeds[(size_t)(t / 300) % 10] + 2 * sin(0.9 * t);
}

static double noise(void)
{
    return (double)rand() / RAND_MAX - 0.5;
}

static enum status put_rapid(struct run_writer *run, int64_t at, unsigned engine, double rpm)
{
    struct origin origin = make_origin(PLACE_ENGINE, engine, "127488");
    struct value values[] = {{CHANNEL_ENGINE_SPEED, rpm + 4 * noise()},
                             {CHANNEL_BOOST_PRESSURE, rpm / 20 + noise()},
                             {CHANNEL_DRIVE_TRIM, 0}};
    return run_write_readings(run, at, &origin, values, 3);
}

static enum status put_slow(struct run_writer *run, int64_t at, unsigned engine, double rpm,
                            double hotter)
{
    struct origin origin = make_origin(PLACE_ENGINE, engine, "127489");
    double open = rpm * rpm / 120000 + hotter;
    struct value values[] = {{CHANNEL_OIL_PRESSURE, 300 + rpm / 20 + noise()},
                             {CHANNEL_OIL_TEMPERATURE, 90 + noise()},
                             {CHANNEL_COOLANT_TEMPERATURE, 70 + 0.2 * open + 0.1 * noise()},
                             {CHANNEL_ALTERNATOR_VOLTAGE, 14 + 0.1 * noise()},
                             {CHANNEL_FUEL_RATE, rpm * rpm / 200000 + noise()},
                             {CHANNEL_COOLANT_PRESSURE, 100 + noise()},
                             {CHANNEL_FUEL_PRESSURE, 300 + noise()},
                             {CHANNEL_ENGINE_LOAD, rpm / 30 + noise()}};
    return run_write_readings(run, at, &origin, values, 8);
}

static enum status put_second(struct run_writer *run, const struct plan *plan, int64_t second,
                              double hotter)
{
    struct origin sea = make_origin(PLACE_VESSEL, 0, "130312");
    struct value value = {CHANNEL_SEA_TEMPERATURE, 17 + 0.02 * noise()};
    enum status status = run_write_readings(run, second * NS_PER_S, &sea, &value, 1);
    for (unsigned e = 0; e < plan->engines && !status; e++) {
        for (int i = 0; i < (int)plan->rapid_hz && !status; i++) {
            double t = (double)second + i / plan->rapid_hz;
            status = put_rapid(run, (int64_t)(t * NS_PER_S), e, speed_at(t));
        }
        for (int i = 0; i < (int)plan->slow_hz && !status; i++) {
            double t = (double)second + i / plan->slow_hz;
            status = put_slow(run, (int64_t)(t * NS_PER_S), e, speed_at(t), hotter);
        }
    }
    return status;
}

static enum status write_run(const struct plan *plan, const char *path, double hotter,
                             struct complaint *complaint)
{
    static const struct run_input input = {"can:can0", "can0"};
    struct facts facts = {0};
    struct run_writer *run;
    enum status status = facts_set(&facts, FACT_ENGINE, 0, "thermostat", "71,82", complaint);
    struct run_start start = {.path = path,
                              .start_unix_us = 1714557600000000,
                              .clock = CLOCK_GNSS,
                              .facts = &facts,
                              .inputs = &input,
                              .input_count = 1,
                              .software = "bench"};
    if (!status)
        status = run_write_open(&start, &run, complaint);
    facts_free(&facts);
    if (status)
        return status;
    for (int64_t s = 0; s < (int64_t)plan->seconds && !status; s++)
        status = put_second(run, plan, s, hotter);
    struct run_end end = {.end = (int64_t)plan->seconds * NS_PER_S,
                          .start_unix_us = start.start_unix_us,
                          .clock = CLOCK_GNSS,
                          .clean = true};
    enum status closed = run_write_close(run, &end, complaint);
    return status ? status : closed;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Median seconds of a comparison; negative if it failed. */
static double time_compare(char *before, char *after, struct complaint *complaint)
{
    double seconds[TURNS];
    struct compare_options options;
    compare_options_default(&options);
    options.before = &before;
    options.after = &after;
    options.before_count = options.after_count = 1;
    for (int i = 0; i < TURNS; i++) {
        struct answer answer;
        double start = seconds_now();
        enum status status = compare_runs(&options, &answer, complaint);
        seconds[i] = seconds_now() - start;
        answer_free(&answer);
        if (status)
            return -1;
    }
    qsort(seconds, TURNS, sizeof *seconds, by_value);
    return seconds[TURNS / 2];
}

/* The part before the estimate: reading, cleaning, choosing, finding holds. */
static double time_look(char *path, struct complaint *complaint)
{
    double seconds[TURNS];
    for (int i = 0; i < TURNS; i++) {
        struct outing outing;
        double start = seconds_now();
        enum status status = outing_read(path, &outing, complaint);
        seconds[i] = seconds_now() - start;
        outing_free(&outing);
        if (status)
            return -1;
    }
    qsort(seconds, TURNS, sizeof *seconds, by_value);
    return seconds[TURNS / 2];
}

static int run_plan(const struct plan *plan, const char *folder)
{
    char before[300], after[300];
    struct complaint complaint = {""};
    struct rusage usage;
    snprintf(before, sizeof before, "%s/before.h5", folder);
    snprintf(after, sizeof after, "%s/after.h5", folder);
    double pair = -1, look = -1;
    if (!write_run(plan, before, 10, &complaint) && !write_run(plan, after, 0, &complaint)) {
        look = time_look(before, &complaint);
        pair = time_compare(before, after, &complaint);
    }
    unlink(before);
    unlink(after);
    if (pair < 0 || look < 0) {
        fprintf(stderr, "bench_compare: %s\n", complaint.text);
        return 1;
    }
    getrusage(RUSAGE_SELF, &usage);
    printf("%-44s pair %7.1f ms of CPU, one run up to its holds %7.1f ms, peak %.0f MB\n",
           plan->title, 1e3 * pair, 1e3 * look, (double)usage.ru_maxrss / 1024);
    return 0;
}

int main(void)
{
    static const struct plan plans[] = {
        {"40 minutes, one engine, 1 Hz", 2400, 1, 1, 1},
        {"4 hours, two engines, 10 Hz and 2 Hz", 14400, 10, 2, 2},
        {"4 hours, two engines, everything 10 Hz", 14400, 10, 10, 2},
    };
    const char *base = getenv("TMPDIR");
    char folder[200];
    snprintf(folder, sizeof folder, "%s/searun-bench-XXXXXX", base && base[0] ? base : "/tmp");
    if (!mkdtemp(folder)) {
        perror("bench_compare: no folder for the runs");
        return 1;
    }
    int bad = 0;
    for (size_t i = 0; i < sizeof plans / sizeof plans[0]; i++)
        bad |= run_plan(&plans[i], folder);
    rmdir(folder);
    return bad;
}
