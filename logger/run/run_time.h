/* run_time.h - wall-clock instants as text and back. Microseconds since 1970, UTC. */
#ifndef SEARUN_RUN_TIME_H
#define SEARUN_RUN_TIME_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TIME_TEXT_MAX 40

/* "2024-05-01T10:00:00.250000Z" (ISO 8601); the fraction only where there is one. Years 0 to 9999;
 * instants outside are written as the nearest of them. */
void time_iso(int64_t unix_us, char text[TIME_TEXT_MAX]);

/* The same as "2024-05-01 10:00:00.250000", the way CF and UDUNITS write the start of a time
 * axis. */
void time_epoch(int64_t unix_us, char text[TIME_TEXT_MAX]);

/* Reads what time_iso writes. False if it is anything else. */
bool time_parse_iso(const char *text, int64_t *unix_us);

#endif
