/* The regression of the seasons (season_gls.h: errors alike on days near each other, a step at a
 * service) against generalised least squares in R, package nlme: J. C. Pinheiro, D. M. Bates,
 * Mixed-Effects Models in S and S-PLUS, 2000. Skipped, with words, where R or nlme is missing. */
#include "stage.h"

#include <math.h>

#include "../../analyze/season_gls.h"
#include "../simulated/random.h"
#include "../unit/gls_covariance.h"

#define OUTINGS 60
#define COLUMNS 4
#define SIGMA 0.02
#define REACH 0.15
#define OWN 0.012 /* standard deviation of each outing's own error */

/* The first fit is told how the errors hang together, the second finds it (restricted
 * likelihood). */
static const char script[] =
    "suppressMessages(library(nlme))\n"
    "a <- commandArgs(TRUE)\n"
    "d <- read.csv(a[1])\n"
    "told <- gls(y ~ use + served + sea, data = d, method = 'REML', correlation =\n"
    "  corExp(c(0.15, 0.012^2 / (0.02^2 + 0.012^2)), form = ~ at, nugget = TRUE, fixed = TRUE))\n"
    "cat('told', sprintf('%.9g', c(coef(told), sqrt(diag(told$varBeta)) / told$sigma)), '\\n')\n"
    "found <- gls(y ~ use + served + sea, data = d, method = 'REML',\n"
    "  correlation = corCAR1(0.05, form = ~ at))\n"
    "phi <- coef(found$modelStruct$corStruct, unconstrained = FALSE)\n"
    "cat('found', sprintf('%.9g', c(found$sigma, -1 / log(phi), logLik(found))), '\\n')\n";

struct data {
    double at[OUTINGS], y[OUTINGS], variance[OUTINGS], design[OUTINGS * COLUMNS];
};

/* Five seasons of outings, a service after the third; the error of a day fades exponentially. */
static void make_data(struct data *data, bool own)
{
    struct random random = random_start(20261125, own);
    double day = SIGMA * random_normal(&random), before = 0;
    for (size_t i = 0; i < OUTINGS; i++) {
        double *row = data->design + i * COLUMNS;
        double at =
            (double)(i / 12) + 0.3 + 0.04 * (double)(i % 12) + random_uniform(&random, 0, 0.03);
        double keep = i > 0 ? exp(-(at - before) / REACH) : 0;
        day = keep * day + sqrt(1 - keep * keep) * SIGMA * random_normal(&random);
        before = at;
        row[0] = 1;
        row[1] = at;
        row[2] = at > 2.9;
        row[3] = 4 * sin(7 * at);
        data->at[i] = at;
        data->variance[i] = own ? OWN * OWN : 1e-12;
        data->y[i] = 4.1 + 0.03 * at - 0.25 * row[2] + 0.002 * row[3] + day +
                     (own ? OWN : 0) * random_normal(&random);
    }
}

static void write_data(const struct data *data, const char *path)
{
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs("at,y,use,served,sea\n", file);
    for (size_t i = 0; i < OUTINGS; i++) {
        const double *row = data->design + i * COLUMNS;
        fprintf(file, "%.17g,%.17g,%.17g,%.17g,%.17g\n", data->at[i], data->y[i], row[1], row[2],
                row[3]);
    }
    assert_int_equal(fclose(file), 0);
}

static struct season_gls job_of(const struct data *data)
{
    return (struct season_gls){.rows = OUTINGS,
                               .columns = COLUMNS,
                               .at = data->at,
                               .y = data->y,
                               .variance = data->variance,
                               .design = data->design};
}

static double density(const struct data *data, double sigma, double reach)
{
    const struct season_gls job = job_of(data);
    struct season_gls_fit fit = {0};
    assert_int_equal(season_gls_solve(&job, sigma, reach, &fit), 0);
    double found = fit.log_density;
    season_gls_free(&fit);
    return found;
}

/* Where the density is highest, by halving the steps of a search in the logarithms. */
static void find_best(const struct data *data, double *sigma, double *reach)
{
    double best = density(data, *sigma = 0.03, *reach = 0.3);
    for (double step = 0.5; step > 1e-6;) {
        bool moved = false;
        for (int way = 0; way < 4; way++) {
            const double s = *sigma * exp(way == 0 ? step : way == 1 ? -step : 0);
            const double r = *reach * exp(way == 2 ? step : way == 3 ? -step : 0);
            const double there = density(data, s, r);
            if (there <= best)
                continue;
            best = there;
            *sigma = s;
            *reach = r;
            moved = true;
        }
        step = moved ? step : step / 2;
    }
}

static void need_r(void)
{
    struct program have = stage_start_with(
        NULL, "/usr/bin/env", (const char *const[]){"env", "Rscript", "-e", "library(nlme)", NULL});
    if (stage_wait(&have) == 0)
        return;
    puts("skipped: R with its package nlme is not here (r-base-core, r-cran-nlme)");
    skip();
}

/* What R said behind a word: so many numbers. */
static void ask_r(const struct data *data, const char *word, double *out, size_t count)
{
    FILE *file = fopen(stage_path("gls.R"), "w");
    assert_non_null(file);
    fputs(script, file);
    assert_int_equal(fclose(file), 0);
    write_data(data, stage_path("gls.csv"));
    struct program r = stage_start_with(
        NULL, "/usr/bin/env",
        (const char *const[]){"env", "Rscript", stage_path("gls.R"), stage_path("gls.csv"), NULL});
    stage_expect_words(r, 0, "found ");
    const char *said = strstr(stage_said(&r), word);
    assert_non_null(said);
    said += strlen(word);
    for (size_t i = 0; i < count; i++) {
        char *end;
        out[i] = strtod(said, &end);
        assert_ptr_not_equal(said, end);
        said = end;
    }
}

static void alike(const char *what, double own, double other, double tolerance)
{
    if (!(fabs(own - other) <= tolerance))
        fail_msg("%s: own %.9g, R %.9g", what, own, other);
}

/* Coefficients and their covariance where it is known how the errors hang together. */
static void coefficients_agree(void **state)
{
    (void)state;
    static struct data data;
    static const char *const names[COLUMNS] = {"level", "trend", "step", "sea"};
    double other[2 * COLUMNS], covariance[COLUMNS * COLUMNS];
    const double all = sqrt(SIGMA * SIGMA + OWN * OWN);
    need_r();
    make_data(&data, true);
    ask_r(&data, "told", other, 2 * COLUMNS);
    const struct season_gls job = job_of(&data);
    struct season_gls_fit fit = {0};
    assert_int_equal(season_gls_solve(&job, SIGMA, REACH, &fit), 0);
    gls_covariance(&fit, covariance);
    for (size_t i = 0; i < COLUMNS; i++) {
        alike(names[i], fit.beta[i], other[i], 1e-6 * (1 + fabs(other[i])));
        alike(names[i], sqrt(covariance[i * COLUMNS + i]) / all, other[COLUMNS + i],
              1e-5 * other[COLUMNS + i]);
    }
    season_gls_free(&fit);
}

/* The restricted likelihood is highest at the same place, and falls off alike. */
static void the_likelihood_agrees(void **state)
{
    (void)state;
    static struct data data;
    double other[3], sigma, reach;
    need_r();
    make_data(&data, false);
    ask_r(&data, "found", other, 3);
    find_best(&data, &sigma, &reach);
    alike("standard deviation of a day", sigma, other[0], 0.002 * other[0]);
    alike("reach of a day", reach, other[1], 0.01 * other[1]);
    assert_true(density(&data, sigma, reach) - density(&data, other[0], other[1]) < 1e-4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(coefficients_agree),
                                       cmocka_unit_test(the_likelihood_agrees)};
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
