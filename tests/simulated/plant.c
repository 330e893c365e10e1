/* plant.c - see plant.h. */
#include "plant.h"

#include <math.h>

static double clamp(double x, double low, double high)
{
    return x < low ? low : x > high ? high : x;
}

/* Engines do not run slower than this share of rated speed; keeps flows and powers finite. */
static double relative_speed(const struct boat_engine *engine, double rpm)
{
    return fmax(rpm / engine->rated_rpm, 0.05);
}

/* Fuel at nominal load over rated fuel: friction and pumps with speed, the propeller with its
 * cube. */
static double nominal_fuel(const struct boat_engine *engine, double x)
{
    return engine->friction_share * x + (1.0 - engine->friction_share) * x * x * x;
}

double plant_fuel(const struct boat_engine *engine, double rpm, double load)
{
    return engine->rated_fuel * nominal_fuel(engine, relative_speed(engine, rpm)) * load;
}

double plant_percent_load(const struct boat_engine *engine, double rpm, double load)
{
    /* A full-load curve that is rather flat in torque: common practice, no source. */
    const double x = relative_speed(engine, rpm);
    const double full = engine->rated_fuel * x * (1.15 - 0.12 * x);
    return clamp(100.0 * plant_fuel(engine, rpm, load) / full, 0.0, 100.0);
}

double plant_heat(const struct boat_engine *engine, double rpm, double load)
{
    /* The part of the fuel that heats the jacket water is larger when little is burnt. */
    const double fuel = nominal_fuel(engine, relative_speed(engine, rpm));
    const double part = 1.0 + engine->heat_lean * (1.0 - fuel);
    return engine->rated_heat * fuel * part * pow(load, engine->heat_follow);
}

double plant_raw_flow(const struct boat_engine *engine, double rpm)
{
    return engine->raw_flow * relative_speed(engine, rpm); /* impeller pump: so much a turn */
}

static double counterflow(double units, double ratio)
{
    const double gap = 1.0 - ratio;
    if (fabs(gap) < 1e-9)
        return units / (1.0 + units);
    const double decay = exp(-units * gap);
    return (1.0 - decay) / (1.0 - ratio * decay);
}

double plant_conductance(const struct boat_engine *engine, double rpm, double flow_share)
{
    const double x = relative_speed(engine, rpm);
    const double share = clamp(flow_share, 0.0, 1.0);
    if (share < 1e-6)
        return 0.0;
    const double coolant = engine->coolant_flow * x * share;
    const double raw = plant_raw_flow(engine, rpm);
    const double resistance = engine->coolant_film * pow(x * share, -engine->coolant_power) +
                              engine->raw_film * pow(x, -engine->raw_power) + engine->wall +
                              engine->fouling;
    const double least = fmin(coolant, raw), most = fmax(coolant, raw);
    return least * counterflow(1.0 / (resistance * least), least / most);
}

double plant_taken(const struct boat_engine *engine, double rpm, double opening)
{
    const double lift = clamp(opening, 0.0, 1.0);
    switch (engine->opening) {
    case OPENING_LINEAR:
        return lift * plant_conductance(engine, rpm, 1.0);
    case OPENING_CURVED:
        return pow(lift, engine->opening_exponent) * plant_conductance(engine, rpm, 1.0);
    case OPENING_SMOOTH:
        return lift * lift * (3.0 - 2.0 * lift) * plant_conductance(engine, rpm, 1.0);
    case OPENING_FLOW:
        return plant_conductance(engine, rpm, lift);
    }
    return 0.0;
}

double plant_opening(const struct boat_engine *engine, double temperature)
{
    return clamp((temperature - engine->opens) / (engine->full - engine->opens), 0.0, 1.0);
}

double plant_store(const struct boat_engine *engine)
{
    struct boat_engine clean = *engine;
    clean.fouling = 0.0;
    return engine->settling * plant_conductance(&clean, engine->rated_rpm, 1.0);
}

double plant_room(double coolant, double air)
{
    return air + 0.25 * (coolant - air); /* a closed engine room: common practice, no source */
}

double boat_open_rise(const struct boat_engine *engine, double rpm, double load)
{
    return plant_heat(engine, rpm, load * engine->load_factor) /
           plant_conductance(engine, rpm, 1.0);
}

/* Heat left over at a coolant temperature: positive while it still has to rise. */
static double surplus(const struct boat_engine *engine, double rpm, double sea, double load,
                      double coolant)
{
    const double taken = plant_taken(engine, rpm, plant_opening(engine, coolant));
    const double lost = engine->room_loss * (coolant - plant_room(coolant, sea));
    return plant_heat(engine, rpm, load * engine->load_factor) - taken * (coolant - sea) - lost;
}

double boat_steady_coolant(const struct boat_engine *engine, double rpm, double sea, double load)
{
    double low = sea, high = sea + 1000.0; /* the surplus falls all the way: halve the span */
    for (int i = 0; i < 60; i++) {
        const double middle = 0.5 * (low + high);
        if (surplus(engine, rpm, sea, load, middle) > 0.0)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}
