/* test_logger_can.c - candump logs through searun-logger: several buses, engines and protocols in
 * one run. The real interface is in test_guest_can.c. */
#include "stage.h"

static struct stage_text text;

static void add_frame(unsigned ms, const char *interface, const char *frame)
{
    stage_add(&text, "(%u.%03u000) %s %s\n", 1781533953 + ms / 1000, ms % 1000, interface, frame);
}

/* Two seconds of two engine buses, both with an engine of source address 0, and an NMEA 2000
 * bus. */
static void add_three_buses(void)
{
    text.length = 0;
    for (unsigned ms = 0; ms < 2000; ms += 20) {
        add_frame(ms, "can0", "0CF00400#F07D7DA04B00FFFF");
        add_frame(ms + 1, "can1", "0CF00400#F07D7DB04B00FFFF");
        if (ms % 100 == 0)
            add_frame(ms + 2, "can2", "09F20023#009A0B170000FFFF");
        if (ms % 1000 == 0) {
            add_frame(ms + 3, "can0", "18FEEE00#7B5AA02DFFFFFFFF");
            add_frame(ms + 4, "can1", "18FEEE00#7C5AA02DFFFFFFFF");
            add_frame(ms + 5, "can2", "123#0102");
        }
    }
    stage_write(stage_path("buses.log"), text.bytes, text.length);
}

/* The number of instants of that message from that source, input and engine; 0 if there is none. */
static size_t instants(const struct run *run, const char *message, const char *source,
                       unsigned input, unsigned engine)
{
    for (size_t i = 0; i < run_stream_count(run); i++) {
        const struct stream *stream = run_stream(run, i);
        const struct origin *origin = &stream->origin;
        if (strcmp(origin->message, message) == 0 && strcmp(origin->source, source) == 0 &&
            origin->place == PLACE_ENGINE && origin->input == input && origin->instance == engine)
            return stream->count;
    }
    return 0;
}

/* Each interface is an input; without more words both engines are number 0, but kept apart. */
static void test_buses_are_kept_apart(void **state)
{
    (void)state;
    add_three_buses();
    stage_expect(
        start_logger("--replay", stage_path("buses.log"), "--output", stage_path("apart.h5")), 0);
    struct run *run = stage_open_run(stage_path("apart.h5"));
    assert_int_equal(run_input_count(run), 3);
    assert_string_equal(run_input_at(run, 2)->label, "can2");
    assert_int_equal(instants(run, "EEC1", "0", 0, 0), 100);
    assert_int_equal(instants(run, "EEC1", "0", 1, 0), 100);
    assert_int_equal(instants(run, "ET1", "0", 1, 0), 2);
    assert_int_equal(instants(run, "127488", "35", 2, 0), 20);
    assert_int_equal(stage_tally(run, 0, REASON_FRAMES), 102);
    assert_int_equal(stage_tally(run, 2, REASON_FRAME_11_BIT), 2);
    run_close(run);
}

/* The configuration says which engine is on which bus, and what bus it is. */
static void test_engines_of_two_buses(void **state)
{
    (void)state;
    add_three_buses();
    stage_expect(start_logger("--replay", stage_path("buses.log"), "--output",
                              stage_path("engines.h5"), "--input", "can0=can:can0,j1939", "--input",
                              "can1=can:can1,j1939,engine=1", "--input", "can2=can:can2,j1939"),
                 0);
    struct run *run = stage_open_run(stage_path("engines.h5"));
    assert_int_equal(instants(run, "EEC1", "0", 0, 0), 100);
    assert_int_equal(instants(run, "EEC1", "0", 1, 1), 100);
    assert_int_equal(instants(run, "ET1", "0", 1, 1), 2);
    assert_int_equal(instants(run, "127488", "35", 2, 0), 0); /* it is told to be no such bus */
    assert_int_equal(stage_tally(run, 2, REASON_NOT_OURS), 20);
    assert_string_equal(run_input_at(run, 1)->text, "can:can1,j1939,engine=1");
    run_close(run);
}

/* Raw frames of a run are a capture of ours; replayed they give the same run, options and all. */
static void test_raw_frames_give_the_run_again(void **state)
{
    (void)state;
    stage_export(stage_path("engines.h5"), stage_path("engines.txt"));
    stage_expect(
        start_logger("--replay", stage_path("engines.txt"), "--output", stage_path("again.h5")), 0);
    stage_same_run(stage_path("engines.h5"), stage_path("again.h5"));
}

/* What cannot be meant is refused with words. */
static void test_texts_of_inputs(void **state)
{
    (void)state;
    static const struct {
        const char *text, *words;
    } cases[] = {
        {"can:", "must name its interface"},
        {"can:can0,can", "is not an option of a CAN input"},
        {"can:can0,engine=", "is not an option of a CAN input"},
        {"can:can0,engine=251", "is not an option of a CAN input"},
        {"can:can0,engine=-1", "is not an option of a CAN input"},
        {"can:a name that is far too long", "must name its interface"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        stage_expect_words(start_logger("--check-config", "--input", cases[i].text), 2,
                           cases[i].words);
    stage_expect(start_logger("--check-config", "--input", "can:can0,nmea2000", "--input",
                              "can:slcan0,j1939,engine=250"),
                 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_buses_are_kept_apart),
        cmocka_unit_test(test_engines_of_two_buses),
        cmocka_unit_test(test_raw_frames_give_the_run_again),
        cmocka_unit_test(test_texts_of_inputs),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
