/* season_clock.h - what fouling grows with: engine hours where they were recorded, else the
 * calendar. Pure.
 *
 * Both are counted in years: a year of use is the hours that the boat runs in a year. Hours go on
 * through the seasons as they did so far: in which part of the year the boat is used is taken from
 * the outings, in 24 parts of a year, so that a lay-up in winter moves no date.
 */
#ifndef SEARUN_SEASON_CLOCK_H
#define SEARUN_SEASON_CLOCK_H

#include <stdbool.h>
#include <stddef.h>

#include "status.h"

#define YEAR_SECONDS 31557600.0 /* Julian year */
#define CLOCK_PARTS 24

struct season_clock {
    bool by_hours; /* use counts hours, else the calendar */
    size_t count;  /* known instants */
    double *at,
        *hours; /* owned; s since 1970, rising; h, not falling. Empty without an hour meter */
    double hours_a_year;      /* NaN if not known */
    double share_u;           /* standard uncertainty of it, relative */
    double part[CLOCK_PARTS]; /* h a year in each part of the year */
};

/* `at` in s since 1970, rising; `hours` NaN where not recorded. Hours are known where at least two
 * outings 30 days apart have them, most outings do, and they never fall; `fell` tells that they
 * did. Zero-initialise; free in every case. STATUS_MEMORY. */
enum status season_clock_make(const double *at, const double *hours, size_t count,
                              struct season_clock *out, bool *fell);
void season_clock_free(struct season_clock *clock);

/* Engine hours at an instant, between and beyond the known ones; NaN without an hour meter. */
double season_hours(const struct season_clock *clock, double at);

/* Years of use, or of the calendar, at an instant. */
double season_use(const struct season_clock *clock, double at);

/* The instant of a use, if `share` times the usual hours are run in a year from the last known
 * instant on. INFINITY for INFINITY and for what lies more than 60 years ahead. */
double season_date(const struct season_clock *clock, double use, double share);

#endif
