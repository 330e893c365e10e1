/* season_year.h - the part of the year in which a boat is used, told from its outings. Pure.
 *
 * Weed grows on hull and propeller from spring to autumn and goes at the lay-up: it adds load that
 * nobody records, and reads like fouling that comes and goes. What comes back every year at the
 * same time is told from what stays by how far an outing lies along the season.
 */
#ifndef SEARUN_SEASON_YEAR_H
#define SEARUN_SEASON_YEAR_H

#include <stddef.h>

struct season_year {
    double start;  /* share of a year since 1970-01-01 at which the season begins, 0 .. 1 */
    double length; /* of the season, share of a year; 0: none can be told */
};

/* `at` in s since 1970, in any order. The season is what the longest part of the year without any
 * outing leaves; a boat that is used all year round has none. `scratch` has room for `count`
 * numbers. */
void season_year_make(const double *at, size_t count, double *scratch, struct season_year *out);

/* How far along the season an instant lies: 0 at its beginning, 1 at its end and through the
 * lay-up; 0 if there is no season. */
double season_year_share(const struct season_year *year, double at);

#endif
