/* test_sheets.c - boats without a data bus, by the programs: sheets and files of other loggers
 * become runs that compare. */
#include "stage.h"

/* What the boat model's technician writes down; fouling in K/kW. */
static void fill_in(const char *sheet, const char *purpose, const char *fouling, const char *seed)
{
    const char *const arguments[] = {
        "boat-model", "--scenario", "up-and-down", "--format", "sheet", "--output", sheet,
        "--purpose",  purpose,      "--seed",      seed,       fouling, NULL};
    stage_expect(stage_start_with(NULL, stage_program("SEARUN_BOAT_MODEL"), arguments), 0);
}

static void test_pair_of_sheets(void **state)
{
    (void)state;
    char before[300], after[300], json[300];
    snprintf(before, sizeof before, "%s", stage_path("before.h5"));
    snprintf(after, sizeof after, "%s", stage_path("after.h5"));
    snprintf(json, sizeof json, "%s", stage_path("result.json"));
    fill_in(stage_path("before.csv"), "before", "fouling=0.25", "1");
    fill_in(stage_path("after.csv"), "after", "fouling=0.0", "2");
    stage_expect_words(start_logger("--sheet", stage_path("before.csv"), "--output", before), 0,
                       "11 rows, 33 readings");
    stage_expect_words(start_logger("--sheet", stage_path("after.csv"), "--output", after), 0,
                       "made ");
    const char *const arguments[] = {
        "searun-analyze", "compare", "--before", before, "--after", after, "--json", json, NULL};
    struct program program = stage_start_with(NULL, stage_program("SEARUN_ANALYZE"), arguments);
    assert_int_equal(stage_wait(&program), 0);
    const char *said = stage_said(&program);
    static const char *const expected[] = {"Coolant temperature lowered", "read by hand (gauge)",
                                           "Step of the coolant", "22 holds were used"};
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++)
        if (!strstr(said, expected[i]))
            fail_msg("\"%s\" is not in:\n%s", expected[i], said);
    assert_null(strstr(said, "taken out or not used")); /* nothing stuck, spiky or silent */
    stage_expect_words(start_analyze("check", before), 0, "sound");
}

/* The sheet's own bytes are in the run, and come out of it. */
static void test_sheet_can_be_read_again(void **state)
{
    (void)state;
    static const char text[] = "\xEF\xBB\xBF"
                               "boat;Two Sisters\r\ndate;2026-11-25\r\nheld;5 min\r\n"
                               "time;rpm;gauge [°C];sea [°C];notes\r\n"
                               "10:05;1000;73,5;16,5;\"two \"\"words\"\"\"\r\n10:10;abc;75;;\r\n";
    stage_write(stage_path("again.csv"), text, sizeof text - 1);
    stage_expect(
        start_logger("--sheet", stage_path("again.csv"), "--output", stage_path("first.h5")), 0);
    struct run *run = stage_open_run(stage_path("first.h5"));
    stage_expect(start_analyze("export", "--raw", stage_path("first.h5"), "--output",
                               stage_path("taken-out.csv")),
                 0);
    FILE *from = fopen(stage_path("taken-out.csv"), "r");
    char again[1000];
    assert_int_equal(fread(again, 1, sizeof again, from), sizeof text - 1);
    assert_memory_equal(again, text, sizeof text - 1);
    fclose(from);
    /* The same sheet under the same name, and the same data. */
    assert_int_equal(rename(stage_path("taken-out.csv"), stage_path("again.csv")), 0);
    stage_expect(
        start_logger("--sheet", stage_path("again.csv"), "--output", stage_path("second.h5")), 0);
    stage_same_run(stage_path("first.h5"), stage_path("second.h5"));
    assert_int_equal(stage_tally(run, 0, REASON_NOT_A_NUMBER), 1);
    assert_int_equal(stage_count(run, CHANNEL_COOLANT_TEMPERATURE), 2);
    run_close(run);
}

/* Everything in the example is understood. */
static void test_example(void **state)
{
    (void)state;
    struct program program = start_logger("--quiet", "--sheet", "logger/example-sheet.csv",
                                          "--output", stage_path("example.h5"));
    assert_int_equal(stage_wait(&program), 0);
    assert_string_equal(stage_said(&program), "");
    struct run *run = stage_open_run(stage_path("example.h5"));
    assert_int_equal(stage_count(run, CHANNEL_COOLANT_TEMPERATURE), 11);
    assert_int_equal(stage_count(run, CHANNEL_SPEED_HELD), 11);
    run_close(run);
}

/* As spreadsheets save "CSV" that is not UTF-8, and "Unicode text". */
static void test_other_encodings(void **state)
{
    (void)state;
    static const char plain[] = "date;25.11.2026\r\nheld;5\r\ntime;rpm;gauge [\xB0"
                                "C];notes\r\n"
                                "10:05;1000;73,5;r\xFC"
                                "ckw\xE4rts\r\n";
    char wide[2 * sizeof plain] = "\xFF\xFE";
    size_t length = 2;
    for (const char *c = plain; *c; c++, length += 2)
        wide[length] = *c, wide[length + 1] = '\0';
    stage_write(stage_path("1252.csv"), plain, sizeof plain - 1);
    stage_write(stage_path("wide.csv"), wide, length);
    stage_expect_words(
        start_logger("--sheet", stage_path("1252.csv"), "--output", stage_path("1252.h5")), 0,
        "read as WINDOWS-1252");
    stage_expect_words(
        start_logger("--sheet", stage_path("wide.csv"), "--output", stage_path("wide.h5")), 0,
        "read as UTF-16");
    stage_expect_words(start_analyze("show", stage_path("1252.h5")), 0,
                       "r\xC3\xBC"
                       "ckw\xC3\xA4rts");
    stage_expect_words(start_analyze("show", stage_path("wide.h5")), 0,
                       "r\xC3\xBC"
                       "ckw\xC3\xA4rts");
}

static void test_bad_sheets(void **state)
{
    (void)state;
    static const char empty[] = "date,2026-11-25\ntime,rpm\n";
    static const char archive[] = "PK\x03\x04 something";
    stage_write(stage_path("empty.csv"), empty, sizeof empty - 1);
    stage_write(stage_path("book.xlsx"), archive, sizeof archive - 1);
    stage_expect_words(
        start_logger("--sheet", stage_path("empty.csv"), "--output", stage_path("none.h5")), 1,
        "no row with a time");
    stage_expect_words(
        start_logger("--sheet", stage_path("book.xlsx"), "--output", stage_path("none.h5")), 1,
        "save it from the spreadsheet as CSV");
    stage_expect_words(
        start_logger("--sheet", stage_path("absent.csv"), "--output", stage_path("none.h5")), 1,
        "No such file");
    assert_false(stage_exists(stage_path("none.h5")));
    assert_false(stage_exists(stage_path("none.h5.part")));
    stage_expect_words(start_logger("--csv", stage_path("empty.csv")), 2,
                       "are: --columns \"time=Time");
    stage_expect_words(start_logger("--sheet", stage_path("empty.csv"), "--duration", "5"), 2,
                       "nothing is replayed");
}

static void test_blank_sheets(void **state)
{
    (void)state;
    char table[300], page[300];
    snprintf(table, sizeof table, "%s", stage_path("blank.csv"));
    snprintf(page, sizeof page, "%s", stage_path("blank.html"));
    stage_expect(start_logger("--config", "logger/example.ini", "--blank-sheet", table), 0);
    stage_expect(start_logger("--config", "logger/example.ini", "--blank-sheet", page), 0);
    stage_expect_words(start_logger("--blank-sheet", page), 1, "never overwritten");
    stage_expect_words(start_logger("--blank-sheet", stage_path("blank.doc")), 2, ".html");
    /* Read as it is: it has everything but readings, and nothing in it is misunderstood. */
    struct program program =
        start_logger("--quiet", "--sheet", table, "--output", stage_path("none.h5"));
    assert_int_equal(stage_wait(&program), 1);
    assert_null(strstr(stage_said(&program), "warning"));
    assert_non_null(strstr(stage_said(&program), "no date stands above the table"));
    /* What is known already stands on both as people write it. */
    const char *const names[] = {table, page};
    for (size_t i = 0; i < 2; i++) {
        char *bytes = stage_read(names[i]);
        if (!strstr(bytes, "71 to 82 °C"))
            fail_msg("no thermostat in %s", names[i]);
        free(bytes);
    }
}

/* A logger of thermocouples beside speeds that were written down. */
static void test_sheet_and_csv(void **state)
{
    (void)state;
    static const char sheet[] = "date,2026-11-25\ntime zone,+02:00\nheld,5 min\ntime,rpm,sea [°C]\n"
                                "12:05,1000,16.5\n12:10,1400,16.5\n";
    static const char map[] = "# the channels of the logger\ntime[s] = seconds\n"
                              "start = 2026-11-25 10:00:00 UTC\ncoolant_temperature[F] = T1\n";
    FILE *to = fopen(stage_path("log.csv"), "w");
    assert_non_null(to);
    fputs("seconds,T1\n", to);
    for (int i = 0; i <= 600; i += 20)
        fprintf(to, "%d,%.1f\n", i, 160.0 + i / 100.0);
    fclose(to);
    stage_write(stage_path("both.csv"), sheet, sizeof sheet - 1);
    stage_write(stage_path("log.map"), map, sizeof map - 1);
    stage_expect(start_logger("--sheet", stage_path("both.csv"), "--csv", stage_path("log.csv"),
                              "--columns", stage_path("log.map"), "--output",
                              stage_path("both.h5")),
                 0);
    struct run *run = stage_open_run(stage_path("both.h5"));
    assert_int_equal(stage_count(run, CHANNEL_COOLANT_TEMPERATURE), 31);
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), 2);
    assert_int_equal(run_about(run)->start_unix_us / 1000000, 1795600800);
    run_close(run);
    /* Sampled every 20 s is no gap, and both holds are found. */
    stage_expect_words(start_analyze("show", stage_path("both.h5")), 0, "31");
}

/* What people give for a sheet: the page to print, the spreadsheet's own file, a photograph. */
static void test_files_of_another_kind(void **state)
{
    (void)state;
    static const struct {
        const char *name, *bytes, *words;
    } cases[] = {
        {"own.xlsx", "PK\x03\x04...", "save it from the spreadsheet as CSV"},
        {"photo.jpg", "\xFF\xD8\xFF\xE0...", "is a picture; write what is on it into the table"},
        {"scan.pdf", "%PDF-1.7", "is a page to print"},
        {"run.h5", "\x89HDF\r\n\x1A\n", "is a run file already"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        stage_write(stage_path(cases[i].name), cases[i].bytes, strlen(cases[i].bytes));
        stage_expect_words(start_logger("--sheet", stage_path(cases[i].name)), 1, cases[i].words);
    }
    stage_expect(start_logger("--blank-sheet", stage_path("paper.html")), 0);
    stage_expect_words(start_logger("--sheet", stage_path("paper.html")), 1,
                       "is the page to print and to write on. At the desk, make the table with "
                       "searun-logger --blank-sheet sheet.csv");
    stage_expect_words(start_logger("--sheet", stage_folder), 1,
                       "it is a folder; name a file in it");
}

/* What a comparison will want is said while the paper is at hand. */
static void test_says_what_is_missing(void **state)
{
    (void)state;
    static const char text[] = "date,2026-11-25\nheld,5 min\ntime,rpm,gauge [°F]\n"
                               "10:05,1000,165\n10:10,1400,170\n";
    stage_write(stage_path("bare.csv"), text, sizeof text - 1);
    stage_expect_words(
        start_logger("--sheet", stage_path("bare.csv"), "--output", stage_path("bare-1.h5")), 0,
        "write a line \"thermostat,160 to 180 °F\" above the table");
    stage_expect_words(
        start_logger("--sheet", stage_path("bare.csv"), "--output", stage_path("bare-2.h5")), 0,
        "one line \"sea temperature,16.5 °C\" above the table");
    struct program told =
        start_logger("--sheet", stage_path("bare.csv"), "--output", stage_path("bare-3.h5"),
                     "--set", "engine0.thermostat=71,82", "--set", "run.sea_temperature=16.5");
    stage_expect(told, 0);
    assert_null(strstr(stage_said(&told), "thermostat,"));
    assert_null(strstr(stage_said(&told), "sea temperature,"));
    static const char second[] = "date,2026-11-25\nheld,5 min\nsea temperature,16.5\n"
                                 "time,rpm 1,gauge 1 [°F]\n10:05,1000,165\n10:10,1400,170\n";
    stage_write(stage_path("second.csv"), second, sizeof second - 1);
    stage_expect_words(
        start_logger("--sheet", stage_path("second.csv"), "--output", stage_path("second-1.h5")), 0,
        "write a line \"thermostat 1,160 to 180 °F\" above the table");
    static const char twin[] = "date,2026-11-25\nheld,5 min\nsea temperature,16.5\n"
                               "time,rpm,gauge [°F],rpm 1,gauge 1 [°F]\n10:05,1000,165,1000,166\n";
    stage_write(stage_path("twin.csv"), twin, sizeof twin - 1);
    struct program both =
        start_logger("--sheet", stage_path("twin.csv"), "--output", stage_path("twin-1.h5"));
    stage_expect(both, 0);
    assert_non_null(strstr(stage_said(&both), "the thermostat of engine 0 opens"));
    assert_non_null(
        strstr(stage_said(&both), "the same is missing for engine 1 (engine1.thermostat)"));
    stage_expect_words(start_logger("--sheet", stage_path("twin.csv"), "--output",
                                    stage_path("twin-2.h5"), "--set", "engine0.thermostat=71,82"),
                       0, "the thermostat of engine 1 opens");
}

/* The words as they were printed, with one blank for every run of blanks and line ends. */
static void expect_flat(struct program program, const char *const *parts, const char *never)
{
    static char words[200000];
    size_t length = 0;
    stage_expect(program, 0);
    for (const char *at = stage_said(&program); *at != '\0'; at++)
        if (*at != ' ' && *at != '\n')
            words[length++] = *at;
        else if (length > 0 && words[length - 1] != ' ')
            words[length++] = ' ';
    words[length] = '\0';
    for (; *parts != NULL; parts++)
        if (strstr(words, *parts) == NULL)
            fail_msg("\"%s\" is not in:\n%s", *parts, words);
    if (strstr(words, never) != NULL)
        fail_msg("\"%s\" is in:\n%s", never, words);
}

static void write_both(const char *name, const char *day, const char *purpose, const char *columns,
                       const char *const *readings)
{
    char text[2000];
    char path[300];
    int n = snprintf(text, sizeof text,
                     "boat,Tern's Reach\ndate,%s\npurpose,%s\nthermostat,71 to 82 °C\nheld,5 min\n"
                     "sea temperature,16.5\ntime,rpm,%s\n",
                     day, purpose, columns);
    for (int i = 0; readings[i] != NULL; i++)
        n += snprintf(text + n, sizeof text - (size_t)n, "10:%02d,%s\n", 5 + 6 * i, readings[i]);
    snprintf(path, sizeof path, "%s.csv", stage_path(name));
    stage_write(path, text, (size_t)n);
    char run[300];
    snprintf(run, sizeof run, "%s.h5", stage_path(name));
    stage_expect(start_logger("--sheet", path, "--output", run), 0);
}

/* Only the line that says how long each speed was held is missing: nobody has to go out again. */
static void test_speeds_that_nobody_says_were_held(void **state)
{
    (void)state;
    static const char text[] = "boat,Tern's Reach\ndate,2026-12-20\npurpose,after service\n"
                               "thermostat,71 to 82 °C\nheld,five minutes\nsea temperature,16.5\n"
                               "time,rpm,gauge [°C]\n10:05,1000,74\n10:11,1800,82\n10:17,2800,97\n";
    static const char *const before_rows[] = {"1000,74", "1800,82", "2800,101", NULL};
    static const char *const compared[] = {
        "no usable steady hold after the service. The sheet of the run after does not say how long "
        "each speed was held.",
        "To record next: Add the line \"held,5 min\" above the table of that sheet",
        "1800 rpm was read at minute 6, but the sheet does not say how long it was held.", NULL};
    static const char *const shown[] = {
        "0 holds can be used. Not used: the sheet does not say how long it was held: 3",
        "add the line \"held,5 min\" above its table", NULL};
    static const char *const over[] = {
        "its sheet does not say how long each speed was held; add the line \"held,5 min\"", NULL};
    char before[300], after[300];
    snprintf(before, sizeof before, "%s", stage_path("said-a.h5"));
    snprintf(after, sizeof after, "%s", stage_path("said-b.h5"));
    write_both("said-a", "2026-11-25", "before service", "housing [°C]", before_rows);
    stage_write(stage_path("said-b.csv"), text, sizeof text - 1);
    stage_expect(start_logger("--sheet", stage_path("said-b.csv"), "--output", after), 0);
    expect_flat(start_analyze("compare", "--before", before, "--after", after), compared,
                "Hold the same four");
    expect_flat(start_analyze("show", after), shown, "Hold ");
    expect_flat(start_analyze("seasons", "--no-cache", before, after), over, "Hold ");
}

/* A mark like "cap on" before a service is no step that follows it; without a purpose it may be. */
static void test_steps_that_follow_a_service(void **state)
{
    (void)state;
    static const char *const rows[] = {"1000,74,cap on", "1800,82,", "2800,97,", NULL};
    static const struct {
        const char *purpose, *words, *never;
    } runs[] = {
        {"before service", "Steady holds that a comparison would find", "After the service"},
        {"after service", "After the service", "Nothing"},
        {"other", "After the service", "Nothing"}};
    for (size_t i = 0; i < sizeof runs / sizeof runs[0]; i++) {
        const char *const words[] = {runs[i].words, "cap on", NULL};
        char run[300];
        write_both("steps", "2026-11-25", runs[i].purpose, "housing [°C],notes", rows);
        snprintf(run, sizeof run, "%s", stage_path("steps.h5"));
        expect_flat(start_analyze("show", run), words, runs[i].never);
        unlink(run);
    }
}

/* One number for all that did not come in, whatever the reason. */
static void test_all_that_is_left_out_is_counted(void **state)
{
    (void)state;
    static const char text[] = "date,2026-11-25\nheld,5 min\nrated rpm,fast\n"
                               "time,rpm,gauge [°C],sea [°C],tea [°C],notes\n"
                               "10:05,1000,75,16.5,60,\n10:11,abc,900,16.5,,\n"
                               "soon,1800,80,16.5,,\n10:23,2200,85,,61,\n";
    stage_write(stage_path("count.csv"), text, sizeof text - 1);
    stage_expect_words(
        start_logger("--sheet", stage_path("count.csv"), "--output", stage_path("count.h5")), 1,
        "6 left out (the text is kept): 1 row without a readable date or time, 2 entries that "
        "could not be read, 1 value that cannot be believed, 2 entries in no column that is known");
}

/* A run that lacks rows is kept, and said not to be whole. */
static void test_lost_rows(void **state)
{
    (void)state;
    static const char sheet[] = "held,5 min\ndate,time,rpm,gauge [C],sea [C]\n"
                                "2026-11-25,10:05,1000,75,16\n5/6/2026,10:11,1400,77,16\n"
                                ",10:17,1800,80,16\n";
    static const char *const map = "time=t; coolant_temperature[C]=T";
    char csv[2000] = "t,T\n-,degC\n";
    stage_write(stage_path("lost.csv"), sheet, sizeof sheet - 1);
    stage_expect_words(
        start_logger("--sheet", stage_path("lost.csv"), "--output", stage_path("lost.h5")), 1,
        "2 of 3 rows were not taken, for want of a date or time that can be read, so the run is "
        "not whole");
    struct run *run = stage_open_run(stage_path("lost.h5"));
    assert_int_equal(stage_count(run, CHANNEL_COOLANT_TEMPERATURE), 1);
    run_close(run);
    for (int i = 10; i < 30; i++)
        snprintf(csv + strlen(csv), sizeof csv - strlen(csv), "2026-11-25 10:%d,80\n", i);
    stage_write(stage_path("few.csv"), csv, strlen(csv)); /* the line of units is no row */
    stage_expect_words(start_logger("--csv", stage_path("few.csv"), "--columns", map, "--output",
                                    stage_path("few.h5")),
                       0, "1 of 21 rows was not taken");
    for (int i = 30; i < 33; i++)
        snprintf(csv + strlen(csv), sizeof csv - strlen(csv), "25.11.26 10:%d,80\n", i);
    stage_write(stage_path("many.csv"), csv, strlen(csv));
    stage_expect_words(start_logger("--csv", stage_path("many.csv"), "--columns", map, "--output",
                                    stage_path("many.h5")),
                       1,
                       "4 of 24 rows were not taken, for want of a date or time that can be "
                       "read, so the run is not whole");
}

/* A gauge and an infrared thermometer on one sheet: which was used is said, and the sender did not
 * change because the other sheet has only one of them. */
static void test_gauge_and_infrared(void **state)
{
    (void)state;
    static const char *const both[] = {"1000,165,74", "1800,180,82", "2800,215,101", NULL};
    static const char *const one[] = {"1000,74", "1800,82", "2800,97", NULL};
    static const char *const compared[] = {
        "In hands-a.h5 the coolant was read by hand with two instruments: the readings of "
        "\"infrared thermometer\" were used, those of \"gauge\" were not. --source "
        "coolant_temperature=gauge uses the others.",
        NULL};
    static const char *const over[] = {
        "In 1 outing (the first: hands-a.h5) the coolant was read by hand with two instruments. In "
        "the first the readings of \"infrared thermometer\" were used",
        NULL};
    static const char *const other[] = {"\"gauge\" were used", "=infrared uses", NULL};
    char before[300], after[300];
    snprintf(before, sizeof before, "%s", stage_path("hands-a.h5"));
    snprintf(after, sizeof after, "%s", stage_path("hands-b.h5"));
    write_both("hands-a", "2026-11-25", "before service", "gauge [°F],housing [°C]", both);
    write_both("hands-b", "2026-12-20", "after service", "housing [°C]", one);
    expect_flat(start_analyze("compare", "--before", before, "--after", after), compared,
                "another coolant sender");
    expect_flat(start_analyze("seasons", before, after, "--no-cache"), over, "in other words");
    expect_flat(
        start_analyze("seasons", before, "--no-cache", "--source", "coolant_temperature=gauge"),
        other, "in other words");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pair_of_sheets),
        cmocka_unit_test(test_sheet_can_be_read_again),
        cmocka_unit_test(test_example),
        cmocka_unit_test(test_bad_sheets),
        cmocka_unit_test(test_other_encodings),
        cmocka_unit_test(test_blank_sheets),
        cmocka_unit_test(test_sheet_and_csv),
        cmocka_unit_test(test_files_of_another_kind),
        cmocka_unit_test(test_says_what_is_missing),
        cmocka_unit_test(test_gauge_and_infrared),
        cmocka_unit_test(test_speeds_that_nobody_says_were_held),
        cmocka_unit_test(test_steps_that_follow_a_service),
        cmocka_unit_test(test_all_that_is_left_out_is_counted),
        cmocka_unit_test(test_lost_rows),
    };
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
