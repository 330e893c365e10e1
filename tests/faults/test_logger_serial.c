/* test_logger_serial.c - searun-logger on a serial port that is a pseudo-terminal under a real name.
 *
 * libserialport 0.1.1 opens only what the system lists as a port, so the pseudo-terminal is bound over
 * one in a mount name space of this test alone, and shim_modem.so answers for the modem lines it lacks.
 */
#include <sched.h>
#include <sys/mount.h>
#include <termios.h>

#include "../whole/stage.h"

static struct stage_text text;
static const char *const port = "/dev/ttyS0";
static char environment[600];

/* --- a cable that can be pulled */

struct cable {
    int master, slave; /* slave: kept open to look at the settings; not used to read */
};

static struct cable plug_in(void)
{
    struct cable cable;
    char name[64];
    cable.master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    assert_true(cable.master >= 0);
    assert_int_equal(grantpt(cable.master), 0);
    assert_int_equal(unlockpt(cable.master), 0);
    assert_int_equal(ptsname_r(cable.master, name, sizeof name), 0);
    cable.slave = open(name, O_RDONLY | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    assert_int_equal(mount(name, port, NULL, MS_BIND, NULL), 0);
    return cable;
}

static void pull_out(struct cable *cable)
{
    close(cable->slave);
    close(cable->master);
    assert_int_equal(umount2(port, MNT_DETACH), 0);
}

static void put(const struct cable *cable, const char *bytes, size_t length)
{
    for (size_t at = 0; at < length; stage_nap()) {
        ssize_t count = write(cable->master, bytes + at, length - at);
        if (count > 0)
            at += (size_t)count;
        else
            assert_int_equal(errno, EAGAIN);
    }
}

static void put_engine(const struct cable *cable, int number)
{
    text.length = 0;
    stage_add_sentence(&text, "IIRPM,E,0,%d.0,,A", 1000 + number);
    stage_add_sentence(&text, "IIXDR,C,%.1f,C,ENGINE#0", 60 + number / 10.0);
    put(cable, text.bytes, text.length);
}

/* --- the stage */

static bool prepare(void)
{
    static bool apart;
    const char *logger = stage_program("SEARUN_LOGGER"), *slash = strrchr(logger, '/');
    char shim[500], real[4096];
    snprintf(shim, sizeof shim, "%.*s/tests/faults/shim_modem.so",
             slash ? (int)(slash - logger) : 1, slash ? logger : ".");
    if (!realpath(shim, real)) {
        print_message("skipped: %s is not built\n", shim);
        return false;
    }
    snprintf(environment, sizeof environment, "LD_PRELOAD=%.500s", real);
    /* The sanitizers ask to come first; the shim is no allocator and may. */
    setenv("ASAN_OPTIONS", "verify_asan_link_order=0", 1);
    if (!stage_exists(port) || !stage_exists("/sys/class/tty/ttyS0")) {
        print_message("skipped: this machine has no %s to bind a pseudo-terminal over\n", port);
        return false;
    }
    if (apart)
        return true;
    if (unshare(CLONE_NEWNS) != 0 || mount(NULL, "/", NULL, MS_REC | MS_PRIVATE, NULL) != 0) {
        print_message("skipped: no mount name space here (%s)\n", strerror(errno));
        return false;
    }
    return apart = true;
}

#define start_on_port(...)                                                                         \
    stage_start_with(environment, stage_program("SEARUN_LOGGER"), LOGGER_ARGUMENTS(__VA_ARGS__))

/* The flags that the program has the port open with; -1 if it has not. */
static long flags_of_port(const struct program *program)
{
    long flags = -1;
    for (int fd = 3; fd < 64 && flags < 0; fd++) {
        char path[64], target[64], line[200];
        snprintf(path, sizeof path, "/proc/%d/fd/%d", program->pid, fd);
        ssize_t length = readlink(path, target, sizeof target - 1);
        target[length < 0 ? 0 : length] = '\0';
        if (strcmp(target, port) != 0 && strncmp(target, "/dev/pts/", 9) != 0)
            continue;
        snprintf(path, sizeof path, "/proc/%d/fdinfo/%d", program->pid, fd);
        FILE *file = fopen(path, "r");
        while (file && fgets(line, sizeof line, file))
            sscanf(line, "flags: %lo", (unsigned long *)&flags);
        if (file)
            fclose(file);
    }
    return flags;
}

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
        start_on_port("--input", "serial:/dev/ttyS0", "--input", "serial:/dev/ttyUSB77", "--output",
                      stage_path("later.h5"), "--set", "logger.reopen_longest=0.5");
    stage_until_said(&logger, "cannot be opened");
    stage_until_said(&logger, "is the adapter plugged in?");
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
