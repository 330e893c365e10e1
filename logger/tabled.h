/* tabled.h - a run as rows of a table: what a sheet or a CSV file says, before it is a run file. */
#ifndef SEARUN_TABLED_H
#define SEARUN_TABLED_H

#include "config.h"
#include "facts.h"
#include "reading.h"
#include "say.h"
#include "tally.h"
#include "written.h"

#define TABLED_COLUMNS_MAX 64

/* Is told each line that cannot be taken, or that something was assumed for: "sheet.csv:12:
 * ...". */
struct remarks {
    void (*tell)(void *self, enum say_level level, const char *text);
    void *self;
    const char *name; /* of the file, for the words */
};
void remark(const struct remarks *remarks, enum say_level level, size_t line, const char *format,
            ...) __attribute__((format(printf, 4, 5)));

/* What was left out of a column because the catalogue does not believe it. */
struct left_out {
    size_t count, line; /* the line of the first */
    double low, high;   /* as written */
};

struct tabled_column {
    struct origin origin;
    enum channel_id channel;
    struct accuracy accuracy;
    const struct written_unit *unit; /* of what is written; NULL: the stored one */
    bool unit_assumed;               /* a sheet names none, and another may be meant, ... */
    bool unit_used;                  /* ... and numbers without one of their own stand there */
    char name[64];                   /* as people write it, without its unit */
    size_t readings;                 /* how many there are */
    struct left_out left_out;
};

struct tabled_row {
    int64_t unix_us;
    size_t line;
    char *note; /* owned; NULL: none */
};

/* Something that is told once, without a time of its own. */
struct tabled_remark {
    char key[32], text[256];
};

/* Zero-initialise; tabled_free at the end. */
struct tabled {
    struct facts facts;    /* what the head of a sheet says */
    int64_t start_unix_us; /* instant 0; not after any row */
    size_t column_count;
    struct tabled_column columns[TABLED_COLUMNS_MAX];
    size_t row_count, row_room;
    struct tabled_row *rows; /* in the order of time */
    double *values;          /* row_count rows of column_count; NaN: nothing */
    size_t remark_count;
    struct tabled_remark *remarks;
    /* READINGS, ROWS, BAD_ROW, NO_COLUMN, NOT_A_NUMBER, OUT_OF_RANGE, NOT_KEPT; instants are 0 */
    struct tally tally;
};

/* A new last row, all its values NaN; NULL if there is no memory. All columns are there before the
 * first row. */
double *tabled_add_row(struct tabled *table, int64_t unix_us, size_t line);
enum status tabled_add_remark(struct tabled *table, const char *key, const char *text);
/* Rows into the order of time; rows of one instant stay as they were. STATUS_MEMORY. */
enum status tabled_sort(struct tabled *table);
void tabled_free(struct tabled *table);

/* Puts a number, in the unit of the column, into a cell if the catalogue believes it; else it is
 * counted. */
void tabled_put(struct tabled *table, double *row, size_t column, double number, size_t line);

/* tabled_units.c: tells, once a column and after the last row, what was left out of it, and which
 * unit its numbers look like. `where` says where units are written: "in the line of column
 * names". */
void tabled_tell_units(const struct tabled *table, const char *where,
                       const struct remarks *remarks);

/* Refuses a table of which one line has more cells than there are columns. Where commas separate,
 * decimal commas do that: then other rows may be shifted and yet fit. */
enum status tabled_too_many(const struct remarks *remarks, size_t line, size_t cells,
                            size_t columns, char separator, struct complaint *complaint);

/* What kind of thing a channel belongs to, by its place in the catalogue. */
enum place tabled_place(enum channel_id channel);

/* What is asked for on the command line. */
struct table_order {
    const char *sheet;   /* file, or NULL */
    const char *csv;     /* file, or NULL */
    const char *columns; /* map of its columns, or the file that holds it */
    const char *output;  /* run file; NULL: a name is made in the runs folder */
};

/* Reads a sheet, a CSV file, or both into one run, and makes its run file. Facts of the
 * configuration go before those of the sheet. All words go through `voice`. STATUS_BAD_DATA also if
 * the file was made and lacks rows: one of a sheet, a tenth of a CSV file. */
enum status tables_record(const struct config *config, const struct table_order *order,
                          const struct voice *voice);

#endif
