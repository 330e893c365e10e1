/* chart_engines.c - the engines of a twin installation side by side: where they part, something
 * other than day, sea and hull is at work. */
#include "chart.h"

#include <math.h>

#define ENGINES_MOST 3 /* that can be told apart in one picture */

/* Looks by engine: the first filled and solid, the others hollow and broken, in grey print too. */
static const struct {
    const char *dash, *point;
} looks[ENGINES_MOST] = {{"1", "7"}, {"(6,4)", "6"}, {"(2,3)", "8"}};

static size_t engines_drawn(const struct answer *answer)
{
    return answer->engine_count < ENGINES_MOST ? answer->engine_count : ENGINES_MOST;
}

static bool possible(const struct chart_view *view)
{
    size_t with_bands = 0;
    for (size_t i = 0; i < engines_drawn(view->answer); i++)
        with_bands += view->answer->engines[i].band_count > 0;
    return with_bands > 1;
}

static void rows(struct text *out, const struct chart_view *view,
                 const struct engine_answer *engine)
{
    text_add(out, "# ");
    chart_engine_name(out, engine);
    text_addf(out, ": rpm  before low high  after low high  (%s)\n",
              unit_symbol(UNIT_DEGC, view->style->units));
    for (size_t i = 0; i < engine->band_count; i++) {
        script_number(out, engine->bands[i].rpm);
        for (size_t side = 0; side < SIDE_COUNT; side++)
            data_interval(out, view->style, UNIT_DEGC, engine->bands[i].side[side].coolant);
        text_add(out, "\n");
    }
    if (engine->band_count == 0)
        text_add(out, "NaN NaN NaN NaN NaN NaN NaN\n"); /* keeps the numbers of the blocks */
    text_add(out, "\n\n");
}

static void data(struct text *out, const struct chart_view *view)
{
    for (size_t i = 0; i < engines_drawn(view->answer); i++)
        rows(out, view, &view->answer->engines[i]);
}

/* The panels are low, lower still where page 1 is full: few numbers stand beside them. */
static double tic_step(double span)
{
    static const double steps[] = {1, 2, 5, 10, 20, 50};
    size_t i = 0;
    while (i + 1 < sizeof steps / sizeof *steps && span > 5 * steps[i])
        i++;
    return steps[i];
}

static void ranges(struct text *out, const struct chart_view *view)
{
    double low = NAN, high = NAN, slow = NAN, fast = NAN;
    for (size_t e = 0; e < engines_drawn(view->answer); e++) {
        const struct engine_answer *engine = &view->answer->engines[e];
        for (size_t i = 0; i < engine->band_count; i++) {
            range_take(&slow, &fast, engine->bands[i].rpm);
            for (size_t side = 0; side < SIDE_COUNT; side++)
                range_take_interval(&low, &high, engine->bands[i].side[side].coolant);
        }
    }
    script_range(out, "x", slow, fast, 0.08, 400);
    low = unit_shown(low, UNIT_DEGC, view->style->units);
    high = unit_shown(high, UNIT_DEGC, view->style->units);
    script_range(out, "y", low, high, 0.06, 5);
    text_addf(out, "  set ytics %g\n", tic_step(high - low));
}

static void line(struct text *out, const struct engine_answer *engine, size_t index, enum side side)
{
    const char *colour = side == SIDE_BEFORE ? "before" : "after";
    unsigned value = side == SIDE_BEFORE ? 2 : 5;
    const char *dash = looks[index].dash, *point = looks[index].point;
    double beside = ((double)index - 0.5) * 14;
    text_addf(out,
              ", \\\n    data index %zu using ($1%+g):%u with lines lc rgb %s lw 1.6 dt %s notitle",
              index, beside, value, colour, dash);
    text_addf(out,
              ", \\\n    data index %zu using ($1%+g):%u:%u:%u with yerrorbars lc rgb %s lw 1.6 "
              "pt %s ps 0.9*mark notitle",
              index, beside, value, value + 1, value + 2, colour, point);
    struct text name = {0};
    chart_engine_name(&name, engine);
    text_addf(out, ", \\\n    NaN with linespoints lc rgb %s lw 1.6 dt %s pt %s ps 0.9*mark title ",
              colour, dash, point);
    text_gnuplot(out, text_string(&name), 16);
    text_free(&name);
}

static void panel(struct text *out, const struct chart_view *view, enum side side)
{
    bool left = side == SIDE_BEFORE;
    text_addf(out, "  set lmargin at screen %s; set rmargin at screen %s\n",
              left ? "0.095" : "0.56", left ? "0.52" : "0.975");
    text_addf(out,
              "  set key at screen %s,1-0.78/height left top horizontal Left reverse samplen 2.5 "
              "noenhanced\n",
              left ? "0.085" : "0.55");
    text_addf(out, "  set label 1 '%s' at screen %s,1-0.66/height font face.',9.5'\n",
              left ? "Before" : "After", left ? "0.095" : "0.56");
    text_add(out, "  plot NaN notitle");
    for (size_t i = 0; i < engines_drawn(view->answer); i++)
        if (view->answer->engines[i].band_count > 0)
            line(out, &view->answer->engines[i], i, side);
    text_add(out, "\n");
}

static void script(struct text *out, const struct chart_view *view)
{
    struct word title =
        axis_title("Coolant temperature", unit_symbol(UNIT_DEGC, view->style->units));
    text_addf(out,
              "  set tmargin at screen 1-1.06/height; set bmargin at screen (foot+0.55)/height\n"
              "  set xlabel 'Engine speed, rpm'; set ylabel '%s'; set format y\n",
              title.s);
    ranges(out, view);
    text_add(out, "  set multiplot\n");
    panel(out, view, SIDE_BEFORE);
    text_add(out, "  do for [i=81:99] { unset label i }\n  unset ylabel; set format y ''\n");
    panel(out, view, SIDE_AFTER);
    text_add(out, "  unset multiplot; set format y; set ytics autofreq; unset label 1\n");
}

static void subtitle(struct text *out, const struct chart_view *view)
{
    text_addf(out, "All runs moved to a sea temperature of %s", chart_sea(view).s);
}

static void caption(struct text *out, const struct chart_view *view)
{
    chart_runs(out, view->answer);
    text_addf(out, "Bars: %s intervals.",
              word_level(view->style, view->answer->confidence_level).s);
    if (view->answer->engine_count > ENGINES_MOST)
        text_addf(out, " The first %d of %zu engines.", ENGINES_MOST, view->answer->engine_count);
}

static void describe_engine(struct text *out, const struct chart_view *view,
                            const struct engine_answer *engine)
{
    if (engine->band_count == 0)
        return;
    const struct band *band = &engine->bands[engine->band_count - 1];
    chart_engine_name(out, engine);
    text_addf(out, " at %s: %s before, %s after. ", word_rpm(band->rpm).s,
              word_quantity(view->style, UNIT_DEGC, band->side[SIDE_BEFORE].coolant.value, 1).s,
              word_quantity(view->style, UNIT_DEGC, band->side[SIDE_AFTER].coolant.value, 1).s);
}

static void describe(struct text *out, const struct chart_view *view)
{
    text_addf(out,
              "Coolant temperature of the engines against speed at a sea of %s, before and "
              "after. ",
              chart_sea(view).s);
    for (size_t i = 0; i < engines_drawn(view->answer); i++)
        describe_engine(out, view, &view->answer->engines[i]);
}

const struct chart chart_engines = {
    .key = "engines",
    .title = "The engines side by side",
    .scope = CHART_BOAT,
    .height = 2.6,
    .possible = possible,
    .data = data,
    .script = script,
    .subtitle = subtitle,
    .caption = caption,
    .describe = describe,
};
