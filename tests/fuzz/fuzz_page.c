/* fuzz_page.c - any bytes as a name, as prose, as an SVG and as a PNG: what comes out is clean
 * text, holds no markup but that of a drawing, and cannot end a quoted string. */
#include <stdlib.h>
#include <string.h>

#include "../../analyze/picture.h"
#include "../../analyze/text.h"
#include "../../analyze/words.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void demand_clean(const char *text)
{
    while (*text != '\0') {
        unsigned code;
        size_t length = text_decode(text, &code);
        demand(length > 1 || (unsigned char)*text < 0x80);
        demand(code >= ' ' && code != 0x7F && code != 0x202E);
        text += length;
    }
}

static void try_text(const char *bytes)
{
    static const struct style us = {UNITS_US, true};
    struct text out = {0};
    text_html(&out, bytes);
    demand_clean(text_string(&out));
    demand(strpbrk(text_string(&out), "<>\"'") == NULL);
    text_free(&out);
    text_gnuplot(&out, bytes, 50);
    demand_clean(text_string(&out));
    demand(strchr(text_string(&out) + 1, '\'') == text_string(&out) + out.length - 1);
    text_free(&out);
    word_prose(&out, &us, bytes);
    demand_clean(text_string(&out));
    text_free(&out);
    text_csv(&out, bytes);
    demand_clean(text_string(&out));
    text_free(&out);
    text_shell(&out, bytes);
    text_free(&out);
}

static int is_one_of(const char *word, size_t length, const char *const *words, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (strlen(words[i]) == length && memcmp(words[i], word, length) == 0)
            return 1;
    return 0;
}

/* Attributes are written as name="value" behind one space; none acts, none leads away. */
static const char *demand_attributes(const char *at)
{
    static const char *const acting[] = {"style", "src", "onload", "onclick", "onerror", "class"};
    while (*at == ' ') {
        const char *name = ++at;
        size_t length = strcspn(at, "=");
        at += length;
        demand(at[0] == '=' && at[1] == '"');
        demand(!is_one_of(name, length, acting, sizeof acting / sizeof acting[0]));
        demand(length < 4 || memcmp(name + length - 4, "href", 4) != 0 || at[2] == '#');
        at = strchr(at + 2, '"');
        demand(at != NULL);
        at++;
    }
    return at;
}

/* Every tag of the page is one of a drawing. */
static void demand_drawing(const char *page)
{
    static const char *const allowed[] = {"svg",      "g",           "defs",    "rect",   "circle",
                                          "ellipse",  "path",        "line",    "use",    "polygon",
                                          "polyline", "text",        "tspan",   "filter", "feFlood",
                                          "pattern",  "feComposite", "clipPath"};
    page = strchr(page, '>'); /* the first is ours, with role and label */
    demand(page != NULL);
    while ((page = strchr(page, '<')) != NULL) {
        const char *name = page + 1 + (page[1] == '/');
        size_t length = strcspn(name, " >/");
        demand(is_one_of(name, length, allowed, sizeof allowed / sizeof allowed[0]));
        page = demand_attributes(name + length);
        demand(*page == '>' || (page[0] == '/' && page[1] == '>'));
    }
}

static void try_pictures(const char *bytes, size_t size)
{
    struct text page = {0}, png = {0};
    if (picture_svg(&page, bytes, "p", "alt"))
        demand_drawing(text_string(&page));
    text_free(&page);
    text_add_bytes(&png, bytes, size);
    size_t before = png.length;
    demand(picture_png_dpi(&png) ? png.length == before + 21 : png.length == before);
    text_free(&png);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *bytes = malloc(size + 1);
    if (bytes == NULL)
        return 0;
    memcpy(bytes, data, size);
    bytes[size] = '\0';
    try_text(bytes);
    try_pictures(bytes, size);
    free(bytes);
    return 0;
}
