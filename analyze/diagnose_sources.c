/* diagnose_sources.c - what is missing, and what sources and cleaning show; see diagnose.h. */
#include "diagnose.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "channel.h"
#include "rules.h"

static const char *const side_words[SIDE_COUNT] = {"before", "after"};

static struct cut name_of(const struct subject *s, size_t run)
{
    return answer_cut(s->answer->runs[run].name);
}

/* The largest response to the sea among the used holds: the most a wrong sea can do. */
static double worst_sea_response(const struct subject *s)
{
    double worst = 0.0;
    for (size_t i = 0; i < s->engine->hold_count; i++)
        if (s->engine->holds[i].refusal == REFUSAL_NONE)
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

/* A source was taken because there is no better one, though it cannot be right. */
static void check_believable(const struct subject *s, const struct trial *trial)
{
    for (size_t q = QUANTITY_COOLANT; q <= QUANTITY_SEA; q++) {
        const struct candidate *chosen = trial->chosen[q];
        if (chosen && !source_believable(chosen, q))
            answer_warn(
                s->answer, "unbelievable_source", s->engine->instance,
                "%s in %s (%s) stands at %.1f °C for most of the run: that cannot be right, "
                "and what is compared with it is not either. Choose another source with "
                "--source, or map the right transducer.",
                channel_get(quantity_channel(q))->title, name_of(s, trial->run).s,
                answer_cut(chosen->title).s, chosen->profile.mid);
    }
}

/* How the coolant of the first run of a side was read by hand; NULL if it was not. */
static const struct accuracy *hand_of(const struct subject *s, enum side side)
{
    for (size_t i = 0; i < s->trial_count; i++)
        if (s->trials[i].side == side && trial_by_hand(&s->trials[i]))
            return &s->trials[i].chosen[QUANTITY_COOLANT]->series.accuracy;
    return NULL;
}

static bool same_accuracy(const struct accuracy *a, const struct accuracy *b)
{
    return a->step == b->step && a->reading_u == b->reading_u && a->run_u == b->run_u &&
           a->instrument_u == b->instrument_u && strcmp(a->instrument, b->instrument) == 0;
}

static void tell_by_hand(const struct subject *s, const char *when, const struct accuracy *a)
{
    char every_run[60] = "";
    if (a->run_u > 0)
        snprintf(every_run, sizeof every_run, "all of a run by %.1f K anew each run, ", a->run_u);
    answer_warn(
        s->answer, "read_by_hand", s->engine->instance,
        "Coolant temperature %s was read by hand (%s) at the end of each hold. As stated "
        "on the sheet, or else usual, a reading is unsure by %.1f K (rounding and reading), "
        "%sthe instrument by %.1f K for good (standard uncertainties): all of it is in the "
        "interval.",
        when, answer_cut(a->instrument).s, hypot(a->reading_u, a->step / sqrt(12.0)), every_run,
        a->instrument_u);
}

/* What readings by hand leave unsure. */
static void check_by_hand(const struct subject *s)
{
    const struct accuracy *before = hand_of(s, SIDE_BEFORE), *after = hand_of(s, SIDE_AFTER);
    if (before && after && same_accuracy(before, after)) {
        tell_by_hand(s, "before and after", before);
        return;
    }
    if (before)
        tell_by_hand(s, "before", before);
    if (after)
        tell_by_hand(s, "after", after);
}

static void check_sources(const struct subject *s)
{
    check_speed_source(s);
    check_sea_source(s);
    check_by_hand(s);
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
        count->stale_seconds > rules.diagnose.run_gap + series_silence(&chosen->series))
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
            "a sensor in a sea chest that warms without flow, or a warmer harbour. How much too "
            "warm it still reads at speed nobody can tell: the sea counts as unsure by %.1f K, up "
            "to "
            "%.1f K of coolant.",
            name.s, sensor.s, -look->effect, rules.diagnose.chest_share * -look->effect,
            rules.diagnose.chest_share * -look->effect * response);
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
    if (sea->series.accuracy.by_hand)
        return;
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

void diagnose_sources(const struct subject *s)
{
    check_sides(s);
    check_sources(s);
    for (size_t i = 0; i < s->trial_count; i++) {
        check_missing(s, &s->trials[i]);
        check_believable(s, &s->trials[i]);
        check_cleaning(s, &s->trials[i]);
        check_sea(s, &s->trials[i]);
    }
}
