/* deliver.c - writes what a report leaves. */
#include "deliver.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "chart.h"
#include "folder.h"
#include "report.h"

/* One delivery under way. */
struct work {
    const struct delivery *delivery;
    struct text json;
    struct drawing_list drawings; /* none without an output folder */
    struct complaint no_pdf;      /* why there is no PDF, "" if there is one */
    struct complaint *complaint;
};

static void draw_progress(void *self, size_t done, size_t count)
{
    FILE *progress = self;
    fprintf(progress, "\rdrawing chart %zu of %zu ", done + 1, count);
    fflush(progress);
}

/* Takes the progress line off the terminal again. */
static void end_progress(FILE *progress)
{
    if (progress != NULL)
        fputs("\r\033[K", progress);
}

static enum status draw_charts(struct work *work, const char *folder)
{
    FILE *progress = work->delivery->progress;
    charts_clear(folder);
    enum status status = charts_write(&work->drawings, folder, work->complaint);
    if (status == STATUS_OK) {
        charts_draw(&work->drawings, folder, progress != NULL ? draw_progress : NULL, progress);
        end_progress(progress);
    }
    return status;
}

static enum status make_charts(struct work *work)
{
    char *folder = folder_path(work->delivery->handing->output, "charts");
    if (folder == NULL)
        return complain(work->complaint, STATUS_MEMORY, "no memory left for the charts");
    enum status status = folder_make(work->delivery->handing->output, work->complaint);
    if (status == STATUS_OK)
        status = folder_make(folder, work->complaint);
    if (status == STATUS_OK)
        status =
            work->delivery->kind->plan(work->delivery->subject, &work->delivery->handing->style,
                                       &work->drawings, work->complaint);
    if (status == STATUS_OK)
        status = draw_charts(work, folder);
    free(folder);
    return status;
}

static struct report_input input_of(const struct work *work, enum report_extent extent)
{
    return (struct report_input){
        .extent = extent,
        .style = &work->delivery->handing->style,
        .drawings = &work->drawings,
        .command = work->delivery->command,
    };
}

static enum status write_file(struct work *work, const char *name, struct text *content)
{
    enum status status =
        folder_write(work->delivery->handing->output, name, content, work->complaint);
    text_free(content);
    return status;
}

/* Without a font there is no PDF, but all else; an old one must not pass for this comparison's. */
static enum status write_pdf(struct work *work, const struct document *document)
{
    struct text content = {0};
    enum status status = report_pdf(&content, document, &work->drawings,
                                    work->delivery->handing->paper, work->complaint);
    if (status == STATUS_OK)
        return write_file(work, "report.pdf", &content);
    text_free(&content);
    if (status != STATUS_NOT_FOUND)
        return status;
    work->no_pdf = *work->complaint;
    char *old = folder_path(work->delivery->handing->output, "report.pdf");
    if (old != NULL)
        unlink(old);
    free(old);
    return STATUS_OK;
}

static enum status write_tables(struct work *work)
{
    const struct delivery_kind *kind = work->delivery->kind;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < kind->table_count && status == STATUS_OK; i++) {
        struct text content = {0};
        kind->tables[i].make(&content, work->delivery->subject);
        status = write_file(work, kind->tables[i].name, &content);
    }
    return status;
}

static enum status write_report(struct work *work, const struct document *document)
{
    struct text content = {0};
    report_html(&content, document, &work->drawings);
    enum status status = write_file(work, "report.html", &content);
    if (status != STATUS_OK)
        return status;
    status = write_pdf(work, document);
    if (status != STATUS_OK)
        return status;
    report_text(&content, document, &work->drawings, "charts", false);
    status = write_file(work, "report.txt", &content);
    if (status != STATUS_OK)
        return status;
    status = write_tables(work);
    return status == STATUS_OK ? folder_write(work->delivery->handing->output, "result.json",
                                              &work->json, work->complaint)
                               : status;
}

static enum status fill_folder(struct work *work)
{
    struct document document = {0};
    enum status status = make_charts(work);
    if (status == STATUS_OK) {
        struct report_input input = input_of(work, REPORT_WHOLE);
        status = work->delivery->kind->build(work->delivery->subject, &input, &document,
                                             work->complaint);
    }
    if (status == STATUS_OK)
        status = write_report(work, &document);
    document_free(&document);
    return status;
}

static bool any_drawn(const struct work *work)
{
    for (size_t i = 0; i < work->drawings.count; i++)
        if (work->drawings.list[i].svg != NULL)
            return true;
    return false;
}

/* Where the report is: only what was made is promised. */
static void print_places(const struct work *work, struct text *printed)
{
    const char *leaves = work->delivery->kind->leaves;
    text_add(printed, "\nThe whole report is in ");
    text_clean(printed, work->delivery->handing->output);
    text_add(printed, work->no_pdf.text[0] != '\0'
                          ? "\n  report.html for a browser and for print\n"
                          : "\n  report.pdf to attach, report.html for a browser\n");
    if (any_drawn(work))
        text_addf(printed, "  report.txt, result.json, %s, charts/\n", leaves);
    else
        text_addf(printed, "  report.txt, result.json, %s\n%s", leaves,
                  work->drawings.count == 0
                      ? ""
                      : "  No chart was drawn; charts/ holds their numbers and scripts.\n");
}

/* The whole report, or with a folder its summary and where the rest is. */
static enum status print_report(struct work *work, struct text *printed)
{
    struct document document = {0};
    struct report_input input =
        input_of(work, work->delivery->handing->output == NULL ? REPORT_WHOLE : REPORT_SUMMARY);
    enum status status =
        work->delivery->kind->build(work->delivery->subject, &input, &document, work->complaint);
    if (status == STATUS_OK) {
        report_text(printed, &document, &work->drawings, NULL, work->delivery->colour);
        if (work->delivery->handing->output != NULL)
            print_places(work, printed);
    }
    document_free(&document);
    return status;
}

static enum status write_json(struct work *work, struct text *printed)
{
    const char *name = work->delivery->handing->json;
    if (strcmp(name, "-") != 0)
        return file_write(name, &work->json, work->complaint);
    text_add(printed, text_string(&work->json));
    return STATUS_OK;
}

static enum status do_all(struct work *work, struct text *printed)
{
    bool json_printed =
        work->delivery->handing->json != NULL && strcmp(work->delivery->handing->json, "-") == 0;
    enum status status = work->delivery->kind->json(
        work->delivery->subject, work->delivery->command, &work->json, work->complaint);
    if (status == STATUS_OK && work->delivery->handing->output != NULL)
        status = fill_folder(work);
    if (status == STATUS_OK && work->delivery->handing->json != NULL)
        status = write_json(work, printed);
    if (status == STATUS_OK && !work->delivery->handing->quiet && !json_printed)
        status = print_report(work, printed);
    return status;
}

enum status deliver(const struct delivery *delivery, struct text *printed, struct complaint *note,
                    struct complaint *complaint)
{
    struct work work = {.delivery = delivery, .complaint = complaint};
    enum status status = do_all(&work, printed);
    complain(note, STATUS_OK, "%s%s%s", work.drawings.trouble,
             work.drawings.trouble[0] != '\0' && work.no_pdf.text[0] != '\0' ? "; " : "",
             work.no_pdf.text);
    if (status == STATUS_OK && printed->failed)
        status = complain(complaint, STATUS_MEMORY, "no memory left for the report");
    charts_free(&work.drawings);
    text_free(&work.json);
    return status;
}
