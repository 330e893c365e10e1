/* thermostat.h - what the rating and the holds together say about thermostat and time constant.
 *
 * Every pair of start and full-open temperature turns the holds into open rises; the right pair
 * makes them lie on smooth curves over speed, the same thermostat for both sides. That is weighed
 * on a grid (start, span, bow, time constant) against the prior: the rating with its uncertainty
 * where it is known, else what thermostats are like. The grid is the posterior; a Monte Carlo draws
 * from it.
 */
#ifndef SEARUN_THERMOSTAT_H
#define SEARUN_THERMOSTAT_H

#include <gsl/gsl_rng.h>

#include "curve.h"
#include "evidence.h"
#include "lift.h"

enum thermostat_axis {
    AXIS_START, /* degC, start to open */
    AXIS_SPAN,  /* K, full open minus start */
    AXIS_BOW,   /* open fraction above the straight line halfway */
    AXIS_LAG,   /* s, time constant of the stored heat at the highest speed held */
    AXIS_COUNT
};

struct thermostat_prior {
    bool rated; /* from a rating, else only what thermostats are like */
    double mean[AXIS_COUNT], u[AXIS_COUNT];
    double low[AXIS_COUNT], high[AXIS_COUNT]; /* bounds */
    double correlation;                       /* of start and span */
};

/* The prior for a rating (degC, and its standard uncertainty in K), or for none (NaN): start 74 +-
 * 10 degC, span 10.5 +- 2.5 K within 5 to 18 (common practice, no source; ratings in use span 6 to
 * 15 K). */
struct thermostat_prior thermostat_prior_make(double start, double full, double u, double lag,
                                              double lag_u);

struct thermostat_node {
    double at[AXIS_COUNT];
    double log_weight, cumulative; /* cumulative share of the posterior, the last is 1 */
};

#define THERMOSTAT_NODES_MAX 1600

struct thermostat_fit {
    size_t count;
    struct thermostat_node *nodes; /* owned */
    double cell[AXIS_COUNT];       /* widths of the grid's cells */
    double u[AXIS_COUNT], full_u;  /* posterior standard deviations */
    struct thermostat best;        /* posterior mean */
    double lag;                    /* s, the same, at the highest speed held */
    double side_lag[SIDE_COUNT];   /* time constant of a side over the mean of both */
    double usual;                  /* what is usual for it before looking at the holds */
    double scatter;                /* of ln K from hold to hold */
    double reading_u;   /* K, of the reading from hold to hold: play of the valve, sender */
    double ratio;       /* reading_u over scatter, K */
    double df;          /* degrees of freedom of both */
    double *variance;   /* per look: variance of ln K over scatter^2, owned */
    double *steep;      /* per look: d(ln K)/dT, 1/K; within the same memory */
    double *doubt;      /* per look: factor on its variance, above 1 where it stands out */
    struct curve curve; /* with those weights, solved at `best` */
};

/* Fits. Zero-initialise; thermostat_free at the end. STATUS_MEMORY. */
enum status thermostat_fit_holds(struct thermostat_fit *fit, const struct evidence *evidence,
                                 const struct thermostat_prior *prior);

/* The thermostat of a node. */
struct thermostat thermostat_at(const struct thermostat_node *node);

/* One draw from the posterior. */
struct thermostat_node thermostat_draw(const struct thermostat_fit *fit, gsl_rng *rng);

/* The time constant at a look, s, if it is `lag` at the highest speed and between both sides. */
double thermostat_lag(const struct thermostat_fit *fit, const struct look *look, double lag);

/* ln of the open rise of a look, with its load taken out. `lag` is that at the look. */
double thermostat_ln_rise(const struct thermostat *thermostat, const struct look *look, double lag);

void thermostat_free(struct thermostat_fit *fit);

#endif
