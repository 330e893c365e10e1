/* sea.h - whether a sea temperature sensor reads the sea. Pure.
 *
 * A sensor in the engine room, on the hull beside a hot pipe or in a sea chest without flow drifts
 * with the engine. The reading is split by least squares into a constant, a straight drift in time
 * (waters change as the boat moves) and a part that follows the engine's heat: speed squared,
 * behind a low pass of five minutes. The first ten minutes of runs of half an hour and more are
 * left out.
 */
#ifndef SEARUN_SEA_H
#define SEARUN_SEA_H

#include <stdbool.h>
#include <stddef.h>

struct sea_look {
    double effect; /* K between low and high engine heat; NaN if speed varied too little to tell */
    double share;  /* of the variation left beside the drift, 0 .. 1 */
    double drift;  /* K from the first tenth of the readings to the last */
};

/* Both columns have cells of one second; NaN for missing. */
struct sea_look sea_look(const double *sea, const double *rpm, size_t count);

/* Whether the reading rises with the engine's heat by the numbers of rules.h. */
bool sea_follows_engine(const struct sea_look *look);

/* Whether it falls with speed instead: a sea chest that warms while there is no flow through it, or
 * the boat leaving a warm harbour. At speed the chest may still be warm. */
bool sea_falls_with_speed(const struct sea_look *look);

#endif
