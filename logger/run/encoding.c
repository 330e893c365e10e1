/* encoding.c - text in UTF-8, whatever it came in. */
#include "encoding.h"

#include <iconv.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* In UTF-8, from that encoding; NULL if the bytes are not in it, or there is no memory. */
static char *convert(const char *bytes, size_t length, const char *encoding, size_t *out_length)
{
    iconv_t state = iconv_open("UTF-8", encoding);
    size_t left = length, room = 3 * length + 4, free_room = room - 1;
    char *from = (char *)(uintptr_t)bytes, *out = malloc(room), *to = out;
    bool done = state != (iconv_t)-1 && out != NULL &&
                iconv(state, &from, &left, &to, &free_room) != (size_t)-1;
    if (state != (iconv_t)-1)
        iconv_close(state);
    if (!done) {
        free(out);
        return NULL;
    }
    *to = '\0';
    *out_length = (size_t)(to - out);
    return out;
}

char *encoding_decode(const char *bytes, size_t length, size_t *out_length, const char **foreign)
{
    bool wide =
        length >= 2 && (memcmp(bytes, "\xFF\xFE", 2) == 0 || memcmp(bytes, "\xFE\xFF", 2) == 0);
    char *text = wide ? NULL : convert(bytes, length, "UTF-8", out_length);
    *foreign = NULL;
    if (text == NULL) {
        *foreign = wide ? "UTF-16" : "WINDOWS-1252";
        text = convert(bytes, length, *foreign, out_length);
    }
    if (text == NULL || memchr(text, '\0', *out_length) == NULL)
        return text;
    free(text);
    return NULL;
}
