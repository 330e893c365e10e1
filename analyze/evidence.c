/* evidence.c - see evidence.h. */
#include "evidence.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "stats.h"

#define SHUT_MARGIN 2.0     /* standard uncertainties below the start of opening: shut */
#define SHUT_SLACK 1.0      /* K; a valve that is just opening leaks */
#define RATING_U 1.0        /* K, thermostat rating if its uncertainty is not known */
#define LOAD_SATURATED 99.5 /* percent; above it the number no longer follows the load */
#define APPROACH_LEAST 0.3  /* K; a smaller move leaves the valve within its play */
#define LAG_EXPONENT                                                                               \
    0.6 /* heat store over conductance: both flows of the exchanger follow speed, its
                               films follow the flows to 0.6 to 0.8 (common practice, no source) */
#define WARMING                                                                                    \
    0.15 /* of K taken up by block and oil at the start of a run, though the water is
                               at its temperature, ... */
#define WARMING_TIME 240.0 /* s, ... and how it dies away (common practice, no source) */
#define SPEED_POWER 1.9    /* ln K over ln speed (propeller law over the exchanger's flow) */
#define SAME_SPEED 0.5     /* rpm; bands closer than this are one */

void evidence_free(struct evidence *evidence)
{
    free(evidence->looks);
    free(evidence->runs);
    *evidence = (struct evidence){0};
}

/* What a hold lacks, or REFUSAL_NONE. */
static enum refusal lacking(const struct hold *hold, const struct estimate_facts *facts)
{
    if (!isfinite(hold->coolant))
        return REFUSAL_NO_COOLANT;
    if (!isfinite(hold->sea) || hold->sea >= hold->coolant)
        return REFUSAL_NO_SEA;
    double u = isfinite(facts->thermostat_u) ? facts->thermostat_u : RATING_U;
    if (hold->coolant < facts->thermostat_start - SHUT_MARGIN * u - SHUT_SLACK)
        return REFUSAL_THERMOSTAT_SHUT; /* never true where the start is NaN */
    return REFUSAL_NONE;
}

static void refuse_lacking(const struct estimate_facts *facts, struct engine_answer *engine)
{
    for (size_t i = 0; i < engine->hold_count; i++) {
        struct hold *hold = &engine->holds[i];
        if (hold->refusal == REFUSAL_NONE && isfinite(hold->band_rpm))
            hold->refusal = lacking(hold, facts);
        if (hold->refusal != REFUSAL_NONE)
            hold->open_rise = hold->open_fraction = NAN;
    }
}

static bool used(const struct hold *hold)
{
    return hold->refusal == REFUSAL_NONE && isfinite(hold->band_rpm) && hold->rpm > 0;
}

/* The bands of both sides with their holds, rising in rpm. Returns how many; BANDS_MAX * 2 at
 * most. */
struct tally_band {
    double rpm;
    size_t holds[SIDE_COUNT];
    double sea[SIDE_COUNT];
};

static int by_rpm(const void *left, const void *right)
{
    double a = ((const struct tally_band *)left)->rpm, b = ((const struct tally_band *)right)->rpm;
    return (a > b) - (a < b);
}

static struct tally_band *band_at(struct tally_band *bands, size_t *count, double rpm)
{
    for (size_t i = 0; i < *count; i++)
        if (fabs(bands[i].rpm - rpm) < SAME_SPEED)
            return &bands[i];
    if (*count == BANDS_MAX * 2)
        return NULL;
    bands[*count] = (struct tally_band){.rpm = rpm};
    return &bands[(*count)++];
}

static size_t tally_bands(const struct engine_answer *engine, struct tally_band *bands)
{
    size_t count = 0;
    for (size_t i = 0; i < engine->hold_count; i++) {
        const struct hold *hold = &engine->holds[i];
        struct tally_band *band = used(hold) ? band_at(bands, &count, hold->band_rpm) : NULL;
        if (!band)
            continue;
        band->holds[hold->side]++;
        band->sea[hold->side] += hold->sea;
    }
    qsort(bands, count, sizeof *bands, by_rpm);
    return count;
}

static void leave_uncompared(struct engine_answer *engine, double rpm, enum side missing)
{
    static const char *const names[] = {[SIDE_BEFORE] = "before", [SIDE_AFTER] = "after"};
    for (size_t i = 0; i < engine->uncompared_count; i++)
        if (fabs(engine->uncompared[i].rpm - rpm) < SAME_SPEED)
            return; /* said already */
    if (engine->uncompared_count == BANDS_MAX * 2)
        return;
    struct uncompared *row = &engine->uncompared[engine->uncompared_count++];
    row->rpm = rpm;
    row->missing = missing;
    snprintf(row->reason, sizeof row->reason,
             "no usable hold at this speed %s the service: hold %.0f rpm steadily for at least "
             "5 minutes to cover it",
             names[missing], rpm);
}

/* Splits the bands into shared ones and the others. */
static void share_bands(struct engine_answer *engine, struct evidence *evidence)
{
    struct tally_band all[BANDS_MAX * 2];
    size_t count = tally_bands(engine, all);
    for (size_t i = 0; i < count; i++) {
        for (int side = 0; side < SIDE_COUNT; side++)
            evidence->speeds[side] += all[i].holds[side] > 0;
        bool both = all[i].holds[SIDE_BEFORE] > 0 && all[i].holds[SIDE_AFTER] > 0;
        if (!both || evidence->band_count == BANDS_MAX) {
            leave_uncompared(engine, all[i].rpm,
                             all[i].holds[SIDE_BEFORE] > 0 ? SIDE_AFTER : SIDE_BEFORE);
            continue;
        }
        struct evidence_band *band = &evidence->bands[evidence->band_count++];
        band->rpm = all[i].rpm;
        for (int side = 0; side < SIDE_COUNT; side++) {
            band->holds[side] = all[i].holds[side];
            band->sea[side] = all[i].sea[side] / (double)all[i].holds[side];
        }
    }
}

static size_t run_index(struct evidence *evidence, const struct hold *hold)
{
    for (size_t i = 0; i < evidence->run_count; i++)
        if (evidence->runs[i].run == hold->run)
            return i;
    evidence->runs[evidence->run_count] =
        (struct evidence_run){.run = hold->run, .side = hold->side};
    return evidence->run_count++;
}

static size_t band_index(const struct evidence *evidence, double rpm)
{
    for (size_t i = 0; i < evidence->band_count; i++)
        if (fabs(evidence->bands[i].rpm - rpm) < SAME_SPEED)
            return i;
    return NO_BAND;
}

/* A coarse sender leaves up to step / sqrt(12); noise that moves it across its steps averages that
 * away (first harmonic of the rounding error under Gaussian dither). */
double evidence_reading_u(double step, double scatter)
{
    if (!(step > 0))
        return 0;
    double dither = fmax(scatter * scatter - step * step / 12, 0) / (step * step);
    return step / sqrt(12.0) * exp(-2 * M_PI * M_PI * dither);
}

double evidence_warming_u(double from, double to)
{
    return WARMING * exp(-0.5 * (from + to) / WARMING_TIME);
}

static bool is_by_hand(const struct estimate_facts *facts, const struct hold *hold)
{
    return facts->hand && facts->hand[hold->run].by_hand;
}

/* A reading by hand stands alone: nothing averages its rounding away. */
static void fill_hand_look(const struct hand_reading *hand, double step, struct look *look)
{
    look->reading_u = hypot(step / sqrt(12.0), hand->coolant_u);
    look->slope = look->slope_u = 0; /* see settle_hand_look */
}

static void fill_look(struct evidence *evidence, const struct estimate_facts *facts,
                      const struct hold *hold, struct look *look)
{
    double step = facts->coolant_step ? facts->coolant_step[hold->run] : 0;
    look->run = run_index(evidence, hold);
    look->side = hold->side;
    look->band = band_index(evidence, hold->band_rpm);
    look->coolant = hold->coolant;
    look->sea = hold->sea;
    look->slope = isfinite(hold->coolant_slope) ? hold->coolant_slope : 0;
    look->reading_u = evidence_reading_u(step, hold->coolant_sd);
    /* The slope of a line through readings unsure by u at both ends of the hold. */
    look->slope_u = look->reading_u * sqrt(12.0) / fmax(hold->end - hold->used_from, 60);
    look->warming_u = evidence_warming_u(hold->used_from, hold->end);
    if (is_by_hand(facts, hold))
        fill_hand_look(&facts->hand[hold->run], step, look);
    if (facts->hand) /* the speed may be read by hand where the coolant is not */
        look->warming_u =
            hypot(look->warming_u, SPEED_POWER * facts->hand[hold->run].speed_u / hold->rpm);
    evidence->runs[look->run].looks++;
    evidence->side_looks[look->side]++;
}

/* The hold before in the same run, used or not; NULL for the first. */
static const struct hold *hold_before(const struct engine_answer *engine, const struct hold *hold)
{
    const struct hold *last = NULL;
    for (size_t i = 0; i < engine->hold_count; i++) {
        const struct hold *other = &engine->holds[i];
        if (other->run == hold->run && other->start < hold->start && isfinite(other->coolant) &&
            (!last || other->start > last->start))
            last = other;
    }
    return last;
}

/* One reading does not show whether it still moved. What is left of the way from the hold before
 * dies away with the stored heat, at this time constant at most: half of that is taken, give or
 * take the other half. */
static void settle_hand_look(const struct engine_answer *engine, const struct hold *hold,
                             struct look *look)
{
    const struct hold *last = hold_before(engine, hold);
    double left = exp(-(hold->end - hold->start) / ESTIMATE_LAG);
    double moved = last ? hold->coolant - last->coolant : 0;
    look->slope = 0.5 * moved * left / (1 - left) / ESTIMATE_LAG;
    look->slope_u = fabs(look->slope);
}

/* The same temperature is rounded alike each time: readings of one speed in one run share what
 * rounding left, and their mean is no better for it. */
static void share_rounding(const struct estimate_facts *facts, const struct engine_answer *engine,
                           struct evidence *evidence, size_t i)
{
    struct look *look = &evidence->looks[i];
    const struct hold *hold = &engine->holds[look->hold];
    double step = facts->coolant_step ? facts->coolant_step[hold->run] / sqrt(12.0) : 0, n = 0;
    for (size_t k = 0; k < evidence->count; k++) {
        const struct hold *other = &engine->holds[evidence->looks[k].hold];
        n += other->run == hold->run && fabs(other->band_rpm - hold->band_rpm) < SAME_SPEED;
    }
    look->reading_u = sqrt(look->reading_u * look->reading_u + (n - 1) * step * step);
}

static void finish_hand_looks(const struct estimate_facts *facts,
                              const struct engine_answer *engine, struct evidence *evidence)
{
    for (size_t i = 0; i < evidence->count; i++) {
        const struct hold *hold = &engine->holds[evidence->looks[i].hold];
        if (!is_by_hand(facts, hold))
            continue;
        settle_hand_look(engine, hold, &evidence->looks[i]);
        share_rounding(facts, engine, evidence, i);
    }
}

/* Whether a reading was come to from below or from above: the mean of the hold before it in the
 * same run tells, used or not. The first of a run comes from a colder engine. */
static double approach_of(const struct engine_answer *engine, const struct hold *hold)
{
    const struct hold *last = hold_before(engine, hold);
    double moved = last ? hold->coolant - last->coolant : INFINITY;
    return fabs(moved) < APPROACH_LEAST ? 0 : moved > 0 ? 1 : -1;
}

static void refuse_unshared(struct engine_answer *engine, const struct evidence *evidence)
{
    for (size_t i = 0; i < evidence->count; i++)
        if (evidence->looks[i].band == NO_BAND)
            engine->holds[evidence->looks[i].hold].refusal = REFUSAL_NOT_SHARED;
}

static void fill_looks(const struct estimate_facts *facts, struct engine_answer *engine,
                       struct evidence *evidence)
{
    for (size_t i = 0; i < engine->hold_count; i++) {
        if (!used(&engine->holds[i]))
            continue;
        struct look *look = &evidence->looks[evidence->count++];
        look->hold = i;
        fill_look(evidence, facts, &engine->holds[i], look);
        look->approach = approach_of(engine, &engine->holds[i]);
    }
}

/* Speeds as logarithms about their middle. */
static void centre_speeds(const struct engine_answer *engine, struct evidence *evidence)
{
    double sum = 0, highest = -INFINITY;
    for (size_t i = 0; i < evidence->count; i++)
        sum += log(engine->holds[evidence->looks[i].hold].rpm);
    evidence->middle_rpm = exp(sum / (double)(evidence->count ? evidence->count : 1));
    for (size_t i = 0; i < evidence->count; i++) {
        struct look *look = &evidence->looks[i];
        look->ln_speed = log(engine->holds[look->hold].rpm / evidence->middle_rpm);
        highest = fmax(highest, look->ln_speed);
    }
    for (size_t i = 0; i < evidence->count; i++)
        evidence->looks[i].lag_factor = exp(LAG_EXPONENT * (highest - evidence->looks[i].ln_speed));
    for (size_t b = 0; b < evidence->band_count; b++)
        evidence->bands[b].ln_speed = log(evidence->bands[b].rpm / evidence->middle_rpm);
}

/* True for the first look of its run: the engine may be warm by its water only. */
static bool is_first(const struct engine_answer *engine, const struct evidence *evidence,
                     size_t look)
{
    const struct look *own = &evidence->looks[look];
    for (size_t i = 0; i < evidence->count; i++)
        if (evidence->looks[i].run == own->run &&
            engine->holds[evidence->looks[i].hold].start < engine->holds[own->hold].start)
            return false;
    return true;
}

/* Numbers the cells: looks of one band and approach, first ones apart. Beyond CELLS_MAX they share
 * the last. */
static void number_cells(const struct engine_answer *engine, struct evidence *evidence)
{
    double rpm[CELLS_MAX], approach[CELLS_MAX];
    bool first[CELLS_MAX];
    for (size_t i = 0; i < evidence->count; i++) {
        struct look *look = &evidence->looks[i];
        double own = engine->holds[look->hold].band_rpm;
        bool is_start = is_first(engine, evidence, i);
        size_t cell = 0;
        while (cell < evidence->cell_count &&
               (fabs(rpm[cell] - own) >= SAME_SPEED || approach[cell] * look->approach < 0 ||
                first[cell] != is_start))
            cell++;
        if (cell == evidence->cell_count && cell < CELLS_MAX) {
            rpm[cell] = own;
            approach[cell] = look->approach;
            first[cell] = is_start;
            evidence->cell_count++;
        }
        look->cell = cell < CELLS_MAX ? cell : CELLS_MAX - 1;
    }
}

static void count_replicates(const struct engine_answer *engine, struct evidence *evidence)
{
    for (size_t i = 0; i < evidence->count; i++)
        for (size_t j = 0; j < i; j++) {
            const struct look *a = &evidence->looks[i], *b = &evidence->looks[j];
            double apart = engine->holds[a->hold].band_rpm - engine->holds[b->hold].band_rpm;
            if (a->run == b->run && fabs(apart) < SAME_SPEED) {
                evidence->replicates++;
                break;
            }
        }
}

/* --- load */

static double load_of(const struct hold *hold, bool fuel)
{
    double value = fuel ? hold->fuel_rate : hold->load;
    return value > 0 && (fuel || value < LOAD_SATURATED) ? log(value) : NAN;
}

/* True if every look (fuel) or at least two looks of every run (percent load) have a value. */
static bool load_known(const struct engine_answer *engine, const struct evidence *evidence,
                       bool fuel)
{
    for (size_t run = 0; run < evidence->run_count; run++) {
        size_t with = 0;
        for (size_t i = 0; i < evidence->count; i++)
            with += evidence->looks[i].run == run &&
                    isfinite(load_of(&engine->holds[evidence->looks[i].hold], fuel));
        if (with < 2 || (fuel && with < evidence->runs[run].looks))
            return false;
    }
    return evidence->run_count > 0;
}

/* Residuals of ln(load) about one curve in ln(speed) for all runs; NaN where it is not known. */
static enum status load_residuals(const struct engine_answer *engine,
                                  const struct evidence *evidence, bool fuel, double *residual)
{
    struct regression curve = {0};
    double design[ESTIMATE_HOLDS_MAX * 3], y[ESTIMATE_HOLDS_MAX], beta[3];
    size_t rows = 0;
    size_t speeds =
        evidence->speeds[0] < evidence->speeds[1] ? evidence->speeds[0] : evidence->speeds[1];
    size_t columns = speeds >= 4 ? 3 : speeds >= 2 ? 2 : 1;
    for (size_t i = 0; i < evidence->count; i++) {
        double value = load_of(&engine->holds[evidence->looks[i].hold], fuel);
        if (!isfinite(value))
            continue;
        for (size_t c = 0; c < columns; c++)
            design[rows * columns + c] = pow(evidence->looks[i].ln_speed, (double)c);
        y[rows++] = value;
    }
    enum status status = regression_prepare(&curve, design, NULL, rows, columns);
    if (status == STATUS_OK) {
        regression_solve(&curve, y, beta);
        for (size_t i = 0; i < evidence->count; i++) {
            residual[i] = load_of(&engine->holds[evidence->looks[i].hold], fuel);
            for (size_t c = 0; c < columns; c++)
                residual[i] -= beta[c] * pow(evidence->looks[i].ln_speed, (double)c);
        }
    }
    regression_free(&curve);
    return status;
}

/* Percent load is coarse: only the mean of a run is taken from it. */
static void average_by_run(const struct evidence *evidence, double *residual)
{
    for (size_t run = 0; run < evidence->run_count; run++) {
        double sum = 0, count = 0;
        for (size_t i = 0; i < evidence->count; i++)
            if (evidence->looks[i].run == run && isfinite(residual[i])) {
                sum += residual[i];
                count++;
            }
        for (size_t i = 0; i < evidence->count; i++)
            if (evidence->looks[i].run == run)
                residual[i] = sum / count;
    }
}

static enum status fill_load(const struct engine_answer *engine, struct evidence *evidence)
{
    double residual[ESTIMATE_HOLDS_MAX];
    evidence->load_from = "assumed";
    bool fuel = load_known(engine, evidence, true);
    if (!fuel && !load_known(engine, evidence, false))
        return STATUS_OK;
    enum status status = load_residuals(engine, evidence, fuel, residual);
    if (status == STATUS_BAD_DATA)
        return STATUS_OK; /* too few speeds for a curve: as if it had not been recorded */
    if (status != STATUS_OK)
        return status;
    if (!fuel)
        average_by_run(evidence, residual);
    for (size_t i = 0; i < evidence->count; i++)
        evidence->looks[i].load = residual[i];
    evidence->load_from = fuel ? "fuel_rate" : "load";
    return STATUS_OK;
}

enum status evidence_gather(const struct answer *answer, const struct estimate_facts *facts,
                            struct engine_answer *engine, struct evidence *evidence,
                            struct complaint *complaint)
{
    *evidence = (struct evidence){.load_from = "assumed"};
    refuse_lacking(facts, engine);
    size_t count = 0;
    for (size_t i = 0; i < engine->hold_count; i++)
        count += used(&engine->holds[i]);
    if (count > ESTIMATE_HOLDS_MAX)
        return complain(
            complaint, STATUS_BAD_DATA,
            "%zu holds of one engine are more than the %d that can be compared: compare "
            "fewer runs at a time",
            count, ESTIMATE_HOLDS_MAX);
    evidence->looks = calloc(count + 1, sizeof *evidence->looks);
    evidence->runs = calloc(answer->run_count + 1, sizeof *evidence->runs);
    if (!evidence->looks || !evidence->runs)
        return complain(complaint, STATUS_MEMORY, "out of memory while comparing the holds");
    share_bands(engine, evidence);
    fill_looks(facts, engine, evidence);
    finish_hand_looks(facts, engine, evidence);
    centre_speeds(engine, evidence);
    number_cells(engine, evidence);
    count_replicates(engine, evidence);
    refuse_unshared(engine, evidence);
    if (fill_load(engine, evidence) != STATUS_OK)
        return complain(complaint, STATUS_MEMORY, "out of memory while comparing the holds");
    return STATUS_OK;
}
