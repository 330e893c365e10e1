/* run_raw.h - reading the raw messages of one input, a block at a time. For run_*.c only. */
#ifndef SEARUN_RUN_RAW_H
#define SEARUN_RUN_RAW_H

#include "run_inside.h"

#define RAW_MAX (2 * INPUTS_MAX)

struct raw_in {
    char path[GROUP_PATH_MAX];
    unsigned input;
    bool is_can;
    const struct table_spec *spec;
    struct column_in columns[COLUMNS_MAX];
    struct column_in bytes; /* of lines */
    uint64_t length;        /* messages */
    uint64_t at;            /* the current message */

    void *rows, *scratch; /* row structs of one block */
    uint64_t block_at;
    size_t block;
    unsigned char *window; /* a piece of the bytes of lines */
    uint64_t window_at;
    size_t window_length;

    /* The current message, after raw_take. */
    int64_t time;   /* microseconds */
    int64_t latest; /* the latest time so far */
    uint32_t can_id;
    const uint8_t *message;
    size_t message_length;
};

struct raw_all {
    size_t count;
    struct raw_in raw[RAW_MAX];
};

/* raw_close in every case. */
enum status raw_open(struct run *run, const char *name, struct raw_in *raw,
                     struct complaint *complaint);
void raw_close(struct raw_in *raw);
/* Reads the message number `at`. */
enum status raw_take(struct run *run, struct raw_in *raw, struct complaint *complaint);

/* Opens the raw messages of all inputs. raw_close_all in every case. */
enum status raw_open_all(struct run *run, struct raw_all *all, struct complaint *complaint);
void raw_close_all(struct raw_all *all);

#endif
