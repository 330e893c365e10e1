/* report_html.c - the document as one page that needs nothing else: no script, no font, no
 * network. */
#include "report.h"

#include <string.h>

#include "colour.h"
#include "picture.h"

/* Looks: paper first. Colours are those of colours.def; nothing is told by colour alone. Wide
 * tables are moved sideways on a phone. In print two charts go on a page. */
static const char style_sheet[] =
    "*{box-sizing:border-box}\n"
    "html{-webkit-text-size-adjust:100%;text-size-adjust:100%}\n"
    "body{margin:0 auto;max-width:52rem;padding:1.5rem 1.25rem 4rem;color:var(--ink);"
    "background:var(--white);font:16px/1.5 \"DejaVu Sans\",Verdana,\"Noto Sans\",sans-serif;"
    "overflow-wrap:anywhere}\n"
    "header{border-bottom:3px solid var(--ink);margin-bottom:1.5rem}\n"
    "h1{font-size:1.55rem;line-height:1.25;margin:0}\n"
    "header p{color:var(--soft);margin:.3rem 0 .8rem}\n"
    "h2{font-size:1.2rem;margin:2.2rem 0 .6rem;border-bottom:1px solid var(--line);"
    "padding-bottom:.2rem}\n"
    "h3{font-size:1.02rem;margin:1.5rem 0 .5rem}\n"
    "p{margin:.55rem 0}\n"
    "ul{margin:.5rem 0;padding-left:1.3rem}\n"
    "li{margin:.35rem 0}\n"
    ".finding{font-size:1.15rem;font-weight:bold;margin:.4rem 0;padding:.6rem .9rem;"
    "border-left:.45rem solid var(--soft);background:var(--ground)}\n"
    ".finding.lowered{border-left-color:var(--good)}\n"
    ".finding.raised{border-left-color:var(--bad)}\n"
    ".finding.cannot_be_shown{border-left-style:double}\n"
    ".key{margin:1rem 0;padding:.8rem 1rem;border:1px solid var(--line);border-radius:.3rem}\n"
    ".key p{margin:.1rem 0}\n"
    ".key .number{font-size:2.1rem;line-height:1.2;font-weight:bold;"
    "font-variant-numeric:tabular-nums}\n"
    ".key .other{color:var(--soft)}\n"
    ".scroll{overflow-x:auto;margin:.9rem 0}\n"
    "table{border-collapse:collapse;font-size:.86rem;line-height:1.35;width:100%;"
    "font-variant-numeric:tabular-nums}\n"
    "caption{text-align:left;color:var(--soft);padding:0 0 .35rem}\n"
    "th,td{text-align:left;vertical-align:top;padding:.3rem .7rem .3rem 0;"
    "border-bottom:1px solid var(--line)}\n"
    "th:last-child,td:last-child{padding-right:0}\n"
    "thead th{border-bottom:2px solid var(--ink);font-weight:bold;vertical-align:bottom;"
    "overflow-wrap:normal}\n"
    "tbody th{font-weight:normal}\n"
    ".n{text-align:right}\n"
    "td.n,td.s,th.n{white-space:nowrap}\n"
    ".n+.s,.n+.w{padding-left:.8rem}\n"
    "td.w{min-width:6.5rem}tbody th{min-width:7.5rem}\n"
    "tbody th.k{min-width:0;white-space:nowrap}\n"
    "dl{columns:2;column-gap:1.6rem;margin:.7rem 0;font-size:.86rem;line-height:1.35}\n"
    "dl div{display:flex;gap:.7rem;padding:.28rem 0;border-bottom:1px solid var(--line);"
    "break-inside:avoid}\n"
    "dt{flex:0 0 42%;color:var(--soft)}dd{flex:1;margin:0;min-width:0}\n"
    "figure{margin:1.4rem 0}\n"
    "figure div{overflow-x:auto}\n"
    "figure svg{display:block;width:100%;min-width:20rem;height:auto}\n"
    "figure svg text{font-family:\"DejaVu Sans\",Verdana,\"Noto Sans\",sans-serif}\n"
    "figcaption{color:var(--soft);font-size:.82rem;margin-top:.3rem}\n"
    "pre{background:var(--ground);border:1px solid var(--line);padding:.7rem .8rem;"
    "white-space:pre-wrap;font:.8rem/1.45 \"DejaVu Sans Mono\",monospace}\n"
    ".missing{color:var(--soft);border:1px dashed var(--line);padding:.7rem .8rem}\n"
    "@media (max-width:40rem){dl{columns:1}body{padding:1rem .9rem 3rem;font-size:15px}"
    "h1{font-size:1.3rem}.key .number{font-size:1.8rem}"
    "table{font-size:.72rem}th,td{padding-right:.3rem}th.n{white-space:normal}"
    ".n+.s,.n+.w{padding-left:.3rem}}\n"
    "@page{margin:17mm 16mm 18mm}\n"
    /* On paper the first page holds the finding, the boat and the first chart, on A4 and Letter. */
    "@media print{html{font-size:12pt}"
    "body{max-width:none;padding:0;font-size:9pt;line-height:1.33}p{margin:.3rem 0}"
    "h1{font-size:15pt}header p{margin:.1rem 0 .4rem}"
    "h2{font-size:11.5pt;margin:1rem 0 .35rem}.finding{font-size:12pt;padding:.25rem .7rem}"
    ".key{display:grid;grid-template-columns:auto 1fr;column-gap:1.2rem;padding:.35rem .7rem;"
    "margin:.5rem 0}.key p{grid-column:2}.key p:first-child{grid-column:1/-1}"
    ".key .number{grid-column:1;grid-row:2/4;align-self:center;font-size:21pt}"
    "dl{margin:.3rem 0;font-size:8pt;line-height:1.25}dl div{padding:.1rem 0}"
    "h2,h3,caption{break-after:avoid}figure,tr,.key,.finding,li{break-inside:avoid}"
    "p{orphans:3;widows:3}thead{display:table-header-group}"
    ".scroll,figure div{overflow:visible}figure svg{min-width:0;max-height:103mm}"
    "figure.first svg{max-height:80mm}figure.low svg{max-height:41mm}"
    "figure{margin:.6rem 0}"
    ".finding,pre{-webkit-print-color-adjust:exact;print-color-adjust:exact}}\n";

static void tagged(struct text *out, const char *open, const char *words, const char *close)
{
    text_add(out, open);
    text_html(out, words);
    text_add(out, close);
}

/* Class of a cell: n number, s short words, w words. The name of a row may be a number too. */
static const char *class_of(enum column_kind kind)
{
    switch (kind) {
    case COLUMN_NUMBER:
        return " class=\"n\"";
    case COLUMN_SHORT:
        return " class=\"s\"";
    case COLUMN_WORDS:
        return " class=\"w\"";
    case COLUMN_NAME:
        break;
    }
    return "";
}

/* Names that are all short, such as speeds, need no room of their own. */
static bool names_are_short(const struct table *table)
{
    for (size_t row = 0; row < table_rows(table); row++)
        if (text_columns(table_cell(table, row, 0)) > 8)
            return false;
    return true;
}

static void table_head(struct text *out, const struct table *table)
{
    bool any = false;
    for (size_t i = 0; i < table->column_count; i++)
        any |= table->column[i].title[0] != '\0';
    if (!any)
        return;
    text_add(out, "<thead><tr>");
    for (size_t i = 0; i < table->column_count; i++) {
        const char *title = table->column[i].title;
        if (title[0] == '\0') { /* a header cell must say something */
            text_add(out, "<td></td>");
            continue;
        }
        text_addf(out, "<th scope=\"col\"%s>", class_of(table->column[i].kind));
        tagged(out, "", title, "</th>");
    }
    text_add(out, "</tr></thead>\n");
}

/* Names and values in two columns where the page is wide. */
static void list_html(struct text *out, const struct table *table)
{
    text_add(out, "<dl>\n");
    for (size_t row = 0; row < table_rows(table); row++) {
        tagged(out, "<div><dt>", table_cell(table, row, 0), "</dt>");
        tagged(out, "<dd>", table_cell(table, row, 1), "</dd></div>\n");
    }
    text_add(out, "</dl>\n");
}

static void table_html(struct text *out, const struct table *table)
{
    if (table->halves) {
        list_html(out, table);
        return;
    }
    const char *name =
        names_are_short(table) ? "<th scope=\"row\" class=\"k\">" : "<th scope=\"row\">";
    text_add(out, "<div class=\"scroll\"><table>\n");
    if (table->caption[0] != '\0')
        tagged(out, "<caption>", table->caption, "</caption>\n");
    table_head(out, table);
    text_add(out, "<tbody>\n");
    for (size_t row = 0; row < table_rows(table); row++) {
        text_add(out, "<tr>");
        for (size_t i = 0; i < table->column_count; i++) {
            const char *cell = table_cell(table, row, i);
            if (table->column[i].kind == COLUMN_NAME) {
                tagged(out, name, cell, "</th>");
            } else {
                text_addf(out, "<td%s>", class_of(table->column[i].kind));
                tagged(out, "", cell, "</td>");
            }
        }
        text_add(out, "</tr>\n");
    }
    text_add(out, "</tbody></table></div>\n");
}

/* How many of them there have been on the page. */
struct counts {
    size_t figures, findings;
};

/* On paper the first one has to stay on the first page, with the findings. */
static const char *figure_open(const struct counts *counts)
{
    if (counts->figures > 1)
        return "<figure>";
    return counts->findings > 1 ? "<figure class=\"first low\">" : "<figure class=\"first\">";
}

static void figure_html(struct text *out, const struct block *block,
                        const struct drawing_list *drawings, const struct counts *counts)
{
    const struct drawing *drawing = &drawings->list[block->figure];
    struct text picture = {0};
    text_add(out, figure_open(counts));
    if (drawing->svg != NULL &&
        picture_svg(&picture, drawing->svg, drawing->name, drawing->describes)) {
        text_add(out, "<div>");
        text_add(out, text_string(&picture));
        text_add(out, "</div>");
    } else {
        tagged(out, "<p class=\"missing\">This chart could not be drawn. What it shows: ",
               drawing->describes, "</p>");
    }
    out->failed |= picture.failed;
    text_free(&picture);
    text_addf(out, "<figcaption>Figure %zu. ", counts->figures);
    tagged(out, "", drawing->chart->title, "");
    if (drawing->svg == NULL) /* a picture has its caption in it */
        tagged(out, ". ", block->words[0], "");
    text_add(out, "</figcaption></figure>\n");
}

static void key_html(struct text *out, const struct block *block)
{
    tagged(out, "<div class=\"key\"><p>", block->words[0], "</p>\n");
    tagged(out, "<p class=\"number\">", block->words[1], "</p>\n");
    tagged(out, "<p>", block->words[2], "</p>\n");
    tagged(out, "<p class=\"other\">", block->words[3], "</p></div>\n");
}

static void block_html(struct text *out, const struct block *block,
                       const struct drawing_list *drawings, struct counts *counts)
{
    switch (block->kind) {
    case BLOCK_TITLE:
        tagged(out, "<header><h1>", block->words[0], "</h1>\n");
        tagged(out, "<p>", block->words[1], "</p></header>\n<main>\n");
        break;
    case BLOCK_HEADING:
        tagged(out, block->level == 2 ? "<h2>" : "<h3>", block->words[0],
               block->level == 2 ? "</h2>\n" : "</h3>\n");
        break;
    case BLOCK_PARAGRAPH:
        tagged(out, "<p>", block->words[0], "</p>\n");
        break;
    case BLOCK_FINDING:
        counts->findings++;
        text_addf(out, "<p class=\"finding %s\">", finding_key(block->finding));
        tagged(out, "", block->words[0], "</p>\n");
        break;
    case BLOCK_KEY:
        key_html(out, block);
        break;
    case BLOCK_ITEM:
        tagged(out, "<li>", block->words[0], "</li>\n");
        break;
    case BLOCK_TABLE:
        table_html(out, block->table);
        break;
    case BLOCK_FIGURE:
        counts->figures++;
        figure_html(out, block, drawings, counts);
        break;
    case BLOCK_CODE:
        tagged(out, "<pre>", block->words[0], "</pre>\n");
        break;
    }
}

static void page_title(struct text *out, const struct document *document)
{
    struct text title = {0};
    document_page_title(&title, document);
    tagged(out, "<title>", text_string(&title), "</title>\n");
    out->failed |= title.failed;
    text_free(&title);
}

void report_html(struct text *out, const struct document *document,
                 const struct drawing_list *drawings)
{
    text_add(out, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                  "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                  "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
                  "style-src 'unsafe-inline'\">\n"
                  "<meta name=\"generator\" content=\"searun-analyze " SEARUN_VERSION "\">\n");
    page_title(out, document);
    text_add(out, "<style>\n:root{");
    colours_css(out);
    text_add(out, "}\n");
    text_add(out, style_sheet);
    text_add(out, "</style>\n</head>\n<body>\n");
    struct counts counts = {0, 0};
    for (size_t i = 0; i < document->count; i++) {
        const struct block *block = &document->blocks[i];
        bool item = block->kind == BLOCK_ITEM;
        if (item && (i == 0 || document->blocks[i - 1].kind != BLOCK_ITEM))
            text_add(out, "<ul>\n");
        block_html(out, block, drawings, &counts);
        if (item && (i + 1 == document->count || document->blocks[i + 1].kind != BLOCK_ITEM))
            text_add(out, "</ul>\n");
    }
    text_add(out, "</main>\n</body>\n</html>\n");
}
