/* lag.c - see lag.h. */
#include "lag.h"

#include <math.h>
#include <stdbool.h>

#include "estimate.h"
#include "lift.h"

#define STEADY_RPM 25.0    /* a stretch of steady speed stays within this ... */
#define STEADY_RATIO 0.015 /* ... or this share of its first speed, whichever is wider */
#define SHORTEST 90.0      /* s */
#define LONGEST_GAP 15.0   /* s between samples of one stretch */
#define MOVES 1.0          /* K that the coolant must move to tell anything */
#define SKIP 45.0          /* s after a step in which the water alone answers, not yet the block */
#define OPEN 0.98          /* open fraction; below it the lag of the thermostat itself comes in */
#define LEAST 20.0         /* s, believable time constants of block and coolant */
#define MOST 400.0
#define MODEL_U 0.3   /* relative: one heat store is a simplification */
#define SINGLE_U 0.40 /* relative: what one stretch alone can be off */
#define COMES_OUT                                                                                  \
    0.75 /* of the time constant that holds need is what fits come out at: the water answers faster
            than the block, and the noise of the load looks like settling (two heat stores of the
            boat model: 0.87 without noise, 0.72 to 0.80 with it) */

struct columns {
    const double *time, *rpm, *coolant, *sea;
    size_t count;
    struct thermostat thermostat;
};

static bool usable(const struct columns *c, size_t i)
{
    return isfinite(c->rpm[i]) && isfinite(c->coolant[i]) && isfinite(c->sea[i]) &&
           lift_open_fraction(&c->thermostat, c->coolant[i]) >= OPEN;
}

/* First sample that does not belong to the stretch that begins at `first`. */
static size_t stretch_end(const struct columns *c, size_t first)
{
    double within = fmax(STEADY_RPM, STEADY_RATIO * c->rpm[first]);
    size_t i = first + 1;
    while (i < c->count && usable(c, i) && fabs(c->rpm[i] - c->rpm[first]) <= within &&
           c->time[i] - c->time[i - 1] <= LONGEST_GAP)
        i++;
    return i;
}

/* The regression y = a + b t + c G of one stretch, with G the integral of the heat carried off. */
struct sums {
    double n, t, g, y, tt, tg, gg, ty, gy;
};

static void add(struct sums *s, double t, double g, double y)
{
    s->n++;
    s->t += t;
    s->g += g;
    s->y += y;
    s->tt += t * t;
    s->tg += t * g;
    s->gg += g * g;
    s->ty += t * y;
    s->gy += g * y;
}

/* c, and its weight: the variation of G that constant and trend leave. */
static bool solve(const struct sums *s, double *c, double *weight)
{
    double tt = s->tt - s->t * s->t / s->n, tg = s->tg - s->t * s->g / s->n;
    double gg = s->gg - s->g * s->g / s->n, ty = s->ty - s->t * s->y / s->n;
    double gy = s->gy - s->g * s->y / s->n;
    *weight = gg - tg * tg / tt;
    *c = (gy - tg * ty / tt) / *weight;
    return *weight > 1e-6 * gg && isfinite(*c);
}

/* One stretch: true if it tells a rate 1/lag. */
static bool fit_stretch(const struct columns *c, size_t first, size_t end, double *rate,
                        double *weight)
{
    struct sums sums = {0};
    double begin = c->time[first] + SKIP;
    while (first + 1 < end && c->time[first] < begin)
        first++;
    double integral = 0, low = c->coolant[first], high = low, last = 0;
    for (size_t i = first; i < end; i++) {
        double carried = c->coolant[i] - c->sea[i];
        if (i > first)
            integral += 0.5 * (carried + last) * (c->time[i] - c->time[i - 1]);
        last = carried;
        low = fmin(low, c->coolant[i]);
        high = fmax(high, c->coolant[i]);
        add(&sums, c->time[i] - c->time[first], integral, c->coolant[i]);
    }
    double slope;
    if (c->time[end - 1] - c->time[first] < SHORTEST || high - low < MOVES ||
        !solve(&sums, &slope, weight))
        return false;
    *rate = -slope;
    return *rate > 1 / MOST && *rate < 1 / LEAST;
}

static struct lag unknown(void)
{
    return (struct lag){.seconds = ESTIMATE_LAG, .u = ESTIMATE_LAG_U, .steps = 0};
}

struct lag lag_fit(const double *time, const double *rpm, const double *coolant, const double *sea,
                   size_t count, double thermostat_start, double thermostat_full)
{
    struct columns c = {time, rpm, coolant, sea, count, {thermostat_start, thermostat_full, 0, 0}};
    double total = 0, sum = 0, squares = 0, square_weights = 0;
    size_t steps = 0;
    if (!(thermostat_full > thermostat_start))
        return unknown();
    for (size_t i = 0, end; i < count; i = end) {
        end = i + 1;
        double rate, weight;
        if (!usable(&c, i))
            continue;
        end = stretch_end(&c, i);
        if (!fit_stretch(&c, i, end, &rate, &weight))
            continue;
        steps++;
        total += weight;
        sum += weight * rate;
        squares += weight * rate * rate;
        square_weights += weight * weight;
    }
    if (steps == 0)
        return unknown();
    double rate = sum / total;
    double spread = sqrt(fmax(squares / total - rate * rate, 0) * square_weights) / total / rate;
    double relative = steps == 1 ? SINGLE_U : hypot(MODEL_U, spread);
    return (struct lag){.seconds = 1 / rate, .u = relative / rate, .steps = steps};
}

struct lag lag_pool(const struct lag *lags, size_t count)
{
    struct lag usual = unknown();
    double total = 1 / (usual.u * usual.u), sum = usual.seconds * total;
    for (size_t i = 0; i < count; i++) {
        if (lags[i].steps == 0)
            continue;
        double seconds = lags[i].seconds / COMES_OUT, u = lags[i].u / COMES_OUT;
        double weight = 1 / (u * u);
        total += weight;
        sum += weight * seconds;
        usual.steps += lags[i].steps;
    }
    /* More runs do not make the one heat store of the model truer. */
    double seconds = sum / total;
    return (struct lag){seconds, fmax(1 / sqrt(total), MODEL_U * seconds), usual.steps};
}
