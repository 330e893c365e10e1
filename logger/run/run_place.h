/* run_place.h - where a run file lies while it grows and when it is done. No HDF5 in it. */
#ifndef SEARUN_RUN_PLACE_H
#define SEARUN_RUN_PLACE_H

#include "status.h"

/* Makes an empty file at `part`, the name a run has while it grows, after checking that neither it
 * nor `path` is there. STATUS_EXISTS, STATUS_NOT_FOUND, STATUS_FULL, STATUS_IO, with words. */
enum status place_claim(const char *path, const char *part, struct complaint *complaint);

/* Makes sure that the bytes of a file are on the storage, and lets go of the copy in memory so that
 * reading it back reads the storage. */
enum status place_sync(const char *part, struct complaint *complaint);

/* Gives the finished file its name without overwriting anything, and syncs the folder. */
enum status place_publish(const char *part, const char *path, struct complaint *complaint);

#endif
