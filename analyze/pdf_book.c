/* pdf_book.c - pages, text and pictures of a PDF, by Cairo, Pango and librsvg. */
#include "pdf_book.h"

#include <cairo-pdf.h>
#include <fontconfig/fontconfig.h>
#include <librsvg/rsvg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "colour.h"

#define MILLIMETRE (72 / 25.4)
#define SIDE (18 * MILLIMETRE)
#define HEAD (14 * MILLIMETRE)
#define FOOT (18 * MILLIMETRE)
#define LINE_STRETCH 1.16 /* of the font's own line height */
#define MARK_COLUMNS 90   /* of a bookmark */
#define FOOT_COLUMNS 90

#define INK(rgb)                                                                                   \
    {                                                                                              \
        (double)((rgb) >> 16) / 255, (double)((rgb) >> 8 & 255) / 255, (double)((rgb)&255) / 255   \
    }
const struct ink ink_black = INK(COLOUR_INK), ink_soft = INK(COLOUR_SOFT),
                 ink_line = INK(COLOUR_LINE), ink_ground = INK(COLOUR_GROUND),
                 ink_good = INK(COLOUR_GOOD), ink_bad = INK(COLOUR_BAD);

/* --- pages */

static const struct {
    double width, height;
} papers[] = {
    [PAPER_A4] = {210 * MILLIMETRE, 297 * MILLIMETRE}, [PAPER_LETTER] = {8.5 * 72, 11 * 72}};

static cairo_status_t take_bytes(void *closure, const unsigned char *bytes, unsigned length)
{
    struct text *out = closure;
    text_add_bytes(out, (const char *)bytes, length);
    return out->failed ? CAIRO_STATUS_WRITE_ERROR : CAIRO_STATUS_SUCCESS;
}

static void describe(struct book *book, const char *title)
{
    cairo_pdf_surface_set_metadata(book->surface, CAIRO_PDF_METADATA_TITLE, title);
    cairo_pdf_surface_set_metadata(book->surface, CAIRO_PDF_METADATA_CREATOR,
                                   "searun-analyze " SEARUN_VERSION);
    cairo_pdf_surface_set_metadata(book->surface, CAIRO_PDF_METADATA_CREATE_DATE, "");
}

enum status book_open(struct book *book, struct text *out, enum paper paper, const char *title,
                      struct complaint *complaint)
{
    double width = papers[paper].width, height = papers[paper].height;
    struct text foot = {0};
    *book = (struct book){.dry = out == NULL,
                          .left = SIDE,
                          .right = width - SIDE,
                          .top = HEAD,
                          .bottom = height - FOOT,
                          .y = HEAD,
                          .page = 1};
    text_clip(&foot, title, FOOT_COLUMNS);
    book->foot = text_take(&foot);
    book->surface =
        cairo_pdf_surface_create_for_stream(out == NULL ? NULL : take_bytes, out, width, height);
    book->cairo = cairo_create(book->surface);
    describe(book, title);
    if (book->foot == NULL || cairo_status(book->cairo) != CAIRO_STATUS_SUCCESS)
        return complain(complaint, STATUS_MEMORY, "no memory left for the PDF report");
    return STATUS_OK;
}

static const struct face foot_face = {BOOK_FAMILY, 7, false};

static void end_page(struct book *book)
{
    struct text number = {0};
    int line = 0;
    struct placing place = {book->left, book->bottom + 8 * MILLIMETRE, book_width(book), 100,
                            false};
    text_addf(&number, "Page %zu of %zu", book->page, book->pages);
    book_rule(book, book->left, book->bottom + 6 * MILLIMETRE, book_width(book), 0.5, &ink_line);
    PangoLayout *name = book_layout(book, &foot_face, book->foot, book_width(book) * 0.8);
    PangoLayout *page = book_layout(book, &foot_face, text_string(&number), book_width(book));
    book_lines(book, name, &line, &place, &ink_soft);
    line = 0;
    place.right = true;
    book_lines(book, page, &line, &place, &ink_soft);
    g_object_unref(name);
    g_object_unref(page);
    text_free(&number);
    cairo_show_page(book->cairo);
}

enum status book_close(struct book *book, struct complaint *complaint)
{
    cairo_status_t status = CAIRO_STATUS_NO_MEMORY;
    if (book->foot != NULL && cairo_status(book->cairo) == CAIRO_STATUS_SUCCESS) {
        end_page(book);
        cairo_surface_finish(book->surface);
        status = cairo_status(book->cairo);
        if (status == CAIRO_STATUS_SUCCESS)
            status = cairo_surface_status(book->surface);
    }
    cairo_destroy(book->cairo);
    cairo_surface_destroy(book->surface);
    free(book->foot);
    return status == CAIRO_STATUS_SUCCESS
               ? STATUS_OK
               : complain(complaint, STATUS_IO, "the PDF report could not be made: %s",
                          cairo_status_to_string(status));
}

bool book_has_fonts(void)
{
    const FcFontSet *fonts = FcInit() ? FcConfigGetFonts(NULL, FcSetSystem) : NULL;
    return fonts != NULL && fonts->nfont > 0;
}

void book_forget_fonts(void)
{
    pango_cairo_font_map_set_default(NULL);
}

void book_next_page(struct book *book)
{
    end_page(book);
    book->page++;
    book->y = book->top;
}

double book_room(const struct book *book)
{
    return book->bottom - book->y;
}

double book_width(const struct book *book)
{
    return book->right - book->left;
}

void book_need(struct book *book, double height)
{
    if (height > book_room(book) && book->y > book->top)
        book_next_page(book);
}

void book_space(struct book *book, double height)
{
    if (book->y > book->top)
        book->y += height;
}

/* --- text */

PangoLayout *book_layout(struct book *book, const struct face *face, const char *words,
                         double width)
{
    PangoLayout *layout = pango_cairo_create_layout(book->cairo);
    PangoContext *context = pango_layout_get_context(layout);
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(context, options);
    cairo_font_options_destroy(options);
    pango_cairo_context_set_resolution(context, 72);
    PangoFontDescription *font = pango_font_description_new();
    pango_font_description_set_family(font, face->family);
    pango_font_description_set_absolute_size(font, face->size * PANGO_SCALE);
    pango_font_description_set_weight(font, face->bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    pango_layout_set_width(layout, (int)(width * PANGO_SCALE));
    pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_auto_dir(layout, FALSE); /* letters of any script start on the left here */
    pango_layout_set_text(layout, words, -1);
    return layout;
}

static double line_height(PangoLayoutLine *line, double *above, double *width)
{
    PangoRectangle logical;
    pango_layout_line_get_extents(line, NULL, &logical);
    double height = (double)logical.height / PANGO_SCALE;
    *above = -(double)logical.y / PANGO_SCALE + height * (LINE_STRETCH - 1) / 2;
    *width = (double)logical.width / PANGO_SCALE;
    return height * LINE_STRETCH;
}

double layout_height(PangoLayout *layout)
{
    double sum = 0, above, width;
    for (int i = 0; i < pango_layout_get_line_count(layout); i++)
        sum += line_height(pango_layout_get_line_readonly(layout, i), &above, &width);
    return sum;
}

double layout_width(PangoLayout *layout)
{
    double widest = 0, above, width;
    for (int i = 0; i < pango_layout_get_line_count(layout); i++) {
        line_height(pango_layout_get_line_readonly(layout, i), &above, &width);
        widest = fmax(widest, width);
    }
    return widest;
}

static void use(struct book *book, const struct ink *ink)
{
    cairo_set_source_rgb(book->cairo, ink->red, ink->green, ink->blue);
}

double book_lines(struct book *book, PangoLayout *layout, int *line, const struct placing *placing,
                  const struct ink *ink)
{
    double used = 0, above, width;
    bool whole_page = placing->room >= book->bottom - book->top - 1;
    use(book, ink);
    for (; *line < pango_layout_get_line_count(layout); ++*line) {
        PangoLayoutLine *next = pango_layout_get_line_readonly(layout, *line);
        double height = line_height(next, &above, &width);
        if (used + height > placing->room + 0.01 && !(whole_page && used <= 0))
            break;
        double x = placing->right ? placing->x + placing->width - width : placing->x;
        if (!book->dry) {
            cairo_move_to(book->cairo, x, placing->y + used + above);
            pango_cairo_show_layout_line(book->cairo, next);
        }
        used += height;
    }
    return used;
}

/* Two lines stay together at both ends of a page. */
static double least(PangoLayout *layout)
{
    double above, width, height = 0;
    for (int i = 0; i < 2 && i < pango_layout_get_line_count(layout); i++)
        height += line_height(pango_layout_get_line_readonly(layout, i), &above, &width);
    return height;
}

void book_words(struct book *book, const struct face *face, const struct ink *ink, double indent,
                const char *words)
{
    PangoLayout *layout = book_layout(book, face, words, book_width(book) - indent);
    double height = layout_height(layout);
    int line = 0, count = pango_layout_get_line_count(layout);
    book_need(book, count <= 4 ? height : least(layout));
    while (line < count) {
        struct placing place = {book->left + indent, book->y, 0, book_room(book), false};
        book->y += book_lines(book, layout, &line, &place, ink);
        if (line < count)
            book_next_page(book);
    }
    g_object_unref(layout);
}

/* --- lines, boxes, marks */

void book_rule(struct book *book, double x, double y, double width, double thickness,
               const struct ink *ink)
{
    book_box(book, x, y, width, thickness, true, ink);
}

void book_box(struct book *book, double x, double y, double width, double height, bool filled,
              const struct ink *ink)
{
    if (book->dry)
        return;
    use(book, ink);
    cairo_rectangle(book->cairo, x, y, width, height);
    cairo_set_line_width(book->cairo, 0.7);
    if (filled)
        cairo_fill(book->cairo);
    else
        cairo_stroke(book->cairo);
}

void book_mark(struct book *book, int level, const char *words)
{
    struct text name = {0}, place = {0};
    if (book->dry)
        return;
    text_clip(&name, words, MARK_COLUMNS);
    text_addf(&place, "page=%zu pos=[%.1f %.1f]", book->page, book->left, book->y);
    int parent = level <= 2 ? CAIRO_PDF_OUTLINE_ROOT : book->chapter;
    int mark = cairo_pdf_surface_add_outline(book->surface, parent, text_string(&name),
                                             text_string(&place), (cairo_pdf_outline_flags_t)0);
    if (level <= 2)
        book->chapter = mark;
    text_free(&name);
    text_free(&place);
}

void book_tag(struct book *book, const char *tag)
{
    if (!book->dry)
        cairo_tag_begin(book->cairo, tag, NULL);
}

void book_end_tag(struct book *book, const char *tag)
{
    if (!book->dry)
        cairo_tag_end(book->cairo, tag);
}

/* --- pictures */

/* NULL where it is no picture. No base address: nothing outside the picture can be asked for. */
static RsvgHandle *open_picture(const char *svg, size_t length)
{
    RsvgHandle *handle = rsvg_handle_new_from_data((const guint8 *)svg, length, NULL);
    if (handle != NULL)
        rsvg_handle_set_dpi(handle, 96);
    return handle;
}

static double height_of(RsvgHandle *handle, double width)
{
    gboolean has_width, has_height, has_box;
    RsvgLength out_width, out_height;
    RsvgRectangle box;
    rsvg_handle_get_intrinsic_dimensions(handle, &has_width, &out_width, &has_height, &out_height,
                                         &has_box, &box);
    return has_box && box.width > 0 && box.height > 0 ? width * box.height / box.width : 0;
}

double book_picture_height(const char *svg, size_t length, double width)
{
    RsvgHandle *handle = open_picture(svg, length);
    double height = handle == NULL ? 0 : height_of(handle, width);
    if (handle != NULL)
        g_object_unref(handle);
    return height;
}

bool book_picture(struct book *book, const char *svg, size_t length, double width, double height)
{
    if (book->dry)
        return true;
    RsvgHandle *handle = open_picture(svg, length);
    RsvgRectangle place = {book->left + (book_width(book) - width) / 2, book->y, width, height};
    bool drawn =
        handle != NULL && rsvg_handle_render_document(handle, book->cairo, &place, NULL) != FALSE;
    if (handle != NULL)
        g_object_unref(handle);
    return drawn;
}
