/* workers.c - see workers.h. Children take the next job from a counter in shared memory and send
 * what came of it through a pipe each. */
#include "workers.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/types.h>
#include <sys/wait.h>
#include <unistd.h>

struct head {
    uint64_t index, length;
};

struct worker {
    pid_t pid;
    int from; /* reading end of its pipe; -1 when it is at its end */
    struct text got;
    size_t taken; /* bytes of it that were handed on */
};

struct crew {
    const struct work *work;
    size_t count;
    _Atomic size_t *next; /* shared with the children */
    bool *answered;
    size_t size;
    struct worker worker[WORKERS_MAX];
};

size_t workers_usual(void)
{
    long processors = sysconf(_SC_NPROCESSORS_ONLN);
    return processors < 1 ? 1 : processors > WORKERS_MAX ? WORKERS_MAX : (size_t)processors;
}

/* --- in a child */

static bool send_all(int to, const void *bytes, size_t length)
{
    const char *at = bytes;
    while (length > 0) {
        ssize_t sent = write(to, at, length);
        if (sent < 0 && errno == EINTR)
            continue;
        if (sent <= 0)
            return false;
        at += sent;
        length -= (size_t)sent;
    }
    return true;
}

static bool do_next(struct crew *crew, int to)
{
    struct head head = {.index = atomic_fetch_add(crew->next, 1)};
    struct text out = {0};
    if (head.index >= crew->count)
        return false;
    crew->work->job(crew->work->self, (size_t)head.index, &out);
    head.length = out.length;
    bool sent = !out.failed && send_all(to, &head, sizeof head) &&
                send_all(to, text_string(&out), out.length);
    text_free(&out);
    return sent;
}

/* Without the pipes of the others, so that each ends with its own worker. */
static void be_worker(struct crew *crew, const int ends[2])
{
    close(ends[0]);
    for (size_t i = 0; i < crew->size; i++)
        close(crew->worker[i].from);
    while (do_next(crew, ends[1]))
        continue;
}

/* --- in the parent */

static bool start_worker(struct crew *crew)
{
    struct worker *worker = &crew->worker[crew->size];
    int ends[2];
    if (pipe2(ends, O_CLOEXEC) != 0)
        return false;
    worker->pid = fork();
    if (worker->pid == 0) {
        be_worker(crew, ends);
        _exit(0);
    }
    close(ends[1]);
    if (worker->pid < 0) {
        close(ends[0]);
        return false;
    }
    worker->from = ends[0];
    worker->taken = 0;
    crew->size++;
    return true;
}

static void hand_on(struct crew *crew, struct worker *worker)
{
    struct head head;
    while (worker->got.length - worker->taken >= sizeof head) {
        const char *at = worker->got.bytes + worker->taken;
        memcpy(&head, at, sizeof head);
        if (worker->got.length - worker->taken - sizeof head < head.length)
            break;
        if (head.index < crew->count && !crew->answered[head.index]) {
            crew->answered[head.index] = true;
            crew->work->done(crew->work->self, (size_t)head.index, at + sizeof head,
                             (size_t)head.length);
        }
        worker->taken += sizeof head + (size_t)head.length;
    }
    worker->got.length -= worker->taken;
    if (worker->got.length > 0)
        memmove(worker->got.bytes, worker->got.bytes + worker->taken, worker->got.length);
    worker->taken = 0;
}

/* What a worker sent; at its end the pipe is closed. */
static void receive(struct crew *crew, struct worker *worker)
{
    char bytes[65536];
    ssize_t got = read(worker->from, bytes, sizeof bytes);
    if (got < 0 && errno == EINTR)
        return;
    if (got > 0)
        text_add_bytes(&worker->got, bytes, (size_t)got);
    if (got > 0 && !worker->got.failed) {
        hand_on(crew, worker);
        return;
    }
    close(worker->from);
    worker->from = -1;
}

static size_t wait_for_news(struct crew *crew)
{
    struct pollfd ends[WORKERS_MAX];
    size_t open = 0;
    for (size_t i = 0; i < crew->size; i++) {
        ends[i] = (struct pollfd){.fd = crew->worker[i].from, .events = POLLIN};
        open += crew->worker[i].from >= 0;
    }
    if (open == 0 || poll(ends, crew->size, -1) < 0)
        return open;
    for (size_t i = 0; i < crew->size; i++)
        if (crew->worker[i].from >= 0 && ends[i].revents)
            receive(crew, &crew->worker[i]);
    return open;
}

static void dismiss(struct crew *crew)
{
    for (size_t i = 0; i < crew->size; i++) {
        while (waitpid(crew->worker[i].pid, NULL, 0) < 0 && errno == EINTR)
            continue;
        text_free(&crew->worker[i].got);
    }
    crew->size = 0;
}

/* Jobs that were taken but never answered: their process failed. */
static void tell_failed(struct crew *crew)
{
    size_t taken = atomic_load(crew->next);
    for (size_t i = 0; i < crew->count && i < taken; i++)
        if (!crew->answered[i]) {
            crew->answered[i] = true;
            crew->work->done(crew->work->self, i, NULL, 0);
        }
}

/* The next job right here. */
static bool do_here(struct crew *crew)
{
    size_t index = atomic_fetch_add(crew->next, 1);
    struct text out = {0};
    if (index >= crew->count)
        return false;
    crew->work->job(crew->work->self, index, &out);
    crew->answered[index] = true;
    crew->work->done(crew->work->self, index, out.failed ? NULL : text_string(&out), out.length);
    text_free(&out);
    return true;
}

/* Until all jobs are taken: where every worker failed, the next crew goes on behind their jobs. */
static void do_all(struct crew *crew, size_t processes)
{
    while (atomic_load(crew->next) < crew->count) {
        while (processes > 1 && crew->size < processes && start_worker(crew))
            continue;
        if (crew->size == 0)
            while (do_here(crew))
                continue;
        while (wait_for_news(crew) > 0)
            continue;
        dismiss(crew);
        tell_failed(crew);
    }
}

enum status workers_run(const struct work *work, size_t count, size_t processes,
                        struct complaint *complaint)
{
    struct crew crew = {.work = work, .count = count};
    if (count == 0)
        return STATUS_OK;
    processes = processes > WORKERS_MAX ? WORKERS_MAX : processes;
    crew.next =
        mmap(NULL, sizeof *crew.next, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    crew.answered = calloc(count, sizeof *crew.answered);
    bool ready = crew.next != MAP_FAILED && crew.answered != NULL;
    if (ready) {
        atomic_init(crew.next, 0);
        do_all(&crew, processes < count ? processes : count);
    }
    if (crew.next != MAP_FAILED)
        munmap(crew.next, sizeof *crew.next);
    free(crew.answered);
    return ready ? STATUS_OK
                 : complain(complaint, STATUS_MEMORY, "no memory left to read the runs");
}
