/* known_engines.c - see known_engines.h. */
#include "known_engines.h"

#include <stdio.h>
#include <string.h>

#include "facts.h"
#include "run_list.h"
#include "run_read.h"

static bool is_told(const struct known_engines *known, int number, const char *label)
{
    for (size_t i = 0; i < known->count; i++)
        if (known->list[i].number == number && strcmp(known->list[i].label, label) == 0)
            return true;
    return false;
}

static void take_engine(struct known_engines *known, const struct facts *facts, int number,
                        const struct service_event *event)
{
    char label[sizeof known->list[0].label];
    snprintf(label, sizeof label, "%s", facts_get(facts, FACT_ENGINE, number, "label"));
    known->found |= service_event_touches(event, number, label);
    if (known->count == KNOWN_ENGINES_MAX || is_told(known, number, label))
        return;
    struct known_engine *row = &known->list[known->count++];
    row->number = number;
    memcpy(row->label, label, sizeof label);
}

static bool is_of_boat(const struct facts *facts, const char *boat)
{
    const char *name = facts_get(facts, FACT_BOAT, 0, "name");
    return boat[0] == '\0' || service_same_words(boat, name, strlen(name));
}

/* Engines that a run has readings of, and those that it has facts of. */
static void take_run(struct known_engines *known, const struct run *run,
                     const struct service_event *event)
{
    const struct facts *facts = run_facts(run);
    if (!is_of_boat(facts, event->boat))
        return;
    known->runs++;
    for (size_t i = 0; i < run_stream_count(run); i++)
        if (run_stream(run, i)->origin.place == PLACE_ENGINE)
            take_engine(known, facts, run_stream(run, i)->origin.instance, event);
    for (size_t i = 0; i < facts->count; i++)
        if (facts->list[i].section == FACT_ENGINE)
            take_engine(known, facts, facts->list[i].engine, event);
}

enum status known_engines_look(const char *folder, const struct service_event *event,
                               struct known_engines *out, struct complaint *complaint)
{
    struct run_list paths = {0};
    struct complaint untold; /* a folder without runs, or a file that is none, is no fault here */
    *out = (struct known_engines){0};
    enum status status = run_list_folder(folder, &paths, &untold);
    for (size_t i = paths.count; i-- > 0 && status == STATUS_OK && !out->found;) {
        struct run *run = NULL;
        status = run_open(paths.list[i], &run, &untold);
        if (status == STATUS_OK)
            take_run(out, run, event);
        else if (status != STATUS_MEMORY)
            status = STATUS_OK;
        if (run != NULL)
            run_close(run);
    }
    run_list_free(&paths);
    return status == STATUS_MEMORY ? complain(complaint, status, "no memory left") : STATUS_OK;
}
