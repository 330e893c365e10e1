/* stage.h - what tests that run the programs from outside share: a scratch folder, starting and
 * ending programs, what they said, sentences with checksums, and comparing two run files. */
#ifndef STAGE_H
#define STAGE_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <arpa/inet.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "run_read.h"

#define UNUSED_HERE __attribute__((unused))
#define PATIENCE_S 60 /* how long anything may take on a busy machine before a test gives up */

static char stage_folder[200];

/* --- the scratch folder */

UNUSED_HERE static int stage_make(void **state)
{
    (void)state;
    const char *base = getenv("TMPDIR");
    snprintf(stage_folder, sizeof stage_folder, "%s/searun-whole-XXXXXX",
             base && base[0] ? base : "/tmp");
    return mkdtemp(stage_folder) ? 0 : -1;
}

static void stage_remove_in(const char *folder)
{
    struct dirent *entry;
    DIR *dir = opendir(folder);
    while (dir && (entry = readdir(dir))) {
        char path[600];
        struct stat about;
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        snprintf(path, sizeof path, "%.300s/%.200s", folder, entry->d_name);
        if (lstat(path, &about) == 0 && S_ISDIR(about.st_mode))
            stage_remove_in(path);
        else
            unlink(path);
    }
    if (dir)
        closedir(dir);
    rmdir(folder);
}

UNUSED_HERE static int stage_remove(void **state)
{
    (void)state;
    stage_remove_in(stage_folder);
    return 0;
}

/* A path in the scratch folder; valid until the eighth call after this one. */
static const char *stage_path(const char *name)
{
    static char paths[8][512];
    static unsigned next;
    char *path = paths[next++ % 8];
    snprintf(path, sizeof paths[0], "%s/%s", stage_folder, name);
    return path;
}

UNUSED_HERE static bool stage_exists(const char *path)
{
    struct stat about;
    return stat(path, &about) == 0;
}

UNUSED_HERE static void stage_write(const char *path, const void *bytes, size_t length)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    assert_int_equal(fclose(file), 0);
}

/* --- text that grows */

struct stage_text {
    size_t length;
    char bytes[1 << 20];
};

UNUSED_HERE __attribute__((format(printf, 2, 3))) static void stage_add(struct stage_text *text,
                                                                        const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    int length =
        vsnprintf(text->bytes + text->length, sizeof text->bytes - text->length, format, arguments);
    va_end(arguments);
    text->length += (size_t)length;
    assert_true(text->length < sizeof text->bytes);
}

/* A sentence with its checksum and line end. */
UNUSED_HERE __attribute__((format(printf, 2, 3))) static void
stage_add_sentence(struct stage_text *text, const char *format, ...)
{
    char body[1024];
    unsigned char sum = 0;
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(body, sizeof body, format, arguments);
    va_end(arguments);
    for (const char *c = body; *c; c++)
        sum ^= (unsigned char)*c;
    stage_add(text, "$%s*%02X\r\n", body, sum);
}

/* --- programs */

struct program {
    pid_t pid;
    char output[512]; /* file that both its outputs go to */
    bool running;
    int code; /* exit code, or 1000 + signal */
};

static const char *stage_program(const char *variable)
{
    const char *path = getenv(variable);
    if (!path)
        fail_msg("%s is not set; run the tests with make check", variable);
    return path;
}

/* Starts a program; the arguments end with NULL. `environment` ("NAME=value") may be NULL. */
UNUSED_HERE static struct program stage_start_with(const char *environment, const char *path,
                                                   const char *const arguments[])
{
    static unsigned number;
    struct program program = {.running = true};
    snprintf(program.output, sizeof program.output, "%s/output-%u", stage_folder, number++);
    program.pid = fork();
    assert_true(program.pid >= 0);
    if (program.pid == 0) {
        int fd = open(program.output, O_WRONLY | O_CREAT | O_TRUNC, 0600);
        dup2(fd, STDOUT_FILENO);
        dup2(fd, STDERR_FILENO);
        if (environment)
            putenv(strdup(environment));
        execv(path, (char *const *)(uintptr_t)arguments);
        _exit(127);
    }
    return program;
}

#define LOGGER_ARGUMENTS(...) ((const char *const[]){"searun-logger", __VA_ARGS__, NULL})

#define start_logger(...)                                                                          \
    stage_start_with(NULL, stage_program("SEARUN_LOGGER"), LOGGER_ARGUMENTS(__VA_ARGS__))
#define start_analyze(...)                                                                         \
    stage_start_with(NULL, stage_program("SEARUN_ANALYZE"),                                        \
                     (const char *const[]){"searun-analyze", __VA_ARGS__, NULL})

/* What it has said so far; valid until the next call. */
static const char *stage_said(const struct program *program)
{
    static char text[200000];
    int fd = open(program->output, O_RDONLY);
    ssize_t length = fd < 0 ? 0 : read(fd, text, sizeof text - 1);
    text[length < 0 ? 0 : length] = '\0';
    close(fd);
    return text;
}

static void stage_nap(void)
{
    nanosleep(&(struct timespec){0, 10000000}, NULL);
}

/* Waits until it has said so. */
UNUSED_HERE static void stage_until_said(const struct program *program, const char *words)
{
    for (int i = 0; i < PATIENCE_S * 100; i++) {
        if (strstr(stage_said(program), words))
            return;
        stage_nap();
    }
    fail_msg("\"%s\" was not said, but:\n%s", words, stage_said(program));
}

/* Waits for the end and returns the exit code. */
static int stage_wait(struct program *program)
{
    int status = 0;
    for (int i = 0; program->running && i < 2 * PATIENCE_S * 100; i++) {
        if (waitpid(program->pid, &status, WNOHANG) == program->pid) {
            program->running = false;
            program->code = WIFEXITED(status) ? WEXITSTATUS(status) : 1000 + WTERMSIG(status);
        } else {
            stage_nap();
        }
    }
    if (program->running) {
        kill(program->pid, SIGKILL);
        waitpid(program->pid, &status, 0);
        fail_msg("the program did not end; it said:\n%s", stage_said(program));
    }
    return program->code;
}

/* Waits for the end; it must have that code. */
static void stage_expect(struct program program, int code)
{
    if (stage_wait(&program) != code)
        fail_msg("exit code %d, expected %d; it said:\n%s", program.code, code,
                 stage_said(&program));
}

/* The same, and what it said must hold the words. */
UNUSED_HERE static void stage_expect_words(struct program program, int code, const char *words)
{
    stage_expect(program, code);
    if (!strstr(stage_said(&program), words))
        fail_msg("\"%s\" was not said, but:\n%s", words, stage_said(&program));
}

/* A run of the boat model, in the scratch folder under that name. */
UNUSED_HERE static void stage_record(const char *scenario, const char *purpose, const char *name)
{
    const char *const arguments[] = {
        "boat-model", "--scenario", scenario,   "--format",       "run",
        "--purpose",  purpose,      "--output", stage_path(name), NULL};
    stage_expect(stage_start_with(NULL, stage_program("SEARUN_BOAT_MODEL"), arguments), 0);
}

/* A whole file, with a NUL behind it; to be freed. */
UNUSED_HERE static char *stage_read(const char *path)
{
    FILE *file = fopen(path, "rb");
    if (file == NULL)
        fail_msg("%s is not there", path);
    char *bytes = malloc(8 << 20);
    assert_non_null(bytes);
    bytes[fread(bytes, 1, (8 << 20) - 1, file)] = '\0';
    fclose(file);
    return bytes;
}

UNUSED_HERE static void stage_stop(struct program program, int signal_number, int code)
{
    assert_int_equal(kill(program.pid, signal_number), 0);
    stage_expect(program, code);
}

/* --- networks */

UNUSED_HERE static struct sockaddr_in stage_loopback(unsigned port)
{
    return (struct sockaddr_in){.sin_family = AF_INET,
                                .sin_port = htons((uint16_t)port),
                                .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
}

/* A port that is free now. */
UNUSED_HERE static unsigned stage_free_port(int type)
{
    struct sockaddr_in address = stage_loopback(0);
    socklen_t length = sizeof address;
    int fd = socket(AF_INET, type, 0);
    assert_int_equal(bind(fd, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(getsockname(fd, (struct sockaddr *)&address, &length), 0);
    close(fd);
    return ntohs(address.sin_port);
}

UNUSED_HERE static int stage_listen(unsigned port)
{
    struct sockaddr_in address = stage_loopback(port);
    const int on = 1;
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
    assert_int_equal(bind(fd, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(listen(fd, 5), 0);
    return fd;
}

UNUSED_HERE static void stage_datagram(unsigned port, const struct stage_text *text)
{
    struct sockaddr_in address = stage_loopback(port);
    int fd = socket(AF_INET, SOCK_DGRAM, 0);
    assert_int_equal(
        sendto(fd, text->bytes, text->length, 0, (struct sockaddr *)&address, sizeof address),
        text->length);
    close(fd);
}

/* --- run files */

UNUSED_HERE static struct run *stage_open_run(const char *path)
{
    struct run *run = NULL;
    struct complaint complaint = {""};
    if (run_open(path, &run, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    return run;
}

/* The values of a channel over all origins; count only. */
UNUSED_HERE static size_t stage_count(struct run *run, enum channel_id channel)
{
    size_t count = 0;
    for (size_t i = 0; i < run_stream_count(run); i++) {
        const struct stream *stream = run_stream(run, i);
        for (size_t k = 0; k < stream->channel_count; k++) {
            struct series series;
            if (stream->channels[k] != channel)
                continue;
            assert_int_equal(run_read_series(run, i, channel, &series, NULL), STATUS_OK);
            count += series.count;
            series_free(&series);
        }
    }
    return count;
}

UNUSED_HERE static uint64_t stage_tally(const struct run *run, size_t input, enum reason reason)
{
    return run_tally(run, input)->line[reason].count;
}

/* The only file of that ending in a folder. */
UNUSED_HERE static const char *stage_find(const char *folder, const char *ending)
{
    static char path[600];
    struct dirent *entry;
    int count = 0;
    DIR *dir = opendir(folder);
    assert_non_null(dir);
    while ((entry = readdir(dir))) {
        size_t length = strlen(entry->d_name), tail = strlen(ending);
        if (length < tail || strcmp(entry->d_name + length - tail, ending) != 0)
            continue;
        snprintf(path, sizeof path, "%.300s/%.200s", folder, entry->d_name);
        count++;
    }
    closedir(dir);
    assert_int_equal(count, 1);
    return path;
}

/* Writes what a run holds raw as a capture of ours, as people do it. */
UNUSED_HERE static void stage_export(const char *run_path, const char *capture_path)
{
    const char *const arguments[] = {"searun-analyze", "export",     run_path, "--raw",
                                     "--output",       capture_path, NULL};
    stage_expect(stage_start_with(NULL, stage_program("SEARUN_ANALYZE"), arguments), 0);
}

static void same_series(struct run *a, size_t stream_a, struct run *b, size_t stream_b,
                        enum channel_id channel)
{
    struct series x, y;
    assert_int_equal(run_read_series(a, stream_a, channel, &x, NULL), STATUS_OK);
    assert_int_equal(run_read_series(b, stream_b, channel, &y, NULL), STATUS_OK);
    assert_int_equal(x.count, y.count);
    assert_memory_equal(x.time, y.time, x.count * sizeof *x.time);
    assert_memory_equal(x.value, y.value, x.count * sizeof *x.value);
    series_free(&x);
    series_free(&y);
}

static void same_streams(struct run *a, struct run *b)
{
    assert_int_equal(run_stream_count(a), run_stream_count(b));
    for (size_t i = 0; i < run_stream_count(a); i++) {
        const struct stream *x = run_stream(a, i), *y = NULL;
        size_t k = 0;
        for (; k < run_stream_count(b); k++) {
            y = run_stream(b, k);
            if (memcmp(&x->origin, &y->origin, sizeof x->origin) == 0)
                break;
        }
        assert_true(k < run_stream_count(b));
        assert_string_equal(x->group, y->group);
        assert_int_equal(x->count, y->count);
        assert_int_equal(x->channel_count, y->channel_count);
        for (size_t n = 0; n < x->channel_count; n++) {
            assert_int_equal(x->channels[n], y->channels[n]);
            same_series(a, i, b, k, x->channels[n]);
        }
    }
}

struct stage_raw {
    size_t length, room;
    uint8_t *bytes;
};

static bool keep_raw(void *self, const struct raw_message *message)
{
    struct stage_raw *it = self;
    size_t need = it->length + message->length + 64;
    if (need > it->room) {
        it->room = 2 * need;
        it->bytes = realloc(it->bytes, it->room);
        assert_non_null(it->bytes);
    }
    it->length += (size_t)snprintf((char *)it->bytes + it->length, 64, "%lld %u %d %08X %zu ",
                                   (long long)message->at, message->input, message->is_can,
                                   message->can_id, message->length);
    memcpy(it->bytes + it->length, message->bytes, message->length);
    it->length += message->length;
    return true;
}

static void same_raw(struct run *a, struct run *b)
{
    struct stage_raw x = {0}, y = {0};
    assert_int_equal(run_raw(a, keep_raw, &x, NULL), STATUS_OK);
    assert_int_equal(run_raw(b, keep_raw, &y, NULL), STATUS_OK);
    assert_int_equal(x.length, y.length);
    if (x.length > 0)
        assert_memory_equal(x.bytes, y.bytes, x.length);
    free(x.bytes);
    free(y.bytes);
}

static int by_time(const void *a, const void *b)
{
    const struct run_utc *x = a, *y = b;
    if (x->time < y->time || x->time > y->time)
        return x->time < y->time ? -1 : 1;
    return memcmp(&x->origin, &y->origin, sizeof x->origin);
}

static void same_statements(struct run *a, struct run *b)
{
    const struct run_utc *x, *y;
    size_t count_x, count_y;
    assert_int_equal(run_utcs(a, &x, &count_x, NULL), STATUS_OK);
    assert_int_equal(run_utcs(b, &y, &count_y, NULL), STATUS_OK);
    assert_int_equal(count_x, count_y);
    /* Inputs are heard one after the other; a replay takes them in the order of their instants. */
    struct run_utc *sorted_x = malloc((count_x + 1) * sizeof *x);
    struct run_utc *sorted_y = malloc((count_y + 1) * sizeof *y);
    for (size_t i = 0; i < count_x; i++) {
        sorted_x[i] = x[i];
        sorted_y[i] = y[i];
    }
    qsort(sorted_x, count_x, sizeof *x, by_time);
    qsort(sorted_y, count_y, sizeof *y, by_time);
    for (size_t i = 0; i < count_x; i++) {
        assert_true(by_time(&sorted_x[i], &sorted_y[i]) == 0);
        assert_int_equal(sorted_x[i].unix_us, sorted_y[i].unix_us);
    }
    free(sorted_x);
    free(sorted_y);
}

static void same_gaps(struct run *a, struct run *b)
{
    const struct run_gap *x, *y;
    size_t count_x, count_y;
    assert_int_equal(run_gaps(a, &x, &count_x, NULL), STATUS_OK);
    assert_int_equal(run_gaps(b, &y, &count_y, NULL), STATUS_OK);
    assert_int_equal(count_x, count_y);
    for (size_t i = 0; i < count_x; i++) {
        assert_true(x[i].from - y[i].from < 2e-6 && y[i].from - x[i].from < 2e-6);
        assert_true(x[i].to - y[i].to < 2e-6 && y[i].to - x[i].to < 2e-6);
        assert_int_equal(x[i].input, y[i].input);
        assert_int_equal(x[i].lost, y[i].lost);
        assert_string_equal(x[i].why, y[i].why);
    }
}

static int by_event(const void *a, const void *b)
{
    const struct run_event *x = a, *y = b;
    if (x->time < y->time || x->time > y->time)
        return x->time < y->time ? -1 : 1;
    int order = memcmp(&x->origin, &y->origin, sizeof x->origin);
    order = order ? order : strcmp(x->key, y->key);
    return order ? order : strcmp(x->text, y->text);
}

/* In any order; see same_statements. */
static void same_events(struct run *a, struct run *b)
{
    const struct run_event *x, *y;
    size_t count_x, count_y;
    assert_int_equal(run_events(a, &x, &count_x, NULL), STATUS_OK);
    assert_int_equal(run_events(b, &y, &count_y, NULL), STATUS_OK);
    assert_int_equal(count_x, count_y);
    struct run_event *sorted_x = calloc(count_x + 1, sizeof *x);
    struct run_event *sorted_y = calloc(count_y + 1, sizeof *y);
    for (size_t i = 0; i < count_x; i++) {
        sorted_x[i] = x[i];
        sorted_y[i] = y[i];
    }
    qsort(sorted_x, count_x, sizeof *x, by_event);
    qsort(sorted_y, count_y, sizeof *y, by_event);
    for (size_t i = 0; i < count_x; i++)
        assert_int_equal(by_event(&sorted_x[i], &sorted_y[i]), 0);
    free(sorted_x);
    free(sorted_y);
}

/* Counts of what has no raw message are not in a capture. */
static bool is_replayed(int reason)
{
    return reason != REASON_REOPENED && reason != REASON_KERNEL_LOST && reason != REASON_OVERFLOW &&
           reason != REASON_OTHER_DATAGRAM && reason != REASON_REFUSED_SENDER;
}

static void same_tallies(struct run *a, struct run *b)
{
    assert_int_equal(run_input_count(a), run_input_count(b));
    for (size_t i = 0; i < run_input_count(a); i++) {
        assert_string_equal(run_input_at(a, i)->label, run_input_at(b, i)->label);
        assert_string_equal(run_input_at(a, i)->text, run_input_at(b, i)->text);
        for (int reason = 0; reason < REASON_COUNT; reason++) {
            uint64_t x = stage_tally(a, i, (enum reason)reason);
            uint64_t y = stage_tally(b, i, (enum reason)reason);
            if (is_replayed(reason) && x != y)
                fail_msg("input %zu: %llu and %llu %s", i, (unsigned long long)x,
                         (unsigned long long)y, reason_title((enum reason)reason));
        }
    }
}

/* Two run files must agree in everything but their ids and what made them. */
UNUSED_HERE static void stage_same_run(const char *path_a, const char *path_b)
{
    struct run *a = stage_open_run(path_a), *b = stage_open_run(path_b);
    assert_int_equal(run_about(a)->start_unix_us, run_about(b)->start_unix_us);
    assert_int_equal(run_about(a)->end_unix_us, run_about(b)->end_unix_us);
    assert_int_equal(run_about(a)->clock, run_about(b)->clock);
    assert_int_equal(run_about(a)->closed_cleanly, run_about(b)->closed_cleanly);
    same_tallies(a, b);
    same_raw(a, b);
    same_streams(a, b);
    same_statements(a, b);
    same_events(a, b);
    same_gaps(a, b);
    run_close(a);
    run_close(b);
}

#endif
