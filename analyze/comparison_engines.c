/* comparison_engines.c - which engines the runs have, and what their facts say. */
#include "comparison.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* What each engine number has in any run. */
struct numbers {
    struct engine_parts of[INSTANCE_MAX];
    size_t count; /* numbers with anything */
};

static void look_at_numbers(const struct comparison *c, struct numbers *numbers)
{
    *numbers = (struct numbers){0};
    for (size_t r = 0; r < c->answer->run_count; r++)
        for (int e = 0; e < INSTANCE_MAX; e++) {
            struct engine_parts parts = logbook_parts(&c->books[r], e);
            struct engine_parts *of = &numbers->of[e];
            numbers->count += (parts.speed || parts.coolant) && !of->speed && !of->coolant;
            of->speed = of->speed || parts.speed;
            of->coolant = of->coolant || parts.coolant;
        }
}

/* The only engine number that has the one and lacks the other; -1 for none or several. */
static int only_half(const struct numbers *numbers, bool speed)
{
    int found = -1;
    for (int e = 0; e < INSTANCE_MAX; e++) {
        bool half = numbers->of[e].speed == speed && numbers->of[e].coolant == !speed;
        if (half && found >= 0)
            return -1;
        found = half ? e : found;
    }
    return found;
}

/* One number that has only a speed and one that has only a coolant temperature, and no other, are
 * one engine under two numbers: makers count from 0 or from 1. With more engines nobody can
 * tell. */
static void join_halves(struct comparison *c, struct numbers *numbers)
{
    int speed = only_half(numbers, true), coolant = only_half(numbers, false);
    if (speed < 0 || coolant < 0)
        return;
    if (numbers->count > 2) {
        answer_warn(c->answer, "engine_numbers", -1,
                    "Engine %d has only a speed and engine %d only a coolant temperature: two "
                    "instruments may count the engines differently. Then speed and temperature of "
                    "different engines are mixed here. Map them in the logger's configuration and "
                    "replay the capture.",
                    speed, coolant);
        return;
    }
    answer_warn(
        c->answer, "engine_numbers", -1,
        "The speed is recorded for engine %d and the coolant temperature for engine %d, and "
        "there is no other engine: they are taken for one, as engine %d.",
        speed, coolant, coolant);
    for (size_t r = 0; r < c->answer->run_count; r++)
        logbook_renumber(&c->books[r], speed, coolant);
    look_at_numbers(c, numbers);
}

enum status comparison_find_engines(struct comparison *c)
{
    struct answer *answer = c->answer;
    struct numbers numbers;
    look_at_numbers(c, &numbers);
    join_halves(c, &numbers);
    answer->engines = calloc(numbers.count + 1, sizeof *answer->engines);
    c->agreed = calloc(numbers.count + 1, sizeof *c->agreed);
    c->facts = calloc(numbers.count + 1, sizeof *c->facts);
    if (!answer->engines || !c->agreed || !c->facts)
        return comparison_no_memory(c);
    for (int e = 0; e < INSTANCE_MAX; e++)
        if (numbers.of[e].speed || numbers.of[e].coolant)
            answer->engines[answer->engine_count++].instance = e;
    if (numbers.count == 0)
        answer_warn(answer, "no_engine", -1,
                    "No run has an engine speed or a coolant temperature: there is nothing to "
                    "compare. Look with `searun-analyze show` at what was recorded, and map "
                    "transducers in the logger's configuration.");
    return STATUS_OK;
}

void comparison_describe_engine(struct comparison *c, size_t e)
{
    struct engine_answer *engine = &c->answer->engines[e];
    struct agreed *agreed = &c->agreed[e];
    *agreed = agree_on(c->answer, c->options, engine->instance);
    snprintf(engine->label, sizeof engine->label, "%s", agreed->label);
    engine->rated_rpm = agreed->rated_rpm;
    engine->normal_low = agreed->normal_low;
    engine->normal_high = agreed->normal_high;
    engine->alarm = agreed->alarm;
    engine->propeller_changed = agreed->propeller_changed;
    engine->key_band = BANDS_MAX;
    engine->finding = FINDING_CANNOT_BE_SHOWN;
    engine->open_rise_ratio = engine->control_ratio = (struct interval){NAN, NAN, NAN};
    engine->thermostat_start = agreed->thermostat_start;
    engine->thermostat_full = agreed->thermostat_full;
    engine->thermostat_u = agreed->thermostat_u;
    engine->thermostat_from = agreed->thermostat_from;
    engine->lag = engine->lag_u = engine->load_u = NAN;
    engine->load_from = "assumed";
    diagnose_engine_facts(c->answer, engine->instance);
}
