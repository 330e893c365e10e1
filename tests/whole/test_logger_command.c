/* test_logger_command.c - the command line of searun-logger: help, checks, complaints. */
#include "stage.h"

static void test_version_and_help(void **state)
{
    (void)state;
    stage_expect_words(start_logger("--version"), 0, "searun-logger ");
    stage_expect_words(start_logger("--help"), 0, "serial:DEVICE[,BAUD]");
    stage_expect_words(start_logger("--help-config"), 0, "[engine N]");
}

static void test_bad_usage(void **state)
{
    (void)state;
    stage_expect_words(start_logger("--nonsense"), 2, "--nonsense is not an option");
    stage_expect_words(start_logger("--output"), 2, "wants something behind it");
    stage_expect_words(start_logger("udp:10110"), 2, "did you mean --input udp:10110?");
    stage_expect_words(start_logger("--input", "usb:1"), 2, "must begin with one of serial:, udp:");
    stage_expect_words(start_logger("--input", "udp", "10110"), 2, "without a space: udp:");
    stage_expect_words(start_logger("--input", "mine=serial", "/dev/ttyUSB0"), 2,
                       "without a space: serial:");
    stage_expect_words(start_logger("--input", "/dev/ttyUSB0"), 2,
                       "did you mean serial:/dev/ttyUSB0,4800?");
    stage_expect_words(start_logger("--input", "can0"), 2, "did you mean can:can0?");
    stage_expect_words(start_logger("--input", "10110"), 2, "did you mean udp:10110?");
    stage_expect_words(start_logger("--input", "192.168.1.20:10110"), 2,
                       "did you mean tcp:192.168.1.20:10110?");
    stage_expect_words(start_logger("--input", "trip.log"), 2, "--replay trip.log");
    stage_expect_words(start_logger("--duration", "-1", "--input", "udp:10110"), 2, "above 0");
    stage_expect_words(start_logger("--set", "boat=x"), 2, "SECTION.KEY=VALUE");
    stage_expect_words(start_logger("--purpose", "fun"), 2, "before service, after service");
    stage_expect_words(start_logger("--config", "/nonexistent.ini"), 2,
                       "/nonexistent.ini: No such file");
    stage_expect_words(start_logger("--replay", "a", "--replay", "b"), 2, "twice");
    stage_expect_words(start_logger("--quiet", "--boat", "x"), 2, "name an input with --input");
}

static void test_check_config(void **state)
{
    (void)state;
    static const char good[] = "[inputs]\nplotter = udp:10110\n[engine 0]\nthermostat = 71, 82\n";
    static const char bad[] = "[inputs]\nplotter = udp:10110\n[engine 0]\nthermostat = 82, 71\n"
                              "[boat]\nnaem = x\n";
    stage_write(stage_path("good.ini"), good, sizeof good - 1);
    stage_write(stage_path("bad.ini"), bad, sizeof bad - 1);
    stage_expect_words(start_logger("--config", stage_path("good.ini"), "--check-config"), 0,
                       "the settings are sound");
    stage_expect_words(start_logger("--config", stage_path("bad.ini"), "--check-config"), 2,
                       "bad.ini:4: thermostat");
    stage_expect_words(start_logger("--config", stage_path("bad.ini"), "--check-config"), 2,
                       "bad.ini:6: [boat] has no setting \"naem\"");
    stage_expect_words(start_logger("--config", "logger/example.ini", "--check-config"), 0,
                       "the settings are sound");
    /* Options win over the file. */
    stage_expect_words(start_logger("--config", stage_path("good.ini"), "--check-config", "--input",
                                    "plotter=tcp:127.0.0.1:2000"),
                       0, "input plotter: tcp:127.0.0.1:2000");
}

/* What is set is told back, whatever the section, and what it means; as is what has no effect. */
static void test_check_tells_what_settings_mean(void **state)
{
    (void)state;
    static const char whole[] =
        "[boat]\nname = Tern's Reach\n[engine 0]\nthermostat = 71, 82\n[engine 1]\nlabel = port\n"
        "[run]\nwho = the technician\n[inputs]\nplotter = udp:10110\n"
        "[transducers]\ncoolant = C, , PORT COOLANT -> coolant_temperature, engine 1\n"
        "[logger]\ndirectory = /srv/runs\nring_size = 17\nreceive_buffer = 4096\n"
        "reopen_longest = 21\nreserve = 65\nkeep_journal = yes\nclock_tolerance = 6\n"
        "rpm_first_engine = 1\ntransducer_defaults = no\nsocket = /srv/ask\n"
        "turning_rpm = 101\nend_after = 601\nbefore_start = 301\nlongest_run = 11\n";
    static const char *const told[] = {
        "boat: Boat: Tern's Reach",
        "engine 0: Thermostat",
        "engine 1: Engine: port",
        "engine1.thermostat is not set",
        "run: Recorded by: the technician",
        "input plotter: udp:10110",
        "transducer PORT COOLANT (type C, unit any): coolant_temperature of engine 1",
        "built-in transducer names do not count",
        "runs go to /srv/runs",
        "17 MiB",
        "4096 KiB",
        "21 s",
        "65 MiB",
        "journal of a run stays",
        "more than 6 s",
        "engine 0 number 1",
        "at /srv/ask",
        "the settings are sound"};
    static const char *const of_unattended[] = {"unattended: a run begins when an engine is faster "
                                                "than 101 rpm (turning_rpm), with what was "
                                                "heard in the 301 s before",
                                                "ends when none has been for 601 s",
                                                "after 11 h it goes on"};
    stage_write(stage_path("whole.ini"), whole, sizeof whole - 1);
    for (size_t i = 0; i < sizeof told / sizeof *told; i++)
        stage_expect_words(start_logger("--config", stage_path("whole.ini"), "--check-config"), 0,
                           told[i]);
    stage_expect_words(start_logger("--config", stage_path("whole.ini"), "--check-config"), 0,
                       "not unattended: one run begins at once");
    stage_expect_words(start_logger("--config", stage_path("whole.ini"), "--check-config"), 0,
                       "longest_run have no effect");
    for (size_t i = 0; i < sizeof of_unattended / sizeof *of_unattended; i++)
        stage_expect_words(
            start_logger("--config", stage_path("whole.ini"), "--check-config", "--unattended"), 0,
            of_unattended[i]);
    struct program never = start_logger("--check-config", "--unattended", "--output", "x.h5");
    stage_expect(never, 2);
    assert_non_null(strstr(stage_said(&never), "--output names one run"));
    assert_null(strstr(stage_said(&never), "the settings are sound"));
    stage_expect_words(start_logger("Status"), 2, "it takes mark, note, purpose, start, stop");
    stage_expect_words(start_logger("udp:10110"), 2, "did you mean --input udp:10110?");
    struct program second = start_logger("--check-config", "--set", "engine1.label=port");
    stage_expect(second, 0);
    assert_non_null(strstr(stage_said(&second), "engine1.thermostat is not set"));
    assert_null(strstr(stage_said(&second), "engine0.thermostat")); /* there is no such engine */
    stage_expect_words(start_logger("--check-config"), 0, "engine0.thermostat is not set");
}

/* Every option that --help lists stands in the manual page, and the other way round. */
static void test_manual_agrees(void **state)
{
    (void)state;
    static char page[100000], help[20000];
    struct program program = start_logger("--help");
    stage_expect(program, 0);
    snprintf(help, sizeof help, "%.*s", (int)sizeof help - 1, stage_said(&program));
    FILE *file = fopen("logger/searun-logger.1", "r");
    assert_non_null(file);
    size_t length = fread(page, 1, sizeof page - 1, file), to = 0;
    fclose(file);
    for (size_t from = 0; from < length; from++) /* "\-" is a hyphen */
        if (page[from] != '\\')
            page[to++] = page[from];
    page[to] = '\0';
    int options = 0;
    for (const char *at = help; (at = strstr(at, "\n  --")); at++) {
        char name[40], entry[64];
        assert_int_equal(sscanf(at + 5, "%39[a-z-]", name), 1);
        options++;
        snprintf(entry, sizeof entry, ".BI --%s ", name);
        if (strstr(page, entry))
            continue;
        snprintf(entry, sizeof entry, ".B --%s\n", name);
        if (!strstr(page, entry))
            fail_msg("the manual page lacks --%s", name);
    }
    assert_true(options >= 14);
    for (const char *at = page; (at = strstr(at, "\n.TP\n.B")); at++) {
        char name[40], entry[64];
        if (sscanf(at, "\n.TP\n.B%*[I] --%39[a-z-]", name) != 1 &&
            sscanf(at, "\n.TP\n.B --%39[a-z-]", name) != 1)
            continue;
        snprintf(entry, sizeof entry, "\n  --%s", name);
        if (!strstr(help, entry))
            fail_msg("--help lacks --%s", name);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_version_and_help),
        cmocka_unit_test(test_bad_usage),
        cmocka_unit_test(test_check_config),
        cmocka_unit_test(test_check_tells_what_settings_mean),
        cmocka_unit_test(test_manual_agrees),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
