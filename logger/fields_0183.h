/* fields_0183.h - the text between the commas of a sentence: splitting, strict numbers, times and
 * dates. Pure.
 *
 * Numbers are read by our own strict rules, never by the C library: no "nan", "inf", hexadecimal or
 * exponents, and the point is a point in every locale.
 */
#ifndef SEARUN_FIELDS_0183_H
#define SEARUN_FIELDS_0183_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "tally.h"

struct field {
    const char *text; /* not NUL-terminated */
    size_t length;
};

/* A line of 512 characters cannot hold more. */
#define FIELDS_0183_MAX 512

/* Field 0 is the address ("IIRPM"); data fields count from 1, as in the tables of the standard. */
struct fields {
    size_t count; /* the address included; at least 1 */
    struct field list[FIELDS_0183_MAX];
};

void fields_split(const char *text, size_t length, struct fields *out);

/* Readers of fields answer why there is no value, or this. */
#define FIELD_READ REASON_READINGS

/* Decimal number: [+-] digits [. digits], at least one digit, blanks around it allowed (fixed-width
 * talkers pad). NOT_AVAILABLE if empty, NOT_A_NUMBER, OUT_OF_RANGE from 18 integer digits on. */
enum reason field_number(struct field field, double *out);

/* 1 to 9 decimal digits and nothing else. */
enum reason field_count(struct field field, unsigned *out);

/* The only character of the field; 0 if it is empty or longer. */
char field_letter(struct field field);

/* ddmm.mmm or dddmm.mmm without a sign, into degrees. NOT_A_NUMBER, or OUT_OF_RANGE if the minutes
 * are 60 or more. */
enum reason field_position(struct field field, double *degrees);

/* hhmmss or hhmmss.ss into microseconds since midnight. 23:59:60 is taken for leap seconds and is
 * the same as the midnight after it, as in POSIX time. OUT_OF_RANGE for an hour of 25 and the
 * like. */
enum reason field_time(struct field field, int64_t *us);

/* ddmmyy into days since 1970-01-01. Two-digit years: 80 to 99 are 1980 to 1999, 00 to 79 are 2000
 * to 2079, because the sources of such dates (satellite navigation) began to count in January
 * 1980. */
enum reason field_date(struct field field, int64_t *days);

/* Three fields, day, month and four-digit year (1980 or later), into days since 1970-01-01. */
enum reason field_day_month_year(const struct field field[3], int64_t *days);

/* Value of one hexadecimal digit of either case, or -1. */
int hex_digit(char c);

#endif
