/* fuzz_run_file.c - any bytes at all, opened and read as a run file. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "run_read.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* libhdf5 1.10.8 loses the memory of an object header that it cannot decode (H5O_protect). */
const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:libhdf5";
}

static bool touch(void *self, const struct raw_message *message)
{
    volatile uint8_t *last = self;
    for (size_t i = 0; i < message->length; i++)
        *last = message->bytes[i];
    return true;
}

static void ignore(void *self, int severity, const char *text)
{
    (void)self;
    (void)severity;
    (void)text;
}

static void read_all(struct run *run)
{
    const struct run_event *events;
    const struct run_gap *gaps;
    const struct run_utc *utcs;
    struct complaint complaint;
    size_t count;
    int worst;
    uint8_t last;
    for (size_t i = 0; i < run_stream_count(run); i++)
        for (size_t k = 0; k < run_stream(run, i)->channel_count; k++) {
            struct series series;
            run_read_series(run, i, run_stream(run, i)->channels[k], &series, &complaint);
            series_free(&series);
        }
    run_events(run, &events, &count, &complaint);
    run_gaps(run, &gaps, &count, &complaint);
    run_utcs(run, &utcs, &count, &complaint);
    run_raw(run, touch, &last, &complaint);
    run_check(run, ignore, NULL, &worst, &complaint);
}

/* HDF5 wants a file that has a name. */
static int write_file(const uint8_t *data, size_t size, char *path, size_t room)
{
    snprintf(path, room, "%s/searun-fuzz-XXXXXX", access("/dev/shm", W_OK) ? "/tmp" : "/dev/shm");
    int file = mkstemp(path);
    if (file < 0 || write(file, data, size) != (ssize_t)size)
        abort();
    return close(file);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char path[64];
    struct run *run;
    struct complaint complaint;
    write_file(data, size, path, sizeof path);
    if (run_open(path, &run, &complaint) == STATUS_OK) {
        read_all(run);
        run_close(run);
    }
    unlink(path);
    return 0;
}
