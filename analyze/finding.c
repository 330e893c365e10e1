/* finding.c - see finding.h. */
#include "finding.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum finding finding_of_change(struct interval change)
{
    if (change.high < 0)
        return FINDING_LOWERED;
    if (change.low > 0)
        return FINDING_RAISED;
    return FINDING_CANNOT_BE_SHOWN;
}

double finding_load_shift(const struct engine_answer *engine)
{
    bool recorded =
        strcmp(engine->load_from, "fuel_rate") == 0 || strcmp(engine->load_from, "load") == 0;
    return recorded || isfinite(engine->control_ratio.value) ? 0 : FINDING_LOAD_SHIFT;
}

/* Beyond 1 on one side, if not by enough. */
static bool leaves_one(struct interval ratio)
{
    return ratio.high < 1 || ratio.low > 1;
}

enum finding finding_of_ratio(struct interval ratio, double load_shift)
{
    if (ratio.high * (1 + load_shift) < 1)
        return FINDING_LOWERED;
    if (ratio.low > 1 + load_shift)
        return FINDING_RAISED;
    if (!leaves_one(ratio) && ratio.low > 1 / FINDING_INFORMATIVE &&
        ratio.high < FINDING_INFORMATIVE)
        return FINDING_NO_CHANGE_SHOWN;
    return FINDING_CANNOT_BE_SHOWN;
}

enum finding finding_overall(struct interval ratio, struct interval change, double load_shift)
{
    enum finding finding = finding_of_ratio(ratio, load_shift);
    bool claims = finding == FINDING_LOWERED || finding == FINDING_RAISED;
    return claims && finding_of_change(change) != finding ? FINDING_CANNOT_BE_SHOWN : finding;
}

/* --- words */

/* The words of the answer are in stored units with decimal points. */
static const struct style plain = {UNITS_SI, false};

struct prose {
    char *text;
    size_t room;
};

static void say(struct prose *prose, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Appends, and cuts off what has no room. */
static void say(struct prose *prose, const char *format, ...)
{
    size_t length = strlen(prose->text);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(prose->text + length, prose->room - length, format, arguments);
    va_end(arguments);
}

/* What an interval is: ": 95 of 100 such ranges hold the truth". */
static struct word range_words(const struct style *style, double level)
{
    bool whole = fabs(100 * level - round(100 * level)) < 0.005;
    return word_of(": %s of 100 such ranges hold the truth",
                   word_number(style, 100 * level, whole ? 0 : 2).s);
}

static void say_change(struct prose *prose, const struct engine_answer *engine, double level,
                       double sea, const struct style *style, bool explain)
{
    const struct band *band = &engine->bands[engine->key_band];
    const struct interval before = band->side[SIDE_BEFORE].coolant;
    const struct interval after = band->side[SIDE_AFTER].coolant;
    int decimals = word_decimals(style, UNIT_KELVIN, band->change);
    say(prose,
        "At %s and %s sea the coolant goes from %s to %s: a change of %s (%s interval "
        "%s\u00a0%s%s).",
        word_rpm(band->rpm).s, word_quantity(style, UNIT_DEGC, sea, 1).s,
        word_value(style, UNIT_DEGC, before.value, word_decimals(style, UNIT_DEGC, before)).s,
        word_quantity(style, UNIT_DEGC, after.value, word_decimals(style, UNIT_DEGC, after)).s,
        word_change(style, UNIT_KELVIN, band->change.value, decimals).s, word_level(style, level).s,
        word_range(style, UNIT_KELVIN, band->change, decimals, true).s,
        unit_symbol(UNIT_KELVIN, style->units), explain ? range_words(style, level).s : "");
}

static void say_ratio(struct prose *prose, const struct engine_answer *engine,
                      const struct style *style)
{
    struct interval ratio = engine->open_rise_ratio;
    if (!isfinite(ratio.value))
        return;
    int decimals = word_decimals(style, UNIT_ONE, ratio);
    say(prose,
        " With the thermostat wide open the coolant would rise above the sea by %s times as much "
        "as before (%s).",
        word_number(style, ratio.value, decimals).s,
        word_range(style, UNIT_ONE, ratio, decimals, false).s);
}

static void say_verdict(struct prose *prose, const struct engine_answer *engine)
{
    switch (engine->finding) {
    case FINDING_LOWERED:
        say(prose, " The engine is cooled better than before.");
        break;
    case FINDING_RAISED:
        say(prose, " The engine is cooled less well than before.");
        break;
    case FINDING_NO_CHANGE_SHOWN:
        say(prose,
            " No change is shown. A change within these intervals remains possible; one of %.0f %% "
            "or more in the rise with the thermostat wide open would most likely have shown in "
            "these runs.",
            100 * (FINDING_INFORMATIVE - 1));
        break;
    case FINDING_CANNOT_BE_SHOWN:
        say(prose, " These runs cannot show whether the cooling has changed.");
        if (leaves_one(engine->open_rise_ratio) && finding_load_shift(engine) > 0)
            say(prose,
                " The readings did change, but %.0f %% more or less load would do that too, and "
                "neither fuel rate nor engine load tells: another propeller, a foul hull or a full "
                "tank can be as much.",
                100 * FINDING_LOAD_SHIFT);
        break;
    }
}

/* What stands on a load nobody recorded says so itself: a change that is claimed, and one that is
 * not. */
static void say_load(struct prose *prose, const struct engine_answer *engine)
{
    if (engine->finding == FINDING_CANNOT_BE_SHOWN || engine->load_from == NULL ||
        !(finding_load_shift(engine) > 0))
        return;
    if (engine->propeller_changed)
        say(prose,
            " The runs name different propellers, so the load at equal speed was hardly the same. "
            "It was not recorded: if it differed by more than %.0f %%, what is said here may be "
            "the propeller's doing (see Warnings).",
            100 * FINDING_LOAD_SHIFT);
    else if (strcmp(engine->load_from, "runs") == 0)
        say(prose, " This takes for granted that the load did not change along with the service "
                   "(propeller, hull, weight): it was not recorded (see Warnings).");
    else
        say(prose, " This takes for granted that the load at equal speed was alike: it was not "
                   "recorded (see Warnings).");
}

/* How many holds the key figure rests on, where that is too few to see how well they repeat. */
static bool single_hold(const struct engine_answer *engine)
{
    const struct band_side *side = engine->bands[engine->key_band].side;
    return side[SIDE_BEFORE].holds == 1 || side[SIDE_AFTER].holds == 1;
}

static void say_holds(struct prose *prose, const struct engine_answer *engine)
{
    const struct band_side *side = engine->bands[engine->key_band].side;
    if (!single_hold(engine))
        return;
    bool both = side[SIDE_BEFORE].holds == 1 && side[SIDE_AFTER].holds == 1;
    say(prose, " The figure rests on one hold of this speed %s.",
        both                           ? "on each side"
        : side[SIDE_BEFORE].holds == 1 ? "before"
                                       : "after");
}

/* The hold of the key speed that drifted most; NULL if none did to speak of. */
static const struct hold *drifting(const struct engine_answer *engine)
{
    const struct hold *worst = NULL;
    for (size_t i = 0; i < engine->hold_count; i++) {
        const struct hold *hold = &engine->holds[i];
        if (hold->refusal == REFUSAL_NONE &&
            hold->band_rpm == engine->bands[engine->key_band].rpm &&
            fabs(hold->coolant_slope) * 60 > FINDING_DRIFT &&
            (worst == NULL || fabs(hold->coolant_slope) > fabs(worst->coolant_slope)))
            worst = hold;
    }
    return worst;
}

static void say_drift(struct prose *prose, const struct engine_answer *engine,
                      const struct style *style)
{
    const struct hold *worst = drifting(engine);
    if (worst == NULL)
        return;
    double rate = fabs(worst->coolant_slope) * 60;
    say(prose,
        " In one hold %s the coolant was still %s by %s a minute; its end value is "
        "calculated.",
        worst->side == SIDE_BEFORE ? "before" : "after",
        worst->coolant_slope > 0 ? "rising" : "falling",
        word_quantity(style, UNIT_KELVIN, rate, 1).s);
}

static void trim(char *text)
{
    size_t length = strlen(text);
    if (length > 0 && text[length - 1] == ' ')
        text[length - 1] = '\0';
}

/* Does a side without a usable hold have speeds that may be holds, if only the sheet said so? */
static bool unheld(const struct engine_answer *engine, const size_t *looks, enum side side)
{
    bool any = false;
    for (size_t i = 0; i < engine->hold_count && looks[side] == 0; i++)
        any |= engine->holds[i].side == side && engine->holds[i].refusal == REFUSAL_UNHELD;
    return any;
}

static void say_nothing_shared(struct engine_answer *engine, const struct finding_context *context)
{
    struct prose sentence = {engine->sentence, sizeof engine->sentence};
    struct prose next = {engine->next, sizeof engine->next};
    const size_t *looks = context->evidence->side_looks;
    bool before = unheld(engine, looks, SIDE_BEFORE), after = unheld(engine, looks, SIDE_AFTER);
    bool only = (looks[SIDE_BEFORE] == 0) == before && (looks[SIDE_AFTER] == 0) == after;
    if (looks[SIDE_BEFORE] == 0 || looks[SIDE_AFTER] == 0) {
        const char *side = looks[SIDE_BEFORE] + looks[SIDE_AFTER] == 0
                               ? "either side of the service"
                           : looks[SIDE_BEFORE] == 0 ? "before the service"
                                                     : "after the service";
        say(&sentence, "Nothing can be compared: there is no usable steady hold %s.", side);
        if (before || after)
            say(&sentence, " The sheet %s does not say how long each speed was held.",
                before && after ? "of either side"
                : before        ? "of the run before"
                                : "of the run after");
    } else {
        say(&sentence, "Nothing can be compared: no speed was held both before and after the "
                       "service.");
    }
    if (before || after)
        say(&next, "Add the line \"held,5 min\" above the table of that sheet, with the time that "
                   "each speed was held, and read it in again. ");
    if ((before || after) && only)
        trim(engine->next);
    else
        say(&next,
            "Hold the same four to six speeds in both runs, each for 5 minutes or more with a "
            "warm engine, up to full speed and down again.");
}

/* A change that is shown could be shown better. */
static void say_repeat(struct prose *next, const struct engine_answer *engine)
{
    double rpm = engine->bands[engine->key_band].rpm;
    if (single_hold(engine))
        say(next, "Hold %s twice in each run, up the ladder and down again%s. ", word_rpm(rpm).s,
            drifting(engine) ? ", for 7 minutes or more" : "");
    else if (drifting(engine))
        say(next, "Hold %s for 7 minutes or more. ", word_rpm(rpm).s);
}

/* What to record next, most useful first, as one sentence each. */
static void say_next(struct engine_answer *engine, const struct finding_context *context)
{
    struct prose next = {engine->next, sizeof engine->next};
    const struct evidence *evidence = context->evidence;
    if (engine->finding == FINDING_LOWERED || engine->finding == FINDING_RAISED) {
        say_repeat(&next, engine);
        return;
    }
    if (context->bracketed)
        say(&next, "Read the two temperatures off the thermostat (start to open, full open) and "
                   "enter them, or hold at least four speeds on both sides. ");
    else if (context->open_weak)
        say(&next, "Hold full speed, where the thermostat is wide open: below it the thermostat "
                   "hides the exchanger. ");
    if (engine->finding == FINDING_NO_CHANGE_SHOWN)
        return;
    if (evidence->band_count < 3)
        say(&next, "Hold more speeds that both runs share. ");
    for (size_t i = 0; i < engine->budget_count && i < 2; i++)
        if (engine->budget[i].kelvin > 0)
            say(&next, "Against %c%s: %s. ", tolower((unsigned char)engine->budget[i].title[0]),
                engine->budget[i].title + 1, engine->budget[i].shrink);
}

bool finding_sentence(const struct engine_answer *engine, double level, double sea,
                      const struct style *style, bool explain, char *out, size_t room)
{
    struct prose sentence = {out, room};
    out[0] = '\0';
    if (engine->key_band >= engine->band_count)
        return false;
    say_change(&sentence, engine, level, sea, style, explain);
    say_ratio(&sentence, engine, style);
    say_verdict(&sentence, engine);
    say_load(&sentence, engine);
    say_holds(&sentence, engine);
    say_drift(&sentence, engine, style);
    return true;
}

void finding_say(struct engine_answer *engine, const struct finding_context *context)
{
    engine->next[0] = '\0';
    if (!finding_sentence(engine, context->level, context->reference_sea, &plain, false,
                          engine->sentence, sizeof engine->sentence)) {
        say_nothing_shared(engine, context);
        return;
    }
    say_next(engine, context);
    trim(engine->next);
}
