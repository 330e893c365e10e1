/* status.h - how a fallible function answers, and how it says what went wrong.
 *
 * Every function that can fail for a reason outside the program returns enum status. The words for
 * the person go into a complaint that the caller owns; a NULL complaint is allowed everywhere.
 */
#ifndef SEARUN_STATUS_H
#define SEARUN_STATUS_H

enum status {
    STATUS_OK = 0,
    STATUS_BAD_USAGE, /* options or configuration that cannot be meant */
    STATUS_NOT_FOUND, /* a file, device, channel or source that is not there */
    STATUS_EXISTS,    /* something is there that must not be overwritten */
    STATUS_BAD_DATA,  /* input that is not what it should be */
    STATUS_IO,        /* the system refused to read or write */
    STATUS_FULL,      /* no space, in a file system or a bounded buffer */
    STATUS_MEMORY,    /* no memory */
    STATUS_NO_TOOL    /* a program we call (gnuplot) is missing or failed */
};

struct complaint {
    char text[1024]; /* UTF-8, one paragraph, no newline at the end; says what to do */
};

/* Writes the words into `to` (which may be NULL) and returns `why`. */
enum status complain(struct complaint *to, enum status why, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Why the system refused, by errno, and what to do where that is known: "Permission denied; ...".
 * For files and folders. */
const char *status_words(int error);

#endif
