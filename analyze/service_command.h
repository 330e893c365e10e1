/* service_command.h - searun-analyze service: tells the service history of a boat, and adds to
 * it. */
#ifndef SEARUN_SERVICE_COMMAND_H
#define SEARUN_SERVICE_COMMAND_H

#include "document.h"
#include "options.h"
#include "status.h"

/* Adds a line for each piece of work, or tells the log if none is given: fills `out`, which is
 * document_free'd in every case. Nothing is added if one of them cannot be meant; an engine that no
 * run beside the log has is told after its line was added. STATUS_BAD_USAGE, STATUS_NOT_FOUND,
 * STATUS_BAD_DATA (the log or its place); STATUS_IO, STATUS_FULL (writing); STATUS_MEMORY. */
enum status service_run(const struct service_request *request, struct document *out,
                        struct complaint *complaint);

#endif
