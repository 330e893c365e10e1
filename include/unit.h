/* unit.h - the units readings are kept in, one per quantity, and the conversions into them.
 *
 * Stored units are the ones people read. Shown units (degF, psi, knots, US gallons) are a matter of
 * display only, and differences of temperature (K) convert without the 32.
 */
#ifndef SEARUN_UNIT_H
#define SEARUN_UNIT_H

enum unit {
    UNIT_ONE,
    UNIT_DEGC,
    UNIT_KELVIN, /* a difference of temperatures */
    UNIT_KPA,
    UNIT_RPM,
    UNIT_PERCENT,
    UNIT_METRE_PER_SECOND,
    UNIT_LITRE_PER_HOUR,
    UNIT_LITRE,
    UNIT_HOUR,
    UNIT_VOLT,
    UNIT_AMPERE,
    UNIT_DEGREE,
    UNIT_DEGREE_NORTH,
    UNIT_DEGREE_EAST,
    UNIT_METRE,
    UNIT_NEWTON,
    UNIT_HERTZ,
    UNIT_GRAM_PER_KILOGRAM,
    UNIT_SECOND,
    UNIT_COUNT
};

/* Which family of units to show numbers in. */
enum unit_system { UNITS_SI, UNITS_US };

/* The UDUNITS string of a unit, as written into run files. Never NULL. */
const char *unit_udunits(enum unit unit);

/* The symbol to show to people in that system, in UTF-8 ("°C", "°F", "K", "kPa", "psi"). Never
 * NULL. Speeds of the boat are shown in knots in both systems. */
const char *unit_symbol(enum unit unit, enum unit_system system);

/* A stored value as it is shown in that system. UNIT_KELVIN is a difference: 1 K is 1.8 °F. */
double unit_shown(double stored, enum unit unit, enum unit_system system);

/* Exact conversions (definitions: SI brochure; NIST SP 811 for the foot, gallon, pound-force
 * and psi). */
#define KELVIN_AT_0_DEGC 273.15
#define KPA_PER_PSI 6.894757293168361
#define METRE_PER_SECOND_PER_KNOT (1852.0 / 3600.0)
#define LITRE_PER_US_GALLON 3.785411784
#define METRE_PER_FOOT 0.3048
#define NEWTON_PER_POUND_FORCE 4.4482216152605

#endif
