/* show.c - what is in a run file. */
#include "show.h"

#include <inttypes.h>
#include <math.h>
#include <string.h>

#include "facts.h"
#include "note.h"
#include "origin_words.h"
#include "report.h"
#include "run_read.h"
#include "series.h"

#define EVENTS_SHOWN 40
#define GAPS_SHOWN 40

struct showing {
    struct run *run;
    struct document *document;
    const struct style *style;
};

static void pair(struct document *document, const char *name, const char *value)
{
    document_cell(document, name);
    document_cell(document, value[0] != '\0' ? value : "not recorded");
}

static const char *file_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

static void show_about(const struct showing *showing)
{
    static const struct column columns[] = {{"", COLUMN_NAME}, {"", COLUMN_WORDS}};
    const struct run_facts_of *about = run_about(showing->run);
    struct document *document = showing->document;
    document_title(document, word_of("Run %s", file_name(about->path)).s, about->path);
    document_table(document, "", columns, 2);
    pair(document, "Start", word_time(about->start_unix_us).s);
    pair(document, "Length", word_duration(about->duration).s);
    pair(document, "Time from", origin_clock(clock_source_key(about->clock)));
    pair(document, "Recorded by", about->software);
    document_cell(document, "Format");
    document_cellf(document, "%d", about->format_version);
    pair(document, "Run id", about->run_id);
    document_cell(document, "End");
    document_cellf(document, "%s%s%s", about->closed_cleanly ? "clean" : "not clean",
                   about->rebuilt ? ", rebuilt from the journal" : "",
                   about->records_rejected > 0
                       ? word_of(", of which %llu blocks were torn, altered or missing",
                                 (unsigned long long)about->records_rejected)
                             .s
                       : "");
}

static void show_fact(const struct showing *showing, const struct fact *fact)
{
    static const char *const abouts[] = {"boat", "engine", "run"};
    const struct fact_row *row = fact_row_find(fact->section, fact->key);
    struct text value = {0};
    if (row == NULL)
        return;
    if (fact->section == FACT_ENGINE)
        document_cellf(showing->document, "%s %d: %s", abouts[fact->section], fact->engine,
                       row->title);
    else
        document_cellf(showing->document, "%s: %s", abouts[fact->section], row->title);
    report_fact_value(&value, showing->style, row, fact->value);
    document_cell(showing->document, text_string(&value));
    showing->document->failed |= value.failed;
    text_free(&value);
}

static void show_facts(const struct showing *showing)
{
    static const struct column columns[] = {{"", COLUMN_NAME}, {"", COLUMN_WORDS}};
    const struct facts *facts = run_facts(showing->run);
    if (facts == NULL || facts->count == 0)
        return;
    document_heading(showing->document, 2, "Facts");
    document_table(showing->document, "", columns, 2);
    for (size_t i = 0; i < facts->count; i++)
        show_fact(showing, &facts->list[i]);
}

/* --- sources and their channels */

struct figures {
    double low, high, sum;
    size_t gaps;
    double longest; /* s */
};

static struct figures figures_of(const struct series *series, double silence)
{
    struct figures figures = {NAN, NAN, 0, 0, 0};
    for (size_t i = 0; i < series->count; i++) {
        range_take(&figures.low, &figures.high, series->value[i]);
        figures.sum += series->value[i];
        double quiet = i > 0 ? series->time[i] - series->time[i - 1] : 0;
        figures.gaps += quiet > silence;
        figures.longest = fmax(figures.longest, quiet);
    }
    return figures;
}

static double rate_of(const struct series *series)
{
    if (series->count < 2)
        return NAN;
    double span = series->time[series->count - 1] - series->time[0];
    return span > 0 ? (double)(series->count - 1) / span : NAN;
}

static void channel_row(const struct showing *showing, const struct series *series)
{
    const struct channel *channel = channel_get(series->channel);
    const struct style *style = showing->style;
    struct figures figures = figures_of(series, series_silence(series));
    double mean = series->count > 0 ? figures.sum / (double)series->count : NAN;
    double rate = rate_of(series);
    int decimals = word_reading_decimals(channel->unit);
    document_cell(showing->document, channel->key);
    document_cellf(showing->document, "%zu", series->count);
    document_cell(showing->document, word_number(style, rate, rate < 0.1 ? 3 : 1).s);
    document_cellf(showing->document, "%zu", figures.gaps);
    document_cell(showing->document, word_value(style, channel->unit, figures.low, decimals).s);
    document_cell(showing->document, word_value(style, channel->unit, mean, decimals).s);
    document_cell(showing->document, word_value(style, channel->unit, figures.high, decimals).s);
    document_cell(showing->document, unit_symbol(channel->unit, style->units));
}

static enum status show_stream(const struct showing *showing, size_t index,
                               struct complaint *complaint)
{
    static const struct column columns[] = {{"channel", COLUMN_NAME},   {"readings", COLUMN_NUMBER},
                                            {"per s", COLUMN_NUMBER},   {"gaps", COLUMN_NUMBER},
                                            {"lowest", COLUMN_NUMBER},  {"mean", COLUMN_NUMBER},
                                            {"highest", COLUMN_NUMBER}, {"unit", COLUMN_SHORT}};
    const struct stream *stream = run_stream(showing->run, index);
    const struct run_input *input = stream->origin.input < run_input_count(showing->run)
                                        ? run_input_at(showing->run, stream->origin.input)
                                        : NULL;
    struct word caption = word_of(
        "%s: %s (%s%s%s)", origin_place(&stream->origin).s, origin_source(&stream->origin).s,
        stream->origin.protocol < PROTOCOL_COUNT
            ? protocol_title((enum protocol)stream->origin.protocol)
            : "unknown protocol",
        input != NULL ? ", input " : "", input != NULL ? input->label : "");
    document_table(showing->document, caption.s, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < stream->channel_count; i++) {
        struct series series = {0};
        enum status status =
            run_read_series(showing->run, index, stream->channels[i], &series, complaint);
        if (status == STATUS_OK)
            channel_row(showing, &series);
        series_free(&series);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

static enum status show_streams(const struct showing *showing, struct complaint *complaint)
{
    size_t count = run_stream_count(showing->run);
    document_heading(showing->document, 2, "Sources and channels");
    if (count == 0)
        document_paragraph(showing->document, "No readings: nothing that came in was understood.");
    else
        document_paragraph(showing->document,
                           "A gap is a silence longer than the channel may have (2 to 60 s, by "
                           "channel).");
    for (size_t i = 0; i < count; i++) {
        enum status status = show_stream(showing, i, complaint);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

/* --- how well columns were read, where somebody said so */

/* An uncertainty or step: a difference, so that degC become K. */
static void difference_cell(const struct showing *showing, enum unit unit, double value)
{
    enum unit of = unit == UNIT_DEGC ? UNIT_KELVIN : unit;
    if (value > 0)
        document_cellf(showing->document, "%s %s", word_value(showing->style, of, value, 1).s,
                       unit_symbol(of, showing->style->units));
    else
        document_cell(showing->document, "–");
}

static void accuracy_row(const struct showing *showing, const struct series *series)
{
    const struct accuracy *a = &series->accuracy;
    const struct channel *channel = channel_get(series->channel);
    document_cellf(showing->document, "%s: %s", origin_place(&series->origin).s, channel->title);
    document_cellf(showing->document, "%s%s%s", a->by_hand ? "by hand" : "recorded",
                   a->instrument[0] ? ", " : "", a->instrument);
    difference_cell(showing, channel->unit, a->step);
    difference_cell(showing, channel->unit, a->reading_u);
    difference_cell(showing, channel->unit, a->run_u);
    difference_cell(showing, channel->unit, a->instrument_u);
}

static bool has_accuracy(const struct accuracy *a)
{
    return a->instrument[0] || a->step > 0 || a->reading_u > 0 || a->run_u > 0 ||
           a->instrument_u > 0;
}

static void begin_accuracies(const struct showing *showing)
{
    static const struct column columns[] = {
        {"channel", COLUMN_NAME},      {"read", COLUMN_WORDS},
        {"in steps of", COLUMN_SHORT}, {"± each reading", COLUMN_SHORT},
        {"± each run", COLUMN_SHORT},  {"± the instrument", COLUMN_SHORT},
    };
    document_heading(showing->document, 2, "How well it was read");
    document_paragraph(showing->document, "Standard uncertainties, as stated or usual.");
    document_table(showing->document, "", columns, sizeof columns / sizeof columns[0]);
}

static enum status show_accuracies(const struct showing *showing, struct complaint *complaint)
{
    bool any = false;
    enum status status = STATUS_OK;
    for (size_t s = 0; s < run_stream_count(showing->run); s++) {
        const struct stream *stream = run_stream(showing->run, s);
        for (size_t c = 0; stream->origin.protocol == PROTOCOL_SHEET && c < stream->channel_count;
             c++) {
            struct series series = {0};
            status = run_read_series(showing->run, s, stream->channels[c], &series, complaint);
            if (status != STATUS_OK)
                return status;
            if (has_accuracy(&series.accuracy)) {
                if (!any)
                    begin_accuracies(showing);
                any = true;
                accuracy_row(showing, &series);
            }
            series_free(&series);
        }
    }
    return STATUS_OK;
}

static void show_unmapped(const struct showing *showing)
{
    bool any = false;
    for (size_t i = 0; i < run_stream_count(showing->run); i++) {
        const struct stream *stream = run_stream(showing->run, i);
        for (size_t c = 0; c < stream->channel_count; c++) {
            if (!origin_unmapped(stream->channels[c]))
                continue;
            if (!any) {
                document_heading(showing->document, 2, "Transducers that nobody has mapped");
                document_paragraph(
                    showing->document,
                    "They are kept under the names they send. To make one a channel, "
                    "map it in the logger's configuration, or take it in a "
                    "comparison with --source CHANNEL=NAME.");
            }
            any = true;
            document_itemf(showing->document, "%s: %s", origin_source(&stream->origin).s,
                           channel_get(stream->channels[c])->key);
        }
    }
}

/* --- what did not become a reading */

static void tally_rows(const struct showing *showing, size_t input)
{
    const struct tally *tally = run_tally(showing->run, input);
    for (int r = 0; tally != NULL && r < REASON_COUNT; r++) {
        if (tally->line[r].count == 0)
            continue;
        document_cell(showing->document, run_input_at(showing->run, input)->label);
        document_cellf(showing->document, "%" PRIu64, tally->line[r].count);
        document_cell(showing->document, reason_title((enum reason)r));
        document_cell(showing->document, word_clock((double)tally->line[r].first / 1e9).s);
        document_cell(showing->document, word_clock((double)tally->line[r].last / 1e9).s);
    }
}

static bool any_tally(const struct showing *showing)
{
    for (size_t i = 0; i < run_input_count(showing->run); i++) {
        const struct tally *tally = run_tally(showing->run, i);
        for (int r = 0; tally != NULL && r < REASON_COUNT; r++)
            if (tally->line[r].count > 0)
                return true;
    }
    return false;
}

static void show_tallies(const struct showing *showing)
{
    static const struct column columns[] = {{"input", COLUMN_NAME},
                                            {"count", COLUMN_NUMBER},
                                            {"of", COLUMN_WORDS},
                                            {"first", COLUMN_NUMBER},
                                            {"last", COLUMN_NUMBER}};
    size_t count = run_input_count(showing->run);
    if (count == 0)
        return;
    document_heading(showing->document, 2, "What came in");
    for (size_t i = 0; i < count; i++)
        document_itemf(showing->document, "%s: %s", run_input_at(showing->run, i)->label,
                       run_input_at(showing->run, i)->text);
    if (!any_tally(showing))
        return;
    document_table(showing->document, "Counted while recording (times since run start)", columns,
                   5);
    for (size_t i = 0; i < count; i++)
        tally_rows(showing, i);
}

static enum status show_gaps(const struct showing *showing, struct complaint *complaint)
{
    static const struct column columns[] = {{"input", COLUMN_NAME},
                                            {"from", COLUMN_NUMBER},
                                            {"length", COLUMN_NUMBER},
                                            {"lost", COLUMN_NUMBER},
                                            {"why", COLUMN_WORDS}};
    const struct run_gap *gaps;
    size_t count;
    enum status status = run_gaps(showing->run, &gaps, &count, complaint);
    if (status != STATUS_OK || count == 0)
        return status;
    document_heading(showing->document, 2, "Gaps in the recording");
    document_table(showing->document, "", columns, 5);
    for (size_t i = 0; i < count && i < GAPS_SHOWN; i++) {
        bool known = gaps[i].input < run_input_count(showing->run);
        document_cell(showing->document,
                      known ? run_input_at(showing->run, gaps[i].input)->label : "?");
        document_cell(showing->document, word_clock(gaps[i].from).s);
        document_cell(showing->document, word_duration(gaps[i].to - gaps[i].from).s);
        document_cellf(showing->document, "%" PRIu64, gaps[i].lost);
        document_cell(showing->document, gaps[i].why);
    }
    if (count > GAPS_SHOWN)
        document_paragraphf(showing->document, "... and %zu more.", count - GAPS_SHOWN);
    return STATUS_OK;
}

static enum status show_events(const struct showing *showing, struct complaint *complaint)
{
    static const struct column columns[] = {
        {"at", COLUMN_NAME}, {"event", COLUMN_SHORT}, {"words", COLUMN_WORDS}};
    const struct run_event *events;
    size_t count;
    enum status status = run_events(showing->run, &events, &count, complaint);
    if (status != STATUS_OK || count == 0)
        return status;
    document_heading(showing->document, 2, "Events");
    document_table(showing->document, "", columns, 3);
    for (size_t i = 0; i < count && i < EVENTS_SHOWN; i++) {
        document_cell(showing->document, word_clock(events[i].time).s);
        document_cell(showing->document, events[i].key);
        document_cell(showing->document, events[i].text);
    }
    if (count > EVENTS_SHOWN)
        document_paragraphf(showing->document, "... and %zu more.", count - EVENTS_SHOWN);
    return STATUS_OK;
}

/* --- what a comparison would take from it */

/* Keeps what belongs to the first run of the answer. */
static void keep_first_run(struct answer *answer)
{
    size_t kept = 0;
    for (size_t i = 1; i < answer->run_count; i++)
        if (answer->runs[i].notes != NULL)
            notes_free(answer->runs[i].notes);
    for (size_t i = 0; i < answer->choice_count; i++)
        if (answer->choices[i].run == 0)
            answer->choices[kept++] = answer->choices[i];
    answer->choice_count = kept;
    for (size_t e = 0; e < answer->engine_count; e++) {
        struct engine_answer *engine = &answer->engines[e];
        kept = 0;
        for (size_t h = 0; h < engine->hold_count; h++)
            if (engine->holds[h].run == 0)
                engine->holds[kept++] = engine->holds[h];
        engine->hold_count = kept;
    }
}

static void show_part(const struct showing *showing, const struct answer *answer, const char *title,
                      void (*write)(struct document *, const struct report_input *))
{
    struct drawing_list none = {0};
    struct report_input input = {.extent = REPORT_ONE_RUN,
                                 .answer = answer,
                                 .style = showing->style,
                                 .drawings = &none,
                                 .command = ""};
    size_t before = showing->document->count;
    document_heading(showing->document, 2, title);
    size_t with_heading = showing->document->count;
    write(showing->document, &input);
    if (showing->document->count == with_heading && !showing->document->failed)
        document_cut(showing->document, before);
}

/* What was marked before a service is no step that follows it. In a comparison the user says which
 * runs are after; here the run's own purpose does. */
static bool before_service(const struct answer *answer)
{
    const struct facts *facts = answer->run_count > 0 ? answer->runs[0].facts : NULL;
    return facts && strcmp(facts_get(facts, FACT_RUN, 0, "purpose"), "before service") == 0;
}

/* The run is compared with itself, which finds its sources and holds as any comparison would. */
static enum status show_comparison(const struct showing *showing, const char *path,
                                   struct complaint *complaint)
{
    struct compare_options options;
    struct answer answer = {0};
    char *runs[] = {(char *)path};
    compare_options_default(&options);
    options.before = options.after = runs;
    options.before_count = options.after_count = 1;
    enum status status = compare_runs(&options, &answer, complaint);
    if (status == STATUS_OK) {
        keep_first_run(&answer);
        show_part(showing, &answer, "Remarks", section_notes);
        if (!before_service(&answer))
            show_part(showing, &answer, "After the service", section_checklist);
        show_part(showing, &answer, "Sources that a comparison would take", section_sources);
        show_part(showing, &answer, "Steady holds that a comparison would find", section_holds);
        if (answer.engine_count == 0)
            document_paragraph(
                showing->document,
                "No engine speed and no coolant temperature: nothing in this run can "
                "be compared.");
    }
    answer_free(&answer);
    return status;
}

static enum status show_all(const struct showing *showing, struct complaint *complaint)
{
    show_about(showing);
    show_facts(showing);
    enum status status = show_streams(showing, complaint);
    if (status == STATUS_OK)
        status = show_accuracies(showing, complaint);
    if (status != STATUS_OK)
        return status;
    show_unmapped(showing);
    show_tallies(showing);
    status = show_gaps(showing, complaint);
    return status == STATUS_OK ? show_events(showing, complaint) : status;
}

enum status show_run(const struct show_request *request, struct document *out,
                     struct complaint *complaint)
{
    struct showing showing = {NULL, out, &request->style};
    enum status status = run_open(request->run, &showing.run, complaint);
    if (status != STATUS_OK)
        return status;
    status = show_all(&showing, complaint);
    run_close(showing.run);
    if (status == STATUS_OK)
        status = show_comparison(&showing, request->run, complaint);
    if (status == STATUS_OK && out->failed)
        status = complain(complaint, STATUS_MEMORY, "no memory left to show %s", request->run);
    return status;
}
