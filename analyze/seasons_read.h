/* seasons_read.h - from a folder of runs to what seasons_solve wants: every run read once, or taken
 * from the cache (outings.h). */
#ifndef SEARUN_SEASONS_READ_H
#define SEARUN_SEASONS_READ_H

#include "outings.h"
#include "seasons.h"

struct seasons_paths {
    size_t count;
    char **list;          /* run files, or folders: then every run file in them, not deeper */
    const char *services; /* log; NULL: service-log.csv beside the runs, if it is there; "none" */
    struct outings_options reading; /* cache, processes, progress, wishes */
};

/* Reads runs and service log into `out`, which has its options set and all else zero; what cannot
 * be read goes to out->refused with the reason, and is left out. seasons_free(out) in every case.
 * STATUS_NOT_FOUND: a path is not there, a folder has no run, or no run can be read;
 * STATUS_BAD_DATA: the service log that was named cannot be read; STATUS_IO; STATUS_MEMORY. */
enum status seasons_read(const struct seasons_paths *paths, struct seasons *out,
                         struct complaint *complaint);

#endif
