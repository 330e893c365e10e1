/* note.h - remarks beside a run file: RUN.notes, one "key=value" a line. The run file is not
 * touched. */
#ifndef SEARUN_NOTE_H
#define SEARUN_NOTE_H

#include <stddef.h>

#include "status.h"

#define NOTE_KEY_MAX 40
#define NOTE_VALUE_MAX 20000 /* bytes */
#define NOTES_MAX 200        /* shown of one run */

struct notes {
    size_t count, left_out; /* that found no room, or were no "key=value" */
    struct note {
        char key[NOTE_KEY_MAX + 1];
        char *value; /* owned, cleaned */
    } * list;
};

/* Appends a remark. `remark` is KEY=VALUE; a key is of small letters, digits, '_' and '-'. The
 * value is cleaned to one line. STATUS_BAD_USAGE; STATUS_NOT_FOUND, STATUS_BAD_DATA (no run file of
 * that name); STATUS_IO. */
enum status note_add(const char *run, const char *remark, struct complaint *complaint);

/* The remarks beside a run file; none is no error. STATUS_MEMORY, STATUS_IO. notes_free in every
 * case. */
enum status notes_read(const char *run, struct notes *out, struct complaint *complaint);
void notes_free(struct notes *notes);

#endif
