/* shown.c - see shown.h. */
#include "shown.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>

static int decimals_of(const struct channel *channel)
{
    switch (channel->unit) {
    case UNIT_DEGREE_NORTH:
    case UNIT_DEGREE_EAST:
        return 4; /* some 10 m: as much as helps to see whether a fix can be right */
    case UNIT_RPM:
        return 0;
    case UNIT_VOLT:
        return 2;
    default:
        return channel->step >= 1 ? 0 : 1;
    }
}

/* West and south are words, not signs. */
static const char *shown_position(double stored, const char *hemispheres, int decimals, char *to,
                                  size_t room)
{
    snprintf(to, room, "%.*f\xC2\xB0 %c", decimals, fabs(stored), hemispheres[stored < 0]);
    return to;
}

const char *shown_value(enum channel_id id, double stored, char *to, size_t room)
{
    const struct channel *channel = channel_get(id);
    const char *symbol = unit_symbol(channel->unit, UNITS_SI);
    int decimals = decimals_of(channel);
    double value = unit_shown(stored, channel->unit, UNITS_SI);
    if (fabs(value) < 0.5 * pow(10, -decimals))
        value = 0; /* not -0 */
    if (channel->unit == UNIT_DEGREE_NORTH)
        return shown_position(value, "NS", decimals, to, room);
    if (channel->unit == UNIT_DEGREE_EAST)
        return shown_position(value, "EW", decimals, to, room);
    snprintf(to, room, "%.*f%s%s", decimals, value, *symbol ? " " : "", symbol);
    return to;
}
