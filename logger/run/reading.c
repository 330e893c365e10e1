/* reading.c - the words for protocols and places. */
#include "reading.h"

#include <assert.h>

const char *protocol_title(enum protocol protocol)
{
    static const char *const titles[PROTOCOL_COUNT] = {
        [PROTOCOL_NMEA0183] = "NMEA 0183",
        [PROTOCOL_NMEA2000] = "NMEA 2000",
        [PROTOCOL_J1939] = "J1939",
        [PROTOCOL_SHEET] = "sheet",
    };
    assert((unsigned)protocol < PROTOCOL_COUNT);
    return titles[protocol];
}

const char *place_key(enum place place)
{
    static const char *const keys[PLACE_COUNT] = {
        [PLACE_VESSEL] = "vessel",
        [PLACE_ENGINE] = "engine",
        [PLACE_TANK] = "tank",
        [PLACE_BATTERY] = "battery",
    };
    assert((unsigned)place < PLACE_COUNT);
    return keys[place];
}
