/* test_service_log.c - the service history: what is read, what is refused and how, and adding
 * lines. */
#include <math.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../analyze/checklist.h"
#include "../../analyze/csv.h"
#include "../../analyze/service_log.h"

#define TITLES "date,engine hours,engine,what was done,by,notes\n"
#define DAY INT64_C(86400)

static enum status parse(const char *content, struct service_log *log, struct complaint *complaint)
{
    complaint->text[0] = '\0';
    return service_log_parse(content, strlen(content), "log.csv", log, complaint);
}

/* --- CSV */

static void csv_reads_rfc_4180(void **state)
{
    (void)state;
    /* RFC 4180, section 2: rules 1 (CRLF), 2 (no line end at the end of the file), 5 to 7
     * (quotation marks around a field, line ends and commas in it, marks written twice). */
    static const char content[] =
        "aaa,\"b CRLF\r\nbb, \"\"quoted\"\"\",ccc\r\nzzz,,\" x \"\r\nlast, y ,z";
    struct csv csv = csv_begin(content, sizeof content - 1);
    struct csv_row row = {0};
    assert_true(csv_next(&csv, &row));
    assert_int_equal(row.count, 3);
    assert_string_equal(csv_field(&row, 0), "aaa");
    assert_string_equal(csv_field(&row, 1), "b CRLF\r\nbb, \"quoted\"");
    assert_string_equal(csv_field(&row, 2), "ccc");
    assert_string_equal(csv_field(&row, 3), "");
    assert_true(csv_next(&csv, &row));
    assert_int_equal(row.line, 3);
    assert_string_equal(csv_field(&row, 1), "");
    assert_true(csv_next(&csv, &row));
    assert_int_equal(row.line, 4);
    assert_string_equal(csv_field(&row, 1), "y");
    assert_string_equal(csv_field(&row, 2), "z");
    assert_false(csv_next(&csv, &row));
    csv_row_free(&row);
}

static void csv_tells_faults_and_goes_on(void **state)
{
    (void)state;
    static const char content[] = "\"open,1\nnext,2\n\"a\"b,3\nend,4\n";
    struct csv csv = csv_begin(content, sizeof content - 1);
    struct csv_row row = {0};
    assert_true(csv_next(&csv, &row));
    assert_non_null(row.fault);
    assert_true(csv_next(&csv, &row));
    assert_null(row.fault);
    assert_string_equal(csv_field(&row, 0), "next");
    assert_int_equal(row.line, 2);
    assert_true(csv_next(&csv, &row));
    assert_non_null(row.fault);
    assert_true(csv_next(&csv, &row));
    assert_string_equal(csv_field(&row, 1), "4");
    assert_int_equal(row.line, 4);
    csv_row_free(&row);
}

/* --- reading */

static void reads_a_plain_log(void **state)
{
    (void)state;
    struct service_log log;
    struct complaint complaint;
    /* 2026-05-14 is day 20587 since 1970: 56 years of 365 days, 14 leap days, 133 days. */
    assert_int_equal(
        parse(TITLES
              "2026-05-14,1240.5,port,heat exchanger acid-cleaned,K. Marsh,\"half, \"\"soft\"\"\"\n"
              "2021-03-02,,1,zinc,,\n2026-05-14T15:30Z,,All,Other,,=1\n",
              &log, &complaint),
        STATUS_OK);
    assert_int_equal(log.count, 3);
    assert_int_equal(log.events[0].kind, SERVICE_ZINC_CHANGED);
    assert_int_equal(log.events[0].engine, 1);
    assert_true(isnan(log.events[0].hours));
    const struct service_event *clean = &log.events[1];
    assert_int_equal(clean->date, 20587 * DAY);
    assert_true(clean->day_only);
    assert_true(clean->hours == 1240.5);
    assert_int_equal(clean->engine, -1);
    assert_string_equal(clean->label, "port");
    assert_int_equal(clean->kind, SERVICE_EXCHANGER_ACID_CLEANED);
    assert_string_equal(clean->by, "K. Marsh");
    assert_string_equal(clean->notes, "half, \"soft\"");
    assert_int_equal(clean->line, 2);
    assert_int_equal(log.events[2].date, 20587 * DAY + 15 * 3600 + 1800);
    assert_false(log.events[2].day_only);
    service_log_free(&log);
}

static void reads_what_spreadsheets_write(void **state)
{
    (void)state;
    struct service_log log;
    struct complaint complaint;
    assert_int_equal(parse("\xEF\xBB\xBFWhat;Cost;Date;Engine_Hours;Note;\r\n"
                           "new impeller;40;;;;\r\n",
                           &log, &complaint),
                     STATUS_BAD_DATA);
    service_log_free(&log);
    assert_int_equal(parse("\xEF\xBB\xBFWhat;Cost;Date;Engine_Hours;Note;\r\n"
                           "IMPELLER;40;2020-07-01 00:00:00;812,5;;\r\n;;;;;\r\n\r\n"
                           "Tube bundle removed and rodded;;2019-01-31;700 h;\"two\r\nlines\"",
                           &log, &complaint),
                     STATUS_OK);
    assert_int_equal(log.count, 2);
    assert_int_equal(log.events[0].kind, SERVICE_BUNDLE_RODDED);
    assert_string_equal(log.events[0].notes, "two lines");
    assert_int_equal(log.events[0].line, 5);
    assert_true(log.events[1].hours == 812.5);
    assert_true(log.events[1].day_only);
    assert_string_equal(log.ignored, "Cost");
    service_log_free(&log);
    assert_int_equal(parse("sep=;\ndate;what\n2020-07-01;acid\n", &log, &complaint), STATUS_OK);
    assert_int_equal(log.count, 1);
    service_log_free(&log);
    assert_int_equal(parse("", &log, &complaint), STATUS_OK);
    assert_int_equal(log.count, 0);
}

static void tells_line_and_what_is_allowed(void **state)
{
    (void)state;
    static const char *const bad[][3] = {
        {"2026-05-14,1,0,zinc,,\n", "line 1", "\"date\" and \"what was done\" must be there"},
        {"date,what,date\n", "line 1", "named twice"},
        {TITLES "04/05/2026,,,zinc,,\n", "line 2", "2026-05-04 if 4 May is meant"},
        {TITLES "14/05/26,,,zinc,,\n", "line 2", "2026-05-14"},
        {TITLES "2026-02-30,,,zinc,,\n", "line 2", "no date"},
        {TITLES "26-05-14,,,zinc,,\n", "line 2", "no date"},
        {TITLES "1026-05-14,,,zinc,,\n", "line 2", "no date"},
        {TITLES "2026-05-14 25:00,,,zinc,,\n", "line 2", "no date"},
        {TITLES ",,,zinc,,\n", "line 2", "no date"},
        {TITLES "\n2026-05-14,\"1,240\",,zinc,,\n", "line 3", "without a sign between"},
        {TITLES "2026-05-14,1.240,,zinc,,\n", "line 2", "without a sign between"},
        {TITLES "2026-05-14,-3,,zinc,,\n", "line 2", "no engine hours"},
        {TITLES "2026-05-14,200001,,zinc,,\n", "line 2", "200000"},
        {TITLES "2026-05-14,,253,zinc,,\n", "line 2", "0 to 252"},
        {TITLES "2026-05-14,,,cleaned,,\n", "line 2", "exchanger-acid-cleaned"},
        {TITLES "2026-05-14,,,,,\n", "line 2", "does not say what was done"},
        {TITLES "2026-05-14,,,zinc,,a,b\n", "line 2", "more fields"},
        {TITLES "2026-05-14,,,zinc,,\"a\n2026-05-15,,,paint,,\n", "line 2", "never closed"},
        {TITLES "x,,,zinc,,\nx,,,zinc,,\n", "line 2", "and 1 more line"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct service_log log;
        struct complaint complaint;
        assert_int_equal(parse(bad[i][0], &log, &complaint), STATUS_BAD_DATA);
        for (size_t w = 1; w < 3; w++)
            if (strstr(complaint.text, bad[i][w]) == NULL)
                fail_msg("no \"%s\" in: %s", bad[i][w], complaint.text);
        service_log_free(&log);
    }
}

static void has_remark(const struct service_log *log, size_t index, const char *words)
{
    struct text remark = {0};
    assert_true(service_log_remark(log, index, &remark));
    if (strstr(text_string(&remark), words) == NULL)
        fail_msg("no \"%s\" in: %s", words, text_string(&remark));
    text_free(&remark);
}

static void has_no_more_remarks(const struct service_log *log, size_t count)
{
    struct text remark = {0};
    assert_false(service_log_remark(log, count, &remark));
    text_free(&remark);
}

static void leaves_out_the_lines_it_cannot_mean(void **state)
{
    (void)state;
    struct service_log log;
    struct complaint complaint;
    struct text many = {0};
    assert_int_equal(parse(TITLES "2026-05-14,,,zinc,,\"a\n2026-05-15,,,zinc,,\n"
                                  "5.4.2026,,,acid,,\n2026-02-01,,,impeller,,\n",
                           &log, &complaint),
                     STATUS_OK);
    assert_int_equal(log.count, 2);
    assert_int_equal(log.fault_count, 2);
    assert_int_equal(log.faults[1].line, 4);
    has_remark(&log, 0, "Line 2 of the service log was left out: ");
    has_remark(&log, 1, "2026-04-05 if 5 April is meant, or 2026-05-04 if it is 4 May");
    has_no_more_remarks(&log, 2);
    service_log_free(&log);
    text_add(&many, TITLES "2026-05-14,,,zinc,,\n");
    text_add_many(&many, "x,,,zinc,,\n", SERVICE_FAULTS + 3);
    assert_int_equal(parse(text_string(&many), &log, &complaint), STATUS_OK);
    assert_int_equal(log.fault_count, SERVICE_FAULTS + 3);
    has_remark(&log, SERVICE_FAULTS, "3 more lines");
    has_no_more_remarks(&log, SERVICE_FAULTS + 1);
    service_log_free(&log);
    text_free(&many);
}

/* 5.4.2026 is 5 April or 4 May: day 20548 or 20577 since 1970. */
static void other_lines_settle_the_order(void **state)
{
    (void)state;
    static const struct {
        const char *other;
        size_t count;
        int64_t day;
        const char *words;
    } cases[] = {{"13.7.2017", 2, 20548, "with the day first"},
                 {"7/13/2017", 2, 20577, "with the month first"},
                 {"2017-07-13", 1, 0, "left out"},
                 {"6.6.2017", 1, 0, "left out"},
                 {"13.7.2017,,,zinc,,\n7/13/2017", 2, 0, "left out"}};
    for (size_t i = 0; i < 5; i++) {
        struct service_log log;
        struct complaint complaint;
        struct text content = {0};
        text_addf(&content, TITLES "5.4.2026,,,acid,,\n%s,,,zinc,,\n", cases[i].other);
        assert_int_equal(parse(text_string(&content), &log, &complaint), STATUS_OK);
        assert_int_equal(log.count, cases[i].count);
        has_remark(&log, 0, cases[i].words);
        has_no_more_remarks(&log, 1);
        if (cases[i].day > 0)
            assert_int_equal(log.events[1].date, cases[i].day * DAY);
        text_free(&content);
        service_log_free(&log);
    }
}

static void knows_whether_the_engine_was_said(void **state)
{
    (void)state;
    struct service_log log;
    struct complaint complaint;
    assert_int_equal(
        parse(TITLES "2026-05-14,,,zinc,,\n2026-05-15,,all,zinc,,\n", &log, &complaint), STATUS_OK);
    assert_false(log.events[0].engine_said);
    assert_true(log.events[1].engine_said);
    assert_int_equal(log.events[1].engine, -1);
    service_log_free(&log);
}

static void reads_other_encodings(void **state)
{
    (void)state;
    struct service_log log;
    struct complaint complaint = {""};
    /* 0xE9 is a small e with acute in Windows-1252, U+00E9 in Unicode. */
    assert_int_equal(parse("date,what,by\n2026-05-14,zinc,Caf\xE9\n", &log, &complaint), STATUS_OK);
    assert_true(log.foreign);
    assert_string_equal(log.events[0].by, "Caf\xC3\xA9");
    service_log_free(&log);
    assert_int_equal(parse("date,what,by\n2026-05-14,zinc,Caf\xC3\xA9\n", &log, &complaint),
                     STATUS_OK);
    assert_false(log.foreign);
    service_log_free(&log);
    static const char content[] = "date\twhat\tby\r\n2026-05-14\tzinc\tCaf\xE9";
    char wide[2 * sizeof content];
    size_t length = 0;
    wide[length++] = '\xFF';
    wide[length++] = '\xFE';
    for (size_t i = 0; i + 1 < sizeof content; i++) {
        wide[length++] = content[i];
        wide[length++] = '\0';
    }
    assert_int_equal(service_log_parse(wide, length, "log.csv", &log, &complaint), STATUS_OK);
    assert_string_equal(log.events[0].by, "Caf\xC3\xA9");
    service_log_free(&log);
}

static void refuses_what_is_no_text(void **state)
{
    (void)state;
    struct service_log log;
    struct complaint complaint = {""};
    assert_int_equal(service_log_parse("date,what\0,by\n", 15, "log.csv", &log, &complaint),
                     STATUS_BAD_DATA);
    assert_non_null(strstr(complaint.text, "CSV in UTF-8"));
    assert_int_equal(service_log_read("/nowhere/service-log.csv", &log, &complaint),
                     STATUS_NOT_FOUND);
    service_log_free(&log);
}

static void every_kind_is_found_by_all_its_names(void **state)
{
    (void)state;
    for (int kind = 0; kind < SERVICE_COUNT; kind++) {
        assert_int_equal(service_find(service_key((enum service_kind)kind)), kind);
        assert_int_equal(service_find(service_title((enum service_kind)kind)), kind);
    }
    assert_int_equal(service_find("Acid_Clean"), SERVICE_EXCHANGER_ACID_CLEANED);
    assert_int_equal(service_find(""), SERVICE_COUNT);
    assert_int_equal(service_find("acid clean twice"), SERVICE_COUNT);
    assert_int_equal(service_effect(SERVICE_SENDER_EXCHANGED), SERVICE_EFFECT_READING);
}

static bool manual_has(const char *manual, const char *key)
{
    char escaped[100] = "";
    for (size_t i = 0, n = 0; key[i] != '\0' && n < sizeof escaped - 3; i++) {
        if (key[i] == '-')
            escaped[n++] = '\\';
        escaped[n++] = key[i];
    }
    return strstr(manual, escaped) != NULL;
}

static void manual_page_knows_every_word(void **state)
{
    (void)state;
    static char manual[200000];
    FILE *file = fopen("analyze/searun-analyze.1", "rb");
    assert_non_null(file);
    manual[fread(manual, 1, sizeof manual - 1, file)] = '\0';
    fclose(file);
    for (int kind = 0; kind < SERVICE_COUNT; kind++)
        if (!manual_has(manual, service_key((enum service_kind)kind)))
            fail_msg("the manual page does not know %s", service_key((enum service_kind)kind));
    for (int item = 0; item < CHECK_COUNT; item++)
        if (!manual_has(manual, check_key((enum check_item)item)))
            fail_msg("the manual page does not know %s", check_key((enum check_item)item));
}

static void knows_the_engine_and_the_order(void **state)
{
    (void)state;
    struct service_event event = {.engine = -1, .date = 100 * DAY, .day_only = true};
    assert_true(service_event_touches(&event, 0, ""));
    assert_true(service_event_touches(&event, 1, "starboard"));
    event.engine = 1;
    assert_false(service_event_touches(&event, 0, "port"));
    event.engine = -1;
    strcpy(event.label, "Port");
    assert_true(service_event_touches(&event, 0, "port"));
    assert_false(service_event_touches(&event, 1, "starboard"));
    assert_false(service_event_touches(&event, 0, ""));
    assert_false(service_event_precedes(&event, 100 * DAY - 1, "after service"));
    assert_false(service_event_precedes(&event, 100 * DAY + 9 * 3600, "before service"));
    assert_true(service_event_precedes(&event, 100 * DAY + 9 * 3600, "after service"));
    assert_true(service_event_precedes(&event, 101 * DAY, "before service"));
    event.day_only = false;
    assert_true(service_event_precedes(&event, 100 * DAY + 1, "before service"));
    assert_false(service_event_precedes(&event, 100 * DAY - 1, "after service"));
}

static void tells_boats_apart(void **state)
{
    (void)state;
    struct service_log log;
    struct complaint complaint;
    static const char content[] = "date,what,boat\n2020-01-01,zinc,Tern's Reach\n"
                                  "2020-01-02,acid,Two Sisters\n2020-01-03,other,\n";
    static const struct {
        const char *boat;
        size_t count;
    } cases[] = {{"", 3}, {"two sisters", 2}, {"Tern's Reach", 2}, {"another", 1}};
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(parse(content, &log, &complaint), STATUS_OK);
        service_log_keep_boat(&log, cases[i].boat);
        assert_int_equal(log.count, cases[i].count);
        service_log_free(&log);
    }
}

static void finds_the_log_beside_a_run(void **state)
{
    (void)state;
    static const char *const cases[][2] = {{"spring/before.h5", "spring/service-log.csv"},
                                           {"before.h5", "service-log.csv"},
                                           {"/before.h5", "/service-log.csv"}};
    for (size_t i = 0; i < 3; i++) {
        char *path = service_log_beside(cases[i][0]);
        assert_string_equal(path, cases[i][1]);
        free(path);
    }
    char *path = service_log_in("spring");
    assert_string_equal(path, "spring/service-log.csv");
    free(path);
}

/* --- adding */

static char folder[] = "/tmp/searun-service-XXXXXX";
static char path[64];

static int make_folder(void **state)
{
    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/service-log.csv", folder);
    return 0;
}

static int remove_folder(void **state)
{
    (void)state;
    unlink(path);
    return rmdir(folder);
}

static void put(const char *content)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    fputs(content, file);
    fclose(file);
}

static const char *get(void)
{
    static char content[4096];
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    content[fread(content, 1, sizeof content - 1, file)] = '\0';
    fclose(file);
    return content;
}

static const struct service_entry acid = {
    "2026-05-14", "1240,5", "port", "acid", "K. Marsh", "half of the tubes, \"soft\"", ""};

static void makes_a_log(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    unlink(path);
    assert_int_equal(service_log_add(path, &acid, &complaint), STATUS_OK);
    assert_int_equal(
        service_log_add(path, &(struct service_entry){"2026-05-15", "", "", "zinc", "", "=1+1", ""},
                        &complaint),
        STATUS_OK);
    assert_string_equal(get(), TITLES "2026-05-14,1240.5,port,heat exchanger acid-cleaned,K. Marsh,"
                                      "\"half of the tubes, \"\"soft\"\"\"\n"
                                      "2026-05-15,,,zinc anode changed,,\"'=1+1\"\n");
    struct service_log log;
    assert_int_equal(service_log_read(path, &log, &complaint), STATUS_OK);
    assert_int_equal(log.count, 2);
    assert_string_equal(log.events[0].notes, acid.notes);
    assert_string_equal(log.events[1].notes, "=1+1");
    service_log_free(&log);
}

static void a_named_boat_gets_its_column(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    struct service_entry entry = {"2026-05-15", "", "", "zinc", "", "", "Two Sisters"};
    unlink(path);
    assert_int_equal(service_log_add(path, &entry, &complaint), STATUS_OK);
    assert_string_equal(get(), "date,engine hours,engine,what was done,by,notes,boat\n"
                               "2026-05-15,,,zinc anode changed,,,Two Sisters\n");
    put(TITLES);
    assert_int_equal(service_log_add(path, &entry, &complaint), STATUS_BAD_DATA);
    assert_non_null(strstr(complaint.text, "no column \"boat\""));
}

/* What a spreadsheet would reckon is guarded in the file, in every column, and comes back as it
 * was. */
static void guarded_words_come_back(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    static const struct service_entry entry = {"2026-05-15", "",     "-port",       "zinc",
                                               "@marsh",     "=1+1", "+Two Sisters"};
    struct service_log log;
    unlink(path);
    assert_int_equal(service_log_add(path, &entry, &complaint), STATUS_OK);
    assert_non_null(strstr(get(), "\"'-port\",zinc anode changed,\"'@marsh\",\"'=1+1\","
                                  "\"'+Two Sisters\"\n"));
    assert_int_equal(service_log_read(path, &log, &complaint), STATUS_OK);
    assert_int_equal(log.count, 1);
    assert_string_equal(log.events[0].label, entry.engine);
    assert_string_equal(log.events[0].by, entry.by);
    assert_string_equal(log.events[0].notes, entry.notes);
    assert_string_equal(log.events[0].boat, entry.boat);
    service_log_free(&log);
}

static void keeps_to_the_layout_of_the_file(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    static const char there[] = "\xEF\xBB\xBF"
                                "Notes;Cost;What;Date;By;Engine;Hours\r\nx;40;zinc;2020-01-01;;;";
    put(there);
    assert_int_equal(service_log_add(path, &acid, &complaint), STATUS_OK);
    assert_memory_equal(get(), there, sizeof there - 1);
    assert_string_equal(get() + sizeof there - 1,
                        "\r\n\"half of the tubes, \"\"soft\"\"\";;heat exchanger acid-cleaned;"
                        "2026-05-14;K. Marsh;port;\"1240,5\"\r\n");
    struct service_log log;
    assert_int_equal(service_log_read(path, &log, &complaint), STATUS_OK);
    assert_int_equal(log.count, 2);
    assert_true(log.events[1].hours == 1240.5);
    service_log_free(&log);
    put(" \n");
    assert_int_equal(service_log_add(path, &acid, &complaint), STATUS_OK);
    assert_memory_equal(get(), " \n" TITLES, strlen(" \n" TITLES));
}

static void adds_nothing_that_cannot_be_meant(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    struct service_entry entry = acid;
    put(TITLES);
    entry.date = "yesterday";
    assert_int_equal(service_log_add(path, &entry, &complaint), STATUS_BAD_USAGE);
    assert_non_null(strstr(complaint.text, "date: \"yesterday\""));
    entry.date = acid.date;
    entry.what = "";
    assert_int_equal(service_log_add(path, &entry, &complaint), STATUS_BAD_USAGE);
    assert_string_equal(get(), TITLES);
    put("date,what\n");
    assert_int_equal(service_log_add(path, &acid, &complaint), STATUS_BAD_DATA);
    assert_non_null(strstr(complaint.text, "no column \"engine hours\""));
    assert_string_equal(get(), "date,what\n");
    put("date,what,by,engine,hours,notes\n2026-05-14,zinc,Caf\xE9,,,\n");
    assert_int_equal(service_log_add(path, &acid, &complaint), STATUS_BAD_DATA);
    assert_non_null(strstr(complaint.text, "not in UTF-8"));
    put(TITLES "x,,,zinc,,\n");
    assert_int_equal(service_log_add(path, &acid, &complaint), STATUS_BAD_DATA);
    assert_non_null(strstr(complaint.text, "line 2"));
    assert_int_equal(service_log_add("/nowhere/service-log.csv", &acid, &complaint), STATUS_IO);
    assert_int_equal(service_log_add("/dev/full", &acid, &complaint), STATUS_BAD_DATA);
}

/* A limit of the file's size stands for a full disk: the first bytes go through, the rest does
 * not. */
static void takes_a_half_written_line_off_again(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    struct rlimit all, few;
    put(TITLES);
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &all), 0);
    few = all;
    few.rlim_cur = strlen(TITLES) + 5;
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &few), 0);
    enum status status = service_log_add(path, &acid, &complaint);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &all), 0);
    assert_int_equal(status, STATUS_FULL);
    assert_non_null(strstr(complaint.text, "nothing was added"));
    assert_string_equal(get(), TITLES);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(csv_reads_rfc_4180),
        cmocka_unit_test(csv_tells_faults_and_goes_on),
        cmocka_unit_test(reads_a_plain_log),
        cmocka_unit_test(reads_what_spreadsheets_write),
        cmocka_unit_test(tells_line_and_what_is_allowed),
        cmocka_unit_test(leaves_out_the_lines_it_cannot_mean),
        cmocka_unit_test(other_lines_settle_the_order),
        cmocka_unit_test(knows_whether_the_engine_was_said),
        cmocka_unit_test(reads_other_encodings),
        cmocka_unit_test(refuses_what_is_no_text),
        cmocka_unit_test(every_kind_is_found_by_all_its_names),
        cmocka_unit_test(manual_page_knows_every_word),
        cmocka_unit_test(knows_the_engine_and_the_order),
        cmocka_unit_test(tells_boats_apart),
        cmocka_unit_test(finds_the_log_beside_a_run),
        cmocka_unit_test(makes_a_log),
        cmocka_unit_test(a_named_boat_gets_its_column),
        cmocka_unit_test(guarded_words_come_back),
        cmocka_unit_test(keeps_to_the_layout_of_the_file),
        cmocka_unit_test(adds_nothing_that_cannot_be_meant),
        cmocka_unit_test(takes_a_half_written_line_off_again),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
