/* decode.h - complete messages become readings. Pure: no input or output, no clock, no allocation.
 *
 * The same functions serve live recording, replay, rebuilding and old raw data.
 */
#ifndef SEARUN_DECODE_H
#define SEARUN_DECODE_H

#include "reading.h"
#include "status.h"
#include "tally.h"

/* One row of the transducer map: XDR groups whose type, unit and name match become readings of a
 * channel. */
struct transducer_row {
    char type[2];  /* "C" */
    char unit[4];  /* as sent: "C", "F"; "" matches any unit known for the type */
    char name[44]; /* exact, case matters; "{n}" stands for a number: "ENGINE#{n}". ^hh escapes are
                      resolved before. Groups without a name are called "unnamed 1" and so on, by
                      their place in the sentence */
    enum channel_id channel;
    int engine; /* number of the engine (battery, tank), or one of the two below */
};
#define TRANSDUCER_NUMBERED (-1) /* the number that stands for {n} */
#define TRANSDUCER_VESSEL (-2)   /* not of an engine */

/* The first row that fits counts. `row` NULL stands for the defaults; a map with rows of its own
 * holds all that apply, so whoever wants the defaults too puts them behind. */
struct transducer_map {
    size_t count;
    const struct transducer_row *row;
    /* The number that talkers give to engine 0 in RPM sentences: 0 or 1; -1 = 0, the default. The
     * standard has 0 for a single engine or one on the centre line, odd numbers to starboard and
     * even ones to port; real talkers send 0 and 1, or 1 and 2, and 0 or 1 for a single engine.
     * With 0 the number is taken as it stands, which fits names like ENGINE#0 and never folds two
     * engines into one. Set 1 where a talker counts from 1: then 0 is refused as a bad number. */
    int rpm_first_engine;
};

/* Rows for names whose meaning is plain; see transducers.c. */
extern const struct transducer_row transducer_defaults[];
extern const size_t transducer_default_count;

/* Whether a row of the configuration can be meant: known type and unit, a channel in a unit that
 * the type can give, a name, and a number for {n}. STATUS_BAD_USAGE says what is allowed. */
enum status transducer_row_check(const struct transducer_row *row, struct complaint *complaint);

/* What the number of a row that is not the vessel's counts: engines, tanks or batteries. */
enum place transducer_row_place(const struct transducer_row *row);

/* Whether a reading of this channel comes from a transducer that no row maps; its origin's label
 * says type and name ("C:KEELCOOLER"), which is what a row needs. */
bool transducer_is_unmapped(enum channel_id channel);

/* A sentence found by the framer. Text is not NUL-terminated; checksum and TAG block are off. */
struct sentence {
    const char *text; /* from after '$' or '!' up to before '*': "IIRPM,E,1,1450.0,10.5,A" */
    size_t length;
    char source[16]; /* TAG s:, or "" */
    bool has_time;
    bool encapsulated; /* began with '!' */
    int64_t unix_ms;   /* TAG c: as milliseconds since 1970 */
};

/* Decodes one sentence of input number `input` into the sink; counts into tally what is not stored,
 * and what is (REASON_READINGS). */
void decode_sentence(const struct transducer_map *map, int64_t at, unsigned input,
                     const struct sentence *sentence, const struct sink *sink, struct tally *tally);

#endif
