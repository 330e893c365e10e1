/* ask.h - asks a logger that is at work on this computer, through its control socket. */
#ifndef SEARUN_ASK_H
#define SEARUN_ASK_H

#include <stdio.h>

#include "config.h"

/* Where the control socket of a logger with these settings lies: `socket` if it names a path; else
 * in $RUNTIME_DIRECTORY if that is set, else in `folder` (where runs lie). False if there is to be
 * none, or the path is too long. */
bool ask_place(const struct settings *settings, const char *folder, char *to, size_t room);

/* Sends one request and prints the words of the answer to `out`. If `settings` name no path, the
 * usual places are looked at: $RUNTIME_DIRECTORY, the folder of runs, and that of the service.
 * STATUS_NOT_FOUND if no logger is at work there; STATUS_BAD_USAGE if it refuses, with its
 * words. */
enum status ask_logger(const struct settings *settings, const char *request, FILE *out,
                       struct complaint *complaint);

#endif
