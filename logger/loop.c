/* loop.c - see loop.h. */
#include "loop.h"

#include <errno.h>
#include <signal.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/signalfd.h>
#include <time.h>
#include <unistd.h>

#define EVENTS_A_WAKING 32
#define LONGEST_SLEEP_MS 1000
/* What an epoll event is about: the number of an inlet, or one of these. */
#define ABOUT_SIGNAL 1000
#define ABOUT_NEWS 1001

static int64_t read_clock(clockid_t clock)
{
    struct timespec now;
    clock_gettime(clock, &now);
    return (int64_t)now.tv_sec * NS_PER_S + now.tv_nsec;
}

struct moment loop_now(const struct loop *loop)
{
    return (struct moment){.at = read_clock(CLOCK_BOOTTIME) - loop->zero_ns,
                           .unix_ns = read_clock(CLOCK_REALTIME)};
}

int64_t loop_start_by_clock(const struct loop *loop)
{
    struct moment now = loop_now(loop);
    return (now.unix_ns - now.at) / NS_PER_US;
}

/* Instant 0 lies up to a millisecond back, where the wall clock had a whole one. */
static void begin_time(struct loop *loop)
{
    int64_t unix_ns = read_clock(CLOCK_REALTIME);
    int64_t beyond = unix_ns % NS_PER_MS;
    loop->zero_ns = read_clock(CLOCK_BOOTTIME) - beyond;
    loop->start_unix_us = (unix_ns - beyond) / NS_PER_US;
}

static enum status watch_fd(const struct loop *loop, int fd, uint32_t events, uint32_t about)
{
    struct epoll_event event = {.events = events, .data.u32 = about};
    if (epoll_ctl(loop->epoll_fd, EPOLL_CTL_MOD, fd, &event) == 0)
        return STATUS_OK;
    return epoll_ctl(loop->epoll_fd, EPOLL_CTL_ADD, fd, &event) == 0 ? STATUS_OK : STATUS_IO;
}

static int block_signals(void)
{
    sigset_t ending, blocked;
    sigemptyset(&ending);
    sigaddset(&ending, SIGINT);
    sigaddset(&ending, SIGTERM);
    sigaddset(&ending, SIGHUP);
    blocked = ending;
    sigaddset(&blocked, SIGPIPE); /* a reader of our words that went away must not end the run */
    if (sigprocmask(SIG_BLOCK, &blocked, NULL) != 0)
        return -1;
    return signalfd(-1, &ending, SFD_CLOEXEC | SFD_NONBLOCK);
}

enum status loop_open(struct loop *loop, struct complaint *complaint)
{
    loop->signal_fd = block_signals();
    loop->epoll_fd = epoll_create1(EPOLL_CLOEXEC);
    begin_time(loop);
    if (loop->signal_fd >= 0 && loop->epoll_fd >= 0 &&
        watch_fd(loop, loop->signal_fd, EPOLLIN, ABOUT_SIGNAL) == STATUS_OK)
        return STATUS_OK;
    complain(complaint, STATUS_IO, "the system gives no event loop: %s", strerror(errno));
    loop_close(loop);
    return STATUS_IO;
}

void loop_close(struct loop *loop)
{
    if (loop->signal_fd >= 0)
        close(loop->signal_fd);
    if (loop->epoll_fd >= 0)
        close(loop->epoll_fd);
    loop->signal_fd = loop->epoll_fd = -1;
}

/* Waits for what the inlet waits for now. While it is opening, its descriptor may be another one of
 * the same number at every look, which the system has forgotten. */
static void follow_inlet(const struct loop *loop, struct inlet *inlet, uint32_t number)
{
    uint32_t events = 0;
    bool waits = inlet->state == INLET_OPENING || inlet->state == INLET_OPEN;
    int fd = waits ? inlet->driver->fd(inlet->self, &events) : INPUT_NO_FD;
    bool same = fd == inlet->fd && events == inlet->events && inlet->state == INLET_OPEN;
    if (fd >= 0 && !same)
        watch_fd(loop, fd, events, number);
    inlet->fd = fd;
    inlet->events = events;
}

/* Milliseconds until the next thing that is due, 0 if it is due already; rounded up. */
static int time_to_sleep(const struct loop_work *work, int64_t now, int64_t tick_at)
{
    int64_t due = tick_at < work->until ? tick_at : work->until;
    for (size_t i = 0; i < work->inlet_count; i++) {
        int64_t deadline = inlet_deadline(&work->inlets[i], now);
        due = deadline < due ? deadline : due;
    }
    if (due <= now)
        return 0;
    if (due - now > LONGEST_SLEEP_MS * NS_PER_MS)
        return LONGEST_SLEEP_MS;
    return (int)((due - now + NS_PER_MS - 1) / NS_PER_MS);
}

/* What one waking brought. */
struct waking {
    bool signal, news;
    bool ready[INPUTS_MAX];
};

static void sleep_and_wake(const struct loop *loop, int sleep_ms, struct waking *waking)
{
    struct epoll_event events[EVENTS_A_WAKING];
    int count = epoll_wait(loop->epoll_fd, events, EVENTS_A_WAKING, sleep_ms);
    memset(waking, 0, sizeof *waking);
    for (int i = 0; i < count; i++) {
        uint32_t about = events[i].data.u32;
        waking->signal |= about == ABOUT_SIGNAL;
        waking->news |= about == ABOUT_NEWS;
        if (about < INPUTS_MAX)
            waking->ready[about] = true;
    }
}

/* Steps every inlet; whether any is still at work. */
static bool step_inlets(const struct loop *loop, const struct loop_work *work,
                        const struct moment *now, const struct waking *waking)
{
    bool any = false;
    for (uint32_t i = 0; i < work->inlet_count; i++) {
        struct inlet *inlet = &work->inlets[i];
        inlet_step(inlet, now, waking->ready[i] || inlet->fd == INPUT_ALWAYS_FD, work->intake);
        follow_inlet(loop, inlet, i);
        any |= inlet->state != INLET_OVER;
    }
    return any;
}

/* What is told as time goes by; returns when to come again. */
static int64_t tick(const struct loop_work *work, int64_t now)
{
    for (unsigned i = 0; i < work->inlet_count; i++)
        if (work->inlets[i].state == INLET_OPEN)
            watch_input(work->watch, i, now, work->inlets[i].opened_at, &work->intake->tallies[i]);
    watch_storage(work->watch, work->intake->choked, work->intake->tallies,
                  work->intake->input_count);
    return watch_tick(work->watch, now);
}

enum loop_end loop_run(struct loop *loop, const struct loop_work *work)
{
    struct waking waking = {.signal = false};
    int64_t tick_at = 0;
    watch_fd(loop, work->news_fd, EPOLLIN, ABOUT_NEWS);
    for (;;) {
        struct moment now = loop_now(loop);
        if (waking.news)
            return LOOP_NEWS;
        if (!step_inlets(loop, work, &now, &waking))
            return LOOP_INPUTS_OVER;
        if (waking.signal)
            return LOOP_SIGNAL;
        if (now.at >= work->until)
            return LOOP_TIME_OVER;
        intake_tick(work->intake, now.at);
        if (now.at >= tick_at)
            tick_at = tick(work, now.at);
        sleep_and_wake(loop, time_to_sleep(work, now.at, tick_at), &waking);
    }
}
