/* say.c - see say.h. */
#include "say.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define LONGEST 2048

static const char *const prefixes[] = {
    [SAY_ERROR] = "searun-logger: error: ",
    [SAY_WARNING] = "searun-logger: warning: ",
    [SAY_NOTE] = "searun-logger: ",
};

/* Words that quote a device or a file must not move the cursor or ring a bell. */
static void tame(char *text)
{
    for (; *text; text++)
        if ((unsigned char)*text < 0x20 || *text == 0x7F)
            *text = '?';
}

void say(const struct voice *voice, enum say_level level, const char *format, ...)
{
    if (level > voice->least)
        return;
    char line[LONGEST + 1];
    int head = snprintf(line, LONGEST, "%s", prefixes[level]);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(line + head, LONGEST - (size_t)head, format, arguments);
    va_end(arguments);
    tame(line);
    size_t length = strlen(line);
    line[length++] = '\n';
    /* A terminal that is gone must not stop the recording: the answer does not matter. */
    (void)!write(voice->fd, line, length);
}
