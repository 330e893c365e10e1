/* sheet.c - see sheet.h. */
#include "sheet.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "rows.h"
#include "written.h"

#define WORDS_MAX 96
#define VALUE_MAX 1000
#define DAY_S 86400.0
#define SAME_RPM 25.0    /* speeds within this, or ... */
#define SAME_RATIO 0.015 /* ... this share, are one speed: as holds are found */

/* --- instruments */

enum instrument_id { TACHOMETER, GAUGE, INFRARED, THERMOMETER, INSTRUMENTS, NO_INSTRUMENT };

/* What is taken where the sheet does not say it (common practice, no source): steps as they are
 * read; `right` the most it is off for good, `repeats` the most it is off from reading to reading. */
static const struct instrument {
    const char *key;   /* in the head of a sheet: "gauge read to" */
    const char *label; /* in the run file */
    enum unit unit;
    double step, right, repeats;
    const char *step_words; /* for people */
} instruments[INSTRUMENTS] = {
    [TACHOMETER] = {"tachometer", "tachometer", UNIT_RPM, 50, 0, 0, "50 rpm"},
    [GAUGE] = {"gauge", "gauge", UNIT_DEGC, 5 / 1.8, 3, 1, "5 °F, right to 3 °C"},
    [INFRARED] = {"infrared thermometer", "infrared", UNIT_DEGC, 0.1, 2, 1,
                  "0.1 °C, right to 2 °C"},
    [THERMOMETER] = {"sea thermometer", "thermometer", UNIT_DEGC, 0.5, 0.5, 0.2,
                     "0.5 °C, right to 0.5 °C"},
};

/* The error of an infrared thermometer from the emissivity E of the surface, for a surface of
 * temperature T among surroundings of temperature A, all in kelvin. Seen at a wavelength w, Wien's
 * law makes the radiance go with T^n, n = c2 / (w T), and what is reflected with 1 - E; so
 *     dT = T / n (1 - (A / T)^n) dE / E.
 * c2 = 14388 um K (CODATA 2018); w = 10 um, within the 8 to 14 um of such thermometers. */
#define WIEN_C2 14388.0
#define WAVELENGTH 10.0
#define SURFACE_K (KELVIN_AT_0_DEGC + 80)
#define SURROUNDINGS_K (KELVIN_AT_0_DEGC + 35)
#define EMISSIVITY 0.95       /* matt paint, tape (common practice, no source) */
#define EMISSIVITY_RIGHT 0.03 /* how far it may be from that */

static double emissivity_kelvin(double relative)
{
    double n = WIEN_C2 / (WAVELENGTH * SURFACE_K);
    return SURFACE_K / n * (1 - pow(SURROUNDINGS_K / SURFACE_K, n)) * relative;
}

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

/* --- a sheet on its way */

enum cell_kind { CELL_IGNORED, CELL_PLAN, CELL_TIME, CELL_DATE, CELL_NOTES, CELL_VALUE };

struct cell_rule {
    enum cell_kind kind;
    size_t column; /* of the table, for values */
    const struct written_unit *unit;
    char name[WORDS_MAX];
};

struct reading {
    const struct remarks *remarks;
    struct tabled *out;
    struct complaint *complaint;
    bool comma; /* decimal comma */
    /* the head */
    struct said {
        double step, right, repeats; /* NaN: not said */
        char words[64];
    } said[INSTRUMENTS];
    double emissivity, emissivity_right;
    bool has_date, has_zone;
    struct written_date date;
    double zone;  /* s ahead of UTC */
    double began; /* s of the day; NaN */
    double held;  /* s; NaN: not said */
    int engine;
    /* the table */
    size_t cell_count;
    struct cell_rule cells[CELLS_ROW_MAX];
    int64_t day;      /* added to the date, for runs past midnight */
    double last_time; /* s of the day */
};

static double or_else(double value, double fallback)
{
    return isnan(value) ? fallback : value;
}

/* "Thermostat (start, full):" becomes "thermostat": lower case, one blank between words, without what
 * is in brackets. The unit in square brackets, or round ones if `unit` is wanted, goes there. */
static void plain_words(const char *text, char *to, size_t room, char *unit, size_t unit_room)
{
    size_t n = 0;
    if (unit)
        unit[0] = '\0';
    for (; *text && n + 1 < room; text++) {
        if (*text == '[' || *text == '(') {
            size_t length = strcspn(text + 1, "])");
            if (unit && length < unit_room)
                snprintf(unit, unit_room, "%.*s", (int)length, text + 1);
            text += text[1 + length] ? 1 + length : length;
        } else if (isspace((unsigned char)*text) || *text == '_' || *text == ':') {
            if (n > 0 && to[n - 1] != ' ')
                to[n++] = ' ';
        } else {
            to[n++] = (char)tolower((unsigned char)*text);
        }
    }
    while (n > 0 && to[n - 1] == ' ')
        n--;
    to[n] = '\0';
}

/* Takes the number off the end of "gauge 1"; -1 if there is none. */
static int take_engine(char *words)
{
    size_t n = strlen(words), digits = 0;
    while (digits < n && isdigit((unsigned char)words[n - digits - 1]))
        digits++;
    if (digits == 0 || digits > 3 || n <= digits || words[n - digits - 1] != ' ')
        return -1;
    int engine = atoi(words + n - digits);
    words[n - digits - 1] = '\0';
    return engine < INSTANCE_MAX ? engine : -1;
}

/* --- the head: numbers with units */

/* Between the two numbers of a pair. */
static bool take_between(const char **text)
{
    static const char *const words[] = {",", ";", "to", "-", "/", "\xE2\x80\x93", "...", "and"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        size_t n = strlen(words[i]);
        if (strncmp(*text, words[i], n) == 0) {
            *text += n + strspn(*text + n, " ");
            return true;
        }
    }
    return false;
}

static bool take_numbers(const char *text, bool comma, double *number, size_t count,
                         const char **rest)
{
    for (size_t i = 0; i < count; i++) {
        if (i > 0 && !take_between(&text))
            return false;
        if (!take_written_number(&text, comma, &number[i]))
            return false;
    }
    *rest = text;
    return true;
}

/* One or two numbers and a unit, in the stored unit. Without a unit it is the stored one. With ±
 * in front or behind, as "± 2 °C", that is left out. */
static bool read_quantity(const struct reading *it, const char *text, enum unit unit,
                          bool difference, double *number, size_t count)
{
    const char *rest;
    if (strncmp(text, "\xC2\xB1", 2) == 0)
        text += 2;
    if (!take_numbers(text, it->comma, number, count, &rest) &&
        !take_numbers(text, false, number, count, &rest))
        return false;
    rest += strspn(rest, ", ");
    const struct written_unit *row = *rest ? written_unit_find(rest, unit) : NULL;
    if (*rest && !row)
        return false;
    for (size_t i = 0; row && i < count; i++)
        number[i] = number[i] * row->factor + (difference ? 0 : row->offset);
    return true;
}

static void tell_unread(const struct reading *it, size_t line, const char *key, const char *value,
                        const char *wanted)
{
    tally_add(&it->out->tally, REASON_NOT_A_NUMBER, 0);
    remark(it->remarks, SAY_WARNING, line, "%s = \"%.60s\" is not understood and left out; %s", key,
           value, wanted);
}

/* --- the head: keys that are no facts */

static void head_date(struct reading *it, size_t line, const char *key, const char *value)
{
    const char *text = value;
    if (take_written_date(&text, &it->date) && *text == '\0')
        it->has_date = true;
    else
        tell_unread(it, line, key, value, "write it as 2026-11-25 or 25.11.2026");
}

static void head_zone(struct reading *it, size_t line, const char *key, const char *value)
{
    const char *text = value;
    if (take_written_zone(&text, &it->zone) && *text == '\0')
        it->has_zone = true;
    else
        tell_unread(it, line, key, value, "write how far the clock is ahead of UTC, as +02:00");
}

static void head_began(struct reading *it, size_t line, const char *key, const char *value)
{
    const char *text = value;
    if (!take_written_time(&text, &it->began) || *text != '\0') {
        it->began = NAN;
        tell_unread(it, line, key, value, "write the time of day as 09:40");
    }
}

static void head_held(struct reading *it, size_t line, const char *key, const char *value)
{
    double held;
    const char *text = value;
    bool bare = take_written_number(&text, it->comma, &held) && *text == '\0';
    if ((bare || read_quantity(it, value, UNIT_SECOND, false, &held, 1)) && held > 0 &&
        held < DAY_S)
        it->held = bare ? held * 60 : held;
    else
        tell_unread(it, line, key, value, "write how long each speed was held, as 5 min");
}

static void head_engine(struct reading *it, size_t line, const char *key, const char *value)
{
    double number;
    if (read_written_number(value, false, &number) && number >= 0 && number < INSTANCE_MAX &&
        number == floor(number))
        it->engine = (int)number;
    else
        tell_unread(it, line, key, value, "engines are numbered from 0");
}

static void head_emissivity(struct reading *it, size_t line, const char *key, const char *value)
{
    double number;
    if (read_written_number(value, it->comma, &number) && number >= 0.1 && number <= 1)
        it->emissivity = number;
    else
        tell_unread(it, line, key, value, "it is a number from 0.1 to 1, for matt paint 0.95");
}

static void head_emissivity_right(struct reading *it, size_t line, const char *key,
                                  const char *value)
{
    double number;
    if (strncmp(value, "\xC2\xB1", 2) == 0)
        value += 2;
    if (read_written_number(value, it->comma, &number) && number >= 0 && number <= 0.5)
        it->emissivity_right = number;
    else
        tell_unread(it, line, key, value, "it is a number from 0 to 0.5, for matt paint 0.03");
}

static const struct head_key {
    const char *key;
    void (*take)(struct reading *it, size_t line, const char *key, const char *value);
} head_keys[] = {
    {"date", head_date},
    {"time zone", head_zone},
    {"engine started", head_began},
    {"held", head_held},
    {"speeds held for", head_held},
    {"engine number", head_engine},
    {"emissivity", head_emissivity},
    {"emissivity right to", head_emissivity_right},
    {"searun sheet", NULL}, /* the name of the layout */
};
#define HEAD_KEYS (sizeof head_keys / sizeof head_keys[0])

static bool take_head_key(struct reading *it, size_t line, const char *key, const char *value)
{
    for (size_t i = 0; i < HEAD_KEYS; i++) {
        if (strcmp(head_keys[i].key, key) != 0)
            continue;
        if (head_keys[i].take && value[0])
            head_keys[i].take(it, line, key, value);
        return true;
    }
    return false;
}

/* --- the head: instruments */

static void take_said(struct reading *it, size_t line, enum instrument_id id, const char *what,
                      const char *value)
{
    struct said *said = &it->said[id];
    const struct instrument *row = &instruments[id];
    double number, *to = strcmp(what, "read to") == 0    ? &said->step
                         : strcmp(what, "right to") == 0 ? &said->right
                                                         : &said->repeats;
    char wanted[120], units[60];
    written_unit_list(row->unit, units, sizeof units);
    snprintf(wanted, sizeof wanted, "write a number and its unit (%s)", units);
    if (read_quantity(it, value, row->unit, true, &number, 1) && number >= 0 && number < 1000)
        *to = number;
    else
        tell_unread(it, line, what, value, wanted);
}

/* Cut at a whole UTF-8 character where there is no room. */
static void copy_words(char *to, size_t room, const char *text)
{
    size_t n = strnlen(text, room - 1);
    while (n > 0 && ((unsigned char)text[n] & 0xC0) == 0x80)
        n--;
    memcpy(to, text, n);
    to[n] = '\0';
}

/* "gauge read to", "infrared thermometer right to", or the name alone: which one it is. */
static bool take_instrument(struct reading *it, size_t line, const char *key, const char *value)
{
    static const char *const whats[] = {"read to", "right to", "repeats to"};
    for (size_t i = 0; i < INSTRUMENTS; i++) {
        size_t n = strlen(instruments[i].key);
        if (strncmp(key, instruments[i].key, n) != 0)
            continue;
        if (key[n] == '\0') {
            copy_words(it->said[i].words, sizeof it->said[i].words, value);
            return true;
        }
        for (size_t k = 0; k < sizeof whats / sizeof whats[0]; k++)
            if (key[n] == ' ' && strcmp(key + n + 1, whats[k]) == 0) {
                if (value[0])
                    take_said(it, line, (enum instrument_id)i, whats[k], value);
                return true;
            }
    }
    return false;
}

/* --- the head: facts */

static const struct fact_row *find_fact(const char *words)
{
    char key[WORDS_MAX], title[WORDS_MAX];
    if (strcmp(words, "boat") == 0)
        return fact_row_find(FACT_BOAT, "name");
    for (size_t i = 0; i < fact_row_count; i++) {
        plain_words(fact_rows[i].key, key, sizeof key, NULL, 0);
        plain_words(fact_rows[i].title, title, sizeof title, NULL, 0);
        if (strcmp(words, key) == 0 || strcmp(words, title) == 0)
            return &fact_rows[i];
    }
    return NULL;
}

/* Facts in degC may be written in another unit. */
static bool is_temperature(const struct fact_row *row)
{
    return strstr(row->help, "degC") != NULL;
}

static void fact_text(const struct reading *it, const struct fact_row *row, const char *value,
                      char *to, size_t room)
{
    double number[2];
    enum unit unit = is_temperature(row) ? UNIT_DEGC : UNIT_ONE;
    snprintf(to, room, "%s", value);
    if (row->kind == FACT_PAIR && read_quantity(it, value, unit, false, number, 2))
        snprintf(to, room, "%.6g, %.6g", number[0], number[1]);
    else if (row->kind == FACT_NUMBER && read_quantity(it, value, unit, false, number, 1))
        snprintf(to, room, "%.6g", number[0]);
    for (char *c = to; row->kind == FACT_CHOICE && *c; c++)
        *c = (char)tolower((unsigned char)*c);
}

static bool take_fact(struct reading *it, size_t line, char *key, const char *value)
{
    struct complaint complaint = {""};
    char text[VALUE_MAX + 8];
    const struct fact_row *row = find_fact(key);
    int engine = row ? -1 : take_engine(key);
    if (!row)
        row = find_fact(key);
    if (!row)
        return false;
    if (row->section != FACT_ENGINE)
        engine = 0;
    else if (engine < 0)
        engine = it->engine;
    fact_text(it, row, value, text, sizeof text);
    if (facts_set(&it->out->facts, row->section, engine, row->key, text, &complaint) != STATUS_OK) {
        tally_add(&it->out->tally, REASON_NOT_A_NUMBER, 0);
        remark(it->remarks, SAY_WARNING, line, "left out: %s", complaint.text);
    }
    return true;
}

/* The cells behind the key, with commas between; empty ones at the end are nothing. */
static void join_cells(const struct cells *row, char *to, size_t room)
{
    size_t last = row->count, n = 0;
    while (last > 1 && row->cell[last - 1][0] == '\0')
        last--;
    to[0] = '\0';
    for (size_t i = 1; i < last && n + 1 < room; i++)
        n += (size_t)snprintf(to + n, room - n, "%s%s", i > 1 ? ", " : "", row->cell[i]);
}

static enum status take_head_line(struct reading *it, const struct cells *row)
{
    char key[WORDS_MAX], value[VALUE_MAX], text[256];
    if (row->count == 0 || row->cell[0][0] == '#' || rows_is_blank(row))
        return STATUS_OK;
    plain_words(row->cell[0], key, sizeof key, NULL, 0);
    join_cells(row, value, sizeof value);
    if (value[0] == '\0' && row->count < 2)
        snprintf(value, sizeof value, "%s", ""); /* a line of words only: a title or a caution */
    if (take_head_key(it, row->line, key, value) || take_instrument(it, row->line, key, value))
        return STATUS_OK;
    if (value[0] == '\0' || take_fact(it, row->line, key, value))
        return STATUS_OK;
    remark(it->remarks, SAY_NOTE, row->line, "\"%.60s\" is no line that is known; kept as a note",
           row->cell[0]);
    snprintf(text, sizeof text, "%.60s: %.180s", row->cell[0], value);
    return tabled_add_remark(it->out, "note", text);
}

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

/* Limits to either side are taken as rectangular (JCGM 100, 4.3.7). Half the variance of an infrared
 * thermometer's limit is taken to be the instrument's for good, the other half to come anew every
 * day, from where and how it is pointed (no source). */
static void fill_accuracy(const struct reading *it, enum instrument_id id, struct accuracy *to)
{
    const struct instrument *row = &instruments[id];
    const struct said *said = &it->said[id];
    double right = or_else(said->right, row->right) / sqrt(3.0);
    double repeats = or_else(said->repeats, row->repeats);
    if (id == INFRARED && isnan(said->repeats) && !isnan(said->right))
        repeats = said->right / 2;
    to->step = or_else(said->step, row->step);
    to->reading_u = repeats / sqrt(3.0);
    to->instrument_u = right;
    if (id == INFRARED) {
        double relative = it->emissivity_right / it->emissivity / sqrt(3.0);
        to->instrument_u = right / sqrt(2.0);
        to->run_u = hypot(right / sqrt(2.0), emissivity_kelvin(relative));
    }
    snprintf(to->instrument, sizeof to->instrument, "%s", said->words[0] ? said->words : row->key);
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
        snprintf(origin.label, sizeof origin.label, "%s", instruments[id].label);
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

static enum status take_unit(const struct reading *it, size_t line, const char *name,
                             const char *unit, enum channel_id channel, struct cell_rule *rule)
{
    enum unit stored = channel_get(channel)->unit;
    char units[100];
    written_unit_list(stored, units, sizeof units);
    if (unit[0] == '\0' && stored != UNIT_DEGC) {
        rule->unit = channel == CHANNEL_SPEED_HELD ? written_unit_find("min", stored) : NULL;
        return STATUS_OK;
    }
    rule->unit = written_unit_find(unit, stored);
    if (rule->unit)
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
    enum status status = take_unit(it, line, name, unit, channel, rule);
    if (status != STATUS_OK)
        return status;
    struct tabled_column *column = &table->columns[table->column_count];
    *column =
        (struct tabled_column){.origin = make_origin(it, channel, engine, id), .channel = channel};
    tell_apart(table, words, channel, &column->origin);
    column->accuracy.by_hand = true;
    if (id < INSTRUMENTS && channel != CHANNEL_SPEED_HELD)
        fill_accuracy(it, id, &column->accuracy);
    rule->kind = CELL_VALUE;
    rule->column = table->column_count++;
    return STATUS_OK;
}

static enum status take_column(struct reading *it, size_t line, const char *name,
                               struct cell_rule *rule)
{
    char words[WORDS_MAX], unit[24];
    plain_words(name, words, sizeof words, unit, sizeof unit);
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
        int engine = take_engine(words);
        return add_value_column(it, line, name, words, engine, unit, rule);
    }
    return STATUS_OK;
}

/* The line of column names: one is "time", and another is known. */
static bool is_column_line(const struct cells *row)
{
    bool time = false, known = false;
    for (size_t i = 0; i < row->count; i++) {
        char words[WORDS_MAX];
        enum channel_id channel;
        enum instrument_id id;
        plain_words(row->cell[i], words, sizeof words, NULL, 0);
        time |= strcmp(words, "time") == 0;
        take_engine(words);
        known |= find_column(words, &channel, &id);
    }
    return time && known;
}

static enum status take_column_line(struct reading *it, const struct cells *row)
{
    enum status status = STATUS_OK;
    it->cell_count = row->count;
    for (size_t i = 0; i < row->count && status == STATUS_OK; i++) {
        it->cells[i] = (struct cell_rule){.kind = CELL_IGNORED};
        status = take_column(it, row->line, row->cell[i], &it->cells[i]);
    }
    return status;
}

/* --- rows */

static const char *cell_of(const struct reading *it, const struct cells *row, enum cell_kind kind)
{
    for (size_t i = 0; i < it->cell_count && i < row->count; i++)
        if (it->cells[i].kind == kind)
            return row->cell[i];
    return "";
}

/* The instant of a row. Times go on past midnight. */
static bool row_time(struct reading *it, const struct cells *row, int64_t *unix_us)
{
    double seconds;
    const char *time = cell_of(it, row, CELL_TIME), *date = cell_of(it, row, CELL_DATE);
    struct written_date day = it->date;
    const char *text = time;
    if (!take_written_time(&text, &seconds) || *text != '\0')
        return false;
    if (date[0] != '\0' && (!take_written_date(&date, &day) || *date != '\0'))
        return false;
    if (cell_of(it, row, CELL_DATE)[0] != '\0')
        it->day = 0;
    else if (seconds < it->last_time - DAY_S / 2)
        it->day++;
    if (it->day == 0 && seconds < it->last_time && seconds >= it->last_time - DAY_S / 2)
        remark(it->remarks, SAY_NOTE, row->line,
               "%s lies before the time of the row above; rows are put into the order of time",
               time);
    it->last_time = seconds;
    *unix_us = written_unix_us(&day, seconds - it->zone + (double)it->day * DAY_S);
    return true;
}

static bool is_nothing(const char *cell)
{
    return cell[0] == '\0' || strcmp(cell, "-") == 0 || strcmp(cell, "--") == 0 ||
           strcasecmp(cell, "n/a") == 0;
}

/* "1,800": nobody can tell whether that is 1800 or 1.8. */
static bool is_ambiguous(const struct reading *it, const char *cell)
{
    const char *mark = strpbrk(cell, ".,");
    return mark && mark > cell && (it->comma || *mark == ',') &&
           strspn(mark + 1, "0123456789") == 3 && mark[4] == '\0';
}

static void take_cell(struct reading *it, const struct cells *row, size_t i, double *values)
{
    const struct cell_rule *rule = &it->cells[i];
    const char *cell = row->cell[i];
    double number;
    if (rule->kind != CELL_VALUE || is_nothing(cell))
        return;
    if (is_ambiguous(it, cell) || !read_written_number(cell, it->comma, &number)) {
        tally_add(&it->out->tally, REASON_NOT_A_NUMBER, 0);
        remark(it->remarks, SAY_WARNING, row->line,
               "\"%.40s\" under %s is not a number that can be read in one way only; it was left "
               "out. Write it as 1800 or 82.5%s",
               cell, rule->name, it->comma ? " or 82,5" : "");
        return;
    }
    if (rule->unit)
        number = number * rule->unit->factor + rule->unit->offset;
    tabled_put(it->out, values, rule->column, number, row->line, it->remarks);
}

static bool refuse_row(const struct reading *it, const struct cells *row)
{
    const char *time = cell_of(it, row, CELL_TIME);
    tally_add(&it->out->tally, REASON_BAD_ROW, 0);
    remark(it->remarks, SAY_WARNING, row->line,
           "%s%.40s%s: the row was not taken. Write the time of day as 10:15 (and a date, where "
           "there is one, as 2026-11-25)",
           time[0] ? "\"" : "no time", time, time[0] ? "\" is no time" : "");
    return true;
}

/* Nothing was written into it; what was planned may stand there. */
static bool is_empty(const struct reading *it, const struct cells *row)
{
    for (size_t i = 0; i < row->count; i++)
        if (row->cell[i][0] != '\0' && !(i < it->cell_count && it->cells[i].kind == CELL_PLAN))
            return false;
    return row->beyond == 0;
}

static enum status take_row(struct reading *it, const struct cells *row)
{
    int64_t unix_us;
    if (is_empty(it, row) || row->cell[0][0] == '#')
        return STATUS_OK;
    if (row->unclosed)
        remark(it->remarks, SAY_WARNING, row->line,
               "a quotation mark is opened here and never closed: all that follows is one row");
    if (!row_time(it, row, &unix_us)) {
        refuse_row(it, row);
        return STATUS_OK;
    }
    double *values = tabled_add_row(it->out, unix_us, row->line);
    if (!values)
        return STATUS_MEMORY;
    for (size_t i = 0; i < row->count && i < it->cell_count; i++)
        take_cell(it, row, i, values);
    for (size_t i = it->cell_count; i < row->count; i++)
        if (row->cell[i][0])
            remark(it->remarks, SAY_WARNING, row->line,
                   "\"%.40s\" stands in no named column; kept in the raw lines only", row->cell[i]);
    const char *note = cell_of(it, row, CELL_NOTES);
    tally_add(&it->out->tally, REASON_ROWS, 0);
    if (note[0] == '\0')
        return STATUS_OK;
    it->out->rows[it->out->row_count - 1].note = strdup(note);
    return it->out->rows[it->out->row_count - 1].note ? STATUS_OK : STATUS_MEMORY;
}

/* --- how long speeds were held */

static size_t find_value(const struct tabled *table, const struct origin *origin,
                         enum channel_id channel)
{
    for (size_t i = 0; i < table->column_count; i++)
        if (table->columns[i].channel == channel &&
            memcmp(&table->columns[i].origin, origin, sizeof *origin) == 0)
            return i;
    return SIZE_MAX;
}

static bool same_speed(double a, double b, double step)
{
    return fabs(a - b) <= fmax(fmax(SAME_RPM, SAME_RATIO * fabs(a)), 0.75 * step);
}

/* A speed cannot have been held longer than another one was read ago. */
static void bound_held(const struct reading *it, size_t row, size_t speed, size_t held)
{
    struct tabled *table = it->out;
    double *values = table->values;
    size_t width = table->column_count;
    double own = values[row * width + speed], step = table->columns[speed].accuracy.step;
    for (size_t i = row; i-- > 0;) {
        double other = values[i * width + speed];
        double ago = (double)(table->rows[row].unix_us - table->rows[i].unix_us) / 1e6;
        if (isnan(other) || same_speed(own, other, step))
            continue;
        if (ago >= values[row * width + held])
            return;
        remark(it->remarks, SAY_WARNING, table->rows[row].line,
               "%.0f rpm was read %.1f minutes before, so this speed cannot have been held for "
               "%.1f; %.1f are taken",
               other, ago / 60, values[row * width + held] / 60, ago / 60);
        values[row * width + held] = ago;
        return;
    }
}

static void fill_held(const struct reading *it, size_t speed, size_t held)
{
    struct tabled *table = it->out;
    for (size_t i = 0; i < table->row_count; i++) {
        double *row = table->values + i * table->column_count;
        if (isnan(row[speed]))
            continue;
        if (isnan(row[held]) && !isnan(it->held)) {
            row[held] = it->held;
            table->columns[held].readings++;
        }
        if (!isnan(row[held]))
            bound_held(it, i, speed, held);
    }
}

/* Every column of speed gets one beside it for how long it was held, before any row is read. */
static enum status add_held_columns(struct reading *it)
{
    struct tabled *table = it->out;
    for (size_t i = 0, n = table->column_count; i < n; i++) {
        const struct tabled_column *speed = &table->columns[i];
        if (speed->channel != CHANNEL_ENGINE_SPEED ||
            find_value(table, &speed->origin, CHANNEL_SPEED_HELD) != SIZE_MAX)
            continue;
        if (table->column_count == TABLED_COLUMNS_MAX)
            return complain(it->complaint, STATUS_BAD_DATA, "%.200s: more than %d columns",
                            it->remarks->name, TABLED_COLUMNS_MAX);
        table->columns[table->column_count++] = (struct tabled_column){
            .origin = speed->origin, .channel = CHANNEL_SPEED_HELD, .accuracy = {.by_hand = true}};
    }
    return STATUS_OK;
}

static void fill_all_held(const struct reading *it)
{
    struct tabled *table = it->out;
    bool any = false, speeds = false;
    for (size_t i = 0; i < table->column_count; i++) {
        if (table->columns[i].channel != CHANNEL_ENGINE_SPEED)
            continue;
        size_t held = find_value(table, &table->columns[i].origin, CHANNEL_SPEED_HELD);
        speeds |= table->columns[i].readings > 0;
        fill_held(it, i, held);
        any |= table->columns[held].readings > 0;
    }
    if (speeds && !any)
        remark(
            it->remarks, SAY_WARNING, 0,
            "nothing says how long each speed was held before it was read, so no reading can be "
            "compared; write a line \"held, 5 min\" above the table, or a column \"held [min]\"");
}

/* --- the whole sheet */

static void begin(struct reading *it)
{
    it->emissivity = EMISSIVITY;
    it->emissivity_right = EMISSIVITY_RIGHT;
    it->began = it->held = NAN;
    it->last_time = -INFINITY;
    for (size_t i = 0; i < INSTRUMENTS; i++)
        it->said[i] = (struct said){NAN, NAN, NAN, ""};
}

/* What was assumed of instruments in use. */
static void tell_assumed(const struct reading *it)
{
    for (size_t id = 0; id < INSTRUMENTS; id++) {
        bool used = false;
        for (size_t i = 0; i < it->out->column_count; i++)
            used |= it->out->columns[i].readings > 0 &&
                    strcmp(it->out->columns[i].origin.label, instruments[id].label) == 0;
        if (used && isnan(it->said[id].step) && isnan(it->said[id].right))
            remark(it->remarks, SAY_NOTE, 0,
                   "the sheet does not say how well the %s is read; it is taken to be read to %s",
                   instruments[id].key, instruments[id].step_words);
    }
}

static enum status check_head(const struct reading *it, size_t line)
{
    bool dated = it->has_date;
    for (size_t i = 0; i < it->cell_count; i++)
        dated |= it->cells[i].kind == CELL_DATE;
    if (!dated)
        return complain(it->complaint, STATUS_BAD_DATA,
                        "%.200s:%zu: no date stands above the table; write a line \"date, "
                        "2026-11-25\" there",
                        it->remarks->name, line);
    if (!it->has_zone)
        remark(it->remarks, SAY_NOTE, 0,
               "the sheet does not say how its clock was set; times are taken as UTC. A line "
               "\"time zone, +02:00\" says otherwise");
    return STATUS_OK;
}

static enum status read_all(struct reading *it, struct rows *csv, struct cells *row)
{
    enum status status = STATUS_OK;
    bool in_table = false;
    while (status == STATUS_OK && rows_next(csv, row)) {
        if (in_table) {
            status = take_row(it, row);
        } else if (is_column_line(row)) {
            in_table = true;
            status = take_column_line(it, row);
            if (status == STATUS_OK)
                status = check_head(it, row->line);
            if (status == STATUS_OK)
                status = add_held_columns(it);
        } else {
            status = take_head_line(it, row);
        }
    }
    if (status != STATUS_OK)
        return status;
    if (!in_table)
        return complain(it->complaint, STATUS_BAD_DATA,
                        "%.200s: no line names the columns; one is wanted that has \"time\" and "
                        "\"rpm\" in it, as in the sheet of searun-logger --blank-sheet",
                        it->remarks->name);
    if (it->out->row_count == 0)
        return complain(it->complaint, STATUS_BAD_DATA,
                        "%.200s: there is no row with a time and readings below the column names",
                        it->remarks->name);
    return STATUS_OK;
}

/* Instant 0: when the engine was started, or else when the first speed was set. */
static void find_start(const struct reading *it)
{
    struct tabled *table = it->out;
    int64_t start = table->rows[0].unix_us;
    for (size_t i = 0; i < table->row_count; i++)
        for (size_t c = 0; c < table->column_count; c++) {
            double held = table->values[i * table->column_count + c];
            if (table->columns[c].channel != CHANNEL_SPEED_HELD || isnan(held))
                continue;
            int64_t since = table->rows[i].unix_us - (int64_t)(held * 1e6);
            start = since < start ? since : start;
        }
    if (it->has_date && !isnan(it->began)) {
        int64_t began = written_unix_us(&it->date, it->began - it->zone);
        start = began < start && start - began < (int64_t)(DAY_S * 1e6) ? began : start;
    }
    table->start_unix_us = start;
}

enum status sheet_read(const char *text, size_t length, const struct remarks *remarks,
                       struct tabled *out, struct complaint *complaint)
{
    struct rows csv;
    struct cells *row = malloc(sizeof *row);
    struct reading *it = calloc(1, sizeof *it);
    enum status status = rows_open(&csv, text, length);
    if (!row || !it)
        status = STATUS_MEMORY;
    if (status == STATUS_OK) {
        *it = (struct reading){.remarks = remarks, .out = out, .complaint = complaint};
        it->comma = csv.separator != ',';
        begin(it);
        status = read_all(it, &csv, row);
    }
    if (status == STATUS_OK)
        status = tabled_sort(out);
    if (status == STATUS_OK) {
        fill_all_held(it);
        tell_assumed(it);
        find_start(it);
    }
    rows_close(&csv);
    free(row);
    free(it);
    return status == STATUS_MEMORY ? complain(complaint, status, "no memory left") : status;
}
