/* estimate.h - from holds to cooling changes with intervals. Pure: arguments in, result out.
 *
 * The steady heat balance of the jacket water, with phi the open fraction of the thermostat, is
 *     phi(T) * (T - S) + lag * dT/dt = K(n)
 * T coolant, S sea, n engine speed. K, the open rise, is the rise above the sea that the coolant
 * would have with the thermostat wide open. ln K is estimated per band and side from the holds and
 * carried to the reference sea; the interval comes from a seeded Monte Carlo (JCGM 101) over hold
 * scatter, day, thermostat, lag, sea sensor and coolant sender. See lift.h, thermostat.h, lag.h.
 */
#ifndef SEARUN_ESTIMATE_H
#define SEARUN_ESTIMATE_H

#include "answer.h"
#include "status.h"

#define ESTIMATE_HOLDS_MAX 400 /* holds of one engine that can be used; more are a complaint */
#define ESTIMATE_DRAWS 2000    /* draws of the Monte Carlo */
#define ESTIMATE_SEA_U 0.3     /* K, sea sensor against the sea, if nothing better is known */
#define ESTIMATE_RATING_U 1.0  /* K, thermostat rating if its uncertainty is not known */
#define ESTIMATE_LAG 135.0     /* s, time constant of the stored heat, if none was fitted */
#define ESTIMATE_LAG_U 45.0    /* s */

/* Readings of one run that were taken by hand, at the end of each hold. */
struct hand_reading {
    bool by_hand;
    double coolant_u; /* K, fresh in every reading, beside its rounding */
    double speed_u;   /* rpm, what reading the tachometer leaves unsure in every hold */
};

/* What is known of one engine beside its holds. One per engine of the answer, in the same order. */
struct estimate_facts {
    double thermostat_start, thermostat_full; /* degC; NaN: not known, then fitted from the holds */
    double thermostat_u;                      /* K, standard uncertainty of both; NaN: 1.0 */
    const char *thermostat_from; /* "given" or "run file"; not read if the two are NaN */
    double lag, lag_u;           /* s, from lag_fit; NaN: ESTIMATE_LAG and ESTIMATE_LAG_U */
    const double
        *coolant_step; /* K, one per run: step of the coolant sender; 0 if finer than noise */
    const struct hand_reading *hand; /* one per run; NULL: nothing was read by hand */
    bool sender_changed;             /* the coolant sender was changed or moved between the sides */
};

/* What is the same for all engines. */
struct estimate_job {
    const struct estimate_facts *facts; /* one per engine */
    double sea_u;                       /* K per run, shared by its holds; NaN: ESTIMATE_SEA_U */
    double day_load;                    /* relative, one standard deviation of K per run */
    double sender_u;                    /* K, used where sender_changed */
    int control_engine;                 /* index of the engine that was left alone; -1: none */
    unsigned draws;                     /* 0: ESTIMATE_DRAWS */
};

/* Estimates every engine of `answer`.
 *
 * The caller has filled answer->confidence_level, reference_sea, seed, run_count, runs[].side,
 * engine_count, and per engine instance, label, rated_rpm and holds[] (hold_count of them) with
 * their means. A hold with refusal REFUSAL_NONE and a finite band_rpm is used; all bands that any
 * side has are given, the estimate itself finds the ones both sides share.
 *
 * Filled per engine: finding, sentence, next, open_rise_ratio, control_ratio, key_band, bands,
 * uncompared, budget, thermostat_*, lag, lag_u, load_from, load_u, and in holds open_rise,
 * open_fraction and, where a used hold could not be compared, refusal (REFUSAL_NOT_SHARED,
 * REFUSAL_THERMOSTAT_SHUT, REFUSAL_NO_SEA). Warnings are appended to answer->warnings with the keys
 *   thermostat_fitted thermostat_bracketed thermostat_disagrees load_assumed ladder_single
 *   open_rise_weak
 * (diagnose.h tells of coarse or changed senders, unsettled holds and shifts of load.)
 * Nothing in common is no error: the finding says so. STATUS_MEMORY; STATUS_BAD_USAGE for a level
 * outside 0.5 .. 0.9999 or a control engine that is not there. */
enum status estimate_engines(const struct estimate_job *job, struct answer *answer,
                             struct complaint *complaint);

#endif
