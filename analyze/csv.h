/* csv.h - rows of a CSV file (RFC 4180), as spreadsheets write them: a byte order mark is skipped,
 * lines end in LF, CRLF or CR, the separator is a comma, a semicolon or a tab (as the first line
 * has more of, or as a line "sep=;" says), and a quoted field may go on over several lines. Pure.
 */
#ifndef SEARUN_CSV_H
#define SEARUN_CSV_H

#include <stdbool.h>
#include <stddef.h>

#include "text.h"

#define CSV_FIELDS_MAX 64

struct csv {
    const char *at, *end; /* what is left; not owned */
    char separator;
    unsigned line; /* of `at`, from 1 */
};

/* One row; zero-initialise, csv_row_free at the end. */
struct csv_row {
    unsigned line; /* it begins in */
    size_t count;
    size_t start[CSV_FIELDS_MAX]; /* of each field in `bytes`, where it ends with NUL */
    struct text bytes;
    const char *fault; /* why the row cannot be read, for people; NULL if it can */
};

/* Begins to read `length` bytes, which stay the caller's and hold no NUL. */
struct csv csv_begin(const char *bytes, size_t length);

/* Reads the next row; false at the end. After a fault the next row is the line behind it. Out of
 * memory: row->bytes.failed. */
bool csv_next(struct csv *csv, struct csv_row *row);

/* A field without blanks around it; "" beyond the last one. Owned by the row, until the next
 * one. */
const char *csv_field(const struct csv_row *row, size_t index);
/* No field has anything but blanks: spreadsheets leave such rows behind. */
bool csv_row_blank(const struct csv_row *row);

void csv_row_free(struct csv_row *row);

#endif
