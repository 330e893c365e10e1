/* outing.h - what one run says of each engine's cooling, in few numbers: all that the view over the
 * seasons needs of a run. Plain structs, so that they can be kept and read back (outing_json.c).
 *
 * Without wishes an outing depends on the bytes of the run file alone: no option and no other run
 * changes it. Any ordinary trip will do; holds are taken wherever they occur.
 */
#ifndef SEARUN_OUTING_H
#define SEARUN_OUTING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "answer.h"
#include "compare.h"
#include "facts.h"
#include "status.h"
#include "text.h"

#define OUTING_VERSION 5 /* rises whenever the same file would give other numbers or members */

/* One engine in one run. */
struct outing_engine {
    int instance;
    double hours;     /* engine hours at the end of the run, h; NaN if not recorded */
    double top_speed; /* rpm, 99 % quantile; NaN */
    double speed_step;
    double coolant_step; /* K, step of the coolant sender; 0 if finer than its noise */
    bool by_hand;        /* each coolant reading was taken by somebody (struct accuracy) */
    double coolant_u,
        coolant_run_u; /* K: fresh in every reading, and anew every run; 0 if not stated */
    double coolant_instrument_u; /* K: the same in every run with that instrument; 0 */
    char coolant_instrument[64]; /* which one, in words; "" if not said */
    char coolant_other[44];      /* another one read by hand that was not used; "" */
    double speed_u;              /* rpm, of a tachometer read by hand; 0 */
    double lag, lag_u;           /* s, time constant of the stored heat (lag.h) */
    size_t lag_steps;            /* 0: nothing in the run told it, the usual one was taken */
    double sea_drift;            /* K over the run, of the sensor used; NaN */
    bool sea_by_hand;            /* typed in among the facts, no sensor */
    bool sea_follows_engine;
    double cold_offset; /* K, coolant sender above the rest of the cold engine; NaN */
    bool cold_by_oil;   /* ... which was its oil; else the sea */
    char speed_source[160], coolant_source[160],
        sea_source[160]; /* in words; "" if there is none */
    size_t hold_count;
    struct hold *holds; /* owned; used and refused ones, in the order of time. run is 0, side
                           SIDE_BEFORE, band_rpm the run's own, open_rise and open_fraction NaN */
};

/* A remark on the quality of a run; the same as the warnings of a comparison. */
struct outing_warning {
    char key[48];
    int engine; /* -1: all */
    char text[WARNING_MAX];
};

struct outing {
    char path[4096];
    char name[256]; /* file name without folder */
    char sha256[65];
    char run_id[64];
    char software[64];
    char clock[24]; /* where its date comes from: clock_source_key */
    int64_t start_unix_us;
    double duration; /* s */
    bool closed_cleanly, rebuilt;
    size_t gap_count;
    double gap_seconds;
    uint64_t lost;             /* messages */
    double sea_low, sea_high;  /* degC over the used holds of all engines; NaN without */
    double sea_mean, air_mean; /* degC over the run; NaN */
    struct facts facts;        /* all of them */
    size_t engine_count;
    struct outing_engine *engines; /* owned, rising in instance */
    size_t warning_count;
    struct outing_warning *warnings; /* owned */
};

/* Reads one run. outing_free in every case. STATUS_NOT_FOUND, STATUS_BAD_DATA, STATUS_IO,
 * STATUS_MEMORY. A run without engine speed or coolant temperature is no error: it has no holds. */
enum status outing_read(const char *path, struct outing *out, struct complaint *complaint);

/* What the user wants otherwise than a run by itself would give; all zero: nothing. */
struct outing_wishes {
    const char *boat_file; /* facts for what the run does not hold; NULL */
    size_t count;
    const struct source_wish *list; /* sources to take; of a run that has not got one, its own */
};

/* The same where the SHA-256 of the file is known already (NULL: it is taken), and with wishes
 * (NULL: none). What comes of wishes depends on more than the file: it must not be kept. */
enum status outing_read_as(const char *path, const char *sha256, const struct outing_wishes *wishes,
                           struct outing *out, struct complaint *complaint);

/* Frees what it owns and clears it. A zeroed outing may be freed. */
void outing_free(struct outing *outing);

/* The engine with that number, or NULL. */
const struct outing_engine *outing_engine_of(const struct outing *outing, int instance);

/* --- outing_json.c */

/* Appends the outing as JSON text (one object); numbers come back to the last bit.
 * STATUS_MEMORY. */
enum status outing_write_json(const struct outing *outing, struct text *out,
                              struct complaint *complaint);

/* Reads it back, but for `path` and `name`, which are left empty: a file may have moved.
 * STATUS_BAD_DATA for anything that outing_write_json of this OUTING_VERSION has not written;
 * STATUS_MEMORY. outing_free in every case. */
enum status outing_read_json(const char *json, size_t length, struct outing *out,
                             struct complaint *complaint);

#endif
