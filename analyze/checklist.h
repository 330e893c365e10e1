/* checklist.h - what was ticked off after a service: by a mark made during a run after it, or by a
 * remark added later. Pure. Items and their words: checklist.def.
 *
 * Marks are free text ("filled and bled"). Remarks are those of `searun-analyze note` whose key is
 * that of an item (bled="K. Marsh, at the dock"), or "done" with the words of items. A text with a
 * word that denies ("not bled yet") ticks nothing and takes an earlier tick away; commas,
 * semicolons and periods part what is said of one item from another. Nothing is invented. The last
 * text about an item counts; remarks come after all marks.
 */
#ifndef SEARUN_CHECKLIST_H
#define SEARUN_CHECKLIST_H

#include <stdbool.h>
#include <stddef.h>

enum check_item {
#define CHECK(id, key, title, evidence, words) CHECK_##id,
#include "checklist.def"
#undef CHECK
    CHECK_COUNT
};

enum check_evidence {
    CHECK_BY_NONE,
    CHECK_BY_STEADY, /* steady coolant speaks for it, restless coolant against; neither proves it */
    CHECK_BY_WARMED,
    CHECK_BY_COOLED,
    CHECK_BY_WARMED_AGAIN,
    CHECK_BY_HALF_HOUR
};

const char *check_key(enum check_item item);   /* "leaks-checked" */
const char *check_title(enum check_item item); /* "look at hoses and clamps for leaks" */
enum check_evidence check_evidence(enum check_item item);

enum tick_state {
    TICK_NONE,  /* nobody said anything of it */
    TICK_GIVEN, /* said to be done */
    TICK_DENIED /* said to be not done */
};

struct tick {
    enum tick_state state;
    size_t run;
    double time;     /* s since run start, of a mark; NaN for a remark */
    char words[120]; /* as they were written, between the commas */
    char rest[80];   /* what the same text says between other commas, of no item: often a name */
};

/* Zero-initialise. */
struct checklist {
    struct tick ticks[CHECK_COUNT];
};

/* Takes a mark made at `time`. Returns how many items it is about. */
size_t checklist_take_mark(struct checklist *list, size_t run, double time, const char *text);
/* Takes a remark; others than those above are about nothing. */
size_t checklist_take_note(struct checklist *list, size_t run, const char *key, const char *value);

/* Whether anything was ticked or denied. */
bool checklist_any(const struct checklist *list);

#endif
