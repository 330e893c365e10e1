/* test_captures_0183.c - every folder tests/captures/NN-nmea0183-*: `input` through framer and
 * decoder gives `expected`, whole, byte by byte and in odd pieces.
 *
 * Lines of `expected` are those of capture_lines.h. SHOW_CAPTURES=1 prints what comes out. */
#include "capture_lines.h"

#include <glob.h>

#include "../../logger/decode.h"
#include "../../logger/frame_0183.h"
#include "../../logger/sentences_0183.h"

/* --- writing down what came out --------------------------------------------------------------- */

static void take_readings(void *self, int64_t at, const struct origin *origin,
                          const struct value *values, size_t count)
{
    (void)at;
    lines_readings(self, origin, values, count);
}

static void take_event(void *self, int64_t at, const struct origin *origin, const char *key,
                       const char *text)
{
    (void)at, (void)text;
    lines_event(self, origin, key, NULL);
}

static void take_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    (void)at;
    lines_utc(self, origin, unix_us);
}

/* Decodes `input` in reads of `step` bytes and returns the text, to be freed. */
static char *decode_all(const char *input, size_t size, size_t step)
{
    char *text = NULL;
    size_t length = 0, used;
    FILE *out = open_memstream(&text, &length);
    assert_non_null(out);
    const struct transducer_map map = {0, NULL, -1};
    const struct sink sink = {out, take_readings, take_event, take_utc};
    struct framer_0183 framer;
    struct sentence sentence;
    struct tally tally = {0};
    framer_0183_reset(&framer);
    for (size_t i = 0; i < size; i += used) {
        size_t end = (i / step + 1) * step < size ? (i / step + 1) * step : size;
        if (framer_0183_push(&framer, 0, (const uint8_t *)input + i, end - i, &used, &sentence,
                             NULL, NULL, &tally) == FRAME_READY)
            decode_sentence(&map, 0, 0, &sentence, &sink, &tally);
    }
    if (framer_0183_flush(&framer, 0, &sentence, NULL, NULL, &tally) == FRAME_READY)
        decode_sentence(&map, 0, 0, &sentence, &sink, &tally);
    lines_tally(out, &tally);
    fclose(out);
    return text;
}

/* --- comparing -------------------------------------------------------------------------------- */

static void check_folder(const char *folder)
{
    static const size_t steps[] = {1 << 20, 1, 7, 64};
    size_t size;
    char *input = lines_file(folder, "input", &size);
    free(lines_file(folder, "README", NULL));
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        char *want = lines_file(folder, "expected", NULL);
        char *got = decode_all(input, size, steps[i]);
        if (getenv("SHOW_CAPTURES") && i == 0)
            printf("--- %s\n%s", folder, got);
        char what[600];
        snprintf(what, sizeof what, "%s, reads of %zu bytes", folder, steps[i]);
        lines_compare(what, got, want);
        free(got);
        free(want);
    }
    free(input);
}

static void all_folders(void **state)
{
    (void)state;
    glob_t found;
    assert_int_equal(glob("tests/captures/*-nmea0183-*", 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc; i++)
        check_folder(found.gl_pathv[i]);
    printf("%zu folders\n", found.gl_pathc);
    globfree(&found);
}

/* A sentence is not accepted into the table without a capture of its own. */
static void every_sentence_has_a_folder(void **state)
{
    (void)state;
    for (size_t i = 0; i < sentence_row_count; i++) {
        char pattern[64];
        snprintf(pattern, sizeof pattern, "tests/captures/*-nmea0183-%c%c%c*",
                 sentence_rows[i].formatter[0] | 0x20, sentence_rows[i].formatter[1] | 0x20,
                 sentence_rows[i].formatter[2] | 0x20);
        glob_t found;
        if (glob(pattern, 0, NULL, &found) != 0)
            fail_msg("%s has no folder in tests/captures", sentence_rows[i].formatter);
        globfree(&found);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_folders),
        cmocka_unit_test(every_sentence_has_a_folder),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
