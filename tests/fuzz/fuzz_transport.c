/* fuzz_transport.c - any frames into the pools that put longer messages together. What is delivered
 * has the length that was announced, and the pool never loses an assembly or holds one twice.
 *
 * Each frame is: kind, pause in units of 20 ms, addresses, length, 8 bytes of data. */
#include "can_checks.h"

#include "../../logger/frame_can.h"

#define FRAME_SIZE 12

/* Every assembly is in one chain, and just one. */
static void check_pool(const struct assembly_pool *pool)
{
    bool seen[ASSEMBLIES] = {false};
    unsigned count = 0;
    for (unsigned chain = 0; chain <= 256; chain++) {
        unsigned i = chain < 256 ? pool->first[chain] : pool->spare;
        for (; i != 0; i = pool->assembly[i - 1].next) {
            CHECK(i <= ASSEMBLIES && !seen[i - 1]);
            seen[i - 1] = true;
            count++;
            CHECK(chain == 256 || pool->assembly[i - 1].source == chain);
            CHECK(chain == 256 || pool->assembly[i - 1].have < pool->assembly[i - 1].total);
        }
    }
    CHECK(count == ASSEMBLIES);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct assembly_pool *fast = malloc(sizeof *fast), *transport = malloc(sizeof *transport);
    struct tally tally = {0};
    int64_t at = 0;
    CHECK(fast && transport);
    assembly_pool_reset(fast, REASON_FAST_PACKET_TIMEOUT);
    assembly_pool_reset(transport, REASON_TRANSPORT_TIMEOUT);
    for (; size >= FRAME_SIZE; bytes += FRAME_SIZE, size -= FRAME_SIZE) {
        static const uint32_t groups[] = {60416, 60160, 127489, 129029};
        struct can_address address = {groups[bytes[0] % 4], bytes[2] & 0x87,
                                      bytes[0] & 0x80 ? bytes[2] >> 4 : CAN_ADDRESS_ALL, 6};
        struct can_message message = {0};
        unsigned length = bytes[3] % 9;
        uint8_t *data = malloc(length ? length : 1); /* of its own, so that reading past it shows */
        CHECK(data);
        memcpy(data, bytes + 4, length);
        at += (int8_t)bytes[1] * 20 * NS_PER_MS;
        enum framing framing;
        if (address.pgn == 60416)
            framing = transport_control(transport, at, address, data, length, &tally);
        else if (address.pgn == 60160)
            framing = transport_data(transport, at, address, data, length, &message, &tally);
        else
            framing = fast_packet_push(fast, at, address, data, length, &message, &tally);
        if (framing == FRAME_READY) {
            CHECK(message.length >= 1 && message.length <= TRANSPORT_MAX);
            CHECK(address.pgn == 60160 || message.length <= FAST_PACKET_MAX);
            CHECK(message.data[message.length] == 0xFF); /* the padding is there */
        }
        free(data);
        check_pool(fast);
        check_pool(transport);
    }
    assembly_pool_expire(fast, INT64_MAX, &tally);
    assembly_pool_expire(transport, INT64_MAX, &tally);
    check_pool(fast);
    check_pool(transport);
    free(fast);
    free(transport);
    return 0;
}
