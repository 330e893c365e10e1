/* fleet_score.c - see fleet_score.h. */
#include "fleet_score.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define PATH_ROOM 800
#define YEAR_S 31557600.0
#define NEVER_YEARS 30.0 /* the analyzer looks no further */
#define ALARM 98.0       /* degC, as model_facts says */
#define EVERY 2          /* s between readings */

/* --- families */

static void as_it_is(struct fleet_plan *plan)
{
    (void)plan;
}

static void asymptotic(struct fleet_plan *plan)
{
    plan->growth = FLEET_ASYMPTOTIC;
}

static void unserved(struct fleet_plan *plan)
{
    plan->services = false;
}

static void just_served(struct fleet_plan *plan)
{
    plan->late_service = true;
}

static void with_fuel(struct fleet_plan *plan)
{
    plan->fuel = true;
}

static void sentences(struct fleet_plan *plan)
{
    plan->flavour = RUN_LIKE_0183;
}

static void unrated(struct fleet_plan *plan)
{
    plan->plate = false;
}

static void twin(struct fleet_plan *plan)
{
    plan->engines = 2;
}

static void few_seasons(struct fleet_plan *plan)
{
    plan->seasons = 4;
}

static void weedy(struct fleet_plan *plan)
{
    plan->hull = 0.05;
}

static void restless(struct fleet_plan *plan)
{
    plan->restless = 0.5;
}

static void coarse_gauge(struct fleet_plan *plan)
{
    plan->gauge_step = 5;
    plan->gauge_degf = true;
    plan->flavour = RUN_LIKE_0183;
}

/* Somebody who reads by hand keeps the throttle still for it. */
static void by_hand(struct fleet_plan *plan, double step, bool degf)
{
    plan->hand = FLEET_BY_HAND;
    plan->hand_step = step;
    plan->hand_degf = degf;
    plan->restless = 0;
}

static void sheet_degf(struct fleet_plan *plan)
{
    by_hand(plan, 5, true);
}

static void sheet_degc(struct fleet_plan *plan)
{
    by_hand(plan, 1, false);
}

static void sheet_infrared(struct fleet_plan *plan)
{
    by_hand(plan, 0.1, false);
    plan->infrared = true;
}

static void sheet_then_bus(struct fleet_plan *plan)
{
    by_hand(plan, 5, true);
    plan->hand = FLEET_HAND_THEN_BUS;
}

const struct fleet_family fleet_families[] = {
    {"linear", "fouling grows steadily, ten seasons", 0.85, as_it_is},
    {"limit", "fouling grows towards a limit", 0.80, asymptotic},
    {"unserved", "never served", 0.80, unserved},
    {"served", "cleaned last winter, one or two outings since", 0.80, just_served},
    {"fuel", "fuel rate recorded", 0.85, with_fuel},
    {"sentences", "NMEA 0183, steps of 0.1 K, no hour meter", 0.85, sentences},
    {"unrated", "nobody knows the thermostat", 0.85, unrated},
    {"twin", "two engines", 0.85, twin},
    {"few", "four seasons", 0.85, few_seasons},
    {"restless", "half of the outings without a hold", 0.80, restless},
    {"gauge", "a gauge in steps of 5 degF", 0.85, coarse_gauge},
    {"weedy", "weed adds 5 % of load from spring to autumn, nothing tells it", 0.85, weedy},
    {"sheet-5F", "every run a sheet, gauge read to 5 degF", 0.85, sheet_degf},
    {"sheet-1C", "every run a sheet, gauge read to 1 degC", 0.85, sheet_degc},
    {"sheet-infrared", "every run a sheet, infrared thermometer right to 2 degC", 0.85,
     sheet_infrared},
    {"sheet-bus", "five seasons of sheets (5 degF), then an instrument network", 0.85,
     sheet_then_bus},
};
const size_t fleet_family_count = sizeof fleet_families / sizeof *fleet_families;

const struct fleet_family *fleet_family_find(const char *key)
{
    for (size_t i = 0; i < fleet_family_count; i++)
        if (strcmp(fleet_families[i].key, key) == 0)
            return &fleet_families[i];
    return NULL;
}

void fleet_family_plan(const struct fleet_family *family, uint64_t seed, struct fleet_plan *plan)
{
    fleet_plan_default(plan);
    plan->seed = seed;
    family->bend(plan);
}

const char *const fleet_what_words[FLEET_WHATS] = {
    [FLEET_TREND] = "trend",
    [FLEET_TREND_FEW] = "trend, too few outings",
    [FLEET_STEP] = "service step",
    [FLEET_STEP_FULL] = "... at full throttle",
    [FLEET_NOW] = "reading at the last outing",
    [FLEET_DATE] = "date of the alarm",
    [FLEET_DATE_BORROWED] = "... by an earlier fouling rate",
    [FLEET_PAIR_TREND] = "one engine over the other, trend",
    [FLEET_PAIR_STEP] = "... service step",
};

/* --- checking an answer */

struct checking {
    const struct fleet_boat *boat;
    const struct seasons *seasons;
    struct fleet_boat_score *score;
};

static void add_check(const struct checking *c, enum fleet_what what, double truth,
                      struct interval found)
{
    if (c->score->count < FLEET_CHECKS_MAX && !isnan(found.value) && !isnan(truth))
        c->score->check[c->score->count++] = (struct fleet_check){what, truth, found};
}

/* The warmest sea as it really is: the analyzer knows it as this boat's thermometer shows it. */
static double warmest_sea(const struct checking *c)
{
    return c->seasons->boats[0].warmest_sea - c->boat->base.sea_sender.offset;
}

/* ln of the open rise at standard conditions, of an engine or of one over another. */
static double log_rise(const struct checking *c, int first, int second, double hours)
{
    const double rpm = c->seasons->boats[0].reference_rpm;
    double rise = fleet_log_rise(c->boat, (size_t)first, hours, rpm);
    if (second >= 0)
        rise -= fleet_log_rise(c->boat, (size_t)second, hours, rpm);
    return rise;
}

static double hours_at(const struct checking *c, double at)
{
    return fleet_hours_at(c->boat, (int64_t)at);
}

static double years_between(const struct checking *c, const struct season_series *series,
                            double from, double to)
{
    return series->by_hours ? (hours_at(c, to) - hours_at(c, from)) / series->hours_a_year
                            : (to - from) / YEAR_S;
}

static void check_trends(const struct checking *c, const struct season_series *series, int first,
                         int second)
{
    for (size_t i = 0; i < series->segment_count; i++) {
        const struct season_segment *segment = &series->segments[i];
        const double years = years_between(c, series, segment->from, segment->to);
        if (years < 0.051)
            continue;
        const double rose = log_rise(c, first, second, hours_at(c, segment->to)) -
                            log_rise(c, first, second, hours_at(c, segment->from));
        add_check(c,
                  second >= 0       ? FLEET_PAIR_TREND
                  : segment->enough ? FLEET_TREND
                                    : FLEET_TREND_FEW,
                  expm1(rose) / years, segment->growth);
    }
}

/* Model hours just before the first and at the last restoring service between two instants. */
static bool find_service(const struct checking *c, double from, double to, double *before,
                         double *after)
{
    bool found = false;
    for (size_t i = 0; i < c->boat->service_count; i++) {
        const struct fleet_service *service = &c->boat->service[i];
        if (service->work == FLEET_ZINC || (double)service->unix_s < from ||
            (double)service->unix_s > to)
            continue;
        if (!found)
            *before = service->hours - 1e-9;
        *after = service->hours;
        found = true;
    }
    return found;
}

static void check_steps(const struct checking *c, const struct season_series *series, int first,
                        int second)
{
    for (size_t i = 0; i < series->step_count; i++) {
        const struct season_step *step = &series->steps[i];
        double before, after;
        if (!find_service(c, series->segments[i].to, series->segments[i + 1].from, &before, &after))
            continue;
        const double ratio =
            exp(log_rise(c, first, second, after) - log_rise(c, first, second, before));
        add_check(c, second >= 0 ? FLEET_PAIR_STEP : FLEET_STEP, ratio, step->ratio);
        if (second >= 0)
            continue;
        const double rpm = c->seasons->engines[first].full_rpm, sea = warmest_sea(c);
        add_check(c, FLEET_STEP_FULL,
                  fleet_reading(c->boat, (size_t)first, after, rpm, sea) -
                      fleet_reading(c->boat, (size_t)first, before, rpm, sea),
                  step->full);
    }
}

static double years_from(double now, double at)
{
    return (at - now) / YEAR_S;
}

static void check_outlook(const struct checking *c, size_t e)
{
    const struct season_engine *engine = &c->seasons->engines[e];
    const struct season_forecast *f = &engine->forecast;
    if (engine->series.point_count == 0)
        return;
    const double now = engine->series.points[engine->series.point_count - 1].at;
    const size_t number = (size_t)engine->instance;
    c->score->outlook[f->outlook]++;
    add_check(c, FLEET_NOW,
              fleet_reading(c->boat, number, hours_at(c, now), engine->full_rpm, warmest_sea(c)),
              f->now);
    const double hours = fleet_alarm_hours(c->boat, number, hours_at(c, now), engine->full_rpm,
                                           warmest_sea(c), ALARM);
    double years = isinf(hours) ? INFINITY : years_from(now, (double)fleet_unix_at(c->boat, hours));
    years = years < NEVER_YEARS ? fmax(years, 0) : INFINITY;
    const struct interval found = {years_from(now, f->at.value), years_from(now, f->at.low),
                                   years_from(now, f->at.high)};
    add_check(c, f->borrowed ? FLEET_DATE_BORROWED : FLEET_DATE, years, found);
}

static void check_all(const struct checking *c)
{
    const struct seasons *seasons = c->seasons;
    for (size_t e = 0; e < seasons->engine_count; e++) {
        const struct season_engine *engine = &seasons->engines[e];
        check_trends(c, &engine->series, engine->instance, -1);
        check_steps(c, &engine->series, engine->instance, -1);
        check_outlook(c, e);
        c->score->left_out += engine->left_out_count;
    }
    for (size_t p = 0; p < seasons->pair_count; p++) {
        const struct season_pair *pair = &seasons->pairs[p];
        const int first = seasons->engines[pair->first].instance;
        const int second = seasons->engines[pair->second].instance;
        check_trends(c, &pair->series, first, second);
        check_steps(c, &pair->series, first, second);
    }
}

/* --- one boat */

/* Of CPU: others may be using the machine. */
static double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void remove_boat(const struct fleet_boat *boat, const char *folder)
{
    char path[PATH_ROOM], name[FLEET_NAME_ROOM];
    for (size_t i = 0; i < boat->outing_count; i++) {
        fleet_run_name(boat, i, name);
        snprintf(path, sizeof path, "%s/%s", folder, name);
        unlink(path);
    }
    snprintf(path, sizeof path, "%s/truth.json", folder);
    unlink(path);
    snprintf(path, sizeof path, "%s/" FLEET_SERVICES_NAME, folder);
    unlink(path);
    rmdir(folder);
}

static enum status analyze(const struct fleet_analyzer *analyzer, char *folder,
                           struct seasons *seasons, struct complaint *complaint)
{
    const struct seasons_paths paths = {
        .count = 1, .list = &folder, .reading = {.no_cache = true, .processes = 1}};
    analyzer->set_defaults(&seasons->options);
    enum status status = analyzer->read(&paths, seasons, complaint);
    if (status == STATUS_OK)
        status = analyzer->solve(seasons, complaint);
    return status;
}

void fleet_score_boat(const struct fleet_family *family, uint64_t seed, uint64_t number,
                      const char *folder, const struct fleet_analyzer *analyzer,
                      struct fleet_boat_score *out)
{
    struct complaint complaint = {""};
    struct fleet_plan plan;
    struct fleet_boat *boat = malloc(sizeof *boat);
    struct seasons *seasons = calloc(1, sizeof *seasons);
    char own[PATH_ROOM - 60];
    enum status status = boat && seasons ? STATUS_OK : STATUS_MEMORY;
    memset(out, 0, sizeof *out);
    snprintf(own, sizeof own, "%s/%s-%llu", folder, family->key, (unsigned long long)number);
    if (!status) {
        fleet_family_plan(family, seed, &plan);
        fleet_draw(&plan, number, boat);
        status = mkdir(own, 0700) == 0
                     ? fleet_write(boat, EVERY, own, analyzer->make_run, &complaint)
                     : STATUS_IO;
    }
    if (!status) {
        const double start = seconds_now();
        const struct checking checking = {boat, seasons, out};
        status = analyze(analyzer, own, seasons, &complaint);
        out->seconds = seconds_now() - start;
        out->outings = boat->outing_count;
        out->day = seasons->engine_count > 0 ? seasons->engines[0].series.day : (double)NAN;
        if (!status)
            check_all(&checking);
    }
    out->done = status == STATUS_OK;
    if (!out->done)
        snprintf(out->failure, sizeof out->failure, "%.150s", complaint.text);
    if (boat)
        remove_boat(boat, own);
    if (seasons)
        analyzer->release(seasons);
    free(seasons);
    free(boat);
}

/* --- many boats */

bool fleet_held(const struct fleet_check *check)
{
    /* A day either way: the truth of an alarm that sounds already lies at the last outing
     * itself. */
    const bool dated = check->what == FLEET_DATE || check->what == FLEET_DATE_BORROWED;
    const double slack = dated ? 1.0 / 365 : 0;
    return check->truth >= check->found.low - slack && check->truth <= check->found.high + slack;
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *values, size_t count)
{
    qsort(values, count, sizeof *values, by_value);
    return count > 0 ? values[count / 2] : NAN;
}

void fleet_tally(const struct fleet_boat_score *scores, size_t count, enum fleet_what what,
                 struct fleet_tally *out)
{
    double *half = calloc(2 * count * FLEET_CHECKS_MAX + 1, sizeof *half);
    double *off = half ? half + count * FLEET_CHECKS_MAX : NULL;
    size_t offs = 0;
    *out = (struct fleet_tally){0, 0, NAN, NAN, NAN, NAN};
    for (size_t i = 0; i < count && half; i++)
        for (size_t k = 0; k < scores[i].count; k++) {
            const struct fleet_check *check = &scores[i].check[k];
            if (check->what != what)
                continue;
            half[out->intervals++] = 0.5 * (check->found.high - check->found.low);
            out->held += fleet_held(check);
            if (isfinite(check->truth) && isfinite(check->found.value))
                off[offs++] = check->found.value - check->truth;
        }
    if (out->intervals > 0) {
        const double n = (double)out->intervals;
        out->share = (double)out->held / n;
        out->error = sqrt(fmax(out->share * (1 - out->share), 0.25 / n) / n);
        out->half = median(half, out->intervals);
        out->bias = median(off, offs);
    }
    free(half);
}
