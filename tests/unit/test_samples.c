/* test_samples.c - sample-runs/ is what scripts/make-sample-runs makes, says the truth, and is
 * small. */
#include <dirent.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

#include "../simulated/writers.h"

#define REFERENCE_SEA 16.5 /* degC of the table in the README */

static const struct sample {
    const char *path, *scenario;
    uint64_t seed;
} sentences[] = {{"sample-runs/before.nmea", "tern-before", 41},
                 {"sample-runs/after.nmea", "tern-after", 42}},
  frames[] = {{"sample-runs/sisters-before.log.gz", "sisters-before", 58},
              {"sample-runs/sisters-after.log.gz", "sisters-after", 59}};

static struct boat_scenario named(const char *name, uint64_t seed)
{
    struct boat_scenario scenario;
    assert_true(boat_scenario_named(name, &scenario));
    scenario.seed = seed;
    return scenario;
}

/* Reads both streams to their ends; they must hold the same bytes. */
static void check_same(FILE *kept, FILE *made)
{
    char a[4096], b[4096];
    for (size_t at = 0;; at += sizeof a) {
        const size_t got = fread(a, 1, sizeof a, kept), fresh = fread(b, 1, sizeof b, made);
        if (got != fresh || memcmp(a, b, got) != 0)
            fail_msg("differs within %zu bytes of offset %zu", sizeof a, at);
        if (got == 0)
            return;
    }
}

static FILE *made_0183(const struct sample *sample)
{
    const struct boat_scenario scenario = named(sample->scenario, sample->seed);
    FILE *to = tmpfile();
    assert_non_null(to);
    assert_int_equal(write_0183(&scenario, false, to, NULL), STATUS_OK);
    rewind(to);
    return to;
}

static void test_sentences_are_reproducible(void **state)
{
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        FILE *kept = fopen(sentences[i].path, "r"), *made = made_0183(&sentences[i]);
        assert_non_null(kept);
        check_same(kept, made);
        fclose(kept);
        fclose(made);
    }
}

/* What gzip unpacks, in a file without a name. */
static FILE *unpacked(const char *path)
{
    FILE *to = tmpfile();
    assert_non_null(to);
    const pid_t child = fork();
    if (child == 0) {
        dup2(fileno(to), STDOUT_FILENO);
        execlp("gzip", "gzip", "-dc", path, (char *)NULL);
        _exit(127);
    }
    int code;
    assert_int_equal(waitpid(child, &code, 0), child);
    assert_true(WIFEXITED(code) && WEXITSTATUS(code) == 0);
    rewind(to);
    return to;
}

static void test_frames_are_reproducible(void **state)
{
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const struct boat_scenario scenario = named(frames[i].scenario, frames[i].seed);
        FILE *kept = unpacked(frames[i].path), *made = tmpfile();
        assert_non_null(made);
        assert_int_equal(write_n2k(&scenario, 10, made, NULL), STATUS_OK);
        rewind(made);
        check_same(kept, made);
        fclose(kept);
        fclose(made);
    }
}

static void check_row(const char *line, double rpm)
{
    const struct boat_scenario before = named("tern-before", 41);
    const struct boat_scenario after = named("tern-after", 42);
    double told[4];
    /* The minus of the table is a typographic one. */
    assert_int_equal(
        sscanf(line, "%lf | %lf | −%lf | %lf |", &told[0], &told[1], &told[2], &told[3]), 4);
    const double b = boat_steady_coolant(&before.engine[0], rpm, REFERENCE_SEA, 1.0);
    const double a = boat_steady_coolant(&after.engine[0], rpm, REFERENCE_SEA, 1.0);
    const double ratio =
        boat_open_rise(&after.engine[0], rpm, 1.0) / boat_open_rise(&before.engine[0], rpm, 1.0);
    assert_true(fabs(told[0] - b) < 0.051 && fabs(told[1] - a) < 0.051);
    assert_true(fabs(told[2] - (b - a)) < 0.051 && fabs(told[3] - ratio) < 0.00051);
}

static void test_readme_tells_the_truth(void **state)
{
    (void)state;
    static const struct row {
        const char *start;
        double rpm;
    } rows[] = {{"| 1,000 | ", 1000}, {"| 1,400 | ", 1400}, {"| 1,800 | ", 1800},
                {"| 2,200 | ", 2200}, {"| 2,500 | ", 2500}, {"| 2,800 | ", 2800}};
    char line[400];
    size_t found = 0;
    FILE *readme = fopen("sample-runs/README.md", "r");
    assert_non_null(readme);
    while (fgets(line, sizeof line, readme) != NULL)
        for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
            if (strncmp(line, rows[i].start, strlen(rows[i].start)) == 0) {
                check_row(line + strlen(rows[i].start), rows[i].rpm);
                found++;
            }
    fclose(readme);
    assert_int_equal(found, sizeof rows / sizeof *rows);
}

static void test_folder_is_small(void **state)
{
    (void)state;
    char path[512];
    long long bytes = 0;
    DIR *folder = opendir("sample-runs");
    assert_non_null(folder);
    for (struct dirent *entry; (entry = readdir(folder)) != NULL;) {
        struct stat about;
        snprintf(path, sizeof path, "sample-runs/%s", entry->d_name);
        if (stat(path, &about) == 0 && S_ISREG(about.st_mode))
            bytes += about.st_size;
    }
    closedir(folder);
    assert_in_range(bytes, 1000000, 10000000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sentences_are_reproducible),
        cmocka_unit_test(test_frames_are_reproducible),
        cmocka_unit_test(test_readme_tells_the_truth),
        cmocka_unit_test(test_folder_is_small),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
