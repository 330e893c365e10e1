/* season_series.h - from the points of one engine, or of the ratio of two, to lines, steps and
 * outlook. Pure. */
#ifndef SEARUN_SEASON_SERIES_H
#define SEARUN_SEASON_SERIES_H

#include "season_clock.h"
#include "season_levels.h"
#include "season_trend.h"
#include "seasons.h"

/* What turns an open rise at the reference into readings; of an engine only. */
struct season_balance {
    const struct level_fit *levels;
    size_t thermostat[SEGMENTS_MAX]; /* which one was in, for each stretch */
    double reference_rpm, reference_sea, warmest_sea, full_rpm, alarm;
};

struct series_job {
    const struct seasons *seasons;
    size_t boat;
    int first, second;                /* numbers of the engines; second -1: one engine */
    struct season_series *series;     /* points filled but for segment, rise and reading */
    const struct level_run *runs;     /* one a point; NULL: ratio */
    struct season_balance *balance;   /* NULL: ratio */
    struct season_forecast *forecast; /* NULL: ratio */
    struct interval *follows;         /* NULL: ratio */
};

/* Fills the series (and the forecast). A single point gives no line. STATUS_MEMORY. */
enum status season_series_solve(const struct series_job *job);

#endif
