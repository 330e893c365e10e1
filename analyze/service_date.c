/* service_date.c - see service_date.h. */
#include "service_date.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>

#define YEAR_FIRST 1950
#define YEAR_LAST 2199
#define BETWEEN " -/.,"

static const char *const months[] = {"January",   "February", "March",    "April",
                                     "May",       "June",     "July",     "August",
                                     "September", "October",  "November", "December"};
static const char *const weekdays[] = {"Monday", "Tuesday",  "Wednesday", "Thursday",
                                       "Friday", "Saturday", "Sunday"};

/* One of the three parts of a date. */
struct part {
    int number;    /* -1: it is a word */
    size_t digits; /* of the number */
    int month;     /* 1 .. 12 of a word that is one, else 0 */
};

/* Which of the names begins with the letters at `text`, three of them at least: 1 ...; 0: none. */
static int name_at(const char *text, size_t length, const char *const *names, int count)
{
    for (int i = 0; i < count && length >= 3; i++)
        if (length <= strlen(names[i]) && strncasecmp(text, names[i], length) == 0)
            return i + 1;
    return 0;
}

static size_t letters(const char *text)
{
    size_t n = 0;
    while (isalpha((unsigned char)text[n]))
        n++;
    return n;
}

/* Behind a weekday and the comma after it, if there is one. */
static const char *without_weekday(const char *text)
{
    size_t length = letters(text);
    if (name_at(text, length, weekdays, 7) == 0)
        return text;
    return text + length + strspn(text + length, " .,");
}

/* Behind the st, nd, rd or th of a day. */
static const char *without_ending(const char *text)
{
    static const char *const endings[] = {"st", "nd", "rd", "th"};
    for (size_t i = 0; i < 4 && letters(text) == 2; i++)
        if (strncasecmp(text, endings[i], 2) == 0)
            return text + 2;
    return text;
}

/* Reads a number or the name of a month; NULL if there is neither. */
static const char *read_part(const char *text, struct part *part)
{
    size_t length = letters(text);
    part->digits = strspn(text, "0123456789");
    part->number = -1;
    part->month =
        length == 4 && strncasecmp(text, "Sept", 4) == 0 ? 9 : name_at(text, length, months, 12);
    if (part->month > 0)
        return text + length;
    if (part->digits == 0 || part->digits > 4)
        return NULL;
    part->number = atoi(text);
    return without_ending(text + part->digits);
}

/* The three parts of the day; returns what is behind them, or NULL. */
static const char *read_parts(const char *text, struct part part[3])
{
    const char *at = without_weekday(text);
    for (int i = 0; i < 3 && at != NULL; i++) {
        size_t between = i > 0 ? strspn(at, BETWEEN) : 0;
        if (i > 0 && (between == 0 || between > 3))
            return NULL;
        at = read_part(at + between, &part[i]);
    }
    return at;
}

/* --- which part is what */

struct day {
    int year, month, day;
};

/* Both orders of two numbers, where neither is a word. */
static enum date_order order_of(const struct part part[3])
{
    int a = part[0].number, b = part[1].number;
    if (part[0].month > 0 || part[1].month > 0 || a == b)
        return DATE_ORDER_OPEN;
    return a > 12 && b <= 12   ? DATE_DAY_FIRST
           : b > 12 && a <= 12 ? DATE_MONTH_FIRST
                               : DATE_ORDER_OPEN;
}

static bool year_comes_last(const struct part part[3])
{
    return part[2].digits == 4 && part[0].digits < 3 && part[1].digits < 3;
}

enum date_order service_date_shows(const char *text)
{
    struct part part[3];
    return read_parts(text, part) != NULL && year_comes_last(part) ? order_of(part)
                                                                   : DATE_ORDER_OPEN;
}

static struct day day_by(const struct part part[3], enum date_order order)
{
    const struct part *day = &part[order == DATE_MONTH_FIRST],
                      *month = &part[order == DATE_DAY_FIRST];
    return (struct day){part[2].number, month->month > 0 ? month->month : month->number,
                        day->number};
}

static bool is_open(const struct part part[3])
{
    return part[0].month == 0 && part[1].month == 0 && part[0].number != part[1].number &&
           order_of(part) == DATE_ORDER_OPEN && part[0].number <= 12 && part[1].number <= 12;
}

/* What the parts mean, the order of day and month being known. */
static struct day meaning(const struct part part[3], enum date_order order)
{
    if (part[0].digits == 4)
        return (struct day){part[0].number, part[1].month > 0 ? part[1].month : part[1].number,
                            part[2].number};
    if (!year_comes_last(part))
        return (struct day){0, 0, 0};
    if (part[0].month > 0)
        return day_by(part, DATE_MONTH_FIRST);
    if (part[1].month > 0)
        return day_by(part, DATE_DAY_FIRST);
    enum date_order own = order_of(part);
    return day_by(part, own != DATE_ORDER_OPEN     ? own
                        : order != DATE_ORDER_OPEN ? order
                                                   : DATE_DAY_FIRST);
}

/* --- the time of day */

/* 12 AM is midnight, 12 PM noon. */
static const char *read_half(const char *rest, struct tm *tm)
{
    const char *at = rest + strspn(rest, " ");
    bool morning = strncasecmp(at, "am", 2) == 0, evening = strncasecmp(at, "pm", 2) == 0;
    if (!morning && !evening)
        return rest;
    if (tm->tm_hour < 1 || tm->tm_hour > 12)
        return NULL;
    tm->tm_hour = tm->tm_hour % 12 + (evening ? 12 : 0);
    return at + 2;
}

/* NULL if it is none. */
static const char *read_clock(const char *text, struct tm *tm)
{
    const char *rest = strptime(text, "%H:%M:%S", tm);
    rest = rest != NULL ? rest : strptime(text, "%H:%M", tm);
    rest = rest != NULL ? read_half(rest, tm) : NULL;
    return rest != NULL && *rest == 'Z' ? rest + 1 : rest;
}

/* --- all of it */

static enum status no_date(const char *text, struct complaint *complaint)
{
    return complain(complaint, STATUS_BAD_DATA,
                    "\"%.40s\" is no date that can be read in one way only; write "
                    "year-month-day, 2026-05-14, or with a time of day in UTC, 2026-05-14T15:30Z",
                    text);
}

static enum status two_dates(const char *text, const struct part part[3],
                             struct complaint *complaint)
{
    struct day a = day_by(part, DATE_DAY_FIRST), b = day_by(part, DATE_MONTH_FIRST);
    return complain(complaint, STATUS_BAD_DATA,
                    "\"%.40s\" is no date that can be read in one way only; write %04d-%02d-%02d "
                    "if %d %s is meant, or %04d-%02d-%02d if it is %d %s",
                    text, a.year, a.month, a.day, a.day, months[a.month - 1], b.year, b.month,
                    b.day, b.day, months[b.month - 1]);
}

/* timegm makes 2 March of 30 February, and sets tm to it. */
static bool to_time(const struct day *day, struct tm *tm, int64_t *at)
{
    tm->tm_year = day->year - 1900;
    tm->tm_mon = day->month - 1;
    tm->tm_mday = day->day;
    if (day->year < YEAR_FIRST || day->year > YEAR_LAST || day->month < 1 || day->month > 12 ||
        day->day < 1 || day->day > 31)
        return false;
    *at = timegm(tm);
    return tm->tm_mday == day->day;
}

enum status service_date_read(const char *text, enum date_order order, struct service_date *out,
                              struct complaint *complaint)
{
    struct part part[3] = {{-1, 0, 0}, {-1, 0, 0}, {-1, 0, 0}};
    struct tm tm = {0};
    const char *rest = read_parts(text, part);
    *out = (struct service_date){0, true, false};
    if (rest == NULL)
        return no_date(text, complaint);
    struct day day = meaning(part, order);
    out->day_only = *rest == '\0';
    if (*rest == 'T' || *rest == ' ' || *rest == ',')
        rest = read_clock(rest + 1 + strspn(rest + 1, " "), &tm);
    out->day_only |= tm.tm_hour == 0 && tm.tm_min == 0 && tm.tm_sec == 0;
    if (rest == NULL || *rest != '\0' || !to_time(&day, &tm, &out->at))
        return no_date(text, complaint);
    out->by_order = year_comes_last(part) && is_open(part);
    return out->by_order && order == DATE_ORDER_OPEN ? two_dates(text, part, complaint) : STATUS_OK;
}
