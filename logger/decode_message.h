/* decode_message.h - one whole CAN message and its row become readings, events and statements of
 * UTC. Pure: no input or output, no clock, no allocation.
 */
#ifndef SEARUN_DECODE_MESSAGE_H
#define SEARUN_DECODE_MESSAGE_H

#include "devices.h"
#include "events_can.h"
#include "messages_can.h"
#include "origins_can.h"
#include "tally.h"

/* What a CAN input has learnt so far. Zero it, then device_table_reset. */
struct can_state {
    uint8_t input;
    uint8_t j1939_engine; /* number of the engine with source address 0 */
    struct device_table devices;
    struct origins_can origins;
    struct events_can events;
};

/* A message to decode. `data` can be read 8 bytes past its end. */
struct can_input {
    const struct can_row *row;
    uint8_t row_number; /* tells rows apart; any scheme */
    uint8_t protocol;   /* enum protocol of its origin */
    uint8_t source;     /* address */
    int64_t at;
    const uint8_t *data;
    size_t length;
};

void decode_can_message(struct can_state *state, const struct can_input *input,
                        const struct sink *sink, struct tally *tally);

#endif
