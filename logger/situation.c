/* situation.c - see situation.h. */
#include "situation.h"

#include <cjson/cJSON.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "decode.h"
#include "shown.h"

#define MIB 1048576.0
#define WIDTH 80

static const char *const activity_keys[ACTIVITY_COUNT] = {
    [ACTIVITY_WAITING] = "waiting",     [ACTIVITY_BEGINNING] = "beginning",
    [ACTIVITY_RECORDING] = "recording", [ACTIVITY_NO_SPACE] = "no_space",
    [ACTIVITY_FAILED] = "failed",
};

const char *activity_key(enum activity activity)
{
    return activity_keys[activity];
}

static double seconds(int64_t ns)
{
    return (double)ns / 1e9;
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

/* "3 d 4 h", "2 h 5 min", "12 min 3 s", "4.2 s". */
static const char *span_words(int64_t ns, char *to, size_t room)
{
    int64_t s = ns / NS_PER_S, min = s / 60, h = min / 60;
    if (s < 60)
        snprintf(to, room, "%.1f s", seconds(ns));
    else if (min < 60)
        snprintf(to, room, "%" PRId64 " min %" PRId64 " s", min, s % 60);
    else if (h < 48)
        snprintf(to, room, "%" PRId64 " h %" PRId64 " min", h, min % 60);
    else
        snprintf(to, room, "%" PRId64 " d %" PRId64 " h", h / 24, h % 24);
    return to;
}

static const char *space_words(uint64_t bytes, char *to, size_t room)
{
    double mib = (double)bytes / MIB;
    if (bytes == UINT64_MAX)
        snprintf(to, room, "an unknown amount");
    else if (mib < 1024)
        snprintf(to, room, "%.1f MiB", mib);
    else
        snprintf(to, room, "%.1f GiB", mib / 1024);
    return to;
}

/* --- text */

/* Where a line is broken: before the last word that does not fit, else behind the first one. Length
 * of the part in front; `columns` are used already. */
static size_t break_of(const char *line, size_t columns)
{
    size_t end = 0;
    for (size_t at = strspn(line, " "), used = columns + at; line[at]; used++) {
        if (line[at] == ' ' && line[at - 1] != ' ' && (used <= WIDTH || end == 0))
            end = at;
        if (used >= WIDTH && end > 0)
            return end;
        size_t more = utf8_length(line + at);
        at += more ? more : 1;
    }
    return strlen(line);
}

/* Nothing is cut: what does not fit goes on in a further line. A long word stays in one piece. */
static void put_line(FILE *to, const char *line, unsigned indent)
{
    size_t length = break_of(line, 0);
    fprintf(to, "%.*s\n", (int)length, line);
    for (line += length; line[strspn(line, " ")]; line += length) {
        line += strspn(line, " ");
        length = break_of(line, indent);
        fprintf(to, "%*s%.*s\n", (int)indent, "", (int)length, line);
    }
}

/* A line; `indent` blanks begin a further one, if it takes one. */
__attribute__((format(printf, 3, 4))) static void add_indented(FILE *to, unsigned indent,
                                                               const char *format, ...)
{
    char line[2048];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(line, sizeof line, format, arguments);
    va_end(arguments);
    put_line(to, line, indent);
}

#define add_line(to, ...) add_indented(to, 11, __VA_ARGS__) /* behind the words at the left */

static void put_waiting(const struct situation *it, FILE *to)
{
    char span[48];
    if (it->by_hand)
        add_line(to, "waiting    stopped by hand: begins when an engine is started again, or by "
                     "searun-logger start");
    else
        add_line(to,
                 "waiting    for an engine to turn faster than %g rpm, or for searun-logger start",
                 it->live->turning.above);
    if (it->now > it->kept_from)
        add_line(to, "           what was heard in the last %s goes into that run",
                 span_words(it->now - it->kept_from, span, sizeof span));
}

static void put_activity(const struct situation *it, FILE *to)
{
    char span[48];
    switch (it->activity) {
    case ACTIVITY_RECORDING:
        add_line(to, "recording  %s, since %s", base_name(it->run),
                 span_words(it->now - it->run_at, span, sizeof span));
        add_line(to, "purpose    %s", facts_get(it->facts, FACT_RUN, 0, "purpose"));
        break;
    case ACTIVITY_BEGINNING:
        add_line(to, "beginning  a run");
        break;
    case ACTIVITY_NO_SPACE:
        add_line(to, "NOT RECORDING: there is too little space; recording goes on when there is");
        break;
    case ACTIVITY_FAILED:
        add_line(to, "NOT RECORDING: storage failed; it is tried again");
        break;
    case ACTIVITY_WAITING:
    case ACTIVITY_COUNT:
        put_waiting(it, to);
        break;
    }
    if (it->finishing > 0)
        add_line(to, "finishing  %u run%s before", it->finishing, it->finishing == 1 ? "" : "s");
    if (*it->last_run)
        add_line(to, "last run   %s", base_name(it->last_run));
}

static void put_space(const struct situation *it, FILE *to)
{
    char free_words[48], reserve[48];
    add_line(to, "space      %s free, of which %s are kept in reserve",
             space_words(it->space_free, free_words, sizeof free_words),
             space_words(it->reserve, reserve, sizeof reserve));
    add_line(to, "           in %s", it->folder);
    if (it->ring_fill > 0.1)
        add_line(to, "storage    behind: %.0f %% of the memory for that is in use",
                 100 * it->ring_fill);
}

static const char *rate_words(const struct live_rate *rate, char *to, size_t room)
{
    if (!rate->known)
        snprintf(to, room, "-");
    else if (rate->per_s >= 10)
        snprintf(to, room, "%.0f /s", rate->per_s);
    else
        snprintf(to, room, "%.1f /s", rate->per_s);
    return to;
}

static const char *inlet_words(enum inlet_state state)
{
    static const char *const words[] = {[INLET_AWAY] = "AWAY",
                                        [INLET_OPENING] = "opening",
                                        [INLET_OPEN] = "open",
                                        [INLET_OVER] = "over"};
    return words[state];
}

static void put_input(const struct situation *it, size_t number, FILE *to)
{
    char rate[24], age[48] = "nothing yet";
    const struct inlet *inlet = &it->inlets[number];
    const struct live_rate *heard = &it->live->inputs[number];
    if (heard->count > 0)
        span_words(it->now - it->live->heard_at[number], age, sizeof age);
    add_indented(to, 4, "  %-15s %-8s %10s %12s  %s", it->inputs[number].label,
                 inlet_words(inlet->state), rate_words(heard, rate, sizeof rate), age,
                 it->inputs[number].text);
    if (inlet->state == INLET_AWAY && inlet->why[0])
        add_indented(to, 4, "    for %s: %s",
                     span_words(it->now - inlet->away_since, age, sizeof age), inlet->why);
}

static void put_inputs(const struct situation *it, FILE *to)
{
    add_line(to, "inputs          state      messages          age");
    for (size_t i = 0; i < it->input_count; i++)
        put_input(it, i, to);
}

static int by_place(const void *a, const void *b)
{
    const struct live_value *x = *(const struct live_value *const *)a,
                            *y = *(const struct live_value *const *)b;
    if (x->place != y->place)
        return x->place == PLACE_ENGINE ? -1 : y->place == PLACE_ENGINE ? 1 : x->place - y->place;
    if (x->instance != y->instance)
        return x->instance - y->instance;
    if (x->channel != y->channel)
        return x->channel - y->channel;
    return strcmp(x->label, y->label);
}

static size_t sort_values(const struct live *live, const struct live_value **sorted)
{
    for (size_t i = 0; i < live->count; i++)
        sorted[i] = &live->values[i];
    qsort(sorted, live->count, sizeof sorted[0], by_place);
    return live->count;
}

/* "engine 0 (port)" */
static const char *place_words(const struct situation *it, enum place place, unsigned instance,
                               char *to, size_t room)
{
    const char *label =
        place == PLACE_ENGINE ? facts_get(it->facts, FACT_ENGINE, (int)instance, "label") : "";
    const char *key = place_key(place);
    if (place == PLACE_VESSEL)
        snprintf(to, room, "%s", key);
    else
        snprintf(to, room, "%s %u%s%s%s", key, instance, *label ? " (" : "", label,
                 *label ? ")" : "");
    return to;
}

/* Columns that a text takes. */
static int columns_of(const char *text)
{
    int columns = 0;
    for (; *text; text++)
        columns += ((unsigned char)*text & 0xC0) != 0x80;
    return columns;
}

static int blanks_to(int columns, const char *text)
{
    int used = columns_of(text);
    return used < columns ? columns - used : 0;
}

static bool is_stale(const struct situation *it, const struct live_value *value)
{
    return seconds(it->now - value->at) > channel_get((enum channel_id)value->channel)->silence;
}

#define TITLE_COLUMNS 43
#define VALUE_COLUMNS 13

static void put_value(const struct situation *it, const struct live_value *value, FILE *to)
{
    char what[256], number[48], age[48], rate[24] = "SILENT";
    snprintf(what, sizeof what, "%s%s%s", channel_get((enum channel_id)value->channel)->title,
             *value->label ? " " : "", value->label);
    if (columns_of(what) > TITLE_COLUMNS) {
        add_indented(to, 4, "  %s", what);
        what[0] = '\0';
    }
    shown_value((enum channel_id)value->channel, value->value, number, sizeof number);
    if (!is_stale(it, value))
        rate_words(&value->rate, rate, sizeof rate);
    fprintf(to, "  %s%*s %*s%s %11s %8s\n", what, blanks_to(TITLE_COLUMNS, what), "",
            blanks_to(VALUE_COLUMNS, number), "", number,
            span_words(it->now - value->at, age, sizeof age), rate);
}

static bool is_same_place(const struct live_value *a, const struct live_value *b)
{
    return a->place == b->place && a->instance == b->instance;
}

/* The name of engine, tank ... above its values; the first line names the columns, too. */
static void put_place(const struct situation *it, const struct live_value *value, bool first,
                      FILE *to)
{
    char place[FACT_VALUE_MAX + 64];
    place_words(it, (enum place)value->place, value->instance, place, sizeof place);
    if (first && columns_of(place) <= TITLE_COLUMNS)
        fprintf(to, "%s%*s %*s %11s %8s\n", place, blanks_to(TITLE_COLUMNS + 2, place), "",
                VALUE_COLUMNS, "value", "age", "rate");
    else
        add_indented(to, 2, "%s", place);
}

static void put_values(const struct situation *it, FILE *to)
{
    const struct live_value *sorted[LIVE_VALUES_MAX];
    size_t count = sort_values(it->live, sorted);
    if (count == 0)
        add_line(to, "values: none heard yet");
    for (size_t i = 0; i < count; i++) {
        if (i == 0 || !is_same_place(sorted[i - 1], sorted[i]))
            put_place(it, sorted[i], i == 0, to);
        put_value(it, sorted[i], to);
    }
}

/* --- what a comparison cannot do without */

static const struct live_value *find_value(const struct live *live, enum channel_id channel,
                                           enum place place, unsigned instance)
{
    for (size_t i = 0; i < live->count; i++) {
        const struct live_value *value = &live->values[i];
        if (value->channel == channel && value->place == place && value->instance == instance)
            return value;
    }
    return NULL;
}

/* A line if it was never heard, or is silent; whether there was one. */
static bool put_missing(const struct situation *it, enum channel_id channel, enum place place,
                        unsigned instance, FILE *to)
{
    char whose[FACT_VALUE_MAX + 64] = "", span[48];
    const struct live_value *value = find_value(it->live, channel, place, instance);
    if (value && !is_stale(it, value))
        return false;
    if (place == PLACE_ENGINE)
        place_words(it, place, instance, whose, sizeof whose);
    add_line(to, "%s    %s%s%s: %s%s", it->activity == ACTIVITY_RECORDING ? "MISSING" : "missing",
             channel_get(channel)->title, *whose ? " of " : "", whose,
             value ? "silent for " : "not heard yet",
             value ? span_words(it->now - value->at, span, sizeof span) : "");
    return true;
}

/* Engines that people count on: those that are named; if none is, those that are heard, or engine
 * 0. */
static bool is_expected(const struct situation *it, unsigned instance)
{
    bool any = false;
    for (size_t i = 0; i < it->facts->count; i++) {
        any |= it->facts->list[i].section == FACT_ENGINE;
        if (it->facts->list[i].section == FACT_ENGINE && it->facts->list[i].engine == (int)instance)
            return true;
    }
    if (any)
        return false;
    for (size_t i = 0; i < it->live->count; i++) {
        any |= it->live->values[i].place == PLACE_ENGINE;
        if (it->live->values[i].place == PLACE_ENGINE && it->live->values[i].instance == instance)
            return true;
    }
    return !any && instance == 0;
}

static void put_needs(const struct situation *it, FILE *to)
{
    bool missing = false;
    for (unsigned engine = 0; engine < INSTANCE_MAX; engine++) {
        if (!is_expected(it, engine))
            continue;
        missing |= put_missing(it, CHANNEL_ENGINE_SPEED, PLACE_ENGINE, engine, to);
        missing |= put_missing(it, CHANNEL_COOLANT_TEMPERATURE, PLACE_ENGINE, engine, to);
    }
    if (!*facts_get(it->facts, FACT_RUN, 0, "sea_temperature")) /* else it was read by hand */
        missing |= put_missing(it, CHANNEL_SEA_TEMPERATURE, PLACE_VESSEL, 0, to);
    add_line(to, missing ? "           A comparison needs that."
                         : "heard      all that a comparison needs: speed, coolant, sea");
}

/* Whether a reason counts something lost or refused, and not what was taken. */
static bool is_loss(enum reason reason)
{
    return reason != REASON_SENTENCES && reason != REASON_READINGS && reason != REASON_FRAMES &&
           reason != REASON_NOT_OURS && reason != REASON_OVER_82;
}

static void put_losses(const struct situation *it, FILE *to)
{
    bool any = false;
    for (size_t i = 0; i < it->input_count; i++)
        for (int reason = 0; reason < REASON_COUNT; reason++) {
            uint64_t count = it->tallies[i].line[reason].count;
            if (count == 0 || !is_loss((enum reason)reason))
                continue;
            if (!any)
                add_line(to, "refused, missing or lost");
            any = true;
            add_indented(to, 18, "  %-15s %" PRIu64 " %s", it->inputs[i].label, count,
                         reason_title((enum reason)reason));
        }
    if (!any)
        add_line(to, "nothing refused, missing or lost");
}

void situation_text(const struct situation *it, FILE *to)
{
    char span[48];
    add_line(to, "searun-logger " SEARUN_VERSION ", at work for %s%s",
             span_words(it->now, span, sizeof span), it->unattended ? ", unattended" : "");
    if (*facts_get(it->facts, FACT_BOAT, 0, "name"))
        add_line(to, "boat       %s", facts_get(it->facts, FACT_BOAT, 0, "name"));
    put_activity(it, to);
    put_needs(it, to);
    put_space(it, to);
    put_inputs(it, to);
    put_values(it, to);
    put_losses(it, to);
}

/* --- JSON; numbers in seconds, bytes, and the units that stand beside the values */

static void add_run(const struct situation *it, cJSON *top)
{
    if (it->activity == ACTIVITY_RECORDING) {
        cJSON *run = cJSON_AddObjectToObject(top, "run");
        cJSON_AddStringToObject(run, "path", it->run);
        cJSON_AddNumberToObject(run, "length", seconds(it->now - it->run_at));
        cJSON_AddStringToObject(run, "purpose", facts_get(it->facts, FACT_RUN, 0, "purpose"));
    } else {
        cJSON_AddNullToObject(top, "run");
    }
    cJSON_AddStringToObject(top, "boat", facts_get(it->facts, FACT_BOAT, 0, "name"));
    if (*it->last_run)
        cJSON_AddStringToObject(top, "last_run", it->last_run);
    else
        cJSON_AddNullToObject(top, "last_run");
    cJSON_AddNumberToObject(top, "finishing", it->finishing);
}

static void add_space(const struct situation *it, cJSON *top)
{
    cJSON *space = cJSON_AddObjectToObject(top, "space");
    cJSON_AddStringToObject(space, "folder", it->folder);
    if (it->space_free == UINT64_MAX)
        cJSON_AddNullToObject(space, "free");
    else
        cJSON_AddNumberToObject(space, "free", (double)it->space_free);
    cJSON_AddNumberToObject(space, "reserve", (double)it->reserve);
    cJSON_AddNumberToObject(top, "ring_fill", it->ring_fill);
}

static void add_tally(cJSON *to, const struct tally *tally)
{
    cJSON *counts = cJSON_AddObjectToObject(to, "counts");
    for (int reason = 0; reason < REASON_COUNT; reason++)
        if (tally->line[reason].count > 0)
            cJSON_AddNumberToObject(counts, reason_key((enum reason)reason),
                                    (double)tally->line[reason].count);
}

static void add_rate(cJSON *to, const struct live_rate *rate)
{
    cJSON_AddNumberToObject(to, "count", (double)rate->count);
    if (rate->known)
        cJSON_AddNumberToObject(to, "per_second", rate->per_s);
    else
        cJSON_AddNullToObject(to, "per_second");
}

static void add_input(const struct situation *it, size_t number, cJSON *list)
{
    static const char *const states[] = {[INLET_AWAY] = "away",
                                         [INLET_OPENING] = "opening",
                                         [INLET_OPEN] = "open",
                                         [INLET_OVER] = "over"};
    const struct inlet *inlet = &it->inlets[number];
    cJSON *input = cJSON_CreateObject();
    cJSON_AddItemToArray(list, input);
    cJSON_AddStringToObject(input, "name", it->inputs[number].label);
    cJSON_AddStringToObject(input, "input", it->inputs[number].text);
    cJSON_AddStringToObject(input, "state", states[inlet->state]);
    if (inlet->state == INLET_AWAY) {
        cJSON_AddNumberToObject(input, "away_for", seconds(it->now - inlet->away_since));
        cJSON_AddStringToObject(input, "why", inlet->why);
    }
    add_rate(input, &it->live->inputs[number]);
    if (it->live->inputs[number].count > 0)
        cJSON_AddNumberToObject(input, "age", seconds(it->now - it->live->heard_at[number]));
    add_tally(input, &it->tallies[number]);
}

static void add_value(const struct situation *it, const struct live_value *value, cJSON *list)
{
    const struct channel *channel = channel_get((enum channel_id)value->channel);
    cJSON *one = cJSON_CreateObject();
    cJSON_AddItemToArray(list, one);
    cJSON_AddStringToObject(one, "place", place_key((enum place)value->place));
    cJSON_AddNumberToObject(one, "instance", value->instance);
    cJSON_AddStringToObject(one, "channel", channel->key);
    if (*value->label)
        cJSON_AddStringToObject(one, "transducer", value->label);
    cJSON_AddNumberToObject(one, "value", unit_shown(value->value, channel->unit, UNITS_SI));
    cJSON_AddStringToObject(one, "unit", unit_symbol(channel->unit, UNITS_SI));
    cJSON_AddStringToObject(one, "input", it->inputs[value->input].label);
    cJSON_AddNumberToObject(one, "age", seconds(it->now - value->at));
    add_rate(one, &value->rate);
}

static void fill_json(const struct situation *it, cJSON *top)
{
    const struct live_value *sorted[LIVE_VALUES_MAX];
    size_t count = sort_values(it->live, sorted);
    cJSON_AddStringToObject(top, "software", "searun-logger " SEARUN_VERSION);
    cJSON_AddNumberToObject(top, "at_work_for", seconds(it->now));
    cJSON_AddBoolToObject(top, "unattended", it->unattended);
    cJSON_AddStringToObject(top, "activity", activity_key(it->activity));
    add_run(it, top);
    add_space(it, top);
    cJSON *inputs = cJSON_AddArrayToObject(top, "inputs");
    for (size_t i = 0; i < it->input_count; i++)
        add_input(it, i, inputs);
    cJSON *values = cJSON_AddArrayToObject(top, "values");
    for (size_t i = 0; i < count; i++)
        add_value(it, sorted[i], values);
}

enum status situation_json(const struct situation *it, FILE *to)
{
    cJSON *top = cJSON_CreateObject();
    fill_json(it, top);
    char *text = cJSON_Print(top);
    cJSON_Delete(top);
    if (!text)
        return STATUS_MEMORY;
    fprintf(to, "%s\n", text);
    free(text);
    return STATUS_OK;
}
