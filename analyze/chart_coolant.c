/* chart_coolant.c - coolant temperature against engine speed before and after, at the reference
 * sea. */
#include "chart.h"

#include <math.h>

static bool possible(const struct chart_view *view)
{
    return chart_engine(view)->band_count > 0;
}

static void data(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    const char *symbol = unit_symbol(UNIT_DEGC, view->style->units);
    text_addf(out, "# rpm  before low high  after low high  (%s)\n", symbol);
    for (size_t i = 0; i < engine->band_count; i++) {
        script_number(out, engine->bands[i].rpm);
        for (size_t side = 0; side < SIDE_COUNT; side++)
            data_interval(out, view->style, UNIT_DEGC, engine->bands[i].side[side].coolant);
        text_add(out, "\n");
    }
}

static bool thermostat_known(const struct engine_answer *engine)
{
    return isfinite(engine->thermostat_start) && isfinite(engine->thermostat_full);
}

static double shown(const struct chart_view *view, double degc)
{
    return unit_shown(degc, UNIT_DEGC, view->style->units);
}

/* The temperatures that must be in the picture. */
static void span(const struct chart_view *view, double *low, double *high)
{
    const struct engine_answer *engine = chart_engine(view);
    *low = *high = NAN;
    for (size_t i = 0; i < engine->band_count; i++)
        for (size_t side = 0; side < SIDE_COUNT; side++)
            range_take_interval(low, high, engine->bands[i].side[side].coolant);
    range_take(low, high, engine->thermostat_start);
    range_take(low, high, engine->thermostat_full);
    range_take(low, high, engine->alarm);
    *low = shown(view, *low);
    *high = shown(view, *high);
}

static void thermostat(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    if (!thermostat_known(engine))
        return;
    double start = shown(view, engine->thermostat_start);
    double full = shown(view, engine->thermostat_full);
    int decimals = chart_thermostat_decimals(start, full);
    text_addf(out,
              "  set object 1 rect from graph 0,first %.10g to graph 1,first %.10g "
              "fc rgb pale fs solid noborder behind\n",
              start, full);
    text_addf(out,
              "  set label 1 'thermostat opens, %s to %s' at graph 0.988,first %.10g right "
              "offset 0,0.6 font face.',7.5' tc rgb soft\n",
              word_number(view->style, start, decimals).s,
              word_quantity(view->style, UNIT_DEGC, engine->thermostat_full, decimals).s, start);
}

static void alarm_line(struct text *out, const struct chart_view *view)
{
    double alarm = shown(view, chart_engine(view)->alarm);
    if (!isfinite(alarm))
        return;
    text_addf(out,
              "  set arrow 1 from graph 0,first %.10g to graph 1,first %.10g nohead lc rgb warn "
              "lw 1.3 dt (10,4,2,4)\n",
              alarm, alarm);
    text_addf(out,
              "  set label 2 'alarm' at graph 0.012,first %.10g left offset 0,0.55 "
              "font face.',7.5' tc rgb warn\n",
              alarm);
}

static void script(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    double low, high;
    span(view, &low, &high);
    script_axes(out, "Engine speed, rpm",
                axis_title("Coolant temperature", unit_symbol(UNIT_DEGC, view->style->units)).s);
    script_legend(out);
    chart_rpm_range(out, engine, 0.06);
    script_range(out, "y", low, high, 0.06, 5);
    thermostat(out, view);
    alarm_line(out, view);
    script_before_after(out, engine);
}

static void subtitle(struct text *out, const struct chart_view *view)
{
    text_addf(out, "Both runs moved to a sea temperature of %s", chart_sea(view).s);
}

static void caption(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    chart_runs(out, view->answer);
    text_addf(out, "Bars: %s intervals.",
              word_level(view->style, view->answer->confidence_level).s);
    if (thermostat_known(engine))
        text_addf(out, " Shaded: thermostat, start to full open (%s).",
                  chart_thermostat_from(view->answer, engine, view->style).s);
}

static void describe(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    text_addf(out, "Coolant temperature against engine speed at a sea of %s. ", chart_sea(view).s);
    for (size_t i = 0; i < engine->band_count; i++) {
        const struct band *band = &engine->bands[i];
        const struct interval before = band->side[SIDE_BEFORE].coolant;
        const struct interval after = band->side[SIDE_AFTER].coolant;
        text_addf(out, "%s: %s before, %s after. ", word_rpm(band->rpm).s,
                  word_quantity(view->style, UNIT_DEGC, before.value, 1).s,
                  word_quantity(view->style, UNIT_DEGC, after.value, 1).s);
    }
}

const struct chart chart_coolant = {
    .key = "coolant",
    .title = "Coolant temperature against engine speed",
    .scope = CHART_ENGINE,
    .height = 4.1,
    .possible = possible,
    .data = data,
    .script = script,
    .subtitle = subtitle,
    .caption = caption,
    .describe = describe,
};
