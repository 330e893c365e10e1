/* messages_j1939.c - the J1939 messages that searun decodes from an engine's own bus.
 *
 * Sources, facts only: the J1939 database of the open project canboat and the open pretty_j1939
 * database; where two of them disagree, a public capture of a running engine decided (positions of
 * SPN 168 and SPN 171). Numbers in the drawings are bytes as SAE J1939-71 counts them, from 1; low
 * bytes come first. What has no channel is left out of the lists and stays in the raw frames.
 */
#include "messages_can.h"

#define NUMBER(channel_, byte_, bits_, scale_, offset_)                                            \
    {                                                                                              \
        .role = CAN_VALUE, .channel = CHANNEL_##channel_, .first = 8 * ((byte_)-1), .bits = bits_, \
        .codes = J1939_CODES(bits_), .code_shift = J1939_CODE_SHIFT(bits_), .scale = scale_,       \
        .offset = offset_                                                                          \
    }
/* The kinds of numbers that J1939 has most of. */
#define CELSIUS_8(channel, byte) NUMBER(channel, byte, 8, 1, -40)
#define CELSIUS_16(channel, byte) NUMBER(channel, byte, 16, 0.03125, -273)
#define PERCENT_8(channel, byte) NUMBER(channel, byte, 8, 0.4, 0)
#define VOLT_16(channel, byte) NUMBER(channel, byte, 16, 0.05, 0)

/* clang-format off */

/* --- 61444 EEC1 Electronic Engine Controller 1
 *      1      2        3        4   5   6        7         8
 *    +------+--------+--------+-------+--------+---------+--------+
 *    | mode | demand | actual | speed | source | starter | demand |
 *    |      | torque | torque |       |        |  mode   | torque |
 *    +------+--------+--------+-------+--------+---------+--------+
 */
static const struct can_field fields_EEC1[] = {
    NUMBER(ENGINE_TORQUE, 3, 8, 1, -125),  /* SPN 513 */
    NUMBER(ENGINE_SPEED, 4, 16, 0.125, 0), /* SPN 190 */
};

/* --- 61443 EEC2 Electronic Engine Controller 2
 *      1          2         3      4         5         6          7         8
 *    +----------+---------+------+---------+---------+----------+---------+---+
 *    | switches | pedal 1 | load | remote  | pedal 2 |          | maximum |   |
 *    |          |         |      | pedal   |         |          | torque  |   |
 *    +----------+---------+------+---------+---------+----------+---------+---+
 */
static const struct can_field fields_EEC2[] = {
    PERCENT_8(THROTTLE, 2),          /* SPN 91 */
    NUMBER(ENGINE_LOAD, 3, 8, 1, 0), /* SPN 92 */
};

/* --- 65262 ET1 Engine Temperature 1
 *      1         2      3   4    5   6       7             8
 *    +---------+------+-------+-----------+-------------+------------+
 *    | coolant | fuel |  oil  | turbo oil | intercooler | thermostat |
 *    +---------+------+-------+-----------+-------------+------------+
 */
static const struct can_field fields_ET1[] = {
    CELSIUS_8(COOLANT_TEMPERATURE, 1),     /* SPN 110 */
    CELSIUS_8(FUEL_TEMPERATURE, 2),        /* SPN 174 */
    CELSIUS_16(OIL_TEMPERATURE, 3),        /* SPN 175 */
    CELSIUS_16(TURBO_OIL_TEMPERATURE, 5),  /* SPN 176 */
    CELSIUS_8(INTERCOOLER_TEMPERATURE, 7), /* SPN 52 */
};

/* --- 65263 EFL/P1 Engine Fluid Level/Pressure 1
 *      1        2         3       4        5   6       7          8
 *    +--------+---------+-------+--------+-----------+----------+---------+
 *    |  fuel  | blow-by |  oil  |  oil   | crankcase | coolant  | coolant |
 *    | press. |         | level | press. | pressure  | pressure |  level  |
 *    +--------+---------+-------+--------+-----------+----------+---------+
 */
static const struct can_field fields_EFLP1[] = {
    NUMBER(FUEL_PRESSURE, 1, 8, 4, 0),                  /* SPN 94 */
    PERCENT_8(OIL_LEVEL, 3),                            /* SPN 98 */
    NUMBER(OIL_PRESSURE, 4, 8, 4, 0),                   /* SPN 100 */
    NUMBER(CRANKCASE_PRESSURE, 5, 16, 0.0078125, -250), /* SPN 101 */
    NUMBER(COOLANT_PRESSURE, 7, 8, 2, 0),               /* SPN 109 */
    PERCENT_8(COOLANT_LEVEL, 8),                        /* SPN 111 */
};

/* --- 65270 IC1 Inlet/Exhaust Conditions 1
 *      1        2       3        4         5        6   7       8
 *    +--------+-------+--------+---------+--------+-----------+---------+
 *    | filter | boost | intake |  inlet  |  air   |  exhaust  | coolant |
 *    | press. |       |  temp. |  press. | filter |   temp.   | filter  |
 *    +--------+-------+--------+---------+--------+-----------+---------+
 */
static const struct can_field fields_IC1[] = {
    NUMBER(BOOST_PRESSURE, 2, 8, 2, 0),         /* SPN 102, gauge */
    CELSIUS_8(INTAKE_TEMPERATURE, 3),           /* SPN 105 */
    NUMBER(AIR_FILTER_PRESSURE, 5, 8, 0.05, 0), /* SPN 107 */
    CELSIUS_16(EXHAUST_TEMPERATURE, 6),         /* SPN 173 */
};

/* --- 65266 LFE1 Fuel Economy (Liquid)
 *      1   2     3   4      5   6      7          8
 *    +---------+----------+----------+----------+---+
 *    |  rate   | economy  | economy, | throttle |   |
 *    |         | now      | average  |          |   |
 *    +---------+----------+----------+----------+---+
 */
static const struct can_field fields_LFE1[] = {
    NUMBER(FUEL_RATE, 1, 16, 0.05, 0), /* SPN 183 */
};

/* --- 65253 HOURS Engine Hours, Revolutions
 *      1 2 3 4   5 6 7 8
 *    +---------+-------------+
 *    |  hours  | revolutions |
 *    +---------+-------------+
 */
static const struct can_field fields_HOURS[] = {
    NUMBER(ENGINE_HOURS, 1, 32, 0.05, 0), /* SPN 247 */
};

/* --- 65269 AMB Ambient Conditions
 *      1            2   3   4   5     6       7   8
 *    +------------+-------+---------+-------+------+
 *    | barometric |  cab  | ambient | inlet | road |
 *    +------------+-------+---------+-------+------+
 */
static const struct can_field fields_AMB[] = {
    NUMBER(AIR_PRESSURE, 1, 8, 0.5, 0), /* SPN 108 */
    CELSIUS_16(INSIDE_TEMPERATURE, 2),  /* SPN 170 */
    CELSIUS_16(AIR_TEMPERATURE, 4),     /* SPN 171 */
};

/* --- 65271 VEP1 Vehicle Electrical Power 1
 *      1         2            3   4      5   6     7   8
 *    +---------+------------+----------+---------+------------+
 *    | battery | alternator | charging | battery | key switch |
 *    | current |  current   | voltage  | voltage |  voltage   |
 *    +---------+------------+----------+---------+------------+
 */
static const struct can_field fields_VEP1[] = {
    NUMBER(BATTERY_CURRENT, 1, 8, 1, -125), /* SPN 114 */
    VOLT_16(ALTERNATOR_VOLTAGE, 3),         /* SPN 167 */
    VOLT_16(BATTERY_VOLTAGE, 5),            /* SPN 168 */
};

/* --- 65272 TRF1 Transmission Fluids 1
 *      1        2       3        4        5   6     7      8
 *    +--------+-------+--------+--------+---------+------+--------+
 *    | clutch |  oil  | filter |  oil   |   oil   | high | timer, |
 *    | press. | level | press. | press. |  temp.  | low  | status |
 *    +--------+-------+--------+--------+---------+------+--------+
 */
static const struct can_field fields_TRF1[] = {
    NUMBER(TRANSMISSION_OIL_PRESSURE, 4, 8, 16, 0), /* SPN 127 */
    CELSIUS_16(TRANSMISSION_OIL_TEMPERATURE, 5),    /* SPN 177 */
};

/* --- 65226 DM1 Active Trouble Codes
 *      1       2       3 4 5 6      7 8 9 10
 *    +-------+-------+------------+-----------
 *    | lamps | flash |  code      |  code ...      a single code is followed by FF FF
 *    +-------+-------+------------+-----------
 *    lamps, from the lowest bits: protect, amber warning, red stop, malfunction; 2 bits each
 *    code: 19 bits SPN (its highest 3 bits are the highest of the third byte), 5 bits FMI, 7 bits
 *          count, 1 bit that is set where the SPN has one of the older bit orders
 */
static const struct can_status lamps = {2, 4, {
    {"lamp_protect", "Protect lamp"},
    {"lamp_amber_warning", "Amber warning lamp"},
    {"lamp_red_stop", "Red stop lamp"},
    {"lamp_malfunction", "Malfunction lamp"},
}};
static const struct can_field fields_DM1[] = {
    {.role = CAN_STATUS, .channel = CHANNEL_COUNT, .first = 0, .bits = 8, .status = &lamps},
    {.role = CAN_FAULTS, .first = 16, .bits = 32},
};

#define ROW(number_, name_, key_, place_, title_)                                                  \
    {                                                                                              \
        .number = number_, .key = key_, .title = title_, .protocol = PROTOCOL_J1939,               \
        .carrier = CARRIED_SINGLE, .place = PLACE_##place_, .instance_of_source = true,            \
        .fields = fields_##name_, .count = sizeof fields_##name_ / sizeof *fields_##name_          \
    }

const struct can_row can_rows_j1939[] = {
    ROW(61444, EEC1, "EEC1", ENGINE, "Electronic engine controller 1"),
    ROW(61443, EEC2, "EEC2", ENGINE, "Electronic engine controller 2"),
    ROW(65226, DM1, "DM1", ENGINE, "Active trouble codes"),
    ROW(65253, HOURS, "HOURS", ENGINE, "Engine hours"),
    ROW(65262, ET1, "ET1", ENGINE, "Engine temperature 1"),
    ROW(65263, EFLP1, "EFLP1", ENGINE, "Engine fluid level and pressure 1 (EFL/P1)"),
    ROW(65266, LFE1, "LFE1", ENGINE, "Fuel economy (liquid)"),
    ROW(65269, AMB, "AMB", VESSEL, "Ambient conditions"),
    ROW(65270, IC1, "IC1", ENGINE, "Inlet and exhaust conditions 1"),
    ROW(65271, VEP1, "VEP1", ENGINE, "Vehicle electrical power 1"),
    ROW(65272, TRF1, "TRF1", ENGINE, "Transmission fluids 1"),
};
const size_t can_row_count_j1939 = sizeof can_rows_j1939 / sizeof *can_rows_j1939;
