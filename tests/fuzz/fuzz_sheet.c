/* fuzz_sheet.c - any text as a sheet filled in by hand. Beyond crashes: rows are in the order of
 * time, what is kept is believable, counts agree with what was told, and every refusal has
 * words. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "../../logger/sheet.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void tell(void *self, enum say_level level, const char *text)
{
    size_t *told = self;
    demand(text[0] != '\0' && strlen(text) < 1000 && level <= SAY_NOTE);
    (*told)++;
}

static void demand_sound(const struct tabled *table)
{
    size_t readings = 0;
    for (size_t i = 0; i < table->row_count; i++) {
        const double *row = table->values + i * table->column_count;
        demand(table->rows[i].unix_us >= table->start_unix_us);
        demand(i == 0 || table->rows[i].unix_us >= table->rows[i - 1].unix_us);
        for (size_t c = 0; c < table->column_count; c++) {
            const struct channel *channel = channel_get(table->columns[c].channel);
            demand(isnan(row[c]) || (row[c] >= channel->low && row[c] <= channel->high));
            readings += !isnan(row[c]);
        }
    }
    for (size_t c = 0; c < table->column_count; c++) {
        const struct accuracy *a = &table->columns[c].accuracy;
        demand(a->by_hand && a->step >= 0 && a->reading_u >= 0);
        demand(isfinite(a->step + a->reading_u + a->run_u + a->instrument_u));
        readings -= table->columns[c].readings;
    }
    demand(readings == 0);
    demand(table->tally.line[REASON_ROWS].count == table->row_count);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tabled table = {0};
    struct complaint complaint = {""};
    size_t told = 0;
    const struct remarks remarks = {tell, &told, "fuzz.csv"};
    char *text = malloc(size + 1);
    demand(text != NULL);
    memcpy(text, data, size);
    text[size] = '\0';
    enum status status = sheet_read(text, size, &remarks, &table, &complaint);
    demand((status == STATUS_OK) == (complaint.text[0] == '\0'));
    if (status == STATUS_OK)
        demand_sound(&table);
    const struct tally *tally = &table.tally;
    const size_t ranges = status == STATUS_OK && tally->line[REASON_OUT_OF_RANGE].count > 0;
    demand(told >=
           tally->line[REASON_BAD_ROW].count + tally->line[REASON_NOT_A_NUMBER].count + ranges);
    tabled_free(&table);
    free(text);
    return 0;
}
