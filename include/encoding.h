/* encoding.h - the text of a file as spreadsheets and editors save it, in UTF-8. Pure. */
#ifndef SEARUN_ENCODING_H
#define SEARUN_ENCODING_H

#include <stddef.h>

/* UTF-8 as it is, UTF-16 by its byte order mark, else Windows-1252, with a NUL behind its
 * *out_length bytes; to be freed. *foreign names the encoding where it was not UTF-8, else it is
 * NULL. NULL is returned if the bytes are no text (a NUL among them, or none of these encodings) or
 * memory ran out. */
char *encoding_decode(const char *bytes, size_t length, size_t *out_length, const char **foreign);

#endif
