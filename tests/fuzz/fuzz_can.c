/* fuzz_can.c - any frames into a CAN decoder. Memory stays as it is, what comes out is sound.
 *
 * The first byte sets the bus; then each frame is: kind (what to make of the identifier), pause in
 * units of 10 ms, length, 4 bytes of identifier, 8 bytes of data. Kinds that pick one of our groups
 * make a message come through more often than four random bytes would. */
#include "can_checks.h"

#include "../../logger/messages_can.h"

#define FRAME_SIZE 15

static uint32_t group_of(unsigned number)
{
    size_t count = can_row_count_both + can_row_count_n2k + can_row_count_j1939;
    size_t i = number % count;
    if (i < can_row_count_both)
        return can_rows_both[i].number;
    i -= can_row_count_both;
    return i < can_row_count_n2k ? can_rows_n2k[i].number
                                 : can_rows_j1939[i - can_row_count_n2k].number;
}

static uint32_t identifier(const uint8_t *bytes, unsigned kind)
{
    uint32_t id =
        bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 | (uint32_t)bytes[3] << 24;
    if (kind < 64)
        return id;
    uint32_t group = group_of(kind);
    uint32_t low = (group >> 8 & 0xFF) < 240 ? id & 0xFF00 : 0;
    return 0x80000000u | (id & 0x1C000000) | group << 8 | low | (id & 0xFF);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct can_checks checks = {0};
    struct sink sink = checking_sink(&checks);
    struct tally tally = {0};
    struct can_decoder *decoder;
    if (size < 1 || can_decoder_new(bytes[0] >> 4, (enum bus_kind)(bytes[0] % 3), bytes[0] >> 6,
                                    &decoder) != STATUS_OK)
        return 0;
    for (bytes++, size--; size >= FRAME_SIZE; bytes += FRAME_SIZE, size -= FRAME_SIZE) {
        checks.at += (int8_t)bytes[1] * 10 * NS_PER_MS;
        can_decoder_frame(decoder, checks.at, identifier(bytes + 3, bytes[0]), bytes + 7,
                          bytes[2] % 10, &sink, &tally);
        if (bytes[2] >= 250)
            can_decoder_expire(decoder, checks.at, &tally);
    }
    can_decoder_expire(decoder, INT64_MAX, &tally);
    CHECK(tally.line[REASON_READINGS].count == checks.values);
    can_decoder_free(decoder);
    return 0;
}
