/* writer.c - see writer.h. */
#include "writer.h"

#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <time.h>
#include <unistd.h>

#include "ring.h"

#define BATCH_MS 100 /* longest time a record lies in the ring while storage keeps up */

/* --- what lies in the ring: a struct record, and for some kinds a body behind it */

enum record_kind {
    RECORD_READINGS,
    RECORD_LINE,
    RECORD_FRAME,
    RECORD_NOTE,
    RECORD_UTC,
    RECORD_GAP,
    RECORD_END,
    RECORD_KIND_COUNT
};

struct record {
    uint8_t kind;
    uint8_t input;
    uint8_t length;  /* FRAME: bytes of data */
    bool has_origin; /* NOTE */
    uint32_t count;  /* READINGS: values; LINE: bytes; FRAME: the id */
    int64_t at;
};

struct readings_record {
    struct record record;
    struct origin origin;
};

struct frame_record {
    struct record record;
    uint8_t data[8];
};

struct note_record {
    struct record record;
    struct origin origin;
    char key[48];
    char text[256];
};

struct utc_record {
    struct record record;
    struct origin origin;
    int64_t unix_us;
};

struct gap_record {
    struct record record;
    int64_t until;
    uint64_t lost;
    char why[96];
};

struct end_record {
    struct record record;
    const struct run_end *end;
};

struct writer {
    struct ring *ring;
    pthread_t thread;
    int trouble_fd;
    struct open_store {
        const struct store *store;
        void *self;
    } stores[STORES_MAX];
    size_t store_count;
    const struct run_start *start; /* only while opening */

    pthread_mutex_t lock;
    pthread_cond_t changed;
    /* under the lock */
    bool opened;
    enum status status; /* first failure */
    struct complaint complaint;
};

/* --- producer's side: the loop thread */

static void copy_text(char *to, size_t room, const char *from)
{
    size_t length = strnlen(from, room - 1);
    memcpy(to, from, length);
    memset(to + length, 0, room - length);
}

bool writer_readings(struct writer *writer, int64_t at, const struct origin *origin,
                     const struct value *values, size_t count)
{
    struct readings_record head = {
        .record = {.kind = RECORD_READINGS, .count = (uint32_t)count, .at = at}, .origin = *origin};
    return ring_put(writer->ring, &head, sizeof head, values, count * sizeof *values);
}

bool writer_line(struct writer *writer, int64_t at, unsigned input, const char *bytes,
                 size_t length)
{
    struct record head = {
        .kind = RECORD_LINE, .input = (uint8_t)input, .count = (uint32_t)length, .at = at};
    return ring_put(writer->ring, &head, sizeof head, bytes, length);
}

bool writer_frame(struct writer *writer, int64_t at, unsigned input, uint32_t id,
                  const uint8_t *data, unsigned length)
{
    struct frame_record head = {.record = {.kind = RECORD_FRAME,
                                           .input = (uint8_t)input,
                                           .length = (uint8_t)length,
                                           .count = id,
                                           .at = at}};
    memcpy(head.data, data, length < sizeof head.data ? length : sizeof head.data);
    return ring_put(writer->ring, &head, sizeof head, NULL, 0);
}

bool writer_event(struct writer *writer, int64_t at, const struct origin *origin, const char *key,
                  const char *text)
{
    struct note_record head = {.record = {.kind = RECORD_NOTE, .at = at}};
    head.record.has_origin = origin != NULL;
    if (origin)
        head.origin = *origin;
    copy_text(head.key, sizeof head.key, key);
    copy_text(head.text, sizeof head.text, text);
    return ring_put(writer->ring, &head, sizeof head, NULL, 0);
}

bool writer_utc(struct writer *writer, int64_t at, const struct origin *origin, int64_t unix_us)
{
    struct utc_record head = {
        .record = {.kind = RECORD_UTC, .at = at}, .origin = *origin, .unix_us = unix_us};
    return ring_put(writer->ring, &head, sizeof head, NULL, 0);
}

bool writer_gap(struct writer *writer, int64_t from, int64_t until, unsigned input, const char *why,
                uint64_t lost)
{
    struct gap_record head = {.record = {.kind = RECORD_GAP, .input = (uint8_t)input, .at = from},
                              .until = until,
                              .lost = lost};
    copy_text(head.why, sizeof head.why, why);
    return ring_put(writer->ring, &head, sizeof head, NULL, 0);
}

double writer_fill(const struct writer *writer)
{
    return ring_fill(writer->ring);
}

/* --- consumer's side: the writer thread */

static enum status store_readings(const struct open_store *to, const struct record *record)
{
    const struct readings_record *it = (const struct readings_record *)(const void *)record;
    const struct value *values = (const struct value *)(const void *)(it + 1);
    return to->store->readings(to->self, record->at, &it->origin, values, record->count);
}

static enum status store_line(const struct open_store *to, const struct record *record)
{
    return to->store->line(to->self, record->at, record->input, (const char *)(record + 1),
                           record->count);
}

static enum status store_frame(const struct open_store *to, const struct record *record)
{
    const struct frame_record *it = (const struct frame_record *)(const void *)record;
    return to->store->frame(to->self, record->at, record->input, record->count, it->data,
                            record->length);
}

static enum status store_note(const struct open_store *to, const struct record *record)
{
    const struct note_record *it = (const struct note_record *)(const void *)record;
    return to->store->event(to->self, record->at, record->has_origin ? &it->origin : NULL, it->key,
                            it->text);
}

static enum status store_utc(const struct open_store *to, const struct record *record)
{
    const struct utc_record *it = (const struct utc_record *)(const void *)record;
    return to->store->utc(to->self, record->at, &it->origin, it->unix_us);
}

static enum status store_gap(const struct open_store *to, const struct record *record)
{
    const struct gap_record *it = (const struct gap_record *)(const void *)record;
    return to->store->gap(to->self, record->at, it->until, record->input, it->why, it->lost);
}

static enum status (*const store_record[RECORD_KIND_COUNT])(const struct open_store *to,
                                                            const struct record *record) = {
    [RECORD_READINGS] = store_readings, [RECORD_LINE] = store_line, [RECORD_FRAME] = store_frame,
    [RECORD_NOTE] = store_note,         [RECORD_UTC] = store_utc,   [RECORD_GAP] = store_gap,
};

/* Keeps the first failure and raises the flag for the loop. */
static void fail(struct writer *writer, enum status status, const struct complaint *complaint)
{
    pthread_mutex_lock(&writer->lock);
    if (writer->status == STATUS_OK) {
        writer->status = status;
        writer->complaint = *complaint;
    }
    pthread_mutex_unlock(&writer->lock);
    uint64_t one = 1;
    (void)!write(writer->trouble_fd, &one, sizeof one);
}

/* The store's functions answer without words; the system's reason is the best there is. */
static void fail_storing(struct writer *writer, const struct store *store, enum status status,
                         int error)
{
    struct complaint complaint = {""};
    complain(&complaint, status, "the %s can no longer be written%s%s", store->name,
             error ? ": " : "", error ? strerror(error) : "");
    fail(writer, status, &complaint);
}

static void store_in_all(struct writer *writer, const struct record *record, bool *failed)
{
    for (size_t i = 0; i < writer->store_count && !*failed; i++) {
        errno = 0;
        enum status status = store_record[record->kind](&writer->stores[i], record);
        if (status != STATUS_OK) {
            fail_storing(writer, writer->stores[i].store, status, errno);
            *failed = true;
        }
    }
}

static void close_all(struct writer *writer, const struct run_end *end, bool failed)
{
    struct run_end how = *end;
    how.clean = end->clean && !failed;
    for (size_t i = 0; i < writer->store_count; i++) {
        struct complaint complaint = {""};
        const struct open_store *open = &writer->stores[i];
        enum status status = open->store->close(open->self, &how, &complaint);
        if (status != STATUS_OK)
            fail(writer, status, &complaint);
    }
}

static enum status open_all(struct writer *writer, const struct store *const *stores)
{
    for (; *stores && writer->store_count < STORES_MAX; stores++) {
        struct open_store *open = &writer->stores[writer->store_count];
        struct complaint complaint = {""};
        open->store = *stores;
        enum status status = open->store->open(writer->start, &open->self, &complaint);
        if (status != STATUS_OK) {
            fail(writer, status, &complaint);
            return status;
        }
        writer->store_count++;
    }
    return STATUS_OK;
}

static void say_opened(struct writer *writer)
{
    pthread_mutex_lock(&writer->lock);
    writer->opened = true;
    pthread_cond_signal(&writer->changed);
    pthread_mutex_unlock(&writer->lock);
}

static void drain(struct writer *writer)
{
    bool failed = false;
    for (;;) {
        size_t size;
        const struct record *record = ring_take(writer->ring, BATCH_MS, &size);
        if (!record)
            continue;
        if (record->kind == RECORD_END) {
            const struct end_record *it = (const struct end_record *)(const void *)record;
            close_all(writer, it->end, failed);
            ring_release(writer->ring);
            return;
        }
        store_in_all(writer, record, &failed);
        ring_release(writer->ring);
    }
}

struct thread_start {
    struct writer *writer;
    const struct store *const *stores;
};

/* A run whose first store opened and whose second did not is closed again, as not clean. */
static void give_up_opening(struct writer *writer)
{
    static const struct tally none[INPUTS_MAX];
    const struct run_end end = {.start_unix_us = writer->start->start_unix_us,
                                .clock = writer->start->clock,
                                .tallies = none};
    close_all(writer, &end, true);
}

static void *work(void *argument)
{
    struct thread_start *start = argument;
    struct writer *writer = start->writer;
    bool opened = open_all(writer, start->stores) == STATUS_OK;
    if (!opened)
        give_up_opening(writer);
    say_opened(writer); /* `start` is gone from here on */
    if (opened)
        drain(writer);
    return NULL;
}

/* --- beginning and end */

static void free_writer(struct writer *writer)
{
    ring_free(writer->ring);
    if (writer->trouble_fd >= 0)
        close(writer->trouble_fd);
    pthread_cond_destroy(&writer->changed);
    pthread_mutex_destroy(&writer->lock);
    free(writer);
}

static struct writer *allocate(size_t ring_size)
{
    struct writer *writer = calloc(1, sizeof *writer);
    if (!writer)
        return NULL;
    pthread_mutex_init(&writer->lock, NULL);
    pthread_cond_init(&writer->changed, NULL);
    writer->trouble_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    if (writer->trouble_fd < 0 || ring_new(ring_size, &writer->ring) != STATUS_OK) {
        free_writer(writer);
        return NULL;
    }
    return writer;
}

static void wait_until_opened(struct writer *writer)
{
    pthread_mutex_lock(&writer->lock);
    while (!writer->opened)
        pthread_cond_wait(&writer->changed, &writer->lock);
    pthread_mutex_unlock(&writer->lock);
}

enum status writer_new(const struct store *const *stores, const struct run_start *start,
                       size_t ring_size, struct writer **out, struct complaint *complaint)
{
    struct writer *writer = allocate(ring_size);
    if (!writer)
        return complain(complaint, STATUS_MEMORY,
                        "no memory for a ring of %zu bytes; make ring_size smaller", ring_size);
    writer->start = start;
    struct thread_start thread_start = {writer, stores};
    if (pthread_create(&writer->thread, NULL, work, &thread_start) != 0) {
        free_writer(writer);
        return complain(complaint, STATUS_IO, "the system gives no thread for the writer");
    }
    wait_until_opened(writer);
    enum status status = writer_trouble(writer, complaint);
    if (status != STATUS_OK) {
        pthread_join(writer->thread, NULL);
        free_writer(writer);
        return status;
    }
    *out = writer;
    return STATUS_OK;
}

int writer_trouble_fd(const struct writer *writer)
{
    return writer->trouble_fd;
}

enum status writer_trouble(struct writer *writer, struct complaint *complaint)
{
    pthread_mutex_lock(&writer->lock);
    enum status status = writer->status;
    if (status != STATUS_OK && complaint)
        *complaint = writer->complaint;
    pthread_mutex_unlock(&writer->lock);
    return status;
}

/* The end must get in, however long storage takes to make room. */
static void put_end(struct writer *writer, const struct run_end *end)
{
    struct end_record head = {.record = {.kind = RECORD_END, .at = end->end}, .end = end};
    while (!ring_put(writer->ring, &head, sizeof head, NULL, 0))
        nanosleep(&(struct timespec){0, 1000000}, NULL);
    ring_wake(writer->ring);
}

enum status writer_finish(struct writer *writer, const struct run_end *end,
                          struct complaint *complaint)
{
    put_end(writer, end);
    pthread_join(writer->thread, NULL);
    enum status status = writer_trouble(writer, complaint);
    free_writer(writer);
    return status;
}

/* --- the run file as a store */

static enum status run_store_open(const struct run_start *start, void **self,
                                  struct complaint *complaint)
{
    struct run_writer *run = NULL;
    enum status status = run_write_open(start, &run, complaint);
    *self = run;
    return status;
}

static enum status run_store_readings(void *self, int64_t at, const struct origin *origin,
                                      const struct value *values, size_t count)
{
    return run_write_readings(self, at, origin, values, count);
}

static enum status run_store_line(void *self, int64_t at, unsigned input, const char *bytes,
                                  size_t length)
{
    return run_write_line(self, at, input, bytes, length);
}

static enum status run_store_frame(void *self, int64_t at, unsigned input, uint32_t id,
                                   const uint8_t *data, unsigned length)
{
    return run_write_frame(self, at, input, id, data, length);
}

static enum status run_store_event(void *self, int64_t at, const struct origin *origin,
                                   const char *key, const char *text)
{
    return run_write_event(self, at, origin, key, text);
}

static enum status run_store_utc(void *self, int64_t at, const struct origin *origin,
                                 int64_t unix_us)
{
    return run_write_utc(self, at, origin, unix_us);
}

static enum status run_store_gap(void *self, int64_t from, int64_t until, unsigned input,
                                 const char *why, uint64_t lost)
{
    return run_write_gap(self, from, until, input, why, lost);
}

static enum status run_store_close(void *self, const struct run_end *end,
                                   struct complaint *complaint)
{
    return run_write_close(self, end, complaint);
}

static const struct store run_store = {
    .name = "run file",
    .open = run_store_open,
    .readings = run_store_readings,
    .line = run_store_line,
    .frame = run_store_frame,
    .event = run_store_event,
    .utc = run_store_utc,
    .gap = run_store_gap,
    .close = run_store_close,
};

const struct store *const writer_stores[] = {&run_store, NULL};
