/* bench_day.c - a day of a full bus and a serial line, as fast as it goes: through the intake, the
 * ring, the journal and the run file of the logger. Prints the memory that the process holds by the
 * hour, what was lost, and how fast it went; no pass or fail. The ring is respected: the feeder
 * waits for room, as a replay does. BENCH_HOURS (default 1) says how long the day is; the journal
 * of 24 hours takes 9 GB in $TMPDIR.
 *
 * A full bus: 250 kbit/s carry about 1,800 frames/s of 8 bytes (29-bit identifier: 131 bits with
 * the pause between frames, and up to 29 stuff bits, ISO 11898-1; from memory). */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "../../logger/intake.h"
#include "../../logger/journal.h"
#include "run_read.h"

#define FRAMES_A_SECOND 1800
#define LINES_A_SECOND 8 /* what 4800 baud carry of 60 bytes */
#define RING ((size_t)8 << 20)
#define CAN 0
#define LINE 1

static const struct run_input inputs[2] = {{"can:can0,nmea2000", "can0"},
                                           {"serial:/dev/ttyS0,4800", "plotter"}};
static const struct voice nobody = {.fd = -1, .least = SAY_ERROR};

static double now(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec / 1e9;
}

static double resident_mb(void)
{
    char line[200];
    long kb = 0;
    FILE *file = fopen("/proc/self/status", "r");
    while (file && fgets(line, sizeof line, file))
        sscanf(line, "VmRSS: %ld", &kb);
    if (file)
        fclose(file);
    return (double)kb / 1024;
}

/* Everything that a run needs while it is recorded. */
struct day {
    struct facts facts;
    struct transducer_map map;
    struct dates dates;
    struct watch *watch;
    struct writer *writer;
    struct intake intake;
    struct journal_claim claim;
    uint64_t frames, lines;
};

/* Frame `tick` of the second: engines, position, and what no table knows. */
static void feed_frame(struct day *day, int64_t at, uint64_t second, unsigned tick)
{
    uint8_t data[8];
    uint64_t noise = (second * FRAMES_A_SECOND + tick) * UINT64_C(11400714819323198485);
    uint32_t id = 0x9CFF0030u + tick % 16;
    memcpy(data, &noise, sizeof data);
    if (tick % 45 == 0) { /* 127488, two engines, 20 times a second each */
        unsigned speed = 4000 + (unsigned)((second * 7 + tick) % 5000);
        memset(data, 0xFF, sizeof data);
        data[0] = (uint8_t)(tick / 45 % 2);
        data[1] = (uint8_t)speed;
        data[2] = (uint8_t)(speed >> 8);
        data[5] = 0x7F;
        id = 0x89F20023u;
    } else if (tick % 180 == 1) { /* 129025, ten times a second */
        uint32_t latitude = 480000000u + (uint32_t)second, longitude = 115000000u + tick;
        memcpy(data, &latitude, 4);
        memcpy(data + 4, &longitude, 4);
        id = 0x89F80124u;
    }
    intake_frame(&day->intake, CAN, at, id, data, 8);
    day->frames++;
}

static void feed_line(struct day *day, int64_t at, uint64_t second, unsigned number)
{
    char line[100];
    unsigned char sum = 0;
    int length = number % 2
                     ? snprintf(line, sizeof line, "$IIMTW,%.1f,C", 10 + (double)(second % 50) / 10)
                     : snprintf(line, sizeof line, "$IIXDR,C,%.1f,C,ENGINE#0,C,%.1f,C,AIR",
                                60 + (double)(second % 200) / 10, 15 + number / 10.0);
    for (int i = 1; i < length; i++)
        sum ^= (unsigned char)line[i];
    length += snprintf(line + length, sizeof line - (size_t)length, "*%02X\r\n", sum);
    intake_bytes(&day->intake, LINE, at, (const uint8_t *)line, (size_t)length);
    day->lines++;
}

static void feed_second(struct day *day, uint64_t second)
{
    for (unsigned tick = 0; tick < FRAMES_A_SECOND; tick++) {
        int64_t at = (int64_t)second * NS_PER_S + tick * (NS_PER_S / FRAMES_A_SECOND);
        feed_frame(day, at, second, tick);
        if (tick % (FRAMES_A_SECOND / LINES_A_SECOND) == 0)
            feed_line(day, at, second, tick / (FRAMES_A_SECOND / LINES_A_SECOND));
    }
    intake_tick(&day->intake, (int64_t)second * NS_PER_S);
}

static void begin(struct day *day, const char *path, const char *journal)
{
    static const struct store *const stores[] = {&journal_store, &run_file_store, NULL};
    struct complaint complaint = {""};
    const struct run_start start = {.path = path,
                                    .start_unix_us = 1795601700000000,
                                    .facts = &day->facts,
                                    .inputs = inputs,
                                    .input_count = 2,
                                    .software = "bench"};
    day->map = (struct transducer_map){transducer_default_count, transducer_defaults, 0};
    if (journal_claim_new(journal, &day->claim, &complaint) != STATUS_OK ||
        watch_new(&nobody, &day->facts, inputs, false, &day->watch) != STATUS_OK ||
        writer_new(stores, &start, RING, NULL, &day->writer, &complaint) != STATUS_OK) {
        fprintf(stderr, "%s\n", complaint.text);
        exit(1);
    }
    intake_init(&day->intake, day->writer, &day->map, day->watch, &day->dates, inputs, 2);
    day->intake.patient = true;
}

static void finish(struct day *day, int64_t at)
{
    struct complaint complaint = {""};
    intake_finish(&day->intake, at);
    const struct run_end end = {.end = at,
                                .start_unix_us = 1795601700000000,
                                .clean = true,
                                .tallies = day->intake.tallies};
    if (writer_finish(day->writer, &end, &complaint) != STATUS_OK) {
        fprintf(stderr, "%s\n", complaint.text);
        exit(1);
    }
    intake_free(&day->intake);
    watch_free(day->watch);
}

static bool count_raw(void *self, const struct raw_message *message)
{
    uint64_t *counts = self;
    counts[message->is_can ? CAN : LINE]++;
    return true;
}

static void show_losses(const struct day *day, const char *path)
{
    struct run *run = NULL;
    struct complaint complaint = {""};
    uint64_t counts[2] = {0, 0};
    size_t gaps;
    const struct run_gap *list;
    if (run_open(path, &run, &complaint) != STATUS_OK ||
        run_raw(run, count_raw, counts, &complaint) != STATUS_OK ||
        run_gaps(run, &list, &gaps, &complaint) != STATUS_OK) {
        fprintf(stderr, "%s\n", complaint.text);
        exit(1);
    }
    printf("fed %" PRIu64 " frames and %" PRIu64 " lines; in the run file are %" PRIu64
           " and %" PRIu64 ": %" PRId64 " lost, %zu gaps\n",
           day->frames, day->lines, counts[CAN], counts[LINE],
           (int64_t)(day->frames + day->lines - counts[CAN] - counts[LINE]), gaps);
    run_close(run);
}

int main(void)
{
    static struct day day;
    const char *base = getenv("TMPDIR"), *text = getenv("BENCH_HOURS");
    unsigned hours = text && atoi(text) > 0 ? (unsigned)atoi(text) : 1;
    char folder[300], path[340], journal[340];
    snprintf(folder, sizeof folder, "%s/bench_day_XXXXXX", base && base[0] ? base : "/tmp");
    if (!mkdtemp(folder))
        return 1;
    snprintf(path, sizeof path, "%s/day.h5", folder);
    snprintf(journal, sizeof journal, "%s/day.journal", folder);
    begin(&day, path, journal);
    double begun = now();
    for (uint64_t hour = 1; hour <= hours; hour++) {
        for (uint64_t second = (hour - 1) * 3600; second < hour * 3600; second++)
            feed_second(&day, second);
        printf("hour %2" PRIu64 ": resident %.1f MB, after %.0f s\n", hour, resident_mb(),
               now() - begun);
        fflush(stdout);
    }
    finish(&day, (int64_t)hours * 3600 * NS_PER_S);
    printf("closed and read back after %.0f s: %.0f times real time; resident %.1f MB\n",
           now() - begun, hours * 3600 / (now() - begun), resident_mb());
    journal_release(&day.claim);
    unlink(journal);
    show_losses(&day, path);
    unlink(path);
    rmdir(folder);
    return 0;
}
