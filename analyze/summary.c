/* summary.c - see summary.h. */
#include "summary.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "facts.h"
#include "provenance.h"

static enum status copy_facts(const struct facts *from, struct run_summary *out,
                              struct complaint *complaint)
{
    out->facts = calloc(1, sizeof *out->facts);
    if (!out->facts)
        return complain(complaint, STATUS_MEMORY, "no memory left for the facts of %s", out->path);
    enum status status = STATUS_OK;
    for (size_t i = 0; i < from->count && !status; i++)
        status = facts_set(out->facts, from->list[i].section, from->list[i].engine,
                           from->list[i].key, from->list[i].value, complaint);
    return status;
}

/* Seconds covered by gaps, where several inputs fail at once only once. */
static double gap_union(const struct run_gap *gaps, size_t count)
{
    double covered = 0.0, until = -INFINITY;
    for (;;) {
        const struct run_gap *next = NULL; /* the first that reaches beyond what is covered */
        for (size_t i = 0; i < count; i++)
            if (gaps[i].to > until && (!next || gaps[i].from < next->from))
                next = &gaps[i];
        if (!next)
            return covered;
        covered += next->to - fmax(next->from, until);
        until = next->to;
    }
}

/* Several inputs: the union would cost too much where gaps are thousands; their sum bounds it. */
#define GAPS_EXACT 200

static enum status sum_gaps(struct run *run, struct run_summary *out, struct complaint *complaint)
{
    const struct run_gap *gaps;
    enum status status = run_gaps(run, &gaps, &out->gap_count, complaint);
    if (status)
        return status;
    for (size_t i = 0; i < out->gap_count; i++)
        out->lost += gaps[i].lost;
    if (out->gap_count <= GAPS_EXACT)
        out->gap_seconds = gap_union(gaps, out->gap_count);
    else
        for (size_t i = 0; i < out->gap_count; i++)
            out->gap_seconds += fmax(0.0, gaps[i].to - gaps[i].from);
    out->gap_seconds = fmin(out->gap_seconds, out->duration);
    return STATUS_OK;
}

static void copy_words(const struct run_facts_of *about, struct run_summary *out)
{
    snprintf(out->run_id, sizeof out->run_id, "%s", about->run_id);
    snprintf(out->software, sizeof out->software, "%s", about->software);
    snprintf(out->clock, sizeof out->clock, "%s", clock_source_key(about->clock));
    out->start_unix_us = about->start_unix_us;
    out->duration = about->duration;
    out->closed_cleanly = about->closed_cleanly;
    out->rebuilt = about->rebuilt;
}

enum status summary_make(struct run *run, const char *path, const char *sha256, enum side side,
                         struct run_summary *out, struct complaint *complaint)
{
    const char *slash = strrchr(path, '/');
    memset(out, 0, sizeof *out);
    out->side = side;
    out->sea_mean = out->air_mean = NAN;
    snprintf(out->path, sizeof out->path, "%s", path);
    snprintf(out->name, sizeof out->name, "%s", slash ? slash + 1 : path);
    copy_words(run_about(run), out);
    enum status status = STATUS_OK;
    if (sha256)
        snprintf(out->sha256, sizeof out->sha256, "%s", sha256);
    else
        status = provenance_sha256(path, out->sha256, complaint);
    if (!status)
        status = copy_facts(run_facts(run), out, complaint);
    return status ? status : sum_gaps(run, out, complaint);
}
