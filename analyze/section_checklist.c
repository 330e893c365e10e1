/* section_checklist.c - the steps that follow a service: ticked, seen in the data, or not
 * recorded. */
#include <math.h>
#include <string.h>

#include "aftercare.h"
#include "facts.h"
#include "report.h"
#include "rules.h"

/* --- what the data say of an item and an engine */

static size_t runs_after(const struct answer *answer)
{
    size_t count = 0;
    for (size_t i = 0; i < answer->run_count; i++)
        count += answer->runs[i].side == SIDE_AFTER;
    return count;
}

/* "0:04:10", with the run where there are several. */
static struct word moment(const struct answer *answer, size_t run, double time)
{
    if (runs_after(answer) < 2)
        return word_clock(time);
    return word_of("%s of %.60s", word_clock(time).s, answer->runs[run].name);
}

static void say_warmup(struct text *out, const struct answer *answer, const struct warmups *seen,
                       size_t index)
{
    if (index < seen->count && index < WARMUPS_MAX) {
        const struct warmup *warmup = &seen->list[index];
        text_addf(out, "from %.0f °C (at %s) to %.0f °C (at %s)", warmup->cold.coolant,
                  moment(answer, warmup->cold.run, warmup->cold.time).s, warmup->warm.coolant,
                  moment(answer, warmup->warm.run, warmup->warm.time).s);
    } else if (index == 0 && seen->began_warm) {
        text_add(out, "the recording began with a warm engine");
    } else {
        text_add(out, index == 0 ? "no warm-up from cold in the data"
                                 : "no second warm-up from cold in the data");
    }
}

static void say_cooled(struct text *out, const struct answer *answer, const struct warmups *seen)
{
    if (!seen->cooled)
        text_add(out, "no cooling down after it was warm in the data");
    else
        text_addf(out, "%s %.0f °C at %s",
                  seen->cooled_between ? "cooled between two runs, found at" : "down to",
                  seen->cool.coolant, moment(answer, seen->cool.run, seen->cool.time).s);
}

static void say_underway(struct text *out, const struct answer *answer, const struct warmups *seen)
{
    text_addf(out, "%s warm and under way", word_duration(seen->underway).s);
    if (seen->underway > 0 && runs_after(answer) > 1)
        text_addf(out, " in %.60s", answer->runs[seen->underway_run].name);
}

static void say_steady(struct text *out, const struct engine_answer *engine)
{
    if (engine->restless_holds > 0)
        text_addf(out, "coolant restless in %zu of %zu holds at steady speed, which may mean air",
                  engine->restless_holds, engine->steady_holds);
    else if (engine->steady_holds > 0)
        text_addf(out, "coolant steady in all %zu holds, no sign of air", engine->steady_holds);
    else
        text_add(out, "no steady hold, read often enough, in which air could show");
}

static void say_seen(struct text *out, const struct answer *answer,
                     const struct engine_answer *engine, enum check_item item)
{
    const struct warmups *seen = &engine->warmups;
    enum check_evidence evidence = check_evidence(item);
    if (evidence == CHECK_BY_NONE)
        return;
    if (!seen->any)
        text_add(out, "no coolant temperature recorded");
    else if (evidence == CHECK_BY_STEADY)
        say_steady(out, engine);
    else if (evidence == CHECK_BY_COOLED)
        say_cooled(out, answer, seen);
    else if (evidence == CHECK_BY_HALF_HOUR)
        say_underway(out, answer, seen);
    else
        say_warmup(out, answer, seen, evidence == CHECK_BY_WARMED_AGAIN);
}

/* Whether the data say the same of every engine. */
static bool all_alike(const struct answer *answer, enum check_item item)
{
    bool alike = true;
    struct text first = {0};
    say_seen(&first, answer, &answer->engines[0], item);
    for (size_t e = 1; e < answer->engine_count; e++) {
        struct text other = {0};
        say_seen(&other, answer, &answer->engines[e], item);
        alike = alike && strcmp(text_string(&first), text_string(&other)) == 0;
        text_free(&other);
    }
    text_free(&first);
    return alike;
}

static void say_data(struct text *out, const struct answer *answer, enum check_item item)
{
    if (check_evidence(item) == CHECK_BY_NONE || answer->engine_count == 0) {
        text_add(out, out->length > 0 ? "" : "no data can show it");
        return;
    }
    bool alike = all_alike(answer, item);
    text_add(out, out->length > 0 ? "; " : "");
    for (size_t e = 0; e < (alike ? 1 : answer->engine_count); e++) {
        const struct engine_answer *engine = &answer->engines[e];
        text_add(out, e > 0 ? "; " : "");
        if (answer->engine_count > 1)
            text_addf(out, "%s: ", alike ? "each engine" : report_engine_name(engine).s);
        say_seen(out, answer, engine, item);
    }
}

/* --- what people say of it */

static void say_tick(struct text *out, const struct answer *answer, const struct tick *tick)
{
    if (tick->state == TICK_NONE)
        return;
    const struct run_summary *run = &answer->runs[tick->run];
    const char *who = run->facts == NULL ? "" : facts_get(run->facts, FACT_RUN, 0, "who");
    bool mark = !isnan(tick->time);
    if (tick->state == TICK_DENIED)
        text_add(out, "said to be not done: ");
    if (mark)
        text_addf(out, "marked %s", word_time(run->start_unix_us + (int64_t)(tick->time * 1e6)).s);
    else
        text_add(out, "remark added later");
    if (mark && who[0] != '\0')
        text_addf(out, ", run recorded by %s", answer_cut(who).s);
    text_addf(out, ": \"%s\"", tick->words);
    if (tick->rest[0] != '\0')
        text_addf(out, " (\"%s\")", tick->rest);
}

static void item_row(struct document *document, const struct report_input *input,
                     enum check_item item)
{
    const struct answer *answer = input->answer;
    struct text words = {0};
    say_tick(&words, answer, &answer->checklist.ticks[item]);
    say_data(&words, answer, item);
    document_cell(document, check_title(item));
    document_cell(document, check_state_words(aftercare_state(answer, item)));
    report_prose_cell(document, input->style, text_string(&words));
    document->failed |= words.failed;
    text_free(&words);
}

/* --- the section */

static void say_criteria(struct document *document, const struct report_input *input)
{
    struct text words = {0};
    const struct warm_limits *limits = &input->answer->engines[0].warmups.limits;
    text_addf(
        &words,
        "Seen in the data of the runs after the service: warm is %.0f °C and above for %.0f s "
        "(%s), cold %.0f °C and below; a warm-up leads from cold to warm; under way is faster "
        "than idling and not in neutral, for %.0f min in one run.",
        limits->warm, rules.warmup.warm_least,
        limits->usual ? "a usual thermostat, as its rating is not known"
                      : "where the thermostat begins to open",
        limits->cold, rules.warmup.underway / 60);
    report_prose_paragraph(document, input->style, text_string(&words));
    document->failed |= words.failed;
    text_free(&words);
}

static const char *const care[] = {
    "Take the pressure cap off only when the engine is cold: hot coolant is under pressure and "
    "scalds. Top up between the two warm-ups, with the engine stopped and cold.",
    "Look for leaks with a lamp and keep hands, sleeves and hair away from belts and pulleys; "
    "tighten clamps only with the engine stopped.",
    "If the temperature climbs past its usual mark or swings at steady speed, stop and let it "
    "cool: "
    "it may be air. Bleed again when the engine is cold.",
};

void section_checklist(struct document *document, const struct report_input *input)
{
    static const struct column columns[] = {
        {"step", COLUMN_NAME}, {"state", COLUMN_SHORT}, {"what says so", COLUMN_WORDS}};
    if (!aftercare_told(input->answer))
        return;
    document_table(document, "Steps that follow a service (common practice, no source)", columns,
                   3);
    for (int item = 0; item < CHECK_COUNT; item++)
        item_row(document, input, (enum check_item)item);
    if (input->answer->engine_count > 0)
        say_criteria(document, input);
    for (size_t i = 0; i < sizeof care / sizeof care[0]; i++)
        document_item(document, care[i]);
}
