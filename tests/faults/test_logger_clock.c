/* test_logger_clock.c - searun-logger on a computer whose clock is wrong, or is set during the run. The
 * clock is moved by shim_clock.so, for that one program. */
#include "../whole/stage.h"

static struct stage_text text;
static char environment[600];

static bool prepare(void)
{
    const char *logger = stage_program("SEARUN_LOGGER"), *slash = strrchr(logger, '/');
    char shim[500], real[4096];
    snprintf(shim, sizeof shim, "%.*s/tests/faults/shim_clock.so",
             slash ? (int)(slash - logger) : 1, slash ? logger : ".");
    if (!realpath(shim, real)) {
        print_message("skipped: %s is not built\n", shim);
        return false;
    }
    snprintf(environment, sizeof environment, "LD_PRELOAD=%.500s", real);
    setenv("ASAN_OPTIONS", "verify_asan_link_order=0", 1);
    setenv("SHIM_CLOCK", stage_path("clock"), 1);
    return true;
}

static void set_clock(long seconds)
{
    char words[32];
    const char *path = stage_path("clock.new");
    snprintf(words, sizeof words, "%ld", seconds);
    stage_write(path, words, strlen(words));
    assert_int_equal(rename(path, stage_path("clock")), 0);
}

static struct program start(unsigned *port, const char *output)
{
    char udp[64];
    *port = stage_free_port(SOCK_DGRAM);
    snprintf(udp, sizeof udp, "udp:%u", *port);
    struct program logger = stage_start_with(environment, stage_program("SEARUN_LOGGER"),
                                             LOGGER_ARGUMENTS("--input", udp, "--output", output));
    stage_until_said(&logger, ": open");
    return logger;
}

static void send_utc(unsigned port, long ahead)
{
    time_t now = time(NULL) + ahead;
    struct tm utc;
    gmtime_r(&now, &utc);
    text.length = 0;
    stage_add_sentence(&text, "GPZDA,%02d%02d%02d.00,%02d,%02d,%04d,00,00", utc.tm_hour, utc.tm_min,
                       utc.tm_sec, utc.tm_mday, utc.tm_mon + 1, utc.tm_year + 1900);
    stage_datagram(port, &text);
}

/* Ends the run; its start must be dated right, to what a busy machine needs. */
static void expect_dated(struct program logger, const char *path, time_t before,
                         enum clock_source clock)
{
    stage_stop(logger, SIGINT, 0);
    struct run *run = stage_open_run(path);
    int64_t start = run_about(run)->start_unix_us / 1000000;
    if (start < before - 2 || start > before + PATIENCE_S || run_about(run)->clock != clock)
        fail_msg("dated %lld by %s, expected about %lld", (long long)start,
                 clock_source_key(run_about(run)->clock), (long long)before);
    assert_true(run_about(run)->duration >= 0 && run_about(run)->duration < 2 * PATIENCE_S);
    run_close(run);
}

/* A computer without a battery starts in 1970; a receiver dates the run. */
static void test_starts_in_1970(void **state)
{
    (void)state;
    unsigned port;
    if (!prepare())
        skip();
    time_t before = time(NULL);
    set_clock(-before);
    struct program logger = start(&port, stage_path("seventies.h5"));
    for (int i = 0; i < 5; i++)
        send_utc(port, 0);
    stage_nap();
    stage_nap();
    expect_dated(logger, stage_path("seventies.h5"), before, CLOCK_GNSS);
    assert_non_null(strstr(stage_said(&logger), "the run is dated by GNSS"));
}

/* A network sets the clock while the run goes on, without any receiver: the time inside the run does not
 * jump, and its date is the corrected one. */
static void test_set_during_the_run(void **state)
{
    (void)state;
    static const long jumps[] = {-86400, 86400};
    if (!prepare())
        skip();
    for (size_t i = 0; i < 2; i++) {
        unsigned port;
        time_t before = time(NULL);
        const char *path = stage_path(i == 0 ? "behind.h5" : "ahead.h5");
        set_clock(jumps[i]);
        struct program logger = start(&port, path);
        text.length = 0;
        stage_add_sentence(&text, "IIMTW,15.2,C");
        stage_datagram(port, &text);
        stage_until_said(&logger, "heard: ");
        set_clock(0);
        stage_datagram(port, &text);
        stage_nap();
        expect_dated(logger, path, before, CLOCK_SYSTEM);
        assert_non_null(strstr(stage_said(&logger), "clock was set by"));
    }
}

/* A receiver that fell back by 1024 weeks (IS-GPS-200, 20.3.3.3) does not take the date with it. */
static void test_old_receiver(void **state)
{
    (void)state;
    unsigned port;
    if (!prepare())
        skip();
    time_t before = time(NULL);
    set_clock(0);
    struct program logger = start(&port, stage_path("old.h5"));
    for (int i = 0; i < 5; i++)
        send_utc(port, -1024L * 7 * 86400);
    stage_nap();
    expect_dated(logger, stage_path("old.h5"), before, CLOCK_SYSTEM);
    assert_non_null(strstr(stage_said(&logger), "1024 weeks"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_starts_in_1970),
        cmocka_unit_test(test_set_during_the_run),
        cmocka_unit_test(test_old_receiver),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
