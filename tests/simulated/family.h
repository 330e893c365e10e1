/* family.h - families of run pairs with a known true change, for the coverage bench.
 *
 * A family is a row: seas, true change, timetable, what people know, and a function that bends the
 * drawn pair where the family is about something odd. Each pair is a boat of its own: flows, films,
 * heat, friction, lags, senders and the thermostat itself are drawn within plausible bounds, the
 * same boat before and after. The thermostat's start and full opening lie within 1.5 K of the
 * plate; its share of heat over its opening is no straight line (exponent 0.8 to 1.25).
 */
#ifndef SEARUN_SIMULATED_FAMILY_H
#define SEARUN_SIMULATED_FAMILY_H

#include "writers.h"

#define FAMILY_RUNS_MAX 3
#define FAMILY_SPEEDS 6

enum family_side { FAMILY_BEFORE, FAMILY_AFTER, FAMILY_SIDES };

extern const double family_speed[FAMILY_SPEEDS]; /* rpm of the ladder */

struct family_pair {
    const struct family *family;
    size_t runs; /* on each side */
    struct boat_scenario run[FAMILY_SIDES][FAMILY_RUNS_MAX];
    double told_sender_u; /* K, given as an option; 0: nothing said */
    int control_engine;   /* -1: none */
};

enum family_demand {
    DEMAND_STRICT, /* holds settle and the thermostat is rated: 93 to 98 % covered */
    DEMAND_LOOSE,  /* never under 90 % */
    DEMAND_BLIND /* the same, but nothing that was recorded could tell it from a change of cooling:
                      findings are not held against it */
};

struct family {
    const char *key, *title;
    enum family_demand demand;
    double sea[FAMILY_SIDES]; /* degC */
    double ratio;  /* open rise after over before at the top of the ladder; 1: no change */
    double hold;   /* s */
    bool and_down; /* ladder up and down; else up only */
    size_t runs;   /* on each side */
    double day_sd; /* relative standard deviation of the load from day to day */
    enum run_flavour flavour;
    bool plate;     /* thermostat known from its plate */
    size_t engines; /* 2: the second was left alone and is named as control */
    void (*bend)(struct family_pair *pair, struct random *random); /* may be NULL */
};

extern const struct family families[];
extern const size_t family_count;

/* The family with that key, or NULL. */
const struct family *family_find(const char *key);

/* Draws an engine of its own within the bounds of all families. */
void family_draw_engine(struct boat_engine *engine, struct random *random);

/* Draws pair number `number` of a family under a seed: always the same one. */
void family_draw(const struct family *family, uint64_t seed, uint64_t number,
                 struct family_pair *out);

/* True change of engine 0 in K, after minus before, at a speed and sea temperature: at nominal
 * load, or, where fuel rate or percent load was recorded or an engine was left alone, at the mean
 * load of the days (of both sides, geometric), which is what such runs are compared at; and the
 * true ratio of its open rise at that speed. */
double family_true_change(const struct family_pair *pair, double rpm, double sea);
double family_true_ratio(const struct family_pair *pair, double rpm);

#endif
