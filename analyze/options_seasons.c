/* options_seasons.c - the options of the seasons command. */
#include <math.h>
#include <stdlib.h>

#include "options_shared.h"

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
    return option_read_kelvin(&request_of(target)->options.thermostat_u, value, 0.01, 20,
                              complaint);
}

TAKE(take_sea)
{
    return option_read_sea(&request_of(target)->options.reference_sea, value, complaint);
}

TAKE(take_warmest)
{
    return option_read_sea(&request_of(target)->options.warmest_sea, value, complaint);
}

TAKE(take_alarm)
{
    double *alarm = &request_of(target)->options.alarm;
    enum status status = parse_temperature(value, alarm, complaint);
    if (status == STATUS_OK && !(*alarm >= 50 && *alarm <= 150))
        status = complain(complaint, STATUS_BAD_USAGE,
                          "%.0f degC is no temperature of an alarm; 50 to 150 degC is allowed (in "
                          "Fahrenheit with an F behind it: 200F)",
                          *alarm);
    return status;
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
    return option_read_seed(&request_of(target)->options.seed, value, complaint);
}

TAKE(take_service)
{
    return option_read_name(&request_of(target)->service, value, complaint);
}

TAKE(take_boat)
{
    return option_read_name(&request_of(target)->boat_file, value, complaint);
}

TAKE(take_source)
{
    struct seasons_request *request = request_of(target);
    return option_read_wish(request->wishes, &request->wish_count, value, complaint);
}

TAKE(take_no_cache)
{
    (void)value;
    (void)complaint;
    request_of(target)->no_cache = true;
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
    {"--service", "LOG|none", OPTION_VALUE,
     "the service history; default: service-log.csv beside the runs, if there is one",
     take_service},
    {"--boat", "FILE", OPTION_VALUE,
     "facts of [boat] and [engine N] for what the run files do not hold; reads every run anew",
     take_boat},
    {"--source", "CHANNEL=SOURCE", OPTION_REPEAT,
     "take a channel from this source (message, talker, address or transducer name), for example "
     "sea_temperature=MTW, in every run that has it; reads every run anew",
     take_source},
    {"--seed", "N", OPTION_VALUE, "seed of the Monte Carlo calculation; default 1", take_seed},
    HANDING_ROWS("report.pdf, report.html, report.txt, result.json, outings.csv, services.csv"),
    {"--no-cache", "", OPTION_FLAG,
     "read every run anew; default: what was read of a run is kept in the user's cache folder, by "
     "its content",
     take_no_cache},
    HELP_ROW,
};

const struct command_syntax seasons_syntax = {
    "seasons",
    "FOLDER|RUN... [OPTION...]",
    "Says from all runs of a boat what state the cooling is in, what each service brought, and "
    "when the next is due. Any ordinary trip counts. Without --output the whole report is printed; "
    "with "
    "it the finding.",
    "Exit codes: 0 done, whatever was found; 2 no run can be read; 3 an output cannot be written; "
    "4 a command line that cannot be meant; 5 no memory.",
    rows,
    sizeof rows / sizeof rows[0],
    OPTION_LIST,
    take_run,
    NULL,
};

void seasons_request_default(struct seasons_request *request)
{
    *request = (struct seasons_request){.handing = {.style = {UNITS_SI, false}}};
    seasons_options_default(&request->options);
}

void seasons_command(struct text *out, const struct seasons_request *request)
{
    const struct seasons_options *o = &request->options;
    text_add(out, "searun-analyze seasons");
    option_add_list(out, request->runs.list, request->runs.count);
    option_add_words(out, "--service", request->service);
    option_add_words(out, "--boat", request->boat_file);
    option_add_wishes(out, request->wishes, request->wish_count);
    option_add_thermostat(out, o->thermostat_start, o->thermostat_full);
    option_add_number(out, "--thermostat-uncertainty", o->thermostat_u);
    option_add_number(out, "--rpm", o->reference_rpm);
    option_add_number(out, "--sea-temperature", o->reference_sea);
    option_add_number(out, "--warmest-sea", o->warmest_sea);
    option_add_number(out, "--alarm", o->alarm);
    option_add_handing(out, o->seed, &request->handing);
}
