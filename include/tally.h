/* tally.h - what was refused or lost, counted by reason. Nothing vanishes without being counted. */
#ifndef SEARUN_TALLY_H
#define SEARUN_TALLY_H

#include <stdint.h>

enum reason {
#define REASON(id, key, title) REASON_##id,
#include "reasons.def"
#undef REASON
    REASON_COUNT
};

struct tally {
    struct tally_line {
        uint64_t count;
        int64_t first, last; /* ns since run start; meaningless while count is 0 */
    } line[REASON_COUNT];
};

/* Adds one (or `count`) to a reason at instant `at` (ns since run start). */
void tally_add(struct tally *tally, enum reason reason, int64_t at);
void tally_add_many(struct tally *tally, enum reason reason, int64_t at, uint64_t count);

/* The stable key ("bad_checksum") and the words for people of a reason. Never NULL. */
const char *reason_key(enum reason reason);
const char *reason_title(enum reason reason);

/* The reason with that key, or REASON_COUNT. */
enum reason reason_find(const char *key);

#endif
