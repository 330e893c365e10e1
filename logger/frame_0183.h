/* frame_0183.h - bytes to 0183 sentences. Pure state machine; one per input. */
#ifndef SEARUN_FRAME_0183_H
#define SEARUN_FRAME_0183_H

#include "decode.h"
#include "framing.h"

/* Longest line taken, TAG block included. The standard allows 80 + 82 characters; real devices send
 * longer XDR chains. Longer lines are refused and counted. */
#define LINE_0183_MAX 512

struct framer_0183 {
    char line[LINE_0183_MAX];
    size_t length;
    bool overlong;
};

void framer_0183_reset(struct framer_0183 *framer);

/* Takes bytes up to and including the next line end. *used says how many were taken (never 0 unless
 * count is 0). FRAME_READY: *sentence points into the framer and is valid until the next call.
 * FRAME_BAD: a line was refused and counted in the tally. `raw`/`raw_length` (may be NULL) give the
 * whole line as received without CR LF for READY and BAD. */
enum framing framer_0183_push(struct framer_0183 *framer, int64_t at, const uint8_t *bytes,
                              size_t count, size_t *used, struct sentence *sentence,
                              const char **raw, size_t *raw_length, struct tally *tally);

/* The same for one whole line (a line of a datagram or a capture), without CR LF. */
enum framing frame_0183_line(int64_t at, const char *line, size_t length, struct sentence *sentence,
                             struct tally *tally);

#endif
