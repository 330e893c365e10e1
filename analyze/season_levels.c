/* season_levels.c - see season_levels.h. */
#include "season_levels.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "evidence.h"

#define SLOPE 1.85    /* propeller law over the exchanger's flow dependence, ... */
#define SLOPE_U 0.45  /* (common practice, no source) */
#define BEND_U 0.3    /* engines are not power laws, ... */
#define OWN_U 0.025   /* ... and not that smooth */
#define KNOT_TOP 0.35 /* x of the highest knot, and how far they are apart */
#define KNOT_STEP 0.14
#define START_USUAL 74.0 /* degC, thermostats in use (common practice, no source) */
#define START_U 10.0
#define SPAN_USUAL 10.5 /* K */
#define SPAN_U 2.5
#define SPAN_LEAST 3.0
#define BOW_U 0.06 /* open fraction halfway; wider than most valves, some are far from straight */
#define BOW_MOST 0.3
#define TOGETHER (-0.5)  /* correlation of start and span of a rated thermostat, see thermostat.c */
#define HOLD_USUAL 0.015 /* of ln K from hold to hold (common practice, no source) */
#define HOLD_DF 2.0      /* that the usual scatter counts for */
#define HOLD_LEAST 0.003
#define READING_U 0.1   /* K from hold to hold: play of the valve, noise of the sender */
#define CARRY_U 0.05    /* of the slope from outing to outing: fouling tells more at high speed */
#define DOUBT_DF 4.0    /* tails of holds, Student's t */
#define DOUBT_KEEPS 0.8 /* of a normal scatter that such weights leave */
#define UNRATED_TRUST                                                                              \
    0.25                /* of what holds say of a valve that nobody knows: its law is a guess too */
#define RATED_TRUST 0.4 /* the same of one whose rating is known */
#define LAG_EXPONENT 0.6 /* see evidence.c */
#define REACH_LEAST 0.01 /* of ln K, over which a reading is looked at */
#define REACH_MOST 0.1
#define RISE_LEAST 0.2 /* K */
#define ROUNDS 25
#define SETTLED 1e-5
#define STEP_MOST 0.5     /* in ln K, of a level in one round */
#define ENOUGH_HOLDS 40.0 /* of the same few speeds tell no more of the valve than so many do */
#define TOLD 10           /* parameters that one hold tells of */

/* One hold at the present parameters. */
struct point {
    double x, misses;     /* K, reading less what the balance gives */
    double gain;          /* d reading / d level, K */
    double lean[TOLD];    /* d reading / d parameter */
    unsigned index[TOLD]; /* which parameters */
    double weight;        /* 1 / variance of the reading, doubt included */
};

struct fitting {
    const struct level_job *job;
    double prior[LEVEL_PARAMETERS * LEVEL_PARAMETERS]; /* precision */
    double middle[LEVEL_PARAMETERS];
    double at[LEVEL_PARAMETERS];
    double *level; /* of each run */
    double trust;  /* share of what the holds tell of the shared parameters that is believed */
    struct point *points;
    double scatter, df;
};

struct thermostat season_thermostat(const double *parameter, size_t which)
{
    const double *own = parameter + LEVEL_THERMOSTAT + 3 * which;
    return (struct thermostat){
        .start = own[0],
        .full = own[0] + fmax(own[1], SPAN_LEAST),
        .bow = fmax(fmin(own[2], BOW_MOST), -BOW_MOST),
    };
}

/* --- priors */

static void set_prior(struct fitting *f, size_t index, double middle, double u)
{
    f->middle[index] = f->at[index] = middle;
    f->prior[index * LEVEL_PARAMETERS + index] = 1 / (u * u);
}

static void set_thermostat(struct fitting *f, size_t which)
{
    const struct level_job *job = f->job;
    size_t i = LEVEL_THERMOSTAT + 3 * which;
    bool rated = job->full[which] > job->start[which];
    double u = rated ? job->thermostat_u : START_U;
    set_prior(f, i, rated ? job->start[which] : START_USUAL, u);
    set_prior(f, i + 1, rated ? job->full[which] - job->start[which] : SPAN_USUAL,
              rated ? u : SPAN_U);
    set_prior(f, i + 2, 0, BOW_U);
    if (!rated)
        return;
    double share = 1 / (1 - TOGETHER * TOGETHER) / (u * u);
    f->prior[i * LEVEL_PARAMETERS + i] = f->prior[(i + 1) * LEVEL_PARAMETERS + i + 1] = share;
    f->prior[i * LEVEL_PARAMETERS + i + 1] = f->prior[(i + 1) * LEVEL_PARAMETERS + i] =
        -TOGETHER * share;
}

/* Without a rating the coolest readings tell where a thermostat in control begins to open. */
static void place_unrated(struct fitting *f)
{
    double lowest = INFINITY;
    for (size_t i = 0; i < f->job->hold_count; i++)
        lowest = fmin(lowest, f->job->holds[i].coolant);
    for (size_t t = 0; t < LEVELS_THERMOSTATS; t++)
        if (!(f->job->full[t] > f->job->start[t]) && isfinite(lowest))
            f->at[LEVEL_THERMOSTAT + 3 * t] = fmin(START_USUAL, lowest - 2);
}

static void set_priors(struct fitting *f)
{
    set_prior(f, LEVEL_SLOPE, SLOPE, SLOPE_U);
    set_prior(f, LEVEL_BEND, 0, BEND_U);
    for (size_t k = 0; k < LEVELS_KNOTS; k++)
        set_prior(f, LEVEL_OWN + k, 0, OWN_U);
    for (size_t s = 0; s < LEVELS_SENDERS; s++)
        set_prior(f, LEVEL_SENDER + s, 0, f->job->sender_u[s]);
    for (size_t t = 0; t < LEVELS_THERMOSTATS; t++)
        set_thermostat(f, t);
    place_unrated(f);
}

/* --- the balance */

static double lag_of(const struct level_job *job, double rpm)
{
    return job->lag * pow(job->lag_rpm / rpm, LAG_EXPONENT);
}

/* Which sender's offset a run has; LEVEL_PARAMETERS for the present sender. */
static unsigned sender_of(const struct level_run *run)
{
    return run->sender == 0 ? LEVEL_PARAMETERS : (unsigned)(LEVEL_SENDER + run->sender - 1);
}

/* Which knots x lies between, and how near to the upper one. */
static unsigned knot_of(double x, double *share)
{
    double place = fmin(fmax((x - KNOT_TOP) / KNOT_STEP + (LEVELS_KNOTS - 1), 0), LEVELS_KNOTS - 1);
    double lower = fmin(floor(place), LEVELS_KNOTS - 2);
    *share = place - lower;
    return (unsigned)lower;
}

static double own(const double *parameter, double x)
{
    double share;
    unsigned knot = LEVEL_OWN + knot_of(x, &share);
    return (1 - share) * parameter[knot] + share * parameter[knot + 1];
}

double season_shape(const double *parameter, double x)
{
    return parameter[LEVEL_SLOPE] * x + parameter[LEVEL_BEND] * x * x + own(parameter, x) -
           own(parameter, 0);
}

static double ln_rise(const double *at, double level, double x)
{
    return level + season_shape(at, x);
}

static double reading_of(const struct fitting *f, const struct level_hold *hold, const double *at,
                         double level, double x)
{
    const struct level_run *run = &f->job->runs[hold->run];
    struct thermostat thermostat = season_thermostat(at, run->thermostat);
    double rise = exp(ln_rise(at, level, x)) - lag_of(f->job, hold->rpm) * hold->slope;
    unsigned sender = sender_of(run);
    return lift_reading(&thermostat, fmax(rise, RISE_LEAST), hold->sea) +
           (sender < LEVEL_PARAMETERS ? at[sender] : 0);
}

static double by_difference(struct fitting *f, const struct level_hold *hold, double level,
                            double x, unsigned index, double step)
{
    double was = f->at[index];
    f->at[index] = was + step;
    double above = reading_of(f, hold, f->at, level, x);
    f->at[index] = was - step;
    double below = reading_of(f, hold, f->at, level, x);
    f->at[index] = was;
    return (above - below) / (2 * step);
}

static void lean_on_knots(struct point *p, unsigned place, double x, double gain)
{
    double share;
    unsigned knot = LEVEL_OWN + knot_of(x, &share);
    p->index[place] = knot;
    p->lean[place] = gain * (1 - share);
    p->index[place + 1] = knot + 1;
    p->lean[place + 1] = gain * share;
}

/* Over what range of ln K a reading is looked at. At the elbow of the thermostat a reading that is
 * by chance high seems to tell much and one that is low little: looked at narrowly, coarse readings
 * would count the more the higher they are. */
static double reach_of(const struct fitting *f, const struct level_hold *hold)
{
    double rise = exp(ln_rise(f->at, f->level[hold->run], log(hold->rpm / f->job->reference_rpm)));
    return fmin(fmax(hold->reading_u / fmax(rise, 1), REACH_LEAST), REACH_MOST);
}

static void look_at(struct fitting *f, size_t i)
{
    static const double steps[3] = {0.05, 0.05, 0.005};
    const struct level_hold *hold = &f->job->holds[i];
    const struct level_run *run = &f->job->runs[hold->run];
    struct point *p = &f->points[i];
    double level = f->level[hold->run], around = reach_of(f, hold);
    unsigned valve = (unsigned)(LEVEL_THERMOSTAT + 3 * run->thermostat), sender = sender_of(run);
    p->x = log(hold->rpm / f->job->reference_rpm);
    double reading = reading_of(f, hold, f->at, level, p->x);
    p->misses = hold->coolant - reading;
    p->gain = (reading_of(f, hold, f->at, level + around, p->x) -
               reading_of(f, hold, f->at, level - around, p->x)) /
              (2 * around);
    p->gain = fmax(p->gain, 1e-3);
    p->index[0] = LEVEL_SLOPE;
    p->lean[0] = p->gain * p->x;
    p->index[1] = LEVEL_BEND;
    p->lean[1] = p->gain * p->x * p->x;
    for (unsigned k = 0; k < 3; k++) {
        p->index[2 + k] = valve + k;
        p->lean[2 + k] = by_difference(f, hold, level, p->x, valve + k, steps[k]);
    }
    p->index[5] = sender < LEVEL_PARAMETERS ? sender : LEVEL_SLOPE;
    p->lean[5] = sender < LEVEL_PARAMETERS ? 1 : 0;
    lean_on_knots(p, 6, p->x, p->gain);
    lean_on_knots(p, 8, 0, -p->gain);
}

/* Variance of the reading of a hold, K^2. */
static double variance_of(const struct fitting *f, size_t i)
{
    const struct level_hold *hold = &f->job->holds[i];
    const struct point *p = &f->points[i];
    double rise = exp(ln_rise(f->at, f->level[hold->run], p->x));
    double lag = f->job->lag_u * hold->slope / fmax(rise, 1);
    double relative = hypot(hypot(f->scatter, hold->extra_u), lag);
    double u = hypot(READING_U, hold->reading_u);
    return p->gain * p->gain * relative * relative + u * u;
}

static void weigh(struct fitting *f, bool doubt)
{
    for (size_t i = 0; i < f->job->hold_count; i++) {
        struct point *p = &f->points[i];
        look_at(f, i);
        double variance = variance_of(f, i), z2 = p->misses * p->misses / variance;
        p->weight = (doubt ? (DOUBT_DF + 1) / (DOUBT_DF + z2) : 1) / variance;
    }
}

/* --- one round */

struct equations {
    double matrix[LEVEL_PARAMETERS * LEVEL_PARAMETERS];
    double right[LEVEL_PARAMETERS];
};

/* Sums over the holds of one run: its level is taken out of the equations. */
struct run_sums {
    double level, miss; /* weight * gain^2, weight * gain * misses */
    double lean[LEVEL_PARAMETERS];
};

static void add_hold(const struct point *p, struct run_sums *sums, struct equations *e)
{
    sums->level += p->weight * p->gain * p->gain;
    sums->miss += p->weight * p->gain * p->misses;
    for (unsigned k = 0; k < TOLD; k++) {
        sums->lean[p->index[k]] += p->weight * p->gain * p->lean[k];
        e->right[p->index[k]] += p->weight * p->lean[k] * p->misses;
        for (unsigned m = 0; m < TOLD; m++)
            e->matrix[p->index[k] * LEVEL_PARAMETERS + p->index[m]] +=
                p->weight * p->lean[k] * p->lean[m];
    }
}

static void take_out(const struct run_sums *sums, struct equations *e)
{
    for (unsigned k = 0; k < LEVEL_PARAMETERS; k++) {
        e->right[k] -= sums->lean[k] * sums->miss / sums->level;
        for (unsigned m = 0; m < LEVEL_PARAMETERS; m++)
            e->matrix[k * LEVEL_PARAMETERS + m] -= sums->lean[k] * sums->lean[m] / sums->level;
    }
}

/* What the holds count for beside prior knowledge: ten years at the same speeds show the same
 * misfit of the balance again and again. */
static double share_of(const struct fitting *f)
{
    return f->trust * fmin(1, ENOUGH_HOLDS / fmax((double)f->job->hold_count, 1));
}

/* Whether nobody knows the rating of a thermostat that was in. */
static bool is_unrated(const struct level_job *job)
{
    for (size_t r = 0; r < job->run_count; r++)
        if (!(job->full[job->runs[r].thermostat] > job->start[job->runs[r].thermostat]))
            return true;
    return false;
}

/* Adds up all runs; `sums` has one entry a run. */
static void add_up(const struct fitting *f, struct run_sums *sums, struct equations *e)
{
    memset(e, 0, sizeof *e);
    memset(sums, 0, f->job->run_count * sizeof *sums);
    for (size_t i = 0; i < f->job->hold_count; i++)
        add_hold(&f->points[i], &sums[f->job->holds[i].run], e);
    for (size_t r = 0; r < f->job->run_count; r++)
        if (sums[r].level > 0)
            take_out(&sums[r], e);
    double share = share_of(f);
    for (unsigned k = 0; k < LEVEL_PARAMETERS; k++) {
        e->right[k] *= share;
        for (unsigned m = 0; m < LEVEL_PARAMETERS; m++) {
            double precision = f->prior[k * LEVEL_PARAMETERS + m];
            double *at = &e->matrix[k * LEVEL_PARAMETERS + m];
            *at = share * *at + precision;
            e->right[k] += precision * (f->middle[m] - f->at[m]);
        }
    }
}

/* Inverse of a positive definite matrix by elimination, in place. */
static void invert(double *a, unsigned n)
{
    for (unsigned p = 0; p < n; p++) {
        double pivot = 1 / a[p * n + p];
        a[p * n + p] = 1;
        for (unsigned j = 0; j < n; j++)
            a[p * n + j] *= pivot;
        for (unsigned i = 0; i < n; i++) {
            double factor = a[i * n + p];
            if (i == p)
                continue;
            a[i * n + p] = 0;
            for (unsigned j = 0; j < n; j++)
                a[i * n + j] -= factor * a[p * n + j];
        }
    }
}

/* What the present weights make of the misses at other parameters; the steps are taken from it. */
static double misfit(const struct fitting *f, const double *at, const double *level)
{
    double sum = 0;
    for (size_t i = 0; i < f->job->hold_count; i++) {
        const struct level_hold *hold = &f->job->holds[i];
        double miss = hold->coolant - reading_of(f, hold, at, level[hold->run], f->points[i].x);
        sum += f->points[i].weight * miss * miss;
    }
    sum *= share_of(f);
    for (unsigned k = 0; k < LEVEL_PARAMETERS; k++)
        for (unsigned m = 0; m < LEVEL_PARAMETERS; m++)
            sum += f->prior[k * LEVEL_PARAMETERS + m] * (at[k] - f->middle[k]) *
                   (at[m] - f->middle[m]);
    return sum;
}

static double clamp(double value, double most)
{
    return fmax(fmin(value, most), -most);
}

/* Where a share of the step leads. */
static void step_to(const struct fitting *f, const double *step, const double *level_step,
                    double share, double *at, double *level)
{
    for (unsigned k = 0; k < LEVEL_PARAMETERS; k++)
        at[k] = f->at[k] + share * step[k];
    for (size_t t = 0; t < LEVELS_THERMOSTATS; t++) {
        double *own = at + LEVEL_THERMOSTAT + 3 * t;
        own[1] = fmax(own[1], SPAN_LEAST);
        own[2] = clamp(own[2], BOW_MOST);
    }
    for (size_t r = 0; r < f->job->run_count; r++)
        level[r] = f->level[r] + share * clamp(level_step[r], STEP_MOST);
}

/* Takes the largest share of the step that does not make the fit worse; returns how far it
 * moved. */
static double move(struct fitting *f, const double *step, const double *level_step, double *level)
{
    double at[LEVEL_PARAMETERS], before = misfit(f, f->at, f->level), moved = 0;
    for (double share = 1; share > 0.01; share /= 2) {
        step_to(f, step, level_step, share, at, level);
        if (misfit(f, at, level) > before)
            continue;
        for (unsigned k = 0; k < LEVEL_PARAMETERS; k++)
            moved = fmax(moved, fabs(at[k] - f->at[k]));
        for (size_t r = 0; r < f->job->run_count; r++)
            moved = fmax(moved, fabs(level[r] - f->level[r]));
        memcpy(f->at, at, sizeof at);
        memcpy(f->level, level, f->job->run_count * sizeof *level);
        break;
    }
    return moved;
}

/* Scatter from hold to hold within outings, with the usual one beside it. */
static void take_scatter(struct fitting *f, const struct run_sums *sums)
{
    double squares = 0, runs = 0;
    for (size_t i = 0; i < f->job->hold_count; i++)
        squares += f->points[i].weight * f->points[i].misses * f->points[i].misses;
    for (size_t r = 0; r < f->job->run_count; r++)
        runs += sums[r].level > 0;
    f->df = fmax((double)f->job->hold_count - runs - 2, 0);
    double found = f->scatter * f->scatter * squares / DOUBT_KEEPS;
    f->scatter = fmax(sqrt((f->df > 0 ? found : 0) + HOLD_DF * HOLD_USUAL * HOLD_USUAL) /
                          sqrt(f->df + HOLD_DF),
                      HOLD_LEAST);
}

static double one_round(struct fitting *f, bool doubt, struct run_sums *sums, double *work)
{
    struct equations e;
    double step[LEVEL_PARAMETERS] = {0};
    double *level_step = work, *level = work + f->job->run_count;
    weigh(f, doubt);
    add_up(f, sums, &e);
    invert(e.matrix, LEVEL_PARAMETERS);
    for (unsigned k = 0; k < LEVEL_PARAMETERS; k++)
        for (unsigned m = 0; m < LEVEL_PARAMETERS; m++)
            step[k] += e.matrix[k * LEVEL_PARAMETERS + m] * e.right[m];
    for (size_t r = 0; r < f->job->run_count; r++) {
        double along = sums[r].miss;
        for (unsigned k = 0; k < LEVEL_PARAMETERS; k++)
            along -= sums[r].lean[k] * step[k];
        level_step[r] = sums[r].level > 0 ? along / sums[r].level : 0;
    }
    return move(f, step, level_step, level);
}

/* First levels: the balance turned round at the prior's thermostat. */
static void first_levels(struct fitting *f)
{
    double sum = 0, weights = 0;
    for (size_t i = 0; i < f->job->hold_count; i++) {
        const struct level_hold *hold = &f->job->holds[i];
        struct thermostat thermostat = season_thermostat(f->at, f->job->runs[hold->run].thermostat);
        double rise = lift_open_rise(&thermostat, hold->coolant, hold->sea, hold->slope,
                                     lag_of(f->job, hold->rpm));
        double own = log(rise) - SLOPE * log(hold->rpm / f->job->reference_rpm);
        double gain = lift_gain(&thermostat, hold->coolant, hold->sea);
        if (i == 0 || hold->run != f->job->holds[i - 1].run)
            sum = weights = 0;
        sum += gain * gain * own;
        weights += gain * gain;
        f->level[hold->run] = sum / weights;
    }
}

/* --- results */

static void tell_runs(const struct fitting *f, const struct run_sums *sums)
{
    for (size_t r = 0; r < f->job->run_count; r++) {
        struct level_run *run = &f->job->runs[r];
        run->level = run->variance = run->offset = NAN;
        run->holds = 0;
        memset(run->lean, 0, sizeof run->lean);
        if (!(sums[r].level > 0))
            continue;
        run->level = f->level[r];
        for (unsigned k = 0; k < LEVEL_PARAMETERS; k++)
            run->lean[k] = -sums[r].lean[k] / sums[r].level;
        run->offset = -run->lean[LEVEL_SLOPE];
        run->variance =
            1 / sums[r].level + CARRY_U * CARRY_U * run->lean[LEVEL_SLOPE] * run->lean[LEVEL_SLOPE];
    }
    for (size_t i = 0; i < f->job->hold_count; i++)
        f->job->runs[f->job->holds[i].run].holds++;
}

static void iterate(struct fitting *f, struct run_sums *sums, double *work)
{
    first_levels(f);
    for (unsigned round = 0; round < ROUNDS; round++) {
        double moved = one_round(f, round >= 3, sums, work);
        if (round >= 2)
            take_scatter(f, sums);
        if (moved < SETTLED && round > 5)
            break;
    }
}

enum status season_levels_fit(const struct level_job *job, struct level_fit *out)
{
    struct fitting f = {.job = job, .scatter = HOLD_USUAL, .trust = 1};
    struct equations e;
    size_t runs = job->run_count;
    double *work = calloc(3 * runs + 1, sizeof *work);
    struct run_sums *sums = calloc(runs + 1, sizeof *sums);
    f.points = calloc(job->hold_count + 1, sizeof *f.points);
    enum status status = work && sums && f.points ? STATUS_OK : STATUS_MEMORY;
    if (!status) {
        f.level = work + 2 * runs;
        set_priors(&f);
        iterate(&f, sums, work);
        weigh(&f, true);
        f.trust = is_unrated(job) ? UNRATED_TRUST : RATED_TRUST;
        add_up(&f, sums, &e);
        invert(e.matrix, LEVEL_PARAMETERS);
        memcpy(out->parameter, f.at, sizeof f.at);
        memcpy(out->covariance, e.matrix, sizeof e.matrix);
        out->scatter = f.scatter;
        out->df = f.df;
        tell_runs(&f, sums);
    }
    free(work);
    free(sums);
    free(f.points);
    return status;
}
