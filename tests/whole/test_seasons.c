/* The view over the seasons from outside: a folder of runs of an invented boat, with a broken file
 * and another boat among them; what is written, and what is said where something is missing. */
#include "stage.h"

#include <cjson/cJSON.h>

/* Nothing may come from, or go to, the cache of whoever runs the tests. */
#define start_seasons(...)                                                                         \
    stage_start_with(cache, stage_program("SEARUN_ANALYZE"),                                       \
                     (const char *const[]){"searun-analyze", "seasons", __VA_ARGS__, NULL})

static char cache[300];

static void make_fleet(const char *folder, const char *seed, const char *engines)
{
    assert_int_equal(mkdir(folder, 0700), 0);
    stage_expect(
        stage_start_with(NULL, stage_program("SEARUN_BOAT_MODEL"),
                         (const char *const[]){"boat-model", "--fleet", folder, "--seed", seed,
                                               "--every", "4", "seasons=2", engines, NULL}),
        0);
}

static int make_folders(void **state)
{
    if (stage_make(state) != 0)
        return -1;
    snprintf(cache, sizeof cache, "XDG_CACHE_HOME=%s", stage_folder);
    make_fleet(stage_path("one"), "3", "engines=1");
    make_fleet(stage_path("two"), "5", "engines=2");
    return 0;
}

static char *read_all(const char *path)
{
    static char bytes[4 << 20];
    FILE *file = fopen(path, "r");
    if (!file)
        fail_msg("%s is not there", path);
    bytes[fread(bytes, 1, sizeof bytes - 1, file)] = '\0';
    fclose(file);
    return bytes;
}

static cJSON *result(const char *path)
{
    cJSON *root = cJSON_Parse(read_all(path));
    assert_non_null(root);
    return root;
}

static const cJSON *item(const cJSON *of, const char *key)
{
    const cJSON *found = cJSON_GetObjectItemCaseSensitive(of, key);
    if (!found)
        fail_msg("%s is not in the result", key);
    return found;
}

static int count(const cJSON *of, const char *key)
{
    return cJSON_GetArraySize(item(of, key));
}

static void no_line_is_too_wide(const char *words)
{
    for (const char *at = words; *at != '\0';) {
        size_t length = strcspn(at, "\n"), columns = 0;
        for (size_t i = 0; i < length; i++)
            columns += ((unsigned char)at[i] & 0xC0) != 0x80;
        if (columns > 80 && strncmp(at, "  searun-analyze", 16) != 0) /* to be copied as it is */
            fail_msg("wider than 80 columns: %.*s", (int)length, at);
        at += length + (at[length] == '\n');
    }
}

static void everything_is_written(void **state)
{
    (void)state;
    static const char *const files[] = {"report.html",
                                        "report.txt",
                                        "result.json",
                                        "outings.csv",
                                        "services.csv",
                                        "charts/seasons-open-rise.dat",
                                        "charts/seasons-full-throttle.gp"};
    struct program program =
        start_seasons(stage_path("one"), "--output", stage_path("out"), "--thermostat", "71,82");
    stage_expect_words(program, 0, "At full throttle");
    no_line_is_too_wide(stage_said(&program));
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        char path[300];
        snprintf(path, sizeof path, "%s/%s", stage_path("out"), files[i]);
        if (!stage_exists(path))
            fail_msg("%s was not written", path);
    }
    cJSON *root = result(stage_path("out/result.json"));
    assert_string_equal(item(root, "format")->valuestring, "searun seasons 1");
    assert_int_equal(count(root, "boats"), 1);
    assert_int_equal(count(root, "engines"), 1);
    const cJSON *engine = cJSON_GetArrayItem(item(root, "engines"), 0);
    assert_true(count(engine, "outings") > 5);
    assert_true(item(item(engine, "forecast"), "full_throttle_now") != NULL);
    cJSON_Delete(root);
    no_line_is_too_wide(read_all(stage_path("out/report.txt")));
}

/* The first time runs are read, the second time they come from the cache: the same numbers. */
static void the_cache_changes_nothing(void **state)
{
    (void)state;
    stage_expect(start_seasons(stage_path("one"), "--quiet", "--json", stage_path("a.json")), 0);
    stage_expect(
        start_seasons(stage_path("one"), "--quiet", "--json", stage_path("b.json"), "--no-cache"),
        0);
    static char first[4 << 20];
    strcpy(first, read_all(stage_path("a.json")));
    assert_string_equal(first, read_all(stage_path("b.json")));
}

static void engines_witness_each_other(void **state)
{
    (void)state;
    stage_expect(start_seasons(stage_path("two"), "--quiet", "--json", stage_path("two.json")), 0);
    cJSON *root = result(stage_path("two.json"));
    assert_int_equal(count(root, "engines"), 2);
    assert_int_equal(count(root, "pairs"), 1);
    const cJSON *pair = cJSON_GetArrayItem(item(root, "pairs"), 0);
    assert_true(count(pair, "outings") > 3);
    cJSON_Delete(root);
}

static void boats_are_told_apart_and_broken_files_named(void **state)
{
    (void)state;
    static const char broken[] = "\211HDF\r\n\032\nand nothing that follows from it";
    stage_write(stage_path("broken.h5"), broken, sizeof broken);
    struct program program = start_seasons(stage_path("two"), stage_path("broken.h5"),
                                           stage_path("one"), "--json", stage_path("mixed.json"));
    stage_expect_words(program, 0, "2 boats");
    assert_non_null(strstr(stage_said(&program), "broken.h5"));
    no_line_is_too_wide(stage_said(&program));
    cJSON *root = result(stage_path("mixed.json"));
    assert_int_equal(count(root, "boats"), 2);
    assert_int_equal(count(root, "engines"), 3);
    assert_int_equal(count(root, "refused"), 1);
    assert_int_equal(count(root, "pairs"), 1); /* of one boat, never of two */
    cJSON_Delete(root);
}

/* A name spelt otherwise in the log: the lines do not vanish without a word. */
static void lines_of_no_boat_are_told(void **state)
{
    (void)state;
    static const char log[] = "date,what was done,boat\n2016-05-01,zinc-changed,Lone Gull\n"
                              "2017-05-01,zinc-changed,tern's reach\n";
    stage_write(stage_path("strange.csv"), log, sizeof log - 1);
    stage_expect(start_seasons(stage_path("one"), "--quiet", "--service", stage_path("strange.csv"),
                               "--output", stage_path("strange")),
                 0);
    const char *report = read_all(stage_path("strange/report.txt"));
    assert_non_null(strstr(report, "line of the service log names a boat"));
    assert_non_null(strstr(report, "\"Lone Gull\", line 2"));
}

/* A log that was merely found ends no report, and a line that cannot be meant ends no log. */
static void a_bad_log_does_not_end_the_report(void **state)
{
    (void)state;
    static const char bad[] = "what we did\nthis and that\n";
    static const char half[] = "date,what was done\n13.05.2016,acid\n5.4.2016,zinc\n"
                               "2016-05-01,polish\n";
    char own[8192];
    strcpy(own, read_all(stage_path("one/service-log.csv")));
    stage_write(stage_path("one/service-log.csv"), bad, sizeof bad - 1);
    stage_expect_words(start_seasons(stage_path("one")), 0, "The service log beside the runs was");
    stage_expect_words(
        start_seasons(stage_path("one"), "--service", stage_path("one/service-log.csv")), 2,
        "the names of the columns are missing");
    stage_expect_words(start_seasons(stage_path("one"), "--service", stage_path("none.csv")), 2,
                       "none.csv");
    stage_expect(start_seasons(stage_path("one"), "--quiet", "--service", "none"), 0);
    stage_write(stage_path("one/service-log.csv"), half, sizeof half - 1);
    stage_expect(start_seasons(stage_path("one"), "--quiet", "--output", stage_path("half")), 0);
    const char *report = read_all(stage_path("half/report.txt"));
    assert_non_null(strstr(report, "Line 4 of the service log was left out"));
    assert_non_null(strstr(report, "with the day first"));
    stage_write(stage_path("one/service-log.csv"), own, strlen(own));
}

/* What the run files do not hold, and sources that are wanted. */
static void facts_and_sources_can_be_given(void **state)
{
    (void)state;
    static const char boat[] = "[boat]\nidentification = SK 41\n[engine 0]\nalarm = 91\n"
                               "serial = C6-1187\n";
    static const char run[] = "[run]\npurpose = after service\n";
    stage_write(stage_path("boat.ini"), boat, sizeof boat - 1);
    stage_write(stage_path("run.ini"), run, sizeof run - 1);
    stage_expect(start_seasons(stage_path("one"), "--quiet", "--boat", stage_path("boat.ini"),
                               "--source", "sea_temperature=130312", "--source",
                               "coolant_temperature=nobody", "--json", stage_path("boat.json")),
                 0);
    cJSON *root = result(stage_path("boat.json"));
    const cJSON *engine = cJSON_GetArrayItem(item(root, "engines"), 0);
    assert_string_equal(item(engine, "serial")->valuestring, "C6-1187");
    assert_true(item(engine, "alarm")->valuedouble == 98); /* the runs have it */
    assert_string_equal(
        item(cJSON_GetArrayItem(item(root, "boats"), 0), "identification")->valuestring, "SK 41");
    assert_int_equal(strlen(item(root, "boat_file_sha256")->valuestring), 64);
    cJSON_Delete(root);
    /* A source that some runs lack is wanted of the others; one that none has is told. */
    stage_expect(start_seasons(stage_path("one"), "--quiet", "--source", "sea_temperature=130312",
                               "--source", "coolant_temperature=nobody", "--output",
                               stage_path("nobody")),
                 0);
    const char *report = read_all(stage_path("nobody/report.txt"));
    assert_non_null(strstr(report, "Nothing came of --source coolant_temperature=nobody"));
    assert_null(strstr(report, "Nothing came of --source sea_temperature"));
    /* Nothing of it is kept. */
    stage_expect(start_seasons(stage_path("one"), "--quiet", "--json", stage_path("c.json")), 0);
    root = result(stage_path("c.json"));
    assert_string_equal(item(cJSON_GetArrayItem(item(root, "engines"), 0), "serial")->valuestring,
                        "");
    cJSON_Delete(root);
    stage_expect_words(start_seasons(stage_path("one"), "--boat", stage_path("run.ini")), 4,
                       "section [run]");
    stage_expect_words(start_seasons(stage_path("one"), "--boat", stage_path("none.ini")), 2,
                       "none.ini");
    stage_expect_words(start_seasons(stage_path("one"), "--source", "sea"), 4, "CHANNEL=SOURCE");
}

static void says_what_to_do_where_nothing_can_be_read(void **state)
{
    (void)state;
    assert_int_equal(mkdir(stage_path("empty"), 0700), 0);
    stage_expect_words(start_seasons(stage_path("empty")), 2, "there is no run file");
    stage_expect_words(start_seasons(stage_path("nowhere.h5")), 2, "nowhere.h5");
    stage_expect_words(start_seasons(stage_path("broken.h5")), 2, "broken.h5");
    stage_expect_words(start_seasons("--alarm", "900", stage_path("one")), 4, "--alarm");
    stage_expect_words(start_seasons("--quiet"), 4, "no run file is named");
    stage_expect_words(start_seasons(stage_path("one"), "--output", "/dev/null/x"), 3, "/dev/null");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(everything_is_written),
        cmocka_unit_test(the_cache_changes_nothing),
        cmocka_unit_test(engines_witness_each_other),
        cmocka_unit_test(boats_are_told_apart_and_broken_files_named),
        cmocka_unit_test(lines_of_no_boat_are_told),
        cmocka_unit_test(a_bad_log_does_not_end_the_report),
        cmocka_unit_test(facts_and_sources_can_be_given),
        cmocka_unit_test(says_what_to_do_where_nothing_can_be_read),
    };
    return cmocka_run_group_tests(tests, make_folders, stage_remove);
}
