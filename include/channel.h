/* channel.h - the catalogue of everything searun records, one row a channel (channels.def). */
#ifndef SEARUN_CHANNEL_H
#define SEARUN_CHANNEL_H

#include <stddef.h>

#include "unit.h"

enum channel_id {
#define CHANNEL(id, key, title, unit, low, high, step, silence, standard_name) CHANNEL_##id,
#include "channels.def"
#undef CHANNEL
    CHANNEL_COUNT
};

struct channel {
    const char *key;   /* name of the dataset and of the column, e.g. "coolant_temperature" */
    const char *title; /* for people, e.g. "Coolant temperature" */
    enum unit unit;
    double low, high; /* lowest and highest believable value, in `unit` */
    double step;      /* resolution it is stored with; values are kept as int32 times step */
    double silence;   /* s without a reading after which it is stale */
    const char *standard_name; /* CF standard name, or "" where CF has none */
};

/* The row of a channel. `id` must be below CHANNEL_COUNT. */
const struct channel *channel_get(enum channel_id id);

/* The id of the channel with that key, or CHANNEL_COUNT if there is none. */
enum channel_id channel_find(const char *key);

/* Start-up check of the catalogue: 0, or the 1-based number of the first row that lacks a key,
 * title or range, repeats a key, or whose range does not fit into int32 steps. */
size_t channel_check(void);

/* The same check for any list of rows. */
size_t channel_check_rows(const struct channel *rows, size_t count);

#endif
