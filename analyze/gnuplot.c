/* gnuplot.c - starts gnuplot, listens to it, and ends it when it takes too long. */
#include "gnuplot.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/timerfd.h>
#include <sys/wait.h>
#include <unistd.h>

extern char **environ;

#define WORDS_MAX 600 /* of gnuplot's complaint */

struct child {
    pid_t pid;
    int heard; /* its standard output and error */
    char words[WORDS_MAX];
    size_t length;
};

/* Runs in `folder` with nothing to read and both outputs into `out`, in a process group of its
 * own. */
static int prepare(posix_spawn_file_actions_t *actions, posix_spawnattr_t *attributes,
                   const char *folder, int out)
{
    int error = posix_spawn_file_actions_addchdir_np(actions, folder);
    if (error == 0)
        error = posix_spawn_file_actions_addopen(actions, 0, "/dev/null", O_RDONLY, 0);
    if (error == 0)
        error = posix_spawn_file_actions_adddup2(actions, out, 1);
    if (error == 0)
        error = posix_spawn_file_actions_adddup2(actions, out, 2);
    if (error == 0)
        error = posix_spawnattr_setpgroup(attributes, 0);
    if (error == 0)
        error = posix_spawnattr_setflags(attributes, POSIX_SPAWN_SETPGROUP);
    return error;
}

/* Our environment, but in a UTF-8 locale whatever the user's is: in the plain C locale gnuplot
 * cannot read the degree sign of its own scripts. NULL without memory; free what comes back. */
static char **make_environment(void)
{
    size_t count = 0, kept = 0;
    while (environ[count])
        count++;
    char **list = malloc((count + 2) * sizeof *list);
    if (!list)
        return NULL;
    for (size_t i = 0; i < count; i++)
        if (strncmp(environ[i], "LC_ALL=", 7) != 0)
            list[kept++] = environ[i];
    list[kept++] = "LC_ALL=C.UTF-8";
    list[kept] = NULL;
    return list;
}

static int spawn(const char *folder, const char *script, int out, pid_t *pid)
{
    char **environment = make_environment();
    if (!environment)
        return ENOMEM;
    posix_spawn_file_actions_t actions;
    posix_spawnattr_t attributes;
    int error = posix_spawn_file_actions_init(&actions);
    if (error != 0) {
        free(environment);
        return error;
    }
    error = posix_spawnattr_init(&attributes);
    if (error == 0) {
        char *arguments[] = {"gnuplot", "-d", (char *)script, NULL};
        error = prepare(&actions, &attributes, folder, out);
        if (error == 0)
            error = posix_spawnp(pid, "gnuplot", &actions, &attributes, arguments, environment);
        posix_spawnattr_destroy(&attributes);
    }
    posix_spawn_file_actions_destroy(&actions);
    free(environment);
    return error;
}

/* Reads what is there; the first words are kept, the rest is dropped. False at the end. */
static bool hear(struct child *child)
{
    char bytes[512];
    ssize_t got = read(child->heard, bytes, sizeof bytes);
    if (got <= 0)
        return got < 0 && (errno == EINTR || errno == EAGAIN);
    size_t room = sizeof child->words - 1 - child->length;
    size_t keep = (size_t)got < room ? (size_t)got : room;
    memcpy(child->words + child->length, bytes, keep);
    child->length += keep;
    return true;
}

/* True once gnuplot closed its outputs, false when the timer ran out first. */
static bool listen_until(struct child *child, int timer)
{
    struct pollfd wait[2] = {{.fd = child->heard, .events = POLLIN},
                             {.fd = timer, .events = POLLIN}};
    for (;;) {
        if (poll(wait, 2, -1) < 0 && errno != EINTR)
            return false;
        if (wait[1].revents != 0)
            return false;
        if (wait[0].revents != 0 && !hear(child))
            return true;
    }
}

static int timer_of(unsigned seconds)
{
    int timer = timerfd_create(CLOCK_MONOTONIC, TFD_CLOEXEC);
    struct itimerspec when = {.it_value = {.tv_sec = seconds}};
    if (timer >= 0 && timerfd_settime(timer, 0, &when, NULL) != 0) {
        close(timer);
        return -1;
    }
    return timer;
}

/* Its words in one line, for a complaint. */
static void tidy(struct child *child)
{
    size_t to = 0;
    for (size_t from = 0; from < child->length; from++) {
        unsigned char byte = (unsigned char)child->words[from];
        bool blank = byte <= ' ' || byte == 0x7F;
        if (!blank)
            child->words[to++] = (char)byte;
        else if (to > 0 && child->words[to - 1] != ' ')
            child->words[to++] = ' ';
    }
    child->words[to] = '\0';
}

static enum status judge(const struct child *child, bool in_time, int state, const char *script,
                         unsigned seconds, struct complaint *complaint)
{
    if (!in_time)
        return complain(complaint, STATUS_NO_TOOL,
                        "gnuplot was stopped: it took more than %u s over %s. %s", seconds, script,
                        child->words);
    if (!WIFEXITED(state))
        return complain(complaint, STATUS_NO_TOOL, "gnuplot died on %s (signal %d). %s", script,
                        WIFSIGNALED(state) ? WTERMSIG(state) : 0, child->words);
    if (WEXITSTATUS(state) == 127 && child->length == 0)
        return complain(complaint, STATUS_NO_TOOL,
                        "gnuplot could not be started; on Debian it is in the package gnuplot-nox");
    if (WEXITSTATUS(state) != 0)
        return complain(complaint, STATUS_NO_TOOL, "gnuplot failed on %s (exit code %d): %s",
                        script, WEXITSTATUS(state), child->words);
    if (child->length > 0)
        complain(complaint, STATUS_OK, "gnuplot said about %s: %s", script, child->words);
    return STATUS_OK;
}

static enum status attend(struct child *child, const char *script, unsigned seconds,
                          struct complaint *complaint)
{
    int timer = timer_of(seconds);
    bool in_time = timer >= 0 && listen_until(child, timer);
    if (!in_time)
        kill(-child->pid, SIGKILL);
    if (timer >= 0)
        close(timer);
    int state = 0;
    while (waitpid(child->pid, &state, 0) < 0 && errno == EINTR)
        continue;
    tidy(child);
    return judge(child, in_time, state, script, seconds, complaint);
}

enum status gnuplot_run(const char *folder, const char *script, unsigned seconds,
                        struct complaint *complaint)
{
    int ends[2];
    complain(complaint, STATUS_OK, "%s", "");
    if (pipe2(ends, O_CLOEXEC) != 0)
        return complain(complaint, STATUS_IO, "cannot make a pipe for gnuplot: %s",
                        strerror(errno));
    struct child child = {.heard = ends[0]};
    int error = spawn(folder, script, ends[1], &child.pid);
    close(ends[1]);
    enum status status;
    if (error == ENOENT)
        status = complain(complaint, STATUS_NO_TOOL,
                          "gnuplot is not installed; on Debian: apt-get install gnuplot-nox");
    else if (error != 0)
        status = complain(complaint, STATUS_IO, "cannot start gnuplot in %s: %s", folder,
                          strerror(error));
    else
        status = attend(&child, script, seconds, complaint);
    close(ends[0]);
    return status;
}
