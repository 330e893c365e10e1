/* montecarlo.h - intervals from draws (JCGM 101:2008). Pure; nothing here allocates. */
#ifndef SEARUN_MONTECARLO_H
#define SEARUN_MONTECARLO_H

#include <gsl/gsl_rng.h>
#include <stddef.h>

#include "answer.h"

/* The interval that leaves (1 - level)/2 of the draws out at either end (JCGM 101, 7.7, the
 * probabilistically symmetric one), with the median as its value. `scratch` has room for `count`
 * numbers; `draws` keeps its order. NaN for no draws. */
struct interval montecarlo_interval(const double *draws, size_t count, double level,
                                    double *scratch);

/* The same round a value known otherwise: it is never left outside. */
struct interval montecarlo_about(double value, const double *draws, size_t count, double level,
                                 double *scratch);

/* Standard deviation of the draws. */
double montecarlo_u(const double *draws, size_t count);

/* Factor on the half-widths of single intervals that makes all of them hold at once in `level` of
 * the draws (the quantile of the largest excursion). draws[i] are `count` numbers of quantity i,
 * drawn together; single[i] its interval about its value. At least 1. */
double montecarlo_simultaneous(const double *const *draws, const struct interval *single,
                               size_t quantities, size_t count, double level, double *scratch);

/* Draws sqrt(df / chi-square(df)): a standard deviation estimated with df degrees of freedom, times
 * this, times a standard normal number is Student's t. 1 for infinite df. */
double montecarlo_t_scale(gsl_rng *rng, double df);

#endif
