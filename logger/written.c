/* written.c - see written.h. */
#include "written.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* --- units */

static const struct written_unit units[] = {
    {"°C", UNIT_DEGC, 1, 0},
    {"°F", UNIT_DEGC, 1 / 1.8, -32 / 1.8},
    {"K", UNIT_DEGC, 1, -KELVIN_AT_0_DEGC},
    {"rpm", UNIT_RPM, 1, 0},
    {"1/min", UNIT_RPM, 1, 0},
    {"100 rpm", UNIT_RPM, 100, 0},
    {"x100", UNIT_RPM, 100, 0},
    {"1000 rpm", UNIT_RPM, 1000, 0},
    {"x1000", UNIT_RPM, 1000, 0},
    {"s", UNIT_SECOND, 1, 0},
    {"sec", UNIT_SECOND, 1, 0},
    {"min", UNIT_SECOND, 60, 0},
    {"minutes", UNIT_SECOND, 60, 0},
    {"h", UNIT_SECOND, 3600, 0},
    {"ms", UNIT_SECOND, 0.001, 0},
    {"days", UNIT_SECOND, 86400, 0},
    {"kPa", UNIT_KPA, 1, 0},
    {"bar", UNIT_KPA, 100, 0},
    {"mbar", UNIT_KPA, 0.1, 0},
    {"hPa", UNIT_KPA, 0.1, 0},
    {"psi", UNIT_KPA, KPA_PER_PSI, 0},
    {"L/h", UNIT_LITRE_PER_HOUR, 1, 0},
    {"gal/h", UNIT_LITRE_PER_HOUR, LITRE_PER_US_GALLON, 0},
    {"gph", UNIT_LITRE_PER_HOUR, LITRE_PER_US_GALLON, 0},
    {"%", UNIT_PERCENT, 1, 0},
    {"kn", UNIT_METRE_PER_SECOND, METRE_PER_SECOND_PER_KNOT, 0},
    {"m/s", UNIT_METRE_PER_SECOND, 1, 0},
    {"km/h", UNIT_METRE_PER_SECOND, 1 / 3.6, 0},
    {"V", UNIT_VOLT, 1, 0},
    {"A", UNIT_AMPERE, 1, 0},
    {"m", UNIT_METRE, 1, 0},
    {"ft", UNIT_METRE, METRE_PER_FOOT, 0},
    {"h", UNIT_HOUR, 1, 0},
    {"L", UNIT_LITRE, 1, 0},
    {"gal", UNIT_LITRE, LITRE_PER_US_GALLON, 0},
    {"°", UNIT_DEGREE, 1, 0},
    {"deg", UNIT_DEGREE, 1, 0},
    {"deg", UNIT_DEGREE_NORTH, 1, 0},
    {"deg", UNIT_DEGREE_EAST, 1, 0},
    {"Hz", UNIT_HERTZ, 1, 0},
    {"N", UNIT_NEWTON, 1, 0},
    {"g/kg", UNIT_GRAM_PER_KILOGRAM, 1, 0},
};
#define UNIT_WORDS (sizeof units / sizeof units[0])

/* "degC", "deg C", "C", "celsius" are all "°C". */
static const char *plain_degree(const char *word)
{
    static const struct {
        const char *written, *plain;
    } same[] = {
        {"C", "°C"},     {"degC", "°C"},       {"deg C", "°C"}, {"celsius", "°C"},
        {"ºC", "°C"},    {"° C", "°C"},        {"F", "°F"},     {"degF", "°F"},
        {"deg F", "°F"}, {"fahrenheit", "°F"}, {"ºF", "°F"},    {"° F", "°F"},
    };
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++)
        if (strcasecmp(word, same[i].written) == 0)
            return same[i].plain;
    return word;
}

const struct written_unit *written_unit_find(const char *word, enum unit unit)
{
    const struct written_unit *found = NULL;
    if (unit == UNIT_DEGC || unit == UNIT_KELVIN)
        word = plain_degree(word);
    if (unit == UNIT_KELVIN)
        unit = UNIT_DEGC;
    for (size_t i = 0; i < UNIT_WORDS; i++) {
        if (units[i].unit != unit)
            continue;
        if (strcmp(units[i].word, word) == 0)
            return &units[i];
        if (strcasecmp(units[i].word, word) == 0)
            found = &units[i];
    }
    return found;
}

const struct written_unit *written_unit_of_several(enum unit unit)
{
    const struct written_unit *stored = NULL;
    bool others = false;
    for (size_t i = 0; i < UNIT_WORDS && unit != UNIT_RPM; i++) {
        if (units[i].unit != unit)
            continue;
        bool same = units[i].factor >= 1 && units[i].factor <= 1 && units[i].offset == 0;
        stored = same && stored == NULL ? &units[i] : stored;
        others |= !same;
    }
    return others ? stored : NULL;
}

void written_unit_list(enum unit unit, char *to, size_t room)
{
    size_t length = 0;
    to[0] = '\0';
    for (size_t i = 0; i < UNIT_WORDS && length + 1 < room; i++)
        if (units[i].unit == unit)
            length += (size_t)snprintf(to + length, room - length, "%s%s", length > 0 ? ", " : "",
                                       units[i].word);
}

/* --- numbers */

static const char *skip_blanks(const char *text)
{
    return text + strspn(text, " \t\r\n");
}

/* A sign, which may be the minus of typographers (U+2212). */
static const char *take_sign(const char *text, bool *negative)
{
    *negative = false;
    if (strncmp(text, "\xE2\x88\x92", 3) == 0) {
        *negative = true;
        return text + 3;
    }
    *negative = *text == '-';
    return *text == '-' || *text == '+' ? text + 1 : text;
}

bool take_written_number(const char **text, bool comma, double *out)
{
    char digits[64];
    size_t n = 0;
    bool negative, mark = false;
    const char *at = take_sign(skip_blanks(*text), &negative);
    for (; n + 2 < sizeof digits; at++) { /* an exponent puts two */
        bool is_mark = *at == '.' || (comma && *at == ',');
        bool exponent = n > 0 && (*at == 'e' || *at == 'E') &&
                        isdigit((unsigned char)at[1 + (at[1] == '-' || at[1] == '+')]);
        if (is_mark && !mark && isdigit((unsigned char)at[1])) {
            digits[n++] = '.';
            mark = true;
        } else if (isdigit((unsigned char)*at)) {
            digits[n++] = *at;
        } else if (exponent) {
            mark = true;
            digits[n++] = 'e';
            if (at[1] == '-' || at[1] == '+')
                digits[n++] = *++at;
        } else {
            break;
        }
    }
    digits[n] = '\0';
    char *end = digits;
    double value = n > 0 ? strtod(digits, &end) : 0;
    if (n == 0 || *end != '\0' || !isfinite(value))
        return false;
    *out = negative ? -value : value;
    *text = skip_blanks(at);
    return true;
}

bool read_written_number(const char *text, bool comma, double *out)
{
    return take_written_number(&text, comma, out) && *text == '\0';
}

/* --- dates and times */

/* A whole number of so many digits at most. */
static bool take_whole(const char **text, int most, int *out)
{
    int n = 0;
    const char *at = *text;
    for (*out = 0; n < most && isdigit((unsigned char)*at); n++)
        *out = *out * 10 + (*at++ - '0');
    *text = at;
    return n > 0;
}

static int days_in_month(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return days[month - 1] + (month == 2 && leap);
}

static bool is_date(const struct written_date *date)
{
    return date->year >= 1970 && date->year <= 2112 && date->month >= 1 && date->month <= 12 &&
           date->day >= 1 && date->day <= days_in_month(date->year, date->month);
}

bool take_written_date(const char **text, struct written_date *out)
{
    const char *at = skip_blanks(*text);
    int first, second, third;
    if (!take_whole(&at, 4, &first) || !strchr("-/.", *at) || *at == '\0')
        return false;
    char mark = *at++;
    if (!take_whole(&at, 2, &second) || *at != mark)
        return false;
    at++;
    if (!take_whole(&at, 4, &third))
        return false;
    struct written_date date = {first, second, third};
    if (mark == '.')
        date = (struct written_date){third, second, first};
    if (!is_date(&date))
        return false;
    *out = date;
    *text = *at == 'T' || *at == 't' ? at + 1 : skip_blanks(at);
    return true;
}

bool take_slashed_date(const char **text, struct written_date *out)
{
    const char *at = skip_blanks(*text);
    int first, second, year;
    if (!take_whole(&at, 2, &first) || *at++ != '/' || !take_whole(&at, 2, &second) ||
        *at++ != '/' || !take_whole(&at, 4, &year))
        return false;
    struct written_date day_first = {year, second, first}, month_first = {year, first, second};
    if (first == second ? !is_date(&day_first) : is_date(&day_first) == is_date(&month_first))
        return false;
    *out = is_date(&day_first) ? day_first : month_first;
    *text = skip_blanks(at);
    return true;
}

/* "am", "pm", "h" behind a time. */
static bool take_half_day(const char **text, int *hour)
{
    const char *at = skip_blanks(*text);
    bool am = strncasecmp(at, "am", 2) == 0, pm = strncasecmp(at, "pm", 2) == 0;
    if (am || pm) {
        if (*hour < 1 || *hour > 12)
            return false;
        *hour = *hour % 12 + (pm ? 12 : 0);
        at += 2;
    } else if ((*at == 'h' || *at == 'H') && !isalpha((unsigned char)at[1])) {
        at++;
    }
    *text = skip_blanks(at);
    return true;
}

/* Between hour and minute: "10:15", "10.15", "10h15"; none in the four digits "0915". */
static bool take_hour_mark(const char *hour, const char **text)
{
    if (strspn(hour, "0123456789") == 4)
        return true;
    if (**text == '\0' || !strchr(":.hH", **text))
        return false;
    ++*text;
    return isdigit((unsigned char)**text);
}

bool take_written_time(const char **text, double *seconds)
{
    const char *at = skip_blanks(*text);
    int hour, minute;
    double second = 0;
    if (!take_whole(&at, 2, &hour) || !take_hour_mark(skip_blanks(*text), &at))
        return false;
    const char *begin = at;
    if (!take_whole(&at, 2, &minute) || at - begin != 2)
        return false;
    if (*at == ':') {
        at++;
        if (!isdigit((unsigned char)*at) || !take_written_number(&at, true, &second))
            return false;
    }
    if (!take_half_day(&at, &hour) || hour > 23 || minute > 59 || !(second < 61))
        return false;
    *seconds = hour * 3600.0 + minute * 60.0 + second;
    *text = at;
    return true;
}

bool take_written_zone(const char **text, double *seconds)
{
    const char *at = skip_blanks(*text);
    bool negative = false, named = false;
    int hours = 0, minutes = 0;
    if (strncasecmp(at, "utc", 3) == 0 || strncasecmp(at, "gmt", 3) == 0) {
        named = true;
        at += 3;
    } else if (*at == 'Z' || *at == 'z') {
        *seconds = 0;
        *text = skip_blanks(at + 1);
        return true;
    }
    const char *behind = take_sign(skip_blanks(at), &negative);
    if (behind == skip_blanks(at)) {
        *seconds = 0;
        *text = behind;
        return named;
    }
    if (!take_whole(&behind, 2, &hours))
        return false;
    if (*behind == ':')
        behind++;
    if (isdigit((unsigned char)*behind) && !take_whole(&behind, 2, &minutes))
        return false;
    if (hours > 14 || minutes > 59)
        return false;
    *seconds = (negative ? -1 : 1) * (hours * 3600.0 + minutes * 60.0);
    *text = skip_blanks(behind);
    return true;
}

/* Days since 1970-01-01 in the Gregorian calendar, by the lengths of its years and months. */
static int64_t days_since_1970(const struct written_date *date)
{
    int64_t days = 0;
    for (int year = 1970; year < date->year; year++)
        days += 337 + days_in_month(year, 2);
    for (int month = 1; month < date->month; month++)
        days += days_in_month(date->year, month);
    return days + date->day - 1;
}

int64_t written_unix_us(const struct written_date *date, double seconds)
{
    return days_since_1970(date) * 86400 * INT64_C(1000000) + (int64_t)llround(seconds * 1e6);
}
