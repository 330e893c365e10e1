/* backlog.h - what was heard while there is no run to keep it in: the last minutes, in their order,
 * within a fixed amount of memory. When that is full, the oldest goes.
 *
 * Only the loop thread uses it. Instants are whatever the caller counts in.
 */
#ifndef SEARUN_BACKLOG_H
#define SEARUN_BACKLOG_H

#include "run_write.h"

struct backlog;

enum backlog_kind { BACKLOG_LINE, BACKLOG_FRAME, BACKLOG_GAP, BACKLOG_COUNT, BACKLOG_EVENT };

/* Only the members of the kind are set. */
struct backlog_item {
    enum backlog_kind kind;
    unsigned input;
    int64_t at;         /* GAP, COUNT: the first instant */
    int64_t until;      /* GAP */
    uint32_t id;        /* FRAME */
    uint8_t data[8];    /* FRAME */
    enum reason reason; /* COUNT */
    uint64_t count;     /* COUNT; GAP: lost */
    char key[48];       /* EVENT */
    const char *bytes;  /* LINE; GAP: why, EVENT: words, both NUL-terminated */
    size_t length;      /* of bytes; FRAME: of data */
};

/* `size` in bytes; what is not used yet costs nothing. STATUS_MEMORY. */
enum status backlog_new(size_t size, struct backlog **out);
void backlog_free(struct backlog *backlog);

/* Adds a copy at the end. */
void backlog_put(struct backlog *backlog, const struct backlog_item *item);

/* The oldest, which stays; its bytes are valid until backlog_drop. False if there is none. */
bool backlog_first(struct backlog *backlog, struct backlog_item *out);
void backlog_drop(struct backlog *backlog);

/* Drops what is older than that. */
void backlog_expire(struct backlog *backlog, int64_t before);

#endif
