/* model_facts.c - see model_facts.h. */
#include "model_facts.h"

#include <stdio.h>

static const struct plain {
    enum fact_section section;
    const char *key, *value;
} plain[] = {
    {FACT_BOAT, "port", "Skerrow Harbour"},
    {FACT_ENGINE, "model", "Corrigal 6-230"},
    {FACT_ENGINE, "thermostat", MODEL_THERMOSTAT},
    {FACT_ENGINE, "normal_band", "71, 88"},
    {FACT_ENGINE, "alarm", "98"},
    {FACT_ENGINE, "coolant_sender", "sender in the thermostat housing"},
    {FACT_ENGINE, "propeller", "four blades, clean"},
};

static enum status set_engine(const struct boat_engine *engine, int number, struct facts *facts,
                              struct complaint *complaint)
{
    char rated[24];
    snprintf(rated, sizeof rated, "%.0f", engine->rated_rpm);
    enum status status = facts_set(facts, FACT_ENGINE, number, "label", engine->label, complaint);
    if (status == STATUS_OK)
        status = facts_set(facts, FACT_ENGINE, number, "rated_rpm", rated, complaint);
    for (size_t i = 0; i < sizeof plain / sizeof *plain && status == STATUS_OK; i++)
        if (plain[i].section == FACT_ENGINE)
            status = facts_set(facts, FACT_ENGINE, number, plain[i].key, plain[i].value, complaint);
    return status;
}

enum status model_facts(const struct boat_scenario *scenario, const char *purpose,
                        struct facts *facts, struct complaint *complaint)
{
    enum status status = facts_set(facts, FACT_BOAT, 0, "name", scenario->boat, complaint);
    if (status == STATUS_OK)
        status = facts_set(facts, FACT_RUN, 0, "purpose", purpose, complaint);
    for (size_t i = 0; i < sizeof plain / sizeof *plain && status == STATUS_OK; i++)
        if (plain[i].section == FACT_BOAT)
            status = facts_set(facts, FACT_BOAT, 0, plain[i].key, plain[i].value, complaint);
    for (size_t i = 0; i < scenario->engine_count && status == STATUS_OK; i++)
        status = set_engine(&scenario->engine[i], (int)i, facts, complaint);
    return status;
}
