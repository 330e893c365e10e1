/* options.c - reads command lines by tables. */
#include "options.h"

#include <errno.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* --- the parser */

static const struct option_row *find_row(const struct command_syntax *syntax, const char *name,
                                         size_t length)
{
    for (size_t i = 0; i < syntax->row_count; i++)
        if (strlen(syntax->rows[i].name) == length &&
            memcmp(syntax->rows[i].name, name, length) == 0)
            return &syntax->rows[i];
    return NULL;
}

static void add_allowed(struct text *words, const struct command_syntax *syntax)
{
    for (size_t i = 0; i < syntax->row_count; i++)
        text_addf(words, "%s%s%s%s", i > 0 ? ", " : "", syntax->rows[i].name,
                  syntax->rows[i].argument[0] != '\0' ? " " : "", syntax->rows[i].argument);
    if (syntax->row_count == 0)
        text_add(words, "--help");
}

/* How many letters have to be put in, taken out, changed or swapped to make one word of the other;
 * more than 2 is just 3. */
static unsigned slips(const char *one, const char *other, unsigned most)
{
    while (*one != '\0' && *one == *other)
        one++, other++;
    if (*one == '\0' && *other == '\0')
        return 0;
    if (most == 0)
        return 1;
    unsigned least = 3;
    const bool left = *one != '\0', right = *other != '\0';
    const bool swapped = left && right && one[0] == other[1] && one[1] == other[0];
    const unsigned by[] = {
        left ? slips(one + 1, other, most - 1) : 3,
        right ? slips(one, other + 1, most - 1) : 3,
        left && right ? slips(one + 1, other + 1, most - 1) : 3,
        swapped ? slips(one + 2, other + 2, most - 1) : 3,
    };
    for (size_t i = 0; i < sizeof by / sizeof by[0]; i++)
        least = by[i] < least ? by[i] : least;
    return least + 1;
}

/* The option that a slip of the fingers makes this of; NULL if none is near. */
static const struct option_row *nearest_row(const struct command_syntax *syntax, const char *option)
{
    char name[64];
    snprintf(name, sizeof name, "%.*s", (int)strcspn(option, "="), option);
    const struct option_row *nearest = NULL;
    unsigned least = 3;
    for (size_t i = 0; i < syntax->row_count; i++) {
        unsigned away = slips(name, syntax->rows[i].name, 2);
        nearest = away < least ? &syntax->rows[i] : nearest;
        least = away < least ? away : least;
    }
    return nearest;
}

static enum status unknown(const struct command_syntax *syntax, const char *option,
                           struct complaint *complaint)
{
    struct text allowed = {0}, clean = {0};
    const struct option_row *nearest = nearest_row(syntax, option);
    if (nearest != NULL) {
        text_addf(&allowed, "did you mean %s? `searun-analyze %s --help` tells all", nearest->name,
                  syntax->name);
    } else {
        text_addf(&allowed, "`searun-analyze %s` knows ", syntax->name);
        add_allowed(&allowed, syntax);
    }
    text_clip(&clean, option, 60);
    enum status status = complain(complaint, STATUS_BAD_USAGE, "unknown option %s; %s",
                                  text_string(&clean), text_string(&allowed));
    text_free(&allowed);
    text_free(&clean);
    return status;
}

/* What is being read, and which options have been seen. */
struct reading_line {
    const struct command_syntax *syntax;
    void *request;
    uint64_t seen;
    size_t positionals;
    struct complaint *complaint;
};

static enum status take(struct reading_line *line, const struct option_row *row, const char *value)
{
    struct complaint why = {""};
    enum status status = row->take(line->request, value, &why);
    return status == STATUS_OK ? status
                               : complain(line->complaint, status, "%s: %s", row->name, why.text);
}

static enum status mark_seen(struct reading_line *line, const struct option_row *row)
{
    uint64_t bit = UINT64_C(1) << (row - line->syntax->rows);
    bool again = (line->seen & bit) != 0;
    line->seen |= bit;
    if (again && row->kind == OPTION_VALUE)
        return complain(line->complaint, STATUS_BAD_USAGE, "%s is given twice; which one counts?",
                        row->name);
    return STATUS_OK;
}

static bool is_option(const char *argument)
{
    return argument[0] == '-' && argument[1] != '\0';
}

/* Nothing stands behind an option, or something that looks like the next one. */
static enum status nothing_behind(const struct reading_line *line, const struct option_row *row,
                                  const char *next)
{
    struct text clean = {0};
    if (next == NULL || !is_option(next))
        return complain(line->complaint, STATUS_BAD_USAGE, "%s needs %s behind it", row->name,
                        row->argument);
    text_clip(&clean, next, 60);
    enum status status =
        complain(line->complaint, STATUS_BAD_USAGE,
                 "%s needs %s behind it, and %s looks like an option; if it is "
                 "what you mean, write %s=%s",
                 row->name, row->argument, text_string(&clean), row->name, text_string(&clean));
    text_free(&clean);
    return status;
}

/* Takes the values of a list option; returns how many there were. */
static size_t take_list(struct reading_line *line, const struct option_row *row, int count,
                        char **arguments, enum status *status)
{
    size_t taken = 0;
    while ((int)taken < count && !is_option(arguments[taken]) && *status == STATUS_OK)
        *status = take(line, row, arguments[taken++]);
    if (taken == 0)
        *status = nothing_behind(line, row, count > 0 ? arguments[0] : NULL);
    return taken;
}

/* Takes one option with its values; returns how many arguments they are. */
static int take_option(struct reading_line *line, int count, char **arguments, enum status *status)
{
    const char *name = arguments[0], *equals = strchr(name, '=');
    size_t length = equals != NULL ? (size_t)(equals - name) : strlen(name);
    const struct option_row *row = find_row(line->syntax, name, length);
    if (row == NULL) {
        *status = unknown(line->syntax, name, line->complaint);
        return 1;
    }
    *status = mark_seen(line, row);
    if (*status != STATUS_OK)
        return 1;
    if (row->kind == OPTION_FLAG) {
        *status = equals != NULL
                      ? complain(line->complaint, STATUS_BAD_USAGE, "%s takes no value", row->name)
                      : take(line, row, "");
        return 1;
    }
    if (equals != NULL) {
        *status = take(line, row, equals + 1);
        return 1;
    }
    if (row->kind == OPTION_LIST)
        return 1 + (int)take_list(line, row, count - 1, arguments + 1, status);
    if (count < 2 || strncmp(arguments[1], "--", 2) == 0) {
        *status = nothing_behind(line, row, count > 1 ? arguments[1] : NULL);
        return 1;
    }
    *status = take(line, row, arguments[1]);
    return 2;
}

static enum status take_positional(struct reading_line *line, const char *value)
{
    const struct command_syntax *syntax = line->syntax;
    bool too_many = syntax->positional == OPTION_FLAG ||
                    (syntax->positional == OPTION_VALUE && line->positionals == 1);
    if (too_many) {
        struct text clean = {0};
        text_clip(&clean, value, 60);
        enum status status = complain(line->complaint, STATUS_BAD_USAGE,
                                      "%s: %s; usage: searun-analyze %s %s", text_string(&clean),
                                      syntax->stray != NULL ? syntax->stray : "one name too many",
                                      syntax->name, syntax->arguments);
        text_free(&clean);
        return status;
    }
    line->positionals++;
    return syntax->take_positional(line->request, value, line->complaint);
}

enum status options_parse(const struct command_syntax *syntax, int count, char **arguments,
                          void *request, bool *help, struct complaint *complaint)
{
    struct reading_line line = {syntax, request, 0, 0, complaint};
    enum status status = STATUS_OK;
    *help = false;
    for (int i = 0; i < count; i++)
        if (strcmp(arguments[i], "--help") == 0 || strcmp(arguments[i], "-h") == 0) {
            *help = true;
            return STATUS_OK;
        }
    for (int i = 0; i < count && status == STATUS_OK;) {
        if (is_option(arguments[i]))
            i += take_option(&line, count - i, arguments + i, &status);
        else
            status = take_positional(&line, arguments[i++]);
    }
    if (status == STATUS_OK && syntax->positional != OPTION_FLAG && line.positionals == 0)
        status = complain(complaint, STATUS_BAD_USAGE,
                          "no run file is named; usage: searun-analyze %s %s", syntax->name,
                          syntax->arguments);
    return status;
}

/* --- help */

#define HELP_COLUMNS 80
#define HELP_INDENT 6

/* Words behind an indent, broken at spaces. */
static void add_wrapped(struct text *out, const char *words, size_t indent)
{
    size_t column = 0;
    while (*words != '\0') {
        size_t length = strcspn(words, " \n");
        if (column == 0 || column + 1 + length > HELP_COLUMNS) {
            if (column > 0)
                text_add(out, "\n");
            text_add_many(out, " ", indent);
            column = indent;
        } else {
            text_add(out, " ");
            column++;
        }
        text_add_bytes(out, words, length);
        column += length;
        words += length;
        if (*words == '\n') {
            text_add(out, "\n");
            column = 0;
        }
        words += *words != '\0';
    }
    text_add(out, "\n");
}

void options_help(struct text *out, const struct command_syntax *syntax)
{
    text_addf(out, "usage: searun-analyze %s %s\n\n", syntax->name, syntax->arguments);
    add_wrapped(out, syntax->summary, 0);
    text_add(out, "\n");
    for (size_t i = 0; i < syntax->row_count; i++) {
        const struct option_row *row = &syntax->rows[i];
        text_addf(out, "  %s%s%s\n", row->name, row->argument[0] != '\0' ? " " : "", row->argument);
        add_wrapped(out, row->help, HELP_INDENT);
    }
    text_add(out, "\n");
    add_wrapped(out, syntax->detail, 0);
}

enum status string_list_add(struct string_list *list, const char *value,
                            struct complaint *complaint)
{
    char **grown = realloc(list->list, (list->count + 1) * sizeof *grown);
    if (grown == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory left");
    list->list = grown;
    list->list[list->count++] = (char *)value;
    return STATUS_OK;
}

/* --- values */

/* A finite decimal number; *rest is behind it and behind blanks. */
static bool read_number(const char *text, double *value, const char **rest)
{
    size_t length = strspn(text, "+-0123456789.eE");
    char *end;
    if (length == 0 || length > 60)
        return false;
    errno = 0;
    *value = strtod(text, &end);
    if (end == text || end > text + length || !isfinite(*value))
        return false;
    *rest = end + strspn(end, " ");
    return true;
}

enum degree { DEGREE_NONE, DEGREE_C, DEGREE_F };

/* "", "C", "F", "K", each with an optional degree sign or "deg"; false if it is anything else. K is
 * only a unit of differences. */
static bool read_degree(const char *text, size_t length, bool difference, enum degree *degree)
{
    static const struct {
        const char *word;
        enum degree degree;
    } words[] = {{"", DEGREE_NONE}, {"C", DEGREE_C},    {"degC", DEGREE_C}, {"°C", DEGREE_C},
                 {"F", DEGREE_F},   {"degF", DEGREE_F}, {"°F", DEGREE_F}};
    while (length > 0 && text[length - 1] == ' ')
        length--;
    if (difference && length == 1 && *text == 'K') {
        *degree = DEGREE_C;
        return true;
    }
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strlen(words[i].word) == length && memcmp(words[i].word, text, length) == 0) {
            *degree = words[i].degree;
            return true;
        }
    return false;
}

static double to_degc(double value, enum degree degree)
{
    return degree == DEGREE_F ? (value - 32) / 1.8 : value;
}

static enum status bad_value(const char *text, const char *allowed, struct complaint *complaint)
{
    struct text clean = {0};
    text_clip(&clean, text, 60);
    enum status status = complain(complaint, STATUS_BAD_USAGE, "\"%s\" cannot be read; %s",
                                  text_string(&clean), allowed);
    text_free(&clean);
    return status;
}

#define TEMPERATURE_ALLOWED                                                                        \
    "give a temperature in degrees Celsius, or in Fahrenheit with an F: 18.5 or 65F"

enum status parse_temperature(const char *text, double *degc, struct complaint *complaint)
{
    const char *rest;
    enum degree degree;
    double value;
    if (!read_number(text, &value, &rest) || !read_degree(rest, strlen(rest), false, &degree))
        return bad_value(text, TEMPERATURE_ALLOWED, complaint);
    *degc = to_degc(value, degree);
    return STATUS_OK;
}

enum status parse_temperatures(const char *text, double *first, double *second,
                               struct complaint *complaint)
{
    static const char allowed[] = "give start-to-open and full-open temperature with a comma "
                                  "between, in degrees Celsius or with an F: 71,82 or 160F,180F";
    const char *rest;
    enum degree one, two;
    if (!read_number(text, first, &rest))
        return bad_value(text, allowed, complaint);
    const char *comma = strchr(rest, ',');
    if (comma == NULL || !read_degree(rest, (size_t)(comma - rest), false, &one))
        return bad_value(text, allowed, complaint);
    comma += 1 + strspn(comma + 1, " ");
    if (!read_number(comma, second, &rest) || !read_degree(rest, strlen(rest), false, &two))
        return bad_value(text, allowed, complaint);
    *first = to_degc(*first, one == DEGREE_NONE ? two : one);
    *second = to_degc(*second, two);
    return STATUS_OK;
}

enum status parse_thermostat(const char *text, double *start, double *full,
                             struct complaint *complaint)
{
    double first, second;
    enum status status = parse_temperatures(text, &first, &second, complaint);
    if (status != STATUS_OK)
        return status;
    if (!(first >= 20 && second <= 130 && second - first >= 0.5))
        return complain(complaint, STATUS_BAD_USAGE,
                        "%.1f and %.1f degC are no thermostat: start to open must lie below full "
                        "open, both between 20 and 130 degC; add an F for Fahrenheit (160F,180F)",
                        first, second);
    *start = first;
    *full = second;
    return STATUS_OK;
}

enum status parse_difference(const char *text, double *kelvin, struct complaint *complaint)
{
    const char *rest;
    enum degree degree;
    double value;
    if (!read_number(text, &value, &rest) || !read_degree(rest, strlen(rest), true, &degree))
        return bad_value(text, "give a difference in kelvin, or in Fahrenheit with an F: 1 or 1.8F",
                         complaint);
    *kelvin = degree == DEGREE_F ? value / 1.8 : value;
    return STATUS_OK;
}

enum status parse_percent(const char *text, double *share, struct complaint *complaint)
{
    const char *rest;
    double value;
    if (!read_number(text, &value, &rest) || (strcmp(rest, "") != 0 && strcmp(rest, "%") != 0))
        return bad_value(text, "give a number of percent: 2 or 2%", complaint);
    *share = value / 100;
    return STATUS_OK;
}
