/* warmups.c - finds heat cycles in the coolant temperature. */
#include "warmups.h"

#include <math.h>

#include "hold.h"
#include "rules.h"

struct warm_limits warm_limits_of(double start, double full_rpm)
{
    struct warm_limits limits = {.usual = isnan(start)};
    double from = isnan(start) ? rules.warmup.start_usual : start;
    limits.warm = from - rules.warmup.warm_slack;
    limits.cold = fmin(from - rules.warmup.cold_below, rules.warmup.cold_most);
    limits.idle_rpm = rules.hold.idle_ratio * full_rpm;
    return limits;
}

static void take_cold(struct warmups *sum, size_t run, size_t cell, double coolant)
{
    struct warm_moment now = {run, (double)cell * COLUMN_STEP, coolant};
    if (sum->warm_now && !sum->cooled) {
        sum->cooled = true;
        sum->cool = now;
        sum->cooled_between = cell == 0 || now.time < rules.warmup.bridge;
    }
    sum->cold_now = true;
    sum->warm_now = false;
    sum->last_cold = now;
}

static void take_warm(struct warmups *sum, struct warm_moment since)
{
    if (sum->cold_now) {
        if (sum->count < WARMUPS_MAX)
            sum->list[sum->count] = (struct warmup){sum->last_cold, since};
        sum->count++;
    } else if (!sum->warm_now && sum->count == 0) {
        sum->began_warm = true;
    }
    sum->cold_now = false;
    sum->warm_now = true;
}

static void find_cycles(struct warmups *sum, size_t run, const struct columns *columns)
{
    struct warm_moment since = {run, NAN, NAN};
    for (size_t i = 0; i < columns->count; i++) {
        double coolant = columns->coolant[i];
        if (isnan(coolant))
            continue;
        sum->any = true;
        if (coolant < sum->limits.warm) {
            since.time = NAN;
        } else if (isnan(since.time)) {
            since.time = (double)i * COLUMN_STEP;
            since.coolant = coolant;
        }
        if (coolant <= sum->limits.cold)
            take_cold(sum, run, i, coolant);
        else if ((double)(i + 1) * COLUMN_STEP - since.time >= rules.warmup.warm_least)
            take_warm(sum, since);
    }
}

/* Faster than idling and not in neutral; what is not known does not speak against it. */
static bool is_underway(const struct columns *columns, size_t cell, double idle)
{
    double rpm = columns->rpm[cell], gear = columns->gear[cell];
    return rpm > (isnan(idle) ? 0 : idle) && !(fabs(gear) < 0.5);
}

/* Seconds warm and under way. A short silence between two such moments counts along. */
static double time_underway(const struct columns *columns, struct warm_limits limits)
{
    double seconds = 0, silence = INFINITY;
    for (size_t i = 0; i < columns->count; i++) {
        bool known = !isnan(columns->coolant[i]) && !isnan(columns->rpm[i]);
        if (known && columns->coolant[i] >= limits.warm &&
            is_underway(columns, i, limits.idle_rpm)) {
            seconds += COLUMN_STEP + (silence <= rules.warmup.bridge ? silence : 0);
            silence = 0;
        } else {
            silence = known ? INFINITY : silence + COLUMN_STEP;
        }
    }
    return seconds;
}

void warmups_take(struct warmups *sum, size_t run, const struct columns *columns,
                  struct warm_limits limits)
{
    sum->limits = limits;
    find_cycles(sum, run, columns);
    double underway = time_underway(columns, limits);
    if (underway > sum->underway) {
        sum->underway = underway;
        sum->underway_run = run;
    }
}
