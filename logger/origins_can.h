/* origins_can.h - the origins one CAN input has had so far, and what was last told about each.
 * Pure; fixed memory.
 *
 * Making the texts of an origin for every message would cost more than decoding it. The number of
 * origins is bounded because each becomes a group of the run file, and a bus of nonsense could name
 * millions.
 */
#ifndef SEARUN_ORIGINS_CAN_H
#define SEARUN_ORIGINS_CAN_H

#include "messages_can.h"
#include "reading.h"

#define ORIGINS_CAN_MAX 512 /* a real bus has 50 to 150 */

struct known_origin {
    uint64_t key;
    struct origin origin;
    uint16_t next;                   /* index + 1 of the next with the same hash, 0 = none */
    bool heard[CAN_STATUS_SLOTS];    /* a status word of it has been decoded */
    uint16_t told[CAN_STATUS_SLOTS]; /* bits that are on as far as events tell */
    bool has_text;
    uint32_t text_hash; /* of the text that was told last */
};

struct origins_can {
    unsigned count;
    uint16_t bucket[1024]; /* index + 1, 0 = none */
    struct known_origin known[ORIGINS_CAN_MAX];
};

/* The origin with that key, or NULL. */
struct known_origin *origins_can_find(struct origins_can *origins, uint64_t key);

/* A new one, zeroed but for its key; NULL if there are too many. */
struct known_origin *origins_can_add(struct origins_can *origins, uint64_t key);

#endif
