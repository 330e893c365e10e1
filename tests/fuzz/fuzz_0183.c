/* fuzz_0183.c - any bytes through framer and decoder. The first byte says how the stream is cut
 * into reads. Beyond crashes: every split gives the same readings, every sentence given out has a
 * matching checksum, every reading is believable and its origin is clean text, and no byte is
 * lost. */
#include <stdlib.h>
#include <string.h>

#include "../../logger/decode.h"
#include "../../logger/frame_0183.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct seen {
    uint64_t hash;
    size_t readings, raw;
    struct tally tally;
};

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void mix(struct seen *seen, const void *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        seen->hash = (seen->hash ^ ((const unsigned char *)bytes)[i]) * UINT64_C(1099511628211);
}

static void demand_text(const char *text, size_t size)
{
    size_t length = strnlen(text, size);
    demand(length < size);
    for (size_t i = 0; i < size; i++)
        demand(i < length ? text[i] >= 0x20 && text[i] <= 0x7E : text[i] == '\0');
}

static void demand_origin(const struct origin *origin)
{
    demand(origin->place < PLACE_COUNT && origin->instance < INSTANCE_MAX);
    demand_text(origin->message, sizeof origin->message);
    demand_text(origin->label, sizeof origin->label);
    demand(strnlen(origin->source, sizeof origin->source) < sizeof origin->source);
}

static void take_readings(void *self, int64_t at, const struct origin *origin,
                          const struct value *values, size_t count)
{
    struct seen *seen = self;
    (void)at;
    demand_origin(origin);
    demand(count >= 1 && count <= VALUES_MAX);
    mix(seen, origin, sizeof *origin);
    for (size_t i = 0; i < count; i++) {
        const struct channel *channel = channel_get((enum channel_id)values[i].channel);
        demand(values[i].value >= channel->low && values[i].value <= channel->high);
        for (size_t j = 0; j < i; j++)
            demand(values[j].channel != values[i].channel);
        mix(seen, &values[i].channel, sizeof values[i].channel);
        mix(seen, &values[i].value, sizeof values[i].value);
    }
    seen->readings += count;
}

static void take_event(void *self, int64_t at, const struct origin *origin, const char *key,
                       const char *text)
{
    (void)self, (void)at, (void)origin, (void)key, (void)text;
}

static void take_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    struct seen *seen = self;
    (void)at;
    demand_origin(origin);
    demand(unix_us >= 0);
    mix(seen, &unix_us, sizeof unix_us);
}

static void demand_sound(const struct sentence *sentence)
{
    unsigned sum = 0;
    char sent[3] = {0};
    for (size_t i = 0; i < sentence->length; i++)
        sum ^= (unsigned char)sentence->text[i];
    memcpy(sent, sentence->text + sentence->length + 1, 2);
    demand(sentence->text[-1] == (sentence->encapsulated ? '!' : '$'));
    demand(sentence->text[sentence->length] == '*' && strtoul(sent, NULL, 16) == sum);
    demand(strlen(sentence->source) < sizeof sentence->source);
}

static void take(struct seen *seen, enum framing framing, const struct sentence *sentence,
                 const char *raw, size_t raw_length)
{
    static const struct transducer_row rows[] = {
        {"C", "F", "M{n}", CHANNEL_COOLANT_TEMPERATURE, TRANSDUCER_NUMBERED},
        {"P", "", "unnamed 2", CHANNEL_OIL_PRESSURE, 1},
    };
    static const struct transducer_map map = {2, rows, 1};
    const struct sink sink = {seen, take_readings, take_event, take_utc};
    if (framing != FRAME_NEED_MORE) {
        demand(raw_length > 0 && raw_length <= LINE_0183_MAX);
        mix(seen, raw, raw_length);
        seen->raw += raw_length;
    }
    if (framing != FRAME_READY)
        return;
    demand_sound(sentence);
    decode_sentence(&map, 0, 0, sentence, &sink, &seen->tally);
}

static void run(struct seen *seen, const uint8_t *data, size_t size, size_t step)
{
    struct framer_0183 framer;
    struct sentence sentence;
    const char *raw = NULL;
    size_t raw_length = 0, used;
    enum framing framing;
    framer_0183_reset(&framer);
    for (size_t i = 0; i < size; i += used) {
        size_t end = (i / step + 1) * step;
        framing = framer_0183_push(&framer, 0, data + i, (end < size ? end : size) - i, &used,
                                   &sentence, &raw, &raw_length, &seen->tally);
        demand(used > 0);
        take(seen, framing, &sentence, raw, raw_length);
    }
    while ((framing = framer_0183_flush(&framer, 0, &sentence, &raw, &raw_length, &seen->tally)) !=
           FRAME_NEED_MORE)
        take(seen, framing, &sentence, raw, raw_length);
}

/* The same bytes as the text of one sentence, and as one whole line. */
static void run_unframed(const uint8_t *data, size_t size)
{
    struct seen seen = {0};
    const struct transducer_map map = {0, NULL, -1};
    const struct sink sink = {&seen, take_readings, take_event, take_utc};
    struct sentence sentence = {.text = (const char *)data, .length = size};
    decode_sentence(&map, 0, 0, &sentence, &sink, &seen.tally);
    if (frame_0183_line(0, (const char *)data, size, &sentence, &seen.tally) == FRAME_READY)
        demand_sound(&sentence);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct seen whole, split;
    size_t lines, kept = 0;
    if (size == 0)
        return 0;
    memset(&whole, 0, sizeof whole);
    memset(&split, 0, sizeof split);
    run(&whole, data + 1, size - 1, SIZE_MAX / 2);
    run(&split, data + 1, size - 1, 1 + data[0] % 128);
    demand(memcmp(&whole, &split, sizeof whole) == 0);
    for (size_t i = 1; i < size; i++)
        kept += data[i] != '\r' && data[i] != '\n';
    demand(whole.raw == kept);
    run_unframed(data + 1, size - 1);
    datagram_0183_kind(data + 1, size - 1, &lines);
    demand(lines < size);
    return 0;
}
