/* test_import.c - files of other loggers: the map of columns, times in every form, what is refused.
 * Instants: the same by `date -u -d`. Days of spreadsheets: 25569 is 1970-01-01 (ECMA-376, part 1,
 * 18.17.4.1, the 1900 date system). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "../../logger/import.h"
#include "near.h"

static struct tabled table;
static char told[20000];

static void keep(void *self, enum say_level level, const char *text)
{
    (void)self;
    size_t length = strlen(told);
    snprintf(told + length, sizeof told - length, "%d %s\n", (int)level, text);
}

static enum status read_with(const char *map_text, const char *text, struct complaint *complaint)
{
    const struct remarks remarks = {keep, NULL, "log.csv"};
    static struct import_map map;
    tabled_free(&table);
    told[0] = '\0';
    enum status status = import_map_read(map_text, &map, complaint);
    return status == STATUS_OK ? import_read(text, strlen(text), &map, &remarks, &table, complaint)
                               : status;
}

static void read_well(const char *map, const char *text)
{
    struct complaint complaint = {""};
    if (read_with(map, text, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
}

static void must_refuse(const char *map, const char *text, enum status expected, const char *words)
{
    struct complaint complaint = {""};
    assert_int_equal(read_with(map, text, &complaint), expected);
    if (!strstr(complaint.text, words))
        fail_msg("\"%s\" is not in \"%s\"", words, complaint.text);
}

static void must_tell(const char *words)
{
    if (!strstr(told, words))
        fail_msg("\"%s\" was not told, but:\n%s", words, told);
}

static double cell(size_t row, size_t column)
{
    assert_true(row < table.row_count && column < table.column_count);
    return table.values[row * table.column_count + column];
}

#define T "; coolant_temperature[C]=T"

static void test_columns(void **state)
{
    (void)state;
    read_well("time=Time; coolant_temperature[F]=T 1 +- 1.8; engine1.coolant_temperature[C]=#3;"
              "sea_temperature[C] = Sea",
              "Time,T 1,x,Sea\n2026-11-25T10:15:00Z,180,82.5,16\n");
    assert_int_equal(table.column_count, 3);
    assert_near(cell(0, 0), 82.2222, 1e-4);
    assert_near(cell(0, 1), 82.5, 0);
    assert_near(cell(0, 2), 16, 0);
    assert_int_equal(table.columns[1].origin.instance, 1);
    assert_int_equal(table.columns[2].origin.place, PLACE_VESSEL);
    assert_string_equal(table.columns[0].origin.label, "T 1");
    assert_near(table.columns[0].accuracy.instrument_u, 1 / sqrt(3.0), 1e-9);
    assert_false(table.columns[0].accuracy.by_hand);
}

/* Columns of one quantity whose names are equal once they are cut to plain letters. */
static void test_columns_alike(void **state)
{
    (void)state;
    read_well("time=t; coolant_temperature[C]=Ä; coolant_temperature[C]=Ö; sea_temperature[C]=Ü;"
              "engine1.coolant_temperature[C]=É",
              "t,Ä,Ö,Ü,É\n2026-11-25 10:00:00,60,90,16,70\n");
    assert_string_equal(table.columns[0].origin.label, "__");
    assert_string_equal(table.columns[1].origin.label, "__ 2");
    assert_string_equal(table.columns[2].origin.label, "__"); /* another quantity, */
    assert_string_equal(table.columns[3].origin.label, "__"); /* another engine */
    must_tell("2 log.csv: column \"Ö\" for coolant_temperature is called \"__ 2\" in the run: "
              "\"__\" is another one of it");
    const char *const stem = "Temperature of the coolant at the housing"; /* 41 letters */
    char map[400], text[400];
    snprintf(map, sizeof map,
             "time=t; coolant_temperature[C]=%s, in; coolant_temperature[C]=%s, out;"
             "coolant_temperature[C]=%s",
             stem, stem, stem);
    snprintf(text, sizeof text, "t;%s, in;%s, out;%s\n2026-11-25 10:00:00;60;90;75\n", stem, stem,
             stem);
    read_well(map, text);
    for (size_t i = 0; i < 3; i++)
        for (size_t k = 0; k < i; k++)
            assert_memory_not_equal(&table.columns[i].origin, &table.columns[k].origin,
                                    sizeof(struct origin));
    assert_string_equal(table.columns[2].origin.label, "Temperature of the coolant at t 3");
}

static void expect_time(const char *map, const char *names, const char *entries, int64_t unix_s)
{
    char text[200];
    snprintf(text, sizeof text, "%s,T\n%s,80\n", names, entries);
    read_well(map, text);
    assert_int_equal(table.rows[0].unix_us, unix_s * 1000000);
}

static void test_times(void **state)
{
    (void)state;
    const int64_t at = 1795601700; /* 2026-11-25 10:15:00 UTC */
    expect_time("time=t" T, "t", "2026-11-25T10:15:00Z", at);
    expect_time("time=t" T, "t", "2026-11-25 10:15", at);
    expect_time("time=t; zone=+02:00" T, "t", "25.11.2026 12:15:00", at);
    expect_time("time=t; zone=+02:00" T, "t", "2026-11-25T10:15:00Z", at); /* its own zone wins */
    expect_time("date=d; time=t" T, "d,t", "2026-11-25,10:15", at);
    expect_time("date=d; time=t; dates=month/day/year" T, "d,t", "11/25/2026,10:15:00 AM", at);
    expect_time("date=d; time=t; dates=day/month/year" T, "d,t", "25/11/2026,10:15", at);
    expect_time("time=t; dates=month/day/year" T, "t", "11/25/2026 10:15", at);
    expect_time("time[s]=t; start=2026-11-25 10:00" T, "t", "900", at);
    expect_time("time[min]=t; start=2026-11-25 12:00 +02:00" T, "t", "15", at);
    expect_time("time[ms]=t; start=2026-11-25 10:00" T, "t", "900000", at);
    expect_time("time[unix]=t" T, "t", "1795601700", at);
    expect_time("time[spreadsheet]=t" T, "t", "46351.427083333333", at);
}

static void test_layouts(void **state)
{
    (void)state;
    read_well("skip=2; time=Zeit" T "; missing=OL",
              "Logger 7\n10 s\nZeit;T\n2026-11-25 10:00:00;70,5\n2026-11-25 10:00:10;OL\n"
              "2026-11-25 10:00:20;NaN\n2026-11-25 10:00:30;71\n");
    assert_near(cell(0, 0), 70.5, 0);
    assert_true(isnan(cell(1, 0)));
    assert_int_equal(table.tally.line[REASON_NOT_AVAILABLE].count, 2);
    read_well("names=no; time=#1; coolant_temperature[C]=#2; separator=tab; decimal=point",
              "2026-11-25 10:00:00\t70.5\n");
    assert_near(cell(0, 0), 70.5, 0);
    assert_string_equal(table.columns[0].origin.label, "column 2");
}

/* "1.200" may be 1200: with a decimal comma a point is no mark, and both in one file are told. */
static void test_decimal_marks(void **state)
{
    (void)state;
    static const char text[] = "Zeit;n;T\n2026-11-25 10:00:00;950;60,5\n"
                               "2026-11-25 10:00:10;1.200;62\n2026-11-25 10:00:20;1800,5;62.5\n";
    static const char map[] = "time=Zeit; engine_speed=n; coolant_temperature[C]=T";
    char with[100];
    read_well(map, text);
    must_tell("1 log.csv: some numbers have a point (line 3: 1.200) and some a comma (line 2: "
              "60,5), and both were taken as decimal marks. If one of them parts thousands that is "
              "wrong: write decimal = comma or decimal = point into the map");
    snprintf(with, sizeof with, "%s; decimal=comma", map);
    read_well(with, text);
    must_tell("log.csv:3: \"1.200\" for engine_speed is no number with a decimal comma, as the map "
              "wants it, and was left out");
    must_tell("log.csv:4: \"62.5\" for coolant_temperature is no number");
    assert_true(isnan(cell(1, 0)) && isnan(cell(2, 1)));
    assert_near(cell(2, 0), 1800.5, 0);
    assert_null(strstr(told, "both"));
    snprintf(with, sizeof with, "%s; decimal=point", map);
    read_well(with, text);
    must_tell("log.csv:2: \"60,5\" for coolant_temperature is no number");
    assert_near(cell(2, 1), 62.5, 0);
    assert_null(strstr(told, "both"));
    read_well(map, "Zeit;n;T\n2026-11-25 10:00:00.5;950;60.5\n"); /* points alone are no doubt */
    assert_string_equal(told, "");
    /* As numbers of time. */
    read_well("time[s]=t; start=2026-11-25 10:00; decimal=comma" T, "t;T\n0,5;80\n1.000;81\n");
    must_tell("\"1.000\" is no time");
    assert_int_equal(table.row_count, 1);
}

static void test_order_and_interval(void **state)
{
    (void)state;
    read_well("time[s]=t; start=2026-11-25 10:00" T, "t,T\n40,3\n0,1\n20,2\n60,4\n80,5\n");
    for (size_t i = 0; i < 5; i++)
        assert_near(cell(i, 0), (double)(i + 1), 0);
    assert_near(table.columns[0].accuracy.interval, 20, 1e-9);
}

static void test_left_out(void **state)
{
    (void)state;
    read_well("time=t" T, "t,T\n2026-11-25 10:00,80\nlater,81\n2026-11-25 10:01,hot\n"
                          "2026-11-25 10:02,999\n11/12/2026 10:00,80\n");
    must_tell("log.csv:3: \"later\" is no time");
    must_tell("log.csv:4: \"hot\" for coolant_temperature is no number");
    must_tell("log.csv:5: 999 under \"coolant_temperature [°C]\" cannot be believed");
    must_tell("log.csv:6: \"11/12/2026 10:00\" is no time that can be read in one way only");
    assert_int_equal(table.tally.line[REASON_BAD_ROW].count, 2);
    assert_int_equal(table.tally.line[REASON_ROWS].count, 3);
}

/* A day that is written once counts on; no day is made up. Instants: by date -u -d. */
static void test_day_written_once(void **state)
{
    (void)state;
    const int64_t day = 1795564800; /* 2026-11-25 */
    read_well("date=d; time=t" T, "d,t,T\n25.11.2026,23:59:50,80\n,23:59:55,80\n-,00:00:05,81\n"
                                  ",23:59:58,81\n,00:00:10,81\n2026-11-28,10:00,82\n,10:01,83\n");
    static const int at[] = {86390, 86395, 86398, 86405, 86410, 295200, 295260};
    assert_int_equal(table.row_count, 7);
    for (size_t i = 0; i < 7; i++)
        assert_int_equal(table.rows[i].unix_us / 1000000 - day, at[i]);
    must_tell("2 log.csv:4: 00:00:05 is taken as past midnight, of the day after the row above");
    read_well("time=t; zone=+02:00" T, "t,T\n2026-11-25 12:15,80\n12:16,81\n10:17Z,82\n");
    for (int i = 0; i < 3; i++)
        assert_int_equal(table.rows[i].unix_us / 1000000 - day, 36900 + 60 * i);
    /* Before the first day, and behind one that cannot be read. */
    read_well("date=d; time=t" T, "d,t,T\n,10:00,80\n2026-11-25,10:01,81\n25.11.26,10:02,82\n"
                                  ",10:03,83\n2026-11-25,,84\n,10:05,85\n");
    must_tell("1 log.csv:2: \"10:00\" has no date, and none that can be read stands above it");
    must_tell("1 log.csv:4: \"25.11.26 10:02\" is no time that can be read in one way only");
    must_tell("1 log.csv:5: \"10:03\" has no date");
    must_tell("1 log.csv:6: \"2026-11-25 \" is no time");
    assert_int_equal(table.tally.line[REASON_BAD_ROW].count, 4);
    assert_int_equal(table.row_count, 2);
    read_well("time=t" T, "t,T\n2026-11-25 10:00,80\n25.11.26 10:01,81\n10:02,82\n");
    must_tell("1 log.csv:4: \"10:02\" has no date");
    assert_int_equal(table.row_count, 1);
}

/* Decimal commas between commas: no value behind them is what was written. */
static void test_too_many_cells(void **state)
{
    (void)state;
    must_refuse("time=t; sea_temperature[C]=S" T,
                "t,S,T\n2026-11-25 10:00,16,71\n"
                "2026-11-25 10:01,16,5,71,3\n",
                STATUS_BAD_DATA, "log.csv:3: this row has 5 cells and there are 3 columns");
    must_refuse("time=t" T, "t,T,\n2026-11-25 10:00,71,5\n", STATUS_BAD_DATA, "write 16.5");
    must_refuse("names=no; time=#1; coolant_temperature[C]=#2",
                "2026-11-25 10:00,71,,\n2026-11-25 10:01,71,5,16,5\n", STATUS_BAD_DATA,
                "log.csv:2: this row has 5 cells and there are 4 columns");
    /* Quoted, empty, of a row that is none, and named by number. */
    read_well("time=t" T, "t,T\n2026-11-25 10:00,\"71.5\",,\nEnd,of,file\n");
    assert_near(cell(0, 0), 71.5, 0);
    read_well("time=t; coolant_temperature[C]=#3", "t,T\n2026-11-25 10:00,16,71\n");
    assert_near(cell(0, 0), 71, 0);
}

static void test_bad_maps(void **state)
{
    (void)state;
    static const struct {
        const char *map, *words;
    } bad[] = {
        {"", "which column is the time?"},
        {"time=t", "no channel is named"},
        {"coolant_temperature[C]=T", "which column is the time?"},
        {"time[s]=t" T, "start = 2026-11-25"},
        {"time[week]=t" T, "time[spreadsheet]"},
        {"time=t; coolant_temperature=T", "one of: °C, °F, K"},
        {"time=t; coolant_temperature[psi]=T", "one of: °C, °F, K"},
        {"time=t; kettle[C]=T", "\"kettle\" is not known"},
        {"time=t; engine999.coolant_temperature[C]=T", "is not known"},
        {"time=t; coolant_temperature[C]=", "the name of a column is wanted"},
        {"time=#0" T, "from #1"},
        {"time=t; coolant_temperature[C]=T +- much", "a number is wanted behind +-"},
        {"time=t; T", "KEY = COLUMN is wanted"},
        {"time=t; skip=-1" T, "a number of lines"},
        {"time=t; zone=CET" T, "as +02:00"},
        {"time=t; start=soon" T, "2026-11-25 10:15:00"},
        {"time=t; dates=any" T, "month/day/year, day/month/year"},
        {"time=t; separator=x" T, "comma, semicolon, tab"},
        {"time=t; names=x" T, "yes, no"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        must_refuse(bad[i].map, "t,T\n2026-11-25 10:00,80\n", STATUS_BAD_USAGE, bad[i].words);
    must_refuse("time=when" T, "t,T\n2026-11-25 10:00,80\n", STATUS_BAD_DATA,
                "there is no column \"when\"; there are: t; T");
    must_refuse("time=t" T, "t,T\n", STATUS_BAD_DATA, "no row could be taken");
}

/* A knot is 1852 m an hour; 1 bar is 100 kPa. */
static void test_units_not_named(void **state)
{
    (void)state;
    static const char text[] = "t,v,p,n,f\n2026-11-25 10:00,6,200,1800,20\n";
    read_well("time=t; speed_over_ground=v; oil_pressure=p; engine_speed=n; fuel_rate[L/h]=f",
              text);
    assert_near(cell(0, 0), 6, 0);
    must_tell(
        "the map names no unit for speed_over_ground (column \"v\"); its numbers are taken as "
        "m/s. Write the unit behind it, as speed_over_ground[m/s]; known are kn, m/s, km/h");
    must_tell("the map names no unit for oil_pressure");
    assert_null(strstr(told, "engine_speed"));
    assert_null(strstr(told, "fuel_rate"));
    read_well("time=t; speed_over_ground[kn]=v; oil_pressure[bar]=p",
              "t,v,p\n2026-11-25 10:00,6,2\n");
    assert_near(cell(0, 0), 6 * 1852 / 3600.0, 1e-9);
    assert_near(cell(0, 1), 200, 0);
    assert_string_equal(told, "");
}

static int forget(void **state)
{
    (void)state;
    tabled_free(&table);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_columns),          cmocka_unit_test(test_times),
        cmocka_unit_test(test_layouts),          cmocka_unit_test(test_order_and_interval),
        cmocka_unit_test(test_left_out),         cmocka_unit_test(test_too_many_cells),
        cmocka_unit_test(test_bad_maps),         cmocka_unit_test(test_units_not_named),
        cmocka_unit_test(test_decimal_marks),    cmocka_unit_test(test_columns_alike),
        cmocka_unit_test(test_day_written_once),
    };
    return cmocka_run_group_tests(tests, NULL, forget);
}
