/* test_compare.c - from run files to an answer: whole comparisons of the boat model's runs, and
 * what happens when something is missing, doubled, swapped or broken. */
#include "run_support.h"

#include <math.h>
#include <sys/types.h>
#include <sha256.h>

#include "../../analyze/compare.h"
#include "../simulated/family.h"
#include "../simulated/model_facts.h"
#include "../simulated/writers.h"
#include "near.h"

/* --- runs written for the purpose */

/* One run in few words; what is 0 or NULL is plain. */
struct wanted {
    const char *name;
    double sea;        /* degC; 0: no sea sensor */
    double second_sea; /* degC of a second sensor; 0: none */
    double hotter;     /* K added to the coolant at every speed */
    double speed_up;   /* rpm added to every step of the ladder */
    bool no_speed, no_coolant, shaft_only, second_engine, still_second_sea, nominal;
    const char *facts[12]; /* section key value, "engine.thermostat", "71,82", ... */
    const struct run_input *inputs;
    void (*more)(struct run_writer *run); /* something odd */
};

static void set_facts(struct facts *facts, const char *const *words)
{
    struct complaint complaint = {""};
    for (size_t i = 0; words[i]; i += 2) {
        const char *key = strchr(words[i], '.') + 1;
        enum fact_section section = words[i][0] == 'b'   ? FACT_BOAT
                                    : words[i][0] == 'e' ? FACT_ENGINE
                                                         : FACT_RUN;
        if (facts_set(facts, section, 0, key, words[i + 1], &complaint))
            fail_msg("%s", complaint.text);
    }
}

/* A ladder of six speeds, five minutes each, one reading of everything a second. */
static void write_ladder(struct run_writer *run, const struct wanted *w, unsigned engine)
{
    static const double speeds[] = {1000, 1400, 1800, 2200, 2500, 2800};
    static const double coolant[] = {73, 74.5, 77, 80, 82.5, 88};
    struct origin rpm = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, engine, "127488", "35", "");
    struct origin heat = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, engine, "127489", "35", "");
    for (int s = 0; s < 1800; s++) {
        int64_t at = s * NS_PER_S;
        double wave = sin(0.05 * s) + 0.3 * sin(1.7 * s);
        double speed = speeds[s / 300] + w->speed_up + 3 * wave;
        if (!w->no_speed)
            put_value(run, at, &rpm, w->shaft_only ? CHANNEL_SHAFT_SPEED : CHANNEL_ENGINE_SPEED,
                      w->shaft_only ? 0.5 * speed : speed);
        if (!w->no_coolant)
            put_value(run, at, &heat, CHANNEL_COOLANT_TEMPERATURE,
                      coolant[s / 300] + w->hotter + 0.05 * wave);
    }
}

static void write_sea(struct run_writer *run, const char *message, const char *source, double sea,
                      bool still)
{
    struct origin origin = make_origin(PROTOCOL_NMEA2000, PLACE_VESSEL, 0, message, source, "sea");
    for (int s = 0; s < 1800; s += 2)
        put_value(run, s * NS_PER_S, &origin, CHANNEL_SEA_TEMPERATURE,
                  still ? sea : sea + 0.02 * sin(0.1 * s));
}

static const char *record_run(const struct wanted *w)
{
    const char *path = in_folder(w->name);
    struct facts facts = {0};
    set_facts(&facts, w->facts);
    struct run_start start = {.path = path,
                              .start_unix_us = START_US,
                              .clock = CLOCK_GNSS,
                              .facts = &facts,
                              .inputs = &one_input,
                              .input_count = 1,
                              .software = "test 1"};
    struct run_writer *run;
    struct complaint complaint = {""};
    if (run_write_open(&start, &run, &complaint))
        fail_msg("%s", complaint.text);
    write_ladder(run, w, 0);
    if (w->second_engine)
        write_ladder(run, w, 1);
    if (w->sea > 0)
        write_sea(run, "130312", "37", w->sea, false);
    if (w->second_sea > 0)
        write_sea(run, "130316", "40", w->second_sea, w->still_second_sea);
    if (w->more)
        w->more(run);
    finish(run, 1800 * NS_PER_S, NULL);
    facts_free(&facts);
    return path;
}

/* --- asking */

struct asked {
    struct compare_options options;
    char *before[4], *after[4];
    char path[8][1024];
    size_t paths;
    struct answer answer;
    struct complaint complaint;
    enum status status;
};

static char *keep(struct asked *a, const char *path)
{
    snprintf(a->path[a->paths], sizeof a->path[0], "%s", path);
    return a->path[a->paths++];
}

static void also_before(struct asked *a, const char *path)
{
    a->before[a->options.before_count++] = keep(a, path);
}

static void ask(struct asked *a, const char *before, const char *after)
{
    a->paths = 0;
    compare_options_default(&a->options);
    a->options.before = a->before;
    a->options.after = a->after;
    also_before(a, before);
    a->after[a->options.after_count++] = keep(a, after);
}

static const struct answer *compare(struct asked *a)
{
    a->complaint.text[0] = '\0';
    a->status = compare_runs(&a->options, &a->answer, &a->complaint);
    if (a->status)
        print_message("%s\n", a->complaint.text);
    return &a->answer;
}

static const struct warning *warning_of(const struct answer *answer, const char *key)
{
    for (size_t i = 0; i < answer->warning_count; i++)
        if (strcmp(answer->warnings[i].key, key) == 0)
            return &answer->warnings[i];
    return NULL;
}

static void must_warn(const struct answer *answer, const char *key, const char *words)
{
    const struct warning *warning = warning_of(answer, key);
    if (!warning)
        fail_msg("no warning \"%s\"", key);
    else
        must_say(warning->text, words);
}

static void must_not_warn(const struct answer *answer, const char *key)
{
    const struct warning *warning = warning_of(answer, key);
    if (warning)
        fail_msg("unwanted: %s", warning->text);
}

#define PLATE "engine.thermostat", "71,82"

static const struct wanted plain_before = {
    .name = "plain-before.h5", .sea = 18, .hotter = 2, .facts = {PLATE, "run.purpose", "before"}};
static const struct wanted plain_after = {
    .name = "plain-after.h5", .sea = 18, .facts = {PLATE, "run.purpose", "after"}};

static const char *plain(enum side side)
{
    const struct wanted *w = side == SIDE_BEFORE ? &plain_before : &plain_after;
    return file_is_there(in_folder(w->name)) ? in_folder(w->name) : record_run(w);
}

/* --- plain */

static void a_plain_comparison(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    assert_int_equal(answer->run_count, 2);
    assert_int_equal(answer->engine_count, 1);
    const struct engine_answer *engine = &answer->engines[0];
    assert_int_equal(engine->hold_count, 12);
    for (size_t i = 0; i < 12; i++) {
        assert_int_equal(engine->holds[i].refusal, REFUSAL_NONE);
        assert_int_equal(engine->holds[i].run, i / 6);
        assert_int_equal(engine->holds[i].side, i < 6 ? SIDE_BEFORE : SIDE_AFTER);
    }
    assert_int_equal(engine->band_count, 6);
    assert_near(engine->bands[5].rpm, 2800, 0);
    assert_near(engine->bands[5].change.value, -2, 0.5);
    assert_int_equal(engine->uncompared_count, 0);
    assert_near(answer->reference_sea, 18, 1e-9);
    assert_string_equal(answer->reference_from, "mean of both runs");
    assert_string_equal(engine->thermostat_from, "run file");
    assert_int_equal(answer->warnings_left_out, 0);
    must_not_warn(answer, "same_run");
    must_not_warn(answer, "purpose");
    must_not_warn(answer, "sources_disagree");
    must_not_warn(answer, "outliers");
    must_not_warn(answer, "silences");
    answer_free(&a.answer);
}

static void runs_are_described(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    const struct answer *answer = compare(&a);
    const struct run_summary *run = &answer->runs[1];
    char hex[65];
    assert_non_null(SHA256File(plain(SIDE_AFTER), hex));
    assert_string_equal(run->sha256, hex);
    assert_string_equal(run->name, "plain-after.h5");
    assert_string_equal(run->clock, "gnss");
    assert_string_equal(run->software, "test 1");
    assert_near(run->sea_mean, 18, 0.01);
    assert_true(isnan(run->air_mean));
    assert_near(run->duration, 1800, 0);
    assert_true(run->closed_cleanly && !run->rebuilt);
    assert_string_equal(facts_get(run->facts, FACT_RUN, 0, "purpose"), "after service");
    assert_int_equal(run->trace_count, 1);
    assert_int_equal(run->traces[0].rpm.count, 1800);
    assert_int_equal(run->traces[0].sea.count, 900);
    must_say(answer->options, "confidence level: 0.95");
    must_say(answer->options, "seed: 1");
    answer_free(&a.answer);
}

static void sources_and_cleaning_are_told(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    const struct answer *answer = compare(&a);
    size_t coolant = 0, sea = 0;
    for (size_t i = 0; i < answer->choice_count; i++) {
        const struct choice *choice = &answer->choices[i];
        if (choice->channel == CHANNEL_COOLANT_TEMPERATURE) {
            assert_string_equal(choice->chosen, "127489 from 35");
            assert_int_equal(choice->engine, 0);
            assert_int_equal(choice->candidates, 1);
            coolant++;
        }
        if (choice->channel == CHANNEL_SEA_TEMPERATURE) {
            assert_string_equal(choice->chosen, "130312 sea from 37");
            assert_int_equal(choice->engine, -1);
            sea++;
        }
    }
    assert_int_equal(coolant, 2);
    assert_int_equal(sea, 2);
    assert_int_equal(answer->cleaned_count, 6);
    for (size_t i = 0; i < 6; i++)
        assert_int_equal(answer->cleaned[i].samples,
                         answer->cleaned[i].channel == CHANNEL_SEA_TEMPERATURE ? 900 : 1800);
    answer_free(&a.answer);
}

static void same_files_give_the_same_answer(void **state)
{
    (void)state;
    struct asked a, b;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    ask(&b, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    compare(&a);
    compare(&b);
    const struct engine_answer *x = &a.answer.engines[0], *y = &b.answer.engines[0];
    assert_string_equal(x->sentence, y->sentence);
    assert_memory_equal(&x->open_rise_ratio, &y->open_rise_ratio, sizeof x->open_rise_ratio);
    answer_free(&a.answer);
    answer_free(&b.answer);
}

/* --- files that are none, or none that will do */

static void a_file_that_is_no_run(void **state)
{
    (void)state;
    const char *path = in_folder("notes.txt");
    write_bytes(path, "cooling was bad\n", 16);
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), path);
    compare(&a);
    assert_int_not_equal(a.status, STATUS_OK);
    must_say(a.complaint.text, "notes.txt");
    answer_free(&a.answer);
    ask(&a, in_folder("nowhere.h5"), plain(SIDE_AFTER));
    compare(&a);
    assert_int_not_equal(a.status, STATUS_OK);
    must_say(a.complaint.text, "nowhere.h5");
    answer_free(&a.answer);
}

static void the_same_run_on_both_sides(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_BEFORE));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    must_warn(answer, "same_run", "the same run");
    must_warn(answer, "purpose", "after");
    answer_free(&a.answer);
}

static void a_file_given_twice_counts_once(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    also_before(&a, plain(SIDE_BEFORE));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    assert_int_equal(answer->run_count, 2);
    assert_int_equal(answer->engines[0].hold_count, 12);
    must_warn(answer, "repeated_file", "counts once");
    answer_free(&a.answer);
}

static void several_runs_on_a_side(void **state)
{
    (void)state;
    struct wanted second = {.name = "second-before.h5", .sea = 17, .hotter = 2.1, .facts = {PLATE}};
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    also_before(&a, record_run(&second));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    assert_int_equal(answer->run_count, 3);
    assert_int_equal(answer->runs[1].side, SIDE_BEFORE);
    assert_int_equal(answer->runs[2].side, SIDE_AFTER);
    assert_int_equal(answer->engines[0].hold_count, 18);
    assert_int_equal(answer->engines[0].holds[17].run, 2);
    assert_int_equal(answer->engines[0].bands[0].side[SIDE_BEFORE].holds, 2);
    assert_near(answer->reference_sea, 0.5 * (17.5 + 18), 0.051);
    must_warn(answer, "load_assumed", "no number of runs tells apart from it.");
    answer_free(&a.answer);
}

/* --- what is missing */

static void expect_missing(const struct wanted *after, const char *warning, const char *words)
{
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), record_run(after));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    assert_int_equal(answer->engine_count, 1);
    const struct engine_answer *engine = &answer->engines[0];
    assert_int_equal(engine->finding, FINDING_CANNOT_BE_SHOWN);
    assert_int_equal(engine->band_count, 0);
    must_say(engine->sentence, words);
    must_say(engine->sentence, "after the service");
    must_say(engine->next, "Record");
    if (warning)
        must_warn(answer, warning, after->name);
    answer_free(&a.answer);
}

static void a_run_without_speed(void **state)
{
    (void)state;
    struct wanted w = {.name = "no-speed.h5", .sea = 18, .no_speed = true};
    expect_missing(&w, "no_speed", "engine speed");
}

static void a_run_without_coolant(void **state)
{
    (void)state;
    struct wanted w = {.name = "no-coolant.h5", .sea = 18, .no_coolant = true};
    expect_missing(&w, "no_coolant", "coolant temperature");
}

static void a_run_without_sea(void **state)
{
    (void)state;
    struct wanted w = {.name = "no-sea.h5"};
    expect_missing(&w, "no_sea", "sea temperature");
}

static void a_run_of_the_shaft_only(void **state)
{
    (void)state;
    struct wanted w = {.name = "shaft.h5", .sea = 18, .shaft_only = true};
    expect_missing(&w, "no_speed", "engine speed");
}

static void a_run_of_nothing(void **state)
{
    (void)state;
    struct wanted w = {.name = "nothing.h5", .no_speed = true, .no_coolant = true};
    const char *path = record_run(&w);
    struct asked a;
    ask(&a, path, path);
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    assert_int_equal(answer->engine_count, 0);
    must_warn(answer, "no_engine", "nothing to compare");
    answer_free(&a.answer);
    ask(&a, plain(SIDE_BEFORE), path);
    answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    must_warn(answer, "one_side_only", "after");
    answer_free(&a.answer);
}

/* Shaft speed on both sides will do, and is said. */
static void shaft_speed_stands_in(void **state)
{
    (void)state;
    struct wanted before = {.name = "shaft-before.h5",
                            .sea = 18,
                            .hotter = 2,
                            .shaft_only = true,
                            .facts = {"engine.rated_rpm", "2800"}};
    struct wanted after = {.name = "shaft-after.h5", .sea = 18, .shaft_only = true};
    struct asked a;
    const char *path = record_run(&before);
    ask(&a, path, record_run(&after));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    must_warn(answer, "shaft_speed_used", "shaft");
    assert_int_equal(answer->engines[0].band_count, 6);
    assert_near(answer->engines[0].bands[5].rpm, 1400, 0);
    assert_true(isnan(answer->engines[0].rated_rpm)); /* the engine's, not the shaft's */
    answer_free(&a.answer);
}

static void no_speed_in_common(void **state)
{
    (void)state;
    struct wanted w = {.name = "other-speeds.h5", .sea = 18, .speed_up = 150, .facts = {PLATE}};
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), record_run(&w));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    const struct engine_answer *engine = &answer->engines[0];
    assert_int_equal(engine->finding, FINDING_CANNOT_BE_SHOWN);
    assert_int_equal(engine->band_count, 0);
    assert_int_equal(engine->uncompared_count, 12);
    assert_true(engine->next[0] != '\0');
    for (size_t i = 0; i < engine->hold_count; i++)
        assert_int_equal(engine->holds[i].refusal, REFUSAL_NOT_SHARED);
    answer_free(&a.answer);
}

static void sea_typed_in(void **state)
{
    (void)state;
    struct wanted w = {.name = "typed-sea.h5", .facts = {PLATE, "run.sea_temperature", "17.5"}};
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), record_run(&w));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    assert_int_equal(answer->engines[0].band_count, 6);
    assert_near(answer->engines[0].bands[0].side[SIDE_AFTER].sea, 17.5, 1e-9);
    must_warn(answer, "sea_by_hand", "typed in");
    bool told = false;
    for (size_t i = 0; i < answer->choice_count; i++)
        told = told || strstr(answer->choices[i].chosen, "typed in: 17.5");
    assert_true(told);
    answer_free(&a.answer);
}

/* A sensor goes before what was typed in. */
static void a_sensor_goes_before_the_typed_sea(void **state)
{
    (void)state;
    struct wanted w = {
        .name = "both-seas.h5", .sea = 18, .facts = {PLATE, "run.sea_temperature", "12"}};
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), record_run(&w));
    const struct answer *answer = compare(&a);
    assert_near(answer->runs[1].sea_mean, 18, 0.01);
    must_not_warn(answer, "sea_by_hand");
    answer_free(&a.answer);
    ask(&a, plain(SIDE_BEFORE), in_folder("both-seas.h5")); /* ... unless wished otherwise */
    a.options.wishes[a.options.wish_count++] =
        (struct source_wish){CHANNEL_SEA_TEMPERATURE, "hand"};
    answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    assert_near(answer->runs[1].sea_mean, 12, 0);
    assert_near(answer->runs[0].sea_mean, 18, 0.01); /* nothing typed in: its sensor */
    answer_free(&a.answer);
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    a.options.wishes[a.options.wish_count++] =
        (struct source_wish){CHANNEL_SEA_TEMPERATURE, "hand"};
    compare(&a);
    assert_int_equal(a.status, STATUS_BAD_USAGE);
    answer_free(&a.answer);
}

static void one_side_is_no_comparison(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    a.options.after_count = 0;
    compare(&a);
    assert_int_equal(a.status, STATUS_BAD_USAGE);
    must_say(a.complaint.text, "one after");
    answer_free(&a.answer);
}

/* --- two engines */

static void an_engine_of_one_side_only(void **state)
{
    (void)state;
    struct wanted w = {.name = "twin-after.h5", .sea = 18, .second_engine = true, .facts = {PLATE}};
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), record_run(&w));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    assert_int_equal(answer->engine_count, 2);
    assert_int_equal(answer->engines[0].band_count, 6);
    assert_int_equal(answer->engines[1].finding, FINDING_CANNOT_BE_SHOWN);
    const struct warning *warning = warning_of(answer, "one_side_only");
    assert_non_null(warning);
    assert_int_equal(warning->engine, 1);
    must_say(warning->text, "before");
    answer_free(&a.answer);
}

/* Speed as engine 1, coolant as engine 0: one engine, counted from 1 and from 0. */
static void put_speed_of_engine_1(struct run_writer *run)
{
    struct wanted w = {.no_coolant = true};
    write_ladder(run, &w, 1);
}

static void halves_of_one_engine_are_joined(void **state)
{
    (void)state;
    struct wanted w = {.name = "halves.h5",
                       .sea = 18,
                       .no_speed = true,
                       .facts = {PLATE},
                       .more = put_speed_of_engine_1};
    struct wanted v = w;
    v.name = "halves-before.h5";
    v.hotter = 2;
    struct asked a;
    const char *before = record_run(&v);
    ask(&a, before, record_run(&w));
    const struct answer *answer = compare(&a);
    assert_int_equal(answer->engine_count, 1);
    assert_int_equal(answer->engines[0].band_count, 6);
    must_warn(answer, "engine_numbers", "taken for one");
    answer_free(&a.answer);
    ask(&a, plain(SIDE_BEFORE), in_folder("halves.h5")); /* engine 0 is whole in one of the runs */
    answer = compare(&a);
    assert_int_equal(answer->engine_count, 2);
    must_not_warn(answer, "engine_numbers");
    answer_free(&a.answer);
}

static void the_engine_left_alone_must_be_there(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    a.options.control_engine = 3;
    compare(&a);
    assert_int_equal(a.status, STATUS_BAD_USAGE);
    must_say(a.complaint.text, "engine 3");
    answer_free(&a.answer);
}

/* --- two seas */

static void two_sea_sensors_disagree(void **state)
{
    (void)state;
    struct wanted w = {.name = "two-seas.h5", .sea = 18, .second_sea = 19.5, .facts = {PLATE}};
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), record_run(&w));
    const struct answer *answer = compare(&a);
    must_warn(answer, "sources_disagree", "1.5 K");
    must_warn(answer, "sources_disagree", "130316 sea from 40");
    assert_near(answer->runs[1].sea_mean, 18, 0.01); /* the one both runs have */
    answer_free(&a.answer);
}

static void a_wish_is_granted(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), in_folder("two-seas.h5"));
    a.options.wishes[a.options.wish_count++] =
        (struct source_wish){CHANNEL_SEA_TEMPERATURE, "130316"};
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    assert_near(answer->runs[1].sea_mean, 19.5, 0.01);
    assert_near(answer->runs[0].sea_mean, 18, 0.01); /* has no such source: its own */
    must_warn(answer, "source_differs", "130316");
    must_say(answer->options, "source of sea_temperature: 130316");
    answer_free(&a.answer);
}

static void a_wish_for_nothing_is_told(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    a.options.wishes[a.options.wish_count++] = (struct source_wish){CHANNEL_SEA_TEMPERATURE, "999"};
    compare(&a);
    assert_int_equal(a.status, STATUS_BAD_USAGE);
    must_say(a.complaint.text, "130312 sea from 37");
    answer_free(&a.answer);
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    a.options.wishes[a.options.wish_count++] = (struct source_wish){CHANNEL_DEPTH, "DPT"};
    compare(&a);
    assert_int_equal(a.status, STATUS_BAD_USAGE);
    must_say(a.complaint.text, "depth");
    answer_free(&a.answer);
}

/* --- facts */

static void options_go_before_facts(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), plain(SIDE_AFTER));
    a.options.thermostat_start = 70;
    a.options.thermostat_full = 80;
    a.options.reference_sea = 20;
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    assert_string_equal(answer->engines[0].thermostat_from, "given");
    assert_near(answer->reference_sea, 20, 0);
    assert_string_equal(answer->reference_from, "given");
    answer_free(&a.answer);
}

static void facts_that_differ(void **state)
{
    (void)state;
    struct wanted w = {.name = "other-facts.h5",
                       .sea = 18,
                       .facts = {"engine.thermostat", "76,87", "engine.rated_rpm", "2800",
                                 "engine.label", "main", "engine.coolant_sender", "new one",
                                 "engine.propeller", "four blades, 22 x 21"}};
    struct wanted v = {.name = "these-facts.h5",
                       .sea = 18,
                       .facts = {PLATE, "engine.rated_rpm", "2600", "engine.coolant_sender", "old",
                                 "engine.normal_band", "70,85", "engine.propeller",
                                 "four blades, 22 x 20"}};
    const char *before = record_run(&v);
    struct asked a;
    ask(&a, before, record_run(&w));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    must_warn(answer, "thermostat_differs", "5.0 K");
    must_warn(answer, "facts_differ", "2600");
    must_warn(answer, "sender_exchanged", "new one");
    const struct engine_answer *engine = &answer->engines[0];
    assert_string_equal(engine->label, "main");
    assert_true(engine->propeller_changed);
    assert_near(engine->rated_rpm, 2600, 0);
    assert_near(engine->normal_high, 85, 0);
    assert_true(isnan(engine->alarm));
    bool budgeted = false;
    for (size_t i = 0; i < engine->budget_count; i++)
        budgeted = budgeted || strcmp(engine->budget[i].key, "sender") == 0;
    assert_true(budgeted);
    answer_free(&a.answer);
}

/* Another spelling is no other sender, and costs nothing. */
static void words_that_are_spelt_otherwise(void **state)
{
    (void)state;
    struct wanted w = {.name = "spelt-a.h5",
                       .sea = 18,
                       .facts = {PLATE, "engine.coolant_sender", "Housing, as fitted",
                                 "engine.propeller", "4 blades, 22 x 20"}};
    struct wanted v = {.name = "spelt-b.h5",
                       .sea = 18,
                       .facts = {PLATE, "engine.coolant_sender", "housing as-fitted",
                                 "engine.propeller", "4 Blades 22x20"}};
    struct asked a;
    const char *before = record_run(&w);
    ask(&a, before, record_run(&v));
    const struct answer *answer = compare(&a);
    assert_int_equal(a.status, STATUS_OK);
    for (size_t i = 0; i < answer->warning_count; i++) {
        assert_string_not_equal(answer->warnings[i].key, "sender_exchanged");
        assert_string_not_equal(answer->warnings[i].key, "propeller_differs");
    }
    assert_false(answer->engines[0].propeller_changed);
    for (size_t i = 0; i < answer->engines[0].budget_count; i++)
        assert_string_not_equal(answer->engines[0].budget[i].key, "sender");
    answer_free(&a.answer);
}

/* --- refused holds explain what could not be compared */

static void put_in_neutral(struct run_writer *run)
{
    struct origin gear = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 0, "127493", "35", "");
    for (int s = 0; s < 1800; s++)
        put_value(run, s * NS_PER_S, &gear, CHANNEL_TRANSMISSION_GEAR,
                  s >= 900 && s < 1200 ? 0 : 1);
}

static void refusals_explain_what_is_uncompared(void **state)
{
    (void)state;
    struct wanted w = {.name = "neutral.h5", .sea = 18, .facts = {PLATE}, .more = put_in_neutral};
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), record_run(&w));
    const struct answer *answer = compare(&a);
    const struct engine_answer *engine = &answer->engines[0];
    assert_int_equal(engine->holds[9].refusal, REFUSAL_IDLE);
    assert_int_equal(engine->band_count, 5);
    assert_int_equal(engine->uncompared_count, 1);
    assert_near(engine->uncompared[0].rpm, 2200, 0);
    assert_int_equal(engine->uncompared[0].missing, SIDE_AFTER);
    must_say(engine->uncompared[0].reason, "idling or in neutral");
    answer_free(&a.answer);
}

/* Two inputs silent at the same time, and one later: what is missing counts once. */
static void leave_gaps(struct run_writer *run)
{
    assert_int_equal(run_write_gap(run, 100 * NS_PER_S, 130 * NS_PER_S, 0, "unplugged", 3),
                     STATUS_OK);
    assert_int_equal(run_write_gap(run, 110 * NS_PER_S, 140 * NS_PER_S, 0, "unplugged", 4),
                     STATUS_OK);
    assert_int_equal(run_write_gap(run, 500 * NS_PER_S, 510 * NS_PER_S, 0, "unplugged", 0),
                     STATUS_OK);
}

static void gaps_are_added_up(void **state)
{
    (void)state;
    struct wanted w = {.name = "gaps.h5", .sea = 18, .facts = {PLATE}, .more = leave_gaps};
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), record_run(&w));
    const struct answer *answer = compare(&a);
    assert_int_equal(answer->runs[1].gap_count, 3);
    assert_near(answer->runs[1].gap_seconds, 50, 1e-6);
    assert_int_equal(answer->runs[1].lost, 7);
    must_warn(answer, "gaps", "50 s");
    answer_free(&a.answer);
}

/* Marks set during the run part two speeds that are too near to be told apart without them. */
static void put_mark(struct run_writer *run)
{
    struct origin rpm = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 0, "127488", "35", "");
    struct origin heat = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 0, "127489", "35", "");
    for (int s = 0; s < 1800; s++) {
        put_value(run, s * NS_PER_S, &rpm, CHANNEL_ENGINE_SPEED, s < 900 ? 2000 : 2025);
        put_value(run, s * NS_PER_S, &heat, CHANNEL_COOLANT_TEMPERATURE, 78 + 0.1 * (s % 3));
    }
    assert_int_equal(run_write_event(run, 900 * NS_PER_S, NULL, "mark", "2025 now"), STATUS_OK);
}

static void marks_are_read_from_the_file(void **state)
{
    (void)state;
    struct wanted w = {.name = "marks.h5",
                       .sea = 18,
                       .no_speed = true,
                       .no_coolant = true,
                       .facts = {PLATE},
                       .more = put_mark};
    struct asked a;
    ask(&a, plain(SIDE_BEFORE), record_run(&w));
    const struct answer *answer = compare(&a);
    assert_int_equal(answer->engines[0].hold_count, 6 + 2);
    assert_near(answer->engines[0].holds[7].start, 900, 0);
    answer_free(&a.answer);
}

/* --- whatever is in a run, it is compared or said why not */

static void put_chance(struct run_writer *run)
{
    static const enum channel_id channels[] = {
        CHANNEL_ENGINE_SPEED,    CHANNEL_SHAFT_SPEED,       CHANNEL_COOLANT_TEMPERATURE,
        CHANNEL_SEA_TEMPERATURE, CHANNEL_RAW_WATER_IN,      CHANNEL_RAW_WATER_OUT,
        CHANNEL_FUEL_RATE,       CHANNEL_TRANSMISSION_GEAR, CHANNEL_SPEED_OVER_GROUND,
        CHANNEL_OIL_TEMPERATURE, CHANNEL_ENGINE_LOAD,       CHANNEL_TRANSDUCER_TEMPERATURE};
    size_t streams = 1 + chance_below(12);
    for (size_t i = 0; i < streams; i++) {
        enum channel_id channel = channels[chance_below(ARRAY_COUNT(channels))];
        const struct channel *row = channel_get(channel);
        char source[8];
        snprintf(source, sizeof source, "%zu", i);
        struct origin origin =
            make_origin(PROTOCOL_NMEA2000, chance_below(4) ? PLACE_ENGINE : PLACE_VESSEL,
                        chance_below(2) * chance_below(3), "65280", source, "");
        double at = chance_below(100),
               level = row->low + (row->high - row->low) * 0.01 * chance_below(101);
        size_t readings = chance_below(3000);
        for (size_t k = 0; k < readings; k++) {
            at += chance_below(200) ? 0.01 * chance_below(200) : chance_below(400);
            if (chance_below(300) == 0)
                at = fmax(0, at - chance_below(60)); /* time stamps that go back */
            if (chance_below(300) == 0)
                level = row->low + (row->high - row->low) * 0.01 * chance_below(101);
            double value = level + row->step * chance_below(5);
            put_value(run, (int64_t)(at * NS_PER_S), &origin, channel,
                      fmin(row->high, fmax(row->low, value)));
        }
    }
}

static void runs_of_chance_do_no_harm(void **state)
{
    (void)state;
    seed_chance("runs of chance");
    for (int i = 0; i < 40; i++) {
        struct wanted before = {.name = "chance-before.h5",
                                .no_speed = chance_below(2) == 0,
                                .no_coolant = chance_below(2) == 0,
                                .sea = chance_below(2) ? 18 : 0,
                                .more = put_chance};
        struct wanted after = before;
        struct asked a;
        after.name = "chance-after.h5";
        remove(in_folder(before.name));
        remove(in_folder(after.name));
        const char *path = record_run(&before);
        ask(&a, path, record_run(&after));
        const struct answer *answer = compare(&a);
        assert_int_equal(a.status, STATUS_OK);
        for (size_t e = 0; e < answer->engine_count; e++) {
            const struct engine_answer *engine = &answer->engines[e];
            assert_true(engine->sentence[0] != '\0');
            for (size_t h = 0; h < engine->hold_count; h++)
                if (engine->holds[h].refusal == REFUSAL_NONE)
                    assert_false(isnan(engine->holds[h].coolant) || isnan(engine->holds[h].sea));
        }
        answer_free(&a.answer);
    }
}

/* --- the boat model: a known change is found, by the whole path */

static void model_pair(const char *family, double *change, double *truth, struct asked *a)
{
    struct family_pair pair;
    struct complaint complaint = {""};
    family_draw(family_find(family), 5, 0, &pair);
    const char *paths[FAMILY_SIDES] = {in_folder("model-before.h5"), in_folder("model-after.h5")};
    for (int side = 0; side < FAMILY_SIDES; side++) {
        struct facts facts = {0};
        remove(paths[side]);
        enum status status =
            model_facts(&pair.run[side][0], side == 0 ? "before" : "after", &facts, &complaint);
        if (!status)
            status = write_run(&pair.run[side][0], pair.family->flavour, &facts, paths[side], NULL,
                               &complaint);
        if (status)
            fail_msg("%s", complaint.text);
        facts_free(&facts);
    }
    ask(a, paths[0], paths[1]);
    compare(a);
    assert_int_equal(a->status, STATUS_OK);
    const struct engine_answer *engine = &a->answer.engines[0];
    assert_true(engine->band_count > 0);
    const struct band *top = &engine->bands[engine->band_count - 1];
    *change = top->change.value;
    *truth = family_true_change(&pair, top->rpm, a->answer.reference_sea);
}

static void the_model_is_read_right(void **state)
{
    (void)state;
    static const char *const keys[] = {"none-same", "cured-same", "cured-down"};
    for (size_t i = 0; i < 3; i++) {
        struct asked a;
        double change, truth;
        model_pair(keys[i], &change, &truth, &a);
        assert_near(change, truth, 4); /* one pair: the coverage bench tells how often */
        assert_int_equal(a.answer.engines[0].band_count, 6);
        assert_int_equal(a.answer.engines[0].finding,
                         i == 0 ? FINDING_NO_CHANGE_SHOWN : FINDING_LOWERED);
        answer_free(&a.answer);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plain_comparison),
        cmocka_unit_test(runs_are_described),
        cmocka_unit_test(sources_and_cleaning_are_told),
        cmocka_unit_test(same_files_give_the_same_answer),
        cmocka_unit_test(a_file_that_is_no_run),
        cmocka_unit_test(the_same_run_on_both_sides),
        cmocka_unit_test(a_file_given_twice_counts_once),
        cmocka_unit_test(several_runs_on_a_side),
        cmocka_unit_test(a_run_without_speed),
        cmocka_unit_test(a_run_without_coolant),
        cmocka_unit_test(a_run_without_sea),
        cmocka_unit_test(a_run_of_the_shaft_only),
        cmocka_unit_test(a_run_of_nothing),
        cmocka_unit_test(shaft_speed_stands_in),
        cmocka_unit_test(no_speed_in_common),
        cmocka_unit_test(sea_typed_in),
        cmocka_unit_test(a_sensor_goes_before_the_typed_sea),
        cmocka_unit_test(one_side_is_no_comparison),
        cmocka_unit_test(an_engine_of_one_side_only),
        cmocka_unit_test(halves_of_one_engine_are_joined),
        cmocka_unit_test(the_engine_left_alone_must_be_there),
        cmocka_unit_test(two_sea_sensors_disagree),
        cmocka_unit_test(a_wish_is_granted),
        cmocka_unit_test(a_wish_for_nothing_is_told),
        cmocka_unit_test(options_go_before_facts),
        cmocka_unit_test(facts_that_differ),
        cmocka_unit_test(words_that_are_spelt_otherwise),
        cmocka_unit_test(refusals_explain_what_is_uncompared),
        cmocka_unit_test(gaps_are_added_up),
        cmocka_unit_test(marks_are_read_from_the_file),
        cmocka_unit_test(runs_of_chance_do_no_harm),
        cmocka_unit_test(the_model_is_read_right),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
