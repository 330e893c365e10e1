/* finding.h - when a change counts as shown, and how it is said. Pure.
 *
 * The rule. The overall finding of an engine rests on the pooled ratio of the open rise after over
 * before, so that many bands do not give many chances of a false "lowered"; and because that ratio
 * leans on the thermostat's curve where the seas are apart, the change in the key band has to show
 * the same. A band's own finding rests on its own ratio.
 *   lowered, raised    the whole interval of the ratio lies on one side of 1, and overall that of
 *                      the change in the key band on the same side of 0.
 *                      Where neither fuel rate nor percent load tells the load and no engine was
 *                      left alone, a propeller, hull or cargo that nobody wrote down may do as
 *                      much: then the interval of the ratio must lie FINDING_LOAD_SHIFT beyond 1
 *   no change shown    no change lies inside, and the interval of the ratio lies within
 *                      1/FINDING_INFORMATIVE .. FINDING_INFORMATIVE: a larger change is ruled out
 *   cannot be shown    anything else
 */
#ifndef SEARUN_FINDING_H
#define SEARUN_FINDING_H

#include "evidence.h"
#include "words.h"

#define FINDING_INFORMATIVE 1.2
#define FINDING_LOAD_SHIFT 0.05 /* relative: what a change of propeller or hull does to the load */

/* The shift of load that a claim about this engine has to survive, from load_from and
 * control_ratio: FINDING_LOAD_SHIFT, or 0 where the runs tell the load. */
double finding_load_shift(const struct engine_answer *engine);

/* From a ratio of open rises. A NaN anywhere: cannot be shown. */
enum finding finding_of_ratio(struct interval ratio, double load_shift);

/* From a change in K where there is no ratio: never "no change shown". */
enum finding finding_of_change(struct interval change);

/* Overall, from the pooled ratio and the change in the key band. */
enum finding finding_overall(struct interval ratio, struct interval change, double load_shift);

/* What the words depend on beside the engine answer. */
struct finding_context {
    double level, reference_sea;
    const struct evidence *evidence;
    bool bracketed; /* the thermostat is not known and could not be fitted */
    bool open_weak; /* in no band was the thermostat nearly open on both sides */
    double load_u;  /* relative per run */
};

/* K/min of coolant in a hold above which the finding says that the engine had not settled. */
#define FINDING_DRIFT 0.5

/* The sentence of an engine with a key band, in the reader's units, into `out`: the change, what it
 * means, and what weakens it (one hold a side, a drifting one); with `explain` also what an
 * interval is. False and "" without. */
bool finding_sentence(const struct engine_answer *engine, double level, double sea,
                      const struct style *style, bool explain, char *out, size_t room);

/* Writes engine->sentence and engine->next from its numbers. Temperatures in degC, differences in
 * K. */
void finding_say(struct engine_answer *engine, const struct finding_context *context);

#endif
