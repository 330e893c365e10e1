/* fuzz_import.c - any text as a map of columns (up to the first NUL) and as the file of a logger
 * behind it. Beyond crashes: rows are in the order of time, what is kept is believable, refusals
 * have words. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "../../logger/import.h"

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
    demand(table->row_count > 0 && table->rows[0].unix_us == table->start_unix_us);
    for (size_t i = 0; i < table->row_count; i++) {
        const double *row = table->values + i * table->column_count;
        demand(i == 0 || table->rows[i].unix_us >= table->rows[i - 1].unix_us);
        for (size_t c = 0; c < table->column_count; c++) {
            const struct channel *channel = channel_get(table->columns[c].channel);
            demand(isnan(row[c]) || (row[c] >= channel->low && row[c] <= channel->high));
        }
    }
    for (size_t c = 0; c < table->column_count; c++) {
        double interval = table->columns[c].accuracy.interval;
        demand(interval >= 0 && interval <= 600);
    }
}

static void read_file(const struct import_map *map, const char *text, size_t size)
{
    struct tabled table = {0};
    struct complaint complaint = {""};
    size_t told = 0;
    const struct remarks remarks = {tell, &told, "fuzz.csv"};
    enum status status = import_read(text, size, map, &remarks, &table, &complaint);
    demand((status == STATUS_OK) == (complaint.text[0] == '\0'));
    if (status == STATUS_OK)
        demand_sound(&table);
    demand(told >= table.tally.line[REASON_BAD_ROW].count);
    tabled_free(&table);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct import_map *map = malloc(sizeof *map);
    struct complaint complaint = {""};
    char *text = malloc(size + 1);
    demand(text != NULL && map != NULL);
    memcpy(text, data, size);
    text[size] = '\0';
    size_t head = strlen(text);
    enum status status = import_map_read(text, map, &complaint);
    demand((status == STATUS_OK) == (complaint.text[0] == '\0'));
    if (status == STATUS_OK && head < size)
        read_file(map, text + head + 1, size - head - 1);
    free(text);
    free(map);
    return 0;
}
