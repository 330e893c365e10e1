/* input.h - where bytes come from. A driver is one const struct and one row of input_drivers[].
 *
 * A driver opens, reads and closes; it never sends. Reopening with growing intervals, gaps and
 * words are the work of struct inlet, for all drivers alike. Everything runs on the loop thread.
 */
#ifndef SEARUN_INPUT_H
#define SEARUN_INPUT_H

#include "config.h"
#include "intake.h"
#include "say.h"
#include "status.h"

/* When the loop woke up, on both clocks. */
struct moment {
    int64_t at;      /* ns since run start, monotonic */
    int64_t unix_ns; /* the computer's clock; for stamps that the system makes with it */
};

enum input_answer {
    INPUT_READ,    /* open; took what there was */
    INPUT_OPENING, /* not connected yet, look again */
    INPUT_DOWN,    /* open, but nothing can come until its line is up again: look again */
    INPUT_GONE,    /* failed or unplugged: close, and open again later */
    INPUT_END      /* over for good (end of a capture); words if that is not as it should be */
};

#define INPUT_NO_FD (-1)     /* nothing to wait for: read again every 20 ms */
#define INPUT_ALWAYS_FD (-2) /* never has to be waited for: read again at once */

struct input_driver {
    const char *name;  /* "udp" */
    const char *usage; /* one line for --help: "udp:PORT ...   what it listens to" */
    /* Reads the text behind "name:" and allocates; opens nothing. STATUS_BAD_USAGE says what is
     * allowed; STATUS_MEMORY. */
    enum status (*create)(const char *address, const struct settings *settings, void **self,
                          struct complaint *complaint);
    /* Opens, or begins to. Must not wait. On failure everything is closed. */
    enum status (*open)(void *self, struct complaint *complaint);
    /* The descriptor to wait for and the epoll events wanted; may change with every call of
     * read. */
    int (*fd)(const void *self, uint32_t *events);
    /* Takes what there is, a bounded amount, into the intake as input `number`. Words for
     * INPUT_DOWN and INPUT_GONE go into the complaint. Must not wait. */
    enum input_answer (*read)(void *self, const struct moment *now, struct intake *intake,
                              unsigned number, struct complaint *complaint);
    void (*close)(void *self);   /* may be called when closed already */
    void (*destroy)(void *self); /* after close; NULL allowed */
};

/* All drivers, in the order of --help. */
extern const struct input_driver *const input_drivers[];
extern const size_t input_driver_count;

/* One a file, input_NAME.c. */
extern const struct input_driver input_serial, input_udp, input_tcp, input_can, input_replay;

/* Whether the text of an input ("udp:10110") can be meant. STATUS_BAD_USAGE says what is
 * allowed. */
enum status input_check(const char *text, struct complaint *complaint);

/* The driver that the text names and the rest of it, or NULL. */
const struct input_driver *input_driver_of(const char *text, const char **address);

/* Splits off the piece of *text before the next comma into `piece`; false at the end of the text or
 * if the piece does not fit. */
bool input_next_option(const char **text, char *piece, size_t room);

/* --- an input at work */

/* The first wait after a failure. An input that was open for the steady time begins with it
 * again. */
#define REOPEN_FIRST_NS (NS_PER_S / 2)
#define REOPEN_STEADY_NS (10 * NS_PER_S)

struct inlet {
    const struct input_driver *driver;
    void *self;
    unsigned number;
    const struct run_input *about;
    const struct voice *voice;
    int64_t longest; /* ns, longest interval between attempts */

    enum inlet_state { INLET_AWAY, INLET_OPENING, INLET_OPEN, INLET_OVER } state;
    bool broken;        /* OVER before its time */
    bool held;          /* AWAY: the driver is open and waits for its line to come up */
    bool was_open;      /* ever */
    bool failed;        /* since it was open last */
    int64_t retry_at;   /* AWAY, not held: when to try again */
    int64_t interval;   /* what to wait after the next failure */
    int64_t away_since; /* not OPEN: since when nothing was recorded */
    int64_t opened_at;  /* OPEN */
    char why[96];       /* not OPEN: what happened first */
    unsigned losses;    /* and new reasons, since it was last open for long */
    int64_t say_at;     /* a failure is said again from here on */
    int64_t say_interval;
    char tried[96]; /* why opening failed last */
    bool said_away; /* and not yet that it is back */
    int fd;         /* as told to the loop's epoll; -1 none */
    uint32_t events;
};

/* Makes one ready from its text ("udp:10110"); nothing is opened before inlet_step. `about` and
 * `voice` must outlive it. */
enum status inlet_init(struct inlet *inlet, unsigned number, const char *text,
                       const struct run_input *about, const struct settings *settings,
                       const struct voice *voice, struct complaint *complaint);
void inlet_free(struct inlet *inlet);

/* Opens, reads, closes as it is time to. `ready`: the descriptor has something. */
void inlet_step(struct inlet *inlet, const struct moment *now, bool ready, struct intake *intake);

/* When to step again even if the descriptor is silent; INT64_MAX never. */
int64_t inlet_deadline(const struct inlet *inlet, int64_t now);

/* Tells the intake, as an event, that the input is away, if it is; inlet_step does so when it has
 * just become so. How long it was away is told as a gap when that is known, which a power cut may
 * prevent. */
void inlet_tell_away(const struct inlet *inlet, int64_t at, struct intake *intake);

/* A run ends while inputs go on: tells the intake if the input is away. */
void inlet_tell(const struct inlet *inlet, int64_t at, struct intake *intake);

/* The end of all: closes, and tells the intake if the input is away. */
void inlet_finish(struct inlet *inlet, int64_t at, struct intake *intake);

#endif
