/* sheet_inside.h - what the parts of the reader of sheets share. For sheet_*.c and sheet.c only. */
#ifndef SEARUN_SHEET_INSIDE_H
#define SEARUN_SHEET_INSIDE_H

#include "rows.h"
#include "sheet.h"
#include "written.h"

#define WORDS_MAX 96
#define DAY_S 86400.0

enum instrument_id { TACHOMETER, GAUGE, INFRARED, THERMOMETER, INSTRUMENTS, NO_INSTRUMENT };

struct instrument {
    const char *key;   /* in the head of a sheet: "gauge read to" */
    const char *label; /* in the run file */
    enum unit unit;
    double step, right, repeats;
    const char *step_words; /* for people */
};
extern const struct instrument sheet_instruments[INSTRUMENTS];

enum cell_kind { CELL_IGNORED, CELL_PLAN, CELL_TIME, CELL_DATE, CELL_NOTES, CELL_VALUE };

struct cell_rule {
    enum cell_kind kind;
    size_t column; /* of the table, for values */
    char name[WORDS_MAX];
};

struct reading {
    const struct remarks *remarks;
    struct tabled *out;
    struct complaint *complaint;
    char separator; /* of the cells */
    bool comma;     /* decimal comma */
    /* the head */
    struct said {
        double step, right, repeats; /* NaN: not said */
        struct bare {
            size_t line; /* 0: its unit is written; else that of the column counts */
            double number;
        } bare[3];                       /* of step, right, repeats */
        const struct written_unit *told; /* the last one that counted so */
        char words[64];
    } said[INSTRUMENTS];
    double emissivity, emissivity_right;
    bool has_zone;
    double zone;   /* s ahead of UTC */
    bool has_date; /* of the head, or the last one that stood in a row */
    struct written_date date;
    bool has_first_date;
    struct written_date first_date; /* the day of `began` */
    double began;                   /* s of the day; NaN */
    double held;                    /* s; NaN: not said */
    int engine;
    /* the table */
    size_t cell_count;
    size_t named_count; /* up to the last one with a name */
    struct cell_rule cells[CELLS_ROW_MAX];
    bool told_number; /* that # does not make a remark of a row with a time */
    int64_t day;      /* added to the date, for runs past midnight */
    double last_time; /* s of the day; -INFINITY before the first row */
    int64_t last_us;  /* the instant of the row above; INT64_MIN before the first row */
};

/* "Thermostat (start and full):" becomes "thermostat": lower case, one blank between words, without
 * what is in brackets. That, the unit of a column, goes to `unit` if it is not NULL. */
void sheet_words(const char *text, char *to, size_t room, char *unit, size_t unit_room);

/* Takes the number off the end of "gauge 1"; -1 if there is none. */
int sheet_take_engine(char *words);

/* sheet_head.c: nothing is said yet; one line above the table; what was said of an instrument. */
void sheet_head_begin(struct reading *it);
enum status sheet_head_line(struct reading *it, const struct cells *row);
void sheet_accuracy(struct reading *it, enum instrument_id id, struct tabled_column *column);

/* A date and nothing behind it; with slashes only where day and month cannot be mistaken. */
bool sheet_read_date(const char *text, struct written_date *date);
/* Why a date cannot be read, to go behind the forms that can; "" if nothing is known. */
const char *sheet_date_doubt(const char *text);

/* sheet_columns.c: the line that names the columns: one is "time", and another is known. */
bool sheet_is_column_line(const struct cells *row);
enum status sheet_column_line(struct reading *it, const struct cells *row);

#endif
