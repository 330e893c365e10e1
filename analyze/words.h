/* words.h - numbers, units, times and shares as people read them. Every number of the report, the
 * charts and the terminal is formatted here and nowhere else.
 *
 * Numbers are rounded to what their uncertainty supports: the half-width of the interval is shown
 * with at most two digits (JCGM 100:2008, 7.2.6), temperatures with at most one decimal (no sender
 * on a boat is better), ratios with at most two, and with one decimal more where a limit that is
 * not zero would else be shown as zero.
 */
#ifndef SEARUN_WORDS_H
#define SEARUN_WORDS_H

#include <stdint.h>

#include "answer.h"
#include "unit.h"

/* How the reader wants things written. */
struct style {
    enum unit_system units;
    bool decimal_comma;
};

/* A few words by value: word_number(...).s can be handed to printf. */
struct word {
    char s[160];
};
/* printf into a word; what has no room is cut off. */
struct word word_of(const char *format, ...) __attribute__((format(printf, 1, 2)));

#define WORD_NONE "–" /* a number that is not there */

/* Decimals that the half-width of an interval supports, after conversion to the style's units;
 * 1 if the interval is not known. */
int word_decimals(const struct style *style, enum unit unit, struct interval interval);

/* These decimals, or up to two more where a limit that is not zero would be rounded to it: the side
 * of zero must be seen. The interval is in shown units. */
int word_limit_decimals(struct interval interval, int decimals);

/* Decimals that show a standard uncertainty with two digits (JCGM 100:2008, 7.2.6). */
int word_uncertainty_decimals(const struct style *style, enum unit unit, double uncertainty);

/* A bare number in shown digits; "−" is U+2212. WORD_NONE for NaN. No unit is converted. */
struct word word_number(const struct style *style, double value, int decimals);
/* The same with "+" before what is above zero after rounding. */
struct word word_signed(const struct style *style, double value, int decimals);
/* `value` is in stored `unit`; converted to the style's units. */
struct word word_value(const struct style *style, enum unit unit, double value, int decimals);
struct word word_quantity(const struct style *style, enum unit unit, double value, int decimals);
/* "under 0.1" for what is above zero and would be rounded to it; without a unit. */
struct word word_small(const struct style *style, enum unit unit, double value, int decimals);
/* A change with its sign: "−3.7 K". Difference of temperatures: UNIT_KELVIN. */
struct word word_change(const struct style *style, enum unit unit, double value, int decimals);
/* "−5.0 to −2.4", without a unit; signs as in word_signed if `sign`. */
struct word word_range(const struct style *style, enum unit unit, struct interval interval,
                       int decimals, bool sign);

/* The unit in which differences of `unit` are shown: K for temperatures, else itself. */
enum unit word_difference_unit(enum unit unit);
/* Decimals fit for single readings of a channel in this unit. */
int word_reading_decimals(enum unit unit);

struct word word_level(const struct style *style, double level); /* 0.95: "95 %" */
struct word word_share(const struct style *style, double share); /* 0.243: "24 %", "under 0.1 %" */
struct word word_rpm(double rpm);                                /* "2800 rpm" */
struct word word_count(uint64_t count, const char *one, const char *many); /* "1 hold" */
struct word word_duration(double seconds); /* "38 min", "1 h 05 min", "3 days 5 h" */
struct word word_clock(double seconds);    /* since run start: "1:02:45" */
struct word word_date(int64_t unix_us);    /* "2026-05-14" (UTC) */
struct word word_time(int64_t unix_us);    /* "2026-05-14 09:32 UTC" */
struct word word_iso(int64_t unix_us);     /* "2026-05-14T09:32:05.250000Z", for machines */

/* Prose that was written with numbers in °C and K ("71 to 82 °C", "−0.4 K", "20 °C"), in the
 * style's units and decimal sign. Text between quotation marks is left alone. */
struct text;
void word_prose(struct text *text, const struct style *style, const char *prose);

#endif
