/* answer.c - the words of the answer, its warnings, and its end. */
#include "answer.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "facts.h"
#include "note.h"

static const struct finding_row {
    const char *key, *words;
} findings[] = {
    [FINDING_LOWERED] = {"lowered", "lowered"},
    [FINDING_RAISED] = {"raised", "raised"},
    [FINDING_NO_CHANGE_SHOWN] = {"no_change_shown", "no change shown"},
    [FINDING_CANNOT_BE_SHOWN] = {"cannot_be_shown", "cannot be shown with these runs"},
};

static const struct refusal_row {
    const char *key, *words;
} refusals[REFUSAL_COUNT] = {
#define REFUSAL(id, key, words) [REFUSAL_##id] = {key, words},
#include "refusals.def"
#undef REFUSAL
};

const char *finding_key(enum finding finding)
{
    assert((unsigned)finding <= FINDING_CANNOT_BE_SHOWN);
    return findings[finding].key;
}

const char *finding_words(enum finding finding)
{
    assert((unsigned)finding <= FINDING_CANNOT_BE_SHOWN);
    return findings[finding].words;
}

const char *thermostat_state_key(enum thermostat_state state)
{
    static const char *const keys[] = {
        [THERMOSTAT_UNKNOWN] = "unknown",
        [THERMOSTAT_IN_CONTROL] = "in_control",
        [THERMOSTAT_OPEN] = "open",
    };
    assert((unsigned)state <= THERMOSTAT_OPEN);
    return keys[state];
}

const char *refusal_key(enum refusal refusal)
{
    assert((unsigned)refusal < REFUSAL_COUNT);
    return refusals[refusal].key;
}

const char *refusal_words(enum refusal refusal)
{
    assert((unsigned)refusal < REFUSAL_COUNT);
    return refusals[refusal].words;
}

/* Ends a text that was cut off with "..." after its last whole word. */
static void end_at_word(char *text, size_t room)
{
    size_t end = room - sizeof " ...";
    while (end > 0 && text[end] != ' ')
        end--;
    memcpy(text + end, " ...", sizeof " ...");
}

void answer_warn(struct answer *answer, const char *key, int engine, const char *format, ...)
{
    if (answer->warning_count == WARNINGS_MAX) {
        answer->warnings_left_out++;
        return;
    }
    struct warning *warning = &answer->warnings[answer->warning_count++];
    warning->key = key;
    warning->engine = engine;
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(warning->text, sizeof warning->text, format, arguments);
    va_end(arguments);
    if (length >= (int)sizeof warning->text)
        end_at_word(warning->text, sizeof warning->text);
}

struct cut answer_cut(const char *text)
{
    struct cut cut = {{0}};
    size_t length = strlen(text), room = sizeof cut.s - sizeof "...";
    bool whole = length <= room;
    if (!whole)
        for (length = room; length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80;)
            length--; /* do not stop within a character */
    memcpy(cut.s, text, length);
    if (!whole)
        memcpy(cut.s + length, "...", sizeof "...");
    return cut;
}

static void free_samples(struct sample_series *samples)
{
    free(samples->minute);
    free(samples->value);
}

static void free_summary(struct run_summary *run)
{
    for (size_t i = 0; i < run->trace_count; i++) {
        free_samples(&run->traces[i].rpm);
        free_samples(&run->traces[i].coolant);
        free_samples(&run->traces[i].sea);
    }
    free(run->traces);
    if (run->facts)
        facts_free(run->facts);
    free(run->facts);
    if (run->entered)
        facts_free(run->entered);
    free(run->entered);
    if (run->notes)
        notes_free(run->notes);
    free(run->notes);
}

void answer_free(struct answer *answer)
{
    for (size_t i = 0; i < answer->run_count; i++)
        free_summary(&answer->runs[i]);
    for (size_t i = 0; i < answer->engine_count; i++)
        free(answer->engines[i].holds);
    free(answer->runs);
    free(answer->engines);
    free(answer->choices);
    free(answer->cleaned);
    if (answer->service != NULL)
        service_log_free(answer->service);
    free(answer->service);
    memset(answer, 0, sizeof *answer);
}
