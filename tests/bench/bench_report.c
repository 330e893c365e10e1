/* bench_report.c - seconds for each part of a comparison: the numbers, charts, page, PDF, text.
 *
 * bench_report BEFORE.h5 AFTER.h5 */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#include "../../analyze/chart.h"
#include "../../analyze/compare.h"
#include "../../analyze/report.h"

static double now(void)
{
    struct timespec at;
    clock_gettime(CLOCK_MONOTONIC, &at);
    return (double)at.tv_sec + (double)at.tv_nsec / 1e9;
}

static double tell(const char *what, double since)
{
    double at = now();
    printf("%-44s %7.3f s\n", what, at - since);
    return at;
}

static void check(enum status status, const struct complaint *complaint)
{
    if (status == STATUS_OK)
        return;
    fprintf(stderr, "bench_report: %s\n", complaint->text);
    exit(1);
}

static void parts(char *before, char *after, const char *folder)
{
    struct compare_options options;
    struct answer answer = {0};
    struct complaint complaint = {""};
    struct style style = {UNITS_SI, false};
    struct drawing_list drawings = {0};
    struct document document = {0};
    struct text page = {0}, pdf = {0}, plain = {0};
    compare_options_default(&options);
    options.before = &before;
    options.after = &after;
    options.before_count = options.after_count = 1;
    double at = now();
    check(compare_runs(&options, &answer, &complaint), &complaint);
    at = tell("reading two runs and comparing them", at);
    check(charts_plan(&answer, &style, &drawings, &complaint), &complaint);
    check(charts_write(&drawings, folder, &complaint), &complaint);
    charts_draw(&drawings, folder, NULL, NULL);
    at = tell("charts by gnuplot (SVG, PNG and PDF of each)", at);
    struct report_input input = {.extent = REPORT_WHOLE,
                                 .answer = &answer,
                                 .style = &style,
                                 .drawings = &drawings,
                                 .command = ""};
    check(report_build(&input, &document, &complaint), &complaint);
    report_html(&page, &document, &drawings);
    at = tell("report.html", at);
    check(report_pdf(&pdf, &document, &drawings, PAPER_A4, &complaint), &complaint);
    at = tell("report.pdf", at);
    report_text(&plain, &document, &drawings, "charts", false);
    tell("report.txt", at);
    printf("%zu charts; report.html %.0f kB, report.pdf %.0f kB\n", drawings.count,
           (double)page.length / 1e3, (double)pdf.length / 1e3);
    text_free(&page);
    text_free(&pdf);
    text_free(&plain);
    document_free(&document);
    charts_free(&drawings);
    answer_free(&answer);
}

int main(int argc, char **argv)
{
    char folder[] = "/tmp/searun-bench-XXXXXX";
    if (argc != 3) {
        fprintf(stderr, "usage: bench_report BEFORE.h5 AFTER.h5\n");
        return 2;
    }
    if (mkdtemp(folder) == NULL)
        return 1;
    parts(argv[1], argv[2], folder);
    charts_clear(folder);
    rmdir(folder);
    return 0;
}
