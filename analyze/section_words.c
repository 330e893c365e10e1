/* section_words.c - the exchanger, warnings, cautions and method. */
#include "report.h"

#include <math.h>
#include <stdio.h>

#include "agreed.h"
#include "estimate.h"
#include "rules.h"

/* --- the exchanger */

static bool any_known(const struct exchanger_side *side)
{
    return isfinite(side->raw_rise.value) || isfinite(side->effectiveness.value) ||
           isfinite(side->ntu.value);
}

static void exchanger_side(struct document *document, const struct style *style, double rpm,
                           const char *word, const struct exchanger_side *side)
{
    if (!any_known(side))
        return;
    document_cellf(document, "%.0f", rpm);
    document_cell(document, word);
    document_cell(document, word_value(style, UNIT_KELVIN, side->raw_rise.value, 1).s);
    document_cell(document, word_number(style, side->effectiveness.value, 2).s);
    document_cell(document, word_range(style, UNIT_ONE, side->effectiveness, 2, false).s);
    document_cell(document, word_number(style, side->ntu.value, 2).s);
}

static bool read_out(const struct engine_answer *engine, double rpm, enum side side)
{
    for (size_t i = 0; i < engine->also_count; i++) {
        const struct also_row *row = &engine->also[i];
        if (row->channel == CHANNEL_EXCHANGER_COOLANT_OUT && fabs(row->rpm - rpm) < 0.5)
            return isfinite(side == SIDE_BEFORE ? row->before.value : row->after.value);
    }
    return false;
}

/* A dash without a word looks like a fault. */
static void say_dashes(struct document *document, const struct engine_answer *engine)
{
    bool missing = false, odd = false;
    for (size_t i = 0; i < engine->exchanger_count; i++)
        for (enum side side = SIDE_BEFORE; side < SIDE_COUNT; side++) {
            const struct exchanger_row *row = &engine->exchanger[i];
            if (!any_known(&row->side[side]) || isfinite(row->side[side].effectiveness.value))
                continue;
            bool out = read_out(engine, row->rpm, side);
            missing |= !out;
            odd |= out;
        }
    if (missing)
        document_paragraph(document,
                           "A dash under effectiveness: the coolant temperature out of the heat "
                           "exchanger, which it takes as well, was not recorded there.");
    if (odd)
        document_paragraph(document,
                           "There is no effectiveness where the temperatures cannot be: the "
                           "coolant must come out colder than it goes in, and the raw water "
                           "warmer.");
}

void section_exchanger(struct document *document, const struct report_input *input)
{
    struct word rise;
    rise = word_of("raw water rise, %s", unit_symbol(UNIT_KELVIN, input->style->units));
    const struct column columns[] = {
        {"rpm", COLUMN_NAME},        {"run", COLUMN_SHORT},
        {rise.s, COLUMN_NUMBER},     {"effectiveness", COLUMN_NUMBER},
        {"interval", COLUMN_NUMBER}, {"transfer units", COLUMN_NUMBER}};
    for (size_t e = 0; e < input->answer->engine_count; e++) {
        const struct engine_answer *engine = &input->answer->engines[e];
        if (engine->exchanger_count == 0)
            continue;
        report_engine_heading(document, input, engine);
        document_table(document, "From the temperatures into and out of the exchanger", columns, 6);
        for (size_t i = 0; i < engine->exchanger_count; i++) {
            const struct exchanger_row *row = &engine->exchanger[i];
            exchanger_side(document, input->style, row->rpm, "before", &row->side[SIDE_BEFORE]);
            exchanger_side(document, input->style, row->rpm, "after", &row->side[SIDE_AFTER]);
        }
        say_dashes(document, engine);
    }
}

/* --- warnings */

static const char *warned_engine(const struct answer *answer, int instance, struct word *name)
{
    if (instance < 0 || answer->engine_count < 2)
        return "";
    for (size_t e = 0; e < answer->engine_count; e++)
        if (answer->engines[e].instance == instance) {
            *name = word_of("%.100s: ", report_engine_name(&answer->engines[e]).s);
            return name->s;
        }
    *name = word_of("engine %d: ", instance);
    return name->s;
}

void section_warnings(struct document *document, const struct report_input *input)
{
    const struct answer *answer = input->answer;
    for (size_t i = 0; i < answer->warning_count; i++) {
        struct word name;
        struct text words = {0};
        text_add(&words, warned_engine(answer, answer->warnings[i].engine, &name));
        text_add(&words, answer->warnings[i].text);
        report_prose_item(document, input->style, text_string(&words));
        text_free(&words);
    }
    if (answer->warnings_left_out > 0)
        document_itemf(document, "%s found no room in this list.",
                       word_count(answer->warnings_left_out, "more warning", "more warnings").s);
}

/* --- cautions */

static const char *const cautions[] = {
    "Hot coolant is under pressure and scalds. Let the engine cool before a cap or hose is opened, "
    "cover the cap with a thick cloth, and let the pressure go before it is taken off.",
    "Exhaust carries carbon monoxide, which has no smell and gathers at the stern, on swim "
    "platforms "
    "and in cabins. Ventilate, keep people clear of the outlets, and fit alarms.",
    "Shafts, couplings, belts and fans turn while readings are taken. Stop the engine before a "
    "sensor is fitted or moved; tie back sleeves, cables and hair.",
    "Close the seacock before the raw-water side is opened, open it again before the engine is "
    "started, and watch for leaks afterwards.",
    "During a trial one person steers and keeps a lookout and does nothing else. Full throttle "
    "belongs in open water with a clear way ahead.",
    "Ethylene glycol is poisonous to people and animals. Catch it, label it and hand it in; never "
    "let it run into the bilge or the sea.",
    "This report compares readings. It does not inspect an exchanger and does not replace the "
    "engine maker's manual, the rules of the place, or the judgement of a licensed practitioner, "
    "all of which go before anything said here."};

void section_cautions(struct document *document, const struct report_input *input)
{
    (void)input;
    for (size_t i = 0; i < sizeof cautions / sizeof cautions[0]; i++)
        document_item(document, cautions[i]);
}

/* --- method */

static const char *const method[] = {
    "What is compared. Stretches of steady engine speed (holds) are found in each run. Readings "
    "within a hold depend on each other, because block and coolant store heat; the unit of "
    "evidence "
    "is therefore the hold, not the single reading. Only speeds that were held both before and "
    "after are compared; nothing is extrapolated.",
    "What carries over from day to day. In steady running the heat taken up by the coolant is "
    "given "
    "to the sea through the exchanger: phi(T) (T - S) + tau dT/dt = K. T is the coolant, S the "
    "sea, "
    "phi the open share of the thermostat between its start-to-open and full-open temperatures, "
    "tau "
    "the time constant of the stored heat. K, the open rise, is the rise above the sea that the "
    "coolant would have with the thermostat wide open: heat load over the conductance of the "
    "exchanger. It is found for each hold, moved to the nominal speed along a smooth curve of ln K "
    "over ln(rpm), and solved for the coolant temperature at the reference sea. Where the "
    "thermostat is in control the coolant hardly follows the sea, where it is wide open it follows "
    "one for one; subtracting the difference of the seas would be wrong in both cases.",
    "How the intervals are made. The scatter of ln K from hold to hold, pooled over speeds and "
    "runs "
    "with its degrees of freedom, is combined with the uncertainties of the thermostat, the load "
    "from day to day, the seawater and coolant sensors and the stored heat, and carried through "
    "the "
    "heat balance by a Monte Carlo calculation with a stated seed. An interval holds the true "
    "value "
    "in the stated share of such trials. A change is called shown only if its whole interval lies "
    "on one side of zero; and where neither fuel rate nor engine load was recorded, nor an engine "
    "left alone to compare with, only if a load that differs by 5 % cannot explain it.",
    "Limits. The open rise is well determined only where the thermostat is nearly wide open, at "
    "high "
    "load and in warm water. A change of propeller, hull, weight or weather changes the heat load "
    "at equal speed; the day-to-day term of the budget stands for what is usual, not for all that "
    "can happen."};

static const char *const references[] = {
    "JCGM 100:2008, Evaluation of measurement data: Guide to the expression of uncertainty in "
    "measurement.",
    "JCGM 101:2008, Supplement 1 to the Guide: Propagation of distributions using a Monte Carlo "
    "method.",
    "W. M. Kays, A. L. London, Compact Heat Exchangers: effectiveness and number of transfer "
    "units."};

/* --- what the method takes for granted, with its numbers from where they are used */

static void hold_rows(struct document *document)
{
    const struct hold_rules *hold = &rules.hold;
    document_cell(document, "Steady hold");
    document_cellf(document,
                   "speed within ±max(%.0f rpm, %.1f %%), or within the steps of a coarse "
                   "tachometer, for %.0f s or more; excursions of up to %.0f s do not end it",
                   hold->tolerance_rpm, 100 * hold->tolerance_ratio, hold->shortest,
                   hold->excursion);
    document_cell(document, "Part of it that is used");
    document_cellf(document,
                   "the first %.0f %% (%.0f s at most) are left out; what is used has %.0f s or "
                   "more, with readings in %.0f %% of it, and drifts by less than %.0f K a minute",
                   100 * hold->settle_share, hold->settle_longest, hold->used_least,
                   100 * hold->present_share, 60 * hold->slope_most);
    document_cell(document, "Speeds compared");
    document_cellf(document,
                   "holds within %.0f rpm or %.0f %% of each other, whichever is wider, are of one "
                   "speed",
                   rules.band.width_rpm, 100 * rules.band.width_ratio);
}

static void sensor_rows(struct document *document)
{
    document_cell(document, "Sea temperature sensor");
    document_cellf(document,
                   "±%.1f K a run; more where the sensor drifts or follows the engine; ±%.1f K "
                   "where it was read by hand",
                   ESTIMATE_SEA_U, hypot(ESTIMATE_SEA_U, rules.diagnose.hand_sea_u));
    document_cell(document, "Coolant temperature sender");
    document_cellf(document,
                   "one sender on both sides: its error is the same and drops out of the change. "
                   "Changed between the runs: ±%.1f K, or what the options say. Steps of a coarse "
                   "one: step/√12",
                   rules.diagnose.sender_u);
    document_cell(document, "Thermostat");
    document_cellf(document,
                   "±%.1f K on both of its temperatures where nothing else is recorded; what this "
                   "report used stands with the uncertainty budget",
                   AGREED_PLATE_U);
    document_cell(document, "Stored heat");
    document_cellf(document, "time constant from the run's own steps, else %.0f s ± %.0f s",
                   ESTIMATE_LAG, ESTIMATE_LAG_U);
    document_cell(document, "Calculation");
    document_cellf(document, "%d draws", ESTIMATE_DRAWS);
}

static void assumptions(struct document *document, const struct report_input *input)
{
    static const struct column columns[] = {{"", COLUMN_NAME}, {"", COLUMN_WORDS}};
    struct document plain = {0};
    document_table(&plain, "", columns, 2);
    hold_rows(&plain);
    sensor_rows(&plain);
    document_table(document,
                   "Rules and assumed standard uncertainties (± one standard uncertainty)", columns,
                   2);
    for (size_t i = 0; plain.count > 0 && i < table_rows(plain.blocks[0].table); i++) {
        document_cell(document, table_cell(plain.blocks[0].table, i, 0));
        report_prose_cell(document, input->style, table_cell(plain.blocks[0].table, i, 1));
    }
    document->failed |= plain.failed;
    document_free(&plain);
}

void section_method(struct document *document, const struct report_input *input)
{
    for (size_t i = 0; i < sizeof method / sizeof method[0]; i++)
        document_paragraph(document, method[i]);
    assumptions(document, input);
    for (size_t i = 0; i < sizeof references / sizeof references[0]; i++)
        document_item(document, references[i]);
}
