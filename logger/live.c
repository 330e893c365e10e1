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

static bool is_same(const struct live_value *it, const struct origin *origin, uint16_t channel,
                    const char *label)
{
    return it->channel == channel && it->place == origin->place &&
           it->instance == origin->instance && strcmp(it->label, label) == 0;
}

/* The row of a channel, made at its first reading; NULL if there are too many. */
static struct live_value *find_or_add(struct live *live, const struct origin *origin,
                                      uint16_t channel)
{
    const char *label = transducer_is_unmapped((enum channel_id)channel) ? origin->label : "";
    uint32_t key = (uint32_t)channel << 16 | (uint32_t)origin->place << 8 | origin->instance;
    uint32_t slot = hash((2166136261U ^ key) * 16777619U, label) % SLOTS;
    for (; live->slots[slot] != 0; slot = (slot + 1) % SLOTS)
        if (is_same(&live->values[live->slots[slot] - 1], origin, channel, label))
            return &live->values[live->slots[slot] - 1];
    if (live->count == LIVE_VALUES_MAX)
        return NULL;
    struct live_value *it = &live->values[live->count++];
    live->slots[slot] = (uint16_t)live->count;
    *it = (struct live_value){
        .place = origin->place, .instance = origin->instance, .channel = channel};
    memcpy(it->label, label, strnlen(label, sizeof it->label - 1));
    return it;
}

void live_readings(struct live *live, int64_t at, const struct origin *origin,
                   const struct value *values, size_t count)
{
    turning_readings(&live->turning, at, origin, values, count);
    for (size_t i = 0; i < count; i++) {
        struct live_value *it = find_or_add(live, origin, values[i].channel);
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
