/* rows.h - rows and cells of comma-separated text (RFC 4180), as spreadsheets and loggers write it.
 * Pure.
 *
 * Beyond RFC 4180: the separator may be a semicolon or a tab, lines may end in LF alone, a byte
 * order mark may come first (RFC 3629, section 6), a line "sep=;" may name the separator, rows may
 * differ in length, and blanks around a cell that is not quoted mean nothing.
 */
#ifndef SEARUN_ROWS_H
#define SEARUN_ROWS_H

#include <stdbool.h>
#include <stddef.h>

#include "status.h"

#define CELLS_ROW_MAX 256 /* cells of one row that are taken; further ones are counted */

/* A walk through a text that outlives it. rows_close in every case. */
struct rows {
    const char *text;
    size_t length, at;
    size_t line;    /* number of the next line, from 1 */
    char separator; /* ',' ';' or a tab; a caller may set another before the first row */
    char *scratch;  /* owned: the cells of the present row */
};

struct cells {
    size_t line;               /* number of its first line */
    size_t from, to;           /* bytes of the text, line end included in neither */
    size_t count;              /* cells; 0 for an empty line */
    size_t beyond;             /* cells beyond CELLS_ROW_MAX, left out */
    bool unclosed;             /* a quote that never ends: the row goes to the end of the text */
    char *cell[CELLS_ROW_MAX]; /* NUL-terminated; valid until the next row is taken */
};

/* Begins; the separator is the one that most lines have outside quotes. STATUS_MEMORY. */
enum status rows_open(struct rows *csv, const char *text, size_t length);
/* Takes the next row; false at the end of the text. */
bool rows_next(struct rows *csv, struct cells *row);
void rows_close(struct rows *csv);

/* How many cells there are up to the last one with something in it. */
size_t rows_filled(const struct cells *row);
/* Whether nothing is in any cell of the row. */
bool rows_is_blank(const struct cells *row);

#endif
