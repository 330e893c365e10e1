/* chart_budget.c - what the uncertainty of the key figure is made of. */
#include "chart.h"

#include <math.h>

#define TITLE_COLUMNS 44

static bool possible(const struct chart_view *view)
{
    return chart_engine(view)->budget_count > 0;
}

static double shown(const struct chart_view *view, double kelvin)
{
    return unit_shown(kelvin, UNIT_KELVIN, view->style->units);
}

/* Standard uncertainties of independent terms add in squares (JCGM 100:2008, 5.1.2). */
static double combined(const struct engine_answer *engine)
{
    double square = 0;
    for (size_t i = 0; i < engine->budget_count; i++)
        if (isfinite(engine->budget[i].kelvin))
            square += engine->budget[i].kelvin * engine->budget[i].kelvin;
    return sqrt(square);
}

static int decimals(const struct chart_view *view)
{
    return word_uncertainty_decimals(view->style, UNIT_KELVIN, combined(chart_engine(view)));
}

static void row(struct text *out, const struct chart_view *view, double kelvin, size_t place,
                const char *key)
{
    script_number(out, shown(view, kelvin));
    text_addf(out, " %zu \"%s\" # %s\n", place,
              word_small(view->style, UNIT_KELVIN, kelvin, decimals(view)).s, key);
}

static void data(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    text_addf(out, "# standard uncertainty (%s)  row  label  # term\n",
              unit_symbol(UNIT_KELVIN, view->style->units));
    for (size_t i = 0; i < engine->budget_count; i++)
        row(out, view, engine->budget[i].kelvin, i + 1, engine->budget[i].key);
    text_add(out, "\n\n");
    row(out, view, combined(engine), engine->budget_count + 1, "combined");
}

static void names(struct text *out, const struct engine_answer *engine)
{
    text_add(out, "  set ytics scale 0 noenhanced font face.',8.5' (");
    for (size_t i = 0; i < engine->budget_count; i++) {
        text_gnuplot(out, engine->budget[i].title, TITLE_COLUMNS);
        text_addf(out, " %zu, ", i + 1);
    }
    text_addf(out, "'all together' %zu)\n", engine->budget_count + 1);
}

static void script(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    struct word title = axis_title("How far off the change may typically be",
                                   unit_symbol(UNIT_KELVIN, view->style->units));
    text_add(out, "  unset key; unset ylabel\n");
    text_addf(out, "  set xlabel '%s'\n", title.s);
    text_add(out,
             "  set lmargin at screen 0.44; set rmargin at screen 0.94\n"
             "  set tmargin at screen 1-0.6/height; set bmargin at screen (foot+0.55)/height\n");
    names(out, engine);
    text_add(out, "  set grid noytics xtics lc rgb line lw 0.6 dt 1\n  set border 1\n");
    text_addf(out, "  set xrange [0:%.10g]\n", fmax(shown(view, combined(engine)) * 1.12, 1e-3));
    text_addf(out, "  set yrange [%zu.7:0.3]\n", engine->budget_count + 1);
    text_add(out, "  plot data index 0 using ($1/2):2:(0):1:($2-0.3):($2+0.3) with boxxyerror "
                  "lc rgb soft fc rgb tint fs solid 1.0 border lc rgb soft, \\\n"
                  "    '' index 1 using ($1/2):2:(0):1:($2-0.3):($2+0.3) with boxxyerror "
                  "lc rgb soft fc rgb soft fs solid 1.0 border lc rgb soft, \\\n"
                  "    '' index 0:1 using 1:2:3 with labels left offset 0.6,0 noenhanced "
                  "font face.',8.5'\n");
}

static void subtitle(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    text_add(out, "Of the change of coolant temperature");
    if (engine->key_band < engine->band_count)
        text_addf(out, " at %s", word_rpm(engine->bands[engine->key_band].rpm).s);
    text_add(out, ": what each cause alone may do to it");
}

static void caption(struct text *out, const struct chart_view *view)
{
    chart_runs(out, view->answer);
    text_addf(out,
              "Bars: how far off each cause alone typically makes the change (its standard "
              "uncertainty); all together are less than the sum, for they seldom all point the "
              "same way. The %s interval is about twice the last bar to either side.",
              word_level(view->style, view->answer->confidence_level).s);
}

static void describe(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    text_add(out, "What the uncertainty is made of, as standard uncertainties. ");
    for (size_t i = 0; i < engine->budget_count; i++)
        text_addf(out, "%s: %s\u00a0%s. ", engine->budget[i].title,
                  word_small(view->style, UNIT_KELVIN, engine->budget[i].kelvin, decimals(view)).s,
                  unit_symbol(UNIT_KELVIN, view->style->units));
    text_addf(out, "All together: %s.",
              word_quantity(view->style, UNIT_KELVIN, combined(engine), decimals(view)).s);
}

const struct chart chart_budget = {
    .key = "budget",
    .title = "What the uncertainty is made of",
    .scope = CHART_ENGINE,
    .height = 3.4,
    .possible = possible,
    .data = data,
    .script = script,
    .subtitle = subtitle,
    .caption = caption,
    .describe = describe,
};
