/* lift.h - the heat balance of the jacket water, and its solution for the reading.
 *
 *     phi(T) * (T - S) + lag * dT/dt = K
 * T coolant degC, S sea degC, K the open rise in K: the rise above the sea that the coolant would
 * have with the thermostat wide open. Pure; nothing here fails: a reading outside the sense of the
 * balance gives the nearest sensible number, because a Monte Carlo passes through such corners.
 */
#ifndef SEARUN_LIFT_H
#define SEARUN_LIFT_H

/* Heat through the exchanger, over that wide open, by temperature: nothing below `start`, all above
 * `full`, and a straight line between, bent by `bow` and `wave`. */
struct thermostat {
    double start, full; /* degC; full is above start */
    double bow;         /* open fraction added halfway, -0.4 to 0.4, 0 for a straight line */
    double wave;        /* open fraction added in the upper and taken in the lower half (S shape) */
};

#define LIFT_OPEN_MIN 0.005 /* least open fraction the balance is worked with */

/* Open fraction at a coolant temperature, 0 .. 1. */
double lift_open_fraction(const struct thermostat *thermostat, double coolant);

/* d(open fraction)/dT, 1/K. */
double lift_open_slope(const struct thermostat *thermostat, double coolant);

/* The open rise, K, from a reading. `slope` is dT/dt in K/s, `lag` in s. At least 0.05 K. */
double lift_open_rise(const struct thermostat *thermostat, double coolant, double sea, double slope,
                      double lag);

/* The steady reading, degC, at a sea temperature: the solution of the balance. */
double lift_reading(const struct thermostat *thermostat, double open_rise, double sea);

/* dT/d(ln K) of the steady reading, K: small while the thermostat controls, T - S when open. */
double lift_gain(const struct thermostat *thermostat, double coolant, double sea);

/* dT/dS of the steady reading: 1 when open, a few hundredths while the thermostat controls. */
double lift_sea_share(const struct thermostat *thermostat, double coolant, double sea);

#endif
