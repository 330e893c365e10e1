/* capture.c - see capture.h. */
#include "capture.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "capture_text.h"
#include "capture_time.h"
#include "frame_0183.h"

#define BUFFER_SIZE ((size_t)256 * 1024)
#define AT_MAX_US (INT64_MAX / NS_PER_US)

/* --- lines of a file */

struct lines {
    int fd;
    char *buffer;
    size_t begin, end; /* what was read and not handed out */
    uint64_t offset;   /* of buffer[begin] in the file */
    bool at_end;
    enum status status;
};

static enum status rewind_lines(struct lines *lines)
{
    lines->begin = lines->end = 0;
    lines->offset = 0;
    lines->at_end = false;
    lines->status = STATUS_OK;
    return lseek(lines->fd, 0, SEEK_SET) == 0 ? STATUS_OK : STATUS_IO;
}

/* Reads on behind what is kept. False at the end of the file or if the buffer is full. */
static bool fill(struct lines *lines)
{
    if (lines->begin > 0) {
        memmove(lines->buffer, lines->buffer + lines->begin, lines->end - lines->begin);
        lines->end -= lines->begin;
        lines->begin = 0;
    }
    if (lines->at_end || lines->end == BUFFER_SIZE)
        return false;
    ssize_t count;
    do {
        count = read(lines->fd, lines->buffer + lines->end, BUFFER_SIZE - lines->end);
    } while (count < 0 && errno == EINTR);
    if (count < 0)
        lines->status = STATUS_IO;
    lines->at_end = count <= 0;
    lines->end += count > 0 ? (size_t)count : 0;
    return count > 0;
}

/* Hands out `length` bytes and passes over them and what ends the line. */
static void hand_out(struct lines *lines, size_t length, size_t ending, const char **line,
                     size_t *line_length, uint64_t *offset)
{
    *line = lines->buffer + lines->begin;
    *offset = lines->offset;
    lines->begin += length + ending;
    lines->offset += length + ending;
    while (length > 0 && (*line)[length - 1] == '\r')
        length--;
    *line_length = length;
}

/* The next line without its end; one that is longer than the buffer comes in pieces. */
static bool next_line(struct lines *lines, const char **line, size_t *length, uint64_t *offset)
{
    size_t looked = 0;
    for (;;) {
        char *from = lines->buffer + lines->begin;
        size_t there = lines->end - lines->begin;
        const char *feed = memchr(from + looked, '\n', there - looked);
        if (feed) {
            hand_out(lines, (size_t)(feed - from), 1, line, length, offset);
            return true;
        }
        looked = there;
        if (!fill(lines)) {
            if (there > 0)
                hand_out(lines, there, 0, line, length, offset);
            return there > 0;
        }
    }
}

/* --- the capture */

struct capture {
    struct lines lines;
    struct capture_about about;
    struct anchors anchors;
    size_t cursor;                  /* in the anchors */
    struct stamp_follower follower; /* CANDUMP, TAGGED */
    bool own_layout;                /* the first line was a START of ours */
    bool too_many_inputs;
    int64_t lead_us;       /* from run start to the first stamp or byte */
    int64_t first_unix_us; /* first stamp of a candump log or TAG c: */
    bool any_stamp;
    uint64_t frames, sentences, tagged; /* lines of each kind */
    unsigned last_input;                /* most lines are of the input of the line before */
    bool heard[INPUTS_MAX];
    int64_t last_at[INPUTS_MAX], last_stamp[INPUTS_MAX];
};

static const char *const titles[CAPTURE_KIND_COUNT] = {
    [CAPTURE_OWN] = "a searun capture",
    [CAPTURE_CANDUMP] = "a candump log",
    [CAPTURE_TAGGED] = "NMEA 0183 lines with TAG-block times",
    [CAPTURE_PLAIN] = "NMEA 0183 lines dated by RMC and ZDA",
    [CAPTURE_TIMELESS] = "NMEA 0183 lines without any time",
};

static bool is_label(const struct run_input *input, const char *label, size_t length)
{
    return strlen(input->label) == length && memcmp(input->label, label, length) == 0;
}

/* The number of the input with that label; one is added for a new label. */
static unsigned find_input(struct capture *capture, const char *label, size_t length)
{
    struct capture_about *about = &capture->about;
    if (length >= sizeof about->inputs[0].label)
        length = sizeof about->inputs[0].label - 1;
    if (capture->last_input < about->input_count &&
        is_label(&about->inputs[capture->last_input], label, length))
        return capture->last_input;
    for (unsigned i = 0; i < about->input_count; i++)
        if (is_label(&about->inputs[i], label, length))
            return capture->last_input = i;
    if (about->input_count == INPUTS_MAX) {
        capture->too_many_inputs = true;
        return INPUTS_MAX - 1;
    }
    struct run_input *input = &about->inputs[about->input_count];
    memset(input, 0, sizeof *input);
    memcpy(input->label, label, length);
    return capture->last_input = (unsigned)about->input_count++;
}

static void copy_bytes(char *to, size_t room, const char *from, size_t length)
{
    length = length < room ? length : room - 1;
    memcpy(to, from, length);
    to[length] = '\0';
}

/* --- the first look: kind, inputs, times */

static void catch_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    (void)at;
    (void)origin;
    *(int64_t *)self = unix_us;
}

static void ignore_readings(void *self, int64_t at, const struct origin *origin,
                            const struct value *values, size_t count)
{
    (void)self;
    (void)at;
    (void)origin;
    (void)values;
    (void)count;
}

static void ignore_event(void *self, int64_t at, const struct origin *origin, const char *key,
                         const char *text)
{
    (void)self;
    (void)at;
    (void)origin;
    (void)key;
    (void)text;
}

/* UTC that a sentence states, or INT64_MIN. The decoder says which ones can be trusted. */
static int64_t stated_utc(const struct sentence *sentence)
{
    int64_t unix_us = INT64_MIN;
    const struct sink sink = {&unix_us, ignore_readings, ignore_event, catch_utc};
    const struct transducer_map none = {0, NULL, 0};
    struct tally tally = {0};
    bool dated = sentence->length > 5 && (memcmp(sentence->text + 2, "RMC", 3) == 0 ||
                                          memcmp(sentence->text + 2, "ZDA", 3) == 0);
    if (dated)
        decode_sentence(&none, 0, 0, sentence, &sink, &tally);
    return unix_us;
}

static void note_stamp(struct capture *capture, int64_t unix_us)
{
    if (!capture->any_stamp)
        capture->first_unix_us = unix_us;
    capture->any_stamp = true;
    stamp_follow(&capture->follower, unix_us);
}

static enum status scan_0183(struct capture *capture, const char *line, size_t length,
                             uint64_t offset)
{
    struct sentence sentence;
    struct tally tally = {0};
    if (frame_0183_line(0, line, length, &sentence, &tally) != FRAME_READY)
        return STATUS_OK;
    capture->sentences++;
    if (sentence.has_time) {
        capture->tagged++;
        note_stamp(capture, sentence.unix_ms * 1000);
    }
    int64_t unix_us = stated_utc(&sentence);
    return unix_us == INT64_MIN ? STATUS_OK : anchors_add(&capture->anchors, offset, unix_us);
}

static void scan_input(struct capture *capture, const struct capture_text *text)
{
    unsigned number = find_input(capture, text->label, text->label_length);
    copy_bytes(capture->about.inputs[number].text, sizeof capture->about.inputs[0].text,
               text->bytes, text->length);
}

static void scan_start(struct capture *capture, const struct capture_text *text)
{
    capture->own_layout = true;
    capture->about.start_unix_us = text->unix_us;
    capture->about.clock = text->clock;
}

static enum status scan_line(struct capture *capture, const char *line, size_t length,
                             uint64_t offset)
{
    struct capture_text text;
    enum capture_text_kind kind = capture_text_parse(line, length, &text);
    if (kind == CAPTURE_START && offset == 0)
        scan_start(capture, &text);
    else if (capture->own_layout && kind == CAPTURE_INPUT)
        scan_input(capture, &text);
    else if (capture->own_layout && kind == CAPTURE_GAP)
        find_input(capture, text.label, text.label_length);
    else if (kind == CAPTURE_FRAME || (capture->own_layout && kind == CAPTURE_LINE)) {
        find_input(capture, text.label, text.label_length);
        capture->frames += kind == CAPTURE_FRAME;
        if (!capture->own_layout)
            note_stamp(capture, text.unix_us);
    } else if (!capture->own_layout && kind != CAPTURE_COMMENT && kind != CAPTURE_EVENT)
        return scan_0183(capture, line, length, offset);
    return STATUS_OK;
}

static enum status scan(struct capture *capture)
{
    const char *line;
    size_t length;
    uint64_t offset;
    enum status status = rewind_lines(&capture->lines);
    while (status == STATUS_OK && next_line(&capture->lines, &line, &length, &offset))
        status = scan_line(capture, line, length, offset);
    return status == STATUS_OK ? capture->lines.status : status;
}

/* --- what it is */

static enum status recognise(struct capture *capture)
{
    struct capture_about *about = &capture->about;
    if (capture->own_layout)
        about->kind = CAPTURE_OWN;
    else if (capture->frames > capture->sentences)
        about->kind = CAPTURE_CANDUMP;
    else if (capture->tagged > 0 && capture->tagged >= capture->sentences / 2)
        about->kind = CAPTURE_TAGGED;
    else if (capture->anchors.count > 0)
        about->kind = CAPTURE_PLAIN;
    else if (capture->sentences > 0)
        about->kind = CAPTURE_TIMELESS;
    else
        return STATUS_BAD_DATA;
    about->title = titles[about->kind];
    return STATUS_OK;
}

/* Dates of captures whose lines carry stamps: those of the first, unless the clock was far behind
 * at first and was set while recording. */
static void date_by_stamps(struct capture *capture)
{
    struct stamp_follower *follower = &capture->follower;
    capture->about.clock = CLOCK_CAPTURE;
    capture->about.start_unix_us =
        follower->date_jumped ? -follower->shift_us : capture->first_unix_us;
}

static void date(struct capture *capture)
{
    struct capture_about *about = &capture->about;
    switch (about->kind) {
    case CAPTURE_CANDUMP:
    case CAPTURE_TAGGED:
        date_by_stamps(capture);
        break;
    case CAPTURE_PLAIN:
        about->start_unix_us = anchors_settle(&capture->anchors);
        about->clock = CLOCK_GNSS;
        break;
    case CAPTURE_TIMELESS:
        about->start_unix_us = 0;
        about->clock = CLOCK_NOMINAL;
        break;
    case CAPTURE_OWN:
    case CAPTURE_KIND_COUNT:
        break;
    }
    if (about->kind != CAPTURE_OWN) {
        /* A run starts at a whole millisecond (capture_text.h), so a little before the first
         * stamp. */
        capture->lead_us = ((about->start_unix_us % 1000) + 1000) % 1000;
        about->start_unix_us -= capture->lead_us;
    }
}

/* Inputs that nothing in the capture describes are described by its name. */
static void describe_inputs(struct capture *capture, const char *name)
{
    struct capture_about *about = &capture->about;
    const char *slash = strrchr(name, '/');
    if (about->kind >= CAPTURE_TAGGED)
        about->input_count = 0;
    if (about->input_count == 0)
        find_input(capture, "capture", strlen("capture"));
    for (size_t i = 0; i < about->input_count; i++)
        if (!about->inputs[i].text[0])
            snprintf(about->inputs[i].text, sizeof about->inputs[i].text, "replay:%.80s",
                     slash ? slash + 1 : name);
}

/* --- opening */

/* Files that people take for captures. */
static const struct other_kind {
    const char *magic;
    size_t length;
    const char *words;
} others[] = {
    {"\x89HDF\r\n\x1a\n", 8, "it is an HDF5 file, perhaps a run; searun-analyze reads those"},
    {"\x1f\x8b", 2, "it is compressed; unpack it with gunzip first"},
    {"\xfd"
     "7zXZ",
     5, "it is compressed; unpack it with unxz first"},
    {"PK\x03\x04", 4, "it is a zip archive; unpack it first"},
};

static enum status complain_kind(struct capture *capture, const char *name,
                                 struct complaint *complaint)
{
    char magic[8] = "";
    const char *words = "it holds no sound NMEA 0183 sentence and no CAN frame";
    ssize_t length = pread(capture->lines.fd, magic, sizeof magic, 0);
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (length >= (ssize_t)others[i].length &&
            memcmp(magic, others[i].magic, others[i].length) == 0)
            words = others[i].words;
    if (length == 0)
        words = "it is empty";
    return complain(
        complaint, STATUS_BAD_DATA,
        "%s is not a capture: %s. A capture is NMEA 0183 lines, a log of candump -l, or "
        "what searun-analyze export --raw writes",
        name, words);
}

static enum status look_through(struct capture *capture, const char *name,
                                struct complaint *complaint)
{
    struct stat about;
    capture->lines.buffer = malloc(BUFFER_SIZE);
    if (!capture->lines.buffer)
        return complain(complaint, STATUS_MEMORY, "no memory to read %s", name);
    if (fstat(capture->lines.fd, &about) != 0 || !S_ISREG(about.st_mode))
        return complain(complaint, STATUS_BAD_DATA,
                        "%s is not a file; a capture is read twice, so save it to a file first",
                        name);
    enum status status = scan(capture);
    if (status != STATUS_OK)
        return complain(complaint, status, "%s cannot be read: %s", name, strerror(errno));
    if (recognise(capture) != STATUS_OK)
        return complain_kind(capture, name, complaint);
    if (capture->too_many_inputs)
        return complain(complaint, STATUS_BAD_DATA,
                        "%s holds more than %d inputs or interfaces; split it first", name,
                        INPUTS_MAX);
    date(capture);
    describe_inputs(capture, name);
    capture->follower = (struct stamp_follower){0};
    return rewind_lines(&capture->lines);
}

enum status capture_open_fd(int fd, const char *name, struct capture **out,
                            struct complaint *complaint)
{
    struct capture *capture = calloc(1, sizeof *capture);
    if (!capture) {
        close(fd);
        return complain(complaint, STATUS_MEMORY, "no memory to read %s", name);
    }
    capture->lines.fd = fd;
    enum status status = look_through(capture, name, complaint);
    if (status != STATUS_OK) {
        capture_close(capture);
        return status;
    }
    *out = capture;
    return STATUS_OK;
}

enum status capture_open(const char *path, struct capture **out, struct complaint *complaint)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK); /* a pipe must not hold us up */
    if (fd < 0)
        return complain(complaint, errno == ENOENT ? STATUS_NOT_FOUND : STATUS_IO,
                        "the capture %s cannot be opened: %s", path, strerror(errno));
    return capture_open_fd(fd, path, out, complaint);
}

void capture_close(struct capture *capture)
{
    if (!capture)
        return;
    close(capture->lines.fd);
    free(capture->lines.buffer);
    anchors_free(&capture->anchors);
    free(capture);
}

const struct capture_about *capture_about(const struct capture *capture)
{
    return &capture->about;
}

/* --- handing out */

static int64_t to_ns(int64_t us)
{
    if (us > AT_MAX_US)
        us = AT_MAX_US;
    return us < 0 ? 0 : us * NS_PER_US;
}

/* Whether a stamp lies before the one before it of the same input. */
static bool goes_back(struct capture *capture, unsigned input, int64_t stamp_us)
{
    bool back = capture->heard[input] && stamp_us < capture->last_stamp[input];
    capture->heard[input] = true;
    capture->last_stamp[input] = stamp_us;
    return back;
}

static void item_of_frame(struct capture_item *item, const struct capture_text *text)
{
    item->what = CAPTURE_ITEM_FRAME;
    item->id = text->id;
    item->data_length = text->data_length;
    memcpy(item->data, text->data, sizeof item->data);
}

static void item_of_line(struct capture_item *item, const char *bytes, size_t length)
{
    item->what = CAPTURE_ITEM_LINE;
    item->bytes = bytes;
    item->length = length;
}

/* Instant of a stamp of a capture that was not ours. */
static void follow(struct capture *capture, struct capture_item *item, int64_t unix_us)
{
    item->at = to_ns(capture->lead_us + stamp_follow(&capture->follower, unix_us));
    item->backward = goes_back(capture, item->input, unix_us);
    item->clock_set = capture->follower.jumped;
    capture->last_at[item->input] = item->at;
}

static void item_of_gap(struct capture_item *item, const struct capture_text *text,
                        int64_t start_us)
{
    item->what = CAPTURE_ITEM_GAP;
    item->until = to_ns(text->until_unix_us - start_us);
    item->lost = text->lost;
    item->bytes = text->bytes;
    item->length = text->length;
}

static void item_of_event(struct capture_item *item, const struct capture_text *text)
{
    item->what = CAPTURE_ITEM_EVENT;
    copy_bytes(item->key, sizeof item->key, text->label, text->label_length);
    item->bytes = text->bytes;
    item->length = text->length;
}

/* A line or frame with a stamp of ours. */
static void item_of_message(struct capture *capture, struct capture_item *item,
                            const struct capture_text *text)
{
    if (text->kind == CAPTURE_FRAME)
        item_of_frame(item, text);
    else
        item_of_line(item, text->bytes, text->length);
    item->backward = goes_back(capture, item->input, text->unix_us);
    capture->last_at[item->input] = item->at;
}

static bool own_item(struct capture *capture, const char *line, size_t length, uint64_t offset,
                     struct capture_item *item)
{
    struct capture_text text;
    (void)offset;
    int64_t start_us = capture->about.start_unix_us;
    switch (capture_text_parse(line, length, &text)) {
    case CAPTURE_COMMENT:
    case CAPTURE_START:
    case CAPTURE_INPUT:
        return false;
    case CAPTURE_OTHER: /* damaged: neither a frame nor a line of ours any more */
        item->what = CAPTURE_ITEM_BAD;
        item->at = capture->last_at[0];
        return true;
    case CAPTURE_END:
        item->what = CAPTURE_ITEM_DONE;
        item->at = to_ns(text.unix_us - start_us);
        return true;
    case CAPTURE_EVENT:
        item->at = to_ns(text.unix_us - start_us);
        item_of_event(item, &text);
        return true;
    case CAPTURE_LINE:
    case CAPTURE_FRAME:
    case CAPTURE_GAP:
        break;
    }
    item->at = to_ns(text.unix_us - start_us);
    item->input = find_input(capture, text.label, text.label_length);
    if (text.kind == CAPTURE_GAP)
        item_of_gap(item, &text, start_us);
    else
        item_of_message(capture, item, &text);
    return true;
}

static bool candump_item(struct capture *capture, const char *line, size_t length, uint64_t offset,
                         struct capture_item *item)
{
    struct capture_text text;
    (void)offset;
    enum capture_text_kind kind = capture_text_parse(line, length, &text);
    if (length == 0 || line[0] == '#')
        return false;
    if (kind != CAPTURE_FRAME) {
        item->what = CAPTURE_ITEM_BAD;
        item->at = capture->last_at[0];
        return true;
    }
    item->input = find_input(capture, text.label, text.label_length);
    item_of_frame(item, &text);
    follow(capture, item, text.unix_us);
    return true;
}

static bool tagged_item(struct capture *capture, const char *line, size_t length, uint64_t offset,
                        struct capture_item *item)
{
    struct sentence sentence;
    struct tally tally = {0};
    (void)offset;
    if (length == 0 || line[0] == '#')
        return false;
    item_of_line(item, line, length);
    item->at = capture->last_at[0];
    if (frame_0183_line(0, line, length, &sentence, &tally) == FRAME_READY && sentence.has_time)
        follow(capture, item, sentence.unix_ms * 1000);
    return true;
}

static bool plain_item(struct capture *capture, const char *line, size_t length, uint64_t offset,
                       struct capture_item *item)
{
    if (length == 0 || line[0] == '#')
        return false;
    size_t before = capture->cursor;
    item_of_line(item, line, length);
    item->at =
        to_ns(capture->lead_us + anchors_instant(&capture->anchors, offset, &capture->cursor));
    const struct anchor *anchor = &capture->anchors.list[capture->cursor];
    if (capture->cursor != before && anchor->jumped && anchor->offset == offset) {
        item->clock_set = true;
        item->backward = anchor->unix_us < anchor[-1].unix_us;
    }
    return true;
}

static bool timeless_item(struct capture *capture, const char *line, size_t length, uint64_t offset,
                          struct capture_item *item)
{
    if (length == 0 || line[0] == '#')
        return false;
    item_of_line(item, line, length);
    item->at =
        to_ns(capture->lead_us + anchors_instant(&capture->anchors, offset, &capture->cursor));
    return true;
}

static bool (*const make_item[CAPTURE_KIND_COUNT])(struct capture *capture, const char *line,
                                                   size_t length, uint64_t offset,
                                                   struct capture_item *item) = {
    [CAPTURE_OWN] = own_item,           [CAPTURE_CANDUMP] = candump_item,
    [CAPTURE_TAGGED] = tagged_item,     [CAPTURE_PLAIN] = plain_item,
    [CAPTURE_TIMELESS] = timeless_item,
};

bool capture_next(struct capture *capture, struct capture_item *item, enum status *status)
{
    const char *line;
    size_t length;
    uint64_t offset;
    while (next_line(&capture->lines, &line, &length, &offset)) {
        *item = (struct capture_item){0};
        if (make_item[capture->about.kind](capture, line, length, offset, item))
            return true;
    }
    *status = capture->lines.status;
    return false;
}
