/* test_logger_control.c - asking a logger at work: marks, facts, status; hostile texts and
 * clients. */
#include <cjson/cJSON.h>
#include <sys/un.h>

#include "unattended.h"

static char folder[400];

static struct program start_recording(unsigned *port, const char *name)
{
    char udp[64];
    snprintf(folder, sizeof folder, "%s", stage_path(name));
    *port = stage_free_port(SOCK_DGRAM);
    snprintf(udp, sizeof udp, "plotter=udp:%u", *port);
    struct program logger = start_logger("--input", udp, "--directory", folder, "--boat",
                                         "Tern's Reach", "--set", "logger.keep_journal=yes");
    stage_until_said(&logger, ": open");
    send_engine(*port, 1450);
    send_sea(*port, 15.2);
    stage_until_said(&logger, "heard: vessel");
    return logger;
}

static void expect_event(struct run *run, const char *key, size_t count, const char *words)
{
    char last[256] = "";
    assert_int_equal(events_of(run, key, last), count);
    if (!strstr(last, words))
        fail_msg("%s: \"%s\", expected \"%s\"", key, last, words);
}

static void expect_told(const char *path)
{
    struct run *run = stage_open_run(path);
    char asker[32];
    snprintf(asker, sizeof asker, "(uid %u)", (unsigned)getuid());
    assert_string_equal(facts_get(run_facts(run), FACT_RUN, 0, "purpose"), "before service");
    assert_string_equal(facts_get(run_facts(run), FACT_RUN, 0, "sea_state"), "slight (uid 7)");
    assert_string_equal(facts_get(run_facts(run), FACT_BOAT, 0, "name"), "Tern's Reach");
    expect_event(run, "mark", 2, "\xC3\xA9t\xC3\xA9");
    expect_event(run, "mark", 2, asker);
    expect_event(run, "fact", 2, "purpose=before service");
    run_close(run);
}

/* Marks and facts are in the run file, and in the one that is made of the journal. */
static void test_marks_and_facts(void **state)
{
    (void)state;
    unsigned port;
    char run_path[600];
    struct program logger = start_recording(&port, "marks");
    expect_answer(0, "kept", folder, "mark", "throttle", "to", "2000");
    expect_answer(0, "kept", folder, "mark", "\xC3\xA9t\xC3\xA9");
    expect_answer(0, "for this run", folder, "note", "sea_state=slight (uid 7)");
    expect_answer(0, "before service", folder, "purpose", "before");
    expect_answer(2, "no fact of a run", folder, "note", "name=Two Sisters");
    expect_answer(2, "line break", folder, "mark", "a\nb");
    expect_answer(2, "not UTF-8", folder, "mark", "\xFF");
    stage_stop(logger, SIGTERM, 0);
    snprintf(run_path, sizeof run_path, "%s", stage_find(folder, ".h5"));
    expect_told(run_path);
    struct program rebuild = start_logger("--rebuild", stage_find(folder, ".journal.kept"),
                                          "--output", stage_path("rebuilt.h5"));
    stage_expect(rebuild, 0);
    expect_told(stage_path("rebuilt.h5"));
}

static void test_long_texts(void **state)
{
    (void)state;
    static char words[10001];
    unsigned port;
    struct program logger = start_recording(&port, "long");
    memset(words, 'x', 10000);
    expect_answer(2, "at most 200 are kept", folder, "mark", words);
    words[200] = '\0';
    expect_answer(0, "kept", folder, "mark", words);
    stage_stop(logger, SIGTERM, 0);
    struct run *run = stage_open_run(stage_find(folder, ".h5"));
    expect_event(run, "mark", 1, words);
    run_close(run);
}

/* At most 80 columns, whatever is heard; nothing but JSON for programs. */
static void test_status(void **state)
{
    (void)state;
    unsigned port;
    struct program logger = start_recording(&port, "status");
    struct program asked = start_logger("--directory", folder, "status");
    stage_expect(asked, 0);
    static char answer[20000];
    snprintf(answer, sizeof answer, "%.*s", (int)sizeof answer - 1, stage_said(&asked));
    assert_non_null(strstr(answer, "recording  "));
    assert_non_null(strstr(answer, "Engine speed                                     1450 rpm"));
    assert_non_null(strstr(answer, "plotter"));
    for (char *line = strtok(answer, "\n"); line; line = strtok(NULL, "\n")) {
        size_t columns = 0;
        for (const char *c = line; *c; c++)
            columns += ((unsigned char)*c & 0xC0) != 0x80;
        assert_in_range(columns, 1, 80);
    }
    asked = start_logger("--directory", folder, "status", "--json");
    stage_expect(asked, 0);
    cJSON *top = cJSON_Parse(stage_said(&asked));
    assert_non_null(top);
    assert_string_equal(cJSON_GetObjectItem(top, "activity")->valuestring, "recording");
    assert_string_equal(cJSON_GetObjectItem(top, "boat")->valuestring, "Tern's Reach");
    cJSON *input = cJSON_GetArrayItem(cJSON_GetObjectItem(top, "inputs"), 0);
    assert_string_equal(cJSON_GetObjectItem(input, "state")->valuestring, "open");
    assert_int_equal(cJSON_GetObjectItem(input, "count")->valueint, 3);
    assert_int_equal(cJSON_GetArraySize(cJSON_GetObjectItem(top, "values")), 3);
    cJSON_Delete(top);
    stage_stop(logger, SIGTERM, 0);
}

/* "stop" ends an attended logger as Ctrl-C does; then nobody is there any more. */
static void test_stop_and_nobody(void **state)
{
    (void)state;
    unsigned port;
    struct program logger = start_recording(&port, "stop");
    expect_answer(2, "already", folder, "start");
    expect_answer(0, "the run ends, and the logger with it", folder, "stop");
    stage_expect(logger, 0);
    struct run *run = stage_open_run(stage_find(folder, ".h5"));
    assert_true(run_about(run)->closed_cleanly);
    expect_event(run, "run_ended", 1, "by hand");
    run_close(run);
    expect_answer(1, "no logger is at work here", folder, "mark", "x");
    expect_answer(1, "no logger is at work here", folder, "status");
}

/* --- clients that are none */

static const char *socket_path(void)
{
    static char path[500];
    snprintf(path, sizeof path, "%s/.searun-logger.socket", folder);
    return path;
}

static void expect_reply(const char *bytes, size_t length, const char *words)
{
    char reply[2000] = "";
    size_t got = 0;
    ssize_t count;
    int fd = connect_socket(socket_path());
    assert_int_equal(write(fd, bytes, length), length);
    shutdown(fd, SHUT_WR);
    while ((count = read(fd, reply + got, sizeof reply - 1 - got)) > 0)
        got += (size_t)count;
    close(fd);
    if (strncmp(reply, words, strlen(words)) != 0)
        fail_msg("expected \"%s\", got \"%s\"", words, reply);
}

/* Half requests, endless ones, clients that never read or go away: the loop goes on, others are
 * served. */
static void test_bad_clients(void **state)
{
    (void)state;
    static char flood[70000];
    unsigned port;
    int fds[20];
    struct stat about;
    signal(SIGPIPE, SIG_IGN);
    struct program logger = start_recording(&port, "clients");
    assert_int_equal(stat(socket_path(), &about), 0);
    assert_int_equal(about.st_mode & 0777, 0660);
    memset(flood, 'x', sizeof flood);
    for (int i = 0; i < 20; i++) {
        fds[i] = connect_socket(socket_path());
        (void)!write(fds[i], i % 2 ? "status\n" : "mar", i % 2 ? 7 : 3);
        if (i % 3 == 0)
            close(fds[i]);
    }
    int fd = connect_socket(socket_path());
    (void)!send(fd, flood, sizeof flood, MSG_DONTWAIT);
    expect_reply("mark in between\nmark another\n", 29, "done\n");
    expect_reply("mark no line end", 16, "done\n");
    expect_reply("mark a\0b\n", 9, "refused\nthe request holds a NUL byte");
    expect_reply("\n", 1, "refused\nthis is not a request");
    expect_reply(flood, 1500, "refused\nthe request is longer than 1024 bytes");
    for (int i = 0; i < 20; i++)
        if (i % 3 != 0)
            close(fds[i]);
    close(fd);
    for (int i = 0; i < 20; i++)
        send_engine(port, 1500 + i);
    until_status(folder, "1519 rpm");
    stage_stop(logger, SIGTERM, 0);
    struct run *run = stage_open_run(stage_find(folder, ".h5"));
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 21);
    expect_event(run, "mark", 2, "no line end");
    run_close(run);
    assert_int_equal(stat(socket_path(), &about), -1);
}

/* A socket that a dead logger left is replaced; that of a living one is not, nor a file. */
static void test_names(void **state)
{
    (void)state;
    unsigned port;
    char udp[64];
    struct program logger = start_recording(&port, "names");
    kill(logger.pid, SIGKILL);
    stage_wait(&logger);
    assert_true(stage_exists(socket_path()));
    snprintf(udp, sizeof udp, "udp:%u", stage_free_port(SOCK_DGRAM));
    logger = start_logger("--input", udp, "--directory", folder);
    stage_until_said(&logger, ": open");
    struct program second = start_logger("--input", udp, "--directory", folder);
    stage_until_said(&second, "another logger listens at");
    stage_stop(second, SIGTERM, 0);
    expect_answer(0, "kept", folder, "mark", "still there");
    stage_stop(logger, SIGTERM, 0);
    stage_write(stage_path("file"), "x", 1);
    logger = start_logger("--input", udp, "--directory", folder, "--socket", stage_path("file"));
    stage_until_said(&logger, "is no socket");
    stage_stop(logger, SIGTERM, 0);
    assert_true(stage_exists(stage_path("file")));
}

/* In $RUNTIME_DIRECTORY, and at a path that is longer than the system's names of sockets. */
static void test_places(void **state)
{
    (void)state;
    char udp[64], environment[400];
    snprintf(udp, sizeof udp, "udp:%u", stage_free_port(SOCK_DGRAM));
    snprintf(folder, sizeof folder, "%s/%0120d", stage_folder, 7);
    struct program logger = start_logger("--input", udp, "--directory", folder);
    stage_until_said(&logger, ": open");
    expect_answer(0, "recording", folder, "status");
    stage_stop(logger, SIGTERM, 0);
    mkdir(stage_path("runtime"), 0700);
    snprintf(environment, sizeof environment, "RUNTIME_DIRECTORY=%s:/other", stage_path("runtime"));
    logger = stage_start_with(environment, stage_program("SEARUN_LOGGER"),
                              LOGGER_ARGUMENTS("--input", udp, "--directory", folder));
    stage_until_said(&logger, ": open");
    assert_true(stage_exists(stage_path("runtime/searun-logger.socket")));
    expect_answer(0, "recording", folder, "status", "--socket",
                  stage_path("runtime/searun-logger.socket"));
    stage_stop(logger, SIGTERM, 0);
    logger = start_logger("--input", udp, "--directory", folder, "--socket", "none");
    stage_until_said(&logger, ": open");
    expect_answer(1, "no logger is at work", folder, "status");
    stage_stop(logger, SIGTERM, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_marks_and_facts), cmocka_unit_test(test_long_texts),
        cmocka_unit_test(test_status),          cmocka_unit_test(test_stop_and_nobody),
        cmocka_unit_test(test_bad_clients),     cmocka_unit_test(test_names),
        cmocka_unit_test(test_places),
    };
    unsetenv("RUNTIME_DIRECTORY");
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
