/* writer.c - see writer.h. */
#include "writer.h"

#include <assert.h>
#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <time.h>
#include <unistd.h>

#include "ring.h"

#define KEEP_MS 1000 /* how often what is written is made durable */
#define NEWS_KEPT 16 /* news that nobody has asked for yet */

/* --- what lies in the ring: a struct record, and for some kinds a body behind it */

enum record_kind {
    RECORD_READINGS,
    RECORD_LINE,
    RECORD_FRAME,
    RECORD_NOTE,
    RECORD_UTC,
    RECORD_GAP,
    RECORD_COUNT,
    RECORD_CLOCK_SET,
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

struct count_record {
    struct record record; /* at: the first */
    int64_t last;
    uint64_t count;
    enum reason reason;
};

struct clock_record {
    struct record record;
    int64_t step_us;
};

struct end_record {
    struct record record;
    const struct run_end *end; /* NULL: leave nothing behind */
};

/* A store and its thread. */
struct keeping {
    struct writer *writer;
    const struct store *store;
    void *self;
    unsigned reader; /* its number in the ring */
    pthread_t thread;
    atomic_bool failed;
    _Atomic int64_t moved_ms;  /* when the thread last took a record, or found none */
    uint64_t sync_failures;    /* the keeper's */
    pthread_mutex_t sync_lock; /* sync and close never meet */
    bool closing;              /* under it */
};

struct writer {
    struct ring *ring;
    int news_fd;
    struct keeping keepings[STORES_MAX];
    size_t count;
    const struct run_start *start; /* only while opening */
    struct chore chore;
    pthread_t keeper;
    bool keeper_runs;
    _Atomic int64_t kept_ms; /* when the keeper last began to keep */

    pthread_mutex_t lock;
    pthread_cond_t changed;
    /* under the lock */
    size_t opened;                   /* stores that have answered */
    enum { WAIT, GO, GIVE_UP } word; /* to stores that are open */
    bool stop_keeping;
    enum status status; /* first failure */
    struct complaint complaint;
    struct news news[NEWS_KEPT];
    size_t news_count;
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

bool writer_count(struct writer *writer, int64_t first, int64_t last, unsigned input,
                  enum reason reason, uint64_t count)
{
    struct count_record head = {
        .record = {.kind = RECORD_COUNT, .input = (uint8_t)input, .at = first},
        .last = last,
        .count = count,
        .reason = reason};
    return ring_put(writer->ring, &head, sizeof head, NULL, 0);
}

bool writer_clock_set(struct writer *writer, int64_t at, int64_t step_us)
{
    struct clock_record head = {.record = {.kind = RECORD_CLOCK_SET, .at = at}, .step_us = step_us};
    return ring_put(writer->ring, &head, sizeof head, NULL, 0);
}

double writer_fill(const struct writer *writer)
{
    return ring_fill(writer->ring);
}

/* --- a store's side: its thread */

static enum status store_readings(const struct keeping *to, const struct record *record)
{
    const struct readings_record *it = (const struct readings_record *)(const void *)record;
    const struct value *values = (const struct value *)(const void *)(it + 1);
    return to->store->readings(to->self, record->at, &it->origin, values, record->count);
}

static enum status store_line(const struct keeping *to, const struct record *record)
{
    return to->store->line(to->self, record->at, record->input, (const char *)(record + 1),
                           record->count);
}

static enum status store_frame(const struct keeping *to, const struct record *record)
{
    const struct frame_record *it = (const struct frame_record *)(const void *)record;
    return to->store->frame(to->self, record->at, record->input, record->count, it->data,
                            record->length);
}

static enum status store_note(const struct keeping *to, const struct record *record)
{
    const struct note_record *it = (const struct note_record *)(const void *)record;
    return to->store->event(to->self, record->at, record->has_origin ? &it->origin : NULL, it->key,
                            it->text);
}

static enum status store_utc(const struct keeping *to, const struct record *record)
{
    const struct utc_record *it = (const struct utc_record *)(const void *)record;
    return to->store->utc(to->self, record->at, &it->origin, it->unix_us);
}

static enum status store_gap(const struct keeping *to, const struct record *record)
{
    const struct gap_record *it = (const struct gap_record *)(const void *)record;
    return to->store->gap(to->self, record->at, it->until, record->input, it->why, it->lost);
}

static enum status store_count(const struct keeping *to, const struct record *record)
{
    const struct count_record *it = (const struct count_record *)(const void *)record;
    return to->store->count(to->self, record->at, it->last, record->input, it->reason, it->count);
}

static enum status store_clock_set(const struct keeping *to, const struct record *record)
{
    const struct clock_record *it = (const struct clock_record *)(const void *)record;
    return to->store->clock_set(to->self, record->at, it->step_us);
}

static enum status (*const store_record[RECORD_KIND_COUNT])(const struct keeping *to,
                                                            const struct record *record) = {
    [RECORD_READINGS] = store_readings, [RECORD_LINE] = store_line,
    [RECORD_FRAME] = store_frame,       [RECORD_NOTE] = store_note,
    [RECORD_UTC] = store_utc,           [RECORD_GAP] = store_gap,
    [RECORD_COUNT] = store_count,       [RECORD_CLOCK_SET] = store_clock_set,
};

/* Whether the store wants records of that kind at all. */
static bool wants(const struct store *store, uint8_t kind)
{
    switch (kind) {
    case RECORD_READINGS:
        return store->readings != NULL;
    case RECORD_UTC:
        return store->utc != NULL;
    case RECORD_COUNT:
        return store->count != NULL;
    case RECORD_CLOCK_SET:
        return store->clock_set != NULL;
    default:
        return true;
    }
}

static void wake_listener(const struct writer *writer)
{
    uint64_t one = 1;
    (void)!write(writer->news_fd, &one, sizeof one);
}

/* Keeps the first failure and raises the flag for the loop. */
static void fail(struct writer *writer, enum status status, const struct complaint *complaint)
{
    pthread_mutex_lock(&writer->lock);
    if (writer->status == STATUS_OK) {
        writer->status = status;
        writer->complaint = *complaint;
    }
    pthread_mutex_unlock(&writer->lock);
    wake_listener(writer);
}

/* The store's functions answer without words; the system's reason is the best there is. */
static void fail_storing(struct keeping *it, enum status status, int error)
{
    struct complaint complaint = {""};
    if (error == ENOSPC || error == EDQUOT)
        status = STATUS_FULL;
    complain(&complaint, status, "the %s can no longer be written%s%s", it->store->name,
             error ? ": " : "", error ? strerror(error) : "");
    atomic_store(&it->failed, true);
    fail(it->writer, status, &complaint);
}

static void store_one(struct keeping *it, const struct record *record)
{
    if (atomic_load(&it->failed) || !wants(it->store, record->kind))
        return;
    errno = 0;
    enum status status = store_record[record->kind](it, record);
    if (status != STATUS_OK)
        fail_storing(it, status, errno);
}

static void flush(struct keeping *it)
{
    if (atomic_load(&it->failed) || !it->store->flush)
        return;
    errno = 0;
    enum status status = it->store->flush(it->self);
    if (status != STATUS_OK)
        fail_storing(it, status, errno);
}

static void close_store(struct keeping *it, const struct run_end *end)
{
    struct complaint complaint = {""};
    pthread_mutex_lock(&it->sync_lock);
    it->closing = true;
    pthread_mutex_unlock(&it->sync_lock);
    if (!end) {
        it->store->abandon(it->self);
        return;
    }
    struct run_end how = *end;
    how.clean = end->clean && writer_trouble(it->writer, NULL) == STATUS_OK;
    enum status status = it->store->close(it->self, &how, &complaint);
    if (status != STATUS_OK)
        fail(it->writer, status, &complaint);
}

static int64_t now_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* Takes the next record; where there is none, writes what there is and waits for a batch. */
static const struct record *take(struct keeping *it, int64_t *flushed_at)
{
    size_t size;
    const struct record *record = ring_take(it->writer->ring, it->reader, 0, &size);
    if (record && now_ms() - *flushed_at < BATCH_MS)
        return record;
    flush(it);
    *flushed_at = now_ms();
    return record ? record : ring_take(it->writer->ring, it->reader, BATCH_MS, &size);
}

static void drain(struct keeping *it)
{
    int64_t flushed_at = now_ms();
    for (;;) {
        const struct record *record = take(it, &flushed_at);
        atomic_store_explicit(&it->moved_ms, flushed_at, memory_order_relaxed);
        if (!record)
            continue;
        if (record->kind == RECORD_END) {
            const struct end_record *end = (const struct end_record *)(const void *)record;
            close_store(it, end->end);
            ring_release(it->writer->ring, it->reader);
            return;
        }
        store_one(it, record);
        ring_release(it->writer->ring, it->reader);
    }
}

int64_t writer_stall(const struct writer *writer)
{
    int64_t earliest = atomic_load(&writer->kept_ms);
    for (size_t i = 0; i < writer->count; i++) {
        int64_t moved = atomic_load(&writer->keepings[i].moved_ms);
        earliest = moved < earliest ? moved : earliest;
    }
    int64_t now = now_ms();
    return now > earliest ? now - earliest : 0;
}

static void answer_opened(struct writer *writer, enum status status,
                          const struct complaint *complaint)
{
    if (status != STATUS_OK)
        fail(writer, status, complaint);
    pthread_mutex_lock(&writer->lock);
    writer->opened++;
    pthread_cond_broadcast(&writer->changed);
    pthread_mutex_unlock(&writer->lock);
}

/* Waits until all stores are open, or one is not. */
static bool wait_for_word(struct writer *writer)
{
    pthread_mutex_lock(&writer->lock);
    while (writer->word == WAIT)
        pthread_cond_wait(&writer->changed, &writer->lock);
    bool go = writer->word == GO;
    pthread_mutex_unlock(&writer->lock);
    return go;
}

static void *work(void *argument)
{
    struct keeping *it = argument;
    struct complaint complaint = {""};
    enum status status = it->store->open(it->writer->start, &it->self, &complaint);
    answer_opened(it->writer, status, &complaint);
    if (status != STATUS_OK)
        return NULL;
    if (wait_for_word(it->writer))
        drain(it);
    else
        it->store->abandon(it->self);
    return NULL;
}

/* --- news */

bool writer_news(struct writer *writer, struct news *out)
{
    uint64_t count;
    (void)!read(writer->news_fd, &count, sizeof count);
    pthread_mutex_lock(&writer->lock);
    bool any = writer->news_count > 0;
    if (any) {
        *out = writer->news[0];
        writer->news_count--;
        memmove(writer->news, writer->news + 1, writer->news_count * sizeof writer->news[0]);
    }
    pthread_mutex_unlock(&writer->lock);
    return any;
}

void writer_tell(struct writer *writer, const struct news *news)
{
    pthread_mutex_lock(&writer->lock);
    if (writer->news_count < NEWS_KEPT)
        writer->news[writer->news_count++] = *news;
    pthread_mutex_unlock(&writer->lock);
    wake_listener(writer);
}

/* --- the keeper */

/* Trouble that stays is told after 1, 2, 4, 8 ... times. */
static void tell_sync_failure(struct keeping *it, int error)
{
    struct news news = {.kind = NEWS_WARNING, .key = "sync_failed"};
    uint64_t count = ++it->sync_failures;
    if ((count & (count - 1)) != 0)
        return;
    snprintf(
        news.text, sizeof news.text,
        "storage reports that it could not keep what was written to the %s (%s, %llu time%s so "
        "far): some of it may be lost, and the storage may be failing",
        it->store->name, strerror(error), (unsigned long long)count, count == 1 ? "" : "s");
    writer_tell(it->writer, &news);
}

static void sync_store(struct keeping *it)
{
    pthread_mutex_lock(&it->sync_lock);
    errno = 0;
    if (!it->closing && !atomic_load(&it->failed) && it->store->sync(it->self) != STATUS_OK)
        tell_sync_failure(it, errno);
    pthread_mutex_unlock(&it->sync_lock);
}

static void keep_once(struct writer *writer)
{
    for (size_t i = 0; i < writer->count; i++)
        if (writer->keepings[i].store->sync)
            sync_store(&writer->keepings[i]);
    if (writer->chore.work)
        writer->chore.work(writer->chore.self, writer);
}

/* Waits until the next time; false to stop. */
static bool wait_for_time(struct writer *writer, int64_t until_ms)
{
    const struct timespec until = {until_ms / 1000, until_ms % 1000 * 1000000};
    int answer = 0;
    pthread_mutex_lock(&writer->lock);
    while (!writer->stop_keeping && answer == 0)
        answer = pthread_cond_timedwait(&writer->changed, &writer->lock, &until);
    bool stop = writer->stop_keeping;
    pthread_mutex_unlock(&writer->lock);
    return !stop;
}

static void *keep(void *argument)
{
    struct writer *writer = argument;
    int64_t next_ms = now_ms() + KEEP_MS;
    while (wait_for_time(writer, next_ms)) {
        atomic_store(&writer->kept_ms, now_ms());
        keep_once(writer);
        int64_t now = now_ms();
        next_ms = next_ms + KEEP_MS > now ? next_ms + KEEP_MS : now + KEEP_MS;
    }
    return NULL;
}

static void stop_keeper(struct writer *writer)
{
    if (!writer->keeper_runs)
        return;
    pthread_mutex_lock(&writer->lock);
    writer->stop_keeping = true;
    pthread_cond_broadcast(&writer->changed);
    pthread_mutex_unlock(&writer->lock);
    pthread_join(writer->keeper, NULL);
}

/* --- beginning and end */

static void free_writer(struct writer *writer)
{
    ring_free(writer->ring);
    if (writer->news_fd >= 0)
        close(writer->news_fd);
    for (size_t i = 0; i < writer->count; i++)
        pthread_mutex_destroy(&writer->keepings[i].sync_lock);
    pthread_cond_destroy(&writer->changed);
    pthread_mutex_destroy(&writer->lock);
    free(writer);
}

static void begin_keeping(struct writer *writer, const struct store *store)
{
    struct keeping *it = &writer->keepings[writer->count];
    assert(writer->count < STORES_MAX);
    it->writer = writer;
    it->store = store;
    it->reader = (unsigned)writer->count;
    atomic_store(&it->moved_ms, now_ms());
    pthread_mutex_init(&it->sync_lock, NULL);
}

static struct writer *allocate(const struct store *const *stores, size_t ring_size)
{
    struct writer *writer = calloc(1, sizeof *writer);
    pthread_condattr_t attributes;
    if (!writer)
        return NULL;
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_cond_init(&writer->changed, &attributes);
    pthread_condattr_destroy(&attributes);
    pthread_mutex_init(&writer->lock, NULL);
    atomic_store(&writer->kept_ms, now_ms());
    writer->news_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    for (; stores[writer->count]; writer->count++)
        begin_keeping(writer, stores[writer->count]);
    if (writer->news_fd < 0 ||
        ring_new(ring_size, (unsigned)writer->count, &writer->ring) != STATUS_OK) {
        free_writer(writer);
        return NULL;
    }
    return writer;
}

static void wait_until_opened(struct writer *writer, size_t count)
{
    pthread_mutex_lock(&writer->lock);
    while (writer->opened < count)
        pthread_cond_wait(&writer->changed, &writer->lock);
    pthread_mutex_unlock(&writer->lock);
}

static void give_word(struct writer *writer, bool go)
{
    pthread_mutex_lock(&writer->lock);
    writer->word = go ? GO : GIVE_UP;
    pthread_cond_broadcast(&writer->changed);
    pthread_mutex_unlock(&writer->lock);
}

static enum status no_thread(struct complaint *complaint)
{
    return complain(complaint, STATUS_IO, "the system gives no thread for storage");
}

/* Starts the threads one after the other, so that the stores open in their order. */
static enum status open_all(struct writer *writer, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    size_t count = 0;
    while (count < writer->count && status == STATUS_OK) {
        struct keeping *it = &writer->keepings[count];
        if (pthread_create(&it->thread, NULL, work, it) != 0) {
            status = no_thread(complaint);
            break;
        }
        wait_until_opened(writer, ++count);
        status = writer_trouble(writer, complaint);
    }
    give_word(writer, status == STATUS_OK);
    for (size_t i = 0; status != STATUS_OK && i < count; i++)
        pthread_join(writer->keepings[i].thread, NULL);
    return status;
}

enum status writer_new(const struct store *const *stores, const struct run_start *start,
                       size_t ring_size, const struct chore *chore, struct writer **out,
                       struct complaint *complaint)
{
    struct writer *writer = allocate(stores, ring_size);
    if (!writer)
        return complain(complaint, STATUS_MEMORY,
                        "no memory for a ring of %zu bytes; make ring_size smaller", ring_size);
    writer->start = start;
    if (chore)
        writer->chore = *chore;
    enum status status = open_all(writer, complaint);
    if (status != STATUS_OK) {
        free_writer(writer);
        return status;
    }
    writer->start = NULL;
    *out = writer;
    writer->keeper_runs = pthread_create(&writer->keeper, NULL, keep, writer) == 0;
    if (writer->keeper_runs)
        return STATUS_OK;
    writer_abandon(writer);
    return no_thread(complaint);
}

int writer_news_fd(const struct writer *writer)
{
    return writer->news_fd;
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
static void end_threads(struct writer *writer, const struct run_end *end)
{
    struct end_record head = {.record = {.kind = RECORD_END}, .end = end};
    while (!ring_put(writer->ring, &head, sizeof head, NULL, 0))
        nanosleep(&(struct timespec){0, 1000000}, NULL);
    ring_wake(writer->ring);
    for (size_t i = 0; i < writer->count; i++)
        pthread_join(writer->keepings[i].thread, NULL);
    stop_keeper(writer);
}

enum status writer_finish(struct writer *writer, const struct run_end *end,
                          struct complaint *complaint)
{
    end_threads(writer, end);
    enum status status = writer_trouble(writer, complaint);
    free_writer(writer);
    return status;
}

void writer_abandon(struct writer *writer)
{
    end_threads(writer, NULL);
    free_writer(writer);
}
