/* logger.h - records a run, from the first byte to the finished file; and another one when space
 * ran out and there is some again. */
#ifndef SEARUN_LOGGER_H
#define SEARUN_LOGGER_H

#include "config.h"
#include "say.h"

/* What the command line asks for beside the configuration. */
struct order {
    const char *output; /* run file; NULL: a name is made in the runs folder */
    const char *replay; /* capture to replay instead of the inputs; NULL: none */
    int64_t duration;   /* ns; 0: until told to stop */
    /* Reads the settings again into a configuration that is not initialised, and says what is
     * wrong. STATUS_NOT_FOUND if there is no file. NULL: nothing is read again. */
    enum status (*reload)(void *self, struct config *fresh);
    void *self; /* of reload */
};

/* Records until the inputs are over, a signal comes, the duration ends, or storage fails. If there
 * is no space, the run is ended, and a new one begins when there is some (not with a replay).
 * Unattended, runs begin and end with the engines, and only a signal or the duration ends it all.
 * Beside that, runs that were cut off are made from their journals, and a control socket answers
 * (control.h). All words go through `voice`. STATUS_OK only if the last run is whole and where it
 * should be. */
enum status logger_record(struct config *config, const struct order *order,
                          const struct voice *voice);

#endif
