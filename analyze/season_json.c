/* season_json.c - the seasons for programs. The keys are described in searun-analyze(1), RESULT. */
#include <cjson/cJSON.h>
#include <math.h>
#include <stdlib.h>

#include "season_report.h"

/* cJSON answers NULL when memory runs out; that is looked at once at the end. */
static void add(cJSON *to, const char *key, cJSON *item, bool *failed)
{
    if (item && (key ? cJSON_AddItemToObject(to, key, item) : cJSON_AddItemToArray(to, item)))
        return;
    cJSON_Delete(item);
    *failed = true;
}

static cJSON *object_in(cJSON *to, const char *key, bool *failed)
{
    cJSON *object = cJSON_CreateObject();
    add(to, key, object, failed);
    return *failed ? NULL : object;
}

static cJSON *list_in(cJSON *to, const char *key, bool *failed)
{
    cJSON *list = cJSON_AddArrayToObject(to, key);
    *failed = *failed || !list;
    return list;
}

static void number(cJSON *to, const char *key, double value, bool *failed)
{
    add(to, key, isfinite(value) ? cJSON_CreateNumber(value) : cJSON_CreateNull(), failed);
}

static void words(cJSON *to, const char *key, const char *value, bool *failed)
{
    struct text valid = {0};
    text_valid(&valid, value);
    *failed = *failed || valid.failed;
    add(to, key, cJSON_CreateString(text_string(&valid)), failed);
    text_free(&valid);
}

static void date(cJSON *to, const char *key, double at, bool *failed)
{
    if (isfinite(at))
        words(to, key, word_iso((int64_t)(at * 1e6)).s, failed);
    else
        add(to, key, cJSON_CreateNull(), failed);
}

static void interval(cJSON *to, const char *key, struct interval value, bool *failed)
{
    if (isnan(value.value)) {
        add(to, key, cJSON_CreateNull(), failed);
        return;
    }
    cJSON *object = object_in(to, key, failed);
    number(object, "value", value.value, failed);
    number(object, "low", value.low, failed);
    number(object, "high", value.high, failed);
}

static void dates(cJSON *to, const char *key, struct interval value, bool *failed)
{
    if (isnan(value.value)) {
        add(to, key, cJSON_CreateNull(), failed);
        return;
    }
    cJSON *object = object_in(to, key, failed);
    date(object, "value", value.value, failed);
    date(object, "low", value.low, failed);
    date(object, "high", value.high, failed);
}

static void add_points(cJSON *to, const struct seasons *s, const struct season_series *series,
                       bool *failed)
{
    cJSON *list = list_in(to, "outings", failed);
    for (size_t i = 0; i < series->point_count && !*failed; i++) {
        const struct season_point *point = &series->points[i];
        cJSON *row = object_in(list, NULL, failed);
        words(row, "run", s->outings[point->outing].name, failed);
        date(row, "start", point->at, failed);
        number(row, "engine_hours", point->hours, failed);
        number(row, "sea", point->sea, failed);
        number(row, "holds", (double)point->holds, failed);
        number(row, "stretch", (double)point->segment, failed);
        interval(row, "open_rise", point->rise, failed);
        interval(row, "coolant", point->reading, failed);
        interval(row, "full_throttle", point->full, failed);
    }
}

static void add_lines(cJSON *to, const struct season_series *series, bool *failed)
{
    cJSON *list = list_in(to, "stretches", failed);
    for (size_t i = 0; i < series->segment_count && !*failed; i++) {
        const struct season_segment *segment = &series->segments[i];
        cJSON *row = object_in(list, NULL, failed);
        date(row, "from", segment->from, failed);
        date(row, "to", segment->to, failed);
        number(row, "outings", (double)segment->points, failed);
        add(row, "enough", cJSON_CreateBool(segment->enough), failed);
        interval(row, "growth_a_year", segment->growth, failed);
        interval(row, "climb_a_year", segment->climb, failed);
    }
    list = list_in(to, "services", failed);
    for (size_t i = 0; i < series->step_count && !*failed; i++) {
        const struct season_step *step = &series->steps[i];
        cJSON *row = object_in(list, NULL, failed);
        date(row, "date", step->at, failed);
        words(row, "what", step->what, failed);
        add(row, "date_guessed", cJSON_CreateBool(step->guessed), failed);
        add(row, "another_sender_only", cJSON_CreateBool(step->sender_only), failed);
        words(row, "finding", finding_key(step->finding), failed);
        interval(row, "open_rise_ratio", step->ratio, failed);
        interval(row, "coolant_change", step->reading, failed);
        interval(row, "full_throttle_change", step->full, failed);
    }
}

static void add_scatter(cJSON *to, const struct season_series *series, bool *failed)
{
    interval(to, "day_to_day", (struct interval){series->day, series->day_low, series->day_high},
             failed);
    number(to, "hold_to_hold", series->scatter, failed);
    interval(to, "sea_effect", series->sea_effect, failed);
    interval(to, "season_effect", series->season, failed);
    number(to, "limit_years", series->tends > 0 ? series->tends : (double)NAN, failed);
    add(to, "fouling_by_hours", cJSON_CreateBool(series->by_hours), failed);
    number(to, "hours_a_year", series->hours_a_year, failed);
}

static void add_forecast(cJSON *to, const struct season_engine *engine, bool *failed)
{
    const struct season_forecast *forecast = &engine->forecast;
    cJSON *row = object_in(to, "forecast", failed);
    words(row, "outlook", season_outlook_key(forecast->outlook), failed);
    dates(row, "alarm_date", forecast->at, failed);
    interval(row, "alarm_hours", forecast->hours, failed);
    interval(row, "full_throttle_now", forecast->now, failed);
    interval(row, "full_throttle_season", forecast->season, failed);
    add(row, "slope_borrowed", cJSON_CreateBool(forecast->borrowed), failed);
}

static void add_engine(cJSON *list, const struct seasons *s, const struct season_engine *engine,
                       bool *failed)
{
    cJSON *row = object_in(list, NULL, failed);
    number(row, "boat", (double)engine->boat, failed);
    number(row, "engine", engine->instance, failed);
    words(row, "label", engine->label, failed);
    words(row, "serial", engine->serial, failed);
    number(row, "thermostat_start", engine->thermostat_start, failed);
    number(row, "thermostat_full", engine->thermostat_full, failed);
    number(row, "full_rpm", engine->full_rpm, failed);
    number(row, "alarm", engine->alarm, failed);
    interval(row, "follows_sea", engine->follows, failed);
    words(row, "load_from", engine->load_from, failed);
    add(row, "failed", cJSON_CreateBool(engine->failed), failed);
    if (engine->series.point_count > 0) {
        add_forecast(row, engine, failed);
        add_scatter(row, &engine->series, failed);
    }
    add_points(row, s, &engine->series, failed);
    add_lines(row, &engine->series, failed);
    cJSON *left = list_in(row, "left_out", failed);
    for (size_t i = 0; i < engine->left_out_count && !*failed; i++) {
        cJSON *one = object_in(left, NULL, failed);
        words(one, "run", s->outings[engine->left_out[i].outing].name, failed);
        words(one, "why", engine->left_out[i].why, failed);
    }
}

static void add_pair(cJSON *list, const struct seasons *s, const struct season_pair *pair,
                     bool *failed)
{
    cJSON *row = object_in(list, NULL, failed);
    number(row, "first", s->engines[pair->first].instance, failed);
    number(row, "second", s->engines[pair->second].instance, failed);
    number(row, "boat", (double)s->engines[pair->first].boat, failed);
    add_points(row, s, &pair->series, failed);
    add_lines(row, &pair->series, failed);
}

static void add_runs(cJSON *root, const struct seasons *s, bool *failed)
{
    cJSON *list = list_in(root, "runs", failed);
    for (size_t i = 0; i < s->outing_count && !*failed; i++) {
        cJSON *row = object_in(list, NULL, failed);
        words(row, "name", s->outings[i].name, failed);
        words(row, "sha256", s->outings[i].sha256, failed);
        number(row, "boat", (double)s->outing_boat[i], failed);
    }
    list = list_in(root, "refused", failed);
    for (size_t i = 0; i < s->refused_count && !*failed; i++) {
        cJSON *row = object_in(list, NULL, failed);
        words(row, "path", s->refused[i].path, failed);
        words(row, "why", s->refused[i].why, failed);
    }
    list = list_in(root, "warnings", failed);
    for (size_t i = 0; i < s->warning_count && !*failed; i++) {
        cJSON *row = object_in(list, NULL, failed);
        words(row, "key", s->warnings[i].key, failed);
        words(row, "text", s->warnings[i].text, failed);
    }
}

static void add_all(cJSON *root, const struct seasons *s, const char *command, bool *failed)
{
    words(root, "format", SEASONS_FORMAT, failed);
    words(root, "software", "searun-analyze " SEARUN_VERSION, failed);
    words(root, "command", command, failed);
    number(root, "confidence_level", s->options.confidence_level, failed);
    words(root, "service_log", s->log_path, failed);
    words(root, "service_log_sha256", s->log_sha256, failed);
    words(root, "boat_file", s->boat_file, failed);
    words(root, "boat_file_sha256", s->boat_sha256, failed);
    cJSON *list = list_in(root, "boats", failed);
    for (size_t b = 0; b < s->boat_count && !*failed; b++) {
        cJSON *row = object_in(list, NULL, failed);
        words(row, "name", s->boats[b].name, failed);
        words(row, "identification", s->boats[b].identification, failed);
        number(row, "runs", (double)s->boats[b].outings, failed);
        number(row, "reference_rpm", s->boats[b].reference_rpm, failed);
        number(row, "reference_sea", s->boats[b].reference_sea, failed);
        number(row, "warmest_sea", s->boats[b].warmest_sea, failed);
    }
    list = list_in(root, "engines", failed);
    for (size_t e = 0; e < s->engine_count && !*failed; e++)
        add_engine(list, s, &s->engines[e], failed);
    list = list_in(root, "pairs", failed);
    for (size_t p = 0; p < s->pair_count && !*failed; p++)
        add_pair(list, s, &s->pairs[p], failed);
    add_runs(root, s, failed);
}

enum status seasons_json(const struct seasons *seasons, const char *command, struct text *out,
                         struct complaint *complaint)
{
    cJSON *root = cJSON_CreateObject();
    bool failed = !root;
    if (root)
        add_all(root, seasons, command, &failed);
    char *printed = failed ? NULL : cJSON_Print(root);
    if (printed) {
        text_add(out, printed);
        text_add(out, "\n");
    }
    failed = !printed || out->failed;
    cJSON_free(printed);
    cJSON_Delete(root);
    return failed ? complain(complaint, STATUS_MEMORY, "no memory left for the result") : STATUS_OK;
}
