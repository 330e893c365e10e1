/* pdf_table.h - tables of a document on the pages of a PDF. */
#ifndef SEARUN_PDF_TABLE_H
#define SEARUN_PDF_TABLE_H

#include "document.h"
#include "pdf_book.h"

/* At the cursor, on as many pages as it needs; the head is repeated on each. */
void pdf_table(struct book *book, const struct table *table);

/* Height that its caption and first rows need on one page. */
double pdf_table_start(struct book *book, const struct table *table);

#endif
