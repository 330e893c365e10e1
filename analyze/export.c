/* export.c - a run as CSV or as a capture. */
#include "export.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "capture_text.h"
#include "origin_words.h"
#include "text.h"

/* --- CSV */

struct export_column {
    struct series series;
    size_t next; /* reading that comes next */
    int decimals;
};

struct export_table {
    size_t count;
    struct export_column *columns;
};

static bool is_asked(const struct export_request *request, enum channel_id channel)
{
    for (size_t i = 0; i < request->channel_count; i++)
        if (request->channels[i] == channel)
            return true;
    return request->channel_count == 0;
}

static void free_table(struct export_table *table)
{
    for (size_t i = 0; i < table->count; i++)
        series_free(&table->columns[i].series);
    free(table->columns);
}

/* Decimals that show every step of storage. */
static int decimals_of(const struct channel *channel)
{
    int decimals = 0;
    for (double step = channel->step; decimals < 9 && fabs(step - round(step)) > 1e-6 * step;
         step *= 10)
        decimals++;
    return decimals;
}

static enum status read_column(struct run *run, size_t stream, enum channel_id channel,
                               struct export_table *table, struct complaint *complaint)
{
    struct export_column *columns = realloc(table->columns, (table->count + 1) * sizeof *columns);
    if (columns == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory left for the table");
    table->columns = columns;
    struct export_column *column = &columns[table->count];
    *column = (struct export_column){.decimals = decimals_of(channel_get(channel))};
    enum status status = run_read_series(run, stream, channel, &column->series, complaint);
    if (status == STATUS_OK)
        table->count++;
    return status;
}

static enum status read_table(struct run *run, const struct export_request *request,
                              struct export_table *table, struct complaint *complaint)
{
    for (size_t s = 0; s < run_stream_count(run); s++) {
        const struct stream *stream = run_stream(run, s);
        for (size_t c = 0; c < stream->channel_count; c++) {
            if (!is_asked(request, stream->channels[c]))
                continue;
            enum status status = read_column(run, s, stream->channels[c], table, complaint);
            if (status != STATUS_OK)
                return status;
        }
    }
    if (table->count == 0 && request->channel_count > 0)
        return complain(complaint, STATUS_NOT_FOUND,
                        "the run has none of the channels asked for; `searun-analyze show` lists "
                        "those it has");
    return STATUS_OK;
}

static void write_header(const struct export_table *table, FILE *out)
{
    struct text line = {0};
    text_add(&line, "time (UTC),time since start (s)");
    for (size_t i = 0; i < table->count; i++) {
        const struct series *series = &table->columns[i].series;
        const struct channel *channel = channel_get(series->channel);
        struct text name = {0};
        text_addf(&name, "%s (%s) %s, %s", channel->key, unit_udunits(channel->unit),
                  origin_place(&series->origin).s, origin_source(&series->origin).s);
        text_add(&line, ",");
        text_csv(&line, text_string(&name));
        text_free(&name);
    }
    fprintf(out, "%s\r\n", text_string(&line));
    text_free(&line);
}

/* The earliest instant not yet written, or INFINITY. */
static double next_time(const struct export_table *table)
{
    double earliest = INFINITY;
    for (size_t i = 0; i < table->count; i++) {
        const struct export_column *column = &table->columns[i];
        if (column->next < column->series.count)
            earliest = fmin(earliest, column->series.time[column->next]);
    }
    return earliest;
}

static void write_row(struct export_table *table, int64_t start_unix_us, double time, FILE *out)
{
    fprintf(out, "%s,%.6f", word_iso(start_unix_us + (int64_t)llround(time * 1e6)).s, time);
    for (size_t i = 0; i < table->count; i++) {
        struct export_column *column = &table->columns[i];
        if (column->next < column->series.count && column->series.time[column->next] <= time)
            fprintf(out, ",%.*f", column->decimals, column->series.value[column->next++]);
        else
            fputc(',', out);
    }
    fputs("\r\n", out);
}

enum status export_csv(struct run *run, const struct export_request *request, FILE *out,
                       struct complaint *complaint)
{
    struct export_table table = {0};
    enum status status = read_table(run, request, &table, complaint);
    if (status == STATUS_OK) {
        write_header(&table, out);
        for (double time; isfinite(time = next_time(&table)) && !ferror(out);)
            write_row(&table, run_about(run)->start_unix_us, time, out);
    }
    free_table(&table);
    return status;
}

/* --- raw */

struct raw_export {
    const struct run *run;
    FILE *out;
    const struct run_gap *gaps;
    size_t gap_count, next_gap;
    const struct run_event *events;
    size_t event_count, next_event;
    size_t unsaid; /* messages that have no place in the layout */
};

static int64_t nanoseconds(double seconds)
{
    return (int64_t)llround(seconds * 1e9);
}

/* Writes the gaps that ended at or before `until`. */
static void write_gaps(struct raw_export *raw, int64_t until)
{
    char line[CAPTURE_TEXT_ROOM];
    for (; raw->next_gap < raw->gap_count; raw->next_gap++) {
        const struct run_gap *gap = &raw->gaps[raw->next_gap];
        if (nanoseconds(gap->to) > until)
            return;
        if (gap->input >= run_input_count(raw->run))
            continue;
        size_t length = capture_text_gap(line, sizeof line, run_about(raw->run)->start_unix_us,
                                         run_input_at(raw->run, gap->input), nanoseconds(gap->from),
                                         nanoseconds(gap->to), gap->lost, gap->why);
        fwrite(line, 1, length, raw->out);
    }
}

/* Writes the events up to `until` that no message tells: those of a decoder come again by
 * decoding. */
static void write_events(struct raw_export *raw, int64_t until)
{
    char line[CAPTURE_TEXT_ROOM];
    for (; raw->next_event < raw->event_count; raw->next_event++) {
        const struct run_event *event = &raw->events[raw->next_event];
        if (nanoseconds(event->time) > until)
            return;
        if (event->origin.message[0])
            continue;
        size_t length = capture_text_event(line, sizeof line, run_about(raw->run)->start_unix_us,
                                           nanoseconds(event->time), event->key, event->text);
        fwrite(line, 1, length, raw->out);
    }
}

static void write_remarks(struct raw_export *raw, int64_t until)
{
    write_gaps(raw, until);
    write_events(raw, until);
}

static bool write_message(void *self, const struct raw_message *message)
{
    struct raw_export *raw = self;
    char line[CAPTURE_TEXT_ROOM];
    size_t length = 0;
    write_remarks(raw, message->at);
    if (message->input < run_input_count(raw->run))
        length = capture_text_message(line, sizeof line, run_about(raw->run)->start_unix_us,
                                      run_input_at(raw->run, message->input), message);
    raw->unsaid += length == 0;
    fwrite(line, 1, length, raw->out);
    return !ferror(raw->out);
}

/* Whether all of the run comes from one file of text: a sheet, or the table of another logger. */
static bool is_one_table(const struct run *run)
{
    if (run_input_count(run) != 1)
        return false;
    const char *text = run_input_at(run, 0)->text;
    return strncmp(text, "sheet:", 6) == 0 || strncmp(text, "csv:", 4) == 0;
}

static bool write_text_line(void *self, const struct raw_message *message)
{
    FILE *out = self;
    fwrite(message->bytes, 1, message->length, out);
    putc('\n', out);
    return !ferror(out);
}

enum status export_raw(struct run *run, FILE *out, struct complaint *complaint)
{
    if (is_one_table(run))
        return run_raw(run, write_text_line, out, complaint);
    struct raw_export raw = {.run = run, .out = out};
    const struct run_facts_of *about = run_about(run);
    char line[CAPTURE_TEXT_ROOM];
    enum status status = run_gaps(run, &raw.gaps, &raw.gap_count, complaint);
    if (status == STATUS_OK)
        status = run_events(run, &raw.events, &raw.event_count, complaint);
    if (status != STATUS_OK)
        return status;
    fwrite(line, 1, capture_text_start(line, sizeof line, about->start_unix_us, about->clock), out);
    for (size_t i = 0; i < run_input_count(run); i++)
        fwrite(line, 1, capture_text_input(line, sizeof line, run_input_at(run, i)), out);
    status = run_raw(run, write_message, &raw, complaint);
    if (status != STATUS_OK)
        return status;
    write_remarks(&raw, INT64_MAX);
    fwrite(line, 1, capture_text_end(line, sizeof line, about->end_unix_us), out);
    if (raw.unsaid > 0)
        fprintf(out, "# %zu messages have no place in this layout\n", raw.unsaid);
    return STATUS_OK;
}
