/* names.c - see names.h. */
#include "names.h"

#include <errno.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "journal.h"

#define NAMES_TRIED 1000

/* "Tern's Reach" becomes "terns-reach": letters and digits, all else one hyphen, apostrophes
 * nothing. */
static void append_slug(char *to, size_t room, const char *text)
{
    size_t length = strlen(to);
    bool hyphen = true;
    for (; *text && length + 2 < room; text++) {
        unsigned char c = (unsigned char)*text;
        bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
        if (c == '\'' || (!letter && hyphen && length == strlen(to)))
            continue;
        if (!letter) {
            hyphen = true;
            continue;
        }
        if (hyphen)
            to[length++] = '-';
        hyphen = false;
        to[length++] = (char)(c >= 'A' && c <= 'Z' ? c + 'a' - 'A' : c);
        to[length] = '\0';
    }
}

void names_run(char *to, size_t room, int64_t start_unix_us, const char *boat)
{
    struct tm date;
    time_t seconds = (time_t)(start_unix_us / 1000000);
    gmtime_r(&seconds, &date);
    if (strftime(to, room < 48 ? room : 48, "%Y%m%dT%H%M%SZ", &date) == 0)
        snprintf(to, room, "run");
    append_slug(to, room < 80 ? room : 80, boat);
    size_t length = strlen(to);
    snprintf(to + length, room - length, ".h5");
}

bool names_is_free(const char *path)
{
    char other[PATH_ROOM + 8];
    if (access(path, F_OK) == 0)
        return false;
    snprintf(other, sizeof other, "%s.part", path);
    if (access(other, F_OK) == 0)
        return false;
    return journal_path(other, sizeof other, path) && access(other, F_OK) != 0;
}

enum status names_next(char *path, size_t room)
{
    size_t length = strlen(path);
    const char *ending = length > 3 && strcmp(path + length - 3, ".h5") == 0 ? ".h5" : "";
    size_t stem = length - strlen(ending);
    for (int number = 2; number < NAMES_TRIED; number++) {
        if (snprintf(path + stem, room - stem, "-%d%s", number, ending) >= (int)(room - stem))
            return STATUS_BAD_USAGE;
        if (names_is_free(path))
            return STATUS_OK;
    }
    return STATUS_EXISTS;
}

enum status names_find(char *to, size_t room, const char *folder, int64_t start_unix_us,
                       const char *boat)
{
    char name[128];
    names_run(name, sizeof name, start_unix_us, boat);
    if (snprintf(to, room, "%s/%s", folder, name) >= (int)room)
        return STATUS_BAD_USAGE;
    return names_is_free(to) ? STATUS_OK : names_next(to, room);
}

void names_folder(char *to, size_t room, const char *path)
{
    const char *slash = strrchr(path, '/');
    if (!slash)
        snprintf(to, room, ".");
    else
        snprintf(to, room, "%.*s", slash == path ? 1 : (int)(slash - path), path);
}

enum status names_make_folder(const char *path, const struct voice *voice)
{
    char folder[PATH_ROOM];
    struct stat about;
    names_folder(folder, sizeof folder, path);
    if (stat(folder, &about) == 0) {
        if (S_ISDIR(about.st_mode) && access(folder, W_OK | X_OK) == 0)
            return STATUS_OK;
        say(voice, SAY_ERROR, "runs cannot be written to %s: %s", folder,
            S_ISDIR(about.st_mode) ? status_words(errno) : "it is not a folder");
        return STATUS_IO;
    }
    if (mkdir(folder, 0777) == 0) {
        say(voice, SAY_NOTE, "made the folder %s", folder);
        return STATUS_OK;
    }
    say(voice, SAY_ERROR,
        "the folder %s is not there and cannot be made: %s. Make it first, or name another one "
        "with --directory or --output",
        folder, strerror(errno));
    return STATUS_NOT_FOUND;
}
