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
#define ABOUT_CALL 1001 /* and those behind it */

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

int64_t loop_monotonic(void)
{
    return read_clock(CLOCK_MONOTONIC);
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
    for (size_t i = 0; i < LOOP_CALLS; i++)
        loop->call[i] = -1;
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

void loop_call(struct loop *loop, unsigned number, int fd)
{
    if (loop->call[number] >= 0)
        epoll_ctl(loop->epoll_fd, EPOLL_CTL_DEL, loop->call[number], NULL);
    loop->call[number] = fd;
    if (fd >= 0)
        watch_fd(loop, fd, EPOLLIN, ABOUT_CALL + number);
}

/* Milliseconds until the next thing that is due, 0 if it is due already; rounded up. */
static int time_to_sleep(const struct inlet *inlets, size_t count, int64_t now, int64_t due)
{
    for (size_t i = 0; i < count; i++) {
        int64_t deadline = inlet_deadline(&inlets[i], now);
        due = deadline < due ? deadline : due;
    }
    if (due <= now)
        return 0;
    if (due - now > LONGEST_SLEEP_MS * NS_PER_MS)
        return LONGEST_SLEEP_MS;
    return (int)((due - now + NS_PER_MS - 1) / NS_PER_MS);
}

static void take_signals(const struct loop *loop, struct turn *turn)
{
    struct signalfd_siginfo info;
    while (read(loop->signal_fd, &info, sizeof info) == (ssize_t)sizeof info) {
        turn->hangup |= info.ssi_signo == SIGHUP;
        turn->stop |= info.ssi_signo != SIGHUP;
    }
}

static void sleep_and_wake(const struct loop *loop, int sleep_ms, struct turn *turn,
                           bool ready[INPUTS_MAX])
{
    struct epoll_event events[EVENTS_A_WAKING];
    int count = epoll_wait(loop->epoll_fd, events, EVENTS_A_WAKING, sleep_ms);
    for (int i = 0; i < count; i++) {
        uint32_t about = events[i].data.u32;
        if (about == ABOUT_SIGNAL)
            take_signals(loop, turn);
        else if (about < INPUTS_MAX)
            ready[about] = true;
        else if (about - ABOUT_CALL < LOOP_CALLS)
            turn->call[about - ABOUT_CALL] = true;
    }
}

/* Steps every inlet; whether all are over. */
static bool step_inlets(const struct loop *loop, struct inlet *inlets, size_t count,
                        struct intake *intake, const struct moment *now,
                        const bool ready[INPUTS_MAX])
{
    bool over = true;
    for (uint32_t i = 0; i < count; i++) {
        struct inlet *inlet = &inlets[i];
        inlet_step(inlet, now, ready[i] || inlet->fd == INPUT_ALWAYS_FD, intake);
        follow_inlet(loop, inlet, i);
        over &= inlet->state == INLET_OVER;
    }
    return over;
}

void loop_turn(struct loop *loop, struct inlet *inlets, size_t count, struct intake *intake,
               int64_t due, struct turn *turn)
{
    bool ready[INPUTS_MAX] = {false};
    *turn = (struct turn){.stop = false};
    sleep_and_wake(loop, time_to_sleep(inlets, count, loop_now(loop).at, due), turn, ready);
    turn->now = loop_now(loop);
    intake_clock(intake, turn->now.at, turn->now.unix_ns);
    turn->inputs_over = step_inlets(loop, inlets, count, intake, &turn->now, ready);
}
