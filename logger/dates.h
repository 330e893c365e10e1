/* dates.h - what the UTC statements heard during a run say about its dates. Pure.
 *
 * Inside a run only the monotonic clock counts: whatever anybody states, readings keep their order
 * and their distance. The date of instant 0 comes from the clock of the computer, which may be
 * wrong by decades (a computer without a battery starts in 1970); statements of UTC (RMC, ZDA,
 * 126992, 129029, 129033) judge it at the end, each source by itself: one that is unsteady, stands
 * alone, or states the impossible does not lead the others astray.
 */
#ifndef SEARUN_DATES_H
#define SEARUN_DATES_H

#include "reading.h"
#include "run_write.h"

#define DATES_SOURCES 16 /* sources told apart */
#define DATES_SILENT_NS (60 * NS_PER_S)
#define DATES_KEPT 512 /* statements kept of each, spread evenly over the run */
#define DATES_NEEDED 3 /* a source with fewer does not move a date */

/* No run that this program recorded is older: 2024-01-01 00:00:00 UTC. What a source states before
 * is wrong, and by how much is known if it fell back by whole 1024-week periods; so this bears,
 * without any other clock, until 1024 weeks later, in August 2043. */
#define DATES_PROGRAM_US (INT64_C(1704067200) * 1000000)
#define DATES_ANY INT64_MIN /* for captures, which may be older */

/* One talker and message, or one device and message. */
struct dates_source {
    struct origin origin;
    uint64_t heard;
    int64_t last;    /* instant of the last one (ns) */
    uint64_t stride; /* every stride-th statement is kept */
    size_t count;
    int64_t start_us[DATES_KEPT]; /* date of instant 0 that a statement implies */
};

/* Zero-initialise. */
struct dates {
    size_t count;
    struct dates_source source[DATES_SOURCES];
};

/* UTC `unix_us` (microseconds since 1970) was stated by `origin` at instant `at` (ns). Dates that
 * our texts cannot say (capture_text.h) are not heard. Where there are more sources than places, a
 * new one takes that of one of its input that was heard less than DATES_NEEDED times and then not
 * for DATES_SILENT_NS; else that of the one heard least on the input with the most places, if that
 * has two more than its own; else it is not heard. So sources made up on one input never shut out
 * those of another. */
void dates_add(struct dates *dates, const struct origin *origin, int64_t at, int64_t unix_us);

/* What a source comes to. */
struct dates_opinion {
    const struct dates_source *source;
    int64_t start_us;  /* median of the later half: a receiver knows more the longer it listens */
    int64_t spread_us; /* half the width of what nine in ten of them say */
    int eras;          /* whole 1024-week periods that it was behind; allowed for in start_us */
    bool usable;       /* steady within the tolerance, and possible */
};

struct dates_verdict {
    bool heard_enough;     /* a source was believed */
    bool moved;            /* start_unix_us is that of the source, in whole milliseconds */
    bool rolled_over;      /* the source was behind by whole 1024-week periods; allowed for */
    int64_t start_unix_us; /* date of instant 0 */
    int64_t behind_us;     /* how far the clock was behind the source (negative: ahead) */
    struct dates_opinion followed; /* if heard_enough */
    size_t agreeing;               /* further sources that agree with it */
    size_t dissenting;             /* others; */
    struct dates_opinion dissent;  /* one of them */
};

/* Compares with the clock's date of instant 0; it is moved if the source that is believed differs
 * by more than tolerance_us. Believed is who is supported most, by other sources and by the clock.
 * Nothing before `not_before_us` is believed. */
struct dates_verdict dates_judge(const struct dates *dates, int64_t start_unix_us,
                                 int64_t tolerance_us, int64_t not_before_us);

#define DATES_TEXT_ROOM 256

/* Says it for people, for the event "dated" of the run file: "by GNSS: RMC of GP, stated 318 times,
 * steady to 0.2 s; 2 more sources agree; the computer's clock was 20783 days behind". */
void dates_tell(const struct dates_verdict *verdict, enum clock_source before, char *to,
                size_t room);
/* Whether it is worth a warning: the clock was wrong, or a source is. */
bool dates_is_odd(const struct dates_verdict *verdict);

#endif
