/* run_rows.c - plain tables of a run file: events, gaps, statements of UTC, tallies, inputs. */
#include <stdlib.h>
#include <string.h>

#include "run_inside.h"

#define BLOCK_ROWS 4096

enum status run_damaged(const struct run *run, struct complaint *complaint, const char *group,
                        const char *name, const char *what)
{
    return complain(complaint, STATUS_BAD_DATA,
                    "%s is damaged, or was changed by another program: %s%s%s %s%s%s%s. Use an "
                    "undamaged copy of the file.",
                    run->about.path, group, name[0] ? "/" : "", name, what,
                    run->words.text[0] ? " (HDF5: " : "", run->words.text,
                    run->words.text[0] ? ")" : "");
}

enum status run_too_long(const struct run *run, const struct table_spec *spec,
                         struct complaint *complaint)
{
    return run_damaged(run, complaint, spec->group, "", "is longer than a run can make it");
}

double run_seconds(int64_t microseconds)
{
    return (double)microseconds / 1e6;
}

void run_close_columns(struct column_in *columns, size_t count)
{
    for (size_t i = 0; i < count; i++)
        h5_column_close(&columns[i]);
}

static enum status open_columns(struct run *run, hid_t group, const char *path,
                                const struct table_spec *spec, struct column_in *columns,
                                struct complaint *complaint)
{
    const char *why;
    for (size_t i = 0; i < spec->column_count; i++) {
        const char *name = spec->columns[i].name;
        if (!h5_column_open(group, name, &spec->columns[i], &columns[i], &why))
            return run_damaged(run, complaint, path, name, why);
        if (columns[i].rows != columns[0].rows)
            return run_damaged(run, complaint, path, name,
                               "has another length than its neighbours");
    }
    return STATUS_OK;
}

enum status run_open_columns(struct run *run, const char *group, const struct table_spec *spec,
                             struct column_in *columns, uint64_t *rows, struct complaint *complaint)
{
    for (size_t i = 0; i < spec->column_count; i++)
        columns[i] = (struct column_in){.data = -1, .type = -1};
    hid_t opened = h5_open_group(run->file, group);
    if (opened < 0)
        return run_damaged(run, complaint, group, "", "is missing");
    enum status status = open_columns(run, opened, group, spec, columns, complaint);
    H5Gclose(opened);
    if (status != STATUS_OK)
        run_close_columns(columns, spec->column_count);
    *rows = columns[0].rows;
    return status;
}

/* Puts the cells of one column into the row structs. Text always ends with a zero byte. */
static void scatter(const struct column_spec *column, size_t row_size, size_t count,
                    const unsigned char *cells, unsigned char *rows)
{
    size_t size = column_row_size(column);
    for (size_t i = 0; i < count; i++) {
        unsigned char *member = rows + i * row_size + column->offset;
        memcpy(member, cells + i * size, size);
        if (column->cell == CELL_TEXT)
            member[size - 1] = '\0';
    }
}

enum status run_read_rows(struct run *run, const char *group, const struct table_spec *spec,
                          const struct column_in *columns, uint64_t from, size_t count, void *rows,
                          void *scratch, struct complaint *complaint)
{
    for (size_t i = 0; i < spec->column_count; i++) {
        if (!h5_column_read(&columns[i], from, count, scratch))
            return run_damaged(run, complaint, group, spec->columns[i].name, "cannot be read");
        scatter(&spec->columns[i], spec->row_size, count, scratch, rows);
    }
    return STATUS_OK;
}

static size_t widest(const struct table_spec *spec)
{
    size_t most = 1;
    for (size_t i = 0; i < spec->column_count; i++)
        if (column_row_size(&spec->columns[i]) > most)
            most = column_row_size(&spec->columns[i]);
    return most;
}

/* Memory grows with what was really read, not with what the file claims. */
static enum status read_all(struct run *run, const struct table_spec *spec,
                            const struct column_in *columns, uint64_t rows, unsigned char **all,
                            struct complaint *complaint)
{
    enum status status = STATUS_OK;
    void *scratch = malloc(BLOCK_ROWS * widest(spec));
    for (uint64_t at = 0; at < rows && status == STATUS_OK; at += BLOCK_ROWS) {
        size_t count = rows - at < BLOCK_ROWS ? (size_t)(rows - at) : BLOCK_ROWS;
        unsigned char *grown = realloc(*all, (at + count) * spec->row_size);
        if (!grown || !scratch) {
            status = complain(complaint, STATUS_MEMORY, "%s: no memory left", run->about.path);
            break;
        }
        *all = grown;
        memset(grown + at * spec->row_size, 0, count * spec->row_size);
        status = run_read_rows(run, spec->group, spec, columns, at, count,
                               grown + at * spec->row_size, scratch, complaint);
    }
    free(scratch);
    return status;
}

enum status run_read_table(struct run *run, const struct table_spec *spec, void **rows,
                           size_t *count, struct complaint *complaint)
{
    struct column_in columns[COLUMNS_MAX];
    uint64_t length;
    unsigned char *all = NULL;
    *rows = NULL;
    *count = 0;
    enum status status = run_open_columns(run, spec->group, spec, columns, &length, complaint);
    if (status != STATUS_OK)
        return status;
    if (length > spec->rows_most)
        status = run_too_long(run, spec, complaint);
    else
        status = read_all(run, spec, columns, length, &all, complaint);
    run_close_columns(columns, spec->column_count);
    if (status != STATUS_OK) {
        free(all);
        all = NULL;
        length = 0;
    }
    *rows = all;
    *count = (size_t)length;
    return status;
}

/* --- what callers ask for */

/* Reads a table between h5_enter and h5_leave. */
static enum status fetch(struct run *run, const struct table_spec *spec, void **rows, size_t *count,
                         struct complaint *complaint)
{
    h5_enter(&run->words);
    enum status status = run_read_table(run, spec, rows, count, complaint);
    h5_leave();
    return status;
}

static enum status out_of_memory(const struct run *run, struct complaint *complaint)
{
    return complain(complaint, STATUS_MEMORY, "%s: no memory left", run->about.path);
}

/* Reads a table and has `convert` keep in the run what its rows say: all of them, or nothing. */
static enum status take(struct run *run, const struct table_spec *spec,
                        enum status (*convert)(struct run *run, const void *rows, size_t count,
                                               struct complaint *complaint),
                        struct complaint *complaint)
{
    void *rows;
    size_t length;
    enum status status = fetch(run, spec, &rows, &length, complaint);
    if (status == STATUS_OK)
        status = convert(run, rows, length, complaint);
    free(rows);
    return status;
}

static enum status convert_events(struct run *run, const void *rows, size_t count,
                                  struct complaint *complaint)
{
    const struct event_row *from = rows;
    struct run_event *events = calloc(count ? count : 1, sizeof *events);
    if (!events)
        return out_of_memory(run, complaint);
    for (size_t i = 0; i < count; i++) {
        if (!layout_origin_is_sound(&from[i].origin)) {
            free(events);
            return run_damaged(run, complaint, "/events", "", "names no possible origin");
        }
        events[i].time = run_seconds(from[i].time);
        events[i].origin = from[i].origin;
        layout_text(events[i].key, sizeof events[i].key, from[i].key);
        layout_text(events[i].text, sizeof events[i].text, from[i].text);
    }
    run->events = events;
    run->event_count = count;
    return STATUS_OK;
}

enum status run_events(struct run *run, const struct run_event **out, size_t *count,
                       struct complaint *complaint)
{
    enum status status =
        run->events ? STATUS_OK : take(run, &table_events, convert_events, complaint);
    *out = run->events;
    *count = run->event_count;
    return status;
}

static enum status convert_gaps(struct run *run, const void *rows, size_t count,
                                struct complaint *complaint)
{
    const struct gap_row *from = rows;
    run->gaps = calloc(count ? count : 1, sizeof *run->gaps);
    if (!run->gaps)
        return out_of_memory(run, complaint);
    for (size_t i = 0; i < count; i++) {
        struct run_gap *gap = &run->gaps[i];
        gap->from = run_seconds(from[i].from);
        gap->to = run_seconds(from[i].to);
        gap->input = from[i].input;
        gap->lost = from[i].lost;
        layout_text(gap->why, sizeof gap->why, from[i].why);
    }
    run->gap_count = count;
    return STATUS_OK;
}

enum status run_gaps(struct run *run, const struct run_gap **out, size_t *count,
                     struct complaint *complaint)
{
    enum status status = run->gaps ? STATUS_OK : take(run, &table_gaps, convert_gaps, complaint);
    *out = run->gaps;
    *count = run->gap_count;
    return status;
}

static enum status convert_utcs(struct run *run, const void *rows, size_t count,
                                struct complaint *complaint)
{
    const struct clock_row *from = rows;
    struct run_utc *utcs = calloc(count ? count : 1, sizeof *utcs);
    if (!utcs)
        return out_of_memory(run, complaint);
    for (size_t i = 0; i < count; i++) {
        if (!layout_origin_is_sound(&from[i].origin)) {
            free(utcs);
            return run_damaged(run, complaint, "/clock", "", "names no possible origin");
        }
        utcs[i] = (struct run_utc){run_seconds(from[i].time), from[i].origin, from[i].unix_us};
    }
    run->utcs = utcs;
    run->utc_count = count;
    return STATUS_OK;
}

enum status run_utcs(struct run *run, const struct run_utc **out, size_t *count,
                     struct complaint *complaint)
{
    enum status status = run->utcs ? STATUS_OK : take(run, &table_clock, convert_utcs, complaint);
    *out = run->utcs;
    *count = run->utc_count;
    return status;
}
