/* control.h - the local socket at which people and programs of this computer ask a logger that is
 * at work (request.h). Nothing of it is reachable from a network.
 *
 * A client connects to the Unix stream socket, sends one request as a line, and reads the answer to
 * its end: a first line "done" or "refused", and words behind it. Nobody can hold up the loop: a
 * few clients at most are served at a time, each for a few seconds, and nothing is waited for.
 */
#ifndef SEARUN_CONTROL_H
#define SEARUN_CONTROL_H

#include <stdint.h>
#include <stdio.h>

#include "request.h"
#include "status.h"

#define CONTROL_NAME "searun-logger.socket" /* in whichever folder */
#define CONTROL_CLIENTS_MAX 8               /* served at a time; a further one ends the oldest */
#define CONTROL_PATIENCE_S 5                /* for one client */
#define CONTROL_DONE "done\n"
#define CONTROL_REFUSED "refused\n"

struct control;

/* Who answers. Words go into `reply`, or into the complaint of a request that is refused. `uid`:
 * the user who asks, as the system says. */
struct control_host {
    void *self;
    enum status (*answer)(void *self, const struct request *request, unsigned uid, FILE *reply,
                          struct complaint *complaint);
};

/* Makes the socket with mode 0660. One that a dead logger left is replaced; of several loggers that
 * begin at once, one gets the name. STATUS_EXISTS if another logger listens there, or if something
 * else has that name; STATUS_IO, STATUS_NOT_FOUND, STATUS_MEMORY. `path` is copied. */
enum status control_open(const char *path, const struct control_host *host, struct control **out,
                         struct complaint *complaint);
void control_close(struct control *control); /* NULL is allowed */

/* Becomes readable when there is something to do. */
int control_fd(const struct control *control);

/* Does what can be done at once; returns when to come again at the latest. Instants in ns. */
int64_t control_step(struct control *control, int64_t now);

/* --- the other end */

/* Connects to the socket at that path: a descriptor that waits for CONTROL_PATIENCE_S at most, or
 * -1 with errno. */
int control_connect(const char *path);

#endif
