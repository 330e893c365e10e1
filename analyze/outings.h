/* outings.h - the outings of many run files: from the cache where it has them, else read by several
 * processes at once.
 */
#ifndef SEARUN_OUTINGS_H
#define SEARUN_OUTINGS_H

#include "outing.h"

struct outings_options {
    bool no_cache;               /* neither looked into nor written; so it is with wishes */
    struct outing_wishes wishes; /* of all runs */
    const char *cache;           /* folder; NULL: the usual one (cache.h) */
    size_t processes;            /* 0: as many as there are processors */
    /* Called after every run, may be NULL. */
    void (*progress)(void *self, size_t done, size_t total);
    void *self;
};

struct outing_result {
    enum status status;
    struct complaint complaint; /* in words, if status is not STATUS_OK */
    bool kept;                  /* it came from the cache */
    struct outing outing;       /* zeroed if status is not STATUS_OK */
};

/* Fills results[i] for paths[i]; a run that cannot be read does not keep others from being read.
 * outings_free in every case. STATUS_MEMORY. */
enum status outings_read(char *const *paths, size_t count, const struct outings_options *options,
                         struct outing_result *results, struct complaint *complaint);
void outings_free(struct outing_result *results, size_t count);

#endif
