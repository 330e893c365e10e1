/* advice.h - what usually comes next for a heat exchanger, from the service history, its age and
 * the condition measured. Pure.
 *
 * The rules are common practice without a published source, and every sentence that rests on them
 * says so: an acid clean weakens the tubes, so it is done once, about five years in; an exchanger
 * lasts about 10 to 12 years; oil coolers are due at the same intervals. It is advice and never
 * more: the maker of the engine and the yard decide.
 */
#ifndef SEARUN_ADVICE_H
#define SEARUN_ADVICE_H

#include <stddef.h>
#include <stdint.h>

#include "service_log.h"

enum advice_condition {
    ADVICE_NOT_MEASURED,
    ADVICE_NO_VERDICT,  /* measured, but nothing says whether it is good or bad */
    ADVICE_COOLS_WELL,  /* lowered by the service, or no sign of fouling since */
    ADVICE_UNCHANGED,   /* a service changed nothing that can be shown */
    ADVICE_COOLS_POORLY /* worse than before, or on the way to the alarm */
};

struct advice_input {
    const struct service_log *log; /* all engines; may be empty */
    int engine;
    const char *label; /* of the engine; "" if it has none */
    int64_t now;       /* unix time, s: the date of the last run. What is dated later is left out */
    double hours;      /* of the engine, now; NaN if not known */
    enum advice_condition condition;
    const char *condition_words;     /* the condition measured, in a sentence; "" if not measured */
    const char *exchanger, *coolant; /* as recorded among the facts; "" if not */
};

enum advice_kind {
    ADVICE_RECORD,   /* what the log, the facts or the runs say */
    ADVICE_PRACTICE, /* common practice, no source */
    ADVICE_DEFER     /* who decides */
};

#define ADVICE_LINES_MAX 12

struct advice {
    size_t count;
    struct advice_line {
        enum advice_kind kind;
        char text[600]; /* whole sentences, without the words that mark its kind */
    } lines[ADVICE_LINES_MAX];
};

/* Age and cleans first, then the condition, what usually comes next, oil cooler, coolant, who
 * decides. */
void advice_make(const struct advice_input *input, struct advice *out);

/* Put in front of a line where it is shown: "" or "Common practice, no source: ". */
const char *advice_mark(enum advice_kind kind);

#endif
