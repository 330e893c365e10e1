/* run_read.c - opening a run file: what it says about itself, its facts, its streams. */
#include <fcntl.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "run_inside.h"
#include "run_time.h"

/* --- is it a run file at all */

static enum status check_kind(const char *path, struct complaint *complaint)
{
    struct stat info;
    if (stat(path, &info) != 0)
        return complain(complaint, errno == ENOENT ? STATUS_NOT_FOUND : STATUS_IO, "%s: %s", path,
                        status_words(errno));
    if (S_ISDIR(info.st_mode))
        return complain(complaint, STATUS_BAD_DATA,
                        "%s is a folder; name the run file in it (it ends in .h5)", path);
    if (!S_ISREG(info.st_mode))
        return complain(complaint, STATUS_BAD_DATA, "%s is not a file", path);
    if (info.st_size == 0)
        return complain(complaint, STATUS_BAD_DATA,
                        "%s is empty: the recording never began, or the copy failed", path);
    return STATUS_OK;
}

/* The signature of HDF5 and the version of its first block (HDF5 file format specification, II.A).
 * Run files are of version 2 or later, whose metadata carries checksums. */
static enum status check_signature(const char *path, struct complaint *complaint)
{
    unsigned char head[9] = {0};
    int file = open(path, O_RDONLY | O_CLOEXEC);
    ssize_t got = file < 0 ? -1 : read(file, head, sizeof head);
    int number = errno;
    if (file >= 0)
        close(file);
    if (got < 0)
        return complain(complaint, STATUS_IO, "%s: %s", path, status_words(number));
    if (got < (ssize_t)sizeof head || memcmp(head, "\x89HDF\r\n\x1a\n", 8) != 0)
        return complain(complaint, STATUS_BAD_DATA,
                        "%s is not a run file (it does not begin like an HDF5 file). searun-logger "
                        "makes run files: --replay of a capture, --sheet of a sheet filled in, "
                        "--csv of a table.",
                        path);
    if (head[8] < 2)
        return complain(complaint, STATUS_BAD_DATA,
                        "%s is an HDF5 file, but not a run of searun-logger", path);
    return STATUS_OK;
}

static hid_t open_file(const char *path)
{
    hid_t access = H5Pcreate(H5P_FILE_ACCESS);
    H5Pset_fclose_degree(access, H5F_CLOSE_STRONG);
    H5Pset_file_locking(access, 0, 1);
    hid_t file = H5Fopen(path, H5F_ACC_RDONLY, access);
    H5Pclose(access);
    return file;
}

static enum status refuse_unopened(const struct run *run, struct complaint *complaint)
{
    const char *path = run->about.path;
    size_t length = strlen(path);
    bool part = length > 5 && strcmp(path + length - 5, ".part") == 0;
    return complain(complaint, STATUS_BAD_DATA, "%s cannot be opened: %s (HDF5: %s)", path,
                    part ? "its recording is still going on, or was cut off"
                         : "it was cut short or is damaged; use an undamaged copy of the file",
                    run->words.text);
}

/* --- attributes of the file */

static bool get_flag(hid_t file, const char *name, bool *flag)
{
    int64_t value;
    if (!h5_get_int(file, name, 0, 1, &value))
        return false;
    *flag = value != 0;
    return true;
}

static bool get_clock(hid_t file, enum clock_source *clock)
{
    char text[32];
    if (!h5_get_text(file, "clock_source", text, sizeof text))
        return false;
    for (int source = CLOCK_SYSTEM; source <= CLOCK_NOMINAL; source++)
        if (strcmp(text, clock_source_key((enum clock_source)source)) == 0) {
            *clock = (enum clock_source)source;
            return true;
        }
    return false;
}

static bool get_dates(hid_t file, struct run_facts_of *about)
{
    char first[TIME_TEXT_MAX], last[TIME_TEXT_MAX];
    if (!h5_get_text(file, "run_start", first, sizeof first) ||
        !h5_get_text(file, "run_end", last, sizeof last) ||
        !time_parse_iso(first, &about->start_unix_us) || !time_parse_iso(last, &about->end_unix_us))
        return false;
    about->duration = run_seconds(about->end_unix_us - about->start_unix_us);
    return true;
}

static enum status read_version(struct run *run, struct complaint *complaint)
{
    int64_t version;
    const char *path = run->about.path;
    if (!h5_get_int(run->file, "format_version", 0, INT32_MAX, &version))
        return complain(complaint, STATUS_BAD_DATA,
                        "%s is an HDF5 file, but not a run of searun-logger", path);
    if (version > FORMAT_VERSION)
        return complain(complaint, STATUS_BAD_DATA,
                        "%s has format version %d; this program reads up to %d. Install a newer "
                        "searun.",
                        path, (int)version, FORMAT_VERSION);
    if (version < 1)
        return complain(complaint, STATUS_BAD_DATA, "%s has the unknown format version %d", path,
                        (int)version);
    run->about.format_version = (int)version;
    return STATUS_OK;
}

static enum status read_about(struct run *run, struct complaint *complaint)
{
    struct run_facts_of *about = &run->about;
    enum status status = read_version(run, complaint);
    if (status != STATUS_OK)
        return status;
    const char *missing = NULL;
    if (!get_dates(run->file, about))
        missing = "run_start or run_end";
    else if (!h5_get_text(run->file, "software", about->software, sizeof about->software))
        missing = "software";
    else if (!h5_get_text(run->file, "run_id", about->run_id, sizeof about->run_id))
        missing = "run_id";
    else if (!get_clock(run->file, &about->clock))
        missing = "clock_source";
    else if (!get_flag(run->file, "closed_cleanly", &about->closed_cleanly))
        missing = "closed_cleanly";
    else if (!get_flag(run->file, "rebuilt_from_journal", &about->rebuilt))
        missing = "rebuilt_from_journal";
    int64_t rejected = 0;
    if (h5_get_int(run->file, "records_rejected", 0, INT64_MAX, &rejected))
        about->records_rejected = (uint64_t)rejected;
    return missing ? run_damaged(run, complaint, "attribute", missing, "is missing or unreadable")
                   : STATUS_OK;
}

/* --- facts */

struct attribute_walk {
    struct run *run;
    enum fact_section section;
    int engine;
};

static void take_fact(struct attribute_walk *walk, hid_t group, const char *key)
{
    char value[FACT_VALUE_MAX + 1];
    if (!h5_get_text(group, key, value, sizeof value) ||
        facts_set(&walk->run->facts, walk->section, walk->engine, key, value, NULL) != STATUS_OK)
        walk->run->unread_facts++;
}

static herr_t take_attribute(hid_t group, const char *name, const H5A_info_t *info, void *data)
{
    (void)info;
    take_fact(data, group, name);
    return 0;
}

static bool read_fact_group(struct run *run, hid_t facts, const char *name)
{
    struct attribute_walk walk = {run, FACT_SECTION_COUNT, 0};
    char behind;
    if (strcmp(name, "boat") == 0)
        walk.section = FACT_BOAT;
    else if (strcmp(name, "run") == 0)
        walk.section = FACT_RUN;
    else if (sscanf(name, "engine_%3d%c", &walk.engine, &behind) == 1)
        walk.section = FACT_ENGINE;
    if (walk.section == FACT_SECTION_COUNT) {
        run->unknown_names++;
        return true;
    }
    hsize_t at = 0;
    hid_t group = h5_open_group(facts, name);
    bool done = group >= 0 &&
                H5Aiterate2(group, H5_INDEX_NAME, H5_ITER_INC, &at, take_attribute, &walk) >= 0;
    if (group >= 0)
        H5Gclose(group);
    return done;
}

static enum status read_facts(struct run *run, struct complaint *complaint)
{
    if (H5Lexists(run->file, "facts", H5P_DEFAULT) == 0)
        return STATUS_OK; /* nobody entered any */
    struct h5_names names = {0};
    hid_t group = h5_open_group(run->file, "facts");
    bool done = group >= 0 && h5_list(group, INSTANCE_MAX + 2, &names, NULL);
    for (size_t i = 0; i < names.count && done; i++)
        done = read_fact_group(run, group, names.name[i]);
    free(names.name);
    if (group >= 0)
        H5Gclose(group);
    return done ? STATUS_OK : run_damaged(run, complaint, "/facts", "", "cannot be read");
}

/* --- inputs and tallies */

static enum status read_inputs(struct run *run, struct complaint *complaint)
{
    void *rows;
    size_t count;
    enum status status = run_read_table(run, &table_inputs, &rows, &count, complaint);
    if (status == STATUS_OK && count > INPUTS_MAX)
        status = run_damaged(run, complaint, "/inputs", "", "names too many inputs");
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        const struct input_row *row = (const struct input_row *)rows + i;
        layout_text(run->inputs[i].text, sizeof run->inputs[i].text, row->text);
        layout_text(run->inputs[i].label, sizeof run->inputs[i].label, row->label);
        run->input_count = i + 1;
    }
    free(rows);
    return status;
}

static int64_t nanoseconds(int64_t microseconds)
{
    if (microseconds > INT64_MAX / NS_PER_US || microseconds < INT64_MIN / NS_PER_US)
        return microseconds < 0 ? INT64_MIN : INT64_MAX;
    return microseconds * NS_PER_US;
}

static void take_tally(struct run *run, const struct tally_row *row)
{
    enum reason reason = reason_find(row->reason);
    if (reason == REASON_COUNT || row->input >= run->input_count) {
        run->unknown_names++;
        return;
    }
    struct tally *tally = &run->tallies[row->input];
    tally_add_many(tally, reason, nanoseconds(row->first), row->count);
    tally->line[reason].last = nanoseconds(row->last);
}

static enum status read_tallies(struct run *run, struct complaint *complaint)
{
    void *rows;
    size_t count;
    enum status status = run_read_table(run, &table_tally, &rows, &count, complaint);
    for (size_t i = 0; i < count; i++)
        take_tally(run, (const struct tally_row *)rows + i);
    free(rows);
    return status;
}

/* --- streams */

static bool get_protocol(hid_t group, uint8_t *protocol)
{
    char text[24];
    if (!h5_get_text(group, "protocol", text, sizeof text))
        return false;
    for (uint8_t i = 0; i < PROTOCOL_COUNT; i++)
        if (strcmp(text, protocol_title((enum protocol)i)) == 0) {
            *protocol = i;
            return true;
        }
    return false;
}

static bool get_place(hid_t group, uint8_t *place)
{
    char text[24];
    if (!h5_get_text(group, "place", text, sizeof text))
        return false;
    for (uint8_t i = 0; i < PLACE_COUNT; i++)
        if (strcmp(text, place_key((enum place)i)) == 0) {
            *place = i;
            return true;
        }
    return false;
}

static bool get_origin(hid_t group, struct origin *origin)
{
    int64_t instance, input, number = 0;
    memset(origin, 0, sizeof *origin);
    if (!get_protocol(group, &origin->protocol) || !get_place(group, &origin->place) ||
        !h5_get_int(group, "instance", 0, INSTANCE_MAX - 1, &instance) ||
        !h5_get_int(group, "input", 0, INPUTS_MAX - 1, &input) ||
        !h5_get_text(group, "message", origin->message, sizeof origin->message) ||
        !h5_get_text(group, "source", origin->source, sizeof origin->source) ||
        !h5_get_text(group, "transducer", origin->label, sizeof origin->label))
        return false;
    if (H5Aexists(group, "pgn") > 0 && !h5_get_int(group, "pgn", 0, 0x3FFFF, &number))
        return false;
    origin->instance = (uint8_t)instance;
    origin->input = (uint8_t)input;
    origin->number = (uint32_t)number;
    return layout_origin_is_sound(origin);
}

static bool list_channels(struct run *run, hid_t group, struct stream_in *in)
{
    struct h5_names names;
    bool listed = h5_list(group, CHANNEL_COUNT + 64, &names, &run->links);
    in->channels = calloc(names.count + 1, sizeof *in->channels);
    for (size_t i = 0; i < names.count && in->channels; i++) {
        enum channel_id channel = channel_find(names.name[i]);
        if (channel != CHANNEL_COUNT)
            in->channels[in->stream.channel_count++] = channel;
        else if (strcmp(names.name[i], "time") != 0)
            run->unknown_names++;
    }
    free(names.name);
    in->stream.channels = in->channels;
    return listed && in->channels;
}

static bool get_length(hid_t group, struct stream_in *in, const char **why)
{
    struct column_in time;
    if (!h5_column_open(group, "time", &column_time, &time, why))
        return false;
    if (time.rows > ROWS_SERIES_MAX)
        *why = "is longer than a run can make it";
    in->stream.count = (size_t)time.rows;
    h5_column_close(&time);
    return !*why;
}

static enum status read_stream(struct run *run, hid_t parent, const char *place, const char *name,
                               struct complaint *complaint)
{
    struct stream_in *in = &run->streams[run->stream_count++];
    const char *path = in->stream.group, *why = NULL;
    snprintf(in->stream.group, sizeof in->stream.group, "/measurements/%.16s/%.125s", place, name);
    hid_t group = h5_open_group(parent, name);
    if (group < 0)
        return run_damaged(run, complaint, path, "", "cannot be opened");
    enum status status = STATUS_OK;
    if (!get_origin(group, &in->stream.origin))
        status = run_damaged(run, complaint, path, "", "does not say where it comes from");
    else if (!get_length(group, in, &why))
        status = run_damaged(run, complaint, path, "time", why);
    else if (!list_channels(run, group, in))
        status = run_damaged(run, complaint, path, "", "cannot be listed");
    H5Gclose(group);
    return status;
}

static enum status read_place(struct run *run, hid_t parent, const char *place,
                              struct complaint *complaint)
{
    struct h5_names names = {0};
    hid_t group = h5_open_group(parent, place);
    bool listed = group >= 0 && h5_list(group, STREAMS_MAX, &names, &run->links) &&
                  names.count <= STREAMS_MAX - run->stream_count;
    enum status status =
        listed ? STATUS_OK
               : run_damaged(run, complaint, "/measurements", place, "cannot be listed");
    for (size_t i = 0; i < names.count && status == STATUS_OK; i++)
        status = read_stream(run, group, place, names.name[i], complaint);
    free(names.name);
    if (group >= 0)
        H5Gclose(group);
    return status;
}

static enum status read_streams(struct run *run, struct complaint *complaint)
{
    if (H5Lexists(run->file, "measurements", H5P_DEFAULT) == 0)
        return STATUS_OK; /* nothing was understood */
    struct h5_names names = {0};
    run->streams = calloc(STREAMS_MAX, sizeof *run->streams);
    hid_t group = h5_open_group(run->file, "measurements");
    bool listed = run->streams && group >= 0 && h5_list(group, STREAMS_MAX, &names, &run->links);
    enum status status =
        listed ? STATUS_OK : run_damaged(run, complaint, "/measurements", "", "cannot be listed");
    for (size_t i = 0; i < names.count && status == STATUS_OK; i++)
        status = read_place(run, group, names.name[i], complaint);
    if (status == STATUS_OK && !h5_links_are_single(&run->links))
        status = run_damaged(run, complaint, "/measurements", "", "holds something twice");
    free(run->links.at);
    run->links = (struct h5_links){0};
    free(names.name);
    if (group >= 0)
        H5Gclose(group);
    return status;
}

/* --- opening and closing */

static enum status read_head(struct run *run, struct complaint *complaint)
{
    run->file = open_file(run->about.path);
    if (run->file < 0)
        return refuse_unopened(run, complaint);
    enum status status = read_about(run, complaint);
    if (status == STATUS_OK)
        status = read_facts(run, complaint);
    if (status == STATUS_OK)
        status = read_inputs(run, complaint);
    if (status == STATUS_OK)
        status = read_tallies(run, complaint);
    if (status == STATUS_OK)
        status = read_streams(run, complaint);
    return status;
}

enum status run_open(const char *path, struct run **out, struct complaint *complaint)
{
    *out = NULL;
    enum status status = check_kind(path, complaint);
    if (status == STATUS_OK)
        status = check_signature(path, complaint);
    if (status != STATUS_OK)
        return status;
    struct run *run = calloc(1, sizeof *run);
    if (!run)
        return complain(complaint, STATUS_MEMORY, "%s: no memory left", path);
    run->file = -1;
    snprintf(run->about.path, sizeof run->about.path, "%s", path);
    h5_enter(&run->words);
    status = read_head(run, complaint);
    h5_leave();
    if (status == STATUS_OK)
        *out = run;
    else
        run_close(run);
    return status;
}

void run_close(struct run *run)
{
    if (!run)
        return;
    if (run->file >= 0) {
        h5_enter(&run->words);
        H5Fclose(run->file);
        h5_leave();
    }
    for (size_t i = 0; i < run->stream_count; i++)
        free(run->streams[i].channels);
    free(run->streams);
    free(run->events);
    free(run->gaps);
    free(run->utcs);
    free(run->times);
    facts_free(&run->facts);
    free(run);
}

const struct run_facts_of *run_about(const struct run *run)
{
    return &run->about;
}

const struct facts *run_facts(const struct run *run)
{
    return &run->facts;
}

size_t run_stream_count(const struct run *run)
{
    return run->stream_count;
}

const struct stream *run_stream(const struct run *run, size_t index)
{
    return index < run->stream_count ? &run->streams[index].stream : NULL;
}

size_t run_input_count(const struct run *run)
{
    return run->input_count;
}

const struct run_input *run_input_at(const struct run *run, size_t index)
{
    return index < run->input_count ? &run->inputs[index] : NULL;
}

const struct tally *run_tally(const struct run *run, size_t input)
{
    return input < run->input_count ? &run->tallies[input] : NULL;
}
