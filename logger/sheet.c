/* sheet.c - see sheet.h. The rows, and the whole; the lines above them: sheet_head.c,
 * sheet_columns.c. */
#include "sheet.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "sheet_inside.h"

#define NEXT_ROW_S (3 * 3600.0) /* a row is hardly ever read later than that after another */

#define SAME_RPM 25.0    /* speeds within this, or ... */
#define SAME_RATIO 0.015 /* ... this share, are one speed: as holds are found */

/* --- rows */

static const char *cell_of(const struct reading *it, const struct cells *row, enum cell_kind kind)
{
    for (size_t i = 0; i < it->cell_count && i < row->count; i++)
        if (it->cells[i].kind == kind)
            return row->cell[i];
    return "";
}

static bool is_nothing(const char *cell)
{
    return cell[0] == '\0' || strcmp(cell, "-") == 0 || strcmp(cell, "--") == 0 ||
           strcasecmp(cell, "n/a") == 0;
}

static bool refuse_row(const struct reading *it, const struct cells *row, const char *cell,
                       const char *kind, const char *advice)
{
    bool empty = is_nothing(cell);
    tally_add(&it->out->tally, REASON_BAD_ROW, 0);
    remark(it->remarks, SAY_WARNING, row->line, "%s%.40s%s%s: the row was not taken. %s",
           empty ? "no " : "\"", empty ? "" : cell, empty ? "" : "\" is no ", kind, advice);
    return false;
}

static bool refuse_date(const struct reading *it, const struct cells *row, const char *date)
{
    char advice[200];
    snprintf(advice, sizeof advice,
             "Write the day into this row as 2026-11-25%s; rows below it that have none are of the "
             "same day",
             is_nothing(date) ? "" : sheet_date_doubt(date));
    return refuse_row(it, row, date, "date", advice);
}

/* The day of a row stands in it, or else in a row above it, or in the head. One that cannot be read
 * ends the one before it. */
static void take_date(struct reading *it, const struct cells *row)
{
    const char *cell = cell_of(it, row, CELL_DATE);
    if (is_nothing(cell))
        return;
    it->has_date = sheet_read_date(cell, &it->date);
    it->day = 0;
    if (it->has_date && !it->has_first_date) {
        it->has_first_date = true;
        it->first_date = it->date;
    }
}

/* Times without a date go on past midnight: the nearest one to the row above is meant, but none
 * before the day that was written. */
static void pass_midnight(struct reading *it, const struct cells *row, double seconds)
{
    if (seconds < it->last_time - DAY_S / 2) {
        it->day++;
        remark(it->remarks, SAY_NOTE, row->line,
               "%s is taken as past midnight, of the day after the row above. If it is of another "
               "day, write that into a column \"date\"",
               cell_of(it, row, CELL_TIME));
    } else if (it->day > 0 && seconds > it->last_time + DAY_S / 2) {
        it->day--;
    }
}

/* A row that is `back` seconds before the one above. 12:53 and then 1:05 is a clock of twelve
 * hours: half a day more, and it would be the next row. */
static void tell_earlier(const struct reading *it, const struct cells *row, double seconds,
                         double back)
{
    const char *time = cell_of(it, row, CELL_TIME);
    int minutes = (int)(seconds / 60);
    bool half_day = strpbrk(time, "aApP") != NULL; /* AM, PM */
    if (half_day || seconds >= DAY_S / 2 || back > DAY_S / 2 || back < DAY_S / 2 - NEXT_ROW_S)
        remark(it->remarks, SAY_NOTE, row->line,
               "%s lies before the time of the row above; rows are put into the order of time",
               time);
    else
        remark(it->remarks, SAY_WARNING, row->line,
               "%s is taken as in the morning, %.1f h before the time of the row above. If %d:%02d "
               "is meant, write %d:%02d or %d:%02d PM, here and in the rows below",
               time, back / 3600, minutes / 60 + 12, minutes % 60, minutes / 60 + 12, minutes % 60,
               minutes / 60 > 0 ? minutes / 60 : 12, minutes % 60);
}

/* The instant of a row. */
static bool row_time(struct reading *it, const struct cells *row, int64_t *unix_us)
{
    double seconds;
    const char *time = cell_of(it, row, CELL_TIME), *date = cell_of(it, row, CELL_DATE);
    const char *text = time;
    take_date(it, row);
    if (!take_written_time(&text, &seconds) || *text != '\0')
        return refuse_row(it, row, time, "time", "Write the time of day as 10:15");
    if (!it->has_date)
        return refuse_date(it, row, date);
    if (is_nothing(date))
        pass_midnight(it, row, seconds);
    *unix_us = written_unix_us(&it->date, seconds - it->zone + (double)it->day * DAY_S);
    if (*unix_us < it->last_us)
        tell_earlier(it, row, seconds, (double)(it->last_us - *unix_us) / 1e6);
    it->last_time = seconds;
    it->last_us = *unix_us;
    return true;
}

/* "1,800" and "1,800 rpm": nobody can tell whether that is 1800 or 1.8. */
static bool is_ambiguous(const struct reading *it, const char *cell)
{
    const char *mark = strpbrk(cell, ".,");
    return mark && mark > cell && (it->comma || *mark == ',') &&
           strspn(mark + 1, "0123456789") == 3;
}

/* A number, alone or with a unit of its own behind it: "160 °F" counts as that, whatever the column
 * says. */
static bool read_cell(const char *cell, struct tabled_column *column, double *number)
{
    const struct written_unit *named = column->unit;
    if (!take_written_number(&cell, true, number)) /* a comma in a cell is a decimal one */
        return false;
    if (*cell == '\0') {
        column->unit_used = true;
        return true;
    }
    const struct written_unit *own = written_unit_find(cell, channel_get(column->channel)->unit);
    if (!own)
        return false;
    *number = *number * own->factor + own->offset;
    if (named)
        *number = (*number - named->offset) / named->factor;
    return true;
}

static void take_cell(struct reading *it, const struct cells *row, size_t i, double *values)
{
    const struct cell_rule *rule = &it->cells[i];
    const char *cell = row->cell[i];
    double number;
    if (rule->kind != CELL_VALUE || is_nothing(cell))
        return;
    if (is_ambiguous(it, cell) || !read_cell(cell, &it->out->columns[rule->column], &number)) {
        tally_add(&it->out->tally, REASON_NOT_A_NUMBER, 0);
        remark(it->remarks, SAY_WARNING, row->line,
               "\"%.40s\" under %s is not a number that can be read in one way only; it was left "
               "out. Write it as 1800 or 82.5",
               cell, rule->name);
        return;
    }
    tabled_put(it->out, values, rule->column, number, row->line);
}

/* Nothing was written into it but, perhaps, a day; what was planned may stand there too. */
static bool is_empty(const struct reading *it, const struct cells *row)
{
    for (size_t i = 0; i < row->count; i++)
        if (row->cell[i][0] != '\0' && !(i < it->cell_count && (it->cells[i].kind == CELL_PLAN ||
                                                                it->cells[i].kind == CELL_DATE)))
            return false;
    return row->beyond == 0;
}

/* What stands under no name, or under one that is not known: told with its line, or once with the
 * names. */
static void count_unnamed(const struct reading *it, const struct cells *row)
{
    for (size_t i = 0; i < row->count; i++) {
        bool named = i < it->cell_count && it->cells[i].name[0] != '\0';
        if (row->cell[i][0] == '\0' || (named && it->cells[i].kind != CELL_IGNORED))
            continue;
        tally_add(&it->out->tally, REASON_NO_COLUMN, 0);
        if (!named)
            remark(it->remarks, SAY_WARNING, row->line,
                   "\"%.40s\" stands in no named column; kept in the raw lines only", row->cell[i]);
    }
    for (size_t i = 0; i < row->beyond; i++)
        tally_add(&it->out->tally, REASON_NO_COLUMN, 0);
}

/* "#3" before a time numbers a row, even if the time cannot be read. */
static bool is_number_of_row(const struct cells *row, const char *time)
{
    const char *digits = row->cell[0] + 1;
    return *digits != '\0' && digits[strspn(digits, "0123456789")] == '\0' &&
           time != row->cell[0] && !is_nothing(time);
}

/* A row that begins with # and has no time. With one it is a reading. */
static bool is_comment(struct reading *it, const struct cells *row)
{
    double seconds;
    const char *time = cell_of(it, row, CELL_TIME), *rest = time;
    if (row->cell[0][0] != '#')
        return false;
    if ((!take_written_time(&rest, &seconds) || *rest != '\0') && !is_number_of_row(row, time))
        return true;
    if (!it->told_number)
        remark(
            it->remarks, SAY_NOTE, row->line,
            "a row that begins with # (\"%.40s\") and has a time is taken as a reading; to leave "
            "one out, write the # in front of its time",
            row->cell[0]);
    it->told_number = true;
    return false;
}

static bool is_digits(const char *cell)
{
    return cell[0] != '\0' && cell[strspn(cell, "0123456789")] == '\0';
}

/* Text beside the table, under no name, is a remark of a spreadsheet; digits there are the end of a
 * number that commas cut. */
static bool has_too_many(const struct reading *it, const struct cells *row)
{
    size_t filled = rows_filled(row);
    if (filled > it->cell_count)
        return true;
    for (size_t i = it->named_count; i < filled && !it->comma; i++)
        if (is_digits(row->cell[i]))
            return true;
    return false;
}

/* Decimal commas between commas shift what stands behind them: no value of such a sheet is safe.
 * Where the notes were empty the row has no cell too many, but a number for a note. */
static enum status check_cells(const struct reading *it, const struct cells *row)
{
    const char *note = cell_of(it, row, CELL_NOTES);
    if (has_too_many(it, row))
        return tabled_too_many(it->remarks, row->line, rows_filled(row), it->named_count,
                               it->separator, it->complaint);
    if (it->comma || !is_digits(note))
        return STATUS_OK;
    return complain(
        it->complaint, STATUS_BAD_DATA,
        "%.200s:%zu: the note of this row is a number alone, \"%.20s\". If that is the "
        "end of a number with a decimal comma, as in 16,5, the cells before it are "
        "shifted; nothing of the file was taken. Put each such number in quotes "
        "(\"16,5\"), write 16.5, or save the file with semicolons between the cells. If "
        "it is a note, write a word to it",
        it->remarks->name, row->line, note);
}

static enum status take_row(struct reading *it, const struct cells *row)
{
    int64_t unix_us = 0;
    if (is_empty(it, row)) {
        take_date(it, row);
        return STATUS_OK;
    }
    if (is_comment(it, row))
        return STATUS_OK;
    if (row->unclosed)
        remark(it->remarks, SAY_WARNING, row->line,
               "a quotation mark is opened here and never closed: all that follows is one row");
    enum status status = check_cells(it, row);
    if (status != STATUS_OK)
        return status;
    if (!row_time(it, row, &unix_us))
        return STATUS_OK;
    double *values = tabled_add_row(it->out, unix_us, row->line);
    if (!values)
        return STATUS_MEMORY;
    for (size_t i = 0; i < row->count && i < it->cell_count; i++)
        take_cell(it, row, i, values);
    count_unnamed(it, row);
    const char *note = cell_of(it, row, CELL_NOTES);
    tally_add(&it->out->tally, REASON_ROWS, 0);
    if (note[0] == '\0')
        return STATUS_OK;
    it->out->rows[it->out->row_count - 1].note = strdup(note);
    return it->out->rows[it->out->row_count - 1].note ? STATUS_OK : STATUS_MEMORY;
}

/* --- how long speeds were held */

static size_t find_value(const struct tabled *table, const struct origin *origin,
                         enum channel_id channel)
{
    for (size_t i = 0; i < table->column_count; i++)
        if (table->columns[i].channel == channel &&
            memcmp(&table->columns[i].origin, origin, sizeof *origin) == 0)
            return i;
    return SIZE_MAX;
}

static bool same_speed(double a, double b, double step)
{
    return fabs(a - b) <= fmax(fmax(SAME_RPM, SAME_RATIO * fabs(a)), 0.75 * step);
}

/* A speed cannot have been held longer than another one was read ago. */
static void bound_held(const struct reading *it, size_t row, size_t speed, size_t held)
{
    struct tabled *table = it->out;
    double *values = table->values;
    size_t width = table->column_count;
    double own = values[row * width + speed], step = table->columns[speed].accuracy.step;
    for (size_t i = row; i-- > 0;) {
        double other = values[i * width + speed];
        double ago = (double)(table->rows[row].unix_us - table->rows[i].unix_us) / 1e6;
        if (ago >= values[row * width + held])
            return;
        if (isnan(other) || same_speed(own, other, step))
            continue;
        remark(it->remarks, SAY_WARNING, table->rows[row].line,
               "%.0f rpm was read %.1f minutes before, so this speed cannot have been held for "
               "%.1f; %.1f are taken",
               other, ago / 60, values[row * width + held] / 60, ago / 60);
        values[row * width + held] = ago;
        return;
    }
}

static void fill_held(const struct reading *it, size_t speed, size_t held)
{
    struct tabled *table = it->out;
    for (size_t i = 0; i < table->row_count; i++) {
        double *row = table->values + i * table->column_count;
        if (isnan(row[speed]))
            continue;
        if (isnan(row[held]) && !isnan(it->held)) {
            row[held] = it->held;
            table->columns[held].readings++;
        }
        if (!isnan(row[held]))
            bound_held(it, i, speed, held);
    }
}

/* Every column of speed gets one beside it for how long it was held, before any row is read. */
static enum status add_held_columns(struct reading *it)
{
    struct tabled *table = it->out;
    for (size_t i = 0, n = table->column_count; i < n; i++) {
        const struct tabled_column *speed = &table->columns[i];
        if (speed->channel != CHANNEL_ENGINE_SPEED ||
            find_value(table, &speed->origin, CHANNEL_SPEED_HELD) != SIZE_MAX)
            continue;
        if (table->column_count == TABLED_COLUMNS_MAX)
            return complain(it->complaint, STATUS_BAD_DATA, "%.200s: more than %d columns",
                            it->remarks->name, TABLED_COLUMNS_MAX);
        table->columns[table->column_count++] = (struct tabled_column){
            .origin = speed->origin, .channel = CHANNEL_SPEED_HELD, .accuracy = {.by_hand = true}};
    }
    return STATUS_OK;
}

static void fill_all_held(const struct reading *it)
{
    struct tabled *table = it->out;
    bool any = false, speeds = false;
    for (size_t i = 0; i < table->column_count; i++) {
        if (table->columns[i].channel != CHANNEL_ENGINE_SPEED)
            continue;
        size_t held = find_value(table, &table->columns[i].origin, CHANNEL_SPEED_HELD);
        speeds |= table->columns[i].readings > 0;
        fill_held(it, i, held);
        any |= table->columns[held].readings > 0;
    }
    if (speeds && !any)
        remark(
            it->remarks, SAY_WARNING, 0,
            "nothing says how long each speed was held before it was read, so no reading can be "
            "compared; write a line \"held, 5 min\" above the table, or a column \"held [min]\"");
}

/* --- the whole sheet */

/* What was assumed of instruments in use. */
static void tell_assumed(const struct reading *it)
{
    for (size_t id = 0; id < INSTRUMENTS; id++) {
        bool used = false;
        for (size_t i = 0; i < it->out->column_count; i++)
            used |= it->out->columns[i].readings > 0 &&
                    strcmp(it->out->columns[i].origin.label, sheet_instruments[id].label) == 0;
        if (used && isnan(it->said[id].step) && isnan(it->said[id].right))
            remark(it->remarks, SAY_NOTE, 0,
                   "the sheet does not say how well the %s is read; it is taken to be read to %s",
                   sheet_instruments[id].key, sheet_instruments[id].step_words);
    }
}

/* Another column of the coolant of the same engine that has readings; NULL if there is none. */
static const struct tabled_column *other_coolant(const struct tabled *table, size_t column)
{
    const struct tabled_column *own = &table->columns[column];
    for (size_t i = 0; i < table->column_count; i++) {
        const struct tabled_column *other = &table->columns[i];
        if (i != column && other->channel == CHANNEL_COOLANT_TEMPERATURE && other->readings > 0 &&
            other->origin.instance == own->origin.instance)
            return other;
    }
    return NULL;
}

/* Both are kept; which one is used is settled when runs are compared. */
static void tell_two_instruments(const struct reading *it, size_t column)
{
    const struct tabled_column *own = &it->out->columns[column];
    const struct tabled_column *other = other_coolant(it->out, column);
    if (other < own || own->origin.label[0] == '\0' || other->origin.label[0] == '\0')
        return; /* told, or cannot be asked for by name */
    remark(it->remarks, SAY_NOTE, 0,
           "the coolant is in two columns, \"%s\" and \"%s\". Both are kept; a comparison uses one "
           "of them and says which (of readings as many, those in finer steps). searun-analyze "
           "... --source coolant_temperature=%s, or =%s, chooses",
           own->name, other->name, own->origin.label, other->origin.label);
}

/* The instrument stands for the coolant sender where the sheet names none: a gauge before and an
 * instrument network after are two senders. Of two instruments nobody knows yet which is used. */
static enum status name_senders(const struct reading *it)
{
    char words[100];
    for (size_t i = 0; i < it->out->column_count; i++) {
        const struct tabled_column *column = &it->out->columns[i];
        int engine = column->origin.instance;
        if (column->channel != CHANNEL_COOLANT_TEMPERATURE || column->readings == 0)
            continue;
        if (other_coolant(it->out, i) != NULL) {
            tell_two_instruments(it, i);
            continue;
        }
        if (facts_get(&it->out->facts, FACT_ENGINE, engine, "coolant_sender")[0] != '\0')
            continue;
        snprintf(words, sizeof words, "read by hand: %s", column->accuracy.instrument);
        struct complaint none;
        struct facts *facts = &it->out->facts;
        enum status status = facts_set(facts, FACT_ENGINE, engine, "coolant_sender", words, &none);
        if (status != STATUS_OK && status != STATUS_MEMORY) /* a name that is no text */
            status = facts_set(facts, FACT_ENGINE, engine, "coolant_sender", "read by hand", &none);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

/* Numbers whose unit nobody named, where another one may be meant: bar or psi, gallons. */
static void tell_assumed_units(const struct reading *it)
{
    char units[100];
    for (size_t i = 0; i < it->out->column_count; i++) {
        const struct tabled_column *column = &it->out->columns[i];
        if (!column->unit_assumed || !column->unit_used)
            continue;
        written_unit_list(column->unit->unit, units, sizeof units);
        remark(
            it->remarks, SAY_NOTE, 0,
            "the column \"%s\" names no unit; its numbers are taken as %s. Write the unit behind "
            "the name, as \"%s [%s]\"; known are %s",
            column->name, column->unit->word, column->name, column->unit->word, units);
    }
}

static enum status check_head(struct reading *it, size_t line)
{
    bool dated = it->has_date;
    it->has_first_date = it->has_date;
    it->first_date = it->date;
    for (size_t i = 0; i < it->cell_count; i++)
        dated |= it->cells[i].kind == CELL_DATE;
    if (!dated)
        return complain(it->complaint, STATUS_BAD_DATA,
                        "%.200s:%zu: no date stands above the table that can be read; write a "
                        "line \"date, 2026-11-25\" there",
                        it->remarks->name, line);
    if (!it->has_zone)
        remark(it->remarks, SAY_NOTE, 0,
               "the sheet does not say how its clock was set; times are taken as UTC. A line "
               "\"time zone, +02:00\" says otherwise");
    return STATUS_OK;
}

static enum status read_all(struct reading *it, struct rows *csv, struct cells *row)
{
    enum status status = STATUS_OK;
    bool in_table = false;
    while (status == STATUS_OK && rows_next(csv, row)) {
        if (in_table) {
            status = take_row(it, row);
        } else if (sheet_is_column_line(row)) {
            in_table = true;
            status = sheet_column_line(it, row);
            if (status == STATUS_OK)
                status = check_head(it, row->line);
            if (status == STATUS_OK)
                status = add_held_columns(it);
        } else {
            status = sheet_head_line(it, row);
        }
    }
    if (status != STATUS_OK)
        return status;
    if (!in_table)
        return complain(it->complaint, STATUS_BAD_DATA,
                        "%.200s: no line names the columns; one is wanted that has \"time\" and "
                        "\"rpm\" in it, as in the sheet of searun-logger --blank-sheet",
                        it->remarks->name);
    if (it->out->row_count == 0)
        return complain(it->complaint, STATUS_BAD_DATA,
                        "%.200s: there is no row with a time and readings below the column names",
                        it->remarks->name);
    return STATUS_OK;
}

/* Instant 0: when the engine was started, or else when the first speed was set. */
static void find_start(const struct reading *it)
{
    struct tabled *table = it->out;
    int64_t start = table->rows[0].unix_us;
    for (size_t i = 0; i < table->row_count; i++)
        for (size_t c = 0; c < table->column_count; c++) {
            double held = table->values[i * table->column_count + c];
            if (table->columns[c].channel != CHANNEL_SPEED_HELD || isnan(held))
                continue;
            int64_t since = table->rows[i].unix_us - (int64_t)(held * 1e6);
            start = since < start ? since : start;
        }
    if (it->has_first_date && !isnan(it->began)) {
        int64_t began = written_unix_us(&it->first_date, it->began - it->zone);
        start = began < start && start - began < (int64_t)(DAY_S * 1e6) ? began : start;
    }
    table->start_unix_us = start;
}

enum status sheet_read(const char *text, size_t length, const struct remarks *remarks,
                       struct tabled *out, struct complaint *complaint)
{
    struct rows csv;
    struct cells *row = malloc(sizeof *row);
    struct reading *it = calloc(1, sizeof *it);
    enum status status = rows_open(&csv, text, length);
    if (!row || !it)
        status = STATUS_MEMORY;
    if (status == STATUS_OK) {
        *it = (struct reading){.remarks = remarks, .out = out, .complaint = complaint};
        it->separator = csv.separator;
        it->comma = csv.separator != ',';
        sheet_head_begin(it);
        status = read_all(it, &csv, row);
    }
    if (status == STATUS_OK)
        status = tabled_sort(out);
    if (status == STATUS_OK) {
        tabled_tell_units(out, "in the line of column names", remarks);
        fill_all_held(it);
        status = name_senders(it);
        tell_assumed(it);
        tell_assumed_units(it);
        find_start(it);
    }
    rows_close(&csv);
    free(row);
    free(it);
    return status == STATUS_MEMORY ? complain(complaint, status, "no memory left") : status;
}
