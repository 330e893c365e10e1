/* gls_covariance.h - the covariance of the coefficients, from the draws that forecasts are made
 * of. */
#ifndef SEARUN_GLS_COVARIANCE_H
#define SEARUN_GLS_COVARIANCE_H

#include "../../analyze/season_gls.h"

#define GLS_COLUMNS_MOST 16

/* A draw is beta + A z with z standard normal, so the covariance is A A': the sum over unit vectors
 * z of the squares of what they move. Fills columns x columns. */
static void gls_covariance(const struct season_gls_fit *fit, double *covariance)
{
    size_t n = fit->columns;
    for (size_t k = 0; k < n * n; k++)
        covariance[k] = 0;
    for (size_t k = 0; k < n; k++) {
        double normal[GLS_COLUMNS_MOST] = {0}, drawn[GLS_COLUMNS_MOST];
        normal[k] = 1;
        season_gls_draw(fit, normal, drawn);
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j < n; j++)
                covariance[i * n + j] += (drawn[i] - fit->beta[i]) * (drawn[j] - fit->beta[j]);
    }
}

#endif
