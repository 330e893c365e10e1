/* text.h - growing UTF-8 text, and the escapes that keep text from run files harmless.
 *
 * What comes from a run file, a path or the command line is data: it goes into an output only
 * through text_clean or one of the escaping functions, each of which also cleans. A failed
 * allocation makes the text stick at `failed`; later additions do nothing, so one check at the end
 * is enough.
 */
#ifndef SEARUN_TEXT_H
#define SEARUN_TEXT_H

#include <stdbool.h>
#include <stddef.h>

struct text {
    char *bytes; /* NUL-terminated, or NULL while empty; owned */
    size_t length, room;
    bool failed; /* memory ran out; the content is not complete */
};

/* Zero-initialise. Frees and clears. */
void text_free(struct text *text);
/* The bytes as a string, "" if there are none. */
const char *text_string(const struct text *text);
/* Takes the bytes out (to be freed by the caller); NULL if memory ran out. */
char *text_take(struct text *text);

void text_add(struct text *text, const char *string);
void text_add_bytes(struct text *text, const char *bytes, size_t length);
void text_addf(struct text *text, const char *format, ...) __attribute__((format(printf, 2, 3)));
void text_add_many(struct text *text, const char *string, size_t times);

/* Valid UTF-8 in one line: line ends, tabs and other control characters become one space, and so do
 * characters that change the direction of writing; bytes that are no UTF-8 become U+FFFD. */
void text_clean(struct text *text, const char *string);
/* The same, cut to `columns` screen columns; "…" stands for what was cut. */
void text_clip(struct text *text, const char *string, size_t columns);
/* Valid UTF-8 with line ends and tabs kept: for JSON, which escapes them. */
void text_valid(struct text *text, const char *string);
/* Cleaned and escaped for HTML text and double-quoted attributes. */
void text_html(struct text *text, const char *string);
/* Cleaned, as a single-quoted gnuplot string with its quotes: nothing in it is expanded. A single
 * quote becomes an apostrophe, "’". */
void text_gnuplot(struct text *text, const char *string, size_t columns);
/* Cleaned, as one CSV field (RFC 4180). A field that a spreadsheet would take for a formula gets an
 * apostrophe in front. */
void text_csv(struct text *text, const char *string);
/* One word of a POSIX shell command line; control characters in the $'...' form. */
void text_shell(struct text *text, const char *string);

/* Decodes one character of valid or broken UTF-8 at `at`, which must not be at the final NUL.
 * Returns its length in bytes (1 for a broken byte, *code is then 0xFFFD). */
size_t text_decode(const char *at, unsigned *code);
/* Whether two texts have the same letters and digits: case, blanks and punctuation do not count, so
 * that a name that was typed another way is still the same name. */
bool text_same_words(const char *a, const char *b);
/* Screen columns of one character (0 for combining marks, 2 for wide ones) and of a string. */
size_t text_columns_of(unsigned code);
size_t text_columns(const char *string);

#endif
