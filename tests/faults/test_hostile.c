/* test_hostile.c - run files that were made to do harm: endless, looping, of wrong kinds, or such
 * that the library crashes. Each gets words and exit status 2, within bounds of memory. Files made
 * by hostile.py. */
#include "../whole/stage.h"

#include <sys/resource.h>

/* Far above what any of these takes (25 MB, and 130 MB for an attribute of 64 MB), and far below
 * what they would inflate to (4 GB and more); the address sanitizer multiplies what is used. */
#define MEMORY_MAX_KB (1500L * 1024)

static bool made;

static int make(void **state)
{
    if (stage_make(state) != 0)
        return -1;
    pid_t child = fork();
    if (child == 0) {
        execl("/usr/bin/python3", "python3", "tests/faults/hostile.py",
              "tests/frozen/run-format-1.h5", stage_folder, (char *)NULL);
        _exit(77);
    }
    int status;
    made = waitpid(child, &status, 0) == child && WIFEXITED(status) && WEXITSTATUS(status) == 0;
    bool cannot = WIFEXITED(status) && WEXITSTATUS(status) == 77;
    if (cannot)
        print_message("python3 with h5py is not here\n");
    return made || cannot ? 0 : -1;
}

static void test_refused(void **state)
{
    (void)state;
    static const char *const names[] = {
        "long_zeros",    "one_chunk", "big_text",     "loop",       "soft_loop",   "outside",
        "itself",        "groups",    "deep",         "text_times", "group_times", "tiny_chunks",
        "big_attribute", "twice",     "column_twice", "many_events"};
    struct rusage used;
    if (!made)
        skip();
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char name[64];
        snprintf(name, sizeof name, "%s.h5", names[i]);
        /* check goes on behind a table that is too long, and says that too. */
        const char *verb = strcmp(names[i], "many_events") == 0 ? "show" : "check";
        const char *const arguments[] = {"searun-analyze", verb, stage_path(name), NULL};
        stage_expect_words(stage_start_with(NULL, stage_program("SEARUN_ANALYZE"), arguments), 2,
                           "is damaged, or was changed by another program");
        assert_int_equal(getrusage(RUSAGE_CHILDREN, &used), 0);
        if (used.ru_maxrss > MEMORY_MAX_KB)
            fail_msg("%s: %ld MB of memory", names[i], used.ru_maxrss / 1024);
    }
    print_message("at most %ld MB of memory\n", used.ru_maxrss / 1024);
}

/* What cannot be foreseen: the library itself crashes, or the system takes the program away. */
static void test_crash(void **state)
{
    (void)state;
    static const struct {
        const char *number;
        int code;
        const char *words;
    } ways[] = {{"6", 2, "use an undamaged copy"}, {"9", 5, "where memory runs out"}};
    const char *program = stage_program("SEARUN_ANALYZE"), *slash = strrchr(program, '/');
    char shim[500], real[4096], environment[4200];
    snprintf(shim, sizeof shim, "%.*s/tests/faults/shim_crash.so",
             slash ? (int)(slash - program) : 1, slash ? program : ".");
    if (!realpath(shim, real))
        fail_msg("%s is not built", shim);
    snprintf(environment, sizeof environment, "LD_PRELOAD=%s", real);
    setenv("ASAN_OPTIONS", "verify_asan_link_order=0", 1);
    for (size_t i = 0; i < 2; i++) {
        const char *const arguments[] = {"searun-analyze", "show", "tests/frozen/run-format-1.h5",
                                         NULL};
        setenv("SHIM_CRASH", ways[i].number, 1);
        stage_expect_words(stage_start_with(environment, program, arguments), ways[i].code,
                           ways[i].words);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_crash),
    };
    return cmocka_run_group_tests(tests, make, stage_remove);
}
