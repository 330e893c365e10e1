/* trial.h - one engine of one run: the chosen sources on one grid, and the holds found in them. */
#ifndef SEARUN_TRIAL_H
#define SEARUN_TRIAL_H

#include "hold.h"
#include "lag.h"
#include "sea.h"
#include "source.h"

#define QUANTITIES_MAX 48

struct trial {
    size_t run; /* index of the run */
    enum side side;
    int engine;
    double duration;                          /* s */
    struct candidate *chosen[QUANTITIES_MAX]; /* by enum quantity; NULL if there is none */
    double sea_by_hand;                       /* degC, typed in; NaN if a sensor was used */
    struct columns columns;
    struct sea_look sea; /* of the sensor used */
    struct spans held;   /* of a speed that was read by hand: one a reading */
    struct spans frozen; /* of a coarse coolant sender, beside those of the sources */
    size_t hold_count;
    struct hold *holds; /* rising in time, with REFUSAL_UNHELD for speeds read by hand */
    struct lag lag;
};

struct trial_facts {
    size_t run;
    enum side side;
    int engine;
    double full_rpm;         /* rated speed; NaN: the highest of the run */
    double thermostat_start; /* degC, NaN unknown */
    double thermostat_full;
    double thermostat_u;
    double sea_by_hand; /* degC typed in for this run, NaN if not */
};

/* Cells of one second that a run of that length needs. */
size_t trial_cells(double duration);

/* Puts the chosen sources on a grid, finds the holds and fits the lag. `chosen` has
 * quantity_count() entries, which stay the logbook's. Free with trial_free in every case. */
enum status trial_make(const struct logbook *book, struct candidate *const *chosen,
                       const struct trial_facts *facts, struct trial *out,
                       struct complaint *complaint);
void trial_free(struct trial *trial);

/* Whether its coolant temperature was read by hand. */
bool trial_by_hand(const struct trial *trial);

/* Mean of the readings of a quantity over the used part of a hold; NaN without readings. */
double trial_mean(const struct trial *trial, size_t quantity, const struct hold *hold);

/* Highest speed of the run (99 % quantile), NaN without. */
double trial_top_speed(const struct candidate *speed);

#endif
