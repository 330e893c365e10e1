/* provenance.c - see provenance.h. SHA-256 by libmd. */
#include "provenance.h"

#include <errno.h>
#include <string.h>
#include <sys/types.h>

#include <sha256.h>

enum status provenance_sha256(const char *path, char hex[65], struct complaint *complaint)
{
    if (SHA256File(path, hex))
        return STATUS_OK;
    return complain(complaint, STATUS_IO, "cannot read %s: %s", path, status_words(errno));
}
