/* run_write.c - the writer of run files: readings, raw messages, events as they come. */
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "run_place.h"
#include "run_writer.h"

const char *clock_source_key(enum clock_source source)
{
    static const char *const keys[] = {
        [CLOCK_SYSTEM] = "system",
        [CLOCK_GNSS] = "gnss",
        [CLOCK_CAPTURE] = "capture",
        [CLOCK_NOMINAL] = "nominal",
    };
    assert((unsigned)source < sizeof keys / sizeof keys[0]);
    return keys[source];
}

int64_t writer_microseconds(int64_t at)
{
    return at / NS_PER_US - (at % NS_PER_US < 0);
}

/* --- failures */

enum status writer_fail(struct run_writer *run, enum status status, const char *doing)
{
    if (run->failed != STATUS_OK)
        return run->failed;
    if (status == STATUS_MEMORY)
        run->failed = complain(&run->trouble, status, "%s: %s: no memory left", run->part, doing);
    else
        run->failed = h5_complain(&run->words, &run->trouble, status, run->part, doing);
    return run->failed;
}

enum status writer_done(struct run_writer *run, enum status status, const char *doing)
{
    h5_leave();
    return status == STATUS_OK ? STATUS_OK : writer_fail(run, status, doing);
}

/* --- opening */

static struct run_writer *new_writer(const struct run_start *start)
{
    struct run_writer *run = calloc(1, sizeof *run);
    if (!run)
        return NULL;
    run->file = -1;
    run->rows_most = ROWS_SERIES_MAX;
    run->path = strdup(start->path);
    if (asprintf(&run->part, "%s.part", start->path) < 0)
        run->part = NULL;
    run->input_count = start->input_count;
    if (start->input_count)
        memcpy(run->inputs, start->inputs, start->input_count * sizeof run->inputs[0]);
    return run;
}

/* One run is recorded while another is rebuilt, each in a thread of its own; only a library with a
 * lock bears that. */
static enum status check_library(struct complaint *complaint)
{
    hbool_t is_safe = false;
    if (H5is_library_threadsafe(&is_safe) >= 0 && is_safe)
        return STATUS_OK;
    return complain(complaint, STATUS_NO_TOOL,
                    "no run can be recorded: the HDF5 library on this computer is one that several "
                    "threads cannot use safely. Install one that they can: that of Debian is, and "
                    "so is one built with --enable-threadsafe (HDF5_ENABLE_THREADSAFE)");
}

enum status run_write_open(const struct run_start *start, struct run_writer **out,
                           struct complaint *complaint)
{
    *out = NULL;
    if (!start->path || !start->path[0])
        return complain(complaint, STATUS_BAD_USAGE, "no name was given for the run file");
    if (start->input_count > INPUTS_MAX)
        return complain(complaint, STATUS_BAD_USAGE, "a run takes at most %d inputs", INPUTS_MAX);
    enum status status = check_library(complaint);
    if (status != STATUS_OK)
        return status;
    struct run_writer *run = new_writer(start);
    if (!run || !run->path || !run->part) {
        if (run)
            writer_free(run);
        return complain(complaint, STATUS_MEMORY, "%s: no memory left", start->path);
    }
    status = place_claim(run->path, run->part, complaint);
    if (status != STATUS_OK) {
        writer_free(run);
        return status;
    }
    h5_enter(&run->words);
    status = writer_done(run, writer_begin_file(run, start), "cannot begin the run file");
    if (status != STATUS_OK) {
        complain(complaint, status, "%s", run->trouble.text);
        run_write_abandon(run);
        return status;
    }
    *out = run;
    return STATUS_OK;
}

/* --- measurements */

/* FNV-1a over the bytes of the origin. */
static size_t hash_of(const struct origin *origin)
{
    _Static_assert(sizeof *origin == 84, "an origin must have no padding, its bytes are compared");
    const unsigned char *bytes = (const unsigned char *)origin;
    uint32_t hash = 2166136261u;
    for (size_t i = 0; i < sizeof *origin; i++)
        hash = (hash ^ bytes[i]) * 16777619u;
    return hash % SLOT_COUNT;
}

/* The slot of that origin, or the free slot where it belongs. */
static uint16_t *find_slot(struct run_writer *run, const struct origin *origin)
{
    size_t slot = hash_of(origin);
    while (run->slots[slot]) {
        const struct stream_out *stream = run->streams[run->slots[slot] - 1];
        if (memcmp(&stream->origin, origin, sizeof *origin) == 0)
            break;
        slot = (slot + 1) % SLOT_COUNT;
    }
    return &run->slots[slot];
}

static enum status add_stream(struct run_writer *run, const struct origin *origin, uint16_t *slot)
{
    struct stream_out *stream = calloc(1, sizeof *stream);
    if (!stream)
        return writer_fail(run, STATUS_MEMORY, "cannot begin a group");
    stream->origin = *origin;
    run->streams[run->stream_count++] = stream;
    *slot = (uint16_t)run->stream_count;
    h5_enter(&run->words);
    return writer_done(run, writer_begin_stream(run, stream), "cannot begin a group");
}

static enum status add_field(struct run_writer *run, struct stream_out *stream, unsigned channel)
{
    h5_enter(&run->words);
    enum status status = table_out_field(&stream->table, (enum channel_id)channel);
    stream->column_of[channel] = (int16_t)(stream->table.column_count - 1);
    return writer_done(run, status, "cannot begin a column");
}

static void count_own(struct run_writer *run, unsigned input, enum reason reason, int64_t at,
                      size_t count)
{
    if (input < run->input_count)
        tally_add_many(&run->own[input], reason, at, count);
}

static enum status begin_fields(struct run_writer *run, struct stream_out *stream,
                                const struct value *values, size_t count)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        assert(values[i].channel < CHANNEL_COUNT);
        if (stream->column_of[values[i].channel] == 0)
            status = add_field(run, stream, values[i].channel);
    }
    return status;
}

/* Fills one row: the instant, the values, and the fill value where nothing was said. */
static void fill_row(struct run_writer *run, struct stream_out *stream, int64_t at,
                     const struct value *values, size_t count)
{
    struct table_out *table = &stream->table;
    size_t row = table->waiting;
    ((int64_t *)(void *)table->columns[0].cells)[row] = writer_microseconds(at);
    for (size_t i = 1; i < table->column_count; i++)
        ((int32_t *)(void *)table->columns[i].cells)[row] = FILL_PACKED;
    for (size_t i = 0; i < count; i++) {
        const struct column_out *column = &table->columns[stream->column_of[values[i].channel]];
        int32_t *cell = (int32_t *)(void *)column->cells + row;
        if (!scale_to_steps(column->scale, values[i].value, cell))
            count_own(run, stream->origin.input, REASON_OUT_OF_RANGE, at, 1);
    }
}

static enum status commit(struct run_writer *run, struct table_out *table, size_t count)
{
    if (table->waiting + count < table->chunk)
        return table_out_commit(table, count);
    h5_enter(&run->words);
    return writer_done(run, table_out_commit(table, count), "cannot write a chunk");
}

enum status run_write_readings(struct run_writer *run, int64_t at, const struct origin *origin,
                               const struct value *values, size_t count)
{
    if (run->failed != STATUS_OK)
        return run->failed;
    uint16_t *slot = find_slot(run, origin);
    if (*slot == 0 && run->stream_count == STREAMS_MAX) {
        count_own(run, origin->input, REASON_NOT_KEPT, at, count);
        return STATUS_OK;
    }
    if (*slot == 0 && add_stream(run, origin, slot) != STATUS_OK)
        return run->failed;
    struct stream_out *stream = run->streams[*slot - 1];
    if (table_out_rows(&stream->table) >= run->rows_most) { /* no reader would take more */
        count_own(run, origin->input, REASON_NOT_KEPT, at, count);
        return STATUS_OK;
    }
    if (begin_fields(run, stream, values, count) != STATUS_OK)
        return run->failed;
    if (table_out_reserve(&stream->table, 1) != STATUS_OK)
        return writer_fail(run, STATUS_MEMORY, "cannot keep readings");
    fill_row(run, stream, at, values, count);
    return commit(run, &stream->table, 1);
}

enum status run_write_accuracy(struct run_writer *run, const struct origin *origin,
                               enum channel_id channel, const struct accuracy *accuracy)
{
    const struct value column = {(uint16_t)channel, 0};
    if (run->failed != STATUS_OK)
        return run->failed;
    uint16_t *slot = find_slot(run, origin);
    if (*slot == 0 && run->stream_count == STREAMS_MAX)
        return STATUS_OK; /* nothing of it will be kept, and that is counted */
    if (*slot == 0 && add_stream(run, origin, slot) != STATUS_OK)
        return run->failed;
    struct stream_out *stream = run->streams[*slot - 1];
    if (begin_fields(run, stream, &column, 1) != STATUS_OK)
        return run->failed;
    hid_t data = stream->table.columns[stream->column_of[channel]].data;
    h5_enter(&run->words);
    return writer_done(run, writer_put_accuracy(data, accuracy), "cannot describe a column");
}

/* --- raw messages */

static enum status append(struct run_writer *run, struct table_out *table, const void *row)
{
    if (table->waiting + 1 < table->chunk) {
        enum status status = table_out_append(table, row);
        return status == STATUS_OK ? STATUS_OK : writer_fail(run, status, "cannot keep a row");
    }
    h5_enter(&run->words);
    return writer_done(run, table_out_append(table, row), "cannot write a chunk");
}

static enum status append_bytes(struct run_writer *run, struct table_out *table, const char *bytes,
                                size_t length)
{
    while (length > 0) {
        size_t piece = table->chunk - table->waiting;
        if (piece > length)
            piece = length;
        if (table_out_reserve(table, piece) != STATUS_OK)
            return writer_fail(run, STATUS_MEMORY, "cannot keep raw lines");
        memcpy(table->columns[0].cells + table->waiting, bytes, piece);
        enum status status = commit(run, table, piece);
        if (status != STATUS_OK)
            return status;
        bytes += piece;
        length -= piece;
    }
    return STATUS_OK;
}

static enum status open_lines(struct run_writer *run, unsigned input)
{
    h5_enter(&run->words);
    return writer_done(run, writer_begin_lines(run, input), "cannot begin the raw lines");
}

enum status run_write_line(struct run_writer *run, int64_t at, unsigned input, const char *bytes,
                           size_t length)
{
    assert(input < run->input_count);
    if (run->failed != STATUS_OK)
        return run->failed;
    struct raw_out *raw = &run->raw[input];
    if (!raw->has_lines && open_lines(run, input) != STATUS_OK)
        return run->failed;
    if (length > LINE_MAX_BYTES) {
        count_own(run, input, REASON_TOO_LONG, at, 1);
        length = LINE_MAX_BYTES;
    }
    struct line_row row = {writer_microseconds(at), table_out_rows(&raw->bytes)};
    enum status status = append_bytes(run, &raw->bytes, bytes, length);
    return status == STATUS_OK ? append(run, &raw->lines, &row) : status;
}

static enum status open_frames(struct run_writer *run, unsigned input)
{
    h5_enter(&run->words);
    return writer_done(run, writer_begin_frames(run, input), "cannot begin the raw frames");
}

enum status run_write_frame(struct run_writer *run, int64_t at, unsigned input, uint32_t id,
                            const uint8_t *data, unsigned length)
{
    assert(input < run->input_count && length <= 8);
    if (run->failed != STATUS_OK)
        return run->failed;
    struct raw_out *raw = &run->raw[input];
    if (!raw->has_frames && open_frames(run, input) != STATUS_OK)
        return run->failed;
    struct frame_row row = {.time = writer_microseconds(at), .id = id, .length = (uint8_t)length};
    if (length)
        memcpy(row.data, data, length);
    return append(run, &raw->frames, &row);
}

/* --- events, UTC, gaps */

/* Plain tables are read whole, so their length is bounded; what is beyond is counted. */
static bool is_full(struct run_writer *run, const struct table_out *table, uint64_t most,
                    const struct origin *origin, int64_t at)
{
    if (table_out_rows(table) < most)
        return false;
    count_own(run, origin ? origin->input : 0, REASON_NOT_KEPT, at, 1);
    return true;
}

enum status run_write_event(struct run_writer *run, int64_t at, const struct origin *origin,
                            const char *key, const char *text)
{
    if (run->failed != STATUS_OK || is_full(run, &run->events, ROWS_EVENTS_MAX, origin, at))
        return run->failed;
    struct event_row row = {.time = writer_microseconds(at)};
    if (origin)
        row.origin = layout_origin(origin);
    layout_text(row.key, sizeof row.key, key);
    layout_text(row.text, sizeof row.text, text);
    return append(run, &run->events, &row);
}

enum status run_write_utc(struct run_writer *run, int64_t at, const struct origin *origin,
                          int64_t unix_us)
{
    if (run->failed != STATUS_OK || is_full(run, &run->clock, ROWS_CLOCK_MAX, origin, at))
        return run->failed;
    struct clock_row row = {
        .time = writer_microseconds(at), .unix_us = unix_us, .origin = layout_origin(origin)};
    return append(run, &run->clock, &row);
}

enum status run_write_gap(struct run_writer *run, int64_t from, int64_t to, unsigned input,
                          const char *why, uint64_t lost)
{
    if (run->failed != STATUS_OK || is_full(run, &run->gaps, ROWS_EVENTS_MAX, NULL, from))
        return run->failed;
    struct gap_row row = {.from = writer_microseconds(from),
                          .to = writer_microseconds(to),
                          .lost = lost,
                          .input = (uint8_t)input};
    layout_text(row.why, sizeof row.why, why);
    return append(run, &run->gaps, &row);
}
