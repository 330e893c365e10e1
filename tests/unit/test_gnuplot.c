/* gnuplot missing, failing, hanging, dying, complaining. Stand-ins on PATH play gnuplot. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "../../analyze/gnuplot.h"

static char folder[] = "/tmp/test_gnuplot.XXXXXX";
static char *old_path;

static int make_folder(void **state)
{
    (void)state;
    const char *path = getenv("PATH");
    old_path = strdup(path == NULL ? "/usr/bin:/bin" : path);
    return old_path == NULL || mkdtemp(folder) == NULL;
}

static int drop_folder(void **state)
{
    (void)state;
    char name[64];
    snprintf(name, sizeof name, "%s/gnuplot", folder);
    unlink(name);
    free(old_path);
    return rmdir(folder);
}

/* Puts a shell script that plays gnuplot first on PATH. */
static void play(const char *script)
{
    char name[64];
    char *path = malloc(strlen(old_path) + 80);
    assert_non_null(path);
    snprintf(name, sizeof name, "%s/gnuplot", folder);
    FILE *file = fopen(name, "w");
    assert_non_null(file);
    fprintf(file, "#!/bin/sh\n%s\n", script);
    assert_int_equal(fclose(file), 0);
    assert_int_equal(chmod(name, 0755), 0);
    sprintf(path, "%s:%s", folder, old_path);
    assert_int_equal(setenv("PATH", path, 1), 0);
    free(path);
}

/* Whatever the user's locale is, the degree sign in a script is read as UTF-8. */
static void runs_in_a_utf8_locale(void **state)
{
    (void)state;
    struct complaint said = {""};
    assert_int_equal(setenv("LC_ALL", "POSIX", 1), 0);
    play("test \"$LC_ALL\" = C.UTF-8 || exit 3");
    assert_int_equal(gnuplot_run(folder, "x.gp", 20, &said), STATUS_OK);
    assert_int_equal(unsetenv("LC_ALL"), 0);
}

static void runs_in_the_folder_without_start_up_files(void **state)
{
    (void)state;
    struct complaint said = {"old"};
    char expected[96];
    play("test \"$1\" = -d && test \"$2\" = x.gp && test $# = 2 || exit 3\npwd\nread line && echo "
         "$line\nexit 0");
    assert_int_equal(gnuplot_run(folder, "x.gp", 20, &said), STATUS_OK);
    snprintf(expected, sizeof expected, "gnuplot said about x.gp: %s ", folder);
    assert_string_equal(said.text, expected);
}

static void silence_leaves_no_complaint(void **state)
{
    (void)state;
    struct complaint said = {"old"};
    play("exit 0");
    assert_int_equal(gnuplot_run(folder, "x.gp", 20, &said), STATUS_OK);
    assert_string_equal(said.text, "");
}

static void missing_gnuplot_names_the_package(void **state)
{
    (void)state;
    struct complaint said;
    assert_int_equal(setenv("PATH", "/nonexistent", 1), 0);
    assert_int_equal(gnuplot_run(folder, "x.gp", 20, &said), STATUS_NO_TOOL);
    assert_non_null(strstr(said.text, "gnuplot-nox"));
}

static void failure_shows_its_words_in_one_line(void **state)
{
    (void)state;
    struct complaint said;
    play("printf 'line 3:\\n\\tundefined \\033[1mvariable\\n' >&2; exit 1");
    assert_int_equal(gnuplot_run(folder, "x.gp", 20, &said), STATUS_NO_TOOL);
    assert_non_null(strstr(said.text, "exit code 1"));
    assert_non_null(strstr(said.text, "line 3: undefined"));
    assert_null(strchr(said.text, '\n'));
    assert_null(strchr(said.text, '\033'));
}

static void death_is_told(void **state)
{
    (void)state;
    struct complaint said;
    play("kill -SEGV $$");
    assert_int_equal(gnuplot_run(folder, "x.gp", 20, &said), STATUS_NO_TOOL);
    assert_non_null(strstr(said.text, "died"));
}

/* The whole process group goes: a child that holds the pipe open must not keep us waiting. */
static void hanging_gnuplot_is_stopped(void **state)
{
    (void)state;
    struct complaint said;
    play("sleep 300 & sleep 300");
    assert_int_equal(gnuplot_run(folder, "x.gp", 1, &said), STATUS_NO_TOOL);
    assert_non_null(strstr(said.text, "took more than 1 s"));
}

static void endless_words_are_bounded(void **state)
{
    (void)state;
    struct complaint said;
    play("head -c 5000000 /dev/zero | tr '\\0' 'x' >&2; exit 1");
    assert_int_equal(gnuplot_run(folder, "x.gp", 60, &said), STATUS_NO_TOOL);
    assert_true(strlen(said.text) < 800);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(runs_in_the_folder_without_start_up_files),
        cmocka_unit_test(runs_in_a_utf8_locale),
        cmocka_unit_test(silence_leaves_no_complaint),
        cmocka_unit_test(missing_gnuplot_names_the_package),
        cmocka_unit_test(failure_shows_its_words_in_one_line),
        cmocka_unit_test(death_is_told),
        cmocka_unit_test(hanging_gnuplot_is_stopped),
        cmocka_unit_test(endless_words_are_bounded),
    };
    return cmocka_run_group_tests_name("gnuplot", tests, make_folder, drop_folder);
}
