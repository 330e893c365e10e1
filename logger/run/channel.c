/* channel.c - the catalogue and its start-up check. */
#include "channel.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

static const struct channel rows[CHANNEL_COUNT] = {
#define CHANNEL(id, key, title, unit, low, high, step, silence, standard_name)                     \
    [CHANNEL_##id] = {key, title, unit, low, high, step, silence, standard_name},
#include "channels.def"
#undef CHANNEL
};

const struct channel *channel_get(enum channel_id id)
{
    assert((unsigned)id < CHANNEL_COUNT);
    return &rows[id];
}

enum channel_id channel_find(const char *key)
{
    for (int id = 0; id < CHANNEL_COUNT; id++)
        if (strcmp(rows[id].key, key) == 0)
            return (enum channel_id)id;
    return CHANNEL_COUNT;
}

/* Keys become names of datasets and columns. */
static bool key_is_sound(const char *key)
{
    size_t length = key ? strlen(key) : 0;
    if (length == 0 || length > 40 || !(key[0] >= 'a' && key[0] <= 'z'))
        return false;
    return strspn(key, "abcdefghijklmnopqrstuvwxyz0123456789_") == length;
}

/* The lowest int32 is the fill value, so the range must lie above it. */
static bool range_fits(const struct channel *row)
{
    if (!(row->low < row->high) || !(row->step > 0) || !(row->silence > 0))
        return false;
    return fabs(row->low / row->step) < INT32_MAX && fabs(row->high / row->step) < INT32_MAX;
}

static bool row_is_sound(const struct channel *row)
{
    return key_is_sound(row->key) && row->title && row->title[0] && row->standard_name &&
           (unsigned)row->unit < UNIT_COUNT && range_fits(row);
}

size_t channel_check_rows(const struct channel *list, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (!row_is_sound(&list[i]))
            return i + 1;
        for (size_t j = 0; j < i; j++)
            if (strcmp(list[j].key, list[i].key) == 0)
                return i + 1;
    }
    return 0;
}

size_t channel_check(void)
{
    return channel_check_rows(rows, CHANNEL_COUNT);
}
