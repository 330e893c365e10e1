/* band.h - puts holds of both sides into bands of like speed. Pure.
 *
 * Complete linkage: the two nearest groups join first, as long as all their holds lie within
 * max(80 rpm, 4 %). So ladders with steps of 100 rpm and more keep their steps apart. The nominal
 * speed is the mean of the sides' means, rounded to 100 or 50 rpm where that is near, else to 10.
 */
#ifndef SEARUN_BAND_H
#define SEARUN_BAND_H

#include "answer.h"
#include "status.h"

/* Sets band_rpm of every hold that is used (refusal REFUSAL_NONE); bands of one side only included.
 * STATUS_MEMORY. */
enum status band_assign(struct hold *holds, size_t count);

#endif
