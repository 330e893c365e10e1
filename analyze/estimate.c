/* estimate.c - order of work: gather the holds, fit the thermostat, propagate, say it. */
#include "estimate.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bracket.h"
#include "budget.h"
#include "evidence.h"
#include "finding.h"
#include "montecarlo.h"
#include "propagate.h"
#include "stats.h"
#include "thermostat.h"

#define BUDGET_DRAWS 250
#define RATING_U 1.0       /* K, thermostat rating if its uncertainty is not known */
#define FUEL_U 0.010       /* relative: fuel sensor between two days, and what it does not tell */
#define PERCENT_U 0.015    /* relative: the same for percent load, which comes in whole percent */
#define CONTROL_U 0.005    /* relative: what two engines of a boat do not share in a day's load */
#define RUNS_ENOUGH_DF 3.0 /* degrees of freedom from which runs show their load without it */
#define WAVE_U 0.02        /* open fraction: thermostats are no straight line (no source) */
#define OPEN_NEARLY 0.9    /* open fraction that counts as open */
#define FIT_BANDS 3        /* shared bands without which a thermostat cannot be fitted */
#define FIT_LOOKS 6
#define DISAGREES 1.5 /* standard uncertainties of the rating */

/* One engine on its way. */
struct work {
    const struct estimate_job *job;
    const struct estimate_facts *facts;
    struct answer *answer;
    struct engine_answer *engine;
    struct evidence evidence;
    struct thermostat_fit fit;
    struct propagation_setup setup;
    struct propagation draws;
    struct pass value;
    double pooled; /* ln ratio */
    bool rated, bracketed;
    struct complaint *complaint;
};

static void work_free(struct work *work)
{
    evidence_free(&work->evidence);
    thermostat_free(&work->fit);
    propagation_free(&work->draws);
}

static const struct interval nothing = {NAN, NAN, NAN};

static void clear(struct engine_answer *engine)
{
    engine->finding = FINDING_CANNOT_BE_SHOWN;
    engine->sentence[0] = engine->next[0] = '\0';
    engine->open_rise_ratio = engine->control_ratio = nothing;
    engine->key_band = BANDS_MAX;
    engine->band_count = engine->budget_count = 0;
    engine->thermostat_start = engine->thermostat_full = engine->thermostat_u = NAN;
    engine->thermostat_from = "unknown";
    engine->lag = engine->lag_u = NAN;
    engine->load_from = "assumed";
    engine->load_u = NAN;
}

static double or_else(double value, double fallback)
{
    return isfinite(value) ? value : fallback;
}

/* --- load */

/* Scatter of the levels of several runs of one side, beyond what their holds let expect. What a
 * speed has for itself is taken off first: all runs share it, so it is no scatter of their holds,
 * and would pass for a reason why their levels differ. */
static void run_scatter(const struct work *work, double *variance, double *df)
{
    const struct evidence *evidence = &work->evidence;
    double values[ESTIMATE_HOLDS_MAX];
    struct spread runs[ESTIMATE_HOLDS_MAX];
    *variance = *df = 0;
    for (int side = 0; side < SIDE_COUNT; side++) {
        size_t run_count = 0;
        for (size_t run = 0; run < evidence->run_count; run++) {
            size_t count = 0;
            for (size_t i = 0; i < evidence->count; i++) {
                const struct look *look = &evidence->looks[i];
                if (look->run == run && look->side == (enum side)side)
                    values[count++] = work->fit.curve.y[i] -
                                      curve_shape(&work->fit.curve, look->side, look->ln_speed) -
                                      curve_own(&work->fit.curve, i);
            }
            if (count > 0)
                runs[run_count++] = stats_spread(values, count);
        }
        if (run_count < 2)
            continue;
        struct groups groups = stats_groups(runs, run_count);
        *variance += groups.df_between * groups.between * groups.between;
        *df += groups.df_between;
    }
    if (*df > 0)
        *variance /= *df;
}

static double load_known_u(const struct work *work)
{
    if (strcmp(work->evidence.load_from, "fuel_rate") == 0)
        return FUEL_U;
    if (strcmp(work->evidence.load_from, "load") == 0)
        return PERCENT_U;
    return work->job->day_load;
}

/* How unsure the heat load of each run is. Several runs on a side show it themselves; what is usual
 * then only steadies a scatter known from few runs. */
static void set_load(struct work *work, bool has_control)
{
    struct propagation_setup *setup = &work->setup;
    double variance, df, usual = load_known_u(work);
    work->engine->load_from = work->evidence.load_from;
    setup->load_u = usual;
    setup->load_df = INFINITY;
    setup->load_shared = strcmp(work->evidence.load_from, "assumed") == 0;
    setup->own_u = CONTROL_U;
    run_scatter(work, &variance, &df);
    if (df > 0 && !has_control) {
        double topped_up = fmax(RUNS_ENOUGH_DF - df, 0);
        setup->load_df = df + topped_up;
        setup->load_u = sqrt((df * variance + topped_up * usual * usual) / setup->load_df);
        setup->load_shared = false;
        work->engine->load_from = "runs";
    }
    work->engine->load_u = setup->load_u;
}

/* --- results */

static enum thermostat_state state_of(double open)
{
    return open >= OPEN_NEARLY ? THERMOSTAT_OPEN : THERMOSTAT_IN_CONTROL;
}

static struct interval exponential(struct interval ln)
{
    return (struct interval){exp(ln.value), exp(ln.low), exp(ln.high)};
}

static void fill_side(const struct work *work, size_t b, enum side side)
{
    const struct propagation *draws = &work->draws;
    double level = work->answer->confidence_level;
    struct band_side *out = &work->engine->bands[b].side[side];
    out->coolant =
        montecarlo_about(work->value.reading[side][b], propagation_reading(draws, side, b),
                         draws->draws, level, draws->scratch);
    out->open_rise = exponential(montecarlo_about(work->value.ln_rise[side][b],
                                                  propagation_ln_rise(draws, side, b), draws->draws,
                                                  level, draws->scratch));
    out->thermostat = state_of(work->value.open[side][b]);
}

/* A reading that no engine has, or that may be far beyond any, comes out of a corner of the balance
 * (near the start of a thermostat with much play) and is no reading: nothing is said of that
 * band. */
static bool is_believable(struct interval coolant)
{
    const struct channel *channel = channel_get(CHANNEL_COOLANT_TEMPERATURE);
    return coolant.low > channel->low && coolant.high < 2 * channel->high &&
           coolant.value < channel->high;
}

static void forget_unbelievable(struct band *band)
{
    if (is_believable(band->side[SIDE_BEFORE].coolant) &&
        is_believable(band->side[SIDE_AFTER].coolant))
        return;
    band->change = nothing;
    band->finding = FINDING_CANNOT_BE_SHOWN;
    for (int side = 0; side < SIDE_COUNT; side++)
        if (!is_believable(band->side[side].coolant))
            band->side[side].coolant = band->side[side].open_rise = nothing;
}

static void fill_bands(struct work *work)
{
    const struct propagation *draws = &work->draws;
    struct engine_answer *engine = work->engine;
    double level = work->answer->confidence_level;
    const double *columns[BANDS_MAX];
    struct interval changes[BANDS_MAX];
    for (size_t b = 0; b < engine->band_count; b++) {
        struct band *band = &engine->bands[b];
        fill_side(work, b, SIDE_BEFORE);
        fill_side(work, b, SIDE_AFTER);
        columns[b] = propagation_change(draws, b);
        double value = work->value.reading[SIDE_AFTER][b] - work->value.reading[SIDE_BEFORE][b];
        band->change = montecarlo_about(value, columns[b], draws->draws, level, draws->scratch);
        changes[b] = band->change;
        double ln_ratio = work->value.ln_rise[SIDE_AFTER][b] - work->value.ln_rise[SIDE_BEFORE][b];
        struct interval ratio = exponential(montecarlo_about(
            ln_ratio, propagation_ln_ratio(draws, b), draws->draws, level, draws->scratch));
        band->finding = finding_of_ratio(ratio, finding_load_shift(engine));
        forget_unbelievable(band);
        changes[b] = band->change;
    }
    double factor = montecarlo_simultaneous(columns, changes, engine->band_count, draws->draws,
                                            level, draws->scratch);
    for (size_t b = 0; b < engine->band_count; b++) {
        struct interval c = changes[b];
        engine->bands[b].simultaneous = (struct interval){
            c.value, c.value - factor * (c.value - c.low), c.value + factor * (c.high - c.value)};
    }
}

/* Variance of ln(ratio) that load and control give to all bands alike. */
static double common_variance(const struct work *work)
{
    double load = work->setup.load_u, runs[SIDE_COUNT] = {0};
    for (size_t i = 0; i < work->evidence.run_count; i++)
        runs[work->evidence.runs[i].side]++;
    return load * load * (1 / runs[SIDE_BEFORE] + 1 / runs[SIDE_AFTER]);
}

/* One ratio from all bands. Weights are one over the variance that a band has for itself: bands
 * nearly wide open count, bands where the thermostat hides the exchanger hardly. */
static void fill_ratio(struct work *work)
{
    const struct propagation *draws = &work->draws;
    double *pooled = propagation_pooled(draws);
    double total = 0, weight[BANDS_MAX], common = common_variance(work);
    for (size_t b = 0; b < draws->bands; b++) {
        double u = montecarlo_u(propagation_ln_ratio(draws, b), draws->draws);
        double open = work->value.open[SIDE_BEFORE][b] * work->value.open[SIDE_AFTER][b];
        weight[b] = open * open / fmax(u * u - common, 0.05 * u * u + 1e-8);
        total += weight[b];
    }
    work->pooled = 0;
    memset(pooled, 0, draws->draws * sizeof *pooled);
    for (size_t b = 0; b < draws->bands; b++) {
        const double *ratio = propagation_ln_ratio(draws, b);
        double share = weight[b] / total;
        for (size_t k = 0; k < draws->draws; k++)
            pooled[k] += share * ratio[k];
        work->pooled +=
            share * (work->value.ln_rise[SIDE_AFTER][b] - work->value.ln_rise[SIDE_BEFORE][b]);
    }
    work->engine->open_rise_ratio = exponential(montecarlo_about(
        work->pooled, pooled, draws->draws, work->answer->confidence_level, draws->scratch));
}

static void fill_holds(struct work *work)
{
    for (size_t i = 0; i < work->evidence.count; i++) {
        const struct look *look = &work->evidence.looks[i];
        struct hold *hold = &work->engine->holds[look->hold];
        bool used = hold->refusal == REFUSAL_NONE && !work->bracketed;
        hold->open_rise =
            used ? lift_open_rise(&work->fit.best, look->coolant, look->sea, look->slope,
                                  thermostat_lag(&work->fit, look, work->fit.lag))
                 : NAN;
        hold->open_fraction = used ? lift_open_fraction(&work->fit.best, look->coolant) : NAN;
    }
}

static void fill_thermostat(struct work *work)
{
    struct engine_answer *engine = work->engine;
    engine->thermostat_start = work->fit.best.start;
    engine->thermostat_full = work->fit.best.full;
    engine->thermostat_u = fmax(work->fit.u[AXIS_START], work->fit.full_u);
    engine->thermostat_from = work->rated ? work->facts->thermostat_from : "fitted";
    engine->lag = work->fit.lag;
    engine->lag_u = work->fit.u[AXIS_LAG];
}

/* --- budget */

static bool term_matters(const struct work *work, enum budget_id id)
{
    double step = 0;
    for (size_t i = 0; i < work->evidence.count; i++)
        step = fmax(step, work->evidence.looks[i].reading_u);
    switch (id) {
    case BUDGET_RESOLUTION:
        return step > 0;
    case BUDGET_SENDER:
        return work->facts->sender_changed;
    case BUDGET_CONTROL:
        return work->setup.control_draws != NULL;
    case BUDGET_LOAD:
        return work->setup.control_draws == NULL;
    default:
        return true;
    }
}

/* The errors of a row. The day is the same for the engine left alone: only together do they
 * cancel. */
static unsigned terms_of(enum budget_id id)
{
    return 1u << id | (id == BUDGET_CONTROL ? 1u << BUDGET_LOAD : 0);
}

/* Every term alone, then the degrees of freedom of each band (Welch-Satterthwaite). */
static enum status fill_budget(struct work *work)
{
    struct engine_answer *engine = work->engine;
    struct budget_state state = {work->rated, !work->setup.load_shared,
                                 work->evidence.replicates > 0};
    double u[BUDGET_TERMS][BANDS_MAX] = {{0}}, df[BUDGET_TERMS];
    struct propagation alone = {0};
    enum status status = STATUS_OK;
    for (int id = 0; id < BUDGET_TERMS && status == STATUS_OK; id++) {
        df[id] = id == BUDGET_SCATTER || id == BUDGET_RPM ? work->fit.df
                 : id == BUDGET_LOAD                      ? work->setup.load_df
                                                          : INFINITY;
        if (!term_matters(work, (enum budget_id)id))
            continue;
        status = propagate_draws(&work->setup, terms_of((enum budget_id)id), BUDGET_DRAWS, &alone);
        for (size_t b = 0; status == STATUS_OK && b < engine->band_count; b++)
            u[id][b] = montecarlo_u(propagation_change(&alone, b), alone.draws);
        struct budget_term *row = &engine->budget[engine->budget_count++];
        *row = budget_row((enum budget_id)id, &state);
        row->kelvin = u[id][engine->key_band];
    }
    propagation_free(&alone);
    budget_sort(engine->budget, engine->budget_count);
    for (size_t b = 0; b < engine->band_count; b++) {
        double part[BUDGET_TERMS];
        for (int id = 0; id < BUDGET_TERMS; id++)
            part[id] = u[id][b];
        engine->bands[b].df = stats_effective_df(part, df, BUDGET_TERMS);
    }
    return status;
}

/* --- warnings */

static bool open_weak(const struct work *work)
{
    for (size_t b = 0; b < work->evidence.band_count; b++)
        if (work->value.open[SIDE_BEFORE][b] >= OPEN_NEARLY &&
            work->value.open[SIDE_AFTER][b] >= OPEN_NEARLY)
            return false;
    return true;
}

/* What a term costs in the key band, in K of half-width. */
static double cost(const struct work *work, const char *key)
{
    const struct engine_answer *engine = work->engine;
    for (size_t i = 0; i < engine->budget_count; i++)
        if (strcmp(engine->budget[i].key, key) == 0)
            return stats_t(work->answer->confidence_level, INFINITY) * engine->budget[i].kelvin;
    return 0;
}

static void warn_thermostat(struct work *work)
{
    const struct thermostat_fit *fit = &work->fit;
    int engine = work->engine->instance;
    if (!work->rated) {
        answer_warn(
            work->answer, "thermostat_fitted", engine,
            "No thermostat rating was given. It was fitted from the holds: start to open "
            "%.1f °C (standard uncertainty %.1f K), full open %.1f °C (%.1f K). This costs "
            "%.1f K in the key figure; the rating off the thermostat itself would be surer.",
            fit->best.start, fit->u[AXIS_START], fit->best.full, fit->full_u,
            cost(work, "thermostat"));
        return;
    }
    double u = or_else(work->facts->thermostat_u, RATING_U);
    double start = fit->best.start - work->facts->thermostat_start;
    double full = fit->best.full - work->facts->thermostat_full;
    if (fabs(start) > DISAGREES * u || fabs(full) > DISAGREES * u)
        answer_warn(work->answer, "thermostat_disagrees", engine,
                    "The holds do not fit the thermostat's rating: they speak for %.1f to %.1f °C, "
                    "the rating is %.1f to %.1f °C. A worn, stuck or other thermostat, or a sender "
                    "that reads wrong, does this. The value between both was used.",
                    fit->best.start, fit->best.full, work->facts->thermostat_start,
                    work->facts->thermostat_full);
}

static void warn_load(struct work *work)
{
    const struct engine_answer *engine = work->engine;
    if (!(finding_load_shift(engine) > 0))
        return;
    double change = engine->bands[engine->key_band].change.value;
    double load = 100 * fabs(expm1(work->pooled));
    char instead[200] = "";
    if (load >= 0.5) /* a change of "0 %" would explain nothing */
        snprintf(instead, sizeof instead,
                 " If the load was really %.0f %% %s after the service, that alone explains the "
                 "%.1f K: %s.",
                 load, work->pooled < 0 ? "lower" : "higher", fabs(change),
                 engine->propeller_changed
                     ? "the runs name different propellers, which may have done that"
                     : "propeller, hull, weight and weather must have been alike");
    if (strcmp(engine->load_from, "runs") == 0)
        answer_warn(work->answer, "load_assumed", engine->instance,
                    "Fuel rate or percent load were not recorded in all runs. How much the heat "
                    "load differs from day to day was taken from the runs of each side: %.1f %% "
                    "(standard uncertainty), which alone makes the interval of the key figure "
                    "±%.1f K. What changed along with the service, such as a propeller or a "
                    "cleaned hull, no number of runs tells apart from it.",
                    100 * engine->load_u, cost(work, "load"));
    else
        answer_warn(
            work->answer, "load_assumed", engine->instance,
            "Fuel rate or percent load were not recorded in all runs. The heat load at equal "
            "speed is taken to differ by no more than %.0f %% from day to day (standard "
            "uncertainty); this alone makes the interval of the key figure ±%.1f K.%s",
            100 * engine->load_u, cost(work, "load"), instead);
}

static void warn_ladder(struct work *work)
{
    if (work->evidence.replicates == 0)
        answer_warn(
            work->answer, "ladder_single", work->engine->instance,
            "No speed was held twice in a run: how much holds differ had to be read from "
            "their distance to a smooth curve, with %.0f degrees of freedom. A ladder up and "
            "down would narrow the ±%.1f K that this alone gives the interval of the key figure.",
            work->fit.df, cost(work, "scatter"));
    if (open_weak(work))
        answer_warn(
            work->answer, "open_rise_weak", work->engine->instance,
            "At no shared speed was the thermostat nearly open both before and after. While "
            "it is in control it hides the exchanger: the readings hardly move, and the open "
            "rise leans on the thermostat's rating (±%.1f K in the interval of the key figure).",
            cost(work, "thermostat"));
}

/* --- order of work */

static void say(struct work *work)
{
    struct finding_context context = {
        .level = work->answer->confidence_level,
        .reference_sea = work->answer->reference_sea,
        .evidence = &work->evidence,
        .bracketed = work->bracketed,
        .open_weak = work->evidence.band_count > 0 && !work->bracketed && open_weak(work),
        .load_u = work->engine->load_u,
    };
    finding_say(work->engine, &context);
}

static void name_bands(struct work *work)
{
    struct engine_answer *engine = work->engine;
    const struct evidence *evidence = &work->evidence;
    engine->band_count = evidence->band_count;
    for (size_t b = 0; b < evidence->band_count; b++) {
        engine->bands[b] = (struct band){.rpm = evidence->bands[b].rpm};
        for (int side = 0; side < SIDE_COUNT; side++) {
            engine->bands[b].side[side].holds = evidence->bands[b].holds[side];
            engine->bands[b].side[side].sea = evidence->bands[b].sea[side];
        }
    }
    if (evidence->band_count > 0)
        engine->key_band = evidence->band_count - 1; /* the highest speed: there the thermostat is
                                                        most open, whatever comes out */
}

/* Not rated, and too few holds to fit: every band by itself, from one extreme to the other. */
static void bracket(struct work *work)
{
    const struct estimate_job *job = work->job;
    struct engine_answer *engine = work->engine;
    struct bracket_setup setup = {
        .level = work->answer->confidence_level,
        .reference_sea = work->answer->reference_sea,
        .load_u = job->day_load,
        .sea_u = or_else(job->sea_u, ESTIMATE_SEA_U),
        .sender_u = work->facts->sender_changed ? job->sender_u : 0,
        .lag = or_else(work->facts->lag, ESTIMATE_LAG),
    };
    bracket_bands(&work->evidence, &setup, engine);
    engine->load_u = job->day_load;
    engine->lag = setup.lag;
    engine->lag_u = or_else(work->facts->lag_u, ESTIMATE_LAG_U);
    fill_holds(work);
    const struct band *key = &engine->bands[engine->key_band];
    engine->finding = finding_of_change(key->simultaneous);
    if (engine->finding != key->finding)
        engine->finding = FINDING_CANNOT_BE_SHOWN;
    answer_warn(
        work->answer, "thermostat_bracketed", engine->instance,
        "The thermostat's rating is not known and %zu shared speeds are too few to fit it. "
        "Every interval therefore covers a thermostat in full control as well as one wide "
        "open: that is why it is %.1f K wide in the key figure. The two temperatures off the "
        "thermostat would narrow it.",
        engine->band_count, key->change.high - key->change.low);
}

static void set_up(struct work *work, const struct work *control)
{
    const struct estimate_job *job = work->job;
    size_t index = (size_t)(work->engine - work->answer->engines);
    work->setup = (struct propagation_setup){
        .evidence = &work->evidence,
        .fit = &work->fit,
        .run_count = work->answer->run_count,
        .reference_sea = work->answer->reference_sea,
        .sea_u = or_else(job->sea_u, ESTIMATE_SEA_U),
        .sender_u = work->facts->sender_changed ? job->sender_u : 0,
        .wave_u = WAVE_U,
        .seed = work->answer->seed * 1000003,
        .own_seed = work->answer->seed * 1000003 + 1 + index,
    };
    if (!control)
        return;
    work->setup.control_draws = propagation_pooled(&control->draws);
    work->setup.control_value = control->pooled;
    work->engine->control_ratio = control->engine->open_rise_ratio;
}

static enum status propagate(struct work *work)
{
    size_t draws = work->job->draws ? work->job->draws : ESTIMATE_DRAWS;
    propagate_value(&work->setup, &work->value);
    enum status status = propagate_draws(&work->setup, BUDGET_ALL, draws, &work->draws);
    if (status != STATUS_OK)
        return status;
    fill_bands(work);
    fill_ratio(work);
    fill_holds(work);
    fill_thermostat(work);
    const struct band *key = &work->engine->bands[work->engine->key_band];
    work->engine->finding = finding_overall(work->engine->open_rise_ratio, key->change,
                                            finding_load_shift(work->engine));
    return fill_budget(work);
}

static enum status fit_and_propagate(struct work *work, const struct work *control)
{
    const struct estimate_facts *facts = work->facts;
    struct thermostat_prior prior = thermostat_prior_make(
        facts->thermostat_start, facts->thermostat_full, or_else(facts->thermostat_u, RATING_U),
        or_else(facts->lag, ESTIMATE_LAG), or_else(facts->lag_u, ESTIMATE_LAG_U));
    enum status status = thermostat_fit_holds(&work->fit, &work->evidence, &prior);
    if (status != STATUS_OK)
        return status;
    set_up(work, control);
    set_load(work, work->job->control_engine >= 0);
    status = propagate(work);
    if (status != STATUS_OK)
        return status;
    warn_thermostat(work);
    warn_load(work);
    warn_ladder(work);
    return STATUS_OK;
}

static enum status estimate_engine(struct work *work, const struct work *control)
{
    const struct evidence *evidence = &work->evidence;
    clear(work->engine);
    enum status status =
        evidence_gather(work->answer, work->facts, work->engine, &work->evidence, work->complaint);
    if (status != STATUS_OK)
        return status;
    name_bands(work);
    work->rated = isfinite(work->facts->thermostat_start) &&
                  work->facts->thermostat_full > work->facts->thermostat_start;
    bool fits = evidence->band_count >= FIT_BANDS && evidence->side_looks[0] >= FIT_LOOKS / 2 &&
                evidence->side_looks[1] >= FIT_LOOKS / 2;
    work->bracketed = evidence->band_count > 0 && !work->rated && !fits;
    if (work->bracketed)
        bracket(work);
    else if (evidence->band_count > 0)
        status = fit_and_propagate(work, control);
    if (status != STATUS_OK)
        return complain(work->complaint, status, "out of memory while estimating the change");
    say(work);
    return STATUS_OK;
}

static struct work start_work(const struct estimate_job *job, struct answer *answer, size_t engine,
                              struct complaint *complaint)
{
    return (struct work){
        .job = job,
        .facts = &job->facts[engine],
        .answer = answer,
        .engine = &answer->engines[engine],
        .complaint = complaint,
    };
}

static enum status check(const struct estimate_job *job, const struct answer *answer,
                         struct complaint *complaint)
{
    if (!(answer->confidence_level >= 0.5 && answer->confidence_level <= 0.9999))
        return complain(complaint, STATUS_BAD_USAGE,
                        "a confidence level of %g cannot be used: give one from 0.5 to 0.9999",
                        answer->confidence_level);
    if (job->control_engine >= (int)answer->engine_count)
        return complain(complaint, STATUS_BAD_USAGE,
                        "the engine named as left alone is not among the %zu engines recorded",
                        answer->engine_count);
    return STATUS_OK;
}

enum status estimate_engines(const struct estimate_job *job, struct answer *answer,
                             struct complaint *complaint)
{
    struct work control = {0};
    bool has_control = job->control_engine >= 0;
    size_t left_alone = has_control ? (size_t)job->control_engine : answer->engine_count;
    enum status status = check(job, answer, complaint);
    if (status == STATUS_OK && has_control) {
        control = start_work(job, answer, left_alone, complaint);
        status = estimate_engine(&control, NULL);
    }
    bool usable = status == STATUS_OK && control.draws.draws > 0;
    for (size_t i = 0; status == STATUS_OK && i < answer->engine_count; i++) {
        if (i == left_alone)
            continue;
        struct work work = start_work(job, answer, i, complaint);
        status = estimate_engine(&work, usable ? &control : NULL);
        work_free(&work);
    }
    work_free(&control);
    return status;
}
