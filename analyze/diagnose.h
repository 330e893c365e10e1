/* diagnose.h - what is wrong with the runs themselves, as warnings with their consequence.
 *
 * The first group looks at files and facts, the second at what a source or a hold shows. Each
 * warning has a stable key; thresholds stand in rules.h. Functions of one subject, called in any
 * order; each appends to answer->warnings and changes nothing else.
 */
#ifndef SEARUN_DIAGNOSE_H
#define SEARUN_DIAGNOSE_H

#include "answer.h"
#include "trial.h"

/* --- files and facts: answer->runs is filled
 *   same_run        one run is on both sides
 *   boats_differ    name or identification of the boat
 *   boat_unknown    a run names neither
 *   engine_differs  model, serial number or exchanger of an engine (per engine)
 *   propeller_differs
 *   order           a run of the before side is later than one of the after side
 *   purpose         the run was recorded for the other side
 *   unclean_end     not closed, or rebuilt
 *   gaps            recorded gaps and lost messages
 *   clock_nominal   the date is no date
 *   seas_unlike     the sea differs too much for the days between two runs (needs sea_mean) */
void diagnose_files(struct answer *answer);
void diagnose_engine_facts(struct answer *answer, int engine);

/* UTC that jumps against the steady clock of the run (clock_step). */
void diagnose_clock(struct answer *answer, size_t run, const struct run_utc *utc, size_t count);

/* Many messages of an input were damaged (damaged_messages). */
void diagnose_tally(struct answer *answer, size_t run, const char *input,
                    const struct tally *tally);

/* --- sources and holds of one engine: after the estimate, which knows how the reading follows sea
 * and load. `trials` are those of this engine, each run once.
 *   source_differs, read_by_hand, shaft_speed_used, raw_water_for_sea, one_side_only, no_speed,
 *   no_coolant, no_sea
 *   unbelievable_source, outliers, frozen, silences
 *   sea_follows_engine, sea_falls_with_speed, sea_drift, sea_frozen, sea_by_hand, seas_apart
 *   holds_unsettled, throttle_unsteady, coolant_unsteady, coolant_coarse
 *   thermostat_open_pattern, thermostat_shut_pattern
 *   load_shift, boat_speed_shift */
struct subject {
    struct answer *answer;
    const struct engine_answer *engine;
    const struct trial *trials;
    size_t trial_count;
    bool whole_boat; /* tell what concerns all engines too (once is enough) */
};
void diagnose_engine(const struct subject *subject);

/* The part of it that looks at sources and cleaning. */
void diagnose_sources(const struct subject *subject);

/* Two sources of one quantity that do not agree (sources_disagree): `difference` is taken minus
 * other, in the unit of the quantity. Nothing is said where it is small. */
void diagnose_difference(const struct subject *subject, size_t run, size_t quantity,
                         const struct candidate *taken, const struct candidate *other,
                         double difference);

/* How far the coolant sender read above the rest of the cold engine (or the sea) in a run's first
 * minute; NaN where the engine was not cold or nothing else was recorded. */
struct cold_start {
    double offset; /* K */
    bool by_oil;   /* against oil; else against the sea */
};
struct cold_start diagnose_cold_start(const struct trial *trial);

/* Shift of that offset, after minus before, where it is more than chance (sender_offset is warned
 * of); else 0. */
double diagnose_sender(const struct subject *subject);

/* --- consequences: how the coolant of a hold answers, from its open rise and fraction. */

/* K of coolant for each K of sea: 1 wide open, some hundredths in control; 1 where not known. */
double diagnose_sea_response(const struct engine_answer *engine, const struct hold *hold);

/* K of coolant for a change of heat load or conductance by a factor e. */
double diagnose_load_response(const struct engine_answer *engine, const struct hold *hold);

#endif
