/* test_logger_journal.c - journals from outside: kept, rebuilt, replayed, found at the next
 * start. */
#include "stage.h"

static struct stage_text text;

static void udp_text(char to[64], unsigned *port)
{
    *port = stage_free_port(SOCK_DGRAM);
    snprintf(to, 64, "plotter=udp:%u", *port);
}

static void send_engine(unsigned port, int number)
{
    text.length = 0;
    stage_add_sentence(&text, "IIRPM,E,0,%d.0,,A", 1000 + number);
    stage_add_sentence(&text, "IIXDR,C,%.1f,C,ENGINE#0", 60 + number / 10.0);
    stage_add_sentence(&text, "IIMTW,%.1f,C", 15 + number / 10.0);
    stage_datagram(port, &text);
}

static void send_noise(unsigned port)
{
    text.length = 0;
    stage_add(&text, "\x80\xff\x03noise\r\n$IIMTW,15.2,C*00\r\n\\c:1*00\\$IIRPM,E");
    stage_datagram(port, &text);
    text.length = 7;
    memcpy(text.bytes, "RaUdP\0x", 7);
    stage_datagram(port, &text);
}

static void wait_a_moment(void)
{
    for (int i = 0; i < 30; i++)
        stage_nap();
}

/* Records what the journal must keep: sentences, noise, a gateway that comes late, and goes. */
static struct program record(const char *const *arguments, unsigned udp_port, unsigned tcp_port)
{
    struct program logger = stage_start_with(NULL, stage_program("SEARUN_LOGGER"), arguments);
    stage_until_said(&logger, "Connection refused");
    int server = stage_listen(tcp_port);
    for (int i = 0; i < 20; i++)
        send_engine(udp_port, i);
    send_noise(udp_port);
    for (int round = 0; round < 2; round++) {
        int peer = accept(server, NULL, NULL);
        text.length = 0;
        for (int second = 0; second < 4; second++)
            stage_add_sentence(&text, "GPZDA,1015%02d.00,25,11,2024,00,00", 5 * round + second);
        stage_add_sentence(&text, "IIVHW,,T,,M,6.%d,N,,K", round);
        assert_int_equal(write(peer, text.bytes, text.length), text.length);
        stage_nap();
        if (round == 1)
            close(server); /* before the peer, so that nobody comes again */
        close(peer);
    }
    send_engine(udp_port, 99);
    stage_until_said(&logger, "heard: vessel, Sea water temperature");
    wait_a_moment();
    return logger;
}

/* A run whose name is made again from GNSS time: its kept journal goes with it, gives the same run
 * when it is rebuilt, and the same again when it is replayed as the capture that it is. */
static void test_kept_journal(void **state)
{
    (void)state;
    char udp[64], tcp[64], run[600], journal[600], folder[600];
    unsigned udp_port, tcp_port = stage_free_port(SOCK_STREAM);
    udp_text(udp, &udp_port);
    snprintf(tcp, sizeof tcp, "gw=tcp:127.0.0.1:%u", tcp_port);
    snprintf(folder, sizeof folder, "%s", stage_path("kept"));
    struct program logger =
        record(LOGGER_ARGUMENTS("--input", udp, "--input", tcp, "--directory", folder, "--boat",
                                "Tern's Reach", "--set", "logger.keep_journal=yes", "--set",
                                "transducers.x=C, C, ENGINE#0 -> coolant_temperature, engine 1"),
               udp_port, tcp_port);
    stage_stop(logger, SIGTERM, 0);
    snprintf(run, sizeof run, "%s", stage_find(folder, ".h5"));
    snprintf(journal, sizeof journal, "%s", stage_find(folder, ".journal.kept"));
    assert_non_null(strstr(run, "/20241125T1015"));
    assert_memory_equal(run, journal, strlen(run) - 3);

    stage_expect_words(
        start_logger("--rebuild", journal, "--output", stage_path("kept/rebuilt.h5")), 0,
        "nothing missing");
    stage_same_run(run, stage_path("kept/rebuilt.h5"));
    struct run *live = stage_open_run(run), *again = stage_open_run(stage_path("kept/rebuilt.h5"));
    assert_int_equal(stage_tally(live, 1, REASON_REOPENED), 1);
    assert_int_equal(stage_tally(live, 0, REASON_OTHER_DATAGRAM), 1);
    for (size_t i = 0; i < 2; i++)
        for (int reason = 0; reason < REASON_COUNT; reason++)
            assert_int_equal(stage_tally(live, i, (enum reason)reason),
                             stage_tally(again, i, (enum reason)reason));
    assert_string_equal(facts_get(run_facts(again), FACT_BOAT, 0, "name"), "Tern's Reach");
    assert_string_equal(run_about(live)->run_id, run_about(again)->run_id);
    assert_int_equal(stage_count(again, CHANNEL_COOLANT_TEMPERATURE), 21);
    run_close(live);
    run_close(again);

    stage_expect(start_logger("--replay", journal, "--output", stage_path("kept/replayed.h5"),
                              "--set",
                              "transducers.x=C, C, ENGINE#0 -> coolant_temperature, engine 1"),
                 0);
    stage_same_run(run, stage_path("kept/replayed.h5"));
    stage_expect_words(start_logger("--rebuild", journal), 1, "made of this journal");
    assert_true(stage_exists(journal));
}

/* Cut off, and found at the next start, which records at once; it is said, and done once only. */
static void test_found_at_next_start(void **state)
{
    (void)state;
    char udp[64], folder[600];
    unsigned port;
    udp_text(udp, &port);
    snprintf(folder, sizeof folder, "%s", stage_path("cut"));
    struct program logger =
        start_logger("--input", udp, "--directory", folder, "--boat", "Two Sisters");
    stage_until_said(&logger, ": open");
    for (int i = 0; i < 30; i++)
        send_engine(port, i);
    stage_until_said(&logger, "heard: vessel, Sea water temperature");
    wait_a_moment();
    kill(logger.pid, SIGKILL);
    stage_expect(logger, 1000 + SIGKILL);
    struct program next = start_logger("--input", udp, "--output", stage_path("cut/next.run"));
    stage_until_said(&next, "is left of a run that was cut off; making its run file");
    stage_until_said(&next, "from its journal: ");
    stage_stop(next, SIGINT, 0);
    assert_non_null(strstr(stage_said(&next), " 90 messages, nothing missing"));
    struct run *run = stage_open_run(stage_find(folder, "two-sisters.h5"));
    assert_true(run_about(run)->rebuilt && !run_about(run)->closed_cleanly);
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 30);
    run_close(run);
    assert_true(stage_exists(stage_path("cut/next.run")));
    next =
        start_logger("--input", udp, "--output", stage_path("cut/third.h5"), "--duration", "0.1");
    stage_expect(next, 0);
    assert_null(strstr(stage_said(&next), "cut off"));
}

/* A second logger in the same folder leaves the journal of the first alone, whatever it does
 * itself. */
static void test_two_loggers(void **state)
{
    (void)state;
    char udp[64], other[64];
    unsigned port, other_port;
    udp_text(udp, &port);
    udp_text(other, &other_port);
    struct program first = start_logger("--input", udp, "--output", stage_path("both/first.h5"));
    stage_until_said(&first, ": open");
    send_engine(port, 1);
    stage_until_said(&first, "heard: vessel, Sea water temperature");
    struct program second = start_logger("--input", other, "--output", stage_path("both/second.h5"),
                                         "--duration", "0.3");
    stage_expect(second, 0);
    assert_null(strstr(stage_said(&second), "first"));
    stage_expect_words(start_logger("--rebuild", stage_path("both/first.journal")), 1,
                       "by another program just now");
    stage_expect_words(start_logger("--input", other, "--output", stage_path("both/first.h5")), 1,
                       "first.journal is being written or rebuilt by another program");
    send_engine(port, 2);
    wait_a_moment();
    stage_stop(first, SIGINT, 0);
    struct run *run = stage_open_run(stage_path("both/first.h5"));
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 2);
    run_close(run);
}

static void test_words(void **state)
{
    (void)state;
    char udp[64];
    unsigned port;
    udp_text(udp, &port);
    stage_write(stage_path("noise.journal"), "nothing of ours\n", 16);
    stage_expect_words(start_logger("--rebuild", stage_path("none.journal")), 1,
                       "No such file or directory");
    stage_expect_words(start_logger("--rebuild", stage_path("noise.journal")), 1,
                       "it is torn there, or is no journal");
    stage_expect_words(start_logger("--rebuild", stage_folder), 1, "is not a file");
    /* A name whose journal is left must be rebuilt first. */
    stage_expect_words(start_logger("--input", udp, "--output", stage_path("noise.h5")), 1,
                       "--rebuild");
    assert_true(stage_exists(stage_path("noise.journal")));
    /* A replay needs no journal, and leaves others alone. */
    stage_expect(start_logger("--replay", "sample-runs/before.nmea", "--duration", "60", "--output",
                              stage_path("replay.h5")),
                 0);
    assert_true(stage_exists(stage_path("noise.journal")));
    assert_false(stage_exists(stage_path("replay.journal")));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_kept_journal),
        cmocka_unit_test(test_found_at_next_start),
        cmocka_unit_test(test_two_loggers),
        cmocka_unit_test(test_words),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
