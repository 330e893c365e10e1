/* logger.h - records one run, from the first byte to the finished file. */
#ifndef SEARUN_LOGGER_H
#define SEARUN_LOGGER_H

#include "config.h"
#include "say.h"

/* What the command line asks for beside the configuration. */
struct order {
    const char *output; /* run file; NULL: a name is made in the runs folder */
    const char *replay; /* capture to replay instead of the inputs; NULL: none */
    int64_t duration;   /* ns; 0: until told to stop */
};

/* Records until the inputs are over, a signal comes, the duration ends, or storage fails. All words
 * go through `voice`. STATUS_OK only if the run is whole and where it should be. */
enum status logger_record(struct config *config, const struct order *order,
                          const struct voice *voice);

/* The name of a run: start and boat, "20261125T101500Z-terns-reach.h5"; sorts by time. */
void logger_run_name(char *to, size_t room, int64_t start_unix_us, const char *boat);

#endif
