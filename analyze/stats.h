/* stats.h - means, t intervals, degrees of freedom and weighted least squares. Pure. */
#ifndef SEARUN_STATS_H
#define SEARUN_STATS_H

#include <stddef.h>

#include "answer.h"
#include "status.h"

/* Mean and scatter of values. sd and standard_error are NaN below two values, all below one. */
struct spread {
    size_t count;
    double mean, sd, standard_error;
};
struct spread stats_spread(const double *values, size_t count);

/* The factor t with which mean +- t * u holds `level` (0.95: two-sided). Infinite df: normal. NaN
 * for df <= 0. */
double stats_t(double level, double df);

/* Effective degrees of freedom of a sum of independent parts (Welch-Satterthwaite, JCGM 100, G.4):
 * u[] standard uncertainties, df[] theirs, INFINITY allowed. INFINITY if nothing bounds it. */
double stats_effective_df(const double *u, const double *df, size_t count);

/* Scatter within and between groups (JCGM 100, H.5). Groups need not be equally large. */
struct groups {
    double within, between; /* standard deviations; between is 0 where the means agree better than
                               the scatter within lets expect */
    double of_means;        /* standard deviation of the group means */
    double df_within, df_between;
};
struct groups stats_groups(const struct spread *groups, size_t count);

/* Weighted least squares, prepared once for many right-hand sides. Zero-initialise. */
struct regression {
    size_t rows, columns;
    double *design;         /* rows x columns, row by row, owned copy */
    double *weight;         /* rows; 1 / variance up to a factor */
    double *operate;        /* columns x rows: coefficients = operate * y */
    double *covariance;     /* columns x columns, for unit variance of weight 1 */
    double effective_df;    /* rows - columns */
    double log_determinant; /* of design' * weight * design */
};

/* `design` is rows x columns; `weight` NULL means all 1. STATUS_BAD_DATA if the columns are not
 * independent or there are fewer rows than columns; STATUS_MEMORY. */
enum status regression_prepare(struct regression *regression, const double *design,
                               const double *weight, size_t rows, size_t columns);

/* Coefficients (columns of them) for one right-hand side; returns the weighted sum of squared
 * residuals. Allocates nothing. */
double regression_solve(const struct regression *regression, const double *y, double *coefficients);

void regression_free(struct regression *regression);

#endif
