/* frame_can.c - CAN frames to whole messages. See frame_can.h. */
#include "frame_can.h"

#include <string.h>

#define PDU2_FIRST 240 /* PDU formats from here on are broadcast groups */

struct can_address can_address_split(uint32_t id)
{
    uint32_t group = id >> 8 & 0x3FFFF;
    uint8_t specific = (uint8_t)(group & 0xFF);
    struct can_address address = {
        .pgn = group,
        .source = (uint8_t)(id & 0xFF),
        .destination = CAN_ADDRESS_ALL,
        .priority = (uint8_t)(id >> 26 & 7),
    };
    if ((group >> 8 & 0xFF) < PDU2_FIRST) {
        address.pgn = group - specific;
        address.destination = specific;
    }
    return address;
}

/* --- the pool */

void assembly_pool_reset(struct assembly_pool *pool, enum reason timed_out)
{
    pool->timed_out = timed_out;
    memset(pool->first, 0, sizeof pool->first);
    for (unsigned i = 0; i < ASSEMBLIES; i++)
        pool->assembly[i].next = (uint8_t)(i + 1 < ASSEMBLIES ? i + 2 : 0);
    pool->spare = 1;
}

/* True if more than `limit` ns lie between the two. False where the clock went back. */
static bool is_over(int64_t last, int64_t at, int64_t limit)
{
    return at > last && (uint64_t)at - (uint64_t)last > (uint64_t)limit;
}

static struct assembly *find(struct assembly_pool *pool, uint8_t source, uint64_t key)
{
    for (unsigned i = pool->first[source]; i != 0; i = pool->assembly[i - 1].next)
        if (pool->assembly[i - 1].key == key)
            return &pool->assembly[i - 1];
    return NULL;
}

/* Takes an assembly out of use. Its bytes stay until it is used again. */
static void drop(struct assembly_pool *pool, struct assembly *gone)
{
    uint8_t number = (uint8_t)(gone - pool->assembly + 1);
    uint8_t *link = &pool->first[gone->source];
    while (*link != number)
        link = &pool->assembly[*link - 1].next;
    *link = gone->next;
    gone->next = pool->spare;
    pool->spare = number;
}

/* Takes it out of use unfinished. The instant counted is the one of the last frame that was
 * taken. */
static void give_up(struct assembly_pool *pool, struct assembly *lost, enum reason why,
                    struct tally *tally)
{
    tally_add(tally, why, lost->last);
    drop(pool, lost);
}

/* Each assembly is in the chain of its source, so walking all chains finds all that are in use. */
static struct assembly *oldest(struct assembly_pool *pool)
{
    struct assembly *found = NULL;
    for (unsigned source = 0; source < 256; source++)
        for (unsigned i = pool->first[source]; i != 0; i = pool->assembly[i - 1].next)
            if (!found || pool->assembly[i - 1].last < found->last)
                found = &pool->assembly[i - 1];
    return found;
}

static bool is_silent(const struct assembly *open, int64_t at)
{
    return is_over(open->last, at, open->patience);
}

void assembly_pool_expire(struct assembly_pool *pool, int64_t at, struct tally *tally)
{
    for (unsigned source = 0; source < 256; source++)
        for (unsigned i = pool->first[source], next; i != 0; i = next) {
            struct assembly *open = &pool->assembly[i - 1];
            next = open->next;
            if (is_silent(open, at))
                give_up(pool, open, pool->timed_out, tally);
        }
}

bool assembly_pool_is_idle(const struct assembly_pool *pool, int64_t at)
{
    for (unsigned source = 0; source < 256; source++)
        for (unsigned i = pool->first[source]; i != 0; i = pool->assembly[i - 1].next)
            if (!is_silent(&pool->assembly[i - 1], at))
                return false;
    return true;
}

/* Takes a spare one, or makes one spare. */
static struct assembly *begin(struct assembly_pool *pool, int64_t at, uint8_t source, uint64_t key,
                              int64_t patience, struct tally *tally)
{
    if (!pool->spare)
        assembly_pool_expire(pool, at, tally);
    if (!pool->spare)
        give_up(pool, oldest(pool), REASON_ASSEMBLY_EVICTED, tally);
    uint8_t number = pool->spare;
    struct assembly *new = &pool->assembly[number - 1];
    pool->spare = new->next;
    new->key = key;
    new->source = source;
    new->patience = patience;
    new->have = 0;
    new->last = at;
    new->next = pool->first[source];
    pool->first[source] = number;
    return new;
}

/* Appends what is still wanted of a frame's bytes. False if the frame has too few. */
static bool append(struct assembly *assembly, int64_t at, const uint8_t *bytes, unsigned count,
                   unsigned most)
{
    unsigned wanted = (unsigned)(assembly->total - assembly->have);
    if (wanted > most)
        wanted = most;
    if (count < wanted)
        return false;
    memcpy(assembly->data + assembly->have, bytes, wanted);
    assembly->have = (uint16_t)(assembly->have + wanted);
    assembly->packet++;
    assembly->last = at;
    return true;
}

/* True if the frame holds the bytes that were appended last. */
static bool repeats(const struct assembly *assembly, const uint8_t *bytes, unsigned count,
                    unsigned most)
{
    unsigned last = assembly->have < most ? assembly->have : most;
    return count >= last && memcmp(assembly->data + assembly->have - last, bytes, last) == 0;
}

static enum framing finish(struct assembly_pool *pool, struct assembly *done,
                           struct can_address address, struct can_message *message)
{
    if (done->have < done->total)
        return FRAME_NEED_MORE;
    memset(done->data + done->total, 0xFF, MESSAGE_PADDING);
    address.pgn = done->pgn;
    *message = (struct can_message){address, done->data, done->total};
    drop(pool, done);
    return FRAME_READY;
}

static enum framing refuse(struct tally *tally, enum reason why, int64_t at)
{
    tally_add(tally, why, at);
    return FRAME_BAD;
}

/* --- fast packets
 *
 *  byte      0                 1          2 ... 7
 *       +-----+-------+  +------------+  +---------------+
 *       | seq |   0   |  |   length   |  | bytes 0 ... 5 |   first frame
 *       +-----+-------+  +------------+  +---------------+
 *       +-----+-------+  +-------------------------------+
 *       | seq | 1..31 |  | 7 bytes                       |   the others
 *       +-----+-------+  +-------------------------------+
 *        7..5    4..0    bits
 */
#define FIRST_BYTES 6
#define NEXT_BYTES 7

static enum framing fast_first(struct assembly_pool *pool, int64_t at, struct can_address address,
                               uint64_t key, const uint8_t *data, unsigned length,
                               struct can_message *message, struct tally *tally)
{
    unsigned total = length > 1 ? data[1] : 0;
    if (total == 0 || total > FAST_PACKET_MAX)
        return refuse(tally, REASON_FAST_PACKET_LENGTH, at);
    struct assembly *new = begin(pool, at, address.source, key, FAST_PACKET_TIMEOUT, tally);
    new->pgn = address.pgn;
    new->total = (uint16_t)total;
    new->packet = 0;
    if (!append(new, at, data + 2, length - 2, FIRST_BYTES)) {
        give_up(pool, new, REASON_TRUNCATED, tally);
        return FRAME_BAD;
    }
    return finish(pool, new, address, message);
}

static enum framing fast_next(struct assembly_pool *pool, int64_t at, struct assembly *open,
                              struct can_address address, const uint8_t *data, unsigned length,
                              struct can_message *message, struct tally *tally)
{
    unsigned index = data[0] & 0x1F;
    if (index > 0 && index + 1u == open->packet &&
        repeats(open, data + 1, length - 1, NEXT_BYTES)) {
        tally_add(tally, REASON_FRAME_REPEATED, at);
        return FRAME_NEED_MORE;
    }
    if (index != open->packet) {
        give_up(pool, open, REASON_FAST_PACKET_LOST, tally);
        return FRAME_BAD;
    }
    if (!append(open, at, data + 1, length - 1, NEXT_BYTES)) {
        give_up(pool, open, REASON_TRUNCATED, tally);
        return FRAME_BAD;
    }
    return finish(pool, open, address, message);
}

/* True if a first frame repeats the first frame of a message that has no other frame yet. */
static bool repeats_first(const struct assembly *open, const uint8_t *data, unsigned length)
{
    return open->packet == 1 && length > 1 && data[1] == open->total &&
           repeats(open, data + 2, length - 2, FIRST_BYTES);
}

enum framing fast_packet_push(struct assembly_pool *pool, int64_t at, struct can_address address,
                              const uint8_t *data, unsigned length, struct can_message *message,
                              struct tally *tally)
{
    if (length == 0)
        return refuse(tally, REASON_TRUNCATED, at);
    unsigned sequence = data[0] >> 5, index = data[0] & 0x1F;
    uint64_t key = (uint64_t)address.pgn << 16 | (uint64_t)address.destination << 8 | sequence;
    struct assembly *open = find(pool, address.source, key);
    if (open && is_silent(open, at)) {
        give_up(pool, open, pool->timed_out, tally);
        open = NULL;
    }
    if (index > 0)
        return open ? fast_next(pool, at, open, address, data, length, message, tally)
                    : refuse(tally, REASON_FAST_PACKET_ORPHAN, at);
    if (open && repeats_first(open, data, length)) {
        tally_add(tally, REASON_FRAME_REPEATED, at);
        return FRAME_NEED_MORE;
    }
    if (open)
        give_up(pool, open, REASON_FAST_PACKET_LOST, tally);
    return fast_first(pool, at, address, key, data, length, message, tally);
}

/* --- transport protocol
 *
 *  byte     0        1        2        3        4        5        6        7
 *       +--------+--------+--------+--------+--------+--------+--------+--------+
 *       |  0x20  |      length     |packets |  0xFF  |           PGN            |  broadcast
 *       |  0x10  |      length     |packets |at once |           PGN            |  request to send
 *       |  0x11  |packets |  next  |  0xFF  |  0xFF  |           PGN            |  clear to send
 *       |  0x13  |      length     |packets |  0xFF  |           PGN            |  end of message
 *       |  0xFF  | reason |  0xFF  |  0xFF  |  0xFF  |           PGN            |  abort
 *       +--------+--------+--------+--------+--------+--------+--------+--------+
 *       |1 .. 255|                        7 bytes                               |  data
 *       +--------+--------------------------------------------------------------+
 */
enum { BROADCAST = 0x20, REQUEST = 0x10, CLEAR = 0x11, ACKNOWLEDGE = 0x13, ABORT = 0xFF };
#define PACKET_BYTES 7

/* One connection at a time from one source to one destination. */
static struct assembly *find_session(struct assembly_pool *pool, uint8_t source,
                                     uint8_t destination)
{
    return find(pool, source, destination);
}

static enum framing announce(struct assembly_pool *pool, int64_t at, struct can_address address,
                             const uint8_t *data, struct tally *tally)
{
    unsigned total = data[1] | (unsigned)data[2] << 8;
    unsigned packets = data[3];
    struct assembly *open = find_session(pool, address.source, address.destination);
    if (open)
        give_up(pool, open, is_silent(open, at) ? pool->timed_out : REASON_TRANSPORT_LOST, tally);
    if (total < TRANSPORT_MIN || total > TRANSPORT_MAX ||
        packets != (total + PACKET_BYTES - 1) / PACKET_BYTES)
        return refuse(tally, REASON_TRANSPORT_LENGTH, at);
    struct assembly *new =
        begin(pool, at, address.source, address.destination,
              data[0] == BROADCAST ? BROADCAST_TIMEOUT : CONNECTION_TIMEOUT, tally);
    new->pgn = data[5] | (uint32_t)data[6] << 8 | (uint32_t)(data[7] & 3) << 16;
    new->total = (uint16_t)total;
    new->packet = 1;
    return FRAME_NEED_MORE;
}

/* The receiver lets the sender go on, from a packet it names. It may ask for some once more. */
static enum framing clear_to_send(struct assembly_pool *pool, int64_t at, struct assembly *session,
                                  unsigned next, struct tally *tally)
{
    session->last = at;
    if (next == 0 || next == session->packet) /* "wait", or all is well */
        return FRAME_NEED_MORE;
    if (next > session->packet) { /* packets that we have not heard */
        give_up(pool, session, REASON_TRANSPORT_LOST, tally);
        return FRAME_BAD;
    }
    session->packet = (uint16_t)next;
    session->have = (uint16_t)((next - 1) * PACKET_BYTES);
    return FRAME_NEED_MORE;
}

/* What the receiver, or either side, says about a connection that is open. */
static enum framing manage(struct assembly_pool *pool, int64_t at, struct can_address address,
                           const uint8_t *data, struct tally *tally)
{
    struct assembly *session = find_session(pool, address.destination, address.source);
    if (!session && data[0] == ABORT)
        session = find_session(pool, address.source, address.destination);
    if (!session)
        return FRAME_NEED_MORE;
    if (data[0] == CLEAR)
        return clear_to_send(pool, at, session, data[1] == 0 ? 0 : data[2], tally);
    give_up(pool, session, data[0] == ABORT ? REASON_TRANSPORT_ABORTED : REASON_TRANSPORT_LOST,
            tally);
    return FRAME_BAD;
}

enum framing transport_control(struct assembly_pool *pool, int64_t at, struct can_address address,
                               const uint8_t *data, unsigned length, struct tally *tally)
{
    if (length < 8)
        return refuse(tally, REASON_TRUNCATED, at);
    switch (data[0]) {
    case BROADCAST:
        address.destination = CAN_ADDRESS_ALL;
        return announce(pool, at, address, data, tally);
    case REQUEST:
        if (address.destination == CAN_ADDRESS_ALL)
            return refuse(tally, REASON_TRANSPORT_LENGTH, at);
        return announce(pool, at, address, data, tally);
    case CLEAR:
    case ACKNOWLEDGE:
    case ABORT:
        return manage(pool, at, address, data, tally);
    default:
        return refuse(tally, REASON_RESERVED, at);
    }
}

enum framing transport_data(struct assembly_pool *pool, int64_t at, struct can_address address,
                            const uint8_t *data, unsigned length, struct can_message *message,
                            struct tally *tally)
{
    if (length == 0)
        return refuse(tally, REASON_TRUNCATED, at);
    struct assembly *session = find_session(pool, address.source, address.destination);
    if (session && is_silent(session, at)) {
        give_up(pool, session, pool->timed_out, tally);
        session = NULL;
    }
    if (!session)
        return refuse(tally, REASON_TRANSPORT_ORPHAN, at);
    if (data[0] > 0 && data[0] + 1u == session->packet &&
        repeats(session, data + 1, length - 1, PACKET_BYTES)) {
        tally_add(tally, REASON_FRAME_REPEATED, at);
        return FRAME_NEED_MORE;
    }
    bool in_order = data[0] == session->packet;
    if (!in_order || !append(session, at, data + 1, length - 1, PACKET_BYTES)) {
        give_up(pool, session, in_order ? REASON_TRUNCATED : REASON_TRANSPORT_LOST, tally);
        return FRAME_BAD;
    }
    return finish(pool, session, address, message);
}
