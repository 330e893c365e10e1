/* run_h5.h - the few HDF5 operations that run files need. For run_*.c only.
 *
 * HDF5 keeps one error stack and prints it on its own. Here every piece of work that calls HDF5
 * stands between h5_enter and h5_leave: errors are then caught into struct h5_words (the innermost
 * reason of the first failure) and nothing is printed. HDF5 is called by one thread at a time.
 */
#ifndef SEARUN_RUN_H5_H
#define SEARUN_RUN_H5_H

#include <hdf5.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "run_layout.h"
#include "status.h"

struct h5_words {
    int error_number; /* errno of the system call that failed, or 0 */
    char text[200];   /* HDF5's innermost reason, or "" */
};

void h5_enter(struct h5_words *words);
void h5_leave(void);

/* Puts "PATH: DOING: reason" and what to do into the complaint. STATUS_FULL if the device is full,
 * STATUS_IO if the system refused, else `why`. */
enum status h5_complain(const struct h5_words *words, struct complaint *complaint, enum status why,
                        const char *path, const char *doing);

/* Text in attributes is fixed-length UTF-8: it lies in the object header, under its checksum. */
bool h5_put_text(hid_t object, const char *name, const char *text);
bool h5_put_int(hid_t object, const char *name, int64_t value);
bool h5_put_int32(hid_t object, const char *name, int32_t value);
bool h5_put_double(hid_t object, const char *name, double value);

/* False if the attribute is not there, of another type, too long for `size`, or out of bounds. */
bool h5_get_text(hid_t object, const char *name, char *text, size_t size);
bool h5_get_int(hid_t object, const char *name, int64_t low, int64_t high, int64_t *value);
bool h5_get_double(hid_t object, const char *name, double *value);

/* The type of a cell in memory and in the file. The caller closes it with H5Tclose. */
hid_t h5_memory_type(const struct column_spec *spec);
hid_t h5_file_type(const struct column_spec *spec);

/* Opens a group that is a plain link in `parent`. Negative if it is not there or is something
 * else. */
hid_t h5_open_group(hid_t parent, const char *name);

#define NAME_MAX_BYTES 128
struct h5_names {
    size_t count;
    char (*name)[NAME_MAX_BYTES]; /* owned, in alphabetical order */
};
/* Where in the file the things lie that links lead to. free(links->at). */
struct h5_links {
    uint64_t *at;
    size_t count, room;
};
/* The names in a group, and to `links`, which may be NULL, where they lead to. False if there are
 * more than `most`, one is too long, or no memory is left. free(names->name). */
bool h5_list(hid_t group, size_t most, struct h5_names *names, struct h5_links *links);
/* Whether no two of them lead to the same thing: a few bytes of links could make work of days. */
bool h5_links_are_single(struct h5_links *links);

/* One column opened for reading, after its type, shape, chunks and filters were found to be what
 * the layout says and its sizes to be bounded. */
struct column_in {
    hid_t data; /* negative: not open */
    hid_t type; /* in memory */
    uint64_t rows;
    size_t chunk; /* rows */
    size_t width;
    size_t row_size; /* bytes */
};

/* On failure false, and `why` says what is wrong with it. */
bool h5_column_open(hid_t group, const char *name, const struct column_spec *spec,
                    struct column_in *out, const char **why);
/* Reads rows from .. from + count - 1. False: not readable (a checksum does not match, or
 * hostile). */
bool h5_column_read(const struct column_in *column, uint64_t from, size_t count, void *rows);
void h5_column_close(struct column_in *column);

#endif
