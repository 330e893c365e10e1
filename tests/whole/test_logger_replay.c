/* test_logger_replay.c - captures replayed by searun-logger, from outside. */
#include "stage.h"

static struct stage_text text;

#define REPLAY(name, ...)                                                                          \
    start_logger("--replay", stage_path(name ".txt"), "--output", stage_path(name ".h5"),          \
                 ##__VA_ARGS__)

static void save(const char *name)
{
    char file[64];
    snprintf(file, sizeof file, "%s.txt", name);
    stage_write(stage_path(file), text.bytes, text.length);
}

static void add_minute(int first_second)
{
    for (int i = 0; i < 60; i++) {
        stage_add_sentence(&text, "GPRMC,1015%02d.00,A,4955.8,N,00727.6,W,6.0,1.4,251126,,,A", i);
        stage_add_sentence(&text, "IIRPM,E,0,%d.0,,A", 1000 + first_second + i);
        stage_add_sentence(&text, "IIXDR,C,%.1f,C,ENGINE#0", 60.0 + i / 10.0);
        stage_add_sentence(&text, "IIMTW,15.2,C");
    }
}

/* The sample run of the repository: all of it arrives, at the times that RMC states. */
static void test_sample_run(void **state)
{
    (void)state;
    stage_expect(start_logger("--config", "sample-runs/before.ini", "--replay",
                              "sample-runs/before.nmea", "--output", stage_path("before.h5")),
                 0);
    struct run *run = stage_open_run(stage_path("before.h5"));
    assert_int_equal(run_about(run)->clock, CLOCK_GNSS);
    assert_true(run_about(run)->closed_cleanly);
    assert_string_equal(facts_get(run_facts(run), FACT_RUN, 0, "purpose"), "before service");
    assert_true(run_about(run)->duration > 2400);
    assert_true(stage_count(run, CHANNEL_ENGINE_SPEED) > 2400);
    assert_true(stage_count(run, CHANNEL_COOLANT_TEMPERATURE) > 2400);
    assert_int_equal(stage_tally(run, 0, REASON_BAD_CHECKSUM), 0);
    assert_int_equal(stage_tally(run, 0, REASON_TIME_BACKWARD), 0);
    run_close(run);
    /* Exported as a capture of ours and replayed, it is the same run. */
    stage_export(stage_path("before.h5"), stage_path("before.txt"));
    stage_expect(REPLAY("before", "--quiet"), 1); /* not into the file that is there */
    stage_expect(start_logger("--replay", stage_path("before.txt"), "--output",
                              stage_path("before-again.h5")),
                 0);
    stage_same_run(stage_path("before.h5"), stage_path("before-again.h5"));
}

static void test_existing_output(void **state)
{
    (void)state;
    text.length = 0;
    add_minute(0);
    save("existing");
    stage_expect(REPLAY("existing"), 0);
    struct stat before, after;
    assert_int_equal(stat(stage_path("existing.h5"), &before), 0);
    stage_expect_words(REPLAY("existing"), 1, "existing.h5");
    assert_int_equal(stat(stage_path("existing.h5"), &after), 0);
    assert_int_equal(before.st_ino, after.st_ino);
    assert_int_equal(before.st_size, after.st_size);
    assert_false(stage_exists(stage_path("existing.h5.part")));
}

/* A name is made from the start and the boat, and a second one if it is taken. */
static void test_names(void **state)
{
    (void)state;
    text.length = 0;
    add_minute(0);
    save("names");
    const char *folder = stage_path("runs");
    for (int i = 0; i < 3; i++)
        stage_expect(start_logger("--replay", stage_path("names.txt"), "--directory", folder,
                                  "--boat", "Tern's  Reach (II)"),
                     0);
    assert_true(stage_exists(stage_path("runs/20261125T101500Z-terns-reach-ii.h5")));
    assert_true(stage_exists(stage_path("runs/20261125T101500Z-terns-reach-ii-2.h5")));
    assert_true(stage_exists(stage_path("runs/20261125T101500Z-terns-reach-ii-3.h5")));
}

static void test_missing_folder(void **state)
{
    (void)state;
    text.length = 0;
    add_minute(0);
    save("folder");
    stage_expect_words(
        start_logger("--replay", stage_path("folder.txt"), "--output", stage_path("made/run.h5")),
        0, "made the folder");
    stage_expect_words(start_logger("--replay", stage_path("folder.txt"), "--output",
                                    stage_path("not/there/run.h5")),
                       1, "is not there and cannot be made");
    stage_expect_words(start_logger("--replay", stage_path("folder.txt"), "--output",
                                    stage_path("folder.txt/run.h5")),
                       1, "is not a folder");
}

static void test_no_capture(void **state)
{
    (void)state;
    static const char diary[] = "Dear diary, fine weather today.\n";
    stage_write(stage_path("diary.txt"), diary, sizeof diary - 1);
    stage_expect_words(REPLAY("diary"), 1, "it holds no sound NMEA 0183 sentence");
    stage_expect_words(REPLAY("nowhere"), 1, "No such file");
    assert_false(stage_exists(stage_path("diary.h5")));
    assert_false(stage_exists(stage_path("diary.h5.part")));
}

static void test_no_time(void **state)
{
    (void)state;
    text.length = 0;
    for (int i = 0; i < 480; i++)
        stage_add_sentence(&text, "IIMTW,15.%d,C", i % 10); /* 18 bytes, so 18 s in all */
    save("timeless");
    stage_expect_words(REPLAY("timeless"), 0, "warning: nothing in ");
    struct run *run = stage_open_run(stage_path("timeless.h5"));
    assert_int_equal(run_about(run)->clock, CLOCK_NOMINAL);
    assert_int_equal(run_about(run)->start_unix_us, 0);
    assert_true(run_about(run)->duration > 17.9 && run_about(run)->duration < 18.1);
    assert_int_equal(stage_count(run, CHANNEL_SEA_TEMPERATURE), 480);
    run_close(run);
}

/* The clock of the capture goes back by a quarter of an hour: nothing is lost or disordered. */
static void test_clock_set_back(void **state)
{
    (void)state;
    text.length = 0;
    add_minute(0);
    for (int i = 0; i < 60; i++) {
        stage_add_sentence(&text, "GPRMC,1000%02d.00,A,4955.8,N,00727.6,W,6.0,1.4,251126,,,A", i);
        stage_add_sentence(&text, "IIRPM,E,0,%d.0,,A", 1060 + i);
    }
    save("back");
    stage_expect(REPLAY("back"), 0);
    struct run *run = stage_open_run(stage_path("back.h5"));
    assert_int_equal(stage_tally(run, 0, REASON_TIME_BACKWARD), 1);
    for (size_t i = 0; i < run_stream_count(run); i++) {
        struct series series;
        if (run_stream(run, i)->channels[0] != CHANNEL_ENGINE_SPEED)
            continue;
        assert_int_equal(run_read_series(run, i, CHANNEL_ENGINE_SPEED, &series, NULL), STATUS_OK);
        assert_int_equal(series.count, 120);
        for (size_t k = 0; k < series.count; k++) /* in the order of the file */
            assert_true(series.value[k] - (1000 + (double)k) < 0.01 &&
                        series.value[k] - (1000 + (double)k) > -0.01);
        series_free(&series);
    }
    const struct run_event *events;
    size_t count;
    assert_int_equal(run_events(run, &events, &count, NULL), STATUS_OK);
    assert_int_equal(count, 1);
    assert_string_equal(events[0].key, "clock_set");
    run_close(run);
}

/* A recorder whose clock stood in 1970 wrote the TAG blocks; the receiver knew better. */
static void test_capture_with_a_wrong_clock(void **state)
{
    (void)state;
    text.length = 0;
    for (int i = 0; i < 60; i++) {
        char tag[32];
        unsigned char sum = 0;
        snprintf(tag, sizeof tag, "c:%010d", 100 + i);
        for (const char *c = tag; *c; c++)
            sum ^= (unsigned char)*c;
        stage_add(&text, "\\%s*%02X\\", tag, sum);
        stage_add_sentence(&text, "GPZDA,1015%02d.00,25,11,2026,00,00", i);
    }
    save("seventies");
    stage_expect_words(REPLAY("seventies"), 0, "the run is dated by GNSS");
    struct run *run = stage_open_run(stage_path("seventies.h5"));
    assert_int_equal(run_about(run)->clock, CLOCK_GNSS);
    /* date -u -d '2026-11-25 10:15:00' +%s */
    assert_int_equal(run_about(run)->start_unix_us, 1795601700000000);
    run_close(run);
}

/* A log of candump -l with two buses. EEC1 is that of SAE J1939-71: 12000 * 0.125 rpm. */
static void test_candump(void **state)
{
    (void)state;
    text.length = 0;
    for (int i = 0; i < 100; i++) {
        stage_add(&text, "(1795601700.%06d) can0 0CF00400#FFFFFFE02EFFFFFF\n", i * 10000);
        stage_add(&text, "(1795601700.%06d) can1 0CF00401#FFFFFFE02EFFFFFF\n", i * 10000 + 5);
    }
    save("buses");
    stage_add(&text, "(1795601701.0000\n");
    save("torn");
    stage_expect(REPLAY("buses"), 0);
    stage_expect_words(REPLAY("torn"), 0, "1 line of the capture could not be read");
    struct run *run = stage_open_run(stage_path("buses.h5"));
    assert_int_equal(run_about(run)->clock, CLOCK_CAPTURE);
    assert_int_equal(run_input_count(run), 2);
    assert_string_equal(run_input_at(run, 1)->label, "can1");
    assert_int_equal(stage_tally(run, 1, REASON_FRAMES), 100);
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 200);
    run_close(run);
    run = stage_open_run(stage_path("torn.h5"));
    assert_int_equal(stage_tally(run, 0, REASON_TRUNCATED), 1);
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 200);
    run_close(run);
    stage_export(stage_path("buses.h5"), stage_path("buses-again.txt"));
    stage_expect(REPLAY("buses-again"), 0);
    stage_same_run(stage_path("buses.h5"), stage_path("buses-again.h5"));
}

/* A capture may name an engine that no configuration can: counted, not stored. J1939 EEC1 of source
 * address 1 is the engine after that of address 0 (SAE J1939 appendix B). */
static void test_engine_beyond_all(void **state)
{
    (void)state;
    text.length = 0;
    stage_add(&text, "# searun capture 1 start=1795601700000000 clock=GNSS\n"
                     "# input can0 can:can0,j1939,engine=252\n"
                     "(1795601700.100000) can0 0CF00400#FFFFFF6813FFFFFF\n"
                     "(1795601700.400000) can0 0CF00401#FFFFFF6813FFFFFF\n"
                     "# end 1795601701000000\n");
    save("beyond");
    stage_expect(REPLAY("beyond"), 0);
    struct run *run = stage_open_run(stage_path("beyond.h5"));
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 1);
    assert_int_equal(stage_tally(run, 0, REASON_BAD_INSTANCE), 1);
    run_close(run);
}

static void test_duration_of_the_capture(void **state)
{
    (void)state;
    text.length = 0;
    add_minute(0);
    save("part");
    stage_expect(REPLAY("part", "--duration", "29.5"), 0);
    struct run *run = stage_open_run(stage_path("part.h5"));
    assert_int_equal(stage_count(run, CHANNEL_SPEED_OVER_GROUND), 30);
    run_close(run);
}

/* All that can be wrong with a line, in one capture. Nothing is lost: what is not a reading is
 * counted, and all bytes are kept. */
static void test_bad_lines(void **state)
{
    (void)state;
    text.length = 0;
    add_minute(0);
    stage_add(&text, "$IIMTW,15.2,C*00\r\n");         /* checksum */
    stage_add(&text, "$IIMTW,15.2,C\r\n");            /* none */
    stage_add(&text, "$IIMTW,15.2\r\n");              /* cut short */
    stage_add_sentence(&text, "IIMTW,,C");            /* empty field */
    stage_add_sentence(&text, "IIMTW,warm,C");        /* not a number */
    stage_add_sentence(&text, "IIMTW,15.2,X");        /* unknown unit */
    stage_add_sentence(&text, "IIMTW,95.0,C");        /* not believable */
    stage_add_sentence(&text, "IIRPM,E,0,1450.0,,V"); /* marked invalid */
    stage_add_sentence(&text, "IIGSV,1,1,00");        /* not ours */
    unsigned chance = 12345;
    for (int i = 0; i < 5000; i++) { /* 4800 baud read at another rate looks like this */
        chance = chance * 1103515245 + 12345;
        text.bytes[text.length++] = (char)(0x80 | chance >> 16);
    }
    stage_add(&text, "\r\n$IIMTW,15.2,C*1");
    save("bad");
    stage_expect(REPLAY("bad"), 0);
    struct run *run = stage_open_run(stage_path("bad.h5"));
    static const struct {
        enum reason reason;
        uint64_t least;
    } rows[] = {
        {REASON_BAD_CHECKSUM, 1},   {REASON_NO_CHECKSUM, 2},  {REASON_NOT_AVAILABLE, 1},
        {REASON_NOT_A_NUMBER, 1},   {REASON_UNKNOWN_UNIT, 1}, {REASON_OUT_OF_RANGE, 1},
        {REASON_INVALID_STATUS, 1}, {REASON_NOT_OURS, 1},     {REASON_NOISE_BYTES, 4000},
        {REASON_TRUNCATED, 1},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (stage_tally(run, 0, rows[i].reason) < rows[i].least)
            fail_msg("%s: %llu, at least %llu expected", reason_title(rows[i].reason),
                     (unsigned long long)stage_tally(run, 0, rows[i].reason),
                     (unsigned long long)rows[i].least);
    assert_int_equal(stage_count(run, CHANNEL_SEA_TEMPERATURE), 60);
    run_close(run);
    stage_export(stage_path("bad.h5"), stage_path("bad-again.txt"));
    stage_expect(REPLAY("bad-again"), 0);
    stage_same_run(stage_path("bad.h5"), stage_path("bad-again.h5"));
}

static void test_not_with_other_inputs(void **state)
{
    (void)state;
    text.length = 0;
    add_minute(0);
    save("mixed");
    char input[600];
    snprintf(input, sizeof input, "replay:%s", stage_path("mixed.txt"));
    if (strlen(input) < 96) {
        stage_expect_words(start_logger("--input", input, "--input", "udp:10110", "--output",
                                        stage_path("mixed.h5")),
                           2, "cannot be recorded together with other inputs");
        stage_expect(start_logger("--input", input, "--output", stage_path("mixed.h5")), 0);
    }
    /* --replay stands for all inputs of the file */
    static const char ini[] = "[inputs]\na = udp:10110\nb = tcp:127.0.0.1:1\n";
    stage_write(stage_path("mixed.ini"), ini, sizeof ini - 1);
    stage_expect(start_logger("--config", stage_path("mixed.ini"), "--replay",
                              stage_path("mixed.txt"), "--output", stage_path("mixed2.h5")),
                 0);
    struct run *run = stage_open_run(stage_path("mixed2.h5"));
    assert_int_equal(run_input_count(run), 1);
    run_close(run);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sample_run),
        cmocka_unit_test(test_existing_output),
        cmocka_unit_test(test_names),
        cmocka_unit_test(test_missing_folder),
        cmocka_unit_test(test_no_capture),
        cmocka_unit_test(test_no_time),
        cmocka_unit_test(test_clock_set_back),
        cmocka_unit_test(test_capture_with_a_wrong_clock),
        cmocka_unit_test(test_engine_beyond_all),
        cmocka_unit_test(test_candump),
        cmocka_unit_test(test_duration_of_the_capture),
        cmocka_unit_test(test_bad_lines),
        cmocka_unit_test(test_not_with_other_inputs),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
