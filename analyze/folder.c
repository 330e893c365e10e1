/* folder.c - files of the output folder. */
#include "folder.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static enum status refused(struct complaint *complaint, const char *what, const char *path)
{
    enum status why = errno == ENOSPC || errno == EDQUOT ? STATUS_FULL : STATUS_IO;
    return complain(complaint, why, "cannot %s %s: %s", what, path, status_words(errno));
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

/* --- new files */

/* Does the file begin as every HDF5 file does (HDF5 file format specification, III.A)? */
static bool is_run_file(const char *path)
{
    static const char signature[] = "\x89HDF\r\n\x1a\n";
    char bytes[sizeof signature - 1];
    FILE *file = fopen(path, "rbe");
    if (file == NULL)
        return false;
    bool same = fread(bytes, 1, sizeof bytes, file) == sizeof bytes &&
                memcmp(bytes, signature, sizeof bytes) == 0;
    fclose(file);
    return same;
}

/* Looks at what is at `path` already: *special for what a rename must not replace. */
static enum status look_at(const char *path, bool *special, struct complaint *complaint)
{
    struct stat about;
    *special = false;
    if (stat(path, &about) != 0)
        return STATUS_OK;
    if (S_ISDIR(about.st_mode))
        return complain(complaint, STATUS_EXISTS, "%s is a folder; name a file", path);
    *special = !S_ISREG(about.st_mode);
    if (!*special && is_run_file(path))
        return complain(
            complaint, STATUS_EXISTS,
            "%s is a run file or another HDF5 file and is not overwritten; name another "
            "file",
            path);
    return STATUS_OK;
}

static FILE *create_beside(struct new_file *file)
{
    struct text name = {0};
    text_addf(&name, "%s.new-%ld", file->path, (long)getpid());
    file->beside = text_take(&name);
    if (file->beside == NULL) {
        errno = ENOMEM;
        return NULL;
    }
    return fopen(file->beside, "wbex");
}

enum status new_file_open(struct new_file *file, const char *path, struct complaint *complaint)
{
    bool special;
    *file = (struct new_file){.path = path};
    enum status status = look_at(path, &special, complaint);
    if (status != STATUS_OK)
        return status;
    file->stream = special ? fopen(path, "wbe") : create_beside(file);
    if (file->stream == NULL) {
        status = refused(complaint, "write", path);
        free(file->beside);
        file->beside = NULL;
    }
    return status;
}

enum status new_file_create(struct new_file *file, const char *path, struct complaint *complaint)
{
    struct stat about;
    if (stat(path, &about) == 0 && S_ISREG(about.st_mode) && !is_run_file(path))
        return complain(complaint, STATUS_EXISTS,
                        "%s is there already and was kept; name another file, or add --replace",
                        path);
    enum status status = new_file_open(file, path, complaint);
    file->fresh = true;
    return status;
}

/* Gives the file its name; where it must be fresh, a file that came meanwhile is kept. */
static int take_place(const struct new_file *file)
{
    if (!file->fresh)
        return rename(file->beside, file->path);
    int result = renameat2(AT_FDCWD, file->beside, AT_FDCWD, file->path, RENAME_NOREPLACE);
    /* Some file systems cannot look and rename at once. */
    return result != 0 && (errno == EINVAL || errno == ENOSYS) ? rename(file->beside, file->path)
                                                               : result;
}

enum status new_file_close(struct new_file *file, bool keep, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    bool good = fflush(file->stream) == 0 && !ferror(file->stream);
    int why = errno;
    if (fclose(file->stream) != 0 && good) {
        why = errno;
        good = false;
    }
    errno = why;
    if (!good)
        status = refused(complaint, "write", file->path);
    else if (keep && file->beside != NULL && take_place(file) != 0)
        status = refused(complaint, "replace", file->path);
    if (file->beside != NULL && (!keep || status != STATUS_OK))
        unlink(file->beside);
    free(file->beside);
    file->beside = NULL;
    return keep ? status : STATUS_OK;
}

enum status file_write(const char *path, const struct text *content, struct complaint *complaint)
{
    struct new_file file;
    if (content->failed)
        return complain(complaint, STATUS_MEMORY, "no memory left to write %s", path);
    enum status status = new_file_open(&file, path, complaint);
    if (status != STATUS_OK)
        return status;
    fwrite(text_string(content), 1, content->length, file.stream);
    return new_file_close(&file, true, complaint);
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
