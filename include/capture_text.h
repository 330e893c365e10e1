/* capture_text.h - the text layout of the captures searun writes itself. Pure: no input or output.
 *
 * A capture is text in public layouts, so that general tools can read and replay it. Lines end in
 * LF:
 *
 *   # searun capture 1 start=1795601700000000 clock=system
 *   # input plotter udp:10110
 *   \s:plotter,c:1795601700123*62\$IIRPM,E,0,1450.0,,A*49
 *   (1795601700.123456) can0 09F20001#00A8610000000000
 *   # gap plotter 1795601710000000 1795601745500000 0 unplugged
 *   # event 1795601750000000 mark throttle to 2000
 *   # end 1795601760000000
 *
 * The first line says where instant 0 lies (microseconds since 1970) and where the date comes from
 * (clock_source_key). One "input" line an input follows, in the order of their numbers. A 0183 line
 * stands as received behind a TAG block of ours (s: the label of the input, c: milliseconds since
 * 1970); a TAG block of the sender stays part of the line. CAN frames stand as candump -l logs them
 * (can-utils), with the label in place of the interface. A gap line names input, first and last
 * microsecond, messages lost if known, and why; an event line, when it was, its key and words, for
 * what is not in any message. Other lines that begin with '#' are comments.
 *
 * 0183 lines have instants of whole milliseconds, frames of whole microseconds: so the text holds
 * them exactly, as long as the start is a whole millisecond.
 */
#ifndef SEARUN_CAPTURE_TEXT_H
#define SEARUN_CAPTURE_TEXT_H

#include <stddef.h>
#include <stdint.h>

#include "run_read.h"

#define CAPTURE_TEXT_VERSION 1
#define CAPTURE_LINE_MAX 1024 /* longest 0183 line kept raw; longer ones are cut there */
#define CAPTURE_TEXT_ROOM (CAPTURE_LINE_MAX + 256) /* a buffer of this size takes any line below */

/* Dates are believed up to this many seconds from 1970 (the year 2112): differences in ns then
 * fit. */
#define CAPTURE_UNIX_S_MAX INT64_C(4500000000)

/* Flag bits of a CAN id, as in struct can_frame. */
#define CAPTURE_CAN_EXTENDED 0x80000000U
#define CAPTURE_CAN_REMOTE 0x40000000U
#define CAPTURE_CAN_ERROR 0x20000000U

/* Each writes one line, LF included and not NUL-terminated, and returns its length; 0 if `room` is
 * too small or the thing cannot be said in this layout. */
size_t capture_text_start(char *to, size_t room, int64_t start_unix_us, enum clock_source clock);
size_t capture_text_input(char *to, size_t room, const struct run_input *input);
size_t capture_text_message(char *to, size_t room, int64_t start_unix_us,
                            const struct run_input *input, const struct raw_message *message);
size_t capture_text_gap(char *to, size_t room, int64_t start_unix_us, const struct run_input *input,
                        int64_t from, int64_t until, uint64_t lost, const char *why);
/* The key must be one word; line breaks in the text become blanks. */
size_t capture_text_event(char *to, size_t room, int64_t start_unix_us, int64_t at, const char *key,
                          const char *text);
size_t capture_text_end(char *to, size_t room, int64_t end_unix_us);

enum capture_text_kind {
    CAPTURE_OTHER,   /* none of these: an 0183 line without a TAG block, noise, ... */
    CAPTURE_COMMENT, /* '#' and anything */
    CAPTURE_START,
    CAPTURE_INPUT,
    CAPTURE_LINE,
    CAPTURE_FRAME,
    CAPTURE_GAP,
    CAPTURE_EVENT,
    CAPTURE_END
};

/* What one line says. Pointers point into the line. Only the members of the kind are set. */
struct capture_text {
    enum capture_text_kind kind;
    int64_t unix_us;         /* START, LINE, FRAME, EVENT, END, and the beginning of a GAP */
    int64_t until_unix_us;   /* GAP */
    uint64_t lost;           /* GAP */
    enum clock_source clock; /* START; CLOCK_CAPTURE if the line does not say */
    const char *label; /* INPUT, LINE, FRAME, GAP: the input's; EVENT: key; not NUL-terminated */
    size_t label_length;
    const char *bytes; /* LINE: as received; INPUT, EVENT: the text; GAP: why; not NUL-terminated */
    size_t length;
    uint32_t id;     /* FRAME, with flag bits */
    uint8_t data[8]; /* FRAME */
    unsigned data_length;
};

/* Reads one line without its LF. CAPTURE_FRAME is found in logs of candump -l as well; the other
 * kinds are meaningful only in a capture of ours. Returns out->kind. */
enum capture_text_kind capture_text_parse(const char *line, size_t length,
                                          struct capture_text *out);

#endif
