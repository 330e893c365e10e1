/* comparison.h - everything on the way from paths to the answer, shared by the files of
 * compare.c. */
#ifndef SEARUN_COMPARISON_H
#define SEARUN_COMPARISON_H

#include "agreed.h"
#include "compare.h"
#include "diagnose.h"
#include "estimate.h"
#include "source.h"
#include "trial.h"

#define RUNS_MAX 64 /* on both sides together */

struct comparison {
    const struct compare_options *options;
    struct answer *answer;
    struct complaint *complaint;
    const char *sha256; /* of the one run to be opened, where it is known already; NULL: taken */
    enum logbook_extent extent;   /* of the runs still to be opened */
    struct logbook *books;        /* one per run of the answer */
    struct agreed *agreed;        /* one per engine of the answer */
    struct trial *trials;         /* engine by engine, each with every run */
    struct estimate_facts *facts; /* one per engine */
    struct hand_reading *hands;   /* the same order as steps */
    double *steps; /* of the coolant senders: engine by engine, each with every run */
};

/* The trials of one engine of the answer, one per run. */
struct trial *comparison_trials(const struct comparison *c, size_t engine);

/* The engine as the diagnosis wants it. */
struct subject comparison_subject(const struct comparison *c, size_t engine);

/* STATUS_MEMORY with its words. */
enum status comparison_no_memory(const struct comparison *c);

/* From the paths of the options to holds, without an estimate. comparison_close in every case; the
 * answer stays its owner's. */
enum status comparison_find_holds(struct comparison *c);
void comparison_close(struct comparison *c);

/* Warns of what the files themselves show: clocks, gaps, damaged messages. */
enum status comparison_look_at_files(struct comparison *c);

/* --- comparison_engines.c */

/* Fills answer->engines with the engines of all runs; joins one that goes under two numbers. */
enum status comparison_find_engines(struct comparison *c);

/* Fills what the facts say of an engine. */
void comparison_describe_engine(struct comparison *c, size_t engine);

/* --- comparison_sources.c */

/* The candidates of a quantity of one engine in one run. */
size_t comparison_candidates(const struct comparison *c, size_t run, size_t engine, size_t quantity,
                             struct candidate *list[CANDIDATES_MAX]);

/* Where the coolant of a run was read by hand with two instruments: the one that was not chosen;
 * NULL if there is none. After comparison_make_trials. */
const struct candidate *comparison_other_hand(const struct comparison *c, size_t run,
                                              size_t engine);

/* Refuses a wish that no run can meet, and says what there is. */
enum status comparison_check_wishes(const struct comparison *c);

/* Chooses the sources of one engine, makes its trials and puts their holds into bands. */
enum status comparison_make_trials(struct comparison *c, size_t engine);

/* --- comparison_estimate.c */

/* Fills the means of the runs and the reference sea. */
void comparison_set_reference(struct comparison *c);

/* Calls the estimate with what is known of engines, senders, seas and load. */
enum status comparison_estimate(struct comparison *c);

/* After it: says why bands are missing, and what to record where there was nothing to compare. */
void comparison_explain(struct comparison *c, size_t engine);

/* --- comparison_service.c */

/* Reads the service history, if there is one. */
enum status comparison_read_service(struct comparison *c);

/* What it says of engines and senders; before the estimate. */
void comparison_apply_service(struct comparison *c);

/* --- comparison_aftercare.c */

/* Fills the checklist and what the data of the runs after say of it; after the estimate. */
enum status comparison_look_at_aftercare(struct comparison *c);

/* --- comparison_tell.c */

/* Fills answer->choices and answer->cleaned, and warns of sources that disagree. */
enum status comparison_tell_sources(struct comparison *c);

/* Fills the traces of every run. */
enum status comparison_tell_traces(struct comparison *c);

/* Writes the options into the answer. */
void comparison_tell_options(const struct comparison *c);

#endif
