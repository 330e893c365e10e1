/* score.c - see score.h. */
#include "score.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "model_facts.h"
#include "plant.h"

#define TOP (FAMILY_SPEEDS - 1)
#define PATH_ROOM 600

static const struct interval nothing = {NAN, NAN, NAN};

/* --- one pair */

struct work {
    struct family_pair pair;
    char path[FAMILY_SIDES][FAMILY_RUNS_MAX][PATH_ROOM];
    char *paths[FAMILY_SIDES][FAMILY_RUNS_MAX];
    struct naive_sum naive[FAMILY_SIDES][FAMILY_SPEEDS];
};

struct watched {
    struct naive_sum *sums; /* of one side */
};

/* Of CPU: others may be using the machine. */
static double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void watch_second(void *self, const struct boat *boat)
{
    struct naive_sum *sums = ((struct watched *)self)->sums;
    const struct boat_engine_reading *reading = &boat->reading.engine[0];
    for (size_t i = 0; i < FAMILY_SPEEDS; i++)
        if (!isnan(reading->coolant) && reading->coolant > 65.0 &&
            naive_in_band(reading->rpm, family_speed[i]))
            naive_add(&sums[i], reading->coolant);
}

/* The way of people: a sheet first, and the logger makes the run of it. */
static enum status write_by_hand(const struct boat_scenario *run, int side, const char *path,
                                 const struct score_analyzer *analyzer, struct complaint *complaint)
{
    char sheet[PATH_ROOM + 8];
    snprintf(sheet, sizeof sheet, "%s.csv", path);
    FILE *to = analyzer->make_run != NULL ? fopen(sheet, "w") : NULL;
    if (to == NULL)
        return complain(complaint, STATUS_IO, "%s cannot be made", sheet);
    enum status status =
        write_sheet(run, side == FAMILY_BEFORE ? "before" : "after", to, complaint);
    if (fclose(to) != 0 && status == STATUS_OK)
        status = complain(complaint, STATUS_IO, "%s could not be written", sheet);
    if (status == STATUS_OK)
        status = analyzer->make_run(sheet, path, complaint);
    unlink(sheet);
    return status;
}

static enum status write_one(struct work *work, int side, size_t i,
                             const struct score_analyzer *analyzer, struct complaint *complaint)
{
    struct facts facts = {0};
    struct watched watched = {work->naive[side]};
    const struct boat_watch watch = {&watched, watch_second};
    const struct boat_scenario *run = &work->pair.run[side][i];
    enum status status =
        model_facts(run, side == FAMILY_BEFORE ? "before" : "after", &facts, complaint);
    unlink(work->path[side][i]);
    if (status == STATUS_OK && run->hand.used)
        status = write_by_hand(run, side, work->path[side][i], analyzer, complaint);
    else if (status == STATUS_OK)
        status = write_run(run, work->pair.family->flavour, &facts, work->path[side][i], &watch,
                           complaint);
    facts_free(&facts);
    return status;
}

static enum status write_runs(struct work *work, const char *folder, uint64_t number,
                              const struct score_analyzer *analyzer, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    for (int side = 0; side < FAMILY_SIDES; side++)
        for (size_t i = 0; i < work->pair.runs && status == STATUS_OK; i++) {
            work->paths[side][i] = work->path[side][i];
            snprintf(work->path[side][i], PATH_ROOM, "%s/%llu-%d-%zu.h5", folder,
                     (unsigned long long)number, side, i);
            status = write_one(work, side, i, analyzer, complaint);
        }
    return status;
}

static void remove_runs(const struct work *work)
{
    for (int side = 0; side < FAMILY_SIDES; side++)
        for (size_t i = 0; i < work->pair.runs; i++)
            unlink(work->path[side][i]);
}

static enum status compare_pair(struct work *work, const struct score_analyzer *analyzer,
                                struct answer *answer, struct complaint *complaint)
{
    struct compare_options options;
    analyzer->set_defaults(&options);
    options.before_count = options.after_count = work->pair.runs;
    options.before = work->paths[FAMILY_BEFORE];
    options.after = work->paths[FAMILY_AFTER];
    if (work->pair.told_sender_u > 0.0)
        options.sender_u = work->pair.told_sender_u;
    options.control_engine = work->pair.control_engine;
    return analyzer->compare(&options, answer, complaint);
}

static void take_band(const struct family_pair *pair, double sea, const struct band *band,
                      struct score_band *out)
{
    out->rpm = band->rpm;
    out->truth = family_true_change(pair, band->rpm, sea);
    out->change = band->change;
    out->simultaneous = band->simultaneous;
    out->finding = band->finding;
}

static void take_warnings(const struct answer *answer, struct pair_score *out)
{
    for (size_t i = 0; i < answer->warning_count && out->warning_count < SCORE_WARNINGS; i++)
        snprintf(out->warning[out->warning_count++], sizeof out->warning[0], "%s",
                 answer->warnings[i].key);
}

static const struct engine_answer *served_engine(const struct answer *answer)
{
    for (size_t i = 0; i < answer->engine_count; i++)
        if (answer->engines[i].instance == 0)
            return &answer->engines[i];
    return NULL;
}

static void take_answer(const struct family_pair *pair, const struct answer *answer,
                        struct pair_score *out)
{
    const struct engine_answer *engine = served_engine(answer);
    out->reference_sea = answer->reference_sea;
    take_warnings(answer, out);
    if (engine == NULL) {
        out->compared = false;
        snprintf(out->failure, sizeof out->failure, "no answer for engine 0");
        return;
    }
    out->finding = engine->finding;
    out->ratio = engine->open_rise_ratio;
    out->lag = engine->lag;
    out->lag_u = engine->lag_u;
    out->band_count = engine->band_count;
    for (size_t i = 0; i < engine->band_count; i++)
        take_band(pair, answer->reference_sea, &engine->bands[i], &out->band[i]);
}

static void take_naive(const struct work *work, struct pair_score *out)
{
    double sea = out->reference_sea;
    if (isnan(sea))
        sea = 0.5 * (work->pair.family->sea[0] + work->pair.family->sea[1]);
    for (size_t i = 0; i < FAMILY_SPEEDS; i++) {
        struct interval *interval = &out->naive[i];
        out->naive_truth[i] = family_true_change(&work->pair, family_speed[i], sea);
        if (!naive_interval(&work->naive[FAMILY_BEFORE][i], &work->naive[FAMILY_AFTER][i],
                            &interval->low, &interval->high))
            *interval = nothing;
        else
            interval->value = 0.5 * (interval->low + interval->high);
    }
}

static void run_pair(struct work *work, const char *folder, uint64_t number,
                     const struct score_analyzer *analyzer, struct pair_score *out)
{
    struct complaint complaint = {""};
    struct answer *answer = calloc(1, sizeof *answer);
    double start = seconds_now();
    enum status status =
        answer != NULL ? write_runs(work, folder, number, analyzer, &complaint) : STATUS_MEMORY;
    out->seconds_model = seconds_now() - start;
    start = seconds_now();
    if (status == STATUS_OK) {
        status = compare_pair(work, analyzer, answer, &complaint);
        out->compared = status == STATUS_OK;
        if (status == STATUS_OK)
            take_answer(&work->pair, answer, out);
        analyzer->release(answer);
    }
    out->seconds_compare = seconds_now() - start;
    if (status != STATUS_OK)
        snprintf(out->failure, sizeof out->failure, "%.159s", complaint.text);
    take_naive(work, out);
    remove_runs(work);
    free(answer);
}

void score_pair(const struct family *family, uint64_t seed, uint64_t number, const char *folder,
                const struct score_analyzer *analyzer, struct pair_score *out)
{
    struct work *work = calloc(1, sizeof *work);
    memset(out, 0, sizeof *out);
    out->reference_sea = NAN;
    out->ratio = nothing;
    if (work == NULL) {
        snprintf(out->failure, sizeof out->failure, "no memory");
        return;
    }
    family_draw(family, seed, number, &work->pair);
    out->true_ratio = family_true_ratio(&work->pair, family_speed[TOP]);
    const struct boat_engine *before = &work->pair.run[FAMILY_BEFORE][0].engine[0];
    out->true_lag = plant_store(before) / plant_conductance(before, family_speed[TOP], 1.0);
    run_pair(work, folder, number, analyzer, out);
    free(work);
}

/* --- many pairs */

static bool holds(const struct interval *interval, double truth)
{
    return interval->low <= truth && truth <= interval->high;
}

static bool known(const struct interval *interval)
{
    return isfinite(interval->low) && isfinite(interval->high);
}

/* The speed of the ladder that a band belongs to, or FAMILY_SPEEDS. */
static size_t speed_index(double rpm)
{
    for (size_t i = 0; i < FAMILY_SPEEDS; i++)
        if (fabs(rpm - family_speed[i]) <= 80.0)
            return i;
    return FAMILY_SPEEDS;
}

static int ascending(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *list, size_t count)
{
    if (count == 0)
        return NAN;
    qsort(list, count, sizeof *list, ascending);
    return count % 2 == 1 ? list[count / 2] : 0.5 * (list[count / 2 - 1] + list[count / 2]);
}

static double share(double part, double whole)
{
    return whole > 0.0 ? part / whole : NAN;
}

/* Coverage by band and overall; the error is that of the mean over pairs, as bands of a pair are
 * not independent. */
static void score_bands(const struct pair_score *scores, size_t count, struct family_score *out)
{
    double hits[FAMILY_SPEEDS] = {0}, all = 0.0, hit = 0.0, squares = 0.0;
    for (size_t i = 0; i < count; i++) {
        double own = 0.0, own_hit = 0.0;
        for (size_t b = 0; b < scores[i].band_count; b++) {
            const struct score_band *band = &scores[i].band[b];
            const size_t at = speed_index(band->rpm);
            if (!known(&band->change) || at == FAMILY_SPEEDS)
                continue;
            const double ok = holds(&band->change, band->truth) ? 1.0 : 0.0;
            hits[at] += ok;
            out->compared_band[at]++;
            own_hit += ok;
            own++;
        }
        all += own;
        hit += own_hit;
    }
    out->covered = share(hit, all);
    for (size_t i = 0; i < count; i++) {
        double off = 0.0;
        for (size_t b = 0; b < scores[i].band_count; b++) {
            const struct score_band *band = &scores[i].band[b];
            if (known(&band->change) && speed_index(band->rpm) != FAMILY_SPEEDS)
                off += (holds(&band->change, band->truth) ? 1.0 : 0.0) - out->covered;
        }
        squares += off * off;
    }
    out->covered_error = all > 0.0 ? sqrt(squares) / all : NAN;
    for (size_t k = 0; k < FAMILY_SPEEDS; k++)
        out->covered_band[k] = share(hits[k], (double)out->compared_band[k]);
}

static void score_simultaneous(const struct pair_score *scores, size_t count,
                               struct family_score *out)
{
    double hit = 0.0, all = 0.0;
    for (size_t i = 0; i < count; i++) {
        bool ok = true, any = false;
        for (size_t b = 0; b < scores[i].band_count; b++) {
            const struct score_band *band = &scores[i].band[b];
            if (!known(&band->simultaneous))
                continue;
            any = true;
            ok = ok && holds(&band->simultaneous, band->truth);
        }
        all += any ? 1.0 : 0.0;
        hit += any && ok ? 1.0 : 0.0;
    }
    out->simultaneous = share(hit, all);
}

static void score_ratio(const struct pair_score *scores, size_t count, struct family_score *out)
{
    double hit = 0.0;
    for (size_t i = 0; i < count; i++) {
        if (!known(&scores[i].ratio))
            continue;
        out->ratios++;
        hit += holds(&scores[i].ratio, scores[i].true_ratio) ? 1.0 : 0.0;
    }
    out->covered_ratio = share(hit, (double)out->ratios);
}

static void score_widths(const struct pair_score *scores, size_t count, struct family_score *out)
{
    double *top = malloc((count + 1) * sizeof *top);
    double *all = malloc((count * BANDS_MAX + 1) * sizeof *all);
    double *truth = malloc((count + 1) * sizeof *truth);
    size_t tops = 0, alls = 0;
    out->half_top = out->half_all = out->truth_top = NAN;
    if (top == NULL || all == NULL || truth == NULL)
        goto out;
    for (size_t i = 0; i < count; i++) {
        truth[i] = scores[i].naive_truth[TOP];
        for (size_t b = 0; b < scores[i].band_count; b++) {
            const struct interval *change = &scores[i].band[b].change;
            if (!known(change))
                continue;
            all[alls++] = 0.5 * (change->high - change->low);
            if (speed_index(scores[i].band[b].rpm) == TOP && tops < count)
                top[tops++] = all[alls - 1];
        }
    }
    out->half_top = median(top, tops);
    out->half_all = median(all, alls);
    out->truth_top = median(truth, count);
out:
    free(top);
    free(all);
    free(truth);
}

static void score_findings(const struct pair_score *scores, size_t count, struct family_score *out)
{
    double bands = 0.0, tops = 0.0;
    for (size_t i = 0; i < count; i++) {
        out->finding[scores[i].finding] += scores[i].compared ? 1.0 : 0.0;
        for (size_t b = 0; b < scores[i].band_count; b++) {
            const struct score_band *band = &scores[i].band[b];
            out->band_finding[band->finding]++;
            bands++;
            if (speed_index(band->rpm) != TOP)
                continue;
            out->top_finding[band->finding]++;
            tops++;
        }
    }
    for (int kind = 0; kind < 4; kind++) {
        out->finding[kind] = share(out->finding[kind], (double)(count - out->failed));
        out->band_finding[kind] = share(out->band_finding[kind], bands);
        out->top_finding[kind] = share(out->top_finding[kind], tops);
    }
}

static void score_naive(const struct pair_score *scores, size_t count, struct family_score *out)
{
    double hit = 0.0, all = 0.0, top = 0.0, tops = 0.0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < FAMILY_SPEEDS; k++) {
            if (!known(&scores[i].naive[k]))
                continue;
            const double ok = holds(&scores[i].naive[k], scores[i].naive_truth[k]) ? 1.0 : 0.0;
            all++;
            hit += ok;
            tops += k == TOP ? 1.0 : 0.0;
            top += k == TOP ? ok : 0.0;
        }
    out->naive_top = share(top, tops);
    out->naive_all = share(hit, all);
}

void score_family(const struct pair_score *scores, size_t count, struct family_score *out)
{
    memset(out, 0, sizeof *out);
    out->pairs = count;
    for (size_t i = 0; i < count; i++) {
        out->failed += scores[i].compared ? 0 : 1;
        out->ms_model += 1e3 * scores[i].seconds_model / (double)count;
        out->ms_compare += 1e3 * scores[i].seconds_compare / (double)count;
    }
    score_bands(scores, count, out);
    score_simultaneous(scores, count, out);
    score_ratio(scores, count, out);
    score_widths(scores, count, out);
    score_findings(scores, count, out);
    score_naive(scores, count, out);
}

bool score_passes(const struct family *family, const struct family_score *score, const char **why)
{
    const double slack = 2.0 * score->covered_error;
    const double least = family->demand == DEMAND_STRICT ? 0.93 : 0.90;
    const double most = family->demand == DEMAND_STRICT ? 0.98 : 1.0;
    const double chance = 2.0 * sqrt(0.025 * 0.975 / (double)score->pairs);
    const double wrong =
        family->ratio < 1.0 ? score->finding[FINDING_RAISED]
                            : fmax(score->finding[FINDING_RAISED], score->finding[FINDING_LOWERED]);
    *why = "pairs that could not be compared";
    if (score->failed > 0)
        return false;
    *why = "covers too little";
    if (!(score->covered + slack >= least))
        return false;
    *why = "covers too much: wider than it need be";
    if (!(score->covered - slack <= most))
        return false;
    *why = "finds what is not there";
    return family->demand == DEMAND_BLIND || wrong <= 0.025 + chance;
}
