/* recording.c - see recording.h. */
#include "recording.h"

#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "capture_text.h"
#include "input_replay.h"

enum status recording_new(const struct recording_start *start, struct recording **out)
{
    struct recording *it = calloc(1, sizeof *it);
    if (!it)
        return STATUS_MEMORY;
    if (config_copy(&it->config, start->config) != STATUS_OK) {
        free(it);
        return STATUS_MEMORY;
    }
    it->start = *start;
    it->start.config = NULL;
    it->start_unix_us = start->start_unix_us;
    it->clock = start->clock;
    it->claim.fd = -1;
    *out = it;
    return STATUS_OK;
}

void recording_free(struct recording *it)
{
    if (!it)
        return;
    worker_end(it->worker, false);
    intake_free(&it->intake);
    watch_free(it->watch);
    journal_release(&it->claim);
    config_free(&it->config);
    free(it);
}

bool recording_believes(int64_t unix_us)
{
    return unix_us >= 0 && unix_us / 1000000 < CAPTURE_UNIX_S_MAX - 3600 * 24 * 365;
}

/* --- names */

static enum status make_name(struct recording *it)
{
    return names_find(it->path, sizeof it->path, it->config.settings.directory, it->start_unix_us,
                      facts_get(&it->config.facts, FACT_BOAT, 0, "name"));
}

static enum status name_run(struct recording *it)
{
    const char *output = it->start.output;
    it->named_by_us = !output;
    if (!output)
        return make_name(it);
    if (snprintf(it->path, sizeof it->path, "%s", output) >= (int)sizeof it->path - 16)
        return STATUS_BAD_USAGE;
    bool taken = it->start.numbered && !names_is_free(it->path); /* by the run before */
    return taken ? names_next(it->path, sizeof it->path) : STATUS_OK;
}

static void say_space(const struct recording *it)
{
    if (space_free(it->folder) == 0)
        say(it->start.voice, SAY_ERROR,
            "no space is left in %s; remove something or name another folder", it->folder);
}

/* --- beginning */

/* A capture is its own record; everything else has a journal. */
static enum status claim_journal(struct recording *it, struct complaint *complaint)
{
    if (it->start.replay)
        return STATUS_OK;
    if (!journal_path(it->journal, sizeof it->journal, it->path))
        return complain(complaint, STATUS_BAD_USAGE, "the name of the run is too long");
    return journal_claim_new(it->journal, &it->claim, complaint);
}

/* The run does not begin after all: an empty journal is of no use to anybody. */
static void unclaim_journal(struct recording *it)
{
    if (it->claim.fd >= 0)
        unlink(it->journal);
    journal_release(&it->claim);
}

static enum status start_writer(struct recording *it, char **settings, struct complaint *complaint)
{
    static const struct store *const live[] = {&journal_store, &run_file_store, NULL};
    static const struct store *const replayed[] = {&run_file_store, NULL};
    const struct run_start start = {
        .path = it->path,
        .start_unix_us = it->start_unix_us,
        .clock = it->clock,
        .facts = &it->config.facts,
        .inputs = it->start.inputs,
        .input_count = it->start.input_count,
        .software = "searun-logger " SEARUN_VERSION,
        .run_id = it->run_id,
        .settings = (const char *const *)(uintptr_t)settings,
    };
    const struct chore chore = {&it->space, space_look};
    size_t ring_size = (size_t)it->config.settings.ring_size * 1024 * 1024;
    run_make_id(it->run_id);
    return writer_new(it->start.replay ? replayed : live, &start, ring_size,
                      it->start.replay ? NULL : &chore, &it->writer, complaint);
}

static enum status open_writer(struct recording *it)
{
    struct complaint complaint = {"the run file cannot be made"};
    char **settings = config_list(&it->config);
    enum status status = settings ? claim_journal(it, &complaint)
                                  : complain(&complaint, STATUS_MEMORY, "no memory left");
    if (status == STATUS_OK)
        status = start_writer(it, settings, &complaint);
    if (status != STATUS_OK) {
        unclaim_journal(it);
        say(it->start.voice, SAY_ERROR, "%s", complaint.text);
    }
    config_list_free(settings);
    return status;
}

static enum status out_of_memory(const struct recording *it)
{
    say(it->start.voice, SAY_ERROR, "no memory left");
    return STATUS_MEMORY;
}

/* Where space is short from the start, the run does not begin. */
static enum status prepare_space(struct recording *it)
{
    names_folder(it->folder, sizeof it->folder, it->path);
    snprintf(it->space.folder, sizeof it->space.folder, "%s", it->folder);
    it->space.reserve = (uint64_t)(it->config.settings.reserve * 1024 * 1024);
    if (it->start.replay || space_free(it->folder) >= it->space.reserve)
        return STATUS_OK;
    space_make(it->folder, space_wanted(it->space.reserve));
    return space_free(it->folder) >= it->space.reserve ? STATUS_OK : STATUS_FULL;
}

static enum status begin(struct recording *it)
{
    const struct recording_start *start = &it->start;
    enum status status = name_run(it);
    if (status != STATUS_OK) {
        say(start->voice, SAY_ERROR, "no name for the run could be made in %s",
            it->config.settings.directory);
        return status;
    }
    status = names_make_folder(it->path, start->voice);
    if (status == STATUS_OK)
        status = prepare_space(it);
    if (status != STATUS_OK)
        return status;
    if (config_transducers(&it->config, &it->map) != STATUS_OK ||
        watch_new(start->voice, &it->config.facts, start->inputs, !start->replay, &it->watch) !=
            STATUS_OK)
        return out_of_memory(it);
    status = open_writer(it);
    if (status != STATUS_OK)
        return status;
    intake_init(&it->intake, it->writer, &it->map, it->watch, &it->dates, start->inputs,
                start->input_count);
    it->intake.zero = start->zero;
    it->intake.patient = start->replay != NULL;
    say(start->voice, SAY_NOTE, "recording to %s", it->path);
    return STATUS_OK;
}

/* Not every library says why it could not write. */
static bool is_want_of_space(const struct recording *it, enum status status)
{
    return !it->start.replay &&
           (status == STATUS_FULL ||
            (status == STATUS_IO && space_free(it->folder) < space_wanted(it->space.reserve)));
}

enum status recording_open(struct recording *it)
{
    it->status = begin(it);
    it->full |= is_want_of_space(it, it->status);
    return it->status;
}

void recording_open_beside(void *it, const _Atomic bool *stop)
{
    (void)stop;
    recording_open(it);
}

/* --- dates and names at the end */

/* A clock that was set while recording is believed as it stood at the end. */
static void look_at_clock(struct recording *it)
{
    int64_t tolerance_us = (int64_t)(it->config.settings.clock_tolerance * 1e6);
    int64_t start_us = it->end.by_clock_us;
    int64_t moved_us = start_us - it->start_unix_us;
    if (it->start.replay || llabs(moved_us) <= tolerance_us || !recording_believes(start_us))
        return;
    it->start_unix_us = start_us - ((start_us % 1000) + 1000) % 1000;
    it->clock = CLOCK_SYSTEM;
    say(it->start.voice, SAY_WARNING,
        "the computer's clock was set by %.1f s during the run; the run is dated by the clock as "
        "it is now",
        (double)moved_us / 1e6);
}

/* Judges the date of the run by what was heard, says so, and keeps it in the run file. A capture
 * has its own dates, which may be of any age. */
static void look_at_dates(struct recording *it)
{
    char text[DATES_TEXT_ROOM];
    int64_t tolerance_us = (int64_t)(it->config.settings.clock_tolerance * 1e6);
    struct dates_verdict verdict = dates_judge(&it->dates, it->start_unix_us, tolerance_us,
                                               it->start.replay ? DATES_ANY : DATES_PROGRAM_US);
    dates_tell(&verdict, it->clock, text, sizeof text);
    if (dates_is_odd(&verdict))
        say(it->start.voice, SAY_WARNING, "the run is dated %s", text);
    if (!it->start.replay)
        intake_event(&it->intake, it->end.at, "dated", text);
    if (!verdict.moved)
        return;
    it->start_unix_us = verdict.start_unix_us;
    it->clock = CLOCK_GNSS;
}

/* The run file is where it should be and was read back: the journal has done its work. */
static void put_away_journal(struct recording *it)
{
    struct complaint complaint = {""};
    if (it->claim.fd < 0)
        return;
    if (journal_finish(it->journal, it->config.settings.keep_journal, &complaint) != STATUS_OK)
        say(it->start.voice, SAY_WARNING, "%s", complaint.text);
    journal_release(&it->claim);
}

/* The kept journal is called as the run is. */
static void rename_kept_journal(const struct recording *it)
{
    char before[PATH_ROOM + 8], after[PATH_ROOM + 8], journal[PATH_ROOM];
    if (!it->journal[0] || !journal_path(journal, sizeof journal, it->path))
        return;
    snprintf(before, sizeof before, "%s.kept", it->journal);
    snprintf(after, sizeof after, "%s.kept", journal);
    renameat2(AT_FDCWD, before, AT_FDCWD, after, RENAME_NOREPLACE);
}

/* A name made from a date that turned out wrong is made again. An existing file is never
 * replaced. */
static void rename_run(struct recording *it, int64_t named_at_us)
{
    char before[PATH_ROOM];
    if (!it->named_by_us || named_at_us / 1000000 == it->start_unix_us / 1000000)
        return;
    snprintf(before, sizeof before, "%s", it->path);
    if (make_name(it) != STATUS_OK ||
        renameat2(AT_FDCWD, before, AT_FDCWD, it->path, RENAME_NOREPLACE) != 0)
        snprintf(it->path, sizeof it->path, "%s", before);
    else
        rename_kept_journal(it);
}

/* --- the end */

static void say_kept(const struct recording *it)
{
    const struct voice *voice = it->start.voice;
    char part[PATH_ROOM + 8];
    snprintf(part, sizeof part, "%s.part", it->path);
    if (access(it->path, F_OK) == 0)
        say(voice, SAY_ERROR, "what was recorded until then is in %s", it->path);
    else if (it->journal[0] && access(it->journal, F_OK) == 0)
        say(voice, SAY_ERROR,
            "what was recorded until then is in %s; the run file is made from it at the next "
            "start, "
            "or by searun-logger --rebuild %s",
            it->journal, it->journal);
    else if (access(part, F_OK) == 0)
        say(voice, SAY_ERROR, "what could be written is in %s; it may not open", part);
    else
        say(voice, SAY_ERROR, "nothing could be kept");
}

static void say_bad_lines(const struct recording *it)
{
    uint64_t count = it->start.replay ? input_replay_bad_lines(it->start.replay) : 0;
    if (count > 0)
        say(it->start.voice, SAY_WARNING,
            "%" PRIu64 " line%s of the capture could not be read (torn, or of another kind)", count,
            count == 1 ? "" : "s");
}

/* The file stays: it says when was listened, and to what. */
static enum status say_nothing_heard(const struct recording *it)
{
    say(it->start.voice, SAY_ERROR,
        "nothing at all was heard: there is nothing in this run to compare. Is the network on? "
        "Serial: wires A and B the right way round. CAN: interface up, at 250 kbit/s. UDP and TCP: "
        "the address and port that the gateway states");
    return STATUS_NOT_FOUND;
}

/* Ends intake, dates and file, in this order. */
static enum status finish(struct recording *it, int64_t end_at, struct complaint *complaint)
{
    int64_t named_at_us = it->start_unix_us;
    intake_finish(&it->intake, it->end.at);
    look_at_clock(it);
    look_at_dates(it);
    const struct run_end end = {.end = end_at,
                                .start_unix_us = it->start_unix_us,
                                .clock = it->clock,
                                .clean = it->end.clean,
                                .tallies = it->intake.tallies,
                                .facts = &it->config.facts};
    enum status status = writer_finish(it->writer, &end, complaint);
    it->writer = NULL;
    if (status != STATUS_OK)
        return status;
    put_away_journal(it);
    rename_run(it, named_at_us);
    return STATUS_OK;
}

enum status recording_close(struct recording *it)
{
    struct complaint complaint = {"the run file could not be finished"};
    int64_t end_at = it->end.at - it->start.zero;
    it->status = finish(it, end_at, &complaint);
    it->full |= is_want_of_space(it, it->status);
    watch_summary(it->watch, end_at, it->intake.tallies, it->start.input_count);
    say_bad_lines(it);
    if (it->status == STATUS_OK) {
        say(it->start.voice, SAY_NOTE, "recorded %s", it->path);
        if (!it->start.replay &&
            watch_heard_nothing(it->watch, end_at, it->intake.tallies, it->start.input_count))
            it->status = say_nothing_heard(it);
        return it->status;
    }
    say(it->start.voice, SAY_ERROR, "%s", complaint.text);
    say_space(it);
    say_kept(it);
    return it->status;
}

void recording_close_beside(void *it, const _Atomic bool *stop)
{
    (void)stop;
    recording_close(it);
}

/* --- meanwhile */

bool recording_hear(struct recording *it, int64_t at)
{
    struct complaint complaint = {"storage failed"};
    struct news news;
    while (writer_news(it->writer, &news)) {
        say(it->start.voice, news.kind == NEWS_NOTE ? SAY_NOTE : SAY_WARNING, "%s", news.text);
        intake_event(&it->intake, at, news.key, news.text);
        it->full |= news.kind == NEWS_FULL;
    }
    enum status status = writer_trouble(it->writer, &complaint);
    if (status == STATUS_OK)
        return !it->full;
    it->full |= is_want_of_space(it, status);
    say(it->start.voice, SAY_ERROR, "%s; the run ends here", complaint.text);
    intake_event(&it->intake, at, "storage_failed", complaint.text);
    say_space(it);
    return false;
}
