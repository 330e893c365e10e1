/* source.c - see source.h. */
#include "source.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "channel.h"
#include "rules.h"

#define ALTERNATIVES_MAX 3

/* Which channels may serve a quantity, best first; rows in the order of enum quantity. */
static const struct quantity_row {
    size_t count;
    enum channel_id channel[ALTERNATIVES_MAX];
    bool tabled; /* shown in the table of what else changed */
} quantities[] = {
    {2, {CHANNEL_ENGINE_SPEED, CHANNEL_SHAFT_SPEED}, false},
    {1, {CHANNEL_COOLANT_TEMPERATURE}, true},
    {2, {CHANNEL_SEA_TEMPERATURE, CHANNEL_RAW_WATER_IN}, true},
    {1, {CHANNEL_ENGINE_LOAD}, true},
    {2, {CHANNEL_FUEL_RATE, CHANNEL_FUEL_RATE_AVERAGE}, true},
    {1, {CHANNEL_AIR_TEMPERATURE}, true},
    {1, {CHANNEL_TRANSMISSION_GEAR}, false},
    {2, {CHANNEL_SPEED_THROUGH_WATER, CHANNEL_SPEED_OVER_GROUND}, true},
    /* beside the cooling */
    {1, {CHANNEL_RAW_WATER_IN}, true},
    {1, {CHANNEL_RAW_WATER_OUT}, true},
    {1, {CHANNEL_RAW_WATER_PRESSURE}, true},
    {1, {CHANNEL_RAW_WATER_FLOW}, true},
    {1, {CHANNEL_EXCHANGER_COOLANT_IN}, true},
    {1, {CHANNEL_EXCHANGER_COOLANT_OUT}, true},
    {1, {CHANNEL_COOLANT_PRESSURE}, true},
    {1, {CHANNEL_OIL_TEMPERATURE}, true},
    {1, {CHANNEL_OIL_PRESSURE}, true},
    {1, {CHANNEL_TRANSMISSION_OIL_TEMPERATURE}, true},
    {1, {CHANNEL_TRANSMISSION_OIL_PRESSURE}, true},
    {1, {CHANNEL_EXHAUST_TEMPERATURE}, true},
    {1, {CHANNEL_BOOST_PRESSURE}, true},
    {1, {CHANNEL_INTAKE_TEMPERATURE}, true},
    {1, {CHANNEL_INTERCOOLER_TEMPERATURE}, true},
    {1, {CHANNEL_TURBO_OIL_TEMPERATURE}, true},
    {1, {CHANNEL_AIR_FILTER_PRESSURE}, true},
    {1, {CHANNEL_CRANKCASE_PRESSURE}, true},
    {1, {CHANNEL_FUEL_PRESSURE}, true},
    {1, {CHANNEL_FUEL_TEMPERATURE}, true},
    {1, {CHANNEL_ENGINE_TORQUE}, true},
    {1, {CHANNEL_THROTTLE}, true},
    {1, {CHANNEL_ALTERNATOR_VOLTAGE}, true},
    {1, {CHANNEL_ENGINE_ROOM_TEMPERATURE}, true},
};
#define QUANTITIES (sizeof quantities / sizeof quantities[0])

/* What the median over a run may be; other quantities may be what the catalogue allows. */
static const struct believable {
    size_t quantity;
    double low, high;
} believable[] = {
    /* a run with a working engine; idling in a cold harbour is no trial */
    {QUANTITY_COOLANT, 25, 130},
    /* seawater freezes at -1.9 degC (UNESCO Technical Papers in Marine Science 44, 1983); near 38
     * degC was the warmest seen (NOAA PMEL, July 2023) */
    {QUANTITY_SEA, -2.5, 38.5},
};

/* Channels that only a wish can make into something else. */
static const enum channel_id on_wish[] = {CHANNEL_TRANSDUCER_TEMPERATURE, CHANNEL_OTHER_TEMPERATURE,
                                          CHANNEL_TRANSDUCER_SPEED};

size_t quantity_count(void)
{
    return QUANTITIES;
}

enum channel_id quantity_channel(size_t quantity)
{
    return quantities[quantity].channel[0];
}

bool quantity_tabled(size_t quantity)
{
    return quantities[quantity].tabled;
}

/* Place of a channel among the alternatives, or the number of them if it is none. */
static size_t alternative(const struct quantity_row *row, enum channel_id channel)
{
    size_t i = 0;
    while (i < row->count && row->channel[i] != channel)
        i++;
    return i;
}

static bool is_on_wish(enum channel_id channel)
{
    for (size_t i = 0; i < sizeof on_wish / sizeof on_wish[0]; i++)
        if (on_wish[i] == channel)
            return true;
    return false;
}

static bool is_wanted(enum channel_id channel, enum logbook_extent extent)
{
    size_t most = extent == LOGBOOK_ALL ? QUANTITIES : QUANTITY_BESIDE;
    for (size_t q = 0; q < most; q++)
        if (alternative(&quantities[q], channel) < quantities[q].count)
            return true;
    if (channel == CHANNEL_SPEED_HELD) /* belongs to speeds that were read by hand */
        return true;
    return extent == LOGBOOK_ALL ? is_on_wish(channel) : channel == CHANNEL_OIL_TEMPERATURE;
}

/* --- reading a run */

static void name_candidate(struct candidate *candidate)
{
    const struct origin *o = &candidate->origin;
    int length = snprintf(candidate->title, sizeof candidate->title, "%.12s%s%.44s from %.20s",
                          o->message, o->label[0] ? " " : "", o->label, o->source);
    if (o->source[0] == '\0' && length > 6)
        candidate->title[length - 6] = '\0'; /* no " from " without a source */
}

static enum status read_candidate(struct logbook *book, size_t stream, enum channel_id channel,
                                  struct complaint *complaint)
{
    struct candidate *candidate = &book->list[book->count];
    memset(candidate, 0, sizeof *candidate);
    enum status status = run_read_series(book->run, stream, channel, &candidate->series, complaint);
    if (status)
        return status;
    book->count++;
    candidate->origin = candidate->series.origin;
    candidate->channel = channel;
    candidate->wish_only = is_on_wish(channel);
    name_candidate(candidate);
    status = clean_series(&candidate->series, book->about->duration, &candidate->cleaning);
    if (!status)
        status = series_profile(&candidate->series, series_silence(&candidate->series),
                                book->about->duration, &candidate->profile);
    if (candidate->series.accuracy.step > 0) /* stated: better than found */
        candidate->profile.step = candidate->series.accuracy.step;
    return status ? complain(complaint, status, "no memory left to read the run") : STATUS_OK;
}

static size_t wanted_series(const struct run *run, enum logbook_extent extent)
{
    size_t n = 0;
    for (size_t s = 0; s < run_stream_count(run); s++)
        for (size_t c = 0; c < run_stream(run, s)->channel_count; c++)
            n += is_wanted(run_stream(run, s)->channels[c], extent);
    return n;
}

static enum status read_all(struct logbook *book, enum logbook_extent extent,
                            struct complaint *complaint)
{
    book->list = calloc(wanted_series(book->run, extent) + 1, sizeof *book->list);
    if (!book->list)
        return complain(complaint, STATUS_MEMORY, "no memory left to read the run");
    enum status status = STATUS_OK;
    for (size_t s = 0; s < run_stream_count(book->run); s++) {
        const struct stream *stream = run_stream(book->run, s);
        for (size_t c = 0; c < stream->channel_count && !status; c++)
            if (is_wanted(stream->channels[c], extent))
                status = read_candidate(book, s, stream->channels[c], complaint);
    }
    return status;
}

enum status logbook_open(const char *path, enum logbook_extent extent, struct logbook *out,
                         struct complaint *complaint)
{
    memset(out, 0, sizeof *out);
    enum status status = run_open(path, &out->run, complaint);
    if (status)
        return status;
    out->about = run_about(out->run);
    return read_all(out, extent, complaint);
}

void logbook_close(struct logbook *book)
{
    for (size_t i = 0; i < book->count; i++) {
        series_free(&book->list[i].series);
        spans_free(&book->list[i].cleaning.frozen);
    }
    free(book->list);
    if (book->run)
        run_close(book->run);
    memset(book, 0, sizeof *book);
}

/* --- engines */

static bool is_speed(const struct candidate *candidate)
{
    return candidate->channel == CHANNEL_ENGINE_SPEED || candidate->channel == CHANNEL_SHAFT_SPEED;
}

static bool makes_engine(const struct candidate *candidate)
{
    return candidate->origin.place == PLACE_ENGINE && candidate->series.count > 0 &&
           (is_speed(candidate) || candidate->channel == CHANNEL_COOLANT_TEMPERATURE);
}

struct engine_parts logbook_parts(const struct logbook *book, int engine)
{
    struct engine_parts parts = {false, false};
    for (size_t i = 0; i < book->count; i++) {
        const struct candidate *c = &book->list[i];
        if (!makes_engine(c) || c->origin.instance != engine)
            continue;
        parts.speed = parts.speed || is_speed(c);
        parts.coolant = parts.coolant || !is_speed(c);
    }
    return parts;
}

void logbook_renumber(struct logbook *book, int from, int to)
{
    for (size_t i = 0; i < book->count; i++)
        if (book->list[i].origin.place == PLACE_ENGINE && book->list[i].origin.instance == from)
            book->list[i].origin.instance = (uint8_t)to;
}

/* --- choice */

static bool is_of_engine(const struct origin *origin, int engine, bool alone, bool vessel_wide)
{
    if (origin->place == PLACE_ENGINE)
        return origin->instance == engine;
    return origin->place == PLACE_VESSEL && (vessel_wide || alone);
}

/* Whether one reading serves all engines: what is of the sea, the air or the boat. */
static bool is_vessel_wide(enum channel_id channel)
{
    return channel == CHANNEL_SEA_TEMPERATURE || channel == CHANNEL_AIR_TEMPERATURE ||
           channel == CHANNEL_SPEED_THROUGH_WATER || channel == CHANNEL_SPEED_OVER_GROUND ||
           channel == CHANNEL_ENGINE_ROOM_TEMPERATURE || is_on_wish(channel);
}

static bool may_serve(const struct candidate *candidate, const struct quantity_row *row)
{
    if (candidate->wish_only)
        return channel_get(candidate->channel)->unit == channel_get(row->channel[0])->unit;
    return alternative(row, candidate->channel) < row->count;
}

size_t source_candidates(const struct logbook *book, size_t quantity, int engine, bool alone,
                         struct candidate *out[CANDIDATES_MAX])
{
    size_t count = 0;
    for (size_t i = 0; i < book->count && count < CANDIDATES_MAX; i++) {
        struct candidate *c = &book->list[i];
        if (c->series.count > 0 && may_serve(c, &quantities[quantity]) &&
            is_of_engine(&c->origin, engine, alone, is_vessel_wide(c->channel)))
            out[count++] = c;
    }
    return count;
}

static bool same_text(const char *a, const char *b)
{
    return strcasecmp(a, b) == 0;
}

int source_wished(const struct candidate *candidate, const struct source_wish *wish)
{
    const struct origin *o = &candidate->origin;
    const char *text = wish->source;
    if (same_text(text, o->message) || same_text(text, o->source) || same_text(text, o->label) ||
        same_text(text, channel_get(candidate->channel)->key) || same_text(text, candidate->title))
        return 2;
    return strcasestr(candidate->title, text) ? 1 : 0;
}

bool source_believable(const struct candidate *candidate, size_t quantity)
{
    for (size_t i = 0; i < sizeof believable / sizeof believable[0]; i++)
        if (believable[i].quantity == quantity)
            return candidate->profile.mid >= believable[i].low &&
                   candidate->profile.mid <= believable[i].high;
    return true;
}

static bool is_sound(const struct candidate *candidate, size_t quantity, double duration)
{
    return source_believable(candidate, quantity) &&
           candidate->profile.coverage >= rules.source.coverage_least &&
           candidate->cleaning.count.frozen_seconds <= rules.hold.frozen_share * duration &&
           !candidate->follows_engine;
}

/* The same device and message, whatever input it came in by. */
static bool same_source(const struct candidate *a, const struct candidate *b)
{
    struct origin x = a->origin, y = b->origin;
    x.input = y.input = 0;
    return a->channel == b->channel && memcmp(&x, &y, sizeof x) == 0;
}

enum { RULES_MAX = 8 };

/* Scores of a candidate under each rule, higher is better. */
struct rank {
    struct candidate *candidate;
    double score[RULES_MAX];
};

/* What the rules look at: all candidates of all runs. */
struct field {
    size_t quantity;
    const struct quantity_row *row;
    const struct source_wish *wish; /* NULL for none */
    size_t runs;
    struct entrants {
        double duration;
        size_t count;
        struct candidate *list[CANDIDATES_MAX];
    } * run;
};

static bool run_has_channel(const struct field *field, const struct entrants *run,
                            enum channel_id channel)
{
    for (size_t i = 0; i < run->count; i++)
        if (run->list[i]->channel == channel &&
            is_sound(run->list[i], field->quantity, run->duration))
            return true;
    return false;
}

static double runs_with_channel(const struct field *field, enum channel_id channel)
{
    double n = 0;
    for (size_t r = 0; r < field->runs; r++)
        n += run_has_channel(field, &field->run[r], channel);
    return n;
}

static double runs_with_source(const struct field *field, const struct candidate *candidate)
{
    double n = 0;
    for (size_t r = 0; r < field->runs; r++)
        for (size_t i = 0; i < field->run[r].count; i++)
            if (same_source(candidate, field->run[r].list[i]) &&
                is_sound(field->run[r].list[i], field->quantity, field->run[r].duration)) {
                n++;
                break;
            }
    return n;
}

/* Whether the candidate's middle value lies near the median of three and more. */
static bool agrees(const struct entrants *run, const struct candidate *candidate)
{
    double middles[CANDIDATES_MAX];
    if (run->count < 3)
        return true;
    for (size_t i = 0; i < run->count; i++)
        middles[i] = run->list[i]->profile.mid;
    double median = series_median(middles, run->count);
    double allowed = channel_get(candidate->channel)->unit == UNIT_DEGC
                         ? rules.source.agree_temperature
                         : rules.source.agree_relative * fabs(median);
    return fabs(candidate->profile.mid - median) <= allowed;
}

/* Classes of fineness: a factor of two is one class; what never moves is the coarsest. */
static double fineness(double step)
{
    return step > 0 ? -round(log2(step)) : -100;
}

static struct rank rank_candidate(const struct field *field, const struct entrants *run,
                                  struct candidate *candidate)
{
    double interval = candidate->profile.interval;
    return (struct rank){
        candidate,
        {
            field->wish ? source_wished(candidate, field->wish) : 0,
            is_sound(candidate, field->quantity, run->duration),
            runs_with_channel(field, candidate->channel) * ALTERNATIVES_MAX -
                (double)alternative(field->row, candidate->channel) / ALTERNATIVES_MAX,
            runs_with_source(field, candidate),
            agrees(run, candidate),
            floor(candidate->profile.coverage / rules.source.coverage_class),
            fineness(candidate->profile.step),
            isnan(interval) ? -INFINITY : -interval,
        },
    };
}

static bool is_better(const struct rank *a, const struct rank *b)
{
    for (size_t i = 0; i < RULES_MAX; i++)
        if (a->score[i] != b->score[i])
            return a->score[i] > b->score[i];
    return strcmp(a->candidate->title, b->candidate->title) < 0;
}

static struct candidate *best_of(const struct field *field, const struct entrants *run)
{
    struct rank best = {0};
    for (size_t i = 0; i < run->count; i++) {
        struct rank rank = rank_candidate(field, run, run->list[i]);
        bool hidden = run->list[i]->wish_only && rank.score[0] == 0.0;
        if (!hidden && (!best.candidate || is_better(&rank, &best)))
            best = rank;
    }
    return best.candidate;
}

/* Speeds of different things cannot be compared: the channel most runs were given stays. */
static void keep_one_channel(const struct field *field, struct candidate **chosen)
{
    double most = 0;
    enum channel_id kept = field->row->channel[0];
    for (size_t a = 0; a < field->row->count; a++) {
        double n = 0;
        for (size_t r = 0; r < field->runs; r++)
            n += chosen[r] && chosen[r]->channel == field->row->channel[a];
        if (n > most) {
            most = n;
            kept = field->row->channel[a];
        }
    }
    for (size_t r = 0; r < field->runs; r++)
        if (chosen[r] && !chosen[r]->wish_only && chosen[r]->channel != kept)
            chosen[r] = NULL;
}

enum status source_choose(const struct logbook *books, size_t book_count, size_t quantity,
                          int engine, bool alone, const struct source_wish *wish,
                          struct candidate **chosen)
{
    struct entrants *runs = calloc(book_count + 1, sizeof *runs);
    struct field field = {quantity, &quantities[quantity], wish, book_count, runs};
    for (size_t r = 0; r < book_count; r++)
        chosen[r] = NULL;
    if (!runs)
        return STATUS_MEMORY;
    for (size_t r = 0; r < book_count; r++) {
        runs[r].duration = books[r].about->duration;
        runs[r].count = source_candidates(&books[r], quantity, engine, alone, runs[r].list);
    }
    for (size_t r = 0; r < book_count; r++)
        chosen[r] = best_of(&field, &runs[r]);
    if (quantity == QUANTITY_SPEED)
        keep_one_channel(&field, chosen);
    free(runs);
    return STATUS_OK;
}

enum status source_difference(const struct candidate *a, const struct candidate *b, double duration,
                              double *difference)
{
    size_t cells = duration > 0 && duration < 1e7 ? (size_t)duration + 1 : 1, n = 0;
    *difference = NAN;
    double *grid = malloc(2 * cells * sizeof *grid);
    if (!grid)
        return STATUS_MEMORY;
    series_grid(&a->series, series_silence(&a->series), 1.0, false, grid, cells);
    series_grid(&b->series, series_silence(&b->series), 1.0, false, grid + cells, cells);
    for (size_t i = 0; i < cells; i++)
        if (!isnan(grid[i]) && !isnan(grid[cells + i]))
            grid[n++] = grid[i] - grid[cells + i];
    *difference = series_median(grid, n);
    free(grid);
    return STATUS_OK;
}
