/* seasons_read.c - see seasons_read.h. */
#include "seasons_read.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "boat_file.h"
#include "folder.h"
#include "provenance.h"
#include "run_list.h"
#include "service_log.h"
#include "text.h"

/* --- paths */

static bool is_folder(const char *path)
{
    struct stat about;
    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

static enum status list_all(const struct seasons_paths *from, struct run_list *paths,
                            struct complaint *complaint)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < from->count && !status; i++) {
        if (is_folder(from->list[i]))
            status = run_list_folder(from->list[i], paths, complaint);
        else if (run_list_add(paths, strdup(from->list[i])))
            status = complain(complaint, STATUS_MEMORY, "no memory left to list the runs");
    }
    return status;
}

/* --- runs */

static enum status refuse(struct seasons *out, const char *path, const char *why)
{
    struct season_refused *grown = realloc(out->refused, (out->refused_count + 1) * sizeof *grown);
    if (!grown)
        return STATUS_MEMORY;
    out->refused = grown;
    struct season_refused *row = &grown[out->refused_count++];
    *row = (struct season_refused){strdup(path), strdup(why)};
    return row->path && row->why ? STATUS_OK : STATUS_MEMORY;
}

/* Without a date a run has no place among the seasons. */
static const char *cannot_be_placed(const struct outing *outing)
{
    return strcmp(outing->clock, "nominal") == 0
               ? "it has no date: the logger knew none while it was recorded"
               : NULL;
}

/* Takes over what one file said. */
static enum status take_result(struct seasons *out, const char *path, struct outing_result *result,
                               struct complaint *complaint)
{
    if (result->status == STATUS_MEMORY)
        return complain(complaint, result->status, "%s", result->complaint.text);
    const char *undated = result->status ? NULL : cannot_be_placed(&result->outing);
    if (!result->status && !undated) {
        out->outings[out->outing_count++] = result->outing;
        result->outing = (struct outing){0};
        return STATUS_OK;
    }
    return refuse(out, path, undated ? undated : result->complaint.text)
               ? complain(complaint, STATUS_MEMORY, "no memory left for the runs")
               : STATUS_OK;
}

static enum status take_results(const struct run_list *paths, struct outing_result *results,
                                struct seasons *out, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < paths->count && !status; i++)
        status = take_result(out, paths->list[i], &results[i], complaint);
    if (status || out->outing_count > 0)
        return status;
    const char *why = out->refused_count > 0 ? out->refused[0].why : "";
    if (paths->count == 1)
        return complain(complaint, STATUS_NOT_FOUND, "%.900s", why);
    return complain(complaint, STATUS_NOT_FOUND,
                    "not one of the %zu runs there can be used. The first: %.800s", paths->count,
                    why);
}

/* Does the outing say that it has not got what is wished for? */
static bool lacks(const struct outing *outing, const char *wish)
{
    for (size_t i = 0; i < outing->warning_count; i++)
        if (strcmp(outing->warnings[i].key, SOURCE_NOT_THERE) == 0 &&
            strncmp(outing->warnings[i].text, wish, strlen(wish)) == 0)
            return true;
    return false;
}

/* A source that no run has was mistyped, perhaps: nothing would come of it, unseen. */
static void tell_unmet(struct seasons *out, const struct source_wish *wish)
{
    char words[200]; /* as the warning begins */
    snprintf(words, sizeof words, "%s=%s:", channel_get(wish->channel)->key, wish->source);
    for (size_t o = 0; o < out->outing_count; o++)
        if (!lacks(&out->outings[o], words))
            return;
    season_warn(out, 0, -1, "source_nowhere",
                "Nothing came of --source %s=%s: no run has that source among those that can be "
                "chosen, and each was read from its own. searun-analyze show lists what is in a "
                "run.",
                channel_get(wish->channel)->key, answer_cut(wish->source).s);
}

static enum status read_runs(const struct seasons_paths *from, const struct run_list *paths,
                             struct seasons *out, struct complaint *complaint)
{
    struct outing_result *results = calloc(paths->count + 1, sizeof *results);
    out->outings = calloc(paths->count + 1, sizeof *out->outings);
    enum status status =
        results && out->outings
            ? outings_read(paths->list, paths->count, &from->reading, results, complaint)
            : complain(complaint, STATUS_MEMORY, "no memory left for the runs");
    if (!status)
        status = take_results(paths, results, out, complaint);
    for (size_t i = 0; i < from->reading.wishes.count && !status; i++)
        tell_unmet(out, &from->reading.wishes.list[i]);
    if (results)
        outings_free(results, paths->count);
    free(results);
    return status;
}

/* --- the service log */

static void write_words(const struct service_event *from, struct season_event *to)
{
    snprintf(to->what, sizeof to->what, "%s", service_title(from->kind));
    if (from->kind == SERVICE_OTHER && from->notes[0] != '\0')
        snprintf(to->what, sizeof to->what, "%s", answer_cut(from->notes).s);
}

static bool is_of_boat(const struct outing *outing, const char *boat)
{
    const char *name = facts_get(&outing->facts, FACT_BOAT, 0, "name");
    return boat[0] == '\0' || service_same_words(boat, name, strlen(name));
}

static bool is_known_boat(const struct seasons *seasons, const char *boat)
{
    for (size_t o = 0; o < seasons->outing_count; o++)
        if (is_of_boat(&seasons->outings[o], boat))
            return true;
    return false;
}

/* A log may serve several boats; a name that is spelt otherwise must not go unnoticed. */
static void warn_of_strangers(struct seasons *out, const struct service_log *log)
{
    const struct service_event *first = NULL;
    size_t count = 0;
    for (size_t i = 0; i < log->count; i++)
        if (!is_known_boat(out, log->events[i].boat)) {
            first = first ? first : &log->events[i];
            count++;
        }
    if (first)
        season_warn(
            out, 0, -1, "service_boat",
            "%zu line%s of the service log name%s a boat that none of these runs is of (the "
            "first: \"%s\", line %u). They were left out; if the boat is the same, write its "
            "name as the runs do.",
            count, count == 1 ? "" : "s", count == 1 ? "s" : "", answer_cut(first->boat).s,
            first->line);
}

/* The number of the engine that the work was done on (-1: all of them), among the outings of the
 * boat, or of all where the log names none; -2 if there is no such engine. */
static int number_of(const struct seasons *seasons, const struct service_event *event)
{
    if (event->label[0] == '\0' && event->engine < 0)
        return -1;
    for (size_t o = 0; o < seasons->outing_count; o++)
        for (size_t i = 0; i < seasons->outings[o].engine_count; i++) {
            int instance = seasons->outings[o].engines[i].instance;
            const char *own = facts_get(&seasons->outings[o].facts, FACT_ENGINE, instance, "label");
            if (is_of_boat(&seasons->outings[o], event->boat) &&
                service_event_touches(event, instance, own))
                return instance;
        }
    return -2;
}

/* An instant that has the right place among the outings: on the day itself their purpose tells. */
static double instant_of(const struct seasons *seasons, const struct service_event *event)
{
    double at = (double)event->date;
    for (size_t o = 0; o < seasons->outing_count && event->day_only; o++) {
        const struct outing *outing = &seasons->outings[o];
        int64_t start = outing->start_unix_us / 1000000;
        const char *purpose = facts_get(&outing->facts, FACT_RUN, 0, "purpose");
        bool that_day = start >= event->date && start < event->date + 86400;
        if (that_day && !service_event_precedes(event, start, purpose))
            at = fmax(at, (double)start + 1);
    }
    return at;
}

static enum status take_event(struct seasons *out, const struct service_event *from)
{
    if (!is_known_boat(out, from->boat))
        return STATUS_OK;
    int engine = number_of(out, from);
    char number[12];
    snprintf(number, sizeof number, "%d", from->engine);
    struct season_event event = {
        .at = instant_of(out, from),
        .hours = from->hours,
        .engine = engine,
        .step = service_effect(from->kind) != SERVICE_EFFECT_NONE,
        .new_thermostat = from->kind == SERVICE_THERMOSTAT_CHANGED,
        .new_sender = from->kind == SERVICE_SENDER_EXCHANGED,
        .kept_sender = from->kind == SERVICE_SENDER_KEPT,
    };
    write_words(from, &event);
    snprintf(event.boat, sizeof event.boat, "%s", from->boat);
    if (engine == -2)
        season_warn(out, 0, -1, "service_engine",
                    "The service log names an engine \"%s\" in line %u; no run has an engine of "
                    "that name or number, and the line was left out.",
                    from->label[0] != '\0' ? answer_cut(from->label).s : number, from->line);
    return engine == -2 ? STATUS_OK : seasons_add_event(out, &event);
}

/* Lines that were left out, and how dates were read. */
static void tell_remarks(struct seasons *out, const struct service_log *log)
{
    struct text words = {0};
    for (size_t i = 0; service_log_remark(log, i, &words); i++) {
        season_warn(out, 0, -1, "service_log_line", "%s", text_string(&words));
        text_free(&words);
    }
    text_free(&words);
}

/* Does a boat of the runs have more than one engine? */
static bool has_twin(const struct seasons *out)
{
    for (size_t o = 0; o < out->outing_count; o++)
        if (out->outings[o].engine_count > 1)
            return true;
    return false;
}

/* Work of which nobody wrote on which of the engines it was done. */
static void tell_unsaid(struct seasons *out, const struct service_log *log)
{
    const struct service_event *first = NULL;
    size_t count = 0;
    for (size_t i = 0; i < log->count; i++) {
        const struct service_event *event = &log->events[i];
        if (event->engine_said || service_effect(event->kind) == SERVICE_EFFECT_NONE)
            continue;
        first = first ? first : event;
        count++;
    }
    if (first && has_twin(out))
        season_warn(out, 0, -1, "service_all_engines",
                    "%zu line%s of the service log (the first: line %u, %s) %s no engine and %s "
                    "for every engine of the boat. If only one of them was worked on, write its "
                    "number or label into the column \"engine\"; all says that it was each.",
                    count, count == 1 ? "" : "s", first->line, service_title(first->kind),
                    count == 1 ? "names" : "name", count == 1 ? "counts" : "count");
}

static enum status take_log(const char *path, struct seasons *out, struct complaint *complaint)
{
    struct service_log log = {0};
    enum status status = service_log_read(path, &log, complaint);
    for (size_t i = 0; i < log.count && !status; i++)
        status = take_event(out, &log.events[i])
                     ? complain(complaint, STATUS_MEMORY, "no memory left for %s", path)
                     : STATUS_OK;
    if (!status) {
        warn_of_strangers(out, &log);
        tell_remarks(out, &log);
        tell_unsaid(out, &log);
        snprintf(out->log_path, sizeof out->log_path, "%s", path);
        status = provenance_sha256(path, out->log_sha256, complaint);
    }
    service_log_free(&log);
    return status;
}

/* A log that was merely found must not stop the report. */
static enum status take_found(const char *path, struct seasons *out, struct complaint *complaint)
{
    struct complaint why = {""};
    enum status status = take_log(path, out, &why);
    if (status == STATUS_OK || status == STATUS_MEMORY)
        return status == STATUS_OK ? status : complain(complaint, status, "%s", why.text);
    season_warn(out, 0, -1, "service_log_unreadable",
                "The service log beside the runs was left out: %.340s", why.text);
    return STATUS_OK;
}

/* Folders are looked into in the order they are named; the first log that is there counts. */
static enum status find_log(const struct seasons_paths *from, struct seasons *out,
                            struct complaint *complaint)
{
    enum status status = STATUS_OK;
    if (from->services && strcmp(from->services, "none") == 0)
        return STATUS_OK;
    if (from->services)
        return take_log(from->services, out, complaint);
    for (size_t i = 0; i < from->count && !status && out->log_path[0] == '\0'; i++) {
        char *path = is_folder(from->list[i]) ? service_log_in(from->list[i])
                                              : service_log_beside(from->list[i]);
        struct stat about;
        if (!path)
            return complain(complaint, STATUS_MEMORY, "no memory left for the service log");
        if (stat(path, &about) == 0)
            status = take_found(path, out, complaint);
        free(path);
    }
    return status;
}

/* Looked at once, before every run is told of it. */
static enum status look_at_boat_file(const char *path, struct seasons *out,
                                     struct complaint *complaint)
{
    struct facts facts = {0};
    if (path == NULL)
        return STATUS_OK;
    enum status status = boat_file_read(path, &facts, complaint);
    for (size_t i = 0; i < facts.count && !status; i++)
        if (facts.list[i].section == FACT_RUN && facts.list[i].value[0] != '\0')
            status = complain(complaint, STATUS_BAD_USAGE,
                              "%s has a section [run] (%s): that is of one run, and here are many; "
                              "leave it out",
                              path, facts.list[i].key);
    facts_free(&facts);
    if (!status)
        status = provenance_sha256(path, out->boat_sha256, complaint);
    snprintf(out->boat_file, sizeof out->boat_file, "%s", path);
    return status;
}

enum status seasons_read(const struct seasons_paths *paths, struct seasons *out,
                         struct complaint *complaint)
{
    struct run_list all = {0};
    enum status status = look_at_boat_file(paths->reading.wishes.boat_file, out, complaint);
    if (!status)
        status = list_all(paths, &all, complaint);
    if (!status)
        status = read_runs(paths, &all, out, complaint);
    if (!status)
        status = find_log(paths, out, complaint);
    run_list_free(&all);
    return status;
}
