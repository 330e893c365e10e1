/* test_devices.c - a source stays the same device when its address changes.
 *
 * Facts: layout of the NAME from the open PGN database canboat (60928); that the lower NAME keeps a
 * contested address and has 250 ms to defend it from SAE J1939-81 (from memory). NAMEs are our
 * own. */
#include "can_kit.h"

#include "../../logger/devices.h"

#define LOW UINT64_C(0xC0640000FA001B59)
#define MIDDLE UINT64_C(0xC0788200FA001B5A)
#define HIGH UINT64_C(0xC0960000FA001B5B)

static struct device_table *table_new(void)
{
    struct device_table *table = malloc(sizeof *table);
    assert_non_null(table);
    device_table_reset(table);
    return table;
}

static const char *name_at(struct device_table *table, int64_t at, uint8_t address)
{
    static _Thread_local char text[DEVICE_TEXT_MAX];
    enum device_news news;
    device_text(&table->device[device_at(table, at, address, &news)], text);
    return text;
}

static enum device_news claim(struct device_table *table, int64_t ms, uint8_t address,
                              uint64_t name)
{
    enum device_news news;
    device_claim(table, ms * NS_PER_MS, address, name, &news);
    return news;
}

static const char *who(struct device_table *table, int64_t ms, uint8_t address)
{
    return name_at(table, ms * NS_PER_MS, address);
}

static void a_device_without_a_name(void **state)
{
    (void)state;
    struct device_table *table = table_new();
    assert_string_equal(who(table, 0, 35), "35");
    assert_string_equal(who(table, 0, 0), "0");
    assert_string_equal(who(table, 0, 255), "255");
    free(table);
}

static void a_device_that_moves(void **state)
{
    (void)state;
    struct device_table *table = table_new();
    assert_string_equal(who(table, 0, 35), "35");
    assert_int_equal(claim(table, 10, 35, LOW), DEVICE_NAMED);
    assert_int_equal(claim(table, 20, 35, LOW), DEVICE_KNOWN);
    assert_int_equal(claim(table, 30, 40, LOW), DEVICE_MOVED);
    assert_string_equal(who(table, 40, 40), "35");
    assert_string_equal(who(table, 50, 35), "35.2"); /* somebody else */
    assert_int_equal(claim(table, 60, 35, HIGH), DEVICE_NAMED);
    assert_string_equal(who(table, 70, 35), "35.2");
    assert_int_equal(claim(table, 80, 77, HIGH), DEVICE_MOVED);
    assert_string_equal(who(table, 90, 77), "35.2");
    assert_string_equal(who(table, 100, 35), "35.3");
    free(table);
}

/* What has spoken from an address before its claim is taken for the device that claims. */
static void two_devices_swap(void **state)
{
    (void)state;
    struct device_table *table = table_new();
    claim(table, 0, 1, LOW);
    claim(table, 0, 2, HIGH);
    assert_int_equal(claim(table, 10, 2, LOW),
                     DEVICE_MOVED); /* lower, so it takes the seat at once */
    assert_int_equal(claim(table, 20, 1, HIGH), DEVICE_MOVED);
    assert_string_equal(who(table, 30, 2), "1");
    assert_string_equal(who(table, 30, 1), "2");
    free(table);
}

static void a_contest_that_is_defended(void **state)
{
    (void)state;
    struct device_table *table = table_new();
    claim(table, 0, 35, MIDDLE);
    assert_int_equal(claim(table, 100, 35, HIGH), DEVICE_KNOWN);
    assert_string_equal(who(table, 101, 35), "35");
    assert_int_equal(claim(table, 102, 35, MIDDLE), DEVICE_KNOWN);
    assert_int_equal(claim(table, 400, 36, HIGH), DEVICE_NAMED);
    assert_string_equal(who(table, 900, 35), "35");
    assert_string_equal(who(table, 900, 36), "36");
    free(table);
}

static void a_contest_that_is_not(void **state)
{
    (void)state;
    struct device_table *table = table_new();
    enum device_news news;
    claim(table, 0, 35, MIDDLE);
    claim(table, 100, 35, HIGH); /* the old device is gone, another one was put in */
    assert_string_equal(who(table, 350, 35), "35");
    unsigned device = device_at(table, 351 * NS_PER_MS, 35, &news);
    assert_int_equal(news, DEVICE_NAMED);
    assert_int_equal(table->device[device].name, HIGH);
    assert_string_equal(who(table, 352, 35), "35.2");
    assert_int_equal(claim(table, 400, 35, LOW), DEVICE_NAMED); /* a lower one takes it at once */
    assert_string_equal(who(table, 401, 35), "35.3");
    free(table);
}

/* The claim itself comes after the time for defence. */
static void a_contest_settled_by_the_next_claim(void **state)
{
    (void)state;
    struct device_table *table = table_new();
    claim(table, 0, 35, LOW);
    claim(table, 100, 35, MIDDLE);
    assert_int_equal(claim(table, 900, 35, MIDDLE), DEVICE_NAMED);
    assert_string_equal(who(table, 901, 35), "35.2");
    free(table);
}

static void a_device_without_an_address(void **state)
{
    (void)state;
    struct device_table *table = table_new();
    claim(table, 0, 35, LOW);
    assert_int_equal(claim(table, 10, 254, LOW), DEVICE_KNOWN);
    assert_string_equal(who(table, 20, 35), "35.2");
    assert_int_equal(claim(table, 30, 50, LOW), DEVICE_MOVED);
    assert_string_equal(who(table, 40, 50), "35");
    assert_int_equal(claim(table, 50, 254, HIGH), DEVICE_KNOWN); /* one we do not know */
    free(table);
}

/* Devices without end must not need memory without end, nor texts that are too long. */
static void a_flood_of_names(void **state)
{
    (void)state;
    struct device_table *table = table_new();
    for (unsigned i = 0; i < 100000; i++) {
        claim(table, i, (uint8_t)(i % 256), i * UINT64_C(0x9E3779B97F4A7C15));
        assert_in_range(strlen(who(table, i, (uint8_t)(i * 7 % 256))), 1, 6);
        assert_in_range(table->count, 256, DEVICES_MAX);
    }
    free(table);
}

static void a_clock_that_goes_back(void **state)
{
    (void)state;
    struct device_table *table = table_new();
    claim(table, 1000, 35, LOW);
    claim(table, 1000, 35, HIGH);
    assert_string_equal(name_at(table, INT64_MIN, 35), "35");
    assert_string_equal(name_at(table, INT64_MAX, 35), "35.2");
    free(table);
}

/* The NAME 0xC0640000FA001B59: unique number 0x01B59, maker code 0x7D0, instance 0, function 0x00,
 * class 0x32, system instance 0, industry 4, arbitrary address. */
static void parts_of_a_name(void **state)
{
    (void)state;
    struct device_name name = device_name_split(LOW);
    assert_int_equal(name.unique, 0x001B59);
    assert_int_equal(name.manufacturer, 0x7D0);
    assert_int_equal(name.instance, 0);
    assert_int_equal(name.function, 0);
    assert_int_equal(name.class, 50);
    assert_int_equal(name.system, 0);
    assert_int_equal(name.industry, 4);
    assert_string_equal(device_class_title(50), "propulsion");
    assert_string_equal(device_class_title(51), "");
    static const unsigned named[] = {10, 20, 25, 30, 35,  40,  50,  60, 70,
                                     75, 80, 85, 90, 100, 110, 120, 125};
    for (unsigned class = 0, i = 0; class < 256;
         class ++) { /* enumeration DEVICE_CLASS of canboat */
        bool is_named = i < sizeof named / sizeof *named && named[i] == class;
        assert_int_equal(device_class_title(class)[0] != '\0', is_named);
        i += is_named;
    }
    name = device_name_split(UINT64_C(0x7F12E5A7FFDFFFFF));
    assert_int_equal(name.unique, 0x1FFFFF);
    assert_int_equal(name.manufacturer, 0x7FE);
    assert_int_equal(name.instance, 0xA7);
    assert_int_equal(name.function, 0xE5);
    assert_int_equal(name.class, 9);
    assert_int_equal(name.system, 15);
    assert_int_equal(name.industry, 7);
}

/* --- through the decoder */

#define CLAIM(address, name) "18EEFF" address "#" name " "
#define SPEED(address) "09F200" address "#009A0B170000FFFF "
#define READING(source)                                                                            \
    "127488 engine 0 " source " \"\" engine_speed=742.5 boost_pressure=2.3 drive_trim=0\n"

static void sources_in_a_run(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    kit.texts = true;
    kit_frames(&kit, SPEED("23") CLAIM("23", "591B00FA000064C0") SPEED("23"));
    kit_expect(&kit, "named after it was heard",
               READING("35") "60928 vessel 0 35 \"\" event device: NAME C0640000FA001B59 at "
                             "address 35: maker code "
                             "2000, unique number 7001, class 50 (propulsion), function 0, "
                             "instance 0\n" READING("35"));
    kit_frames(&kit, CLAIM("23", "591B00FA000064C0") CLAIM("28", "591B00FA000064C0") SPEED("28"));
    kit_expect(
        &kit, "told once, then moved; the readings go on in the same place",
        "60928 vessel 0 35 \"\" event device: NAME C0640000FA001B59 at address 40: maker code "
        "2000, unique number 7001, class 50 (propulsion), function 0, instance 0\n" READING("35"));
    kit_frames(&kit, SPEED("23"));
    kit_expect(&kit, "somebody else at the old address", READING("35.2"));
    kit_frames(&kit, CLAIM("28", "5B1B00FA000096C0") SPEED("28") "+300 " SPEED("28"));
    kit_expect(&kit, "another device takes the place of one that is silent",
               READING("35") READING("40") "127488 engine 0 40 \"\" event device: NAME "
                                           "C0960000FA001B5B at address 40: maker code "
                                           "2000, unique number 7003, class 75 (sensor interface), "
                                           "function 0, instance 0\n");
    kit_end(&kit, "no trouble", "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_device_without_a_name),
        cmocka_unit_test(a_device_that_moves),
        cmocka_unit_test(two_devices_swap),
        cmocka_unit_test(a_contest_that_is_defended),
        cmocka_unit_test(a_contest_that_is_not),
        cmocka_unit_test(a_contest_settled_by_the_next_claim),
        cmocka_unit_test(a_device_without_an_address),
        cmocka_unit_test(a_flood_of_names),
        cmocka_unit_test(a_clock_that_goes_back),
        cmocka_unit_test(parts_of_a_name),
        cmocka_unit_test(sources_in_a_run),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
