/* service_date.h - dates as people and spreadsheets write them. Pure.
 *
 * Taken is what can be read in one way only: 2026-05-14, 14.5.2026, 5/14/2026 (one number is over
 * 12), 14 May 2026, May 14th, 2026, 14-May-2026, with a weekday before it or a time of day (UTC)
 * behind it. Years have four digits. 5/4/2026 may be April or May: it is read only where the order
 * of day and month is known.
 */
#ifndef SEARUN_SERVICE_DATE_H
#define SEARUN_SERVICE_DATE_H

#include <stdbool.h>
#include <stdint.h>

#include "status.h"

enum date_order { DATE_ORDER_OPEN, DATE_DAY_FIRST, DATE_MONTH_FIRST };

struct service_date {
    int64_t at;    /* unix time, s, UTC; midnight before if only the day is known */
    bool day_only; /* no time of day, or midnight sharp, which spreadsheets write behind a day */
    bool by_order; /* it could be read otherwise, were it not for the order */
};

/* STATUS_BAD_DATA says how to write it. */
enum status service_date_read(const char *text, enum date_order order, struct service_date *out,
                              struct complaint *complaint);

/* The order that a date shows by itself: a number over 12 is no month. DATE_ORDER_OPEN if it shows
 * none. */
enum date_order service_date_shows(const char *text);

#endif
