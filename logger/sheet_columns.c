/* sheet_columns.c - the line that names the columns of a sheet. */
#include <string.h>

#include "sheet_inside.h"

/* --- what columns are called */

static const struct column_name {
    const char *name;
    enum channel_id channel;
    enum instrument_id instrument;
} column_names[] = {
    {"rpm", CHANNEL_ENGINE_SPEED, TACHOMETER},
    {"engine speed", CHANNEL_ENGINE_SPEED, TACHOMETER},
    {"held", CHANNEL_SPEED_HELD, TACHOMETER},
    {"held for", CHANNEL_SPEED_HELD, TACHOMETER},
    {"gauge", CHANNEL_COOLANT_TEMPERATURE, GAUGE},
    {"coolant gauge", CHANNEL_COOLANT_TEMPERATURE, GAUGE},
    {"coolant", CHANNEL_COOLANT_TEMPERATURE, GAUGE},
    {"thermostat housing", CHANNEL_COOLANT_TEMPERATURE, INFRARED},
    {"housing", CHANNEL_COOLANT_TEMPERATURE, INFRARED},
    {"jacket water in", CHANNEL_EXCHANGER_COOLANT_IN, INFRARED},
    {"jacket water out", CHANNEL_EXCHANGER_COOLANT_OUT, INFRARED},
    {"raw water in", CHANNEL_RAW_WATER_IN, INFRARED},
    {"raw water out", CHANNEL_RAW_WATER_OUT, INFRARED},
    {"sea", CHANNEL_SEA_TEMPERATURE, THERMOMETER},
    {"sea water", CHANNEL_SEA_TEMPERATURE, THERMOMETER},
    {"air", CHANNEL_AIR_TEMPERATURE, THERMOMETER},
    {"oil pressure", CHANNEL_OIL_PRESSURE, NO_INSTRUMENT},
    {"oil temperature", CHANNEL_OIL_TEMPERATURE, NO_INSTRUMENT},
    {"boost", CHANNEL_BOOST_PRESSURE, NO_INSTRUMENT},
    {"fuel", CHANNEL_FUEL_RATE, NO_INSTRUMENT},
    {"load", CHANNEL_ENGINE_LOAD, NO_INSTRUMENT},
    {"boat speed", CHANNEL_SPEED_OVER_GROUND, NO_INSTRUMENT},
};
#define COLUMN_NAMES (sizeof column_names / sizeof column_names[0])

/* --- the line of column names */

static bool find_column(const char *words, enum channel_id *channel, enum instrument_id *id)
{
    char key[WORDS_MAX];
    for (size_t i = 0; i < COLUMN_NAMES; i++)
        if (strcmp(column_names[i].name, words) == 0) {
            *channel = column_names[i].channel;
            *id = column_names[i].instrument;
            return true;
        }
    snprintf(key, sizeof key, "%s", words);
    for (char *c = key; *c; c++)
        *c = *c == ' ' ? '_' : *c;
    *channel = channel_find(key);
    *id = NO_INSTRUMENT;
    return *channel != CHANNEL_COUNT;
}

static struct origin make_origin(const struct reading *it, enum channel_id channel, int engine,
                                 enum instrument_id id)
{
    struct origin origin;
    memset(&origin, 0, sizeof origin);
    origin.protocol = PROTOCOL_SHEET;
    origin.place = (uint8_t)tabled_place(channel);
    if (origin.place != PLACE_VESSEL)
        origin.instance = (uint8_t)(engine >= 0 ? engine : it->engine);
    snprintf(origin.message, sizeof origin.message, "SHEET");
    if (id < INSTRUMENTS)
        snprintf(origin.label, sizeof origin.label, "%s", sheet_instruments[id].label);
    return origin;
}

static bool is_taken(const struct tabled *table, const struct origin *origin,
                     enum channel_id channel)
{
    for (size_t i = 0; i < table->column_count; i++)
        if (table->columns[i].channel == channel &&
            memcmp(&table->columns[i].origin, origin, sizeof *origin) == 0)
            return true;
    return false;
}

/* Two columns of one quantity and instrument keep their own names. */
static void tell_apart(const struct tabled *table, const char *words, enum channel_id channel,
                       struct origin *origin)
{
    for (int number = 1; is_taken(table, origin, channel); number++) {
        memset(origin->label, 0, sizeof origin->label);
        if (number == 1)
            snprintf(origin->label, sizeof origin->label, "%.30s", words);
        else
            snprintf(origin->label, sizeof origin->label, "%.30s %d", words, number);
        for (char *c = origin->label; *c; c++)
            *c = (unsigned char)*c < ' ' || (unsigned char)*c > '~' ? '_' : *c;
    }
}

/* What numbers are taken in where no unit is written. Which one a pressure or a fuel rate is in
 * nobody can see: that is told. */
static void assume_unit(struct tabled_column *column)
{
    enum unit stored = channel_get(column->channel)->unit;
    if (column->channel == CHANNEL_SPEED_HELD) {
        column->unit = written_unit_find("min", stored);
    } else if (stored == UNIT_METRE_PER_SECOND) {
        column->unit = written_unit_find("kn", stored);
    } else {
        column->unit = written_unit_of_several(stored);
        column->unit_assumed = column->unit != NULL;
    }
}

static enum status take_unit(const struct reading *it, size_t line, const char *name,
                             const char *unit, struct tabled_column *column)
{
    enum unit stored = channel_get(column->channel)->unit;
    char units[100];
    written_unit_list(stored, units, sizeof units);
    if (unit[0] == '\0' && stored != UNIT_DEGC) {
        assume_unit(column);
        return STATUS_OK;
    }
    column->unit = written_unit_find(unit, stored);
    if (column->unit)
        return STATUS_OK;
    return complain(it->complaint, STATUS_BAD_DATA,
                    "%.200s:%zu: the column \"%.40s\" does not say its unit%s; write it behind the "
                    "name in square brackets, one of: %s",
                    it->remarks->name, line, name, unit[0] ? " in words that are known" : "",
                    units);
}

static enum status add_value_column(struct reading *it, size_t line, const char *name,
                                    const char *words, int engine, const char *unit,
                                    struct cell_rule *rule)
{
    enum channel_id channel;
    enum instrument_id id;
    struct tabled *table = it->out;
    if (!find_column(words, &channel, &id)) {
        remark(it->remarks, SAY_WARNING, line,
               "the column \"%.40s\" is not known; it is kept in the raw lines only. Known are "
               "rpm, held, gauge, thermostat housing, jacket water in, jacket water out, raw water "
               "in, raw water out, sea, air, notes, and all channels of --help-config",
               name);
        return STATUS_OK;
    }
    if (table->column_count == TABLED_COLUMNS_MAX)
        return complain(it->complaint, STATUS_BAD_DATA, "%.200s:%zu: more than %d columns",
                        it->remarks->name, line, TABLED_COLUMNS_MAX);
    struct tabled_column *column = &table->columns[table->column_count];
    *column =
        (struct tabled_column){.origin = make_origin(it, channel, engine, id), .channel = channel};
    enum status status = take_unit(it, line, name, unit, column);
    if (status != STATUS_OK)
        return status;
    snprintf(column->name, sizeof column->name, "%.*s", (int)strcspn(name, "[("), name);
    for (size_t n = strlen(column->name); n > 0 && column->name[n - 1] == ' '; n--)
        column->name[n - 1] = '\0';
    tell_apart(table, words, channel, &column->origin);
    column->accuracy.by_hand = true;
    if (id < INSTRUMENTS && channel != CHANNEL_SPEED_HELD)
        sheet_accuracy(it, id, column);
    rule->kind = CELL_VALUE;
    rule->column = table->column_count++;
    return STATUS_OK;
}

/* "gauge °F", "gauge 1, °F": a unit without brackets, behind a name that is known. It is cut off
 * and goes to `unit`. */
static void take_bare_unit(char *words, char *unit, size_t room)
{
    enum channel_id channel;
    enum instrument_id id;
    char name[WORDS_MAX];
    char *blank = strrchr(words, ' ');
    if (unit[0] != '\0' || !blank || strlen(blank + 1) >= room)
        return;
    size_t length = (size_t)(blank - words);
    while (length > 0 && (words[length - 1] == ',' || words[length - 1] == ' '))
        length--;
    snprintf(name, sizeof name, "%.*s", (int)length, words);
    sheet_take_engine(name);
    if (find_column(words, &channel, &id) || !find_column(name, &channel, &id) ||
        !written_unit_find(blank + 1, channel_get(channel)->unit))
        return;
    snprintf(unit, room, "%s", blank + 1);
    words[length] = '\0';
}

static enum status take_column(struct reading *it, size_t line, const char *name,
                               struct cell_rule *rule)
{
    char words[WORDS_MAX], unit[24];
    sheet_words(name, words, sizeof words, unit, sizeof unit);
    snprintf(rule->name, sizeof rule->name, "%.90s", name);
    if (strcmp(words, "time") == 0)
        rule->kind = CELL_TIME;
    else if (strcmp(words, "plan") == 0)
        rule->kind = CELL_PLAN;
    else if (strcmp(words, "date") == 0)
        rule->kind = CELL_DATE;
    else if (strcmp(words, "notes") == 0 || strcmp(words, "note") == 0 ||
             strcmp(words, "remarks") == 0)
        rule->kind = CELL_NOTES;
    else if (words[0] != '\0') {
        take_bare_unit(words, unit, sizeof unit);
        int engine = sheet_take_engine(words);
        return add_value_column(it, line, name, words, engine, unit, rule);
    }
    return STATUS_OK;
}

/* The line of column names: one is "time", and another is known. */
bool sheet_is_column_line(const struct cells *row)
{
    bool time = false, known = false;
    for (size_t i = 0; i < row->count; i++) {
        char words[WORDS_MAX];
        enum channel_id channel;
        enum instrument_id id;
        sheet_words(row->cell[i], words, sizeof words, NULL, 0);
        time |= strcmp(words, "time") == 0;
        sheet_take_engine(words);
        known |= find_column(words, &channel, &id);
    }
    return time && known;
}

enum status sheet_column_line(struct reading *it, const struct cells *row)
{
    enum status status = STATUS_OK;
    it->cell_count = row->count;
    it->named_count = rows_filled(row);
    for (size_t i = 0; i < row->count && status == STATUS_OK; i++) {
        it->cells[i] = (struct cell_rule){.kind = CELL_IGNORED};
        status = take_column(it, row->line, row->cell[i], &it->cells[i]);
    }
    return status;
}
