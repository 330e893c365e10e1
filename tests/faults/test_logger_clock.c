/* test_logger_clock.c - searun-logger on a computer whose clock is wrong, or is set during the run.
 * The clock is moved by shim_clock.so, for that one program. */
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

/* What the run file says of its date. */
static void expect_event(const char *path, const char *key, const char *words)
{
    const struct run_event *events;
    size_t count, found = 0;
    struct run *run = stage_open_run(path);
    assert_int_equal(run_events(run, &events, &count, NULL), STATUS_OK);
    for (size_t i = 0; i < count; i++)
        found += strcmp(events[i].key, key) == 0 && strstr(events[i].text, words);
    if (found != 1)
        fail_msg("%zu events %s with \"%s\"", found, key, words);
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
    assert_non_null(strstr(stage_said(&logger), "the run is dated by GNSS: ZDA of GP"));
    expect_event(stage_path("seventies.h5"), "dated", "days behind");
}

/* A network sets the clock while the run goes on, without any receiver: the time inside the run
 * does not jump, and its date is the corrected one. */
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

/* ... not even where the computer starts in 1970, and only the age of this program tells. */
static void test_old_receiver_without_a_clock(void **state)
{
    (void)state;
    unsigned port;
    if (!prepare())
        skip();
    time_t before = time(NULL);
    set_clock(-before);
    struct program logger = start(&port, stage_path("both.h5"));
    for (int i = 0; i < 5; i++)
        send_utc(port, -1024L * 7 * 86400);
    stage_nap();
    expect_dated(logger, stage_path("both.h5"), before, CLOCK_GNSS);
    assert_non_null(strstr(stage_said(&logger), "1024 weeks old and are corrected"));
}

/* A second that was inserted (ITU-R TF.460, 2.2), as the sentences say it, and readings around
 * it. */
static void test_leap_second(void **state)
{
    (void)state;
    static const char *const times[] = {"235958.00,31,12,2025", "235959.00,31,12,2025",
                                        "235960.00,31,12,2025", "000000.00,01,01,2026",
                                        "000001.00,01,01,2026"};
    unsigned port;
    if (!prepare())
        skip();
    set_clock(1767225598 - time(NULL)); /* date -u -d '2025-12-31 23:59:58' +%s */
    struct program logger = start(&port, stage_path("leap.h5"));
    for (int i = 0; i < 5; i++) {
        text.length = 0;
        stage_add_sentence(&text, "IIMTW,1%d.0,C", i);
        stage_add_sentence(&text, "GPZDA,%s,00,00", times[i]);
        stage_datagram(port, &text);
    }
    stage_until_said(&logger, "heard: ");
    stage_stop(logger, SIGINT, 0);
    struct run *run = stage_open_run(stage_path("leap.h5"));
    const struct run_utc *utcs;
    size_t count;
    assert_int_equal(run_utcs(run, &utcs, &count, NULL), STATUS_OK);
    assert_int_equal(count, 5);
    for (size_t i = 0; i < count; i++) /* 23:59:60 is the same as the midnight after it */
        assert_int_equal(utcs[i].unix_us / 1000000, 1767225598 + (int64_t)i - (i > 2));
    assert_int_equal(stage_count(run, CHANNEL_SEA_TEMPERATURE), 5);
    run_close(run);
}

/* The sea temperatures 0, 1, 2 ... of the only stream, at rising times. */
static void expect_all_in_order(struct run *run, size_t count)
{
    struct series series;
    assert_int_equal(run_stream_count(run), 1);
    assert_int_equal(run_read_series(run, 0, CHANNEL_SEA_TEMPERATURE, &series, NULL), STATUS_OK);
    assert_int_equal(series.count, count);
    for (size_t i = 0; i < count; i++) {
        assert_float_equal(series.value[i], (double)i, 0.01);
        assert_true(i == 0 || series.time[i] >= series.time[i - 1]);
    }
    series_free(&series);
}

static void say_temperature(unsigned port, int i)
{
    text.length = 0;
    stage_add_sentence(&text, "IIMTW,%d.0,C", i);
    stage_datagram(port, &text);
}

/* The clock is set forward by decades, then back by a day, then the power goes. No reading is lost
 * or out of order; the run that is made again has the date that the clock had last, and its
 * name. */
static void test_set_and_cut_off(void **state)
{
    (void)state;
    char udp[64], folder[600], day[32];
    if (!prepare())
        skip();
    unsigned port = stage_free_port(SOCK_DGRAM);
    time_t before = time(NULL);
    set_clock(-before);
    snprintf(udp, sizeof udp, "udp:%u", port);
    snprintf(folder, sizeof folder, "%s", stage_path("dated"));
    const char *logger_path = stage_program("SEARUN_LOGGER");
    struct program logger = stage_start_with(
        environment, logger_path,
        LOGGER_ARGUMENTS("--input", udp, "--directory", folder, "--boat", "Two Sisters"));
    stage_until_said(&logger, ": open");
    for (int i = 0; i < 30; i++) {
        if (i == 10)
            set_clock(86400);
        if (i == 20)
            set_clock(0);
        say_temperature(port, i);
        if (i % 10 == 9)
            stage_nap();
    }
    stage_until_said(&logger, "heard: ");
    nanosleep(&(struct timespec){1, 0}, NULL); /* into the journal */
    assert_non_null(strstr(stage_find(folder, ".journal"), "/19700101T0000"));
    kill(logger.pid, SIGKILL);
    stage_expect(logger, 1000 + SIGKILL);
    struct program next = stage_start_with(
        environment, logger_path,
        LOGGER_ARGUMENTS("--input", udp, "--output", stage_path("dated/next.run")));
    stage_until_said(&next, "by its right date");
    stage_stop(next, SIGINT, 0);
    const char *path = stage_find(folder, "two-sisters.h5");
    strftime(day, sizeof day, "/%Y%m%dT", gmtime(&before));
    if (!strstr(path, day))
        fail_msg("%s is not of %s", path, day);
    struct run *run = stage_open_run(path);
    int64_t start = run_about(run)->start_unix_us / 1000000;
    assert_in_range(start - before + PATIENCE_S, 0, 2 * PATIENCE_S);
    assert_int_equal(run_about(run)->clock, CLOCK_SYSTEM);
    expect_all_in_order(run, 30);
    run_close(run);
    expect_event(path, "clock_set", "forward by");
    expect_event(path, "clock_set", "back by 86400.");
    expect_event(path, "dated", "by the computer's clock; no source of UTC was heard");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_old_receiver_without_a_clock),
        cmocka_unit_test(test_leap_second),
        cmocka_unit_test(test_set_and_cut_off),
        cmocka_unit_test(test_starts_in_1970),
        cmocka_unit_test(test_set_during_the_run),
        cmocka_unit_test(test_old_receiver),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
