/* instruments.h - from what happened to what the instruments say. Used by boat.c only. */
#ifndef SEARUN_SIMULATED_INSTRUMENTS_H
#define SEARUN_SIMULATED_INSTRUMENTS_H

#include "boat.h"

/* Fills boat->reading from boat->truth; the senders' own state moves on by `step` s. */
void instruments_read(struct boat *boat, double step);

/* Sets senders to what they show when they have seen the present values for long. */
void instruments_start(struct boat *boat);

#endif
