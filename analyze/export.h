/* export.h - `searun-analyze export`: a run as CSV, or its raw messages as a capture. */
#ifndef SEARUN_EXPORT_H
#define SEARUN_EXPORT_H

#include <stdio.h>

#include "options.h"
#include "run_read.h"
#include "status.h"

/* CSV (RFC 4180): a row an instant, a column a channel of a source with its UDUNITS unit in the
 * header, times in ISO 8601 and in seconds since run start. STATUS_NOT_FOUND if none of the
 * channels asked for is in the run; the caller looks for write errors of `out`. */
enum status export_csv(struct run *run, const struct export_request *request, FILE *out,
                       struct complaint *complaint);

/* The raw messages as searun-logger captures them (capture_text.h), with the gaps between them; the
 * very text of the sheet or table that a run was made of, where it was made of one. */
enum status export_raw(struct run *run, FILE *out, struct complaint *complaint);

#endif
