/* test_kill.c - kill -9 of searun-logger at random moments under load: while it records, while it
 * ends a run, and while it makes a run file from the journal of the one before. Every run file
 * must open and be whole, hold exactly what its journal held, and lack nothing but the last moment
 * of what was sent.
 *
 * SEARUN_KILL_ROUNDS (default 20) says how often. SEARUN_KILL_LIMIT_MS (default 2000, for machines
 * that are busy with other things) is how much of the end may be missing; the longest and the
 * others are printed. */
#include "numbered.h"

#include "../../logger/journal_read.h"

#define LONGEST_MS 2500 /* of recording */

static unsigned seed;

static int64_t random_ns(int64_t longest_ms)
{
    return (int64_t)(rand_r(&seed) % (1000 * longest_ms)) * NS_PER_US;
}

static unsigned lines_of_journal(const char *path)
{
    struct lines lines = {.sound = true};
    struct journal_reader *reader = NULL;
    struct journal_item item;
    struct complaint complaint = {""};
    if (journal_open(path, &reader, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    while (journal_next(reader, &item))
        if (item.what == JOURNAL_ITEM_LINE)
            take_line(&lines, item.bytes, item.length);
    /* A kill may cut a write short, between two pages; nothing else is lost: the system lives
     * on. */
    assert_int_equal(journal_count(reader)->lost, journal_count(reader)->torn_end);
    journal_close(reader);
    assert_true(lines.sound);
    return lines.count;
}

static void complain_of(void *self, int severity, const char *text)
{
    if (severity > 1)
        print_message("%s: %s\n", (const char *)self, text);
}

static void expect_sound(const char *path)
{
    int worst = 0;
    struct run *run = stage_open_run(path);
    assert_int_equal(run_check(run, complain_of, (void *)(uintptr_t)path, &worst, NULL), STATUS_OK);
    assert_true(worst < 2);
    run_close(run);
}

/* Every run file in the folder is whole, and nothing unfinished is left. */
static void expect_all_finished(const char *folder)
{
    struct dirent *entry;
    DIR *dir = opendir(folder);
    while ((entry = readdir(dir))) {
        char path[600];
        size_t length = strlen(entry->d_name);
        snprintf(path, sizeof path, "%.300s/%.200s", folder, entry->d_name);
        if (entry->d_name[0] == '.')
            continue;
        if (length < 3 || strcmp(entry->d_name + length - 3, ".h5") != 0)
            fail_msg("%s is left", path);
        expect_sound(path);
    }
    closedir(dir);
}

/* ms of what was sent before `end` that are missing behind the first `count` lines. */
static double missing_ms(unsigned count, int64_t end)
{
    return count < sent.count && sent.at[count] < end ? (double)(end - sent.at[count]) / 1e6 : 0;
}

/* --- rounds */

struct tries {
    double worst, limit;
    unsigned rounds, over_200, whole;
};

static void note(struct tries *tries, double missing)
{
    tries->worst = missing > tries->worst ? missing : tries->worst;
    tries->over_200 += missing > 200;
    tries->rounds++;
    if (missing > tries->limit)
        fail_msg("%.1f ms are missing", missing);
}

static void kill_it(struct program *logger)
{
    assert_int_equal(kill(logger->pid, SIGKILL), 0);
    stage_wait(logger);
}

/* Records for a while; returns when sending stopped. */
static struct program record(unsigned port, const char *run)
{
    char udp[64];
    snprintf(udp, sizeof udp, "udp:%u", port);
    struct program logger = start_logger("--input", udp, "--output", run);
    stage_until_said(&logger, ": open");
    sent.count = 0;
    int64_t begun = now();
    send_until(port, begun, begun + random_ns(LONGEST_MS));
    return logger;
}

/* Killed while it records; the run file is made by command. */
static void round_recording(struct tries *tries, unsigned port)
{
    struct program logger = record(port, stage_path("k/run.h5"));
    int64_t end = now();
    kill_it(&logger);
    assert_false(stage_exists(stage_path("k/run.h5")));
    unsigned in_journal = lines_of_journal(stage_path("k/run.journal"));
    stage_expect(start_logger("--quiet", "--rebuild", stage_path("k/run.journal")), 0);
    unsigned in_run = lines_of_run(stage_path("k/run.h5"));
    assert_int_equal(in_run, in_journal);
    note(tries, missing_ms(in_run, end));
}

/* A start that finds what is left, and ends when it has made its run files. */
static void recover(const char *run)
{
    char udp[64];
    snprintf(udp, sizeof udp, "udp:%u", stage_free_port(SOCK_DGRAM));
    stage_expect(start_logger("--quiet", "--input", udp, "--output", run, "--duration", "0.05"), 0);
}

/* Killed while it ends the run: finished or not, all is there once in the end. */
static void round_ending(struct tries *tries, unsigned port)
{
    struct program logger = record(port, stage_path("k/run.h5"));
    int64_t end = now(), wait = random_ns(40);
    assert_int_equal(kill(logger.pid, SIGTERM), 0);
    nanosleep(&(struct timespec){0, wait}, NULL);
    kill_it(&logger);
    tries->whole += stage_exists(stage_path("k/run.h5"));
    recover(stage_path("k/next.h5"));
    note(tries, missing_ms(lines_of_run(stage_path("k/run.h5")), end));
}

/* Killed while it records, and again while the next start makes the run file. */
static void round_rebuilding(struct tries *tries, unsigned port)
{
    char udp[64];
    struct program logger = record(port, stage_path("k/run.h5"));
    int64_t end = now();
    kill_it(&logger);
    snprintf(udp, sizeof udp, "udp:%u", stage_free_port(SOCK_DGRAM));
    struct program second =
        start_logger("--quiet", "--input", udp, "--output", stage_path("k/second.h5"));
    nanosleep(&(struct timespec){0, random_ns(80)}, NULL);
    kill_it(&second);
    tries->whole += stage_exists(stage_path("k/run.h5"));
    recover(stage_path("k/next.h5"));
    note(tries, missing_ms(lines_of_run(stage_path("k/run.h5")), end));
}

static long number_of(const char *variable, long fallback)
{
    const char *text = getenv(variable);
    return text && *text ? strtol(text, NULL, 10) : fallback;
}

static void rounds(const char *words, unsigned count,
                   void (*round)(struct tries *tries, unsigned port))
{
    struct tries tries = {.limit = (double)number_of("SEARUN_KILL_LIMIT_MS", 2000)};
    for (unsigned i = 0; i < count; i++) {
        assert_int_equal(mkdir(stage_path("k"), 0700), 0);
        round(&tries, stage_free_port(SOCK_DGRAM));
        expect_all_finished(stage_path("k"));
        stage_remove_in(stage_path("k"));
    }
    print_message("killed while %s: %u times, at most %.0f ms missing, more than 200 ms %u times",
                  words, tries.rounds, tries.worst, tries.over_200);
    print_message(tries.whole > 0 ? ", the run file was finished %u times\n" : "\n", tries.whole);
}

static unsigned share(unsigned percent)
{
    return (unsigned)number_of("SEARUN_KILL_ROUNDS", 20) * percent / 100;
}

static void test_killed_while_recording(void **state)
{
    (void)state;
    rounds("recording", share(60), round_recording);
}

static void test_killed_while_ending(void **state)
{
    (void)state;
    rounds("ending a run", share(20), round_ending);
}

static void test_killed_while_rebuilding(void **state)
{
    (void)state;
    rounds("rebuilding", share(20), round_rebuilding);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_killed_while_recording),
        cmocka_unit_test(test_killed_while_ending),
        cmocka_unit_test(test_killed_while_rebuilding),
    };
    seed = (unsigned)number_of("SEARUN_SEED", (long)time(NULL));
    print_message("seed %u\n", seed);
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
