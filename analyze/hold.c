/* hold.c - see hold.h. */
#include "hold.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rules.h"

/* A steady stretch of cells, `to` excluded. */
struct stretch {
    size_t from, to;
    bool at_gap; /* missing readings alone ended or began it */
};

/* A growing list of stretches, and the smoothed speed they are judged by. */
struct search {
    const double *smooth;
    size_t count; /* cells */
    double rpm_step;
    struct stretch *list;
    size_t found, room;
    double *scratch; /* `count` numbers */
};

enum status columns_make(struct columns *columns, size_t count)
{
    memset(columns, 0, sizeof *columns);
    double **const each[] = {&columns->rpm,  &columns->coolant,   &columns->sea,
                             &columns->load, &columns->fuel_rate, &columns->air,
                             &columns->gear, &columns->boat_speed};
    const size_t width = sizeof each / sizeof each[0];
    double *cells = malloc((width * count + 1) * sizeof *cells);
    columns->frozen = calloc(count + 1, 1);
    columns->rpm = cells;
    if (!cells || !columns->frozen)
        return STATUS_MEMORY;
    for (size_t i = 0; i < width * count; i++)
        cells[i] = NAN;
    for (size_t i = 0; i < width; i++)
        *each[i] = cells + i * count;
    columns->count = count;
    return STATUS_OK;
}

void columns_free(struct columns *columns)
{
    free(columns->rpm); /* one block holds them all */
    free(columns->frozen);
    memset(columns, 0, sizeof *columns);
}

/* --- steady stretches of the smoothed speed */

static double tolerance(const struct search *search, double rpm)
{
    double wide = fmax(rules.hold.tolerance_rpm, rules.hold.tolerance_ratio * fabs(rpm));
    return fmax(wide, rules.hold.tolerance_steps * search->rpm_step);
}

static enum status keep(struct search *search, size_t from, size_t to)
{
    if (to - from < (size_t)rules.hold.listed)
        return STATUS_OK;
    if (search->found == search->room) {
        size_t room = search->room ? 2 * search->room : 32;
        struct stretch *grown = realloc(search->list, room * sizeof *grown);
        if (!grown)
            return STATUS_MEMORY;
        search->list = grown;
        search->room = room;
    }
    search->list[search->found++] = (struct stretch){from, to, false};
    return STATUS_OK;
}

/* Cells of a window in falling (or rising) order of value: the front is its highest (lowest). */
struct extremes {
    size_t *cell;
    size_t front, back; /* back excluded */
    double sign;        /* 1 for the highest, -1 for the lowest */
};

static void extremes_add(struct extremes *e, const double *value, size_t cell)
{
    while (e->back > e->front && e->sign * value[e->cell[e->back - 1]] <= e->sign * value[cell])
        e->back--;
    e->cell[e->back++] = cell;
}

static void extremes_drop(struct extremes *e, size_t cell)
{
    if (e->front < e->back && e->cell[e->front] == cell)
        e->front++;
}

static void extremes_clear(struct extremes *e)
{
    e->front = e->back = 0;
}

/* Whether the window is wider than a hold may be. */
static bool too_wide(const struct search *search, const struct extremes *high,
                     const struct extremes *low)
{
    double top = search->smooth[high->cell[high->front]];
    double bottom = search->smooth[low->cell[low->front]];
    return top - bottom > 2 * tolerance(search, 0.5 * (top + bottom));
}

/* One pass: the window grows to the right. When it gets too wide or the readings stop, it is kept
 * if it is long enough, and a new one starts; else its left end moves up. */
static enum status scan(struct search *search, struct extremes *high, struct extremes *low)
{
    enum status status = STATUS_OK;
    size_t from = 0, last = 0;
    for (size_t i = 0; i < search->count && !status; i++) {
        if (isnan(search->smooth[i]))
            continue;
        bool empty = high->front == high->back;
        bool gap = !empty && (double)(i - last) > rules.hold.bridge;
        if (empty || gap) {
            status = empty ? STATUS_OK : keep(search, from, last + 1);
            extremes_clear(high);
            extremes_clear(low);
            from = i;
        }
        extremes_add(high, search->smooth, i);
        extremes_add(low, search->smooth, i);
        if (too_wide(search, high, low) && last + 1 - from >= (size_t)rules.hold.listed) {
            status = keep(search, from, last + 1);
            extremes_clear(high);
            extremes_clear(low);
            extremes_add(high, search->smooth, i);
            extremes_add(low, search->smooth, i);
            from = i;
        }
        for (; too_wide(search, high, low); from++) {
            extremes_drop(high, from);
            extremes_drop(low, from);
        }
        last = i;
    }
    if (!status && high->front < high->back)
        status = keep(search, from, last + 1);
    return status;
}

static enum status find_stretches(struct search *search)
{
    struct extremes high = {.sign = 1}, low = {.sign = -1};
    high.cell = malloc((search->count + 1) * sizeof *high.cell);
    low.cell = malloc((search->count + 1) * sizeof *low.cell);
    enum status status = STATUS_MEMORY;
    if (high.cell && low.cell)
        status = scan(search, &high, &low);
    free(high.cell);
    free(low.cell);
    return status;
}

static double median_speed(const struct search *search, size_t from, size_t to)
{
    size_t n = 0;
    for (size_t i = from; i < to; i++)
        if (!isnan(search->smooth[i]))
            search->scratch[n++] = search->smooth[i];
    return series_median(search->scratch, n);
}

/* Share of the cells present that lie within the tolerance of the stretch's median. */
static double share_inside(const struct search *search, size_t from, size_t to)
{
    double middle = median_speed(search, from, to), wide = tolerance(search, middle);
    size_t inside = 0, present = 0;
    for (size_t i = from; i < to; i++) {
        if (isnan(search->smooth[i]))
            continue;
        present++;
        inside += fabs(search->smooth[i] - middle) <= wide;
    }
    return present > 0 ? (double)inside / (double)present : 0.0;
}

/* Whether two neighbours are one hold with a short excursion between. */
static bool belong_together(const struct search *search, const struct stretch *a,
                            const struct stretch *b)
{
    if ((double)(b->from - a->to) > rules.hold.excursion)
        return false;
    double first = median_speed(search, a->from, a->to);
    double second = median_speed(search, b->from, b->to);
    return fabs(first - second) < tolerance(search, 0.5 * (first + second)) &&
           share_inside(search, a->from, b->to) >= rules.hold.inside_share;
}

static void join_stretches(struct search *search)
{
    size_t kept = 0;
    for (size_t i = 1; i < search->found; i++) {
        if (belong_together(search, &search->list[kept], &search->list[i]))
            search->list[kept].to = search->list[i].to;
        else
            search->list[++kept] = search->list[i];
    }
    search->found = search->found ? kept + 1 : 0;
}

/* Marks set by hand separate two speeds that are too near to be told apart without them. */
static enum status split_at(struct search *search, size_t cell)
{
    const size_t least = (size_t)rules.hold.listed;
    for (size_t i = 0; i < search->found; i++) {
        struct stretch *s = &search->list[i];
        if (cell < s->from + least || cell + least > s->to)
            continue;
        double before = median_speed(search, s->from, cell);
        double after = median_speed(search, cell, s->to);
        double enough = rules.hold.mark_split * tolerance(search, before);
        if (!(fabs(after - before) > enough))
            return STATUS_OK;
        size_t end = s->to;
        s->to = cell;
        enum status status = keep(search, cell, end);
        if (!status) { /* keep the list in the order of time */
            struct stretch added = search->list[search->found - 1];
            memmove(&search->list[i + 2], &search->list[i + 1],
                    (search->found - i - 2) * sizeof added);
            search->list[i + 1] = added;
        }
        return status;
    }
    return STATUS_OK;
}

/* Cuts what lies off the mark at both ends: the way to the speed and away from it. */
static void trim(const struct search *search, struct stretch *s)
{
    double middle = median_speed(search, s->from, s->to), wide = tolerance(search, middle);
    while (s->from < s->to && !(fabs(search->smooth[s->from] - middle) <= wide))
        s->from++;
    while (s->to > s->from && !(fabs(search->smooth[s->to - 1] - middle) <= wide))
        s->to--;
}

/* Cells without a reading right before `from` or right after `to`. */
static size_t silence_around(const struct search *search, size_t edge, int direction)
{
    size_t n = 0;
    for (size_t i = edge; i < search->count && isnan(search->smooth[i]); n++)
        i = direction > 0 ? i + 1 : i - 1; /* below zero wraps beyond count */
    return n;
}

static void note_gaps(const struct search *search, struct stretch *s)
{
    size_t before = s->from > 0 ? silence_around(search, s->from - 1, -1) : 0;
    size_t after = silence_around(search, s->to, 1);
    bool gap_before = (double)before > rules.hold.bridge && before < s->from;
    bool gap_after = (double)after > rules.hold.bridge && s->to + after < search->count;
    s->at_gap = gap_before || gap_after;
}

/* --- when the engine is warm */

/* 10 % quantile of the coolant in the second half of its readings. */
static double usual_low(const struct columns *columns)
{
    double *values = malloc((columns->count + 1) * sizeof *values);
    if (!values)
        return NAN;
    size_t n = 0;
    for (size_t i = 0; i < columns->count; i++)
        if (!isnan(columns->coolant[i]))
            values[n++] = columns->coolant[i];
    double low = series_quantile(values + n / 2, n - n / 2, 0.1);
    free(values);
    return low;
}

/* Below this the thermostat is surely shut; NaN if its rating is not known. */
static double shut_below(const struct hold_conditions *conditions)
{
    return conditions->thermostat_start - rules.hold.shut_margin * conditions->thermostat_u -
           rules.hold.shut_slack;
}

double hold_warm_from(const struct columns *columns, const struct hold_conditions *conditions)
{
    double level = rules.hold.warm_least;
    if (!isnan(conditions->thermostat_start))
        level =
            fmin(shut_below(conditions), fmax(level, usual_low(columns) - rules.hold.warm_margin));
    for (size_t i = 0; i < columns->count; i++)
        if (columns->coolant[i] >= level)
            return (double)i * COLUMN_STEP;
    return INFINITY;
}

/* --- from a stretch to a hold */

/* First cell of the part that is used. */
static size_t used_part(size_t from, size_t to)
{
    double length = (double)(to - from);
    double skip = fmin(rules.hold.settle_share * length, rules.hold.settle_longest);
    skip = fmin(skip, fmax(0.0, length - rules.hold.used_least));
    return from + (size_t)skip;
}

/* Mean over the used part if enough of it is there. */
static double mean_of(const double *cells, size_t from, size_t to)
{
    double share, mean = cells_mean(cells, from, to, &share);
    return share >= 0.5 ? mean : NAN;
}

/* The sea changes slowly: where its readings fail within a hold the nearest one serves. */
static double sea_near(const double *sea, size_t count, size_t from, size_t to)
{
    double mean = mean_of(sea, from, to);
    size_t reach = (size_t)rules.hold.sea_reach;
    size_t first = from > reach ? from - reach : 0, last = to + reach < count ? to + reach : count;
    if (!isnan(mean))
        return mean;
    double before = NAN, after = NAN;
    for (size_t i = first; i < to; i++)
        before = isnan(sea[i]) ? before : sea[i];
    for (size_t i = last; i > from; i--)
        after = isnan(sea[i - 1]) ? after : sea[i - 1];
    return isnan(before) ? after : isnan(after) ? before : 0.5 * (before + after);
}

static double frozen_share(const struct columns *columns, size_t from, size_t to, unsigned bits)
{
    size_t n = 0;
    for (size_t i = from; i < to; i++)
        n += (columns->frozen[i] & bits) != 0;
    return to > from ? (double)n / (double)(to - from) : 0.0;
}

static bool is_idle(const struct hold *hold, const struct hold_conditions *conditions, double gear,
                    double boat_speed)
{
    double rpm = fabs(hold->rpm);
    if (fabs(gear) < 0.5 || rpm < rules.hold.idle_ratio * conditions->full_rpm)
        return true;
    return rpm < rules.hold.slow_ratio * conditions->full_rpm &&
           fabs(boat_speed) < rules.hold.slow_speed;
}

/* What is needed to judge a hold beside its own means. */
struct judged {
    const struct columns *columns;
    const struct hold_conditions *conditions;
    double warm_from; /* s */
    double usual_low; /* degC, coolant when warm */
    bool at_gap;
    size_t from, to; /* used part, cells */
};

static enum refusal judge_readings(const struct judged *j, const struct hold *hold)
{
    double rpm_share, coolant_share;
    cells_mean(j->columns->rpm, j->from, j->to, &rpm_share);
    cells_mean(j->columns->coolant, j->from, j->to, &coolant_share);
    if (coolant_share == 0.0)
        return REFUSAL_NO_COOLANT;
    if (frozen_share(j->columns, j->from, j->to, FROZEN_RPM | FROZEN_COOLANT) >
        rules.hold.frozen_share)
        return REFUSAL_STUCK;
    if (fmin(rpm_share, coolant_share) < rules.hold.present_share)
        return REFUSAL_GAP;
    return isnan(hold->sea) ? REFUSAL_NO_SEA : REFUSAL_NONE;
}

static enum refusal judge_heat(const struct judged *j, const struct hold *hold)
{
    bool warming = hold->coolant < j->usual_low - rules.hold.warm_margin &&
                   hold->coolant_slope > rules.hold.warm_slope;
    if ((double)j->from * COLUMN_STEP < j->warm_from || warming)
        return REFUSAL_ENGINE_COLD;
    if (hold->coolant < shut_below(j->conditions))
        return REFUSAL_THERMOSTAT_SHUT;
    return fabs(hold->coolant_slope) > rules.hold.slope_most ? REFUSAL_UNSETTLED : REFUSAL_NONE;
}

/* The first reason that holds, in this order. */
static enum refusal judge(const struct judged *j, const struct hold *hold)
{
    double gear = mean_of(j->columns->gear, j->from, j->to);
    double boat_speed = mean_of(j->columns->boat_speed, j->from, j->to);
    if (hold->rpm < 0 || gear < -0.5)
        return REFUSAL_ASTERN;
    if (is_idle(hold, j->conditions, gear, boat_speed))
        return REFUSAL_IDLE;
    if (hold->end - hold->start < rules.hold.shortest)
        return j->at_gap ? REFUSAL_GAP : REFUSAL_TOO_SHORT;
    enum refusal refusal = judge_readings(j, hold);
    return refusal ? refusal : judge_heat(j, hold);
}

static struct hold measure(const struct columns *columns, const struct stretch *s, size_t used)
{
    struct line line = cells_line(columns->coolant, COLUMN_STEP, used, s->to);
    return (struct hold){
        .start = (double)s->from * COLUMN_STEP,
        .end = (double)s->to * COLUMN_STEP,
        .used_from = (double)used * COLUMN_STEP,
        .rpm = cells_mean(columns->rpm, used, s->to, NULL),
        .rpm_sd = cells_sd(columns->rpm, used, s->to),
        .coolant = line.mean,
        .coolant_slope = line.slope,
        .coolant_sd = line.sd,
        .sea = sea_near(columns->sea, columns->count, used, s->to),
        .load = mean_of(columns->load, used, s->to),
        .fuel_rate = mean_of(columns->fuel_rate, used, s->to),
        .air = mean_of(columns->air, used, s->to),
        .band_rpm = NAN,
        .open_rise = NAN,
        .open_fraction = NAN,
    };
}

/* An engine that does not turn is not running steadily. */
static bool is_standing(const struct hold *hold)
{
    return fabs(hold->rpm) < 100.0;
}

static enum status make_holds(const struct search *search, const struct columns *columns,
                              const struct hold_conditions *conditions, struct hold **out,
                              size_t *count)
{
    struct hold *holds = calloc(search->found + 1, sizeof *holds);
    if (!holds)
        return STATUS_MEMORY;
    double warm_from = hold_warm_from(columns, conditions), low = usual_low(columns);
    size_t n = 0;
    for (size_t i = 0; i < search->found; i++) {
        struct stretch s = search->list[i];
        trim(search, &s);
        if ((double)(s.to - s.from) < rules.hold.listed)
            continue;
        note_gaps(search, &s);
        size_t used = used_part(s.from, s.to);
        holds[n] = measure(columns, &s, used);
        if (is_standing(&holds[n]))
            continue;
        struct judged j = {columns, conditions, warm_from, low, s.at_gap, used, s.to};
        holds[n].refusal = judge(&j, &holds[n]);
        n++;
    }
    *out = holds;
    *count = n;
    return STATUS_OK;
}

static enum status search_in(struct search *search, const struct columns *columns,
                             const struct hold_conditions *conditions, struct hold **out,
                             size_t *count)
{
    enum status status = find_stretches(search);
    if (status)
        return status;
    join_stretches(search);
    for (size_t i = 0; i < conditions->mark_count && !status; i++)
        if (conditions->marks[i] >= 0 && conditions->marks[i] < (double)search->count)
            status = split_at(search, (size_t)conditions->marks[i]);
    return status ? status : make_holds(search, columns, conditions, out, count);
}

enum status hold_find(const struct columns *columns, const struct hold_conditions *conditions,
                      struct hold **out, size_t *count)
{
    *out = NULL;
    *count = 0;
    double *smooth = malloc((2 * columns->count + 1) * sizeof *smooth);
    if (!smooth)
        return STATUS_MEMORY;
    cells_smooth(columns->rpm, columns->count, (size_t)rules.hold.smooth / 2, smooth);
    struct search search = {.smooth = smooth,
                            .count = columns->count,
                            .rpm_step = conditions->rpm_step,
                            .scratch = smooth + columns->count};
    enum status status = search_in(&search, columns, conditions, out, count);
    free(search.list);
    free(smooth);
    return status;
}
