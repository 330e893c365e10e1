/* run_inside.h - what the parts of the reader share. For run_*.c only. */
#ifndef SEARUN_RUN_INSIDE_H
#define SEARUN_RUN_INSIDE_H

#include "run_h5.h"
#include "run_read.h"

struct run {
    hid_t file;
    struct h5_words words;
    struct run_facts_of about;
    struct facts facts;
    size_t unread_facts;  /* facts that this program does not know or cannot take */
    size_t unknown_names; /* groups and columns that this program does not know */
    size_t input_count;
    struct run_input inputs[INPUTS_MAX];
    struct tally tallies[INPUTS_MAX];
    size_t stream_count;
    struct stream_in {
        struct stream stream; /* what callers see */
        enum channel_id *channels;
    } * streams;
    struct h5_links links; /* of /measurements, while it is opened */

    /* Read when they are asked for. */
    struct run_event *events;
    struct run_gap *gaps;
    struct run_utc *utcs;
    size_t event_count, gap_count, utc_count;

    /* The times of the stream that was read last: its channels are mostly wanted together. */
    size_t timed; /* number of the stream + 1; 0 = none */
    double *times;
    bool times_in_order;
};

/* "PATH: WHAT in the file DETAIL. The file is damaged ..." */
enum status run_damaged(const struct run *run, struct complaint *complaint, const char *group,
                        const char *name, const char *what);

/* The same of a plain table with more rows than are ever written. */
enum status run_too_long(const struct run *run, const struct table_spec *spec,
                         struct complaint *complaint);

/* Opens all columns of a table and checks that they are equally long, and no empty claim. */
enum status run_open_columns(struct run *run, const char *group, const struct table_spec *spec,
                             struct column_in *columns, uint64_t *rows,
                             struct complaint *complaint);
void run_close_columns(struct column_in *columns, size_t count);
#define COLUMNS_MAX 16

/* Reads rows from .. from + count - 1 of all columns into row structs. `scratch` holds count times
 * the widest column. */
enum status run_read_rows(struct run *run, const char *group, const struct table_spec *spec,
                          const struct column_in *columns, uint64_t from, size_t count, void *rows,
                          void *scratch, struct complaint *complaint);

/* Reads a whole plain table into an array the caller frees. */
enum status run_read_table(struct run *run, const struct table_spec *spec, void **rows,
                           size_t *count, struct complaint *complaint);

/* Opens one field column of a stream and says how it is packed. */
enum status run_open_field(struct run *run, const struct stream *stream, enum channel_id channel,
                           struct column_in *column, struct scale *scale,
                           struct complaint *complaint);

double run_seconds(int64_t microseconds);

#endif
