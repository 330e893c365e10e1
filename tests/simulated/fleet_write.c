/* fleet_write.c - the files of a fleet boat: run files, service log, truth. See fleet.h. */
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "fleet.h"
#include "model_facts.h"
#include "run_write.h"

#define PATH_ROOM 4200
#define ALARM 98.0 /* degC, as model_facts says */

/* --- run files */

static struct origin origin_of(const struct fleet_boat *boat, enum place place, size_t instance,
                               const char *sentence, unsigned pgn, const char *label)
{
    struct origin origin;
    memset(&origin, 0, sizeof origin);
    origin.place = (uint8_t)place;
    origin.instance = (uint8_t)instance;
    if (boat->plan.flavour == RUN_LIKE_0183) {
        origin.protocol = PROTOCOL_NMEA0183;
        snprintf(origin.message, sizeof origin.message, "%s", sentence);
        snprintf(origin.source, sizeof origin.source, "II");
        snprintf(origin.label, sizeof origin.label, "%s", label);
        return origin;
    }
    origin.protocol = PROTOCOL_NMEA2000;
    origin.number = pgn;
    snprintf(origin.message, sizeof origin.message, "%u", pgn);
    snprintf(origin.source, sizeof origin.source, "%u", place == PLACE_ENGINE ? 35u : 37u);
    if (place == PLACE_VESSEL)
        snprintf(origin.label, sizeof origin.label, "sea");
    return origin;
}

struct batch {
    struct value value[4];
    size_t count;
};

static void add(struct batch *batch, enum channel_id channel, double value)
{
    if (!isnan(value))
        batch->value[batch->count++] = (struct value){(uint16_t)channel, value};
}

static enum status put(struct run_writer *run, int64_t at, const struct origin *origin,
                       const struct batch *batch)
{
    return batch->count ? run_write_readings(run, at, origin, batch->value, batch->count)
                        : STATUS_OK;
}

static enum status put_engine(struct run_writer *run, int64_t at, const struct fleet_boat *of,
                              const struct boat *boat, size_t i)
{
    const struct boat_engine_reading *reading = &boat->reading.engine[i];
    const struct origin fast = origin_of(of, PLACE_ENGINE, i, "RPM", 127488, "");
    const struct origin slow =
        origin_of(of, PLACE_ENGINE, i, "XDR", 127489, i ? "C:ENGINE#1" : "C:ENGINE#0");
    struct batch speed = {.count = 0}, dynamic = {.count = 0};
    add(&speed, CHANNEL_ENGINE_SPEED, reading->rpm);
    add(&dynamic, CHANNEL_COOLANT_TEMPERATURE, reading->coolant);
    add(&dynamic, CHANNEL_FUEL_RATE, reading->fuel);
    if (of->plan.flavour == RUN_LIKE_N2K)
        add(&dynamic, CHANNEL_ENGINE_HOURS, reading->hours);
    const enum status status = put(run, at, &fast, &speed);
    return status ? status : put(run, at, &slow, &dynamic);
}

static enum status put_instant(struct run_writer *run, int64_t at, const struct fleet_boat *of,
                               const struct boat *boat)
{
    const struct origin sea = origin_of(of, PLACE_VESSEL, 0, "MTW", 130312, "");
    struct batch value = {.count = 0};
    add(&value, CHANNEL_SEA_TEMPERATURE, boat->reading.sea);
    enum status status = put(run, at, &sea, &value);
    for (size_t i = 0; i < boat->scenario->engine_count && !status; i++)
        status = put_engine(run, at, of, boat, i);
    return status;
}

void fleet_start(const struct fleet_boat *of, size_t outing, const struct boat_scenario *scenario,
                 struct boat *boat)
{
    boat_start(boat, scenario);
    for (size_t i = 0; i < scenario->engine_count; i++)
        boat->state.engine[i].hours = of->counter[i] + of->outing[outing].hours;
}

static enum status put_all(struct run_writer *run, const struct fleet_boat *of, unsigned every,
                           struct boat *boat, int64_t *seconds)
{
    enum status status = STATUS_OK;
    for (*seconds = 0; boat_advance(boat) && !status; ++*seconds)
        if (*seconds % every == 0)
            status = put_instant(run, *seconds * NS_PER_S, of, boat);
    return status;
}

static enum status write_to(struct run_writer *run, const struct fleet_boat *of, size_t outing,
                            const struct boat_scenario *scenario, unsigned every, int64_t *seconds)
{
    struct boat *boat = malloc(sizeof *boat);
    if (!boat)
        return STATUS_MEMORY;
    fleet_start(of, outing, scenario, boat);
    const enum status status = put_all(run, of, every, boat, seconds);
    free(boat);
    return status;
}

static enum status open_run(const struct boat_scenario *scenario, const char *path,
                            struct run_writer **run, struct complaint *complaint)
{
    static const struct run_input input = {"boat-model", "model"};
    struct facts facts = {0};
    const struct run_start start = {.path = path,
                                    .start_unix_us = scenario->start_unix * 1000000,
                                    .clock = CLOCK_GNSS,
                                    .facts = &facts,
                                    .inputs = &input,
                                    .input_count = 1,
                                    .software = "boat-model"};
    enum status status = model_facts(scenario, "other", &facts, complaint);
    if (!status)
        status = run_write_open(&start, run, complaint);
    facts_free(&facts);
    return status;
}

enum status fleet_write_run(const struct fleet_boat *boat, size_t outing, unsigned every,
                            const char *path, struct complaint *complaint)
{
    struct boat_scenario scenario;
    struct run_writer *run;
    struct tally tally = {0};
    int64_t seconds = 0;
    fleet_scenario(boat, outing, &scenario);
    enum status status = open_run(&scenario, path, &run, complaint);
    if (status)
        return status;
    status = write_to(run, boat, outing, &scenario, every, &seconds);
    if (status) {
        run_write_abandon(run);
        return complain(complaint, status, "the run file %s could not be written", path);
    }
    const struct run_end end = {.end = seconds * NS_PER_S,
                                .start_unix_us = scenario.start_unix * 1000000,
                                .clock = CLOCK_GNSS,
                                .clean = true,
                                .tallies = &tally};
    return run_write_close(run, &end, complaint);
}

static enum status write_sheet_file(const struct fleet_boat *boat, size_t outing, const char *sheet,
                                    struct complaint *complaint)
{
    struct boat_scenario scenario;
    FILE *to = fopen(sheet, "w");
    if (to == NULL)
        return complain(complaint, STATUS_IO, "%s cannot be made: %s", sheet, strerror(errno));
    fleet_scenario(boat, outing, &scenario);
    enum status status = write_sheet(&scenario, "other", to, complaint);
    if (fclose(to) != 0 && status == STATUS_OK)
        status = complain(complaint, STATUS_IO, "%s could not be written", sheet);
    return status;
}

/* The way of people: a sheet first, and the logger makes the run of it. */
static enum status make_by_hand(const struct fleet_boat *boat, size_t outing, const char *path,
                                fleet_sheet_maker *make_run, struct complaint *complaint)
{
    char sheet[PATH_ROOM + 8];
    snprintf(sheet, sizeof sheet, "%s.csv", path);
    if (make_run == NULL)
        return complain(complaint, STATUS_BAD_USAGE, "sheets want somebody who makes runs of them");
    enum status status = write_sheet_file(boat, outing, sheet, complaint);
    if (status == STATUS_OK)
        status = make_run(sheet, path, complaint);
    unlink(sheet);
    return status;
}

/* --- service log and truth */

static void day_of(int64_t unix_s, bool with_time, char out[32])
{
    const time_t seconds = (time_t)unix_s;
    struct tm tm;
    gmtime_r(&seconds, &tm);
    if (with_time)
        strftime(out, 32, "%Y-%m-%dT%H:%M:%SZ", &tm);
    else
        strftime(out, 32, "%Y-%m-%d", &tm);
}

static const char *const work_words[] = {
    [FLEET_CLEAN] = "heat exchanger acid-cleaned",
    [FLEET_REPLACE] = "heat exchanger replaced",
    [FLEET_ZINC] = "zinc anode changed",
};

enum status fleet_write_services(const struct fleet_boat *boat, FILE *to,
                                 struct complaint *complaint)
{
    fputs("date,engine hours,engine,what was done,by,notes\n", to);
    for (size_t i = 0; i < boat->service_count; i++) {
        const struct fleet_service *service = &boat->service[i];
        char day[32], engine[12] = "all";
        day_of(service->unix_s, false, day);
        if (service->engine >= 0)
            snprintf(engine, sizeof engine, "%d", service->engine);
        fprintf(to, "%s,%.0f,%s,%s,Skerrow yard,\n", day,
                boat->counter[service->engine > 0 ? 1 : 0] + service->hours, engine,
                work_words[service->work]);
    }
    if (fflush(to) != 0 || ferror(to))
        return complain(complaint, STATUS_IO, "the service log could not be written");
    return STATUS_OK;
}

static void write_services(const struct fleet_boat *boat, FILE *to)
{
    const char *between = "";
    fputs("  \"services\": [\n", to);
    for (size_t i = 0; i < boat->service_count; i++) {
        const struct fleet_service *service = &boat->service[i];
        char day[32];
        day_of(service->unix_s, false, day);
        fprintf(to, "%s    {\"date\": \"%s\", \"hours\": %.1f, \"engine\": %d, \"work\": \"%s\", ",
                between, day, service->hours, service->engine, work_words[service->work]);
        fprintf(to, "\"taken_away\": %.3f}", service->share);
        between = ",\n";
    }
    fputs("\n  ],\n", to);
}

static void write_outing(const struct fleet_boat *boat, size_t at, FILE *to)
{
    static const char *const kinds[] = {"cruise", "ladder", "restless"};
    const struct fleet_outing *outing = &boat->outing[at];
    const double rated = boat->base.engine[0].rated_rpm;
    char name[FLEET_NAME_ROOM], start[32];
    fleet_run_name(boat, at, name);
    day_of(outing->start_unix, true, start);
    fprintf(to, "    {\"file\": \"%s\", \"start\": \"%s\", \"hours\": %.2f, \"kind\": \"%s\", ",
            name, start, outing->hours, kinds[outing->kind]);
    fprintf(to, "\"sea\": %.2f, \"load\": %.4f, \"engines\": [", outing->sea, outing->load);
    for (size_t i = 0; i < boat->plan.engines; i++)
        fprintf(to, "%s{\"fouling\": %.5f, \"open_rise\": %.4f}", i ? ", " : "",
                fleet_fouling_at(boat, i, outing->hours),
                exp(fleet_log_rise(boat, i, outing->hours, rated)));
    fprintf(to, "]}%s\n", at + 1 < boat->outing_count ? "," : "");
}

/* When the alarm would sound at full throttle in the warmest sea that was recorded. */
static void write_alarm(const struct fleet_boat *boat, size_t engine, FILE *to)
{
    const struct fleet_outing *last = &boat->outing[boat->outing_count - 1];
    double warmest = last->sea;
    char day[32];
    for (size_t i = 0; i < boat->outing_count; i++)
        warmest = fmax(warmest, boat->outing[i].sea);
    const double hours = fleet_alarm_hours(boat, engine, last->hours,
                                           boat->base.engine[engine].rated_rpm, warmest, ALARM);
    fprintf(to, "    {\"instance\": %zu, \"hour_meter_at_0\": %.1f, \"sea\": %.2f, ", engine,
            boat->counter[engine], warmest);
    if (isinf(hours)) {
        fputs("\"alarm_hours\": null, \"alarm_date\": null}", to);
        return;
    }
    day_of(fleet_unix_at(boat, hours), false, day);
    fprintf(to, "\"alarm_hours\": %.1f, \"alarm_date\": \"%s\"}", hours, day);
}

enum status fleet_write_truth(const struct fleet_boat *boat, FILE *to, struct complaint *complaint)
{
    fprintf(to, "{\n  \"boat\": \"%s\", \"seed\": %llu, \"seasons\": %zu, \"growth\": \"%s\",\n",
            boat->base.boat, (unsigned long long)boat->plan.seed, boat->plan.seasons,
            boat->plan.growth == FLEET_LINEAR ? "linear" : "asymptotic");
    fputs("  \"units\": \"h since the first season, K/kW, K, degC\",\n", to);
    write_services(boat, to);
    fputs("  \"outings\": [\n", to);
    for (size_t i = 0; i < boat->outing_count; i++)
        write_outing(boat, i, to);
    fputs("  ],\n  \"engines\": [\n", to);
    for (size_t i = 0; i < boat->plan.engines; i++) {
        write_alarm(boat, i, to);
        fputs(i + 1 < boat->plan.engines ? ",\n" : "\n", to);
    }
    fputs("  ]\n}\n", to);
    if (fflush(to) != 0 || ferror(to))
        return complain(complaint, STATUS_IO, "the truth could not be written");
    return STATUS_OK;
}

/* --- a folder of all */

void fleet_run_name(const struct fleet_boat *boat, size_t outing, char name[FLEET_NAME_ROOM])
{
    char day[32];
    day_of(boat->outing[outing].start_unix, false, day);
    snprintf(name, FLEET_NAME_ROOM, "%s.h5", day);
}

typedef enum status writer(const struct fleet_boat *, FILE *, struct complaint *);

static enum status write_file(const struct fleet_boat *boat, const char *folder, const char *name,
                              writer *content, struct complaint *complaint)
{
    char path[PATH_ROOM];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *to = fopen(path, "w");
    if (!to)
        return complain(complaint, STATUS_IO, "%s could not be opened: %s", path, strerror(errno));
    enum status status = content(boat, to, complaint);
    if (fclose(to) != 0 && !status)
        status = complain(complaint, STATUS_IO, "%s could not be written", path);
    return status;
}

enum status fleet_write(const struct fleet_boat *boat, unsigned every, const char *folder,
                        fleet_sheet_maker *make_run, struct complaint *complaint)
{
    char path[PATH_ROOM], name[FLEET_NAME_ROOM];
    enum status status =
        write_file(boat, folder, FLEET_SERVICES_NAME, fleet_write_services, complaint);
    if (!status)
        status = write_file(boat, folder, "truth.json", fleet_write_truth, complaint);
    for (size_t i = 0; i < boat->outing_count && !status; i++) {
        fleet_run_name(boat, i, name);
        snprintf(path, sizeof path, "%s/%s", folder, name);
        status = fleet_by_hand(boat, i) ? make_by_hand(boat, i, path, make_run, complaint)
                                        : fleet_write_run(boat, i, every, path, complaint);
    }
    return status;
}
