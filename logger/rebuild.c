/* rebuild.c - see rebuild.h. */
#include "rebuild.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "config.h"
#include "dates.h"
#include "intake.h"
#include "journal.h"
#include "journal_read.h"
#include "names.h"
#include "run_read.h"
#include "space.h"
#include "watch.h"
#include "writer.h"

#define RING_SIZE ((size_t)4 << 20)
#define PART_ROOM (PATH_ROOM + 8)
#define ASIDE_ROOM (PATH_ROOM + 32)
#define ASIDE_TRIED 100

/* Everything that a run needs while it is made again. */
struct rebuild {
    const struct rebuild_order *order;
    const struct voice *voice;
    struct journal_claim claim;
    struct journal_reader *reader;
    const struct journal_head *head;
    char path[PATH_ROOM]; /* of the run file */
    char part[PART_ROOM]; /* what the run that was cut off had begun; "": not ours to drop */
    struct config config; /* as it was when the run was recorded */
    struct transducer_map map;
    struct dates dates;
    struct watch *watch;
    struct writer *writer;
    struct intake intake;

    /* Inputs that were away when the journal stops, and since when. */
    struct {
        bool now;
        int64_t since;
        char why[96];
    } away[INPUTS_MAX];

    bool finished; /* its run file is there */
    uint64_t messages;
    int64_t end;    /* latest instant */
    bool ended;     /* on purpose */
    bool told_date; /* what the run was dated by is among its events */
    int64_t start_unix_us;
    enum clock_source clock;
};

static const struct voice nobody = {.fd = -1, .least = SAY_ERROR};

/* --- names */

static bool ends_with(const char *text, const char *ending)
{
    size_t length = strlen(text), tail = strlen(ending);
    return length > tail && strcmp(text + length - tail, ending) == 0;
}

/* The run file that a journal of this name belongs to. */
static bool run_of_name(const char *journal, char *to, size_t room)
{
    size_t stem = strlen(journal);
    if (ends_with(journal, JOURNAL_KEPT_SUFFIX))
        stem -= strlen(JOURNAL_KEPT_SUFFIX);
    else if (ends_with(journal, JOURNAL_SUFFIX))
        stem -= strlen(JOURNAL_SUFFIX);
    return snprintf(to, room, "%.*s.h5", (int)stem, journal) < (int)room;
}

/* The run file that the journal at this path belongs to: the name in its head, if that one's
 * journal is called so, else the name of the journal itself (it may have been renamed). */
static bool run_of_journal(const struct rebuild *it, char *to, size_t room)
{
    char folder[PATH_ROOM], journal[PATH_ROOM];
    const char *path = it->order->journal;
    bool has_folder = strchr(path, '/') != NULL;
    names_folder(folder, sizeof folder, path);
    const char *name = it->head->run;
    int length = has_folder
                     ? snprintf(to, room, "%s/%s", strcmp(folder, "/") == 0 ? "" : folder, name)
                     : snprintf(to, room, "%s", name);
    if (*name && !strchr(name, '/') && length < (int)room &&
        journal_path(journal, sizeof journal, to) && strcmp(journal, path) == 0)
        return true;
    return run_of_name(path, to, room);
}

static void name_part(char *to, size_t room, const char *run)
{
    snprintf(to, room, "%s.part", run);
}

/* Whether the run file at that path is sound and was made of this very run. */
static bool is_finished(const struct rebuild *it)
{
    struct run *run = NULL;
    if (!it->head->run_id[0] || run_open(it->path, &run, NULL) != STATUS_OK)
        return false;
    bool same = strcmp(run_about(run)->run_id, it->head->run_id) == 0;
    run_close(run);
    return same;
}

static enum status name_output(struct rebuild *it, struct complaint *complaint)
{
    bool named = it->order->output
                     ? snprintf(it->path, sizeof it->path, "%s", it->order->output) < PATH_ROOM
                     : run_of_journal(it, it->path, sizeof it->path);
    if (!named)
        return complain(complaint, STATUS_BAD_USAGE, "the name of the run file is too long");
    if (!it->order->output)
        name_part(it->part, sizeof it->part, it->path);
    if (access(it->path, F_OK) != 0)
        return STATUS_OK;
    it->finished = is_finished(it);
    if (it->order->sweep && !it->finished) /* another run has taken the name */
        return names_next(it->path, sizeof it->path);
    return complain(complaint, STATUS_EXISTS,
                    "%s is there already%s and is never overwritten; choose another name with "
                    "--output, or move the old file away",
                    it->path, it->finished ? ", made of this journal," : "");
}

/* What the run that was cut off had begun is of no use. Nobody works on it: the journal is
 * claimed. */
static void drop_part(const struct rebuild *it)
{
    if (it->part[0])
        unlink(it->part);
}

/* The same before the run is made, where it stands in the way. Where another run has taken the name
 * it stays until then. */
static void make_way(const struct rebuild *it)
{
    char own[PART_ROOM];
    name_part(own, sizeof own, it->path);
    if (strcmp(own, it->part) == 0)
        drop_part(it);
}

/* --- beginning */

/* Settings that this program does not know are told, and the rest counts. */
static void configure(struct rebuild *it)
{
    config_init(&it->config);
    for (size_t i = 0; i < it->head->setting_count; i++) {
        struct complaint complaint = {""};
        if (config_set(&it->config, it->head->settings[i], &complaint) != STATUS_OK)
            say(it->voice, SAY_WARNING, "%s: a setting is not understood and left out: %s",
                it->order->journal, complaint.text);
    }
}

static enum status open_writer(struct rebuild *it, struct complaint *complaint)
{
    static const struct store *const stores[] = {&run_file_store, NULL};
    const struct run_start start = {
        .path = it->path,
        .start_unix_us = it->head->start_unix_us,
        .clock = it->head->clock,
        .facts = &it->config.facts,
        .inputs = it->head->inputs,
        .input_count = it->head->input_count,
        .software = it->head->software,
        .run_id = it->head->run_id[0] ? it->head->run_id : NULL,
        .rebuilt = true,
    };
    return writer_new(stores, &start, RING_SIZE, NULL, &it->writer, complaint);
}

static enum status begin(struct rebuild *it, struct complaint *complaint)
{
    enum status status = journal_claim_old(it->order->journal, &it->claim, complaint);
    bool by_hand = !it->order->sweep && status == STATUS_IO && it->claim.fd >= 0;
    if (status == STATUS_OK || by_hand) /* who asks for it knows that nobody else is at it */
        status = journal_open(it->order->journal, &it->reader, complaint);
    if (status != STATUS_OK)
        return status;
    it->head = journal_head(it->reader);
    it->start_unix_us = it->head->start_unix_us;
    it->clock = it->head->clock;
    status = name_output(it, complaint);
    if (status != STATUS_OK)
        return status;
    make_way(it);
    configure(it);
    if (config_transducers(&it->config, &it->map) != STATUS_OK ||
        watch_new(&nobody, &it->config.facts, it->head->inputs, false, &it->watch) != STATUS_OK)
        return complain(complaint, STATUS_MEMORY, "no memory left");
    status = open_writer(it, complaint);
    if (status != STATUS_OK)
        return status;
    intake_init(&it->intake, it->writer, &it->map, it->watch, &it->dates, it->head->inputs,
                it->head->input_count);
    it->intake.patient = true;
    return STATUS_OK;
}

/* --- what the journal holds */

static void take_gap(struct rebuild *it, const struct journal_item *item)
{
    char why[96];
    snprintf(why, sizeof why, "%.*s", (int)item->length, item->bytes);
    if (item->input < INPUTS_MAX)
        it->away[item->input].now = false;
    intake_gap(&it->intake, item->input, item->at, item->until, why, item->count);
}

/* A fact that was told while the run was recorded: "sea_state=slight (uid 1000)". */
static void take_fact(struct rebuild *it, const char *text)
{
    char assignment[272];
    snprintf(assignment, sizeof assignment, "run.%s", text);
    char *who = strrchr(assignment, '(');
    if (who && who > assignment && strncmp(who, "(uid ", 5) == 0)
        who[-1] = '\0';
    config_set(&it->config, assignment, NULL);
}

/* "plotter: Connection refused": the gap follows when the input is back. */
static void take_away(struct rebuild *it, int64_t at, const char *text)
{
    for (size_t i = 0; i < it->head->input_count; i++) {
        const char *label = it->head->inputs[i].label;
        size_t length = strlen(label);
        if (strncmp(text, label, length) != 0 || strncmp(text + length, ": ", 2) != 0)
            continue;
        if (!it->away[i].now)
            it->away[i].since = at;
        it->away[i].now = true;
        snprintf(it->away[i].why, sizeof it->away[i].why, "%.95s", text + length + 2);
    }
}

static void take_event(struct rebuild *it, const struct journal_item *item)
{
    char text[256];
    snprintf(text, sizeof text, "%.*s", (int)item->length, item->bytes);
    if (strcmp(item->key, "fact") == 0)
        take_fact(it, text);
    if (strcmp(item->key, "input_away") == 0)
        take_away(it, item->at, text);
    it->told_date |= strcmp(item->key, "dated") == 0;
    intake_event(&it->intake, item->at, item->key, text);
}

static double seconds(int64_t ns)
{
    return (double)ns / 1e9;
}

/* "12.3 s to 12.6 s of the run" */
static void put_times(char *to, size_t room, const struct journal_item *item)
{
    if (item->until == INT64_MAX)
        snprintf(to, room, "from %.3f s of the run on", seconds(item->at));
    else
        snprintf(to, room, "from %.3f s to %.3f s of the run", seconds(item->at),
                 seconds(item->until));
}

/* Nothing is known of what was in the blocks, so every input has a gap there. */
static void take_damage(struct rebuild *it, const struct journal_item *item)
{
    char text[256], times[100];
    put_times(times, sizeof times, item);
    if (item->count == 0)
        snprintf(text, sizeof text, "%" PRIu64 " bytes that belong to no block, %s",
                 item->byte_count, times);
    else
        snprintf(text, sizeof text,
                 "%" PRIu64 " block%s torn, altered or missing (%" PRIu64 " bytes), %s",
                 item->count, item->count == 1 ? " is" : "s are", item->byte_count, times);
    say(it->voice, SAY_WARNING, "%s: %s", it->order->journal, text);
    intake_event(&it->intake, item->at, "journal_damaged", text);
    for (unsigned i = 0; item->count > 0 && item->until != INT64_MAX && i < it->intake.input_count;
         i++)
        intake_gap(&it->intake, i, item->at, item->until, "the journal is damaged here", 0);
}

static void take_date(struct rebuild *it, const struct journal_item *item)
{
    it->start_unix_us = item->start_unix_us;
    it->clock = item->clock;
}

static void note_instant(struct rebuild *it, int64_t at)
{
    if (at > it->end && at != INT64_MAX)
        it->end = at;
}

static void take_item(struct rebuild *it, const struct journal_item *item)
{
    note_instant(it, item->at);
    switch (item->what) {
    case JOURNAL_ITEM_LINE:
        it->messages++;
        intake_line(&it->intake, item->input, item->at, item->bytes, item->length);
        break;
    case JOURNAL_ITEM_FRAME:
        it->messages++;
        intake_frame(&it->intake, item->input, item->at, item->id, item->data, item->data_length);
        break;
    case JOURNAL_ITEM_GAP:
        note_instant(it, item->until);
        take_gap(it, item);
        break;
    case JOURNAL_ITEM_EVENT:
        take_event(it, item);
        break;
    case JOURNAL_ITEM_COUNT:
        note_instant(it, item->until);
        intake_counted(&it->intake, item->input, item->reason, item->at, item->until, item->count);
        break;
    case JOURNAL_ITEM_DATE:
        take_date(it, item);
        break;
    case JOURNAL_ITEM_END:
        it->ended = true;
        break;
    case JOURNAL_ITEM_DAMAGE:
        take_damage(it, item);
        break;
    }
}

static bool is_stopped(const struct rebuild *it)
{
    return it->order->stop && atomic_load(it->order->stop);
}

/* False if it was to stop, or storage failed. */
static bool take_all(struct rebuild *it)
{
    struct journal_item item;
    while (journal_next(it->reader, &item)) {
        take_item(it, &item);
        if (it->messages % 256 == 0 &&
            (is_stopped(it) || writer_trouble(it->writer, NULL) != STATUS_OK))
            return false;
    }
    return true;
}

/* --- the end */

/* The date of a run that was cut off is judged as it would have been at its end. */
static void judge_date(struct rebuild *it)
{
    char text[DATES_TEXT_ROOM];
    int64_t tolerance_us = (int64_t)(it->config.settings.clock_tolerance * 1e6);
    struct dates_verdict verdict =
        dates_judge(&it->dates, it->start_unix_us, tolerance_us, DATES_PROGRAM_US);
    if (it->ended || it->clock == CLOCK_GNSS)
        return;
    dates_tell(&verdict, it->clock, text, sizeof text);
    if (!it->told_date)
        intake_event(&it->intake, it->end, "dated", text);
    if (!verdict.moved)
        return;
    it->start_unix_us = verdict.start_unix_us;
    it->clock = CLOCK_GNSS;
}

/* Inputs that never came back before the run was cut off. */
static void tell_away(struct rebuild *it)
{
    for (unsigned i = 0; i < it->head->input_count; i++)
        if (it->away[i].now && it->away[i].since < it->end)
            intake_gap(&it->intake, i, it->away[i].since, it->end, it->away[i].why, 0);
}

static enum status finish_file(struct rebuild *it, struct complaint *complaint)
{
    if (!it->ended)
        tell_away(it);
    intake_finish(&it->intake, it->end);
    judge_date(it);
    const struct run_end end = {.end = it->end,
                                .start_unix_us = it->start_unix_us,
                                .clock = it->clock,
                                .clean = it->ended,
                                .tallies = it->intake.tallies,
                                .facts = &it->config.facts,
                                .records_rejected = journal_count(it->reader)->lost};
    enum status status = writer_finish(it->writer, &end, complaint);
    it->writer = NULL;
    return status;
}

static bool is_altered(const struct journal_count *count)
{
    return count->lost > count->torn_end || count->unreadable_bytes > 0 || count->unknown_lines > 0;
}

static void say_made(const struct rebuild *it)
{
    const struct journal_count *count = journal_count(it->reader);
    say(it->voice, SAY_NOTE, "made %s from its journal: %.1f s, %" PRIu64 " messages%s", it->path,
        seconds(it->end), it->messages,
        count->lost == 0    ? ", nothing missing"
        : is_altered(count) ? ""
                            : ", up to the last block that was finished");
    if (count->unreadable_bytes > 0)
        say(it->voice, SAY_WARNING, "%s: %" PRIu64 " bytes cannot be read; the storage is failing",
            it->order->journal, count->unreadable_bytes);
    if (count->unknown_lines > 0)
        say(it->voice, SAY_WARNING, "%s: %" PRIu64 " lines are of a kind that is not known here",
            it->order->journal, count->unknown_lines);
}

static void put_away(const struct rebuild *it, bool keep)
{
    struct complaint complaint = {""};
    if (journal_finish(it->order->journal, keep, &complaint) != STATUS_OK)
        say(it->voice, SAY_WARNING, "%s", complaint.text);
}

/* The journal has done its work; one that holds more than could be read is kept. */
static void put_away_made(const struct rebuild *it)
{
    bool altered = is_altered(journal_count(it->reader));
    if (it->order->output || !ends_with(it->order->journal, JOURNAL_SUFFIX))
        return;
    put_away(it, it->order->keep || altered);
    if (altered)
        say(it->voice, SAY_NOTE, "the damaged journal is kept as %s.kept", it->order->journal);
}

/* Whether the run has the name that its date of the start gave it. */
static bool is_named_by_date(const struct rebuild *it, const char *boat)
{
    char name[120];
    names_run(name, sizeof name, it->head->start_unix_us, boat);
    return strncmp(it->head->run, name, strlen(name) - strlen(".h5")) == 0;
}

/* A name made from a date that turned out wrong is made again, as at the end of a recording; after
 * the journal has gone, so that nobody looks for the run file under its old name. */
static void rename_run(struct rebuild *it)
{
    char before[PATH_ROOM], folder[PATH_ROOM], kept[2][PATH_ROOM + 8], journal[PATH_ROOM];
    const char *boat = facts_get(&it->config.facts, FACT_BOAT, 0, "name");
    bool moved = it->start_unix_us / 1000000 != it->head->start_unix_us / 1000000;
    if (!it->order->sweep || !moved || !is_named_by_date(it, boat))
        return;
    snprintf(before, sizeof before, "%s", it->path);
    names_folder(folder, sizeof folder, before);
    if (names_find(it->path, sizeof it->path, folder, it->start_unix_us, boat) != STATUS_OK ||
        renameat2(AT_FDCWD, before, AT_FDCWD, it->path, RENAME_NOREPLACE) != 0) {
        snprintf(it->path, sizeof it->path, "%s", before);
        return;
    }
    say(it->voice, SAY_NOTE, "it is called %s, by its right date", it->path);
    if (!journal_path(journal, sizeof journal, it->path))
        return;
    snprintf(kept[0], sizeof kept[0], "%s.kept", it->order->journal);
    snprintf(kept[1], sizeof kept[1], "%s.kept", journal);
    renameat2(AT_FDCWD, kept[0], AT_FDCWD, kept[1], RENAME_NOREPLACE);
}

static void clean_up(struct rebuild *it)
{
    if (it->writer)
        writer_abandon(it->writer);
    intake_free(&it->intake);
    watch_free(it->watch);
    config_free(&it->config);
    journal_close(it->reader);
    journal_release(&it->claim);
    free(it);
}

/* Gives it the name PATH.damaged, or one with a number. */
static bool move_aside(const char *path, char aside[ASIDE_ROOM], const struct voice *voice)
{
    snprintf(aside, ASIDE_ROOM, "%s.damaged", path);
    for (int number = 2; access(aside, F_OK) == 0 && number < ASIDE_TRIED; number++)
        snprintf(aside, ASIDE_ROOM, "%s.damaged-%d", path, number);
    if (renameat2(AT_FDCWD, path, AT_FDCWD, aside, RENAME_NOREPLACE) == 0 ||
        (errno == EINVAL && access(aside, F_OK) != 0 && rename(path, aside) == 0))
        return true;
    say(voice, SAY_WARNING, "%s cannot be renamed to %s: %s", path, aside, strerror(errno));
    return false;
}

/* No run file can be made of it: out of the way, but not lost, and neither is what had been written
 * of its run file: there is nothing else. */
static void set_aside(const char *path, const struct complaint *complaint,
                      const struct voice *voice)
{
    char aside[ASIDE_ROOM], run[PATH_ROOM], part[PART_ROOM] = "";
    struct stat about;
    if (run_of_name(path, run, sizeof run))
        name_part(part, sizeof part, run);
    if (stat(path, &about) == 0 && about.st_size == 0) { /* cut off before its first byte */
        unlink(part);
        unlink(path);
        return;
    }
    say(voice, SAY_WARNING, "%s", complaint->text);
    if (move_aside(path, aside, voice))
        say(voice, SAY_NOTE,
            "it is kept as %s: searun-logger --replay %s --output NEW.h5 makes a run of what is "
            "left in it; if nothing is, it may be removed",
            aside, aside);
    if (access(part, F_OK) == 0 && move_aside(part, aside, voice))
        say(voice, SAY_NOTE,
            "what had been written of its run file is kept as %s: searun-analyze check %s tells "
            "whether it can be read; if not, it may be removed",
            aside, aside);
}

static enum status make_run(struct rebuild *it, struct complaint *complaint)
{
    enum status status = begin(it, complaint);
    if (status != STATUS_OK)
        return status;
    if (it->order->sweep)
        say(it->voice, SAY_NOTE, "%s is left of a run that was cut off; making its run file",
            it->order->journal);
    if (!take_all(it)) {
        if (is_stopped(it))
            say(it->voice, SAY_NOTE, "%s is left for the next start", it->order->journal);
        return writer_trouble(it->writer, complaint);
    }
    status = finish_file(it, complaint);
    if (status != STATUS_OK)
        return status;
    say_made(it);
    drop_part(it);
    put_away_made(it);
    rename_run(it);
    return STATUS_OK;
}

static enum status try_rebuild(const struct rebuild_order *order, const struct voice *voice,
                               struct complaint *complaint)
{
    struct rebuild *it = calloc(1, sizeof *it);
    if (!it)
        return complain(complaint, STATUS_MEMORY, "no memory left");
    it->order = order;
    it->voice = voice;
    it->claim.fd = -1;
    enum status status = make_run(it, complaint);
    if (it->finished && order->sweep) { /* only the removal of the journal was cut off */
        drop_part(it);
        put_away(it, order->keep);
    }
    if (status == STATUS_BAD_DATA && order->sweep && !it->writer)
        set_aside(order->journal, complaint, voice);
    clean_up(it);
    return status;
}

enum status rebuild_run(const struct rebuild_order *order, const struct voice *voice)
{
    struct complaint complaint = {""};
    enum status status = try_rebuild(order, voice, &complaint);
    if (status != STATUS_OK)
        say(voice, SAY_ERROR, "%s", complaint.text);
    return status;
}

/* --- a folder */

static int is_journal(const struct dirent *entry)
{
    return ends_with(entry->d_name, JOURNAL_SUFFIX);
}

static void rebuild_one(const struct rebuild_order *order, const struct voice *voice)
{
    struct complaint complaint = {""};
    switch (try_rebuild(order, voice, &complaint)) {
    case STATUS_OK:
    case STATUS_EXISTS:    /* another program has it, or its run file is there */
    case STATUS_NOT_FOUND: /* another program has just finished it */
    case STATUS_BAD_DATA:  /* set aside */
        break;
    default:
        say(voice, SAY_WARNING, "%s; the journal stays for the next start", complaint.text);
    }
}

/* A run file is about a third as long as its journal; half is on the safe side. */
static bool is_space_for(const char *journal, const char *folder, uint64_t reserve,
                         const struct voice *voice)
{
    struct stat about;
    if (stat(journal, &about) != 0 || space_free(folder) >= reserve + (uint64_t)about.st_size / 2)
        return true;
    say(voice, SAY_WARNING,
        "%s is left of a run that was cut off, but there is too little space to make its run file; "
        "it stays for a later start",
        journal);
    return false;
}

void rebuild_folder(const char *folder, bool keep, uint64_t reserve, const _Atomic bool *stop,
                    const struct voice *voice)
{
    struct dirent **entries;
    int count = scandir(folder, &entries, is_journal, alphasort);
    for (int i = 0; i < count; i++) {
        char path[PATH_ROOM + 300];
        const struct rebuild_order order = {
            .journal = path, .keep = keep, .sweep = true, .stop = stop};
        snprintf(path, sizeof path, "%s/%s", folder, entries[i]->d_name);
        free(entries[i]);
        if ((!stop || !atomic_load(stop)) && is_space_for(path, folder, reserve, voice))
            rebuild_one(&order, voice);
    }
    if (count >= 0)
        free(entries);
}
