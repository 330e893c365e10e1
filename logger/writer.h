/* writer.h - the thread that owns storage, and the way into it.
 *
 * The loop thread puts records in (the writer_... functions that answer bool; they copy, never wait, and
 * answer false if the ring has no room). The writer thread takes them out in the same order and gives
 * each to every store in turn. Nothing else touches storage: a store is called by that one thread only.
 */
#ifndef SEARUN_WRITER_H
#define SEARUN_WRITER_H

#include "run_write.h"

/* Something that keeps a run. Functions as in run_write.h. After a failure a store gets nothing more
 * but `close`, which frees `self` in every case. */
struct store {
    const char *name; /* for people: "run file" */
    enum status (*open)(const struct run_start *start, void **self, struct complaint *complaint);
    enum status (*readings)(void *self, int64_t at, const struct origin *origin,
                            const struct value *values, size_t count);
    enum status (*line)(void *self, int64_t at, unsigned input, const char *bytes, size_t length);
    enum status (*frame)(void *self, int64_t at, unsigned input, uint32_t id, const uint8_t *data,
                         unsigned length);
    enum status (*event)(void *self, int64_t at, const struct origin *origin, const char *key,
                         const char *text);
    enum status (*utc)(void *self, int64_t at, const struct origin *origin, int64_t unix_us);
    enum status (*gap)(void *self, int64_t from, int64_t until, unsigned input, const char *why,
                       uint64_t lost);
    enum status (*close)(void *self, const struct run_end *end, struct complaint *complaint);
};

/* The stores of the program, NULL-terminated, in the order in which a record goes to them. */
extern const struct store *const writer_stores[];
#define STORES_MAX 4

struct writer;

/* Opens the stores in the new thread and answers when that is done. `start` need not outlive the call.
 * ring_size in bytes. Errors: what the stores say; STATUS_MEMORY; STATUS_IO if the system gives no
 * thread. */
enum status writer_new(const struct store *const *stores, const struct run_start *start,
                       size_t ring_size, struct writer **out, struct complaint *complaint);

bool writer_readings(struct writer *writer, int64_t at, const struct origin *origin,
                     const struct value *values, size_t count);
bool writer_line(struct writer *writer, int64_t at, unsigned input, const char *bytes,
                 size_t length);
bool writer_frame(struct writer *writer, int64_t at, unsigned input, uint32_t id,
                  const uint8_t *data, unsigned length);
/* origin may be NULL. Texts are cut at 47 and 255 bytes. */
bool writer_event(struct writer *writer, int64_t at, const struct origin *origin, const char *key,
                  const char *text);
bool writer_utc(struct writer *writer, int64_t at, const struct origin *origin, int64_t unix_us);
/* `why` is cut at 95 bytes. */
bool writer_gap(struct writer *writer, int64_t from, int64_t until, unsigned input, const char *why,
                uint64_t lost);

/* Share of the ring in use, 0 .. 1. */
double writer_fill(const struct writer *writer);

/* A descriptor that becomes readable when a store has failed; from then on records are taken and
 * dropped. */
int writer_trouble_fd(const struct writer *writer);
/* STATUS_OK, or how a store failed, with words. Any thread. */
enum status writer_trouble(struct writer *writer, struct complaint *complaint);

/* Ends the run: waits until everything is stored, closes the stores, ends the thread and frees. `end` and
 * what it points to must stay as they are during the call. Answers the first failure of the run or of
 * closing. A failed run is closed as not clean. */
enum status writer_finish(struct writer *writer, const struct run_end *end,
                          struct complaint *complaint);

#endif
