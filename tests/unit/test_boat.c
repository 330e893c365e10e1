/* test_boat.c - the boat model keeps to its own physics, and says what it should. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../simulated/plant.h"
#include "../simulated/writers.h"

#define NEAR(a, b, tolerance) assert_true(fabs((a) - (b)) <= (tolerance))

static struct boat_scenario named(const char *name)
{
    struct boat_scenario scenario;
    assert_true(boat_scenario_named(name, &scenario));
    return scenario;
}

/* No weather, no helm, perfect instruments. */
static struct boat_scenario calm(void)
{
    struct boat_scenario scenario;
    boat_scenario_default(&scenario);
    scenario.sea_wander = scenario.wind_load = scenario.hold_load = scenario.noise.sd = 0.0;
    scenario.throttle_sd = 0.0;
    scenario.engine[0].hysteresis = 0.0;
    scenario.engine[0].coolant = (struct boat_sender){.lag = 0.0};
    return scenario;
}

static void run(struct boat *boat, const struct boat_scenario *scenario)
{
    boat_start(boat, scenario);
    while (boat_advance(boat))
        continue;
}

/* --- random numbers */

static void check_moments(double (*draw)(struct random *), double tolerance)
{
    struct random random = random_start(20260101, 3);
    double sum = 0.0, squares = 0.0;
    const int count = 200000;
    for (int i = 0; i < count; i++) {
        const double x = draw(&random);
        sum += x;
        squares += x * x;
    }
    NEAR(sum / count, 0.0, 0.01);
    NEAR(sqrt(squares / count), 1.0, tolerance);
}

static void test_random_moments(void **state)
{
    (void)state;
    check_moments(random_normal, 0.01);
    check_moments(random_student3, 0.15); /* the fourth moment is infinite: its spread is slow */
}

static void test_random_streams(void **state)
{
    (void)state;
    struct random a = random_start(1, 0), again = random_start(1, 0), other = random_start(1, 1);
    const uint64_t first = random_word(&a);
    assert_true(first == random_word(&again));
    assert_true(first != random_word(&other));
    double mean = 0.0;
    for (int i = 0; i < 100000; i++)
        mean += random_wait(&a, 7.0) / 100000.0;
    NEAR(mean, 7.0, 0.15);
}

/* SplitMix64 from state 0: the first outputs as printed by the Java library's SplittableRandom
 * discussion and by many ports of it (from memory). */
static void test_random_reference(void **state)
{
    (void)state;
    struct random random = {0};
    assert_true(random_word(&random) == UINT64_C(0xe220a8397b1dcdaf));
    assert_true(random_word(&random) == UINT64_C(0x6e789e6aa1b965f4));
}

/* --- the plant */

/* An exchanger of which only the wall resists, with the flows told, at rated speed. */
static double effectiveness(double units, double ratio)
{
    struct boat_engine engine;
    boat_engine_default(&engine);
    engine.coolant_film = engine.raw_film = engine.fouling = 0.0;
    engine.raw_flow = 10.0;
    engine.coolant_flow = 10.0 / ratio;
    engine.wall = 1.0 / (units * engine.raw_flow);
    return plant_conductance(&engine, engine.rated_rpm, 1.0) / engine.raw_flow;
}

static void test_counterflow(void **state)
{
    (void)state;
    /* ht library documentation (C. Bell), module hx, counterflow, NTU 5, Cr 0.7. */
    NEAR(effectiveness(5.0, 0.7), 0.920670368605, 1e-11);
    /* The same library's tests: counterflow, Cr 1, effectiveness 0.9 is NTU 9. */
    NEAR(effectiveness(9.0, 1.0), 0.9, 1e-11);
    /* Limit of a condenser, Cr towards 0: 1 - exp(-NTU). */
    NEAR(effectiveness(1.0, 1e-9), 1.0 - exp(-1.0), 1e-8);
}

static void test_steady_balance(void **state)
{
    (void)state;
    struct boat_engine engine;
    boat_engine_default(&engine);
    engine.room_loss = 0.0;
    for (double rpm = 1000; rpm <= 2800; rpm += 300) {
        const double coolant = boat_steady_coolant(&engine, rpm, 14.0, 1.0);
        const double rise = plant_opening(&engine, coolant) * (coolant - 14.0);
        NEAR(rise, boat_open_rise(&engine, rpm, 1.0), 1e-6);
    }
}

static void test_sea_moves_open_thermostat_only(void **state)
{
    (void)state;
    struct boat_engine engine;
    boat_engine_default(&engine);
    engine.fouling = 0.14;
    const double open = boat_steady_coolant(&engine, 2800, 20.0, 1.0) -
                        boat_steady_coolant(&engine, 2800, 19.0, 1.0);
    const double controlled = boat_steady_coolant(&engine, 1400, 20.0, 1.0) -
                              boat_steady_coolant(&engine, 1400, 19.0, 1.0);
    NEAR(open, 1.0, 1e-6);
    assert_true(controlled > 0.01 && controlled < 0.15);
}

static void test_openings_agree_when_full(void **state)
{
    (void)state;
    struct boat_engine engine;
    boat_engine_default(&engine);
    engine.fouling = 0.3;
    const double linear = boat_steady_coolant(&engine, 2800, 19.0, 1.0);
    assert_true(linear > engine.full);
    for (int i = OPENING_LINEAR; i <= OPENING_FLOW; i++) {
        engine.opening = (enum boat_opening)i;
        NEAR(boat_steady_coolant(&engine, 2800, 19.0, 1.0), linear, 1e-6);
    }
}

static void test_fuel_and_load(void **state)
{
    (void)state;
    struct boat_engine engine;
    boat_engine_default(&engine);
    NEAR(plant_fuel(&engine, engine.rated_rpm, 1.0), engine.rated_fuel, 1e-9);
    NEAR(plant_heat(&engine, engine.rated_rpm, 1.0), engine.rated_heat, 1e-9);
    assert_true(plant_heat(&engine, 2000, 1.05) > plant_heat(&engine, 2000, 1.0));
    const double load = plant_percent_load(&engine, 2800, 1.0);
    assert_true(load > 85.0 && load <= 100.0);
}

/* --- running */

static void test_settles_at_the_truth(void **state)
{
    (void)state;
    struct boat boat;
    for (int i = OPENING_LINEAR; i <= OPENING_FLOW; i++) {
        struct boat_scenario scenario = calm();
        scenario.engine[0].opening = (enum boat_opening)i;
        scenario.engine[0].opening_exponent = 1.4;
        scenario.engine[0].fouling = 0.1;
        boat_add_leg(&scenario, (struct boat_leg){2300, 3600, GEAR_AHEAD, true});
        run(&boat, &scenario);
        /* The governor hunts by 2.5 rpm in any weather: 0.1 K here. */
        NEAR(boat.truth.engine[0].coolant,
             boat_steady_coolant(&scenario.engine[0], 2300, scenario.sea, 1.0), 0.15);
    }
}

static void test_raw_water_carries_the_heat(void **state)
{
    (void)state;
    struct boat boat;
    struct boat_scenario scenario = calm();
    scenario.engine[0].room_loss = 0.0;
    boat_add_leg(&scenario, (struct boat_leg){2800, 3600, GEAR_AHEAD, true});
    run(&boat, &scenario);
    const double carried = (boat.truth.engine[0].raw_out - scenario.sea) *
                           plant_raw_flow(&scenario.engine[0], boat.truth.engine[0].rpm);
    NEAR(carried, boat.truth.engine[0].heat, 0.01 * carried);
}

/* After a step of the load with the thermostat open, 63 % of the way takes about the settling time
 * of the two stores, longer where fouling slows them. */
static void test_settling_time(void **state)
{
    (void)state;
    struct boat boat;
    struct boat_scenario scenario = calm();
    struct boat_engine *engine = &scenario.engine[0];
    engine->opens = 40;
    engine->full = 41;
    engine->initial = 50;
    boat_add_leg(&scenario, (struct boat_leg){2800, 3600, GEAR_AHEAD, true});
    const double last = boat_steady_coolant(engine, 2800, scenario.sea, 1.0);
    boat_start(&boat, &scenario);
    const double mark = 50 + (last - 50) * (1.0 - exp(-1.0));
    while (boat.truth.engine[0].coolant < mark)
        assert_true(boat_advance(&boat));
    assert_in_range((int)boat.truth.t, 70, 115);
}

static void test_same_seed_same_boat(void **state)
{
    (void)state;
    static struct boat one, two;
    struct boat_scenario scenario = named("up-and-down"), other = scenario;
    other.seed = 2;
    run(&one, &scenario);
    run(&two, &scenario);
    assert_memory_equal(&one.reading, &two.reading, sizeof one.reading);
    run(&two, &other);
    assert_true(one.reading.engine[0].rpm != two.reading.engine[0].rpm);
    NEAR(one.truth.t, boat_duration(&scenario), 1.0);
}

static void test_noise_is_as_large_as_told(void **state)
{
    (void)state;
    for (int shape = NOISE_AR1; shape <= NOISE_HEAVY; shape++) {
        struct boat boat;
        struct boat_scenario scenario = calm();
        scenario.noise = (struct boat_noise){(enum boat_noise_shape)shape, 0.02, 20};
        scenario.engine[0].initial = 75;
        boat_add_leg(&scenario, (struct boat_leg){2000, 40000, GEAR_AHEAD, true});
        double squares = 0.0, count = 0.0;
        boat_start(&boat, &scenario);
        do {
            const double off = boat.truth.engine[0].load_factor - 1.0;
            squares += off * off;
            count++;
        } while (boat_advance(&boat));
        NEAR(sqrt(squares / count), 0.02, 0.006);
    }
}

static void test_senders(void **state)
{
    (void)state;
    struct boat boat;
    struct boat_scenario scenario = named("up-and-down");
    const char *why;
    assert_true(boat_override(&scenario, "coolant.fahrenheit=1", &why));
    assert_true(boat_override(&scenario, "coolant.step=1", &why));
    assert_true(boat_override(&scenario, "coolant.outliers=0.01", &why));
    assert_true(boat_override(&scenario, "coolant.outlier_size=12", &why));
    assert_true(boat_override(&scenario, "coolant.dropouts=12", &why));
    assert_true(boat_override(&scenario, "coolant.dropout_length=10", &why));
    size_t wrong = 0, missing = 0, count = 0;
    boat_start(&boat, &scenario);
    do {
        const double shown = boat.reading.engine[0].coolant;
        const double fahrenheit = shown * 1.8 + 32.0;
        count++;
        missing += isnan(shown) ? 1 : 0;
        if (!isnan(shown)) {
            NEAR(fahrenheit, round(fahrenheit), 1e-6);
            wrong += fabs(shown - boat.truth.engine[0].coolant) > 8.0 ? 1 : 0;
        }
    } while (boat_advance(&boat));
    assert_in_range(wrong, count / 200, count / 50);
    assert_in_range(missing, count / 100, count / 10);
}

static void test_stagnant_chest(void **state)
{
    (void)state;
    struct boat boat;
    struct boat_scenario scenario = calm();
    scenario.sea_stagnant = 0.1;
    scenario.sea_sender = (struct boat_sender){.lag = 0.0};
    boat_add_leg(&scenario, (struct boat_leg){1000, 2400, GEAR_AHEAD, true});
    run(&boat, &scenario);
    assert_true(boat.reading.sea > scenario.sea + 2.0);
    assert_true(boat.truth.sea == scenario.sea);
}

/* --- scenarios and overrides */

static void test_overrides(void **state)
{
    (void)state;
    struct boat_scenario scenario = named("ladder");
    const char *why;
    assert_true(boat_override(&scenario, "1.fouling=0.25", &why));
    NEAR(scenario.engine[1].fouling, 0.25, 0.0);
    NEAR(scenario.engine[0].fouling, 0.0, 0.0);
    assert_true(boat_override(&scenario, "opening=flow", &why));
    assert_int_equal(scenario.engine[0].opening, OPENING_FLOW);
    assert_true(boat_override(&scenario, "noise.shape=heavy", &why));
    assert_true(boat_override(&scenario, "seed=18446744073709551615", &why));
    assert_true(scenario.seed == UINT64_MAX);
    static const char *const bad[] = {"sea",        "sea=",    "sea=warm",        "sea=99",
                                      "sea=nan",    "seas=12", "1.sea=12",        "opening=wide",
                                      "fouling=-1", "=1",      "noise.shape=hum", ""};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(boat_override(&scenario, bad[i], &why));
    for (size_t i = 0; boat_override_key(i) != NULL; i++)
        assert_true(strlen(boat_override_key(i)) > 0);
}

static void test_every_scenario_runs(void **state)
{
    (void)state;
    static struct boat boat;
    for (size_t i = 0; i < boat_scenario_count(); i++) {
        struct boat_scenario scenario = named(boat_scenario_name(i));
        run(&boat, &scenario);
        assert_true(strlen(boat_scenario_help(i)) > 0);
        for (size_t e = 0; e < scenario.engine_count; e++)
            assert_true(boat.truth.engine[e].coolant > 60 && boat.truth.engine[e].coolant < 110);
    }
    assert_false(boat_scenario_named("no such", &(struct boat_scenario){.seed = 0}));
    assert_null(boat_scenario_name(boat_scenario_count()));
}

/* The sample pair tells the story it is meant to tell. */
static void test_sample_pair(void **state)
{
    (void)state;
    const struct boat_scenario before = named("tern-before"), after = named("tern-after");
    NEAR(boat_steady_coolant(&before.engine[0], 2800, before.sea, 1.0), 92.0, 1.0);
    NEAR(boat_steady_coolant(&after.engine[0], 2800, after.sea, 1.0), 81.0, 1.0);
    NEAR(boat_duration(&before), 2400, 120);
}

/* --- writers */

static char *captured(const struct boat_scenario *scenario, bool tag)
{
    char *text = NULL;
    size_t length;
    FILE *to = open_memstream(&text, &length);
    assert_non_null(to);
    assert_int_equal(write_0183(scenario, tag, to, NULL), STATUS_OK);
    assert_int_equal(fclose(to), 0);
    return text;
}

static unsigned sum_between(const char *from, const char *to)
{
    unsigned sum = 0;
    for (; from < to; from++)
        sum ^= (unsigned char)*from;
    return sum;
}

static void check_sentence(const char *line)
{
    const char *star = strchr(line, '*');
    assert_non_null(star);
    assert_int_equal(*line, '$');
    assert_true(strlen(line) + 2 <= 82);
    assert_int_equal(strtoul(star + 1, NULL, 16), sum_between(line + 1, star));
}

static void test_sentences(void **state)
{
    (void)state;
    for (int tag = 0; tag < 2; tag++) {
        struct boat_scenario scenario = named("tern-after");
        char *text = captured(&scenario, tag != 0), *rest = text;
        size_t count = 0, speeds = 0;
        for (char *line; (line = strtok_r(rest, "\r\n", &rest)) != NULL; count++) {
            if (tag) {
                char *close = strchr(line + 1, '\\');
                assert_int_equal(*line, '\\');
                assert_int_equal(strtoul(close - 2, NULL, 16), sum_between(line + 1, close - 3));
                line = close + 1;
            }
            check_sentence(line);
            speeds += strncmp(line, "$IIRPM,E,0,", 11) == 0 ? 1 : 0;
        }
        assert_in_range(speeds, (size_t)boat_duration(&scenario) - 1,
                        (size_t)boat_duration(&scenario) + 1);
        assert_true(count > 8 * speeds);
        free(text);
    }
}

/* Degrees south and east come back from degrees and minutes. */
static void test_positions(void **state)
{
    (void)state;
    struct boat_scenario scenario = calm();
    scenario.latitude = -0.99999;
    scenario.longitude = 179.0;
    boat_add_leg(&scenario, (struct boat_leg){650, 20, GEAR_NEUTRAL, false});
    char *text = captured(&scenario, false);
    size_t count = 0;
    for (char *fix = text; (fix = strstr(fix, "$GPGGA,")) != NULL; fix++, count++) {
        unsigned south, east;
        double south_minutes, east_minutes;
        const char *position = strchr(fix + 7, ',') + 1;
        assert_int_equal(
            sscanf(position, "%2u%7lf,S,%3u%7lf,E,", &south, &south_minutes, &east, &east_minutes),
            4);
        assert_true(south_minutes < 60.0 && east_minutes < 60.0);
        NEAR(south + south_minutes / 60.0, 0.99999, 2e-4);
        NEAR(east + east_minutes / 60.0, 179.0, 2e-4);
    }
    assert_in_range(count, 20, 21);
    free(text);
}

static unsigned byte_at(const char *hex, size_t index)
{
    char two[3] = {hex[2 * index], hex[2 * index + 1], '\0'};
    return (unsigned)strtoul(two, NULL, 16);
}

/* Frames go forward in time, and engine speed stands where the PGN database puts it. */
static void test_frames(void **state)
{
    (void)state;
    struct boat_scenario scenario = named("sisters-before");
    char *text = NULL;
    size_t length, speeds = 0;
    FILE *to = open_memstream(&text, &length);
    assert_int_equal(write_n2k(&scenario, 10, to, NULL), STATUS_OK);
    fclose(to);
    double last = 0.0;
    char *rest = text;
    for (char *line; (line = strtok_r(rest, "\n", &rest)) != NULL;) {
        const double at = strtod(line + 1, NULL);
        assert_true(at > last);
        last = at;
        const char *id = strstr(line, " can0 ") + 6;
        const char *data = strchr(id, '#') + 1;
        assert_int_equal(strlen(data), 16);
        if (strncmp(id, "09F20023", 8) != 0)
            continue;
        speeds++;
        const double rpm = 0.25 * (byte_at(data, 1) + 256 * byte_at(data, 2));
        assert_true(byte_at(data, 0) < 2 && rpm > 500 && rpm < 2950);
    }
    const double expected = 20.0 * boat_duration(&scenario);
    NEAR((double)speeds, expected, 25.0);
    free(text);
}

static void test_truth(void **state)
{
    (void)state;
    const struct boat_scenario scenario = named("tern-before");
    char *text = NULL, expected[64];
    size_t length;
    FILE *to = open_memstream(&text, &length);
    assert_int_equal(write_truth(&scenario, to, NULL), STATUS_OK);
    fclose(to);
    snprintf(expected, sizeof expected, "\"open_rise\": %.4f",
             boat_open_rise(&scenario.engine[0], 2800, 1.0));
    assert_non_null(strstr(text, expected));
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_random_moments),
        cmocka_unit_test(test_random_streams),
        cmocka_unit_test(test_random_reference),
        cmocka_unit_test(test_counterflow),
        cmocka_unit_test(test_steady_balance),
        cmocka_unit_test(test_sea_moves_open_thermostat_only),
        cmocka_unit_test(test_openings_agree_when_full),
        cmocka_unit_test(test_fuel_and_load),
        cmocka_unit_test(test_settles_at_the_truth),
        cmocka_unit_test(test_raw_water_carries_the_heat),
        cmocka_unit_test(test_settling_time),
        cmocka_unit_test(test_same_seed_same_boat),
        cmocka_unit_test(test_noise_is_as_large_as_told),
        cmocka_unit_test(test_senders),
        cmocka_unit_test(test_stagnant_chest),
        cmocka_unit_test(test_overrides),
        cmocka_unit_test(test_every_scenario_runs),
        cmocka_unit_test(test_sample_pair),
        cmocka_unit_test(test_sentences),
        cmocka_unit_test(test_positions),
        cmocka_unit_test(test_frames),
        cmocka_unit_test(test_truth),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
