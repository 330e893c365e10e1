/* curve.h - ln(open rise) over ln(speed): a level per run, a slope per side, the rest shared.
 *
 *     ln K = level(run) + slope(side) * x + bend * x^2 + play * lean + own(speed, approach)
 *     x = ln(speed / middle speed)
 *
 * lean is the steepness d(ln K)/dT of a hold, with the sign of its approach: a valve with play
 * reads higher on the way up than on the way down by the same kelvins at every speed. own is what a
 * speed has beyond the smooth curve, alike before and after: engines and valves are not that
 * smooth, and what both sides share must not pass for scatter.
 * What the data do not settle is held by prior knowledge: slopes near the exponent of the propeller
 * law over the exchanger's flow dependence, alike on both sides, little bend (common practice, no
 * source). With one or two speeds the prior gives the slope; with five or more it hardly counts.
 */
#ifndef SEARUN_CURVE_H
#define SEARUN_CURVE_H

#include "evidence.h"
#include "stats.h"

/* Columns after the levels of the runs; slopes by side. */
enum curve_column { CURVE_SLOPES, CURVE_BEND = SIDE_COUNT, CURVE_PLAY, CURVE_COLUMNS };

/* Rows of prior knowledge: slope before, slope after, their difference, bend, play, own of each
 * cell. */
#define CURVE_PRIORS 5
#define CURVE_PRIORS_MAX (CURVE_PRIORS + CELLS_MAX)

struct curve_prior {
    double exponent, exponent_u; /* slope of ln K */
    double difference_u;         /* slope after minus slope before: 0 +- this */
    double bend_u;               /* 0 +- this */
    double play_u;               /* K, 0 +- this */
    double own_u;                /* 0 +- this, ... */
    double own_reading_u;        /* ... and what this many K make there */
};

struct curve {
    struct regression regression; /* rows: looks, then priors; columns: runs, slopes, bend, play,
                                     own of each speed */
    double prior_y[CURVE_PRIORS_MAX], prior_u[CURVE_PRIORS_MAX];
    size_t looks, runs, priors;
    double *y;    /* looks + priors, owned; a caller fills the first `looks` */
    double *beta; /* columns, owned: the last solution */
};

/* Prepares the curve. `variance` holds, per look, the variance of ln K over scatter^2, `steep` its
 * d(ln K)/dT in 1/K; `scatter` is the standard deviation of ln K from hold to hold, to weigh the
 * prior against. */
enum status curve_prepare(struct curve *curve, const struct evidence *evidence,
                          const struct curve_prior *prior, const double *variance,
                          const double *steep, double scatter);

/* Solves for curve->y; returns the weighted residual sum, priors included. */
double curve_solve(struct curve *curve);

/* Value of the last solution at a speed, without the level of a run and without play. */
double curve_shape(const struct curve *curve, enum side side, double ln_speed);

/* What play, and the speed by itself, add to that for look `look`, in the last solution. */
double curve_own(const struct curve *curve, size_t look);

void curve_free(struct curve *curve);

#endif
