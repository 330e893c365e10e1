/* run_write.h - making a run file. Only the writer thread calls this; it is the only HDF5 user.
 *
 * The file grows as PATH.part; run_write_close closes it, syncs it, reads it back, and renames it
 * to PATH. Layout: DEVELOPERS.md, "The run file".
 *
 * Values wait in memory until a chunk is whole (a few MB for 60 channels) and are not on disk
 * before run_write_close: the journal is what survives a crash. After a failure every further call
 * answers with the same status at once, and run_write_close gives the words of the first failure.
 */
#ifndef SEARUN_RUN_WRITE_H
#define SEARUN_RUN_WRITE_H

#include <stdbool.h>
#include <stdint.h>

#include "facts.h"
#include "reading.h"
#include "status.h"
#include "tally.h"

struct run_writer;

/* Where the dates of a run come from. */
enum clock_source { CLOCK_SYSTEM, CLOCK_GNSS, CLOCK_CAPTURE, CLOCK_NOMINAL };
const char *clock_source_key(enum clock_source source); /* "system", "gnss", "capture", "nominal" */

struct run_input {
    char text[96];  /* as configured: "serial:/dev/ttyUSB0,4800" */
    char label[32]; /* short name, used in group names: [a-z0-9_] */
};

#define INPUTS_MAX 16
#define STREAMS_MAX 1024 /* origins in one run file */

struct run_start {
    const char *path;          /* final name; refused with STATUS_EXISTS if it is there */
    int64_t start_unix_us;     /* wall clock at run start, best knowledge so far */
    enum clock_source clock;   /* of start_unix_us */
    const struct facts *facts; /* copied */
    const struct run_input *inputs;
    size_t input_count;
    const char *software; /* "searun-logger 0.1.0" */
    const char *run_id;   /* a UUID, the same in journal and run file; NULL: a new one */
    /* Assignments "SECTION.KEY=VALUE" that a later decoding of the raw messages depends on, for the
     * journal; NULL-terminated, or NULL. */
    const char *const *settings;
    bool rebuilt; /* made again from the journal after an unclean stop */
};

struct run_end {
    int64_t end;           /* instant of the end, ns since run start */
    int64_t start_unix_us; /* wall clock at run start, as known at the end: becomes the epoch */
    enum clock_source clock;
    bool clean;                  /* ended on purpose */
    const struct tally *tallies; /* one per input, input_count of them; NULL: none */
    uint64_t records_rejected;   /* journal records that were torn or altered (rebuild only) */
    const struct facts *facts;   /* as known at the end; NULL: those of the start */
};

/* Makes a random UUID (RFC 4122, section 4.4). */
#define RUN_ID_ROOM 37
void run_make_id(char id[RUN_ID_ROOM]);

enum status run_write_open(const struct run_start *start, struct run_writer **out,
                           struct complaint *complaint);

/* Values of one origin at one instant. Instants of one origin may go back (gateways do that): they
 * are stored as they come and counted by the reader's check. Instants are kept to the microsecond.
 * A value beyond int32 steps is not kept and counted as out of range. A file holds STREAMS_MAX
 * origins and 2^27 rows of each (15 days at 100 a second); further readings are not kept and
 * counted (REASON_NOT_KEPT), their raw messages are kept. */
enum status run_write_readings(struct run_writer *run, int64_t at, const struct origin *origin,
                               const struct value *values, size_t count);

/* How well a column is read: makes it if it is not there yet. Once a column. */
enum status run_write_accuracy(struct run_writer *run, const struct origin *origin,
                               enum channel_id channel, const struct accuracy *accuracy);

/* A raw 0183 line without its line end, or a raw CAN frame (id as in struct can_frame, with the
 * EFF/RTR/ERR flag bits). */
enum status run_write_line(struct run_writer *run, int64_t at, unsigned input, const char *bytes,
                           size_t length);
enum status run_write_frame(struct run_writer *run, int64_t at, unsigned input, uint32_t id,
                            const uint8_t *data, unsigned length);

/* Something that is not a number (see struct sink). origin may be NULL for our own events. Keys are
 * kept to 47 bytes, texts to 255. */
enum status run_write_event(struct run_writer *run, int64_t at, const struct origin *origin,
                            const char *key, const char *text);
/* The origin stated UTC. */
enum status run_write_utc(struct run_writer *run, int64_t at, const struct origin *origin,
                          int64_t unix_us);
/* Nothing was recorded from `input` between the two instants; `lost` messages if known, else 0. */
enum status run_write_gap(struct run_writer *run, int64_t from, int64_t to, unsigned input,
                          const char *why, uint64_t lost);

/* Ends the file and frees `run` in every case. On failure the .part stays for inspection. */
enum status run_write_close(struct run_writer *run, const struct run_end *end,
                            struct complaint *complaint);

/* Drops the .part and frees. */
void run_write_abandon(struct run_writer *run);

#endif
