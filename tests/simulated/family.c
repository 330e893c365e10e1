/* family.c - see family.h. Bounds of the draws are judgement, not measurement: no source. */
#include "family.h"

#include <math.h>
#include <string.h>

#define DAY (24 * 3600)

const double family_speed[FAMILY_SPEEDS] = {1000, 1400, 1800, 2200, 2500, 2800};

/* --- drawing a boat */

static void vary(struct random *random, double *value, double share)
{
    *value *= random_uniform(random, 1.0 - share, 1.0 + share);
}

static void draw_exchanger(struct boat_engine *engine, struct random *random)
{
    vary(random, &engine->rated_heat, 0.06);
    vary(random, &engine->coolant_film, 0.15);
    vary(random, &engine->raw_film, 0.10);
    vary(random, &engine->coolant_flow, 0.15);
    vary(random, &engine->raw_flow, 0.15);
    engine->coolant_power = random_uniform(random, 0.70, 0.85);
    engine->raw_power = random_uniform(random, 0.50, 0.80);
    engine->friction_share = random_uniform(random, 0.05, 0.12);
    engine->heat_lean = random_uniform(random, 0.15, 0.35);
    engine->heat_follow = random_uniform(random, 0.9, 1.0);
    engine->room_loss = random_uniform(random, 0.01, 0.03);
}

static void draw_store(struct boat_engine *engine, struct random *random)
{
    engine->settling = random_uniform(random, 70, 110);
    engine->deep_share = random_uniform(random, 0.2, 0.5);
    engine->deep_settling = random_uniform(random, 40, 90);
    engine->deep_heat = random_uniform(random, 0.05, 0.2);
    engine->initial = random_uniform(random, 45, 75);
}

static void draw_thermostat(struct boat_engine *engine, struct random *random)
{
    engine->opens += random_uniform(random, -1.5, 1.5);
    engine->full += random_uniform(random, -1.5, 1.5);
    engine->opening = OPENING_CURVED;
    engine->opening_exponent = random_uniform(random, 0.8, 1.25);
    engine->thermostat_lag = random_uniform(random, 4, 15);
    engine->hysteresis = random_uniform(random, 0.0, 0.6);
}

void family_draw_engine(struct boat_engine *engine, struct random *random)
{
    boat_engine_default(engine);
    draw_exchanger(engine, random);
    draw_store(engine, random);
    draw_thermostat(engine, random);
    engine->coolant.offset = 0.5 * random_normal(random);
    engine->coolant.lag = random_uniform(random, 2, 8);
    engine->fouling = random_uniform(random, 0.0, 0.15);
}

static void draw_weather(struct boat_scenario *scenario, struct random *random)
{
    scenario->noise.shape = (enum boat_noise_shape)(random_word(random) % 3);
    scenario->noise.sd = random_uniform(random, 0.01, 0.025);
    scenario->noise.period = random_uniform(random, 12, 60);
    scenario->hold_load = random_uniform(random, 0.005, 0.01);
    scenario->throttle_sd = random_uniform(random, 8, 15);
    scenario->sea_sender.offset = 0.3 * random_normal(random);
}

/* The fouling with which the open rise at the top of the ladder is that many times what it is
 * now. */
static double fouling_for(const struct boat_engine *engine, double times)
{
    struct boat_engine fouled = *engine;
    const double wanted = times * boat_open_rise(engine, family_speed[FAMILY_SPEEDS - 1], 1.0);
    double low = 0.0, high = 10.0;
    for (int i = 0; i < 60; i++) {
        fouled.fouling = 0.5 * (low + high);
        if (boat_open_rise(&fouled, family_speed[FAMILY_SPEEDS - 1], 1.0) < wanted)
            low = fouled.fouling;
        else
            high = fouled.fouling;
    }
    return 0.5 * (low + high);
}

/* --- drawing its runs */

static void draw_run(const struct family *family, struct boat_scenario *run, enum family_side side,
                     struct random *random)
{
    run->seed = random_word(random);
    run->sea = family->sea[side] + random_uniform(random, -0.4, 0.4);
    run->air = run->sea + random_uniform(random, -3, 4);
    run->wind_from = random_uniform(random, 0, 360);
    run->wind_load = random_uniform(random, 0.005, 0.02);
    run->day_load = exp(family->day_sd * random_normal(random));
    run->sea_sender.offset += 0.1 * random_normal(random);
    if (side == FAMILY_AFTER)
        run->start_unix += 40 * DAY;
    if (run->engine_count > 1) /* two engines never share the load alike */
        for (size_t i = 0; i < run->engine_count; i++)
            run->engine[i].load_factor *= exp(0.005 * random_normal(random));
    boat_add_warm_up(run, 120, 180);
    boat_add_ladder(run, family_speed, FAMILY_SPEEDS, family->hold, family->and_down);
}

static void draw_boat(const struct family *family, struct boat_scenario *boat,
                      struct random *random)
{
    boat_scenario_default(boat);
    strcpy(boat->name, "family");
    boat->engine_count = family->engines;
    for (size_t i = 0; i < family->engines; i++) {
        family_draw_engine(&boat->engine[i], random);
        if (!family->plate)
            boat->engine[i].plate_thermostat = "";
    }
    if (family->engines > 1) {
        strcpy(boat->engine[0].label, "port");
        strcpy(boat->engine[1].label, "starboard");
    }
    draw_weather(boat, random);
}

/* A number of the family's own, so that new rows leave the others alone (FNV-1a, 64 bits). */
static uint64_t number_of(const struct family *family)
{
    uint64_t number = UINT64_C(0xcbf29ce484222325);
    for (const char *key = family->key; *key != '\0'; key++)
        number = (number ^ (uint64_t)(unsigned char)*key) * UINT64_C(0x100000001b3);
    return number;
}

void family_draw(const struct family *family, uint64_t seed, uint64_t number,
                 struct family_pair *out)
{
    struct random random = random_start(seed + UINT64_C(1000003) * number, number_of(family));
    struct boat_scenario boat;
    draw_boat(family, &boat, &random);
    if (family->ratio < 1.0) /* served: hardly any fouling is left */
        boat.engine[0].fouling *= 0.3;
    const double before = fouling_for(&boat.engine[0], 1.0 / family->ratio);
    memset(out, 0, sizeof *out);
    out->family = family;
    out->runs = family->runs;
    out->control_engine = family->engines > 1 ? 1 : -1;
    for (int side = 0; side < FAMILY_SIDES; side++)
        for (size_t i = 0; i < family->runs; i++) {
            struct boat_scenario *run = &out->run[side][i];
            *run = boat;
            draw_run(family, run, (enum family_side)side, &random);
            run->start_unix += (int64_t)i * DAY;
            if (side == FAMILY_BEFORE)
                run->engine[0].fouling = before;
        }
    if (family->bend != NULL)
        family->bend(out, &random);
}

/* The load at which the sides are compared. Where load was recorded, or an engine was left alone,
 * it is that of both days together, and no reader of the runs can know how far it is from
 * nominal. */
static double compared_load(const struct family_pair *pair)
{
    const struct boat_engine *engine = &pair->run[FAMILY_BEFORE][0].engine[0];
    double sum = 0.0;
    if (!engine->has_fuel && !engine->has_load && pair->control_engine < 0)
        return 1.0;
    for (int side = 0; side < FAMILY_SIDES; side++)
        for (size_t i = 0; i < pair->runs; i++)
            sum += log(pair->run[side][i].day_load);
    return exp(sum / (double)(FAMILY_SIDES * pair->runs));
}

double family_true_change(const struct family_pair *pair, double rpm, double sea)
{
    double coolant[FAMILY_SIDES];
    const double load = compared_load(pair);
    for (int side = 0; side < FAMILY_SIDES; side++) {
        const struct boat_engine *engine = &pair->run[side][0].engine[0];
        coolant[side] = boat_steady_coolant(engine, rpm, sea, load / engine->load_factor);
    }
    return coolant[FAMILY_AFTER] - coolant[FAMILY_BEFORE];
}

double family_true_ratio(const struct family_pair *pair, double rpm)
{
    double rise[FAMILY_SIDES];
    for (int side = 0; side < FAMILY_SIDES; side++) {
        const struct boat_engine *engine = &pair->run[side][0].engine[0];
        rise[side] = boat_open_rise(engine, rpm, 1.0 / engine->load_factor);
    }
    return rise[FAMILY_AFTER] / rise[FAMILY_BEFORE];
}

/* --- what families are about */

typedef void change(struct boat_scenario *run, double amount);

static void both_sides(struct family_pair *pair, change *apply, double amount)
{
    for (int side = 0; side < FAMILY_SIDES; side++)
        for (size_t i = 0; i < pair->runs; i++)
            apply(&pair->run[side][i], amount);
}

static void after_only(struct family_pair *pair, change *apply, double amount)
{
    for (size_t i = 0; i < pair->runs; i++)
        apply(&pair->run[FAMILY_AFTER][i], amount);
}

static void set_step(struct boat_scenario *run, double step)
{
    run->engine[0].coolant.step = step;
    run->engine[0].coolant.noise = step < 0.05 ? 0.02 : 0.05;
}

static void set_fahrenheit(struct boat_scenario *run, double step)
{
    set_step(run, step);
    run->engine[0].coolant.fahrenheit = true;
}

static void step_fine(struct family_pair *pair, struct random *random)
{
    (void)random;
    both_sides(pair, set_step, 0.01);
}

static void step_coarse(struct family_pair *pair, struct random *random)
{
    (void)random;
    both_sides(pair, set_step, 1.0);
}

static void step_fahrenheit(struct family_pair *pair, struct random *random)
{
    (void)random;
    both_sides(pair, set_fahrenheit, 1.0);
}

static void set_fuel_error(struct boat_scenario *run, double error)
{
    run->engine[0].fuel.offset += error;
    run->engine[0].has_fuel = true;
}

/* A fuel sender that is 3 % off on this boat, and another 1 % from day to day. */
static void fuel_rate(struct family_pair *pair, struct random *random)
{
    both_sides(pair, set_fuel_error, 0.03 * random_normal(random));
    for (int side = 0; side < FAMILY_SIDES; side++)
        set_fuel_error(&pair->run[side][0], 0.010 * random_normal(random));
}

static void set_percent_load(struct boat_scenario *run, double error)
{
    run->engine[0].load_error += error;
    run->engine[0].has_load = true;
}

/* Reckoned from injection, with fuel and air of the day: 3 % off on this boat, 1.5 % from day to
 * day. */
static void percent_load(struct family_pair *pair, struct random *random)
{
    both_sides(pair, set_percent_load, 0.03 * random_normal(random));
    for (int side = 0; side < FAMILY_SIDES; side++)
        set_percent_load(&pair->run[side][0], 0.015 * random_normal(random));
}

static void spoil(struct boat_scenario *run, double share)
{
    run->engine[0].coolant.outliers = run->engine[0].speed.outliers = share;
    run->engine[0].coolant.outlier_size = 8.0;
    run->engine[0].speed.outlier_size = 300.0;
    run->engine[0].coolant.dropouts = 15.0;
    run->engine[0].coolant.dropout_length = 12.0;
    run->sea_sender.outliers = share;
    run->sea_sender.outlier_size = 4.0;
    run->sea_sender.dropouts = 6.0;
    run->sea_sender.dropout_length = 60.0;
}

static void dirty(struct family_pair *pair, struct random *random)
{
    both_sides(pair, spoil, random_uniform(random, 0.002, 0.01));
}

static void set_stagnant(struct boat_scenario *run, double share)
{
    run->sea_stagnant = share;
}

static void stagnant(struct family_pair *pair, struct random *random)
{
    both_sides(pair, set_stagnant, random_uniform(random, 0.05, 0.10));
}

static void add_sender_offset(struct boat_scenario *run, double kelvin)
{
    run->engine[0].coolant.offset += kelvin;
    run->engine[0].sender_words = "new sender, after the service";
}

static void exchanged_sender(struct family_pair *pair, struct random *random)
{
    after_only(pair, add_sender_offset, random_word(random) % 2 == 0 ? 1.0 : -1.0);
}

static void told_sender(struct family_pair *pair, struct random *random)
{
    exchanged_sender(pair, random);
    pair->told_sender_u = 1.0;
}

static void set_hysteresis(struct boat_scenario *run, double kelvin)
{
    run->engine[0].hysteresis = kelvin;
}

static void hysteresis(struct family_pair *pair, struct random *random)
{
    both_sides(pair, set_hysteresis, random_uniform(random, 1.5, 2.5));
}

static void set_settling(struct boat_scenario *run, double seconds)
{
    run->engine[0].settling = seconds;
}

static void slow_engine(struct family_pair *pair, struct random *random)
{
    both_sides(pair, set_settling, random_uniform(random, 150, 200));
}

static void quick_engine(struct family_pair *pair, struct random *random)
{
    both_sides(pair, set_settling, random_uniform(random, 35, 50));
}

static void set_propeller(struct boat_scenario *run, double factor)
{
    run->engine[0].load_factor = factor;
}

static void name_propeller(struct boat_scenario *run, double ignored)
{
    (void)ignored;
    run->engine[0].propeller_words = "four blades, one inch more pitch";
}

static void propeller_silent(struct family_pair *pair, struct random *random)
{
    after_only(pair, set_propeller, random_word(random) % 2 == 0 ? 1.05 : 1.0 / 1.05);
}

static void propeller_told(struct family_pair *pair, struct random *random)
{
    propeller_silent(pair, random);
    after_only(pair, name_propeller, 0.0);
}

static void set_throttle(struct boat_scenario *run, double rpm)
{
    run->throttle_sd = rpm;
}

static void uneven_throttle(struct family_pair *pair, struct random *random)
{
    both_sides(pair, set_throttle, random_uniform(random, 25, 40));
}

static void set_opening(struct boat_scenario *run, double law)
{
    run->engine[0].opening = (enum boat_opening)lround(law);
}

static void smooth_opening(struct family_pair *pair, struct random *random)
{
    (void)random;
    both_sides(pair, set_opening, OPENING_SMOOTH);
}

static void flow_opening(struct family_pair *pair, struct random *random)
{
    (void)random;
    both_sides(pair, set_opening, OPENING_FLOW);
}

/* Read by hand. Gauges are off by up to 3 K for good and read to 5 degF; infrared thermometers by
 * up to 2 K, half of the variance for good and half anew every run, and by the surface they see. */
static void set_hand(struct boat_scenario *run, double offset)
{
    run->hand = (struct boat_hand){
        .used = true,
        .offset = offset,
        .spread = 1.0,
        .step = 5.0,
        .fahrenheit = true,
        .sea_offset = run->sea_sender.offset,
    };
}

static void set_infrared(struct boat_scenario *run, double offset)
{
    set_hand(run, offset);
    run->hand.infrared = true;
    run->hand.step = 0.1;
    run->hand.fahrenheit = false;
}

static void gauge(struct family_pair *pair, struct random *random)
{
    both_sides(pair, set_hand, random_uniform(random, -3, 3));
}

static void other_gauge(struct family_pair *pair, struct random *random)
{
    gauge(pair, random);
    after_only(pair, set_hand, random_uniform(random, -3, 3));
    for (int side = 0; side < FAMILY_SIDES; side++)
        for (size_t i = 0; i < pair->runs; i++)
            pair->run[side][i].hand.words = side == FAMILY_BEFORE ? "as fitted" : "new gauge";
}

/* 1.1 K is about what an emissivity of 0.95 that is 0.03 off makes of 80 degC. */
static void infrared(struct family_pair *pair, struct random *random)
{
    const double half = 2.0 / sqrt(2.0);
    double lasting = random_uniform(random, -half, half);
    both_sides(pair, set_infrared,
               lasting + random_uniform(random, -half, half) + random_uniform(random, -1.1, 1.1));
    after_only(pair, set_infrared,
               lasting + random_uniform(random, -half, half) + random_uniform(random, -1.1, 1.1));
}

/* By gauge before, by an instrument network after. */
static void gauge_then_bus(struct family_pair *pair, struct random *random)
{
    gauge(pair, random);
    for (size_t i = 0; i < pair->runs; i++)
        pair->run[FAMILY_AFTER][i].hand.used = false;
}

/* --- the table */

enum { UP, BOTH };
enum { UNRATED, RATED };
enum { SENTENCES = RUN_LIKE_0183, FRAMES = RUN_LIKE_N2K };

/* clang-format off */
const struct family families[] = {
#define FAMILY(key, title, demand, before, after, ratio, hold, ladder, runs, day, bus, plate,      \
               engines, bend)                                                                      \
    {key, title, DEMAND_##demand, {before, after}, ratio, hold, ladder, runs, day,                 \
     (enum run_flavour)bus, plate, engines, bend},
#include "families.def"
#undef FAMILY
};
/* clang-format on */
const size_t family_count = sizeof families / sizeof *families;

const struct family *family_find(const char *key)
{
    for (size_t i = 0; i < family_count; i++)
        if (strcmp(families[i].key, key) == 0)
            return &families[i];
    return NULL;
}
