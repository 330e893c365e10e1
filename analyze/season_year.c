/* season_year.c - see season_year.h. */
#include "season_year.h"

#include <math.h>
#include <stdlib.h>

#include "season_clock.h"

#define LAID_UP 0.2  /* share of a year without an outing that counts as a lay-up */
#define OUTINGS 4    /* below which nothing can be said of the year */
#define SHORTEST 0.1 /* share of a year; less than that is no season to grow weed in */

static double phase_of(double at)
{
    return at / YEAR_SECONDS - floor(at / YEAR_SECONDS);
}

static int by_value(const void *left, const void *right)
{
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

void season_year_make(const double *at, size_t count, double *scratch, struct season_year *out)
{
    double longest = 0;
    *out = (struct season_year){0, 0};
    if (count < OUTINGS)
        return;
    for (size_t i = 0; i < count; i++)
        scratch[i] = phase_of(at[i]);
    qsort(scratch, count, sizeof *scratch, by_value);
    for (size_t i = 0; i < count; i++) {
        double before = i > 0 ? scratch[i - 1] : scratch[count - 1] - 1;
        if (scratch[i] - before > longest) {
            longest = scratch[i] - before;
            out->start = scratch[i];
        }
    }
    out->length = longest >= LAID_UP && 1 - longest >= SHORTEST ? 1 - longest : 0;
}

double season_year_share(const struct season_year *year, double at)
{
    double along = phase_of(at) - year->start;
    along -= floor(along);
    return year->length > 0 ? fmin(along / year->length, 1) : 0;
}
