/* folder.h - files of the output folder: made whole or not at all. */
#ifndef SEARUN_FOLDER_H
#define SEARUN_FOLDER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "status.h"
#include "text.h"

/* Makes the folder unless it is there; its parent must be. STATUS_NOT_FOUND, STATUS_EXISTS (a file
 * of that name), STATUS_IO. */
enum status folder_make(const char *path, struct complaint *complaint);

/* FOLDER/NAME, to be freed; NULL if memory ran out. */
char *folder_path(const char *folder, const char *name);

/* A file being written. It stands beside its final name and takes its place only when whole; a
 * device or a pipe is written to as it is. A run file is never replaced: it is evidence. */
struct new_file {
    FILE *stream;
    const char *path; /* not owned */
    char *beside;     /* owned; NULL for devices and pipes */
    bool fresh;       /* takes no other file's place */
};

/* STATUS_EXISTS (a run file or a folder), STATUS_FULL (no space, quota), STATUS_IO,
 * STATUS_MEMORY. */
enum status new_file_open(struct new_file *file, const char *path, struct complaint *complaint);
/* The same, but STATUS_EXISTS for every file that is there already. */
enum status new_file_create(struct new_file *file, const char *path, struct complaint *complaint);
/* Ends it; with `keep` it gets its name, else it vanishes. Call once after a successful open. */
enum status new_file_close(struct new_file *file, bool keep, struct complaint *complaint);

/* Writes a whole file; STATUS_MEMORY also if `content` failed before. */
enum status file_write(const char *path, const struct text *content, struct complaint *complaint);
enum status folder_write(const char *folder, const char *name, const struct text *content,
                         struct complaint *complaint);

/* Reads at most `most` bytes; a larger file is STATUS_BAD_DATA. */
enum status folder_read(const char *folder, const char *name, size_t most, struct text *out,
                        struct complaint *complaint);

#endif
