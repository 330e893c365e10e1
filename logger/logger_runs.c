/* logger_runs.c - see logger_inside.h. From one run to the next. */
#include "logger_inside.h"

#include <stdio.h>
#include <string.h>

#include "rebuild.h"

/* While there is no space, or storage failed: how often it is tried again, and said. */
#define PAUSE_FIRST_NS (2 * NS_PER_S)
#define PAUSE_LONGEST_NS (60 * NS_PER_S)
#define SAY_FIRST_NS (60 * NS_PER_S)
#define SAY_LONGEST_NS (3600 * NS_PER_S)
#define STEADY_NS (60 * NS_PER_S) /* a run so long did not fail at once */

#define FEED_AT_ONCE 2000 /* messages of the backlog that a run takes between two looks at inputs */
#define FEED_UNTIL 0.5    /* share of the ring in use */
#define FEED_WAIT_NS (5 * NS_PER_MS)
#define SPLIT_LATEST_NS (10 * NS_PER_S) /* longest wait for a moment between messages */
#define STILL_AGAIN_NS (60 * NS_PER_S)  /* a run was stopped by hand: engines have stopped since */

/* --- runs that were cut off */

static void rebuild_others(void *self, const _Atomic bool *stop)
{
    const struct sweep *sweep = self;
    rebuild_folder(sweep->folder, sweep->keep, sweep->reserve, stop, sweep->voice);
}

/* Beside recording; again with each run, in case the one before could not be finished. */
void logger_start_rebuilding(struct logger *it)
{
    if (it->replay)
        return;
    if (it->rebuilder && !worker_is_done(it->rebuilder))
        return;
    worker_end(it->rebuilder, false);
    it->sweep = (struct sweep){.keep = it->config.settings.keep_journal,
                               .reserve = logger_reserve(it),
                               .voice = it->voice};
    memcpy(it->sweep.folder, it->folder, sizeof it->folder);
    it->rebuilder = worker_start(rebuild_others, &it->sweep, it->wake_fd);
}

/* Where runs go, from the next one on. */
void logger_follow_folder(struct logger *it)
{
    if (!it->order->output)
        snprintf(it->folder, sizeof it->folder, "%s", it->config.settings.directory);
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

int64_t logger_kept_from(const struct logger *it, int64_t now)
{
    struct backlog_item item;
    int64_t oldest = now - (int64_t)(it->config.settings.before_start * 1e9);
    if (!backlog_first(it->backlog, &item))
        return now;
    /* An input that was away may have been so for weeks. */
    return item.at > oldest ? item.at : oldest;
}

/* The run begins with what was heard before, as far back as it is kept. */
static int64_t find_zero(struct logger *it, int64_t now)
{
    int64_t zero = intake_begun_at(&it->idle, now);
    if (it->tried_at == 0 && !logger_is_unattended(it)) /* the first, before anything was heard */
        return 0;
    backlog_expire(it->backlog, now - (int64_t)(it->config.settings.before_start * 1e9));
    if (logger_kept_from(it, now) < zero)
        zero = logger_kept_from(it, now);
    return zero > 0 ? zero - zero % NS_PER_MS : 0;
}

/* What was said of a run holds for the one that goes on in its place. */
static void remember(struct logger *it, const struct recording *run)
{
    const char *slash = strrchr(run->path, '/');
    snprintf(it->before, sizeof it->before, "%.180s, run_id %s", slash ? slash + 1 : run->path,
             run->run_id);
    facts_free(&it->onward);
    facts_copy(&it->onward, &run->config.facts);
}

static void forget(struct logger *it)
{
    it->before[0] = '\0';
    facts_free(&it->onward);
}

/* Makes the run, but does not open it. What people said of it before it was there stays known until
 * it is open. */
static enum status make_run(struct logger *it, int64_t now)
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
        return logger_lacks_memory(it);
    facts_copy(&it->run->config.facts, &it->onward);
    facts_copy(&it->run->config.facts, &it->pending);
    it->begun_at = it->before[0] ? it->begun_at : now;
    it->tried_at = now;
    it->stage = RUN_OPENING;
    return STATUS_OK;
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

/* The inputs feed the run itself from now on. */
static void go_live(struct logger *it)
{
    if (!it->replay) {
        intake_tell_counts(&it->idle);
        while (!feed_one(it))
            ;
        intake_hand_over(&it->idle, &it->run->intake);
        it->run->intake.live = &it->live;
    }
    it->front = &it->run->intake;
    it->stage = RUN_LIVE;
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

/* Facts that came while the run was being opened; the others it has. */
static void tell_pending(struct logger *it, int64_t now)
{
    for (size_t i = 0; i < it->pending.count; i++) {
        const struct fact *fact = &it->pending.list[i];
        const char *known = facts_get(&it->run->config.facts, FACT_RUN, 0, fact->key);
        if (known && strcmp(known, fact->value) == 0)
            continue;
        facts_set(&it->run->config.facts, FACT_RUN, 0, fact->key, fact->value, NULL);
        logger_tell_fact(it, now, fact->key, fact->value, it->pending_uid);
    }
    facts_free(&it->pending);
}

/* What is away already when a run begins: a run that is cut off has no later word of it. */
static void tell_away(struct logger *it, int64_t now)
{
    for (size_t i = 0; i < it->inlet_count; i++)
        inlet_tell_away(&it->inlets[i], now, &it->idle);
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
    forget(it);
    if (it->begun_by)
        intake_event(&it->idle, now, "run_begun", it->begun_by);
    it->begun_by = NULL;
    it->asked_start = it->by_hand = false;
    tell_pending(it, now);
    if (!it->replay)
        tell_away(it, now);
    logger_start_rebuilding(it);
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
    else if (logger_is_unattended(it))
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

enum status logger_open_first(struct logger *it)
{
    int64_t now = loop_now(&it->loop).at;
    enum status status = make_run(it, now);
    if (status != STATUS_OK)
        return status;
    recording_open(it->run);
    see_opened(it, now);
    if (it->run && it->replay)
        go_live(it);
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
    logger_follow_folder(it);
    it->ended_at = now;
    set_end(it, run, now, true);
}

void logger_end_run(struct logger *it, int64_t now, const char *why)
{
    struct recording *run = it->run;
    if (why)
        intake_event(it->front, now, "run_ended", why);
    detach_run(it, now);
    let_end(it, run, now);
}

static void begin_anew(struct logger *it, int64_t now)
{
    if (make_run(it, now) == STATUS_OK)
        open_run(it, now);
    else
        suffer(it, now, ACTIVITY_FAILED);
}

/* One file ends, the next begins. What comes meanwhile is in the backlog. */
static void split_run(struct logger *it, int64_t now)
{
    remember(it, it->run);
    logger_end_run(it, now, "it goes on in the next run file");
    begin_anew(it, now);
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
        logger_end_run(it, now, why);
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
    if (!logger_is_unattended(it) || it->asked_start)
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
        (double)space_wanted(logger_reserve(it)) / 1048576);
    it->say_at = now + it->say_interval;
    if (it->say_interval < SAY_LONGEST_NS)
        it->say_interval *= 2;
}

/* Whether there is space again, or none is lacking. */
static bool is_over_trouble(struct logger *it, int64_t now)
{
    uint64_t wanted = space_wanted(logger_reserve(it));
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

/* What was to go on has waited for so long that its engines would have ended it. */
static void let_go(struct logger *it, int64_t now)
{
    double wait = it->config.settings.end_after * 1e9;
    if (it->before[0] && logger_is_unattended(it) && (double)(now - it->ended_at) >= wait &&
        (double)turning_still(&it->live.turning, now) >= wait)
        forget(it);
}

static void judge_begin(struct logger *it, int64_t now)
{
    let_go(it, now);
    if (!is_wanted(it, now) || !is_over_trouble(it, now))
        return;
    if (logger_is_unattended(it) && !it->begun_by)
        it->begun_by = "an engine turns";
    begin_anew(it, now);
}

/* --- as time goes by */

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
    remember(it, run);
    detach_run(it, now);
    meet_failure(it, now, run);
    let_end(it, run, now);
}

int64_t logger_attend_runs(struct logger *it, int64_t now, bool news)
{
    int64_t due = INT64_MAX;
    if (news)
        hear_storage(it, now);
    reap(it, now);
    if (it->run && it->stage == RUN_CATCHING_UP)
        due = feed(it, now);
    if (it->run && it->stage == RUN_LIVE && logger_is_unattended(it))
        judge_end(it, now);
    if (!it->run && !it->leaving)
        judge_begin(it, now);
    return due;
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

void logger_finish_runs(struct logger *it, int64_t at)
{
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
