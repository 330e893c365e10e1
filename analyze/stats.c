/* stats.c - see stats.h. */
#include "stats.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RANK_TOLERANCE 1e-15 /* least share of a column that the others may leave unexplained */

struct spread stats_spread(const double *values, size_t count)
{
    struct spread spread = {count, NAN, NAN, NAN};
    if (count > 0)
        spread.mean = gsl_stats_mean(values, 1, count);
    if (count > 1) {
        spread.sd = gsl_stats_sd_m(values, 1, count, spread.mean);
        spread.standard_error = spread.sd / sqrt((double)count);
    }
    return spread;
}

double stats_t(double level, double df)
{
    double upper = 0.5 * (1 + level);
    if (!(df > 0))
        return NAN;
    return isinf(df) ? gsl_cdf_ugaussian_Pinv(upper) : gsl_cdf_tdist_Pinv(upper, df);
}

double stats_effective_df(const double *u, const double *df, size_t count)
{
    double variance = 0, bound = 0;
    for (size_t i = 0; i < count; i++) {
        double square = u[i] * u[i];
        variance += square;
        bound += isinf(df[i]) ? 0 : square * square / df[i];
    }
    return bound > 0 ? variance * variance / bound : (double)INFINITY;
}

struct groups stats_groups(const struct spread *groups, size_t count)
{
    struct groups result = {NAN, NAN, NAN, 0, 0};
    double squares = 0, total = 0, sum = 0, sum_squares = 0, inverse = 0;
    for (size_t i = 0; i < count; i++) {
        double n = (double)groups[i].count;
        squares += n > 1 ? (n - 1) * groups[i].sd * groups[i].sd : 0;
        total += n;
        sum += groups[i].mean;
        inverse += 1 / n;
    }
    for (size_t i = 0; i < count; i++)
        sum_squares += pow(groups[i].mean - sum / (double)count, 2);
    result.df_within = total - (double)count;
    result.df_between = (double)count - 1;
    if (result.df_within > 0)
        result.within = sqrt(squares / result.df_within);
    if (result.df_between <= 0)
        return result;
    result.of_means = sqrt(sum_squares / result.df_between);
    double expected = result.df_within > 0 ? result.within * result.within : 0;
    double excess = result.of_means * result.of_means - expected * inverse / (double)count;
    result.between = sqrt(fmax(excess, 0));
    return result;
}

static enum status allocate(struct regression *regression, size_t rows, size_t columns)
{
    regression_free(regression);
    regression->rows = rows;
    regression->columns = columns;
    regression->effective_df = (double)rows - (double)columns;
    regression->design = calloc(rows * columns, sizeof(double));
    regression->weight = calloc(rows, sizeof(double));
    regression->operate = calloc(rows * columns, sizeof(double));
    regression->covariance = calloc(columns * columns, sizeof(double));
    bool all =
        regression->design && regression->weight && regression->operate && regression->covariance;
    return all ? STATUS_OK : STATUS_MEMORY;
}

void regression_free(struct regression *regression)
{
    free(regression->design);
    free(regression->weight);
    free(regression->operate);
    free(regression->covariance);
    *regression = (struct regression){0};
}

/* Workspace of one decomposition: the weighted design with columns of length 1. */
struct decomposition {
    double *memory;
    gsl_matrix_view scaled, inverse;
    gsl_vector_view tau, scale, unit;
};

/* The memory is ours, so that running out of it is an answer and not an abort. */
static bool decomposition_make(struct decomposition *d, size_t rows, size_t columns)
{
    size_t square = columns * columns;
    double *at = d->memory = calloc(rows * columns + square + 2 * columns + rows, sizeof(double));
    if (!at)
        return false;
    d->scaled = gsl_matrix_view_array(at, rows, columns);
    d->inverse = gsl_matrix_view_array(at += rows * columns, columns, columns);
    d->tau = gsl_vector_view_array(at += square, columns);
    d->scale = gsl_vector_view_array(at += columns, columns);
    d->unit = gsl_vector_view_array(at + columns, rows);
    return true;
}

/* Weights the rows and brings the columns to length 1, so that powers of large numbers do no
 * harm. */
static void scale_columns(const struct regression *regression, struct decomposition *d)
{
    for (size_t c = 0; c < regression->columns; c++) {
        double squares = 0;
        for (size_t r = 0; r < regression->rows; r++) {
            double x =
                regression->design[r * regression->columns + c] * sqrt(regression->weight[r]);
            gsl_matrix_set(&d->scaled.matrix, r, c, x);
            squares += x * x;
        }
        double length = squares > 0 ? sqrt(squares) : 1;
        gsl_vector_set(&d->scale.vector, c, length);
        gsl_vector_view column = gsl_matrix_column(&d->scaled.matrix, c);
        gsl_vector_scale(&column.vector, 1 / length);
    }
}

/* inverse = R^-1; false where a column depends on the others. */
static bool invert_triangle(struct decomposition *d)
{
    size_t n = d->inverse.matrix.size1;
    gsl_matrix_set_identity(&d->inverse.matrix);
    for (size_t i = 0; i < n; i++)
        if (!(fabs(gsl_matrix_get(&d->scaled.matrix, i, i)) > RANK_TOLERANCE))
            return false;
    gsl_matrix_view upper = gsl_matrix_submatrix(&d->scaled.matrix, 0, 0, n, n);
    for (size_t c = 0; c < n; c++) {
        gsl_vector_view column = gsl_matrix_column(&d->inverse.matrix, c);
        gsl_blas_dtrsv(CblasUpper, CblasNoTrans, CblasNonUnit, &upper.matrix, &column.vector);
    }
    return true;
}

static double log_determinant(const struct decomposition *d)
{
    double sum = 0;
    for (size_t i = 0; i < d->inverse.matrix.size1; i++)
        sum += 2 * log(fabs(gsl_matrix_get(&d->scaled.matrix, i, i)) *
                       gsl_vector_get(&d->scale.vector, i));
    return sum;
}

/* operate = scale^-1 R^-1 Q^T sqrt(weight), one column of it for each row of the design. */
static void fill_operator(struct regression *regression, struct decomposition *d)
{
    size_t columns = regression->columns;
    for (size_t r = 0; r < regression->rows; r++) {
        gsl_vector_set_zero(&d->unit.vector);
        gsl_vector_set(&d->unit.vector, r, sqrt(regression->weight[r]));
        gsl_linalg_QR_QTvec(&d->scaled.matrix, &d->tau.vector, &d->unit.vector);
        for (size_t i = 0; i < columns; i++) {
            double sum = 0;
            for (size_t j = i; j < columns; j++)
                sum +=
                    gsl_matrix_get(&d->inverse.matrix, i, j) * gsl_vector_get(&d->unit.vector, j);
            regression->operate[i * regression->rows + r] =
                sum / gsl_vector_get(&d->scale.vector, i);
        }
    }
}

static void fill_covariance(struct regression *regression, const struct decomposition *d)
{
    size_t n = regression->columns;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            double sum = 0;
            for (size_t k = i > j ? i : j; k < n; k++)
                sum += gsl_matrix_get(&d->inverse.matrix, i, k) *
                       gsl_matrix_get(&d->inverse.matrix, j, k);
            regression->covariance[i * n + j] =
                sum / (gsl_vector_get(&d->scale.vector, i) * gsl_vector_get(&d->scale.vector, j));
        }
}

enum status regression_prepare(struct regression *regression, const double *design,
                               const double *weight, size_t rows, size_t columns)
{
    struct decomposition d = {0};
    enum status status = STATUS_BAD_DATA;
    if (columns == 0 || rows < columns)
        return status;
    status = allocate(regression, rows, columns);
    if (status != STATUS_OK || !decomposition_make(&d, rows, columns)) {
        status = STATUS_MEMORY;
        goto out;
    }
    memcpy(regression->design, design, rows * columns * sizeof(double));
    for (size_t r = 0; r < rows; r++)
        regression->weight[r] = weight ? weight[r] : 1;
    scale_columns(regression, &d);
    gsl_linalg_QR_decomp(&d.scaled.matrix, &d.tau.vector);
    status = STATUS_BAD_DATA;
    if (!invert_triangle(&d))
        goto out;
    fill_operator(regression, &d);
    fill_covariance(regression, &d);
    regression->log_determinant = log_determinant(&d);
    status = STATUS_OK;
out:
    free(d.memory);
    return status;
}

double regression_solve(const struct regression *regression, const double *y, double *coefficients)
{
    size_t rows = regression->rows, columns = regression->columns;
    for (size_t i = 0; i < columns; i++) {
        double sum = 0;
        for (size_t r = 0; r < rows; r++)
            sum += regression->operate[i * rows + r] * y[r];
        coefficients[i] = sum;
    }
    double squares = 0;
    for (size_t r = 0; r < rows; r++) {
        double residual = y[r];
        for (size_t i = 0; i < columns; i++)
            residual -= regression->design[r * columns + i] * coefficients[i];
        squares += regression->weight[r] * residual * residual;
    }
    return squares;
}
