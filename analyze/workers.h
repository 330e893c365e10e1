/* workers.h - many like jobs, done in several processes at once. HDF5 has one lock for the whole of
 * a process, so threads would wait for each other; and a file that brings a process down takes only
 * its own job with it.
 */
#ifndef SEARUN_WORKERS_H
#define SEARUN_WORKERS_H

#include <stddef.h>

#include "status.h"
#include "text.h"

struct work {
    void *self;
    /* Does one job and appends what came of it. May run in a child: nothing else it changes is seen
     * by the parent. */
    void (*job)(void *self, size_t index, struct text *out);
    /* Takes it in, in the parent, in the order in which jobs end. `bytes` is NULL if the process
     * that did the job failed. */
    void (*done)(void *self, size_t index, const char *bytes, size_t length);
};

/* As many processes as there are processors, WORKERS_MAX at most. */
#define WORKERS_MAX 8
size_t workers_usual(void);

/* Does all jobs. With one process, or where no more can be started, they are done right here.
 * STATUS_MEMORY. */
enum status workers_run(const struct work *work, size_t count, size_t processes,
                        struct complaint *complaint);

#endif
