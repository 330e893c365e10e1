/* run_begin.c - what a run file says once: about the run, its facts, inputs, and the origin of each
 * group. */
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include "run_writer.h"

/* --- names */

/* Group names hold letters, digits and underscores only, so that every program can use them. */
static void append_name(char *path, const char *prefix, const char *name)
{
    size_t length = strlen(path);
    int wanted = snprintf(path + length, GROUP_PATH_MAX - length, "%s%s", prefix, name);
    assert(wanted >= 0 && (size_t)wanted < GROUP_PATH_MAX - length);
    for (char *at = path + length + strlen(prefix); *at; at++)
        if (!((*at >= 'a' && *at <= 'z') || (*at >= 'A' && *at <= 'Z') ||
              (*at >= '0' && *at <= '9')))
            *at = '_';
}

/* Two names that differ in other characters only get a number behind. */
static void make_unique(hid_t file, char *path)
{
    size_t length = strlen(path);
    for (int number = 2; H5Lexists(file, path, H5P_DEFAULT) > 0; number++)
        snprintf(path + length, GROUP_PATH_MAX - length, "_%d", number);
}

static bool group_is_there(hid_t file, const char *path)
{
    return H5Lexists(file, path, H5P_DEFAULT) > 0;
}

static void place_path(const struct origin *origin, char path[GROUP_PATH_MAX])
{
    const char *key = place_key((enum place)origin->place);
    if (origin->place == PLACE_VESSEL)
        snprintf(path, GROUP_PATH_MAX, "/measurements/%s", key);
    else
        snprintf(path, GROUP_PATH_MAX, "/measurements/%s_%u", key, origin->instance);
}

static void stream_path(const struct run_writer *run, const struct origin *origin,
                        char path[GROUP_PATH_MAX])
{
    place_path(origin, path);
    bool place_there =
        group_is_there(run->file, "/measurements") && group_is_there(run->file, path);
    append_name(path, "/", origin->message);
    if (origin->source[0])
        append_name(path, "_", origin->source);
    if (origin->label[0])
        append_name(path, "_", origin->label);
    if (run->input_count > 1 && origin->input < run->input_count)
        append_name(path, "_", run->inputs[origin->input].label);
    if (place_there)
        make_unique(run->file, path);
}

/* --- the file */

static bool put_fact(hid_t file, const struct fact *fact)
{
    char path[64];
    if (fact->section == FACT_ENGINE)
        snprintf(path, sizeof path, "/facts/engine_%d", fact->engine);
    else
        snprintf(path, sizeof path, "/facts/%s", fact->section == FACT_BOAT ? "boat" : "run");
    hid_t links = H5Pcreate(H5P_LINK_CREATE);
    H5Pset_create_intermediate_group(links, 1);
    bool there = group_is_there(file, "/facts") && group_is_there(file, path);
    hid_t group = there ? H5Gopen2(file, path, H5P_DEFAULT)
                        : H5Gcreate2(file, path, links, H5P_DEFAULT, H5P_DEFAULT);
    H5Pclose(links);
    bool done_well = group >= 0 && h5_put_text(group, fact->key, fact->value);
    if (group >= 0)
        H5Gclose(group);
    return done_well;
}

bool writer_put_facts(hid_t file, const struct facts *facts)
{
    for (size_t i = 0; facts && i < facts->count; i++)
        if (!put_fact(file, &facts->list[i]))
            return false;
    return true;
}

void run_make_id(char id[RUN_ID_ROOM])
{
    unsigned char b[16] = {0};
    ssize_t got = getrandom(b, sizeof b, 0);
    (void)got; /* 16 bytes are never cut short, see getrandom(2) */
    b[6] = (unsigned char)((b[6] & 0x0F) | 0x40);
    b[8] = (unsigned char)((b[8] & 0x3F) | 0x80);
    snprintf(id, RUN_ID_ROOM,
             "%02x%02x%02x%02x-%02x%02x-%02x%02x-%02x%02x-%02x%02x%02x%02x%02x%02x", b[0], b[1],
             b[2], b[3], b[4], b[5], b[6], b[7], b[8], b[9], b[10], b[11], b[12], b[13], b[14],
             b[15]);
}

static bool put_head(hid_t file, const struct run_start *start)
{
    char id[RUN_ID_ROOM], title[256];
    run_make_id(id);
    const char *boat = start->facts ? facts_get(start->facts, FACT_BOAT, 0, "name") : "";
    char name[200];
    layout_text(name, sizeof name, boat);
    snprintf(title, sizeof title, "Sea trial run%s%s", name[0] ? " of " : "", name);
    return h5_put_text(file, "Conventions", "CF-1.8") && h5_put_text(file, "title", title) &&
           h5_put_int32(file, "format_version", FORMAT_VERSION) &&
           h5_put_text(file, "run_id", start->run_id ? start->run_id : id) &&
           h5_put_text(file, "software", start->software ? start->software : "") &&
           h5_put_int32(file, "rebuilt_from_journal", start->rebuilt) &&
           writer_put_facts(file, start->facts);
}

/* The newest layout that libhdf5 1.10 knows: its metadata carries checksums. */
static hid_t create_file(const char *part)
{
    hid_t access = H5Pcreate(H5P_FILE_ACCESS), creation = H5Pcreate(H5P_FILE_CREATE);
    H5Pset_libver_bounds(access, H5F_LIBVER_V110, H5F_LIBVER_V110);
    H5Pset_fclose_degree(access, H5F_CLOSE_STRONG);
    H5Pset_file_locking(access, 1, 1);
    H5Pset_attr_phase_change(creation, 32, 31);
    hid_t file = H5Fcreate(part, H5F_ACC_TRUNC, creation, access);
    H5Pclose(creation);
    H5Pclose(access);
    return file;
}

static enum status put_inputs(struct run_writer *run)
{
    struct table_out table;
    enum status status = table_out_open(&table, run->file, table_inputs.group, &table_inputs);
    for (size_t i = 0; i < run->input_count && status == STATUS_OK; i++) {
        struct input_row row;
        layout_text(row.text, sizeof row.text, run->inputs[i].text);
        layout_text(row.label, sizeof row.label, run->inputs[i].label);
        status = table_out_append(&table, &row);
    }
    if (status == STATUS_OK)
        status = table_out_finish(&table, "");
    table_out_free(&table);
    return status;
}

static enum status open_plain(struct run_writer *run, struct table_out *table,
                              const struct table_spec *spec)
{
    return table_out_open(table, run->file, spec->group, spec);
}

enum status writer_begin_file(struct run_writer *run, const struct run_start *start)
{
    run->file = create_file(run->part);
    if (run->file < 0 || !put_head(run->file, start))
        return STATUS_IO;
    enum status status = put_inputs(run);
    if (status == STATUS_OK)
        status = open_plain(run, &run->events, &table_events);
    if (status == STATUS_OK)
        status = open_plain(run, &run->gaps, &table_gaps);
    if (status == STATUS_OK)
        status = open_plain(run, &run->clock, &table_clock);
    return status;
}

/* --- measurements */

static bool put_sender(hid_t group, const struct origin *origin)
{
    if (origin->protocol == PROTOCOL_NMEA0183)
        return h5_put_text(group, "sentence", origin->message);
    char *end = NULL;
    long address = strtol(origin->source, &end, 10);
    bool is_address = end != origin->source && *end == '\0' && address >= 0 && address <= 255;
    return (origin->number == 0 || h5_put_int32(group, "pgn", (int32_t)origin->number)) &&
           (!is_address || h5_put_int32(group, "source_address", (int32_t)address));
}

static bool put_origin(const struct run_writer *run, hid_t group, const struct origin *origin)
{
    const char *input = origin->input < run->input_count ? run->inputs[origin->input].label : "";
    return h5_put_text(group, "protocol", protocol_title((enum protocol)origin->protocol)) &&
           h5_put_text(group, "place", place_key((enum place)origin->place)) &&
           h5_put_int32(group, "instance", origin->instance) &&
           h5_put_text(group, "message", origin->message) && put_sender(group, origin) &&
           h5_put_text(group, "source", origin->source) &&
           h5_put_text(group, "transducer", origin->label) &&
           h5_put_int32(group, "input", origin->input) && h5_put_text(group, "input_label", input);
}

enum status writer_begin_stream(struct run_writer *run, struct stream_out *stream)
{
    char path[GROUP_PATH_MAX];
    struct origin origin = layout_origin(&stream->origin);
    stream_path(run, &origin, path);
    enum status status = table_out_open(&stream->table, run->file, path, NULL);
    if (status == STATUS_OK && !put_origin(run, stream->table.group, &origin))
        status = STATUS_IO;
    return status;
}

static bool put_said(hid_t column, const char *name, double value)
{
    return !(value > 0) || h5_put_double(column, name, value);
}

/* What was not said is not written. */
enum status writer_put_accuracy(hid_t column, const struct accuracy *accuracy)
{
    bool done_well =
        (!accuracy->by_hand || h5_put_text(column, "sampling", SAMPLING_BY_HAND)) &&
        put_said(column, "sampling_interval", accuracy->interval) &&
        put_said(column, "resolution", accuracy->step) &&
        put_said(column, "reading_uncertainty", accuracy->reading_u) &&
        put_said(column, "run_uncertainty", accuracy->run_u) &&
        put_said(column, "instrument_uncertainty", accuracy->instrument_u) &&
        (!accuracy->instrument[0] || h5_put_text(column, "instrument", accuracy->instrument));
    return done_well ? STATUS_OK : STATUS_IO;
}

/* --- raw messages */

static enum status open_raw(struct run_writer *run, unsigned input, const char *kind,
                            struct table_out *table, const struct table_spec *spec)
{
    char path[GROUP_PATH_MAX] = "/raw";
    append_name(path, "/", run->inputs[input].label[0] ? run->inputs[input].label : "input");
    if (group_is_there(run->file, "/raw"))
        make_unique(run->file, path);
    enum status status = table_out_open(table, run->file, path, spec);
    if (status != STATUS_OK)
        return status;
    bool described = h5_put_text(table->group, "kind", kind) &&
                     h5_put_int32(table->group, "input", (int32_t)input) &&
                     h5_put_text(table->group, "input_label", run->inputs[input].label);
    return described ? STATUS_OK : STATUS_IO;
}

/* The text of lines lies in the same group as their table, but has its own length. */
enum status writer_begin_lines(struct run_writer *run, unsigned input)
{
    struct raw_out *raw = &run->raw[input];
    raw->has_lines = true;
    enum status status = open_raw(run, input, RAW_KIND_LINES, &raw->lines, &table_lines);
    if (status == STATUS_OK)
        status = table_out_join(&raw->bytes, &raw->lines, &table_bytes);
    return status;
}

/* The numbers 0 to 7, as the scale of the bytes of a frame. */
static enum status put_positions(struct table_out *frames)
{
    struct table_out positions;
    enum status status = table_out_join(&positions, frames, &table_positions);
    for (uint8_t byte = 0; byte < 8 && status == STATUS_OK; byte++)
        status = table_out_append(&positions, &(struct byte_row){byte});
    if (status == STATUS_OK)
        status = table_out_finish(&positions, "");
    if (status == STATUS_OK)
        status = table_out_scale_width(frames, FRAME_DATA_COLUMN, &positions);
    table_out_free(&positions);
    return status;
}

enum status writer_begin_frames(struct run_writer *run, unsigned input)
{
    struct raw_out *raw = &run->raw[input];
    raw->has_frames = true;
    enum status status = open_raw(run, input, RAW_KIND_FRAMES, &raw->frames, &table_frames);
    return status == STATUS_OK ? put_positions(&raw->frames) : status;
}
