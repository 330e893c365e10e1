/* decode.h - complete messages become readings. Pure: no input or output, no clock, no allocation.
 *
 * The same functions serve live recording, replay, rebuilding and old raw data.
 */
#ifndef SEARUN_DECODE_H
#define SEARUN_DECODE_H

#include "reading.h"
#include "tally.h"

/* One row of the transducer map: XDR groups whose type, unit and name match become readings of a
 * channel. Empty `unit` matches any unit that fits the type. */
struct transducer_row {
    char type[2];  /* "C" */
    char unit[4];  /* "C", "F", "" */
    char name[40]; /* exact, case matters; a single '#' followed by nothing, or "{n}", stands for a
                      number: "ENGINE#{n}" gives the engine instance */
    enum channel_id channel;
    int engine; /* instance, or -1 = the number in the name, or -2 = vessel */
};

struct transducer_map {
    size_t count;
    const struct transducer_row *row;
    int rpm_first_engine; /* number that talkers give to engine 0 in RPM sentences: 0 or 1; -1 = 0 */
};

/* The defaults that apply when the configuration says nothing; the configuration's rows come first. */
extern const struct transducer_row transducer_defaults[];
extern const size_t transducer_default_count;

/* A sentence found by the framer. Text is not NUL-terminated; checksum and TAG block are off. */
struct sentence {
    const char *text; /* from after '$' or '!' up to before '*': "IIRPM,E,1,1450.0,10.5,A" */
    size_t length;
    char source[16]; /* TAG s:, or "" */
    bool has_time;
    int64_t unix_ms; /* TAG c: as milliseconds since 1970 */
};

/* Decodes one sentence of input number `input` into the sink; counts into tally what is not stored. */
void decode_sentence(const struct transducer_map *map, int64_t at, unsigned input,
                     const struct sentence *sentence, const struct sink *sink, struct tally *tally);

#endif
