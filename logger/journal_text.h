/* journal_text.h - the text layout of journals. Pure: no input or output.
 *
 * A journal is a capture of ours (capture_text.h) with more comment lines, so that general tools
 * can read and replay it. It is cut into blocks; each is closed by a line with its number and CRC:
 *
 *   # searun capture 1 start=1795601700000000 clock=system
 *   # journal 1 searun-logger 0.1.0
 *   # run 20261125T101500Z-terns-reach.h5
 *   # id 6f1f1c9e-0d2e-4c4b-9a51-0a5f3f0f6c11
 *   # input plotter udp:10110
 *   # set engine0.thermostat=71, 82
 *   # block 0 225 1795601700000000 1795601700000000 0DEDDD10
 *   \s:plotter,c:1795601700123*62\$IIRPM,E,0,1450.0,,A*49
 *   # count plotter refused_sender 3 1795601700050000 1795601700150000
 *   # block 1 121 1795601700123000 1795601700123000 4D8DB5A2
 *
 *   journal  version of this layout, and the program
 *   run      name of the run file, without folder
 *   id       the run_id of the run file
 *   set      one assignment as on the command line: the facts, and what decoding depends on.
 *            Backslash, line feed and carriage return stand as \\, \n and \r
 *   count    input, reason, how many, first and last microsecond: what was counted without a
 *            message
 *   date     at the end, if it is known better, and whenever the computer's clock is set:
 *            microsecond of instant 0, and where it comes from
 *   block    number, bytes from the block's first to before this line, instants (microseconds
 *            since 1970) of the earliest and the latest thing in it, CRC-32C of the block and of
 *            this line up to the blank before the CRC
 *
 * A block says where it begins, so damage in one never reaches the next. The lines up to the first
 * block line, the head, are blocks 0 and 1, the same twice; and they are repeated later on.
 *
 * Messages, gaps, events of ours and counts are all there is: readings, statements of UTC and the
 * events of decoders come again by decoding.
 */
#ifndef SEARUN_JOURNAL_TEXT_H
#define SEARUN_JOURNAL_TEXT_H

#include "capture_text.h"

#define JOURNAL_VERSION 1
#define JOURNAL_BODY_MAX ((size_t)256 * 1024) /* longest block without its closing line */
#define JOURNAL_CLOSING_MAX ((size_t)128)     /* longest closing line */
#define JOURNAL_LINE_MAX ((size_t)8400)       /* longest line: a fact of 4000 bytes, all escaped */

/* What closes a block. */
struct journal_closing {
    uint64_t number;
    size_t length; /* of the body */
    int64_t from_us, until_us;
    uint32_t crc;
};

/* Each writes one line, LF included and not NUL-terminated, and returns its length; 0 if `room` is
 * too small. */
size_t journal_text_version(char *to, size_t room, const char *software);
size_t journal_text_run(char *to, size_t room, const char *name);
size_t journal_text_id(char *to, size_t room, const char *run_id);
size_t journal_text_set(char *to, size_t room, const char *assignment);
size_t journal_text_count(char *to, size_t room, int64_t start_unix_us,
                          const struct run_input *input, enum reason reason, uint64_t count,
                          int64_t first, int64_t last);
size_t journal_text_date(char *to, size_t room, int64_t start_unix_us, enum clock_source clock);
/* The closing line without its CRC and line feed: what the CRC still covers. */
size_t journal_text_closing(char *to, size_t room, const struct journal_closing *closing);
/* What comes behind: the CRC and the line feed. */
#define JOURNAL_CRC_ROOM 10
size_t journal_text_crc(char *to, size_t room, uint32_t crc);

enum journal_line {
    JOURNAL_CAPTURE, /* a line of capture_text.h, or none at all */
    JOURNAL_FORMAT,  /* "# journal" */
    JOURNAL_RUN,
    JOURNAL_ID,
    JOURNAL_SET,
    JOURNAL_COUNT,
    JOURNAL_DATE,
    JOURNAL_CLOSING
};

/* What one line says. Pointers point into the line and are not NUL-terminated. */
struct journal_text {
    enum journal_line kind;
    int64_t version;   /* FORMAT */
    const char *text;  /* FORMAT: program; RUN: name; ID; SET: still escaped */
    size_t length;     /* of it */
    const char *label; /* COUNT: of the input */
    size_t label_length;
    enum reason reason; /* COUNT; REASON_COUNT if it is not known here */
    uint64_t count;
    int64_t first_us, last_us;      /* COUNT */
    int64_t start_us;               /* DATE */
    enum clock_source clock;        /* DATE */
    struct journal_closing closing; /* CLOSING */
};

/* Reads one line without its LF. A closing line is known only in exactly the form it is written
 * in. */
enum journal_line journal_text_parse(const char *line, size_t length, struct journal_text *out);

/* Undoes the escapes of a SET line into a NUL-terminated text; false if it does not fit or is
 * malformed. */
bool journal_text_unescape(char *to, size_t room, const char *text, size_t length);

#endif
