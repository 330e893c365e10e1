/* montecarlo.c - see montecarlo.h. */
#include "montecarlo.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <string.h>

/* The share `p` quantile of scratch, which loses its order. Between two draws it is
 * interpolated. */
static double quantile(double *scratch, size_t count, double p)
{
    double at = p * (double)(count - 1);
    size_t below = (size_t)at;
    size_t above = below + 1 < count ? below + 1 : below;
    double low = gsl_stats_select(scratch, 1, count, below);
    double high = gsl_stats_select(scratch, 1, count, above);
    return low + (at - (double)below) * (high - low);
}

struct interval montecarlo_interval(const double *draws, size_t count, double level,
                                    double *scratch)
{
    if (count == 0)
        return (struct interval){NAN, NAN, NAN};
    memcpy(scratch, draws, count * sizeof *scratch);
    double tail = 0.5 * (1 - level);
    return (struct interval){
        .value = quantile(scratch, count, 0.5),
        .low = quantile(scratch, count, tail),
        .high = quantile(scratch, count, 1 - tail),
    };
}

struct interval montecarlo_about(double value, const double *draws, size_t count, double level,
                                 double *scratch)
{
    struct interval interval = montecarlo_interval(draws, count, level, scratch);
    interval.value = value;
    interval.low = fmin(interval.low, value);
    interval.high = fmax(interval.high, value);
    return interval;
}

double montecarlo_u(const double *draws, size_t count)
{
    return count > 1 ? gsl_stats_sd(draws, 1, count) : NAN;
}

/* How far out a draw lies, in half-widths of its interval. */
static double excursion(double draw, const struct interval *single)
{
    double half = draw < single->value ? single->value - single->low : single->high - single->value;
    return half > 0 ? fabs(draw - single->value) / half : 0;
}

double montecarlo_simultaneous(const double *const *draws, const struct interval *single,
                               size_t quantities, size_t count, double level, double *scratch)
{
    if (count == 0)
        return 1;
    for (size_t k = 0; k < count; k++) {
        scratch[k] = 0;
        for (size_t i = 0; i < quantities; i++)
            scratch[k] = fmax(scratch[k], excursion(draws[i][k], &single[i]));
    }
    return fmax(quantile(scratch, count, level), 1);
}

double montecarlo_t_scale(gsl_rng *rng, double df)
{
    return isinf(df) ? 1 : sqrt(df / gsl_ran_chisq(rng, df));
}
