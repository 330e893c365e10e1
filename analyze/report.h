/* report.h - the report of a comparison: one table of sections makes a document, renderers make
 * terminal text and a page of it. A number is formatted once, where its section writes it. */
#ifndef SEARUN_REPORT_H
#define SEARUN_REPORT_H

#include "answer.h"
#include "chart.h"
#include "document.h"
#include "status.h"
#include "words.h"

struct seasons;

enum report_extent {
    REPORT_SUMMARY, /* what fits a terminal: the finding and its table */
    REPORT_WHOLE,
    REPORT_ONE_RUN /* parts of it about a single run */
};

struct report_input {
    enum report_extent extent;
    const struct answer *answer; /* of a comparison; NULL in a report of the seasons */
    const struct style *style;
    const struct drawing_list *drawings; /* planned; pictures may be missing */
    const char *command;                 /* that gives the same numbers again */
    const char *folder;                  /* where charts lie, or NULL if none were written */
    const struct seasons *seasons;       /* NULL in a report of a comparison */
};

/* One section. It adds blocks; one that adds none is left out with its heading. */
struct section {
    const char *key, *title; /* an empty title: no heading */
    bool in_summary;
    void (*write)(struct document *document, const struct report_input *input);
};

extern const struct section sections[];
extern const size_t section_count;

/* Makes the document of any table of sections; free it in every case. STATUS_MEMORY. */
enum status report_build_of(const struct section *table, size_t count,
                            const struct report_input *input, struct document *out,
                            struct complaint *complaint);
/* The document of a comparison. */
enum status report_build(const struct report_input *input, struct document *out,
                         struct complaint *complaint);

/* Plain text, at most REPORT_COLUMNS wide; `colour` adds terminal colours, never needed. */
#define REPORT_COLUMNS 80
void report_text(struct text *out, const struct document *document,
                 const struct drawing_list *drawings, const char *folder, bool colour);

/* Pages for print: PDF with selectable text, bookmarks and page numbers. STATUS_NOT_FOUND
 * where no font is installed, STATUS_MEMORY, STATUS_IO. */
enum status report_pdf(struct text *out, const struct document *document,
                       const struct drawing_list *drawings, enum paper paper,
                       struct complaint *complaint);

/* One HTML page that needs nothing else: no script, no network. */
void report_html(struct text *out, const struct document *document,
                 const struct drawing_list *drawings);

/* The holds of all engines as CSV. */
void report_holds_csv(struct text *out, const struct answer *answer);

/* The parts, in section_*.c. */
void section_title(struct document *document, const struct report_input *input);
void section_finding(struct document *document, const struct report_input *input);
void section_bands(struct document *document, const struct report_input *input);
void section_about(struct document *document, const struct report_input *input);
void section_picture(struct document *document, const struct report_input *input);
void section_hints(struct document *document, const struct report_input *input);
void section_charts(struct document *document, const struct report_input *input);
void section_conditions(struct document *document, const struct report_input *input);
void section_checklist(struct document *document, const struct report_input *input);
void section_service(struct document *document, const struct report_input *input);
void section_notes(struct document *document, const struct report_input *input);
void section_certainty(struct document *document, const struct report_input *input);
void section_holds(struct document *document, const struct report_input *input);
void section_cleaning(struct document *document, const struct report_input *input);
void section_sources(struct document *document, const struct report_input *input);
void section_also(struct document *document, const struct report_input *input);
void section_exchanger(struct document *document, const struct report_input *input);
void section_warnings(struct document *document, const struct report_input *input);
void section_cautions(struct document *document, const struct report_input *input);
void section_method(struct document *document, const struct report_input *input);
void section_provenance(struct document *document, const struct report_input *input);

/* Whether the change shown in a row differs from the two numbers shown beside it, subtracted; and
 * the words for that, once below a table. */
struct shown {
    double value; /* stored unit */
    int decimals;
};
bool report_rounds_apart(const struct style *style, enum unit unit, struct shown before,
                         struct shown after, struct shown change);
void report_rounding_note(struct document *document);

/* For the sections: a heading with the engine's name where there are several. */
void report_engine_heading(struct document *document, const struct report_input *input,
                           const struct engine_answer *engine);
/* The name of the engine in a sentence: its label, or "engine 0". */
struct word report_engine_name(const struct engine_answer *engine);
/* The value of a fact as it is shown: numbers that have a unit in the reader's, "not recorded" for
 * "". */
struct fact_row;
void report_fact_value(struct text *out, const struct style *style, const struct fact_row *row,
                       const char *value);
/* What was done between the runs by the service log, "" without: "zinc anode changed (2026-05-14),
 * ...". */
void report_work_between(struct text *out, const struct answer *answer);
/* Boat fact from the first run that has it, or "". */
const char *report_boat_fact(const struct answer *answer, const char *key);

/* printf into a block. */
void document_paragraphf(struct document *document, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void document_itemf(struct document *document, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void document_cellf(struct document *document, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* Prose of the analyzer's other parts, in the reader's units. */
void report_prose_paragraph(struct document *document, const struct style *style,
                            const char *prose);
void report_prose_item(struct document *document, const struct style *style, const char *prose);
void report_prose_cell(struct document *document, const struct style *style, const char *prose);

#endif
