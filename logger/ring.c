/* ring.c - see ring.h.
 *
 * `head` and the readers' `tail` count bytes ever written and ever released; their difference is
 * what a reader still has before it. Each belongs to one side, which alone writes it. A record
 * lies in one piece: where it would run over the end of the block, the rest of the block is
 * skipped.
 */
#include "ring.h"

#include <assert.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define RECORD_ALIGN ((size_t)16)
#define SMALLEST ((size_t)4096)

/* Stands before each record. `size` is the record's, or SKIP: nothing more before the end. */
struct prefix {
    _Alignas(16) size_t size;
};
#define SKIP SIZE_MAX

struct reader {
    _Atomic size_t tail;
    atomic_bool waiting; /* it sleeps, or is about to */
    bool woken;          /* under the lock */
};

struct ring {
    unsigned char *block;
    size_t size;
    _Atomic size_t head;
    unsigned reader_count;
    struct reader readers[RING_READERS_MAX];
    pthread_mutex_t lock;
    pthread_cond_t filled;
};

static size_t power_of_two(size_t size)
{
    size_t power = SMALLEST;
    while (power < size && power <= SIZE_MAX / 4)
        power *= 2;
    return power;
}

enum status ring_new(size_t size, unsigned readers, struct ring **out)
{
    struct ring *ring = calloc(1, sizeof *ring);
    assert(readers >= 1 && readers <= RING_READERS_MAX);
    if (!ring)
        return STATUS_MEMORY;
    ring->reader_count = readers;
    ring->size = power_of_two(size);
    ring->block = aligned_alloc(RECORD_ALIGN, ring->size);
    if (!ring->block) {
        free(ring);
        return STATUS_MEMORY;
    }
    pthread_condattr_t attributes;
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_cond_init(&ring->filled, &attributes);
    pthread_condattr_destroy(&attributes);
    pthread_mutex_init(&ring->lock, NULL);
    *out = ring;
    return STATUS_OK;
}

void ring_free(struct ring *ring)
{
    if (!ring)
        return;
    pthread_cond_destroy(&ring->filled);
    pthread_mutex_destroy(&ring->lock);
    free(ring->block);
    free(ring);
}

/* Bytes that a record of that size takes with its prefix. */
static size_t room_for(size_t size)
{
    return sizeof(struct prefix) + (size + RECORD_ALIGN - 1) / RECORD_ALIGN * RECORD_ALIGN;
}

static struct prefix *prefix_at(const struct ring *ring, size_t count)
{
    return (struct prefix *)(void *)(ring->block + (count & (ring->size - 1)));
}

/* Bytes from there to the end of the block. */
static size_t to_end(const struct ring *ring, size_t count)
{
    return ring->size - (count & (ring->size - 1));
}

/* Bytes up to `head` that this reader has not released. */
static size_t before(const struct reader *reader, size_t head)
{
    return head - atomic_load_explicit(&reader->tail, memory_order_acquire);
}

/* Bytes in use: those of the slowest reader. */
static size_t in_use(const struct ring *ring, size_t head)
{
    size_t most = 0;
    for (unsigned i = 0; i < ring->reader_count; i++) {
        size_t used = before(&ring->readers[i], head);
        most = used > most ? used : most;
    }
    return most;
}

/* Whether a reader that sleeps has enough to do. */
static bool should_wake(const struct ring *ring, size_t head)
{
    for (unsigned i = 0; i < ring->reader_count; i++)
        if (atomic_load(&ring->readers[i].waiting) &&
            before(&ring->readers[i], head) >= ring->size / 4)
            return true;
    return false;
}

static void copy_record(struct prefix *prefix, const void *head, size_t head_size, const void *body,
                        size_t body_size)
{
    unsigned char *record = (unsigned char *)(prefix + 1);
    prefix->size = head_size + body_size;
    if (head_size > 0)
        memcpy(record, head, head_size);
    if (body_size > 0)
        memcpy(record + head_size, body, body_size);
}

bool ring_put(struct ring *ring, const void *head, size_t head_size, const void *body,
              size_t body_size)
{
    if (head_size > ring->size || body_size > ring->size)
        return false;
    size_t need = room_for(head_size + body_size);
    size_t begin = atomic_load_explicit(&ring->head, memory_order_relaxed);
    size_t used = in_use(ring, begin);
    size_t skipped = to_end(ring, begin) < need ? to_end(ring, begin) : 0;
    if (need > ring->size / 2 || skipped + need > ring->size - used)
        return false;
    if (skipped > 0)
        prefix_at(ring, begin)->size = SKIP;
    copy_record(prefix_at(ring, begin + skipped), head, head_size, body, body_size);
    atomic_store(&ring->head, begin + skipped + need);
    if (used + skipped + need >= ring->size / 4 && should_wake(ring, begin + skipped + need))
        ring_wake(ring);
    return true;
}

void ring_wake(struct ring *ring)
{
    pthread_mutex_lock(&ring->lock);
    for (unsigned i = 0; i < ring->reader_count; i++)
        ring->readers[i].woken = true;
    pthread_cond_broadcast(&ring->filled);
    pthread_mutex_unlock(&ring->lock);
}

/* The next record if there is one, past what was skipped. */
static struct prefix *next_record(struct ring *ring, struct reader *reader)
{
    for (;;) {
        size_t tail = atomic_load_explicit(&reader->tail, memory_order_relaxed);
        if (tail == atomic_load(&ring->head))
            return NULL;
        struct prefix *prefix = prefix_at(ring, tail);
        if (prefix->size != SKIP)
            return prefix;
        atomic_store_explicit(&reader->tail, tail + to_end(ring, tail), memory_order_release);
    }
}

static struct timespec after(int timeout_ms)
{
    struct timespec when;
    clock_gettime(CLOCK_MONOTONIC, &when);
    when.tv_sec += timeout_ms / 1000;
    when.tv_nsec += timeout_ms % 1000 * 1000000L;
    if (when.tv_nsec >= 1000000000L) {
        when.tv_sec++;
        when.tv_nsec -= 1000000000L;
    }
    return when;
}

static void wait_for_more(struct ring *ring, struct reader *reader, int timeout_ms)
{
    struct timespec end = after(timeout_ms);
    pthread_mutex_lock(&ring->lock);
    atomic_store(&reader->waiting, true);
    /* A producer that filled the ring before it saw `waiting` is seen here. */
    size_t used = before(reader, atomic_load(&ring->head));
    while (!reader->woken && used < ring->size / 4)
        if (pthread_cond_timedwait(&ring->filled, &ring->lock, &end) != 0)
            break;
    reader->woken = false;
    atomic_store(&reader->waiting, false);
    pthread_mutex_unlock(&ring->lock);
}

const void *ring_take(struct ring *ring, unsigned number, int timeout_ms, size_t *size)
{
    struct reader *reader = &ring->readers[number];
    struct prefix *prefix = next_record(ring, reader);
    if (!prefix && timeout_ms > 0) {
        wait_for_more(ring, reader, timeout_ms);
        prefix = next_record(ring, reader);
    }
    if (!prefix)
        return NULL;
    *size = prefix->size;
    return prefix + 1;
}

void ring_release(struct ring *ring, unsigned number)
{
    struct reader *reader = &ring->readers[number];
    size_t tail = atomic_load_explicit(&reader->tail, memory_order_relaxed);
    const struct prefix *prefix = prefix_at(ring, tail);
    assert(tail != atomic_load(&ring->head) && prefix->size != SKIP);
    atomic_store_explicit(&reader->tail, tail + room_for(prefix->size), memory_order_release);
}

double ring_fill(const struct ring *ring)
{
    double most = 0;
    for (unsigned i = 0; i < ring->reader_count; i++) {
        /* The tail first: it never overtakes a head that is read later. */
        size_t tail = atomic_load(&ring->readers[i].tail);
        size_t used = atomic_load(&ring->head) - tail;
        double fill = used >= ring->size ? 1 : (double)used / (double)ring->size;
        most = fill > most ? fill : most;
    }
    return most;
}
