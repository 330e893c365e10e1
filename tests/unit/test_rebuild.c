/* test_rebuild.c - a run that is made again from its journal is the run that was recorded. */
#include "../whole/stage.h"

#include <glob.h>
#include <sched.h>
#include <stdatomic.h>
#include <sys/prctl.h>

#include "../../logger/capture.h"
#include "../../logger/config.h"
#include "../../logger/crc32c.h"
#include "../../logger/intake.h"
#include "../../logger/journal.h"
#include "../../logger/journal_read.h"
#include "../../logger/journal_text.h"
#include "../../logger/rebuild.h"

#define START INT64_C(1795601700000000) /* 2026-11-25 10:15:00 UTC */
#define RING ((size_t)4 << 20)
#define PLOTTER 0 /* numbers of the inputs */
#define N2K 1
#define J1939 2

static const struct run_input inputs[3] = {
    {"udp:10110", "plotter"}, {"can:can0,nmea2000", "can0"}, {"can:can1,j1939,engine=1", "can1"}};
static const char *const settings[] = {"boat.name=Tern's Reach", "engine0.thermostat=71, 82",
                                       "transducers.row1=C, C, KEEL -> sea_temperature, vessel",
                                       NULL};
static const struct voice nobody = {.fd = -1, .least = SAY_ERROR};

/* --- recording, as the logger does it, but in time of our own */

struct recorder {
    struct config config;
    struct transducer_map map;
    struct dates dates;
    struct watch *watch;
    struct writer *writer;
    struct intake intake;
    struct journal_claim claim;
    int64_t at;
};

static struct recorder recorder;

static void begin(const char *run_path, bool with_journal)
{
    static const struct store *const both[] = {&journal_store, &run_file_store, NULL};
    static const struct store *const one[] = {&run_file_store, NULL};
    char id[RUN_ID_ROOM], journal[600];
    struct complaint complaint = {""};
    run_make_id(id);
    recorder = (struct recorder){.claim.fd = -1};
    config_init(&recorder.config);
    for (size_t i = 0; settings[i]; i++)
        assert_int_equal(config_set(&recorder.config, settings[i], &complaint), STATUS_OK);
    assert_int_equal(config_transducers(&recorder.config, &recorder.map), STATUS_OK);
    assert_int_equal(watch_new(&nobody, &recorder.config.facts, inputs, false, &recorder.watch),
                     STATUS_OK);
    if (with_journal) {
        assert_true(journal_path(journal, sizeof journal, run_path));
        assert_int_equal(journal_claim_new(journal, &recorder.claim, &complaint), STATUS_OK);
    }
    const struct run_start start = {.path = run_path,
                                    .start_unix_us = START,
                                    .clock = CLOCK_SYSTEM,
                                    .facts = &recorder.config.facts,
                                    .inputs = inputs,
                                    .input_count = 3,
                                    .software = "searun-logger test",
                                    .run_id = id,
                                    .settings = settings};
    if (writer_new(with_journal ? both : one, &start, RING, NULL, &recorder.writer, &complaint) !=
        STATUS_OK)
        fail_msg("%s", complaint.text);
    intake_init(&recorder.intake, recorder.writer, &recorder.map, recorder.watch, &recorder.dates,
                inputs, 3);
    recorder.intake.patient = true;
}

/* The journal stays, as it does when the power is cut between its end and that of the run file. */
static void finish(bool clean)
{
    struct complaint complaint = {""};
    intake_finish(&recorder.intake, recorder.at);
    struct dates_verdict verdict = dates_judge(&recorder.dates, START, 5000000, DATES_PROGRAM_US);
    char dated[DATES_TEXT_ROOM];
    dates_tell(&verdict, CLOCK_SYSTEM, dated, sizeof dated);
    intake_event(&recorder.intake, recorder.at, "dated", dated);
    const struct run_end end = {.end = recorder.at,
                                .start_unix_us = verdict.start_unix_us,
                                .clock = verdict.moved ? CLOCK_GNSS : CLOCK_SYSTEM,
                                .clean = clean,
                                .tallies = recorder.intake.tallies};
    if (writer_finish(recorder.writer, &end, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    journal_release(&recorder.claim);
    intake_free(&recorder.intake);
    watch_free(recorder.watch);
    config_free(&recorder.config);
}

/* --- what is recorded: every capture there is, one after the other */

static void take_item(const struct capture_item *item, int64_t offset, unsigned can)
{
    int64_t at = offset + item->at;
    if (item->what != CAPTURE_ITEM_LINE && item->what != CAPTURE_ITEM_FRAME)
        return;
    recorder.at = at > recorder.at ? at : recorder.at;
    if (item->what == CAPTURE_ITEM_FRAME)
        intake_frame(&recorder.intake, can, at, item->id, item->data, item->data_length);
    else
        intake_line(&recorder.intake, PLOTTER, at, item->bytes, item->length);
}

static void take_capture(const char *path)
{
    struct capture *capture = NULL;
    struct capture_item item;
    struct complaint complaint;
    enum status status = STATUS_OK;
    int64_t offset = recorder.at - recorder.at % NS_PER_MS;
    if (capture_open(path, &capture, &complaint) != STATUS_OK)
        return; /* a few are only noise */
    while (capture_next(capture, &item, &status))
        take_item(&item, offset, strstr(path, "j1939") ? J1939 : N2K);
    capture_close(capture);
}

static void take_captures(const char *pattern)
{
    glob_t found;
    assert_int_equal(glob(pattern, 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc; i++)
        take_capture(found.gl_pathv[i]);
    print_message("%zu captures like %s\n", found.gl_pathc, pattern);
    globfree(&found);
}

/* A stream of sentences and noise, cut into reads at random. */
static void take_stream(unsigned *seed)
{
    static const char *const pieces[] = {"$IIMTW,15.2,C*15\r\n",
                                         "$IIMTW,15.2,C*16\r\n",
                                         "\xFF\xFE\r\r\n\n",
                                         "$IIRPM,E,",
                                         "!AIVDM,1,1,,A,\\,0*00\r\n",
                                         "\\s:x*00\\",
                                         "# end 5\r\n",
                                         "(1.0) can0 123#\n",
                                         "\\\\s:plotter,c:1*00\\$",
                                         "# block 3 0 0 0 0\n"};
    for (int i = 0; i < 2000; i++) {
        const char *piece = pieces[rand_r(seed) % 10];
        size_t length = strlen(piece), cut = (size_t)rand_r(seed) % (length + 1);
        recorder.at += (rand_r(seed) % 2000) * NS_PER_US;
        intake_bytes(&recorder.intake, PLOTTER, recorder.at, (const uint8_t *)piece, cut);
        intake_bytes(&recorder.intake, PLOTTER, recorder.at, (const uint8_t *)piece + cut,
                     length - cut);
        if (rand_r(seed) % 100 == 0)
            intake_cut(&recorder.intake, PLOTTER, recorder.at);
        intake_tick(&recorder.intake, recorder.at);
    }
}

/* All that comes in beside messages. */
static void take_remarks(void)
{
    struct intake *intake = &recorder.intake;
    int64_t at = recorder.at += 5 * NS_PER_S;
    intake_gap(intake, N2K, at - NS_PER_S, at, "taken down", 0);
    intake_count(intake, N2K, REASON_REOPENED, at, 1);
    intake_lost(intake, PLOTTER, at, 17);
    intake_count(intake, PLOTTER, REASON_REFUSED_SENDER, at + 1000, 2);
    intake_datagram(intake, PLOTTER, at + 2000, (const uint8_t *)"RrUdP\0file", 10);
    intake_event(intake, at + 1234567, "mark", "throttle to 2000");
    intake_tick(intake, at);
    intake_frame(intake, N2K, at, 0x20000004, (const uint8_t[8]){1, 2}, 8); /* an error frame */
    intake_frame(intake, N2K, at, 0x40000123, (const uint8_t[8]){9, 9}, 8); /* a request */
    intake_frame(intake, N2K, at, 0x00000123, (const uint8_t[8]){9, 9}, 2);
    intake_frame(intake, N2K, at, 0x80000123, (const uint8_t[8]){0}, 0);
    recorder.at = at + 2 * NS_PER_MS;
}

static void take_messages(void)
{
    take_captures("tests/captures/*/input");
    take_capture("sample-runs/before.nmea");
}

static void remove_run(const char *name)
{
    static const char *const endings[] = {".h5", ".h5.part", ".journal", ".journal.kept",
                                          ".journal.damaged"};
    for (size_t i = 0; i < sizeof endings / sizeof endings[0]; i++) {
        char path[600];
        snprintf(path, sizeof path, "%s%s", stage_path(name), endings[i]);
        unlink(path);
    }
}

/* --- comparing; stricter than for replays */

static void same_order(struct run *a, struct run *b)
{
    const struct run_event *event_x, *event_y;
    const struct run_utc *utc_x, *utc_y;
    size_t count_x, count_y;
    assert_int_equal(run_events(a, &event_x, &count_x, NULL), STATUS_OK);
    assert_int_equal(run_events(b, &event_y, &count_y, NULL), STATUS_OK);
    assert_int_equal(count_x, count_y);
    assert_true(count_x > 0);
    for (size_t i = 0; i < count_x; i++)
        assert_int_equal(by_event(&event_x[i], &event_y[i]), 0);
    assert_int_equal(run_utcs(a, &utc_x, &count_x, NULL), STATUS_OK);
    assert_int_equal(run_utcs(b, &utc_y, &count_y, NULL), STATUS_OK);
    assert_int_equal(count_x, count_y);
    assert_true(count_x > 0);
    for (size_t i = 0; i < count_x; i++)
        assert_int_equal(by_time(&utc_x[i], &utc_y[i]), 0);
}

static void same_counts(struct run *a, struct run *b)
{
    for (size_t i = 0; i < run_input_count(a); i++)
        for (int reason = 0; reason < REASON_COUNT; reason++) {
            const struct tally_line *x = &run_tally(a, i)->line[reason];
            const struct tally_line *y = &run_tally(b, i)->line[reason];
            if (x->count != y->count ||
                (x->count > 0 && (x->first != y->first || x->last != y->last)))
                fail_msg("input %zu: %llu from %lld to %lld, and %llu from %lld to %lld %s", i,
                         (unsigned long long)x->count, (long long)x->first, (long long)x->last,
                         (unsigned long long)y->count, (long long)y->first, (long long)y->last,
                         reason_title((enum reason)reason));
        }
}

static void same_facts(struct run *a, struct run *b)
{
    const struct facts *x = run_facts(a), *y = run_facts(b);
    assert_int_equal(x->count, y->count);
    for (size_t i = 0; i < x->count; i++)
        assert_string_equal(x->list[i].value,
                            facts_get(y, x->list[i].section, x->list[i].engine, x->list[i].key));
    assert_string_equal(run_about(a)->software, run_about(b)->software);
}

static void expect_same(const char *live_path, const char *rebuilt_path)
{
    stage_same_run(live_path, rebuilt_path);
    struct run *live = stage_open_run(live_path), *rebuilt = stage_open_run(rebuilt_path);
    same_order(live, rebuilt);
    same_counts(live, rebuilt);
    same_facts(live, rebuilt);
    assert_false(run_about(live)->rebuilt);
    assert_true(run_about(rebuilt)->rebuilt);
    run_close(live);
    run_close(rebuilt);
}

/* --- the whole journal */

static void test_same_as_live(void **state)
{
    (void)state;
    unsigned seed = (unsigned)time(NULL);
    print_message("seed %u\n", seed);
    begin(stage_path("a.h5"), true);
    take_messages();
    take_stream(&seed);
    take_remarks();
    take_stream(&seed);
    finish(true);
    const struct rebuild_order order = {.journal = stage_path("a.journal"),
                                        .output = stage_path("again.h5")};
    assert_int_equal(rebuild_run(&order, &nobody), STATUS_OK);
    expect_same(stage_path("a.h5"), stage_path("again.h5"));
    struct run *live = stage_open_run(stage_path("a.h5"));
    struct run *again = stage_open_run(stage_path("again.h5"));
    assert_string_equal(run_about(live)->run_id, run_about(again)->run_id);
    assert_true(run_about(again)->closed_cleanly);
    assert_true(stage_tally(again, PLOTTER, REASON_REFUSED_SENDER) == 2);
    assert_true(stage_tally(again, N2K, REASON_REOPENED) == 1);
    run_close(live);
    run_close(again);
    /* The journal is the caller's; the name that is taken is not taken again. */
    assert_true(stage_exists(stage_path("a.journal")));
    assert_int_equal(rebuild_run(&order, &nobody), STATUS_EXISTS);
    const struct rebuild_order own = {.journal = stage_path("a.journal")};
    assert_int_equal(rebuild_run(&own, &nobody), STATUS_EXISTS);
    remove_run("a");
    remove_run("again");
}

/* A date that the journal states is believed, even if it could be judged otherwise. */
static void test_date_of_the_journal(void **state)
{
    (void)state;
    begin(stage_path("a.h5"), true);
    const struct run_end end = {.end = NS_PER_S,
                                .start_unix_us = START + 60000000,
                                .clock = CLOCK_GNSS,
                                .tallies = recorder.intake.tallies};
    assert_int_equal(writer_finish(recorder.writer, &end, NULL), STATUS_OK);
    journal_release(&recorder.claim);
    intake_free(&recorder.intake);
    watch_free(recorder.watch);
    config_free(&recorder.config);
    unlink(stage_path("a.h5"));
    const struct rebuild_order order = {.journal = stage_path("a.journal")};
    assert_int_equal(rebuild_run(&order, &nobody), STATUS_OK);
    struct run *run = stage_open_run(stage_path("a.h5"));
    assert_int_equal(run_about(run)->start_unix_us, START + 60000000);
    assert_int_equal(run_about(run)->clock, CLOCK_GNSS);
    assert_false(run_about(run)->closed_cleanly);
    run_close(run);
    assert_false(stage_exists(stage_path("a.journal"))); /* it has done its work */
    remove_run("a");
}

/* --- journals that were cut off */

static bool count_message(void *self, const struct raw_message *message)
{
    (void)message;
    ++*(uint64_t *)self;
    return true;
}

static uint64_t count_raw(const char *path)
{
    uint64_t count = 0;
    struct run *run = stage_open_run(path);
    assert_int_equal(run_raw(run, count_message, &count, NULL), STATUS_OK);
    run_close(run);
    return count;
}

static void cut(const char *from, const char *to, size_t length)
{
    char *bytes = malloc(length + 1);
    FILE *file = fopen(from, "rb");
    assert_non_null(file);
    assert_int_equal(fread(bytes, 1, length, file), length);
    fclose(file);
    stage_write(to, bytes, length);
    free(bytes);
}

/* Records the first so many messages only, as the whole journal has them. */
static void record_prefix(uint64_t messages)
{
    struct journal_reader *reader = NULL;
    struct journal_item item;
    assert_int_equal(journal_open(stage_path("whole.journal"), &reader, NULL), STATUS_OK);
    begin(stage_path("prefix.h5"), false);
    while (messages > 0 && journal_next(reader, &item)) {
        if (item.what != JOURNAL_ITEM_LINE && item.what != JOURNAL_ITEM_FRAME)
            continue;
        messages--;
        recorder.at = item.at > recorder.at ? item.at : recorder.at;
        if (item.what == JOURNAL_ITEM_LINE)
            intake_line(&recorder.intake, item.input, item.at, item.bytes, item.length);
        else
            intake_frame(&recorder.intake, item.input, item.at, item.id, item.data,
                         item.data_length);
    }
    finish(false);
    journal_close(reader);
}

static void expect_prefix(const char *rebuilt, uint64_t messages)
{
    record_prefix(messages);
    struct run *a = stage_open_run(stage_path("prefix.h5")), *b = stage_open_run(rebuilt);
    same_raw(a, b);
    same_streams(a, b);
    same_statements(a, b);
    same_counts(a, b);
    assert_int_equal(run_about(a)->start_unix_us, run_about(b)->start_unix_us);
    assert_int_equal(run_about(a)->end_unix_us, run_about(b)->end_unix_us);
    run_close(a);
    run_close(b);
    remove_run("prefix");
}

/* Wherever a journal is cut off, the run file is that of a recording that ended there. */
static void test_cut_off(void **state)
{
    (void)state;
    unsigned seed = (unsigned)time(NULL);
    struct stat about;
    print_message("seed %u\n", seed);
    begin(stage_path("whole.h5"), true);
    take_messages();
    finish(true);
    assert_int_equal(stat(stage_path("whole.journal"), &about), 0);
    for (int round = 0; round < 6; round++) {
        size_t length = 3000 + (size_t)rand_r(&seed) % ((size_t)about.st_size - 3000);
        cut(stage_path("whole.journal"), stage_path("cut.journal"), length);
        stage_write(stage_path("cut.h5.part"), "of no use", 9);
        const struct rebuild_order order = {.journal = stage_path("cut.journal"), .keep = true};
        assert_int_equal(rebuild_run(&order, &nobody), STATUS_OK);
        uint64_t count = count_raw(stage_path("cut.h5"));
        print_message("cut off at %zu of %lld bytes: %llu messages\n", length,
                      (long long)about.st_size, (unsigned long long)count);
        expect_prefix(stage_path("cut.h5"), count);
        assert_true(stage_exists(stage_path("cut.journal.kept")));
        assert_false(stage_exists(stage_path("cut.journal")));
        assert_false(stage_exists(stage_path("cut.h5.part")));
        remove_run("cut");
    }
    remove_run("whole");
}

/* --- damage inside */

static void test_damaged(void **state)
{
    (void)state;
    struct stat about;
    begin(stage_path("a.h5"), true);
    take_messages();
    finish(true);
    uint64_t whole = count_raw(stage_path("a.h5"));
    unlink(stage_path("a.h5"));
    assert_int_equal(stat(stage_path("a.journal"), &about), 0);
    char byte;
    int fd = open(stage_path("a.journal"), O_RDWR);
    assert_int_equal(pread(fd, &byte, 1, about.st_size / 2), 1);
    byte ^= 1;
    assert_int_equal(pwrite(fd, &byte, 1, about.st_size / 2), 1);
    close(fd);
    const struct rebuild_order order = {.journal = stage_path("a.journal")};
    assert_int_equal(rebuild_run(&order, &nobody), STATUS_OK);
    struct run *run = stage_open_run(stage_path("a.h5"));
    const struct run_gap *gaps;
    const struct run_event *events;
    size_t gap_count, event_count, told = 0;
    assert_int_equal(run_gaps(run, &gaps, &gap_count, NULL), STATUS_OK);
    assert_int_equal(run_events(run, &events, &event_count, NULL), STATUS_OK);
    assert_int_equal(gap_count, 3); /* one an input: nobody knows what was in there */
    for (size_t i = 0; i < gap_count; i++) {
        assert_int_equal(gaps[i].input, i);
        assert_string_equal(gaps[i].why, "the journal is damaged here");
        assert_true(gaps[i].to > gaps[i].from);
    }
    for (size_t i = 0; i < event_count; i++)
        if (strcmp(events[i].key, "journal_damaged") == 0) {
            assert_non_null(strstr(events[i].text, "1 block is torn, altered or missing"));
            told++;
        }
    assert_int_equal(told, 1);
    assert_int_equal(run_about(run)->records_rejected, 1);
    assert_true(run_about(run)->closed_cleanly); /* its end is there */
    run_close(run);
    uint64_t left = count_raw(stage_path("a.h5"));
    assert_true(left < whole && left > 0);
    assert_true(stage_exists(stage_path("a.journal.kept"))); /* though nobody asked for it */
    remove_run("a");
}

/* --- a folder at start-up */

static void write_run(const char *name, unsigned lines)
{
    begin(stage_path(name), true);
    for (unsigned i = 0; i < lines; i++) {
        recorder.at += NS_PER_S;
        intake_line(&recorder.intake, PLOTTER, recorder.at, "$IIMTW,15.2,C*15", 16);
    }
    finish(false);
}

static void sweep(bool keep)
{
    rebuild_folder(stage_folder, keep, 0, NULL, &nobody);
}

static void test_folder(void **state)
{
    (void)state;
    struct journal_claim claim;
    write_run("cut.h5", 7);
    unlink(stage_path("cut.h5"));
    write_run("done.h5", 5); /* only the removal of the journal is missing */
    write_run("busy.h5", 3);
    unlink(stage_path("busy.h5"));
    write_run("taken.h5", 4);
    unlink(stage_path("taken.h5"));
    write_run("other.h5", 9);
    assert_int_equal(rename(stage_path("other.h5"), stage_path("taken.h5")), 0);
    unlink(stage_path("other.journal"));
    stage_write(stage_path("empty.journal"), "", 0);
    stage_write(stage_path("noise.journal"), "no journal at all\n", 18);
    stage_write(stage_path("kept.journal.kept"), "left alone\n", 11);
    assert_int_equal(journal_claim_old(stage_path("busy.journal"), &claim, NULL), STATUS_OK);
    sweep(false);
    assert_int_equal(count_raw(stage_path("cut.h5")), 7);
    assert_false(stage_exists(stage_path("cut.journal")));
    assert_int_equal(count_raw(stage_path("done.h5")), 5);
    assert_false(stage_exists(stage_path("done.journal")));
    assert_false(stage_exists(stage_path("busy.h5")));
    assert_true(stage_exists(stage_path("busy.journal")));
    /* A run of another recording that has the name stays; this one gets a number. */
    assert_int_equal(count_raw(stage_path("taken.h5")), 9);
    assert_int_equal(count_raw(stage_path("taken-2.h5")), 4);
    assert_false(stage_exists(stage_path("taken.journal")));
    assert_false(stage_exists(stage_path("empty.journal")));
    assert_true(stage_exists(stage_path("noise.journal.damaged")));
    assert_false(stage_exists(stage_path("noise.journal")));
    assert_true(stage_exists(stage_path("kept.journal.kept")));
    journal_release(&claim);
    sweep(true);
    assert_int_equal(count_raw(stage_path("busy.h5")), 3);
    assert_true(stage_exists(stage_path("busy.journal.kept")));
    sweep(true); /* nothing is left to do */
    rebuild_folder(stage_path("no such folder"), true, 0, NULL, &nobody);
    static const char *const names[] = {"cut", "done", "busy", "taken", "taken-2", "noise", "kept"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        remove_run(names[i]);
}

/* --- what is left beside a journal */

/* Sweeps, and what was said; to be freed. */
static char *sweep_aloud(void)
{
    const struct voice voice = {
        .fd = open(stage_path("words"), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600),
        .least = SAY_NOTE};
    assert_true(voice.fd >= 0);
    rebuild_folder(stage_folder, false, 0, NULL, &voice);
    close(voice.fd);
    char *words = stage_read(stage_path("words"));
    unlink(stage_path("words"));
    return words;
}

static void expect_words(const char *words, const char *form, const char *path)
{
    char wanted[1200];
    snprintf(wanted, sizeof wanted, "%s%s", form, path);
    if (!strstr(words, wanted))
        fail_msg("\"%s\" does not say \"%s\"", words, wanted);
}

/* Of no use once the run is there, under whatever name. */
static void test_part_of_a_run_that_is_there(void **state)
{
    (void)state;
    write_run("done.h5", 5);
    stage_write(stage_path("done.h5.part"), "of no use", 9);
    write_run("taken.h5", 4);
    write_run("other.h5", 9);
    assert_int_equal(rename(stage_path("other.h5"), stage_path("taken.h5")), 0);
    unlink(stage_path("other.journal"));
    stage_write(stage_path("taken.h5.part"), "of no use", 9);
    stage_write(stage_path("empty.journal"), "", 0);
    stage_write(stage_path("empty.h5.part"), "of no use", 9);
    sweep(false);
    assert_int_equal(count_raw(stage_path("done.h5")), 5);
    assert_int_equal(count_raw(stage_path("taken.h5")), 9);
    assert_int_equal(count_raw(stage_path("taken-2.h5")), 4);
    static const char *const names[] = {"done", "taken", "taken-2", "empty"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char part[40];
        snprintf(part, sizeof part, "%s.h5.part", names[i]);
        assert_false(stage_exists(stage_path(part)));
        remove_run(names[i]);
    }
}

/* All there is of a run is kept, and people are told where, and what they can do with it. */
static void test_set_aside(void **state)
{
    (void)state;
    static const char *const ends[] = {"", "-2"};
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        char journal[40], part[40];
        snprintf(journal, sizeof journal, "noise.journal.damaged%s", ends[i]);
        snprintf(part, sizeof part, "noise.h5.part.damaged%s", ends[i]);
        stage_write(stage_path("noise.journal"), "no journal at all\n", 18);
        stage_write(stage_path("noise.h5.part"), "all there is", 12);
        char *words = sweep_aloud();
        expect_words(words, "searun-logger --replay ", stage_path(journal));
        expect_words(words, "searun-analyze check ", stage_path(part));
        free(words);
        assert_false(stage_exists(stage_path("noise.journal")));
        assert_false(stage_exists(stage_path("noise.h5.part")));
        char *kept = stage_read(stage_path(part));
        assert_string_equal(kept, "all there is");
        free(kept);
    }
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        char journal[40], part[40];
        snprintf(journal, sizeof journal, "noise.journal.damaged%s", ends[i]);
        snprintf(part, sizeof part, "noise.h5.part.damaged%s", ends[i]);
        assert_int_equal(unlink(stage_path(journal)), 0);
        assert_int_equal(unlink(stage_path(part)), 0);
    }
}

/* A journal of a newer program is not damaged: that program must find it. */
static void test_newer_program(void **state)
{
    (void)state;
    char text[512];
    struct crc32c crc;
    size_t length = 0;
    crc32c_init(&crc);
    for (unsigned number = 0; number < 2; number++) {
        size_t begin = length;
        length += (size_t)snprintf(text + length, sizeof text - length,
                                   "# searun capture 1 start=1795601700000000 clock=system\n"
                                   "# journal %d searun-logger 99.0\n",
                                   JOURNAL_VERSION + 1);
        const struct journal_closing closing = {
            .number = number, .length = length - begin, .from_us = START, .until_us = START};
        length += journal_text_closing(text + length, sizeof text - length, &closing);
        length += journal_text_crc(text + length, sizeof text - length,
                                   crc32c_of(&crc, text + begin, length - begin));
    }
    stage_write(stage_path("newer.journal"), text, length);
    char *words = sweep_aloud();
    expect_words(words, "newer program (searun-logger 99.0", "");
    expect_words(words, "use that one; the journal stays", "");
    free(words);
    assert_true(stage_exists(stage_path("newer.journal")));
    remove_run("newer");
}

/* Another program looks for journals to rebuild while new ones are made: it must not take one that
 * is still empty for one that was cut off, and remove it below the recording that begins. */
static void test_swept_while_made(void **state)
{
    (void)state;
    pid_t sweeper = fork();
    assert_true(sweeper >= 0);
    if (sweeper == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        for (;;)
            sweep(false);
    }
    for (int i = 0; i < 1000; i++) {
        char name[32];
        struct journal_claim claim;
        struct complaint complaint = {""};
        struct stat named, claimed;
        snprintf(name, sizeof name, "new-%d.journal", i % 4);
        if (journal_claim_new(stage_path(name), &claim, &complaint) != STATUS_OK)
            fail_msg("%d: %s", i, complaint.text);
        for (int k = 0; k < i % 5; k++)
            sched_yield();
        if (stat(stage_path(name), &named) != 0 || fstat(claim.fd, &claimed) != 0 ||
            named.st_ino != claimed.st_ino)
            fail_msg("%d: the journal was removed below us", i);
        unlink(stage_path(name));
        journal_release(&claim);
    }
    kill(sweeper, SIGKILL);
    waitpid(sweeper, NULL, 0);
}

/* Told to stop, it leaves everything for the next start. */
static void test_stopped(void **state)
{
    (void)state;
    _Atomic bool stop = true;
    write_run("cut.h5", 600);
    unlink(stage_path("cut.h5"));
    rebuild_folder(stage_folder, false, 0, &stop, &nobody);
    assert_false(stage_exists(stage_path("cut.h5")));
    const struct rebuild_order order = {.journal = stage_path("cut.journal"), .stop = &stop};
    assert_int_equal(rebuild_run(&order, &nobody), STATUS_OK);
    assert_false(stage_exists(stage_path("cut.h5")));
    assert_false(stage_exists(stage_path("cut.h5.part")));
    assert_true(stage_exists(stage_path("cut.journal")));
    sweep(false);
    assert_int_equal(count_raw(stage_path("cut.h5")), 600);
    remove_run("cut");
}

/* Where there is too little space, the reserve is worth more than an old run a little sooner. */
static void test_no_space(void **state)
{
    (void)state;
    write_run("cut.h5", 5);
    unlink(stage_path("cut.h5"));
    rebuild_folder(stage_folder, false, UINT64_MAX / 2, NULL, &nobody);
    assert_false(stage_exists(stage_path("cut.h5")));
    assert_true(stage_exists(stage_path("cut.journal")));
    remove_run("cut");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_same_as_live),
        cmocka_unit_test(test_date_of_the_journal),
        cmocka_unit_test(test_cut_off),
        cmocka_unit_test(test_damaged),
        cmocka_unit_test(test_folder),
        cmocka_unit_test(test_swept_while_made),
        cmocka_unit_test(test_stopped),
        cmocka_unit_test(test_no_space),
        cmocka_unit_test(test_part_of_a_run_that_is_there),
        cmocka_unit_test(test_set_aside),
        cmocka_unit_test(test_newer_program),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
