/* bracket.c - see bracket.h. */
#include "bracket.h"

#include <math.h>

#include "finding.h"
#include "stats.h"

#define SCATTER_USUAL                                                                              \
    0.02 /* of the rise above the sea, hold to hold: the 0.015 of ln K in thermostat.c, and what a
            speed off its mark adds, which a straight move of the reading leaves in (common
            practice, no source) */
#define SCATTER_DF 3.0  /* what that knowledge counts for */
#define SHARE_SLOPE 1.9 /* exponent of the open rise over speed, wide open */

/* One side of one band. */
struct corner {
    double low, high; /* degC at the reference sea, between the two extremes */
    double scatter;   /* K, of the mean */
    double df;
    double rise; /* K above the sea */
};

/* The reading of one look moved to the nominal speed, at most as if wide open and at least not. */
static void look_range(const struct evidence *evidence, const struct bracket_setup *setup,
                       const struct look *look, double *low, double *high)
{
    double rise = look->coolant - look->sea;
    double away = evidence->bands[look->band].ln_speed - look->ln_speed;
    double moves[3] = {setup->lag * look->slope, rise * (exp(SHARE_SLOPE * away) - 1),
                       setup->reference_sea - look->sea};
    *low = *high = look->coolant;
    for (int i = 0; i < 3; i++) {
        *low += fmin(moves[i], 0);
        *high += fmax(moves[i], 0);
    }
}

static struct corner side_of(const struct evidence *evidence, const struct bracket_setup *setup,
                             size_t band, enum side side)
{
    struct corner corner = {0};
    double values[ESTIMATE_HOLDS_MAX] = {0};
    size_t count = 0;
    for (size_t i = 0; i < evidence->count; i++) {
        const struct look *look = &evidence->looks[i];
        if (look->band != band || look->side != side)
            continue;
        double low, high;
        look_range(evidence, setup, look, &low, &high);
        corner.low += low;
        corner.high += high;
        corner.rise += look->coolant - look->sea;
        values[count++] = look->coolant - look->sea;
    }
    corner.low /= (double)count;
    corner.high /= (double)count;
    corner.rise /= (double)count;
    struct spread spread = stats_spread(values, count);
    double usual = SCATTER_USUAL * corner.rise;
    corner.df = SCATTER_DF + (double)count - 1;
    double own = count > 1 ? spread.sd * spread.sd * (double)(count - 1) : 0;
    corner.scatter = sqrt((own + SCATTER_DF * usual * usual) / corner.df / (double)count);
    return corner;
}

static struct interval around(double low, double high, double half)
{
    return (struct interval){0.5 * (low + high), low - half, high + half};
}

static void fill_side(struct band_side *side, const struct corner *corner, double half)
{
    side->coolant = around(corner->low, corner->high, half);
    side->thermostat = THERMOSTAT_UNKNOWN;
    side->open_rise = (struct interval){NAN, NAN, NAN};
}

static void fill_band(const struct bracket_setup *setup, const struct corner *corner, size_t bands,
                      struct band *band)
{
    const struct corner *b = &corner[SIDE_BEFORE], *a = &corner[SIDE_AFTER];
    double day[2] = {hypot(setup->load_u * b->rise, setup->sea_u),
                     hypot(setup->load_u * a->rise, setup->sea_u)};
    double u[5] = {b->scatter, a->scatter, day[0], day[1], setup->sender_u};
    double df[5] = {b->df, a->df, INFINITY, INFINITY, INFINITY};
    double all = 0;
    for (int i = 0; i < 5; i++)
        all = hypot(all, u[i]);
    band->df = stats_effective_df(u, df, 5);
    double half = stats_t(setup->level, band->df) * all;
    double wide = stats_t(1 - (1 - setup->level) / (double)bands, band->df) * all;
    band->change = around(a->low - b->high, a->high - b->low, half);
    band->simultaneous = around(a->low - b->high, a->high - b->low, wide);
    for (int side = 0; side < SIDE_COUNT; side++)
        fill_side(&band->side[side], &corner[side],
                  stats_t(setup->level, corner[side].df) * hypot(corner[side].scatter, day[side]));
    /* The load is never known here: a claim has to survive a shift of it. */
    double shift = FINDING_LOAD_SHIFT * fmax(b->rise, a->rise);
    band->finding = finding_of_change(around(a->low - b->high, a->high - b->low, half + shift));
}

void bracket_bands(const struct evidence *evidence, const struct bracket_setup *setup,
                   struct engine_answer *engine)
{
    for (size_t b = 0; b < evidence->band_count; b++) {
        struct corner corner[SIDE_COUNT];
        for (int side = 0; side < SIDE_COUNT; side++)
            corner[side] = side_of(evidence, setup, b, (enum side)side);
        fill_band(setup, corner, evidence->band_count, &engine->bands[b]);
    }
}
