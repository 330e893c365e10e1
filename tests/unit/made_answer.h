/* made_answer.h - answers made by hand, for the tests of charts, report and JSON. Numbers of our
 * own: a pilot boat whose engine stood at 92 degC at full throttle before and at 81 degC after. */
#ifndef SEARUN_MADE_ANSWER_H
#define SEARUN_MADE_ANSWER_H

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../../analyze/answer.h"
#include "facts.h"

#define MADE_START INT64_C(1778752320000000) /* 2026-05-14 09:52 UTC */

static inline void *made_room(size_t count, size_t size)
{
    void *room = calloc(count, size);
    if (room == NULL)
        abort();
    return room;
}

static inline void made_samples(struct sample_series *out, size_t count, double (*at)(double, int),
                                int side)
{
    out->count = count;
    out->minute = made_room(count, sizeof(double));
    out->value = made_room(count, sizeof(double));
    for (size_t i = 0; i < count; i++) {
        out->minute[i] = (double)i * 40 / (double)(count - 1);
        out->value[i] = at(out->minute[i], side);
    }
}

static const double made_rpm[] = {1000, 1400, 1800, 2200, 2600, 2800};
static const double made_coolant[2][6] = {{78.2, 79.4, 80.9, 83.8, 89.1, 92.0},
                                          {77.4, 78.1, 78.8, 79.6, 80.6, 81.2}};

static inline double made_speed_at(double minute, int side)
{
    int step = (int)(minute / 5.7);
    (void)side;
    return step < 1 ? 720 + 20 * sin(minute * 9)
                    : made_rpm[step > 6 ? 5 : step - 1] + 6 * sin(minute * 31);
}

static inline double made_coolant_at(double minute, int side)
{
    int step = (int)(minute / 5.7);
    double to = step < 1 ? 76 : made_coolant[side][step > 6 ? 5 : step - 1];
    double from = step < 1 ? 40 : step == 1 ? 76 : made_coolant[side][step > 6 ? 5 : step - 2];
    return to + (from - to) * exp(-(minute - 5.7 * step) / 1.2) + 0.05 * sin(minute * 50);
}

static inline double made_sea_at(double minute, int side)
{
    return (side == 0 ? 17.2 : 19.0) + 0.1 * sin(minute / 7);
}

static inline void made_run(struct answer *answer, size_t index, enum side side, int engines)
{
    struct run_summary *run = &answer->runs[index];
    const char *word = side == SIDE_BEFORE ? "before" : "after";
    run->side = side;
    snprintf(run->path, sizeof run->path, "trials/%s.h5", word);
    snprintf(run->name, sizeof run->name, "%s.h5", word);
    memset(run->sha256, side == SIDE_BEFORE ? 'a' : 'b', 64);
    snprintf(run->software, sizeof run->software, "searun-logger 0.1.0");
    snprintf(run->clock, sizeof run->clock, "gnss");
    run->start_unix_us = MADE_START + (side == SIDE_AFTER ? INT64_C(172800000000) : 0);
    run->duration = 2400;
    run->sea_mean = side == SIDE_BEFORE ? 17.2 : 19.0;
    run->air_mean = side == SIDE_BEFORE ? 14.5 : NAN;
    run->closed_cleanly = true;
    run->gap_count = side == SIDE_AFTER;
    run->gap_seconds = side == SIDE_AFTER ? 12 : 0;
    run->facts = made_room(1, sizeof *run->facts);
    facts_set(run->facts, FACT_BOAT, 0, "name", "Tern's Reach", NULL);
    facts_set(run->facts, FACT_BOAT, 0, "port", "Skerrow Harbour", NULL);
    facts_set(run->facts, FACT_BOAT, 0, "length", "9.8 m", NULL);
    facts_set(run->facts, FACT_RUN, 0, "purpose",
              side == SIDE_BEFORE ? "before service" : "after service", NULL);
    facts_set(run->facts, FACT_RUN, 0, "wind", "3 Bft, west", NULL);
    if (side == SIDE_AFTER)
        facts_set(run->facts, FACT_RUN, 0, "service",
                  "Heat exchanger taken out, tubes cleaned, new gaskets, coolant renewed", NULL);
    run->trace_count = (size_t)engines;
    run->traces = made_room((size_t)engines, sizeof *run->traces);
    for (int e = 0; e < engines; e++) {
        facts_set(run->facts, FACT_ENGINE, e, "model", "Corrigal 6-230", NULL);
        facts_set(run->facts, FACT_ENGINE, e, "thermostat", "71, 82", NULL);
        facts_set(run->facts, FACT_ENGINE, e, "rated_rpm", "2800", NULL);
        run->traces[e].engine = e;
        made_samples(&run->traces[e].rpm, 1200, made_speed_at, (int)side);
        made_samples(&run->traces[e].coolant, 1200, made_coolant_at, (int)side);
        made_samples(&run->traces[e].sea, 600, made_sea_at, (int)side);
    }
}

static inline void made_holds(struct engine_answer *engine)
{
    engine->hold_count = 16;
    engine->holds = made_room(16, sizeof *engine->holds);
    for (size_t i = 0; i < 16; i++) {
        struct hold *hold = &engine->holds[i];
        size_t step = i % 8;
        hold->side = i < 8 ? SIDE_BEFORE : SIDE_AFTER;
        hold->run = hold->side;
        hold->start = step == 7 ? 60 : 60 * (5.7 * (double)(step + 1) + 0.4);
        hold->end = step == 7 ? 260 : hold->start + 280;
        hold->used_from = hold->start + 110;
        hold->rpm = step == 7 ? 720 : made_rpm[step > 5 ? 5 : step] + 3;
        hold->rpm_sd = 4;
        hold->coolant = step == 7 ? 58 : made_coolant[hold->side][step > 5 ? 5 : step];
        hold->coolant_slope = 0.0004;
        hold->coolant_sd = 0.05;
        hold->sea = hold->side == SIDE_BEFORE ? 17.2 : 19.0;
        hold->load = 20 + 12 * (double)step;
        hold->fuel_rate = hold->air = NAN;
        hold->band_rpm = step < 6 ? made_rpm[step] : NAN;
        hold->open_rise = step < 6 ? 40 + (double)step : NAN;
        hold->open_fraction = step < 6 ? 0.7 : NAN;
        hold->refusal = step < 6    ? REFUSAL_NONE
                        : step == 6 ? REFUSAL_TOO_SHORT
                                    : REFUSAL_ENGINE_COLD;
        if (step == 6) {
            hold->start += 60;
            hold->used_from = hold->end = hold->start + 70;
        }
    }
}

static inline struct interval made_interval(double value, double half)
{
    return (struct interval){value, value - half, value + half};
}

static inline void made_bands(struct engine_answer *engine, double less)
{
    engine->band_count = 6;
    for (size_t i = 0; i < 6; i++) {
        struct band *band = &engine->bands[i];
        double half = 0.45 + 0.22 * (double)i;
        double change = (made_coolant[1][i] - made_coolant[0][i]) * less;
        band->rpm = made_rpm[i];
        for (size_t side = 0; side < SIDE_COUNT; side++) {
            double coolant = made_coolant[0][i] + (side == SIDE_AFTER ? change : 0);
            band->side[side].coolant = made_interval(coolant, half);
            band->side[side].holds = 1 + i % 2;
            band->side[side].sea = side == SIDE_BEFORE ? 17.2 : 19.0;
            band->side[side].thermostat = coolant > 82 ? THERMOSTAT_OPEN : THERMOSTAT_IN_CONTROL;
            band->side[side].open_rise = made_interval(
                (side == SIDE_BEFORE ? 42 : 31) + 5.5 * (double)i, 2 + 0.2 * (double)i);
        }
        band->change = made_interval(change, half * 1.3);
        band->simultaneous = made_interval(change, half * 1.8);
        band->df = 7.4;
        band->finding = band->change.high < 0 ? FINDING_LOWERED : FINDING_NO_CHANGE_SHOWN;
    }
    engine->key_band = 5;
}

static inline void made_budget(struct engine_answer *engine)
{
    static const struct budget_term terms[] = {
        {"scatter", "scatter from hold to hold", 0.62,
         "more holds at this speed, up and down the ladder"},
        {"thermostat", "rating of the thermostat", 0.31,
         "the rating stamped on it, or a bench check"},
        {"load", "load from day to day", 0.55, "fuel rate or percent load on the bus"},
        {"sea", "seawater sensor", 0.25, "the same sensor in both runs"},
        {"lag", "heat stored in the block", 0.12, "holds of five minutes and more"},
        {"resolution", "steps of the coolant sender", 0.03, "a finer sender"}};
    engine->budget_count = sizeof terms / sizeof terms[0];
    memcpy(engine->budget, terms, sizeof terms);
}

static inline void made_engine(struct answer *answer, size_t index, double less)
{
    struct engine_answer *engine = &answer->engines[index];
    engine->instance = (int)index;
    snprintf(engine->label, sizeof engine->label, "%s",
             answer->engine_count == 1 ? "main"
             : index == 0              ? "port"
                                       : "starboard");
    engine->finding = less > 0.5 ? FINDING_LOWERED : FINDING_NO_CHANGE_SHOWN;
    snprintf(engine->sentence, sizeof engine->sentence,
             "At 2800 rpm and 18.1 °C sea: 92.0 → 81.2 °C, change −10.8 K.");
    engine->open_rise_ratio = made_interval(0.71, 0.05);
    engine->control_ratio = (struct interval){NAN, NAN, NAN};
    engine->thermostat_start = 71;
    engine->thermostat_full = 82;
    engine->thermostat_u = 1;
    engine->thermostat_from = "run file";
    engine->lag = 92;
    engine->lag_u = 20;
    engine->load_from = "assumed";
    engine->load_u = 0.02;
    engine->normal_low = 76;
    engine->normal_high = 85;
    engine->alarm = 98;
    engine->rated_rpm = 2800;
    made_bands(engine, less);
    made_holds(engine);
    made_budget(engine);
    engine->uncompared_count = 1;
    engine->uncompared[0] =
        (struct uncompared){3000, SIDE_AFTER, "the run after has no hold at 3000 rpm"};
    engine->also_count = 1;
    engine->also[0] = (struct also_row){CHANNEL_OIL_TEMPERATURE, 2800, made_interval(104, 1),
                                        made_interval(96.5, 1), made_interval(-7.5, 1.5)};
}

/* An answer with one run a side; free with made_free. Engine 0 was cured, engine 1 left alone. */
static inline void made_answer(struct answer *answer, int engines)
{
    memset(answer, 0, sizeof *answer);
    answer->confidence_level = 0.95;
    answer->reference_sea = 18.1;
    answer->reference_from = "mean of both runs";
    answer->seed = 1;
    answer->run_count = 2;
    answer->runs = made_room(2, sizeof *answer->runs);
    made_run(answer, 0, SIDE_BEFORE, engines);
    made_run(answer, 1, SIDE_AFTER, engines);
    answer->engine_count = (size_t)engines;
    answer->engines = made_room((size_t)engines, sizeof *answer->engines);
    for (int e = 0; e < engines; e++)
        made_engine(answer, (size_t)e, e == 0 ? 1 : 0.03);
    answer->choice_count = 1;
    answer->choices = made_room(1, sizeof *answer->choices);
    answer->choices[0] =
        (struct choice){CHANNEL_SEA_TEMPERATURE, 0, -1, "MTW from II", 2, "XDR from YX"};
    answer->warning_count = 1;
    answer->warnings[0] = (struct warning){"load_assumed", -1,
                                           "No fuel rate or load was recorded: a day-to-day "
                                           "difference of 2 % was assumed, which is 0.5 K here."};
}

static inline void made_free(struct answer *answer)
{
    for (size_t i = 0; i < answer->run_count; i++) {
        struct run_summary *run = &answer->runs[i];
        for (size_t t = 0; t < run->trace_count; t++) {
            struct sample_series *all[] = {&run->traces[t].rpm, &run->traces[t].coolant,
                                           &run->traces[t].sea};
            for (size_t s = 0; s < 3; s++) {
                free(all[s]->minute);
                free(all[s]->value);
            }
        }
        free(run->traces);
        facts_free(run->facts);
        free(run->facts);
    }
    for (size_t i = 0; i < answer->engine_count; i++)
        free(answer->engines[i].holds);
    free(answer->runs);
    free(answer->engines);
    free(answer->choices);
    memset(answer, 0, sizeof *answer);
}

#endif
