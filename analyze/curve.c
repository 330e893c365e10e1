/* curve.c - see curve.h. */
#include "curve.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void curve_free(struct curve *curve)
{
    regression_free(&curve->regression);
    free(curve->y);
    free(curve->beta);
    *curve = (struct curve){0};
}

static void fill_look_row(double *row, const struct look *look, size_t runs, double steep)
{
    row[look->run] = 1;
    row[runs + CURVE_SLOPES + look->side] = look->ln_speed;
    row[runs + CURVE_BEND] = look->ln_speed * look->ln_speed;
    row[runs + CURVE_PLAY] = steep * look->approach;
    row[runs + CURVE_COLUMNS + look->cell] = 1;
}

/* Column `column` behind the levels of the runs is y +- u. */
static void fill_prior(double *rows, struct curve *curve, size_t columns, size_t column, double y,
                       double u)
{
    rows[curve->priors * columns + curve->runs + column] = 1;
    curve->prior_y[curve->priors] = y;
    curve->prior_u[curve->priors++] = u;
}

static void fill_priors(double *rows, struct curve *curve, size_t columns,
                        const struct curve_prior *prior, const struct evidence *evidence,
                        const double *steep)
{
    curve->priors = 0;
    fill_prior(rows, curve, columns, CURVE_SLOPES + SIDE_BEFORE, prior->exponent,
               prior->exponent_u);
    fill_prior(rows, curve, columns, CURVE_SLOPES + SIDE_AFTER, prior->exponent, prior->exponent_u);
    rows[curve->priors * columns + curve->runs + CURVE_SLOPES + SIDE_BEFORE] = -1;
    fill_prior(rows, curve, columns, CURVE_SLOPES + SIDE_AFTER, 0, prior->difference_u);
    fill_prior(rows, curve, columns, CURVE_BEND, 0, prior->bend_u);
    fill_prior(rows, curve, columns, CURVE_PLAY, 0, prior->play_u);
    for (size_t cell = 0; cell < evidence->cell_count; cell++) {
        double most = 0;
        for (size_t i = 0; i < evidence->count; i++)
            if (evidence->looks[i].cell == cell)
                most = fmax(most,
                            hypot(prior->own_reading_u * steep[i], evidence->looks[i].warming_u));
        fill_prior(rows, curve, columns, CURVE_COLUMNS + cell, 0, hypot(prior->own_u, most));
    }
}

enum status curve_prepare(struct curve *curve, const struct evidence *evidence,
                          const struct curve_prior *prior, const double *variance,
                          const double *steep, double scatter)
{
    size_t looks = evidence->count, runs = evidence->run_count;
    size_t rows = looks + CURVE_PRIORS + evidence->cell_count;
    size_t columns = runs + CURVE_COLUMNS + evidence->cell_count;
    enum status status = STATUS_MEMORY;
    curve_free(curve);
    double *design = calloc(rows * columns, sizeof(double));
    double *weight = calloc(rows, sizeof(double));
    curve->y = calloc(rows, sizeof(double));
    curve->beta = calloc(columns, sizeof(double));
    curve->looks = looks;
    curve->runs = runs;
    if (!design || !weight || !curve->y || !curve->beta)
        goto out;
    for (size_t i = 0; i < looks; i++) {
        fill_look_row(design + i * columns, &evidence->looks[i], runs, steep[i]);
        weight[i] = 1 / variance[i];
    }
    fill_priors(design + looks * columns, curve, columns, prior, evidence, steep);
    for (size_t p = 0; p < curve->priors; p++)
        weight[looks + p] = pow(scatter / curve->prior_u[p], 2);
    memcpy(curve->y + looks, curve->prior_y, curve->priors * sizeof(double));
    status = regression_prepare(&curve->regression, design, weight, rows, columns);
out:
    free(design);
    free(weight);
    return status;
}

double curve_solve(struct curve *curve)
{
    return regression_solve(&curve->regression, curve->y, curve->beta);
}

double curve_shape(const struct curve *curve, enum side side, double ln_speed)
{
    const double *beta = curve->beta + curve->runs;
    return ln_speed * (beta[side] + beta[CURVE_BEND] * ln_speed);
}

double curve_own(const struct curve *curve, size_t look)
{
    const struct regression *r = &curve->regression;
    double sum = 0;
    for (size_t c = curve->runs + CURVE_PLAY; c < r->columns; c++)
        sum += r->design[look * r->columns + c] * curve->beta[c];
    return sum;
}
