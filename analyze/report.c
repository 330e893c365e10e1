/* report.c - the table of sections, and what they share. */
#include "report.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "facts.h"

const struct section sections[] = {
    {"title", "", true, section_title},
    {"finding", "Finding", true, section_finding},
    {"about", "Boat, engine and work", false, section_about},
    {"picture", "", false, section_picture},
    {"bands", "By engine speed", true, section_bands},
    {"hints", "What to look at next", true, section_hints},
    {"charts", "Charts", false, section_charts},
    {"conditions", "Conditions of the runs", false, section_conditions},
    {"checklist", "After the service", false, section_checklist},
    {"service", "Service history", false, section_service},
    {"notes", "Remarks", false, section_notes},
    {"certainty", "How sure, and why", false, section_certainty},
    {"holds", "Steady holds, used and not used", false, section_holds},
    {"cleaning", "Readings taken out", false, section_cleaning},
    {"sources", "Where the readings come from", false, section_sources},
    {"also", "What else changed", false, section_also},
    {"exchanger", "The heat exchanger itself", false, section_exchanger},
    {"warnings", "Warnings", true, section_warnings},
    {"cautions", "Take care", false, section_cautions},
    {"method", "Method", false, section_method},
    {"provenance", "Provenance", false, section_provenance},
};
const size_t section_count = sizeof sections / sizeof sections[0];

enum status report_build(const struct report_input *input, struct document *out,
                         struct complaint *complaint)
{
    return report_build_of(sections, section_count, input, out, complaint);
}

enum status report_build_of(const struct section *table, size_t count,
                            const struct report_input *input, struct document *out,
                            struct complaint *complaint)
{
    for (size_t i = 0; i < count; i++) {
        const struct section *section = &table[i];
        if (input->extent == REPORT_SUMMARY && !section->in_summary)
            continue;
        size_t before = out->count;
        if (section->title[0] != '\0')
            document_heading(out, 2, section->title);
        size_t with_heading = out->count;
        section->write(out, input);
        if (out->count == with_heading && section->title[0] != '\0' && !out->failed)
            document_cut(out, before);
    }
    return out->failed ? complain(complaint, STATUS_MEMORY, "no memory left for the report")
                       : STATUS_OK;
}

struct word report_engine_name(const struct engine_answer *engine)
{
    struct text name = {0};
    struct word word;
    chart_engine_name(&name, engine);
    word = word_of("%s", text_string(&name));
    text_free(&name);
    return word;
}

void report_engine_heading(struct document *document, const struct report_input *input,
                           const struct engine_answer *engine)
{
    struct text words = {0};
    if (input->answer->engine_count < 2)
        return;
    text_add(&words, "Engine: ");
    text_add(&words, report_engine_name(engine).s);
    document_heading(document, 3, text_string(&words));
    text_free(&words);
}

const char *report_boat_fact(const struct answer *answer, const char *key)
{
    for (size_t i = 0; i < answer->run_count; i++) {
        const struct facts *facts = answer->runs[i].facts;
        const char *value = facts == NULL ? "" : facts_get(facts, FACT_BOAT, 0, key);
        if (value[0] != '\0')
            return value;
    }
    return "";
}

/* A number as it is shown, read back: what its reader subtracts. */
static double as_shown(double value, int decimals)
{
    double scale = pow(10, decimals);
    return round(value * scale) / scale;
}

bool report_rounds_apart(const struct style *style, enum unit unit, struct shown before,
                         struct shown after, struct shown change)
{
    enum unit difference = word_difference_unit(unit);
    double left = as_shown(unit_shown(before.value, unit, style->units), before.decimals);
    double right = as_shown(unit_shown(after.value, unit, style->units), after.decimals);
    double said = as_shown(unit_shown(change.value, difference, style->units), change.decimals);
    return fabs(right - left - said) > 1e-6;
}

void report_rounding_note(struct document *document)
{
    document_paragraph(document, "A change may differ in its last digit from the two numbers "
                                 "beside it, subtracted: each is rounded by itself.");
}

/* --- printf into blocks */

#define FORMATTED(add)                                                                             \
    va_list list;                                                                                  \
    char *words = NULL;                                                                            \
    va_start(list, format);                                                                        \
    if (vasprintf(&words, format, list) < 0)                                                       \
        document->failed = true;                                                                   \
    else                                                                                           \
        add(document, words);                                                                      \
    va_end(list);                                                                                  \
    free(words)

void document_paragraphf(struct document *document, const char *format, ...)
{
    FORMATTED(document_paragraph);
}

void document_itemf(struct document *document, const char *format, ...)
{
    FORMATTED(document_item);
}

void document_cellf(struct document *document, const char *format, ...)
{
    FORMATTED(document_cell);
}

static void prose(struct document *document, const struct style *style, const char *words,
                  void (*add)(struct document *, const char *))
{
    struct text converted = {0};
    word_prose(&converted, style, words);
    document->failed |= converted.failed;
    add(document, text_string(&converted));
    text_free(&converted);
}

void report_prose_paragraph(struct document *document, const struct style *style, const char *words)
{
    prose(document, style, words, document_paragraph);
}

void report_prose_item(struct document *document, const struct style *style, const char *words)
{
    prose(document, style, words, document_item);
}

void report_prose_cell(struct document *document, const struct style *style, const char *words)
{
    prose(document, style, words, document_cell);
}
