/* document.h - a report as blocks: made once by the sections, rendered as text, page or print.
 *
 * All text is cleaned as it comes in (text_clean), so no renderer sees a control character. A
 * failed allocation sticks at `failed`; one check at the end is enough.
 */
#ifndef SEARUN_DOCUMENT_H
#define SEARUN_DOCUMENT_H

#include <stdbool.h>
#include <stddef.h>

#include "answer.h"

enum paper { PAPER_A4, PAPER_LETTER };

enum block_kind {
    BLOCK_TITLE,     /* words[0]; words[1] a line below it */
    BLOCK_HEADING,   /* words[0], level 2 or 3 */
    BLOCK_PARAGRAPH, /* words[0] */
    BLOCK_FINDING,   /* words[0], coloured by `finding` */
    BLOCK_KEY,    /* the key figure: words[0] what, [1] the number, [2] how sure, [3] other units */
    BLOCK_ITEM,   /* words[0]; items in a row make a list */
    BLOCK_TABLE,  /* `table` */
    BLOCK_FIGURE, /* `figure` is the index of a chart; words[0] is its caption */
    BLOCK_CODE    /* words[0], to be copied as it stands */
};

enum column_kind {
    COLUMN_NAME,   /* names the row: header cell, on the left */
    COLUMN_WORDS,  /* may be wrapped */
    COLUMN_NUMBER, /* on the right, never wrapped */
    COLUMN_SHORT   /* words that stay together, on the left */
};

struct column {
    const char *title; /* not owned; lives as long as the program */
    enum column_kind kind;
};

#define COLUMNS_MAX 12

struct table {
    char *caption;
    bool halves; /* short names and values: rows may stand in two halves side by side */
    size_t column_count;
    struct {
        char *title;
        enum column_kind kind;
    } column[COLUMNS_MAX];
    size_t cell_count,
        cell_room; /* cells by rows; a last short row is filled up by the renderers */
    char **cells;
};

#define BLOCK_WORDS 4

struct block {
    enum block_kind kind;
    int level;
    enum finding finding;
    size_t figure;
    char *words[BLOCK_WORDS]; /* owned, NULL where there are none */
    struct table *table;      /* owned */
};

struct document {
    size_t count, room;
    struct block *blocks;
    bool failed;
};

void document_free(struct document *document);

void document_title(struct document *document, const char *title, const char *below);
void document_heading(struct document *document, int level, const char *words);
void document_paragraph(struct document *document, const char *words);
void document_finding(struct document *document, enum finding finding, const char *words);
void document_key(struct document *document, const char *what, const char *number,
                  const char *how_sure, const char *other);
void document_item(struct document *document, const char *words);
void document_figure(struct document *document, size_t figure, const char *caption);
void document_code(struct document *document, const char *words);

/* Starts a table; the cells that follow fill it row by row. At most COLUMNS_MAX columns. */
void document_table(struct document *document, const char *caption, const struct column *columns,
                    size_t count);
/* The table just started may be set in two halves where there is room. */
void document_halves(struct document *document);
void document_cell(struct document *document, const char *words);

/* The cell of a row and column, "" beyond the last one; rows of a table. */
const char *table_cell(const struct table *table, size_t row, size_t column);
size_t table_rows(const struct table *table);

/* Title and what stands below it, in one line: for windows, file properties and feet of pages. */
struct text;
void document_page_title(struct text *out, const struct document *document);

/* Takes blocks off the end until `count` are left. */
void document_cut(struct document *document, size_t count);

#endif
