/* thermostat.c - see thermostat.h. */
#include "thermostat.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PASSES 2
#define NARROW 8.0   /* ln of posterior below the top that still belongs to the region */
#define SPAN_MIN 3.0 /* K */
#define BOW_MEAN 0.0 /* most valves are near a straight line, ... */
#define BOW_U 0.045  /* ... */
#define BOW_DF 2.0   /* ... a few share out the flow and are far from it: Student's t (no source) */
#define HOLD_USUAL                                                                                 \
    0.015 /* of ln K from hold to hold: load, wind, helm (common practice, no source) */
#define HOLD_USUAL_FUEL 0.007 /* ... where fuel rate has told the load */
#define FLOOR_DF                                                                                   \
    2 /* holds that the usual scatter counts for, so that a lucky fit does not look perfect */
#define READING_USUAL 0.03 /* K from hold to hold: play of the valve, noise of the sender */
#define HOLD_FACTOR 1.5    /* that the usual scatter may be off by, one standard deviation */
#define READING_FACTOR                                                                             \
    2.5 /* the same for the reading: valves have from nearly no play to 2 K (no source) */
#define DOUBT_DF 4.0 /* holds scatter with tails like Student's t */
#define DOUBT_KEEPS                                                                                \
    0.80 /* of a normal scatter that those weights leave (0.786 by quadrature, and
                               weights that sum up to 1.05) */
#define DOUBT_ROUNDS 2
#define DF_ENOUGH 8.0 /* below it the usual scatter tops the degrees of freedom up ... */
#define DF_TOP_UP 4.0 /* ... by at most this */
#define DF_LEAST 1.0
#define RATIOS 7
#define SIDE_LAG_MOST 0.35 /* ln: no more than a doubling from side to side is believed */

struct thermostat_prior thermostat_prior_make(double start, double full, double u, double lag,
                                              double lag_u)
{
    bool rated = isfinite(start) && isfinite(full) && full > start;
    struct thermostat_prior prior = {
        .rated = rated,
        .mean = {74, 10.5, BOW_MEAN, lag},
        .u = {10, 2.5, BOW_U, lag_u},
        .low = {-INFINITY, 5, -0.15, fmax(lag - 2.5 * lag_u, 5)},
        .high = {INFINITY, 18, 0.33, lag + 2.5 * lag_u},
    };
    if (!rated)
        return prior;
    /* Start and full open are off alike in half of their variance: the span, their difference, is
     * then as unsure as either, and a late start means a narrow span. */
    prior.mean[AXIS_START] = start;
    prior.mean[AXIS_SPAN] = full - start;
    prior.u[AXIS_START] = prior.u[AXIS_SPAN] = u;
    prior.correlation = -0.5;
    prior.low[AXIS_START] = start - 3.5 * u;
    prior.high[AXIS_START] = start + 3.5 * u;
    prior.low[AXIS_SPAN] = fmax(SPAN_MIN, full - start - 3.5 * u);
    prior.high[AXIS_SPAN] = full - start + 3.5 * u;
    return prior;
}

void thermostat_free(struct thermostat_fit *fit)
{
    free(fit->nodes);
    free(fit->variance);
    curve_free(&fit->curve);
    *fit = (struct thermostat_fit){0};
}

double thermostat_ln_rise(const struct thermostat *thermostat, const struct look *look, double lag)
{
    return log(lift_open_rise(thermostat, look->coolant, look->sea, look->slope, lag)) - look->load;
}

double thermostat_lag(const struct thermostat_fit *fit, const struct look *look, double lag)
{
    return lag * look->lag_factor * fit->side_lag[look->side];
}

/* The heat store is the same on both sides, the conductance is not: the side with the higher open
 * rise settles more slowly by the same ratio. Both are counted from their mean. */
static void set_side_lag(struct thermostat_fit *fit, const struct evidence *evidence)
{
    double level[SIDE_COUNT] = {0}, runs[SIDE_COUNT] = {0}, highest = -INFINITY;
    for (size_t i = 0; i < evidence->count; i++)
        highest = fmax(highest, evidence->looks[i].ln_speed);
    for (size_t r = 0; r < evidence->run_count; r++) {
        enum side side = evidence->runs[r].side;
        level[side] += fit->curve.beta[r];
        runs[side]++;
    }
    for (int side = 0; side < SIDE_COUNT; side++)
        level[side] = level[side] / runs[side] + curve_shape(&fit->curve, (enum side)side, highest);
    double half = 0.5 * (level[SIDE_AFTER] - level[SIDE_BEFORE]);
    half = fmin(fmax(half, -SIDE_LAG_MOST), SIDE_LAG_MOST);
    fit->side_lag[SIDE_BEFORE] = exp(-half);
    fit->side_lag[SIDE_AFTER] = exp(half);
}

struct thermostat thermostat_at(const struct thermostat_node *node)
{
    return (struct thermostat){
        .start = node->at[AXIS_START],
        .full = node->at[AXIS_START] + node->at[AXIS_SPAN],
        .bow = node->at[AXIS_BOW],
    };
}

/* d(ln K)/dT of a look, 1/K. */
static double steepness(const struct thermostat *thermostat, const struct look *look)
{
    double open = fmax(lift_open_fraction(thermostat, look->coolant), LIFT_OPEN_MIN);
    return lift_open_slope(thermostat, look->coolant) / open +
           1 / fmax(look->coolant - look->sea, 1);
}

/* Variance of ln K of a look over scatter^2: 1 from hold to hold, more where the reading is unsure
 * (by `ratio` * scatter in K, and by the step of the sender) and the thermostat makes ln K steep,
 * or where the engine was not warm for long. */
static double variance_of(const struct thermostat_fit *fit, const struct look *look, double steep)
{
    double moved = fit->lag * look->lag_factor * look->slope_u / (look->coolant - look->sea);
    double step = hypot(look->reading_u, moved) / fit->scatter;
    double relative = hypot(steep * hypot(step, fit->ratio), look->warming_u / fit->scatter);
    return 1 + fmin(relative * relative, 1e4);
}

/* --- the grid */

struct axis {
    double low, high;
    size_t count;
};

struct grid {
    struct axis axis[AXIS_COUNT];
};

static double cell(const struct axis *axis)
{
    return (axis->high - axis->low) / (double)axis->count;
}

static double lowest_coolant(const struct evidence *evidence)
{
    double lowest = INFINITY;
    for (size_t i = 0; i < evidence->count; i++)
        lowest = fmin(lowest, evidence->looks[i].coolant);
    return lowest;
}

/* The whole prior, coarsely. Without a rating the start lies at most a little above the coolest
 * hold; further below than 25 K all holds were wide open and its place makes no difference. */
static struct grid first_grid(const struct evidence *evidence, const struct thermostat_prior *prior)
{
    static const size_t rated[AXIS_COUNT] = {8, 6, 4, 3}, unrated[AXIS_COUNT] = {20, 6, 4, 3};
    struct grid grid;
    for (int a = 0; a < AXIS_COUNT; a++)
        grid.axis[a] =
            (struct axis){prior->low[a], prior->high[a], prior->rated ? rated[a] : unrated[a]};
    if (!prior->rated) {
        grid.axis[AXIS_START].low = lowest_coolant(evidence) - 25;
        grid.axis[AXIS_START].high = lowest_coolant(evidence) + 1;
    }
    return grid;
}

/* The part of the last grid that the posterior fills, more finely. */
static struct grid narrower_grid(const struct thermostat_fit *fit)
{
    static const size_t counts[AXIS_COUNT] = {10, 7, 5, 4};
    struct grid grid;
    double top = -INFINITY;
    for (int a = 0; a < AXIS_COUNT; a++)
        grid.axis[a] = (struct axis){INFINITY, -INFINITY, counts[a]};
    for (size_t i = 0; i < fit->count; i++)
        top = fmax(top, fit->nodes[i].log_weight);
    for (size_t i = 0; i < fit->count; i++) {
        const struct thermostat_node *node = &fit->nodes[i];
        if (node->log_weight < top - NARROW)
            continue;
        for (int a = 0; a < AXIS_COUNT; a++) {
            struct axis *axis = &grid.axis[a];
            axis->low = fmin(axis->low, node->at[a] - 0.5 * fit->cell[a]);
            axis->high = fmax(axis->high, node->at[a] + 0.5 * fit->cell[a]);
        }
    }
    return grid;
}

static double log_prior(const struct thermostat_prior *prior, const struct thermostat_node *node)
{
    double z[AXIS_COUNT], r = prior->correlation;
    for (int a = 0; a < AXIS_COUNT; a++)
        z[a] = (node->at[a] - prior->mean[a]) / prior->u[a];
    double pair = z[AXIS_START] * z[AXIS_START] - 2 * r * z[AXIS_START] * z[AXIS_SPAN] +
                  z[AXIS_SPAN] * z[AXIS_SPAN];
    double bow = (BOW_DF + 1) * log1p(z[AXIS_BOW] * z[AXIS_BOW] / BOW_DF);
    return -0.5 * (pair / (1 - r * r) + bow + z[AXIS_LAG] * z[AXIS_LAG]);
}

/* ln of the likelihood with levels, slopes and scatter integrated out: scatter^-2 is gamma, so the
 * residual sum comes to a power. The steepness turns a density of ln K into one of the reading. The
 * curve is solved with the weights of the last best thermostat, the sum taken with those of
 * this. */
static double log_likelihood(struct thermostat_fit *fit, const struct evidence *evidence,
                             const struct thermostat_node *node)
{
    struct thermostat at = thermostat_at(node);
    double density = 0, product = 1, df = FLOOR_DF;
    for (size_t i = 0; i < evidence->count; i++) {
        const struct look *look = &evidence->looks[i];
        double steep = steepness(&at, look), variance = variance_of(fit, look, steep);
        fit->curve.y[i] =
            thermostat_ln_rise(&at, look, thermostat_lag(fit, look, node->at[AXIS_LAG]));
        fit->curve.regression.weight[i] = 1 / (fit->doubt[i] * variance);
        product *= steep * steep / variance;
        if (i % 16 == 15) { /* one logarithm for many, before the product leaves the range */
            density += log(product);
            product = 1;
        }
    }
    df += fit->curve.regression.effective_df;
    double sum = curve_solve(&fit->curve) + FLOOR_DF * fit->usual * fit->usual;
    return 0.5 * (density + log(product) - df * log(sum));
}

/* The middle of cell `number` of the grid, counted with the last axis fastest. */
static void place(const struct grid *grid, size_t number, struct thermostat_node *node)
{
    for (int a = AXIS_COUNT - 1; a >= 0; a--) {
        const struct axis *axis = &grid->axis[a];
        node->at[a] = axis->low + cell(axis) * ((double)(number % axis->count) + 0.5);
        number /= axis->count;
    }
}

static void weigh_grid(struct thermostat_fit *fit, const struct evidence *evidence,
                       const struct thermostat_prior *prior, const struct grid *grid)
{
    fit->count = 1;
    for (int a = 0; a < AXIS_COUNT; a++) {
        fit->cell[a] = cell(&grid->axis[a]);
        fit->count *= grid->axis[a].count;
    }
    assert(fit->count <= THERMOSTAT_NODES_MAX);
    for (size_t i = 0; i < fit->count; i++) {
        struct thermostat_node *node = &fit->nodes[i];
        place(grid, i, node);
        node->log_weight = log_prior(prior, node) + log_likelihood(fit, evidence, node);
    }
}

/* Cumulative shares of the posterior. */
static void accumulate(struct thermostat_fit *fit)
{
    double top = -INFINITY, total = 0;
    for (size_t i = 0; i < fit->count; i++)
        top = fmax(top, fit->nodes[i].log_weight);
    for (size_t i = 0; i < fit->count; i++)
        fit->nodes[i].cumulative = total += exp(fit->nodes[i].log_weight - top);
    for (size_t i = 0; i < fit->count; i++)
        fit->nodes[i].cumulative /= total;
}

/* Means and standard deviations of the posterior. */
static void summarise(struct thermostat_fit *fit)
{
    double mean[AXIS_COUNT + 1] = {0}, square[AXIS_COUNT + 1] = {0}, last = 0;
    accumulate(fit);
    for (size_t i = 0; i < fit->count; i++) {
        const struct thermostat_node *node = &fit->nodes[i];
        double weight = node->cumulative - last;
        last = node->cumulative;
        for (int a = 0; a <= AXIS_COUNT; a++) {
            double value =
                a < AXIS_COUNT ? node->at[a] : node->at[AXIS_START] + node->at[AXIS_SPAN];
            mean[a] += weight * value;
            square[a] += weight * value * value;
        }
    }
    struct thermostat_node centre = {0};
    memcpy(centre.at, mean, sizeof centre.at);
    fit->best = thermostat_at(&centre);
    fit->lag = mean[AXIS_LAG];
    for (int a = 0; a < AXIS_COUNT; a++)
        fit->u[a] = sqrt(fmax(square[a] - mean[a] * mean[a], 0));
    fit->full_u = sqrt(fmax(square[AXIS_COUNT] - mean[AXIS_COUNT] * mean[AXIS_COUNT], 0));
}

/* --- scatter */

/* Part of a parameter that the holds settled, 0 .. 1: it costs as many degrees of freedom. */
static double learned(double posterior_u, double prior_u)
{
    return fmin(fmax(1 - posterior_u * posterior_u / (prior_u * prior_u), 0), 1);
}

/* Residual sum over the looks alone, and what the curve took of their degrees of freedom. */
static double look_residuals(const struct thermostat_fit *fit, const struct evidence *evidence,
                             double *taken)
{
    const struct regression *r = &fit->curve.regression;
    double sum = 0;
    *taken = 0;
    for (size_t i = 0; i < evidence->count; i++) {
        double residual = fit->curve.y[i];
        for (size_t c = 0; c < r->columns; c++) {
            residual -= r->design[i * r->columns + c] * fit->curve.beta[c];
            *taken += r->design[i * r->columns + c] * r->operate[c * r->rows + i];
        }
        sum += r->weight[i] * residual * residual;
    }
    return sum;
}

static const struct curve_prior *curve_prior_for(const struct thermostat_prior *prior)
{
    static const struct curve_prior rated = {1.85, 0.45, 0.2, 0.3, 0.3, 0.02, 0.07};
    static const struct curve_prior unrated = {1.85, 0.25, 0.2, 0.3, 0.3, 0.02, 0.07};
    return prior->rated ? &rated : &unrated;
}

static void spread_variance(struct thermostat_fit *fit, const struct evidence *evidence)
{
    for (size_t i = 0; i < evidence->count; i++) {
        const struct look *look = &evidence->looks[i];
        fit->steep[i] = steepness(&fit->best, look);
        fit->variance[i] = fit->doubt[i] * variance_of(fit, look, fit->steep[i]);
    }
}

/* Prepares the curve with the weights for a ratio, solves it at the best thermostat, and takes the
 * scatter from its residuals. */
static enum status take_scatter(struct thermostat_fit *fit, const struct evidence *evidence,
                                const struct thermostat_prior *prior, double ratio)
{
    fit->ratio = ratio;
    spread_variance(fit, evidence);
    enum status status = curve_prepare(&fit->curve, evidence, curve_prior_for(prior), fit->variance,
                                       fit->steep, fit->scatter);
    if (status != STATUS_OK)
        return status;
    for (size_t i = 0; i < evidence->count; i++) {
        const struct look *look = &evidence->looks[i];
        fit->curve.y[i] = thermostat_ln_rise(&fit->best, look, thermostat_lag(fit, look, fit->lag));
    }
    curve_solve(&fit->curve);
    double taken;
    double sum = look_residuals(fit, evidence, &taken);
    for (int a = 0; a < AXIS_COUNT; a++)
        taken += learned(fit->u[a], prior->u[a]);
    double df = fmax((double)evidence->count - taken, 0);
    double usual = fmin(fmax(DF_ENOUGH - df, 0), DF_TOP_UP);
    fit->df = fmax(df + usual, DF_LEAST);
    sum += usual * fit->usual * fit->usual;
    fit->scatter = fmax(sqrt(sum / fit->df / DOUBT_KEEPS), 1e-4);
    fit->reading_u = ratio * fit->scatter;
    return STATUS_OK;
}

/* Doubts holds that lie far off the curve (a wake, a turn, an engine not yet warm): the weights of
 * Student's t with DOUBT_DF degrees of freedom, so that one bad hold neither moves a band nor
 * widens all intervals. Nothing is dropped. */
static void doubt_outliers(struct thermostat_fit *fit, const struct evidence *evidence)
{
    const struct regression *r = &fit->curve.regression;
    for (size_t i = 0; i < evidence->count; i++) {
        double residual = fit->curve.y[i], taken = 0;
        for (size_t c = 0; c < r->columns; c++) {
            residual -= r->design[i * r->columns + c] * fit->curve.beta[c];
            taken += r->design[i * r->columns + c] * r->operate[c * r->rows + i];
        }
        double variance = fit->variance[i] / fit->doubt[i] * fmax(1 - taken, 0.1);
        double z2 = residual * residual / (variance * fit->scatter * fit->scatter);
        fit->doubt[i] = (DOUBT_DF + z2) / (DOUBT_DF + 1);
    }
}

/* ln of the restricted likelihood of the weights in use, with what is usual for both parts. Levels,
 * slopes and all are integrated out with their priors: their columns count in full, because the
 * determinant holds the priors too, over the same scatter. */
static double log_restricted(struct thermostat_fit *fit, const struct evidence *evidence)
{
    const struct regression *r = &fit->curve.regression;
    double spare = (double)evidence->count - (double)r->columns;
    double sum = 2 * spare * log(fit->scatter) + r->log_determinant;
    sum += curve_solve(&fit->curve) / (fit->scatter * fit->scatter);
    for (size_t i = 0; i < evidence->count; i++)
        sum += log(fit->variance[i]);
    double reading = log(fit->reading_u / READING_USUAL) / log(READING_FACTOR);
    double scatter = log(fit->scatter / fit->usual) / log(HOLD_FACTOR);
    return -0.5 * (sum + reading * reading + scatter * scatter);
}

/* Splits the scatter into one of ln K and one of the reading: the first is what load and throttle
 * do, the second what the valve and the sender do; near the start of opening only the second
 * shows. Restricted likelihood of their ratio, whose logarithm is averaged. */
static enum status split_scatter(struct thermostat_fit *fit, const struct evidence *evidence,
                                 const struct thermostat_prior *prior)
{
    static const double ratios[RATIOS] = {0.7, 1.5, 3, 6, 12, 24, 48}; /* K per unit of ln K */
    double value[RATIOS], top = -INFINITY, before = fit->scatter, total = 0, sum = 0;
    for (size_t i = 0; i < RATIOS; i++) {
        fit->scatter = before;
        enum status status = take_scatter(fit, evidence, prior, ratios[i]);
        if (status != STATUS_OK)
            return status;
        value[i] = log_restricted(fit, evidence);
        top = fmax(top, value[i]);
    }
    for (size_t i = 0; i < RATIOS; i++) {
        total += exp(value[i] - top);
        sum += exp(value[i] - top) * log(ratios[i]);
    }
    double ratio = exp(sum / total);
    fit->scatter = before;
    enum status status = take_scatter(fit, evidence, prior, ratio);
    for (int i = 0; status == STATUS_OK && i < DOUBT_ROUNDS; i++) {
        doubt_outliers(fit, evidence);
        status = take_scatter(fit, evidence, prior, ratio);
    }
    return status;
}

enum status thermostat_fit_holds(struct thermostat_fit *fit, const struct evidence *evidence,
                                 const struct thermostat_prior *prior)
{
    thermostat_free(fit);
    fit->nodes = calloc(THERMOSTAT_NODES_MAX, sizeof *fit->nodes);
    fit->variance = calloc(3 * evidence->count + 1, sizeof *fit->variance);
    if (!fit->nodes || !fit->variance)
        return STATUS_MEMORY;
    fit->steep = fit->variance + evidence->count;
    fit->doubt = fit->steep + evidence->count;
    for (size_t i = 0; i < evidence->count; i++)
        fit->doubt[i] = 1;
    fit->side_lag[SIDE_BEFORE] = fit->side_lag[SIDE_AFTER] = 1;
    struct grid grid = first_grid(evidence, prior);
    struct thermostat_node first = {0};
    memcpy(first.at, prior->mean, sizeof first.at);
    memcpy(fit->u, prior->u, sizeof fit->u);
    if (!prior->rated) /* begin below all readings, so that none is thought to lie at the start */
        first.at[AXIS_START] = lowest_coolant(evidence) - 3;
    fit->best = thermostat_at(&first);
    fit->lag = prior->mean[AXIS_LAG];
    fit->usual = strcmp(evidence->load_from, "fuel_rate") == 0 ? HOLD_USUAL_FUEL : HOLD_USUAL;
    fit->scatter = fit->usual;
    enum status status = take_scatter(fit, evidence, prior, READING_USUAL / fit->usual);
    for (int pass = 0; status == STATUS_OK && pass < PASSES; pass++) {
        weigh_grid(fit, evidence, prior, &grid);
        summarise(fit);
        grid = narrower_grid(fit);
        status = split_scatter(fit, evidence, prior);
        set_side_lag(fit, evidence);
    }
    return status;
}

/* --- drawing */

struct thermostat_node thermostat_draw(const struct thermostat_fit *fit, gsl_rng *rng)
{
    double share = gsl_rng_uniform(rng);
    size_t low = 0, high = fit->count - 1;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (fit->nodes[middle].cumulative < share)
            low = middle + 1;
        else
            high = middle;
    }
    struct thermostat_node node = fit->nodes[low];
    for (int a = 0; a < AXIS_COUNT; a++)
        node.at[a] += fit->cell[a] * (gsl_rng_uniform(rng) - 0.5);
    node.at[AXIS_SPAN] = fmax(node.at[AXIS_SPAN], SPAN_MIN);
    node.at[AXIS_LAG] = fmax(node.at[AXIS_LAG], 1);
    return node;
}
