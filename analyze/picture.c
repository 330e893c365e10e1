/* picture.c - gnuplot's pictures made fit for print programs and pages. */
#include "picture.h"

#include <stdint.h>
#include <string.h>

/* --- PNG */

/* Length, "pHYs", 11811 dots a metre both ways (300 an inch), unit metre, CRC-32. */
static const char resolution[] = "\x00\x00\x00\x09pHYs\x00\x00\x2e\x23\x00\x00\x2e\x23\x01"
                                 "\x78\xa5\x3f\x76";
#define RESOLUTION_LENGTH (sizeof resolution - 1)
#define HEADER_LENGTH 33u /* signature and the IHDR chunk, which is always first */

bool picture_png_dpi(struct text *png)
{
    static const char signature[] = "\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR";
    if (png->length <= HEADER_LENGTH || memcmp(png->bytes, signature, sizeof signature - 1) != 0)
        return false;
    const char *data = memmem(png->bytes, png->length, "IDAT", 4);
    size_t before_data = data == NULL ? png->length : (size_t)(data - png->bytes);
    if (memmem(png->bytes, before_data, "pHYs", 4) != NULL)
        return false;
    struct text marked = {0};
    text_add_bytes(&marked, png->bytes, HEADER_LENGTH);
    text_add_bytes(&marked, resolution, RESOLUTION_LENGTH);
    text_add_bytes(&marked, png->bytes + HEADER_LENGTH, png->length - HEADER_LENGTH);
    if (marked.failed) {
        text_free(&marked);
        return false;
    }
    text_free(png);
    *png = marked;
    return true;
}

/* --- SVG */

struct span {
    const char *at;
    size_t length;
};

static bool is_word(struct span span, const char *word)
{
    return strlen(word) == span.length && memcmp(span.at, word, span.length) == 0;
}

static bool is_one_of(struct span span, const char *const *words, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (is_word(span, words[i]))
            return true;
    return false;
}
#define IS_ONE_OF(span, words) is_one_of(span, words, sizeof(words) / sizeof((words)[0]))

static const char *const elements[] = {"svg",      "g",           "defs",    "rect",   "circle",
                                       "ellipse",  "path",        "line",    "use",    "polygon",
                                       "polyline", "text",        "tspan",   "filter", "feFlood",
                                       "pattern",  "feComposite", "clipPath"};
/* Elements whose text belongs to the drawing. */
static const char *const texts[] = {"text", "tspan"};
static const char *const attributes[] = {"id",
                                         "x",
                                         "y",
                                         "x1",
                                         "y1",
                                         "x2",
                                         "y2",
                                         "cx",
                                         "cy",
                                         "r",
                                         "rx",
                                         "ry",
                                         "dx",
                                         "dy",
                                         "d",
                                         "points",
                                         "width",
                                         "height",
                                         "viewBox",
                                         "transform",
                                         "fill",
                                         "fill-opacity",
                                         "fill-rule",
                                         "stroke",
                                         "stroke-width",
                                         "stroke-opacity",
                                         "stroke-linecap",
                                         "stroke-linejoin",
                                         "stroke-dasharray",
                                         "stroke-miterlimit",
                                         "color",
                                         "opacity",
                                         "font-family",
                                         "font-size",
                                         "font-weight",
                                         "font-style",
                                         "text-anchor",
                                         "baseline-shift",
                                         "in",
                                         "in2",
                                         "result",
                                         "operator",
                                         "flood-color",
                                         "flood-opacity",
                                         "filter",
                                         "filterUnits",
                                         "patternUnits",
                                         "patternTransform",
                                         "clip-path",
                                         "clipPathUnits",
                                         "shape-rendering",
                                         "xlink:href",
                                         "href"};

/* Adds an attribute's value: quotes and angles escaped, references to ids of this picture
 * prefixed. */
static void add_value(struct text *page, struct span value)
{
    for (size_t i = 0; i < value.length; i++) {
        char byte = value.at[i];
        if (byte == '"')
            text_add(page, "&quot;");
        else if (byte == '<')
            text_add(page, "&lt;");
        else if (byte == '>')
            text_add(page, "&gt;");
        else
            text_add_bytes(page, &byte, 1);
    }
}

/* "url(#x)" with the id prefixed; any other url() is left out. */
static bool add_url(struct text *page, struct span value, const char *prefix)
{
    static const char start[] = "url(#";
    const size_t length = sizeof start - 1;
    if (memmem(value.at, value.length, "url", 3) == NULL)
        return false;
    if (value.length > length && memcmp(value.at, start, length) == 0) {
        text_addf(page, "url(#%s-", prefix);
        add_value(page, (struct span){value.at + length, value.length - length});
    } else {
        text_add(page, "none");
    }
    return true;
}

static void add_attribute(struct text *page, struct span name, struct span value,
                          const char *prefix)
{
    bool href = is_word(name, "href") || is_word(name, "xlink:href");
    if (!IS_ONE_OF(name, attributes) || (href && (value.length < 2 || value.at[0] != '#')))
        return;
    text_add(page, " ");
    text_add_bytes(page, name.at, name.length);
    text_add(page, "=\"");
    if (href) {
        text_addf(page, "#%s-", prefix);
        add_value(page, (struct span){value.at + 1, value.length - 1});
    } else if (is_word(name, "id")) {
        text_addf(page, "%s-", prefix);
        add_value(page, value);
    } else if (!add_url(page, value, prefix)) {
        add_value(page, value);
    }
    text_add(page, "\"");
}

static bool is_space(char byte)
{
    return byte == ' ' || byte == '\t' || byte == '\n' || byte == '\r';
}

static bool ends_name(char byte)
{
    return is_space(byte) || byte == '\0' || byte == '=' || byte == '>' || byte == '/' ||
           byte == '<' || byte == '"' || byte == '\'';
}

static struct span take_name(const char **at)
{
    struct span name = {*at, 0};
    while (!ends_name(name.at[name.length]))
        name.length++;
    *at += name.length;
    return name;
}

static void skip_space(const char **at)
{
    while (is_space(**at))
        (*at)++;
}

struct tag {
    struct span name;
    bool closing, alone; /* </x>, <x/> */
    const char *attributes;
};

/* Takes name="value" or name='value'. False at the end of the tag, or where it is malformed. */
static bool take_attribute(const char **at, struct span *name, struct span *value)
{
    skip_space(at);
    *name = take_name(at);
    if (name->length == 0)
        return false;
    skip_space(at);
    if (**at != '=')
        return false;
    (*at)++;
    skip_space(at);
    char quote = **at;
    if (quote != '"' && quote != '\'')
        return false;
    const char *end = strchr(*at + 1, quote);
    if (end == NULL)
        return false;
    *value = (struct span){*at + 1, (size_t)(end - *at - 1)};
    *at = end + 1;
    return true;
}

/* Reads a tag at '<'; *at is behind it then. False if it is malformed. */
static bool take_tag(const char **at, struct tag *tag)
{
    struct span name, value;
    (*at)++;
    tag->closing = **at == '/';
    *at += tag->closing;
    tag->name = take_name(at);
    tag->attributes = *at;
    while (take_attribute(at, &name, &value))
        continue;
    skip_space(at);
    tag->alone = **at == '/';
    *at += tag->alone;
    if (**at != '>')
        return false;
    (*at)++;
    return true;
}

static void add_tag(struct text *page, const struct tag *tag, const char *prefix)
{
    struct span name, value;
    const char *at = tag->attributes;
    text_add(page, tag->closing ? "</" : "<");
    text_add_bytes(page, tag->name.at, tag->name.length);
    while (!tag->closing && take_attribute(&at, &name, &value))
        add_attribute(page, name, value, prefix);
    text_add(page, tag->alone ? "/>" : ">");
}

/* The <svg> of the page: as wide as its column, spoken as one picture. */
static void add_root(struct text *page, const struct tag *tag, const char *alt)
{
    struct span name, value;
    const char *at = tag->attributes;
    text_add(page, "<svg xmlns=\"http://www.w3.org/2000/svg\" "
                   "xmlns:xlink=\"http://www.w3.org/1999/xlink\" role=\"img\" aria-label=\"");
    text_html(page, alt);
    text_add(page, "\"");
    while (take_attribute(&at, &name, &value))
        if (is_word(name, "viewBox")) {
            text_add(page, " viewBox=\"");
            add_value(page, value);
            text_add(page, "\"");
        }
    text_add(page, ">");
}

/* Passes over a comment, a declaration or an instruction. False if it does not end. */
static bool skip_other(const char **at)
{
    const char *end = strncmp(*at, "<!--", 4) == 0 ? strstr(*at, "-->") : strchr(*at, '>');
    if (end == NULL)
        return false;
    *at = end + (strncmp(end, "-->", 3) == 0 ? 3 : 1);
    return true;
}

struct walk {
    unsigned depth;   /* of <svg> */
    unsigned in_text; /* of <text> and <tspan> */
    bool done;
};

static void pass_tag(struct text *page, struct walk *walk, const struct tag *tag,
                     const char *prefix, const char *alt)
{
    bool root = is_word(tag->name, "svg");
    if (root && !tag->closing && walk->depth == 0) {
        add_root(page, tag, alt);
        walk->depth = tag->alone ? 0 : 1;
        walk->done = tag->alone;
        return;
    }
    if (walk->depth == 0 || root || !IS_ONE_OF(tag->name, elements)) {
        walk->done |= root && tag->closing && walk->depth > 0;
        return;
    }
    if (IS_ONE_OF(tag->name, texts) && !tag->alone) {
        if (!tag->closing)
            walk->in_text++;
        else if (walk->in_text > 0)
            walk->in_text--;
    }
    add_tag(page, tag, prefix);
}

/* Text between two tags: only that of text elements is part of the drawing. */
static void pass_text(struct text *page, const struct walk *walk, struct span span)
{
    if (walk->in_text > 0)
        add_value(page, span);
    else if (walk->depth > 0 && memchr(span.at, '\n', span.length) != NULL)
        text_add(page, "\n");
}

bool picture_svg(struct text *page, const char *svg, const char *prefix, const char *alt)
{
    struct walk walk = {0};
    const char *at = svg;
    while (*at != '\0' && !walk.done) {
        const char *open = strchr(at, '<');
        struct tag tag;
        if (open == NULL)
            return false;
        pass_text(page, &walk, (struct span){at, (size_t)(open - at)});
        at = open;
        if (at[1] == '!' || at[1] == '?') {
            if (!skip_other(&at))
                return false;
        } else if (!take_tag(&at, &tag)) {
            return false;
        } else {
            pass_tag(page, &walk, &tag, prefix, alt);
        }
    }
    if (!walk.done)
        return false;
    text_add(page, "</svg>\n");
    return !page->failed;
}
