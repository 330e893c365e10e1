/* names.h - how runs are called and where they lie. */
#ifndef SEARUN_NAMES_H
#define SEARUN_NAMES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "say.h"
#include "status.h"

#define PATH_ROOM 4096

/* The name of a run: start and boat, "20261125T101500Z-terns-reach.h5"; sorts by time. */
void names_run(char *to, size_t room, int64_t start_unix_us, const char *boat);

/* A path in the folder that no run, unfinished run or journal has yet. STATUS_EXISTS if there are
 * too many of one second; STATUS_BAD_USAGE if the path is too long. */
enum status names_find(char *to, size_t room, const char *folder, int64_t start_unix_us,
                       const char *boat);

/* Whether no run, unfinished run or journal has this path. */
bool names_is_free(const char *path);

/* A path like this one, with a number behind, that nothing has yet. */
enum status names_next(char *path, size_t room);

/* The folder of a path. */
void names_folder(char *to, size_t room, const char *path);

/* Makes the last part of the folder of a path, if that is all that is missing; says what is
 * wrong. */
enum status names_make_folder(const char *path, const struct voice *voice);

#endif
