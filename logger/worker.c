/* worker.c - see worker.h. */
#include "worker.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdlib.h>
#include <unistd.h>

struct worker {
    void (*work)(void *self, const _Atomic bool *stop);
    void *self;
    int wake_fd;
    _Atomic bool stop, done;
    pthread_t thread;
};

static void *run(void *argument)
{
    struct worker *worker = argument;
    const uint64_t one = 1;
    int wake_fd = worker->wake_fd;
    worker->work(worker->self, &worker->stop);
    atomic_store(&worker->done, true);
    if (wake_fd >= 0)
        (void)!write(wake_fd, &one, sizeof one);
    return NULL;
}

struct worker *worker_start(void (*work)(void *self, const _Atomic bool *stop), void *self,
                            int wake_fd)
{
    struct worker *worker = calloc(1, sizeof *worker);
    if (!worker)
        return NULL;
    worker->work = work;
    worker->self = self;
    worker->wake_fd = wake_fd;
    if (pthread_create(&worker->thread, NULL, run, worker) == 0)
        return worker;
    free(worker);
    return NULL;
}

bool worker_is_done(const struct worker *worker)
{
    return atomic_load(&worker->done);
}

void worker_end(struct worker *worker, bool stop)
{
    if (!worker)
        return;
    if (stop)
        atomic_store(&worker->stop, true);
    pthread_join(worker->thread, NULL);
    free(worker);
}
