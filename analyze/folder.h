/* folder.h - files of the output folder: made whole or not at all. */
#ifndef SEARUN_FOLDER_H
#define SEARUN_FOLDER_H

#include <stddef.h>

#include "status.h"
#include "text.h"

/* Makes the folder unless it is there; its parent must be. STATUS_NOT_FOUND, STATUS_EXISTS (a file of
 * that name), STATUS_IO. */
enum status folder_make(const char *path, struct complaint *complaint);

/* FOLDER/NAME, to be freed; NULL if memory ran out. */
char *folder_path(const char *folder, const char *name);

/* Writes a file beside its final name and renames it: an older one is replaced only by a whole one.
 * STATUS_FULL (no space, quota), STATUS_IO, STATUS_MEMORY (also if `content` failed before). */
enum status file_write(const char *path, const struct text *content, struct complaint *complaint);
enum status folder_write(const char *folder, const char *name, const struct text *content,
                         struct complaint *complaint);

/* Reads at most `most` bytes; a larger file is STATUS_BAD_DATA. */
enum status folder_read(const char *folder, const char *name, size_t most, struct text *out,
                        struct complaint *complaint);

#endif
