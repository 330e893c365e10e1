/* warmups.h - the heat cycles after a service: warmed up, cooled, warmed again, and how long the
 * engine ran warm under way. Pure.
 *
 * Warm: within 1 K of the temperature at which the thermostat starts to open, or above, for 10 s.
 * Cold: 20 K below it, and not above 50 degC. A warm-up leads from cold to warm; between the two
 * limits nothing is decided. Under way: faster than idling (a share of full speed, as holds have
 * it) and not in neutral. Numbers: rules.h.
 */
#ifndef SEARUN_WARMUPS_H
#define SEARUN_WARMUPS_H

#include <stdbool.h>
#include <stddef.h>

struct columns; /* hold.h */

struct warm_limits {
    double warm, cold; /* degC */
    bool usual;        /* the thermostat is not known: a usual one is meant */
    double idle_rpm;   /* NaN: every speed above 0 is under way */
};

/* `start` is the temperature at which the thermostat starts to open, `full_rpm` rated or highest
 * speed; NaN where it is not known. */
struct warm_limits warm_limits_of(double start, double full_rpm);

#define WARMUPS_MAX 6

/* One moment of one run. */
struct warm_moment {
    size_t run;
    double time;    /* s since run start */
    double coolant; /* degC */
};

/* Zero-initialise; warmups_take run by run in the order of their dates. */
struct warmups {
    struct warm_limits limits;
    bool any; /* there were coolant temperatures */
    bool
        began_warm; /* the first reading that decides was a warm one: nobody saw how it got there */
    size_t count;   /* warm-ups, also beyond the list */
    struct warmup {
        struct warm_moment cold, warm; /* last moment cold, first moment warm */
    } list[WARMUPS_MAX];
    bool cooled;             /* cold again after it was warm */
    struct warm_moment cool; /* the first such moment */
    bool
        cooled_between; /* that was at the beginning of a later run: cooled while nobody recorded */
    double underway;    /* s warm and under way, in the run that has most of it */
    size_t underway_run;
    bool warm_now; /* between the runs: how the last one ended */
    bool cold_now;
    struct warm_moment last_cold;
};

void warmups_take(struct warmups *sum, size_t run, const struct columns *columns,
                  struct warm_limits limits);

#endif
