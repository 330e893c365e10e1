/* compare.h - from runs to an answer. */
#ifndef SEARUN_COMPARE_H
#define SEARUN_COMPARE_H

#include "answer.h"
#include "run_read.h"
#include "status.h"

/* "--source sea_temperature=130312": take this source for a channel. The source may be a message
 * (130312, MTW), a talker or address (II, 35), a transducer name, another channel that measures the
 * same (raw_water_in), or any part of the words the choice is reported with. "hand" takes the sea
 * temperature that was typed in among the facts of a run before every sensor. */
struct source_wish {
    enum channel_id channel;
    char source[64];
};

#define SOURCE_WISHES 16
#define SOURCE_NOT_THERE "source_not_there" /* key of a warning; it begins "CHANNEL=SOURCE:" */

struct compare_options {
    size_t before_count, after_count;
    char **before, **after;                   /* paths */
    double reference_sea;                     /* degC; NaN: the mean of the runs */
    double thermostat_start, thermostat_full; /* degC; NaN: from the run files, else fitted */
    double thermostat_u;                      /* K; NaN: from the run files, else 1.0 */
    double day_load; /* relative standard uncertainty of K per run without load data; 0.02 */
    double
        sender_u; /* K, of a coolant sender changed between the runs; NaN: 1.0 where the facts or a
                        cold start say that it was changed. A number is used in every case. */
    double confidence_level; /* 0.95 */
    uint64_t seed;           /* of the Monte Carlo; 1 */
    int control_engine;      /* engine that was left alone; -1: none */
    bool as_given;           /* somebody vouches for boat, engine and order of the runs */
    const char *boat_file;   /* facts for what the run files do not hold; NULL: none */
    const char *service_log; /* the service history; NULL: none */
    bool service_log_found;  /* it was not named, but lies beside a run: a fault in it only warns */
    size_t wish_count;
    struct source_wish wishes[SOURCE_WISHES];
    bool wishes_may_fail; /* runs that have not got the source are no error, but warned of */
};

/* Defaults as above. */
void compare_options_default(struct compare_options *options);

/* Reads the runs and compares them. `answer` is filled as far as it went; answer_free in every
 * case. Runs without RPM or coolant in common are not an error: the finding says so. */
enum status compare_runs(const struct compare_options *options, struct answer *answer,
                         struct complaint *complaint);

#endif
