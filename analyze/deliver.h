/* deliver.h - what a comparison leaves: charts, report, result and holds in the output folder, the
 * report or its summary as text, the result as JSON. */
#ifndef SEARUN_DELIVER_H
#define SEARUN_DELIVER_H

#include <stdio.h>

#include "answer.h"
#include "options.h"
#include "status.h"
#include "text.h"

struct delivery {
    const struct compare_request *request;
    const struct answer *answer;
    bool colour;    /* in `printed` */
    FILE *progress; /* told while charts are drawn; NULL: nobody */
};

/* Writes all files asked for. `printed` gets what belongs on standard output; `note` words about what
 * could not be done but does not make it a failure (a missing gnuplot), "" if there are none. */
enum status deliver(const struct delivery *delivery, struct text *printed, struct complaint *note,
                    struct complaint *complaint);

#endif
