/* import.c - see import.h. */
#include "import.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "rows.h"

#define NOWHERE SIZE_MAX
#define INTERVALS_LOOKED_AT 4096
#define INTERVAL_LONGEST 600.0 /* s; a logger that samples less often tells of no hold */
/* Spreadsheets count days from 1899-12-30: that is 25569 days before 1970-01-01 (ECMA-376, part 1,
 * 18.17.4.1, the 1900 date system from its day 61 on). */
#define SPREADSHEET_DAYS 25569.0
#define DAY_S 86400.0

/* The first number that was read with one of the two decimal marks. */
struct marked {
    size_t line; /* 0: none */
    char text[32];
};

struct importing {
    const struct import_map *map;
    const struct remarks *remarks;
    struct tabled *out;
    struct complaint *complaint;
    bool comma;
    struct marked with_point, with_comma;
    char separator;
    size_t width;      /* how many columns there are; 0: not known yet */
    size_t time, date; /* cells */
    size_t cell[IMPORT_COLUMNS_MAX];
    /* the last day that was written, which counts on */
    bool has_date, lacks_date; /* the row has a time, and no day is known */
    struct written_date day;
    int64_t days; /* since that day, at midnights */
    double last;  /* s of the day in the row above */
};

/* --- columns */

static size_t find_cell(const struct import_place *place, const struct cells *names)
{
    if (place->name[0] == '\0')
        return place->number - 1;
    for (size_t i = 0; i < names->count; i++)
        if (strcmp(names->cell[i], place->name) == 0)
            return i;
    for (size_t i = 0; i < names->count; i++)
        if (strcasecmp(names->cell[i], place->name) == 0)
            return i;
    return NOWHERE;
}

static enum status no_column(const struct importing *it, const struct import_place *place,
                             const struct cells *names)
{
    char there[400] = "";
    for (size_t i = 0; i < names->count && strlen(there) + 60 < sizeof there; i++) {
        size_t length = strlen(there);
        snprintf(there + length, sizeof there - length, "%s%.50s", i > 0 ? "; " : "",
                 names->cell[i]);
    }
    return complain(it->complaint, STATUS_BAD_DATA,
                    "%.200s:%zu: there is no column \"%.60s\"; there are: %s. Lines before the "
                    "names of the columns are passed over with skip = N",
                    it->remarks->name, names->line, place->name, there);
}

/* Columns that the map names by number are there, with a name or without. */
static void find_width(struct importing *it, const struct cells *names)
{
    it->width = rows_filled(names);
    it->width = it->time + 1 > it->width ? it->time + 1 : it->width;
    if (it->date != NOWHERE && it->date + 1 > it->width)
        it->width = it->date + 1;
    for (size_t i = 0; i < it->map->count; i++)
        it->width = it->cell[i] + 1 > it->width ? it->cell[i] + 1 : it->width;
}

static enum status find_cells(struct importing *it, const struct cells *names)
{
    const struct import_map *map = it->map;
    it->time = find_cell(&map->time, names);
    if (it->time == NOWHERE)
        return no_column(it, &map->time, names);
    it->date = map->has_date ? find_cell(&map->date, names) : NOWHERE;
    if (map->has_date && it->date == NOWHERE)
        return no_column(it, &map->date, names);
    for (size_t i = 0; i < map->count; i++) {
        it->cell[i] = find_cell(&map->columns[i].place, names);
        if (it->cell[i] == NOWHERE)
            return no_column(it, &map->columns[i].place, names);
    }
    if (map->has_names)
        find_width(it, names);
    return STATUS_OK;
}

static void make_column(const struct import_column *from, struct tabled_column *to)
{
    struct origin *origin = &to->origin;
    memset(to, 0, sizeof *to);
    to->channel = from->channel;
    to->unit = from->unit;
    snprintf(to->name, sizeof to->name, "%s", channel_get(from->channel)->key);
    origin->protocol = PROTOCOL_SHEET;
    origin->place = (uint8_t)tabled_place(from->channel);
    origin->instance = origin->place == PLACE_VESSEL ? 0 : (uint8_t)from->engine;
    snprintf(origin->message, sizeof origin->message, "CSV");
    if (from->place.name[0])
        snprintf(origin->label, sizeof origin->label, "%.40s", from->place.name);
    else
        snprintf(origin->label, sizeof origin->label, "column %zu", from->place.number);
    for (char *c = origin->label; *c; c++)
        *c = (unsigned char)*c < ' ' || (unsigned char)*c > '~' ? '_' : *c;
    to->accuracy.instrument_u = from->right / sqrt(3.0); /* rectangular: JCGM 100, 4.3.7 */
}

static bool is_taken(const struct tabled *table, size_t count, const struct tabled_column *column)
{
    for (size_t i = 0; i < count; i++)
        if (table->columns[i].channel == column->channel &&
            memcmp(&table->columns[i].origin, &column->origin, sizeof column->origin) == 0)
            return true;
    return false;
}

/* Names that are long, or of other letters, may become equal in the run: then a number behind tells
 * two columns of one quantity apart. */
static void tell_apart(const struct importing *it, size_t i)
{
    struct tabled_column *column = &it->out->columns[i];
    char *label = column->origin.label, name[sizeof column->origin.label];
    if (!is_taken(it->out, i, column))
        return;
    snprintf(name, sizeof name, "%s", label);
    for (int number = 2; is_taken(it->out, i, column); number++) {
        memset(label, 0, sizeof column->origin.label); /* equal origins are equal bytes */
        snprintf(label, sizeof column->origin.label, "%.31s %d", name, number);
    }
    remark(it->remarks, SAY_NOTE, 0,
           "column \"%.120s\" for %s is called \"%s\" in the run: \"%s\" is another one of it",
           it->map->columns[i].place.name[0] ? it->map->columns[i].place.name : name, column->name,
           label, name);
}

static void make_columns(struct importing *it)
{
    for (size_t i = 0; i < it->map->count; i++) {
        make_column(&it->map->columns[i], &it->out->columns[i]);
        tell_apart(it, i);
    }
    it->out->column_count = it->map->count;
}

/* --- numbers */

static void note_mark(struct marked *first, size_t line, const char *text)
{
    if (first->line > 0)
        return;
    first->line = line;
    snprintf(first->text, sizeof first->text, "%.30s", text);
}

/* Where the map says that the comma is the decimal mark a point is none: it may part thousands. */
static bool read_number(struct importing *it, size_t line, const char *text, double *out)
{
    bool point = strchr(text, '.') != NULL;
    if ((point && it->map->decimal == ',') || !read_written_number(text, it->comma, out))
        return false;
    if (point || strchr(text, ','))
        note_mark(point ? &it->with_point : &it->with_comma, line, text);
    return true;
}

/* The one or the other may part thousands; both were taken as decimal marks. */
static void tell_both_marks(const struct importing *it)
{
    if (it->with_point.line == 0 || it->with_comma.line == 0)
        return;
    remark(it->remarks, SAY_WARNING, 0,
           "some numbers have a point (line %zu: %s) and some a comma (line %zu: %s), and both "
           "were taken as decimal marks. If one of them parts thousands that is wrong: write "
           "decimal = comma or decimal = point into the map, and read it again",
           it->with_point.line, it->with_point.text, it->with_comma.line, it->with_comma.text);
}

/* --- time */

/* 11/25/2026 or 25/11/2026, as the map says. */
static bool take_slashed(const char **text, enum import_dates dates, struct written_date *out)
{
    char plain[16];
    int a, b, year, used = 0;
    if (dates == IMPORT_DATES_PLAIN || sscanf(*text, "%2d/%2d/%4d%n", &a, &b, &year, &used) != 3)
        return false;
    bool month_first = dates == IMPORT_DATES_MONTH_FIRST;
    snprintf(plain, sizeof plain, "%04d-%02d-%02d", year & 0x1FFF, (month_first ? a : b) & 0x3F,
             (month_first ? b : a) & 0x3F);
    const char *at = plain;
    if (!take_written_date(&at, out))
        return false;
    *text += used;
    *text += strspn(*text, " ,");
    return true;
}

static bool take_date(const struct importing *it, const char **text, struct written_date *out)
{
    return take_written_date(text, out) || take_slashed(text, it->map->dates, out);
}

static bool is_missing(const struct importing *it, const char *cell)
{
    static const char *const words[] = {"", "-", "--", "---", "nan", "na", "n/a", "null", "none"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcasecmp(words[i], cell) == 0)
            return true;
    return it->map->missing[0] && strcasecmp(it->map->missing, cell) == 0;
}

/* A time and, perhaps, its zone; nothing behind. */
static bool take_time(const char *text, double *seconds, double *zone)
{
    if (!take_written_time(&text, seconds))
        return false;
    return *text == '\0' || (take_written_zone(&text, zone) && *text == '\0');
}

/* Times without a day go on past midnight: the nearest one to the row above is meant, but none
 * before the day that was written. */
static void pass_midnight(struct importing *it, size_t line, const char *time, double seconds)
{
    if (seconds < it->last - DAY_S / 2) {
        it->days++;
        remark(it->remarks, SAY_NOTE, line,
               "%.40s is taken as past midnight, of the day after the row above", time);
    } else if (it->days > 0 && seconds > it->last + DAY_S / 2) {
        it->days--;
    }
}

/* The day of a row stands in it, or else in a row above it. One that cannot be read ends the one
 * before it. *time is moved behind a day that stands there. */
static bool take_day(struct importing *it, const char **time, const char *date)
{
    struct written_date day;
    const char *cell = date ? date : *time;
    if (is_missing(it, cell))
        return false;
    bool read = take_date(it, &cell, &day) && (!date || *cell == '\0');
    if (read) {
        it->day = day;
        it->days = 0;
        it->has_date = true;
        if (!date)
            *time = cell;
    } else if (date) {
        it->has_date = false;
    }
    return read;
}

static bool text_time(struct importing *it, size_t line, const char *time, const char *date,
                      int64_t *unix_us)
{
    double seconds, zone = it->map->zone;
    bool own_day = take_day(it, &time, date);
    if (!take_time(time, &seconds, &zone)) {
        it->has_date &= own_day || date != NULL || is_missing(it, time);
        return false;
    }
    if (!it->has_date) {
        it->lacks_date = !date || is_missing(it, date);
        return false;
    }
    if (!own_day)
        pass_midnight(it, line, time, seconds);
    it->last = seconds;
    *unix_us = written_unix_us(&it->day, seconds - zone + (double)it->days * DAY_S);
    return true;
}

static bool number_time(struct importing *it, size_t line, const char *time, int64_t *unix_us)
{
    const struct import_map *map = it->map;
    double number;
    if (!read_number(it, line, time, &number) || !(fabs(number) < 1e12))
        return false;
    double seconds = number;
    if (map->time_kind == IMPORT_TIME_SPREADSHEET)
        seconds = (number - SPREADSHEET_DAYS) * 86400 - map->zone;
    else if (map->time_kind == IMPORT_TIME_SINCE)
        seconds = number * map->time_unit->factor - map->zone + map->start_seconds +
                  (double)(written_unix_us(&map->start_date, 0) / 1000000);
    if (!(seconds >= 0 && seconds < 4.5e9))
        return false;
    *unix_us = llround(seconds * 1e6);
    return true;
}

static const char *cell_at(const struct cells *row, size_t cell)
{
    return cell < row->count ? row->cell[cell] : "";
}

static bool row_time(struct importing *it, const struct cells *row, int64_t *unix_us)
{
    const char *time = cell_at(row, it->time);
    it->lacks_date = false;
    if (it->map->time_kind != IMPORT_TIME_TEXT)
        return number_time(it, row->line, time, unix_us);
    return text_time(it, row->line, time, it->date == NOWHERE ? NULL : cell_at(row, it->date),
                     unix_us);
}

/* --- rows */

static void take_entry(struct importing *it, const struct cells *row, size_t i, double *values)
{
    const char *cell = cell_at(row, it->cell[i]);
    const struct import_column *column = &it->map->columns[i];
    double number;
    if (is_missing(it, cell)) {
        tally_add(&it->out->tally, REASON_NOT_AVAILABLE, 0);
        return;
    }
    if (!read_number(it, row->line, cell, &number)) {
        bool point = it->map->decimal == ',' && read_written_number(cell, true, &number);
        tally_add(&it->out->tally, REASON_NOT_A_NUMBER, 0);
        remark(it->remarks, SAY_WARNING, row->line, "\"%.40s\" for %s is no number%s", cell,
               channel_get(column->channel)->key,
               point ? " with a decimal comma, as the map wants it, and was left out"
                     : " and was left out; a word that means no value can be named with missing = "
                       "WORD");
        return;
    }
    tabled_put(it->out, values, i, number, row->line);
}

/* Where there are no names the first row says how many columns there are. */
static enum status check_width(struct importing *it, const struct cells *row)
{
    size_t filled = rows_filled(row);
    if (it->width == 0)
        it->width = row->count + row->beyond;
    if (it->separator != ',' || filled <= it->width)
        return STATUS_OK;
    return tabled_too_many(it->remarks, row->line, filled, it->width, it->separator, it->complaint);
}

static void refuse_row(const struct importing *it, const struct cells *row)
{
    tally_add(&it->out->tally, REASON_BAD_ROW, 0);
    if (it->lacks_date)
        remark(it->remarks, SAY_WARNING, row->line,
               "\"%.40s\" has no date, and none that can be read stands above it: the row was not "
               "taken. Write the day as 2026-11-25 into this row; rows below it that have none are "
               "of the same day",
               cell_at(row, it->time));
    else
        remark(it->remarks, SAY_WARNING, row->line,
               "\"%.40s%s%.20s\" is no time that can be read in one way only: the row was not "
               "taken. Read are 2026-11-25T10:15:00, 2026-11-25 10:15:00, 25.11.2026 10:15, the "
               "year in full; dates "
               "with slashes if dates = month/day/year or day/month/year says how; numbers if "
               "their unit is named, as time[s]",
               it->date == NOWHERE ? "" : cell_at(row, it->date), it->date == NOWHERE ? "" : " ",
               cell_at(row, it->time));
}

static enum status take_row(struct importing *it, const struct cells *row)
{
    int64_t unix_us;
    if (rows_is_blank(row))
        return STATUS_OK;
    if (!row_time(it, row, &unix_us)) {
        refuse_row(it, row);
        return STATUS_OK;
    }
    enum status status = check_width(it, row);
    if (status != STATUS_OK)
        return status;
    double *values = tabled_add_row(it->out, unix_us, row->line);
    if (!values)
        return STATUS_MEMORY;
    for (size_t i = 0; i < it->map->count; i++)
        take_entry(it, row, i, values);
    tally_add(&it->out->tally, REASON_ROWS, 0);
    return STATUS_OK;
}

static enum status read_rows(struct importing *it, struct rows *rows, struct cells *row)
{
    static const struct cells nothing = {0};
    enum status status = STATUS_OK;
    bool named = !it->map->has_names;
    if (named)
        status = find_cells(it, &nothing);
    make_columns(it);
    while (status == STATUS_OK && rows_next(rows, row)) {
        if (row->line <= it->map->skip)
            continue;
        if (!named && !rows_is_blank(row)) {
            status = find_cells(it, row);
            named = true;
        } else if (named) {
            status = take_row(it, row);
        }
    }
    if (status == STATUS_OK && it->out->row_count == 0)
        return complain(it->complaint, STATUS_BAD_DATA,
                        "%.200s: no row could be taken; look at skip, and at the time",
                        it->remarks->name);
    return status;
}

/* --- how often it samples */

static int by_size(const void *left, const void *right)
{
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

/* Median time between the readings of a column, s; 0 with fewer than three. */
static double usual_interval(const struct tabled *table, size_t column, double *scratch)
{
    int64_t last = INT64_MIN;
    size_t n = 0;
    for (size_t i = 0; i < table->row_count && n < INTERVALS_LOOKED_AT; i++) {
        if (isnan(table->values[i * table->column_count + column]))
            continue;
        if (last != INT64_MIN)
            scratch[n++] = (double)(table->rows[i].unix_us - last) / 1e6;
        last = table->rows[i].unix_us;
    }
    if (n < 2)
        return 0;
    qsort(scratch, n, sizeof *scratch, by_size);
    return fmin(scratch[n / 2], INTERVAL_LONGEST);
}

static enum status find_intervals(struct tabled *table)
{
    double *scratch = malloc(INTERVALS_LOOKED_AT * sizeof *scratch);
    if (!scratch)
        return STATUS_MEMORY;
    for (size_t i = 0; i < table->column_count; i++)
        table->columns[i].accuracy.interval = usual_interval(table, i, scratch);
    free(scratch);
    return STATUS_OK;
}

/* Numbers whose unit nobody named, where another one may be meant: knots, bar, gallons. */
static void tell_assumed(const struct importing *it)
{
    char units[100];
    for (size_t i = 0; i < it->map->count; i++) {
        const struct import_column *column = &it->map->columns[i];
        const char *key = channel_get(column->channel)->key;
        if (!column->unit_assumed || it->out->columns[i].readings == 0)
            continue;
        written_unit_list(column->unit->unit, units, sizeof units);
        remark(it->remarks, SAY_NOTE, 0,
               "the map names no unit for %s (column \"%s\"); its numbers are taken as %s. Write "
               "the unit behind it, as %s[%s]; known are %s",
               key, it->out->columns[i].origin.label, column->unit->word, key, column->unit->word,
               units);
    }
}

enum status import_read(const char *text, size_t length, const struct import_map *map,
                        const struct remarks *remarks, struct tabled *out,
                        struct complaint *complaint)
{
    struct rows rows;
    struct cells *row = malloc(sizeof *row);
    struct importing it = {.map = map, .remarks = remarks, .out = out, .complaint = complaint};
    enum status status = rows_open(&rows, text, length);
    if (!row)
        status = STATUS_MEMORY;
    if (status == STATUS_OK) {
        rows.separator = map->separator ? map->separator : rows.separator;
        it.separator = rows.separator;
        it.comma = map->decimal ? map->decimal == ',' : rows.separator != ',';
        status = read_rows(&it, &rows, row);
    }
    if (status == STATUS_OK)
        status = tabled_sort(out);
    if (status == STATUS_OK)
        status = find_intervals(out);
    if (status == STATUS_OK) {
        out->start_unix_us = out->rows[0].unix_us;
        tabled_tell_units(out, "in the map of the columns", remarks);
        tell_assumed(&it);
        tell_both_marks(&it);
    }
    rows_close(&rows);
    free(row);
    return status == STATUS_MEMORY ? complain(complaint, status, "no memory left") : status;
}
