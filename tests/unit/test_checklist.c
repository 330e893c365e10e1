/* test_checklist.c - what marks and remarks tick, and what they must not tick. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "../../analyze/aftercare.h"
#include "made_answer.h"

/* The ticks a single mark gives, one letter an item in the order of checklist.def: '-' none, 'x'
 * given, 'o' denied. */
static const char *ticks_of(const struct checklist *list)
{
    static char letters[CHECK_COUNT + 1];
    for (size_t i = 0; i < CHECK_COUNT; i++)
        letters[i] = "-xo"[list->ticks[i].state];
    return letters;
}

static void marks_tick_what_they_say(void **state)
{
    (void)state;
    /* items:          fill bled cap warm cool top again leaks half */
    static const char *const marks[][2] = {
        {"filled", "x--------"},
        {"Filled slowly and bled", "xx-------"},
        {"filled, bled, cap on", "xxx------"},
        {"cap is on; leak check ok", "--x----x-"},
        {"warmed up", "---x-----"},
        {"warmed up again", "------x--"},
        {"warm again, no leaks", "------xx-"},
        {"cooled down and topped-up", "----xx---"},
        {"HOSES AND CLAMPS CHECKED", "-------x-"},
        {"half hour under way done", "--------x"},
        {"refilled; topped off", "x----x---"},
        {"not bled yet", "-o-------"},
        {"bled?", "-o-------"},
        {"filled, not bled yet", "xo-------"},
        {"must be topped up", "-----o---"},
        {"cap off", "---------"},
        {"capsized", "---------"},
        {"disabled", "---------"},
        {"start of 2200 rpm hold", "---------"},
        {"watch for leaks", "---------"},
        {"", "---------"},
        {",,;.", "---------"},
    };
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
        struct checklist list = {0};
        size_t count = checklist_take_mark(&list, 2, 61, marks[i][0]);
        if (strcmp(ticks_of(&list), marks[i][1]) != 0)
            fail_msg("\"%s\" gives %s, not %s", marks[i][0], ticks_of(&list), marks[i][1]);
        assert_int_equal(count > 0, checklist_any(&list));
    }
}

static void every_item_is_ticked_by_each_of_its_words(void **state)
{
    (void)state;
    static const char *const words[] = {
#define CHECK(id, key, title, evidence, words) words,
#include "../../analyze/checklist.def"
#undef CHECK
    };
    for (int item = 0; item < CHECK_COUNT; item++) {
        for (const char *at = words[item]; *at != '\0';) {
            struct checklist list = {0};
            char word[80];
            size_t length = strcspn(at, "|");
            snprintf(word, sizeof word, "%.*s", (int)length, at);
            assert_int_equal(checklist_take_mark(&list, 0, 0, word), 1);
            if (list.ticks[item].state != TICK_GIVEN)
                fail_msg("\"%s\" does not tick %s", word, check_key((enum check_item)item));
            at += length + (at[length] == '|');
        }
        struct checklist list = {0};
        assert_int_equal(
            checklist_take_note(&list, 0, check_key((enum check_item)item), "K. Marsh"), 1);
        assert_int_equal(list.ticks[item].state, TICK_GIVEN);
    }
}

static void the_last_word_counts(void **state)
{
    (void)state;
    struct checklist list = {0};
    checklist_take_mark(&list, 0, 10, "not bled yet");
    checklist_take_mark(&list, 0, 90, " bled , slowly");
    assert_int_equal(list.ticks[CHECK_BLED].state, TICK_GIVEN);
    assert_true(list.ticks[CHECK_BLED].time == 90);
    assert_string_equal(list.ticks[CHECK_BLED].words, "bled");
    checklist_take_note(&list, 1, "bled", "no, the screw was seized");
    assert_int_equal(list.ticks[CHECK_BLED].state, TICK_DENIED);
    assert_true(isnan(list.ticks[CHECK_BLED].time));
    assert_int_equal(list.ticks[CHECK_BLED].run, 1);
}

static void other_remarks_tick_nothing(void **state)
{
    (void)state;
    struct checklist list = {0};
    assert_int_equal(checklist_take_note(&list, 0, "weather", "bled"), 0);
    assert_int_equal(checklist_take_note(&list, 0, "done", "bled, cap on"), 2);
    assert_string_equal(ticks_of(&list), "-xx------");
}

static void what_ticks_nothing_goes_along(void **state)
{
    (void)state;
    static const char *const texts[][3] = {
        {"filled and bled, cap on; K. Marsh", "filled and bled", "K. Marsh"},
        {"K. Marsh here. bled", "bled", "K. Marsh here"},
        {"bled. K. Marsh.", "bled", "K. Marsh"},
        {"bled", "bled", ""},
        {" bled ,, no leaks.", "bled", ""},
        {"filled, bled (uid 1000)", "bled", ""},
        {"bled (uid)", "bled (uid)", ""},
        {"bled (uid 7) K. Marsh", "bled (uid 7) K. Marsh", ""},
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct checklist list = {0};
        assert_true(checklist_take_mark(&list, 0, 0, texts[i][0]) > 0);
        assert_string_equal(list.ticks[CHECK_BLED].words, texts[i][1]);
        assert_string_equal(list.ticks[CHECK_BLED].rest, texts[i][2]);
    }
}

static void long_words_are_cut_at_a_character(void **state)
{
    (void)state;
    struct checklist list = {0};
    char mark[400] = "bled ";
    for (size_t i = 5; i + 2 < sizeof mark; i += 2)
        memcpy(mark + i, "\xC3\xA4", 2);
    assert_int_equal(checklist_take_mark(&list, 0, 0, mark), 1);
    size_t length = strlen(list.ticks[CHECK_BLED].words);
    assert_memory_equal(list.ticks[CHECK_BLED].words + length - 2, "\xC3\xA4", 2);
}

/* --- with the data */

static void data_go_before_ticks_and_never_beyond_them(void **state)
{
    (void)state;
    struct answer answer;
    made_answer(&answer, 2);
    assert_true(aftercare_told(&answer)); /* a run of the purpose "after service" */
    assert_int_equal(aftercare_state(&answer, CHECK_WARMED), CHECK_NOT_RECORDED);
    answer.engines[0].warmups.count = 2;
    assert_int_equal(aftercare_state(&answer, CHECK_WARMED),
                     CHECK_NOT_RECORDED); /* one engine only */
    checklist_take_mark(&answer.checklist, 1, 5, "warmed up");
    assert_int_equal(aftercare_state(&answer, CHECK_WARMED), CHECK_TICKED);
    answer.engines[1].warmups.count = 1;
    assert_int_equal(aftercare_state(&answer, CHECK_WARMED), CHECK_CONFIRMED);
    assert_int_equal(aftercare_state(&answer, CHECK_WARMED_AGAIN), CHECK_NOT_RECORDED);
    checklist_take_mark(&answer.checklist, 1, 9, "not warmed again");
    assert_int_equal(aftercare_state(&answer, CHECK_WARMED_AGAIN), CHECK_NOT_RECORDED);
    for (size_t e = 0; e < 2; e++) {
        answer.engines[e].warmups.cooled = true;
        answer.engines[e].warmups.underway = 1799;
        answer.engines[e].steady_holds = 9;
    }
    assert_int_equal(aftercare_state(&answer, CHECK_COOLED), CHECK_CONFIRMED);
    assert_int_equal(aftercare_state(&answer, CHECK_HALF_HOUR), CHECK_NOT_RECORDED);
    assert_int_equal(aftercare_state(&answer, CHECK_BLED),
                     CHECK_NOT_RECORDED); /* steady is no proof */
    assert_int_equal(aftercare_state(&answer, CHECK_CAP_ON), CHECK_NOT_RECORDED);
    answer.engines[0].warmups.underway = answer.engines[1].warmups.underway = 1800;
    assert_int_equal(aftercare_state(&answer, CHECK_HALF_HOUR), CHECK_CONFIRMED);
    made_free(&answer);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(marks_tick_what_they_say),
        cmocka_unit_test(every_item_is_ticked_by_each_of_its_words),
        cmocka_unit_test(the_last_word_counts),
        cmocka_unit_test(other_remarks_tick_nothing),
        cmocka_unit_test(what_ticks_nothing_goes_along),
        cmocka_unit_test(long_words_are_cut_at_a_character),
        cmocka_unit_test(data_go_before_ticks_and_never_beyond_them),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
