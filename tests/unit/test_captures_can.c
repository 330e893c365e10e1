/* test_captures_can.c - every folder tests/captures/NN-n2k-* and NN-j1939-*: the candump log
 * `input` through the decoder gives `expected`.
 *
 * Lines of `expected` are those of capture_lines.h, with all counts. SHOW_CAPTURES=1 prints what
 * comes out. */
#include "can_kit.h"

#include <ctype.h>
#include <glob.h>

#include "../../include/capture_text.h"
#include "../../logger/messages_can.h"

static void feed(struct can_kit *kit, char *log)
{
    struct capture_text frame;
    int64_t start = 0;
    char *line;
    while ((line = lines_next(&log)) != NULL) {
        if (capture_text_parse(line, strlen(line), &frame) != CAPTURE_FRAME)
            fail_msg("not a line of a candump log: %s", line);
        start = start == 0 ? frame.unix_us : start;
        kit->at = (frame.unix_us - start) * NS_PER_US;
        kit->step = 0;
        kit_frame(kit, frame.id, frame.data, frame.data_length);
    }
}

static void check_folder(const char *folder)
{
    struct can_kit kit;
    char *input = lines_file(folder, "input", NULL),
         *expected = lines_file(folder, "expected", NULL);
    free(lines_file(folder, "README", NULL));
    kit_start(&kit, BUS_AUTO, 0);
    kit.sums = true;
    feed(&kit, input);
    if (getenv("SHOW_CAPTURES")) {
        fflush(kit.out);
        printf("--- %s\n%s", folder, kit.text);
    }
    kit_end(&kit, folder, expected);
    free(input);
    free(expected);
}

static void all_folders(void **state)
{
    (void)state;
    static const char *const kinds[] = {"n2k", "j1939"};
    for (size_t kind = 0; kind < 2; kind++) {
        char pattern[64];
        glob_t found;
        snprintf(pattern, sizeof pattern, "tests/captures/*-%s-*", kinds[kind]);
        assert_int_equal(glob(pattern, 0, NULL, &found), 0);
        for (size_t i = 0; i < found.gl_pathc; i++)
            check_folder(found.gl_pathv[i]);
        printf("%zu folders of %s\n", found.gl_pathc, kinds[kind]);
        globfree(&found);
    }
}

static void needs_folder(const char *kind, const char *key)
{
    char pattern[64] = "";
    glob_t found;
    size_t end = (size_t)snprintf(pattern, sizeof pattern, "tests/captures/*-%s-", kind);
    for (const char *p = key; *p; p++)
        pattern[end++] = (char)tolower((unsigned char)*p);
    pattern[end] = '*';
    if (glob(pattern, 0, NULL, &found) != 0)
        fail_msg("%s has no folder in tests/captures", key);
    globfree(&found);
}

/* A message is not accepted into the tables without a capture of its own. */
static void every_message_has_a_folder(void **state)
{
    (void)state;
    for (size_t i = 0; i < can_row_count_n2k; i++)
        needs_folder("n2k", can_rows_n2k[i].key);
    for (size_t i = 0; i < can_row_count_j1939; i++)
        needs_folder("j1939", can_rows_j1939[i].key);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_folders),
        cmocka_unit_test(every_message_has_a_folder),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
