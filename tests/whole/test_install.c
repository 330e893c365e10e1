/* test_install.c - make install puts down what the installed README names, and make uninstall takes
 * all of it away. */
#include "stage.h"

/* A line of the shell from the top folder. The programs are those of the tests, and are not made
 * anew. */
static struct program start_make(const char *rest)
{
    char line[3000];
    snprintf(line, sizeof line,
             "B=$(dirname '%s'); T='%s'; "
             "run() { env -u MAKEFLAGS -u MAKELEVEL make -s -o programs $1 B=$B PREFIX=/usr "
             "DESTDIR=$T/root; }; "
             "doc=$T/root/usr/share/doc/searun; %s",
             stage_program("SEARUN_LOGGER"), stage_folder, rest);
    return stage_start_with(NULL, "/bin/sh", (const char *const[]){"sh", "-ec", line, NULL});
}

static void readme_names_nothing_that_is_missing(void **state)
{
    (void)state;
    stage_expect(
        start_make("run install; test -s $T/root/usr/share/man/man1/searun-analyze.1; "
                   "grep -o '](\\([^)]*\\))' $doc/README.md | sed 's/^](//; s/)$//' | "
                   "grep -v '^https\\?:' > $T/named; test $(wc -l < $T/named) -gt 3; "
                   "while read -r file; do test -s $doc/$file || { echo \"missing: $file\"; "
                   "exit 1; }; done < $T/named"),
        0);
    assert_true(stage_exists(stage_path("root/usr/bin/searun-analyze")));
}

static void uninstall_leaves_nothing(void **state)
{
    (void)state;
    stage_expect(start_make("run uninstall; test -z \"$(find $T/root -type f)\""), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(readme_names_nothing_that_is_missing),
        cmocka_unit_test(uninstall_leaves_nothing),
    };
    return cmocka_run_group_tests_name("install", tests, stage_make, stage_remove);
}
