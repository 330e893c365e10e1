/* agreed.h - what the facts of all runs say of one engine, taken together. */
#ifndef SEARUN_AGREED_H
#define SEARUN_AGREED_H

#include "answer.h"
#include "compare.h"

#define AGREED_PLATE_U 1.0 /* K, standard uncertainty of a thermostat's rating read off its plate */

struct agreed {
    double thermostat_start, thermostat_full; /* degC; NaN unknown */
    double thermostat_u;                      /* K */
    const char *thermostat_from;              /* "given", "run file" or "unknown" */
    double thermostat_shift;                  /* K between the sides by their facts, else 0 */
    double rated_rpm, normal_low, normal_high, alarm; /* NaN if not recorded */
    bool sender_changed;                              /* the facts name another coolant sender */
    bool propeller_changed;
    char label[64];
};

/* The first run that has a fact decides; where another differs a warning says so (facts_differ,
 * thermostat_differs, sender_exchanged). The options' thermostat goes before that of the files. */
struct agreed agree_on(struct answer *answer, const struct compare_options *options, int engine);

#endif
