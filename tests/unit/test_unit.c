/* test_unit.c - units and their conversions. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "unit.h"

static void every_unit_has_its_words(void **state)
{
    (void)state;
    for (int unit = 0; unit < UNIT_COUNT; unit++) {
        assert_true(strlen(unit_udunits((enum unit)unit)) > 0);
        assert_non_null(unit_symbol((enum unit)unit, UNITS_SI));
        assert_non_null(unit_symbol((enum unit)unit, UNITS_US));
        if (unit != UNIT_ONE)
            assert_true(strlen(unit_symbol((enum unit)unit, UNITS_SI)) > 0);
    }
}

static void close_to(double value, double wanted, double relative)
{
    double off = value - wanted;
    double most = relative * (wanted < 0 ? -wanted : wanted) + 1e-12;
    assert_true(off <= most && off >= -most);
}

/* Factors: NIST Special Publication 811 (2008), appendix B.8, given there to seven digits or
 * exactly: psi to kPa 6.894757, gallon (US) to L 3.785412, foot to m 0.3048, knot to m/s 0.5144444,
 * pound-force to N 4.448222; degree Fahrenheit to degree Celsius (F - 32)/1.8. */
static void converts_as_the_standards_say(void **state)
{
    (void)state;
    close_to(unit_shown(6.894757, UNIT_KPA, UNITS_US), 1.0, 1e-7);
    close_to(unit_shown(3.785412, UNIT_LITRE, UNITS_US), 1.0, 1e-7);
    close_to(unit_shown(3.785412, UNIT_LITRE_PER_HOUR, UNITS_US), 1.0, 1e-7);
    close_to(unit_shown(0.3048, UNIT_METRE, UNITS_US), 1.0, 1e-15);
    close_to(unit_shown(0.5144444, UNIT_METRE_PER_SECOND, UNITS_US), 1.0, 1e-7);
    close_to(unit_shown(0.5144444, UNIT_METRE_PER_SECOND, UNITS_SI), 1.0, 1e-7);
    close_to(unit_shown(4.448222, UNIT_NEWTON, UNITS_US), 1.0, 1e-7);
    close_to(unit_shown(100.0, UNIT_DEGC, UNITS_US), 212.0, 1e-15);
    close_to(unit_shown(-40.0, UNIT_DEGC, UNITS_US), -40.0, 1e-15);
}

/* 10 K warmer is 18 degrees Fahrenheit warmer, without the 32. */
static void differences_have_no_offset(void **state)
{
    (void)state;
    close_to(unit_shown(10.0, UNIT_KELVIN, UNITS_US), 18.0, 1e-15);
    assert_string_equal(unit_symbol(UNIT_KELVIN, UNITS_US), "°F");
    assert_string_equal(unit_symbol(UNIT_KELVIN, UNITS_SI), "K");
}

static void si_shows_what_is_stored(void **state)
{
    (void)state;
    for (int unit = 0; unit < UNIT_COUNT; unit++)
        if (unit != UNIT_METRE_PER_SECOND)
            assert_true(unit_shown(12.34, (enum unit)unit, UNITS_SI) == 12.34);
}

static void writes_units_as_udunits_knows_them(void **state)
{
    (void)state;
    assert_string_equal(unit_udunits(UNIT_DEGC), "degC");
    assert_string_equal(unit_udunits(UNIT_ONE), "1");
    assert_string_equal(unit_udunits(UNIT_RPM), "rpm");
    assert_string_equal(unit_udunits(UNIT_DEGREE_NORTH), "degrees_north");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_unit_has_its_words),
        cmocka_unit_test(converts_as_the_standards_say),
        cmocka_unit_test(differences_have_no_offset),
        cmocka_unit_test(si_shows_what_is_stored),
        cmocka_unit_test(writes_units_as_udunits_knows_them),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
