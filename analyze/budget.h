/* budget.h - the terms of the uncertainty, their names, and what would make each smaller. */
#ifndef SEARUN_BUDGET_H
#define SEARUN_BUDGET_H

#include "answer.h"

enum budget_id {
    BUDGET_SCATTER,
    BUDGET_LOAD,
    BUDGET_THERMOSTAT,
    BUDGET_LAG,
    BUDGET_SEA,
    BUDGET_RESOLUTION,
    BUDGET_RPM,
    BUDGET_SENDER,
    BUDGET_CONTROL,
    BUDGET_TERMS
};
#define BUDGET_ALL ((1u << BUDGET_TERMS) - 1)

/* What the words for a term depend on. */
struct budget_state {
    bool thermostat_rated;
    bool load_recorded;
    bool replicated; /* the ladder was run more than once */
};

/* A row for the answer, `kelvin` still 0. */
struct budget_term budget_row(enum budget_id id, const struct budget_state *state);

/* Sorts rows by what they cost, largest first. */
void budget_sort(struct budget_term *rows, size_t count);

#endif
