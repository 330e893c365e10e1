/* note.c - remarks beside a run file. */
#include "note.h"

#include <errno.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "run_read.h"
#include "text.h"

static char *notes_path(const char *run)
{
    struct text path = {0};
    text_add(&path, run);
    text_add(&path, ".notes");
    return text_take(&path);
}

/* Length of the key before '='; 0 if there is none or it is no key. */
static size_t key_length(const char *remark)
{
    size_t length = strspn(remark, "abcdefghijklmnopqrstuvwxyz0123456789_-");
    return remark[length] == '=' && length <= NOTE_KEY_MAX ? length : 0;
}

static enum status look_at(const char *remark, struct complaint *complaint)
{
    size_t length = key_length(remark);
    if (length == 0 || remark[length + 1] == '\0')
        return complain(complaint, STATUS_BAD_USAGE,
                        "give KEY=VALUE, the key of at most %d small letters, digits, _ and -: "
                        "weather=\"rain from noon on\"",
                        NOTE_KEY_MAX);
    if (strlen(remark + length + 1) > NOTE_VALUE_MAX)
        return complain(complaint, STATUS_BAD_USAGE, "a remark may have %d bytes at most",
                        NOTE_VALUE_MAX);
    return STATUS_OK;
}

/* A remark belongs to a run: what is none is refused, so that a slip of the keyboard is told. */
static enum status is_run(const char *path, struct complaint *complaint)
{
    struct run *run;
    enum status status = run_open(path, &run, complaint);
    if (status == STATUS_OK)
        run_close(run);
    return status;
}

static enum status append(const char *path, const struct text *line, struct complaint *complaint)
{
    FILE *file = fopen(path, "abe");
    bool written = file != NULL && fwrite(line->bytes, 1, line->length, file) == line->length;
    int why = errno;
    if (file != NULL && fclose(file) != 0) {
        written = false;
        why = errno;
    }
    return written ? STATUS_OK
                   : complain(complaint, STATUS_IO, "cannot write the remark to %s: %s", path,
                              status_words(why));
}

enum status note_add(const char *run, const char *remark, struct complaint *complaint)
{
    struct text line = {0};
    enum status status = look_at(remark, complaint);
    if (status == STATUS_OK)
        status = is_run(run, complaint);
    if (status != STATUS_OK)
        return status;
    char *path = notes_path(run);
    text_clean(&line, remark);
    text_add(&line, "\n");
    status = path == NULL || line.failed
                 ? complain(complaint, STATUS_MEMORY, "no memory left for the remark")
                 : append(path, &line, complaint);
    text_free(&line);
    free(path);
    return status;
}

/* --- reading */

static enum status take(struct notes *notes, const char *line)
{
    size_t length = key_length(line);
    struct text value = {0};
    if (length == 0 || notes->count == NOTES_MAX || strlen(line) > 2 * NOTE_VALUE_MAX) {
        notes->left_out += line[strspn(line, " \t\r")] != '\0';
        return STATUS_OK;
    }
    struct note *list = realloc(notes->list, (notes->count + 1) * sizeof *list);
    if (list == NULL)
        return STATUS_MEMORY;
    notes->list = list;
    struct note *note = &list[notes->count];
    memcpy(note->key, line, length);
    note->key[length] = '\0';
    text_clean(&value, line + length + 1);
    note->value = text_take(&value);
    notes->count += note->value != NULL;
    return note->value != NULL ? STATUS_OK : STATUS_MEMORY;
}

static enum status take_lines(FILE *file, struct notes *out)
{
    char *line = NULL;
    size_t room = 0;
    ssize_t length;
    enum status status = STATUS_OK;
    while (status == STATUS_OK && (length = getline(&line, &room, file)) >= 0) {
        if (length > 0 && line[length - 1] == '\n')
            line[length - 1] = '\0';
        status = take(out, line);
    }
    free(line);
    return status;
}

enum status notes_read(const char *run, struct notes *out, struct complaint *complaint)
{
    *out = (struct notes){0};
    char *path = notes_path(run);
    FILE *file = path == NULL ? NULL : fopen(path, "rbe");
    enum status status = STATUS_OK;
    if (path == NULL)
        status = STATUS_MEMORY;
    else if (file == NULL && errno != ENOENT)
        status = complain(complaint, STATUS_IO, "cannot read the remarks in %s: %s", path,
                          status_words(errno));
    else if (file != NULL)
        status = take_lines(file, out);
    if (status == STATUS_MEMORY)
        complain(complaint, status, "no memory left for the remarks beside %s", run);
    if (file != NULL)
        fclose(file);
    free(path);
    return status;
}

void notes_free(struct notes *notes)
{
    for (size_t i = 0; i < notes->count; i++)
        free(notes->list[i].value);
    free(notes->list);
    *notes = (struct notes){0};
}
