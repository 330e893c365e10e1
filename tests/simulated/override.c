/* override.c - "key=value" on a scenario, by a table of its numbers. */
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "boat.h"

enum kind { KIND_NUMBER, KIND_FLAG, KIND_OPENING, KIND_NOISE, KIND_SEED, KIND_TIME };

static const struct key {
    const char *name;
    enum kind kind;
    bool engine; /* a parameter of an engine */
    size_t offset;
    double low, high;
} keys[] = {
#define VESSEL(name, field, kind, low, high)                                                       \
    {                                                                                              \
        name, kind, false, offsetof(struct boat_scenario, field), low, high                        \
    }
#define ENGINE(name, field, kind, low, high)                                                       \
    {                                                                                              \
        name, kind, true, offsetof(struct boat_engine, field), low, high                           \
    }
#define SENDER(MACRO, prefix, field)                                                               \
    MACRO(prefix ".offset", field.offset, KIND_NUMBER, -1000, 1000),                               \
        MACRO(prefix ".lag", field.lag, KIND_NUMBER, 0, 600),                                      \
        MACRO(prefix ".noise", field.noise, KIND_NUMBER, 0, 1000),                                 \
        MACRO(prefix ".step", field.step, KIND_NUMBER, 0, 100),                                    \
        MACRO(prefix ".fahrenheit", field.fahrenheit, KIND_FLAG, 0, 1),                            \
        MACRO(prefix ".outliers", field.outliers, KIND_NUMBER, 0, 1),                              \
        MACRO(prefix ".outlier_size", field.outlier_size, KIND_NUMBER, 0, 1000),                   \
        MACRO(prefix ".dropouts", field.dropouts, KIND_NUMBER, 0, 3600),                           \
        MACRO(prefix ".dropout_length", field.dropout_length, KIND_NUMBER, 0, 3600)
    VESSEL("seed", seed, KIND_SEED, 0, 0),
    VESSEL("start", start_unix, KIND_TIME, 0, 4e9),
    VESSEL("sea", sea, KIND_NUMBER, -3, 45),
    VESSEL("sea_wander", sea_wander, KIND_NUMBER, 0, 5),
    VESSEL("air", air, KIND_NUMBER, -40, 50),
    VESSEL("wind_speed", wind_speed, KIND_NUMBER, 0, 40),
    VESSEL("wind_from", wind_from, KIND_NUMBER, 0, 360),
    VESSEL("current", current, KIND_NUMBER, -5, 5),
    VESSEL("day_load", day_load, KIND_NUMBER, 0.1, 3),
    VESSEL("wind_load", wind_load, KIND_NUMBER, 0, 0.5),
    VESSEL("leg_time", leg_time, KIND_NUMBER, 10, 1e6),
    VESSEL("hold_load", hold_load, KIND_NUMBER, 0, 0.5),
    VESSEL("noise.shape", noise.shape, KIND_NOISE, 0, 0),
    VESSEL("noise.sd", noise.sd, KIND_NUMBER, 0, 0.5),
    VESSEL("noise.period", noise.period, KIND_NUMBER, 1, 1e4),
    VESSEL("throttle_sd", throttle_sd, KIND_NUMBER, 0, 500),
    VESSEL("sea_stagnant", sea_stagnant, KIND_NUMBER, 0, 1),
    VESSEL("has_sea", has_sea, KIND_FLAG, 0, 1),
    VESSEL("step", step, KIND_NUMBER, 0.05, 1),
    SENDER(VESSEL, "sea_sender", sea_sender),
    ENGINE("rated_rpm", rated_rpm, KIND_NUMBER, 500, 10000),
    ENGINE("rated_heat", rated_heat, KIND_NUMBER, 1, 5000),
    ENGINE("rated_fuel", rated_fuel, KIND_NUMBER, 1, 3000),
    ENGINE("friction_share", friction_share, KIND_NUMBER, 0, 1),
    ENGINE("heat_lean", heat_lean, KIND_NUMBER, 0, 1),
    ENGINE("heat_follow", heat_follow, KIND_NUMBER, 0, 2),
    ENGINE("load_factor", load_factor, KIND_NUMBER, 0.1, 3),
    ENGINE("coolant_flow", coolant_flow, KIND_NUMBER, 0.1, 1000),
    ENGINE("raw_flow", raw_flow, KIND_NUMBER, 0.1, 1000),
    ENGINE("coolant_film", coolant_film, KIND_NUMBER, 0.001, 10),
    ENGINE("raw_film", raw_film, KIND_NUMBER, 0.001, 10),
    ENGINE("wall", wall, KIND_NUMBER, 0, 10),
    ENGINE("coolant_power", coolant_power, KIND_NUMBER, 0, 1),
    ENGINE("raw_power", raw_power, KIND_NUMBER, 0, 1),
    ENGINE("fouling", fouling, KIND_NUMBER, 0, 10),
    ENGINE("room_loss", room_loss, KIND_NUMBER, 0, 10),
    ENGINE("settling", settling, KIND_NUMBER, 5, 3600),
    ENGINE("deep_share", deep_share, KIND_NUMBER, 0.01, 0.9),
    ENGINE("deep_settling", deep_settling, KIND_NUMBER, 5, 3600),
    ENGINE("deep_heat", deep_heat, KIND_NUMBER, 0, 0.9),
    ENGINE("initial", initial, KIND_NUMBER, -10, 110),
    ENGINE("opens", opens, KIND_NUMBER, 30, 110),
    ENGINE("full", full, KIND_NUMBER, 31, 120),
    ENGINE("opening", opening, KIND_OPENING, 0, 0),
    ENGINE("opening_exponent", opening_exponent, KIND_NUMBER, 0.2, 5),
    ENGINE("thermostat_lag", thermostat_lag, KIND_NUMBER, 0, 300),
    ENGINE("hysteresis", hysteresis, KIND_NUMBER, 0, 10),
    ENGINE("has_load", has_load, KIND_FLAG, 0, 1),
    ENGINE("load_error", load_error, KIND_NUMBER, -0.5, 0.5),
    ENGINE("has_fuel", has_fuel, KIND_FLAG, 0, 1),
    ENGINE("has_raw_out", has_raw_out, KIND_FLAG, 0, 1),
    SENDER(ENGINE, "speed", speed),
    SENDER(ENGINE, "coolant", coolant),
    SENDER(ENGINE, "fuel", fuel),
    SENDER(ENGINE, "raw_out", raw_out),
};

static const char *const opening_words[] = {"linear", "curved", "smooth", "flow", NULL};
static const char *const noise_words[] = {"ar1", "swell", "heavy", NULL};

static int find_word(const char *const *words, const char *text)
{
    for (int i = 0; words[i] != NULL; i++)
        if (strcmp(words[i], text) == 0)
            return i;
    return -1;
}

static bool parse_number(const struct key *key, const char *text, double *out)
{
    char *end;
    errno = 0;
    *out = strtod(text, &end);
    return errno == 0 && end != text && *end == '\0' && isfinite(*out) && *out >= key->low &&
           *out <= key->high;
}

static bool store_number(const struct key *key, void *field, const char *text)
{
    double number;
    if (!parse_number(key, text, &number))
        return false;
    if (key->kind == KIND_FLAG)
        *(bool *)field = number > 0.5;
    else if (key->kind == KIND_TIME)
        *(int64_t *)field = (int64_t)number;
    else
        *(double *)field = number;
    return true;
}

static bool store(const struct key *key, void *field, const char *text)
{
    int word;
    char *end;
    switch (key->kind) {
    case KIND_OPENING:
        word = find_word(opening_words, text);
        if (word >= 0)
            *(enum boat_opening *)field = (enum boat_opening)word;
        return word >= 0;
    case KIND_NOISE:
        word = find_word(noise_words, text);
        if (word >= 0)
            *(enum boat_noise_shape *)field = (enum boat_noise_shape)word;
        return word >= 0;
    case KIND_SEED:
        *(uint64_t *)field = strtoull(text, &end, 10);
        return end != text && *end == '\0';
    case KIND_NUMBER:
    case KIND_FLAG:
    case KIND_TIME:
        break;
    }
    return store_number(key, field, text);
}

static const struct key *find_key(const char *name, size_t length)
{
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
        if (strlen(keys[i].name) == length && strncmp(keys[i].name, name, length) == 0)
            return &keys[i];
    return NULL;
}

/* "1.fouling": engine 1 only. Returns -1 where no number is given. */
static int take_engine(const char **name)
{
    if (((*name)[0] != '0' && (*name)[0] != '1') || (*name)[1] != '.')
        return -1;
    const int engine = (*name)[0] - '0';
    *name += 2;
    return engine;
}

bool boat_override(struct boat_scenario *scenario, const char *assignment, const char **why)
{
    const char *name = assignment;
    const int only = take_engine(&name);
    const char *equals = strchr(name, '=');
    const struct key *key = equals ? find_key(name, (size_t)(equals - name)) : NULL;
    *why = "no such key: see --list";
    if (key == NULL || (only >= 0 && !key->engine))
        return false;
    *why = "value not allowed for this key";
    if (!key->engine)
        return store(key, (char *)scenario + key->offset, equals + 1);
    for (int i = 0; i < BOAT_ENGINES_MAX; i++)
        if ((only < 0 || only == i) &&
            !store(key, (char *)&scenario->engine[i] + key->offset, equals + 1))
            return false;
    return true;
}

const char *boat_override_key(size_t index)
{
    return index < sizeof keys / sizeof *keys ? keys[index].name : NULL;
}
