/* tabled_units.c - numbers that were written in another unit than the one named; see tabled.h. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "tabled.h"

#define WARM_ENGINE 50.0  /* degC; coolant that never gets there was not read of a warm engine */
#define WARM_MOST 120.0   /* degC; as hot as coolant gets */
#define SPEED_LEAST 100.0 /* rpm; no engine runs slower than that */

/* "gauge [°C]"; "load" where no unit is written. */
static const char *heading(const struct tabled_column *column, char *to, size_t room)
{
    const char *unit = column->unit ? column->unit->word : "";
    snprintf(to, room, "%s%s%s%s", column->name, *unit ? " [" : "", unit, *unit ? "]" : "");
    return to;
}

static double stored(const struct written_unit *unit, double number)
{
    return number * unit->factor + unit->offset;
}

/* The other one of °C and °F, if both numbers are within limits of it; else NULL. */
static const struct written_unit *other_degree(const struct tabled_column *column, double low,
                                               double high, double least, double most)
{
    if (channel_get(column->channel)->unit != UNIT_DEGC)
        return NULL;
    bool celsius = !column->unit || strcmp(column->unit->word, "°C") == 0; /* it may be K */
    const struct written_unit *other = written_unit_find(celsius ? "°F" : "°C", UNIT_DEGC);
    return stored(other, low) >= least && stored(other, high) <= most ? other : NULL;
}

static void advise(const struct tabled_column *column, const char *seen, const char *word,
                   const char *where, char *to, size_t room)
{
    snprintf(to, room, "%s: write \"%s [%s]\" %s, and read it again", seen, column->name, word,
             where);
}

static void say_degree(const struct tabled_column *column, const struct written_unit *other,
                       const char *where, char *to, size_t room)
{
    char seen[40];
    snprintf(seen, sizeof seen, "They look like %s", other->word);
    advise(column, seen, other->word, where, to, room);
}

/* "3 readings, 160 to 190,". */
static void say_numbers(const struct left_out *out, char *to, size_t room)
{
    if (out->count == 1)
        snprintf(to, room, "%g", out->low);
    else if (out->low == out->high)
        snprintf(to, room, "%zu readings of %g", out->count, out->low);
    else
        snprintf(to, room, "%zu readings, %g to %g,", out->count, out->low, out->high);
}

static void tell_left_out(const struct tabled_column *column, const char *where,
                          const struct remarks *remarks)
{
    const struct left_out *out = &column->left_out;
    const struct channel *channel = channel_get(column->channel);
    const char *unit = unit_symbol(channel->unit, UNITS_SI);
    char name[100], numbers[80], advice[300] = "Is the unit right?";
    const struct written_unit *other =
        other_degree(column, out->low, out->high, channel->low, channel->high);
    if (other && column->readings < out->count)
        say_degree(column, other, where, advice, sizeof advice);
    say_numbers(out, numbers, sizeof numbers);
    remark(remarks, SAY_WARNING, out->line,
           "%s under \"%s\" cannot be believed and %s left out: %s is %g to %g%s%s. %s", numbers,
           heading(column, name, sizeof name), out->count == 1 ? "was" : "were", channel->title,
           unit_shown(channel->low, channel->unit, UNITS_SI),
           unit_shown(channel->high, channel->unit, UNITS_SI), *unit ? " " : "", unit, advice);
}

/* The least and the most of a column, as stored. */
static bool extremes(const struct tabled *table, size_t column, double *low, double *high)
{
    *low = INFINITY;
    *high = -INFINITY;
    for (size_t i = 0; i < table->row_count; i++) {
        double value = table->values[i * table->column_count + column];
        *low = fmin(*low, isnan(value) ? *low : value);
        *high = fmax(*high, isnan(value) ? *high : value);
    }
    return *low <= *high;
}

static double written(const struct written_unit *unit, double stored_number)
{
    return (stored_number - unit->offset) / unit->factor;
}

/* Coolant in °F under a heading in °C is believed below 150: 130 to 148 °F is a cool engine. */
static void doubt_hot(const struct tabled_column *column, double low, double high,
                      const char *where, const struct remarks *remarks)
{
    char advice[300] = "Is the unit right?";
    const struct written_unit *unit = column->unit;
    if (!unit || strcmp(unit->word, "°F") == 0 || !(high > WARM_MOST))
        return;
    double most = written(unit, high);
    const struct written_unit *other = other_degree(column, written(unit, low), most,
                                                    channel_get(column->channel)->low, WARM_MOST);
    if (other)
        advise(column, "If they are °F", other->word, where, advice, sizeof advice);
    remark(remarks, SAY_WARNING, 0,
           "readings under \"%s [%s]\" go up to %g %s, and coolant is hardly ever hotter than "
           "%.0f °C. %s",
           column->name, unit->word, most, unit->word, WARM_MOST, advice);
}

/* Coolant in °C under a heading in °F is believed: 72 to 88 °F is a cool engine. */
static void doubt_cold(const struct tabled_column *column, double low, double high,
                       const char *where, const struct remarks *remarks)
{
    char advice[300];
    if (!column->unit || strcmp(column->unit->word, "°F") != 0 || !(high < WARM_ENGINE))
        return;
    double most = written(column->unit, high);
    if (most < WARM_ENGINE || most > WARM_MOST)
        return;
    say_degree(column, written_unit_find("°C", UNIT_DEGC), where, advice, sizeof advice);
    remark(remarks, SAY_WARNING, 0,
           "readings under \"%s [%s]\" of up to %g %s are %.0f to %.0f °C, and a warm engine has "
           "more. %s",
           column->name, column->unit->word, most, column->unit->word, low, high, advice);
}

/* Tachometers that count in hundreds or thousands. */
static void doubt_speed(const struct tabled_column *column, double high, const char *where,
                        const struct remarks *remarks)
{
    char advice[300];
    if (!(high > 0 && high < SPEED_LEAST))
        return;
    if (high < 10)
        advise(column, "If it counts in thousands", "x1000", where, advice, sizeof advice);
    else
        advise(column, "If it counts in hundreds", "x100", where, advice, sizeof advice);
    remark(remarks, SAY_WARNING, 0, "no engine runs at %g rpm, the most under \"%s\". %s", high,
           column->name, advice);
}

void tabled_tell_units(const struct tabled *table, const char *where, const struct remarks *remarks)
{
    for (size_t i = 0; i < table->column_count; i++) {
        const struct tabled_column *column = &table->columns[i];
        double low, high;
        if (column->left_out.count > 0)
            tell_left_out(column, where, remarks);
        if (!extremes(table, i, &low, &high))
            continue;
        if (column->channel == CHANNEL_COOLANT_TEMPERATURE) {
            doubt_cold(column, low, high, where, remarks);
            doubt_hot(column, low, high, where, remarks);
        }
        if (column->channel == CHANNEL_ENGINE_SPEED)
            doubt_speed(column, high, where, remarks);
    }
}
