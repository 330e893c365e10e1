/* decode_can.c - CAN frames become messages, messages readings. See decode_can.h. */
#include "decode_can.h"

#include <stdlib.h>
#include <string.h>

#include "decode_message.h"
#include "frame_can.h"

#define ROWS_MAX 64
#define INDEX_BITS                                                                                 \
    10 /* many times the number of rows, so that a group is found at the first look */
#define INDEX_SIZE (1u << INDEX_BITS)

struct can_decoder {
    size_t row_count;
    const struct can_row *row[ROWS_MAX];
    struct slot {
        uint32_t pgn;
        uint32_t number; /* of the row + 1; 0 = free */
    } index[INDEX_SIZE]; /* hash table over the PGNs */
    uint8_t protocol;    /* of the messages that both protocols have */
    struct can_state state;
    struct assembly_pool fast, transport;
};

/* --- the tables */

static unsigned index_of(uint32_t pgn)
{
    return pgn * UINT32_C(2654435761) >> (32 - INDEX_BITS); /* Fibonacci hashing */
}

static void add_rows(struct can_decoder *decoder, const struct can_row *rows, size_t count)
{
    for (size_t i = 0; i < count && decoder->row_count < ROWS_MAX; i++) {
        unsigned place = index_of(rows[i].number);
        while (decoder->index[place].number != 0)
            place = (place + 1) & (INDEX_SIZE - 1);
        decoder->row[decoder->row_count++] = &rows[i];
        decoder->index[place] = (struct slot){rows[i].number, (uint32_t)decoder->row_count};
    }
}

/* Number of the row + 1, or 0. */
static unsigned find_row(const struct can_decoder *decoder, uint32_t pgn)
{
    unsigned place = index_of(pgn);
    while (decoder->index[place].number != 0 && decoder->index[place].pgn != pgn)
        place = (place + 1) & (INDEX_SIZE - 1);
    return decoder->index[place].number;
}

enum status can_decoder_new(unsigned input, enum bus_kind kind, unsigned j1939_engine,
                            struct can_decoder **out)
{
    struct can_decoder *decoder = calloc(1, sizeof *decoder);
    *out = decoder;
    if (!decoder)
        return STATUS_MEMORY;
    add_rows(decoder, can_rows_both, can_row_count_both);
    if (kind != BUS_J1939)
        add_rows(decoder, can_rows_n2k, can_row_count_n2k);
    if (kind != BUS_NMEA2000)
        add_rows(decoder, can_rows_j1939, can_row_count_j1939);
    decoder->protocol = kind == BUS_J1939 ? PROTOCOL_J1939 : PROTOCOL_NMEA2000;
    decoder->state.input = (uint8_t)input;
    decoder->state.j1939_engine = (uint8_t)j1939_engine;
    device_table_reset(&decoder->state.devices);
    assembly_pool_reset(&decoder->fast, REASON_FAST_PACKET_TIMEOUT);
    assembly_pool_reset(&decoder->transport, REASON_TRANSPORT_TIMEOUT);
    return STATUS_OK;
}

void can_decoder_free(struct can_decoder *decoder)
{
    free(decoder);
}

/* --- messages */

/* Decodes a whole message by its row, or counts that it is none of ours. */
static void take_message(struct can_decoder *decoder, int64_t at, unsigned number,
                         const struct can_message *message, const struct sink *sink,
                         struct tally *tally)
{
    const struct can_row *row = number > 0 ? decoder->row[number - 1] : NULL;
    if (!row || row->count == 0) {
        tally_add(tally, REASON_NOT_OURS, at);
        return;
    }
    struct can_input input = {
        .row = row,
        .row_number = (uint8_t)number,
        .protocol = row->protocol == PROTOCOL_COUNT ? decoder->protocol : row->protocol,
        .source = message->address.source,
        .at = at,
        .data = message->data,
        .length = message->length,
    };
    decode_can_message(&decoder->state, &input, sink, tally);
}

static void take_frame(struct can_decoder *decoder, int64_t at, struct can_address address,
                       const uint8_t *data, unsigned length, const struct sink *sink,
                       struct tally *tally)
{
    struct can_message message = {address, data, length};
    unsigned number = find_row(decoder, address.pgn);
    enum framing framing = FRAME_READY;
    switch (number > 0 ? (enum can_carrier)decoder->row[number - 1]->carrier : CARRIED_SINGLE) {
    case CARRIED_SINGLE:
        break;
    case CARRIED_FAST:
        framing = fast_packet_push(&decoder->fast, at, address, data, length, &message, tally);
        break;
    case CARRIED_CONTROL:
        framing = transport_control(&decoder->transport, at, address, data, length, tally);
        break;
    case CARRIED_DATA:
        framing = transport_data(&decoder->transport, at, address, data, length, &message, tally);
        number = framing == FRAME_READY ? find_row(decoder, message.address.pgn) : 0;
        break;
    }
    if (framing == FRAME_READY)
        take_message(decoder, at, number, &message, sink, tally);
}

void can_decoder_frame(struct can_decoder *decoder, int64_t at, uint32_t id, const uint8_t *data,
                       unsigned length, const struct sink *sink, struct tally *tally)
{
    uint8_t padded[8 + MESSAGE_PADDING] = {0};
    if (id & (CAN_ID_REMOTE | CAN_ID_ERROR) || length > 8) {
        tally_add(tally, REASON_FRAME_ERROR, at);
        return;
    }
    if (!(id & CAN_ID_EXTENDED)) {
        tally_add(tally, REASON_FRAME_11_BIT, at);
        return;
    }
    tally_add(tally, REASON_FRAMES, at);
    memcpy(padded, data, length);
    take_frame(decoder, at, can_address_split(id), padded, length, sink, tally);
}

void can_decoder_expire(struct can_decoder *decoder, int64_t at, struct tally *tally)
{
    assembly_pool_expire(&decoder->fast, at, tally);
    assembly_pool_expire(&decoder->transport, at, tally);
}

bool can_decoder_is_idle(const struct can_decoder *decoder, int64_t at)
{
    return assembly_pool_is_idle(&decoder->fast, at) &&
           assembly_pool_is_idle(&decoder->transport, at);
}
