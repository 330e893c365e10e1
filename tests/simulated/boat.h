/* boat.h - a boat with one or two engines whose cooling is known, for tests, benches and samples.
 *
 * A scenario says everything: the engines, the sea, the weather, the instruments and the timetable.
 * boat_start and boat_advance run it second by second, always alike for the same scenario and seed.
 * What really happened (struct boat_truth) stands beside what the instruments said (struct
 * boat_reading). boat_steady_coolant answers what the coolant would settle at, without noise: the
 * true change a comparison has to find is the difference of two such answers.
 *
 * The physics (plant.h) is deliberately not the analyzer's: conductance from resistances in series,
 * effectiveness and transfer units on finite flows, two heat stores, heat lost to the engine room.
 */
#ifndef SEARUN_SIMULATED_BOAT_H
#define SEARUN_SIMULATED_BOAT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "random.h"

#define BOAT_ENGINES_MAX 2
#define BOAT_LEGS_MAX 96
#define BOAT_TEXT_MAX 160

/* How the opening of the thermostat shares out the heat that the exchanger could take. */
enum boat_opening {
    OPENING_LINEAR, /* share of heat = opening: a valve trimmed to its exchanger */
    OPENING_CURVED, /* share of heat = opening to the power `opening_exponent` */
    OPENING_SMOOTH, /* an S-shaped wax curve between start and full */
    OPENING_FLOW    /* share of coolant flow = opening; the heat follows from the exchanger */
};

/* How the load wanders within a hold. */
enum boat_noise_shape {
    NOISE_AR1,   /* first-order, Gaussian */
    NOISE_SWELL, /* slow swell with a wandering period, and bursts (wakes, gusts) that die away */
    NOISE_HEAVY  /* first-order, driven by Student's t with 3 degrees of freedom */
};

struct boat_noise {
    enum boat_noise_shape shape;
    double sd;     /* standard deviation, relative to the load */
    double period; /* s: correlation time (AR1, HEAVY) or mean period of the swell */
};

/* What an instrument does to the value it measures. All in the unit of the quantity. */
struct boat_sender {
    double offset;   /* always the same */
    double lag;      /* s, first order */
    double noise;    /* standard deviation of each reading */
    double step;     /* resolution; 0: as fine as the message carries */
    bool fahrenheit; /* the step counts in degF */
    double outliers; /* share of readings that are wrong by `outlier_size` or more, either way */
    double outlier_size;
    double dropouts;       /* bursts of missing readings in an hour */
    double dropout_length; /* s, mean */
};

struct boat_engine {
    char label[32];
    /* speed and heat */
    double rated_rpm, idle_rpm;
    double rated_fuel; /* L/h at rated speed and nominal load */
    double rated_heat; /* kW into the jacket water there */
    double
        friction_share; /* share of the rated fuel that goes with speed; the rest with its cube */
    double heat_lean;   /* how much larger the heat share of the fuel is at no load, relative */
    double heat_follow; /* heat goes with load (at one speed) to this power */
    double load_factor; /* of this engine: propeller, hull; 1 is nominal */
    /* jacket water, raw water, exchanger; flows as heat capacity rates at rated speed */
    double coolant_flow, raw_flow;       /* kW/K */
    double coolant_film, raw_film, wall; /* K/kW: resistances at rated speed, clean */
    double coolant_power, raw_power;     /* film conductance goes with flow to this power */
    double fouling;                      /* K/kW added in series */
    double room_loss;                    /* kW/K from the engine to the engine room */
    /* heat stores */
    double settling;   /* s: whole heat store over the conductance, clean, open, at rated speed */
    double deep_share; /* of the store that lies deep (block, oil) */
    double deep_settling; /* s: time in which the deep store follows the jacket water */
    double deep_heat;     /* share of the heat that passes through the deep store */
    double initial;       /* degC of the coolant at the start */
    /* thermostat as it really is, not as rated */
    double opens, full; /* degC */
    enum boat_opening opening;
    double opening_exponent;
    double thermostat_lag; /* s */
    double hysteresis;     /* K between opening and closing */
    /* instruments */
    struct boat_sender speed, coolant, fuel, raw_out;
    bool has_load, has_fuel, has_raw_out;
    double load_error; /* of percent load, relative: what the engine's own reckoning is off */
    /* what people would enter about it; "" or NULL: nobody knows */
    const char *plate_thermostat; /* "71, 82" */
    const char *sender_words, *propeller_words;
};

enum boat_gear { GEAR_AHEAD, GEAR_NEUTRAL, GEAR_ASTERN };

struct boat_leg {
    double rpm;     /* wanted */
    double seconds; /* length */
    enum boat_gear gear;
    bool hold; /* meant as a steady hold of the ladder */
};

/* Somebody reads gauges and thermometers at the end of each hold and fills in a sheet. */
struct boat_hand {
    bool used;         /* nothing is recorded but the sheet */
    bool infrared;     /* the coolant by an infrared thermometer on the housing, not by the gauge */
    double offset;     /* K, of the gauge or the infrared thermometer, alike in every reading */
    double spread;     /* K, readings fall evenly within this to either side */
    double step;       /* what the gauge is read to ... */
    bool fahrenheit;   /* ... in degF, else in degC */
    double sea_offset; /* K, of the sea thermometer */
    bool each_held;    /* how long is written beside each reading, not once for all of them */
    const char *words; /* which gauge or infrared thermometer it is; NULL: not said */
};

struct boat_scenario {
    char name[48];
    char boat[48];
    uint64_t seed;
    int64_t start_unix; /* s since 1970 */
    size_t engine_count;
    struct boat_engine engine[BOAT_ENGINES_MAX];
    /* surroundings */
    double sea;        /* degC at the start */
    double sea_wander; /* K standard deviation of slow true changes */
    double air;        /* degC outside */
    double wind_speed; /* m/s */
    double wind_from;  /* degrees true */
    double current;    /* m/s towards north */
    /* load */
    double day_load;  /* factor of the day on the load of all engines; 1 is nominal */
    double wind_load; /* relative load added head to wind, taken off before it */
    double leg_time;  /* s between turns of the heading */
    double hold_load; /* standard deviation of the load from hold to hold, relative */
    struct boat_noise noise;
    double throttle_sd; /* rpm: how far from the mark the throttle is set, once a hold */
    /* sea sensor */
    struct boat_sender sea_sender;
    double sea_stagnant; /* share of (coolant - sea) that a stagnant sea chest adds with no flow */
    bool has_sea;
    struct boat_hand hand;
    /* timetable */
    size_t leg_count;
    struct boat_leg leg[BOAT_LEGS_MAX];
    /* where it is */
    double latitude, longitude; /* degrees */
    double step;                /* s of integration and of output, at most 1 */
};

struct boat_engine_truth {
    double rpm;
    double coolant, oil; /* degC */
    double opening;      /* 0 .. 1 */
    double heat;         /* kW into the jacket water */
    double fuel;         /* L/h */
    double load;         /* percent of what the engine can give at that speed */
    double raw_out;      /* degC */
    double load_factor;  /* everything that raises the load above nominal, multiplied */
};

struct boat_truth {
    double t; /* s since start */
    size_t leg;
    bool hold;
    enum boat_gear gear;
    double sea, air;
    double heading, speed; /* degrees true, m/s through the water */
    double latitude, longitude, over_ground, course, depth;
    struct boat_engine_truth engine[BOAT_ENGINES_MAX];
};

/* What instruments said at this instant; NaN: nothing. */
struct boat_engine_reading {
    double rpm, coolant, oil_temperature, oil_pressure, fuel, load, exhaust, boost;
    double gear_temperature, gear_pressure, voltage, hours, raw_out;
};

struct boat_reading {
    double sea, air, engine_room, air_pressure;
    double heading, speed, latitude, longitude, over_ground, course, depth;
    double fuel_level, battery_voltage, battery_current;
    struct boat_engine_reading engine[BOAT_ENGINES_MAX];
};

/* --- truth without running anything */

/* Coolant temperature in degC that the engine settles at, without noise: speed rpm, sea in degC,
 * load relative to nominal. Thermostat without hysteresis. */
double boat_steady_coolant(const struct boat_engine *engine, double rpm, double sea, double load);

/* Rise above the sea in K that the coolant would have with the thermostat wide open and nothing
 * lost to the engine room: heat over what the exchanger takes for each kelvin. */
double boat_open_rise(const struct boat_engine *engine, double rpm, double load);

/* --- scenarios */

/* An engine, and a scenario around it, with every parameter set to something plausible. The
 * timetable is empty. */
void boat_engine_default(struct boat_engine *engine);
void boat_scenario_default(struct boat_scenario *scenario);

/* Appends a leg. Further legs than BOAT_LEGS_MAX are our own bug. */
void boat_add_leg(struct boat_scenario *scenario, struct boat_leg leg);

/* Idles, goes out at a middling speed until the engine is warm. */
void boat_add_warm_up(struct boat_scenario *scenario, double idle_seconds, double out_seconds);

/* One hold at each speed, in that order; with `and_down` back again without repeating the last. */
void boat_add_ladder(struct boat_scenario *scenario, const double *rpm, size_t count,
                     double seconds, bool and_down);

/* Legs of random speed and length between low and high rpm, an ordinary outing. */
void boat_add_outing(struct boat_scenario *scenario, double seconds, double low, double high);

/* Length of the timetable in s. */
double boat_duration(const struct boat_scenario *scenario);

/* The named scenario, or false. Its seed, overrides and writers are the caller's business. */
bool boat_scenario_named(const char *name, struct boat_scenario *out);
size_t boat_scenario_count(void);
const char *boat_scenario_name(size_t index);
const char *boat_scenario_help(size_t index);

/* Sets "key=value" (a parameter of the scenario, or of all engines, or with "0." or "1." in front
 * of one engine). False with *why set to words if the key or value will not do. */
bool boat_override(struct boat_scenario *scenario, const char *assignment, const char **why);

/* Walks the keys that boat_override knows: NULL after the last. */
const char *boat_override_key(size_t index);

/* --- running */

struct boat {
    const struct boat_scenario *scenario; /* must outlive the boat */
    struct boat_truth truth;
    struct boat_reading reading;
    struct boat_state {
        struct random weather, helm, sensors; /* separate streams */
        double leg_ends;
        double sea_slow, heading_until, heading_sign;
        double chest; /* K that the sea chest is warmer than the sea */
        double sea_lag;
        double sea_silent_until;
        struct boat_engine_state {
            double wanted, rpm, hunting;
            double coolant, deep, sensed, play, opening;
            double load_hold, noise, phase, burst;
            double shown_coolant, shown_raw, exhaust, gear, hours;
            double silent_until;
            struct random noise_stream;
        } engine[BOAT_ENGINES_MAX];
    } state;
};

/* Sets the boat to the first instant; truth and reading are valid at once. */
void boat_start(struct boat *boat, const struct boat_scenario *scenario);

/* One step further. False when the timetable is over (nothing has changed then). */
bool boat_advance(struct boat *boat);

#endif
