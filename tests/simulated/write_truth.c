/* write_truth.c - see writers.h. */
#include "writers.h"

static const double seas[] = {4, 8, 12, 14, 16, 18, 20, 24, 28};
#define SEA_COUNT (sizeof seas / sizeof *seas)

static void write_band(const struct boat_engine *engine, double rpm, FILE *to)
{
    fprintf(to, "      {\"rpm\": %.0f, \"open_rise\": %.4f, \"coolant\": [", rpm,
            boat_open_rise(engine, rpm, 1.0));
    for (size_t i = 0; i < SEA_COUNT; i++)
        fprintf(to, "%s%.4f", i == 0 ? "" : ", ", boat_steady_coolant(engine, rpm, seas[i], 1.0));
    fprintf(to, "]}");
}

/* True for the first leg of the ladder at that speed. */
static bool first_at(const struct boat_scenario *scenario, size_t leg)
{
    if (!scenario->leg[leg].hold)
        return false;
    for (size_t i = 0; i < leg; i++)
        if (scenario->leg[i].hold && scenario->leg[i].rpm == scenario->leg[leg].rpm)
            return false;
    return true;
}

static void write_engine(const struct boat_scenario *scenario, size_t i, FILE *to)
{
    const struct boat_engine *engine = &scenario->engine[i];
    const char *between = "";
    fprintf(to, "    {\"instance\": %zu, \"label\": \"%s\",\n", i, engine->label);
    fprintf(to, "     \"thermostat\": [%.3f, %.3f], \"fouling\": %.4f,\n     \"bands\": [\n",
            engine->opens, engine->full, engine->fouling);
    for (size_t leg = 0; leg < scenario->leg_count; leg++) {
        if (!first_at(scenario, leg))
            continue;
        fputs(between, to);
        write_band(engine, scenario->leg[leg].rpm, to);
        between = ",\n";
    }
    fprintf(to, "\n     ]}");
}

enum status write_truth(const struct boat_scenario *scenario, FILE *to, struct complaint *complaint)
{
    fprintf(to, "{\n  \"scenario\": \"%s\", \"seed\": %llu, \"sea\": %.3f, \"day_load\": %.4f,\n",
            scenario->name, (unsigned long long)scenario->seed, scenario->sea, scenario->day_load);
    fprintf(to, "  \"units\": \"degC, K, rpm\",\n  \"sea_temperatures\": [");
    for (size_t i = 0; i < SEA_COUNT; i++)
        fprintf(to, "%s%.0f", i == 0 ? "" : ", ", seas[i]);
    fprintf(to, "],\n  \"engines\": [\n");
    for (size_t i = 0; i < scenario->engine_count; i++) {
        write_engine(scenario, i, to);
        fprintf(to, i + 1 < scenario->engine_count ? ",\n" : "\n");
    }
    fprintf(to, "  ]\n}\n");
    if (fflush(to) != 0 || ferror(to))
        return complain(complaint, STATUS_IO, "the truth could not be written");
    return STATUS_OK;
}
