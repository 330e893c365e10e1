/* propagate.c - see propagate.h. */
#include "propagate.h"

#include <assert.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "montecarlo.h"

#define RUNS_MAX ESTIMATE_HOLDS_MAX /* a run that counts has at least one hold */

#define SEA_OWN                                                                                    \
    0.5 /* part of the sensor's error that changes from run to run: the rest is its offset */

/* The errors of one pass. */
struct errors {
    struct thermostat thermostat;
    double lag;
    double sea[RUNS_MAX];                    /* K, per run of the evidence */
    double load[RUNS_MAX];                   /* ln, the same */
    double sender;                           /* K, side after */
    double control;                          /* ln ratio of the engine left alone */
    double coolant[ESTIMATE_HOLDS_MAX];      /* K, per look */
    double slope[ESTIMATE_HOLDS_MAX];        /* K/s */
    double scatter[ESTIMATE_HOLDS_MAX];      /* ln, on the level of the band */
    double scatter_move[ESTIMATE_HOLDS_MAX]; /* ln, on the slopes that move it there */
    double prior[CURVE_PRIORS_MAX];          /* of the prior knowledge of the slopes */
};

/* ln K of every look with its errors. */
static void rises(const struct propagation_setup *setup, const struct errors *errors, double *y)
{
    for (size_t i = 0; i < setup->evidence->count; i++) {
        struct look look = setup->evidence->looks[i];
        look.coolant += errors->coolant[i] + (look.side == SIDE_AFTER ? errors->sender : 0);
        look.slope += errors->slope[i];
        look.sea += errors->sea[look.run];
        y[i] = thermostat_ln_rise(&errors->thermostat, &look,
                                  thermostat_lag(setup->fit, &look, errors->lag)) +
               errors->load[look.run];
    }
}

/* Slopes, bend and play of the curve through y + scatter_move; the levels are not needed. */
static void shape(const struct propagation_setup *setup, const struct errors *errors,
                  const double *y, double *beta)
{
    const struct curve *curve = &setup->fit->curve;
    const struct regression *r = &curve->regression;
    for (size_t c = 0; c < CURVE_COLUMNS; c++) {
        const double *operate = r->operate + (curve->runs + c) * r->rows;
        double sum = 0;
        for (size_t i = 0; i < curve->looks; i++)
            sum += operate[i] * (y[i] + errors->scatter_move[i]);
        for (size_t p = 0; p < curve->priors; p++)
            sum += operate[curve->looks + p] * (curve->prior_y[p] + errors->prior[p]);
        beta[c] = sum;
    }
}

/* Mean of each band and side, moved to the nominal speed and freed from the play of the valve. */
static void band_levels(const struct propagation_setup *setup, const struct errors *errors,
                        const double *y, struct pass *pass)
{
    const struct evidence *evidence = setup->evidence;
    const struct regression *r = &setup->fit->curve.regression;
    double beta[CURVE_COLUMNS], weight[SIDE_COUNT][BANDS_MAX] = {{0}};
    size_t play = setup->fit->curve.runs + CURVE_PLAY;
    shape(setup, errors, y, beta);
    memset(pass->ln_rise, 0, sizeof pass->ln_rise);
    for (size_t i = 0; i < evidence->count; i++) {
        const struct look *look = &evidence->looks[i];
        if (look->band == NO_BAND)
            continue;
        double w = 1 / setup->fit->variance[i];
        double x = look->ln_speed, to = evidence->bands[look->band].ln_speed;
        double move = (to - x) * (beta[look->side] + beta[CURVE_BEND] * (to + x));
        move -= beta[CURVE_PLAY] * r->design[i * r->columns + play];
        pass->ln_rise[look->side][look->band] += w * (y[i] + errors->scatter[i] + move);
        weight[look->side][look->band] += w;
    }
    for (int side = 0; side < SIDE_COUNT; side++)
        for (size_t b = 0; b < evidence->band_count; b++)
            pass->ln_rise[side][b] /= weight[side][b];
}

static void solve(const struct propagation_setup *setup, const struct errors *errors,
                  struct pass *pass)
{
    double y[ESTIMATE_HOLDS_MAX];
    rises(setup, errors, y);
    band_levels(setup, errors, y, pass);
    for (size_t b = 0; b < setup->evidence->band_count;
         b++) { /* to the load of both days together */
        pass->ln_rise[SIDE_BEFORE][b] += 0.5 * errors->control;
        pass->ln_rise[SIDE_AFTER][b] -= 0.5 * errors->control;
    }
    for (int side = 0; side < SIDE_COUNT; side++)
        for (size_t b = 0; b < setup->evidence->band_count; b++) {
            double rise = exp(pass->ln_rise[side][b]);
            double reading = lift_reading(&errors->thermostat, rise, setup->reference_sea);
            pass->reading[side][b] = reading;
            pass->open[side][b] = lift_open_fraction(&errors->thermostat, reading);
        }
}

static void no_errors(const struct propagation_setup *setup, struct errors *errors)
{
    memset(errors, 0, sizeof *errors);
    errors->thermostat = setup->fit->best;
    errors->lag = setup->fit->lag;
    errors->control = setup->control_draws ? setup->control_value : 0;
}

void propagate_value(const struct propagation_setup *setup, struct pass *pass)
{
    struct errors errors;
    no_errors(setup, &errors);
    solve(setup, &errors, pass);
}

/* --- drawing */

struct drawing {
    const struct propagation_setup *setup;
    unsigned terms;
    gsl_rng *own;    /* for what belongs to this engine */
    gsl_rng *shared; /* for what all engines of a run have in common: drawn alike for each */
};

/* A generator in memory of our own: nothing to allocate, nothing to fail. */
#define RNG_TYPE gsl_rng_taus2
struct generator {
    gsl_rng rng;
    uint64_t state[8];
};

static gsl_rng *generator_start(struct generator *generator, uint64_t seed)
{
    assert(RNG_TYPE->size <= sizeof generator->state);
    generator->rng = (gsl_rng){.type = RNG_TYPE, .state = generator->state};
    gsl_rng_set(&generator->rng, (unsigned long)(seed ^ seed >> 32));
    return &generator->rng;
}

static bool has(const struct drawing *drawing, enum budget_id term)
{
    return drawing->terms & (1u << term);
}

static double normal(gsl_rng *rng, double sd)
{
    return gsl_ran_gaussian_ziggurat(rng, sd);
}

/* Sea and day of every run of the answer, in order, whether this engine has holds there or not: so
 * the stream stays in step between engines. */
static void draw_runs(const struct drawing *drawing, struct errors *errors)
{
    const struct propagation_setup *setup = drawing->setup;
    double scale = montecarlo_t_scale(drawing->own, setup->load_df);
    double offset = normal(drawing->shared, sqrt(1 - SEA_OWN * SEA_OWN) * setup->sea_u);
    for (size_t run = 0; run < setup->run_count; run++) {
        double sea = offset + normal(drawing->shared, SEA_OWN * setup->sea_u);
        double day = normal(drawing->shared, 1);
        double own = normal(drawing->own, 1);
        double part = scale * setup->load_u * (setup->load_shared ? day : own);
        if (setup->load_shared && setup->own_u > 0)
            part += setup->own_u * own;
        for (size_t i = 0; i < setup->evidence->run_count; i++) {
            if (setup->evidence->runs[i].run != run)
                continue;
            errors->sea[i] = has(drawing, BUDGET_SEA) ? sea : 0;
            errors->load[i] = has(drawing, BUDGET_LOAD) ? part : 0;
        }
    }
}

static void draw_holds(const struct drawing *drawing, struct errors *errors)
{
    const struct thermostat_fit *fit = drawing->setup->fit;
    double scale = montecarlo_t_scale(drawing->own, fit->df);
    for (size_t i = 0; i < drawing->setup->evidence->count; i++) {
        const struct look *look = &drawing->setup->evidence->looks[i];
        double factor = scale * sqrt(fit->doubt[i]);
        double e = normal(drawing->own, factor * hypot(fit->scatter, look->warming_u));
        double reading = normal(drawing->own, factor * fit->reading_u);
        errors->scatter[i] = has(drawing, BUDGET_SCATTER) ? e : 0;
        errors->scatter_move[i] = has(drawing, BUDGET_RPM) ? e : 0;
        errors->coolant[i] = has(drawing, BUDGET_SCATTER) ? reading : 0;
        errors->slope[i] = 0;
        if (look->reading_u > 0 && has(drawing, BUDGET_RESOLUTION)) {
            errors->coolant[i] += normal(drawing->own, look->reading_u);
            errors->slope[i] = normal(drawing->own, look->slope_u);
        }
    }
}

static void draw_priors(const struct drawing *drawing, struct errors *errors)
{
    const struct curve *curve = &drawing->setup->fit->curve;
    for (size_t p = 0; p < curve->priors; p++) {
        double e = normal(drawing->own, curve->prior_u[p]);
        errors->prior[p] = has(drawing, BUDGET_RPM) ? e : 0;
    }
}

static void draw_thermostat(const struct drawing *drawing, struct errors *errors)
{
    const struct propagation_setup *setup = drawing->setup;
    struct thermostat_node node = thermostat_draw(setup->fit, drawing->own);
    double wave = normal(drawing->own, setup->wave_u);
    errors->thermostat = setup->fit->best;
    errors->lag = has(drawing, BUDGET_LAG) ? node.at[AXIS_LAG] : setup->fit->lag;
    if (has(drawing, BUDGET_THERMOSTAT)) {
        errors->thermostat = thermostat_at(&node);
        errors->thermostat.wave = wave;
    }
}

static void draw_errors(const struct drawing *drawing, size_t k, struct errors *errors)
{
    const struct propagation_setup *setup = drawing->setup;
    draw_thermostat(drawing, errors);
    draw_runs(drawing, errors);
    draw_holds(drawing, errors);
    draw_priors(drawing, errors);
    errors->sender = has(drawing, BUDGET_SENDER) ? normal(drawing->own, setup->sender_u) : 0;
    errors->control = 0;
    if (setup->control_draws)
        errors->control =
            has(drawing, BUDGET_CONTROL) ? setup->control_draws[k] : setup->control_value;
}

/* --- columns: reading and ln K per side, then change and ln ratio, then the pooled ratio */

static double *column(const struct propagation *p, size_t kind, size_t band)
{
    return p->columns + (kind * p->bands + band) * p->draws;
}

double *propagation_reading(const struct propagation *p, enum side side, size_t band)
{
    return column(p, side, band);
}

double *propagation_ln_rise(const struct propagation *p, enum side side, size_t band)
{
    return column(p, SIDE_COUNT + side, band);
}

double *propagation_change(const struct propagation *p, size_t band)
{
    return column(p, 2 * SIDE_COUNT, band);
}

double *propagation_ln_ratio(const struct propagation *p, size_t band)
{
    return column(p, 2 * SIDE_COUNT + 1, band);
}

double *propagation_pooled(const struct propagation *p)
{
    return column(p, 2 * SIDE_COUNT + 2, 0);
}

void propagation_free(struct propagation *propagation)
{
    free(propagation->columns);
    *propagation = (struct propagation){0};
}

static void keep(struct propagation *out, size_t k, const struct pass *pass)
{
    for (size_t b = 0; b < out->bands; b++) {
        for (int side = 0; side < SIDE_COUNT; side++) {
            propagation_reading(out, (enum side)side, b)[k] = pass->reading[side][b];
            propagation_ln_rise(out, (enum side)side, b)[k] = pass->ln_rise[side][b];
        }
        propagation_change(out, b)[k] =
            pass->reading[SIDE_AFTER][b] - pass->reading[SIDE_BEFORE][b];
        propagation_ln_ratio(out, b)[k] =
            pass->ln_rise[SIDE_AFTER][b] - pass->ln_rise[SIDE_BEFORE][b];
    }
}

static enum status allocate(const struct propagation_setup *setup, size_t draws,
                            struct propagation *out)
{
    propagation_free(out);
    out->draws = draws;
    out->bands = setup->evidence->band_count;
    size_t columns = (2 * SIDE_COUNT + 2) * out->bands + 2;
    out->columns = calloc(columns * draws, sizeof(double));
    if (!out->columns)
        return STATUS_MEMORY;
    out->scratch = out->columns + (columns - 1) * draws;
    return STATUS_OK;
}

enum status propagate_draws(const struct propagation_setup *setup, unsigned terms, size_t draws,
                            struct propagation *out)
{
    struct generator own, shared;
    struct drawing drawing = {
        .setup = setup,
        .terms = terms,
        .own = generator_start(&own, setup->own_seed),
        .shared = generator_start(&shared, setup->seed),
    };
    enum status status = allocate(setup, draws, out);
    if (status != STATUS_OK)
        return status;
    struct errors errors;
    struct pass pass;
    no_errors(setup, &errors);
    for (size_t k = 0; k < draws; k++) {
        draw_errors(&drawing, k, &errors);
        solve(setup, &errors, &pass);
        keep(out, k, &pass);
    }
    return STATUS_OK;
}
