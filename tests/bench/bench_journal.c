/* bench_journal.c - writing a journal, and making a run file from it again: a bus of 1000 frames/s,
 * of which 68 a second belong to messages that are decoded. Figures only, no pass or fail. Each is
 * the median of ROUNDS; a 4-hour run has 14.4 million frames. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "../../logger/crc32c.h"
#include "../../logger/journal.h"
#include "../../logger/journal_read.h"
#include "../../logger/rebuild.h"

#define FRAMES 720000 /* 12 minutes */
#define ROUNDS 3
#define HOURS_4 14400000.0

static const struct voice nobody = {.fd = -1, .least = SAY_ERROR};
static char folder[] = "/tmp/bench_journal_XXXXXX";

static double now(clockid_t clock)
{
    struct timespec time;
    clock_gettime(clock, &time);
    return (double)time.tv_sec + (double)time.tv_nsec / 1e9;
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *list)
{
    qsort(list, ROUNDS, sizeof *list, ascending);
    return list[ROUNDS / 2];
}

static const char *in_folder(const char *name)
{
    static char paths[4][100];
    static unsigned next;
    char *path = paths[next++ % 4];
    snprintf(path, sizeof paths[0], "%s/%s", folder, name);
    return path;
}

/* Frame number n of the bus. */
static uint32_t make_frame(unsigned n, uint8_t data[8])
{
    unsigned tick = n % 1000, second = n / 1000, speed = 4000 + n / 7 % 5000;
    memset(data, 0xFF, 8);
    if (tick % 25 == 0) { /* 127488, twice 20 a second */
        data[0] = (uint8_t)(tick / 25 % 2);
        data[1] = (uint8_t)speed;
        data[2] = (uint8_t)(speed >> 8);
        data[5] = 0x7F;
        return 0x89F20023;
    }
    if (tick % 50 == 1) { /* 129025 */
        for (int i = 0; i < 4; i++) {
            data[i] = (uint8_t)((480000000 + n) >> 8 * i);
            data[4 + i] = (uint8_t)((115000000 + n) >> 8 * i);
        }
        return 0x89F80124;
    }
    if (tick < 8 * 10 && tick % 10 == 7) { /* 127489, two engines of four frames */
        static const uint8_t parts[4][8] = {{0, 26, 0, 0x6E, 0x0F, 0x6B, 0x0E, 0x9F},
                                            {1, 0x8A, 0x84, 0x05, 0x12, 0x01, 0x80, 0xFE},
                                            {2, 0x44, 0x00, 0x8E, 0x03, 0x30, 0x01, 0xFF},
                                            {3, 0, 0, 0, 0, 0x47, 0x42, 0xFF}};
        unsigned part = tick / 10 % 4;
        memcpy(data, parts[part], 8);
        data[0] = (uint8_t)(part | (second * 2 + tick / 40) % 8 << 5);
        data[2] = part == 0 ? (uint8_t)(tick / 40) : data[2];
        return 0x89F20123;
    }
    for (int i = 0; i < 8; i++)
        data[i] = (uint8_t)(n * 2654435761U >> i);
    return 0x9CFF0030 + tick % 16;
}

static void write_journal(double *wall, double *cpu, double *bytes)
{
    static const struct run_input input = {"can:can0,nmea2000", "can0"};
    const struct run_start start = {.path = in_folder("run.h5"),
                                    .start_unix_us = 1795601700000000,
                                    .inputs = &input,
                                    .input_count = 1,
                                    .software = "bench"};
    const struct run_end end = {
        .end = FRAMES * NS_PER_MS, .start_unix_us = 1795601700000000, .clean = true};
    void *self = NULL;
    struct stat about;
    if (journal_store.open(&start, &self, NULL) != STATUS_OK)
        exit(1);
    double wall_before = now(CLOCK_MONOTONIC), cpu_before = now(CLOCK_PROCESS_CPUTIME_ID);
    for (unsigned n = 0; n < FRAMES; n++) {
        uint8_t data[8];
        uint32_t id = make_frame(n, data);
        journal_store.frame(self, n * NS_PER_MS, 0, id, data, 8);
        if (n % 100 == 99)
            journal_store.flush(self);
    }
    *wall = now(CLOCK_MONOTONIC) - wall_before;
    *cpu = now(CLOCK_PROCESS_CPUTIME_ID) - cpu_before;
    journal_store.close(self, &end, NULL);
    stat(in_folder("run.journal"), &about);
    *bytes = (double)about.st_size;
}

static double read_journal(void)
{
    struct journal_reader *reader = NULL;
    struct journal_item item;
    double before = now(CLOCK_MONOTONIC);
    if (journal_open(in_folder("run.journal"), &reader, NULL) != STATUS_OK)
        exit(1);
    unsigned frames = 0;
    while (journal_next(reader, &item))
        frames += item.what == JOURNAL_ITEM_FRAME;
    if (frames != FRAMES)
        exit(1);
    journal_close(reader);
    return now(CLOCK_MONOTONIC) - before;
}

static double rebuild(double *cpu)
{
    const struct rebuild_order order = {.journal = in_folder("run.journal"),
                                        .output = in_folder("again.h5")};
    double before = now(CLOCK_MONOTONIC), cpu_before = now(CLOCK_PROCESS_CPUTIME_ID);
    if (rebuild_run(&order, &nobody) != STATUS_OK)
        exit(1);
    *cpu = now(CLOCK_PROCESS_CPUTIME_ID) - cpu_before;
    unlink(in_folder("again.h5"));
    return now(CLOCK_MONOTONIC) - before;
}

static double crc_speed(void)
{
    static unsigned char bytes[1 << 20];
    struct crc32c crc;
    volatile uint32_t sum = 0;
    crc32c_init(&crc);
    double before = now(CLOCK_MONOTONIC);
    for (int i = 0; i < 200; i++)
        sum = sum ^ crc32c_of(&crc, bytes, sizeof bytes);
    return 200 * sizeof bytes / (now(CLOCK_MONOTONIC) - before) / 1e9;
}

static void show(const char *words, double value, const char *unit)
{
    printf("%-58s %10.2f %s\n", words, value, unit);
}

int main(void)
{
    double wall[ROUNDS], cpu[ROUNDS], reading[ROUNDS], making[ROUNDS], making_cpu[ROUNDS],
        bytes = 0;
    if (!mkdtemp(folder))
        return 1;
    for (int i = 0; i < ROUNDS; i++) {
        write_journal(&wall[i], &cpu[i], &bytes);
        reading[i] = read_journal();
        making[i] = rebuild(&making_cpu[i]);
        unlink(in_folder("run.journal"));
    }
    rmdir(folder);
    double scale = HOURS_4 / FRAMES;
    show("CRC-32C, slicing by eight", crc_speed(), "GB/s");
    show("journal, size of a CAN frame", bytes / FRAMES, "bytes");
    show("journal, CPU time of a second of bus", median(cpu) / (FRAMES / 1000) * 1e3, "ms");
    show("journal of 4 hours: read, checked and taken apart", median(reading) * scale, "s");
    show("journal of 4 hours: made into a run file and verified", median(making) * scale, "s");
    show("  of which CPU time, both threads", median(making_cpu) * scale, "s");
    return 0;
}
