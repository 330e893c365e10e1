/* season_gls.h - weighted regression over outings whose errors are alike on days near each other.
 * Pure.
 *
 * Every row is one outing. Its error has two parts: one of its own with a known variance (how well
 * its holds tell it), and one of its day (load, hull, weather) with standard deviation `sigma` that
 * fades from day to day like exp(-|distance| / reach); a reach of 0 makes every day its own. Rows
 * are whitened one after the other (a Kalman filter on a first-order process with noisy looks),
 * which costs no more than ordinary regression. Prior knowledge of coefficients enters as a
 * precision matrix.
 *
 * The density of sigma and reach has the coefficients integrated out; for flat priors that is the
 * restricted likelihood (REML; J. C. Pinheiro, D. M. Bates, Mixed-Effects Models in S and S-PLUS,
 * 2000, 2.2.5).
 */
#ifndef SEARUN_SEASON_GLS_H
#define SEARUN_SEASON_GLS_H

#include <stddef.h>

#include "status.h"

struct season_gls {
    size_t rows, columns;
    const double *at;       /* rows; rising, in any unit of time */
    const double *y;        /* rows */
    const double *variance; /* rows; of each row's own error, above 0 */
    const double *design;   /* rows x columns, row by row */
    const double *prior;    /* columns x columns, precision; NULL: all flat */
    const double *middle;   /* columns, the prior's mean; NULL: 0 */
};

struct season_gls_fit {
    size_t columns;
    double *beta;   /* columns */
    double *factor; /* columns x columns, lower triangle: its product with its transpose is the
                           precision of the coefficients */
    double
        log_density; /* of sigma and reach, up to a constant and to the prior's own determinant */
    double squares;  /* weighted residual sum at beta, the prior's share included */
};

/* Solves for one sigma and reach (unit of `at`). Free with season_gls_free in every case.
 * STATUS_BAD_DATA if the data and the prior leave a coefficient open; STATUS_MEMORY. */
enum status season_gls_solve(const struct season_gls *job, double sigma, double reach,
                             struct season_gls_fit *out);
void season_gls_free(struct season_gls_fit *fit);

/* Coefficients drawn from what the fit leaves open: `normal` has columns standard normal
 * numbers. */
void season_gls_draw(const struct season_gls_fit *fit, const double *normal, double *beta);

#endif
