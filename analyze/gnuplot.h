/* gnuplot.h - runs gnuplot on a script; the only place where searun starts another program. */
#ifndef SEARUN_GNUPLOT_H
#define SEARUN_GNUPLOT_H

#include "status.h"

#define GNUPLOT_SECONDS 60 /* a chart takes well below one; then it hangs */

/* Runs "gnuplot -d SCRIPT" in `folder`, without a shell and without the user's start-up files, and
 * waits at most `seconds`. STATUS_NO_TOOL, with gnuplot's own words, if it is missing, fails or
 * hangs; STATUS_IO if the system cannot start a program. If it went well but gnuplot said something
 * (a font that is missing), the complaint holds it; else the complaint is empty. */
enum status gnuplot_run(const char *folder, const char *script, unsigned seconds,
                        struct complaint *complaint);

#endif
