/* written.h - numbers, units, dates and times as people and spreadsheets write them. Pure. */
#ifndef SEARUN_WRITTEN_H
#define SEARUN_WRITTEN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "unit.h"

/* A unit that can be written, and the way into the unit that is stored: stored = value * factor +
 * offset; differences take the factor only. */
struct written_unit {
    const char *word; /* "°F" */
    enum unit unit;   /* what it is stored in */
    double factor, offset;
};

/* The unit that a word means where a quantity of `unit` is wanted, or NULL; "C", "°C" and "degC"
 * are one, and case counts only where it must. */
const struct written_unit *written_unit_find(const char *word, enum unit unit);
/* The stored unit as people write it ("m/s"), where others than that may be meant; NULL where there
 * is no other, and for engine speeds, whose numbers show what they count. */
const struct written_unit *written_unit_of_several(enum unit unit);
/* "°C, °F, K": what may be written for a unit. */
void written_unit_list(enum unit unit, char *to, size_t room);

/* Reads one number at the start of a text and moves *text behind it and blanks. With `comma` a
 * decimal comma counts as well as a point. No infinity, no hexadecimal, no separators of
 * thousands. */
bool take_written_number(const char **text, bool comma, double *out);
/* The same, and nothing may follow. */
bool read_written_number(const char *text, bool comma, double *out);

/* Dates that can be read in one way only: 2026-11-25, 2026/11/25, 25.11.2026. */
struct written_date {
    int year, month, day;
};
bool take_written_date(const char **text, struct written_date *out);

/* 11/25/2026 and 25/11/2026, but not 11/5/2026: nobody can tell day from month there. */
bool take_slashed_date(const char **text, struct written_date *out);

/* Time of day in s: 10:15, 10:15:30, 10:15:30.25, 10.15 h, 10h15, 1015, 10:15 pm. */
bool take_written_time(const char **text, double *seconds);

/* Offset from UTC in s: Z, UTC, +02:00, -0330, UTC+2. */
bool take_written_zone(const char **text, double *seconds);

/* Microseconds since 1970 of a date and a time of that day, in UTC. Years 1970 to 2112. */
int64_t written_unix_us(const struct written_date *date, double seconds);

#endif
