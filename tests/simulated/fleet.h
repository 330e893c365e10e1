/* fleet.h - a boat over its seasons: fouling that grows with the engine hours, services, ordinary
 * outings.
 *
 * Everything is drawn from a seed and a number, within bounds that are judgement, not measurement
 * (no source). The fouling resistance grows in proportion to the hours, or towards a limit; an acid
 * clean takes a share of it away, a replacement all. Hours are run from the middle of April to the
 * end of October; some of the outings of each season were recorded: cruises at the speeds the boat
 * is usually run at, now and then a ladder of holds, now and then nothing but throttle changes.
 */
#ifndef SEARUN_SIMULATED_FLEET_H
#define SEARUN_SIMULATED_FLEET_H

#include "writers.h"

#define FLEET_SEASONS_MAX 20
#define FLEET_OUTINGS_MAX 160
#define FLEET_SERVICES_MAX 32

enum fleet_growth { FLEET_LINEAR, FLEET_ASYMPTOTIC };
enum fleet_kind { FLEET_CRUISE, FLEET_LADDER, FLEET_RESTLESS };
enum fleet_hand { FLEET_BUS, FLEET_BY_HAND, FLEET_HAND_THEN_BUS }; /* by bus in the later half */
enum fleet_work { FLEET_CLEAN, FLEET_REPLACE, FLEET_ZINC };

/* What a fleet is about; fleet_plan_default fills it. */
struct fleet_plan {
    uint64_t seed;
    size_t seasons; /* up to FLEET_SEASONS_MAX */
    size_t engines; /* 1 or 2 */
    enum run_flavour flavour;
    enum fleet_growth growth;
    bool services;     /* false: never served */
    bool late_service; /* cleaned before the last season, of which one or two outings are known */
    bool fuel;         /* fuel rate recorded */
    bool plate;        /* thermostat known from its plate */
    double day_sd;     /* relative standard deviation of the load from day to day ... */
    double slow_sd;    /* ... and of a part that keeps for weeks */
    double slow_days;  /* correlation time of that part */
    double hull;       /* relative load that a fouling hull adds from spring to autumn */
    double restless;   /* share of outings without any hold */
    double ladders;    /* share of outings that are ladders */
    double gauge_step; /* resolution of the coolant sender in its unit; 0: as drawn */
    bool gauge_degf;   /* ... counted in degF */
    enum fleet_hand hand;
    bool infrared;    /* by hand: an infrared thermometer, not the gauge */
    double hand_step; /* what is read by hand is read to ... */
    bool hand_degf;   /* ... in degF, else degC */
};

/* One engine's fouling, in K/kW over engine hours since the first season. */
struct fleet_fouling {
    enum fleet_growth growth;
    double start; /* K/kW at hour 0 of the model */
    double rate;  /* K/kW in an hour (linear), or at no fouling (asymptotic) */
    double limit; /* K/kW (asymptotic) */
};

struct fleet_service {
    enum fleet_work work;
    int engine; /* -1: all */
    int64_t unix_s;
    double hours; /* engine hours of the model at the service, from 0 */
    double share; /* of the fouling that is taken away */
};

struct fleet_outing {
    enum fleet_kind kind;
    int64_t start_unix;
    double hours; /* of the model at its start, from 0 */
    double sea;   /* degC */
    double load;  /* of that day, relative to nominal */
    uint64_t seed;
};

struct fleet_boat {
    struct fleet_plan plan;
    struct boat_scenario base; /* engines clean, timetable empty */
    struct fleet_fouling fouling[BOAT_ENGINES_MAX];
    double counter[BOAT_ENGINES_MAX]; /* h: what the hour meter showed at hour 0 of the model */
    double sea_mean, sea_swing;       /* degC, K: over the year */
    double speed[3];                  /* rpm the boat is usually run at */
    int first_year;
    double season_hours[FLEET_SEASONS_MAX];
    double hand_offset;             /* K, of gauge or infrared thermometer for good */
    double weed[FLEET_SEASONS_MAX]; /* of each season, relative to plan.hull */
    size_t outing_count, service_count;
    struct fleet_outing outing[FLEET_OUTINGS_MAX];    /* in the order of time */
    struct fleet_service service[FLEET_SERVICES_MAX]; /* in the order of time */
};

void fleet_plan_default(struct fleet_plan *plan);

/* Draws boat `number` of a plan: always the same one. */
void fleet_draw(const struct fleet_plan *plan, uint64_t number, struct fleet_boat *out);

/* Whether somebody filled in a sheet instead. */
bool fleet_by_hand(const struct fleet_boat *boat, size_t outing);

/* One outing as a scenario to run or to write. */
void fleet_scenario(const struct fleet_boat *boat, size_t outing, struct boat_scenario *out);

/* --- truth. `hours` are those of the model, from 0; past the last season the mean of all goes
 * on. */

double fleet_hours_at(const struct fleet_boat *boat, int64_t unix_s);
int64_t fleet_unix_at(const struct fleet_boat *boat, double hours);

/* K/kW. A service counts from the hour at which it was done. */
double fleet_fouling_at(const struct fleet_boat *boat, size_t engine, double hours);

/* The engine as it is then. */
struct boat_engine fleet_engine_at(const struct fleet_boat *boat, size_t engine, double hours);

/* ln K (open rise) at a speed and nominal load. */
double fleet_log_rise(const struct fleet_boat *boat, size_t engine, double hours, double rpm);

/* What the coolant sender, or whatever is read at the last outing, shows at a speed, sea and
 * nominal load, settled. degC */
double fleet_reading(const struct fleet_boat *boat, size_t engine, double hours, double rpm,
                     double sea);

/* The first hour from `from` on at which the reading is `alarm` or more; INFINITY: not within
 * 20,000 h. Services still to come do not count. */
double fleet_alarm_hours(const struct fleet_boat *boat, size_t engine, double from, double rpm,
                         double sea, double alarm);

/* --- files */

#define FLEET_NAME_ROOM 40
#define FLEET_SERVICES_NAME "service-log.csv"

/* Sets a boat to the first instant of an outing, with its hour meter. `scenario` is that of
 * fleet_scenario and has to live as long. */
void fleet_start(const struct fleet_boat *of, size_t outing, const struct boat_scenario *scenario,
                 struct boat *boat);

/* Makes the run file of a sheet as people do it (hand_run.h). */
typedef enum status fleet_sheet_maker(const char *sheet, const char *run,
                                      struct complaint *complaint);

/* YYYY-MM-DD.h5: there is never more than one outing a day. A reading every `every` seconds. */
void fleet_run_name(const struct fleet_boat *boat, size_t outing, char name[FLEET_NAME_ROOM]);
enum status fleet_write_run(const struct fleet_boat *boat, size_t outing, unsigned every,
                            const char *path, struct complaint *complaint);

/* The service log, in the layout of the analyzer. */
enum status fleet_write_services(const struct fleet_boat *boat, FILE *to,
                                 struct complaint *complaint);
enum status fleet_write_truth(const struct fleet_boat *boat, FILE *to, struct complaint *complaint);

/* All of it into a folder that is there: run files, services and truth.json. `make_run` may be NULL
 * for a boat whose outings are all recorded. */
enum status fleet_write(const struct fleet_boat *boat, unsigned every, const char *folder,
                        fleet_sheet_maker *make_run, struct complaint *complaint);

#endif
