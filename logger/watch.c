/* watch.c - see watch.h. */
#include "watch.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "decode.h"
#include "shown.h"

#define REMIND_FIRST_NS (15 * NS_PER_S)
#define REMIND_LONGEST_NS (600 * NS_PER_S)
#define TICK_NS NS_PER_S
#define UNMAPPED_MAX 64 /* transducers listed; more are recorded but not told */
#define EVENTS_SAID_MAX 100
#define MUTE_NS (15 * NS_PER_S) /* an input that brings nothing for so long is told */
#define NOISE_TOLD 200          /* bytes of noise, without a sentence, after which it is told */
#define REFUSED_TOLD 10         /* sentences refused for their checksum, without a good one */

/* One channel of one engine, tank ..., over all inputs. */
struct heard {
    bool used;
    bool silent; /* said so */
    uint8_t place, instance;
    uint16_t channel;
    uint64_t count;
    int64_t first, last;
};

struct watch {
    const struct voice *voice;
    const struct facts *facts;
    const struct run_input *inputs;
    bool live;
    size_t room, count; /* of the table: open addressing, room is a power of two */
    struct heard *table;
    bool engine_named[INSTANCE_MAX], engine_heard[INSTANCE_MAX];
    bool any_named, any_heard;
    bool thermostats_said;
    int64_t remind_at, remind_interval;
    size_t unmapped_count;
    struct unmapped {
        char label[44];
        uint16_t channel;
    } unmapped[UNMAPPED_MAX];
    unsigned events_said;
    bool mute_said[INPUTS_MAX], noise_said[INPUTS_MAX];
    bool dropping; /* said so */
};

/* What the comparison cannot do without. */
static const struct wanted {
    enum channel_id channel;
    enum place place;
} wanted[] = {
    {CHANNEL_ENGINE_SPEED, PLACE_ENGINE},
    {CHANNEL_COOLANT_TEMPERATURE, PLACE_ENGINE},
    {CHANNEL_SEA_TEMPERATURE, PLACE_VESSEL},
};
#define WANTED_COUNT (sizeof wanted / sizeof wanted[0])

/* --- the table */

static size_t slot_of(const struct heard *table, size_t room, uint16_t channel, uint8_t place,
                      uint8_t instance)
{
    uint32_t key = (uint32_t)channel << 16 | (uint32_t)place << 8 | instance;
    size_t slot = (key * 2654435761U) & (room - 1); /* Knuth's multiplicative hash */
    for (; table[slot].used; slot = (slot + 1) & (room - 1))
        if (table[slot].channel == channel && table[slot].place == place &&
            table[slot].instance == instance)
            break;
    return slot;
}

static bool grow(struct watch *watch)
{
    size_t room = watch->room * 2;
    struct heard *table = calloc(room, sizeof *table);
    if (!table)
        return false;
    for (size_t i = 0; i < watch->room; i++) {
        const struct heard *it = &watch->table[i];
        if (it->used)
            table[slot_of(table, room, it->channel, it->place, it->instance)] = *it;
    }
    free(watch->table);
    watch->table = table;
    watch->room = room;
    return true;
}

static struct heard *find(const struct watch *watch, enum channel_id channel, enum place place,
                          unsigned instance)
{
    struct heard *it = &watch->table[slot_of(watch->table, watch->room, (uint16_t)channel,
                                             (uint8_t)place, (uint8_t)instance)];
    return it->used ? it : NULL;
}

/* The row of a channel, made at its first reading; NULL if there is no memory for it. */
static struct heard *find_or_add(struct watch *watch, uint16_t channel, uint8_t place,
                                 uint8_t instance)
{
    struct heard *it = &watch->table[slot_of(watch->table, watch->room, channel, place, instance)];
    if (it->used)
        return it;
    if (watch->count * 4 >= watch->room * 3 && !grow(watch))
        return NULL;
    it = &watch->table[slot_of(watch->table, watch->room, channel, place, instance)];
    *it = (struct heard){.used = true, .place = place, .instance = instance, .channel = channel};
    watch->count++;
    return it;
}

enum status watch_new(const struct voice *voice, const struct facts *facts,
                      const struct run_input *inputs, bool live, struct watch **out)
{
    struct watch *watch = calloc(1, sizeof *watch);
    if (!watch)
        return STATUS_MEMORY;
    watch->room = 128;
    watch->table = calloc(watch->room, sizeof *watch->table);
    if (!watch->table) {
        free(watch);
        return STATUS_MEMORY;
    }
    watch->voice = voice;
    watch->facts = facts;
    watch->inputs = inputs;
    watch->live = live;
    watch->remind_at = watch->remind_interval = REMIND_FIRST_NS;
    for (size_t i = 0; i < facts->count; i++)
        if (facts->list[i].section == FACT_ENGINE && facts->list[i].engine < INSTANCE_MAX) {
            watch->engine_named[facts->list[i].engine] = true;
            watch->any_named = true;
        }
    *out = watch;
    return STATUS_OK;
}

void watch_free(struct watch *watch)
{
    if (watch)
        free(watch->table);
    free(watch);
}

/* --- words */

/* "engine 0 (port)", "tank 2", "vessel". */
static const char *place_words(const struct watch *watch, uint8_t place, uint8_t instance, char *to,
                               size_t room)
{
    const char *label =
        place == PLACE_ENGINE ? facts_get(watch->facts, FACT_ENGINE, instance, "label") : "";
    if (place == PLACE_VESSEL)
        snprintf(to, room, "%s", place_key(PLACE_VESSEL));
    else if (*label)
        snprintf(to, room, "%s %u (%.40s)", place_key((enum place)place), instance, label);
    else
        snprintf(to, room, "%s %u", place_key((enum place)place), instance);
    return to;
}

static bool is_wanted(uint16_t channel, uint8_t place)
{
    for (size_t i = 0; i < WANTED_COUNT; i++)
        if (wanted[i].channel == channel && wanted[i].place == place)
            return true;
    return false;
}

static void say_first(const struct watch *watch, const struct origin *origin,
                      const struct value *value)
{
    char where[80], number[48];
    enum channel_id id = (enum channel_id)value->channel;
    say(watch->voice, SAY_NOTE, "heard: %s, %s: %s (%s %s%s%s on input %s)",
        place_words(watch, origin->place, origin->instance, where, sizeof where),
        channel_get(id)->title, shown_value(id, value->value, number, sizeof number),
        protocol_title((enum protocol)origin->protocol), origin->message, *origin->label ? " " : "",
        origin->label, watch->inputs[origin->input].label);
}

/* An engine that the configuration does not name is recorded all the same, but hardly meant so. */
static void note_engine(struct watch *watch, uint8_t instance)
{
    if (watch->engine_heard[instance])
        return;
    watch->engine_heard[instance] = true;
    watch->any_heard = true;
    if (watch->any_named && !watch->engine_named[instance])
        say(watch->voice, SAY_WARNING,
            "engine %u is heard, which the configuration does not name; it is recorded as engine "
            "%u. If the number is only counted from 1, set rpm_first_engine = 1 in [logger]",
            instance, instance);
}

static bool is_known_unmapped(const struct watch *watch, const char *label, uint16_t channel)
{
    for (size_t i = 0; i < watch->unmapped_count; i++)
        if (watch->unmapped[i].channel == channel && strcmp(watch->unmapped[i].label, label) == 0)
            return true;
    return false;
}

/* A name for a row of the configuration: the letters and digits of the transducer's name. */
static void row_name(const char *name, char *to, size_t room)
{
    size_t length = 0;
    for (; *name && length + 1 < room; name++) {
        char c = *name >= 'A' && *name <= 'Z' ? (char)(*name + 'a' - 'A') : *name;
        if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'))
            to[length++] = c;
    }
    to[length] = '\0';
}

/* The first channel of the catalogue in that unit: what such a transducer most likely is. */
static const struct channel *likely_channel(enum unit unit)
{
    for (int id = 0; id < CHANNEL_COUNT; id++)
        if (channel_get((enum channel_id)id)->unit == unit)
            return channel_get((enum channel_id)id);
    return channel_get(CHANNEL_COOLANT_TEMPERATURE);
}

/* "C:ENGRM": which row of [transducers] would map it. */
static void note_unmapped(struct watch *watch, const struct origin *origin,
                          const struct value *value)
{
    if (watch->unmapped_count == UNMAPPED_MAX ||
        is_known_unmapped(watch, origin->label, value->channel))
        return;
    struct unmapped *it = &watch->unmapped[watch->unmapped_count++];
    memcpy(it->label, origin->label, sizeof it->label);
    it->channel = value->channel;
    const char *colon = strchr(origin->label, ':');
    const char *name = colon ? colon + 1 : origin->label;
    char row[24], number[48];
    const struct channel *channel = channel_get((enum channel_id)value->channel);
    const struct channel *guess = likely_channel(channel->unit);
    row_name(name, row, sizeof row);
    say(watch->voice, SAY_NOTE,
        "transducer \"%s\" on input %s is not mapped (now %s); it is kept as %s. If it is, "
        "say, "
        "the %s of engine 0, put this line under [transducers]: %s = %.*s, , %s -> %s, engine 0",
        name, watch->inputs[origin->input].label,
        shown_value((enum channel_id)value->channel, value->value, number, sizeof number),
        channel->key, guess->title, *row ? row : "mine", colon ? (int)(colon - origin->label) : 1,
        colon ? origin->label : "?", name, guess->key);
}

static void say_again(const struct watch *watch, struct heard *it)
{
    char where[80];
    it->silent = false;
    say(watch->voice, SAY_NOTE, "heard again: %s, %s",
        place_words(watch, it->place, it->instance, where, sizeof where),
        channel_get((enum channel_id)it->channel)->title);
}

static void take_value(struct watch *watch, int64_t at, const struct origin *origin,
                       const struct value *value)
{
    struct heard *it = find_or_add(watch, value->channel, origin->place, origin->instance);
    if (!it)
        return;
    if (it->count++ == 0) {
        it->first = at;
        if (watch->live && is_wanted(value->channel, origin->place))
            say_first(watch, origin, value);
    }
    if (it->silent)
        say_again(watch, it);
    if (at > it->last || it->count == 1)
        it->last = at;
    if (transducer_is_unmapped((enum channel_id)value->channel))
        note_unmapped(watch, origin, value);
}

void watch_readings(struct watch *watch, int64_t at, const struct origin *origin,
                    const struct value *values, size_t count)
{
    if (origin->place == PLACE_ENGINE && origin->instance < INSTANCE_MAX)
        note_engine(watch, origin->instance);
    for (size_t i = 0; i < count; i++)
        take_value(watch, at, origin, &values[i]);
}

void watch_event(struct watch *watch, int64_t at, const struct origin *origin, const char *key,
                 const char *text)
{
    char where[80];
    if (!watch->live || watch->events_said > EVENTS_SAID_MAX)
        return;
    if (++watch->events_said > EVENTS_SAID_MAX)
        say(watch->voice, SAY_NOTE, "further events are recorded, but no longer shown here");
    else
        say(watch->voice, SAY_NOTE, "%.0f s: %s: %s (%s)", (double)at / 1e9,
            place_words(watch, origin->place, origin->instance, where, sizeof where), text, key);
}

/* --- what is missing */

/* Engines that the person counts on: those named; without any, those heard; without any, engine
 * 0. */
static bool is_expected(const struct watch *watch, unsigned instance)
{
    if (watch->any_named)
        return watch->engine_named[instance];
    return watch->any_heard ? watch->engine_heard[instance] : instance == 0;
}

static void add_missing(const struct watch *watch, const struct wanted *want, unsigned instance,
                        char *list, size_t room)
{
    char where[80];
    size_t length = strlen(list);
    const char *title = channel_get(want->channel)->title;
    if (find(watch, want->channel, want->place, instance))
        return;
    if (want->channel == CHANNEL_SEA_TEMPERATURE &&
        *facts_get(watch->facts, FACT_RUN, 0, "sea_temperature"))
        return; /* read by hand */
    if (want->place == PLACE_ENGINE)
        snprintf(list + length, room - length, "%s%s of %s", length > 0 ? ", " : "", title,
                 place_words(watch, PLACE_ENGINE, (uint8_t)instance, where, sizeof where));
    else
        snprintf(list + length, room - length, "%s%s", length > 0 ? ", " : "", title);
}

/* Lists what was never heard; empty if nothing is missing. */
static void list_missing(const struct watch *watch, char *list, size_t room)
{
    list[0] = '\0';
    for (size_t i = 0; i < WANTED_COUNT; i++)
        for (unsigned instance = 0; instance < INSTANCE_MAX; instance++)
            if (wanted[i].place == PLACE_ENGINE ? is_expected(watch, instance) : instance == 0)
                add_missing(watch, &wanted[i], instance, list, room);
}

/* Nothing on the network tells it, and it is hard to read once the boat is away. */
static void say_thermostats(const struct watch *watch)
{
    char where[80];
    for (unsigned i = 0; i < INSTANCE_MAX; i++)
        if (is_expected(watch, i) && !*facts_get(watch->facts, FACT_ENGINE, (int)i, "thermostat"))
            say(watch->voice, SAY_WARNING,
                "the thermostat of %s was not entered: without the temperatures at which it starts "
                "to open and is full open, the comparison is less sure. They stand in the engine's "
                "manual or on the thermostat. Now: --set engine%u.thermostat=71,82 (degC, or "
                "160F,180F); or later: searun-analyze compare --thermostat 71,82",
                place_words(watch, PLACE_ENGINE, (uint8_t)i, where, sizeof where), i);
}

static void remind(struct watch *watch, int64_t at)
{
    char list[512];
    if (at < watch->remind_at)
        return;
    if (!watch->thermostats_said)
        say_thermostats(watch);
    watch->thermostats_said = true;
    list_missing(watch, list, sizeof list);
    if (list[0])
        say(watch->voice, SAY_WARNING, "after %.0f s still missing: %s", (double)at / 1e9, list);
    watch->remind_interval *= 2;
    if (watch->remind_interval > REMIND_LONGEST_NS)
        watch->remind_interval = REMIND_LONGEST_NS;
    watch->remind_at = at + watch->remind_interval;
}

static void note_silence(struct watch *watch, struct heard *it, int64_t at)
{
    char where[80];
    const struct channel *channel = channel_get((enum channel_id)it->channel);
    if (!it->used || it->silent || !is_wanted(it->channel, it->place) ||
        (double)(at - it->last) / 1e9 <= channel->silence)
        return;
    it->silent = true;
    say(watch->voice, SAY_WARNING, "silent for %.0f s: %s, %s", (double)(at - it->last) / 1e9,
        place_words(watch, it->place, it->instance, where, sizeof where), channel->title);
}

static bool is_mute(const struct tally *tally)
{
    for (int reason = 0; reason < REASON_COUNT; reason++)
        if (tally->line[reason].count > 0 && reason != REASON_REOPENED)
            return false;
    return true;
}

static bool is_noise(const struct tally *tally)
{
    const struct tally_line *line = tally->line;
    return line[REASON_SENTENCES].count == 0 &&
           (line[REASON_NOISE_BYTES].count >= NOISE_TOLD ||
            line[REASON_BAD_CHECKSUM].count + line[REASON_NO_CHECKSUM].count >= REFUSED_TOLD);
}

/* What comes instead of sentences, and what to do about it. */
static void say_noise(const struct watch *watch, const struct run_input *input, bool serial,
                      const struct tally_line *line)
{
    unsigned long long bare = line[REASON_NO_CHECKSUM].count,
                       wrong = line[REASON_BAD_CHECKSUM].count;
    if (bare > wrong)
        say(watch->voice, SAY_WARNING,
            "input %s (%s): %llu sentences without a checksum came, and none with one: they are "
            "refused. Switch the checksum on where they are sent",
            input->label, input->text, bare);
    else if (wrong > 0)
        say(watch->voice, SAY_WARNING,
            "input %s (%s): the checksums of all %llu sentences are wrong%s", input->label,
            input->text, wrong,
            serial ? "; a loose wire, or another baud rate (4800 and 38400 are usual)?"
                   : "; what sends them damages or changes them");
    else
        say(watch->voice, SAY_WARNING, "input %s (%s): bytes come, but no sentence among them%s",
            input->label, input->text,
            serial ? "; the baud rate is probably another one (4800 and 38400 are usual)"
                   : "; does it send NMEA 0183?");
}

/* Wrong wires and wrong rates are found at the dock or not at all. */
void watch_input(struct watch *watch, unsigned number, int64_t at, int64_t opened_at,
                 const struct tally *tally)
{
    const struct run_input *input = &watch->inputs[number];
    bool serial = strncmp(input->text, "serial:", 7) == 0;
    if (!watch->live)
        return;
    if (at - opened_at >= MUTE_NS && !watch->mute_said[number] && is_mute(tally)) {
        watch->mute_said[number] = true;
        say(watch->voice, SAY_WARNING, "input %s (%s): open, but nothing has come from it yet%s",
            input->label, input->text, serial ? "; are its wires the right way round?" : "");
    }
    if (!watch->noise_said[number] && is_noise(tally)) {
        watch->noise_said[number] = true;
        say_noise(watch, input, serial, tally->line);
    }
}

void watch_storage(struct watch *watch, bool dropping, const struct tally *tallies,
                   size_t input_count)
{
    unsigned long long lost = 0;
    for (size_t i = 0; i < input_count; i++)
        lost += tallies[i].line[REASON_OVERFLOW].count;
    if (dropping == watch->dropping || (dropping && lost == 0))
        return;
    watch->dropping = dropping;
    if (dropping)
        say(watch->voice, SAY_WARNING,
            "storage does not keep up; what comes now is lost until it does");
    else
        say(watch->voice, SAY_WARNING,
            "storage keeps up again; %llu messages have been lost since the start", lost);
}

int64_t watch_tick(struct watch *watch, int64_t at)
{
    if (!watch->live)
        return INT64_MAX;
    remind(watch, at);
    for (size_t i = 0; i < watch->room; i++)
        note_silence(watch, &watch->table[i], at);
    return at + TICK_NS;
}

/* --- the end */

static int by_place(const void *a, const void *b)
{
    const struct heard *x = a, *y = b;
    if (x->place != y->place)
        return x->place == PLACE_ENGINE ? -1 : y->place == PLACE_ENGINE ? 1 : x->place - y->place;
    if (x->instance != y->instance)
        return x->instance - y->instance;
    return x->channel - y->channel;
}

static void say_channel(const struct watch *watch, const struct heard *it)
{
    char where[80];
    const struct channel *channel = channel_get((enum channel_id)it->channel);
    double span = (double)(it->last - it->first) / 1e9;
    char rate[48] = "";
    if (it->count > 1 && span > 0)
        snprintf(rate, sizeof rate, ", one every %.2g s", span / (double)(it->count - 1));
    say(watch->voice, SAY_NOTE, "  %s, %s: %" PRIu64 " reading%s%s",
        place_words(watch, it->place, it->instance, where, sizeof where), channel->title, it->count,
        it->count == 1 ? "" : "s", rate);
}

static void say_channels(const struct watch *watch)
{
    struct heard *sorted = malloc((watch->count + 1) * sizeof *sorted);
    size_t count = 0;
    if (!sorted)
        return;
    for (size_t i = 0; i < watch->room; i++)
        if (watch->table[i].used)
            sorted[count++] = watch->table[i];
    qsort(sorted, count, sizeof *sorted, by_place);
    for (size_t i = 0; i < count; i++)
        say_channel(watch, &sorted[i]);
    free(sorted);
}

static void say_tally(const struct watch *watch, const struct run_input *input,
                      const struct tally *tally)
{
    bool any = false;
    for (int reason = 0; reason < REASON_COUNT; reason++) {
        if (tally->line[reason].count == 0)
            continue;
        if (!any)
            say(watch->voice, SAY_NOTE, "input %s (%s):", input->label, input->text);
        any = true;
        say(watch->voice, SAY_NOTE, "  %" PRIu64 " %s", tally->line[reason].count,
            reason_title((enum reason)reason));
    }
    if (!any)
        say(watch->voice, SAY_WARNING, "input %s (%s): nothing was heard", input->label,
            input->text);
}

bool watch_heard_nothing(const struct watch *watch, int64_t end, const struct tally *tallies,
                         size_t input_count)
{
    for (size_t i = 0; i < input_count; i++)
        if (!is_mute(&tallies[i]))
            return false;
    return watch->count == 0 && end >= MUTE_NS;
}

void watch_summary(const struct watch *watch, int64_t end, const struct tally *tallies,
                   size_t input_count)
{
    char list[512];
    long seconds = (long)(end / NS_PER_S);
    say(watch->voice, SAY_NOTE, "the run lasted %ld min %ld s", seconds / 60, seconds % 60);
    say_channels(watch);
    for (size_t i = 0; i < input_count; i++)
        say_tally(watch, &watch->inputs[i], &tallies[i]);
    list_missing(watch, list, sizeof list);
    if (list[0])
        say(watch->voice, SAY_WARNING,
            "never heard, and needed to compare runs: %s. Check the wiring, the input and the "
            "transducer names before the next run",
            list);
    if (!watch->thermostats_said && watch->any_heard)
        say_thermostats(watch);
}
