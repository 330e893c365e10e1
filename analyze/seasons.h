/* seasons.h - the cooling of a boat's engines over all its outings: the answer, and what makes it.
 *
 * Every outing gives a point: the open rise (lift.h) at standard conditions, a speed and a sea that
 * most outings come near. Points, services and the lines between them show fouling, what a service
 * brought, and when the coolant would reach its alarm temperature at full throttle in the warmest
 * sea on record.
 */
#ifndef SEARUN_SEASONS_H
#define SEARUN_SEASONS_H

#include "answer.h"
#include "outing.h"
#include "season_trend.h"
#include "status.h"

/* --- what goes in */

struct seasons_options {
    double thermostat_start, thermostat_full; /* degC; NaN: as recorded in the runs */
    double thermostat_u;                      /* K; NaN: as recorded, else 1.0 */
    double reference_rpm, reference_sea;      /* standard conditions; NaN: chosen by the outings */
    double warmest_sea;                       /* degC, for the forecast; NaN: the warmest held in */
    double alarm;                             /* degC; NaN: as recorded in the runs */
    double confidence_level;                  /* 0.95 */
    uint64_t seed;                            /* of the Monte Carlo; 1 */
};
void seasons_options_default(struct seasons_options *options);

/* Something that was done to an engine. */
struct season_event {
    double at;    /* s since 1970 */
    double hours; /* engine hours; NaN */
    int engine;   /* its number; -1: all */
    bool step;    /* may have changed the cooling: the line is broken there */
    bool new_thermostat, new_sender;
    bool kept_sender; /* the coolant sender stayed, although it may be read another way */
    bool guessed;     /* from the facts of a run: it was before that run, no date is recorded */
    char boat[100];   /* of which boat; "": of every boat among the runs */
    char what[160];   /* in words */
};

/* --- what comes out */

/* One engine in one outing. */
struct season_point {
    size_t outing; /* index into seasons->outings */
    double at;     /* s since 1970 */
    double hours;  /* engine hours; NaN */
    double sea;    /* degC, mean of its holds */
    size_t holds;
    double rpm_low, rpm_high; /* of its holds */
    double load;              /* ln of the heat load over what is usual; NaN if not recorded */
    size_t segment;
    struct interval rise;    /* K, at standard conditions, as this outing alone shows it */
    struct interval reading; /* degC, the coolant there */
    struct interval full;    /* degC, at full throttle in the warmest sea */
    double level, level_u;   /* ln of the rise of that day, and what its holds leave unsure of it */
};

/* A stretch between two services. */
struct season_segment {
    double from, to; /* s since 1970: first and last outing in it */
    size_t points;
    bool enough;            /* outings to speak of a trend */
    struct interval growth; /* of the open rise, a year of use: 0.05 is 5 % */
    struct interval climb;  /* K, the same of the reading at full throttle in the warmest sea */
};

/* What a service brought, between the lines before and after it. */
struct season_step {
    double at; /* s since 1970 */
    bool guessed;
    bool sender_only; /* nothing but another sender: it may change what is read, not the cooling */
    char what[400];   /* all that was done between the two outings */
    struct interval ratio;   /* open rise after over before */
    struct interval reading; /* K, change of the reading at standard conditions */
    struct interval full;    /* K, the same at full throttle in the warmest sea */
    enum finding finding;
};

/* The lines, for charts: a row of points in each stretch and, `ahead`, behind the last one. */
struct season_curve {
    double at; /* s since 1970 */
    size_t segment;
    bool ahead;
    struct interval rise; /* K; of an engine beside its own outings: without what they all share */
    struct interval full; /* degC at full throttle in the warmest sea, with it */
};

enum season_outlook {
    OUTLOOK_NOT_ENOUGH, /* outings to tell */
    OUTLOOK_NO_ALARM,   /* the alarm temperature is not known */
    OUTLOOK_SERVICED,   /* serviced after the last outing */
    OUTLOOK_NOT_IN_SIGHT,
    OUTLOOK_DATE,
    OUTLOOK_REACHED /* the line is there already */
};
const char *season_outlook_key(enum season_outlook outlook);

struct season_forecast {
    enum season_outlook outlook;
    struct interval at;    /* s since 1970; high is INFINITY where it may never be; NaN */
    struct interval hours; /* engine hours; NaN */
    struct interval now;   /* degC at full throttle in the warmest sea, at the last outing, with the
                              hull as at the beginning of the season */
    struct interval season; /* K that the season adds to it by its end; NaN without a season */
    bool borrowed;          /* this stretch is too short: its slope is that of the others */
    char next[300];         /* what to record, where it cannot be told */
};

struct season_left_out {
    size_t outing;
    char why[200];
};

/* A row of points with its lines; of an engine, or of the ratio of two. */
struct season_series {
    size_t point_count;
    struct season_point *points; /* owned, rising in time */
    size_t segment_count;
    struct season_segment segments[SEGMENTS_MAX];
    size_t step_count;
    struct season_step steps[SEGMENTS_MAX];
    size_t curve_count;
    struct season_curve *curves; /* owned */
    bool by_hours;       /* a year of use is hours_a_year of running; else of the calendar */
    double hours_a_year; /* NaN without an hour meter */
    double tends;        /* years of use in which fouling tends to a limit; 0: it grows steadily */
    double day, day_low, day_high; /* of ln rise from day to day, standard deviation and interval */
    struct interval sea_effect;    /* of ln rise, 1/K */
    bool sea_told;                 /* the outings say more of it than prior knowledge */
    struct interval season; /* of ln rise, from the beginning to the end of a season: what comes
                               and goes every year, as weed on the hull does; NaN if the outings
                               show no lay-up */
    bool season_told;       /* the outings show that it adds something */
    double scatter;         /* of ln rise from hold to hold; NaN for a ratio */
};

struct season_engine {
    size_t boat; /* index into seasons->boats */
    int instance;
    char label[64], serial[100], model[100];
    struct season_series series;
    double thermostat_start, thermostat_full, thermostat_u; /* degC, K; of the last one; NaN */
    const char *thermostat_from;                            /* "given", "run file", "unknown" */
    double rated_rpm;                                       /* NaN if not recorded */
    double reference_rpm, reference_sea, warmest_sea;       /* of its boat */
    double full_rpm;         /* full throttle: rated, else the highest held */
    double alarm;            /* degC; NaN */
    double normal_high;      /* degC, upper end of the normal band; NaN */
    struct interval follows; /* K of coolant for each K of sea, at standard conditions */
    const char *load_from;   /* "fuel_rate", "load", "assumed" */
    struct season_forecast forecast;
    bool failed; /* its outings allow no line: it is left out */
    size_t left_out_count;
    struct season_left_out *left_out; /* owned: outings that could not be used for it */
};

/* Two engines of a boat in the same outings: what day and sea do to both cancels. */
struct season_pair {
    size_t first, second;        /* indices into engines */
    struct season_series series; /* rise is the ratio first over second */
};

struct season_boat {
    char name[100], identification[100], port[100]; /* "" if not recorded */
    size_t outings;
    double reference_rpm, reference_sea, warmest_sea; /* rpm, degC; NaN without any hold */
};

struct season_refused { /* a file that could not be read */
    char *path, *why;   /* owned */
};

struct season_warning {
    size_t boat;
    int engine; /* -1: all */
    const char *key;
    char text[WARNING_MAX];
};

struct seasons {
    struct seasons_options options;
    size_t outing_count;
    struct outing *outings; /* owned */
    size_t *outing_boat;    /* owned: index into boats for each outing */
    size_t event_count;
    struct season_event *events; /* owned, rising in time */
    char log_path[4096];         /* of the service log; "" if there is none */
    char log_sha256[65];
    char boat_file[4096]; /* of facts that the runs do not hold; "" if there is none */
    char boat_sha256[65];
    size_t boat_count;
    struct season_boat *boats; /* owned */
    size_t engine_count;
    struct season_engine *engines; /* owned; by boat and number */
    size_t pair_count;
    struct season_pair *pairs; /* owned */
    size_t refused_count;
    struct season_refused *refused; /* owned */
    size_t repeated;                /* files that hold a run another file holds as well */
    size_t warning_count;
    struct season_warning warnings[WARNINGS_MAX];
    size_t warnings_left_out;
};

/* --- seasons_solve.c: from outings to the answer. Pure. */

/* `out` has options, outings (in any order; they are sorted) and events filled, all else zero;
 * fills the rest. Nothing to go by is no error: the answer says so; an engine whose numbers allow
 * no line is left out and told. STATUS_MEMORY. */
enum status seasons_solve(struct seasons *out, struct complaint *complaint);

/* Adds an event, keeping them in the order of time. STATUS_MEMORY. */
enum status seasons_add_event(struct seasons *seasons, const struct season_event *event);

void seasons_free(struct seasons *seasons);

void season_warn(struct seasons *seasons, size_t boat, int engine, const char *key,
                 const char *format, ...) __attribute__((format(printf, 5, 6)));

/* --- season_engine.c: one engine or one pair, called by seasons_solve. Pure. */

enum status season_engine_solve(struct seasons *seasons, size_t engine);
enum status season_pair_solve(struct seasons *seasons, size_t pair);

/* The words of everything done to an engine (or either of two; second -1: one) of a boat between
 * two instants that may change its cooling. True if there was any; `out` may be NULL. */
bool season_done_between(const struct seasons *seasons, size_t boat, int first, int second,
                         double from, double to, struct season_step *out);

#endif
