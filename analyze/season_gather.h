/* season_gather.h - the usable holds of one engine over all outings, ready for season_levels.h.
 * Pure. */
#ifndef SEARUN_SEASON_GATHER_H
#define SEARUN_SEASON_GATHER_H

#include "season_levels.h"
#include "seasons.h"

/* What is known of one engine in one outing beside its level. */
struct gathered_run {
    size_t outing;
    double sea, sea_u; /* K, of its sensor on that day */
    double rpm_low, rpm_high;
    double load;    /* ln of the heat load over what is usual; NaN if not known */
    double level_u; /* of ln K, from the sea */
};

struct gathered {
    size_t hold_count, run_count;
    struct level_hold *holds;  /* owned */
    struct level_run *levels;  /* owned, one a run; zeroed but for thermostat and sender */
    struct gathered_run *runs; /* owned */
    const char *load_from;     /* "fuel_rate", "load", "assumed" */
    double start[LEVELS_THERMOSTATS], full[LEVELS_THERMOSTATS];
    double thermostat_u;
    const char *thermostat_from;     /* "given", "run file", "unknown" */
    size_t thermostats;              /* how many there have been */
    double sender_u[LEVELS_SENDERS]; /* K, of senders before the present one, against it */
    double offset_u;                 /* K, that the present one may be off for good, if stated */
    double lag, lag_u, lag_rpm;
};

/* Gathers. Outings that cannot be used go to engine->left_out with the reason. Free in every
 * case. */
enum status season_gather(const struct seasons *seasons, struct season_engine *engine,
                          struct gathered *out);
void gathered_free(struct gathered *gathered);

/* The engine as an outing has it, or NULL: same boat, same serial number where both are known, else
 * the same number. */
const struct outing_engine *season_engine_in(const struct seasons *seasons,
                                             const struct season_engine *engine, size_t outing);

/* Whether something was done to an engine of a boat. */
bool season_event_is_of(const struct seasons *seasons, const struct season_event *event,
                        size_t boat, int instance);

#endif
