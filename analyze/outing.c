/* outing.c - see outing.h. The same search for sources and holds as a comparison has, of one
 * run. */
#include "outing.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "comparison.h"

void outing_free(struct outing *outing)
{
    for (size_t i = 0; i < outing->engine_count; i++)
        free(outing->engines[i].holds);
    free(outing->engines);
    free(outing->warnings);
    facts_free(&outing->facts);
    *outing = (struct outing){0};
}

const struct outing_engine *outing_engine_of(const struct outing *outing, int instance)
{
    for (size_t i = 0; i < outing->engine_count; i++)
        if (outing->engines[i].instance == instance)
            return &outing->engines[i];
    return NULL;
}

static enum status no_memory(const char *path, struct complaint *complaint)
{
    return complain(complaint, STATUS_MEMORY, "no memory left to look at %s", path);
}

/* --- the run as a whole */

static void take_summary(struct run_summary *run, struct outing *out)
{
    snprintf(out->path, sizeof out->path, "%s", run->path);
    snprintf(out->name, sizeof out->name, "%s", run->name);
    snprintf(out->sha256, sizeof out->sha256, "%s", run->sha256);
    snprintf(out->run_id, sizeof out->run_id, "%s", run->run_id);
    snprintf(out->software, sizeof out->software, "%s", run->software);
    snprintf(out->clock, sizeof out->clock, "%s", run->clock);
    out->start_unix_us = run->start_unix_us;
    out->duration = run->duration;
    out->closed_cleanly = run->closed_cleanly;
    out->rebuilt = run->rebuilt;
    out->gap_count = run->gap_count;
    out->gap_seconds = run->gap_seconds;
    out->lost = run->lost;
    out->sea_mean = run->sea_mean;
    out->air_mean = run->air_mean;
    if (run->facts) {
        out->facts = *run->facts; /* takes them over */
        *run->facts = (struct facts){0};
    }
}

static enum status take_warnings(const struct answer *answer, struct outing *out)
{
    out->warnings = calloc(answer->warning_count + 1, sizeof *out->warnings);
    if (!out->warnings)
        return STATUS_MEMORY;
    for (size_t i = 0; i < answer->warning_count; i++) {
        struct outing_warning *to = &out->warnings[out->warning_count++];
        snprintf(to->key, sizeof to->key, "%s", answer->warnings[i].key);
        to->engine = answer->warnings[i].engine;
        memcpy(to->text, answer->warnings[i].text, sizeof to->text);
    }
    return STATUS_OK;
}

static void take_sea_range(struct outing *out)
{
    out->sea_low = out->sea_high = NAN;
    for (size_t e = 0; e < out->engine_count; e++)
        for (size_t i = 0; i < out->engines[e].hold_count; i++) {
            const struct hold *hold = &out->engines[e].holds[i];
            if (hold->refusal != REFUSAL_NONE)
                continue;
            out->sea_low = fmin(out->sea_low, hold->sea);
            out->sea_high = fmax(out->sea_high, hold->sea);
        }
}

/* --- one engine */

/* The median of the last three: one of them may be spoilt. */
static double last_hours(const struct series *series)
{
    size_t count = series->count < 3 ? series->count : 3;
    double last[3];
    for (size_t i = 0; i < count; i++)
        last[i] = series->value[series->count - count + i];
    return series_median(last, count);
}

/* The highest engine hours that any source tells of an engine. Of two hour meters that differ it is
 * the same one in every run, for they differ by the same hours. */
static enum status read_hours(struct run *run, int engine, double *hours,
                              struct complaint *complaint)
{
    *hours = NAN;
    for (size_t s = 0; s < run_stream_count(run); s++) {
        const struct stream *stream = run_stream(run, s);
        if (stream->origin.place != PLACE_ENGINE || stream->origin.instance != engine)
            continue;
        for (size_t c = 0; c < stream->channel_count; c++) {
            struct series series;
            if (stream->channels[c] != CHANNEL_ENGINE_HOURS)
                continue;
            enum status status = run_read_series(run, s, CHANNEL_ENGINE_HOURS, &series, complaint);
            if (status)
                return status;
            *hours = fmax(*hours, last_hours(&series));
            series_free(&series);
        }
    }
    return STATUS_OK;
}

static void name_source(char *to, size_t room, const struct candidate *chosen)
{
    snprintf(to, room, "%s", chosen ? chosen->title : "");
}

/* What is stated of how well it was read. */
static void take_accuracy(const struct trial *trial, struct outing_engine *to)
{
    const struct candidate *speed = trial->chosen[QUANTITY_SPEED];
    const struct candidate *coolant = trial->chosen[QUANTITY_COOLANT];
    to->by_hand = trial_by_hand(trial);
    to->coolant_u = coolant ? coolant->series.accuracy.reading_u : 0;
    to->coolant_run_u = coolant ? coolant->series.accuracy.run_u : 0;
    to->coolant_instrument_u = coolant ? coolant->series.accuracy.instrument_u : 0;
    snprintf(to->coolant_instrument, sizeof to->coolant_instrument, "%s",
             coolant ? coolant->series.accuracy.instrument : "");
    if (speed && speed->series.accuracy.by_hand)
        to->speed_u =
            hypot(speed->series.accuracy.reading_u, speed->series.accuracy.step / sqrt(12.0));
}

static void take_sources(const struct trial *trial, struct outing_engine *to)
{
    const struct candidate *speed = trial->chosen[QUANTITY_SPEED];
    const struct candidate *coolant = trial->chosen[QUANTITY_COOLANT];
    const struct candidate *sea = trial->chosen[QUANTITY_SEA];
    name_source(to->speed_source, sizeof to->speed_source, speed);
    name_source(to->coolant_source, sizeof to->coolant_source, coolant);
    name_source(to->sea_source, sizeof to->sea_source, sea);
    to->top_speed = trial_top_speed(speed);
    to->speed_step = speed ? speed->profile.step : 0;
    to->coolant_step = coolant && !coolant->cleaning.lively ? coolant->profile.step : 0;
    take_accuracy(trial, to);
    to->sea_by_hand = !isnan(trial->sea_by_hand);
    to->sea_drift = sea ? trial->sea.drift : (double)NAN;
    to->sea_follows_engine = sea && sea_follows_engine(&trial->sea);
}

static enum status take_engine(const struct comparison *c, size_t e, struct outing_engine *to)
{
    const struct engine_answer *engine = &c->answer->engines[e];
    const struct trial *trial = comparison_trials(c, e);
    struct cold_start cold = diagnose_cold_start(trial);
    to->instance = engine->instance;
    take_sources(trial, to);
    const struct candidate *other = comparison_other_hand(c, 0, e);
    snprintf(to->coolant_other, sizeof to->coolant_other, "%s", other ? other->origin.label : "");
    to->lag = trial->lag.seconds;
    to->lag_u = trial->lag.u;
    to->lag_steps = trial->lag.steps;
    to->cold_offset = cold.offset;
    to->cold_by_oil = cold.by_oil;
    to->holds = calloc(engine->hold_count + 1, sizeof *to->holds);
    if (!to->holds)
        return comparison_no_memory(c);
    if (engine->hold_count > 0)
        memcpy(to->holds, engine->holds, engine->hold_count * sizeof *to->holds);
    to->hold_count = engine->hold_count;
    return read_hours(c->books[0].run, to->instance, &to->hours, c->complaint);
}

static enum status take_engines(const struct comparison *c, struct outing *out)
{
    enum status status = STATUS_OK;
    out->engines = calloc(c->answer->engine_count + 1, sizeof *out->engines);
    if (!out->engines)
        return comparison_no_memory(c);
    for (size_t e = 0; e < c->answer->engine_count && !status; e++)
        status = take_engine(c, e, &out->engines[out->engine_count++]);
    return status;
}

static void apply_wishes(const struct outing_wishes *wishes, struct compare_options *options)
{
    const size_t most = sizeof options->wishes / sizeof options->wishes[0];
    options->boat_file = wishes->boat_file;
    options->wish_count = wishes->count < most ? wishes->count : most;
    options->wishes_may_fail = true;
    for (size_t i = 0; i < options->wish_count; i++)
        options->wishes[i] = wishes->list[i];
}

enum status outing_read_as(const char *path, const char *sha256, const struct outing_wishes *wishes,
                           struct outing *out, struct complaint *complaint)
{
    struct compare_options options;
    struct answer answer = {0};
    char *paths[] = {(char *)(uintptr_t)path};
    compare_options_default(&options);
    options.before = paths;
    options.before_count = 1;
    if (wishes != NULL)
        apply_wishes(wishes, &options);
    struct comparison c = {.options = &options,
                           .answer = &answer,
                           .complaint = complaint,
                           .sha256 = sha256,
                           .extent = LOGBOOK_COOLING};
    memset(out, 0, sizeof *out);
    enum status status = comparison_find_holds(&c);
    if (!status)
        status = comparison_look_at_files(&c);
    if (!status)
        status = take_engines(&c, out);
    if (!status) {
        take_summary(&answer.runs[0], out);
        take_sea_range(out);
        if (take_warnings(&answer, out))
            status = no_memory(path, complaint);
    }
    comparison_close(&c);
    answer_free(&answer);
    return status;
}

enum status outing_read(const char *path, struct outing *out, struct complaint *complaint)
{
    return outing_read_as(path, NULL, NULL, out, complaint);
}
