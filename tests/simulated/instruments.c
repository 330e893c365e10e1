/* instruments.c - see instruments.h. */
#include "instruments.h"

#include <math.h>

#include "plant.h"

/* Moves a first-order sender towards what it measures. */
static double follow(double shown, double value, double lag, double step)
{
    return lag > 0.0 ? value + (shown - value) * exp(-step / lag) : value;
}

static double round_to(double value, double step)
{
    return step > 0.0 ? round(value / step) * step : value;
}

static double resolve(const struct boat_sender *sender, double value)
{
    if (!sender->fahrenheit)
        return round_to(value, sender->step);
    return (round_to(value * 1.8 + 32.0, sender->step) - 32.0) / 1.8;
}

/* True while a burst of missing readings lasts; bursts begin at random. */
static bool silent(const struct boat_sender *sender, struct random *random, double t, double step,
                   double *silent_until)
{
    if (t < *silent_until)
        return true;
    if (random_uniform(random, 0.0, 1.0) >= sender->dropouts * step / 3600.0)
        return false;
    *silent_until = t + random_wait(random, sender->dropout_length);
    return true;
}

static double measure(const struct boat_sender *sender, struct random *random, double value)
{
    double shown = value + sender->offset + sender->noise * random_normal(random);
    if (random_uniform(random, 0.0, 1.0) < sender->outliers) {
        const double wrong = sender->outlier_size * random_uniform(random, 1.0, 3.0);
        shown += random_uniform(random, 0.0, 1.0) < 0.5 ? -wrong : wrong;
    }
    return resolve(sender, shown);
}

static void read_cooling(struct boat *boat, size_t i, double step)
{
    const struct boat_engine *engine = &boat->scenario->engine[i];
    const struct boat_engine_truth *truth = &boat->truth.engine[i];
    struct boat_engine_state *state = &boat->state.engine[i];
    struct boat_engine_reading *reading = &boat->reading.engine[i];
    struct random *random = &boat->state.sensors;
    state->shown_coolant = follow(state->shown_coolant, truth->coolant, engine->coolant.lag, step);
    state->shown_raw = follow(state->shown_raw, truth->raw_out, engine->raw_out.lag, step);
    reading->rpm = measure(&engine->speed, random, truth->rpm);
    reading->coolant = measure(&engine->coolant, random, state->shown_coolant);
    if (silent(&engine->coolant, random, boat->truth.t, step, &state->silent_until))
        reading->coolant = NAN;
    reading->raw_out =
        engine->has_raw_out ? measure(&engine->raw_out, random, state->shown_raw) : NAN;
}

static void read_load(struct boat *boat, size_t i)
{
    const struct boat_engine *engine = &boat->scenario->engine[i];
    const struct boat_engine_truth *truth = &boat->truth.engine[i];
    struct boat_engine_reading *reading = &boat->reading.engine[i];
    struct random *random = &boat->state.sensors;
    /* A fuel sender is off by a share of what it measures, not by litres. */
    struct boat_sender share = engine->fuel;
    share.offset *= truth->fuel;
    share.noise *= truth->fuel;
    reading->fuel = engine->has_fuel ? fmax(measure(&share, random, truth->fuel), 0.0) : NAN;
    const double load = truth->load * (1.0 + engine->load_error);
    reading->load = engine->has_load ? round(load + random_normal(random)) : NAN;
    if (reading->load > 100.0 || reading->load < 0.0)
        reading->load = fmin(fmax(reading->load, 0.0), 100.0);
}

/* Quantities that only make a run look like one: no figure here is a source for anything. */
static void read_rest(struct boat *boat, size_t i, double step)
{
    const struct boat_engine *engine = &boat->scenario->engine[i];
    const struct boat_engine_truth *truth = &boat->truth.engine[i];
    struct boat_engine_state *state = &boat->state.engine[i];
    struct boat_engine_reading *reading = &boat->reading.engine[i];
    struct random *random = &boat->state.sensors;
    const double x = truth->rpm / engine->rated_rpm;
    state->exhaust = follow(state->exhaust, 130.0 + 3.1 * truth->load, 25.0, step);
    state->gear = follow(state->gear, boat->truth.sea + 22.0 + 25.0 * x * x, 400.0, step);
    state->hours += step / 3600.0;
    reading->oil_temperature = round_to(truth->oil + 0.2 * random_normal(random), 0.1);
    const double pressure = 90.0 + 360.0 * (1.0 - exp(-2.5 * x)) - 1.1 * (truth->oil - 95.0);
    reading->oil_pressure = round_to(pressure + 2.0 * random_normal(random), 0.1);
    reading->exhaust = round_to(state->exhaust + 1.5 * random_normal(random), 0.1);
    reading->boost = round_to(fmax(1.35 * truth->load * x + random_normal(random), 0.0), 0.1);
    reading->gear_temperature = round_to(state->gear + 0.1 * random_normal(random), 0.1);
    reading->gear_pressure = round_to(1850.0 + 120.0 * x + 5.0 * random_normal(random), 0.1);
    reading->voltage = round_to(14.1 + 0.15 * x + 0.02 * random_normal(random), 0.01);
    reading->hours = state->hours;
}

/* A stagnant sea chest is warmed by the engine, and flushed by the raw water it draws. */
static void warm_chest(struct boat *boat, double step)
{
    const struct boat_engine *engine = &boat->scenario->engine[0];
    const double flow = boat->truth.engine[0].rpm / engine->rated_rpm;
    const double rise = boat->scenario->sea_stagnant * (1.0 - 0.7 * flow) *
                        (boat->truth.engine[0].coolant - boat->truth.sea);
    boat->state.chest = follow(boat->state.chest, rise, 240.0, step);
}

static void read_sea(struct boat *boat, double step)
{
    const struct boat_sender *sender = &boat->scenario->sea_sender;
    struct random *random = &boat->state.sensors;
    warm_chest(boat, step);
    boat->state.sea_lag =
        follow(boat->state.sea_lag, boat->truth.sea + boat->state.chest, sender->lag, step);
    boat->reading.sea = measure(sender, random, boat->state.sea_lag);
    if (silent(sender, random, boat->truth.t, step, &boat->state.sea_silent_until) ||
        !boat->scenario->has_sea)
        boat->reading.sea = NAN;
}

static void read_vessel(struct boat *boat)
{
    const struct boat_truth *truth = &boat->truth;
    struct boat_reading *reading = &boat->reading;
    struct random *random = &boat->state.sensors;
    reading->air = round_to(truth->air + 0.1 * random_normal(random), 0.1);
    const double room = plant_room(truth->engine[0].coolant, truth->air);
    reading->engine_room = round_to(room + 0.1 * random_normal(random), 0.1);
    reading->air_pressure = round_to(101.62 - 2e-5 * truth->t, 0.01);
    reading->heading = fmod(truth->heading + 0.7 * random_normal(random) + 360.0, 360.0);
    reading->speed = fmax(truth->speed + 0.05 * random_normal(random), 0.0);
    reading->latitude = truth->latitude + 5e-6 * random_normal(random);
    reading->longitude = truth->longitude + 5e-6 * random_normal(random);
    reading->over_ground = fmax(truth->over_ground + 0.04 * random_normal(random), 0.0);
    reading->course = fmod(truth->course + 0.8 * random_normal(random) + 360.0, 360.0);
    reading->depth = fmax(truth->depth + 0.1 * random_normal(random), 0.5);
    reading->fuel_level = fmax(72.0 - 0.0012 * truth->t, 0.0);
    reading->battery_voltage = round_to(13.9 + 0.02 * random_normal(random), 0.01);
    reading->battery_current = round_to(6.0 * exp(-truth->t / 1200.0) + 1.2, 0.1);
}

void instruments_read(struct boat *boat, double step)
{
    for (size_t i = 0; i < boat->scenario->engine_count; i++) {
        read_cooling(boat, i, step);
        read_load(boat, i);
        read_rest(boat, i, step);
    }
    read_sea(boat, step);
    read_vessel(boat);
}

void instruments_start(struct boat *boat)
{
    boat->state.sea_lag = boat->truth.sea;
    for (size_t i = 0; i < boat->scenario->engine_count; i++) {
        struct boat_engine_state *state = &boat->state.engine[i];
        state->shown_coolant = boat->truth.engine[i].coolant;
        state->shown_raw = boat->truth.engine[i].raw_out;
        state->exhaust = 130.0;
        state->gear = boat->truth.sea + 15.0;
        state->hours = 1840.0 + 3.5 * (double)i;
    }
}
