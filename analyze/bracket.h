/* bracket.h - bands without any knowledge of the thermostat: an interval that covers both ends. */
#ifndef SEARUN_BRACKET_H
#define SEARUN_BRACKET_H

#include "evidence.h"

/* Between a thermostat that holds the reading whatever the sea does (0 K per K) and one wide open
 * (1 K per K) the change can be anything; so can stored heat count in full or hardly. Fills
 * engine->bands (change, coolant, df, finding) with intervals that cover all of it, by JCGM 100.
 * Simultaneous intervals by Bonferroni's inequality. `load_u` relative, `sea_u` K, `sender_u` K,
 * `lag` s. */
struct bracket_setup {
    double level, reference_sea;
    double load_u, sea_u, sender_u, lag;
};
void bracket_bands(const struct evidence *evidence, const struct bracket_setup *setup,
                   struct engine_answer *engine);

#endif
