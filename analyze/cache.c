/* cache.c - see cache.h. Every failure here means only that something is read again. */
#include "cache.h"

#include <dirent.h>
#include <fcntl.h>
#include <inttypes.h>
#include <sha256.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "folder.h"

#define NS INT64_C(1000000000)
#define TOUCHED (3 * NS)      /* a file system may count in steps of two seconds */
#define LEFT_OVER (3600 * NS) /* age of files that were never finished */
#define ENTRY_MOST ((size_t)1 << 20)
#define INDEX_MOST ((size_t)CACHE_RUNS * 200)
#define INDEX_NAME "index"
#define INDEX_TITLE "searun index 1 "
#define SUFFIX ".outing"
#define TITLE_ROOM 200

/* --- marks */

static int64_t ns_of(struct timespec t)
{
    return (int64_t)t.tv_sec * NS + t.tv_nsec;
}

bool file_mark_of(const char *path, struct file_mark *mark)
{
    struct stat about;
    if (stat(path, &about) != 0)
        return false;
    *mark = (struct file_mark){.inode = about.st_ino,
                               .size = (uint64_t)about.st_size,
                               .written = ns_of(about.st_mtim),
                               .changed = ns_of(about.st_ctim)};
    return true;
}

bool file_mark_same(const struct file_mark *a, const struct file_mark *b)
{
    return a->inode == b->inode && a->size == b->size && a->written == b->written &&
           a->changed == b->changed;
}

/* --- whole files, told by their first line */

static void check_of(const char *bytes, size_t length, char hex[65])
{
    SHA256Data((const uint8_t *)bytes, length, hex);
}

/* The first line; NULL if memory ran out. */
static char *title_of(const char *title, const char *body, size_t length)
{
    struct text line = {0};
    char check[65];
    check_of(body, length, check);
    text_addf(&line, "%s%s\n", title, check);
    return text_take(&line);
}

/* What follows the first line, or NULL if that line is not what it should be. */
static const char *body_of(const struct text *file, const char *title)
{
    const char *bytes = text_string(file);
    const char *end = strchr(bytes, '\n');
    if (!end)
        return NULL;
    const char *body = end + 1;
    char *due = title_of(title, body, file->length - (size_t)(body - bytes));
    bool whole = due && strlen(due) == (size_t)(body - bytes) &&
                 memcmp(due, bytes, (size_t)(body - bytes)) == 0;
    free(due);
    return whole ? body : NULL;
}

static bool write_whole(const char *folder, const char *name, const char *title,
                        const struct text *body)
{
    struct text file = {0};
    char *line = title_of(title, text_string(body), body->length);
    text_add(&file, line ? line : "");
    text_add_bytes(&file, text_string(body), body->length);
    bool good = line && !body->failed && folder_write(folder, name, &file, NULL) == STATUS_OK;
    free(line);
    text_free(&file);
    return good;
}

/* --- the folder */

/* mkdir of one level; fine if it is there. */
static bool make_private(const char *path)
{
    struct stat about;
    return mkdir(path, 0700) == 0 || (stat(path, &about) == 0 && S_ISDIR(about.st_mode));
}

/* $XDG_CACHE_HOME counts only if it is an absolute path, as its specification says. */
static char *usual_folder(void)
{
    const char *base = getenv("XDG_CACHE_HOME"), *home = getenv("HOME");
    if (base && base[0] == '/')
        return make_private(base) ? folder_path(base, "searun") : NULL;
    if (!home || home[0] != '/')
        return NULL;
    char *caches = folder_path(home, ".cache");
    char *folder = caches && make_private(caches) ? folder_path(caches, "searun") : NULL;
    free(caches);
    return folder;
}

/* The time by the clock of the file system, from a file made for it; 0 if none can be made. */
static int64_t clock_of(const char *folder)
{
    struct text name = {0};
    struct file_mark mark = {0};
    text_addf(&name, "%s/clock-%ld", folder, (long)getpid());
    int file =
        name.failed ? -1 : open(text_string(&name), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    if (file >= 0) {
        bool written = write(file, "x", 1) == 1;
        close(file);
        if (!written || !file_mark_of(text_string(&name), &mark))
            mark.written = 0;
        unlink(text_string(&name));
    }
    text_free(&name);
    return mark.written;
}

/* --- the index */

static bool add_line(struct cache *cache, const struct cache_line *line)
{
    if (cache->count == cache->room) {
        size_t room = cache->room ? 2 * cache->room : 64;
        struct cache_line *lines = realloc(cache->lines, room * sizeof *lines);
        if (!lines)
            return false;
        cache->lines = lines;
        cache->room = room;
    }
    cache->lines[cache->count++] = *line;
    return true;
}

static bool is_sha256(const char *hex)
{
    return strlen(hex) == 64 && strspn(hex, "0123456789abcdef") == 64;
}

static void read_lines(struct cache *cache, const char *at)
{
    struct cache_line line = {.used = false};
    int length;
    while (cache->count < CACHE_RUNS &&
           sscanf(at, "%64s %" SCNu64 " %" SCNu64 " %" SCNd64 " %" SCNd64 "%n", line.sha256,
                  &line.mark.inode, &line.mark.size, &line.mark.written, &line.mark.changed,
                  &length) == 5 &&
           is_sha256(line.sha256) && add_line(cache, &line))
        at += length;
}

static void read_index(struct cache *cache)
{
    struct text file = {0};
    if (folder_read(cache->folder, INDEX_NAME, INDEX_MOST, &file, NULL) == STATUS_OK) {
        const char *body = body_of(&file, INDEX_TITLE);
        if (body)
            read_lines(cache, body);
    }
    text_free(&file);
}

void cache_open(const char *folder, struct cache *cache)
{
    *cache = (struct cache){.folder = folder ? strdup(folder) : usual_folder()};
    if (cache->folder && make_private(cache->folder))
        cache->opened = clock_of(cache->folder);
    if (cache->opened == 0) { /* not there, or not ours to write in */
        free(cache->folder);
        cache->folder = NULL;
        return;
    }
    read_index(cache);
}

const char *cache_sha256(struct cache *cache, const struct file_mark *mark)
{
    for (size_t i = 0; i < cache->count; i++)
        if (file_mark_same(&cache->lines[i].mark, mark)) {
            cache->lines[i].used = true;
            return cache->lines[i].sha256;
        }
    return NULL;
}

void cache_know(struct cache *cache, const struct file_mark *mark, const char *sha256)
{
    struct cache_line line = {.mark = *mark, .used = true};
    int64_t quiet = cache->opened - TOUCHED;
    if (!cache->folder || mark->written > quiet || mark->changed > quiet || !is_sha256(sha256) ||
        cache_sha256(cache, mark))
        return;
    memcpy(line.sha256, sha256, sizeof line.sha256);
    cache->added = add_line(cache, &line) || cache->added;
}

/* --- entries */

static void entry_title(char title[TITLE_ROOM])
{
    snprintf(title, TITLE_ROOM, "searun outing %d %s ", OUTING_VERSION, SEARUN_VERSION);
}

static void entry_name(const char *sha256, char name[80])
{
    snprintf(name, 80, "%.64s" SUFFIX, sha256);
}

bool cache_find(const struct cache *cache, const char *sha256, struct outing *out)
{
    struct text file = {0};
    char title[TITLE_ROOM], name[80];
    *out = (struct outing){0};
    if (!cache->folder || !is_sha256(sha256))
        return false;
    entry_title(title);
    entry_name(sha256, name);
    bool found = folder_read(cache->folder, name, ENTRY_MOST, &file, NULL) == STATUS_OK;
    const char *body = found ? body_of(&file, title) : NULL;
    found = body && outing_read_json(body, strlen(body), out, NULL) == STATUS_OK &&
            strcmp(out->sha256, sha256) == 0;
    text_free(&file);
    return found;
}

void cache_keep(const struct cache *cache, const struct outing *outing)
{
    struct text body = {0};
    char title[TITLE_ROOM], name[80];
    if (cache->folder && is_sha256(outing->sha256) &&
        outing_write_json(outing, &body, NULL) == STATUS_OK && body.length < ENTRY_MOST / 2) {
        entry_title(title);
        entry_name(outing->sha256, name);
        write_whole(cache->folder, name, title, &body);
    }
    text_free(&body);
}

/* --- throwing out */

static int by_sha256(const void *a, const void *b)
{
    return strcmp(((const struct cache_line *)a)->sha256, ((const struct cache_line *)b)->sha256);
}

static int64_t entry_bytes(const struct cache *cache, const char *sha256)
{
    struct file_mark mark = {0};
    char name[80];
    entry_name(sha256, name);
    char *path = folder_path(cache->folder, name);
    bool there = path && file_mark_of(path, &mark);
    free(path);
    return there ? (int64_t)mark.size : 0;
}

/* Used lines first, each kind in the order it had. */
static struct cache_line *order_lines(const struct cache *cache)
{
    struct cache_line *lines = calloc(cache->count + 1, sizeof *lines);
    size_t n = 0;
    for (int used = 1; lines && used >= 0; used--)
        for (size_t i = 0; i < cache->count; i++)
            if (cache->lines[i].used == (used == 1))
                lines[n++] = cache->lines[i];
    return lines;
}

/* How many of the lines fit the limits. */
static size_t count_fitting(const struct cache *cache, const struct cache_line *lines)
{
    int64_t bytes = 0;
    size_t n = 0;
    while (n < cache->count && n < CACHE_RUNS) {
        bytes += entry_bytes(cache, lines[n].sha256);
        if (bytes > CACHE_BYTES)
            break;
        n++;
    }
    return n;
}

static bool write_index(const struct cache *cache, const struct cache_line *lines, size_t count)
{
    struct text body = {0};
    for (size_t i = 0; i < count; i++)
        text_addf(&body, "%s %" PRIu64 " %" PRIu64 " %" PRId64 " %" PRId64 "\n", lines[i].sha256,
                  lines[i].mark.inode, lines[i].mark.size, lines[i].mark.written,
                  lines[i].mark.changed);
    bool good = write_whole(cache->folder, INDEX_NAME, INDEX_TITLE, &body);
    text_free(&body);
    return good;
}

/* Ours, and no longer of use: an entry that is not in the (sorted) lines, or a file that was never
 * finished. Young ones may be another process's, still to be indexed. */
static bool is_waste(const struct cache *cache, const char *name, const char *path,
                     const struct cache_line *lines, size_t count)
{
    struct file_mark mark;
    struct cache_line wanted = {.used = false};
    const char *suffix = strstr(name, SUFFIX);
    bool part = strncmp(name, INDEX_NAME ".new-", 10) == 0 || strncmp(name, "clock-", 6) == 0;
    if ((!suffix || suffix != name + 64) && !part)
        return false;
    if (!file_mark_of(path, &mark) || mark.written > cache->opened - LEFT_OVER)
        return false;
    if (part || suffix[sizeof SUFFIX - 1] != '\0')
        return true;
    memcpy(wanted.sha256, name, 64);
    return !bsearch(&wanted, lines, count, sizeof *lines, by_sha256);
}

static void throw_out(const struct cache *cache, struct cache_line *lines, size_t count)
{
    DIR *folder = opendir(cache->folder);
    qsort(lines, count, sizeof *lines, by_sha256);
    for (struct dirent *entry; folder && (entry = readdir(folder)) != NULL;) {
        char *path = folder_path(cache->folder, entry->d_name);
        if (path && is_waste(cache, entry->d_name, path, lines, count))
            unlink(path);
        free(path);
    }
    if (folder)
        closedir(folder);
}

void cache_close(struct cache *cache)
{
    struct cache_line *lines = cache->folder && cache->added ? order_lines(cache) : NULL;
    size_t count = lines ? count_fitting(cache, lines) : 0;
    if (lines && write_index(cache, lines, count))
        throw_out(cache, lines, count);
    free(lines);
    free(cache->lines);
    free(cache->folder);
    *cache = (struct cache){0};
}
