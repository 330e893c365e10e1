/* compare.c - the order of work: open, choose, find holds, estimate, diagnose, summarise. */
#include "compare.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "also.h"
#include "comparison.h"
#include "exchanger.h"
#include "facts.h"
#include "rules.h"
#include "summary.h"

struct trial *comparison_trials(const struct comparison *c, size_t engine)
{
    return c->trials + engine * c->answer->run_count;
}

struct subject comparison_subject(const struct comparison *c, size_t engine)
{
    return (struct subject){
        .answer = c->answer,
        .engine = &c->answer->engines[engine],
        .trials = comparison_trials(c, engine),
        .trial_count = c->answer->run_count,
        .whole_boat = engine == 0,
    };
}

enum status comparison_no_memory(const struct comparison *c)
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
    struct run_summary *summary = &c->answer->runs[c->answer->run_count];
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
        return comparison_no_memory(c);
    enum status status = STATUS_OK;
    for (size_t i = 0; i < o->before_count && !status; i++)
        status = add_run(c, o->before[i], SIDE_BEFORE);
    for (size_t i = 0; i < o->after_count && !status; i++)
        status = add_run(c, o->after[i], SIDE_AFTER);
    return status;
}

/* --- engines */

/* What each engine number has in any run. */
struct numbers {
    struct engine_parts of[INSTANCE_MAX];
    size_t count; /* numbers with anything */
};

static void look_at_numbers(const struct comparison *c, struct numbers *numbers)
{
    *numbers = (struct numbers){0};
    for (size_t r = 0; r < c->answer->run_count; r++)
        for (int e = 0; e < INSTANCE_MAX; e++) {
            struct engine_parts parts = logbook_parts(&c->books[r], e);
            struct engine_parts *of = &numbers->of[e];
            numbers->count += (parts.speed || parts.coolant) && !of->speed && !of->coolant;
            of->speed = of->speed || parts.speed;
            of->coolant = of->coolant || parts.coolant;
        }
}

/* The only engine number that has the one and lacks the other; -1 for none or several. */
static int only_half(const struct numbers *numbers, bool speed)
{
    int found = -1;
    for (int e = 0; e < INSTANCE_MAX; e++) {
        bool half = numbers->of[e].speed == speed && numbers->of[e].coolant == !speed;
        if (half && found >= 0)
            return -1;
        found = half ? e : found;
    }
    return found;
}

/* One number that has only a speed and one that has only a coolant temperature, and no other, are one
 * engine under two numbers: makers count from 0 or from 1. With more engines nobody can tell. */
static void join_halves(struct comparison *c, struct numbers *numbers)
{
    int speed = only_half(numbers, true), coolant = only_half(numbers, false);
    if (speed < 0 || coolant < 0)
        return;
    if (numbers->count > 2) {
        answer_warn(c->answer, "engine_numbers", -1,
                    "Engine %d has only a speed and engine %d only a coolant temperature: two "
                    "instruments may count the engines differently. Then speed and temperature of "
                    "different engines are mixed here. Map them in the logger's configuration and "
                    "replay the capture.",
                    speed, coolant);
        return;
    }
    answer_warn(
        c->answer, "engine_numbers", -1,
        "The speed is recorded for engine %d and the coolant temperature for engine %d, and "
        "there is no other engine: they are taken for one, as engine %d.",
        speed, coolant, coolant);
    for (size_t r = 0; r < c->answer->run_count; r++)
        logbook_renumber(&c->books[r], speed, coolant);
    look_at_numbers(c, numbers);
}

static enum status find_engines(struct comparison *c)
{
    struct answer *answer = c->answer;
    struct numbers numbers;
    look_at_numbers(c, &numbers);
    join_halves(c, &numbers);
    answer->engines = calloc(numbers.count + 1, sizeof *answer->engines);
    c->agreed = calloc(numbers.count + 1, sizeof *c->agreed);
    c->facts = calloc(numbers.count + 1, sizeof *c->facts);
    if (!answer->engines || !c->agreed || !c->facts)
        return comparison_no_memory(c);
    for (int e = 0; e < INSTANCE_MAX; e++)
        if (numbers.of[e].speed || numbers.of[e].coolant)
            answer->engines[answer->engine_count++].instance = e;
    if (numbers.count == 0)
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
    engine->finding = FINDING_CANNOT_BE_SHOWN;
    engine->open_rise_ratio = engine->control_ratio = (struct interval){NAN, NAN, NAN};
    engine->thermostat_start = agreed->thermostat_start;
    engine->thermostat_full = agreed->thermostat_full;
    engine->thermostat_u = agreed->thermostat_u;
    engine->thermostat_from = agreed->thermostat_from;
    engine->lag = engine->lag_u = engine->load_u = NAN;
    engine->load_from = "assumed";
    diagnose_engine_facts(c->answer, engine->instance);
}

/* --- trials */

static enum status make_trials(struct comparison *c)
{
    enum status status = STATUS_OK;
    size_t engines = c->answer->engine_count;
    c->trials = calloc(engines * c->answer->run_count + 1, sizeof *c->trials);
    if (!c->trials)
        return comparison_no_memory(c);
    for (size_t e = 0; e < engines && !status; e++) {
        describe_engine(c, e);
        status = comparison_make_trials(c, e);
    }
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
    for (size_t r = 0; r < c->answer->run_count; r++)
        if (!isnan(c->answer->runs[r].sea_mean)) {
            mean += c->answer->runs[r].sea_mean;
            all++;
        }
    return all > 0 ? mean / all : NAN;
}

/* Means of sea and air over each run, from the first engine that has them. */
static void fill_means(struct comparison *c)
{
    for (size_t r = 0; r < c->answer->run_count; r++)
        for (size_t e = 0; e < c->answer->engine_count; e++) {
            const struct columns *columns = &comparison_trials(c, e)[r].columns;
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
    for (size_t i = 0; i < c->answer->run_count * c->answer->engine_count; i++) {
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

static void fill_facts(struct comparison *c, size_t e)
{
    struct lag lags[RUNS_MAX];
    double *steps = c->steps + e * c->answer->run_count;
    for (size_t r = 0; r < c->answer->run_count; r++) {
        const struct trial *trial = &comparison_trials(c, e)[r];
        const struct candidate *coolant = trial->chosen[QUANTITY_COOLANT];
        steps[r] = coolant && !coolant->cleaning.lively ? coolant->profile.step : 0.0;
        lags[r] = trial->lag;
    }
    struct lag lag = lag_pool(lags, c->answer->run_count);
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
}

/* Uncertainty between the coolant senders of the sides; sets sender_changed where there is any. */
static double sender_uncertainty(struct comparison *c)
{
    double most = 0;
    for (size_t e = 0; e < c->answer->engine_count; e++) {
        const struct agreed *agreed = &c->agreed[e];
        struct subject subject = comparison_subject(c, e);
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
    c->steps = calloc(c->answer->engine_count * c->answer->run_count + 1, sizeof *c->steps);
    if (!c->steps)
        return comparison_no_memory(c);
    if (status || c->answer->engine_count == 0)
        return status;
    for (size_t e = 0; e < c->answer->engine_count; e++)
        fill_facts(c, e);
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

/* --- runs that lack what a comparison needs */

/* What a comparison cannot do without, and how it is recorded. */
static const struct need {
    enum quantity quantity;
    const char *words, *record;
} needs[] = {
    {QUANTITY_SPEED, "engine speed",
     "Record engine speed (NMEA 0183 RPM, NMEA 2000 PGN 127488 or J1939 EEC1) in a run before and "
     "a "
     "run after, with the same engine number as the coolant temperature."},
    {QUANTITY_COOLANT, "coolant temperature",
     "Record coolant temperature (NMEA 0183 XDR, NMEA 2000 PGN 127489 or J1939 ET1) in a run "
     "before "
     "and a run after; an unmapped transducer can be taken with --source "
     "coolant_temperature=NAME."},
    {QUANTITY_SEA, "sea temperature",
     "Record sea temperature (NMEA 0183 MTW, NMEA 2000 PGN 130310 or 130312) in a run before and a "
     "run after, or measure it by hand and enter sea_temperature among the facts of the run."},
};

static bool side_has(const struct subject *subject, enum side side, enum quantity quantity)
{
    for (size_t i = 0; i < subject->trial_count; i++) {
        const struct trial *trial = &subject->trials[i];
        bool by_hand = quantity == QUANTITY_SEA && !isnan(trial->sea_by_hand);
        if (trial->side == side && (trial->chosen[quantity] || by_hand))
            return true;
    }
    return false;
}

/* Says what is missing where a side lacks a quantity in all its runs: more use than "no holds". */
static void say_missing(const struct subject *subject, struct engine_answer *engine)
{
    for (size_t i = 0; i < sizeof needs / sizeof needs[0]; i++) {
        bool before = side_has(subject, SIDE_BEFORE, needs[i].quantity);
        bool after = side_has(subject, SIDE_AFTER, needs[i].quantity);
        if (before && after)
            continue;
        snprintf(engine->sentence, sizeof engine->sentence,
                 "Nothing can be compared: no %s was recorded%s.", needs[i].words,
                 before  ? " after the service"
                 : after ? " before the service"
                         : "");
        snprintf(engine->next, sizeof engine->next, "%s", needs[i].record);
        return;
    }
}

static enum status look_at_files(struct comparison *c)
{
    diagnose_files(c->answer);
    for (size_t r = 0; r < c->answer->run_count; r++) {
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

static void close_all(struct comparison *c)
{
    for (size_t i = 0; c->trials && i < c->answer->run_count * c->answer->engine_count; i++)
        trial_free(&c->trials[i]);
    for (size_t r = 0; c->books && r < c->answer->run_count; r++)
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
        status = comparison_check_wishes(c);
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
        struct subject subject = comparison_subject(c, e);
        also_fill(subject.trials, subject.trial_count, c->answer->confidence_level, engine);
        exchanger_look(engine);
        explain_uncompared(engine);
        say_missing(&subject, engine);
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
    comparison_tell_options(&c);
    enum status status = find_all_holds(&c);
    if (!status)
        status = conclude(&c);
    if (!status)
        status = comparison_tell_sources(&c);
    if (!status)
        status = look_at_files(&c);
    if (!status)
        status = comparison_tell_traces(&c);
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
        status = comparison_tell_sources(&c);
    if (!status)
        status = look_at_files(&c);
    if (!status)
        status = comparison_tell_traces(&c);
    close_all(&c);
    return status;
}
