/* space.c - see space.h. */
#include "space.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>
#include <unistd.h>

#include "journal.h"

#define MIB (1024.0 * 1024.0)

uint64_t space_free(const char *folder)
{
    struct statvfs space;
    if (statvfs(folder, &space) != 0)
        return UINT64_MAX;
    return (uint64_t)space.f_bavail * space.f_frsize;
}

uint64_t space_wanted(uint64_t reserve)
{
    uint64_t least = UINT64_C(1) << 20;
    uint64_t wanted = reserve + reserve / 4;
    return wanted > least ? wanted : least;
}

static int is_kept_journal(const struct dirent *entry)
{
    size_t length = strlen(entry->d_name), tail = strlen(JOURNAL_KEPT_SUFFIX);
    return length > tail && strcmp(entry->d_name + length - tail, JOURNAL_KEPT_SUFFIX) == 0;
}

static bool remove_journal(const char *folder, const char *name)
{
    char path[sizeof((struct space *)0)->folder + 260];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return unlink(path) == 0;
}

/* Names begin with the date, so their order is that of age. */
unsigned space_make(const char *folder, uint64_t wanted)
{
    struct dirent **entries;
    unsigned removed = 0;
    int count =
        space_free(folder) < wanted ? scandir(folder, &entries, is_kept_journal, alphasort) : -1;
    for (int i = 0; i < count; i++) {
        if (space_free(folder) < wanted)
            removed += remove_journal(folder, entries[i]->d_name);
        free(entries[i]);
    }
    if (count >= 0)
        free(entries);
    return removed;
}

static void tell_removed(struct writer *writer, unsigned count)
{
    struct news news = {.kind = NEWS_NOTE, .key = "journals_removed"};
    snprintf(news.text, sizeof news.text,
             "%u kept journal%s of finished runs removed to make room; their run files stay", count,
             count == 1 ? "" : "s");
    writer_tell(writer, &news);
}

static void tell_full(const struct space *space, struct writer *writer, uint64_t left)
{
    struct news news = {.kind = NEWS_FULL, .key = "disk_full"};
    snprintf(news.text, sizeof news.text,
             "only %.1f MiB of space are left in %.100s, less than the reserve of %g MiB",
             (double)left / MIB, space->folder, (double)space->reserve / MIB);
    writer_tell(writer, &news);
}

void space_look(void *self, struct writer *writer)
{
    struct space *space = self;
    if (space->told || space_free(space->folder) >= space->reserve)
        return;
    unsigned removed = space_make(space->folder, space_wanted(space->reserve));
    if (removed > 0)
        tell_removed(writer, removed);
    uint64_t left = space_free(space->folder);
    space->told = left < space->reserve;
    if (space->told)
        tell_full(space, writer, left);
}
