/* messages_n2k.c - the NMEA 2000 messages that searun decodes.
 *
 * Source of all layouts, resolutions and enumerations: the open PGN database canboat (schema 2.3.0,
 * version 6.2.0), facts only. Numbers in the drawings are bytes; low bytes come first. "SID" is a
 * counter that ties messages of one measurement together; we do not need it.
 */
#include "decode_can.h"
#include "messages_can.h"

#define KELVIN_0_DEGC (-273.15)
#define DEGREE_PER_RADIAN (180.0 / 3.14159265358979323846)
#define HOUR_PER_SECOND (1.0 / 3600.0)
#define KPA_PER_HPA 0.1

#define BITS(first_, bits_) .first = first_, .bits = bits_, .codes = N2K_CODES(bits_)
#define INSTANCE(first_, bits_)                                                                    \
    {                                                                                              \
        .role = CAN_INSTANCE, BITS(first_, bits_)                                                  \
    }
#define NUMBER(group_, channel_, first_, bits_, flags_, scale_, offset_)                           \
    {                                                                                              \
        .role = CAN_VALUE, .group = group_, .channel = CHANNEL_##channel_, BITS(first_, bits_),    \
        .flags = flags_, .scale = scale_, .offset = offset_                                        \
    }
#define UNSIGNED(channel, first, bits, scale, offset)                                              \
    NUMBER(0, channel, first, bits, 0, scale, offset)
#define SIGNED(channel, first, bits, scale, offset)                                                \
    NUMBER(0, channel, first, bits, CAN_SIGNED, scale, offset)
/* Signed, and seen in practice with all ones for "not available". */
#define SIGNED_OR_ONES(channel, first, bits, scale, offset)                                        \
    NUMBER(0, channel, first, bits, CAN_SIGNED | CAN_ONES_MISSING, scale, offset)
#define CODED(role_, group_, channel_, first_, bits_, choices_)                                    \
    {                                                                                              \
        .role = role_, .group = group_, .channel = CHANNEL_##channel_, BITS(first_, bits_),        \
        .choices = choices_                                                                        \
    }
#define SELECT(group, first, bits, choices) CODED(CAN_SELECT, group, COUNT, first, bits, choices)
/* A status word of 16 bits has no code for "not available" but all ones. */
#define STATUS(channel_, slot_, first_, bits_, status_)                                            \
    {                                                                                              \
        .role = CAN_STATUS, .channel = CHANNEL_##channel_, .slot = slot_, .first = first_,         \
        .bits = bits_, .flags = CAN_ONES_MISSING, .status = &(status_)                             \
    }
#define DATE(group_, first_)                                                                       \
    {                                                                                              \
        .role = CAN_DATE, .group = group_, BITS(first_, 16)                                        \
    }
#define TIME(first_)                                                                               \
    {                                                                                              \
        .role = CAN_TIME, BITS(first_, 32)                                                         \
    }
#define TEXT(role_, first_, bits_, title_)                                                         \
    {                                                                                              \
        .role = role_, .first = first_, .bits = bits_, .title = title_                             \
    }

/* A code of a CAN_SELECT field: values of that channel, at that place, under that label. COUNT: the
 * fields have channels of their own. */
#define PICK(code_, channel_, place_, label_)                                                      \
    {                                                                                              \
        .code = code_, .channel = CHANNEL_##channel_, .place = PLACE_##place_, .label = label_     \
    }
/* A code of a CAN_CODE field and its value; of a CAN_VALID field, just the code. */
#define STANDS_FOR(code_, value_)                                                                  \
    {                                                                                              \
        .code = code_, .value = value_                                                             \
    }
#define OTHER_CODES_RESERVED                                                                       \
    {                                                                                              \
        .code = CHOICE_END                                                                         \
    }

/* clang-format off */

/* --- 126992 System Time
 *      0       1       2   3     4   5   6   7
 *    +-----+---------+-------+----------------+
 *    | SID |src| res |  date |      time      |      src: 4 bits, what clock it comes from
 *    +-----+---------+-------+----------------+
 */
static const struct can_choice clocks[] = {
    PICK(0, COUNT, VESSEL, "GPS"),
    PICK(1, COUNT, VESSEL, "GLONASS"),
    PICK(2, COUNT, VESSEL, "radio"),
    PICK(3, COUNT, VESSEL, "caesium clock"),
    PICK(4, COUNT, VESSEL, "rubidium clock"),
    PICK(5, COUNT, VESSEL, CAN_OWN_CLOCK),
    PICK(CHOICE_OTHER, COUNT, VESSEL, "clock"),
};
static const struct can_field fields_126992[] = {
    SELECT(1, 8, 4, clocks),
    DATE(1, 16),
    TIME(32),
};

/* --- 126996 Product Information (fast packet, 134 bytes)
 *      0   1     2   3     4 ... 35   36 ... 67   68 ... 99   100 ... 131   132     133
 *    +---------+---------+----------+-----------+-----------+-------------+-------+------+
 *    | version | product |  model   | software  |  model    |   serial    | cert. | load |
 *    | of N2K  |  code   |          | version   |  version  |   number    | level |      |
 *    +---------+---------+----------+-----------+-----------+-------------+-------+------+
 */
static const struct can_field fields_126996[] = {
    TEXT(CAN_TEXT, 32, 256, "model"),
    TEXT(CAN_TEXT, 544, 256, "version"),
    TEXT(CAN_TEXT, 288, 256, "software"),
    TEXT(CAN_TEXT, 800, 256, "serial number"),
};

/* --- 127245 Rudder
 *      0          1          2   3     4   5     6   7
 *    +----------+-----------+---------+---------+----------+
 *    | instance |order| res |  order  |position | reserved |
 *    +----------+-----------+---------+---------+----------+
 * Starboard is positive: the database has no sign rule, this is common practice, no source.
 */
static const struct can_field fields_127245[] = {
    INSTANCE(0, 8),
    SIGNED(RUDDER_ANGLE, 32, 16, 1e-4 * DEGREE_PER_RADIAN, 0),
};

/* --- 127250 Vessel Heading
 *      0     1   2     3   4       5   6       7
 *    +-----+---------+-----------+-----------+-----------+
 *    | SID | heading | deviation | variation | ref | res |     ref: 2 bits
 *    +-----+---------+-----------+-----------+-----------+
 */
static const struct can_choice headings[] = {
    PICK(0, HEADING_TRUE, VESSEL, ""),
    PICK(1, HEADING_MAGNETIC, VESSEL, ""),
    OTHER_CODES_RESERVED, /* 2 is "error" */
};
static const struct can_field fields_127250[] = {
    SELECT(1, 56, 2, headings),
    NUMBER(1, COUNT, 8, 16, 0, 1e-4 * DEGREE_PER_RADIAN, 0),
    SIGNED(MAGNETIC_DEVIATION, 24, 16, 1e-4 * DEGREE_PER_RADIAN, 0),
    SIGNED(MAGNETIC_VARIATION, 40, 16, 1e-4 * DEGREE_PER_RADIAN, 0),
};

/* --- 127488 Engine Parameters, Rapid Update
 *      0          1   2     3   4     5      6   7
 *    +----------+-------+---------+--------+----------+
 *    | instance | speed |  boost  |  trim  | reserved |      seen without the reserved bytes, too
 *    +----------+-------+---------+--------+----------+
 */
static const struct can_field fields_127488[] = {
    INSTANCE(0, 8),
    UNSIGNED(ENGINE_SPEED, 8, 16, 0.25, 0),
    UNSIGNED(BOOST_PRESSURE, 24, 16, KPA_PER_HPA, 0),
    SIGNED_OR_ONES(DRIVE_TRIM, 40, 8, 1, 0),
};

/* --- 127489 Engine Parameters, Dynamic (fast packet, 26 bytes)
 *      0          1   2     3   4     5   6     7   8        9  10      11 12 13 14
 *    +----------+---------+---------+---------+------------+-----------+-------------+
 *    | instance |   oil   |   oil   | coolant | alternator |   fuel    |   engine    |
 *    |          | press.  |  temp.  |  temp.  |  voltage   |   rate    |   seconds   |
 *    +----------+---------+---------+---------+------------+-----------+-------------+
 *     15  16     17  18     19         20  21     22  23     24     25
 *    +---------+---------+----------+----------+----------+------+--------+
 *    | coolant |  fuel   | reserved | status 1 | status 2 | load | torque |
 *    | press.  |  press. |          |          |          |      |        |
 *    +---------+---------+----------+----------+----------+------+--------+
 * Seen cut short at the end. Bits 8 to 15 of status 2 have no name in the database.
 */
static const struct can_status engine_status_1 = {1, 16, {
    {"check_engine", "Check engine"},
    {"over_temperature", "Over temperature"},
    {"low_oil_pressure", "Low oil pressure"},
    {"low_oil_level", "Low oil level"},
    {"low_fuel_pressure", "Low fuel pressure"},
    {"low_system_voltage", "Low system voltage"},
    {"low_coolant_level", "Low coolant level"},
    {"water_flow", "Water flow"},
    {"water_in_fuel", "Water in fuel"},
    {"charge_indicator", "Charge indicator"},
    {"preheat_indicator", "Preheat indicator"},
    {"high_boost_pressure", "High boost pressure"},
    {"rev_limit_exceeded", "Rev limit exceeded"},
    {"egr_system", "EGR system"},
    {"throttle_position_sensor", "Throttle position sensor"},
    {"emergency_stop", "Emergency stop"},
}};
static const struct can_status engine_status_2 = {1, 16, {
    {"warning_level_1", "Warning level 1"},
    {"warning_level_2", "Warning level 2"},
    {"power_reduction", "Power reduction"},
    {"maintenance_needed", "Maintenance needed"},
    {"engine_communication_error", "Engine communication error"},
    {"secondary_throttle", "Sub or secondary throttle"},
    {"neutral_start_protect", "Neutral start protect"},
    {"engine_shutting_down", "Engine shutting down"},
    {"engine_status_2_bit_8", "Engine status 2, bit 8 (no published name)"},
    {"engine_status_2_bit_9", "Engine status 2, bit 9 (no published name)"},
    {"engine_status_2_bit_10", "Engine status 2, bit 10 (no published name)"},
    {"engine_status_2_bit_11", "Engine status 2, bit 11 (no published name)"},
    {"engine_status_2_bit_12", "Engine status 2, bit 12 (no published name)"},
    {"engine_status_2_bit_13", "Engine status 2, bit 13 (no published name)"},
    {"engine_status_2_bit_14", "Engine status 2, bit 14 (no published name)"},
    {"engine_status_2_bit_15", "Engine status 2, bit 15 (no published name)"},
}};
static const struct can_field fields_127489[] = {
    INSTANCE(0, 8),
    UNSIGNED(OIL_PRESSURE, 8, 16, KPA_PER_HPA, 0),
    UNSIGNED(OIL_TEMPERATURE, 24, 16, 0.1, KELVIN_0_DEGC),
    UNSIGNED(COOLANT_TEMPERATURE, 40, 16, 0.01, KELVIN_0_DEGC),
    SIGNED_OR_ONES(ALTERNATOR_VOLTAGE, 56, 16, 0.01, 0),
    SIGNED_OR_ONES(FUEL_RATE, 72, 16, 0.1, 0),
    UNSIGNED(ENGINE_HOURS, 88, 32, HOUR_PER_SECOND, 0),
    UNSIGNED(COOLANT_PRESSURE, 120, 16, KPA_PER_HPA, 0),
    UNSIGNED(FUEL_PRESSURE, 136, 16, 1, 0),
    STATUS(ENGINE_STATUS_1, 0, 160, 16, engine_status_1),
    STATUS(ENGINE_STATUS_2, 1, 176, 16, engine_status_2),
    SIGNED_OR_ONES(ENGINE_LOAD, 192, 8, 1, 0),
    SIGNED_OR_ONES(ENGINE_TORQUE, 200, 8, 1, 0),
};

/* --- 127493 Transmission Parameters, Dynamic
 *      0          1            2   3     4   5     6        7
 *    +----------+------------+---------+---------+--------+----------+
 *    | instance | gear | res |   oil   |   oil   | status | reserved |      gear: 2 bits
 *    |          |      |     | press.  |  temp.  |        |          |
 *    +----------+------------+---------+---------+--------+----------+
 * The database has the status as a number with the usual special codes, and no names for its bits.
 */
static const struct can_choice gears[] = {
    STANDS_FOR(0, 1),
    STANDS_FOR(1, 0),
    STANDS_FOR(2, -1),
    OTHER_CODES_RESERVED,
};
static const struct can_status transmission_status = {1, 8, {
    {"transmission_status_bit_0", "Transmission status, bit 0 (no published name)"},
    {"transmission_status_bit_1", "Transmission status, bit 1 (no published name)"},
    {"transmission_status_bit_2", "Transmission status, bit 2 (no published name)"},
    {"transmission_status_bit_3", "Transmission status, bit 3 (no published name)"},
    {"transmission_status_bit_4", "Transmission status, bit 4 (no published name)"},
    {"transmission_status_bit_5", "Transmission status, bit 5 (no published name)"},
    {"transmission_status_bit_6", "Transmission status, bit 6 (no published name)"},
    {"transmission_status_bit_7", "Transmission status, bit 7 (no published name)"},
}};
static const struct can_field fields_127493[] = {
    INSTANCE(0, 8),
    CODED(CAN_CODE, 0, TRANSMISSION_GEAR, 8, 2, gears),
    UNSIGNED(TRANSMISSION_OIL_PRESSURE, 16, 16, KPA_PER_HPA, 0),
    UNSIGNED(TRANSMISSION_OIL_TEMPERATURE, 32, 16, 0.1, KELVIN_0_DEGC),
    {.role = CAN_STATUS, .channel = CHANNEL_TRANSMISSION_STATUS, BITS(48, 8),
     .status = &transmission_status},
};

/* --- 127497 Trip Parameters, Engine (fast packet, 9 bytes)
 *      0          1   2     3   4     5   6     7   8
 *    +----------+---------+---------+---------+---------+
 *    | instance |  trip   |  rate,  |  rate,  | economy |
 *    |          |  fuel   | average | economy |   now   |
 *    +----------+---------+---------+---------+---------+
 */
static const struct can_field fields_127497[] = {
    INSTANCE(0, 8),
    UNSIGNED(TRIP_FUEL, 8, 16, 1, 0),
    SIGNED_OR_ONES(FUEL_RATE_AVERAGE, 24, 16, 0.1, 0),
    SIGNED_OR_ONES(FUEL_RATE_ECONOMY, 40, 16, 0.1, 0),
    SIGNED_OR_ONES(FUEL_ECONOMY, 56, 16, 0.1, 0),
};

/* --- 127498 Engine Parameters, Static (fast packet)
 *      0          1   2     3 ...
 *    +----------+---------+----------------+----------------+
 *    | instance |  rated  | VIN: length,   | software:      |
 *    |          |  speed  | type, text     | the same       |
 *    +----------+---------+----------------+----------------+
 * Older descriptions have texts of fixed width here; what does not fit its own length is left out.
 */
static const struct can_field fields_127498[] = {
    INSTANCE(0, 8),
    UNSIGNED(RATED_SPEED, 8, 16, 0.25, 0),
    TEXT(CAN_TEXT_COUNTED, 24, 0, "VIN"),
    TEXT(CAN_TEXT_COUNTED, 0, 0, "software"),
};

/* --- 127505 Fluid Level
 *      0                   1   2   3   4   5   6     7
 *    +-------------------+-------+---------------+----------+
 *    | instance | type   | level |   capacity    | reserved |      instance: low 4 bits
 *    +-------------------+-------+---------------+----------+
 */
static const struct can_choice fluids[] = {
    PICK(0, COUNT, TANK, "fuel"),
    PICK(1, COUNT, TANK, "fresh water"),
    PICK(2, COUNT, TANK, "grey water"),
    PICK(3, COUNT, TANK, "live well"),
    PICK(4, COUNT, TANK, "oil"),
    PICK(5, COUNT, TANK, "black water"),
    PICK(CHOICE_OTHER, COUNT, TANK, "type"),
};
static const struct can_field fields_127505[] = {
    INSTANCE(0, 4),
    SELECT(1, 4, 4, fluids),
    NUMBER(1, FLUID_TYPE, 4, 4, 0, 1, 0),
    NUMBER(1, FLUID_LEVEL, 8, 16, CAN_SIGNED | CAN_ONES_MISSING, 0.004, 0),
    NUMBER(1, TANK_CAPACITY, 24, 32, 0, 0.1, 0),
};

/* --- 127508 Battery Status
 *      0          1   2     3   4     5   6     7
 *    +----------+---------+---------+---------+-----+
 *    | instance | voltage | current |  temp.  | SID |
 *    +----------+---------+---------+---------+-----+
 */
static const struct can_field fields_127508[] = {
    INSTANCE(0, 8),
    SIGNED_OR_ONES(BATTERY_VOLTAGE, 8, 16, 0.01, 0),
    SIGNED(BATTERY_CURRENT, 24, 16, 0.1, 0),
    UNSIGNED(BATTERY_TEMPERATURE, 40, 16, 0.01, KELVIN_0_DEGC),
};

/* --- 128259 Speed
 *      0     1   2     3   4     5        6           7
 *    +-----+---------+---------+--------+-----------------+
 *    | SID |  water  | ground  | sensor | dir. | reserved |
 *    +-----+---------+---------+--------+-----------------+
 */
static const struct can_field fields_128259[] = {
    UNSIGNED(SPEED_THROUGH_WATER, 8, 16, 0.01, 0),
    UNSIGNED(SPEED_OVER_GROUND, 24, 16, 0.01, 0),
};

/* --- 128267 Water Depth
 *      0     1   2   3   4     5   6     7
 *    +-----+---------------+---------+-------+
 *    | SID |     depth     | offset  | range |
 *    +-----+---------------+---------+-------+
 */
static const struct can_field fields_128267[] = {
    UNSIGNED(DEPTH, 8, 32, 0.01, 0),
    SIGNED(DEPTH_OFFSET, 40, 16, 0.001, 0),
};

/* --- 129025 Position, Rapid Update
 *      0   1   2   3   4   5   6   7
 *    +---------------+---------------+
 *    |   latitude    |   longitude   |
 *    +---------------+---------------+
 */
static const struct can_field fields_129025[] = {
    SIGNED(LATITUDE, 0, 32, 1e-7, 0),
    SIGNED(LONGITUDE, 32, 32, 1e-7, 0),
};

/* --- 129026 COG and SOG, Rapid Update
 *      0     1           2   3     4   5     6   7
 *    +-----+-----------+---------+---------+----------+
 *    | SID | ref | res |  COG    |  SOG    | reserved |      ref: 2 bits
 *    +-----+-----------+---------+---------+----------+
 */
static const struct can_choice courses[] = {
    PICK(0, COURSE_OVER_GROUND, VESSEL, ""),
    PICK(1, COURSE_MAGNETIC, VESSEL, ""),
    OTHER_CODES_RESERVED,
};
static const struct can_field fields_129026[] = {
    SELECT(1, 8, 2, courses),
    NUMBER(1, COUNT, 16, 16, 0, 1e-4 * DEGREE_PER_RADIAN, 0),
    UNSIGNED(SPEED_OVER_GROUND, 32, 16, 0.01, 0),
};

/* --- 129029 GNSS Position Data (fast packet, 43 bytes and more)
 *      0     1   2     3 ... 6   7 ... 14   15 ... 22   23 ... 30   31              32
 *    +-----+---------+---------+----------+-----------+-----------+---------------+-----------+
 *    | SID |  date   |  time   | latitude | longitude | altitude  | type | method | integrity |
 *    +-----+---------+---------+----------+-----------+-----------+---------------+-----------+
 *     33           34  35    36  37    38 ... 41    42
 *    +------------+--------+---------+-------------+----------------------------+
 *    | satellites |  HDOP  |  PDOP   |  geoid      | number of stations, then 4 |
 *    |            |        |         |  separation | bytes for each             |
 *    +------------+--------+---------+-------------+----------------------------+
 * Method 0 is "no GNSS": what stands in the other fields then is old or invented. Methods 7 (put in
 * by hand) and 8 (simulator) are no measurement either, and their date is none.
 */
static const struct can_choice no_fix[] = {
    STANDS_FOR(0, 0),
    STANDS_FOR(7, 0),
    STANDS_FOR(8, 0),
    OTHER_CODES_RESERVED,
};
static const struct can_field fields_129029[] = {
    UNSIGNED(GNSS_QUALITY, 252, 4, 1, 0),
    CODED(CAN_VALID, 0, COUNT, 252, 4, no_fix),
    DATE(0, 8),
    TIME(24),
    SIGNED(LATITUDE, 56, 64, 1e-16, 0),
    SIGNED(LONGITUDE, 120, 64, 1e-16, 0),
    SIGNED(ALTITUDE, 184, 64, 1e-6, 0),
    UNSIGNED(GNSS_SATELLITES, 264, 8, 1, 0),
    SIGNED(GNSS_HDOP, 272, 16, 0.01, 0),
};

/* --- 129033 Time and Date
 *      0   1     2   3   4   5     6   7
 *    +---------+---------------+---------+
 *    |  date   |     time      | offset  |      UTC; the offset says how local time differs
 *    +---------+---------------+---------+
 */
static const struct can_field fields_129033[] = {
    DATE(0, 0),
    TIME(16),
};

/* --- 130310 Environmental Parameters (obsolete, still common for sea water temperature)
 *      0     1   2     3   4     5   6      7
 *    +-----+---------+---------+----------+----------+
 *    | SID |  water  | outside | pressure | reserved |
 *    +-----+---------+---------+----------+----------+
 */
static const struct can_field fields_130310[] = {
    UNSIGNED(SEA_TEMPERATURE, 8, 16, 0.01, KELVIN_0_DEGC),
    UNSIGNED(AIR_TEMPERATURE, 24, 16, 0.01, KELVIN_0_DEGC),
    UNSIGNED(AIR_PRESSURE, 40, 16, KPA_PER_HPA, 0),
};

/* --- sources of temperatures and pressures
 * Only what can be meant in one way goes to a channel of its own. Exhaust gas belongs to the engine
 * whose number is the instance of the message. */
static const struct can_choice temperatures[] = {
    PICK(0, SEA_TEMPERATURE, VESSEL, "sea"),
    PICK(1, AIR_TEMPERATURE, VESSEL, "outside"),
    PICK(2, INSIDE_TEMPERATURE, VESSEL, "inside"),
    PICK(3, ENGINE_ROOM_TEMPERATURE, VESSEL, "engine room"),
    PICK(4, INSIDE_TEMPERATURE, VESSEL, "main cabin"),
    PICK(5, OTHER_TEMPERATURE, VESSEL, "live well"),
    PICK(6, OTHER_TEMPERATURE, VESSEL, "bait well"),
    PICK(7, OTHER_TEMPERATURE, VESSEL, "refrigeration"),
    PICK(8, OTHER_TEMPERATURE, VESSEL, "heating system"),
    PICK(9, OTHER_TEMPERATURE, VESSEL, "dew point"),
    PICK(10, OTHER_TEMPERATURE, VESSEL, "apparent wind chill"),
    PICK(11, OTHER_TEMPERATURE, VESSEL, "theoretical wind chill"),
    PICK(12, OTHER_TEMPERATURE, VESSEL, "heat index"),
    PICK(13, OTHER_TEMPERATURE, VESSEL, "freezer"),
    PICK(14, EXHAUST_TEMPERATURE, ENGINE, "exhaust gas"),
    PICK(15, OTHER_TEMPERATURE, VESSEL, "shaft seal"),
    PICK(CHOICE_OTHER, OTHER_TEMPERATURE, VESSEL, "source"),
};
static const struct can_choice humidities[] = {
    PICK(0, HUMIDITY, VESSEL, "inside"),
    PICK(1, HUMIDITY, VESSEL, "outside"),
    OTHER_CODES_RESERVED,
};
static const struct can_choice pressures[] = {
    PICK(0, AIR_PRESSURE, VESSEL, "atmospheric"),
    PICK(1, OTHER_PRESSURE, VESSEL, "water"),
    PICK(2, OTHER_PRESSURE, VESSEL, "steam"),
    PICK(3, OTHER_PRESSURE, VESSEL, "compressed air"),
    PICK(4, OTHER_PRESSURE, VESSEL, "hydraulic"),
    PICK(5, OTHER_PRESSURE, VESSEL, "filter"),
    PICK(6, OTHER_PRESSURE, VESSEL, "altimeter setting"),
    PICK(7, OTHER_PRESSURE, VESSEL, "oil"),
    PICK(8, OTHER_PRESSURE, VESSEL, "fuel"),
    PICK(CHOICE_OTHER, OTHER_PRESSURE, VESSEL, "source"),
};

/* --- 130311 Environmental Parameters
 *      0     1                 2   3     4   5      6   7
 *    +-----+-----------------+---------+----------+----------+
 *    | SID | temp. | humid.  |  temp.  | humidity | pressure |    sources: 6 bits and 2 bits
 *    +-----+-----------------+---------+----------+----------+
 */
static const struct can_field fields_130311[] = {
    SELECT(1, 8, 6, temperatures),
    SELECT(2, 14, 2, humidities),
    NUMBER(1, COUNT, 16, 16, 0, 0.01, KELVIN_0_DEGC),
    NUMBER(2, COUNT, 32, 16, CAN_SIGNED, 0.004, 0),
    UNSIGNED(AIR_PRESSURE, 48, 16, KPA_PER_HPA, 0),
};

/* --- 130312 Temperature
 *      0     1          2        3   4     5   6      7
 *    +-----+----------+--------+---------+----------+----------+
 *    | SID | instance | source |  temp.  |   set    | reserved |
 *    +-----+----------+--------+---------+----------+----------+
 */
static const struct can_field fields_130312[] = {
    INSTANCE(8, 8),
    SELECT(1, 16, 8, temperatures),
    NUMBER(1, COUNT, 24, 16, 0, 0.01, KELVIN_0_DEGC),
};

/* --- 130314 Actual Pressure
 *      0     1          2        3   4   5   6     7
 *    +-----+----------+--------+---------------+----------+
 *    | SID | instance | source |   pressure    | reserved |      0.1 Pa
 *    +-----+----------+--------+---------------+----------+
 */
static const struct can_field fields_130314[] = {
    INSTANCE(8, 8),
    SELECT(1, 16, 8, pressures),
    NUMBER(1, COUNT, 24, 32, CAN_SIGNED, 1e-4, 0),
};

/* --- 130316 Temperature, Extended Range
 *      0     1          2        3   4   5     6   7
 *    +-----+----------+--------+-------------+---------+
 *    | SID | instance | source |    temp.    |   set   |      0.001 K in 24 bits
 *    +-----+----------+--------+-------------+---------+
 */
static const struct can_field fields_130316[] = {
    INSTANCE(8, 8),
    SELECT(1, 16, 8, temperatures),
    NUMBER(1, COUNT, 24, 24, 0, 0.001, KELVIN_0_DEGC),
};

#define ROW_WITH(number_, carrier_, place_, title_, ...)                                           \
    {                                                                                              \
        .number = number_, .key = #number_, .title = title_, .protocol = PROTOCOL_NMEA2000,        \
        .carrier = CARRIED_##carrier_, .place = PLACE_##place_, .fields = fields_##number_,        \
        .count = sizeof fields_##number_ / sizeof *fields_##number_, __VA_ARGS__                   \
    }

#define ROW(number, carrier, place, title)                                                         \
    ROW_WITH(number, carrier, place, title, .text_event = NULL)

const struct can_row can_rows_n2k[] = {
    ROW(126992, SINGLE, VESSEL, "System time"),
    ROW_WITH(126996, FAST, VESSEL, "Product information", .text_event = "product_information"),
    ROW_WITH(127245, SINGLE, VESSEL, "Rudder", .instance_label = "rudder"),
    ROW(127250, SINGLE, VESSEL, "Vessel heading"),
    ROW(127488, SINGLE, ENGINE, "Engine parameters, rapid update"),
    ROW(127489, FAST, ENGINE, "Engine parameters, dynamic"),
    ROW(127493, SINGLE, ENGINE, "Transmission parameters, dynamic"),
    ROW(127497, FAST, ENGINE, "Trip parameters, engine"),
    ROW_WITH(127498, FAST, ENGINE, "Engine parameters, static",
             .text_event = "engine_identification"),
    ROW(127505, SINGLE, TANK, "Fluid level"),
    ROW(127508, SINGLE, BATTERY, "Battery status"),
    ROW(128259, SINGLE, VESSEL, "Speed"),
    ROW(128267, SINGLE, VESSEL, "Water depth"),
    ROW(129025, SINGLE, VESSEL, "Position, rapid update"),
    ROW(129026, SINGLE, VESSEL, "Course and speed over ground"),
    ROW(129029, FAST, VESSEL, "GNSS position data"),
    ROW(129033, SINGLE, VESSEL, "Time and date"),
    ROW(130310, SINGLE, VESSEL, "Environmental parameters (obsolete)"),
    ROW(130311, SINGLE, VESSEL, "Environmental parameters"),
    ROW(130312, SINGLE, VESSEL, "Temperature"),
    ROW(130314, SINGLE, VESSEL, "Actual pressure"),
    ROW(130316, SINGLE, VESSEL, "Temperature, extended range"),
};
const size_t can_row_count_n2k = sizeof can_rows_n2k / sizeof *can_rows_n2k;
