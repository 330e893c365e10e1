/* note_command.h - searun-analyze note: adds a remark, and says which steps after a service it
 * ticks. */
#ifndef SEARUN_NOTE_COMMAND_H
#define SEARUN_NOTE_COMMAND_H

#include "document.h"
#include "status.h"

/* `remark` is KEY=VALUE, or words that tick steps (checklist.h), which are kept as done=WORDS.
 * Fills `out` with what was ticked, nothing for other remarks. document_free in every case. As
 * note_add; also STATUS_BAD_USAGE for words that tick nothing. */
enum status note_run(const char *run, const char *remark, struct document *out,
                     struct complaint *complaint);

#endif
