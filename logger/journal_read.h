/* journal_read.h - reading a journal, whatever happened to it.
 *
 * Only what stands in a block with a sound CRC is handed out. Blocks that are torn, altered or
 * missing are told in their place, with the times between which something is missing; so are
 * places that the system cannot read.
 */
#ifndef SEARUN_JOURNAL_READ_H
#define SEARUN_JOURNAL_READ_H

#include "journal_text.h"

/* What the head says. */
struct journal_head {
    int64_t start_unix_us;
    enum clock_source clock;
    char software[64];
    char run[256]; /* name of the run file, without folder */
    char run_id[RUN_ID_ROOM];
    size_t input_count;
    struct run_input inputs[INPUTS_MAX];
    size_t setting_count;
    char **settings; /* assignments */
};

/* What was found, up to where the reader is. */
struct journal_count {
    uint64_t sound; /* blocks */
    uint64_t lost;  /* blocks that are torn, altered or missing */
    uint64_t lost_bytes;
    uint64_t unreadable_bytes; /* that the system could not read */
    uint64_t unknown_lines;    /* in sound blocks: of a newer program */
    bool torn_end;             /* the last thing in the file is an unfinished block */
};

enum journal_what {
    JOURNAL_ITEM_LINE,
    JOURNAL_ITEM_FRAME,
    JOURNAL_ITEM_GAP,
    JOURNAL_ITEM_EVENT,
    JOURNAL_ITEM_COUNT,
    JOURNAL_ITEM_DATE,
    JOURNAL_ITEM_END, /* of the run, ended on purpose */
    JOURNAL_ITEM_DAMAGE
};

struct journal_item {
    enum journal_what what;
    int64_t at;     /* ns since run start; GAP, COUNT, DAMAGE: the first instant */
    int64_t until;  /* GAP, COUNT, DAMAGE: the last instant; DAMAGE at the end: INT64_MAX */
    unsigned input; /* LINE, FRAME, GAP, COUNT */
    char key[48];   /* EVENT */
    const char
        *bytes; /* LINE: as received; GAP: why; EVENT: the text; not NUL-terminated; until the
                        * next call */
    size_t length;
    uint32_t id; /* FRAME, with flag bits */
    uint8_t data[8];
    unsigned data_length;
    uint64_t count; /* GAP: messages lost; COUNT: how many; DAMAGE: blocks, 0 if none is missing */
    uint64_t byte_count;     /* DAMAGE */
    enum reason reason;      /* COUNT */
    int64_t start_unix_us;   /* DATE */
    enum clock_source clock; /* DATE */
};

struct journal_reader;

/* STATUS_NOT_FOUND, STATUS_IO, STATUS_MEMORY; STATUS_BAD_DATA if no sound block has a head, with
 * words that say what is there instead; STATUS_NO_TOOL if a newer program wrote it. The file may be
 * growing: what is not there yet is not seen. */
enum status journal_open(const char *path, struct journal_reader **out,
                         struct complaint *complaint);
/* The same for an open, seekable descriptor, which is taken over even on failure. */
enum status journal_open_fd(int fd, const char *name, struct journal_reader **out,
                            struct complaint *complaint);
void journal_close(struct journal_reader *reader);

const struct journal_head *journal_head(const struct journal_reader *reader);
const struct journal_count *journal_count(const struct journal_reader *reader);

/* The next thing; false at the end. */
bool journal_next(struct journal_reader *reader, struct journal_item *item);

#endif
