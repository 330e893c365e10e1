/* options.h - the command line as tables: one row an option feeds parser, --help and complaints. */
#ifndef SEARUN_OPTIONS_H
#define SEARUN_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>

#include "compare.h"
#include "deliver.h"
#include "document.h"
#include "seasons.h"
#include "status.h"
#include "text.h"
#include "words.h"

enum option_kind {
    OPTION_FLAG,   /* no value */
    OPTION_VALUE,  /* one value, once */
    OPTION_REPEAT, /* one value, any number of times */
    OPTION_LIST    /* values up to the next option, any number of times */
};

struct option_row {
    const char *name;     /* "--before" */
    const char *argument; /* "RUN...", "" for flags */
    enum option_kind kind;
    const char *help;
    /* Takes one value ("" for a flag) into the request; the complaint says what is allowed. */
    enum status (*take)(void *request, const char *value, struct complaint *complaint);
};

struct command_syntax {
    const char *name, *arguments, *summary, *detail; /* detail: paragraphs for --help */
    const struct option_row *rows;
    size_t row_count;
    enum option_kind
        positional; /* OPTION_FLAG: none, OPTION_VALUE: exactly one, OPTION_LIST: one up */
    enum status (*take_positional)(void *request, const char *value, struct complaint *complaint);
    const char *stray; /* what to do about a name that is one too many; NULL: nothing but usage */
};

/* Reads the arguments behind the command's name into `request`. *help is set (and the rest not
 * read) if --help stands among them. STATUS_BAD_USAGE or STATUS_MEMORY. */
enum status options_parse(const struct command_syntax *syntax, int count, char **arguments,
                          void *request, bool *help, struct complaint *complaint);

/* The help text of one command, 80 columns wide. */
void options_help(struct text *out, const struct command_syntax *syntax);

/* A growing list of strings that belong to argv. */
struct string_list {
    size_t count;
    char **list;
};
enum status string_list_add(struct string_list *list, const char *value,
                            struct complaint *complaint);

/* --- values */

/* A temperature in degC: "18", "18.5C", "64F", "64 °F". Without a letter it is degC in every system
 * of units. */
enum status parse_temperature(const char *text, double *degc, struct complaint *complaint);
/* "71,82", "160F,180F", "160,180F": the letter of the last counts for a first without one. */
enum status parse_temperatures(const char *text, double *first, double *second,
                               struct complaint *complaint);
/* A thermostat: two temperatures as above that a thermostat can have; left as they are if not. */
enum status parse_thermostat(const char *text, double *start, double *full,
                             struct complaint *complaint);
/* A difference in K: "1", "1K", "1.8F". */
enum status parse_difference(const char *text, double *kelvin, struct complaint *complaint);
/* A share: "2" or "2%" with a plain number meaning percent. */
enum status parse_percent(const char *text, double *share, struct complaint *complaint);

/* --- what the commands were asked */

struct compare_request {
    struct handing handing;         /* first: options_shared.h */
    struct compare_options options; /* before and after point into the lists */
    struct string_list before, after;
    char *found_log; /* service log beside a run; owned */
};

struct seasons_request {
    struct handing handing; /* first: options_shared.h */
    struct seasons_options options;
    struct string_list runs; /* files and folders */
    const char *service;     /* the log; NULL: found beside the runs; "none" */
    const char *boat_file;   /* NULL */
    size_t wish_count;
    struct source_wish wishes[SOURCE_WISHES];
    bool no_cache;
};

struct show_request {
    const char *run;
    struct style style;
};

struct export_request {
    const char *run;
    size_t channel_count;
    enum channel_id channels[CHANNEL_COUNT];
    bool raw;
    const char *output; /* NULL: standard output */
    bool replace;       /* a file that is there already */
};

struct check_request {
    struct string_list runs;
    bool quiet;
};

struct note_request {
    const char *run, *remark; /* NULL: not given */
};

struct service_request {
    const char *place, *date, *hours, *engine, *by, *notes, *boat; /* NULL: not given */
    struct string_list what;
    struct style style;
};

extern const struct command_syntax service_syntax; /* options_service.c */
extern const struct command_syntax seasons_syntax; /* options_seasons.c */
extern const struct command_syntax compare_syntax, show_syntax, export_syntax, check_syntax,
    note_syntax;

void seasons_request_default(struct seasons_request *request);
/* The command line that gives the same numbers again. */
void seasons_command(struct text *out, const struct seasons_request *request);

void compare_request_default(struct compare_request *request);
void compare_request_free(struct compare_request *request);
/* Looks at what no single option can tell: both sides named, lists handed to the options. */
enum status compare_request_finish(struct compare_request *request, struct complaint *complaint);

/* The command line that gives the same numbers again, every choice spelled out. */
void compare_command(struct text *out, const struct compare_request *request);

#endif
