/* tape_store.h - a store for tests that keeps everything in memory, and can be told to stall or
 * fail. */
#ifndef TAPE_STORE_H
#define TAPE_STORE_H

#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "../../logger/writer.h"

/* What a store was given, one line of text a record. Read it after writer_finish only. */
struct tape {
    char *text;
    size_t length, room;
    uint64_t lines, frames, readings, values, gaps, lost;
    int64_t gap_from, gap_until; /* of the last gap */
    bool opened, closed, clean, abandoned;
    int64_t end;
    struct run_input inputs[INPUTS_MAX];
    size_t input_count;
    struct tally tallies[INPUTS_MAX];
    bool silent;            /* count only, keep no text */
    atomic_bool stalled;    /* do not come back from the next call until this is false */
    atomic_uint fail_after; /* records to take before answering `failure`; 0: never */
    atomic_uint syncs;
    atomic_bool sync_fails;
    uint64_t flushes;
    enum status open_failure; /* STATUS_OK: opens */
};

static struct tape tape; /* the one that tape_store writes on */

__attribute__((unused)) static void tape_clear(void)
{
    free(tape.text);
    memset(&tape, 0, sizeof tape);
}

__attribute__((format(printf, 1, 2))) static void tape_note(const char *format, ...)
{
    va_list arguments;
    if (tape.silent)
        return;
    if (tape.length + 2048 > tape.room) {
        tape.room = tape.room * 2 + 4096;
        tape.text = realloc(tape.text, tape.room);
    }
    va_start(arguments, format);
    tape.length += (size_t)vsnprintf(tape.text + tape.length, 2048, format, arguments);
    va_end(arguments);
}

static enum status tape_answer(void)
{
    while (atomic_load(&tape.stalled))
        nanosleep(&(struct timespec){0, 1000000}, NULL);
    unsigned left = atomic_load(&tape.fail_after);
    if (left == 0)
        return STATUS_OK;
    atomic_store(&tape.fail_after, left - 1);
    if (left > 1)
        return STATUS_OK;
    atomic_store(&tape.fail_after, 1);
    errno = ENOSPC;
    return STATUS_IO;
}

static enum status tape_open(const struct run_start *start, void **self,
                             struct complaint *complaint)
{
    if (tape.open_failure != STATUS_OK)
        return complain(complaint, tape.open_failure, "the tape does not open");
    tape.opened = true;
    tape.input_count = start->input_count;
    for (size_t i = 0; i < start->input_count; i++)
        tape.inputs[i] = start->inputs[i];
    *self = &tape;
    return STATUS_OK;
}

static enum status tape_readings(void *self, int64_t at, const struct origin *origin,
                                 const struct value *values, size_t count)
{
    struct tape *it = self;
    it->readings++;
    it->values += count;
    for (size_t i = 0; i < count; i++)
        tape_note("%.6f %s%u %s=%g\n", (double)at / 1e9, place_key((enum place)origin->place),
                  origin->instance, channel_get((enum channel_id)values[i].channel)->key,
                  values[i].value);
    return tape_answer();
}

static enum status tape_line(void *self, int64_t at, unsigned input, const char *bytes,
                             size_t length)
{
    struct tape *it = self;
    it->lines++;
    tape_note("%.6f line %u %.*s\n", (double)at / 1e9, input, (int)length, bytes);
    return tape_answer();
}

static enum status tape_frame(void *self, int64_t at, unsigned input, uint32_t id,
                              const uint8_t *data, unsigned length)
{
    struct tape *it = self;
    it->frames++;
    tape_note("%.6f frame %u %08X#", (double)at / 1e9, input, id);
    for (unsigned i = 0; i < length; i++)
        tape_note("%02X", data[i]);
    tape_note("\n");
    return tape_answer();
}

static enum status tape_event(void *self, int64_t at, const struct origin *origin, const char *key,
                              const char *text)
{
    (void)self;
    tape_note("%.6f event %s %s %s\n", (double)at / 1e9, origin ? origin->message : "-", key, text);
    return tape_answer();
}

static enum status tape_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    (void)self;
    tape_note("%.6f utc %s %lld\n", (double)at / 1e9, origin->message, (long long)unix_us);
    return tape_answer();
}

static enum status tape_gap(void *self, int64_t from, int64_t until, unsigned input,
                            const char *why, uint64_t lost)
{
    struct tape *it = self;
    it->gaps++;
    it->lost += lost;
    it->gap_from = from;
    it->gap_until = until;
    tape_note("%.6f gap %u until %.6f lost %llu %s\n", (double)from / 1e9, input,
              (double)until / 1e9, (unsigned long long)lost, why);
    return tape_answer();
}

static enum status tape_count(void *self, int64_t first, int64_t last, unsigned input,
                              enum reason reason, uint64_t count)
{
    (void)self;
    tape_note("%.6f count %u until %.6f %s %llu\n", (double)first / 1e9, input, (double)last / 1e9,
              reason_key(reason), (unsigned long long)count);
    return tape_answer();
}

/* Called by the store's thread as everything else. */
static enum status tape_flush(void *self)
{
    struct tape *it = self;
    it->flushes++;
    return STATUS_OK;
}

/* Called by the keeper. */
static enum status tape_sync(void *self)
{
    struct tape *it = self;
    atomic_fetch_add(&it->syncs, 1);
    if (!atomic_load(&it->sync_fails))
        return STATUS_OK;
    errno = EIO;
    return STATUS_IO;
}

static void tape_abandon(void *self)
{
    struct tape *it = self;
    it->abandoned = true;
}

static enum status tape_close(void *self, const struct run_end *end, struct complaint *complaint)
{
    struct tape *it = self;
    (void)complaint;
    it->closed = true;
    it->clean = end->clean;
    it->end = end->end;
    for (size_t i = 0; end->tallies && i < it->input_count; i++)
        it->tallies[i] = end->tallies[i];
    return STATUS_OK;
}

static const struct store tape_store = {
    .name = "tape",
    .open = tape_open,
    .readings = tape_readings,
    .line = tape_line,
    .frame = tape_frame,
    .event = tape_event,
    .utc = tape_utc,
    .gap = tape_gap,
    .count = tape_count,
    .flush = tape_flush,
    .sync = tape_sync,
    .close = tape_close,
    .abandon = tape_abandon,
};

__attribute__((unused)) static const struct store *const tape_stores[] = {&tape_store, NULL};

/* A writer onto the tape, with inputs called a, b, c ... */
__attribute__((unused)) static struct writer *tape_writer(size_t ring_size, size_t input_count)
{
    struct writer *writer = NULL;
    struct run_input inputs[INPUTS_MAX];
    struct facts facts = {0};
    memset(inputs, 0, sizeof inputs);
    for (size_t i = 0; i < input_count; i++) {
        inputs[i].label[0] = (char)('a' + (int)i);
        strcpy(inputs[i].text, "udp:10110");
    }
    const struct run_start start = {
        .path = "tape", .facts = &facts, .inputs = inputs, .input_count = input_count};
    if (writer_new(tape_stores, &start, ring_size, NULL, &writer, NULL) != STATUS_OK)
        return NULL;
    return writer;
}

#endif
