/* section_runs.c - boat, conditions, holds, sources, and where everything came from. */
#include "report.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "boat_file.h"
#include "facts.h"
#include "note.h"
#include "origin_words.h"

#define NOT_RECORDED "not recorded"
#define ENTERED " (boat file)" /* behind facts that no run file holds */
#define RUNS_A_TABLE 3         /* more would be too narrow to read */

static const char *recorded(const char *value)
{
    return value[0] != '\0' ? value : NOT_RECORDED;
}

static const char *side_word(enum side side)
{
    return side == SIDE_BEFORE ? "before" : "after";
}

static const char *run_fact(const struct run_summary *run, enum fact_section section, int engine,
                            const char *key)
{
    return run->facts == NULL ? "" : facts_get(run->facts, section, engine, key);
}

/* --- boat, engine and work */

static void pair(struct document *document, const char *name, const char *value)
{
    document_cell(document, name);
    document_cell(document, recorded(value));
}

static void add_fact(struct text *value, const struct run_summary *run, const struct fact_row *row,
                     int engine)
{
    text_add(value, run_fact(run, row->section, engine, row->key));
    if (boat_file_has(run->entered, row->section, engine, row->key))
        text_add(value, ENTERED);
}

/* The run that speaks for its side: all of the side that record the fact record the same. NULL
 * where they differ or none does. */
static const struct run_summary *speaker(const struct answer *answer, const struct fact_row *row,
                                         int engine, enum side side)
{
    const struct run_summary *found = NULL;
    for (size_t i = 0; i < answer->run_count; i++) {
        const struct run_summary *run = &answer->runs[i];
        const char *own = run_fact(run, row->section, engine, row->key);
        if (run->side != side || own[0] == '\0')
            continue;
        if (found != NULL && strcmp(own, run_fact(found, row->section, engine, row->key)) != 0)
            return NULL;
        found = run;
    }
    return found;
}

/* The fact as all runs have it; where the sides differ, what each says, and else all that was said;
 * "" where none records it. */
static void agreed_words(struct text *value, const struct answer *answer,
                         const struct fact_row *row, int engine)
{
    const struct run_summary *before = speaker(answer, row, engine, SIDE_BEFORE);
    const struct run_summary *after = speaker(answer, row, engine, SIDE_AFTER);
    const char *last = "";
    if (before != NULL && after != NULL &&
        strcmp(run_fact(before, row->section, engine, row->key),
               run_fact(after, row->section, engine, row->key)) != 0) {
        text_add(value, "before: ");
        add_fact(value, before, row, engine);
        text_add(value, "; after: ");
        add_fact(value, after, row, engine);
        return;
    }
    for (size_t i = 0; i < answer->run_count; i++) {
        const char *own = run_fact(&answer->runs[i], row->section, engine, row->key);
        if (own[0] == '\0' || strcmp(own, last) == 0)
            continue;
        if (value->length > 0)
            text_add(value, " / ");
        add_fact(value, &answer->runs[i], row, engine);
        last = own;
    }
}

/* The first page: what is missing is told in one row at its end, to leave room for the chart. */
struct about {
    struct document *document;
    const struct answer *answer;
    struct text missing;
};

static void about_missing(struct about *about, const char *title)
{
    if (strstr(text_string(&about->missing), title) == NULL)
        text_addf(&about->missing, "%s%s", about->missing.length > 0 ? "; " : "", title);
}

/* Work that the runs do not tell and the service log does. */
static void work_by_log(struct text *value, const struct answer *answer)
{
    report_work_between(value, answer);
    if (value->length > 0)
        text_add(value, " (service log)");
}

static void about_fact(struct about *about, enum fact_section section, const char *key)
{
    const struct fact_row *row = fact_row_find(section, key);
    struct text value = {0};
    if (row == NULL)
        return;
    agreed_words(&value, about->answer, row, 0);
    if (value.length == 0 && strcmp(key, "service") == 0)
        work_by_log(&value, about->answer);
    if (value.length > 0 || section == FACT_RUN) /* work and people are missed in their place */
        pair(about->document, row->title, text_string(&value));
    else
        about_missing(about, row->title);
    about->document->failed |= value.failed;
    text_free(&value);
}

/* Adds a fact of an engine to its row, behind the words that say what it is. */
static void engine_fact(struct about *about, struct text *words, int engine, const char *key,
                        const char *what)
{
    const struct fact_row *row = fact_row_find(FACT_ENGINE, key);
    struct text value = {0};
    if (row == NULL)
        return;
    agreed_words(&value, about->answer, row, engine);
    if (value.length > 0) {
        text_add(words, what);
        text_add(words, text_string(&value));
    } else {
        about_missing(about, row->title);
    }
    words->failed |= value.failed;
    text_free(&value);
}

static void about_engine(struct about *about, const struct engine_answer *engine)
{
    struct text words = {0}, exchanger = {0};
    text_add(&words, report_engine_name(engine).s);
    engine_fact(about, &words, engine->instance, "model", ", ");
    engine_fact(about, &words, engine->instance, "serial", ", serial number ");
    pair(about->document, "Engine", text_string(&words));
    if (about->answer->engine_count > 1)
        text_addf(&exchanger, "%s: ", report_engine_name(engine).s);
    size_t name = exchanger.length;
    engine_fact(about, &exchanger, engine->instance, "exchanger", "");
    if (exchanger.length > name)
        pair(about->document, "Heat exchanger", text_string(&exchanger));
    about->document->failed |= words.failed || exchanger.failed;
    text_free(&words);
    text_free(&exchanger);
}

static void run_dates(struct document *document, const struct answer *answer, enum side side)
{
    struct text dates = {0};
    for (size_t i = 0; i < answer->run_count; i++)
        if (answer->runs[i].side == side)
            text_addf(&dates, "%s%s", dates.length > 0 ? ", " : "",
                      word_time(answer->runs[i].start_unix_us).s);
    pair(document, side == SIDE_BEFORE ? "Run before" : "Run after", text_string(&dates));
    text_free(&dates);
}

void section_about(struct document *document, const struct report_input *input)
{
    static const struct column columns[] = {{"", COLUMN_NAME}, {"", COLUMN_WORDS}};
    const struct answer *answer = input->answer;
    document_table(document, "", columns, 2);
    document_halves(document);
    struct about about = {document, answer, {0}};
    for (size_t i = 0; i < fact_row_count; i++)
        if (fact_rows[i].section == FACT_BOAT)
            about_fact(&about, FACT_BOAT, fact_rows[i].key);
    for (size_t e = 0; e < answer->engine_count; e++)
        about_engine(&about, &answer->engines[e]);
    about_fact(&about, FACT_RUN, "service");
    about_fact(&about, FACT_RUN, "who");
    run_dates(document, answer, SIDE_BEFORE);
    run_dates(document, answer, SIDE_AFTER);
    if (about.missing.length > 0)
        pair(document, "Not recorded", text_string(&about.missing));
    document->failed |= about.missing.failed;
    text_free(&about.missing);
}

/* --- conditions side by side */

/* Facts that are numbers with a unit, and so are shown in the reader's. */
static const struct fact_unit {
    const char *key;
    enum unit unit;
    int decimals;
} fact_units[] = {
    {"rated_rpm", UNIT_RPM, 0},    {"thermostat", UNIT_DEGC, 0},
    {"alarm", UNIT_DEGC, 0},       {"thermostat_uncertainty", UNIT_KELVIN, 1},
    {"normal_band", UNIT_DEGC, 0}, {"sea_temperature", UNIT_DEGC, 1},
};

static const struct fact_unit *unit_of(const char *key)
{
    for (size_t i = 0; i < sizeof fact_units / sizeof fact_units[0]; i++)
        if (strcmp(fact_units[i].key, key) == 0)
            return &fact_units[i];
    return NULL;
}

void report_fact_value(struct text *out, const struct style *style, const struct fact_row *row,
                       const char *value)
{
    const struct fact_unit *unit = unit_of(row->key);
    double first, second;
    char *end = NULL;
    if (unit != NULL && row->kind == FACT_PAIR && pair_parse(value, &first, &second))
        text_addf(out, "%s to %s", word_value(style, unit->unit, first, unit->decimals).s,
                  word_quantity(style, unit->unit, second, unit->decimals).s);
    else if (unit != NULL && row->kind == FACT_NUMBER && isfinite(first = strtod(value, &end)) &&
             end != value && *end == '\0')
        text_add(out, word_quantity(style, unit->unit, first, unit->decimals).s);
    else
        text_add(out, recorded(value));
}

static void fact_cell(struct document *document, const struct style *style,
                      const struct run_summary *run, const struct fact_row *row, int engine)
{
    struct text value = {0};
    report_fact_value(&value, style, row, run_fact(run, row->section, engine, row->key));
    if (boat_file_has(run->entered, row->section, engine, row->key))
        text_add(&value, ENTERED);
    document->failed |= value.failed;
    document_cell(document, text_string(&value));
    text_free(&value);
}

struct condition {
    const char *title;
    void (*cell)(struct document *document, const struct style *style,
                 const struct run_summary *run);
};

static void cell_start(struct document *document, const struct style *style,
                       const struct run_summary *run)
{
    (void)style;
    document_cell(document, word_time(run->start_unix_us).s);
}

static void cell_clock(struct document *document, const struct style *style,
                       const struct run_summary *run)
{
    (void)style;
    document_cell(document, recorded(origin_clock(run->clock)));
}

static void cell_length(struct document *document, const struct style *style,
                        const struct run_summary *run)
{
    (void)style;
    document_cell(document, word_duration(run->duration).s);
}

static void temperature_cell(struct document *document, const struct style *style, double degc)
{
    document_cell(document,
                  isfinite(degc) ? word_quantity(style, UNIT_DEGC, degc, 1).s : NOT_RECORDED);
}

static void cell_sea(struct document *document, const struct style *style,
                     const struct run_summary *run)
{
    temperature_cell(document, style, run->sea_mean);
}

static void cell_air(struct document *document, const struct style *style,
                     const struct run_summary *run)
{
    temperature_cell(document, style, run->air_mean);
}

static const struct condition conditions[] = {
    {"Start", cell_start},   {"Time from", cell_clock}, {"Length", cell_length},
    {"Sea, mean", cell_sea}, {"Air, mean", cell_air},
};

/* A table with a column a run, RUNS_A_TABLE at a time. */
struct run_table {
    struct document *document;
    const struct report_input *input;
    size_t first, count;
};

static void run_columns(const struct run_table *table, const char *caption)
{
    struct column columns[RUNS_A_TABLE + 1] = {{"", COLUMN_NAME}};
    struct text titles[RUNS_A_TABLE] = {{0}};
    for (size_t i = 0; i < table->count; i++) {
        const struct run_summary *run = &table->input->answer->runs[table->first + i];
        text_addf(&titles[i], "%s: ", side_word(run->side));
        text_clip(&titles[i], run->name, 40);
        columns[i + 1] = (struct column){text_string(&titles[i]), COLUMN_WORDS};
    }
    document_table(table->document, caption, columns, table->count + 1);
    for (size_t i = 0; i < table->count; i++)
        text_free(&titles[i]);
}

static void fact_rows_of(const struct run_table *table, enum fact_section section, int engine)
{
    const struct answer *answer = table->input->answer;
    for (size_t r = 0; r < fact_row_count; r++) {
        if (fact_rows[r].section != section)
            continue;
        document_cell(table->document, fact_rows[r].title);
        for (size_t i = 0; i < table->count; i++)
            fact_cell(table->document, table->input->style, &answer->runs[table->first + i],
                      &fact_rows[r], engine);
    }
}

static void load_row(const struct run_table *table, const struct engine_answer *engine,
                     const char *title, enum unit unit, double (*value)(const struct hold *))
{
    document_cell(table->document, title);
    for (size_t i = 0; i < table->count; i++) {
        double sum = 0;
        size_t count = 0;
        for (size_t h = 0; h < engine->hold_count; h++) {
            const struct hold *hold = &engine->holds[h];
            if (hold->run == table->first + i && hold->refusal == REFUSAL_NONE &&
                isfinite(value(hold))) {
                sum += value(hold);
                count++;
            }
        }
        document_cell(table->document,
                      count > 0 ? word_quantity(table->input->style, unit, sum / (double)count, 1).s
                                : NOT_RECORDED);
    }
}

static double hold_load(const struct hold *hold)
{
    return hold->load;
}

static double hold_fuel(const struct hold *hold)
{
    return hold->fuel_rate;
}

static void runs_side_by_side(const struct run_table *table)
{
    const struct answer *answer = table->input->answer;
    run_columns(table, "The runs");
    for (size_t c = 0; c < sizeof conditions / sizeof conditions[0]; c++) {
        document_cell(table->document, conditions[c].title);
        for (size_t i = 0; i < table->count; i++)
            conditions[c].cell(table->document, table->input->style,
                               &answer->runs[table->first + i]);
    }
    fact_rows_of(table, FACT_RUN, 0);
    for (size_t e = 0; e < answer->engine_count; e++) {
        struct word caption;
        caption = word_of("Engine: %.90s", report_engine_name(&answer->engines[e]).s);
        run_columns(table, caption.s);
        load_row(table, &answer->engines[e], "Load, mean of the holds used", UNIT_PERCENT,
                 hold_load);
        load_row(table, &answer->engines[e], "Fuel rate, mean of the holds used",
                 UNIT_LITRE_PER_HOUR, hold_fuel);
        fact_rows_of(table, FACT_ENGINE, answer->engines[e].instance);
    }
}

void section_conditions(struct document *document, const struct report_input *input)
{
    struct run_table table = {document, input, 0, 0};
    for (; table.first < input->answer->run_count; table.first += RUNS_A_TABLE) {
        size_t left = input->answer->run_count - table.first;
        table.count = left < RUNS_A_TABLE ? left : RUNS_A_TABLE;
        runs_side_by_side(&table);
    }
}

/* --- holds */

static void hold_counts(struct document *document, const struct report_input *input,
                        const struct engine_answer *engine)
{
    bool one_run = input->extent == REPORT_ONE_RUN;
    size_t count[REFUSAL_COUNT] = {0};
    struct text words = {0};
    for (size_t i = 0; i < engine->hold_count; i++)
        count[engine->holds[i].refusal]++;
    text_addf(&words, "%s used.",
              one_run ? word_count(count[REFUSAL_NONE], "hold can be", "holds can be").s
                      : word_count(count[REFUSAL_NONE], "hold was", "holds were").s);
    for (int r = REFUSAL_NONE + 1, said = 0; r < REFUSAL_COUNT; r++)
        if (count[r] > 0)
            text_addf(&words, "%s %s: %zu",
                      said++ > 0 ? ";" : " Not used:", refusal_words((enum refusal)r), count[r]);
    document_paragraph(document, text_string(&words));
    if (count[REFUSAL_UNHELD] > 0)
        document_paragraph(document,
                           "Where the sheet does not say how long a speed was held, add the line "
                           "\"held,5 min\" above its table, with the time that each speed was "
                           "held, and read it in again.");
    document->failed |= words.failed;
    text_free(&words);
}

/* "before", or "before 2" where a side has several runs. */
static struct word hold_run(const struct report_input *input, const struct hold *hold)
{
    size_t number = 0, count = 0;
    for (size_t i = 0; i < input->answer->run_count; i++) {
        bool same = input->answer->runs[i].side == hold->side;
        count += same;
        number += same && i <= hold->run;
    }
    if (input->extent == REPORT_ONE_RUN)
        return word_of("this");
    return count > 1 ? word_of("%s %zu", side_word(hold->side), number)
                     : word_of("%s", side_word(hold->side));
}

static void hold_row(struct document *document, const struct report_input *input,
                     const struct engine_answer *engine, size_t index)
{
    const struct style *style = input->style;
    const struct hold *hold = &engine->holds[index];
    double drift = unit_shown(hold->coolant_slope * 60, UNIT_KELVIN, style->units);
    document_cellf(document, "%zu", index + 1);
    document_cell(document, hold_run(input, hold).s);
    document_cell(document, word_clock(hold->start).s);
    document_cell(document, word_clock(hold->end - hold->start).s);
    document_cell(document, word_number(style, hold->rpm, 0).s);
    document_cell(document, word_value(style, UNIT_DEGC, hold->coolant, 1).s);
    document_cell(document, word_signed(style, drift, 2).s);
    document_cell(document, word_value(style, UNIT_DEGC, hold->sea, 1).s);
    document_cell(document, word_number(style, hold->load, 0).s);
    document_cell(document, refusal_words(hold->refusal));
}

static void holds_of(struct document *document, const struct report_input *input,
                     const struct engine_answer *engine)
{
    struct word caption;
    caption = word_of(
        "Start and length in h:min:s; coolant and sea in %s, drift in %s per minute, load in %%",
        unit_symbol(UNIT_DEGC, input->style->units), unit_symbol(UNIT_KELVIN, input->style->units));
    static const struct column columns[] = {
        {"no.", COLUMN_NAME},     {"run", COLUMN_SHORT},
        {"start", COLUMN_NUMBER}, {"length", COLUMN_NUMBER},
        {"rpm", COLUMN_NUMBER},   {"coolant", COLUMN_NUMBER},
        {"drift", COLUMN_NUMBER}, {"sea", COLUMN_NUMBER},
        {"load", COLUMN_NUMBER},  {"used, or why not", COLUMN_WORDS}};
    report_engine_heading(document, input, engine);
    hold_counts(document, input, engine);
    document_table(document, caption.s, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < engine->hold_count; i++)
        hold_row(document, input, engine, i);
}

void section_holds(struct document *document, const struct report_input *input)
{
    for (size_t e = 0; e < input->answer->engine_count; e++)
        if (input->answer->engines[e].hold_count > 0)
            holds_of(document, input, &input->answer->engines[e]);
}

/* --- cleaning, sources */

/* Which engine a line is about; "boat" for what belongs to none. */
static void engine_cell(struct document *document, const struct answer *answer, int instance)
{
    if (instance < 0) {
        document_cell(document, "boat");
        return;
    }
    for (size_t e = 0; e < answer->engine_count; e++)
        if (answer->engines[e].instance == instance) {
            document_cell(document, report_engine_name(&answer->engines[e]).s);
            return;
        }
    document_cellf(document, "engine %d", instance);
}

static void run_cell(struct document *document, const struct answer *answer, size_t run)
{
    struct text name = {0};
    if (run < answer->run_count)
        text_clip(&name, answer->runs[run].name, 40);
    document_cell(document, text_string(&name));
    text_free(&name);
}

static void add_count(struct text *words, size_t count, const char *what)
{
    if (count > 0)
        text_addf(words, "%s%zu %s", words->length > 0 ? ", " : "", count, what);
}

static void cleaned_words(struct text *words, const struct cleaned *cleaned)
{
    add_count(words, cleaned->unbelievable, "beyond belief");
    add_count(words, cleaned->spikes, "single spikes");
    add_count(words, cleaned->dropouts, "in drop-outs");
    if (cleaned->stale > 0)
        text_addf(words, "%ssilent %zu times, %s in all", words->length > 0 ? ", " : "",
                  cleaned->stale, word_duration(cleaned->stale_seconds).s);
    if (cleaned->frozen_seconds > 0)
        text_addf(words, "%sstood still for %s", words->length > 0 ? ", " : "",
                  word_duration(cleaned->frozen_seconds).s);
}

void section_cleaning(struct document *document, const struct report_input *input)
{
    static const struct column columns[] = {{"quantity", COLUMN_NAME},
                                            {"of", COLUMN_SHORT},
                                            {"run", COLUMN_SHORT},
                                            {"readings", COLUMN_NUMBER},
                                            {"taken out or not used", COLUMN_WORDS}};
    const struct answer *answer = input->answer;
    bool any = false;
    for (size_t i = 0; i < answer->cleaned_count; i++) {
        const struct cleaned *cleaned = &answer->cleaned[i];
        struct text words = {0};
        cleaned_words(&words, cleaned);
        if (words.length > 0) {
            if (!any)
                document_table(document, "", columns, 5);
            any = true;
            document_cell(document, channel_get(cleaned->channel)->title);
            engine_cell(document, answer, cleaned->engine);
            run_cell(document, answer, cleaned->run);
            document_cellf(document, "%zu", cleaned->samples);
            document_cell(document, text_string(&words));
        }
        text_free(&words);
    }
    if (!any && answer->cleaned_count > 0)
        document_paragraph(document, "None: every reading of the sources used was sound.");
}

static bool same_choice(const struct choice *a, const struct choice *b)
{
    return a->channel == b->channel && a->engine == b->engine &&
           strcmp(a->chosen, b->chosen) == 0 && strcmp(a->others, b->others) == 0;
}

/* In how many runs a quantity comes from the same source, with the same ones left. */
static size_t runs_alike(const struct answer *answer, const struct choice *choice)
{
    size_t count = 0;
    for (size_t i = 0; i < answer->choice_count; i++)
        count += same_choice(&answer->choices[i], choice);
    return count;
}

void section_sources(struct document *document, const struct report_input *input)
{
    static const struct column columns[] = {{"quantity", COLUMN_NAME},
                                            {"of", COLUMN_SHORT},
                                            {"run", COLUMN_SHORT},
                                            {"taken from", COLUMN_WORDS},
                                            {"not taken", COLUMN_WORDS}};
    const struct answer *answer = input->answer;
    if (answer->choice_count == 0)
        return;
    document_table(document, "", columns, 5);
    for (size_t i = 0; i < answer->choice_count; i++) {
        const struct choice *choice = &answer->choices[i];
        bool everywhere = answer->run_count > 1 && runs_alike(answer, choice) == answer->run_count;
        if (everywhere && choice->run > 0)
            continue;
        document_cell(document, channel_get(choice->channel)->title);
        engine_cell(document, answer, choice->engine);
        if (everywhere)
            document_cell(document, "all runs");
        else
            run_cell(document, answer, choice->run);
        document_cell(document, choice->chosen);
        document_cell(document, choice->others[0] != '\0' ? choice->others : WORD_NONE);
    }
}

/* --- remarks */

void section_notes(struct document *document, const struct report_input *input)
{
    static const struct column columns[] = {
        {"run", COLUMN_NAME}, {"about", COLUMN_SHORT}, {"remark", COLUMN_WORDS}};
    const struct answer *answer = input->answer;
    bool any = false;
    for (size_t i = 0; i < answer->run_count; i++) {
        const struct notes *notes = answer->runs[i].notes;
        if (notes == NULL || notes->count + notes->left_out == 0)
            continue;
        if (!any)
            document_table(document, "Added beside the run files, not part of what was recorded",
                           columns, 3);
        any = true;
        for (size_t n = 0; n < notes->count; n++) {
            run_cell(document, answer, i);
            document_cell(document, notes->list[n].key);
            document_cell(document, notes->list[n].value);
        }
        if (notes->left_out > 0) {
            run_cell(document, answer, i);
            document_cell(document, WORD_NONE);
            document_cellf(document, "%s left out: no key=value, or too many",
                           word_count(notes->left_out, "more line", "more lines").s);
        }
    }
}

/* --- provenance */

static void provenance_of(struct document *document, const struct run_summary *run)
{
    document_cellf(document, "Run %s", side_word(run->side));
    document_cell(document, run->path);
    pair(document, "SHA-256", run->sha256);
    pair(document, "Run id", run->run_id);
    pair(document, "Recorded by", run->software);
    document_cell(document, "Recorded");
    document_cellf(document, "%s, %s long, time from: %s", word_time(run->start_unix_us).s,
                   word_duration(run->duration).s, recorded(origin_clock(run->clock)));
    document_cell(document, "Whole");
    document_cellf(document, "%s%s; %s (%s), %" PRIu64 " messages known to be lost",
                   run->closed_cleanly ? "ended cleanly" : "did not end cleanly",
                   run->rebuilt ? ", rebuilt from its journal" : "",
                   word_count(run->gap_count, "gap", "gaps").s, word_duration(run->gap_seconds).s,
                   run->lost);
}

void section_provenance(struct document *document, const struct report_input *input)
{
    static const struct column columns[] = {{"", COLUMN_NAME}, {"", COLUMN_WORDS}};
    const struct answer *answer = input->answer;
    document_table(document, "", columns, 2);
    for (size_t i = 0; i < answer->run_count; i++)
        provenance_of(document, &answer->runs[i]);
    if (answer->boat_file[0] != '\0') {
        pair(document, "Boat file", answer->boat_file);
        pair(document, "SHA-256", answer->boat_sha256);
    }
    if (answer->service != NULL) {
        pair(document, "Service log", answer->service_path);
        pair(document, "SHA-256", answer->service_sha256);
    }
    pair(document, "Compared by", "searun-analyze " SEARUN_VERSION);
    document_cell(document, "Sea moved to");
    document_cellf(document, "%s (%s)",
                   word_quantity(input->style, UNIT_DEGC, answer->reference_sea, 2).s,
                   answer->reference_from == NULL ? NOT_RECORDED : answer->reference_from);
    if (answer->options[0] != '\0') {
        document_cell(document, "Options");
        report_prose_cell(document, input->style, answer->options);
    }
    document_paragraph(document, "The same numbers come from the same files with:");
    document_code(document, input->command);
}
