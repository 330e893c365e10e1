/* chart_change.c - the change of coolant temperature against engine speed, and the zero line. */
#include "chart.h"

#include <math.h>

#define LABELS_MOST 14 /* bands whose numbers can stand beside each other */

static bool possible(const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    for (size_t i = 0; i < engine->band_count; i++)
        if (isfinite(engine->bands[i].change.value))
            return true;
    return false;
}

/* A mark is filled where the finding is a change, hollow where none is shown. */
static bool is_shown(const struct band *band)
{
    return band->finding == FINDING_LOWERED || band->finding == FINDING_RAISED;
}

static void data(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    text_addf(
        out,
        "# rpm  change low high  low high over all speeds at once (%s)  shown (1) or not (0)  "
        "label\n",
        unit_symbol(UNIT_KELVIN, view->style->units));
    for (size_t i = 0; i < engine->band_count; i++) {
        const struct band *band = &engine->bands[i];
        script_number(out, band->rpm);
        data_interval(out, view->style, UNIT_KELVIN, band->change);
        text_add(out, " ");
        script_number(out, unit_shown(band->simultaneous.low, UNIT_KELVIN, view->style->units));
        text_add(out, " ");
        script_number(out, unit_shown(band->simultaneous.high, UNIT_KELVIN, view->style->units));
        int decimals = word_decimals(view->style, UNIT_KELVIN, band->change);
        double value = unit_shown(band->change.value, UNIT_KELVIN, view->style->units);
        text_addf(out, " %d \"%s\"\n", is_shown(band), word_signed(view->style, value, decimals).s);
    }
}

static void span(const struct chart_view *view, double *low, double *high)
{
    const struct engine_answer *engine = chart_engine(view);
    *low = *high = 0;
    for (size_t i = 0; i < engine->band_count; i++) {
        range_take_interval(low, high, engine->bands[i].change);
        range_take(low, high, engine->bands[i].simultaneous.low);
        range_take(low, high, engine->bands[i].simultaneous.high);
    }
    *low = unit_shown(*low, UNIT_KELVIN, view->style->units);
    *high = unit_shown(*high, UNIT_KELVIN, view->style->units);
}

static bool simultaneous_known(const struct engine_answer *engine)
{
    for (size_t i = 0; i < engine->band_count; i++)
        if (isfinite(engine->bands[i].simultaneous.low) && isfinite(engine->bands[i].change.value))
            return true;
    return false;
}

/* The numbers beside their marks, away from the zero line: below it or above it. */
static void labels(struct text *out, const struct chart_view *view, bool below)
{
    const struct engine_answer *engine = chart_engine(view);
    bool any = false;
    for (size_t i = 0; i < engine->band_count; i++)
        any |=
            isfinite(engine->bands[i].change.value) && (engine->bands[i].change.value < 0) == below;
    if (any && engine->band_count <= LABELS_MOST)
        text_addf(out,
                  "    '' using 1:($2 %s 0 ? $2 : NaN):8 with labels left offset 1.1,%s "
                  "font face.',8' noenhanced notitle, \\\n",
                  below ? "<" : ">=", below ? "-0.45" : "0.5");
}

static void script(struct text *out, const struct chart_view *view)
{
    double low, high;
    span(view, &low, &high);
    script_axes(
        out, "Engine speed, rpm",
        axis_title("Change, after minus before", unit_symbol(UNIT_KELVIN, view->style->units)).s);
    script_legend(out);
    chart_rpm_range(out, chart_engine(view), 0.1);
    script_range(out, "y", low, high, 0.1, 4);
    text_add(out, "  set arrow 1 from graph 0,first 0 to graph 1,first 0 nohead lc rgb ink lw 1.4\n"
                  "  set label 1 '↑ hotter after' at graph 0.012,0.955 left font face.',7.5' "
                  "tc rgb soft\n"
                  "  set label 2 '↓ cooler after' at graph 0.012,0.045 left font face.',7.5' "
                  "tc rgb soft\n"
                  "  plot ");
    if (simultaneous_known(chart_engine(view)))
        text_add(out, "data using 1:2:5:6 with yerrorbars lc rgb thin lw 0.8 pt 0 "
                      "title 'for all speeds', \\\n    ");
    text_add(out,
             "data using 1:2:3:4 with yerrorbars lc rgb ink lw 2.2 pt 13 ps 0.1*mark notitle, \\\n"
             "    '' using 1:2 with points lc rgb white pt 13 ps 1.5*mark notitle, \\\n"
             "    '' using 1:2:($7 == 1 ? 13 : 12) with points lc rgb ink lw 1.5 pt variable ps "
             "1.5*mark "
             "notitle, \\\n");
    labels(out, view, true);
    labels(out, view, false);
    text_add(out,
             "    NaN with points lc rgb ink pt 13 ps 1.5*mark title 'change shown', \\\n"
             "    NaN with points lc rgb ink lw 1.5 pt 12 ps 1.5*mark title 'change not shown'\n");
}

static void subtitle(struct text *out, const struct chart_view *view)
{
    text_addf(out, "After minus before, at a sea temperature of %s", chart_sea(view).s);
}

static void caption(struct text *out, const struct chart_view *view)
{
    struct word level = word_level(view->style, view->answer->confidence_level);
    chart_runs(out, view->answer);
    text_addf(out, "Thick bars: %s interval of each speed by itself.", level.s);
    if (simultaneous_known(chart_engine(view)))
        text_addf(out, " Thin bars: wider, so that in %s of comparisons all of them are right.",
                  level.s);
}

static void describe(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    text_addf(out, "Change of coolant temperature against engine speed at a sea of %s. ",
              chart_sea(view).s);
    for (size_t i = 0; i < engine->band_count; i++) {
        const struct band *band = &engine->bands[i];
        int decimals = word_decimals(view->style, UNIT_KELVIN, band->change);
        text_addf(out, "%s: %s (%s interval %s). ", word_rpm(band->rpm).s,
                  word_change(view->style, UNIT_KELVIN, band->change.value, decimals).s,
                  word_level(view->style, view->answer->confidence_level).s,
                  word_range(view->style, UNIT_KELVIN, band->change, decimals, true).s);
    }
}

const struct chart chart_change = {
    .key = "change",
    .title = "Change of coolant temperature",
    .scope = CHART_ENGINE,
    .height = 3.8,
    .possible = possible,
    .data = data,
    .script = script,
    .subtitle = subtitle,
    .caption = caption,
    .describe = describe,
};
