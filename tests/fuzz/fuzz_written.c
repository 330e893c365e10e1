/* fuzz_written.c - any text as a number, date, time of day, zone or unit that people wrote. Beyond
 * crashes: what is taken lies inside the text and is a number, a day and a time that exist; what is
 * refused moves nothing; a number that was read is written and read again as the same. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../../logger/written.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void demand_place(const char *text, const char *at, bool taken)
{
    demand(taken ? at > text && at <= text + strlen(text) : at == text);
}

static void numbers(const char *text, bool comma)
{
    const char *at = text;
    double value = 0, again = 0;
    char written[64];
    bool taken = take_written_number(&at, comma, &value);
    demand_place(text, at, taken);
    demand(isfinite(value));
    demand(read_written_number(text, comma, &value) == (taken && *at == '\0'));
    snprintf(written, sizeof written, "%.17g", value);
    if (taken)
        demand(read_written_number(written, comma, &again) && !(again < value) && !(again > value));
}

static void dates(const char *text, bool (*take)(const char **, struct written_date *))
{
    const char *at = text;
    struct written_date date = {1970, 1, 1};
    bool taken = take(&at, &date);
    demand(!taken || (at > text && at <= text + strlen(text)));
    if (!taken)
        return;
    demand(date.year >= 1970 && date.year <= 2112 && date.month >= 1 && date.month <= 12);
    demand(date.day >= 1 && date.day <= 31 && written_unix_us(&date, 0) >= 0);
}

static void times(const char *text)
{
    const char *at = text;
    double seconds = 0;
    bool taken = take_written_time(&at, &seconds);
    demand_place(text, at, taken);
    demand(seconds >= 0 && seconds < 86400 + 1);
    at = text;
    seconds = 0;
    taken = take_written_zone(&at, &seconds);
    demand(!taken || (at >= text && at <= text + strlen(text)));
    demand(fabs(seconds) <= 100 * 3600.0);
}

static void units(const char *text)
{
    for (int unit = 0; unit < UNIT_COUNT; unit++) {
        const struct written_unit *found = written_unit_find(text, (enum unit)unit);
        enum unit stored = unit == UNIT_KELVIN ? UNIT_DEGC : (enum unit)unit; /* a difference */
        demand(!found || (found->unit == stored && isfinite(found->factor) && found->factor > 0));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = malloc(size + 1);
    demand(text != NULL);
    memcpy(text, data, size);
    text[size] = '\0';
    numbers(text, false);
    numbers(text, true);
    dates(text, take_written_date);
    dates(text, take_slashed_date);
    times(text);
    units(text);
    free(text);
    return 0;
}
