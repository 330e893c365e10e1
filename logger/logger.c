/* logger.c - see logger.h. */
#include "logger.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <time.h>
#include <unistd.h>

#include "dates.h"
#include "input_replay.h"
#include "intake.h"
#include "loop.h"
#include "watch.h"
#include "writer.h"

#define NAMES_TRIED 1000
#define PATH_ROOM 4096

/* Everything that a run needs while it is recorded. */
struct recording {
    struct config *config;
    const struct order *order;
    const struct voice *voice;
    struct transducer_map map;
    struct run_input inputs[INPUTS_MAX]; /* as they go into the run file */
    size_t input_count;
    struct inlet inlets[INPUTS_MAX]; /* one, if a capture is replayed */
    size_t inlet_count;
    const void *replay; /* its driver's self, or NULL */
    char path[PATH_ROOM];
    bool named_by_us;
    int64_t start_unix_us;
    enum clock_source clock;
    struct loop loop;
    struct dates dates;
    struct watch *watch;
    struct writer *writer;
    struct intake intake;
};

/* --- names and folders */

/* "Tern's Reach" becomes "terns-reach": letters and digits, all else one hyphen, apostrophes nothing. */
static void append_slug(char *to, size_t room, const char *text)
{
    size_t length = strlen(to);
    bool hyphen = true;
    for (; *text && length + 2 < room; text++) {
        unsigned char c = (unsigned char)*text;
        bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
        if (c == '\'' || (!letter && hyphen && length == strlen(to)))
            continue;
        if (!letter) {
            hyphen = true;
            continue;
        }
        if (hyphen)
            to[length++] = '-';
        hyphen = false;
        to[length++] = (char)(c >= 'A' && c <= 'Z' ? c + 'a' - 'A' : c);
        to[length] = '\0';
    }
}

void logger_run_name(char *to, size_t room, int64_t start_unix_us, const char *boat)
{
    struct tm date;
    time_t seconds = (time_t)(start_unix_us / 1000000);
    gmtime_r(&seconds, &date);
    if (strftime(to, room < 48 ? room : 48, "%Y%m%dT%H%M%SZ", &date) == 0)
        snprintf(to, room, "run");
    append_slug(to, room < 80 ? room : 80, boat);
    size_t length = strlen(to);
    snprintf(to + length, room - length, ".h5");
}

/* A name in the runs folder that nothing has yet. */
static enum status make_name(struct recording *it, int64_t start_unix_us)
{
    char name[128];
    const char *folder = it->config->settings.directory;
    logger_run_name(name, sizeof name, start_unix_us,
                    facts_get(&it->config->facts, FACT_BOAT, 0, "name"));
    size_t stem = strlen(name) - strlen(".h5");
    for (int number = 1; number < NAMES_TRIED; number++) {
        char part[PATH_ROOM + 8];
        if (number > 1)
            snprintf(name + stem, sizeof name - stem, "-%d.h5", number);
        if (snprintf(it->path, sizeof it->path, "%s/%s", folder, name) >= (int)sizeof it->path)
            return STATUS_BAD_USAGE;
        snprintf(part, sizeof part, "%s.part", it->path);
        if (access(it->path, F_OK) != 0 && access(part, F_OK) != 0)
            return STATUS_OK;
    }
    return STATUS_EXISTS;
}

static enum status name_run(struct recording *it)
{
    it->named_by_us = !it->order->output;
    if (!it->order->output)
        return make_name(it, it->start_unix_us);
    if (snprintf(it->path, sizeof it->path, "%s", it->order->output) >= (int)sizeof it->path - 8)
        return STATUS_BAD_USAGE;
    return STATUS_OK;
}

static void folder_of(const char *path, char *folder, size_t room)
{
    const char *slash = strrchr(path, '/');
    if (!slash)
        snprintf(folder, room, ".");
    else
        snprintf(folder, room, "%.*s", slash == path ? 1 : (int)(slash - path), path);
}

/* Makes the last part of the folder if that is all that is missing. */
static enum status make_folder(const struct recording *it)
{
    char folder[PATH_ROOM];
    struct stat about;
    folder_of(it->path, folder, sizeof folder);
    if (stat(folder, &about) == 0) {
        if (S_ISDIR(about.st_mode) && access(folder, W_OK | X_OK) == 0)
            return STATUS_OK;
        say(it->voice, SAY_ERROR, "runs cannot be written to %s: %s", folder,
            S_ISDIR(about.st_mode) ? strerror(errno) : "it is not a folder");
        return STATUS_IO;
    }
    if (mkdir(folder, 0777) == 0) {
        say(it->voice, SAY_NOTE, "made the folder %s", folder);
        return STATUS_OK;
    }
    say(it->voice, SAY_ERROR,
        "the folder %s is not there and cannot be made: %s. Make it first, or name another one "
        "with "
        "--directory or --output",
        folder, strerror(errno));
    return STATUS_NOT_FOUND;
}

static void say_space(const struct recording *it)
{
    char folder[PATH_ROOM];
    struct statvfs space;
    folder_of(it->path, folder, sizeof folder);
    if (statvfs(folder, &space) == 0 && space.f_bavail == 0)
        say(it->voice, SAY_ERROR, "no space is left in %s; remove something or name another folder",
            folder);
}

/* --- inputs */

static enum status no_inputs(const struct voice *voice)
{
    say(voice, SAY_ERROR, "nothing to record from; name an input with --input or in [inputs]:");
    for (size_t i = 0; i < input_driver_count; i++)
        say(voice, SAY_NOTE, "  %s", input_drivers[i]->usage);
    return STATUS_BAD_USAGE;
}

static enum status open_live(struct recording *it, struct complaint *complaint)
{
    const struct config *config = it->config;
    if (config->input_count == 0) {
        no_inputs(it->voice);
        return STATUS_BAD_USAGE;
    }
    it->input_count = config->input_count;
    memcpy(it->inputs, config->inputs, sizeof it->inputs);
    for (unsigned i = 0; i < it->input_count; i++) {
        enum status status = inlet_init(&it->inlets[i], i, it->inputs[i].text, &it->inputs[i],
                                        &config->settings, it->voice, complaint);
        if (status != STATUS_OK)
            return status;
        it->inlet_count++;
    }
    it->start_unix_us = it->loop.start_unix_us;
    it->clock = CLOCK_SYSTEM;
    return STATUS_OK;
}

static const char *const clock_words[] = {
    [CLOCK_SYSTEM] = "dates by the computer that recorded it",
    [CLOCK_GNSS] = "dates by GNSS",
    [CLOCK_CAPTURE] = "dates by the time stamps in it",
    [CLOCK_NOMINAL] = "without any date",
};

static void say_capture(const struct recording *it, const char *path,
                        const struct capture_about *about)
{
    say(it->voice, SAY_NOTE, "replaying %s: %s, %s", path, about->title, clock_words[about->clock]);
    if (about->kind == CAPTURE_TIMELESS)
        say(it->voice, SAY_WARNING,
            "nothing in %s tells the time: its lines are spread as a 4800-baud line would bring "
            "them, from 1970-01-01 on. Durations and slopes are only as good as that",
            path);
}

/* A candump log names its interfaces, but not what is known of them: which bus, which engine. That
 * is in the configuration, under the same names. */
static void take_bus_options(struct recording *it)
{
    const struct config *config = it->config;
    for (size_t i = 0; i < it->input_count; i++)
        for (size_t k = 0; k < config->input_count; k++)
            if (strncmp(it->inputs[i].text, "replay:", 7) == 0 &&
                strncmp(config->inputs[k].text, "can:", 4) == 0 &&
                strcmp(it->inputs[i].label, config->inputs[k].label) == 0)
                it->inputs[i] = config->inputs[k];
}

static enum status open_replay(struct recording *it, const char *path, struct complaint *complaint)
{
    char text[PATH_ROOM + 16];
    struct inlet *inlet = &it->inlets[0];
    snprintf(text, sizeof text, "replay:%s", path);
    enum status status =
        inlet_init(inlet, 0, text, &it->inputs[0], &it->config->settings, it->voice, complaint);
    if (status != STATUS_OK)
        return status;
    it->inlet_count = 1;
    it->replay = inlet->self;
    status = inlet->driver->open(inlet->self, complaint);
    if (status != STATUS_OK)
        return status;
    const struct capture_about *about = input_replay_about(inlet->self);
    input_replay_limit(inlet->self, it->order->duration);
    it->input_count = about->input_count;
    memcpy(it->inputs, about->inputs, sizeof it->inputs);
    take_bus_options(it);
    it->start_unix_us = about->start_unix_us;
    it->clock = about->clock;
    say_capture(it, path, about);
    return STATUS_OK;
}

/* The capture that the order or the only input names; NULL for a live run. */
static const char *capture_named(const struct recording *it, bool *mixed)
{
    const struct config *config = it->config;
    const char *path = it->order->replay;
    for (size_t i = 0; !path && i < config->input_count; i++)
        if (strncmp(config->inputs[i].text, "replay:", 7) == 0)
            path = config->inputs[i].text + 7;
    *mixed = path && path != it->order->replay && config->input_count > 1;
    return path;
}

static enum status open_inputs(struct recording *it)
{
    struct complaint complaint = {""};
    bool mixed;
    const char *path = capture_named(it, &mixed);
    enum status status = STATUS_OK;
    if (mixed)
        status = complain(&complaint, STATUS_BAD_USAGE,
                          "a capture has its own time and cannot be recorded together with other "
                          "inputs; replay it alone");
    else
        status = path ? open_replay(it, path, &complaint) : open_live(it, &complaint);
    if (status != STATUS_OK && complaint.text[0])
        say(it->voice, SAY_ERROR, "%s", complaint.text);
    return status;
}

/* --- beginning */

static enum status open_writer(struct recording *it)
{
    struct complaint complaint = {"the run file cannot be made"};
    const struct run_start start = {
        .path = it->path,
        .start_unix_us = it->start_unix_us,
        .clock = it->clock,
        .facts = &it->config->facts,
        .inputs = it->inputs,
        .input_count = it->input_count,
        .software = "searun-logger " SEARUN_VERSION,
    };
    static const struct store *const stores[] = {&run_file_store, NULL};
    size_t ring_size = (size_t)it->config->settings.ring_size * 1024 * 1024;
    enum status status = writer_new(stores, &start, ring_size, NULL, &it->writer, &complaint);
    if (status != STATUS_OK)
        say(it->voice, SAY_ERROR, "%s", complaint.text);
    return status;
}

static enum status out_of_memory(const struct recording *it)
{
    say(it->voice, SAY_ERROR, "no memory left");
    return STATUS_MEMORY;
}

static enum status begin(struct recording *it)
{
    enum status status = open_inputs(it);
    if (status != STATUS_OK)
        return status;
    status = name_run(it);
    if (status != STATUS_OK) {
        say(it->voice, SAY_ERROR, "no name for the run could be made in %s",
            it->config->settings.directory);
        return status;
    }
    status = make_folder(it);
    if (status != STATUS_OK)
        return status;
    if (config_transducers(it->config, &it->map) != STATUS_OK ||
        watch_new(it->voice, &it->config->facts, it->inputs, !it->replay, &it->watch) != STATUS_OK)
        return out_of_memory(it);
    status = open_writer(it);
    if (status != STATUS_OK)
        return status;
    intake_init(&it->intake, it->writer, &it->map, it->watch, &it->dates, it->inputs,
                it->input_count);
    it->intake.patient = it->replay != NULL;
    say(it->voice, SAY_NOTE, "recording to %s", it->path);
    return STATUS_OK;
}

/* --- end */

/* A clock that was set while recording is believed as it stood at the end. */
static void look_at_clock(struct recording *it)
{
    int64_t tolerance_us = (int64_t)(it->config->settings.clock_tolerance * 1e6);
    int64_t start_us = loop_start_by_clock(&it->loop);
    int64_t moved_us = start_us - it->start_unix_us;
    if (it->replay || llabs(moved_us) <= tolerance_us)
        return;
    it->start_unix_us = start_us - ((start_us % 1000) + 1000) % 1000;
    say(it->voice, SAY_WARNING,
        "the computer's clock was set by %.1f s during the run; the run is dated by the clock as "
        "it "
        "is now",
        (double)moved_us / 1e6);
}

static void look_at_dates(struct recording *it)
{
    int64_t tolerance_us = (int64_t)(it->config->settings.clock_tolerance * 1e6);
    struct dates_verdict verdict = dates_judge(&it->dates, it->start_unix_us, tolerance_us);
    if (verdict.rolled_over)
        say(it->voice, SAY_WARNING,
            "the GNSS receiver states dates that are whole periods of 1024 weeks old (an old "
            "receiver); the run is dated without that error");
    if (!verdict.moved)
        return;
    it->start_unix_us = verdict.start_unix_us;
    it->clock = CLOCK_GNSS;
    say(it->voice, SAY_WARNING, "the clock was %.1f s %s GNSS time; the run is dated by GNSS",
        (double)llabs(verdict.behind_us) / 1e6, verdict.behind_us > 0 ? "behind" : "ahead of");
}

/* A name made from a date that turned out wrong is made again. An existing file is never replaced. */
static void rename_run(struct recording *it, int64_t named_at_us)
{
    char before[PATH_ROOM];
    if (!it->named_by_us || named_at_us / 1000000 == it->start_unix_us / 1000000)
        return;
    snprintf(before, sizeof before, "%s", it->path);
    if (make_name(it, it->start_unix_us) != STATUS_OK ||
        renameat2(AT_FDCWD, before, AT_FDCWD, it->path, RENAME_NOREPLACE) != 0)
        snprintf(it->path, sizeof it->path, "%s", before);
}

static void say_kept(const struct recording *it)
{
    char part[PATH_ROOM + 8];
    snprintf(part, sizeof part, "%s.part", it->path);
    if (access(it->path, F_OK) == 0)
        say(it->voice, SAY_ERROR, "what was recorded until then is in %s", it->path);
    else if (access(part, F_OK) == 0)
        say(it->voice, SAY_ERROR, "what could be written is in %s; it may not open", part);
    else
        say(it->voice, SAY_ERROR, "nothing could be kept");
}

static void say_bad_lines(const struct recording *it)
{
    uint64_t count = it->replay ? input_replay_bad_lines(it->replay) : 0;
    if (count > 0)
        say(it->voice, SAY_WARNING,
            "%" PRIu64 " line%s of the capture could not be read (torn, or of another kind)", count,
            count == 1 ? "" : "s");
}

static int64_t end_of_run(const struct recording *it)
{
    int64_t end = it->replay ? input_replay_end(it->replay) : loop_now(&it->loop).at;
    int64_t limit = it->order->duration;
    return limit > 0 && end > limit ? limit : end;
}

/* Ends inputs, dates and file, in this order. */
static enum status finish(struct recording *it)
{
    struct complaint complaint = {"the run file could not be finished"};
    int64_t at = end_of_run(it), named_at_us = it->start_unix_us;
    for (size_t i = 0; i < it->inlet_count; i++)
        inlet_finish(&it->inlets[i], at, &it->intake);
    intake_finish(&it->intake, at);
    look_at_clock(it);
    look_at_dates(it);
    const struct run_end end = {.end = at,
                                .start_unix_us = it->start_unix_us,
                                .clock = it->clock,
                                .clean = !it->inlets[0].broken,
                                .tallies = it->intake.tallies};
    enum status status = writer_finish(it->writer, &end, &complaint);
    it->writer = NULL;
    if (status == STATUS_OK)
        rename_run(it, named_at_us);
    watch_summary(it->watch, at, it->intake.tallies, it->input_count);
    say_bad_lines(it);
    if (status == STATUS_OK) {
        say(it->voice, SAY_NOTE, "recorded %s", it->path);
        return it->inlets[0].broken ? STATUS_IO : STATUS_OK;
    }
    say(it->voice, SAY_ERROR, "%s", complaint.text);
    say_space(it);
    say_kept(it);
    return status;
}

/* Says what the storing side tells, and keeps it in the run file. Whether recording goes on. */
static bool hear_news(struct recording *it)
{
    struct complaint complaint = {"storage failed"};
    struct news news;
    while (writer_news(it->writer, &news)) {
        say(it->voice, news.kind == NEWS_NOTE ? SAY_NOTE : SAY_WARNING, "%s", news.text);
        intake_event(&it->intake, loop_now(&it->loop).at, news.key, news.text);
    }
    if (writer_trouble(it->writer, &complaint) == STATUS_OK)
        return true;
    say(it->voice, SAY_ERROR, "%s; the run ends here", complaint.text);
    intake_event(&it->intake, loop_now(&it->loop).at, "storage_failed", complaint.text);
    say_space(it);
    return false;
}

static void record(struct recording *it)
{
    const struct loop_work work = {
        .inlets = it->inlets,
        .inlet_count = it->inlet_count,
        .intake = &it->intake,
        .watch = it->watch,
        .news_fd = writer_news_fd(it->writer),
        .until = it->order->duration > 0 && !it->replay ? it->order->duration : INT64_MAX,
    };
    enum loop_end why;
    do {
        why = loop_run(&it->loop, &work);
    } while (why == LOOP_NEWS && hear_news(it));
    if (why == LOOP_SIGNAL)
        say(it->voice, SAY_NOTE, "stopping");
}

static void clean_up(struct recording *it)
{
    for (size_t i = 0; i < it->inlet_count; i++)
        inlet_free(&it->inlets[i]);
    intake_free(&it->intake);
    watch_free(it->watch);
    loop_close(&it->loop);
    free(it);
}

enum status logger_record(struct config *config, const struct order *order,
                          const struct voice *voice)
{
    struct complaint complaint = {""};
    struct recording *it = calloc(1, sizeof *it);
    if (!it) {
        say(voice, SAY_ERROR, "no memory left");
        return STATUS_MEMORY;
    }
    it->config = config;
    it->order = order;
    it->voice = voice;
    enum status status = loop_open(&it->loop, &complaint);
    if (status != STATUS_OK)
        say(voice, SAY_ERROR, "%s", complaint.text);
    else
        status = begin(it);
    if (status == STATUS_OK) {
        record(it);
        status = finish(it);
    }
    clean_up(it);
    return status;
}
