/* summary.h - what the report says about each run file: names, dates, facts, gaps, fingerprint. */
#ifndef SEARUN_SUMMARY_H
#define SEARUN_SUMMARY_H

#include "answer.h"
#include "run_read.h"
#include "status.h"

/* Fills everything but the means and the traces. `sha256` is the file's fingerprint where it is
 * known, else NULL. `out` is zeroed first; answer_free frees it. */
enum status summary_make(struct run *run, const char *path, const char *sha256, enum side side,
                         struct run_summary *out, struct complaint *complaint);

#endif
