/* backlog.c - see backlog.h. A ring with one reader, both ends in one thread. */
#include "backlog.h"

#include <stdlib.h>
#include <string.h>

#include "ring.h"

struct backlog {
    struct ring *ring;
};

/* What lies in the ring: this, and for some kinds more behind it. */
struct head {
    uint8_t kind, input, data_length, reason;
    uint32_t id;
    int64_t at;
};

/* Behind the head of gaps, counts and events, before their text. */
struct more {
    struct head head;
    int64_t until;
    uint64_t count;
    char key[48];
};

enum status backlog_new(size_t size, struct backlog **out)
{
    struct backlog *backlog = calloc(1, sizeof *backlog);
    if (!backlog || ring_new(size, 1, &backlog->ring) != STATUS_OK) {
        free(backlog);
        return STATUS_MEMORY;
    }
    *out = backlog;
    return STATUS_OK;
}

void backlog_free(struct backlog *backlog)
{
    if (!backlog)
        return;
    ring_free(backlog->ring);
    free(backlog);
}

/* The oldest make room; an item is far smaller than the ring. */
static void put(struct backlog *backlog, const void *head, size_t head_size, const void *body,
                size_t body_size)
{
    size_t size;
    while (!ring_put(backlog->ring, head, head_size, body, body_size)) {
        if (!ring_take(backlog->ring, 0, 0, &size))
            return;
        ring_release(backlog->ring, 0);
    }
}

static struct head head_of(const struct backlog_item *item)
{
    return (struct head){.kind = (uint8_t)item->kind,
                         .input = (uint8_t)item->input,
                         .data_length = (uint8_t)item->length,
                         .reason = (uint8_t)item->reason,
                         .id = item->id,
                         .at = item->at};
}

void backlog_put(struct backlog *backlog, const struct backlog_item *item)
{
    struct more more = {.head = head_of(item), .until = item->until, .count = item->count};
    switch (item->kind) {
    case BACKLOG_LINE:
        put(backlog, &more.head, sizeof more.head, item->bytes, item->length);
        break;
    case BACKLOG_FRAME:
        put(backlog, &more.head, sizeof more.head, item->data, sizeof item->data);
        break;
    case BACKLOG_GAP:
    case BACKLOG_COUNT:
    case BACKLOG_EVENT:
        memcpy(more.key, item->key, sizeof more.key);
        put(backlog, &more, sizeof more, item->bytes ? item->bytes : "",
            item->bytes ? item->length + 1 : 1);
        break;
    }
}

static void read_more(const struct more *more, size_t size, struct backlog_item *out)
{
    out->until = more->until;
    out->count = more->count;
    memcpy(out->key, more->key, sizeof out->key);
    out->bytes = (const char *)(more + 1);
    out->length = size - sizeof *more - 1;
}

bool backlog_first(struct backlog *backlog, struct backlog_item *out)
{
    size_t size;
    const struct head *head = ring_take(backlog->ring, 0, 0, &size);
    if (!head)
        return false;
    memset(out, 0, sizeof *out);
    out->kind = (enum backlog_kind)head->kind;
    out->input = head->input;
    out->at = head->at;
    out->id = head->id;
    out->reason = (enum reason)head->reason;
    if (out->kind == BACKLOG_FRAME) {
        memcpy(out->data, head + 1, sizeof out->data);
        out->length = head->data_length;
    } else if (out->kind == BACKLOG_LINE) {
        out->bytes = (const char *)(head + 1);
        out->length = size - sizeof *head;
    } else {
        read_more((const struct more *)(const void *)head, size, out);
    }
    return true;
}

void backlog_drop(struct backlog *backlog)
{
    ring_release(backlog->ring, 0);
}

void backlog_expire(struct backlog *backlog, int64_t before)
{
    struct backlog_item item;
    while (backlog_first(backlog, &item) &&
           (item.kind == BACKLOG_GAP ? item.until : item.at) < before)
        backlog_drop(backlog);
}
