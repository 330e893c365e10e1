/* run_support.h - what the tests of run files share: a folder of their own, seeded chance, a writer
 * that takes few words, and programs that read a file independently. */
#ifndef RUN_SUPPORT_H
#define RUN_SUPPORT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "run_read.h"

#define START_US INT64_C(1714557600250000) /* 2024-05-01 10:00:00.25 UTC */
#define ARRAY_COUNT(array) (sizeof(array) / sizeof(array)[0])

static char folder[100];

static inline const char *in_folder(const char *name)
{
    static char paths[4][1024];
    static unsigned next;
    char *path = paths[next++ % 4];
    snprintf(path, sizeof paths[0], "%s/%s", folder, name);
    return path;
}

static inline int make_folder(void **state)
{
    (void)state;
    const char *base = getenv("TMPDIR");
    snprintf(folder, sizeof folder, "%s/searun-run-XXXXXX", base && base[0] ? base : "/tmp");
    return mkdtemp(folder) ? 0 : -1;
}

/* --- chance: xorshift64*, seeded by SEARUN_SEED or the time */

static uint64_t chance_state;

static inline void seed_chance(const char *what)
{
    const char *given = getenv("SEARUN_SEED");
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    uint64_t seed = given ? strtoull(given, NULL, 10)
                          : (uint64_t)now.tv_nsec * 2654435761u + (uint64_t)getpid();
    seed %= 1000000000u;
    printf("%s: SEARUN_SEED=%llu\n", what, (unsigned long long)seed);
    chance_state = seed * 0x9E3779B97F4A7C15u + 1;
}

static inline uint64_t chance(void)
{
    chance_state ^= chance_state >> 12;
    chance_state ^= chance_state << 25;
    chance_state ^= chance_state >> 27;
    return chance_state * 0x2545F4914F6CDD1Du;
}

static inline unsigned chance_below(unsigned limit)
{
    return (unsigned)((chance() >> 11) % limit);
}

/* --- writing with few words */

static const struct run_input one_input = {"serial:/dev/ttyUSB0,4800", "nmea"};

static inline struct run_writer *begin_with(const char *path, const struct facts *facts,
                                            const struct run_input *inputs, size_t count)
{
    struct run_start start = {.path = path,
                              .start_unix_us = START_US,
                              .clock = CLOCK_SYSTEM,
                              .facts = facts,
                              .inputs = inputs,
                              .input_count = count,
                              .software = "test 1"};
    struct run_writer *run;
    struct complaint complaint = {""};
    if (run_write_open(&start, &run, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    return run;
}

static inline struct run_writer *begin(const char *path)
{
    return begin_with(path, NULL, &one_input, 1);
}

static inline struct run_end end_at(int64_t at, const struct tally *tallies)
{
    return (struct run_end){.end = at,
                            .start_unix_us = START_US,
                            .clock = CLOCK_GNSS,
                            .clean = true,
                            .tallies = tallies};
}

static inline void finish(struct run_writer *run, int64_t at, const struct tally *tallies)
{
    struct run_end end = end_at(at, tallies);
    struct complaint complaint = {""};
    if (run_write_close(run, &end, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
}

static inline struct run *open_run(const char *path)
{
    struct run *run;
    struct complaint complaint = {""};
    if (run_open(path, &run, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    return run;
}

static inline struct origin make_origin(enum protocol protocol, enum place place, unsigned instance,
                                        const char *message, const char *source, const char *label)
{
    struct origin origin;
    memset(&origin, 0, sizeof origin);
    origin.protocol = (uint8_t)protocol;
    origin.place = (uint8_t)place;
    origin.instance = (uint8_t)instance;
    snprintf(origin.message, sizeof origin.message, "%s", message);
    snprintf(origin.source, sizeof origin.source, "%s", source);
    snprintf(origin.label, sizeof origin.label, "%s", label);
    if (protocol == PROTOCOL_NMEA2000)
        origin.number = (uint32_t)strtoul(message, NULL, 10);
    return origin;
}

static inline void put_value(struct run_writer *run, int64_t at, const struct origin *origin,
                             enum channel_id channel, double value)
{
    struct value one = {(uint16_t)channel, value};
    assert_int_equal(run_write_readings(run, at, origin, &one, 1), STATUS_OK);
}

static inline size_t find_stream(const struct run *run, const struct origin *origin)
{
    for (size_t i = 0; i < run_stream_count(run); i++)
        if (memcmp(&run_stream(run, i)->origin, origin, sizeof *origin) == 0)
            return i;
    return SIZE_MAX;
}

static inline struct series read_channel(struct run *run, const struct origin *origin,
                                         enum channel_id channel)
{
    struct series series;
    struct complaint complaint = {""};
    if (run_read_series(run, find_stream(run, origin), channel, &series, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    return series;
}

/* --- findings of run_check, kept as text */

struct findings {
    char text[20000];
    int worst;
};

static inline void keep_finding(void *self, int severity, const char *text)
{
    struct findings *findings = self;
    size_t length = strlen(findings->text);
    snprintf(findings->text + length, sizeof findings->text - length, "%d %s\n", severity, text);
}

static inline struct findings check_run(struct run *run)
{
    struct findings findings = {"", 0};
    struct complaint complaint = {""};
    assert_int_equal(run_check(run, keep_finding, &findings, &findings.worst, &complaint),
                     STATUS_OK);
    return findings;
}

static inline void must_say(const char *text, const char *words)
{
    if (!strstr(text, words))
        fail_msg("\"%s\" is not in \"%s\"", words, text);
}

/* --- files */

static inline unsigned char *read_bytes(const char *path, size_t *length)
{
    struct stat info;
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    assert_int_equal(fstat(fileno(file), &info), 0);
    unsigned char *bytes = malloc((size_t)info.st_size + 1);
    assert_non_null(bytes);
    *length = fread(bytes, 1, (size_t)info.st_size, file);
    fclose(file);
    return bytes;
}

static inline void write_bytes(const char *path, const void *bytes, size_t length)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    assert_int_equal(fclose(file), 0);
}

static inline bool file_is_there(const char *path)
{
    struct stat info;
    return stat(path, &info) == 0;
}

/* Runs a program and gives what it wrote to standard output; its exit code, or -1 if it is not
 * there. free(*output). */
static inline int run_program(char *const arguments[], char **output)
{
    int ends[2];
    assert_int_equal(pipe(ends), 0);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        dup2(ends[1], STDOUT_FILENO);
        close(ends[0]);
        close(ends[1]);
        execvp(arguments[0], arguments);
        _exit(127);
    }
    close(ends[1]);
    size_t length = 0, room = 1 << 16;
    *output = malloc(room);
    ssize_t got;
    while ((got = read(ends[0], *output + length, room - length - 1)) > 0) {
        length += (size_t)got;
        if (room - length < 4096)
            *output = realloc(*output, room *= 2);
    }
    (*output)[length] = '\0';
    close(ends[0]);
    int code;
    waitpid(child, &code, 0);
    return WIFEXITED(code) && WEXITSTATUS(code) != 127 ? WEXITSTATUS(code) : -1;
}

static inline int remove_folder(void **state)
{
    (void)state;
    char *output;
    char *arguments[] = {"rm", "-rf", folder, NULL};
    int code = run_program(arguments, &output);
    free(output);
    return code;
}

#endif
