/* logger.c - see logger.h. What goes on between the runs, and from one to the next. */
#include "logger.h"

#include <stdio.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include "ask.h"
#include "control.h"
#include "input_replay.h"
#include "loop.h"
#include "notify.h"
#include "rebuild.h"
#include "recording.h"
#include "situation.h"

/* While there is no space, or storage failed: how often it is tried again, and said. */
#define PAUSE_FIRST_NS (2 * NS_PER_S)
#define PAUSE_LONGEST_NS (60 * NS_PER_S)
#define SAY_FIRST_NS (60 * NS_PER_S)
#define SAY_LONGEST_NS (3600 * NS_PER_S)
#define STEADY_NS (60 * NS_PER_S) /* a run so long did not fail at once */

#define BACKLOG_SIZE ((size_t)16 * 1024 * 1024) /* 300 s and more of a bus with 1000 frames/s */
#define FEED_AT_ONCE 2000 /* messages of the backlog that a run takes between two looks at inputs */
#define FEED_UNTIL 0.5    /* share of the ring in use */
#define FEED_WAIT_NS (5 * NS_PER_MS)
#define TICK_NS NS_PER_S
#define SPLIT_LATEST_NS (10 * NS_PER_S) /* longest wait for a moment between messages */
#define STILL_AGAIN_NS (60 * NS_PER_S)  /* a run was stopped by hand: engines have stopped since */
#define STALL_LONGEST_MS (300 * 1000)   /* a thread that has not moved for so long is stuck */
#define ENDINGS_MAX 4                   /* runs that are written out beside the present one */

/* Numbers of loop_call. */
enum { CALL_NEWS, CALL_WAKE, CALL_CONTROL };

struct logger {
    struct config config;
    const struct order *order;
    const struct voice *voice;
    struct loop loop;
    struct run_input inputs[INPUTS_MAX]; /* as they go into the run file */
    size_t input_count;
    struct inlet inlets[INPUTS_MAX]; /* one, if a capture is replayed */
    size_t inlet_count;
    const void *replay; /* its driver's self, or NULL */
    int64_t replay_start_us;
    enum clock_source replay_clock;
    int64_t until; /* instant, INT64_MAX for none */
    bool leaving, signalled;

    /* Between runs the inputs feed `idle`, and that the backlog; then the run takes what is
     * there. */
    struct transducer_map map;
    struct intake idle, *front; /* front: that which the inputs feed */
    struct watch *lookout;
    struct backlog *backlog;
    struct live live;

    /* The present run. */
    struct recording *run; /* or NULL */
    enum { RUN_OPENING, RUN_CATCHING_UP, RUN_LIVE } stage;
    int64_t begun_at;     /* when it was ordered; not anew for its further files */
    int64_t tried_at;     /* when opening it began; 0: none yet */
    const char *begun_by; /* words for its events; NULL: none */
    char before[256];     /* the run that it continues; "" if none */
    struct facts pending; /* of people, for the run that is being opened or the next */
    unsigned pending_uid; /* who gave the last of them */
    unsigned runs;        /* so far */

    struct recording *endings[ENDINGS_MAX];
    size_t ending_count;
    enum status status; /* of the run that ended last */
    char last_run[PATH_ROOM];

    /* Unattended. */
    bool asked_start, by_hand;
    int64_t ended_at;

    /* Nothing can be recorded just now. */
    enum activity trouble; /* ACTIVITY_NO_SPACE, ACTIVITY_FAILED; else ACTIVITY_WAITING */
    int64_t pause, try_at, say_at, say_interval;

    int64_t tick_at, control_at;
    int wake_fd;
    struct control *control;
    struct notify notify;
    int64_t fed_at;         /* the watchdog */
    enum activity told;     /* to the service manager; ACTIVITY_COUNT: nothing yet */
    char folder[PATH_ROOM]; /* of runs */
    struct worker *rebuilder;
    struct sweep { /* what it works on; its own while it works */
        char folder[PATH_ROOM];
        bool keep;
        uint64_t reserve;
        const struct voice *voice;
    } sweep;
};

static bool is_unattended(const struct logger *it)
{
    return it->config.settings.unattended && !it->replay;
}

static uint64_t reserve_of(const struct logger *it)
{
    return (uint64_t)(it->config.settings.reserve * 1024 * 1024);
}

/* --- inputs */

static enum status no_inputs(const struct voice *voice)
{
    say(voice, SAY_ERROR, "nothing to record from; name an input with --input or in [inputs]:");
    for (size_t i = 0; i < input_driver_count; i++)
        say(voice, SAY_NOTE, "  %s", input_drivers[i]->usage);
    return STATUS_BAD_USAGE;
}

static enum status open_live(struct logger *it, struct complaint *complaint)
{
    const struct config *config = &it->config;
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
    return STATUS_OK;
}

static const char *const clock_words[] = {
    [CLOCK_SYSTEM] = "dates by the computer that recorded it",
    [CLOCK_GNSS] = "dates by GNSS",
    [CLOCK_CAPTURE] = "dates by the time stamps in it",
    [CLOCK_NOMINAL] = "without any date",
};

static void say_capture(const struct logger *it, const char *path,
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
static void take_bus_options(struct logger *it)
{
    const struct config *config = &it->config;
    for (size_t i = 0; i < it->input_count; i++)
        for (size_t k = 0; k < config->input_count; k++)
            if (strncmp(it->inputs[i].text, "replay:", 7) == 0 &&
                strncmp(config->inputs[k].text, "can:", 4) == 0 &&
                strcmp(it->inputs[i].label, config->inputs[k].label) == 0)
                it->inputs[i] = config->inputs[k];
}

static enum status open_replay(struct logger *it, const char *path, struct complaint *complaint)
{
    char text[PATH_ROOM + 16];
    struct inlet *inlet = &it->inlets[0];
    snprintf(text, sizeof text, "replay:%s", path);
    enum status status =
        inlet_init(inlet, 0, text, &it->inputs[0], &it->config.settings, it->voice, complaint);
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
    it->replay_start_us = about->start_unix_us;
    it->replay_clock = about->clock;
    say_capture(it, path, about);
    return STATUS_OK;
}

/* The capture that the order or the only input names; NULL for a live run. */
static const char *capture_named(const struct logger *it, bool *mixed)
{
    const struct config *config = &it->config;
    const char *path = it->order->replay;
    for (size_t i = 0; !path && i < config->input_count; i++)
        if (strncmp(config->inputs[i].text, "replay:", 7) == 0)
            path = config->inputs[i].text + 7;
    *mixed = path && path != it->order->replay && config->input_count > 1;
    return path;
}

static enum status open_inputs(struct logger *it)
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

/* --- runs that were cut off */

static void rebuild_others(void *self, const _Atomic bool *stop)
{
    const struct sweep *sweep = self;
    rebuild_folder(sweep->folder, sweep->keep, sweep->reserve, stop, sweep->voice);
}

/* Beside recording; again with each run, in case the one before could not be finished. */
static void start_rebuilding(struct logger *it)
{
    if (it->replay)
        return;
    if (it->rebuilder && !worker_is_done(it->rebuilder))
        return;
    worker_end(it->rebuilder, false);
    it->sweep = (struct sweep){
        .keep = it->config.settings.keep_journal, .reserve = reserve_of(it), .voice = it->voice};
    memcpy(it->sweep.folder, it->folder, sizeof it->folder);
    it->rebuilder = worker_start(rebuild_others, &it->sweep, it->wake_fd);
}

/* --- the beginning of a run */

static void date_run(const struct logger *it, struct recording_start *start)
{
    int64_t us = it->replay         ? it->replay_start_us
                 : start->zero == 0 ? it->loop.start_unix_us
                                    : loop_start_by_clock(&it->loop) + start->zero / NS_PER_US;
    start->start_unix_us = us - ((us % 1000) + 1000) % 1000;
    start->clock = it->replay ? it->replay_clock : CLOCK_SYSTEM;
    if (it->replay || recording_believes(start->start_unix_us))
        return;
    /* A clock beyond all belief is as good as none: the run counts from 1970 on, until GNSS says
     * better. */
    say(it->voice, SAY_WARNING, "the computer's clock is wrong by decades and is not used");
    start->start_unix_us = 0;
    start->clock = CLOCK_NOMINAL;
}

/* The run begins with what was heard before, as far back as it is kept. */
static int64_t find_zero(struct logger *it, int64_t now)
{
    struct backlog_item item;
    int64_t zero = intake_begun_at(&it->idle, now);
    if (it->tried_at == 0 && !is_unattended(it)) /* the first, before anything was heard */
        return 0;
    backlog_expire(it->backlog, now - (int64_t)(it->config.settings.before_start * 1e9));
    if (backlog_first(it->backlog, &item) && item.at < zero)
        zero = item.at;
    return zero > 0 ? zero - zero % NS_PER_MS : 0;
}

static enum status out_of_memory(const struct logger *it)
{
    say(it->voice, SAY_ERROR, "no memory left");
    return STATUS_MEMORY;
}

/* What people said of the run before it was there. */
static void take_pending(struct logger *it, struct facts *facts)
{
    facts_copy(facts, &it->pending);
    facts_free(&it->pending);
}

/* Makes the run, but does not open it. `facts`: those of the run that it continues, or NULL. */
static enum status make_run(struct logger *it, int64_t now, const struct facts *facts)
{
    struct recording_start start = {
        .config = &it->config,
        .voice = it->voice,
        .inputs = it->inputs,
        .input_count = it->input_count,
        .output = it->order->output,
        .numbered = it->runs > 0,
        .replay = it->replay,
        .zero = find_zero(it, now),
    };
    date_run(it, &start);
    if (recording_new(&start, &it->run) != STATUS_OK)
        return out_of_memory(it);
    if (facts)
        facts_copy(&it->run->config.facts, facts);
    take_pending(it, &it->run->config.facts);
    it->begun_at = facts ? it->begun_at : now;
    it->tried_at = now;
    it->stage = RUN_OPENING;
    return STATUS_OK;
}

/* The inputs feed the run itself from now on. */
static void go_live(struct logger *it)
{
    if (!it->replay) {
        intake_hand_over(&it->idle, &it->run->intake);
        it->run->intake.live = &it->live;
    }
    it->front = &it->run->intake;
    it->stage = RUN_LIVE;
}

/* The run takes the next of what was heard before. True when it has all. */
static bool feed_one(struct logger *it)
{
    struct backlog_item item;
    if (!it->backlog || !backlog_first(it->backlog, &item))
        return true;
    intake_take(&it->run->intake, &item);
    backlog_drop(it->backlog);
    return false;
}

/* A few of them; returns when to go on. */
static int64_t feed(struct logger *it, int64_t now)
{
    for (int i = 0; i < FEED_AT_ONCE; i++) {
        if (writer_fill(it->run->writer) > FEED_UNTIL)
            return now + FEED_WAIT_NS;
        if (feed_one(it)) {
            go_live(it);
            return INT64_MAX;
        }
    }
    return now;
}

static void tell_fact(struct logger *it, int64_t now, const char *key, const char *value,
                      unsigned uid);

/* Facts that came while the run was being opened. */
static void tell_pending(struct logger *it, int64_t now)
{
    for (size_t i = 0; i < it->pending.count; i++) {
        const struct fact *fact = &it->pending.list[i];
        facts_set(&it->run->config.facts, FACT_RUN, 0, fact->key, fact->value, NULL);
        tell_fact(it, now, fact->key, fact->value, it->pending_uid);
    }
    facts_free(&it->pending);
}

/* The run is open. */
static void welcome_run(struct logger *it, int64_t now)
{
    struct recording *run = it->run;
    it->runs++;
    it->trouble = ACTIVITY_WAITING;
    loop_call(&it->loop, CALL_NEWS, writer_news_fd(run->writer));
    snprintf(it->folder, sizeof it->folder, "%s", run->folder);
    it->stage = RUN_CATCHING_UP;
    if (it->before[0])
        intake_event(&run->intake, run->start.zero, "continues", it->before);
    it->before[0] = '\0';
    if (it->begun_by)
        intake_event(&it->idle, now, "run_begun", it->begun_by);
    it->begun_by = NULL;
    tell_pending(it, now);
    start_rebuilding(it);
}

/* Nothing is recorded for a while: what comes next, and what is said meanwhile. */
static void suffer(struct logger *it, int64_t now, enum activity trouble)
{
    bool was_short = now - it->tried_at < STEADY_NS;
    it->trouble = trouble;
    it->pause = was_short && it->pause * 2 <= PAUSE_LONGEST_NS && it->pause > 0 ? it->pause * 2
                                                                                : PAUSE_FIRST_NS;
    if (!was_short || it->say_interval == 0)
        it->say_interval = SAY_FIRST_NS;
    it->say_at = now;
    it->try_at = now + it->pause;
}

/* The run could not be opened, or ended because it had to. An unattended logger never gives up. */
static void meet_failure(struct logger *it, int64_t now, const struct recording *run)
{
    if (run->full)
        suffer(it, now, ACTIVITY_NO_SPACE);
    else if (is_unattended(it))
        suffer(it, now, ACTIVITY_FAILED);
    else
        it->leaving = true;
}

/* Opening is over. */
static void see_opened(struct logger *it, int64_t now)
{
    struct recording *run = it->run;
    it->status = run->status;
    if (run->status == STATUS_OK) {
        welcome_run(it, now);
        return;
    }
    if (run->folder[0])
        snprintf(it->folder, sizeof it->folder, "%s", run->folder);
    meet_failure(it, now, run);
    recording_free(run);
    it->run = NULL;
}

/* Opens the run in a thread of its own, or, if there is none, here. */
static void open_run(struct logger *it, int64_t now)
{
    it->run->worker = worker_start(recording_open_beside, it->run, it->wake_fd);
    if (it->run->worker)
        return;
    recording_open(it->run);
    see_opened(it, now);
}

/* Opens the first run before anything is listened to: what is wrong shows at once. */
static enum status open_first(struct logger *it)
{
    int64_t now = loop_now(&it->loop).at;
    enum status status = make_run(it, now, NULL);
    if (status != STATUS_OK)
        return status;
    recording_open(it->run);
    see_opened(it, now);
    return it->run || it->trouble == ACTIVITY_NO_SPACE ? STATUS_OK : it->status;
}

/* --- the end of a run */

/* Takes the status of the oldest of those that are ending, and frees it. Waits for its end. */
static void bury_oldest(struct logger *it, int64_t now)
{
    struct recording *run = it->endings[0];
    worker_end(run->worker, false);
    run->worker = NULL;
    it->status = run->status;
    snprintf(it->last_run, sizeof it->last_run, "%s", run->path);
    if (run->full && it->trouble != ACTIVITY_NO_SPACE && !it->run)
        suffer(it, now, ACTIVITY_NO_SPACE);
    it->ending_count--;
    memmove(it->endings, it->endings + 1, it->ending_count * sizeof it->endings[0]);
    recording_free(run);
}

/* Writes the run out beside what goes on. */
static void let_end(struct logger *it, struct recording *run, int64_t now)
{
    if (it->ending_count == ENDINGS_MAX)
        bury_oldest(it, now);
    it->endings[it->ending_count++] = run;
    run->worker = worker_start(recording_close_beside, run, it->wake_fd);
    if (!run->worker)
        recording_close(run);
}

static void set_end(const struct logger *it, struct recording *run, int64_t at, bool clean)
{
    run->end = (struct recording_end){
        at, loop_start_by_clock(&it->loop) + run->start.zero / NS_PER_US, clean};
}

/* The inputs feed the backlog from now on. */
static void detach_run(struct logger *it, int64_t now)
{
    struct recording *run = it->run;
    loop_call(&it->loop, CALL_NEWS, -1);
    if (it->front == &run->intake) {
        for (size_t i = 0; i < it->inlet_count; i++)
            inlet_tell(&it->inlets[i], now, &run->intake);
        intake_hand_over(&run->intake, &it->idle);
    }
    run->intake.live = NULL;
    it->front = &it->idle;
    it->run = NULL;
    it->ended_at = now;
    set_end(it, run, now, true);
}

static void end_run(struct logger *it, int64_t now, const char *why)
{
    struct recording *run = it->run;
    if (why)
        intake_event(it->front, now, "run_ended", why);
    detach_run(it, now);
    let_end(it, run, now);
}

/* One file ends, the next begins. What comes meanwhile is in the backlog. */
static void split_run(struct logger *it, int64_t now)
{
    struct facts facts = {0};
    const char *slash = strrchr(it->run->path, '/');
    snprintf(it->before, sizeof it->before, "%.180s, run_id %s", slash ? slash + 1 : it->run->path,
             it->run->run_id);
    facts_copy(&facts, &it->run->config.facts);
    end_run(it, now, "it goes on in the next run file");
    if (make_run(it, now, &facts) == STATUS_OK)
        open_run(it, now);
    else
        it->leaving = true;
    facts_free(&facts);
}

/* --- when */

static bool is_long(const struct logger *it, int64_t now)
{
    double longest = it->config.settings.longest_run * 3600e9;
    double over = (double)(now - it->run->start.zero) - longest;
    return longest > 0 && over >= 0 &&
           (over >= (double)SPLIT_LATEST_NS || intake_is_between(&it->run->intake, now));
}

/* Whether no engine has turned for long, nor a person begun the run. */
static bool is_still(const struct logger *it, int64_t now)
{
    int64_t wait = (int64_t)(it->config.settings.end_after * 1e9);
    return now - it->begun_at >= wait && turning_still(&it->live.turning, now) >= wait;
}

static void judge_end(struct logger *it, int64_t now)
{
    char why[96];
    if (is_still(it, now)) {
        snprintf(why, sizeof why, "no engine has turned for %g s", it->config.settings.end_after);
        say(it->voice, SAY_NOTE, "%s; the run ends", why);
        end_run(it, now, why);
    } else if (is_long(it, now)) {
        say(it->voice, SAY_NOTE, "the run has lasted %g h and goes on in a further file",
            it->config.settings.longest_run);
        split_run(it, now);
    }
}

/* An engine turns, or has stopped just now, and did not turn already when a person stopped the run
 * before. */
static bool is_engine_reason(struct logger *it, int64_t now)
{
    const struct turning *turning = &it->live.turning;
    if (it->by_hand && turning_still(turning, now) >= STILL_AGAIN_NS)
        it->by_hand = false;
    return !it->by_hand && turning->ever && turning->at > it->ended_at &&
           (double)turning_still(turning, now) < it->config.settings.end_after * 1e9;
}

static bool is_wanted(struct logger *it, int64_t now)
{
    if (!is_unattended(it) || it->asked_start)
        return true;
    return is_engine_reason(it, now);
}

static void say_no_space(struct logger *it, int64_t now)
{
    if (now < it->say_at)
        return;
    say(it->voice, SAY_WARNING,
        "nothing is recorded: %.1f MiB are free in %s; recording goes on when it is %.1f MiB",
        (double)space_free(it->folder) / 1048576, it->folder,
        (double)space_wanted(reserve_of(it)) / 1048576);
    it->say_at = now + it->say_interval;
    if (it->say_interval < SAY_LONGEST_NS)
        it->say_interval *= 2;
}

/* Whether there is space again, or none is lacking. */
static bool is_over_trouble(struct logger *it, int64_t now)
{
    uint64_t wanted = space_wanted(reserve_of(it));
    if (it->trouble == ACTIVITY_WAITING)
        return true;
    if (it->ending_count > 0) /* its journal goes yet */
        return false;
    if (it->trouble == ACTIVITY_NO_SPACE)
        say_no_space(it, now);
    if (now < it->try_at)
        return false;
    it->try_at = now + it->pause;
    if (it->trouble == ACTIVITY_FAILED)
        return true;
    space_make(it->folder, wanted);
    if (space_free(it->folder) < wanted)
        return false;
    say(it->voice, SAY_NOTE, "there is space again; a new run begins");
    return true;
}

static void judge_begin(struct logger *it, int64_t now)
{
    if (!is_wanted(it, now) || !is_over_trouble(it, now))
        return;
    if (is_unattended(it) && !it->begun_by)
        it->begun_by = "an engine turns";
    it->asked_start = it->by_hand = false;
    if (make_run(it, now, NULL) == STATUS_OK)
        open_run(it, now);
}

/* --- what is asked of us */

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

static void tell_fact(struct logger *it, int64_t now, const char *key, const char *value,
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
        tell_fact(it, loop_now(&it->loop).at, request->key,
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
    if (!it->run)
        return complain(complaint, STATUS_NOT_FOUND, "no run is being recorded");
    if (it->stage != RUN_LIVE)
        return complain(complaint, STATUS_EXISTS, "the run is just beginning; try again");
    int64_t now = loop_now(&it->loop).at;
    snprintf(why, sizeof why, "by hand (uid %u)", uid);
    say(it->voice, SAY_NOTE, "user %u stops the run", uid);
    if (is_unattended(it)) {
        fprintf(reply, "the run ends: %s\n", it->run->path);
        it->by_hand = true;
        end_run(it, now, why);
    } else {
        fprintf(reply, "the run ends, and the logger with it: %s\n", it->run->path);
        intake_event(it->front, now, "run_ended", why);
        it->leaving = true;
    }
    return STATUS_OK;
}

static enum activity activity_of(const struct logger *it)
{
    if (!it->run)
        return it->trouble;
    return it->stage == RUN_OPENING ? ACTIVITY_BEGINNING : ACTIVITY_RECORDING;
}

static struct situation look_around(struct logger *it)
{
    struct backlog_item item;
    bool open = it->run && it->stage != RUN_OPENING;
    struct situation situation = {
        .activity = activity_of(it),
        .unattended = is_unattended(it),
        .now = loop_now(&it->loop).at,
        .run = open ? it->run->path : "",
        .run_at = it->run ? it->run->start.zero : 0,
        .facts = open ? &it->run->config.facts : &it->config.facts,
        .last_run = it->last_run,
        .finishing = (unsigned)it->ending_count,
        .by_hand = it->by_hand,
        .folder = it->folder,
        .space_free = space_free(it->folder),
        .reserve = reserve_of(it),
        .ring_fill = open ? writer_fill(it->run->writer) : 0,
        .live = &it->live,
        .inlets = it->inlets,
        .inputs = it->inputs,
        .input_count = it->inlet_count,
        .tallies = it->front->tallies,
    };
    situation.kept_from = backlog_first(it->backlog, &item) ? item.at : situation.now;
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

/* Without the socket everything else works. */
static void open_control(struct logger *it)
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

/* --- settings that are read again */

static bool are_same_inputs(const struct config *a, const struct config *b)
{
    bool same = a->input_count == b->input_count;
    for (size_t i = 0; same && i < a->input_count; i++)
        same = strcmp(a->inputs[i].label, b->inputs[i].label) == 0 &&
               strcmp(a->inputs[i].text, b->inputs[i].text) == 0;
    return same;
}

/* What is in use for as long as the logger is at work stays as it is. */
static void keep_fixed(const struct logger *it, struct config *fresh)
{
    struct settings *new = &fresh->settings;
    const struct settings *old = &it->config.settings;
    if (!are_same_inputs(&it->config, fresh) || strcmp(old->socket, new->socket) != 0 ||
        old->unattended != new->unattended || old->receive_buffer < new->receive_buffer ||
        old->receive_buffer > new->receive_buffer || old->reopen_longest < new->reopen_longest ||
        old->reopen_longest > new->reopen_longest)
        say(it->voice, SAY_WARNING,
            "inputs, socket, unattended, receive_buffer and reopen_longest are as before until the "
            "logger is started again");
    fresh->input_count = it->config.input_count;
    memcpy(fresh->inputs, it->config.inputs, sizeof fresh->inputs);
    memcpy(new->socket, old->socket, sizeof new->socket);
    new->unattended = old->unattended;
    new->receive_buffer = old->receive_buffer;
    new->reopen_longest = old->reopen_longest;
}

static void adopt(struct logger *it, struct config *fresh)
{
    struct transducer_map map;
    if (config_transducers(fresh, &map) != STATUS_OK) {
        config_free(fresh);
        return;
    }
    keep_fixed(it, fresh);
    config_free(&it->config);
    it->config = *fresh;
    it->map = map;
    it->live.turning.above = it->config.settings.turning_rpm;
    say(it->voice, SAY_NOTE,
        "the settings were read again; facts, transducers and where runs go count from the next "
        "run on");
}

static void reload(struct logger *it)
{
    struct config fresh;
    if (!it->order->reload) {
        say(it->voice, SAY_WARNING, "there is no configuration file to read again");
        return;
    }
    notify_say(&it->notify, "RELOADING=1\nMONOTONIC_USEC=%lld",
               (long long)(loop_monotonic() / NS_PER_US));
    if (it->order->reload(it->order->self, &fresh) == STATUS_OK)
        adopt(it, &fresh);
    else
        say(it->voice, SAY_WARNING, "the settings are as before: the file is not taken as it is");
    notify_say(&it->notify, "READY=1");
}

/* --- as time goes by */

/* Whether the threads that store get on. A stall of minutes is bridged; what lasts longer will not
 * end by itself. */
static bool is_sound(const struct logger *it, int64_t now)
{
    if (!it->run)
        return true;
    if (it->stage == RUN_OPENING)
        return now - it->tried_at < STALL_LONGEST_MS * NS_PER_MS;
    return writer_stall(it->run->writer) < STALL_LONGEST_MS;
}

static void tell_manager(struct logger *it, int64_t now)
{
    enum activity activity = activity_of(it);
    if (it->notify.watchdog_ns > 0 && now - it->fed_at >= it->notify.watchdog_ns / 4 &&
        is_sound(it, now)) {
        notify_say(&it->notify, "WATCHDOG=1");
        it->fed_at = now;
    }
    if (activity == it->told)
        return;
    it->told = activity;
    notify_say(&it->notify, "STATUS=%s%s%s", activity_key(activity),
               activity == ACTIVITY_RECORDING ? " " : "",
               activity == ACTIVITY_RECORDING ? it->run->path : "");
}

static void tick_run(struct logger *it, int64_t now)
{
    struct recording *run = it->run;
    int64_t zero = run->start.zero;
    for (unsigned i = 0; i < it->inlet_count; i++)
        if (it->inlets[i].state == INLET_OPEN)
            watch_input(run->watch, i, now - zero, it->inlets[i].opened_at - zero,
                        &run->intake.tallies[i]);
    watch_storage(run->watch, run->intake.choked, run->intake.tallies, run->intake.input_count);
    watch_tick(run->watch, now - zero);
}

/* Between runs silence is no wonder, but noise is. */
static void tick_idle(struct logger *it, int64_t now)
{
    backlog_expire(it->backlog, now - (int64_t)(it->config.settings.before_start * 1e9));
    for (unsigned i = 0; i < it->inlet_count; i++)
        if (it->inlets[i].state == INLET_OPEN)
            watch_input(it->lookout, i, 0, 0, &it->idle.tallies[i]);
}

static void tick(struct logger *it, int64_t now)
{
    if (now < it->tick_at)
        return;
    it->tick_at = now + TICK_NS;
    live_tick(&it->live, now);
    tell_manager(it, now);
    if (it->run && it->stage == RUN_LIVE)
        tick_run(it, now);
    else if (!it->run && !it->replay)
        tick_idle(it, now);
}

/* Threads that have done their work. */
static void reap(struct logger *it, int64_t now)
{
    struct recording *run = it->run;
    if (run && it->stage == RUN_OPENING && run->worker && worker_is_done(run->worker)) {
        worker_end(run->worker, false);
        run->worker = NULL;
        see_opened(it, now);
    }
    while (it->ending_count > 0 &&
           (!it->endings[0]->worker || worker_is_done(it->endings[0]->worker)))
        bury_oldest(it, now);
    if (it->rebuilder && worker_is_done(it->rebuilder)) {
        worker_end(it->rebuilder, false);
        it->rebuilder = NULL;
    }
}

static void hear_storage(struct logger *it, int64_t now)
{
    struct recording *run = it->run;
    if (!run || it->stage == RUN_OPENING || recording_hear(run, now))
        return;
    detach_run(it, now);
    meet_failure(it, now, run);
    let_end(it, run, now);
}

/* What is to be done now that all inputs have been read; returns when to come again. */
static int64_t attend(struct logger *it, const struct turn *turn)
{
    int64_t now = turn->now.at, due = INT64_MAX;
    uint64_t count;
    if (turn->call[CALL_WAKE])
        (void)!read(it->wake_fd, &count, sizeof count);
    if (turn->call[CALL_NEWS])
        hear_storage(it, now);
    reap(it, now);
    if (it->run && it->stage == RUN_CATCHING_UP)
        due = feed(it, now);
    if (it->run && it->stage == RUN_LIVE && is_unattended(it))
        judge_end(it, now);
    if (!it->run && !it->leaving)
        judge_begin(it, now);
    intake_tick(it->front, now);
    tick(it, now);
    if (it->control && (turn->call[CALL_CONTROL] || now >= it->control_at))
        it->control_at = control_step(it->control, now);
    due = it->tick_at < due ? it->tick_at : due;
    due = it->control && it->control_at < due ? it->control_at : due;
    return it->until < due ? it->until : due;
}

static void work(struct logger *it)
{
    struct turn turn;
    int64_t due = 0;
    for (;;) {
        loop_turn(&it->loop, it->inlets, it->inlet_count, it->front, due, &turn);
        if (turn.stop || (turn.hangup && !is_unattended(it))) {
            say(it->voice, SAY_NOTE, "stopping");
            it->signalled = true;
            return;
        }
        if (turn.hangup)
            reload(it);
        if (turn.inputs_over || turn.now.at >= it->until)
            return;
        due = attend(it, &turn);
        if (it->leaving)
            return;
    }
}

/* --- the whole */

static enum status prepare(struct logger *it)
{
    struct complaint complaint = {""};
    it->wake_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    if (loop_open(&it->loop, &complaint) != STATUS_OK || it->wake_fd < 0) {
        say(it->voice, SAY_ERROR, "%s",
            it->wake_fd < 0 ? "the system gives no event descriptor" : complaint.text);
        return STATUS_IO;
    }
    loop_call(&it->loop, CALL_WAKE, it->wake_fd);
    enum status status = open_inputs(it);
    if (status != STATUS_OK)
        return status;
    it->until = it->order->duration > 0 && !it->replay ? it->order->duration : INT64_MAX;
    snprintf(it->folder, sizeof it->folder, "%s", it->config.settings.directory);
    return STATUS_OK;
}

/* What there is between runs. */
static enum status prepare_idle(struct logger *it)
{
    if (it->replay)
        return STATUS_OK;
    it->live.turning.above = it->config.settings.turning_rpm;
    if (config_transducers(&it->config, &it->map) != STATUS_OK ||
        watch_new(it->voice, &it->config.facts, it->inputs, true, &it->lookout) != STATUS_OK ||
        backlog_new(BACKLOG_SIZE, &it->backlog) != STATUS_OK)
        return out_of_memory(it);
    intake_init(&it->idle, NULL, &it->map, NULL, NULL, it->inputs, it->input_count);
    it->idle.backlog = it->backlog;
    it->idle.live = &it->live;
    it->front = &it->idle;
    return STATUS_OK;
}

static enum status wait_for_engine(struct logger *it)
{
    char path[PATH_ROOM];
    if (it->order->output) {
        say(it->voice, SAY_ERROR,
            "--output names one run; an unattended logger makes many: name "
            "their folder with --directory");
        return STATUS_BAD_USAGE;
    }
    if (snprintf(path, sizeof path, "%s/x", it->folder) >= (int)sizeof path)
        return STATUS_BAD_USAGE;
    enum status status = names_make_folder(path, it->voice);
    if (status != STATUS_OK)
        return status;
    start_rebuilding(it);
    say(it->voice, SAY_NOTE, "waiting for an engine to turn faster than %g rpm",
        it->config.settings.turning_rpm);
    return STATUS_OK;
}

static enum status begin(struct logger *it)
{
    enum status status = prepare(it);
    if (status == STATUS_OK)
        status = prepare_idle(it);
    if (status == STATUS_OK)
        status = is_unattended(it) ? wait_for_engine(it) : open_first(it);
    if (status != STATUS_OK)
        return status;
    if (it->run && it->replay)
        go_live(it);
    open_control(it);
    notify_say(&it->notify, "READY=1");
    return STATUS_OK;
}

static int64_t end_of_all(const struct logger *it)
{
    int64_t end = it->replay ? input_replay_end(it->replay) : loop_now(&it->loop).at;
    int64_t limit = it->order->duration;
    return limit > 0 && end > limit ? limit : end;
}

/* The run that is being opened just now takes what is there, too. */
static void catch_up(struct logger *it, int64_t now)
{
    if (it->run && it->run->worker) {
        worker_end(it->run->worker, false);
        it->run->worker = NULL;
        see_opened(it, now);
    }
    if (!it->run || it->stage != RUN_CATCHING_UP)
        return;
    it->run->intake.patient = true;
    while (!feed_one(it))
        ;
    go_live(it);
}

static void finish(struct logger *it)
{
    int64_t at = end_of_all(it);
    notify_say(&it->notify, "STOPPING=1\nSTATUS=finishing");
    for (size_t i = 0; i < it->inlet_count; i++)
        inlet_finish(&it->inlets[i], at, it->front);
    catch_up(it, at);
    while (it->ending_count > 0)
        bury_oldest(it, at);
    if (!it->run)
        return;
    set_end(it, it->run, at, !it->inlets[0].broken);
    it->status = recording_close(it->run);
    if (it->status == STATUS_OK && it->inlets[0].broken)
        it->status = STATUS_IO;
}

static void clean_up(struct logger *it)
{
    control_close(it->control);
    notify_close(&it->notify);
    worker_end(it->rebuilder, it->signalled);
    recording_free(it->run);
    for (size_t i = 0; i < it->inlet_count; i++)
        inlet_free(&it->inlets[i]);
    intake_free(&it->idle);
    watch_free(it->lookout);
    backlog_free(it->backlog);
    facts_free(&it->pending);
    loop_close(&it->loop);
    if (it->wake_fd >= 0)
        close(it->wake_fd);
    config_free(&it->config);
    free(it);
}

enum status logger_record(struct config *config, const struct order *order,
                          const struct voice *voice)
{
    struct logger *it = calloc(1, sizeof *it);
    if (!it || config_copy(&it->config, config) != STATUS_OK) {
        free(it);
        say(voice, SAY_ERROR, "no memory left");
        return STATUS_MEMORY;
    }
    it->order = order;
    it->voice = voice;
    it->trouble = ACTIVITY_WAITING;
    it->told = ACTIVITY_COUNT;
    notify_open(&it->notify);
    it->wake_fd = it->loop.epoll_fd = it->loop.signal_fd = -1;
    enum status status = begin(it);
    if (status == STATUS_OK) {
        work(it);
        finish(it);
        status = it->status;
    }
    clean_up(it);
    return status;
}
