/* run_table.h - a growing table of a run file: columns of equal length in one group.
 *
 * Rows wait in memory until a chunk is whole and then go to HDF5 in one piece. For run_*.c only.
 * Calls that reach HDF5 stand between h5_enter and h5_leave of the caller.
 */
#ifndef SEARUN_RUN_TABLE_H
#define SEARUN_RUN_TABLE_H

#include "run_h5.h"

#define FILL_PACKED INT32_MIN

struct column_out {
    const struct column_spec *spec;
    int channel;        /* enum channel_id of a field, else -1 */
    struct scale scale; /* of a field */
    size_t row_size;
    hid_t data;
    unsigned char *cells; /* room * row_size bytes */
};

struct table_out {
    hid_t group;      /* 0 or negative: not open */
    size_t chunk;     /* rows that go to the file at once */
    size_t room;      /* rows there is memory for */
    size_t waiting;   /* rows in memory */
    uint64_t written; /* rows in the file */
    size_t column_count;
    struct column_out *columns;
};

/* Makes the group and its columns; `spec` NULL makes a table of measurements with its time column.
 * STATUS_MEMORY, STATUS_IO. table_out_free in every case. */
enum status table_out_open(struct table_out *table, hid_t file, const char *path,
                           const struct table_spec *spec);

/* The same in the group of a table that is open: columns with a length of their own. */
enum status table_out_join(struct table_out *table, const struct table_out *other,
                           const struct table_spec *spec);

/* Names the second dimension of a column that is wider than 1: readers of netCDF want each one
 * named. */
enum status table_out_scale_width(struct table_out *table, size_t column,
                                  const struct table_out *scale);

/* Adds a column for a channel; the rows that are there already are missing values in it. */
enum status table_out_field(struct table_out *table, enum channel_id channel);

/* Makes room for `count` more rows, at most what is left of the chunk. */
enum status table_out_reserve(struct table_out *table, size_t count);

/* Ends `count` rows whose cells are filled; a whole chunk goes to the file. */
enum status table_out_commit(struct table_out *table, size_t count);

/* Appends one row struct to a plain table. */
enum status table_out_append(struct table_out *table, const void *row);

/* Writes what waits and dates the time columns: `since` is "microseconds since ...". */
enum status table_out_finish(struct table_out *table, const char *since);

/* Rows appended so far. */
uint64_t table_out_rows(const struct table_out *table);

void table_out_free(struct table_out *table);

#endif
