/* diagnose.c - files and facts; see diagnose.h. Sources: diagnose_sources.c; holds:
 * diagnose_engine.c. */
#include "diagnose.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "facts.h"
#include "rules.h"
#include "words.h"

static const char *const side_words[SIDE_COUNT] = {"before", "after"};

static const char *fact_of(const struct run_summary *run, enum fact_section section, int engine,
                           const char *key)
{
    return run->facts ? facts_get(run->facts, section, engine, key) : "";
}

/* --- the same or another boat, engine, propeller */

/* A fact on which runs differ, and what follows from it. */
struct fact_check {
    enum fact_section section;
    const char *key, *warning, *what, *consequence;
};

static const struct fact_check boat_checks[] = {
    {FACT_BOAT, "name", "boats_differ", "the boat",
     "Runs of different boats tell nothing about a "
     "service. Check that the right files are given."},
    {FACT_BOAT, "identification", "boats_differ", "the boat's identification",
     "Check that the right files are given."},
};
static const struct fact_check engine_checks[] = {
    {FACT_ENGINE, "serial", "engine_differs", "the serial number of the engine",
     "Runs of different engines tell nothing about a service. Check that the right files are "
     "given."},
    {FACT_ENGINE, "model", "engine_differs", "the engine model",
     "Check that the right files are given."},
    {FACT_ENGINE, "coolant", "coolant_differs", "the coolant",
     "Its heat capacity is part of the cooling: the change shown includes the change of coolant."},
    {FACT_ENGINE, "propeller", "propeller_differs", "the propeller",
     "At the same rpm the load is another then. Without a recorded fuel rate or engine load the "
     "comparison cannot tell load from cooling; the day-to-day load term was widened to 5 %."},
};

/* The first two runs that record different words for a fact. */
static bool differ(const struct answer *answer, const struct fact_check *check, int engine,
                   size_t *first, size_t *second)
{
    for (size_t a = 0; a < answer->run_count; a++) {
        const char *words = fact_of(&answer->runs[a], check->section, engine, check->key);
        if (words[0] == '\0')
            continue;
        for (size_t b = a + 1; b < answer->run_count; b++) {
            const char *other = fact_of(&answer->runs[b], check->section, engine, check->key);
            *first = a;
            *second = b;
            if (other[0] != '\0' && !text_same_words(words, other))
                return true;
        }
    }
    return false;
}

static void check_fact(struct answer *answer, const struct fact_check *check, int engine,
                       int warned_engine)
{
    size_t a, b;
    if (!differ(answer, check, engine, &a, &b))
        return;
    answer_warn(answer, check->warning, warned_engine,
                "The runs do not agree on %s: \"%s\" in %s, \"%s\" in %s. %s", check->what,
                answer_cut(fact_of(&answer->runs[a], check->section, engine, check->key)).s,
                answer_cut(answer->runs[a].name).s,
                answer_cut(fact_of(&answer->runs[b], check->section, engine, check->key)).s,
                answer_cut(answer->runs[b].name).s, check->consequence);
}

void diagnose_engine_facts(struct answer *answer, int engine)
{
    for (size_t i = 0; i < sizeof engine_checks / sizeof engine_checks[0]; i++)
        check_fact(answer, &engine_checks[i], engine, engine);
}

/* --- order, purpose, sameness */

static bool same_run(const struct run_summary *a, const struct run_summary *b)
{
    bool same_id = a->run_id[0] != '\0' && strcmp(a->run_id, b->run_id) == 0;
    return same_id || (a->sha256[0] != '\0' && strcmp(a->sha256, b->sha256) == 0);
}

static bool has_date(const struct run_summary *run)
{
    return strcmp(run->clock, clock_source_key(CLOCK_NOMINAL)) != 0;
}

static void check_pair(struct answer *answer, const struct run_summary *before,
                       const struct run_summary *after)
{
    if (same_run(before, after))
        answer_warn(answer, "same_run", -1,
                    "%s and %s are the same run, given before and after: no change can come "
                    "out of this. Give the run made after the service.",
                    answer_cut(before->name).s, answer_cut(after->name).s);
    else if (has_date(before) && has_date(after) && before->start_unix_us > after->start_unix_us)
        answer_warn(answer, "order", -1,
                    "%s (before) was recorded %s later than %s (after). If the sides are "
                    "swapped, lowered and raised are swapped too.",
                    answer_cut(before->name).s,
                    word_duration(1e-6 * (double)(before->start_unix_us - after->start_unix_us)).s,
                    answer_cut(after->name).s);
}

static void check_purpose(struct answer *answer, const struct run_summary *run)
{
    const char *purpose = fact_of(run, FACT_RUN, 0, "purpose");
    const char *other = run->side == SIDE_BEFORE ? "after service" : "before service";
    if (strcmp(purpose, other) == 0)
        answer_warn(answer, "purpose", -1,
                    "%s is given as a run %s, but was recorded with the purpose \"%s\". If the "
                    "sides are swapped, lowered and raised are swapped too.",
                    answer_cut(run->name).s, side_words[run->side], purpose);
}

/* Runs that name no boat may be of two: nothing in them speaks against it. */
static void check_named(struct answer *answer, const struct run_summary *run)
{
    if (fact_of(run, FACT_BOAT, 0, "name")[0] == '\0' &&
        fact_of(run, FACT_BOAT, 0, "identification")[0] == '\0')
        answer_warn(answer, "boat_unknown", -1,
                    "%s does not say which boat it is of: that the runs are of one boat rests on "
                    "who chose the files. --boat FILE names it.",
                    answer_cut(run->name).s);
}

/* Two seas that differ by more than the days between the runs let expect. */
static void check_seas(struct answer *answer, const struct run_summary *a,
                       const struct run_summary *b)
{
    double days = fabs((double)(a->start_unix_us - b->start_unix_us)) / 86400e6;
    double apart = fabs(a->sea_mean - b->sea_mean);
    if (has_date(a) && has_date(b) && days <= rules.diagnose.seas_unlike_days &&
        apart > rules.diagnose.seas_unlike)
        answer_warn(
            answer, "seas_unlike", -1,
            "The sea is %.1f °C in %s and %.1f °C in %s, only %.1f days apart: other waters, "
            "or one of the sensors does not read the sea. If it is the sensor, up to %.1f K "
            "of the change is its fault. Check it against a thermometer in a bucket.",
            a->sea_mean, answer_cut(a->name).s, b->sea_mean, answer_cut(b->name).s, days, apart);
}

/* --- the files themselves */

static void check_end(struct answer *answer, const struct run_summary *run)
{
    if (run->rebuilt)
        answer_warn(answer, "unclean_end", -1,
                    "%s was rebuilt from its journal after an unclean end: up to the last second "
                    "before it nothing is missing, and what was recorded counts in full.",
                    answer_cut(run->name).s);
    else if (!run->closed_cleanly)
        answer_warn(answer, "unclean_end", -1,
                    "%s was not closed properly: its end may be missing. What is in it counts in "
                    "full. `searun-analyze check` tells more.",
                    answer_cut(run->name).s);
}

static void check_gaps(struct answer *answer, const struct run_summary *run)
{
    bool long_gaps = run->gap_seconds > rules.diagnose.lost_share * run->duration &&
                     run->gap_seconds > rules.diagnose.run_gap;
    if (long_gaps || run->lost > 0)
        answer_warn(answer, "gaps", -1,
                    "%s has %zu gaps of %.0f s in all, and %" PRIu64 " messages known to be "
                    "lost. Holds with too many readings missing were refused.",
                    answer_cut(run->name).s, run->gap_count, run->gap_seconds, run->lost);
}

static void check_clock(struct answer *answer, const struct run_summary *run)
{
    if (!has_date(run))
        answer_warn(answer, "clock_nominal", -1,
                    "%s has no date of its own (no clock was known when it was recorded): its "
                    "order among the runs cannot be checked. Temperatures are not affected.",
                    answer_cut(run->name).s);
}

void diagnose_files(struct answer *answer)
{
    for (size_t i = 0; i < sizeof boat_checks / sizeof boat_checks[0]; i++)
        check_fact(answer, &boat_checks[i], 0, -1);
    for (size_t b = 0; b < answer->run_count; b++)
        for (size_t a = 0; a < answer->run_count; a++)
            if (answer->runs[b].side == SIDE_BEFORE && answer->runs[a].side == SIDE_AFTER)
                check_pair(answer, &answer->runs[b], &answer->runs[a]);
    for (size_t b = 0; b < answer->run_count; b++)
        for (size_t a = 0; a < b; a++)
            check_seas(answer, &answer->runs[a], &answer->runs[b]);
    for (size_t r = 0; r < answer->run_count; r++) {
        check_named(answer, &answer->runs[r]);
        check_purpose(answer, &answer->runs[r]);
        check_end(answer, &answer->runs[r]);
        check_gaps(answer, &answer->runs[r]);
        check_clock(answer, &answer->runs[r]);
    }
}

/* --- clocks and damage */

#define CLOCKS_MAX 16 /* origins that state UTC in turn; a boat has two or three */

/* The last statement of the same origin before statement i; NULL if there is none nearby. */
static const struct run_utc *statement_before(const struct run_utc *utc, size_t i)
{
    for (size_t back = 1; back <= i && back <= CLOCKS_MAX; back++)
        if (memcmp(&utc[i].origin, &utc[i - back].origin, sizeof utc->origin) == 0)
            return &utc[i - back];
    return NULL;
}

void diagnose_clock(struct answer *answer, size_t run, const struct run_utc *utc, size_t count)
{
    double worst = 0.0, when = 0.0;
    for (size_t i = 1; i < count; i++) {
        const struct run_utc *before = statement_before(utc, i);
        if (!before)
            continue;
        double told = 1e-6 * (double)(utc[i].unix_us - before->unix_us);
        double step = told - (utc[i].time - before->time);
        if (fabs(step) > fabs(worst)) {
            worst = step;
            when = utc[i].time;
        }
    }
    if (fabs(worst) > rules.diagnose.clock_step)
        answer_warn(answer, "clock_step", -1,
                    "In %s the clock on the network jumped %s by %s, %.1f minutes into the run. "
                    "Readings are timed by a steady clock of their own: only the dates shown are "
                    "unsure.",
                    answer_cut(answer->runs[run].name).s, worst > 0 ? "forward" : "back",
                    word_duration(fabs(worst)).s, when / 60);
}

void diagnose_tally(struct answer *answer, size_t run, const char *input, const struct tally *tally)
{
    static const enum reason damage[] = {REASON_BAD_CHECKSUM, REASON_TRUNCATED,
                                         REASON_BAD_CHARACTER, REASON_FAST_PACKET_LOST,
                                         REASON_TRANSPORT_LOST};
    uint64_t good = tally->line[REASON_SENTENCES].count + tally->line[REASON_FRAMES].count;
    uint64_t bad = 0;
    for (size_t i = 0; i < sizeof damage / sizeof damage[0]; i++)
        bad += tally->line[damage[i]].count;
    if ((double)bad > rules.diagnose.lost_share * (double)(good + bad) && bad > 0)
        answer_warn(answer, "damaged_messages", -1,
                    "In %s %" PRIu64 " of %" PRIu64 " messages from %s were damaged and "
                    "refused. Readings that did come in are sound; look at the wiring.",
                    answer_cut(answer->runs[run].name).s, bad, good + bad, answer_cut(input).s);
}
