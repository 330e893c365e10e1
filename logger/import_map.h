/* import_map.h - which column of a CSV file is which channel, as people write it. Pure.
 *
 * A map is a list of KEY = VALUE, one a line, or with semicolons between on the command line:
 *
 *     time = Zeit                     name of the column, or #2 for the second one
 *     coolant_temperature[C] = T1     a channel, its unit, its column
 *     engine1.coolant_temperature[C] = T2
 *     sea_temperature[C] = T4 +- 0.5  and how far the instrument may be off
 *
 * Keys beside channels are those of settings[] in import_map.c.
 */
#ifndef SEARUN_IMPORT_MAP_H
#define SEARUN_IMPORT_MAP_H

#include <stdbool.h>
#include <stddef.h>

#include "channel.h"
#include "reading.h"
#include "status.h"
#include "written.h"

#define IMPORT_COLUMNS_MAX 63
#define IMPORT_NAME_MAX 120

/* A column of the file: by name, or by number from 1. */
struct import_place {
    char name[IMPORT_NAME_MAX]; /* "": by number */
    size_t number;
};

/* What the numbers of a time column count. */
enum import_time {
    IMPORT_TIME_TEXT,       /* ISO 8601, or a time of day beside a date */
    IMPORT_TIME_SINCE,      /* from `start` on, in time_unit */
    IMPORT_TIME_UNIX,       /* s since 1970 */
    IMPORT_TIME_SPREADSHEET /* days since 1899-12-30, as spreadsheets count */
};

enum import_dates { IMPORT_DATES_PLAIN, IMPORT_DATES_MONTH_FIRST, IMPORT_DATES_DAY_FIRST };

struct import_map {
    bool has_time, has_date;
    struct import_place time, date;
    enum import_time time_kind;
    const struct written_unit *time_unit; /* of IMPORT_TIME_SINCE */
    enum import_dates dates;              /* how 11/12/2026 is meant */
    bool has_start, has_zone;
    struct written_date start_date;
    double start_seconds; /* of that day, in UTC or in `zone` */
    double zone;          /* s ahead of UTC */
    size_t skip;          /* lines before the names of the columns */
    bool has_names;       /* the first line after them names the columns */
    char separator;       /* '\0': as found */
    char decimal;         /* '.' or ','; '\0': both, but no ',' where that is the separator */
    char missing[40];     /* what stands for no value, beside what is usual */
    size_t count;
    struct import_column {
        struct import_place place;
        enum channel_id channel;
        int engine;                      /* or tank, battery */
        const struct written_unit *unit; /* NULL: the stored one, and there is no other */
        bool unit_assumed;               /* none was named: the stored one was taken */
        double right;                    /* stored unit, the most that it is off; 0: not said */
    } columns[IMPORT_COLUMNS_MAX];
};

/* Reads a map. STATUS_BAD_USAGE says what is allowed. */
enum status import_map_read(const char *text, struct import_map *out, struct complaint *complaint);

#endif
