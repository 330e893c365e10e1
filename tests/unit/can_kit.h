/* can_kit.h - for tests: frames go into a CAN decoder, and what comes out becomes lines of text
 * (capture_lines.h). */
#ifndef SEARUN_CAN_KIT_H
#define SEARUN_CAN_KIT_H

#include "capture_lines.h"

#include "../../logger/decode_can.h"

struct can_kit {
    struct can_decoder *decoder;
    int64_t at;   /* instant of the next frame */
    int64_t step; /* ns from frame to frame */
    bool texts;   /* write the words of events, too */
    bool sums;    /* write the counts of frames and readings, too */
    struct tally tally;
    char *text;
    size_t length;
    FILE *out;
};

/* --- writing down what came out */

static inline void kit_readings(void *self, int64_t at, const struct origin *origin,
                                const struct value *values, size_t count)
{
    struct can_kit *kit = self;
    assert_int_equal(at, kit->at);
    assert_in_range(count, 1, VALUES_MAX);
    lines_readings(kit->out, origin, values, count);
}

static inline void kit_event(void *self, int64_t at, const struct origin *origin, const char *key,
                             const char *text)
{
    struct can_kit *kit = self;
    assert_int_equal(at, kit->at);
    lines_event(kit->out, origin, key, kit->texts ? text : NULL);
}

static inline void kit_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    struct can_kit *kit = self;
    assert_int_equal(at, kit->at);
    lines_utc(kit->out, origin, unix_us);
}

/* --- feeding */

static inline void kit_start(struct can_kit *kit, enum bus_kind kind, unsigned engine)
{
    memset(kit, 0, sizeof *kit);
    kit->step = NS_PER_MS;
    assert_int_equal(can_decoder_new(0, kind, engine, &kit->decoder), STATUS_OK);
    kit->out = open_memstream(&kit->text, &kit->length);
    assert_non_null(kit->out);
}

static inline void kit_frame(struct can_kit *kit, uint32_t id, const uint8_t *data, unsigned length)
{
    struct sink sink = {kit, kit_readings, kit_event, kit_utc};
    can_decoder_frame(kit->decoder, kit->at, id, data, length, &sink, &kit->tally);
    kit->at += kit->step;
}

static inline size_t kit_bytes(const char *hex, size_t digits, uint8_t *bytes, size_t room)
{
    size_t count = 0;
    for (size_t i = 0; i + 1 < digits && count < room; i += 2) {
        char pair[3] = {hex[i], hex[i + 1], '\0'};
        bytes[count++] = (uint8_t)strtoul(pair, NULL, 16);
    }
    return count;
}

/* Frames as can-utils writes them, with spaces between: "09F20023#00990B170000FFFF 123#01".
 * Identifiers of 3 digits are 11-bit ones; "+1500" moves time on by 1500 ms instead. */
static inline void kit_frames(struct can_kit *kit, const char *frames)
{
    while (*frames) {
        size_t length = strcspn(frames, " ");
        const char *hash = memchr(frames, '#', length);
        if (*frames == '+') {
            kit->at += strtol(frames + 1, NULL, 10) * NS_PER_MS;
        } else {
            uint8_t data[8];
            assert_non_null(hash);
            uint32_t id = (uint32_t)strtoul(frames, NULL, 16);
            size_t digits = length - (size_t)(hash + 1 - frames);
            kit_frame(kit, hash - frames > 3 ? id | 0x80000000u : id, data,
                      (unsigned)kit_bytes(hash + 1, digits, data, sizeof data));
        }
        frames += length + (frames[length] == ' ');
    }
}

/* One message of a group that everybody may read, as one frame or as a fast packet. */
static inline void kit_message(struct can_kit *kit, uint32_t pgn, unsigned source, bool fast,
                               unsigned sequence, const uint8_t *payload, size_t length)
{
    uint32_t id = 0x80000000u | 6u << 26 | pgn << 8 | source;
    if (!fast) {
        kit_frame(kit, id, payload, (unsigned)length);
        return;
    }
    size_t done = 0;
    for (unsigned index = 0; index == 0 || done < length; index++) {
        uint8_t data[8];
        memset(data, 0xFF, sizeof data);
        data[0] = (uint8_t)(sequence << 5 | index);
        data[1] = (uint8_t)length;
        size_t head = index == 0 ? 2 : 1;
        size_t count = length - done < 8 - head ? length - done : 8 - head;
        memcpy(data + head, payload + done, count);
        done += count;
        kit_frame(kit, id, data, 8);
    }
}

/* --- comparing */

/* Without the sums the counts of frames and readings are left out. */
static inline void kit_tally(const struct can_kit *kit)
{
    struct tally tally = kit->tally;
    if (!kit->sums)
        tally.line[REASON_FRAMES].count = tally.line[REASON_READINGS].count = 0;
    lines_tally(kit->out, &tally);
}

/* The text so far, and an empty one from here on. To be freed. */
static inline char *kit_take(struct can_kit *kit)
{
    fclose(kit->out);
    char *text = kit->text;
    kit->out = open_memstream(&kit->text, &kit->length);
    assert_non_null(kit->out);
    return text;
}

/* Compares what has come out since the last time, without counts. */
static inline void kit_expect(struct can_kit *kit, const char *what, const char *want)
{
    char *text = kit_take(kit);
    lines_compare(what, text, want);
    free(text);
}

static inline void kit_stop(struct can_kit *kit)
{
    can_decoder_free(kit->decoder);
    fclose(kit->out);
    free(kit->text);
}

/* The end of the bus: unfinished messages are counted; all that came out, and the counts, must be
 * `want`. */
static inline void kit_end(struct can_kit *kit, const char *what, const char *want)
{
    can_decoder_expire(kit->decoder, INT64_MAX, &kit->tally);
    kit_tally(kit);
    kit_expect(kit, what, want);
    kit_stop(kit);
}

#endif
