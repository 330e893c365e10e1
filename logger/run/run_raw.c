/* run_raw.c - the raw messages of all inputs, merged in the order of their instants. */
#include <stdlib.h>
#include <string.h>

#include "run_inside.h"
#include "run_raw.h"

#define BLOCK_ROWS 4096
#define WINDOW_BYTES (4 * LINE_MAX_BYTES)

void raw_close(struct raw_in *raw)
{
    run_close_columns(raw->columns, COLUMNS_MAX);
    h5_column_close(&raw->bytes);
    free(raw->rows);
    free(raw->scratch);
    free(raw->window);
}

static bool read_kind(struct run *run, hid_t group, struct raw_in *raw)
{
    char kind[24];
    int64_t input;
    if (!h5_get_text(group, "kind", kind, sizeof kind) ||
        !h5_get_int(group, "input", 0, (int64_t)run->input_count - 1, &input))
        return false;
    raw->input = (unsigned)input;
    raw->is_can = strcmp(kind, RAW_KIND_FRAMES) == 0;
    raw->spec = raw->is_can ? &table_frames : &table_lines;
    return raw->is_can || strcmp(kind, RAW_KIND_LINES) == 0;
}

static enum status open_bytes(struct run *run, hid_t group, struct raw_in *raw,
                              struct complaint *complaint)
{
    const char *why;
    if (!h5_column_open(group, "bytes", &table_bytes.columns[0], &raw->bytes, &why))
        return run_damaged(run, complaint, raw->path, "bytes", why);
    raw->window = malloc(WINDOW_BYTES);
    return raw->window ? STATUS_OK : STATUS_MEMORY;
}

static enum status open_tables(struct run *run, hid_t group, struct raw_in *raw,
                               struct complaint *complaint)
{
    if (!read_kind(run, group, raw))
        return run_damaged(run, complaint, raw->path, "", "does not say what it holds");
    enum status status =
        run_open_columns(run, raw->path, raw->spec, raw->columns, &raw->length, complaint);
    if (status == STATUS_OK && !raw->is_can)
        status = open_bytes(run, group, raw, complaint);
    raw->rows = malloc((BLOCK_ROWS + 1) * raw->spec->row_size);
    raw->scratch = malloc((BLOCK_ROWS + 1) * 8);
    if (status == STATUS_OK && (!raw->rows || !raw->scratch))
        status = STATUS_MEMORY;
    if (status == STATUS_MEMORY)
        complain(complaint, status, "%s: no memory left", run->about.path);
    return status;
}

enum status raw_open(struct run *run, const char *name, struct raw_in *raw,
                     struct complaint *complaint)
{
    *raw = (struct raw_in){.bytes = {.data = -1, .type = -1}};
    for (size_t i = 0; i < COLUMNS_MAX; i++)
        raw->columns[i] = (struct column_in){.data = -1, .type = -1};
    layout_text(raw->path, sizeof raw->path, "/raw/");
    layout_text(raw->path + 5, sizeof raw->path - 5, name);
    hid_t group = h5_open_group(run->file, raw->path);
    if (group < 0)
        return run_damaged(run, complaint, raw->path, "", "cannot be opened");
    enum status status = open_tables(run, group, raw, complaint);
    H5Gclose(group);
    return status;
}

/* --- one row after the other */

/* Reads the block that begins at the current row; of lines one row more, which tells where the last
 * one ends. */
static enum status load_block(struct run *run, struct raw_in *raw, struct complaint *complaint)
{
    uint64_t left = raw->length - raw->at;
    h5_enter(&run->words); /* the callback may have used HDF5 */
    raw->block_at = raw->at;
    raw->block = left < BLOCK_ROWS ? (size_t)left : BLOCK_ROWS;
    size_t more = !raw->is_can && left > raw->block ? 1 : 0;
    memset(raw->rows, 0, (raw->block + more) * raw->spec->row_size);
    return run_read_rows(run, raw->path, raw->spec, raw->columns, raw->at, raw->block + more,
                         raw->rows, raw->scratch, complaint);
}

static enum status take_frame(struct run *run, struct raw_in *raw, struct complaint *complaint)
{
    const struct frame_row *row = (const struct frame_row *)raw->rows + (raw->at - raw->block_at);
    if (row->length > 8)
        return run_damaged(run, complaint, raw->path, "length", "goes beyond 8");
    raw->time = row->time;
    raw->can_id = row->id;
    raw->message = row->data;
    raw->message_length = row->length;
    return STATUS_OK;
}

/* Moves the window so that it begins at `from`. */
static bool move_window(struct run *run, struct raw_in *raw, uint64_t from)
{
    uint64_t left = raw->bytes.rows - from;
    h5_enter(&run->words);
    raw->window_at = from;
    raw->window_length = left < WINDOW_BYTES ? (size_t)left : WINDOW_BYTES;
    return h5_column_read(&raw->bytes, from, raw->window_length, raw->window);
}

static enum status take_line(struct run *run, struct raw_in *raw, struct complaint *complaint)
{
    const struct line_row *row = (const struct line_row *)raw->rows + (raw->at - raw->block_at);
    uint64_t begin = row->offset;
    uint64_t end = raw->at + 1 < raw->length ? row[1].offset : raw->bytes.rows;
    if (begin > end || end > raw->bytes.rows || end - begin > LINE_MAX_BYTES ||
        (raw->at == 0 && begin != 0))
        return run_damaged(run, complaint, raw->path, "offset", "leads outside of the bytes");
    if ((begin < raw->window_at || end > raw->window_at + raw->window_length) &&
        !move_window(run, raw, begin)) {
        raw->window_length = 0;
        return run_damaged(run, complaint, raw->path, "bytes", "cannot be read");
    }
    raw->time = row->time;
    raw->message = raw->window + (begin - raw->window_at);
    raw->message_length = (size_t)(end - begin);
    return STATUS_OK;
}

enum status raw_take(struct run *run, struct raw_in *raw, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    if (raw->at >= raw->block_at + raw->block)
        status = load_block(run, raw, complaint);
    if (status != STATUS_OK)
        return status;
    return raw->is_can ? take_frame(run, raw, complaint) : take_line(run, raw, complaint);
}

/* --- all inputs */

enum status raw_open_all(struct run *run, struct raw_all *all, struct complaint *complaint)
{
    *all = (struct raw_all){0};
    if (H5Lexists(run->file, "raw", H5P_DEFAULT) == 0)
        return STATUS_OK; /* nothing came in */
    struct h5_names names = {0};
    hid_t group = h5_open_group(run->file, "raw");
    bool listed = group >= 0 && h5_list(group, RAW_MAX, &names, NULL);
    enum status status =
        listed ? STATUS_OK : run_damaged(run, complaint, "/raw", "", "cannot be listed");
    for (size_t i = 0; i < names.count && status == STATUS_OK; i++)
        status = raw_open(run, names.name[i], &all->raw[all->count++], complaint);
    free(names.name);
    if (group >= 0)
        H5Gclose(group);
    return status;
}

void raw_close_all(struct raw_all *all)
{
    for (size_t i = 0; i < all->count; i++)
        raw_close(&all->raw[i]);
}

/* Messages of one input keep their order: where its instants go back, the latest one stands. */
static int64_t effective_time(struct raw_in *raw)
{
    if (raw->time > raw->latest)
        raw->latest = raw->time;
    return raw->latest;
}

/* The input whose next message is due, or NULL at the end. */
static struct raw_in *earliest(struct raw_all *all)
{
    struct raw_in *best = NULL;
    for (size_t i = 0; i < all->count; i++) {
        struct raw_in *raw = &all->raw[i];
        if (raw->at >= raw->length)
            continue;
        if (!best || effective_time(raw) < effective_time(best) ||
            (effective_time(raw) == effective_time(best) && raw->input < best->input))
            best = raw;
    }
    return best;
}

static enum status take_first(struct run *run, struct raw_all *all, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < all->count && status == STATUS_OK; i++) {
        all->raw[i].latest = INT64_MIN;
        if (all->raw[i].length > 0)
            status = raw_take(run, &all->raw[i], complaint);
    }
    return status;
}

static int64_t nanoseconds(int64_t microseconds)
{
    return microseconds > INT64_MAX / NS_PER_US || microseconds < INT64_MIN / NS_PER_US
               ? (microseconds < 0 ? INT64_MIN : INT64_MAX)
               : microseconds * NS_PER_US;
}

static bool deliver(const struct raw_in *raw, bool (*each)(void *self, const struct raw_message *),
                    void *self)
{
    struct raw_message message = {
        nanoseconds(raw->time), raw->input,         raw->is_can, raw->can_id,
        raw->message,           raw->message_length};
    return each(self, &message);
}

static enum status walk(struct run *run, struct raw_all *all,
                        bool (*each)(void *self, const struct raw_message *), void *self,
                        struct complaint *complaint)
{
    enum status status = take_first(run, all, complaint);
    struct raw_in *raw;
    while (status == STATUS_OK && (raw = earliest(all))) {
        if (!deliver(raw, each, self))
            break;
        raw->at++;
        if (raw->at < raw->length)
            status = raw_take(run, raw, complaint);
    }
    return status;
}

enum status run_raw(struct run *run, bool (*each)(void *self, const struct raw_message *),
                    void *self, struct complaint *complaint)
{
    struct raw_all all;
    h5_enter(&run->words);
    enum status status = raw_open_all(run, &all, complaint);
    if (status == STATUS_OK)
        status = walk(run, &all, each, self, complaint);
    raw_close_all(&all);
    h5_leave();
    return status;
}
