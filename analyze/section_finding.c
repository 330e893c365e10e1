/* section_finding.c - what was found, in words and in the tables by engine speed. */
#include "report.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "doubt.h"
#include "facts.h"
#include "finding.h"

/* All names that the runs give, and there should be one. */
static void boat_names(struct text *out, const struct answer *answer)
{
    const char *last = "";
    for (size_t i = 0; i < answer->run_count; i++) {
        const struct facts *facts = answer->runs[i].facts;
        const char *name = facts == NULL ? "" : facts_get(facts, FACT_BOAT, 0, "name");
        if (name[0] == '\0' || strcmp(name, last) == 0)
            continue;
        text_addf(out, "%s%s", out->length > 0 ? " / " : "", name);
        last = name;
    }
    if (out->length == 0)
        text_add(out, "boat not recorded");
}

void section_title(struct document *document, const struct report_input *input)
{
    struct text below = {0};
    boat_names(&below, input->answer);
    const char *port = report_boat_fact(input->answer, "port");
    if (port[0] != '\0') {
        text_add(&below, ", ");
        text_add(&below, port);
    }
    document_title(document, "Engine cooling before and after service", text_string(&below));
    text_free(&below);
}

static const char *headline(enum finding finding)
{
    switch (finding) {
    case FINDING_LOWERED:
        return "Coolant temperature lowered";
    case FINDING_RAISED:
        return "Coolant temperature raised";
    case FINDING_NO_CHANGE_SHOWN:
        return "No change shown";
    case FINDING_CANNOT_BE_SHOWN:
        break;
    }
    return "Cannot be shown with these runs";
}

/* "−19.4 °F (−23.2 to −15.7)": the key figure in the other system of units. */
static void other_units(struct text *out, const struct style *style, struct interval change)
{
    struct style other = *style;
    other.units = style->units == UNITS_US ? UNITS_SI : UNITS_US;
    int decimals = word_decimals(&other, UNIT_KELVIN, change);
    text_addf(out, "%s (%s)", word_change(&other, UNIT_KELVIN, change.value, decimals).s,
              word_range(&other, UNIT_KELVIN, change, decimals, true).s);
}

static void key_figure(struct document *document, const struct report_input *input,
                       const struct engine_answer *engine)
{
    if (engine->key_band >= engine->band_count)
        return;
    const struct band *band = &engine->bands[engine->key_band];
    const struct style *style = input->style;
    int decimals = word_decimals(style, UNIT_KELVIN, band->change);
    struct text what = {0}, sure = {0}, other = {0};
    text_addf(&what, "Change of coolant temperature at %s and a sea of %s", word_rpm(band->rpm).s,
              word_quantity(style, UNIT_DEGC, input->answer->reference_sea, 1).s);
    text_addf(&sure, "%s interval %s\u00a0%s", word_level(style, input->answer->confidence_level).s,
              word_range(style, UNIT_KELVIN, band->change, decimals, true).s,
              unit_symbol(UNIT_KELVIN, style->units));
    other_units(&other, style, band->change);
    document_key(document, text_string(&what),
                 word_change(style, UNIT_KELVIN, band->change.value, decimals).s,
                 text_string(&sure), text_string(&other));
    document->failed |= what.failed || sure.failed || other.failed;
    text_free(&what);
    text_free(&sure);
    text_free(&other);
}

/* The engine left alone carries day, load and sea: what it did is told beside. */
static void control(struct document *document, const struct report_input *input,
                    const struct engine_answer *engine)
{
    const struct interval ratio = engine->control_ratio;
    if (!isfinite(ratio.value))
        return;
    int decimals = word_decimals(input->style, UNIT_ONE, ratio);
    document_paragraphf(
        document,
        "The engine that was left alone shows a ratio of open rise, after over before, of %s (%s); "
        "the figures of this engine are taken against it, so that day, load and sea cancel.",
        word_number(input->style, ratio.value, decimals).s,
        word_range(input->style, UNIT_ONE, ratio, decimals, false).s);
}

/* Is this the first engine whose interval is told? What an interval is, is said once. */
static bool is_first_told(const struct answer *answer, const struct engine_answer *engine)
{
    for (const struct engine_answer *e = answer->engines; e < engine; e++)
        if (e->key_band < e->band_count && !doubt_withholds(e))
            return false;
    return true;
}

/* Made anew in the reader's units: converting a rounded number would round it twice. */
static void sentence(struct document *document, const struct report_input *input,
                     const struct engine_answer *engine)
{
    char words[sizeof engine->sentence + 400]; /* other units may be longer */
    bool explain = is_first_told(input->answer, engine);
    if (finding_sentence(engine, input->answer->confidence_level, input->answer->reference_sea,
                         input->style, explain, words, sizeof words))
        document_paragraph(document, words);
    else if (engine->sentence[0] != '\0')
        report_prose_paragraph(document, input->style, engine->sentence);
}

static void next_steps(struct document *document, const struct report_input *input,
                       const struct engine_answer *engine)
{
    struct text next = {0};
    if (engine->next[0] == '\0')
        return;
    text_add(&next, doubt_withholds(engine)                      ? "What to do: "
                    : engine->finding == FINDING_CANNOT_BE_SHOWN ? "To record next: "
                                                                 : "To be surer: ");
    text_add(&next, engine->next);
    report_prose_paragraph(document, input->style, text_string(&next));
    text_free(&next);
}

/* What speaks against the runs, where somebody vouches for them all the same. */
static void vouched(struct document *document, const struct engine_answer *engine)
{
    if (engine->doubt.key != NULL && engine->doubt.overruled)
        document_paragraphf(document,
                            "Taken as given: %s Whoever made this report vouches that the runs are "
                            "of one boat and engine and on the right sides (--as-given).",
                            engine->doubt.text);
}

/* Of several engines each one is named in its own box. */
static void verdict(struct document *document, const struct report_input *input,
                    const struct engine_answer *engine)
{
    struct text words = {0};
    if (input->answer->engine_count > 1)
        text_addf(&words, "Engine %s: ", report_engine_name(engine).s);
    text_add(&words, headline(engine->finding));
    document_finding(document, engine->finding, text_string(&words));
    document->failed |= words.failed;
    text_free(&words);
}

static void finding_of(struct document *document, const struct report_input *input,
                       const struct engine_answer *engine)
{
    verdict(document, input, engine);
    if (doubt_withholds(engine)) {
        document_paragraph(document, engine->sentence);
    } else {
        sentence(document, input, engine);
        key_figure(document, input, engine);
        control(document, input, engine);
        vouched(document, engine);
    }
    next_steps(document, input, engine);
}

void section_finding(struct document *document, const struct report_input *input)
{
    const struct answer *answer = input->answer;
    for (size_t i = 0; i < answer->engine_count; i++)
        finding_of(document, input, &answer->engines[i]);
    if (answer->engine_count == 0)
        document_finding(document, FINDING_CANNOT_BE_SHOWN,
                         "No engine was found in these runs: nothing can be compared.");
    if (answer->warning_count > 0)
        document_paragraphf(
            document, "%s below, under Warnings.",
            word_count(answer->warning_count, "warning stands", "warnings stand").s);
}

/* --- tables by engine speed */

static const char *thermostat_words(enum thermostat_state state)
{
    switch (state) {
    case THERMOSTAT_OPEN:
        return "open";
    case THERMOSTAT_IN_CONTROL:
        return "in control";
    case THERMOSTAT_UNKNOWN:
        break;
    }
    return "unknown";
}

static const char *short_finding(enum finding finding)
{
    return finding == FINDING_CANNOT_BE_SHOWN ? "cannot tell" : finding_words(finding);
}

static bool rounds_apart(const struct style *style, const struct band *band)
{
    const struct interval *before = &band->side[SIDE_BEFORE].coolant;
    const struct interval *after = &band->side[SIDE_AFTER].coolant;
    return report_rounds_apart(
        style, UNIT_DEGC, (struct shown){before->value, word_decimals(style, UNIT_DEGC, *before)},
        (struct shown){after->value, word_decimals(style, UNIT_DEGC, *after)},
        (struct shown){band->change.value, word_decimals(style, UNIT_KELVIN, band->change)});
}

static void band_row(struct document *document, const struct report_input *input,
                     const struct band *band, bool withheld)
{
    const struct style *style = input->style;
    int decimals = word_decimals(style, UNIT_KELVIN, band->change);
    double change = unit_shown(band->change.value, UNIT_KELVIN, style->units);
    document_cellf(document, "%.0f", band->rpm);
    for (size_t side = 0; side < SIDE_COUNT; side++) {
        const struct interval coolant = band->side[side].coolant;
        document_cell(document, word_value(style, UNIT_DEGC, coolant.value,
                                           word_decimals(style, UNIT_DEGC, coolant))
                                    .s);
    }
    document_cell(document, word_signed(style, change, decimals).s);
    document_cell(document, word_range(style, UNIT_KELVIN, band->change, decimals, true).s);
    document_cell(document, withheld ? "withheld" : short_finding(band->finding));
}

/* Titles that depend on the units are made here and copied by the document. */
static void bands_table(struct document *document, const struct report_input *input,
                        const struct engine_answer *engine)
{
    const struct style *style = input->style;
    const char *degree = unit_symbol(UNIT_DEGC, style->units);
    const char *difference = unit_symbol(UNIT_KELVIN, style->units);
    struct word before, after, change, interval, caption;
    before = word_of("before, %s", degree);
    after = word_of("after, %s", degree);
    change = word_of("change, %s", difference);
    interval = word_of("%s interval", word_level(style, input->answer->confidence_level).s);
    caption = word_of("Coolant temperature at a sea of %s",
                      word_quantity(style, UNIT_DEGC, input->answer->reference_sea, 1).s);
    const struct column columns[] = {
        {"rpm", COLUMN_NAME},      {before.s, COLUMN_NUMBER},   {after.s, COLUMN_NUMBER},
        {change.s, COLUMN_NUMBER}, {interval.s, COLUMN_NUMBER}, {"finding", COLUMN_SHORT},
    };
    document_table(document, caption.s, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < engine->band_count; i++)
        band_row(document, input, &engine->bands[i], doubt_withholds(engine));
}

/* Readings that changed, at a speed that cannot tell: a reader asks why. */
static bool any_load_would_do(const struct engine_answer *engine)
{
    for (size_t b = 0; b < engine->band_count; b++)
        if (engine->bands[b].finding == FINDING_CANNOT_BE_SHOWN &&
            finding_of_change(engine->bands[b].change) != FINDING_CANNOT_BE_SHOWN &&
            finding_load_shift(engine) > 0)
            return true;
    return false;
}

/* How the table is to be read: once, below the last of its kind. */
static void bands_note(struct document *document, const struct report_input *input)
{
    const struct answer *answer = input->answer;
    bool any = false, apart = false, several = false, withheld = false, load = false;
    for (size_t e = 0; e < answer->engine_count; e++) {
        withheld |= doubt_withholds(&answer->engines[e]) && answer->engines[e].band_count > 0;
        any |= answer->engines[e].band_count > 0;
        several |= answer->engines[e].band_count > 1;
        load |= any_load_would_do(&answer->engines[e]);
        for (size_t b = 0; b < answer->engines[e].band_count; b++)
            apart |= rounds_apart(input->style, &answer->engines[e].bands[b]);
    }
    if (withheld)
        document_paragraph(document, "Changes are between the runs as they were given: where the "
                                     "finding is withheld, nothing follows from them.");
    else if (several)
        document_paragraphf(document,
                            "The finding of each speed is for that speed alone (%s); the finding "
                            "at the top rests on "
                            "all speeds together.",
                            word_level(input->style, answer->confidence_level).s);
    if (load && !withheld)
        document_paragraphf(document,
                            "Where an interval lies wholly on one side of zero and the finding is "
                            "still \"cannot tell\", the change may be due to a load up to %.0f %% "
                            "different, which nothing recorded rules out.",
                            100 * FINDING_LOAD_SHIFT);
    if (any && input->style->units == UNITS_SI)
        document_paragraph(document, "K is a difference of one degree Celsius.");
    if (apart)
        report_rounding_note(document);
}

static void uncompared(struct document *document, const struct report_input *input,
                       const struct engine_answer *engine)
{
    if (engine->uncompared_count == 0)
        return;
    static const struct column columns[] = {
        {"rpm", COLUMN_NAME}, {"missing", COLUMN_SHORT}, {"why", COLUMN_WORDS}};
    document_table(document, "Speeds that could not be compared", columns, 3);
    for (size_t i = 0; i < engine->uncompared_count; i++) {
        document_cellf(document, "%.0f", engine->uncompared[i].rpm);
        document_cell(document, engine->uncompared[i].missing == SIDE_BEFORE ? "before" : "after");
        report_prose_cell(document, input->style, engine->uncompared[i].reason);
    }
}

void section_bands(struct document *document, const struct report_input *input)
{
    for (size_t i = 0; i < input->answer->engine_count; i++) {
        const struct engine_answer *engine = &input->answer->engines[i];
        if (engine->band_count + engine->uncompared_count == 0)
            continue;
        report_engine_heading(document, input, engine);
        if (engine->band_count > 0)
            bands_table(document, input, engine);
        uncompared(document, input, engine);
    }
    bands_note(document, input);
}

/* --- the same bands in detail, for "how sure" */

#define MANY_DF 999 /* degrees of freedom beyond which their number says nothing */

static void detail_row(struct document *document, const struct report_input *input,
                       const struct band *band)
{
    const struct style *style = input->style;
    document_cellf(document, "%.0f", band->rpm);
    for (size_t side = 0; side < SIDE_COUNT; side++) {
        const struct band_side *half = &band->side[side];
        int decimals = word_decimals(style, UNIT_DEGC, half->coolant);
        document_cell(document, word_range(style, UNIT_DEGC, half->coolant, decimals, false).s);
    }
    int decimals = word_decimals(style, UNIT_KELVIN, band->simultaneous);
    document_cell(document, word_range(style, UNIT_KELVIN, band->simultaneous, decimals, true).s);
    document_cellf(document, "%zu, %zu", band->side[SIDE_BEFORE].holds,
                   band->side[SIDE_AFTER].holds);
    document_cell(document, band->df > MANY_DF
                                ? word_of(">%d", MANY_DF).s
                                : word_number(style, band->df, band->df < 9.95 ? 1 : 0).s);
    document_cellf(document, "%s, %s", thermostat_words(band->side[SIDE_BEFORE].thermostat),
                   thermostat_words(band->side[SIDE_AFTER].thermostat));
}

static void detail(struct document *document, const struct report_input *input,
                   const struct engine_answer *engine)
{
    struct word caption;
    caption = word_of(
        "%s intervals by speed: temperatures in %s, change in %s with all speeds at once",
        word_level(input->style, input->answer->confidence_level).s,
        unit_symbol(UNIT_DEGC, input->style->units), unit_symbol(UNIT_KELVIN, input->style->units));
    static const struct column columns[] = {{"rpm", COLUMN_NAME},     {"before", COLUMN_NUMBER},
                                            {"after", COLUMN_NUMBER}, {"change", COLUMN_NUMBER},
                                            {"holds", COLUMN_NUMBER}, {"df", COLUMN_NUMBER},
                                            {"valve", COLUMN_WORDS}};
    document_table(document, caption.s, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < engine->band_count; i++)
        detail_row(document, input, &engine->bands[i]);
    document_paragraphf(document,
                        "Change, all speeds at once: in %s of such comparisons the true changes of "
                        "all speeds together lie within these intervals, which are wider for it. "
                        "The intervals by engine speed above hold for each speed by itself; of "
                        "many of them, one may miss by chance.",
                        word_level(input->style, input->answer->confidence_level).s);
}

static double combined(const struct engine_answer *engine)
{
    double square = 0;
    for (size_t i = 0; i < engine->budget_count; i++)
        if (isfinite(engine->budget[i].kelvin))
            square += engine->budget[i].kelvin * engine->budget[i].kelvin;
    return square;
}

static void budget(struct document *document, const struct report_input *input,
                   const struct engine_answer *engine)
{
    const struct style *style = input->style;
    struct word title;
    double all = combined(engine);
    title = word_of("±\u00a0%s", unit_symbol(UNIT_KELVIN, style->units));
    const struct column columns[] = {{"cause", COLUMN_NAME},
                                     {title.s, COLUMN_NUMBER},
                                     {"share", COLUMN_NUMBER},
                                     {"what would make it smaller", COLUMN_WORDS}};
    int decimals = word_uncertainty_decimals(style, UNIT_KELVIN, sqrt(all));
    document_table(document, "Uncertainty budget of the key figure (standard uncertainties)",
                   columns, 4);
    for (size_t i = 0; i < engine->budget_count; i++) {
        const struct budget_term *term = &engine->budget[i];
        document_cell(document, term->title);
        document_cell(document, word_small(style, UNIT_KELVIN, term->kelvin, decimals).s);
        document_cell(document, word_share(style, term->kelvin * term->kelvin / all).s);
        report_prose_cell(document, style, term->shrink == NULL ? "" : term->shrink);
    }
    document_cell(document, "All together");
    document_cell(document, word_value(style, UNIT_KELVIN, sqrt(all), decimals).s);
    document_cell(document, word_share(style, 1).s);
    document_cell(document, "");
}

static const char *load_words(const char *from)
{
    if (from == NULL)
        return "not known";
    if (strcmp(from, "fuel_rate") == 0)
        return "taken from the recorded fuel rate";
    if (strcmp(from, "load") == 0)
        return "taken from the recorded percent load";
    if (strcmp(from, "runs") == 0)
        return "taken from the scatter between the runs of a side";
    return "assumed, because neither fuel rate nor load was recorded in all runs";
}

static void thermostat_paragraph(struct document *document, const struct report_input *input,
                                 const struct engine_answer *engine)
{
    const struct style *style = input->style;
    if (!isfinite(engine->thermostat_start))
        document_paragraph(document, "Thermostat: not known, so the intervals cover both a "
                                     "thermostat in control and one wide open.");
    else
        document_paragraphf(document,
                            "Thermostat: starts to open at %s, wide open at %s (%s); standard "
                            "uncertainty %s.",
                            word_quantity(style, UNIT_DEGC, engine->thermostat_start, 1).s,
                            word_quantity(style, UNIT_DEGC, engine->thermostat_full, 1).s,
                            chart_thermostat_from(input->answer, engine, style).s,
                            word_quantity(style, UNIT_KELVIN, engine->thermostat_u, 1).s);
}

static void basis(struct document *document, const struct report_input *input,
                  const struct engine_answer *engine)
{
    const struct style *style = input->style;
    const struct interval ratio = engine->open_rise_ratio;
    thermostat_paragraph(document, input, engine);
    if (isfinite(engine->load_u))
        document_paragraphf(document,
                            "Heat load at equal speed: differs from run to run by %s (standard "
                            "uncertainty), %s.",
                            word_share(style, engine->load_u).s, load_words(engine->load_from));
    if (isfinite(engine->lag))
        document_paragraphf(document, "Stored heat: time constant %s s, standard uncertainty %s s.",
                            word_number(style, engine->lag, 0).s,
                            word_number(style, engine->lag_u, 0).s);
    if (isfinite(ratio.value)) {
        int decimals = word_decimals(style, UNIT_ONE, ratio);
        document_paragraphf(document,
                            "Open rise, after over before, all speeds together: %s (%s interval "
                            "%s). Below 1 the exchanger gives off the same heat with less "
                            "temperature difference.",
                            word_number(style, ratio.value, decimals).s,
                            word_level(style, input->answer->confidence_level).s,
                            word_range(style, UNIT_ONE, ratio, decimals, false).s);
    }
}

void section_certainty(struct document *document, const struct report_input *input)
{
    for (size_t i = 0; i < input->answer->engine_count; i++) {
        const struct engine_answer *engine = &input->answer->engines[i];
        if (engine->band_count == 0)
            continue;
        report_engine_heading(document, input, engine);
        basis(document, input, engine);
        if (engine->budget_count > 0)
            budget(document, input, engine);
        detail(document, input, engine);
    }
}

/* Does the open rise after the service agree with that before it? */
static bool seems_untouched(const struct engine_answer *engine)
{
    const struct interval ratio = engine->open_rise_ratio;
    return ratio.low < 1 && ratio.high > 1;
}

/* How many engines seem untouched; 0 where that is of no use: one engine, a control in use, a
 * doubt. */
static size_t count_untouched(const struct answer *answer)
{
    size_t count = 0;
    for (size_t e = 0; e < answer->engine_count; e++) {
        const struct engine_answer *engine = &answer->engines[e];
        if (isfinite(engine->control_ratio.value) || doubt_withholds(engine))
            return 0;
        count += seems_untouched(engine);
    }
    return answer->engine_count > 1 ? count : 0;
}

/* Two engines on one boat: one that was left alone makes the comparison of the other much surer. */
static void suggest_control(struct document *document, const struct answer *answer)
{
    size_t count = count_untouched(answer), said = 0;
    if (count == 0)
        return;
    struct text words = {0};
    text_add(&words, count == answer->engine_count ? "If one of the engines was left alone, "
                                                   : "If nothing was done to ");
    for (size_t e = 0; e < answer->engine_count && count < answer->engine_count; e++)
        if (seems_untouched(&answer->engines[e]))
            text_addf(&words, "%s%s", said++ > 0 ? " and " : "",
                      report_engine_name(&answer->engines[e]).s);
    text_add(&words, count < answer->engine_count ? ", " : "");
    text_add(&words, "compare again with ");
    said = 0;
    for (size_t e = 0; e < answer->engine_count; e++)
        if (seems_untouched(&answer->engines[e]))
            text_addf(&words, "%s--control %d (%s)", said++ > 0 ? " or " : "",
                      answer->engines[e].instance, report_engine_name(&answer->engines[e]).s);
    text_add(&words,
             ": the other engine is then taken against it, and what day, load and sea do to "
             "both cancels.");
    document_item(document, text_string(&words));
    document->failed |= words.failed;
    text_free(&words);
}

void section_hints(struct document *document, const struct report_input *input)
{
    for (size_t i = 0; i < input->answer->engine_count; i++) {
        const struct engine_answer *engine = &input->answer->engines[i];
        if (engine->hint_count > 0)
            report_engine_heading(document, input, engine);
        for (size_t h = 0; h < engine->hint_count; h++)
            report_prose_item(document, input->style, engine->hints[h].text);
    }
    suggest_control(document, input->answer);
}

/* The chart of the first page: all engines side by side where there are several, else the only
 * one's. It looks like a finding: none where that is withheld. */
static bool is_main_chart(const struct report_input *input, const struct drawing *drawing)
{
    const struct answer *answer = input->answer;
    for (size_t e = 0; e < answer->engine_count; e++)
        if (doubt_withholds(&answer->engines[e]))
            return false;
    bool side_by_side = false;
    for (size_t i = 0; i < input->drawings->count; i++)
        side_by_side |= input->drawings->list[i].chart == &chart_engines;
    return drawing->chart == (side_by_side ? &chart_engines : &chart_coolant);
}

void section_picture(struct document *document, const struct report_input *input)
{
    const struct drawing_list *drawings = input->drawings;
    for (size_t i = 0; i < drawings->count; i++)
        if (is_main_chart(input, &drawings->list[i]))
            document_figure(document, i, drawings->list[i].caption);
}

/* All other charts. */
void section_charts(struct document *document, const struct report_input *input)
{
    const struct drawing_list *drawings = input->drawings;
    if (drawings->trouble[0] != '\0')
        document_paragraphf(document, "About the charts: %s", drawings->trouble);
    for (size_t i = 0; i < drawings->count; i++)
        if (!is_main_chart(input, &drawings->list[i]))
            document_figure(document, i, drawings->list[i].caption);
}
