/* test_seasons.c - the regression over outings, what fouling grows with, and whole seasons of made
 * outings whose truth is known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../../analyze/lift.h"
#include "../../analyze/season_clock.h"
#include "../../analyze/season_gather.h"
#include "../../analyze/season_gls.h"
#include "../../analyze/season_report.h"
#include "../../analyze/seasons.h"
#include "gls_covariance.h"
#include "near.h"

#define YEAR YEAR_SECONDS
#define START 1400000000.0 /* s since 1970 */

/* --- the regression */

/* A straight line through six points, every error of its own: against the closed formula of least
 * squares. */
static void own_errors_are_plain_least_squares(void **state)
{
    (void)state;
    static const double at[] = {0, 1, 2, 3, 4, 5}, y[] = {1.0, 2.1, 2.9, 4.2, 4.8, 6.1};
    static const double variance[] = {0.04, 0.04, 0.04, 0.04, 0.04, 0.04};
    double design[12], covariance[4];
    struct season_gls_fit fit;
    for (size_t i = 0; i < 6; i++) {
        design[2 * i] = 1;
        design[2 * i + 1] = at[i];
    }
    struct season_gls job = {6, 2, at, y, variance, design, NULL, NULL};
    assert_int_equal(season_gls_solve(&job, 0, 0, &fit), STATUS_OK);
    gls_covariance(&fit, covariance);
    /* mean of y 21.1 / 6 and of at 2.5; sum of squares 17.5, of products 17.45 */
    assert_near(fit.beta[1], 17.45 / 17.5, 1e-12);
    assert_near(fit.beta[0], 21.1 / 6 - 2.5 * 17.45 / 17.5, 1e-12);
    assert_near(covariance[3], 0.04 / 17.5, 1e-12);
    season_gls_free(&fit);
}

/* The same by inverting the whole matrix of the errors: exp(-distance / reach) and noise, six
 * points. */
static void dense(const double *at, const double *variance, size_t n, double sigma, double reach,
                  double *inverse)
{
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            inverse[i * n + j] =
                sigma * sigma * exp(-fabs(at[i] - at[j]) / reach) + (i == j ? variance[i] : 0);
    for (size_t p = 0; p < n; p++) {
        double pivot = 1 / inverse[p * n + p];
        inverse[p * n + p] = 1;
        for (size_t j = 0; j < n; j++)
            inverse[p * n + j] *= pivot;
        for (size_t i = 0; i < n; i++) {
            double factor = inverse[i * n + p];
            if (i == p)
                continue;
            inverse[i * n + p] = 0;
            for (size_t j = 0; j < n; j++)
                inverse[i * n + j] -= factor * inverse[p * n + j];
        }
    }
}

static void alike_errors_are_the_dense_formula(void **state)
{
    (void)state;
    static const double at[] = {0, 0.1, 0.5, 2, 2.2, 5}, y[] = {1.0, 2.1, 2.9, 4.2, 4.8, 6.1};
    static const double variance[] = {0.04, 0.01, 0.09, 0.02, 0.04, 0.03};
    double design[12], covariance[4], w[36], a[4] = {0}, b[2] = {0};
    struct season_gls_fit fit;
    for (size_t i = 0; i < 6; i++) {
        design[2 * i] = 1;
        design[2 * i + 1] = at[i];
    }
    struct season_gls job = {6, 2, at, y, variance, design, NULL, NULL};
    assert_int_equal(season_gls_solve(&job, 0.3, 0.8, &fit), STATUS_OK);
    gls_covariance(&fit, covariance);
    dense(at, variance, 6, 0.3, 0.8, w);
    for (size_t i = 0; i < 6; i++)
        for (size_t j = 0; j < 6; j++)
            for (size_t c = 0; c < 2; c++) {
                b[c] += design[2 * i + c] * w[6 * i + j] * y[j];
                for (size_t d = 0; d < 2; d++)
                    a[2 * c + d] += design[2 * i + c] * w[6 * i + j] * design[2 * j + d];
            }
    double determinant = a[0] * a[3] - a[1] * a[2];
    assert_near(fit.beta[0], (a[3] * b[0] - a[1] * b[1]) / determinant, 1e-9);
    assert_near(fit.beta[1], (a[0] * b[1] - a[2] * b[0]) / determinant, 1e-9);
    assert_near(covariance[0], a[3] / determinant, 1e-9);
    assert_near(covariance[3], a[0] / determinant, 1e-9);
    season_gls_free(&fit);
}

/* Flow of the Nile at Aswan, 1871 to 1970, 1e8 m3 a year (data set "Nile" of R; G. W. Cobb,
 * Biometrika 65, 1978). Mean, standard error, correlation of neighbours and standard deviation
 * under first-order errors: R 4.2.2, nlme 3.1-162, gls(y ~ 1, correlation = corAR1(), method =
 * "REML"). Errors taken as independent would give a standard error of 16.9. */
/* clang-format off */
static const double nile[100] = {
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180,
    799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833,
    701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768,
    845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010,
    771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918,
    986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
};
/* clang-format on */
#define NILE_MEAN 919.577419286387
#define NILE_SE 30.2180808683417
#define NILE_PHI 0.521758360198435
#define NILE_SIGMA 171.239872068805

/* Solves for the mean of the series; returns the density, and fills the fit that the caller
 * frees. */
static double nile_density(double sigma, double phi, struct season_gls_fit *fit)
{
    double at[100], variance[100], design[100];
    for (size_t i = 0; i < 100; i++) {
        at[i] = (double)i;
        variance[i] = 1e-9;
        design[i] = 1;
    }
    struct season_gls job = {100, 1, at, nile, variance, design, NULL, NULL};
    assert_int_equal(season_gls_solve(&job, sigma, -1 / log(phi), fit), STATUS_OK);
    return fit->log_density;
}

static double nile_density_only(double sigma, double phi)
{
    struct season_gls_fit fit;
    double density = nile_density(sigma, phi, &fit);
    season_gls_free(&fit);
    return density;
}

static void neighbours_alike_are_those_of_r(void **state)
{
    (void)state;
    struct season_gls_fit fit;
    double covariance, top = nile_density(NILE_SIGMA, NILE_PHI, &fit);
    gls_covariance(&fit, &covariance);
    assert_near(fit.beta[0], NILE_MEAN, 1e-6);
    assert_near(sqrt(covariance), NILE_SE, 1e-6);
    season_gls_free(&fit);
    for (int i = -1; i <= 1; i += 2) { /* the restricted likelihood is highest there */
        assert_true(nile_density_only(NILE_SIGMA * (1 + 0.01 * i), NILE_PHI) < top);
        assert_true(nile_density_only(NILE_SIGMA, NILE_PHI + 0.02 * i) < top);
    }
}

static void what_is_left_open_is_refused(void **state)
{
    (void)state;
    static const double at[] = {0, 1}, y[] = {1, 2}, variance[] = {1, 1};
    static const double design[] = {1, 2, 1, 2}; /* twice the same column */
    struct season_gls job = {2, 2, at, y, variance, design, NULL, NULL};
    struct season_gls_fit fit;
    assert_int_equal(season_gls_solve(&job, 0.1, 0, &fit), STATUS_BAD_DATA);
    season_gls_free(&fit);
}

/* --- the clock */

/* 100 hours each summer, none in winter: a date ahead falls into a summer, hours and dates turn
 * round. */
static void hours_know_the_seasons(void **state)
{
    (void)state;
    double at[40], hours[40];
    struct season_clock clock;
    bool fell;
    double first = 1420070400.0; /* 2015-01-01 */
    for (size_t i = 0; i < 40; i++) {
        at[i] = first + YEAR * ((double)(i / 8) + 0.30 + 0.05 * (double)(i % 8));
        hours[i] = 100.0 * ((double)(i / 8) + (double)(i % 8) / 7);
    }
    assert_int_equal(season_clock_make(at, hours, 40, &clock, &fell), STATUS_OK);
    assert_false(fell);
    assert_true(clock.by_hours);
    assert_near(clock.hours_a_year, 100, 12);
    double date = season_date(&clock, 550 / clock.hours_a_year, 1);
    double within = fmod((date - first) / YEAR, 1);
    assert_true(within > 0.25 && within < 0.70);
    assert_near(season_hours(&clock, date), 550, 1);
    assert_near(season_date(&clock, season_use(&clock, at[13]), 1), at[13], 86400);
    assert_true(isinf(season_date(&clock, INFINITY, 1)));
    season_clock_free(&clock);
}

static void a_new_hour_meter_leaves_the_calendar(void **state)
{
    (void)state;
    static const double at[] = {START, START + YEAR, START + 2 * YEAR}, hours[] = {900, 1000, 20};
    struct season_clock clock;
    bool fell;
    assert_int_equal(season_clock_make(at, hours, 3, &clock, &fell), STATUS_OK);
    assert_true(fell);
    assert_false(clock.by_hours);
    assert_near(season_date(&clock, season_use(&clock, at[1]), 1), at[1], 1);
    season_clock_free(&clock);
}

/* --- made outings */

static uint64_t chance_state;

static double normal(void)
{
    double sum = -6;
    for (int i = 0; i < 12; i++) {
        chance_state = chance_state * 6364136223846793005u + 1442695040888963407u;
        sum += (double)(chance_state >> 11) / 9007199254740992.0;
    }
    return sum;
}

static const struct thermostat valve = {.start = 71, .full = 82};

struct made {
    struct seasons seasons;
    double grows, drop; /* of ln open rise: a year, and at a clean after three years */
};

/* Fouling tells more at higher speeds: films thin with the flows, the layer does not. */
static double rise_at(double rpm, double ln_fouling, double ln_day)
{
    double x = log(rpm / 2800);
    return exp(log(62) + 1.85 * x + (1 + 0.75 * x) * ln_fouling + ln_day + 0.01 * normal());
}

static void make_hold(struct hold *hold, double rpm, double sea, double rise, double at)
{
    *hold = (struct hold){
        .start = at,
        .end = at + 400,
        .used_from = at + 150,
        .rpm = rpm,
        .rpm_sd = 4,
        .sea = sea,
        .coolant = lift_reading(&valve, rise, sea) + 0.03 * normal(),
        .coolant_sd = 0.1,
        .load = NAN,
        .fuel_rate = NAN,
        .air = NAN,
        .band_rpm = rpm,
        .open_rise = NAN,
        .open_fraction = NAN,
    };
}

static void make_outing(struct outing *outing, double at, double ln_fouling, unsigned number)
{
    static const double speeds[] = {2200, 2500, 2800};
    struct complaint complaint = {""};
    double day = 0.02 * normal();
    *outing = (struct outing){.start_unix_us = (int64_t)(at * 1e6), .duration = 7200};
    snprintf(outing->name, sizeof outing->name, "run-%u.h5", number);
    snprintf(outing->sha256, sizeof outing->sha256, "%064u", number);
    snprintf(outing->clock, sizeof outing->clock, "gnss");
    facts_set(&outing->facts, FACT_BOAT, 0, "name", "Tern's Reach", &complaint);
    facts_set(&outing->facts, FACT_ENGINE, 0, "thermostat", "71,82", &complaint);
    facts_set(&outing->facts, FACT_ENGINE, 0, "rated_rpm", "2800", &complaint);
    facts_set(&outing->facts, FACT_ENGINE, 0, "alarm", "98", &complaint);
    double sea = 16 - 4 * cos(2 * M_PI * at / YEAR);
    outing->engine_count = 1;
    outing->engines = calloc(1, sizeof *outing->engines);
    *outing->engines = (struct outing_engine){.hours = NAN,
                                              .top_speed = 2800,
                                              .lag = 90,
                                              .lag_u = 30,
                                              .lag_steps = 3,
                                              .cold_offset = NAN,
                                              .sea_drift = 0,
                                              .hold_count = 3};
    snprintf(outing->engines->speed_source, 9, "127488");
    snprintf(outing->engines->coolant_source, 9, "127489");
    snprintf(outing->engines->sea_source, 9, "130312");
    outing->engines->holds = calloc(3, sizeof *outing->engines->holds);
    for (size_t i = 0; i < 3; i++)
        make_hold(&outing->engines->holds[i], speeds[i], sea, rise_at(speeds[i], ln_fouling, day),
                  1200 + 600 * (double)i);
    outing->sea_low = outing->sea_high = sea;
}

/* Six years, eight outings a year, backwards in time; the clean after three. */
static void make_seasons(struct made *made, uint64_t seed, double grows, double drop, size_t runs)
{
    memset(made, 0, sizeof *made);
    chance_state = seed * 2654435761u + 12345;
    made->grows = grows;
    made->drop = drop;
    seasons_options_default(&made->seasons.options);
    made->seasons.outings = calloc(runs + 1, sizeof *made->seasons.outings);
    for (size_t i = runs; i-- > 0;) {
        double years = 6.0 * ((double)i + 0.5) / (double)runs;
        double ln_fouling = grows * years + (years > 3 ? drop : 0);
        make_outing(&made->seasons.outings[made->seasons.outing_count++], START + years * YEAR,
                    ln_fouling, (unsigned)i);
    }
    struct season_event event = {.at = START + 3 * YEAR, .hours = NAN, .engine = -1, .step = true};
    snprintf(event.what, sizeof event.what, "heat exchanger acid-cleaned");
    if (runs > 1)
        assert_int_equal(seasons_add_event(&made->seasons, &event), STATUS_OK);
}

static bool holds(struct interval interval, double truth)
{
    return interval.low <= truth && truth <= interval.high;
}

/* Of 40 boats nearly all intervals hold the truth; the rate over many is the business of the
 * bench. */
static void steps_and_trends_hold_the_truth(void **state)
{
    (void)state;
    unsigned steps = 0, growths = 0, now = 0, count = 40;
    for (unsigned seed = 1; seed <= count; seed++) {
        struct made made;
        make_seasons(&made, seed, 0.04, -0.15, 48);
        assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
        assert_int_equal(made.seasons.engine_count, 1);
        const struct season_engine *engine = &made.seasons.engines[0];
        const struct season_series *series = &engine->series;
        assert_int_equal(series->point_count, 48);
        assert_int_equal(series->segment_count, 2);
        assert_int_equal(series->step_count, 1);
        assert_false(series->steps[0].sender_only);
        assert_true(isnan(series->season.value)); /* used all year round */
        assert_true(isnan(engine->forecast.season.value) && !series->season_told);
        steps += holds(series->steps[0].ratio, exp(-0.15));
        double span = 3 * 23.0 / 24;
        growths += holds(series->segments[1].growth, expm1(0.04 * span) / span);
        double ln_rise = log(62) + 0.04 * 6 - 0.15;
        now += holds(engine->forecast.now,
                     lift_reading(&valve, exp(ln_rise), made.seasons.boats[0].warmest_sea));
        seasons_free(&made.seasons);
    }
    print_message("of %u boats: step %u, growth %u, reading %u\n", count, steps, growths, now);
    assert_true(steps >= count - 6);
    assert_true(growths >= count - 6);
    assert_true(now >= count - 6);
}

/* Outings from 0.3 to 0.8 of each year, over which weed adds 5 %: nothing of it is fouling. */
static void what_comes_and_goes_every_year_is_no_fouling(void **state)
{
    (void)state;
    struct made made = {.grows = 0.02};
    chance_state = 77;
    seasons_options_default(&made.seasons.options);
    made.seasons.outings = calloc(36, sizeof *made.seasons.outings);
    for (unsigned i = 0; i < 36; i++) {
        double share = (i % 6) / 5.0, year = floor(START / YEAR) + 1 + i / 6;
        double years = year + 0.3 + 0.5 * share;
        double ln_fouling = 0.02 * (years - START / YEAR);
        make_outing(&made.seasons.outings[made.seasons.outing_count++], years * YEAR,
                    ln_fouling + 0.05 * share, i);
    }
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    const struct season_series *series = &made.seasons.engines[0].series;
    print_message("season %.3f (%.3f to %.3f), growth %.3f (%.3f to %.3f)\n", series->season.value,
                  series->season.low, series->season.high, series->segments[0].growth.value,
                  series->segments[0].growth.low, series->segments[0].growth.high);
    assert_true(series->season_told);
    assert_true(holds(series->season, 0.05));
    assert_true(holds(series->segments[0].growth, expm1(0.02 * 5.5) / 5.5));
    assert_true(made.seasons.engines[0].forecast.season.low > 0);
    seasons_free(&made.seasons);
}

static void the_alarm_is_foretold(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 5, 0.06, -0.2, 60);
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    const struct season_forecast *f = &made.seasons.engines[0].forecast;
    double needed = log(98 - made.seasons.boats[0].warmest_sea);
    double years = (needed - (log(62) - 0.2)) / 0.06;
    assert_int_equal(f->outlook, OUTLOOK_DATE);
    assert_true(f->at.low < START + years * YEAR && f->at.high > START + years * YEAR);
    assert_true(isnan(f->hours.value));
    seasons_free(&made.seasons);
}

static void the_same_outings_give_the_same_answer(void **state)
{
    (void)state;
    struct made a, b;
    make_seasons(&a, 9, 0.03, -0.1, 20);
    make_seasons(&b, 9, 0.03, -0.1, 20);
    struct outing swapped = b.seasons.outings[3];
    b.seasons.outings[3] = b.seasons.outings[11];
    b.seasons.outings[11] = swapped;
    assert_int_equal(seasons_solve(&a.seasons, NULL), STATUS_OK);
    assert_int_equal(seasons_solve(&b.seasons, NULL), STATUS_OK);
    assert_true(a.seasons.engines[0].forecast.now.low == b.seasons.engines[0].forecast.now.low);
    seasons_free(&a.seasons);
    seasons_free(&b.seasons);
}

static void one_outing_is_a_beginning(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 3, 0.04, 0, 1);
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.engines[0].forecast.outlook, OUTLOOK_NOT_ENOUGH);
    assert_true(isfinite(made.seasons.engines[0].series.points[0].rise.value));
    seasons_free(&made.seasons);
}

static void without_an_alarm_there_is_no_date(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 4, 0.04, -0.15, 48);
    for (size_t i = 0; i < made.seasons.outing_count; i++)
        facts_set(&made.seasons.outings[i].facts, FACT_ENGINE, 0, "alarm", "", NULL);
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.engines[0].forecast.outlook, OUTLOOK_NO_ALARM);
    assert_true(isnan(made.seasons.engines[0].forecast.at.value));
    seasons_free(&made.seasons);
}

static void without_a_thermostat_it_warns(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 4, 0.04, -0.15, 30);
    for (size_t i = 0; i < made.seasons.outing_count; i++)
        facts_set(&made.seasons.outings[i].facts, FACT_ENGINE, 0, "thermostat", "", NULL);
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.warning_count, 1);
    assert_string_equal(made.seasons.warnings[0].key, "thermostat_unknown");
    assert_true(isfinite(made.seasons.engines[0].series.steps[0].ratio.value));
    seasons_free(&made.seasons);
}

static void without_a_sea_it_says_why(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 4, 0.04, -0.15, 12);
    for (size_t i = 0; i < made.seasons.outing_count; i++) {
        made.seasons.outings[i].engines->sea_source[0] = '\0';
        for (size_t k = 0; k < 3; k++)
            made.seasons.outings[i].engines->holds[k].sea = NAN;
        made.seasons.outings[i].sea_low = made.seasons.outings[i].sea_high = NAN;
    }
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.engines[0].series.point_count, 0);
    assert_int_equal(made.seasons.engines[0].left_out_count, 12);
    assert_non_null(strstr(made.seasons.engines[0].left_out[0].why, "sea"));
    seasons_free(&made.seasons);
}

/* The report as text, each run of blanks and line ends as one blank; to be freed. */
static char *report_of(const struct seasons *seasons)
{
    const struct style si = {UNITS_SI, false};
    const struct drawing_list none = {0};
    struct report_input input = {
        .extent = REPORT_WHOLE, .style = &si, .drawings = &none, .command = "", .seasons = seasons};
    struct document document = {0};
    struct text text = {0};
    assert_int_equal(season_report_build(&input, &document, NULL), STATUS_OK);
    report_text(&text, &document, &none, NULL, false);
    document_free(&document);
    char *words = text_take(&text), *to = words;
    for (const char *from = words; *from != '\0'; from++)
        if ((*from != ' ' && *from != '\n') || (to > words && to[-1] != ' '))
            *to++ = *from == '\n' ? ' ' : *from;
    *to = '\0';
    return words;
}

static void expect_words(const struct seasons *seasons, const char *const *parts)
{
    char *words = report_of(seasons);
    for (; *parts != NULL; parts++)
        if (strstr(words, *parts) == NULL)
            fail_msg("\"%s\" is not in\n%s", *parts, words);
    free(words);
}

static void lose_the_sea(struct outing *outing)
{
    outing->engines->sea_source[0] = '\0';
    for (size_t k = 0; k < 3; k++)
        outing->engines->holds[k].sea = NAN;
}

/* An outing after the service that cannot be used is no missing one: it is named, with why. */
static void what_came_after_the_service_is_named(void **state)
{
    (void)state;
    for (size_t unused = 0; unused < 3; unused++) {
        struct made made;
        make_seasons(&made, 4, 0.04, -0.15, 12);
        double last = (double)made.seasons.outings[unused].start_unix_us / 1e6;
        struct season_event event = {.at = last + 86400, .engine = -1, .step = true};
        snprintf(event.what, sizeof event.what, "bundle rodded");
        assert_int_equal(seasons_add_event(&made.seasons, &event), STATUS_OK);
        for (size_t i = 0; i < unused; i++) /* they stand backwards */
            lose_the_sea(&made.seasons.outings[i]);
        lose_the_sea(&made.seasons.outings[6]); /* long before */
        assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
        static const char *const parts[][4] = {
            {"Serviced after the last outing: record one", "1 outing was left out; why", NULL},
            {"Serviced after the last outing that can be used: record one",
             "There is an outing after the service, but it could not be used. run-11.h5: no sea "
             "temperature was recorded.",
             "2 outings were left out; why", NULL},
            {"There are 2 outings after the service, but none could be used. The last is "
             "run-11.h5: no sea temperature was recorded. The others stand under Left out.",
             "3 outings were left out; why", NULL},
        };
        expect_words(&made.seasons, parts[unused]);
        seasons_free(&made.seasons);
    }
}

/* The number that is told is that of the list. */
static void as_many_are_told_as_listed(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 4, 0.04, -0.15, 12);
    for (size_t i = 2; i < 4; i++)
        lose_the_sea(&made.seasons.outings[i]);
    made.seasons.refused = calloc(1, sizeof *made.seasons.refused);
    made.seasons.refused[made.seasons.refused_count++] =
        (struct season_refused){strdup("broken.h5"), strdup("broken.h5 is no run file")};
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    static const char *const parts[] = {
        "1 file and 2 outings were left out; why",
        "Figures in brackets are 95 % intervals: ranges that hold the true value in 95 of 100",
        "Left out -------- - broken.h5 is no run file - run-8.h5: no sea temperature was recorded "
        "- run-9.h5: no sea temperature was recorded How sure",
        NULL};
    expect_words(&made.seasons, parts);
    seasons_free(&made.seasons);
}

static void boats_engines_and_copies_are_told_apart(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 6, 0.04, -0.15, 24);
    struct outing *outings = made.seasons.outings;
    for (size_t i = 0; i < 6; i++)
        facts_set(&outings[i].facts, FACT_BOAT, 0, "name", "Two Sisters", NULL);
    for (size_t i = 6; i < 12; i++)
        facts_set(&outings[i].facts, FACT_ENGINE, 0, "serial", "A1", NULL);
    for (size_t i = 12; i < 24; i++)
        facts_set(&outings[i].facts, FACT_ENGINE, 0, "serial", "B2", NULL);
    memcpy(outings[23].sha256, outings[22].sha256, sizeof outings[23].sha256);
    outings[23].start_unix_us = outings[22].start_unix_us;
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.boat_count, 2);
    assert_int_equal(made.seasons.repeated, 1);
    assert_int_equal(made.seasons.outing_count, 23);
    assert_int_equal(made.seasons.engine_count, 3);
    size_t points = 0;
    for (size_t e = 0; e < 3; e++)
        points += made.seasons.engines[e].series.point_count;
    assert_int_equal(points, 23);
    assert_int_equal(made.seasons.warning_count, 2); /* copies, exchanged engine */
    seasons_free(&made.seasons);
}

static void work_is_guessed_from_the_facts(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 7, 0.04, -0.15, 24);
    made.seasons.event_count = 0;
    for (size_t i = 0; i < 24; i++) /* they stand backwards */
        if (i == 11)
            facts_set(&made.seasons.outings[i].facts, FACT_RUN, 0, "purpose", "after service",
                      NULL);
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.engines[0].series.step_count, 1);
    assert_true(made.seasons.engines[0].series.steps[0].guessed);
    assert_int_equal(made.seasons.engines[0].series.segments[0].points, 12);
    seasons_free(&made.seasons);
}

/* A line of the log between the runs before and after a service, after three years of six. */
static void log_between(struct made *made, const struct season_event *event)
{
    make_seasons(made, 7, 0.04, -0.15, 24);
    made->seasons.event_count = 0;
    facts_set(&made->seasons.outings[12].facts, FACT_RUN, 0, "purpose", "before service", NULL);
    facts_set(&made->seasons.outings[11].facts, FACT_RUN, 0, "purpose", "after service", NULL);
    assert_int_equal(seasons_add_event(&made->seasons, event), STATUS_OK);
    assert_int_equal(seasons_solve(&made->seasons, NULL), STATUS_OK);
}

/* A zinc or a sender alone is not the service that the runs tell of; work that may change the
 * cooling is, and is told once. */
static void what_cannot_cool_hides_no_service(void **state)
{
    (void)state;
    static const struct season_event events[] = {
        {.what = "zinc anode changed"},
        {.what = "temperature sender exchanged", .step = true, .new_sender = true},
        {.what = "heat exchanger acid-cleaned", .step = true},
    };
    static const char *const told[] = {"service", "temperature sender exchanged, service",
                                       "heat exchanger acid-cleaned"};
    for (size_t i = 0; i < 3; i++) {
        struct made made;
        struct season_event event = events[i];
        event.at = START + 3 * YEAR;
        event.hours = NAN;
        event.engine = -1;
        log_between(&made, &event);
        const struct season_series *series = &made.seasons.engines[0].series;
        assert_int_equal(series->step_count, 1);
        assert_string_equal(series->steps[0].what, told[i]);
        assert_false(series->steps[0].sender_only);
        assert_int_equal(series->segments[0].points, 12);
        assert_int_equal(made.seasons.event_count, i < 2 ? 2 : 1); /* the log's line stays */
        seasons_free(&made.seasons);
    }
}

/* Celsius in one run and Fahrenheit (160 and 180 °F, exact) in the next is no other thermostat; two
 * runs of one week after a service are after one service. */
static void what_is_no_work_is_not_guessed(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 7, 0.04, 0, 24);
    made.seasons.event_count = 0;
    for (size_t i = 0; i < 24; i += 2)
        facts_set(&made.seasons.outings[i].facts, FACT_ENGINE, 0, "thermostat", "71.111,82.222",
                  NULL);
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.engines[0].series.step_count, 0);
    seasons_free(&made.seasons);
    make_seasons(&made, 7, 0.04, -0.15, 24);
    made.seasons.event_count = 0;
    for (size_t i = 10; i < 12; i++) /* they stand backwards: 11 is the earlier one */
        facts_set(&made.seasons.outings[i].facts, FACT_RUN, 0, "purpose", "after service", NULL);
    made.seasons.outings[10].start_unix_us =
        made.seasons.outings[11].start_unix_us + 7 * INT64_C(86400000000);
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.engines[0].series.step_count, 1);
    seasons_free(&made.seasons);
}

static const struct season_warning *warning_of(const struct seasons *seasons, const char *key)
{
    for (size_t i = 0; i < seasons->warning_count; i++)
        if (strcmp(seasons->warnings[i].key, key) == 0)
            return &seasons->warnings[i];
    return NULL;
}

/* Another way of the readings, from the middle on; they stand backwards. */
static void read_otherwise(struct made *made, size_t runs)
{
    made->seasons.event_count = 0;
    for (size_t i = 0; i < runs / 2; i++)
        snprintf(made->seasons.outings[i].engines->coolant_source, 30, "gauge");
}

static void readings_that_come_another_way_are_another_sender(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 7, 0.04, 0, 24);
    read_otherwise(&made, 24);
    snprintf(made.seasons.outings[3].engines->coolant_source, 30, "127489 from 35"); /* and back */
    snprintf(made.seasons.outings[20].engines->coolant_source, 30, "127489 from 12");
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.engines[0].series.step_count, 1);
    const struct season_warning *warning = warning_of(&made.seasons, "sender_source");
    assert_non_null(warning);
    assert_non_null(strstr(warning->text, "sender-kept"));
    assert_non_null(strstr(warning->text, "gauge"));
    /* Two senders differ by 1 K or so: 1.6 % of 62 K, which 95 % of are 3.2 % either way. */
    assert_true(made.seasons.engines[0].series.steps[0].sender_only);
    struct interval ratio = made.seasons.engines[0].series.steps[0].ratio;
    assert_true(ratio.high - ratio.low > 0.06);
    seasons_free(&made.seasons);
}

static void the_log_may_say_that_the_sender_was_kept(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 7, 0.04, 0, 24);
    read_otherwise(&made, 24);
    struct season_event kept = {
        .at = START + 3 * YEAR, .hours = NAN, .engine = -1, .kept_sender = true};
    assert_int_equal(seasons_add_event(&made.seasons, &kept), STATUS_OK);
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.engines[0].series.step_count, 0);
    assert_null(warning_of(&made.seasons, "sender_source"));
    seasons_free(&made.seasons);
}

static void other_words_are_no_other_sender(void **state)
{
    (void)state;
    static const char *const words[][2] = {{"As fitted, thermostat housing",
                                            "as fitted "
                                            "(thermostat-housing)"},
                                           {"as fitted", "brass, by the thermostat"}};
    for (size_t c = 0; c < 2; c++) {
        struct made made;
        make_seasons(&made, 7, 0.04, 0, 24);
        made.seasons.event_count = 0;
        for (size_t i = 0; i < 24; i++)
            facts_set(&made.seasons.outings[i].facts, FACT_ENGINE, 0, "coolant_sender",
                      words[c][i < 12], NULL);
        assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
        assert_int_equal(made.seasons.engines[0].series.step_count, 0);
        assert_true((warning_of(&made.seasons, "sender_words") != NULL) == (c == 1));
        seasons_free(&made.seasons);
    }
}

/* What one engine's numbers do not allow keeps nobody from hearing of the other. */
static void an_engine_that_allows_no_line_is_left_out(void **state)
{
    (void)state;
    struct made made;
    make_seasons(&made, 7, 0.04, -0.15, 24);
    for (size_t i = 0; i < 24; i++) {
        struct outing *outing = &made.seasons.outings[i];
        struct outing_engine *both = calloc(2, sizeof *both);
        both[0] = both[1] = outing->engines[0];
        both[1].instance = 1;
        both[1].holds = calloc(3, sizeof *both[1].holds);
        memcpy(both[1].holds, both[0].holds, 3 * sizeof *both[1].holds);
        for (size_t k = 0; k < 3; k++)
            both[1].holds[k].coolant = 1e200;
        free(outing->engines);
        outing->engines = both;
        outing->engine_count = 2;
    }
    assert_int_equal(seasons_solve(&made.seasons, NULL), STATUS_OK);
    assert_int_equal(made.seasons.engine_count, 2);
    assert_false(made.seasons.engines[0].failed);
    assert_int_equal(made.seasons.engines[0].series.point_count, 24);
    assert_true(made.seasons.engines[1].failed);
    assert_int_equal(made.seasons.engines[1].series.point_count, 0);
    assert_non_null(warning_of(&made.seasons, "engine_failed"));
    seasons_free(&made.seasons);
}

/* The log spells a boat as compare takes it. */
static void the_log_may_spell_a_boat_otherwise(void **state)
{
    (void)state;
    struct season_boat boat = {.name = "Two Sisters"};
    const struct seasons seasons = {.boats = &boat, .boat_count = 1};
    struct season_event event = {.engine = 1, .boat = "two-sisters"};
    assert_true(season_event_is_of(&seasons, &event, 0, 1));
    assert_false(season_event_is_of(&seasons, &event, 0, 0));
    snprintf(event.boat, sizeof event.boat, "Two Sister");
    assert_false(season_event_is_of(&seasons, &event, 0, 1));
    event.boat[0] = '\0';
    assert_true(season_event_is_of(&seasons, &event, 0, 1));
}

static void no_outing_is_no_crash(void **state)
{
    (void)state;
    struct seasons seasons = {0};
    seasons_options_default(&seasons.options);
    assert_int_equal(seasons_solve(&seasons, NULL), STATUS_OK);
    assert_int_equal(seasons.engine_count, 0);
    seasons_free(&seasons);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(own_errors_are_plain_least_squares),
        cmocka_unit_test(alike_errors_are_the_dense_formula),
        cmocka_unit_test(neighbours_alike_are_those_of_r),
        cmocka_unit_test(what_is_left_open_is_refused),
        cmocka_unit_test(hours_know_the_seasons),
        cmocka_unit_test(a_new_hour_meter_leaves_the_calendar),
        cmocka_unit_test(steps_and_trends_hold_the_truth),
        cmocka_unit_test(what_comes_and_goes_every_year_is_no_fouling),
        cmocka_unit_test(the_alarm_is_foretold),
        cmocka_unit_test(the_same_outings_give_the_same_answer),
        cmocka_unit_test(one_outing_is_a_beginning),
        cmocka_unit_test(without_an_alarm_there_is_no_date),
        cmocka_unit_test(without_a_thermostat_it_warns),
        cmocka_unit_test(without_a_sea_it_says_why),
        cmocka_unit_test(what_came_after_the_service_is_named),
        cmocka_unit_test(as_many_are_told_as_listed),
        cmocka_unit_test(boats_engines_and_copies_are_told_apart),
        cmocka_unit_test(work_is_guessed_from_the_facts),
        cmocka_unit_test(what_cannot_cool_hides_no_service),
        cmocka_unit_test(what_is_no_work_is_not_guessed),
        cmocka_unit_test(readings_that_come_another_way_are_another_sender),
        cmocka_unit_test(the_log_may_say_that_the_sender_was_kept),
        cmocka_unit_test(other_words_are_no_other_sender),
        cmocka_unit_test(an_engine_that_allows_no_line_is_left_out),
        cmocka_unit_test(the_log_may_spell_a_boat_otherwise),
        cmocka_unit_test(no_outing_is_no_crash),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
