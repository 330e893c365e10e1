/* intake.h - what the inputs read becomes records: framing, decoding, counting, into the ring.
 *
 * Without a writer it feeds a backlog instead, from which a later run is filled: whole messages as
 * they came. They are decoded all the same, so that it is known how things stand.
 *
 * A message for which the ring has no room is dropped whole: neither kept raw nor decoded, but
 * counted. So what a journal keeps raw gives, decoded again, what was recorded.
 *
 * One for each run, used by the loop thread alone. The functions take instants of the caller;
 * instants of the run, ns since `zero`, go on to writer, watch, decoders and tallies. 0183 lines
 * are stamped to the whole millisecond, frames to the whole microsecond (both rounded down), so
 * that a text capture (capture_text.h) holds them exactly.
 *
 * A line is stamped with the instant its first byte was read. At 4800 baud a full line takes
 * 0.17 s; the first byte is the nearest to the moment the talker took its value.
 */
#ifndef SEARUN_INTAKE_H
#define SEARUN_INTAKE_H

#include "backlog.h"
#include "dates.h"
#include "decode.h"
#include "decode_can.h"
#include "frame_0183.h"
#include "live.h"
#include "watch.h"
#include "writer.h"

/* One input as the intake sees it. */
struct intake_input {
    struct framer_0183 framer;
    bool begun; /* a line has begun, at: */
    int64_t line_at;
    int64_t heard_at;            /* last instant anything was read; -1 before */
    struct can_decoder *decoder; /* made at the first frame */
    int64_t expired_at;
    enum bus_kind bus;
    unsigned j1939_engine;
    struct overflow {
        int64_t from;
        uint64_t lost; /* messages; 0 = none */
    } overflow;
    struct tally untold; /* counted without a message, and not told to the writer yet */
    bool any_untold;
};

struct intake {
    struct writer *writer;   /* NULL: what comes goes to `backlog` */
    struct backlog *backlog; /* used without a writer only */
    struct live *live;       /* how things stand; NULL if nobody asks */
    int64_t zero;            /* the caller's instant that is instant 0 here; whole milliseconds */
    const struct transducer_map *map;
    struct watch *watch; /* NULL without a writer */
    struct dates *dates; /* NULL without a writer */
    bool patient;        /* wait for room in the ring (replay) instead of dropping (live) */
    bool choked;         /* the ring was full and has not drained yet */
    bool dropped;        /* the present message found no room */
    int64_t told_at;
    bool clock_known;
    int64_t clock_ahead; /* ns, of instants */
    size_t input_count;
    struct intake_input inputs[INPUTS_MAX];
    struct tally tallies[INPUTS_MAX];
    unsigned current; /* input of the present message */
};

/* `writer`, `map`, `watch` and `dates` must outlive the intake. inputs[].text gives the options of
 * CAN inputs. `backlog`, `live` and `zero` may be set behind it. */
void intake_init(struct intake *intake, struct writer *writer, const struct transducer_map *map,
                 struct watch *watch, struct dates *dates, const struct run_input *inputs,
                 size_t input_count);
/* Frees the decoders. */
void intake_free(struct intake *intake);

/* Bytes of a stream that were read at one waking. */
void intake_bytes(struct intake *intake, unsigned input, int64_t at, const uint8_t *bytes,
                  size_t count);
/* The stream was cut: what had begun is judged as it stands. */
void intake_cut(struct intake *intake, unsigned input, int64_t at);
/* A whole datagram. */
void intake_datagram(struct intake *intake, unsigned input, int64_t at, const uint8_t *bytes,
                     size_t count);
/* One line of a capture, without its line end. */
void intake_line(struct intake *intake, unsigned input, int64_t at, const char *line,
                 size_t length);
/* One CAN frame; id with the flag bits of struct can_frame. */
void intake_frame(struct intake *intake, unsigned input, int64_t at, uint32_t id,
                  const uint8_t *data, unsigned length);
/* Something was counted that has no message: datagrams of others, refused senders, reopening. */
void intake_count(struct intake *intake, unsigned input, enum reason reason, int64_t at,
                  uint64_t count);
/* The same, counted between two instants (rebuilding). */
void intake_counted(struct intake *intake, unsigned input, enum reason reason, int64_t first,
                    int64_t last, uint64_t count);
/* The system says that it lost messages between the last reading and now. */
void intake_lost(struct intake *intake, unsigned input, int64_t at, uint64_t count);
/* Nothing came from an input. `lost` if known. */
void intake_gap(struct intake *intake, unsigned input, int64_t from, int64_t until, const char *why,
                uint64_t lost);
/* Something of our own for the run file's events. */
void intake_event(struct intake *intake, int64_t at, const char *key, const char *text);

/* Takes what a backlog kept, in the caller's instants. */
void intake_take(struct intake *intake, const struct backlog_item *item);

/* What the inputs are in the middle of goes on in another intake: bytes of lines that have begun.
 * Nothing of that is left in `from`. */
void intake_hand_over(struct intake *from, struct intake *to);

/* The caller's instant at which the earliest unfinished line began; `at` if there is none. */
int64_t intake_begun_at(const struct intake *intake, int64_t at);

/* Whether no message of several frames is half way: where one run can end and the next begin. */
bool intake_is_between(const struct intake *intake, int64_t at);

/* Tells now what was counted without a message. */
void intake_tell_counts(struct intake *intake);
/* Tells the writer once a second what was counted without a message, so that a journal knows. */
void intake_tick(struct intake *intake, int64_t at);

/* What the computer's clock says (ns since 1970) at instant `at`: if it was set since the last
 * call, by more than a leap second can be, that is kept. Instants do not mind. */
void intake_clock(struct intake *intake, int64_t at, int64_t unix_ns);

/* The end: cuts all streams, and counts what was never completed. */
void intake_finish(struct intake *intake, int64_t at);

#endif
