/* report_text.c - the document as plain text for a terminal or a file. */
#include "report.h"

#include <string.h>

#define INDENT 2
#define BETWEEN 2   /* columns between two columns of a table */
#define NARROWEST 9 /* that a column of words may become */
#define TITLE 13    /* columns up to which a title is not broken */

struct writer {
    struct text *out;
    bool colour;
    size_t width;
};

/* Adds bytes with spaces that do not break as plain ones: text is searched and copied. */
static void add_plain(struct text *out, const char *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        if ((unsigned char)bytes[i] == 0xC2 && i + 1 < length &&
            (unsigned char)bytes[i + 1] == 0xA0) {
            text_add(out, " ");
            i++;
        } else {
            text_add_bytes(out, bytes + i, 1);
        }
    }
}

/* --- wrapping */

struct line {
    const char *at;
    size_t length, columns;
};

/* The next line of at most `width` columns; *at moves behind it. False when nothing is left. */
static bool next_line(const char **at, size_t width, struct line *line)
{
    const char *start = *at + strspn(*at, " "), *here = start;
    const char *space = NULL;
    size_t columns = 0, space_columns = 0;
    if (*start == '\0')
        return false;
    while (*here != '\0') {
        unsigned code;
        size_t length = text_decode(here, &code);
        if (*here == ' ') {
            space = here;
            space_columns = columns;
        }
        if (columns + text_columns_of(code) > width && here > start) {
            bool at_space = *here == ' ' || space == NULL;
            *line = (struct line){start, (size_t)((at_space ? here : space) - start),
                                  at_space ? columns : space_columns};
            *at = start + line->length;
            return true;
        }
        columns += text_columns_of(code);
        here += length;
    }
    *at = here;
    for (; here > start && here[-1] == ' '; here--)
        columns--;
    *line = (struct line){start, (size_t)(here - start), columns};
    return true;
}

/* Words in lines behind `first` on the first line and `rest` on the others, in the terminal colour
 * `code` if there are colours and a code. */
static void coloured(struct writer *writer, const char *words, const char *first, const char *rest,
                     const char *code)
{
    struct line line;
    size_t indent = text_columns(first);
    bool colour = writer->colour && code != NULL;
    for (bool begun = false; next_line(&words, writer->width - indent, &line); begun = true) {
        text_add(writer->out, begun ? rest : first);
        if (colour)
            text_addf(writer->out, "\033[%sm", code);
        add_plain(writer->out, line.at, line.length);
        text_add(writer->out, colour ? "\033[0m\n" : "\n");
    }
}

static void wrapped(struct writer *writer, const char *words, const char *first, const char *rest)
{
    coloured(writer, words, first, rest, NULL);
}

/* --- tables */

struct widths {
    size_t of[COLUMNS_MAX];
};

static size_t longest_line_of_title(const char *title, size_t least)
{
    size_t longest = 0;
    struct line line;
    while (next_line(&title, least < TITLE ? TITLE : least, &line))
        longest = line.columns > longest ? line.columns : longest;
    return longest;
}

static size_t natural_width(const struct table *table, size_t column)
{
    size_t width = 1;
    for (size_t row = 0; row < table_rows(table); row++) {
        size_t cell = text_columns(table_cell(table, row, column));
        width = cell > width ? cell : width;
    }
    size_t title = longest_line_of_title(table->column[column].title, width);
    return title > width ? title : width;
}

static size_t total(const struct table *table, const struct widths *widths)
{
    size_t sum = INDENT + BETWEEN * (table->column_count - 1);
    for (size_t i = 0; i < table->column_count; i++)
        sum += widths->of[i];
    return sum;
}

/* Takes a column from the widest one that may be wrapped. False if none can give. */
static bool narrow(const struct table *table, struct widths *widths)
{
    size_t widest = table->column_count;
    for (size_t i = 0; i < table->column_count; i++)
        if (table->column[i].kind != COLUMN_NUMBER && widths->of[i] > NARROWEST &&
            (widest == table->column_count || widths->of[i] > widths->of[widest]))
            widest = i;
    if (widest == table->column_count)
        return false;
    widths->of[widest]--;
    return true;
}

static void pad(struct text *out, size_t columns)
{
    text_add_many(out, " ", columns);
}

/* One row, on as many lines as its longest cell needs. `cells` are the strings still to be
 * shown. */
static void table_lines(struct writer *writer, const struct table *table,
                        const struct widths *widths, const char *cells[COLUMNS_MAX])
{
    for (bool more = true; more;) {
        size_t owed = INDENT;
        more = false;
        for (size_t i = 0; i < table->column_count; i++) {
            struct line line = {"", 0, 0};
            next_line(&cells[i], widths->of[i], &line);
            size_t left =
                widths->of[i] - (line.columns < widths->of[i] ? line.columns : widths->of[i]);
            bool right = table->column[i].kind == COLUMN_NUMBER;
            if (line.length > 0) {
                pad(writer->out, owed + (right ? left : 0));
                add_plain(writer->out, line.at, line.length);
                owed = right ? 0 : left;
            } else {
                owed += widths->of[i];
            }
            owed += BETWEEN;
            more |= cells[i][strspn(cells[i], " ")] != '\0';
        }
        text_add(writer->out, "\n");
    }
}

static void table_head(struct writer *writer, const struct table *table,
                       const struct widths *widths)
{
    const char *titles[COLUMNS_MAX];
    bool any = false;
    for (size_t i = 0; i < table->column_count; i++) {
        titles[i] = table->column[i].title;
        any |= titles[i][0] != '\0';
    }
    if (!any)
        return;
    table_lines(writer, table, widths, titles);
    for (size_t i = 0; i < table->column_count; i++) {
        pad(writer->out, i == 0 ? INDENT : BETWEEN);
        text_add_many(writer->out, "-", widths->of[i]);
    }
    text_add(writer->out, "\n");
}

/* A table too wide for the terminal, as a list: one "title: value" a line. */
static void table_as_list(struct writer *writer, const struct table *table)
{
    for (size_t row = 0; row < table_rows(table); row++) {
        for (size_t i = 0; i < table->column_count; i++) {
            struct text line = {0};
            text_addf(&line, "%s: %s", table->column[i].title, table_cell(table, row, i));
            wrapped(writer, text_string(&line), i == 0 ? "  " : "    ", "      ");
            text_free(&line);
        }
    }
}

static void table_text(struct writer *writer, const struct table *table)
{
    struct widths widths;
    for (size_t i = 0; i < table->column_count; i++)
        widths.of[i] = natural_width(table, i);
    while (total(table, &widths) > writer->width)
        if (!narrow(table, &widths))
            break;
    if (table->caption[0] != '\0') {
        wrapped(writer, table->caption, "  ", "  ");
        text_add(writer->out, "\n");
    }
    if (total(table, &widths) > writer->width) {
        table_as_list(writer, table);
        return;
    }
    table_head(writer, table, &widths);
    for (size_t row = 0; row < table_rows(table); row++) {
        const char *cells[COLUMNS_MAX];
        for (size_t i = 0; i < table->column_count; i++)
            cells[i] = table_cell(table, row, i);
        table_lines(writer, table, &widths, cells);
    }
}

/* --- blocks */

static void underlined(struct writer *writer, const char *words, const char *line)
{
    struct line first;
    const char *at = words;
    size_t columns = next_line(&at, writer->width, &first) ? first.columns : 0;
    coloured(writer, words, "", "", "1");
    text_add_many(writer->out, line, columns);
    text_add(writer->out, "\n");
}

static void finding(struct writer *writer, const struct block *block)
{
    static const char *const codes[] = {[FINDING_LOWERED] = "1;32",
                                        [FINDING_RAISED] = "1;31",
                                        [FINDING_NO_CHANGE_SHOWN] = "1",
                                        [FINDING_CANNOT_BE_SHOWN] = "1;33"};
    coloured(writer, block->words[0], "", "", codes[block->finding]);
}

static void key_figure(struct writer *writer, const struct block *block)
{
    struct text line = {0};
    wrapped(writer, block->words[0], "  ", "  ");
    text_addf(&line, "%s   %s   [%s]", block->words[1], block->words[2], block->words[3]);
    coloured(writer, text_string(&line), "    ", "    ", "1");
    text_free(&line);
}

static void figure(struct writer *writer, const struct block *block,
                   const struct drawing_list *drawings, const char *folder)
{
    const struct drawing *drawing = &drawings->list[block->figure];
    struct text words = {0};
    text_addf(&words, "Chart: %s. ", drawing->chart->title);
    if (folder != NULL && drawing->svg != NULL)
        text_addf(&words, "%s/%s.svg. ", folder, drawing->name);
    else
        text_add(&words, "Not drawn. ");
    text_add(&words, drawing->describes);
    struct text clean = {0};
    text_clean(&clean, text_string(&words));
    wrapped(writer, text_string(&clean), "  ", "  ");
    text_free(&clean);
    text_free(&words);
}

static void block_text(struct writer *writer, const struct block *block,
                       const struct drawing_list *drawings, const char *folder)
{
    switch (block->kind) {
    case BLOCK_TITLE:
        underlined(writer, block->words[0], "=");
        wrapped(writer, block->words[1], "", "");
        break;
    case BLOCK_HEADING:
        underlined(writer, block->words[0], block->level == 2 ? "-" : "");
        break;
    case BLOCK_PARAGRAPH:
        wrapped(writer, block->words[0], "", "");
        break;
    case BLOCK_FINDING:
        finding(writer, block);
        break;
    case BLOCK_KEY:
        key_figure(writer, block);
        break;
    case BLOCK_ITEM:
        wrapped(writer, block->words[0], "- ", "  ");
        break;
    case BLOCK_TABLE:
        table_text(writer, block->table);
        break;
    case BLOCK_FIGURE:
        figure(writer, block, drawings, folder);
        break;
    case BLOCK_CODE: /* one long line, so that it can be copied */
        text_add(writer->out, "  ");
        text_add(writer->out, block->words[0]);
        text_add(writer->out, "\n");
        break;
    }
}

void report_text(struct text *out, const struct document *document,
                 const struct drawing_list *drawings, const char *folder, bool with_colour)
{
    struct writer writer = {out, with_colour, REPORT_COLUMNS};
    for (size_t i = 0; i < document->count; i++) {
        const struct block *block = &document->blocks[i];
        bool close =
            i > 0 && block->kind == BLOCK_ITEM && document->blocks[i - 1].kind == BLOCK_ITEM;
        bool below_heading = i > 0 && document->blocks[i - 1].kind == BLOCK_HEADING;
        if (i > 0 && !close && !below_heading)
            text_add(out, "\n");
        block_text(&writer, block, drawings, folder);
    }
}
