/* test_captures_0183.c - every folder tests/captures/NN-nmea0183-*: `input` through framer and decoder
 * gives `expected`, whole, byte by byte and in odd pieces.
 *
 * A line of `expected` is one call of the sink, or one count of the tally:
 *      RPM engine 0 II "" engine_speed=1450 propeller_pitch=10.5
 *      utc ZDA vessel 0 GP "" 2026-06-15T14:22:33.250000Z
 *      tally sentences 1
 * All counts that are not 0 stand at the end, in the order of reasons.def. Numbers may differ by one
 * part in 10^9. Blank lines, and what begins with '#', are for people. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <glob.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "../../logger/decode.h"
#include "../../logger/frame_0183.h"
#include "../../logger/sentences_0183.h"

/* --- writing down what came out --------------------------------------------------------------- */

static void put_origin(FILE *out, const struct origin *origin)
{
    fprintf(out, "%s %s %u %s \"%s\"", origin->message, place_key((enum place)origin->place),
            origin->instance, origin->source, origin->label);
}

static void take_readings(void *self, int64_t at, const struct origin *origin,
                          const struct value *values, size_t count)
{
    FILE *out = self;
    (void)at;
    put_origin(out, origin);
    for (size_t i = 0; i < count; i++)
        fprintf(out, " %s=%.12g", channel_get((enum channel_id)values[i].channel)->key,
                values[i].value);
    fputc('\n', out);
}

static void take_event(void *self, int64_t at, const struct origin *origin, const char *key,
                       const char *text)
{
    (void)at, (void)text;
    put_origin(self, origin);
    fprintf(self, " event %s\n", key);
}

static void take_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    FILE *out = self;
    char text[32];
    struct tm tm;
    time_t seconds = (time_t)(unix_us / 1000000);
    (void)at;
    gmtime_r(&seconds, &tm);
    strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%S", &tm);
    fputs("utc ", out);
    put_origin(out, origin);
    fprintf(out, " %s.%06dZ\n", text, (int)(unix_us % 1000000));
}

static void put_tally(FILE *out, const struct tally *tally)
{
    for (int i = 0; i < REASON_COUNT; i++)
        if (tally->line[i].count > 0)
            fprintf(out, "tally %s %llu\n", reason_key((enum reason)i),
                    (unsigned long long)tally->line[i].count);
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
    put_tally(out, &tally);
    fclose(out);
    return text;
}

/* --- comparing -------------------------------------------------------------------------------- */

static char *read_file(const char *folder, const char *name, size_t *size)
{
    char path[512];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "rb");
    if (!file)
        fail_msg("%s is missing; run the tests from the top of the repository", path);
    char *text = calloc(1, 1 << 20);
    assert_non_null(text);
    size_t got = fread(text, 1, (1 << 20) - 1, file);
    fclose(file);
    if (size)
        *size = got;
    return text;
}

static bool same_number(const char *a, const char *b)
{
    char *end_a, *end_b;
    double x = strtod(a, &end_a), y = strtod(b, &end_b);
    return end_a != a && *end_a == '\0' && end_b != b && *end_b == '\0' &&
           fabs(x - y) <= 1e-9 * fmax(1e-3, fabs(y));
}

static bool same_word(const char *got, const char *want)
{
    const char *equal = strchr(want, '=');
    if (strcmp(got, want) == 0)
        return true;
    size_t head = equal ? (size_t)(equal - want) + 1 : 0;
    return equal && strncmp(got, want, head) == 0 && same_number(got + head, want + head);
}

static bool same_line(const char *got, const char *want)
{
    char a[1024], b[1024], *next_a, *next_b;
    snprintf(a, sizeof a, "%s", got);
    snprintf(b, sizeof b, "%s", want);
    char *word_a = strtok_r(a, " ", &next_a), *word_b = strtok_r(b, " ", &next_b);
    while (word_a && word_b && same_word(word_a, word_b)) {
        word_a = strtok_r(NULL, " ", &next_a);
        word_b = strtok_r(NULL, " ", &next_b);
    }
    return !word_a && !word_b;
}

/* The next line that is not for people; NULL at the end. */
static char *next_line(char **text)
{
    char *line;
    while ((line = strsep(text, "\n")) != NULL)
        if (line[0] != '\0' && line[0] != '#')
            return line;
    return NULL;
}

static void compare(const char *folder, size_t step, char *got, char *want)
{
    char *got_rest = got, *want_rest = want, *a, *b;
    do {
        a = next_line(&got_rest);
        b = next_line(&want_rest);
        if ((a || b) && !(a && b && same_line(a, b)))
            fail_msg("%s, reads of %zu bytes:\n  came out: %s\n  expected: %s", folder, step,
                     a ? a : "(nothing)", b ? b : "(nothing)");
    } while (a && b);
}

static void check_folder(const char *folder)
{
    static const size_t steps[] = {1 << 20, 1, 7, 64};
    size_t size;
    char *input = read_file(folder, "input", &size);
    free(read_file(folder, "README", NULL));
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        char *want = read_file(folder, "expected", NULL);
        char *got = decode_all(input, size, steps[i]);
        if (getenv("SHOW_CAPTURES") && i == 0)
            printf("--- %s\n%s", folder, got);
        compare(folder, steps[i], got, want);
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
