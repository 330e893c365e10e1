/* season_sender.c - see season_sender.h. */
#include "season_sender.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "words.h"

#define SENDER_U 1.0 /* K, of a coolant sender against another one (common practice, no source) */

/* --- the way of the readings */

/* Length of a title without who passed it on: addresses on a bus change by themselves. */
static size_t without_talker(const char *title)
{
    size_t length = strlen(title);
    for (const char *at = title; (at = strstr(at, " from ")) != NULL; at++)
        length = (size_t)(at - title);
    return length;
}

bool season_same_source(const struct outing_engine *a, const struct outing_engine *b)
{
    size_t length = without_talker(a->coolant_source);
    if (a->coolant_source[0] == '\0' || b->coolant_source[0] == '\0')
        return true;
    return length == without_talker(b->coolant_source) &&
           strncmp(a->coolant_source, b->coolant_source, length) == 0 &&
           text_same_words(a->coolant_instrument, b->coolant_instrument);
}

/* --- what the service log says */

static double at_of(const struct seasons *seasons, size_t outing)
{
    return (double)seasons->outings[outing].start_unix_us * 1e-6;
}

/* Events of an engine from one instant to another: that the sender was exchanged, or kept. */
static size_t count_events(const struct seasons *seasons, const struct season_engine *engine,
                           double from, double to, bool kept)
{
    size_t count = 0;
    for (size_t i = 0; i < seasons->event_count; i++) {
        const struct season_event *event = &seasons->events[i];
        bool said = kept ? event->kept_sender : event->new_sender && !event->guessed;
        count += said && event->at > from && event->at <= to &&
                 season_event_is_of(seasons, event, engine->boat, engine->instance);
    }
    return count;
}

/* --- numbers */

/* For each run the first run whose readings come the same way; what the log says is one sender is
 * one. */
static void find_ways(const struct seasons *seasons, const struct season_engine *engine,
                      const struct gathered *g, size_t *way)
{
    for (size_t r = 0; r < g->run_count; r++) {
        const struct outing_engine *own = season_engine_in(seasons, engine, g->runs[r].outing);
        size_t first = 0;
        while (first < r &&
               !season_same_source(season_engine_in(seasons, engine, g->runs[first].outing), own))
            first++;
        way[r] = first < r ? way[first] : r;
        if (r == 0 || way[r] != r ||
            count_events(seasons, engine, at_of(seasons, g->runs[r - 1].outing),
                         at_of(seasons, g->runs[r].outing), true) == 0)
            continue;
        way[r] = way[r - 1];
    }
}

static double instrument_u(const struct outing_engine *engine)
{
    bool stated = engine->by_hand || engine->coolant_run_u > 0 || engine->coolant_instrument_u > 0;
    return stated ? engine->coolant_instrument_u : SENDER_U;
}

/* What is the same in all outings: how far the instrument is off, and the rounding, since the same
 * temperature is rounded alike each time. */
static double offset_u(const struct outing_engine *engine)
{
    double rounding = engine->by_hand ? engine->coolant_step / sqrt(12.0) : 0;
    return engine->coolant_instrument_u > 0 ? hypot(engine->coolant_instrument_u, rounding) : 0;
}

/* What the senders that run `known[1]` ... had may differ by from that of known[0]. */
static void rate_senders(const struct seasons *seasons, const struct season_engine *engine,
                         struct gathered *g, const size_t *known, size_t count)
{
    for (size_t k = 0; k < LEVELS_SENDERS; k++)
        g->sender_u[k] = SENDER_U;
    if (count == 0)
        return;
    const struct outing_engine *own = season_engine_in(seasons, engine, g->runs[known[0]].outing);
    g->offset_u = offset_u(own);
    for (size_t k = 1; k < count; k++) {
        const struct outing_engine *other =
            season_engine_in(seasons, engine, g->runs[known[k]].outing);
        g->sender_u[k - 1] = fmax(hypot(instrument_u(own), instrument_u(other)), SENDER_U);
    }
}

enum status season_sender_number(const struct seasons *seasons, const struct season_engine *engine,
                                 struct gathered *g)
{
    size_t *way = calloc(2 * g->run_count + 1, sizeof *way);
    size_t known[LEVELS_SENDERS + 1], count = 0;
    if (way == NULL)
        return STATUS_MEMORY;
    size_t *exchanges = way + g->run_count; /* that were still to come */
    find_ways(seasons, engine, g, way);
    for (size_t r = g->run_count; r-- > 0;) {
        double at = at_of(seasons, g->runs[r].outing);
        size_t k = 0;
        exchanges[r] = count_events(seasons, engine, at, INFINITY, false);
        while (k < count && !(way[known[k]] == way[r] && exchanges[known[k]] == exchanges[r]))
            k++;
        if (k == count && count <= LEVELS_SENDERS)
            known[count++] = r;
        g->levels[r].sender = k < count ? k : count - 1; /* further ones share the last */
    }
    rate_senders(seasons, engine, g, known, count);
    free(way);
    return STATUS_OK;
}

/* --- what is told */

/* Have the readings of the engine come this way in an outing before? */
static bool came_before(const struct seasons *seasons, const struct season_engine *engine,
                        const struct outing_engine *own, size_t before)
{
    for (size_t o = 0; o < before; o++) {
        const struct outing_engine *other = season_engine_in(seasons, engine, o);
        if (other != NULL && season_same_source(other, own))
            return true;
    }
    return false;
}

static bool has_used_hold(const struct outing_engine *engine)
{
    for (size_t i = 0; i < engine->hold_count; i++)
        if (engine->holds[i].refusal == REFUSAL_NONE)
            return true;
    return false;
}

static struct word way_of(const struct outing_engine *engine)
{
    const char *instrument = engine->coolant_instrument;
    return word_of("%.36s%s%.30s", answer_cut(engine->coolant_source).s,
                   instrument[0] != '\0' ? ", " : "", answer_cut(instrument).s);
}

static enum status take_as_new(struct seasons *seasons, const struct season_engine *engine,
                               size_t last, size_t now)
{
    const struct outing_engine *before = season_engine_in(seasons, engine, last);
    const struct outing_engine *after = season_engine_in(seasons, engine, now);
    struct season_event event = {
        .at = at_of(seasons, now) - 1,
        .hours = NAN,
        .engine = engine->instance,
        .step = true,
        .guessed = true,
        .new_sender = true,
    };
    if (count_events(seasons, engine, at_of(seasons, last), at_of(seasons, now), true) > 0 ||
        count_events(seasons, engine, at_of(seasons, last), at_of(seasons, now), false) > 0)
        return STATUS_OK;
    snprintf(event.boat, sizeof event.boat, "%s", seasons->boats[engine->boat].name);
    snprintf(event.what, sizeof event.what, "coolant temperature read another way");
    season_warn(seasons, engine->boat, engine->instance, "sender_source",
                "From %s on the coolant temperature comes another way (%s; before: %s). That is "
                "taken as another sender: the line is broken there, and what two senders differ "
                "by is in the intervals. If it is the same one, say so in the service log (--what "
                "sender-kept).",
                word_date(seasons->outings[now].start_unix_us).s, way_of(after).s,
                way_of(before).s);
    return seasons_add_event(seasons, &event);
}

/* What a run says of its sender. That of a sheet names an instrument of it; which one was used the
 * readings themselves tell. */
static const char *words_of(const struct seasons *seasons, size_t outing, int instance)
{
    static const char hand[] = "read by hand: ";
    const struct outing_engine *own = outing_engine_of(&seasons->outings[outing], instance);
    const char *words =
        facts_get(&seasons->outings[outing].facts, FACT_ENGINE, instance, "coolant_sender");
    bool by_sheet = strncmp(words, hand, sizeof hand - 1) == 0;
    bool told = own != NULL && own->by_hand && own->coolant_instrument[0] != '\0';
    return by_sheet && told ? own->coolant_instrument : words;
}

static void tell_words(struct seasons *seasons, const struct season_engine *engine, size_t last,
                       size_t now)
{
    season_warn(seasons, engine->boat, engine->instance, "sender_words",
                "From %s on the runs describe the coolant sender in other words (before: "
                "\"%.60s\"; then: \"%.60s\"). Words alone are not taken as another sender. If it "
                "was exchanged, say so in the service log (--what sender-exchanged).",
                word_date(seasons->outings[now].start_unix_us).s,
                answer_cut(words_of(seasons, last, engine->instance)).s,
                answer_cut(words_of(seasons, now, engine->instance)).s);
}

/* Other words, where nothing else says that the sender changed. */
static bool told_otherwise(const struct seasons *seasons, const struct season_engine *engine,
                           size_t last, size_t now)
{
    const char *before = words_of(seasons, last, engine->instance);
    const char *after = words_of(seasons, now, engine->instance);
    double from = at_of(seasons, last), to = at_of(seasons, now);
    return before[0] != '\0' && after[0] != '\0' && !text_same_words(before, after) &&
           count_events(seasons, engine, from, to, false) == 0 &&
           count_events(seasons, engine, from, to, true) == 0;
}

/* A gauge and an infrared thermometer, both written down: which one was used. */
static void tell_two_hands(struct seasons *seasons, const struct season_engine *engine)
{
    const struct outing_engine *first = NULL;
    size_t count = 0, outing = 0;
    for (size_t o = 0; o < seasons->outing_count; o++) {
        const struct outing_engine *own = season_engine_in(seasons, engine, o);
        if (own == NULL || own->coolant_other[0] == '\0' || !has_used_hold(own))
            continue;
        outing = count++ == 0 ? o : outing;
        first = first ? first : own;
    }
    if (first != NULL)
        season_warn(seasons, engine->boat, engine->instance, "read_by_two",
                    "In %s (the first: %s) the coolant was read by hand with two instruments. In "
                    "the first the readings of \"%s\" were used, the others not; --source "
                    "coolant_temperature=%s uses those instead, wherever they are.",
                    word_count(count, "outing", "outings").s,
                    answer_cut(seasons->outings[outing].name).s,
                    answer_cut(first->coolant_instrument).s, first->coolant_other);
}

enum status season_sender_look(struct seasons *seasons, const struct season_engine *engine)
{
    size_t last = SIZE_MAX;
    bool told = false;
    enum status status = STATUS_OK;
    tell_two_hands(seasons, engine);
    for (size_t o = 0; o < seasons->outing_count && status == STATUS_OK; o++) {
        const struct outing_engine *own = season_engine_in(seasons, engine, o);
        if (own == NULL || !has_used_hold(own))
            continue;
        if (last != SIZE_MAX && !came_before(seasons, engine, own, o)) {
            status = take_as_new(seasons, engine, last, o);
        } else if (last != SIZE_MAX && !told && told_otherwise(seasons, engine, last, o)) {
            tell_words(seasons, engine, last, o);
            told = true; /* once: words may go to and fro */
        }
        last = o;
    }
    return status;
}
