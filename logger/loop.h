/* loop.h - the one event loop, and the only reader of clocks.
 *
 * One waking has one time stamp. Instants come from CLOCK_BOOTTIME, which never jumps and goes on
 * while the computer sleeps; the computer's wall clock is read for the date of run start, and at
 * each waking so that stamps made by the system can be turned into instants.
 */
#ifndef SEARUN_LOOP_H
#define SEARUN_LOOP_H

#include "input.h"

/* Descriptors beside those of inputs and signals, by number. */
#define LOOP_CALLS 4

struct loop {
    int epoll_fd, signal_fd;
    int64_t zero_ns;       /* CLOCK_BOOTTIME at instant 0 */
    int64_t start_unix_us; /* wall clock at instant 0, a whole millisecond */
    int call[LOOP_CALLS];  /* descriptors; -1 none */
};

/* What one turn brought. */
struct turn {
    struct moment now;
    bool stop;             /* SIGINT or SIGTERM came */
    bool hangup;           /* SIGHUP came */
    bool inputs_over;      /* all inputs have ended */
    bool call[LOOP_CALLS]; /* these are readable */
};

/* Blocks the signals that end a run and makes them readable: to be called before any thread begins.
 * Instant 0 is now. Signals stay blocked for the rest of the process, so that a second one cannot
 * break the ending of a run. */
enum status loop_open(struct loop *loop, struct complaint *complaint);
void loop_close(struct loop *loop);

/* Waits for a descriptor to be readable, too; the one of that number before is forgotten. -1:
 * none. */
void loop_call(struct loop *loop, unsigned number, int fd);

/* Sleeps until something is ready, an input wants to be looked at, or `due`; then lets every input
 * read into the intake. */
void loop_turn(struct loop *loop, struct inlet *inlets, size_t count, struct intake *intake,
               int64_t due, struct turn *turn);

/* Now, on both clocks. */
struct moment loop_now(const struct loop *loop);

/* CLOCK_MONOTONIC in ns, for the service manager. */
int64_t loop_monotonic(void);

/* What the wall clock says instant 0 was: differs from start_unix_us if it was set during the
 * run. */
int64_t loop_start_by_clock(const struct loop *loop);

#endif
