/* run_list.h - paths of run files, and those that lie in a folder. */
#ifndef SEARUN_RUN_LIST_H
#define SEARUN_RUN_LIST_H

#include <stddef.h>

#include "status.h"

/* Zero-initialise; run_list_free at the end. */
struct run_list {
    size_t count, room;
    char **list; /* owned, as their strings */
};

/* Takes the string over; NULL means that memory ran out. STATUS_MEMORY. */
enum status run_list_add(struct run_list *paths, char *path);

/* Adds every run file (*.h5) of a folder, not deeper, in the order of their names.
 * STATUS_NOT_FOUND (there is none), STATUS_IO, STATUS_MEMORY. */
enum status run_list_folder(const char *folder, struct run_list *paths,
                            struct complaint *complaint);

void run_list_free(struct run_list *paths);

#endif
