/* provenance.h - the fingerprint of a file, so that a report can be tied to what it was made
 * from. */
#ifndef SEARUN_PROVENANCE_H
#define SEARUN_PROVENANCE_H

#include "status.h"

/* SHA-256 of the file's bytes (FIPS 180-4), 64 lower-case hexadecimal digits. */
enum status provenance_sha256(const char *path, char hex[65], struct complaint *complaint);

#endif
