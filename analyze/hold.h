/* hold.h - finds the stretches of steady running of one engine in one run. Pure.
 *
 * A hold is a stretch in which the running median of speed stays within a band of +- max(25 rpm,
 * 1.5 %, 0.75 steps of the tachometer) for at least 150 s. Short excursions (20 s) and short
 * silences (60 s) do not end it. Boundaries: it starts with the first second inside the band and
 * ends with the last one. The first 40 % (300 s at most) settle and are not used; of what is left,
 * 90 s at least, come all means and the straight line through the coolant temperature. Numbers:
 * rules.h.
 */
#ifndef SEARUN_HOLD_H
#define SEARUN_HOLD_H

#include "answer.h"
#include "series.h"
#include "status.h"

/* One engine of one run on an even grid, a cell a second from run start. NaN: no reading. A column
 * that was not recorded is NaN throughout. */
struct columns {
    size_t count;
    double *rpm, *coolant, *sea, *load, *fuel_rate, *air, *gear, *boat_speed;
    unsigned char *frozen; /* FROZEN_... bits: stretches in which a sender stood still */
};
#define COLUMN_STEP 1.0 /* s, width of a cell */
#define FROZEN_RPM 1u
#define FROZEN_COOLANT 2u

/* Allocates all columns for that many cells, all NaN. Free with columns_free in every case. */
enum status columns_make(struct columns *columns, size_t count);
void columns_free(struct columns *columns);

struct hold_conditions {
    double rpm_step;         /* step of the tachometer, 0 if fine */
    double full_rpm;         /* rated speed, or the highest seen; NaN unknown */
    double thermostat_start; /* degC, NaN unknown */
    double thermostat_u;     /* K */
    const double *marks;     /* s since run start, rising; set by hand during the run */
    size_t mark_count;
};

/* Finds the holds and the refused stretches of at least 60 s, in the order of time. `run`, `side`,
 * band_rpm, open_rise and open_fraction are left for others (the last three NaN). Free *out. */
enum status hold_find(const struct columns *columns, const struct hold_conditions *conditions,
                      struct hold **out, size_t *count);

/* From when on the engine is warm, s; INFINITY if it never is. */
double hold_warm_from(const struct columns *columns, const struct hold_conditions *conditions);

#endif
