/* model_facts.c - see model_facts.h. */
#include "model_facts.h"

#include <stdio.h>

struct entry {
    enum fact_section section;
    const char *key, *value;
};

/* Sets what is known: empty values are left out. */
static enum status set_all(const struct entry *entries, size_t count, int engine,
                           struct facts *facts, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < count && status == STATUS_OK; i++)
        if (entries[i].value != NULL && entries[i].value[0] != '\0')
            status = facts_set(facts, entries[i].section, engine, entries[i].key, entries[i].value,
                               complaint);
    return status;
}

static enum status set_engine(const struct boat_engine *engine, int number, struct facts *facts,
                              struct complaint *complaint)
{
    char rated[24];
    snprintf(rated, sizeof rated, "%.0f", engine->rated_rpm);
    const struct entry entries[] = {
        {FACT_ENGINE, "label", engine->label},
        {FACT_ENGINE, "model", "Corrigal 6-230"},
        {FACT_ENGINE, "rated_rpm", rated},
        {FACT_ENGINE, "thermostat", engine->plate_thermostat},
        {FACT_ENGINE, "normal_band", "71, 88"},
        {FACT_ENGINE, "alarm", "98"},
        {FACT_ENGINE, "coolant_sender", engine->sender_words},
        {FACT_ENGINE, "propeller", engine->propeller_words},
    };
    return set_all(entries, sizeof entries / sizeof *entries, number, facts, complaint);
}

enum status model_facts(const struct boat_scenario *scenario, const char *purpose,
                        struct facts *facts, struct complaint *complaint)
{
    const struct entry entries[] = {
        {FACT_BOAT, "name", scenario->boat},
        {FACT_BOAT, "port", "Skerrow Harbour"},
        {FACT_RUN, "purpose", purpose},
    };
    enum status status = set_all(entries, sizeof entries / sizeof *entries, 0, facts, complaint);
    for (size_t i = 0; i < scenario->engine_count && status == STATUS_OK; i++)
        status = set_engine(&scenario->engine[i], (int)i, facts, complaint);
    return status;
}
