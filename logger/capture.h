/* capture.h - reads a capture file: our own, a candump -l log, or 0183 lines with or without times.
 *
 * The kind is recognised from the content. The file is read twice: once to learn kind, inputs and
 * times, once to hand out what is in it. Kinds and where their times come from:
 *
 *   searun capture   stamps of every line, exactly as recorded (capture_text.h)
 *   candump log      the stamp of every frame
 *   0183, TAG c:     the TAG block of each line; lines without one share that of the line before
 *   0183, plain      RMC and ZDA; in between the pace of the bytes is taken as even
 *   0183, no time    the nominal pace of a 4800-baud line, from 1970 on
 */
#ifndef SEARUN_CAPTURE_H
#define SEARUN_CAPTURE_H

#include "run_write.h"
#include "status.h"

enum capture_kind {
    CAPTURE_OWN,
    CAPTURE_CANDUMP,
    CAPTURE_TAGGED,
    CAPTURE_PLAIN,
    CAPTURE_TIMELESS,
    CAPTURE_KIND_COUNT
};

struct capture;

struct capture_about {
    enum capture_kind kind;
    const char *title; /* of the kind, for people */
    int64_t start_unix_us;
    enum clock_source clock;
    size_t input_count;
    struct run_input inputs[INPUTS_MAX];
};

/* Opens and looks through a capture. STATUS_NOT_FOUND, STATUS_IO, STATUS_BAD_DATA (no capture; says
 * what it seems to be), STATUS_MEMORY. */
enum status capture_open(const char *path, struct capture **out, struct complaint *complaint);
/* The same for an open, seekable descriptor, which is taken over even on failure. */
enum status capture_open_fd(int fd, const char *name, struct capture **out,
                            struct complaint *complaint);
void capture_close(struct capture *capture);

const struct capture_about *capture_about(const struct capture *capture);

enum capture_what {
    CAPTURE_ITEM_LINE,  /* an 0183 line, or noise */
    CAPTURE_ITEM_FRAME, /* a CAN frame */
    CAPTURE_ITEM_GAP,   /* of a searun capture */
    CAPTURE_ITEM_EVENT, /* of a searun capture; no input */
    CAPTURE_ITEM_BAD,   /* a line of a candump log that is no frame */
    CAPTURE_ITEM_DONE,  /* the end of the run as the capture states it; only `at` is set */
};

struct capture_item {
    enum capture_what what;
    int64_t at; /* ns since run start */
    unsigned input;
    bool backward;  /* its stamp is before that of the message before, of the same input */
    bool clock_set; /* the clock of the capture jumped here; `at` goes on evenly */
    char key[48];   /* EVENT */
    const char
        *bytes; /* LINE: as received; GAP: why; EVENT: the text; not NUL-terminated; until the
                        * next call */
    size_t length;
    uint32_t id;     /* FRAME, with flag bits */
    uint8_t data[8]; /* FRAME */
    unsigned data_length;
    int64_t until; /* GAP */
    uint64_t lost; /* GAP */
};

/* The next thing in the capture; false at the end of the file. *status tells a read error. */
bool capture_next(struct capture *capture, struct capture_item *item, enum status *status);

#endif
