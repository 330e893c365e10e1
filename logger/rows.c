/* rows.c - see rows.h. */
#include "rows.h"

#include <stdlib.h>
#include <string.h>

#define LINES_LOOKED_AT 200

static const char separators[] = {';', '\t', ','};

/* --- which separator */

/* Whether a line holds the separator outside quotes. */
static bool line_has(const char *line, size_t length, char separator)
{
    bool quoted = false;
    for (size_t i = 0; i < length; i++) {
        if (line[i] == '"')
            quoted = !quoted;
        else if (line[i] == separator && !quoted)
            return true;
    }
    return false;
}

/* The separator that most lines have; of equals the first, since decimal commas are no
 * separators. */
static char find_separator(const char *text, size_t length)
{
    size_t with[sizeof separators] = {0}, best = 0, lines = 0;
    for (size_t at = 0; at < length && lines < LINES_LOOKED_AT; lines++) {
        const char *end = memchr(text + at, '\n', length - at);
        size_t size = end ? (size_t)(end - text) - at : length - at;
        for (size_t s = 0; s < sizeof separators; s++)
            with[s] += line_has(text + at, size, separators[s]);
        at += size + 1;
    }
    for (size_t s = 1; s < sizeof separators; s++)
        best = with[s] > with[best] ? s : best;
    return with[best] > 0 ? separators[best] : ',';
}

/* --- rows */

/* "sep=;" as the first line names the separator: some spreadsheets write it. */
static void take_sep_line(struct rows *rows)
{
    const char *line = rows->text + rows->at;
    size_t length = rows->length - rows->at;
    if (length < 6 || memcmp(line, "sep=", 4) != 0 || (line[5] != '\r' && line[5] != '\n') ||
        !memchr(separators, line[4], sizeof separators))
        return;
    rows->separator = line[4];
    const char *end = memchr(line, '\n', length);
    rows->at = end ? (size_t)(end - rows->text) + 1 : rows->length;
    rows->line = 2;
}

enum status rows_open(struct rows *rows, const char *text, size_t length)
{
    size_t mark = length >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
    *rows = (struct rows){.text = text, .length = length, .at = mark, .line = 1};
    rows->separator = find_separator(text + mark, length - mark);
    take_sep_line(rows);
    rows->scratch = malloc(length - mark + 2);
    return rows->scratch ? STATUS_OK : STATUS_MEMORY;
}

void rows_close(struct rows *rows)
{
    free(rows->scratch);
    *rows = (struct rows){0};
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r';
}

static bool ends_cell(const struct rows *rows, size_t at)
{
    return at >= rows->length || rows->text[at] == rows->separator || rows->text[at] == '\n';
}

/* A quoted cell from its opening quote on; doubled quotes are one. Text between the closing quote
 * and the separator is kept as it stands. Returns where the cell ends. */
static size_t take_quoted(struct rows *rows, struct cells *row, size_t at, char **to)
{
    for (at++; at < rows->length; at++) {
        if (rows->text[at] == '\n')
            rows->line++;
        if (rows->text[at] != '"') {
            *(*to)++ = rows->text[at];
            continue;
        }
        if (at + 1 >= rows->length || rows->text[at + 1] != '"')
            break;
        *(*to)++ = rows->text[at++];
    }
    row->unclosed |= at >= rows->length;
    for (at += at < rows->length; !ends_cell(rows, at); at++)
        if (!is_blank(rows->text[at]))
            *(*to)++ = rows->text[at];
    return at;
}

static size_t take_plain(const struct rows *rows, size_t at, char **to)
{
    const char *start = *to;
    for (; !ends_cell(rows, at); at++)
        *(*to)++ = rows->text[at];
    while (*to > start && is_blank((*to)[-1]))
        (*to)--;
    return at;
}

/* One cell that begins at `at`, into the scratch; returns where it ends. */
static size_t take_cell(struct rows *rows, struct cells *row, size_t at, char **to)
{
    char *start = *to;
    while (!ends_cell(rows, at) && is_blank(rows->text[at]))
        at++;
    bool quoted = at < rows->length && rows->text[at] == '"';
    at = quoted ? take_quoted(rows, row, at, to) : take_plain(rows, at, to);
    *(*to)++ = '\0';
    if (row->count < CELLS_ROW_MAX)
        row->cell[row->count++] = start;
    else
        row->beyond++;
    return at;
}

bool rows_next(struct rows *rows, struct cells *row)
{
    if (rows->at >= rows->length)
        return false;
    char *to = rows->scratch;
    size_t at = rows->at;
    row->line = rows->line;
    row->from = at;
    row->count = row->beyond = 0;
    row->unclosed = false;
    for (;; at++) {
        at = take_cell(rows, row, at, &to);
        if (at >= rows->length || rows->text[at] == '\n')
            break;
    }
    row->to = at > row->from && rows->text[at - 1] == '\r' ? at - 1 : at;
    rows->at = at + 1;
    rows->line++;
    if (row->count == 1 && row->cell[0][0] == '\0')
        row->count = 0;
    return true;
}

size_t rows_filled(const struct cells *row)
{
    size_t count = row->count;
    if (row->beyond > 0)
        return count + row->beyond;
    while (count > 0 && row->cell[count - 1][0] == '\0')
        count--;
    return count;
}

bool rows_is_blank(const struct cells *row)
{
    for (size_t i = 0; i < row->count; i++)
        if (row->cell[i][0] != '\0')
            return false;
    return row->beyond == 0;
}
