/* frame_can.h - CAN frames to whole messages: identifiers, fast packets, transport protocol. Pure.
 *
 * Identifiers and the transport protocol follow SAE J1939-21 and ISO 11783-3 (the same layouts),
 * fast packets the rules that the open PGN database canboat describes ("Fast packet").
 */
#ifndef SEARUN_FRAME_CAN_H
#define SEARUN_FRAME_CAN_H

#include <stddef.h>
#include <stdint.h>

#include "framing.h"
#include "reading.h"
#include "tally.h"

/* Flag bits above the 29-bit identifier, as in struct can_frame. */
#define CAN_ID_EXTENDED UINT32_C(0x80000000)
#define CAN_ID_REMOTE UINT32_C(0x40000000)
#define CAN_ID_ERROR UINT32_C(0x20000000)
#define CAN_ID_MASK UINT32_C(0x1FFFFFFF)

#define CAN_ADDRESS_NONE 254 /* a device without an address */
#define CAN_ADDRESS_ALL 255  /* destination of what everybody may read */

struct can_address {
    uint32_t
        pgn; /* 18 bits: reserved bit, data page, PDU format, and PDU specific if it is a group */
    uint8_t source;
    uint8_t destination; /* CAN_ADDRESS_ALL for PDU2 */
    uint8_t priority;    /* 0 (first) .. 7 */
};

/* Splits a 29-bit identifier. Below PDU format 240 (PDU1) the low byte of the group is the
 * destination. */
struct can_address can_address_split(uint32_t id);

#define FAST_PACKET_MAX 223 /* 6 + 31 * 7 bytes */
#define TRANSPORT_MIN 9     /* shorter messages fit into one frame */
#define TRANSPORT_MAX 1785  /* 255 * 7 bytes */

/* Longest silence inside a message. The transport protocol's T1 is 750 ms between the packets of a
 * broadcast and its T2 and T3 are 1250 ms in a connection (SAE J1939-21, from memory). Fast packets
 * have no published time-out; their frames follow each other at once, so 750 ms is ample (common
 * practice, no source). */
#define FAST_PACKET_TIMEOUT (750 * NS_PER_MS)
#define BROADCAST_TIMEOUT (750 * NS_PER_MS)
#define CONNECTION_TIMEOUT (1250 * NS_PER_MS)

/* Every message can be read this many bytes past its end. */
#define MESSAGE_PADDING 8

/* One message on its way. */
struct assembly {
    uint64_t key;
    int64_t last;     /* instant of its newest frame */
    int64_t patience; /* ns of silence after which it is given up */
    uint32_t pgn;     /* of the message inside */
    uint16_t total;   /* bytes it will have */
    uint16_t have;    /* bytes that are there */
    uint16_t packet;  /* number the next frame must have */
    uint8_t source;
    uint8_t next; /* index + 1 of the next assembly of this source, 0 = none */
    uint8_t data[TRANSPORT_MAX + MESSAGE_PADDING];
};

#define ASSEMBLIES 64

/* A fixed pool of messages on their way. When it is full, the message that has been silent for
 * longest is given up and counted. */
struct assembly_pool {
    uint8_t first[256]; /* per source: index + 1 of its newest assembly, 0 = none */
    uint8_t spare;      /* index + 1 of the first unused one, linked by `next` */
    enum reason timed_out;
    struct assembly assembly[ASSEMBLIES];
};

/* `timed_out` is the reason counted for messages that fell silent. */
void assembly_pool_reset(struct assembly_pool *pool, enum reason timed_out);

/* Gives up the messages that have been silent for too long at instant `at`. What is delivered and
 * what is counted does not depend on how often this is called. */
void assembly_pool_expire(struct assembly_pool *pool, int64_t at, struct tally *tally);

/* Whether no message is on its way that may still be completed. */
bool assembly_pool_is_idle(const struct assembly_pool *pool, int64_t at);

/* A message that is complete. `data` is valid until the next call for the same pool. */
struct can_message {
    struct can_address address; /* pgn is the one of the message inside */
    const uint8_t *data;
    size_t length;
};

/* Frame of a group that is sent as a fast packet. Frames of one message carry the same sequence
 * counter and are numbered 0, 1, 2 ...; the counters of messages need not follow each other,
 * because a device may keep one for each engine. Frames must come in order; a frame that repeats
 * the one before is dropped. Anything else gives the message up and is counted with its reason. */
enum framing fast_packet_push(struct assembly_pool *pool, int64_t at, struct can_address address,
                              const uint8_t *data, unsigned length, struct can_message *message,
                              struct tally *tally);

/* Frames of groups 60416 (announcements, connection management) and 60160 (data) of the transport
 * protocol. We listen only: a connection between two others is followed, never answered. A
 * clear-to-send that asks for packets again takes the message back to the first of them. */
enum framing transport_control(struct assembly_pool *pool, int64_t at, struct can_address address,
                               const uint8_t *data, unsigned length, struct tally *tally);
enum framing transport_data(struct assembly_pool *pool, int64_t at, struct can_address address,
                            const uint8_t *data, unsigned length, struct can_message *message,
                            struct tally *tally);

#endif
