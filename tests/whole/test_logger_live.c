/* test_logger_live.c - searun-logger recording from live networks, from outside. */
#include "stage.h"

static struct stage_text text;

static void send_engine(unsigned port, int number)
{
    text.length = 0;
    stage_add_sentence(&text, "IIRPM,E,0,%d.0,,A", 1000 + number);
    stage_add_sentence(&text, "IIXDR,C,%.1f,C,ENGINE#0", 60 + number / 10.0);
    stage_add_sentence(&text, "IIMTW,%.1f,C", 15 + number / 10.0);
    stage_datagram(port, &text);
}

static void input_text(char *to, size_t room, const char *driver, unsigned port)
{
    snprintf(to, room, "%s%u", driver, port);
}

/* Two inputs at once, a connection that breaks and comes back, noise, and a clean end; then the
 * capture of that run is replayed and must give the same run. */
static void test_two_inputs_and_replay(void **state)
{
    (void)state;
    char udp[64], tcp[64];
    unsigned udp_port = stage_free_port(SOCK_DGRAM), tcp_port = stage_free_port(SOCK_STREAM);
    input_text(udp, sizeof udp, "plotter=udp:", udp_port);
    input_text(tcp, sizeof tcp, "gw=tcp:127.0.0.1:", tcp_port);
    const char *run_path = stage_path("two.h5");
    struct program logger = start_logger("--input", udp, "--input", tcp, "--output", run_path,
                                         "--boat", "Tern's Reach", "--purpose", "before service");
    stage_until_said(&logger, "input plotter");
    stage_until_said(&logger, "Connection refused"); /* nobody listens yet */
    for (int i = 0; i < 20; i++)
        send_engine(udp_port, i);
    int server = stage_listen(tcp_port);
    for (int round = 0; round < 2; round++) {
        int peer = accept(server, NULL, NULL);
        text.length = 0;
        stage_add_sentence(&text, "GPZDA,1015%02d.00,25,11,2026,00,00", round);
        stage_add_sentence(&text, "IIVHW,,T,,M,6.%d,N,,K", round);
        stage_add(&text, "\x80\xff\x03noise\r\n$IIMTW,15.2,C*00\r\n\\c:1*00\\");
        stage_add_sentence(&text, "IIMTW,16.0,C");
        stage_add(&text, "$IIXDR%0600d\r\n$IIMTW", 7);
        for (size_t at = 0; at < text.length; at += 37) { /* in small pieces */
            size_t count = text.length - at < 37 ? text.length - at : 37;
            assert_int_equal(write(peer, text.bytes + at, count), count);
            stage_nap();
        }
        stage_nap();
        if (round == 1)
            close(server); /* before the peer, so that nobody comes again */
        close(peer);
    }
    send_engine(udp_port, 99);
    stage_until_said(&logger, "heard: vessel, Sea water temperature");
    for (int i = 0; i < 20; i++)
        stage_nap();
    stage_stop(logger, SIGTERM, 0);

    struct run *run = stage_open_run(run_path);
    assert_true(run_about(run)->closed_cleanly);
    assert_string_equal(facts_get(run_facts(run), FACT_BOAT, 0, "name"), "Tern's Reach");
    assert_string_equal(facts_get(run_facts(run), FACT_RUN, 0, "purpose"), "before service");
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 21);
    assert_int_equal(stage_count(run, CHANNEL_COOLANT_TEMPERATURE), 21);
    assert_int_equal(stage_count(run, CHANNEL_SPEED_THROUGH_WATER), 2);
    assert_int_equal(stage_tally(run, 1, REASON_BAD_CHECKSUM), 2);
    assert_int_equal(stage_tally(run, 1, REASON_TOO_LONG), 2);
    assert_int_equal(stage_tally(run, 1, REASON_REOPENED), 1);
    const struct run_gap *gaps;
    size_t count;
    assert_int_equal(run_gaps(run, &gaps, &count, NULL), STATUS_OK);
    assert_int_equal(count, 3); /* not there at first; broken twice, the second time for good */
    run_close(run);

    stage_export(run_path, stage_path("two.capture"));
    stage_expect(
        start_logger("--replay", stage_path("two.capture"), "--output", stage_path("again.h5")), 0);
    stage_same_run(run_path, stage_path("again.h5"));
}

/* Nothing of a run is lost to a second signal, and any of the three ends it. */
static void test_signals(void **state)
{
    (void)state;
    static const int signals[] = {SIGINT, SIGTERM, SIGHUP};
    for (size_t i = 0; i < 3; i++) {
        char udp[64], name[32];
        unsigned port = stage_free_port(SOCK_DGRAM);
        input_text(udp, sizeof udp, "udp:", port);
        snprintf(name, sizeof name, "signal-%zu.h5", i);
        struct program logger = start_logger("--input", udp, "--output", stage_path(name));
        stage_until_said(&logger, ": open");
        for (int k = 0; k < 50; k++)
            send_engine(port, k);
        stage_until_said(&logger, "heard: engine 0, Coolant temperature");
        for (int k = 0; k < 10; k++)
            kill(logger.pid, signals[(i + (size_t)k) % 3]);
        stage_expect(logger, 0);
        struct run *run = stage_open_run(stage_path(name));
        assert_true(run_about(run)->closed_cleanly);
        assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 50);
        run_close(run);
    }
}

static void test_duration(void **state)
{
    (void)state;
    char udp[64];
    input_text(udp, sizeof udp, "udp:", stage_free_port(SOCK_DGRAM));
    struct program logger =
        start_logger("--input", udp, "--output", stage_path("short.h5"), "--duration", "0.3");
    stage_expect_words(logger, 0, "nothing was heard");
    struct run *run = stage_open_run(stage_path("short.h5"));
    assert_true(run_about(run)->duration >= 0.3 && run_about(run)->duration < 0.3 + PATIENCE_S);
    run_close(run);
}

/* The clock of this computer is taken to be right; a receiver says that it is a day later. */
static void test_wrong_clock(void **state)
{
    (void)state;
    char udp[64];
    const char *folder = stage_path("dated");
    unsigned port = stage_free_port(SOCK_DGRAM);
    input_text(udp, sizeof udp, "udp:", port);
    struct program logger = start_logger("--input", udp, "--directory", folder);
    stage_until_said(&logger, ": open");
    time_t tomorrow = time(NULL) + 86400;
    for (int i = 0; i < 5; i++) {
        time_t now = time(NULL) + 86400;
        struct tm utc;
        gmtime_r(&now, &utc);
        text.length = 0;
        stage_add_sentence(&text, "GPZDA,%02d%02d%02d.00,%02d,%02d,%04d,00,00", utc.tm_hour,
                           utc.tm_min, utc.tm_sec, utc.tm_mday, utc.tm_mon + 1, utc.tm_year + 1900);
        stage_datagram(port, &text);
    }
    send_engine(port, 1);
    stage_until_said(&logger, "heard:");
    stage_stop(logger, SIGINT, 0);
    assert_non_null(strstr(stage_said(&logger), "the run is dated by GNSS: ZDA of GP"));
    const char *path = stage_find(folder, ".h5"); /* renamed to the right date */
    struct run *run = stage_open_run(path);
    assert_int_equal(run_about(run)->clock, CLOCK_GNSS);
    int64_t wrong_by = run_about(run)->start_unix_us / 1000000 - tomorrow;
    assert_in_range(wrong_by + PATIENCE_S, 0, 2 * PATIENCE_S);
    struct tm utc;
    time_t start = (time_t)(run_about(run)->start_unix_us / 1000000);
    char day[16];
    gmtime_r(&start, &utc);
    strftime(day, sizeof day, "/%Y%m%dT", &utc);
    assert_non_null(strstr(path, day));
    run_close(run);
}

/* An engine that nobody named, transducers that nobody mapped, a transducer that the file maps. */
static void test_strange_talkers(void **state)
{
    (void)state;
    char udp[64];
    static const char ini[] = "[engine 0]\nlabel = main\n[transducers]\n"
                              "keel = C, , KEEL -> sea_temperature, vessel\n";
    unsigned port = stage_free_port(SOCK_DGRAM);
    input_text(udp, sizeof udp, "udp:", port);
    stage_write(stage_path("strange.ini"), ini, sizeof ini - 1);
    struct program logger = start_logger("--config", stage_path("strange.ini"), "--input", udp,
                                         "--output", stage_path("strange.h5"));
    stage_until_said(&logger, ": open");
    text.length = 0;
    stage_add_sentence(&text, "IIRPM,E,7,1450.0,,A");
    stage_add_sentence(&text, "IIXDR,C,15.5,C,KEEL,C,30.2,C,COOLER OUT,P,,B,OIL");
    stage_add_sentence(&text, "IIRPM,E,0,,,A");
    stage_add_sentence(&text, "IIRPM,E,999,1450.0,,A");
    stage_datagram(port, &text);
    stage_until_said(&logger, "engine 7 is heard, which the configuration does not name");
    stage_until_said(&logger, "COOLER OUT -> coolant_temperature, engine 0");
    stage_stop(logger, SIGINT, 0);
    struct run *run = stage_open_run(stage_path("strange.h5"));
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 1);
    assert_int_equal(stage_count(run, CHANNEL_SEA_TEMPERATURE), 1);
    assert_int_equal(stage_count(run, CHANNEL_TRANSDUCER_TEMPERATURE), 1);
    assert_int_equal(stage_tally(run, 0, REASON_SENTENCES), 4);
    run_close(run);
}

/* A terminal that goes away takes the words with it, not the run. */
static void test_words_go_nowhere(void **state)
{
    (void)state;
    char udp[64];
    unsigned port = stage_free_port(SOCK_DGRAM);
    int ends[2];
    input_text(udp, sizeof udp, "udp:", port);
    assert_int_equal(pipe(ends), 0);
    const char *path = stage_program("SEARUN_LOGGER"), *run_path = stage_path("mute.h5");
    const char *const *arguments =
        LOGGER_ARGUMENTS("--input", udp, "--output", run_path, "--duration", "1");
    pid_t pid = fork();
    if (pid == 0) {
        dup2(ends[1], STDERR_FILENO);
        close(ends[0]);
        close(ends[1]);
        execv(path, (char *const *)(uintptr_t)arguments);
        _exit(127);
    }
    close(ends[0]);
    close(ends[1]);
    struct program logger = {.pid = pid, .running = true, .output = "/dev/null"};
    stage_expect(logger, 0);
    run_close(stage_open_run(run_path));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_two_inputs_and_replay),
        cmocka_unit_test(test_signals),
        cmocka_unit_test(test_duration),
        cmocka_unit_test(test_wrong_clock),
        cmocka_unit_test(test_strange_talkers),
        cmocka_unit_test(test_words_go_nowhere),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
