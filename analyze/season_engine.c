/* season_engine.c - one engine, or the ratio of two, over all outings. See seasons.h. */
#include "seasons.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "season_gather.h"
#include "season_series.h"

#define APART_U 0.005 /* of ln rise: what two engines of a boat do not share of a day's load */

bool season_done_between(const struct seasons *seasons, size_t boat, int first, int second,
                         double from, double to, struct season_step *out)
{
    bool any = false;
    struct season_step step = {.at = NAN};
    for (size_t i = 0; i < seasons->event_count; i++) {
        const struct season_event *event = &seasons->events[i];
        bool its = season_event_is_of(seasons, event, boat, first) ||
                   (second >= 0 && season_event_is_of(seasons, event, boat, second));
        if (!event->step || !its || !(event->at > from && event->at <= to))
            continue;
        size_t length = strlen(step.what);
        if (!(event->guessed && strstr(step.what, event->what))) /* of both engines: named once */
            snprintf(step.what + length, sizeof step.what - length, "%s%s", any ? ", " : "",
                     event->what);
        step.at = any ? step.at : event->at;
        step.guessed = (any ? step.guessed : true) && event->guessed;
        step.sender_only = (any ? step.sender_only : true) && event->new_sender;
        any = true;
    }
    if (out && any)
        *out = step;
    return any;
}

/* --- an engine */

static enum status fill_points(const struct seasons *seasons, const struct season_engine *engine,
                               const struct gathered *g, struct season_series *series)
{
    series->points = calloc(g->run_count + 1, sizeof *series->points);
    if (!series->points)
        return STATUS_MEMORY;
    for (size_t r = 0; r < g->run_count; r++) {
        const struct gathered_run *run = &g->runs[r];
        const struct outing *outing = &seasons->outings[run->outing];
        series->points[series->point_count++] = (struct season_point){
            .outing = run->outing,
            .at = (double)outing->start_unix_us * 1e-6,
            .hours = season_engine_in(seasons, engine, run->outing)->hours,
            .sea = run->sea,
            .holds = g->levels[r].holds,
            .rpm_low = run->rpm_low,
            .rpm_high = run->rpm_high,
            .load = run->load,
            .level = g->levels[r].level,
            .level_u = hypot(sqrt(g->levels[r].variance), run->level_u),
        };
    }
    return STATUS_OK;
}

static enum status fit_levels(const struct season_engine *engine, const struct gathered *g,
                              struct level_fit *fit)
{
    struct level_job job = {
        .reference_rpm = engine->reference_rpm,
        .thermostat_u = hypot(g->thermostat_u, g->offset_u),
        .lag = g->lag,
        .lag_u = g->lag_u,
        .lag_rpm = g->lag_rpm,
        .hold_count = g->hold_count,
        .holds = g->holds,
        .run_count = g->run_count,
        .runs = g->levels,
    };
    memcpy(job.sender_u, g->sender_u, sizeof job.sender_u);
    memcpy(job.start, g->start, sizeof job.start);
    memcpy(job.full, g->full, sizeof job.full);
    return season_levels_fit(&job, fit);
}

/* Full throttle is the rated speed; where that is not recorded, the highest speed held. */
static void describe(const struct gathered *g, struct season_engine *engine)
{
    size_t last = g->thermostats > 0 ? g->thermostats - 1 : 0;
    double highest = NAN;
    for (size_t r = 0; r < g->run_count; r++)
        highest = fmax(highest, g->runs[r].rpm_high);
    engine->full_rpm = engine->rated_rpm > 0 ? engine->rated_rpm : highest;
    engine->thermostat_start = g->start[last];
    engine->thermostat_full = g->full[last];
    engine->thermostat_u = g->thermostat_u;
    engine->thermostat_from = g->thermostat_from;
    engine->load_from = g->load_from;
}

static enum status solve_engine(struct seasons *seasons, struct season_engine *engine,
                                const struct gathered *g)
{
    struct level_fit levels;
    describe(g, engine);
    enum status status = fit_levels(engine, g, &levels);
    if (!status)
        status = fill_points(seasons, engine, g, &engine->series);
    if (status)
        return status;
    engine->series.scatter = levels.scatter;
    struct season_balance balance = {
        .levels = &levels,
        .reference_rpm = engine->reference_rpm,
        .reference_sea = engine->reference_sea,
        .warmest_sea = engine->warmest_sea,
        .full_rpm = engine->full_rpm,
        .alarm = engine->alarm,
    };
    struct series_job job = {
        .seasons = seasons,
        .boat = engine->boat,
        .first = engine->instance,
        .second = -1,
        .series = &engine->series,
        .runs = g->levels,
        .balance = &balance,
        .forecast = &engine->forecast,
        .follows = &engine->follows,
    };
    return season_series_solve(&job);
}

enum status season_engine_solve(struct seasons *seasons, size_t index)
{
    struct season_engine *engine = &seasons->engines[index];
    struct gathered gathered;
    enum status status = season_gather(seasons, engine, &gathered);
    engine->thermostat_from = "unknown";
    engine->load_from = "assumed";
    if (!status && gathered.run_count > 0)
        status = solve_engine(seasons, engine, &gathered);
    gathered_free(&gathered);
    return status;
}

/* --- two engines */

/* The ratio of both; what they do not share of a day's load is part of it. */
static void pair_point(const struct season_point *a, const struct season_point *b,
                       struct season_point *out)
{
    *out = *a;
    out->level = a->level - b->level;
    out->level_u = hypot(hypot(a->level_u, b->level_u), APART_U);
    out->load = NAN;
    out->holds = a->holds + b->holds;
}

enum status season_pair_solve(struct seasons *seasons, size_t index)
{
    struct season_pair *pair = &seasons->pairs[index];
    const struct season_engine *a = &seasons->engines[pair->first];
    const struct season_engine *b = &seasons->engines[pair->second];
    struct season_series *series = &pair->series;
    series->points = calloc(a->series.point_count + 1, sizeof *series->points);
    if (!series->points)
        return STATUS_MEMORY;
    for (size_t i = 0, k = 0; i < a->series.point_count; i++) {
        while (k < b->series.point_count && b->series.points[k].outing < a->series.points[i].outing)
            k++;
        if (k < b->series.point_count && b->series.points[k].outing == a->series.points[i].outing)
            pair_point(&a->series.points[i], &b->series.points[k],
                       &series->points[series->point_count++]);
    }
    series->scatter = NAN;
    struct series_job job = {
        .seasons = seasons,
        .boat = a->boat,
        .first = a->instance,
        .second = b->instance,
        .series = series,
    };
    return season_series_solve(&job);
}
