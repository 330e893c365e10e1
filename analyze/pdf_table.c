/* pdf_table.c - tables: widths of columns, rows that go over to the next page, repeated heads. */
#include "pdf_table.h"

#include <math.h>

#define GAP_LEAST 10.0 /* between columns, points */
#define GAP_MOST 26.0
#define PAD 2.2         /* above and below the words of a row */
#define NARROWEST 34.0  /* that a column of words may become */
#define WORD_MOST 120.0 /* a longer word may be broken */
#define WHOLE_ROWS 14   /* of a table that is not broken if it can be helped */
#define SIDES_MAX 2

static const struct face cell_face = {BOOK_FAMILY, 7.8, false};
static const struct face small_face = {BOOK_FAMILY, 6.6, false};
static const struct face head_face = {BOOK_FAMILY, 7.8, true};
static const struct face small_head_face = {BOOK_FAMILY, 6.6, true};
static const struct face caption_face = {BOOK_FAMILY, 7.8, false};

/* How a table is laid out: its columns, and whether rows stand in two halves side by side. */
struct plan {
    struct book *book;
    const struct table *table;
    const struct face *face, *head;
    double width[COLUMNS_MAX], gap;
    size_t sides, rows; /* rows of a side */
    double side_width;
};

/* --- widths */

static double width_of(struct plan *plan, const struct face *face, const char *words, double width)
{
    PangoLayout *layout = book_layout(plan->book, face, words, width);
    double used = layout_width(layout);
    g_object_unref(layout);
    return used;
}

/* The longest word: laid out so narrow that each word has its own line, without breaking any. */
static double word_width(struct plan *plan, const struct face *face, const char *words)
{
    PangoLayout *layout = book_layout(plan->book, face, words, 1);
    pango_layout_set_wrap(layout, PANGO_WRAP_WORD);
    double used = layout_width(layout);
    g_object_unref(layout);
    return used;
}

struct extent {
    double natural, least;
};

static struct extent extent_of(struct plan *plan, size_t column)
{
    const struct table *table = plan->table;
    const char *title = table->column[column].title;
    bool whole = table->column[column].kind == COLUMN_NUMBER;
    struct extent extent = {width_of(plan, plan->head, title, 5000),
                            word_width(plan, plan->head, title)};
    for (size_t row = 0; row < table_rows(table); row++) {
        const char *cell = table_cell(table, row, column);
        double natural = width_of(plan, plan->face, cell, 5000);
        extent.natural = fmax(extent.natural, natural);
        extent.least = fmax(extent.least,
                            whole ? natural : fmin(word_width(plan, plan->face, cell), WORD_MOST));
    }
    return extent;
}

static double sum_of(const struct plan *plan)
{
    double sum = plan->gap * (double)(plan->table->column_count - 1);
    for (size_t i = 0; i < plan->table->column_count; i++)
        sum += plan->width[i];
    return sum;
}

/* Takes a point from the widest column above its least. False if none can give. */
static bool narrow(struct plan *plan, const double *least)
{
    size_t widest = COLUMNS_MAX;
    for (size_t i = 0; i < plan->table->column_count; i++)
        if (plan->width[i] > least[i] &&
            (widest == COLUMNS_MAX || plan->width[i] > plan->width[widest]))
            widest = i;
    if (widest == COLUMNS_MAX)
        return false;
    plan->width[widest] = fmax(plan->width[widest] - 1, least[widest]);
    return true;
}

static bool fit(struct plan *plan, const double *least)
{
    while (sum_of(plan) > plan->side_width)
        if (!narrow(plan, least))
            return false;
    return true;
}

/* The last column of words takes what is left; a table of numbers gets wider gaps. */
static void spread(struct plan *plan)
{
    double left = plan->side_width - sum_of(plan);
    size_t count = plan->table->column_count;
    if (left <= 0)
        return;
    if (plan->table->column[count - 1].kind == COLUMN_WORDS)
        plan->width[count - 1] += left;
    else if (count > 1)
        plan->gap = fmin(plan->gap + left / (double)(count - 1), GAP_MOST);
}

static bool try_widths(struct plan *plan, const struct face *face, const struct face *head)
{
    double least[COLUMNS_MAX], narrowest[COLUMNS_MAX];
    plan->face = face;
    plan->head = head;
    plan->gap = GAP_LEAST;
    for (size_t i = 0; i < plan->table->column_count; i++) {
        struct extent extent = extent_of(plan, i);
        plan->width[i] = fmin(extent.natural, 5000);
        least[i] = extent.least;
        narrowest[i] = fmin(extent.least, NARROWEST);
    }
    return fit(plan, least) || (face == &small_face && fit(plan, narrowest));
}

static void find_widths(struct plan *plan)
{
    if (!try_widths(plan, &cell_face, &head_face))
        try_widths(plan, &small_face, &small_head_face);
    spread(plan);
}

/* --- rows */

struct row {
    PangoLayout *layout[COLUMNS_MAX * SIDES_MAX];
    int line[COLUMNS_MAX * SIDES_MAX];
    double height;
    bool head;
};

static const char *words_at(const struct plan *plan, size_t row, size_t column, bool head)
{
    if (head)
        return plan->table->column[column].title;
    return row < table_rows(plan->table) ? table_cell(plan->table, row, column) : "";
}

static void make_row(struct plan *plan, size_t index, bool head, struct row *row)
{
    *row = (struct row){.head = head};
    for (size_t side = 0; side < plan->sides; side++)
        for (size_t i = 0; i < plan->table->column_count; i++) {
            size_t cell = side * plan->table->column_count + i;
            const char *words = words_at(plan, index + side * plan->rows, i, head);
            row->layout[cell] = book_layout(plan->book, head ? plan->head : plan->face, words,
                                            plan->width[i] + 0.5);
            row->height = fmax(row->height, layout_height(row->layout[cell]));
        }
}

static void free_row(const struct plan *plan, struct row *row)
{
    for (size_t i = 0; i < plan->sides * plan->table->column_count; i++)
        g_object_unref(row->layout[i]);
}

static void draw_cell(struct plan *plan, struct row *row, size_t side, size_t column,
                      struct placing *place, double *used)
{
    size_t cell = side * plan->table->column_count + column;
    bool name = plan->table->column[column].kind == COLUMN_NAME;
    const char *tag = row->head || name ? "TH" : "TD";
    double room = row->head ? row->height : place->room;
    struct placing at = *place;
    at.width = plan->width[column];
    at.room = room;
    at.right = plan->table->column[column].kind == COLUMN_NUMBER;
    /* Titles stand at the foot of the head. */
    if (row->head)
        at.y += row->height - layout_height(row->layout[cell]);
    book_tag(plan->book, tag);
    double height = book_lines(plan->book, row->layout[cell], &row->line[cell], &at, &ink_black);
    book_end_tag(plan->book, tag);
    *used = fmax(*used, row->head ? row->height : height);
}

static bool row_left(const struct plan *plan, const struct row *row)
{
    for (size_t i = 0; i < plan->sides * plan->table->column_count; i++)
        if (row->line[i] < pango_layout_get_line_count(row->layout[i]))
            return true;
    return false;
}

/* Draws what fits of a row at the cursor. */
static void draw_row(struct plan *plan, struct row *row)
{
    struct book *book = plan->book;
    double used = 0, room = book_room(book) - 2 * PAD;
    book_tag(book, "TR");
    for (size_t side = 0; side < plan->sides; side++) {
        double x = book->left + (double)side * (book_width(book) - plan->side_width);
        for (size_t i = 0; i < plan->table->column_count; i++) {
            struct placing place = {x, book->y + PAD, 0, room, false};
            draw_cell(plan, row, side, i, &place, &used);
            x += plan->width[i] + plan->gap;
        }
    }
    book_end_tag(book, "TR");
    book->y += used + 2 * PAD;
    for (size_t side = 0; side < plan->sides; side++)
        book_rule(book, book->left + (double)side * (book_width(book) - plan->side_width), book->y,
                  fmin(sum_of(plan), plan->side_width), row->head ? 1 : 0.5,
                  row->head ? &ink_black : &ink_line);
}

static bool has_head(const struct table *table)
{
    for (size_t i = 0; i < table->column_count; i++)
        if (table->column[i].title[0] != '\0')
            return true;
    return false;
}

static double draw_head(struct plan *plan, bool draw)
{
    struct row head;
    if (!has_head(plan->table))
        return 0;
    make_row(plan, 0, true, &head);
    double height = head.height + 2 * PAD;
    if (draw)
        draw_row(plan, &head);
    free_row(plan, &head);
    return height;
}

static void next_page(struct plan *plan)
{
    book_end_tag(plan->book, "Table");
    book_next_page(plan->book);
    book_tag(plan->book, "Table");
    draw_head(plan, true);
}

static void body_row(struct plan *plan, size_t index)
{
    struct book *book = plan->book;
    struct row row;
    make_row(plan, index, false, &row);
    double page = book->bottom - book->top;
    if (row.height + 2 * PAD > book_room(book) &&
        (row.height < page / 3 || book_room(book) < page / 8))
        next_page(plan);
    draw_row(plan, &row);
    while (row_left(plan, &row)) { /* a cell longer than a page */
        next_page(plan);
        draw_row(plan, &row);
    }
    free_row(plan, &row);
}

static double rows_height(struct plan *plan, size_t from, size_t to)
{
    double height = 0;
    for (size_t i = from; i < to; i++) {
        struct row row;
        make_row(plan, i, false, &row);
        height += row.height + 2 * PAD;
        free_row(plan, &row);
    }
    return height;
}

/* What stays with the caption: a small table as a whole, of others head and first rows. */
static double start_height(struct plan *plan)
{
    double most = (plan->book->bottom - plan->book->top) / 3;
    double whole = plan->rows <= WHOLE_ROWS ? rows_height(plan, 0, plan->rows) : most;
    size_t first = plan->rows < 2 ? plan->rows : 2;
    double body = whole < most ? whole : fmin(rows_height(plan, 0, first), most);
    return draw_head(plan, false) + body;
}

/* Height of the last two rows, which stay together; 0 where they are too long for that. */
static double start_of_end(struct plan *plan, size_t index)
{
    double height = rows_height(plan, index, plan->rows);
    return height < (plan->book->bottom - plan->book->top) / 4 ? height : 0;
}

static void make_plan(struct plan *plan, struct book *book, const struct table *table)
{
    *plan = (struct plan){.book = book, .table = table, .sides = table->halves ? SIDES_MAX : 1};
    plan->rows = (table_rows(table) + plan->sides - 1) / plan->sides;
    plan->side_width = plan->sides == 1 ? book_width(book) : book_width(book) / 2 - GAP_LEAST;
    find_widths(plan);
}

static double caption_height(struct book *book, const struct table *table)
{
    if (table->caption[0] == '\0')
        return 0;
    PangoLayout *layout = book_layout(book, &caption_face, table->caption, book_width(book));
    double height = layout_height(layout) + 2;
    g_object_unref(layout);
    return fmin(height, 60);
}

double pdf_table_start(struct book *book, const struct table *table)
{
    struct plan plan;
    make_plan(&plan, book, table);
    return caption_height(book, table) + start_height(&plan);
}

void pdf_table(struct book *book, const struct table *table)
{
    struct plan plan;
    make_plan(&plan, book, table);
    book_need(book, caption_height(book, table) + start_height(&plan));
    if (table->caption[0] != '\0') {
        book_tag(book, "P");
        book_words(book, &caption_face, &ink_soft, 0, table->caption);
        book_end_tag(book, "P");
        book->y += 2;
    }
    book_tag(book, "Table");
    draw_head(&plan, true);
    for (size_t i = 0; i < plan.rows; i++) {
        if (i > 0 && i + 2 == plan.rows && start_of_end(&plan, i) > book_room(book))
            next_page(&plan);
        body_row(&plan, i);
    }
    book_end_tag(book, "Table");
}
