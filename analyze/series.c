/* series.c - see series.h. */
#include "series.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_statistics_double.h>

enum status spans_add(struct spans *spans, double from, double to)
{
    struct span *grown = realloc(spans->list, (spans->count + 1) * sizeof *grown);
    if (!grown)
        return STATUS_MEMORY;
    spans->list = grown;
    grown[spans->count++] = (struct span){from, to};
    return STATUS_OK;
}

void spans_free(struct spans *spans)
{
    free(spans->list);
    memset(spans, 0, sizeof *spans);
}

#define SAMPLES_MISSED 2.5 /* intervals of a logger: one sample may be missing */

double series_silence(const struct series *series)
{
    if (series->accuracy.by_hand)
        return INFINITY;
    return fmax(channel_get(series->channel)->silence, SAMPLES_MISSED * series->accuracy.interval);
}

double series_quantile(double *values, size_t count, double q)
{
    if (count == 0)
        return NAN;
    size_t rank = (size_t)(q * (double)(count - 1) + 0.5);
    return gsl_stats_select(values, 1, count, rank);
}

double series_median(double *values, size_t count)
{
    return series_quantile(values, count, 0.5);
}

/* Quantiles of long series are taken from so many of their values, evenly spread. */
#define SAMPLED_MAX 8192

static size_t stride_of(size_t count)
{
    return 1 + count / SAMPLED_MAX;
}

enum status series_step(const double *values, size_t count, double *step)
{
    size_t n = 0, changes = 0, stride = stride_of(count);
    *step = 0.0;
    double *kept = malloc((count / stride + 2) * sizeof *kept);
    if (!kept)
        return STATUS_MEMORY;
    for (size_t i = 1; i < count; i++)
        if (values[i] != values[i - 1] && changes++ % stride == 0)
            kept[n++] = fabs(values[i] - values[i - 1]);
    if (n > 0)
        *step = series_quantile(kept, n, 0.02);
    free(kept);
    return STATUS_OK;
}

/* Seconds without fresh readings, the margins of the run included. */
static double stale_time(const struct series *series, double silence, double duration)
{
    double stale = 0.0, last = 0.0;
    for (size_t i = 0; i <= series->count; i++) {
        double now = i < series->count ? series->time[i] : duration;
        if (now - last > silence)
            stale += now - last;
        last = now;
    }
    return stale;
}

static double median_interval(const struct series *series, double *scratch)
{
    size_t n = 0;
    for (size_t i = 1; i < series->count; i += stride_of(series->count))
        scratch[n++] = series->time[i] - series->time[i - 1];
    return series_median(scratch, n);
}

static size_t sample_values(const struct series *series, double *scratch)
{
    size_t n = 0;
    for (size_t i = 0; i < series->count; i += stride_of(series->count))
        scratch[n++] = series->value[i];
    return n;
}

enum status series_profile(const struct series *series, double silence, double duration,
                           struct profile *out)
{
    *out = (struct profile){.interval = NAN, .low = NAN, .mid = NAN, .high = NAN};
    if (series->count == 0)
        return STATUS_OK;
    double *scratch = malloc((SAMPLED_MAX + 2) * sizeof *scratch);
    if (!scratch)
        return STATUS_MEMORY;
    double stale = stale_time(series, silence, duration);
    out->coverage = duration > 0 ? fmax(0.0, 1.0 - stale / duration) : 0.0;
    out->interval = median_interval(series, scratch);
    size_t n = sample_values(series, scratch);
    out->low = series_quantile(scratch, n, 0.05);
    out->mid = series_quantile(scratch, n, 0.5);
    out->high = series_quantile(scratch, n, 0.95);
    free(scratch);
    return series_step(series->value, series->count, &out->step);
}

/* --- grids */

/* Sums the readings of each cell; returns nothing, leaves counts in `hits`. */
static double cell_average(const struct series *series, size_t *at, double end)
{
    double sum = 0.0;
    size_t n = 0;
    for (; *at < series->count && series->time[*at] < end; (*at)++, n++)
        sum += series->value[*at];
    return n > 0 ? sum / (double)n : NAN;
}

/* Value at instant t between the readings before and at `next`; NaN if they are too far apart. */
static double between(const struct series *series, size_t next, double t, double silence, bool last)
{
    if (next == 0)
        return NAN;
    double before = series->time[next - 1];
    if (last)
        return t - before <= silence ? series->value[next - 1] : NAN;
    if (next == series->count)
        return NAN;
    double span = series->time[next] - before;
    if (span > silence)
        return NAN;
    double share = span > 0 ? (t - before) / span : 0.0;
    return series->value[next - 1] + share * (series->value[next] - series->value[next - 1]);
}

void series_grid(const struct series *series, double silence, double step, bool last, double *cells,
                 size_t count)
{
    size_t at = 0;
    for (size_t i = 0; i < count; i++) {
        double end = (double)(i + 1) * step;
        double mean = cell_average(series, &at, end);
        if (isnan(mean))
            cells[i] = between(series, at, end - 0.5 * step, silence, last);
        else
            cells[i] = last ? series->value[at - 1] : mean;
    }
}

double cells_mean(const double *cells, size_t from, size_t to, double *share)
{
    double sum = 0.0;
    size_t n = 0;
    for (size_t i = from; i < to; i++)
        if (!isnan(cells[i])) {
            sum += cells[i];
            n++;
        }
    if (share)
        *share = to > from ? (double)n / (double)(to - from) : 0.0;
    return n > 0 ? sum / (double)n : NAN;
}

double cells_sd(const double *cells, size_t from, size_t to)
{
    double mean = cells_mean(cells, from, to, NULL), sum = 0.0;
    size_t n = 0;
    for (size_t i = from; i < to; i++)
        if (!isnan(cells[i])) {
            sum += (cells[i] - mean) * (cells[i] - mean);
            n++;
        }
    return n > 1 ? sqrt(sum / (double)(n - 1)) : n == 1 ? 0.0 : NAN;
}

struct line cells_line(const double *cells, double step, size_t from, size_t to)
{
    double mean_time = 0.0, mean = 0.0, sxx = 0.0, sxy = 0.0, syy = 0.0;
    size_t n = 0;
    for (size_t i = from; i < to; i++) {
        if (isnan(cells[i]))
            continue;
        /* Welford's way: no cancellation however far the column is from zero. */
        double t = (double)(i - from) * step, weight = (double)n / (double)(n + 1);
        double dt = t - mean_time, dy = cells[i] - mean;
        n++;
        mean_time += dt / (double)n;
        mean += dy / (double)n;
        sxx += weight * dt * dt;
        sxy += weight * dt * dy;
        syy += weight * dy * dy;
    }
    if (n == 0)
        return (struct line){NAN, NAN, NAN, 0};
    double slope = sxx > 0 ? sxy / sxx : 0.0;
    double rest = fmax(0.0, syy - slope * sxy);
    return (struct line){mean, slope, n > 2 ? sqrt(rest / (double)(n - 2)) : 0.0, n};
}

double cells_restlessness(const double *cells, size_t from, size_t to, size_t span)
{
    double sum = 0.0;
    size_t n = 0;
    for (size_t i = from; i + 3 * span <= to; i += span) {
        double before = cells_mean(cells, i, i + span, NULL);
        double middle = cells_mean(cells, i + span, i + 2 * span, NULL);
        double after = cells_mean(cells, i + 2 * span, i + 3 * span, NULL);
        double bend = before - 2 * middle + after;
        if (isnan(bend))
            continue;
        sum += bend * bend / 6; /* variances 1 + 4 + 1 of independent means */
        n++;
    }
    return n >= 3 ? sqrt(sum / (double)n) : NAN;
}

/* Puts `value` into a sorted window, or takes it out. */
static void window_add(double *window, size_t *n, double value)
{
    size_t at = *n;
    for (; at > 0 && window[at - 1] > value; at--)
        window[at] = window[at - 1];
    window[at] = value;
    (*n)++;
}

static void window_drop(double *window, size_t *n, double value)
{
    size_t at = 0;
    while (window[at] != value)
        at++;
    memmove(window + at, window + at + 1, (*n - at - 1) * sizeof *window);
    (*n)--;
}

void cells_smooth(const double *cells, size_t count, size_t half, double *out)
{
    assert(half <= SMOOTH_HALF_MAX);
    double window[2 * SMOOTH_HALF_MAX + 1];
    size_t n = 0;
    for (size_t i = 0; i < count + half; i++) {
        if (i < count && !isnan(cells[i]))
            window_add(window, &n, cells[i]);
        if (i > 2 * half && i - 2 * half - 1 < count && !isnan(cells[i - 2 * half - 1]))
            window_drop(window, &n, cells[i - 2 * half - 1]);
        if (i >= half) {
            double middle = n > 0 ? 0.5 * (window[(n - 1) / 2] + window[n / 2]) : NAN;
            out[i - half] = isnan(cells[i - half]) ? NAN : middle;
        }
    }
}

void cells_lag(const double *cells, size_t count, double step, double lag, double *out)
{
    double share = 1.0 - exp(-step / lag), state = NAN;
    for (size_t i = 0; i < count; i++) {
        if (isnan(state))
            state = cells[i];
        else if (!isnan(cells[i]))
            state += share * (cells[i] - state);
        out[i] = state;
    }
}

/* --- thinning */

static void put_point(struct sample_series *out, double seconds, double value)
{
    out->minute[out->count] = seconds / 60.0;
    out->value[out->count++] = value;
}

/* Two points for the readings from .. to - 1: lowest and highest, in the order they came. */
static void put_extremes(const struct series *series, size_t from, size_t to,
                         struct sample_series *out)
{
    size_t low = from, high = from;
    for (size_t i = from + 1; i < to; i++) {
        if (series->value[i] < series->value[low])
            low = i;
        if (series->value[i] > series->value[high])
            high = i;
    }
    size_t first = low < high ? low : high, second = low < high ? high : low;
    put_point(out, series->time[first], series->value[first]);
    if (second != first)
        put_point(out, series->time[second], series->value[second]);
}

static bool gap_before(const struct series *series, size_t i, double silence)
{
    return i > 0 && series->time[i] - series->time[i - 1] > silence;
}

/* Index after the last reading of the group that starts at `from`: a group ends at a gap or when it
 * is `size` readings long. */
static size_t group_end(const struct series *series, size_t from, size_t size, double silence)
{
    size_t to = from + 1;
    while (to < series->count && to - from < size && !gap_before(series, to, silence))
        to++;
    return to;
}

/* Points that groups of that size would need. */
static size_t points_needed(const struct series *series, size_t size, double silence)
{
    size_t points = 0;
    for (size_t i = 0, to; i < series->count; i = to) {
        to = group_end(series, i, size, silence);
        points += gap_before(series, i, silence) + (to - i > 1 ? 2u : 1u);
    }
    return points;
}

/* The smallest group size that fits; with gaps everywhere the silence is stretched instead. */
static size_t group_size(const struct series *series, double *silence)
{
    size_t size = 1 + 2 * series->count / THINNED_MAX;
    if (series->count <= THINNED_MAX && points_needed(series, 1, *silence) <= THINNED_MAX)
        return 1;
    while (points_needed(series, size, *silence) > THINNED_MAX) {
        size += size / 8 + 1;
        if (size > series->count) {
            *silence *= 2.0;
            size = 1 + 2 * series->count / THINNED_MAX;
        }
    }
    return size;
}

enum status series_thin(const struct series *series, double silence, struct sample_series *out)
{
    memset(out, 0, sizeof *out);
    out->minute = malloc(THINNED_MAX * sizeof *out->minute);
    out->value = malloc(THINNED_MAX * sizeof *out->value);
    if (!out->minute || !out->value) {
        free(out->minute);
        free(out->value);
        memset(out, 0, sizeof *out);
        return STATUS_MEMORY;
    }
    size_t size = group_size(series, &silence);
    for (size_t i = 0, to; i < series->count; i = to) {
        to = group_end(series, i, size, silence);
        if (gap_before(series, i, silence))
            put_point(out, 0.5 * (series->time[i - 1] + series->time[i]), NAN);
        put_extremes(series, i, to, out);
    }
    return STATUS_OK;
}
