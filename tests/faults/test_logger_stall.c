/* test_logger_stall.c - searun-logger on storage that stalls or reports errors (shim_storage.so).
 *
 * SEARUN_STALL_SECONDS (default 4) says how long a stall is that must lose nothing. */
#include "numbered.h"

static char environment[600];

static int prepare(void **state)
{
    const char *logger = stage_program("SEARUN_LOGGER"), *slash = strrchr(logger, '/');
    char shim[500], real[4096];
    snprintf(shim, sizeof shim, "%.*s/tests/faults/shim_storage.so",
             slash ? (int)(slash - logger) : 1, slash ? logger : ".");
    if (stage_make(state) != 0)
        return -1;
    if (!realpath(shim, real)) {
        print_message("%s is not built\n", shim);
        return -1;
    }
    snprintf(environment, sizeof environment, "LD_PRELOAD=%.500s", real);
    setenv("ASAN_OPTIONS", "verify_asan_link_order=0", 1);
    setenv("SHIM_STORAGE", stage_path("storage"), 1);
    return 0;
}

static void let_storage(const char *word)
{
    stage_write(stage_path("storage.new"), word, strlen(word));
    assert_int_equal(rename(stage_path("storage.new"), stage_path("storage")), 0);
}

static struct program start(unsigned *port, const char *output, const char *ring_size)
{
    char udp[64], ring[64];
    *port = stage_free_port(SOCK_DGRAM);
    snprintf(udp, sizeof udp, "udp:%u", *port);
    snprintf(ring, sizeof ring, "logger.ring_size=%s", ring_size);
    let_storage("");
    struct program logger =
        stage_start_with(environment, stage_program("SEARUN_LOGGER"),
                         LOGGER_ARGUMENTS("--input", udp, "--output", output, "--set", ring));
    stage_until_said(&logger, ": open");
    sent.count = 0;
    return logger;
}

static void send_for(unsigned port, int64_t ms)
{
    int64_t begun = now() - sent.count * (NS_PER_S / LINES_A_SECOND);
    send_until(port, begun, now() + ms * NS_PER_MS);
}

static bool has_event(struct run *run, const char *key, const char *words)
{
    const struct run_event *events;
    size_t count;
    assert_int_equal(run_events(run, &events, &count, NULL), STATUS_OK);
    for (size_t i = 0; i < count; i++)
        if (strcmp(events[i].key, key) == 0 && strstr(events[i].text, words))
            return true;
    return false;
}

/* What lies in the ring until storage comes back is all there. */
static void test_stall(void **state)
{
    (void)state;
    const char *text = getenv("SEARUN_STALL_SECONDS");
    int64_t seconds = text && *text ? strtol(text, NULL, 10) : 4;
    unsigned port;
    struct program logger = start(&port, stage_path("stall.h5"), "16");
    send_for(port, 1500);
    let_storage("stall");
    send_for(port, seconds * 1000);
    let_storage("");
    send_for(port, 500);
    stage_stop(logger, SIGTERM, 0);
    assert_int_equal(lines_of_run(stage_path("stall.h5")), sent.count);
    struct run *run = stage_open_run(stage_path("stall.h5"));
    assert_int_equal(stage_tally(run, 0, REASON_OVERFLOW), 0);
    assert_true(run_about(run)->closed_cleanly);
    run_close(run);
    print_message("%u lines, %lld s of them without storage\n", sent.count, (long long)seconds);
}

/* What the ring cannot hold is counted to the line, and kept as a gap with its times. */
static void test_overflow(void **state)
{
    (void)state;
    unsigned port, kept = 0;
    struct program logger = start(&port, stage_path("over.h5"), "1");
    send_for(port, 500);
    let_storage("stall");
    /* a ring of 1 MiB holds some 9000 of these lines */
    for (int i = 0; i < PATIENCE_S && sent.count < 16000; i++)
        send_for(port, 1000);
    stage_until_said(&logger, "what comes now is lost until it does");
    let_storage("");
    for (int i = 0; i < PATIENCE_S && !strstr(stage_said(&logger), "keeps up again"); i++)
        send_for(port, 1000);
    stage_stop(logger, SIGTERM, 0);
    stage_until_said(&logger, "keeps up again");
    struct run *run = stage_open_run(stage_path("over.h5"));
    const struct run_gap *gaps;
    size_t count;
    uint64_t lost = 0;
    struct stage_raw raw = {0};
    assert_int_equal(run_gaps(run, &gaps, &count, NULL), STATUS_OK);
    assert_true(count >= 1);
    for (size_t i = 0; i < count; i++) {
        assert_string_equal(gaps[i].why, "storage could not keep up");
        assert_true(gaps[i].to > gaps[i].from);
        lost += gaps[i].lost;
    }
    assert_int_equal(run_raw(run, keep_raw, &raw, NULL), STATUS_OK);
    for (const char *at = (char *)raw.bytes;
         (at = memmem(at, raw.length - (size_t)(at - (char *)raw.bytes), "$PSRN,", 6)); at++)
        kept++;
    free(raw.bytes);
    assert_int_equal(kept + lost, sent.count);
    assert_int_equal(stage_tally(run, 0, REASON_OVERFLOW), lost);
    assert_true(lost > 1000 && kept > 5000);
    run_close(run);
    print_message("%u lines, %llu of them lost in %zu gaps\n", sent.count, (unsigned long long)lost,
                  count);
}

/* That storage could not keep something is said at once and stands in the run file; recording goes
 * on. */
static void test_sync_error(void **state)
{
    (void)state;
    unsigned port;
    struct program logger = start(&port, stage_path("sync.h5"), "4");
    send_for(port, 100);
    let_storage("sync_error");
    send_for(port, 200);
    for (int i = 0; i < PATIENCE_S * 10 && !strstr(stage_said(&logger), "Input/output error"); i++)
        send_for(port, 100);
    stage_until_said(&logger, "storage reports that it could not keep");
    let_storage("");
    send_for(port, 200);
    stage_stop(logger, SIGTERM, 0);
    struct run *run = stage_open_run(stage_path("sync.h5"));
    assert_true(has_event(run, "sync_failed", "Input/output error"));
    assert_int_equal(lines_of_run(stage_path("sync.h5")), sent.count);
    run_close(run);
}

/* A journal that cannot be written ends the run; what was recorded is in the run file all the
 * same, and the next start finds nothing to do. */
static void test_write_error(void **state)
{
    (void)state;
    unsigned port;
    struct program logger = start(&port, stage_path("write.h5"), "4");
    send_for(port, 300);
    let_storage("write_error");
    send_for(port, 300);
    stage_expect_words(
        logger, 1, "the journal can no longer be written: Input/output error; the run ends here");
    assert_non_null(strstr(stage_said(&logger), "what was recorded until then is in "));
    let_storage("");
    struct run *run = stage_open_run(stage_path("write.h5"));
    assert_true(has_event(run, "storage_failed", "Input/output error"));
    assert_false(run_about(run)->closed_cleanly);
    run_close(run);
    assert_true(lines_of_run(stage_path("write.h5")) > 250);
    assert_true(stage_exists(stage_path("write.journal")));
    unsigned other = stage_free_port(SOCK_DGRAM);
    char udp[64];
    snprintf(udp, sizeof udp, "udp:%u", other);
    stage_expect(
        start_logger("--input", udp, "--output", stage_path("next.h5"), "--duration", "0.1"), 0);
    assert_false(stage_exists(stage_path("write.journal")));
    assert_false(stage_exists(stage_path("write-2.h5")));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_stall),
        cmocka_unit_test(test_overflow),
        cmocka_unit_test(test_sync_error),
        cmocka_unit_test(test_write_error),
    };
    return cmocka_run_group_tests(tests, prepare, stage_remove);
}
