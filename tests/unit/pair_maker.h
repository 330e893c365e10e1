/* pair_maker.h - makes holds before and after, with a known change, for tests of the estimate.
 *
 * Not the estimator turned round: the coolant is stepped through time, the thermostat is no
 * straight line, has a lag and play of its own, holds scatter by Student's t with 4 degrees of
 * freedom, and the open rise over speed is no pure power.
 */
#ifndef SEARUN_TEST_PAIR_MAKER_H
#define SEARUN_TEST_PAIR_MAKER_H

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "../../analyze/estimate.h"

#define MAKER_SPEEDS 6
#define MAKER_RUNS_MAX 8

struct maker {
    double sea[SIDE_COUNT];     /* degC */
    double fouling[SIDE_COUNT]; /* open rise over clean, less 1, at full speed */
    double open_rise;           /* K, clean, at full speed */
    double hold_seconds;
    bool up_and_down;
    size_t runs[SIDE_COUNT]; /* 0: 1 */
    double coolant_step;     /* K; 0: 0.01 */
    double scatter;          /* relative, hold to hold */
    double day;              /* relative, run to run */
    double shift_after;      /* relative load after, a propeller say */
    double load_difference;  /* of the served engine alone */
    double sea_error;        /* K, of the sensor, run to run */
    double rating_error;     /* K, true start and full off the rating */
    double bend;             /* exponent of the thermostat's curve: 1 straight */
    double wave;             /* S shape */
    double play;             /* K of hysteresis */
    double lag;              /* s */
    double sender_error;     /* K, side after */
    bool fuel, percent;      /* recorded */
};

static const double maker_speed[MAKER_SPEEDS] = {1000, 1400, 1800, 2200, 2500, 2800};

static inline struct maker maker_default(void)
{
    return (struct maker){
        .sea = {18, 18},
        .fouling = {0.4, 0},
        .open_rise = 52,
        .hold_seconds = 300,
        .up_and_down = true,
        .scatter = 0.015,
        .day = 0.02,
        .sea_error = 0.2,
        .rating_error = 0.9,
        .bend = 1,
        .play = 0.3,
        .lag = 90,
    };
}

/* The thermostat as it is: start 71 and full 82 degC are the rating. */
static inline double maker_open(const struct maker *maker, double shift, double coolant)
{
    double x = fmin(fmax((coolant - 71 - shift) / 11, 0), 1);
    x = pow(x, maker->bend);
    return x + maker->wave * sin(2 * M_PI * x) / (2 * M_PI);
}

static inline double maker_rise(const struct maker *maker, enum side side, double rpm)
{
    double x = rpm / 2800;
    double clean = maker->open_rise * (0.06 * x + 0.94 * pow(x, 2.1));
    return clean * (1 + maker->fouling[side] * pow(x, 0.2));
}

/* The true steady reading at a sea temperature. */
static inline double maker_truth(const struct maker *maker, double shift, enum side side,
                                 double rpm, double sea)
{
    double low = sea, high = sea + 300;
    for (int i = 0; i < 60; i++) {
        double at = 0.5 * (low + high);
        bool below = maker_open(maker, shift, at) * (at - sea) < maker_rise(maker, side, rpm);
        *(below ? &low : &high) = at;
    }
    return 0.5 * (low + high);
}

/* Sums for mean and slope of the coolant. */
struct maker_sums {
    double n, t, y, tt, ty, yy, first;
};

static inline double maker_round(double value, double step)
{
    return step * floor(value / step + 0.5);
}

/* State of the engine within one run. */
struct maker_state {
    double coolant, wax, lift_low, lift_high;
};

/* One hold of one engine: steps the coolant, fills means. */
static inline void maker_hold(const struct maker *maker, gsl_rng *rng, double shift, double rise,
                              double sea, double rpm, struct maker_state *state, struct hold *hold)
{
    double step = maker->coolant_step > 0 ? maker->coolant_step : 0.01;
    double wander = 0, settle = fmin(0.4 * maker->hold_seconds, 120);
    struct maker_sums s = {0};
    for (double t = 0; t < maker->hold_seconds; t += 1) {
        wander = 0.95 * wander + gsl_ran_gaussian(rng, 0.02 * 0.31);
        state->wax += (state->coolant - state->wax) / 10;
        /* Play: the valve follows the wax only outside a dead band. */
        double seat =
            fmin(fmax(state->lift_low, state->wax - maker->play / 2), state->wax + maker->play / 2);
        state->lift_low = seat;
        double open = maker_open(maker, shift, seat);
        state->coolant += (rise * (1 + wander) - open * (state->coolant - sea)) / maker->lag;
        if (t < settle)
            continue;
        double y = maker_round(state->coolant + gsl_ran_gaussian(rng, 0.05), step);
        s.n++;
        s.t += t;
        s.y += y;
        s.tt += t * t;
        s.ty += t * y;
        s.yy += y * y;
    }
    double stt = s.tt - s.t * s.t / s.n, sty = s.ty - s.t * s.y / s.n;
    hold->start = hold->end;
    hold->used_from = hold->start + settle;
    hold->end = hold->start + maker->hold_seconds;
    hold->rpm = rpm;
    hold->coolant = s.y / s.n;
    hold->coolant_slope = sty / stt;
    hold->coolant_sd = sqrt(fmax(s.yy - s.y * s.y / s.n - sty * sty / stt, 0) / (s.n - 2));
}

/* Everything about a made pair. */
struct made {
    struct answer answer;
    struct estimate_facts facts[2];
    struct estimate_job job;
    double steps[MAKER_RUNS_MAX];
    double shift; /* K, of the true thermostat */
};

static inline void maker_run(const struct maker *maker, gsl_rng *rng, struct made *made,
                             size_t engine, size_t run, enum side side, double day)
{
    struct engine_answer *out = &made->answer.engines[engine];
    /* The engine left alone has no service: fouled alike on both sides. */
    enum side fouled = engine == 0 ? side : SIDE_AFTER;
    double sensor = gsl_ran_gaussian(rng, maker->sea_error);
    struct maker_state state = {72, 72, 72, 72};
    size_t holds = maker->up_and_down ? 2 * MAKER_SPEEDS - 1 : MAKER_SPEEDS;
    double end = 600;
    for (size_t i = 0; i < holds; i++) {
        size_t at = i < MAKER_SPEEDS ? i : 2 * MAKER_SPEEDS - 2 - i;
        struct hold *hold = &out->holds[out->hold_count++];
        *hold = (struct hold){.run = run, .side = side, .end = end, .band_rpm = maker_speed[at]};
        double rpm = maker_speed[at] + gsl_ran_gaussian(rng, 12);
        double load = exp(day + gsl_ran_tdist(rng, 4) / sqrt(2) * maker->scatter);
        if (side == SIDE_AFTER)
            load *= 1 + maker->shift_after + (engine == 0 ? maker->load_difference : 0);
        maker_hold(maker, rng, made->shift, maker_rise(maker, fouled, rpm) * load, maker->sea[side],
                   rpm, &state, hold);
        hold->sea = maker->sea[side] + sensor;
        if (side == SIDE_AFTER)
            hold->coolant += maker->sender_error;
        hold->fuel_rate =
            maker->fuel ? 30 * pow(rpm / 2800, 2.7) * load * (1 + gsl_ran_gaussian(rng, 0.004))
                        : NAN;
        hold->load = maker->percent ? floor(90 * pow(rpm / 2800, 1.6) * load + 0.5) : NAN;
        hold->air = NAN;
        end = hold->end;
    }
}

/* Makes a pair with one engine, or two of which the second was left alone. */
static inline void maker_make(const struct maker *maker, size_t engines, unsigned long seed,
                              struct made *made)
{
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_ranlxs0);
    gsl_rng_set(rng, seed);
    memset(made, 0, sizeof *made);
    size_t runs = 0;
    for (int side = 0; side < SIDE_COUNT; side++)
        runs += maker->runs[side] ? maker->runs[side] : 1;
    made->answer.confidence_level = 0.95;
    made->answer.reference_sea = 0.5 * (maker->sea[0] + maker->sea[1]);
    made->answer.seed = seed;
    made->answer.run_count = runs;
    made->answer.runs = calloc(runs, sizeof *made->answer.runs);
    made->answer.engine_count = engines;
    made->answer.engines = calloc(engines, sizeof *made->answer.engines);
    made->shift = gsl_ran_flat(rng, -1, 1) * maker->rating_error * sqrt(3.0);
    for (size_t e = 0; e < engines; e++) {
        made->answer.engines[e].instance = (int)e;
        made->answer.engines[e].holds =
            calloc(runs * 2 * MAKER_SPEEDS, sizeof *made->answer.engines[e].holds);
        made->facts[e] = (struct estimate_facts){.thermostat_start = 71,
                                                 .thermostat_full = 82,
                                                 .thermostat_u = 1,
                                                 .thermostat_from = "given",
                                                 .lag = NAN,
                                                 .lag_u = NAN,
                                                 .coolant_step = made->steps};
    }
    size_t run = 0;
    for (int side = 0; side < SIDE_COUNT; side++)
        for (size_t r = 0; r < (maker->runs[side] ? maker->runs[side] : 1); r++, run++) {
            made->answer.runs[run].side = (enum side)side;
            made->steps[run] = maker->coolant_step;
            double day = gsl_ran_gaussian(rng, maker->day);
            for (size_t e = 0; e < engines; e++)
                maker_run(maker, rng, made, e, run, (enum side)side, day);
        }
    made->job = (struct estimate_job){.facts = made->facts,
                                      .sea_u = NAN,
                                      .day_load = 0.02,
                                      .control_engine = engines > 1 ? 1 : -1};
    gsl_rng_free(rng);
}

static inline void maker_free(struct made *made)
{
    for (size_t e = 0; e < made->answer.engine_count; e++)
        free(made->answer.engines[e].holds);
    free(made->answer.engines);
    free(made->answer.runs);
}

#endif
