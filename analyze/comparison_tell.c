/* comparison_tell.c - what the answer says of sources, cleaning, traces and options. */
#include "comparison.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "channel.h"
#include "words.h"

/* Whether the sea of that run was typed in. */
static bool by_hand(const struct trial *trial, size_t quantity)
{
    return quantity == QUANTITY_SEA && !isnan(trial->sea_by_hand);
}

static void name_chosen(const struct trial *trial, size_t q, struct choice *choice)
{
    const struct candidate *chosen = trial->chosen[q];
    char *text = choice->chosen;
    if (by_hand(trial, q))
        snprintf(text, sizeof choice->chosen, "typed in: %.1f °C", trial->sea_by_hand);
    else if (chosen->channel != choice->channel)
        snprintf(text, sizeof choice->chosen, "%s: %.110s", channel_get(chosen->channel)->key,
                 chosen->title);
    else
        snprintf(text, sizeof choice->chosen, "%s", chosen->title);
}

static void name_others(const struct candidate *chosen, struct candidate *const *list, size_t n,
                        struct choice *choice)
{
    for (size_t i = 0; i < n; i++) {
        size_t length = strlen(choice->others);
        if (list[i] == chosen || list[i]->wish_only)
            continue;
        choice->candidates++;
        snprintf(choice->others + length, sizeof choice->others - length, "%s%s",
                 length ? "; " : "", list[i]->title);
    }
    choice->candidates += chosen != NULL;
}

static enum status add_choice(struct comparison *c, size_t e, size_t r, size_t q,
                              struct candidate *const *list, size_t n)
{
    const struct trial *trial = &comparison_trials(c, e)[r];
    const struct candidate *chosen = trial->chosen[q];
    struct choice *grown =
        realloc(c->answer->choices, (c->answer->choice_count + 1) * sizeof *grown);
    if (!grown)
        return comparison_no_memory(c);
    c->answer->choices = grown;
    struct choice *choice = &grown[c->answer->choice_count++];
    bool of_boat = !chosen || chosen->origin.place == PLACE_VESSEL;
    *choice = (struct choice){.channel = quantity_channel(q),
                              .run = r,
                              .engine = of_boat ? -1 : c->answer->engines[e].instance};
    name_chosen(trial, q, choice);
    name_others(chosen, list, n, choice);
    return STATUS_OK;
}

/* Whether an engine before this one has the same source of the vessel: told once is enough. */
static bool told_before(const struct comparison *c, size_t e, size_t r, size_t q)
{
    const struct trial *trial = &comparison_trials(c, e)[r];
    for (size_t i = 0; i < e; i++)
        if (comparison_trials(c, i)[r].chosen[q] == trial->chosen[q])
            return true;
    return false;
}

static enum status add_cleaned(struct comparison *c, size_t e, size_t r, size_t q)
{
    const struct trial *trial = &comparison_trials(c, e)[r];
    const struct candidate *chosen = trial->chosen[q];
    struct cleaned *grown =
        realloc(c->answer->cleaned, (c->answer->cleaned_count + 1) * sizeof *grown);
    if (!grown)
        return comparison_no_memory(c);
    c->answer->cleaned = grown;
    struct cleaned *row = &grown[c->answer->cleaned_count++];
    *row = chosen->cleaning.count;
    row->run = r;
    row->engine = chosen->origin.place == PLACE_VESSEL ? -1 : c->answer->engines[e].instance;
    for (size_t i = 0; i < trial->frozen.count && q == QUANTITY_COOLANT; i++)
        row->frozen_seconds += trial->frozen.list[i].to - trial->frozen.list[i].from;
    return STATUS_OK;
}

/* Says of one quantity in one run which source it came from and what cleaning did to it. */
static enum status record_source(struct comparison *c, size_t e, size_t r, size_t q)
{
    struct candidate *list[CANDIDATES_MAX];
    const struct trial *trial = &comparison_trials(c, e)[r];
    size_t n = comparison_candidates(c, r, e, q, list);
    enum status status = STATUS_OK;
    if (told_before(c, e, r, q) || (!trial->chosen[q] && !by_hand(trial, q)))
        return STATUS_OK;
    if (q < QUANTITY_BESIDE || quantity_tabled(q) || n > 1)
        status = add_choice(c, e, r, q, list, n);
    return status || !trial->chosen[q] ? status : add_cleaned(c, e, r, q);
}

/* Warns where another source of the same quantity says something else. */
static enum status compare_candidates(struct comparison *c, size_t e, size_t r, size_t q)
{
    const struct trial *trial = &comparison_trials(c, e)[r];
    const struct candidate *chosen = trial->chosen[q];
    struct candidate *list[CANDIDATES_MAX];
    struct subject subject = comparison_subject(c, e);
    size_t n = comparison_candidates(c, r, e, q, list);
    for (size_t i = 0; i < n && chosen; i++) {
        double difference;
        if (list[i] == chosen || list[i]->wish_only || list[i]->channel != chosen->channel)
            continue;
        if (source_difference(chosen, list[i], trial->duration, &difference))
            return comparison_no_memory(c);
        diagnose_difference(&subject, r, q, chosen, list[i], difference);
    }
    return STATUS_OK;
}

/* A gauge and an infrared thermometer, both written down: which one was used. */
static void tell_two_hands(struct comparison *c, size_t e)
{
    size_t first = c->answer->run_count, more = 0;
    for (size_t r = c->answer->run_count; r-- > 0;)
        if (comparison_other_hand(c, r, e) != NULL) {
            more += first < c->answer->run_count;
            first = r;
        }
    if (first == c->answer->run_count)
        return;
    const struct candidate *other = comparison_other_hand(c, first, e);
    const struct candidate *taken = comparison_trials(c, e)[first].chosen[QUANTITY_COOLANT];
    struct word others = word_of(" and %s", word_count(more, "more run", "more runs").s);
    answer_warn(
        c->answer, "read_by_two", c->answer->engines[e].instance,
        "In %s%s the coolant was read by hand with two instruments: the readings of \"%s\" "
        "were used, those of \"%s\" were not. --source coolant_temperature=%s uses the others.",
        answer_cut(c->answer->runs[first].name).s, more > 0 ? others.s : "",
        answer_cut(taken->series.accuracy.instrument).s,
        answer_cut(other->series.accuracy.instrument).s, other->origin.label);
}

enum status comparison_tell_sources(struct comparison *c)
{
    enum status status = STATUS_OK;
    for (size_t e = 0; e < c->answer->engine_count && !status; e++) {
        tell_two_hands(c, e);
        for (size_t r = 0; r < c->answer->run_count; r++) {
            for (size_t q = 0; q < quantity_count() && !status; q++)
                status = record_source(c, e, r, q);
            for (size_t q = QUANTITY_SPEED; q <= QUANTITY_SEA && !status; q++)
                status = compare_candidates(c, e, r, q);
        }
    }
    return status;
}

static enum status thin(const struct candidate *candidate, struct sample_series *out)
{
    if (!candidate)
        return STATUS_OK;
    return series_thin(&candidate->series, series_silence(&candidate->series), out);
}

/* --- traces */

enum status comparison_tell_traces(struct comparison *c)
{
    enum status status = STATUS_OK;
    for (size_t r = 0; r < c->answer->run_count; r++) {
        struct run_summary *run = &c->answer->runs[r];
        run->traces = calloc(c->answer->engine_count + 1, sizeof *run->traces);
        if (!run->traces)
            return comparison_no_memory(c);
        for (size_t e = 0; e < c->answer->engine_count && !status; e++) {
            const struct trial *trial = &comparison_trials(c, e)[r];
            struct trace *trace = &run->traces[run->trace_count++];
            trace->engine = trial->engine;
            trace->by_hand = trial_by_hand(trial);
            status = thin(trial->chosen[QUANTITY_SPEED], &trace->rpm);
            if (!status)
                status = thin(trial->chosen[QUANTITY_COOLANT], &trace->coolant);
            if (!status)
                status = thin(trial->chosen[QUANTITY_SEA], &trace->sea);
        }
    }
    return status ? comparison_no_memory(c) : STATUS_OK;
}

/* --- options */

/* Appends to the text of the options. */
static void add_option(struct answer *answer, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static void add_option(struct answer *answer, const char *format, ...)
{
    size_t length = strlen(answer->options);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(answer->options + length, sizeof answer->options - length, format, arguments);
    va_end(arguments);
}

void comparison_tell_options(const struct comparison *c)
{
    const struct compare_options *o = c->options;
    struct answer *answer = c->answer;
    if (isnan(o->reference_sea))
        add_option(answer, "reference sea: mean of the runs");
    else
        add_option(answer, "reference sea: %g °C", o->reference_sea);
    if (!isnan(o->thermostat_start))
        add_option(answer, "; thermostat: %g to %g °C", o->thermostat_start, o->thermostat_full);
    if (!isnan(o->thermostat_u))
        add_option(answer, "; thermostat uncertainty: %g K", o->thermostat_u);
    add_option(answer, "; day-to-day load: %g %%", 100 * o->day_load);
    if (!isnan(o->sender_u))
        add_option(answer, "; sender uncertainty: %g K", o->sender_u);
    add_option(answer, "; confidence level: %g", o->confidence_level);
    add_option(answer, "; seed: %llu", (unsigned long long)o->seed);
    if (o->control_engine >= 0)
        add_option(answer, "; engine left alone: %d", o->control_engine);
    if (o->as_given)
        add_option(answer, "; boat, engine and order of the runs as given");
    for (size_t i = 0; i < o->wish_count; i++)
        add_option(answer, "; source of %s: %s", channel_get(o->wishes[i].channel)->key,
                   o->wishes[i].source);
}
