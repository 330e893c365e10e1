/* worker.c - see worker.h. */
#include "worker.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>

struct worker {
    void (*work)(void *self, const _Atomic bool *stop);
    void *self;
    _Atomic bool stop;
    pthread_t thread;
};

static void *run(void *argument)
{
    struct worker *worker = argument;
    worker->work(worker->self, &worker->stop);
    return NULL;
}

struct worker *worker_start(void (*work)(void *self, const _Atomic bool *stop), void *self)
{
    struct worker *worker = calloc(1, sizeof *worker);
    if (!worker)
        return NULL;
    worker->work = work;
    worker->self = self;
    if (pthread_create(&worker->thread, NULL, run, worker) == 0)
        return worker;
    free(worker);
    return NULL;
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
