/* run_layout.h - what lies where in a run file: one row a column. No HDF5 in it.
 *
 * A table is a group whose datasets are columns of equal length. A struct ..._row is one row of it
 * in memory; a column says which member it holds. Writer, reader and check all work from these
 * rows.
 */
#ifndef SEARUN_RUN_LAYOUT_H
#define SEARUN_RUN_LAYOUT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "reading.h"

#define FORMAT_VERSION 1

/* Rows in a chunk. Bench and reasons: DEVELOPERS.md, "The run file". */
#define CHUNK_MEASUREMENTS 4096
#define CHUNK_RAW 16384
#define CHUNK_RAW_BYTES 65536
#define CHUNK_PLAIN 256

/* Bounds of what is kept and read, so that memory stays bounded on any file. */
#define ROWS_EVENTS_MAX (UINT64_C(1) << 18) /* events, gaps */
#define ROWS_CLOCK_MAX (UINT64_C(1) << 20)
#define ROWS_TALLY_MAX (INPUTS_MAX * UINT64_C(256)) /* more reasons than there will be */
#define ROWS_SERIES_MAX (UINT64_C(1) << 27)
#define LINE_MAX_BYTES 65536
#define GROUP_PATH_MAX 160

enum cell {
    CELL_TIME,   /* int64, microseconds since run start */
    CELL_I64,    /* int64 */
    CELL_U64,    /* uint64 */
    CELL_U32,    /* uint32 */
    CELL_U8,     /* uint8 */
    CELL_TEXT,   /* UTF-8, padded with zero bytes to the size of the member */
    CELL_PACKED, /* int32 steps of a channel */
    CELL_COUNT
};

struct column_spec {
    const char *name, *title;
    enum cell cell;
    size_t width;  /* elements a row (CAN data: 8), or bytes of a text */
    size_t offset; /* of the member in the row struct */
};

struct table_spec {
    const char *group; /* path, or NULL where the caller makes it */
    const struct column_spec *columns;
    size_t column_count;
    size_t row_size;
    size_t chunk;       /* rows */
    uint64_t rows_most; /* of a table that is read whole */
};

/* Bytes of one row of a column. */
size_t column_row_size(const struct column_spec *spec);

struct event_row {
    int64_t time;
    struct origin origin;
    char key[48];
    char text[256];
};
struct gap_row {
    int64_t from, to;
    uint64_t lost;
    uint8_t input;
    char why[96];
};
struct clock_row {
    int64_t time, unix_us;
    struct origin origin;
};
struct tally_row {
    uint64_t count;
    int64_t first, last;
    uint8_t input;
    char reason[32];
    char meaning[96];
};
struct input_row {
    char text[96];
    char label[32];
};
struct frame_row {
    int64_t time;
    uint32_t id;
    uint8_t length;
    uint8_t data[8];
};
struct line_row {
    int64_t time;
    uint64_t offset;
};
struct byte_row {
    uint8_t byte;
};

extern const struct table_spec table_events, table_gaps, table_clock, table_tally, table_inputs;
extern const struct table_spec table_frames, table_positions, table_lines, table_bytes;
#define FRAME_DATA_COLUMN 3 /* of table_frames */

/* The time column of measurements, and the field columns beside it (their name is the channel
 * key). */
extern const struct column_spec column_time, column_field;

/* Packing of a channel: a value is steps * multiply / divide. A step of 1/n is kept as the division
 * by n, which gives the double nearest to the decimal number, as multiplying by 0.001 does not. */
struct scale {
    double multiply, divide;
};
struct scale scale_of_step(double step);
/* False if the value is not finite or lies beyond int32 steps; the lowest int32 means missing. */
bool scale_to_steps(struct scale scale, double value, int32_t *steps);
double scale_to_value(struct scale scale, int32_t steps);

/* Copies text into a column member of `size` bytes: cut at a whole UTF-8 character, always with a
 * zero at the end, the rest zero. */
void layout_text(char *to, size_t size, const char *text);

/* An origin as it is written: with text that is no printable ASCII, which no decoder should give,
 * made so by question marks. */
struct origin layout_origin(const struct origin *origin);

/* True if an origin read from a file is one that a writer could have written. */
bool layout_origin_is_sound(const struct origin *origin);

/* Raw messages of one input: "lines" or "frames", as the attribute `kind` of the group says. */
#define RAW_KIND_LINES "lines"
#define RAW_KIND_FRAMES "CAN frames"

/* The attribute `sampling` of a column that was read by hand. */
#define SAMPLING_BY_HAND "by hand"

#endif
