/* aftercare.c - ticks and data of the checklist taken together. */
#include "aftercare.h"

#include <string.h>

#include "facts.h"
#include "rules.h"

static const struct {
    const char *key, *words;
} states[] = {
    [CHECK_NOT_RECORDED] = {"not_recorded", "not recorded"},
    [CHECK_TICKED] = {"ticked", "ticked"},
    [CHECK_CONFIRMED] = {"confirmed", "confirmed by the data"},
};

const char *check_state_key(enum check_state state)
{
    return states[state].key;
}

const char *check_state_words(enum check_state state)
{
    return states[state].words;
}

bool aftercare_seen(const struct engine_answer *engine, enum check_item item)
{
    switch (check_evidence(item)) {
    case CHECK_BY_WARMED:
        return engine->warmups.count >= 1;
    case CHECK_BY_COOLED:
        return engine->warmups.cooled;
    case CHECK_BY_WARMED_AGAIN:
        return engine->warmups.count >= 2;
    case CHECK_BY_HALF_HOUR:
        return engine->warmups.underway >= rules.warmup.underway;
    case CHECK_BY_STEADY:
    case CHECK_BY_NONE:
        break;
    }
    return false;
}

enum check_state aftercare_state(const struct answer *answer, enum check_item item)
{
    size_t seen = 0;
    for (size_t e = 0; e < answer->engine_count; e++)
        seen += aftercare_seen(&answer->engines[e], item);
    if (seen > 0 && seen == answer->engine_count)
        return CHECK_CONFIRMED;
    return answer->checklist.ticks[item].state == TICK_GIVEN ? CHECK_TICKED : CHECK_NOT_RECORDED;
}

bool aftercare_told(const struct answer *answer)
{
    for (size_t i = 0; i < answer->run_count; i++) {
        const struct run_summary *run = &answer->runs[i];
        if (run->side == SIDE_AFTER && run->facts != NULL &&
            strcmp(facts_get(run->facts, FACT_RUN, 0, "purpose"), "after service") == 0)
            return true;
    }
    return checklist_any(&answer->checklist);
}
