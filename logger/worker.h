/* worker.h - something done beside recording, in a thread of its own. */
#ifndef SEARUN_WORKER_H
#define SEARUN_WORKER_H

#include <stdbool.h>

struct worker;

/* Begins `work(self, stop)`, which must look at *stop now and then and end when it is true. NULL
 * if the system gives no thread: the work is not done then. `self` must outlive it. */
struct worker *worker_start(void (*work)(void *self, const _Atomic bool *stop), void *self);

/* Waits until the work has ended, and frees; with `stop`, asks it to end soon. NULL is allowed. */
void worker_end(struct worker *worker, bool stop);

#endif
