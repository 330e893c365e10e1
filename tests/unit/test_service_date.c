/* test_service_date.c - dates as people write them: what can be read in one way only, and what
 * cannot. Days since 1970 are reckoned by hand: 2017-07-13 is 47 years of 365 days, 12 leap days
 * and 193 days, 17360; 2026-05-04 is 56 years, 14 leap days and 123 days, 20577. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "../../analyze/service_date.h"

#define DAY INT64_C(86400)
#define JULY_13 (17360 * DAY)

static struct service_date read_as(const char *text, enum date_order order)
{
    struct service_date date;
    struct complaint complaint = {""};
    if (service_date_read(text, order, &date, &complaint) != STATUS_OK)
        fail_msg("%s: %s", text, complaint.text);
    return date;
}

static void one_day_in_many_ways(void **state)
{
    (void)state;
    static const char *const ways[] = {"2017-07-13",
                                       "2017-7-13",
                                       "2017/07/13",
                                       "2017.07.13",
                                       "13.07.2017",
                                       "13.7.2017",
                                       "13/7/2017",
                                       "13-07-2017",
                                       "7/13/2017",
                                       "07-13-2017",
                                       "13 July 2017",
                                       "13 jul 2017",
                                       "13. July 2017",
                                       "13-Jul-2017",
                                       "13/Jul/2017",
                                       "July 13, 2017",
                                       "Jul 13 2017",
                                       "July 13th, 2017",
                                       "13th July 2017",
                                       "Thursday, 13 July 2017",
                                       "Thu 13 Jul 2017",
                                       "2017-Jul-13",
                                       "Thursday, July 13, 2017",
                                       "2017-07-13 00:00:00",
                                       "7/13/2017 12:00:00 AM"};
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
        struct service_date date = read_as(ways[i], DATE_ORDER_OPEN);
        if (date.at != JULY_13 || !date.day_only || date.by_order)
            fail_msg("%s: %lld", ways[i], (long long)date.at);
    }
}

static void a_time_of_day_may_follow(void **state)
{
    (void)state;
    static const char *const ways[] = {"2017-07-13T15:30Z",  "2017-07-13 15:30",
                                       "13.7.2017 15:30:00", "7/13/2017 3:30 PM",
                                       "7/13/2017, 3:30PM",  "13 July 2017 15:30Z"};
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
        struct service_date date = read_as(ways[i], DATE_ORDER_OPEN);
        if (date.at != JULY_13 + 15 * 3600 + 1800 || date.day_only)
            fail_msg("%s: %lld", ways[i], (long long)date.at);
    }
    assert_int_equal(read_as("7/13/2017 12:15 PM", DATE_ORDER_OPEN).at, JULY_13 + 12 * 3600 + 900);
}

static void an_open_order_is_settled_by_the_file(void **state)
{
    (void)state;
    struct service_date date = read_as("4.5.2026", DATE_DAY_FIRST);
    assert_int_equal(date.at, 20577 * DAY);
    assert_true(date.by_order);
    date = read_as("5/4/2026", DATE_MONTH_FIRST);
    assert_int_equal(date.at, 20577 * DAY);
    assert_true(date.by_order);
    /* What shows its order keeps it, and 5/5 has none. */
    assert_int_equal(read_as("13.7.2017", DATE_MONTH_FIRST).at, JULY_13);
    assert_int_equal(read_as("5.5.2026", DATE_ORDER_OPEN).at, 20578 * DAY);
    assert_false(read_as("5.5.2026", DATE_ORDER_OPEN).by_order);
    assert_int_equal(service_date_shows("13.7.2017"), DATE_DAY_FIRST);
    assert_int_equal(service_date_shows("7/13/2017"), DATE_MONTH_FIRST);
    static const char *const open[] = {"4.5.2026", "5.5.2026", "2026-05-14", "14 May 2026",
                                       "",         "x",        "14.14.2026"};
    for (size_t i = 0; i < sizeof open / sizeof open[0]; i++)
        assert_int_equal(service_date_shows(open[i]), DATE_ORDER_OPEN);
}

static void what_may_be_two_days_is_none(void **state)
{
    (void)state;
    static const char *const bad[] = {"4.5.2026",
                                      "05/04/2026",
                                      "13.07.17",
                                      "17-07-13",
                                      "14.14.2026",
                                      "30.2.2026",
                                      "2026-02-30",
                                      "2026-13-01",
                                      "2026-00-10",
                                      "0.5.2026",
                                      "13 Juillet",
                                      "13 Ju 2017",
                                      "2026",
                                      "2026-05",
                                      "42929",
                                      "13.7.2017x",
                                      "13.7.2017 25:00",
                                      "2026-05-14T15:30+02:00",
                                      "1949-12-31",
                                      "2200-01-01",
                                      "7/13/2017 13:00 PM",
                                      "13..--..7.2017",
                                      "",
                                      "today",
                                      "99999-01-01",
                                      "-1.5.2026"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct service_date date;
        struct complaint complaint = {""};
        if (service_date_read(bad[i], DATE_ORDER_OPEN, &date, &complaint) != STATUS_BAD_DATA)
            fail_msg("%s was read", bad[i]);
        assert_non_null(strstr(complaint.text, "write "));
    }
    struct service_date date;
    struct complaint complaint = {""};
    service_date_read("4.5.2026", DATE_ORDER_OPEN, &date, &complaint);
    assert_non_null(strstr(complaint.text, "write 2026-05-04 if 4 May is meant, or 2026-04-05 if "
                                           "it is 5 April"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(one_day_in_many_ways),
                                       cmocka_unit_test(a_time_of_day_may_follow),
                                       cmocka_unit_test(an_open_order_is_settled_by_the_file),
                                       cmocka_unit_test(what_may_be_two_days_is_none)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
