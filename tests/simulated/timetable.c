/* timetable.c - what is driven: warm-up, ladders of holds, outings. */
#include <assert.h>

#include "boat.h"

void boat_add_leg(struct boat_scenario *scenario, struct boat_leg leg)
{
    assert(scenario->leg_count < BOAT_LEGS_MAX);
    scenario->leg[scenario->leg_count++] = leg;
}

void boat_add_warm_up(struct boat_scenario *scenario, double idle_seconds, double out_seconds)
{
    const struct boat_engine *engine = &scenario->engine[0];
    boat_add_leg(scenario, (struct boat_leg){engine->idle_rpm, idle_seconds, GEAR_NEUTRAL, false});
    boat_add_leg(scenario,
                 (struct boat_leg){0.64 * engine->rated_rpm, out_seconds, GEAR_AHEAD, false});
}

void boat_add_ladder(struct boat_scenario *scenario, const double *rpm, size_t count,
                     double seconds, bool and_down)
{
    for (size_t i = 0; i < count; i++)
        boat_add_leg(scenario, (struct boat_leg){rpm[i], seconds, GEAR_AHEAD, true});
    for (size_t i = count; and_down && i-- > 1;)
        boat_add_leg(scenario, (struct boat_leg){rpm[i - 1], seconds, GEAR_AHEAD, true});
}

void boat_add_outing(struct boat_scenario *scenario, double seconds, double low, double high)
{
    struct random random = random_start(scenario->seed, 1000);
    for (double t = 0.0; t < seconds && scenario->leg_count < BOAT_LEGS_MAX;) {
        const double length = 15.0 + random_wait(&random, 75.0);
        const double rpm = random_uniform(&random, low, high);
        boat_add_leg(scenario, (struct boat_leg){rpm, length, GEAR_AHEAD, false});
        t += length;
    }
}

double boat_duration(const struct boat_scenario *scenario)
{
    double seconds = 0.0;
    for (size_t i = 0; i < scenario->leg_count; i++)
        seconds += scenario->leg[i].seconds;
    return seconds;
}
