/* options_seasons.c - the options of the seasons command. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "channel.h"
#include "options.h"

#define TAKE(name)                                                                                 \
    static enum status name(void *target, const char *value, struct complaint *complaint)

static struct seasons_request *request_of(void *target)
{
    return target;
}

TAKE(take_run)
{
    return string_list_add(&request_of(target)->runs, value, complaint);
}

TAKE(take_thermostat)
{
    struct seasons_options *options = &request_of(target)->options;
    return parse_thermostat(value, &options->thermostat_start, &options->thermostat_full,
                            complaint);
}

TAKE(take_thermostat_uncertainty)
{
    double *u = &request_of(target)->options.thermostat_u;
    enum status status = parse_difference(value, u, complaint);
    if (status == STATUS_OK && !(*u >= 0.01 && *u <= 20))
        status = complain(complaint, STATUS_BAD_USAGE, "give 0.01 to 20 K");
    return status;
}

static enum status take_between(const char *value, double low, double high, double *to,
                                struct complaint *complaint)
{
    enum status status = parse_temperature(value, to, complaint);
    if (status == STATUS_OK && !(*to >= low && *to <= high))
        status = complain(complaint, STATUS_BAD_USAGE, "give %.0f to %.0f degC", low, high);
    return status;
}

TAKE(take_sea)
{
    const struct channel *channel = channel_get(CHANNEL_SEA_TEMPERATURE);
    return take_between(value, channel->low, channel->high,
                        &request_of(target)->options.reference_sea, complaint);
}

TAKE(take_warmest)
{
    const struct channel *channel = channel_get(CHANNEL_SEA_TEMPERATURE);
    return take_between(value, channel->low, channel->high,
                        &request_of(target)->options.warmest_sea, complaint);
}

TAKE(take_alarm)
{
    return take_between(value, 50, 150, &request_of(target)->options.alarm, complaint);
}

TAKE(take_rpm)
{
    double *rpm = &request_of(target)->options.reference_rpm;
    char *end;
    *rpm = strtod(value, &end);
    return end != value && *end == '\0' && *rpm >= 200 && *rpm <= 12000
               ? STATUS_OK
               : complain(complaint, STATUS_BAD_USAGE, "give a speed of 200 to 12000 rpm");
}

TAKE(take_seed)
{
    char *end;
    unsigned long long seed = strtoull(value, &end, 10);
    if (value[0] < '0' || value[0] > '9' || *end != '\0')
        return complain(complaint, STATUS_BAD_USAGE, "give a whole number from 0 up");
    request_of(target)->options.seed = seed;
    return STATUS_OK;
}

static enum status take_name(const char **to, const char *value, struct complaint *complaint)
{
    if (value[0] == '\0')
        return complain(complaint, STATUS_BAD_USAGE, "the name is empty");
    *to = value;
    return STATUS_OK;
}

TAKE(take_services)
{
    return take_name(&request_of(target)->services, value, complaint);
}

TAKE(take_output)
{
    return take_name(&request_of(target)->output, value, complaint);
}

TAKE(take_json)
{
    return take_name(&request_of(target)->json, value, complaint);
}

TAKE(take_units)
{
    bool us = strcmp(value, "us") == 0;
    request_of(target)->style.units = us ? UNITS_US : UNITS_SI;
    return us || strcmp(value, "si") == 0 ? STATUS_OK
                                          : complain(complaint, STATUS_BAD_USAGE, "give si or us");
}

TAKE(take_decimal)
{
    bool comma = strcmp(value, "comma") == 0;
    request_of(target)->style.decimal_comma = comma;
    return comma || strcmp(value, "point") == 0
               ? STATUS_OK
               : complain(complaint, STATUS_BAD_USAGE, "give point or comma");
}

TAKE(take_paper)
{
    bool letter = strcmp(value, "letter") == 0;
    request_of(target)->paper = letter ? PAPER_LETTER : PAPER_A4;
    return letter || strcmp(value, "a4") == 0
               ? STATUS_OK
               : complain(complaint, STATUS_BAD_USAGE, "give a4 or letter");
}

TAKE(take_no_cache)
{
    (void)value;
    (void)complaint;
    request_of(target)->no_cache = true;
    return STATUS_OK;
}

TAKE(take_quiet)
{
    (void)value;
    (void)complaint;
    request_of(target)->quiet = true;
    return STATUS_OK;
}

static const struct option_row rows[] = {
    {"--thermostat", "START,FULL", OPTION_VALUE,
     "temperatures at which the thermostat starts to open and is wide open, degC or with an F: "
     "71,82 or 160F,180F; default: as recorded in the run files",
     take_thermostat},
    {"--thermostat-uncertainty", "K", OPTION_VALUE,
     "standard uncertainty of both, K or with an F; default: as recorded, else 1",
     take_thermostat_uncertainty},
    {"--rpm", "RPM", OPTION_VALUE,
     "speed at which outings are compared; default: a speed that most of them hold", take_rpm},
    {"--sea-temperature", "C", OPTION_VALUE,
     "sea at which outings are compared, degC or with an F; default: the middle of the outings",
     take_sea},
    {"--warmest-sea", "C", OPTION_VALUE,
     "sea for which the alarm is foretold, degC or with an F; default: the warmest on record",
     take_warmest},
    {"--alarm", "C", OPTION_VALUE,
     "coolant temperature at which the alarm sounds, degC or with an F; default: as recorded",
     take_alarm},
    {"--services", "FILE", OPTION_VALUE,
     "the service log; default: service-log.csv beside the runs, if it is there", take_services},
    {"--seed", "N", OPTION_VALUE, "seed of the Monte Carlo calculation; default 1", take_seed},
    {"--units", "si|us", OPTION_VALUE, "units of the report; default si", take_units},
    {"--decimal", "point|comma", OPTION_VALUE, "decimal sign of report and charts; default point",
     take_decimal},
    {"--paper", "a4|letter", OPTION_VALUE, "paper of report.pdf; default a4", take_paper},
    {"--output", "DIR", OPTION_VALUE,
     "folder for report.pdf, report.html, report.txt, result.json, outings.csv, services.csv and "
     "charts/; made if it is not there",
     take_output},
    {"--json", "FILE|-", OPTION_VALUE, "write the result as JSON; - is standard output", take_json},
    {"--no-cache", "", OPTION_FLAG,
     "read every run anew; default: what was read of a run is kept in the user's cache folder, by "
     "its content",
     take_no_cache},
    {"--quiet", "", OPTION_FLAG, "print nothing but complaints", take_quiet},
    {"--help", "", OPTION_FLAG, "this text", take_quiet},
};

const struct command_syntax seasons_syntax = {
    "seasons",
    "FOLDER|RUN... [OPTION...]",
    "Says from all runs of a boat what state the cooling is in, what each service brought, and "
    "when "
    "the next is due. Any ordinary trip counts. Without --output the whole report is printed; with "
    "it the finding.",
    "Exit codes: 0 done, whatever was found; 2 no run can be read; 3 an output cannot be written; "
    "4 a command line that cannot be meant; 5 no memory.",
    rows,
    sizeof rows / sizeof rows[0],
    OPTION_LIST,
    take_run,
};

void seasons_request_default(struct seasons_request *request)
{
    *request = (struct seasons_request){.style = {UNITS_SI, false}};
    seasons_options_default(&request->options);
}

static void add_number(struct text *out, const char *option, double value)
{
    if (isfinite(value))
        text_addf(out, " %s %.12g", option, value);
}

void seasons_command(struct text *out, const struct seasons_request *request)
{
    const struct seasons_options *o = &request->options;
    text_add(out, "searun-analyze seasons");
    for (size_t i = 0; i < request->runs.count; i++) {
        text_add(out, " ");
        text_shell(out, request->runs.list[i]);
    }
    if (request->services != NULL) {
        text_add(out, " --services ");
        text_shell(out, request->services);
    }
    if (isfinite(o->thermostat_start))
        text_addf(out, " --thermostat %.12g,%.12g", o->thermostat_start, o->thermostat_full);
    add_number(out, "--thermostat-uncertainty", o->thermostat_u);
    add_number(out, "--rpm", o->reference_rpm);
    add_number(out, "--sea-temperature", o->reference_sea);
    add_number(out, "--warmest-sea", o->warmest_sea);
    add_number(out, "--alarm", o->alarm);
    text_addf(out, " --seed %llu", (unsigned long long)o->seed);
    if (request->style.units == UNITS_US)
        text_add(out, " --units us");
    if (request->style.decimal_comma)
        text_add(out, " --decimal comma");
    if (request->paper == PAPER_LETTER)
        text_add(out, " --paper letter");
}
