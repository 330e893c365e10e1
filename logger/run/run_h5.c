/* run_h5.c - HDF5 operations with bounds. */
#include "run_h5.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A chunk of ours has at most 128 KiB; nothing larger is decompressed. */
#define CHUNK_BYTES_MAX (512 * 1024)
#define FILTERS_MAX 3

/* --- errors */

/* System errors come as text: "... errno = 28, error message = 'No space left on device', ..." */
static void note_reason(struct h5_words *words, const char *description)
{
    const char *number = strstr(description, "errno = ");
    if (number)
        words->error_number = atoi(number + strlen("errno = "));
    if (number && words->error_number > 0)
        snprintf(words->text, sizeof words->text, "%s", strerror(words->error_number));
    else
        snprintf(words->text, sizeof words->text, "%s", description);
}

static herr_t note_innermost(unsigned depth, const H5E_error2_t *error, void *data)
{
    struct h5_words *words = data;
    if (depth == 0 && error->desc)
        note_reason(words, error->desc);
    return 0;
}

/* HDF5 calls this when one of its functions fails, before its error stack is cleared. */
static herr_t on_error(hid_t stack, void *data)
{
    struct h5_words *words = data;
    if (words->text[0] == '\0')
        H5Ewalk2(stack, H5E_WALK_UPWARD, note_innermost, words);
    return 0;
}

void h5_enter(struct h5_words *words)
{
    /* After a full disk HDF5 could not end its files at exit, and would try over and over. */
    H5dont_atexit();
    /* A file must not make us load code. */
    H5PLset_loading_state(0);
    *words = (struct h5_words){0};
    H5Eset_auto2(H5E_DEFAULT, on_error, words);
}

void h5_leave(void)
{
    H5Eset_auto2(H5E_DEFAULT, NULL, NULL);
}

enum status h5_complain(const struct h5_words *words, struct complaint *complaint, enum status why,
                        const char *path, const char *doing)
{
    int number = words->error_number;
    const char *reason = words->text[0] ? words->text : "no reason given";
    if (number == ENOSPC || number == EDQUOT)
        return complain(complaint, STATUS_FULL,
                        "%s: %s: the storage is full (%s). Make room there or record to another "
                        "folder.",
                        path, doing, reason);
    if (number)
        return complain(complaint, STATUS_IO, "%s: %s: %s. Check the storage and its connection.",
                        path, doing, reason);
    return complain(complaint, why, "%s: %s (HDF5: %s)", path, doing, reason);
}

/* --- attributes, writing; what is there is replaced */

static bool put(hid_t object, const char *name, hid_t file_type, hid_t memory_type,
                const void *value)
{
    if (H5Aexists(object, name) > 0 && H5Adelete(object, name) < 0)
        return false;
    hid_t space = H5Screate(H5S_SCALAR);
    hid_t attribute = H5Acreate2(object, name, file_type, space, H5P_DEFAULT, H5P_DEFAULT);
    bool done = attribute >= 0 && H5Awrite(attribute, memory_type, value) >= 0;
    if (attribute >= 0)
        H5Aclose(attribute);
    H5Sclose(space);
    return done;
}

static hid_t text_type(size_t size)
{
    hid_t type = H5Tcopy(H5T_C_S1);
    H5Tset_size(type, size ? size : 1);
    H5Tset_cset(type, H5T_CSET_UTF8);
    H5Tset_strpad(type, H5T_STR_NULLPAD);
    return type;
}

bool h5_put_text(hid_t object, const char *name, const char *text)
{
    hid_t type = text_type(strlen(text));
    bool done = put(object, name, type, type, text);
    H5Tclose(type);
    return done;
}

bool h5_put_int(hid_t object, const char *name, int64_t value)
{
    return put(object, name, H5T_STD_I64LE, H5T_NATIVE_INT64, &value);
}

bool h5_put_int32(hid_t object, const char *name, int32_t value)
{
    return put(object, name, H5T_STD_I32LE, H5T_NATIVE_INT32, &value);
}

bool h5_put_double(hid_t object, const char *name, double value)
{
    return put(object, name, H5T_IEEE_F64LE, H5T_NATIVE_DOUBLE, &value);
}

/* --- attributes, reading */

/* Opens a scalar attribute of that class and at most `limit` bytes. Negative if it is not so. */
static hid_t open_scalar(hid_t object, const char *name, H5T_class_t class, size_t limit,
                         size_t *size)
{
    if (H5Aexists(object, name) <= 0)
        return -1;
    hid_t attribute = H5Aopen(object, name, H5P_DEFAULT);
    hid_t space = attribute < 0 ? -1 : H5Aget_space(attribute);
    hid_t type = attribute < 0 ? -1 : H5Aget_type(attribute);
    *size = type < 0 ? 0 : H5Tget_size(type);
    bool sound = space >= 0 && type >= 0 && H5Sget_simple_extent_type(space) == H5S_SCALAR &&
                 H5Tget_class(type) == class && *size > 0 && *size <= limit;
    if (sound && class == H5T_STRING)
        sound = H5Tis_variable_str(type) == 0;
    if (space >= 0)
        H5Sclose(space);
    if (type >= 0)
        H5Tclose(type);
    if (attribute >= 0 && !sound)
        H5Aclose(attribute);
    return sound ? attribute : -1;
}

static bool get_scalar(hid_t object, const char *name, H5T_class_t class, hid_t memory_type,
                       void *value)
{
    size_t size;
    hid_t attribute = open_scalar(object, name, class, 8, &size);
    if (attribute < 0)
        return false;
    bool done = H5Aread(attribute, memory_type, value) >= 0;
    H5Aclose(attribute);
    return done;
}

bool h5_get_text(hid_t object, const char *name, char *text, size_t size)
{
    size_t length;
    hid_t attribute = open_scalar(object, name, H5T_STRING, size - 1, &length);
    if (attribute < 0)
        return false;
    memset(text, 0, size);
    hid_t type = H5Aget_type(attribute);
    bool done = type >= 0 && H5Aread(attribute, type, text) >= 0;
    if (type >= 0)
        H5Tclose(type);
    H5Aclose(attribute);
    return done;
}

bool h5_get_int(hid_t object, const char *name, int64_t low, int64_t high, int64_t *value)
{
    int64_t found;
    if (!get_scalar(object, name, H5T_INTEGER, H5T_NATIVE_INT64, &found))
        return false;
    if (found < low || found > high)
        return false;
    *value = found;
    return true;
}

bool h5_get_double(hid_t object, const char *name, double *value)
{
    double found;
    if (!get_scalar(object, name, H5T_FLOAT, H5T_NATIVE_DOUBLE, &found) || !isfinite(found))
        return false;
    *value = found;
    return true;
}

/* --- types */

static hid_t cell_type(const struct column_spec *spec, bool in_file)
{
    switch (spec->cell) {
    case CELL_TIME:
    case CELL_I64:
        return H5Tcopy(in_file ? H5T_STD_I64LE : H5T_NATIVE_INT64);
    case CELL_U64:
        return H5Tcopy(in_file ? H5T_STD_U64LE : H5T_NATIVE_UINT64);
    case CELL_U32:
        return H5Tcopy(in_file ? H5T_STD_U32LE : H5T_NATIVE_UINT32);
    case CELL_U8:
        return H5Tcopy(in_file ? H5T_STD_U8LE : H5T_NATIVE_UINT8);
    case CELL_PACKED:
        return H5Tcopy(in_file ? H5T_STD_I32LE : H5T_NATIVE_INT32);
    case CELL_TEXT:
        return text_type(spec->width);
    case CELL_COUNT:
        break;
    }
    return -1;
}

hid_t h5_memory_type(const struct column_spec *spec)
{
    return cell_type(spec, false);
}

hid_t h5_file_type(const struct column_spec *spec)
{
    return cell_type(spec, true);
}

/* --- columns, reading */

/* A name that is a plain (hard) link: others could lead to files elsewhere. */
static bool is_plain_link(hid_t parent, const char *name)
{
    H5L_info_t info;
    return H5Lexists(parent, name, H5P_DEFAULT) > 0 &&
           H5Lget_info(parent, name, &info, H5P_DEFAULT) >= 0 && info.type == H5L_TYPE_HARD;
}

hid_t h5_open_group(hid_t parent, const char *name)
{
    return is_plain_link(parent, name) ? H5Gopen2(parent, name, H5P_DEFAULT) : -1;
}

/* The address of what a hard link leads to, as far as 64 bits tell; no two things share one. */
static uint64_t address_of(const H5L_info_t *info)
{
    uint64_t at = 0;
#if H5_VERSION_GE(1, 12, 0)
    memcpy(&at, &info->u.token, sizeof at);
#else
    at = info->u.address;
#endif
    return at;
}

static bool note_link(struct h5_links *links, const H5L_info_t *info)
{
    if (!links || info->type != H5L_TYPE_HARD)
        return true;
    if (links->count == links->room) {
        size_t room = links->room ? links->room * 2 : 64;
        void *grown = realloc(links->at, room * sizeof *links->at);
        if (!grown)
            return false;
        links->at = grown;
        links->room = room;
    }
    links->at[links->count++] = address_of(info);
    return true;
}

static int by_address(const void *a, const void *b)
{
    const uint64_t *one = a, *other = b;
    return *one < *other ? -1 : *one > *other;
}

bool h5_links_are_single(struct h5_links *links)
{
    if (links->count > 0)
        qsort(links->at, links->count, sizeof *links->at, by_address);
    for (size_t i = 1; i < links->count; i++)
        if (links->at[i] == links->at[i - 1])
            return false;
    return true;
}

struct listing {
    struct h5_links *links;
    struct h5_names *names;
    size_t most, room;
};

static herr_t list_one(hid_t group, const char *name, const H5L_info_t *info, void *data)
{
    struct listing *listing = data;
    struct h5_names *names = listing->names;
    (void)group;
    if (names->count == listing->most || strlen(name) >= NAME_MAX_BYTES ||
        !note_link(listing->links, info))
        return -1;
    if (names->count == listing->room) {
        size_t room = listing->room ? listing->room * 2 : 16;
        void *grown = realloc(names->name, room * sizeof *names->name);
        if (!grown)
            return -1;
        names->name = grown;
        listing->room = room;
    }
    layout_text(names->name[names->count++], NAME_MAX_BYTES, name);
    return 0;
}

bool h5_list(hid_t group, size_t most, struct h5_names *names, struct h5_links *links)
{
    *names = (struct h5_names){0};
    struct listing listing = {links, names, most, 0};
    hsize_t at = 0;
    return H5Literate(group, H5_INDEX_NAME, H5_ITER_INC, &at, list_one, &listing) >= 0;
}

static bool type_is_as_laid_out(hid_t data, const struct column_spec *spec)
{
    hid_t wanted = h5_file_type(spec);
    hid_t found = H5Dget_type(data);
    bool same = found >= 0 && H5Tequal(found, wanted) > 0;
    if (found >= 0)
        H5Tclose(found);
    H5Tclose(wanted);
    return same;
}

static size_t rank_of(const struct column_spec *spec)
{
    return spec->cell != CELL_TEXT && spec->width > 1 ? 2 : 1;
}

static bool shape_is_as_laid_out(hid_t data, const struct column_spec *spec, uint64_t *rows)
{
    hsize_t extent[2] = {0, spec->width};
    hid_t space = H5Dget_space(data);
    bool sound = space >= 0 && H5Sget_simple_extent_ndims(space) == (int)rank_of(spec) &&
                 H5Sget_simple_extent_dims(space, extent, NULL) >= 0 &&
                 (rank_of(spec) == 1 || extent[1] == spec->width);
    if (space >= 0)
        H5Sclose(space);
    *rows = extent[0];
    return sound;
}

static bool filters_are_ours(hid_t properties)
{
    int count = H5Pget_nfilters(properties);
    for (int i = 0; i < count; i++) {
        unsigned flags, config;
        size_t values = 0;
        H5Z_filter_t filter =
            H5Pget_filter2(properties, (unsigned)i, &flags, &values, NULL, 0, NULL, &config);
        if (filter != H5Z_FILTER_SHUFFLE && filter != H5Z_FILTER_DEFLATE &&
            filter != H5Z_FILTER_FLETCHER32)
            return false;
    }
    return count >= 0 && count <= FILTERS_MAX;
}

static bool chunks_are_bounded(hid_t data, const struct column_spec *spec, size_t *rows)
{
    hsize_t chunk[2] = {0, 1};
    hid_t properties = H5Dget_create_plist(data);
    bool sound = properties >= 0 && H5Pget_layout(properties) == H5D_CHUNKED &&
                 H5Pget_chunk(properties, 2, chunk) == (int)rank_of(spec) &&
                 filters_are_ours(properties);
    if (properties >= 0)
        H5Pclose(properties);
    size_t row_size = column_row_size(spec);
    if (!sound || chunk[0] == 0 || chunk[0] > CHUNK_BYTES_MAX / row_size || chunk[1] == 0 ||
        chunk[1] > spec->width)
        return false;
    *rows = (size_t)chunk[0];
    return true;
}

/* Every chunk of ours is in the file: a long column without chunks would be an empty claim. A chunk
 * stored larger than it can be could blow up when it is decompressed. Ends at the first that is
 * wrong, so that a claim costs nothing. */
static bool chunks_are_there(const struct column_in *column)
{
    hsize_t most = column->chunk * column->row_size;
    for (uint64_t row = 0; row < column->rows; row += column->chunk) {
        hsize_t offset[2] = {row, 0}, stored = 0;
        if (H5Dget_chunk_storage_size(column->data, offset, &stored) < 0 || stored == 0 ||
            stored > most + most / 16 + 1024)
            return false;
    }
    return true;
}

bool h5_column_open(hid_t group, const char *name, const struct column_spec *spec,
                    struct column_in *out, const char **why)
{
    *out = (struct column_in){.data = -1, .type = -1, .row_size = column_row_size(spec)};
    *why = "is missing";
    if (is_plain_link(group, name))
        out->data = H5Dopen2(group, name, H5P_DEFAULT);
    if (out->data < 0)
        return false;
    if (!type_is_as_laid_out(out->data, spec))
        *why = "has another type than it should";
    else if (!shape_is_as_laid_out(out->data, spec, &out->rows))
        *why = "has another shape than it should";
    else if (!chunks_are_bounded(out->data, spec, &out->chunk))
        *why = "is stored in another way than it should";
    else if (!chunks_are_there(out))
        *why = "lacks pieces";
    else
        *why = NULL;
    out->type = h5_memory_type(spec);
    out->width = rank_of(spec) == 2 ? spec->width : 1;
    if (*why)
        h5_column_close(out);
    return !*why;
}

bool h5_column_read(const struct column_in *column, uint64_t from, size_t count, void *rows)
{
    hsize_t start[2] = {from, 0}, block[2] = {count, column->width};
    int rank = column->width > 1 ? 2 : 1;
    if (count == 0)
        return true;
    if (from > column->rows || count > column->rows - from)
        return false;
    hid_t in_file = H5Dget_space(column->data);
    hid_t in_memory = H5Screate_simple(rank, block, NULL);
    bool done = in_file >= 0 && in_memory >= 0 &&
                H5Sselect_hyperslab(in_file, H5S_SELECT_SET, start, NULL, block, NULL) >= 0 &&
                H5Dread(column->data, column->type, in_memory, in_file, H5P_DEFAULT, rows) >= 0;
    if (in_file >= 0)
        H5Sclose(in_file);
    if (in_memory >= 0)
        H5Sclose(in_memory);
    return done;
}

void h5_column_close(struct column_in *column)
{
    if (column->data >= 0)
        H5Dclose(column->data);
    if (column->type >= 0)
        H5Tclose(column->type);
    *column = (struct column_in){.data = -1, .type = -1};
}
