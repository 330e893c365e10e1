/* guard.c - see guard.h. */
#include "guard.h"

#include <errno.h>
#include <signal.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

/* Whoever ends the one process ends both. */
static void follow_parent(pid_t parent)
{
    prctl(PR_SET_PDEATHSIG, SIGTERM);
    if (getppid() != parent) /* it has ended already */
        raise(SIGTERM);
}

static void explain(int number, struct complaint *complaint)
{
    if (number == SIGKILL)
        complain(
            complaint, STATUS_MEMORY,
            "killed by the system, as it does where memory runs out; name fewer runs at a time");
    else
        complain(
            complaint, STATUS_BAD_DATA,
            "crashed while reading (%s). A run file is damaged in a way that was not foreseen, or "
            "was made to do harm: find it with searun-analyze check on one file after the "
            "other, and use an undamaged copy",
            strsignal(number));
}

int guard_start(struct complaint *complaint)
{
    pid_t self = getpid(), child = fork(), ended;
    int status;
    if (child == 0)
        follow_parent(self);
    if (child <= 0)
        return GUARD_WORK;
    do {
        ended = waitpid(child, &status, 0);
    } while (ended < 0 && errno == EINTR);
    if (ended == child && WIFEXITED(status))
        return WEXITSTATUS(status);
    int number = ended == child ? WTERMSIG(status) : SIGKILL;
    explain(number, complaint);
    return -2 - number;
}
