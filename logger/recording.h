/* recording.h - one run, from its name to its finished file.
 *
 * The loop thread makes one and fills its intake; opening and closing may take as long as storage
 * likes, and are done in a thread of their own where inputs must be listened to meanwhile.
 */
#ifndef SEARUN_RECORDING_H
#define SEARUN_RECORDING_H

#include "config.h"
#include "dates.h"
#include "intake.h"
#include "journal.h"
#include "names.h"
#include "say.h"
#include "space.h"
#include "watch.h"
#include "worker.h"
#include "writer.h"

/* What a run begins with. */
struct recording_start {
    const struct config *config; /* copied */
    const struct voice *voice;   /* must outlive the recording, as all below */
    const struct run_input *inputs;
    size_t input_count;
    const char *output; /* run file; NULL: a name is made in the runs folder */
    bool numbered;      /* if a run has the name of `output`: take a name with a number */
    const void *replay; /* the driver's self of the capture that is replayed; NULL: live */
    int64_t zero;       /* the loop's instant that is instant 0 of the run */
    int64_t start_unix_us;
    enum clock_source clock;
};

/* What it ends with. */
struct recording_end {
    int64_t at;          /* the loop's instant */
    int64_t by_clock_us; /* what the computer's clock says now that instant 0 was; replay: unused */
    bool clean;
};

struct recording {
    struct config config; /* its own: facts are added meanwhile, and a reload does not reach it */
    struct recording_start start;
    struct transducer_map map;
    char path[PATH_ROOM], folder[PATH_ROOM], journal[PATH_ROOM];
    struct journal_claim claim; /* of `journal` */
    char run_id[RUN_ID_ROOM];
    struct space space;
    bool named_by_us;
    int64_t start_unix_us;
    enum clock_source clock;
    struct dates dates;
    struct watch *watch;
    struct writer *writer; /* NULL unless it is open */
    struct intake intake;
    struct recording_end end;
    bool full;          /* it failed, or was ended, for want of space */
    enum status status; /* how opening or closing went */
    struct worker *worker;
};

/* Opens nothing yet. STATUS_MEMORY. Free it with recording_free, after it was closed if it was
 * open. */
enum status recording_new(const struct recording_start *start, struct recording **out);
void recording_free(struct recording *it); /* NULL is allowed */

/* Names the run, opens its stores; says what is wrong. STATUS_OK: it is to be closed. Any thread;
 * nothing else may be done with it meanwhile. */
enum status recording_open(struct recording *it);

/* Ends the run as `it->end` says: stores, dates, name, summary. Any thread. */
enum status recording_close(struct recording *it);

/* The same two as work of a worker; the answer is in it->status. */
void recording_open_beside(void *it, const _Atomic bool *stop);
void recording_close_beside(void *it, const _Atomic bool *stop);

/* Says what the storing side tells, and keeps it in the run file. Whether recording goes on. `at`:
 * the loop's instant. */
bool recording_hear(struct recording *it, int64_t at);

/* Dates that text can say (capture_text.h), with room behind: this and the next decades. */
bool recording_believes(int64_t unix_us);

#endif
