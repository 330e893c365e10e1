/* season_csv.c - outings and services as tables for spreadsheets, in stored units with plain
 * points. */
#include <math.h>

#include "season_report.h"

static void number(struct text *out, double value, int decimals)
{
    text_add(out, ",");
    if (isfinite(value))
        text_addf(out, "%.*f", decimals, value);
}

static void interval(struct text *out, struct interval value, int decimals)
{
    number(out, value.value, decimals);
    number(out, value.low, decimals);
    number(out, value.high, decimals);
}

static void whose(struct text *out, const struct seasons *seasons,
                  const struct season_engine *engine)
{
    text_csv(out, season_boat_name(seasons, engine->boat));
    text_addf(out, ",%d,", engine->instance);
    text_csv(out, engine->label);
    text_add(out, ",");
}

void season_outings_csv(struct text *out, const struct seasons *seasons)
{
    text_add(out,
             "boat,engine,label,run,start (UTC),engine hours (h),sea (degC),holds,lowest speed "
             "(rpm),highest speed (rpm),stretch,open rise (K),open rise low (K),open rise high "
             "(K),coolant (degC),coolant low (degC),coolant high (degC),at full throttle (degC),at "
             "full throttle low (degC),at full throttle high (degC)\r\n");
    for (size_t e = 0; e < seasons->engine_count; e++)
        for (size_t i = 0; i < seasons->engines[e].series.point_count; i++) {
            const struct season_point *point = &seasons->engines[e].series.points[i];
            whose(out, seasons, &seasons->engines[e]);
            text_csv(out, seasons->outings[point->outing].name);
            text_addf(out, ",%s", word_iso(seasons->outings[point->outing].start_unix_us).s);
            number(out, point->hours, 1);
            number(out, point->sea, 2);
            text_addf(out, ",%zu", point->holds);
            number(out, point->rpm_low, 0);
            number(out, point->rpm_high, 0);
            text_addf(out, ",%zu", point->segment + 1);
            interval(out, point->rise, 2);
            interval(out, point->reading, 2);
            interval(out, point->full, 2);
            text_add(out, "\r\n");
        }
}

void season_services_csv(struct text *out, const struct seasons *seasons)
{
    text_add(out,
             "boat,engine,label,date,what was done,open rise after over before,low,high,change "
             "of coolant (K),low (K),high (K),change at full throttle (K),low (K),high (K)\r\n");
    for (size_t e = 0; e < seasons->engine_count; e++)
        for (size_t i = 0; i < seasons->engines[e].series.step_count; i++) {
            const struct season_step *step = &seasons->engines[e].series.steps[i];
            whose(out, seasons, &seasons->engines[e]);
            text_addf(out, "%s,", season_day(step->at).s);
            text_csv(out, step->what);
            interval(out, step->ratio, 4);
            interval(out, step->reading, 2);
            interval(out, step->full, 2);
            text_add(out, "\r\n");
        }
}
