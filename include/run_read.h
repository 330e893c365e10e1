/* run_read.h - reading a run file. Opened read-only; hostile files give errors, not crashes. */
#ifndef SEARUN_RUN_READ_H
#define SEARUN_RUN_READ_H

#include "run_write.h"

struct run;

/* One origin of the file and its channels. Owned by the run. */
struct stream {
    struct origin origin;
    char group[160]; /* path of the HDF5 group */
    size_t count;    /* number of instants */
    size_t channel_count;
    const enum channel_id *channels;
};

/* One channel of one stream. Missing values are left out. Free with series_free. */
struct series {
    enum channel_id channel;
    struct origin origin;
    size_t count;
    double *time;             /* s since run start, not decreasing */
    double *value;            /* in the channel's unit */
    struct accuracy accuracy; /* all zero where nobody said anything */
};

struct run_facts_of {
    char path[4096];
    char software[64]; /* program that recorded it */
    int format_version;
    char run_id[64];
    int64_t start_unix_us, end_unix_us;
    enum clock_source clock;
    bool closed_cleanly;
    bool rebuilt;
    uint64_t
        records_rejected; /* rebuilt: blocks of the journal that were torn, altered or missing */
    double duration;      /* s */
};

struct run_event {
    double time;
    struct origin origin;
    char key[48];
    char text[256];
};
struct run_gap {
    double from, to;
    unsigned input;
    uint64_t lost;
    char why[96];
};
struct run_utc {
    double time;
    struct origin origin;
    int64_t unix_us;
};

enum status run_open(const char *path, struct run **out, struct complaint *complaint);
void run_close(struct run *run);

const struct run_facts_of *run_about(const struct run *run);
const struct facts *run_facts(const struct run *run);
size_t run_stream_count(const struct run *run);
const struct stream *run_stream(const struct run *run, size_t index);
size_t run_input_count(const struct run *run);
const struct run_input *run_input_at(const struct run *run, size_t index);
const struct tally *run_tally(const struct run *run, size_t input); /* per input */

/* Reads one channel of one stream, sorted by time (stably). */
enum status run_read_series(struct run *run, size_t stream, enum channel_id channel,
                            struct series *out, struct complaint *complaint);
void series_free(struct series *series);

/* Arrays are owned by the run and live until run_close. */
enum status run_events(struct run *run, const struct run_event **out, size_t *count,
                       struct complaint *complaint);
enum status run_gaps(struct run *run, const struct run_gap **out, size_t *count,
                     struct complaint *complaint);
enum status run_utcs(struct run *run, const struct run_utc **out, size_t *count,
                     struct complaint *complaint);

/* Calls back for every raw message in the order of their instants. `can_id` is meaningful for CAN
 * frames; for lines it is 0 and `is_can` false. A callback that returns false stops the walk.
 * Messages of one input always come in the order they were recorded, even where their instants go
 * back; at equal instants the input with the lower number comes first. */
struct raw_message {
    int64_t at;
    unsigned input;
    bool is_can;
    uint32_t can_id;
    const uint8_t *bytes;
    size_t length;
};
enum status run_raw(struct run *run, bool (*each)(void *self, const struct raw_message *),
                    void *self, struct complaint *complaint);

/* Integrity: reads every dataset (checksums), looks at lengths, order of times, clean end. Each
 * finding is told through `say` (severity 0 note, 1 warning, 2 damage); returns the worst severity
 * in *worst. */
enum status run_check(struct run *run, void (*say)(void *self, int severity, const char *text),
                      void *self, int *worst, struct complaint *complaint);

#endif
