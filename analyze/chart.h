/* chart.h - the charts of a comparison: one table, one file a chart, drawn by gnuplot.
 *
 * Each chart leaves NAME.dat (numbers) and NAME.gp (script) in the charts folder, and gnuplot makes
 * NAME.svg, NAME.png (300 dpi) and NAME.pdf of them; running "gnuplot NAME.gp" in that folder draws
 * it again. Writing data and script needs no gnuplot. Text from run files reaches a script only
 * through script_label, as a single-quoted string with enhanced text off.
 *
 * Drawn for grey print and colour-blind readers: before is a hollow square on a dashed line, after
 * a filled circle on a solid line, everywhere. Fonts: DejaVu Sans (package fonts-dejavu-core).
 */
#ifndef SEARUN_CHART_H
#define SEARUN_CHART_H

#include <stdbool.h>
#include <stddef.h>

#include "answer.h"
#include "status.h"
#include "text.h"
#include "words.h"

struct seasons;

/* What a chart is drawn of. */
struct chart_view {
    const struct answer *answer; /* of a comparison, else NULL */
    const struct style *style;
    size_t engine; /* index into answer->engines, or the seasons' engines or pairs */
    size_t run;    /* index into answer->runs */
    const struct seasons *seasons; /* of the seasons, else NULL */
};

enum chart_scope {
    CHART_ENGINE,     /* one an engine */
    CHART_ENGINE_RUN, /* one an engine and run */
    CHART_BOAT        /* one for all engines */
};

struct chart {
    const char *key; /* first part of the file names */
    const char *title;
    enum chart_scope scope;
    double height; /* inches without the caption; all are CHART_WIDTH wide */
    bool (*possible)(const struct chart_view *view); /* are the numbers there? */
    void (*data)(struct text *out, const struct chart_view *view);
    void (*script)(struct text *out, const struct chart_view *view); /* the drawing commands */
    void (*subtitle)(struct text *out, const struct chart_view *view);
    void (*caption)(struct text *out, const struct chart_view *view);  /* how to read it */
    void (*describe)(struct text *out, const struct chart_view *view); /* alt text */
};

#define CHART_WIDTH 6.7 /* inches: fits between the margins of A4 and Letter */

extern const struct chart *const charts[];
extern const size_t chart_count;
extern const struct chart chart_coolant, chart_change, chart_rise, chart_time, chart_budget,
    chart_engines;

/* The charts of the seasons, in chart_season.c; those of the scope CHART_BOAT are of a pair of
 * engines. */
extern const struct chart *const season_charts[];
extern const size_t season_chart_count;
/* Boat and engine (or engines) in front of a caption, and what tells them apart in a file name. */
void season_chart_whose(struct text *out, const struct chart *chart, const struct chart_view *view);
void season_chart_mark(const struct chart *chart, const struct chart_view *view, char *to,
                       size_t room);

/* One chart of one comparison, or of the seasons. */
struct drawing {
    const struct chart *chart;
    struct chart_view view;
    char name[64];   /* of its files, without ending: "coolant", "run-1-engine-0" */
    char *caption;   /* owned; what stands below it */
    char *describes; /* owned; alt text */
    char *svg;       /* owned; the picture, NULL if it was not drawn */
};

struct drawing_list {
    size_t count;
    struct drawing *list;
    char trouble[600]; /* why pictures are missing; "" if none is */
};

/* Finds out which charts this answer allows, with their captions. STATUS_MEMORY. */
enum status charts_plan(const struct answer *answer, const struct style *style,
                        struct drawing_list *out, struct complaint *complaint);
enum status season_charts_plan(const struct seasons *seasons, const struct style *style,
                               struct drawing_list *out, struct complaint *complaint);
/* The whole text of NAME.dat and NAME.gp. */
void chart_data(struct text *out, const struct drawing *drawing);
void chart_script(struct text *out, const struct drawing *drawing);
/* Writes data and scripts into `folder`, which exists. */
enum status charts_write(const struct drawing_list *drawings, const char *folder,
                         struct complaint *complaint);
/* Removes what an earlier comparison left in `folder`: files named like our charts, nothing
 * else. */
void charts_clear(const char *folder);
/* Runs gnuplot on each script and reads the SVG. A missing or failing gnuplot is no error: the
 * reason goes into drawings->trouble. `progress` may be NULL. */
void charts_draw(struct drawing_list *drawings, const char *folder,
                 void (*progress)(void *self, size_t done, size_t count), void *self);
void charts_free(struct drawing_list *drawings);

/* --- for the chart_*.c files */

/* `set label N 'text' ...` with the text made harmless; `more` is position and looks. */
void script_label(struct text *out, int number, const char *text, size_t columns, const char *more);
/* A number for a data file or script: plain digits, or NaN. */
void script_number(struct text *out, double value);
/* The three numbers of an interval in the style's units, each behind a space. */
void data_interval(struct text *out, const struct style *style, enum unit unit,
                   struct interval interval);
/* Margins of a chart with one panel, with both axes and a title for each. */
void script_axes(struct text *out, const char *x_title, const char *y_title);
/* The legend, in one row above the panel. */
void script_legend(struct text *out);
/* "Coolant temperature, °C" */
struct word axis_title(const char *what, const char *symbol);
const struct engine_answer *chart_engine(const struct chart_view *view);
/* "engine main" or "" where there is only one and it has no label. */
void chart_engine_name(struct text *out, const struct engine_answer *engine);
/* Where the thermostat's temperatures are from, in words: "the recorded rating of 71 to 82 °C,
 * adjusted ...". */
struct word chart_thermostat_from(const struct answer *answer, const struct engine_answer *engine,
                                  const struct style *style);
/* How many decimals two shown temperatures of a thermostat need: 0 if both are whole, else 1, so
 * that what was adjusted to the holds does not look like another rating. */
int chart_thermostat_decimals(double start, double full);
/* "18.0 °C": the reference sea. */
struct word chart_sea(const struct chart_view *view);
/* Stretches low .. high so that value lies inside; NaN changes nothing. */
void range_take(double *low, double *high, double value);
void range_take_interval(double *low, double *high, struct interval interval);
/* `set xrange`/`yrange` with the share `air` of the width on both sides, and at least `least`
 * wide. */
void script_range(struct text *out, const char *axis, double low, double high, double air,
                  double least);
void chart_rpm_range(struct text *out, const struct engine_answer *engine, double air);
/* The plot command for data of columns rpm, before low high, after low high: the marks of both
 * sides that all charts share, a little beside each other along the speed axis. */
void script_before_after(struct text *out, const struct engine_answer *engine);
/* Names of the runs of both sides with dates, for captions. */
void chart_runs(struct text *out, const struct answer *answer);

#endif
