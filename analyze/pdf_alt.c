/* pdf_alt.c - see pdf_alt.h. Names of clauses are those of ISO 32000-1:2008. */
#include "pdf_alt.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ENTRY 20 /* bytes of a line of the cross-reference table (7.5.4) */

struct pdf {
    const char *bytes;
    size_t length;
    size_t table;      /* where the cross-reference table is */
    size_t entries;    /* where its first entry is */
    size_t count;      /* objects, with the free one, 0 */
    size_t root;       /* number of the catalog */
    char trailer[200]; /* its keys, without the brackets */
};

static bool starts_at(const struct pdf *pdf, size_t at, const char *words)
{
    size_t length = strlen(words);
    return at <= pdf->length && length <= pdf->length - at &&
           memcmp(pdf->bytes + at, words, length) == 0;
}

/* Where `words` next stand from `at` on; pdf->length if nowhere. */
static size_t find(const struct pdf *pdf, size_t at, const char *words)
{
    const char *found =
        at < pdf->length ? memmem(pdf->bytes + at, pdf->length - at, words, strlen(words)) : NULL;
    return found == NULL ? pdf->length : (size_t)(found - pdf->bytes);
}

/* Reads a number at *at and passes over it. The bytes end in a NUL. */
static bool read_number(const struct pdf *pdf, size_t *at, size_t *number)
{
    char *end;
    if (*at >= pdf->length || pdf->bytes[*at] < '0' || pdf->bytes[*at] > '9')
        return false;
    *number = strtoul(pdf->bytes + *at, &end, 10);
    *at = (size_t)(end - pdf->bytes);
    return true;
}

/* "xref\n0 COUNT\n", the entries, "trailer\n<< KEYS >>" (7.5.4, 7.5.5). */
static bool read_table(struct pdf *pdf)
{
    static const char start[] = "xref\n0 ", trailer[] = "trailer\n<<", root[] = "/Root ";
    size_t at = pdf->table + strlen(start);
    if (!starts_at(pdf, pdf->table, start) || !read_number(pdf, &at, &pdf->count) ||
        pdf->count > pdf->length / ENTRY)
        return false;
    pdf->entries = at + 1;
    size_t keys = pdf->entries + pdf->count * ENTRY;
    if (!starts_at(pdf, keys, trailer))
        return false;
    keys += strlen(trailer);
    size_t end = find(pdf, keys, ">>"), place = find(pdf, keys, root) + strlen(root);
    if (end - keys >= sizeof pdf->trailer || place > end)
        return false;
    memcpy(pdf->trailer, pdf->bytes + keys, end - keys);
    pdf->trailer[end - keys] = '\0';
    return read_number(pdf, &place, &pdf->root);
}

static bool open_pdf(struct pdf *pdf, const struct text *text)
{
    static const char start[] = "startxref\n";
    *pdf = (struct pdf){.bytes = text_string(text), .length = text->length};
    size_t tail = pdf->length > 64 ? pdf->length - 64 : 0;
    size_t at = find(pdf, tail, start) + strlen(start);
    return read_number(pdf, &at, &pdf->table) && starts_at(pdf, at, "\n%%EOF\n") && read_table(pdf);
}

/* Where object `number` begins and where the dictionary it consists of ends (at its last ">>");
 * false for what is no dictionary or free. */
static bool find_object(const struct pdf *pdf, size_t number, size_t *start, size_t *end)
{
    char head[40];
    size_t entry = pdf->entries + number * ENTRY, at = entry, said;
    snprintf(head, sizeof head, "%zu 0 obj\n<<", number);
    if (!read_number(pdf, &at, start) || !starts_at(pdf, *start, head))
        return false;
    *end = find(pdf, *start, "endobj");
    said = *end;
    while (*end > *start && !starts_at(pdf, *end, ">>"))
        --*end;
    return said<pdf->length && * end> * start;
}

static bool is_figure(const struct pdf *pdf, size_t start, size_t end)
{
    size_t kind = find(pdf, start, "/S /Figure\n");
    return starts_at(pdf, find(pdf, start, "<<"), "<< /Type /StructElem\n") && kind < end;
}

/* A text string in UTF-16, big end first, as hexadecimal digits (7.9.2.2). */
static void add_string(struct text *out, const char *words)
{
    text_add(out, "<FEFF");
    while (*words != '\0') {
        unsigned code;
        words += text_decode(words, &code);
        if (code >= 0x10000)
            text_addf(out, "%04X%04X", 0xD800 + ((code - 0x10000) >> 10),
                      0xDC00 + ((code - 0x10000) & 0x3FF));
        else
            text_addf(out, "%04X", code);
    }
    text_add(out, ">");
}

/* --- the update */

struct update {
    struct text body, table; /* what is added: objects, and where they are */
    size_t base;             /* where the body begins in the whole file */
};

/* Begins the new version of an object: all it has, without its end. */
static void begin_object(struct update *update, const struct pdf *pdf, size_t number, size_t start,
                         size_t end)
{
    text_addf(&update->table, "%zu 1\n%010zu 00000 n \n", number,
              update->base + update->body.length);
    text_add_bytes(&update->body, pdf->bytes + start, end - start);
}

static void end_object(struct update *update)
{
    text_add(&update->body, ">>\nendobj\n");
}

/* Returns how many figures there are; the words of those that have some are added. */
static size_t update_objects(struct update *update, const struct pdf *pdf, const char *const *alts,
                             size_t count, const char *language)
{
    size_t figures = 0, start, end;
    for (size_t number = 1; number < pdf->count; number++) {
        if (!find_object(pdf, number, &start, &end))
            continue;
        if (number == pdf->root) {
            begin_object(update, pdf, number, start, end);
            text_addf(&update->body,
                      "   /Lang (%s)\n   /ViewerPreferences << /DisplayDocTitle true >>\n",
                      language);
            end_object(update);
        } else if (is_figure(pdf, start, end)) {
            if (figures < count) {
                begin_object(update, pdf, number, start, end);
                text_add(&update->body, "   /Alt ");
                add_string(&update->body, alts[figures]);
                text_add(&update->body, "\n");
                end_object(update);
            }
            figures++;
        }
    }
    return figures;
}

bool pdf_alt_add(struct text *text, const char *const *alts, size_t count, const char *language)
{
    struct pdf pdf;
    struct update update = {{0}, {0}, text->length};
    if (text->failed || !open_pdf(&pdf, text))
        return false;
    bool good = update_objects(&update, &pdf, alts, count, language) == count;
    size_t table = update.base + update.body.length;
    text_add(&update.body, "xref\n");
    text_add(&update.body, text_string(&update.table));
    text_addf(&update.body, "trailer\n<<%s   /Prev %zu\n>>\nstartxref\n%zu\n%%%%EOF\n", pdf.trailer,
              pdf.table, table);
    good = good && !update.body.failed && !update.table.failed;
    if (good)
        text_add_bytes(text, text_string(&update.body), update.body.length);
    text_free(&update.body);
    text_free(&update.table);
    return good && !text->failed;
}
