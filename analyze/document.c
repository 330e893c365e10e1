/* document.c - blocks of a report. */
#include "document.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "text.h"

static void table_free(struct table *table)
{
    if (table == NULL)
        return;
    free(table->caption);
    for (size_t i = 0; i < table->column_count; i++)
        free(table->column[i].title);
    for (size_t i = 0; i < table->cell_count; i++)
        free(table->cells[i]);
    free(table->cells);
    free(table);
}

void document_cut(struct document *document, size_t count)
{
    while (document->count > count) {
        struct block *block = &document->blocks[--document->count];
        for (size_t i = 0; i < BLOCK_WORDS; i++)
            free(block->words[i]);
        table_free(block->table);
    }
}

void document_free(struct document *document)
{
    document_cut(document, 0);
    free(document->blocks);
    *document = (struct document){0};
}

static char *cleaned(struct document *document, const char *words)
{
    struct text text = {0};
    text_clean(&text, words);
    char *taken = text_take(&text);
    document->failed |= taken == NULL;
    return taken;
}

/* A new block at the end, or NULL after a failure. */
static struct block *add(struct document *document, enum block_kind kind)
{
    if (document->failed)
        return NULL;
    if (document->count == document->room) {
        size_t room = document->room * 2 + 32;
        struct block *blocks = realloc(document->blocks, room * sizeof *blocks);
        if (blocks == NULL) {
            document->failed = true;
            return NULL;
        }
        document->blocks = blocks;
        document->room = room;
    }
    struct block *block = &document->blocks[document->count++];
    *block = (struct block){.kind = kind};
    return block;
}

static struct block *add_words(struct document *document, enum block_kind kind, const char *words)
{
    struct block *block = add(document, kind);
    if (block != NULL)
        block->words[0] = cleaned(document, words);
    return block;
}

void document_title(struct document *document, const char *title, const char *below)
{
    struct block *block = add_words(document, BLOCK_TITLE, title);
    if (block != NULL)
        block->words[1] = cleaned(document, below);
}

void document_heading(struct document *document, int level, const char *words)
{
    struct block *block = add_words(document, BLOCK_HEADING, words);
    if (block != NULL)
        block->level = level;
}

void document_paragraph(struct document *document, const char *words)
{
    add_words(document, BLOCK_PARAGRAPH, words);
}

void document_finding(struct document *document, enum finding finding, const char *words)
{
    struct block *block = add_words(document, BLOCK_FINDING, words);
    if (block != NULL)
        block->finding = finding;
}

void document_key(struct document *document, const char *what, const char *number,
                  const char *how_sure, const char *other)
{
    struct block *block = add_words(document, BLOCK_KEY, what);
    if (block == NULL)
        return;
    block->words[1] = cleaned(document, number);
    block->words[2] = cleaned(document, how_sure);
    block->words[3] = cleaned(document, other);
}

void document_item(struct document *document, const char *words)
{
    add_words(document, BLOCK_ITEM, words);
}

void document_figure(struct document *document, size_t figure, const char *caption)
{
    struct block *block = add_words(document, BLOCK_FIGURE, caption);
    if (block != NULL)
        block->figure = figure;
}

void document_code(struct document *document, const char *words)
{
    add_words(document, BLOCK_CODE, words);
}

void document_table(struct document *document, const char *caption, const struct column *columns,
                    size_t count)
{
    assert(count > 0 && count <= COLUMNS_MAX);
    struct block *block = add(document, BLOCK_TABLE);
    if (block == NULL)
        return;
    struct table *table = calloc(1, sizeof *table);
    if (table == NULL) {
        document->failed = true;
        return;
    }
    block->table = table;
    table->caption = cleaned(document, caption);
    table->column_count = count;
    for (size_t i = 0; i < count; i++) {
        table->column[i].title = cleaned(document, columns[i].title);
        table->column[i].kind = columns[i].kind;
    }
}

void document_halves(struct document *document)
{
    if (!document->failed)
        document->blocks[document->count - 1].table->halves = true;
}

void document_page_title(struct text *out, const struct document *document)
{
    if (document->count == 0 || document->blocks[0].kind != BLOCK_TITLE)
        return;
    text_add(out, document->blocks[0].words[0]);
    text_add(out, ": ");
    text_clip(out, document->blocks[0].words[1], 80);
}

void document_cell(struct document *document, const char *words)
{
    if (document->failed)
        return;
    struct table *table = document->blocks[document->count - 1].table;
    assert(table != NULL);
    if (table->cell_count == table->cell_room) {
        size_t room = table->cell_room * 2 + 64;
        char **cells = realloc(table->cells, room * sizeof *cells);
        if (cells == NULL) {
            document->failed = true;
            return;
        }
        table->cells = cells;
        table->cell_room = room;
    }
    char *cell = cleaned(document, words);
    if (cell != NULL)
        table->cells[table->cell_count++] = cell;
}

size_t table_rows(const struct table *table)
{
    return (table->cell_count + table->column_count - 1) / table->column_count;
}

const char *table_cell(const struct table *table, size_t row, size_t column)
{
    size_t index = row * table->column_count + column;
    return index < table->cell_count ? table->cells[index] : "";
}
