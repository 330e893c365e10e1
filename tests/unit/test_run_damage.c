/* test_run_damage.c - files that are cut short, altered, or made to do harm give errors, not
 * crashes. */
#include "run_support.h"

#include <hdf5.h>

/* libhdf5 1.10.8 loses the memory of an object header that it cannot decode (H5O_protect). */
const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:libhdf5";
}

static unsigned char *good; /* a sound run file, byte for byte */
static size_t good_length;

#define ROWS 5000

static void write_good(const char *path)
{
    static const struct run_input inputs[] = {{"can:can0", "can0"}, {"udp:10110", "udp"}};
    struct facts facts = {0};
    facts_set(&facts, FACT_BOAT, 0, "name", "Tern's Reach", NULL);
    facts_set(&facts, FACT_ENGINE, 0, "thermostat", "71, 82", NULL);
    struct origin engine = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 0, "127489", "35", "");
    struct origin sea = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "MTW", "II", "");
    sea.input = 1;
    struct run_writer *writer = begin_with(path, &facts, inputs, 2);
    for (int row = 0; row < ROWS; row++) {
        int64_t at = row * 100 * NS_PER_MS + (int64_t)chance_below(1000) * NS_PER_US;
        put_value(writer, at, &engine, CHANNEL_COOLANT_TEMPERATURE,
                  80 + chance_below(2000) * 0.005);
        put_value(writer, at, &sea, CHANNEL_SEA_TEMPERATURE, 12 + chance_below(100) * 0.1);
        uint64_t data = chance();
        run_write_frame(writer, at, 0, 0x89F20123u, (const uint8_t *)&data, 8);
        run_write_line(writer, at, 1, "$IIMTW,12.5,C*1B", 16);
    }
    run_write_event(writer, NS_PER_S, &engine, "over_temperature", "too hot");
    run_write_gap(writer, NS_PER_S, 2 * NS_PER_S, 0, "unplugged", 3);
    run_write_utc(writer, NS_PER_S, &sea, START_US);
    finish(writer, ROWS / 10 * NS_PER_S, NULL);
    facts_free(&facts);
}

static int setup(void **state)
{
    seed_chance("test_run_damage");
    if (make_folder(state) != 0)
        return -1;
    write_good(in_folder("good.h5"));
    good = read_bytes(in_folder("good.h5"), &good_length);
    return 0;
}

static int teardown(void **state)
{
    free(good);
    return remove_folder(state);
}

/* --- reading everything there is, and what was read */

struct digest {
    enum status status;         /* of the first call that failed */
    struct complaint complaint; /* its words */
    uint64_t hash;              /* of all that was given */
    int worst;                  /* of run_check */
};

static void add(struct digest *digest, const void *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++)
        digest->hash = (digest->hash ^ ((const unsigned char *)bytes)[i]) * 1099511628211u;
}

static void note(struct digest *digest, enum status status, const struct complaint *complaint)
{
    assert_int_equal(status == STATUS_OK, complaint->text[0] == '\0');
    if (digest->status != STATUS_OK)
        return;
    digest->status = status;
    digest->complaint = *complaint;
}

static bool add_raw(void *self, const struct raw_message *message)
{
    add(self, message->bytes, message->length);
    add(self, &message->at, sizeof message->at);
    add(self, &message->can_id, sizeof message->can_id);
    return true;
}

static void read_channels(struct run *run, size_t stream, struct digest *digest)
{
    for (size_t k = 0; k < run_stream(run, stream)->channel_count; k++) {
        struct series series;
        struct complaint complaint = {""};
        note(
            digest,
            run_read_series(run, stream, run_stream(run, stream)->channels[k], &series, &complaint),
            &complaint);
        add(digest, series.time, series.count * sizeof(double));
        add(digest, series.value, series.count * sizeof(double));
        series_free(&series);
    }
}

static void read_tables(struct run *run, struct digest *digest)
{
    const struct run_event *events;
    const struct run_gap *gaps;
    const struct run_utc *utcs;
    size_t count;
    struct complaint complaint = {""};
    note(digest, run_events(run, &events, &count, &complaint), &complaint);
    add(digest, events, count * sizeof *events);
    complaint.text[0] = '\0';
    note(digest, run_gaps(run, &gaps, &count, &complaint), &complaint);
    for (size_t i = 0; i < count; i++)
        add(digest, gaps[i].why, sizeof gaps[i].why);
    complaint.text[0] = '\0';
    note(digest, run_utcs(run, &utcs, &count, &complaint), &complaint);
    add(digest, utcs, count * sizeof *utcs);
    complaint.text[0] = '\0';
    note(digest, run_raw(run, add_raw, digest, &complaint), &complaint);
}

static void read_head(const struct run *run, struct digest *digest)
{
    add(digest, &run_about(run)->start_unix_us, sizeof(int64_t));
    add(digest, &run_about(run)->end_unix_us, sizeof(int64_t));
    for (size_t i = 0; i < run_facts(run)->count; i++)
        add(digest, run_facts(run)->list[i].value, strlen(run_facts(run)->list[i].value));
    for (size_t i = 0; i < run_input_count(run); i++) {
        add(digest, run_input_at(run, i), sizeof(struct run_input));
        add(digest, run_tally(run, i), sizeof(struct tally));
    }
}

/* Handles of HDF5 that are open: whatever happens, none may be left over. */
static int open_handles(void)
{
    static const H5I_type_t kinds[] = {H5I_FILE,    H5I_GROUP, H5I_DATATYPE,   H5I_DATASPACE,
                                       H5I_DATASET, H5I_ATTR,  H5I_GENPROP_LST};
    int count = 0;
    for (size_t i = 0; i < ARRAY_COUNT(kinds); i++) {
        hsize_t members = 0;
        H5Inmembers(kinds[i], &members);
        count += (int)members;
    }
    return count;
}

static struct digest read_all(const char *path)
{
    struct digest digest = {STATUS_OK, {""}, 14695981039346656037u, 0};
    struct run *run;
    struct complaint complaint = {""};
    enum status status = run_open(path, &run, &complaint);
    note(&digest, status, &complaint);
    if (status != STATUS_OK) {
        assert_null(run);
        return digest;
    }
    read_head(run, &digest);
    for (size_t i = 0; i < run_stream_count(run); i++) {
        const struct stream *stream = run_stream(run, i);
        add(&digest, stream->group, strlen(stream->group));
        add(&digest, &stream->origin, sizeof stream->origin);
        add(&digest, stream->channels, stream->channel_count * sizeof stream->channels[0]);
        read_channels(run, i, &digest);
    }
    read_tables(run, &digest);
    digest.worst = check_run(run).worst;
    run_close(run);
    return digest;
}

static struct digest read_file(const char *path)
{
    int before = open_handles();
    struct digest digest = read_all(path);
    assert_int_equal(open_handles(), before);
    return digest;
}

static void the_sound_file_is_sound(void **state)
{
    (void)state;
    struct digest first = read_file(in_folder("good.h5")), second = read_file(in_folder("good.h5"));
    assert_int_equal(first.status, STATUS_OK);
    assert_int_equal(first.worst, 0);
    assert_true(first.hash == second.hash);
}

/* --- cut short */

static void cut_files_are_refused(void **state)
{
    (void)state;
    const char *path = in_folder("cut.h5");
    for (int round = 0; round < 300; round++) {
        size_t length = round < 100 ? (size_t)round : (size_t)(chance() % good_length);
        write_bytes(path, good, length);
        struct digest digest = read_file(path);
        assert_int_equal(digest.status, STATUS_BAD_DATA);
    }
    write_bytes(path, good, good_length - 1);
    assert_int_equal(read_file(path).status, STATUS_BAD_DATA);
    unlink(path);
}

static void a_file_with_something_behind_still_reads(void **state)
{
    (void)state;
    const char *path = in_folder("longer.h5");
    unsigned char *bytes = calloc(1, good_length + 1000);
    assert_non_null(bytes);
    memcpy(bytes, good, good_length);
    write_bytes(path, bytes, good_length + 1000);
    free(bytes);
    assert_int_equal(read_file(path).status, STATUS_OK);
    unlink(path);
}

/* --- altered */

/* One changed bit anywhere either makes no difference to what is read, or is noticed. */
static void no_flipped_bit_changes_what_is_read(void **state)
{
    (void)state;
    const char *path = in_folder("flipped.h5");
    uint64_t wanted = read_file(in_folder("good.h5")).hash;
    int noticed = 0, harmless = 0;
    for (int round = 0; round < 200; round++) {
        size_t at = (size_t)(chance() % good_length);
        unsigned char before = good[at];
        good[at] = (unsigned char)(before ^ (1u << chance_below(8)));
        write_bytes(path, good, good_length);
        good[at] = before;
        struct digest digest = read_file(path);
        if (digest.status != STATUS_OK || digest.worst == 2) {
            noticed++;
        } else {
            harmless++;
            if (digest.hash != wanted)
                fail_msg("a flipped bit in byte %zu was not noticed", at);
        }
    }
    printf("flipped bits: %d noticed, %d without effect\n", noticed, harmless);
    assert_true(noticed > harmless);
    unlink(path);
}

static void overwritten_pieces_do_no_harm(void **state)
{
    (void)state;
    const char *path = in_folder("pieces.h5");
    unsigned char *bytes = malloc(good_length);
    assert_non_null(bytes);
    for (int round = 0; round < 60; round++) {
        memcpy(bytes, good, good_length);
        size_t length = 1 + chance_below(4096), at = (size_t)(chance() % (good_length - length));
        if (round % 2)
            memset(bytes + at, 0, length);
        else
            for (size_t i = 0; i < length; i++)
                bytes[at + i] = (unsigned char)chance();
        write_bytes(path, bytes, good_length);
        read_file(path);
    }
    free(bytes);
    unlink(path);
}

/* --- not run files at all */

static void says(const char *path, enum status wanted, const char *words)
{
    struct run *run = (struct run *)1;
    struct complaint complaint = {""};
    assert_int_equal(run_open(path, &run, &complaint), wanted);
    assert_null(run);
    must_say(complaint.text, words);
    must_say(complaint.text, path);
}

static void other_files_are_told_apart(void **state)
{
    (void)state;
    const char *path = in_folder("other.h5");
    says(path, STATUS_NOT_FOUND, "check the name");
    write_bytes(path, "", 0);
    says(path, STATUS_BAD_DATA, "is empty");
    write_bytes(path, "$IIMTW,12.5,C*1B\r\n", 18);
    says(path, STATUS_BAD_DATA, "--replay of a capture, --sheet of a sheet filled in");
    write_bytes(path, "\x89HDF\r\n\x1a\n", 8);
    says(path, STATUS_BAD_DATA, "is not a run file");
    write_bytes(path, "\x89HDF\r\n\x1a\n\0\0\0\0\0\0", 14);
    says(path, STATUS_BAD_DATA, "not a run of searun-logger");
    write_bytes(path, "\x89HDF\r\n\x1a\n\3\0\0\0\0\0", 14);
    says(path, STATUS_BAD_DATA, "cut short or is damaged");
    unlink(path);
    says(folder, STATUS_BAD_DATA, "is a folder");
    says("/dev/null", STATUS_BAD_DATA, "is not a file");
}

/* A recording that goes on, or one that was killed, lies under .part. */
static void a_part_is_told_apart(void **state)
{
    (void)state;
    struct run_writer *writer = begin(in_folder("going.h5"));
    struct complaint complaint = {""};
    struct run *run;
    enum status status = run_open(in_folder("going.h5.part"), &run, &complaint);
    assert_int_equal(status, STATUS_BAD_DATA);
    assert_true(strstr(complaint.text, "is empty") || strstr(complaint.text, "still going on"));
    run_write_abandon(writer);
    pid_t child = fork();
    if (child == 0) {
        writer = begin(in_folder("killed.h5"));
        struct origin origin = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "MTW", "II", "");
        for (int i = 0; i < 10000; i++)
            put_value(writer, i * NS_PER_MS, &origin, CHANNEL_SEA_TEMPERATURE, 10);
        _exit(0);
    }
    assert_int_equal(waitpid(child, NULL, 0), child);
    says(in_folder("killed.h5.part"), STATUS_BAD_DATA, "cut off");
    unlink(in_folder("killed.h5.part"));
}

/* --- files made to do harm: HDF5 itself changes a copy of the sound one */

static hid_t open_copy(const char *path)
{
    write_bytes(path, good, good_length);
    hid_t access = H5Pcreate(H5P_FILE_ACCESS);
    H5Pset_libver_bounds(access, H5F_LIBVER_V110, H5F_LIBVER_V110);
    H5Pset_fclose_degree(access, H5F_CLOSE_STRONG);
    hid_t file = H5Fopen(path, H5F_ACC_RDWR, access);
    H5Pclose(access);
    assert_true(file >= 0);
    return file;
}

#define ENGINE "/measurements/engine_0/127489_35_can0"

static void unlink_name(hid_t file, const char *name)
{
    assert_true(H5Ldelete(file, name, H5P_DEFAULT) >= 0);
}

static void drop_time(hid_t file)
{
    unlink_name(file, ENGINE "/time");
}
static void drop_measurements(hid_t file)
{
    unlink_name(file, "/measurements");
}
static void drop_inputs(hid_t file)
{
    unlink_name(file, "/inputs");
}
static void drop_column(hid_t file)
{
    unlink_name(file, "/events/text");
}
static void drop_raw_length(hid_t file)
{
    unlink_name(file, "/raw/can0/length");
}
static void drop_attribute(hid_t file)
{
    H5Adelete(file, "run_start");
}

static void group_for_dataset(hid_t file)
{
    drop_time(file);
    H5Gclose(H5Gcreate2(file, ENGINE "/time", H5P_DEFAULT, H5P_DEFAULT, H5P_DEFAULT));
}

static void dataset_for_group(hid_t file)
{
    unlink_name(file, "/measurements");
    hid_t space = H5Screate(H5S_SCALAR);
    H5Dclose(H5Dcreate2(file, "/measurements", H5T_STD_I32LE, space, H5P_DEFAULT, H5P_DEFAULT,
                        H5P_DEFAULT));
    H5Sclose(space);
}

/* Puts another dataset in the place of the coolant temperature (or of another name). */
static void replace(hid_t file, const char *name, hid_t type, int rank, const hsize_t *extent,
                    const hsize_t *chunk)
{
    unlink_name(file, name);
    hid_t properties = H5Pcreate(H5P_DATASET_CREATE);
    if (chunk)
        H5Pset_chunk(properties, rank, chunk);
    hid_t space = H5Screate_simple(rank, extent, NULL);
    hid_t data = H5Dcreate2(file, name, type, space, H5P_DEFAULT, properties, H5P_DEFAULT);
    assert_true(data >= 0);
    H5Dclose(data);
    H5Sclose(space);
    H5Pclose(properties);
}

static void float_column(hid_t file)
{
    replace(file, ENGINE "/coolant_temperature", H5T_IEEE_F64LE, 1, (hsize_t[]){ROWS},
            (hsize_t[]){4096});
}
static void contiguous_column(hid_t file)
{
    replace(file, ENGINE "/coolant_temperature", H5T_STD_I32LE, 1, (hsize_t[]){ROWS}, NULL);
}
static void short_column(hid_t file)
{
    replace(file, ENGINE "/coolant_temperature", H5T_STD_I32LE, 1, (hsize_t[]){0},
            (hsize_t[]){4096});
}
static void two_dimensions(hid_t file)
{
    replace(file, ENGINE "/coolant_temperature", H5T_STD_I32LE, 2, (hsize_t[]){ROWS, 1},
            (hsize_t[]){4096, 1});
}
static void absurd_times(hid_t file)
{
    replace(file, ENGINE "/time", H5T_STD_I64LE, 1, (hsize_t[]){1ull << 60}, (hsize_t[]){4096});
}
static void absurd_chunk(hid_t file)
{
    replace(file, ENGINE "/time", H5T_STD_I64LE, 1, (hsize_t[]){1ull << 40}, (hsize_t[]){1u << 28});
}
static void absurd_events(hid_t file)
{
    replace(file, "/events/time", H5T_STD_I64LE, 1, (hsize_t[]){1ull << 50}, (hsize_t[]){256});
}
static void absurd_raw(hid_t file)
{
    replace(file, "/raw/udp/bytes", H5T_STD_U8LE, 1, (hsize_t[]){1ull << 50}, (hsize_t[]){65536});
}

/* Times that claim 2^40 rows of which HDF5 has one chunk. */
static void sparse_times(hid_t file)
{
    replace(file, ENGINE "/time", H5T_STD_I64LE, 1, (hsize_t[]){1ull << 40}, (hsize_t[]){4096});
    hid_t data = H5Dopen2(file, ENGINE "/time", H5P_DEFAULT), in_file = H5Dget_space(data);
    int64_t value = 1;
    hid_t one = H5Screate_simple(1, (hsize_t[]){1}, NULL);
    H5Sselect_hyperslab(in_file, H5S_SELECT_SET, (hsize_t[]){77}, NULL, (hsize_t[]){1}, NULL);
    H5Dwrite(data, H5T_NATIVE_INT64, one, in_file, H5P_DEFAULT, &value);
    H5Sclose(one);
    H5Sclose(in_file);
    H5Dclose(data);
}

/* A chunk that is stored much larger than it can be: an inflating bomb looks like this. */
static void swell(hid_t file, const char *name)
{
    hid_t data = H5Dopen2(file, name, H5P_DEFAULT);
    unsigned char *bytes = calloc(1, 1 << 20);
    assert_non_null(bytes);
    assert_true(H5Dwrite_chunk(data, H5P_DEFAULT, 0, (hsize_t[]){0}, 1 << 20, bytes) >= 0);
    free(bytes);
    H5Dclose(data);
}

static void swollen_chunk(hid_t file)
{
    swell(file, ENGINE "/coolant_temperature");
}

static void group_in_itself(hid_t file)
{
    unlink_name(file, ENGINE);
    H5Lcreate_hard(file, "/measurements", file, ENGINE, H5P_DEFAULT, H5P_DEFAULT);
}
static void soft_link_circle(hid_t file)
{
    unlink_name(file, ENGINE "/time");
    H5Lcreate_soft(ENGINE "/time", file, ENGINE "/time", H5P_DEFAULT, H5P_DEFAULT);
}
static void link_elsewhere(hid_t file)
{
    unlink_name(file, ENGINE "/time");
    H5Lcreate_external("/etc/passwd", "/time", file, ENGINE "/time", H5P_DEFAULT, H5P_DEFAULT);
}
static void soft_group(hid_t file)
{
    unlink_name(file, "/raw/can0");
    H5Lcreate_soft("/measurements", file, "/raw/can0", H5P_DEFAULT, H5P_DEFAULT);
}

static void many_groups(hid_t file)
{
    char name[64];
    for (int i = 0; i < STREAMS_MAX + 5; i++) {
        snprintf(name, sizeof name, "/measurements/engine_0/m%d", i);
        H5Gclose(H5Gcreate2(file, name, H5P_DEFAULT, H5P_DEFAULT, H5P_DEFAULT));
    }
}
static void long_name(hid_t file)
{
    char name[400] = "/measurements/";
    memset(name + 14, 'n', 300);
    H5Gclose(H5Gcreate2(file, name, H5P_DEFAULT, H5P_DEFAULT, H5P_DEFAULT));
}

static void put_text(hid_t file, const char *object, const char *name, size_t length)
{
    hid_t target = H5Oopen(file, object, H5P_DEFAULT), space = H5Screate(H5S_SCALAR);
    hid_t type = H5Tcopy(H5T_C_S1);
    char *text = malloc(length + 1);
    assert_non_null(text);
    memset(text, '7', length);
    text[length] = '\0';
    H5Tset_size(type, length);
    if (H5Aexists(target, name) > 0)
        H5Adelete(target, name);
    hid_t attribute = H5Acreate2(target, name, type, space, H5P_DEFAULT, H5P_DEFAULT);
    assert_true(attribute >= 0);
    H5Awrite(attribute, type, text);
    free(text);
    H5Aclose(attribute);
    H5Tclose(type);
    H5Sclose(space);
    H5Oclose(target);
}

static void huge_attribute(hid_t file)
{
    put_text(file, "/", "software", 60000);
}
static void text_for_number(hid_t file)
{
    put_text(file, "/", "format_version", 1);
}
static void nonsense_date(hid_t file)
{
    put_text(file, "/", "run_end", 20);
}
static void nonsense_protocol(hid_t file)
{
    put_text(file, ENGINE, "protocol", 5);
}
static void long_message(hid_t file)
{
    put_text(file, ENGINE, "message", 200);
}
static void wrong_unit(hid_t file)
{
    put_text(file, ENGINE "/coolant_temperature", "units", 3);
}

static void put_number(hid_t file, const char *object, const char *name, double value)
{
    hid_t target = H5Oopen(file, object, H5P_DEFAULT), space = H5Screate(H5S_SCALAR);
    H5Adelete(target, name);
    hid_t attribute = H5Acreate2(target, name, H5T_IEEE_F64LE, space, H5P_DEFAULT, H5P_DEFAULT);
    H5Awrite(attribute, H5T_NATIVE_DOUBLE, &value);
    H5Aclose(attribute);
    H5Sclose(space);
    H5Oclose(target);
}

static void no_step(hid_t file)
{
    put_number(file, ENGINE "/coolant_temperature", "scale_factor", 0);
}
static void shifted(hid_t file)
{
    put_number(file, ENGINE "/coolant_temperature", "add_offset", 1e300);
}

static void put_int(hid_t file, const char *object, const char *name, int64_t value)
{
    hid_t target = H5Oopen(file, object, H5P_DEFAULT), space = H5Screate(H5S_SCALAR);
    H5Adelete(target, name);
    hid_t attribute = H5Acreate2(target, name, H5T_STD_I64LE, space, H5P_DEFAULT, H5P_DEFAULT);
    H5Awrite(attribute, H5T_NATIVE_INT64, &value);
    H5Aclose(attribute);
    H5Sclose(space);
    H5Oclose(target);
}

static void newer_format(hid_t file)
{
    put_int(file, "/", "format_version", 2);
}
static void no_format(hid_t file)
{
    H5Adelete(file, "format_version");
}
static void absurd_instance(hid_t file)
{
    put_int(file, ENGINE, "instance", INT64_C(1) << 40);
}
static void raw_of_nobody(hid_t file)
{
    put_int(file, "/raw/can0", "input", 9);
}

/* Writes one value into a dataset of whole numbers. */
static void poke(hid_t file, const char *name, hsize_t row, int64_t value)
{
    hid_t data = H5Dopen2(file, name, H5P_DEFAULT), in_file = H5Dget_space(data);
    hid_t one = H5Screate_simple(1, (hsize_t[]){1}, NULL);
    H5Sselect_hyperslab(in_file, H5S_SELECT_SET, &row, NULL, (hsize_t[]){1}, NULL);
    assert_true(H5Dwrite(data, H5T_NATIVE_INT64, one, in_file, H5P_DEFAULT, &value) >= 0);
    H5Sclose(one);
    H5Sclose(in_file);
    H5Dclose(data);
}

static void offset_outside(hid_t file)
{
    poke(file, "/raw/udp/offset", 17, INT64_C(1) << 50);
}
static void offset_back(hid_t file)
{
    poke(file, "/raw/udp/offset", 17, 3);
}
static void frame_too_long(hid_t file)
{
    poke(file, "/raw/can0/length", 4999, 9);
}
static void event_from_nowhere(hid_t file)
{
    poke(file, "/events/protocol", 0, 200);
}

/* Extra things that do no harm: they are told, not obeyed. */
static void unknown_things(hid_t file)
{
    replace(file, ENGINE "/coolant_temperature", H5T_STD_I32LE, 1, (hsize_t[]){ROWS},
            (hsize_t[]){4096});
    unlink_name(file, ENGINE "/coolant_temperature");
    H5Gclose(H5Gcreate2(file, ENGINE "/warp", H5P_DEFAULT, H5P_DEFAULT, H5P_DEFAULT));
    H5Gclose(H5Gcreate2(file, "/facts/cargo", H5P_DEFAULT, H5P_DEFAULT, H5P_DEFAULT));
    put_text(file, "/facts/boat", "colour", 5);
}

static void strange_times(hid_t file)
{
    poke(file, ENGINE "/time", 0, INT64_MAX);
    poke(file, ENGINE "/time", 1, INT64_MIN);
    poke(file, "/raw/can0/time", 1, INT64_MAX);
    poke(file, "/raw/can0/time", 2, INT64_MIN);
}

struct hostile {
    const char *name;
    void (*change)(hid_t file);
    enum status wanted;
    const char *words;
};

static void made_files_are_refused_with_words(void **state)
{
    (void)state;
#define CASE(change, wanted, words)                                                                \
    {                                                                                              \
#change, change, wanted, words                                                             \
    }
    static const struct hostile cases[] = {
        CASE(drop_time, STATUS_BAD_DATA, "time is missing"),
        CASE(drop_measurements, STATUS_OK, ""),
        CASE(drop_inputs, STATUS_BAD_DATA, "/inputs is missing"),
        CASE(drop_column, STATUS_BAD_DATA, "/events/text is missing"),
        CASE(drop_raw_length, STATUS_BAD_DATA, "/raw/can0/length is missing"),
        CASE(drop_attribute, STATUS_BAD_DATA, "run_start"),
        CASE(group_for_dataset, STATUS_BAD_DATA, "time is missing"),
        CASE(dataset_for_group, STATUS_BAD_DATA, "/measurements cannot be listed"),
        CASE(float_column, STATUS_BAD_DATA, "another type"),
        CASE(contiguous_column, STATUS_BAD_DATA, "stored in another way"),
        CASE(short_column, STATUS_BAD_DATA, "another length"),
        CASE(two_dimensions, STATUS_BAD_DATA, "another shape"),
        CASE(absurd_times, STATUS_BAD_DATA, "lacks pieces"),
        CASE(absurd_chunk, STATUS_BAD_DATA, "stored in another way"),
        CASE(absurd_events, STATUS_BAD_DATA, "lacks pieces"),
        CASE(absurd_raw, STATUS_BAD_DATA, "lacks pieces"),
        CASE(sparse_times, STATUS_BAD_DATA, "lacks pieces"),
        CASE(swollen_chunk, STATUS_BAD_DATA, "lacks pieces"),
        CASE(group_in_itself, STATUS_BAD_DATA, "where it comes from"),
        CASE(soft_link_circle, STATUS_BAD_DATA, "time is missing"),
        CASE(link_elsewhere, STATUS_BAD_DATA, "time is missing"),
        CASE(soft_group, STATUS_BAD_DATA, "/raw/can0 cannot be opened"),
        CASE(many_groups, STATUS_BAD_DATA, "cannot be listed"),
        CASE(long_name, STATUS_BAD_DATA, "cannot be listed"),
        CASE(huge_attribute, STATUS_BAD_DATA, "software"),
        CASE(text_for_number, STATUS_BAD_DATA, "not a run of searun-logger"),
        CASE(nonsense_date, STATUS_BAD_DATA, "run_end"),
        CASE(nonsense_protocol, STATUS_BAD_DATA, "where it comes from"),
        CASE(long_message, STATUS_BAD_DATA, "where it comes from"),
        CASE(wrong_unit, STATUS_BAD_DATA, "unit"),
        CASE(no_step, STATUS_BAD_DATA, "how it is packed"),
        CASE(shifted, STATUS_BAD_DATA, "how it is packed"),
        CASE(newer_format, STATUS_BAD_DATA, "Install a newer searun"),
        CASE(no_format, STATUS_BAD_DATA, "not a run of searun-logger"),
        CASE(absurd_instance, STATUS_BAD_DATA, "where it comes from"),
        CASE(raw_of_nobody, STATUS_BAD_DATA, "what it holds"),
        CASE(offset_outside, STATUS_BAD_DATA, "outside of the bytes"),
        CASE(offset_back, STATUS_BAD_DATA, "outside of the bytes"),
        CASE(frame_too_long, STATUS_BAD_DATA, "beyond 8"),
        CASE(event_from_nowhere, STATUS_BAD_DATA, "no possible origin"),
        CASE(unknown_things, STATUS_OK, ""),
        CASE(strange_times, STATUS_OK, ""),
    };
    const char *path = in_folder("made.h5");
    for (size_t i = 0; i < ARRAY_COUNT(cases); i++) {
        hid_t file = open_copy(path);
        cases[i].change(file);
        assert_true(H5Fclose(file) >= 0);
        struct digest digest = read_file(path);
        if (digest.status != cases[i].wanted)
            fail_msg("%s: status %d", cases[i].name, (int)digest.status);
        must_say(digest.complaint.text, cases[i].words);
    }
    unlink(path);
}

/* What run_check does not know it says, and it does not stop at the first damage. */
static void the_check_tells_all(void **state)
{
    (void)state;
    const char *path = in_folder("told.h5");
    hid_t file = open_copy(path);
    unknown_things(file);
    frame_too_long(file);
    swell(file, "/measurements/vessel/MTW_II_udp/sea_temperature");
    H5Fclose(file);
    struct run *run = open_run(path);
    struct findings findings = check_run(run);
    assert_int_equal(findings.worst, 2);
    must_say(findings.text, "2 parts of the file are not known");
    must_say(findings.text, "1 facts");
    must_say(findings.text, "length goes beyond 8");
    must_say(findings.text, "sea_temperature lacks pieces");
    run_close(run);
    unlink(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_sound_file_is_sound),
        cmocka_unit_test(cut_files_are_refused),
        cmocka_unit_test(a_file_with_something_behind_still_reads),
        cmocka_unit_test(no_flipped_bit_changes_what_is_read),
        cmocka_unit_test(overwritten_pieces_do_no_harm),
        cmocka_unit_test(other_files_are_told_apart),
        cmocka_unit_test(a_part_is_told_apart),
        cmocka_unit_test(made_files_are_refused_with_words),
        cmocka_unit_test(the_check_tells_all),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
