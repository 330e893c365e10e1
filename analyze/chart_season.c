/* chart_season.c - the seasons: open rise of every outing with its lines and services, the coolant
 * at full throttle against the alarm, and one engine against the other. */
#include "chart.h"

#include <math.h>
#include <stdio.h>
#include <time.h>

#include "season_report.h"

#define NAME_COLUMNS 40
#define YEAR 31557600.0
#define STEPS_NAMED 6 /* services that a caption tells */

static const struct season_engine *engine_of(const struct chart_view *view)
{
    return &view->seasons->engines[view->engine];
}

static const struct season_pair *pair_of(const struct chart_view *view)
{
    return &view->seasons->pairs[view->engine];
}

void season_chart_whose(struct text *out, const struct chart *chart, const struct chart_view *view)
{
    const struct seasons *s = view->seasons;
    bool pair = chart->scope == CHART_BOAT;
    const struct season_engine *first = pair ? &s->engines[pair_of(view)->first] : engine_of(view);
    text_clip(out, season_boat_name(s, first->boat), NAME_COLUMNS);
    text_add(out, ", ");
    if (s->boat_count < 2 && first->label[0] != '\0')
        text_clip(out, first->label, NAME_COLUMNS);
    else
        text_addf(out, "engine %d", first->instance);
    if (pair)
        text_addf(out, " against %s", season_engine_name(s, &s->engines[pair_of(view)->second]).s);
}

void season_chart_mark(const struct chart *chart, const struct chart_view *view, char *to,
                       size_t room)
{
    const struct seasons *s = view->seasons;
    bool pair = chart->scope == CHART_BOAT;
    size_t index = pair ? pair_of(view)->first : view->engine;
    char boat[24] = "", against[24] = "";
    if (s->boat_count > 1)
        snprintf(boat, sizeof boat, "-boat-%zu", s->engines[index].boat + 1);
    if (pair)
        snprintf(against, sizeof against, "-against-%zu", pair_of(view)->second);
    if (s->engine_count > 1)
        snprintf(to, room, "%s-engine-%zu%s", boat, index, against);
    else
        to[0] = '\0';
}

/* --- time */

static double year_start(int year)
{
    struct tm tm = {.tm_year = year - 1900, .tm_mday = 1};
    return (double)timegm(&tm);
}

static int year_of(double at)
{
    time_t seconds = (time_t)at;
    struct tm tm;
    return gmtime_r(&seconds, &tm) ? tm.tm_year + 1900 : 1970;
}

/* A tic a year where there are at most twelve, else every second or fifth; months where all is
 * within two. */
static void time_axis(struct text *out, double low, double high)
{
    int first = year_of(low), last = year_of(high);
    int every = last - first > 30 ? 5 : last - first > 12 ? 2 : 1;
    bool months = high - low < 2 * YEAR;
    text_addf(out, "  set xrange [%.0f:%.0f]\n  set xtics (", low, high);
    const char *comma = "";
    for (int year = first; year <= last + 1; year++)
        for (int month = 0; month < (months ? 12 : 1); month += 3) {
            double at = year_start(year) + month * YEAR / 12;
            if (at < low || at > high || (!months && (year - first) % every != 0))
                continue;
            if (months)
                text_addf(out, "%s'%d-%02d' %.0f", comma, year, month + 1, at);
            else
                text_addf(out, "%s'%d' %.0f", comma, year, at);
            comma = ", ";
        }
    text_add(out, ")\n");
}

/* --- a series */

/* Which of two values of points and lines a chart shows. */
enum show { SHOW_RISE, SHOW_FULL };

static struct interval of_point(const struct season_point *point, enum show show)
{
    return show == SHOW_RISE ? point->rise : point->full;
}

static struct interval of_curve(const struct season_curve *curve, enum show show)
{
    return show == SHOW_RISE ? curve->rise : curve->full;
}

static void curve_data(struct text *out, const struct style *style,
                       const struct season_series *series, enum show show, enum unit unit,
                       bool ahead)
{
    bool any = false;
    text_addf(out, "# %s: s since 1970, value, low, high\n",
              ahead ? "if nothing is done" : "lines between services");
    for (size_t i = 0; i < series->curve_count; i++) {
        const struct season_curve *curve = &series->curves[i];
        if (curve->ahead != ahead)
            continue;
        if (i > 0 && curve->segment != curve[-1].segment)
            text_add(out, "\n");
        text_addf(out, "%.0f", curve->at);
        data_interval(out, style, unit, of_curve(curve, show));
        text_add(out, "\n");
        any = true;
    }
    text_add(out, any ? "\n\n" : "NaN NaN NaN NaN\n\n\n");
}

struct interval season_own_interval(const struct season_series *series,
                                    const struct season_point *point, struct interval all)
{
    double own = hypot(series->day, point->level_u) * 1.96; /* normal, 95 % */
    double share = fmin(own / log(point->rise.high / point->rise.value), 1);
    return (struct interval){all.value, all.value + share * (all.low - all.value),
                             all.value + share * (all.high - all.value)};
}

static struct interval own_interval(const struct season_series *series,
                                    const struct season_point *point, enum show show)
{
    return season_own_interval(series, point, of_point(point, show));
}

static void series_data(struct text *out, const struct style *style,
                        const struct season_series *series, enum show show, enum unit unit)
{
    text_add(out, "# outings: s since 1970, value, low, high\n");
    for (size_t i = 0; i < series->point_count; i++) {
        text_addf(out, "%.0f", series->points[i].at);
        data_interval(out, style, unit, own_interval(series, &series->points[i], show));
        text_add(out, "\n");
    }
    text_add(out, "\n\n");
    curve_data(out, style, series, show, unit, false);
    curve_data(out, style, series, show, unit, true);
}

/* What leaves the picture must not shrink the rest: ahead, only the middle counts. */
static void value_range(const struct season_series *series, enum show show, double *low,
                        double *high)
{
    for (size_t i = 0; i < series->point_count; i++)
        range_take_interval(low, high, own_interval(series, &series->points[i], show));
    for (size_t i = 0; i < series->curve_count; i++)
        if (series->curves[i].ahead)
            range_take(low, high, of_curve(&series->curves[i], show).value);
        else
            range_take_interval(low, high, of_curve(&series->curves[i], show));
}

static void time_range(const struct season_series *series, double *low, double *high)
{
    for (size_t i = 0; i < series->point_count; i++)
        range_take(low, high, series->points[i].at);
    for (size_t i = 0; i < series->curve_count; i++)
        range_take(low, high, series->curves[i].at);
}

static void service_lines(struct text *out, const struct season_series *series)
{
    for (size_t i = 0; i < series->step_count; i++) {
        text_addf(out,
                  "  set arrow %zu from first %.0f,graph 0 to first %.0f,graph 1 nohead front lc "
                  "rgb soft lw 1 dt (2,3)\n",
                  i + 1, series->steps[i].at, series->steps[i].at);
        text_addf(out,
                  "  set label %zu '%zu' at first %.0f,graph 1 offset 0,0.5 center font face.',8' "
                  "tc rgb ink\n",
                  i + 1, i + 1, series->steps[i].at);
    }
}

static void series_script(struct text *out, const struct chart_view *view,
                          const struct season_series *series, enum show show, enum unit unit,
                          double low, double high)
{
    double from = NAN, to = NAN;
    enum unit_system system = view->style->units;
    time_range(series, &from, &to);
    double air = fmax(0.02 * (to - from), 20 * 86400.0);
    value_range(series, show, &low, &high);
    script_legend(out);
    text_add(out, "  set tmargin at screen 1-0.98/height; set lmargin at screen 0.115\n");
    time_axis(out, from - air, to + air);
    script_range(out, "y", unit_shown(low, unit, system), unit_shown(high, unit, system), 0.06,
                 unit == UNIT_ONE ? 0.05 : 3);
    service_lines(out, series);
    bool ahead = series->curve_count > 0 && series->curves[series->curve_count - 1].ahead;
    text_add(out, "  plot data index 1 using 1:3:4 with filledcurves fc rgb pale notitle, \\\n");
    if (ahead)
        text_add(out, "    data index 2 using 1:3:4 with filledcurves fc rgb faint notitle, \\\n");
    text_add(out, "    data index 1 using 1:2 with lines lc rgb ink lw 1.8 title 'trend', \\\n");
    if (ahead)
        text_add(out, "    data index 2 using 1:2 with lines lc rgb ink lw 1.6 dt (6,4) title 'if "
                      "nothing is done', \\\n");
    text_add(out, "    data index 0 using 1:2:3:4 with yerrorbars lc rgb after lw 1.1 pt 7 ps "
                  "0.6*mark title 'one outing'\n");
}

/* The services by their numbers in the picture. */
static void name_steps(struct text *out, const struct season_series *series)
{
    for (size_t i = 0; i < series->step_count && i < STEPS_NAMED; i++) {
        text_addf(out, "%s%zu ", i == 0 ? " Services: " : ", ", i + 1);
        text_clip(out, series->steps[i].what, 34);
    }
    if (series->step_count > STEPS_NAMED)
        text_add(out, " ...");
    if (series->step_count > 0)
        text_add(out, ".");
}

static void caption_of(struct text *out, const struct chart_view *view,
                       const struct season_series *series, enum show show, const char *what)
{
    struct word level = word_level(view->style, view->seasons->options.confidence_level);
    text_addf(out,
              "%s Bars: how far one outing may be off beside the others (%s); shaded: how far the "
              "trend may be%s.",
              what, level.s,
              show == SHOW_FULL ? ", with what may be off in all outings alike, as the thermostat"
                                : "");
    name_steps(out, series);
}

/* --- open rise */

static bool rise_possible(const struct chart_view *view)
{
    return engine_of(view)->series.point_count > 0;
}

static void rise_data(struct text *out, const struct chart_view *view)
{
    series_data(out, view->style, &engine_of(view)->series, SHOW_RISE, UNIT_KELVIN);
}

static void rise_script(struct text *out, const struct chart_view *view)
{
    const char *symbol = unit_symbol(UNIT_KELVIN, view->style->units);
    script_axes(out, "Date", axis_title("Open rise above the sea", symbol).s);
    series_script(out, view, &engine_of(view)->series, SHOW_RISE, UNIT_KELVIN, NAN, NAN);
}

static void rise_subtitle(struct text *out, const struct chart_view *view)
{
    text_addf(out, "What the coolant would stand above the sea at %s with the thermostat wide open",
              word_rpm(engine_of(view)->reference_rpm).s);
}

static void rise_caption(struct text *out, const struct chart_view *view)
{
    caption_of(out, view, &engine_of(view)->series, SHOW_RISE, "Lower is better.");
}

static void describe_series(struct text *out, const struct chart_view *view,
                            const struct season_series *series, enum show show, enum unit unit)
{
    const struct season_point *first = &series->points[0];
    const struct season_point *last = &series->points[series->point_count - 1];
    text_addf(
        out, "%s from %s (%s) to %s (%s).", word_count(series->point_count, "outing", "outings").s,
        season_day(first->at).s,
        word_quantity(view->style, unit, of_point(first, show).value, unit == UNIT_ONE ? 2 : 1).s,
        season_day(last->at).s,
        word_quantity(view->style, unit, of_point(last, show).value, unit == UNIT_ONE ? 2 : 1).s);
    for (size_t i = 0; i < series->step_count; i++) {
        text_addf(out, " %s: ", season_day(series->steps[i].at).s);
        text_clip(out, series->steps[i].what, 60);
        text_addf(out, ", open rise times %s.",
                  word_number(view->style, series->steps[i].ratio.value, 2).s);
    }
}

static void rise_describe(struct text *out, const struct chart_view *view)
{
    text_add(out, "Open rise of every outing against its date. ");
    describe_series(out, view, &engine_of(view)->series, SHOW_RISE, UNIT_KELVIN);
}

static const struct chart chart_season_rise = {
    .key = "seasons-open-rise",
    .title = "Open rise: how well the engine sheds its heat",
    .scope = CHART_ENGINE,
    .height = 3.8,
    .possible = rise_possible,
    .data = rise_data,
    .script = rise_script,
    .subtitle = rise_subtitle,
    .caption = rise_caption,
    .describe = rise_describe,
};

/* --- coolant at full throttle against the alarm */

static void full_data(struct text *out, const struct chart_view *view)
{
    series_data(out, view->style, &engine_of(view)->series, SHOW_FULL, UNIT_DEGC);
}

/* When the alarm is reached: its interval as a bar on the alarm's line. */
static void alarm_script(struct text *out, const struct chart_view *view)
{
    const struct season_engine *engine = engine_of(view);
    const struct season_forecast *f = &engine->forecast;
    if (!isfinite(engine->alarm))
        return;
    double at = unit_shown(engine->alarm, UNIT_DEGC, view->style->units);
    text_addf(out,
              "  set arrow 61 from graph 0,first %.10g to graph 1,first %.10g nohead front lc rgb "
              "warn lw 1.2 dt (8,3)\n"
              "  set label 61 'alarm' at graph 0.01,first %.10g offset 0,0.5 font face.',8.5' tc "
              "rgb warn\n",
              at, at, at);
    double from = NAN, to = NAN;
    time_range(&engine->series, &from, &to);
    if (f->outlook != OUTLOOK_DATE || f->at.low >= to)
        return;
    bool leaves = !(f->at.high < to);
    text_addf(
        out,
        "  set arrow 62 from first %.0f,first %.10g to first %.0f,first %.10g %s front lc rgb "
        "warn lw 2.6\n",
        f->at.low, at, leaves ? to : f->at.high, at,
        leaves ? "head size graph 0.02,20 filled" : "heads size graph 0.008,90");
}

static void full_script(struct text *out, const struct chart_view *view)
{
    const struct season_engine *engine = engine_of(view);
    double low = NAN, high = NAN;
    range_take(&low, &high, engine->alarm);
    script_axes(out, "Date",
                axis_title("Coolant temperature", unit_symbol(UNIT_DEGC, view->style->units)).s);
    alarm_script(out, view);
    series_script(out, view, &engine->series, SHOW_FULL, UNIT_DEGC, low, high);
}

static void full_subtitle(struct text *out, const struct chart_view *view)
{
    text_addf(out, "At %s in a sea of %s, the warmest %s", word_rpm(engine_of(view)->full_rpm).s,
              word_quantity(view->style, UNIT_DEGC, engine_of(view)->warmest_sea, 1).s,
              isfinite(view->seasons->options.warmest_sea) ? "asked for" : "on record");
}

static void full_caption(struct text *out, const struct chart_view *view)
{
    caption_of(out, view, &engine_of(view)->series, SHOW_FULL,
               engine_of(view)->forecast.outlook == OUTLOOK_DATE
                   ? "Thick bar: when the alarm may be reached."
                   : "Carried to full throttle from the speeds that were held.");
}

static void full_describe(struct text *out, const struct chart_view *view)
{
    struct text headline = {0};
    text_add(out,
             "Coolant at full throttle in the warmest sea, of every outing, against its date. ");
    describe_series(out, view, &engine_of(view)->series, SHOW_FULL, UNIT_DEGC);
    season_headline(view->seasons, engine_of(view), &headline);
    text_addf(out, " %s.", text_string(&headline));
    text_free(&headline);
}

static const struct chart chart_season_full = {
    .key = "seasons-full-throttle",
    .title = "The reserve: coolant at full throttle in the warmest sea",
    .scope = CHART_ENGINE,
    .height = 3.8,
    .possible = rise_possible,
    .data = full_data,
    .script = full_script,
    .subtitle = full_subtitle,
    .caption = full_caption,
    .describe = full_describe,
};

/* --- one engine against the other */

static bool pair_possible(const struct chart_view *view)
{
    return pair_of(view)->series.point_count > 1;
}

static void pair_data(struct text *out, const struct chart_view *view)
{
    series_data(out, view->style, &pair_of(view)->series, SHOW_RISE, UNIT_ONE);
}

static void pair_script(struct text *out, const struct chart_view *view)
{
    script_axes(out, "Date", "Ratio of open rises");
    series_script(out, view, &pair_of(view)->series, SHOW_RISE, UNIT_ONE, 1, 1);
}

static void pair_subtitle(struct text *out, const struct chart_view *view)
{
    const struct seasons *s = view->seasons;
    text_addf(out, "%.60s over %.60s: what day and sea do to both cancels",
              season_engine_name(s, &s->engines[pair_of(view)->first]).s,
              season_engine_name(s, &s->engines[pair_of(view)->second]).s);
}

static void pair_caption(struct text *out, const struct chart_view *view)
{
    caption_of(out, view, &pair_of(view)->series, SHOW_RISE,
               "Above 1 the first engine sheds its heat worse.");
}

static void pair_describe(struct text *out, const struct chart_view *view)
{
    text_add(out, "Open rise of one engine over that of the other, by outing. ");
    describe_series(out, view, &pair_of(view)->series, SHOW_RISE, UNIT_ONE);
}

static const struct chart chart_season_pair = {
    .key = "seasons-engines",
    .title = "One engine against the other",
    .scope = CHART_BOAT,
    .height = 3.6,
    .possible = pair_possible,
    .data = pair_data,
    .script = pair_script,
    .subtitle = pair_subtitle,
    .caption = pair_caption,
    .describe = pair_describe,
};

const struct chart *const season_charts[] = {&chart_season_full, &chart_season_rise,
                                             &chart_season_pair};
const size_t season_chart_count = sizeof season_charts / sizeof season_charts[0];
