/* words.c - numbers as people read them. */
#include "words.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "text.h"

#define DECIMALS_MAX 4
#define MINUS "−"

struct word word_of(const char *format, ...)
{
    struct word word;
    va_list list;
    va_start(list, format);
    vsnprintf(word.s, sizeof word.s, format, list);
    va_end(list);
    return word;
}

/* --- how many decimals */

/* Power of ten of the leading digit. The logarithm may be off by one at a power of ten. */
static int exponent_of(double value)
{
    int exponent = (int)floor(log10(value));
    if (value >= pow(10, exponent + 1))
        exponent++;
    return value < pow(10, exponent) ? exponent - 1 : exponent;
}

static int clamp(int value, int low, int high)
{
    return value < low ? low : value > high ? high : value;
}

static double shown_half_width(const struct style *style, enum unit unit, struct interval interval)
{
    double width = unit_shown(interval.high, unit, style->units) -
                   unit_shown(interval.low, unit, style->units);
    return fabs(width) / 2;
}

static bool rounds_to_zero(double value, int decimals)
{
    return value != 0 && fabs(value) < 0.5 * pow(10, -decimals);
}

static int two_digits(double width)
{
    return isfinite(width) && width > 0 ? clamp(1 - exponent_of(width), 0, DECIMALS_MAX) : 1;
}

/* Most decimals that make sense of a quantity, however narrow its interval. */
static int most_decimals(enum unit unit)
{
    return unit == UNIT_DEGC || unit == UNIT_KELVIN ? 1 : unit == UNIT_ONE ? 2 : DECIMALS_MAX;
}

int word_decimals(const struct style *style, enum unit unit, struct interval interval)
{
    double half = shown_half_width(style, unit, interval);
    if (!isfinite(half) || half <= 0)
        return 1;
    int decimals = clamp(two_digits(half), 0, most_decimals(unit));
    return word_limit_decimals(interval, decimals);
}

int word_limit_decimals(struct interval interval, int decimals)
{
    for (int i = 0; i < 2 && decimals < DECIMALS_MAX; i++)
        decimals +=
            rounds_to_zero(interval.low, decimals) || rounds_to_zero(interval.high, decimals);
    return decimals;
}

int word_uncertainty_decimals(const struct style *style, enum unit unit, double uncertainty)
{
    struct interval both = {0, -uncertainty, uncertainty};
    return two_digits(shown_half_width(style, unit, both));
}

/* --- numbers */

/* Puts U+2212 for the hyphen and the decimal sign of the style. */
static struct word dressed(const struct style *style, const char *plain)
{
    struct word word = {""};
    size_t length = 0;
    for (; *plain != '\0' && length + 4 < sizeof word.s; plain++) {
        if (*plain == '-') {
            memcpy(word.s + length, MINUS, strlen(MINUS));
            length += strlen(MINUS);
        } else {
            word.s[length++] = *plain == '.' && style->decimal_comma ? ',' : *plain;
        }
    }
    word.s[length] = '\0';
    return word;
}

/* `zero_sign`: "−0.0" says that a limit is below zero although it rounds to it. */
static struct word number(const struct style *style, double value, int decimals, bool plus,
                          bool zero_sign)
{
    if (!isfinite(value))
        return (struct word){WORD_NONE};
    char plain[64];
    if (fabs(value) >= 1e15)
        snprintf(plain, sizeof plain, "%.3g", value);
    else
        snprintf(plain, sizeof plain, "%.*f", clamp(decimals, 0, 9), value);
    bool zero = strpbrk(plain, "123456789") == NULL;
    if (zero && plain[0] == '-' && !zero_sign)
        memmove(plain, plain + 1, strlen(plain));
    struct word word = dressed(style, plain);
    if (plus && !zero && value > 0) {
        memmove(word.s + 1, word.s, strlen(word.s) + 1);
        word.s[0] = '+';
    }
    return word;
}

struct word word_number(const struct style *style, double value, int decimals)
{
    return number(style, value, decimals, false, false);
}

struct word word_signed(const struct style *style, double value, int decimals)
{
    return number(style, value, decimals, true, false);
}

struct word word_value(const struct style *style, enum unit unit, double value, int decimals)
{
    return word_number(style, unit_shown(value, unit, style->units), decimals);
}

static void append(struct word *word, const char *more)
{
    size_t length = strlen(word->s);
    snprintf(word->s + length, sizeof word->s - length, "%s", more);
}

/* Adds the symbol behind a space that does not break; degrees of angle stand close. */
static struct word with_unit(const struct style *style, struct word word, enum unit unit)
{
    const char *symbol = unit_symbol(unit, style->units);
    bool close = unit == UNIT_DEGREE || unit == UNIT_DEGREE_NORTH || unit == UNIT_DEGREE_EAST;
    if (symbol[0] == '\0' || strcmp(word.s, WORD_NONE) == 0)
        return word;
    if (!close)
        append(&word, "\u00a0");
    append(&word, symbol);
    return word;
}

struct word word_quantity(const struct style *style, enum unit unit, double value, int decimals)
{
    return with_unit(style, word_value(style, unit, value, decimals), unit);
}

struct word word_change(const struct style *style, enum unit unit, double value, int decimals)
{
    double shown = unit_shown(value, unit, style->units);
    return with_unit(style, word_signed(style, shown, decimals), unit);
}

struct word word_range(const struct style *style, enum unit unit, struct interval interval,
                       int decimals, bool sign)
{
    if (!isfinite(interval.low) || !isfinite(interval.high))
        return (struct word){WORD_NONE};
    double low = unit_shown(interval.low, unit, style->units);
    double high = unit_shown(interval.high, unit, style->units);
    struct word word = number(style, low, decimals, sign, sign);
    append(&word, " to ");
    append(&word, number(style, high, decimals, sign, sign).s);
    return word;
}

enum unit word_difference_unit(enum unit unit)
{
    return unit == UNIT_DEGC ? UNIT_KELVIN : unit;
}

int word_reading_decimals(enum unit unit)
{
    switch (unit) {
    case UNIT_RPM:
    case UNIT_ONE:
    case UNIT_HERTZ:
        return 0;
    case UNIT_DEGREE_NORTH:
    case UNIT_DEGREE_EAST:
        return 5;
    default:
        return 1;
    }
}

struct word word_small(const struct style *style, enum unit unit, double value, int decimals)
{
    double shown = unit_shown(value, unit, style->units);
    struct word word = {"under "};
    if (!rounds_to_zero(shown, decimals))
        return word_value(style, unit, value, decimals);
    append(&word, word_number(style, pow(10, -decimals), decimals).s);
    return word;
}

struct word word_level(const struct style *style, double level)
{
    double percent = level * 100;
    int decimals = 0;
    while (decimals < 2 &&
           fabs(percent - round(percent * pow(10, decimals)) / pow(10, decimals)) > 1e-9 * percent)
        decimals++;
    struct word word = word_number(style, percent, decimals);
    append(&word, "\u00a0%");
    return word;
}

struct word word_share(const struct style *style, double share)
{
    struct word word = word_small(style, UNIT_ONE, share * 100, fabs(share) < 0.0095 ? 1 : 0);
    if (isfinite(share))
        append(&word, "\u00a0%");
    return word;
}

struct word word_rpm(double rpm)
{
    struct style plain = {UNITS_SI, false};
    return word_quantity(&plain, UNIT_RPM, rpm, 0);
}

struct word word_count(uint64_t count, const char *one, const char *many)
{
    struct word word;
    snprintf(word.s, sizeof word.s, "%llu %s", (unsigned long long)count, count == 1 ? one : many);
    return word;
}

/* --- times */

/* From two days on: "3 days 5 h", "173 days". */
static struct word days_of(long long hours)
{
    struct word word;
    if (hours >= 10 * 24 || hours % 24 == 0)
        snprintf(word.s, sizeof word.s, "%lld\u00a0days", (hours + 12) / 24);
    else
        snprintf(word.s, sizeof word.s, "%lld\u00a0days\u00a0%lld\u00a0h", hours / 24, hours % 24);
    return word;
}

struct word word_duration(double seconds)
{
    struct word word = {WORD_NONE};
    if (!isfinite(seconds) || fabs(seconds) > 1e12)
        return word;
    long long whole = llround(seconds);
    if (whole >= 48 * 3600)
        return days_of((whole + 1800) / 3600);
    if (whole < 90)
        snprintf(word.s, sizeof word.s, "%lld\u00a0s", whole);
    else if (whole < 3600 - 30)
        snprintf(word.s, sizeof word.s, "%lld\u00a0min", (whole + 30) / 60);
    else
        snprintf(word.s, sizeof word.s, "%lld\u00a0h\u00a0%02lld\u00a0min", (whole + 30) / 3600,
                 (whole + 30) / 60 % 60);
    return word;
}

struct word word_clock(double seconds)
{
    struct word word = {WORD_NONE};
    if (!isfinite(seconds) || fabs(seconds) > 1e12)
        return word;
    long long whole = llround(fabs(seconds));
    snprintf(word.s, sizeof word.s, "%s%lld:%02lld:%02lld", seconds <= -0.5 ? MINUS : "",
             whole / 3600, whole / 60 % 60, whole % 60);
    return word;
}

/* Broken-down UTC and the microseconds; false where no calendar reaches. */
static bool utc_of(int64_t unix_us, struct tm *utc, int64_t *micro)
{
    int64_t second = unix_us / 1000000;
    *micro = unix_us % 1000000;
    if (*micro < 0) {
        *micro += 1000000;
        second--;
    }
    time_t time = (time_t)second;
    return gmtime_r(&time, utc) != NULL && utc->tm_year > -1900 && utc->tm_year < 8100;
}

struct word word_iso(int64_t unix_us)
{
    struct word word = {WORD_NONE};
    struct tm utc;
    int64_t micro;
    if (utc_of(unix_us, &utc, &micro))
        snprintf(word.s, sizeof word.s, "%04d-%02d-%02dT%02d:%02d:%02d.%06dZ", utc.tm_year + 1900,
                 utc.tm_mon + 1, utc.tm_mday, utc.tm_hour, utc.tm_min, utc.tm_sec, (int)micro);
    return word;
}

struct word word_date(int64_t unix_us)
{
    struct word word = word_iso(unix_us);
    char *clock = strchr(word.s, 'T');
    if (clock != NULL)
        *clock = '\0';
    return word;
}

struct word word_time(int64_t unix_us)
{
    struct word iso = word_iso(unix_us), word = word_date(unix_us);
    const char *clock = strchr(iso.s, 'T');
    if (clock == NULL)
        return word;
    size_t length = strlen(word.s);
    snprintf(word.s + length, sizeof word.s - length, " %.5s\u00a0UTC", clock + 1);
    return word;
}

/* --- prose in other units */

struct found_number {
    const char *sign; /* "", "-", "+" or U+2212, as written */
    double value;     /* with its sign */
    int decimals;
};

/* Reads a number at `at`; returns its length, 0 if there is none. */
static size_t find_number(const char *at, struct found_number *out)
{
    const char *from = at;
    out->sign = "";
    if (strncmp(at, MINUS, strlen(MINUS)) == 0)
        out->sign = MINUS;
    else if (*at == '-' || *at == '+')
        out->sign = *at == '-' ? "-" : "+";
    at += strlen(out->sign);
    size_t digits = strspn(at, "0123456789");
    if (digits == 0 || digits > 12)
        return 0;
    size_t behind = at[digits] == '.' ? strspn(at + digits + 1, "0123456789") : 0;
    if (behind > 6)
        return 0;
    bool negative = out->sign[0] != '\0' && out->sign[0] != '+';
    double size = strtod(at, NULL);
    out->value = negative ? -size : size;
    out->decimals = (int)behind;
    return (size_t)(at - from) + digits + (behind > 0 ? behind + 1 : 0);
}

/* The unit written at `at` behind a space, and how long space and symbol are. */
static size_t find_unit(const char *at, enum unit *unit)
{
    static const enum unit known[] = {UNIT_DEGC, UNIT_KPA, UNIT_LITRE_PER_HOUR, UNIT_KELVIN};
    static const char *const spaces[] = {" ", "\u00a0", "\u202f"};
    for (size_t s = 0; s < sizeof spaces / sizeof spaces[0]; s++) {
        size_t space = strlen(spaces[s]);
        if (strncmp(at, spaces[s], space) != 0)
            continue;
        for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
            const char *symbol = unit_symbol(known[i], UNITS_SI);
            const char *end = at + space + strlen(symbol);
            if (strncmp(at + space, symbol, strlen(symbol)) != 0 || isalnum((unsigned char)*end) ||
                *end == '/' || strncmp(end, " per K", 6) == 0)
                continue;
            *unit = known[i];
            return (size_t)(end - at);
        }
    }
    return 0;
}

/* What may stand between the two numbers of a pair; "and" only where "between" came before. */
static size_t find_joint(const char *at, bool between)
{
    static const char *const joints[] = {" to ", "–", " → ", ", ", " / ", " and "};
    for (size_t i = 0; i < sizeof joints / sizeof joints[0]; i++)
        if (strncmp(at, joints[i], strlen(joints[i])) == 0)
            return strcmp(joints[i], " and ") == 0 && !between ? 0 : strlen(joints[i]);
    return 0;
}

static void add_number(struct text *text, const struct style *style, enum unit unit,
                       const struct found_number *found)
{
    double shown = unit_shown(found->value, unit, style->units);
    bool plus = found->sign[0] == '+';
    struct word word = number(style, shown, found->decimals, plus, false);
    text_add(text, word.s);
}

struct found_quantity {
    struct found_number number[2];
    size_t count;
    const char *joint;
    size_t joint_length;
    enum unit unit;
};

/* Reads "71 to 82 °C" or "20 °C" at `at`; returns its length, 0 if it is none. */
static size_t find_quantity(const char *at, bool between, struct found_quantity *out)
{
    size_t length = find_number(at, &out->number[0]);
    if (length == 0)
        return 0;
    size_t unit = find_unit(at + length, &out->unit);
    out->count = 1;
    if (unit > 0)
        return length + unit;
    out->joint = at + length;
    out->joint_length = find_joint(out->joint, between);
    size_t second =
        out->joint_length == 0 ? 0 : find_number(out->joint + out->joint_length, &out->number[1]);
    if (second == 0)
        return 0;
    length += out->joint_length + second;
    unit = find_unit(at + length, &out->unit);
    out->count = 2;
    return unit > 0 ? length + unit : 0;
}

static void add_quantity(struct text *text, const struct style *style,
                         const struct found_quantity *found)
{
    add_number(text, style, found->unit, &found->number[0]);
    if (found->count == 2) {
        text_add_bytes(text, found->joint, found->joint_length);
        add_number(text, style, found->unit, &found->number[1]);
    }
    text_add(text, "\u00a0");
    text_add(text, unit_symbol(found->unit, style->units));
}

/* A decimal number without a unit, with the style's decimal sign; versions and addresses (0.1.0)
 * are left alone. Returns how many bytes it was, 0 if there is none. */
static size_t add_plain_decimal(struct text *text, const struct style *style, const char *at)
{
    struct found_number found;
    size_t length = find_number(at, &found);
    if (length == 0 || found.decimals == 0 || isalnum((unsigned char)at[length]) ||
        (at[length] == '.' && isdigit((unsigned char)at[length + 1])))
        return 0;
    for (size_t i = 0; i < length; i++)
        text_add_bytes(text, at[i] == '.' && style->decimal_comma ? "," : at + i, 1);
    return length;
}

static bool ends_with(const char *start, const char *at, const char *word)
{
    size_t length = strlen(word);
    return (size_t)(at - start) >= length && strncmp(at - length, word, length) == 0;
}

void word_prose(struct text *text, const struct style *style, const char *prose)
{
    struct text clean = {0};
    text_clean(&clean, prose);
    text->failed |= clean.failed;
    const char *start = text_string(&clean);
    bool quoted = false;
    for (const char *at = start; *at != '\0';) {
        struct found_quantity found;
        bool inside = at > start && (isalnum((unsigned char)at[-1]) || at[-1] == '.');
        size_t length =
            quoted || inside ? 0 : find_quantity(at, ends_with(start, at, "between "), &found);
        if (*at == '"')
            quoted = !quoted;
        if (length == 0 && !quoted && !inside)
            length = add_plain_decimal(text, style, at);
        else if (length > 0)
            add_quantity(text, style, &found);
        if (length == 0) {
            text_add_bytes(text, at, 1);
            length = 1;
        }
        at += length;
    }
    text_free(&clean);
}
