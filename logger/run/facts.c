/* facts.c - the facts that people enter. */
#include "facts.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "reading.h"

const struct fact_row fact_rows[] = {
#define FACT(section, key, title, kind, fallback, help)                                            \
    {FACT_##section, key, title, FACT_##kind, fallback, help},
#include "facts.def"
#undef FACT
};
const size_t fact_row_count = sizeof fact_rows / sizeof fact_rows[0];

/* What a choice may say; `shorthand` is taken too and kept as `value`. */
static const struct choice {
    enum fact_section section;
    const char *key, *value, *shorthand;
} choices[] = {
    {FACT_RUN, "purpose", "before service", "before"},
    {FACT_RUN, "purpose", "after service", "after"},
    {FACT_RUN, "purpose", "other", "other"},
};

/* What numbers and pairs may be. Wide enough for every boat, narrow enough for a slip of a
 * digit. */
enum meaning { PLAIN, TEMPERATURE, DIFFERENCE };
static const struct bounds {
    const char *key;
    double low, high;
    enum meaning meaning; /* the last two are taken with an F behind them too */
} number_bounds[] = {
    {"rated_rpm", 100, 12000, PLAIN},              /* rpm */
    {"thermostat", 0, 150, TEMPERATURE},           /* degC */
    {"thermostat_uncertainty", 0, 20, DIFFERENCE}, /* K */
    {"normal_band", 0, 150, TEMPERATURE},          /* degC */
    {"alarm", 0, 200, TEMPERATURE},                /* degC */
    {"sea_temperature", -3, 45, TEMPERATURE},      /* degC */
};
#define NUMBERS_ROOM 64 /* bytes of one or two numbers, made from degrees Fahrenheit */

#define ARRAY_COUNT(array) (sizeof(array) / sizeof(array)[0])

const struct fact_row *fact_row_find(enum fact_section section, const char *key)
{
    for (size_t i = 0; i < fact_row_count; i++)
        if (fact_rows[i].section == section && strcmp(fact_rows[i].key, key) == 0)
            return &fact_rows[i];
    return NULL;
}

/* --- reading what people write */

static const char *skip_blanks(const char *text)
{
    return text + strspn(text, " \t\r\n");
}

/* Reads one decimal number; returns what follows it, or NULL. No hexadecimal, no infinity. */
static const char *take_number(const char *text, double *out)
{
    text = skip_blanks(text);
    size_t length = strspn(text, "+-.0123456789eE");
    char *end = NULL;
    double value = strtod(text, &end);
    if (length == 0 || end != text + length || !isfinite(value))
        return NULL;
    *out = value;
    return skip_blanks(end);
}

static bool number_parse(const char *text, double *out)
{
    const char *rest = take_number(text, out);
    return rest && *rest == '\0';
}

bool pair_parse(const char *text, double *first, double *second)
{
    double a, b;
    const char *rest = take_number(text, &a);
    if (!rest || *rest != ',')
        return false;
    rest = take_number(rest + 1, &b);
    if (!rest || *rest != '\0')
        return false;
    *first = a;
    *second = b;
    return true;
}

size_t utf8_length(const char *bytes)
{
    const unsigned char *text = (const unsigned char *)bytes;
    static const struct form {
        unsigned char first, last, second_low, second_high;
        size_t length;
    } forms[] = {
        {0x01, 0x7F, 0, 0, 1},       {0xC2, 0xDF, 0x80, 0xBF, 2}, {0xE0, 0xE0, 0xA0, 0xBF, 3},
        {0xE1, 0xEC, 0x80, 0xBF, 3}, {0xED, 0xED, 0x80, 0x9F, 3}, {0xEE, 0xEF, 0x80, 0xBF, 3},
        {0xF0, 0xF0, 0x90, 0xBF, 4}, {0xF1, 0xF3, 0x80, 0xBF, 4}, {0xF4, 0xF4, 0x80, 0x8F, 4},
    };
    for (size_t i = 0; i < ARRAY_COUNT(forms); i++) {
        const struct form *form = &forms[i];
        if (text[0] < form->first || text[0] > form->last)
            continue;
        if (form->length > 1 && (text[1] < form->second_low || text[1] > form->second_high))
            return 0;
        for (size_t k = 2; k < form->length; k++)
            if ((text[k] & 0xC0) != 0x80)
                return 0;
        return form->length;
    }
    return 0;
}

static bool is_utf8(const char *text)
{
    while (*text) {
        size_t length = utf8_length(text);
        if (length == 0)
            return false;
        text += length;
    }
    return true;
}

/* --- checks by kind */

static bool is_blank(const char *value)
{
    return *skip_blanks(value) == '\0';
}

static const struct bounds *bounds_of(const char *key)
{
    for (size_t i = 0; i < ARRAY_COUNT(number_bounds); i++)
        if (strcmp(number_bounds[i].key, key) == 0)
            return &number_bounds[i];
    return NULL;
}

static bool inside(const struct bounds *bounds, double value)
{
    return !bounds || (value >= bounds->low && value <= bounds->high);
}

/* --- degrees: kept in Celsius, whatever they were entered in */

enum degree { DEGREE_NONE, DEGREE_C, DEGREE_F };

/* Takes "F", " degF", "C", a degree sign before it, or nothing. Returns what follows. */
static const char *take_degree(const char *text, enum degree *out)
{
    static const char *const signs[] = {"\xC2\xB0", "deg"};
    const char *at = skip_blanks(text);
    for (size_t i = 0; i < ARRAY_COUNT(signs); i++)
        if (strncmp(at, signs[i], strlen(signs[i])) == 0) {
            at = skip_blanks(at + strlen(signs[i]));
            break;
        }
    *out = *at == 'F' || *at == 'f' ? DEGREE_F : *at == 'C' || *at == 'c' ? DEGREE_C : DEGREE_NONE;
    return *out == DEGREE_NONE ? text : skip_blanks(at + 1);
}

/* One number with its degrees; NULL if it is none. */
static const char *take_measure(const char *text, enum meaning meaning, double *value,
                                enum degree *degree)
{
    const char *rest = take_number(text, value);
    *degree = DEGREE_NONE;
    return rest && meaning != PLAIN ? take_degree(rest, degree) : rest;
}

static double to_kept(double value, enum meaning meaning, enum degree degree)
{
    if (degree != DEGREE_F)
        return value;
    value = meaning == TEMPERATURE ? (value - 32) / 1.8 : value / 1.8;
    return round(value * 100) / 100; /* no thermometer tells more */
}

static enum meaning meaning_of(const struct bounds *bounds)
{
    return bounds ? bounds->meaning : PLAIN;
}

/* Where the help of the row tells of Fahrenheit itself, saying it twice confuses. */
static const char *degrees_hint(const struct fact_row *row, const struct bounds *bounds)
{
    bool told = meaning_of(bounds) == PLAIN || strstr(row->help, "with an F");
    return told ? "" : "; in Fahrenheit with an F behind it";
}

/* `room` holds NUMBERS_ROOM bytes; *value is moved there where it had to be written anew. */
static enum status check_number(const struct fact_row *row, const char **value, char *room,
                                struct complaint *complaint)
{
    const struct bounds *bounds = bounds_of(row->key);
    enum degree degree;
    double number;
    const char *rest = take_measure(*value, meaning_of(bounds), &number, &degree);
    if (!rest || *rest != '\0')
        return complain(complaint, STATUS_BAD_USAGE,
                        "%s = \"%.60s\": a plain number is wanted (%s), with a decimal point and "
                        "without a unit%s",
                        row->key, *value, row->help, degrees_hint(row, bounds));
    number = to_kept(number, meaning_of(bounds), degree);
    if (!inside(bounds, number))
        return complain(complaint, STATUS_BAD_USAGE,
                        "%s = %.60s: must lie between %g and %g (%s%s)", row->key, *value,
                        bounds->low, bounds->high, row->help, degrees_hint(row, bounds));
    if (degree != DEGREE_NONE) {
        snprintf(room, NUMBERS_ROOM, "%.12g", number);
        *value = room;
    }
    return STATUS_OK;
}

/* "160F,180F", "160,180 F": a unit behind the second counts for both. */
static bool read_pair(const char *text, enum meaning meaning, double pair[2], bool *has_degrees)
{
    enum degree degrees[2];
    const char *rest = take_measure(text, meaning, &pair[0], &degrees[0]);
    if (!rest || *rest != ',')
        return false;
    rest = take_measure(rest + 1, meaning, &pair[1], &degrees[1]);
    if (!rest || *rest != '\0')
        return false;
    *has_degrees = degrees[0] != DEGREE_NONE || degrees[1] != DEGREE_NONE;
    pair[0] = to_kept(pair[0], meaning, degrees[0] == DEGREE_NONE ? degrees[1] : degrees[0]);
    pair[1] = to_kept(pair[1], meaning, degrees[1]);
    return true;
}

static enum status check_pair(const struct fact_row *row, const char **value, char *room,
                              struct complaint *complaint)
{
    const struct bounds *bounds = bounds_of(row->key);
    double pair[2];
    bool has_degrees;
    if (!read_pair(*value, meaning_of(bounds), pair, &has_degrees))
        return complain(complaint, STATUS_BAD_USAGE,
                        "%s = \"%.60s\": two numbers with a comma between them are wanted (%s%s)",
                        row->key, *value, row->help, degrees_hint(row, bounds));
    if (!(pair[0] < pair[1]))
        return complain(complaint, STATUS_BAD_USAGE,
                        "%s = %.60s: the first number must be below the second (%s)", row->key,
                        *value, row->help);
    if (!inside(bounds, pair[0]) || !inside(bounds, pair[1]))
        return complain(complaint, STATUS_BAD_USAGE,
                        "%s = %.60s: both numbers must lie between %g and %g (%s%s)", row->key,
                        *value, bounds->low, bounds->high, row->help, degrees_hint(row, bounds));
    if (has_degrees) {
        snprintf(room, NUMBERS_ROOM, "%.12g,%.12g", pair[0], pair[1]);
        *value = room;
    }
    return STATUS_OK;
}

/* Finds the choice that `*value` means and puts its full words there. */
static enum status check_choice(const struct fact_row *row, const char **value,
                                struct complaint *complaint)
{
    for (size_t i = 0; i < ARRAY_COUNT(choices); i++) {
        const struct choice *choice = &choices[i];
        if (choice->section != row->section || strcmp(choice->key, row->key) != 0)
            continue;
        if (strcasecmp(choice->value, *value) == 0 || strcasecmp(choice->shorthand, *value) == 0) {
            *value = choice->value;
            return STATUS_OK;
        }
    }
    return complain(complaint, STATUS_BAD_USAGE, "%s = \"%.60s\": allowed is %s", row->key, *value,
                    row->help);
}

static enum status check_text(const struct fact_row *row, const char *value,
                              struct complaint *complaint)
{
    if (strlen(value) > FACT_VALUE_MAX)
        return complain(complaint, STATUS_BAD_USAGE,
                        "%s: the text is %zu bytes long; at most %d are kept, please shorten it",
                        row->key, strlen(value), FACT_VALUE_MAX);
    if (!is_utf8(value))
        return complain(complaint, STATUS_BAD_USAGE,
                        "%s: the text is not UTF-8; save the file as UTF-8 and try again",
                        row->key);
    return STATUS_OK;
}

static enum status check_value(const struct fact_row *row, const char **value, char *room,
                               struct complaint *complaint)
{
    enum status status = check_text(row, *value, complaint);
    if (status != STATUS_OK || is_blank(*value))
        return status;
    switch (row->kind) {
    case FACT_NUMBER:
        return check_number(row, value, room, complaint);
    case FACT_PAIR:
        return check_pair(row, value, room, complaint);
    case FACT_CHOICE:
        return check_choice(row, value, complaint);
    case FACT_TEXT:
        break;
    }
    return STATUS_OK;
}

/* --- the list */

static struct fact *find_fact(const struct facts *facts, enum fact_section section, int engine,
                              const char *key)
{
    for (size_t i = 0; i < facts->count; i++) {
        struct fact *fact = &facts->list[i];
        if (fact->section == section && fact->engine == engine && strcmp(fact->key, key) == 0)
            return fact;
    }
    return NULL;
}

static void drop_fact(struct facts *facts, struct fact *fact)
{
    size_t behind = facts->count - (size_t)(fact - facts->list) - 1;
    free(fact->value);
    memmove(fact, fact + 1, behind * sizeof *fact);
    facts->count--;
}

/* Room for one more at the end, not counted yet. */
static struct fact *grow(struct facts *facts)
{
    struct fact *list = realloc(facts->list, (facts->count + 1) * sizeof *list);
    if (!list)
        return NULL;
    facts->list = list;
    return &list[facts->count];
}

static enum status keep(struct facts *facts, const struct fact_row *row, int engine,
                        const char *value, struct complaint *complaint)
{
    struct fact *fact = find_fact(facts, row->section, engine, row->key);
    char *copy = strdup(value);
    if (copy && fact) {
        free(fact->value);
        fact->value = copy;
        return STATUS_OK;
    }
    fact = copy ? grow(facts) : NULL;
    if (!fact) {
        free(copy);
        return complain(complaint, STATUS_MEMORY, "no memory left for the facts of the run");
    }
    *fact = (struct fact){row->section, engine, row->key, copy};
    facts->count++;
    return STATUS_OK;
}

enum status facts_set(struct facts *facts, enum fact_section section, int engine, const char *key,
                      const char *value, struct complaint *complaint)
{
    const struct fact_row *row = fact_row_find(section, key);
    if (!row)
        return complain(complaint, STATUS_BAD_USAGE, "\"%.60s\" is not a fact that is kept", key);
    if (section != FACT_ENGINE)
        engine = 0;
    if (engine < 0 || engine >= INSTANCE_MAX)
        return complain(complaint, STATUS_BAD_USAGE, "engine number %d: must be 0 to %d", engine,
                        INSTANCE_MAX - 1);
    char room[NUMBERS_ROOM];
    enum status status = check_value(row, &value, room, complaint);
    if (status != STATUS_OK)
        return status;
    if (!is_blank(value))
        return keep(facts, row, engine, value, complaint);
    struct fact *fact = find_fact(facts, section, engine, key);
    if (fact)
        drop_fact(facts, fact);
    return STATUS_OK;
}

const char *facts_get(const struct facts *facts, enum fact_section section, int engine,
                      const char *key)
{
    if (section != FACT_ENGINE)
        engine = 0;
    const struct fact *fact = find_fact(facts, section, engine, key);
    if (fact)
        return fact->value;
    const struct fact_row *row = fact_row_find(section, key);
    return row ? row->fallback : "";
}

bool facts_number(const struct facts *facts, int engine, const char *key, double *out)
{
    double value;
    if (!number_parse(facts_get(facts, FACT_ENGINE, engine, key), &value))
        return false;
    *out = value;
    return true;
}

bool facts_pair(const struct facts *facts, int engine, const char *key, double *first,
                double *second)
{
    return pair_parse(facts_get(facts, FACT_ENGINE, engine, key), first, second);
}

enum status facts_copy(struct facts *to, const struct facts *from)
{
    for (size_t i = 0; i < from->count; i++) {
        const struct fact *fact = &from->list[i];
        enum status status =
            facts_set(to, fact->section, fact->engine, fact->key, fact->value, NULL);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

void facts_free(struct facts *facts)
{
    for (size_t i = 0; i < facts->count; i++)
        free(facts->list[i].value);
    free(facts->list);
    *facts = (struct facts){0};
}
