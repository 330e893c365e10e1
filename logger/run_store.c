/* run_store.c - the run file as a store of the writer. */
#include "writer.h"

static enum status open_run(const struct run_start *start, void **self, struct complaint *complaint)
{
    struct run_writer *run = NULL;
    enum status status = run_write_open(start, &run, complaint);
    *self = run;
    return status;
}

static enum status readings_run(void *self, int64_t at, const struct origin *origin,
                                const struct value *values, size_t count)
{
    return run_write_readings(self, at, origin, values, count);
}

static enum status line_run(void *self, int64_t at, unsigned input, const char *bytes,
                            size_t length)
{
    return run_write_line(self, at, input, bytes, length);
}

static enum status frame_run(void *self, int64_t at, unsigned input, uint32_t id,
                             const uint8_t *data, unsigned length)
{
    return run_write_frame(self, at, input, id, data, length);
}

static enum status event_run(void *self, int64_t at, const struct origin *origin, const char *key,
                             const char *text)
{
    return run_write_event(self, at, origin, key, text);
}

static enum status utc_run(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    return run_write_utc(self, at, origin, unix_us);
}

static enum status gap_run(void *self, int64_t from, int64_t until, unsigned input, const char *why,
                           uint64_t lost)
{
    return run_write_gap(self, from, until, input, why, lost);
}

static enum status close_run(void *self, const struct run_end *end, struct complaint *complaint)
{
    return run_write_close(self, end, complaint);
}

static void abandon_run(void *self)
{
    run_write_abandon(self);
}

const struct store run_file_store = {
    .name = "run file",
    .open = open_run,
    .readings = readings_run,
    .line = line_run,
    .frame = frame_run,
    .event = event_run,
    .utc = utc_run,
    .gap = gap_run,
    .close = close_run,
    .abandon = abandon_run,
};
