/* doubt.h - runs that cannot stand for one engine before and after a service: then the numbers may
 * be right and the finding is not one. Pure: changes nothing but the engines of the answer.
 *
 * Looked for in this order; the first that is found counts:
 *   same_run        one recording is on both sides
 *   boats_differ    another hull identification; or another name, where the identification does not
 *                   say that it is the same boat
 *   engine_differs  another serial number; or another model, where the serial number does not say
 *                   that it is the same engine (for each engine by itself)
 *   sides_swapped   a run was recorded for the other side
 *   order           a run of the before side was recorded later than one of the after side
 *
 * Letters and digits count, not case, spaces or punctuation: people write "Terns Reach" too.
 */
#ifndef SEARUN_DOUBT_H
#define SEARUN_DOUBT_H

#include "answer.h"

/* Withholds the findings of engines that are in doubt: finding, bands, hints, sentence, what to do
 * next. With `as_given` (somebody vouches for the runs) all but same_run is told and not
 * withheld. */
void doubt_look(struct answer *answer, bool as_given);

/* Is there anything that stands against the finding, and was it withheld? */
bool doubt_withholds(const struct engine_answer *engine);

#endif
