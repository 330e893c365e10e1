/* transducers.c - XDR: groups of type, value, unit and name, and the map from names to channels.
 *
 *  $--XDR,a,x.x,a,c--c,  ...  a,x.x,a,c--c*hh
 *         | |   | name of the transducer
 *         | |   unit
 *         | value
 *         type
 */
#include "transducers.h"

#include <stdio.h>
#include <string.h>

#include "unit.h"

/* --- types and units -------------------------------------------------------------------------- */

/* One unit of a type: stored = sent * scale + offset, in `unit`; where it is kept when no row of
 * the map knows the transducer. */
struct transducer_unit {
    char type, letter; /* letter 0: the unit field is empty */
    enum unit unit;
    double scale, offset;
    enum channel_id unmapped;
};

/* Sources: the public copy of the list of types and units in the Betke protocol notes, and the gpsd
 * project's guide. "vendor" marks letters outside that list whose meaning is clear. Inch and
 * millimetre of mercury (conventional): NIST SP 811. Flow: one source prints the letter l, the
 * other a capital I for the same litres a second; a capital L could be litres an hour, so it is
 * refused. */
static const struct transducer_unit transducer_units[] = {
    {'C', 'C', UNIT_DEGC, 1, 0, CHANNEL_TRANSDUCER_TEMPERATURE},
    {'C', 'F', UNIT_DEGC, 1 / 1.8, -32 / 1.8, CHANNEL_TRANSDUCER_TEMPERATURE},   /* vendor */
    {'C', 'K', UNIT_DEGC, 1, -KELVIN_AT_0_DEGC, CHANNEL_TRANSDUCER_TEMPERATURE}, /* vendor */
    {'A', 'D', UNIT_DEGREE, 1, 0, CHANNEL_TRANSDUCER_ANGLE},
    {'D', 'M', UNIT_METRE, 1, 0, CHANNEL_TRANSDUCER_DISPLACEMENT},
    {'F', 'H', UNIT_HERTZ, 1, 0, CHANNEL_TRANSDUCER_FREQUENCY},
    {'N', 'N', UNIT_NEWTON, 1, 0, CHANNEL_TRANSDUCER_FORCE},
    {'P', 'B', UNIT_KPA, 100, 0, CHANNEL_TRANSDUCER_PRESSURE},
    {'P', 'P', UNIT_KPA, 0.001, 0, CHANNEL_TRANSDUCER_PRESSURE},
    {'P', 'H', UNIT_KPA, 0.1, 0, CHANNEL_TRANSDUCER_PRESSURE},       /* vendor, hPa */
    {'P', 'I', UNIT_KPA, 3.386389, 0, CHANNEL_TRANSDUCER_PRESSURE},  /* vendor, inHg */
    {'P', 'M', UNIT_KPA, 0.1333224, 0, CHANNEL_TRANSDUCER_PRESSURE}, /* vendor, mmHg */
    {'R', 'l', UNIT_LITRE_PER_HOUR, 3600, 0, CHANNEL_TRANSDUCER_FLOW},
    {'R', 'I', UNIT_LITRE_PER_HOUR, 3600, 0, CHANNEL_TRANSDUCER_FLOW},
    {'T', 'R', UNIT_RPM, 1, 0, CHANNEL_TRANSDUCER_SPEED},
    {'H', 'P', UNIT_PERCENT, 1, 0, CHANNEL_TRANSDUCER_HUMIDITY},
    {'V', 'M', UNIT_LITRE, 1000, 0, CHANNEL_TRANSDUCER_VOLUME},
    {'V', 'L', UNIT_LITRE, 1, 0, CHANNEL_TRANSDUCER_VOLUME},    /* vendor */
    {'V', 'P', UNIT_PERCENT, 1, 0, CHANNEL_TRANSDUCER_GENERIC}, /* vendor, level */
    {'G', '\0', UNIT_ONE, 1, 0, CHANNEL_TRANSDUCER_GENERIC},
    {'G', 'H', UNIT_HOUR, 1, 0, CHANNEL_TRANSDUCER_GENERIC},    /* vendor */
    {'G', 'P', UNIT_PERCENT, 1, 0, CHANNEL_TRANSDUCER_GENERIC}, /* vendor */
    {'I', 'A', UNIT_AMPERE, 1, 0, CHANNEL_TRANSDUCER_CURRENT},
    {'U', 'V', UNIT_VOLT, 1, 0, CHANNEL_TRANSDUCER_VOLTAGE},
    {'S', '\0', UNIT_ONE, 1, 0, CHANNEL_TRANSDUCER_SWITCH},
    {'L', 'S', UNIT_GRAM_PER_KILOGRAM, 1, 0, CHANNEL_TRANSDUCER_SALINITY},
};
#define UNIT_ROWS (sizeof transducer_units / sizeof transducer_units[0])

static const struct transducer_unit *find_unit(char type, struct field unit)
{
    char letter = field_letter(unit);
    if (type == '\0' || unit.length > 1)
        return NULL;
    for (size_t i = 0; i < UNIT_ROWS; i++)
        if (transducer_units[i].type == type && transducer_units[i].letter == letter)
            return &transducer_units[i];
    return NULL;
}

/* --- the map ---------------------------------------------------------------------------------- */

#define N TRANSDUCER_NUMBERED
#define V TRANSDUCER_VESSEL
/* Names as version 4.11 of the standard forms them, counted from 0 (from memory; no open text), and
 * free names whose meaning is plain (common practice, no source). Names that leave it open which
 * side or end is meant are not here: RUDDER (sign), RAWWATER as a temperature (in or out), PORT and
 * STBD (which engine number), SEAWATER (the sea, or the raw water of an engine). */
const struct transducer_row transducer_defaults[] = {
    {"T", "", "ENGINE#{n}", CHANNEL_ENGINE_SPEED, N},
    {"C", "", "ENGINE#{n}", CHANNEL_COOLANT_TEMPERATURE, N},
    {"C", "", "COOLANT#{n}", CHANNEL_COOLANT_TEMPERATURE, N},
    {"P", "", "COOLANT#{n}", CHANNEL_COOLANT_PRESSURE, N},
    {"P", "", "ENGINE#{n}", CHANNEL_OIL_PRESSURE, N},
    {"P", "", "ENGINEOIL#{n}", CHANNEL_OIL_PRESSURE, N},
    {"C", "", "ENGINEOIL#{n}", CHANNEL_OIL_TEMPERATURE, N},
    {"P", "", "ENGOIL", CHANNEL_OIL_PRESSURE, 0},
    {"C", "", "ENGOIL", CHANNEL_OIL_TEMPERATURE, 0},
    {"C", "", "ENGINEEXHAUST#{n}", CHANNEL_EXHAUST_TEMPERATURE, N},
    {"C", "", "EXHAUST#{n}", CHANNEL_EXHAUST_TEMPERATURE, N},
    {"P", "", "BOOST#{n}", CHANNEL_BOOST_PRESSURE, N},
    {"C", "", "INTAKE#{n}", CHANNEL_INTAKE_TEMPERATURE, N},
    {"G", "H", "ENGINE#{n}", CHANNEL_ENGINE_HOURS, N},
    {"U", "", "ENGINE#{n}", CHANNEL_ALTERNATOR_VOLTAGE, N},
    {"U", "", "ALTERNATOR#{n}", CHANNEL_ALTERNATOR_VOLTAGE, N},
    {"R", "", "FUEL#{n}", CHANNEL_FUEL_RATE, N},
    {"R", "", "FUELRATE#{n}", CHANNEL_FUEL_RATE, N},
    {"P", "", "FUEL#{n}", CHANNEL_FUEL_PRESSURE, N},
    {"C", "", "TRANSMISSION#{n}", CHANNEL_TRANSMISSION_OIL_TEMPERATURE, N},
    {"P", "", "TRANSMISSION#{n}", CHANNEL_TRANSMISSION_OIL_PRESSURE, N},
    {"C", "", "TRANSOIL#{n}", CHANNEL_TRANSMISSION_OIL_TEMPERATURE, N},
    {"P", "", "TRANSOIL#{n}", CHANNEL_TRANSMISSION_OIL_PRESSURE, N},
    {"C", "", "RAWWATERIN#{n}", CHANNEL_RAW_WATER_IN, N},
    {"C", "", "RAWWATEROUT#{n}", CHANNEL_RAW_WATER_OUT, N},
    {"P", "", "RAWWATER#{n}", CHANNEL_RAW_WATER_PRESSURE, N},
    {"R", "", "RAWWATER#{n}", CHANNEL_RAW_WATER_FLOW, N},
    {"C", "", "SEATEMP", CHANNEL_SEA_TEMPERATURE, V},
    {"C", "", "WATERTEMP", CHANNEL_SEA_TEMPERATURE, V},
    {"C", "", "ENV_WATER_T", CHANNEL_SEA_TEMPERATURE, V},
    {"C", "", "AIRTEMP", CHANNEL_AIR_TEMPERATURE, V},
    {"C", "", "ENV_OUTAIR_T", CHANNEL_AIR_TEMPERATURE, V},
    {"C", "", "ENGRM", CHANNEL_ENGINE_ROOM_TEMPERATURE, V},
    {"C", "", "ENGINEROOM", CHANNEL_ENGINE_ROOM_TEMPERATURE, V},
    {"P", "", "BARO", CHANNEL_AIR_PRESSURE, V},
    {"P", "", "BAROMETER", CHANNEL_AIR_PRESSURE, V},
    {"P", "", "Barometer", CHANNEL_AIR_PRESSURE, V},
    {"P", "", "ENV_ATMOS_P", CHANNEL_AIR_PRESSURE, V},
    {"H", "", "AIR", CHANNEL_HUMIDITY, V},
    {"H", "", "ENV_OUTSIDE_H", CHANNEL_HUMIDITY, V},
    {"U", "", "BATTERY#{n}", CHANNEL_BATTERY_VOLTAGE, N},
    {"I", "", "BATTERY#{n}", CHANNEL_BATTERY_CURRENT, N},
    {"C", "", "BATTERY#{n}", CHANNEL_BATTERY_TEMPERATURE, N},
    {"V", "P", "FUEL#{n}", CHANNEL_FLUID_LEVEL, N},
};
#undef N
#undef V
const size_t transducer_default_count = sizeof transducer_defaults / sizeof transducer_defaults[0];

bool transducer_is_unmapped(enum channel_id channel)
{
    for (size_t i = 0; i < UNIT_ROWS; i++)
        if (transducer_units[i].unmapped == channel)
            return true;
    return false;
}

enum place transducer_row_place(const struct transducer_row *row)
{
    switch (row->channel) {
    case CHANNEL_BATTERY_VOLTAGE:
    case CHANNEL_BATTERY_CURRENT:
    case CHANNEL_BATTERY_TEMPERATURE:
        return PLACE_BATTERY;
    case CHANNEL_FLUID_LEVEL:
    case CHANNEL_FLUID_TYPE:
    case CHANNEL_TANK_CAPACITY:
        return PLACE_TANK;
    default:
        return PLACE_ENGINE;
    }
}

/* Takes the digits of a number; more than three are too large for any engine, and stay so. */
static const char *take_number(const char *name, unsigned *number)
{
    *number = 0;
    for (; *name >= '0' && *name <= '9'; name++)
        *number = *number < 1000 ? *number * 10 + (unsigned)(*name - '0') : *number;
    return name;
}

static bool name_matches(const char *pattern, const char *name, unsigned *number)
{
    while (*pattern != '\0') {
        if (strncmp(pattern, "{n}", 3) == 0) {
            const char *after = take_number(name, number);
            if (after == name)
                return false;
            name = after;
            pattern += 3;
        } else if (*pattern++ != *name++) {
            return false;
        }
    }
    return *name == '\0';
}

static bool unit_matches(const char *unit, struct field sent)
{
    return unit[0] == '\0' ||
           (strlen(unit) == sent.length && memcmp(unit, sent.text, sent.length) == 0);
}

/* A row of the map and the number in the name. */
struct match {
    const struct transducer_row *row;
    unsigned number;
};

static bool find_match(const struct transducer_map *map, char type, struct field unit,
                       const char *name, struct match *match)
{
    const struct transducer_row *rows = map->row ? map->row : transducer_defaults;
    size_t count = map->row ? map->count : transducer_default_count;
    for (size_t i = 0; i < count; i++) {
        if (rows[i].type[0] != type || !name_matches(rows[i].name, name, &match->number) ||
            !unit_matches(rows[i].unit, unit))
            continue;
        match->row = &rows[i];
        return true;
    }
    return false;
}

/* --- names ------------------------------------------------------------------------------------ */

/* What an origin's label holds behind "C:". */
#define NAME_MAX_SHOWN (sizeof((struct origin *)0)->label - 3)

/* A name being written: what fits, and a hash over all of it (FNV-1a), so that two long names that
 * begin alike do not become one. */
struct name {
    char text[NAME_MAX_SHOWN + 1];
    size_t length; /* of the whole name */
    uint32_t hash;
};

static void name_put(struct name *name, char c)
{
    if (name->length < NAME_MAX_SHOWN)
        name->text[name->length] = c;
    name->length++;
    name->hash = (name->hash ^ (unsigned char)c) * UINT32_C(16777619);
}

static bool is_shown(int c)
{
    return c >= 0x20 && c <= 0x7E;
}

/* The character behind an escape "^hh" at `text`, or -1 if none stands there. */
static int escaped(const char *text, size_t length)
{
    if (length < 3 || text[0] != '^')
        return -1;
    int high = hex_digit(text[1]), low = hex_digit(text[2]);
    return high < 0 || low < 0 ? -1 : high * 16 + low;
}

/* Characters that are no printable ASCII are written as ^hh, whether they came so or not. */
static void name_put_code(struct name *name, int code)
{
    static const char digits[] = "0123456789ABCDEF";
    if (is_shown(code)) {
        name_put(name, (char)code);
        return;
    }
    name_put(name, '^');
    name_put(name, digits[code >> 4 & 15]);
    name_put(name, digits[code & 15]);
}

static void name_close(struct name *name)
{
    size_t end = name->length < NAME_MAX_SHOWN ? name->length : NAME_MAX_SHOWN;
    name->text[end] = '\0';
    if (name->length > NAME_MAX_SHOWN)
        snprintf(name->text + NAME_MAX_SHOWN - 5, 6, "~%04X", (unsigned)(name->hash & 0xFFFF));
}

static void name_read(struct field field, unsigned place, struct name *name)
{
    name->length = 0;
    name->hash = UINT32_C(2166136261);
    while (field.length > 0 && field.text[field.length - 1] == ' ')
        field.length--;
    for (size_t i = 0; i < field.length; i++) {
        int code = escaped(field.text + i, field.length - i);
        name_put_code(name, code < 0 ? (unsigned char)field.text[i] : code);
        i += code < 0 ? 0 : 2;
    }
    name_close(name);
    if (name->length == 0)
        snprintf(name->text, sizeof name->text, "unnamed %u", place);
}

/* --- groups ----------------------------------------------------------------------------------- */

/* Everything the groups of one sentence share. */
struct chain {
    const struct transducer_map *map;
    int64_t at;
    const struct field *list; /* fields behind the address */
    size_t count;
    bool aligned; /* all groups have four fields */
    const struct origin *talker;
    const struct sink *sink;
    struct tally *tally;
};

struct group {
    char type;
    struct field value, unit, name;
    unsigned place; /* which group of the sentence, from 1 */
};

static void give(const struct chain *chain, const struct origin *origin, enum channel_id channel,
                 double number)
{
    const struct channel *row = channel_get(channel);
    if (number < row->low || number > row->high) {
        tally_add(chain->tally, REASON_OUT_OF_RANGE, chain->at);
        return;
    }
    const struct value value = {(uint16_t)channel, number};
    tally_add(chain->tally, REASON_READINGS, chain->at);
    chain->sink->readings(chain->sink->self, chain->at, origin, &value, 1);
}

/* Sets place and instance. False if the number cannot be one of an engine. */
static bool set_place(struct origin *origin, const struct match *match)
{
    int64_t number = match->row->engine;
    if (number == TRANSDUCER_VESSEL)
        return true;
    if (number == TRANSDUCER_NUMBERED)
        number = match->number;
    if (number < 0 || number >= INSTANCE_MAX)
        return false;
    origin->place = (uint8_t)transducer_row_place(match->row);
    origin->instance = (uint8_t)number;
    return true;
}

static void label_origin(struct origin *origin, char type, const struct name *name)
{
    origin->label[0] = type;
    origin->label[1] = ':';
    memcpy(origin->label + 2, name->text, strlen(name->text));
}

/* A group whose value and unit are sound. */
static void give_group(const struct chain *chain, const struct group *group,
                       const struct transducer_unit *unit, double sent)
{
    struct origin origin = *chain->talker;
    struct name name;
    struct match match = {NULL, 0};
    double value = sent * unit->scale + unit->offset;
    name_read(group->name, group->place, &name);
    label_origin(&origin, group->type, &name);
    if (!find_match(chain->map, group->type, group->unit, name.text, &match))
        give(chain, &origin, unit->unmapped, value);
    else if (channel_get(match.row->channel)->unit != unit->unit)
        tally_add(chain->tally, REASON_UNKNOWN_UNIT, chain->at);
    else if (!set_place(&origin, &match))
        tally_add(chain->tally, REASON_BAD_INSTANCE, chain->at);
    else
        give(chain, &origin, match.row->channel, value);
}

static void take_group(const struct chain *chain, const struct group *group)
{
    double sent;
    enum reason why = field_number(group->value, &sent);
    const struct transducer_unit *unit = find_unit(group->type, group->unit);
    if (why == FIELD_READ && !unit)
        why = REASON_UNKNOWN_UNIT;
    if (why == FIELD_READ)
        give_group(chain, group, unit, sent);
    else
        tally_add(chain->tally, why, chain->at);
}

/* --- chains ----------------------------------------------------------------------------------- */

static struct field chain_field(const struct chain *chain, size_t i)
{
    return i < chain->count ? chain->list[i] : (struct field){"", 0};
}

/* Whether a group visibly begins at field `i`: a type, a number or nothing, a unit of that type. */
static bool is_head(const struct chain *chain, size_t i)
{
    double number;
    if (i + 3 > chain->count)
        return false;
    enum reason why = field_number(chain->list[i + 1], &number);
    return (why == FIELD_READ || why == REASON_NOT_AVAILABLE) &&
           find_unit(field_letter(chain->list[i]), chain->list[i + 2]);
}

static bool are_heads(const struct chain *chain, size_t stride)
{
    for (size_t i = 0; i < chain->count; i += stride)
        if (!is_head(chain, i))
            return false;
    return true;
}

/* Four fields a group is the rule. Talkers that leave the name out send three. */
static bool is_aligned(const struct chain *chain)
{
    return chain->count % 4 == 0 && !(chain->count % 3 == 0 && are_heads(chain, 3));
}

/* In a chain that does not come out even, a group begins where one visibly does; fields between are
 * skipped and counted. Returns the first field of the next group. */
static size_t seek_head(const struct chain *chain, size_t i)
{
    size_t from = i;
    bool content = false;
    while (i < chain->count && !is_head(chain, i))
        content |= chain->list[i++].length > 0;
    if (i > from && content)
        tally_add(chain->tally, REASON_SHORT_MESSAGE, chain->at);
    return i;
}

/* How many fields the group at `i` has: a name that begins a group itself is none. */
static size_t group_fields(const struct chain *chain, size_t i)
{
    return !chain->aligned && is_head(chain, i + 3) ? 3 : 4;
}

static void take_chain(const struct chain *chain)
{
    size_t i = 0;
    for (unsigned place = 1; i < chain->count; place++) {
        if (!chain->aligned)
            i = seek_head(chain, i);
        if (i >= chain->count)
            break;
        size_t fields = group_fields(chain, i);
        struct field name = fields == 4 ? chain_field(chain, i + 3) : (struct field){"", 0};
        const struct group group = {field_letter(chain->list[i]), chain_field(chain, i + 1),
                                    chain_field(chain, i + 2), name, place};
        take_group(chain, &group);
        i += fields;
    }
}

void transducers_decode(const struct transducer_map *map, int64_t at, const struct fields *fields,
                        const struct origin *talker, const struct sink *sink, struct tally *tally)
{
    struct chain chain = {map, at, fields->list + 1, fields->count - 1, false, talker, sink, tally};
    chain.aligned = is_aligned(&chain);
    if (chain.count == 0)
        tally_add(tally, REASON_SHORT_MESSAGE, at);
    take_chain(&chain);
}

/* --- rows of the configuration ---------------------------------------------------------------- */

static bool type_is_known(char type)
{
    for (size_t i = 0; i < UNIT_ROWS; i++)
        if (transducer_units[i].type == type)
            return true;
    return false;
}

/* Whether some unit of the type (the row's unit, if it names one) is the channel's. */
static bool channel_is_reachable(const struct transducer_row *row)
{
    for (size_t i = 0; i < UNIT_ROWS; i++) {
        const struct transducer_unit *unit = &transducer_units[i];
        const struct field letter = {&unit->letter, unit->letter != '\0'};
        if (unit->type == row->type[0] && unit_matches(row->unit, letter) &&
            unit->unit == channel_get(row->channel)->unit)
            return true;
    }
    return false;
}

static bool name_is_sound(const char *name)
{
    for (const char *p = name; *p != '\0'; p++)
        if (!is_shown((unsigned char)*p))
            return false;
    return name[0] != '\0' && name[strlen(name) - 1] != ' ';
}

enum status transducer_row_check(const struct transducer_row *row, struct complaint *complaint)
{
    const char *number = strstr(row->name, "{n}");
    const struct field unit = {row->unit, strlen(row->unit)};
    if (!type_is_known(row->type[0]) || row->type[1] != '\0')
        return complain(complaint, STATUS_BAD_USAGE,
                        "\"%s\" is no transducer type; use one of the letters C (temperature), "
                        "P (pressure), T (revolutions), R (flow), V (volume), U (volts), "
                        "I (amperes), A, D, F, N, H, G, S or L",
                        row->type);
    if (unit.length > 0 && !find_unit(row->type[0], unit))
        return complain(complaint, STATUS_BAD_USAGE,
                        "the unit \"%s\" is not known for transducers of type %s; leave the unit "
                        "out to take every unit that fits",
                        row->unit, row->type);
    if (!name_is_sound(row->name))
        return complain(complaint, STATUS_BAD_USAGE,
                        "a transducer needs its name as it is sent, in plain characters; write "
                        "others as ^ and two hexadecimal digits");
    if ((number && strstr(number + 1, "{n}")) || (!number && row->engine == TRANSDUCER_NUMBERED))
        return complain(complaint, STATUS_BAD_USAGE,
                        "\"%s\" needs {n} once, where the number of the engine stands, or an "
                        "engine",
                        row->name);
    if (row->engine < TRANSDUCER_VESSEL || row->engine >= INSTANCE_MAX)
        return complain(complaint, STATUS_BAD_USAGE, "engines are numbered from 0 to %d",
                        INSTANCE_MAX - 1);
    if ((unsigned)row->channel >= CHANNEL_COUNT || !channel_is_reachable(row))
        return complain(complaint, STATUS_BAD_USAGE,
                        "a transducer of type %s cannot be that channel: its unit is another",
                        row->type);
    return STATUS_OK;
}
