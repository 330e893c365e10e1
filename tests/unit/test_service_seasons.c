/* test_service_seasons.c - the service history and its advice in the view over the seasons, on
 * seasons made by hand. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../analyze/section_service.h"
#include "../../analyze/seasons.h"

#define DAY 86400.0
#define LAST (19874 * DAY) /* 2024-05-31: 54 years of 365 days, 13 leap days, 151 days */

static char log_path[] = "/tmp/searun-seasons-XXXXXX";
static const struct style si = {UNITS_SI, false};

static int write_log(void **state)
{
    (void)state;
    static const char log[] =
        "date,engine hours,engine,what was done,by,notes,boat\n"
        "2016-05-01,100,all,exchanger-replaced,,,Tern's Reach\n"
        "2021-05-01,900,port,acid,,,Tern's Reach\n2010-05-01,0,,exchanger-replaced,,,Two Sisters\n";
    int fd = mkstemp(log_path);
    return fd >= 0 && write(fd, log, sizeof log - 1) == (ssize_t)sizeof log - 1 && close(fd) == 0
               ? 0
               : -1;
}

static int remove_log(void **state)
{
    (void)state;
    return unlink(log_path);
}

/* Two boats with one engine each; only the first is looked at closely. */
struct made {
    struct seasons seasons;
    struct season_boat boats[2];
    struct season_engine engines[2];
    struct outing outings[2];
    size_t outing_boat[2];
    struct season_point points[2];
};

static void make(struct made *made, enum season_outlook outlook, double years_left)
{
    memset(made, 0, sizeof *made);
    struct seasons *seasons = &made->seasons;
    snprintf(made->boats[0].name, sizeof made->boats[0].name, "Tern's Reach");
    snprintf(made->boats[1].name, sizeof made->boats[1].name, "Two Sisters");
    for (size_t i = 0; i < 2; i++) {
        made->outing_boat[i] = made->points[i].outing = made->engines[i].boat = i;
        made->outings[i].start_unix_us = (int64_t)(LAST * 1e6);
        made->points[i].at = LAST;
        made->points[i].hours = 1500;
        made->engines[i].series.points = &made->points[i];
        made->engines[i].series.point_count = 1;
        made->engines[i].alarm = 98;
        made->engines[i].forecast.outlook = OUTLOOK_NOT_ENOUGH;
        made->engines[i].forecast.now.value = NAN;
    }
    struct season_engine *engine = &made->engines[0];
    snprintf(engine->label, sizeof engine->label, "port");
    engine->forecast.outlook = outlook;
    engine->forecast.now.value = 91.4;
    engine->forecast.at.value = LAST + (years_left + 1) * 365.2425 * DAY;
    engine->forecast.at.low = LAST + years_left * 365.2425 * DAY; /* the end to plan by */
    engine->series.segment_count = 1;
    engine->series.segments[0].enough = true;
    engine->series.segments[0].growth = (struct interval){0.06, 0.02, 0.1};
    facts_set(&made->outings[0].facts, FACT_ENGINE, 0, "coolant", "50 %, 22 L", NULL);
    engine->warmest_sea = 24;
    seasons->boats = made->boats;
    seasons->engines = made->engines;
    seasons->outings = made->outings;
    seasons->outing_boat = made->outing_boat;
    seasons->boat_count = seasons->engine_count = seasons->outing_count = 2;
    snprintf(seasons->log_path, sizeof seasons->log_path, "%s", log_path);
}

/* All words of the section, with plain blanks. */
static const char *words_of(struct made *made)
{
    static char words[20000];
    struct document document = {0};
    struct text all = {0};
    service_of_seasons(&document, &si, &made->seasons);
    assert_false(document.failed);
    for (size_t i = 0; i < document.count; i++) {
        const struct block *block = &document.blocks[i];
        text_addf(&all, "%s\n", block->words[0] != NULL ? block->words[0] : "");
        for (size_t c = 0; block->table != NULL && c < block->table->cell_count; c++)
            text_addf(&all, "%s|", block->table->cells[c]);
    }
    size_t length = 0;
    for (const char *at = text_string(&all); *at != '\0' && length < sizeof words - 8;) {
        unsigned code;
        size_t bytes = text_decode(at, &code);
        if (code == 0xA0 || code == 0x202F)
            words[length++] = ' ';
        else
            for (size_t i = 0; i < bytes; i++)
                words[length++] = at[i];
        at += bytes;
    }
    words[length] = '\0';
    text_free(&all);
    document_free(&document);
    facts_free(&made->outings[0].facts);
    return words;
}

static void says(const char *words, const char *part)
{
    if (strstr(words, part) == NULL)
        fail_msg("\"%s\" is not in\n%s", part, words);
}

static void advises_each_engine_of_each_boat(void **state)
{
    (void)state;
    struct made made;
    make(&made, OUTLOOK_DATE, 3);
    const char *words = words_of(&made);
    says(words, "What usually comes next: Tern's Reach, port");
    says(words, "fitted new on 2016-05-01, 8 years before the last run (1400 engine hours).");
    says(words, "Acid cleans: once since it was new, the last on 2021-05-01, 3 years");
    says(words,
         "at full throttle in a sea of 24.0 °C the coolant stands at 91 °C by the outings (alarm "
         "at 98 °C); fouling adds about 6 % a year of use to the open rise.");
    says(words, "gives no reason to do it sooner");
    says(words, "\"50 %, 22 L\"");
    says(words, "What usually comes next: Two Sisters, engine 0");
    says(words, "this one is 14 years old");
    says(words, "Condition: not measured by these runs. There are not enough outings yet.");
}

static void the_outlook_makes_it_urgent(void **state)
{
    (void)state;
    struct made made;
    make(&made, OUTLOOK_DATE, 0.5);
    says(words_of(&made), "look at it now");
    make(&made, OUTLOOK_REACHED, 0);
    says(words_of(&made), "look at it now");
    make(&made, OUTLOOK_NO_ALARM, NAN);
    says(words_of(&made), "Enter the alarm temperature");
    make(&made, OUTLOOK_SERVICED, NAN);
    says(words_of(&made), "No outing since the last service can be used.");
}

static void without_a_log_there_is_nothing(void **state)
{
    (void)state;
    struct made made;
    make(&made, OUTLOOK_DATE, 3);
    made.seasons.log_path[0] = '\0';
    assert_string_equal(words_of(&made), "");
    make(&made, OUTLOOK_DATE, 3);
    snprintf(made.seasons.log_path, sizeof made.seasons.log_path, "/nowhere/service-log.csv");
    says(words_of(&made), "cannot read the service log");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(advises_each_engine_of_each_boat),
        cmocka_unit_test(the_outlook_makes_it_urgent),
        cmocka_unit_test(without_a_log_there_is_nothing),
    };
    return cmocka_run_group_tests(tests, write_log, remove_log);
}
