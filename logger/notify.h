/* notify.h - tells the service manager how it goes: the datagrams of sd_notify(3), by hand, because
 * the protocol is a few lines and the library is not. Without a service manager nothing is done.
 */
#ifndef SEARUN_NOTIFY_H
#define SEARUN_NOTIFY_H

#include <stdint.h>

struct notify {
    int fd;              /* -1: nobody listens */
    int64_t watchdog_ns; /* how often a sign of life is wanted, at least; 0: never */
};

/* Reads NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID. */
void notify_open(struct notify *notify);
void notify_close(struct notify *notify);

/* Sends assignments, one a line: "READY=1\nSTATUS=recording". Never waits. */
void notify_say(const struct notify *notify, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

#endif
