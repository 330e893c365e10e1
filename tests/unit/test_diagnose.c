/* test_diagnose.c - every diagnosis of diagnose.h, firing and not firing, with its consequence. */
#include "run_support.h"

#include <math.h>

#include "../../analyze/diagnose.h"
#include "../../analyze/rules.h"
#include "near.h"

/* Two runs, before and after, of one engine with six used holds each. */
#define CELLS 2000
#define HOLDS 6

struct made {
    struct answer answer;
    struct run_summary runs[2];
    struct facts facts[2];
    struct engine_answer engine;
    struct hold holds[2 * HOLDS];
    struct trial trials[2];
    struct candidate speed[2], coolant[2], sea[2], other[2];
    double time[CELLS], value[2][CELLS], flat[2][CELLS];
};

static const double speeds[HOLDS] = {1000, 1400, 1800, 2200, 2500, 2800};

static void fill_candidate(struct candidate *c, enum channel_id channel, const char *title,
                           double *time, double *value)
{
    c->channel = channel;
    c->series = (struct series){.channel = channel, .count = CELLS, .time = time, .value = value};
    c->cleaning.count = (struct cleaned){.channel = channel, .samples = CELLS};
    c->profile = (struct profile){.coverage = 1, .interval = 1, .step = 0.1, .mid = 17};
    snprintf(c->title, sizeof c->title, "%s", title);
}

static void fill_trial(struct made *m, size_t r)
{
    struct trial *t = &m->trials[r];
    *t = (struct trial){.run = r,
                        .side = r ? SIDE_AFTER : SIDE_BEFORE,
                        .duration = CELLS,
                        .sea_by_hand = NAN,
                        .sea = {NAN, 0, 0}};
    assert_int_equal(columns_make(&t->columns, CELLS), STATUS_OK);
    for (size_t i = 0; i < CELLS; i++) {
        m->time[i] = (double)i;
        t->columns.rpm[i] = 2000;
        t->columns.coolant[i] = m->value[r][i] = 78;
        t->columns.sea[i] = m->flat[r][i] = 17;
    }
    fill_candidate(&m->speed[r], CHANNEL_ENGINE_SPEED, "127488 from 35", m->time, m->value[r]);
    fill_candidate(&m->coolant[r], CHANNEL_COOLANT_TEMPERATURE, "127489 from 35", m->time,
                   m->value[r]);
    m->coolant[r].profile.mid = 78;
    fill_candidate(&m->sea[r], CHANNEL_SEA_TEMPERATURE, "130312 sea from 37", m->time, m->flat[r]);
    t->chosen[QUANTITY_SPEED] = &m->speed[r];
    t->chosen[QUANTITY_COOLANT] = &m->coolant[r];
    t->chosen[QUANTITY_SEA] = &m->sea[r];
}

static void fill_holds(struct made *m)
{
    for (size_t i = 0; i < 2 * HOLDS; i++) {
        bool open = i % HOLDS >= 4;
        m->holds[i] = (struct hold){.run = i / HOLDS,
                                    .side = i < HOLDS ? SIDE_BEFORE : SIDE_AFTER,
                                    .start = 300.0 * (double)(i % HOLDS),
                                    .end = 300.0 * (double)(i % HOLDS) + 300,
                                    .used_from = 300.0 * (double)(i % HOLDS) + 120,
                                    .rpm = speeds[i % HOLDS],
                                    .band_rpm = speeds[i % HOLDS],
                                    .rpm_sd = 4,
                                    .coolant = open ? 85 : 76.5,
                                    .coolant_sd = 0.1,
                                    .sea = 17,
                                    .load = NAN,
                                    .fuel_rate = NAN,
                                    .air = NAN,
                                    .open_rise = open ? 68 : 29.75,
                                    .open_fraction = open ? 1 : 0.5};
    }
}

static void put_fact(struct made *m, size_t run, enum fact_section section, const char *key,
                     const char *value)
{
    struct complaint complaint = {""};
    if (facts_set(&m->facts[run], section, 0, key, value, &complaint))
        fail_msg("%s", complaint.text);
}

static void start(struct made *m)
{
    memset(m, 0, sizeof *m);
    m->answer = (struct answer){.run_count = 2, .runs = m->runs, .confidence_level = 0.95};
    for (size_t r = 0; r < 2; r++) {
        m->runs[r] = (struct run_summary){.side = r ? SIDE_AFTER : SIDE_BEFORE,
                                          .facts = &m->facts[r],
                                          .duration = CELLS,
                                          .sea_mean = 17,
                                          .air_mean = NAN,
                                          .start_unix_us = START_US + (int64_t)r * 1000000,
                                          .closed_cleanly = true};
        snprintf(m->runs[r].name, sizeof m->runs[r].name, "%s", r ? "after.h5" : "before.h5");
        snprintf(m->runs[r].run_id, sizeof m->runs[r].run_id, "id-%zu", r);
        snprintf(m->runs[r].sha256, sizeof m->runs[r].sha256, "%064zu", r);
        snprintf(m->runs[r].clock, sizeof m->runs[r].clock, "gnss");
        put_fact(m, r, FACT_BOAT, "name", "Tern's Reach");
        fill_trial(m, r);
    }
    fill_holds(m);
    m->engine = (struct engine_answer){.instance = 0,
                                       .hold_count = 2 * HOLDS,
                                       .holds = m->holds,
                                       .band_count = HOLDS,
                                       .thermostat_start = 71,
                                       .thermostat_full = 82,
                                       .thermostat_from = "run file",
                                       .rated_rpm = 2800};
    for (size_t b = 0; b < HOLDS; b++)
        m->engine.bands[b].rpm = speeds[b];
}

static void finish_made(struct made *m)
{
    for (size_t r = 0; r < 2; r++) {
        columns_free(&m->trials[r].columns);
        facts_free(&m->facts[r]);
    }
}

static struct subject subject_of(struct made *m)
{
    return (struct subject){.answer = &m->answer,
                            .engine = &m->engine,
                            .trials = m->trials,
                            .trial_count = 2,
                            .whole_boat = true};
}

static void look(struct made *m)
{
    struct subject subject = subject_of(m);
    diagnose_engine(&subject);
}

/* Exactly this warning and no other, with these words in it. Forgets it for the next look. */
static void only(struct made *m, const char *key, const char *words)
{
    if (m->answer.warning_count != 1)
        for (size_t i = 0; i < m->answer.warning_count; i++)
            print_message("%s: %s\n", m->answer.warnings[i].key, m->answer.warnings[i].text);
    assert_int_equal(m->answer.warning_count, 1);
    assert_string_equal(m->answer.warnings[0].key, key);
    must_say(m->answer.warnings[0].text, words);
    m->answer.warning_count = 0;
}

static void none(struct made *m)
{
    for (size_t i = 0; i < m->answer.warning_count; i++)
        print_message("%s: %s\n", m->answer.warnings[i].key, m->answer.warnings[i].text);
    assert_int_equal(m->answer.warning_count, 0);
}

#define DIAGNOSIS(name)                                                                            \
    static void name##_of(struct made *m);                                                         \
    static void name(void **state)                                                                 \
    {                                                                                              \
        (void)state;                                                                               \
        struct made *m = malloc(sizeof *m);                                                        \
        assert_non_null(m);                                                                        \
        start(m);                                                                                  \
        name##_of(m);                                                                              \
        finish_made(m);                                                                            \
        free(m);                                                                                   \
    }                                                                                              \
    static void name##_of(struct made *m)

/* --- files and facts */

DIAGNOSIS(good_runs_need_no_word)
{
    diagnose_files(&m->answer);
    diagnose_engine_facts(&m->answer, 0);
    look(m);
    struct subject subject = subject_of(m);
    assert_near(diagnose_sender(&subject), 0, 0);
    none(m);
}

DIAGNOSIS(the_same_run_twice)
{
    snprintf(m->runs[1].run_id, sizeof m->runs[1].run_id, "id-0");
    diagnose_files(&m->answer);
    only(m, "same_run", "before.h5");
    snprintf(m->runs[1].run_id, sizeof m->runs[1].run_id, "id-1");
    memcpy(m->runs[1].sha256, m->runs[0].sha256, sizeof m->runs[0].sha256);
    diagnose_files(&m->answer);
    only(m, "same_run", "after.h5");
    m->runs[0].run_id[0] = m->runs[1].run_id[0] = '\0'; /* no identity is not the same identity */
    m->runs[0].sha256[0] = m->runs[1].sha256[0] = '\0';
    diagnose_files(&m->answer);
    none(m);
}

DIAGNOSIS(sides_in_the_wrong_order)
{
    m->runs[0].start_unix_us = m->runs[1].start_unix_us + 1;
    diagnose_files(&m->answer);
    only(m, "order", "later");
    snprintf(m->runs[0].clock, sizeof m->runs[0].clock, "nominal"); /* its date proves nothing */
    diagnose_files(&m->answer);
    only(m, "clock_nominal", "before.h5");
}

DIAGNOSIS(purposes_that_contradict)
{
    put_fact(m, 0, FACT_RUN, "purpose", "before service");
    put_fact(m, 1, FACT_RUN, "purpose", "after service");
    diagnose_files(&m->answer);
    none(m);
    put_fact(m, 1, FACT_RUN, "purpose", "before service");
    diagnose_files(&m->answer);
    only(m, "purpose", "after.h5");
}

DIAGNOSIS(a_boat_that_nobody_named)
{
    facts_free(&m->facts[1]);
    m->facts[1] = (struct facts){0};
    diagnose_files(&m->answer);
    only(m, "boat_unknown", "after.h5 does not say which boat");
    put_fact(m, 1, FACT_BOAT, "identification", "SK 41"); /* either of the two is enough */
    diagnose_files(&m->answer);
    none(m);
}

DIAGNOSIS(different_boats)
{
    put_fact(m, 0, FACT_BOAT, "identification", "SK 41");
    diagnose_files(&m->answer);
    none(m); /* not recorded is not different */
    put_fact(m, 1, FACT_BOAT, "name", "TERN'S REACH");
    diagnose_files(&m->answer);
    none(m);
    put_fact(m, 1, FACT_BOAT, "name", "Two Sisters");
    diagnose_files(&m->answer);
    only(m, "boats_differ", "Two Sisters");
}

DIAGNOSIS(different_engines_and_propellers)
{
    put_fact(m, 0, FACT_ENGINE, "serial", "C6-1041");
    put_fact(m, 1, FACT_ENGINE, "serial", "C6-1041");
    put_fact(m, 0, FACT_ENGINE, "propeller", "four blades, 22 x 20");
    diagnose_engine_facts(&m->answer, 0);
    none(m);
    put_fact(m, 1, FACT_ENGINE, "serial", "C6-2001");
    diagnose_engine_facts(&m->answer, 0);
    only(m, "engine_differs", "C6-2001");
    put_fact(m, 1, FACT_ENGINE, "serial", "C6-1041");
    put_fact(m, 1, FACT_ENGINE, "propeller", "four blades, 22 x 21");
    diagnose_engine_facts(&m->answer, 0);
    only(m, "propeller_differs", "5 %");
}

DIAGNOSIS(files_that_ended_badly)
{
    m->runs[0].closed_cleanly = false;
    diagnose_files(&m->answer);
    only(m, "unclean_end", "not closed");
    m->runs[0].closed_cleanly = true;
    m->runs[0].rebuilt = true;
    diagnose_files(&m->answer);
    only(m, "unclean_end", "rebuilt");
}

DIAGNOSIS(gaps_and_losses)
{
    m->runs[1].gap_count = 1;
    m->runs[1].gap_seconds = 4;
    diagnose_files(&m->answer);
    none(m);
    m->runs[1].gap_seconds = 30; /* of 2000 s */
    diagnose_files(&m->answer);
    only(m, "gaps", "30 s");
    m->runs[1].gap_seconds = 0;
    m->runs[1].lost = 12;
    diagnose_files(&m->answer);
    only(m, "gaps", "12 messages");
}

DIAGNOSIS(clocks_that_jump)
{
    struct run_utc utc[6];
    struct origin origin = make_origin(PROTOCOL_NMEA0183, PLACE_VESSEL, 0, "ZDA", "GP", "");
    for (int i = 0; i < 6; i++)
        utc[i] = (struct run_utc){60.0 * i, origin, START_US + 60000000LL * i + 300000 * (i % 2)};
    diagnose_clock(&m->answer, 0, utc, 6); /* 0.3 s to and fro: sentences are not that exact */
    none(m);
    for (int i = 3; i < 6; i++)
        utc[i].unix_us += 3600000000LL;
    diagnose_clock(&m->answer, 0, utc, 6);
    only(m, "clock_step", "forward by 1\u00a0h\u00a000\u00a0min");
    utc[3].origin.source[1] = 'N'; /* another clock that differs from the start did not jump */
    utc[4].origin.source[1] = utc[5].origin.source[1] = 'N';
    diagnose_clock(&m->answer, 0, utc, 6);
    none(m);
    diagnose_clock(&m->answer, 0, utc, 0);
    none(m);
    for (int i = 0; i < 6; i++) { /* two clocks in turn, and both jump */
        utc[i].origin.source[1] = i % 2 ? 'N' : 'P';
        utc[i].unix_us = START_US + 60000000LL * i + (i >= 3 ? 50000000LL : 0);
    }
    diagnose_clock(&m->answer, 0, utc, 6);
    only(m, "clock_step", "by 50\u00a0s");
    for (int i = 0; i < 6; i++) { /* a date that was wrong for half a year: told in days */
        utc[i].origin.source[1] = 'P';
        utc[i].unix_us = START_US + 60000000LL * i - (i < 3 ? 0 : 180 * 86400000000LL);
    }
    diagnose_clock(&m->answer, 0, utc, 6);
    only(m, "clock_step", "back by 180\u00a0days");
}

DIAGNOSIS(damaged_messages)
{
    struct tally tally;
    memset(&tally, 0, sizeof tally);
    tally.line[REASON_SENTENCES].count = 10000;
    tally.line[REASON_BAD_CHECKSUM].count = 90;
    diagnose_tally(&m->answer, 0, "serial:/dev/ttyUSB0,4800", &tally);
    none(m);
    tally.line[REASON_TRUNCATED].count = 40;
    diagnose_tally(&m->answer, 0, "serial:/dev/ttyUSB0,4800", &tally);
    only(m, "damaged_messages", "130 of 10130");
    memset(&tally, 0, sizeof tally);
    diagnose_tally(&m->answer, 0, "x", &tally);
    none(m);
}

DIAGNOSIS(seas_that_cannot_both_be)
{
    m->runs[0].sea_mean = 16;
    m->runs[1].sea_mean = 18.5;
    diagnose_files(&m->answer);
    none(m);
    m->runs[1].sea_mean = 20;
    diagnose_files(&m->answer);
    only(m, "seas_unlike", "up to 4.0 K");
    m->runs[1].start_unix_us = m->runs[0].start_unix_us + 40 * 86400 * INT64_C(1000000);
    diagnose_files(&m->answer);
    none(m); /* a season apart */
    m->runs[1].sea_mean = NAN;
    m->runs[1].start_unix_us = m->runs[0].start_unix_us;
    diagnose_files(&m->answer);
    none(m);
}

/* --- what is missing */

static void empty(double *cells)
{
    for (size_t i = 0; i < CELLS; i++)
        cells[i] = NAN;
}

DIAGNOSIS(missing_quantities)
{
    m->trials[1].chosen[QUANTITY_SPEED] = NULL;
    empty(m->trials[1].columns.rpm);
    look(m);
    only(m, "no_speed", "127488");
    m->trials[1].chosen[QUANTITY_COOLANT] = NULL;
    empty(m->trials[1].columns.coolant);
    look(m);
    only(m, "one_side_only", "after"); /* neither: the engine was not recorded there */
    m->trials[1].chosen[QUANTITY_SPEED] = &m->speed[1];
    m->trials[1].columns.rpm[5] = 2000;
    look(m);
    only(m, "no_coolant", "XDR");
    m->trials[1].chosen[QUANTITY_COOLANT] = &m->coolant[1];
    m->trials[1].columns.coolant[5] = 78;
    m->trials[1].chosen[QUANTITY_SEA] = NULL;
    empty(m->trials[1].columns.sea);
    look(m);
    only(m, "no_sea", "MTW");
}

/* --- sources */

DIAGNOSIS(shaft_speed)
{
    m->speed[0].channel = m->speed[1].channel = CHANNEL_SHAFT_SPEED;
    look(m);
    only(m, "shaft_speed_used", "shaft");
}

DIAGNOSIS(sources_that_cannot_be_right)
{
    m->sea[1].profile.mid = 52;
    look(m);
    only(m, "unbelievable_source", "52.0");
    m->sea[1].profile.mid = 17;
    m->coolant[0].profile.mid = 3;
    look(m);
    only(m, "unbelievable_source", "Coolant temperature in before.h5");
}

DIAGNOSIS(raw_water_for_the_sea)
{
    m->sea[0].channel = m->sea[1].channel = CHANNEL_RAW_WATER_IN;
    look(m);
    only(m, "raw_water_for_sea", "Coolers");
}

DIAGNOSIS(sources_that_differ_between_runs)
{
    snprintf(m->coolant[1].title, sizeof m->coolant[1].title, "XDR C:ENGRM from II");
    look(m);
    only(m, "source_differs", "XDR C:ENGRM from II in after.h5");
    snprintf(m->coolant[1].title, sizeof m->coolant[1].title, "127489 from 35");
    snprintf(m->sea[1].title, sizeof m->sea[1].title, "MTW from YX");
    look(m);
    only(m, "source_differs", "difference of seas");
}

DIAGNOSIS(sources_that_disagree)
{
    struct subject subject = subject_of(m);
    diagnose_difference(&subject, 1, QUANTITY_SEA, &m->sea[1], &m->sea[0], 0.6);
    none(m);
    diagnose_difference(&subject, 1, QUANTITY_SEA, &m->sea[1], &m->sea[0], -1.5);
    only(m, "sources_disagree", "1.5 K more"); /* wide open: kelvin for kelvin */
    for (size_t i = 0; i < 2 * HOLDS; i++)     /* in control everywhere: 0.5 / (0.5 + 59.5 / 11) */
        m->holds[i] = m->holds[0];
    diagnose_difference(&subject, 1, QUANTITY_SEA, &m->sea[1], &m->sea[0], 3);
    only(m, "sources_disagree", "off by up to 0.3 K");
    diagnose_difference(&subject, 1, QUANTITY_COOLANT, &m->coolant[1], &m->coolant[0], 1.9);
    none(m);
    diagnose_difference(&subject, 1, QUANTITY_COOLANT, &m->coolant[1], &m->coolant[0], 2.5);
    only(m, "sources_disagree", "off by up to 2.5 K");
    m->speed[1].profile.mid = 2000;
    diagnose_difference(&subject, 1, QUANTITY_SPEED, &m->speed[1], &m->speed[0], 39);
    none(m);
    diagnose_difference(&subject, 1, QUANTITY_SPEED, &m->speed[1], &m->speed[0], 41);
    only(m, "sources_disagree", "41.0 rpm");
    diagnose_difference(&subject, 1, QUANTITY_SEA, &m->sea[1], &m->sea[0], NAN);
    none(m);
}

/* --- cleaning */

DIAGNOSIS(many_outliers)
{
    m->coolant[0].cleaning.count.spikes = 15;
    look(m);
    none(m);
    m->coolant[0].cleaning.count.dropouts = 10;
    look(m);
    only(m, "outliers", "25 of 2000");
}

DIAGNOSIS(frozen_senders)
{
    m->speed[0].cleaning.count.frozen_seconds = 90;
    look(m);
    only(m, "frozen", "90 s");
    m->speed[0].cleaning.count.frozen_seconds = 0;
    struct span span = {100, 1100};
    m->trials[0].frozen = (struct spans){1, &span};
    look(m);
    only(m, "frozen", "1000 s");
}

DIAGNOSIS(silent_sources)
{
    m->coolant[1].cleaning.count.stale = 1;
    m->coolant[1].cleaning.count.stale_seconds = 15;
    look(m);
    none(m);
    m->coolant[1].cleaning.count.stale_seconds = 100;
    m->sea[1].cleaning.count.stale = 2;
    m->sea[1].cleaning.count.stale_seconds = 200;
    look(m);
    only(m, "silences", "sea_temperature 2 times, 200 s");
}

/* --- the sea sensor */

DIAGNOSIS(sea_sensor_follows_the_engine)
{
    m->trials[0].sea = (struct sea_look){.effect = 1.4, .share = 0.8};
    look(m);
    only(m, "sea_follows_engine", "up to 1.4 K of coolant");
    m->trials[0].sea.share = 0.3; /* chance */
    look(m);
    none(m);
    m->trials[0].sea = (struct sea_look){.effect = -1.4, .share = 0.8};
    look(m);
    only(m, "sea_falls_with_speed", "1.4 K less");
}

DIAGNOSIS(sea_drifts)
{
    m->trials[1].sea.drift = 1.9;
    look(m);
    none(m);
    m->trials[1].sea.drift = -2.5;
    look(m);
    only(m, "sea_drift", "fell by 2.5 K");
}

DIAGNOSIS(sea_never_changes)
{
    m->sea[0].profile.step = 0;
    m->sea[0].profile.mid = 16.5; /* a coarse sensor may well */
    look(m);
    none(m);
    m->sea[0].profile.mid = 16.37;
    look(m);
    only(m, "sea_frozen", "16.37");
}

DIAGNOSIS(sea_by_hand)
{
    m->trials[0].chosen[QUANTITY_SEA] = NULL;
    m->trials[0].sea_by_hand = 16.5;
    look(m);
    only(m, "sea_by_hand", "16.5");
}

DIAGNOSIS(seas_far_apart)
{
    for (size_t i = HOLDS; i < 2 * HOLDS; i++)
        m->holds[i].sea = 24;
    look(m);
    none(m);
    for (size_t i = HOLDS; i < 2 * HOLDS; i++)
        m->holds[i].sea = 27;
    look(m);
    only(m, "seas_apart", "10.0 K warmer");
    m->holds[0].sea = 40; /* of a refused hold: does not count */
    m->holds[0].refusal = REFUSAL_GAP;
    look(m);
    only(m, "seas_apart", "10.0 K warmer");
}

/* What concerns the whole boat is told with the first engine only. */
DIAGNOSIS(boat_warnings_once)
{
    m->trials[0].sea = (struct sea_look){.effect = 1.4, .share = 0.8};
    struct subject subject = subject_of(m);
    subject.whole_boat = false;
    diagnose_engine(&subject);
    diagnose_difference(&subject, 1, QUANTITY_SEA, &m->sea[1], &m->sea[0], 3);
    none(m);
}

/* --- holds */

DIAGNOSIS(holds_that_had_not_settled)
{
    m->engine.lag = 90;
    m->engine.lag_u = 30;
    m->holds[5].coolant_slope = 0.02; /* 0.6 K */
    look(m);
    none(m);
    m->holds[5].coolant_slope = -0.03;
    look(m);
    only(m, "holds_unsettled", "by 2.7 K for heat still going into block and coolant, sure to 0.9");
    m->holds[5].refusal = REFUSAL_NOT_SHARED;
    look(m);
    none(m);
}

DIAGNOSIS(coarse_coolant)
{
    m->coolant[1].profile.step = 5.0 / 9;
    look(m);
    only(m, "coolant_coarse", "steps of 0.6 K");
    m->coolant[1].cleaning.lively = true; /* noise takes the mean across its steps */
    look(m);
    none(m);
}

DIAGNOSIS(unsteady_throttle)
{
    m->holds[5].rpm_sd = 27; /* 1 % of 2800 is 28 */
    look(m);
    none(m);
    m->holds[5].rpm_sd = 56;
    look(m);
    only(m, "throttle_unsteady", "2.6 K"); /* 1.9 * 56 / 2800 * 68 K, wide open */
}

/* Swinging by `size` with a period of 70 s while it settles along a bent line. */
static void swing(struct made *m, size_t run, double size)
{
    for (size_t i = 0; i < CELLS; i++)
        m->trials[run].columns.coolant[i] =
            78 + 8 * exp(-(double)(i % 300) / 90) + size * sin(2 * M_PI * (double)i / 70);
}

DIAGNOSIS(unsteady_coolant)
{
    swing(m, 1, 0); /* settling is not unsteady */
    look(m);
    none(m);
    swing(m, 1, 0.4);
    look(m);
    none(m);
    swing(m, 1, 2.5);
    look(m);
    only(m, "coolant_unsteady", "after");
}

DIAGNOSIS(thermostat_stuck_open)
{
    m->holds[9].refusal = REFUSAL_THERMOSTAT_SHUT;
    m->holds[9].coolant = 62;
    look(m);
    only(m, "thermostat_open_pattern", "9.0 K below");
    m->holds[9].coolant = 69; /* only just below */
    look(m);
    none(m);
    m->holds[9].coolant = 62;
    m->engine.thermostat_from = "fitted"; /* says nothing of the plate */
    look(m);
    none(m);
    m->engine.thermostat_from = "run file";
    m->holds[9].rpm = 1000; /* slow running may well be cool */
    look(m);
    none(m);
}

DIAGNOSIS(thermostat_stuck_shut)
{
    m->holds[1].coolant = 84; /* 1400 rpm; full open at 82 */
    look(m);
    none(m);
    m->holds[1].coolant = 88;
    look(m);
    only(m, "thermostat_shut_pattern", "1400 rpm");
    m->holds[1].coolant = 76.5;
    m->holds[5].coolant = 95; /* at full speed that is fouling, not the thermostat */
    look(m);
    none(m);
}

static void put_boat_speed(struct made *m, size_t run, enum channel_id channel, double speed)
{
    for (size_t i = 0; i < CELLS; i++)
        m->value[run][i] = speed;
    fill_candidate(&m->other[run], channel, "VHW from VW", m->time, m->value[run]);
    m->trials[run].chosen[QUANTITY_BOAT_SPEED] = &m->other[run];
}

DIAGNOSIS(load_shifts)
{
    double level[2][CELLS];
    for (size_t r = 0; r < 2; r++) {
        for (size_t i = 0; i < CELLS; i++)
            level[r][i] = r ? 20.8 : 20;
        fill_candidate(&m->other[r], CHANNEL_FUEL_RATE, "127489 from 35", m->time, level[r]);
        m->trials[r].chosen[QUANTITY_FUEL_RATE] = &m->other[r];
    }
    look(m);
    none(m); /* 4 % */
    for (size_t i = 0; i < CELLS; i++)
        level[1][i] = 18;
    look(m);
    only(m, "load_shift", "10 % less hard after than before, by its fuel rate");
    m->trials[0].chosen[QUANTITY_FUEL_RATE] = NULL; /* in one run only: nothing to compare */
    look(m);
    none(m);
}

DIAGNOSIS(boat_speed_shifts)
{
    put_boat_speed(m, 0, CHANNEL_SPEED_THROUGH_WATER, 5.0);
    put_boat_speed(m, 1, CHANNEL_SPEED_THROUGH_WATER, 5.2);
    look(m);
    none(m);
    put_boat_speed(m, 1, CHANNEL_SPEED_THROUGH_WATER, 5.5);
    look(m);
    only(m, "boat_speed_shift", "10 % faster after");
    put_boat_speed(m, 0, CHANNEL_SPEED_OVER_GROUND, 5.0); /* a current does that too */
    put_boat_speed(m, 1, CHANNEL_SPEED_OVER_GROUND, 5.5);
    look(m);
    none(m);
}

/* --- a sender that was changed */

static void cold_start(struct made *m, size_t run, double coolant, double oil)
{
    for (size_t i = 0; i < CELLS; i++) {
        m->value[run][i] = coolant + (i < 100 ? 0 : 0.1 * (double)(i - 100));
        m->flat[run][i] = i < 100 ? oil : 60;
    }
    fill_candidate(&m->coolant[run], CHANNEL_COOLANT_TEMPERATURE, "127489 from 35", m->time,
                   m->value[run]);
    m->coolant[run].profile.mid = 78;
    fill_candidate(&m->other[run], CHANNEL_OIL_TEMPERATURE, "127489 from 35", m->time,
                   m->flat[run]);
    size_t q = QUANTITY_BESIDE;
    while (quantity_channel(q) != CHANNEL_OIL_TEMPERATURE)
        q++;
    m->trials[run].chosen[q] = isnan(oil) ? NULL : &m->other[run];
}

DIAGNOSIS(sender_against_cold_oil)
{
    struct subject subject = subject_of(m);
    m->trials[0].chosen[QUANTITY_SEA] = m->trials[1].chosen[QUANTITY_SEA] = NULL;
    cold_start(m, 0, 18.2, 18);
    cold_start(m, 1, 17.9, 17.0);
    struct cold_start cold = diagnose_cold_start(&m->trials[1]);
    assert_true(cold.by_oil);
    assert_near(cold.offset, 0.9, 1e-9);
    assert_near(diagnose_sender(&subject), 0, 0);
    none(m);
    cold_start(m, 1, 20.5, 17.0);
    assert_near(diagnose_sender(&subject), 3.3, 1e-9);
    only(m, "sender_offset", "3.3 K higher against the oil");
    cold_start(m, 1, 70, 69); /* not cold */
    assert_true(isnan(diagnose_cold_start(&m->trials[1]).offset));
    assert_near(diagnose_sender(&subject), 0, 0);
    cold_start(m, 1, 20, 35); /* oil still warm from yesterday's run: no cold start */
    assert_true(isnan(diagnose_cold_start(&m->trials[1]).offset));
    none(m);
}

DIAGNOSIS(sender_against_the_sea)
{
    struct subject subject = subject_of(m);
    for (size_t r = 0; r < 2; r++)
        m->trials[r].chosen[QUANTITY_SEA] = &m->sea[r];
    cold_start(m, 0, 19, NAN);
    cold_start(m, 1, 24, NAN);
    for (size_t r = 0; r < 2; r++)
        for (size_t i = 0; i < CELLS; i++)
            m->flat[r][i] = 17;
    assert_false(diagnose_cold_start(&m->trials[0]).by_oil);
    assert_near(diagnose_cold_start(&m->trials[0]).offset, 2, 1e-9);
    assert_near(diagnose_sender(&subject), 0, 0); /* 5 K: air and sun do that */
    none(m);
    cold_start(m, 1, 26.5, NAN);
    for (size_t i = 0; i < CELLS; i++)
        m->flat[1][i] = 17;
    assert_near(diagnose_sender(&subject), 7.5, 1e-9);
    only(m, "sender_offset", "against the sea");
}

/* --- consequences */

DIAGNOSIS(responses)
{
    const struct hold *control = &m->holds[0], *open = &m->holds[5];
    /* phi / (phi + (T - S) dphi/dT), method of the heat balance */
    assert_near(diagnose_sea_response(&m->engine, control), 0.5 / (0.5 + 59.5 / 11), 1e-12);
    assert_near(diagnose_sea_response(&m->engine, open), 1, 0);
    assert_near(diagnose_load_response(&m->engine, open), 68, 0);
    assert_near(diagnose_load_response(&m->engine, control), 29.75 / (0.5 + 59.5 / 11), 1e-12);
    m->holds[0].open_fraction = NAN; /* nothing known: the worst */
    assert_near(diagnose_sea_response(&m->engine, control), 1, 0);
    assert_near(diagnose_load_response(&m->engine, control), 59.5, 0);
}

/* --- the list of warnings itself */

DIAGNOSIS(the_list_may_be_full)
{
    for (int i = 0; i < WARNINGS_MAX + 3; i++)
        answer_warn(&m->answer, "test", 0, "warning %d", i);
    assert_int_equal(m->answer.warning_count, WARNINGS_MAX);
    assert_int_equal(m->answer.warnings_left_out, 3);
    assert_string_equal(m->answer.warnings[79].text, "warning 79");
}

DIAGNOSIS(long_warnings_end_at_a_word)
{
    char words[900];
    for (size_t i = 0; i < sizeof words; i++)
        words[i] = i % 7 == 6 ? ' ' : 'x';
    words[sizeof words - 1] = '\0';
    answer_warn(&m->answer, "test", 0, "%s", words);
    const char *text = m->answer.warnings[0].text;
    assert_true(strlen(text) < WARNING_MAX);
    assert_string_equal(text + strlen(text) - 11, " xxxxxx ...");
    assert_string_equal(answer_cut("short").s, "short");
    struct cut cut = answer_cut("0123456789012345678901234567890123456789012345678901234567Ää");
    assert_string_equal(cut.s, "0123456789012345678901234567890123456789012345678901234567Ä...");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(good_runs_need_no_word),
        cmocka_unit_test(the_same_run_twice),
        cmocka_unit_test(sides_in_the_wrong_order),
        cmocka_unit_test(purposes_that_contradict),
        cmocka_unit_test(a_boat_that_nobody_named),
        cmocka_unit_test(different_boats),
        cmocka_unit_test(different_engines_and_propellers),
        cmocka_unit_test(files_that_ended_badly),
        cmocka_unit_test(gaps_and_losses),
        cmocka_unit_test(clocks_that_jump),
        cmocka_unit_test(damaged_messages),
        cmocka_unit_test(seas_that_cannot_both_be),
        cmocka_unit_test(missing_quantities),
        cmocka_unit_test(shaft_speed),
        cmocka_unit_test(sources_that_cannot_be_right),
        cmocka_unit_test(raw_water_for_the_sea),
        cmocka_unit_test(sources_that_differ_between_runs),
        cmocka_unit_test(sources_that_disagree),
        cmocka_unit_test(many_outliers),
        cmocka_unit_test(frozen_senders),
        cmocka_unit_test(silent_sources),
        cmocka_unit_test(sea_sensor_follows_the_engine),
        cmocka_unit_test(sea_drifts),
        cmocka_unit_test(sea_never_changes),
        cmocka_unit_test(sea_by_hand),
        cmocka_unit_test(seas_far_apart),
        cmocka_unit_test(boat_warnings_once),
        cmocka_unit_test(holds_that_had_not_settled),
        cmocka_unit_test(coarse_coolant),
        cmocka_unit_test(unsteady_throttle),
        cmocka_unit_test(unsteady_coolant),
        cmocka_unit_test(thermostat_stuck_open),
        cmocka_unit_test(thermostat_stuck_shut),
        cmocka_unit_test(load_shifts),
        cmocka_unit_test(boat_speed_shifts),
        cmocka_unit_test(sender_against_cold_oil),
        cmocka_unit_test(sender_against_the_sea),
        cmocka_unit_test(responses),
        cmocka_unit_test(the_list_may_be_full),
        cmocka_unit_test(long_warnings_end_at_a_word),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
