/* test_logger_serial.c - searun-logger on a serial port (cable.h). */
#include "cable.h"

/* --- tests */

/* Settings, reading only, and not a byte sent. */
static void test_port(void **state)
{
    (void)state;
    struct termios settings;
    char byte;
    if (!prepare())
        skip();
    struct cable cable = plug_in();
    struct program logger =
        start_on_port("--input", "serial:/dev/ttyS0,38400", "--output", stage_path("port.h5"));
    stage_until_said(&logger, ": open");
    assert_int_equal(tcgetattr(cable.slave, &settings), 0);
    assert_int_equal(cfgetispeed(&settings), B38400);
    assert_int_equal(settings.c_cflag & (CSIZE | PARENB | CSTOPB | CRTSCTS), CS8);
    assert_int_equal(settings.c_iflag & (IXON | IXOFF), 0);
    assert_int_equal(flags_of_port(&logger) & O_ACCMODE, O_RDONLY);
    for (int i = 0; i < 20; i++)
        put_engine(&cable, i);
    stage_until_said(&logger, "heard: engine 0, Coolant temperature");
    for (int i = 0; i < 20; i++)
        stage_nap();
    assert_int_equal(read(cable.master, &byte, 1), -1);
    assert_int_equal(errno, EAGAIN);
    stage_stop(logger, SIGINT, 0);
    assert_int_equal(read(cable.master, &byte, 1), -1);
    pull_out(&cable);
    struct run *run = stage_open_run(stage_path("port.h5"));
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 20);
    run_close(run);
}

/* A link names the same port, whatever its adapter is called today. */
static void test_link(void **state)
{
    (void)state;
    char input[600];
    if (!prepare())
        skip();
    struct cable cable = plug_in();
    assert_int_equal(symlink(port, stage_path("adapter")), 0);
    snprintf(input, sizeof input, "engine=serial:%s,4800", stage_path("adapter"));
    struct program logger = start_on_port("--input", input, "--output", stage_path("link.h5"));
    stage_until_said(&logger, ": open");
    put_engine(&cable, 1);
    stage_until_said(&logger, "heard: engine 0, Coolant temperature");
    stage_stop(logger, SIGINT, 0);
    pull_out(&cable);
}

/* Pulled out in the middle of a line and plugged in again, three times. */
static void test_unplugged(void **state)
{
    (void)state;
    if (!prepare())
        skip();
    struct cable cable = plug_in();
    struct program logger =
        start_on_port("--input", "serial:/dev/ttyS0,4800", "--output", stage_path("unplugged.h5"),
                      "--set", "logger.reopen_longest=0.5");
    stage_until_said(&logger, ": open");
    for (int round = 1; round <= 3; round++) {
        put_engine(&cable, round);
        put(&cable, "$IIMTW,1", 8);
        for (int i = 0; i < 20; i++)
            stage_nap();
        pull_out(&cable);
        stage_until_said(&logger, "unplugged");
        cable = plug_in();
        for (int i = 0; i < 300 && flags_of_port(&logger) < 0; i++)
            stage_nap();
    }
    put_engine(&cable, 9);
    for (int i = 0; i < 30; i++)
        stage_nap();
    stage_stop(logger, SIGINT, 0);
    pull_out(&cable);
    struct run *run = stage_open_run(stage_path("unplugged.h5"));
    const struct run_gap *gaps;
    size_t count;
    assert_int_equal(run_gaps(run, &gaps, &count, NULL), STATUS_OK);
    assert_int_equal(count, 3);
    assert_int_equal(stage_tally(run, 0, REASON_REOPENED), 3);
    assert_int_equal(stage_tally(run, 0, REASON_NO_CHECKSUM), 3); /* the lines cut short */
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 4);
    run_close(run);
}

/* Not there at the start: waited for; what is there but is no port says so. */
static void test_appears_later(void **state)
{
    (void)state;
    if (!prepare())
        skip();
    assert_int_equal(mount("/dev/null", port, NULL, MS_BIND, NULL), 0);
    struct program logger =
        start_on_port("--input", "serial:/dev/ttyS0", "--input", "serial:/dev/ttyUSB77", "--input",
                      "serial:/dev/full", "--output", stage_path("later.h5"), "--set",
                      "logger.reopen_longest=0.5");
    stage_until_said(&logger, "cannot be opened");
    stage_until_said(&logger, "is the adapter plugged in?");
    stage_until_said(&logger, "it is there, but is no serial port of this computer");
    assert_int_equal(umount2(port, MNT_DETACH), 0);
    struct cable cable = plug_in();
    stage_until_said(&logger, "open, after");
    put_engine(&cable, 1);
    stage_until_said(&logger, "heard: engine 0, Engine speed");
    stage_stop(logger, SIGINT, 0);
    pull_out(&cable);
    struct run *run = stage_open_run(stage_path("later.h5"));
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 1);
    run_close(run);
}

/* Bytes as a wrong baud rate makes them: told, counted, kept. */
static void test_wrong_rate(void **state)
{
    (void)state;
    char noise[2000];
    if (!prepare())
        skip();
    for (size_t i = 0; i < sizeof noise; i++)
        noise[i] = (char)(0x80 | i * 37);
    struct cable cable = plug_in();
    struct program logger =
        start_on_port("--input", "serial:/dev/ttyS0,4800", "--output", stage_path("rate.h5"));
    stage_until_said(&logger, ": open");
    put(&cable, noise, sizeof noise);
    stage_until_said(&logger, "the baud rate is probably another one");
    stage_stop(logger, SIGINT, 0);
    pull_out(&cable);
    struct run *run = stage_open_run(stage_path("rate.h5"));
    assert_int_equal(stage_tally(run, 0, REASON_NOISE_BYTES), sizeof noise);
    run_close(run);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_port),       cmocka_unit_test(test_link),
        cmocka_unit_test(test_unplugged),  cmocka_unit_test(test_appears_later),
        cmocka_unit_test(test_wrong_rate),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
