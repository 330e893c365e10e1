/* checked.h - says what sound settings mean for the runs to come, section by section
 * (--check-config). */
#ifndef SEARUN_CHECKED_H
#define SEARUN_CHECKED_H

#include "config.h"
#include "say.h"
#include "status.h"

/* `output` is the file named by --output, or NULL; `replay`: a capture takes the place of inputs.
 * What has no effect, or what a comparison will miss, is said as a warning. Touches nothing.
 * STATUS_BAD_USAGE if the logger would not begin with them. */
enum status checked_say(const struct config *config, const char *output, bool replay,
                        const struct voice *voice);

#endif
