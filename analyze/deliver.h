/* deliver.h - what a comparison leaves: charts, report, result and holds in the output folder, the
 * report or its summary as text, the result as JSON. */
#ifndef SEARUN_DELIVER_H
#define SEARUN_DELIVER_H

#include <stdio.h>

#include "chart.h"
#include "document.h"
#include "report.h"
#include "status.h"
#include "text.h"

/* A table beside the report. */
struct delivery_table {
    const char *name; /* of the file */
    void (*make)(struct text *out, const void *subject);
};

/* What differs between kinds of reports. */
struct delivery_kind {
    enum status (*json)(const void *subject, const char *command, struct text *out,
                        struct complaint *complaint);
    enum status (*plan)(const void *subject, const struct style *style, struct drawing_list *out,
                        struct complaint *complaint);
    /* The input has extent, style, drawings and command set. */
    enum status (*build)(const void *subject, struct report_input *input, struct document *out,
                         struct complaint *complaint);
    const struct delivery_table *tables;
    size_t table_count;
    const char *leaves; /* the last line of what was printed: the files beside the report */
};
extern const struct delivery_kind delivery_of_comparison, delivery_of_seasons;

/* How somebody wants it. */
struct handing {
    struct style style;
    enum paper paper;          /* of the PDF */
    const char *output, *json; /* NULL: not asked for */
    bool quiet;
};

struct delivery {
    const struct delivery_kind *kind;
    const void *subject; /* struct answer, struct seasons */
    const struct handing *handing;
    const char *command; /* that gives the same numbers again */
    bool colour;         /* in `printed` */
    FILE *progress;      /* told while charts are drawn; NULL: nobody */
};

/* Writes all files asked for. `printed` gets what belongs on standard output; `note` words about
 * what could not be done but does not make it a failure (a missing gnuplot), "" if there are
 * none. */
enum status deliver(const struct delivery *delivery, struct text *printed, struct complaint *note,
                    struct complaint *complaint);

#endif
