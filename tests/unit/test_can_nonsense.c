/* test_can_nonsense.c - a CAN bus of nonsense at full load for hours of bus time: nothing grows,
 * nothing breaks, every frame is counted, and what comes out is sound (tests/fuzz/can_checks.h).
 *
 * SEARUN_SEED and SEARUN_HOURS (of bus time) may be set. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <malloc.h>
#include <time.h>

#include "../fuzz/can_checks.h"

#include "../../logger/messages_can.h"

#define FRAMES_A_SECOND 1800 /* 250 kbit/s with 8 bytes a frame */

static uint64_t next_random(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    return *state ^= *state << 17;
}

static uint64_t number_from(const char *name, uint64_t otherwise)
{
    const char *text = getenv(name);
    return text ? strtoull(text, NULL, 10) : otherwise;
}

/* Identifiers: half of them of groups that are decoded, the others anything. */
static uint32_t nonsense_id(uint64_t *seed)
{
    uint32_t id = (uint32_t)next_random(seed);
    uint64_t pick = next_random(seed);
    size_t i = pick >> 8 & 63;
    const struct can_row *row = i < can_row_count_n2k ? &can_rows_n2k[i] : NULL;
    if (i >= 32 && i - 32 < can_row_count_j1939)
        row = &can_rows_j1939[i - 32];
    if (i >= 56)
        row = &can_rows_both[i % can_row_count_both];
    if (pick % 2 == 0 || !row)
        return id | (pick & 0x10 ? 0x80000000u : 0);
    uint32_t low = (row->number >> 8 & 0xFF) < 240 ? id & 0xFF00 : 0;
    return 0x80000000u | (id & 0x1C000000) | row->number << 8 | low | (id & 0xFF);
}

/* Bytes: anything, but often the small numbers with which messages begin. */
static void nonsense_bytes(uint64_t *seed, uint8_t data[8])
{
    uint64_t bytes = next_random(seed), pick = next_random(seed);
    memcpy(data, &bytes, 8);
    if (pick % 4 == 0) {
        data[0] = (uint8_t)(pick >> 8 & 0x23);
        data[1] = (uint8_t)(pick >> 16 & 0x1F);
    }
    if (pick % 16 == 1)
        memset(data, 0xFF, 8);
}

static uint64_t all_counted(const struct tally *tally)
{
    return tally->line[REASON_FRAMES].count + tally->line[REASON_FRAME_11_BIT].count +
           tally->line[REASON_FRAME_ERROR].count;
}

static void hours_of_nonsense(void **state)
{
    (void)state;
    uint64_t seed = number_from("SEARUN_SEED", (uint64_t)time(NULL)) | 1;
    uint64_t frames = number_from("SEARUN_HOURS", 3) * 3600 * FRAMES_A_SECOND;
    printf("seed %llu, %llu frames\n", (unsigned long long)seed, (unsigned long long)frames);
    struct can_checks checks = {0};
    struct sink sink = checking_sink(&checks);
    struct tally tally = {0};
    struct can_decoder *decoder;
    assert_int_equal(can_decoder_new(3, BUS_AUTO, 0, &decoder), STATUS_OK);
    size_t before = mallinfo2().uordblks;
    for (uint64_t i = 0; i < frames; i++) {
        uint8_t data[8];
        nonsense_bytes(&seed, data);
        checks.at = (int64_t)(i * NS_PER_S / FRAMES_A_SECOND);
        can_decoder_frame(decoder, checks.at, nonsense_id(&seed), data,
                          (unsigned)(next_random(&seed) % 32 < 28 ? 8 : next_random(&seed) % 10),
                          &sink, &tally);
    }
    can_decoder_expire(decoder, INT64_MAX, &tally);
    assert_int_equal(mallinfo2().uordblks, before);
    assert_int_equal(all_counted(&tally), frames);
    assert_int_equal(tally.line[REASON_READINGS].count, checks.values);
    /* events are rationed: 256 at once and two a second */
    assert_in_range(checks.events, 256, 256 + 2 * frames / FRAMES_A_SECOND + 1);
    assert_true(tally.line[REASON_TOO_MANY_SOURCES].count > 0);
    assert_true(checks.values > 0);
    can_decoder_free(decoder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(hours_of_nonsense),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
