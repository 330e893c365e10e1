/* csv.c - rows of a CSV file. */
#include "csv.h"

#include <string.h>

static bool is_line_end(const struct csv *csv)
{
    return csv->at == csv->end || *csv->at == '\n' || *csv->at == '\r';
}

/* Goes over one line end, if `at` is on one. */
static void skip_line_end(struct csv *csv)
{
    if (csv->at == csv->end || !is_line_end(csv))
        return;
    bool two = *csv->at == '\r' && csv->at + 1 < csv->end && csv->at[1] == '\n';
    csv->at += two ? 2 : 1;
    csv->line++;
}

static void skip_line(struct csv *csv)
{
    while (!is_line_end(csv))
        csv->at++;
    skip_line_end(csv);
}

/* The separator that the first line has most of, outside of quotation marks. */
static char guess_separator(const struct csv *csv)
{
    static const char separators[] = ",;\t";
    size_t count[3] = {0}, most = 0;
    bool quoted = false;
    struct csv look = *csv;
    for (; !is_line_end(&look); look.at++) {
        const char *which = quoted || *look.at == '\0' ? NULL : strchr(separators, *look.at);
        quoted ^= *look.at == '"';
        if (which != NULL)
            count[which - separators]++;
    }
    for (size_t i = 1; i < 3; i++)
        if (count[i] > count[most])
            most = i;
    return separators[most];
}

/* --- rows */

struct csv csv_begin(const char *bytes, size_t length)
{
    struct csv csv = {bytes, bytes + length, ',', 1};
    if (length >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0)
        csv.at += 3;
    if (csv.end - csv.at >= 5 && memcmp(csv.at, "sep=", 4) == 0 &&
        strchr(",;\t", csv.at[4]) != NULL) {
        csv.separator = csv.at[4];
        skip_line(&csv);
    } else {
        csv.separator = guess_separator(&csv);
    }
    return csv;
}

/* A quoted field, from its opening mark to behind its closing one. */
static const char *take_quoted(struct csv *csv, struct text *out)
{
    for (csv->at++; csv->at < csv->end; csv->at++) {
        if (*csv->at == '"' && csv->at + 1 < csv->end && csv->at[1] == '"')
            csv->at++;
        else if (*csv->at == '"')
            break;
        else if (*csv->at == '\n' ||
                 (*csv->at == '\r' && csv->at + 1 < csv->end && csv->at[1] != '\n'))
            csv->line++;
        text_add_bytes(out, csv->at, 1);
    }
    if (csv->at == csv->end)
        return "a quotation mark (\") is opened and never closed";
    csv->at++;
    while (!is_line_end(csv) && *csv->at == ' ')
        csv->at++;
    return is_line_end(csv) || *csv->at == csv->separator
               ? NULL
               : "text follows behind a closing quotation mark; a quotation mark within a field is "
                 "written twice (\"\")";
}

static const char *take_field(struct csv *csv, struct text *out)
{
    while (!is_line_end(csv) && *csv->at == ' ')
        csv->at++;
    if (!is_line_end(csv) && *csv->at == '"')
        return take_quoted(csv, out);
    const char *from = csv->at;
    while (!is_line_end(csv) && *csv->at != csv->separator)
        csv->at++;
    text_add_bytes(out, from, (size_t)(csv->at - from));
    return NULL;
}

/* Blanks at the end of a field that has been taken. */
static void trim(struct text *bytes, size_t start)
{
    while (bytes->length > start && !bytes->failed &&
           strchr(" \t", bytes->bytes[bytes->length - 1]) != NULL)
        bytes->length--;
}

bool csv_next(struct csv *csv, struct csv_row *row)
{
    struct csv begin = *csv;
    row->line = csv->line;
    row->count = row->bytes.length = 0;
    row->fault = NULL;
    if (csv->at == csv->end)
        return false;
    for (bool more = true; more && row->fault == NULL;) {
        if (row->count == CSV_FIELDS_MAX) {
            row->fault = "it has too many fields";
            break;
        }
        size_t start = row->start[row->count++] = row->bytes.length;
        row->fault = take_field(csv, &row->bytes);
        trim(&row->bytes, start);
        text_add_bytes(&row->bytes, "", 1);
        more = !is_line_end(csv) && *csv->at == csv->separator;
        csv->at += more;
    }
    if (row->fault != NULL) {
        *csv = begin;
        skip_line(csv);
    } else {
        skip_line_end(csv);
    }
    return true;
}

const char *csv_field(const struct csv_row *row, size_t index)
{
    if (index >= row->count || row->bytes.failed)
        return "";
    return row->bytes.bytes + row->start[index];
}

bool csv_row_blank(const struct csv_row *row)
{
    for (size_t i = 0; i < row->count; i++)
        if (csv_field(row, i)[0] != '\0')
            return false;
    return row->fault == NULL;
}

void csv_row_free(struct csv_row *row)
{
    text_free(&row->bytes);
    row->count = 0;
}
