/* test_hand.c - readings by hand on their way to evidence: kept in the run file with what is stated
 * of them, found as holds, and never thrown out as stuck, spiky, short or full of gaps. */
#include "run_support.h"

#include <math.h>

#include "../../analyze/evidence.h"
#include "../../analyze/trial.h"
#include "near.h"

struct row {
    double minute, held; /* held in minutes; 0: not said */
    double rpm, coolant; /* NAN: not read */
};

static struct origin tachometer, gauge, thermometer, bus;

static const struct accuracy by_gauge = {.by_hand = true,
                                         .step = 2.5,
                                         .reading_u = 0.5,
                                         .run_u = 0.25,
                                         .instrument_u = 1.5,
                                         .instrument = "dash gauge – as fitted"};
static const struct accuracy by_tachometer = {.by_hand = true, .step = 50};

static void put_row(struct run_writer *writer, const struct row *row)
{
    int64_t at = (int64_t)(row->minute * 60) * NS_PER_S;
    struct value speed[2] = {{CHANNEL_ENGINE_SPEED, row->rpm},
                             {CHANNEL_SPEED_HELD, row->held * 60}};
    if (!isnan(row->rpm))
        assert_int_equal(run_write_readings(writer, at, &tachometer, speed, row->held > 0 ? 2 : 1),
                         STATUS_OK);
    if (!isnan(row->coolant))
        put_value(writer, at, &gauge, CHANNEL_COOLANT_TEMPERATURE, row->coolant);
}

static const char *write_rows(const char *name, const struct row *rows, size_t count)
{
    static char path[1024];
    snprintf(path, sizeof path, "%s", in_folder(name));
    struct run_writer *writer = begin(path);
    assert_int_equal(run_write_accuracy(writer, &tachometer, CHANNEL_ENGINE_SPEED, &by_tachometer),
                     STATUS_OK);
    assert_int_equal(run_write_accuracy(writer, &gauge, CHANNEL_COOLANT_TEMPERATURE, &by_gauge),
                     STATUS_OK);
    for (size_t i = 0; i < count; i++)
        put_row(writer, &rows[i]);
    const struct accuracy by_hand = {.by_hand = true};
    assert_int_equal(run_write_accuracy(writer, &thermometer, CHANNEL_SEA_TEMPERATURE, &by_hand),
                     STATUS_OK);
    put_value(writer, 60 * NS_PER_S, &thermometer, CHANNEL_SEA_TEMPERATURE, 16);
    finish(writer, (int64_t)(rows[count - 1].minute * 60) * NS_PER_S, NULL);
    return path;
}

static void test_accuracy_is_kept(void **state)
{
    (void)state;
    const struct row row = {5, 5, 1000, 75};
    struct run *run = open_run(write_rows("kept.h5", &row, 1));
    struct series coolant = read_channel(run, &gauge, CHANNEL_COOLANT_TEMPERATURE);
    struct series speed = read_channel(run, &tachometer, CHANNEL_ENGINE_SPEED);
    struct series held = read_channel(run, &tachometer, CHANNEL_SPEED_HELD);
    assert_memory_equal(&coolant.accuracy, &by_gauge, offsetof(struct accuracy, instrument));
    assert_string_equal(coolant.accuracy.instrument, by_gauge.instrument);
    assert_true(speed.accuracy.by_hand);
    assert_false(held.accuracy.by_hand); /* nothing was said of it */
    assert_near(held.value[0], 300, 0);
    assert_int_equal(check_run(run).worst, 0);
    series_free(&coolant);
    series_free(&speed);
    series_free(&held);
    run_close(run);
}

/* The candidate of a channel, NULL without. */
static struct candidate *find(struct logbook *book, enum channel_id channel)
{
    for (size_t i = 0; i < book->count; i++)
        if (book->list[i].channel == channel)
            return &book->list[i];
    return NULL;
}

static void make_trial(const char *path, struct logbook *book, struct trial *trial)
{
    struct complaint complaint = {""};
    struct candidate *chosen[QUANTITIES_MAX] = {NULL};
    const struct trial_facts facts = {.full_rpm = 2800,
                                      .thermostat_start = 71,
                                      .thermostat_full = 82,
                                      .thermostat_u = 1,
                                      .sea_by_hand = NAN};
    if (logbook_open(path, LOGBOOK_ALL, book, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    chosen[QUANTITY_SPEED] = find(book, CHANNEL_ENGINE_SPEED);
    chosen[QUANTITY_COOLANT] = find(book, CHANNEL_COOLANT_TEMPERATURE);
    chosen[QUANTITY_SEA] = find(book, CHANNEL_SEA_TEMPERATURE);
    if (trial_make(book, chosen, &facts, trial, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
}

/* A ladder: a gauge that reads alike at three speeds, then jumps by 12 K; a single sea reading. */
static void test_each_reading_is_a_hold(void **state)
{
    (void)state;
    static const struct row rows[] = {{5, 5, 1000, 75},   {10, 5, 1400, 75},   {15, 5, 1800, 75},
                                      {21, 5, 2200, 75},  {26, 5, 2500, 87.5}, {31, 5, 2800, 100},
                                      {36, 5, 2500, 87.5}};
    struct logbook book;
    struct trial trial;
    make_trial(write_rows("ladder.h5", rows, ARRAY_COUNT(rows)), &book, &trial);
    assert_int_equal(trial.hold_count, 7);
    for (size_t i = 0; i < 7; i++) {
        const struct hold *hold = &trial.holds[i];
        assert_int_equal(hold->refusal, REFUSAL_NONE);
        assert_near(hold->rpm, rows[i].rpm, 0);
        assert_near(hold->coolant, rows[i].coolant, 1e-9);
        assert_near(hold->sea, 16, 0);
        assert_near(hold->end, rows[i].minute * 60, 1.5);
        assert_near(hold->end - hold->start, 300, 1.5);
        assert_true(isnan(hold->coolant_slope));
        assert_near(trial_mean(&trial, QUANTITY_COOLANT, hold), rows[i].coolant, 1e-9);
    }
    assert_int_equal(trial.lag.steps, 0);
    assert_near(trial.chosen[QUANTITY_COOLANT]->profile.step, 2.5, 0);
    assert_near(trial.chosen[QUANTITY_COOLANT]->profile.coverage, 1, 1e-9);
    assert_int_equal(trial.chosen[QUANTITY_COOLANT]->cleaning.count.spikes, 0);
    assert_int_equal(trial.chosen[QUANTITY_COOLANT]->cleaning.count.stale, 0);
    trial_free(&trial);
    logbook_close(&book);
}

/* Several readings in one time of steady running are one hold, not several. */
static void test_readings_within_a_hold(void **state)
{
    (void)state;
    static const struct row rows[] = {
        {1, 1, 1800, 81}, {3, 3, 1800, 82}, {5, 5, 1800, 83}, {10, 5, 2200, 84}, {12, 2, 2500, 88}};
    struct logbook book;
    struct trial trial;
    make_trial(write_rows("within.h5", rows, ARRAY_COUNT(rows)), &book, &trial);
    assert_int_equal(trial.hold_count, 3);
    assert_near(trial.holds[0].end - trial.holds[0].start, 300, 1.5);
    assert_true(trial.holds[0].coolant > 82 && trial.holds[0].coolant < 83);
    assert_int_equal(trial.holds[0].refusal, REFUSAL_NONE);
    assert_int_equal(trial.holds[2].refusal, REFUSAL_TOO_SHORT); /* two minutes, as stated */
    trial_free(&trial);
    logbook_close(&book);
}

static void test_nothing_said_of_holding(void **state)
{
    (void)state;
    static const struct row rows[] = {{5, 0, 1000, 75}, {10, 0, 1400, 76}, {15, 0, 1800, 77}};
    struct logbook book;
    struct trial trial;
    make_trial(write_rows("silent.h5", rows, ARRAY_COUNT(rows)), &book, &trial);
    assert_int_equal(trial.hold_count, 3);
    for (size_t i = 0; i < trial.hold_count; i++) {
        assert_int_equal(trial.holds[i].refusal, REFUSAL_UNHELD);
        assert_near(trial.holds[i].rpm, rows[i].rpm, 0);
        assert_near(trial.holds[i].start, rows[i].minute * 60, 1.5);
        assert_near(trial.holds[i].end, trial.holds[i].start, 0);
    }
    trial_free(&trial);
    logbook_close(&book);
}

/* Speeds written down, temperature recorded: the mean and the drift of the recording count. */
static void test_speeds_beside_a_recording(void **state)
{
    (void)state;
    char path[1024];
    snprintf(path, sizeof path, "%s", in_folder("beside.h5"));
    struct run_writer *writer = begin(path);
    const struct accuracy sampled = {.interval = 20};
    run_write_accuracy(writer, &tachometer, CHANNEL_ENGINE_SPEED, &by_tachometer);
    run_write_accuracy(writer, &bus, CHANNEL_COOLANT_TEMPERATURE, &sampled);
    for (int s = 0; s <= 600; s += 20)
        put_value(writer, s * NS_PER_S, &bus, CHANNEL_COOLANT_TEMPERATURE, 78 + s / 600.0);
    put_row(writer, &(struct row){5, 5, 1800, NAN});
    put_row(writer, &(struct row){10, 5, 2200, NAN});
    put_value(writer, 60 * NS_PER_S, &thermometer, CHANNEL_SEA_TEMPERATURE, 16);
    put_value(writer, 90 * NS_PER_S, &thermometer, CHANNEL_SEA_TEMPERATURE, 16);
    finish(writer, 600 * NS_PER_S, NULL);
    struct logbook book;
    struct trial trial;
    make_trial(path, &book, &trial);
    assert_false(trial_by_hand(&trial));
    assert_int_equal(trial.hold_count, 2);
    assert_int_equal(trial.holds[0].refusal, REFUSAL_NONE);
    assert_near(trial.holds[0].coolant_slope, 1 / 600.0, 1e-5);
    assert_near(trial.holds[0].coolant, 78.35, 0.02); /* the middle of 120 to 300 s */
    trial_free(&trial);
    logbook_close(&book);
}

/* --- evidence */

static struct hold hold_at(double start, double rpm, double coolant)
{
    return (struct hold){.start = start,
                         .end = start + 300,
                         .used_from = start + 120,
                         .rpm = rpm,
                         .band_rpm = rpm,
                         .coolant = coolant,
                         .coolant_slope = NAN,
                         .sea = 16,
                         .load = NAN,
                         .fuel_rate = NAN};
}

static void test_what_is_unsure(void **state)
{
    (void)state;
    struct hold holds[] = {hold_at(0, 1000, 75), hold_at(300, 2800, 95), hold_at(600, 1000, 75)};
    struct engine_answer *engine = calloc(1, sizeof *engine);
    struct run_summary run = {.side = SIDE_BEFORE};
    const struct answer answer = {.run_count = 1, .runs = &run};
    const double step = 2.5;
    const struct hand_reading hand = {.by_hand = true, .coolant_u = 0.5, .speed_u = 14};
    const struct estimate_facts facts = {.thermostat_start = 71,
                                         .thermostat_full = 82,
                                         .thermostat_u = 1,
                                         .coolant_step = &step,
                                         .hand = &hand};
    struct evidence evidence;
    struct complaint complaint = {""};
    assert_non_null(engine);
    engine->holds = holds;
    engine->hold_count = 3;
    assert_int_equal(evidence_gather(&answer, &facts, engine, &evidence, &complaint), STATUS_OK);
    assert_int_equal(evidence.count, 3);
    const double rounding = 2.5 / sqrt(12.0);
    /* Once: rounding and reading. Twice at one speed: the mean of both keeps the whole rounding. */
    assert_near(evidence.looks[1].reading_u, hypot(rounding, 0.5), 1e-9);
    double mean_of_two = hypot(evidence.looks[0].reading_u, evidence.looks[2].reading_u) / 2;
    assert_near(mean_of_two, hypot(rounding, 0.5 / sqrt(2.0)), 1e-9);
    /* 14 rpm of 2800, and of 1000, to the power of 1.9. The first also has an engine that warms. */
    assert_near(evidence.looks[1].warming_u, hypot(1.9 * 14 / 2800, evidence_warming_u(420, 600)),
                1e-9);
    assert_true(evidence.looks[0].warming_u > 1.9 * 14 / 1000);
    /* After 300 s of 135 s there is exp(-300/135) = 0.1084 left of 20 K up; worked by hand:
     * 0.5 * 20 * 0.1084 / 0.8916 / 135 = 0.00901 K/s. */
    assert_near(evidence.looks[1].slope, 0.00901, 2e-5);
    assert_near(evidence.looks[1].slope_u, 0.00901, 2e-5);
    assert_near(evidence.looks[2].slope, -0.00901, 2e-5);
    evidence_free(&evidence);
    free(engine);
}

static int setup(void **state)
{
    tachometer = make_origin(PROTOCOL_SHEET, PLACE_ENGINE, 0, "SHEET", "", "tachometer");
    gauge = make_origin(PROTOCOL_SHEET, PLACE_ENGINE, 0, "SHEET", "", "gauge");
    thermometer = make_origin(PROTOCOL_SHEET, PLACE_VESSEL, 0, "SHEET", "", "thermometer");
    bus = make_origin(PROTOCOL_SHEET, PLACE_ENGINE, 0, "CSV", "", "T1");
    return make_folder(state);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_accuracy_is_kept),
        cmocka_unit_test(test_each_reading_is_a_hold),
        cmocka_unit_test(test_readings_within_a_hold),
        cmocka_unit_test(test_nothing_said_of_holding),
        cmocka_unit_test(test_speeds_beside_a_recording),
        cmocka_unit_test(test_what_is_unsure),
    };
    return cmocka_run_group_tests(tests, setup, remove_folder);
}
