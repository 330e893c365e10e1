/* report_pdf.c - the document as pages for print: the same blocks as text and page. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "pdf_alt.h"
#include "pdf_book.h"
#include "pdf_table.h"
#include "picture.h"
#include "report.h"

#define SHRUNK_LEAST 0.62 /* a chart may be made this much smaller to stay on its page */
#define LAST_LEAST 0.3    /* of its page: less of the last chapter does not stand there alone */

static const struct face title_face = {BOOK_FAMILY, 16, true};
static const struct face below_face = {BOOK_FAMILY, 9.5, false};
static const struct face chapter_face = {BOOK_FAMILY, 12, true};
static const struct face part_face = {BOOK_FAMILY, 9.6, true};
static const struct face body_face = {BOOK_FAMILY, 8.6, false};
static const struct face finding_face = {BOOK_FAMILY, 11.5, true};
static const struct face number_face = {BOOK_FAMILY, 21, true};
static const struct face caption_face = {BOOK_FAMILY, 7.4, false};
static const struct face code_face = {BOOK_MONO, 7.2, false};

struct press {
    struct book book;
    const struct drawing_list *drawings;
    size_t figures;
    const char **alts; /* words of the pictures that were drawn, in their order; not owned */
    size_t alt_count;
    size_t chapter;      /* block that begins the last chapter */
    size_t chapter_page; /* and where it stands */
    double chapter_top;
    size_t break_at; /* chapter that begins a page; 0: none has to */
    bool failed;
};

static void tagged_words(struct book *book, const char *tag, const struct face *face,
                         const struct ink *ink, double indent, const char *words)
{
    book_tag(book, tag);
    book_words(book, face, ink, indent, words);
    book_end_tag(book, tag);
}

static double height_of(struct book *book, const struct face *face, const char *words,
                        double indent)
{
    PangoLayout *layout = book_layout(book, face, words, book_width(book) - indent);
    double height = layout_height(layout);
    g_object_unref(layout);
    return height;
}

static void print_title(struct press *press, const struct block *block)
{
    struct book *book = &press->book;
    tagged_words(book, "H1", &title_face, &ink_black, 0, block->words[0]);
    book->y += 1;
    tagged_words(book, "P", &below_face, &ink_soft, 0, block->words[1]);
    book->y += 5;
    book_rule(book, book->left, book->y, book_width(book), 2, &ink_black);
    book->y += 2;
}

/* `room`: what must follow on the same page. */
static void print_heading(struct press *press, const struct block *block, double room)
{
    struct book *book = &press->book;
    bool chapter = block->level <= 2;
    book_space(book, chapter ? 15 : 9);
    book_need(book, room);
    book_mark(book, block->level, block->words[0]);
    tagged_words(book, chapter ? "H2" : "H3", chapter ? &chapter_face : &part_face, &ink_black, 0,
                 block->words[0]);
    if (chapter) {
        book->y += 2;
        book_rule(book, book->left, book->y, book_width(book), 0.6, &ink_line);
    }
    book->y += chapter ? 3 : 1;
}

static const struct ink *ink_of(enum finding finding)
{
    switch (finding) {
    case FINDING_LOWERED:
        return &ink_good;
    case FINDING_RAISED:
        return &ink_bad;
    case FINDING_NO_CHANGE_SHOWN:
    case FINDING_CANNOT_BE_SHOWN:
        break;
    }
    return &ink_soft;
}

static void print_finding(struct press *press, const struct block *block)
{
    struct book *book = &press->book;
    double height = height_of(book, &finding_face, block->words[0], 14) + 9;
    book_space(book, 4);
    book_need(book, height);
    book_box(book, book->left, book->y, book_width(book), height, true, &ink_ground);
    book_box(book, book->left, book->y, 5, height, true, ink_of(block->finding));
    book->y += 4.5;
    tagged_words(book, "P", &finding_face, &ink_black, 14, block->words[0]);
    book->y += 4.5;
}

/* The number, and beside it how sure it is and what it is in other units. */
static void print_key(struct press *press, const struct block *block)
{
    struct book *book = &press->book;
    PangoLayout *number = book_layout(book, &number_face, block->words[1], book_width(book));
    double indent = 10 + layout_width(number) + 16, tall = layout_height(number);
    g_object_unref(number);
    double beside = height_of(book, &body_face, block->words[2], indent + 10) +
                    height_of(book, &body_face, block->words[3], indent + 10);
    double body = fmax(tall, beside);
    double height = 10 + height_of(book, &body_face, block->words[0], 20) + body;
    book_space(book, 7);
    book_need(book, height);
    double top = book->y;
    book_box(book, book->left, top, book_width(book), height, false, &ink_line);
    book->y += 5;
    tagged_words(book, "P", &body_face, &ink_black, 10, block->words[0]);
    double line = book->y;
    book->y = line + (body - tall) / 2;
    tagged_words(book, "P", &number_face, &ink_black, 10, block->words[1]);
    book->y = line + (body - beside) / 2;
    tagged_words(book, "P", &body_face, &ink_black, indent, block->words[2]);
    tagged_words(book, "P", &body_face, &ink_soft, indent, block->words[3]);
    book->y = top + height;
}

/* `first` and `last` of a list. */
static void print_item(struct press *press, const struct block *block, bool first, bool last)
{
    struct book *book = &press->book;
    if (first)
        book_tag(book, "L");
    book_space(book, 3);
    book_need(book, 24);
    double y = book->y;
    book_tag(book, "LI");
    PangoLayout *dot = book_layout(book, &body_face, "•", 20);
    int line = 0;
    struct placing place = {book->left + 2, y, 0, 100, false};
    book_lines(book, dot, &line, &place, &ink_black);
    g_object_unref(dot);
    book_words(book, &body_face, &ink_black, 13, block->words[0]);
    book_end_tag(book, "LI");
    if (last)
        book_end_tag(book, "L");
}

/* --- charts */

static void print_missing(struct press *press, const struct drawing *drawing)
{
    struct text words = {0}, clean = {0};
    text_add(&words, "This chart could not be drawn. What it shows: ");
    text_add(&words, drawing->describes);
    text_clean(&clean, text_string(&words));
    press->failed |= words.failed || clean.failed;
    tagged_words(&press->book, "P", &body_face, &ink_soft, 0, text_string(&clean));
    text_free(&words);
    text_free(&clean);
}

/* The picture, on this page if it fits there a little smaller, else on the next. */
static bool print_picture(struct press *press, const struct text *svg, double caption,
                          double *indent)
{
    struct book *book = &press->book;
    double width = fmin(book_width(book), CHART_WIDTH * 72);
    double height = book_picture_height(svg->bytes, svg->length, width);
    if (!(height > 0))
        return false;
    double room = book_room(book) - caption;
    if (height > room && height * SHRUNK_LEAST > room) {
        book_next_page(book);
        room = book_room(book) - caption;
    }
    double scale = fmin(1, room / height);
    *indent = (book_width(book) - width * scale) / 2;
    book_tag(book, "Figure");
    bool drawn = book_picture(book, svg->bytes, svg->length, width * scale, height * scale);
    book_end_tag(book, "Figure");
    book->y += height * scale;
    return drawn;
}

static void print_figure(struct press *press, const struct block *block)
{
    const struct drawing *drawing = &press->drawings->list[block->figure];
    struct text caption = {0}, svg = {0};
    double indent = 0;
    text_addf(&caption, "Figure %zu. ", ++press->figures);
    text_clean(&caption, drawing->chart->title);
    book_space(&press->book, 9);
    double height = height_of(&press->book, &caption_face, text_string(&caption), 0) + 6;
    if (drawing->svg == NULL ||
        !picture_svg(&svg, drawing->svg, drawing->name, drawing->describes) ||
        !print_picture(press, &svg, height, &indent))
        print_missing(press, drawing);
    else if (!press->book.dry && press->alt_count < press->drawings->count)
        press->alts[press->alt_count++] = drawing->describes;
    press->book.y += 2;
    tagged_words(&press->book, "P", &caption_face, &ink_soft, indent, text_string(&caption));
    press->failed |= caption.failed || svg.failed;
    text_free(&caption);
    text_free(&svg);
}

static void print_code(struct press *press, const struct block *block)
{
    struct book *book = &press->book;
    double height = height_of(book, &code_face, block->words[0], 12);
    book_space(book, 5);
    if (height < (book->bottom - book->top) / 2) {
        book_need(book, height + 10);
        book_box(book, book->left, book->y, book_width(book), height + 10, true, &ink_ground);
    }
    book->y += 5;
    tagged_words(book, "Code", &code_face, &ink_black, 6, block->words[0]);
    book->y += 5;
}

/* --- all blocks */

/* What a heading needs below it on its page: the next block's first lines, or all of a picture. */
static double follows(struct press *press, const struct document *document, size_t index)
{
    double room = 58;
    for (size_t i = index + 1; i < document->count; i++) {
        if (document->blocks[i].kind == BLOCK_FIGURE) {
            const struct chart *chart = press->drawings->list[document->blocks[i].figure].chart;
            return room + (chart->height + 0.6) * 72 * SHRUNK_LEAST;
        }
        if (document->blocks[i].kind == BLOCK_KEY || document->blocks[i].kind == BLOCK_FINDING)
            return room + 60;
        if (document->blocks[i].kind == BLOCK_TABLE)
            return room + pdf_table_start(&press->book, document->blocks[i].table);
        if (document->blocks[i].kind != BLOCK_HEADING)
            break;
        room += 24;
    }
    return room;
}

static void mark_chapter(struct press *press, size_t index)
{
    press->chapter = index;
    press->chapter_page = press->book.page;
    press->chapter_top = press->book.y;
}

/* A few lines of the last chapter alone on the last page, such as a command without what it is for:
 * the chapter begins that page instead, if it fits. After a dry pass. */
static size_t chapter_to_move(const struct press *press)
{
    const struct book *book = &press->book;
    double page = book->bottom - book->top, over = book->y - book->top;
    double here = book->bottom - press->chapter_top + 30; /* with its heading */
    bool alone = press->chapter_page + 1 == book->page && over < LAST_LEAST * page;
    return alone && here + over <= page ? press->chapter : 0;
}

static void print_block(struct press *press, const struct document *document, size_t index)
{
    const struct block *block = &document->blocks[index];
    switch (block->kind) {
    case BLOCK_TITLE:
        print_title(press, block);
        break;
    case BLOCK_HEADING:
        if (press->break_at == index && index > 0)
            book_next_page(&press->book);
        print_heading(press, block, follows(press, document, index));
        if (block->level <= 2)
            mark_chapter(press, index);
        break;
    case BLOCK_PARAGRAPH:
        book_space(&press->book, 4);
        if (index + 1 < document->count && block[1].kind == BLOCK_CODE)
            book_need(&press->book, 60);
        tagged_words(&press->book, "P", &body_face, &ink_black, 0, block->words[0]);
        break;
    case BLOCK_FINDING:
        print_finding(press, block);
        break;
    case BLOCK_KEY:
        print_key(press, block);
        break;
    case BLOCK_ITEM:
        print_item(press, block, index == 0 || block[-1].kind != BLOCK_ITEM,
                   index + 1 == document->count || block[1].kind != BLOCK_ITEM);
        break;
    case BLOCK_TABLE:
        book_space(&press->book, 7);
        pdf_table(&press->book, block->table);
        break;
    case BLOCK_FIGURE:
        print_figure(press, block);
        break;
    case BLOCK_CODE:
        print_code(press, block);
        break;
    }
}

static enum status print_all(struct press *press, struct text *out, const struct document *document,
                             enum paper paper, struct complaint *complaint)
{
    struct text title = {0};
    size_t pages = press->book.pages;
    press->figures = 0;
    document_page_title(&title, document);
    enum status status = book_open(&press->book, out, paper, text_string(&title), complaint);
    press->book.pages = pages;
    if (status == STATUS_OK)
        book_tag(&press->book, "Document");
    for (size_t i = 0; i < document->count && status == STATUS_OK; i++)
        print_block(press, document, i);
    if (status == STATUS_OK)
        book_end_tag(&press->book, "Document");
    enum status closed = book_close(&press->book, complaint);
    text_free(&title);
    return status != STATUS_OK ? status : closed;
}

enum status report_pdf(struct text *out, const struct document *document,
                       const struct drawing_list *drawings, enum paper paper,
                       struct complaint *complaint)
{
    struct press press = {.drawings = drawings};
    if (!book_has_fonts())
        return complain(
            complaint, STATUS_NOT_FOUND,
            "no font is installed here, so report.pdf was not made; install DejaVu Sans "
            "(Debian package fonts-dejavu-core) and compare again");
    press.alts = calloc(drawings->count + 1, sizeof *press.alts);
    if (press.alts == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory left for the PDF report");
    enum status status = print_all(&press, NULL, document, paper, complaint);
    press.break_at = chapter_to_move(&press);
    press.book.pages = press.book.page;
    if (status == STATUS_OK)
        status = print_all(&press, out, document, paper, complaint);
    book_forget_fonts();
    /* Another Cairo may lay the file out differently: then it is as good as that Cairo makes it. */
    if (status == STATUS_OK)
        pdf_alt_add(out, press.alts, press.alt_count, "en");
    if (status == STATUS_OK && (press.failed || out->failed))
        status = complain(complaint, STATUS_MEMORY, "no memory left for the PDF report");
    free(press.alts);
    return status;
}
