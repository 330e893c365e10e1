/* logger.c - see logger.h. The whole, and what is done from one look at the inputs to the next. */
#include "logger_inside.h"

#include <stdio.h>
#include <stdlib.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include "input_replay.h"

#define BACKLOG_SIZE ((size_t)16 * 1024 * 1024) /* 300 s and more of a bus with 1000 frames/s */
#define TICK_NS NS_PER_S
#define FINISH_NS (3600 * NS_PER_S) /* for the watchdog; stopping has a limit of its own */
#define STALL_LONGEST_MS (300 * 1000) /* a thread that has not moved for so long is stuck */

bool logger_is_unattended(const struct logger *it)
{
    return it->config.settings.unattended && !it->replay;
}

uint64_t logger_reserve(const struct logger *it)
{
    return (uint64_t)(it->config.settings.reserve * 1024 * 1024);
}

enum status logger_lacks_memory(const struct logger *it)
{
    say(it->voice, SAY_ERROR, "no memory left");
    return STATUS_MEMORY;
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
    enum activity activity = logger_activity(it);
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

/* What is to be done now that all inputs have been read; returns when to come again. */
static int64_t attend(struct logger *it, const struct turn *turn)
{
    int64_t now = turn->now.at, due;
    uint64_t count;
    if (turn->call[CALL_WAKE])
        (void)!read(it->wake_fd, &count, sizeof count);
    due = logger_attend_runs(it, now, turn->call[CALL_NEWS]);
    intake_tick(it->front, now);
    tick(it, now);
    if (it->control && (turn->call[CALL_CONTROL] || now >= it->control_at))
        it->control_at = control_step(it->control, now);
    if (turn->call[CALL_CONTROL]) /* what was asked for is done at once */
        due = now;
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
        if (turn.stop || (turn.hangup && !logger_is_unattended(it))) {
            say(it->voice, SAY_NOTE, "stopping");
            it->signalled = true;
            return;
        }
        if (turn.hangup)
            logger_reload(it);
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
    enum status status = logger_open_inputs(it);
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
        return logger_lacks_memory(it);
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
    logger_start_rebuilding(it);
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
        status = logger_is_unattended(it) ? wait_for_engine(it) : logger_open_first(it);
    if (status != STATUS_OK)
        return status;
    logger_open_control(it);
    notify_say(&it->notify, "READY=1");
    return STATUS_OK;
}

static int64_t end_of_all(const struct logger *it)
{
    int64_t end = it->replay ? input_replay_end(it->replay) : loop_now(&it->loop).at;
    int64_t limit = it->order->duration;
    return limit > 0 && end > limit ? limit : end;
}

static void finish(struct logger *it)
{
    int64_t at = end_of_all(it);
    notify_say(&it->notify, "STOPPING=1\nSTATUS=finishing");
    if (it->notify.watchdog_ns > 0) /* nothing is fed while the end is awaited */
        notify_say(&it->notify, "WATCHDOG_USEC=%lld", (long long)(FINISH_NS / NS_PER_US));
    for (size_t i = 0; i < it->inlet_count; i++)
        inlet_finish(&it->inlets[i], at, it->front);
    logger_finish_runs(it, at);
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
    facts_free(&it->onward);
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
