/* capture_time.h - instants for the lines of a capture. Pure.
 *
 * Stamps in captures jump: clocks are set while recording, gateways send lines late, receivers
 * start with a wrong date. A run has one monotonic time, so jumps are taken out and counted; what
 * the stamps said stays in the raw lines.
 */
#ifndef SEARUN_CAPTURE_TIME_H
#define SEARUN_CAPTURE_TIME_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "status.h"

/* Longest pause that a capture may hold; a larger jump forward is a clock that was set. */
#define PAUSE_MAX_US (INT64_C(7) * 86400 * 1000000)
/* Disorder up to this is lateness, and the stamp stands; more is a clock that was set back. */
#define LATE_MAX_US INT64_C(2000000)
/* For so long after a jump, a stamp may continue what was before it; and within so much of it. */
#define RETURN_MAX_US INT64_C(60000000)
/* 4800 baud 8N1: ten bits a byte (the standard's line rate). */
#define NOMINAL_BYTES_PER_S 480.0

/* --- captures in which the lines carry stamps */

struct stamp_follower {
    bool begun;
    int64_t shift_us, other_shift_us; /* instant = stamp + shift; the other is that before a jump */
    int64_t last_us;                  /* latest instant so far */
    int64_t jumped_at_us;             /* instant of the last change of shift */
    bool jumped;                      /* at the last stamp */
    bool date_jumped;                 /* ever forward by more than PAUSE_MAX_US */
};

/* The instant (microseconds since the first stamp) of a stamp (microseconds since 1970). Instants
 * go back by LATE_MAX_US at most. follower->jumped tells whether the clock was set here. */
int64_t stamp_follow(struct stamp_follower *follower, int64_t unix_us);

/* --- captures in which only some sentences state the time */

/* UTC stated in the line that begins at byte `offset`. */
struct anchor {
    uint64_t offset;
    int64_t unix_us;
    int64_t at_us; /* made by anchors_settle: instant of that line */
    bool jumped;   /* made by anchors_settle: its clock was set back, or far forward, here */
};

struct anchors {
    size_t count, room;
    struct anchor *list;
    double bytes_per_s; /* made by anchors_settle */
};

/* Statements of a time that was stated just before, or up to LATE_MAX_US earlier (a second receiver
 * that is behind), are left out. STATUS_MEMORY. */
enum status anchors_add(struct anchors *anchors, uint64_t offset, int64_t unix_us);

/* Makes instants (microseconds since byte 0) from the anchors. Between statements the pace of the
 * bytes is even; where a clock jumped, the mean pace stands in. Two receivers whose clocks differ
 * count as one jump, each going on from its own last statement. Returns the date of byte 0,
 * microseconds since 1970, as the first statement has it; 0 without any. */
int64_t anchors_settle(struct anchors *anchors);

/* The instant of a byte, in microseconds, not decreasing with the offset. *cursor begins at 0 and
 * makes a walk through growing offsets cheap. Without anchors: the nominal pace. */
int64_t anchors_instant(const struct anchors *anchors, uint64_t offset, size_t *cursor);

void anchors_free(struct anchors *anchors);

#endif
