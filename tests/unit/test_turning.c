/* test_turning.c - when an engine counts as turning. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "../../logger/turning.h"

static struct turning turning;

static void hear(double at, enum place place, unsigned instance, enum channel_id channel,
                 double value)
{
    struct origin origin;
    memset(&origin, 0, sizeof origin);
    origin.place = (uint8_t)place;
    origin.instance = (uint8_t)instance;
    const struct value values = {(uint16_t)channel, value};
    turning_readings(&turning, (int64_t)(at * 1e9), &origin, &values, 1);
}

static void speed(double at, unsigned engine, double rpm)
{
    hear(at, PLACE_ENGINE, engine, CHANNEL_ENGINE_SPEED, rpm);
}

static void begin(void)
{
    memset(&turning, 0, sizeof turning);
    turning.above = 100;
}

static double still(double now)
{
    int64_t ns = turning_still(&turning, (int64_t)(now * 1e9));
    return ns == INT64_MAX ? -1 : (double)ns / 1e9;
}

static void test_two_readings(void **state)
{
    (void)state;
    begin();
    assert_float_equal(still(5), -1, 0);
    speed(10, 0, 800); /* one alone may be a disturbance */
    assert_float_equal(still(10), -1, 0);
    speed(11, 0, 0);
    speed(12, 0, 800);
    assert_float_equal(still(12), -1, 0);
    speed(13, 0, 800);
    assert_float_equal(still(13), 0, 0);
    assert_float_equal(still(20), 7, 1e-9);
    speed(21, 0, 100); /* not above */
    assert_float_equal(still(21), 8, 1e-9);
}

static void test_slow_talker(void **state)
{
    (void)state;
    begin();
    speed(0, 0, 800);
    speed(31, 0, 800); /* too far apart */
    assert_float_equal(still(31), -1, 0);
    speed(60, 0, 800);
    assert_float_equal(still(60), 0, 0);
}

static void test_any_engine(void **state)
{
    (void)state;
    begin();
    speed(0, 0, 800);
    speed(1, 1, 800); /* another one: neither is confirmed */
    assert_float_equal(still(1), -1, 0);
    speed(2, 1, 800);
    speed(3, 0, 0);
    assert_float_equal(still(3), 1, 1e-9);
}

static void test_other_readings(void **state)
{
    (void)state;
    begin();
    for (int i = 0; i < 5; i++) {
        hear(i, PLACE_ENGINE, 0, CHANNEL_COOLANT_TEMPERATURE, 500);
        hear(i, PLACE_VESSEL, 0, CHANNEL_SEA_TEMPERATURE, 500);
        hear(i, PLACE_ENGINE, INSTANCE_MAX, CHANNEL_ENGINE_SPEED, 800);
        hear(i, PLACE_ENGINE, 0, CHANNEL_ENGINE_SPEED, -800);
    }
    assert_float_equal(still(9), -1, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_two_readings),
        cmocka_unit_test(test_slow_talker),
        cmocka_unit_test(test_any_engine),
        cmocka_unit_test(test_other_readings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
