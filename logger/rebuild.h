/* rebuild.h - makes a run file from a journal that was cut off, by decoding its messages again. */
#ifndef SEARUN_REBUILD_H
#define SEARUN_REBUILD_H

#include <stdbool.h>
#include <stdint.h>

#include "say.h"
#include "status.h"

struct rebuild_order {
    const char *journal;
    const char *output;       /* run file; NULL: the one that the journal belongs to */
    bool keep;                /* the journal, when the run file is finished */
    bool sweep;               /* part of rebuild_folder */
    const _Atomic bool *stop; /* NULL, or: leave it for another time as soon as this is true */
};

/* Says what it does. With an output of the caller's the journal stays as it is, else it is treated
 * as that of any finished run; one with altered blocks is always kept. STATUS_OK if the run file
 * is there; STATUS_EXISTS if another program has the journal, or the run file is there already. */
enum status rebuild_run(const struct rebuild_order *order, const struct voice *voice);

/* Does so with every journal in the folder that was cut off and that no other program has, as long
 * as more than `reserve` bytes stay free. Journals of runs whose file is there go; those that no
 * run file can be made of are renamed to .journal.damaged, and what there is of their run file to
 * .h5.part.damaged. */
void rebuild_folder(const char *folder, bool keep, uint64_t reserve, const _Atomic bool *stop,
                    const struct voice *voice);

#endif
