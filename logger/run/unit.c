/* unit.c - the units as a table. */
#include "unit.h"

#include <assert.h>

struct unit_row {
    const char *udunits;
    struct shown {
        const char *symbol;
        double factor, offset; /* shown = stored * factor + offset */
    } shown[2];                /* by enum unit_system */
};

#define SAME(symbol)                                                                               \
    {                                                                                              \
        {symbol, 1.0, 0.0},                                                                        \
        {                                                                                          \
            symbol, 1.0, 0.0                                                                       \
        }                                                                                          \
    }
#define US(si_symbol, us_symbol, factor, offset)                                                   \
    {                                                                                              \
        {si_symbol, 1.0, 0.0},                                                                     \
        {                                                                                          \
            us_symbol, factor, offset                                                              \
        }                                                                                          \
    }
/* Boats go in knots in every country. */
#define KNOTS                                                                                      \
    {                                                                                              \
        "kn", 1.0 / METRE_PER_SECOND_PER_KNOT, 0.0                                                 \
    }

static const struct unit_row rows[UNIT_COUNT] = {
    [UNIT_ONE] = {"1", SAME("")},
    [UNIT_DEGC] = {"degC", US("°C", "°F", 1.8, 32.0)},
    [UNIT_KELVIN] = {"K", US("K", "°F", 1.8, 0.0)},
    [UNIT_KPA] = {"kPa", US("kPa", "psi", 1.0 / KPA_PER_PSI, 0.0)},
    [UNIT_RPM] = {"rpm", SAME("rpm")},
    [UNIT_PERCENT] = {"%", SAME("%")},
    [UNIT_METRE_PER_SECOND] = {"m/s", {KNOTS, KNOTS}},
    [UNIT_LITRE_PER_HOUR] = {"L/h", US("L/h", "US gal/h", 1.0 / LITRE_PER_US_GALLON, 0.0)},
    [UNIT_LITRE] = {"L", US("L", "US gal", 1.0 / LITRE_PER_US_GALLON, 0.0)},
    [UNIT_HOUR] = {"h", SAME("h")},
    [UNIT_VOLT] = {"V", SAME("V")},
    [UNIT_AMPERE] = {"A", SAME("A")},
    [UNIT_DEGREE] = {"degree", SAME("°")},
    [UNIT_DEGREE_NORTH] = {"degrees_north", SAME("°N")},
    [UNIT_DEGREE_EAST] = {"degrees_east", SAME("°E")},
    [UNIT_METRE] = {"m", US("m", "ft", 1.0 / METRE_PER_FOOT, 0.0)},
    [UNIT_NEWTON] = {"N", US("N", "lbf", 1.0 / NEWTON_PER_POUND_FORCE, 0.0)},
    [UNIT_HERTZ] = {"Hz", SAME("Hz")},
    [UNIT_GRAM_PER_KILOGRAM] = {"g/kg", SAME("g/kg")},
    [UNIT_SECOND] = {"s", SAME("s")},
};

static const struct unit_row *row_of(enum unit unit)
{
    assert((unsigned)unit < UNIT_COUNT);
    return &rows[unit];
}

static const struct shown *shown_in(enum unit unit, enum unit_system system)
{
    return &row_of(unit)->shown[system == UNITS_US];
}

const char *unit_udunits(enum unit unit)
{
    return row_of(unit)->udunits;
}

const char *unit_symbol(enum unit unit, enum unit_system system)
{
    return shown_in(unit, system)->symbol;
}

double unit_shown(double stored, enum unit unit, enum unit_system system)
{
    const struct shown *shown = shown_in(unit, system);
    return stored * shown->factor + shown->offset;
}
