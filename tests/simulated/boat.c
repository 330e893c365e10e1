/* boat.c - runs a scenario: helm and weather, then engines and cooling, then instruments. */
#include "boat.h"

#include <math.h>
#include <string.h>

#include "instruments.h"
#include "plant.h"

#define METRES_PER_DEGREE 111120.0 /* of latitude: 60 nautical miles of 1852 m */

enum stream { STREAM_WEATHER, STREAM_HELM, STREAM_SENSORS, STREAM_ENGINE };

static double clamp(double x, double low, double high)
{
    return x < low ? low : x > high ? high : x;
}

static double radians(double degrees)
{
    return degrees * M_PI / 180.0;
}

/* --- helm */

static void begin_leg(struct boat *boat, size_t leg)
{
    const struct boat_scenario *scenario = boat->scenario;
    boat->truth.leg = leg;
    boat->truth.hold = scenario->leg[leg].hold;
    boat->truth.gear = scenario->leg[leg].gear;
    boat->state.leg_ends += scenario->leg[leg].seconds;
    for (size_t i = 0; i < scenario->engine_count; i++) {
        struct boat_engine_state *state = &boat->state.engine[i];
        const double miss = scenario->throttle_sd * random_normal(&boat->state.helm);
        state->wanted = scenario->leg[leg].rpm + miss;
        state->load_hold = scenario->hold_load * random_normal(&boat->state.weather);
    }
}

static void steer(struct boat *boat, double step)
{
    const struct boat_scenario *scenario = boat->scenario;
    if (boat->truth.t >= boat->state.heading_until) {
        boat->state.heading_sign = -boat->state.heading_sign;
        boat->state.heading_until += scenario->leg_time;
    }
    /* Up wind 30 degrees off the bow one way, down wind the other; turns at 6 degrees a second. */
    const double wanted = scenario->wind_from + (boat->state.heading_sign > 0.0 ? 30.0 : 210.0);
    const double off = remainder(wanted - boat->truth.heading, 360.0);
    boat->truth.heading += clamp(off, -6.0 * step, 6.0 * step);
    boat->truth.heading = fmod(boat->truth.heading + 360.0, 360.0);
}

/* --- weather and load */

static double first_order(double x, double drive, double period, double step)
{
    const double keep = exp(-step / period);
    return keep * x + sqrt(1.0 - keep * keep) * drive;
}

static double swell(const struct boat_noise *noise, struct boat_engine_state *state, double step)
{
    struct random *random = &state->noise_stream;
    state->phase += 2.0 * M_PI * step / noise->period + 0.25 * sqrt(step) * random_normal(random);
    state->burst *= exp(-step / 15.0);
    if (random_uniform(random, 0.0, 1.0) < step / 180.0)
        state->burst += random_normal(random);
    return 1.2 * sin(state->phase) + 1.8 * state->burst;
}

static double load_noise(const struct boat_noise *noise, struct boat_engine_state *state,
                         double step)
{
    struct random *random = &state->noise_stream;
    switch (noise->shape) {
    case NOISE_SWELL:
        return noise->sd * swell(noise, state, step);
    case NOISE_HEAVY:
        state->noise = first_order(state->noise, random_student3(random), noise->period, step);
        break;
    case NOISE_AR1:
        state->noise = first_order(state->noise, random_normal(random), noise->period, step);
        break;
    }
    return noise->sd * state->noise;
}

static double load_now(struct boat *boat, size_t i, double step)
{
    const struct boat_scenario *scenario = boat->scenario;
    struct boat_engine_state *state = &boat->state.engine[i];
    const double head_wind = cos(radians(boat->truth.heading - scenario->wind_from));
    double load = scenario->engine[i].load_factor * scenario->day_load;
    load *= 1.0 + scenario->wind_load * head_wind;
    load *= 1.0 + state->load_hold + load_noise(&scenario->noise, state, step);
    if (boat->truth.gear == GEAR_NEUTRAL)
        load *= 0.5;
    return fmax(load, 0.05);
}

static void drift_sea(struct boat *boat, double step)
{
    const struct boat_scenario *scenario = boat->scenario;
    boat->state.sea_slow =
        first_order(boat->state.sea_slow, random_normal(&boat->state.weather), 900.0, step);
    boat->truth.sea = scenario->sea + scenario->sea_wander * boat->state.sea_slow;
    boat->truth.air = scenario->air + 0.3 * boat->state.sea_slow;
}

/* --- engine */

static void turn_engine(struct boat *boat, size_t i, double step)
{
    struct boat_engine_state *state = &boat->state.engine[i];
    struct boat_engine_truth *truth = &boat->truth.engine[i];
    state->rpm += (state->wanted - state->rpm) * (1.0 - exp(-step / 6.0));
    state->hunting = first_order(state->hunting, random_normal(&state->noise_stream), 9.0, step);
    truth->rpm = fmax(state->rpm + 2.5 * state->hunting, 100.0);
}

/* The wax follows with a lag; play between its way up and its way down. */
static void move_thermostat(const struct boat_engine *engine, struct boat_engine_state *state,
                            double step)
{
    const double lag = fmax(engine->thermostat_lag, 1e-3);
    state->sensed += (state->coolant - state->sensed) * (1.0 - exp(-step / lag));
    const double half = 0.5 * engine->hysteresis;
    state->play = clamp(state->play, state->sensed - half, state->sensed + half);
    state->opening = plant_opening(engine, state->play);
}

static void heat_engine(struct boat *boat, size_t i, double step)
{
    const struct boat_engine *engine = &boat->scenario->engine[i];
    struct boat_engine_state *state = &boat->state.engine[i];
    struct boat_engine_truth *truth = &boat->truth.engine[i];
    const double store = plant_store(engine), deep = engine->deep_share * store;
    const double exchanged = deep / engine->deep_settling * (state->deep - state->coolant);
    const double straight = (1.0 - engine->deep_heat) * truth->heat;
    const double taken =
        plant_taken(engine, truth->rpm, state->opening) * (state->coolant - boat->truth.sea);
    const double lost =
        engine->room_loss * (state->coolant - plant_room(state->coolant, boat->truth.sea));
    state->coolant += step * (straight + exchanged - taken - lost) / (store - deep);
    state->deep += step * (engine->deep_heat * truth->heat - exchanged) / deep;
    move_thermostat(engine, state, step);
    truth->raw_out = boat->truth.sea + taken / plant_raw_flow(engine, truth->rpm);
}

static void run_engine(struct boat *boat, size_t i, double step)
{
    const struct boat_engine *engine = &boat->scenario->engine[i];
    struct boat_engine_truth *truth = &boat->truth.engine[i];
    turn_engine(boat, i, step);
    truth->load_factor = load_now(boat, i, step);
    truth->fuel = plant_fuel(engine, truth->rpm, truth->load_factor);
    truth->load = plant_percent_load(engine, truth->rpm, truth->load_factor);
    truth->heat = plant_heat(engine, truth->rpm, truth->load_factor);
    heat_engine(boat, i, step);
    truth->coolant = boat->state.engine[i].coolant;
    truth->oil = boat->state.engine[i].deep;
    truth->opening = boat->state.engine[i].opening;
}

/* --- movement */

static double water_speed(const struct boat *boat)
{
    const double x = boat->truth.engine[0].rpm / boat->scenario->engine[0].rated_rpm;
    switch (boat->truth.gear) {
    case GEAR_AHEAD:
        return 4.6 * x + 4.0 * x * x * x * x; /* m/s: a hull that begins to lift; own figures */
    case GEAR_ASTERN:
        return -2.0 * x;
    case GEAR_NEUTRAL:
        break;
    }
    return 0.0;
}

static void move_boat(struct boat *boat, double step)
{
    struct boat_truth *truth = &boat->truth;
    truth->speed += (water_speed(boat) - truth->speed) * (1.0 - exp(-step / 8.0));
    const double north = truth->speed * cos(radians(truth->heading)) + boat->scenario->current;
    const double east = truth->speed * sin(radians(truth->heading));
    truth->over_ground = hypot(north, east);
    truth->course = fmod(atan2(east, north) * 180.0 / M_PI + 360.0, 360.0);
    truth->latitude += step * north / METRES_PER_DEGREE;
    truth->longitude += step * east / (METRES_PER_DEGREE * cos(radians(truth->latitude)));
    truth->depth = 31.0 + 9.0 * sin(truth->t / 310.0) + 3.0 * sin(truth->t / 47.0);
}

/* --- from first to last */

static void start_engine(struct boat *boat, size_t i)
{
    const struct boat_engine *engine = &boat->scenario->engine[i];
    struct boat_engine_state *state = &boat->state.engine[i];
    state->noise_stream = random_start(boat->scenario->seed, STREAM_ENGINE + i);
    state->rpm = boat->scenario->leg_count > 0 ? boat->scenario->leg[0].rpm : engine->idle_rpm;
    state->coolant = state->deep = state->sensed = state->play = engine->initial;
    state->opening = plant_opening(engine, engine->initial);
    state->phase = random_uniform(&state->noise_stream, 0.0, 2.0 * M_PI);
    state->noise = random_normal(&state->noise_stream);
    boat->truth.engine[i].coolant = engine->initial;
    boat->truth.engine[i].raw_out = boat->scenario->sea;
}

static void settle_all(struct boat *boat, double step)
{
    drift_sea(boat, step);
    steer(boat, step);
    for (size_t i = 0; i < boat->scenario->engine_count; i++)
        run_engine(boat, i, step);
    move_boat(boat, step);
}

void boat_start(struct boat *boat, const struct boat_scenario *scenario)
{
    memset(boat, 0, sizeof *boat);
    boat->scenario = scenario;
    boat->state.weather = random_start(scenario->seed, STREAM_WEATHER);
    boat->state.helm = random_start(scenario->seed, STREAM_HELM);
    boat->state.sensors = random_start(scenario->seed, STREAM_SENSORS);
    boat->state.sea_slow = random_normal(&boat->state.weather);
    boat->state.heading_sign = 1.0;
    boat->state.heading_until = scenario->leg_time * random_uniform(&boat->state.helm, 0.3, 1.0);
    boat->truth.sea = scenario->sea;
    boat->truth.air = scenario->air;
    boat->truth.heading = scenario->wind_from;
    boat->truth.latitude = scenario->latitude;
    boat->truth.longitude = scenario->longitude;
    for (size_t i = 0; i < scenario->engine_count; i++)
        start_engine(boat, i);
    if (scenario->leg_count > 0)
        begin_leg(boat, 0);
    settle_all(boat, 1e-6); /* values of the first instant, hardly moved on */
    instruments_start(boat);
    instruments_read(boat, 1e-6);
}

bool boat_advance(struct boat *boat)
{
    const double step = boat->scenario->step;
    const double t = boat->truth.t + step;
    while (t > boat->state.leg_ends - 1e-9) {
        if (boat->truth.leg + 1 >= boat->scenario->leg_count)
            return false;
        begin_leg(boat, boat->truth.leg + 1);
    }
    boat->truth.t = t;
    settle_all(boat, step);
    instruments_read(boat, step);
    return true;
}
