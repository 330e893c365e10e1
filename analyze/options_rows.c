/* options_rows.c - the options of each command. */
#include "options_shared.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "service_log.h"

/* --- compare */

TAKE(take_before)
{
    return string_list_add(&((struct compare_request *)target)->before, value, complaint);
}

TAKE(take_after)
{
    return string_list_add(&((struct compare_request *)target)->after, value, complaint);
}

TAKE(take_sea)
{
    return option_read_sea(&((struct compare_request *)target)->options.reference_sea, value,
                           complaint);
}

TAKE(take_thermostat)
{
    struct compare_options *options = &((struct compare_request *)target)->options;
    return parse_thermostat(value, &options->thermostat_start, &options->thermostat_full,
                            complaint);
}

TAKE(take_thermostat_uncertainty)
{
    return option_read_kelvin(&((struct compare_request *)target)->options.thermostat_u, value, 0,
                              20, complaint);
}

TAKE(take_sender_uncertainty)
{
    return option_read_kelvin(&((struct compare_request *)target)->options.sender_u, value, 0, 20,
                              complaint);
}

TAKE(take_day_load)
{
    double share;
    enum status status = parse_percent(value, &share, complaint);
    if (status == STATUS_OK && !(share >= 0 && share <= 0.5))
        status = complain(complaint, STATUS_BAD_USAGE, "0 to 50 percent is allowed");
    if (status == STATUS_OK)
        ((struct compare_request *)target)->options.day_load = share;
    return status;
}

TAKE(take_confidence)
{
    double level;
    enum status status = parse_percent(value, &level, complaint);
    if (status != STATUS_OK)
        return status;
    if (level * 100 < 1 && strchr(value, '%') == NULL)
        level *= 100; /* given as a share: 0.95 */
    if (!(level >= 0.5 && level <= 0.9999))
        return complain(complaint, STATUS_BAD_USAGE,
                        "0.5 to 0.9999 is allowed, or 50 to 99.99 percent");
    ((struct compare_request *)target)->options.confidence_level = level;
    return STATUS_OK;
}

TAKE(take_seed)
{
    return option_read_seed(&((struct compare_request *)target)->options.seed, value, complaint);
}

TAKE(take_control)
{
    unsigned long long engine;
    if (!option_read_whole(value, INSTANCE_MAX - 1, &engine))
        return complain(
            complaint, STATUS_BAD_USAGE,
            "give the number of the engine that was left alone, 0 to %d; `searun-analyze "
            "show RUN` lists the engines",
            INSTANCE_MAX - 1);
    ((struct compare_request *)target)->options.control_engine = (int)engine;
    return STATUS_OK;
}

TAKE(take_as_given)
{
    (void)value;
    (void)complaint;
    ((struct compare_request *)target)->options.as_given = true;
    return STATUS_OK;
}

TAKE(take_source)
{
    struct compare_options *options = &((struct compare_request *)target)->options;
    return option_read_wish(options->wishes, &options->wish_count, value, complaint);
}

TAKE(take_boat)
{
    return option_read_name(&((struct compare_request *)target)->options.boat_file, value,
                            complaint);
}

TAKE(take_service)
{
    return option_read_name(&((struct compare_request *)target)->options.service_log, value,
                            complaint);
}

static const struct option_row compare_rows[] = {
    {"--before", "RUN...", OPTION_LIST, "run files recorded before the service", take_before},
    {"--after", "RUN...", OPTION_LIST, "run files recorded after it", take_after},
    {"--boat", "FILE", OPTION_VALUE,
     "facts of [boat], [engine N] and [run] for what the run files do not hold; the report says "
     "which came from there",
     take_boat},
    {"--service", "LOG|none", OPTION_VALUE,
     "the service history; default: service-log.csv beside the runs, if there is one",
     take_service},
    {"--sea-temperature", "C", OPTION_VALUE,
     "compare at this sea temperature, in degrees Celsius whatever --units says, or in Fahrenheit "
     "with an F (68F); default: the mean of the runs",
     take_sea},
    {"--thermostat", "START,FULL", OPTION_VALUE,
     "temperatures at which the thermostat starts to open and is wide open, degC or with an F: "
     "71,82 or 160F,180F; default: as recorded in the run files, else fitted to the runs",
     take_thermostat},
    {"--thermostat-uncertainty", "K", OPTION_VALUE,
     "standard uncertainty of both, K or with an F; default: as recorded, else 1",
     take_thermostat_uncertainty},
    {"--day-load", "PERCENT", OPTION_VALUE,
     "how much the heat load at equal speed differs from day to day (standard uncertainty) where "
     "neither fuel rate nor load was recorded; default 2",
     take_day_load},
    {"--sender-uncertainty", "K", OPTION_VALUE,
     "standard uncertainty of a coolant sender that was changed between the runs, K or with an F; "
     "default: 1 where the facts or a cold start say that it was changed, else none",
     take_sender_uncertainty},
    {"--control", "ENGINE", OPTION_VALUE,
     "number of the engine that was left alone: changes of the others are taken against it",
     take_control},
    {"--as-given", "", OPTION_FLAG,
     "you vouch that the runs are of one boat and engine, and on the right sides, though their "
     "facts or dates speak against it; the report says so",
     take_as_given},
    {"--source", "CHANNEL=SOURCE", OPTION_REPEAT,
     "take a channel from this source (message, talker, address or transducer name), for example "
     "sea_temperature=MTW; may be repeated",
     take_source},
    {"--confidence", "LEVEL", OPTION_VALUE, "level of the intervals; default 0.95",
     take_confidence},
    {"--seed", "N", OPTION_VALUE, "seed of the Monte Carlo calculation; default 1", take_seed},
    HANDING_ROWS("report.pdf, report.html, report.txt, result.json, holds.csv"),
    HELP_ROW,
};

static const char exit_codes[] = "Exit codes: 0 done, whatever was found; 2 a run cannot be read; "
                                 "3 an output cannot be written; "
                                 "4 a command line that cannot be meant; 5 no memory.";

const struct command_syntax compare_syntax = {
    "compare",
    "--before RUN... --after RUN... [OPTION...]",
    "Says whether the coolant temperature changed between runs before and after a service, by how "
    "much, and how sure that is. Without --output the whole report is printed; with it the "
    "finding.",
    exit_codes,
    compare_rows,
    sizeof compare_rows / sizeof compare_rows[0],
    OPTION_FLAG,
    NULL,
    "say which side of the service a run is on",
};

void compare_request_default(struct compare_request *request)
{
    *request = (struct compare_request){.handing = {.style = {UNITS_SI, false}}};
    compare_options_default(&request->options);
}

void compare_request_free(struct compare_request *request)
{
    free(request->before.list);
    free(request->after.list);
    free(request->found_log);
    *request = (struct compare_request){0};
}

/* The service log beside one of the runs; those after the service are looked at first. */
static enum status find_service(struct compare_request *request, struct complaint *complaint)
{
    const struct string_list *sides[] = {&request->after, &request->before};
    for (size_t s = 0; s < 2; s++)
        for (size_t i = sides[s]->count; i-- > 0;) {
            char *path = service_log_beside(sides[s]->list[i]);
            if (path == NULL)
                return complain(complaint, STATUS_MEMORY, "no memory left");
            if (access(path, F_OK) == 0) {
                request->options.service_log = request->found_log = path;
                request->options.service_log_found = true;
                return STATUS_OK;
            }
            free(path);
        }
    return STATUS_OK;
}

static enum status settle_service(struct compare_request *request, struct complaint *complaint)
{
    const char *given = request->options.service_log;
    if (given == NULL)
        return find_service(request, complaint);
    if (strcmp(given, "none") == 0)
        request->options.service_log = NULL;
    return STATUS_OK;
}

enum status compare_request_finish(struct compare_request *request, struct complaint *complaint)
{
    struct compare_options *options = &request->options;
    if (request->before.count == 0 || request->after.count == 0)
        return complain(
            complaint, STATUS_BAD_USAGE,
            "name the runs of both sides: --before RUN... --after RUN...; `searun-analyze "
            "show RUN` tells what is in one alone");
    options->before = request->before.list;
    options->before_count = request->before.count;
    options->after = request->after.list;
    options->after_count = request->after.count;
    return settle_service(request, complaint);
}

void compare_command(struct text *out, const struct compare_request *request)
{
    const struct compare_options *options = &request->options;
    text_add(out, "searun-analyze compare");
    text_add(out, " --before");
    option_add_list(out, options->before, options->before_count);
    text_add(out, " --after");
    option_add_list(out, options->after, options->after_count);
    option_add_words(out, "--boat", options->boat_file);
    option_add_words(out, "--service", options->service_log);
    option_add_number(out, "--sea-temperature", options->reference_sea);
    option_add_thermostat(out, options->thermostat_start, options->thermostat_full);
    option_add_number(out, "--thermostat-uncertainty", options->thermostat_u);
    option_add_number(out, "--day-load", options->day_load * 100);
    option_add_number(out, "--sender-uncertainty", options->sender_u);
    if (options->control_engine >= 0)
        text_addf(out, " --control %d", options->control_engine);
    if (options->as_given)
        text_add(out, " --as-given");
    option_add_wishes(out, options->wishes, options->wish_count);
    option_add_number(out, "--confidence", options->confidence_level);
    option_add_handing(out, options->seed, &request->handing);
}

/* --- show, export, check */

TAKE(take_show_run)
{
    return option_read_name(&((struct show_request *)target)->run, value, complaint);
}

TAKE(take_show_units)
{
    return option_read_units(&((struct show_request *)target)->style, value, complaint);
}

static const struct option_row show_rows[] = {
    {"--units", "si|us", OPTION_VALUE, "units to show values in; default si", take_show_units},
    HELP_ROW,
};

const struct command_syntax show_syntax = {
    "show",
    "RUN [--units si|us]",
    "Says what a run file holds: facts, sources and their channels with rates and gaps, what was "
    "refused while recording, transducers that are mapped to no channel, and the steady holds "
    "found.",
    "Exit codes: 0 shown; 2 the run cannot be read; 4 a command line that cannot be meant.",
    show_rows,
    sizeof show_rows / sizeof show_rows[0],
    OPTION_VALUE,
    take_show_run,
    NULL,
};

TAKE(take_export_run)
{
    return option_read_name(&((struct export_request *)target)->run, value, complaint);
}

static enum status bad_channel(const char *value, struct complaint *complaint)
{
    struct text clean = {0};
    text_clip(&clean, value, 60);
    enum status status =
        complain(complaint, STATUS_BAD_USAGE,
                 "there is no channel %s; `searun-analyze show RUN` lists those of "
                 "a run",
                 text_string(&clean));
    text_free(&clean);
    return status;
}

TAKE(take_channel)
{
    struct export_request *request = target;
    enum channel_id channel = option_channel(value, strlen(value));
    if (channel == CHANNEL_COUNT)
        return bad_channel(value, complaint);
    for (size_t i = 0; i < request->channel_count; i++)
        if (request->channels[i] == channel)
            return STATUS_OK;
    request->channels[request->channel_count++] = channel;
    return STATUS_OK;
}

TAKE(take_raw)
{
    (void)value;
    (void)complaint;
    ((struct export_request *)target)->raw = true;
    return STATUS_OK;
}

TAKE(take_export_output)
{
    return option_read_name(&((struct export_request *)target)->output, value, complaint);
}

TAKE(take_replace)
{
    (void)value;
    (void)complaint;
    ((struct export_request *)target)->replace = true;
    return STATUS_OK;
}

static const struct option_row export_rows[] = {
    {"--channel", "KEY...", OPTION_LIST,
     "only these channels, by their keys (coolant_temperature ...); default: all", take_channel},
    {"--raw", "", OPTION_FLAG,
     "the raw messages as a capture that searun-logger --replay reads, instead of a table",
     take_raw},
    {"--output", "FILE", OPTION_VALUE,
     "write there; default: standard output. A file that is there already is kept, unless "
     "--replace",
     take_export_output},
    {"--replace", "", OPTION_FLAG, "let --output take the place of a file, but never of a run",
     take_replace},
    HELP_ROW,
};

const struct command_syntax export_syntax = {
    "export",
    "RUN [--channel KEY...] [--raw] [--output FILE]",
    "Writes a run as CSV for spreadsheets: a row an instant, a column a channel of a source with "
    "its unit in the header, times in ISO 8601 (UTC). Stored units, decimal points. Every reading "
    "is written: nothing is thinned, averaged or filled in.",
    "Exit codes: 0 written; 2 the run cannot be read; 3 the output cannot be written; 4 a command "
    "line that cannot be meant.",
    export_rows,
    sizeof export_rows / sizeof export_rows[0],
    OPTION_VALUE,
    take_export_run,
    NULL,
};

TAKE(take_check_run)
{
    return string_list_add(&((struct check_request *)target)->runs, value, complaint);
}

TAKE(take_check_quiet)
{
    (void)value;
    (void)complaint;
    ((struct check_request *)target)->quiet = true;
    return STATUS_OK;
}

static const struct option_row check_rows[] = {
    {"--quiet", "", OPTION_FLAG, "say nothing of runs that are sound", take_check_quiet},
    HELP_ROW,
};

const struct command_syntax check_syntax = {
    "check",
    "RUN... [--quiet]",
    "Looks whether run files are whole: checksums of all data, lengths, order of times, clean end.",
    "Exit codes, the worst of all runs: 0 sound; 1 damaged; 2 cannot be read; 4 a command line "
    "that "
    "cannot be meant.",
    check_rows,
    sizeof check_rows / sizeof check_rows[0],
    OPTION_LIST,
    take_check_run,
    NULL,
};

TAKE(take_note_run)
{
    struct note_request *request = target;
    if (request->run == NULL)
        return option_read_name(&request->run, value, complaint);
    if (request->remark != NULL)
        return complain(complaint, STATUS_BAD_USAGE,
                        "one remark at a time, in quotation marks: "
                        "searun-analyze note RUN weather=\"rain from noon on\"");
    request->remark = value;
    return STATUS_OK;
}

static const struct option_row note_rows[] = {
    HELP_ROW,
};

const struct command_syntax note_syntax = {
    "note",
    "RUN KEY=VALUE|WORDS",
    "Adds a remark beside a run file, in RUN.notes. The run file itself is not touched. Reports "
    "and "
    "show tell the remarks of a run. Words without a key tick off what was done after a service, "
    "and the command says which steps it understood: searun-analyze note RUN \"filled and bled, "
    "cap on, leaks checked\".",
    "Exit codes: 0 added; 2 the run cannot be read; 3 the remark cannot be written; 4 a command "
    "line that cannot be meant.",
    note_rows,
    sizeof note_rows / sizeof note_rows[0],
    OPTION_LIST,
    take_note_run,
    NULL,
};
