/* test_config.c - settings from files and command line, their errors, and that the manual
 * agrees. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../logger/config.h"
#include "../../logger/input.h"

/* --- a file in memory */

struct told {
    char text[8000];
};

static void tell(void *self, const char *text)
{
    struct told *told = self;
    size_t length = strlen(told->text);
    snprintf(told->text + length, sizeof told->text - length, "%s\n", text);
}

static enum status read_bytes(struct config *config, const char *bytes, size_t length,
                              struct told *told)
{
    struct problems problems = {tell, told, 0};
    told->text[0] = '\0';
    config_init(config);
    return config_read_text(config, "boat.ini", bytes, length, &problems);
}

static enum status read_text(struct config *config, const char *text, struct told *told)
{
    return read_bytes(config, text, strlen(text), told);
}

static void expect_sound(struct config *config, const char *text)
{
    struct told told;
    enum status status = read_text(config, text, &told);
    if (status != STATUS_OK)
        print_message("%s", told.text);
    assert_int_equal(status, STATUS_OK);
}

/* The file is refused, and each of the words is told. */
static void expect_problem(const char *text, const char *where, const char *words)
{
    struct config config;
    struct told told;
    assert_int_equal(read_text(&config, text, &told), STATUS_BAD_USAGE);
    if (!strstr(told.text, where) || !strstr(told.text, words))
        print_message("expected %s ... %s, told: %s", where, words, told.text);
    assert_non_null(strstr(told.text, where));
    assert_non_null(strstr(told.text, words));
    config_free(&config);
}

/* --- sound files */

static void test_defaults(void **state)
{
    (void)state;
    struct config config;
    expect_sound(&config, "");
    assert_string_equal(config.settings.directory, ".");
    assert_true(config.settings.transducer_defaults);
    assert_float_equal(config.settings.ring_size, 16, 0);
    assert_float_equal(config.settings.reopen_longest, 30, 0);
    assert_int_equal(config.input_count, 0);
    config_free(&config);
}

static void test_whole_file(void **state)
{
    (void)state;
    struct config config;
    expect_sound(&config, "\xEF\xBB\xBF; a comment\r\n"
                          "[boat]\r\n"
                          "name = Tern's Reach ; with a comment behind\r\n"
                          "[engine 0]\n"
                          "thermostat = 71, 82\n"
                          "[engine 3]\n"
                          "label = spare\n"
                          "[run]\n"
                          "purpose = before service\n"
                          "notes = first line\n"
                          "   second line\n"
                          "# a comment in between\n"
                          "\tthird line\n"
                          "[logger]\n"
                          "directory = /var/lib/runs\n"
                          "ring_size = 64\n"
                          "[inputs]\n"
                          "plotter = udp:10110\n"
                          "gps = serial:/dev/ttyUSB0,38400\n"
                          "[transducers]\n"
                          "coolant = C, F, PORT->COOLANT -> coolant_temperature, engine 0\n"
                          "oil = P, , ENGINE OIL#{n} -> oil_pressure, engine {n}\n"
                          "sea = C, C, KEEL -> sea_temperature\n");
    double first, second;
    assert_string_equal(facts_get(&config.facts, FACT_BOAT, 0, "name"), "Tern's Reach");
    assert_true(facts_pair(&config.facts, 0, "thermostat", &first, &second));
    assert_float_equal(second, 82, 0);
    assert_string_equal(facts_get(&config.facts, FACT_ENGINE, 3, "label"), "spare");
    assert_string_equal(facts_get(&config.facts, FACT_RUN, 0, "notes"),
                        "first line second line third line");
    assert_string_equal(config.settings.directory, "/var/lib/runs");
    assert_int_equal(config.input_count, 2);
    assert_string_equal(config.inputs[1].label, "gps");
    assert_string_equal(config.inputs[1].text, "serial:/dev/ttyUSB0,38400");
    assert_int_equal(config.transducer_count, 3);
    assert_string_equal(config.transducers[0].name, "PORT->COOLANT");
    assert_string_equal(config.transducers[0].unit, "F");
    assert_int_equal(config.transducers[0].engine, 0);
    assert_string_equal(config.transducers[1].name, "ENGINE OIL#{n}");
    assert_int_equal(config.transducers[1].engine, TRANSDUCER_NUMBERED);
    assert_int_equal(config.transducers[2].engine, TRANSDUCER_VESSEL);
    config_free(&config);
}

static void test_transducer_map(void **state)
{
    (void)state;
    struct config config;
    struct transducer_map map;
    expect_sound(&config, "[logger]\nrpm_first_engine = 1\n"
                          "[transducers]\nx = C, C, KEEL -> sea_temperature\n");
    assert_int_equal(config_transducers(&config, &map), STATUS_OK);
    assert_int_equal(map.count, 1 + transducer_default_count);
    assert_string_equal(map.row[0].name, "KEEL");
    assert_int_equal(map.rpm_first_engine, 1);
    config.settings.transducer_defaults = false;
    assert_int_equal(config_transducers(&config, &map), STATUS_OK);
    assert_int_equal(map.count, 1);
    config_free(&config);
}

/* The example that is installed must be sound as it stands. */
static void test_example(void **state)
{
    (void)state;
    struct config config;
    struct told told = {""};
    struct problems problems = {tell, &told, 0};
    config_init(&config);
    enum status status = config_read(&config, "logger/example.ini", &problems);
    if (status != STATUS_OK)
        print_message("%s", told.text);
    assert_int_equal(status, STATUS_OK);
    assert_true(config.input_count >= 1);
    assert_string_equal(facts_get(&config.facts, FACT_BOAT, 0, "name"), "Tern's Reach");
    config_free(&config);
}

/* --- errors name file, line and what is allowed */

static void test_problems(void **state)
{
    (void)state;
    static const struct {
        const char *text, *where, *words;
    } rows[] = {
        {"[boat]\nnaem = x\n", "boat.ini:2: ", "allowed: name, identification"},
        {"[boot]\nname = x\n", "boat.ini:2: ", "[boat], [engine 0] to [engine 252], [run]"},
        {"name = x\n", "boat.ini:1: ", "there is no section []"},
        {"[engine]\nlabel = x\n", "boat.ini:2: ", "[engine 0]"},
        {"[engine 253]\nlabel = x\n", "boat.ini:2: ", "[engine 252]"},
        {"[engine 0x]\nlabel = x\n", "boat.ini:2: ", "[engine 252]"},
        {"[engine 0]\nthermostat = hot\n", "boat.ini:2: ", "two numbers with a comma"},
        {"[engine 0]\nrated_rpm = 2800 rpm\n", "boat.ini:2: ", "without a unit"},
        {"\n\n[run]\npurpose = fun\n", "boat.ini:4: ", "before service, after service"},
        {"[logger]\nring_size = 0\n", "boat.ini:2: ", "1 to 1024 MiB is allowed (default 16)"},
        {"[logger]\nring_size = 0x10\n", "boat.ini:2: ", "1 to 1024 MiB"},
        {"[logger]\nring_size = nan\n", "boat.ini:2: ", "1 to 1024 MiB"},
        {"[logger]\nring_size = 2.5\n", "boat.ini:2: ", "whole number"},
        {"[logger]\nring_size =\n", "boat.ini:2: ", "1 to 1024 MiB"},
        {"[logger]\ntransducer_defaults = maybe\n", "boat.ini:2: ", "yes or no"},
        {"[logger]\nrings = 1\n", "boat.ini:2: ", "allowed: directory, ring_size"},
        {"[logger]\ndirectory =\n", "boat.ini:2: ", "1 to 1023 bytes"},
        {"[inputs]\nGPS = udp:10110\n", "boat.ini:2: ", "a-z, 0-9 and _"},
        {"[inputs]\nabcdefghijklmnop = udp:10110\n", "boat.ini:2: ", "1 to 15"},
        {"[inputs]\ngps = usb:1\n", "boat.ini:2: ", "must begin with one of serial:, udp:, tcp:"},
        {"[inputs]\ngps = serial:/dev/ttyS0,fast\n", "boat.ini:2: ", "a usual baud rate: 4800"},
        {"[inputs]\ngps = serial:/dev/ttyS0,4801\n", "boat.ini:2: ", "a usual baud rate: 4800"},
        {"[inputs]\ngps = serial:\n", "boat.ini:2: ", "/dev/ttyUSB0,4800"},
        {"[inputs]\ngps = udp:0\n", "boat.ini:2: ", "udp:PORT"},
        {"[inputs]\ngps = udp:65536\n", "boat.ini:2: ", "udp:PORT"},
        {"[inputs]\ngps = udp:localhost:10110\n", "boat.ini:2: ", "udp:ADDRESS:PORT"},
        {"[inputs]\ngps = udp:10110,from=10.0.0.0/33\n", "boat.ini:2: ", "192.168.1.0/24"},
        {"[inputs]\ngps = udp:10110,form=10.0.0.0/8\n", "boat.ini:2: ", "from=NETWORK/BITS"},
        {"[inputs]\ngps = udp:10110,interface=\n", "boat.ini:2: ", "network interface"},
        {"[inputs]\ngps = tcp:10.0.0.1\n", "boat.ini:2: ", "HOST:PORT"},
        {"[inputs]\ngps = tcp::10110\n", "boat.ini:2: ", "HOST:PORT"},
        {"[inputs]\na = udp:10110\nb = udp:10110\n", "boat.ini:3: ", "is an input already"},
        {"[transducers]\nx = C, C, KEEL\n", "boat.ini:2: ", "TYPE, UNIT, NAME -> CHANNEL"},
        {"[transducers]\nx = C, C, KEEL -> keel\n", "boat.ini:2: ", "is not a channel"},
        {"[transducers]\nx = C, C, KEEL -> sea_temperature, engine x\n",
         "boat.ini:2: ", "engine 0 to engine 252"},
        {"[transducers]\nx = C, C, KEEL -> sea_temperature, engine 253\n",
         "boat.ini:2: ", "engine 0 to engine 252"},
        {"[boat]\nname = a\nport = b\nname = c\n", "boat.ini:4: ", "line 2 set it before"},
        {"[boat]\nname = a\n[run]\n[boat]\nname = c\n", "boat.ini:5: ", "line 2 set it before"},
        {"[boat]\nname\n", "boat.ini:2: ", "neither"},
        {"[boat\nname = x\n", "boat.ini:1: ", "neither"},
        /* inih takes an indented line for more of the value before */
        {"[boat]\n  name = a\n  port = b\n", "boat.ini:3: ", "at the beginning of the line"},
        {"[logger]\nring_size = 1\n 6\n", "boat.ini:3: ", "continues \"ring_size\""},
        {"[boat]\nname = \xFF\xFE\n", "boat.ini:2: ", "UTF-8"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        expect_problem(rows[i].text, rows[i].where, rows[i].words);
}

static void test_all_problems_are_told(void **state)
{
    (void)state;
    struct config config;
    struct told told;
    assert_int_equal(
        read_text(&config, "[boat]\nnaem = x\nname = y\n[logger]\nring_size = 0\n", &told),
        STATUS_BAD_USAGE);
    assert_non_null(strstr(told.text, "boat.ini:2: "));
    assert_non_null(strstr(told.text, "boat.ini:5: "));
    assert_string_equal(facts_get(&config.facts, FACT_BOAT, 0, "name"), "y");
    config_free(&config);
}

/* inih cuts lines at 199 bytes without a word; here they are told, and 198 still fit. */
static void test_long_lines(void **state)
{
    (void)state;
    for (size_t length = 190; length < 5000; length += length < 210 ? 1 : 500) {
        char text[5100] = "[run]\nnotes = ";
        struct config config;
        struct told told;
        size_t head = strlen("notes = "), begin = strlen(text);
        memset(text + begin, 'x', length - head);
        enum status status = read_text(&config, text, &told);
        assert_int_equal(status, length <= 198 ? STATUS_OK : STATUS_BAD_USAGE);
        if (status == STATUS_OK)
            assert_int_equal(strlen(facts_get(&config.facts, FACT_RUN, 0, "notes")), length - head);
        else
            assert_non_null(strstr(told.text, "boat.ini:2: the line is too long"));
        config_free(&config);
    }
}

static void test_binary_file(void **state)
{
    (void)state;
    struct config config;
    struct told told;
    assert_int_equal(read_bytes(&config, "[boat]\nna\0me = x\n", 17, &told), STATUS_BAD_USAGE);
    assert_non_null(strstr(told.text, "boat.ini:2: the line holds a NUL byte"));
    config_free(&config);
}

static void test_missing_file(void **state)
{
    (void)state;
    struct config config;
    struct told told = {""};
    struct problems problems = {tell, &told, 0};
    config_init(&config);
    assert_int_equal(config_read(&config, "/nonexistent.ini", &problems), STATUS_NOT_FOUND);
    assert_non_null(strstr(told.text, "/nonexistent.ini: No such file"));
    assert_int_equal(config_read(&config, "/tmp", &problems), STATUS_IO);
    config_free(&config);
}

/* --- the command line */

static void test_set(void **state)
{
    (void)state;
    struct config config;
    struct complaint complaint;
    expect_sound(&config, "[boat]\nname = a\n");
    assert_int_equal(config_set(&config, "boat.name=Tern's Reach = b", &complaint), STATUS_OK);
    assert_string_equal(facts_get(&config.facts, FACT_BOAT, 0, "name"), "Tern's Reach = b");
    assert_int_equal(config_set(&config, "engine1.thermostat=71,82", &complaint), STATUS_OK);
    assert_string_equal(facts_get(&config.facts, FACT_ENGINE, 1, "thermostat"), "71,82");
    assert_int_equal(config_set(&config, "logger.ring_size=32", &complaint), STATUS_OK);
    assert_float_equal(config.settings.ring_size, 32, 0);
    assert_int_equal(config_set(&config, "inputs.gps=udp:10110", &complaint), STATUS_OK);
    assert_int_equal(config.input_count, 1);
    static const char *const bad[] = {
        "", "boat", "boat.name", "name=x", "boat.naem=x", "motor.name=x", "engine0.rated_rpm=fast"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_int_equal(config_set(&config, bad[i], &complaint), STATUS_BAD_USAGE);
    config_free(&config);
}

static void test_add_input(void **state)
{
    (void)state;
    static const struct {
        const char *text, *label;
    } rows[] = {
        {"serial:/dev/ttyUSB0,4800", "ttyusb0"},
        {"udp:10110", "udp_10110"},
        {"udp:0.0.0.0:10110,from=192.168.1.0/24", "udp_0_0_0_0_1"},
        {"udp:0.0.0.0:10111", "udp_0_0_0_0_12"},
        {"udp:0.0.0.0:10112", "udp_0_0_0_0_13"},
        {"gate_way=tcp:gateway.local:2000", "gate_way"},
        {"tcp:[::1]:2000", "tcp_1_2000"},
        {"serial:/dev/serial/by-id/usb-Some_Maker_USB_Serial-if00", "serial_by_id"},
    };
    struct config config;
    struct complaint complaint = {""};
    config_init(&config);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        assert_int_equal(config_add_input(&config, rows[i].text, &complaint), STATUS_OK);
        assert_string_equal(config.inputs[i].label, rows[i].label);
    }
    assert_string_equal(config.inputs[5].text, "tcp:gateway.local:2000");
    /* the same name replaces, the same text under another name does not */
    assert_int_equal(config_add_input(&config, "gate_way=udp:2000", &complaint), STATUS_OK);
    assert_int_equal(config.input_count, 8);
    assert_int_equal(config_add_input(&config, "again=udp:2000", &complaint), STATUS_BAD_USAGE);
    assert_int_equal(config_add_input(&config, "No=udp:2001", &complaint), STATUS_BAD_USAGE);
    for (int port = 3000; config.input_count < INPUTS_MAX; port++) {
        char text[32];
        snprintf(text, sizeof text, "udp:%d", port);
        assert_int_equal(config_add_input(&config, text, &complaint), STATUS_OK);
    }
    assert_int_equal(config_add_input(&config, "udp:9999", &complaint), STATUS_BAD_USAGE);
    assert_non_null(strstr(complaint.text, "16 inputs"));
    config_free(&config);
}

/* --- the manual page names everything that can be set */

static char *read_whole(FILE *file)
{
    static char bytes[200000];
    size_t length = fread(bytes, 1, sizeof bytes - 1, file);
    bytes[length] = '\0';
    return bytes;
}

/* Takes the backslashes out of manual page text: "\-" is a hyphen. */
static void plain_text(char *text)
{
    char *to = text;
    for (const char *from = text; *from; from++)
        if (*from != '\\')
            *to++ = *from;
    *to = '\0';
}

/* Every first word of an indented line of the listing is a name; the page must have it in bold, and
 * the default that the listing states. */
/* What config_list gives makes the same configuration again, whatever is in it. */
static void expect_again(struct config *config)
{
    struct config again;
    struct complaint complaint = {""};
    char **list = config_list(config);
    assert_non_null(list);
    config_init(&again);
    for (char **at = list; *at; at++)
        if (config_set(&again, *at, &complaint) != STATUS_OK)
            fail_msg("%s: %s", *at, complaint.text);
    assert_int_equal(again.facts.count, config->facts.count);
    for (size_t i = 0; i < again.facts.count; i++) {
        const struct fact *a = &again.facts.list[i], *b = &config->facts.list[i];
        assert_int_equal(a->section, b->section);
        assert_int_equal(a->engine, b->engine);
        assert_string_equal(a->key, b->key);
        assert_string_equal(a->value, b->value);
    }
    assert_string_equal(again.settings.directory, config->settings.directory);
    assert_float_equal(again.settings.clock_tolerance, config->settings.clock_tolerance, 0);
    assert_float_equal(again.settings.rpm_first_engine, config->settings.rpm_first_engine, 0);
    assert_int_equal(again.settings.transducer_defaults, config->settings.transducer_defaults);
    assert_int_equal(again.transducer_count, config->transducer_count);
    for (size_t i = 0; i < again.transducer_count; i++) {
        const struct transducer_row *x = &again.transducers[i], *y = &config->transducers[i];
        assert_memory_equal(x->type, y->type, sizeof x->type);
        assert_memory_equal(x->unit, y->unit, sizeof x->unit);
        assert_memory_equal(x->name, y->name, sizeof x->name);
        assert_int_equal(x->channel, y->channel);
        assert_int_equal(x->engine, y->engine);
    }
    config_list_free(list);
    config_free(&again);
    config_free(config);
}

static void test_list(void **state)
{
    (void)state;
    struct config config;
    struct problems problems = {tell, &(struct told){""}, 0};
    config_init(&config);
    expect_again(&config);
    config_init(&config);
    assert_int_equal(config_read(&config, "logger/example.ini", &problems), STATUS_OK);
    assert_true(config.transducer_count > 0);
    expect_again(&config);
    expect_sound(&config,
                 "[logger]\nclock_tolerance = 1.1\nrpm_first_engine = 1\n"
                 "transducer_defaults = no\ndirectory = /var/lib/ru=ns\n"
                 "[transducers]\na = C, F, A, B->C#{n} -> coolant_temperature, engine {n}\n"
                 "b = U, , BATT -> battery_voltage, battery 2\n"
                 "c = C, , KEEL -> sea_temperature, vessel\n"
                 "[engine 12]\nlabel = a = b.c\n");
    assert_int_equal(config_set(&config, "run.notes=two\nlines\\", NULL), STATUS_OK);
    expect_again(&config);
    config_list_free(NULL);
}

static void test_manual_agrees(void **state)
{
    (void)state;
    static char listing[60000];
    FILE *file = fopen("logger/searun-logger.1", "r");
    assert_non_null(file);
    char *page = read_whole(file);
    fclose(file);
    plain_text(page);
    file = fmemopen(listing, sizeof listing - 1, "w");
    config_describe(file);
    fclose(file);
    int names = 0;
    for (char *line = strtok(listing, "\n"); line; line = strtok(NULL, "\n")) {
        char name[64], expected[100], *fallback = strstr(line, "default: ");
        if (sscanf(line, "  %63[a-z_]", name) != 1 || line[2] == ' ' || !fallback)
            continue;
        names++;
        snprintf(expected, sizeof expected, ".B %s\n", name);
        const char *entry = strstr(page, expected);
        if (!entry)
            print_message("the manual page lacks %s\n", name);
        assert_non_null(entry);
        fallback += strlen("default: ");
        fallback[strcspn(fallback, ")")] = '\0';
        const char *end = strstr(entry, ".TP");
        size_t length = end ? (size_t)(end - entry) : strlen(entry);
        if (strcmp(fallback, "not recorded") != 0 &&
            !memmem(entry, length, fallback, strlen(fallback)))
            fail_msg("the manual page does not state the default %s of %s", fallback, name);
    }
    assert_true(names > 30);
    for (size_t i = 0; i < input_driver_count; i++) {
        char expected[64];
        snprintf(expected, sizeof expected, ".B %s:", input_drivers[i]->name);
        assert_non_null(strstr(page, expected));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_defaults),       cmocka_unit_test(test_whole_file),
        cmocka_unit_test(test_transducer_map), cmocka_unit_test(test_example),
        cmocka_unit_test(test_problems),       cmocka_unit_test(test_all_problems_are_told),
        cmocka_unit_test(test_long_lines),     cmocka_unit_test(test_binary_file),
        cmocka_unit_test(test_missing_file),   cmocka_unit_test(test_set),
        cmocka_unit_test(test_add_input),      cmocka_unit_test(test_list),
        cmocka_unit_test(test_manual_agrees),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
