/* test_journal.c - journals written and read back, whole, cut off at every byte, and with every
 * bit turned over. */
#include "journal_kit.h"

#include <errno.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <signal.h>
#include <time.h>

static struct kit_file file;
static struct kit_text text, expected;

/* --- lines */

static enum journal_line parse(const char *line, struct journal_text *out)
{
    return journal_text_parse(line, strlen(line), out);
}

static void test_closing_lines(void **state)
{
    (void)state;
    const struct journal_closing closing = {17, 1234, KIT_START, KIT_START + 5, 0};
    char line[JOURNAL_CLOSING_MAX];
    struct journal_text out;
    size_t length = journal_text_closing(line, sizeof line, &closing);
    length += journal_text_crc(line + length, sizeof line - length, 0x00C0FFEE);
    assert_int_equal(line[length - 1], '\n');
    line[length - 1] = '\0';
    assert_string_equal(line, "# block 17 1234 1795601700000000 1795601700000005 00C0FFEE");
    assert_int_equal(parse(line, &out), JOURNAL_CLOSING);
    assert_int_equal(out.closing.number, 17);
    assert_int_equal(out.closing.length, 1234);
    assert_int_equal(out.closing.from_us, KIT_START);
    assert_int_equal(out.closing.until_us, KIT_START + 5);
    assert_int_equal(out.closing.crc, 0x00C0FFEE);
    /* The same meaning in another form is not taken: it is not what was written. */
    static const char *const others[] = {
        "# block 017 1234 1795601700000000 1795601700000005 00C0FFEE",
        "# block 17 1234 1795601700000000 1795601700000005 00c0ffee",
        "# block 17 1234 1795601700000000 1795601700000005 00C0FFEE ",
        "# block 17 1234 1795601700000000 1795601700000005 0C0FFEE",
        "# block 17 1234 1795601700000000 1795601700000005  00C0FFEE",
        "# block 17 1234 1795601700000000 -0 00C0FFEE",
        "# block 17 999999999 1795601700000000 1795601700000005 00C0FFEE",
        "# block",
        "# b",
    };
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        assert_int_equal(parse(others[i], &out), JOURNAL_CAPTURE);
}

static void test_escapes(void **state)
{
    (void)state;
    char line[JOURNAL_LINE_MAX], back[JOURNAL_LINE_MAX];
    char longest[4000 + 32] = "run.notes=";
    struct journal_text out;
    memset(longest + strlen(longest), '\\', 4000);
    const char *const assignments[] = {"boat.name=Tern's Reach", "run.notes=a\nb\r\\n\\", "",
                                       longest};
    for (size_t i = 0; i < sizeof assignments / sizeof assignments[0]; i++) {
        size_t length = journal_text_set(line, sizeof line, assignments[i]);
        assert_true(length > 0);
        assert_null(memchr(line, '\n', length - 1));
        assert_int_equal(journal_text_parse(line, length - 1, &out), JOURNAL_SET);
        assert_true(journal_text_unescape(back, sizeof back, out.text, out.length));
        assert_string_equal(back, assignments[i]);
    }
    assert_int_equal(journal_text_set(line, 20, longest), 0);
    assert_int_equal(journal_text_set(line, 4, ""), 0);
    assert_false(journal_text_unescape(back, sizeof back, "\\", 1));
    assert_false(journal_text_unescape(back, sizeof back, "\\x", 2));
    assert_false(journal_text_unescape(back, 3, "abc", 3));
    assert_false(journal_text_unescape(back, 0, "", 0));
}

static void test_other_lines(void **state)
{
    (void)state;
    struct journal_text out;
    assert_int_equal(parse("# count plotter refused_sender 3 10 20", &out), JOURNAL_COUNT);
    assert_int_equal(out.reason, REASON_REFUSED_SENDER);
    assert_int_equal(out.count, 3);
    assert_int_equal(out.first_us, 10);
    assert_int_equal(out.last_us, 20);
    assert_int_equal(parse("# count plotter of_the_future 3 10 20", &out), JOURNAL_COUNT);
    assert_int_equal(out.reason, REASON_COUNT);
    assert_int_equal(parse("# date -5 gnss", &out), JOURNAL_DATE);
    assert_int_equal(out.start_us, -5);
    assert_int_equal(out.clock, CLOCK_GNSS);
    assert_int_equal(parse("# date 5 sundial", &out), JOURNAL_CAPTURE);
    assert_int_equal(parse("# journal 12 searun-logger 7", &out), JOURNAL_FORMAT);
    assert_int_equal(out.version, 12);
    assert_int_equal(parse("# run trial.h5", &out), JOURNAL_RUN);
    assert_int_equal(parse("#", &out), JOURNAL_CAPTURE);
    assert_int_equal(parse("", &out), JOURNAL_CAPTURE);
}

/* --- names and claims */

static void test_names(void **state)
{
    (void)state;
    char path[64];
    assert_true(journal_path(path, sizeof path, "runs/2026.h5"));
    assert_string_equal(path, "runs/2026.journal");
    assert_true(journal_path(path, sizeof path, "trial"));
    assert_string_equal(path, "trial.journal");
    assert_true(journal_path(path, sizeof path, ".h5"));
    assert_string_equal(path, ".h5.journal");
    assert_false(journal_path(path, 10, "runs/2026.h5"));
}

static void test_claims(void **state)
{
    (void)state;
    struct journal_claim first, second;
    struct complaint complaint = {""};
    const char *path = kit_path("a.journal");
    assert_int_equal(journal_claim_new(path, &first, &complaint), STATUS_OK);
    assert_int_equal(journal_claim_new(path, &second, &complaint), STATUS_EXISTS);
    assert_non_null(strstr(complaint.text, "by another program just now"));
    assert_int_equal(journal_claim_old(path, &second, &complaint), STATUS_EXISTS);
    assert_int_equal(second.fd, -1);
    journal_release(&first);
    journal_release(&first);
    assert_int_equal(journal_claim_old(path, &second, &complaint), STATUS_OK);
    journal_release(&second);
    assert_int_equal(journal_claim_new(path, &first, &complaint), STATUS_EXISTS);
    assert_non_null(strstr(complaint.text, "--rebuild"));
    assert_int_equal(journal_finish(path, true, &complaint), STATUS_OK);
    assert_int_equal(journal_claim_old(path, &first, &complaint), STATUS_NOT_FOUND);
    assert_int_equal(unlink(kit_path("a.journal.kept")), 0);
    assert_int_equal(journal_finish(path, false, &complaint), STATUS_NOT_FOUND);
    assert_int_equal(journal_claim_new(kit_path("no/a.journal"), &first, &complaint),
                     STATUS_NOT_FOUND);
}

/* --- a small journal with everything in it */

static const struct origin rpm = {.message = "RPM"};

static void put_frame(void *self, int64_t at, uint32_t id, unsigned length)
{
    static const uint8_t data[8] = {0xA8, 1, 2, 3, 4, 5, 6, 7};
    assert_int_equal(journal_store.frame(self, at, 1, id, data, length), STATUS_OK);
}

static void write_small(const char *run_path, bool clean)
{
    void *self = kit_begin(run_path);
    kit_line(self, 5, "$IIMTW,15.2,C*15");
    put_frame(self, 6123 * NS_PER_US, 0x89F20001, 3);
    kit_flush(self);
    kit_flush(self); /* nothing new: no block */
    kit_line(self, 100, "noise \\ # block 1");
    assert_int_equal(journal_store.event(self, 100 * NS_PER_MS, &rpm, "over_temperature", "hot"),
                     STATUS_OK); /* comes again by decoding: not kept */
    assert_int_equal(journal_store.event(self, 120 * NS_PER_MS, NULL, "mark", "throttle to\n2000"),
                     STATUS_OK);
    assert_int_equal(journal_store.event(self, 121 * NS_PER_MS, NULL, "two words", "x"), STATUS_OK);
    kit_flush(self);
    assert_int_equal(journal_store.gap(self, 150 * NS_PER_MS, 190 * NS_PER_MS, 1, "unplugged", 4),
                     STATUS_OK);
    assert_int_equal(
        journal_store.count(self, 20 * NS_PER_MS, 180 * NS_PER_MS, 0, REASON_REFUSED_SENDER, 3),
        STATUS_OK);
    assert_int_equal(journal_store.sync(self), STATUS_OK);
    kit_end(self, 200, clean);
}

static const char small[] = "0.005000 line 0 $IIMTW,15.2,C*15\n"
                            "0.006123 frame 1 89F20001#3:A8\n"
                            "0.100000 line 0 noise \\ # block 1\n"
                            "0.120000 event mark throttle to 2000\n"
                            "0.121000 event event x\n"
                            "0.150000 gap 1 until 0.190000 lost 4 unplugged\n"
                            "0.020000 count 0 until 0.180000 refused_sender 3\n"
                            "0.200000 end\n";

static void test_small_journal(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    struct journal_reader *reader = NULL;
    write_small(kit_path("small.h5"), true);
    assert_int_equal(journal_open(kit_path("small.journal"), &reader, &complaint), STATUS_OK);
    const struct journal_head *head = journal_head(reader);
    assert_int_equal(head->start_unix_us, KIT_START);
    assert_int_equal(head->clock, CLOCK_SYSTEM);
    assert_string_equal(head->software, "searun-logger 9.9.9");
    assert_string_equal(head->run, "small.h5");
    assert_int_equal(head->input_count, 2);
    assert_memory_equal(head->inputs, kit_inputs, sizeof kit_inputs);
    assert_int_equal(head->setting_count, 3);
    for (size_t i = 0; i < 3; i++)
        assert_string_equal(head->settings[i], kit_settings[i]);
    kit_read_all(reader, &text);
    assert_string_equal(text.bytes, small);
    const struct journal_count *count = journal_count(reader);
    assert_int_equal(count->sound, 5); /* the head twice, and three */
    assert_int_equal(count->lost, 0);
    assert_int_equal(count->lost_bytes, 0);
    assert_false(count->torn_end);
    journal_close(reader);
    journal_close(NULL);
    unlink(kit_path("small.journal"));
}

/* A run that did not end on purpose has no end; a date that is known better at the end stands
 * there. */
static void test_end_and_date(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    void *self = kit_begin(kit_path("dated.h5"));
    const struct run_end end = {
        .end = NS_PER_S, .start_unix_us = KIT_START + 5, .clock = CLOCK_GNSS};
    assert_int_equal(journal_store.close(self, &end, &complaint), STATUS_OK);
    kit_load(kit_path("dated.journal"), &file);
    struct journal_reader *reader = kit_read(file.bytes, file.length, &complaint);
    kit_read_all(reader, &text);
    assert_string_equal(text.bytes, "date 1795601700000005 gnss\n");
    journal_close(reader);
    unlink(kit_path("dated.journal"));
}

/* General tools: players of candump logs take lines that begin with a parenthesis and skip the
 * rest. */
static void test_layout_is_public(void **state)
{
    (void)state;
    write_small(kit_path("small.h5"), true);
    kit_load(kit_path("small.journal"), &file);
    file.bytes[file.length] = '\0';
    for (char *line = file.bytes; *line; line = strchr(line, '\n') + 1)
        assert_true(*line == '#' || *line == '(' || *line == '\\');
    assert_non_null(strstr(file.bytes, "\n(1795601700.006123) can0 09F20001#A80102\n"));
    assert_non_null(strstr(file.bytes, "\n\\s:plotter,c:1795601700005*"));
    unlink(kit_path("small.journal"));
}

/* Writes the small journal into `file`, with the ends of its five blocks. */
static void load_small(size_t ends[5])
{
    size_t count = 0;
    write_small(kit_path("small.h5"), true);
    kit_load(kit_path("small.journal"), &file);
    unlink(kit_path("small.journal"));
    file.bytes[file.length] = '\0';
    for (const char *at = file.bytes; (at = strstr(at, "\n# block "));) {
        at = strchr(at + 1, '\n');
        assert_true(count < 5);
        ends[count++] = (size_t)(at + 1 - file.bytes);
    }
    assert_int_equal(count, 5);
    assert_int_equal(ends[4], file.length);
}

/* How much of the text there is before the line that tells of damage at the end. */
static size_t before_damage(void)
{
    char *damage = strstr(text.bytes, " damage until -1.000000 blocks 1\n");
    if (!damage)
        return SIZE_MAX;
    while (damage > text.bytes && damage[-1] != '\n')
        damage--;
    return (size_t)(damage - text.bytes);
}

/* Cut off at any byte, every complete block comes back, and a torn one is told. */
static void test_truncated_at_every_byte(void **state)
{
    (void)state;
    struct complaint complaint;
    size_t ends[5], whole = 0;
    load_small(ends);
    for (size_t length = 0; length <= file.length; length++) {
        struct journal_reader *reader = kit_read(file.bytes, length, &complaint);
        whole += whole < 5 && length == ends[whole];
        assert_int_equal(reader != NULL, whole > 0);
        if (!reader)
            continue;
        kit_read_all(reader, &text);
        bool torn = length != ends[whole - 1];
        const struct journal_count *count = journal_count(reader);
        assert_int_equal(count->sound, whole);
        assert_int_equal(count->torn_end, torn);
        assert_int_equal(count->lost, torn);
        size_t kept = before_damage();
        assert_int_equal(kept != SIZE_MAX, torn);
        assert_memory_equal(text.bytes, small, torn ? kept : text.length);
        journal_close(reader);
    }
    print_message("%zu bytes\n", file.length);
}

/* The items of the block with that number, as text. */
static void block_text(size_t number, char *to, size_t room)
{
    static const char *const blocks[] = {
        "", "", "0.005000 line 0 $IIMTW,15.2,C*15\n0.006123 frame 1 89F20001#3:A8\n",
        "0.100000 line 0 noise \\ # block 1\n0.120000 event mark throttle to 2000\n"
        "0.121000 event event x\n",
        "0.150000 gap 1 until 0.190000 lost 4 unplugged\n"
        "0.020000 count 0 until 0.180000 refused_sender 3\n0.200000 end\n"};
    snprintf(to, room, "%s", blocks[number]);
}

/* What must come back if block `lost` is altered: all others, and the damage in its place, with the
 * times between which something is missing. */
static void expect_without(size_t lost)
{
    static const char *const damage[] = {
        "0.000000 damage until 0.000000 blocks 1\n", "0.000000 damage until 0.005000 blocks 1\n",
        "0.000000 damage until 0.100000 blocks 1\n", "0.006123 damage until 0.180000 blocks 1\n",
        "0.121000 damage until -1.000000 blocks 1\n"};
    char block[400];
    expected.length = 0;
    for (size_t i = 0; i < 5; i++) {
        block_text(i, block, sizeof block);
        kit_note(&expected, "%s", i == lost ? damage[i] : block);
    }
}

static size_t block_of(size_t offset, const size_t *ends)
{
    size_t block = 0;
    while (offset >= ends[block])
        block++;
    return block;
}

/* No bit can be turned over unnoticed; each costs one block and no more. */
static void test_every_bit_flipped(void **state)
{
    (void)state;
    struct complaint complaint;
    size_t ends[5];
    load_small(ends);
    for (size_t bit = 0; bit < 8 * file.length; bit++) {
        file.bytes[bit / 8] ^= (char)(1 << bit % 8);
        struct journal_reader *reader = kit_read(file.bytes, file.length, &complaint);
        assert_non_null(reader);
        kit_read_all(reader, &text);
        expect_without(block_of(bit / 8, ends));
        if (strcmp(text.bytes, expected.bytes) != 0)
            fail_msg("bit %zu of byte %zu:\n%sinstead of\n%s", bit % 8, bit / 8, text.bytes,
                     expected.bytes);
        assert_int_equal(journal_count(reader)->sound, 4);
        assert_int_equal(journal_count(reader)->lost, 1);
        journal_close(reader);
        file.bytes[bit / 8] ^= (char)(1 << bit % 8);
    }
    print_message("%zu bits in %zu bytes\n", 8 * file.length, file.length);
}

/* --- longer ones */

/* Writes `blocks` blocks of `lines` lines; line n says n. */
static void write_long(const char *run_path, unsigned blocks, unsigned lines)
{
    void *self = kit_begin(run_path);
    char line[60];
    for (unsigned n = 0; n < blocks * lines; n++) {
        snprintf(line, sizeof line, "$PSRN,%u*00", n);
        kit_line(self, n, line);
        if (n % lines == lines - 1)
            kit_flush(self);
    }
    kit_end(self, blocks * lines, true);
}

/* Blocks that are cut out, repeated or swapped, and bytes of other origin, are all noticed. */
static void test_blocks_moved(void **state)
{
    (void)state;
    struct complaint complaint;
    static struct kit_file other;
    write_long(kit_path("long.h5"), 20, 3);
    kit_load(kit_path("long.journal"), &file);
    unlink(kit_path("long.journal"));
    file.bytes[file.length] = '\0';
    const char *from = strstr(file.bytes, "\n# block 9 "), *until = strstr(from, "\n# block 11 ");
    from = strchr(from + 1, '\n') + 1;
    until = strchr(until + 1, '\n') + 1;
    size_t head = (size_t)(from - file.bytes), piece = (size_t)(until - from);
    size_t tail = file.length - head - piece;

    /* blocks 10 and 11 cut out */
    memcpy(other.bytes, file.bytes, head);
    memcpy(other.bytes + head, until, tail);
    struct journal_reader *reader = kit_read(other.bytes, head + tail, &complaint);
    kit_read_all(reader, &text);
    assert_int_equal(journal_count(reader)->lost, 2);
    assert_int_equal(journal_count(reader)->lost_bytes, 0);
    assert_non_null(strstr(text.bytes, "0.023000 damage until 0.030000 blocks 2\n"));
    assert_int_equal(journal_count(reader)->sound, 2 + 20 + 1 - 2);
    journal_close(reader);

    /* and put in twice: the second time they are no blocks any more */
    memcpy(other.bytes, file.bytes, head + piece);
    memcpy(other.bytes + head + piece, from, piece + tail);
    reader = kit_read(other.bytes, file.length + piece, &complaint);
    kit_read_all(reader, &text);
    assert_int_equal(journal_count(reader)->sound, 23);
    assert_int_equal(journal_count(reader)->lost, 0);
    assert_int_equal(journal_count(reader)->lost_bytes, piece);
    assert_non_null(strstr(text.bytes, "blocks 0\n"));
    journal_close(reader);

    /* zeros in the place of a block, as a file system leaves them where a page was never written */
    memcpy(other.bytes, file.bytes, file.length);
    memset(other.bytes + head, 0, piece);
    reader = kit_read(other.bytes, file.length, &complaint);
    kit_read_all(reader, &text);
    assert_int_equal(journal_count(reader)->lost, 2);
    assert_int_equal(journal_count(reader)->lost_bytes, piece);
    assert_int_equal(journal_count(reader)->sound, 21);
    journal_close(reader);
}

/* Damage that is longer than what the reader holds at once; and the head comes again later. */
static void test_far_damage(void **state)
{
    (void)state;
    struct complaint complaint;
    struct journal_reader *reader = NULL;
    unsigned blocks = 4200;
    write_long(kit_path("far.h5"), blocks, 3);
    struct stat about;
    assert_int_equal(stat(kit_path("far.journal"), &about), 0);
    int fd = open(kit_path("far.journal"), O_RDWR);
    char *bytes = mmap(NULL, (size_t)about.st_size, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    close(fd);
    /* the head, and what follows it: as far as the head that is repeated after 4096 blocks */
    char *again = memmem(bytes + 2000, (size_t)about.st_size - 2000, "# searun capture", 16);
    assert_non_null(again);
    memset(bytes, 'x', (size_t)(again - bytes));
    munmap(bytes, (size_t)about.st_size);
    assert_int_equal(journal_open(kit_path("far.journal"), &reader, &complaint), STATUS_OK);
    assert_string_equal(journal_head(reader)->run, "far.h5");
    struct journal_item item;
    assert_true(journal_next(reader, &item));
    assert_int_equal(item.what, JOURNAL_ITEM_DAMAGE);
    unsigned number = (unsigned)item.count;
    assert_in_range(number, 4090, 4100);
    unsigned line = 3 * (number - 2); /* of the head's two blocks */
    for (; journal_next(reader, &item) && item.what == JOURNAL_ITEM_LINE; line++) {
        char words[60];
        snprintf(words, sizeof words, "$PSRN,%u*00", line);
        assert_int_equal(item.length, strlen(words));
        assert_memory_equal(item.bytes, words, item.length);
    }
    assert_int_equal(line, 3 * blocks);
    journal_close(reader);
    unlink(kit_path("far.journal"));
}

/* A block as long as they get, lines as long as they get. */
static void test_long_lines(void **state)
{
    (void)state;
    struct complaint complaint;
    char line[CAPTURE_LINE_MAX + 1];
    void *self = kit_begin(kit_path("wide.h5"));
    memset(line, 'A', CAPTURE_LINE_MAX);
    line[CAPTURE_LINE_MAX] = '\0';
    for (int n = 0; n < 200; n++) /* never flushed: it writes by itself */
        kit_line(self, n, line);
    kit_end(self, 200, true);
    kit_load(kit_path("wide.journal"), &file);
    unlink(kit_path("wide.journal"));
    struct journal_reader *reader = kit_read(file.bytes, file.length, &complaint);
    struct journal_item item;
    for (int n = 0; n < 200; n++) {
        assert_true(journal_next(reader, &item));
        assert_int_equal(item.length, CAPTURE_LINE_MAX);
    }
    assert_true(journal_next(reader, &item));
    assert_int_equal(item.what, JOURNAL_ITEM_END);
    assert_int_equal(journal_count(reader)->sound, 2 + 4);
    journal_close(reader);
}

/* --- what is no journal */

static void test_not_journals(void **state)
{
    (void)state;
    static const struct {
        const char *bytes, *words;
    } rows[] = {
        {"", "it is empty"},
        {"# searun capture 1 start=1795601700000000 clock=system\n", "it is torn there"},
        {"\x89HDF\r\n\x1a\n", "or is no journal"},
    };
    struct journal_reader *reader = NULL;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct complaint complaint = {""};
        assert_null(kit_read(rows[i].bytes, strlen(rows[i].bytes), &complaint));
        assert_non_null(strstr(complaint.text, rows[i].words));
    }
    struct complaint complaint = {""};
    assert_int_equal(journal_open(kit_folder, &reader, &complaint), STATUS_BAD_DATA);
    assert_int_equal(journal_open(kit_path("none"), &reader, &complaint), STATUS_NOT_FOUND);
}

/* Any bytes at all end, and hand out nothing. */
static void test_noise(void **state)
{
    (void)state;
    unsigned seed = (unsigned)time(NULL);
    print_message("seed %u\n", seed);
    write_long(kit_path("long.h5"), 20, 3);
    kit_load(kit_path("long.journal"), &file);
    unlink(kit_path("long.journal"));
    for (int round = 0; round < 300; round++) {
        static struct kit_file other;
        struct complaint complaint;
        memcpy(other.bytes, file.bytes, file.length);
        for (int i = rand_r(&seed) % 60; i >= 0; i--)
            other.bytes[(size_t)rand_r(&seed) % file.length] = (char)rand_r(&seed);
        struct journal_reader *reader = kit_read(other.bytes, file.length, &complaint);
        if (!reader)
            continue;
        kit_read_all(reader, &text);
        const struct journal_count *count = journal_count(reader);
        /* How many blocks the end once held cannot be told, but that something is missing can. */
        assert_true(count->sound <= 23);
        assert_int_equal(count->sound<23, count->lost> 0 && count->lost_bytes > 0);
        journal_close(reader);
    }
}

/* --- when the disk refuses */

/* A file that may grow no further stands for a full disk: the block that does not fit leaves no
 * trace, and nothing comes behind it. */
static void test_no_room(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    struct rlimit before, small_files = {.rlim_cur = 4096};
    void *self = kit_begin(kit_path("full.h5"));
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    small_files.rlim_max = before.rlim_max;
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small_files), 0);
    enum status status = STATUS_OK;
    unsigned n = 0, sound = 0;
    for (; status == STATUS_OK; n++) {
        char line[60];
        snprintf(line, sizeof line, "$PSRN,%u*00", n);
        kit_line(self, n, line);
        status = journal_store.flush(self);
        sound += status == STATUS_OK;
    }
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    assert_int_equal(errno, EFBIG);
    assert_int_equal(status, STATUS_IO);
    assert_int_equal(journal_store.line(self, 0, 0, "x", 1), STATUS_OK);
    assert_int_equal(journal_store.flush(self), STATUS_IO);
    kit_end(self, n, true);
    kit_load(kit_path("full.journal"), &file);
    unlink(kit_path("full.journal"));
    struct journal_reader *reader = kit_read(file.bytes, file.length, &complaint);
    kit_read_all(reader, &text);
    assert_int_equal(journal_count(reader)->sound, 2 + sound);
    assert_int_equal(journal_count(reader)->lost, 0);
    assert_null(strstr(text.bytes, "end"));
    journal_close(reader);
}

static void test_opening_fails(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    void *self = NULL;
    struct run_start start = {.path = kit_path("no/such.h5"), .start_unix_us = KIT_START};
    assert_int_equal(journal_store.open(&start, &self, &complaint), STATUS_NOT_FOUND);
    start.path = kit_path("there.h5");
    assert_int_equal(journal_store.open(&start, &self, &complaint), STATUS_OK);
    journal_store.abandon(self);
    assert_int_equal(access(kit_path("there.journal"), F_OK), -1);
    /* Facts beyond all measure. */
    char *longest = malloc(4100);
    memset(longest, 'n', 4000);
    longest[4000] = '\0';
    const char *settings[102] = {NULL};
    for (int i = 0; i < 101; i++)
        settings[i] = longest;
    start.settings = settings;
    assert_int_equal(journal_store.open(&start, &self, &complaint), STATUS_BAD_USAGE);
    assert_non_null(strstr(complaint.text, "too long"));
    free(longest);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_closing_lines),
        cmocka_unit_test(test_escapes),
        cmocka_unit_test(test_other_lines),
        cmocka_unit_test(test_names),
        cmocka_unit_test(test_claims),
        cmocka_unit_test(test_small_journal),
        cmocka_unit_test(test_end_and_date),
        cmocka_unit_test(test_layout_is_public),
        cmocka_unit_test(test_truncated_at_every_byte),
        cmocka_unit_test(test_every_bit_flipped),
        cmocka_unit_test(test_blocks_moved),
        cmocka_unit_test(test_far_damage),
        cmocka_unit_test(test_long_lines),
        cmocka_unit_test(test_not_journals),
        cmocka_unit_test(test_noise),
        cmocka_unit_test(test_no_room),
        cmocka_unit_test(test_opening_fails),
    };
    return cmocka_run_group_tests(tests, kit_make, kit_remove);
}
