/* space.h - keeps a reserve of space free where runs lie, so that a run can always be ended. */
#ifndef SEARUN_SPACE_H
#define SEARUN_SPACE_H

#include <stdbool.h>
#include <stdint.h>

#include "writer.h"

struct space {
    char folder[4096];
    uint64_t reserve; /* bytes */
    bool told;        /* that there is too little */
};

/* Bytes free for us in the folder; UINT64_MAX if the system does not say. */
uint64_t space_free(const char *folder);

/* Bytes that must be free before a run begins again: a quarter more than the reserve. */
uint64_t space_wanted(uint64_t reserve);

/* Removes kept journals of finished runs, the oldest first, until so much is free; never anything
 * else. Returns how many. */
unsigned space_make(const char *folder, uint64_t wanted);

/* The chore for the keeper (`self` is a struct space): if less than the reserve is free, kept
 * journals go; if that is not enough, tells NEWS_FULL, once. */
void space_look(void *self, struct writer *writer);

#endif
