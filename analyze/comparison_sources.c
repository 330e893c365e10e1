/* comparison_sources.c - which source serves each quantity, and the trials made of them. */
#include "comparison.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "band.h"
#include "channel.h"
#include "facts.h"

size_t comparison_candidates(const struct comparison *c, size_t run, size_t engine, size_t quantity,
                             struct candidate *list[CANDIDATES_MAX])
{
    return source_candidates(&c->books[run], quantity, c->answer->engines[engine].instance,
                             c->answer->engine_count == 1, list);
}

const struct candidate *comparison_other_hand(const struct comparison *c, size_t run, size_t engine)
{
    const struct candidate *chosen = comparison_trials(c, engine)[run].chosen[QUANTITY_COOLANT];
    struct candidate *list[CANDIDATES_MAX];
    size_t n = comparison_candidates(c, run, engine, QUANTITY_COOLANT, list);
    for (size_t i = 0; i < n && chosen != NULL && chosen->series.accuracy.by_hand; i++)
        if (list[i] != chosen && list[i]->series.accuracy.by_hand)
            return list[i];
    return NULL;
}

/* The sea temperature among the facts of a run, NaN if there is none. facts_set has checked it. */
static double sea_by_hand(const struct run_summary *run)
{
    const char *text = facts_get(run->facts, FACT_RUN, 0, "sea_temperature");
    return text[0] != '\0' ? strtod(text, NULL) : NAN;
}

/* "--source sea_temperature=hand": what was typed in goes before every sensor. */
static bool wants_hand(const struct source_wish *wish)
{
    return wish && wish->channel == CHANNEL_SEA_TEMPERATURE &&
           strcasecmp(wish->source, "hand") == 0;
}

static bool any_by_hand(const struct comparison *c)
{
    for (size_t r = 0; r < c->answer->run_count; r++)
        if (!isnan(sea_by_hand(&c->answer->runs[r])))
            return true;
    return false;
}

static const struct source_wish *wish_for(const struct comparison *c, size_t quantity)
{
    for (size_t i = 0; i < c->options->wish_count; i++)
        if (c->options->wishes[i].channel == quantity_channel(quantity))
            return &c->options->wishes[i];
    return NULL;
}

/* The candidates of a quantity for the complaint, and whether one of them is the one wished for. */
struct search {
    const struct source_wish *wish;
    bool met;
    char there[600];
};

static void note_candidate(struct search *search, const struct candidate *candidate)
{
    size_t length = strlen(search->there);
    search->met = search->met || source_wished(candidate, search->wish) > 0;
    if (!strstr(search->there, candidate->title))
        snprintf(search->there + length, sizeof search->there - length, "%s%s", length ? "; " : "",
                 candidate->title);
}

static void search_everywhere(const struct comparison *c, size_t quantity, struct search *search)
{
    for (size_t r = 0; r < c->answer->run_count; r++)
        for (size_t e = 0; e < c->answer->engine_count; e++) {
            struct candidate *list[CANDIDATES_MAX];
            size_t n = comparison_candidates(c, r, e, quantity, list);
            for (size_t i = 0; i < n; i++)
                note_candidate(search, list[i]);
        }
}

static enum status check_wish(const struct comparison *c, const struct source_wish *wish,
                              struct complaint *complaint)
{
    struct search search = {.wish = wish};
    const char *key = channel_get(wish->channel)->key;
    size_t q = 0;
    while (q < quantity_count() && quantity_channel(q) != wish->channel)
        q++;
    if (q == quantity_count())
        return complain(complaint, STATUS_BAD_USAGE,
                        "a source cannot be chosen for %s: it is not used in a comparison. Sources "
                        "can be chosen for engine_speed, coolant_temperature, sea_temperature, "
                        "engine_load, fuel_rate and what is listed beside them in the report",
                        key);
    search_everywhere(c, q, &search);
    if (search.met || (wants_hand(wish) && any_by_hand(c)))
        return STATUS_OK;
    return complain(complaint, STATUS_BAD_USAGE, "no run has a source \"%s\" for %s; there is: %s",
                    wish->source, key, search.there[0] ? search.there : "none");
}

/* Of many runs some may lack a source, or all: whoever reads them counts. */
static void tell_unmet(const struct comparison *c, const struct source_wish *wish)
{
    struct complaint why = {""};
    if (check_wish(c, wish, &why) != STATUS_OK)
        answer_warn(c->answer, SOURCE_NOT_THERE, -1, "%s=%s: %s", channel_get(wish->channel)->key,
                    wish->source, why.text);
}

enum status comparison_check_wishes(const struct comparison *c)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < c->options->wish_count && !status; i++)
        if (c->options->wishes_may_fail)
            tell_unmet(c, &c->options->wishes[i]);
        else
            status = check_wish(c, &c->options->wishes[i], c->complaint);
    return status;
}

static void grid_of(const struct candidate *candidate, double *cells, size_t count)
{
    series_grid(&candidate->series, series_silence(&candidate->series), COLUMN_STEP, false, cells,
                count);
}

/* Judges every sea sensor of a run by the speed of the engine. */
static enum status judge_seas(struct comparison *c, size_t r, size_t e,
                              const struct candidate *speed)
{
    struct candidate *seas[CANDIDATES_MAX];
    size_t n = comparison_candidates(c, r, e, QUANTITY_SEA, seas);
    size_t cells = trial_cells(c->books[r].about->duration);
    if (!speed || n == 0)
        return STATUS_OK;
    double *rpm = malloc(2 * cells * sizeof *rpm), *sea = rpm + cells;
    if (!rpm)
        return comparison_no_memory(c);
    grid_of(speed, rpm, cells);
    for (size_t i = 0; i < n; i++) {
        grid_of(seas[i], sea, cells);
        struct sea_look look = sea_look(sea, rpm, cells);
        seas[i]->follows_engine = sea_follows_engine(&look);
    }
    free(rpm);
    return STATUS_OK;
}

/* Chooses every quantity of one engine in all runs: chosen[run * QUANTITIES_MAX + quantity]. Speed
 * comes first, for the sea sensors are judged by it. */
static enum status choose_sources(struct comparison *c, size_t e, struct candidate **chosen)
{
    struct candidate *of_run[RUNS_MAX];
    enum status status = STATUS_OK;
    for (size_t q = 0; q < quantity_count() && !status; q++) {
        if (source_choose(c->books, c->answer->run_count, q, c->answer->engines[e].instance,
                          c->answer->engine_count == 1, wish_for(c, q), of_run))
            return comparison_no_memory(c);
        for (size_t r = 0; r < c->answer->run_count; r++) {
            bool by_hand = q == QUANTITY_SEA && wants_hand(wish_for(c, q)) &&
                           !isnan(sea_by_hand(&c->answer->runs[r]));
            chosen[r * QUANTITIES_MAX + q] = by_hand ? NULL : of_run[r];
        }
        for (size_t r = 0; r < c->answer->run_count && q == QUANTITY_SPEED && !status; r++)
            status = judge_seas(c, r, e, of_run[r]);
    }
    return status;
}

/* --- trials and holds */

/* The rated speed is the engine's: where shafts are compared it means nothing. */
static void forget_rated_speed(struct comparison *c, size_t e, struct candidate *const *chosen)
{
    for (size_t r = 0; r < c->answer->run_count; r++) {
        const struct candidate *speed = chosen[r * QUANTITIES_MAX + QUANTITY_SPEED];
        if (speed && speed->channel == CHANNEL_SHAFT_SPEED)
            c->agreed[e].rated_rpm = c->answer->engines[e].rated_rpm = NAN;
    }
}

/* Full speed of an engine: rated, else the highest of any run. */
static double full_speed(const struct comparison *c, size_t e, struct candidate *const *chosen)
{
    double full = c->agreed[e].rated_rpm;
    if (!isnan(full))
        return full;
    for (size_t r = 0; r < c->answer->run_count; r++)
        full = fmax(full, trial_top_speed(chosen[r * QUANTITIES_MAX + QUANTITY_SPEED]));
    return full;
}

static enum status gather_holds(struct comparison *c, size_t e)
{
    struct engine_answer *engine = &c->answer->engines[e];
    size_t total = 0;
    for (size_t r = 0; r < c->answer->run_count; r++)
        total += comparison_trials(c, e)[r].hold_count;
    engine->holds = calloc(total + 1, sizeof *engine->holds);
    if (!engine->holds)
        return comparison_no_memory(c);
    for (size_t r = 0; r < c->answer->run_count; r++) {
        const struct trial *trial = &comparison_trials(c, e)[r];
        if (trial->hold_count > 0)
            memcpy(engine->holds + engine->hold_count, trial->holds,
                   trial->hold_count * sizeof *trial->holds);
        engine->hold_count += trial->hold_count;
    }
    return band_assign(engine->holds, engine->hold_count) ? comparison_no_memory(c) : STATUS_OK;
}

static struct trial_facts facts_of(const struct comparison *c, size_t e, size_t r, double full)
{
    const struct agreed *agreed = &c->agreed[e];
    return (struct trial_facts){
        .run = r,
        .side = c->answer->runs[r].side,
        .engine = c->answer->engines[e].instance,
        .full_rpm = full,
        .thermostat_start = agreed->thermostat_start,
        .thermostat_full = agreed->thermostat_full,
        .thermostat_u = agreed->thermostat_u,
        .sea_by_hand = sea_by_hand(&c->answer->runs[r]),
    };
}

enum status comparison_make_trials(struct comparison *c, size_t e)
{
    struct candidate **chosen = calloc(c->answer->run_count * QUANTITIES_MAX, sizeof *chosen);
    enum status status = chosen ? choose_sources(c, e, chosen) : comparison_no_memory(c);
    double full = NAN;
    if (!status) {
        forget_rated_speed(c, e, chosen);
        full = full_speed(c, e, chosen);
    }
    for (size_t r = 0; r < c->answer->run_count && !status; r++) {
        struct trial_facts facts = facts_of(c, e, r, full);
        status = trial_make(&c->books[r], chosen + r * QUANTITIES_MAX, &facts,
                            &comparison_trials(c, e)[r], c->complaint);
    }
    free(chosen);
    return status ? status : gather_holds(c, e);
}
