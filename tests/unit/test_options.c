/* The command line: what is read, and what is refused with which words. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "../../analyze/options.h"

#define WORDS(...)                                                                                 \
    (char *[])                                                                                     \
    {                                                                                              \
        __VA_ARGS__                                                                                \
    }
#define COUNT(...) (int)(sizeof WORDS(__VA_ARGS__) / sizeof(char *))
#define COMPARE(request, complaint, ...)                                                           \
    read_compare(request, complaint, COUNT(__VA_ARGS__), WORDS(__VA_ARGS__))

static enum status read_compare(struct compare_request *request, struct complaint *complaint,
                                int count, char **words)
{
    bool help;
    compare_request_default(request);
    enum status status = options_parse(&compare_syntax, count, words, request, &help, complaint);
    assert_false(help);
    return status == STATUS_OK ? compare_request_finish(request, complaint) : status;
}

static void reads_a_whole_comparison(void **state)
{
    (void)state;
    struct compare_request request;
    struct complaint complaint = {""};
    enum status status = COMPARE(
        &request, &complaint, "--before", "a.h5", "b.h5", "--after", "c.h5", "--sea-temperature=20",
        "--thermostat", "71,82", "--thermostat-uncertainty", "1.5", "--day-load", "3%",
        "--sender-uncertainty", "1.8F", "--control", "1", "--source", "sea_temperature=MTW",
        "--source", "engine_speed=127488", "--confidence", "90%", "--seed", "7", "--units", "us",
        "--decimal", "comma", "--output", "out", "--json", "-", "--quiet");
    assert_string_equal(complaint.text, "");
    assert_int_equal(status, STATUS_OK);
    const struct compare_options *options = &request.options;
    assert_int_equal(options->before_count, 2);
    assert_string_equal(options->before[1], "b.h5");
    assert_int_equal(options->after_count, 1);
    assert_true(options->reference_sea == 20);
    assert_true(options->thermostat_start == 71 && options->thermostat_full == 82);
    assert_true(options->thermostat_u == 1.5);
    assert_true(fabs(options->day_load - 0.03) < 1e-12);
    assert_true(fabs(options->sender_u - 1) < 1e-12);
    assert_int_equal(options->control_engine, 1);
    assert_int_equal(options->wish_count, 2);
    assert_int_equal(options->wishes[0].channel, CHANNEL_SEA_TEMPERATURE);
    assert_string_equal(options->wishes[1].source, "127488");
    assert_true(fabs(options->confidence_level - 0.9) < 1e-12);
    assert_int_equal(options->seed, 7);
    assert_int_equal(request.handing.style.units, UNITS_US);
    assert_true(request.handing.style.decimal_comma && request.handing.quiet);
    assert_string_equal(request.handing.json, "-");
    compare_request_free(&request);
}

/* A value may look like an option where nothing else can be meant. */
static void takes_values_that_begin_with_a_hyphen(void **state)
{
    (void)state;
    struct compare_request request;
    struct complaint complaint = {""};
    assert_int_equal(COMPARE(&request, &complaint, "--before=-a.h5", "--after", "c.h5",
                             "--output=--quiet", "--sea-temperature=-1"),
                     STATUS_OK);
    assert_string_equal(request.options.before[0], "-a.h5");
    assert_string_equal(request.handing.output, "--quiet");
    assert_false(request.handing.quiet);
    assert_true(request.options.reference_sea == -1);
    compare_request_free(&request);
}

/* The command in the report must give the same request again. */
static void command_comes_back(void **state)
{
    (void)state;
    struct compare_request request;
    struct complaint complaint;
    struct text command = {0};
    assert_int_equal(COMPARE(&request, &complaint, "--before", "Tern's run.h5", "--after", "c.h5",
                             "--sea-temperature", "68F", "--control", "0", "--source",
                             "sea_temperature=XDR C:SEA"),
                     STATUS_OK);
    compare_command(&command, &request);
    assert_string_equal(text_string(&command),
                        "searun-analyze compare --before 'Tern'\\''s run.h5' --after c.h5 "
                        "--sea-temperature 20 --day-load 2 --control 0 --source "
                        "'sea_temperature=XDR C:SEA' --confidence 0.95 --seed 1");
    text_free(&command);
    compare_request_free(&request);
}

static void refused(const char *expected, int count, char **words)
{
    struct compare_request request;
    struct complaint complaint = {""};
    enum status status = read_compare(&request, &complaint, count, words);
    compare_request_free(&request);
    if (status != STATUS_BAD_USAGE || strstr(complaint.text, expected) == NULL)
        fail_msg("wanted \"%s\", got %d \"%s\"", expected, (int)status, complaint.text);
}
#define REFUSED(expected, ...) refused(expected, COUNT(__VA_ARGS__), WORDS(__VA_ARGS__))

static void refuses_with_words(void **state)
{
    (void)state;
    REFUSED("unknown option --befor", "--befor", "a");
    REFUSED("--before RUN..., --after RUN...", "--former", "a");
    REFUSED("name the runs of both sides", "--before", "a");
    REFUSED("--before needs RUN...", "--before", "--after", "b");
    REFUSED("--seed needs N", "--before", "a", "--after", "b", "--seed");
    REFUSED("--seed is given twice", "--seed", "1", "--seed", "2");
    REFUSED("--quiet takes no value", "--quiet=yes");
    REFUSED("whole number", "--seed", "1.5");
    REFUSED("whole number", "--seed", "-1");
    REFUSED("whole number", "--seed", "99999999999999999999");
    REFUSED("cannot be read", "--sea-temperature", "warm");
    REFUSED("cannot be read", "--sea-temperature", "18,5");
    REFUSED("cannot be read", "--sea-temperature", "nan");
    REFUSED("cannot be read", "--sea-temperature", "0x12");
    REFUSED("cannot be read", "--sea-temperature", "20K");
    REFUSED("no temperature of a sea", "--sea-temperature", "68");
    REFUSED("no thermostat", "--thermostat", "82,71");
    REFUSED("with a comma", "--thermostat", "82");
    REFUSED("0 to 20 K", "--thermostat-uncertainty", "-1");
    REFUSED("0 to 50 percent", "--day-load", "80");
    REFUSED("0.5 to 0.9999", "--confidence", "1");
    REFUSED("0.5 to 0.9999", "--confidence", "0.3");
    REFUSED("CHANNEL=SOURCE", "--source", "sea_temperature");
    REFUSED("no channel of that name", "--source", "sea=MTW");
    REFUSED("si or us", "--units", "metric");
    REFUSED("number of the engine", "--control", "port");
    REFUSED("name is empty", "--output", "");
    REFUSED("a.h5: say which side of the service a run is on; usage: searun-analyze compare "
            "--before RUN...",
            "a.h5", "b.h5");
    REFUSED("unknown option --outptu; did you mean --output?", "--outptu", "x");
    REFUSED("did you mean --after?", "--aftr", "x");
    REFUSED("did you mean --thermostat?", "--termostat=71,82");
    REFUSED("`searun-analyze compare` knows --before RUN", "--colour");
    REFUSED(
        "--output needs DIR behind it, and --quiet looks like an option; if it is what you mean, "
        "write --output=--quiet",
        "--output", "--quiet");
    REFUSED("write --before=-a.h5", "--before", "-a.h5", "--after", "b");
}

static void temperature(const char *text, double expected)
{
    double degc;
    assert_int_equal(parse_temperature(text, &degc, NULL), STATUS_OK);
    assert_true(fabs(degc - expected) < 1e-9);
}

static void reads_temperatures_in_both_scales(void **state)
{
    (void)state;
    temperature("18.5", 18.5);
    temperature("-1.5C", -1.5);
    temperature("68F", 20);
    temperature("68 °F", 20);
    temperature("20degC", 20);
    double first, second;
    assert_int_equal(parse_temperatures("160,180F", &first, &second, NULL), STATUS_OK);
    assert_true(fabs(first - 160.0 / 1.8 + 32 / 1.8) < 1e-9);
    assert_int_equal(parse_temperatures("71C, 180F", &first, &second, NULL), STATUS_OK);
    assert_true(first == 71 && fabs(second - 148 / 1.8) < 1e-9);
    assert_int_equal(parse_temperatures("71,82,90", &first, &second, NULL), STATUS_BAD_USAGE);
}

static void level_may_be_a_share_or_percent(void **state)
{
    (void)state;
    static char *const words[] = {"0.9", "90", "90%"};
    for (size_t i = 0; i < 3; i++) {
        struct compare_request request;
        assert_int_equal(
            COMPARE(&request, NULL, "--before", "a", "--after", "b", "--confidence", words[i]),
            STATUS_OK);
        assert_true(fabs(request.options.confidence_level - 0.9) < 1e-12);
        compare_request_free(&request);
    }
}

static void export_knows_its_channels(void **state)
{
    (void)state;
    struct export_request request = {0};
    struct complaint complaint;
    bool help;
    char *good[] = {"run.h5", "--channel", "engine_speed", "coolant_temperature", "engine_speed"};
    assert_int_equal(options_parse(&export_syntax, 5, good, &request, &help, &complaint),
                     STATUS_OK);
    assert_int_equal(request.channel_count, 2);
    char *bad[] = {"run.h5", "--channel", "coolant"};
    assert_int_equal(options_parse(&export_syntax, 3, bad, &request, &help, &complaint),
                     STATUS_BAD_USAGE);
    assert_non_null(strstr(complaint.text, "there is no channel coolant"));
    char *two[] = {"a.h5", "b.h5"};
    assert_int_equal(options_parse(&export_syntax, 2, two, &request, &help, &complaint),
                     STATUS_BAD_USAGE);
    assert_int_equal(options_parse(&export_syntax, 0, two, &request, &help, &complaint),
                     STATUS_BAD_USAGE);
    assert_non_null(strstr(complaint.text, "no run file is named"));
}

/* Every row has help, and every line of it fits a terminal. */
static void help_is_whole_and_fits(void **state)
{
    (void)state;
    const struct command_syntax *all[] = {&compare_syntax, &show_syntax, &export_syntax,
                                          &check_syntax, &seasons_syntax};
    for (size_t c = 0; c < sizeof all / sizeof all[0]; c++) {
        struct text help = {0};
        options_help(&help, all[c]);
        for (size_t i = 0; i < all[c]->row_count; i++) {
            assert_true(strlen(all[c]->rows[i].help) > 5);
            assert_non_null(strstr(text_string(&help), all[c]->rows[i].name));
        }
        for (const char *line = text_string(&help); *line != '\0';) {
            size_t length = strcspn(line, "\n");
            assert_true(length <= 80);
            line += length + (line[length] == '\n');
        }
        text_free(&help);
    }
}

/* "--sea-temperature" as the manual page writes it: "\\-\\-sea\\-temperature". */
static void as_in_manual(const char *name, char *out)
{
    for (; *name != '\0'; name++) {
        if (*name == '-')
            *out++ = '\\';
        *out++ = *name;
    }
    *out = '\0';
}

static void manual_page_knows_every_option(void **state)
{
    (void)state;
    static char page[100000];
    const struct command_syntax *all[] = {&compare_syntax, &show_syntax, &export_syntax,
                                          &check_syntax,   &note_syntax, &service_syntax,
                                          &seasons_syntax};
    FILE *file = fopen("analyze/searun-analyze.1", "r");
    assert_non_null(file);
    page[fread(page, 1, sizeof page - 1, file)] = '\0';
    fclose(file);
    for (size_t c = 0; c < sizeof all / sizeof all[0]; c++)
        for (size_t i = 0; i < all[c]->row_count; i++) {
            char name[80];
            as_in_manual(all[c]->rows[i].name, name);
            if (strstr(page, name) == NULL)
                fail_msg("%s is not in analyze/searun-analyze.1", all[c]->rows[i].name);
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_a_whole_comparison),
        cmocka_unit_test(takes_values_that_begin_with_a_hyphen),
        cmocka_unit_test(command_comes_back),
        cmocka_unit_test(refuses_with_words),
        cmocka_unit_test(reads_temperatures_in_both_scales),
        cmocka_unit_test(level_may_be_a_share_or_percent),
        cmocka_unit_test(export_knows_its_channels),
        cmocka_unit_test(help_is_whole_and_fits),
        cmocka_unit_test(manual_page_knows_every_option),
    };
    return cmocka_run_group_tests_name("options", tests, NULL, NULL);
}
