/* live.c - see live.h. */
#include "live.h"

#include <string.h>

#include "decode.h"

#define SLOTS (2 * LIVE_VALUES_MAX)

static void count_one(struct live_rate *rate, int64_t at)
{
    if (rate->count++ > 0)
        return;
    rate->before = 1; /* from the first to the last there is one interval less */
    rate->since = at;
    rate->known = false;
}

void live_message(struct live *live, unsigned input, int64_t at)
{
    count_one(&live->inputs[input], at);
    live->heard_at[input] = at;
}

static uint32_t hash(uint32_t sum, const char *text)
{
    for (; *text; text++)
        sum = (sum ^ (unsigned char)*text) * 16777619U; /* FNV-1a */
    return sum;
}

static uint32_t slot_of(const struct live_value *it)
{
    uint32_t key = (uint32_t)it->channel << 16 | (uint32_t)it->place << 8 | it->instance;
    return hash((2166136261U ^ key) * 16777619U, it->label) % SLOTS;
}

static bool is_same(const struct live_value *a, const struct live_value *b)
{
    return a->channel == b->channel && a->place == b->place && a->instance == b->instance &&
           strcmp(a->label, b->label) == 0;
}

/* The slot of that value, or the free slot where it belongs. */
static uint16_t *find_slot(struct live *live, const struct live_value *wanted)
{
    uint32_t slot = slot_of(wanted);
    while (live->slots[slot] != 0 && !is_same(&live->values[live->slots[slot] - 1], wanted))
        slot = (slot + 1) % SLOTS;
    return &live->slots[slot];
}

/* The row that has been silent for longest, if that is long enough to forget it; else NULL. */
static struct live_value *find_forgotten(struct live *live, int64_t at)
{
    struct live_value *oldest = &live->values[0];
    for (size_t i = 1; i < live->count; i++)
        if (live->values[i].at < oldest->at)
            oldest = &live->values[i];
    return at - oldest->at > LIVE_FORGET_NS ? oldest : NULL;
}

/* A slot that is emptied may stand between another value and the place where that one is looked for
 * first. So all are put in anew; it happens once an hour a row at most. */
static void fill_slots(struct live *live)
{
    memset(live->slots, 0, sizeof live->slots);
    for (size_t i = 0; i < live->count; i++)
        *find_slot(live, &live->values[i]) = (uint16_t)(i + 1);
}

/* The row of a channel, made at its first reading; NULL if there are too many. */
static struct live_value *find_or_add(struct live *live, int64_t at, const struct origin *origin,
                                      uint16_t channel)
{
    const char *label = transducer_is_unmapped((enum channel_id)channel) ? origin->label : "";
    struct live_value wanted = {
        .place = origin->place, .instance = origin->instance, .channel = channel};
    memcpy(wanted.label, label, strnlen(label, sizeof wanted.label - 1));
    uint16_t *slot = find_slot(live, &wanted);
    if (*slot != 0)
        return &live->values[*slot - 1];
    if (live->count < LIVE_VALUES_MAX) {
        *slot = (uint16_t)(live->count + 1);
        live->values[live->count] = wanted;
        return &live->values[live->count++];
    }
    struct live_value *it = find_forgotten(live, at);
    if (!it)
        return NULL;
    *it = wanted;
    fill_slots(live);
    return it;
}

void live_readings(struct live *live, int64_t at, const struct origin *origin,
                   const struct value *values, size_t count)
{
    turning_readings(&live->turning, at, origin, values, count);
    for (size_t i = 0; i < count; i++) {
        struct live_value *it = find_or_add(live, at, origin, values[i].channel);
        if (!it)
            continue;
        it->value = values[i].value;
        it->at = at;
        it->input = origin->input;
        count_one(&it->rate, at);
    }
}

/* What has just begun is counted until the next time. */
static void end_stretch(struct live_rate *rate, int64_t at)
{
    if (at - rate->since < LIVE_RATE_NS / 2)
        return;
    rate->per_s = (double)(rate->count - rate->before) * 1e9 / (double)(at - rate->since);
    rate->before = rate->count;
    rate->since = at;
    rate->known = true;
}

void live_tick(struct live *live, int64_t at)
{
    if (at - live->rates_at < LIVE_RATE_NS)
        return;
    for (size_t i = 0; i < INPUTS_MAX; i++)
        end_stretch(&live->inputs[i], at);
    for (size_t i = 0; i < live->count; i++)
        end_stretch(&live->values[i].rate, at);
    live->rates_at = at;
}
