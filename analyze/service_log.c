/* service_log.c - reads the service history. */
#include "service_log.h"

#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "csv.h"
#include "encoding.h"
#include "reading.h"
#include "service_columns.h"
#include "text.h"

#define SIZE_MOST (1024 * 1024)
#define HOURS_MOST 200000.0

/* --- kinds */

static const struct kind {
    const char *key, *title, *words;
    enum service_effect effect;
} kinds[] = {
#define SERVICE(id, key, title, effect, words) {key, title, words, SERVICE_EFFECT_##effect},
#include "service_kinds.def"
#undef SERVICE
};

const char *service_key(enum service_kind kind)
{
    return kinds[kind].key;
}

const char *service_title(enum service_kind kind)
{
    return kinds[kind].title;
}

enum service_effect service_effect(enum service_kind kind)
{
    return kinds[kind].effect;
}

/* A blank for everything that separates words, small letters: two spellings of the same compare
 * equal. */
static char plain(char c)
{
    return c == '-' || c == '_' || c == '/' ? ' ' : (char)tolower((unsigned char)c);
}

bool service_same_words(const char *a, const char *b, size_t b_length)
{
    size_t i = 0;
    for (; a[i] != '\0' && i < b_length; i++)
        if (plain(a[i]) != plain(b[i]))
            return false;
    return a[i] == '\0' && i == b_length;
}

/* Is it one of the words between '|'? */
bool service_among_words(const char *words, const char *list)
{
    while (*list != '\0') {
        size_t length = strcspn(list, "|");
        if (length > 0 && service_same_words(words, list, length))
            return true;
        list += length + (list[length] == '|');
    }
    return false;
}

enum service_kind service_find(const char *words)
{
    int kind = 0;
    for (; kind < SERVICE_COUNT; kind++)
        if (service_same_words(words, kinds[kind].key, strlen(kinds[kind].key)) ||
            service_same_words(words, kinds[kind].title, strlen(kinds[kind].title)) ||
            service_among_words(words, kinds[kind].words))
            break;
    return (enum service_kind)kind;
}

/* --- fields */

static enum status read_date(const char *text, struct service_event *event,
                             struct complaint *complaint)
{
    struct service_date date;
    enum status status = service_date_read(text, event->date_order, &date, complaint);
    event->date = date.at;
    event->day_only = date.day_only;
    event->date_by_order = date.by_order;
    return status;
}

/* "1,240" may be 1240 hours or 1.24: what can be read in two ways is not guessed. */
static bool has_thousands(const char *text)
{
    size_t whole = strspn(text, "0123456789");
    return (text[whole] == ',' || text[whole] == '.') &&
           strspn(text + whole + 1, "0123456789") == 3;
}

static enum status read_hours(const char *text, struct service_event *event,
                              struct complaint *complaint)
{
    char number[40];
    event->hours = NAN;
    if (text[0] == '\0')
        return STATUS_OK;
    size_t length = strspn(text, "0123456789.,");
    const char *unit = text + length + strspn(text + length, " ");
    bool fits = length > 0 && length < sizeof number && (*unit == '\0' || strcmp(unit, "h") == 0) &&
                !has_thousands(text);
    if (fits) {
        char *end;
        memcpy(number, text, length);
        number[length] = '\0';
        if (strchr(number, ',') != NULL)
            *strchr(number, ',') = '.';
        event->hours = strtod(number, &end);
        fits = *end == '\0' && end != number && event->hours <= HOURS_MOST;
    }
    return fits ? STATUS_OK
                : complain(complaint, STATUS_BAD_DATA,
                           "\"%.40s\" are no engine hours; write a number from 0 to %.0f without a "
                           "sign between the thousands (1240 or 1240.5), or leave it empty",
                           text, HOURS_MOST);
}

/* Behind the apostrophe that keeps a spreadsheet from reckoning: text_csv sets it. */
static const char *without_guard(const char *text)
{
    bool guarded = text[0] == '\'' && text[1] != '\0' && strchr("=+-@", text[1]) != NULL;
    return text + guarded;
}

static enum status read_engine(const char *typed, struct service_event *event,
                               struct complaint *complaint)
{
    const char *text = without_guard(typed);
    const char *number = strncasecmp(text, "engine ", 7) == 0 ? text + 7 : text;
    event->engine = -1;
    event->label[0] = '\0';
    event->engine_said = text[0] != '\0';
    if (text[0] == '\0' || service_among_words(text, "all|both|all engines|both engines"))
        return STATUS_OK;
    if (number[0] != '\0' && number[strspn(number, "0123456789")] == '\0') {
        event->engine = strlen(number) <= 3 ? atoi(number) : INSTANCE_MAX;
        return event->engine < INSTANCE_MAX
                   ? STATUS_OK
                   : complain(complaint, STATUS_BAD_DATA,
                              "there is no engine %.10s; write a number from 0 to %d, the "
                              "engine's label (port), or all",
                              number, INSTANCE_MAX - 1);
    }
    if (strlen(text) >= sizeof event->label)
        return complain(complaint, STATUS_BAD_DATA,
                        "the engine's label is longer than %zu bytes; write its number, its label "
                        "or all",
                        sizeof event->label - 1);
    strcpy(event->label, text);
    return STATUS_OK;
}

static enum status read_what(const char *text, struct service_event *event,
                             struct complaint *complaint)
{
    struct text allowed = {0};
    event->kind = service_find(text);
    if (event->kind != SERVICE_COUNT)
        return STATUS_OK;
    for (int kind = 0; kind < SERVICE_COUNT; kind++)
        text_addf(&allowed, "%s%s", kind > 0 ? ", " : "", kinds[kind].key);
    enum status status =
        text[0] == '\0'
            ? complain(complaint, STATUS_BAD_DATA, "it does not say what was done; write one of %s",
                       text_string(&allowed))
            : complain(complaint, STATUS_BAD_DATA,
                       "\"%.60s\" is no work of the list; write one of %s (and your own words "
                       "under notes), one line a piece of work",
                       text, text_string(&allowed));
    text_free(&allowed);
    return status;
}

static enum status read_text(const char *text, char **out, struct complaint *complaint)
{
    struct text clean = {0};
    text_clean(&clean, without_guard(text));
    text_add(&clean, "");
    *out = text_take(&clean);
    if (*out == NULL)
        *out = calloc(1, 1);
    return *out != NULL ? STATUS_OK : complain(complaint, STATUS_MEMORY, "no memory left");
}

static enum status read_by(const char *text, struct service_event *event,
                           struct complaint *complaint)
{
    return read_text(text, &event->by, complaint);
}

static enum status read_notes(const char *text, struct service_event *event,
                              struct complaint *complaint)
{
    return read_text(text, &event->notes, complaint);
}

static enum status read_boat(const char *typed, struct service_event *event,
                             struct complaint *complaint)
{
    const char *text = without_guard(typed);
    if (strlen(text) >= sizeof event->boat)
        return complain(complaint, STATUS_BAD_DATA,
                        "the name of the boat is longer than %zu bytes; write it as the runs have "
                        "it",
                        sizeof event->boat - 1);
    strcpy(event->boat, text);
    return STATUS_OK;
}

const struct service_column service_columns[SERVICE_COLUMNS] = {
    {"date", "", true, read_date},
    {"engine hours", "hours", false, read_hours},
    {"engine", "", false, read_engine},
    {"what was done", "what|work|work done", true, read_what},
    {"by", "by whom|who|done by", false, read_by},
    {"notes", "note|remarks|remark", false, read_notes},
    {"boat", "vessel", false, read_boat},
};

/* --- the file */

struct parsing {
    const char *name;
    struct service_log *log;
    struct service_layout layout;
    enum status status; /* of the whole: that of the columns, or of memory */
    struct complaint why;
};

/* A line that is left out. */
static void leave_out(struct parsing *parsing, unsigned line, const char *why)
{
    struct text clean = {0};
    if (parsing->log->fault_count++ >= SERVICE_FAULTS)
        return;
    struct service_fault *fault = &parsing->log->faults[parsing->log->fault_count - 1];
    text_clip(&clean, why, sizeof fault->text - 1);
    fault->line = line;
    snprintf(fault->text, sizeof fault->text, "%s", text_string(&clean));
    text_free(&clean);
}

/* What keeps the whole from being read. */
static void object(struct parsing *parsing, enum status status, unsigned line, const char *why)
{
    struct text clean = {0};
    text_clip(&clean, why, 700);
    parsing->status = complain(&parsing->why, status, "line %u: %s", line, text_string(&clean));
    text_free(&clean);
}

enum service_column_id service_column_find(const char *title)
{
    size_t column = 0;
    for (; column < SERVICE_COLUMNS; column++)
        if (service_same_words(title, service_columns[column].title,
                               strlen(service_columns[column].title)) ||
            service_among_words(title, service_columns[column].words))
            break;
    return (enum service_column_id)column;
}

static void add_ignored(struct service_log *log, const char *title)
{
    struct text clean = {0};
    size_t length = strlen(log->ignored);
    text_clip(&clean, title, 40);
    snprintf(log->ignored + length, sizeof log->ignored - length, "%s%s", length > 0 ? ", " : "",
             text_string(&clean));
    text_free(&clean);
}

static enum status no_columns(struct complaint *complaint, const char *why)
{
    struct text titles = {0};
    for (size_t i = 0; i < SERVICE_USUAL; i++)
        text_addf(&titles, "%s%s", i > 0 ? "," : "", service_columns[i].title);
    enum status status = complain(complaint, STATUS_BAD_DATA,
                                  "%s; the first line names the columns: %s (\"date\" and \"what "
                                  "was done\" must be there)",
                                  why, text_string(&titles));
    text_free(&titles);
    return status;
}

enum status service_layout_read(const struct csv_row *row, struct service_layout *out,
                                struct service_log *log, struct complaint *complaint)
{
    bool seen[SERVICE_COLUMNS] = {false};
    if (row->fault != NULL)
        return no_columns(complaint, row->fault);
    out->count = row->count;
    for (size_t i = 0; i < row->count; i++) {
        const char *title = csv_field(row, i);
        enum service_column_id column = service_column_find(title);
        out->column[i] = column;
        if (column == SERVICE_COLUMNS && title[0] != '\0' && log != NULL)
            add_ignored(log, title);
        else if (column != SERVICE_COLUMNS && seen[column])
            return no_columns(complaint, "a column is named twice");
        if (column != SERVICE_COLUMNS)
            seen[column] = true;
    }
    for (size_t i = 0; i < SERVICE_COLUMNS; i++)
        if (service_columns[i].needed && !seen[i])
            return no_columns(complaint, "the names of the columns are missing");
    return STATUS_OK;
}

static void free_event(struct service_event *event)
{
    free(event->by);
    free(event->notes);
}

/* Fields that the columns do not reach must be empty: else something would be lost unseen. */
static enum status look_beyond(const struct parsing *parsing, const struct csv_row *row,
                               struct complaint *complaint)
{
    for (size_t i = parsing->layout.count; i < row->count; i++)
        if (csv_field(row, i)[0] != '\0')
            return complain(complaint, STATUS_BAD_DATA,
                            "it has more fields than the first line has names; put quotation marks "
                            "(\") around a field that has a comma or semicolon in it");
    return STATUS_OK;
}

/* The position of a column; beyond the last field if the file has not got it. */
static size_t place_of(const struct service_layout *layout, size_t column)
{
    size_t place = 0;
    while (place < layout->count && layout->column[place] != column)
        place++;
    return place < layout->count ? place : CSV_FIELDS_MAX;
}

static enum status read_event(const struct parsing *parsing, const struct csv_row *row,
                              struct service_event *event, struct complaint *complaint)
{
    enum status status = look_beyond(parsing, row, complaint);
    for (size_t i = 0; i < SERVICE_COLUMNS && status == STATUS_OK; i++)
        status = service_columns[i].read(csv_field(row, place_of(&parsing->layout, i)), event,
                                         complaint);
    return status;
}

static void count_order(struct service_log *log, const struct service_event *event)
{
    if (event->date_by_order && log->by_order++ == 0)
        log->by_order_line = event->line;
}

static void take_row(struct parsing *parsing, const struct csv_row *row)
{
    struct service_log *log = parsing->log;
    struct service_event event = {
        .line = row->line, .hours = NAN, .engine = -1, .date_order = log->date_order};
    struct complaint why = {""};
    if (row->fault != NULL) {
        leave_out(parsing, row->line, row->fault);
        return;
    }
    enum status status = read_event(parsing, row, &event, &why);
    struct service_event *events =
        status == STATUS_OK ? realloc(log->events, (log->count + 1) * sizeof *events) : NULL;
    if (events != NULL) {
        log->events = events;
        events[log->count++] = event;
        count_order(log, &event);
        return;
    }
    free_event(&event);
    if (status == STATUS_BAD_DATA)
        leave_out(parsing, row->line, why.text);
    else
        object(parsing, STATUS_MEMORY, row->line, "no memory left");
}

static int by_date(const void *a, const void *b)
{
    const struct service_event *first = a, *second = b;
    if (first->date != second->date)
        return first->date < second->date ? -1 : 1;
    return first->line < second->line ? -1 : first->line > second->line;
}

/* The first row that is not blank; false if there is none. */
static bool next_row(struct csv *csv, struct csv_row *row)
{
    while (csv_next(csv, row))
        if (!csv_row_blank(row))
            return true;
    return false;
}

/* Dates that can be read in one way only show how the file writes the others, unless they
 * differ. */
static enum date_order find_order(const struct parsing *parsing, struct csv csv)
{
    struct csv_row row = {0};
    size_t shows[3] = {0};
    while (next_row(&csv, &row))
        shows[service_date_shows(csv_field(&row, place_of(&parsing->layout, SERVICE_DATE)))]++;
    csv_row_free(&row);
    if ((shows[DATE_DAY_FIRST] > 0) == (shows[DATE_MONTH_FIRST] > 0))
        return DATE_ORDER_OPEN;
    return shows[DATE_DAY_FIRST] > 0 ? DATE_DAY_FIRST : DATE_MONTH_FIRST;
}

static void parse_rows(struct parsing *parsing, const char *bytes, size_t length)
{
    struct csv csv = csv_begin(bytes, length);
    struct csv_row row = {0};
    struct complaint why = {""};
    enum status status = STATUS_OK;
    if (next_row(&csv, &row))
        status = service_layout_read(&row, &parsing->layout, parsing->log, &why);
    if (status != STATUS_OK)
        object(parsing, status, row.line, why.text);
    else
        parsing->log->date_order = find_order(parsing, csv);
    while (status == STATUS_OK && next_row(&csv, &row))
        take_row(parsing, &row);
    if (row.bytes.failed)
        object(parsing, STATUS_MEMORY, row.line, "no memory left");
    csv_row_free(&row);
}

/* A log of which no line can be read is none. */
static enum status conclude(const struct parsing *parsing, struct complaint *complaint)
{
    const struct service_log *log = parsing->log;
    if (parsing->status != STATUS_OK)
        return complain(complaint, parsing->status, "%s, %s", parsing->name, parsing->why.text);
    if (log->count > 0 || log->fault_count == 0)
        return STATUS_OK;
    size_t others = log->fault_count - 1;
    if (others == 0)
        return complain(complaint, STATUS_BAD_DATA, "%s, line %u: %s", parsing->name,
                        log->faults[0].line, log->faults[0].text);
    return complain(complaint, STATUS_BAD_DATA, "%s, line %u: %s (and %zu more %s with faults)",
                    parsing->name, log->faults[0].line, log->faults[0].text, others,
                    others == 1 ? "line" : "lines");
}

/* --- what is told of it */

bool service_log_remark(const struct service_log *log, size_t index, struct text *out)
{
    size_t kept = log->fault_count < SERVICE_FAULTS ? log->fault_count : SERVICE_FAULTS;
    size_t more = log->fault_count - kept;
    if (index < kept) {
        text_addf(out, "Line %u of the service log was left out: %s.", log->faults[index].line,
                  log->faults[index].text);
        return true;
    }
    index -= kept;
    if (more > 0 && index-- == 0) {
        text_addf(out, "%zu more %s of the service log %s left out for such faults.", more,
                  more == 1 ? "line" : "lines", more == 1 ? "was" : "were");
        return true;
    }
    if (log->by_order == 0 || index > 0)
        return false;
    text_addf(out,
              "%zu %s of the service log (the first in line %u) %s read with the %s first, for "
              "other dates of it can be read in no other way. Dates written 2026-05-14 cannot be "
              "mistaken.",
              log->by_order, log->by_order == 1 ? "date" : "dates", log->by_order_line,
              log->by_order == 1 ? "was" : "were",
              log->date_order == DATE_DAY_FIRST ? "day" : "month");
    return true;
}

enum status service_log_parse(const char *bytes, size_t length, const char *name,
                              struct service_log *out, struct complaint *complaint)
{
    struct parsing parsing = {.name = name, .log = out};
    *out = (struct service_log){0};
    if (length > SIZE_MOST)
        return complain(complaint, STATUS_BAD_DATA,
                        "%s is no service log: it is larger than %d KiB", name, SIZE_MOST / 1024);
    const char *foreign;
    char *text = encoding_decode(bytes, length, &length, &foreign);
    out->foreign = foreign != NULL;
    if (text == NULL)
        return complain(complaint, STATUS_BAD_DATA,
                        "%s is no text that can be read; save it from the spreadsheet as CSV in "
                        "UTF-8",
                        name);
    parse_rows(&parsing, text, length);
    free(text);
    if (out->count > 0)
        qsort(out->events, out->count, sizeof *out->events, by_date);
    return conclude(&parsing, complaint);
}

enum status service_text_read(FILE *file, const char *path, struct text *out,
                              struct complaint *complaint)
{
    char bytes[4096];
    size_t count;
    while (out->length <= SIZE_MOST && (count = fread(bytes, 1, sizeof bytes, file)) > 0)
        text_add_bytes(out, bytes, count);
    if (ferror(file))
        return complain(complaint, STATUS_IO, "cannot read the service log %s: %s", path,
                        status_words(errno));
    return out->failed ? complain(complaint, STATUS_MEMORY, "no memory left for %s", path)
                       : STATUS_OK;
}

enum status service_log_read(const char *path, struct service_log *out, struct complaint *complaint)
{
    struct text content = {0};
    *out = (struct service_log){0};
    FILE *file = fopen(path, "rbe");
    if (file == NULL)
        return complain(complaint, errno == ENOENT ? STATUS_NOT_FOUND : STATUS_IO,
                        "cannot read the service log %s: %s", path, status_words(errno));
    enum status status = service_text_read(file, path, &content, complaint);
    fclose(file);
    if (status == STATUS_OK)
        status = service_log_parse(text_string(&content), content.length, path, out, complaint);
    text_free(&content);
    return status;
}

void service_log_free(struct service_log *log)
{
    for (size_t i = 0; i < log->count; i++)
        free_event(&log->events[i]);
    free(log->events);
    *log = (struct service_log){0};
}

/* --- where it is, and whom it is about */

char *service_log_beside(const char *run)
{
    struct text path = {0};
    const char *slash = strrchr(run, '/');
    if (slash != NULL)
        text_add_bytes(&path, run, (size_t)(slash - run) + 1);
    text_add(&path, SERVICE_LOG_NAME);
    return text_take(&path);
}

char *service_log_in(const char *folder)
{
    struct text path = {0};
    size_t length = strlen(folder);
    text_add(&path, folder);
    if (length == 0 || folder[length - 1] != '/')
        text_add(&path, length == 0 ? "./" : "/");
    text_add(&path, SERVICE_LOG_NAME);
    return text_take(&path);
}

void service_log_keep_boat(struct service_log *log, const char *boat)
{
    size_t kept = 0;
    for (size_t i = 0; i < log->count; i++) {
        struct service_event *event = &log->events[i];
        if (boat[0] == '\0' || event->boat[0] == '\0' ||
            service_same_words(event->boat, boat, strlen(boat)))
            log->events[kept++] = *event;
        else
            free_event(event);
    }
    log->count = kept;
}

bool service_event_touches(const struct service_event *event, int engine, const char *label)
{
    if (event->label[0] != '\0')
        return service_same_words(event->label, label, strlen(label));
    return event->engine < 0 || event->engine == engine;
}

#define DAY INT64_C(86400)

/* The number of the day since 1970, rounded down before it too. */
static int64_t day_of(int64_t unix_s)
{
    return unix_s / DAY - (unix_s % DAY < 0);
}

bool service_event_precedes(const struct service_event *event, int64_t run_start,
                            const char *purpose)
{
    if (!event->day_only)
        return event->date <= run_start;
    int64_t work = day_of(event->date), run = day_of(run_start);
    return work < run || (work == run && strcmp(purpose, "before service") != 0);
}
