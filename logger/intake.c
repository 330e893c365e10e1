/* intake.c - see intake.h. */
#include "intake.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "capture_text.h"

#define FULL                                                                                       \
    0.9 /* share of the ring in use from which no message is begun; one fits into the rest */
#define CALM 0.5 /* ... at which recording goes on after an overflow */
#define TELL_NS NS_PER_S
#define PATIENCE_NS 500000L
#define CLOCK_SET_NS (NS_PER_S * 3 / 2) /* the least that counts as a setting of the clock */
#define LINE_LONGEST_NS NS_PER_S        /* a line that has begun and takes longer is none */
#define EXPIRE_NS NS_PER_S              /* how often unfinished messages are looked for */

/* --- where it goes: the ring of the writer, or the backlog */

static bool put_line(struct intake *intake, int64_t at, unsigned input, const char *bytes,
                     size_t length)
{
    if (intake->writer)
        return writer_line(intake->writer, at, input, bytes, length);
    backlog_put(intake->backlog, &(struct backlog_item){.kind = BACKLOG_LINE,
                                                        .input = input,
                                                        .at = at + intake->zero,
                                                        .bytes = bytes,
                                                        .length = length});
    return true;
}

static bool put_frame(struct intake *intake, int64_t at, unsigned input, uint32_t id,
                      const uint8_t *data, unsigned length)
{
    struct backlog_item item = {
        .kind = BACKLOG_FRAME, .input = input, .at = at + intake->zero, .id = id, .length = length};
    if (intake->writer)
        return writer_frame(intake->writer, at, input, id, data, length);
    memcpy(item.data, data, length < sizeof item.data ? length : sizeof item.data);
    backlog_put(intake->backlog, &item);
    return true;
}

static bool put_gap(struct intake *intake, int64_t from, int64_t until, unsigned input,
                    const char *why, uint64_t lost)
{
    if (intake->writer)
        return writer_gap(intake->writer, from, until, input, why, lost);
    backlog_put(intake->backlog, &(struct backlog_item){.kind = BACKLOG_GAP,
                                                        .input = input,
                                                        .at = from + intake->zero,
                                                        .until = until + intake->zero,
                                                        .bytes = why,
                                                        .length = strlen(why),
                                                        .count = lost});
    return true;
}

static bool put_event(struct intake *intake, int64_t at, const struct origin *origin,
                      const char *key, const char *text)
{
    struct backlog_item item = {
        .kind = BACKLOG_EVENT, .at = at + intake->zero, .bytes = text, .length = strlen(text)};
    if (intake->writer)
        return writer_event(intake->writer, at, origin, key, text);
    if (origin) /* comes again by decoding */
        return true;
    memcpy(item.key, key, strnlen(key, sizeof item.key - 1));
    backlog_put(intake->backlog, &item);
    return true;
}

static bool put_count(struct intake *intake, unsigned input, enum reason reason,
                      const struct tally_line *line)
{
    if (intake->writer)
        return writer_count(intake->writer, line->first, line->last, input, reason, line->count);
    backlog_put(intake->backlog, &(struct backlog_item){.kind = BACKLOG_COUNT,
                                                        .input = input,
                                                        .at = line->last + intake->zero,
                                                        .reason = reason,
                                                        .count = line->count});
    return true;
}

/* --- into the ring */

/* After an overflow: the ring has drained, the gaps are told. False if they found no room. */
static bool tell_overflow(struct intake *intake, int64_t at)
{
    for (unsigned i = 0; i < intake->input_count; i++) {
        struct overflow *overflow = &intake->inputs[i].overflow;
        if (overflow->lost == 0)
            continue;
        if (!put_gap(intake, overflow->from, at, i, "storage could not keep up", overflow->lost))
            return false;
        overflow->lost = 0;
    }
    return true;
}

/* Whether there is hope to put something in. Once full, nothing goes in until half is free: one
 * long gap with times is worth more than a thousand short ones. */
static bool has_room(struct intake *intake, int64_t at)
{
    double fill = writer_fill(intake->writer);
    if (fill >= FULL)
        intake->choked = true;
    if (intake->choked && fill < CALM && tell_overflow(intake, at))
        intake->choked = false;
    return !intake->choked;
}

static void drop(struct intake *intake)
{
    intake->choked = true;
    intake->dropped = true;
}

static void wait_for_room(void)
{
    nanosleep(&(struct timespec){0, PATIENCE_NS}, NULL);
}

/* Runs `put` until it answers true (replay), or once (live); `put` may be evaluated several
 * times. */
#define PUT(intake, put)                                                                           \
    do {                                                                                           \
        if ((intake)->patient)                                                                     \
            while (!(put))                                                                         \
                wait_for_room();                                                                   \
        else if ((intake)->dropped || !(put))                                                      \
            drop(intake);                                                                          \
    } while (0)

static void begin_message(struct intake *intake, unsigned input, int64_t at)
{
    intake->current = input;
    intake->dropped = intake->writer && !intake->patient && !has_room(intake, at);
    if (intake->live)
        live_message(intake->live, input, at + intake->zero);
}

/* Gaps and events are few, and go into what messages leave free. */
static void begin_remark(struct intake *intake, unsigned input)
{
    intake->current = input;
    intake->dropped = false;
}

static void count_untold(struct intake *intake, unsigned input, enum reason reason, int64_t at,
                         uint64_t count)
{
    tally_add_many(&intake->tallies[input], reason, at, count);
    tally_add_many(&intake->inputs[input].untold, reason, at, count);
    intake->inputs[input].any_untold = true;
}

static void end_message(struct intake *intake, int64_t at)
{
    if (!intake->dropped)
        return;
    struct overflow *overflow = &intake->inputs[intake->current].overflow;
    count_untold(intake, intake->current, REASON_OVERFLOW, at, 1);
    if (overflow->lost++ == 0)
        overflow->from = at;
}

/* --- what the decoders find */

static void take_readings(void *self, int64_t at, const struct origin *origin,
                          const struct value *values, size_t count)
{
    struct intake *intake = self;
    if (intake->live)
        live_readings(intake->live, at + intake->zero, origin, values, count);
    if (!intake->writer)
        return;
    PUT(intake, writer_readings(intake->writer, at, origin, values, count));
    watch_readings(intake->watch, at, origin, values, count);
}

static void take_event(void *self, int64_t at, const struct origin *origin, const char *key,
                       const char *text)
{
    struct intake *intake = self;
    if (!intake->writer)
        return;
    PUT(intake, put_event(intake, at, origin, key, text));
    watch_event(intake->watch, at, origin, key, text);
}

static void take_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    struct intake *intake = self;
    if (!intake->writer)
        return;
    PUT(intake, writer_utc(intake->writer, at, origin, unix_us));
    if (strcmp(origin->label, CAN_OWN_CLOCK) != 0) /* that is kept, but says nothing of our clock */
        dates_add(intake->dates, origin, at, unix_us);
}

static struct sink sink_of(struct intake *intake)
{
    return (struct sink){intake, take_readings, take_event, take_utc};
}

/* --- 0183 */

static int64_t whole(int64_t at, int64_t unit)
{
    return at - ((at % unit) + unit) % unit;
}

static void take_piece(struct intake *intake, unsigned input, int64_t at, enum framing framing,
                       const struct sentence *sentence, const char *raw, size_t raw_length)
{
    struct sink sink = sink_of(intake);
    begin_message(intake, input, at);
    if (raw_length > 0)
        PUT(intake, put_line(intake, at, input, raw, raw_length));
    if (framing == FRAME_READY && !intake->dropped)
        decode_sentence(intake->map, at, input, sentence, &sink, &intake->tallies[input]);
    end_message(intake, at);
}

/* The instant of the piece in the framer, given that bytes were read at `at`. */
static int64_t begin_line(struct intake_input *it, int64_t at)
{
    if (!it->begun)
        it->line_at = at;
    it->begun = true;
    return it->line_at;
}

/* A piece was handed out at `at`; the framer may hold the first byte of the next one already. */
static void end_line(struct intake_input *it, int64_t at)
{
    it->begun = it->framer.carries;
    it->line_at = at;
}

static void take_bytes(struct intake *intake, unsigned input, int64_t at, const uint8_t *bytes,
                       size_t count)
{
    struct intake_input *it = &intake->inputs[input];
    struct sentence sentence;
    const char *raw = NULL;
    size_t raw_length = 0, used = 0;
    at = whole(at, NS_PER_MS);
    it->heard_at = at;
    for (; count > 0; bytes += used, count -= used) {
        int64_t line_at = it->begun ? it->line_at : at;
        enum framing framing =
            framer_0183_push(&it->framer, line_at, bytes, count, &used, &sentence, &raw,
                             &raw_length, &intake->tallies[input]);
        if (framing != FRAME_NEED_MORE) {
            take_piece(intake, input, line_at, framing, &sentence, raw, raw_length);
            end_line(it, at);
        } else if (it->framer.length > 0) {
            begin_line(it, at);
        }
    }
}

void intake_bytes(struct intake *intake, unsigned input, int64_t at, const uint8_t *bytes,
                  size_t count)
{
    take_bytes(intake, input, at - intake->zero, bytes, count);
}

static void cut(struct intake *intake, unsigned input, int64_t at)
{
    struct intake_input *it = &intake->inputs[input];
    struct sentence sentence;
    const char *raw = NULL;
    size_t raw_length = 0;
    for (;;) {
        int64_t line_at = it->begun ? it->line_at : whole(at, NS_PER_MS);
        enum framing framing = framer_0183_flush(&it->framer, line_at, &sentence, &raw, &raw_length,
                                                 &intake->tallies[input]);
        if (framing == FRAME_NEED_MORE)
            break;
        take_piece(intake, input, line_at, framing, &sentence, raw, raw_length);
        end_line(it, line_at);
    }
    framer_0183_reset(&it->framer);
    it->begun = false;
}

void intake_cut(struct intake *intake, unsigned input, int64_t at)
{
    cut(intake, input, at - intake->zero);
}

void intake_datagram(struct intake *intake, unsigned input, int64_t at, const uint8_t *bytes,
                     size_t count)
{
    size_t lines;
    at -= intake->zero;
    intake->inputs[input].heard_at = at;
    if (datagram_0183_kind(bytes, count, &lines) == DATAGRAM_FOREIGN) {
        count_untold(intake, input, REASON_OTHER_DATAGRAM, at, 1);
        return;
    }
    take_bytes(intake, input, at, bytes + lines, count - lines);
    cut(intake, input, at);
}

/* Whether a line of a capture is the first part of one that was too long when it was recorded: as
 * long as the framer takes, with the start of a sentence, and without a sound end. */
static bool was_cut(const char *line, size_t length)
{
    struct sentence sentence;
    struct tally tally = {0};
    return length == LINE_0183_MAX &&
           (line[0] == '\\' || memchr(line, '$', length) || memchr(line, '!', length)) &&
           frame_0183_line(0, line, length, &sentence, &tally) != FRAME_READY;
}

void intake_line(struct intake *intake, unsigned input, int64_t at, const char *line, size_t length)
{
    at -= intake->zero;
    if (was_cut(line, length)) {
        at = whole(at, NS_PER_MS);
        tally_add(&intake->tallies[input], REASON_TOO_LONG, at);
        take_piece(intake, input, at, FRAME_BAD, NULL, line, length);
        return;
    }
    take_bytes(intake, input, at, (const uint8_t *)line, length);
    cut(intake, input, at);
}

/* --- CAN */

/* In the time of the frames, so that a replay counts as the recording did. */
static void expire_now_and_then(struct intake *intake, unsigned input, int64_t at)
{
    struct intake_input *it = &intake->inputs[input];
    if (!it->decoder || at - it->expired_at < EXPIRE_NS)
        return;
    can_decoder_expire(it->decoder, at, &intake->tallies[input]);
    it->expired_at = at;
}

static void decode_frame(struct intake *intake, int64_t at, uint32_t id, const uint8_t *data,
                         unsigned length)
{
    unsigned input = intake->current;
    struct intake_input *it = &intake->inputs[input];
    struct sink sink = sink_of(intake);
    expire_now_and_then(intake, input, at);
    if (!it->decoder &&
        can_decoder_new(input, it->bus, it->j1939_engine, &it->decoder) != STATUS_OK)
        drop(intake);
    else
        can_decoder_frame(it->decoder, at, id, data, length, &sink, &intake->tallies[input]);
}

void intake_frame(struct intake *intake, unsigned input, int64_t at, uint32_t id,
                  const uint8_t *data, unsigned length)
{
    static const uint8_t nothing[8];
    if (id & CAPTURE_CAN_REMOTE)
        data = nothing; /* a request has a length and no data */
    at = whole(at - intake->zero, NS_PER_US);
    intake->inputs[input].heard_at = at;
    begin_message(intake, input, at);
    PUT(intake, put_frame(intake, at, input, id, data, length));
    if (!intake->dropped)
        decode_frame(intake, at, id, data, length);
    end_message(intake, at);
}

/* --- what is not a message */

void intake_count(struct intake *intake, unsigned input, enum reason reason, int64_t at,
                  uint64_t count)
{
    count_untold(intake, input, reason, at - intake->zero, count);
}

void intake_counted(struct intake *intake, unsigned input, enum reason reason, int64_t first,
                    int64_t last, uint64_t count)
{
    struct tally_line *line = &intake->tallies[input].line[reason];
    tally_add_many(&intake->tallies[input], reason, first - intake->zero, count);
    line->last = last - intake->zero > line->last ? last - intake->zero : line->last;
}

static void take_gap(struct intake *intake, unsigned input, int64_t from, int64_t until,
                     const char *why, uint64_t lost)
{
    begin_remark(intake, input);
    PUT(intake, put_gap(intake, from, until, input, why, lost));
    end_message(intake, until);
}

/* What began before the run is told from its start on. */
void intake_gap(struct intake *intake, unsigned input, int64_t from, int64_t until, const char *why,
                uint64_t lost)
{
    from -= intake->zero;
    if (intake->writer && from < 0)
        from = 0;
    take_gap(intake, input, from, until - intake->zero, why, lost);
}

void intake_lost(struct intake *intake, unsigned input, int64_t at, uint64_t count)
{
    const struct intake_input *it = &intake->inputs[input];
    at -= intake->zero;
    count_untold(intake, input, REASON_KERNEL_LOST, at, count);
    take_gap(intake, input, it->heard_at >= 0 ? it->heard_at : 0, at,
             "the system's buffer was full", count);
}

void intake_event(struct intake *intake, int64_t at, const char *key, const char *text)
{
    at -= intake->zero;
    begin_remark(intake, 0);
    PUT(intake, put_event(intake, at, NULL, key, text));
    end_message(intake, at);
}

/* What found no room is told the next time. */
static void tell_counts(struct intake *intake, unsigned input)
{
    struct intake_input *it = &intake->inputs[input];
    for (int reason = 0; reason < REASON_COUNT; reason++) {
        struct tally_line *line = &it->untold.line[reason];
        if (line->count == 0)
            continue;
        if (!put_count(intake, input, (enum reason)reason, line))
            return;
        line->count = 0;
    }
    it->any_untold = false;
}

void intake_tell_counts(struct intake *intake)
{
    for (unsigned i = 0; i < intake->input_count; i++)
        if (intake->inputs[i].any_untold)
            tell_counts(intake, i);
}

void intake_tick(struct intake *intake, int64_t at)
{
    at -= intake->zero;
    if (at - intake->told_at < TELL_NS)
        return;
    intake->told_at = at;
    intake_tell_counts(intake);
}

static void tell_clock_set(struct intake *intake, int64_t at, int64_t step_ns)
{
    char text[96];
    snprintf(text, sizeof text, "the computer's clock was set %s by %.1f s; the run goes on evenly",
             step_ns > 0 ? "forward" : "back", (double)llabs(step_ns) / 1e9);
    intake_event(intake, at, "clock_set", text);
}

void intake_clock(struct intake *intake, int64_t at, int64_t unix_ns)
{
    int64_t ahead = unix_ns - at;
    int64_t step_ns = intake->clock_known ? ahead - intake->clock_ahead : 0;
    if (intake->patient)
        return;
    /* Without a run there is nothing to tell: one that begins later asks the clock anew. */
    if (!intake->clock_known || !intake->writer)
        intake->clock_ahead = ahead;
    intake->clock_known = true;
    if (llabs(step_ns) < CLOCK_SET_NS || !intake->writer ||
        !writer_clock_set(intake->writer, at - intake->zero, step_ns / NS_PER_US))
        return;
    intake->clock_ahead = ahead;
    tell_clock_set(intake, at, step_ns);
}

/* --- beginning and end */

/* "can:can0,j1939,engine=1": how the bus is told apart, and which engine is behind it. */
static void read_bus_options(struct intake_input *it, const char *text)
{
    if (strncmp(text, "can:", 4) != 0)
        return;
    if (strstr(text, ",nmea2000"))
        it->bus = BUS_NMEA2000;
    if (strstr(text, ",j1939"))
        it->bus = BUS_J1939;
    const char *engine = strstr(text, ",engine=");
    if (engine)
        it->j1939_engine = (unsigned)strtoul(engine + 8, NULL, 10);
}

void intake_init(struct intake *intake, struct writer *writer, const struct transducer_map *map,
                 struct watch *watch, struct dates *dates, const struct run_input *inputs,
                 size_t input_count)
{
    memset(intake, 0, sizeof *intake);
    intake->writer = writer;
    intake->map = map;
    intake->watch = watch;
    intake->dates = dates;
    intake->input_count = input_count;
    for (size_t i = 0; i < input_count; i++) {
        intake->inputs[i].bus = BUS_AUTO;
        intake->inputs[i].heard_at = -1;
        framer_0183_reset(&intake->inputs[i].framer);
        read_bus_options(&intake->inputs[i], inputs[i].text);
    }
}

void intake_free(struct intake *intake)
{
    for (size_t i = 0; i < intake->input_count; i++) {
        can_decoder_free(intake->inputs[i].decoder);
        intake->inputs[i].decoder = NULL;
    }
}

/* --- from one run to the next */

void intake_take(struct intake *intake, const struct backlog_item *item)
{
    /* A line can have begun long before it ended. */
    int64_t at = item->at > intake->zero ? item->at : intake->zero;
    switch (item->kind) {
    case BACKLOG_LINE:
        intake_line(intake, item->input, at, item->bytes, item->length);
        break;
    case BACKLOG_FRAME:
        intake_frame(intake, item->input, at, item->id, item->data, (unsigned)item->length);
        break;
    case BACKLOG_GAP:
        intake_gap(intake, item->input, at, item->until, item->bytes, item->count);
        break;
    case BACKLOG_COUNT:
        intake_count(intake, item->input, item->reason, at, item->count);
        break;
    case BACKLOG_EVENT:
        intake_event(intake, at, item->key, item->bytes);
        break;
    }
}

void intake_hand_over(struct intake *from, struct intake *to)
{
    int64_t shift = from->zero - to->zero;
    for (size_t i = 0; i < from->input_count; i++) {
        struct intake_input *old = &from->inputs[i], *new = &to->inputs[i];
        new->framer = old->framer;
        new->begun = old->begun;
        new->line_at = old->line_at + shift;
        if (to->writer && new->line_at < 0)
            new->line_at = 0;
        if (old->heard_at >= 0 && old->heard_at + shift > new->heard_at)
            new->heard_at = old->heard_at + shift;
        framer_0183_reset(&old->framer);
        old->begun = false;
    }
}

int64_t intake_begun_at(const struct intake *intake, int64_t at)
{
    int64_t earliest = at;
    for (size_t i = 0; i < intake->input_count; i++) {
        int64_t begun_at = intake->inputs[i].line_at + intake->zero;
        if (intake->inputs[i].begun && begun_at < earliest && at - begun_at < LINE_LONGEST_NS)
            earliest = begun_at;
    }
    return earliest;
}

bool intake_is_between(const struct intake *intake, int64_t at)
{
    for (size_t i = 0; i < intake->input_count; i++)
        if (intake->inputs[i].decoder &&
            !can_decoder_is_idle(intake->inputs[i].decoder, at - intake->zero))
            return false;
    return true;
}

/* What was lost last has no later message to tell it. The end waits for room as long as it
 * takes. */
static void tell_last_overflow(struct intake *intake, int64_t at)
{
    while (intake->choked && !tell_overflow(intake, at))
        wait_for_room();
}

static void tell_last_counts(struct intake *intake)
{
    for (unsigned i = 0; i < intake->input_count; i++)
        for (tell_counts(intake, i); intake->inputs[i].any_untold; tell_counts(intake, i))
            wait_for_room();
}

void intake_finish(struct intake *intake, int64_t at)
{
    at -= intake->zero;
    for (unsigned i = 0; i < intake->input_count; i++) {
        cut(intake, i, at);
        if (intake->inputs[i].decoder)
            can_decoder_expire(intake->inputs[i].decoder, INT64_MAX, &intake->tallies[i]);
    }
    tell_last_overflow(intake, at);
    tell_last_counts(intake);
}
