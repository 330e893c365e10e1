/* write_run.c - see writers.h. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "run_write.h"
#include "writers.h"

#define VALUES_HERE 12

struct batch {
    struct origin origin;
    struct value value[VALUES_HERE];
    size_t count;
};

/* What missing values look like in a run file: they are left out. */
static void add(struct batch *batch, enum channel_id channel, double value)
{
    const struct channel *row = channel_get(channel);
    if (isnan(value) || value < row->low || value > row->high)
        return;
    batch->value[batch->count].channel = (uint16_t)channel;
    batch->value[batch->count++].value = value;
}

static struct batch batch_0183(const char *message, const char *talker, const char *label,
                               int engine)
{
    struct batch batch;
    memset(&batch, 0, sizeof batch);
    batch.origin.protocol = PROTOCOL_NMEA0183;
    batch.origin.place = engine < 0 ? PLACE_VESSEL : PLACE_ENGINE;
    batch.origin.instance = engine < 0 ? 0 : (uint8_t)engine;
    snprintf(batch.origin.message, sizeof batch.origin.message, "%s", message);
    snprintf(batch.origin.source, sizeof batch.origin.source, "%s", talker);
    snprintf(batch.origin.label, sizeof batch.origin.label, "%s", label);
    return batch;
}

static struct batch batch_n2k(unsigned pgn, unsigned address, const char *label, int engine)
{
    struct batch batch;
    memset(&batch, 0, sizeof batch);
    batch.origin.protocol = PROTOCOL_NMEA2000;
    batch.origin.place = engine < 0 ? PLACE_VESSEL : PLACE_ENGINE;
    batch.origin.instance = engine < 0 ? 0 : (uint8_t)engine;
    batch.origin.number = pgn;
    snprintf(batch.origin.message, sizeof batch.origin.message, "%u", pgn);
    snprintf(batch.origin.source, sizeof batch.origin.source, "%u", address);
    snprintf(batch.origin.label, sizeof batch.origin.label, "%s", label);
    return batch;
}

static enum status put(struct run_writer *run, int64_t at, const struct batch *batch)
{
    if (batch->count == 0)
        return STATUS_OK;
    return run_write_readings(run, at, &batch->origin, batch->value, batch->count);
}

/* Stops at the first refusal: `status` is handed through. */
static void put_next(struct run_writer *run, int64_t at, const struct batch *batch,
                     enum status *status)
{
    if (*status == STATUS_OK)
        *status = put(run, at, batch);
}

static void put_engine_0183(struct run_writer *run, int64_t at, const struct boat *boat, size_t i,
                            enum status *status)
{
    const struct boat_engine_reading *reading = &boat->reading.engine[i];
    char label[44];
    struct batch speed = batch_0183("RPM", "II", "", (int)i);
    add(&speed, CHANNEL_ENGINE_SPEED, reading->rpm);
    put_next(run, at, &speed, status);
    snprintf(label, sizeof label, "C:ENGINE#%zu", i);
    struct batch coolant = batch_0183("XDR", "II", label, (int)i);
    add(&coolant, CHANNEL_COOLANT_TEMPERATURE, reading->coolant);
    put_next(run, at, &coolant, status);
    snprintf(label, sizeof label, "C:RAWWATEROUT#%zu", i);
    struct batch raw = batch_0183("XDR", "II", label, (int)i);
    add(&raw, CHANNEL_RAW_WATER_OUT, reading->raw_out);
    put_next(run, at, &raw, status);
}

static void put_engine_n2k(struct run_writer *run, int64_t at, const struct boat *boat, size_t i,
                           enum status *status)
{
    const struct boat_engine_reading *reading = &boat->reading.engine[i];
    struct batch rapid = batch_n2k(127488, 35, "", (int)i);
    add(&rapid, CHANNEL_ENGINE_SPEED, reading->rpm);
    put_next(run, at, &rapid, status);
    struct batch dynamic = batch_n2k(127489, 35, "", (int)i);
    add(&dynamic, CHANNEL_OIL_PRESSURE, reading->oil_pressure);
    add(&dynamic, CHANNEL_OIL_TEMPERATURE, reading->oil_temperature);
    add(&dynamic, CHANNEL_COOLANT_TEMPERATURE, reading->coolant);
    add(&dynamic, CHANNEL_FUEL_RATE, reading->fuel);
    add(&dynamic, CHANNEL_ENGINE_LOAD, reading->load);
    put_next(run, at, &dynamic, status);
    if (isnan(reading->fuel))
        return; /* a plain interface without a transmission */
    struct batch gear = batch_n2k(127493, 35, "", (int)i);
    add(&gear, CHANNEL_TRANSMISSION_GEAR,
        boat->truth.gear == GEAR_AHEAD    ? 1.0
        : boat->truth.gear == GEAR_ASTERN ? -1.0
                                          : 0.0);
    put_next(run, at, &gear, status);
}

static enum status put_second(struct run_writer *run, const struct boat *boat,
                              enum run_flavour flavour, int64_t second)
{
    enum status status = STATUS_OK;
    const int64_t at = second * NS_PER_S;
    for (size_t i = 0; i < boat->scenario->engine_count; i++) {
        if (flavour == RUN_LIKE_0183)
            put_engine_0183(run, at, boat, i, &status);
        else
            put_engine_n2k(run, at, boat, i, &status);
    }
    if (second % 2 == 0) {
        struct batch sea = flavour == RUN_LIKE_0183 ? batch_0183("MTW", "YX", "", -1)
                                                    : batch_n2k(130312, 37, "sea", -1);
        add(&sea, CHANNEL_SEA_TEMPERATURE, boat->reading.sea);
        put_next(run, at, &sea, &status);
    }
    return status;
}

static enum status put_all(struct run_writer *run, struct boat *boat, enum run_flavour flavour,
                           const struct boat_watch *watch, int64_t *seconds)
{
    enum status status;
    *seconds = 0;
    do {
        if (boat->truth.t < (double)*seconds - 1e-9)
            continue;
        status = put_second(run, boat, flavour, (*seconds)++);
        if (status != STATUS_OK)
            return status;
        if (watch != NULL)
            watch->second(watch->self, boat);
    } while (boat_advance(boat));
    return STATUS_OK;
}

enum status write_run(const struct boat_scenario *scenario, enum run_flavour flavour,
                      const struct facts *facts, const char *path, const struct boat_watch *watch,
                      struct complaint *complaint)
{
    const struct run_input input = {"boat-model", "model"};
    const int64_t start_us = scenario->start_unix * 1000000;
    const struct run_start start = {.path = path,
                                    .start_unix_us = start_us,
                                    .clock = CLOCK_GNSS,
                                    .facts = facts,
                                    .inputs = &input,
                                    .input_count = 1,
                                    .software = "boat-model"};
    struct tally tally;
    struct run_writer *run;
    int64_t seconds;
    struct boat *boat = malloc(sizeof *boat);
    if (boat == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory for the boat model");
    enum status status = run_write_open(&start, &run, complaint);
    if (status != STATUS_OK)
        goto out;
    boat_start(boat, scenario);
    status = put_all(run, boat, flavour, watch, &seconds);
    if (status != STATUS_OK) {
        run_write_abandon(run);
        complain(complaint, status, "the run file %s could not be written", path);
        goto out;
    }
    memset(&tally, 0, sizeof tally);
    const struct run_end end = {.end = seconds * NS_PER_S,
                                .start_unix_us = start_us,
                                .clock = CLOCK_GNSS,
                                .clean = true,
                                .tallies = &tally};
    status = run_write_close(run, &end, complaint);
out:
    free(boat);
    return status;
}
