/* reading.h - one value of one channel, and where it came from. */
#ifndef SEARUN_READING_H
#define SEARUN_READING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "channel.h"

/* Instants are nanoseconds since run start on a monotonic clock (int64_t). Wall-clock time is
 * data. */
#define NS_PER_S INT64_C(1000000000)
#define NS_PER_MS INT64_C(1000000)
#define NS_PER_US INT64_C(1000)

enum protocol {
    PROTOCOL_NMEA0183,
    PROTOCOL_NMEA2000,
    PROTOCOL_J1939,
    PROTOCOL_SHEET,
    PROTOCOL_COUNT
};

/* "NMEA 0183", "NMEA 2000", "J1939", "sheet". */
const char *protocol_title(enum protocol protocol);

/* What part of the boat a reading belongs to. Engines, tanks and batteries are numbered from 0. */
enum place { PLACE_VESSEL, PLACE_ENGINE, PLACE_TANK, PLACE_BATTERY, PLACE_COUNT };

/* "vessel", "engine", "tank", "battery". */
const char *place_key(enum place place);

#define INSTANCE_MAX 253 /* instances are 0 .. INSTANCE_MAX - 1 */

/* Who said it and in which message. Everything with the same origin shares one time column. All
 * text is NUL-terminated printable ASCII; the unused rest of each array is zero, so that two
 * origins are equal if their bytes are. Clear with memset before filling. */
struct origin {
    uint8_t protocol; /* enum protocol */
    uint8_t place;    /* enum place */
    uint8_t instance; /* engine, tank or battery number; 0 for the vessel */
    uint8_t input;    /* number of the input, in the order of the configuration */
    uint32_t number;  /* PGN; 0 for sentences */
    char message[12]; /* "RPM", "XDR", "127488", "EEC1" */
    char source[20];  /* talker ("II"), or TAG source and talker ("GP0001/GP"), or address ("35") */
    char label[44];   /* transducer name and type for XDR ("C:ENGRM"), source word of a temperature,
                         else "" */
};

struct value {
    uint16_t channel; /* enum channel_id */
    double value;     /* in the channel's unit; never NaN: what is missing is not listed */
};

/* How well a column of one origin was read, where people or the maker of an instrument say so. Kept
 * as attributes of the column in the run file. Zero or "": not said. Uncertainties are standard
 * uncertainties in the channel's unit (JCGM 100); three kinds, by what they share:
 *   reading_u     fresh in every reading, beside what rounding to `step` leaves
 *   run_u         the same in all readings of the run, fresh in every run (where an infrared
 *                 thermometer is pointed, and at what surface)
 *   instrument_u  the same in every run made with this instrument (how far a gauge is off)  */
struct accuracy {
    bool by_hand; /* each reading was taken by somebody, at the end of a time of steady running */
    double interval; /* s, usual time between two samples of a logger */
    double step;     /* what readings are rounded to, in the channel's unit */
    double reading_u, run_u, instrument_u;
    char instrument[64]; /* UTF-8; the same words mean the same instrument: "dash gauge" */
};

#define VALUES_MAX 32 /* most values one message gives to one origin */

/* Where decoders put what they find. Functions may be called any number of times for one message.
 * All pointers are only valid during the call. */
struct sink {
    void *self;
    /* `count` values (1 .. VALUES_MAX) of one origin at one instant. A channel occurs once. */
    void (*readings)(void *self, int64_t at, const struct origin *origin,
                     const struct value *values, size_t count);
    /* Something happened that is not a number: a status bit rose or fell, a fault code. `key` is
     * stable ("over_temperature"), `text` is for people. */
    void (*event)(void *self, int64_t at, const struct origin *origin, const char *key,
                  const char *text);
    /* The origin stated UTC: microseconds since 1970 at instant `at`. */
    void (*utc)(void *self, int64_t at, const struct origin *origin, int64_t unix_us);
};

#endif
