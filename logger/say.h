/* say.h - the one way in which the logger speaks to people. */
#ifndef SEARUN_SAY_H
#define SEARUN_SAY_H

#include <stdatomic.h>
#include <stdbool.h>

enum say_level {
    SAY_ERROR,   /* the run ends or does not begin */
    SAY_WARNING, /* something is missing or lost, recording goes on */
    SAY_NOTE     /* how it goes */
};

/* Where words go. */
struct voice {
    int fd;
    enum say_level least; /* less important words are not said */
    bool levels; /* a log listens, not a person: levels as in sd-daemon(3), "<4>", no name */
    /* Not NULL: whoever speaks has no time to wait for a terminal that was stopped (Ctrl-S), or for
     * a log that nobody reads. What finds no room is counted here; how much is said later. */
    atomic_uint *unsaid;
};

/* Whether the descriptor leads to the system's journal, as JOURNAL_STREAM says
 * (systemd.exec(5)). */
bool say_is_journal(int fd);

/* One message, one line, one write. "error:" and "warning:" are put in front by level. */
void say(const struct voice *voice, enum say_level level, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
