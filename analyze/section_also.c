/* section_also.c - what else differs between the runs, of what was recorded in the same holds. */
#include <math.h>

#include "report.h"

/* What other sections tell: the key figure, and conditions of the runs. */
static bool told_elsewhere(enum channel_id channel)
{
    return channel == CHANNEL_COOLANT_TEMPERATURE || channel == CHANNEL_SEA_TEMPERATURE ||
           channel == CHANNEL_AIR_TEMPERATURE;
}

/* The interval leaves zero out; where there is none, nobody can tell, and it counts. */
static bool differs(const struct also_row *row)
{
    return !isfinite(row->change.low) || row->change.low > 0 || row->change.high < 0;
}

/* Decimals of one side: by its own interval, else as fine as such readings are. */
static int side_decimals(const struct style *style, enum unit unit, struct interval interval)
{
    return isfinite(interval.low) ? word_decimals(style, unit, interval)
                                  : word_reading_decimals(unit);
}

static struct shown shown_side(const struct style *style, enum unit unit, struct interval side)
{
    return (struct shown){side.value, side_decimals(style, unit, side)};
}

/* True if the numbers shown do not subtract. */
static bool also_row(struct document *document, const struct style *style,
                     const struct also_row *row)
{
    const struct channel *channel = channel_get(row->channel);
    enum unit difference = word_difference_unit(channel->unit);
    struct shown before = shown_side(style, channel->unit, row->before);
    struct shown after = shown_side(style, channel->unit, row->after);
    struct shown change = shown_side(style, difference, row->change);
    double converted = unit_shown(change.value, difference, style->units);
    document_cellf(document, "%s, %s", channel->title, unit_symbol(channel->unit, style->units));
    document_cellf(document, "%.0f", row->rpm);
    document_cell(document, word_value(style, channel->unit, before.value, before.decimals).s);
    document_cell(document, word_value(style, channel->unit, after.value, after.decimals).s);
    document_cell(document, word_signed(style, converted, change.decimals).s);
    document_cell(document, word_range(style, difference, row->change, change.decimals, true).s);
    return report_rounds_apart(style, channel->unit, before, after, change);
}

static void also_table(struct document *document, const struct report_input *input,
                       const struct engine_answer *engine)
{
    struct word interval =
        word_of("%s interval", word_level(input->style, input->answer->confidence_level).s);
    const struct column columns[] = {{"quantity", COLUMN_NAME}, {"rpm", COLUMN_NUMBER},
                                     {"before", COLUMN_NUMBER}, {"after", COLUMN_NUMBER},
                                     {"change", COLUMN_NUMBER}, {interval.s, COLUMN_NUMBER}};
    bool begun = false, apart = false;
    for (size_t i = 0; i < engine->also_count; i++) {
        const struct also_row *row = &engine->also[i];
        if (told_elsewhere(row->channel) || !differs(row))
            continue;
        if (!begun)
            document_table(document,
                           "As recorded in the same holds, not moved to the reference sea", columns,
                           6);
        begun = true;
        apart |= also_row(document, input->style, row);
    }
    if (apart)
        report_rounding_note(document);
}

/* "Engine oil pressure at 1000, 1400 rpm": where a quantity was alike on both sides. Rows of one
 * quantity stand together. */
static void add_alike(struct text *words, const struct engine_answer *engine, size_t first)
{
    const enum channel_id channel = engine->also[first].channel;
    size_t alike = 0, all = 0;
    struct text speeds = {0};
    for (size_t i = first; i < engine->also_count && engine->also[i].channel == channel; i++) {
        all++;
        if (differs(&engine->also[i]))
            continue;
        text_addf(&speeds, "%s%.0f", alike++ > 0 ? ", " : "", engine->also[i].rpm);
    }
    if (alike > 0)
        text_addf(words, "%s%s at %s%s", words->length > 0 ? "; " : "", channel_get(channel)->title,
                  alike == all ? "any speed" : text_string(&speeds), alike == all ? "" : " rpm");
    words->failed |= speeds.failed;
    text_free(&speeds);
}

static void also_alike(struct document *document, const struct engine_answer *engine)
{
    struct text words = {0};
    for (size_t i = 0; i < engine->also_count; i++)
        if (!told_elsewhere(engine->also[i].channel) &&
            (i == 0 || engine->also[i].channel != engine->also[i - 1].channel))
            add_alike(&words, engine, i);
    document->failed |= words.failed;
    if (words.length > 0)
        document_paragraphf(document,
                            "No difference that stands out from the scatter of the holds: %s.",
                            text_string(&words));
    text_free(&words);
}

void section_also(struct document *document, const struct report_input *input)
{
    for (size_t e = 0; e < input->answer->engine_count; e++) {
        const struct engine_answer *engine = &input->answer->engines[e];
        bool any = false;
        for (size_t i = 0; i < engine->also_count; i++)
            any |= !told_elsewhere(engine->also[i].channel);
        if (!any)
            continue;
        report_engine_heading(document, input, engine);
        also_table(document, input, engine);
        also_alike(document, engine);
    }
}
