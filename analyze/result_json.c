/* result_json.c - the answer as JSON. */
#include "result_json.h"

#include <cjson/cJSON.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "aftercare.h"
#include "facts.h"
#include "words.h"

/* cJSON adds nothing and answers NULL when memory runs out; the complete text is checked at the end
 * by the count of failures. */
struct maker {
    const struct answer *answer;
    bool failed;
};

static cJSON *object_in(struct maker *maker, cJSON *parent, const char *key)
{
    cJSON *object = cJSON_CreateObject();
    if (object == NULL || !(key == NULL ? cJSON_AddItemToArray(parent, object)
                                        : cJSON_AddItemToObject(parent, key, object))) {
        cJSON_Delete(object);
        maker->failed = true;
        return NULL;
    }
    return object;
}

static cJSON *array_in(struct maker *maker, cJSON *parent, const char *key)
{
    cJSON *array = cJSON_AddArrayToObject(parent, key);
    maker->failed |= array == NULL;
    return array;
}

static void number_in(struct maker *maker, cJSON *parent, const char *key, double value)
{
    cJSON *item = isfinite(value) ? cJSON_AddNumberToObject(parent, key, value)
                                  : cJSON_AddNullToObject(parent, key);
    maker->failed |= item == NULL;
}

static void truth_in(struct maker *maker, cJSON *parent, const char *key, bool value)
{
    maker->failed |= cJSON_AddBoolToObject(parent, key, value) == NULL;
}

/* Number of an engine, null for what belongs to none or all. */
static void engine_number_in(struct maker *maker, cJSON *parent, int instance)
{
    number_in(maker, parent, "engine", instance < 0 ? (double)NAN : (double)instance);
}

/* Strings from run files may hold anything; JSON must be UTF-8. */
static void string_in(struct maker *maker, cJSON *parent, const char *key, const char *value)
{
    struct text valid = {0};
    text_valid(&valid, value == NULL ? "" : value);
    maker->failed |=
        valid.failed || cJSON_AddStringToObject(parent, key, text_string(&valid)) == NULL;
    text_free(&valid);
}

static void interval_in(struct maker *maker, cJSON *parent, const char *key,
                        struct interval interval)
{
    cJSON *object;
    if (!isfinite(interval.value)) {
        maker->failed |= cJSON_AddNullToObject(parent, key) == NULL;
        return;
    }
    object = object_in(maker, parent, key);
    number_in(maker, object, "value", interval.value);
    number_in(maker, object, "low", interval.low);
    number_in(maker, object, "high", interval.high);
}

static const char *side_key(enum side side)
{
    return side == SIDE_BEFORE ? "before" : "after";
}

/* --- bands */

static void side_in(struct maker *maker, cJSON *band, const char *key, const struct band_side *side)
{
    cJSON *object = object_in(maker, band, key);
    number_in(maker, object, "coolant", side->coolant.value);
    number_in(maker, object, "low", side->coolant.low);
    number_in(maker, object, "high", side->coolant.high);
    number_in(maker, object, "holds", (double)side->holds);
    number_in(maker, object, "sea", side->sea);
    string_in(maker, object, "thermostat", thermostat_state_key(side->thermostat));
    interval_in(maker, object, "open_rise", side->open_rise);
}

static void bands_in(struct maker *maker, cJSON *parent, const struct engine_answer *engine)
{
    cJSON *bands = array_in(maker, parent, "bands");
    for (size_t i = 0; i < engine->band_count; i++) {
        const struct band *band = &engine->bands[i];
        cJSON *object = object_in(maker, bands, NULL);
        number_in(maker, object, "rpm", band->rpm);
        side_in(maker, object, "before", &band->side[SIDE_BEFORE]);
        side_in(maker, object, "after", &band->side[SIDE_AFTER]);
        interval_in(maker, object, "change", band->change);
        interval_in(maker, object, "simultaneous", band->simultaneous);
        number_in(maker, object, "degrees_of_freedom", band->df);
        string_in(maker, object, "finding", finding_key(band->finding));
    }
}

static void uncompared_in(struct maker *maker, cJSON *parent, const struct engine_answer *engine)
{
    cJSON *list = array_in(maker, parent, "uncompared");
    for (size_t i = 0; i < engine->uncompared_count; i++) {
        cJSON *object = object_in(maker, list, NULL);
        number_in(maker, object, "rpm", engine->uncompared[i].rpm);
        string_in(maker, object, "missing", side_key(engine->uncompared[i].missing));
        string_in(maker, object, "reason", engine->uncompared[i].reason);
    }
}

/* --- what the bands rest on */

static void hold_in(struct maker *maker, cJSON *list, const struct hold *hold)
{
    cJSON *object = object_in(maker, list, NULL);
    number_in(maker, object, "run", (double)hold->run);
    string_in(maker, object, "side", side_key(hold->side));
    number_in(maker, object, "start", hold->start);
    number_in(maker, object, "end", hold->end);
    number_in(maker, object, "used_from", hold->used_from);
    number_in(maker, object, "rpm", hold->rpm);
    number_in(maker, object, "rpm_scatter", hold->rpm_sd);
    number_in(maker, object, "coolant", hold->coolant);
    number_in(maker, object, "coolant_slope", hold->coolant_slope);
    number_in(maker, object, "coolant_scatter", hold->coolant_sd);
    number_in(maker, object, "sea", hold->sea);
    number_in(maker, object, "load", hold->load);
    number_in(maker, object, "fuel_rate", hold->fuel_rate);
    number_in(maker, object, "air", hold->air);
    number_in(maker, object, "band", hold->band_rpm);
    number_in(maker, object, "open_rise", hold->open_rise);
    number_in(maker, object, "thermostat_open", hold->open_fraction);
    string_in(maker, object, "use", refusal_key(hold->refusal));
    string_in(maker, object, "reason", refusal_words(hold->refusal));
}

static void budget_in(struct maker *maker, cJSON *parent, const struct engine_answer *engine)
{
    cJSON *list = array_in(maker, parent, "budget");
    for (size_t i = 0; i < engine->budget_count; i++) {
        cJSON *object = object_in(maker, list, NULL);
        string_in(maker, object, "key", engine->budget[i].key);
        string_in(maker, object, "title", engine->budget[i].title);
        number_in(maker, object, "standard_uncertainty", engine->budget[i].kelvin);
        string_in(maker, object, "what_would_shrink_it", engine->budget[i].shrink);
    }
}

static void also_in(struct maker *maker, cJSON *parent, const struct engine_answer *engine)
{
    cJSON *list = array_in(maker, parent, "also_changed");
    for (size_t i = 0; i < engine->also_count; i++) {
        const struct also_row *row = &engine->also[i];
        const struct channel *channel = channel_get(row->channel);
        cJSON *object = object_in(maker, list, NULL);
        string_in(maker, object, "channel", channel->key);
        string_in(maker, object, "title", channel->title);
        string_in(maker, object, "unit", unit_udunits(channel->unit));
        string_in(maker, object, "change_unit", unit_udunits(word_difference_unit(channel->unit)));
        number_in(maker, object, "rpm", row->rpm);
        interval_in(maker, object, "before", row->before);
        interval_in(maker, object, "after", row->after);
        interval_in(maker, object, "change", row->change);
    }
}

static void exchanger_side_in(struct maker *maker, cJSON *row, const char *key,
                              const struct exchanger_side *side)
{
    cJSON *object = object_in(maker, row, key);
    interval_in(maker, object, "raw_water_rise", side->raw_rise);
    interval_in(maker, object, "effectiveness", side->effectiveness);
    interval_in(maker, object, "transfer_units", side->ntu);
}

static void exchanger_in(struct maker *maker, cJSON *parent, const struct engine_answer *engine)
{
    cJSON *list = array_in(maker, parent, "exchanger");
    for (size_t i = 0; i < engine->exchanger_count; i++) {
        cJSON *object = object_in(maker, list, NULL);
        number_in(maker, object, "rpm", engine->exchanger[i].rpm);
        exchanger_side_in(maker, object, "before", &engine->exchanger[i].side[SIDE_BEFORE]);
        exchanger_side_in(maker, object, "after", &engine->exchanger[i].side[SIDE_AFTER]);
    }
}

static void hints_in(struct maker *maker, cJSON *parent, const struct engine_answer *engine)
{
    cJSON *list = array_in(maker, parent, "hints");
    for (size_t i = 0; i < engine->hint_count; i++) {
        cJSON *object = object_in(maker, list, NULL);
        string_in(maker, object, "key", engine->hints[i].key);
        string_in(maker, object, "text", engine->hints[i].text);
    }
}

static void thermostat_in(struct maker *maker, cJSON *parent, const struct engine_answer *engine)
{
    cJSON *object = object_in(maker, parent, "thermostat");
    number_in(maker, object, "start", engine->thermostat_start);
    number_in(maker, object, "full", engine->thermostat_full);
    number_in(maker, object, "standard_uncertainty", engine->thermostat_u);
    string_in(maker, object, "from", engine->thermostat_from);
}

static void basis_in(struct maker *maker, cJSON *parent, const struct engine_answer *engine)
{
    thermostat_in(maker, parent, engine);
    number_in(maker, parent, "lag", engine->lag);
    number_in(maker, parent, "lag_standard_uncertainty", engine->lag_u);
    string_in(maker, parent, "load_from", engine->load_from);
    number_in(maker, parent, "load_standard_uncertainty", engine->load_u);
    number_in(maker, parent, "normal_low", engine->normal_low);
    number_in(maker, parent, "normal_high", engine->normal_high);
    number_in(maker, parent, "alarm", engine->alarm);
    number_in(maker, parent, "rated_rpm", engine->rated_rpm);
}

static void doubt_in(struct maker *maker, cJSON *parent, const struct doubt *doubt)
{
    if (doubt->key == NULL) {
        maker->failed |= cJSON_AddNullToObject(parent, "doubt") == NULL;
        return;
    }
    cJSON *object = object_in(maker, parent, "doubt");
    string_in(maker, object, "key", doubt->key);
    string_in(maker, object, "text", doubt->text);
    truth_in(maker, object, "overruled", doubt->overruled);
}

static void engine_in(struct maker *maker, cJSON *list, const struct engine_answer *engine)
{
    cJSON *object = object_in(maker, list, NULL);
    bool key_known = engine->key_band < engine->band_count;
    number_in(maker, object, "instance", engine->instance);
    string_in(maker, object, "label", engine->label);
    string_in(maker, object, "finding", finding_key(engine->finding));
    string_in(maker, object, "sentence", engine->sentence);
    string_in(maker, object, "next", engine->next);
    doubt_in(maker, object, &engine->doubt);
    interval_in(maker, object, "open_rise_ratio", engine->open_rise_ratio);
    interval_in(maker, object, "control_ratio", engine->control_ratio);
    number_in(maker, object, "key_band", key_known ? engine->bands[engine->key_band].rpm : NAN);
    bands_in(maker, object, engine);
    uncompared_in(maker, object, engine);
    basis_in(maker, object, engine);
    budget_in(maker, object, engine);
    also_in(maker, object, engine);
    exchanger_in(maker, object, engine);
    hints_in(maker, object, engine);
    cJSON *holds = array_in(maker, object, "holds");
    for (size_t i = 0; i < engine->hold_count; i++)
        hold_in(maker, holds, &engine->holds[i]);
}

/* --- runs, choices, warnings */

static void facts_in(struct maker *maker, cJSON *parent, const struct facts *facts)
{
    static const char *const sections[] = {"boat", "engine", "run"};
    cJSON *list = array_in(maker, parent, "facts");
    for (size_t i = 0; facts != NULL && i < facts->count; i++) {
        const struct fact *fact = &facts->list[i];
        cJSON *object = object_in(maker, list, NULL);
        string_in(maker, object, "about", sections[fact->section]);
        if (fact->section == FACT_ENGINE)
            number_in(maker, object, "engine", fact->engine);
        string_in(maker, object, "key", fact->key);
        string_in(maker, object, "value", fact->value);
    }
}

static void run_in(struct maker *maker, cJSON *list, const struct run_summary *run)
{
    cJSON *object = object_in(maker, list, NULL);
    string_in(maker, object, "side", side_key(run->side));
    string_in(maker, object, "path", run->path);
    string_in(maker, object, "name", run->name);
    string_in(maker, object, "sha256", run->sha256);
    string_in(maker, object, "run_id", run->run_id);
    string_in(maker, object, "software", run->software);
    string_in(maker, object, "clock", run->clock);
    string_in(maker, object, "start", word_iso(run->start_unix_us).s);
    number_in(maker, object, "duration", run->duration);
    number_in(maker, object, "sea_mean", run->sea_mean);
    number_in(maker, object, "air_mean", run->air_mean);
    truth_in(maker, object, "closed_cleanly", run->closed_cleanly);
    truth_in(maker, object, "rebuilt", run->rebuilt);
    number_in(maker, object, "gaps", (double)run->gap_count);
    number_in(maker, object, "gap_seconds", run->gap_seconds);
    number_in(maker, object, "lost", (double)run->lost);
    facts_in(maker, object, run->facts);
}

static void choices_in(struct maker *maker, cJSON *root)
{
    const struct answer *answer = maker->answer;
    cJSON *list = array_in(maker, root, "sources");
    for (size_t i = 0; i < answer->choice_count; i++) {
        const struct choice *choice = &answer->choices[i];
        cJSON *object = object_in(maker, list, NULL);
        string_in(maker, object, "channel", channel_get(choice->channel)->key);
        number_in(maker, object, "run", (double)choice->run);
        engine_number_in(maker, object, choice->engine);
        string_in(maker, object, "taken", choice->chosen);
        number_in(maker, object, "candidates", (double)choice->candidates);
        string_in(maker, object, "not_taken", choice->others);
    }
}

static void cleaned_in(struct maker *maker, cJSON *root)
{
    const struct answer *answer = maker->answer;
    cJSON *list = array_in(maker, root, "cleaned");
    for (size_t i = 0; i < answer->cleaned_count; i++) {
        const struct cleaned *cleaned = &answer->cleaned[i];
        cJSON *object = object_in(maker, list, NULL);
        string_in(maker, object, "channel", channel_get(cleaned->channel)->key);
        number_in(maker, object, "run", (double)cleaned->run);
        engine_number_in(maker, object, cleaned->engine);
        number_in(maker, object, "samples", (double)cleaned->samples);
        number_in(maker, object, "unbelievable", (double)cleaned->unbelievable);
        number_in(maker, object, "spikes", (double)cleaned->spikes);
        number_in(maker, object, "dropouts", (double)cleaned->dropouts);
        number_in(maker, object, "stale", (double)cleaned->stale);
        number_in(maker, object, "stale_seconds", cleaned->stale_seconds);
        number_in(maker, object, "frozen_seconds", cleaned->frozen_seconds);
    }
}

static void warnings_in(struct maker *maker, cJSON *root)
{
    const struct answer *answer = maker->answer;
    cJSON *list = array_in(maker, root, "warnings");
    for (size_t i = 0; i < answer->warning_count; i++) {
        cJSON *object = object_in(maker, list, NULL);
        string_in(maker, object, "key", answer->warnings[i].key);
        engine_number_in(maker, object, answer->warnings[i].engine);
        string_in(maker, object, "text", answer->warnings[i].text);
    }
    number_in(maker, root, "warnings_left_out", (double)answer->warnings_left_out);
}

static void units_in(struct maker *maker, cJSON *root)
{
    cJSON *units = object_in(maker, root, "units");
    string_in(maker, units, "temperature", unit_udunits(UNIT_DEGC));
    string_in(maker, units, "change", unit_udunits(UNIT_KELVIN));
    string_in(maker, units, "time", "s");
    string_in(maker, units, "speed", unit_udunits(UNIT_RPM));
    string_in(maker, units, "fuel_rate", unit_udunits(UNIT_LITRE_PER_HOUR));
    string_in(maker, units, "load", unit_udunits(UNIT_PERCENT));
}

static void boat_file_in(struct maker *maker, cJSON *root)
{
    if (maker->answer->boat_file[0] == '\0') {
        maker->failed |= cJSON_AddNullToObject(root, "boat_file") == NULL;
        return;
    }
    cJSON *object = object_in(maker, root, "boat_file");
    string_in(maker, object, "path", maker->answer->boat_file);
    string_in(maker, object, "sha256", maker->answer->boat_sha256);
}

static void service_in(struct maker *maker, cJSON *root)
{
    const struct answer *answer = maker->answer;
    if (answer->service == NULL) {
        maker->failed |= cJSON_AddNullToObject(root, "service_log") == NULL;
        return;
    }
    cJSON *object = object_in(maker, root, "service_log");
    string_in(maker, object, "path", answer->service_path);
    string_in(maker, object, "sha256", answer->service_sha256);
    cJSON *list = array_in(maker, object, "work");
    for (size_t i = 0; i < answer->service->count; i++) {
        const struct service_event *event = &answer->service->events[i];
        cJSON *work = object_in(maker, list, NULL);
        string_in(maker, work, "date", word_iso(event->date * 1000000).s);
        truth_in(maker, work, "day_only", event->day_only);
        number_in(maker, work, "hours", event->hours);
        engine_number_in(maker, work, event->engine);
        string_in(maker, work, "label", event->label);
        string_in(maker, work, "what", service_key(event->kind));
        string_in(maker, work, "by", event->by);
        string_in(maker, work, "notes", event->notes);
        truth_in(maker, work, "between_the_runs", answer_service_between(answer, event));
    }
}

static void tick_in(struct maker *maker, cJSON *object, const struct tick *tick)
{
    static const char *const said[] = {
        [TICK_NONE] = "", [TICK_GIVEN] = "done", [TICK_DENIED] = "not done"};
    string_in(maker, object, "said", said[tick->state]);
    string_in(maker, object, "words", tick->words);
    number_in(maker, object, "run", tick->state == TICK_NONE ? NAN : (double)tick->run);
    number_in(maker, object, "time", tick->state == TICK_NONE ? NAN : tick->time);
}

static void checklist_in(struct maker *maker, cJSON *root)
{
    const struct answer *answer = maker->answer;
    if (!aftercare_told(answer)) {
        maker->failed |= cJSON_AddNullToObject(root, "checklist") == NULL;
        return;
    }
    cJSON *list = array_in(maker, root, "checklist");
    for (int item = 0; item < CHECK_COUNT; item++) {
        enum check_item check = (enum check_item)item;
        cJSON *object = object_in(maker, list, NULL);
        string_in(maker, object, "key", check_key(check));
        string_in(maker, object, "state", check_state_key(aftercare_state(answer, check)));
        tick_in(maker, object, &answer->checklist.ticks[item]);
    }
}

static void fill(struct maker *maker, cJSON *root, const char *command)
{
    const struct answer *answer = maker->answer;
    string_in(maker, root, "format", RESULT_FORMAT);
    string_in(maker, root, "software", "searun-analyze " SEARUN_VERSION);
    string_in(maker, root, "command", command);
    string_in(maker, root, "options", answer->options);
    boat_file_in(maker, root);
    service_in(maker, root);
    checklist_in(maker, root);
    number_in(maker, root, "seed", (double)answer->seed);
    number_in(maker, root, "confidence_level", answer->confidence_level);
    number_in(maker, root, "reference_sea_temperature", answer->reference_sea);
    string_in(maker, root, "reference_from", answer->reference_from);
    units_in(maker, root);
    warnings_in(maker, root);
    cJSON *engines = array_in(maker, root, "engines");
    for (size_t i = 0; i < answer->engine_count; i++)
        engine_in(maker, engines, &answer->engines[i]);
    cJSON *runs = array_in(maker, root, "runs");
    for (size_t i = 0; i < answer->run_count; i++)
        run_in(maker, runs, &answer->runs[i]);
    choices_in(maker, root);
    cleaned_in(maker, root);
}

enum status result_json(const struct answer *answer, const char *command, struct text *out,
                        struct complaint *complaint)
{
    struct maker maker = {answer, false};
    cJSON *root = cJSON_CreateObject();
    char *printed = NULL;
    if (root != NULL)
        fill(&maker, root, command);
    if (root != NULL && !maker.failed)
        printed = cJSON_Print(root);
    cJSON_Delete(root);
    if (printed != NULL) {
        text_add(out, printed);
        text_add(out, "\n");
    }
    bool good = printed != NULL && !out->failed;
    cJSON_free(printed);
    return good ? STATUS_OK : complain(complaint, STATUS_MEMORY, "no memory left for the result");
}
