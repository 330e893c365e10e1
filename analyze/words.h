/* words.h - numbers, units, times and shares as people read them. Every number of the report, the
 * charts and the terminal is formatted here and nowhere else.
 *
 * Numbers are rounded to what their uncertainty supports: of the half-width of the interval one digit
 * is kept if it starts with 355 to 949, else two (the rounding rule of the Particle Data Group,
 * "Review of Particle Physics", section 5.3; within the "at most two" of JCGM 100:2008, 7.2.6), but
 * never so few that a limit that is not zero would be shown as zero.
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

/* The decimals of a column: those of the narrowest interval, and fewer for a row whose own interval
 * is so wide that they would show three digits of it. `count` intervals, `stride` bytes apart. */
int word_column_decimals(const struct style *style, enum unit unit, const struct interval *first,
                         size_t count, size_t stride);
int word_row_decimals(const struct style *style, enum unit unit, struct interval interval,
                      int column);

/* Decimals that show a standard uncertainty with two digits (JCGM 100:2008, 7.2.6). */
int word_uncertainty_decimals(const struct style *style, enum unit unit, double uncertainty);

/* A bare number in shown digits; "−" is U+2212. WORD_NONE for NaN. No unit is converted. */
struct word word_number(const struct style *style, double value, int decimals);
/* The same with "+" before what is above zero after rounding. */
struct word word_signed(const struct style *style, double value, int decimals);
/* `value` is in stored `unit`; converted to the style's units. */
struct word word_value(const struct style *style, enum unit unit, double value, int decimals);
struct word word_quantity(const struct style *style, enum unit unit, double value, int decimals);
/* A change with its sign: "−3.7 K". Difference of temperatures: UNIT_KELVIN. */
struct word word_change(const struct style *style, enum unit unit, double value, int decimals);
/* "−5.0 to −2.4", without a unit; signs as in word_signed if `sign`. */
struct word word_range(const struct style *style, enum unit unit, struct interval interval,
                       int decimals, bool sign);

/* The unit in which differences of `unit` are shown: K for temperatures, else itself. */
enum unit word_difference_unit(enum unit unit);
/* Decimals fit for single readings of a channel in this unit. */
int word_reading_decimals(enum unit unit);

struct word word_level(const struct style *style, double level);           /* 0.95: "95 %" */
struct word word_share(const struct style *style, double share);           /* 0.243: "24 %" */
struct word word_rpm(double rpm);                                          /* "2800 rpm" */
struct word word_count(uint64_t count, const char *one, const char *many); /* "1 hold" */
struct word word_duration(double seconds); /* "38 min", "1 h 05 min" */
struct word word_clock(double seconds);    /* since run start: "1:02:45" */
struct word word_date(int64_t unix_us);    /* "2026-05-14" (UTC) */
struct word word_time(int64_t unix_us);    /* "2026-05-14 09:32 UTC" */
struct word word_iso(int64_t unix_us);     /* "2026-05-14T09:32:05.250000Z", for machines */

/* Prose that was written with numbers in °C and K ("71 to 82 °C", "−0.4 K", "20 °C"), in the style's
 * units and decimal sign. Text between quotation marks is left alone. */
struct text;
void word_prose(struct text *text, const struct style *style, const char *prose);

#endif
