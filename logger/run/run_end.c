/* run_end.c - ending a run file: tallies, dates, and its final name. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "run_place.h"
#include "run_time.h"
#include "run_verify.h"
#include "run_writer.h"

static void free_streams(struct run_writer *run)
{
    for (size_t i = 0; i < run->stream_count; i++) {
        table_out_free(&run->streams[i]->table);
        free(run->streams[i]);
    }
    run->stream_count = 0;
}

static void free_raw(struct raw_out *raw)
{
    table_out_free(&raw->lines);
    table_out_free(&raw->bytes);
    table_out_free(&raw->frames);
}

bool writer_close_file(struct run_writer *run)
{
    free_streams(run);
    for (size_t i = 0; i < run->input_count; i++)
        free_raw(&run->raw[i]);
    table_out_free(&run->events);
    table_out_free(&run->gaps);
    table_out_free(&run->clock);
    bool done_well = run->file < 0 || H5Fclose(run->file) >= 0;
    run->file = -1;
    return done_well;
}

void writer_free(struct run_writer *run)
{
    free(run->path);
    free(run->part);
    free(run);
}

/* --- closing */

static void merge_own(struct tally *sum, const struct tally *own)
{
    for (int reason = 0; reason < REASON_COUNT; reason++) {
        const struct tally_line *line = &own->line[reason];
        if (line->count == 0)
            continue;
        tally_add_many(sum, (enum reason)reason, line->first, line->count);
        if (line->last > sum->line[reason].last)
            sum->line[reason].last = line->last;
    }
}

static enum status put_tally(struct table_out *table, unsigned input, const struct tally *tally)
{
    enum status status = STATUS_OK;
    for (int reason = 0; reason < REASON_COUNT && status == STATUS_OK; reason++) {
        const struct tally_line *line = &tally->line[reason];
        if (line->count == 0)
            continue;
        struct tally_row row = {.count = line->count,
                                .first = writer_microseconds(line->first),
                                .last = writer_microseconds(line->last),
                                .input = (uint8_t)input};
        layout_text(row.reason, sizeof row.reason, reason_key((enum reason)reason));
        layout_text(row.meaning, sizeof row.meaning, reason_title((enum reason)reason));
        status = table_out_append(table, &row);
    }
    return status;
}

static enum status put_tallies(struct run_writer *run, const struct run_end *end, const char *since)
{
    struct table_out table;
    enum status status = table_out_open(&table, run->file, table_tally.group, &table_tally);
    for (unsigned i = 0; i < run->input_count && status == STATUS_OK; i++) {
        struct tally sum = end->tallies ? end->tallies[i] : (struct tally){0};
        merge_own(&sum, &run->own[i]);
        status = put_tally(&table, i, &sum);
    }
    if (status == STATUS_OK)
        status = table_out_finish(&table, since);
    table_out_free(&table);
    return status;
}

static bool put_end(hid_t file, const struct run_end *end)
{
    char first[TIME_TEXT_MAX], last[TIME_TEXT_MAX];
    time_iso(end->start_unix_us, first);
    time_iso(end->start_unix_us + writer_microseconds(end->end), last);
    return h5_put_text(file, "run_start", first) && h5_put_text(file, "run_end", last) &&
           h5_put_text(file, "clock_source", clock_source_key(end->clock)) &&
           h5_put_int32(file, "closed_cleanly", end->clean) &&
           h5_put_int(file, "records_rejected", (int64_t)end->records_rejected);
}

static enum status finish_raw(struct run_writer *run, const char *since)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < run->input_count && status == STATUS_OK; i++) {
        struct table_out *tables[] = {&run->raw[i].lines, &run->raw[i].bytes, &run->raw[i].frames};
        for (size_t k = 0; k < 3 && status == STATUS_OK; k++)
            status = table_out_finish(tables[k], since);
    }
    return status;
}

static enum status finish_plain(struct run_writer *run, const char *since)
{
    struct table_out *tables[] = {&run->events, &run->gaps, &run->clock};
    enum status status = STATUS_OK;
    for (size_t i = 0; i < 3 && status == STATUS_OK; i++)
        status = table_out_finish(tables[i], since);
    return status;
}

static enum status finish_all(struct run_writer *run, const struct run_end *end)
{
    char epoch[TIME_TEXT_MAX], since[TIME_TEXT_MAX + 24];
    time_epoch(end->start_unix_us, epoch);
    snprintf(since, sizeof since, "microseconds since %s", epoch);
    enum status status = STATUS_OK;
    for (size_t i = 0; i < run->stream_count && status == STATUS_OK; i++)
        status = table_out_finish(&run->streams[i]->table, since);
    if (status == STATUS_OK)
        status = finish_raw(run, since);
    if (status == STATUS_OK)
        status = finish_plain(run, since);
    if (status == STATUS_OK)
        status = put_tallies(run, end, since);
    if (status == STATUS_OK &&
        !(writer_put_facts(run->file, end->facts) && put_end(run->file, end)))
        status = STATUS_IO;
    return status;
}

/* What the file must hold when it is read back. */
static struct run_counts count_all(const struct run_writer *run)
{
    struct run_counts counts = {.streams = run->stream_count};
    for (size_t i = 0; i < run->stream_count; i++)
        counts.rows += table_out_rows(&run->streams[i]->table);
    for (size_t i = 0; i < run->input_count; i++)
        counts.raw += table_out_rows(&run->raw[i].lines) + table_out_rows(&run->raw[i].frames);
    counts.events = table_out_rows(&run->events);
    counts.gaps = table_out_rows(&run->gaps);
    counts.utcs = table_out_rows(&run->clock);
    return counts;
}

static enum status end_file(struct run_writer *run, const struct run_end *end)
{
    h5_enter(&run->words);
    enum status status = run->failed == STATUS_OK ? finish_all(run, end) : run->failed;
    if (!writer_close_file(run) && status == STATUS_OK)
        status = STATUS_IO;
    return writer_done(run, status, "cannot end the run file");
}

enum status run_write_close(struct run_writer *run, const struct run_end *end,
                            struct complaint *complaint)
{
    struct run_counts counts = count_all(run);
    enum status status = end_file(run, end);
    if (status != STATUS_OK)
        complain(complaint, status, "%s", run->trouble.text);
    if (status == STATUS_OK)
        status = place_sync(run->part, complaint);
    if (status == STATUS_OK)
        status = run_verify(run->part, &counts, complaint);
    if (status == STATUS_OK)
        status = place_publish(run->part, run->path, complaint);
    writer_free(run);
    return status;
}

void run_write_abandon(struct run_writer *run)
{
    h5_enter(&run->words);
    writer_close_file(run);
    h5_leave();
    unlink(run->part);
    writer_free(run);
}
