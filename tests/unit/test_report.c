/* The report as text and as a page. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "../../analyze/exchanger.h"
#include "../../analyze/report.h"
#include "made_answer.h"

static const struct style si = {UNITS_SI, false}, us = {UNITS_US, false};

struct made {
    struct answer answer;
    struct drawing_list drawings;
    struct document document;
    struct text text, page;
};

/* Renders an answer whose charts were planned and not drawn. */
static void render(struct made *made, const struct style *style, enum report_extent extent)
{
    assert_int_equal(charts_plan(&made->answer, style, &made->drawings, NULL), STATUS_OK);
    struct report_input input = {.extent = extent,
                                 .answer = &made->answer,
                                 .style = style,
                                 .drawings = &made->drawings,
                                 .command = "searun-analyze compare --before a --after b"};
    assert_int_equal(report_build(&input, &made->document, NULL), STATUS_OK);
    report_text(&made->text, &made->document, &made->drawings, "charts", false);
    report_html(&made->page, &made->document, &made->drawings);
    assert_false(made->text.failed || made->page.failed);
}

static void drop(struct made *made)
{
    document_free(&made->document);
    charts_free(&made->drawings);
    text_free(&made->text);
    text_free(&made->page);
    made_free(&made->answer);
}

static void has(const struct text *text, const char *part)
{
    if (strstr(text_string(text), part) == NULL)
        fail_msg("\"%s\" is missing in:\n%s", part, text_string(text));
}

static void has_not(const struct text *text, const char *part)
{
    const char *found = strstr(text_string(text), part);
    if (found != NULL)
        fail_msg("\"%s\" stands in: %.200s", part, found);
}

static void every_section_has_a_title_of_its_own(void **state)
{
    (void)state;
    for (size_t i = 0; i < section_count; i++) {
        assert_non_null(sections[i].write);
        assert_true(i == 0 || sections[i].write == section_picture || sections[i].title[0] != '\0');
        for (size_t j = 0; j < i; j++)
            assert_string_not_equal(sections[i].key, sections[j].key);
    }
}

static void tells_everything_in_text_and_page(void **state)
{
    (void)state;
    static const char *const parts[] = {"Coolant temperature lowered",
                                        "By engine speed",
                                        "Boat, engine and work",
                                        "Conditions of the runs",
                                        "How sure, and why",
                                        "Steady holds, used and not used",
                                        "Where the readings come from",
                                        "What else changed",
                                        "Warnings",
                                        "Take care",
                                        "Method",
                                        "Provenance",
                                        "not recorded",
                                        "carbon monoxide",
                                        "JCGM 100:2008",
                                        "JCGM 101:2008",
                                        "Engine oil temperature",
                                        "MTW from II",
                                        "XDR from YX",
                                        "the run after has no hold at 3000 rpm",
                                        "searun-analyze compare --before a --after b"};
    struct made made = {0};
    made_answer(&made.answer, 1);
    render(&made, &si, REPORT_WHOLE);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        has(&made.text, parts[i]);
        has(&made.page, parts[i]);
    }
    has(&made.text, "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa\n");
    has(&made.page, "Tern&#39;s Reach");
    has(&made.page, "<td class=\"w\">engine not warm yet</td>");
    drop(&made);
}

static void finding_comes_first(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 1);
    render(&made, &si, REPORT_SUMMARY);
    const char *finding = strstr(text_string(&made.text), "Coolant temperature lowered");
    assert_non_null(finding);
    assert_true(finding - text_string(&made.text) < 160);
    has(&made.text, "−10.8 K   95 % interval −12.8 to −8.8 K   [−19.4 °F (−23.1 to −15.8)]");
    has(&made.text, "  2800        92.0       81.2      −10.8  −12.8 to −8.8  lowered\n");
    has(&made.text, "1 warning stands below");
    has_not(&made.text, "Chart:");
    has_not(&made.text, "Provenance");
    drop(&made);
}

/* On the first page, what the sides tell of one thing is told by side. */
static void facts_that_differ_name_their_side(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 1);
    facts_set(made.answer.runs[0].facts, FACT_ENGINE, 0, "exchanger", "never out", NULL);
    facts_set(made.answer.runs[1].facts, FACT_ENGINE, 0, "exchanger", "cleaned", NULL);
    render(&made, &si, REPORT_WHOLE);
    has(&made.text, "before: never out; after: cleaned");
    drop(&made);
}

/* What else changed: what differs, row by row; what does not, in a sentence; and nothing that
 * stands elsewhere. */
static void tells_what_else_differs(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 1);
    struct engine_answer *engine = &made.answer.engines[0];
    const struct also_row rows[] = {
        {CHANNEL_COOLANT_TEMPERATURE, 2800, made_interval(92, 1), made_interval(81, 1),
         made_interval(-11, 1)},
        {CHANNEL_SEA_TEMPERATURE, 2800, made_interval(19, 1), made_interval(14, 1),
         made_interval(-5, 1)},
        {CHANNEL_OIL_PRESSURE, 1400, made_interval(366.34, 8), made_interval(366.0, 8),
         made_interval(-0.34, 8)},
        {CHANNEL_OIL_PRESSURE, 2800, made_interval(409.34, 4), made_interval(419.26, 4),
         made_interval(9.92, 4)},
        {CHANNEL_SPEED_THROUGH_WATER, 1400, made_interval(2, 0.1), made_interval(2, 0.1),
         made_interval(0, 0.1)},
    };
    memcpy(engine->also, rows, sizeof rows);
    engine->also_count = sizeof rows / sizeof rows[0];
    render(&made, &si, REPORT_WHOLE);
    const char *section = strstr(text_string(&made.text), "What else changed\n");
    assert_non_null(section);
    struct text part = {0};
    text_add_bytes(&part, section, (size_t)(strstr(section, "Warnings\n") - section));
    has(&part, "Engine oil pressure, kPa  2800");
    has(&part, "No difference that stands out from the scatter of the holds: Engine oil pressure\n"
               "at 1400 rpm; Speed through the water at any speed.");
    has_not(&part, "1400   ");
    has_not(&part, "Coolant temperature");
    has_not(&part, "Sea water temperature");
    text_free(&part);
    drop(&made);
}

static void lines_fit_a_terminal(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 2);
    for (size_t i = 0; i < 2; i++)
        facts_set(
            made.answer.runs[i].facts, FACT_RUN, 0, "notes",
            "a_word_of_more_than_eighty_characters_that_has_no_space_in_it_and_must_be_broken_"
            "somewhere 漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字",
            NULL);
    render(&made, &us, REPORT_WHOLE);
    char line[1000];
    for (const char *at = text_string(&made.text); *at != '\0';) {
        size_t length = strcspn(at, "\n");
        assert_true(length < sizeof line);
        memcpy(line, at, length);
        line[length] = '\0';
        if (text_columns(line) > REPORT_COLUMNS)
            fail_msg("%zu columns: %s", text_columns(line), line);
        at += length + 1;
    }
    drop(&made);
}

static void shows_us_units_throughout(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 1);
    render(&made, &us, REPORT_WHOLE);
    has_not(&made.text, "K is a difference");
    has(&made.text, "before, °F");
    has(&made.text, "change, °F");
    has(&made.text, "160 to 180 °F");
    has(&made.text, "starts to open at 159.8 °F, wide open at 179.6 °F");
    has(&made.page, "goes from 197.6 to 178.2\u00a0°F: a change of −19.4\u00a0°F");
    has(&made.text, "which is 0.9 °F here");      /* the warning */
    has(&made.text, "[−10.8 K (−12.8 to −8.8)]"); /* both for the key figure */
    drop(&made);
}

/* Raw water out of the exchanger at the highest speed, degC (a sea of 17.2 before and 19.0 after),
 * and coolant out of it. */
static void tell_of_exchanger(struct made *made, double raw_before, double raw_after, double out)
{
    memset(made, 0, sizeof *made);
    made_answer(&made->answer, 1);
    struct engine_answer *engine = &made->answer.engines[0];
    double rpm = engine->bands[engine->band_count - 1].rpm;
    engine->also_count = 0;
    if (!isnan(raw_before) || !isnan(raw_after))
        engine->also[engine->also_count++] =
            (struct also_row){CHANNEL_RAW_WATER_OUT, rpm, made_interval(raw_before, 1),
                              made_interval(raw_after, 1), made_interval(0, 1)};
    if (!isnan(out))
        engine->also[engine->also_count++] =
            (struct also_row){CHANNEL_EXCHANGER_COOLANT_OUT, rpm, made_interval(out, 1),
                              made_interval(out, 1), made_interval(0, 1)};
    exchanger_look(engine);
    render(made, &si, REPORT_WHOLE);
}

static void what_was_recorded_is_not_asked_for(void **state)
{
    (void)state;
    static const struct {
        double before, after, out;
        const char *has[2], *has_not[3];
    } cases[] = {
        {NAN, NAN, NAN, {"recorded as well, would tell them"}, {"speaks against", "A dash under"}},
        {31, NAN, NAN, {"recorded as well, would tell them", "A dash under"}, {"speaks against"}},
        {31.2,
         32.4,
         NAN,
         {"which speaks against more raw water", "A dash under"},
         {"recorded as well, would"}},
        {31.2,
         40,
         NAN,
         {"warms more on its way", "another load look alike"},
         {"recorded as well, would", "speaks against"}},
        {31.2,
         32.4,
         60,
         {"which speaks against more raw water"},
         {"A dash under", "There is no effectiveness"}},
        {31.2, 32.4, 95, {"There is no effectiveness"}, {"A dash under"}},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct made made;
        tell_of_exchanger(&made, cases[i].before, cases[i].after, cases[i].out);
        for (size_t k = 0; k < 2 && cases[i].has[k]; k++)
            has(&made.page, cases[i].has[k]);
        for (size_t k = 0; k < 3 && cases[i].has_not[k]; k++)
            has_not(&made.page, cases[i].has_not[k]);
        drop(&made);
    }
}

static void tells_engines_apart(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 2);
    render(&made, &si, REPORT_WHOLE);
    has(&made.text, "Engine: port");
    has(&made.text, "Engine: starboard");
    has(&made.text, "No change shown");
    drop(&made);
}

static void cannot_be_shown_says_what_to_record(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 1);
    struct engine_answer *engine = &made.answer.engines[0];
    engine->finding = FINDING_CANNOT_BE_SHOWN;
    engine->band_count = engine->budget_count = 0;
    engine->key_band = BANDS_MAX;
    snprintf(engine->sentence, sizeof engine->sentence, "Nothing can be compared.");
    snprintf(engine->next, sizeof engine->next, "Hold the same speeds.");
    render(&made, &si, REPORT_WHOLE);
    has(&made.text, "Cannot be shown with these runs");
    has(&made.text, "To record next: Hold the same speeds.");
    has_not(&made.text, "How sure, and why");
    drop(&made);
}

static void empty_answer_is_a_report_too(void **state)
{
    (void)state;
    struct made made = {0};
    made.answer.reference_sea = NAN;
    made.answer.confidence_level = 0.95;
    render(&made, &si, REPORT_WHOLE);
    has(&made.text, "No engine was found");
    drop(&made);
}

/* 73.0 to 72.0 with a change of -0.9 cannot be subtracted: then a note says why. */
static void a_note_where_rows_do_not_subtract(void **state)
{
    (void)state;
    for (int apart = 0; apart < 2; apart++) {
        struct made made = {0};
        made_answer(&made.answer, 1);
        struct engine_answer *engine = &made.answer.engines[0];
        for (size_t b = 0; b < engine->band_count; b++) {
            engine->bands[b].side[SIDE_BEFORE].coolant = (struct interval){73, 72, 74};
            engine->bands[b].side[SIDE_AFTER].coolant = (struct interval){72, 71, 73};
            engine->bands[b].change = (struct interval){apart ? -0.94 : -1, -1.5, -0.5};
            engine->bands[b].finding = apart ? FINDING_CANNOT_BE_SHOWN : FINDING_LOWERED;
        }
        engine->load_from = "assumed";
        engine->control_ratio = (struct interval){NAN, NAN, NAN};
        render(&made, &si, REPORT_SUMMARY);
        (apart ? has : has_not)(&made.text, "each is rounded by itself");
        (apart ? has : has_not)(&made.text, "wholly on one side of zero");
        has(&made.text, "The finding of each speed is for that speed alone (95 %)");
        has(&made.text, "K is a difference of one degree Celsius.");
        drop(&made);
    }
}

/* A source that served all runs alike is told once. */
static void sources_of_all_runs_are_one_row(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 1);
    free(made.answer.choices);
    made.answer.choices = made_room(3, sizeof *made.answer.choices);
    made.answer.choices[0] = (struct choice){CHANNEL_ENGINE_SPEED, 0, 0, "RPM from II", 1, ""};
    made.answer.choices[1] = (struct choice){CHANNEL_ENGINE_SPEED, 1, 0, "RPM from II", 1, ""};
    made.answer.choices[2] = (struct choice){CHANNEL_OIL_TEMPERATURE, 1, 0, "XDR OIL", 1, ""};
    made.answer.choice_count = 3;
    render(&made, &si, REPORT_WHOLE);
    const char *first = strstr(text_string(&made.text), "RPM from II");
    assert_non_null(first);
    assert_null(strstr(first + 1, "RPM from II"));
    has(&made.page, "<td class=\"s\">all runs</td><td class=\"w\">RPM from II</td>");
    has(&made.page, "<td class=\"s\">after.h5</td><td class=\"w\">XDR OIL</td>");
    drop(&made);
}

static void the_method_names_its_numbers(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 1);
    render(&made, &us, REPORT_WHOLE);
    has(&made.page,
        "within ±max(25 rpm, 1.5 %), or within the steps of a coarse tachometer, for 150 s");
    has(&made.page, "±0.5\u00a0°F a run"); /* 0.3 K */
    has(&made.page, "Changed between the runs: ±1.8\u00a0°F");
    has(&made.page, "Change, all speeds at once: in 95\u00a0% of such comparisons");
    drop(&made);
}

/* Whoever knows no statistics is told once, at the first interval, of two engines too. */
static void the_interval_is_explained_once(void **state)
{
    (void)state;
    static const char words[] = "95 of 100 such ranges hold the truth";
    for (int engines = 1; engines <= 2; engines++) {
        struct made made = {0};
        made_answer(&made.answer, engines);
        render(&made, &si, REPORT_WHOLE);
        const char *first = strstr(text_string(&made.page), words);
        assert_non_null(first);
        assert_null(strstr(first + 1, words));
        assert_true(first < strstr(text_string(&made.page), "class=\"key\""));
        drop(&made);
    }
}

/* Engine 1 of the made answer shows no change: it may be the control of the other. */
static void an_engine_left_alone_is_suggested(void **state)
{
    (void)state;
    static const char *const words[] = {
        "If nothing was done to starboard, compare again with --control 1 (starboard)",
        "If one of the engines was left alone, compare again with --control 0 (port) or --control "
        "1"};
    for (int both = 0; both < 2; both++) {
        struct made made = {0};
        made_answer(&made.answer, 2);
        made.answer.engines[1].open_rise_ratio = (struct interval){1, 0.95, 1.05};
        if (both)
            made.answer.engines[0].open_rise_ratio = (struct interval){0.98, 0.9, 1.06};
        render(&made, &si, REPORT_SUMMARY);
        has(&made.page, words[both]);
        drop(&made);
    }
    struct made made = {0};
    made_answer(&made.answer, 2);
    made.answer.engines[1].open_rise_ratio = (struct interval){1, 0.95, 1.05};
    made.answer.engines[0].control_ratio = (struct interval){1, 0.95, 1.05};
    render(&made, &si, REPORT_SUMMARY);
    has_not(&made.text, "--control");
    drop(&made);
}

/* --- the page */

static void tags_balance(const char *page)
{
    static const char *const tags[] = {"html",   "head",  "body",  "main", "header",
                                       "table",  "thead", "tbody", "tr",   "ul",
                                       "figure", "div",   "title", "style"};
    for (size_t i = 0; i < sizeof tags / sizeof tags[0]; i++) {
        char open[16], close[16];
        size_t opened = 0, closed = 0;
        snprintf(open, sizeof open, "<%s", tags[i]);
        snprintf(close, sizeof close, "</%s>", tags[i]);
        for (const char *at = page; (at = strstr(at, open)) != NULL; at++) {
            char after = at[strlen(open)];
            opened += after == '>' || after == ' ';
        }
        for (const char *at = page; (at = strstr(at, close)) != NULL; at++)
            closed++;
        if (opened != closed || opened == 0)
            fail_msg("<%s> %zu times, </%s> %zu times", tags[i], opened, tags[i], closed);
    }
}

static void page_is_whole_and_needs_nothing(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 2);
    render(&made, &si, REPORT_WHOLE);
    tags_balance(text_string(&made.page));
    has(&made.page, "<th scope=\"col\"");
    has(&made.page, "<th scope=\"row\"");
    has(&made.page, "lang=\"en\"");
    has_not(&made.page, "<script");
    has_not(&made.page, "src=");
    has_not(&made.page, "@import");
    has_not(&made.page, "url(");
    drop(&made);
}

static const char svg[] = "<svg viewBox=\"0 0 1 1\"><rect id='a'/></svg>";

static void charts_stand_in_the_page_with_their_words(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 1);
    struct drawing_list drawn = {0};
    assert_int_equal(charts_plan(&made.answer, &si, &drawn, NULL), STATUS_OK);
    for (size_t i = 0; i < drawn.count; i++)
        drawn.list[i].svg = strdup(svg);
    struct report_input input = {.extent = REPORT_WHOLE,
                                 .answer = &made.answer,
                                 .style = &si,
                                 .drawings = &drawn,
                                 .command = "x",
                                 .folder = "charts"};
    assert_int_equal(report_build(&input, &made.document, NULL), STATUS_OK);
    report_html(&made.page, &made.document, &drawn);
    has(&made.page, "role=\"img\" aria-label=\"Coolant temperature against engine speed");
    has(&made.page, "id=\"coolant-a\"");
    has(&made.page, "<figcaption>Figure 6.");
    has_not(&made.page, "could not be drawn");
    charts_free(&drawn);
    drop(&made);
}

static void missing_charts_are_told_with_their_numbers(void **state)
{
    (void)state;
    struct made made = {0};
    made_answer(&made.answer, 1);
    snprintf(made.drawings.trouble, sizeof made.drawings.trouble, "gnuplot is not installed");
    render(&made, &si, REPORT_WHOLE);
    has(&made.page, "About the charts: gnuplot is not installed");
    has(&made.page, "could not be drawn");
    has(&made.page, "2800\u00a0rpm: 92.0");
    has(&made.text, "About the charts: gnuplot is not installed");
    drop(&made);
}

static void hostile_names_stay_text(void **state)
{
    (void)state;
    static const char *const nasty[] = {"</title></style><script>x</script>",
                                        "\"><img onerror=x src=y>",
                                        "&lt;b&gt; & <b>",
                                        "\x1b]0;owned\x07\x1b[2J",
                                        "\u202egnp.exe",
                                        "a\nb\r\nc",
                                        "\xff\xfe\xc0\xaf"};
    char *long_name = made_room(FACT_VALUE_MAX, 1);
    memset(long_name, '<', FACT_VALUE_MAX - 1);
    for (size_t n = 0; n <= sizeof nasty / sizeof nasty[0]; n++) {
        bool is_long = n == sizeof nasty / sizeof nasty[0];
        const char *name = is_long ? long_name : nasty[n];
        struct made made = {0};
        made_answer(&made.answer, 2);
        for (size_t i = 0; i < 2; i++) {
            snprintf(made.answer.runs[i].name, sizeof made.answer.runs[i].name, "%s", name);
            snprintf(made.answer.runs[i].software, sizeof made.answer.runs[i].software, "%s", name);
            facts_set(made.answer.runs[i].facts, FACT_BOAT, 0, "name", name, NULL);
            facts_set(made.answer.runs[i].facts, FACT_RUN, 0, "notes", name, NULL);
            snprintf(made.answer.engines[i].label, sizeof made.answer.engines[i].label, "%s", name);
        }
        snprintf(made.answer.choices[0].chosen, sizeof made.answer.choices[0].chosen, "%s", name);
        render(&made, &si, REPORT_WHOLE);
        tags_balance(text_string(&made.page));
        has_not(&made.page, "<script");
        has_not(&made.page, "<img");
        has_not(&made.page, "<b>");
        has_not(&made.page, "<<");
        has_not(&made.text, "\x1b");
        has_not(&made.text, "\x07");
        has_not(&made.text, "\u202e");
        has_not(&made.page, "\xff");
        drop(&made);
    }
    free(long_name);
}

static void holds_as_csv(void **state)
{
    (void)state;
    struct answer answer;
    struct text csv = {0};
    made_answer(&answer, 1);
    snprintf(answer.engines[0].label, sizeof answer.engines[0].label, "=1+2, \"main\"");
    report_holds_csv(&csv, &answer);
    has(&csv, "coolant (degC)");
    has(&csv, "\r\n1,0,\"'=1+2, \"\"main\"\"\",before,before.h5,2026-05-14T09:58:06.000000Z,366.0,"
              "646.0,476.0,1003.0,4.00,78.200,");
    has(&csv, ",engine_cold,engine not warm yet\r\n");
    text_free(&csv);
    made_free(&answer);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_section_has_a_title_of_its_own),
        cmocka_unit_test(tells_everything_in_text_and_page),
        cmocka_unit_test(finding_comes_first),
        cmocka_unit_test(facts_that_differ_name_their_side),
        cmocka_unit_test(tells_what_else_differs),
        cmocka_unit_test(lines_fit_a_terminal),
        cmocka_unit_test(shows_us_units_throughout),
        cmocka_unit_test(what_was_recorded_is_not_asked_for),
        cmocka_unit_test(tells_engines_apart),
        cmocka_unit_test(cannot_be_shown_says_what_to_record),
        cmocka_unit_test(empty_answer_is_a_report_too),
        cmocka_unit_test(a_note_where_rows_do_not_subtract),
        cmocka_unit_test(sources_of_all_runs_are_one_row),
        cmocka_unit_test(the_method_names_its_numbers),
        cmocka_unit_test(the_interval_is_explained_once),
        cmocka_unit_test(an_engine_left_alone_is_suggested),
        cmocka_unit_test(page_is_whole_and_needs_nothing),
        cmocka_unit_test(charts_stand_in_the_page_with_their_words),
        cmocka_unit_test(missing_charts_are_told_with_their_numbers),
        cmocka_unit_test(hostile_names_stay_text),
        cmocka_unit_test(holds_as_csv),
    };
    return cmocka_run_group_tests_name("report", tests, NULL, NULL);
}
