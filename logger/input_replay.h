/* input_replay.h - what the program must know of a capture before it is replayed. */
#ifndef SEARUN_INPUT_REPLAY_H
#define SEARUN_INPUT_REPLAY_H

#include "capture.h"

/* The capture behind an open replay input (`self` of input_replay); NULL if it is not open. */
const struct capture_about *input_replay_about(const void *self);

/* Instant of the last thing replayed, or of the end that the capture states. */
int64_t input_replay_end(const void *self);

/* Ends the replay before the first thing after that instant (ns, above 0). */
void input_replay_limit(void *self, int64_t limit);

/* Lines of a candump log or of our own captures that could not be read. */
uint64_t input_replay_bad_lines(const void *self);

#endif
