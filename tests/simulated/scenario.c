/* scenario.c - the named scenarios. All boats, engines and harbours are invented. */
#include <stdio.h>
#include <string.h>

#include "boat.h"

static const double speeds[] = {1000, 1400, 1800, 2200, 2500, 2800};
#define SPEED_COUNT (sizeof speeds / sizeof *speeds)

void boat_engine_default(struct boat_engine *engine)
{
    *engine = (struct boat_engine){
        .label = "main",
        .rated_rpm = 2800,
        .idle_rpm = 650,
        .rated_fuel = 43,
        .rated_heat = 95,
        .friction_share = 0.08,
        .heat_lean = 0.25,
        .heat_follow = 0.95,
        .load_factor = 1,
        .coolant_flow = 14,
        .raw_flow = 10.5,
        .coolant_film = 0.22,
        .raw_film = 0.30,
        .wall = 0.038,
        .coolant_power = 0.8,
        .raw_power = 0.65,
        .room_loss = 0.02,
        .settling = 90,
        .deep_share = 0.4,
        .deep_settling = 60,
        .deep_heat = 0.15,
        .initial = 60,
        .opens = 71,
        .full = 82,
        .opening = OPENING_LINEAR,
        .opening_exponent = 1,
        .thermostat_lag = 8,
        .hysteresis = 0.3,
        .speed = {.noise = 1.5, .step = 0.1},
        .coolant = {.lag = 4, .noise = 0.05, .step = 0.1},
        .fuel = {.noise = 0.01, .step = 0.1},
        .raw_out = {.lag = 4, .noise = 0.05, .step = 0.1},
        .plate_thermostat = "71, 82",
        .sender_words = "in the thermostat housing",
        .propeller_words = "four blades, clean",
    };
}

void boat_scenario_default(struct boat_scenario *scenario)
{
    memset(scenario, 0, sizeof *scenario);
    *scenario = (struct boat_scenario){
        .boat = "Tern's Reach",
        .seed = 1,
        .start_unix = 1726128000, /* 2024-09-12 08:00 UTC */
        .engine_count = 1,
        .sea = 16,
        .sea_wander = 0.15,
        .air = 17,
        .wind_speed = 6,
        .wind_from = 240,
        .current = 0.3,
        .day_load = 1,
        .wind_load = 0.015,
        .leg_time = 420,
        .hold_load = 0.008,
        .noise = {NOISE_AR1, 0.02, 20},
        .throttle_sd = 12,
        .sea_sender = {.lag = 30, .noise = 0.03, .step = 0.1},
        .has_sea = true,
        .latitude = 49.93,
        .longitude = -7.46,
        .step = 1,
        .hand = {.spread = 1, .step = 5, .fahrenheit = true},
    };
    boat_engine_default(&scenario->engine[0]);
    boat_engine_default(&scenario->engine[1]);
    snprintf(scenario->engine[1].label, sizeof scenario->engine[1].label, "starboard");
}

static void ladder(struct boat_scenario *scenario)
{
    boat_add_warm_up(scenario, 120, 180);
    boat_add_ladder(scenario, speeds, SPEED_COUNT, 300, false);
}

static void up_and_down(struct boat_scenario *scenario)
{
    boat_add_warm_up(scenario, 120, 180);
    boat_add_ladder(scenario, speeds, SPEED_COUNT, 300, true);
}

static void outing(struct boat_scenario *scenario)
{
    boat_add_warm_up(scenario, 120, 180);
    boat_add_outing(scenario, 2400, 900, 2800);
}

static void whole_day(struct boat_scenario *scenario)
{
    boat_add_warm_up(scenario, 120, 180);
    for (int i = 0; i < 4; i++)
        boat_add_ladder(scenario, speeds, SPEED_COUNT, 320, true);
}

/* Idle, out, six speeds up and four of them down again, home: about 41 minutes. */
static void trial(struct boat_scenario *scenario)
{
    static const struct boat_leg legs[] = {
        {650, 90, GEAR_NEUTRAL, false}, {850, 40, GEAR_ASTERN, false},
        {1800, 130, GEAR_AHEAD, false}, {1000, 180, GEAR_AHEAD, true},
        {1400, 180, GEAR_AHEAD, true},  {1800, 200, GEAR_AHEAD, true},
        {2200, 210, GEAR_AHEAD, true},  {2500, 240, GEAR_AHEAD, true},
        {2800, 360, GEAR_AHEAD, true},  {2500, 240, GEAR_AHEAD, true},
        {2200, 210, GEAR_AHEAD, true},  {1800, 180, GEAR_AHEAD, true},
        {1400, 180, GEAR_AHEAD, true},  {900, 40, GEAR_AHEAD, false},
    };
    for (size_t i = 0; i < sizeof legs / sizeof *legs; i++)
        boat_add_leg(scenario, legs[i]);
}

static void tern(struct boat_scenario *scenario)
{
    scenario->noise = (struct boat_noise){NOISE_SWELL, 0.015, 55};
    scenario->engine[0].coolant.offset = 0.2;
    scenario->engine[0].opens = 71.4; /* the plate says 71 and 82 */
    scenario->engine[0].full = 82.3;
    trial(scenario);
}

static void tern_before(struct boat_scenario *scenario)
{
    tern(scenario);
    scenario->sea = 19;
    scenario->air = 18;
    scenario->day_load = 1.006;
    scenario->engine[0].fouling = 0.14;
}

static void tern_after(struct boat_scenario *scenario)
{
    tern(scenario);
    scenario->start_unix = 1729756800; /* 2024-10-24 08:00 UTC */
    scenario->sea = 14;
    scenario->air = 11;
    scenario->wind_from = 290;
    scenario->day_load = 0.994;
}

static void sisters(struct boat_scenario *scenario)
{
    snprintf(scenario->boat, sizeof scenario->boat, "Two Sisters");
    scenario->engine_count = 2;
    scenario->step = 0.1;
    scenario->noise = (struct boat_noise){NOISE_AR1, 0.02, 25};
    snprintf(scenario->engine[0].label, sizeof scenario->engine[0].label, "port");
    for (size_t i = 0; i < 2; i++) {
        struct boat_engine *engine = &scenario->engine[i];
        engine->has_fuel = engine->has_load = true;
        engine->coolant.step = 0.01;
        engine->speed.step = 0.25;
    }
    scenario->engine[1].opens += 0.6; /* no two thermostats are alike */
    scenario->engine[1].full += 0.4;
    scenario->engine[1].fouling = 0.06; /* left alone in both runs */
    trial(scenario);
}

static void sisters_before(struct boat_scenario *scenario)
{
    sisters(scenario);
    scenario->start_unix = 1717225200; /* 2024-06-01 07:00 UTC */
    scenario->sea = 14.5;
    scenario->engine[0].fouling = 0.17;
}

static void sisters_after(struct boat_scenario *scenario)
{
    sisters(scenario);
    scenario->start_unix = 1719212400; /* 2024-06-24 07:00 UTC */
    scenario->sea = 16.5;
    scenario->wind_from = 180;
    scenario->day_load = 1.015;
}

static const struct named {
    const char *name, *help;
    void (*fill)(struct boat_scenario *);
} named[] = {
    {"ladder", "six holds of 5 minutes, 1000 to 2800 rpm, clean exchanger", ladder},
    {"up-and-down", "the same and down again: eleven holds", up_and_down},
    {"outing", "40 minutes with the throttle moved at random", outing},
    {"long", "four hours: four ladders up and down", whole_day},
    {"tern-before", "Tern's Reach with a fouled exchanger, sea 19 degC", tern_before},
    {"tern-after", "Tern's Reach after the service, sea 14 degC", tern_after},
    {"sisters-before", "Two Sisters, port exchanger fouled", sisters_before},
    {"sisters-after", "Two Sisters, port served, starboard left alone", sisters_after},
};

bool boat_scenario_named(const char *name, struct boat_scenario *out)
{
    for (size_t i = 0; i < boat_scenario_count(); i++) {
        if (strcmp(named[i].name, name) != 0)
            continue;
        boat_scenario_default(out);
        named[i].fill(out);
        snprintf(out->name, sizeof out->name, "%s", name);
        return true;
    }
    return false;
}

size_t boat_scenario_count(void)
{
    return sizeof named / sizeof *named;
}

const char *boat_scenario_name(size_t index)
{
    return index < boat_scenario_count() ? named[index].name : NULL;
}

const char *boat_scenario_help(size_t index)
{
    return index < boat_scenario_count() ? named[index].help : NULL;
}
