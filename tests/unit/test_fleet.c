/* test_fleet.c - a boat over its seasons keeps to its own law, and its files say so. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../analyze/outing.h"
#include "../simulated/fleet.h"

#define NEAR(a, b, tolerance) assert_true(fabs((a) - (b)) <= (tolerance))

static struct fleet_boat draw(uint64_t seed, enum fleet_growth growth)
{
    struct fleet_plan plan;
    struct fleet_boat boat;
    fleet_plan_default(&plan);
    plan.seed = seed;
    plan.growth = growth;
    fleet_draw(&plan, 0, &boat);
    return boat;
}

static void the_same_boat_again(void **state)
{
    (void)state;
    const struct fleet_boat a = draw(5, FLEET_LINEAR), b = draw(5, FLEET_LINEAR),
                            c = draw(6, FLEET_LINEAR);
    assert_memory_equal(a.outing, b.outing, sizeof a.outing);
    assert_memory_equal(a.fouling, b.fouling, sizeof a.fouling);
    assert_memory_not_equal(a.fouling, c.fouling, sizeof a.fouling);
}

static void hours_and_dates_go_together(void **state)
{
    (void)state;
    const struct fleet_boat boat = draw(7, FLEET_LINEAR);
    double all = 0;
    for (size_t i = 0; i < boat.plan.seasons; i++)
        all += boat.season_hours[i];
    for (double hours = 1; hours < 2 * all; hours += 13.7)
        NEAR(fleet_hours_at(&boat, fleet_unix_at(&boat, hours)), hours, 0.01);
    assert_true(boat.outing_count >= 20 && boat.outing_count <= 60);
    for (size_t i = 1; i < boat.outing_count; i++) {
        struct boat_scenario run;
        fleet_scenario(&boat, i - 1, &run);
        const double length = boat_duration(&run);
        assert_true(length > 900 && length < 5 * 3600);
        assert_true(boat.outing[i].hours >= boat.outing[i - 1].hours + length / 3600);
        assert_true(boat.outing[i].start_unix > boat.outing[i - 1].start_unix + 86400);
    }
    for (size_t i = 1; i < boat.service_count; i++)
        assert_true(boat.service[i].unix_s >= boat.service[i - 1].unix_s);
}

static struct fleet_boat plain(enum fleet_growth growth)
{
    struct fleet_boat boat = draw(8, growth);
    boat.fouling[0] = (struct fleet_fouling){growth, 0.02, 1e-4, 0.2};
    boat.service_count = 1;
    boat.service[0] = (struct fleet_service){FLEET_CLEAN, -1, 0, 500, 0.8};
    return boat;
}

static void fouling_keeps_its_law(void **state)
{
    (void)state;
    const struct fleet_boat linear = plain(FLEET_LINEAR), bowed = plain(FLEET_ASYMPTOTIC);
    NEAR(fleet_fouling_at(&linear, 0, 0), 0.02, 1e-12);
    NEAR(fleet_fouling_at(&linear, 0, 499.999), 0.07, 1e-6);
    NEAR(fleet_fouling_at(&linear, 0, 500), 0.2 * 0.07, 1e-9);
    NEAR(fleet_fouling_at(&linear, 0, 1500), 0.014 + 0.1, 1e-9);
    const double before = 0.2 - 0.18 * exp(-1e-4 / 0.2 * 500);
    NEAR(fleet_fouling_at(&bowed, 0, 499.9999999), before, 1e-9);
    NEAR(fleet_fouling_at(&bowed, 0, 500), 0.2 * before, 1e-9);
    NEAR(fleet_fouling_at(&bowed, 0, 1e6), 0.2, 1e-9);
}

static void check_alarm(const struct fleet_boat *boat, double from)
{
    const double clean = fleet_reading(boat, 0, from, 2800, 20);
    const double at = fleet_alarm_hours(boat, 0, from, 2800, 20, clean + 2);
    assert_true(at > from);
    NEAR(fleet_reading(boat, 0, at, 2800, 20), clean + 2, 1e-3);
    assert_true(fleet_alarm_hours(boat, 0, from, 2800, 20, clean - 1) == from);
    assert_true(isinf(fleet_alarm_hours(boat, 0, from, 2800, 20, clean + 400)));
}

static void the_alarm_comes_when_it_is_read(void **state)
{
    (void)state;
    const struct fleet_boat linear = plain(FLEET_LINEAR), bowed = plain(FLEET_ASYMPTOTIC);
    check_alarm(&linear, 600);
    check_alarm(&bowed, 600);
    assert_true(isinf(fleet_alarm_hours(&bowed, 0, 600, 2800, 20,
                                        fleet_reading(&bowed, 0, 1e6, 2800, 20) + 0.1)));
}

/* --- files */

static char folder[] = "/tmp/searun-fleet-XXXXXX";

static const char *at(const char *name)
{
    static char path[200];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return path;
}

static void run_files_hold_what_was_run(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    struct outing outing;
    struct fleet_boat boat = draw(9, FLEET_LINEAR);
    boat.outing[3].kind = FLEET_LADDER;
    assert_int_equal(fleet_write_run(&boat, 3, 2, at("run.h5"), &complaint), STATUS_OK);
    assert_int_equal(outing_read(at("run.h5"), &outing, &complaint), STATUS_OK);
    assert_int_equal(outing.start_unix_us, boat.outing[3].start_unix * 1000000);
    assert_int_equal(outing.engine_count, 1);
    const struct boat_engine engine = fleet_engine_at(&boat, 0, boat.outing[3].hours);
    size_t used = 0;
    for (size_t i = 0; i < outing.engines[0].hold_count; i++) {
        const struct hold *hold = &outing.engines[0].holds[i];
        if (hold->refusal != REFUSAL_NONE)
            continue;
        const double steady =
            boat_steady_coolant(&engine, hold->rpm, boat.outing[3].sea, boat.outing[3].load);
        NEAR(hold->coolant - engine.coolant.offset, steady, 4);
        used++;
    }
    assert_true(used >= 5);
    outing_free(&outing);
    unlink(at("run.h5"));
}

static size_t count_lines(const char *name, const char *words)
{
    char line[1000];
    size_t count = 0;
    FILE *file = fopen(at(name), "r");
    assert_non_null(file);
    while (fgets(line, sizeof line, file))
        count += strstr(line, words) != NULL;
    fclose(file);
    return count;
}

static void a_folder_is_whole(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    struct fleet_plan plan;
    struct fleet_boat boat;
    char name[FLEET_NAME_ROOM];
    fleet_plan_default(&plan);
    plan.seasons = 2;
    plan.engines = 2;
    plan.flavour = RUN_LIKE_0183;
    fleet_draw(&plan, 1, &boat);
    assert_int_equal(fleet_write(&boat, 10, folder, NULL, &complaint), STATUS_OK);
    assert_int_equal(count_lines("truth.json", "\"file\""), boat.outing_count);
    assert_int_equal(count_lines(FLEET_SERVICES_NAME, "Skerrow"), boat.service_count);
    for (size_t i = 0; i < boat.outing_count; i++) {
        fleet_run_name(&boat, i, name);
        assert_int_equal(unlink(at(name)), 0);
    }
    unlink(at("truth.json"));
    unlink(at(FLEET_SERVICES_NAME));
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) ? 0 : -1;
}

static int remove_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_same_boat_again),
        cmocka_unit_test(hours_and_dates_go_together),
        cmocka_unit_test(fouling_keeps_its_law),
        cmocka_unit_test(the_alarm_comes_when_it_is_read),
        cmocka_unit_test(run_files_hold_what_was_run),
        cmocka_unit_test(a_folder_is_whole),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
