/* test_paper.c - the report as it is handed on: PDF, page, boat file, remarks, and hostile words in
 * every fact through all of them. Needs poppler-utils; what a browser sees needs chromium. */
#include "stage.h"

#include "facts.h"

/* `! command` does not end a script under -e; `no command` does. */
static const char denial[] =
    "no() { if \"$@\"; then echo \"this should have failed: $*\"; exit 1; fi; }; ";

/* Runs a line of the shell in the scratch folder; `line` has $ANALYZE for the program. */
static struct program start_line(const char *line)
{
    char script[4000];
    snprintf(script, sizeof script, "ANALYZE=$(realpath '%s'); cd '%s'; %s%s",
             stage_program("SEARUN_ANALYZE"), stage_folder, denial, line);
    return stage_start_with(NULL, "/bin/sh", (const char *const[]){"sh", "-ec", script, NULL});
}

static bool have(const char *program)
{
    char line[100];
    snprintf(line, sizeof line, "command -v %s", program);
    struct program look = start_line(line);
    return stage_wait(&look) == 0;
}

static int make_reports(void **state)
{
    if (stage_make(state) != 0)
        return -1;
    stage_record("tern-before", "before", "before.h5");
    stage_record("tern-after", "after", "after.h5");
    stage_expect(
        start_line("$ANALYZE compare --before before.h5 --after after.h5 --output a4 --quiet"), 0);
    stage_expect(start_line("$ANALYZE compare --before before.h5 --after after.h5 --paper letter "
                            "--units us --decimal comma --output letter --quiet"),
                 0);
    return 0;
}

/* --- PDF */

static void pdf_has_its_properties(void **state)
{
    (void)state;
    if (!have("pdfinfo"))
        skip();
    stage_expect_words(start_line("pdfinfo a4/report.pdf"), 0,
                       "Page size:       595.276 x 841.89 pts (A4)");
    stage_expect_words(start_line("pdfinfo a4/report.pdf"), 0,
                       "Title:           Engine cooling before and after service: Tern's Reach");
    stage_expect_words(start_line("pdfinfo letter/report.pdf"), 0,
                       "Page size:       612 x 792 pts (letter)");
}

/* Tagged from one root, without a complaint; each figure has its words, which say its numbers. */
static void pdf_is_tagged(void **state)
{
    (void)state;
    if (!have("pdfinfo"))
        skip();
    stage_expect_words(start_line("pdfinfo a4/report.pdf"), 0, "Tagged:          yes");
    stage_expect(start_line("pdfinfo -struct a4/report.pdf > tree 2> complaints; "
                            "test ! -s complaints; head -1 tree | grep -qx Document; "
                            "for tag in H1 H2 P Table TR TH TD L LI Figure Code; do "
                            "grep -q \"^ *$tag\\b\" tree || { echo \"no $tag\"; exit 1; }; done; "
                            "test $(grep -c '^ *Figure' tree) -eq "
                            "$(grep -ac '^   /Alt <FEFF' a4/report.pdf); "
                            "grep -aq '/Lang (en)' a4/report.pdf"),
                 0);
}

static void pdf_embeds_its_fonts(void **state)
{
    (void)state;
    if (!have("pdffonts"))
        skip();
    stage_expect(start_line("pdffonts a4/report.pdf > fonts; test $(wc -l < fonts) -gt 2; "
                            "tail -n +3 fonts | awk '$(NF-4) != \"yes\" {exit 1}'"),
                 0);
}

/* Words of the finding, of a table and of a chart. */
static void pdf_text_can_be_selected(void **state)
{
    static const char *const words[] = {
        "Coolant temperature lowered", "Corrigal 6-230",   "SHA-256",    "Page 1 of ",
        "Engine speed, rpm",           "thermostat opens", "Provenance", "not recorded"};
    (void)state;
    if (!have("pdftotext"))
        skip();
    stage_expect(start_line("pdftotext -layout a4/report.pdf a4.txt"), 0);
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        char line[200];
        snprintf(line, sizeof line, "grep -qF '%s' a4.txt || { echo 'missing: %s'; exit 1; }",
                 words[i], words[i]);
        stage_expect(start_line(line), 0);
    }
}

/* The key figure, with its other units and its interval, stands on the first page. */
static void first_page_tells_all(void **state)
{
    (void)state;
    if (!have("pdftotext"))
        skip();
    stage_expect(start_line("pdftotext -l 1 a4/report.pdf - | tr '\\n' ' ' > one; "
                            "grep -q '95.% interval' one; grep -q '°F (' one; "
                            "grep -qF 'Work done' one; grep -qF 'Run before' one; "
                            "grep -qF 'Figure 1.' one; grep -qF 'Both runs moved to a sea' one"),
                 0);
}

/* Two engines: both findings, the dates and one chart of both still share the first page, on Letter
 * too, which is lower. */
static void first_page_of_a_twin_tells_all(void **state)
{
    (void)state;
    if (!have("pdftotext"))
        skip();
    stage_record("sisters-before", "before", "twin-before.h5");
    stage_record("sisters-after", "after", "twin-after.h5");
    stage_expect(
        start_line("$ANALYZE compare --before twin-before.h5 --after twin-after.h5 --paper letter "
                   "--units us "
                   "--output twin --quiet; pdftotext -l 1 twin/report.pdf - | tr '\\n' ' ' > one; "
                   "for words in 'Engine port: Coolant temperature lowered' "
                   "'Engine starboard: No change shown' 'Run before' 'Run after' "
                   "'Figure 1. The engines side by side'; do "
                   "grep -qF \"$words\" one || { echo \"missing: $words\"; exit 1; }; done"),
        0);
}

/* However long a report is, its last page does not hold a few lines alone: with each remark it
 * grows by some more, so that every place of a page is the last once. Without gnuplot, for
 * speed. */
static void last_page_is_no_scrap(void **state)
{
    (void)state;
    if (!have("pdftotext"))
        skip();
    stage_expect(
        start_line("mkdir grow; cp before.h5 after.h5 grow; cd grow; words=$(printf 'a long remark "
                   "%.0s' 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 21 22 23 24 25 26 27 "
                   "28 29 30 31 32 33); "
                   "for i in 1 2 3 4 5 6 7 8; do $ANALYZE note after.h5 \"x$i=$words\" "
                   ">/dev/null; PATH=/nonexistent $ANALYZE compare --before before.h5 --after "
                   "after.h5 --output out --quiet 2>/dev/null; "
                   "n=$(pdfinfo out/report.pdf | awk '/^Pages/ {print $2}'); "
                   "pdftotext -layout -f $n -l $n out/report.pdf last; "
                   "grep -q Provenance last || test $(grep -c . last) -ge 15 || "
                   "{ cat last; exit 1; }; done"),
        0);
}

static void pdf_has_bookmarks_and_charts_as_vectors(void **state)
{
    (void)state;
    if (!have("pdfimages"))
        skip();
    stage_expect(start_line("grep -aq /Outlines a4/report.pdf; "
                            "test $(pdfimages -list a4/report.pdf | wc -l) -eq 2"),
                 0);
}

static void same_answer_same_bytes(void **state)
{
    (void)state;
    stage_expect(start_line("$ANALYZE compare --before before.h5 --after after.h5 --output again "
                            "--quiet; cmp a4/report.pdf again/report.pdf; "
                            "cmp a4/report.html again/report.html"),
                 0);
}

/* Pango hangs without any font: it must not be asked then, and all else is still made. */
static void without_fonts_all_else_is_made(void **state)
{
    (void)state;
    static const char none[] = "<?xml version=\"1.0\"?><fontconfig></fontconfig>";
    stage_write(stage_path("no-fonts.conf"), none, strlen(none));
    stage_expect(start_line("mkdir -p fontless; echo old > fontless/report.pdf; "
                            "FONTCONFIG_FILE=$PWD/no-fonts.conf PATH=/nowhere $ANALYZE compare "
                            "--before before.h5 --after after.h5 --output fontless --quiet 2> why; "
                            "grep -q fonts-dejavu-core why; test ! -e fontless/report.pdf; "
                            "test -s fontless/report.html; test -s fontless/holds.csv"),
                 0);
}

/* The numbers of page and PDF are the same words. */
static void page_and_pdf_say_the_same(void **state)
{
    (void)state;
    if (!have("pdftotext"))
        skip();
    stage_expect(
        start_line(
            "for kind in a4 letter; do pdftotext $kind/report.pdf - | sed 's/\\xc2\\xa0/ /g' | tr "
            "-s ' \\n' ' ' > pdf.txt; "
            "grep -o '<p class=\"number\">[^<]*' $kind/report.html | sed 's/.*>//; s/\\xc2\\xa0/ "
            "/g' > keys; "
            "test -s keys; while read -r key; do grep -qF \"$(echo $key)\" pdf.txt; done < keys; "
            "done"),
        0);
}

/* --- boat file and remarks */

static void boat_file_fills_in_and_says_so(void **state)
{
    (void)state;
    static const char boat[] = "[boat]\nname = Another Name\nowner = K. Marsh\n of the outer pier\n"
                               "[run]\nnotes = entered later\n";
    stage_write(stage_path("boat.ini"), boat, strlen(boat));
    stage_expect(start_line("$ANALYZE compare --before before.h5 --after after.h5 --boat boat.ini "
                            "--output boat --quiet; "
                            "tr -s ' \\n' ' ' < boat/report.txt > flat; "
                            "grep -qF 'K. Marsh of the outer pier (boat file)' flat; "
                            "no grep -qF 'Another Name' flat; grep -qF \"Tern's Reach\" flat; "
                            "grep -qF -- '--boat boat.ini' flat; "
                            "grep -qF $(sha256sum < boat.ini | cut -d' ' -f1) flat; "
                            "grep -qF $(sha256sum < boat.ini | cut -d' ' -f1) boat/result.json"),
                 0);
    stage_write(stage_path("bad.ini"), "[boat]\nnme = x\n", 15);
    stage_expect_words(
        start_line("$ANALYZE compare --before before.h5 --after after.h5 --boat bad.ini"), 4,
        "bad.ini, line 2");
    stage_write(stage_path("bad.ini"), "[ship]\nname = x\n", 16);
    stage_expect_words(
        start_line("$ANALYZE compare --before before.h5 --after after.h5 --boat bad.ini"), 4,
        "is no section");
    stage_expect(start_line("$ANALYZE compare --before before.h5 --after after.h5 --boat none.ini"),
                 2);
}

/* The command printed in a report with a boat file gives the same numbers again. */
static void command_with_boat_file_comes_back(void **state)
{
    (void)state;
    static const char boat[] = "[engine 0]\nthermostat_uncertainty = 2\n";
    stage_write(stage_path("wide.ini"), boat, strlen(boat));
    stage_expect(
        start_line(
            "$ANALYZE compare --before before.h5 --after after.h5 --boat wide.ini "
            "--output wide --quiet; "
            "line=$(grep '^  searun-analyze compare' wide/report.txt | sed 's/^ "
            "*searun-analyze//'); "
            "eval \"$ANALYZE $line --json two.json --quiet\"; cmp wide/result.json two.json; "
            "no cmp -s a4/result.json two.json"),
        0);
}

static void remarks_leave_the_run_alone(void **state)
{
    (void)state;
    stage_expect(
        start_line("cp before.h5 noted.h5; sha256sum noted.h5 > sum; "
                   "$ANALYZE note noted.h5 'weather=rain <b>from</b> noon on'; "
                   "$ANALYZE note noted.h5 'seen-by=the \"surveyor\"\nhimself'; "
                   "sha256sum -c sum; $ANALYZE check noted.h5; "
                   "test $(wc -l < noted.h5.notes) -eq 2; "
                   "$ANALYZE show noted.h5 > shown; grep -qF 'rain <b>from</b> noon on' shown; "
                   "$ANALYZE compare --before noted.h5 --after after.h5 --output noted --quiet; "
                   "grep -qF 'rain &lt;b&gt;from&lt;/b&gt; noon on' noted/report.html; "
                   "grep -qF 'not part of what was recorded' noted/report.txt"),
        0);
    stage_expect(start_line("$ANALYZE note noted.h5 Weather=rain"), 4);
    stage_expect(start_line("$ANALYZE note noted.h5 weather="), 4);
    stage_expect(start_line("$ANALYZE note noted.h5"), 4);
    stage_expect(start_line("$ANALYZE note missing.h5 weather=rain"), 2);
    stage_expect(start_line("$ANALYZE note shown weather=rain"), 2);
}

/* --- pages as pictures */

/* Reads the next number of the head of a picture in grey (PGM). */
static size_t picture_number(FILE *file)
{
    unsigned number = 0;
    assert_int_equal(fscanf(file, "%u", &number), 1);
    return number;
}

/* The margins of a page are white: `share` of its width on both sides. What is cut off reaches the
 * edge. */
static void margins_are_white(const char *name, double share)
{
    FILE *file = fopen(stage_path(name), "rb");
    assert_non_null(file);
    assert_int_equal(fgetc(file), 'P');
    assert_int_equal(fgetc(file), '5');
    size_t width = picture_number(file), height = picture_number(file);
    assert_int_equal(picture_number(file), 255);
    fgetc(file);
    size_t margin = (size_t)((double)width * share), dark = 0, inside = 0;
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            bool ink = fgetc(file) < 250;
            dark += ink && (x < margin || x >= width - margin);
            inside += ink;
        }
    fclose(file);
    if (dark > 0)
        fail_msg("%s: %zu dots in its margins", name, dark);
    assert_true(inside > 20);
}

/* Looks at every page of a PDF as a picture. Returns how many there are. */
static size_t look_at_pages(const char *pdf)
{
    char line[200], name[60];
    size_t pages = 0;
    snprintf(line, sizeof line,
             "rm -f page-*; pdftoppm -r 40 -gray %s page; "
             "i=1; for f in page-*.pgm; do mv $f page-$i; i=$((i+1)); done",
             pdf);
    stage_expect(start_line(line), 0);
    for (;; pages++) {
        snprintf(name, sizeof name, "page-%zu", pages + 1);
        if (!stage_exists(stage_path(name)))
            return pages;
        margins_are_white(name, 0.05); /* 10 mm */
    }
}

/* --- hostile words */

/* What is put into every text fact, and what became of it. */
static const struct hostile {
    const char *what, *words;
    size_t times;
    const char *result;
} hostile[] = {
    {"markup and quotes", "<script>alert(1)</script><img src=x onerror=y>&amp;\"'", 1,
     "words in page, PDF, text, JSON and charts; no element, no attribute"},
    {"commands for shell and gnuplot, formats",
     "'; system \"touch pwned\"; `touch pwned`; set output 'pwned' @x $(touch pwned) %n%s", 1,
     "nothing was run; the script draws again by hand"},
    {"gnuplot's markup, ends of comments and elements",
     "{/Times=40 x}_{y}^z \\n \\\"; ]]> --> <!-- </svg> </style> </title>", 1,
     "words; page and chart are whole"},
    {"other scripts, marks that turn the direction, a picture letter",
     "\xd0\xa1\xd0\xb5\xd0\xb2\xd0\xb5\xd1\x80 \xe6\xb5\xb7\xe9\xa2\xa8 \xd7\xa9\xd7\x9c "
     "\xd9\x85\xd8\xb1 \xe2\x80\xaetxet\xe2\x80\xac \xf0\x9f\x9a\xa4",
     1, "kept; the marks of direction are taken out"},
    {"3,900 characters without a space, in lines",
     "\n 0123456789abcdefghijklmnopqrstuvwxyz<>&'\"0123456789abcdefghijklmnopqrstuvwxyz"
     "ABCDEFGHIJKLMNOP",
     39, "whole in the PDF, cut in chart titles; nothing leaves its page"},
};
#define HOSTILE (sizeof hostile / sizeof hostile[0])

static void add_hostile(FILE *file, size_t kind)
{
    for (size_t i = 0; i < hostile[kind].times; i++)
        fputs(hostile[kind].words, file);
}

static void tell(const char *what, const char *where, const char *result)
{
    print_message("| %s | %s | %s |\n", what, where, result);
}

/* A boat file with the words of these kinds in every text fact. */
static void write_hostile(size_t first, size_t last)
{
    static const char *const sections[] = {"[boat]", "[engine 0]", "[run]"};
    FILE *file = fopen(stage_path("hostile.ini"), "wb");
    assert_non_null(file);
    for (int section = 0; section < FACT_SECTION_COUNT; section++) {
        fprintf(file, "%s\n", sections[section]);
        for (size_t i = 0; i < fact_row_count; i++)
            if ((int)fact_rows[i].section == section && fact_rows[i].kind == FACT_TEXT) {
                fprintf(file, "%s = ", fact_rows[i].key);
                for (size_t kind = first; kind <= last; kind++) {
                    fputs(kind > first ? "\n " : "", file);
                    add_hostile(file, kind);
                }
                fputs("\n", file);
            }
    }
    fclose(file);
}

static int make_bare(void)
{
    /* Runs that hold no facts of their own, so that each one comes from the boat file. */
    static const char *const sides[] = {"before", "after"};
    for (size_t i = 0; i < 2; i++) {
        char run[40], capture[60];
        snprintf(run, sizeof run, "bare-%s.h5", sides[i]);
        snprintf(capture, sizeof capture, "sample-runs/%s.nmea", sides[i]);
        stage_expect(start_logger("--quiet", "--replay", capture, "--output", stage_path(run)), 0);
    }
    return 0;
}

static void hostile_words_stay_words(void **state)
{
    (void)state;
    make_bare();
    /* The first three together: each comparison draws all its charts. */
    for (size_t kind = 2; kind < HOSTILE; kind++) {
        write_hostile(kind == 2 ? 0 : kind, kind);
        stage_expect(
            start_line(
                "rm -rf nasty; $ANALYZE compare --before bare-before.h5 --after bare-after.h5 "
                "--boat hostile.ini --output nasty --quiet; "
                "test ! -e pwned; test ! -e nasty/charts/pwned; "
                "for t in '<script' '<img' '<!--' 'onerror=y>'; do "
                "  no grep -qF -e \"$t\" nasty/report.html; done; "
                "no grep -q \"$(printf '\\342\\200\\256')\" nasty/report.html; "
                "for f in report.pdf report.html report.txt result.json charts/coolant.svg "
                "  charts/coolant.pdf charts/coolant.png; do test -s nasty/$f; done; "
                "no grep -qF 'could not be drawn' nasty/report.html; "
                "cd nasty/charts && gnuplot coolant.gp && test ! -e pwned"),
            0);
        if (have("pdftotext"))
            stage_expect(start_line("pdftotext nasty/report.pdf - | grep -q Provenance; "
                                    "pdftotext nasty/charts/coolant.pdf - | grep -q rpm"),
                         0);
    }
    if (have("pdftotext")) /* 3,900 characters without a space came out whole ... */
        stage_expect(start_line("test $(pdftotext nasty/report.pdf - | tr -d '\\n' | "
                                "grep -o 0123456789abcdefghij | wc -l) -gt 1500"),
                     0);
    if (have("pdftoppm")) /* ... and on the paper */
        assert_true(look_at_pages("nasty/report.pdf") > 5);
    for (size_t kind = 0; kind < HOSTILE; kind++)
        tell(hostile[kind].what, "every text fact", hostile[kind].result);
}

/* 10,000 characters are no fact: refused with words where people enter them; in a run file of some
 * other program left out, counted by check, and shown as not recorded. */
static void ten_thousand_characters_are_no_fact(void **state)
{
    (void)state;
    stage_expect_words(start_line("{ echo '[boat]'; printf 'name = x'; i=0; "
                                  "while [ $i -lt 100 ]; do printf '\\n %0100d' 7; i=$((i+1)); "
                                  "done; echo; } > long.ini; "
                                  "$ANALYZE compare --before before.h5 --after after.h5 --boat "
                                  "long.ini --quiet"),
                       4, "please shorten it");
    tell("10,000 characters", "boat file", "refused with its line and words, exit 4");
    if (!have("python3") ||
        stage_wait(&(struct program[]){start_line("/usr/bin/python3 -c 'import h5py'")}[0]) != 0) {
        print_message("skipped: no h5py here to write a run file as another program would\n");
        return;
    }
    stage_expect(start_line("cp before.h5 long.h5; /usr/bin/python3 -c \"import h5py; "
                            "f = h5py.File('long.h5', 'r+'); "
                            "f['facts/boat'].attrs['name'] = 'x' * 10000; f.close()\"; "
                            "$ANALYZE compare --before long.h5 --after after.h5 --output long "
                            "--quiet; no grep -q xxxxxxxxxx long/report.html; "
                            "test -s long/report.pdf"),
                 0);
    stage_expect_words(start_line("$ANALYZE check long.h5 || true"), 0, "fact");
    tell("10,000 characters", "fact in a run file of another program",
         "left out and told by check; the comparison goes on");
}

/* --- in a browser */

/* Chromium without a network (in a name space of its own where that can be had), which cannot reach
 * anything whatever a page asks for, and a log of what was asked for. */
static const char browser[] =
    "browse() { page=$1; shift; alone='unshare -rn'; $alone true 2>/dev/null || alone=; "
    "$alone chromium --headless --no-sandbox --disable-gpu --no-first-run --hide-scrollbars "
    "--disable-background-networking --disable-component-update --user-data-dir=$PWD/browser "
    "--log-net-log=$PWD/net.log --enable-logging=stderr --log-level=0 --no-pdf-header-footer "
    "\"$@\" file://$PWD/$page > browser.log 2>&1; }; "
    /* What a page from a file asks for has no origin; what the browser itself asks for has one. */
    "asked() { grep -c '\"initiator\":\"null\"' net.log; }; ";

static struct program start_browser(const char *line)
{
    char script[3000];
    snprintf(script, sizeof script, "%s%s", browser, line);
    return start_line(script);
}

static bool have_browser(void)
{
    if (have("chromium"))
        return true;
    print_message(
        "skipped: no chromium here; it would load report.html without a network, print it "
        "and look at it\n");
    return false;
}

/* No request leaves the page, and nothing is complained about. That requests would be seen is tried
 * with a page that makes some. */
static void page_asks_for_nothing(void **state)
{
    static const char bad[] =
        "<!DOCTYPE html><title>x</title><p>x<img src=\"http://tern.invalid/x\">";
    (void)state;
    if (!have_browser())
        skip();
    stage_write(stage_path("bad.html"), bad, strlen(bad));
    stage_expect(start_browser("browse bad.html --print-to-pdf=bad.pdf; "
                               "test $(asked) -gt 0; grep -q tern.invalid net.log"),
                 0);
    stage_expect(start_browser("browse a4/report.html --print-to-pdf=$PWD/printed.pdf; "
                               /* the browser's own pages may complain */
                               "if grep -E 'CONSOLE|Refused to' browser.log | "
                               "grep -v 'source: chrome:'; then exit 1; fi; "
                               "test -s printed.pdf; test -s net.log; "
                               "test $(asked) -eq 0"),
                 0);
    stage_expect(start_line("no grep -oE '(src|href|url\\()[^>]*https?:' a4/report.html"), 0);
}

/* Printed on A4 and Letter, by the style sheet and by ourselves, nothing is cut off at the
 * edges. */
static void nothing_is_cut_off_in_print(void **state)
{
    (void)state;
    if (!have("pdftoppm"))
        skip();
    assert_true(look_at_pages("a4/report.pdf") > 5);
    assert_true(look_at_pages("letter/report.pdf") > 5);
    if (!have_browser())
        skip();
    stage_expect(start_browser("sed 's/@page{/@page{size:A4;/' a4/report.html > paper.html; "
                               "browse paper.html --print-to-pdf=$PWD/paper.pdf; "
                               "pdfinfo paper.pdf | grep -q A4; "
                               "pdfinfo printed.pdf | grep -q letter"),
                 0);
    assert_true(look_at_pages("paper.pdf") > 5);
    assert_true(look_at_pages("printed.pdf") > 5); /* by page_asks_for_nothing */
}

/* The page, printed: the finding and the first chart share a page, on A4 and on Letter, which is
 * lower, and with two engines. */
static void first_printed_page_has_the_chart(void **state)
{
    (void)state;
    if (!have_browser() || !have("pdftotext"))
        skip();
    stage_expect(start_browser("browse twin/report.html --print-to-pdf=$PWD/printed-twin.pdf; "
                               "for name in paper printed printed-twin; do "
                               "pdftotext -l 1 $name.pdf - | grep -q 'Figure 1[.]' || "
                               "{ echo $name; exit 1; }; done"),
                 0);
}

/* On a phone the page is not wider than the screen: its right edge is white all the way down. */
static void a_phone_shows_the_whole_width(void **state)
{
    (void)state;
    if (!have_browser() || !have("convert"))
        skip();
    stage_expect(start_browser("browse a4/report.html --window-size=390,9000 "
                               "--screenshot=$PWD/phone.png; "
                               "convert phone.png -colorspace Gray -depth 8 pgm:phone"),
                 0);
    margins_are_white("phone", 0.025);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pdf_has_its_properties),
        cmocka_unit_test(pdf_is_tagged),
        cmocka_unit_test(pdf_embeds_its_fonts),
        cmocka_unit_test(pdf_text_can_be_selected),
        cmocka_unit_test(first_page_tells_all),
        cmocka_unit_test(first_page_of_a_twin_tells_all),
        cmocka_unit_test(last_page_is_no_scrap),
        cmocka_unit_test(pdf_has_bookmarks_and_charts_as_vectors),
        cmocka_unit_test(same_answer_same_bytes),
        cmocka_unit_test(without_fonts_all_else_is_made),
        cmocka_unit_test(page_and_pdf_say_the_same),
        cmocka_unit_test(boat_file_fills_in_and_says_so),
        cmocka_unit_test(command_with_boat_file_comes_back),
        cmocka_unit_test(remarks_leave_the_run_alone),
        cmocka_unit_test(hostile_words_stay_words),
        cmocka_unit_test(ten_thousand_characters_are_no_fact),
        cmocka_unit_test(page_asks_for_nothing),
        cmocka_unit_test(nothing_is_cut_off_in_print),
        cmocka_unit_test(first_printed_page_has_the_chart),
        cmocka_unit_test(a_phone_shows_the_whole_width),
    };
    return cmocka_run_group_tests_name("paper", tests, make_reports, stage_remove);
}
