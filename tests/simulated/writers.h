/* writers.h - a scenario run from first to last, written as instruments and programs would. */
#ifndef SEARUN_SIMULATED_WRITERS_H
#define SEARUN_SIMULATED_WRITERS_H

#include <stdio.h>

#include "boat.h"
#include "facts.h"
#include "status.h"

/* NMEA 0183 sentences, one of each kind a second at most, as a multiplexer sends them: RMC, GGA,
 * VTG, ZDA, VHW, DBT, MTW, RPM and XDR (coolant and oil of each engine as ENGINE#n and ENGINEOIL#n,
 * air as AIRTEMP; where the engine has a sender in the raw water behind the exchanger,
 * RAWWATEROUT#n). Engines count from 0. `tag` puts a TAG block with s: and c: (seconds) before each
 * line. The stream stays the caller's; STATUS_IO if it would not take everything. */
enum status write_0183(const struct boat_scenario *scenario, bool tag, FILE *to,
                       struct complaint *complaint);

/* NMEA 2000 frames in the log layout of can-utils, "(seconds.micros) can0 id#data". Two engines
 * send as one interface from address 35 with instances 0 and 1. `rapid_hz` is the rate of 127488
 * (10 on a real bus); the scenario's step should divide its period. */
enum status write_n2k(const struct boat_scenario *scenario, double rapid_hz, FILE *to,
                      struct complaint *complaint);

/* The sheet that somebody fills in at the end of each hold (scenario->hand), as a spreadsheet saves
 * it. */
enum status write_sheet(const struct boat_scenario *scenario, const char *purpose, FILE *to,
                        struct complaint *complaint);

/* A run file straight through run_write.h, with the origins that decoding the capture would give:
 * readings only, once a second, no raw messages. `watch` (may be NULL) sees each second written. */
enum run_flavour { RUN_LIKE_0183, RUN_LIKE_N2K };
struct boat_watch {
    void *self;
    void (*second)(void *self, const struct boat *boat);
};
enum status write_run(const struct boat_scenario *scenario, enum run_flavour flavour,
                      const struct facts *facts, const char *path, const struct boat_watch *watch,
                      struct complaint *complaint);

/* The truth as JSON: what the coolant settles at, without noise and at nominal load, at each speed
 * of the ladder and a row of sea temperatures; and the open rise. */
enum status write_truth(const struct boat_scenario *scenario, FILE *to,
                        struct complaint *complaint);

#endif
