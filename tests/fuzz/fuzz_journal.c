/* fuzz_journal.c - any bytes as a journal; and, so that what lies behind the CRC is reached, any
 * bytes as the bodies of sound blocks. Beyond crashes: what is handed out is within bounds, every
 * byte of the file is in a sound block or told as damage, and sound blocks are found as such.
 *
 * The first byte chooses: even, the rest is the file; odd, the rest is bodies, with FFh between
 * two. */
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "../../logger/crc32c.h"
#include "../../logger/journal_read.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void demand_item(const struct journal_item *item, const struct journal_head *head)
{
    demand(item->at >= 0 && item->until >= 0);
    demand(memchr(item->key, '\0', sizeof item->key) != NULL);
    demand(item->data_length <= 8);
    switch (item->what) {
    case JOURNAL_ITEM_LINE:
    case JOURNAL_ITEM_FRAME:
    case JOURNAL_ITEM_GAP:
        demand(item->input < head->input_count);
        break;
    case JOURNAL_ITEM_COUNT:
        demand(item->input < head->input_count && item->reason < REASON_COUNT);
        break;
    case JOURNAL_ITEM_DAMAGE:
        demand(item->until >= item->at && item->count + item->byte_count > 0);
        break;
    case JOURNAL_ITEM_EVENT:
    case JOURNAL_ITEM_DATE:
    case JOURNAL_ITEM_END:
        break;
    }
}

static void demand_head(const struct journal_head *head)
{
    demand(head->input_count <= INPUTS_MAX);
    demand(memchr(head->run, '\0', sizeof head->run) != NULL);
    demand(memchr(head->software, '\0', sizeof head->software) != NULL);
    for (size_t i = 0; i < head->setting_count; i++)
        demand(strlen(head->settings[i]) < JOURNAL_LINE_MAX);
}

/* Reads all there is; returns how many blocks were sound, or -1 if there is no head. */
static long read_all(const void *bytes, size_t size)
{
    struct journal_reader *reader = NULL;
    struct journal_item item;
    struct complaint complaint = {""};
    uint64_t damage = 0, blocks = 0;
    int fd = memfd_create("journal", 0);
    demand(fd >= 0 && write(fd, bytes, size) == (ssize_t)size);
    if (journal_open_fd(fd, "fuzz.journal", &reader, &complaint) != STATUS_OK) {
        demand(complaint.text[0] != '\0');
        return -1;
    }
    demand_head(journal_head(reader));
    while (journal_next(reader, &item)) {
        demand_item(&item, journal_head(reader));
        damage += item.what == JOURNAL_ITEM_DAMAGE ? item.byte_count : 0;
        blocks += item.what == JOURNAL_ITEM_DAMAGE ? item.count : 0;
    }
    const struct journal_count *count = journal_count(reader);
    demand(count->sound >= 1);
    demand(count->lost_bytes == damage && count->lost == blocks);
    demand(damage < size && count->unreadable_bytes == 0);
    long sound = (long)count->sound;
    journal_close(reader);
    return sound;
}

/* Appends one block; its body must end with a line feed. */
static size_t add_block(char *to, const uint8_t *body, size_t length, uint64_t number)
{
    static struct crc32c crc;
    struct journal_closing closing = {number, length + 1, 0, 0, 0};
    if (crc.table[0][1] == 0)
        crc32c_init(&crc);
    memcpy(to, body, length);
    to[length] = '\n';
    size_t end = length + 1;
    end += journal_text_closing(to + end, JOURNAL_CLOSING_MAX, &closing);
    uint32_t sum = crc32c_of(&crc, to, end);
    return end + journal_text_crc(to + end, JOURNAL_CRC_ROOM, sum);
}

static void read_bodies(const uint8_t *data, size_t size)
{
    long blocks = 0;
    size_t length = 0;
    char *file = malloc(size + (size + 1) * (JOURNAL_CLOSING_MAX + 1));
    demand(file != NULL);
    for (size_t at = 0; at < size; blocks++) {
        const uint8_t *end = memchr(data + at, 0xFF, size - at);
        size_t body = end ? (size_t)(end - data) - at : size - at;
        length += add_block(file + length, data + at, body, (uint64_t)blocks);
        at += body + 1;
    }
    long sound = read_all(file, length);
    /* A body of ours never holds a closing line; what a fuzzer takes from whole journals does. */
    demand(sound == -1 || sound == blocks || memmem(data, size, "# block ", 8) != NULL);
    free(file);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char text[200];
    if (size == 0 || size > JOURNAL_BODY_MAX)
        return 0;
    journal_text_unescape(text, sizeof text, (const char *)data, size);
    if (data[0] % 2 == 0)
        read_all(data + 1, size - 1);
    else
        read_bodies(data + 1, size - 1);
    return 0;
}
