/* logger.c - see logger.h. */
#include "logger.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "capture_text.h"
#include "dates.h"
#include "input_replay.h"
#include "intake.h"
#include "journal.h"
#include "loop.h"
#include "names.h"
#include "rebuild.h"
#include "space.h"
#include "watch.h"
#include "worker.h"
#include "writer.h"

/* While there is no space: how often it is looked for, and said. */
#define PAUSE_FIRST_S 2
#define PAUSE_LONGEST_S 60
#define SAY_FIRST_NS (60 * NS_PER_S)
#define SAY_LONGEST_NS (3600 * NS_PER_S)
#define STEADY_NS (60 * NS_PER_S) /* a run so long did not fail at once */

/* Everything that a run needs while it is recorded. */
struct recording {
    struct config *config;
    const struct order *order;
    const struct voice *voice;
    unsigned part; /* 0, 1 ...: runs before this one that were ended for want of space */
    struct transducer_map map;
    struct run_input inputs[INPUTS_MAX]; /* as they go into the run file */
    size_t input_count;
    struct inlet inlets[INPUTS_MAX]; /* one, if a capture is replayed */
    size_t inlet_count;
    const void *replay; /* its driver's self, or NULL */
    char path[PATH_ROOM], folder[PATH_ROOM], journal[PATH_ROOM];
    struct journal_claim claim; /* of `journal` */
    char run_id[RUN_ID_ROOM];
    struct space space;
    bool signalled;
    bool full; /* the run was ended for want of space */
    struct worker *rebuilder;
    bool named_by_us;
    int64_t start_unix_us;
    enum clock_source clock;
    struct loop loop;
    struct dates dates;
    struct watch *watch;
    struct writer *writer;
    struct intake intake;
};

/* --- names */

static enum status make_name(struct recording *it)
{
    return names_find(it->path, sizeof it->path, it->config->settings.directory, it->start_unix_us,
                      facts_get(&it->config->facts, FACT_BOAT, 0, "name"));
}

static enum status name_run(struct recording *it)
{
    it->named_by_us = !it->order->output;
    if (!it->order->output)
        return make_name(it);
    if (snprintf(it->path, sizeof it->path, "%s", it->order->output) >= (int)sizeof it->path - 16)
        return STATUS_BAD_USAGE;
    bool taken = it->part > 0 && !names_is_free(it->path); /* by the run before */
    return taken ? names_next(it->path, sizeof it->path) : STATUS_OK;
}

static void say_space(const struct recording *it)
{
    if (space_free(it->folder) == 0)
        say(it->voice, SAY_ERROR, "no space is left in %s; remove something or name another folder",
            it->folder);
}

/* --- inputs */

static enum status no_inputs(const struct voice *voice)
{
    say(voice, SAY_ERROR, "nothing to record from; name an input with --input or in [inputs]:");
    for (size_t i = 0; i < input_driver_count; i++)
        say(voice, SAY_NOTE, "  %s", input_drivers[i]->usage);
    return STATUS_BAD_USAGE;
}

/* Dates of this and the next decades: what text can say (capture_text.h), with room behind. */
static bool is_believable(int64_t unix_us)
{
    return unix_us >= 0 && unix_us / 1000000 < CAPTURE_UNIX_S_MAX - 3600 * 24 * 365;
}

/* A clock beyond all belief is as good as none: the run counts from 1970 on, until GNSS says
 * better. */
static void date_live(struct recording *it)
{
    it->start_unix_us = it->loop.start_unix_us;
    it->clock = CLOCK_SYSTEM;
    if (is_believable(it->start_unix_us))
        return;
    say(it->voice, SAY_WARNING, "the computer's clock is wrong by decades and is not used");
    it->start_unix_us = 0;
    it->clock = CLOCK_NOMINAL;
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
    date_live(it);
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

/* A capture is its own record; everything else has a journal. */
static enum status claim_journal(struct recording *it, struct complaint *complaint)
{
    if (it->replay)
        return STATUS_OK;
    if (!journal_path(it->journal, sizeof it->journal, it->path))
        return complain(complaint, STATUS_BAD_USAGE, "the name of the run is too long");
    return journal_claim_new(it->journal, &it->claim, complaint);
}

/* The run does not begin after all: an empty journal is of no use to anybody. */
static void unclaim_journal(struct recording *it)
{
    if (it->claim.fd >= 0)
        unlink(it->journal);
    journal_release(&it->claim);
}

static enum status start_writer(struct recording *it, char **settings, struct complaint *complaint)
{
    static const struct store *const live[] = {&journal_store, &run_file_store, NULL};
    static const struct store *const replayed[] = {&run_file_store, NULL};
    const struct run_start start = {
        .path = it->path,
        .start_unix_us = it->start_unix_us,
        .clock = it->clock,
        .facts = &it->config->facts,
        .inputs = it->inputs,
        .input_count = it->input_count,
        .software = "searun-logger " SEARUN_VERSION,
        .run_id = it->run_id,
        .settings = (const char *const *)(uintptr_t)settings,
    };
    const struct chore chore = {&it->space, space_look};
    size_t ring_size = (size_t)it->config->settings.ring_size * 1024 * 1024;
    run_make_id(it->run_id);
    return writer_new(it->replay ? replayed : live, &start, ring_size, it->replay ? NULL : &chore,
                      &it->writer, complaint);
}

static enum status open_writer(struct recording *it)
{
    struct complaint complaint = {"the run file cannot be made"};
    char **settings = config_list(it->config);
    enum status status = settings ? claim_journal(it, &complaint)
                                  : complain(&complaint, STATUS_MEMORY, "no memory left");
    if (status == STATUS_OK)
        status = start_writer(it, settings, &complaint);
    if (status != STATUS_OK) {
        unclaim_journal(it);
        say(it->voice, SAY_ERROR, "%s", complaint.text);
    }
    config_list_free(settings);
    return status;
}

static void rebuild_others(void *self, const _Atomic bool *stop)
{
    const struct recording *it = self;
    rebuild_folder(it->folder, it->config->settings.keep_journal, it->space.reserve, stop,
                   it->voice);
}

static enum status out_of_memory(const struct recording *it)
{
    say(it->voice, SAY_ERROR, "no memory left");
    return STATUS_MEMORY;
}

/* Where space is short from the start, the run waits for it. */
static void prepare_space(struct recording *it)
{
    names_folder(it->folder, sizeof it->folder, it->path);
    snprintf(it->space.folder, sizeof it->space.folder, "%s", it->folder);
    it->space.reserve = (uint64_t)(it->config->settings.reserve * 1024 * 1024);
    if (it->replay || space_free(it->folder) >= it->space.reserve)
        return;
    space_make(it->folder, space_wanted(it->space.reserve));
    it->full = space_free(it->folder) < it->space.reserve;
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
    status = names_make_folder(it->path, it->voice);
    if (status != STATUS_OK)
        return status;
    prepare_space(it);
    if (it->full)
        return STATUS_FULL;
    if (config_transducers(it->config, &it->map) != STATUS_OK ||
        watch_new(it->voice, &it->config->facts, it->inputs, !it->replay, &it->watch) != STATUS_OK)
        return out_of_memory(it);
    status = open_writer(it);
    if (status != STATUS_OK)
        return status;
    intake_init(&it->intake, it->writer, &it->map, it->watch, &it->dates, it->inputs,
                it->input_count);
    it->intake.patient = it->replay != NULL;
    if (!it->replay)
        it->rebuilder = worker_start(rebuild_others, it);
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
    if (it->replay || llabs(moved_us) <= tolerance_us || !is_believable(start_us))
        return;
    it->start_unix_us = start_us - ((start_us % 1000) + 1000) % 1000;
    it->clock = CLOCK_SYSTEM;
    say(it->voice, SAY_WARNING,
        "the computer's clock was set by %.1f s during the run; the run is dated by the clock as "
        "it is now",
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

/* The run file is where it should be and was read back: the journal has done its work. */
static void put_away_journal(struct recording *it)
{
    struct complaint complaint = {""};
    if (it->claim.fd < 0)
        return;
    if (journal_finish(it->journal, it->config->settings.keep_journal, &complaint) != STATUS_OK)
        say(it->voice, SAY_WARNING, "%s", complaint.text);
    journal_release(&it->claim);
}

/* The kept journal is called as the run is. */
static void rename_kept_journal(const struct recording *it)
{
    char before[PATH_ROOM + 8], after[PATH_ROOM + 8], journal[PATH_ROOM];
    if (!it->journal[0] || !journal_path(journal, sizeof journal, it->path))
        return;
    snprintf(before, sizeof before, "%s.kept", it->journal);
    snprintf(after, sizeof after, "%s.kept", journal);
    renameat2(AT_FDCWD, before, AT_FDCWD, after, RENAME_NOREPLACE);
}

/* A name made from a date that turned out wrong is made again. An existing file is never
 * replaced. */
static void rename_run(struct recording *it, int64_t named_at_us)
{
    char before[PATH_ROOM];
    if (!it->named_by_us || named_at_us / 1000000 == it->start_unix_us / 1000000)
        return;
    snprintf(before, sizeof before, "%s", it->path);
    if (make_name(it) != STATUS_OK ||
        renameat2(AT_FDCWD, before, AT_FDCWD, it->path, RENAME_NOREPLACE) != 0)
        snprintf(it->path, sizeof it->path, "%s", before);
    else
        rename_kept_journal(it);
}

static void say_kept(const struct recording *it)
{
    char part[PATH_ROOM + 8];
    snprintf(part, sizeof part, "%s.part", it->path);
    if (access(it->path, F_OK) == 0)
        say(it->voice, SAY_ERROR, "what was recorded until then is in %s", it->path);
    else if (it->journal[0] && access(it->journal, F_OK) == 0)
        say(it->voice, SAY_ERROR,
            "what was recorded until then is in %s; the run file is made from it at the next "
            "start, "
            "or by searun-logger --rebuild %s",
            it->journal, it->journal);
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

/* Not every library says why it could not write. */
static bool is_want_of_space(const struct recording *it, enum status status)
{
    return !it->replay &&
           (status == STATUS_FULL ||
            (status == STATUS_IO && space_free(it->folder) < space_wanted(it->space.reserve)));
}

/* The file stays: it says when was listened, and to what. */
static enum status say_nothing_heard(const struct recording *it)
{
    say(it->voice, SAY_ERROR,
        "nothing at all was heard: there is nothing in this run to compare. Is the network on? "
        "Serial: wires A and B the right way round. CAN: interface up, at 250 kbit/s. UDP and TCP: "
        "the address and port that the gateway states");
    return STATUS_NOT_FOUND;
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
    it->full |= is_want_of_space(it, status);
    if (status == STATUS_OK) {
        put_away_journal(it);
        rename_run(it, named_at_us);
    }
    watch_summary(it->watch, at, it->intake.tallies, it->input_count);
    say_bad_lines(it);
    if (status == STATUS_OK) {
        say(it->voice, SAY_NOTE, "recorded %s", it->path);
        if (!it->replay && watch_heard_nothing(it->watch, at, it->intake.tallies, it->input_count))
            return say_nothing_heard(it);
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
        it->full |= news.kind == NEWS_FULL;
    }
    if (writer_trouble(it->writer, &complaint) == STATUS_OK)
        return !it->full;
    say(it->voice, SAY_ERROR, "%s; the run ends here", complaint.text);
    intake_event(&it->intake, loop_now(&it->loop).at, "storage_failed", complaint.text);
    say_space(it);
    return false;
}

static void record(struct recording *it)
{
    int64_t limit = it->order->duration > 0 && !it->replay ? it->order->duration : INT64_MAX;
    const struct loop_work work = {
        .inlets = it->inlets,
        .inlet_count = it->inlet_count,
        .intake = &it->intake,
        .watch = it->watch,
        .news_fd = writer_news_fd(it->writer),
        .until = limit,
    };
    enum loop_end why;
    do {
        why = loop_run(&it->loop, &work);
    } while (why == LOOP_NEWS && hear_news(it));
    if (why == LOOP_SIGNAL)
        say(it->voice, SAY_NOTE, "stopping");
    it->signalled = why == LOOP_SIGNAL;
}

/* --- one run after the other */

static void clean_up(struct recording *it)
{
    worker_end(it->rebuilder, it->signalled);
    for (size_t i = 0; i < it->inlet_count; i++)
        inlet_free(&it->inlets[i]);
    intake_free(&it->intake);
    watch_free(it->watch);
    journal_release(&it->claim);
    loop_close(&it->loop);
}

static enum status record_once(struct recording *it)
{
    struct complaint complaint = {""};
    it->claim.fd = -1;
    enum status status = loop_open(&it->loop, &complaint);
    if (status != STATUS_OK)
        say(it->voice, SAY_ERROR, "%s", complaint.text);
    else
        status = begin(it);
    it->full |= is_want_of_space(it, status);
    if (it->writer) {
        record(it);
        status = finish(it);
    }
    clean_up(it);
    return status;
}

static int64_t now_ns(void)
{
    struct timespec now;
    clock_gettime(CLOCK_BOOTTIME, &now);
    return (int64_t)now.tv_sec * NS_PER_S + now.tv_nsec;
}

/* Waits for a signal that ends recording; false if none comes in so many seconds. They are blocked
 * since the first run began. */
static bool signal_comes(int64_t seconds)
{
    sigset_t ending;
    sigemptyset(&ending);
    sigaddset(&ending, SIGINT);
    sigaddset(&ending, SIGTERM);
    sigaddset(&ending, SIGHUP);
    return sigtimedwait(&ending, NULL, &(struct timespec){seconds, 0}) > 0;
}

/* Runs that end for want of space. */
struct patience {
    int64_t until;    /* ns, when all is to end; INT64_MAX: never */
    int64_t begun_at; /* ns, the run that ended */
    int64_t pause;    /* s, between looks: longer if runs fail though there seems to be space */
    int64_t say_at, say_interval;
};

static void say_waiting(const struct recording *it, struct patience *patience)
{
    if (now_ns() < patience->say_at)
        return;
    say(it->voice, SAY_WARNING,
        "nothing is recorded: %.1f MiB are free in %s; recording goes on when it is %.1f MiB",
        (double)space_free(it->folder) / 1048576, it->folder,
        (double)space_wanted(it->space.reserve) / 1048576);
    patience->say_at = now_ns() + patience->say_interval;
    if (patience->say_interval < SAY_LONGEST_NS)
        patience->say_interval *= 2;
}

/* Waits until there is space for a new run. False if it is not to begin: a signal, or the time is
 * over. */
static bool wait_for_space(const struct recording *it, struct patience *patience)
{
    uint64_t wanted = space_wanted(it->space.reserve);
    bool was_short = now_ns() - patience->begun_at < STEADY_NS;
    patience->pause =
        was_short && patience->pause * 2 <= PAUSE_LONGEST_S ? patience->pause * 2 : PAUSE_FIRST_S;
    if (!was_short)
        patience->say_interval = SAY_FIRST_NS;
    patience->say_at = 0;
    do {
        say_waiting(it, patience);
        if (signal_comes(patience->pause) || now_ns() >= patience->until)
            return false;
        space_make(it->folder, wanted);
    } while (space_free(it->folder) < wanted);
    say(it->voice, SAY_NOTE, "there is space again; a new run begins");
    return true;
}

/* What is left of the duration asked for; never 0 or less, which is "no end". */
static void shorten(struct order *order, const struct patience *patience)
{
    int64_t now = now_ns();
    if (patience->until != INT64_MAX)
        order->duration = patience->until > now ? patience->until - now : 1;
}

enum status logger_record(struct config *config, const struct order *order,
                          const struct voice *voice)
{
    struct recording *it = malloc(sizeof *it);
    struct order rest = *order;
    struct patience patience = {INT64_MAX, 0, PAUSE_FIRST_S, 0, SAY_FIRST_NS};
    enum status status;
    if (!it) {
        say(voice, SAY_ERROR, "no memory left");
        return STATUS_MEMORY;
    }
    if (order->duration > 0)
        patience.until = now_ns() + order->duration;
    for (unsigned part = 0;; part++) {
        memset(it, 0, sizeof *it);
        it->config = config;
        it->order = &rest;
        it->voice = voice;
        it->part = part;
        patience.begun_at = now_ns();
        status = record_once(it);
        if (!it->full || it->signalled || !wait_for_space(it, &patience))
            break;
        shorten(&rest, &patience);
    }
    free(it);
    return status;
}
