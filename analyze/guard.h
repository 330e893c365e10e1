/* guard.h - a process of its own for what reads run files: the library that reads them can be
 * crashed by a file that was made to do so, and that must become words and an exit status. */
#ifndef SEARUN_GUARD_H
#define SEARUN_GUARD_H

#include "status.h"

#define GUARD_WORK (-1)

/* Splits the program in two. Answers GUARD_WORK to the one that is to do the work (also if the
 * system gives no second process), and to the other, when the first has ended, its exit status; -2
 * - signal, with words, if it did not end by itself. To be called before anything is printed or
 * read. */
int guard_start(struct complaint *complaint);

#endif
