/* exchanger.h - effectiveness and transfer units of a heat exchanger, and what a pattern points to.
 *
 * Pure. Effectiveness relations: Kays and London, Compact Heat Exchangers, closed forms; Incropera
 * and DeWitt, Fundamentals of Heat and Mass Transfer, table 11.3.
 */
#ifndef SEARUN_EXCHANGER_H
#define SEARUN_EXCHANGER_H

#include "answer.h"

enum exchanger_kind {
    EXCHANGER_COUNTERFLOW,
    EXCHANGER_PARALLEL,
    EXCHANGER_ONE_SHELL,     /* one shell pass, two, four ... tube passes */
    EXCHANGER_CROSS_UNMIXED, /* crossflow, both unmixed (approximation) */
    EXCHANGER_CROSS_MIN_MIXED,
    EXCHANGER_CROSS_MAX_MIXED,
    EXCHANGER_KIND_COUNT
};

/* Effectiveness for `ntu` >= 0 transfer units and 0 <= `ratio` <= 1 (Cmin/Cmax). NaN outside. */
double exchanger_effectiveness(enum exchanger_kind kind, double ntu, double ratio);

/* Transfer units for an effectiveness in 0 .. 1; NaN where the kind cannot reach it. */
double exchanger_ntu(enum exchanger_kind kind, double effectiveness, double ratio);

/* Fills engine->exchanger (rows per band from engine->also: raw_water_in, raw_water_out,
 * exchanger_coolant_in, exchanger_coolant_out, coolant_temperature stands in for the inlet) and
 * engine->hints: what the pattern may come from and what to inspect next, never a certainty.
 * Call after estimate_engines and after engine->also is filled. */
void exchanger_look(struct engine_answer *engine);

#endif
