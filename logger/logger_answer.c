/* logger_answer.c - see logger_inside.h. What is asked of a logger at work. */
#include "logger_inside.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Keeps an event of a person's where the present moment goes. False if storage is too far
 * behind. */
static bool keep_event(struct logger *it, int64_t now, const char *key, const char *text,
                       unsigned uid)
{
    char words[256];
    snprintf(words, sizeof words, "%.230s (uid %u)", text, uid);
    intake_event(it->front, now, key, words);
    return !it->front->dropped;
}

void logger_tell_fact(struct logger *it, int64_t now, const char *key, const char *value,
                      unsigned uid)
{
    char text[256];
    snprintf(text, sizeof text, "%s=%s", key, value);
    keep_event(it, now, "fact", text, uid);
}

static enum status behind(struct complaint *complaint)
{
    return complain(complaint, STATUS_FULL,
                    "storage is too far behind to keep this just now; try again");
}

/* "in the run", or what becomes of it without one. */
static void put_where(const struct logger *it, FILE *reply)
{
    if (it->run)
        fprintf(reply, "kept\n");
    else
        fprintf(reply, "no run is being recorded; kept for one that begins within %g s\n",
                it->config.settings.before_start);
}

static enum status answer_mark(struct logger *it, const struct request *request, unsigned uid,
                               FILE *reply, struct complaint *complaint)
{
    if (!keep_event(it, loop_now(&it->loop).at, "mark", request->text, uid))
        return behind(complaint);
    put_where(it, reply);
    return STATUS_OK;
}

static enum status answer_fact(struct logger *it, const struct request *request, unsigned uid,
                               FILE *reply, struct complaint *complaint)
{
    bool open = it->run && it->stage != RUN_OPENING;
    struct facts *facts = open ? &it->run->config.facts : &it->pending;
    enum status status = facts_set(facts, FACT_RUN, 0, request->key, request->text, complaint);
    if (status != STATUS_OK)
        return status;
    it->pending_uid = uid;
    if (open)
        logger_tell_fact(it, loop_now(&it->loop).at, request->key,
                         facts_get(facts, FACT_RUN, 0, request->key), uid);
    fprintf(reply, "%s = %s: kept for %s\n", request->key,
            facts_get(facts, FACT_RUN, 0, request->key), it->run ? "this run" : "the next run");
    return STATUS_OK;
}

static enum status answer_start(struct logger *it, unsigned uid, FILE *reply,
                                struct complaint *complaint)
{
    if (it->run)
        return complain(complaint, STATUS_EXISTS, "a run is being recorded already%s%s",
                        it->run->path[0] && it->stage != RUN_OPENING ? ": " : "",
                        it->stage != RUN_OPENING ? it->run->path : "");
    if (it->trouble != ACTIVITY_WAITING)
        return complain(complaint, STATUS_FULL,
                        "nothing can be recorded just now; see searun-logger status");
    it->asked_start = true;
    it->begun_by = "by hand";
    say(it->voice, SAY_NOTE, "user %u starts a run", uid);
    fprintf(reply, "a run begins\n");
    return STATUS_OK;
}

static enum status answer_stop(struct logger *it, unsigned uid, FILE *reply,
                               struct complaint *complaint)
{
    char why[64];
    if (!it->run && it->asked_start) {
        it->asked_start = false;
        it->begun_by = NULL;
        fprintf(reply, "the run that was asked for does not begin\n");
        return STATUS_OK;
    }
    if (!it->run)
        return complain(complaint, STATUS_NOT_FOUND, "no run is being recorded");
    if (it->stage != RUN_LIVE)
        return complain(complaint, STATUS_EXISTS, "the run is just beginning; try again");
    int64_t now = loop_now(&it->loop).at;
    snprintf(why, sizeof why, "by hand (uid %u)", uid);
    say(it->voice, SAY_NOTE, "the user with number %u stops the run", uid);
    if (logger_is_unattended(it)) {
        fprintf(reply, "the run ends: %s\n", it->run->path);
        it->by_hand = true;
        logger_end_run(it, now, why);
    } else {
        fprintf(reply, "the run ends, and the logger with it: %s\n", it->run->path);
        intake_event(it->front, now, "run_ended", why);
        it->leaving = true;
    }
    return STATUS_OK;
}

enum activity logger_activity(const struct logger *it)
{
    if (!it->run)
        return it->trouble;
    return it->stage == RUN_OPENING ? ACTIVITY_BEGINNING : ACTIVITY_RECORDING;
}

static struct situation look_around(struct logger *it)
{
    bool open = it->run && it->stage != RUN_OPENING;
    struct situation situation = {
        .activity = logger_activity(it),
        .unattended = logger_is_unattended(it),
        .now = loop_now(&it->loop).at,
        .run = open ? it->run->path : "",
        .run_at = it->run ? it->run->start.zero : 0,
        .facts = open ? &it->run->config.facts : &it->config.facts,
        .last_run = it->last_run,
        .finishing = (unsigned)it->ending_count,
        .by_hand = it->by_hand,
        .folder = it->folder,
        .space_free = space_free(it->folder),
        .reserve = logger_reserve(it),
        .ring_fill = open ? writer_fill(it->run->writer) : 0,
        .live = &it->live,
        .inlets = it->inlets,
        .inputs = it->inputs,
        .input_count = it->inlet_count,
        .tallies = it->front->tallies,
    };
    situation.kept_from = logger_kept_from(it, situation.now);
    return situation;
}

static enum status answer(void *self, const struct request *request, unsigned uid, FILE *reply,
                          struct complaint *complaint)
{
    struct logger *it = self;
    struct situation situation;
    char folder[PATH_MAX];
    switch (request->kind) {
    case REQUEST_MARK:
        return answer_mark(it, request, uid, reply, complaint);
    case REQUEST_NOTE:
    case REQUEST_PURPOSE:
        return answer_fact(it, request, uid, reply, complaint);
    case REQUEST_START:
        return answer_start(it, uid, reply, complaint);
    case REQUEST_STOP:
        return answer_stop(it, uid, reply, complaint);
    case REQUEST_STATUS:
    case REQUEST_KIND_COUNT:
        break;
    }
    situation = look_around(it);
    if (realpath(it->folder, folder)) /* who asks may stand in another folder than the logger */
        situation.folder = folder;
    if (request->json)
        return situation_json(&situation, reply);
    situation_text(&situation, reply);
    return STATUS_OK;
}

void logger_open_control(struct logger *it)
{
    char path[PATH_ROOM];
    struct complaint complaint = {""};
    const struct control_host host = {it, answer};
    if (it->replay || !ask_place(&it->config.settings, it->folder, path, sizeof path))
        return;
    if (control_open(path, &host, &it->control, &complaint) == STATUS_OK)
        loop_call(&it->loop, CALL_CONTROL, control_fd(it->control));
    else
        say(it->voice, SAY_WARNING,
            "%s; searun-logger mark, status and the like cannot be used. --socket names another "
            "place",
            complaint.text);
}
