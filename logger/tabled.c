/* tabled.c - see tabled.h. */
#include "tabled.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void remark(const struct remarks *remarks, enum say_level level, size_t line, const char *format,
            ...)
{
    char words[700], text[1000];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(words, sizeof words, format, arguments);
    va_end(arguments);
    if (line > 0)
        snprintf(text, sizeof text, "%.200s:%zu: %s", remarks->name, line, words);
    else
        snprintf(text, sizeof text, "%.200s: %s", remarks->name, words);
    remarks->tell(remarks->self, level, text);
}

static bool make_room(struct tabled *table)
{
    size_t room = table->row_room ? 2 * table->row_room : 256;
    if (table->row_count < table->row_room)
        return true;
    struct tabled_row *rows = realloc(table->rows, room * sizeof *rows);
    if (rows)
        table->rows = rows;
    double *values = realloc(table->values, (room * table->column_count + 1) * sizeof *values);
    if (values)
        table->values = values;
    if (!rows || !values)
        return false;
    table->row_room = room;
    return true;
}

double *tabled_add_row(struct tabled *table, int64_t unix_us, size_t line)
{
    if (!make_room(table))
        return NULL;
    double *values = table->values + table->row_count * table->column_count;
    table->rows[table->row_count++] = (struct tabled_row){unix_us, line, NULL};
    for (size_t i = 0; i < table->column_count; i++)
        values[i] = NAN;
    return values;
}

enum status tabled_add_remark(struct tabled *table, const char *key, const char *text)
{
    struct tabled_remark *grown =
        realloc(table->remarks, (table->remark_count + 1) * sizeof *grown);
    if (!grown)
        return STATUS_MEMORY;
    table->remarks = grown;
    struct tabled_remark *one = &grown[table->remark_count++];
    snprintf(one->key, sizeof one->key, "%s", key);
    snprintf(one->text, sizeof one->text, "%s", text);
    return STATUS_OK;
}

enum place tabled_place(enum channel_id channel)
{
    if (channel <= CHANNEL_TRANSMISSION_STATUS)
        return PLACE_ENGINE;
    if (channel >= CHANNEL_BATTERY_VOLTAGE && channel <= CHANNEL_BATTERY_TEMPERATURE)
        return PLACE_BATTERY;
    return channel >= CHANNEL_FLUID_LEVEL && channel <= CHANNEL_TANK_CAPACITY ? PLACE_TANK
                                                                              : PLACE_VESSEL;
}

/* --- order of time */

struct place_in_time {
    int64_t unix_us;
    size_t row;
};

static int by_time(const void *left, const void *right)
{
    const struct place_in_time *a = left, *b = right;
    if (a->unix_us != b->unix_us)
        return a->unix_us < b->unix_us ? -1 : 1;
    return (a->row > b->row) - (a->row < b->row);
}

enum status tabled_sort(struct tabled *table)
{
    size_t n = table->row_count;
    struct place_in_time *places = malloc((n + 1) * sizeof *places);
    struct tabled_row *rows = malloc((n + 1) * sizeof *rows);
    double *values = malloc((n * table->column_count + 1) * sizeof *values);
    enum status status = places && rows && values ? STATUS_OK : STATUS_MEMORY;
    for (size_t i = 0; i < n && status == STATUS_OK; i++)
        places[i] = (struct place_in_time){table->rows[i].unix_us, i};
    if (status == STATUS_OK) {
        qsort(places, n, sizeof *places, by_time);
        for (size_t i = 0; i < n; i++) {
            rows[i] = table->rows[places[i].row];
            memcpy(values + i * table->column_count,
                   table->values + places[i].row * table->column_count,
                   table->column_count * sizeof *values);
        }
        if (n > 0) {
            memcpy(table->rows, rows, n * sizeof *rows);
            memcpy(table->values, values, n * table->column_count * sizeof *values);
        }
    }
    free(places);
    free(rows);
    free(values);
    return status;
}

void tabled_free(struct tabled *table)
{
    for (size_t i = 0; i < table->row_count; i++)
        free(table->rows[i].note);
    facts_free(&table->facts);
    free(table->rows);
    free(table->values);
    free(table->remarks);
    memset(table, 0, sizeof *table);
}

enum status tabled_too_many(const struct remarks *remarks, size_t line, size_t cells,
                            size_t columns, char separator, struct complaint *complaint)
{
    static const char decimal[] =
        "If a comma in it is a decimal one, as in 16,5: put each such number in quotes (\"16,5\"), "
        "write 16.5, or save the file with semicolons between the cells. ";
    const char *name = separator == ',' ? "comma" : separator == ';' ? "semicolon" : "tab";
    return complain(complaint, STATUS_BAD_DATA,
                    "%.200s:%zu: this row has %zu cells and there are %zu columns, so "
                    "nobody can tell which number belongs where, nor in rows that happen to fit; "
                    "nothing of the file was taken. %sA text with a %s in it goes in quotes too",
                    remarks->name, line, cells, columns, separator == ',' ? decimal : "", name);
}

static void leave_out(struct tabled *table, struct tabled_column *column, double number,
                      size_t line)
{
    struct left_out *out = &column->left_out;
    tally_add(&table->tally, REASON_OUT_OF_RANGE, 0);
    out->line = out->count == 0 ? line : out->line;
    out->low = out->count == 0 ? number : fmin(out->low, number);
    out->high = out->count == 0 ? number : fmax(out->high, number);
    out->count++;
}

void tabled_put(struct tabled *table, double *row, size_t column, double number, size_t line)
{
    struct tabled_column *to = &table->columns[column];
    const struct channel *channel = channel_get(to->channel);
    double value = to->unit ? number * to->unit->factor + to->unit->offset : number;
    if (!(value >= channel->low && value <= channel->high)) {
        leave_out(table, to, number, line);
        return;
    }
    row[column] = value;
    to->readings++;
    tally_add(&table->tally, REASON_READINGS, 0);
}
