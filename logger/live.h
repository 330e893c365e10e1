/* live.h - how things stand just now: last values, their age and how often they come, of everything
 * that is heard. For those who ask a logger at work; only the loop thread uses it.
 */
#ifndef SEARUN_LIVE_H
#define SEARUN_LIVE_H

#include "reading.h"
#include "run_write.h"
#include "status.h"
#include "turning.h"

#define LIVE_VALUES_MAX 512 /* different values that are shown; more are recorded all the same */
#define LIVE_FORGET_NS (3600 * NS_PER_S) /* a new value takes the row of one silent for longer */
#define LIVE_RATE_NS (5 * NS_PER_S)      /* rates are counted over so long, at least */

/* So many in so long. The first stretch begins with the first one. */
struct live_rate {
    uint64_t count;  /* ever */
    uint64_t before; /* `count` when the present stretch began */
    int64_t since;   /* when it began */
    double per_s;    /* over the last whole stretch */
    bool known;
};

/* One channel of one engine, tank ...; with several senders, of the one heard last. */
struct live_value {
    uint8_t place, instance;
    uint16_t channel;
    char label[sizeof((struct origin *)0)->label]; /* of channels that nobody mapped */
    uint8_t input;
    double value;
    int64_t at;
    struct live_rate rate;
};

struct live {
    struct turning turning;
    struct live_rate inputs[INPUTS_MAX];
    int64_t heard_at[INPUTS_MAX]; /* last message; meaningless while its count is 0 */
    int64_t rates_at;             /* when rates were last looked at */
    size_t count;
    struct live_value values[LIVE_VALUES_MAX];
    uint16_t slots[2 * LIVE_VALUES_MAX]; /* hash table: index + 1, 0 = free */
};

/* Zero-initialised and with turning.above set, it is ready. */

void live_message(struct live *live, unsigned input, int64_t at);
void live_readings(struct live *live, int64_t at, const struct origin *origin,
                   const struct value *values, size_t count);

/* To be called about once a second. */
void live_tick(struct live *live, int64_t at);

#endif
