/* tables.c - from a sheet or table to its run file; see tabled.h. */
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

#include "encoding.h"
#include "import.h"
#include "names.h"
#include "run_write.h"
#include "sheet.h"
#include "tabled.h"

#define CSV_LOST_MOST 10 /* one row in so many; with more the run is not whole */
#define TOLD_MAX 20      /* remarks of one file that are said; the rest is counted */

/* One file on its way into the run. */
struct source {
    const char *path;
    const char *kind; /* "sheet", "csv" */
    char *bytes;      /* owned, as they are in the file, with a NUL behind */
    size_t byte_count;
    char *text; /* the same in UTF-8, owned */
    size_t length;
    struct tabled table;
    const struct voice *voice;
    size_t told, untold;
};

struct making {
    const struct config *config;
    const struct table_order *order;
    const struct voice *voice;
    struct complaint complaint;
    size_t source_count;
    struct source sources[2];
    struct facts facts;
    int64_t start_unix_us, end_unix_us;
    char path[PATH_ROOM];
    struct run_writer *run;
};

static void tell(void *self, enum say_level level, const char *text)
{
    struct source *source = self;
    if (source->told >= TOLD_MAX)
        source->untold++;
    else
        say(source->voice, level, "%s", text);
    source->told++;
}

/* --- files */

static enum status read_whole(int file, size_t most, struct source *source,
                              struct complaint *complaint)
{
    size_t room = 0;
    for (;;) {
        if (room - source->byte_count < 2) {
            room = room ? 2 * room : 65536;
            char *grown = realloc(source->bytes, room);
            if (!grown)
                return complain(complaint, STATUS_MEMORY, "no memory left for %s", source->path);
            source->bytes = grown;
        }
        ssize_t got = read(file, source->bytes + source->byte_count, room - source->byte_count - 1);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return complain(complaint, STATUS_IO, "%s: %s", source->path, status_words(errno));
        source->byte_count += (size_t)got;
        if (got == 0)
            break;
        if (source->byte_count > most)
            return complain(complaint, STATUS_BAD_DATA,
                            "%s is longer than %zu MiB; cut it into several files", source->path,
                            most >> 20);
    }
    source->bytes[source->byte_count] = '\0';
    return STATUS_OK;
}

/* What people hand in for a sheet or table, by how it begins. */
static const struct mistaken {
    const char *begin;
    const char *words;
} mistaken[] = {
    {"PK\x03\x04", "is the spreadsheet's own file; save it from the spreadsheet as CSV"},
    {"\xD0\xCF\x11\xE0", "is the spreadsheet's own file; save it from the spreadsheet as CSV"},
    {"\x89HDF", "is a run file already; searun-analyze reads it as it is"},
    {"%PDF", "is a page to print, no table; write what is on it into the table that searun-logger "
             "--blank-sheet sheet.csv makes, and give that file"},
    {"\xFF\xD8\xFF", "is a picture; write what is on it into the table that searun-logger "
                     "--blank-sheet sheet.csv makes, and give that file"},
    {"\x89PNG", "is a picture; write what is on it into the table that searun-logger --blank-sheet "
                "sheet.csv makes, and give that file"},
};

static enum status check_kind(const struct source *source, struct complaint *complaint)
{
    if (source->byte_count == 0)
        return complain(complaint, STATUS_BAD_DATA, "%s is empty", source->path);
    for (size_t i = 0; i < sizeof mistaken / sizeof mistaken[0]; i++) {
        size_t length = strlen(mistaken[i].begin);
        if (source->byte_count >= length && memcmp(source->bytes, mistaken[i].begin, length) == 0)
            return complain(complaint, STATUS_BAD_DATA, "%s %s", source->path, mistaken[i].words);
    }
    return STATUS_OK;
}

/* The blank sheet for the printer, or another page. */
static enum status check_page(const struct source *source, struct complaint *complaint)
{
    const char *text = source->text;
    if (strncmp(text, "\xEF\xBB\xBF", 3) == 0)
        text += 3;
    text += strspn(text, " \t\r\n");
    if (strncasecmp(text, "<!doctype html", 14) != 0 && strncasecmp(text, "<html", 5) != 0)
        return STATUS_OK;
    return complain(complaint, STATUS_BAD_DATA,
                    "%s is the page to print and to write on. At the desk, make the table with "
                    "searun-logger --blank-sheet sheet.csv, type in what is on the paper, and give "
                    "that file: searun-logger --sheet sheet.csv",
                    source->path);
}

static enum status decode(struct source *source, struct complaint *complaint)
{
    const char *foreign;
    source->text = encoding_decode(source->bytes, source->byte_count, &source->length, &foreign);
    if (!source->text)
        return complain(complaint, STATUS_BAD_DATA,
                        "%s is no text that can be read; save it as CSV in UTF-8", source->path);
    if (foreign)
        say(source->voice, SAY_NOTE, "%s is not in UTF-8; it is read as %s", source->path, foreign);
    return check_page(source, complaint);
}

static enum status load(struct source *source, size_t most, struct complaint *complaint)
{
    int file = open(source->path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return complain(complaint, errno == ENOENT ? STATUS_NOT_FOUND : STATUS_IO, "%s: %s",
                        source->path, status_words(errno));
    enum status status = read_whole(file, most, source, complaint);
    close(file);
    if (status == STATUS_OK)
        status = check_kind(source, complaint);
    return status == STATUS_OK ? decode(source, complaint) : status;
}

static void source_free(struct source *source)
{
    free(source->text);
    free(source->bytes);
    tabled_free(&source->table);
}

static enum status read_sheet(struct making *it, struct source *source)
{
    const struct remarks remarks = {tell, source, source->path};
    enum status status = load(source, SHEET_SIZE_MAX, &it->complaint);
    if (status == STATUS_OK)
        status = sheet_read(source->text, source->length, &remarks, &source->table, &it->complaint);
    return status;
}

/* The map itself, or the file that holds it: a map has an equals sign, and a file is there. */
static enum status read_map(struct making *it, struct import_map *map)
{
    struct source file = {.path = it->order->columns, .voice = it->voice};
    if (strchr(it->order->columns, '=') && access(it->order->columns, F_OK) != 0)
        return import_map_read(it->order->columns, map, &it->complaint);
    enum status status = load(&file, (size_t)1 << 20, &it->complaint);
    if (status == STATUS_OK)
        status = import_map_read(file.text, map, &it->complaint);
    source_free(&file);
    return status;
}

static enum status read_csv(struct making *it, struct source *source)
{
    const struct remarks remarks = {tell, source, source->path};
    struct import_map *map = malloc(sizeof *map);
    enum status status =
        map ? read_map(it, map) : complain(&it->complaint, STATUS_MEMORY, "no memory left");
    if (status == STATUS_OK)
        status = load(source, IMPORT_SIZE_MAX, &it->complaint);
    if (status == STATUS_OK)
        status = import_read(source->text, source->length, map, &remarks, &source->table,
                             &it->complaint);
    if (status == STATUS_OK && !map->has_zone && map->time_kind != IMPORT_TIME_UNIX)
        say(it->voice, SAY_NOTE,
            "%s: times without a zone are taken as UTC; zone = +02:00 in the map says otherwise",
            source->path);
    free(map);
    return status;
}

static enum status read_sources(struct making *it)
{
    enum status status = STATUS_OK;
    if (it->order->sheet) {
        struct source *source = &it->sources[it->source_count++];
        *source = (struct source){.path = it->order->sheet, .kind = "sheet", .voice = it->voice};
        status = read_sheet(it, source);
    }
    if (it->order->csv && status == STATUS_OK) {
        struct source *source = &it->sources[it->source_count++];
        *source = (struct source){.path = it->order->csv, .kind = "csv", .voice = it->voice};
        status = read_csv(it, source);
    }
    for (size_t i = 0; i < it->source_count; i++)
        if (it->sources[i].untold > 0)
            say(it->voice, SAY_WARNING, "%s: %zu more remarks of this kind", it->sources[i].path,
                it->sources[i].untold);
    return status;
}

/* --- facts and dates */

static enum status take_facts(struct making *it, const struct facts *facts)
{
    for (size_t i = 0; i < facts->count; i++) {
        const struct fact *fact = &facts->list[i];
        enum status status = facts_set(&it->facts, fact->section, fact->engine, fact->key,
                                       fact->value, &it->complaint);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

/* What the command line and the configuration say goes before what the sheet says. */
static enum status gather_facts(struct making *it)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < it->source_count && status == STATUS_OK; i++)
        status = take_facts(it, &it->sources[i].table.facts);
    return status == STATUS_OK ? take_facts(it, &it->config->facts) : status;
}

static enum status find_dates(struct making *it)
{
    it->start_unix_us = INT64_MAX;
    it->end_unix_us = INT64_MIN;
    for (size_t i = 0; i < it->source_count; i++) {
        const struct tabled *table = &it->sources[i].table;
        int64_t last = table->rows[table->row_count - 1].unix_us;
        if (table->start_unix_us < it->start_unix_us)
            it->start_unix_us = table->start_unix_us;
        if (last > it->end_unix_us)
            it->end_unix_us = last;
    }
    if (it->end_unix_us - it->start_unix_us <= INT64_C(14) * 86400 * 1000000)
        return STATUS_OK;
    return complain(&it->complaint, STATUS_BAD_DATA,
                    "the rows span %.1f days, which is no one run: look at the dates%s",
                    (double)(it->end_unix_us - it->start_unix_us) / 86400e6,
                    it->source_count > 1 ? " of both files, and at their time zones" : "");
}

/* --- the run file */

static enum status open_run(struct making *it)
{
    struct run_input inputs[2];
    memset(inputs, 0, sizeof inputs);
    for (size_t i = 0; i < it->source_count; i++) {
        const struct source *source = &it->sources[i];
        const char *slash = strrchr(source->path, '/');
        snprintf(inputs[i].text, sizeof inputs[i].text, "%s:%.80s", source->kind,
                 slash ? slash + 1 : source->path);
        snprintf(inputs[i].label, sizeof inputs[i].label, "%s", source->kind);
    }
    const struct run_start start = {
        .path = it->path,
        .start_unix_us = it->start_unix_us,
        .clock = CLOCK_CAPTURE,
        .facts = &it->facts,
        .inputs = inputs,
        .input_count = it->source_count,
        .software = "searun-logger " SEARUN_VERSION,
    };
    return run_write_open(&start, &it->run, &it->complaint);
}

static int64_t instant(const struct making *it, int64_t unix_us)
{
    return (unix_us - it->start_unix_us) * NS_PER_US;
}

static enum status write_columns(struct making *it, size_t input)
{
    struct tabled *table = &it->sources[input].table;
    enum status status = STATUS_OK;
    for (size_t c = 0; c < table->column_count && status == STATUS_OK; c++) {
        struct tabled_column *column = &table->columns[c];
        column->origin.input = (uint8_t)input;
        if (column->readings > 0)
            status =
                run_write_accuracy(it->run, &column->origin, column->channel, &column->accuracy);
    }
    return status;
}

/* The values of one row that have the origin of column `first`, if that is the first that has
 * it. */
static enum status write_origin(struct making *it, const struct tabled *table, size_t row,
                                size_t first)
{
    struct value values[VALUES_MAX];
    const double *cells = table->values + row * table->column_count;
    const struct origin *origin = &table->columns[first].origin;
    size_t count = 0;
    for (size_t c = 0; c < table->column_count; c++) {
        if (memcmp(&table->columns[c].origin, origin, sizeof *origin) != 0)
            continue;
        if (c < first)
            return STATUS_OK;
        if (!isnan(cells[c]) && count < VALUES_MAX)
            values[count++] = (struct value){(uint16_t)table->columns[c].channel, cells[c]};
    }
    return count == 0 ? STATUS_OK
                      : run_write_readings(it->run, instant(it, table->rows[row].unix_us), origin,
                                           values, count);
}

static enum status write_rows(struct making *it, size_t input)
{
    const struct tabled *table = &it->sources[input].table;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < table->remark_count && status == STATUS_OK; i++)
        status = run_write_event(it->run, 0, NULL, table->remarks[i].key, table->remarks[i].text);
    for (size_t row = 0; row < table->row_count && status == STATUS_OK; row++) {
        for (size_t c = 0; c < table->column_count && status == STATUS_OK; c++)
            status = write_origin(it, table, row, c);
        if (status == STATUS_OK && table->rows[row].note)
            status = run_write_event(it->run, instant(it, table->rows[row].unix_us), NULL, "note",
                                     table->rows[row].note);
    }
    return status;
}

/* Every byte of the file as raw lines, so that it can be read again. */
static enum status write_raw(struct making *it, unsigned input)
{
    const struct source *source = &it->sources[input];
    enum status status = STATUS_OK;
    for (size_t at = 0; at < source->byte_count && status == STATUS_OK;) {
        const char *end = memchr(source->bytes + at, '\n', source->byte_count - at);
        size_t size = end ? (size_t)(end - source->bytes) - at : source->byte_count - at;
        status = run_write_line(it->run, 0, input, source->bytes + at, size);
        at += size + 1;
    }
    return status;
}

static enum status write_all(struct making *it)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < it->source_count && status == STATUS_OK; i++) {
        status = write_columns(it, i);
        if (status == STATUS_OK)
            status = write_rows(it, i);
        if (status == STATUS_OK)
            status = write_raw(it, (unsigned)i);
    }
    return status;
}

static enum status close_run(struct making *it)
{
    struct tally tallies[2];
    for (size_t i = 0; i < it->source_count; i++)
        tallies[i] = it->sources[i].table.tally;
    const struct run_end end = {.end = instant(it, it->end_unix_us),
                                .start_unix_us = it->start_unix_us,
                                .clock = CLOCK_CAPTURE,
                                .clean = true,
                                .tallies = tallies};
    enum status status = run_write_close(it->run, &end, &it->complaint);
    it->run = NULL;
    return status;
}

static enum status name_run(struct making *it)
{
    const char *boat = facts_get(&it->facts, FACT_BOAT, 0, "name");
    enum status status = STATUS_OK;
    if (it->order->output)
        status = snprintf(it->path, sizeof it->path, "%s", it->order->output) < PATH_ROOM - 16
                     ? STATUS_OK
                     : STATUS_BAD_USAGE;
    else
        status = names_find(it->path, sizeof it->path, it->config->settings.directory,
                            it->start_unix_us, boat);
    return status == STATUS_OK
               ? names_make_folder(it->path, it->voice)
               : complain(&it->complaint, status, "no name for the run could be made");
}

static enum status make_file(struct making *it)
{
    enum status status = name_run(it);
    if (status == STATUS_OK)
        status = open_run(it);
    if (status != STATUS_OK)
        return status;
    status = write_all(it);
    enum status ended = close_run(it); /* gives the words of the first failure */
    return status == STATUS_OK ? ended : status;
}

/* --- words at the end */

/* All that was left out, whatever the reason, in one number. */
static void say_left_out(const struct making *it, const struct source *source)
{
    static const struct {
        enum reason reason;
        const char *one, *several;
    } kinds[] = {
        {REASON_BAD_ROW, "row without a readable date or time",
         "rows without a readable date or time"},
        {REASON_NOT_A_NUMBER, "entry that could not be read", "entries that could not be read"},
        {REASON_OUT_OF_RANGE, "value that cannot be believed", "values that cannot be believed"},
        {REASON_NO_COLUMN, "entry in no column that is known",
         "entries in no column that is known"},
    };
    char parts[400] = "";
    uint64_t all = 0;
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        uint64_t count = source->table.tally.line[kinds[i].reason].count;
        size_t length = strlen(parts);
        if (count == 0)
            continue;
        snprintf(parts + length, sizeof parts - length, "%s%" PRIu64 " %s", all > 0 ? ", " : "",
                 count, count == 1 ? kinds[i].one : kinds[i].several);
        all += count;
    }
    if (all > 0)
        say(it->voice, SAY_WARNING, "%s: %" PRIu64 " left out (the text is kept): %s", source->path,
            all, parts);
}

static void say_source(const struct making *it, const struct source *source)
{
    const struct tally *tally = &source->table.tally;
    say(it->voice, SAY_NOTE, "%s: %zu rows, %" PRIu64 " readings", source->path,
        source->table.row_count, tally->line[REASON_READINGS].count);
    say_left_out(it, source);
}

/* Of another logger's file a few lines may be none of its rows: units below the names, an end. */
static bool is_whole(const struct source *source)
{
    uint64_t lost = source->table.tally.line[REASON_BAD_ROW].count;
    if (strcmp(source->kind, "csv") == 0)
        return lost * CSV_LOST_MOST <= lost + source->table.row_count;
    return lost == 0;
}

/* Rows that are missing in the run. STATUS_BAD_DATA if it is not whole. */
static enum status say_lost_rows(const struct making *it, const struct source *source)
{
    uint64_t lost = source->table.tally.line[REASON_BAD_ROW].count;
    bool whole = is_whole(source);
    if (lost > 0)
        say(it->voice, SAY_WARNING,
            "%s: %" PRIu64 " of %" PRIu64 " rows %s not taken, for want of a date or time that "
            "can be read%s",
            source->path, lost, lost + source->table.row_count, lost == 1 ? "was" : "were",
            whole ? ""
                  : ", so the run is not whole. Mend what is named above, delete the run and "
                    "read the file again");
    return whole ? STATUS_OK : STATUS_BAD_DATA;
}

/* Columns of it, or readings in them. */
static size_t count_channel(const struct making *it, enum channel_id channel, bool readings)
{
    size_t count = 0;
    for (size_t i = 0; i < it->source_count; i++)
        for (size_t c = 0; c < it->sources[i].table.column_count; c++) {
            const struct tabled_column *column = &it->sources[i].table.columns[c];
            if (column->channel == channel)
                count += readings ? column->readings : 1;
        }
    return count;
}

/* What a comparison needs, and how a sheet says it. */
static void say_missing(const struct making *it)
{
    static const struct {
        enum channel_id channel;
        const char *words, *sheet;
    } needed[] = {
        {CHANNEL_ENGINE_SPEED, "engine speed", "a column \"rpm\""},
        {CHANNEL_COOLANT_TEMPERATURE, "coolant temperature",
         "a column \"gauge [°C]\" or \"gauge [°F]\""},
        {CHANNEL_SEA_TEMPERATURE, "sea temperature",
         "a column \"sea [°C]\", or one line \"sea temperature,16.5 °C\" above the table"},
    };
    for (size_t i = 0; i < sizeof needed / sizeof needed[0]; i++) {
        bool told = needed[i].channel == CHANNEL_SEA_TEMPERATURE &&
                    facts_get(&it->facts, FACT_RUN, 0, "sea_temperature")[0] != '\0';
        if (told || count_channel(it, needed[i].channel, true) > 0)
            continue;
        bool teach = it->order->sheet && count_channel(it, needed[i].channel, false) == 0;
        say(it->voice, SAY_WARNING,
            "there is no %s in it that can be used, and a comparison needs it%s%s", needed[i].words,
            teach ? "; a sheet gives it in " : "", teach ? needed[i].sheet : "");
    }
}

static void ask_thermostat(const struct making *it, unsigned engine)
{
    char where[80] = "name it in the configuration", number[16] = "";
    if (engine > 0)
        snprintf(number, sizeof number, " %u", engine);
    if (it->order->sheet)
        snprintf(where, sizeof where, "write a line \"thermostat%s,160 to 180 °F\" above the table",
                 number);
    say(it->voice, SAY_NOTE,
        "nothing says at what temperatures the thermostat of engine %u opens; a comparison is "
        "surer if it knows. They are stamped on it or in the engine's manual: %s, or --set "
        "engine%u.thermostat=71,82 (starts to open, wide open; degC)",
        engine, where, engine);
}

/* Has the engine coolant readings, and no rating? */
static bool lacks_thermostat(const struct making *it, unsigned engine)
{
    if (facts_get(&it->facts, FACT_ENGINE, (int)engine, "thermostat")[0] != '\0')
        return false;
    for (size_t i = 0; i < it->source_count; i++)
        for (size_t c = 0; c < it->sources[i].table.column_count; c++) {
            const struct tabled_column *column = &it->sources[i].table.columns[c];
            if (column->channel == CHANNEL_COOLANT_TEMPERATURE && column->readings > 0 &&
                column->origin.instance == engine)
                return true;
        }
    return false;
}

/* The rating makes the interval narrower. The first engine that lacks it is told how to enter it,
 * the others only that they lack it too. */
static void say_thermostat(const struct making *it)
{
    char others[200] = "";
    bool asked = false;
    for (unsigned engine = 0; engine < INSTANCE_MAX; engine++) {
        size_t length = strlen(others);
        if (!lacks_thermostat(it, engine))
            continue;
        if (!asked)
            ask_thermostat(it, engine);
        else
            snprintf(others + length, sizeof others - length, "%sengine %u (engine%u.thermostat)",
                     length > 0 ? ", " : "", engine, engine);
        asked = true;
    }
    if (others[0] != '\0')
        say(it->voice, SAY_NOTE, "the same is missing for %s", others);
}

enum status tables_record(const struct config *config, const struct table_order *order,
                          const struct voice *voice)
{
    struct making *it = calloc(1, sizeof *it);
    if (!it) {
        say(voice, SAY_ERROR, "no memory left");
        return STATUS_MEMORY;
    }
    it->config = config;
    it->order = order;
    it->voice = voice;
    enum status status = read_sources(it);
    if (status == STATUS_OK)
        status = gather_facts(it);
    if (status == STATUS_OK)
        status = find_dates(it);
    if (status == STATUS_OK)
        status = make_file(it);
    for (size_t i = 0; status == STATUS_OK && i < it->source_count; i++)
        say_source(it, &it->sources[i]);
    if (status == STATUS_OK) {
        say_missing(it);
        say_thermostat(it);
        say(voice, SAY_NOTE, "made %s", it->path);
    } else if (it->complaint.text[0]) {
        say(voice, SAY_ERROR, "%s", it->complaint.text);
    }
    bool made = status == STATUS_OK;
    for (size_t i = 0; made && i < it->source_count; i++)
        if (say_lost_rows(it, &it->sources[i]) != STATUS_OK)
            status = STATUS_BAD_DATA;
    for (size_t i = 0; i < it->source_count; i++)
        source_free(&it->sources[i]);
    facts_free(&it->facts);
    free(it);
    return status;
}
