/* status.c - words for what went wrong. */
#include "status.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* Length of `text` without a character that was cut in half at the end of the buffer. */
static size_t whole_characters(const char *text, size_t length)
{
    size_t at = length;
    while (at > 0 && ((unsigned char)text[at - 1] & 0xC0) == 0x80)
        at--;
    if (at == 0 || (unsigned char)text[at - 1] < 0xC0)
        return length; /* plain ASCII at the end, or no UTF-8 at all */
    unsigned char lead = (unsigned char)text[at - 1];
    size_t need = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
    return length - (at - 1) < need ? at - 1 : length;
}

enum status complain(struct complaint *to, enum status why, const char *format, ...)
{
    if (!to)
        return why;
    /* The words may quote the complaint that is replaced, so they are made beside it. */
    char text[sizeof to->text];
    va_list arguments;
    va_start(arguments, format);
    int wanted = vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    size_t length = wanted < 0 ? 0 : strlen(text);
    if (wanted >= (int)sizeof text)
        length = whole_characters(text, length);
    while (length > 0 && text[length - 1] == '\n')
        length--;
    memcpy(to->text, text, length);
    to->text[length] = '\0';
    return why;
}
