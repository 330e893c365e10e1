/* colour.h - the palette of page, PDF and charts; see colours.def. */
#ifndef SEARUN_COLOUR_H
#define SEARUN_COLOUR_H

#include <stddef.h>

#include "text.h"

/* Colours as 0xRRGGBB, for constant expressions. */
enum colour_rgb {
#define COLOUR(id, name, rgb, role, grounds) COLOUR_##id = rgb,
#include "colours.def"
#undef COLOUR
};

enum colour_role {
    COLOUR_ROLE_GROUND,     /* others stand on it */
    COLOUR_ROLE_WORDS,      /* contrast of 4.5 */
    COLOUR_ROLE_MARK,       /* contrast of 3: lines, points, bars that tell something */
    COLOUR_ROLE_DECORATION, /* rules, grids, fills that have an outline */
};

enum { ON_WHITE = 1, ON_GROUND = 2, ON_PALE = 4, ON_FAINT = 8 };

struct colour {
    const char *name; /* of the variable in style sheets and gnuplot scripts */
    unsigned rgb;
    enum colour_role role;
    unsigned grounds; /* those it stands on */
};

extern const struct colour colours[];
extern const size_t colour_count;

/* "--ink:#1c1f22;..." for a style sheet. */
void colours_css(struct text *out);
/* "ink = '#1c1f22'" and so on, a line each, for a gnuplot script. */
void colours_gnuplot(struct text *out);

#endif
