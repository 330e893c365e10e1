/* curve.h - ln(open rise) over ln(speed): one level per run, one slope per side, one bend for all.
 *
 *     ln K = level(run) + slope(side) * x + bend * x^2,   x = ln(speed / middle speed)
 * What the data do not settle is held by prior knowledge: slopes near the exponent of the propeller
 * law over the exchanger's flow dependence, alike on both sides, little bend (common practice, no
 * source). With one or two speeds the prior gives the slope; with five or more it hardly counts.
 */
#ifndef SEARUN_CURVE_H
#define SEARUN_CURVE_H

#include "evidence.h"
#include "stats.h"

#define CURVE_PRIORS                                                                               \
    4 /* rows of prior knowledge: slope before, slope after, their difference, bend */

struct curve_prior {
    double exponent, exponent_u; /* slope of ln K */
    double difference_u;         /* slope after minus slope before: 0 +- this */
    double bend_u;               /* 0 +- this */
};

struct curve {
    struct regression regression; /* rows: looks, then priors; columns: runs, slopes, bend */
    double prior_y[CURVE_PRIORS];
    size_t looks, runs;
    double *y;    /* looks + CURVE_PRIORS, owned; a caller fills the first `looks` */
    double *beta; /* columns, owned: the last solution */
};

/* Prepares the curve. `variance` holds, per look, the variance of ln K over scatter^2 (1 or more);
 * `scatter` is the standard deviation of ln K from hold to hold, to weigh the prior against. */
enum status curve_prepare(struct curve *curve, const struct evidence *evidence,
                          const struct curve_prior *prior, const double *variance, double scatter);

/* Solves for curve->y; returns the weighted residual sum, priors included. */
double curve_solve(struct curve *curve);

/* Value of the last solution for a look, without the level of its run. */
double curve_shape(const struct curve *curve, enum side side, double ln_speed);

void curve_free(struct curve *curve);

#endif
