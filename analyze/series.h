/* series.h - sums and orders of columns of numbers; a series put on an even grid; thinning.
 *
 * Pure. NaN stands for "missing" in grids; series (run_read.h) hold no missing values.
 */
#ifndef SEARUN_SERIES_H
#define SEARUN_SERIES_H

#include <stdbool.h>
#include <stddef.h>

#include "answer.h"
#include "run_read.h"
#include "status.h"

/* A stretch of time in s since run start. */
struct span {
    double from, to;
};
struct spans {
    size_t count;
    struct span *list; /* owned */
};
enum status spans_add(struct spans *spans, double from, double to);
void spans_free(struct spans *spans);

/* How far apart two readings may be, s, before what lies between counts as missing: by the
 * catalogue; longer where a logger is known to sample seldom; for ever where somebody read it by
 * hand. */
double series_silence(const struct series *series);

/* The quantile q (0 .. 1) by rank, without interpolation. Reorders `values`; NaN for none. */
double series_quantile(double *values, size_t count, double q);
double series_median(double *values, size_t count);

/* Step of the sender behind the values: the smallest change it keeps showing (2 % quantile of the
 * changes that are not zero). 0 if nothing changes; STATUS_MEMORY. */
enum status series_step(const double *values, size_t count, double *step);

/* What a series looks like. */
struct profile {
    double coverage;       /* share of the run during which it is fresh, 0 .. 1 */
    double interval;       /* s, median between two readings; NaN with fewer than two */
    double step;           /* see series_step */
    double low, mid, high; /* 5 %, 50 % and 95 % quantile; NaN if empty */
};
enum status series_profile(const struct series *series, double silence, double duration,
                           struct profile *out);

/* Puts a series on cells of `step` seconds from 0: the mean of the readings in a cell; a cell
 * without one is interpolated at its middle if the readings around it are no more than `silence`
 * apart, else NaN. `last` instead repeats the last reading, for states such as a gear. */
void series_grid(const struct series *series, double silence, double step, bool last, double *cells,
                 size_t count);

/* Mean over the cells from .. to - 1 that are not NaN, and which share of them those are. */
double cells_mean(const double *cells, size_t from, size_t to, double *share);
/* Scatter about the mean (n - 1); 0 for one cell, NaN for none. */
double cells_sd(const double *cells, size_t from, size_t to);

/* Straight line through cells by least squares. */
struct line {
    double mean;  /* value at the mean time */
    double slope; /* per s */
    double sd;    /* scatter about the line, n - 2 */
    size_t count; /* cells that were there; 0: all others are NaN, 1 or 2: sd is 0 */
};
struct line cells_line(const double *cells, double step, size_t from, size_t to);

/* How restless cells are, beside any smooth course: the scatter of means over `span` cells about
 * the mean of their two neighbours, reduced to that of one such mean. NaN with fewer than five of
 * them. */
double cells_restlessness(const double *cells, size_t from, size_t to, size_t span);

/* Running median of 2 * half + 1 cells, taken over those present; NaN where the cell itself is NaN.
 * half is at most SMOOTH_HALF_MAX. */
#define SMOOTH_HALF_MAX 31
void cells_smooth(const double *cells, size_t count, size_t half, double *out);

/* Exponential low pass with time constant `lag` s from the first cell present; NaN cells keep the
 * last value. `out` is NaN before the first. */
void cells_lag(const double *cells, size_t count, double step, double lag, double *out);

#define THINNED_MAX 2000 /* points at most */

/* Thins to at most THINNED_MAX points, keeping the lowest and highest of every interval, and puts a
 * NaN point where readings are more than `silence` apart. Free out->minute and out->value. */
enum status series_thin(const struct series *series, double silence, struct sample_series *out);

#endif
