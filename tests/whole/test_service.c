/* The service history from outside: a technician writes lines, a comparison finds the log beside
 * the runs and tells it with the steps after a service. Run files: sample-runs/. */
#include "stage.h"

#include <cjson/cJSON.h>

static size_t read_file(const char *path, char *bytes, size_t room)
{
    FILE *file = fopen(path, "rb");
    if (file == NULL)
        fail_msg("%s is not there", path);
    size_t length = fread(bytes, 1, room - 1, file);
    bytes[length] = '\0';
    fclose(file);
    return length;
}

static void copy(const char *from, const char *to)
{
    static char bytes[4 << 20];
    size_t length = read_file(from, bytes, sizeof bytes);
    assert_true(length > 1000 && length < sizeof bytes - 1);
    stage_write(to, bytes, length);
}

static int copy_runs(void **state)
{
    if (stage_make(state) != 0)
        return -1;
    copy("sample-runs/before.h5", stage_path("before.h5"));
    copy("sample-runs/after.h5", stage_path("after.h5"));
    return 0;
}

static const char *log_now(void)
{
    static char bytes[8192];
    read_file(stage_path("service-log.csv"), bytes, sizeof bytes);
    return bytes;
}

/* The words as they were printed, with one blank for every run of blanks and line ends: how lines
 * are broken is none of this test's business. */
static const char *flat(const struct program *program)
{
    static char words[200000];
    size_t length = 0;
    for (const char *at = stage_said(program); *at != '\0'; at++)
        if (*at != ' ' && *at != '\n')
            words[length++] = *at;
        else if (length > 0 && words[length - 1] != ' ')
            words[length++] = ' ';
    words[length] = '\0';
    return words;
}

static void expect_flat(struct program program, int code, const char *words)
{
    stage_expect(program, code);
    if (strstr(flat(&program), words) == NULL)
        fail_msg("\"%s\" was not said, but:\n%s", words, stage_said(&program));
}

/* --- writing lines */

static void adds_and_tells(void **state)
{
    (void)state;
    expect_flat(start_analyze("service", stage_folder), 2, "there is no service log");
    expect_flat(start_analyze("service", stage_folder, "--date", "2014-04-10", "--what",
                              "exchanger-replaced", "--hours", "0", "--notes",
                              "came with the engine"),
                0, "2014-04-10, heat exchanger replaced");
    expect_flat(start_analyze("service", stage_path("after.h5"), "--date", "2024-10-21", "--what",
                              "rodded", "zinc", "--by", "the technician", "--engine", "main"),
                0, "tube bundle removed and rodded, engine main");
    assert_string_equal(log_now(),
                        "date,engine hours,engine,what was done,by,notes\n"
                        "2014-04-10,0,,heat exchanger replaced,,came with the engine\n"
                        "2024-10-21,,main,tube bundle removed and rodded,the technician,\n"
                        "2024-10-21,,main,zinc anode changed,the technician,\n");
    expect_flat(start_analyze("service", stage_path("service-log.csv")), 0,
                "2014-04-10 0 all heat exchanger");
}

/* A name that no run has would be left out of every report: said while it is fresh, and kept. */
static void looks_the_engine_up(void **state)
{
    (void)state;
    const char *log = stage_path("service-log.csv");
    char before[8192];
    size_t length = read_file(log, before, sizeof before);
    expect_flat(start_analyze("service", stage_folder, "--date", "2024-10-21", "--what", "zinc",
                              "acid", "--engine", "port"),
                0,
                "- Look again: no run beside the log has an engine \"port\"; there is engine 0 "
                "(\"main\"). What was added is kept, but reports leave it out");
    assert_non_null(strstr(log_now(), "2024-10-21,,port,zinc anode changed,,\n"));
    expect_flat(start_analyze("service", stage_path("before.h5"), "--date", "2024-10-21", "--what",
                              "zinc", "--engine", "1"),
                0, "has an engine 1; there is engine 0 (\"main\")");
    stage_write(log, before, length);
    expect_flat(start_analyze("service", stage_folder, "--date", "2024-10-21", "--what", "zinc",
                              "--engine", "MAIN"),
                0, "engine MAIN.");
    static const char *const known[] = {"main", "0", "all"};
    for (size_t i = 0; i < 3; i++) {
        struct program program = start_analyze("service", stage_folder, "--date", "2024-10-21",
                                               "--what", "zinc", "--engine", known[i]);
        stage_expect(program, 0);
        assert_null(strstr(stage_said(&program), "Look again"));
    }
    stage_write(log, before, length);
}

/* Where there is no run yet, the lines that are there may tell of a slip. */
static void looks_at_other_lines_without_runs(void **state)
{
    (void)state;
    char folder[4200];
    snprintf(folder, sizeof folder, "%s", stage_path("alone"));
    assert_int_equal(mkdir(folder, 0777), 0);
    const char *log = stage_path("alone/service-log.csv");
    static const char *const names[] = {"port", "port", "prot"};
    for (size_t i = 0; i < 3; i++) {
        struct program program = start_analyze("service", folder, "--date", "2024-10-21", "--what",
                                               "zinc", "--engine", names[i]);
        stage_expect(program, 0);
        const char *said = flat(&program);
        bool told = strstr(said, "named the engine \"prot\" before; others name \"port\"") != NULL;
        assert_true(told == (i == 2));
    }
    unlink(log);
    rmdir(folder);
}

static void refuses_and_changes_nothing(void **state)
{
    (void)state;
    char before[8192];
    read_file(stage_path("service-log.csv"), before, sizeof before);
    const char *folder = stage_folder;
    expect_flat(start_analyze("service", folder, "--what", "acid"), 4, "--date 2026-05-14");
    expect_flat(start_analyze("service", folder, "--date", "2024-10-22"), 4, "--what");
    expect_flat(start_analyze("service", folder, "--date", "2.10.2024", "--what", "acid"), 4,
                "write 2024-10-02 if 2 October is meant");
    expect_flat(
        start_analyze("service", folder, "--date", "2024-10-22", "--what", "zinc", "polish"), 4,
        "\"polish\" is no work of the list; write one of exchanger-acid-cleaned");
    expect_flat(start_analyze("service", folder, "--date", "2024-10-22", "--what", "zinc",
                              "--hours", "3,985"),
                4, "without a sign between the thousands");
    expect_flat(start_analyze("service", folder, "--date", "2024-10-22", "--what", "zinc", "--boat",
                              "Two Sisters"),
                2, "no column \"boat\"");
    expect_flat(start_analyze("service", stage_path("nowhere")), 2, "name the folder of the runs");
    expect_flat(start_analyze("service"), 4, "usage: searun-analyze service");
    assert_string_equal(log_now(), before);
}

/* --- in a comparison */

static cJSON *compare_json(const char *service)
{
    static char bytes[1 << 20];
    const char *json = stage_path("result.json");
    struct program program =
        service != NULL
            ? start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                            stage_path("after.h5"), "--quiet", "--json", json, "--service", service)
            : start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                            stage_path("after.h5"), "--quiet", "--json", json);
    stage_expect(program, 0);
    read_file(json, bytes, sizeof bytes);
    cJSON *root = cJSON_Parse(bytes);
    assert_non_null(root);
    return root;
}

static const char *text_of(const cJSON *object, const char *key)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, key);
    if (!cJSON_IsString(item))
        fail_msg("%s is no text", key);
    return item->valuestring;
}

static void a_comparison_finds_the_log(void **state)
{
    (void)state;
    cJSON *root = compare_json(NULL);
    const cJSON *work = cJSON_GetObjectItem(cJSON_GetObjectItem(root, "service_log"), "work");
    assert_int_equal(cJSON_GetArraySize(work), 3);
    const cJSON *first = cJSON_GetArrayItem(work, 0), *second = cJSON_GetArrayItem(work, 1);
    assert_string_equal(text_of(first, "what"), "exchanger-replaced");
    assert_true(cJSON_IsFalse(cJSON_GetObjectItem(first, "between_the_runs")));
    assert_true(cJSON_IsTrue(cJSON_GetObjectItem(second, "between_the_runs")));
    assert_non_null(strstr(text_of(root, "command"), "service-log.csv"));
    cJSON_Delete(root);
    root = compare_json("none");
    assert_true(cJSON_IsNull(cJSON_GetObjectItem(root, "service_log")));
    assert_null(strstr(text_of(root, "command"), "--service"));
    cJSON_Delete(root);
    expect_flat(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                              stage_path("after.h5")),
                0, "Age of the heat exchanger: fitted new on 2014-04-10, 10 years before");
}

static const cJSON *step(const cJSON *root, const char *key)
{
    const cJSON *item;
    cJSON_ArrayForEach(item,
                       cJSON_GetObjectItem(root, "checklist")) if (strcmp(text_of(item, "key"),
                                                                          key) == 0) return item;
    fail_msg("no step %s", key);
    return NULL;
}

static void steps_are_ticked_later(void **state)
{
    (void)state;
    cJSON *root = compare_json(NULL);
    assert_string_equal(text_of(step(root, "bled"), "state"), "not_recorded");
    assert_string_equal(text_of(step(root, "half-hour"), "state"), "confirmed");
    cJSON_Delete(root);
    const char *after = stage_path("after.h5");
    expect_flat(start_analyze("note", after, "all fine"), 4, "ticks no step after a service");
    expect_flat(start_analyze("note", after, "done=all fine"), 4, "Steps are filled, bled, cap-on");
    assert_false(stage_exists(stage_path("after.h5.notes")));
    expect_flat(start_analyze("note", after, "filled, bled, cap on; level not topped up"), 0,
                "- ticked: pressure cap on - not ticked, said to be not done: top up, engine cold");
    expect_flat(start_analyze("show", after), 0, "pressure cap on ticked remark added later");
    root = compare_json(NULL);
    assert_string_equal(text_of(step(root, "bled"), "state"), "ticked");
    assert_string_equal(text_of(step(root, "bled"), "words"), "bled");
    assert_string_equal(text_of(step(root, "cap-on"), "said"), "done");
    assert_string_equal(text_of(step(root, "topped-up"), "state"), "not_recorded");
    assert_string_equal(text_of(step(root, "warmed-again"), "state"), "not_recorded");
    cJSON_Delete(root);
}

static void a_broken_log_is_told(void **state)
{
    (void)state;
    static const char broken[] = "date,what\nsoon,zinc\n";
    stage_write(stage_path("service-log.csv"), broken, sizeof broken - 1);
    cJSON *root = compare_json(NULL);
    char *text = cJSON_PrintUnformatted(cJSON_GetObjectItem(root, "warnings"));
    assert_non_null(strstr(text, "service_log_unreadable"));
    assert_non_null(strstr(text, "line 2"));
    free(text);
    cJSON_Delete(root);
    expect_flat(start_analyze("compare", "--before", stage_path("before.h5"), "--after",
                              stage_path("after.h5"), "--service", stage_path("service-log.csv")),
                2, "line 2: \"soon\" is no date");
    expect_flat(start_analyze("service", stage_folder), 2, "line 2");
    expect_flat(start_analyze("service", stage_folder, "--date", "2024-10-22", "--what", "zinc"), 2,
                "line 2");
    assert_string_equal(log_now(), broken);
}

/* Several who write at the same time, into a log that none of them finds, lose nothing. */
static void many_write_at_once(void **state)
{
    (void)state;
    struct program programs[8];
    unlink(stage_path("service-log.csv"));
    for (size_t i = 0; i < 8; i++) {
        char hours[8];
        snprintf(hours, sizeof hours, "%zu", i);
        programs[i] = start_analyze("service", stage_folder, "--date", "2024-10-22", "--what",
                                    "zinc", "--hours", hours);
    }
    for (size_t i = 0; i < 8; i++)
        stage_expect(programs[i], 0);
    const char *log = log_now();
    size_t lines = 0;
    for (const char *at = log; *at != '\0'; at++)
        lines += *at == '\n';
    assert_int_equal(lines, 1 + 8);
    for (size_t i = 0; i < 8; i++) {
        char line[60];
        snprintf(line, sizeof line, "\n2024-10-22,%zu,,zinc anode changed,,\n", i);
        assert_non_null(strstr(log, line));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(adds_and_tells),
        cmocka_unit_test(looks_the_engine_up),
        cmocka_unit_test(looks_at_other_lines_without_runs),
        cmocka_unit_test(refuses_and_changes_nothing),
        cmocka_unit_test(a_comparison_finds_the_log),
        cmocka_unit_test(steps_are_ticked_later),
        cmocka_unit_test(a_broken_log_is_told),
        cmocka_unit_test(many_write_at_once),
    };
    return cmocka_run_group_tests(tests, copy_runs, stage_remove);
}
