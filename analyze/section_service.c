/* section_service.c - the service history beside the runs, and what usually comes next. */
#include "section_service.h"

#include <math.h>
#include <string.h>

#include "facts.h"
#include "report.h"

/* --- the parts that every report shares */

static void engine_cell(struct document *document, const struct service_event *event)
{
    if (event->label[0] != '\0')
        document_cell(document, event->label);
    else if (event->engine >= 0)
        document_cellf(document, "engine %d", event->engine);
    else
        document_cell(document, "all");
}

static void event_row(struct document *document, const struct style *style,
                      const struct service_event *event, bool boats)
{
    double hours = event->hours;
    document_cell(document, event->day_only ? word_date(event->date * 1000000).s
                                            : word_time(event->date * 1000000).s);
    document_cell(document, word_number(style, hours, hours == floor(hours) ? 0 : 1).s);
    engine_cell(document, event);
    document_cell(document, service_title(event->kind));
    document_cell(document, event->by[0] != '\0' ? event->by : WORD_NONE);
    document_cell(document, event->notes);
    if (boats)
        document_cell(document, event->boat);
}

/* A column for the boat only where the log is of several. */
static bool names_boats(const struct service_log *log)
{
    for (size_t i = 1; i < log->count; i++)
        if (strcmp(log->events[i].boat, log->events[0].boat) != 0)
            return true;
    return false;
}

void service_table(struct document *document, const struct style *style,
                   const struct service_log *log)
{
    static const struct column columns[] = {
        {"date", COLUMN_SHORT},          {"hours", COLUMN_NUMBER}, {"engine", COLUMN_SHORT},
        {"what was done", COLUMN_WORDS}, {"by", COLUMN_WORDS},     {"notes", COLUMN_WORDS},
        {"boat", COLUMN_WORDS}};
    bool boats = names_boats(log);
    if (log->count == 0)
        return;
    document_table(document, "", columns, boats ? 7 : 6);
    for (size_t i = 0; i < log->count; i++)
        event_row(document, style, &log->events[i], boats);
    if (log->ignored[0] != '\0')
        document_paragraphf(document, "Columns of the log that are not read: %s.", log->ignored);
}

void service_advice(struct document *document, const struct style *style, const char *name,
                    const struct advice_input *input)
{
    struct advice advice;
    advice_make(input, &advice);
    if (name != NULL)
        document_heading(document, 3, name);
    for (size_t i = 0; i < advice.count; i++) {
        const struct advice_line *line = &advice.lines[i];
        struct text words = {0};
        text_add(&words, advice_mark(line->kind));
        text_add(&words, line->text);
        report_prose_item(document, style, text_string(&words));
        document->failed |= words.failed;
        text_free(&words);
    }
}

/* --- of a comparison */

static const char *engine_fact(const struct answer *answer, int engine, const char *key)
{
    const char *last = "";
    for (size_t i = 0; i < answer->run_count; i++) {
        const struct facts *facts = answer->runs[i].facts;
        const char *value = facts == NULL ? "" : facts_get(facts, FACT_ENGINE, engine, key);
        last = value[0] != '\0' ? value : last;
    }
    return last;
}

static int64_t last_run(const struct answer *answer)
{
    int64_t last = 0;
    for (size_t i = 0; i < answer->run_count; i++)
        last = answer->runs[i].start_unix_us > last ? answer->runs[i].start_unix_us : last;
    return last / 1000000;
}

/* Highest coolant temperature after the service at the reference sea, at a speed compared. */
static double hottest_after(const struct engine_answer *engine)
{
    double hottest = NAN;
    for (size_t i = 0; i < engine->band_count; i++)
        hottest = fmax(hottest, engine->bands[i].side[SIDE_AFTER].coolant.value);
    return hottest;
}

static enum advice_condition condition_of(const struct engine_answer *engine)
{
    static const enum advice_condition conditions[] = {
        [FINDING_LOWERED] = ADVICE_COOLS_WELL,
        [FINDING_RAISED] = ADVICE_COOLS_POORLY,
        [FINDING_NO_CHANGE_SHOWN] = ADVICE_UNCHANGED,
        [FINDING_CANNOT_BE_SHOWN] = ADVICE_NOT_MEASURED,
    };
    double hottest = hottest_after(engine);
    return hottest > engine->normal_high || hottest >= engine->alarm ? ADVICE_COOLS_POORLY
                                                                     : conditions[engine->finding];
}

static void condition_words(struct text *out, const struct answer *answer,
                            const struct engine_answer *engine)
{
    double hottest = hottest_after(engine);
    text_addf(out, "in this comparison the coolant temperature was %s",
              engine->finding == FINDING_NO_CHANGE_SHOWN ? "not shown to have changed"
                                                         : finding_words(engine->finding));
    if (isfinite(hottest))
        text_addf(out, "; after it the hottest speed compared stands at %.0f °C (sea %.1f °C)",
                  hottest, answer->reference_sea);
    if (hottest > engine->normal_high)
        text_addf(out, ", above the normal band, which ends at %.0f °C", engine->normal_high);
    else if (hottest <= engine->normal_high)
        text_add(out, ", within the normal band");
    text_add(out, ".");
}

static void advise(struct document *document, const struct report_input *input,
                   const struct service_log *log, const struct engine_answer *engine)
{
    const struct answer *answer = input->answer;
    struct text measured = {0};
    struct word name = report_engine_name(engine);
    struct advice_input about = {
        .log = log,
        .engine = engine->instance,
        .label = engine->label,
        .now = last_run(answer),
        .hours = NAN,
        .condition = condition_of(engine),
        .exchanger = engine_fact(answer, engine->instance, "exchanger"),
        .coolant = engine_fact(answer, engine->instance, "coolant"),
    };
    if (about.condition != ADVICE_NOT_MEASURED)
        condition_words(&measured, answer, engine);
    about.condition_words = text_string(&measured);
    service_advice(document, input->style,
                   answer->engine_count > 1 ? word_of("What usually comes next: %s", name.s).s
                                            : "What usually comes next",
                   &about);
    document->failed |= measured.failed;
    text_free(&measured);
}

/* Of which engine, where there are several: "port, ". */
static void add_engine(struct text *out, const struct answer *answer,
                       const struct service_event *event)
{
    if (answer->engine_count < 2)
        return;
    if (event->label[0] != '\0')
        text_addf(out, "%s, ", event->label);
    for (size_t e = 0; e < answer->engine_count && event->engine >= 0; e++)
        if (answer->engines[e].instance == event->engine)
            text_addf(out, "%s, ", report_engine_name(&answer->engines[e]).s);
}

void report_work_between(struct text *out, const struct answer *answer)
{
    size_t start = out->length;
    for (size_t i = 0; answer->service != NULL && i < answer->service->count; i++) {
        const struct service_event *event = &answer->service->events[i];
        if (!answer_service_between(answer, event))
            continue;
        text_addf(out, "%s%s (", out->length > start ? ", " : "", service_title(event->kind));
        add_engine(out, answer, event);
        text_addf(out, "%s)", word_date(event->date * 1000000).s);
    }
}

/* Was there more than one piece of work between the runs that may change the cooling? */
static bool several_works_between(const struct answer *answer)
{
    size_t count = 0;
    for (size_t i = 0; i < answer->service->count; i++) {
        const struct service_event *event = &answer->service->events[i];
        count += service_effect(event->kind) != SERVICE_EFFECT_NONE &&
                 answer_service_between(answer, event);
    }
    return count > 1;
}

static void say_between(struct document *document, const struct answer *answer)
{
    struct text done = {0};
    report_work_between(&done, answer);
    if (done.length > 0)
        document_paragraphf(document, "Done between the runs, by the log: %s.%s",
                            text_string(&done),
                            several_works_between(answer)
                                ? " The change shown is that of all this work together; the runs "
                                  "cannot tell which part is whose."
                                : "");
    else
        document_paragraph(document, "The log has no work between the runs compared.");
    document->failed |= done.failed;
    text_free(&done);
}

void section_service(struct document *document, const struct report_input *input)
{
    const struct answer *answer = input->answer;
    if (answer->service == NULL)
        return;
    document_paragraphf(document,
                        "From %s, a file that people keep beside the runs; it is no part of what "
                        "was recorded.",
                        answer->service_path);
    say_between(document, answer);
    service_table(document, input->style, answer->service);
    for (size_t e = 0; e < answer->engine_count; e++)
        advise(document, input, answer->service, &answer->engines[e]);
}
