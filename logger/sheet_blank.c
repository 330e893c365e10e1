/* sheet_blank.c - sheets to fill in: for a spreadsheet and for a printer; see sheet.h. */
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "sheet.h"

#define SPEEDS 6
#define ROWS (2 * SPEEDS - 1)
#define SPARE_ROWS 2

/* Shares of the rated speed: a ladder from well above idling to full throttle, closer where the
 * thermostat is open. */
static const double shares[SPEEDS] = {0.36, 0.5, 0.64, 0.79, 0.9, 1.0};

/* The speed of a row of the ladder, up and down; 0 if the rated speed is not known. */
static double ladder_speed(const struct facts *facts, size_t row)
{
    double rated;
    size_t step = row < SPEEDS ? row : ROWS - 1 - row;
    if (row >= ROWS || !facts_number(facts, 0, "rated_rpm", &rated))
        return 0;
    return step == SPEEDS - 1 ? rated : round(rated * shares[step] / 50) * 50;
}

static const char *known(const struct facts *facts, enum fact_section section, const char *key)
{
    const char *value = facts_get(facts, section, 0, key);
    return strcmp(value, "other") == 0 ? "" : value;
}

/* As people write it: "71 to 82 °C" of the pair of the facts. */
static void print_known(FILE *to, const struct facts *facts, enum fact_section section,
                        const char *key, void (*print)(FILE *to, const char *text))
{
    char words[60];
    double start, full;
    const char *value = known(facts, section, key);
    if (strcmp(key, "thermostat") == 0 && facts_pair(facts, 0, key, &start, &full)) {
        snprintf(words, sizeof words, "%.6g to %.6g °C", start, full);
        value = words;
    }
    print(to, value);
}

/* --- for a spreadsheet */

/* The head: a key, and what is known or usual. */
static const struct head_line {
    const char *key;
    enum fact_section section;
    const char *fact; /* NULL: none */
    const char *usual;
} head_lines[] = {
    {"boat", FACT_BOAT, "name", ""},
    {"engine model", FACT_ENGINE, "model", ""},
    {"rated rpm", FACT_ENGINE, "rated_rpm", ""},
    {"thermostat", FACT_ENGINE, "thermostat", ""},
    {"purpose", FACT_RUN, "purpose", ""},
    {"recorded by", FACT_RUN, "who", ""},
    {"waters", FACT_RUN, "where", ""},
    {"sea state", FACT_RUN, "sea_state", ""},
    {"date", FACT_RUN, NULL, ""},
    {"time zone", FACT_RUN, NULL, ""},
    {"engine started", FACT_RUN, NULL, ""},
    {"held", FACT_RUN, NULL, "5 min"},
    {"gauge", FACT_RUN, NULL, ""},
    {"gauge read to", FACT_RUN, NULL, ""},
    {"infrared thermometer", FACT_RUN, NULL, ""},
    {"infrared thermometer right to", FACT_RUN, NULL, ""},
    {"sea thermometer", FACT_RUN, NULL, ""},
    {"sea thermometer read to", FACT_RUN, NULL, ""},
    {"tachometer read to", FACT_RUN, NULL, ""},
};

static const char *const hints[] = {
    "# Fill in what you know behind each key and leave the rest empty. Examples:",
    "# thermostat 160 to 180 °F (where it starts to open; where it is wide open). purpose: before "
    "service or after service.",
    "# date 2026-11-25. time zone +02:00 (how far the clock is ahead of UTC). engine started "
    "09:40. "
    "held 5 min (how long each speed was held before it was read).",
    "# gauge: which one; the same words before and after mean the same gauge. gauge read to 5 °F. "
    "infrared thermometer right to 2 °C.",
    "# In the line of column names write °F in place of °C where that is what you read. Leave out "
    "columns or add some: raw water in; jacket water in; air; oil temperature.",
};

/* In quotes if it must be (RFC 4180, section 2). */
static void print_cell(FILE *to, const char *text)
{
    if (!strpbrk(text, ",\"\r\n")) {
        fputs(text, to);
        return;
    }
    putc('"', to);
    for (; *text; text++) {
        if (*text == '"')
            putc('"', to);
        putc(*text, to);
    }
    putc('"', to);
}

void sheet_print_csv(FILE *to, const struct facts *facts)
{
    fputs("\xEF\xBB\xBF", to); /* so that spreadsheets take it for UTF-8 */
    for (size_t i = 0; i < sizeof hints / sizeof hints[0]; i++) {
        print_cell(to, hints[i]);
        fputs("\r\n", to);
    }
    for (size_t i = 0; i < sizeof head_lines / sizeof head_lines[0]; i++) {
        const struct head_line *line = &head_lines[i];
        fprintf(to, "%s,", line->key);
        if (line->fact)
            print_known(to, facts, line->section, line->fact, print_cell);
        else
            fputs(line->usual, to);
        fputs("\r\n", to);
    }
    fputs("\r\nplan,time,rpm,gauge [°C],thermostat housing [°C],raw water out [°C],sea "
          "[°C],notes\r\n",
          to);
    for (size_t row = 0; row < ROWS + SPARE_ROWS; row++) {
        double rpm = ladder_speed(facts, row);
        if (rpm > 0)
            fprintf(to, "%.0f", rpm);
        fputs(",,,,,,,\r\n", to);
    }
}

/* --- for a printer */

static void print_escaped(FILE *to, const char *text)
{
    for (; *text; text++) {
        if (*text == '<')
            fputs("&lt;", to);
        else if (*text == '&')
            fputs("&amp;", to);
        else if (*text == '"')
            fputs("&quot;", to);
        else
            putc(*text, to);
    }
}

static const char page_style[] =
    "@page{size:landscape;margin:9mm}"
    "*{box-sizing:border-box}"
    "body{font:10.5pt \"DejaVu Sans\",Verdana,sans-serif;color:#000;background:#fff;margin:0 auto;"
    "width:258mm}"
    "h1{font-size:15pt;margin:0 0 1.5mm}"
    ".care{border:0.6mm solid #000;padding:1.2mm 2.5mm;margin:0 0 2mm;font-size:9.5pt}"
    ".care b{font-size:10.5pt}"
    ".head{display:grid;grid-template-columns:repeat(3,1fr);column-gap:6mm}"
    ".head div{display:flex;align-items:flex-end;height:6.8mm;font-size:9.5pt;white-space:nowrap}"
    ".head span{flex:1;border-bottom:0.25mm solid #000;margin-left:2mm;padding-left:1mm;"
    "font-size:11pt;overflow:hidden}"
    "p{margin:2mm 0 1.5mm;font-size:9.5pt}"
    "table{border-collapse:collapse;width:100%;table-layout:fixed}"
    "th,td{border:0.25mm solid #000;text-align:center;overflow:hidden}"
    "th{font-size:8.5pt;font-weight:bold;height:10mm;padding:0.5mm}"
    "td{height:6.7mm;font-size:10pt}"
    "td.plan{color:#000;background:#eee;font-weight:bold;-webkit-print-color-adjust:exact;"
    "print-color-adjust:exact}"
    ".wide{width:20%}.narrow{width:5.8%}";

static const struct blank {
    const char *words;
    enum fact_section section;
    const char *fact;
} blanks[] = {
    {"Boat", FACT_BOAT, "name"},
    {"Date", FACT_RUN, NULL},
    {"&#9633; before service &nbsp; &#9633; after service", FACT_RUN, NULL},
    {"Engine", FACT_ENGINE, "model"},
    {"Clock ahead of UTC by", FACT_RUN, NULL},
    {"Engine started at", FACT_RUN, NULL},
    {"Read by", FACT_RUN, NULL},
    {"Driven by", FACT_RUN, NULL},
    {"Waters, sea state", FACT_RUN, NULL},
    {"Thermostat opens, wide open", FACT_ENGINE, "thermostat"},
    {"Gauge: which, read to", FACT_RUN, NULL},
    {"Sea thermometer: which, read to", FACT_RUN, NULL},
    {"Tachometer read to", FACT_RUN, NULL},
    {"Infrared therm.: which, right to", FACT_RUN, NULL},
    {"Spot: &#9633; matt paint &#9633; tape, other", FACT_RUN, NULL},
};

static void print_head(FILE *to, const struct facts *facts)
{
    fputs(
        "<h1>Sea trial without a data bus: readings by hand</h1>\n"
        "<div class=\"care\"><b>Take care.</b> Somebody else drives and looks out; you only read. "
        "Engine, exhaust and hoses are hot: do not touch, do not open a cap. Belts and shafts "
        "turn: no loose sleeves, no hand near them, point the thermometer from outside. "
        "Ventilate: exhaust holds carbon monoxide. Life jacket on, one hand for the boat. Stop "
        "if the gauge nears its alarm.</div>\n<div class=\"head\">\n",
        to);
    for (size_t i = 0; i < sizeof blanks / sizeof blanks[0]; i++) {
        fprintf(to, "<div>%s<span>", blanks[i].words);
        if (blanks[i].fact)
            print_known(to, facts, blanks[i].section, blanks[i].fact, print_escaped);
        fputs("</span></div>\n", to);
    }
    fputs("</div>\n<p><b>How.</b> Warm the engine up under way. Set a speed, leave the throttle "
          "alone for <b>5 minutes</b>, then read everything within half a minute and write down "
          "what you see. Go up to full throttle and down again. Point the infrared thermometer "
          "from a hand's breadth at the same matt spot each time: bare metal reads wrong. The same "
          "speeds, gauge and spots before and after the service. Circle the units you read.</p>\n",
          to);
}

static void print_table(FILE *to, const struct facts *facts)
{
    static const char *const names[] = {
        "time<br>of day",
        "rpm",
        "held<br>min",
        "gauge<br>°C / °F",
        "thermostat<br>housing<br>°C / °F",
        "jacket<br>water in<br>°C / °F",
        "jacket<br>water out<br>°C / °F",
        "raw<br>water in<br>°C / °F",
        "raw<br>water out<br>°C / °F",
        "sea<br>°C / °F",
    };
    const size_t count = sizeof names / sizeof names[0];
    fputs("<table>\n<tr><th class=\"narrow\">hold<br>rpm</th>", to);
    for (size_t i = 0; i < count; i++)
        fprintf(to, "<th%s>%s</th>", i < 3 ? " class=\"narrow\"" : "", names[i]);
    fputs("<th class=\"wide\">notes</th></tr>\n", to);
    for (size_t row = 0; row < ROWS + SPARE_ROWS; row++) {
        double rpm = ladder_speed(facts, row);
        fputs("<tr><td class=\"plan\">", to);
        if (rpm > 0)
            fprintf(to, "%.0f", rpm);
        fputs("</td>", to);
        for (size_t i = 0; i < count + 1; i++)
            fputs("<td></td>", to);
        fputs("</tr>\n", to);
    }
    fputs("</table>\n", to);
}

void sheet_print_page(FILE *to, const struct facts *facts)
{
    fprintf(to,
            "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
            "<title>Sea trial sheet</title><style>%s</style></head><body>\n",
            page_style);
    print_head(to, facts);
    print_table(to, facts);
    fputs("<p>Jacket water in, out: coolant into and out of the heat exchanger. Afterwards: write "
          "it into the table that <b>searun-logger --blank-sheet sheet.csv</b> makes, then "
          "<b>searun-logger --sheet sheet.csv</b>.</p>\n</body></html>\n",
          to);
}

/* --- the file */

static bool ends_with(const char *text, const char *ending)
{
    size_t length = strlen(text), tail = strlen(ending);
    return length > tail && strcasecmp(text + length - tail, ending) == 0;
}

enum status sheet_write_blank(const char *path, const struct facts *facts,
                              struct complaint *complaint)
{
    bool page = ends_with(path, ".html"), table = ends_with(path, ".csv");
    if (!page && !table)
        return complain(complaint, STATUS_BAD_USAGE,
                        "%s: a sheet for a spreadsheet ends in .csv, one for a printer in .html",
                        path);
    int file = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    FILE *to = file >= 0 ? fdopen(file, "w") : NULL;
    if (!to)
        return complain(complaint, errno == EEXIST ? STATUS_EXISTS : STATUS_IO, "%s: %s%s", path,
                        status_words(errno),
                        errno == EEXIST ? "; it is never overwritten, so name another" : "");
    if (page)
        sheet_print_page(to, facts);
    else
        sheet_print_csv(to, facts);
    bool failed = ferror(to);
    if (fclose(to) != 0 || failed)
        return complain(complaint, STATUS_IO, "%s could not be written", path);
    return STATUS_OK;
}
