/* situation.h - how it goes, for those who ask a logger at work: as text of at most 80 columns for
 * people, as JSON for programs.
 */
#ifndef SEARUN_SITUATION_H
#define SEARUN_SITUATION_H

#include <stdio.h>

#include "input.h"
#include "live.h"

enum activity {
    ACTIVITY_WAITING,   /* for an engine to turn */
    ACTIVITY_BEGINNING, /* a run is being opened */
    ACTIVITY_RECORDING,
    ACTIVITY_NO_SPACE, /* nothing is recorded until there is space */
    ACTIVITY_FAILED,   /* storage failed; it is tried again later */
    ACTIVITY_COUNT
};

/* Everything that is told. Pointers are only used during a call. */
struct situation {
    enum activity activity;
    bool unattended;
    int64_t now;               /* ns since the logger began, as all instants here */
    const char *run;           /* path; "" if there is none */
    int64_t run_at;            /* instant 0 of the run */
    const struct facts *facts; /* of the run, or of the next */
    const char *last_run;      /* path of the run that ended last; "" if none did */
    unsigned finishing;        /* runs that have ended and are being written out */
    bool by_hand;              /* WAITING: a run was stopped by hand while an engine turns */
    int64_t kept_from;         /* WAITING: what was heard since then goes into the next run */
    const char *folder;
    uint64_t space_free, reserve; /* bytes; space_free UINT64_MAX: not known */
    double ring_fill;             /* 0 .. 1 */
    const struct live *live;
    const struct inlet *inlets;
    const struct run_input *inputs;
    size_t input_count;
    const struct tally *tallies; /* one an input, of the run or of the waiting */
};

void situation_text(const struct situation *it, FILE *to);
/* STATUS_MEMORY. Layout: searun-logger(1), section CONTROL. */
enum status situation_json(const struct situation *it, FILE *to);

/* "recording", "waiting" ...: what programs may look at. */
const char *activity_key(enum activity activity);

#endif
