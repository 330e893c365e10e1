/* write_sheet.c - see writers.h. */
#include <math.h>
#include <stdlib.h>
#include <time.h>

#include "writers.h"

#define SPEED_STEP 50.0 /* rpm, divisions of the tachometer */
#define SEA_STEP 0.5    /* degC, of the sea thermometer */
#define EARLY 5.0       /* s before the end of a hold at which everything is read */

static double rounded(double value, double step)
{
    return round(value / step) * step;
}

/* The shortest time that anything was held before it was read, in whole minutes. */
static double minutes_held(const struct boat_scenario *scenario)
{
    double least = INFINITY;
    for (size_t i = 0; i < scenario->leg_count; i++)
        if (scenario->leg[i].hold)
            least = fmin(least, scenario->leg[i].seconds);
    return floor(least / 60);
}

static void put_head(const struct boat_scenario *scenario, const char *purpose, FILE *to)
{
    const struct boat_engine *engine = &scenario->engine[0];
    const struct boat_hand *hand = &scenario->hand;
    char day[24], hour[24];
    const time_t start = (time_t)scenario->start_unix;
    struct tm date;
    gmtime_r(&start, &date);
    strftime(day, sizeof day, "%Y-%m-%d", &date);
    strftime(hour, sizeof hour, "%H:%M", &date);
    fprintf(to, "boat,%s\nmodel,Corrigal 6-230\nrated rpm,%.0f\nalarm,98 °C\n", scenario->boat,
            engine->rated_rpm);
    if (engine->plate_thermostat && engine->plate_thermostat[0])
        fprintf(to, "thermostat,\"%s °C\"\n", engine->plate_thermostat);
    fprintf(to, "purpose,%s\ndate,%s\ntime zone,UTC\nengine started,%s\n", purpose, day, hour);
    if (!hand->each_held)
        fprintf(to, "held,%g min\n", minutes_held(scenario));
    fprintf(to, "tachometer read to,%g rpm\nsea thermometer read to,%g °C\n", SPEED_STEP, SEA_STEP);
    if (hand->step > 0)
        fprintf(to, "%s read to,%g %s\n", hand->infrared ? "infrared thermometer" : "gauge",
                hand->step, hand->fahrenheit ? "°F" : "°C");
    if (hand->words)
        fprintf(to, "%s,%s\n", hand->infrared ? "infrared thermometer" : "gauge", hand->words);
}

/* What is read of the coolant, in the unit of the sheet. */
static double read_coolant(const struct boat *boat, struct random *random)
{
    const struct boat_hand *hand = &boat->scenario->hand;
    double value =
        hand->infrared ? boat->truth.engine[0].coolant : boat->state.engine[0].shown_coolant;
    value += hand->offset + random_uniform(random, -hand->spread, hand->spread);
    if (hand->fahrenheit)
        value = 1.8 * value + 32;
    return hand->step > 0 ? rounded(value, hand->step) : value;
}

/* `ends`: s since the start at which the hold is over; whole minutes, as people write them. */
static void put_row(const struct boat *boat, double ends, double held, struct random *random,
                    FILE *to)
{
    const time_t at = (time_t)(boat->scenario->start_unix + (int64_t)ends);
    double sea =
        boat->truth.sea + boat->scenario->hand.sea_offset + random_uniform(random, -0.1, 0.1);
    char hour[24];
    struct tm date;
    gmtime_r(&at, &date);
    strftime(hour, sizeof hour, "%H:%M", &date);
    fprintf(to, "%s,%.0f,%.1f,%.1f,", hour, rounded(boat->truth.engine[0].rpm, SPEED_STEP),
            read_coolant(boat, random), rounded(sea, SEA_STEP));
    if (boat->scenario->hand.each_held)
        fprintf(to, "%.0f,", floor(held / 60));
    fputc('\n', to);
}

enum status write_sheet(const struct boat_scenario *scenario, const char *purpose, FILE *to,
                        struct complaint *complaint)
{
    struct random random = random_start(scenario->seed, 2000);
    struct boat *boat = malloc(sizeof *boat);
    size_t leg = 0;
    double ends = scenario->leg[0].seconds;
    if (boat == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory for the boat model");
    put_head(scenario, purpose, to);
    fprintf(to, "time,rpm,%s [%s],sea [°C],%snotes\n",
            scenario->hand.infrared ? "thermostat housing" : "gauge",
            scenario->hand.fahrenheit ? "°F" : "°C", scenario->hand.each_held ? "held [min]," : "");
    boat_start(boat, scenario);
    do {
        if (leg == scenario->leg_count || boat->truth.t < ends - EARLY)
            continue;
        if (scenario->leg[leg].hold)
            put_row(boat, ends, scenario->leg[leg].seconds, &random, to);
        leg++;
        ends += leg < scenario->leg_count ? scenario->leg[leg].seconds : 0;
    } while (boat_advance(boat));
    free(boat);
    return ferror(to) ? complain(complaint, STATUS_IO, "the sheet could not be written")
                      : STATUS_OK;
}
