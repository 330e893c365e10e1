/* journal.h - the journal of a run: the truth, appended first; the run file is made again from it
 * after the power was cut. Layout: journal_text.h.
 *
 * The journal of RUN.h5 is RUN.journal, beside it. What is given is in the file after BATCH_MS at
 * the latest (journal_store.flush), and durable a second later (journal_store.sync). It is removed
 * when the run file has been read back; kept ones are called RUN.journal.kept.
 */
#ifndef SEARUN_JOURNAL_H
#define SEARUN_JOURNAL_H

#include "writer.h"

#define JOURNAL_SUFFIX ".journal"
#define JOURNAL_KEPT_SUFFIX ".journal.kept"

/* The path of the journal of a run file. False if it does not fit. */
bool journal_path(char *to, size_t room, const char *run_path);

/* A journal is claimed by whoever writes or rebuilds it, for as long as the run file is not
 * finished, so that two programs never work on one. */
struct journal_claim {
    int fd; /* -1: none */
};

/* Makes an empty journal for a new run and claims it. STATUS_EXISTS if there is one: with words
 * that say whether it is being recorded; STATUS_IO, STATUS_NOT_FOUND, STATUS_FULL. */
enum status journal_claim_new(const char *path, struct journal_claim *claim,
                              struct complaint *complaint);
/* Claims one that is there. STATUS_EXISTS if another program has it; STATUS_NOT_FOUND, STATUS_IO.
 * If all that fails is the lock (not every file system has them), claim->fd is open all the
 * same. */
enum status journal_claim_old(const char *path, struct journal_claim *claim,
                              struct complaint *complaint);
void journal_release(struct journal_claim *claim);

/* Writes the journal of run_start.path, which must have been claimed as a new one. Readings,
 * statements of UTC, and events with an origin are not kept: they come again by decoding. */
extern const struct store journal_store;

/* The run file is finished: removes the journal, or gives it the name of a kept one. */
enum status journal_finish(const char *path, bool keep, struct complaint *complaint);

#endif
