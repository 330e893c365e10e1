/* tally.c - counting by reason. */
#include "tally.h"

#include <assert.h>
#include <string.h>

static const struct reason_row {
    const char *key, *title;
} rows[REASON_COUNT] = {
#define REASON(id, key, title) [REASON_##id] = {key, title},
#include "reasons.def"
#undef REASON
};

void tally_add_many(struct tally *tally, enum reason reason, int64_t at, uint64_t count)
{
    assert((unsigned)reason < REASON_COUNT);
    struct tally_line *line = &tally->line[reason];
    if (count == 0)
        return;
    if (line->count == 0) {
        line->first = at;
        line->last = at;
    }
    if (at < line->first)
        line->first = at;
    if (at > line->last)
        line->last = at;
    line->count = line->count > UINT64_MAX - count ? UINT64_MAX : line->count + count;
}

void tally_add(struct tally *tally, enum reason reason, int64_t at)
{
    tally_add_many(tally, reason, at, 1);
}

const char *reason_key(enum reason reason)
{
    assert((unsigned)reason < REASON_COUNT);
    return rows[reason].key;
}

const char *reason_title(enum reason reason)
{
    assert((unsigned)reason < REASON_COUNT);
    return rows[reason].title;
}

enum reason reason_find(const char *key)
{
    for (int reason = 0; reason < REASON_COUNT; reason++)
        if (strcmp(rows[reason].key, key) == 0)
            return (enum reason)reason;
    return REASON_COUNT;
}
