/* status.c - words for what went wrong. */
#include "status.h"

#include <errno.h>
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

const char *status_words(int error)
{
    static const struct {
        int error;
        const char *words;
    } known[] = {
        {EACCES, "Permission denied; take another place, or have its owner let you"},
        {EPERM, "Permission denied; take another place, or have its owner let you"},
        {EROFS, "nothing can be written there; take another place"},
        {ENOSPC, "No space left on the disk; make room there, or take another place"},
        {EDQUOT, "No space left on the disk; make room there, or take another place"},
        {ENOENT, "No such file or directory; check the name and the folder"},
        {ENOTDIR, "a file stands where a folder is named; check the name"},
        {EISDIR, "it is a folder; name a file in it"},
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (known[i].error == error)
            return known[i].words;
    return strerror(error);
}
