/* record_0183.h - for tests: a sink that keeps what decoders give, ways to feed it, and seeds. */
#ifndef SEARUN_RECORD_0183_H
#define SEARUN_RECORD_0183_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../../logger/decode.h"
#include "../../logger/frame_0183.h"

#define RECORD_MAX 64

struct recorded {
    struct origin origin;
    enum channel_id channel;
    double value;
};

struct record {
    size_t count, utc_count; /* of all; the lists keep the first RECORD_MAX */
    struct recorded list[RECORD_MAX];
    int64_t utc[RECORD_MAX];
    uint64_t hash; /* over everything that came, in its order */
    struct tally tally;
    struct transducer_map map;
    size_t ready, bad;
    struct sentence last; /* `text` points below */
    char text[LINE_0183_MAX];
    size_t unsound;    /* sentences given out whose checksum does not match */
    size_t raw_length; /* of all pieces together */
    uint64_t raw_hash;
};

static inline uint64_t record_hash(uint64_t hash, const void *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        hash = (hash ^ ((const unsigned char *)bytes)[i]) * UINT64_C(1099511628211);
    return hash;
}

static inline void record_readings(void *self, int64_t at, const struct origin *origin,
                                   const struct value *values, size_t count)
{
    struct record *record = self;
    (void)at;
    for (size_t i = 0; i < count; i++) {
        enum channel_id channel = (enum channel_id)values[i].channel;
        const double value = values[i].value;
        if (record->count < RECORD_MAX)
            record->list[record->count] = (struct recorded){*origin, channel, value};
        record->count++;
        record->hash = record_hash(record->hash, origin, sizeof *origin);
        record->hash = record_hash(record->hash, &channel, sizeof channel);
        record->hash = record_hash(record->hash, &value, sizeof value);
    }
}

static inline void record_event(void *self, int64_t at, const struct origin *origin,
                                const char *key, const char *text)
{
    (void)self, (void)at, (void)origin, (void)key, (void)text;
}

static inline void record_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    struct record *record = self;
    (void)at;
    if (record->utc_count < RECORD_MAX)
        record->utc[record->utc_count] = unix_us;
    record->utc_count++;
    record->hash = record_hash(record->hash, origin, sizeof *origin);
    record->hash = record_hash(record->hash, &unix_us, sizeof unix_us);
}

/* Forgets everything but the map. */
static inline void record_clear(struct record *record)
{
    struct transducer_map map = record->map;
    memset(record, 0, sizeof *record);
    record->map = map;
    record->hash = record->raw_hash = UINT64_C(14695981039346656037);
}

/* An independent look at what the framer calls sound: the text lies between start and checksum. */
static inline int record_is_sound(const struct sentence *sentence)
{
    unsigned sum = 0;
    char sent[4] = {0};
    for (size_t i = 0; i < sentence->length; i++)
        sum ^= (unsigned char)sentence->text[i];
    memcpy(sent, sentence->text + sentence->length, 3);
    return sentence->text[-1] == (sentence->encapsulated ? '!' : '$') && sent[0] == '*' &&
           strtoul(sent + 1, NULL, 16) == sum;
}

/* Decodes what the framer said. */
static inline void record_take(struct record *record, enum framing framing,
                               const struct sentence *sentence)
{
    const struct sink sink = {record, record_readings, record_event, record_utc};
    record->bad += framing == FRAME_BAD;
    if (framing != FRAME_READY)
        return;
    record->ready++;
    record->unsound += !record_is_sound(sentence);
    record->last = *sentence;
    record->last.text = record->text;
    memset(record->text, 0, sizeof record->text);
    memcpy(record->text, sentence->text, sentence->length);
    decode_sentence(&record->map, 0, 0, sentence, &sink, &record->tally);
}

static inline void record_raw(struct record *record, enum framing framing, const char *raw,
                              size_t length)
{
    if (framing == FRAME_NEED_MORE)
        return;
    record->raw_length += length;
    record->raw_hash = record_hash(record->raw_hash, raw, length);
}

/* One whole line through frame_0183_line and the decoder. */
static inline void record_line(struct record *record, const char *line, size_t length)
{
    struct sentence sentence;
    enum framing framing = frame_0183_line(0, line, length, &sentence, &record->tally);
    record_take(record, framing, &sentence);
}

/* Bytes of a stream; `framer` goes on where it was. */
static inline void record_bytes(struct record *record, struct framer_0183 *framer,
                                const uint8_t *bytes, size_t count)
{
    struct sentence sentence;
    const char *raw;
    size_t used, length;
    for (size_t n = 0; n < count; n += used) {
        enum framing framing = framer_0183_push(framer, 0, bytes + n, count - n, &used, &sentence,
                                                &raw, &length, &record->tally);
        if (used == 0)
            abort();
        record_raw(record, framing, raw, length);
        record_take(record, framing, &sentence);
    }
}

static inline void record_end(struct record *record, struct framer_0183 *framer)
{
    struct sentence sentence;
    const char *raw;
    size_t length;
    enum framing framing;
    while ((framing = framer_0183_flush(framer, 0, &sentence, &raw, &length, &record->tally)) !=
           FRAME_NEED_MORE) {
        record_raw(record, framing, raw, length);
        record_take(record, framing, &sentence);
    }
}

/* A whole stream and its end. */
static inline void record_stream(struct record *record, const void *bytes, size_t count)
{
    struct framer_0183 framer;
    framer_0183_reset(&framer);
    record_bytes(record, &framer, bytes, count);
    record_end(record, &framer);
}

/* "IIMTW,17.9,C" becomes "$IIMTW,17.9,C*1C". Returns the length. */
static inline size_t record_close(const char *body, char *line, size_t size)
{
    unsigned sum = 0;
    for (const char *p = body; *p != '\0'; p++)
        sum ^= (unsigned char)*p;
    return (size_t)snprintf(line, size, "$%s*%02X", body, sum);
}

static inline void record_body(struct record *record, const char *body)
{
    char line[LINE_0183_MAX + 8];
    record_line(record, line, record_close(body, line, sizeof line));
}

static inline uint64_t record_counted(const struct record *record, enum reason reason)
{
    return record->tally.line[reason].count;
}

/* --- seeds: SEARUN_SEED=n repeats a run ------------------------------------------------------- */

static inline uint64_t record_seed(void)
{
    const char *text = getenv("SEARUN_SEED");
    uint64_t seed = text ? strtoull(text, NULL, 10) : 20260615;
    printf("seed %llu (set SEARUN_SEED to choose)\n", (unsigned long long)seed);
    return seed;
}

/* splitmix64, public domain algorithm of Sebastiano Vigna, from memory. */
static inline uint64_t record_random(uint64_t *state)
{
    uint64_t z = (*state += UINT64_C(0x9E3779B97F4A7C15));
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return z ^ (z >> 31);
}

static inline size_t record_below(uint64_t *state, size_t limit)
{
    return (size_t)(record_random(state) % limit);
}

#endif
