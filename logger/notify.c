/* notify.c - see notify.h. */
#include "notify.h"

#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#define LONGEST 1024

/* A path, or with an @ in front a name outside of any file system. */
static int connect_to(const char *name)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    size_t length = strlen(name);
    if ((name[0] != '/' && name[0] != '@') || length < 2 || length >= sizeof address.sun_path)
        return -1;
    memcpy(address.sun_path, name, length);
    if (name[0] == '@')
        address.sun_path[0] = '\0';
    int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    socklen_t room = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + length);
    if (fd >= 0 && connect(fd, (struct sockaddr *)&address, room) != 0) {
        close(fd);
        return -1;
    }
    return fd;
}

static int64_t watchdog_interval(void)
{
    const char *interval = getenv("WATCHDOG_USEC"), *pid = getenv("WATCHDOG_PID");
    if (!interval || (pid && strtoll(pid, NULL, 10) != getpid()))
        return 0;
    int64_t microseconds = strtoll(interval, NULL, 10);
    return microseconds > 0 && microseconds < INT64_MAX / 1000 ? microseconds * 1000 : 0;
}

void notify_open(struct notify *notify)
{
    const char *name = getenv("NOTIFY_SOCKET");
    notify->fd = name ? connect_to(name) : -1;
    notify->watchdog_ns = watchdog_interval();
}

void notify_close(struct notify *notify)
{
    if (notify->fd >= 0)
        close(notify->fd);
    notify->fd = -1;
}

void notify_say(const struct notify *notify, const char *format, ...)
{
    char text[LONGEST];
    va_list arguments;
    if (notify->fd < 0)
        return;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    (void)!write(notify->fd, text, strlen(text));
}
