/* budget.c - see budget.h. */
#include "budget.h"

#include <stdlib.h>

/* `better` is said where the state already has what `shrink` asks for. */
static const struct row {
    const char *key, *title, *shrink, *better;
} rows[BUDGET_TERMS] = {
    [BUDGET_SCATTER] = {"scatter", "Differences from hold to hold",
                        "run the ladder up and down, so that every speed is held twice",
                        "another pass of the ladder"},
    [BUDGET_LOAD] = {"load", "Load on the engine from day to day",
                     "record fuel rate or percent load, or run the trial on several days",
                     "run the trial on several days"},
    [BUDGET_THERMOSTAT] =
        {"thermostat", "Thermostat opening",
         "read the rating off the thermostat (start to open, full open) and enter "
         "it",
         "measure where the thermostat opens in hot water, or hold more speeds at "
         "high load"},
    [BUDGET_LAG] = {"lag", "Stored heat in holds that had not settled",
                    "hold each speed longer, 7 minutes or more", NULL},
    [BUDGET_SEA] = {"sea", "Seawater temperature",
                    "check the sea sensor against a thermometer in the raw-water inlet", NULL},
    [BUDGET_RESOLUTION] = {"resolution", "Step of the coolant sender, and reading it",
                           "record the temperature from a source with finer steps", NULL},
    [BUDGET_RPM] = {"rpm", "Speeds off the nominal ones",
                    "set the same speeds in both runs, with the tachometer on the mark", NULL},
    [BUDGET_SENDER] = {"sender", "Coolant sender changed between the runs",
                       "compare old and new sender in the same hot water", NULL},
    [BUDGET_CONTROL] = {"control", "The engine left alone",
                        "hold the same speeds with both engines, up and down", NULL},
};

static bool has_better(enum budget_id id, const struct budget_state *state)
{
    switch (id) {
    case BUDGET_SCATTER:
        return state->replicated;
    case BUDGET_LOAD:
        return state->load_recorded;
    case BUDGET_THERMOSTAT:
        return state->thermostat_rated;
    default:
        return false;
    }
}

struct budget_term budget_row(enum budget_id id, const struct budget_state *state)
{
    const struct row *row = &rows[id];
    return (struct budget_term){
        .key = row->key,
        .title = row->title,
        .shrink = has_better(id, state) ? row->better : row->shrink,
    };
}

static int by_cost(const void *left, const void *right)
{
    double a = ((const struct budget_term *)left)->kelvin;
    double b = ((const struct budget_term *)right)->kelvin;
    return (a < b) - (a > b);
}

void budget_sort(struct budget_term *terms, size_t count)
{
    qsort(terms, count, sizeof *terms, by_cost);
}
