/* run_list.c - see run_list.h. */
#include "run_list.h"

#include <dirent.h>
#include <errno.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "folder.h"

#define ENDING ".h5"

void run_list_free(struct run_list *paths)
{
    for (size_t i = 0; i < paths->count; i++)
        free(paths->list[i]);
    free(paths->list);
    *paths = (struct run_list){0};
}

enum status run_list_add(struct run_list *paths, char *path)
{
    if (paths->count == paths->room) {
        size_t room = 2 * paths->room + 16;
        char **grown = path ? realloc(paths->list, room * sizeof *grown) : NULL;
        if (!grown) {
            free(path);
            return STATUS_MEMORY;
        }
        paths->list = grown;
        paths->room = room;
    }
    if (!path)
        return STATUS_MEMORY;
    paths->list[paths->count++] = path;
    return STATUS_OK;
}

static bool is_run_name(const char *name)
{
    size_t length = strlen(name), ending = strlen(ENDING);
    return name[0] != '.' && length > ending && strcmp(name + length - ending, ENDING) == 0;
}

static int by_name(const void *left, const void *right)
{
    return strcmp(*(char *const *)left, *(char *const *)right);
}

enum status run_list_folder(const char *folder, struct run_list *paths, struct complaint *complaint)
{
    size_t before = paths->count;
    enum status status = STATUS_OK;
    DIR *entries = opendir(folder);
    if (!entries)
        return complain(complaint, STATUS_IO, "cannot read the folder %s: %s", folder,
                        status_words(errno));
    for (struct dirent *entry; (entry = readdir(entries)) != NULL && !status;)
        if (is_run_name(entry->d_name))
            status = run_list_add(paths, folder_path(folder, entry->d_name));
    closedir(entries);
    if (status)
        return complain(complaint, status, "no memory left to list %s", folder);
    if (paths->count == before)
        return complain(complaint, STATUS_NOT_FOUND,
                        "there is no run file (*.h5) in %s; record one with searun-logger, or name "
                        "the folder that holds them",
                        folder);
    qsort(paths->list + before, paths->count - before, sizeof *paths->list, by_name);
    return STATUS_OK;
}
