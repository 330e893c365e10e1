/* test_logger_storage.c - searun-logger when the disk is full, on a small file system of the test's
 * own. */
#include <sched.h>
#include <sys/mount.h>
#include <sys/statvfs.h>

#include "../whole/stage.h"

/* HDF5 1.10 keeps some memory of a file that it could not close for want of space; that is not ours
 * to find here. The exit code is. */
#define start_logger_there(...)                                                                    \
    stage_start_with("ASAN_OPTIONS=detect_leaks=0", stage_program("SEARUN_LOGGER"),                \
                     LOGGER_ARGUMENTS(__VA_ARGS__))

static struct stage_text text;

/* A tmpfs of so many KiB at a folder of the scratch folder; false, with words, where that is not
 * permitted. Mounted in a name space of this process alone, and gone with it. */
static bool make_small_disk(const char *folder, unsigned kib)
{
    char options[32];
    static bool apart;
    mkdir(folder, 0700);
    snprintf(options, sizeof options, "size=%uk", kib);
    if (!apart && unshare(CLONE_NEWNS) != 0) {
        print_message("skipped: no mount name space here (%s)\n", strerror(errno));
        return false;
    }
    apart = true;
    if (mount(NULL, "/", NULL, MS_REC | MS_PRIVATE, NULL) == 0 &&
        mount("small", folder, "tmpfs", 0, options) == 0)
        return true;
    print_message("skipped: a tmpfs cannot be mounted here (%s)\n", strerror(errno));
    return false;
}

/* Random lines: they do not compress, and are kept raw all the same. */
static void make_noise(struct stage_text *to, unsigned *chance, size_t lines)
{
    to->length = 0;
    for (size_t i = 0; i < lines; i++) {
        char line[100];
        for (size_t k = 0; k < sizeof line; k++) {
            *chance = *chance * 1103515245 + 12345;
            line[k] = (char)('0' + (*chance >> 16) % 64);
        }
        memcpy(to->bytes + to->length, line, sizeof line);
        to->length += sizeof line;
        stage_add(to, "\r\n");
    }
}

static void test_replay_onto_full_disk(void **state)
{
    (void)state;
    const char *disk = stage_path("disk");
    if (!make_small_disk(disk, 128))
        skip();
    struct program logger =
        start_logger_there("--config", "sample-runs/before.ini", "--replay",
                           "sample-runs/before.nmea", "--output", stage_path("disk/run.h5"));
    stage_expect_words(logger, 1, "No space left on device");
    const char *said = stage_said(&logger);
    assert_non_null(strstr(said, "error: "));
    assert_null(strstr(said, "recorded /"));
    /* What there is of the run is named, and it is there. */
    bool whole = stage_exists(stage_path("disk/run.h5"));
    bool part = stage_exists(stage_path("disk/run.h5.part"));
    assert_true(whole || part);
    assert_non_null(strstr(said, whole ? "what was recorded until then is in "
                                       : "what could be written is in "));
    umount2(disk, MNT_DETACH);
}

static void resize_disk(const char *folder, unsigned kib)
{
    char options[32];
    snprintf(options, sizeof options, "size=%uk", kib);
    assert_int_equal(mount("small", folder, "tmpfs", MS_REMOUNT, options), 0);
}

/* Sends noise until the logger has said so. */
static void send_until_said(const struct program *logger, unsigned port, const char *words)
{
    static unsigned chance = 1;
    for (int i = 0; i < PATIENCE_S * 100; i++) {
        if (strstr(stage_said(logger), words))
            return;
        make_noise(&text, &chance, 20);
        stage_datagram(port, &text);
        stage_nap();
    }
    fail_msg("\"%s\" was not said, but:\n%s", words, stage_said(logger));
}

static bool count_message(void *self, const struct raw_message *message)
{
    (void)message;
    ++*(uint64_t *)self;
    return true;
}

static uint64_t count_raw(struct run *run)
{
    uint64_t count = 0;
    assert_int_equal(run_raw(run, count_message, &count, NULL), STATUS_OK);
    return count;
}

static bool has_event(struct run *run, const char *key)
{
    const struct run_event *events;
    size_t count;
    assert_int_equal(run_events(run, &events, &count, NULL), STATUS_OK);
    for (size_t i = 0; i < count; i++)
        if (strcmp(events[i].key, key) == 0)
            return true;
    return false;
}

/* Without a reserve the disk fills to the last byte. The trouble is said at once, while the inputs
 * go on sending; the logger waits; and when there is space, a new run begins and the one that was
 * cut off is made from its journal. */
static void test_live_onto_full_disk(void **state)
{
    (void)state;
    char udp[64];
    unsigned port = stage_free_port(SOCK_DGRAM);
    const char *disk = stage_path("disk2");
    if (!make_small_disk(disk, 512))
        skip();
    snprintf(udp, sizeof udp, "udp:%u", port);
    struct program logger = start_logger_there("--input", udp, "--set", "logger.reserve=0",
                                               "--output", stage_path("disk2/run.h5"));
    stage_until_said(&logger, ": open");
    send_until_said(&logger, port, "No space left on device; the run ends here");
    stage_until_said(&logger, "nothing is recorded: ");
    assert_null(strstr(stage_said(&logger), "recorded /"));
    resize_disk(stage_path("disk2"), 20000);
    stage_until_said(&logger, "there is space again; a new run begins");
    stage_until_said(&logger, "disk2/run.h5 from its journal");
    send_until_said(&logger, port, "run-2.h5");
    stage_stop(logger, SIGTERM, 0);
    struct run *first = stage_open_run(stage_path("disk2/run.h5"));
    struct run *second = stage_open_run(stage_path("disk2/run-2.h5"));
    assert_true(count_raw(first) > 1000);
    assert_true(run_about(first)->rebuilt && !run_about(first)->closed_cleanly);
    assert_false(run_about(second)->rebuilt);
    assert_true(run_about(second)->closed_cleanly);
    run_close(first);
    run_close(second);
    assert_false(stage_exists(stage_path("disk2/run.journal")));
    assert_false(stage_exists(stage_path("disk2/run-2.journal")));
    assert_false(stage_exists(stage_path("disk2/run.h5.part")));
    umount2(stage_path("disk2"), MNT_DETACH);
}

/* With a reserve the run is ended cleanly before the disk is full. Kept journals go first, the
 * oldest before the others; a run file never does. */
static void test_reserve(void **state)
{
    (void)state;
    static const char megabyte[1 << 20];
    char udp[64];
    unsigned port = stage_free_port(SOCK_DGRAM);
    const char *disk = stage_path("disk3");
    if (!make_small_disk(disk, 8000))
        skip();
    stage_write(stage_path("disk3/2025.journal.kept"), megabyte, sizeof megabyte);
    stage_write(stage_path("disk3/2026.journal.kept"), megabyte, sizeof megabyte);
    stage_write(stage_path("disk3/2024.h5"), megabyte, sizeof megabyte);
    snprintf(udp, sizeof udp, "udp:%u", port);
    struct program logger = start_logger_there("--input", udp, "--set", "logger.reserve=2",
                                               "--output", stage_path("disk3/run.h5"));
    stage_until_said(&logger, ": open");
    send_until_said(&logger, port, "1 kept journal of finished runs removed");
    assert_false(stage_exists(stage_path("disk3/2025.journal.kept")));
    send_until_said(&logger, port, "less than the reserve of 2 MiB");
    stage_until_said(&logger, "disk3/run.h5"); /* recorded */
    stage_until_said(&logger, "nothing is recorded: ");
    assert_false(stage_exists(stage_path("disk3/2026.journal.kept")));
    assert_true(stage_exists(stage_path("disk3/2024.h5")));
    struct run *run = stage_open_run(stage_path("disk3/run.h5"));
    assert_true(run_about(run)->closed_cleanly && !run_about(run)->rebuilt);
    assert_true(has_event(run, "journals_removed") && has_event(run, "disk_full"));
    assert_true(count_raw(run) > 1000);
    run_close(run);
    assert_false(stage_exists(stage_path("disk3/run.journal")));
    resize_disk(stage_path("disk3"), 40000);
    stage_until_said(&logger, "there is space again; a new run begins");
    stage_until_said(&logger, "recording to");
    send_until_said(&logger, port, "run-2.h5");
    stage_stop(logger, SIGTERM, 0);
    run = stage_open_run(stage_path("disk3/run-2.h5"));
    run_close(run);
    umount2(stage_path("disk3"), MNT_DETACH);
}

/* Where there is too little space from the start, it waits, and a signal ends that. */
static void test_no_space_from_the_start(void **state)
{
    (void)state;
    char udp[64];
    const char *disk = stage_path("disk4");
    if (!make_small_disk(disk, 1000))
        skip();
    snprintf(udp, sizeof udp, "udp:%u", stage_free_port(SOCK_DGRAM));
    struct program logger =
        start_logger_there("--input", udp, "--output", stage_path("disk4/run.h5"));
    stage_until_said(&logger, "recording goes on when it is 80.0 MiB");
    stage_stop(logger, SIGTERM, 1);
    assert_false(stage_exists(stage_path("disk4/run.h5")));
    logger = start_logger_there("--input", udp, "--output", stage_path("disk4/run.h5"),
                                "--duration", "3");
    stage_expect_words(logger, 1, "nothing is recorded: ");
    assert_false(stage_exists(stage_path("disk4/run.journal")));
    umount2(stage_path("disk4"), MNT_DETACH);
}

/* A run that had to wait for space begins when there is some, and not when the logger did. */
static void test_begins_when_there_is_space(void **state)
{
    (void)state;
    char udp[64];
    if (!make_small_disk(stage_path("disk5"), 1000))
        skip();
    snprintf(udp, sizeof udp, "udp:%u", stage_free_port(SOCK_DGRAM));
    time_t started = time(NULL);
    struct program logger =
        start_logger_there("--input", udp, "--output", stage_path("disk5/run.h5"), "--set",
                           "logger.reserve=1", "--set", "logger.before_start=0");
    stage_until_said(&logger, "nothing is recorded: ");
    for (int i = 0; i < 300; i++)
        stage_nap();
    resize_disk(stage_path("disk5"), 40000);
    stage_until_said(&logger, "recording to");
    stage_stop(logger, SIGTERM, 0);
    double elapsed = (double)(time(NULL) - started);
    struct run *run = stage_open_run(stage_path("disk5/run.h5"));
    assert_true(run_about(run)->start_unix_us / 1000000 >= started + 2);
    assert_true(run_about(run)->duration < elapsed - 1);
    run_close(run);
    umount2(stage_path("disk5"), MNT_DETACH);
}

/* The folder goes away under a run (a memory stick is pulled out): said at the latest at the
 * end. */
static void test_folder_goes_away(void **state)
{
    (void)state;
    char udp[64];
    unsigned port = stage_free_port(SOCK_DGRAM);
    snprintf(udp, sizeof udp, "udp:%u", port);
    struct program logger =
        start_logger_there("--input", udp, "--output", stage_path("gone/run.h5"));
    stage_until_said(&logger, ": open");
    text.length = 0;
    stage_add_sentence(&text, "IIMTW,15.2,C");
    stage_datagram(port, &text);
    stage_until_said(&logger, "heard: ");
    stage_remove_in(stage_path("gone"));
    assert_int_equal(kill(logger.pid, SIGTERM), 0);
    stage_expect_words(logger, 1, "nothing could be kept");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_replay_onto_full_disk),
        cmocka_unit_test(test_live_onto_full_disk),
        cmocka_unit_test(test_reserve),
        cmocka_unit_test(test_no_space_from_the_start),
        cmocka_unit_test(test_begins_when_there_is_space),
        cmocka_unit_test(test_folder_goes_away),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
