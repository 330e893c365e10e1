/* sea.c - see sea.h. */
#include "sea.h"

#include <math.h>
#include <stdlib.h>

#include "rules.h"
#include "series.h"

#define EVERY 10        /* cells between the readings used: the sea is slow */
#define LEAST 30        /* readings; five minutes */
#define APART_LEAST 0.1 /* share of the heat's variation that time must not explain */

/* Sums of products about the means of time t, heat h and sea y. */
struct products {
    double tt, hh, yy, th, ty, hy;
    size_t count;
};

static struct products products_of(const double *sea, const double *heat, size_t count)
{
    struct products p = {0};
    double t = 0, h = 0, y = 0;
    for (size_t i = 0; i < count; i += EVERY) {
        if (isnan(sea[i]) || isnan(heat[i]))
            continue;
        double weight = (double)p.count / (double)(p.count + 1);
        double dt = (double)i - t, dh = heat[i] - h, dy = sea[i] - y, n = (double)++p.count;
        t += dt / n;
        h += dh / n;
        y += dy / n;
        p.tt += weight * dt * dt;
        p.hh += weight * dh * dh;
        p.yy += weight * dy * dy;
        p.th += weight * dt * dh;
        p.ty += weight * dt * dy;
        p.hy += weight * dh * dy;
    }
    return p;
}

/* Range of the heat between its 5 % and 95 % quantile. */
static double range_of(const double *heat, size_t count)
{
    double *values = malloc((count + 1) * sizeof *values);
    if (!values)
        return NAN;
    size_t n = 0;
    for (size_t i = 0; i < count; i += EVERY)
        if (!isnan(heat[i]))
            values[n++] = heat[i];
    double high = series_quantile(values, n, 0.95);
    double range = high - series_quantile(values, n, 0.05);
    free(values);
    return range;
}

static double mean_part(const double *cells, size_t count, size_t part, size_t parts)
{
    return cells_mean(cells, count * part / parts, count * (part + 1) / parts, NULL);
}

/* Speed squared behind the low pass: thousands of rpm squared. */
static double *heat_of(const double *rpm, size_t count)
{
    double *heat = malloc((2 * count + 1) * sizeof *heat);
    if (!heat)
        return NULL;
    for (size_t i = 0; i < count; i++)
        heat[count + i] = 1e-6 * rpm[i] * rpm[i];
    cells_lag(heat + count, count, 1.0, rules.diagnose.sea_lag, heat);
    return heat;
}

/* Cells at the start of a run that say nothing: a chest that is flushed, an engine room that
 * warms. */
static size_t settling_cells(size_t count)
{
    size_t skip = (size_t)(2 * rules.diagnose.sea_lag);
    return count >= 3 * skip ? skip : 0;
}

struct sea_look sea_look(const double *sea, const double *rpm, size_t count)
{
    struct sea_look look = {NAN, 0.0, 0.0};
    double *whole = heat_of(rpm, count);
    if (!whole)
        return look;
    size_t skip = settling_cells(count);
    const double *heat = whole + skip;
    sea += skip;
    count -= skip;
    double drift = mean_part(sea, count, 9, 10) - mean_part(sea, count, 0, 10);
    look.drift = isnan(drift) ? 0.0 : drift;
    struct products p = products_of(sea, heat, count);
    double apart = p.tt > 0 ? p.hh - p.th * p.th / p.tt : 0.0; /* heat beside the drift */
    double left = p.tt > 0 ? p.yy - p.ty * p.ty / p.tt : 0.0;
    double both = p.tt > 0 ? p.hy - p.th * p.ty / p.tt : 0.0;
    if (p.count >= LEAST && apart > APART_LEAST * p.hh) {
        look.effect = both / apart * range_of(heat, count);
        look.share = left > 0 ? both * both / (apart * left) : 0.0;
    }
    free(whole);
    return look;
}

bool sea_follows_engine(const struct sea_look *look)
{
    return look->effect > rules.diagnose.sea_effect && look->share > rules.diagnose.sea_share;
}

bool sea_falls_with_speed(const struct sea_look *look)
{
    return -look->effect > rules.diagnose.sea_effect && look->share > rules.diagnose.sea_share;
}
