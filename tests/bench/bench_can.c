/* bench_can.c - CAN frames a second through framing and decoding on one core, by kind and for a mix
 * as a bus carries it; the ratio to what memory gives at 16 bytes a frame; the decoder's memory;
 * and a simulated day at full load. Figures only, no pass or fail.
 *
 * A reference: a general-purpose PGN decoder takes 160,000 to 190,000 frames a second from log text
 * and 308,000 to 372,000 from ready buffers on one core of this kind of machine. */
#include <malloc.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "../../include/capture_text.h"
#include "../../logger/decode_can.h"

#define FRAMES_A_SECOND 1800 /* a full bus: 250 kbit/s with 8 bytes a frame */
#define MIX_FRAMES 65536
#define ROUNDS 5

struct frame {
    uint32_t id;
    uint8_t length, data[8];
};

static double cpu_seconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* --- a sink that only counts */

struct counter {
    uint64_t readings;
    double sum;
};

static void count_readings(void *self, int64_t at, const struct origin *origin,
                           const struct value *values, size_t count)
{
    struct counter *counter = self;
    (void)at, (void)origin;
    counter->readings += count;
    counter->sum += values[0].value;
}

static void ignore_event(void *self, int64_t at, const struct origin *origin, const char *key,
                         const char *text)
{
    (void)self, (void)at, (void)origin, (void)key, (void)text;
}

static void ignore_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    (void)self, (void)at, (void)origin, (void)unix_us;
}

/* --- frames */

/* A message as a bus sends it: its share of 64, group, fast packet or not, payload with moving
 * bytes. */
struct part {
    unsigned share;
    uint32_t group, source;
    unsigned length; /* above 8: a fast packet */
    const char *payload;
    unsigned moving; /* number of the byte that changes */
};

static const struct part engine_rapid[] = {{1, 127488, 35, 8, "\0\x9A\x0B\x17\0\0\xFF\xFF", 1}};
static const struct part engine_dynamic[] = {
    {1, 127489, 35, 26,
     "\0\x6E\x0F\x6B\x0E\x9F\x8A\x84\x05\x12\x01\x80\xFE\x44\0\x8E\x03\x30\x01\xFF\0\0\0\0\x47\x42",
     5}};
static const struct part temperature[] = {{1, 130312, 37, 8, "\1\0\0\x7F\x6F\xFF\xFF\xFF", 3}};
static const struct part position[] = {{1, 129025, 36, 8, "\x40\x2C\x5F\x22\0\xBA\x8A\xFC", 0}};
static const struct part eec1[] = {{1, 61444, 0, 8, "\xF0\x7D\x7D\xA0\x4B\0\xFF\xFF", 3}};
static const struct part not_ours[] = {{1, 127251, 36, 8, "\1\0\0\0\0\xFF\xFF\xFF", 1}};
/* What a boat with two engines and the usual instruments puts on its bus. */
static const struct part boat[] = {
    {10, 127488, 35, 8, "\0\x9A\x0B\x17\0\0\xFF\xFF", 1},
    {10, 127488, 35, 8, "\1\x9A\x0B\x17\0\0\xFF\xFF", 1},
    {2, 127489, 35, 26,
     "\0\x6E\x0F\x6B\x0E\x9F\x8A\x84\x05\x12\x01\x80\xFE\x44\0\x8E\x03\x30\x01\xFF\0\0\0\0\x47\x42",
     5},
    {2, 127489, 35, 26,
     "\1\x6E\x0F\x6B\x0E\x9F\x8A\x84\x05\x12\x01\x80\xFE\x44\0\x8E\x03\x30\x01\xFF\0\0\0\0\x47\x42",
     5},
    {10, 129025, 36, 8, "\x40\x2C\x5F\x22\0\xBA\x8A\xFC", 0},
    {4, 129026, 36, 8, "\1\xFC\x10\x27\x2C\1\xFF\xFF", 2},
    {10, 127250, 36, 8, "\1\x10\x27\xFF\x7F\xFF\x7F\xFC", 1},
    {10, 127251, 36, 8, "\1\0\0\0\0\xFF\xFF\xFF", 1}, /* rate of turn: none of ours */
    {1, 128259, 37, 8, "\1\x64\0\xFF\xFF\0\xFF\xFF", 1},
    {1, 128267, 37, 8, "\1\x20\3\0\0\x90\1\xFF", 1},
    {1, 130312, 37, 8, "\1\0\0\x7F\x6F\xFF\xFF\xFF", 3},
    {1, 127508, 38, 8, "\0\x78\5\x10\0\xFF\xFF\xFF", 1},
};

static size_t put_frames(struct frame *to, const struct part *part, unsigned turn)
{
    uint32_t id = 0x80000000u | 6u << 26 | part->group << 8 | part->source;
    uint8_t bytes[32];
    memcpy(bytes, part->payload, part->length);
    bytes[part->moving] = (uint8_t)(bytes[part->moving] + turn % 16);
    if (part->length <= 8) {
        *to = (struct frame){id, 8, {0}};
        memcpy(to->data, bytes, 8);
        return 1;
    }
    size_t done = 0, count = 0;
    for (; done < part->length; count++) {
        size_t head = count == 0 ? 2 : 1;
        size_t piece = part->length - done < 8 - head ? part->length - done : 8 - head;
        to[count] =
            (struct frame){id, 8, {(uint8_t)(turn % 8 << 5 | count), (uint8_t)part->length}};
        memcpy(to[count].data + head, bytes + done, piece);
        done += piece;
    }
    return count;
}

static size_t make_frames(struct frame *frames, const struct part *parts, size_t part_count)
{
    size_t count = 0;
    for (unsigned turn = 0; count < MIX_FRAMES - 64 * 4; turn++)
        for (size_t i = 0; i < part_count; i++)
            for (unsigned n = 0; n < parts[i].share; n++)
                count += put_frames(frames + count, &parts[i], turn * 7 + n);
    return count;
}

/* --- measuring */

struct result {
    double frames_a_second, readings_a_frame;
};

static struct can_decoder *decoder_new(void)
{
    struct can_decoder *decoder;
    if (can_decoder_new(0, BUS_AUTO, 0, &decoder) != STATUS_OK)
        exit(1);
    return decoder;
}

/* The best of some rounds: the machine is shared. */
static struct result decode_frames(const struct frame *frames, size_t count, unsigned repeat)
{
    struct result best = {0};
    struct tally tally = {0};
    for (int round = 0; round < ROUNDS; round++) {
        struct counter counter = {0};
        struct sink sink = {&counter, count_readings, ignore_event, ignore_utc};
        struct can_decoder *decoder = decoder_new();
        int64_t at = 0;
        double start = cpu_seconds();
        for (unsigned r = 0; r < repeat; r++)
            for (size_t i = 0; i < count; i++, at += NS_PER_S / FRAMES_A_SECOND)
                can_decoder_frame(decoder, at, frames[i].id, frames[i].data, frames[i].length,
                                  &sink, &tally);
        double rate = (double)count * repeat / (cpu_seconds() - start);
        if (rate > best.frames_a_second)
            best = (struct result){rate, (double)counter.readings / ((double)count * repeat)};
        can_decoder_free(decoder);
    }
    return best;
}

/* Bytes a second that one core reads from memory, far more than its caches hold. */
static double memory_bandwidth(void)
{
    size_t size = 64 << 20;
    uint64_t *block = malloc(size);
    double best = 0;
    if (!block)
        return 0;
    memset(block, 1, size);
    for (int round = 0; round < ROUNDS; round++) {
        uint64_t sum[4] = {0};
        double start = cpu_seconds();
        for (size_t i = 0; i < size / 8; i += 4)
            for (size_t k = 0; k < 4; k++)
                sum[k] += block[i + k];
        double rate = (double)size / (cpu_seconds() - start);
        if (sum[0] + sum[1] + sum[2] + sum[3] == 0)
            puts("");
        best = rate > best ? rate : best;
    }
    free(block);
    return best;
}

static void by_kind(struct frame *frames, double bandwidth)
{
    static const struct {
        const char *title;
        const struct part *parts;
        size_t count;
    } kinds[] = {
        {"127488, engine speed", engine_rapid, 1},
        {"127489, engine dynamic (fast packet)", engine_dynamic, 1},
        {"130312, temperature", temperature, 1},
        {"129025, position", position, 1},
        {"EEC1", eec1, 1},
        {"not ours", not_ours, 1},
        {"mix of a boat with two engines", boat, sizeof boat / sizeof *boat},
    };
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        size_t count = make_frames(frames, kinds[i].parts, kinds[i].count);
        struct result result = decode_frames(frames, count, 40);
        printf("%-40s %6.1f million frames/s, %5.1f ns a frame, %.2f readings a frame, "
               "%.1f %% of memory bandwidth\n",
               kinds[i].title, result.frames_a_second / 1e6, 1e9 / result.frames_a_second,
               result.readings_a_frame, 1600 * result.frames_a_second / bandwidth);
    }
}

/* The same from the text of a log, in memory. */
static void from_text(struct frame *frames)
{
    size_t count = make_frames(frames, boat, sizeof boat / sizeof *boat), length = 0;
    char *text = malloc(count * 64);
    double best = 0;
    if (!text)
        return;
    for (size_t i = 0; i < count; i++) {
        struct run_input input = {.label = "can0"};
        struct raw_message message = {(int64_t)i * 555000, 0, true, frames[i].id, frames[i].data,
                                      frames[i].length};
        length +=
            capture_text_message(text + length, 64, INT64_C(1781533953000000), &input, &message);
    }
    for (int round = 0; round < ROUNDS; round++) {
        struct counter counter = {0};
        struct sink sink = {&counter, count_readings, ignore_event, ignore_utc};
        struct tally tally = {0};
        struct can_decoder *decoder = decoder_new();
        double start = cpu_seconds();
        for (const char *at = text, *end; at < text + length; at = end + 1) {
            struct capture_text frame;
            end = memchr(at, '\n', (size_t)(text + length - at));
            if (capture_text_parse(at, (size_t)(end - at), &frame) == CAPTURE_FRAME)
                can_decoder_frame(decoder, frame.unix_us * 1000, frame.id, frame.data,
                                  frame.data_length, &sink, &tally);
        }
        double rate = (double)count / (cpu_seconds() - start);
        best = rate > best ? rate : best;
        can_decoder_free(decoder);
    }
    printf("%-40s %6.1f million frames/s, %5.1f ns a frame\n", "the mix from log text", best / 1e6,
           1e9 / best);
    free(text);
}

static void a_day(const struct frame *frames, size_t count)
{
    struct counter counter = {0};
    struct sink sink = {&counter, count_readings, ignore_event, ignore_utc};
    struct tally tally = {0};
    size_t before = mallinfo2().uordblks;
    struct can_decoder *decoder = decoder_new();
    size_t begin = mallinfo2().uordblks;
    double start = cpu_seconds();
    uint64_t all = UINT64_C(86400) * FRAMES_A_SECOND;
    for (uint64_t i = 0; i < all; i++) {
        const struct frame *frame = &frames[i % count];
        can_decoder_frame(decoder, (int64_t)(i * NS_PER_S / FRAMES_A_SECOND), frame->id,
                          frame->data, frame->length, &sink, &tally);
    }
    double seconds = cpu_seconds() - start;
    printf("%-40s %llu frames in %.1f s of CPU (%.4f %% of a core in real time)\n",
           "a day at 1,800 frames/s", (unsigned long long)all, seconds, seconds / 864.0);
    printf("%-40s %zu bytes at the start, %+ld bytes after the day\n", "memory of the decoder",
           begin - before, (long)mallinfo2().uordblks - (long)begin);
    can_decoder_free(decoder);
}

int main(void)
{
    struct frame *frames = calloc(MIX_FRAMES, sizeof *frames);
    if (!frames)
        return 1;
    double bandwidth = memory_bandwidth();
    printf("memory, one core: %.1f GB/s, or %.0f million frames/s of 16 bytes\n", bandwidth / 1e9,
           bandwidth / 16e6);
    by_kind(frames, bandwidth);
    from_text(frames);
    a_day(frames, make_frames(frames, boat, sizeof boat / sizeof *boat));
    free(frames);
    return 0;
}
