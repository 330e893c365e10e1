/* known_engines.h - which engines the runs of a folder know, so that a name that is written into
 * the service log can be looked up before it is forgotten. */
#ifndef SEARUN_KNOWN_ENGINES_H
#define SEARUN_KNOWN_ENGINES_H

#include <stdbool.h>
#include <stddef.h>

#include "service_log.h"

#define KNOWN_ENGINES_MAX 8 /* more are not told by name */

/* What was found. `runs` is the number of run files that were looked at. */
struct known_engines {
    size_t runs;
    bool found; /* the engine looked for is in one of them; the others were not looked at */
    size_t count;
    struct known_engine {
        int number;
        char label[64]; /* "" if it has none */
    } list[KNOWN_ENGINES_MAX];
};

/* Looks into the run files of a folder, the last by name first, for the engine that the work was
 * done on. Runs of another boat than `event->boat` ("": any boat) do not count, nor do files that
 * cannot be read: what is wrong with them is told elsewhere. STATUS_MEMORY. */
enum status known_engines_look(const char *folder, const struct service_event *event,
                               struct known_engines *out, struct complaint *complaint);

#endif
