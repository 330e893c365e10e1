/* options_service.c - the options of the service command. */
#include "options_shared.h"
#include "service_log.h"

static enum status take_words(const char **target, const char *value, struct complaint *complaint)
{
    if (value[0] == '\0')
        return complain(complaint, STATUS_BAD_USAGE,
                        "nothing stands behind it; leave it out, or "
                        "give it a value");
    *target = value;
    return STATUS_OK;
}

TAKE(take_place)
{
    return take_words(&((struct service_request *)target)->place, value, complaint);
}

TAKE(take_date)
{
    return take_words(&((struct service_request *)target)->date, value, complaint);
}

TAKE(take_hours)
{
    return take_words(&((struct service_request *)target)->hours, value, complaint);
}

TAKE(take_engine)
{
    return take_words(&((struct service_request *)target)->engine, value, complaint);
}

TAKE(take_what)
{
    return string_list_add(&((struct service_request *)target)->what, value, complaint);
}

TAKE(take_by)
{
    return take_words(&((struct service_request *)target)->by, value, complaint);
}

TAKE(take_notes)
{
    return take_words(&((struct service_request *)target)->notes, value, complaint);
}

TAKE(take_boat)
{
    return take_words(&((struct service_request *)target)->boat, value, complaint);
}

/* The kinds of the table, for the help. */
#define SERVICE(id, key, title, effect, words) " " key
static const char what_help[] = "what was done, one or more of:"
#include "service_kinds.def"
                                "; your own words belong into --notes";
#undef SERVICE

static const struct option_row rows[] = {
    {"--date", "DAY", OPTION_VALUE,
     "when: 2026-05-14, or with a time of day in UTC, 2026-05-14T15:30Z", take_date},
    {"--what", "WORK...", OPTION_LIST, what_help, take_what},
    {"--engine", "ENGINE", OPTION_VALUE,
     "the engine's number, its label (port), or all; default all", take_engine},
    {"--hours", "H", OPTION_VALUE, "engine hours at that time", take_hours},
    {"--by", "WHO", OPTION_VALUE, "who did it", take_by},
    {"--notes", "TEXT", OPTION_VALUE, "anything else, in quotation marks", take_notes},
    {"--boat", "NAME", OPTION_VALUE, "the boat, if the folder has runs of several", take_boat},
    HELP_ROW,
};

const struct command_syntax service_syntax = {
    "service",
    "FOLDER|RUN|LOG [--date DAY --what WORK... [OPTION...]]",
    "Tells the service history of a boat, or adds a line to it: service-log.csv, a file that lies "
    "beside the runs and that a spreadsheet opens. What is in it is never rewritten.",
    "Exit codes: 0 told or added; 2 the log cannot be read; 3 it cannot be written; 4 a command "
    "line that cannot be meant.",
    rows,
    sizeof rows / sizeof rows[0],
    OPTION_VALUE,
    take_place,
    NULL,
};
