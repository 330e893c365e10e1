/* random.h - seeded random numbers, the same on every machine. One stream a purpose, so that a
 * scenario with one more instrument keeps the weather it had. */
#ifndef SEARUN_SIMULATED_RANDOM_H
#define SEARUN_SIMULATED_RANDOM_H

#include <stdint.h>

struct random {
    uint64_t word;
};

/* Starts stream number `stream` of a seed. */
struct random random_start(uint64_t seed, uint64_t stream);

uint64_t random_word(struct random *random);                           /* 64 bits */
double random_uniform(struct random *random, double low, double high); /* low <= x < high */
double random_normal(struct random *random);                           /* mean 0, sd 1 */
double
random_student3(struct random *random); /* Student's t, 3 degrees of freedom, scaled to sd 1 */
double random_wait(struct random *random, double mean); /* exponential: time to the next event */

#endif
