/* run_verify.h - reading a run back before it gets its name. */
#ifndef SEARUN_RUN_VERIFY_H
#define SEARUN_RUN_VERIFY_H

#include <stddef.h>
#include <stdint.h>

#include "status.h"

/* What was written; the file must hold as much. */
struct run_counts {
    size_t streams;
    uint64_t rows; /* instants of all streams */
    uint64_t raw;  /* raw messages */
    uint64_t events, gaps, utcs;
};

/* Reads the whole file with all checksums and compares the counts. STATUS_BAD_DATA with words. */
enum status run_verify(const char *part, const struct run_counts *expected,
                       struct complaint *complaint);

#endif
