/* random.c - SplitMix64 (Steele, Lea, Flood: Fast splittable pseudorandom number generators, OOPSLA
 * 2014): 64 bits of state, passes the usual batteries, and any seed is a good seed. */
#include "random.h"

#include <math.h>

#define GOLDEN UINT64_C(0x9e3779b97f4a7c15)

static uint64_t mix(uint64_t word)
{
    word = (word ^ (word >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    word = (word ^ (word >> 27)) * UINT64_C(0x94d049bb133111eb);
    return word ^ (word >> 31);
}

struct random random_start(uint64_t seed, uint64_t stream)
{
    return (struct random){mix(mix(seed) + GOLDEN * (stream + 1))};
}

uint64_t random_word(struct random *random)
{
    random->word += GOLDEN;
    return mix(random->word);
}

double random_uniform(struct random *random, double low, double high)
{
    return low + (high - low) * (double)(random_word(random) >> 11) * 0x1p-53;
}

double random_normal(struct random *random)
{
    /* Box and Muller 1958; the second number is thrown away so that a stream has no hidden
     * state. */
    const double radius = sqrt(-2.0 * log(1.0 - random_uniform(random, 0.0, 1.0)));
    return radius * cos(2.0 * M_PI * random_uniform(random, 0.0, 1.0));
}

double random_student3(struct random *random)
{
    const double top = random_normal(random);
    double square = 0.0;
    for (int i = 0; i < 3; i++) {
        const double z = random_normal(random);
        square += z * z;
    }
    return top / sqrt(square); /* t / sqrt(3), whose variance is 1 */
}

double random_wait(struct random *random, double mean)
{
    return -mean * log(1.0 - random_uniform(random, 0.0, 1.0));
}
