/* hand_run.h - makes the run file of a sheet by the very code of searun-logger, for score_analyzer.
 * For programs that link the logger. */
#ifndef SEARUN_SIMULATED_HAND_RUN_H
#define SEARUN_SIMULATED_HAND_RUN_H

#include "../../logger/tabled.h"

static inline enum status hand_run_make(const char *sheet, const char *run,
                                        struct complaint *complaint)
{
    const struct voice nobody = {.fd = -1, .least = SAY_ERROR};
    const struct table_order order = {.sheet = sheet, .output = run};
    struct config config;
    config_init(&config);
    enum status status = tables_record(&config, &order, &nobody);
    config_free(&config);
    return status == STATUS_OK ? status
                               : complain(complaint, status, "no run could be made of %s", sheet);
}

#endif
