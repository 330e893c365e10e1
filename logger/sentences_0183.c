/* sentences_0183.c - the tables of the sentences that searun decodes.
 *
 * Sources of the field orders: the public guide to NMEA 0183 of the gpsd project, and the field
 * lists of two open parsers (python3-nmea2 1.15.0, nmea-simple 3.3.0), which agree unless a table
 * says otherwise. A field that is drawn and not listed is not stored.
 */
#include "sentences_0183.h"

#include <string.h>

#include "unit.h"

/* --- letters ---------------------------------------------------------------------------------- */

static const struct unit_letter plain[] = {{'\0', 1, 0}, {0}};
static const struct unit_letter degrees_true[] = {{'T', 1, 0}, {0}};
static const struct unit_letter degrees_magnetic[] = {{'M', 1, 0}, {0}};
static const struct unit_letter knots[] = {{'N', METRE_PER_SECOND_PER_KNOT, 0}, {0}};
static const struct unit_letter knots_unsaid[] = {{'\0', METRE_PER_SECOND_PER_KNOT, 0}, {0}};
static const struct unit_letter km_per_hour[] = {{'K', 1 / 3.6, 0}, {0}};
static const struct unit_letter metres[] = {{'M', 1, 0}, {0}};
/* International foot 0.3048 m, fathom 6 ft, nautical mile 1852 m: NIST SP 811, exact. */
static const struct unit_letter feet[] = {{'f', 0.3048, 0}, {0}};
static const struct unit_letter fathoms[] = {{'F', 6 * 0.3048, 0}, {0}};
static const struct unit_letter nautical_miles[] = {{'N', 1852, 0}, {0}};
static const struct unit_letter north_south[] = {{'N', 1, 0}, {'S', -1, 0}, {0}};
static const struct unit_letter east_west[] = {{'E', 1, 0}, {'W', -1, 0}, {0}};
/* The standard knows C only. A talker that says F or K means it. */
static const struct unit_letter temperatures[] = {
    {'C', 1, 0}, {'F', 1 / 1.8, -32 / 1.8}, {'K', 1, -KELVIN_AT_0_DEGC}, {0}};

/* --- engine ----------------------------------------------------------------------------------- */

/*  $--RPM,a,x,x.x,x.x,A*hh
 *         | | |   |   status: A valid, V not
 *         | | |   propeller pitch, % of maximum, astern negative
 *         | | speed, 1/min, counter-clockwise negative
 *         | number of the engine or shaft (see decode.h, rpm_first_engine)
 *         source: E engine, S shaft
 */
static const struct field_row rpm[] = {
    {CHANNEL_ENGINE_SPEED, FORM_NUMBER, 3, 0, .units = plain, .choice = 'E'},
    {CHANNEL_SHAFT_SPEED, FORM_NUMBER, 3, 0, .units = plain, .choice = 'S'},
    {CHANNEL_PROPELLER_PITCH, FORM_NUMBER, 4, 0, .units = plain},
};

/* --- water
 * ------------------------------------------------------------------------------------- */

/*  $--MTW,x.x,C*hh                water temperature */
static const struct field_row mtw[] = {
    {CHANNEL_SEA_TEMPERATURE, FORM_NUMBER, 1, 2, .units = temperatures},
};

/*  $--VHW,x.x,T,x.x,M,x.x,N,x.x,K*hh
 *         |     |     |     speed through the water, km/h
 *         |     |     speed through the water, knots
 *         |     heading, magnetic
 *         heading, true
 */
static const struct field_row vhw[] = {
    {CHANNEL_HEADING_TRUE, FORM_NUMBER, 1, 2, .units = degrees_true},
    {CHANNEL_HEADING_MAGNETIC, FORM_NUMBER, 3, 4, .units = degrees_magnetic},
    {CHANNEL_SPEED_THROUGH_WATER, FORM_NUMBER, 5, 6, .units = knots},
    {CHANNEL_SPEED_THROUGH_WATER, FORM_NUMBER, 7, 8, .units = km_per_hour, .otherwise = true},
};

/*  $--VLW,x.x,N,x.x,N,x.x,N,x.x,N*hh
 *         |     |     |     distance over ground since reset (version 4 on)
 *         |     |     distance over ground, total (version 4 on)
 *         |     distance through the water since reset
 *         distance through the water, total
 */
static const struct field_row vlw[] = {
    {CHANNEL_DISTANCE_TOTAL, FORM_NUMBER, 1, 2, .units = nautical_miles},
    {CHANNEL_DISTANCE_TRIP, FORM_NUMBER, 3, 4, .units = nautical_miles},
    {CHANNEL_GROUND_DISTANCE_TOTAL, FORM_NUMBER, 5, 6, .units = nautical_miles, .optional = true},
    {CHANNEL_GROUND_DISTANCE_TRIP, FORM_NUMBER, 7, 8, .units = nautical_miles, .optional = true},
};

/*  $--DBT,x.x,f,x.x,M,x.x,F*hh    depth below the transducer in feet, metres, fathoms */
static const struct field_row dbt[] = {
    {CHANNEL_DEPTH, FORM_NUMBER, 3, 4, .units = metres},
    {CHANNEL_DEPTH, FORM_NUMBER, 1, 2, .units = feet, .otherwise = true},
    {CHANNEL_DEPTH, FORM_NUMBER, 5, 6, .units = fathoms, .otherwise = true},
};

/*  $--DPT,x.x,x.x,x.x*hh
 *         |   |   maximum range scale in use (version 3 on)
 *         |   offset of the transducer, m: to the waterline positive, to the keel negative
 *         depth below the transducer, m
 */
static const struct field_row dpt[] = {
    {CHANNEL_DEPTH, FORM_NUMBER, 1, 0, .units = plain},
    {CHANNEL_DEPTH_OFFSET, FORM_NUMBER, 2, 0, .units = plain},
};

/* --- heading ---------------------------------------------------------------------------------- */

/*  $--HDG,x.x,x.x,a,x.x,a*hh
 *         |   |     variation, E or W
 *         |   deviation, E or W
 *         reading of the magnetic sensor, not corrected for the deviation
 */
static const struct field_row hdg[] = {
    {CHANNEL_HEADING_MAGNETIC, FORM_NUMBER, 1, 0, .units = plain},
    {CHANNEL_MAGNETIC_DEVIATION, FORM_MAGNITUDE, 2, 3, .units = east_west},
    {CHANNEL_MAGNETIC_VARIATION, FORM_MAGNITUDE, 4, 5, .units = east_west},
};

/*  $--HDT,x.x,T*hh                heading, true */
static const struct field_row hdt[] = {
    {CHANNEL_HEADING_TRUE, FORM_NUMBER, 1, 2, .units = degrees_true},
};

/* --- satellite navigation --------------------------------------------------------------------- */

/*  $--RMC,hhmmss.ss,A,ddmm.mm,a,dddmm.mm,a,x.x,x.x,ddmmyy,x.x,a,m,s*hh
 *         |         | |         |          |   |   |      |     | status at sea (from version 4.1)
 *         |         | |         |          |   |   |      |     mode, N not valid (version 2.3 on)
 *         |         | |         |          |   |   |      magnetic variation, E or W
 *         |         | |         |          |   |   date
 *         |         | |         |          |   course over ground, true
 *         |         | |         |          speed over ground, knots
 *         |         | latitude, N or S; longitude, E or W
 *         |         status: A valid, V warning
 *         UTC
 */
static const struct field_row rmc[] = {
    {CHANNEL_LATITUDE, FORM_POSITION, 3, 4, .units = north_south},
    {CHANNEL_LONGITUDE, FORM_POSITION, 5, 6, .units = east_west},
    {CHANNEL_SPEED_OVER_GROUND, FORM_NUMBER, 7, 0, .units = knots_unsaid},
    {CHANNEL_COURSE_OVER_GROUND, FORM_NUMBER, 8, 0, .units = plain},
    {CHANNEL_MAGNETIC_VARIATION, FORM_MAGNITUDE, 10, 11, .units = east_west},
};

/*  $--VTG,x.x,T,x.x,M,x.x,N,x.x,K,m*hh
 *         |     |     |     |     mode, N not valid (version 2.3 on)
 *         |     |     |     speed over ground, km/h
 *         |     |     speed over ground, knots
 *         |     course over ground, magnetic
 *         course over ground, true
 */
static const struct field_row vtg[] = {
    {CHANNEL_COURSE_OVER_GROUND, FORM_NUMBER, 1, 2, .units = degrees_true},
    {CHANNEL_COURSE_MAGNETIC, FORM_NUMBER, 3, 4, .units = degrees_magnetic},
    {CHANNEL_SPEED_OVER_GROUND, FORM_NUMBER, 5, 6, .units = knots},
    {CHANNEL_SPEED_OVER_GROUND, FORM_NUMBER, 7, 8, .units = km_per_hour, .otherwise = true},
};

/*  $--GGA,hhmmss.ss,ddmm.mm,a,dddmm.mm,a,x,xx,x.x,x.x,M,x.x,M,x.x,xxxx*hh
 *         |         |         |          | |  |   |     |     age of differential data, station
 *         |         |         |          | |  |   |     geoid separation, m
 *         |         |         |          | |  |   altitude above mean sea level, m
 *         |         |         |          | |  horizontal dilution of precision
 *         |         |         |          | satellites in use
 *         |         |         |          quality: 0 none, 1 GNSS, 2 differential, 3 PPS,
 *         |         |         |          4 and 5 RTK, 6 estimated, 7 put in by hand, 8 simulator
 *         |         latitude, N or S; longitude, E or W
 *         UTC, without a date
 *
 * A position put in by hand or by a simulator is no measurement. Satellites and quality are stored
 * without a fix too: they say why there is none.
 */
static const struct field_row gga[] = {
    {CHANNEL_LATITUDE, FORM_POSITION, 2, 3, .units = north_south},
    {CHANNEL_LONGITUDE, FORM_POSITION, 4, 5, .units = east_west},
    {CHANNEL_GNSS_QUALITY, FORM_NUMBER, 6, 0, .units = plain, .always = true},
    {CHANNEL_GNSS_SATELLITES, FORM_NUMBER, 7, 0, .units = plain, .always = true},
    {CHANNEL_GNSS_HDOP, FORM_NUMBER, 8, 0, .units = plain},
    {CHANNEL_ALTITUDE, FORM_NUMBER, 9, 10, .units = metres},
};

/*  $--ZDA,hhmmss.ss,dd,mm,yyyy,xx,xx*hh
 *         |         |  |  |    local zone, hours and minutes: not needed
 *         |         day, month, year
 *         UTC
 */

#define LIST(rows) .fields = rows, .count = sizeof rows / sizeof rows[0]

/* clang-format off */
const struct sentence_row sentence_rows[] = {
    {"RPM", "Revolutions", PLACE_ENGINE, LIST(rpm), .select = 1, .choices = "ES", .instance = 2,
     .status = 5, .status_good = "A"},
    {"XDR", "Transducer measurements", PLACE_VESSEL, .groups = true},
    {"MTW", "Water temperature", PLACE_VESSEL, LIST(mtw)},
    {"RMC", "Recommended minimum navigation data", PLACE_VESSEL, LIST(rmc), .time = 1, .date = 9,
     .status = 2, .status_good = "A", .mode = 12, .mode_bad = "NMS"},
    {"VTG", "Course and speed over ground", PLACE_VESSEL, LIST(vtg), .mode = 9, .mode_bad = "NMS"},
    {"GGA", "Position fix", PLACE_VESSEL, LIST(gga), .time = 1, .status = 6,
     .status_good = "123456"},
    {"ZDA", "Time and date", PLACE_VESSEL, .time = 1, .day = 2},
    {"VHW", "Heading and speed through the water", PLACE_VESSEL, LIST(vhw)},
    {"DBT", "Depth below the transducer", PLACE_VESSEL, LIST(dbt)},
    {"DPT", "Depth and offset", PLACE_VESSEL, LIST(dpt)},
    {"HDG", "Heading, deviation and variation", PLACE_VESSEL, LIST(hdg)},
    {"HDT", "Heading, true", PLACE_VESSEL, LIST(hdt)},
    {"VLW", "Distance travelled", PLACE_VESSEL, LIST(vlw)},
};
/* clang-format on */
const size_t sentence_row_count = sizeof sentence_rows / sizeof sentence_rows[0];

const struct sentence_row *sentence_row_find(const char *formatter)
{
    for (size_t i = 0; i < sentence_row_count; i++)
        if (memcmp(sentence_rows[i].formatter, formatter, 3) == 0)
            return &sentence_rows[i];
    return NULL;
}
