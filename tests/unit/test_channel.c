/* test_channel.c - the catalogue and its start-up check; words of readings. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "channel.h"
#include "reading.h"

static const struct channel sound = {"a_key", "A title", UNIT_DEGC, -40, 150, 0.001, 10, ""};

static void the_catalogue_is_sound(void **state)
{
    (void)state;
    assert_int_equal(channel_check(), 0);
}

static void every_channel_is_found_by_its_key(void **state)
{
    (void)state;
    for (int id = 0; id < CHANNEL_COUNT; id++)
        assert_int_equal(channel_find(channel_get((enum channel_id)id)->key), id);
    assert_int_equal(channel_find("warp_factor"), CHANNEL_COUNT);
    assert_int_equal(channel_find(""), CHANNEL_COUNT);
}

static void a_sound_row_passes(void **state)
{
    (void)state;
    assert_int_equal(channel_check_rows(&sound, 1), 0);
}

static void refused(struct channel row)
{
    struct channel rows[2] = {sound, row};
    assert_int_equal(channel_check_rows(rows, 2), 2);
}

/* One row a defect. */
static void each_defect_is_found(void **state)
{
    (void)state;
    refused((struct channel){"a_key", "Same key", UNIT_DEGC, 0, 1, 1, 1, ""});
    refused((struct channel){NULL, "No key", UNIT_DEGC, 0, 1, 1, 1, ""});
    refused((struct channel){"", "Empty key", UNIT_DEGC, 0, 1, 1, 1, ""});
    refused((struct channel){"Upper", "Upper case", UNIT_DEGC, 0, 1, 1, 1, ""});
    refused((struct channel){"a key", "Blank", UNIT_DEGC, 0, 1, 1, 1, ""});
    refused((struct channel){"1st", "Digit first", UNIT_DEGC, 0, 1, 1, 1, ""});
    refused((struct channel){"b", NULL, UNIT_DEGC, 0, 1, 1, 1, ""});
    refused((struct channel){"b", "", UNIT_DEGC, 0, 1, 1, 1, ""});
    refused((struct channel){"b", "No unit", UNIT_COUNT, 0, 1, 1, 1, ""});
    refused((struct channel){"b", "Empty range", UNIT_DEGC, 1, 1, 1, 1, ""});
    refused((struct channel){"b", "No step", UNIT_DEGC, 0, 1, 0, 1, ""});
    refused((struct channel){"b", "No silence", UNIT_DEGC, 0, 1, 1, 0, ""});
    refused((struct channel){"b", "Too fine", UNIT_DEGC, 0, 2.2, 1e-9, 1, ""});
    refused((struct channel){"b", "Too fine below", UNIT_DEGC, -2.2, 0, 1e-9, 1, ""});
    refused((struct channel){"b", "No standard name", UNIT_DEGC, 0, 1, 1, 1, NULL});
}

static void protocols_and_places_have_words(void **state)
{
    (void)state;
    assert_string_equal(protocol_title(PROTOCOL_NMEA0183), "NMEA 0183");
    assert_string_equal(protocol_title(PROTOCOL_NMEA2000), "NMEA 2000");
    assert_string_equal(protocol_title(PROTOCOL_J1939), "J1939");
    assert_string_equal(protocol_title(PROTOCOL_SHEET), "sheet");
    assert_string_equal(place_key(PLACE_VESSEL), "vessel");
    assert_string_equal(place_key(PLACE_ENGINE), "engine");
    assert_string_equal(place_key(PLACE_TANK), "tank");
    assert_string_equal(place_key(PLACE_BATTERY), "battery");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_catalogue_is_sound),
        cmocka_unit_test(every_channel_is_found_by_its_key),
        cmocka_unit_test(a_sound_row_passes),
        cmocka_unit_test(each_defect_is_found),
        cmocka_unit_test(protocols_and_places_have_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
