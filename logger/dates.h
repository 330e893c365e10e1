/* dates.h - what the UTC statements heard during a run say about its dates. Pure.
 *
 * Inside a run only the monotonic clock counts. The date of instant 0 comes from the clock of the
 * computer, which may be wrong by decades; statements of UTC (RMC, ZDA, 126992 ...) judge it at the end.
 */
#ifndef SEARUN_DATES_H
#define SEARUN_DATES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DATES_KEPT 2048 /* statements kept, spread evenly over the run */
#define DATES_NEEDED 3  /* fewer do not move a date */

/* Zero-initialise. */
struct dates {
    uint64_t heard;
    uint64_t stride; /* every stride-th statement is kept; 0 means 1 */
    size_t count;
    int64_t start_us[DATES_KEPT]; /* date of instant 0 that a statement implies */
};

/* UTC `unix_us` (microseconds since 1970) was stated at instant `at` (ns). */
void dates_add(struct dates *dates, int64_t at, int64_t unix_us);

struct dates_verdict {
    bool heard_enough;
    bool moved;            /* start_unix_us is that of the statements */
    bool rolled_over;      /* receivers were whole 1024-week periods behind; allowed for */
    int64_t start_unix_us; /* date of instant 0, in whole milliseconds if moved */
    int64_t behind_us; /* how far the clock was behind the statements' median (negative: ahead) */
};

/* Compares with the clock's date of instant 0. It is moved to the median of the statements if they
 * differ by more than tolerance_us. */
struct dates_verdict dates_judge(const struct dates *dates, int64_t start_unix_us,
                                 int64_t tolerance_us);

#endif
