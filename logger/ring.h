/* ring.h - the bounded queue between the loop thread (one producer) and the threads that store (its
 * readers). Records of any size up to a bound lie end to end in one block of memory; every reader
 * takes every record, each at its own pace, and a record is gone when the slowest has released it.
 *
 * The producer never waits: a record that does not fit is refused, and the caller counts it.
 */
#ifndef SEARUN_RING_H
#define SEARUN_RING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "status.h"

struct ring;

#define RING_READERS_MAX 4

/* `size` in bytes, 4096 at least, is rounded up to a power of two; `readers` are numbered from 0.
 * STATUS_MEMORY. */
enum status ring_new(size_t size, unsigned readers, struct ring **out);
void ring_free(struct ring *ring);

/* Producer: copies head and body (either may be empty) as one record. False if there is no room; a
 * record of more than half the ring never finds room. */
bool ring_put(struct ring *ring, const void *head, size_t head_size, const void *body,
              size_t body_size);

/* Wakes the readers that wait. ring_put does so itself only when a reader that waits has a quarter
 * of the ring before it, so that readers work in batches and not once a message. */
void ring_wake(struct ring *ring);

/* Reader: takes its next record, or waits for one until the ring fills, ring_wake, or timeout_ms
 * are over; NULL if there is none even then. The record is aligned for any type and stays valid
 * until ring_release. */
const void *ring_take(struct ring *ring, unsigned reader, int timeout_ms, size_t *size);
void ring_release(struct ring *ring, unsigned reader);

/* Share of the ring in use, 0 .. 1, as the slowest reader has it; any side. */
double ring_fill(const struct ring *ring);

#endif
