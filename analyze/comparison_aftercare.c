/* comparison_aftercare.c - what marks, remarks and data of the runs after say of the steps that
 * follow a service. */
#include <math.h>
#include <string.h>

#include "comparison.h"
#include "note.h"
#include "rules.h"

/* The runs after, in the order of their dates. Returns how many. */
static size_t runs_after(const struct answer *answer, size_t order[RUNS_MAX])
{
    size_t count = 0;
    for (size_t r = 0; r < answer->run_count; r++) {
        if (answer->runs[r].side != SIDE_AFTER)
            continue;
        size_t at = count++;
        for (; at > 0 && answer->runs[order[at - 1]].start_unix_us > answer->runs[r].start_unix_us;
             at--)
            order[at] = order[at - 1];
        order[at] = r;
    }
    return count;
}

/* Marks of the logger, and the notes of a sheet that was filled in by hand. */
static bool is_mark(const struct run_event *event)
{
    return strcmp(event->key, "mark") == 0 || strcmp(event->key, "note") == 0;
}

static enum status take_marks(struct comparison *c, size_t run)
{
    const struct run_event *events;
    size_t count;
    enum status status = run_events(c->books[run].run, &events, &count, c->complaint);
    for (size_t i = 0; !status && i < count; i++)
        if (is_mark(&events[i]))
            checklist_take_mark(&c->answer->checklist, run, events[i].time, events[i].text);
    return status;
}

static void take_notes(struct comparison *c, size_t run)
{
    const struct notes *notes = c->answer->runs[run].notes;
    for (size_t i = 0; notes && i < notes->count; i++)
        checklist_take_note(&c->answer->checklist, run, notes->list[i].key, notes->list[i].value);
}

/* --- the data */

static double full_speed(const struct comparison *c, size_t e)
{
    double full = c->answer->engines[e].rated_rpm;
    for (size_t r = 0; isnan(c->answer->engines[e].rated_rpm) && r < c->answer->run_count; r++)
        full = fmax(full, trial_top_speed(comparison_trials(c, e)[r].chosen[QUANTITY_SPEED]));
    return full;
}

/* Whether the coolant was read often enough in a hold to show that it is restless: twice in each of
 * the spans that are compared. Readings by hand are not. */
static bool read_often(const struct trial *trial, const struct hold *hold)
{
    const struct candidate *coolant = trial->chosen[QUANTITY_COOLANT];
    size_t readings = 0;
    for (size_t i = 0; coolant && i < coolant->series.count; i++) {
        double at = coolant->series.time[i];
        readings += at >= hold->used_from && at <= hold->end;
    }
    return (double)readings * rules.diagnose.unsteady_span >= 2 * (hold->end - hold->used_from);
}

static void look_at_holds(struct comparison *c, size_t e)
{
    struct engine_answer *engine = &c->answer->engines[e];
    for (size_t i = 0; i < engine->hold_count; i++) {
        const struct hold *hold = &engine->holds[i];
        const struct trial *trial = &comparison_trials(c, e)[hold->run];
        const struct columns *columns = &trial->columns;
        if (hold->side != SIDE_AFTER || hold->refusal != REFUSAL_NONE ||
            hold->end > (double)columns->count || !read_often(trial, hold))
            continue;
        double restless =
            cells_restlessness(columns->coolant, (size_t)hold->used_from, (size_t)hold->end,
                               (size_t)rules.diagnose.unsteady_span);
        engine->steady_holds += isnan(restless) ? 0 : 1;
        engine->restless_holds += restless > rules.diagnose.unsteady_kelvin;
    }
}

enum status comparison_look_at_aftercare(struct comparison *c)
{
    size_t order[RUNS_MAX];
    size_t count = runs_after(c->answer, order);
    enum status status = STATUS_OK;
    for (size_t i = 0; i < count && !status; i++)
        status = take_marks(c, order[i]);
    for (size_t i = 0; i < count && !status; i++)
        take_notes(c, order[i]);
    for (size_t e = 0; e < c->answer->engine_count && !status; e++) {
        struct engine_answer *engine = &c->answer->engines[e];
        /* Without usable holds nothing was estimated, but the facts may tell the rating. */
        double start = isnan(engine->thermostat_start) ? c->agreed[e].thermostat_start
                                                       : engine->thermostat_start;
        struct warm_limits limits = warm_limits_of(start, full_speed(c, e));
        for (size_t i = 0; i < count; i++)
            warmups_take(&engine->warmups, order[i], &comparison_trials(c, e)[order[i]].columns,
                         limits);
        look_at_holds(c, e);
    }
    return status;
}
