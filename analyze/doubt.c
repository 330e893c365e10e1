/* doubt.c - see doubt.h. */
#include "doubt.h"

#include <stdio.h>
#include <string.h>

#include "facts.h"
#include "run_write.h"
#include "words.h"

static const char *const side_words[SIDE_COUNT] = {"before", "after"};

/* A doubt that has been found, on its way to the engine. */
struct found {
    const struct answer *answer;
    struct doubt *doubt;
};

static const struct run_summary *run_of(const struct found *found, size_t run)
{
    return &found->answer->runs[run];
}

static struct cut name_of(const struct run_summary *run)
{
    return answer_cut(run->name);
}

/* --- facts that differ */

/* What tells one boat or engine from another: the number decides, the name where it is missing. */
struct identity {
    enum fact_section section;
    const char *number, *name; /* keys */
    const char *key, *what, *by_number, *by_name;
};

static const struct identity boat_identity = {
    FACT_BOAT,         "identification",      "name", "boats_differ",
    "different boats", "hull identification", "name"};
static const struct identity engine_identity = {
    FACT_ENGINE,         "serial",        "model", "engine_differs",
    "different engines", "serial number", "model"};

static const char *fact(const struct run_summary *run, enum fact_section section, int engine,
                        const char *key)
{
    return run->facts ? facts_get(run->facts, section, engine, key) : "";
}

/* Whether two runs both tell a fact: 1 alike, -1 not alike, 0 where one of them does not tell
 * it. */
static int alike(const struct run_summary *a, const struct run_summary *b,
                 enum fact_section section, int engine, const char *key)
{
    const char *one = fact(a, section, engine, key), *other = fact(b, section, engine, key);
    if (one[0] == '\0' || other[0] == '\0')
        return 0;
    return text_same_words(one, other) ? 1 : -1;
}

static void set_next(struct found *found, const char *step, const char *mistake)
{
    snprintf(found->doubt->next, sizeof found->doubt->next,
             "%s. If they are right, and %s, compare again with --as-given: the report then says "
             "that somebody vouches for it.",
             step, mistake);
}

static bool differ(struct found *found, const struct identity *identity, int engine, size_t first,
                   size_t second)
{
    const struct run_summary *a = run_of(found, first), *b = run_of(found, second);
    int number = alike(a, b, identity->section, engine, identity->number);
    int name = alike(a, b, identity->section, engine, identity->name);
    bool by_number = number < 0;
    if (!by_number && !(number == 0 && name < 0))
        return false;
    const char *key = by_number ? identity->number : identity->name;
    found->doubt->key = identity->key;
    snprintf(found->doubt->text, sizeof found->doubt->text,
             "the runs are of %s, by their %s: \"%s\" in %s, \"%s\" in %s.", identity->what,
             by_number ? identity->by_number : identity->by_name,
             answer_cut(fact(a, identity->section, engine, key)).s, name_of(a).s,
             answer_cut(fact(b, identity->section, engine, key)).s, name_of(b).s);
    set_next(found, "Check that the right files are given", "the words were only entered wrongly");
    return true;
}

static bool any_differ(struct found *found, const struct identity *identity, int engine)
{
    for (size_t a = 0; a < found->answer->run_count; a++)
        for (size_t b = a + 1; b < found->answer->run_count; b++)
            if (differ(found, identity, engine, a, b))
                return true;
    return false;
}

/* --- sides */

static bool same_run(struct found *found, const struct run_summary *before,
                     const struct run_summary *after)
{
    bool same_id = before->run_id[0] != '\0' && strcmp(before->run_id, after->run_id) == 0;
    bool same_bytes = before->sha256[0] != '\0' && strcmp(before->sha256, after->sha256) == 0;
    if (!same_id && !same_bytes)
        return false;
    found->doubt->key = "same_run";
    snprintf(found->doubt->text, sizeof found->doubt->text,
             "%s and %s are the same recording, given before and after.", name_of(before).s,
             name_of(after).s);
    snprintf(found->doubt->next, sizeof found->doubt->next,
             "Give the run that was made after the service with --after.");
    return true;
}

static bool later(struct found *found, const struct run_summary *before,
                  const struct run_summary *after)
{
    const char *nominal = clock_source_key(CLOCK_NOMINAL);
    if (strcmp(before->clock, nominal) == 0 || strcmp(after->clock, nominal) == 0 ||
        before->start_unix_us <= after->start_unix_us)
        return false;
    found->doubt->key = "order";
    snprintf(found->doubt->text, sizeof found->doubt->text,
             "%s, given as before the service, was recorded %s later than %s, given as after it.",
             name_of(before).s,
             word_duration(1e-6 * (double)(before->start_unix_us - after->start_unix_us)).s,
             name_of(after).s);
    set_next(found, "Give --before and --after the other way round, or check the files",
             "a clock was set wrongly");
    return true;
}

static bool any_pair(struct found *found, bool (*look)(struct found *, const struct run_summary *,
                                                       const struct run_summary *))
{
    for (size_t b = 0; b < found->answer->run_count; b++)
        for (size_t a = 0; a < found->answer->run_count; a++)
            if (run_of(found, b)->side == SIDE_BEFORE && run_of(found, a)->side == SIDE_AFTER &&
                look(found, run_of(found, b), run_of(found, a)))
                return true;
    return false;
}

static bool any_purpose(struct found *found)
{
    for (size_t r = 0; r < found->answer->run_count; r++) {
        const struct run_summary *run = run_of(found, r);
        enum side other = run->side == SIDE_BEFORE ? SIDE_AFTER : SIDE_BEFORE;
        const char *purpose = fact(run, FACT_RUN, 0, "purpose");
        if (strcmp(purpose, other == SIDE_AFTER ? "after service" : "before service") != 0)
            continue;
        found->doubt->key = "sides_swapped";
        snprintf(found->doubt->text, sizeof found->doubt->text,
                 "%s is given as a run %s the service, but was recorded as one %s it. Are "
                 "--before and --after swapped?",
                 name_of(run).s, side_words[run->side], side_words[other]);
        set_next(found, "Give --before and --after the other way round, or check the files",
                 "the purpose of the run was only entered wrongly");
        return true;
    }
    return false;
}

/* --- what follows */

static bool find(struct found *found, int engine)
{
    return any_pair(found, same_run) || any_differ(found, &boat_identity, 0) ||
           any_differ(found, &engine_identity, engine) || any_purpose(found) ||
           any_pair(found, later);
}

static void withhold(struct engine_answer *engine)
{
    engine->finding = FINDING_CANNOT_BE_SHOWN;
    engine->hint_count = 0;
    for (size_t b = 0; b < engine->band_count; b++)
        engine->bands[b].finding = FINDING_CANNOT_BE_SHOWN;
    snprintf(engine->sentence, sizeof engine->sentence,
             "Nothing can be concluded about a service: %s", engine->doubt.text);
    snprintf(engine->next, sizeof engine->next, "%s", engine->doubt.next);
}

bool doubt_withholds(const struct engine_answer *engine)
{
    return engine->doubt.key != NULL && !engine->doubt.overruled;
}

void doubt_look(struct answer *answer, bool as_given)
{
    for (size_t e = 0; e < answer->engine_count; e++) {
        struct engine_answer *engine = &answer->engines[e];
        struct found found = {answer, &engine->doubt};
        engine->doubt = (struct doubt){0};
        if (!find(&found, engine->instance))
            continue;
        engine->doubt.overruled = as_given && strcmp(engine->doubt.key, "same_run") != 0;
        if (doubt_withholds(engine))
            withhold(engine);
    }
}
