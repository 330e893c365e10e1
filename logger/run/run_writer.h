/* run_writer.h - what the parts of the writer share. For run_*.c only. */
#ifndef SEARUN_RUN_WRITER_H
#define SEARUN_RUN_WRITER_H

#include "run_table.h"
#include "run_write.h"

#define SLOT_COUNT (4 * STREAMS_MAX) /* a power of two, so that the hash table stays sparse */

struct stream_out {
    struct origin origin;
    struct table_out table;
    int16_t column_of[CHANNEL_COUNT]; /* number of the column, 0 = none (0 is the time) */
};

/* Raw messages of one input. It carries lines or frames, seldom both. */
struct raw_out {
    bool has_lines, has_frames;
    struct table_out lines, bytes, frames;
};

struct run_writer {
    char *path, *part;
    hid_t file;
    struct h5_words words;
    enum status failed;       /* first failure, kept */
    struct complaint trouble; /* its words */

    size_t input_count;
    struct run_input inputs[INPUTS_MAX];
    struct raw_out raw[INPUTS_MAX];
    struct tally own[INPUTS_MAX]; /* what the writer itself could not keep */

    size_t stream_count;
    struct stream_out *streams[STREAMS_MAX];
    uint16_t slots[SLOT_COUNT]; /* number of the stream + 1 */
    uint64_t rows_most;         /* of a stream: ROWS_SERIES_MAX; tests set less */

    struct table_out events, gaps, clock;
};

/* Instants are kept in microseconds: exact in a double for 285 years. */
int64_t writer_microseconds(int64_t at);

/* Ends a piece of work begun with h5_enter. The first failure and its words are kept, and later
 * calls answer with it at once. */
enum status writer_done(struct run_writer *run, enum status status, const char *doing);
/* The same for a failure outside of HDF5. */
enum status writer_fail(struct run_writer *run, enum status status, const char *doing);

/* run_begin.c: what is written once, between h5_enter and h5_leave of the caller. */
enum status writer_begin_file(struct run_writer *run, const struct run_start *start);
enum status writer_begin_stream(struct run_writer *run, struct stream_out *stream);
enum status writer_put_accuracy(hid_t column, const struct accuracy *accuracy);
enum status writer_begin_lines(struct run_writer *run, unsigned input);
enum status writer_begin_frames(struct run_writer *run, unsigned input);

/* What is there is replaced. */
bool writer_put_facts(hid_t file, const struct facts *facts);

/* run_end.c: closes all that is open in the file. False if HDF5 could not end it. */
bool writer_close_file(struct run_writer *run);
void writer_free(struct run_writer *run);

#endif
