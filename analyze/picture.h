/* picture.h - what is done to gnuplot's pictures after they are drawn. Pure. */
#ifndef SEARUN_PICTURE_H
#define SEARUN_PICTURE_H

#include "text.h"

/* Adds the chunk that says 300 dots an inch (PNG specification, 11.3.5.3 pHYs) behind the header of
 * a PNG. False, and nothing changed, if it is no PNG or says its resolution already. */
bool picture_png_dpi(struct text *png);

/* Adds an SVG to a page: as an <svg> element with `alt` as its text for those who cannot see it,
 * its ids made unique by `prefix` (letters, digits, hyphens). Only elements and attributes that
 * gnuplot's drawings need are let through: nothing that runs, links or loads. False, and an
 * incomplete text, if the bytes are no SVG as gnuplot writes it. */
bool picture_svg(struct text *page, const char *svg, const char *prefix, const char *alt);

#endif
