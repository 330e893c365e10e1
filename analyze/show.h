/* show.h - `searun-analyze show`: what is in a run file, as a document. */
#ifndef SEARUN_SHOW_H
#define SEARUN_SHOW_H

#include "document.h"
#include "options.h"
#include "status.h"

/* Free the document in every case. Any status of run_open, or STATUS_MEMORY. */
enum status show_run(const struct show_request *request, struct document *out,
                     struct complaint *complaint);

#endif
