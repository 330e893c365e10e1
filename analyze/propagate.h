/* propagate.h - from holds and their errors to readings at the reference sea, draw by draw.
 *
 * One pass: thermostat, time constant and errors in; every hold becomes an open rise; slopes move
 * it to the nominal speed of its band; the mean of the band and side is solved for the reading. The
 * value of the estimate is the pass without errors, the interval comes from many passes with drawn
 * ones. What both sides share (thermostat, time constant) is drawn once for both.
 */
#ifndef SEARUN_PROPAGATE_H
#define SEARUN_PROPAGATE_H

#include "budget.h"
#include "evidence.h"
#include "thermostat.h"

/* Everything a pass needs beside the errors. Pointers are borrowed. */
struct propagation_setup {
    const struct evidence *evidence;
    const struct thermostat_fit *fit;
    size_t run_count;       /* of the answer */
    double reference_sea;   /* degC */
    double sea_u;           /* K, of the sensor against the sea */
    double load_u, load_df; /* relative per run */
    bool load_shared;       /* the same draw for all engines of a run (a day), not a sensor's own */
    double own_u;           /* relative per run: what an engine does not share with its control */
    double sender_u;        /* K on the side after; 0 if it is the same sender */
    double bow_u, wave_u;   /* how far the thermostat may be from a straight line */
    uint64_t seed;          /* of what engines share */
    uint64_t own_seed;      /* of what is this engine's own */
    /* The engine left alone: its pooled ln ratio is taken off; NULL if there is none. */
    const double *control_draws; /* as many as are made here */
    double control_value;
};

/* What a pass gives. */
struct pass {
    double reading[SIDE_COUNT][BANDS_MAX]; /* degC */
    double ln_rise[SIDE_COUNT][BANDS_MAX];
    double open[SIDE_COUNT][BANDS_MAX]; /* open fraction at the reading */
};

/* The pass without errors. */
void propagate_value(const struct propagation_setup *setup, struct pass *pass);

/* Draws kept, one column of `draws` numbers per quantity, band and side. Zero-initialise. */
struct propagation {
    size_t draws, bands;
    double *columns; /* owned */
    double *scratch; /* `draws` numbers, within columns */
};

enum status propagate_draws(const struct propagation_setup *setup, unsigned terms, size_t draws,
                            struct propagation *out);
void propagation_free(struct propagation *propagation);

/* The columns. */
double *propagation_reading(const struct propagation *p, enum side side, size_t band);
double *propagation_ln_rise(const struct propagation *p, enum side side, size_t band);
double *propagation_change(const struct propagation *p, size_t band);   /* K */
double *propagation_ln_ratio(const struct propagation *p, size_t band); /* after over before */
double *propagation_pooled(const struct propagation *p);                /* ln ratio, weighted */

#endif
