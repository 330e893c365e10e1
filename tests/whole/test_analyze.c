/* searun-analyze from outside: a comparison with all its outputs, and everything that can go
 * wrong. */
#include "stage.h"

#include <cjson/cJSON.h>
#include <math.h>

#define start_with(environment, ...)                                                               \
    stage_start_with(environment, stage_program("SEARUN_ANALYZE"),                                 \
                     (const char *const[]){"searun-analyze", __VA_ARGS__, NULL})
#define start_shell(script)                                                                        \
    stage_start_with(NULL, "/bin/sh", (const char *const[]){"sh", "-ec", script, NULL})

/* --- runs, recorded once */

static int record_runs(void **state)
{
    if (stage_make(state) != 0)
        return -1;
    stage_record("tern-before", "before", "before.h5");
    stage_record("tern-after", "after", "after.h5");
    return 0;
}

static bool file_has(const char *path, const char *words)
{
    char *bytes = stage_read(path);
    bool has = strstr(bytes, words) != NULL;
    free(bytes);
    return has;
}

static cJSON *read_json(const char *path)
{
    char *bytes = stage_read(path);
    cJSON *root = cJSON_Parse(bytes);
    assert_non_null(root);
    free(bytes);
    return root;
}

static const cJSON *at(const cJSON *object, const char *key)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, key);
    if (item == NULL)
        fail_msg("the key %s is missing", key);
    return item;
}

/* --- the comparison */

static void compares_and_leaves_everything(void **state)
{
    (void)state;
    static const char *const files[] = {"report.html",
                                        "report.txt",
                                        "result.json",
                                        "holds.csv",
                                        "charts/coolant.svg",
                                        "charts/coolant.png",
                                        "charts/coolant.pdf",
                                        "charts/coolant.gp",
                                        "charts/coolant.dat",
                                        "charts/change.pdf",
                                        "charts/open-rise.png",
                                        "charts/budget.svg",
                                        "charts/run-before-1.png",
                                        "charts/run-after-1.svg"};
    const char *out = stage_path("out");
    stage_expect_words(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                                     stage_path("after.h5"), "--output", out),
                       0, "Coolant temperature lowered");
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        char path[600];
        struct stat about;
        snprintf(path, sizeof path, "%s/%s", out, files[i]);
        if (stat(path, &about) != 0 || about.st_size < 100)
            fail_msg("%s is missing or empty", files[i]);
    }
    assert_true(file_has(stage_path("out/report.html"), "<svg "));
    assert_false(file_has(stage_path("out/report.html"), "<script"));
    assert_false(file_has(stage_path("out/report.html"), "could not be drawn"));
    assert_true(file_has(stage_path("out/report.txt"), "SHA-256"));
    assert_true(file_has(stage_path("out/holds.csv"), "coolant (degC)"));
}

static void json_holds_the_contract(void **state)
{
    (void)state;
    stage_expect(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                               stage_path("after.h5"), "--json", stage_path("r.json"), "--quiet"),
                 0);
    cJSON *root = read_json(stage_path("r.json"));
    assert_string_equal(at(root, "format")->valuestring, "searun comparison 1");
    assert_true(cJSON_IsNumber(at(root, "confidence_level")));
    assert_true(cJSON_IsNumber(at(root, "reference_sea_temperature")));
    assert_true(cJSON_IsArray(at(root, "warnings")));
    const cJSON *engine = cJSON_GetArrayItem(at(root, "engines"), 0);
    assert_string_equal(at(engine, "label")->valuestring, "main");
    assert_string_equal(at(engine, "finding")->valuestring, "lowered");
    assert_true(at(at(engine, "open_rise_ratio"), "high")->valuedouble < 1);
    const cJSON *bands = at(engine, "bands");
    assert_int_equal(cJSON_GetArraySize(bands), 6);
    const cJSON *top = cJSON_GetArrayItem(bands, 5);
    assert_true(fabs(at(top, "rpm")->valuedouble - 2800) < 1);
    assert_true(at(at(top, "change"), "high")->valuedouble < 0);
    assert_true(at(at(top, "before"), "coolant")->valuedouble >
                at(at(top, "after"), "coolant")->valuedouble);
    assert_true(at(at(top, "before"), "holds")->valuedouble >= 1);
    assert_true(cJSON_IsArray(at(engine, "uncompared")));
    assert_int_equal(strlen(at(cJSON_GetArrayItem(at(root, "runs"), 0), "sha256")->valuestring),
                     64);
    cJSON_Delete(root);
}

/* The command in the report, run again, gives the same numbers. */
static void command_gives_the_same_numbers(void **state)
{
    (void)state;
    char script[4000];
    stage_expect(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                               stage_path("after.h5"), "--seed", "5", "--sea-temperature", "59F",
                               "--day-load", "3", "--confidence", "0.9", "--json",
                               stage_path("one.json"), "--quiet"),
                 0);
    cJSON *one = read_json(stage_path("one.json"));
    const char *program = stage_program("SEARUN_ANALYZE");
    const char *command = at(one, "command")->valuestring;
    assert_int_equal(strncmp(command, "searun-analyze ", 15), 0);
    snprintf(script, sizeof script, "%s %s --json %s --quiet", program, command + 15,
             stage_path("two.json"));
    stage_expect(start_shell(script), 0);
    cJSON *two = read_json(stage_path("two.json"));
    assert_true(cJSON_Compare(one, two, 1));
    assert_true(fabs(at(one, "reference_sea_temperature")->valuedouble - 15) < 1e-9);
    cJSON_Delete(one);
    cJSON_Delete(two);
}

/* Sides that are swapped: withheld with what to do, unless somebody vouches for them, which the
 * command that gives the same numbers repeats. */
static void swapped_sides_are_withheld(void **state)
{
    (void)state;
    stage_expect_words(start_analyze("compare", "--before", stage_path("after.h5"), "--after",
                                     stage_path("before.h5"), "--json", stage_path("swap.json")),
                       0, "the other way round");
    cJSON *root = read_json(stage_path("swap.json"));
    const cJSON *engine = cJSON_GetArrayItem(at(root, "engines"), 0);
    assert_string_equal(at(engine, "finding")->valuestring, "cannot_be_shown");
    assert_string_equal(at(at(engine, "doubt"), "key")->valuestring, "sides_swapped");
    assert_true(cJSON_IsFalse(at(at(engine, "doubt"), "overruled")));
    cJSON_Delete(root);
    stage_expect_words(start_analyze("compare", "--before", stage_path("after.h5"), "--after",
                                     stage_path("before.h5"), "--as-given", "--json",
                                     stage_path("swap.json")),
                       0, "Taken as given");
    root = read_json(stage_path("swap.json"));
    engine = cJSON_GetArrayItem(at(root, "engines"), 0);
    assert_string_equal(at(engine, "finding")->valuestring, "raised");
    assert_true(cJSON_IsTrue(at(at(engine, "doubt"), "overruled")));
    assert_non_null(strstr(at(root, "command")->valuestring, " --as-given"));
    cJSON_Delete(root);
    stage_expect_words(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                                     stage_path("before.h5"), "--as-given"),
                       0, "What to do: Give the run");
}

static void prints_the_whole_report_without_a_folder(void **state)
{
    (void)state;
    struct program program = start_analyze("compare", "--before", stage_path("before.h5"),
                                           "--after", stage_path("after.h5"), "--units", "us");
    stage_expect_words(program, 0, "Provenance");
    const char *said = stage_said(&program);
    assert_non_null(strstr(said, "before, °F"));
    assert_non_null(strstr(said, "Take care"));
    assert_null(strstr(said, "\033[")); /* no colours where there is no terminal */
}

static void quiet_is_silent_and_dash_is_pure_json(void **state)
{
    (void)state;
    struct program quiet = start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                                         stage_path("after.h5"), "--quiet");
    stage_expect(quiet, 0);
    assert_string_equal(stage_said(&quiet), "");
    struct program json = start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                                        stage_path("after.h5"), "--json", "-");
    stage_expect(json, 0);
    cJSON *root = cJSON_Parse(stage_said(&json));
    assert_non_null(root);
    cJSON_Delete(root);
}

/* --- charts */

static void charts_can_be_drawn_again_by_hand(void **state)
{
    (void)state;
    char script[1000];
    stage_expect(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                               stage_path("after.h5"), "--output", stage_path("again"), "--quiet"),
                 0);
    snprintf(
        script, sizeof script,
        "cd %s && rm *.svg *.png *.pdf && for f in *.gp; do LC_ALL=C.UTF-8 gnuplot $f; done && "
        "ls *.svg",
        stage_path("again/charts"));
    struct program program = start_shell(script);
    stage_expect(program, 0);
    assert_string_equal(stage_said(&program), "budget.svg\nchange.svg\ncoolant.svg\nopen-rise.svg\n"
                                              "run-after-1.svg\nrun-before-1.svg\n");
}

static void works_without_gnuplot(void **state)
{
    (void)state;
    struct program program =
        start_with("PATH=/nonexistent", "compare", "--before", stage_path("before.h5"), "--after",
                   stage_path("after.h5"), "--output", stage_path("bare"));
    stage_expect_words(program, 0, "gnuplot-nox");
    assert_non_null(strstr(stage_said(&program), "Coolant temperature lowered"));
    assert_non_null(strstr(stage_said(&program), "No chart was drawn"));
    assert_null(strstr(stage_said(&program), "holds.csv, charts/"));
    assert_true(file_has(stage_path("bare/report.html"), "gnuplot is not installed"));
    assert_true(file_has(stage_path("bare/report.html"), "could not be drawn"));
    assert_true(file_has(stage_path("bare/report.txt"), "By engine speed"));
    assert_true(stage_exists(stage_path("bare/charts/coolant.gp")));
    assert_false(stage_exists(stage_path("bare/charts/coolant.svg")));
}

/* --- outputs that cannot be written */

static void folder_is_used_again(void **state)
{
    (void)state;
    assert_int_equal(mkdir(stage_path("used"), 0777), 0);
    assert_int_equal(mkdir(stage_path("used/charts"), 0777), 0);
    stage_write(stage_path("used/report.html"), "old", 3);
    stage_write(stage_path("used/mine.txt"), "mine", 4);
    stage_write(stage_path("used/charts/coolant-engine-7.svg"), "old", 3);
    stage_write(stage_path("used/charts/my coolant.gp"), "mine", 4);
    stage_expect(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                               stage_path("after.h5"), "--output", stage_path("used/"), "--quiet"),
                 0);
    assert_true(file_has(stage_path("used/report.html"), "<html"));
    assert_true(file_has(stage_path("used/mine.txt"), "mine"));
    assert_true(file_has(stage_path("used/charts/my coolant.gp"), "mine"));
    assert_false(stage_exists(stage_path("used/charts/coolant-engine-7.svg")));
}

static void output_refused(const char *output, const char *words)
{
    stage_expect_words(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                                     stage_path("after.h5"), "--output", output, "--quiet"),
                       3, words);
}

static void bad_outputs_are_told(void **state)
{
    (void)state;
    char script[2000];
    output_refused(stage_path("no/such/place"), "does not exist");
    stage_write(stage_path("a-file"), "x", 1);
    output_refused(stage_path("a-file"), "is a file, not a folder");
    output_refused("/proc/searun", "cannot make the folder");
    stage_expect_words(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                                     stage_path("after.h5"), "--json", stage_path("no/x.json")),
                       3, "cannot write");
    snprintf(script, sizeof script, "%s compare --before %s --after %s >/dev/full",
             stage_program("SEARUN_ANALYZE"), stage_path("before.h5"), stage_path("after.h5"));
    stage_expect_words(start_shell(script), 3, "No space left");
    snprintf(script, sizeof script, "%s export %s >/dev/full", stage_program("SEARUN_ANALYZE"),
             stage_path("before.h5"));
    stage_expect_words(start_shell(script), 3, "No space left");
}

/* --- runs that cannot be read or compared */

static void bad_runs_are_told(void **state)
{
    (void)state;
    stage_write(stage_path("text.h5"), "this is no run", 14);
    stage_expect_words(start_analyze("compare", "--before", stage_path("text.h5"), "--after",
                                     stage_path("after.h5")),
                       2, "is not a run file");
    stage_expect_words(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                                     stage_path("missing.h5")),
                       2, "missing.h5");
    stage_expect_words(start_analyze("show", stage_path("text.h5")), 2, "is not a run file");
    stage_expect_words(start_analyze("export", stage_path("missing.h5")), 2, "missing.h5");
    stage_expect_words(start_analyze("check", stage_path("missing.h5")), 2, "missing.h5");
    stage_expect_words(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                                     stage_path("after.h5"), "--source", "sea_temperature=nobody"),
                       4, "nobody");
}

/* A run of nothing but engine speed, through the logger. */
static void record_speed_only(const char *name)
{
    static struct stage_text text;
    text.length = 0;
    for (int i = 0; i < 900; i++) {
        stage_add_sentence(&text, "GPZDA,%02d%02d%02d.00,14,05,2026,00,00", 9 + i / 3600,
                           i / 60 % 60, i % 60);
        stage_add_sentence(&text, "IIRPM,E,0,%d.0,,A", i < 450 ? 1500 : 2000);
    }
    stage_write(stage_path("speed.nmea"), text.bytes, text.length);
    stage_expect(
        start_logger("--quiet", "--replay", stage_path("speed.nmea"), "--output", stage_path(name)),
        0);
}

static void nothing_in_common_is_a_finding(void **state)
{
    (void)state;
    record_speed_only("speed.h5");
    struct program program =
        start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                      stage_path("speed.h5"), "--output", stage_path("none"));
    stage_expect_words(program, 0, "Cannot be shown with these runs");
    assert_non_null(strstr(stage_said(&program), "To record next:"));
    cJSON *root = read_json(stage_path("none/result.json"));
    const cJSON *engine = cJSON_GetArrayItem(at(root, "engines"), 0);
    assert_string_equal(at(engine, "finding")->valuestring, "cannot_be_shown");
    assert_true(cJSON_IsNull(at(engine, "open_rise_ratio")));
    assert_true(strlen(at(engine, "next")->valuestring) > 20);
    cJSON_Delete(root);
}

/* --- show, export, check */

static void shows_what_is_in_a_run(void **state)
{
    (void)state;
    struct program program = start_analyze("show", stage_path("before.h5"));
    stage_expect_words(program, 0, "coolant_temperature");
    const char *said = stage_said(&program);
    assert_non_null(strstr(said, "Tern's Reach"));
    assert_non_null(strstr(said, "RPM from II"));
    assert_non_null(strstr(said, "Steady holds that a comparison would find"));
    assert_non_null(strstr(said, "holds can be used"));
}

static size_t lines_of(const char *text)
{
    size_t lines = 0;
    for (; *text != '\0'; text++)
        lines += *text == '\n';
    return lines;
}

static void exports_every_reading_once(void **state)
{
    (void)state;
    stage_expect(start_analyze("export", stage_path("before.h5"), "--channel",
                               "coolant_temperature", "--output", stage_path("c.csv")),
                 0);
    struct run *run = stage_open_run(stage_path("before.h5"));
    size_t count = stage_count(run, CHANNEL_COOLANT_TEMPERATURE);
    run_close(run);
    char *csv = stage_read(stage_path("c.csv"));
    assert_int_equal(lines_of(csv), count + 1);
    assert_non_null(strstr(csv, "coolant_temperature (degC) engine 0"));
    free(csv);
    assert_false(stage_exists(stage_path("c.csv.part")));
    stage_expect_words(
        start_analyze("export", stage_path("before.h5"), "--channel", "boost_pressure"), 2,
        "none of the channels");
}

/* A file of somebody's is kept, unless it was said that it may go; a run is kept in every case. */
static void export_keeps_what_is_there(void **state)
{
    (void)state;
    const char *run = stage_path("before.h5"), *out = stage_path("kept.csv");
    stage_write(out, "mine", 4);
    stage_expect_words(start_analyze("export", run, "--output", out), 3, "is there already");
    assert_true(file_has(out, "mine"));
    stage_expect(start_analyze("export", run, "--output", out, "--replace"), 0);
    assert_false(file_has(out, "mine"));
    stage_expect_words(start_analyze("export", run, "--output", run, "--replace"), 3,
                       "is not overwritten");
}

/* The run is evidence: no output takes its place, by whatever name. */
static void outputs_never_replace_a_run(void **state)
{
    (void)state;
    const char *run = stage_path("before.h5");
    stage_expect_words(start_analyze("export", run, "--output", run), 3, "is not overwritten");
    stage_expect_words(start_analyze("compare", "--before", run, "--after", stage_path("after.h5"),
                                     "--json", stage_path("after.h5"), "--quiet"),
                       3, "is not overwritten");
    stage_expect(start_analyze("check", run, stage_path("after.h5")), 0);
}

/* Raw export, replayed, is the same run again. */
static void raw_export_comes_back(void **state)
{
    (void)state;
    record_speed_only("raw.h5");
    stage_expect(start_analyze("export", stage_path("raw.h5"), "--raw", "--output",
                               stage_path("raw.capture")),
                 0);
    stage_expect(start_logger("--quiet", "--replay", stage_path("raw.capture"), "--output",
                              stage_path("raw2.h5")),
                 0);
    stage_same_run(stage_path("raw.h5"), stage_path("raw2.h5"));
}

static void check_tells_sound_from_damaged(void **state)
{
    (void)state;
    stage_expect_words(start_analyze("check", stage_path("before.h5"), stage_path("after.h5")), 0,
                       "sound");
    struct program quiet = start_analyze("check", "--quiet", stage_path("before.h5"));
    stage_expect(quiet, 0);
    assert_string_equal(stage_said(&quiet), "");
}

/* HDF5 itself leaks a little where metadata are damaged; other errors of memory end with code
 * 99. */
#define NO_LEAKS "ASAN_OPTIONS=detect_leaks=0:exitcode=99"

/* One byte changed at 24 places: never a crash, and wherever check calls the file sound, a
 * comparison still works. At least one place lies in data and is found. */
static void damage_is_found_and_harms_nobody(void **state)
{
    (void)state;
    struct stat about;
    assert_int_equal(stat(stage_path("before.h5"), &about), 0);
    char *bytes = stage_read(stage_path("before.h5"));
    unsigned damaged = 0;
    for (int i = 0; i < 24; i++) {
        size_t where = (size_t)about.st_size * (size_t)(2 * i + 1) / 48;
        bytes[where] = (char)(bytes[where] ^ 0x55);
        stage_write(stage_path("hurt.h5"), bytes, (size_t)about.st_size);
        bytes[where] = (char)(bytes[where] ^ 0x55);
        struct program check = start_with(NO_LEAKS, "check", stage_path("hurt.h5"));
        int code = stage_wait(&check);
        assert_in_range(code, 0, 2);
        damaged += code == 1;
        struct program compare = start_with(NO_LEAKS, "compare", "--before", stage_path("hurt.h5"),
                                            "--after", stage_path("after.h5"), "--quiet");
        int result = stage_wait(&compare);
        if (result != 0 && (result != 2 || code == 0))
            fail_msg("byte %zu: check says %d, compare %d:\n%s", where, code, result,
                     stage_said(&compare));
    }
    free(bytes);
    assert_true(damaged > 0);
}

/* --- hostile names, all the way from the logger */

static void hostile_names_come_out_as_text(void **state)
{
    (void)state;
    static const char boat[] =
        "boat.name=<script>x</script>'; system \"touch pwned\"; `touch pwned`";
    static const char *const sides[] = {"before", "after"};
    for (size_t i = 0; i < 2; i++) {
        char capture[100], config[100], run[40];
        snprintf(capture, sizeof capture, "sample-runs/%s.nmea", sides[i]);
        snprintf(config, sizeof config, "sample-runs/%s.ini", sides[i]);
        snprintf(run, sizeof run, "nasty-%s.h5", sides[i]);
        stage_expect(start_logger("--quiet", "--config", config, "--set", boat, "--set",
                                  "engine0.label=\"><img src=x onerror=y>", "--replay", capture,
                                  "--output", stage_path(run)),
                     0);
    }
    stage_expect(start_analyze("compare", "--before", stage_path("nasty-before.h5"), "--after",
                               stage_path("nasty-after.h5"), "--output", stage_path("nasty"),
                               "--quiet"),
                 0);
    assert_false(file_has(stage_path("nasty/report.html"), "<script"));
    assert_false(file_has(stage_path("nasty/report.html"), "<img"));
    assert_true(file_has(stage_path("nasty/report.html"), "&lt;script&gt;"));
    assert_true(stage_exists(stage_path("nasty/charts/coolant.pdf")));
    assert_false(stage_exists(stage_path("nasty/charts/pwned")) || stage_exists("pwned"));
}

/* --- the command line as a whole */

static void says_version_and_help(void **state)
{
    (void)state;
    stage_expect_words(start_analyze("--version"), 0, "searun-analyze ");
    stage_expect_words(start_analyze("--help"), 0, "usage: searun-analyze COMMAND");
    stage_expect_words(start_analyze("compare", "--help"), 0, "--sea-temperature");
    stage_expect_words(start_analyze("show", "--help"), 0, "usage: searun-analyze show");
    stage_expect_words(start_analyze("export", "x", "--help"), 0, "--raw");
    stage_expect_words(start_analyze("check", "-h"), 0, "Exit codes");
    stage_expect_words(start_analyze("frobnicate"), 4, "there is no command frobnicate");
    stage_expect_words(start_analyze("compare", "--before", "a"), 4, "both sides");
    stage_expect_words(start_analyze("compare", "--unit", "us"), 4, "unknown option --unit");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(compares_and_leaves_everything),
        cmocka_unit_test(json_holds_the_contract),
        cmocka_unit_test(command_gives_the_same_numbers),
        cmocka_unit_test(swapped_sides_are_withheld),
        cmocka_unit_test(prints_the_whole_report_without_a_folder),
        cmocka_unit_test(quiet_is_silent_and_dash_is_pure_json),
        cmocka_unit_test(charts_can_be_drawn_again_by_hand),
        cmocka_unit_test(works_without_gnuplot),
        cmocka_unit_test(folder_is_used_again),
        cmocka_unit_test(bad_outputs_are_told),
        cmocka_unit_test(bad_runs_are_told),
        cmocka_unit_test(nothing_in_common_is_a_finding),
        cmocka_unit_test(shows_what_is_in_a_run),
        cmocka_unit_test(exports_every_reading_once),
        cmocka_unit_test(export_keeps_what_is_there),
        cmocka_unit_test(outputs_never_replace_a_run),
        cmocka_unit_test(raw_export_comes_back),
        cmocka_unit_test(check_tells_sound_from_damaged),
        cmocka_unit_test(damage_is_found_and_harms_nobody),
        cmocka_unit_test(hostile_names_come_out_as_text),
        cmocka_unit_test(says_version_and_help),
    };
    return cmocka_run_group_tests_name("searun-analyze", tests, record_runs, stage_remove);
}
