/* diagnose_engine.c - what the holds of one engine show; see diagnose.h. */
#include "diagnose.h"

#include <math.h>
#include <string.h>

#include "channel.h"
#include "rules.h"

static const char *const side_words[SIDE_COUNT] = {"before", "after"};

/* Heat load over exchanger conductance goes with speed to this power (propeller law over the flow
 * dependence of the exchanger; common practice, no source). */
#define SPEED_POWER 1.9

static bool is_used(const struct hold *hold)
{
    return hold->refusal == REFUSAL_NONE;
}

/* --- how the coolant answers */

/* d phi / dT of the thermostat at a hold, 1/K: 0 wide open, NaN if nothing is known. */
static double opening_slope(const struct engine_answer *engine, const struct hold *hold)
{
    if (isnan(hold->open_fraction) || isnan(engine->thermostat_full))
        return NAN;
    bool controls = hold->open_fraction > 0 && hold->open_fraction < 1;
    return controls ? 1.0 / (engine->thermostat_full - engine->thermostat_start) : 0.0;
}

double diagnose_sea_response(const struct engine_answer *engine, const struct hold *hold)
{
    double slope = opening_slope(engine, hold), rise = hold->coolant - hold->sea;
    if (isnan(slope) || !(hold->open_fraction > 0))
        return 1.0;
    return hold->open_fraction / (hold->open_fraction + rise * slope);
}

double diagnose_load_response(const struct engine_answer *engine, const struct hold *hold)
{
    double slope = opening_slope(engine, hold), rise = hold->coolant - hold->sea;
    if (isnan(slope) || !(hold->open_fraction > 0))
        return rise;
    return hold->open_fraction * rise / (hold->open_fraction + rise * slope);
}

/* --- holds */

static void check_seas_apart(const struct subject *s)
{
    double sum[SIDE_COUNT] = {0}, n[SIDE_COUNT] = {0};
    for (size_t i = 0; i < s->engine->hold_count; i++) {
        const struct hold *hold = &s->engine->holds[i];
        if (is_used(hold)) {
            sum[hold->side] += hold->sea;
            n[hold->side]++;
        }
    }
    double apart = sum[SIDE_AFTER] / n[SIDE_AFTER] - sum[SIDE_BEFORE] / n[SIDE_BEFORE];
    if (fabs(apart) > rules.diagnose.seas_apart)
        answer_warn(s->answer, "seas_apart", s->engine->instance,
                    "The sea was %.1f K %s after the service than before: the readings were moved "
                    "to one sea by the heat balance, not as read. Intervals are wider for it; runs "
                    "in like seas would tell more.",
                    fabs(apart), apart > 0 ? "warmer" : "colder");
}

/* What the heat going into block and coolant leaves unsure in a hold, K. */
static double settling_u(const struct engine_answer *engine, const struct hold *hold)
{
    return fabs(hold->coolant_slope) * engine->lag_u;
}

static void check_settling(const struct subject *s)
{
    const struct hold *worst = NULL;
    size_t n = 0, used = 0;
    for (size_t i = 0; i < s->engine->hold_count; i++) {
        const struct hold *hold = &s->engine->holds[i];
        used += is_used(hold);
        if (!is_used(hold) || !(settling_u(s->engine, hold) > rules.diagnose.unsettled_kelvin))
            continue;
        n++;
        if (!worst || settling_u(s->engine, hold) > settling_u(s->engine, worst))
            worst = hold;
    }
    if (worst)
        answer_warn(
            s->answer, "holds_unsettled", s->engine->instance,
            "%zu of %zu holds used had not settled: at worst, near %.0f rpm, the balance was "
            "corrected by %.1f K for heat still going into block and coolant, sure to %.1f K "
            "only. Holds of 7 minutes or more would not need it.",
            n, used, worst->rpm, fabs(worst->coolant_slope) * s->engine->lag,
            settling_u(s->engine, worst));
}

/* Step of the coolant sender in the coarsest run where it is not drowned in noise. */
static void check_coarse(const struct subject *s)
{
    double step = 0;
    for (size_t i = 0; i < s->trial_count; i++) {
        const struct candidate *coolant = s->trials[i].chosen[QUANTITY_COOLANT];
        if (coolant && !coolant->cleaning.lively && !coolant->series.accuracy.by_hand)
            step = fmax(step, coolant->profile.step);
    }
    if (step >= rules.diagnose.coarse_step)
        answer_warn(
            s->answer, "coolant_coarse", s->engine->instance,
            "Coolant temperature comes in steps of %.1f K: the mean of a hold is unsure by up "
            "to %.1f K (standard uncertainty), which is in the interval. A finer source "
            "would narrow it.",
            step, step / sqrt(12.0));
}

static void check_throttle(const struct subject *s)
{
    size_t n = 0;
    double worst = 0, at = 0;
    for (size_t i = 0; i < s->engine->hold_count; i++) {
        const struct hold *hold = &s->engine->holds[i];
        double limit = fmax(rules.diagnose.throttle_rpm, rules.diagnose.throttle_ratio * hold->rpm);
        if (!is_used(hold) || !(hold->rpm_sd > limit))
            continue;
        double kelvin =
            SPEED_POWER * hold->rpm_sd / hold->rpm * diagnose_load_response(s->engine, hold);
        n++;
        if (kelvin > worst) {
            worst = kelvin;
            at = hold->rpm;
        }
    }
    if (n > 0)
        answer_warn(
            s->answer, "throttle_unsteady", s->engine->instance,
            "Speed wandered in %zu of the holds used; at worst, near %.0f rpm, that can move "
            "the coolant by %.1f K. The scatter of the holds carries it. Hold the throttle "
            "still, out of waves and wakes.",
            n, at, worst);
}

/* How restless the coolant was in a hold; NaN if its run is not among the trials. */
static double restlessness(const struct subject *s, const struct hold *hold)
{
    for (size_t t = 0; t < s->trial_count; t++) {
        const struct columns *c = &s->trials[t].columns;
        if (s->trials[t].run == hold->run && hold->end <= (double)c->count)
            return cells_restlessness(c->coolant, (size_t)hold->used_from, (size_t)hold->end,
                                      (size_t)rules.diagnose.unsteady_span);
    }
    return NAN;
}

static void check_unsteady_coolant(const struct subject *s)
{
    for (enum side side = SIDE_BEFORE; side < SIDE_COUNT; side++) {
        size_t n = 0;
        double worst = 0, at = 0;
        for (size_t i = 0; i < s->engine->hold_count; i++) {
            const struct hold *hold = &s->engine->holds[i];
            double restless = is_used(hold) && hold->side == side ? restlessness(s, hold) : NAN;
            if (!(restless > rules.diagnose.unsteady_kelvin))
                continue;
            n++;
            if (restless > worst) {
                worst = restless;
                at = hold->rpm;
            }
        }
        if (n > 0)
            answer_warn(
                s->answer, "coolant_unsteady", s->engine->instance,
                "Coolant temperature was restless at steady speed %s (by %.1f K from one 20 s "
                "to the next near %.0f rpm, %zu holds): air in the coolant, a hunting "
                "thermostat or a loose sender can do that. Bleed the circuit and look at the "
                "level.",
                side_words[side], worst, at, n);
    }
}

/* Full speed of the engine as far as it is known: rated, or the fastest hold. */
static double full_speed(const struct engine_answer *engine)
{
    double full = 0;
    for (size_t i = 0; i < engine->hold_count; i++)
        full = fmax(full, engine->holds[i].rpm);
    return isnan(engine->rated_rpm) ? full : engine->rated_rpm;
}

/* Warm, under load, and still well below the temperature at which the thermostat starts to open. */
static bool runs_cool(const struct engine_answer *engine, const struct hold *hold)
{
    return hold->refusal == REFUSAL_THERMOSTAT_SHUT && hold->rpm >= 0.5 * full_speed(engine) &&
           hold->coolant < engine->thermostat_start - rules.diagnose.cool_open;
}

/* At light load and yet hotter than a thermostat wide open should leave it. */
static bool runs_hot(const struct engine_answer *engine, const struct hold *hold)
{
    return is_used(hold) && hold->rpm < 0.6 * full_speed(engine) &&
           hold->coolant > engine->thermostat_full + rules.diagnose.hot_shut;
}

/* The hold that shows a pattern most, by temperature; NULL for none. */
static const struct hold *pattern(const struct subject *s, enum side side,
                                  bool (*shows)(const struct engine_answer *, const struct hold *),
                                  double sign)
{
    const struct hold *worst = NULL;
    for (size_t i = 0; i < s->engine->hold_count; i++) {
        const struct hold *hold = &s->engine->holds[i];
        if (hold->side == side && shows(s->engine, hold) &&
            (!worst || sign * hold->coolant > sign * worst->coolant))
            worst = hold;
    }
    return worst;
}

static void check_thermostat(const struct subject *s)
{
    bool known = s->engine->thermostat_from && strcmp(s->engine->thermostat_from, "fitted") != 0 &&
                 !isnan(s->engine->thermostat_start);
    for (enum side side = SIDE_BEFORE; side < SIDE_COUNT && known; side++) {
        const struct hold *cool = pattern(s, side, runs_cool, -1);
        const struct hold *hot = pattern(s, side, runs_hot, 1);
        if (cool)
            answer_warn(
                s->answer, "thermostat_open_pattern", s->engine->instance,
                "Warm and at %.0f rpm the coolant stayed at %.1f °C %s, %.1f K below the "
                "start of the thermostat (%.0f °C): a thermostat stuck open, a wrong rating "
                "or a sender that reads low can do that. Such holds were refused.",
                cool->rpm, cool->coolant, side_words[side],
                s->engine->thermostat_start - cool->coolant, s->engine->thermostat_start);
        if (hot)
            answer_warn(
                s->answer, "thermostat_shut_pattern", s->engine->instance,
                "At only %.0f rpm the coolant stood at %.1f °C %s, above the full opening of "
                "the thermostat (%.0f °C): a thermostat that sticks, a blocked raw-water "
                "side or a wrong rating can do that. Inspect before running hard.",
                hot->rpm, hot->coolant, side_words[side], s->engine->thermostat_full);
    }
}

/* --- load */

/* Mean of a quantity over the used holds of one side in one band; NaN without. */
static double band_mean(const struct subject *s, size_t quantity, double rpm, enum side side)
{
    double sum = 0, n = 0;
    for (size_t i = 0; i < s->engine->hold_count; i++) {
        const struct hold *hold = &s->engine->holds[i];
        if (!is_used(hold) || hold->side != side || hold->band_rpm != rpm)
            continue;
        for (size_t t = 0; t < s->trial_count; t++) {
            double mean =
                s->trials[t].run == hold->run ? trial_mean(&s->trials[t], quantity, hold) : NAN;
            if (!isnan(mean)) {
                sum += mean;
                n++;
            }
        }
    }
    return n > 0 ? sum / n : NAN;
}

/* Median over the bands of the relative change of a quantity from before to after; only bands where
 * it is above `least`. 0 with fewer than two such bands. */
static double band_shift(const struct subject *s, size_t quantity, double least)
{
    double shifts[BANDS_MAX];
    size_t n = 0;
    for (size_t b = 0; b < s->engine->band_count; b++) {
        double before = band_mean(s, quantity, s->engine->bands[b].rpm, SIDE_BEFORE);
        double after = band_mean(s, quantity, s->engine->bands[b].rpm, SIDE_AFTER);
        if (before > least && after > least)
            shifts[n++] = after / before - 1;
    }
    return n >= 2 ? series_median(shifts, n) : 0;
}

static bool recorded_throughout(const struct subject *s, size_t quantity)
{
    for (size_t i = 0; i < s->trial_count; i++)
        if (!s->trials[i].chosen[quantity])
            return false;
    return s->trial_count > 0;
}

/* The quantity the estimate corrects load by, or QUANTITY_BESIDE for none. */
static size_t load_quantity(const struct subject *s)
{
    if (recorded_throughout(s, QUANTITY_FUEL_RATE))
        return QUANTITY_FUEL_RATE;
    return recorded_throughout(s, QUANTITY_LOAD) ? QUANTITY_LOAD : QUANTITY_BESIDE;
}

static void check_load(const struct subject *s)
{
    size_t quantity = load_quantity(s);
    double shift = quantity < QUANTITY_BESIDE ? band_shift(s, quantity, 1.0) : 0;
    if (fabs(shift) > rules.diagnose.load_shift)
        answer_warn(
            s->answer, "load_shift", s->engine->instance,
            "At the same rpm the engine worked %.0f %% %s after than before, by its %s: "
            "hull, propeller, weight or weather. The comparison is made at equal load; "
            "uncorrected, that alone would move the coolant by as much as %.0f %% of its rise "
            "above the sea.",
            100 * fabs(shift), shift > 0 ? "harder" : "less hard",
            quantity == QUANTITY_FUEL_RATE ? "fuel rate" : "percent load", 100 * fabs(shift));
}

/* Through the water only: over ground a current does as much as a load. */
static bool through_water(const struct subject *s)
{
    for (size_t i = 0; i < s->trial_count; i++) {
        const struct candidate *speed = s->trials[i].chosen[QUANTITY_BOAT_SPEED];
        if (!speed || speed->channel != CHANNEL_SPEED_THROUGH_WATER)
            return false;
    }
    return s->trial_count > 0;
}

static void check_boat_speed(const struct subject *s)
{
    double shift = through_water(s) ? band_shift(s, QUANTITY_BOAT_SPEED, rules.hold.slow_speed) : 0;
    if (fabs(shift) > rules.diagnose.speed_shift)
        answer_warn(
            s->answer, "boat_speed_shift", s->engine->instance,
            "At the same rpm the boat was %.0f %% %s after than before: hull, propeller, "
            "weight or weather changed the load. %s",
            100 * fabs(shift), shift > 0 ? "faster" : "slower",
            load_quantity(s) < QUANTITY_BESIDE
                ? "The recorded load corrects for it."
                : "No fuel rate or load was recorded in all runs to correct for it: part of "
                  "the change may be load, not cooling.");
}

/* --- a sender that was changed */

static double first_minute(const struct candidate *chosen, double from)
{
    if (!chosen)
        return NAN;
    double sum = 0, n = 0;
    for (size_t i = 0; i < chosen->series.count; i++) {
        if (chosen->series.time[i] > from + rules.diagnose.cold_window)
            break;
        if (chosen->series.time[i] >= from) {
            sum += chosen->series.value[i];
            n++;
        }
    }
    return n > 0 ? sum / n : NAN;
}

static size_t quantity_of(enum channel_id channel)
{
    size_t q = QUANTITY_BESIDE;
    while (q < quantity_count() && quantity_channel(q) != channel)
        q++;
    return q;
}

struct cold_start diagnose_cold_start(const struct trial *trial)
{
    struct cold_start none = {NAN, false};
    const struct candidate *coolant = trial->chosen[QUANTITY_COOLANT];
    if (!coolant || coolant->series.count == 0 ||
        coolant->series.time[0] > rules.diagnose.cold_window)
        return none;
    double from = coolant->series.time[0], reads = first_minute(coolant, from);
    double sea = first_minute(trial->chosen[QUANTITY_SEA], from);
    double oil = first_minute(trial->chosen[quantity_of(CHANNEL_OIL_TEMPERATURE)], from);
    if (reads > rules.hold.warm_least || reads - sea > rules.diagnose.cold_above_sea)
        return none;
    if (fabs(reads - oil) <= rules.diagnose.cold_spread)
        return (struct cold_start){reads - oil, true};
    return isnan(oil) ? (struct cold_start){reads - sea, false} : none;
}

/* Mean offset of one side by one kind of witness; NaN without. */
static double side_offset(const struct subject *s, enum side side, bool by_oil)
{
    double sum = 0, n = 0;
    for (size_t i = 0; i < s->trial_count; i++) {
        struct cold_start cold = diagnose_cold_start(&s->trials[i]);
        if (s->trials[i].side == side && cold.by_oil == by_oil && !isnan(cold.offset)) {
            sum += cold.offset;
            n++;
        }
    }
    return n > 0 ? sum / n : NAN;
}

double diagnose_sender(const struct subject *s)
{
    for (int by_oil = 1; by_oil >= 0; by_oil--) {
        double shift = side_offset(s, SIDE_AFTER, by_oil) - side_offset(s, SIDE_BEFORE, by_oil);
        double limit = by_oil ? rules.diagnose.cold_offset : rules.diagnose.cold_offset_sea;
        if (isnan(shift))
            continue;
        if (fabs(shift) <= limit)
            return 0.0;
        answer_warn(s->answer, "sender_offset", s->engine->instance,
                    "On the cold engine the coolant sender stood %.1f K %s against %s after than "
                    "before: it may have been exchanged, moved or its wiring changed. That much of "
                    "the change may be the sender's; the interval was widened by it. Check it in "
                    "hot water against a thermometer.",
                    fabs(shift), shift > 0 ? "higher" : "lower", by_oil ? "the oil" : "the sea");
        return shift;
    }
    return 0.0;
}

void diagnose_engine(const struct subject *s)
{
    diagnose_sources(s);
    check_seas_apart(s);
    check_settling(s);
    check_throttle(s);
    check_unsteady_coolant(s);
    check_coarse(s);
    check_thermostat(s);
    check_load(s);
    check_boat_speed(s);
}
