/* aftercare.h - the checklist of a comparison, item by item: ticks and data taken together.
 * Pure. */
#ifndef SEARUN_AFTERCARE_H
#define SEARUN_AFTERCARE_H

#include "answer.h"

enum check_state { CHECK_NOT_RECORDED, CHECK_TICKED, CHECK_CONFIRMED };
const char *check_state_key(enum check_state state);   /* "not_recorded" "ticked" "confirmed" */
const char *check_state_words(enum check_state state); /* "not recorded", "confirmed by the data" */

/* Do the data of the runs after show the item for this engine? */
bool aftercare_seen(const struct engine_answer *engine, enum check_item item);

/* Confirmed if the data show it for every engine; else ticked, if somebody ticked it. */
enum check_state aftercare_state(const struct answer *answer, enum check_item item);

/* Whether there is a checklist to tell: a run recorded as one after a service, or any tick. */
bool aftercare_told(const struct answer *answer);

#endif
