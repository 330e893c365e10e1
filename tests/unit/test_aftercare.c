/* test_aftercare.c - from run files and a service log to the sections of the report: heat cycles
 * and marks of a made run, work between the runs, and what cannot be read. */
#include "run_support.h"

#include <math.h>

#include "../../analyze/aftercare.h"
#include "../../analyze/compare.h"
#include "../../analyze/report.h"

#define TITLES "date,engine hours,engine,what was done,by,notes\n"

/* --- runs: START_US is 2024-05-01 10:00:00.25 UTC (run_support.h) */

/* Straight legs: s, degC at the end, rpm. */
struct leg {
    int seconds;
    double to, rpm;
};

static const struct leg before_legs[] = {
    {300, 75, 700}, {400, 80, 2000}, {400, 80.4, 2000}, {400, 86, 2600}, {400, 86.2, 2600}};
static const struct leg after_legs[] = {{500, 74, 700},  {100, 75, 700},   {1500, 40, 0},
                                        {500, 74, 700},  {400, 78, 2000},  {600, 78.2, 2000},
                                        {400, 83, 2600}, {600, 83.1, 2600}};

static int64_t write_legs(struct run_writer *run, const struct leg *legs, size_t count,
                          unsigned engine, double swing, int every)
{
    struct origin rpm = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, engine, "127488", "35", "");
    struct origin heat = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, engine, "127489", "35", "");
    double coolant = 22;
    int64_t at = 0;
    for (size_t i = 0; i < count; i++) {
        for (int s = 0; s < legs[i].seconds; s++, at++) {
            double wave = sin(0.05 * (double)at);
            double level = coolant + (legs[i].to - coolant) * s / legs[i].seconds;
            put_value(run, at * NS_PER_S, &rpm, CHANNEL_ENGINE_SPEED,
                      legs[i].rpm > 0 ? legs[i].rpm + 3 * wave : 0);
            if (at % every == 0)
                put_value(run, at * NS_PER_S, &heat, CHANNEL_COOLANT_TEMPERATURE,
                          level + 0.05 * wave + swing * ((at / 25) % 2 ? 1 : -1));
        }
        coolant = legs[i].to;
    }
    return at;
}

struct made_run {
    const char *name, *purpose;
    const struct leg *legs;
    size_t count;
    double swing; /* K, of the coolant at steady speed */
    bool twin;    /* the other engine idles cold */
    bool marks;
    int64_t days; /* after START_US */
    int every;    /* s between readings of the coolant */
};

static void put_marks(struct run_writer *run)
{
    static const struct {
        int64_t at;
        const char *key, *text;
    } events[] = {{20, "mark", "filled slowly, not bled yet"},
                  {60, "mark", "bled; cap on"},
                  {70, "fact", "service=no leaks"},
                  {90, "note", "no clamps checked yet"},
                  {2000, "mark", "topped up"}};
    for (size_t i = 0; i < sizeof events / sizeof events[0]; i++)
        assert_int_equal(
            run_write_event(run, events[i].at * NS_PER_S, NULL, events[i].key, events[i].text),
            STATUS_OK);
}

static void set(struct facts *facts, enum fact_section section, int engine, const char *key,
                const char *value)
{
    assert_int_equal(facts_set(facts, section, engine, key, value, NULL), STATUS_OK);
}

static const char *record(const struct made_run *made)
{
    const char *path = in_folder(made->name);
    struct facts facts = {0};
    struct complaint complaint = {""};
    set(&facts, FACT_BOAT, 0, "name", "Tern's Reach");
    set(&facts, FACT_RUN, 0, "purpose", made->purpose);
    set(&facts, FACT_RUN, 0, "who", "K. Marsh");
    set(&facts, FACT_ENGINE, 0, "label", "port");
    set(&facts, FACT_ENGINE, 0, "thermostat", "71, 82");
    set(&facts, FACT_ENGINE, 1, "label", "starboard");
    set(&facts, FACT_ENGINE, 1, "thermostat", "71, 82");
    int64_t start_us = START_US + made->days * INT64_C(86400000000);
    struct run_start start = {.path = path,
                              .start_unix_us = start_us,
                              .clock = CLOCK_GNSS,
                              .facts = &facts,
                              .inputs = &one_input,
                              .input_count = 1,
                              .software = "test 1"};
    struct run_writer *run;
    unlink(path);
    if (run_write_open(&start, &run, &complaint))
        fail_msg("%s", complaint.text);
    int64_t end = write_legs(run, made->legs, made->count, 0, made->swing, made->every);
    if (made->twin)
        write_legs(run, &(struct leg){(int)end, 30, 700}, 1, 1, 0, 1);
    struct origin sea = make_origin(PROTOCOL_NMEA2000, PLACE_VESSEL, 0, "130312", "37", "sea");
    for (int64_t s = 0; s < end; s += 2)
        put_value(run, s * NS_PER_S, &sea, CHANNEL_SEA_TEMPERATURE,
                  15 + 0.02 * sin(0.1 * (double)s));
    if (made->marks)
        put_marks(run);
    struct run_end ended = {
        .end = end * NS_PER_S, .start_unix_us = start_us, .clock = CLOCK_GNSS, .clean = true};
    if (run_write_close(run, &ended, &complaint))
        fail_msg("%s", complaint.text);
    facts_free(&facts);
    return path;
}

#define LEGS(list) (list), sizeof(list) / sizeof(list)[0]

static const struct made_run plain_before = {
    "before.h5", "before service", LEGS(before_legs), 0, false, false, 0, 1};
static const struct made_run plain_after = {
    "after.h5", "after service", LEGS(after_legs), 0, false, true, 2, 1};

/* --- comparing */

struct asked {
    char before[1024], after[1024], log[1024];
    struct compare_options options;
    struct answer answer;
    struct complaint complaint;
    struct text report;
};

static enum status compare(struct asked *a, const char *log)
{
    static char *paths[2];
    compare_options_default(&a->options);
    paths[0] = a->before;
    paths[1] = a->after;
    a->options.before = &paths[0];
    a->options.after = &paths[1];
    a->options.before_count = a->options.after_count = 1;
    if (log != NULL) {
        snprintf(a->log, sizeof a->log, "%s", in_folder("service-log.csv"));
        write_bytes(a->log, log, strlen(log));
        a->options.service_log = a->log;
    }
    a->complaint.text[0] = '\0';
    return compare_runs(&a->options, &a->answer, &a->complaint);
}

/* Compares two made runs and writes the whole report. */
static void ask(struct asked *a, const struct made_run *before, const struct made_run *after,
                const char *log, const struct style *style)
{
    struct document document = {0};
    struct drawing_list none = {0};
    memset(a, 0, sizeof *a);
    snprintf(a->before, sizeof a->before, "%s", record(before));
    snprintf(a->after, sizeof a->after, "%s", record(after));
    if (compare(a, log) != STATUS_OK)
        fail_msg("%s", a->complaint.text);
    struct report_input input = {.extent = REPORT_WHOLE,
                                 .answer = &a->answer,
                                 .style = style,
                                 .drawings = &none,
                                 .command = ""};
    assert_int_equal(report_build(&input, &document, &a->complaint), STATUS_OK);
    /* Cells are wrapped in a text: the words of the document itself are looked at. */
    for (size_t i = 0; i < document.count; i++) {
        const struct block *block = &document.blocks[i];
        if (block->words[0] != NULL)
            text_addf(&a->report, "%s\n", block->words[0]);
        for (size_t c = 0; block->table != NULL && c < block->table->cell_count; c++)
            text_addf(&a->report, "%s%s", block->table->cells[c],
                      (c + 1) % block->table->column_count == 0 ? "\n" : " | ");
    }
    document_free(&document);
}

static void drop(struct asked *a)
{
    answer_free(&a->answer);
    text_free(&a->report);
}

/* Narrow and plain blanks that may not be broken stand between numbers and units. */
static bool has(const struct asked *a, const char *words)
{
    struct text plain = {0};
    for (const char *at = text_string(&a->report); *at != '\0';) {
        unsigned code;
        size_t length = text_decode(at, &code);
        if (code == 0xA0 || code == 0x202F)
            text_add(&plain, " ");
        else
            text_add_bytes(&plain, at, length);
        at += length;
    }
    bool found = strstr(text_string(&plain), words) != NULL;
    text_free(&plain);
    return found;
}

static void says(const struct asked *a, const char *words)
{
    if (!has(a, words)) {
        fprintf(stderr, "%s", text_string(&a->report));
        fail_msg("\"%s\" is not in the report", words);
    }
}

static void says_not(const struct asked *a, const char *words)
{
    if (has(a, words))
        fail_msg("\"%s\" is in\n%s", words, text_string(&a->report));
}

static const struct warning *warning_of(const struct asked *a, const char *key)
{
    for (size_t i = 0; i < a->answer.warning_count; i++)
        if (strcmp(a->answer.warnings[i].key, key) == 0)
            return &a->answer.warnings[i];
    return NULL;
}

static const struct style si = {UNITS_SI, false}, us = {UNITS_US, false};

/* --- the checklist */

static void confirms_from_the_data(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, &plain_before, &plain_after, NULL, &si);
    assert_int_equal(aftercare_state(&a.answer, CHECK_WARMED), CHECK_CONFIRMED);
    assert_int_equal(aftercare_state(&a.answer, CHECK_COOLED), CHECK_CONFIRMED);
    assert_int_equal(aftercare_state(&a.answer, CHECK_WARMED_AGAIN), CHECK_CONFIRMED);
    assert_int_equal(aftercare_state(&a.answer, CHECK_HALF_HOUR), CHECK_CONFIRMED);
    /* 22 to 74 degC in 500 s passes 50 degC after 269 s and 70 degC after 462 s. */
    const struct warmups *seen = &a.answer.engines[0].warmups;
    assert_true(fabs(seen->list[0].cold.time - 269) < 3 &&
                fabs(seen->list[0].warm.time - 462) < 15);
    says(&a, "warm up | confirmed by the data | from 50");
    says(&a, "half an hour under way, warm | confirmed by the data | 33 min warm and under way");
    says(&a, "bleed the air out | ticked | marked 2024-05-03 10:01 UTC, run recorded by K. Marsh: "
             "\"bled\"; coolant steady in all");
    says(&a, "fill in coolant, slowly | ticked | marked 2024-05-03 10:00 UTC, run recorded by K. "
             "Marsh: \"filled slowly\"\n");
    says(&a, "pressure cap on | ticked | ");
    says(&a, "top up, engine cold | ticked | ");
    says(&a, "look at hoses and clamps for leaks | not recorded | said to be not done: marked "
             "2024-05-03 10:01 UTC, run recorded by K. Marsh: \"no clamps checked yet\"\n");
    says(&a, "and above for 10 s (where the thermostat begins to open), cold 50");
    drop(&a);
    ask(&a, &plain_before, &plain_after, NULL, &us);
    /* 50 degC; 70 degC is 158 degF. The seconds are no temperature. */
    says(&a, "from 122 °F (at 0:04:28) to 160 °F (at 0:07:47)");
    says(&a, ", cold 122");
    drop(&a);
}

static void never_invents(void **state)
{
    (void)state;
    struct made_run bare = plain_after;
    struct asked a;
    bare.marks = false;
    bare.legs = before_legs;
    bare.count = sizeof before_legs / sizeof before_legs[0];
    ask(&a, &plain_before, &bare, NULL, &si);
    for (int item = 0; item < CHECK_COUNT; item++)
        if (item != CHECK_WARMED)
            assert_int_equal(aftercare_state(&a.answer, (enum check_item)item), CHECK_NOT_RECORDED);
    says(&a, "warm up again | not recorded | no second warm-up from cold in the data");
    says(&a, "half an hour under way, warm | not recorded | 27 min warm and under way");
    drop(&a);
    bare.purpose = "other"; /* of no service: no checklist */
    ask(&a, &plain_before, &bare, NULL, &si);
    assert_false(aftercare_told(&a.answer));
    says_not(&a, "After the service");
    drop(&a);
}

/* Nothing can be estimated without a hold, but the thermostat stands among the facts. */
static void knows_the_thermostat_without_holds(void **state)
{
    (void)state;
    struct made_run idle = plain_after;
    struct asked a;
    idle.count = 1; /* idling only */
    ask(&a, &plain_before, &idle, NULL, &si);
    assert_int_equal(a.answer.engines[0].band_count, 0);
    says(&a, "warm is 70 °C and above for 10 s (where the thermostat begins to open)");
    says_not(&a, "rating is not known");
    drop(&a);
}

static void speaks_of_air(void **state)
{
    (void)state;
    struct made_run restless = plain_after;
    struct asked a;
    restless.swing = 2;
    ask(&a, &plain_before, &restless, NULL, &si);
    says(&a, "which may mean air");
    assert_int_equal(aftercare_state(&a.answer, CHECK_BLED), CHECK_TICKED);
    drop(&a);
}

static void seldom_read_coolant_speaks_of_nothing(void **state)
{
    (void)state;
    struct made_run seldom = plain_after;
    struct asked a;
    seldom.every = 20;
    ask(&a, &plain_before, &seldom, NULL, &si);
    says(&a, "\"bled\"; no steady hold, read often enough, in which air could show");
    assert_int_equal(aftercare_state(&a.answer, CHECK_WARMED_AGAIN), CHECK_CONFIRMED);
    drop(&a);
}

static void one_engine_does_not_stand_for_the_other(void **state)
{
    (void)state;
    struct made_run before = plain_before, after = plain_after;
    struct asked a;
    before.twin = after.twin = true;
    ask(&a, &before, &after, NULL, &si);
    assert_int_equal(aftercare_state(&a.answer, CHECK_WARMED), CHECK_NOT_RECORDED);
    says(&a, "warm up | not recorded | port: from 50");
    says(&a, "starboard: no warm-up from cold in the data");
    drop(&a);
}

static void remarks_count_after_marks(void **state)
{
    (void)state;
    struct asked a;
    char notes[1100];
    record(&plain_after);
    snprintf(notes, sizeof notes, "%s.notes", in_folder("after.h5"));
    static const char remarks[] = "cap-on=not on, found it in the bilge\ndone=leaks checked\n";
    write_bytes(notes, remarks, sizeof remarks - 1);
    ask(&a, &plain_before, &plain_after, NULL, &si);
    unlink(notes);
    says(&a, "pressure cap on | not recorded | said to be not done: remark added later: \"not on, "
             "found it in the bilge\"");
    says(&a, "look at hoses and clamps for leaks | ticked | remark added later: \"leaks checked\"");
    drop(&a);
}

/* --- the service log */

static void tells_what_was_done_between(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, &plain_before, &plain_after,
        TITLES "2019-04-20,310,,exchanger-replaced,Skerrow yard,\n"
               "2024-05-01,1240,port,acid,K. Marsh,half at 20 °C\n2024-05-03,1240,,zinc,,\n"
               "2024-05-20,,,other,,later\n",
        &us);
    says(&a,
         "Done between the runs, by the log: heat exchanger acid-cleaned (2024-05-01), zinc anode "
         "changed (2024-05-03).");
    says(&a, "2024-05-01 | 1240 | port | heat exchanger acid-cleaned | K. Marsh | half at 20 °C");
    says(&a,
         "Work done | heat exchanger acid-cleaned (2024-05-01), zinc anode changed (2024-05-03) "
         "(service log)");
    says(&a, "Age of the heat exchanger: fitted new on 2019-04-20, 5 years before the last run.");
    says(&a, "Acid cleans: once since it was new, the last on 2024-05-01, 2 days before");
    says(&a, "Common practice, no source: an acid clean weakens the tubes");
    says(&a, "1 line of the log is dated after the last run");
    says(&a, "The maker of the engine and the yard");
    says(&a, "Service log | ");
    assert_int_equal(strlen(a.answer.service_sha256), 64);
    assert_null(warning_of(&a, "sender_exchanged"));
    drop(&a);
}

static double width(const struct asked *a)
{
    const struct engine_answer *engine = &a->answer.engines[0];
    assert_true(engine->band_count > 0);
    return engine->bands[0].change.high - engine->bands[0].change.low;
}

static void a_new_sender_widens_the_interval(void **state)
{
    (void)state;
    struct asked with, without;
    ask(&without, &plain_before, &plain_after, TITLES "2024-05-02,,,zinc,,\n", &si);
    ask(&with, &plain_before, &plain_after, TITLES "2024-05-02,,port,sender,,\n", &si);
    assert_non_null(warning_of(&with, "sender_exchanged"));
    assert_null(warning_of(&without, "sender_exchanged"));
    /* 1 K of standard uncertainty more (two senders): 95 % of it are 3.9 K of width by
     * themselves. */
    assert_true(width(&with) > fmax(3.5, width(&without) + 0.5));
    drop(&with);
    ask(&with, &plain_before, &plain_after, TITLES "2024-04-30,,port,sender,,\n", &si);
    assert_null(warning_of(&with, "sender_exchanged")); /* before both runs */
    assert_true(width(&with) == width(&without));
    drop(&with);
    drop(&without);
}

static void a_new_thermostat_does_too(void **state)
{
    (void)state;
    struct asked with, without;
    ask(&without, &plain_before, &plain_after, TITLES "2024-05-02,,,bundle-rodded,,\n", &si);
    says_not(&without, "all this work together");
    ask(&with, &plain_before, &plain_after,
        TITLES "2024-05-02,,port,thermostat,,\n2024-05-02,,,bundle-rodded,,\n", &si);
    says(&with, "thermostat changed (2024-05-02), tube bundle removed and rodded (2024-05-02). The "
                "change shown is that of all this work together");
    assert_non_null(warning_of(&with, "thermostat_changed"));
    assert_null(warning_of(&without, "thermostat_changed"));
    assert_true(width(&with) > width(&without) + 0.5);
    drop(&with);
    drop(&without);
}

static void warns_of_engines_that_are_not_there(void **state)
{
    (void)state;
    struct asked a;
    ask(&a, &plain_before, &plain_after, TITLES "2024-05-02,,prot,zinc,,\n", &si);
    assert_non_null(warning_of(&a, "service_log_engine"));
    assert_non_null(strstr(warning_of(&a, "service_log_engine")->text, "Line 2"));
    drop(&a);
    ask(&a, &plain_before, &plain_after, TITLES "2024-05-02,,0,zinc,,\n2024-05-02,,7,zinc,,\n",
        &si);
    assert_non_null(warning_of(&a, "service_log_engine"));
    assert_non_null(strstr(warning_of(&a, "service_log_engine")->text,
                           "Line 3 of the service log names the engine \"7\""));
    drop(&a);
}

static void a_broken_log_stops_only_who_named_it(void **state)
{
    (void)state;
    struct asked a;
    memset(&a, 0, sizeof a);
    snprintf(a.before, sizeof a.before, "%s", record(&plain_before));
    snprintf(a.after, sizeof a.after, "%s", record(&plain_after));
    assert_int_equal(compare(&a, TITLES "soon,,,zinc,,\n"), STATUS_BAD_DATA);
    must_say(a.complaint.text, "line 2");
    answer_free(&a.answer);
    a.options.service_log_found = true;
    assert_int_equal(compare_runs(&a.options, &a.answer, &a.complaint), STATUS_OK);
    assert_non_null(warning_of(&a, "service_log_unreadable"));
    assert_null(a.answer.service);
    drop(&a);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(confirms_from_the_data),
        cmocka_unit_test(never_invents),
        cmocka_unit_test(knows_the_thermostat_without_holds),
        cmocka_unit_test(speaks_of_air),
        cmocka_unit_test(seldom_read_coolant_speaks_of_nothing),
        cmocka_unit_test(one_engine_does_not_stand_for_the_other),
        cmocka_unit_test(remarks_count_after_marks),
        cmocka_unit_test(tells_what_was_done_between),
        cmocka_unit_test(a_new_sender_widens_the_interval),
        cmocka_unit_test(a_new_thermostat_does_too),
        cmocka_unit_test(warns_of_engines_that_are_not_there),
        cmocka_unit_test(a_broken_log_stops_only_who_named_it),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
