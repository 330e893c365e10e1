/* colour.c - see colour.h. */
#include "colour.h"

const struct colour colours[] = {
#define COLOUR(id, name, rgb, role, grounds) {#name, rgb, COLOUR_ROLE_##role, grounds},
#include "colours.def"
#undef COLOUR
};
const size_t colour_count = sizeof colours / sizeof colours[0];

void colours_css(struct text *out)
{
    for (size_t i = 0; i < colour_count; i++)
        text_addf(out, "--%s:#%06x;", colours[i].name, colours[i].rgb);
}

void colours_gnuplot(struct text *out)
{
    for (size_t i = 0; i < colour_count; i++)
        text_addf(out, "%s = '#%06x'\n", colours[i].name, colours[i].rgb);
}
