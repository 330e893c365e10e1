/* decode_can.h - CAN frames become messages (fast packet, transport protocol), messages readings.
 *
 * One decoder per CAN input; memory is bounded and fixed at creation.
 */
#ifndef SEARUN_DECODE_CAN_H
#define SEARUN_DECODE_CAN_H

#include "decode.h"
#include "status.h"

/* What an interface carries. The message numbers of the two protocols do not overlap, so BUS_AUTO
 * takes both, each by its own table, also when they come over one interface. The other two take one
 * table only: for a bus where the numbers of the other protocol are used for something else. */
enum bus_kind { BUS_AUTO, BUS_NMEA2000, BUS_J1939 };

/* Label of the origin of UTC that a device has from its own clock: no better than ours. */
#define CAN_OWN_CLOCK "crystal clock"

struct can_decoder;

/* `j1939_engine`: number of the engine that has J1939 source address 0; address 1 is the next
 * engine. STATUS_MEMORY. */
enum status can_decoder_new(unsigned input, enum bus_kind kind, unsigned j1939_engine,
                            struct can_decoder **out);
void can_decoder_free(struct can_decoder *decoder);

/* One frame; id as in struct can_frame with its EFF/RTR/ERR flag bits (0x80000000, 0x40000000,
 * 0x20000000). */
void can_decoder_frame(struct can_decoder *decoder, int64_t at, uint32_t id, const uint8_t *data,
                       unsigned length, const struct sink *sink, struct tally *tally);

/* Looks for messages that were never completed; call it now and then, and at the end with
 * INT64_MAX. */
void can_decoder_expire(struct can_decoder *decoder, int64_t at, struct tally *tally);

/* Whether no message is half way, so that a new decoder could go on from here. */
bool can_decoder_is_idle(const struct can_decoder *decoder, int64_t at);

#endif
