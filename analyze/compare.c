/* compare.c - the order of work: open, choose, find holds, estimate, diagnose, summarise. */
#include "compare.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "agreed.h"
#include "also.h"
#include "band.h"
#include "channel.h"
#include "diagnose.h"
#include "estimate.h"
#include "exchanger.h"
#include "facts.h"
#include "rules.h"
#include "source.h"
#include "summary.h"
#include "trial.h"

#define RUNS_MAX 64 /* on both sides together */

/* Everything on the way from paths to the answer. */
struct comparison {
    const struct compare_options *options;
    struct answer *answer;
    struct complaint *complaint;
    struct logbook *books;        /* one per run of the answer */
    struct agreed *agreed;        /* one per engine of the answer */
    struct trial *trials;         /* engine by engine, each with every run */
    struct estimate_facts *facts; /* one per engine */
    double *steps; /* of the coolant senders: engine by engine, each with every run */
};

static size_t run_count(const struct comparison *c)
{
    return c->answer->run_count;
}

static struct trial *trials_of(const struct comparison *c, size_t engine)
{
    return c->trials + engine * run_count(c);
}

static enum status no_memory(const struct comparison *c)
{
    return complain(c->complaint, STATUS_MEMORY, "no memory left to compare the runs");
}

void compare_options_default(struct compare_options *options)
{
    *options = (struct compare_options){
        .reference_sea = NAN,
        .thermostat_start = NAN,
        .thermostat_full = NAN,
        .thermostat_u = NAN,
        .day_load = 0.02,
        .sender_u = NAN,
        .confidence_level = 0.95,
        .seed = 1,
        .control_engine = -1,
    };
}

/* --- opening */

/* A file given twice on one side would pass for a second run. */
static bool is_repeated(const struct answer *answer, const struct run_summary *run)
{
    for (size_t i = 0; i < answer->run_count; i++)
        if (answer->runs[i].side == run->side && strcmp(answer->runs[i].sha256, run->sha256) == 0)
            return true;
    return false;
}

/* Opens one run and takes it into the answer. */
static enum status add_run(struct comparison *c, const char *path, enum side side)
{
    struct logbook book;
    struct run_summary *summary = &c->answer->runs[run_count(c)];
    enum status status = logbook_open(path, &book, c->complaint);
    if (!status)
        status = summary_make(book.run, path, side, summary, c->complaint);
    if (!status && is_repeated(c->answer, summary)) {
        answer_warn(c->answer, "repeated_file", -1,
                    "%s was given more than once on one side and counts once.",
                    answer_cut(summary->name).s);
        facts_free(summary->facts);
        free(summary->facts);
        memset(summary, 0, sizeof *summary);
        logbook_close(&book);
        return STATUS_OK;
    }
    c->books[c->answer->run_count++] = book; /* also after a failure: freed with the others */
    return status;
}

static enum status open_runs(struct comparison *c)
{
    const struct compare_options *o = c->options;
    size_t count = o->before_count + o->after_count;
    if (o->before_count == 0 || count > RUNS_MAX)
        return complain(c->complaint, STATUS_BAD_USAGE,
                        "give at least one run before and one after, and %d at most", RUNS_MAX);
    c->answer->runs = calloc(count, sizeof *c->answer->runs);
    c->books = calloc(count, sizeof *c->books);
    if (!c->answer->runs || !c->books)
        return no_memory(c);
    enum status status = STATUS_OK;
    for (size_t i = 0; i < o->before_count && !status; i++)
        status = add_run(c, o->before[i], SIDE_BEFORE);
    for (size_t i = 0; i < o->after_count && !status; i++)
        status = add_run(c, o->after[i], SIDE_AFTER);
    return status;
}

/* --- engines */

static enum status find_engines(struct comparison *c)
{
    bool seen[INSTANCE_MAX] = {false};
    struct answer *answer = c->answer;
    for (size_t r = 0; r < run_count(c); r++) {
        int engines[ENGINES_MAX];
        size_t n = logbook_engines(&c->books[r], engines);
        for (size_t i = 0; i < n; i++)
            seen[engines[i] % INSTANCE_MAX] = true;
    }
    answer->engines = calloc(ENGINES_MAX, sizeof *answer->engines);
    c->agreed = calloc(ENGINES_MAX, sizeof *c->agreed);
    c->facts = calloc(ENGINES_MAX, sizeof *c->facts);
    if (!answer->engines || !c->agreed || !c->facts)
        return no_memory(c);
    for (int e = 0; e < INSTANCE_MAX && answer->engine_count < ENGINES_MAX; e++)
        if (seen[e])
            answer->engines[answer->engine_count++].instance = e;
    if (answer->engine_count == 0)
        answer_warn(answer, "no_engine", -1,
                    "No run has an engine speed or a coolant temperature: there is nothing to "
                    "compare. Look with `searun-analyze show` at what was recorded, and map "
                    "transducers in the logger's configuration.");
    return STATUS_OK;
}

static void describe_engine(struct comparison *c, size_t e)
{
    struct engine_answer *engine = &c->answer->engines[e];
    struct agreed *agreed = &c->agreed[e];
    *agreed = agree_on(c->answer, c->options, engine->instance);
    snprintf(engine->label, sizeof engine->label, "%s", agreed->label);
    engine->rated_rpm = agreed->rated_rpm;
    engine->normal_low = agreed->normal_low;
    engine->normal_high = agreed->normal_high;
    engine->alarm = agreed->alarm;
    engine->key_band = BANDS_MAX;
    diagnose_engine_facts(c->answer, engine->instance);
}

/* --- sources */

static const struct source_wish *wish_for(const struct comparison *c, size_t quantity)
{
    for (size_t i = 0; i < c->options->wish_count; i++)
        if (c->options->wishes[i].channel == quantity_channel(quantity))
            return &c->options->wishes[i];
    return NULL;
}

/* Appends the candidates of a quantity to a list for the complaint. */
static void list_candidates(const struct comparison *c, size_t quantity, char *text, size_t room)
{
    for (size_t r = 0; r < run_count(c); r++)
        for (size_t e = 0; e < c->answer->engine_count; e++) {
            struct candidate *list[CANDIDATES_MAX];
            size_t n = source_candidates(&c->books[r], quantity, c->answer->engines[e].instance,
                                         c->answer->engine_count == 1, list);
            for (size_t i = 0; i < n; i++) {
                size_t length = strlen(text);
                if (!strstr(text, list[i]->title))
                    snprintf(text + length, room - length, "%s%s", length ? "; " : "",
                             list[i]->title);
            }
        }
}

static bool wish_met(const struct comparison *c, size_t quantity, const struct source_wish *wish)
{
    for (size_t r = 0; r < run_count(c); r++)
        for (size_t e = 0; e < c->answer->engine_count; e++) {
            struct candidate *list[CANDIDATES_MAX];
            size_t n = source_candidates(&c->books[r], quantity, c->answer->engines[e].instance,
                                         c->answer->engine_count == 1, list);
            for (size_t i = 0; i < n; i++)
                if (source_wished(list[i], wish))
                    return true;
        }
    return false;
}

/* A wish that no run can meet is a slip of the pen: say what there is. */
static enum status check_wishes(const struct comparison *c)
{
    for (size_t i = 0; i < c->options->wish_count; i++) {
        const struct source_wish *wish = &c->options->wishes[i];
        const char *key = channel_get(wish->channel)->key;
        char there[600] = "";
        size_t q = 0;
        while (q < quantity_count() && quantity_channel(q) != wish->channel)
            q++;
        if (q == quantity_count())
            return complain(c->complaint, STATUS_BAD_USAGE,
                            "a source cannot be chosen for %s: it is not used in a comparison. "
                            "Chosen can be engine_speed, coolant_temperature, sea_temperature, "
                            "fuel_rate, engine_load and others of the engine",
                            key);
        if (wish_met(c, q, wish))
            continue;
        list_candidates(c, q, there, sizeof there);
        return complain(c->complaint, STATUS_BAD_USAGE,
                        "no run has a source \"%s\" for %s; there is: %s", wish->source, key,
                        there[0] ? there : "none");
    }
    return STATUS_OK;
}

/* Judges every sea sensor of a run by the speed of the engine. */
static enum status judge_seas(struct comparison *c, size_t r, int engine,
                              const struct candidate *speed)
{
    struct candidate *seas[CANDIDATES_MAX];
    size_t n =
        source_candidates(&c->books[r], QUANTITY_SEA, engine, c->answer->engine_count == 1, seas);
    size_t cells = (size_t)fmax(0.0, c->books[r].about->duration) + 1;
    double *grid = malloc(2 * cells * sizeof *grid);
    if (!grid)
        return no_memory(c);
    if (speed)
        series_grid(&speed->series, channel_get(speed->channel)->silence, 1.0, false, grid, cells);
    for (size_t i = 0; i < n && speed; i++) {
        series_grid(&seas[i]->series, channel_get(seas[i]->channel)->silence, 1.0, false,
                    grid + cells, cells);
        struct sea_look look = sea_look(grid + cells, grid, cells);
        seas[i]->follows_engine = sea_follows_engine(&look);
    }
    free(grid);
    return STATUS_OK;
}

/* Chooses every quantity of one engine in all runs: chosen[run * QUANTITIES_MAX + quantity]. */
static enum status choose_sources(struct comparison *c, int engine, struct candidate **chosen)
{
    struct candidate *of_run[RUNS_MAX];
    bool alone = c->answer->engine_count == 1;
    for (size_t q = 0; q < quantity_count(); q++) {
        enum status status =
            source_choose(c->books, run_count(c), q, engine, alone, wish_for(c, q), of_run);
        if (status)
            return no_memory(c);
        for (size_t r = 0; r < run_count(c); r++) {
            chosen[r * QUANTITIES_MAX + q] = of_run[r];
            if (q == QUANTITY_SPEED)
                status = status ? status : judge_seas(c, r, engine, of_run[r]);
        }
        if (status)
            return status;
    }
    return STATUS_OK;
}

/* --- trials and holds */

/* Full speed of an engine: rated, else the highest of any run. */
static double full_speed(const struct comparison *c, size_t e, struct candidate *const *chosen)
{
    double full = c->agreed[e].rated_rpm;
    if (!isnan(full))
        return full;
    for (size_t r = 0; r < run_count(c); r++)
        full = fmax(full, trial_top_speed(chosen[r * QUANTITIES_MAX + QUANTITY_SPEED]));
    return full;
}

static enum status gather_holds(struct comparison *c, size_t e)
{
    struct engine_answer *engine = &c->answer->engines[e];
    size_t total = 0;
    for (size_t r = 0; r < run_count(c); r++)
        total += trials_of(c, e)[r].hold_count;
    engine->holds = calloc(total + 1, sizeof *engine->holds);
    if (!engine->holds)
        return no_memory(c);
    for (size_t r = 0; r < run_count(c); r++) {
        const struct trial *trial = &trials_of(c, e)[r];
        if (trial->hold_count > 0)
            memcpy(engine->holds + engine->hold_count, trial->holds,
                   trial->hold_count * sizeof *trial->holds);
        engine->hold_count += trial->hold_count;
    }
    return band_assign(engine->holds, engine->hold_count) ? no_memory(c) : STATUS_OK;
}

static double sea_by_hand(const struct run_summary *run)
{
    double sea = NAN;
    if (fact_row_find(FACT_RUN, "sea_temperature") && run->facts)
        facts_number(run->facts, 0, "sea_temperature", &sea);
    return sea;
}

static enum status make_trials_from(struct comparison *c, size_t e, struct candidate **chosen)
{
    const struct agreed *agreed = &c->agreed[e];
    enum status status = choose_sources(c, c->answer->engines[e].instance, chosen);
    double full = status ? NAN : full_speed(c, e, chosen);
    for (size_t r = 0; r < run_count(c) && !status; r++) {
        struct trial_facts facts = {
            .run = r,
            .side = c->answer->runs[r].side,
            .engine = c->answer->engines[e].instance,
            .full_rpm = full,
            .thermostat_start = agreed->thermostat_start,
            .thermostat_full = agreed->thermostat_full,
            .thermostat_u = agreed->thermostat_u,
            .sea_by_hand = sea_by_hand(&c->answer->runs[r]),
        };
        status = trial_make(&c->books[r], chosen + r * QUANTITIES_MAX, &facts, &trials_of(c, e)[r],
                            c->complaint);
    }
    return status ? status : gather_holds(c, e);
}

static enum status make_trials(struct comparison *c)
{
    size_t engines = c->answer->engine_count, runs = run_count(c);
    struct candidate **chosen = calloc(runs * QUANTITIES_MAX, sizeof *chosen);
    c->trials = calloc(engines * runs + 1, sizeof *c->trials);
    enum status status = chosen && c->trials ? STATUS_OK : no_memory(c);
    for (size_t e = 0; e < engines && !status; e++) {
        describe_engine(c, e);
        status = make_trials_from(c, e, chosen);
    }
    free(chosen);
    return status;
}

/* --- what the estimate needs */

/* Mean over the sides of the sea in their used holds; of all readings where there is no hold. */
static double mean_sea(const struct comparison *c)
{
    double sum[SIDE_COUNT] = {0}, n[SIDE_COUNT] = {0}, all = 0, mean = 0, sides = 0;
    for (size_t e = 0; e < c->answer->engine_count; e++)
        for (size_t i = 0; i < c->answer->engines[e].hold_count; i++) {
            const struct hold *hold = &c->answer->engines[e].holds[i];
            if (hold->refusal == REFUSAL_NONE) {
                sum[hold->side] += hold->sea;
                n[hold->side]++;
            }
        }
    for (int side = 0; side < SIDE_COUNT; side++)
        if (n[side] > 0) {
            mean += sum[side] / n[side];
            sides++;
        }
    if (sides > 0)
        return mean / sides;
    for (size_t r = 0; r < run_count(c); r++)
        if (!isnan(c->answer->runs[r].sea_mean)) {
            mean += c->answer->runs[r].sea_mean;
            all++;
        }
    return all > 0 ? mean / all : NAN;
}

/* Means of sea and air over each run, from the first engine that has them. */
static void fill_means(struct comparison *c)
{
    for (size_t r = 0; r < run_count(c); r++)
        for (size_t e = 0; e < c->answer->engine_count; e++) {
            const struct columns *columns = &trials_of(c, e)[r].columns;
            struct run_summary *run = &c->answer->runs[r];
            if (isnan(run->sea_mean))
                run->sea_mean = cells_mean(columns->sea, 0, columns->count, NULL);
            if (isnan(run->air_mean))
                run->air_mean = cells_mean(columns->air, 0, columns->count, NULL);
        }
}

static void set_reference(struct comparison *c)
{
    bool given = !isnan(c->options->reference_sea);
    c->answer->reference_from = given ? "given" : "mean of both runs";
    c->answer->reference_sea =
        given ? c->options->reference_sea : round(10 * mean_sea(c)) / 10; /* 0.1 K, to be quoted */
}

/* How unsure the sea is as a mean over a run: worse where it was typed in or the sensor drifts. */
static double sea_uncertainty(const struct comparison *c)
{
    double extra = 0;
    for (size_t i = 0; i < run_count(c) * c->answer->engine_count; i++) {
        const struct trial *trial = &c->trials[i];
        double drift = fabs(trial->sea.drift);
        if (!isnan(trial->sea_by_hand))
            extra = fmax(extra, rules.diagnose.hand_sea_u);
        if (!trial->chosen[QUANTITY_SEA])
            continue;
        if (sea_follows_engine(&trial->sea))
            drift = fmax(drift, trial->sea.effect);
        else if (drift <= rules.diagnose.sea_drift)
            drift = 0;
        extra = fmax(extra, rules.diagnose.drift_share * drift);
    }
    return hypot(ESTIMATE_SEA_U, extra);
}

static enum status fill_facts(struct comparison *c, size_t e)
{
    struct lag lags[RUNS_MAX];
    double *steps = c->steps + e * run_count(c);
    for (size_t r = 0; r < run_count(c); r++) {
        const struct trial *trial = &trials_of(c, e)[r];
        const struct candidate *coolant = trial->chosen[QUANTITY_COOLANT];
        steps[r] = coolant && !coolant->cleaning.lively ? coolant->profile.step : 0.0;
        lags[r] = trial->lag;
    }
    struct lag lag = lag_pool(lags, run_count(c));
    const struct agreed *agreed = &c->agreed[e];
    c->facts[e] = (struct estimate_facts){
        .thermostat_start = agreed->thermostat_start,
        .thermostat_full = agreed->thermostat_full,
        .thermostat_u = agreed->thermostat_u,
        .thermostat_from = agreed->thermostat_from,
        .lag = lag.seconds,
        .lag_u = lag.u,
        .coolant_step = steps,
    };
    return STATUS_OK;
}

static struct subject subject_of(const struct comparison *c, size_t e)
{
    return (struct subject){
        .answer = c->answer,
        .engine = &c->answer->engines[e],
        .trials = trials_of(c, e),
        .trial_count = run_count(c),
        .whole_boat = e == 0,
    };
}

/* Uncertainty between the coolant senders of the sides; sets sender_changed where there is any. */
static double sender_uncertainty(struct comparison *c)
{
    double most = 0;
    for (size_t e = 0; e < c->answer->engine_count; e++) {
        const struct agreed *agreed = &c->agreed[e];
        struct subject subject = subject_of(c, e);
        double shift = fabs(diagnose_sender(&subject)), u = 0;
        if (agreed->sender_changed || shift > 0)
            u = fmax(rules.diagnose.sender_u, shift);
        if (strcmp(agreed->thermostat_from, "given") != 0)
            u = hypot(u, agreed->thermostat_shift);
        if (!isnan(c->options->sender_u))
            u = c->options->sender_u;
        c->facts[e].sender_changed = u > 0;
        most = fmax(most, u);
    }
    return most;
}

static double day_load(const struct comparison *c)
{
    double load = c->options->day_load;
    for (size_t e = 0; e < c->answer->engine_count; e++)
        if (c->agreed[e].propeller_changed)
            load = fmax(load, rules.diagnose.propeller_load);
    return load;
}

/* Index of the engine that was left alone; -1 for none. */
static enum status find_control(const struct comparison *c, int *index)
{
    *index = -1;
    if (c->options->control_engine < 0)
        return STATUS_OK;
    for (size_t e = 0; e < c->answer->engine_count; e++)
        if (c->answer->engines[e].instance == c->options->control_engine)
            *index = (int)e;
    return *index >= 0 ? STATUS_OK
                       : complain(c->complaint, STATUS_BAD_USAGE,
                                  "engine %d, named as the one left alone, is in none of the runs",
                                  c->options->control_engine);
}

static enum status estimate(struct comparison *c)
{
    struct estimate_job job = {.facts = c->facts};
    enum status status = find_control(c, &job.control_engine);
    c->steps = calloc(c->answer->engine_count * run_count(c) + 1, sizeof *c->steps);
    if (!c->steps)
        return no_memory(c);
    for (size_t e = 0; e < c->answer->engine_count && !status; e++)
        status = fill_facts(c, e);
    if (status || c->answer->engine_count == 0)
        return status;
    job.sea_u = sea_uncertainty(c);
    job.sender_u = sender_uncertainty(c);
    job.day_load = day_load(c);
    return estimate_engines(&job, c->answer, c->complaint);
}

/* --- after the estimate */

/* Where a refused hold of the side that lacks a band lies near, its reason tells more. */
static void explain_uncompared(struct engine_answer *engine)
{
    for (size_t u = 0; u < engine->uncompared_count; u++) {
        struct uncompared *row = &engine->uncompared[u];
        double near = fmax(rules.band.width_rpm, rules.band.width_ratio * row->rpm);
        for (size_t i = 0; i < engine->hold_count; i++) {
            const struct hold *hold = &engine->holds[i];
            if (hold->side != row->missing || hold->refusal == REFUSAL_NONE ||
                hold->refusal == REFUSAL_NOT_SHARED || fabs(hold->rpm - row->rpm) > near)
                continue;
            snprintf(row->reason, sizeof row->reason,
                     "%s: %.0f rpm was held from minute %.0f to %.0f, but refused: %s. Hold %.0f "
                     "rpm for 5 minutes or more, warm and in gear",
                     row->missing == SIDE_BEFORE ? "before" : "after", hold->rpm, hold->start / 60,
                     hold->end / 60, refusal_words(hold->refusal), row->rpm);
            break;
        }
    }
}

static enum status add_choice(struct comparison *c, size_t e, size_t r, size_t q,
                              struct candidate *const *list, size_t n)
{
    const struct trial *trial = &trials_of(c, e)[r];
    const struct candidate *chosen = trial->chosen[q];
    bool by_hand = q == QUANTITY_SEA && !isnan(trial->sea_by_hand);
    struct choice *grown =
        realloc(c->answer->choices, (c->answer->choice_count + 1) * sizeof *grown);
    if (!grown)
        return no_memory(c);
    c->answer->choices = grown;
    struct choice *choice = &grown[c->answer->choice_count++];
    memset(choice, 0, sizeof *choice);
    choice->channel = quantity_channel(q);
    choice->run = r;
    choice->engine = c->answer->engines[e].instance;
    if (by_hand || (chosen && chosen->origin.place == PLACE_VESSEL))
        choice->engine = -1;
    if (by_hand)
        snprintf(choice->chosen, sizeof choice->chosen, "typed in: %.1f °C", trial->sea_by_hand);
    else if (chosen && chosen->channel != choice->channel)
        snprintf(choice->chosen, sizeof choice->chosen, "%s: %.110s",
                 channel_get(chosen->channel)->key, chosen->title);
    else
        snprintf(choice->chosen, sizeof choice->chosen, "%s", chosen ? chosen->title : "none");
    for (size_t i = 0; i < n; i++) {
        size_t length = strlen(choice->others);
        if (list[i]->wish_only && list[i] != chosen)
            continue;
        choice->candidates++;
        if (list[i] != chosen)
            snprintf(choice->others + length, sizeof choice->others - length, "%s%s",
                     length ? "; " : "", list[i]->title);
    }
    return STATUS_OK;
}

/* Whether an engine before this one has the same source of the vessel: told once is enough. */
static bool told_before(const struct comparison *c, size_t e, size_t r, size_t q)
{
    const struct trial *trial = &trials_of(c, e)[r];
    bool by_hand = q == QUANTITY_SEA && !isnan(trial->sea_by_hand);
    for (size_t i = 0; i < e; i++)
        if (trials_of(c, i)[r].chosen[q] == trial->chosen[q] && (trial->chosen[q] || by_hand))
            return true;
    return false;
}

static enum status add_cleaned(struct comparison *c, size_t e, size_t r, size_t q)
{
    const struct trial *trial = &trials_of(c, e)[r];
    const struct candidate *chosen = trial->chosen[q];
    struct cleaned *grown =
        realloc(c->answer->cleaned, (c->answer->cleaned_count + 1) * sizeof *grown);
    if (!grown)
        return no_memory(c);
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
    const struct trial *trial = &trials_of(c, e)[r];
    struct candidate *chosen = trial->chosen[q];
    size_t n = source_candidates(&c->books[r], q, c->answer->engines[e].instance,
                                 c->answer->engine_count == 1, list);
    bool by_hand = q == QUANTITY_SEA && !isnan(trial->sea_by_hand);
    enum status status = STATUS_OK;
    if (told_before(c, e, r, q) || (!chosen && !by_hand))
        return STATUS_OK;
    if (q < QUANTITY_BESIDE || n > 1)
        status = add_choice(c, e, r, q, list, n);
    if (!status && chosen)
        status = add_cleaned(c, e, r, q);
    return status;
}

static enum status compare_candidates(struct comparison *c, size_t e, size_t r, size_t q)
{
    struct candidate *list[CANDIDATES_MAX], *chosen = trials_of(c, e)[r].chosen[q];
    struct subject subject = subject_of(c, e);
    size_t n = source_candidates(&c->books[r], q, subject.engine->instance,
                                 c->answer->engine_count == 1, list);
    for (size_t i = 0; i < n; i++) {
        double difference;
        if (!chosen || list[i] == chosen || list[i]->wish_only ||
            list[i]->channel != chosen->channel)
            continue;
        if (source_difference(chosen, list[i], trials_of(c, e)[r].duration, &difference))
            return no_memory(c);
        diagnose_difference(&subject, r, q, chosen, list[i], difference);
    }
    return STATUS_OK;
}

static enum status look_at_sources(struct comparison *c)
{
    enum status status = STATUS_OK;
    for (size_t e = 0; e < c->answer->engine_count; e++)
        for (size_t r = 0; r < run_count(c); r++) {
            for (size_t q = 0; q < quantity_count() && !status; q++)
                status = record_source(c, e, r, q);
            for (size_t q = QUANTITY_SPEED; q <= QUANTITY_SEA && !status; q++)
                status = compare_candidates(c, e, r, q);
        }
    return status;
}

static enum status look_at_files(struct comparison *c)
{
    diagnose_files(c->answer);
    for (size_t r = 0; r < run_count(c); r++) {
        const struct run_utc *utc;
        size_t count;
        struct run *run = c->books[r].run;
        enum status status = run_utcs(run, &utc, &count, c->complaint);
        if (status)
            return status;
        diagnose_clock(c->answer, r, utc, count);
        for (size_t i = 0; i < run_input_count(run); i++)
            diagnose_tally(c->answer, r, run_input_at(run, i)->text, run_tally(run, i));
    }
    return STATUS_OK;
}

static enum status thin(const struct candidate *candidate, struct sample_series *out)
{
    if (!candidate)
        return STATUS_OK;
    return series_thin(&candidate->series, channel_get(candidate->channel)->silence, out);
}

static enum status add_traces(struct comparison *c)
{
    enum status status = STATUS_OK;
    for (size_t r = 0; r < run_count(c); r++) {
        struct run_summary *run = &c->answer->runs[r];
        run->traces = calloc(c->answer->engine_count + 1, sizeof *run->traces);
        if (!run->traces)
            return no_memory(c);
        for (size_t e = 0; e < c->answer->engine_count && !status; e++) {
            const struct trial *trial = &trials_of(c, e)[r];
            struct trace *trace = &run->traces[run->trace_count++];
            trace->engine = trial->engine;
            status = thin(trial->chosen[QUANTITY_SPEED], &trace->rpm);
            if (!status)
                status = thin(trial->chosen[QUANTITY_COOLANT], &trace->coolant);
            if (!status)
                status = thin(trial->chosen[QUANTITY_SEA], &trace->sea);
        }
    }
    return status ? no_memory(c) : STATUS_OK;
}

/* --- what was asked for */

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

static void write_options(const struct comparison *c)
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
    for (size_t i = 0; i < o->wish_count; i++)
        add_option(answer, "; source of %s: %s", channel_get(o->wishes[i].channel)->key,
                   o->wishes[i].source);
}

static void close_all(struct comparison *c)
{
    for (size_t i = 0; c->trials && i < run_count(c) * c->answer->engine_count; i++)
        trial_free(&c->trials[i]);
    for (size_t r = 0; c->books && r < run_count(c); r++)
        logbook_close(&c->books[r]);
    free(c->trials);
    free(c->books);
    free(c->agreed);
    free(c->facts);
    free(c->steps);
}

/* From paths to holds. */
static enum status find_all_holds(struct comparison *c)
{
    enum status status = open_runs(c);
    if (!status)
        status = find_engines(c);
    if (!status)
        status = check_wishes(c);
    if (!status)
        status = make_trials(c);
    if (status)
        return status;
    fill_means(c);
    set_reference(c);
    return STATUS_OK;
}

/* From holds to findings. */
static enum status conclude(struct comparison *c)
{
    enum status status = estimate(c);
    for (size_t e = 0; e < c->answer->engine_count && !status; e++) {
        struct engine_answer *engine = &c->answer->engines[e];
        struct subject subject = subject_of(c, e);
        also_fill(subject.trials, subject.trial_count, c->answer->confidence_level, engine);
        exchanger_look(engine);
        explain_uncompared(engine);
        diagnose_engine(&subject);
    }
    return status;
}

enum status compare_runs(const struct compare_options *options, struct answer *answer,
                         struct complaint *complaint)
{
    memset(answer, 0, sizeof *answer);
    struct comparison c = {.options = options, .answer = answer, .complaint = complaint};
    answer->confidence_level = options->confidence_level;
    answer->reference_sea = NAN;
    answer->reference_from = "mean of both runs";
    answer->seed = options->seed;
    write_options(&c);
    enum status status = find_all_holds(&c);
    if (!status)
        status = conclude(&c);
    if (!status)
        status = look_at_sources(&c);
    if (!status)
        status = look_at_files(&c);
    if (!status)
        status = add_traces(&c);
    close_all(&c);
    return status;
}

enum status compare_look(const char *path, const struct compare_options *options,
                         struct answer *answer, struct complaint *complaint)
{
    struct compare_options alone = *options;
    char *paths[] = {(char *)(uintptr_t)path};
    alone.before = paths;
    alone.before_count = 1;
    alone.after_count = 0;
    memset(answer, 0, sizeof *answer);
    struct comparison c = {.options = &alone, .answer = answer, .complaint = complaint};
    answer->confidence_level = options->confidence_level;
    answer->reference_from = "mean of both runs";
    enum status status = find_all_holds(&c);
    if (!status)
        status = look_at_sources(&c);
    if (!status)
        status = look_at_files(&c);
    if (!status)
        status = add_traces(&c);
    close_all(&c);
    return status;
}
