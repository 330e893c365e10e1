/* naive.h - the obvious way, to be seen beside: compare all samples of both runs at one speed with
 * a t test, as if each second were independent. Its intervals are far too narrow; the bench shows
 * it. */
#ifndef SEARUN_SIMULATED_NAIVE_H
#define SEARUN_SIMULATED_NAIVE_H

#include "boat.h"

struct naive_sum {
    double count, mean, squares; /* Welford's sums of one speed */
};

/* Adds a reading of coolant to a sum. */
void naive_add(struct naive_sum *sum, double coolant);

/* True if an engine speed belongs to the band around `wanted`. */
bool naive_in_band(double rpm, double wanted);

/* 95 % interval of after minus before (Welch; hundreds of samples, so the normal quantile). False
 * with fewer than 60 samples on either side. */
bool naive_interval(const struct naive_sum *before, const struct naive_sum *after, double *low,
                    double *high);

#endif
