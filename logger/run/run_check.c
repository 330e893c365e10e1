/* run_check.c - is the file whole? Reads everything in it. */
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "run_inside.h"
#include "run_raw.h"
#include "run_table.h"
#include "run_verify.h"

enum severity { NOTE, WARNING, DAMAGE };

struct check {
    struct run *run;
    void (*say)(void *self, int severity, const char *text);
    void *self;
    int worst;
    struct run_counts found;
    void *cells; /* one block of any column */
};

#define BLOCK_ROWS CHUNK_RAW
#define GAPS_TOLD 20

static void tell(struct check *check, int severity, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void tell(struct check *check, int severity, const char *format, ...)
{
    char text[1200];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (severity > check->worst)
        check->worst = severity;
    if (check->say)
        check->say(check->self, severity, text);
}

static enum status memory_out(struct check *check, struct complaint *complaint)
{
    return complain(complaint, STATUS_MEMORY, "%s: no memory left", check->run->about.path);
}

/* --- the end of the run */

static void check_end(struct check *check)
{
    const struct run *run = check->run;
    if (!run->about.closed_cleanly)
        tell(check, WARNING, "the recording was not ended on purpose; its last seconds may lack");
    if (run->about.rebuilt)
        tell(check, NOTE,
             "the file was made again from the journal after the recording was cut off");
    if (run->about.duration < 0)
        tell(check, DAMAGE, "the run ends before it starts");
    if (run->unread_facts)
        tell(check, WARNING, "%zu facts of boat, engines or run cannot be read by this program",
             run->unread_facts);
    if (run->unknown_names)
        tell(check, NOTE,
             "%zu parts of the file are not known to this program and were not looked at",
             run->unknown_names);
}

/* --- measurements */

/* Reads the times of a stream and counts how often they go back. */
static void check_times(struct check *check, const struct stream *stream,
                        const struct column_in *column)
{
    const int64_t *cells = check->cells;
    int64_t before = INT64_MIN;
    uint64_t back = 0;
    for (uint64_t at = 0; at < column->rows; at += BLOCK_ROWS) {
        size_t count = column->rows - at < BLOCK_ROWS ? (size_t)(column->rows - at) : BLOCK_ROWS;
        if (!h5_column_read(column, at, count, check->cells)) {
            tell(check, DAMAGE, "%s/time: cannot be read from instant %" PRIu64 " on (HDF5: %s)",
                 stream->group, at, check->run->words.text);
            return;
        }
        for (size_t i = 0; i < count; i++) {
            back += cells[i] < before;
            before = cells[i];
        }
    }
    if (back)
        tell(check, WARNING, "%s: time goes back %" PRIu64 " times (sorted when it is read)",
             stream->group, back);
}

static void check_values(struct check *check, const struct stream *stream,
                         const struct channel *channel, const struct column_in *column,
                         struct scale scale)
{
    const int32_t *cells = check->cells;
    int32_t low = FILL_PACKED + 1, high = INT32_MAX;
    scale_to_steps(scale, channel->low, &low);
    scale_to_steps(scale, channel->high, &high);
    uint64_t outside = 0;
    for (uint64_t at = 0; at < column->rows; at += BLOCK_ROWS) {
        size_t count = column->rows - at < BLOCK_ROWS ? (size_t)(column->rows - at) : BLOCK_ROWS;
        if (!h5_column_read(column, at, count, check->cells)) {
            tell(check, DAMAGE, "%s/%s: cannot be read from instant %" PRIu64 " on (HDF5: %s)",
                 stream->group, channel->key, at, check->run->words.text);
            return;
        }
        for (size_t i = 0; i < count; i++)
            outside += cells[i] != FILL_PACKED && (cells[i] < low || cells[i] > high);
    }
    if (outside)
        tell(check, WARNING, "%s/%s: %" PRIu64 " values are beyond what is believable",
             stream->group, channel->key, outside);
}

static void check_stream(struct check *check, const struct stream *stream)
{
    struct complaint complaint = {0};
    const char *why;
    struct column_in column;
    struct scale scale;
    h5_enter(&check->run->words);
    hid_t group = h5_open_group(check->run->file, stream->group);
    if (group >= 0 && h5_column_open(group, "time", &column_time, &column, &why)) {
        check_times(check, stream, &column);
        h5_column_close(&column);
    } else {
        tell(check, DAMAGE, "%s/time: cannot be opened", stream->group);
    }
    if (group >= 0)
        H5Gclose(group);
    for (size_t i = 0; i < stream->channel_count; i++) {
        enum channel_id id = stream->channels[i];
        h5_enter(&check->run->words);
        if (run_open_field(check->run, stream, id, &column, &scale, &complaint) != STATUS_OK) {
            tell(check, DAMAGE, "%s", complaint.text);
            continue;
        }
        check_values(check, stream, channel_get(id), &column, scale);
        h5_column_close(&column);
    }
    check->found.streams++;
    check->found.rows += stream->count;
}

/* --- raw messages */

static void check_raw_input(struct check *check, struct raw_in *raw)
{
    struct complaint complaint = {0};
    uint64_t back = 0;
    int64_t before = INT64_MIN;
    for (; raw->at < raw->length; raw->at++) {
        if (raw_take(check->run, raw, &complaint) != STATUS_OK) {
            tell(check, DAMAGE, "%s", complaint.text);
            return;
        }
        back += raw->time < before;
        before = raw->time;
    }
    if (back)
        tell(check, WARNING, "%s: time goes back %" PRIu64 " times", raw->path, back);
    check->found.raw += raw->length;
}

static void check_raw(struct check *check)
{
    struct complaint complaint = {0};
    struct raw_all all;
    h5_enter(&check->run->words);
    if (raw_open_all(check->run, &all, &complaint) != STATUS_OK)
        tell(check, DAMAGE, "%s", complaint.text);
    else
        for (size_t i = 0; i < all.count; i++)
            check_raw_input(check, &all.raw[i]);
    raw_close_all(&all);
}

/* --- plain tables and what they tell */

/* Reads a plain table block by block. Returns the rows it has. */
static uint64_t check_plain(struct check *check, const struct table_spec *spec)
{
    struct complaint complaint = {0};
    struct column_in columns[COLUMNS_MAX];
    uint64_t rows = 0;
    h5_enter(&check->run->words);
    enum status status =
        run_open_columns(check->run, spec->group, spec, columns, &rows, &complaint);
    if (status == STATUS_OK && rows > spec->rows_most)
        status = run_too_long(check->run, spec, &complaint);
    unsigned char *block = malloc(CHUNK_PLAIN * spec->row_size);
    if (!block)
        status = memory_out(check, &complaint);
    for (uint64_t at = 0; at < rows && status == STATUS_OK; at += CHUNK_PLAIN) {
        size_t count = rows - at < CHUNK_PLAIN ? (size_t)(rows - at) : CHUNK_PLAIN;
        status = run_read_rows(check->run, spec->group, spec, columns, at, count, block,
                               check->cells, &complaint);
    }
    free(block);
    run_close_columns(columns, spec->column_count);
    if (status != STATUS_OK)
        tell(check, DAMAGE, "%s", complaint.text);
    return rows;
}

static void tell_gap(struct check *check, const struct run_gap *gap)
{
    const struct run_input *input = run_input_at(check->run, gap->input);
    const char *label = input ? input->label : "an unknown input";
    if (gap->lost)
        tell(check, NOTE, "gap of %.3f s at %.3f s on %s: %s; %" PRIu64 " messages lost",
             gap->to - gap->from, gap->from, label, gap->why, gap->lost);
    else
        tell(check, NOTE, "gap of %.3f s at %.3f s on %s: %s", gap->to - gap->from, gap->from,
             label, gap->why);
}

static void check_gaps(struct check *check)
{
    struct complaint complaint = {0};
    const struct run_gap *gaps;
    size_t count;
    if (run_gaps(check->run, &gaps, &count, &complaint) != STATUS_OK)
        tell(check, DAMAGE, "%s", complaint.text);
    check->found.gaps = count;
    for (size_t i = 0; i < count && i < GAPS_TOLD; i++)
        tell_gap(check, &gaps[i]);
    if (count > GAPS_TOLD)
        tell(check, NOTE, "%zu further gaps", count - GAPS_TOLD);
}

static void tell_tallies(struct check *check)
{
    for (size_t i = 0; i < check->run->input_count; i++)
        for (int reason = 0; reason < REASON_COUNT; reason++) {
            const struct tally_line *line = &check->run->tallies[i].line[reason];
            if (line->count)
                tell(check, NOTE, "%s: %" PRIu64 " %s", check->run->inputs[i].label, line->count,
                     reason_title((enum reason)reason));
        }
}

static enum status check_all(struct check *check, struct complaint *complaint)
{
    check->cells = malloc(BLOCK_ROWS * sizeof(int64_t));
    if (!check->cells)
        return memory_out(check, complaint);
    check_end(check);
    check->found.events = check_plain(check, &table_events);
    check->found.utcs = check_plain(check, &table_clock);
    check_gaps(check);
    for (size_t i = 0; i < check->run->stream_count; i++)
        check_stream(check, &check->run->streams[i].stream);
    check_raw(check);
    h5_leave();
    tell_tallies(check);
    free(check->cells);
    return STATUS_OK;
}

enum status run_check(struct run *run, void (*say)(void *self, int severity, const char *text),
                      void *self, int *worst, struct complaint *complaint)
{
    struct check check = {.run = run, .say = say, .self = self};
    enum status status = check_all(&check, complaint);
    *worst = check.worst;
    return status;
}

/* --- before a run gets its name */

struct first_damage {
    char text[600];
};

static void keep_damage(void *self, int severity, const char *text)
{
    struct first_damage *first = self;
    if (severity == DAMAGE && first->text[0] == '\0')
        layout_text(first->text, sizeof first->text, text);
}

static const char *compare_counts(const struct run_counts *found, const struct run_counts *expected)
{
    if (found->streams != expected->streams || found->rows != expected->rows)
        return "measurements are missing";
    if (found->raw != expected->raw)
        return "raw messages are missing";
    if (found->events != expected->events || found->gaps != expected->gaps ||
        found->utcs != expected->utcs)
        return "events, gaps or statements of UTC are missing";
    return NULL;
}

enum status run_verify(const char *part, const struct run_counts *expected,
                       struct complaint *complaint)
{
    struct run *run;
    struct complaint inner = {0};
    struct first_damage damage = {""};
    enum status status = run_open(part, &run, &inner);
    const char *wrong = inner.text;
    if (status == STATUS_OK) {
        struct check check = {.run = run, .say = keep_damage, .self = &damage};
        status = check_all(&check, &inner);
        if (status == STATUS_OK && damage.text[0])
            wrong = damage.text;
        else if (status == STATUS_OK)
            wrong = compare_counts(&check.found, expected);
        run_close(run);
    }
    if (status == STATUS_OK && !wrong)
        return STATUS_OK;
    return complain(complaint, status == STATUS_OK ? STATUS_BAD_DATA : status,
                    "%s was written, but does not read back whole: %.700s. The storage may be "
                    "failing: record to another one.",
                    part, wrong);
}
