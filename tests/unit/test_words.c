/* Numbers as people read them. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "../../analyze/text.h"
#include "../../analyze/words.h"

static const struct style si = {UNITS_SI, false}, us = {UNITS_US, false}, comma = {UNITS_SI, true};

static struct interval around(double value, double half)
{
    return (struct interval){value, value - half, value + half};
}

/* JCGM 100:2008, 7.2.6: at most two digits of an uncertainty. */
static void rounds_to_what_the_interval_supports(void **state)
{
    (void)state;
    assert_int_equal(word_decimals(&si, UNIT_KELVIN, around(-11, 1.9)), 1);
    assert_int_equal(word_decimals(&si, UNIT_KELVIN, around(-11, 9.9)), 1);
    assert_int_equal(word_decimals(&si, UNIT_KELVIN, around(-31, 12)), 0);
    assert_int_equal(word_decimals(&si, UNIT_KPA, around(350, 0.42)), 2);
    assert_int_equal(word_decimals(&si, UNIT_KPA, around(350, 0.042)), 3);
    assert_int_equal(word_decimals(&si, UNIT_KPA, around(350, 140)), 0);
}

static void never_shows_hundredths_of_a_degree_for_nothing(void **state)
{
    (void)state;
    assert_int_equal(word_decimals(&si, UNIT_DEGC, around(82, 0.05)), 1);
    assert_int_equal(word_decimals(&si, UNIT_KELVIN, around(-3, 0.2)), 1);
}

/* A limit below zero must not look like zero: the finding hangs on it. */
static void keeps_a_limit_from_rounding_to_zero(void **state)
{
    (void)state;
    struct interval change = {-0.3, -0.58, -0.02};
    int decimals = word_decimals(&si, UNIT_KELVIN, change);
    assert_int_equal(decimals, 2);
    assert_string_equal(word_range(&si, UNIT_KELVIN, change, decimals, true).s, "−0.58 to −0.02");
    struct interval closer = {-0.3, -0.6, -0.001};
    assert_string_equal(
        word_range(&si, UNIT_KELVIN, closer, word_decimals(&si, UNIT_KELVIN, closer), true).s,
        "−0.600 to −0.001");
    struct interval percent = {1, -0.4, 2};
    assert_int_equal(word_limit_decimals(percent, 0), 1);
    assert_int_equal(word_limit_decimals((struct interval){1, 0, 2}, 0), 0);
    assert_int_equal(word_limit_decimals((struct interval){1, -1e-9, 2}, 0), 2);
}

/* A cause that costs little costs something. */
static void small_is_not_nothing(void **state)
{
    (void)state;
    assert_string_equal(word_small(&si, UNIT_KELVIN, 0.04, 1).s, "under 0.1");
    assert_string_equal(word_small(&comma, UNIT_KELVIN, 0.004, 2).s, "under 0,01");
    assert_string_equal(word_small(&us, UNIT_KELVIN, 0.04, 1).s, "0.1");
    assert_string_equal(word_small(&si, UNIT_KELVIN, 0, 1).s, "0.0");
    assert_string_equal(word_share(&si, 0.0003).s, "under 0.1\u00a0%");
    assert_string_equal(word_share(&si, 0).s, "0.0\u00a0%");
}

static void unknown_intervals_get_one_decimal(void **state)
{
    (void)state;
    assert_int_equal(word_decimals(&si, UNIT_KELVIN, (struct interval){NAN, NAN, NAN}), 1);
    assert_int_equal(word_decimals(&si, UNIT_KELVIN, around(1, 0)), 1);
}

static void differences_convert_without_the_32(void **state)
{
    (void)state;
    assert_string_equal(word_change(&us, UNIT_KELVIN, -10, 1).s, "−18.0\u00a0°F");
    assert_string_equal(word_change(&si, UNIT_KELVIN, 0.4, 1).s, "+0.4\u00a0K");
    assert_string_equal(word_quantity(&us, UNIT_DEGC, 100, 0).s, "212\u00a0°F");
    assert_int_equal(word_difference_unit(UNIT_DEGC), UNIT_KELVIN);
    assert_int_equal(word_difference_unit(UNIT_KPA), UNIT_KPA);
}

static void writes_signs_and_zero(void **state)
{
    (void)state;
    assert_string_equal(word_number(&si, -0.04, 1).s, "0.0");
    assert_string_equal(word_signed(&si, 0.04, 1).s, "0.0");
    assert_string_equal(word_signed(&si, 0.06, 1).s, "+0.1");
    assert_string_equal(word_number(&si, -12.34, 1).s, "−12.3");
    assert_string_equal(word_number(&comma, -12.34, 1).s, "−12,3");
    assert_string_equal(word_number(&si, NAN, 1).s, WORD_NONE);
    assert_string_equal(word_number(&si, INFINITY, 1).s, WORD_NONE);
    assert_string_equal(word_quantity(&si, UNIT_DEGC, NAN, 1).s, WORD_NONE);
    assert_string_equal(word_number(&si, 1e300, 3).s, "1e+300");
}

static void writes_levels_and_shares(void **state)
{
    (void)state;
    assert_string_equal(word_level(&si, 0.95).s, "95\u00a0%");
    assert_string_equal(word_level(&si, 0.999).s, "99.9\u00a0%");
    assert_string_equal(word_level(&comma, 0.9999).s, "99,99\u00a0%");
    assert_string_equal(word_share(&si, 0.244).s, "24\u00a0%");
    assert_string_equal(word_share(&si, 0.004).s, "0.4\u00a0%");
}

static void writes_times(void **state)
{
    (void)state;
    assert_string_equal(word_duration(75).s, "75\u00a0s");
    assert_string_equal(word_duration(2400).s, "40\u00a0min");
    assert_string_equal(word_duration(3599).s, "1\u00a0h\u00a000\u00a0min");
    assert_string_equal(word_duration(3900).s, "1\u00a0h\u00a005\u00a0min");
    assert_string_equal(word_duration(47.9 * 3600).s, "47\u00a0h\u00a054\u00a0min");
    assert_string_equal(word_duration(48 * 3600).s, "2\u00a0days");
    assert_string_equal(word_duration(53 * 3600).s, "2\u00a0days\u00a05\u00a0h");
    assert_string_equal(word_duration(173.4 * 86400).s, "173\u00a0days");
    assert_string_equal(word_duration(NAN).s, WORD_NONE);
    assert_string_equal(word_clock(3725.4).s, "1:02:05");
    assert_string_equal(word_clock(-3).s, "−0:00:03");
}

/* 1778752320 is 2026-05-14 09:52:00 UTC (date -u -d @1778752320). */
static void writes_dates(void **state)
{
    (void)state;
    const int64_t at = INT64_C(1778752320250000);
    assert_string_equal(word_date(at).s, "2026-05-14");
    assert_string_equal(word_time(at).s, "2026-05-14 09:52\u00a0UTC");
    assert_string_equal(word_iso(at).s, "2026-05-14T09:52:00.250000Z");
    assert_string_equal(word_iso(-1).s, "1969-12-31T23:59:59.999999Z");
    assert_string_equal(word_date(INT64_MAX).s, WORD_NONE);
    assert_string_equal(word_time(INT64_MIN).s, WORD_NONE);
}

static void prose(const struct style *style, const char *words, const char *expected)
{
    struct text text = {0};
    word_prose(&text, style, words);
    assert_string_equal(text_string(&text), expected);
    text_free(&text);
}

static void converts_prose(void **state)
{
    (void)state;
    prose(&us, "At 2800 rpm and 20 °C sea", "At 2800 rpm and 68\u00a0°F sea");
    prose(&us, "from 92.0 to 81.2 °C: a change of −10.8 K (95 % interval −12.9 to −8.7 K).",
          "from 197.6 to 178.2\u00a0°F: a change of −19.4\u00a0°F (95 % interval −23.2 to "
          "−15.7\u00a0°F).");
    prose(&us, "opens at 71, 82 °C", "opens at 160, 180\u00a0°F");
    prose(&us, "between 10 and 20 °C", "between 50 and 68\u00a0°F");
    prose(&us, "engines 0 and 20 °C", "engines 0 and 68\u00a0°F");
    prose(&us, "costs 0.5 K.", "costs 0.9\u00a0°F.");
    prose(&us, "oil at 300 kPa", "oil at 44\u00a0psi");
    prose(&comma, "costs 0.5 K.", "costs 0,5\u00a0K.");
    prose(&comma, "0.84 times as much (0.77 to 0.92), by 0.1.0 and 0.5.",
          "0,84 times as much (0,77 to 0,92), by 0.1.0 and 0,5.");
}

static void leaves_other_prose_alone(void **state)
{
    (void)state;
    prose(&us, "0.15 K per K", "0.15 K per K");
    prose(&us, "JCGM 100:2008 Knots 5 Knots", "JCGM 100:2008 Knots 5 Knots");
    prose(&us, "noted as \"alarm at 95 °C\" by hand", "noted as \"alarm at 95 °C\" by hand");
    prose(&us, "PGN 127489, 2 % and 3 h", "PGN 127489, 2 % and 3 h");
    prose(&us, "", "");
    prose(&us, "before.h5 K", "before.h5 K");
    prose(&si, "20\n°C", "20\u00a0°C");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rounds_to_what_the_interval_supports),
        cmocka_unit_test(never_shows_hundredths_of_a_degree_for_nothing),
        cmocka_unit_test(keeps_a_limit_from_rounding_to_zero),
        cmocka_unit_test(small_is_not_nothing),
        cmocka_unit_test(unknown_intervals_get_one_decimal),
        cmocka_unit_test(differences_convert_without_the_32),
        cmocka_unit_test(writes_signs_and_zero),
        cmocka_unit_test(writes_levels_and_shares),
        cmocka_unit_test(writes_times),
        cmocka_unit_test(writes_dates),
        cmocka_unit_test(converts_prose),
        cmocka_unit_test(leaves_other_prose_alone),
    };
    return cmocka_run_group_tests_name("words", tests, NULL, NULL);
}
