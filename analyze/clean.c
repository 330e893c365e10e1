/* clean.c - see clean.h. */
#include "clean.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "channel.h"
#include "rules.h"

#define MAD_TO_SD 1.4826 /* median absolute deviation to standard deviation of a normal */
#define WINDOW_MAX 32
#define NOISE_SAMPLES 8192 /* of a long series are enough to know its noise */

/* How far a reading of each kind can be off its neighbours before it may be a spike: absolute or as
 * a share of the level, whichever is wider. */
static const struct kind {
    enum unit unit;
    double spike, spike_ratio;
} kinds[] = {
    {UNIT_DEGC, 2.0, 0.0},     {UNIT_RPM, 60.0, 0.05},          {UNIT_KPA, 20.0, 0.15},
    {UNIT_PERCENT, 12.0, 0.0}, {UNIT_LITRE_PER_HOUR, 1.0, 0.2}, {UNIT_METRE_PER_SECOND, 1.0, 0.2},
    {UNIT_VOLT, 1.0, 0.0},
};

/* Liquids and metal are heat stores: they cannot change by this between two readings and come back.
 * Gases can. */
#define LIQUID_JUMP 8.0 /* K */
static const enum channel_id liquids[] = {
    CHANNEL_COOLANT_TEMPERATURE,
    CHANNEL_SEA_TEMPERATURE,
    CHANNEL_RAW_WATER_IN,
    CHANNEL_RAW_WATER_OUT,
    CHANNEL_EXCHANGER_COOLANT_IN,
    CHANNEL_EXCHANGER_COOLANT_OUT,
    CHANNEL_OIL_TEMPERATURE,
    CHANNEL_TURBO_OIL_TEMPERATURE,
    CHANNEL_TRANSMISSION_OIL_TEMPERATURE,
    CHANNEL_FUEL_TEMPERATURE,
};

/* Speed can do anything but vanish for some seconds and be back. */
#define VANISHED_RPM 100.0  /* no engine runs below this ... */
#define VANISHED_RATIO 0.10 /* ... or at a tenth of the speed it had a second ago */

static const struct kind *kind_of(enum channel_id channel)
{
    enum unit unit = channel_get(channel)->unit;
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        if (kinds[i].unit == unit)
            return &kinds[i];
    return NULL;
}

static bool is_liquid(enum channel_id channel)
{
    for (size_t i = 0; i < sizeof liquids / sizeof liquids[0]; i++)
        if (liquids[i] == channel)
            return true;
    return false;
}

/* Drops the readings whose mark is set; returns how many. */
static size_t drop_marked(struct series *series, const unsigned char *marks)
{
    size_t kept = 0;
    for (size_t i = 0; i < series->count; i++) {
        if (marks[i])
            continue;
        series->time[kept] = series->time[i];
        series->value[kept++] = series->value[i];
    }
    size_t dropped = series->count - kept;
    series->count = kept;
    return dropped;
}

static size_t drop_unbelievable(struct series *series, unsigned char *marks)
{
    const struct channel *row = channel_get(series->channel);
    for (size_t i = 0; i < series->count; i++)
        marks[i] = !(series->value[i] >= row->low && series->value[i] <= row->high) ||
                   !isfinite(series->time[i]);
    return drop_marked(series, marks);
}

/* --- drop-outs */

/* Whether a reading lies too far from `level` to be believed as its successor. */
static bool jumped(bool liquid, double level, double value)
{
    if (liquid)
        return fabs(value - level) > LIQUID_JUMP;
    return fabs(level) > 2 * VANISHED_RPM &&
           fabs(value) < fmax(VANISHED_RPM, VANISHED_RATIO * fabs(level));
}

/* Whether a reading is back near the level from before the jump. */
static bool returned(bool liquid, double level, double value)
{
    return fabs(value - level) < (liquid ? 0.5 * LIQUID_JUMP : 0.1 * fabs(level));
}

/* First reading after `from` that is back at `level`, or 0 if none comes back in time. */
static size_t find_return(const struct series *series, bool liquid, size_t from, double level)
{
    double latest = series->time[from] + rules.clean.dropout_longest;
    for (size_t i = from + 1; i < series->count && series->time[i] <= latest; i++)
        if (returned(liquid, level, series->value[i]))
            return i;
    return 0;
}

/* A wrong start: the first readings lie a jump away from all that follow. Liquids only; an engine
 * that starts to turn is no drop-out. Returns the first good reading. */
static size_t wrong_start(const struct series *series)
{
    for (size_t i = 1; i + 1 < series->count; i++) {
        if (series->time[i] - series->time[0] > rules.clean.dropout_longest)
            return 0;
        if (jumped(true, series->value[i - 1], series->value[i]))
            return jumped(true, series->value[i], series->value[i + 1]) ? 0 : i;
    }
    return 0;
}

static size_t drop_dropouts(struct series *series, unsigned char *marks)
{
    bool liquid = is_liquid(series->channel);
    if (!liquid && channel_get(series->channel)->unit != UNIT_RPM)
        return 0;
    memset(marks, 0, series->count);
    size_t start = liquid ? wrong_start(series) : 0;
    memset(marks, 1, start);
    for (size_t i = start + 1; i < series->count; i++) {
        double level = series->value[i - 1];
        if (!jumped(liquid, level, series->value[i]))
            continue;
        size_t back = find_return(series, liquid, i, level);
        if (back == 0)
            continue;
        memset(marks + i, 1, back - i);
        i = back;
    }
    return drop_marked(series, marks);
}

/* --- spikes */

/* Range of neighbours of reading i: so many readings and so many seconds at most. */
static void neighbourhood(const struct series *series, size_t i, size_t *from, size_t *to)
{
    size_t reach = rules.clean.spike_neighbours;
    double seconds = rules.clean.spike_reach;
    *from = i;
    *to = i + 1;
    while (*from > 0 && i - *from < reach && series->time[i] - series->time[*from - 1] <= seconds)
        (*from)--;
    while (*to < series->count && *to - i <= reach &&
           series->time[*to] - series->time[i] <= seconds)
        (*to)++;
}

/* Hampel's identifier: farther from the median of its neighbours than they are from it. */
static bool is_spike(const struct series *series, size_t i, double least)
{
    double window[WINDOW_MAX];
    size_t from, to;
    neighbourhood(series, i, &from, &to);
    size_t n = to - from;
    if (n < 5)
        return false;
    memcpy(window, series->value + from, n * sizeof *window);
    double median = series_median(window, n);
    for (size_t k = 0; k < n; k++)
        window[k] = fabs(series->value[from + k] - median);
    double limit = fmax(least, rules.clean.spike_mads * MAD_TO_SD * series_median(window, n));
    return fabs(series->value[i] - median) > limit;
}

/* Standard deviation of the noise from one reading to the next, by the median of their changes. */
static double noise_of(const struct series *series, double *scratch)
{
    size_t n = 0, stride = 1 + series->count / NOISE_SAMPLES;
    for (size_t i = 1; i < series->count; i += stride)
        scratch[n++] = fabs(series->value[i] - series->value[i - 1]);
    return n > 0 ? MAD_TO_SD / sqrt(2.0) * series_median(scratch, n) : 0.0;
}

static size_t drop_spikes(struct series *series, const struct kind *kind, double base,
                          unsigned char *marks)
{
    assert(2 * rules.clean.spike_neighbours + 1 <= WINDOW_MAX);
    memset(marks, 0, series->count);
    double trusted = series->count > 0 ? series->value[0] : 0.0;
    for (size_t i = 0; i < series->count; i++) {
        double least = fmax(kind->spike, kind->spike_ratio * fabs(series->value[i]));
        least = fmax(least, base);
        /* Only what left the last trusted reading can be a spike: that spares most windows. The
         * first readings have no such witness. */
        bool left = i < 2 || fabs(series->value[i] - trusted) > 0.5 * least;
        marks[i] = left && is_spike(series, i, least);
        if (!marks[i])
            trusted = series->value[i];
    }
    return drop_marked(series, marks);
}

/* --- frozen */

/* Median time between two changes of the value; NaN if there are fewer than two. */
static double usual_interval(const struct series *series, double *scratch)
{
    size_t n = 0;
    double last = NAN;
    for (size_t i = 1; i < series->count; i++) {
        if (series->value[i] == series->value[i - 1])
            continue;
        if (!isnan(last))
            scratch[n++] = series->time[i] - last;
        last = series->time[i];
    }
    return series_median(scratch, n);
}

/* Whether the sender's own noise is above its step: then it does not repeat itself for long. Of its
 * changes a good share must be more than one step. */
static bool is_lively(const struct series *series, double step)
{
    size_t changes = 0, wide = 0;
    for (size_t i = 1; i < series->count; i++) {
        double change = fabs(series->value[i] - series->value[i - 1]);
        changes += change > 0;
        wide += change > 1.5 * step;
    }
    return changes >= rules.clean.frozen_samples &&
           (double)wide > rules.clean.lively_share * (double)changes;
}

static enum status find_frozen(const struct series *series, double *scratch, struct spans *frozen)
{
    double shortest = fmax(rules.clean.frozen_shortest,
                           rules.clean.frozen_intervals * usual_interval(series, scratch));
    size_t from = 0;
    for (size_t i = 1; i <= series->count; i++) {
        if (i < series->count && series->value[i] == series->value[from])
            continue;
        double length = series->time[i - 1] - series->time[from];
        if (length >= shortest && i - from >= rules.clean.frozen_samples) {
            enum status status = spans_add(frozen, series->time[from], series->time[i - 1]);
            if (status)
                return status;
        }
        from = i;
    }
    return STATUS_OK;
}

/* A standing engine reads zero, exactly and for long: that is no frozen tachometer. */
static void forgive_zero(const struct series *series, struct spans *frozen)
{
    size_t kept = 0, at = 0;
    for (size_t i = 0; i < frozen->count; i++) {
        while (at < series->count && series->time[at] < frozen->list[i].from)
            at++;
        if (at < series->count && series->value[at] != 0.0)
            frozen->list[kept++] = frozen->list[i];
    }
    frozen->count = kept;
}

static void count_stale(const struct series *series, double duration, struct cleaned *count)
{
    double silence = series_silence(series), last = 0.0;
    for (size_t i = 0; i <= series->count; i++) {
        double now = i < series->count ? series->time[i] : duration;
        if (now - last > silence) {
            count->stale++;
            count->stale_seconds += now - last;
        }
        last = now;
    }
}

static enum status clean_with(struct series *series, double duration, unsigned char *marks,
                              double *scratch, struct cleaning *out)
{
    const struct kind *kind = kind_of(series->channel);
    struct cleaned *count = &out->count;
    count->unbelievable = drop_unbelievable(series, marks);
    if (kind && !series->accuracy.by_hand) { /* people do not write down spikes */
        double step;
        count->dropouts = drop_dropouts(series, marks);
        enum status status = series_step(series->value, series->count, &step);
        if (status)
            return status;
        double least = fmax(rules.clean.spike_steps * step,
                            rules.clean.spike_noises * noise_of(series, scratch));
        count->spikes = drop_spikes(series, kind, least, marks);
        out->lively = is_lively(series, step);
        if (out->lively)
            status = find_frozen(series, scratch, &out->frozen);
        if (status)
            return status;
        forgive_zero(series, &out->frozen);
    }
    for (size_t i = 0; i < out->frozen.count; i++)
        count->frozen_seconds += out->frozen.list[i].to - out->frozen.list[i].from;
    count_stale(series, duration, count);
    return STATUS_OK;
}

enum status clean_series(struct series *series, double duration, struct cleaning *out)
{
    memset(out, 0, sizeof *out);
    out->count.channel = series->channel;
    out->count.samples = series->count;
    unsigned char *marks = calloc(series->count + 1, 1);
    double *scratch = malloc((series->count + 1) * sizeof *scratch);
    enum status status = STATUS_MEMORY;
    if (marks && scratch)
        status = clean_with(series, duration, marks, scratch, out);
    free(marks);
    free(scratch);
    return status;
}

/* Whether speed went through clearly different levels while the engine ran. */
static bool speed_varied(const double *rpm, size_t from, size_t to)
{
    double low = INFINITY, high = 0.0;
    for (size_t i = from; i < to; i++) {
        if (isnan(rpm[i]) || fabs(rpm[i]) < VANISHED_RPM)
            continue;
        low = fmin(low, fabs(rpm[i]));
        high = fmax(high, fabs(rpm[i]));
    }
    return high > rules.clean.coarse_rpm_ratio * low;
}

enum status clean_coarse_frozen(const double *coolant, const double *rpm, size_t count,
                                struct spans *frozen)
{
    size_t from = 0;
    for (size_t i = 1; i <= count; i++) {
        if (i < count && coolant[i] == coolant[from])
            continue;
        bool long_enough = (double)(i - from) >= rules.clean.coarse_frozen;
        if (long_enough && !isnan(coolant[from]) && speed_varied(rpm, from, i)) {
            enum status status = spans_add(frozen, (double)from, (double)i);
            if (status)
                return status;
        }
        from = i;
    }
    return STATUS_OK;
}
