/* chart_rise.c - the open rise: what the coolant would stand above the sea with the thermostat wide
 * open. It shows the exchanger where the thermostat hides it. */
#include "chart.h"

#include <math.h>

static bool possible(const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    for (size_t i = 0; i < engine->band_count; i++)
        if (isfinite(engine->bands[i].side[SIDE_BEFORE].open_rise.value) &&
            isfinite(engine->bands[i].side[SIDE_AFTER].open_rise.value))
            return true;
    return false;
}

static void data(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    const char *symbol = unit_symbol(UNIT_KELVIN, view->style->units);
    text_addf(out, "# rpm  before low high  after low high  (%s above the sea)\n", symbol);
    for (size_t i = 0; i < engine->band_count; i++) {
        script_number(out, engine->bands[i].rpm);
        for (size_t side = 0; side < SIDE_COUNT; side++)
            data_interval(out, view->style, UNIT_KELVIN, engine->bands[i].side[side].open_rise);
        text_add(out, "\n");
    }
}

static void script(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    double low = NAN, high = NAN;
    for (size_t i = 0; i < engine->band_count; i++)
        for (size_t side = 0; side < SIDE_COUNT; side++)
            range_take_interval(&low, &high, engine->bands[i].side[side].open_rise);
    script_axes(
        out, "Engine speed, rpm",
        axis_title("Open rise above the sea", unit_symbol(UNIT_KELVIN, view->style->units)).s);
    script_legend(out);
    chart_rpm_range(out, engine, 0.06);
    script_range(out, "y", unit_shown(low, UNIT_KELVIN, view->style->units),
                 unit_shown(high, UNIT_KELVIN, view->style->units), 0.06, 5);
    script_before_after(out, engine);
}

static void subtitle(struct text *out, const struct chart_view *view)
{
    const struct interval ratio = chart_engine(view)->open_rise_ratio;
    int decimals = word_decimals(view->style, UNIT_ONE, ratio);
    text_add(out, "What the coolant would stand above the sea with the thermostat wide open");
    if (isfinite(ratio.value))
        text_addf(out, "; after/before: %s (%s)", word_number(view->style, ratio.value, decimals).s,
                  word_range(view->style, UNIT_ONE, ratio, decimals, false).s);
}

static void caption(struct text *out, const struct chart_view *view)
{
    chart_runs(out, view->answer);
    text_addf(out,
              "Bars: %s intervals. Lower is better: less temperature is needed for the same "
              "heat.",
              word_level(view->style, view->answer->confidence_level).s);
}

static void describe(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    text_add(out, "Open rise above the sea against engine speed. ");
    for (size_t i = 0; i < engine->band_count; i++) {
        const struct band *band = &engine->bands[i];
        text_addf(
            out, "%s: %s before, %s after. ", word_rpm(band->rpm).s,
            word_quantity(view->style, UNIT_KELVIN, band->side[SIDE_BEFORE].open_rise.value, 1).s,
            word_quantity(view->style, UNIT_KELVIN, band->side[SIDE_AFTER].open_rise.value, 1).s);
    }
}

const struct chart chart_rise = {
    .key = "open-rise",
    .title = "Open rise: the exchanger without the thermostat",
    .scope = CHART_ENGINE,
    .height = 3.8,
    .possible = possible,
    .data = data,
    .script = script,
    .subtitle = subtitle,
    .caption = caption,
    .describe = describe,
};
