/* advice.c - what usually comes next for a heat exchanger. */
#include "advice.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "words.h"

/* Common practice, no source. */
#define CLEAN_AFTER 5.0 /* years: the one acid clean comes about then */
#define CLEAN_SOON 4.0  /* years: near enough to plan it */
#define LIFE_FIRST 10.0 /* years: an exchanger lasts about so long ... */
#define LIFE_LAST 12.0  /* ... to so long */

/* s: where the clocks are furthest ahead of UTC (UTC+14) the day begins so much earlier. */
#define AHEAD 50400

#define YEAR_SECONDS (365.2425 * 86400.0) /* mean Gregorian year */

/* The exchanger as the log knows it. */
struct exchanger {
    const struct service_event *fitted, *clean, *rodded, *oil, *coolant,
        *earliest;           /* the last ones */
    size_t cleans, roddings; /* since it was fitted, or since the log begins */
    size_t later;            /* lines dated after `now` */
};

static __attribute__((format(printf, 3, 4))) void say(struct advice *advice, enum advice_kind kind,
                                                      const char *format, ...)
{
    va_list list;
    assert(advice->count < ADVICE_LINES_MAX);
    struct advice_line *line = &advice->lines[advice->count++];
    line->kind = kind;
    va_start(list, format);
    vsnprintf(line->text, sizeof line->text, format, list);
    va_end(list);
}

const char *advice_mark(enum advice_kind kind)
{
    return kind == ADVICE_PRACTICE ? "Common practice, no source: " : "";
}

static void take_event(struct exchanger *exchanger, const struct service_event *event)
{
    if (exchanger->earliest == NULL)
        exchanger->earliest = event;
    if (event->kind == SERVICE_EXCHANGER_REPLACED) {
        exchanger->fitted = event;
        exchanger->clean = exchanger->rodded = NULL;
        exchanger->cleans = exchanger->roddings = 0;
    } else if (event->kind == SERVICE_EXCHANGER_ACID_CLEANED) {
        exchanger->clean = event;
        exchanger->cleans++;
    } else if (event->kind == SERVICE_BUNDLE_RODDED) {
        exchanger->rodded = event;
        exchanger->roddings++;
    } else if (event->kind == SERVICE_OIL_COOLER) {
        exchanger->oil = event;
    } else if (event->kind == SERVICE_COOLANT_CHANGED) {
        exchanger->coolant = event;
    }
}

static struct exchanger look_back(const struct advice_input *input)
{
    struct exchanger exchanger = {0};
    for (size_t i = 0; i < input->log->count; i++) {
        const struct service_event *event = &input->log->events[i];
        if (!service_event_touches(event, input->engine, input->label))
            continue;
        if (event->date > input->now + (event->day_only ? AHEAD : 0))
            exchanger.later++;
        else
            take_event(&exchanger, event);
    }
    return exchanger;
}

/* --- words */

static double years_since(const struct advice_input *input, const struct service_event *event)
{
    return fmax((double)(input->now - event->date), 0) / YEAR_SECONDS;
}

/* What somebody wrote, cut to a length at a whole character. */
struct quote {
    char s[204];
};

static struct quote quote_of(const char *words)
{
    struct quote quote;
    size_t length = strnlen(words, sizeof quote.s - 4);
    bool whole = words[length] == '\0';
    while (!whole && length > 0 && ((unsigned char)words[length] & 0xC0) == 0x80)
        length--;
    memcpy(quote.s, words, length);
    strcpy(quote.s + length, whole ? "" : "...");
    return quote;
}

/* "8 years", "14 months": no finer than anyone plans by. */
static struct word span_words(double years)
{
    if (years < 2.0 / 12)
        return word_of("%s", word_count((uint64_t)floor(years * 365.2425), "day", "days").s);
    if (years < 2)
        return word_of("%s", word_count((uint64_t)floor(years * 12), "month", "months").s);
    return word_of("%.0f years", floor(years));
}

static struct word date_words(const struct service_event *event)
{
    return word_date(event->date * 1000000);
}

/* "on 2018-04-02, 8 years before the last run (2100 engine hours ago)" */
static struct word since_words(const struct advice_input *input, const struct service_event *event)
{
    double hours = input->hours - event->hours;
    return hours >= 0 ? word_of("on %s, %s before the last run (%.0f engine hours)",
                                date_words(event).s, span_words(years_since(input, event)).s, hours)
                      : word_of("on %s, %s before the last run", date_words(event).s,
                                span_words(years_since(input, event)).s);
}

static struct word times_words(size_t count)
{
    if (count == 1)
        return word_of("once");
    return count == 2 ? word_of("twice") : word_of("%zu times", count);
}

/* --- age and cleans */

static void say_age(const struct advice_input *input, const struct exchanger *exchanger,
                    struct advice *out)
{
    const char *open = input->exchanger[0] != '\0' ? " Recorded of it: \"" : "";
    const char *close = input->exchanger[0] != '\0' ? "\"." : "";
    struct quote recorded = quote_of(input->exchanger);
    if (exchanger->fitted != NULL)
        say(out, ADVICE_RECORD, "Age of the heat exchanger: fitted new %s.",
            since_words(input, exchanger->fitted).s);
    else if (exchanger->earliest != NULL)
        say(out, ADVICE_RECORD,
            "Age of the heat exchanger: not in the log, which begins on %s, %s before the last "
            "run.%s%s%s",
            date_words(exchanger->earliest).s,
            span_words(years_since(input, exchanger->earliest)).s, open, recorded.s, close);
    else
        say(out, ADVICE_RECORD, "Age of the heat exchanger: not recorded.%s%s%s", open, recorded.s,
            close);
}

static void say_cleans(const struct advice_input *input, const struct exchanger *exchanger,
                       struct advice *out)
{
    const char *since = exchanger->fitted != NULL ? "since it was new" : "in the log";
    if (exchanger->cleans == 0)
        say(out, ADVICE_RECORD, "Acid cleans: none recorded %s.", since);
    else
        say(out, ADVICE_RECORD, "Acid cleans: %s %s, the last %s.",
            times_words(exchanger->cleans).s, since, since_words(input, exchanger->clean).s);
    if (exchanger->roddings > 0)
        say(out, ADVICE_RECORD, "Tube bundle removed and rodded: %s %s, the last %s.",
            times_words(exchanger->roddings).s, since, since_words(input, exchanger->rodded).s);
}

static void say_condition(const struct advice_input *input, struct advice *out)
{
    if (input->condition == ADVICE_NOT_MEASURED)
        say(out, ADVICE_RECORD, "Condition: not measured by these runs.%s%.400s",
            input->condition_words[0] != '\0' ? " " : "", input->condition_words);
    else
        say(out, ADVICE_RECORD, "Condition measured: %.500s", input->condition_words);
}

/* --- what usually comes next */

/* How soon the condition asks for it. */
static const char *urgency(enum advice_condition condition)
{
    static const char *const words[] = {
        [ADVICE_NOT_MEASURED] = "A run before and one after the next service would show its "
                                "condition.",
        [ADVICE_NO_VERDICT] =
            "Enter the alarm temperature of the engine, and how soon can be told.",
        [ADVICE_COOLS_WELL] = "The condition measured gives no reason to do it sooner.",
        [ADVICE_UNCHANGED] = "These runs show no change: no reason to do it sooner or later.",
        [ADVICE_COOLS_POORLY] = "The condition measured says: look at it now, and at the raw-water "
                                "pump, strainer and hoses before the exchanger is blamed.",
    };
    return words[condition];
}

static void say_next_after_clean(const struct advice_input *input,
                                 const struct exchanger *exchanger, struct advice *out)
{
    say(out, ADVICE_PRACTICE,
        "an acid clean weakens the tubes, so it is done once, and this exchanger was acid-cleaned "
        "%s%s. What usually comes next is to have the tube bundle removed, rodded and inspected, "
        "or the exchanger replaced, not another acid clean. %s",
        times_words(exchanger->cleans).s, exchanger->fitted != NULL ? "" : " at least",
        urgency(input->condition));
}

static void say_next_before_clean(const struct advice_input *input, double age, struct advice *out)
{
    if (age >= CLEAN_SOON)
        say(out, ADVICE_PRACTICE,
            "the one acid clean of an exchanger's life comes about %.0f years in: that is what "
            "usually comes next, unless the tubes are thin or leak. It weakens the tubes, so it is "
            "not repeated. %s",
            CLEAN_AFTER, urgency(input->condition));
    else
        say(out, ADVICE_PRACTICE,
            "the one acid clean of an exchanger's life comes about %.0f years in; this one is "
            "not there yet. %s",
            CLEAN_AFTER, urgency(input->condition));
}

static void say_next_at_unknown_age(const struct advice_input *input, struct advice *out)
{
    say(out, ADVICE_PRACTICE,
        "one acid clean about %.0f years in, because it weakens the tubes, and a new exchanger "
        "after about %.0f to %.0f years. Without its age nothing can be said of what comes next: "
        "look for a date on its plate or in the boat's papers, and write a line into the log. %s",
        CLEAN_AFTER, LIFE_FIRST, LIFE_LAST, urgency(input->condition));
}

static void say_next(const struct advice_input *input, const struct exchanger *exchanger,
                     struct advice *out)
{
    double age = exchanger->fitted != NULL ? years_since(input, exchanger->fitted) : NAN;
    double least = exchanger->earliest != NULL ? years_since(input, exchanger->earliest) : 0;
    double old = isnan(age) ? least : age;
    if (old >= LIFE_FIRST)
        say(out, ADVICE_PRACTICE,
            "a heat exchanger lasts about %.0f to %.0f years, and this one is %s%s old: what "
            "usually comes next is a new one, and no %sacid clean, which weakens the tubes. %s",
            LIFE_FIRST, LIFE_LAST, isnan(age) ? "at least " : "", span_words(old).s,
            exchanger->cleans > 0 ? "further " : "", urgency(input->condition));
    else if (exchanger->cleans > 0)
        say_next_after_clean(input, exchanger, out);
    else if (isnan(age))
        say_next_at_unknown_age(input, out);
    else
        say_next_before_clean(input, age, out);
}

/* --- beside it */

static void say_oil_cooler(const struct advice_input *input, const struct exchanger *exchanger,
                           struct advice *out)
{
    if (exchanger->oil != NULL)
        say(out, ADVICE_PRACTICE,
            "oil coolers are due at the same intervals as the exchanger. This one was cleaned or "
            "replaced %s.",
            since_words(input, exchanger->oil).s);
    else
        say(out, ADVICE_PRACTICE,
            "oil coolers are due at the same intervals as the exchanger. Nothing is recorded of "
            "this one.");
}

static void say_coolant(const struct advice_input *input, const struct exchanger *exchanger,
                        struct advice *out)
{
    const struct service_event *change = exchanger->coolant;
    const char *mark = input->coolant[0] != '\0' ? "\"" : "";
    struct quote mix = quote_of(input->coolant[0] != '\0' ? input->coolant : "not recorded");
    struct quote notes = quote_of(change != NULL ? change->notes : "");
    if (change == NULL)
        say(out, ADVICE_RECORD, "Coolant, kind, mix and volume: %s%s%s. Last change: not recorded.",
            mark, mix.s, mark);
    else
        say(out, ADVICE_RECORD, "Coolant, kind, mix and volume: %s%s%s. Changed %s%s%s%s", mark,
            mix.s, mark, since_words(input, change).s, notes.s[0] != '\0' ? " (\"" : "", notes.s,
            notes.s[0] != '\0' ? "\")." : ".");
}

void advice_make(const struct advice_input *input, struct advice *out)
{
    struct exchanger exchanger = look_back(input);
    out->count = 0;
    say_age(input, &exchanger, out);
    say_cleans(input, &exchanger, out);
    say_condition(input, out);
    say_next(input, &exchanger, out);
    say_oil_cooler(input, &exchanger, out);
    say_coolant(input, &exchanger, out);
    if (exchanger.later > 0)
        say(out, ADVICE_RECORD, "%s dated after the last run and left out here.",
            word_count(exchanger.later, "line of the log is", "lines of the log are").s);
    say(out, ADVICE_DEFER,
        "This is advice, not a finding. The maker of the engine and the yard that has seen the "
        "exchanger decide.");
}
