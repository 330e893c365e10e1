/* chart.c - the table of charts, and what all scripts share. */
#include "chart.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "colour.h"
#include "facts.h"
#include "folder.h"
#include "gnuplot.h"
#include "picture.h"
#include "seasons.h"

#define PICTURE_MOST (16u << 20) /* bytes; a chart has some hundred thousand */
#define FAILURES_MAX 2           /* then gnuplot is not tried again: it may hang each time */
#define CAPTION_COLUMNS 122      /* characters in a caption line that surely fit the width */
#define CAPTION_LINES 3
#define NAME_COLUMNS 40 /* of a name from a run file */

const struct chart *const charts[] = {&chart_coolant, &chart_change, &chart_rise,
                                      &chart_engines, &chart_budget, &chart_time};
const size_t chart_count = sizeof charts / sizeof charts[0];

/* --- parts of scripts */

void script_number(struct text *out, double value)
{
    if (isfinite(value))
        text_addf(out, "%.10g", value);
    else
        text_add(out, "NaN");
}

void script_label(struct text *out, int number, const char *text, size_t columns, const char *more)
{
    text_addf(out, "  set label %d ", number);
    text_gnuplot(out, text, columns);
    text_addf(out, " noenhanced %s\n", more);
}

void data_interval(struct text *out, const struct style *style, enum unit unit,
                   struct interval interval)
{
    const double three[] = {interval.value, interval.low, interval.high};
    for (size_t i = 0; i < 3; i++) {
        text_add(out, " ");
        script_number(out, unit_shown(three[i], unit, style->units));
    }
}

struct word axis_title(const char *what, const char *symbol)
{
    struct word word;
    word = word_of("%s, %s", what, symbol);
    return word;
}

static void script_axis(struct text *out, char axis, const char *title)
{
    text_addf(out, "  set %clabel ", axis);
    text_gnuplot(out, title, CAPTION_COLUMNS);
    text_add(out, " noenhanced\n");
}

void script_axes(struct text *out, const char *x_title, const char *y_title)
{
    text_add(out,
             "  set lmargin at screen 0.095; set rmargin at screen 0.975\n"
             "  set tmargin at screen 1-0.86/height; set bmargin at screen (foot+0.55)/height\n");
    script_axis(out, 'x', x_title);
    script_axis(out, 'y', y_title);
}

void script_legend(struct text *out)
{
    text_add(out, "  set key at screen 0.085,1-0.56/height left top horizontal Left reverse "
                  "samplen 3 noenhanced\n");
}

void range_take(double *low, double *high, double value)
{
    if (!isfinite(value))
        return;
    *low = !(value >= *low) ? value : *low;
    *high = !(value <= *high) ? value : *high;
}

void range_take_interval(double *low, double *high, struct interval interval)
{
    range_take(low, high, interval.value);
    range_take(low, high, interval.low);
    range_take(low, high, interval.high);
}

void script_range(struct text *out, const char *axis, double low, double high, double air,
                  double least)
{
    if (!isfinite(low) || !isfinite(high)) {
        low = 0;
        high = least;
    }
    double middle = (low + high) / 2, half = fmax(high - low, least) / 2 * (1 + 2 * air);
    text_addf(out, "  set %srange [%.10g:%.10g]\n", axis, middle - half, middle + half);
}

const struct engine_answer *chart_engine(const struct chart_view *view)
{
    return &view->answer->engines[view->engine];
}

static void rpm_span(const struct engine_answer *engine, double *low, double *high)
{
    *low = *high = NAN;
    for (size_t i = 0; i < engine->band_count; i++)
        range_take(low, high, engine->bands[i].rpm);
}

void chart_rpm_range(struct text *out, const struct engine_answer *engine, double air)
{
    double low, high;
    rpm_span(engine, &low, &high);
    script_range(out, "x", low, high, air, 400);
}

void script_before_after(struct text *out, const struct engine_answer *engine)
{
    double low, high;
    rpm_span(engine, &low, &high);
    text_addf(out, "  d = %.10g   # before and after stand this far beside their speed, rpm\n",
              isfinite(low) ? fmax(high - low, 400) * 0.005 : 0);
    text_add(out,
             "  plot data using ($1-d):2 with lines lc rgb before lw 1.6 dt (6,4) notitle, \\\n"
             "    '' using ($1+d):5 with lines lc rgb after lw 1.6 notitle, \\\n"
             "    '' using ($1-d):2:3:4 with yerrorbars lc rgb before lw 1.6 pt 4 ps 0.9*mark "
             "notitle, \\\n"
             "    '' using ($1-d):2 with points lc rgb white pt 5 ps 0.9*mark notitle, \\\n"
             "    '' using ($1-d):2 with points lc rgb before lw 1.6 pt 4 ps 0.9*mark notitle, \\\n"
             "    '' using ($1+d):5:6:7 with yerrorbars lc rgb after lw 1.6 pt 7 ps 0.9*mark "
             "notitle, \\\n"
             "    NaN with linespoints lc rgb before lw 1.6 dt (6,4) pt 4 ps 0.9*mark "
             "title 'before', \\\n"
             "    NaN with linespoints lc rgb after lw 1.6 pt 7 ps 0.9*mark title 'after'\n");
}

/* --- captions */

void chart_engine_name(struct text *out, const struct engine_answer *engine)
{
    if (engine->label[0] != '\0')
        text_clip(out, engine->label, NAME_COLUMNS);
    else
        text_addf(out, "engine %d", engine->instance);
}

int chart_thermostat_decimals(double start, double full)
{
    return fabs(start - round(start)) >= 0.05 || fabs(full - round(full)) >= 0.05;
}

/* " of 71 to 82 °C": of the first run that records a rating. */
static struct word recorded_rating(const struct answer *answer, int engine,
                                   const struct style *style)
{
    double start, full;
    for (size_t i = 0; i < answer->run_count; i++) {
        const struct facts *facts = answer->runs[i].facts;
        if (facts == NULL || !facts_pair(facts, engine, "thermostat", &start, &full))
            continue;
        double low = unit_shown(start, UNIT_DEGC, style->units);
        int decimals = chart_thermostat_decimals(low, unit_shown(full, UNIT_DEGC, style->units));
        return word_of(" of %.30s to %.30s", word_number(style, low, decimals).s,
                       word_quantity(style, UNIT_DEGC, full, decimals).s);
    }
    return word_of("%s", "");
}

struct word chart_thermostat_from(const struct answer *answer, const struct engine_answer *engine,
                                  const struct style *style)
{
    const char *from = engine->thermostat_from == NULL ? "" : engine->thermostat_from;
    if (strcmp(from, "given") == 0)
        return word_of("the rating given to the program, adjusted to the holds within its "
                       "uncertainty");
    if (strcmp(from, "run file") == 0)
        return word_of("the recorded rating%s, adjusted to the holds within its uncertainty",
                       recorded_rating(answer, engine->instance, style).s);
    return word_of("%s", strcmp(from, "fitted") == 0 ? "fitted to the holds" : "source not known");
}

struct word chart_sea(const struct chart_view *view)
{
    return word_quantity(view->style, UNIT_DEGC, view->answer->reference_sea, 1);
}

static void side_runs(struct text *out, const struct answer *answer, enum side side)
{
    size_t named = 0;
    for (size_t i = 0; i < answer->run_count; i++) {
        const struct run_summary *run = &answer->runs[i];
        if (run->side != side)
            continue;
        text_add(out, named++ > 0 ? ", " : side == SIDE_BEFORE ? "Before: " : "After: ");
        text_clip(out, run->name, NAME_COLUMNS);
        text_addf(out, " (%s)", word_date(run->start_unix_us).s);
    }
    if (named > 0)
        text_add(out, ". ");
}

void chart_runs(struct text *out, const struct answer *answer)
{
    side_runs(out, answer, SIDE_BEFORE);
    side_runs(out, answer, SIDE_AFTER);
}

static const char *boat_name(const struct answer *answer)
{
    for (size_t i = 0; i < answer->run_count; i++) {
        const char *name = answer->runs[i].facts == NULL
                               ? ""
                               : facts_get(answer->runs[i].facts, FACT_BOAT, 0, "name");
        if (name[0] != '\0')
            return name;
    }
    return "Boat: not recorded";
}

static void engine_words(struct text *out, const struct chart_view *view)
{
    const struct engine_answer *engine = chart_engine(view);
    const char *model = "";
    for (size_t i = 0; i < view->answer->run_count && model[0] == '\0'; i++)
        if (view->answer->runs[i].facts != NULL)
            model = facts_get(view->answer->runs[i].facts, FACT_ENGINE, engine->instance, "model");
    text_add(out, ", ");
    chart_engine_name(out, engine);
    if (model[0] != '\0') {
        text_add(out, " (");
        text_clip(out, model, NAME_COLUMNS);
        text_add(out, ")");
    }
}

static void make_caption(struct text *out, const struct chart *chart, const struct chart_view *view)
{
    if (view->seasons != NULL)
        season_chart_whose(out, chart, view);
    else
        text_clip(out, boat_name(view->answer), NAME_COLUMNS);
    if (view->seasons == NULL && chart->scope != CHART_BOAT)
        engine_words(out, view);
    text_add(out, ". ");
    chart->caption(out, view);
}

/* Length in bytes of what fits on one caption line, broken at a space where there is one. */
static size_t line_length(const char *words)
{
    size_t columns = 0, length = 0, space = 0;
    while (words[length] != '\0' && columns < CAPTION_COLUMNS) {
        unsigned code;
        if (words[length] == ' ')
            space = length;
        length += text_decode(words + length, &code);
        columns += text_columns_of(code);
    }
    return words[length] != '\0' && space > 0 ? space : length;
}

/* Adds the lines as labels, or only counts them if `out` is NULL. The last one is cut if it
 * must. */
static unsigned caption_lines(struct text *out, const char *caption)
{
    unsigned line = 0;
    for (; line < CAPTION_LINES && *caption != '\0'; line++) {
        size_t length = line + 1 < CAPTION_LINES ? line_length(caption) : strlen(caption);
        struct text words = {0};
        char place[120];
        text_add_bytes(&words, caption, length);
        snprintf(place, sizeof place,
                 "at screen 0.015,(foot-0.075-0.155*%u)/height font caption tc rgb soft", line);
        if (out != NULL)
            script_label(out, 91 + (int)line, text_string(&words), CAPTION_COLUMNS, place);
        text_free(&words);
        caption += length;
        caption += strspn(caption, " ");
    }
    return line;
}

/* --- whole files */

void chart_data(struct text *out, const struct drawing *drawing)
{
    text_addf(out, "# %s - %s, by searun-analyze %s. NaN: not known. Columns are named below.\n# ",
              drawing->name, drawing->chart->title, SEARUN_VERSION);
    text_clean(out, drawing->caption);
    text_add(out, "\n");
    drawing->chart->data(out, &drawing->view);
}

/* What all charts look like; people who restyle one change these lines. */
static const char looks[] = "set encoding utf8\n"
                            "set minussign\n"
                            "set datafile missing 'NaN'\n"
                            "face = 'DejaVu Sans'          # Debian package fonts-dejavu-core\n"
                            "caption = face.',7'\n";

static const char terminals[] =
    "do for [form in 'svg png pdf'] {\n"
    "  if (form eq 'svg') { set terminal svg size width*96,height*96 font face.',9' "
    "fontscale 96./72 background 'white' enhanced }\n"
    "  if (form eq 'png') { set terminal pngcairo size width*300,height*300 font face.',9' "
    "fontscale 300./96 linewidth 300./96 dashlength 1.5 pointscale 300./96 background 'white' "
    "enhanced }\n"
    "  if (form eq 'pdf') { set terminal pdfcairo size width*1in,height*1in font face.',9' "
    "fontscale 72./96 linewidth 1.2 dashlength 1.5 pointscale 0.75 background 'white' enhanced }\n"
    "  mark = form eq 'svg' ? 0.8 : 1   # marks come out larger there\n"
    "  set output name.'.'.form\n"
    "  set border 3 lc rgb soft; set tics nomirror out textcolor rgb ink\n"
    "  set grid ytics lc rgb line lw 0.6 dt 1\n";

static void script_heading(struct text *out, const struct drawing *drawing)
{
    struct text subtitle = {0};
    drawing->chart->subtitle(&subtitle, &drawing->view);
    out->failed |= subtitle.failed;
    /* Titles are our own words; enhanced text is what makes them bold in an SVG. */
    text_addf(out, "  set label 81 '{/:Bold %s}' at screen 0.015,1-0.19/height font face.',11'\n",
              drawing->chart->title);
    script_label(out, 82, text_string(&subtitle), CAPTION_COLUMNS,
                 "at screen 0.015,1-0.42/height font face.',8.5' tc rgb soft");
    text_free(&subtitle);
}

void chart_script(struct text *out, const struct drawing *drawing)
{
    const struct style *style = drawing->view.style;
    text_addf(out,
              "# %s.gp - %s, by searun-analyze %s.\n# Run \"gnuplot %s.gp\" in this folder to draw "
              "it again after changing looks or data\n# (in a UTF-8 locale: LC_ALL=C.UTF-8 where "
              "there is none).\n",
              drawing->name, drawing->chart->title, SEARUN_VERSION, drawing->name);
    text_add(out, looks);
    colours_gnuplot(out);
    double foot = 0.155 * caption_lines(NULL, drawing->caption) + 0.05;
    text_addf(out,
              "name = '%s'; data = name.'.dat'\n"
              "width = %g; height = %g; foot = %g   # inches\n",
              drawing->name, CHART_WIDTH, drawing->chart->height + foot, foot);
    if (style->decimal_comma)
        text_add(out, "set decimalsign ','\n");
    text_add(out, terminals);
    script_heading(out, drawing);
    caption_lines(out, drawing->caption);
    drawing->chart->script(out, &drawing->view);
    text_add(out, "  unset output\n}\n");
}

/* --- the list of drawings */

/* Number of the run among those of its side, from 1. */
static size_t number_on_side(const struct answer *answer, size_t run)
{
    size_t number = 0;
    for (size_t i = 0; i <= run; i++)
        number += answer->runs[i].side == answer->runs[run].side;
    return number;
}

static void name_drawing(struct drawing *drawing)
{
    const struct answer *answer = drawing->view.answer;
    char *name = drawing->name;
    size_t room = sizeof drawing->name;
    int used = snprintf(name, room, "%s", drawing->chart->key);
    if (drawing->view.seasons != NULL) {
        season_chart_mark(drawing->chart, &drawing->view, name + used, room - (size_t)used);
        return;
    }
    if (drawing->chart->scope == CHART_ENGINE_RUN)
        used += snprintf(name + used, room - (size_t)used, "-%s-%zu",
                         answer->runs[drawing->view.run].side == SIDE_BEFORE ? "before" : "after",
                         number_on_side(answer, drawing->view.run));
    if (drawing->chart->scope != CHART_BOAT && answer->engine_count > 1)
        snprintf(name + used, room - (size_t)used, "-engine-%d",
                 answer->engines[drawing->view.engine].instance);
}

static enum status take(struct drawing_list *out, const struct chart *chart,
                        const struct chart_view *view, struct complaint *complaint)
{
    if (!chart->possible(view))
        return STATUS_OK;
    struct drawing *list = realloc(out->list, (out->count + 1) * sizeof *list);
    if (list == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory left for the charts");
    out->list = list;
    struct drawing *drawing = &list[out->count++];
    *drawing = (struct drawing){.chart = chart, .view = *view};
    name_drawing(drawing);
    struct text caption = {0}, describes = {0};
    make_caption(&caption, chart, view);
    chart->describe(&describes, view);
    drawing->caption = text_take(&caption);
    drawing->describes = text_take(&describes);
    if (drawing->caption == NULL || drawing->describes == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory left for the charts");
    return STATUS_OK;
}

static enum status plan_runs(const struct chart *chart, struct chart_view *view,
                             struct drawing_list *out, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    for (view->run = 0; view->run < view->answer->run_count && status == STATUS_OK; view->run++)
        status = take(out, chart, view, complaint);
    return status;
}

static enum status plan_engine(struct chart_view *view, struct drawing_list *out,
                               struct complaint *complaint)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < chart_count && status == STATUS_OK; i++) {
        view->run = 0;
        if (charts[i]->scope == CHART_ENGINE_RUN)
            status = plan_runs(charts[i], view, out, complaint);
        else if (charts[i]->scope == CHART_ENGINE)
            status = take(out, charts[i], view, complaint);
    }
    return status;
}

enum status charts_plan(const struct answer *answer, const struct style *style,
                        struct drawing_list *out, struct complaint *complaint)
{
    struct chart_view view = {.answer = answer, .style = style};
    enum status status = STATUS_OK;
    for (view.engine = 0; view.engine < answer->engine_count && status == STATUS_OK; view.engine++)
        status = plan_engine(&view, out, complaint);
    view.engine = view.run = 0;
    for (size_t i = 0; i < chart_count && status == STATUS_OK; i++)
        if (charts[i]->scope == CHART_BOAT)
            status = take(out, charts[i], &view, complaint);
    return status;
}

enum status season_charts_plan(const struct seasons *seasons, const struct style *style,
                               struct drawing_list *out, struct complaint *complaint)
{
    struct chart_view view = {.seasons = seasons, .style = style};
    enum status status = STATUS_OK;
    for (view.engine = 0; view.engine < seasons->engine_count && status == STATUS_OK; view.engine++)
        for (size_t i = 0; i < season_chart_count && status == STATUS_OK; i++)
            if (season_charts[i]->scope == CHART_ENGINE)
                status = take(out, season_charts[i], &view, complaint);
    for (view.engine = 0; view.engine < seasons->pair_count && status == STATUS_OK; view.engine++)
        for (size_t i = 0; i < season_chart_count && status == STATUS_OK; i++)
            if (season_charts[i]->scope == CHART_BOAT)
                status = take(out, season_charts[i], &view, complaint);
    return status;
}

void charts_free(struct drawing_list *drawings)
{
    for (size_t i = 0; i < drawings->count; i++) {
        free(drawings->list[i].caption);
        free(drawings->list[i].describes);
        free(drawings->list[i].svg);
    }
    free(drawings->list);
    *drawings = (struct drawing_list){0};
}

/* --- files and pictures */

static enum status write_part(const struct drawing *drawing, const char *folder, const char *ending,
                              void (*make)(struct text *, const struct drawing *),
                              struct complaint *complaint)
{
    char name[80];
    struct text content = {0};
    snprintf(name, sizeof name, "%s.%s", drawing->name, ending);
    make(&content, drawing);
    enum status status = folder_write(folder, name, &content, complaint);
    text_free(&content);
    return status;
}

enum status charts_write(const struct drawing_list *drawings, const char *folder,
                         struct complaint *complaint)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < drawings->count && status == STATUS_OK; i++) {
        status = write_part(&drawings->list[i], folder, "dat", chart_data, complaint);
        if (status == STATUS_OK)
            status = write_part(&drawings->list[i], folder, "gp", chart_script, complaint);
    }
    return status;
}

/* Passes over "-WORD-N" if it is there. */
static const char *past_number(const char *at, const char *word)
{
    size_t length = strlen(word);
    if (strncmp(at, word, length) != 0)
        return at;
    size_t digits = strspn(at + length, "0123456789");
    return digits == 0 ? at : at + length + digits;
}

/* Is `name` one that name_drawing could have given, with one of our endings? */
static bool is_named_like(const char *name, const struct chart *chart)
{
    static const char *const endings[] = {".dat", ".gp", ".svg", ".png", ".pdf"};
    size_t length = strlen(chart->key);
    if (strncmp(name, chart->key, length) != 0)
        return false;
    const char *at = past_number(name + length, "-before-");
    at = past_number(past_number(at, "-after-"), "-boat-");
    at = past_number(past_number(at, "-engine-"), "-against-");
    for (size_t e = 0; e < sizeof endings / sizeof endings[0]; e++)
        if (strcmp(at, endings[e]) == 0)
            return true;
    return false;
}

static bool is_ours(const char *name)
{
    for (size_t c = 0; c < chart_count; c++)
        if (is_named_like(name, charts[c]))
            return true;
    for (size_t c = 0; c < season_chart_count; c++)
        if (is_named_like(name, season_charts[c]))
            return true;
    return false;
}

void charts_clear(const char *folder)
{
    DIR *entries = opendir(folder);
    if (entries == NULL)
        return;
    struct dirent *entry;
    while ((entry = readdir(entries)) != NULL)
        if (is_ours(entry->d_name))
            unlinkat(dirfd(entries), entry->d_name, 0);
    closedir(entries);
}

/* Notes why a picture is missing or odd; the first reason stands for all. */
static void note_trouble(struct drawing_list *drawings, const struct complaint *complaint)
{
    if (drawings->trouble[0] == '\0')
        snprintf(drawings->trouble, sizeof drawings->trouble, "%.599s", complaint->text);
}

/* Tells print programs that the picture has 300 dots an inch. */
static void mark_resolution(const char *folder, const char *name)
{
    struct text png = {0};
    if (folder_read(folder, name, PICTURE_MOST, &png, NULL) == STATUS_OK && picture_png_dpi(&png))
        folder_write(folder, name, &png, NULL);
    text_free(&png);
}

static enum status draw(struct drawing_list *drawings, struct drawing *drawing, const char *folder)
{
    char name[80];
    struct complaint said = {""};
    struct text svg = {0};
    snprintf(name, sizeof name, "%s.gp", drawing->name);
    enum status status = gnuplot_run(folder, name, GNUPLOT_SECONDS, &said);
    if (status == STATUS_OK) {
        if (said.text[0] != '\0')
            note_trouble(drawings, &said);
        snprintf(name, sizeof name, "%s.svg", drawing->name);
        status = folder_read(folder, name, PICTURE_MOST, &svg, &said);
    }
    if (status == STATUS_OK) {
        drawing->svg = text_take(&svg);
        snprintf(name, sizeof name, "%s.png", drawing->name);
        mark_resolution(folder, name);
    } else {
        note_trouble(drawings, &said);
    }
    text_free(&svg);
    return status;
}

void charts_draw(struct drawing_list *drawings, const char *folder,
                 void (*progress)(void *self, size_t done, size_t count), void *self)
{
    unsigned failures = 0;
    for (size_t i = 0; i < drawings->count && failures < FAILURES_MAX; i++) {
        if (progress != NULL)
            progress(self, i, drawings->count);
        if (draw(drawings, &drawings->list[i], folder) != STATUS_OK)
            failures++;
    }
}
