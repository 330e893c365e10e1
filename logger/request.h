/* request.h - what can be asked of a logger that is at work: the words of one request. Pure.
 *
 * A request is one line of text: the name, and what belongs behind it.
 *
 *   mark throttle to 2000        keeps an event in the run
 *   note sea_state=slight        a fact of the run, as in section [run] of the configuration
 *   purpose before service       the same as note purpose=before service
 *   start                        begins a run now
 *   stop                         ends the run
 *   status                       how it goes, as text; "status json" for programs
 */
#ifndef SEARUN_REQUEST_H
#define SEARUN_REQUEST_H

#include <stdbool.h>
#include <stddef.h>

#include "status.h"

#define REQUEST_LINE_MAX 1024 /* bytes of a request, without its line end */
#define REQUEST_TEXT_MAX 200  /* bytes of a text that people give: it becomes an event */

enum request_kind {
    REQUEST_MARK,
    REQUEST_NOTE,
    REQUEST_PURPOSE,
    REQUEST_START,
    REQUEST_STOP,
    REQUEST_STATUS,
    REQUEST_KIND_COUNT
};

struct request {
    enum request_kind kind;
    bool json;                       /* STATUS */
    const char *key;                 /* NOTE, PURPOSE: of the fact; static */
    char text[REQUEST_TEXT_MAX + 1]; /* MARK: words; NOTE, PURPOSE: the value; UTF-8 */
};

/* One row a kind, for the parser, the command line and its help. */
struct request_row {
    const char *name, *argument, *help;
};
extern const struct request_row request_rows[REQUEST_KIND_COUNT];

/* The kind of that name, or REQUEST_KIND_COUNT. */
enum request_kind request_find(const char *name, size_t length);

/* Reads one line without its line end. STATUS_BAD_USAGE says what is wrong and what is allowed.
 * Texts are UTF-8 without control characters and without characters that turn the direction of
 * writing. */
enum status request_parse(const char *line, size_t length, struct request *out,
                          struct complaint *complaint);

#endif
