/* lift.c - see lift.h. */
#include "lift.h"

#include <math.h>

#define RISE_MIN 0.05     /* K; keeps logarithms finite */
#define WAVE_PEAK 10.3923 /* 6 sqrt(3): makes x (1 - x) (2x - 1) peak at 1 */
#define SOLVE_STEPS 40    /* bisection alone reaches 1e-9 K within it */

static double clamp(double value, double low, double high)
{
    return fmin(fmax(value, low), high);
}

/* Where in the span the reading lies: 0 start, 1 full. */
static double span_share(const struct thermostat *thermostat, double coolant)
{
    return (coolant - thermostat->start) / (thermostat->full - thermostat->start);
}

/* The hyperbola x (1 + c) / (x + c) through 0, 1/2 + bow and 1: what a valve does that shares out
 * the flow of coolant before an exchanger with resistances in series. c as 1/c, so that 0 is a
 * line. */
static double hyperbola(double bow)
{
    return 4 * bow / (1 - 2 * bow);
}

double lift_open_fraction(const struct thermostat *thermostat, double coolant)
{
    double x = clamp(span_share(thermostat, coolant), 0, 1);
    double h = hyperbola(thermostat->bow);
    double wave = WAVE_PEAK * thermostat->wave * x * (1 - x) * (2 * x - 1);
    return clamp(x * (1 + h) / (1 + h * x) + wave, 0, 1);
}

double lift_open_slope(const struct thermostat *thermostat, double coolant)
{
    double x = span_share(thermostat, coolant);
    if (x < 0 || x >= 1)
        return 0;
    double h = hyperbola(thermostat->bow);
    double wave = WAVE_PEAK * thermostat->wave * (6 * x - 6 * x * x - 1);
    double steep = (1 + h) / ((1 + h * x) * (1 + h * x)) + wave;
    return fmax(steep, 0) / (thermostat->full - thermostat->start);
}

double lift_open_rise(const struct thermostat *thermostat, double coolant, double sea, double slope,
                      double lag)
{
    double open = fmax(lift_open_fraction(thermostat, coolant), LIFT_OPEN_MIN);
    return fmax(open * (coolant - sea) + lag * slope, RISE_MIN);
}

/* The balance without stored heat, less the rise it should give. Rises with the reading. */
static double surplus(const struct thermostat *thermostat, double coolant, double sea, double rise)
{
    double open = fmax(lift_open_fraction(thermostat, coolant), LIFT_OPEN_MIN);
    return open * (coolant - sea) - rise;
}

/* Newton's step from `at`, or the middle of the bracket where the step leaves it. */
static double next_guess(const struct thermostat *thermostat, double at, double value, double sea,
                         double low, double high)
{
    double steep =
        lift_open_fraction(thermostat, at) + (at - sea) * lift_open_slope(thermostat, at);
    double guess = steep > 0 ? at - value / steep : low;
    return guess > low && guess < high ? guess : 0.5 * (low + high);
}

double lift_reading(const struct thermostat *thermostat, double open_rise, double sea)
{
    if (sea + open_rise >= thermostat->full || sea >= thermostat->full)
        return sea + open_rise;
    double low = fmax(thermostat->start, sea);
    double high = thermostat->full;
    if (surplus(thermostat, low, sea, open_rise) >= 0)
        return low;
    double at = 0.5 * (low + high);
    for (int i = 0; i < SOLVE_STEPS; i++) {
        double value = surplus(thermostat, at, sea, open_rise);
        *(value > 0 ? &high : &low) = at;
        double guess = next_guess(thermostat, at, value, sea, low, high);
        if (fabs(guess - at) < 1e-9)
            return guess;
        at = guess;
    }
    return at;
}

double lift_gain(const struct thermostat *thermostat, double coolant, double sea)
{
    double open = fmax(lift_open_fraction(thermostat, coolant), LIFT_OPEN_MIN);
    double rise = fmax(coolant - sea, RISE_MIN);
    return open * rise / (open + rise * lift_open_slope(thermostat, coolant));
}

double lift_sea_share(const struct thermostat *thermostat, double coolant, double sea)
{
    double open = fmax(lift_open_fraction(thermostat, coolant), LIFT_OPEN_MIN);
    double rise = fmax(coolant - sea, RISE_MIN);
    return open / (open + rise * lift_open_slope(thermostat, coolant));
}
