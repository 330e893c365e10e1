/* season_gls.c - see season_gls.h. */
#include "season_gls.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void season_gls_free(struct season_gls_fit *fit)
{
    free(fit->beta);
    *fit = (struct season_gls_fit){0};
}

/* --- whitening */

/* A row of design and, last, y. */
static double cell(const struct season_gls *job, size_t row, size_t column)
{
    return column < job->columns ? job->design[row * job->columns + column] : job->y[row];
}

/* The day's part as known before a row: its variance, and the mean of each column. */
struct filter {
    double variance;
    double *mean; /* columns + 1 */
};

static void predict(struct filter *filter, size_t columns, double distance, double sigma,
                    double reach)
{
    double keeps = reach > 0 ? exp(-distance / reach) : 0;
    filter->variance = keeps * keeps * filter->variance + (1 - keeps * keeps) * sigma * sigma;
    for (size_t c = 0; c <= columns; c++)
        filter->mean[c] *= keeps;
}

/* One row: leaves the whitened numbers in `out`, returns the logarithm of the variance. */
static double update(const struct season_gls *job, size_t row, struct filter *filter, double *out)
{
    double total = filter->variance + job->variance[row], gain = filter->variance / total;
    for (size_t c = 0; c <= job->columns; c++) {
        double surprise = cell(job, row, c) - filter->mean[c];
        filter->mean[c] += gain * surprise;
        out[c] = surprise / sqrt(total);
    }
    filter->variance *= 1 - gain;
    return log(total);
}

/* --- normal equations */

struct normal {
    size_t columns;
    double *matrix; /* columns x columns, lower triangle */
    double *right;  /* columns */
    double squares; /* of y, and of the prior's mean */
    double log_variance;
};

static void add_row(struct normal *normal, const double *row)
{
    size_t n = normal->columns;
    for (size_t i = 0; i < n; i++) {
        if (row[i] == 0)
            continue;
        for (size_t j = 0; j <= i; j++)
            normal->matrix[i * n + j] += row[i] * row[j];
        normal->right[i] += row[i] * row[n];
    }
    normal->squares += row[n] * row[n];
}

static void add_prior(struct normal *normal, const struct season_gls *job)
{
    size_t n = normal->columns;
    for (size_t i = 0; job->prior && i < n; i++)
        for (size_t j = 0; j < n; j++) {
            double precision = job->prior[i * n + j], middle = job->middle ? job->middle[j] : 0;
            if (j <= i)
                normal->matrix[i * n + j] += precision;
            normal->right[i] += precision * middle;
            normal->squares += (job->middle ? job->middle[i] : 0) * precision * middle;
        }
}

static void gather(const struct season_gls *job, double sigma, double reach, struct filter *filter,
                   double *row, struct normal *normal)
{
    for (size_t r = 0; r < job->rows; r++) {
        if (r == 0)
            filter->variance = sigma * sigma;
        else
            predict(filter, job->columns, job->at[r] - job->at[r - 1], sigma, reach);
        normal->log_variance += update(job, r, filter, row);
        add_row(normal, row);
    }
    add_prior(normal, job);
}

/* Cholesky in place; false if the matrix is not positive definite. Sums ln of the diagonal. */
static int decompose(double *matrix, size_t n, double *log_diagonal)
{
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j <= i; j++) {
            double scale = matrix[i * n + i], sum = matrix[i * n + j];
            for (size_t k = 0; k < j; k++)
                sum -= matrix[i * n + k] * matrix[j * n + k];
            if (i != j) {
                matrix[i * n + j] = sum / matrix[j * n + j];
                continue;
            }
            if (!(sum > 1e-12 * scale) || !(sum > 0))
                return 0;
            matrix[i * n + i] = sqrt(sum);
            *log_diagonal += log(matrix[i * n + i]);
        }
    return 1;
}

/* Solves factor * x = x in place, and factor' * x = x. */
static void forward(const double *factor, size_t n, double *x)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < i; k++)
            x[i] -= factor[i * n + k] * x[k];
        x[i] /= factor[i * n + i];
    }
}

static void backward(const double *factor, size_t n, double *x)
{
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++)
            x[i] -= factor[k * n + i] * x[k];
        x[i] /= factor[i * n + i];
    }
}

static enum status solve(struct normal *normal, struct season_gls_fit *out)
{
    size_t n = normal->columns;
    double log_diagonal = 0, told = 0;
    if (!decompose(normal->matrix, n, &log_diagonal))
        return STATUS_BAD_DATA;
    memcpy(out->beta, normal->right, n * sizeof *out->beta);
    forward(normal->matrix, n, out->beta);
    for (size_t i = 0; i < n; i++)
        told += out->beta[i] * out->beta[i];
    backward(normal->matrix, n, out->beta);
    out->squares = fmax(normal->squares - told, 0);
    out->log_density = -0.5 * normal->log_variance - log_diagonal - 0.5 * out->squares;
    return STATUS_OK;
}

enum status season_gls_solve(const struct season_gls *job, double sigma, double reach,
                             struct season_gls_fit *out)
{
    size_t n = job->columns;
    *out = (struct season_gls_fit){.columns = n};
    double *memory = calloc(n + n * n + 1, sizeof *memory);
    double *work = calloc(n + 2 * (n + 1), sizeof *work);
    enum status status = memory && work ? STATUS_OK : STATUS_MEMORY;
    out->beta = memory;
    if (!status) {
        out->factor = memory + n;
        struct normal normal = {.columns = n, .matrix = out->factor, .right = work};
        struct filter filter = {0, work + n};
        gather(job, sigma, reach, &filter, work + n + n + 1, &normal);
        status = solve(&normal, out);
    }
    free(work);
    return status;
}

void season_gls_draw(const struct season_gls_fit *fit, const double *normal, double *beta)
{
    memcpy(beta, normal, fit->columns * sizeof *beta);
    backward(fit->factor, fit->columns, beta);
    for (size_t i = 0; i < fit->columns; i++)
        beta[i] += fit->beta[i];
}
