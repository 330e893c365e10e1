/* cable.h - a serial port for tests that can be unplugged: a pseudo-terminal under a real name.
 *
 * libserialport 0.1.1 opens only what the system lists as a port, so the pseudo-terminal is bound
 * over one in a mount name space of this test alone, and shim_modem.so answers for the modem lines
 * it lacks.
 */
#ifndef CABLE_H
#define CABLE_H

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

#endif
