/* also.c - see also.h. */
#include "also.h"

#include <math.h>

#include <gsl/gsl_cdf.h>

/* Holds of one side in one band. */
struct cell {
    size_t n;
    double mean, squares; /* squares: sum about the mean */
    double own;           /* sum of squares of what each reading leaves unsure by itself */
    double shared;        /* square of what all readings of a run leave unsure together */
};

static const struct trial *trial_of(const struct trial *trials, size_t count,
                                    const struct hold *hold)
{
    for (size_t i = 0; i < count; i++)
        if (trials[i].run == hold->run)
            return &trials[i];
    return NULL;
}

/* Rounded readings repeat each other to the last digit: their scatter says nothing of how well they
 * are known, so what is stated or seen of the instrument counts too. */
static void cell_add(struct cell *cell, double value, const struct candidate *from)
{
    const struct accuracy *stated = &from->series.accuracy;
    double step = fmax(stated->step, from->profile.step);
    cell->own += stated->reading_u * stated->reading_u + step * step / 12;
    cell->shared = fmax(cell->shared, stated->run_u * stated->run_u);
    double apart = value - cell->mean;
    cell->mean += apart / (double)++cell->n;
    cell->squares += apart * (value - cell->mean);
}

static void gather(const struct trial *trials, size_t count, const struct engine_answer *engine,
                   size_t quantity, struct cell cells[][SIDE_COUNT])
{
    for (size_t b = 0; b < engine->band_count; b++) {
        cells[b][SIDE_BEFORE] = cells[b][SIDE_AFTER] = (struct cell){0};
        for (size_t h = 0; h < engine->hold_count; h++) {
            const struct hold *hold = &engine->holds[h];
            const struct trial *trial = trial_of(trials, count, hold);
            if (hold->refusal || hold->band_rpm != engine->bands[b].rpm || !trial)
                continue;
            double mean = trial_mean(trial, quantity, hold);
            if (!isnan(mean))
                cell_add(&cells[b][hold->side], mean, trial->chosen[quantity]);
        }
    }
}

/* Pooled scatter of one hold, with its degrees of freedom; 0 degrees where nothing was repeated. */
struct pooled {
    double sd, df;
};

static struct pooled pool(struct cell cells[][SIDE_COUNT], size_t bands)
{
    struct pooled p = {0, 0};
    for (size_t b = 0; b < bands; b++)
        for (int side = 0; side < SIDE_COUNT; side++)
            if (cells[b][side].n > 1) {
                p.sd += cells[b][side].squares;
                p.df += (double)(cells[b][side].n - 1);
            }
    p.sd = p.df > 0 ? sqrt(p.sd / p.df) : NAN;
    return p;
}

static struct interval around(double value, double half_width)
{
    return (struct interval){value, value - half_width, value + half_width};
}

/* Standard uncertainty of the mean of a cell, as far as the instrument makes it. */
static double instrument_u(const struct cell *cell)
{
    double n = (double)cell->n;
    return sqrt(cell->own / (n * n) + cell->shared);
}

static void put_row(const struct cell *before, const struct cell *after, struct pooled scatter,
                    double level, struct also_row *row)
{
    double t = scatter.df > 0 ? gsl_cdf_tdist_Pinv(0.5 + 0.5 * level, scatter.df) : NAN;
    double z = gsl_cdf_ugaussian_Pinv(0.5 + 0.5 * level);
    double half[SIDE_COUNT];
    const struct cell *cells[SIDE_COUNT] = {before, after};
    for (int side = 0; side < SIDE_COUNT; side++)
        half[side] =
            hypot(t * scatter.sd / sqrt((double)cells[side]->n), z * instrument_u(cells[side]));
    row->before = around(before->mean, half[SIDE_BEFORE]);
    row->after = around(after->mean, half[SIDE_AFTER]);
    row->change = around(after->mean - before->mean, hypot(half[SIDE_BEFORE], half[SIDE_AFTER]));
}

void also_fill(const struct trial *trials, size_t trial_count, double level,
               struct engine_answer *engine)
{
    struct cell cells[BANDS_MAX][SIDE_COUNT];
    engine->also_count = 0;
    for (size_t q = 0; q < quantity_count(); q++) {
        if (!quantity_tabled(q))
            continue;
        gather(trials, trial_count, engine, q, cells);
        struct pooled scatter = pool(cells, engine->band_count);
        for (size_t b = 0; b < engine->band_count && engine->also_count < ALSO_MAX; b++) {
            if (cells[b][SIDE_BEFORE].n == 0 || cells[b][SIDE_AFTER].n == 0)
                continue;
            struct also_row *row = &engine->also[engine->also_count++];
            row->channel = quantity_channel(q);
            row->rpm = engine->bands[b].rpm;
            put_row(&cells[b][SIDE_BEFORE], &cells[b][SIDE_AFTER], scatter, level, row);
        }
    }
}
