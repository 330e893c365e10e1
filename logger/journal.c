/* journal.c - see journal.h. */
#include "journal.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "crc32c.h"
#include "journal_text.h"

#define PATH_ROOM 4096
#define BLOCK_GOAL ((size_t)64 * 1024) /* a block that has grown so long is written at once */
#define CLAIMS_TRIED 10
#define HEAD_EVERY 4096 /* blocks; so the head is there again every seven minutes at least */

struct journal {
    int fd;
    char path[PATH_ROOM];
    struct crc32c crc;
    int64_t start_unix_us;
    enum clock_source clock;
    int64_t clock_steps_us; /* by which the computer's clock was set so far */
    size_t input_count;
    struct run_input inputs[INPUTS_MAX];
    enum status failed; /* first failure of writing: nothing is appended behind a hole */
    char *head;
    size_t head_length;
    uint64_t number;     /* of the next block */
    uint64_t head_after; /* blocks until the head is written again */
    int64_t latest_us;   /* of all blocks */

    /* The block that is being filled. */
    int64_t from_us, until_us;
    size_t length;
    char body[BLOCK_GOAL + JOURNAL_LINE_MAX + JOURNAL_CLOSING_MAX];

    _Atomic uint64_t written; /* bytes in the file */
    uint64_t synced;          /* the keeper's: bytes that are durable */
};

/* --- names */

bool journal_path(char *to, size_t room, const char *run_path)
{
    size_t length = strlen(run_path);
    if (length > 3 && strcmp(run_path + length - 3, ".h5") == 0)
        length -= 3;
    return snprintf(to, room, "%.*s" JOURNAL_SUFFIX, (int)length, run_path) < (int)room;
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

static enum status sync_folder_of(const char *path)
{
    char folder[PATH_ROOM];
    const char *base = base_name(path);
    snprintf(folder, sizeof folder, "%.*s", (int)(base - path), path);
    int fd = open(base == path ? "." : folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return STATUS_IO;
    /* Some file systems cannot sync a folder and say EINVAL; they order names on their own. */
    bool failed = fsync(fd) != 0 && errno != EINVAL;
    close(fd);
    return failed ? STATUS_IO : STATUS_OK;
}

/* --- claims */

static enum status status_of(int error)
{
    return error == ENOSPC || error == EDQUOT    ? STATUS_FULL
           : error == ENOENT || error == ENOTDIR ? STATUS_NOT_FOUND
                                                 : STATUS_IO;
}

static enum status cannot(struct complaint *complaint, const char *path, const char *what,
                          int error)
{
    return complain(complaint, status_of(error), "the journal %s cannot be %s: %s", path, what,
                    strerror(error));
}

/* Whether the path still leads to the open file. */
static bool is_there(int fd, const char *path)
{
    struct stat open_file, named_file;
    return fstat(fd, &open_file) == 0 && stat(path, &named_file) == 0 &&
           open_file.st_dev == named_file.st_dev && open_file.st_ino == named_file.st_ino;
}

static enum status refuse_old(const char *path, struct complaint *complaint)
{
    struct journal_claim claim;
    enum status status = journal_claim_old(path, &claim, complaint);
    journal_release(&claim);
    if (status == STATUS_EXISTS)
        return status;
    return complain(complaint, STATUS_EXISTS,
                    "%s is there: a run of that name was cut off. Make its run file first "
                    "(searun-logger --rebuild %s), or choose another name",
                    path, path);
}

/* Waits: only who looks at an empty journal can have a new one, and removes it at once. Not every
 * file system has locks. */
static void lock_new(int fd)
{
    while (flock(fd, LOCK_EX) != 0 && errno == EINTR)
        continue;
}

/* Between making and locking it, another program may take an empty journal for one that was cut off
 * before its first byte, and remove it. */
enum status journal_claim_new(const char *path, struct journal_claim *claim,
                              struct complaint *complaint)
{
    for (int tries = 0; tries < CLAIMS_TRIED; tries++) {
        claim->fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (claim->fd < 0 && errno == EEXIST)
            return refuse_old(path, complaint);
        if (claim->fd < 0)
            return cannot(complaint, path, "made", errno);
        lock_new(claim->fd);
        if (is_there(claim->fd, path))
            return STATUS_OK;
        journal_release(claim);
    }
    return complain(complaint, STATUS_EXISTS, "%s is removed again and again by another program",
                    path);
}

/* Network file systems lock only what is open for writing. */
static int open_to_lock(const char *path)
{
    int fd = open(path, O_RDWR | O_CLOEXEC);
    return fd >= 0 ? fd : open(path, O_RDONLY | O_CLOEXEC);
}

enum status journal_claim_old(const char *path, struct journal_claim *claim,
                              struct complaint *complaint)
{
    claim->fd = open_to_lock(path);
    if (claim->fd < 0)
        return cannot(complaint, path, "opened", errno);
    if (flock(claim->fd, LOCK_EX | LOCK_NB) == 0) {
        if (is_there(claim->fd, path))
            return STATUS_OK;
        journal_release(claim); /* finished, and gone, since it was opened */
        return cannot(complaint, path, "opened", ENOENT);
    }
    if (errno != EWOULDBLOCK)
        return cannot(complaint, path, "locked", errno);
    journal_release(claim);
    return complain(complaint, STATUS_EXISTS,
                    "%s is being written or rebuilt by another program just now", path);
}

void journal_release(struct journal_claim *claim)
{
    if (claim->fd >= 0)
        close(claim->fd);
    claim->fd = -1;
}

/* --- blocks */

/* Appends all bytes, or takes back what got in, so that the file ends with a whole block. */
static enum status append(struct journal *journal, const char *bytes, size_t length)
{
    uint64_t before = atomic_load(&journal->written);
    for (size_t done = 0; done < length;) {
        ssize_t count = write(journal->fd, bytes + done, length - done);
        if (count < 0 && errno == EINTR)
            continue;
        if (count <= 0) {
            int error = count < 0 ? errno : ENOSPC;
            (void)!ftruncate(journal->fd, (off_t)before);
            errno = error;
            return status_of(error);
        }
        done += (size_t)count;
    }
    atomic_store(&journal->written, before + length);
    return STATUS_OK;
}

/* Closes the block in `bytes`, which has room behind it, and appends it. */
static enum status append_block(struct journal *journal, char *bytes, size_t length,
                                int64_t from_us, int64_t until_us)
{
    const struct journal_closing closing = {journal->number, length, from_us, until_us, 0};
    char *end = bytes + length;
    end += journal_text_closing(end, JOURNAL_CLOSING_MAX, &closing);
    uint32_t crc = crc32c_of(&journal->crc, bytes, (size_t)(end - bytes));
    end += journal_text_crc(end, JOURNAL_CRC_ROOM, crc);
    enum status status = append(journal, bytes, (size_t)(end - bytes));
    if (status == STATUS_OK)
        journal->number++;
    return status;
}

static enum status append_head(struct journal *journal)
{
    journal->head_after = HEAD_EVERY;
    return append_block(journal, journal->head, journal->head_length, journal->latest_us,
                        journal->latest_us);
}

static enum status flush(void *self)
{
    struct journal *journal = self;
    if (journal->length == 0 || journal->failed != STATUS_OK)
        return journal->failed;
    if (journal->head_after-- == 0)
        journal->failed = append_head(journal);
    if (journal->failed == STATUS_OK)
        journal->failed = append_block(journal, journal->body, journal->length, journal->from_us,
                                       journal->until_us);
    journal->length = 0;
    return journal->failed;
}

/* Where the next line goes; there is always room for the longest. */
static char *line_room(struct journal *journal)
{
    return journal->body + journal->length;
}

/* Takes the line that was written there, about something between two instants. */
static enum status take_line(struct journal *journal, size_t length, int64_t first, int64_t last)
{
    int64_t first_us = journal->start_unix_us + first / NS_PER_US;
    int64_t last_us = journal->start_unix_us + last / NS_PER_US;
    assert(length > 0); /* there is nothing of ours that this layout cannot say */
    if (journal->length == 0 || first_us < journal->from_us)
        journal->from_us = first_us;
    if (journal->length == 0 || last_us > journal->until_us)
        journal->until_us = last_us;
    if (last_us > journal->latest_us)
        journal->latest_us = last_us;
    journal->length += length;
    return journal->length < BLOCK_GOAL ? STATUS_OK : flush(journal);
}

/* --- what is kept */

static enum status take_message(struct journal *journal, const struct raw_message *message)
{
    size_t length =
        capture_text_message(line_room(journal), JOURNAL_LINE_MAX, journal->start_unix_us,
                             &journal->inputs[message->input], message);
    return take_line(journal, length, message->at, message->at);
}

static enum status keep_line(void *self, int64_t at, unsigned input, const char *bytes,
                             size_t length)
{
    const struct raw_message message = {
        .at = at, .input = input, .bytes = (const uint8_t *)bytes, .length = length};
    return take_message(self, &message);
}

static enum status keep_frame(void *self, int64_t at, unsigned input, uint32_t id,
                              const uint8_t *data, unsigned length)
{
    const struct raw_message message = {
        .at = at, .input = input, .is_can = true, .can_id = id, .bytes = data, .length = length};
    return take_message(self, &message);
}

static enum status keep_event(void *self, int64_t at, const struct origin *origin, const char *key,
                              const char *text)
{
    struct journal *journal = self;
    if (origin)
        return STATUS_OK;
    size_t length = capture_text_event(line_room(journal), JOURNAL_LINE_MAX, journal->start_unix_us,
                                       at, key, text);
    if (length == 0) /* the key is not one word */
        length = capture_text_event(line_room(journal), JOURNAL_LINE_MAX, journal->start_unix_us,
                                    at, "event", text);
    return take_line(journal, length, at, at);
}

static enum status keep_gap(void *self, int64_t from, int64_t until, unsigned input,
                            const char *why, uint64_t lost)
{
    struct journal *journal = self;
    return take_line(journal,
                     capture_text_gap(line_room(journal), JOURNAL_LINE_MAX, journal->start_unix_us,
                                      &journal->inputs[input], from, until, lost, why),
                     until, until);
}

static enum status keep_count(void *self, int64_t first, int64_t last, unsigned input,
                              enum reason reason, uint64_t count)
{
    struct journal *journal = self;
    return take_line(journal,
                     journal_text_count(line_room(journal), JOURNAL_LINE_MAX,
                                        journal->start_unix_us, &journal->inputs[input], reason,
                                        count, first, last),
                     last, last);
}

/* So the run has the right date even if its end is never written. */
static enum status keep_clock_set(void *self, int64_t at, int64_t step_us)
{
    struct journal *journal = self;
    int64_t start_us = journal->start_unix_us + (journal->clock_steps_us += step_us);
    if (start_us < 0 || start_us / 1000000 >= CAPTURE_UNIX_S_MAX)
        return STATUS_OK;
    return take_line(
        journal, journal_text_date(line_room(journal), JOURNAL_LINE_MAX, start_us, CLOCK_SYSTEM),
        at, at);
}

/* --- beginning */

/* A text that grows. */
struct text {
    char *bytes;
    size_t length, room;
    bool failed; /* no memory, or longer than a block may be */
};

static char *text_room(struct text *text)
{
    if (text->length + JOURNAL_LINE_MAX + JOURNAL_CLOSING_MAX > text->room) {
        text->room += JOURNAL_LINE_MAX * 4;
        char *grown = realloc(text->bytes, text->room);
        text->failed |= !grown;
        text->bytes = grown ? grown : text->bytes;
    }
    text->failed |= text->length > JOURNAL_BODY_MAX;
    return text->failed ? NULL : text->bytes + text->length;
}

#define ADD(text, put, ...)                                                                        \
    do {                                                                                           \
        char *room_ = text_room(text);                                                             \
        size_t length_ = room_ ? put(room_, JOURNAL_LINE_MAX, __VA_ARGS__) : 0;                    \
        (text)->failed |= length_ == 0;                                                            \
        (text)->length += length_;                                                                 \
    } while (0)

static enum status make_head(struct journal *journal, const struct run_start *start,
                             struct complaint *complaint)
{
    struct text head = {0};
    ADD(&head, capture_text_start, start->start_unix_us, start->clock);
    ADD(&head, journal_text_version, start->software ? start->software : "");
    ADD(&head, journal_text_run, base_name(start->path));
    if (start->run_id)
        ADD(&head, journal_text_id, start->run_id);
    for (size_t i = 0; i < start->input_count; i++)
        ADD(&head, capture_text_input, &start->inputs[i]);
    for (size_t i = 0; start->settings && start->settings[i]; i++)
        ADD(&head, journal_text_set, start->settings[i]);
    text_room(&head);
    journal->head = head.bytes;
    journal->head_length = head.length;
    return head.failed ? complain(complaint, STATUS_BAD_USAGE,
                                  "the facts and settings are too long for a journal (%zu KiB)",
                                  JOURNAL_BODY_MAX / 1024)
                       : STATUS_OK;
}

/* The head is written twice, so that damage to one block leaves it readable, and is durable before
 * anything is recorded. */
static enum status begin_file(struct journal *journal, struct complaint *complaint)
{
    struct stat about;
    journal->fd = open(journal->path, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0666);
    if (journal->fd < 0 || fstat(journal->fd, &about) != 0)
        return cannot(complaint, journal->path, "opened", errno);
    if (about.st_size > 0)
        return complain(complaint, STATUS_EXISTS, "%s is there already", journal->path);
    if (append_head(journal) != STATUS_OK || append_head(journal) != STATUS_OK ||
        fdatasync(journal->fd) != 0 || sync_folder_of(journal->path) != STATUS_OK)
        return cannot(complaint, journal->path, "written", errno);
    journal->synced = atomic_load(&journal->written);
    return STATUS_OK;
}

static void free_journal(struct journal *journal)
{
    if (journal->fd >= 0)
        close(journal->fd);
    free(journal->head);
    free(journal);
}

static void abandon(void *self)
{
    struct journal *journal = self;
    unlink(journal->path);
    free_journal(journal);
}

static enum status open_journal(const struct run_start *start, void **self,
                                struct complaint *complaint)
{
    struct journal *journal = calloc(1, sizeof *journal);
    if (!journal)
        return complain(complaint, STATUS_MEMORY, "no memory left for the journal");
    journal->fd = -1;
    crc32c_init(&journal->crc);
    journal->start_unix_us = journal->latest_us = start->start_unix_us;
    journal->clock = start->clock;
    journal->input_count = start->input_count;
    for (size_t i = 0; i < start->input_count; i++)
        journal->inputs[i] = start->inputs[i];
    enum status status = make_head(journal, start, complaint);
    if (status == STATUS_OK && !journal_path(journal->path, sizeof journal->path, start->path))
        status = complain(complaint, STATUS_BAD_USAGE, "the name of the run is too long");
    if (status == STATUS_OK)
        status = begin_file(journal, complaint);
    if (status != STATUS_OK) {
        free_journal(journal);
        return status;
    }
    *self = journal;
    return STATUS_OK;
}

/* --- durability and end */

/* Called by the keeper. What is written meanwhile is made durable the next time. */
static enum status make_durable(void *self)
{
    struct journal *journal = self;
    uint64_t written = atomic_load(&journal->written);
    if (written == journal->synced)
        return STATUS_OK;
    if (fdatasync(journal->fd) != 0)
        return STATUS_IO;
    journal->synced = written;
    return STATUS_OK;
}

static enum status take_end(struct journal *journal, const struct run_end *end)
{
    if (end->start_unix_us != journal->start_unix_us || end->clock != journal->clock)
        take_line(
            journal,
            journal_text_date(line_room(journal), JOURNAL_LINE_MAX, end->start_unix_us, end->clock),
            end->end, end->end);
    if (end->clean)
        take_line(journal,
                  capture_text_end(line_room(journal), JOURNAL_LINE_MAX,
                                   journal->start_unix_us + end->end / NS_PER_US),
                  end->end, end->end);
    return flush(journal);
}

/* A failure of writing was answered before; what is in the file is made durable all the same. */
static enum status close_journal(void *self, const struct run_end *end, struct complaint *complaint)
{
    struct journal *journal = self;
    enum status status = journal->failed == STATUS_OK ? take_end(journal, end) : STATUS_OK;
    if (fdatasync(journal->fd) != 0 && status == STATUS_OK)
        status = STATUS_IO;
    if (status != STATUS_OK)
        cannot(complaint, journal->path, "ended", errno);
    free_journal(journal);
    return status;
}

const struct store journal_store = {
    .name = "journal",
    .open = open_journal,
    .line = keep_line,
    .frame = keep_frame,
    .event = keep_event,
    .gap = keep_gap,
    .count = keep_count,
    .clock_set = keep_clock_set,
    .flush = flush,
    .sync = make_durable,
    .close = close_journal,
    .abandon = abandon,
};

enum status journal_finish(const char *path, bool keep, struct complaint *complaint)
{
    char kept[PATH_ROOM];
    if (!keep)
        return unlink(path) == 0 ? STATUS_OK : cannot(complaint, path, "removed", errno);
    if (snprintf(kept, sizeof kept, "%s.kept", path) >= (int)sizeof kept)
        return complain(complaint, STATUS_BAD_USAGE, "the name %s is too long", path);
    return rename(path, kept) == 0 ? STATUS_OK : cannot(complaint, path, "renamed", errno);
}
