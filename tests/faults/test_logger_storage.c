/* test_logger_storage.c - searun-logger when the disk is full, on a small file system of the test's own. */
#include <sched.h>
#include <sys/mount.h>
#include <sys/statvfs.h>

#include "../whole/stage.h"

/* HDF5 1.10 keeps some memory of a file that it could not close for want of space; that is not ours to
 * find here. The exit code is. */
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

/* A live run: the trouble is said at once, while the inputs go on sending, and the run ends. */
static void test_live_onto_full_disk(void **state)
{
    (void)state;
    char udp[64];
    unsigned port = stage_free_port(SOCK_DGRAM), chance = 1;
    const char *disk = stage_path("disk2");
    if (!make_small_disk(disk, 512))
        skip();
    snprintf(udp, sizeof udp, "udp:%u", port);
    struct program logger =
        start_logger_there("--input", udp, "--output", stage_path("disk2/run.h5"));
    stage_until_said(&logger, ": open");
    int status = 0, waited = 0;
    for (int i = 0; i < PATIENCE_S * 100 && (waited = waitpid(logger.pid, &status, WNOHANG)) == 0;
         i++) {
        make_noise(&text, &chance, 100);
        stage_datagram(port, &text);
        stage_nap();
    }
    assert_int_equal(waited, logger.pid);
    const char *said = stage_said(&logger);
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 1 ||
        !strstr(said, "No space left on device; the run ends here"))
        fail_msg("status %x; it said:\n%s", (unsigned)status, said);
    umount2(disk, MNT_DETACH);
}

/* The folder goes away under a run (a memory stick is pulled out): said at the latest at the end. */
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
        cmocka_unit_test(test_folder_goes_away),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
