/* writer.h - the threads that own storage, and the way to them.
 *
 * The loop thread puts records in (the writer_... functions that answer bool; they copy, never
 * wait, and answer false if the ring has no room). Each store has a thread of its own, which takes
 * the records out in the same order: so a journal is not held up by a run file that compresses a
 * chunk. One more thread, the keeper, has what is written made durable and looks after space once
 * a second. Nothing else touches storage.
 */
#ifndef SEARUN_WRITER_H
#define SEARUN_WRITER_H

#include "run_write.h"

/* Something that keeps a run. Functions as in run_write.h; those marked (NULL) may be left out.
 * All are called by the store's own thread, except sync. After a failure a store gets nothing more
 * but `close`, which frees `self` in every case. */
struct store {
    const char *name; /* for people: "run file" */
    enum status (*open)(const struct run_start *start, void **self, struct complaint *complaint);
    enum status (*readings)(void *self, int64_t at, const struct origin *origin,
                            const struct value *values, size_t count); /* (NULL) */
    enum status (*line)(void *self, int64_t at, unsigned input, const char *bytes, size_t length);
    enum status (*frame)(void *self, int64_t at, unsigned input, uint32_t id, const uint8_t *data,
                         unsigned length);
    enum status (*event)(void *self, int64_t at, const struct origin *origin, const char *key,
                         const char *text);
    enum status (*utc)(void *self, int64_t at, const struct origin *origin,
                       int64_t unix_us); /* (NULL) */
    enum status (*gap)(void *self, int64_t from, int64_t until, unsigned input, const char *why,
                       uint64_t lost);
    /* So many more were counted, between the two instants, that have no message. (NULL) */
    enum status (*count)(void *self, int64_t first, int64_t last, unsigned input,
                         enum reason reason, uint64_t count);
    /* The computer's clock was set by so much at that instant. (NULL) */
    enum status (*clock_set)(void *self, int64_t at, int64_t step_us);
    /* Writes what it was given: called when the ring is empty, and every BATCH_MS at least.
     * (NULL) */
    enum status (*flush)(void *self);
    /* Makes durable what is written. May take long; called by the keeper, while other functions but
     * close may be at work. A failure is told and recording goes on. (NULL) */
    enum status (*sync)(void *self);
    enum status (*close)(void *self, const struct run_end *end, struct complaint *complaint);
    /* It is not to be after all: leaves nothing behind, and frees. */
    void (*abandon)(void *self);
};

#define BATCH_MS 100 /* longest time a record lies in the ring while storage keeps up */

/* The run file. */
extern const struct store run_file_store;

#define STORES_MAX 4

struct writer;

/* What the storing side tells while recording goes on. */
struct news {
    enum news_kind {
        NEWS_NOTE,
        NEWS_WARNING,
        NEWS_FULL /* no space is left beyond the reserve: the run is to be ended */
    } kind;
    char key[48];   /* of the event that the run file keeps: "sync_failed" */
    char text[256]; /* for people */
};

/* Something to be done by the keeper once a second; it tells by writer_tell. */
struct chore {
    void *self;
    void (*work)(void *self, struct writer *writer);
};

/* Opens the stores (NULL-terminated) one after the other and answers when that is done. `start`
 * need not outlive the call; `chore` may be NULL, and what it points to must. ring_size in bytes.
 * Errors: what the stores say; STATUS_MEMORY; STATUS_IO if the system gives no thread. */
enum status writer_new(const struct store *const *stores, const struct run_start *start,
                       size_t ring_size, const struct chore *chore, struct writer **out,
                       struct complaint *complaint);

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

bool writer_count(struct writer *writer, int64_t first, int64_t last, unsigned input,
                  enum reason reason, uint64_t count);

bool writer_clock_set(struct writer *writer, int64_t at, int64_t step_us);

/* ms since the slowest of the threads last got on: 0.1 s while all is well, far more while storage
 * does not answer. */
int64_t writer_stall(const struct writer *writer);

/* Share of the ring in use, 0 .. 1. */
double writer_fill(const struct writer *writer);

/* A descriptor that becomes readable when there is news or a store has failed. */
int writer_news_fd(const struct writer *writer);
/* Takes the next news; false if there is none. Any thread. */
bool writer_news(struct writer *writer, struct news *out);
/* Adds news; if nobody has listened for long, it is dropped. Any thread. */
void writer_tell(struct writer *writer, const struct news *news);
/* STATUS_OK, or how a store failed first, with words; STATUS_FULL if there was no space. The
 * others go on. Any thread. */
enum status writer_trouble(struct writer *writer, struct complaint *complaint);

/* Ends the run: waits until everything is stored, closes the stores, ends the threads and frees.
 * `end` and what it points to must stay as they are during the call. Answers the first failure of
 * the run or of closing. A failed run is closed as not clean. */
enum status writer_finish(struct writer *writer, const struct run_end *end,
                          struct complaint *complaint);

/* Ends the threads, leaves nothing behind (store.abandon), and frees. */
void writer_abandon(struct writer *writer);

#endif
