/* chart_time.c - one run in time: speed, coolant and sea, with the holds that were used shaded and
 * numbered as in the report's table, and those refused hatched. */
#include "chart.h"

#include <math.h>

#define SINGLE_MOST 80 /* readings, of a gauge read by hand for one, that are drawn as points too */

/* What one engine of one run recorded, or NULL. */
static const struct trace *trace_of(const struct chart_view *view)
{
    const struct run_summary *run = &view->answer->runs[view->run];
    for (size_t i = 0; i < run->trace_count; i++)
        if (run->traces[i].engine == chart_engine(view)->instance)
            return &run->traces[i];
    return NULL;
}

static bool possible(const struct chart_view *view)
{
    const struct trace *trace = trace_of(view);
    return trace != NULL && (trace->rpm.count > 1 || trace->coolant.count > 1);
}

static void series(struct text *out, const struct chart_view *view, const char *title,
                   enum unit unit, const struct sample_series *samples)
{
    text_addf(out, "# %s: minutes since run start, %s\n", title,
              unit_symbol(unit, view->style->units));
    for (size_t i = 0; i < samples->count; i++) {
        if (!isfinite(samples->value[i])) {
            text_add(out, "\n"); /* an empty line breaks the drawn one */
            continue;
        }
        script_number(out, samples->minute[i]);
        text_add(out, " ");
        script_number(out, unit_shown(samples->value[i], unit, view->style->units));
        text_add(out, "\n");
    }
    if (samples->count == 0)
        text_add(out, "NaN NaN\n");
    text_add(out, "\n\n");
}

static bool is_drawn(const struct chart_view *view, const struct hold *hold, bool used)
{
    bool has_length = hold->refusal != REFUSAL_UNHELD;
    return has_length && hold->run == view->run && (hold->refusal == REFUSAL_NONE) == used;
}

static size_t count_holds(const struct chart_view *view, bool used)
{
    const struct engine_answer *engine = chart_engine(view);
    size_t count = 0;
    for (size_t i = 0; i < engine->hold_count; i++)
        count += is_drawn(view, &engine->holds[i], used);
    return count;
}

/* Where the means of a hold begin, s: what was read once, at the end, stands for all of it. */
static double means_from(const struct chart_view *view, const struct hold *hold)
{
    return trace_of(view)->by_hand ? hold->start : fmax(hold->used_from, hold->start);
}

static void holds(struct text *out, const struct chart_view *view, bool used)
{
    const struct engine_answer *engine = chart_engine(view);
    text_addf(out, "# holds %s: from and to in minutes, number, means taken from\n",
              used ? "used" : "refused");
    for (size_t i = 0; i < engine->hold_count; i++) {
        const struct hold *hold = &engine->holds[i];
        if (is_drawn(view, hold, used))
            text_addf(out, "%.10g %.10g %zu %.10g\n", hold->start / 60, hold->end / 60, i + 1,
                      means_from(view, hold) / 60);
    }
    if (count_holds(view, used) == 0)
        text_add(out, "NaN NaN 0 NaN\n"); /* keeps the numbers of the blocks */
    text_add(out, "\n\n");
}

static void data(struct text *out, const struct chart_view *view)
{
    const struct trace *trace = trace_of(view);
    text_add(out, "# Long series are thinned for drawing, their highest and lowest values kept. "
                  "Every reading: searun-analyze export\n");
    series(out, view, "engine speed", UNIT_RPM, &trace->rpm);
    series(out, view, "coolant temperature", UNIT_DEGC, &trace->coolant);
    series(out, view, "sea temperature", UNIT_DEGC, &trace->sea);
    holds(out, view, true);
    holds(out, view, false);
}

static void values(const struct chart_view *view, enum unit unit,
                   const struct sample_series *samples, double *low, double *high)
{
    for (size_t i = 0; i < samples->count; i++)
        range_take(low, high, unit_shown(samples->value[i], unit, view->style->units));
}

struct panel {
    double bottom, top; /* inches above the caption */
    const char *title;
    enum unit unit;
    double least; /* smallest width of its axis */
    unsigned index;
    const char *colour; /* NULL: that of the side */
};

static const struct panel panels[] = {
    {2.64, 3.50, "Speed", UNIT_RPM, 200, 0, "ink"},
    {1.30, 2.50, "Coolant", UNIT_DEGC, 5, 1, NULL},
    {0.55, 1.16, "Sea", UNIT_DEGC, 2, 2, "sea"},
};
#define PANELS (sizeof panels / sizeof panels[0])

/* The y axis of a panel as two script variables, so that the hold shading can reach from edge to
 * edge, and its place and title. */
static void panel_frame(struct text *out, const struct chart_view *view, const struct panel *panel,
                        const struct sample_series *samples)
{
    double low = NAN, high = NAN;
    values(view, panel->unit, samples, &low, &high);
    if (!isfinite(low)) {
        low = 0;
        high = panel->least;
    }
    double middle = (low + high) / 2, half = fmax(high - low, panel->least) / 2 * 1.16;
    text_addf(out, "  lo = %.10g; hi = %.10g; set yrange [lo:hi]\n", middle - half, middle + half);
    text_addf(out,
              "  set bmargin at screen (foot+%g)/height; set tmargin at screen (foot+%g)/height\n",
              panel->bottom, panel->top);
    text_addf(out, "  set label 8 '%s' at screen 0.018,(foot+%g)/height center rotate\n",
              axis_title(panel->title, unit_symbol(panel->unit, view->style->units)).s,
              (panel->bottom + panel->top) / 2);
    if (samples->count == 0)
        text_add(out, "  set label 9 'not recorded' at graph 0.5,0.5 center tc rgb soft\n");
    else
        text_add(out, "  unset label 9\n");
}

/* Numbers above the holds: small where there are many, and not at each one where they would
 * touch. */
static void hold_numbers(struct text *out, size_t count)
{
    const size_t large = 20, small = 44; /* that fit in a row */
    text_addf(out,
              ", \\\n    data index 3 every %zu using (($1+$2)/2):(hi):3 with labels offset 0,0.55 "
              "font face.',%s' tc rgb soft notitle",
              count / (small + 1) + 1, count > large ? "5.5" : "7");
}

/* Only what has points is plotted: gnuplot warns of the rest. The first part is never seen; it lets
 * every other one be left out. */
static void panel_plot(struct text *out, const struct chart_view *view, const struct panel *panel,
                       const struct sample_series *samples)
{
    bool used = count_holds(view, true) > 0;
    text_add(out, "  plot NaN notitle");
    if (used)
        text_add(out, ", \\\n    data index 3 using (($1+$2)/2):(hi):1:2:(lo):(hi) with boxxyerror "
                      "fc rgb faint fs solid 1.0 noborder notitle, \\\n"
                      "    data index 3 using (($4+$2)/2):(hi):4:2:(lo):(hi) with boxxyerror "
                      "fc rgb pale fs solid 1.0 noborder notitle");
    if (count_holds(view, false) > 0)
        text_add(out, ", \\\n    data index 4 using (($1+$2)/2):(hi):1:2:(lo):(hi) with boxxyerror "
                      "lc rgb thin lw 0.5 fs transparent pattern 5 border notitle");
    if (used && panel->index == 0)
        hold_numbers(out, count_holds(view, true));
    if (samples->count > 0)
        text_addf(out, ", \\\n    data index %u using 1:2 with %s lc rgb %s lw 1.4 notitle",
                  panel->index, samples->count > SINGLE_MOST ? "lines" : "linespoints pt 7 ps 0.45",
                  panel->colour);
    text_add(out, "\n");
}

/* Reference lines of the coolant panel: the thermostat's two temperatures and the alarm. Each has
 * its name, for in grey they look alike. */
static void coolant_lines(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    const struct {
        double at;
        const char *name, *colour;
    } lines[] = {{engine->thermostat_start, "starts to open", "soft"},
                 {engine->thermostat_full, "wide open", "soft"},
                 {engine->alarm, "alarm", "warn"}};
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        if (!isfinite(lines[i].at))
            continue;
        double at = unit_shown(lines[i].at, UNIT_DEGC, view->style->units);
        text_addf(
            out,
            "  if (%.10g > lo && %.10g < hi) { set arrow %zu from graph 0,first %.10g to "
            "graph 1,first %.10g nohead front lc rgb %s lw 0.9 dt (4,3); set label %zu '%s' "
            "at graph 0.995,first %.10g right offset 0,0.42 font face.',6' tc rgb %s front }\n",
            at, at, i + 1, at, at, lines[i].colour, 81 + i, lines[i].name, at, lines[i].colour);
    }
}

static void span_of_time(const struct chart_view *view, double *low, double *high)
{
    const struct trace *trace = trace_of(view);
    const struct sample_series *all[] = {&trace->rpm, &trace->coolant, &trace->sea};
    *low = *high = NAN;
    for (size_t i = 0; i < 3; i++)
        if (all[i]->count > 0) {
            range_take(low, high, all[i]->minute[0]);
            range_take(low, high, all[i]->minute[all[i]->count - 1]);
        }
}

/* What the two kinds of shading mean; every panel after the first would draw it again. */
static const char legend[] =
    "  set lmargin at screen 0.12; set rmargin at screen 0.975\n"
    "  set object 11 rect from screen 0.12,1-0.72/height to screen 0.15,1-0.60/height "
    "fc rgb pale fs solid noborder\n"
    "  set label 11 'hold, used and numbered' at screen 0.158,1-0.66/height font face.',8.5'\n"
    "  set object 12 rect from screen 0.40,1-0.72/height to screen 0.43,1-0.60/height "
    "fc rgb thin fs pattern 5 border lc rgb thin\n"
    "  set label 12 'hold, not used' at screen 0.438,1-0.66/height font face.',8.5'\n";
static const char once[] = "  unset arrow; unset object; do for [i=81:99] { unset label i }\n"
                           "  unset label 11; unset label 12\n";

static void script(struct text *out, const struct chart_view *view)
{
    const struct trace *trace = trace_of(view);
    const struct sample_series *samples[PANELS] = {&trace->rpm, &trace->coolant, &trace->sea};
    bool before = view->answer->runs[view->run].side == SIDE_BEFORE;
    double low, high;
    span_of_time(view, &low, &high);
    text_add(out, legend);
    script_range(out, "x", fmin(low, 0), high, 0, 1);
    text_add(out, "  set multiplot\n");
    for (size_t i = 0; i < PANELS; i++) {
        struct panel panel = panels[i];
        if (panel.colour == NULL)
            panel.colour = before ? "before" : "after";
        text_add(out, i + 1 == PANELS ? "  set format x; set xlabel 'Time since run start, min'\n"
                                      : "  set format x ''; unset xlabel\n");
        panel_frame(out, view, &panel, samples[i]);
        if (panel.unit == UNIT_DEGC && panel.colour != panels[i].colour)
            coolant_lines(out, view);
        panel_plot(out, view, &panel, samples[i]);
        text_add(out, once);
    }
    text_add(out, "  unset multiplot; unset label 8; unset label 9\n");
}

static void subtitle(struct text *out, const struct chart_view *view)
{
    const struct run_summary *run = &view->answer->runs[view->run];
    text_addf(out, "%s the service: ", run->side == SIDE_BEFORE ? "Before" : "After");
    text_clip(out, run->name, 34);
    text_addf(out, ", %s", word_time(run->start_unix_us).s);
}

static void caption(struct text *out, const struct chart_view *view)
{
    size_t used = count_holds(view, true), refused = count_holds(view, false);
    text_addf(out,
              trace_of(view)->by_hand
                  ? "Shaded and numbered: the %zu steady holds that were used. Dots: what was read "
                    "by hand, at the end of each; the lines only join them."
                  : "Shaded and numbered: the %zu steady holds that were used; darker where the "
                    "engine had settled and the means were taken.",
              used);
    if (refused > 0)
        text_addf(out, " Hatched: %zu not used.", refused);
}

static void describe(struct text *out, const struct chart_view *view)
{
    text_addf(out, "Engine speed, coolant temperature and sea temperature in time. ");
    subtitle(out, view);
    text_add(out, ". ");
    caption(out, view);
}

const struct chart chart_time = {
    .key = "run",
    .title = "Speed, coolant and sea in time",
    .scope = CHART_ENGINE_RUN,
    .height = 4.4, /* two stand on a page */
    .possible = possible,
    .data = data,
    .script = script,
    .subtitle = subtitle,
    .caption = caption,
    .describe = describe,
};
