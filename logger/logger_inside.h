/* logger_inside.h - what the parts of logger.c share: logger_inputs.c opens what is listened to,
 * logger_runs.c begins, splits and ends runs, logger_answer.c answers on the control socket,
 * logger_reload.c reads settings again. */
#ifndef SEARUN_LOGGER_INSIDE_H
#define SEARUN_LOGGER_INSIDE_H

#include "ask.h"
#include "control.h"
#include "logger.h"
#include "loop.h"
#include "notify.h"
#include "recording.h"
#include "situation.h"

#define ENDINGS_MAX 4 /* runs that are written out beside the present one */

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
    struct facts onward;  /* those of that run */
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

/* Whether runs begin and end with the engines. Never with a replay. */
bool logger_is_unattended(const struct logger *it);

/* Space that stays free beside runs, bytes. */
uint64_t logger_reserve(const struct logger *it);

/* Says that there is none left. Returns STATUS_MEMORY. */
enum status logger_lacks_memory(const struct logger *it);

/* What the logger is doing, for people and the service manager. */
enum activity logger_activity(const struct logger *it);

/* Opens the capture, or makes the inputs ready to be opened, as order and configuration name them.
 * What is wrong is said. STATUS_BAD_USAGE if they name none, or a capture beside others. */
enum status logger_open_inputs(struct logger *it);

/* Makes run files of the journals of runs that were cut off, in a thread of its own. */
void logger_start_rebuilding(struct logger *it);

/* The settings may name another folder than the run had: it is the one from now on. */
void logger_follow_folder(struct logger *it);

/* The first instant of what a run that begins now would have of the time before. */
int64_t logger_kept_from(const struct logger *it, int64_t now);

/* Opens the first run before anything is listened to: what is wrong shows at once. STATUS_OK also
 * where only space is lacking. */
enum status logger_open_first(struct logger *it);

/* Lets runs begin, go on and end as inputs, engines and storage want it at `now`. `news`: storage
 * has something to say. Returns when to come again, INT64_MAX for no need. */
int64_t logger_attend_runs(struct logger *it, int64_t now, bool news);

/* Ends the present run. `why` becomes an event of it; NULL: none. */
void logger_end_run(struct logger *it, int64_t now, const char *why);

/* Ends all runs at the instant `at`, once the inputs are finished. Sets the status of the last. */
void logger_finish_runs(struct logger *it, int64_t at);

/* Opens the control socket. Without it everything else works. */
void logger_open_control(struct logger *it);

/* Keeps a fact that the person `uid` told as an event of the present moment. */
void logger_tell_fact(struct logger *it, int64_t now, const char *key, const char *value,
                      unsigned uid);

/* Reads the configuration file again; what cannot change at work stays, which is said. */
void logger_reload(struct logger *it);

#endif
