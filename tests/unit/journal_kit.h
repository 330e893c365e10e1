/* journal_kit.h - small journals for tests, and what is read out of them. */
#ifndef JOURNAL_KIT_H
#define JOURNAL_KIT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../logger/journal.h"
#include "../../logger/journal_read.h"

#define KIT_UNUSED __attribute__((unused))
#define KIT_START INT64_C(1795601700000000) /* 2026-11-25 10:15:00 UTC */

static char kit_folder[64];

KIT_UNUSED static int kit_make(void **state)
{
    (void)state;
    strcpy(kit_folder, "/tmp/journal_XXXXXX");
    return mkdtemp(kit_folder) ? 0 : -1;
}

KIT_UNUSED static int kit_remove(void **state)
{
    (void)state;
    return rmdir(kit_folder);
}

/* A path in the scratch folder; a few may be in use at once. */
KIT_UNUSED static const char *kit_path(const char *name)
{
    static char paths[4][160];
    static unsigned next;
    char *path = paths[next++ % 4];
    snprintf(path, sizeof paths[0], "%s/%s", kit_folder, name);
    return path;
}

static const struct run_input kit_inputs[2] = {{"udp:10110", "plotter"}, {"can:can0", "can0"}};
static const char *const kit_settings[] = {"boat.name=Tern's Reach",
                                           "run.notes=two\nlines \\ and a backslash",
                                           "engine0.thermostat=71, 82", NULL};

/* A journal that is open for writing, as the writer would have it. */
KIT_UNUSED static void *kit_begin(const char *run_path)
{
    void *self = NULL;
    struct complaint complaint = {""};
    const struct run_start start = {.path = run_path,
                                    .start_unix_us = KIT_START,
                                    .clock = CLOCK_SYSTEM,
                                    .inputs = kit_inputs,
                                    .input_count = 2,
                                    .software = "searun-logger 9.9.9",
                                    .settings = kit_settings};
    if (journal_store.open(&start, &self, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    return self;
}

KIT_UNUSED static void kit_line(void *self, int64_t at_ms, const char *line)
{
    assert_int_equal(journal_store.line(self, at_ms * NS_PER_MS, 0, line, strlen(line)), STATUS_OK);
}

KIT_UNUSED static void kit_flush(void *self)
{
    assert_int_equal(journal_store.flush(self), STATUS_OK);
}

KIT_UNUSED static void kit_end(void *self, int64_t at_ms, bool clean)
{
    const struct run_end end = {.end = at_ms * NS_PER_MS,
                                .start_unix_us = KIT_START,
                                .clock = CLOCK_SYSTEM,
                                .clean = clean};
    struct complaint complaint = {""};
    assert_int_equal(journal_store.close(self, &end, &complaint), STATUS_OK);
}

/* --- files in memory */

struct kit_file {
    char bytes[400000];
    size_t length;
};

KIT_UNUSED static void kit_load(const char *path, struct kit_file *file)
{
    FILE *from = fopen(path, "rb");
    if (!from)
        fail_msg("%s is not there", path);
    file->length = fread(file->bytes, 1, sizeof file->bytes, from);
    assert_true(file->length < sizeof file->bytes);
    fclose(from);
}

/* A reader for these bytes; NULL, with words, if there is no head in them. */
KIT_UNUSED static struct journal_reader *kit_read(const char *bytes, size_t length,
                                                  struct complaint *complaint)
{
    struct journal_reader *reader = NULL;
    int fd = memfd_create("journal", 0);
    assert_int_equal(write(fd, bytes, length), length);
    if (journal_open_fd(fd, "test.journal", &reader, complaint) != STATUS_OK)
        return NULL;
    return reader;
}

/* --- what was read, as text: one line an item */

struct kit_text {
    char bytes[200000];
    size_t length;
};

__attribute__((format(printf, 2, 3))) static void kit_note(struct kit_text *to, const char *format,
                                                           ...)
{
    va_list arguments;
    va_start(arguments, format);
    to->length +=
        (size_t)vsnprintf(to->bytes + to->length, sizeof to->bytes - to->length, format, arguments);
    va_end(arguments);
    assert_true(to->length < sizeof to->bytes);
}

static void kit_note_item(struct kit_text *to, const struct journal_item *item)
{
    double at = (double)item->at / 1e9, until = (double)item->until / 1e9;
    int length = (int)item->length;
    switch (item->what) {
    case JOURNAL_ITEM_LINE:
        kit_note(to, "%.6f line %u %.*s\n", at, item->input, length, item->bytes);
        break;
    case JOURNAL_ITEM_FRAME:
        kit_note(to, "%.6f frame %u %08X#%u:%02X\n", at, item->input, item->id, item->data_length,
                 item->data[0]);
        break;
    case JOURNAL_ITEM_GAP:
        kit_note(to, "%.6f gap %u until %.6f lost %llu %.*s\n", at, item->input, until,
                 (unsigned long long)item->count, length, item->bytes);
        break;
    case JOURNAL_ITEM_EVENT:
        kit_note(to, "%.6f event %s %.*s\n", at, item->key, length, item->bytes);
        break;
    case JOURNAL_ITEM_COUNT:
        kit_note(to, "%.6f count %u until %.6f %s %llu\n", at, item->input, until,
                 reason_key(item->reason), (unsigned long long)item->count);
        break;
    case JOURNAL_ITEM_DATE:
        kit_note(to, "date %lld %s\n", (long long)item->start_unix_us,
                 clock_source_key(item->clock));
        break;
    case JOURNAL_ITEM_END:
        kit_note(to, "%.6f end\n", at);
        break;
    case JOURNAL_ITEM_DAMAGE:
        kit_note(to, "%.6f damage until %.6f blocks %llu\n", at,
                 item->until == INT64_MAX ? -1.0 : until, (unsigned long long)item->count);
        break;
    }
}

KIT_UNUSED static void kit_read_all(struct journal_reader *reader, struct kit_text *to)
{
    struct journal_item item;
    to->length = 0;
    to->bytes[0] = '\0';
    while (journal_next(reader, &item))
        kit_note_item(to, &item);
    assert_false(journal_next(reader, &item)); /* the end stays the end */
}

#endif
