/* report_csv.c - the holds as a table for spreadsheets, in stored units and with plain points. */
#include "report.h"

#include <math.h>

struct csv_column {
    const char *title;
    void (*cell)(struct text *out, const struct answer *answer, const struct engine_answer *engine,
                 const struct hold *hold);
};

static void number(struct text *out, double value, int decimals)
{
    if (isfinite(value))
        text_addf(out, "%.*f", decimals, value);
}

#define CELL(name)                                                                                 \
    static void name(struct text *out, const struct answer *answer,                                \
                     const struct engine_answer *engine, const struct hold *hold)
#define NUMBER_CELL(name, member, decimals)                                                        \
    CELL(name)                                                                                     \
    {                                                                                              \
        (void)answer;                                                                              \
        (void)engine;                                                                              \
        number(out, hold->member, decimals);                                                       \
    }

CELL(cell_number)
{
    (void)answer;
    text_addf(out, "%zu", (size_t)(hold - engine->holds) + 1);
}
CELL(cell_engine)
{
    (void)answer;
    (void)hold;
    text_addf(out, "%d", engine->instance);
}
CELL(cell_label)
{
    (void)answer;
    (void)hold;
    text_csv(out, engine->label);
}
CELL(cell_side)
{
    (void)answer;
    (void)engine;
    text_add(out, hold->side == SIDE_BEFORE ? "before" : "after");
}
CELL(cell_run)
{
    (void)engine;
    if (hold->run < answer->run_count)
        text_csv(out, answer->runs[hold->run].name);
}
CELL(cell_begin)
{
    (void)engine;
    if (hold->run < answer->run_count)
        text_add(out, word_iso(answer->runs[hold->run].start_unix_us +
                               (int64_t)llround(hold->start * 1e6))
                          .s);
}
CELL(cell_refusal)
{
    (void)answer;
    (void)engine;
    text_add(out, refusal_key(hold->refusal));
}
CELL(cell_reason)
{
    (void)answer;
    (void)engine;
    text_csv(out, refusal_words(hold->refusal));
}
NUMBER_CELL(cell_start, start, 1)
NUMBER_CELL(cell_end, end, 1)
NUMBER_CELL(cell_used_from, used_from, 1)
NUMBER_CELL(cell_rpm, rpm, 1)
NUMBER_CELL(cell_rpm_sd, rpm_sd, 2)
NUMBER_CELL(cell_coolant, coolant, 3)
NUMBER_CELL(cell_coolant_sd, coolant_sd, 3)
NUMBER_CELL(cell_sea, sea, 3)
NUMBER_CELL(cell_load, load, 1)
NUMBER_CELL(cell_fuel, fuel_rate, 2)
NUMBER_CELL(cell_air, air, 2)
NUMBER_CELL(cell_band, band_rpm, 0)
NUMBER_CELL(cell_open_rise, open_rise, 3)
NUMBER_CELL(cell_open_fraction, open_fraction, 3)
CELL(cell_slope)
{
    (void)answer;
    (void)engine;
    number(out, hold->coolant_slope * 60, 4);
}

static const struct csv_column columns[] = {
    {"number", cell_number},
    {"engine", cell_engine},
    {"engine label", cell_label},
    {"side", cell_side},
    {"run", cell_run},
    {"start (UTC)", cell_begin},
    {"start (s)", cell_start},
    {"end (s)", cell_end},
    {"means from (s)", cell_used_from},
    {"engine speed (rpm)", cell_rpm},
    {"engine speed scatter (rpm)", cell_rpm_sd},
    {"coolant (degC)", cell_coolant},
    {"coolant drift (K/min)", cell_slope},
    {"coolant scatter (K)", cell_coolant_sd},
    {"sea (degC)", cell_sea},
    {"load (%)", cell_load},
    {"fuel rate (L/h)", cell_fuel},
    {"air (degC)", cell_air},
    {"band (rpm)", cell_band},
    {"open rise (K)", cell_open_rise},
    {"thermostat open (1)", cell_open_fraction},
    {"use", cell_refusal},
    {"reason", cell_reason},
};
#define COLUMN_COUNT (sizeof columns / sizeof columns[0])

void report_holds_csv(struct text *out, const struct answer *answer)
{
    for (size_t c = 0; c < COLUMN_COUNT; c++)
        text_addf(out, "%s%s", c > 0 ? "," : "", columns[c].title);
    text_add(out, "\r\n");
    for (size_t e = 0; e < answer->engine_count; e++)
        for (size_t h = 0; h < answer->engines[e].hold_count; h++)
            for (size_t c = 0; c < COLUMN_COUNT; c++) {
                columns[c].cell(out, answer, &answer->engines[e], &answer->engines[e].holds[h]);
                text_add(out, c + 1 < COLUMN_COUNT ? "," : "\r\n");
            }
}
