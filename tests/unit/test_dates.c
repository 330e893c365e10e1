/* test_dates.c - the judge of the clock that dates a run. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../../logger/dates.h"

#define S INT64_C(1000000)              /* microseconds */
#define START INT64_C(1795601700000000) /* 2026-11-25 10:15:00 UTC (date -u -d @1795601700) */
#define TOLERANCE (5 * S)
#define ERA (1024 * 7 * 86400 * S) /* IS-GPS-200, 20.3.3.3: a week number of ten bits */

/* A talker and its message. */
static struct origin from(const char *message, const char *source)
{
    struct origin origin;
    memset(&origin, 0, sizeof origin);
    snprintf(origin.message, sizeof origin.message, "%s", message);
    snprintf(origin.source, sizeof origin.source, "%s", source);
    return origin;
}

/* UTC once a second for so long, by a receiver that is `ahead_us` of the clock. */
static void hear_from(struct dates *dates, const char *message, const char *source, int seconds,
                      int64_t ahead_us)
{
    struct origin origin = from(message, source);
    for (int i = 0; i < seconds; i++)
        dates_add(dates, &origin, i * INT64_C(1000000000), START + i * S + ahead_us);
}

static void hear(struct dates *dates, int seconds, int64_t ahead_us)
{
    hear_from(dates, "RMC", "GP", seconds, ahead_us);
}

static struct dates_verdict judge(const struct dates *dates)
{
    return dates_judge(dates, START, TOLERANCE, DATES_PROGRAM_US);
}

/* The words for it; valid until the next call. */
static const char *tell(const struct dates_verdict *verdict)
{
    static char text[DATES_TEXT_ROOM];
    dates_tell(verdict, CLOCK_SYSTEM, text, sizeof text);
    return text;
}

static void expect_words(const struct dates_verdict *verdict, const char *words)
{
    if (!strstr(tell(verdict), words))
        fail_msg("\"%s\" does not say \"%s\"", tell(verdict), words);
}

static void test_nothing_heard(void **state)
{
    (void)state;
    struct dates dates = {0};
    assert_false(judge(&dates).heard_enough);
    hear(&dates, DATES_NEEDED - 1, 3600 * S);
    assert_false(judge(&dates).heard_enough);
    assert_false(judge(&dates).moved);
    assert_int_equal(judge(&dates).start_unix_us, START);
}

static void test_right_clock(void **state)
{
    (void)state;
    struct dates dates = {0};
    hear(&dates, 100, -300000);
    struct dates_verdict verdict = judge(&dates);
    assert_true(verdict.heard_enough);
    assert_false(verdict.moved);
    assert_int_equal(verdict.behind_us, -300000);
    assert_int_equal(verdict.start_unix_us, START);
}

static void test_wrong_clock(void **state)
{
    (void)state;
    static const int64_t errors[] = {6 * S, -6 * S, 3600 * S, INT64_C(1795601700) * S};
    for (size_t i = 0; i < sizeof errors / sizeof errors[0]; i++) {
        struct dates dates = {0};
        hear(&dates, 100, errors[i] + 456);
        struct dates_verdict verdict = judge(&dates);
        assert_true(verdict.moved);
        assert_false(verdict.rolled_over);
        assert_int_equal(verdict.start_unix_us, START + errors[i]); /* to the millisecond */
    }
}

/* A receiver without a fix states nonsense at first; what it says later counts. */
static void test_bad_minority(void **state)
{
    (void)state;
    struct dates dates = {0};
    hear(&dates, 40, -20 * 365 * 86400 * S);
    hear(&dates, 60, 7 * S);
    assert_int_equal(judge(&dates).start_unix_us, START + 7 * S);
}

/* Until it has the number of leap seconds from the satellites, which may take 12.5 minutes, a
 * receiver may state GPS time for UTC (18 s ahead since 2017, from memory: no leap second since
 * then; the message that tells it: IS-GPS-200, 20.3.3.5.2.4). */
static void test_leap_seconds_learnt_late(void **state)
{
    (void)state;
    struct dates dates = {0};
    struct origin origin = from("ZDA", "GP");
    for (int i = 0; i < 2000; i++)
        dates_add(&dates, &origin, i * INT64_C(1000000000),
                  START + (i + (i < 750 ? 18 : 0)) * S + 3600 * S);
    assert_int_equal(judge(&dates).start_unix_us, START + 3600 * S);
}

/* A second inserted into UTC (ITU-R TF.460, 2.2: 23:59:60) makes what is stated lag behind by one
 * from then on: no reason to move anything. */
static void test_leap_second_inserted(void **state)
{
    (void)state;
    struct dates dates = {0};
    struct origin origin = from("ZDA", "GP");
    for (int i = 0; i < 100; i++)
        dates_add(&dates, &origin, i * INT64_C(1000000000), START + (i - (i > 50)) * S);
    struct dates_verdict verdict = judge(&dates);
    assert_true(verdict.heard_enough && !verdict.moved);
    assert_int_equal(verdict.behind_us, -S);
}

static void test_rollover(void **state)
{
    (void)state;
    for (int eras = 1; eras <= 2; eras++) {
        struct dates dates = {0};
        hear(&dates, 100, -eras * ERA + 2 * S);
        struct dates_verdict verdict = judge(&dates);
        assert_true(verdict.rolled_over && dates_is_odd(&verdict));
        assert_false(verdict.moved);
        assert_int_equal(verdict.behind_us, 2 * S);
        expect_words(&verdict, eras == 1 ? "1024 weeks old and are corrected" : "2048 weeks");
    }
    struct dates both = {0};
    hear(&both, 100, -ERA + 3600 * S); /* the clock is wrong as well */
    assert_true(judge(&both).rolled_over);
    assert_int_equal(judge(&both).start_unix_us, START + 3600 * S);
}

/* The computer starts in 1970, and the receiver has fallen back: only that this program is younger
 * tells. */
static void test_rollover_without_a_clock(void **state)
{
    (void)state;
    for (int eras = 0; eras <= 2; eras++) {
        struct dates dates = {0};
        hear(&dates, 100, -eras * ERA);
        struct dates_verdict verdict = dates_judge(&dates, 12 * S, TOLERANCE, DATES_PROGRAM_US);
        assert_true(verdict.moved);
        assert_int_equal(verdict.rolled_over, eras > 0);
        assert_int_equal(verdict.start_unix_us, START);
        expect_words(&verdict, "by GNSS: RMC of GP, stated 100 times, steady to 0.0 s");
        expect_words(&verdict, "the computer's clock was 20782 days behind");
    }
    /* A capture may be of any age. */
    struct dates old = {0};
    hear(&old, 100, -ERA);
    struct dates_verdict verdict = dates_judge(&old, 12 * S, TOLERANCE, DATES_ANY);
    assert_false(verdict.rolled_over);
    assert_int_equal(verdict.start_unix_us, START - ERA);
}

/* Dates that a receiver starts from when it knows none are no rollover: the first week of the count
 * (1980-01-06, IS-GPS-200, 3.3.4), and 2000-01-01 (common practice, no source). */
static void test_made_up_dates(void **state)
{
    (void)state;
    static const int64_t made_up[] = {INT64_C(315964800) * S, INT64_C(946684800) * S};
    for (size_t i = 0; i < 2; i++) {
        struct dates dates = {0};
        hear(&dates, 100, made_up[i] - START);
        struct dates_verdict verdict = dates_judge(&dates, 12 * S, TOLERANCE, DATES_PROGRAM_US);
        assert_false(verdict.moved || verdict.heard_enough);
        assert_true(dates_is_odd(&verdict));
        expect_words(&verdict, "no source of UTC could be believed");
        expect_words(&verdict, "impossible date");
    }
}

/* A year that no text of ours can say is not heard at all. */
static void test_far_future(void **state)
{
    (void)state;
    struct dates dates = {0};
    hear(&dates, 100, INT64_C(200) * 365 * 86400 * S);
    assert_false(judge(&dates).heard_enough || dates_is_odd(&(struct dates_verdict){0}));
    assert_int_equal(judge(&dates).dissenting, 0);
}

/* --- several sources */

/* The clock and one source agree: what another says, and be it more often, is not followed. */
static void test_one_against_the_clock(void **state)
{
    (void)state;
    struct dates dates = {0};
    hear_from(&dates, "RMC", "GP", 1000, 3601 * S);
    hear_from(&dates, "126992", "35", 100, S / 10);
    struct dates_verdict verdict = judge(&dates);
    assert_true(verdict.heard_enough && !verdict.moved && dates_is_odd(&verdict));
    assert_int_equal(verdict.dissenting, 1);
    expect_words(&verdict, "by the computer's clock, which 126992 of 35 agrees with");
    expect_words(&verdict, "RMC of GP differs by 1.0 hours; its time was not used");
}

/* Two talkers agree against a third, and the clock is wrong. All messages of one talker are one
 * witness. */
static void test_majority(void **state)
{
    (void)state;
    struct dates dates = {0};
    for (int i = 0; i < 3; i++)
        hear_from(&dates, (const char *[]){"RMC", "ZDA", "RMA"}[i], "II", 500, 900 * S);
    hear_from(&dates, "129029", "7", 100, 60 * S);
    hear_from(&dates, "129033", "9", 100, 61 * S);
    struct dates_verdict verdict = judge(&dates);
    assert_true(verdict.moved);
    assert_in_range(verdict.start_unix_us, START + 60 * S, START + 61 * S);
    assert_int_equal(verdict.agreeing, 1);
    assert_int_equal(verdict.dissenting, 3);
    expect_words(&verdict, "1 more source agrees");
    expect_words(&verdict, "and so do 2 more; their times were not used");
}

/* One receiver has fallen back and another has not: the sound one is followed, and both agree. */
static void test_one_fell_back(void **state)
{
    (void)state;
    struct dates dates = {0};
    hear_from(&dates, "RMC", "GP", 1000, -ERA);
    hear_from(&dates, "129029", "7", 100, 0);
    struct dates_verdict verdict = dates_judge(&dates, 12 * S, TOLERANCE, DATES_PROGRAM_US);
    assert_true(verdict.moved && !verdict.rolled_over);
    assert_int_equal(verdict.start_unix_us, START);
    assert_int_equal(verdict.agreeing, 1);
}

/* A source that jumps about is worth nothing. */
static void test_unsteady(void **state)
{
    (void)state;
    struct dates dates = {0};
    struct origin origin = from("ZDA", "II");
    for (int i = 0; i < 200; i++)
        dates_add(&dates, &origin, i * INT64_C(1000000000), START + (i + i % 60 + 3600) * S);
    struct dates_verdict verdict = judge(&dates);
    assert_false(verdict.moved || verdict.heard_enough);
    expect_words(&verdict, "ZDA of II is unsteady");
}

/* More sources than are told apart: no harm. */
static void test_many_sources(void **state)
{
    (void)state;
    static struct dates dates;
    memset(&dates, 0, sizeof dates);
    for (int i = 0; i < 3 * DATES_SOURCES; i++) {
        char source[16];
        snprintf(source, sizeof source, "%d", i);
        hear_from(&dates, "126992", source, 50, 100 * S);
    }
    assert_int_equal(judge(&dates).agreeing, DATES_SOURCES - 1);
    assert_int_equal(judge(&dates).start_unix_us, START + 100 * S);
}

/* --- made-up sources on an input that anybody can send to */

#define OPEN_INPUT 1

/* One statement of made-up source number `number`, of a date of its own. */
static void make_up(struct dates *dates, int number, int64_t at)
{
    char source[16];
    snprintf(source, sizeof source, "M%d", number);
    struct origin origin = from("ZDA", source);
    origin.input = OPEN_INPUT;
    dates_add(dates, &origin, at, START + at / 1000 + (number + 1) * 3600 * S);
}

static void expect_gnss(const struct dates *dates, int64_t ahead_us, const char *words)
{
    struct dates_verdict verdict = judge(dates);
    assert_true(verdict.moved);
    assert_int_equal(verdict.start_unix_us, START + ahead_us);
    expect_words(&verdict, words);
}

/* All places are taken by sources that were heard enough: the GNSS of another input is heard all
 * the same, and keeps its place whatever comes after it. */
static void test_made_up_sources_first(void **state)
{
    (void)state;
    static struct dates dates;
    memset(&dates, 0, sizeof dates);
    for (int i = 0; i < 20 * DATES_SOURCES; i++)
        make_up(&dates, i % DATES_SOURCES, i * INT64_C(1000000));
    hear(&dates, 100, 60 * S);
    hear_from(&dates, "ZDA", "GP", 100, 60 * S);
    for (int i = 0; i < 20 * DATES_SOURCES; i++)
        make_up(&dates, 100 + i % 50, INT64_C(100000000000) + i);
    expect_gnss(&dates, 60 * S,
                "RMC of GP, stated 100 times, steady to 0.0 s; 1 more source agrees");
}

/* Ever new names, many more of them than statements of the GNSS. */
static void test_ever_new_names(void **state)
{
    (void)state;
    static struct dates dates;
    memset(&dates, 0, sizeof dates);
    struct origin gnss = from("RMC", "GP");
    for (int i = 0; i < 10000; i++) {
        make_up(&dates, i, i * INT64_C(10000000));
        if (i % 100 == 99)
            dates_add(&dates, &gnss, i * INT64_C(10000000), START + i * S / 100 + 60 * S);
    }
    expect_gnss(&dates, 60 * S, "RMC of GP, stated 100 times");
}

/* On its own input a source that was heard enough keeps its place, and names that come and go do
 * not keep it out. */
static void test_new_names_on_the_same_input(void **state)
{
    (void)state;
    static struct dates dates;
    memset(&dates, 0, sizeof dates);
    struct origin gnss = from("RMC", "GP");
    gnss.input = OPEN_INPUT;
    for (int i = 0; i < 2 * DATES_SOURCES; i++)
        make_up(&dates, 10000 + i, 0);
    for (int i = 0; i < 1000; i++) {
        for (int k = 0; k < 10; k++)
            make_up(&dates, 5 * i + k % 5, i * INT64_C(1000000000));
        dates_add(&dates, &gnss, i * INT64_C(1000000000) + 1, START + (i + 60) * S);
    }
    expect_gnss(&dates, 60 * S, "RMC of GP");
    assert_true(judge(&dates).followed.source->heard > 900);
}

/* More sources on one input than there is room for, all at work: the first ones stay, for by turns
 * none would be heard enough. */
static void test_more_than_room(void **state)
{
    (void)state;
    static struct dates dates;
    memset(&dates, 0, sizeof dates);
    for (int i = 0; i < 300 * DATES_SOURCES; i++)
        make_up(&dates, i % (2 * DATES_SOURCES), i * INT64_C(30000000));
    for (size_t i = 0; i < dates.count; i++)
        assert_int_equal(dates.source[i].heard, 150);
}

/* Two inputs with more sources than there is room for share the places and leave it at that, though
 * one of them had all at first. */
static void test_inputs_share(void **state)
{
    (void)state;
    static struct dates dates;
    memset(&dates, 0, sizeof dates);
    for (int i = 0; i < 100 * DATES_SOURCES; i++) {
        char source[16];
        snprintf(source, sizeof source, "%d", i % DATES_SOURCES);
        struct origin origin = from("126992", source);
        dates_add(&dates, &origin, i, START);
        if (i > 2 * DATES_SOURCES)
            make_up(&dates, i % DATES_SOURCES, i);
    }
    size_t made_up = 0;
    for (size_t i = 0; i < dates.count; i++) {
        made_up += dates.source[i].origin.input == OPEN_INPUT;
        assert_true(dates.source[i].heard > 90);
    }
    assert_int_equal(dates.count, DATES_SOURCES);
    assert_in_range(made_up, DATES_SOURCES / 2 - 1, DATES_SOURCES / 2 + 1);
}

/* Far more statements than are kept: the kept ones cover the whole run evenly. */
static void test_long_run(void **state)
{
    (void)state;
    static struct dates dates;
    memset(&dates, 0, sizeof dates);
    struct origin origin = from("RMC", "GP");
    for (int64_t i = 0; i < 500000; i++) /* the receiver drifts from 0 to 5 s ahead */
        dates_add(&dates, &origin, i * 1000000000, START + i * S + i * 10);
    assert_int_equal(dates.source[0].heard, 500000);
    assert_in_range(dates.source[0].count, DATES_KEPT / 2, DATES_KEPT);
    assert_in_range(judge(&dates).behind_us, 37 * S / 10,
                    38 * S / 10); /* middle of the later half */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nothing_heard),
        cmocka_unit_test(test_right_clock),
        cmocka_unit_test(test_wrong_clock),
        cmocka_unit_test(test_bad_minority),
        cmocka_unit_test(test_leap_seconds_learnt_late),
        cmocka_unit_test(test_leap_second_inserted),
        cmocka_unit_test(test_rollover),
        cmocka_unit_test(test_rollover_without_a_clock),
        cmocka_unit_test(test_made_up_dates),
        cmocka_unit_test(test_far_future),
        cmocka_unit_test(test_one_against_the_clock),
        cmocka_unit_test(test_majority),
        cmocka_unit_test(test_one_fell_back),
        cmocka_unit_test(test_unsteady),
        cmocka_unit_test(test_many_sources),
        cmocka_unit_test(test_made_up_sources_first),
        cmocka_unit_test(test_ever_new_names),
        cmocka_unit_test(test_new_names_on_the_same_input),
        cmocka_unit_test(test_more_than_room),
        cmocka_unit_test(test_inputs_share),
        cmocka_unit_test(test_long_run),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
