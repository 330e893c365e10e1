/* run_time.c - dates of a run. */
#include "run_time.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define US_PER_S INT64_C(1000000)
#define YEAR_0_S (INT64_C(-62167219200))
#define YEAR_10000_S INT64_C(253402300800)

static void split(int64_t unix_us, struct tm *date, int *fraction)
{
    int64_t second = unix_us / US_PER_S - (unix_us % US_PER_S < 0);
    *fraction = (int)(unix_us - second * US_PER_S);
    if (second < YEAR_0_S || second >= YEAR_10000_S) {
        second = second < 0 ? YEAR_0_S : YEAR_10000_S - 1;
        *fraction = 0;
    }
    time_t whole = (time_t)second;
    gmtime_r(&whole, date);
}

static void write_date(int64_t unix_us, char between, const char *behind, char *text)
{
    struct tm date;
    int fraction;
    split(unix_us, &date, &fraction);
    int length =
        snprintf(text, TIME_TEXT_MAX, "%04d-%02d-%02d%c%02d:%02d:%02d", date.tm_year + 1900,
                 date.tm_mon + 1, date.tm_mday, between, date.tm_hour, date.tm_min, date.tm_sec);
    size_t used = length > 0 && length < TIME_TEXT_MAX ? (size_t)length : 0;
    if (fraction)
        snprintf(text + used, TIME_TEXT_MAX - used, ".%06d%s", fraction, behind);
    else
        snprintf(text + used, TIME_TEXT_MAX - used, "%s", behind);
}

void time_iso(int64_t unix_us, char text[TIME_TEXT_MAX])
{
    write_date(unix_us, 'T', "Z", text);
}

void time_epoch(int64_t unix_us, char text[TIME_TEXT_MAX])
{
    write_date(unix_us, ' ', "", text);
}

bool time_parse_iso(const char *text, int64_t *unix_us)
{
    struct tm date = {0};
    int used = 0, fraction = 0, used_more = 0;
    if (sscanf(text, "%4d-%2d-%2dT%2d:%2d:%2d%n", &date.tm_year, &date.tm_mon, &date.tm_mday,
               &date.tm_hour, &date.tm_min, &date.tm_sec, &used) != 6)
        return false;
    if (sscanf(text + used, ".%6d%n", &fraction, &used_more) == 1)
        used += used_more;
    date.tm_year -= 1900;
    date.tm_mon -= 1;
    int64_t found = (int64_t)timegm(&date) * US_PER_S + fraction;
    /* What is not written the same way again was no date of ours (month 13, second 75, trailing
     * words). */
    char again[TIME_TEXT_MAX];
    time_iso(found, again);
    if (strcmp(again, text) != 0)
        return false;
    *unix_us = found;
    return true;
}
