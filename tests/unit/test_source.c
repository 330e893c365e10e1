/* test_source.c - of several sources the right one is taken: every rule of source.h, in its
 * order. */
#include "run_support.h"

#include <math.h>

#include "../../analyze/source.h"
#include "near.h"

#define DURATION 1000.0

/* Runs made of candidates without a file behind them. */
struct made {
    struct logbook books[3];
    struct run_facts_of about[3];
    struct candidate lists[3][8];
    size_t runs;
    struct candidate *chosen[3];
};

static double one_time[] = {0}, one_value[] = {0};

static void start(struct made *m, size_t runs)
{
    memset(m, 0, sizeof *m);
    m->runs = runs;
    for (size_t r = 0; r < runs; r++) {
        m->about[r].duration = DURATION;
        m->books[r].about = &m->about[r];
        m->books[r].list = m->lists[r];
    }
}

/* A sound candidate: covers everything, once a second, in steps of 0.1, middle value 15. */
static struct candidate *add(struct made *m, size_t run, enum channel_id channel, enum place place,
                             const char *message, const char *source)
{
    struct candidate *c = &m->lists[run][m->books[run].count++];
    c->channel = channel;
    c->origin = make_origin(PROTOCOL_NMEA2000, place, 0, message, source, "");
    c->series = (struct series){
        .channel = channel, .origin = c->origin, .count = 1, .time = one_time, .value = one_value};
    c->profile = (struct profile){
        .coverage = 1, .interval = 1, .step = 0.1, .low = 14.9, .mid = 15, .high = 15.1};
    snprintf(c->title, sizeof c->title, "%.12s from %.20s", message, source);
    return c;
}

static struct candidate *add_sea(struct made *m, size_t run, const char *message,
                                 const char *source)
{
    return add(m, run, CHANNEL_SEA_TEMPERATURE, PLACE_VESSEL, message, source);
}

static void choose(struct made *m, size_t quantity, const struct source_wish *wish)
{
    assert_int_equal(source_choose(m->books, m->runs, quantity, 0, true, wish, m->chosen),
                     STATUS_OK);
}

static void expect_sea(struct made *m, const char *source)
{
    choose(m, QUANTITY_SEA, NULL);
    assert_non_null(m->chosen[0]);
    assert_string_equal(m->chosen[0]->origin.source, source);
}

static void nothing_to_choose_from(void **state)
{
    (void)state;
    struct made m;
    start(&m, 2);
    choose(&m, QUANTITY_SEA, NULL);
    assert_null(m.chosen[0]);
    assert_null(m.chosen[1]);
    struct candidate *empty = add_sea(&m, 0, "130312", "1");
    empty->series.count = 0;
    choose(&m, QUANTITY_SEA, NULL);
    assert_null(m.chosen[0]);
}

static void wishes_go_first(void **state)
{
    (void)state;
    static const char *const ways[] = {"130316", "9", "130316 FROM 9", "from 9", "sea_temperature"};
    struct made m;
    start(&m, 1);
    add_sea(&m, 0, "130312", "1");
    struct candidate *bad = add_sea(&m, 0, "130316", "9");
    bad->profile.coverage = 0.01;
    bad->follows_engine = true;
    for (size_t i = 0; i < ARRAY_COUNT(ways); i++) {
        struct source_wish wish = {CHANNEL_SEA_TEMPERATURE, ""};
        snprintf(wish.source, sizeof wish.source, "%s", ways[i]);
        choose(&m, QUANTITY_SEA, &wish);
        /* the last way means both: then the other rules decide */
        assert_string_equal(m.chosen[0]->origin.source, i < 4 ? "9" : "1");
    }
}

static void a_name_goes_before_a_part_of_a_name(void **state)
{
    (void)state;
    struct made m;
    start(&m, 1);
    add_sea(&m, 0, "130312", "135");
    add_sea(&m, 0, "130316", "35")->profile.coverage = 0.6;
    struct source_wish wish = {CHANNEL_SEA_TEMPERATURE, "35"};
    choose(&m, QUANTITY_SEA, &wish);
    assert_string_equal(m.chosen[0]->origin.source, "35");
    m.books[0].count = 1;
    choose(&m, QUANTITY_SEA, &wish);
    assert_string_equal(m.chosen[0]->origin.source, "135");
}

static void coverage_makes_sound(void **state)
{
    (void)state;
    struct made m;
    start(&m, 1);
    add_sea(&m, 0, "130312", "1")->profile.coverage = 0.4;
    struct candidate *coarse = add_sea(&m, 0, "130316", "2");
    coarse->profile.coverage = 0.6;
    coarse->profile.step = 1;
    expect_sea(&m, "2");
}

static void frozen_is_not_sound(void **state)
{
    (void)state;
    struct made m;
    start(&m, 1);
    add_sea(&m, 0, "130312", "1")->cleaning.count.frozen_seconds = 300;
    add_sea(&m, 0, "130316", "2")->profile.coverage = 0.6;
    expect_sea(&m, "2");
}

static void what_no_sea_can_be_is_not_sound(void **state)
{
    (void)state;
    struct made m;
    start(&m, 1);
    struct candidate *hot = add_sea(&m, 0, "130312", "1");
    hot->profile.mid = 41;
    add_sea(&m, 0, "130316", "2")->profile.coverage = 0.6;
    assert_false(source_believable(hot, QUANTITY_SEA));
    assert_true(source_believable(hot, QUANTITY_AIR));
    expect_sea(&m, "2");
    hot->profile.mid = 38; /* NOAA PMEL, July 2023: isolated hot spots */
    expect_sea(&m, "1");
    hot->profile.mid = -1.9; /* UNESCO 44: freezing point at a salinity of 35 */
    expect_sea(&m, "1");
    struct candidate *cold = add(&m, 0, CHANNEL_COOLANT_TEMPERATURE, PLACE_ENGINE, "127489", "3");
    assert_false(source_believable(cold, QUANTITY_COOLANT)); /* 15 degC all the run */
}

static void a_sensor_warmed_by_the_engine_is_not_sound(void **state)
{
    (void)state;
    struct made m;
    start(&m, 1);
    add_sea(&m, 0, "130312", "1")->follows_engine = true;
    add_sea(&m, 0, "130316", "2")->profile.coverage = 0.6;
    expect_sea(&m, "2");
    m.books[0].count = 1; /* better than none */
    expect_sea(&m, "1");
}

static void sea_goes_before_raw_water(void **state)
{
    (void)state;
    struct made m;
    start(&m, 2);
    for (size_t r = 0; r < 2; r++) {
        struct candidate *raw = add(&m, r, CHANNEL_RAW_WATER_IN, PLACE_ENGINE, "65280", "1");
        raw->profile.step = 0.01;
        add_sea(&m, r, "130312", "2")->profile.step = 0.5;
    }
    expect_sea(&m, "2");
    /* ... but if only one run has a sea sensor, the raw water that both have is the same on both */
    m.books[1].count = 1;
    choose(&m, QUANTITY_SEA, NULL);
    assert_int_equal(m.chosen[0]->channel, CHANNEL_RAW_WATER_IN);
    assert_int_equal(m.chosen[1]->channel, CHANNEL_RAW_WATER_IN);
}

static void the_source_all_runs_have_goes_first(void **state)
{
    (void)state;
    struct made m;
    start(&m, 2);
    add_sea(&m, 0, "130312", "1")->profile.step = 0.01;
    add_sea(&m, 0, "MTW", "2");
    add_sea(&m, 1, "MTW", "2")->origin.input = 3; /* another input, the same device */
    expect_sea(&m, "2");
    assert_string_equal(m.chosen[1]->origin.source, "2");
}

static void the_odd_one_out_of_three_goes_last(void **state)
{
    (void)state;
    struct made m;
    start(&m, 1);
    struct candidate *odd = add_sea(&m, 0, "130312", "1");
    odd->profile.mid = 19;
    odd->profile.step = 0.001;
    add_sea(&m, 0, "130316", "2");
    expect_sea(&m, "1"); /* of two nobody knows which is odd */
    add_sea(&m, 0, "MTW", "3")->profile.mid = 15.2;
    expect_sea(&m, "2");
}

static void more_coverage_then_finer_then_faster_then_by_name(void **state)
{
    (void)state;
    struct made m;
    start(&m, 1);
    struct candidate *first = add_sea(&m, 0, "130312", "1");
    struct candidate *second = add_sea(&m, 0, "130316", "2");
    expect_sea(&m, "1"); /* by name */
    second->profile.interval = 0.5;
    expect_sea(&m, "2");
    first->profile.step = 0.01;
    expect_sea(&m, "1");
    first->profile.step = 0.09; /* the same class of fineness */
    expect_sea(&m, "2");
    first->profile.step = 0.01;
    second->profile.step = 0; /* never moved: the coarsest of all */
    expect_sea(&m, "1");
    first->profile.coverage = 0.8;
    expect_sea(&m, "2");
}

static void engine_speed_goes_before_shaft_speed(void **state)
{
    (void)state;
    struct made m;
    start(&m, 2);
    for (size_t r = 0; r < 2; r++) {
        add(&m, r, CHANNEL_SHAFT_SPEED, PLACE_ENGINE, "RPM", "S")->profile.step = 0.01;
        add(&m, r, CHANNEL_ENGINE_SPEED, PLACE_ENGINE, "RPM", "E");
    }
    choose(&m, QUANTITY_SPEED, NULL);
    assert_int_equal(m.chosen[0]->channel, CHANNEL_ENGINE_SPEED);
    assert_int_equal(m.chosen[1]->channel, CHANNEL_ENGINE_SPEED);
}

static void speeds_of_different_things_are_not_mixed(void **state)
{
    (void)state;
    struct made m;
    start(&m, 3);
    for (size_t r = 0; r < 2; r++)
        add(&m, r, CHANNEL_ENGINE_SPEED, PLACE_ENGINE, "127488", "1");
    add(&m, 2, CHANNEL_SHAFT_SPEED, PLACE_ENGINE, "RPM", "2");
    choose(&m, QUANTITY_SPEED, NULL);
    assert_non_null(m.chosen[0]);
    assert_non_null(m.chosen[1]);
    assert_null(m.chosen[2]);
}

static void other_engines_and_vessel_readings(void **state)
{
    (void)state;
    struct made m;
    struct candidate *list[CANDIDATES_MAX];
    start(&m, 1);
    add(&m, 0, CHANNEL_OIL_TEMPERATURE, PLACE_ENGINE, "127489", "1")->origin.instance = 1;
    add(&m, 0, CHANNEL_OIL_TEMPERATURE, PLACE_VESSEL, "130312", "2");
    size_t q = QUANTITY_BESIDE;
    while (quantity_channel(q) != CHANNEL_OIL_TEMPERATURE)
        q++;
    assert_int_equal(source_candidates(&m.books[0], q, 0, false, list), 0);
    assert_int_equal(source_candidates(&m.books[0], q, 0, true, list), 1); /* the only engine's */
    assert_int_equal(source_candidates(&m.books[0], q, 1, false, list), 1);
    add_sea(&m, 0, "130312", "3");
    assert_int_equal(source_candidates(&m.books[0], QUANTITY_SEA, 7, false, list), 1);
}

static void unmapped_transducers_only_on_wish(void **state)
{
    (void)state;
    struct made m;
    start(&m, 1);
    struct candidate *c = add(&m, 0, CHANNEL_TRANSDUCER_TEMPERATURE, PLACE_VESSEL, "XDR", "II");
    c->wish_only = true;
    snprintf(c->origin.label, sizeof c->origin.label, "C:BLOCK");
    choose(&m, QUANTITY_COOLANT, NULL);
    assert_null(m.chosen[0]);
    struct source_wish wish = {CHANNEL_COOLANT_TEMPERATURE, "c:block"};
    choose(&m, QUANTITY_COOLANT, &wish);
    assert_ptr_equal(m.chosen[0], c);
    struct source_wish speed = {CHANNEL_ENGINE_SPEED, "C:BLOCK"};
    choose(&m, QUANTITY_SPEED, &speed);
    assert_null(m.chosen[0]); /* a temperature is no speed */
}

static void catalogue_of_quantities(void **state)
{
    (void)state;
    assert_int_equal(quantity_channel(QUANTITY_SPEED), CHANNEL_ENGINE_SPEED);
    assert_int_equal(quantity_channel(QUANTITY_COOLANT), CHANNEL_COOLANT_TEMPERATURE);
    assert_int_equal(quantity_channel(QUANTITY_SEA), CHANNEL_SEA_TEMPERATURE);
    assert_int_equal(quantity_channel(QUANTITY_LOAD), CHANNEL_ENGINE_LOAD);
    assert_int_equal(quantity_channel(QUANTITY_FUEL_RATE), CHANNEL_FUEL_RATE);
    assert_int_equal(quantity_channel(QUANTITY_AIR), CHANNEL_AIR_TEMPERATURE);
    assert_int_equal(quantity_channel(QUANTITY_GEAR), CHANNEL_TRANSMISSION_GEAR);
    assert_int_equal(quantity_channel(QUANTITY_BOAT_SPEED), CHANNEL_SPEED_THROUGH_WATER);
    assert_true(quantity_tabled(QUANTITY_LOAD));
    assert_false(quantity_tabled(QUANTITY_GEAR));
    for (size_t q = QUANTITY_BESIDE; q < quantity_count(); q++) {
        assert_true(quantity_tabled(q));
        for (size_t k = QUANTITY_BESIDE; k < q; k++)
            assert_int_not_equal(quantity_channel(q), quantity_channel(k));
    }
}

/* --- from a file */

static void put_many(struct run_writer *run, const struct origin *origin, enum channel_id channel,
                     double value)
{
    for (int s = 0; s < 100; s++)
        put_value(run, s * NS_PER_S, origin, channel, value + 0.1 * (s % 3));
}

static void a_run_file_becomes_a_logbook(void **state)
{
    (void)state;
    struct run_writer *run = begin(in_folder("logbook.h5"));
    struct origin rpm = make_origin(PROTOCOL_NMEA0183, PLACE_ENGINE, 2, "RPM", "II", "");
    struct origin xdr = make_origin(PROTOCOL_NMEA0183, PLACE_ENGINE, 0, "XDR", "YX", "C:ENGRM");
    struct origin depth = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "DPT", "SD", "");
    struct origin gear = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 5, "127493", "35", "");
    put_many(run, &rpm, CHANNEL_ENGINE_SPEED, 2000);
    put_many(run, &xdr, CHANNEL_COOLANT_TEMPERATURE, 78);
    put_many(run, &depth, CHANNEL_DEPTH, 12);
    put_many(run, &gear, CHANNEL_TRANSMISSION_GEAR, 0);
    put_many(run, &gear, CHANNEL_TRANSMISSION_OIL_PRESSURE, 1800);
    finish(run, 100 * NS_PER_S, NULL);
    struct logbook book;
    struct complaint complaint = {""};
    assert_int_equal(logbook_open(in_folder("logbook.h5"), LOGBOOK_ALL, &book, &complaint),
                     STATUS_OK);
    assert_int_equal(book.count, 4); /* depth serves nothing here */
    struct engine_parts parts = logbook_parts(&book, 0);
    assert_true(parts.coolant && !parts.speed);
    parts = logbook_parts(&book, 2);
    assert_true(parts.speed && !parts.coolant);
    parts = logbook_parts(&book, 5);
    assert_true(!parts.speed && !parts.coolant); /* a gear makes no engine */
    for (size_t i = 0; i < book.count; i++) {
        const struct candidate *c = &book.list[i];
        if (c->channel == CHANNEL_COOLANT_TEMPERATURE)
            assert_string_equal(c->title, "XDR C:ENGRM from YX");
        if (c->channel == CHANNEL_ENGINE_SPEED)
            assert_string_equal(c->title, "RPM from II");
        assert_int_equal(c->series.count, 100);
        assert_near(c->profile.coverage, 1, 1e-9);
    }
    logbook_renumber(&book, 2, 0);
    parts = logbook_parts(&book, 0);
    assert_true(parts.coolant && parts.speed);
    logbook_close(&book);
    assert_int_equal(logbook_open(in_folder("logbook.h5"), LOGBOOK_COOLING, &book, &complaint),
                     STATUS_OK);
    assert_int_equal(book.count, 3); /* the pressure is only tabled beside the cooling */
    logbook_close(&book);
    assert_int_not_equal(logbook_open(in_folder("none.h5"), LOGBOOK_ALL, &book, &complaint),
                         STATUS_OK);
    logbook_close(&book);
}

static void differences_over_common_time(void **state)
{
    (void)state;
    double time[200], high[200], low[200], difference;
    for (int i = 0; i < 200; i++) {
        time[i] = i;
        high[i] = 15 + 0.01 * i + (i == 50 ? 30 : 0);
        low[i] = 13.5 + 0.01 * i;
    }
    struct candidate a = {.channel = CHANNEL_SEA_TEMPERATURE,
                          .series = {.count = 200, .time = time, .value = high}};
    struct candidate b = {.channel = CHANNEL_SEA_TEMPERATURE,
                          .series = {.count = 200, .time = time, .value = low}};
    assert_int_equal(source_difference(&a, &b, 200, &difference), STATUS_OK);
    assert_near(difference, 1.5, 1e-9);
    b.series.count = 0;
    assert_int_equal(source_difference(&a, &b, 200, &difference), STATUS_OK);
    assert_true(isnan(difference));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_to_choose_from),
        cmocka_unit_test(wishes_go_first),
        cmocka_unit_test(a_name_goes_before_a_part_of_a_name),
        cmocka_unit_test(coverage_makes_sound),
        cmocka_unit_test(frozen_is_not_sound),
        cmocka_unit_test(what_no_sea_can_be_is_not_sound),
        cmocka_unit_test(a_sensor_warmed_by_the_engine_is_not_sound),
        cmocka_unit_test(sea_goes_before_raw_water),
        cmocka_unit_test(the_source_all_runs_have_goes_first),
        cmocka_unit_test(the_odd_one_out_of_three_goes_last),
        cmocka_unit_test(more_coverage_then_finer_then_faster_then_by_name),
        cmocka_unit_test(engine_speed_goes_before_shaft_speed),
        cmocka_unit_test(speeds_of_different_things_are_not_mixed),
        cmocka_unit_test(other_engines_and_vessel_readings),
        cmocka_unit_test(unmapped_transducers_only_on_wish),
        cmocka_unit_test(catalogue_of_quantities),
        cmocka_unit_test(a_run_file_becomes_a_logbook),
        cmocka_unit_test(differences_over_common_time),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
