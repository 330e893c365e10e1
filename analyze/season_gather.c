/* season_gather.c - see season_gather.h. */
#include "season_gather.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "estimate.h"
#include "evidence.h"
#include "lag.h"
#include "season_sender.h"
#include "service_log.h"
#include "stats.h"

#define RATING_U 1.0 /* K, of a thermostat if nothing is recorded */
#define SHUT_MARGIN 2.0
#define SHUT_SLACK 1.0 /* K */
#define SEA_U 0.15     /* K, of a sea sensor from day to day; what stays the same does no harm */
#define SEA_HAND_U 0.7 /* K, of one typed in */
#define LOAD_SHARE 0.8 /* of outings that must tell the load before it is used */
#define LOAD_FULL 99.5 /* percent; above it the number no longer follows the load */
#define MANY_LAGS 64
#define SPEED_POWER 1.9 /* ln K over ln speed, see evidence.c */

void gathered_free(struct gathered *gathered)
{
    free(gathered->holds);
    free(gathered->levels);
    free(gathered->runs);
    *gathered = (struct gathered){0};
}

bool season_event_is_of(const struct seasons *seasons, const struct season_event *event,
                        size_t boat, int instance)
{
    const char *name = seasons->boats[boat].name;
    bool of_boat = event->boat[0] == '\0' || service_same_words(event->boat, name, strlen(name));
    return of_boat && (event->engine < 0 || event->engine == instance);
}

const struct outing_engine *season_engine_in(const struct seasons *seasons,
                                             const struct season_engine *engine, size_t outing)
{
    const struct outing *run = &seasons->outings[outing];
    if (seasons->outing_boat[outing] != engine->boat)
        return NULL;
    for (size_t i = 0; i < run->engine_count; i++) {
        int instance = run->engines[i].instance;
        const char *serial = facts_get(&run->facts, FACT_ENGINE, instance, "serial");
        bool both = serial[0] != '\0' && engine->serial[0] != '\0';
        if (both ? strcasecmp(serial, engine->serial) == 0 : instance == engine->instance)
            return &run->engines[i];
    }
    return NULL;
}

/* --- what was in the engine on that day */

/* How often the thermostat was changed before a time. */
static size_t count_before(const struct seasons *seasons, const struct season_engine *engine,
                           double at)
{
    size_t count = 0;
    for (size_t i = 0; i < seasons->event_count; i++) {
        const struct season_event *event = &seasons->events[i];
        count += event->at <= at && event->new_thermostat &&
                 season_event_is_of(seasons, event, engine->boat, engine->instance);
    }
    return count;
}

/* The one of the first outing is 0; more than there is room for share the last. */
static void number_thermostats(const struct seasons *seasons, const struct season_engine *engine,
                               struct gathered *g)
{
    size_t first = 0;
    for (size_t r = 0; r < g->run_count; r++) {
        double at = (double)seasons->outings[g->runs[r].outing].start_unix_us * 1e-6;
        size_t count = count_before(seasons, engine, at);
        first = r == 0 ? count : first;
        count -= first;
        g->levels[r].thermostat = count < LEVELS_THERMOSTATS ? count : LEVELS_THERMOSTATS - 1;
        g->thermostats = g->levels[r].thermostat + 1;
    }
}

static void rate_from_facts(const struct seasons *seasons, const struct season_engine *engine,
                            struct gathered *g)
{
    for (size_t r = 0; r < g->run_count; r++) {
        const struct outing *outing = &seasons->outings[g->runs[r].outing];
        int instance = season_engine_in(seasons, engine, g->runs[r].outing)->instance;
        size_t t = g->levels[r].thermostat;
        double u;
        if (isnan(g->start[t]) &&
            facts_pair(&outing->facts, instance, "thermostat", &g->start[t], &g->full[t]))
            g->thermostat_from = "run file";
        if (isnan(g->thermostat_u) &&
            facts_number(&outing->facts, instance, "thermostat_uncertainty", &u))
            g->thermostat_u = u;
    }
}

/* A thermostat whose rating nobody recorded is taken to be like its neighbours. */
static void rate_thermostats(const struct seasons *seasons, const struct season_engine *engine,
                             struct gathered *g)
{
    const struct seasons_options *o = &seasons->options;
    bool given = isfinite(o->thermostat_start) && isfinite(o->thermostat_full);
    g->thermostat_from = given ? "given" : "unknown";
    g->thermostat_u = o->thermostat_u;
    for (size_t t = 0; t < LEVELS_THERMOSTATS; t++) {
        g->start[t] = given ? o->thermostat_start : (double)NAN;
        g->full[t] = given ? o->thermostat_full : (double)NAN;
    }
    rate_from_facts(seasons, engine, g);
    for (size_t t = 1; t < LEVELS_THERMOSTATS; t++)
        if (isnan(g->start[t])) {
            g->start[t] = g->start[t - 1];
            g->full[t] = g->full[t - 1];
        }
    for (size_t t = LEVELS_THERMOSTATS - 1; t-- > 0;)
        if (isnan(g->start[t])) {
            g->start[t] = g->start[t + 1];
            g->full[t] = g->full[t + 1];
        }
    if (isnan(g->thermostat_u))
        g->thermostat_u = RATING_U;
}

/* --- holds */

static bool usable(const struct hold *hold, double start, double start_u)
{
    return hold->refusal == REFUSAL_NONE && hold->rpm > 0 && isfinite(hold->coolant) &&
           isfinite(hold->sea) && hold->sea < hold->coolant &&
           !(hold->coolant < start - SHUT_MARGIN * start_u - SHUT_SLACK);
}

/* Where a run has nothing to use: why. */
static const char *why_not(const struct outing_engine *engine, bool shut)
{
    size_t no_sea = 0;
    if (engine->speed_source[0] == '\0')
        return "no engine speed was recorded";
    if (engine->coolant_source[0] == '\0')
        return "no coolant temperature was recorded";
    if (engine->sea_source[0] == '\0' && !engine->sea_by_hand)
        return "no sea temperature was recorded";
    for (size_t i = 0; i < engine->hold_count; i++)
        no_sea += engine->holds[i].refusal == REFUSAL_NONE && !isfinite(engine->holds[i].sea);
    if (no_sea > 0)
        return "no sea temperature during its steady stretches";
    for (size_t i = 0; i < engine->hold_count; i++)
        if (engine->holds[i].refusal == REFUSAL_UNHELD)
            return "its sheet does not say how long each speed was held; add the line \"held,5 "
                   "min\" above the table and read it in again";
    if (shut)
        return "the coolant stayed below the start of the thermostat";
    return "no speed was held steadily for two and a half minutes with a warm engine";
}

static enum status leave_out(struct season_engine *engine, size_t outing, const char *why)
{
    struct season_left_out *grown =
        realloc(engine->left_out, (engine->left_out_count + 1) * sizeof *grown);
    if (!grown)
        return STATUS_MEMORY;
    engine->left_out = grown;
    struct season_left_out *row = &grown[engine->left_out_count++];
    row->outing = outing;
    snprintf(row->why, sizeof row->why, "%s", why);
    return STATUS_OK;
}

/* A reading by hand stands alone: nothing averages its rounding away; and one does not show whether
 * it still moved: half of what may be left of the way from the hold before is taken, give or take
 * the other half (see evidence.c). What comes anew every run is spread so that the mean of the run
 * keeps it. */
static void hand_hold(const struct outing_engine *from, const struct hold *hold, double holds,
                      struct level_hold *to)
{
    double rounding = from->coolant_step / sqrt(12.0);
    double left = exp(-(hold->end - hold->start) / ESTIMATE_LAG);
    const struct hold *last = hold > from->holds ? hold - 1 : NULL;
    double moved = last && isfinite(last->coolant) ? hold->coolant - last->coolant : 0;
    to->slope = 0.5 * moved * left / (1 - left) / ESTIMATE_LAG;
    to->reading_u = hypot(rounding * sqrt(holds), hypot(from->coolant_u, to->slope * ESTIMATE_LAG));
}

static void add_accuracy(const struct outing_engine *from, const struct hold *hold, double holds,
                         struct level_hold *to)
{
    if (from->by_hand)
        hand_hold(from, hold, holds, to);
    to->reading_u = hypot(to->reading_u, from->coolant_run_u * sqrt(holds));
    to->extra_u = hypot(to->extra_u, SPEED_POWER * from->speed_u / hold->rpm);
}

static void take_hold(struct gathered *g, const struct outing_engine *from, double holds,
                      const struct hold *hold)
{
    struct gathered_run *run = &g->runs[g->run_count];
    struct level_hold *to = &g->holds[g->hold_count++];
    *to = (struct level_hold){
        .run = g->run_count,
        .rpm = hold->rpm,
        .coolant = hold->coolant,
        .sea = hold->sea,
        .slope = isfinite(hold->coolant_slope) ? hold->coolant_slope : 0,
        .reading_u = evidence_reading_u(from->coolant_step, hold->coolant_sd),
        .extra_u = evidence_warming_u(hold->used_from, hold->end),
    };
    add_accuracy(from, hold, holds, to);
    run->rpm_low = fmin(run->rpm_low, hold->rpm);
    run->rpm_high = fmax(run->rpm_high, hold->rpm);
    run->sea += hold->sea;
    run->level_u += 1 / (hold->coolant - hold->sea);
}

/* The ratings are not known yet when holds are taken, but for what the run itself or an option
 * says. */
static void own_start(const struct seasons *seasons, size_t outing, int instance, double *start,
                      double *u)
{
    const struct facts *facts = &seasons->outings[outing].facts;
    double full;
    *start = seasons->options.thermostat_start;
    *u = seasons->options.thermostat_u;
    if (isnan(*start) && !facts_pair(facts, instance, "thermostat", start, &full))
        *start = NAN;
    if (isnan(*u) && !facts_number(facts, instance, "thermostat_uncertainty", u))
        *u = RATING_U;
}

static enum status take_run(const struct seasons *seasons, struct season_engine *engine,
                            size_t outing, const struct outing_engine *from, struct gathered *g)
{
    struct gathered_run *run = &g->runs[g->run_count];
    double start, u, before = (double)g->hold_count;
    bool shut = false;
    own_start(seasons, outing, from->instance, &start, &u);
    size_t count = 0;
    for (size_t i = 0; i < from->hold_count; i++)
        count += usable(&from->holds[i], start, u);
    *run = (struct gathered_run){.outing = outing, .rpm_low = NAN, .rpm_high = NAN, .load = NAN};
    for (size_t i = 0; i < from->hold_count; i++) {
        shut = shut || (usable(&from->holds[i], NAN, 0) && !usable(&from->holds[i], start, u));
        if (usable(&from->holds[i], start, u))
            take_hold(g, from, (double)count, &from->holds[i]);
    }
    double holds = (double)g->hold_count - before;
    if (holds == 0)
        return leave_out(engine, outing, why_not(from, shut));
    run->sea /= holds;
    run->sea_u = from->sea_by_hand ? SEA_HAND_U : SEA_U;
    run->level_u *= run->sea_u / holds;
    g->run_count++;
    return STATUS_OK;
}

/* --- load */

static double load_of(const struct hold *hold, bool fuel)
{
    double value = fuel ? hold->fuel_rate : hold->load;
    return value > 0 && (fuel || value < LOAD_FULL) ? log(value) : (double)NAN;
}

/* Rows of ln load against ln speed, one a usable hold that tells it. */
struct load_rows {
    double *design, *y;
    size_t *run, count;
};

static void add_load_rows(const struct seasons *seasons, const struct season_engine *engine,
                          const struct gathered *g, bool fuel, struct load_rows *rows)
{
    for (size_t r = 0; r < g->run_count; r++) {
        const struct outing_engine *from = season_engine_in(seasons, engine, g->runs[r].outing);
        for (size_t i = 0; i < from->hold_count; i++) {
            double value = load_of(&from->holds[i], fuel);
            if (!isfinite(value) || !usable(&from->holds[i], NAN, 0))
                continue;
            double x = log(from->holds[i].rpm / engine->reference_rpm);
            double *row = rows->design + 3 * rows->count;
            row[0] = 1;
            row[1] = x;
            row[2] = x * x;
            rows->y[rows->count] = value;
            rows->run[rows->count++] = r;
        }
    }
}

static bool told_often_enough(const struct gathered *g, const struct load_rows *rows)
{
    size_t told = 0;
    for (size_t i = 0; i < rows->count; i++)
        told += i == 0 || rows->run[i] != rows->run[i - 1];
    return g->run_count >= 3 && (double)told >= LOAD_SHARE * (double)g->run_count;
}

/* The mean residual of each run about one curve for all; runs that tell nothing keep NaN. */
static enum status take_residuals(struct gathered *g, const struct load_rows *rows)
{
    struct regression curve = {0};
    double beta[3], sum = 0;
    enum status status = regression_prepare(&curve, rows->design, NULL, rows->count, 3);
    size_t columns = 3;
    if (status == STATUS_BAD_DATA)
        return STATUS_OK; /* one speed only: there is no curve, and no load is used */
    if (!status)
        regression_solve(&curve, rows->y, beta);
    for (size_t i = 0, n = 0; i < rows->count && !status; i++) {
        double residual = rows->y[i];
        for (size_t c = 0; c < columns; c++)
            residual -= beta[c] * rows->design[columns * i + c];
        bool first = i == 0 || rows->run[i] != rows->run[i - 1];
        sum = first ? residual : sum + residual;
        n = first ? 1 : n + 1;
        g->runs[rows->run[i]].load = sum / (double)n;
    }
    regression_free(&curve);
    return status;
}

static enum status find_load(const struct seasons *seasons, const struct season_engine *engine,
                             struct gathered *g, size_t room)
{
    enum status status = STATUS_OK;
    struct load_rows rows = {.design = calloc(4 * room + 1, sizeof *rows.design),
                             .run = calloc(room + 1, sizeof *rows.run)};
    if (!rows.design || !rows.run)
        status = STATUS_MEMORY;
    g->load_from = "assumed";
    for (int fuel = 1; fuel >= 0 && !status && strcmp(g->load_from, "assumed") == 0; fuel--) {
        rows.y = rows.design + 3 * room;
        rows.count = 0;
        add_load_rows(seasons, engine, g, fuel == 1, &rows);
        if (!told_often_enough(g, &rows))
            continue;
        status = take_residuals(g, &rows);
        if (isfinite(g->runs[rows.run[0]].load))
            g->load_from = fuel ? "fuel_rate" : "load";
    }
    free(rows.design);
    free(rows.run);
    return status;
}

/* --- the time constant */

static void pool_lags(const struct seasons *seasons, const struct season_engine *engine,
                      struct gathered *g)
{
    struct lag lags[MANY_LAGS];
    size_t count = 0;
    g->lag_rpm = 0;
    for (size_t r = g->run_count; r-- > 0;) {
        const struct outing_engine *from = season_engine_in(seasons, engine, g->runs[r].outing);
        g->lag_rpm = fmax(g->lag_rpm, g->runs[r].rpm_high);
        if (count < MANY_LAGS && from->lag_steps > 0)
            lags[count++] = (struct lag){from->lag, from->lag_u, from->lag_steps};
    }
    struct lag lag = lag_pool(lags, count);
    g->lag = isfinite(lag.seconds) ? lag.seconds : ESTIMATE_LAG;
    g->lag_u = isfinite(lag.u) ? lag.u : ESTIMATE_LAG_U;
}

static enum status take_runs(const struct seasons *seasons, struct season_engine *engine,
                             struct gathered *out)
{
    enum status status = STATUS_OK;
    for (size_t o = 0; o < seasons->outing_count && !status; o++) {
        const struct outing_engine *from = season_engine_in(seasons, engine, o);
        if (from)
            status = take_run(seasons, engine, o, from, out);
    }
    return status;
}

enum status season_gather(const struct seasons *seasons, struct season_engine *engine,
                          struct gathered *out)
{
    size_t holds = 0;
    *out = (struct gathered){0};
    for (size_t o = 0; o < seasons->outing_count; o++) {
        const struct outing_engine *from = season_engine_in(seasons, engine, o);
        holds += from ? from->hold_count : 0;
    }
    out->holds = calloc(holds + 1, sizeof *out->holds);
    out->levels = calloc(seasons->outing_count + 1, sizeof *out->levels);
    out->runs = calloc(seasons->outing_count + 1, sizeof *out->runs);
    if (!out->holds || !out->levels || !out->runs)
        return STATUS_MEMORY;
    enum status status = take_runs(seasons, engine, out);
    if (status)
        return status;
    number_thermostats(seasons, engine, out);
    status = season_sender_number(seasons, engine, out);
    if (status)
        return status;
    rate_thermostats(seasons, engine, out);
    pool_lags(seasons, engine, out);
    return find_load(seasons, engine, out, holds);
}
