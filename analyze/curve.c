/* curve.c - see curve.h. */
#include "curve.h"

#include <stdlib.h>
#include <string.h>

void curve_free(struct curve *curve)
{
    regression_free(&curve->regression);
    free(curve->y);
    free(curve->beta);
    *curve = (struct curve){0};
}

static void fill_look_row(double *row, const struct look *look, size_t runs)
{
    row[look->run] = 1;
    row[runs + look->side] = look->ln_speed;
    row[runs + SIDE_COUNT] = look->ln_speed * look->ln_speed;
}

static void fill_prior_rows(double *rows, double *weight, double *y, size_t runs,
                            const struct curve_prior *prior, double scatter)
{
    size_t columns = runs + SIDE_COUNT + 1;
    double u[CURVE_PRIORS] = {prior->exponent_u, prior->exponent_u, prior->difference_u,
                              prior->bend_u};
    rows[runs + SIDE_BEFORE] = 1;
    rows[columns + runs + SIDE_AFTER] = 1;
    rows[2 * columns + runs + SIDE_BEFORE] = -1;
    rows[2 * columns + runs + SIDE_AFTER] = 1;
    rows[3 * columns + runs + SIDE_COUNT] = 1;
    y[0] = y[1] = prior->exponent;
    y[2] = y[3] = 0;
    for (int i = 0; i < CURVE_PRIORS; i++)
        weight[i] = scatter * scatter / (u[i] * u[i]);
}

enum status curve_prepare(struct curve *curve, const struct evidence *evidence,
                          const struct curve_prior *prior, const double *variance, double scatter)
{
    size_t looks = evidence->count, runs = evidence->run_count;
    size_t rows = looks + CURVE_PRIORS, columns = runs + SIDE_COUNT + 1;
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
        fill_look_row(design + i * columns, &evidence->looks[i], runs);
        weight[i] = 1 / variance[i];
    }
    fill_prior_rows(design + looks * columns, weight + looks, curve->prior_y, runs, prior, scatter);
    memcpy(curve->y + looks, curve->prior_y, sizeof curve->prior_y);
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
    return ln_speed * (beta[side] + beta[SIDE_COUNT] * ln_speed);
}
