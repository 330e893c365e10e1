/* season_clock.c - see season_clock.h. */
#include "season_clock.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define APART (30.0 * 86400.0) /* s, least between first and last for hours a year */
#define SHARE_KNOWN 0.8        /* of outings that must have hours */
#define SHARE_U 0.2            /* of hours a year, after one season */
#define AHEAD 60.0             /* years */
#define PART (YEAR_SECONDS / CLOCK_PARTS)

void season_clock_free(struct season_clock *clock)
{
    free(clock->at);
    *clock = (struct season_clock){0};
}

/* The part of the year of an instant, and where it ends. Years are Julian ones from 1970. */
static size_t part_of(double at, double *ends)
{
    double number = floor(at / PART);
    *ends = (number + 1) * PART;
    return (size_t)(number - CLOCK_PARTS * floor(number / CLOCK_PARTS));
}

/* Spreads hours evenly over a time, onto the parts of the year. */
static void spread(double from, double to, double hours, double *run, double *there)
{
    for (double at = from, ends; at < to; at = ends) {
        size_t part = part_of(at, &ends);
        double seconds = fmin(ends, to) - at;
        run[part] += hours * seconds / (to - from);
        there[part] += seconds / PART;
    }
}

static void find_usage(struct season_clock *clock)
{
    double run[CLOCK_PARTS] = {0}, there[CLOCK_PARTS] = {0}, all = 0, seen = 0;
    size_t last = clock->count - 1;
    for (size_t i = 0; i < last; i++)
        spread(clock->at[i], clock->at[i + 1], clock->hours[i + 1] - clock->hours[i], run, there);
    for (size_t p = 0; p < CLOCK_PARTS; p++) {
        all += run[p];
        seen += there[p];
    }
    for (size_t p = 0; p < CLOCK_PARTS; p++) /* a part never seen is like the mean of the others */
        clock->part[p] = there[p] > 0.5 ? run[p] / there[p] : all / seen;
    clock->hours_a_year = 0;
    for (size_t p = 0; p < CLOCK_PARTS; p++)
        clock->hours_a_year += clock->part[p];
    double years = (clock->at[last] - clock->at[0]) / YEAR_SECONDS;
    clock->share_u = SHARE_U / sqrt(fmax(years, 1));
}

enum status season_clock_make(const double *at, const double *hours, size_t count,
                              struct season_clock *out, bool *fell)
{
    *out = (struct season_clock){.hours_a_year = NAN};
    *fell = false;
    out->at = malloc((2 * count + 1) * sizeof *out->at);
    if (!out->at)
        return STATUS_MEMORY;
    out->hours = out->at + count;
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(hours[i]))
            continue;
        double last = out->count > 0 ? out->hours[out->count - 1] : hours[i];
        *fell = *fell || hours[i] < last - 1;
        out->at[out->count] = at[i];
        out->hours[out->count++] = fmax(hours[i], last);
    }
    bool known = !*fell && out->count >= 2 && out->at[out->count - 1] - out->at[0] >= APART &&
                 out->hours[out->count - 1] > out->hours[0];
    if (!known) {
        out->count = 0;
        return STATUS_OK;
    }
    find_usage(out);
    out->by_hours = (double)out->count >= SHARE_KNOWN * (double)count;
    return STATUS_OK;
}

/* Hours run from one instant to a later one, at the usual rate. */
static double usual_hours(const struct season_clock *clock, double from, double to)
{
    double hours = 0;
    for (double at = from, ends; at < to; at = ends) {
        size_t part = part_of(at, &ends);
        hours += clock->part[part] * (fmin(ends, to) - at) / PART;
    }
    return hours;
}

double season_hours(const struct season_clock *clock, double at)
{
    size_t low = 0, high = clock->count;
    if (clock->count == 0)
        return NAN;
    if (at <= clock->at[0])
        return clock->hours[0] - usual_hours(clock, at, clock->at[0]);
    if (at >= clock->at[high - 1])
        return clock->hours[high - 1] +
               usual_hours(clock, clock->at[high - 1],
                           fmin(at, clock->at[high - 1] + AHEAD * YEAR_SECONDS));
    while (high - low > 1) {
        size_t middle = (low + high) / 2;
        if (clock->at[middle] <= at)
            low = middle;
        else
            high = middle;
    }
    double share = (at - clock->at[low]) / (clock->at[high] - clock->at[low]);
    return clock->hours[low] + share * (clock->hours[high] - clock->hours[low]);
}

double season_use(const struct season_clock *clock, double at)
{
    return clock->by_hours ? season_hours(clock, at) / clock->hours_a_year : at / YEAR_SECONDS;
}

/* The instant up to the last known one at which the hours were run. */
static double known_date(const struct season_clock *clock, double hours)
{
    size_t i = 1;
    if (hours <= clock->hours[0])
        return clock->at[0];
    while (i + 1 < clock->count && clock->hours[i] < hours)
        i++;
    double step = clock->hours[i] - clock->hours[i - 1];
    double share = step > 0 ? (hours - clock->hours[i - 1]) / step : 1;
    return clock->at[i - 1] + share * (clock->at[i] - clock->at[i - 1]);
}

double season_date(const struct season_clock *clock, double use, double share)
{
    if (!isfinite(use))
        return INFINITY;
    if (!clock->by_hours)
        return use * YEAR_SECONDS;
    double last = clock->at[clock->count - 1], at = last;
    double left = use * clock->hours_a_year - clock->hours[clock->count - 1];
    if (left <= 0)
        return known_date(clock, use * clock->hours_a_year);
    left /= fmax(share, 0.05);
    double years = floor(left / clock->hours_a_year);
    if (years > AHEAD)
        return INFINITY;
    at += years * YEAR_SECONDS;
    left -= years * clock->hours_a_year;
    while (left > 0) {
        double ends;
        size_t part = part_of(at, &ends);
        double here = clock->part[part] * (ends - at) / PART;
        if (here >= left)
            return at + left / here * (ends - at);
        left -= here;
        at = ends;
    }
    return at;
}
