/* clean.h - takes out of a series what no sensor can have meant, and counts it.
 *
 * Pure. In this order, by the numbers of rules.h:
 *   unbelievable  outside the catalogue's range, or not finite: out
 *   drop-outs     a jump away by more than a sensor of that kind can do between two readings, that
 *                 comes back within 30 s (loose contact, a zero for "no signal"): out
 *   spikes        single readings far off the median of their neighbours (Hampel: Journal of the
 *                 American Statistical Association 69 (1974), 383): out
 *   frozen        a sender that never repeats itself stands still to the last digit: kept, but the
 *                 stretch is told, and holds in it are refused
 *                 (the last three not in columns that were read by hand)
 *   stale         silences longer than the catalogue allows: nothing to take out, never bridged
 * What is taken out becomes missing; the readings around it bridge it if they are near enough.
 */
#ifndef SEARUN_CLEAN_H
#define SEARUN_CLEAN_H

#include "answer.h"
#include "run_read.h"
#include "series.h"
#include "status.h"

struct cleaning {
    struct cleaned count; /* run and engine are the caller's */
    struct spans frozen;  /* owned */
    bool lively;          /* the sender's own noise is above its step */
};

/* Cleans `series` in place. `duration` of the run in s. STATUS_MEMORY leaves it half cleaned. */
enum status clean_series(struct series *series, double duration, struct cleaning *out);

/* Adds the stretches in which a coarse sender of coolant temperature never moved though the engine
 * was taken through different speeds. Both grids have cells of one second. */
enum status clean_coarse_frozen(const double *coolant, const double *rpm, size_t count,
                                struct spans *frozen);

#endif
