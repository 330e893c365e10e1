/* trial.c - see trial.h. */
#include "trial.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "channel.h"
#include "rules.h"

static void fill(double *cells, size_t count, double value)
{
    for (size_t i = 0; i < count; i++)
        cells[i] = value;
}

bool trial_by_hand(const struct trial *trial)
{
    const struct candidate *coolant = trial->chosen[QUANTITY_COOLANT];
    return coolant && coolant->series.accuracy.by_hand;
}

/* --- readings by hand: each stands for the time of steady running that it ends */

/* How long a speed had been held, as stated with it; 0 if not. Times rise from call to call. */
static double held_before(const struct series *held, size_t *at, double time)
{
    while (held && *at < held->count && held->time[*at] < time)
        (*at)++;
    return held && *at < held->count && held->time[*at] == time ? held->value[*at] : 0;
}

static const struct series *held_of(const struct logbook *book, const struct candidate *speed)
{
    for (size_t i = 0; i < book->count; i++)
        if (book->list[i].channel == CHANNEL_SPEED_HELD &&
            memcmp(&book->list[i].origin, &speed->origin, sizeof speed->origin) == 0)
            return &book->list[i].series;
    return NULL;
}

/* Cells after `from` up to that of `to`, s. */
static void fill_span(double *cells, size_t count, double from, double to, double value)
{
    size_t first = from > 0 ? (size_t)from + 1 : 0, last = to > 0 ? (size_t)to : 0;
    for (size_t i = first < last ? first : last; i <= last && i < count; i++)
        cells[i] = value;
}

static enum status hand_spans(const struct logbook *book, struct trial *trial)
{
    const struct candidate *speed = trial->chosen[QUANTITY_SPEED];
    enum status status = STATUS_OK;
    size_t at = 0;
    if (!speed || !speed->series.accuracy.by_hand)
        return STATUS_OK;
    const struct series *held = held_of(book, speed);
    for (size_t i = 0; i < speed->series.count && !status; i++) {
        double time = speed->series.time[i];
        status = spans_add(&trial->held, time - held_before(held, &at, time), time);
    }
    return status;
}

static void spread_speed(const struct trial *trial, double *cells)
{
    const struct series *speed = &trial->chosen[QUANTITY_SPEED]->series;
    double told = -INFINITY;
    for (size_t i = 0; i < trial->held.count; i++) {
        fill_span(cells, trial->columns.count, fmax(trial->held.list[i].from, told),
                  trial->held.list[i].to, speed->value[i]);
        told = trial->held.list[i].to;
    }
}

/* The span that a reading at `time` lies in, or NULL. Times rise from call to call. */
static const struct span *span_around(const struct spans *spans, size_t *at, double time)
{
    while (*at < spans->count && spans->list[*at].to < time)
        (*at)++;
    return *at < spans->count && time > spans->list[*at].from ? &spans->list[*at] : NULL;
}

/* From the reading before, or from the beginning of the span; the last of a span to its end. */
static void spread_reading(const struct trial *trial, const struct series *series, double *cells)
{
    size_t at = 0;
    for (size_t i = 0; i < series->count; i++) {
        double time = series->time[i], from = time, to = time;
        const struct span *span = span_around(&trial->held, &at, time);
        if (span) {
            from = i > 0 ? fmax(span->from, series->time[i - 1]) : span->from;
            to = i + 1 < series->count && series->time[i + 1] <= span->to ? time : span->to;
        }
        fill_span(cells, trial->columns.count, from, to, series->value[i]);
    }
}

/* What changes slowly: between the readings, and as it was first and last. */
static void spread_slow(const struct series *series, double *cells, size_t count)
{
    series_grid(series, INFINITY, COLUMN_STEP, false, cells, count);
    for (size_t i = 0; i < count && series->count > 0; i++)
        if (isnan(cells[i]))
            cells[i] =
                (double)i < series->time[0] ? series->value[0] : series->value[series->count - 1];
}

static void spread_by_hand(const struct trial *trial, size_t quantity, double *cells)
{
    const struct series *series = &trial->chosen[quantity]->series;
    if (quantity == QUANTITY_SPEED)
        spread_speed(trial, cells);
    else if (quantity == QUANTITY_SEA || quantity == QUANTITY_AIR)
        spread_slow(series, cells, trial->columns.count);
    else
        spread_reading(trial, series, cells);
}

/* Which column each quantity goes to. */
static void put_columns(struct trial *trial)
{
    struct columns *c = &trial->columns;
    double *const column[QUANTITY_BESIDE] = {
        [QUANTITY_SPEED] = c->rpm, [QUANTITY_COOLANT] = c->coolant,       [QUANTITY_SEA] = c->sea,
        [QUANTITY_LOAD] = c->load, [QUANTITY_FUEL_RATE] = c->fuel_rate,   [QUANTITY_AIR] = c->air,
        [QUANTITY_GEAR] = c->gear, [QUANTITY_BOAT_SPEED] = c->boat_speed,
    };
    for (size_t q = 0; q < QUANTITY_BESIDE; q++) {
        const struct candidate *chosen = trial->chosen[q];
        if (chosen && chosen->series.accuracy.by_hand)
            spread_by_hand(trial, q, column[q]);
        else if (chosen)
            series_grid(&chosen->series, series_silence(&chosen->series), COLUMN_STEP,
                        q == QUANTITY_GEAR, column[q], c->count);
    }
    if (!isnan(trial->sea_by_hand))
        fill(c->sea, c->count, trial->sea_by_hand);
}

static void mark_frozen(struct columns *columns, const struct spans *spans, unsigned char bit)
{
    for (size_t i = 0; i < spans->count; i++) {
        double to = fmin(spans->list[i].to, (double)columns->count);
        for (size_t k = (size_t)fmax(0.0, spans->list[i].from); (double)k < to; k++)
            columns->frozen[k] |= bit;
    }
}

static enum status find_frozen(struct trial *trial)
{
    struct columns *c = &trial->columns;
    const struct candidate *speed = trial->chosen[QUANTITY_SPEED];
    const struct candidate *coolant = trial->chosen[QUANTITY_COOLANT];
    if (speed)
        mark_frozen(c, &speed->cleaning.frozen, FROZEN_RPM);
    if (coolant)
        mark_frozen(c, &coolant->cleaning.frozen, FROZEN_COOLANT);
    if (trial_by_hand(trial))
        return STATUS_OK; /* a gauge that reads alike at several speeds is no dead sender */
    enum status status = clean_coarse_frozen(c->coolant, c->rpm, c->count, &trial->frozen);
    mark_frozen(c, &trial->frozen, FROZEN_COOLANT);
    return status;
}

/* Instants of the marks set by hand. */
static enum status read_marks(struct run *run, double **marks, size_t *count,
                              struct complaint *complaint)
{
    const struct run_event *events;
    size_t n;
    enum status status = run_events(run, &events, &n, complaint);
    if (status)
        return status;
    *marks = malloc((n + 1) * sizeof **marks);
    *count = 0;
    if (!*marks)
        return STATUS_MEMORY;
    for (size_t i = 0; i < n; i++)
        if (strcmp(events[i].key, "mark") == 0)
            (*marks)[(*count)++] = events[i].time;
    return STATUS_OK;
}

static int by_start(const void *a, const void *b)
{
    const struct hold *first = a, *second = b;
    return (first->start > second->start) - (first->start < second->start);
}

/* A speed read by hand of which nobody wrote how long it had been held is no hold. It is listed as
 * a refused one without length, so that people learn what the sheet lacks. */
static enum status add_unheld(struct trial *trial)
{
    const struct spans *held = &trial->held;
    struct hold *grown =
        realloc(trial->holds, (trial->hold_count + held->count + 1) * sizeof *grown);
    if (!grown)
        return STATUS_MEMORY;
    trial->holds = grown;
    for (size_t i = 0; i < held->count; i++) {
        double at = held->list[i].to, rpm = trial->chosen[QUANTITY_SPEED]->series.value[i];
        if (at > held->list[i].from || !(fabs(rpm) > 0))
            continue;
        grown[trial->hold_count++] = (struct hold){.refusal = REFUSAL_UNHELD,
                                                   .start = at,
                                                   .end = at,
                                                   .used_from = at,
                                                   .rpm = rpm,
                                                   .rpm_sd = NAN,
                                                   .coolant = NAN,
                                                   .coolant_slope = NAN,
                                                   .coolant_sd = NAN,
                                                   .sea = NAN,
                                                   .load = NAN,
                                                   .fuel_rate = NAN,
                                                   .air = NAN,
                                                   .band_rpm = NAN,
                                                   .open_rise = NAN,
                                                   .open_fraction = NAN};
    }
    qsort(grown, trial->hold_count, sizeof *grown, by_start);
    return STATUS_OK;
}

static enum status find_holds(const struct logbook *book, const struct trial_facts *facts,
                              struct trial *trial, struct complaint *complaint)
{
    const struct candidate *speed = trial->chosen[QUANTITY_SPEED];
    double *marks = NULL;
    struct hold_conditions conditions = {
        .rpm_step = speed ? speed->profile.step : 0,
        .full_rpm = facts->full_rpm,
        .thermostat_start = facts->thermostat_start,
        .thermostat_u = facts->thermostat_u,
    };
    enum status status = read_marks(book->run, &marks, &conditions.mark_count, complaint);
    conditions.marks = marks;
    if (!status)
        status = hold_find(&trial->columns, &conditions, &trial->holds, &trial->hold_count);
    if (!status && trial->held.count > 0)
        status = add_unheld(trial);
    for (size_t i = 0; i < trial->hold_count; i++) {
        trial->holds[i].run = facts->run;
        trial->holds[i].side = facts->side;
        if (trial_by_hand(trial)) /* a reading at the end shows no drift */
            trial->holds[i].coolant_slope = NAN;
    }
    free(marks);
    return status;
}

static enum status fit_lag(const struct trial_facts *facts, struct trial *trial)
{
    const struct columns *c = &trial->columns;
    double *time = malloc((c->count + 1) * sizeof *time);
    if (!time)
        return STATUS_MEMORY;
    for (size_t i = 0; i < c->count; i++)
        time[i] = ((double)i + 0.5) * COLUMN_STEP;
    /* Readings at the end of holds do not show how it got there. */
    trial->lag = lag_fit(time, c->rpm, c->coolant, c->sea, trial_by_hand(trial) ? 0 : c->count,
                         facts->thermostat_start, facts->thermostat_full);
    free(time);
    return STATUS_OK;
}

/* Days of running; longer "runs" come from broken time stamps. */
#define DURATION_MAX (14.0 * 86400.0)

size_t trial_cells(double duration)
{
    return duration > 0 && duration <= DURATION_MAX ? (size_t)(duration / COLUMN_STEP) + 1 : 1;
}

enum status trial_make(const struct logbook *book, struct candidate *const *chosen,
                       const struct trial_facts *facts, struct trial *out,
                       struct complaint *complaint)
{
    assert(quantity_count() <= QUANTITIES_MAX);
    memset(out, 0, sizeof *out);
    *out = (struct trial){.run = facts->run, .side = facts->side, .engine = facts->engine};
    memcpy(out->chosen, chosen, quantity_count() * sizeof *chosen);
    out->duration = book->about->duration;
    out->sea_by_hand = out->chosen[QUANTITY_SEA] ? NAN : facts->sea_by_hand;
    if (!(out->duration >= 0 && out->duration <= DURATION_MAX))
        return complain(complaint, STATUS_BAD_DATA,
                        "%s lasts %.3g s by its time stamps: they are broken. Look at it with "
                        "`searun-analyze check`",
                        book->about->path, out->duration);
    enum status status = columns_make(&out->columns, trial_cells(out->duration));
    if (!status)
        status = hand_spans(book, out);
    if (!status) {
        put_columns(out);
        out->sea = sea_look(out->columns.sea, out->columns.rpm, out->columns.count);
        status = find_frozen(out);
    }
    if (!status)
        status = find_holds(book, facts, out, complaint);
    if (!status)
        status = fit_lag(facts, out);
    return status == STATUS_MEMORY
               ? complain(complaint, status, "no memory left for %s", book->about->path)
               : status;
}

void trial_free(struct trial *trial)
{
    columns_free(&trial->columns);
    spans_free(&trial->frozen);
    spans_free(&trial->held);
    free(trial->holds);
    memset(trial, 0, sizeof *trial);
}

/* First reading at or after t. */
static size_t reading_at(const struct series *series, double t)
{
    size_t low = 0, high = series->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (series->time[middle] < t)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

double trial_mean(const struct trial *trial, size_t quantity, const struct hold *hold)
{
    const struct candidate *chosen = trial->chosen[quantity];
    if (!chosen)
        return NAN;
    size_t from = reading_at(&chosen->series, hold->used_from);
    size_t to = reading_at(&chosen->series, hold->end);
    return cells_mean(chosen->series.value, from, to, NULL);
}

double trial_top_speed(const struct candidate *speed)
{
    double top = NAN;
    if (!speed || speed->series.count == 0)
        return NAN;
    double *values = malloc(speed->series.count * sizeof *values);
    if (!values)
        return NAN;
    for (size_t i = 0; i < speed->series.count; i++)
        values[i] = fabs(speed->series.value[i]);
    top = series_quantile(values, speed->series.count, 0.99);
    free(values);
    return top;
}
