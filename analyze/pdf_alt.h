/* pdf_alt.h - what Cairo cannot say in a PDF: the words of pictures for those who cannot see them,
 * the language, and that its title is to be shown. Pure.
 *
 * Cairo 1.16 writes a structure tree (headings, paragraphs, lists, tables, figures) from its tags
 * and marks the file as tagged where all of them stand within one "Document", but has no call for
 * /Alt and /Lang. They are added as an incremental update (ISO 32000-1, 7.5.6): new
 * versions of the objects concerned behind the file's end, its own bytes untouched.
 */
#ifndef SEARUN_PDF_ALT_H
#define SEARUN_PDF_ALT_H

#include <stdbool.h>
#include <stddef.h>

#include "text.h"

/* Gives the figures of `pdf`, in the order in which they were drawn, the words `alts` (UTF-8), and
 * the file the language `language` ("en"). False, and nothing changed, where the file is not laid
 * out as Cairo 1.16 does it, has another number of figures, or memory ran out. */
bool pdf_alt_add(struct text *pdf, const char *const *alts, size_t count, const char *language);

#endif
