/* outings.c - see outings.h. */
#include "outings.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cache.h"
#include "provenance.h"
#include "workers.h"

struct gathering {
    const struct outings_options *options;
    char *const *paths;
    size_t count, done;
    struct outing_result *results;
    struct cache cache;
    size_t *missing; /* indices that the cache could not answer at once */
    size_t missing_count;
};

static void name_outing(struct outing *outing, const char *path)
{
    const char *slash = strrchr(path, '/');
    snprintf(outing->path, sizeof outing->path, "%s", path);
    snprintf(outing->name, sizeof outing->name, "%s", slash ? slash + 1 : path);
}

static void tell_progress(struct gathering *g)
{
    g->done++;
    if (g->options->progress)
        g->options->progress(g->options->self, g->done, g->count);
}

/* --- what a worker does with one file, and how it tells */

/* A file that changed meanwhile is no finished run. */
static enum status changed_meanwhile(const char *path, struct complaint *complaint)
{
    return complain(complaint, STATUS_BAD_DATA,
                    "%s changed while it was being read: it is still being recorded or copied. Try "
                    "again when it is finished",
                    path);
}

static enum status read_one(const struct gathering *g, const char *path, struct outing *out,
                            bool *kept, struct file_mark *mark, struct complaint *complaint)
{
    struct file_mark after;
    char sha256[65];
    *kept = false;
    if (!file_mark_of(path, mark))
        return outing_read_as(path, NULL, &g->options->wishes, out,
                              complaint); /* it has the words for it */
    enum status status = provenance_sha256(path, sha256, complaint);
    if (status)
        return status;
    *kept = cache_find(&g->cache, sha256, out);
    if (!*kept) {
        outing_free(out);
        status = outing_read_as(path, sha256, &g->options->wishes, out, complaint);
    }
    if (!status && !(file_mark_of(path, &after) && file_mark_same(mark, &after)))
        status = changed_meanwhile(path, complaint);
    if (!status && !*kept)
        cache_keep(&g->cache, out);
    return status;
}

/* In front of the JSON, or of the words of a complaint. */
struct told {
    enum status status;
    bool kept;
    struct file_mark mark;
};

static void do_job(void *self, size_t index, struct text *out)
{
    struct gathering *g = self;
    struct outing outing = {0};
    struct complaint complaint = {""};
    struct text json = {0};
    struct told told;
    memset(&told, 0, sizeof told);
    told.status =
        read_one(g, g->paths[g->missing[index]], &outing, &told.kept, &told.mark, &complaint);
    if (!told.status)
        told.status = outing_write_json(&outing, &json, &complaint);
    text_add_bytes(out, (const char *)&told, sizeof told);
    if (told.status)
        text_add(out, complaint.text);
    else
        text_add_bytes(out, text_string(&json), json.length);
    text_free(&json);
    outing_free(&outing);
}

static enum status take_outing(struct gathering *g, const struct told *told, const char *json,
                               size_t length, struct outing_result *result)
{
    result->kept = told->kept;
    enum status status = outing_read_json(json, length, &result->outing, &result->complaint);
    if (!status)
        cache_know(&g->cache, &told->mark, result->outing.sha256);
    return status;
}

static void take_job(void *self, size_t index, const char *bytes, size_t length)
{
    struct gathering *g = self;
    struct outing_result *result = &g->results[g->missing[index]];
    const char *path = g->paths[g->missing[index]];
    struct told told;
    if (!bytes || length < sizeof told) {
        result->status = complain(&result->complaint, STATUS_BAD_DATA,
                                  "%s: reading it made the program fail; the file is damaged, or "
                                  "there was no memory left",
                                  path);
    } else {
        memcpy(&told, bytes, sizeof told);
        bytes += sizeof told;
        length -= sizeof told;
        result->status = told.status
                             ? complain(&result->complaint, told.status, "%.*s", (int)length, bytes)
                             : take_outing(g, &told, bytes, length, result);
    }
    if (result->status)
        outing_free(&result->outing);
    else
        name_outing(&result->outing, path);
    tell_progress(g);
}

/* --- from first to last */

/* True if the cache knows the file without reading it. */
static bool find_kept(struct gathering *g, size_t index)
{
    struct outing_result *result = &g->results[index];
    struct file_mark mark;
    const char *sha256 =
        file_mark_of(g->paths[index], &mark) ? cache_sha256(&g->cache, &mark) : NULL;
    if (!sha256)
        return false;
    result->kept = cache_find(&g->cache, sha256, &result->outing);
    if (result->kept)
        name_outing(&result->outing, g->paths[index]);
    else
        outing_free(&result->outing);
    return result->kept;
}

static enum status gather(struct gathering *g, struct complaint *complaint)
{
    const struct work work = {g, do_job, take_job};
    size_t processes = g->options->processes ? g->options->processes : workers_usual();
    g->missing = calloc(g->count + 1, sizeof *g->missing);
    if (!g->missing)
        return complain(complaint, STATUS_MEMORY, "no memory left to read the runs");
    for (size_t i = 0; i < g->count; i++) {
        if (find_kept(g, i))
            tell_progress(g);
        else
            g->missing[g->missing_count++] = i;
    }
    return workers_run(&work, g->missing_count, processes, complaint);
}

enum status outings_read(char *const *paths, size_t count, const struct outings_options *options,
                         struct outing_result *results, struct complaint *complaint)
{
    struct gathering g = {.options = options, .paths = paths, .count = count, .results = results};
    memset(results, 0, count * sizeof *results);
    if (!options->no_cache && options->wishes.boat_file == NULL && options->wishes.count == 0)
        cache_open(options->cache, &g.cache);
    enum status status = gather(&g, complaint);
    cache_close(&g.cache);
    free(g.missing);
    return status;
}

void outings_free(struct outing_result *results, size_t count)
{
    for (size_t i = 0; i < count; i++)
        outing_free(&results[i].outing);
}
