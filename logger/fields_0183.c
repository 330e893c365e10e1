/* fields_0183.c - splitting, strict numbers, times and dates. */
#include "fields_0183.h"

void fields_split(const char *text, size_t length, struct fields *out)
{
    size_t count = 0, start = 0;
    for (size_t i = 0; i < length; i++) {
        if (text[i] != ',' || count + 1 == FIELDS_0183_MAX)
            continue;
        out->list[count++] = (struct field){text + start, i - start};
        start = i + 1;
    }
    out->list[count++] = (struct field){text + start, length - start};
    out->count = count;
}

int hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    return -1;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static struct field strip_blanks(struct field field)
{
    while (field.length > 0 && field.text[0] == ' ') {
        field.text++;
        field.length--;
    }
    while (field.length > 0 && field.text[field.length - 1] == ' ')
        field.length--;
    return field;
}

/* Digits as one integer and how many of them stand behind the point. A double holds every integer
 * below 2^53 and every power of ten up to 10^22, so one division rounds correctly for 15 digits. */
struct decimal {
    uint64_t digits;
    unsigned behind;
    size_t seen;
};

#define DECIMAL_FULL UINT64_C(100000000000000000) /* 10^17 */

/* Takes digits from `p` on; further ones than fit are dropped behind the point. Returns where it
 * stopped. */
static const char *take_digits(const char *p, const char *end, bool fraction, struct decimal *out)
{
    for (; p < end && is_digit(*p); p++) {
        out->seen++;
        if (out->digits >= DECIMAL_FULL) {
            if (!fraction)
                return p;
            continue;
        }
        out->digits = out->digits * 10 + (uint64_t)(*p - '0');
        out->behind += fraction;
    }
    return p;
}

static double decimal_value(const struct decimal *decimal)
{
    static const double power[] = {1,    1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8, 1e9,
                                   1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18};
    /* A run of zeros behind the point may be longer than the table: such a value is zero to us. */
    if (decimal->behind >= sizeof power / sizeof power[0])
        return 0;
    return (double)decimal->digits / power[decimal->behind];
}

enum reason field_number(struct field field, double *out)
{
    field = strip_blanks(field);
    if (field.length == 0)
        return REASON_NOT_AVAILABLE;
    const char *p = field.text, *end = field.text + field.length;
    bool negative = *p == '-';
    if (*p == '-' || *p == '+')
        p++;
    struct decimal decimal = {0};
    p = take_digits(p, end, false, &decimal);
    if (p < end && is_digit(*p))
        return REASON_OUT_OF_RANGE;
    if (p < end && *p == '.')
        p = take_digits(p + 1, end, true, &decimal);
    if (p < end || decimal.seen == 0)
        return REASON_NOT_A_NUMBER;
    double value = decimal_value(&decimal);
    *out = negative && value > 0 ? -value : value;
    return FIELD_READ;
}

enum reason field_count(struct field field, unsigned *out)
{
    if (field.length == 0)
        return REASON_NOT_AVAILABLE;
    if (field.length > 9)
        return REASON_NOT_A_NUMBER;
    unsigned value = 0;
    for (size_t i = 0; i < field.length; i++) {
        if (!is_digit(field.text[i]))
            return REASON_NOT_A_NUMBER;
        value = value * 10 + (unsigned)(field.text[i] - '0');
    }
    *out = value;
    return FIELD_READ;
}

char field_letter(struct field field)
{
    return field.length == 1 ? field.text[0] : '\0';
}

enum reason field_position(struct field field, double *degrees)
{
    if (field.length == 0)
        return REASON_NOT_AVAILABLE;
    size_t whole = 0;
    while (whole < field.length && is_digit(field.text[whole]))
        whole++;
    unsigned in_degrees;
    double minutes;
    if (whole < 3 || whole > 5 ||
        field_count((struct field){field.text, whole - 2}, &in_degrees) != FIELD_READ ||
        field_number((struct field){field.text + whole - 2, field.length - whole + 2}, &minutes) !=
            FIELD_READ)
        return REASON_NOT_A_NUMBER;
    if (minutes >= 60)
        return REASON_OUT_OF_RANGE;
    *degrees = in_degrees + minutes / 60;
    return FIELD_READ;
}

/* Two digits at `text`, or 100 and more if they are not digits. */
static unsigned two_digits(const char *text)
{
    if (!is_digit(text[0]) || !is_digit(text[1]))
        return 1000;
    return (unsigned)(text[0] - '0') * 10 + (unsigned)(text[1] - '0');
}

/* Behind the point of a time: microseconds, finer digits dropped; -1 if it is no digit. */
static int64_t fraction_us(const char *text, size_t length)
{
    int64_t us = 0, unit = 100000;
    for (size_t i = 0; i < length; i++, unit /= 10) {
        if (!is_digit(text[i]))
            return -1;
        us += (text[i] - '0') * unit;
    }
    return us;
}

enum reason field_time(struct field field, int64_t *us)
{
    if (field.length == 0)
        return REASON_NOT_AVAILABLE;
    if (field.length < 6 || (field.length > 6 && field.text[6] != '.'))
        return REASON_NOT_A_NUMBER;
    unsigned hour = two_digits(field.text), minute = two_digits(field.text + 2),
             second = two_digits(field.text + 4);
    int64_t fraction = field.length > 7 ? fraction_us(field.text + 7, field.length - 7) : 0;
    if (hour > 99 || minute > 99 || second > 99 || fraction < 0)
        return REASON_NOT_A_NUMBER;
    bool leap = hour == 23 && minute == 59 && second == 60;
    if (hour > 23 || minute > 59 || (second > 59 && !leap))
        return REASON_OUT_OF_RANGE;
    *us = (hour * 3600 + minute * 60 + second) * INT64_C(1000000) + fraction;
    return FIELD_READ;
}

static unsigned days_in_month(unsigned month, unsigned year)
{
    static const uint8_t days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return month == 2 && leap ? 29 : days[month - 1];
}

/* Gregorian calendar; the year is 1980 or later. */
static enum reason days_since_1970(unsigned day, unsigned month, unsigned year, int64_t *days)
{
    if (month < 1 || month > 12 || day < 1 || day > days_in_month(month, year))
        return REASON_OUT_OF_RANGE;
    unsigned before = year - 1; /* leap days up to the end of the year before; 477 up to 1969 */
    int64_t count = (int64_t)365 * (year - 1970) + before / 4 - before / 100 + before / 400 - 477;
    for (unsigned m = 1; m < month; m++)
        count += days_in_month(m, year);
    *days = count + day - 1;
    return FIELD_READ;
}

enum reason field_date(struct field field, int64_t *days)
{
    if (field.length == 0)
        return REASON_NOT_AVAILABLE;
    if (field.length != 6)
        return REASON_NOT_A_NUMBER;
    unsigned day = two_digits(field.text), month = two_digits(field.text + 2),
             year = two_digits(field.text + 4);
    if (day > 99 || month > 99 || year > 99)
        return REASON_NOT_A_NUMBER;
    return days_since_1970(day, month, year >= 80 ? 1900 + year : 2000 + year, days);
}

enum reason field_day_month_year(const struct field field[3], int64_t *days)
{
    unsigned part[3];
    for (int i = 0; i < 3; i++) {
        enum reason why = field_count(field[i], &part[i]);
        if (why != FIELD_READ)
            return why;
    }
    if (part[2] < 1980 || part[2] > 9999)
        return REASON_OUT_OF_RANGE;
    return days_since_1970(part[0], part[1], part[2], days);
}
