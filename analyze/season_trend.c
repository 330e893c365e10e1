/* season_trend.c - see season_trend.h. */
#include "season_trend.h"

#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DAY 365.25 /* days a year */
#define DAY_USUAL                                                                                  \
    0.02           /* of ln K from day to day: load, trim, hull (common practice, no source), ... */
#define DAY_DF 2.0 /* ... which counts for so many outings */
#define SEA_U                                                                                      \
    0.004           /* 1/K: films are thinner in warm water, a few tenths of a per cent a kelvin \
                       (common practice, no source) */
#define LOAD_U 0.3  /* heat goes with the load that is measured, to a power near 1 */
#define SLOPE_U 0.3 /* 1/year: growth of the open rise; wide */
#define SPREAD_USUAL 0.08 /* 1/year: how unlike stretches foul */
#define VALUE_LEAST 0.05
#define ROUNDS 4
#define NEGLIGIBLE 1e-4 /* share of a cell that is left out */
#define GROUND 1e-6     /* K of ln K: least standard deviation of a level */

static const double reaches[] = {0, 20 / DAY, 70 / DAY, 200 / DAY};
static const double reach_share[] = {0.5, 0.2, 0.2, 0.1};
static const double spreads[] = {0.01, 0.03, 0.08, 0.2};
#define REACHES (sizeof reaches / sizeof reaches[0])
#define SPREADS (sizeof spreads / sizeof spreads[0])
#define SIGMAS 12
#define SIGMA_LOW 0.002
#define SIGMA_HIGH 0.15

/* Columns before those of the stretches. */
enum column { COLUMN_SLOPE, COLUMN_SEA, COLUMN_LOAD, COLUMN_SEASON, COLUMN_SEGMENTS };

static void free_cell(struct trend_cell *cell)
{
    season_gls_free(&cell->fit);
    free(cell->moves);
}

void trend_free(struct trend_fit *fit)
{
    for (size_t i = 0; i < fit->cell_count; i++)
        free_cell(&fit->cells[i]);
    free(fit->cells);
    *fit = (struct trend_fit){0};
}

/* --- what F is made of */

/* How far fouling has come along at a use: years, or the share of the way to the limit. */
static double progress(const struct trend_fit *fit, size_t segment, double use)
{
    double age = use - fit->origin[segment];
    return fit->tends > 0 ? 1 - exp(-fmax(age, 0) / fit->tends) : age;
}

double trend_value(const struct trend_fit *fit, const struct trend_state *state, size_t segment,
                   double use)
{
    return fmax(state->level[segment] + state->slope[segment] * progress(fit, segment, use),
                VALUE_LEAST);
}

double trend_reaches(const struct trend_fit *fit, const struct trend_state *state, size_t segment,
                     double value, double now)
{
    double slope = state->slope[segment], way;
    if (trend_value(fit, state, segment, now) >= value)
        return now;
    if (slope <= 0)
        return INFINITY;
    way = (value - state->level[segment]) / slope;
    if (fit->tends > 0)
        return way < 1 ? fmax(fit->origin[segment] - fit->tends * log(1 - way), now) : INFINITY;
    return fmax(fit->origin[segment] + way, now);
}

/* Where the time of each stretch counts from: its beginning, or for straight lines the middle of
 * its outings, where level and slope hardly depend on each other. */
static void set_origins(const struct trend_job *job, struct trend_fit *out)
{
    double sum[SEGMENTS_MAX] = {0}, count[SEGMENTS_MAX] = {0};
    for (size_t i = 0; i < job->run_count; i++) {
        sum[job->runs[i].segment] += job->runs[i].use;
        count[job->runs[i].segment]++;
    }
    for (size_t s = 0; s < job->segment_count; s++)
        out->origin[s] = job->tends > 0 || count[s] == 0 ? job->from[s] : sum[s] / count[s];
}

/* Cholesky factor of the covariance of the parameters that any outing leans on. */
static void factor_leans(const struct trend_job *job, struct trend_fit *out)
{
    size_t n = out->lean_count;
    double *f = out->lean_factor;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j <= i; j++) {
            double sum =
                job->covariance[out->lean_index[i] * LEVEL_PARAMETERS + out->lean_index[j]];
            for (size_t k = 0; k < j; k++)
                sum -= f[i * n + k] * f[j * n + k];
            f[i * n + j] = i == j ? sqrt(fmax(sum, 0)) : f[j * n + j] > 0 ? sum / f[j * n + j] : 0;
        }
}

static void set_leans(const struct trend_job *job, struct trend_fit *out)
{
    for (unsigned k = 0; k < LEVEL_PARAMETERS && job->covariance; k++)
        for (size_t i = 0; i < job->run_count; i++)
            if (job->runs[i].lean && job->runs[i].lean[k] != 0) {
                out->lean_index[out->lean_count++] = k;
                break;
            }
    factor_leans(job, out);
}

/* --- the regression */

struct build {
    const struct trend_job *job;
    struct trend_fit *fit;
    double *at, *y, *variance, *design, *prior, *middle; /* within one memory */
    double *value;                                       /* F of each run, at the last solution */
    double scale; /* of slopes: years over what `progress` makes of them, in a usual stretch */
};

static size_t level_column(size_t segment)
{
    return COLUMN_SEGMENTS + segment;
}

/* Columns of the stretches' slopes about the common one; there is none for a single stretch. */
static size_t slope_column(const struct trend_fit *fit, size_t segment)
{
    return COLUMN_SEGMENTS + fit->segment_count + segment;
}

static size_t column_count(const struct trend_fit *fit)
{
    return COLUMN_SEGMENTS + fit->segment_count * (fit->segment_count > 1 ? 2 : 1);
}

static void fill_row(const struct build *b, size_t i)
{
    const struct trend_run *run = &b->job->runs[i];
    const struct trend_fit *fit = b->fit;
    double *row = b->design + i * fit->columns, value = b->value[i];
    double along = run->carry * progress(fit, run->segment, run->use) / value;
    memset(row, 0, fit->columns * sizeof *row);
    row[COLUMN_SLOPE] = along;
    row[COLUMN_SEA] = run->sea;
    row[COLUMN_LOAD] = run->load;
    row[COLUMN_SEASON] = run->season;
    row[level_column(run->segment)] = run->carry / value;
    if (fit->segment_count > 1)
        row[slope_column(fit, run->segment)] = along;
    b->at[i] = run->at;
    b->y[i] = run->level - fit->base + run->carry * (1 - log(value));
    b->variance[i] = fmax(run->variance, GROUND * GROUND);
}

static void fill_prior(const struct build *b, double spread)
{
    const struct trend_fit *fit = b->fit;
    size_t n = fit->columns;
    memset(b->prior, 0, n * n * sizeof *b->prior);
    b->prior[COLUMN_SLOPE * n + COLUMN_SLOPE] = 1 / (SLOPE_U * b->scale * SLOPE_U * b->scale);
    b->prior[COLUMN_SEA * n + COLUMN_SEA] = 1 / (SEA_U * SEA_U);
    b->prior[COLUMN_LOAD * n + COLUMN_LOAD] = 1 / (LOAD_U * LOAD_U);
    double season_u = fmax(b->job->season_u, GROUND);
    b->prior[COLUMN_SEASON * n + COLUMN_SEASON] = 1 / (season_u * season_u);
    spread *= b->scale;
    for (size_t s = 0; s < fit->segment_count && fit->segment_count > 1; s++)
        b->prior[slope_column(fit, s) * n + slope_column(fit, s)] = 1 / (spread * spread);
    memset(b->middle, 0, n * sizeof *b->middle);
    b->middle[COLUMN_LOAD] = 1;
}

static enum status solve(const struct build *b, struct trend_cell *cell)
{
    struct season_gls job = {
        .rows = b->job->run_count,
        .columns = b->fit->columns,
        .at = b->at,
        .y = b->y,
        .variance = b->variance,
        .design = b->design,
        .prior = b->prior,
        .middle = b->middle,
    };
    fill_prior(b, cell->spread);
    season_gls_free(&cell->fit);
    return season_gls_solve(&job, cell->sigma, cell->reach, &cell->fit);
}

/* --- the grid */

/* ln of the prior of a cell, with the determinant of the prior of the slopes. Sigma and spread lie
 * evenly in their logarithms. */
static double log_prior(const struct build *b, const struct trend_cell *cell, size_t reach_index)
{
    const struct trend_fit *fit = b->fit;
    double usual = DAY_USUAL / cell->sigma;
    double log_share = log(reach_share[reach_index]);
    double day = DAY_DF * log(usual) - 0.5 * DAY_DF * usual * usual;
    log_share -= log(b->scale); /* of the common slope */
    if (fit->segment_count == 1)
        return log_share + day;
    double unlike = cell->spread / SPREAD_USUAL;
    return log_share + day + log(cell->spread) - 0.5 * unlike * unlike -
           (double)fit->segment_count * log(cell->spread * b->scale);
}

static enum status weigh_cells(const struct build *b)
{
    struct trend_fit *fit = b->fit;
    double top = -INFINITY, total = 0;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < fit->cell_count && !status; i++) {
        struct trend_cell *cell = &fit->cells[i];
        status = solve(b, cell);
        if (status)
            break;
        cell->weight = cell->fit.log_density + log_prior(b, cell, i % REACHES);
        top = fmax(top, cell->weight);
    }
    for (size_t i = 0; i < fit->cell_count && !status; i++)
        total += fit->cells[i].weight = exp(fit->cells[i].weight - top);
    for (size_t i = 0; i < fit->cell_count && !status; i++)
        fit->cells[i].weight /= total;
    fit->evidence = top + log(total);
    return status;
}

static enum status make_cells(struct trend_fit *fit)
{
    size_t unlike = fit->segment_count > 1 ? SPREADS : 1;
    fit->cells = calloc(SIGMAS * REACHES * unlike, sizeof *fit->cells);
    if (!fit->cells)
        return STATUS_MEMORY;
    for (size_t u = 0; u < unlike; u++)
        for (size_t s = 0; s < SIGMAS; s++)
            for (size_t r = 0; r < REACHES; r++)
                fit->cells[fit->cell_count++] = (struct trend_cell){
                    .sigma =
                        SIGMA_LOW * pow(SIGMA_HIGH / SIGMA_LOW, (double)s / (double)(SIGMAS - 1)),
                    .reach = reaches[r],
                    .spread = spreads[u],
                };
    return STATUS_OK;
}

static struct trend_cell *best_cell(const struct trend_fit *fit)
{
    struct trend_cell *best = &fit->cells[0];
    for (size_t i = 1; i < fit->cell_count; i++)
        if (fit->cells[i].weight > best->weight)
            best = &fit->cells[i];
    return best;
}

/* --- states */

static void state_of(const struct trend_fit *fit, const struct trend_cell *cell, const double *beta,
                     struct trend_state *out)
{
    memset(out, 0, sizeof *out);
    out->base = fit->base;
    out->sea = beta[COLUMN_SEA];
    out->load = beta[COLUMN_LOAD];
    out->season = beta[COLUMN_SEASON];
    out->day = cell->sigma;
    out->reach = cell->reach;
    for (size_t s = 0; s < fit->segment_count; s++) {
        out->level[s] = beta[level_column(s)];
        out->slope[s] = beta[COLUMN_SLOPE];
        if (fit->segment_count > 1)
            out->slope[s] += beta[slope_column(fit, s)];
    }
}

static void refill(const struct build *b)
{
    for (size_t i = 0; i < b->job->run_count; i++)
        fill_row(b, i);
}

/* F is the exponential of what is linear: the columns are taken at the last solution. */
static enum status iterate(const struct build *b)
{
    struct trend_fit *fit = b->fit;
    refill(b);
    enum status status = weigh_cells(b);
    for (unsigned round = 0; round < ROUNDS && !status; round++) {
        struct trend_cell *best = best_cell(fit);
        struct trend_state state;
        state_of(fit, best, best->fit.beta, &state);
        for (size_t i = 0; i < b->job->run_count; i++) {
            const struct trend_run *run = &b->job->runs[i];
            b->value[i] = fmin(fmax(trend_value(fit, &state, run->segment, run->use), 0.2), 5);
        }
        refill(b);
        status = solve(b, best);
    }
    return status ? status : weigh_cells(b);
}

static void add_scaled(double *to, const double *from, size_t count, double weight)
{
    for (size_t i = 0; i < count; i++)
        to[i] += weight * from[i];
}

/* Posterior means; leaves only cells that count, with their cumulative shares. */
static void conclude(struct trend_fit *fit)
{
    size_t kept = 0;
    double cumulative = 0;
    struct trend_state *middle = &fit->middle, state;
    memset(middle, 0, sizeof *middle);
    for (size_t i = 0; i < fit->cell_count; i++) {
        struct trend_cell cell = fit->cells[i];
        if (cell.weight < NEGLIGIBLE) {
            free_cell(&cell);
            continue;
        }
        state_of(fit, &cell, cell.fit.beta, &state);
        add_scaled((double *)middle, (const double *)&state, sizeof state / sizeof(double),
                   cell.weight);
        cell.cumulative = cumulative += cell.weight;
        fit->cells[kept++] = cell;
    }
    fit->cell_count = kept;
    for (size_t i = 0; i < kept; i++)
        fit->cells[i].cumulative /= cumulative;
    for (size_t i = 0; i < sizeof *middle / sizeof(double); i++)
        ((double *)middle)[i] /= cumulative;
}

/* How far each shared parameter moves the coefficients of a cell: the same regression, of its
 * leans. */
static enum status find_moves(const struct build *b, struct trend_cell *cell)
{
    struct trend_fit *fit = b->fit;
    struct season_gls job = {
        .rows = b->job->run_count,
        .columns = fit->columns,
        .at = b->at,
        .y = b->y,
        .variance = b->variance,
        .design = b->design,
        .prior = b->prior,
    };
    enum status status = STATUS_OK;
    cell->moves = calloc(fit->lean_count * fit->columns + 1, sizeof *cell->moves);
    if (!cell->moves)
        return STATUS_MEMORY;
    fill_prior(b, cell->spread);
    for (size_t k = 0; k < fit->lean_count && !status; k++) {
        struct season_gls_fit moved;
        for (size_t i = 0; i < b->job->run_count; i++)
            b->y[i] = b->job->runs[i].lean[fit->lean_index[k]];
        status = season_gls_solve(&job, cell->sigma, cell->reach, &moved);
        if (!status)
            memcpy(cell->moves + k * fit->columns, moved.beta, fit->columns * sizeof *moved.beta);
        season_gls_free(&moved);
    }
    return status;
}

static double mean_level(const struct trend_job *job)
{
    double sum = 0, weights = 0;
    for (size_t i = 0; i < job->run_count; i++) {
        double weight = 1 / (job->runs[i].variance + DAY_USUAL * DAY_USUAL);
        sum += weight * job->runs[i].level;
        weights += weight;
    }
    return sum / weights;
}

/* Growth over a usual stretch is what prior knowledge is about, whatever the shape of the line:
 * only so do lines and limits compare. */
static double scale_of(const struct trend_job *job, const struct trend_fit *fit)
{
    double low[SEGMENTS_MAX], high[SEGMENTS_MAX], squares = 0;
    for (size_t s = 0; s < job->segment_count; s++) {
        low[s] = INFINITY;
        high[s] = -INFINITY;
    }
    for (size_t i = 0; i < job->run_count; i++) {
        const struct trend_run *run = &job->runs[i];
        low[run->segment] = fmin(low[run->segment], run->use);
        high[run->segment] = fmax(high[run->segment], run->use);
    }
    for (size_t s = 0; s < job->segment_count; s++)
        squares += (high[s] - low[s]) * (high[s] - low[s]) / (double)job->segment_count;
    double years = fmax(sqrt(squares), 0.05);
    return fit->tends > 0 ? years / (1 - exp(-years / fit->tends)) : 1;
}

static enum status with_memory(const struct trend_job *job, struct trend_fit *out, double *memory)
{
    size_t n = job->run_count, p = out->columns;
    struct build build = {
        .job = job,
        .fit = out,
        .at = memory,
        .y = memory + n,
        .variance = memory + 2 * n,
        .value = memory + 3 * n,
        .design = memory + 4 * n,
        .prior = memory + (4 + p) * n,
        .middle = memory + (4 + p) * n + p * p,
    };
    build.scale = scale_of(job, out);
    for (size_t i = 0; i < n; i++)
        build.value[i] = 1;
    enum status status = make_cells(out);
    if (!status)
        status = iterate(&build);
    if (!status)
        conclude(out);
    for (size_t i = 0; i < out->cell_count && !status; i++)
        status = find_moves(&build, &out->cells[i]);
    return status;
}

enum status trend_make(const struct trend_job *job, struct trend_fit *out)
{
    *out = (struct trend_fit){
        .segment_count = job->segment_count, .run_count = job->run_count, .tends = job->tends};
    if (job->run_count == 0 || job->segment_count == 0)
        return STATUS_BAD_DATA;
    out->base = mean_level(job);
    set_origins(job, out);
    set_leans(job, out);
    out->columns = column_count(out);
    out->df = fmax((double)job->run_count - 1 - (double)job->segment_count, 0) + DAY_DF;
    size_t n = job->run_count, p = out->columns;
    double *memory = calloc((4 + p) * n + p * p + p, sizeof *memory);
    enum status status = memory ? with_memory(job, out, memory) : STATUS_MEMORY;
    free(memory);
    return status;
}

/* What the shared parameters may be off by. */
static void draw_shift(const struct trend_fit *fit, gsl_rng *rng, double *normal, double *shift)
{
    size_t n = fit->lean_count;
    for (size_t k = 0; k < n; k++) {
        normal[k] = gsl_ran_ugaussian(rng);
        shift[k] = 0;
        for (size_t m = 0; m <= k; m++)
            shift[k] += fit->lean_factor[k * n + m] * normal[m];
    }
}

void trend_draw(const struct trend_fit *fit, gsl_rng *rng, double *scratch, struct trend_state *out)
{
    double where = gsl_rng_uniform(rng);
    size_t low = 0, high = fit->cell_count - 1;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (fit->cells[middle].cumulative < where)
            low = middle + 1;
        else
            high = middle;
    }
    const struct trend_cell *cell = &fit->cells[low];
    double *beta = scratch + fit->columns, *normal = beta + fit->columns;
    double *shift = normal + LEVEL_PARAMETERS;
    for (size_t i = 0; i < fit->columns; i++)
        scratch[i] = gsl_ran_ugaussian(rng);
    season_gls_draw(&cell->fit, scratch, beta);
    draw_shift(fit, rng, normal, shift);
    for (size_t k = 0; k < fit->lean_count; k++)
        for (size_t i = 0; i < fit->columns; i++)
            beta[i] += shift[k] * cell->moves[k * fit->columns + i];
    state_of(fit, cell, beta, out);
    for (size_t k = 0; k < fit->lean_count; k++)
        out->shift[fit->lean_index[k]] = shift[k];
}
