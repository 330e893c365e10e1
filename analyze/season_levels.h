/* season_levels.h - from the holds of many outings to one level an outing: ln of the open rise at
 * the reference speed. Pure.
 *
 * A hold's reading is the solution of the heat balance (lift.h) for an open rise of
 *     ln K = level of the outing + slope x + bend x^2 + own(x) - own(0)
 *     x = ln(rpm / reference)
 * own() is what engines and valves have beyond a smooth curve, a line through small numbers at some
 * speeds: what all outings share must not pass for knowledge of the thermostat. The levels are
 * free; slope, bend, thermostat and senders are shared by all outings, and prior knowledge holds
 * what the readings leave open. Solved by Gauss-Newton on the readings, so that noise of a reading
 * below the thermostat's start does no harm; holds that stand out count less. What the shared
 * parameters may be off by is handed on (`lean`, `covariance`): it shifts many outings alike and
 * must not be taken for scatter.
 */
#ifndef SEARUN_SEASON_LEVELS_H
#define SEARUN_SEASON_LEVELS_H

#include <stddef.h>

#include "lift.h"
#include "status.h"

#define LEVELS_THERMOSTATS 4 /* different ones over the seasons; further ones share the last */
#define LEVELS_SENDERS 4     /* coolant senders beside the present one, likewise */

#define LEVELS_KNOTS 10 /* speeds between which own() is a line */

/* The shared parameters. */
enum level_parameter {
    LEVEL_SLOPE,  /* d ln K / d ln rpm at the reference */
    LEVEL_BEND,   /* times x^2 */
    LEVEL_SENDER, /* K, of each other sender against the present one */
    LEVEL_THERMOSTAT = LEVEL_SENDER + LEVELS_SENDERS,      /* start degC, span K, bow of each */
    LEVEL_OWN = LEVEL_THERMOSTAT + 3 * LEVELS_THERMOSTATS, /* own() at each knot */
    LEVEL_PARAMETERS = LEVEL_OWN + LEVELS_KNOTS
};

struct level_hold {
    size_t run;                      /* rising */
    double rpm, coolant, sea, slope; /* degC, K/s */
    double reading_u;                /* K, what the step of the sender leaves unsure */
    double extra_u;                  /* of ln K: engine not long under way */
};

struct level_run {
    size_t thermostat, sender; /* which one was in: 0 ... */
    /* filled: */
    size_t holds;
    double level;                  /* ln K at the reference speed; NaN without holds */
    double variance;               /* of it, shared parameters taken as known */
    double offset;                 /* weighted mean of x over its holds */
    double lean[LEVEL_PARAMETERS]; /* d level / d parameter */
};

struct level_job {
    double reference_rpm;
    double start[LEVELS_THERMOSTATS], full[LEVELS_THERMOSTATS]; /* degC; NaN: not known */
    double thermostat_u;                                        /* K */
    double lag, lag_u;                                          /* s, at `lag_rpm` */
    double lag_rpm;
    double sender_u[LEVELS_SENDERS]; /* K, of each other sender against the present one */
    size_t hold_count;
    const struct level_hold *holds;
    size_t run_count;
    struct level_run *runs;
};

struct level_fit {
    double parameter[LEVEL_PARAMETERS];
    double covariance[LEVEL_PARAMETERS * LEVEL_PARAMETERS];
    double scatter; /* of ln K from hold to hold */
    double df;      /* that it was found with */
};

/* Fits and fills runs[]. A job without holds gives the priors. STATUS_MEMORY. */
enum status season_levels_fit(const struct level_job *job, struct level_fit *out);

/* ln of the open rise at x over that at the reference. */
double season_shape(const double *parameter, double x);

/* The thermostat that parameters mean. */
struct thermostat season_thermostat(const double *parameter, size_t which);

#endif
