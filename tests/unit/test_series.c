/* test_series.c - sums, grids, running medians and thinning. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../../analyze/series.h"
#include "near.h"

static double uniform(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(*seed >> 11) / 9007199254740992.0;
}

static struct series series_of(double *time, double *value, size_t count)
{
    return (struct series){
        .channel = CHANNEL_COOLANT_TEMPERATURE, .count = count, .time = time, .value = value};
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void quantiles_are_ranks(void **state)
{
    (void)state;
    uint64_t seed = 3;
    for (size_t n = 1; n < 200; n += 7) {
        double values[200], sorted[200];
        for (size_t i = 0; i < n; i++)
            values[i] = sorted[i] = floor(50 * uniform(&seed));
        qsort(sorted, n, sizeof *sorted, by_value);
        for (int p = 0; p <= 100; p += 5) {
            double q = 0.01 * p;
            size_t rank = (size_t)(q * (double)(n - 1) + 0.5);
            assert_near(series_quantile(values, n, q), sorted[rank], 0);
        }
    }
    assert_true(isnan(series_median(NULL, 0)));
}

static void steps_of_senders(void **state)
{
    (void)state;
    uint64_t seed = 11;
    static const double steps[] = {1.0, 0.1, 0.01, 5.0 / 9.0};
    for (size_t s = 0; s < 4; s++) {
        double values[3000], step;
        for (size_t i = 0; i < 3000; i++) /* noise of some steps, a slow sweep */
            values[i] = steps[s] *
                        round((70 + 0.003 * (double)i) / steps[s] + 1.5 * (uniform(&seed) - 0.5));
        assert_int_equal(series_step(values, 3000, &step), STATUS_OK);
        assert_near(step, steps[s], 1e-9);
    }
    double still[] = {5, 5, 5}, step;
    assert_int_equal(series_step(still, 3, &step), STATUS_OK);
    assert_near(step, 0, 0);
    assert_int_equal(series_step(still, 0, &step), STATUS_OK);
    assert_near(step, 0, 0);
}

static void profile_of_a_series(void **state)
{
    (void)state;
    double time[] = {0, 1, 2, 3, 4, 50, 51, 52, 53, 100}, value[10];
    for (int i = 0; i < 10; i++)
        value[i] = i;
    struct series series = series_of(time, value, 10);
    struct profile profile;
    assert_int_equal(series_profile(&series, 10, 100, &profile), STATUS_OK);
    assert_near(profile.coverage, 1 - (46 + 47) / 100.0, 1e-12);
    assert_near(profile.interval, 1, 0);
    assert_near(profile.mid, 5, 0);
    assert_near(profile.low, 0, 0);
    assert_near(profile.high, 9, 0);
    series.count = 0;
    assert_int_equal(series_profile(&series, 10, 100, &profile), STATUS_OK);
    assert_near(profile.coverage, 0, 0);
    assert_true(isnan(profile.mid) && isnan(profile.interval));
}

static void grids_average_and_bridge(void **state)
{
    (void)state;
    double time[] = {0.1, 0.6, 1.5, 4.5, 20.5, 21.5}, value[] = {10, 12, 20, 26, 40, 42};
    struct series series = series_of(time, value, 6);
    double cells[24];
    series_grid(&series, 10, 1.0, false, cells, 24);
    assert_near(cells[0], 11, 1e-12); /* mean of two */
    assert_near(cells[1], 20, 1e-12);
    assert_near(cells[2], 22, 1e-12); /* 3 s to the next: on the line between */
    assert_near(cells[3], 24, 1e-12);
    assert_near(cells[4], 26, 1e-12);
    for (size_t i = 5; i < 20; i++)
        assert_true(isnan(cells[i])); /* 16 s of silence are more than 10 */
    assert_near(cells[20], 40, 1e-12);
    assert_true(isnan(cells[22])); /* nothing after the last reading */
    series_grid(&series, 10, 1.0, true, cells, 24);
    assert_near(cells[0], 12, 0); /* the last, not the mean */
    assert_near(cells[3], 20, 0);
    assert_near(cells[14], 26, 0); /* 10 s old in the middle of the cell */
    assert_true(isnan(cells[15]));
    assert_near(cells[23], 42, 0);
}

static void before_the_first_reading_there_is_nothing(void **state)
{
    (void)state;
    double time[] = {3.5}, value[] = {7}, cells[5];
    struct series series = series_of(time, value, 1);
    series_grid(&series, 10, 1.0, false, cells, 5);
    for (size_t i = 0; i < 5; i++)
        assert_true(i == 3 ? cells[i] == 7 : isnan(cells[i]));
    series.count = 0;
    series_grid(&series, 10, 1.0, true, cells, 5);
    for (size_t i = 0; i < 5; i++)
        assert_true(isnan(cells[i]));
}

static void means_and_scatter_leave_out_what_is_missing(void **state)
{
    (void)state;
    double cells[] = {NAN, 1, 2, NAN, 3, NAN}, share;
    assert_near(cells_mean(cells, 0, 6, &share), 2, 0);
    assert_near(share, 0.5, 0);
    assert_near(cells_sd(cells, 0, 6), 1, 1e-12);
    assert_true(isnan(cells_mean(cells, 5, 6, &share)) && share == 0);
    assert_true(isnan(cells_sd(cells, 0, 1)));
    assert_near(cells_sd(cells, 0, 2), 0, 0);
}

/* Data: NIST StRD, linear regression, Norris (36 points; certified slope 1.00211681802045 and
 * residual standard deviation 0.884796396144373). Cells hold one value each, and x = 0.3 occurs
 * twice: the first of the two goes. Slope, scatter and mean of the 35 left were worked out in exact
 * rationals, which give the certified digits for all 36. */
static void line_against_nist_norris(void **state)
{
    (void)state;
    static const double x[] = {0.2,   337.4, 118.2, 884.6, 10.1,  226.5, 666.3, 996.3, 448.6,
                               777.0, 558.2, 0.4,   0.6,   775.5, 666.9, 338.0, 447.5, 11.6,
                               556.0, 228.1, 995.8, 887.6, 120.2, 0.3,   0.3,   556.8, 339.1,
                               887.2, 999.0, 779.0, 11.1,  118.3, 229.2, 669.1, 448.9, 0.5};
    static const double y[] = {0.1,   338.8, 118.1, 888.0, 9.2,   228.1, 668.5, 998.5, 449.1,
                               778.9, 559.2, 0.3,   0.1,   778.1, 668.8, 339.3, 448.9, 10.8,
                               557.7, 228.3, 998.0, 888.8, 119.6, 0.3,   0.6,   557.6, 339.3,
                               888.0, 998.5, 778.9, 10.2,  117.6, 228.9, 668.4, 449.2, 0.2};
    double *cells = malloc(10000 * sizeof *cells);
    for (size_t i = 0; i < 10000; i++)
        cells[i] = NAN;
    for (size_t i = 0; i < 36; i++)
        cells[(size_t)lround(10 * x[i])] = y[i];
    struct line line = cells_line(cells, 0.1, 0, 10000);
    assert_int_equal(line.count, 35);
    assert_near(line.slope, 1.002144605222645, 1e-12);
    assert_near(line.sd, 0.8968603213379651, 1e-11);
    assert_near(line.mean, 431.7885714285714, 1e-10);
    free(cells);
}

static void line_through_cells(void **state)
{
    (void)state;
    double cells[100];
    for (size_t i = 0; i < 100; i++)
        cells[i] = i % 7 ? 1e6 + 0.02 * (double)i + (i % 2 ? 0.5 : -0.5) : NAN;
    struct line line = cells_line(cells, 2.0, 10, 90);
    double sx = 0, sy = 0, sxx = 0, sxy = 0, n = 0; /* by the definition, about rough means */
    for (size_t i = 10; i < 90; i++)
        if (!isnan(cells[i])) {
            double t = 2.0 * (double)i - 100, v = cells[i] - 1e6 - 1;
            sx += t;
            sy += v;
            sxx += t * t;
            sxy += t * v;
            n++;
        }
    double slope = (n * sxy - sx * sy) / (n * sxx - sx * sx);
    assert_near(line.slope, slope, 1e-10);
    assert_near(line.mean, 1e6 + 1 + sy / n, 1e-7);
    assert_near(line.sd, 0.5, 0.01);
    line = cells_line(cells, 1.0, 0, 1);
    assert_int_equal(line.count, 0);
    assert_true(isnan(line.mean) && isnan(line.slope));
    line = cells_line(cells, 1.0, 1, 2);
    assert_int_equal(line.count, 1);
    assert_near(line.slope, 0, 0);
}

static double slow_median(const double *cells, size_t count, size_t at, size_t half)
{
    double window[200];
    size_t n = 0;
    for (size_t i = at > half ? at - half : 0; i <= at + half && i < count; i++)
        if (!isnan(cells[i]))
            window[n++] = cells[i];
    qsort(window, n, sizeof *window, by_value);
    return 0.5 * (window[(n - 1) / 2] + window[n / 2]);
}

static void running_median_is_the_median(void **state)
{
    (void)state;
    uint64_t seed = 5;
    for (size_t count = 0; count < 60; count += 3) {
        double cells[60], smooth[60];
        for (size_t i = 0; i < count; i++)
            cells[i] = uniform(&seed) < 0.3 ? NAN : floor(10 * uniform(&seed));
        for (size_t half = 0; half <= 8; half += 4) {
            cells_smooth(cells, count, half, smooth);
            for (size_t i = 0; i < count; i++)
                if (isnan(cells[i]))
                    assert_true(isnan(smooth[i]));
                else
                    assert_near(smooth[i], slow_median(cells, count, i, half), 0);
        }
    }
}

static void low_pass_follows_slowly(void **state)
{
    (void)state;
    double cells[500], slow[500];
    for (size_t i = 0; i < 500; i++)
        cells[i] = i < 10 ? NAN : i < 100 ? 0 : 1;
    cells_lag(cells, 500, 1.0, 100, slow);
    assert_true(isnan(slow[9]));
    assert_near(slow[99], 0, 0);
    assert_near(slow[199], 1 - exp(-1), 1e-9); /* 100 s after the step, to the cell */
}

static void restlessness_leaves_out_smooth_courses(void **state)
{
    (void)state;
    uint64_t seed = 21;
    double cells[4000];
    for (size_t i = 0; i < 4000; i++) /* blocks of 20 that scatter by 1, on a steep bent course */
        cells[i] = i % 20 ? cells[i - 1] : sqrt(12.0) * (uniform(&seed) - 0.5);
    for (size_t i = 0; i < 4000; i++)
        cells[i] += 1e-5 * (double)i * (double)i;
    assert_near(cells_restlessness(cells, 0, 4000, 20), 1, 0.15);
    for (size_t i = 0; i < 4000; i++)
        cells[i] = 50 * exp(-(double)i / 300);
    assert_near(cells_restlessness(cells, 0, 4000, 20), 0, 0.05);
    assert_true(isnan(cells_restlessness(cells, 0, 99, 20)));
    assert_near(cells_restlessness(cells, 0, 100, 20), 0, 0.2);
}

/* --- thinning */

static void short_series_are_kept_whole(void **state)
{
    (void)state;
    double time[100], value[100];
    for (int i = 0; i < 100; i++) {
        time[i] = i;
        value[i] = i * i;
    }
    struct series series = series_of(time, value, 100);
    struct sample_series thin;
    assert_int_equal(series_thin(&series, 10, &thin), STATUS_OK);
    assert_int_equal(thin.count, 100);
    assert_near(thin.minute[60], 1, 1e-12);
    assert_near(thin.value[60], 3600, 0);
    free(thin.minute);
    free(thin.value);
}

static void thinning_keeps_extremes_and_gaps(void **state)
{
    (void)state;
    uint64_t seed = 9;
    const size_t count = 150000;
    double *time = malloc(count * sizeof *time), *value = malloc(count * sizeof *value);
    for (size_t i = 0; i < count; i++) {
        time[i] = 0.1 * (double)i + (i > 90000 ? 120 : 0);
        value[i] = uniform(&seed);
    }
    value[12345] = 55;
    value[99999] = -7;
    struct series series = series_of(time, value, count);
    struct sample_series thin;
    assert_int_equal(series_thin(&series, 10, &thin), STATUS_OK);
    assert_true(thin.count <= THINNED_MAX && thin.count > THINNED_MAX / 2);
    double low = 1, high = 0;
    size_t gaps = 0;
    for (size_t i = 0; i < thin.count; i++) {
        if (i > 0)
            assert_true(thin.minute[i] >= thin.minute[i - 1]);
        if (isnan(thin.value[i]))
            gaps++;
        low = fmin(low, thin.value[i]);
        high = fmax(high, thin.value[i]);
    }
    assert_int_equal(gaps, 1);
    assert_near(low, -7, 0);
    assert_near(high, 55, 0);
    free(thin.minute);
    free(thin.value);
    free(time);
    free(value);
}

static void thinning_survives_gaps_everywhere(void **state)
{
    (void)state;
    const size_t count = 9000;
    double *time = malloc(count * sizeof *time), *value = malloc(count * sizeof *value);
    for (size_t i = 0; i < count; i++) {
        time[i] = 60.0 * (double)i;
        value[i] = (double)(i % 10);
    }
    struct series series = series_of(time, value, count);
    struct sample_series thin;
    assert_int_equal(series_thin(&series, 10, &thin), STATUS_OK);
    assert_true(thin.count > 0 && thin.count <= THINNED_MAX);
    free(thin.minute);
    free(thin.value);
    series.count = 0;
    assert_int_equal(series_thin(&series, 10, &thin), STATUS_OK);
    assert_int_equal(thin.count, 0);
    free(thin.minute);
    free(thin.value);
    free(time);
    free(value);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(quantiles_are_ranks),
        cmocka_unit_test(steps_of_senders),
        cmocka_unit_test(profile_of_a_series),
        cmocka_unit_test(grids_average_and_bridge),
        cmocka_unit_test(before_the_first_reading_there_is_nothing),
        cmocka_unit_test(means_and_scatter_leave_out_what_is_missing),
        cmocka_unit_test(line_against_nist_norris),
        cmocka_unit_test(line_through_cells),
        cmocka_unit_test(running_median_is_the_median),
        cmocka_unit_test(low_pass_follows_slowly),
        cmocka_unit_test(restlessness_leaves_out_smooth_courses),
        cmocka_unit_test(short_series_are_kept_whole),
        cmocka_unit_test(thinning_keeps_extremes_and_gaps),
        cmocka_unit_test(thinning_survives_gaps_everywhere),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
