/* season_trend.h - how the open rise of one engine grows from service to service. Pure.
 *
 * The level of an outing (season_levels.h) is
 *     level = carry * ln F(t) + sea effect * sea + load effect * load + season effect * season
 *             + day + what its holds leave unsure
 * and F, the open rise over its mean, is a line in use within each stretch between two services (a
 * layer that grows steadily adds to the resistance steadily), or tends to a limit, F = A + B (1 -
 * exp(-age / time)). Stretches have levels of their own, and slopes that are alike as far as the
 * outings say so. The day's part (load, hull, weather) has a standard deviation and a reach in
 * time, both found from the outings with prior knowledge that counts for two of them; all of that
 * is weighed on a grid, and every interval is taken over the whole grid, so that few outings give
 * wide intervals.
 *
 * What the shared parameters (thermostat ...) may be off by is drawn and carried through, but not
 * learned from the levels: how far a parameter moves a level depends on the very reading of that
 * day, and would take true changes for faults of the thermostat.
 */
#ifndef SEARUN_SEASON_TREND_H
#define SEARUN_SEASON_TREND_H

#include <gsl/gsl_rng.h>

#include "season_gls.h"
#include "season_levels.h"

#define SEGMENTS_MAX 40

struct trend_run {
    double at;  /* years of the calendar: days near each other are alike */
    double use; /* years of use (season_clock.h): what fouling grows with */
    size_t segment;
    double level, variance; /* of ln K at the reference speed */
    double carry;       /* 1 for holds at the reference speed; fouling tells more at higher ones */
    double sea;         /* K above the reference sea */
    double load;        /* ln of the heat load over what is usual at that speed; 0: not known */
    double season;      /* how far along the season, 0 .. 1 (season_year.h) */
    const double *lean; /* LEVEL_PARAMETERS; NULL: none */
};

struct trend_job {
    size_t run_count; /* with a level; rising in `at` */
    const struct trend_run *runs;
    size_t segment_count;
    double from[SEGMENTS_MAX]; /* years of use: where each stretch begins */
    const double *covariance;  /* of the shared parameters; NULL: no lean */
    double tends;              /* years to the limit; 0: straight lines */
    double season_u;           /* of ln K: what a season may add that comes and goes every year */
};

/* One draw of everything, or its middle. */
struct trend_state {
    double base;                                     /* ln K of F = 1 */
    double sea;                                      /* effect on ln K, 1/K */
    double load;                                     /* effect of ln load */
    double season;                                   /* of ln K, from its beginning to its end */
    double day;                                      /* standard deviation of a day's part */
    double reach;                                    /* years over which days are alike */
    double level[SEGMENTS_MAX], slope[SEGMENTS_MAX]; /* A, B of each stretch */
    double shift[LEVEL_PARAMETERS];                  /* of the shared parameters from their fit */
};

struct trend_cell {
    double sigma, reach, spread; /* spread: of the slopes of the stretches, 1/year */
    double weight, cumulative;
    struct season_gls_fit fit;
    double *moves; /* owned: how far each shared parameter moves the coefficients */
};

struct trend_fit {
    size_t segment_count, run_count;
    double origin[SEGMENTS_MAX]; /* years of use: where the stretch's time counts from */
    double tends, base;
    size_t columns, lean_count;
    unsigned lean_index[LEVEL_PARAMETERS];
    double
        lean_factor[LEVEL_PARAMETERS * LEVEL_PARAMETERS]; /* Cholesky factor of their covariance */
    size_t cell_count;
    struct trend_cell *cells;  /* owned */
    double evidence;           /* ln of the density of all the data, up to a constant */
    struct trend_state middle; /* posterior means */
    double df; /* outings less coefficients, at least 1, with what prior knowledge counts for */
};

/* Fits; zero-initialise, trend_free in every case. STATUS_BAD_DATA without runs, STATUS_MEMORY. */
enum status trend_make(const struct trend_job *job, struct trend_fit *out);
void trend_free(struct trend_fit *fit);

/* One draw from what is left open. `scratch` holds TREND_SCRATCH(fit) numbers. */
#define TREND_SCRATCH(fit) (2 * (fit)->columns + 2 * LEVEL_PARAMETERS)
void trend_draw(const struct trend_fit *fit, gsl_rng *rng, double *scratch,
                struct trend_state *out);

/* F of a stretch at a use. At least 0.05. */
double trend_value(const struct trend_fit *fit, const struct trend_state *state, size_t segment,
                   double use);

/* The use at which F of a stretch reaches a value, not before `now`; INFINITY if it never does. */
double trend_reaches(const struct trend_fit *fit, const struct trend_state *state, size_t segment,
                     double value, double now);

#endif
