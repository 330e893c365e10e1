/* run_write.c - the writer of run files. */
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>

#include "run_place.h"
#include "run_read.h"
#include "run_table.h"
#include "run_time.h"
#include "run_verify.h"
#include "run_write.h"

#define SLOT_COUNT (4 * STREAMS_MAX) /* a power of two, so that the hash table stays sparse */

struct stream_out {
    struct origin origin;
    struct table_out table;
    int16_t column_of[CHANNEL_COUNT]; /* number of the column, 0 = none (0 is the time) */
};

/* Raw messages of one input. It carries lines or frames, seldom both. */
struct raw_out {
    bool has_lines, has_frames;
    struct table_out lines, bytes, frames;
};

struct run_writer {
    char *path, *part;
    hid_t file;
    struct h5_words words;
    enum status failed;       /* first failure, kept */
    struct complaint trouble; /* its words */

    size_t input_count;
    struct run_input inputs[INPUTS_MAX];
    struct raw_out raw[INPUTS_MAX];
    struct tally own[INPUTS_MAX]; /* what the writer itself could not keep */

    size_t stream_count;
    struct stream_out *streams[STREAMS_MAX];
    uint16_t slots[SLOT_COUNT]; /* number of the stream + 1 */

    struct table_out events, gaps, clock;
};

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

/* Instants are kept in microseconds: exact in a double for 285 years. */
static int64_t microseconds(int64_t at)
{
    return at / NS_PER_US - (at % NS_PER_US < 0);
}

/* --- failures */

/* Keeps the first failure and its words; later calls answer with it at once. */
static enum status fail(struct run_writer *run, enum status status, const char *doing)
{
    if (run->failed != STATUS_OK)
        return run->failed;
    if (status == STATUS_MEMORY)
        run->failed = complain(&run->trouble, status, "%s: %s: no memory left", run->part, doing);
    else
        run->failed = h5_complain(&run->words, &run->trouble, status, run->part, doing);
    return run->failed;
}

/* Ends a piece of work begun with h5_enter. */
static enum status done(struct run_writer *run, enum status status, const char *doing)
{
    h5_leave();
    return status == STATUS_OK ? STATUS_OK : fail(run, status, doing);
}

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

/* --- opening */

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

static bool put_facts(hid_t file, const struct facts *facts)
{
    for (size_t i = 0; facts && i < facts->count; i++)
        if (!put_fact(file, &facts->list[i]))
            return false;
    return true;
}

/* A random UUID (RFC 4122, section 4.4). */
static void make_run_id(char text[37])
{
    unsigned char b[16] = {0};
    ssize_t got = getrandom(b, sizeof b, 0);
    (void)got; /* 16 bytes are never cut short, see getrandom(2) */
    b[6] = (unsigned char)((b[6] & 0x0F) | 0x40);
    b[8] = (unsigned char)((b[8] & 0x3F) | 0x80);
    snprintf(text, 37, "%02x%02x%02x%02x-%02x%02x-%02x%02x-%02x%02x-%02x%02x%02x%02x%02x%02x", b[0],
             b[1], b[2], b[3], b[4], b[5], b[6], b[7], b[8], b[9], b[10], b[11], b[12], b[13],
             b[14], b[15]);
}

static bool put_head(hid_t file, const struct run_start *start)
{
    char id[37], title[256];
    make_run_id(id);
    const char *boat = start->facts ? facts_get(start->facts, FACT_BOAT, 0, "name") : "";
    char name[200];
    layout_text(name, sizeof name, boat);
    snprintf(title, sizeof title, "Sea trial run%s%s", name[0] ? " of " : "", name);
    return h5_put_text(file, "Conventions", "CF-1.8") && h5_put_text(file, "title", title) &&
           h5_put_int32(file, "format_version", FORMAT_VERSION) &&
           h5_put_text(file, "run_id", id) && h5_put_text(file, "software", start->software) &&
           h5_put_int32(file, "rebuilt_from_journal", start->rebuilt) &&
           put_facts(file, start->facts);
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

static enum status begin_file(struct run_writer *run, const struct run_start *start)
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

static struct run_writer *new_writer(const struct run_start *start)
{
    struct run_writer *run = calloc(1, sizeof *run);
    if (!run)
        return NULL;
    run->file = -1;
    run->path = strdup(start->path);
    if (asprintf(&run->part, "%s.part", start->path) < 0)
        run->part = NULL;
    run->input_count = start->input_count;
    if (start->input_count)
        memcpy(run->inputs, start->inputs, start->input_count * sizeof run->inputs[0]);
    return run;
}

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

static bool close_file(struct run_writer *run)
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

static void free_writer(struct run_writer *run)
{
    free(run->path);
    free(run->part);
    free(run);
}

enum status run_write_open(const struct run_start *start, struct run_writer **out,
                           struct complaint *complaint)
{
    *out = NULL;
    if (!start->path || !start->path[0])
        return complain(complaint, STATUS_BAD_USAGE, "no name was given for the run file");
    if (start->input_count > INPUTS_MAX)
        return complain(complaint, STATUS_BAD_USAGE, "a run takes at most %d inputs", INPUTS_MAX);
    struct run_writer *run = new_writer(start);
    if (!run || !run->path || !run->part) {
        if (run)
            free_writer(run);
        return complain(complaint, STATUS_MEMORY, "%s: no memory left", start->path);
    }
    enum status status = place_claim(run->path, run->part, complaint);
    if (status != STATUS_OK) {
        free_writer(run);
        return status;
    }
    h5_enter(&run->words);
    status = done(run, begin_file(run, start), "cannot begin the run file");
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

static enum status open_stream(struct run_writer *run, struct stream_out *stream)
{
    char path[GROUP_PATH_MAX];
    stream_path(run, &stream->origin, path);
    enum status status = table_out_open(&stream->table, run->file, path, NULL);
    if (status == STATUS_OK && !put_origin(run, stream->table.group, &stream->origin))
        status = STATUS_IO;
    return status;
}

static enum status add_stream(struct run_writer *run, const struct origin *origin, uint16_t *slot)
{
    struct stream_out *stream = calloc(1, sizeof *stream);
    if (!stream)
        return fail(run, STATUS_MEMORY, "cannot begin a group");
    stream->origin = *origin;
    run->streams[run->stream_count++] = stream;
    *slot = (uint16_t)run->stream_count;
    h5_enter(&run->words);
    return done(run, open_stream(run, stream), "cannot begin a group");
}

static enum status add_field(struct run_writer *run, struct stream_out *stream, unsigned channel)
{
    h5_enter(&run->words);
    enum status status = table_out_field(&stream->table, (enum channel_id)channel);
    stream->column_of[channel] = (int16_t)(stream->table.column_count - 1);
    return done(run, status, "cannot begin a column");
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
    ((int64_t *)(void *)table->columns[0].cells)[row] = microseconds(at);
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
    return done(run, table_out_commit(table, count), "cannot write a chunk");
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
    if (begin_fields(run, stream, values, count) != STATUS_OK)
        return run->failed;
    if (table_out_reserve(&stream->table, 1) != STATUS_OK)
        return fail(run, STATUS_MEMORY, "cannot keep readings");
    fill_row(run, stream, at, values, count);
    return commit(run, &stream->table, 1);
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
static enum status open_lines(struct run_writer *run, unsigned input)
{
    struct raw_out *raw = &run->raw[input];
    h5_enter(&run->words);
    enum status status = open_raw(run, input, RAW_KIND_LINES, &raw->lines, &table_lines);
    if (status == STATUS_OK)
        status = table_out_join(&raw->bytes, &raw->lines, &table_bytes);
    raw->has_lines = true;
    return done(run, status, "cannot begin the raw lines");
}

static enum status open_frames(struct run_writer *run, unsigned input)
{
    struct raw_out *raw = &run->raw[input];
    h5_enter(&run->words);
    enum status status = open_raw(run, input, RAW_KIND_FRAMES, &raw->frames, &table_frames);
    raw->has_frames = true;
    return done(run, status, "cannot begin the raw frames");
}

static enum status append(struct run_writer *run, struct table_out *table, const void *row)
{
    if (table->waiting + 1 < table->chunk) {
        enum status status = table_out_append(table, row);
        return status == STATUS_OK ? STATUS_OK : fail(run, status, "cannot keep a row");
    }
    h5_enter(&run->words);
    return done(run, table_out_append(table, row), "cannot write a chunk");
}

static enum status append_bytes(struct run_writer *run, struct table_out *table, const char *bytes,
                                size_t length)
{
    while (length > 0) {
        size_t piece = table->chunk - table->waiting;
        if (piece > length)
            piece = length;
        if (table_out_reserve(table, piece) != STATUS_OK)
            return fail(run, STATUS_MEMORY, "cannot keep raw lines");
        memcpy(table->columns[0].cells + table->waiting, bytes, piece);
        enum status status = commit(run, table, piece);
        if (status != STATUS_OK)
            return status;
        bytes += piece;
        length -= piece;
    }
    return STATUS_OK;
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
    struct line_row row = {microseconds(at), table_out_rows(&raw->bytes)};
    enum status status = append_bytes(run, &raw->bytes, bytes, length);
    return status == STATUS_OK ? append(run, &raw->lines, &row) : status;
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
    struct frame_row row = {.time = microseconds(at), .id = id, .length = (uint8_t)length};
    if (length)
        memcpy(row.data, data, length);
    return append(run, &raw->frames, &row);
}

/* --- events, UTC, gaps */

/* Plain tables are read whole, so their length is bounded; what is beyond is counted. */
static bool is_full(struct run_writer *run, const struct table_out *table,
                    const struct origin *origin, int64_t at)
{
    if (table_out_rows(table) < ROWS_PLAIN_MAX)
        return false;
    count_own(run, origin ? origin->input : 0, REASON_NOT_KEPT, at, 1);
    return true;
}

enum status run_write_event(struct run_writer *run, int64_t at, const struct origin *origin,
                            const char *key, const char *text)
{
    if (run->failed != STATUS_OK || is_full(run, &run->events, origin, at))
        return run->failed;
    struct event_row row = {.time = microseconds(at)};
    if (origin)
        row.origin = *origin;
    layout_text(row.key, sizeof row.key, key);
    layout_text(row.text, sizeof row.text, text);
    return append(run, &run->events, &row);
}

enum status run_write_utc(struct run_writer *run, int64_t at, const struct origin *origin,
                          int64_t unix_us)
{
    if (run->failed != STATUS_OK || is_full(run, &run->clock, origin, at))
        return run->failed;
    struct clock_row row = {.time = microseconds(at), .unix_us = unix_us, .origin = *origin};
    return append(run, &run->clock, &row);
}

enum status run_write_gap(struct run_writer *run, int64_t from, int64_t to, unsigned input,
                          const char *why, uint64_t lost)
{
    if (run->failed != STATUS_OK || is_full(run, &run->gaps, NULL, from))
        return run->failed;
    struct gap_row row = {
        .from = microseconds(from), .to = microseconds(to), .lost = lost, .input = (uint8_t)input};
    layout_text(row.why, sizeof row.why, why);
    return append(run, &run->gaps, &row);
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
                                .first = microseconds(line->first),
                                .last = microseconds(line->last),
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
    enum status status = open_plain(run, &table, &table_tally);
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
    time_iso(end->start_unix_us + microseconds(end->end), last);
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
    if (status == STATUS_OK && !put_end(run->file, end))
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
    if (!close_file(run) && status == STATUS_OK)
        status = STATUS_IO;
    return done(run, status, "cannot end the run file");
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
    free_writer(run);
    return status;
}

void run_write_abandon(struct run_writer *run)
{
    h5_enter(&run->words);
    close_file(run);
    h5_leave();
    unlink(run->part);
    free_writer(run);
}
