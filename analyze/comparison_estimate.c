/* comparison_estimate.c - what the estimate needs beside the holds, and what is said where it had
 * nothing to work on. */
#include "comparison.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rules.h"

/* --- the reference sea */

/* Mean over the sides of the sea in their used holds; of all readings where there is no hold. */
static double mean_sea(const struct comparison *c)
{
    double sum[SIDE_COUNT] = {0}, n[SIDE_COUNT] = {0}, all = 0, mean = 0, sides = 0;
    for (size_t e = 0; e < c->answer->engine_count; e++)
        for (size_t i = 0; i < c->answer->engines[e].hold_count; i++) {
            const struct hold *hold = &c->answer->engines[e].holds[i];
            if (hold->refusal == REFUSAL_NONE) {
                sum[hold->side] += hold->sea;
                n[hold->side]++;
            }
        }
    for (int side = 0; side < SIDE_COUNT; side++)
        if (n[side] > 0) {
            mean += sum[side] / n[side];
            sides++;
        }
    if (sides > 0)
        return mean / sides;
    for (size_t r = 0; r < c->answer->run_count; r++)
        if (!isnan(c->answer->runs[r].sea_mean)) {
            mean += c->answer->runs[r].sea_mean;
            all++;
        }
    return all > 0 ? mean / all : NAN;
}

/* Means of sea and air over each run, from the first engine that has them. */
static void fill_means(struct comparison *c)
{
    for (size_t r = 0; r < c->answer->run_count; r++)
        for (size_t e = 0; e < c->answer->engine_count; e++) {
            const struct columns *columns = &comparison_trials(c, e)[r].columns;
            struct run_summary *run = &c->answer->runs[r];
            if (isnan(run->sea_mean))
                run->sea_mean = cells_mean(columns->sea, 0, columns->count, NULL);
            if (isnan(run->air_mean))
                run->air_mean = cells_mean(columns->air, 0, columns->count, NULL);
        }
}

void comparison_set_reference(struct comparison *c)
{
    fill_means(c);
    bool given = !isnan(c->options->reference_sea);
    c->answer->reference_from = given ? "given" : "mean of both runs";
    c->answer->reference_sea =
        given ? c->options->reference_sea : round(10 * mean_sea(c)) / 10; /* 0.1 K, to be quoted */
}

/* --- what people state of their instruments */

static const struct accuracy *accuracy_of(const struct trial *trial, size_t quantity)
{
    return trial->chosen[quantity] ? &trial->chosen[quantity]->series.accuracy : NULL;
}

static struct hand_reading hand_of(const struct trial *trial)
{
    const struct accuracy *coolant = accuracy_of(trial, QUANTITY_COOLANT);
    const struct accuracy *speed = accuracy_of(trial, QUANTITY_SPEED);
    struct hand_reading hand = {.by_hand = trial_by_hand(trial)};
    if (coolant)
        hand.coolant_u = coolant->reading_u;
    if (speed && speed->by_hand)
        hand.speed_u = hypot(speed->reading_u, speed->step / sqrt(12.0));
    return hand;
}

/* All that one reading may be off, its rounding too. */
static double whole_uncertainty(const struct accuracy *accuracy)
{
    return hypot(hypot(accuracy->reading_u, accuracy->step / sqrt(12.0)),
                 hypot(accuracy->run_u, accuracy->instrument_u));
}

/* How far the coolant of any run of an engine may be off for all of its readings: by so much the
 * thermostat's rating may not fit what was read. */
static double coolant_offset_u(const struct comparison *c, size_t e)
{
    double most = 0;
    for (size_t r = 0; r < c->answer->run_count; r++) {
        const struct accuracy *a = accuracy_of(&comparison_trials(c, e)[r], QUANTITY_COOLANT);
        if (a)
            most = fmax(most, hypot(a->run_u, a->instrument_u));
    }
    return most;
}

static bool same_instrument(const struct candidate *a, const struct candidate *b)
{
    return a->channel == b->channel && strcmp(a->title, b->title) == 0 &&
           strcmp(a->series.accuracy.instrument, b->series.accuracy.instrument) == 0;
}

/* Whether anything is stated of how far it may be off. */
static bool is_stated(const struct accuracy *accuracy)
{
    return accuracy->by_hand || accuracy->run_u > 0 || accuracy->instrument_u > 0;
}

/* What may lie between the coolant of two runs, K: what comes anew every run and, with two
 * instruments, what each is off for good. A sender that nobody states anything of is good to
 * sender_u. 0 where nothing is stated of either. */
static double between_runs(const struct candidate *a, const struct candidate *b)
{
    const struct accuracy *x = &a->series.accuracy, *y = &b->series.accuracy;
    if (!is_stated(x) && !is_stated(y))
        return 0;
    double u = hypot(x->run_u, y->run_u);
    if (same_instrument(a, b))
        return u;
    u = hypot(u, hypot(x->instrument_u, y->instrument_u));
    return hypot(u, is_stated(x) && is_stated(y) ? 0 : rules.diagnose.sender_u);
}

/* The most between any run before and any run after. */
static double hand_sender_u(const struct comparison *c, size_t e)
{
    const struct trial *trials = comparison_trials(c, e);
    double most = 0;
    for (size_t i = 0; i < c->answer->run_count; i++)
        for (size_t k = 0; k < c->answer->run_count; k++) {
            const struct candidate *a = trials[i].chosen[QUANTITY_COOLANT];
            const struct candidate *b = trials[k].chosen[QUANTITY_COOLANT];
            if (a && b && trials[i].side == SIDE_BEFORE && trials[k].side == SIDE_AFTER)
                most = fmax(most, between_runs(a, b));
        }
    return most;
}

/* How unsure the sea is as a mean over a run: worse where it was typed in or the sensor drifts. */
static double sea_uncertainty(const struct comparison *c)
{
    double extra = 0;
    for (size_t i = 0; i < c->answer->run_count * c->answer->engine_count; i++) {
        const struct trial *trial = &c->trials[i];
        double drift = fabs(trial->sea.drift);
        if (!isnan(trial->sea_by_hand))
            extra = fmax(extra, rules.diagnose.hand_sea_u);
        if (!trial->chosen[QUANTITY_SEA])
            continue;
        extra = fmax(extra, whole_uncertainty(accuracy_of(trial, QUANTITY_SEA)));
        if (sea_falls_with_speed(&trial->sea))
            extra = fmax(extra, rules.diagnose.chest_share * -trial->sea.effect);
        if (sea_follows_engine(&trial->sea))
            drift = fmax(drift, trial->sea.effect);
        else if (drift <= rules.diagnose.sea_drift)
            drift = 0;
        extra = fmax(extra, rules.diagnose.drift_share * drift);
    }
    return hypot(ESTIMATE_SEA_U, extra);
}

/* NaN means what is usual of a rating. */
static double widened(double rating_u, double offset_u)
{
    return offset_u > 0 ? hypot(isnan(rating_u) ? ESTIMATE_RATING_U : rating_u, offset_u)
                        : rating_u;
}

static void fill_facts(struct comparison *c, size_t e)
{
    struct lag lags[RUNS_MAX];
    double *steps = c->steps + e * c->answer->run_count;
    for (size_t r = 0; r < c->answer->run_count; r++) {
        const struct trial *trial = &comparison_trials(c, e)[r];
        const struct candidate *coolant = trial->chosen[QUANTITY_COOLANT];
        c->hands[e * c->answer->run_count + r] = hand_of(trial);
        steps[r] = coolant && !coolant->cleaning.lively ? coolant->profile.step : 0.0;
        lags[r] = trial->lag;
    }
    struct lag lag = lag_pool(lags, c->answer->run_count);
    const struct agreed *agreed = &c->agreed[e];
    c->facts[e] = (struct estimate_facts){
        .thermostat_start = agreed->thermostat_start,
        .thermostat_full = agreed->thermostat_full,
        .thermostat_u = widened(agreed->thermostat_u, coolant_offset_u(c, e)),
        .thermostat_from = agreed->thermostat_from,
        .lag = lag.seconds,
        .lag_u = lag.u,
        .coolant_step = steps,
        .hand = c->hands + e * c->answer->run_count,
    };
}

/* Uncertainty between the coolant senders of the sides; sets sender_changed where there is any. */
static double sender_uncertainty(struct comparison *c)
{
    double most = 0;
    for (size_t e = 0; e < c->answer->engine_count; e++) {
        const struct agreed *agreed = &c->agreed[e];
        struct subject subject = comparison_subject(c, e);
        double shift = fabs(diagnose_sender(&subject)), u = 0;
        if (agreed->sender_changed || shift > 0)
            u = fmax(rules.diagnose.sender_u, shift);
        if (strcmp(agreed->thermostat_from, "given") != 0)
            u = hypot(u, agreed->thermostat_shift);
        u = fmax(u, hand_sender_u(c, e));
        if (!isnan(c->options->sender_u))
            u = c->options->sender_u;
        c->facts[e].sender_changed = u > 0;
        most = fmax(most, u);
    }
    return most;
}

static double day_load(const struct comparison *c)
{
    double load = c->options->day_load;
    for (size_t e = 0; e < c->answer->engine_count; e++)
        if (c->agreed[e].propeller_changed)
            load = fmax(load, rules.diagnose.propeller_load);
    return load;
}

/* Index of the engine that was left alone; -1 for none. */
static enum status find_control(const struct comparison *c, int *index)
{
    *index = -1;
    if (c->options->control_engine < 0)
        return STATUS_OK;
    for (size_t e = 0; e < c->answer->engine_count; e++)
        if (c->answer->engines[e].instance == c->options->control_engine)
            *index = (int)e;
    return *index >= 0 ? STATUS_OK
                       : complain(c->complaint, STATUS_BAD_USAGE,
                                  "engine %d, named as the one left alone, is in none of the runs",
                                  c->options->control_engine);
}

enum status comparison_estimate(struct comparison *c)
{
    struct estimate_job job = {.facts = c->facts};
    enum status status = find_control(c, &job.control_engine);
    c->steps = calloc(c->answer->engine_count * c->answer->run_count + 1, sizeof *c->steps);
    c->hands = calloc(c->answer->engine_count * c->answer->run_count + 1, sizeof *c->hands);
    if (!c->steps || !c->hands)
        return comparison_no_memory(c);
    if (status || c->answer->engine_count == 0)
        return status;
    for (size_t e = 0; e < c->answer->engine_count; e++)
        fill_facts(c, e);
    job.sea_u = sea_uncertainty(c);
    job.sender_u = sender_uncertainty(c);
    job.day_load = day_load(c);
    return estimate_engines(&job, c->answer, c->complaint);
}

/* --- bands that could not be compared */

static int say_refused(struct uncompared *row, const struct hold *hold)
{
    const char *side = row->missing == SIDE_BEFORE ? "before" : "after";
    if (hold->refusal == REFUSAL_UNHELD)
        return snprintf(row->reason, sizeof row->reason,
                        "%s: %.0f rpm was read at minute %.0f, but %s. Add the line \"held,5 min\" "
                        "above its table and read it in again",
                        side, hold->rpm, hold->start / 60, refusal_words(hold->refusal));
    return snprintf(row->reason, sizeof row->reason,
                    "%s: %.0f rpm was held from minute %.0f to %.0f, but refused: %s", side,
                    hold->rpm, hold->start / 60, hold->end / 60, refusal_words(hold->refusal));
}

/* Where a refused hold of the side that lacks a band lies near, its reason tells more. */
static void explain_uncompared(struct engine_answer *engine)
{
    for (size_t u = 0; u < engine->uncompared_count; u++) {
        struct uncompared *row = &engine->uncompared[u];
        double near = fmax(rules.band.width_rpm, rules.band.width_ratio * row->rpm);
        for (size_t i = 0; i < engine->hold_count; i++) {
            const struct hold *hold = &engine->holds[i];
            if (hold->side != row->missing || hold->refusal == REFUSAL_NONE ||
                hold->refusal == REFUSAL_NOT_SHARED || fabs(hold->rpm - row->rpm) > near)
                continue;
            int length = say_refused(row, hold);
            if (hold->refusal != REFUSAL_NO_COOLANT && hold->refusal != REFUSAL_NO_SEA &&
                hold->refusal != REFUSAL_UNHELD)
                snprintf(row->reason + length, sizeof row->reason - (size_t)length,
                         ". Hold %.0f rpm for 5 minutes or more, warm and in gear", row->rpm);
            break;
        }
    }
}

/* --- runs that lack what a comparison needs */

/* What a comparison cannot do without, and how it is recorded. */
static const struct need {
    enum quantity quantity;
    const char *words, *record;
} needs[] = {
    {QUANTITY_SPEED, "engine speed",
     "Record engine speed (NMEA 0183 RPM, NMEA 2000 PGN 127488 or J1939 EEC1) in a run before and "
     "a "
     "run after, with the same engine number as the coolant temperature."},
    {QUANTITY_COOLANT, "coolant temperature",
     "Record coolant temperature (NMEA 0183 XDR, NMEA 2000 PGN 127489 or J1939 ET1) in a run "
     "before "
     "and a run after; an unmapped transducer can be taken with --source "
     "coolant_temperature=NAME. On a sheet filled in by hand, look at the unit of the gauge's "
     "column."},
    {QUANTITY_SEA, "sea temperature",
     "Record sea temperature (NMEA 0183 MTW, NMEA 2000 PGN 130310 or 130312) in a run before and a "
     "run after, or measure it by hand and enter sea_temperature among the facts of the run."},
};

static bool side_has(const struct subject *subject, enum side side, enum quantity quantity)
{
    for (size_t i = 0; i < subject->trial_count; i++) {
        const struct trial *trial = &subject->trials[i];
        bool by_hand = quantity == QUANTITY_SEA && !isnan(trial->sea_by_hand);
        if (trial->side == side && (trial->chosen[quantity] || by_hand))
            return true;
    }
    return false;
}

/* What a sheet lacks beside is told along: nobody wants to go out, or look, twice. */
static const char *unheld_next(const struct engine_answer *engine)
{
    for (size_t i = 0; i < engine->hold_count; i++)
        if (engine->holds[i].refusal == REFUSAL_UNHELD)
            return " A sheet does not say how long each speed was held, either: add the line "
                   "\"held,5 min\" above its table and read it in again.";
    return "";
}

/* Says what is missing where a side lacks a quantity in all its runs: more use than "no holds". */
static void say_missing(const struct subject *subject, struct engine_answer *engine)
{
    for (size_t i = 0; i < sizeof needs / sizeof needs[0]; i++) {
        bool before = side_has(subject, SIDE_BEFORE, needs[i].quantity);
        bool after = side_has(subject, SIDE_AFTER, needs[i].quantity);
        if (before && after)
            continue;
        snprintf(engine->sentence, sizeof engine->sentence,
                 "Nothing can be compared: no %s was recorded%s.", needs[i].words,
                 before  ? " after the service"
                 : after ? " before the service"
                         : "");
        snprintf(engine->next, sizeof engine->next, "%s%s", needs[i].record, unheld_next(engine));
        return;
    }
}

void comparison_explain(struct comparison *c, size_t e)
{
    struct subject subject = comparison_subject(c, e);
    explain_uncompared(&c->answer->engines[e]);
    say_missing(&subject, &c->answer->engines[e]);
}
