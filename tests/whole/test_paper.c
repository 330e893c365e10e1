/* test_paper.c - the report as it is handed on: PDF, page, boat file, remarks, and hostile words in
 * every fact through all of them. Needs poppler-utils; what a browser sees needs chromium. */
#include "stage.h"

#include "facts.h"

#define start_analyze(...)                                                                         \
    stage_start_with(NULL, stage_program("SEARUN_ANALYZE"),                                        \
                     (const char *const[]){"searun-analyze", __VA_ARGS__, NULL})

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

static void record(const char *scenario, const char *purpose, const char *name)
{
    stage_expect(stage_start_with(NULL, stage_program("SEARUN_BOAT_MODEL"),
                                  (const char *const[]){"boat-model", "--scenario", scenario,
                                                        "--format", "run", "--purpose", purpose,
                                                        "--output", stage_path(name), NULL}),
                 0);
}

static int make_reports(void **state)
{
    if (stage_make(state) != 0)
        return -1;
    record("tern-before", "before", "before.h5");
    record("tern-after", "after", "after.h5");
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

/* Two engines: both findings, the dates and one chart of both still share the first page. */
static void first_page_of_a_twin_tells_all(void **state)
{
    (void)state;
    if (!have("pdftotext"))
        skip();
    record("sisters-before", "before", "twin-before.h5");
    record("sisters-after", "after", "twin-after.h5");
    stage_expect(start_line("for paper in a4 letter; do "
                            "$ANALYZE compare --before twin-before.h5 --after twin-after.h5 "
                            "--paper $paper --output twin --quiet; "
                            "pdftotext -l 1 twin/report.pdf - | tr '\n' ' ' > one; "
                            "for words in 'Engine port: Coolant temperature lowered' "
                            "'Engine starboard: No change shown' 'Run before' 'Run after' "
                            "'Figure 1. The engines side by side'; do "
                            "grep -qF \"$words\" one || { echo \"$paper: $words\"; exit 1; }; "
                            "done; done"),
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
                            "grep -qF $(sha256sum < boat.ini | cut -d' ' -f1) flat"),
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

/* --- hostile words */

static void add_hostile(FILE *file, size_t kind)
{
    static const char *const words[] = {
        "<script>alert(1)</script><img src=x onerror=y>&amp;\"'",
        "'; system \"touch pwned\"; `touch pwned`; set output 'pwned' @x $(touch pwned) %n%s",
        "{/Times=40 x}_{y}^z \\n \\\"; ]]> --> <!-- </svg> </style> </title>",
        ("\xd0\xa1\xd0\xb5\xd0\xb2\xd0\xb5\xd1\x80 \xe6\xb5\xb7\xe9\xa2\xa8 \xd7\xa9\xd7\x9c "
         "\xd9\x85\xd8\xb1 \xe2\x80\xaetxet\xe2\x80\xac \xf0\x9f\x9a\xa4")};
    if (kind < sizeof words / sizeof words[0])
        fputs(words[kind], file);
    else /* almost as long as a fact may be, without a space */
        for (size_t i = 0; i < 39; i++)
            fputs("\n "
                  "0123456789abcdefghijklmnopqrstuvwxyz<>&'"
                  "\"0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOP",
                  file);
}

/* A boat file with the same kind of words in every text fact. */
static void write_hostile(size_t kind)
{
    static const char *const sections[] = {"[boat]", "[engine 0]", "[run]"};
    FILE *file = fopen(stage_path("hostile.ini"), "wb");
    assert_non_null(file);
    for (int section = 0; section < FACT_SECTION_COUNT; section++) {
        fprintf(file, "%s\n", sections[section]);
        for (size_t i = 0; i < fact_row_count; i++)
            if ((int)fact_rows[i].section == section && fact_rows[i].kind == FACT_TEXT) {
                fprintf(file, "%s = ", fact_rows[i].key);
                add_hostile(file, kind);
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
    for (size_t kind = 0; kind < 5; kind++) {
        print_message("hostile words of kind %zu\n", kind);
        write_hostile(kind);
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
    if (have("pdftotext")) /* 3,900 characters without a space came out whole */
        stage_expect(start_line("test $(pdftotext nasty/report.pdf - | tr -d '\\n' | "
                                "grep -o 0123456789abcdefghij | wc -l) -gt 1500"),
                     0);
}

/* --- in a browser */

/* No request leaves the page, nothing is complained about, and it prints on paper. */
static void browser_is_content(void **state)
{
    (void)state;
    if (!have("chromium")) {
        print_message("skipped: no chromium here; it would load and print report.html\n");
        skip();
    }
    stage_expect(
        start_line("chromium --headless --no-sandbox --disable-gpu --user-data-dir=$PWD/browser "
                   "--enable-logging=stderr --log-level=0 --no-pdf-header-footer "
                   "--print-to-pdf=$PWD/printed.pdf file://$PWD/a4/report.html > browser.log 2>&1; "
                   "if grep -E 'CONSOLE|Refused to' browser.log; then exit 1; fi; "
                   "test -s printed.pdf"),
        0);
    stage_expect(start_line("no grep -oE '(src|href|url\\()[^>]*https?:' a4/report.html"), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pdf_has_its_properties),
        cmocka_unit_test(pdf_embeds_its_fonts),
        cmocka_unit_test(pdf_text_can_be_selected),
        cmocka_unit_test(first_page_tells_all),
        cmocka_unit_test(first_page_of_a_twin_tells_all),
        cmocka_unit_test(pdf_has_bookmarks_and_charts_as_vectors),
        cmocka_unit_test(same_answer_same_bytes),
        cmocka_unit_test(without_fonts_all_else_is_made),
        cmocka_unit_test(page_and_pdf_say_the_same),
        cmocka_unit_test(boat_file_fills_in_and_says_so),
        cmocka_unit_test(command_with_boat_file_comes_back),
        cmocka_unit_test(remarks_leave_the_run_alone),
        cmocka_unit_test(hostile_words_stay_words),
        cmocka_unit_test(browser_is_content),
    };
    return cmocka_run_group_tests_name("paper", tests, make_reports, stage_remove);
}
