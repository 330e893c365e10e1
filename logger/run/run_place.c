/* run_place.c - names of a run file, and putting it there for good. */
#include "run_place.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <limits.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool is_there(const char *path)
{
    struct stat info;
    return lstat(path, &info) == 0;
}

static void folder_of(const char *path, char folder[PATH_MAX])
{
    char copy[PATH_MAX];
    snprintf(copy, sizeof copy, "%s", path);
    snprintf(folder, PATH_MAX, "%s", dirname(copy));
}

/* What to say, and which status, when the system refuses to make or write a file. */
static enum status refuse(struct complaint *complaint, int number, const char *path)
{
    char folder[PATH_MAX];
    folder_of(path, folder);
    switch (number) {
    case ENOENT:
        return complain(complaint, STATUS_NOT_FOUND,
                        "the folder %s does not exist; create it (mkdir -p) or choose another "
                        "place for the run",
                        folder);
    case ENOTDIR:
        return complain(complaint, STATUS_NOT_FOUND,
                        "%s is not a folder; choose another place for the run", folder);
    case EACCES:
    case EPERM:
        return complain(complaint, STATUS_IO,
                        "no permission to write into the folder %s; change its permissions or "
                        "choose another place for the run",
                        folder);
    case EROFS:
        return complain(complaint, STATUS_IO,
                        "%s lies on storage that is read-only; choose another place for the run",
                        folder);
    case ENOSPC:
    case EDQUOT:
        return complain(complaint, STATUS_FULL,
                        "the storage of %s is full; make room there or choose another place for "
                        "the run",
                        folder);
    case ENAMETOOLONG:
        return complain(complaint, STATUS_BAD_USAGE,
                        "the name of the run file is too long; choose a shorter one");
    default:
        return complain(complaint, STATUS_IO, "%s: %s", path, strerror(number));
    }
}

enum status place_claim(const char *path, const char *part, struct complaint *complaint)
{
    if (is_there(path))
        return complain(complaint, STATUS_EXISTS,
                        "%s is there already and is never overwritten; choose another name or "
                        "move the old file away",
                        path);
    int file = open(part, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (file < 0 && errno == EEXIST)
        return complain(complaint, STATUS_EXISTS,
                        "%s is there: either a recording to it is still going on, or one was cut "
                        "off. If none is running, move that file away, or choose another name",
                        part);
    if (file < 0)
        return refuse(complaint, errno, part);
    close(file);
    return STATUS_OK;
}

enum status place_sync(const char *part, struct complaint *complaint)
{
    int file = open(part, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return refuse(complaint, errno, part);
    int failed = fsync(file) != 0 ? errno : 0;
    posix_fadvise(file, 0, 0, POSIX_FADV_DONTNEED);
    close(file);
    return failed ? refuse(complaint, failed, part) : STATUS_OK;
}

/* Not every file system can rename without overwriting, and not every one has hard links (FAT has
 * neither): the last way has a moment between the look and the rename. */
static int rename_without_overwriting(const char *from, const char *to)
{
    if (renameat2(AT_FDCWD, from, AT_FDCWD, to, RENAME_NOREPLACE) == 0)
        return 0;
    if (errno != EINVAL && errno != ENOSYS)
        return errno;
    if (link(from, to) == 0) {
        unlink(from); /* the run is where it should be, even if its first name stays */
        return 0;
    }
    if (errno == EEXIST)
        return EEXIST;
    if (is_there(to))
        return EEXIST;
    return rename(from, to) == 0 ? 0 : errno;
}

static enum status sync_folder(const char *path, struct complaint *complaint)
{
    char folder[PATH_MAX];
    folder_of(path, folder);
    int handle = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (handle < 0)
        return refuse(complaint, errno, path);
    /* Some file systems cannot sync a folder and say EINVAL; they order names on their own. */
    int failed = fsync(handle) != 0 && errno != EINVAL ? errno : 0;
    close(handle);
    return failed ? refuse(complaint, failed, path) : STATUS_OK;
}

enum status place_publish(const char *part, const char *path, struct complaint *complaint)
{
    int failed = rename_without_overwriting(part, path);
    if (failed == EEXIST)
        return complain(complaint, STATUS_EXISTS,
                        "%s appeared while the run was recorded and is not overwritten; the run is "
                        "complete in %s: give it another name",
                        path, part);
    if (failed)
        return refuse(complaint, failed, path);
    return sync_folder(path, complaint);
}
