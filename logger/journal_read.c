/* journal_read.c - see journal_read.h. */
#include "journal_read.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "crc32c.h"

#define PAGE ((size_t)4096) /* what is skipped where the system cannot read */
#define CHUNK ((size_t)256 * 1024)
/* The longest block, and behind it a piece that is longer than any line of ours. */
#define WINDOW (JOURNAL_BODY_MAX + JOURNAL_CLOSING_MAX + CHUNK)
#define AT_MAX_US (INT64_MAX / NS_PER_US)
#define SETTINGS_MAX 100000

struct journal_reader {
    int fd;
    struct crc32c crc;
    struct journal_head head;
    struct journal_count count;

    /* A piece of the file. */
    char *window;
    uint64_t base; /* where it lies */
    size_t have;

    /* Search; offsets in the file. */
    uint64_t done;         /* end of the last sound block */
    uint64_t scan;         /* next line to be looked at */
    uint64_t expected;     /* number of the next block */
    int64_t until_us;      /* latest instant of the blocks so far */
    uint64_t bad_closings; /* lines since `done` that may have closed a block */
    uint64_t bad_end;      /* end of the last of them */

    /* The block that was found last. */
    bool pending; /* damage before it was told, and it is still to be handed out */
    uint64_t block_begin, block_end;
    struct journal_closing closing;

    uint64_t line; /* in it: next line to be handed out, and where they end */
    uint64_t lines_end;
    unsigned last_input;
};

/* --- the window */

static const char *at_offset(const struct journal_reader *reader, uint64_t offset)
{
    return reader->window + (offset - reader->base);
}

/* What must stay: a block that ends at the line looked at may begin so far back. */
static uint64_t needed_from(const struct journal_reader *reader)
{
    uint64_t back = reader->scan > JOURNAL_BODY_MAX ? reader->scan - JOURNAL_BODY_MAX : 0;
    return back > reader->done ? back : reader->done;
}

static void discard(struct journal_reader *reader)
{
    uint64_t from = needed_from(reader);
    if (from <= reader->base)
        return;
    size_t gone = from - reader->base < reader->have ? (size_t)(from - reader->base) : reader->have;
    memmove(reader->window, reader->window + gone, reader->have - gone);
    reader->base += gone;
    reader->have -= gone;
}

/* A place that cannot be read counts as zeros: damage, and on behind it. */
static size_t skip_page(struct journal_reader *reader, size_t room)
{
    uint64_t offset = reader->base + reader->have;
    size_t count = PAGE - (size_t)(offset % PAGE);
    off_t end = lseek(reader->fd, 0, SEEK_END);
    if (end < 0 || offset >= (uint64_t)end)
        return 0;
    count = count < room ? count : room;
    count = count < (uint64_t)end - offset ? count : (size_t)((uint64_t)end - offset);
    memset(reader->window + reader->have, 0, count);
    reader->count.unreadable_bytes += count;
    return count;
}

/* Reads on. False at the end of the file. */
static bool fill(struct journal_reader *reader)
{
    discard(reader);
    if (reader->have == WINDOW) { /* no line of ours is so long */
        reader->scan = reader->base + reader->have;
        discard(reader);
    }
    size_t room = WINDOW - reader->have;
    ssize_t count;
    do {
        count = pread(reader->fd, reader->window + reader->have, room,
                      (off_t)(reader->base + reader->have));
    } while (count < 0 && errno == EINTR);
    size_t got = count >= 0 ? (size_t)count : skip_page(reader, room);
    reader->have += got;
    return got > 0;
}

/* The next line, from `scan` on, without its line feed. A last line without one is none. */
static bool next_line(struct journal_reader *reader, const char **line, size_t *length)
{
    uint64_t looked = reader->scan;
    for (;;) {
        uint64_t end = reader->base + reader->have;
        if (looked < reader->scan)
            looked = reader->scan;
        const char *feed =
            looked < end ? memchr(at_offset(reader, looked), '\n', (size_t)(end - looked)) : NULL;
        if (feed) {
            *line = at_offset(reader, reader->scan);
            *length = (size_t)(feed - *line);
            reader->scan += *length + 1;
            return true;
        }
        looked = end;
        if (!fill(reader))
            return false;
    }
}

/* --- blocks */

/* Whether the line, which ends before `scan`, closes a sound block. */
static bool closes(struct journal_reader *reader, const char *line, size_t length)
{
    struct journal_text text;
    uint64_t line_at = reader->scan - length - 1;
    if (journal_text_parse(line, length, &text) != JOURNAL_CLOSING)
        return false;
    const struct journal_closing *closing = &text.closing;
    if (closing->number < reader->expected || closing->length > line_at - reader->done ||
        line_at - closing->length < reader->base)
        return false;
    uint64_t begin = line_at - closing->length;
    size_t covered = closing->length + length - (JOURNAL_CRC_ROOM - 2);
    if (crc32c_of(&reader->crc, at_offset(reader, begin), covered) != closing->crc)
        return false;
    reader->closing = *closing;
    reader->block_begin = begin;
    reader->block_end = line_at;
    return true;
}

static bool find_block(struct journal_reader *reader)
{
    static const char word[] = "# block ";
    const char *line;
    size_t length;
    while (next_line(reader, &line, &length)) {
        if (length < sizeof word || memcmp(line, word, sizeof word - 1) != 0)
            continue;
        if (closes(reader, line, length))
            return true;
        reader->bad_closings++;
        reader->bad_end = reader->scan;
    }
    return false;
}

/* Goes to the block that was found: its lines are handed out next. */
static void enter_block(struct journal_reader *reader)
{
    reader->line = reader->block_begin;
    reader->lines_end = reader->block_end;
    reader->done = reader->scan;
    reader->expected = reader->closing.number + 1;
    if (reader->closing.until_us > reader->until_us)
        reader->until_us = reader->closing.until_us;
    reader->bad_closings = 0;
    reader->count.sound++;
}

static int64_t to_at(const struct journal_reader *reader, int64_t unix_us)
{
    int64_t us;
    if (__builtin_sub_overflow(unix_us, reader->head.start_unix_us, &us))
        us = AT_MAX_US;
    us = us > AT_MAX_US ? AT_MAX_US : us;
    return us < 0 ? 0 : us * NS_PER_US;
}

static void tell_damage(struct journal_reader *reader, struct journal_item *item, uint64_t blocks,
                        uint64_t bytes)
{
    item->what = JOURNAL_ITEM_DAMAGE;
    item->at = to_at(reader, reader->until_us);
    item->count = blocks;
    item->byte_count = bytes;
    reader->count.lost += blocks;
    reader->count.lost_bytes += bytes;
}

/* The next sound block, or what is missing before it. False at the end; *damage says which. */
static bool next_block(struct journal_reader *reader, struct journal_item *item, bool *damage)
{
    *damage = false;
    if (!reader->pending && !find_block(reader))
        return false;
    uint64_t bytes = reader->block_begin - reader->done;
    uint64_t blocks = reader->closing.number - reader->expected;
    *damage = !reader->pending && (bytes > 0 || blocks > 0);
    reader->pending = *damage;
    if (!*damage) {
        enter_block(reader);
        return true;
    }
    tell_damage(reader, item, blocks, bytes);
    int64_t until = to_at(reader, reader->closing.from_us);
    item->until = until > item->at ? until : item->at;
    return true;
}

/* What lies behind the last sound block; false if nothing does. */
static bool tell_end(struct journal_reader *reader, struct journal_item *item)
{
    uint64_t end = reader->base + reader->have;
    if (end <= reader->done)
        return false;
    reader->count.torn_end = reader->bad_closings == 0 || reader->bad_end < end;
    tell_damage(reader, item, reader->bad_closings + reader->count.torn_end, end - reader->done);
    item->until = INT64_MAX;
    reader->done = reader->scan = end;
    return true;
}

/* --- items */

static void copy_text(char *to, size_t room, const char *from, size_t length)
{
    length = length < room ? length : room - 1;
    memcpy(to, from, length);
    to[length] = '\0';
}

static bool is_label(const struct run_input *input, const char *label, size_t length)
{
    return strlen(input->label) == length && memcmp(input->label, label, length) == 0;
}

/* The input with that label, most often the one of the line before. False if there is none. */
static bool find_input(struct journal_reader *reader, const char *label, size_t length,
                       unsigned *input)
{
    const struct journal_head *head = &reader->head;
    for (size_t i = 0; i < head->input_count; i++) {
        unsigned number = (unsigned)((reader->last_input + i) % head->input_count);
        if (!is_label(&head->inputs[number], label, length))
            continue;
        *input = reader->last_input = number;
        return true;
    }
    return false;
}

/* Lines of the head say nothing again. */
static bool is_head_line(enum capture_text_kind kind)
{
    return kind == CAPTURE_START || kind == CAPTURE_INPUT;
}

static bool item_of_capture(struct journal_reader *reader, const struct capture_text *text,
                            struct journal_item *item)
{
    item->at = to_at(reader, text->unix_us);
    item->bytes = text->bytes;
    item->length = text->length;
    switch (text->kind) {
    case CAPTURE_LINE:
        item->what = JOURNAL_ITEM_LINE;
        return find_input(reader, text->label, text->label_length, &item->input);
    case CAPTURE_FRAME:
        item->what = JOURNAL_ITEM_FRAME;
        item->id = text->id;
        item->data_length = text->data_length;
        memcpy(item->data, text->data, sizeof item->data);
        return find_input(reader, text->label, text->label_length, &item->input);
    case CAPTURE_GAP:
        item->what = JOURNAL_ITEM_GAP;
        item->until = to_at(reader, text->until_unix_us);
        item->count = text->lost;
        return find_input(reader, text->label, text->label_length, &item->input);
    case CAPTURE_EVENT:
        item->what = JOURNAL_ITEM_EVENT;
        copy_text(item->key, sizeof item->key, text->label, text->label_length);
        return true;
    case CAPTURE_END:
        item->what = JOURNAL_ITEM_END;
        return true;
    case CAPTURE_OTHER:
    case CAPTURE_COMMENT:
    case CAPTURE_START:
    case CAPTURE_INPUT:
        break;
    }
    return false;
}

static bool item_of_journal(struct journal_reader *reader, const struct journal_text *text,
                            struct journal_item *item)
{
    if (text->kind == JOURNAL_DATE) {
        item->what = JOURNAL_ITEM_DATE;
        item->start_unix_us = text->start_us;
        item->clock = text->clock;
        return true;
    }
    item->what = JOURNAL_ITEM_COUNT;
    item->at = to_at(reader, text->first_us);
    item->until = to_at(reader, text->last_us);
    item->reason = text->reason;
    item->count = text->count;
    return text->reason < REASON_COUNT &&
           find_input(reader, text->label, text->label_length, &item->input);
}

/* Makes an item of a line of a sound block; false if it says nothing. */
static bool make_item(struct journal_reader *reader, const char *line, size_t length,
                      struct journal_item *item)
{
    struct journal_text ours;
    struct capture_text text;
    bool made = false;
    switch (journal_text_parse(line, length, &ours)) {
    case JOURNAL_COUNT:
    case JOURNAL_DATE:
        made = item_of_journal(reader, &ours, item);
        break;
    case JOURNAL_CAPTURE:
        if (is_head_line(capture_text_parse(line, length, &text)))
            return false;
        made = item_of_capture(reader, &text, item);
        break;
    case JOURNAL_FORMAT:
    case JOURNAL_RUN:
    case JOURNAL_ID:
    case JOURNAL_SET:
    case JOURNAL_CLOSING:
        return false;
    }
    reader->count.unknown_lines += !made;
    return made;
}

/* The next line of the present block. */
static bool take_line(struct journal_reader *reader, const char **line, size_t *length)
{
    if (reader->line >= reader->lines_end)
        return false;
    size_t left = (size_t)(reader->lines_end - reader->line);
    *line = at_offset(reader, reader->line);
    const char *feed = memchr(*line, '\n', left);
    *length = feed ? (size_t)(feed - *line) : left;
    reader->line += *length + 1;
    return true;
}

bool journal_next(struct journal_reader *reader, struct journal_item *item)
{
    const char *line;
    size_t length;
    bool damage;
    for (;;) {
        memset(item, 0, sizeof *item);
        while (take_line(reader, &line, &length))
            if (make_item(reader, line, length, item))
                return true;
        if (!next_block(reader, item, &damage))
            return tell_end(reader, item);
        if (damage)
            return true;
    }
}

/* --- the head */

static enum status add_setting(struct journal_head *head, const char *text, size_t length)
{
    char assignment[JOURNAL_LINE_MAX];
    if (head->setting_count == SETTINGS_MAX ||
        !journal_text_unescape(assignment, sizeof assignment, text, length))
        return STATUS_OK; /* of no program of ours */
    char **grown = realloc(head->settings, (head->setting_count + 1) * sizeof *grown);
    if (!grown)
        return STATUS_MEMORY;
    head->settings = grown;
    grown[head->setting_count] = strdup(assignment);
    if (!grown[head->setting_count])
        return STATUS_MEMORY;
    head->setting_count++;
    return STATUS_OK;
}

static void add_input(struct journal_head *head, const struct capture_text *text)
{
    if (head->input_count == INPUTS_MAX)
        return;
    struct run_input *input = &head->inputs[head->input_count++];
    copy_text(input->label, sizeof input->label, text->label, text->label_length);
    copy_text(input->text, sizeof input->text, text->bytes, text->length);
}

static enum status add_head_line(struct journal_head *head, const char *line, size_t length,
                                 int64_t *version)
{
    struct journal_text ours;
    struct capture_text text;
    switch (journal_text_parse(line, length, &ours)) {
    case JOURNAL_FORMAT:
        *version = ours.version;
        copy_text(head->software, sizeof head->software, ours.text, ours.length);
        break;
    case JOURNAL_RUN:
        if (!journal_text_unescape(head->run, sizeof head->run, ours.text, ours.length))
            head->run[0] = '\0';
        break;
    case JOURNAL_ID:
        copy_text(head->run_id, sizeof head->run_id, ours.text, ours.length);
        break;
    case JOURNAL_SET:
        return add_setting(head, ours.text, ours.length);
    case JOURNAL_CAPTURE:
        if (capture_text_parse(line, length, &text) == CAPTURE_INPUT)
            add_input(head, &text);
        break;
    case JOURNAL_COUNT:
    case JOURNAL_DATE:
    case JOURNAL_CLOSING:
        break;
    }
    return STATUS_OK;
}

/* Whether the present block is a head: it begins as a capture does, and says that it is of a
 * journal. */
static enum status read_head(struct journal_reader *reader, bool *is_head, int64_t *version)
{
    struct journal_head *head = &reader->head;
    const char *line;
    size_t length;
    struct capture_text text;
    enum status status = STATUS_OK;
    *is_head = false;
    if (!take_line(reader, &line, &length) ||
        capture_text_parse(line, length, &text) != CAPTURE_START)
        return STATUS_OK;
    head->start_unix_us = text.unix_us;
    head->clock = text.clock;
    *version = 0;
    while (status == STATUS_OK && take_line(reader, &line, &length))
        status = add_head_line(head, line, length, version);
    *is_head = *version > 0;
    return status;
}

static enum status find_head(struct journal_reader *reader, const char *name,
                             struct complaint *complaint)
{
    struct journal_item item;
    bool damage, is_head = false;
    int64_t version = 0;
    while (!is_head && next_block(reader, &item, &damage)) {
        enum status status = damage ? STATUS_OK : read_head(reader, &is_head, &version);
        if (status != STATUS_OK)
            return complain(complaint, status, "no memory left to read %s", name);
    }
    if (!is_head)
        return complain(
            complaint, STATUS_BAD_DATA,
            "%s has no sound beginning that says what it is of (%s), so its run file cannot be "
            "made again; searun-logger --replay makes a run of the messages in it that are whole",
            name,
            reader->count.sound > 0            ? "other parts of it are sound"
            : reader->base + reader->have == 0 ? "it is empty"
                                               : "it is torn there, or is no journal");
    if (version > JOURNAL_VERSION)
        return complain(
            complaint, STATUS_NO_TOOL,
            "%s was written by a newer program (%s, journal version %lld; this one reads "
            "up to %d); use that one",
            name, reader->head.software, (long long)version, JOURNAL_VERSION);
    return STATUS_OK;
}

/* Back to the beginning of the file. */
static void rewind_reader(struct journal_reader *reader)
{
    reader->base = reader->done = reader->scan = reader->expected = 0;
    reader->line = reader->lines_end = 0;
    reader->have = 0;
    reader->pending = false;
    reader->bad_closings = 0;
    reader->count = (struct journal_count){0};
    reader->until_us = reader->head.start_unix_us;
}

/* --- opening */

static enum status begin_reading(struct journal_reader *reader, const char *name,
                                 struct complaint *complaint)
{
    struct stat about;
    if (!reader->window)
        return complain(complaint, STATUS_MEMORY, "no memory left to read %s", name);
    if (fstat(reader->fd, &about) != 0 || !S_ISREG(about.st_mode))
        return complain(complaint, STATUS_BAD_DATA, "%s is not a file", name);
    return find_head(reader, name, complaint);
}

enum status journal_open_fd(int fd, const char *name, struct journal_reader **out,
                            struct complaint *complaint)
{
    struct journal_reader *reader = calloc(1, sizeof *reader);
    if (!reader) {
        close(fd);
        return complain(complaint, STATUS_MEMORY, "no memory left to read %s", name);
    }
    reader->fd = fd;
    reader->until_us = INT64_MIN;
    reader->window = malloc(WINDOW);
    crc32c_init(&reader->crc);
    enum status status = begin_reading(reader, name, complaint);
    if (status != STATUS_OK) {
        journal_close(reader);
        return status;
    }
    rewind_reader(reader);
    *out = reader;
    return STATUS_OK;
}

enum status journal_open(const char *path, struct journal_reader **out, struct complaint *complaint)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK); /* a pipe must not hold us up */
    if (fd < 0)
        return complain(complaint, errno == ENOENT ? STATUS_NOT_FOUND : STATUS_IO,
                        "the journal %s cannot be opened: %s", path, strerror(errno));
    return journal_open_fd(fd, path, out, complaint);
}

void journal_close(struct journal_reader *reader)
{
    if (!reader)
        return;
    for (size_t i = 0; i < reader->head.setting_count; i++)
        free(reader->head.settings[i]);
    free(reader->head.settings);
    free(reader->window);
    close(reader->fd);
    free(reader);
}

const struct journal_head *journal_head(const struct journal_reader *reader)
{
    return &reader->head;
}

const struct journal_count *journal_count(const struct journal_reader *reader)
{
    return &reader->count;
}
