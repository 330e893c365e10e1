/* sheet_head.c - the lines above the table: facts, dates, and what is stated of the instruments. */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "sheet_inside.h"

#define VALUE_MAX 1000

/* --- instruments */

/* What is taken where the sheet does not say it (common practice, no source): steps as they are
 * read; `right` the most it is off for good, `repeats` the most it is off from reading to
 * reading. */
const struct instrument sheet_instruments[INSTRUMENTS] = {
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

static double or_else(double value, double fallback)
{
    return isnan(value) ? fallback : value;
}

/* "Thermostat (start, full):" becomes "thermostat": lower case, one blank between words, without
 * what is in brackets. The unit in square brackets, or round ones if `unit` is wanted, goes
 * there. */
void sheet_words(const char *text, char *to, size_t room, char *unit, size_t unit_room)
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
int sheet_take_engine(char *words)
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

bool sheet_read_date(const char *text, struct written_date *date)
{
    const char *again = text;
    return (take_written_date(&text, date) && *text == '\0') ||
           (take_slashed_date(&again, date) && *again == '\0');
}

static bool has_year(const char *text)
{
    for (; *text; text++) {
        size_t digits = strspn(text, "0123456789");
        if (digits >= 4)
            return true;
        text += digits > 0 ? digits - 1 : 0;
    }
    return false;
}

const char *sheet_date_doubt(const char *text)
{
    if (strchr(text, '/'))
        return "; with slashes nobody can tell day from month";
    return has_year(text) ? "" : "; the year is wanted with all four digits";
}

static void head_date(struct reading *it, size_t line, const char *key, const char *value)
{
    char wanted[120];
    snprintf(wanted, sizeof wanted, "write it as 2026-11-25 or 25.11.2026%s",
             sheet_date_doubt(value));
    if (sheet_read_date(value, &it->date))
        it->has_date = true;
    else
        tell_unread(it, line, key, value, wanted);
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

/* What is said of an instrument, and where it goes. */
static const char *const whats[] = {"read to", "right to", "repeats to"};
#define WHATS (sizeof whats / sizeof whats[0])

static double *said_number(struct said *said, size_t what)
{
    return what == 0 ? &said->step : what == 1 ? &said->right : &said->repeats;
}

/* A temperature without a unit: the dial is in that of its column. */
static bool is_bare(const struct reading *it, const struct instrument *row, const char *value)
{
    double number;
    if (strncmp(value, "\xC2\xB1", 2) == 0)
        value += 2;
    return row->unit == UNIT_DEGC && read_written_number(value, it->comma, &number);
}

static void take_said(struct reading *it, size_t line, enum instrument_id id, size_t what,
                      const char *value)
{
    const struct instrument *row = &sheet_instruments[id];
    struct bare *bare = &it->said[id].bare[what];
    double number;
    char wanted[120], units[60];
    written_unit_list(row->unit, units, sizeof units);
    snprintf(wanted, sizeof wanted, "write a number and its unit (%s)", units);
    if (!read_quantity(it, value, row->unit, true, &number, 1) || number < 0 || number >= 1000) {
        tell_unread(it, line, whats[what], value, wanted);
        return;
    }
    *said_number(&it->said[id], what) = number;
    *bare = (struct bare){is_bare(it, row, value) ? line : 0, number};
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
    for (size_t i = 0; i < INSTRUMENTS; i++) {
        size_t n = strlen(sheet_instruments[i].key);
        if (strncmp(key, sheet_instruments[i].key, n) != 0)
            continue;
        if (key[n] == '\0') {
            copy_words(it->said[i].words, sizeof it->said[i].words, value);
            return true;
        }
        for (size_t k = 0; k < WHATS; k++)
            if (key[n] == ' ' && strcmp(key + n + 1, whats[k]) == 0) {
                if (value[0])
                    take_said(it, line, (enum instrument_id)i, k, value);
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
        sheet_words(fact_rows[i].key, key, sizeof key, NULL, 0);
        sheet_words(fact_rows[i].title, title, sizeof title, NULL, 0);
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
    int engine = row ? -1 : sheet_take_engine(key);
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

enum status sheet_head_line(struct reading *it, const struct cells *row)
{
    char key[WORDS_MAX], value[VALUE_MAX], text[256];
    if (row->count == 0 || row->cell[0][0] == '#' || rows_is_blank(row))
        return STATUS_OK;
    sheet_words(row->cell[0], key, sizeof key, NULL, 0);
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

/* --- how well a column is read */

/* Numbers without a unit are in that of the column. */
static void take_column_unit(struct reading *it, enum instrument_id id,
                             const struct tabled_column *column)
{
    struct said *said = &it->said[id];
    for (size_t i = 0; i < WHATS && column->unit; i++) {
        const struct bare *bare = &said->bare[i];
        if (bare->line == 0)
            continue;
        *said_number(said, i) = bare->number * column->unit->factor;
        if (said->told != column->unit)
            remark(it->remarks, SAY_NOTE, bare->line,
                   "\"%s %s,%g\" names no unit; it is taken as %s, as the column \"%s\" is. Write "
                   "the unit behind it, as \"%s %s,%g %s\"",
                   sheet_instruments[id].key, whats[i], bare->number, column->unit->word,
                   column->name, sheet_instruments[id].key, whats[i], bare->number,
                   column->unit->word);
    }
    said->told = column->unit;
}

/* Limits to either side are taken as rectangular (JCGM 100, 4.3.7). Half the variance of an
 * infrared thermometer's limit is taken to be the instrument's for good, the other half to come
 * anew every day, from where and how it is pointed (no source). */
void sheet_accuracy(struct reading *it, enum instrument_id id, struct tabled_column *column)
{
    const struct instrument *row = &sheet_instruments[id];
    const struct said *said = &it->said[id];
    struct accuracy *to = &column->accuracy;
    take_column_unit(it, id, column);
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

void sheet_head_begin(struct reading *it)
{
    it->emissivity = EMISSIVITY;
    it->emissivity_right = EMISSIVITY_RIGHT;
    it->began = it->held = NAN;
    it->last_time = -INFINITY;
    it->last_us = INT64_MIN;
    for (size_t i = 0; i < INSTRUMENTS; i++)
        it->said[i] = (struct said){.step = NAN, .right = NAN, .repeats = NAN};
}
