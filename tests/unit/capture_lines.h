/* capture_lines.h - for tests: what decoders give becomes lines of text, and such lines are
 * compared.
 *
 * A line is one call of the sink, or one count of the tally:
 *      RPM engine 0 II "" engine_speed=1450 propeller_pitch=10.5
 *      127489 engine 0 35 "" event over_temperature
 *      utc ZDA vessel 0 GP "" 2026-06-15T14:22:33.250000Z
 *      tally sentences 1
 * Counts stand at the end, in the order of reasons.def. Numbers may differ by one part in 10^9.
 * Blank lines, and what begins with '#', are for people.
 */
#ifndef SEARUN_CAPTURE_LINES_H
#define SEARUN_CAPTURE_LINES_H

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "../../include/reading.h"
#include "../../include/tally.h"

/* --- writing down what came out */

static inline void lines_origin(FILE *out, const struct origin *origin)
{
    fprintf(out, "%s %s %u %s \"%s\"", origin->message, place_key((enum place)origin->place),
            origin->instance, origin->source, origin->label);
}

static inline void lines_readings(FILE *out, const struct origin *origin,
                                  const struct value *values, size_t count)
{
    lines_origin(out, origin);
    for (size_t i = 0; i < count; i++)
        fprintf(out, " %s=%.12g", channel_get((enum channel_id)values[i].channel)->key,
                values[i].value);
    fputc('\n', out);
}

/* `words` may be NULL. */
static inline void lines_event(FILE *out, const struct origin *origin, const char *key,
                               const char *words)
{
    lines_origin(out, origin);
    fprintf(out, " event %s%s%s\n", key, words ? ": " : "", words ? words : "");
}

static inline void lines_utc(FILE *out, const struct origin *origin, int64_t unix_us)
{
    char text[32];
    struct tm tm;
    time_t seconds = (time_t)(unix_us / 1000000);
    gmtime_r(&seconds, &tm);
    strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%S", &tm);
    fputs("utc ", out);
    lines_origin(out, origin);
    fprintf(out, " %s.%06dZ\n", text, (int)(unix_us % 1000000));
}

static inline void lines_tally(FILE *out, const struct tally *tally)
{
    for (int i = 0; i < REASON_COUNT; i++)
        if (tally->line[i].count > 0)
            fprintf(out, "tally %s %llu\n", reason_key((enum reason)i),
                    (unsigned long long)tally->line[i].count);
}

/* --- comparing */

/* A file of a capture folder, ended by a zero; to be freed. `size` may be NULL. */
static inline char *lines_file(const char *folder, const char *name, size_t *size)
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

static inline bool lines_same_number(const char *a, const char *b)
{
    char *end_a, *end_b;
    double x = strtod(a, &end_a), y = strtod(b, &end_b);
    return end_a != a && *end_a == '\0' && end_b != b && *end_b == '\0' &&
           fabs(x - y) <= 1e-9 * fmax(1e-3, fabs(y));
}

static inline bool lines_same_word(const char *got, const char *want)
{
    const char *equal = strchr(want, '=');
    if (strcmp(got, want) == 0)
        return true;
    size_t head = equal ? (size_t)(equal - want) + 1 : 0;
    return equal && strncmp(got, want, head) == 0 && lines_same_number(got + head, want + head);
}

static inline bool lines_same(const char *got, const char *want)
{
    char a[1024], b[1024], *next_a, *next_b;
    snprintf(a, sizeof a, "%s", got);
    snprintf(b, sizeof b, "%s", want);
    char *word_a = strtok_r(a, " ", &next_a), *word_b = strtok_r(b, " ", &next_b);
    while (word_a && word_b && lines_same_word(word_a, word_b)) {
        word_a = strtok_r(NULL, " ", &next_a);
        word_b = strtok_r(NULL, " ", &next_b);
    }
    return !word_a && !word_b;
}

/* The next line that is not for people; NULL at the end. Cuts the text. */
static inline char *lines_next(char **text)
{
    char *line;
    while ((line = strsep(text, "\n")) != NULL)
        if (line[0] != '\0' && line[0] != '#')
            return line;
    return NULL;
}

static inline void lines_compare(const char *what, const char *got, const char *want)
{
    char *copy = strdup(got), *wanted = strdup(want), *rest = copy, *want_rest = wanted, *a, *b;
    do {
        a = lines_next(&rest);
        b = lines_next(&want_rest);
        if ((a || b) && !(a && b && lines_same(a, b)))
            fail_msg("%s:\n  came out: %s\n  expected: %s\n--- all that came out:\n%s", what,
                     a ? a : "(nothing)", b ? b : "(nothing)", got);
    } while (a && b);
    free(copy);
    free(wanted);
}

#endif
