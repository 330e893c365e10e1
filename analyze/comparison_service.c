/* comparison_service.c - what the service history says of the runs compared. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "comparison.h"
#include "facts.h"
#include "provenance.h"

/* A log that was only found beside the runs must not stop a comparison; one that was named must be
 * readable. */
static enum status not_read(struct comparison *c, enum status status, const struct complaint *why)
{
    if (status == STATUS_MEMORY || !c->options->service_log_found)
        return complain(c->complaint, status, "%s", why->text);
    answer_warn(c->answer, "service_log_unreadable", -1,
                "The service log beside the runs was left out: %s", why->text);
    return STATUS_OK;
}

/* The boat's name from the first run that has it, or "". */
static const char *answer_boat(const struct answer *answer)
{
    for (size_t i = 0; i < answer->run_count; i++) {
        const char *name = facts_get(answer->runs[i].facts, FACT_BOAT, 0, "name");
        if (name[0] != '\0')
            return name;
    }
    return "";
}

/* Lines that were left out, and how dates were read. */
static void tell_remarks(struct answer *answer)
{
    struct text words = {0};
    for (size_t i = 0; service_log_remark(answer->service, i, &words); i++) {
        answer_warn(answer, "service_log_line", -1, "%s", text_string(&words));
        text_free(&words);
    }
    text_free(&words);
}

enum status comparison_read_service(struct comparison *c)
{
    struct answer *answer = c->answer;
    const char *path = c->options->service_log;
    struct complaint why = {""};
    if (path == NULL)
        return STATUS_OK;
    answer->service = calloc(1, sizeof *answer->service);
    if (answer->service == NULL)
        return comparison_no_memory(c);
    enum status status = provenance_sha256(path, answer->service_sha256, &why);
    if (status == STATUS_OK)
        status = service_log_read(path, answer->service, &why);
    if (status == STATUS_OK) {
        service_log_keep_boat(answer->service, answer_boat(answer));
        snprintf(answer->service_path, sizeof answer->service_path, "%s", path);
        tell_remarks(c->answer);
        return STATUS_OK;
    }
    service_log_free(answer->service);
    free(answer->service);
    answer->service = NULL;
    return not_read(c, status, &why);
}

/* Does the log mean an engine of the runs? */
static bool is_of_an_engine(const struct answer *answer, const struct service_event *event)
{
    if (event->label[0] == '\0' && event->engine < 0)
        return true;
    for (size_t e = 0; e < answer->engine_count; e++)
        if (service_event_touches(event, answer->engines[e].instance, answer->engines[e].label))
            return true;
    return false;
}

bool answer_service_between(const struct answer *answer, const struct service_event *event)
{
    if (!is_of_an_engine(answer, event))
        return false;
    for (size_t i = 0; i < answer->run_count; i++) {
        const struct run_summary *run = &answer->runs[i];
        bool after = run->side == SIDE_AFTER;
        if (service_event_precedes(event, run->start_unix_us / 1000000,
                                   after ? "after service" : "before service") != after)
            return false;
    }
    return true;
}

/* Work on an engine that is in none of the runs: a slip of the pen, told once. */
static void check_engine(struct comparison *c, const struct service_event *event)
{
    if (is_of_an_engine(c->answer, event))
        return;
    char number[12];
    snprintf(number, sizeof number, "%d", event->engine);
    answer_warn(c->answer, "service_log_engine", -1,
                "Line %u of the service log names the engine \"%s\", which is in none of the runs: "
                "it counts for no engine.",
                event->line, event->label[0] != '\0' ? answer_cut(event->label).s : number);
}

/* A sender that was exchanged is part of the change shown, whatever the facts of the runs say. */
static void check_sender(struct comparison *c, const struct service_event *event)
{
    if (service_effect(event->kind) != SERVICE_EFFECT_READING ||
        !answer_service_between(c->answer, event))
        return;
    for (size_t e = 0; e < c->answer->engine_count; e++) {
        const struct engine_answer *engine = &c->answer->engines[e];
        if (c->agreed[e].sender_changed ||
            !service_event_touches(event, engine->instance, engine->label))
            continue;
        c->agreed[e].sender_changed = true;
        answer_warn(c->answer, "sender_exchanged", engine->instance,
                    "The service log says that the temperature sender was exchanged between the "
                    "runs: the difference of the two senders is part of the change shown, and its "
                    "uncertainty was put into the interval.");
    }
}

/* Two thermostats of one rating open at different temperatures: what they differ by is part of the
 * change wherever they are in control. */
static void check_thermostat(struct comparison *c, const struct service_event *event)
{
    if (event->kind != SERVICE_THERMOSTAT_CHANGED || !answer_service_between(c->answer, event))
        return;
    for (size_t e = 0; e < c->answer->engine_count; e++) {
        const struct engine_answer *engine = &c->answer->engines[e];
        struct agreed *agreed = &c->agreed[e];
        double apart = hypot(agreed->thermostat_u, agreed->thermostat_u);
        if (!service_event_touches(event, engine->instance, engine->label) ||
            strcmp(agreed->thermostat_from, "given") == 0 || agreed->thermostat_shift >= apart)
            continue;
        agreed->thermostat_shift = apart;
        answer_warn(
            c->answer, "thermostat_changed", engine->instance,
            "The service log says that the thermostat was changed between the runs. Two of one "
            "rating differ by %.1f K or so (standard uncertainty); that is part of the change "
            "shown and was put into the interval.",
            apart);
    }
}

void comparison_apply_service(struct comparison *c)
{
    const struct service_log *log = c->answer->service;
    for (size_t i = 0; log != NULL && i < log->count; i++) {
        check_engine(c, &log->events[i]);
        check_sender(c, &log->events[i]);
        check_thermostat(c, &log->events[i]);
    }
}
