/* pdf_book.h - pages of a PDF: a cursor that moves down, lines of text that may go over to the next
 * page, page numbers, bookmarks. Lengths are in points (1/72 inch), from the top left of the page.
 *
 * A book is written twice: a dry pass counts the pages and draws nothing, the second knows how many
 * there are. The same blocks give the same bytes: no date of making is written into the file.
 */
#ifndef SEARUN_PDF_BOOK_H
#define SEARUN_PDF_BOOK_H

#include <pango/pangocairo.h>
#include <stdbool.h>
#include <stddef.h>

#include "document.h"
#include "status.h"
#include "text.h"

/* Colours of colours.def, each part from 0 to 1. */
struct ink {
    double red, green, blue;
};
extern const struct ink ink_black, ink_soft, ink_line, ink_ground, ink_good, ink_bad;

struct face {
    const char *family;
    double size; /* points */
    bool bold;
};
#define BOOK_FAMILY "DejaVu Sans, Noto Sans, sans-serif"
#define BOOK_MONO "DejaVu Sans Mono, monospace"

struct book {
    cairo_surface_t *surface;
    cairo_t *cairo;
    bool dry;
    double left, right, top, bottom; /* edges of the type area */
    double y;                        /* the cursor */
    size_t page, pages;              /* this one from 1; all of them, 0 while not known */
    int chapter;                     /* bookmark of the last heading of level 2 */
    char *foot;                      /* what stands at the foot of each page, owned */
};

/* Starts a book that is written to `out`, or nowhere if it is NULL (a dry pass). `title` goes into
 * the file's properties and to the foot of each page. STATUS_MEMORY, STATUS_IO. */
enum status book_open(struct book *book, struct text *out, enum paper paper, const char *title,
                      struct complaint *complaint);
/* Ends the last page and the file; in every case. */
enum status book_close(struct book *book, struct complaint *complaint);

/* Is there any font at all? Pango does not come back from laying out text without one. */
bool book_has_fonts(void);

/* Gives back the fonts that Pango keeps between books. What Cairo keeps stays: made to forget it,
 * Cairo 1.16 ends the program by an assertion where Pango's font thread is not done yet. */
void book_forget_fonts(void);

void book_next_page(struct book *book);
/* Space between the cursor and the foot of the page. */
double book_room(const struct book *book);
/* Goes to the next page unless there is room for `height`; not where the page is still empty. */
void book_need(struct book *book, double height);
/* Moves down; at the top of a page there is no space before a block. */
void book_space(struct book *book, double height);
double book_width(const struct book *book);

/* Text in lines of `width`. g_object_unref it. */
PangoLayout *book_layout(struct book *book, const struct face *face, const char *words,
                         double width);
double layout_height(PangoLayout *layout);
double layout_width(PangoLayout *layout);

/* Draws lines from *line on at x,y while they fit into `room`; *line moves on. At least one line is
 * drawn where `room` is a whole page. `right`: flush right in `width`. Returns the height used. */
struct placing {
    double x, y, width, room;
    bool right;
};
double book_lines(struct book *book, PangoLayout *layout, int *line, const struct placing *placing,
                  const struct ink *ink);

/* A paragraph at the cursor from left + indent on, over as many pages as it needs. */
void book_words(struct book *book, const struct face *face, const struct ink *ink, double indent,
                const char *words);

void book_rule(struct book *book, double x, double y, double width, double thickness,
               const struct ink *ink);
void book_box(struct book *book, double x, double y, double width, double height, bool filled,
              const struct ink *ink);

/* A bookmark to the cursor: level 2 stands at the top, deeper ones below the last of level 2. */
void book_mark(struct book *book, int level, const char *words);

/* Marks what is drawn between as a heading "H1", paragraph "P", cell "TD" ... for screen readers.
 * All stand within one "Document". What Cairo cannot say of them is added by pdf_alt.h. */
void book_tag(struct book *book, const char *tag);
void book_end_tag(struct book *book, const char *tag);

/* A picture in the middle below the cursor, `width` wide, and how high it is then; 0 if `svg` is no
 * picture that can be drawn. */
double book_picture_height(const char *svg, size_t length, double width);
bool book_picture(struct book *book, const char *svg, size_t length, double width, double height);

#endif
