/* bench_outings.c - how long many runs take to be looked at: the first time, and again from the
 * cache.
 *
 *   bench_outings          makes 100 runs of two hours (engine speed at 10 Hz, the rest at 2 and 1
 *                          Hz)
 *   bench_outings RUN...   takes these
 *
 * Everything else it makes lies in a folder of its own and is removed.
 */
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

#include "../../analyze/outings.h"
#include "run_write.h"

#define MADE 100
#define HOURS 2

static double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* CPU of this process and of workers that have ended: others may be using the machine. */
static double cpu_now(void)
{
    double sum = 0;
    const int whose[] = {RUSAGE_SELF, RUSAGE_CHILDREN};
    for (size_t i = 0; i < 2; i++) {
        struct rusage usage;
        getrusage(whose[i], &usage);
        sum += (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
               1e-6 * (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec);
    }
    return sum;
}

/* Noise that is the same every time. */
static double noise(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(*state >> 40) / (double)(1 << 24) - 0.5;
}

static struct origin make_origin(enum place place, unsigned pgn)
{
    struct origin origin;
    memset(&origin, 0, sizeof origin);
    origin.protocol = PROTOCOL_NMEA2000;
    origin.place = (uint8_t)place;
    origin.number = pgn;
    snprintf(origin.message, sizeof origin.message, "%u", pgn);
    snprintf(origin.source, sizeof origin.source, "%u", place == PLACE_ENGINE ? 35u : 37u);
    return origin;
}

static enum status put_second(struct run_writer *run, int64_t second, double rpm, uint64_t *state)
{
    const struct origin rapid = make_origin(PLACE_ENGINE, 127488);
    const struct origin dynamic = make_origin(PLACE_ENGINE, 127489);
    const struct origin sea = make_origin(PLACE_VESSEL, 130312);
    enum status status = STATUS_OK;
    for (int i = 0; i < 10 && !status; i++) {
        const struct value speed[] = {{CHANNEL_ENGINE_SPEED, rpm + 6 * noise(state)},
                                      {CHANNEL_BOOST_PRESSURE, rpm / 20 + noise(state)}};
        status = run_write_readings(run, second * NS_PER_S + i * NS_PER_S / 10, &rapid, speed, 2);
    }
    for (int i = 0; i < 2 && !status; i++) {
        const struct value rest[] = {
            {CHANNEL_COOLANT_TEMPERATURE, 66 + rpm / 160 + 0.1 * noise(state)},
            {CHANNEL_OIL_TEMPERATURE, 90 + noise(state)},
            {CHANNEL_OIL_PRESSURE, 350 + noise(state)},
            {CHANNEL_FUEL_RATE, rpm * rpm / 200000 + noise(state)},
            {CHANNEL_ENGINE_HOURS, 1200 + (double)second / 3600}};
        status = run_write_readings(run, second * NS_PER_S + i * NS_PER_S / 2, &dynamic, rest, 5);
    }
    const struct value cold = {CHANNEL_SEA_TEMPERATURE, 16 + 0.04 * noise(state)};
    if (!status)
        status = run_write_readings(run, second * NS_PER_S, &sea, &cold, 1);
    for (int i = 0; i < 60 && !status; i++) { /* what else is on the bus, kept raw */
        const uint64_t word = *state ^ (uint64_t)i;
        status = run_write_frame(run, second * NS_PER_S + i * NS_PER_S / 60, 0,
                                 0x89f11223 + ((uint32_t)i << 8), (const uint8_t *)&word, 8);
    }
    return status;
}

static enum status make_run(const char *path, unsigned number, struct complaint *complaint)
{
    static const struct run_input input = {"can:can0", "can0"};
    struct facts facts = {0};
    struct run_writer *run;
    uint64_t state = number;
    const struct run_start start = {.path = path,
                                    .start_unix_us = 1714557600000000 + number * 86400000000ll,
                                    .clock = CLOCK_GNSS,
                                    .facts = &facts,
                                    .inputs = &input,
                                    .input_count = 1,
                                    .software = "bench"};
    enum status status = facts_set(&facts, FACT_ENGINE, 0, "thermostat", "71,82", complaint);
    if (!status)
        status = run_write_open(&start, &run, complaint);
    facts_free(&facts);
    if (status)
        return status;
    for (int64_t s = 0; s < HOURS * 3600 && !status; s++)
        status = put_second(run, s, 1400 + 200 * (double)(s / 600 % 7), &state);
    const struct run_end end = {.end = HOURS * 3600 * NS_PER_S,
                                .start_unix_us = start.start_unix_us,
                                .clock = CLOCK_GNSS,
                                .clean = true};
    const enum status closed = run_write_close(run, &end, complaint);
    return status ? status : closed;
}

static void clear_folder(const char *folder)
{
    char path[900];
    DIR *open = opendir(folder);
    for (struct dirent *entry; open && (entry = readdir(open)) != NULL;) {
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (entry->d_name[0] != '.')
            unlink(path);
    }
    if (open)
        closedir(open);
    rmdir(folder);
}

static int look(const char *title, char **paths, size_t count,
                const struct outings_options *options)
{
    struct complaint complaint = {""};
    struct outing_result *results = calloc(count, sizeof *results);
    size_t kept = 0, bad = 0, holds = 0;
    const double start = seconds_now(), cpu = cpu_now();
    if (!results || outings_read(paths, count, options, results, &complaint)) {
        fprintf(stderr, "bench_outings: %s\n", complaint.text);
        free(results);
        return 1;
    }
    const double took = seconds_now() - start, used = cpu_now() - cpu;
    for (size_t i = 0; i < count; i++) {
        kept += results[i].kept;
        bad += results[i].status != STATUS_OK;
        for (size_t e = 0; e < results[i].outing.engine_count; e++)
            holds += results[i].outing.engines[e].hold_count;
    }
    struct rusage own, children;
    getrusage(RUSAGE_SELF, &own);
    getrusage(RUSAGE_CHILDREN, &children);
    printf("%-34s %6.2f s (%.2f s of CPU, %.2f ms a run); %zu kept, %zu unreadable, %zu holds; "
           "peak %ld MB, workers %ld MB\n",
           title, took, used, 1e3 * used / (double)count, kept, bad, holds, own.ru_maxrss / 1024,
           children.ru_maxrss / 1024);
    outings_free(results, count);
    free(results);
    return 0;
}

static int look_all_ways(char **paths, size_t count, const char *folder)
{
    struct outings_options options = {.no_cache = true, .processes = 1};
    int bad = look("one process, no cache", paths, count, &options);
    options.processes = 0;
    bad |= look("all processors, no cache", paths, count, &options);
    options = (struct outings_options){.cache = folder};
    bad |= look("all processors, filling the cache", paths, count, &options);
    return bad | look("again", paths, count, &options);
}

int main(int argc, char **argv)
{
    const char *base = getenv("TMPDIR");
    char folder[200], cache[240], *made[MADE];
    struct complaint complaint = {""};
    size_t count = 0;
    int bad = 0;
    snprintf(folder, sizeof folder, "%s/searun-bench-XXXXXX", base && base[0] ? base : "/tmp");
    if (!mkdtemp(folder)) {
        perror("bench_outings: no folder");
        return 1;
    }
    snprintf(cache, sizeof cache, "%s/cache", folder);
    for (; argc < 2 && count < MADE && !bad; count++) {
        char path[300];
        snprintf(path, sizeof path, "%s/%03zu.h5", folder, count);
        made[count] = strdup(path);
        bad = !made[count] || make_run(path, (unsigned)count, &complaint);
    }
    if (bad)
        fprintf(stderr, "bench_outings: %s\n", complaint.text);
    else if (argc > 1)
        bad = look_all_ways(argv + 1, (size_t)argc - 1, cache);
    else {
        sleep(4); /* files that were just written are read again */
        bad = look_all_ways(made, count, cache);
    }
    for (size_t i = 0; i < count; i++)
        free(made[i]);
    clear_folder(cache);
    clear_folder(folder);
    return bad;
}
