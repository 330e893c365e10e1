/* say.h - the one way in which the logger speaks to people. */
#ifndef SEARUN_SAY_H
#define SEARUN_SAY_H

enum say_level {
    SAY_ERROR,   /* the run ends or does not begin */
    SAY_WARNING, /* something is missing or lost, recording goes on */
    SAY_NOTE     /* how it goes */
};

/* Where words go. */
struct voice {
    int fd;
    enum say_level least; /* less important words are not said */
};

/* One message, one line, one write. "error:" and "warning:" are put in front by level. */
void say(const struct voice *voice, enum say_level level, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
