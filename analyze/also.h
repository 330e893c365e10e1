/* also.h - what else was different in the same holds: oil, gearbox, exhaust, load ... Pure. */
#ifndef SEARUN_ALSO_H
#define SEARUN_ALSO_H

#include "answer.h"
#include "trial.h"

/* Fills engine->also for every quantity that both sides recorded, in every band of engine->bands,
 * from its used holds. The scatter between holds of one band and side is pooled over bands and
 * sides of a quantity; where no hold was repeated low and high are NaN. What is stated of an
 * instrument, and the steps of a coarse one, widen the intervals. `trials` are those of this
 * engine, each run once. */
void also_fill(const struct trial *trials, size_t trial_count, double level,
               struct engine_answer *engine);

#endif
