/* transducers.h - XDR: groups of type, value, unit and name, and the map from names to channels. */
#ifndef SEARUN_TRANSDUCERS_H
#define SEARUN_TRANSDUCERS_H

#include "decode.h"
#include "fields_0183.h"

/* Decodes all groups of one XDR sentence. Each group is an origin of its own: `talker` (protocol,
 * input, message and source) with place, instance and label set by the map. */
void transducers_decode(const struct transducer_map *map, int64_t at, const struct fields *fields,
                        const struct origin *talker, const struct sink *sink, struct tally *tally);

#endif
