/* options_shared.c - what the options of several commands have in common. */
#include "options_shared.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "channel.h"

/* --- values */

enum status option_read_name(const char **to, const char *value, struct complaint *complaint)
{
    if (value[0] == '\0')
        return complain(complaint, STATUS_BAD_USAGE, "the name is empty");
    *to = value;
    return STATUS_OK;
}

enum status option_read_sea(double *degc, const char *value, struct complaint *complaint)
{
    const struct channel *channel = channel_get(CHANNEL_SEA_TEMPERATURE);
    enum status status = parse_temperature(value, degc, complaint);
    if (status == STATUS_OK && !(*degc >= channel->low && *degc <= channel->high))
        status = complain(complaint, STATUS_BAD_USAGE,
                          "%.1f degC is no temperature of a sea; %.0f to %.0f degC is allowed (in "
                          "Fahrenheit with an F behind it: 68F)",
                          *degc, channel->low, channel->high);
    return status;
}

enum status option_read_kelvin(double *kelvin, const char *value, double least, double most,
                               struct complaint *complaint)
{
    double difference;
    enum status status = parse_difference(value, &difference, complaint);
    if (status == STATUS_OK && !(difference >= least && difference <= most))
        status = complain(complaint, STATUS_BAD_USAGE, "%g to %g K is allowed", least, most);
    if (status == STATUS_OK)
        *kelvin = difference;
    return status;
}

bool option_read_whole(const char *value, unsigned long long most, unsigned long long *out)
{
    size_t digits = strspn(value, "0123456789");
    if (digits == 0 || value[digits] != '\0')
        return false;
    errno = 0;
    *out = strtoull(value, NULL, 10);
    return errno == 0 && *out <= most;
}

enum status option_read_seed(uint64_t *seed, const char *value, struct complaint *complaint)
{
    unsigned long long number;
    if (!option_read_whole(value, UINT64_C(1) << 53, &number))
        return complain(complaint, STATUS_BAD_USAGE, "give a whole number from 0 to 2^53");
    *seed = number;
    return STATUS_OK;
}

enum channel_id option_channel(const char *value, size_t length)
{
    char key[64];
    if (length >= sizeof key)
        return CHANNEL_COUNT;
    memcpy(key, value, length);
    key[length] = '\0';
    return channel_find(key);
}

enum status option_read_wish(struct source_wish *list, size_t *count, const char *value,
                             struct complaint *complaint)
{
    const char *equals = strchr(value, '=');
    if (equals == NULL || equals[1] == '\0')
        return complain(
            complaint, STATUS_BAD_USAGE,
            "give CHANNEL=SOURCE, for example sea_temperature=MTW; `searun-analyze show "
            "RUN` lists both");
    enum channel_id channel = option_channel(value, (size_t)(equals - value));
    if (channel == CHANNEL_COUNT)
        return complain(complaint, STATUS_BAD_USAGE,
                        "there is no channel of that name; `searun-analyze show RUN` lists them");
    struct source_wish *wish = &list[*count];
    if (*count == SOURCE_WISHES || strlen(equals + 1) >= sizeof wish->source)
        return complain(complaint, STATUS_BAD_USAGE,
                        "at most %d sources of at most %zu characters each", SOURCE_WISHES,
                        sizeof wish->source - 1);
    wish->channel = channel;
    strcpy(wish->source, equals + 1);
    ++*count;
    return STATUS_OK;
}

enum status option_read_units(struct style *style, const char *value, struct complaint *complaint)
{
    if (strcasecmp(value, "si") == 0)
        style->units = UNITS_SI;
    else if (strcasecmp(value, "us") == 0)
        style->units = UNITS_US;
    else
        return complain(complaint, STATUS_BAD_USAGE, "give si or us");
    return STATUS_OK;
}

/* --- rows */

static struct handing *handing_of(void *request)
{
    return request;
}

enum status option_take_units(void *request, const char *value, struct complaint *complaint)
{
    return option_read_units(&handing_of(request)->style, value, complaint);
}

enum status option_take_decimal(void *request, const char *value, struct complaint *complaint)
{
    if (strcasecmp(value, "point") != 0 && strcasecmp(value, "comma") != 0)
        return complain(complaint, STATUS_BAD_USAGE, "give point or comma");
    handing_of(request)->style.decimal_comma = strcasecmp(value, "comma") == 0;
    return STATUS_OK;
}

enum status option_take_paper(void *request, const char *value, struct complaint *complaint)
{
    if (strcasecmp(value, "a4") != 0 && strcasecmp(value, "letter") != 0)
        return complain(complaint, STATUS_BAD_USAGE, "give a4 or letter");
    handing_of(request)->paper = strcasecmp(value, "letter") == 0 ? PAPER_LETTER : PAPER_A4;
    return STATUS_OK;
}

enum status option_take_output(void *request, const char *value, struct complaint *complaint)
{
    return option_read_name(&handing_of(request)->output, value, complaint);
}

enum status option_take_json(void *request, const char *value, struct complaint *complaint)
{
    return option_read_name(&handing_of(request)->json, value, complaint);
}

enum status option_take_quiet(void *request, const char *value, struct complaint *complaint)
{
    (void)value;
    (void)complaint;
    handing_of(request)->quiet = true;
    return STATUS_OK;
}

enum status option_take_nothing(void *request, const char *value, struct complaint *complaint)
{
    (void)request;
    (void)value;
    (void)complaint;
    return STATUS_OK;
}

/* --- the command line again */

void option_add_list(struct text *out, char *const *words, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        text_add(out, " ");
        text_shell(out, words[i]);
    }
}

void option_add_words(struct text *out, const char *option, const char *words)
{
    if (words == NULL)
        return;
    text_addf(out, " %s ", option);
    text_shell(out, words);
}

void option_add_number(struct text *out, const char *option, double value)
{
    if (isfinite(value))
        text_addf(out, " %s %.12g", option, value);
}

void option_add_thermostat(struct text *out, double start, double full)
{
    if (isfinite(start))
        text_addf(out, " --thermostat %.12g,%.12g", start, full);
}

void option_add_handing(struct text *out, uint64_t seed, const struct handing *handing)
{
    text_addf(out, " --seed %llu", (unsigned long long)seed);
    if (handing->style.units == UNITS_US)
        text_add(out, " --units us");
    if (handing->style.decimal_comma)
        text_add(out, " --decimal comma");
    if (handing->paper == PAPER_LETTER)
        text_add(out, " --paper letter");
}

void option_add_wishes(struct text *out, const struct source_wish *list, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct text wish = {0};
        text_addf(&wish, "%s=%s", channel_get(list[i].channel)->key, list[i].source);
        option_add_words(out, "--source", text_string(&wish));
        text_free(&wish);
    }
}
