/* near.h - compares numbers with a tolerance in double precision, and says what they were. */
#ifndef SEARUN_TEST_NEAR_H
#define SEARUN_TEST_NEAR_H

#include <math.h>

#define assert_near(value, expected, tolerance)                                                    \
    near_check(value, expected, tolerance, __FILE__, __LINE__)

static inline void near_check(double value, double expected, double tolerance, const char *file,
                              int line)
{
    if (fabs(value - expected) <= tolerance)
        return;
    print_error("%.9g should be within %.3g of %.9g\n", value, tolerance, expected);
    _fail(file, line);
}

#endif
