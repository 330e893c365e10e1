/* check.h - `searun-analyze check`: is a run file whole? */
#ifndef SEARUN_CHECK_H
#define SEARUN_CHECK_H

#include <stdbool.h>
#include <stdio.h>

#include "status.h"

enum soundness { CHECK_SOUND = 0, CHECK_DAMAGED = 1, CHECK_UNREADABLE = 2 };

/* Looks at one run and prints what it found on `out`; of a sound run nothing if `quiet`. Why it
 * cannot be read goes into the complaint. */
enum soundness check_run(const char *path, bool quiet, FILE *out, struct complaint *complaint);

#endif
