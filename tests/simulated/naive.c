/* naive.c - see naive.h. */
#include "naive.h"

#include <math.h>

void naive_add(struct naive_sum *sum, double coolant)
{
    const double off = coolant - sum->mean;
    sum->count++;
    sum->mean += off / sum->count;
    sum->squares += off * (coolant - sum->mean);
}

bool naive_in_band(double rpm, double wanted)
{
    return fabs(rpm - wanted) <= fmax(25.0, 0.015 * wanted);
}

bool naive_interval(const struct naive_sum *before, const struct naive_sum *after, double *low,
                    double *high)
{
    if (before->count < 60 || after->count < 60)
        return false;
    const double variance = before->squares / (before->count - 1) / before->count +
                            after->squares / (after->count - 1) / after->count;
    const double half = 1.95996398 * sqrt(variance);
    *low = after->mean - before->mean - half;
    *high = after->mean - before->mean + half;
    return true;
}
