/* service_command.c - tells the service history, and adds to it. */
#include "service_command.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

#include "known_engines.h"
#include "report.h"
#include "section_service.h"
#include "service_columns.h"

static bool ends_in(const char *text, const char *end)
{
    size_t length = strlen(text), tail = strlen(end);
    return length >= tail && strcasecmp(text + length - tail, end) == 0;
}

/* The log that a place means: a folder's, that beside a run file, or the file itself. */
static char *log_of(const char *place, enum status *status, struct complaint *complaint)
{
    struct stat about;
    char *path = NULL;
    bool there = stat(place, &about) == 0;
    *status = STATUS_OK;
    if (there && S_ISDIR(about.st_mode))
        path = service_log_in(place);
    else if (ends_in(place, ".csv"))
        path = strdup(place);
    else if (there)
        path = service_log_beside(place);
    else
        *status = complain(complaint, STATUS_NOT_FOUND,
                           "there is no %s; name the folder of the runs, a run file in it, or a "
                           "log (.csv)",
                           place);
    if (path == NULL && *status == STATUS_OK)
        *status = complain(complaint, STATUS_MEMORY, "no memory left");
    return path;
}

/* --- telling */

/* Lines that cannot be meant, and how dates were read. */
static void tell_remarks(struct document *out, const struct service_log *log)
{
    struct text words = {0};
    for (size_t i = 0; service_log_remark(log, i, &words); i++) {
        document_item(out, text_string(&words));
        text_free(&words);
    }
    out->failed |= words.failed;
    text_free(&words);
}

static enum status tell(const struct service_request *request, const char *path,
                        struct document *out, struct complaint *complaint)
{
    struct service_log log;
    enum status status = service_log_read(path, &log, complaint);
    if (status == STATUS_NOT_FOUND) {
        struct text place = {0};
        text_shell(&place, request->place);
        complain(complaint, status,
                 "there is no service log %s yet; add its first line with: searun-analyze service "
                 "%s --date 2026-05-14 --what exchanger-replaced",
                 path, text_string(&place));
        text_free(&place);
    } else if (status == STATUS_OK) {
        document_title(out, "Service history", path);
        service_table(out, &request->style, &log);
        if (log.count == 0)
            document_paragraph(out, "No work is in it yet.");
        tell_remarks(out, &log);
    }
    service_log_free(&log);
    return status;
}

/* --- adding */

static enum status look_at(const struct service_request *request, struct complaint *complaint)
{
    if (request->what.count == 0)
        return complain(complaint, STATUS_BAD_USAGE,
                        "say what was done: --what exchanger-acid-cleaned; `searun-analyze service "
                        "--help` lists the words");
    if (request->date == NULL)
        return complain(complaint, STATUS_BAD_USAGE, "say when it was done: --date 2026-05-14");
    return STATUS_OK;
}

static const char *typed(const char *value)
{
    return value != NULL ? value : "";
}

static struct service_entry entry_of(const struct service_request *request, size_t index)
{
    return (struct service_entry){
        .date = typed(request->date),
        .hours = typed(request->hours),
        .engine = typed(request->engine),
        .what = request->what.list[index],
        .by = typed(request->by),
        .notes = typed(request->notes),
        .boat = typed(request->boat),
    };
}

static void say_added(struct document *out, const struct service_entry *entry, const char *path)
{
    struct service_date date;
    struct complaint why;
    if (service_date_read(entry->date, DATE_ORDER_OPEN, &date, &why) != STATUS_OK)
        return; /* it was added, so it was read before */
    document_itemf(out, "Added to %s: %s, %s%s%s.", path,
                   date.day_only ? word_date(date.at * 1000000).s : word_time(date.at * 1000000).s,
                   service_title(service_find(entry->what)),
                   entry->engine[0] != '\0' ? ", engine " : "", entry->engine);
}

/* --- an engine that nobody knows */

static void engine_words(struct text *out, int number, const char *label)
{
    if (label[0] != '\0')
        text_addf(out, "\"%s\"", label);
    else
        text_addf(out, "%d", number);
}

static void known_words(struct text *out, const struct known_engines *known)
{
    for (size_t i = 0; i < known->count; i++) {
        text_addf(out, "%sengine %d", i > 0 ? ", " : "", known->list[i].number);
        if (known->list[i].label[0] != '\0')
            text_addf(out, " (\"%s\")", known->list[i].label);
    }
    if (known->count == 0)
        text_add(out, "no engine");
}

static void say_unknown(struct document *out, const struct service_event *event,
                        const struct known_engines *known, size_t added, const char *path)
{
    struct text name = {0}, others = {0};
    engine_words(&name, event->engine, event->label);
    known_words(&others, known);
    document_itemf(
        out,
        "Look again: no run beside the log has an engine %s; there is %s. What was added "
        "is kept, but reports leave it out until a run has that engine. If it was a "
        "slip, correct the column \"engine\" in the last line%s of %s.",
        text_string(&name), text_string(&others), added == 1 ? "" : "s", path);
    out->failed |= name.failed || others.failed;
    text_free(&name);
    text_free(&others);
}

/* Without runs only the lines that are there can tell of a slip: the first that has this name,
 * beside others of the same boat that have another. */
static void compare_with_log(struct document *out, const struct service_event *event, size_t added,
                             const char *path)
{
    struct service_log log;
    struct complaint why;
    size_t same = 0;
    const char *other = "";
    if (service_log_read(path, &log, &why) == STATUS_OK) {
        service_log_keep_boat(&log, event->boat);
        for (size_t i = 0; i < log.count; i++) {
            const char *label = log.events[i].label;
            if (service_same_words(label, event->label, strlen(event->label)))
                same++;
            else if (label[0] != '\0')
                other = label;
        }
        if (event->label[0] != '\0' && same <= added && other[0] != '\0')
            document_itemf(out,
                           "Look again: no line of %s named the engine \"%s\" before; others name "
                           "\"%s\". If it is the same engine, correct the column \"engine\" there.",
                           path, event->label, other);
    }
    service_log_free(&log);
}

static char *folder_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    if (slash == NULL)
        return strdup(".");
    return strndup(path, slash == path ? 1 : (size_t)(slash - path));
}

/* Work on an engine that no run has is left out of the reports; better said while it is fresh. */
static enum status look_at_engine(const struct service_entry *entry, size_t added, const char *path,
                                  struct document *out, struct complaint *complaint)
{
    struct service_event event = {0};
    struct known_engines known;
    enum status status = service_columns[SERVICE_ENGINE].read(entry->engine, &event, complaint);
    if (status == STATUS_OK)
        status = service_columns[SERVICE_BOAT].read(entry->boat, &event, complaint);
    if (status != STATUS_OK || (event.engine < 0 && event.label[0] == '\0'))
        return status; /* all of them */
    char *folder = folder_of(path);
    if (folder == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory left");
    status = known_engines_look(folder, &event, &known, complaint);
    if (status == STATUS_OK && known.runs == 0)
        compare_with_log(out, &event, added, path);
    else if (status == STATUS_OK && !known.found)
        say_unknown(out, &event, &known, added, path);
    free(folder);
    return status;
}

static enum status add(const struct service_request *request, const char *path,
                       struct document *out, struct complaint *complaint)
{
    enum status status = look_at(request, complaint);
    for (size_t i = 0; i < request->what.count && status == STATUS_OK; i++) {
        struct service_entry entry = entry_of(request, i);
        status = service_entry_check(&entry, complaint);
    }
    for (size_t i = 0; i < request->what.count && status == STATUS_OK; i++) {
        struct service_entry entry = entry_of(request, i);
        status = service_log_add(path, &entry, complaint);
        if (status == STATUS_OK)
            say_added(out, &entry, path);
    }
    if (status == STATUS_OK) {
        struct service_entry entry = entry_of(request, 0);
        status = look_at_engine(&entry, request->what.count, path, out, complaint);
    }
    return status;
}

enum status service_run(const struct service_request *request, struct document *out,
                        struct complaint *complaint)
{
    enum status status;
    bool adding = request->what.count > 0 || request->date != NULL || request->hours != NULL ||
                  request->engine != NULL || request->by != NULL || request->notes != NULL ||
                  request->boat != NULL;
    char *path = log_of(request->place, &status, complaint);
    if (status == STATUS_OK)
        status = adding ? add(request, path, out, complaint) : tell(request, path, out, complaint);
    if (status == STATUS_OK && out->failed)
        status = complain(complaint, STATUS_MEMORY, "no memory left");
    free(path);
    return status;
}
