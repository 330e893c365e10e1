/* model_facts.h - what people would have entered about a scenario: the plate values, not the
 * truth. */
#ifndef SEARUN_SIMULATED_MODEL_FACTS_H
#define SEARUN_SIMULATED_MODEL_FACTS_H

#include "boat.h"
#include "facts.h"

/* Adds the facts of boat, engines and run. `purpose`: "before", "after" or "other". Free the facts
 * in every case. */
enum status model_facts(const struct boat_scenario *scenario, const char *purpose,
                        struct facts *facts, struct complaint *complaint);

#endif
