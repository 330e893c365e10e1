/* test_logger_unattended.c - a logger that is left alone: runs begin and end with the engine, are
 * split without a loss, and survive a power cut with what was heard before the start; settings are
 * read again; a service manager is told. */
#include <sys/statvfs.h>

#include "unattended.h"

static char folder[300];

static void make_folder(const char *name)
{
    snprintf(folder, sizeof folder, "%s", stage_path(name));
    assert_int_equal(mkdir(folder, 0700), 0);
}

#define start_waiting(port, ...)                                                                   \
    start_waiting_with(                                                                            \
        NULL, port,                                                                                \
        (const char *const[]){"--unattended", "--boat", "Tern's Reach", __VA_ARGS__, NULL})

static struct program start_waiting_with(const char *environment, unsigned *port,
                                         const char *const more[])
{
    char udp[64];
    const char *arguments[32] = {"searun-logger", "--input", udp, "--directory", folder};
    size_t count = 5;
    *port = stage_free_port(SOCK_DGRAM);
    snprintf(udp, sizeof udp, "udp:%u", *port);
    while (*more)
        arguments[count++] = *more++;
    struct program logger =
        stage_start_with(environment, stage_program("SEARUN_LOGGER"), arguments);
    stage_until_said(&logger, ": open");
    return logger;
}

static void until_runs(const struct program *logger, int wanted)
{
    char paths[8][600];
    for (int i = 0; i < PATIENCE_S * 100; i++) {
        if (list_runs(folder, paths, 8) >= wanted)
            return;
        stage_nap();
    }
    fail_msg("%d runs never were there; it said:\n%s", wanted, stage_said(logger));
}

static void turn_engine(const struct program *logger, unsigned port, const char *until)
{
    for (int i = 0; i < PATIENCE_S * 20 && !strstr(stage_said(logger), until); i++) {
        send_engine(port, 800);
        naps(5);
    }
    stage_until_said(logger, until);
}

/* --- with the engine */

static void test_with_the_engine(void **state)
{
    (void)state;
    unsigned port;
    char paths[4][600], words[256];
    make_folder("engine");
    struct program logger = start_waiting(&port, "--set", "logger.end_after=1");
    for (int i = 0; i < 10; i++)
        send_sea(port, 15 + i / 10.0);
    send_engine(port, 0);
    until_status(folder, "waiting    for an engine");
    expect_answer(0, "no run is being recorded; kept for one", folder, "mark", "cold");
    expect_answer(0, "for the next run", folder, "purpose", "before");
    assert_int_equal(list_runs(folder, paths, 4), 0);
    text.length = 0;
    stage_add(&text, "RaUdP%c of another transfer", '\0');
    for (int i = 0; i < 3; i++)
        stage_datagram(port, &text);
    turn_engine(&logger, port, "recording to");
    until_runs(&logger, 1); /* and then it is silent */
    until_status(folder, "waiting    for an engine");
    for (int i = 0; i < PATIENCE_S * 20 && list_runs(folder, paths, 4) < 2; i++) {
        send_engine(port, i < 20 ? 800 : 0); /* a second trip; the engine stands again */
        naps(5);
    }
    stage_stop(logger, SIGTERM, 0);
    assert_int_equal(list_runs(folder, paths, 4), 2);
    struct run *run = stage_open_run(paths[0]);
    assert_true(run_about(run)->closed_cleanly);
    assert_int_equal(stage_count(run, CHANNEL_SEA_TEMPERATURE), 10);
    assert_string_equal(facts_get(run_facts(run), FACT_RUN, 0, "purpose"), "before service");
    assert_int_equal(events_of(run, "mark", words), 1);
    assert_int_equal(stage_tally(run, 0, REASON_OTHER_DATAGRAM), 3);
    assert_int_equal(events_of(run, "run_begun", words), 1);
    assert_string_equal(words, "an engine turns");
    assert_int_equal(events_of(run, "run_ended", words), 1);
    assert_string_equal(words, "no engine has turned for 1 s");
    run_close(run);
    run = stage_open_run(paths[1]);
    assert_string_equal(facts_get(run_facts(run), FACT_RUN, 0, "purpose"), "other");
    assert_int_equal(events_of(run, "mark", words), 0);
    run_close(run);
}

/* Nothing is lost and nothing is there twice where one file ends and the next begins. */
static void test_split(void **state)
{
    (void)state;
    unsigned port, sent = 0;
    char paths[8][600], words[256];
    make_folder("split");
    struct program logger = start_waiting(&port, "--set", "logger.longest_run=0.0003", "--set",
                                          "logger.end_after=600", "--purpose", "before service");
    int parts = 0;
    for (; sent < 6000 && parts < 3; sent++) {
        send_engine(port, 1000 + sent % 1000);
        if (sent % 5 == 4)
            stage_nap();
        if (sent % 50 == 0)
            parts = list_runs(folder, paths, 8);
    }
    naps(20);
    stage_stop(logger, SIGTERM, 0);
    parts = list_runs(folder, paths, 8);
    assert_true(parts >= 3);
    size_t count = 0, raw = 0;
    for (int i = 0; i < parts; i++) {
        struct run *run = stage_open_run(paths[i]);
        assert_true(run_about(run)->closed_cleanly);
        assert_string_equal(facts_get(run_facts(run), FACT_RUN, 0, "purpose"), "before service");
        count += stage_count(run, CHANNEL_ENGINE_SPEED);
        raw += stage_tally(run, 0, REASON_SENTENCES);
        assert_int_equal(stage_tally(run, 0, REASON_OVERFLOW), 0);
        assert_int_equal(events_of(run, "continues", words), i > 0);
        if (i > 0) {
            const char *before = strrchr(paths[i - 1], '/') + 1;
            assert_memory_equal(words, before, strlen(before));
        }
        run_close(run);
    }
    assert_int_equal(count, sent);
    assert_int_equal(raw, 2 * sent);
}

/* The power goes right after the start: what was heard before is in the journal already. */
static void test_power_cut_after_the_start(void **state)
{
    (void)state;
    unsigned port;
    char path[600];
    make_folder("cut");
    char plotter[64], words[256];
    snprintf(plotter, sizeof plotter, "plotter=tcp:127.0.0.1:%u", stage_free_port(SOCK_STREAM));
    struct program logger =
        start_waiting(&port, "--set", "logger.end_after=600", "--input", plotter);
    stage_until_said(&logger, "input plotter");
    for (int i = 0; i < 50; i++)
        send_sea(port, 15 + i / 10.0);
    turn_engine(&logger, port, "heard: engine 0, Engine speed");
    naps(100); /* in the file after 0.1 s, as long as storage keeps up */
    assert_int_equal(kill(logger.pid, SIGKILL), 0);
    stage_wait(&logger);
    snprintf(path, sizeof path, "%s", stage_find(folder, ".journal"));
    stage_expect(start_logger("--rebuild", path), 0);
    struct run *run = stage_open_run(stage_find(folder, ".h5"));
    assert_true(run_about(run)->rebuilt);
    assert_int_equal(stage_count(run, CHANNEL_SEA_TEMPERATURE), 50);
    assert_true(stage_count(run, CHANNEL_ENGINE_SPEED) >= 2);
    assert_true(events_of(run, "input_away", words) >= 1);
    assert_memory_equal(words, "plotter: ", 9);
    const struct run_gap *gaps;
    size_t count;
    assert_int_equal(run_gaps(run, &gaps, &count, NULL), STATUS_OK);
    assert_int_equal(count, 1); /* it never came back */
    assert_int_equal(gaps[0].input, 1);
    assert_string_equal(gaps[0].why, words + 9);
    assert_true(gaps[0].to > gaps[0].from);
    run_close(run);
}

/* --- what goes wrong before a run */

/* A gateway that gets power some time after the logger, and with the engine: its run begins with
 * the engine and not with the gateway's absence. */
static void test_gateway_comes_late(void **state)
{
    (void)state;
    char tcp[64];
    make_folder("late");
    unsigned port = stage_free_port(SOCK_STREAM);
    snprintf(tcp, sizeof tcp, "tcp:127.0.0.1:%u", port);
    struct program logger =
        start_logger("--input", tcp, "--directory", folder, "--unattended", "--set",
                     "logger.before_start=0.5", "--set", "logger.reopen_longest=0.5");
    stage_until_said(&logger, "tried again until it works");
    naps(120);
    int listener = stage_listen(port);
    int fd = accept(listener, NULL, NULL);
    for (int i = 0; i < PATIENCE_S * 20 && !strstr(stage_said(&logger), "heard: engine 0, Engine");
         i++) {
        text.length = 0;
        stage_add_sentence(&text, "IIRPM,E,0,800.0,,A");
        assert_int_equal(write(fd, text.bytes, text.length), text.length);
        naps(5);
    }
    stage_stop(logger, SIGTERM, 0);
    close(fd);
    close(listener);
    struct run *run = stage_open_run(stage_find(folder, ".h5"));
    const struct run_gap *gaps;
    size_t count;
    assert_int_equal(run_gaps(run, &gaps, &count, NULL), STATUS_OK);
    assert_int_equal(count, 1);
    assert_true(gaps[0].from >= 0 && gaps[0].to <= 0.51);
    run_close(run);
}

/* What people told of the next run, and that it shall begin, holds until there is one. */
static void test_start_that_fails(void **state)
{
    (void)state;
    unsigned port;
    char aside[320], socket_path[300], words[256];
    make_folder("fails");
    snprintf(aside, sizeof aside, "%s.aside", folder);
    snprintf(socket_path, sizeof socket_path, "%s", stage_path("fails.socket"));
    struct program logger = start_waiting(&port, "--socket", socket_path);
    assert_int_equal(rename(folder, aside), 0);
    stage_write(folder, "x", 1);
    stage_expect(start_logger("--socket", socket_path, "purpose", "before"), 0);
    stage_expect(start_logger("--socket", socket_path, "note", "sea_state=slight"), 0);
    stage_expect_words(start_logger("--socket", socket_path, "start"), 0, "a run begins");
    stage_until_said(&logger, "it is not a folder");
    assert_int_equal(unlink(folder), 0);
    assert_int_equal(rename(aside, folder), 0);
    stage_until_said(&logger, "recording to");
    send_engine(port, 800);
    stage_until_said(&logger, "heard: engine 0, Engine speed");
    stage_expect_words(start_logger("--socket", socket_path, "stop"), 0, "the run ends");
    until_runs(&logger, 1);
    naps(50); /* the journal goes after the file is there */
    assert_int_equal(rename(folder, aside), 0);
    stage_write(folder, "x", 1);
    stage_expect_words(start_logger("--socket", socket_path, "start"), 0, "a run begins");
    naps(20);
    stage_expect_words(start_logger("--socket", socket_path, "stop"), 0, "does not begin");
    stage_expect_words(start_logger("--socket", socket_path, "stop"), 2, "no run");
    assert_int_equal(unlink(folder), 0);
    assert_int_equal(rename(aside, folder), 0);
    stage_stop(logger, SIGTERM, 1); /* the last one could not be opened */
    struct run *run = stage_open_run(stage_find(folder, ".h5"));
    assert_string_equal(facts_get(run_facts(run), FACT_RUN, 0, "purpose"), "before service");
    assert_string_equal(facts_get(run_facts(run), FACT_RUN, 0, "sea_state"), "slight");
    assert_int_equal(events_of(run, "fact", words), 0);
    assert_int_equal(events_of(run, "run_begun", words), 1);
    assert_string_equal(words, "by hand");
    run_close(run);
}

static double mib_free(const char *path)
{
    struct statvfs space;
    assert_int_equal(statvfs(path, &space), 0);
    return (double)space.f_bavail * (double)space.f_frsize / 1048576;
}

/* Where space is lacking, another folder can be named without a new start. */
static void test_other_folder_when_full(void **state)
{
    (void)state;
    char there[] = "/dev/shm/searun-unattended-XXXXXX", ini[900], udp[64];
    if (access("/dev/shm", W_OK) != 0 || !mkdtemp(there)) {
        print_message("skipped: there is no second file system here\n");
        skip();
    }
    make_folder("full");
    bool here_less = mib_free(folder) < mib_free(there);
    double less = here_less ? mib_free(folder) : mib_free(there),
           more = here_less ? mib_free(there) : mib_free(folder);
    if (more < 1.05 * less + 100) {
        rmdir(there);
        print_message("skipped: both file systems here have much the same space\n");
        skip();
    }
    const char *roomy = here_less ? there : folder, *path = stage_path("full.ini");
    snprintf(ini, sizeof ini, "[logger]\ndirectory = %s\nreserve = %.0f\nsocket = %s\n",
             here_less ? folder : there, 1.05 * less + 10, stage_path("full.socket"));
    stage_write(path, ini, strlen(ini));
    unsigned port = stage_free_port(SOCK_DGRAM);
    snprintf(udp, sizeof udp, "udp:%u", port);
    struct program logger = start_logger("--config", path, "--input", udp, "--unattended");
    stage_until_said(&logger, ": open");
    turn_engine(&logger, port, "nothing is recorded: ");
    snprintf(ini, sizeof ini, "[logger]\ndirectory = %s\nreserve = %.0f\n", roomy,
             1.05 * less + 10);
    stage_write(path, ini, strlen(ini));
    kill(logger.pid, SIGHUP);
    turn_engine(&logger, port, "recording to");
    turn_engine(&logger, port, "heard: engine 0, Engine speed");
    stage_stop(logger, SIGTERM, 0);
    assert_non_null(stage_find(roomy, ".h5"));
    unlink(stage_find(roomy, ".h5"));
    rmdir(there);
}

static void test_by_hand(void **state)
{
    (void)state;
    unsigned port;
    char words[256], paths[4][600];
    make_folder("hand");
    struct program logger = start_waiting(&port, "--set", "logger.end_after=600");
    expect_answer(2, "no run is being recorded", folder, "stop");
    expect_answer(0, "a run begins", folder, "start");
    stage_until_said(&logger, "recording to");
    until_status(folder, "recording  ");
    for (int i = 0; i < 5; i++)
        send_engine(port, 800);
    until_status(folder, " 800 rpm");
    expect_answer(0, "the run ends: ", folder, "stop");
    until_runs(&logger, 1);
    for (int i = 0; i < 20; i++) { /* it still turns: a person did not want that run */
        send_engine(port, 800);
        naps(2);
    }
    until_status(folder, "waiting    stopped by hand");
    stage_stop(logger, SIGTERM, 0);
    assert_int_equal(list_runs(folder, paths, 4), 1);
    struct run *run = stage_open_run(paths[0]);
    assert_int_equal(events_of(run, "run_begun", words), 1);
    assert_string_equal(words, "by hand");
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 5);
    run_close(run);
}

static void test_refused(void **state)
{
    (void)state;
    stage_expect_words(
        start_logger("--unattended", "--input", "udp:10110", "--output", stage_path("one.h5")), 2,
        "name their folder with --directory");
    stage_expect_words(start_logger("--unattended"), 2, "name an input");
}

/* --- settings that are read again */

static void write_settings(const char *boat, const char *more)
{
    char ini[600];
    snprintf(ini, sizeof ini, "[boat]\nname = %s\n[logger]\nend_after = 600\n%s", boat, more);
    stage_write(stage_path("again.ini"), ini, strlen(ini));
}

static void test_reload(void **state)
{
    (void)state;
    unsigned port;
    make_folder("again");
    write_settings("Two Sisters", "");
    char udp[64];
    port = stage_free_port(SOCK_DGRAM);
    snprintf(udp, sizeof udp, "udp:%u", port);
    struct program logger = start_logger("--config", stage_path("again.ini"), "--input", udp,
                                         "--directory", folder, "--unattended");
    stage_until_said(&logger, ": open");
    write_settings("Tern's Reach", "");
    kill(logger.pid, SIGHUP);
    stage_until_said(&logger, "the settings were read again");
    write_settings("Nobody", "turning_rpm = fast\n");
    kill(logger.pid, SIGHUP);
    stage_until_said(&logger, "again.ini:5: turning_rpm = fast");
    stage_until_said(&logger, "the settings are as before");
    write_settings("Tern's Reach", "[inputs]\nother = udp:10111\n");
    kill(logger.pid, SIGHUP);
    stage_until_said(&logger, "are as before until the logger is started again");
    turn_engine(&logger, port, "heard: engine 0, Engine speed");
    stage_stop(logger, SIGTERM, 0);
    struct run *run = stage_open_run(stage_find(folder, ".h5"));
    assert_string_equal(facts_get(run_facts(run), FACT_BOAT, 0, "name"), "Tern's Reach");
    assert_int_equal(run_input_count(run), 1);
    run_close(run);
    assert_non_null(strstr(stage_find(folder, ".h5"), "terns-reach"));
}

/* --- a service */

static int listen_as_manager(char environment[400])
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    snprintf(address.sun_path, sizeof address.sun_path, "%.100s", stage_path("notify"));
    int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    assert_int_equal(bind(fd, (struct sockaddr *)&address, sizeof address), 0);
    snprintf(environment, 400, "NOTIFY_SOCKET=%s", stage_path("notify"));
    return fd;
}

/* Waits until the logger has told that. */
static void until_told(int fd, const char *words)
{
    char told[1024];
    for (int i = 0; i < PATIENCE_S * 100; i++) {
        ssize_t length = recv(fd, told, sizeof told - 1, 0);
        told[length > 0 ? length : 0] = '\0';
        if (strstr(told, words))
            return;
        if (length <= 0)
            stage_nap();
    }
    fail_msg("the service manager was never told \"%s\"", words);
}

static void test_service_manager(void **state)
{
    (void)state;
    unsigned port;
    char environment[400];
    make_folder("service");
    int fd = listen_as_manager(environment);
    setenv("WATCHDOG_USEC", "1000000", 1);
    struct program logger = start_waiting_with(
        environment, &port, (const char *const[]){"--unattended", "--log-levels", NULL});
    unsetenv("WATCHDOG_USEC");
    until_told(fd, "READY=1");
    until_told(fd, "STATUS=waiting");
    until_told(fd, "WATCHDOG=1");
    turn_engine(&logger, port, "recording to");
    until_told(fd, "STATUS=recording /");
    until_told(fd, "WATCHDOG=1");
    kill(logger.pid, SIGHUP);
    stage_until_said(&logger, "<4>warning: there is no configuration file to read again");
    kill(logger.pid, SIGTERM);
    until_told(fd, "STOPPING=1");
    until_told(fd, "WATCHDOG_USEC=3600000000");
    stage_expect_words(logger, 0, "<6>recorded ");
    assert_null(strstr(stage_said(&logger), "searun-logger: "));
    close(fd);
}

/* The unit as systemd reads it, if it is here; the program that it names is not, where it is
 * tested. */
static void test_unit_is_sound(void **state)
{
    (void)state;
    const char *tool = "/usr/bin/systemd-analyze";
    if (access(tool, X_OK) != 0) {
        print_message("skipped: systemd-analyze is not installed here\n");
        skip();
    }
    struct program verify =
        stage_start_with(NULL, tool,
                         (const char *const[]){"systemd-analyze", "verify", "--man=no",
                                               "logger/searun-logger.service", NULL});
    stage_wait(&verify);
    static char words[4000];
    snprintf(words, sizeof words, "%.3900s", stage_said(&verify));
    for (char *line = strtok(words, "\n"); line; line = strtok(NULL, "\n"))
        if (strstr(line, "searun") && !strstr(line, "is not executable"))
            fail_msg("%s", line);
    struct program score = stage_start_with(
        NULL, tool,
        (const char *const[]){"systemd-analyze", "security", "--no-pager", "--offline=true",
                              "--threshold=20", "logger/searun-logger.service", NULL});
    stage_expect_words(score, 0, "Overall exposure level"); /* at most 2.0 of 10 */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_with_the_engine),
        cmocka_unit_test(test_split),
        cmocka_unit_test(test_power_cut_after_the_start),
        cmocka_unit_test(test_gateway_comes_late),
        cmocka_unit_test(test_start_that_fails),
        cmocka_unit_test(test_other_folder_when_full),
        cmocka_unit_test(test_by_hand),
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_reload),
        cmocka_unit_test(test_service_manager),
        cmocka_unit_test(test_unit_is_sound),
    };
    unsetenv("RUNTIME_DIRECTORY");
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
