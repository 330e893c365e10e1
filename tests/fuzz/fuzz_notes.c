/* fuzz_notes.c - any bytes as the remarks beside a run file, which come with it from anywhere.
 * Beyond crashes: keys and values are text of a bounded length without line breaks or other
 * controls, and at most so many are kept. */
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "../../analyze/note.h"
#include "../../include/facts.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void demand_clean(const char *text)
{
    for (const char *at = text; *at;) {
        size_t length = utf8_length(at);
        demand(length > 0 && (unsigned char)*at >= 0x20 && *at != 0x7F);
        at += length;
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char run[64], path[80];
    struct notes notes;
    struct complaint complaint = {""};
    snprintf(run, sizeof run, "/tmp/searun-fuzz-notes-%d.h5", (int)getpid());
    snprintf(path, sizeof path, "%s.notes", run);
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    demand(fd >= 0 && write(fd, data, size) == (ssize_t)size);
    close(fd);
    demand(notes_read(run, &notes, &complaint) == STATUS_OK);
    demand(notes.count <= NOTES_MAX);
    for (size_t i = 0; i < notes.count; i++) {
        demand(strlen(notes.list[i].key) >= 1 && strlen(notes.list[i].key) <= NOTE_KEY_MAX);
        demand_clean(notes.list[i].key);
        demand_clean(notes.list[i].value);
    }
    notes_free(&notes);
    unlink(path);
    return 0;
}
