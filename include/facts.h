/* facts.h - facts entered by people: boat, engines, this run. See facts.def for the catalogue. */
#ifndef SEARUN_FACTS_H
#define SEARUN_FACTS_H

#include <stdbool.h>
#include <stddef.h>

#include "status.h"

enum fact_section { FACT_BOAT, FACT_ENGINE, FACT_RUN, FACT_SECTION_COUNT };
enum fact_kind { FACT_TEXT, FACT_NUMBER, FACT_PAIR, FACT_CHOICE };

struct fact_row {
    enum fact_section section;
    const char *key, *title;
    enum fact_kind kind;
    const char *fallback; /* default; "" means not recorded */
    const char *help;
};

extern const struct fact_row fact_rows[];
extern const size_t fact_row_count;

/* The row of that section and key, or NULL. */
const struct fact_row *fact_row_find(enum fact_section section, const char *key);

#define FACT_VALUE_MAX 4000 /* longest value in bytes; longer ones are refused by facts_set */

/* A growing list of facts. Zero-initialise; facts_free at the end. */
struct facts {
    size_t count;
    struct fact {
        enum fact_section section;
        int engine; /* engine number for FACT_ENGINE, else 0 */
        const char *key;
        char *value; /* UTF-8, owned */
    } * list;
};

/* Sets or replaces a fact; a blank value takes it away again. Checks that the key exists, that text
 * is UTF-8, and that numbers, pairs (first below second) and choices can be read and are
 * believable. Choices may be shortened ("before") and are kept in full ("before service");
 * temperatures may carry an F or C ("160F,180F") and are kept in degC, to 0.01 K where they were
 * converted. STATUS_BAD_USAGE says what is allowed; STATUS_MEMORY. */
enum status facts_set(struct facts *facts, enum fact_section section, int engine, const char *key,
                      const char *value, struct complaint *complaint);

/* The value, or the row's default, or "" (not recorded). Never NULL; owned by facts. */
const char *facts_get(const struct facts *facts, enum fact_section section, int engine,
                      const char *key);

/* Number or pair; false (and nothing written) if not recorded or not readable. */
bool facts_number(const struct facts *facts, int engine, const char *key, double *out);
bool facts_pair(const struct facts *facts, int engine, const char *key, double *first,
                double *second);

/* Reads "71,82" or "71, 82" (finite numbers only). False if it is anything else. */
bool pair_parse(const char *text, double *first, double *second);

void facts_free(struct facts *facts);

/* Makes `to`, which is zero-initialised, a copy. STATUS_MEMORY. */
enum status facts_copy(struct facts *to, const struct facts *from);

/* Length of the UTF-8 character at `text` (NUL-terminated), or 0 if there is none (RFC 3629,
 * section 4). */
size_t utf8_length(const char *text);

#endif
