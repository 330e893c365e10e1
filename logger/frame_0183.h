/* frame_0183.h - bytes to 0183 sentences. Pure state machine; one per input.
 *
 * A stream is cut into pieces. A piece ends at CR or LF, and also where the next one visibly
 * begins: at a '$' or '!' (a sentence that was cut short is followed by a whole one), at a '\'
 * behind a sentence (the TAG block of the next one), and where noise ends. So nothing that is sound
 * is lost behind something that is not, and every split of the stream into reads gives the same
 * pieces.
 *
 *      \s:ER0001,c:1764057600123*1A\$IIXDR,C,88.4,C,ENGINE#0*49 CR LF
 *      ---- TAG block, 0 or more ----+---------- text ---------^^
 *                                    start              checksum: XOR of the text
 *
 * Sources: fields of the sentence, 82 characters, checksum and ^hh escape: the public guide to NMEA
 * 0183 of the gpsd project; TAG blocks: common knowledge of IEC 61162-450, no open text.
 */
#ifndef SEARUN_FRAME_0183_H
#define SEARUN_FRAME_0183_H

#include "decode.h"
#include "framing.h"

/* Longest piece taken, TAG blocks included. The standard allows 80 + 82 characters; real devices
 * send longer XDR chains. Longer lines are refused and counted once; their rest counts as noise. */
#define LINE_0183_MAX 512

struct framer_0183 {
    char line[LINE_0183_MAX];
    size_t length;
    bool started; /* `line` holds the start character of a sentence */
    bool given;   /* `line` was handed out and is dropped at the next call */
    bool carries; /* `carried` was taken already and begins the next piece */
    char carried;
};

/* Before the first use, and after an input was reopened: what was begun is dropped. */
void framer_0183_reset(struct framer_0183 *framer);

/* Takes bytes up to and including the end of the next piece. *used says how many were taken (never
 * 0 unless count is 0). FRAME_READY: *sentence points into the framer and is valid until the next
 * call. FRAME_BAD: a piece was refused and counted in the tally. `raw`/`raw_length` (may be NULL)
 * give the whole piece as received without CR LF for READY and BAD; at most LINE_0183_MAX bytes. */
enum framing framer_0183_push(struct framer_0183 *framer, int64_t at, const uint8_t *bytes,
                              size_t count, size_t *used, struct sentence *sentence,
                              const char **raw, size_t *raw_length, struct tally *tally);

/* The end of a stream or datagram: what is left is judged as if a line end had come. NEED_MORE if
 * nothing is left. Call it until it says so. */
enum framing framer_0183_flush(struct framer_0183 *framer, int64_t at, struct sentence *sentence,
                               const char **raw, size_t *raw_length, struct tally *tally);

/* The same for one whole line (a line of a datagram or a capture), without CR LF. If several
 * sentences stand in it, only the last is looked at; the framer above takes them all. */
enum framing frame_0183_line(int64_t at, const char *line, size_t length, struct sentence *sentence,
                             struct tally *tally);

/* What a UDP datagram carries. Sources: the prefix names are constants of the Wireshark dissector
 * for IEC 61162-450; the rest is common practice. */
enum datagram_0183 {
    DATAGRAM_PLAIN,   /* lines without a prefix */
    DATAGRAM_TAGGED,  /* "UdPbC" NUL, then lines with TAG blocks */
    DATAGRAM_FOREIGN, /* another transfer of that standard (binary files) or prefix: skip */
};

/* Looks at the first bytes. *lines says how many to skip to the first line. */
enum datagram_0183 datagram_0183_kind(const uint8_t *bytes, size_t count, size_t *lines);

#endif
