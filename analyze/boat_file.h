/* boat_file.h - facts of boat, engines and runs from an INI file, for what the run files do not
 * hold.
 *
 * Sections [boat], [engine N] and [run], keys as in facts.def; a line that begins with a space
 * continues the value above it. What a run file holds is never replaced.
 */
#ifndef SEARUN_BOAT_FILE_H
#define SEARUN_BOAT_FILE_H

#include <stdbool.h>

#include "facts.h"
#include "status.h"

/* Reads the file; the complaint names the first line that cannot be meant and says what is allowed.
 * facts_free(out) in every case. STATUS_NOT_FOUND, STATUS_IO, STATUS_BAD_USAGE, STATUS_MEMORY. */
enum status boat_file_read(const char *path, struct facts *out, struct complaint *complaint);

/* Is this fact among them, other than by its default? */
bool boat_file_has(const struct facts *facts, enum fact_section section, int engine,
                   const char *key);

/* Adds to `facts` what they do not have from `boat`, and the same to `entered`. */
enum status boat_file_fill(const struct facts *boat, struct facts *facts, struct facts *entered,
                           struct complaint *complaint);

#endif
