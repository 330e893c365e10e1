/* fleet.c - see fleet.h: drawing boats, and their truth. */
#include "fleet.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#include "family.h"

#define DAY_S 86400.0
#define YEAR_DAYS 365.25
#define SEASON_FIRST 105.0 /* day of the year: the middle of April */
#define SEASON_DAYS 200.0  /* to the end of October */
#define ALARM_HORIZON 20000.0

static double clamp(double x, double low, double high)
{
    return x < low ? low : x > high ? high : x;
}

void fleet_plan_default(struct fleet_plan *plan)
{
    *plan = (struct fleet_plan){
        .seed = 1,
        .seasons = 10,
        .engines = 1,
        .flavour = RUN_LIKE_N2K,
        .growth = FLEET_LINEAR,
        .services = true,
        .plate = true,
        .day_sd = 0.015,
        .slow_sd = 0.01,
        .slow_days = 20,
        .restless = 0.05,
        .ladders = 0.12,
    };
}

/* --- calendar */

/* Start of a year by the mean year: days of a leap year do not matter here. 2010-01-01 UTC. */
static double year_start(int year)
{
    return 1262304000.0 + (year - 2010) * YEAR_DAYS * DAY_S;
}

static double season_start(const struct fleet_boat *boat, size_t season)
{
    return year_start(boat->first_year + (int)season) + SEASON_FIRST * DAY_S;
}

static double mean_hours(const struct fleet_boat *boat)
{
    double sum = 0;
    for (size_t i = 0; i < boat->plan.seasons; i++)
        sum += boat->season_hours[i];
    return sum / (double)boat->plan.seasons;
}

static double hours_of(const struct fleet_boat *boat, size_t season)
{
    return season < boat->plan.seasons ? boat->season_hours[season] : mean_hours(boat);
}

double fleet_hours_at(const struct fleet_boat *boat, int64_t unix_s)
{
    double hours = 0;
    for (size_t i = 0; i < 400 && (double)unix_s > season_start(boat, i); i++) {
        const double days = ((double)unix_s - season_start(boat, i)) / DAY_S;
        hours += hours_of(boat, i) * clamp(days / SEASON_DAYS, 0, 1);
    }
    return hours;
}

int64_t fleet_unix_at(const struct fleet_boat *boat, double hours)
{
    size_t season = 0;
    for (; season < 400 && hours > hours_of(boat, season); season++)
        hours -= hours_of(boat, season);
    const double share = clamp(hours / hours_of(boat, season), 0, 1);
    return (int64_t)(season_start(boat, season) + share * SEASON_DAYS * DAY_S);
}

/* --- truth */

static double grow(const struct fleet_fouling *law, double fouling, double hours)
{
    if (law->growth == FLEET_LINEAR)
        return fouling + law->rate * hours;
    return law->limit + (fouling - law->limit) * exp(-law->rate / law->limit * hours);
}

static bool restores(const struct fleet_service *service, size_t engine)
{
    return service->work != FLEET_ZINC && (service->engine < 0 || service->engine == (int)engine);
}

double fleet_fouling_at(const struct fleet_boat *boat, size_t engine, double hours)
{
    const struct fleet_fouling *law = &boat->fouling[engine];
    double fouling = law->start, at = 0;
    for (size_t i = 0; i < boat->service_count && boat->service[i].hours <= hours; i++) {
        if (!restores(&boat->service[i], engine))
            continue;
        fouling = grow(law, fouling, boat->service[i].hours - at);
        fouling *= 1.0 - boat->service[i].share;
        at = boat->service[i].hours;
    }
    return grow(law, fouling, hours - at);
}

struct boat_engine fleet_engine_at(const struct fleet_boat *boat, size_t engine, double hours)
{
    struct boat_engine out = boat->base.engine[engine];
    out.fouling = fleet_fouling_at(boat, engine, hours);
    return out;
}

double fleet_log_rise(const struct fleet_boat *boat, size_t engine, double hours, double rpm)
{
    const struct boat_engine then = fleet_engine_at(boat, engine, hours);
    return log(boat_open_rise(&then, rpm, 1.0));
}

bool fleet_by_hand(const struct fleet_boat *boat, size_t outing)
{
    const struct fleet_plan *plan = &boat->plan;
    const double half = season_start(boat, plan->seasons / 2) - 30 * DAY_S;
    return plan->hand == FLEET_BY_HAND ||
           (plan->hand == FLEET_HAND_THEN_BUS && (double)boat->outing[outing].start_unix < half);
}

/* How far off for good what is read at the last outing is, K. */
static double last_offset(const struct fleet_boat *boat, const struct boat_engine *engine)
{
    const bool hand = boat->outing_count > 0 && fleet_by_hand(boat, boat->outing_count - 1);
    return (hand ? boat->hand_offset : 0) +
           (hand && boat->plan.infrared ? 0 : engine->coolant.offset);
}

double fleet_reading(const struct fleet_boat *boat, size_t engine, double hours, double rpm,
                     double sea)
{
    const struct boat_engine then = fleet_engine_at(boat, engine, hours);
    return boat_steady_coolant(&then, rpm, sea, 1.0) + last_offset(boat, &then);
}

/* The fouling with which a sender that is off by `offset` shows that temperature; INFINITY if none
 * does. */
static double alarm_fouling(const struct boat_engine *engine, double offset, double rpm, double sea,
                            double alarm)
{
    struct boat_engine fouled = *engine;
    double low = 0, high = 5;
    for (int i = 0; i < 60; i++) {
        fouled.fouling = 0.5 * (low + high);
        if (boat_steady_coolant(&fouled, rpm, sea, 1.0) + offset < alarm)
            low = fouled.fouling;
        else
            high = fouled.fouling;
    }
    return high < 5 ? high : INFINITY;
}

double fleet_alarm_hours(const struct fleet_boat *boat, size_t engine, double from, double rpm,
                         double sea, double alarm)
{
    const struct fleet_fouling *law = &boat->fouling[engine];
    const double now = fleet_fouling_at(boat, engine, from);
    const struct boat_engine *clean = &boat->base.engine[engine];
    const double then = alarm_fouling(clean, last_offset(boat, clean), rpm, sea, alarm);
    double hours = (then - now) / law->rate;
    if (now >= then)
        return from;
    if (law->growth == FLEET_ASYMPTOTIC)
        hours = then < law->limit
                    ? law->limit / law->rate * log((law->limit - now) / (law->limit - then))
                    : INFINITY;
    return hours <= ALARM_HORIZON ? from + hours : INFINITY;
}

/* --- drawing the boat */

static void draw_senders(const struct fleet_plan *plan, struct boat_engine *engine)
{
    engine->has_fuel = plan->fuel;
    engine->coolant.step = plan->flavour == RUN_LIKE_N2K ? 0.01 : 0.1;
    engine->speed.step = plan->flavour == RUN_LIKE_N2K ? 0.25 : 1.0;
    engine->fuel.noise = 0.01;
    if (plan->gauge_step > 0) {
        engine->coolant.step = plan->gauge_step;
        engine->coolant.fahrenheit = plan->gauge_degf;
    }
    if (!plan->plate)
        engine->plate_thermostat = "";
}

/* Growth that takes the resistance to 0.06 to 0.22 K/kW in ten seasons if nothing is done. */
static void draw_fouling(struct fleet_boat *boat, size_t engine, struct random *random)
{
    struct fleet_fouling *law = &boat->fouling[engine];
    const double ten = 10 * mean_hours(boat);
    law->growth = boat->plan.growth;
    law->start = random_uniform(random, 0.0, 0.03);
    law->rate = random_uniform(random, 0.06, 0.22) / ten;
    law->limit = random_uniform(random, 0.08, 0.24);
    if (law->growth == FLEET_ASYMPTOTIC)
        law->rate = law->limit / (random_uniform(random, 0.1, 0.4) * ten);
}

static void draw_engines(struct fleet_boat *boat, struct random *random)
{
    for (size_t i = 0; i < boat->plan.engines; i++) {
        struct boat_engine *engine = &boat->base.engine[i];
        family_draw_engine(engine, random);
        engine->fouling = 0;
        draw_senders(&boat->plan, engine);
        boat->counter[i] = random_uniform(random, 200, 1500);
        draw_fouling(boat, i, random);
    }
    if (boat->plan.engines > 1) {
        strcpy(boat->base.boat, "Two Sisters");
        strcpy(boat->base.engine[0].label, "port");
        strcpy(boat->base.engine[1].label, "starboard");
    }
}

static void draw_waters(struct fleet_boat *boat, struct random *random)
{
    struct boat_scenario *base = &boat->base;
    boat->sea_mean = random_uniform(random, 12, 18);
    boat->sea_swing = random_uniform(random, 3, 6);
    base->noise.shape = (enum boat_noise_shape)(random_word(random) % 3);
    base->noise.sd = random_uniform(random, 0.01, 0.025);
    base->noise.period = random_uniform(random, 12, 60);
    base->hold_load = random_uniform(random, 0.005, 0.01);
    base->throttle_sd = random_uniform(random, 5, 15);
    base->sea_sender.offset = 0.3 * random_normal(random);
    boat->speed[0] = random_uniform(random, 1300, 1800);
    boat->speed[1] = random_uniform(random, 1900, 2200);
    boat->speed[2] = random_uniform(random, 2300, 2600);
}

/* --- drawing what was done to it */

static void add_service(struct fleet_boat *boat, enum fleet_work work, double unix_s, double share)
{
    assert(boat->service_count < FLEET_SERVICES_MAX);
    struct fleet_service *service = &boat->service[boat->service_count++];
    *service = (struct fleet_service){.work = work, .engine = -1, .share = share};
    service->unix_s = (int64_t)unix_s;
    service->hours = fleet_hours_at(boat, service->unix_s);
}

/* The winter after a season, or (one time in seven) the middle of it. */
static double service_time(const struct fleet_boat *boat, size_t season, struct random *random)
{
    const double day = random_uniform(random, 0, 7) < 1 ? random_uniform(random, 60, 140)
                                                        : random_uniform(random, 215, 330);
    return season_start(boat, season) + day * DAY_S;
}

static void draw_work(struct fleet_boat *boat, enum fleet_work work, double season,
                      struct random *random)
{
    const double scale = (double)boat->plan.seasons / 10;
    const size_t at = (size_t)(clamp(season * scale, 1, (double)boat->plan.seasons - 1) + 0.5);
    add_service(boat, work, service_time(boat, at - 1, random),
                work == FLEET_REPLACE ? 1.0 : random_uniform(random, 0.7, 0.95));
}

static void sort_services(struct fleet_boat *boat)
{
    for (size_t i = 1; i < boat->service_count; i++)
        for (size_t k = i; k > 0; k--) {
            struct fleet_service *a = &boat->service[k - 1], *b = &boat->service[k];
            if (a->unix_s <= b->unix_s)
                break;
            const struct fleet_service held = *a;
            *a = *b;
            *b = held;
        }
}

/* An acid clean, a replacement, or both; some boats see neither. Zincs every spring. */
static void draw_services(struct fleet_boat *boat, struct random *random)
{
    const double pick = random_uniform(random, 0, 1);
    if (boat->plan.services && (pick < 0.5 || pick >= 0.8))
        draw_work(boat, FLEET_CLEAN, random_uniform(random, 3.5, 6), random);
    if (boat->plan.services && pick >= 0.5)
        draw_work(boat, FLEET_REPLACE, random_uniform(random, pick < 0.8 ? 4 : 7.2, 8.4), random);
    if (boat->plan.late_service)
        add_service(boat, FLEET_CLEAN, season_start(boat, boat->plan.seasons - 1) - 60 * DAY_S,
                    random_uniform(random, 0.7, 0.95));
    for (size_t i = 1; i < boat->plan.seasons; i++)
        add_service(boat, FLEET_ZINC, season_start(boat, i) - 20 * DAY_S, 0);
    sort_services(boat);
}

/* --- drawing its outings */

static enum fleet_kind draw_kind(const struct fleet_plan *plan, struct random *random)
{
    const double pick = random_uniform(random, 0, 1);
    return pick < plan->ladders                    ? FLEET_LADDER
           : pick < plan->ladders + plan->restless ? FLEET_RESTLESS
                                                   : FLEET_CRUISE;
}

static double sea_at(const struct fleet_boat *boat, double unix_s)
{
    const double day = (unix_s - year_start(boat->first_year)) / DAY_S;
    return boat->sea_mean + boat->sea_swing * cos(2 * M_PI * (day - 230) / YEAR_DAYS);
}

/* The load of that day: of its own, of those weeks, and of the weed on the hull. */
static double load_at(const struct fleet_boat *boat, double unix_s, double slow,
                      struct random *random)
{
    const struct fleet_plan *plan = &boat->plan;
    const double day = fmod((unix_s - year_start(boat->first_year)) / DAY_S, YEAR_DAYS);
    const size_t season = (size_t)clamp((unix_s - season_start(boat, 0)) / DAY_S / YEAR_DAYS, 0,
                                        FLEET_SEASONS_MAX - 1);
    const double weed =
        plan->hull * boat->weed[season] * clamp((day - SEASON_FIRST) / SEASON_DAYS, 0, 1);
    return exp(plan->day_sd * random_normal(random) + plan->slow_sd * slow + weed);
}

static void draw_outings(struct fleet_boat *boat, struct random *random)
{
    const struct fleet_plan *plan = &boat->plan;
    double slow = random_normal(random), before = season_start(boat, 0);
    for (size_t season = 0; season < plan->seasons; season++) {
        const bool last = plan->late_service && season + 1 == plan->seasons;
        const size_t count = last ? 1 + random_word(random) % 2 : 2 + random_word(random) % 5;
        for (size_t i = 0; i < count && boat->outing_count < FLEET_OUTINGS_MAX; i++) {
            struct fleet_outing *outing = &boat->outing[boat->outing_count++];
            const double share = ((double)i + random_uniform(random, 0.15, 0.85)) / (double)count;
            const double day = floor(share * SEASON_DAYS) + random_uniform(random, 0.3, 0.6);
            const double at = season_start(boat, season) + day * DAY_S;
            const double keep = exp(-(at - before) / DAY_S / plan->slow_days);
            slow = keep * slow + sqrt(1 - keep * keep) * random_normal(random);
            before = at;
            outing->kind = draw_kind(plan, random);
            outing->start_unix = (int64_t)at;
            outing->hours = fleet_hours_at(boat, outing->start_unix);
            outing->sea = sea_at(boat, at) + 0.6 * random_normal(random);
            outing->load = load_at(boat, at, slow, random);
            outing->seed = random_word(random);
        }
    }
}

/* Gauges are off by up to 3 K for good, infrared thermometers by up to 2 K, of which half of the
 * variance comes anew every run. */
static void draw_hand(struct fleet_boat *boat, uint64_t number)
{
    struct random random = random_start(boat->plan.seed + UINT64_C(1000003) * number, 80);
    const double most = boat->plan.infrared ? 2 / sqrt(2.0) : 3;
    boat->hand_offset = random_uniform(&random, -most, most);
}

/* No two years grow the same weed. A stream of its own: boats without weed are as they were. */
static void draw_weed(struct fleet_boat *boat, uint64_t number)
{
    struct random random = random_start(boat->plan.seed + UINT64_C(1000003) * number, 79);
    for (size_t i = 0; i < FLEET_SEASONS_MAX; i++)
        boat->weed[i] = random_uniform(&random, 0.5, 1.5);
}

void fleet_draw(const struct fleet_plan *plan, uint64_t number, struct fleet_boat *out)
{
    assert(plan->seasons >= 2 && plan->seasons <= FLEET_SEASONS_MAX);
    assert(plan->engines >= 1 && plan->engines <= BOAT_ENGINES_MAX);
    struct random random = random_start(plan->seed + UINT64_C(1000003) * number, 77);
    memset(out, 0, sizeof *out);
    out->plan = *plan;
    boat_scenario_default(&out->base);
    strcpy(out->base.name, "fleet");
    out->base.engine_count = plan->engines;
    out->first_year = 2014;
    const double usual = random_uniform(&random, 90, 220);
    for (size_t i = 0; i < plan->seasons; i++)
        out->season_hours[i] = usual * random_uniform(&random, 0.8, 1.2);
    draw_weed(out, number);
    draw_hand(out, number);
    draw_engines(out, &random);
    draw_waters(out, &random);
    draw_services(out, &random);
    draw_outings(out, &random);
}

/* --- one outing */

static void ahead(struct boat_scenario *run, double rpm, double seconds)
{
    boat_add_leg(run, (struct boat_leg){rpm, seconds, GEAR_AHEAD, false});
}

/* Two to five stretches at the usual speeds or some other, and often some minutes of full
 * throttle. */
static void add_cruise(const struct fleet_boat *boat, struct boat_scenario *run,
                       struct random *random)
{
    const size_t legs = 2 + random_word(random) % 4;
    const size_t full = random_word(random) % (2 * legs); /* in half of the outings: after which */
    for (size_t i = 0; i < legs; i++) {
        double rpm = boat->speed[random_word(random) % 3] + random_uniform(random, -60, 60);
        if (random_uniform(random, 0, 1) < 0.2)
            rpm = random_uniform(random, 1000, 2700);
        ahead(run, rpm, random_uniform(random, 300, 1500));
        if (i == full)
            ahead(run, run->engine[0].rated_rpm - random_uniform(random, 0, 50),
                  random_uniform(random, 240, 480));
        if (random_uniform(random, 0, 1) < 0.4)
            ahead(run, random_uniform(random, 700, 1000), random_uniform(random, 40, 120));
    }
    ahead(run, 900, 120);
}

static void add_timetable(const struct fleet_boat *boat, enum fleet_kind kind,
                          struct boat_scenario *run, struct random *random)
{
    static const double ladder[] = {1000, 1400, 1800, 2200, 2500, 2800};
    boat_add_warm_up(run, 240, 420);
    switch (kind) {
    case FLEET_CRUISE:
        add_cruise(boat, run, random);
        break;
    case FLEET_LADDER:
        boat_add_ladder(run, ladder, 6, random_uniform(random, 240, 360), false);
        break;
    case FLEET_RESTLESS:
        boat_add_outing(run, random_uniform(random, 2400, 4200), 900, 2800);
        break;
    }
}

#define READ_AFTER 240.0 /* s that a speed is held before anybody reads anything */

/* Everything that was held long enough from leg `first` on is read once, at its end. 1.1 K is what
 * an emissivity of 0.95 that is 0.03 off makes of 80 degC; with the part of the thermometer that
 * comes anew, alike in all readings of a run. */
static void read_by_hand(const struct fleet_boat *boat, size_t first, struct boat_scenario *run,
                         struct random *random)
{
    const double anew = 2 / sqrt(2.0);
    run->hand = (struct boat_hand){
        .used = true,
        .infrared = boat->plan.infrared,
        .offset = boat->hand_offset,
        .spread = 1.0,
        .step = boat->plan.hand_step,
        .fahrenheit = boat->plan.hand_degf,
        .sea_offset = run->sea_sender.offset,
        .each_held = true,
    };
    if (boat->plan.infrared)
        run->hand.offset += random_uniform(random, -anew, anew) + random_uniform(random, -1.1, 1.1);
    for (size_t i = first; i < run->leg_count; i++)
        run->leg[i].hold = run->leg[i].seconds >= READ_AFTER && run->leg[i].rpm > 900;
}

void fleet_scenario(const struct fleet_boat *boat, size_t index, struct boat_scenario *out)
{
    assert(index < boat->outing_count);
    const struct fleet_outing *outing = &boat->outing[index];
    struct random random = random_start(outing->seed, 78);
    *out = boat->base;
    out->seed = outing->seed;
    out->start_unix = outing->start_unix;
    out->sea = outing->sea;
    out->air = outing->sea + random_uniform(&random, -3, 5);
    out->wind_from = random_uniform(&random, 0, 360);
    out->wind_load = random_uniform(&random, 0.005, 0.02);
    out->day_load = outing->load;
    out->sea_sender.offset += 0.1 * random_normal(&random);
    for (size_t i = 0; i < out->engine_count; i++) {
        out->engine[i].fouling = fleet_fouling_at(boat, i, outing->hours);
        out->engine[i].initial = out->air + 2;
    }
    add_timetable(boat, outing->kind, out, &random);
    if (fleet_by_hand(boat, index)) {
        struct boat_scenario warm = boat->base;
        boat_add_warm_up(&warm, 240, 420);
        read_by_hand(boat, warm.leg_count, out, &random);
    }
}
