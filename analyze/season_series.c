/* season_series.c - see season_series.h. */
#include "season_series.h"

#include <gsl/gsl_rng.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "season_year.h"
#include "stats.h"

#define DRAWS 3000
#define CURVE_POINTS 12 /* of each stretch */
#define AHEAD_POINTS 12
#define AHEAD_MOST 10.0
#define AHEAD_YEARS 3.0 /* that a line is drawn beyond the last outing, if no alarm comes before */
#define LOAD_MISSING_U                                                                             \
    0.02                  /* of ln rise: an outing that does not tell its load among some that do */
#define ENOUGH_POINTS 3   /* outings of a trend */
#define ENOUGH_YEARS 0.15 /* and years between the first and the last */
#define BORROW_POINTS 6   /* outings of all stretches with which the last one may borrow a slope */
#define VAGUE_LOW YEAR_SECONDS         /* an alarm that may come within a year ... */
#define VAGUE_VALUE (3 * YEAR_SECONDS) /* ... or never, and not likely soon, tells nothing */
#define HORIZON 30.0                   /* years; what lies beyond is not in sight */
#define TRENDS 5                       /* straight lines, and limits */
#define LIMIT_DOUBT 0.05               /* left for straight lines, where a limit is spoken of */
#define MORE 0.75  /* how fouling tells more at higher speeds: ln growth goes with 1 + this x, */
#define MORE_U 0.2 /* x = ln(rpm / reference): films thin with both flows (no source) */
#define TENDS_POINTS 8 /* outings below which no limit can be told from a line */
#define SEASON_U                                                                                   \
    0.025 /* of ln rise that weed may add over a season (common practice, no source) ... */
#define SEASON_LOAD_U 0.005 /* ... and what it may where all outings tell their load */
#define SEA_PRIOR_U 0.004   /* 1/K, see season_trend.c */
#define SEA_TOLD 0.6        /* share of it that may be left where the outings tell of the sea */

/* --- stretches */

static void split(const struct series_job *job)
{
    struct season_series *series = job->series;
    series->segment_count = series->point_count > 0;
    for (size_t i = 0; i < series->point_count; i++) {
        struct season_point *point = &series->points[i];
        struct season_step step;
        bool room = series->segment_count < SEGMENTS_MAX;
        if (i > 0 && room &&
            season_done_between(job->seasons, job->boat, job->first, job->second, point[-1].at,
                                point->at, &step)) {
            series->steps[series->step_count++] = step;
            series->segment_count++;
        }
        point->segment = series->segment_count - 1;
        struct season_segment *segment = &series->segments[point->segment];
        segment->from = segment->points == 0 ? point->at : segment->from;
        segment->to = point->at;
        segment->points++;
    }
    for (size_t s = 0; s < series->segment_count; s++) {
        struct season_segment *segment = &series->segments[s];
        segment->enough = segment->points >= ENOUGH_POINTS &&
                          segment->to - segment->from >= ENOUGH_YEARS * YEAR_SECONDS;
    }
}

/* --- the trend */

struct solving {
    const struct series_job *job;
    struct season_clock clock;
    struct season_year year;
    double common; /* as common_of has it, in the middle of everything */
    double season_u;
    struct trend_run *runs;
    size_t fit_count, best;
    struct trend_fit fits[TRENDS];
    double weight[TRENDS];
    double now; /* s: the last outing */
};

static enum status make_clock(struct solving *s)
{
    const struct season_series *series = s->job->series;
    bool fell;
    double *work = malloc((2 * series->point_count + 1) * sizeof *work);
    if (!work)
        return STATUS_MEMORY;
    for (size_t i = 0; i < series->point_count; i++) {
        work[i] = series->points[i].at;
        work[series->point_count + i] = series->points[i].hours;
    }
    enum status status =
        season_clock_make(work, work + series->point_count, series->point_count, &s->clock, &fell);
    season_year_make(work, series->point_count, work + series->point_count, &s->year);
    free(work);
    return status;
}

static void fill_run(const struct solving *s, size_t i)
{
    const struct season_point *point = &s->job->series->points[i];
    struct trend_run *run = &s->runs[i];
    bool some_load = s->job->balance != NULL && isnan(point->load);
    *run = (struct trend_run){
        .at = point->at / YEAR_SECONDS,
        .use = season_use(&s->clock, point->at),
        .segment = point->segment,
        .level = point->level,
        .variance = point->level_u * point->level_u,
        .sea = point->sea - s->job->seasons->boats[s->job->boat].reference_sea,
        .load = isfinite(point->load) ? point->load : 0,
        .season = s->job->balance ? season_year_share(&s->year, point->at) : 0,
        .carry = s->job->runs ? 1 + MORE * s->job->runs[i].offset : 1,
        .lean = s->job->runs ? s->job->runs[i].lean : NULL,
    };
    for (size_t k = 0; k < s->job->series->point_count && some_load; k++)
        if (isfinite(s->job->series->points[k].load)) {
            run->variance += LOAD_MISSING_U * LOAD_MISSING_U;
            break;
        }
}

static struct trend_job trend_job_of(const struct solving *s, double tends)
{
    const struct season_series *series = s->job->series;
    struct trend_job job = {
        .run_count = series->point_count,
        .runs = s->runs,
        .segment_count = series->segment_count,
        .covariance = s->job->balance ? s->job->balance->levels->covariance : NULL,
        .tends = tends,
        .season_u = s->season_u,
    };
    for (size_t i = 0; i < series->segment_count; i++)
        job.from[i] =
            season_use(&s->clock, i == 0 ? series->segments[0].from : series->steps[i - 1].at);
    return job;
}

/* Straight lines, and limits reached in some times: each weighed by how likely it makes the
 * outings. */
static const double times[] = {0, 0.3, 0.7, 1.5, 3.0};
static const double time_share[] = {0.8, 0.05, 0.05, 0.05, 0.05};

static enum status fit_trends(struct solving *s)
{
    enum status status = STATUS_OK;
    double top = -INFINITY, total = 0;
    bool many = s->job->series->point_count >= TENDS_POINTS;
    size_t count = many ? TRENDS : 1;
    for (size_t i = 0; i < count && !status; i++) {
        struct trend_job job = trend_job_of(s, times[i]);
        status = trend_make(&job, &s->fits[s->fit_count++]);
        s->weight[i] = s->fits[i].evidence + log(time_share[i]);
        top = fmax(top, s->weight[i]);
    }
    for (size_t i = 0; i < count; i++)
        total += s->weight[i] = exp(s->weight[i] - top);
    for (size_t i = 0; i < count; i++) {
        s->weight[i] /= total;
        s->best = s->weight[i] > s->weight[s->best] ? i : s->best;
    }
    bool limited = s->weight[0] < LIMIT_DOUBT && s->best > 0;
    s->job->series->tends = limited ? times[s->best] : 0;
    return status;
}

/* --- what one state of everything says; the same order of numbers each time */

struct slots {
    double *values; /* of one draw, or NULL to count */
    size_t count;
};

static void put(struct slots *slots, double value)
{
    if (slots->values)
        slots->values[slots->count] = value;
    slots->count++;
}

/* Everything of one state that readings need. */
struct reader {
    const struct solving *s;
    const struct trend_fit *fit;
    const struct trend_state *state;
    double parameter[LEVEL_PARAMETERS];
    double share; /* of the usual hours, run from now on */
    double more;
    double common; /* mean ln rise at the outings: what all of them share moves it */
};

static struct reader reader_of(const struct solving *s, const struct trend_fit *fit,
                               const struct trend_state *state)
{
    struct reader reader = {.s = s, .fit = fit, .state = state, .share = 1, .more = MORE};
    const struct season_balance *balance = s->job->balance;
    for (size_t k = 0; k < LEVEL_PARAMETERS && balance; k++)
        reader.parameter[k] = balance->levels->parameter[k] + state->shift[k];
    return reader;
}

/* ln of the open rise at standard conditions. */
static double ln_standard(const struct reader *r, size_t segment, double at)
{
    return r->state->base +
           log(trend_value(r->fit, r->state, segment, season_use(&r->s->clock, at)));
}

/* ln of speed at full throttle over the reference. */
static double full_x(const struct reader *r)
{
    return log(r->s->job->balance->full_rpm / r->s->job->balance->reference_rpm);
}

/* ln of the open rise at full throttle in the warmest sea, for an F. */
static double ln_full(const struct reader *r, double value)
{
    const struct season_balance *b = r->s->job->balance;
    double x = full_x(r);
    return r->state->base + (1 + r->more * x) * log(value) + season_shape(r->parameter, x) +
           r->state->sea * (b->warmest_sea - b->reference_sea);
}

static double standard_reading(const struct reader *r, size_t segment, double at)
{
    const struct season_balance *b = r->s->job->balance;
    struct thermostat thermostat = season_thermostat(r->parameter, b->thermostat[segment]);
    return lift_reading(&thermostat, exp(ln_standard(r, segment, at)), b->reference_sea);
}

static double full_reading(const struct reader *r, size_t segment, double at)
{
    const struct season_balance *b = r->s->job->balance;
    struct thermostat thermostat = season_thermostat(r->parameter, b->thermostat[segment]);
    double value = trend_value(r->fit, r->state, segment, season_use(&r->s->clock, at));
    return lift_reading(&thermostat, exp(ln_full(r, value)), b->warmest_sea);
}

/* What the season adds to that at its end, now: weed, or whatever else comes and goes every year.
 * K */
static double season_reading(const struct reader *r)
{
    const struct season_balance *b = r->s->job->balance;
    size_t last = r->s->job->series->segment_count - 1;
    struct thermostat thermostat = season_thermostat(r->parameter, b->thermostat[last]);
    double value = trend_value(r->fit, r->state, last, season_use(&r->s->clock, r->s->now));
    double rise = ln_full(r, value);
    return lift_reading(&thermostat, exp(rise + r->state->season), b->warmest_sea) -
           lift_reading(&thermostat, exp(rise), b->warmest_sea);
}

/* When the reading at full throttle reaches the alarm, s; INFINITY. */
static double alarm_date(const struct reader *r)
{
    const struct season_balance *b = r->s->job->balance;
    size_t last = r->s->job->series->segment_count - 1;
    struct thermostat thermostat = season_thermostat(r->parameter, b->thermostat[last]);
    double rise = lift_open_rise(&thermostat, b->alarm, b->warmest_sea, 0, 0);
    double value = exp((log(rise) - ln_full(r, 1)) / (1 + r->more * full_x(r)));
    double now = season_use(&r->s->clock, r->s->now);
    double use = trend_reaches(r->fit, r->state, last, value, now);
    if (use <= now)
        return r->s->now;
    double at = season_date(&r->s->clock, use, r->share);
    return at - r->s->now < HORIZON * YEAR_SECONDS ? at : INFINITY;
}

/* The same in hours of use, so that it does not depend on how much the boat is run. */
static double alarm_hours(const struct reader *r)
{
    struct reader usual = *r;
    usual.share = 1;
    double at = alarm_date(&usual);
    return isfinite(at) ? season_hours(&r->s->clock, at) : INFINITY;
}

/* The instants at which growth over a stretch is looked at, a year of use apart where it is
 * short. */
static double growth(const struct reader *r, size_t segment, bool full)
{
    const struct season_segment *stretch = &r->s->job->series->segments[segment];
    double from = season_use(&r->s->clock, stretch->from);
    double years = fmax(season_use(&r->s->clock, stretch->to) - from, 0.05);
    double first = trend_value(r->fit, r->state, segment, from);
    double last = trend_value(r->fit, r->state, segment, from + years);
    if (!full)
        return (last - first) / first / years;
    const struct season_balance *b = r->s->job->balance;
    struct thermostat thermostat = season_thermostat(r->parameter, b->thermostat[segment]);
    return (lift_reading(&thermostat, exp(ln_full(r, last)), b->warmest_sea) -
            lift_reading(&thermostat, exp(ln_full(r, first)), b->warmest_sea)) /
           years;
}

static void put_step(const struct reader *r, size_t step, struct slots *slots)
{
    double at = r->s->job->series->steps[step].at;
    put(slots, exp(ln_standard(r, step + 1, at) - ln_standard(r, step, at)));
    if (!r->s->job->balance)
        return;
    put(slots, standard_reading(r, step + 1, at) - standard_reading(r, step, at));
    put(slots, full_reading(r, step + 1, at) - full_reading(r, step, at));
}

static double common_of(const struct reader *r)
{
    const struct season_series *series = r->s->job->series;
    double sum = 0;
    for (size_t i = 0; i < series->point_count; i++)
        sum += ln_standard(r, series->points[i].segment, series->points[i].at);
    return sum / (double)series->point_count;
}

/* The rise on a line. Of an engine, beside its own outings: a thermostat that may be off shifts
 * all of them alike, and would hide how they lie to each other. */
static double curve_rise(const struct reader *r, const struct season_curve *curve)
{
    double own = ln_standard(r, curve->segment, curve->at);
    return exp(r->s->job->balance ? own - r->common + r->s->common : own);
}

static void put_all(const struct reader *r, struct slots *slots)
{
    const struct season_series *series = r->s->job->series;
    bool engine = r->s->job->balance != NULL;
    put(slots, r->state->sea);
    put(slots, r->state->day);
    put(slots, r->state->season);
    for (size_t i = 0; i < series->segment_count; i++) {
        put(slots, growth(r, i, false));
        if (engine)
            put(slots, growth(r, i, true));
    }
    for (size_t i = 0; i < series->step_count; i++)
        put_step(r, i, slots);
    for (size_t i = 0; i < series->curve_count; i++) {
        const struct season_curve *curve = &series->curves[i];
        put(slots, curve_rise(r, curve));
        if (engine)
            put(slots, full_reading(r, curve->segment, curve->at));
    }
    if (!engine)
        return;
    const struct season_balance *b = r->s->job->balance;
    double reading = standard_reading(r, series->segment_count - 1, r->s->now);
    struct thermostat thermostat =
        season_thermostat(r->parameter, b->thermostat[series->segment_count - 1]);
    put(slots, lift_sea_share(&thermostat, reading, b->reference_sea) +
                   r->state->sea * lift_gain(&thermostat, reading, b->reference_sea));
    put(slots, full_reading(r, series->segment_count - 1, r->s->now));
    put(slots, season_reading(r));
    put(slots, alarm_date(r));
    put(slots, alarm_hours(r));
}

/* --- intervals of the draws */

struct taking {
    double *columns; /* slot by slot, DRAWS numbers each; sorted as they are taken */
    size_t next;
    double level;
};

static int by_value(const void *left, const void *right)
{
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

static struct interval take(struct taking *taking)
{
    double *column = taking->columns + DRAWS * taking->next++;
    double tail = (1 - taking->level) / 2;
    qsort(column, DRAWS, sizeof *column, by_value);
    return (struct interval){
        .value = column[DRAWS / 2],
        .low = column[(size_t)(tail * (DRAWS - 1))],
        .high = column[(size_t)ceil((1 - tail) * (DRAWS - 1))],
    };
}

static enum finding finding_of(const struct interval *ratio)
{
    if (ratio->high < 1)
        return FINDING_LOWERED;
    if (ratio->low > 1)
        return FINDING_RAISED;
    return ratio->high / ratio->low < 1.12 ? FINDING_NO_CHANGE_SHOWN : FINDING_CANNOT_BE_SHOWN;
}

static void take_all(const struct series_job *job, struct taking *taking)
{
    struct season_series *series = job->series;
    bool engine = job->balance != NULL;
    series->sea_effect = take(taking);
    struct interval day = take(taking);
    series->day = day.value;
    series->day_low = day.low;
    series->day_high = day.high;
    series->season = take(taking);
    series->season_told = series->season.low > 0;
    series->sea_told = series->sea_effect.high - series->sea_effect.low <
                       SEA_TOLD * 2 * stats_t(taking->level, INFINITY) * SEA_PRIOR_U;
    for (size_t i = 0; i < series->segment_count; i++) {
        series->segments[i].growth = take(taking);
        if (engine)
            series->segments[i].climb = take(taking);
    }
    for (size_t i = 0; i < series->step_count; i++) {
        struct season_step *step = &series->steps[i];
        step->ratio = take(taking);
        step->finding = finding_of(&step->ratio);
        if (engine) {
            step->reading = take(taking);
            step->full = take(taking);
        }
    }
    for (size_t i = 0; i < series->curve_count; i++) {
        series->curves[i].rise = take(taking);
        if (engine)
            series->curves[i].full = take(taking);
    }
    if (!engine)
        return;
    *job->follows = take(taking);
    job->forecast->now = take(taking);
    job->forecast->season = take(taking);
    job->forecast->at = take(taking);
    job->forecast->hours = take(taking);
}

static const struct trend_fit *draw_fit(const struct solving *s, gsl_rng *rng)
{
    double where = gsl_rng_uniform(rng);
    size_t i = 0;
    while (i + 1 < s->fit_count && where > s->weight[i])
        where -= s->weight[i++];
    return &s->fits[i];
}

/* Draws every state, one column a slot. */
static void draw_all(const struct solving *s, size_t slot_count, double *columns, double *row,
                     double *scratch, gsl_rng *rng)
{
    for (size_t d = 0; d < DRAWS; d++) {
        struct trend_state state;
        struct slots slots = {row, 0};
        const struct trend_fit *fit = draw_fit(s, rng);
        trend_draw(fit, rng, scratch, &state);
        struct reader reader = reader_of(s, fit, &state);
        reader.share = exp(s->clock.share_u * gsl_ran_ugaussian(rng));
        reader.more += MORE_U * gsl_ran_ugaussian(rng);
        reader.common = common_of(&reader);
        put_all(&reader, &slots);
        for (size_t i = 0; i < slot_count; i++)
            columns[i * DRAWS + d] = row[i];
    }
}

static enum status propagate(struct solving *s)
{
    struct slots count = {NULL, 0};
    const struct trend_fit *best = &s->fits[s->best];
    struct reader middle = reader_of(s, best, &best->middle);
    middle.common = common_of(&middle);
    s->common = middle.common;
    put_all(&middle, &count);
    double *memory = malloc((count.count * (DRAWS + 1) + TREND_SCRATCH(best)) * sizeof *memory);
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_taus2);
    if (memory && rng) {
        double *row = memory + count.count * DRAWS;
        struct taking taking = {memory, 0, s->job->seasons->options.confidence_level};
        gsl_rng_set(rng, (unsigned long)s->job->seasons->options.seed);
        draw_all(s, count.count, memory, row, row + count.count, rng);
        take_all(s->job, &taking);
    }
    enum status status = memory && rng ? STATUS_OK : STATUS_MEMORY;
    if (rng)
        gsl_rng_free(rng);
    free(memory);
    return status;
}

/* --- points */

/* Variance that the shared parameters leave in a level. */
static double lean_variance(const struct level_fit *levels, const double *lean)
{
    double sum = 0;
    for (size_t k = 0; k < LEVEL_PARAMETERS; k++)
        for (size_t m = 0; m < LEVEL_PARAMETERS && lean[k] != 0; m++)
            sum += lean[k] * levels->covariance[k * LEVEL_PARAMETERS + m] * lean[m];
    return sum;
}

/* ln of the rise at standard conditions that one outing alone shows. */
static double own_level(const struct solving *s, size_t i)
{
    const struct trend_run *run = &s->runs[i];
    const struct trend_fit *fit = &s->fits[s->best];
    const struct trend_state *state = &fit->middle;
    double level =
        run->level - state->sea * run->sea - state->load * run->load - state->season * run->season;
    for (size_t k = 0; run->lean && k < LEVEL_PARAMETERS; k++)
        level += run->lean[k] * state->shift[k];
    return level - (run->carry - 1) * log(trend_value(fit, state, run->segment, run->use));
}

/* The readings of ln rises level - half .. level + half. */
static struct interval read_interval(const struct thermostat *thermostat, double level, double half,
                                     double sea)
{
    return (struct interval){lift_reading(thermostat, exp(level), sea),
                             lift_reading(thermostat, exp(level - half), sea),
                             lift_reading(thermostat, exp(level + half), sea)};
}

/* What each outing alone says at standard conditions, its day included. */
static void fill_points(const struct solving *s)
{
    const struct series_job *job = s->job;
    const struct trend_fit *fit = &s->fits[s->best];
    struct reader reader = reader_of(s, fit, &fit->middle);
    double t = stats_t(job->seasons->options.confidence_level, fit->df);
    for (size_t i = 0; i < job->series->point_count; i++) {
        struct season_point *point = &job->series->points[i];
        double variance = s->runs[i].variance + fit->middle.day * fit->middle.day;
        if (job->balance)
            variance += lean_variance(job->balance->levels, s->runs[i].lean);
        double level = own_level(s, i), half = t * sqrt(variance);
        point->rise = (struct interval){exp(level), exp(level - half), exp(level + half)};
        point->reading = point->full = (struct interval){NAN, NAN, NAN};
        if (!job->balance)
            continue;
        struct thermostat thermostat = season_thermostat(reader.parameter, job->runs[i].thermostat);
        const struct season_balance *balance = job->balance;
        point->reading = read_interval(&thermostat, level, half, balance->reference_sea);
        point->full = read_interval(&thermostat, ln_full(&reader, exp(level - fit->middle.base)),
                                    half, balance->warmest_sea);
    }
}

/* --- lines */

/* As far as to a little beyond the alarm, in years. */
static double years_ahead(const struct solving *s)
{
    const struct trend_fit *fit = &s->fits[s->best];
    struct reader middle = reader_of(s, fit, &fit->middle);
    double years =
        s->job->balance ? 1.25 * (alarm_date(&middle) - s->now) / YEAR_SECONDS : AHEAD_YEARS;
    return years >= AHEAD_YEARS ? fmin(years, AHEAD_MOST) : AHEAD_YEARS;
}

static enum status place_curves(const struct solving *s)
{
    struct season_series *series = s->job->series;
    size_t count = series->segment_count * CURVE_POINTS + AHEAD_POINTS;
    series->curves = calloc(count, sizeof *series->curves);
    if (!series->curves)
        return STATUS_MEMORY;
    for (size_t i = 0; i < series->segment_count; i++) {
        const struct season_segment *segment = &series->segments[i];
        double from = i > 0 ? series->steps[i - 1].at : segment->from;
        double to = i < series->step_count ? series->steps[i].at : segment->to;
        for (size_t k = 0; k < CURVE_POINTS; k++)
            series->curves[series->curve_count++] = (struct season_curve){
                .at = from + (to - from) * (double)k / (CURVE_POINTS - 1), .segment = i};
    }
    double ahead = years_ahead(s) * YEAR_SECONDS / (AHEAD_POINTS - 1);
    for (size_t k = 0; k < AHEAD_POINTS && s->job->forecast; k++)
        series->curves[series->curve_count++] = (struct season_curve){
            .at = s->now + ahead * (double)k, .segment = series->segment_count - 1, .ahead = true};
    return STATUS_OK;
}

/* --- the outlook */

/* Whether earlier stretches tell how fast this engine fouls: the last one may go on at that
 * rate. */
static bool may_borrow(const struct season_series *series)
{
    bool told = false;
    for (size_t i = 0; i + 1 < series->segment_count; i++)
        told = told || series->segments[i].enough;
    return told && series->point_count >= BORROW_POINTS;
}

static void set_outlook(const struct solving *s)
{
    const struct series_job *job = s->job;
    struct season_forecast *f = job->forecast;
    const struct season_segment *last = &job->series->segments[job->series->segment_count - 1];
    f->borrowed = !last->enough;
    bool serviced = season_done_between(job->seasons, job->boat, job->first, job->second, s->now,
                                        INFINITY, NULL);
    bool enough = last->enough || may_borrow(job->series);
    bool vague = f->at.low < s->now + VAGUE_LOW && !(f->at.value < s->now + VAGUE_VALUE);
    bool wide = vague && !isfinite(f->at.high);
    f->outlook = serviced                     ? OUTLOOK_SERVICED
                 : !enough                    ? OUTLOOK_NOT_ENOUGH
                 : isnan(job->balance->alarm) ? OUTLOOK_NO_ALARM
                 : f->at.value <= s->now      ? OUTLOOK_REACHED
                 : wide                       ? OUTLOOK_NOT_ENOUGH
                 : !isfinite(f->at.value)     ? OUTLOOK_NOT_IN_SIGHT
                                              : OUTLOOK_DATE;
    if (f->outlook == OUTLOOK_NOT_ENOUGH || f->outlook == OUTLOOK_NO_ALARM ||
        f->outlook == OUTLOOK_SERVICED)
        f->at = f->hours = (struct interval){NAN, NAN, NAN};
    if (s->clock.count == 0)
        f->hours = (struct interval){NAN, NAN, NAN};
}

/* Where no outing lies along a season, only prior knowledge came out of it: that is no finding. */
static void forget_season(const struct solving *s)
{
    const struct series_job *job = s->job;
    const struct interval none = {NAN, NAN, NAN};
    if (job->balance && s->year.length > 0)
        return;
    job->series->season = none;
    job->series->season_told = false;
    if (job->forecast)
        job->forecast->season = none;
}

static enum status solve(struct solving *s)
{
    struct season_series *series = s->job->series;
    s->now = series->points[series->point_count - 1].at;
    enum status status = make_clock(s);
    if (status)
        return status;
    series->by_hours = s->clock.by_hours;
    series->hours_a_year = s->clock.hours_a_year;
    for (size_t i = 0; i < series->point_count; i++)
        fill_run(s, i);
    s->season_u = SEASON_LOAD_U;
    for (size_t i = 0; i < series->point_count; i++)
        s->season_u = isfinite(series->points[i].load) ? s->season_u : SEASON_U;
    status = fit_trends(s);
    if (!status)
        status = place_curves(s);
    if (!status)
        status = propagate(s);
    if (status)
        return status;
    fill_points(s);
    forget_season(s);
    if (s->job->forecast)
        set_outlook(s);
    return STATUS_OK;
}

enum status season_series_solve(const struct series_job *job)
{
    struct solving s = {.job = job};
    if (job->series->point_count == 0)
        return STATUS_OK;
    split(job);
    s.runs = calloc(job->series->point_count, sizeof *s.runs);
    for (size_t i = 0; job->balance && i < job->series->point_count; i++)
        job->balance->thermostat[job->series->points[i].segment] = job->runs[i].thermostat;
    enum status status = s.runs ? solve(&s) : STATUS_MEMORY;
    for (size_t i = 0; i < s.fit_count; i++)
        trend_free(&s.fits[i]);
    season_clock_free(&s.clock);
    free(s.runs);
    return status;
}
