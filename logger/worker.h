/* worker.h - something done beside recording, in a thread of its own. */
#ifndef SEARUN_WORKER_H
#define SEARUN_WORKER_H

#include <stdbool.h>

struct worker;

/* Begins `work(self, stop)`, which must look at *stop now and then and end when it is true. NULL
 * if the system gives no thread: the work is not done then. `self` must outlive it. At the end, 1
 * is added to the eventfd `wake_fd`, if it is not -1. */
struct worker *worker_start(void (*work)(void *self, const _Atomic bool *stop), void *self,
                            int wake_fd);

/* Whether the work has ended, so that worker_end does not wait. */
bool worker_is_done(const struct worker *worker);

/* Waits until the work has ended, and frees; with `stop`, asks it to end soon. NULL is allowed. */
void worker_end(struct worker *worker, bool stop);

#endif
