/* run_series.c - one channel of one stream, unpacked and in order of time. */
#include <stdlib.h>
#include <string.h>

#include "run_inside.h"
#include "run_table.h"

#define BLOCK_ROWS (16 * CHUNK_MEASUREMENTS)

static enum status out_of_memory(const struct run *run, struct complaint *complaint)
{
    return complain(complaint, STATUS_MEMORY, "%s: no memory left", run->about.path);
}

/* --- times, kept for the next channel of the same stream */

static void take_times(struct run *run, size_t from, size_t count, const int64_t *cells)
{
    for (size_t i = 0; i < count; i++) {
        double time = run_seconds(cells[i]);
        if (from + i > 0 && time < run->times[from + i - 1])
            run->times_in_order = false;
        run->times[from + i] = time;
    }
}

static enum status read_times(struct run *run, const struct stream *stream,
                              const struct column_in *column, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    int64_t *cells = malloc(BLOCK_ROWS * sizeof *cells);
    for (size_t at = 0; at < stream->count && status == STATUS_OK; at += BLOCK_ROWS) {
        size_t count = stream->count - at < BLOCK_ROWS ? stream->count - at : BLOCK_ROWS;
        double *grown = realloc(run->times, (at + count) * sizeof *grown);
        if (grown)
            run->times = grown;
        if (!grown || !cells)
            status = out_of_memory(run, complaint);
        else if (!h5_column_read(column, at, count, cells))
            status = run_damaged(run, complaint, stream->group, "time", "cannot be read");
        else
            take_times(run, at, count, cells);
    }
    free(cells);
    return status;
}

static enum status load_times(struct run *run, size_t index, hid_t group,
                              struct complaint *complaint)
{
    if (run->timed == index + 1)
        return STATUS_OK;
    const struct stream *stream = &run->streams[index].stream;
    struct column_in column;
    const char *why;
    run->timed = 0;
    run->times_in_order = true;
    if (!h5_column_open(group, "time", &column_time, &column, &why))
        return run_damaged(run, complaint, stream->group, "time", why);
    enum status status = STATUS_OK;
    if (column.rows != stream->count)
        status = run_damaged(run, complaint, stream->group, "time", "has changed its length");
    else
        status = read_times(run, stream, &column, complaint);
    h5_column_close(&column);
    if (status == STATUS_OK)
        run->timed = index + 1;
    return status;
}

/* --- values */

/* How the file itself says that the column is packed. */
static const char *read_scale(hid_t data, enum channel_id channel, struct scale *scale)
{
    double factor, offset;
    char units[32];
    if (!h5_get_double(data, "scale_factor", &factor) || !(factor > 0) ||
        !h5_get_double(data, "add_offset", &offset) || offset != 0.0)
        return "does not say how it is packed";
    if (!h5_get_text(data, "units", units, sizeof units) ||
        strcmp(units, unit_udunits(channel_get(channel)->unit)) != 0)
        return "is not in the unit it should be in";
    *scale = scale_of_step(factor);
    return NULL;
}

static enum status open_field(struct run *run, const struct stream *stream, hid_t group,
                              enum channel_id channel, struct column_in *column,
                              struct scale *scale, struct complaint *complaint)
{
    const char *key = channel_get(channel)->key, *why;
    if (!h5_column_open(group, key, &column_field, column, &why))
        return run_damaged(run, complaint, stream->group, key, why);
    why = column->rows == stream->count ? read_scale(column->data, channel, scale)
                                        : "has another length than its times";
    if (!why)
        return STATUS_OK;
    h5_column_close(column);
    return run_damaged(run, complaint, stream->group, key, why);
}

enum status run_open_field(struct run *run, const struct stream *stream, enum channel_id channel,
                           struct column_in *column, struct scale *scale,
                           struct complaint *complaint)
{
    hid_t group = h5_open_group(run->file, stream->group);
    if (group < 0)
        return run_damaged(run, complaint, stream->group, "", "cannot be opened");
    enum status status = open_field(run, stream, group, channel, column, scale, complaint);
    H5Gclose(group);
    return status;
}

/* A number that was not said, or cannot be meant, is none. */
static double read_said(hid_t data, const char *name)
{
    double value;
    bool there = H5Aexists(data, name) > 0 && h5_get_double(data, name, &value);
    return there && value > 0 && value < 1e9 ? value : 0;
}

static void read_accuracy(hid_t data, struct accuracy *out)
{
    char sampling[24] = "";
    *out = (struct accuracy){
        .interval = read_said(data, "sampling_interval"),
        .step = read_said(data, "resolution"),
        .reading_u = read_said(data, "reading_uncertainty"),
        .run_u = read_said(data, "run_uncertainty"),
        .instrument_u = read_said(data, "instrument_uncertainty"),
    };
    if (H5Aexists(data, "sampling") > 0 && h5_get_text(data, "sampling", sampling, sizeof sampling))
        out->by_hand = strcmp(sampling, SAMPLING_BY_HAND) == 0;
    if (H5Aexists(data, "instrument") <= 0 ||
        !h5_get_text(data, "instrument", out->instrument, sizeof out->instrument))
        out->instrument[0] = '\0';
}

static void take_values(struct series *out, const double *times, size_t count, const int32_t *cells,
                        struct scale scale)
{
    for (size_t i = 0; i < count; i++) {
        if (cells[i] == FILL_PACKED)
            continue;
        out->time[out->count] = times[i];
        out->value[out->count] = scale_to_value(scale, cells[i]);
        out->count++;
    }
}

static enum status read_values(struct run *run, const struct stream *stream,
                               const struct column_in *column, struct scale scale,
                               struct series *out, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    const char *key = channel_get(out->channel)->key;
    int32_t *cells = malloc(BLOCK_ROWS * sizeof *cells);
    if (!cells)
        return out_of_memory(run, complaint);
    for (size_t at = 0; at < stream->count && status == STATUS_OK; at += BLOCK_ROWS) {
        size_t count = stream->count - at < BLOCK_ROWS ? stream->count - at : BLOCK_ROWS;
        if (h5_column_read(column, at, count, cells))
            take_values(out, run->times + at, count, cells, scale);
        else
            status = run_damaged(run, complaint, stream->group, key, "cannot be read");
    }
    free(cells);
    return status;
}

static enum status read_field(struct run *run, size_t index, struct series *out,
                              struct complaint *complaint)
{
    const struct stream *stream = &run->streams[index].stream;
    struct column_in column;
    struct scale scale;
    hid_t group = h5_open_group(run->file, stream->group);
    if (group < 0)
        return run_damaged(run, complaint, stream->group, "", "cannot be opened");
    enum status status = load_times(run, index, group, complaint);
    if (status == STATUS_OK) {
        status = open_field(run, stream, group, out->channel, &column, &scale, complaint);
        if (status == STATUS_OK) {
            read_accuracy(column.data, &out->accuracy);
            out->time = malloc((stream->count + 1) * sizeof *out->time);
            out->value = malloc((stream->count + 1) * sizeof *out->value);
            status = out->time && out->value
                         ? read_values(run, stream, &column, scale, out, complaint)
                         : out_of_memory(run, complaint);
            h5_column_close(&column);
        }
    }
    H5Gclose(group);
    return status;
}

/* --- order of time */

struct sample {
    double time, value;
    size_t position;
};

static int compare_samples(const void *a, const void *b)
{
    const struct sample *left = a, *right = b;
    if (left->time != right->time)
        return left->time < right->time ? -1 : 1;
    return left->position < right->position ? -1 : 1;
}

static bool sort_series(struct series *series)
{
    struct sample *samples = malloc((series->count + 1) * sizeof *samples);
    if (!samples)
        return false;
    for (size_t i = 0; i < series->count; i++)
        samples[i] = (struct sample){series->time[i], series->value[i], i};
    qsort(samples, series->count, sizeof *samples, compare_samples);
    for (size_t i = 0; i < series->count; i++) {
        series->time[i] = samples[i].time;
        series->value[i] = samples[i].value;
    }
    free(samples);
    return true;
}

static bool has_channel(const struct stream *stream, enum channel_id channel)
{
    for (size_t i = 0; i < stream->channel_count; i++)
        if (stream->channels[i] == channel)
            return true;
    return false;
}

enum status run_read_series(struct run *run, size_t stream, enum channel_id channel,
                            struct series *out, struct complaint *complaint)
{
    *out = (struct series){.channel = channel};
    if (stream >= run->stream_count || (unsigned)channel >= CHANNEL_COUNT ||
        !has_channel(&run->streams[stream].stream, channel))
        return complain(complaint, STATUS_NOT_FOUND, "%s has no such channel there",
                        run->about.path);
    out->origin = run->streams[stream].stream.origin;
    h5_enter(&run->words);
    enum status status = read_field(run, stream, out, complaint);
    h5_leave();
    if (status == STATUS_OK && !run->times_in_order && !sort_series(out))
        status = out_of_memory(run, complaint);
    if (status != STATUS_OK)
        series_free(out);
    return status;
}

void series_free(struct series *series)
{
    free(series->time);
    free(series->value);
    *series = (struct series){0};
}
