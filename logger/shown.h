/* shown.h - a reading as people read it: in the unit that is shown, with decimals that mean
 * something. */
#ifndef SEARUN_SHOWN_H
#define SEARUN_SHOWN_H

#include <stddef.h>

#include "channel.h"

/* "1450 rpm", "84.9 °C", "6.2 kn" (of a stored 3.2 m/s), "13.82 V", "7.5000° W" (of a stored -7.5).
 * `to` holds 48 bytes and more; returned. */
const char *shown_value(enum channel_id id, double stored, char *to, size_t room);

#endif
