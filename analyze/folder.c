/* folder.c - files of the output folder. */
#include "folder.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static enum status refused(struct complaint *complaint, const char *what, const char *path)
{
    enum status why = errno == ENOSPC || errno == EDQUOT ? STATUS_FULL : STATUS_IO;
    return complain(complaint, why, "cannot %s %s: %s%s", what, path, strerror(errno),
                    why == STATUS_FULL ? "; make room there or name another place" : "");
}

enum status folder_make(const char *path, struct complaint *complaint)
{
    struct stat about;
    if (path[0] == '\0')
        return complain(complaint, STATUS_BAD_USAGE, "the output folder has no name");
    if (mkdir(path, 0777) == 0)
        return STATUS_OK;
    if (errno == ENOENT)
        return complain(complaint, STATUS_NOT_FOUND,
                        "cannot make the folder %s: the folder it should stand in does not exist; "
                        "make that first, or name another place",
                        path);
    if (errno != EEXIST)
        return refused(complaint, "make the folder", path);
    if (stat(path, &about) != 0)
        return refused(complaint, "look at", path);
    if (!S_ISDIR(about.st_mode))
        return complain(complaint, STATUS_EXISTS,
                        "%s is a file, not a folder; name a folder for the output", path);
    return STATUS_OK;
}

char *folder_path(const char *folder, const char *name)
{
    struct text path = {0};
    size_t length = strlen(folder);
    text_add(&path, folder);
    if (length == 0 || folder[length - 1] != '/')
        text_add(&path, "/");
    text_add(&path, name);
    return text_take(&path);
}

/* Writes, flushes and closes; errno tells what failed. */
static bool write_all(const char *path, const struct text *content)
{
    FILE *file = fopen(path, "wbe");
    if (file == NULL)
        return false;
    size_t done = fwrite(text_string(content), 1, content->length, file);
    bool good = done == content->length && fflush(file) == 0;
    int why = errno;
    if (fclose(file) != 0 && good) {
        why = errno;
        good = false;
    }
    errno = why;
    return good;
}

enum status file_write(const char *path, const struct text *content, struct complaint *complaint)
{
    struct text part = {0};
    enum status status = STATUS_OK;
    text_add(&part, path);
    text_add(&part, ".part");
    if (content->failed || part.failed) {
        status = complain(complaint, STATUS_MEMORY, "no memory left to write %s", path);
    } else if (!write_all(text_string(&part), content)) {
        status = refused(complaint, "write", path);
        unlink(text_string(&part));
    } else if (rename(text_string(&part), path) != 0) {
        status = refused(complaint, "replace", path);
        unlink(text_string(&part));
    }
    text_free(&part);
    return status;
}

enum status folder_write(const char *folder, const char *name, const struct text *content,
                         struct complaint *complaint)
{
    char *path = folder_path(folder, name);
    if (path == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory left to write %s", name);
    enum status status = file_write(path, content, complaint);
    free(path);
    return status;
}

static enum status read_file(FILE *file, const char *path, size_t most, struct text *out,
                             struct complaint *complaint)
{
    char bytes[16384];
    size_t got;
    while ((got = fread(bytes, 1, sizeof bytes, file)) > 0) {
        if (out->length + got > most)
            return complain(complaint, STATUS_BAD_DATA, "%s is larger than expected", path);
        text_add_bytes(out, bytes, got);
    }
    if (ferror(file))
        return refused(complaint, "read", path);
    return out->failed ? complain(complaint, STATUS_MEMORY, "no memory left to read %s", path)
                       : STATUS_OK;
}

enum status folder_read(const char *folder, const char *name, size_t most, struct text *out,
                        struct complaint *complaint)
{
    char *path = folder_path(folder, name);
    if (path == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory left to read %s", name);
    FILE *file = fopen(path, "rbe");
    enum status status = file == NULL ? refused(complaint, "read", path)
                                      : read_file(file, path, most, out, complaint);
    if (file != NULL)
        fclose(file);
    free(path);
    return status;
}
