/* run_layout.c - the columns of a run file. */
#include "run_layout.h"

#include <math.h>
#include <string.h>

#include "run_write.h"

#define ARRAY_COUNT(array) (sizeof(array) / sizeof(array)[0])

/* One column that holds a member of struct `row`. */
#define COLUMN(row, member, name, cell, width, title)                                              \
    {                                                                                              \
        name, title, cell, width, offsetof(struct row, member)                                     \
    }
#define TEXT(row, member, name, title)                                                             \
    COLUMN(row, member, name, CELL_TEXT, sizeof((struct row *)0)->member, title)

/* Who said it; the same columns in /events and /clock. */
#define ORIGIN_COLUMNS(row)                                                                        \
    COLUMN(row, origin.protocol, "protocol", CELL_U8, 1,                                           \
           "Protocol: 0 NMEA 0183, 1 NMEA 2000, 2 J1939, 3 sheet"),                                \
        COLUMN(row, origin.place, "place", CELL_U8, 1,                                             \
               "Place: 0 vessel, 1 engine, 2 tank, 3 battery"),                                    \
        COLUMN(row, origin.instance, "instance", CELL_U8, 1,                                       \
               "Number of the engine, tank or battery"),                                           \
        COLUMN(row, origin.input, "input", CELL_U8, 1, "Number of the input, see /inputs"),        \
        COLUMN(row, origin.number, "pgn", CELL_U32, 1, "Parameter group number, 0 for sentences"), \
        TEXT(row, origin.message, "message", "Message"),                                           \
        TEXT(row, origin.source, "source", "Talker or source address"),                            \
        TEXT(row, origin.label, "label", "Transducer or place named in the message")

static const struct column_spec event_columns[] = {
    COLUMN(event_row, time, "time", CELL_TIME, 1, "Instant"),
    TEXT(event_row, key, "key", "Stable name of the event"),
    TEXT(event_row, text, "text", "Event in words"),
    ORIGIN_COLUMNS(event_row),
};
static const struct column_spec gap_columns[] = {
    COLUMN(gap_row, from, "from", CELL_TIME, 1, "Instant the gap began"),
    COLUMN(gap_row, to, "to", CELL_TIME, 1, "Instant the gap ended"),
    COLUMN(gap_row, input, "input", CELL_U8, 1, "Number of the input, see /inputs"),
    COLUMN(gap_row, lost, "lost", CELL_U64, 1, "Messages known to be lost, 0 if not known"),
    TEXT(gap_row, why, "why", "Reason"),
};
static const struct column_spec clock_columns[] = {
    COLUMN(clock_row, time, "time", CELL_TIME, 1, "Instant the statement arrived"),
    COLUMN(clock_row, unix_us, "utc", CELL_I64, 1,
           "UTC as stated, microseconds since 1970-01-01 00:00:00"),
    ORIGIN_COLUMNS(clock_row),
};
static const struct column_spec tally_columns[] = {
    COLUMN(tally_row, input, "input", CELL_U8, 1, "Number of the input, see /inputs"),
    TEXT(tally_row, reason, "reason", "Stable name of the reason"),
    TEXT(tally_row, meaning, "meaning", "What was counted"),
    COLUMN(tally_row, count, "count", CELL_U64, 1, "How many"),
    COLUMN(tally_row, first, "first", CELL_TIME, 1, "Instant of the first"),
    COLUMN(tally_row, last, "last", CELL_TIME, 1, "Instant of the last"),
};
static const struct column_spec input_columns[] = {
    TEXT(input_row, text, "text", "Input as configured"),
    TEXT(input_row, label, "label", "Short name"),
};
static const struct column_spec frame_columns[] = {
    COLUMN(frame_row, time, "time", CELL_TIME, 1, "Instant of the frame"),
    COLUMN(frame_row, id, "can_id", CELL_U32, 1,
           "CAN identifier; 0x80000000 extended, 0x40000000 remote, 0x20000000 error"),
    COLUMN(frame_row, length, "length", CELL_U8, 1, "Bytes of data in use"),
    COLUMN(frame_row, data, "data", CELL_U8, 8, "Data, zero where not in use"),
};
static const struct column_spec position_columns[] = {
    COLUMN(byte_row, byte, "byte", CELL_U8, 1, "Position of the byte in a frame"),
};
static const struct column_spec line_columns[] = {
    COLUMN(line_row, time, "time", CELL_TIME, 1, "Instant of the line"),
    COLUMN(line_row, offset, "offset", CELL_U64, 1, "Where the line begins in bytes"),
};
static const struct column_spec byte_columns[] = {
    COLUMN(byte_row, byte, "bytes", CELL_U8, 1, "Lines end to end, without line ends"),
};

#define TABLE(group, columns, row, chunk, most)                                                    \
    {                                                                                              \
        group, columns, ARRAY_COUNT(columns), sizeof(struct row), chunk, most                      \
    }

const struct table_spec table_events =
    TABLE("/events", event_columns, event_row, CHUNK_PLAIN, ROWS_EVENTS_MAX);
const struct table_spec table_gaps =
    TABLE("/gaps", gap_columns, gap_row, CHUNK_PLAIN, ROWS_EVENTS_MAX);
const struct table_spec table_clock =
    TABLE("/clock", clock_columns, clock_row, CHUNK_PLAIN, ROWS_CLOCK_MAX);
const struct table_spec table_tally =
    TABLE("/tally", tally_columns, tally_row, CHUNK_PLAIN, ROWS_TALLY_MAX);
const struct table_spec table_inputs =
    TABLE("/inputs", input_columns, input_row, CHUNK_PLAIN, INPUTS_MAX);
const struct table_spec table_frames = TABLE(NULL, frame_columns, frame_row, CHUNK_RAW, 0);
const struct table_spec table_positions = TABLE(NULL, position_columns, byte_row, CHUNK_PLAIN, 0);
const struct table_spec table_lines = TABLE(NULL, line_columns, line_row, CHUNK_RAW, 0);
const struct table_spec table_bytes = TABLE(NULL, byte_columns, byte_row, CHUNK_RAW_BYTES, 0);

const struct column_spec column_time = {"time", "Instant of the reading", CELL_TIME, 1, 0};
const struct column_spec column_field = {NULL, NULL, CELL_PACKED, 1, 0};

static size_t element_size(enum cell cell)
{
    static const size_t sizes[CELL_COUNT] = {
        [CELL_TIME] = 8, [CELL_I64] = 8,  [CELL_U64] = 8,    [CELL_U32] = 4,
        [CELL_U8] = 1,   [CELL_TEXT] = 1, [CELL_PACKED] = 4,
    };
    return sizes[cell];
}

size_t column_row_size(const struct column_spec *spec)
{
    return element_size(spec->cell) * spec->width;
}

struct scale scale_of_step(double step)
{
    double parts = round(1.0 / step);
    if (parts > 1.0 && fabs(parts * step - 1.0) < 1e-12)
        return (struct scale){1.0, parts};
    return (struct scale){step, 1.0};
}

bool scale_to_steps(struct scale scale, double value, int32_t *steps)
{
    double whole = round(value * scale.divide / scale.multiply);
    if (!(whole > INT32_MIN && whole <= INT32_MAX))
        return false;
    *steps = (int32_t)whole;
    return true;
}

double scale_to_value(struct scale scale, int32_t steps)
{
    return steps * scale.multiply / scale.divide;
}

void layout_text(char *to, size_t size, const char *text)
{
    size_t length = strlen(text);
    if (length >= size) {
        length = size - 1;
        while (length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80)
            length--;
    }
    memset(to, 0, size);
    memcpy(to, text, length);
}

static void clean_text(char *text, size_t size)
{
    size_t length = strnlen(text, size - 1);
    for (size_t i = 0; i < length; i++)
        if (text[i] < ' ' || text[i] > '~')
            text[i] = '?';
    memset(text + length, 0, size - length);
}

struct origin layout_origin(const struct origin *origin)
{
    struct origin clean = *origin;
    clean_text(clean.message, sizeof clean.message);
    clean_text(clean.source, sizeof clean.source);
    clean_text(clean.label, sizeof clean.label);
    return clean;
}

/* Printable ASCII, then zeros to the end. */
static bool text_is_sound(const char *text, size_t size)
{
    size_t length = strnlen(text, size);
    for (size_t i = 0; i < length; i++)
        if (text[i] < ' ' || text[i] > '~')
            return false;
    for (size_t i = length; i < size; i++)
        if (text[i] != '\0')
            return false;
    return length < size;
}

bool layout_origin_is_sound(const struct origin *origin)
{
    return origin->protocol < PROTOCOL_COUNT && origin->place < PLACE_COUNT &&
           origin->instance < INSTANCE_MAX &&
           text_is_sound(origin->message, sizeof origin->message) &&
           text_is_sound(origin->source, sizeof origin->source) &&
           text_is_sound(origin->label, sizeof origin->label);
}
