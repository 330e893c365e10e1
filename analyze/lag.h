/* lag.h - the time constant of the stored heat, fitted from a run's own steps of speed. Pure. */
#ifndef SEARUN_LAG_H
#define SEARUN_LAG_H

#include <stddef.h>

struct lag {
    double seconds; /* C/UA where it was seen, mostly near full speed: lag * dT/dt is the heat going
                       into block and coolant, in K */
    double u;       /* s, standard uncertainty */
    size_t steps;   /* stretches of steady speed that told something; 0: the defaults were taken */
};

/* Fits the time constant to one run. The four columns share their instants: `time` in s, rising;
 * `rpm`; `coolant` and `sea` in degC; a NaN in any column ends a stretch. A sample every 1 to 5 s
 * is enough. The thermostat (start to open and full open, degC) may be NaN: then, and where no step
 * tells anything, ESTIMATE_LAG and ESTIMATE_LAG_U of estimate.h come back with steps = 0.
 * Over stretches of constant speed T(t) - T(0) = (K t - integral of phi (T - S)) / lag: a straight
 * regression, in which noise of single samples hardly counts. */
struct lag lag_fit(const double *time, const double *rpm, const double *coolant, const double *sea,
                   size_t count, double thermostat_start, double thermostat_full);

/* What several runs of one engine and what is usual (the defaults) say together, each weighted by
 * its uncertainty. */
struct lag lag_pool(const struct lag *lags, size_t count);

#endif
