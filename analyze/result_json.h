/* result_json.h - the answer for programs. The keys are described in searun-analyze(1), RESULT;
 * they stay, and new ones may join. */
#ifndef SEARUN_RESULT_JSON_H
#define SEARUN_RESULT_JSON_H

#include "answer.h"
#include "status.h"
#include "text.h"

#define RESULT_FORMAT "searun comparison 1"

/* Everything is in the units of UNITS SI: degC, K, rpm, s, L/h, %; a number that is not known is
 * null. `command` gives the same numbers again. STATUS_MEMORY. */
enum status result_json(const struct answer *answer, const char *command, struct text *out,
                        struct complaint *complaint);

#endif
