/* Charts as data and scripts, and as gnuplot draws them. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "../../analyze/chart.h"
#include "../../analyze/picture.h"
#include "made_answer.h"

static const struct style si = {UNITS_SI, false}, us = {UNITS_US, false};

static struct drawing_list plan(const struct answer *answer, const struct style *style)
{
    struct drawing_list drawings = {0};
    assert_int_equal(charts_plan(answer, style, &drawings, NULL), STATUS_OK);
    return drawings;
}

static const struct drawing *named(const struct drawing_list *drawings, const char *name)
{
    for (size_t i = 0; i < drawings->count; i++)
        if (strcmp(drawings->list[i].name, name) == 0)
            return &drawings->list[i];
    fail_msg("there is no chart %s", name);
    return NULL;
}

static void contains(const struct text *text, const char *part)
{
    if (strstr(text_string(text), part) == NULL)
        fail_msg("\"%s\" is missing in:\n%s", part, text_string(text));
}

static void every_row_is_whole(void **state)
{
    (void)state;
    for (size_t i = 0; i < chart_count; i++) {
        const struct chart *chart = charts[i];
        assert_true(strlen(chart->key) > 0 && strlen(chart->key) < 20);
        assert_true(strlen(chart->title) > 5 && strpbrk(chart->title, "'{}^_@&~\\") == NULL);
        assert_true(chart->height > 2 && chart->height < 8);
        assert_true(chart->possible && chart->data && chart->script && chart->subtitle &&
                    chart->caption && chart->describe);
    }
}

static void plans_one_set_an_engine(void **state)
{
    (void)state;
    struct answer answer;
    made_answer(&answer, 1);
    struct drawing_list drawings = plan(&answer, &si);
    assert_int_equal(drawings.count, 6);
    named(&drawings, "coolant");
    named(&drawings, "run-before-1");
    named(&drawings, "run-after-1");
    charts_free(&drawings);
    made_free(&answer);
    made_answer(&answer, 2);
    drawings = plan(&answer, &si);
    assert_int_equal(drawings.count, 13);
    named(&drawings, "coolant-engine-0");
    named(&drawings, "run-after-1-engine-1");
    named(&drawings, "engines");
    charts_free(&drawings);
    made_free(&answer);
}

static void plans_only_what_there_is(void **state)
{
    (void)state;
    struct answer answer;
    made_answer(&answer, 1);
    answer.engines[0].band_count = 0;
    answer.engines[0].budget_count = 0;
    struct drawing_list drawings = plan(&answer, &si);
    assert_int_equal(drawings.count, 2); /* the two runs in time */
    charts_free(&drawings);
    made_free(&answer);
    struct answer nothing = {0};
    drawings = plan(&nothing, &si);
    assert_int_equal(drawings.count, 0);
    charts_free(&drawings);
}

static void writes_numbers_in_the_shown_units(void **state)
{
    (void)state;
    struct answer answer;
    struct text data = {0};
    made_answer(&answer, 1);
    struct drawing_list drawings = plan(&answer, &si);
    chart_data(&data, named(&drawings, "coolant"));
    contains(&data, "\n2800 92 90.45 93.55 81.2 79.65 82.75\n");
    contains(&data, "(°C)");
    text_free(&data);
    charts_free(&drawings);
    drawings = plan(&answer, &us);
    chart_data(&data, named(&drawings, "change"));
    contains(&data, "\n2800 -19.44 "); /* -10.8 K times 1.8, without the 32 */
    contains(&data, "(°F)");
    contains(&data, "\"−19.4\"");
    text_free(&data);
    charts_free(&drawings);
    made_free(&answer);
}

/* What the holds made of the rating is no other rating. */
static void the_thermostat_agrees_with_the_facts(void **state)
{
    (void)state;
    struct answer answer;
    struct text script = {0};
    made_answer(&answer, 1);
    answer.engines[0].thermostat_start = 71.63;
    answer.engines[0].thermostat_full = 82.24;
    struct drawing_list drawings = plan(&answer, &si);
    chart_script(&script, named(&drawings, "coolant"));
    contains(&script, "thermostat opens, 71.6 to 82.2\u00a0°C");
    contains(&script, "the recorded rating of 71 to 82\u00a0°C, adjusted");
    text_free(&script);
    charts_free(&drawings);
    made_free(&answer);
}

/* Labels and captions in words that need no statistics. */
static void charts_speak_plainly(void **state)
{
    (void)state;
    struct answer answer;
    struct text script = {0};
    made_answer(&answer, 1);
    struct drawing_list drawings = plan(&answer, &si);
    chart_script(&script, named(&drawings, "budget"));
    contains(&script, "set xlabel 'How far off the change may typically be, K'");
    text_free(&script);
    chart_script(&script, named(&drawings, "change"));
    contains(&script, "title 'for all speeds'");
    assert_non_null(strstr(named(&drawings, "change")->caption,
                           "in 95\u00a0% of comparisons all of them are right"));
    text_free(&script);
    assert_non_null(strstr(named(&drawings, "run-before-1")->caption, "darker where the engine"));
    charts_free(&drawings);
    made_free(&answer);
}

/* Of a sheet nothing but its readings is known: no part of a hold is darker. */
static void a_sheet_has_no_darker_part(void **state)
{
    (void)state;
    struct answer answer;
    struct text data = {0};
    made_answer(&answer, 1);
    answer.runs[0].traces[0].by_hand = true;
    struct drawing_list drawings = plan(&answer, &si);
    const char *caption = named(&drawings, "run-before-1")->caption;
    assert_non_null(strstr(caption, "read by hand, at the end of each"));
    assert_null(strstr(caption, "darker"));
    chart_data(&data, named(&drawings, "run-before-1"));
    const char *row = strstr(strstr(text_string(&data), "# holds used"), "\n") + 1;
    double from, to, number, means;
    assert_int_equal(sscanf(row, "%lf %lf %lf %lf", &from, &to, &number, &means), 4);
    assert_true(means >= from && means <= from);
    text_free(&data);
    charts_free(&drawings);
    made_free(&answer);
}

static void script_says_all_a_print_needs(void **state)
{
    (void)state;
    struct answer answer;
    struct text script = {0};
    made_answer(&answer, 1);
    struct drawing_list drawings = plan(&answer, &si);
    chart_script(&script, named(&drawings, "coolant"));
    contains(&script, "gnuplot coolant.gp");
    contains(&script, "Engine speed, rpm");
    contains(&script, "Coolant temperature, °C");
    contains(&script, "sea temperature of 18.1\u00a0°C");
    contains(&script, "Tern’s Reach");
    contains(&script, "before.h5 (2026-05-14)");
    contains(&script, "95\u00a0% intervals");
    contains(&script, "thermostat opens, 71 to 82\u00a0°C");
    contains(&script, "the recorded rating of 71 to 82\u00a0°C, adjusted");
    contains(&script, "'alarm'");
    contains(&script, "pngcairo size width*300");
    contains(&script, "pdfcairo");
    text_free(&script);
    charts_free(&drawings);
    made_free(&answer);
}

/* In grey the lines of the coolant look alike, so each has its name; readings by hand are
 * points. */
static void a_run_in_time_can_be_read(void **state)
{
    (void)state;
    struct answer answer;
    struct drawing_list drawings = {0};
    struct text script = {0};
    made_answer(&answer, 1);
    answer.engines[0].alarm = 98;
    assert_int_equal(charts_plan(&answer, &si, &drawings, NULL), STATUS_OK);
    chart_script(&script, named(&drawings, "run-before-1"));
    contains(&script, "'starts to open'");
    contains(&script, "'wide open'");
    contains(&script, "'alarm'");
    assert_null(strstr(text_string(&script), "linespoints"));
    text_free(&script);
    struct trace *trace = &answer.runs[0].traces[0];
    trace->rpm.count = trace->coolant.count = trace->sea.count = 12;
    chart_script(&script, named(&drawings, "run-before-1"));
    contains(&script, "with linespoints");
    text_free(&script);
    charts_free(&drawings);
    made_free(&answer);
}

static void marks_holds_by_their_use(void **state)
{
    (void)state;
    struct answer answer;
    struct text data = {0};
    made_answer(&answer, 1);
    answer.runs[0].traces[0].coolant.value[600] = NAN;
    struct drawing_list drawings = plan(&answer, &si);
    chart_data(&data, named(&drawings, "run-before-1"));
    contains(&data, "# holds used: from and to in minutes, number, means taken from\n6.1 ");
    contains(&data, "# holds refused: from and to in minutes, number, means taken from\n41.3 ");
    const char *gap = strstr(text_string(&data), "coolant temperature");
    assert_non_null(strstr(gap, "\n\n20.0")); /* an empty line breaks the curve */
    text_free(&data);
    charts_free(&drawings);
    made_free(&answer);
}

/* --- hostile names */

static const char *const nasty[] = {
    "'; system 'touch pwned'; set label '",
    "`touch pwned`",
    "\n!touch pwned\n",
    "@pwned \\n {/=99 x} ^2 _3 &{x} ~a{b}",
    "\"); exit; print(\"",
    "\\",
    "<script>alert(1)</script>&amp;<![CDATA[",
    "漢字 Ελλάδα \xff\xfe \u202e",
};

static void make_nasty(struct answer *answer, const char *name)
{
    for (size_t i = 0; i < answer->run_count; i++) {
        struct run_summary *run = &answer->runs[i];
        snprintf(run->name, sizeof run->name, "%s", name);
        facts_set(run->facts, FACT_BOAT, 0, "name", name, NULL);
        facts_set(run->facts, FACT_ENGINE, 0, "model", name, NULL);
    }
    for (size_t e = 0; e < answer->engine_count; e++)
        snprintf(answer->engines[e].label, sizeof answer->engines[e].label, "%s", name);
}

/* Takes the quoted strings out of a line; what is left is what gnuplot takes for commands. */
static void commands_of(const char *line, size_t length, char *out)
{
    bool single = false, twice = false;
    size_t used = 0;
    for (size_t i = 0; i < length; i++) {
        if (line[i] == '\'' && !twice)
            single = !single;
        else if (line[i] == '"' && !single)
            twice = !twice;
        else if (!single && !twice)
            out[used++] = line[i];
    }
    out[used] = '\0';
    assert_false(single || twice);
}

static void only_our_commands(const char *script)
{
    char *commands = malloc(strlen(script) + 1);
    assert_non_null(commands);
    for (const char *line = script; *line != '\0';) {
        size_t length = strcspn(line, "\n");
        if (line[0] != '#') {
            commands_of(line, length, commands);
            assert_null(strstr(commands, "pwned"));
            assert_null(strstr(commands, "system"));
            assert_null(strchr(commands, '`'));
            assert_null(strchr(commands, '@'));
        }
        line += length + (line[length] == '\n');
    }
    free(commands);
}

static void names_stay_data_in_scripts(void **state)
{
    (void)state;
    for (size_t n = 0; n < sizeof nasty / sizeof nasty[0]; n++) {
        struct answer answer;
        made_answer(&answer, 2);
        make_nasty(&answer, nasty[n]);
        struct drawing_list drawings = plan(&answer, &si);
        for (size_t i = 0; i < drawings.count; i++) {
            struct text script = {0}, data = {0};
            chart_script(&script, &drawings.list[i]);
            chart_data(&data, &drawings.list[i]);
            only_our_commands(text_string(&script));
            assert_null(strstr(text_string(&data), "\n!touch"));
            assert_int_equal(strspn(drawings.list[i].name, "abcdefghijklmnopqrstuvwxyz0123456789-"),
                             strlen(drawings.list[i].name));
            text_free(&script);
            text_free(&data);
        }
        charts_free(&drawings);
        made_free(&answer);
    }
}

/* --- with gnuplot itself */

static char folder[] = "/tmp/test_chart.XXXXXX";

static void empty_folder(void)
{
    DIR *entries = opendir(folder);
    struct dirent *entry;
    assert_non_null(entries);
    while ((entry = readdir(entries)) != NULL)
        if (entry->d_name[0] != '.')
            assert_int_equal(unlinkat(dirfd(entries), entry->d_name, 0), 0);
    closedir(entries);
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) == NULL;
}

static int drop_folder(void **state)
{
    (void)state;
    empty_folder();
    return rmdir(folder);
}

static bool there(const char *name)
{
    char path[128];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return access(path, F_OK) == 0;
}

static void draw_all(const struct answer *answer, const struct style *style)
{
    struct drawing_list drawings = plan(answer, style);
    assert_int_equal(charts_write(&drawings, folder, NULL), STATUS_OK);
    charts_draw(&drawings, folder, NULL, NULL);
    assert_string_equal(drawings.trouble, "");
    for (size_t i = 0; i < drawings.count; i++) {
        struct text page = {0};
        assert_non_null(drawings.list[i].svg);
        assert_true(picture_svg(&page, drawings.list[i].svg, "p", "alt"));
        assert_null(strstr(text_string(&page), "<script"));
        text_free(&page);
    }
    charts_free(&drawings);
}

static void gnuplot_draws_everything_without_a_word(void **state)
{
    (void)state;
    struct answer answer;
    made_answer(&answer, 2);
    draw_all(&answer, &us);
    assert_true(there("engines.svg") && there("engines.png") && there("engines.pdf"));
    made_free(&answer);
}

static void gnuplot_draws_hostile_names_as_text(void **state)
{
    (void)state;
    for (size_t n = 0; n < sizeof nasty / sizeof nasty[0]; n++) {
        struct answer answer;
        made_answer(&answer, 2);
        make_nasty(&answer, nasty[n]);
        draw_all(&answer, &si);
        assert_false(there("pwned"));
        assert_int_not_equal(access("pwned", F_OK), 0);
        made_free(&answer);
    }
}

/* Answers with little in them: no thermostat, no alarm, one band, no sea, no holds. */
static void gnuplot_draws_poor_answers(void **state)
{
    (void)state;
    struct answer answer;
    made_answer(&answer, 1);
    struct engine_answer *engine = &answer.engines[0];
    engine->thermostat_start = engine->thermostat_full = engine->alarm = NAN;
    engine->band_count = 1;
    engine->key_band = 0;
    engine->hold_count = 0;
    engine->bands[0].side[SIDE_BEFORE].open_rise = (struct interval){NAN, NAN, NAN};
    engine->bands[0].simultaneous = (struct interval){NAN, NAN, NAN};
    answer.runs[0].traces[0].sea.count = 0;
    draw_all(&answer, &si);
    made_free(&answer);
}

static void clears_its_own_files_only(void **state)
{
    (void)state;
    static const char *const ours[] = {"coolant.svg", "run-before-12-engine-3.dat",
                                       "change-engine-1.gp", "engines.pdf"};
    static const char *const others[] = {"coolant-mine.gp", "run-before-x.dat", "notes.txt",
                                         "change.svg.bak"};
    empty_folder();
    for (size_t i = 0; i < 4; i++) {
        char path[128];
        snprintf(path, sizeof path, "%s/%s", folder, ours[i]);
        fclose(fopen(path, "w"));
        snprintf(path, sizeof path, "%s/%s", folder, others[i]);
        fclose(fopen(path, "w"));
    }
    charts_clear(folder);
    for (size_t i = 0; i < 4; i++) {
        assert_false(there(ours[i]));
        assert_true(there(others[i]));
    }
}

static void missing_gnuplot_is_trouble_not_failure(void **state)
{
    (void)state;
    struct answer answer;
    char *path = strdup(getenv("PATH"));
    made_answer(&answer, 1);
    struct drawing_list drawings = plan(&answer, &si);
    assert_int_equal(charts_write(&drawings, folder, NULL), STATUS_OK);
    setenv("PATH", "/nonexistent", 1);
    charts_draw(&drawings, folder, NULL, NULL);
    setenv("PATH", path, 1);
    free(path);
    assert_non_null(strstr(drawings.trouble, "gnuplot-nox"));
    assert_null(drawings.list[0].svg);
    charts_free(&drawings);
    made_free(&answer);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_row_is_whole),
        cmocka_unit_test(plans_one_set_an_engine),
        cmocka_unit_test(plans_only_what_there_is),
        cmocka_unit_test(writes_numbers_in_the_shown_units),
        cmocka_unit_test(the_thermostat_agrees_with_the_facts),
        cmocka_unit_test(charts_speak_plainly),
        cmocka_unit_test(a_sheet_has_no_darker_part),
        cmocka_unit_test(script_says_all_a_print_needs),
        cmocka_unit_test(a_run_in_time_can_be_read),
        cmocka_unit_test(marks_holds_by_their_use),
        cmocka_unit_test(names_stay_data_in_scripts),
        cmocka_unit_test(gnuplot_draws_everything_without_a_word),
        cmocka_unit_test(gnuplot_draws_hostile_names_as_text),
        cmocka_unit_test(gnuplot_draws_poor_answers),
        cmocka_unit_test(clears_its_own_files_only),
        cmocka_unit_test(missing_gnuplot_is_trouble_not_failure),
    };
    return cmocka_run_group_tests_name("chart", tests, make_folder, drop_folder);
}
