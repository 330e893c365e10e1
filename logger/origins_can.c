/* origins_can.c - the origins one CAN input has had so far. See origins_can.h. */
#include "origins_can.h"

#include <string.h>

static unsigned hash(uint64_t key)
{
    return (unsigned)(key * UINT64_C(0x9E3779B97F4A7C15) >> 54); /* 10 bits; Fibonacci hashing */
}

struct known_origin *origins_can_find(struct origins_can *origins, uint64_t key)
{
    for (unsigned i = origins->bucket[hash(key)]; i != 0; i = origins->known[i - 1].next)
        if (origins->known[i - 1].key == key)
            return &origins->known[i - 1];
    return NULL;
}

struct known_origin *origins_can_add(struct origins_can *origins, uint64_t key)
{
    if (origins->count == ORIGINS_CAN_MAX)
        return NULL;
    struct known_origin *new = &origins->known[origins->count++];
    uint16_t *bucket = &origins->bucket[hash(key)];
    memset(new, 0, sizeof *new);
    new->key = key;
    new->next = *bucket;
    *bucket = (uint16_t)origins->count;
    return new;
}
