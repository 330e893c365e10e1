/* cache.h - outings kept from one time to the next, so that a run file need not be read again. It
 * may be thrown away at any time.
 *
 * A folder (0700) with two kinds of files, each beginning with a line that ends with the SHA-256 of
 * all that follows it; whatever does not fit is ignored and written anew:
 *
 *     SHA256.outing    "searun outing VERSION PROGRAM CHECK", then JSON (outing_json.c): what is
 *                      said of the run file with that SHA-256 by that version of OUTING_VERSION and
 *                      of the program
 *     index            "searun index 1 CHECK", then a line a file: SHA-256, inode, size, and when
 *                      it was last written and last changed in any way, ns; used last, first
 *
 * The content alone decides: the index only spares taking the SHA-256 of a file again. A file
 * counts as the same if its inode, size and both times are. The time of writing can be set back by
 * those who copy files, the time of change cannot. Files that were touched within three seconds of
 * our look are not indexed: a later change could have the same times (the clock of the cache's file
 * system says what time it is).
 */
#ifndef SEARUN_CACHE_H
#define SEARUN_CACHE_H

#include "outing.h"

#define CACHE_RUNS 4000                  /* run files at most ... */
#define CACHE_BYTES (64ll * 1024 * 1024) /* ... and bytes: the longest unused goes first */

/* A file as the system tells it apart. */
struct file_mark {
    uint64_t inode, size;
    int64_t written, changed; /* ns since 1970, by the file system */
};

struct cache_line {
    struct file_mark mark;
    char sha256[65];
    bool used;
};

struct cache {
    char *folder;   /* NULL: nothing can be kept, everything is read */
    int64_t opened; /* ns, by the clock of the file system */
    size_t count, room;
    struct cache_line *lines;
    bool added; /* something new is to be written */
};

/* Opens the cache in that folder, which is made (its parent must be there); NULL: searun in
 * $XDG_CACHE_HOME, or else in ~/.cache (XDG Base Directory Specification 0.8). Where that cannot
 * be, nothing is kept. cache_close in every case. */
void cache_open(const char *folder, struct cache *cache);

/* Writes the index, throws out what is too much, frees. */
void cache_close(struct cache *cache);

/* False if there is no such file. */
bool file_mark_of(const char *path, struct file_mark *mark);
bool file_mark_same(const struct file_mark *a, const struct file_mark *b);

/* The SHA-256 of the file with that mark; NULL if it has to be taken. */
const char *cache_sha256(struct cache *cache, const struct file_mark *mark);

/* Notes the SHA-256 that was taken of the file while it had that mark. */
void cache_know(struct cache *cache, const struct file_mark *mark, const char *sha256);

/* What was kept of the file with that content; false if nothing was, or nothing whole. Path and
 * name are left empty. outing_free in every case. */
bool cache_find(const struct cache *cache, const char *sha256, struct outing *out);

/* Keeps it. Whether that succeeds makes no difference to anybody. */
void cache_keep(const struct cache *cache, const struct outing *outing);

#endif
