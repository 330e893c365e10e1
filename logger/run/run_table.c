/* run_table.c - rows wait, chunks go to HDF5. */
#include "run_table.h"

#include <assert.h>
#include <hdf5_hl.h>
#include <stdlib.h>
#include <string.h>

#define ROOM_FIRST 64
#define DEFLATE_LEVEL 4
/* Attributes and columns up to this number lie in the object header itself, under its checksum. */
#define COMPACT_MAX 64

/* --- making columns */

static const struct table_spec measurements = {NULL, &column_time, 1, 0, CHUNK_MEASUREMENTS, 0};

static hid_t column_properties(const struct column_spec *spec, size_t chunk_rows)
{
    hsize_t chunk[2] = {chunk_rows, spec->width};
    bool wide = spec->width > 1 && spec->cell != CELL_TEXT;
    int32_t fill = FILL_PACKED;
    hid_t properties = H5Pcreate(H5P_DATASET_CREATE);
    H5Pset_chunk(properties, wide ? 2 : 1, chunk);
    H5Pset_attr_phase_change(properties, COMPACT_MAX, COMPACT_MAX - 1);
    if (spec->cell != CELL_U8 && spec->cell != CELL_TEXT)
        H5Pset_shuffle(properties);
    H5Pset_deflate(properties, DEFLATE_LEVEL);
    H5Pset_fletcher32(properties);
    if (spec->cell == CELL_PACKED)
        H5Pset_fill_value(properties, H5T_NATIVE_INT32, &fill);
    return properties;
}

/* Only whole chunks are written, so a cache of chunks would only hold memory. */
static hid_t access_properties(void)
{
    hid_t properties = H5Pcreate(H5P_DATASET_ACCESS);
    H5Pset_chunk_cache(properties, 0, 0, 0.0);
    return properties;
}

static hid_t create_data(const struct table_out *table, const char *name,
                         const struct column_spec *spec)
{
    hsize_t now[2] = {0, spec->width}, most[2] = {H5S_UNLIMITED, spec->width};
    bool wide = spec->width > 1 && spec->cell != CELL_TEXT;
    hid_t space = H5Screate_simple(wide ? 2 : 1, now, most);
    hid_t type = h5_file_type(spec);
    hid_t creation = column_properties(spec, table->chunk), access = access_properties();
    hid_t data = H5Dcreate2(table->group, name, type, space, H5P_DEFAULT, creation, access);
    H5Pclose(access);
    H5Pclose(creation);
    H5Tclose(type);
    H5Sclose(space);
    return data;
}

/* CF attributes of a field; valid_min and valid_max count in steps, as CF wants for packed data. */
static bool describe_field(hid_t data, const struct channel *channel, struct scale scale)
{
    int32_t lowest = FILL_PACKED + 1, highest = INT32_MAX;
    scale_to_steps(scale, channel->low, &lowest);
    scale_to_steps(scale, channel->high, &highest);
    bool done = h5_put_text(data, "units", unit_udunits(channel->unit)) &&
                h5_put_text(data, "long_name", channel->title) &&
                h5_put_double(data, "scale_factor", channel->step) &&
                h5_put_double(data, "add_offset", 0.0) &&
                h5_put_int32(data, "_FillValue", FILL_PACKED) &&
                h5_put_int32(data, "valid_min", lowest) && h5_put_int32(data, "valid_max", highest);
    if (done && channel->standard_name[0])
        done = h5_put_text(data, "standard_name", channel->standard_name);
    return done;
}

static bool describe_time(hid_t data, const struct column_spec *spec)
{
    bool done = h5_put_text(data, "long_name", spec->title) &&
                h5_put_text(data, "standard_name", "time") &&
                h5_put_text(data, "calendar", "proleptic_gregorian");
    if (done && strcmp(spec->name, "time") == 0)
        done = h5_put_text(data, "axis", "T");
    return done;
}

static bool describe(const struct column_out *column)
{
    if (column->channel >= 0)
        return describe_field(column->data, channel_get((enum channel_id)column->channel),
                              column->scale);
    if (column->spec->cell == CELL_TIME)
        return describe_time(column->data, column->spec);
    return h5_put_text(column->data, "long_name", column->spec->title);
}

/* The first column, mostly the time, is the dimension scale of the others. */
static bool set_scale(const struct table_out *table, const struct column_out *column)
{
    const struct column_out *first = &table->columns[0];
    if (column == first)
        return H5DSset_scale(column->data, first->spec->name) >= 0;
    return H5DSattach_scale(column->data, first->data, 0) >= 0;
}

/* --- columns */

static bool write_rows(const struct column_out *column, uint64_t at, size_t count,
                       const void *cells)
{
    hsize_t width = column->spec->width;
    int rank = width > 1 && column->spec->cell != CELL_TEXT ? 2 : 1;
    hsize_t extent[2] = {at + count, width}, start[2] = {at, 0}, block[2] = {count, width};
    if (H5Dset_extent(column->data, extent) < 0)
        return false;
    hid_t in_memory = H5Screate_simple(rank, block, NULL);
    hid_t in_file = H5Dget_space(column->data);
    hid_t type = h5_memory_type(column->spec);
    bool done = H5Sselect_hyperslab(in_file, H5S_SELECT_SET, start, NULL, block, NULL) >= 0 &&
                H5Dwrite(column->data, type, in_memory, in_file, H5P_DEFAULT, cells) >= 0;
    H5Tclose(type);
    H5Sclose(in_file);
    H5Sclose(in_memory);
    return done;
}

static unsigned char *new_cells(const struct table_out *table, size_t row_size)
{
    return malloc((table->room ? table->room : 1) * row_size);
}

static enum status add_column(struct table_out *table, const struct column_spec *spec, int channel)
{
    struct column_out *columns =
        realloc(table->columns, (table->column_count + 1) * sizeof *columns);
    if (!columns)
        return STATUS_MEMORY;
    table->columns = columns;
    struct column_out *column = &columns[table->column_count];
    *column = (struct column_out){spec, channel, {1.0, 1.0}, column_row_size(spec), -1, NULL};
    if (channel >= 0)
        column->scale = scale_of_step(channel_get((enum channel_id)channel)->step);
    column->cells = new_cells(table, column->row_size);
    if (!column->cells)
        return STATUS_MEMORY;
    table->column_count++;
    const char *name = channel < 0 ? spec->name : channel_get((enum channel_id)channel)->key;
    column->data = create_data(table, name, spec);
    bool done = column->data >= 0 && describe(column) && set_scale(table, column);
    return done ? STATUS_OK : STATUS_IO;
}

static hid_t create_group(hid_t file, const char *path)
{
    hid_t links = H5Pcreate(H5P_LINK_CREATE), creation = H5Pcreate(H5P_GROUP_CREATE);
    H5Pset_create_intermediate_group(links, 1);
    H5Pset_attr_phase_change(creation, COMPACT_MAX, COMPACT_MAX - 1);
    H5Pset_link_phase_change(creation, COMPACT_MAX, COMPACT_MAX - 1);
    hid_t group = H5Gcreate2(file, path, links, creation, H5P_DEFAULT);
    H5Pclose(creation);
    H5Pclose(links);
    return group;
}

static enum status add_columns(struct table_out *table, const struct table_spec *spec)
{
    enum status status = table->group < 0 ? STATUS_IO : STATUS_OK;
    for (size_t i = 0; i < spec->column_count && status == STATUS_OK; i++)
        status = add_column(table, &spec->columns[i], -1);
    return status;
}

enum status table_out_open(struct table_out *table, hid_t file, const char *path,
                           const struct table_spec *spec)
{
    if (!spec)
        spec = &measurements;
    *table = (struct table_out){.chunk = spec->chunk, .group = create_group(file, path)};
    return add_columns(table, spec);
}

enum status table_out_join(struct table_out *table, const struct table_out *other,
                           const struct table_spec *spec)
{
    *table = (struct table_out){.chunk = spec->chunk, .group = other->group};
    H5Iinc_ref(other->group);
    return add_columns(table, spec);
}

/* Missing values for the chunks that are in the file already. They are written like any other, so
 * that a chunk that is not there is always damage. */
static enum status write_missing(const struct table_out *table, const struct column_out *column)
{
    int32_t *cells = malloc(table->chunk * sizeof *cells);
    if (!cells)
        return STATUS_MEMORY;
    for (size_t row = 0; row < table->chunk; row++)
        cells[row] = FILL_PACKED;
    bool done = true;
    for (uint64_t at = 0; at < table->written && done; at += table->chunk)
        done = write_rows(column, at, table->chunk, cells);
    free(cells);
    return done ? STATUS_OK : STATUS_IO;
}

enum status table_out_scale_width(struct table_out *table, size_t column,
                                  const struct table_out *scale)
{
    return H5DSattach_scale(table->columns[column].data, scale->columns[0].data, 1) >= 0
               ? STATUS_OK
               : STATUS_IO;
}

enum status table_out_field(struct table_out *table, enum channel_id channel)
{
    enum status status = add_column(table, &column_field, (int)channel);
    if (status != STATUS_OK)
        return status;
    const struct column_out *column = &table->columns[table->column_count - 1];
    int32_t *cells = (int32_t *)(void *)column->cells;
    for (size_t row = 0; row < table->waiting; row++)
        cells[row] = FILL_PACKED;
    return table->written ? write_missing(table, column) : STATUS_OK;
}

/* --- rows */

static enum status grow(struct table_out *table, size_t room)
{
    for (size_t i = 0; i < table->column_count; i++) {
        struct column_out *column = &table->columns[i];
        unsigned char *cells = realloc(column->cells, room * column->row_size);
        if (!cells)
            return STATUS_MEMORY;
        column->cells = cells;
    }
    table->room = room;
    return STATUS_OK;
}

enum status table_out_reserve(struct table_out *table, size_t count)
{
    size_t wanted = table->waiting + count;
    assert(wanted <= table->chunk);
    size_t room = table->room ? table->room : ROOM_FIRST;
    while (room < wanted)
        room *= 2;
    if (room > table->chunk)
        room = table->chunk;
    return room == table->room ? STATUS_OK : grow(table, room);
}

static enum status write_waiting(struct table_out *table)
{
    if (table->waiting == 0)
        return STATUS_OK;
    for (size_t i = 0; i < table->column_count; i++)
        if (!write_rows(&table->columns[i], table->written, table->waiting,
                        table->columns[i].cells))
            return STATUS_IO;
    table->written += table->waiting;
    table->waiting = 0;
    return STATUS_OK;
}

enum status table_out_commit(struct table_out *table, size_t count)
{
    table->waiting += count;
    assert(table->waiting <= table->room);
    return table->waiting == table->chunk ? write_waiting(table) : STATUS_OK;
}

enum status table_out_append(struct table_out *table, const void *row)
{
    enum status status = table_out_reserve(table, 1);
    if (status != STATUS_OK)
        return status;
    for (size_t i = 0; i < table->column_count; i++) {
        const struct column_out *column = &table->columns[i];
        memcpy(column->cells + table->waiting * column->row_size,
               (const unsigned char *)row + column->spec->offset, column->row_size);
    }
    return table_out_commit(table, 1);
}

enum status table_out_finish(struct table_out *table, const char *since)
{
    if (table->group <= 0)
        return STATUS_OK;
    enum status status = write_waiting(table);
    for (size_t i = 0; i < table->column_count && status == STATUS_OK; i++)
        if (table->columns[i].spec->cell == CELL_TIME &&
            !h5_put_text(table->columns[i].data, "units", since))
            status = STATUS_IO;
    return status;
}

uint64_t table_out_rows(const struct table_out *table)
{
    return table->written + table->waiting;
}

void table_out_free(struct table_out *table)
{
    for (size_t i = 0; i < table->column_count; i++) {
        if (table->columns[i].data >= 0)
            H5Dclose(table->columns[i].data);
        free(table->columns[i].cells);
    }
    free(table->columns);
    if (table->group > 0)
        H5Gclose(table->group);
    *table = (struct table_out){0};
}
