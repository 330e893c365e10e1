/* compare.c - the order of work: open, choose, find holds, estimate, diagnose, summarise. */
#include "compare.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "also.h"
#include "boat_file.h"
#include "comparison.h"
#include "doubt.h"
#include "exchanger.h"
#include "facts.h"
#include "note.h"
#include "provenance.h"
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

/* Reads the boat file once for all runs. */
static enum status read_boat_file(struct comparison *c, struct facts *boat)
{
    const char *path = c->options->boat_file;
    if (!path)
        return STATUS_OK;
    snprintf(c->answer->boat_file, sizeof c->answer->boat_file, "%s", path);
    enum status status = provenance_sha256(path, c->answer->boat_sha256, c->complaint);
    return status ? status : boat_file_read(path, boat, c->complaint);
}

/* What people entered beside the run file: facts of the boat file, remarks. */
static enum status add_entered(struct comparison *c, const struct facts *boat,
                               struct run_summary *summary)
{
    summary->entered = calloc(1, sizeof *summary->entered);
    summary->notes = calloc(1, sizeof *summary->notes);
    if (!summary->entered || !summary->notes)
        return comparison_no_memory(c);
    enum status status = boat_file_fill(boat, summary->facts, summary->entered, c->complaint);
    return status ? status : notes_read(summary->path, summary->notes, c->complaint);
}

/* Opens one run and takes it into the answer. */
static enum status add_run(struct comparison *c, const struct facts *boat, const char *path,
                           enum side side)
{
    struct logbook book;
    struct run_summary *summary = &c->answer->runs[c->answer->run_count];
    enum status status = logbook_open(path, c->extent, &book, c->complaint);
    if (!status)
        status = summary_make(book.run, path, c->sha256, side, summary, c->complaint);
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
    if (!status)
        status = add_entered(c, boat, summary);
    c->books[c->answer->run_count++] = book; /* also after a failure: freed with the others */
    return status;
}

static enum status open_runs(struct comparison *c)
{
    const struct compare_options *o = c->options;
    size_t count = o->before_count + o->after_count;
    if (count == 0 || count > RUNS_MAX)
        return complain(c->complaint, STATUS_BAD_USAGE,
                        "give at least one run before and one after, and %d at most", RUNS_MAX);
    c->answer->runs = calloc(count, sizeof *c->answer->runs);
    c->books = calloc(count, sizeof *c->books);
    if (!c->answer->runs || !c->books)
        return comparison_no_memory(c);
    struct facts boat = {0};
    enum status status = read_boat_file(c, &boat);
    for (size_t i = 0; i < o->before_count && !status; i++)
        status = add_run(c, &boat, o->before[i], SIDE_BEFORE);
    for (size_t i = 0; i < o->after_count && !status; i++)
        status = add_run(c, &boat, o->after[i], SIDE_AFTER);
    facts_free(&boat);
    return status;
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
        comparison_describe_engine(c, e);
        status = comparison_make_trials(c, e);
    }
    return status;
}

enum status comparison_look_at_files(struct comparison *c)
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

void comparison_close(struct comparison *c)
{
    for (size_t i = 0; c->trials && i < c->answer->run_count * c->answer->engine_count; i++)
        trial_free(&c->trials[i]);
    for (size_t r = 0; c->books && r < c->answer->run_count; r++)
        logbook_close(&c->books[r]);
    free(c->trials);
    free(c->books);
    free(c->agreed);
    free(c->facts);
    free(c->hands);
    free(c->steps);
}

enum status comparison_find_holds(struct comparison *c)
{
    enum status status = open_runs(c);
    if (!status)
        status = comparison_find_engines(c);
    if (!status)
        status = comparison_check_wishes(c);
    if (!status)
        status = make_trials(c);
    if (status)
        return status;
    comparison_set_reference(c);
    status = comparison_read_service(c);
    if (!status)
        comparison_apply_service(c);
    return status;
}

/* From holds to findings. */
static enum status conclude(struct comparison *c)
{
    enum status status = comparison_estimate(c);
    for (size_t e = 0; e < c->answer->engine_count && !status; e++) {
        struct engine_answer *engine = &c->answer->engines[e];
        struct subject subject = comparison_subject(c, e);
        also_fill(subject.trials, subject.trial_count, c->answer->confidence_level, engine);
        exchanger_look(engine);
        comparison_explain(c, e);
        diagnose_engine(&subject);
    }
    if (!status)
        doubt_look(c->answer, c->options->as_given);
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
    enum status status = STATUS_OK;
    if (options->before_count == 0 || options->after_count == 0)
        status = complain(complaint, STATUS_BAD_USAGE,
                          "a comparison needs at least one run before and one after the service");
    if (!status)
        status = comparison_find_holds(&c);
    if (!status)
        status = conclude(&c);
    if (!status)
        status = comparison_look_at_aftercare(&c);
    if (!status)
        status = comparison_tell_sources(&c);
    if (!status)
        status = comparison_look_at_files(&c);
    if (!status)
        status = comparison_tell_traces(&c);
    comparison_close(&c);
    return status;
}
