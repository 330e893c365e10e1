/* diagnose_engine.c - what sources and holds of one engine show; see diagnose.h. */
#include "diagnose.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "channel.h"
#include "rules.h"

static const char *const side_words[SIDE_COUNT] = {"before", "after"};

/* Heat load over exchanger conductance goes with speed to this power (propeller law over the flow
 * dependence of the exchanger; common practice, no source). */
#define SPEED_POWER 1.9

static struct cut name_of(const struct subject *s, size_t run)
{
    return answer_cut(s->answer->runs[run].name);
}

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

/* The largest response to the sea among the used holds: the most a wrong sea can do. */
static double worst_sea_response(const struct subject *s)
{
    double worst = 0.0;
    for (size_t i = 0; i < s->engine->hold_count; i++)
        if (is_used(&s->engine->holds[i]))
            worst = fmax(worst, diagnose_sea_response(s->engine, &s->engine->holds[i]));
    return worst > 0 ? worst : 1.0;
}

/* --- what is missing */

static bool anything(const double *cells, size_t count)
{
    return cells_mean(cells, 0, count, NULL) == cells_mean(cells, 0, count, NULL);
}

static void check_missing(const struct subject *s, const struct trial *trial)
{
    const struct columns *c = &trial->columns;
    struct cut name = name_of(s, trial->run);
    int engine = s->engine->instance;
    bool speed = anything(c->rpm, c->count), coolant = anything(c->coolant, c->count);
    if (!speed && !coolant)
        return; /* the engine was not recorded at all: told for the whole side */
    if (!speed)
        answer_warn(
            s->answer, "no_speed", engine,
            "%s has no engine speed: none of it can be compared. Record NMEA 0183 RPM, "
            "PGN 127488 or J1939 EEC1; if the number of the engine differs from that of its "
            "temperature, map it in the logger's configuration.",
            name.s);
    if (!coolant)
        answer_warn(s->answer, "no_coolant", engine,
                    "%s has no coolant temperature: none of it can be compared. Record an XDR "
                    "transducer, PGN 127489 or J1939 ET1; an unmapped transducer can be taken with "
                    "--source coolant_temperature=NAME.",
                    name.s);
    if (!anything(c->sea, c->count))
        answer_warn(s->answer, "no_sea", engine,
                    "%s has no sea temperature: none of it can be compared. Record MTW or PGN "
                    "130310, or enter sea_temperature among the facts of the run.",
                    name.s);
}

static size_t recorded_runs(const struct subject *s, enum side side)
{
    size_t n = 0;
    for (size_t i = 0; i < s->trial_count; i++) {
        const struct columns *c = &s->trials[i].columns;
        n += s->trials[i].side == side &&
             (anything(c->rpm, c->count) || anything(c->coolant, c->count));
    }
    return n;
}

static void check_sides(const struct subject *s)
{
    for (enum side side = SIDE_BEFORE; side < SIDE_COUNT; side++)
        if (recorded_runs(s, side) == 0)
            answer_warn(s->answer, "one_side_only", s->engine->instance,
                        "This engine was not recorded in any run %s: it cannot be compared.",
                        side_words[side]);
}

/* --- sources */

static void check_speed_source(const struct subject *s)
{
    for (size_t i = 0; i < s->trial_count; i++) {
        const struct candidate *speed = s->trials[i].chosen[QUANTITY_SPEED];
        if (speed && speed->channel == CHANNEL_SHAFT_SPEED) {
            answer_warn(s->answer, "shaft_speed_used", s->engine->instance,
                        "The speed of the propeller shaft stands in for the speed of the engine: "
                        "all rpm in this report are those of the shaft.");
            return;
        }
    }
}

static void check_same_source(const struct subject *s, size_t quantity, const char *consequence)
{
    const struct candidate *first = NULL;
    size_t first_run = 0;
    for (size_t i = 0; i < s->trial_count; i++) {
        const struct candidate *chosen = s->trials[i].chosen[quantity];
        if (first && chosen && strcmp(first->title, chosen->title) != 0) {
            answer_warn(s->answer, "source_differs", s->engine->instance,
                        "%s comes from %s in %s and from %s in %s: %s",
                        channel_get(quantity_channel(quantity))->title, answer_cut(first->title).s,
                        name_of(s, first_run).s, answer_cut(chosen->title).s,
                        name_of(s, s->trials[i].run).s, consequence);
            return;
        }
        if (!first && chosen) {
            first = chosen;
            first_run = s->trials[i].run;
        }
    }
}

static void check_sea_source(const struct subject *s)
{
    for (size_t i = 0; i < s->trial_count; i++) {
        const struct candidate *sea = s->trials[i].chosen[QUANTITY_SEA];
        if (sea && sea->channel == CHANNEL_RAW_WATER_IN) {
            answer_warn(
                s->answer, "raw_water_for_sea", s->engine->instance,
                "The raw water at the inlet of the exchanger stands in for the sea. Coolers "
                "before it (gearbox, fuel, charge air) warm it; as long as they do so alike "
                "before and after, the change shown is right.");
            return;
        }
    }
}

static void check_sources(const struct subject *s)
{
    check_speed_source(s);
    check_sea_source(s);
    check_same_source(s, QUANTITY_COOLANT,
                      "if these are two senders, their difference is part of the change shown. "
                      "--sender-uncertainty puts it into the interval.");
    check_same_source(s, QUANTITY_SEA,
                      "if these are two sensors, their difference counts as a difference of seas.");
}

void diagnose_difference(const struct subject *s, size_t run, size_t quantity,
                         const struct candidate *taken, const struct candidate *other,
                         double difference)
{
    const struct channel *channel = channel_get(quantity_channel(quantity));
    double limit = quantity == QUANTITY_SPEED ? rules.source.mark_rpm * fabs(taken->profile.mid)
                   : quantity == QUANTITY_SEA ? rules.source.mark_sea
                                              : rules.source.mark_coolant;
    if (!(fabs(difference) > limit) ||
        (quantity == QUANTITY_SEA && !s->whole_boat && taken->origin.place == PLACE_VESSEL))
        return;
    char consequence[160] = "Choose with --source.";
    if (channel->unit == UNIT_DEGC)
        snprintf(consequence, sizeof consequence,
                 "If the other is right, the change shown is off by up to %.1f K. Choose with "
                 "--source %s=NAME.",
                 fabs(difference) * (quantity == QUANTITY_SEA ? worst_sea_response(s) : 1.0),
                 channel->key);
    answer_warn(s->answer, "sources_disagree", quantity == QUANTITY_SEA ? -1 : s->engine->instance,
                "%s in %s: %s was taken; %s reads %.1f %s %s. %s", channel->title,
                name_of(s, run).s, answer_cut(taken->title).s, answer_cut(other->title).s,
                fabs(difference),
                channel->unit == UNIT_DEGC ? "K" : unit_symbol(channel->unit, UNITS_SI),
                difference > 0 ? "less" : "more", consequence);
}

/* --- cleaning */

/* Whether this engine's sea is its own, or the boat's and this the engine that tells of it. */
static bool tells_of_sea(const struct subject *s, const struct trial *trial)
{
    const struct candidate *sea = trial->chosen[QUANTITY_SEA];
    return s->whole_boat || (sea && sea->origin.place == PLACE_ENGINE);
}

static void check_outliers(const struct subject *s, const struct trial *trial, size_t quantity)
{
    const struct cleaned *count = &trial->chosen[quantity]->cleaning.count;
    size_t out = count->unbelievable + count->spikes + count->dropouts;
    if ((double)out > rules.diagnose.outlier_share * (double)count->samples)
        answer_warn(s->answer, "outliers", s->engine->instance,
                    "%s in %s: %zu of %zu readings were wrong (%zu spikes, %zu in drop-outs, %zu "
                    "unbelievable) and taken out. Look at the plug and the earth of the sender.",
                    channel_get(trial->chosen[quantity]->channel)->title, name_of(s, trial->run).s,
                    out, count->samples, count->spikes, count->dropouts, count->unbelievable);
}

static void check_frozen(const struct subject *s, const struct trial *trial, size_t quantity)
{
    double frozen = trial->chosen[quantity]->cleaning.count.frozen_seconds;
    for (size_t i = 0; i < trial->frozen.count && quantity == QUANTITY_COOLANT; i++)
        frozen += trial->frozen.list[i].to - trial->frozen.list[i].from;
    if (frozen > 0)
        answer_warn(s->answer, "frozen", s->engine->instance,
                    "%s in %s stood still to the last digit for %.0f s: a gateway repeating old "
                    "values, or a dead sender. %s",
                    channel_get(trial->chosen[quantity]->channel)->title, name_of(s, trial->run).s,
                    frozen,
                    quantity == QUANTITY_SEA ? "Compare it with a thermometer."
                                             : "Holds in it were refused.");
}

/* Appends what was silent for longer than is worth a word. */
static void note_silence(const struct trial *trial, size_t quantity, char *text, size_t room)
{
    const struct candidate *chosen = trial->chosen[quantity];
    const struct cleaned *count = &chosen->cleaning.count;
    const struct channel *channel = channel_get(chosen->channel);
    size_t length = strlen(text);
    if (count->stale_seconds > rules.diagnose.lost_share * trial->duration &&
        count->stale_seconds > rules.diagnose.run_gap + channel->silence)
        snprintf(text + length, room - length, "%s%s %zu times, %.0f s in all",
                 length > 0 ? "; " : "", channel->key, count->stale, count->stale_seconds);
}

static void check_cleaning(const struct subject *s, const struct trial *trial)
{
    char silent[200] = "";
    for (size_t q = QUANTITY_SPEED; q <= QUANTITY_SEA; q++) {
        if (!trial->chosen[q] || (q == QUANTITY_SEA && !tells_of_sea(s, trial)))
            continue;
        check_outliers(s, trial, q);
        check_frozen(s, trial, q);
        note_silence(trial, q, silent, sizeof silent);
    }
    if (silent[0] != '\0')
        answer_warn(
            s->answer, "silences", s->engine->instance,
            "Silent in %s longer than is bridged: %s. Nothing was filled in; holds with too "
            "much missing were refused.",
            name_of(s, trial->run).s, silent);
}

/* --- the sea sensor */

static void warn_of_heat(const struct subject *s, const struct trial *trial, double response)
{
    const struct sea_look *look = &trial->sea;
    struct cut name = name_of(s, trial->run);
    struct cut sensor = answer_cut(trial->chosen[QUANTITY_SEA]->title);
    if (sea_follows_engine(look))
        answer_warn(s->answer, "sea_follows_engine", -1,
                    "The sea temperature in %s (%s) rises by %.1f K when the engine works: the "
                    "sensor may be warmed by the engine. The sea counts as unsure by that much, up "
                    "to %.1f K of coolant. Use another sensor with --source.",
                    name.s, sensor.s, look->effect, look->effect * response);
    else if (sea_falls_with_speed(look))
        answer_warn(
            s->answer, "sea_falls_with_speed", -1,
            "The sea temperature in %s (%s) reads %.1f K less at speed than running slowly: "
            "a sensor in a sea chest that warms without flow, or a warmer harbour. At low "
            "speed that is some tenths of a kelvin of coolant at most, the thermostat being "
            "in control there.",
            name.s, sensor.s, -look->effect);
    else if (fabs(look->drift) > rules.diagnose.sea_drift)
        answer_warn(
            s->answer, "sea_drift", -1,
            "The sea temperature in %s (%s) %s by %.1f K from start to end: other waters, or "
            "a sensor warmed by the engine room. If the sensor drifted, that is up to "
            "%.1f K of coolant.",
            name.s, sensor.s, look->drift > 0 ? "rose" : "fell", fabs(look->drift),
            fabs(look->drift) * response);
}

/* A value that never changes and is no round number: held by the instrument? Round ones are coarse
 * sensors. */
static void check_sea_frozen(const struct subject *s, const struct trial *trial)
{
    const struct candidate *sea = trial->chosen[QUANTITY_SEA];
    double beside = sea->profile.mid - round(2 * sea->profile.mid) / 2;
    if (sea->profile.step == 0.0 && fabs(beside) > rules.diagnose.sea_frozen_step)
        answer_warn(s->answer, "sea_frozen", -1,
                    "The sea temperature in %s (%s) never changed from %.2f °C: it may be a value "
                    "held by the instrument. Compare it with a thermometer.",
                    name_of(s, trial->run).s, answer_cut(sea->title).s, sea->profile.mid);
}

static void check_sea(const struct subject *s, const struct trial *trial)
{
    if (!tells_of_sea(s, trial))
        return;
    if (!isnan(trial->sea_by_hand))
        answer_warn(s->answer, "sea_by_hand", -1,
                    "The sea temperature of %s was typed in (%.1f °C), not recorded: it counts as "
                    "constant over the run.",
                    name_of(s, trial->run).s, trial->sea_by_hand);
    if (!trial->chosen[QUANTITY_SEA])
        return;
    warn_of_heat(s, trial, worst_sea_response(s));
    check_sea_frozen(s, trial);
}

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

/* --- holds */

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

/* --- load seen in the speed of the boat */

/* Mean boat speed of one side in one band; NaN without. */
static double boat_speed(const struct subject *s, double rpm, enum side side)
{
    double sum = 0, n = 0;
    for (size_t i = 0; i < s->engine->hold_count; i++) {
        const struct hold *hold = &s->engine->holds[i];
        if (!is_used(hold) || hold->side != side || hold->band_rpm != rpm)
            continue;
        for (size_t t = 0; t < s->trial_count; t++) {
            double v = s->trials[t].run == hold->run
                           ? trial_mean(&s->trials[t], QUANTITY_BOAT_SPEED, hold)
                           : NAN;
            if (!isnan(v)) {
                sum += v;
                n++;
            }
        }
    }
    return n > 0 ? sum / n : NAN;
}

static bool load_recorded(const struct subject *s)
{
    for (size_t i = 0; i < s->trial_count; i++)
        if (!s->trials[i].chosen[QUANTITY_FUEL_RATE] && !s->trials[i].chosen[QUANTITY_LOAD])
            return false;
    return true;
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
    double shifts[BANDS_MAX];
    size_t n = 0;
    if (!through_water(s))
        return;
    for (size_t b = 0; b < s->engine->band_count; b++) {
        double before = boat_speed(s, s->engine->bands[b].rpm, SIDE_BEFORE);
        double after = boat_speed(s, s->engine->bands[b].rpm, SIDE_AFTER);
        if (before > rules.hold.slow_speed && after > rules.hold.slow_speed)
            shifts[n++] = after / before - 1;
    }
    double shift = n >= 2 ? series_median(shifts, n) : 0;
    if (fabs(shift) > rules.diagnose.speed_shift)
        answer_warn(
            s->answer, "boat_speed_shift", s->engine->instance,
            "At the same rpm the boat was %.0f %% %s after than before: hull, propeller, "
            "weight or weather changed the load. %s",
            100 * fabs(shift), shift > 0 ? "faster" : "slower",
            load_recorded(s)
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
    check_sides(s);
    check_sources(s);
    for (size_t i = 0; i < s->trial_count; i++) {
        check_missing(s, &s->trials[i]);
        check_cleaning(s, &s->trials[i]);
        check_sea(s, &s->trials[i]);
    }
    check_seas_apart(s);
    check_throttle(s);
    check_unsteady_coolant(s);
    check_thermostat(s);
    check_boat_speed(s);
}
