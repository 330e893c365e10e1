/* loop.h - the one event loop, and the only reader of clocks.
 *
 * One waking has one time stamp. Instants come from CLOCK_BOOTTIME, which never jumps and goes on while
 * the computer sleeps; the computer's wall clock is read for the date of run start, and at each waking
 * so that stamps made by the system can be turned into instants.
 */
#ifndef SEARUN_LOOP_H
#define SEARUN_LOOP_H

#include "input.h"

struct loop {
    int epoll_fd, signal_fd;
    int64_t zero_ns;       /* CLOCK_BOOTTIME at instant 0 */
    int64_t start_unix_us; /* wall clock at instant 0, a whole millisecond */
};

enum loop_end {
    LOOP_SIGNAL,      /* SIGINT, SIGTERM or SIGHUP */
    LOOP_TIME_OVER,   /* the duration asked for */
    LOOP_INPUTS_OVER, /* all inputs have ended */
    LOOP_NEWS         /* the storing side has something to tell */
};

struct loop_work {
    struct inlet *inlets;
    size_t inlet_count;
    struct intake *intake;
    struct watch *watch;
    int news_fd;
    int64_t until; /* instant, INT64_MAX for none */
};

/* Blocks the signals that end a run and makes them readable: to be called before any thread begins.
 * Instant 0 is now. Signals stay blocked for the rest of the process, so that a second one cannot break
 * the ending of a run. */
enum status loop_open(struct loop *loop, struct complaint *complaint);
void loop_close(struct loop *loop);

/* Runs until there is a reason to end; may be called again after LOOP_NEWS. */
enum loop_end loop_run(struct loop *loop, const struct loop_work *work);

/* Now, on both clocks. */
struct moment loop_now(const struct loop *loop);

/* What the wall clock says instant 0 was: differs from start_unix_us if it was set during the run. */
int64_t loop_start_by_clock(const struct loop *loop);

#endif
