/* say.c - see say.h. */
#include "say.h"

#include <stdarg.h>
#include <inttypes.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define LONGEST 2048 /* less than PIPE_BUF: a pipe that has room at all takes it whole */
#define MOMENT_MS 20 /* what a slow terminal may take; one that takes longer is not waited for */

static const char *const prefixes[] = {
    [SAY_ERROR] = "searun-logger: error: ",
    [SAY_WARNING] = "searun-logger: warning: ",
    [SAY_NOTE] = "searun-logger: ",
};

/* The numbers of syslog(3). */
static const char *const level_prefixes[] = {
    [SAY_ERROR] = "<3>error: ",
    [SAY_WARNING] = "<4>warning: ",
    [SAY_NOTE] = "<6>",
};

bool say_is_journal(int fd)
{
    const char *stream = getenv("JOURNAL_STREAM");
    struct stat about;
    uintmax_t device, inode;
    char behind;
    return stream && fstat(fd, &about) == 0 &&
           sscanf(stream, "%" SCNuMAX ":%" SCNuMAX "%c", &device, &inode, &behind) == 2 &&
           device == about.st_dev && inode == about.st_ino;
}

/* Words that quote a device or a file must not move the cursor or ring a bell. */
static void tame(char *text)
{
    for (; *text; text++)
        if ((unsigned char)*text < 0x20 || *text == 0x7F)
            *text = '?';
}

static bool has_room(const struct voice *voice)
{
    struct pollfd it = {voice->fd, POLLOUT, 0};
    int wait = atomic_load(voice->unsaid) > 0 ? 0 : MOMENT_MS;
    return poll(&it, 1, wait) != 0 || it.revents != 0;
}

/* How many lines found no room, now that there is some. */
static void say_unsaid(const struct voice *voice)
{
    unsigned count = atomic_exchange(voice->unsaid, 0);
    char line[160];
    int length = snprintf(
        line, sizeof line, "%s%u message%s could not be shown: nothing took them\n",
        (voice->levels ? level_prefixes : prefixes)[SAY_WARNING], count, count == 1 ? "" : "s");
    if (count > 0)
        (void)!write(voice->fd, line, (size_t)length);
}

void say(const struct voice *voice, enum say_level level, const char *format, ...)
{
    if (level > voice->least)
        return;
    char line[LONGEST + 1];
    int head = snprintf(line, LONGEST, "%s", (voice->levels ? level_prefixes : prefixes)[level]);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(line + head, LONGEST - (size_t)head, format, arguments);
    va_end(arguments);
    tame(line);
    size_t length = strlen(line);
    line[length++] = '\n';
    if (voice->unsaid && !has_room(voice)) {
        atomic_fetch_add(voice->unsaid, 1);
        return;
    }
    if (voice->unsaid)
        say_unsaid(voice);
    /* A terminal that is gone must not stop the recording: the answer does not matter. */
    (void)!write(voice->fd, line, length);
}
