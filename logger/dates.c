/* dates.c - see dates.h. */
#include "dates.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "capture_text.h"

#define US_PER_S INT64_C(1000000)
#define US_PER_DAY (86400 * US_PER_S)
/* The week number of the GPS L1 C/A navigation message has ten bits (IS-GPS-200, section 20.3.3.3):
 * receivers that do not allow for it fall back by 1024 weeks. */
#define US_PER_ERA (1024 * 7 * US_PER_DAY)
/* Weeks are counted from 1980-01-06 00:00:00 (IS-GPS-200, section 3.3.4). */
#define FIRST_WEEK_US (INT64_C(315964800) * US_PER_S)
#define ERAS_MAX 2

/* --- hearing */

static size_t sources_on(const struct dates *dates, unsigned input)
{
    size_t count = 0;
    for (size_t i = 0; i < dates->count; i++)
        count += dates->source[i].origin.input == input;
    return count;
}

/* The input that has the most places, if it is two more than `input` has: with less they would take
 * one from each other by turns. Else `input`. */
static unsigned crowded_input(const struct dates *dates, unsigned input)
{
    unsigned crowded = input;
    size_t most = sources_on(dates, input) + 1;
    for (size_t i = 0; i < dates->count; i++) {
        size_t count = sources_on(dates, dates->source[i].origin.input);
        if (count <= most)
            continue;
        most = count;
        crowded = dates->source[i].origin.input;
    }
    return crowded;
}

/* Worth less: heard less often, or silent for longer. */
static bool is_less(const struct dates_source *a, const struct dates_source *b)
{
    return a->heard != b->heard ? a->heard < b->heard : a->last < b->last;
}

/* A source of that input that was heard too seldom to count and has fallen silent. */
static struct dates_source *given_up(struct dates *dates, unsigned input, int64_t at)
{
    struct dates_source *least = NULL;
    for (size_t i = 0; i < dates->count; i++) {
        struct dates_source *it = &dates->source[i];
        if (it->origin.input == input && it->heard < DATES_NEEDED &&
            at - it->last >= DATES_SILENT_NS && (!least || is_less(it, least)))
            least = it;
    }
    return least;
}

static struct dates_source *least_of(struct dates *dates, unsigned input)
{
    struct dates_source *least = NULL;
    for (size_t i = 0; i < dates->count; i++) {
        struct dates_source *it = &dates->source[i];
        if (it->origin.input == input && (!least || is_less(it, least)))
            least = it;
    }
    return least;
}

/* A place for a new source of `input`; NULL if it has to do without. Whoever may send to an input
 * can make up sources on it without end: they must not keep those of other inputs from being heard,
 * nor take the place of one that was heard enough. */
static struct dates_source *place_for(struct dates *dates, unsigned input, int64_t at)
{
    if (dates->count < DATES_SOURCES)
        return &dates->source[dates->count++];
    struct dates_source *place = given_up(dates, input, at);
    unsigned crowded = crowded_input(dates, input);
    return place || crowded == input ? place : least_of(dates, crowded);
}

static struct dates_source *source_of(struct dates *dates, const struct origin *origin, int64_t at)
{
    for (size_t i = 0; i < dates->count; i++)
        if (memcmp(&dates->source[i].origin, origin, sizeof *origin) == 0)
            return &dates->source[i];
    struct dates_source *source = place_for(dates, origin->input, at);
    if (!source)
        return NULL;
    source->origin = *origin;
    source->stride = 1;
    source->heard = source->count = 0;
    return source;
}

/* Keeps every second one, so that what is kept stays spread evenly. */
static void thin_out(struct dates_source *source)
{
    for (size_t i = 0; i < DATES_KEPT / 2; i++)
        source->start_us[i] = source->start_us[2 * i];
    source->count = DATES_KEPT / 2;
    source->stride *= 2;
}

void dates_add(struct dates *dates, const struct origin *origin, int64_t at, int64_t unix_us)
{
    if (unix_us < 0 || unix_us / US_PER_S >= CAPTURE_UNIX_S_MAX)
        return;
    struct dates_source *source = source_of(dates, origin, at);
    if (!source)
        return;
    source->last = at;
    if (source->heard++ % source->stride != 0)
        return;
    if (source->count == DATES_KEPT) {
        thin_out(source);
        if ((source->heard - 1) % source->stride != 0)
            return;
    }
    source->start_us[source->count++] = unix_us - at / 1000;
}

/* --- one source */

static int ascending(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

/* Eras that it takes to come within a day of the clock; 0 if none do. */
static int eras_to_clock(int64_t behind_us)
{
    int64_t eras = (-behind_us + US_PER_ERA / 2) / US_PER_ERA;
    int64_t rest = behind_us + eras * US_PER_ERA;
    return behind_us < 0 && llabs(rest) <= US_PER_DAY ? (int)eras : 0;
}

/* Eras that it takes to come behind `not_before_us`; -1 if that is no explanation: a receiver that
 * never had a date counts from the first week or some other day, and one that is two periods behind
 * knows only the first. */
static int eras_to_program(int64_t start_us, int64_t not_before_us)
{
    int64_t eras = (not_before_us - start_us + US_PER_ERA - 1) / US_PER_ERA;
    bool first_week = start_us < FIRST_WEEK_US + 7 * US_PER_DAY;
    bool first_era = start_us < FIRST_WEEK_US + US_PER_ERA;
    return eras > ERAS_MAX || first_week || (eras == 2 && !first_era) ? -1 : (int)eras;
}

/* Allows for a rollover; false if what it states is impossible. */
static bool explain_era(struct dates_opinion *opinion, int64_t clock_us, int64_t not_before_us)
{
    int eras = eras_to_clock(opinion->start_us - clock_us);
    /* Two witnesses that agree to a day are not both wrong, whatever they say. */
    bool agree = llabs(opinion->start_us - clock_us) <= US_PER_DAY;
    if (eras == 0 && !agree && opinion->start_us < not_before_us)
        eras = eras_to_program(opinion->start_us, not_before_us);
    opinion->eras = eras > 0 ? eras : 0;
    opinion->start_us += opinion->eras * US_PER_ERA;
    return eras >= 0;
}

static struct dates_opinion opinion_of(const struct dates_source *source, int64_t clock_us,
                                       int64_t tolerance_us, int64_t not_before_us)
{
    struct dates_opinion opinion = {.source = source};
    int64_t sorted[DATES_KEPT];
    size_t first = source->count / 2, count = source->count - first;
    memcpy(sorted, source->start_us + first, count * sizeof sorted[0]);
    qsort(sorted, count, sizeof sorted[0], ascending);
    size_t edge = count / 20;
    opinion.start_us = sorted[(count - 1) / 2];
    opinion.spread_us = (sorted[count - 1 - edge] - sorted[edge]) / 2;
    opinion.usable = explain_era(&opinion, clock_us, not_before_us) &&
                     opinion.spread_us <= tolerance_us && source->count >= DATES_NEEDED;
    return opinion;
}

/* --- all of them */

static bool agree(int64_t a, int64_t b, int64_t tolerance_us)
{
    return llabs(a - b) <= tolerance_us;
}

/* Two messages of one talker are one witness. */
static bool is_same_talker(const struct dates_source *a, const struct dates_source *b)
{
    return a->origin.input == b->origin.input && strcmp(a->origin.source, b->origin.source) == 0;
}

/* How many others say the same, twofold; and the clock, which weighs a little more than one. */
static size_t support_of(const struct dates_opinion *opinions, size_t count, size_t which,
                         int64_t clock_us, int64_t tolerance_us)
{
    size_t support = agree(opinions[which].start_us, clock_us, tolerance_us) ? 3 : 0;
    for (size_t i = 0; i < count; i++)
        if (opinions[i].usable && !is_same_talker(opinions[i].source, opinions[which].source) &&
            agree(opinions[which].start_us, opinions[i].start_us, tolerance_us))
            support += 2;
    return support;
}

/* Whether `a` is to be followed rather than `b`, which has the support given. */
static bool is_better(const struct dates_opinion *a, size_t support, const struct dates_opinion *b,
                      size_t other_support)
{
    if (support != other_support)
        return support > other_support;
    if (a->eras != b->eras)
        return a->eras < b->eras;
    return a->source->heard > b->source->heard;
}

/* The number of the one to be followed; `count` if none can be. */
static size_t choose(const struct dates_opinion *opinions, size_t count, int64_t clock_us,
                     int64_t tolerance_us)
{
    size_t best = count, best_support = 0;
    for (size_t i = 0; i < count; i++) {
        size_t support = support_of(opinions, count, i, clock_us, tolerance_us);
        if (!opinions[i].usable ||
            (best < count && !is_better(&opinions[i], support, &opinions[best], best_support)))
            continue;
        best = i;
        best_support = support;
    }
    return best;
}

static void count_votes(struct dates_verdict *verdict, const struct dates_opinion *opinions,
                        size_t count, size_t followed, int64_t tolerance_us)
{
    for (size_t i = 0; i < count; i++) {
        bool same = followed < count && opinions[i].usable &&
                    agree(opinions[i].start_us, opinions[followed].start_us, tolerance_us);
        if (i == followed || opinions[i].source->count < DATES_NEEDED)
            continue;
        verdict->agreeing += same;
        verdict->dissenting += !same;
        if (!same)
            verdict->dissent = opinions[i];
    }
}

struct dates_verdict dates_judge(const struct dates *dates, int64_t start_unix_us,
                                 int64_t tolerance_us, int64_t not_before_us)
{
    struct dates_verdict verdict = {.start_unix_us = start_unix_us};
    struct dates_opinion opinions[DATES_SOURCES];
    for (size_t i = 0; i < dates->count; i++)
        opinions[i] = opinion_of(&dates->source[i], start_unix_us, tolerance_us, not_before_us);
    size_t which = choose(opinions, dates->count, start_unix_us, tolerance_us);
    count_votes(&verdict, opinions, dates->count, which, tolerance_us);
    if (which == dates->count)
        return verdict;
    int64_t stated = opinions[which].start_us;
    verdict.followed = opinions[which];
    verdict.heard_enough = true;
    verdict.rolled_over = opinions[which].eras > 0;
    verdict.behind_us = stated - start_unix_us;
    if (llabs(verdict.behind_us) > tolerance_us) {
        verdict.moved = true;
        verdict.start_unix_us = stated - ((stated % 1000) + 1000) % 1000;
    }
    return verdict;
}

/* --- words */

/* "4.2 s", "3.5 hours", "20783 days" */
static const char *put_span(char *to, size_t room, int64_t us)
{
    double seconds = (double)llabs(us) / 1e6;
    if (seconds < 600)
        snprintf(to, room, "%.1f s", seconds);
    else if (seconds < 2 * 86400)
        snprintf(to, room, "%.1f hours", seconds / 3600);
    else
        snprintf(to, room, "%.0f days", seconds / 86400);
    return to;
}

/* "RMC of GP" */
static const char *put_source(char *to, size_t room, const struct dates_source *source)
{
    snprintf(to, room, "%s of %s", source->origin.message, source->origin.source);
    return to;
}

static const char *clock_words(enum clock_source clock)
{
    return clock == CLOCK_NOMINAL ? "by nothing" : "by the computer's clock";
}

__attribute__((format(printf, 3, 4))) static void add(char *to, size_t room, const char *format,
                                                      ...)
{
    size_t length = strlen(to);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(to + length, room - length, format, arguments);
    va_end(arguments);
}

static void tell_followed(const struct dates_verdict *verdict, enum clock_source before, char *to,
                          size_t room)
{
    char span[32], source[40];
    put_source(source, sizeof source, verdict->followed.source);
    if (verdict->moved)
        add(to, room, "by GNSS: %s, stated %" PRIu64 " times, steady to %s", source,
            verdict->followed.source->heard,
            put_span(span, sizeof span, verdict->followed.spread_us));
    else
        add(to, room, "%s, which %s agrees with", clock_words(before), source);
    if (verdict->agreeing > 0)
        add(to, room, "; %zu more source%s agree%s", verdict->agreeing,
            verdict->agreeing == 1 ? "" : "s", verdict->agreeing == 1 ? "s" : "");
    if (verdict->rolled_over)
        add(to, room, "; its own dates are %d weeks old and are corrected",
            1024 * verdict->followed.eras);
    if (verdict->moved)
        add(to, room, "; the computer's clock was %s %s",
            put_span(span, sizeof span, verdict->behind_us),
            verdict->behind_us > 0 ? "behind" : "ahead");
}

static void tell_dissent(const struct dates_verdict *verdict, char *to, size_t room)
{
    char span[32], source[40];
    const struct dates_opinion *dissent = &verdict->dissent;
    put_source(source, sizeof source, dissent->source);
    if (verdict->heard_enough && dissent->usable)
        add(to, room, "; %s differs by %s", source,
            put_span(span, sizeof span, dissent->start_us - verdict->followed.start_us));
    else
        add(to, room, "; %s is unsteady or states an impossible date", source);
    if (verdict->dissenting > 1)
        add(to, room, ", and so do %zu more", verdict->dissenting - 1);
    add(to, room,
        verdict->dissenting > 1 ? "; their times were not used" : "; its time was not used");
}

void dates_tell(const struct dates_verdict *verdict, enum clock_source before, char *to,
                size_t room)
{
    to[0] = '\0';
    if (verdict->heard_enough)
        tell_followed(verdict, before, to, room);
    else
        add(to, room, "%s; %s", clock_words(before),
            verdict->dissenting > 0 ? "no source of UTC could be believed"
                                    : "no source of UTC was heard that could confirm it");
    if (verdict->dissenting > 0)
        tell_dissent(verdict, to, room);
}

bool dates_is_odd(const struct dates_verdict *verdict)
{
    return verdict->moved || verdict->rolled_over || verdict->dissenting > 0;
}
