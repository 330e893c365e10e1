/* test_sheet.c - sheets filled in by hand: what is taken, what is refused with which words, and
 * what is stated of the instruments.
 *
 * Standard uncertainties of stated limits: half-width over the root of three (JCGM 100:2008,
 * 4.3.7). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "../../logger/sheet.h"
#include "near.h"

static struct tabled table;
static char told[20000];

static void keep(void *self, enum say_level level, const char *text)
{
    (void)self;
    size_t length = strlen(told);
    snprintf(told + length, sizeof told - length, "%d %s\n", (int)level, text);
}

static enum status read_text(const char *text, struct complaint *complaint)
{
    const struct remarks remarks = {keep, NULL, "a.csv"};
    tabled_free(&table);
    told[0] = '\0';
    return sheet_read(text, strlen(text), &remarks, &table, complaint);
}

static void read_well(const char *text)
{
    struct complaint complaint = {""};
    if (read_text(text, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
}

static void must_tell(const char *words)
{
    if (!strstr(told, words))
        fail_msg("\"%s\" was not told, but:\n%s", words, told);
}

static void must_refuse(const char *text, const char *words)
{
    struct complaint complaint = {""};
    assert_int_equal(read_text(text, &complaint), STATUS_BAD_DATA);
    if (!strstr(complaint.text, words))
        fail_msg("\"%s\" is not in \"%s\"", words, complaint.text);
}

static const struct tabled_column *column(enum channel_id channel, unsigned engine, size_t *index)
{
    for (size_t i = 0; i < table.column_count; i++)
        if (table.columns[i].channel == channel && table.columns[i].origin.instance == engine) {
            *index = i;
            return &table.columns[i];
        }
    fail_msg("no column of %s", channel_get(channel)->key);
    return NULL;
}

static double cell(size_t row, enum channel_id channel, unsigned engine)
{
    size_t index = 0;
    column(channel, engine, &index);
    assert_true(row < table.row_count);
    return table.values[row * table.column_count + index];
}

#define HEAD "date,2026-11-25\ntime zone,UTC\nheld,5 min\n"
#define NAMES "time,rpm,gauge [°F],sea [°C],notes\n"

static void test_plain(void **state)
{
    (void)state;
    read_well("Sea trial sheet\nboat,Tern's Reach\nRated speed,2800\nPurpose of the run,Before\n"
              "thermostat (start and full),\"160, 180 °F\"\nfuel on board,half,\n" HEAD NAMES
              "10:05,1000,165,16.5,smooth\n10:10,1400,170,,\n\n# a remark\n");
    assert_int_equal(table.row_count, 2);
    assert_int_equal(table.rows[0].unix_us / 1000000, 1795601100); /* date -u -d, 10:05 */
    assert_int_equal(table.start_unix_us / 1000000, 1795600800);   /* held since 10:00 */
    assert_near(cell(0, CHANNEL_ENGINE_SPEED, 0), 1000, 0);
    assert_near(cell(0, CHANNEL_COOLANT_TEMPERATURE, 0), (165 - 32) / 1.8, 1e-9);
    assert_near(cell(1, CHANNEL_SPEED_HELD, 0), 300, 0);
    assert_true(isnan(cell(1, CHANNEL_SEA_TEMPERATURE, 0)));
    assert_string_equal(table.rows[0].note, "smooth");
    assert_string_equal(facts_get(&table.facts, FACT_BOAT, 0, "name"), "Tern's Reach");
    assert_string_equal(facts_get(&table.facts, FACT_ENGINE, 0, "rated_rpm"), "2800");
    assert_string_equal(facts_get(&table.facts, FACT_RUN, 0, "purpose"), "before service");
    assert_string_equal(facts_get(&table.facts, FACT_RUN, 0, "fuel_on_board"), "half");
    assert_string_equal(facts_get(&table.facts, FACT_ENGINE, 0, "coolant_sender"),
                        "read by hand: gauge");
    double start, full;
    assert_true(facts_pair(&table.facts, 0, "thermostat", &start, &full));
    assert_near(start, 71.1111, 1e-3);
    assert_near(full, 82.2222, 1e-3);
    assert_int_equal(table.tally.line[REASON_READINGS].count, 5);
    assert_int_equal(table.tally.line[REASON_ROWS].count, 2);
}

static void test_semicolons(void **state)
{
    (void)state;
    read_well("\xEF\xBB\xBF"
              "Datum;x\r\ndate;25.11.2026\r\ntime zone;+02:00\r\nengine started;11:40\r\n"
              "thermostat 1;71,5;82;°C\r\n\r\n"
              "Time;rpm 0;rpm 1;held [s];thermostat housing 1 (°C);raw water out 1 [°C]\r\n"
              "12:05;1000;1010;240;73,4;21,5\r\n");
    assert_near(cell(0, CHANNEL_COOLANT_TEMPERATURE, 1), 73.4, 1e-9);
    assert_near(cell(0, CHANNEL_RAW_WATER_OUT, 1), 21.5, 1e-9);
    assert_near(cell(0, CHANNEL_ENGINE_SPEED, 1), 1010, 0);
    assert_near(cell(0, CHANNEL_SPEED_HELD, 0), 240, 0);
    assert_int_equal(table.start_unix_us / 1000000, 1795599600); /* 11:40 at +02:00 */
    assert_string_equal(facts_get(&table.facts, FACT_ENGINE, 1, "thermostat"), "71.5, 82");
    must_tell("\"Datum\" is no line that is known");
    assert_string_equal(table.remarks[0].text, "Datum: x");
}

static void test_accuracy(void **state)
{
    (void)state;
    size_t i;
    read_well("gauge read to,2 °C\ngauge right to,± 4 °F\ngauge,the one on the flybridge\n"
              "emissivity,0.90\nemissivity right to,0.05\ninfrared thermometer right to,2 °C\n"
              "infrared thermometer repeats to,0.5 °C\ntachometer read to,25 rpm\n" HEAD
              "time,rpm,gauge [°C],thermostat housing [°C]\n10:05,1000,72,70.5\n");
    const struct accuracy *gauge = &column(CHANNEL_COOLANT_TEMPERATURE, 0, &i)->accuracy;
    assert_true(gauge->by_hand);
    assert_near(gauge->step, 2, 1e-9);
    assert_near(gauge->instrument_u, 4 / 1.8 / sqrt(3.0), 1e-9);
    assert_near(gauge->run_u, 0, 0);
    assert_string_equal(gauge->instrument, "the one on the flybridge");
    const struct accuracy *gun = &table.columns[i + 1].accuracy;
    assert_string_equal(table.columns[i + 1].origin.label, "infrared");
    assert_near(gun->reading_u, 0.5 / sqrt(3.0), 1e-9);
    assert_near(gun->instrument_u, 2 / sqrt(6.0), 1e-9);
    /* Emissivity, worked by hand: n = 14388 / (10 * 353.15) = 4.0742; (308.15 / 353.15)^n = 0.5738;
     * 353.15 / n * 0.4262 = 36.94 K for each 100 %; 0.05 / 0.9 / sqrt 3 of it is 1.185 K. */
    assert_near(gun->run_u, hypot(2 / sqrt(6.0), 1.185), 2e-3);
    assert_near(column(CHANNEL_ENGINE_SPEED, 0, &i)->accuracy.step, 25, 0);
}

/* A dial in degF is read to 5 degF: a number alone is in the unit of its column. */
static void test_accuracy_without_unit(void **state)
{
    (void)state;
    size_t i;
    read_well("gauge read to,5\ngauge right to,± 4\ngauge repeats to,1 °C\ntachometer read to,25\n"
              "sea thermometer read to,0.5\n" HEAD
              "time,rpm,gauge 0 [°F],gauge 1 [degF],sea [°C]\n10:05,1000,165,160,16\n");
    for (unsigned engine = 0; engine < 2; engine++) {
        const struct accuracy *gauge = &column(CHANNEL_COOLANT_TEMPERATURE, engine, &i)->accuracy;
        assert_near(gauge->step, 5 / 1.8, 1e-9);
        assert_near(gauge->instrument_u, 4 / 1.8 / sqrt(3.0), 1e-9);
        assert_near(gauge->reading_u, 1 / sqrt(3.0), 1e-9);
    }
    assert_near(column(CHANNEL_SEA_TEMPERATURE, 0, &i)->accuracy.step, 0.5, 1e-9);
    must_tell("2 a.csv:1: \"gauge read to,5\" names no unit; it is taken as °F, as the column "
              "\"gauge 0\" is. Write the unit behind it, as \"gauge read to,5 °F\"");
    must_tell("2 a.csv:2: \"gauge right to,4\" names no unit; it is taken as °F");
    must_tell("2 a.csv:5: \"sea thermometer read to,0.5\" names no unit; it is taken as °C");
    assert_null(strstr(told, "gauge 1"));
    assert_null(strstr(told, "repeats"));
    assert_null(strstr(told, "tachometer read to,"));
    /* Each column has its own; what is said last counts. */
    read_well("gauge read to,5\n" HEAD "time,rpm,gauge 0 [C],gauge 1 [F]\n10:05,1000,72,160\n");
    assert_near(column(CHANNEL_COOLANT_TEMPERATURE, 0, &i)->accuracy.step, 5, 1e-9);
    assert_near(column(CHANNEL_COOLANT_TEMPERATURE, 1, &i)->accuracy.step, 5 / 1.8, 1e-9);
    read_well("gauge read to,5\ngauge read to,2 K\n" HEAD "time,rpm,gauge [F]\n10:05,1000,160\n");
    assert_near(column(CHANNEL_COOLANT_TEMPERATURE, 0, &i)->accuracy.step, 2, 1e-9);
}

static void test_entries_left_out(void **state)
{
    (void)state;
    read_well(HEAD NAMES "10:05,\"1,800\",abc,16.5,\n10:10,1400,400,-,\nx,1,2,3,\n,1,2,3,\n"
                         "10:15,1800,180,16.5,,\n");
    must_tell("a.csv:5: \"1,800\" under rpm is not a number");
    must_tell("a.csv:5: \"abc\" under gauge [°F]");
    must_tell("a.csv:6: 400 under \"gauge [°F]\" cannot be believed and was left out: Coolant "
              "temperature is -40 to 150 °C. Is the unit right?");
    must_tell("a.csv:7: \"x\" is no time: the row was not taken");
    must_tell("a.csv:8: no time: the row was not taken");
    assert_int_equal(table.tally.line[REASON_NOT_A_NUMBER].count, 2);
    assert_int_equal(table.tally.line[REASON_OUT_OF_RANGE].count, 1);
    assert_int_equal(table.tally.line[REASON_BAD_ROW].count, 2);
    assert_int_equal(table.row_count, 3);
}

/* "#1" numbers a row; a remark has no time. */
static void test_numbered_rows(void **state)
{
    (void)state;
    read_well(HEAD "#,time,rpm,gauge [°F]\n#1,10:05,1000,165\n#2,10:11,1400,170\n"
                   "# warm now, wind drops,,\n#3,soon,1800,170\n#4,,,\n");
    assert_int_equal(table.row_count, 2);
    assert_near(cell(1, CHANNEL_ENGINE_SPEED, 0), 1400, 0);
    must_tell("2 a.csv:5: a row that begins with # (\"#1\") and has a time is taken as a reading");
    assert_null(strstr(told, "#2"));
    must_tell("1 a.csv:8: \"soon\" is no time: the row was not taken");
    assert_int_equal(table.tally.line[REASON_BAD_ROW].count, 1);
    read_well(HEAD NAMES "10:05,1000,165,,\n#10:11,1400,170,,\n#1017,1400,170,,\n");
    assert_int_equal(table.row_count, 1);
    assert_null(strstr(told, "begins with #"));
}

static void test_decimal_or_thousands(void **state)
{
    (void)state;
    read_well("date;2026-11-25\nheld;5\ntime;rpm;gauge [°C]\n10:05;1.800;82,5\n10:10;1,800;82.5\n");
    assert_true(isnan(cell(0, CHANNEL_ENGINE_SPEED, 0)));
    assert_true(isnan(cell(1, CHANNEL_ENGINE_SPEED, 0)));
    assert_near(cell(0, CHANNEL_COOLANT_TEMPERATURE, 0), 82.5, 0);
    assert_near(cell(1, CHANNEL_COOLANT_TEMPERATURE, 0), 82.5, 0);
    must_tell("Write it as 1800 or 82.5");
    read_well(HEAD NAMES "10:05,\"1,800 rpm\",165,,\n"); /* no clearer by its unit */
    assert_true(isnan(cell(0, CHANNEL_ENGINE_SPEED, 0)));
    must_tell("\"1,800 rpm\" under rpm is not a number");
    read_well(HEAD "time,rpm,gauge [°C]\n10:05,1800,\"82,5\"\n"); /* a comma within a cell */
    assert_near(cell(0, CHANNEL_COOLANT_TEMPERATURE, 0), 82.5, 0);
}

/* Units as people write them: behind the name without brackets, behind the number, and on the dial
 * of a tachometer. */
static void test_units_where_they_stand(void **state)
{
    (void)state;
    read_well(HEAD "time,rpm x100,gauge 1 °F,sea [°C]\n"
                   "10:05,18,160,62 °F\n");
    assert_near(cell(0, CHANNEL_ENGINE_SPEED, 0), 1800, 0);
    assert_near(cell(0, CHANNEL_COOLANT_TEMPERATURE, 1), (160 - 32) / 1.8, 1e-9);
    assert_near(cell(0, CHANNEL_SEA_TEMPERATURE, 0), 30 / 1.8, 1e-9);
    /* 1 kn = 1852 m/h (BIPM, The International System of Units, 8th edition, table 8) */
    read_well(HEAD "time,rpm,boat speed\n10:05,1800,7\n");
    assert_near(cell(0, CHANNEL_SPEED_OVER_GROUND, 0), 7 * 1852 / 3600.0, 1e-9);
}

/* 1 psi is 6.894757 kPa, 1 US gallon 3.785412 L (NIST SP 811, appendix B.8). */
static void test_units_not_written(void **state)
{
    (void)state;
    read_well(HEAD "time,rpm,gauge [F],oil pressure,fuel,boost 1,load,boat speed,held,sea [C]\n"
                   "10:05,1000,165,45,1.2,3,50,6,5,16.5\n");
    must_tell(
        "2 a.csv: the column \"oil pressure\" names no unit; its numbers are taken as kPa. "
        "Write the unit behind the name, as \"oil pressure [kPa]\"; known are kPa, bar, mbar, "
        "hPa, psi");
    must_tell("the column \"fuel\" names no unit; its numbers are taken as L/h. Write the unit "
              "behind the name, as \"fuel [L/h]\"; known are L/h, gal/h, gph");
    must_tell("the column \"boost 1\" names no unit");
    assert_null(strstr(told, "\"rpm\" names"));
    assert_null(strstr(told, "\"load\" names"));
    assert_null(strstr(told, "\"boat speed\" names"));
    assert_null(strstr(told, "\"held\" names"));
    assert_near(cell(0, CHANNEL_OIL_PRESSURE, 0), 45, 0);
    read_well(HEAD "time,rpm,gauge [F],oil pressure [psi],fuel,sea [C]\n"
                   "10:05,1000,165,45,1.2 gal/h,16.5\n");
    assert_near(cell(0, CHANNEL_OIL_PRESSURE, 0), 45 * 6.894757, 1e-4);
    assert_near(cell(0, CHANNEL_FUEL_RATE, 0), 1.2 * 3.785412, 1e-5);
    assert_null(strstr(told, "names no unit")); /* it is written, at the number */
}

/* One warning a column says what the numbers look like. */
static void test_wrong_units(void **state)
{
    (void)state;
    read_well(HEAD "time,rpm,gauge [°C],sea [°C]\n10:05,10,160,62\n10:15,28,190,62\n");
    must_tell("1 a.csv:5: 2 readings, 160 to 190, under \"gauge [°C]\" cannot be believed and were "
              "left out: Coolant temperature is -40 to 150 °C. They look like °F: write \"gauge "
              "[°F]\" in the line of column names, and read it again");
    must_tell("2 readings of 62 under \"sea [°C]\"");
    must_tell("no engine runs at 28 rpm, the most under \"rpm\". If it counts in hundreds: write "
              "\"rpm [x100]\" in the line of column names");
    assert_int_equal(table.tally.line[REASON_OUT_OF_RANGE].count, 4);
    read_well(HEAD "time,rpm,gauge [°F],sea [°F]\n10:05,1.0,74,16\n10:15,2.8,88,16\n");
    must_tell("up to 88 °F are 23 to 31 °C, and a warm engine has more. They look like °C: write "
              "\"gauge [°C]\"");
    must_tell("They look like °C: write \"sea [°C]\"");
    must_tell("If it counts in thousands: write \"rpm [x1000]\"");
    read_well(HEAD NAMES "10:05,1000,165,16.5,\n10:10,1400,450,16.5,\n"); /* one slip of the pen */
    must_tell("450 under \"gauge [°F]\"");
    must_tell("Is the unit right?");
    read_well(HEAD "time,rpm,gauge [K],boat speed,load\n10:05,1800,82,250,300\n");
    must_tell("82 under \"gauge [K]\" cannot be believed and was left out: Coolant temperature is "
              "-40 to 150 °C. They look like °C: write \"gauge [°C]\"");
    must_tell("250 under \"boat speed [kn]\" cannot be believed and was left out: Speed over "
              "ground is 0 to 194.384 kn. Is the unit right?"); /* 100 m/s */
    must_tell("300 under \"load\" cannot be believed");
}

/* 130 to 148 °F is 54 to 64 °C. */
static void test_hot_coolant_is_asked_about(void **state)
{
    (void)state;
    static const char *const warning = "hardly ever hotter";
    read_well(HEAD "time,rpm,gauge [°C],sea [°C]\n10:05,1000,130,16\n10:11,1800,140,16\n"
                   "10:17,2400,148,16\n");
    must_tell("1 a.csv: readings under \"gauge [°C]\" go up to 148 °C, and coolant is hardly ever "
              "hotter than 120 °C. If they are °F: write \"gauge [°F]\" in the line of column "
              "names, and read it again");
    assert_near(cell(2, CHANNEL_COOLANT_TEMPERATURE, 0), 148, 0); /* nobody knows: it is kept */
    read_well(HEAD "time,rpm,gauge [K]\n10:05,1000,403\n");
    must_tell("go up to 403 K, and coolant is hardly ever hotter than 120 °C. Is the unit right?");
    read_well(HEAD "time,rpm,gauge [°C]\n10:05,1000,60\n10:11,2800,120\n");
    assert_null(strstr(told, warning));
    read_well(HEAD "time,rpm,gauge [°F]\n10:05,1000,130\n10:11,1800,148\n");
    assert_null(strstr(told, warning));
    read_well(HEAD "time,rpm,gauge [°C],oil temperature [°C]\n10:05,1000,80,130\n");
    assert_null(strstr(told, warning));
}

static void test_time_goes_on(void **state)
{
    (void)state;
    read_well(HEAD NAMES "23:55,1000,165,,\n00:05,1400,170,,\n00:02,1000,170,,\n");
    assert_int_equal((table.rows[2].unix_us - table.rows[0].unix_us) / 1000000, 600);
    assert_near(cell(1, CHANNEL_ENGINE_SPEED, 0), 1000, 0); /* in the order of time */
    read_well(HEAD NAMES "10:05,1000,165,,\n10:02,1400,170,,\n");
    must_tell("a.csv:6: 10:02 lies before the time of the row above");
    assert_near(cell(0, CHANNEL_ENGINE_SPEED, 0), 1400, 0);
}

/* A row too late on paper is of the evening before, and each new day is told. */
static void test_out_of_order_at_midnight(void **state)
{
    (void)state;
    read_well(HEAD NAMES "23:50,1000,165,,\n00:05,1800,170,,\n23:57,1400,170,,\n"
                         "00:20,2200,180,,\n00:15,2400,180,,\n");
    static const double minutes[] = {0, 7, 15, 25, 30};
    static const double speeds[] = {1000, 1400, 1800, 2400, 2200};
    for (size_t i = 0; i < 5; i++) {
        assert_near((double)(table.rows[i].unix_us - table.rows[0].unix_us) / 60e6, minutes[i], 0);
        assert_near(cell(i, CHANNEL_ENGINE_SPEED, 0), speeds[i], 0);
    }
    must_tell("2 a.csv:6: 00:05 is taken as past midnight, of the day after the row above. If it "
              "is of another day, write that into a column \"date\"");
    must_tell("2 a.csv:7: 23:57 lies before the time of the row above");
    must_tell("2 a.csv:8: 00:20 is taken as past midnight");
    must_tell("2 a.csv:9: 00:15 lies before the time of the row above");
    /* Never before the day that was written. */
    read_well(HEAD NAMES "00:05,1000,165,,\n23:57,1800,170,,\n");
    assert_int_equal((table.rows[1].unix_us - table.rows[0].unix_us) / 60000000, 1432);
    assert_null(strstr(told, "midnight"));
    /* Days that are written are neither told nor out of order. */
    read_well("held,5\ndate,time,rpm,gauge [F]\n2026-11-25,20:00,1000,165\n"
              "2026-11-26,09:00,1000,165\n2026-11-26,22:00,1000,165\n");
    assert_null(strstr(told, "midnight"));
    assert_null(strstr(told, "lies before"));
}

/* Instants: by date -u -d. */
static void test_column_of_dates(void **state)
{
    (void)state;
    static const char names[] = "date,time,rpm,gauge [F]\n";
    static const int64_t day = 1795564800; /* 2026-11-25 */
    char text[400];
    /* The last date that was read counts on, past midnight too, whatever the head says. */
    for (int head = 0; head < 2; head++) {
        snprintf(text, sizeof text,
                 "%sheld,5\nengine started,23:30\n%s2026-11-25,23:55,1000,165\n,23:59,1800,170\n"
                 "-,00:04,2200,180\n2026-11-26,00:10,2400,180\n,00:20,2400,180\n",
                 head ? "date,2026-11-25\n" : "", names);
        read_well(text);
        static const int at[] = {86100, 86340, 86640, 87000, 87600};
        for (size_t i = 0; i < 5; i++)
            assert_int_equal(table.rows[i].unix_us / 1000000 - day, at[i]);
        assert_int_equal(table.start_unix_us / 1000000 - day, 84600);
        assert_null(strstr(told, "lies before"));
    }
    read_well("date,2026-11-25\nheld,5\ndate,time,rpm,gauge [F]\n"
              "2026-11-27,10:05,1000,165\n,10:11,1800,170\n");
    assert_int_equal(table.rows[1].unix_us / 1000000 - day, 2 * 86400 + 36660);
    /* No day is made up before the first, or behind one that cannot be read. */
    snprintf(text, sizeof text,
             "held,5\n%s,09:55,1000,165\n2026-11-25,10:05,1800,170\n"
             "11/5/2026,10:11,2200,180\n,10:17,2400,180\n2026-11-25,later,,\n,10:23,2500,190\n",
             names);
    read_well(text);
    must_tell("1 a.csv:3: no date: the row was not taken. Write the day into this row as");
    must_tell("1 a.csv:5: \"11/5/2026\" is no date: the row was not taken.");
    must_tell("1 a.csv:6: no date: the row was not taken");
    must_tell("1 a.csv:7: \"later\" is no time: the row was not taken");
    assert_int_equal(table.tally.line[REASON_BAD_ROW].count, 4);
    assert_int_equal(table.row_count, 2);
    assert_int_equal(table.rows[1].unix_us / 1000000 - day, 37380);
}

static void test_held_is_bounded(void **state)
{
    (void)state;
    read_well(HEAD NAMES "10:05,1000,165,,\n10:08,1400,170,,\n10:13,1410,170,,\n");
    assert_near(cell(0, CHANNEL_SPEED_HELD, 0), 300, 0);
    assert_near(cell(1, CHANNEL_SPEED_HELD, 0), 180, 0);
    assert_near(cell(2, CHANNEL_SPEED_HELD, 0), 300, 0); /* the same speed read again */
    must_tell("1000 rpm was read 3.0 minutes before, so this speed cannot have been held for 5.0");
    read_well("date,2026-11-25\n" NAMES "10:05,1000,165,,\n");
    must_tell("nothing says how long each speed was held");
    assert_true(isnan(cell(0, CHANNEL_SPEED_HELD, 0)));
}

static void test_assumed_is_told(void **state)
{
    (void)state;
    read_well("date,2026-11-25\n" NAMES "10:05,1000,165,16,\n");
    must_tell("times are taken as UTC");
    must_tell("how well the gauge is read; it is taken to be read to 5 °F, right to 3 °C");
    must_tell("how well the sea thermometer is read");
    assert_null(strstr(told, "infrared"));
}

static void test_refused_whole(void **state)
{
    (void)state;
    must_refuse("", "no line names the columns");
    must_refuse("boat,x\n", "no line names the columns");
    must_refuse(NAMES "10:05,1000,165,16,\n", "a.csv:1: no date stands above the table");
    must_refuse(HEAD "time,rpm,gauge\n10:05,1000,165\n", "does not say its unit");
    must_refuse(HEAD "time,rpm,gauge [psi]\n10:05,1000,165\n", "°C, °F, K");
    must_refuse(HEAD NAMES, "no row with a time");
}

static void test_bad_head(void **state)
{
    (void)state;
    read_well("rated rpm,fast\ntime zone,CET\nheld,long\nemissivity,2\ngauge read to,5 psi\n"
              "engine number,-1\nengine started,early\nemissivity right to,x\n"
              "date,2026-11-25\n" NAMES "10:05,1000,165,16,\n");
    must_tell("a.csv:1: left out: rated_rpm = \"fast\"");
    must_tell("a.csv:2: time zone = \"CET\" is not understood");
    must_tell("a.csv:3: held = \"long\"");
    must_tell("a.csv:4: emissivity = \"2\"");
    must_tell("a.csv:5: read to = \"5 psi\"");
    must_tell("a.csv:6: engine number = \"-1\"");
    must_tell("a.csv:7: engine started = \"early\"");
    must_tell("a.csv:8: emissivity right to = \"x\"");
    assert_int_equal(table.tally.line[REASON_NOT_A_NUMBER].count, 8);
}

/* Found by fuzz_sheet: a date that is none must not stand where a date stood. */
static void test_second_date_is_none(void **state)
{
    (void)state;
    read_well(HEAD "date,2026-22-25\n" NAMES "10:05,1000,165,16,\n");
    must_tell("a.csv:4: date = \"2026-22-25\" is not understood");
    assert_int_equal(table.rows[0].unix_us / 1000000, 1795601100);
}

static void test_columns_alike(void **state)
{
    (void)state;
    read_well(HEAD "time,rpm,gauge [°F],coolant [°F],oil temperature [°C],tea [°C]\n"
                   "10:05,1000,165,170,80,60\n");
    must_tell("the column \"tea [°C]\" is not known");
    assert_int_equal(table.tally.line[REASON_NO_COLUMN].count, 1);
    assert_string_equal(table.columns[1].origin.label, "gauge");
    assert_string_equal(table.columns[2].origin.label, "coolant");
    assert_near(cell(0, CHANNEL_OIL_TEMPERATURE, 0), 80, 0);
}

/* Which of two is used is settled later, so none of them is the sender yet. */
static void test_two_instruments(void **state)
{
    (void)state;
    read_well(HEAD "time,rpm,gauge [°F],housing [°C]\n10:05,1000,165,73\n");
    must_tell("2 a.csv: the coolant is in two columns, \"gauge\" and \"housing\". Both are kept; a "
              "comparison uses one of them and says which");
    must_tell("--source coolant_temperature=gauge, or =infrared, chooses");
    assert_string_equal(facts_get(&table.facts, FACT_ENGINE, 0, "coolant_sender"), "");
    read_well(HEAD "time,rpm,gauge [°F],housing 1 [°C]\n10:05,1000,165,73\n"); /* two engines */
    assert_null(strstr(told, "two columns"));
    read_well(HEAD "time,rpm,gauge [°F],housing [°C]\n10:05,1000,,73\n"); /* one is empty */
    assert_null(strstr(told, "two columns"));
    assert_string_equal(facts_get(&table.facts, FACT_ENGINE, 0, "coolant_sender"),
                        "read by hand: infrared thermometer");
}

/* On a clock of twelve hours 1:05 comes behind 12:53. */
static void test_twelve_hours(void **state)
{
    (void)state;
    read_well(HEAD NAMES "12:47,1000,165,,\n12:53,1400,165,,\n1:05,1800,170,,\n1:11,2200,175,,\n");
    must_tell(
        "1 a.csv:7: 1:05 is taken as in the morning, 11.8 h before the time of the row above. "
        "If 13:05 is meant, write 13:05 or 1:05 PM, here and in the rows below");
    assert_null(strstr(told, "a.csv:8"));
    read_well("held,5\ndate,time,rpm,gauge [F]\n2026-11-25,11:59,1000,165\n"
              "2026-11-25,2.30,1000,165\n");
    must_tell("1 a.csv:4: 2.30 is taken as in the morning, 9.5 h before");
    must_tell("write 14:30 or 2:30 PM");
    /* Said, or only out of order. */
    read_well(HEAD NAMES "12:53 PM,1000,165,,\n1:05 PM,1400,165,,\n1:05 am,1000,160,,\n"
                         "11:05 am,1000,160,,\n10:02,1000,160,,\n");
    assert_null(strstr(told, "morning"));
    must_tell("2 a.csv:7: 1:05 am lies before the time of the row above");
    must_tell("2 a.csv:9: 10:02 lies before the time of the row above");
}

/* Days that were filled in ahead of the readings are no rows, and count for those below. */
static void test_day_alone(void **state)
{
    (void)state;
    read_well("held,5\nplan,date,time,rpm,gauge [C]\n,2026-11-25,,,\n,,10:05,1000,71\n"
              "1800,2026-11-26,,,\n,,10:11,1800,73\n,2026-11-27,,,\n");
    assert_int_equal(table.row_count, 2);
    assert_int_equal(table.tally.line[REASON_BAD_ROW].count, 0);
    assert_int_equal((table.rows[1].unix_us - table.rows[0].unix_us) / 1000000, 86400 + 360);
}

/* The words are about what was written. */
static void test_dates_that_are_none(void **state)
{
    (void)state;
    static const struct {
        const char *date, *doubt;
    } bad[] = {
        {"14.05.26", "; the year is wanted with all four digits"},
        {"5/6/2026", "; with slashes nobody can tell day from month"},
        {"2026-22-25", ""},
        {"25-11-2026", ""},
    };
    char text[400], words[300];
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        snprintf(text, sizeof text,
                 "date,%s\nheld,5\ndate,time,rpm,gauge [C]\n%s,10:05,1000,71\n"
                 "2026-11-25,10:11,1800,73\n",
                 bad[i].date, bad[i].date);
        read_well(text);
        snprintf(words, sizeof words,
                 "a.csv:1: date = \"%s\" is not understood and left out; write it as 2026-11-25 or "
                 "25.11.2026%s\n",
                 bad[i].date, bad[i].doubt);
        must_tell(words);
        snprintf(words, sizeof words,
                 "a.csv:4: \"%s\" is no date: the row was not taken. Write the day into this row "
                 "as 2026-11-25%s; rows below it that have none",
                 bad[i].date, bad[i].doubt);
        must_tell(words);
    }
}

/* Decimal commas between commas: the values behind them are not what was written. */
static void test_too_many_cells(void **state)
{
    (void)state;
    static const char head[] = HEAD "time,rpm,gauge [degC],sea [degC],raw water out [degC],notes\n";
    static const struct {
        const char *rows, *words;
    } bad[] = {
        {"12:35,1000,74,16,5,18,9,smooth\n",
         "a.csv:5: this row has 8 cells and there are 6 columns"},
        {"12:35,1000,74,16,5,18,9,smooth\n",
         "put each such number in quotes (\"16,5\"), write 16.5"},
        {"12:35,1000,74,16,18,\n12:41,1400,77,16,5,18,,,smooth\n", "a.csv:6: this row has 9 cells"},
        {"12:35,1000,74,16,18,calm, sunny\n", "A text with a comma in it goes in quotes too"},
        {"12:41,1400,77,,20,2,\n", "the note of this row is a number alone, \"2\""},
        {"12:41,1400,77,16,5,18\n", "If it is a note, write a word to it"},
    };
    char text[400];
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        snprintf(text, sizeof text, "%s%s", head, bad[i].rows);
        must_refuse(text, bad[i].words);
    }
    must_refuse(HEAD "time,rpm,gauge [C],,\n12:35,1000,74,5,\n", "has 4 cells and there are 3");
    must_refuse("date;2026-11-25\ntime;rpm;gauge [C]\n12:35;1000;74,5;16;18\n",
                "A text with a semicolon in it goes in quotes");
    /* Empty cells are none, and a spreadsheet's remark beside the table is told. */
    read_well(HEAD "time,rpm,gauge [C],notes\n12:35,1000,74,,,,\n# it, was, a, fine, day\n"
                   "12:41,1400,\"74,5\",\"calm, 2\"\n");
    assert_int_equal(table.row_count, 2);
    read_well(HEAD "time,rpm,gauge [C],,\n12:35,1000,74,over,\n");
    must_tell("a.csv:5: \"over\" stands in no named column");
    assert_int_equal(table.tally.line[REASON_NO_COLUMN].count, 1);
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
        cmocka_unit_test(test_plain),
        cmocka_unit_test(test_semicolons),
        cmocka_unit_test(test_accuracy),
        cmocka_unit_test(test_accuracy_without_unit),
        cmocka_unit_test(test_entries_left_out),
        cmocka_unit_test(test_numbered_rows),
        cmocka_unit_test(test_decimal_or_thousands),
        cmocka_unit_test(test_units_where_they_stand),
        cmocka_unit_test(test_units_not_written),
        cmocka_unit_test(test_wrong_units),
        cmocka_unit_test(test_hot_coolant_is_asked_about),
        cmocka_unit_test(test_time_goes_on),
        cmocka_unit_test(test_out_of_order_at_midnight),
        cmocka_unit_test(test_column_of_dates),
        cmocka_unit_test(test_held_is_bounded),
        cmocka_unit_test(test_assumed_is_told),
        cmocka_unit_test(test_refused_whole),
        cmocka_unit_test(test_bad_head),
        cmocka_unit_test(test_columns_alike),
        cmocka_unit_test(test_two_instruments),
        cmocka_unit_test(test_second_date_is_none),
        cmocka_unit_test(test_too_many_cells),
        cmocka_unit_test(test_dates_that_are_none),
        cmocka_unit_test(test_twelve_hours),
        cmocka_unit_test(test_day_alone),
    };
    return cmocka_run_group_tests(tests, NULL, forget);
}
