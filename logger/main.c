/* main.c - searun-logger: records engine data to run files. Options, and nothing else. */
#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "ask.h"
#include "checked.h"
#include "config.h"
#include "input.h"
#include "logger.h"
#include "messages_can.h"
#include "rebuild.h"
#include "request.h"
#include "sheet.h"
#include "tabled.h"

#define EXIT_RUN_FAILED 1
#define EXIT_BAD_USAGE 2

/* What the command line says, before it is all put together. */
struct command {
    struct config config;
    struct order order;
    struct voice voice;
    atomic_uint unsaid; /* of a logger at work */
    const char *file;
    const char *rebuild;                 /* journal */
    char request[REQUEST_LINE_MAX + 16]; /* to a logger at work; "" none */
    bool json;
    struct table_order tables;
    const char *blank; /* sheet to be made */
    bool check_only;
    bool done; /* --help and the like: nothing more to do */
    size_t set_count;
    struct assignment {
        enum status (*apply)(struct config *config, const char *text, struct complaint *complaint);
        const char *prefix, *text; /* applied after the file, so that they win over it */
    } * sets;
};

/* --- options: one row each */

static enum status note_set(struct command *command,
                            enum status (*apply)(struct config *, const char *, struct complaint *),
                            const char *prefix, const char *text)
{
    struct assignment *sets =
        realloc(command->sets, (command->set_count + 1) * sizeof *command->sets);
    if (!sets)
        return STATUS_MEMORY;
    sets[command->set_count++] = (struct assignment){apply, prefix, text};
    command->sets = sets;
    return STATUS_OK;
}

static enum status take_config(struct command *command, const char *text)
{
    if (command->file) {
        say(&command->voice, SAY_ERROR, "--config is given twice; one file is read");
        return STATUS_BAD_USAGE;
    }
    command->file = text;
    return STATUS_OK;
}

/* Looked at when it is read: "--input udp 10110" should hear of the colon, not of the stray
 * number. */
static enum status take_input(struct command *command, const char *text)
{
    struct complaint complaint = {""};
    const char *equals = strchr(text, '='), *address;
    const char *input = equals && !memchr(text, ':', (size_t)(equals - text)) ? equals + 1 : text;
    if (!input_driver_of(input, &address)) {
        enum status status = input_check(input, &complaint);
        say(&command->voice, SAY_ERROR, "--input %s", complaint.text);
        return status;
    }
    return note_set(command, config_add_input, "", text);
}

static enum status take_output(struct command *command, const char *text)
{
    command->order.output = text;
    return STATUS_OK;
}

static enum status take_directory(struct command *command, const char *text)
{
    return note_set(command, config_set, "logger.directory=", text);
}

static enum status take_replay(struct command *command, const char *text)
{
    if (command->order.replay) {
        say(&command->voice, SAY_ERROR, "--replay is given twice; join the captures first");
        return STATUS_BAD_USAGE;
    }
    command->order.replay = text;
    return STATUS_OK;
}

static enum status take_rebuild(struct command *command, const char *text)
{
    command->rebuild = text;
    return STATUS_OK;
}

static enum status take_sheet(struct command *command, const char *text)
{
    command->tables.sheet = text;
    return STATUS_OK;
}

static enum status take_blank(struct command *command, const char *text)
{
    command->blank = text;
    return STATUS_OK;
}

static enum status take_csv(struct command *command, const char *text)
{
    command->tables.csv = text;
    return STATUS_OK;
}

static enum status take_columns(struct command *command, const char *text)
{
    command->tables.columns = text;
    return STATUS_OK;
}

static enum status take_set(struct command *command, const char *text)
{
    return note_set(command, config_set, "", text);
}

static enum status take_purpose(struct command *command, const char *text)
{
    return note_set(command, config_set, "run.purpose=", text);
}

static enum status take_boat(struct command *command, const char *text)
{
    return note_set(command, config_set, "boat.name=", text);
}

static enum status take_duration(struct command *command, const char *text)
{
    char *end;
    double seconds = strtod(text, &end);
    if (end == text || *end || !(seconds > 0) || seconds > 1e8) {
        say(&command->voice, SAY_ERROR, "--duration %s: a number of seconds above 0 is wanted",
            text);
        return STATUS_BAD_USAGE;
    }
    command->order.duration = (int64_t)(seconds * 1e9) + 1; /* never 0, which is "no end" */
    return STATUS_OK;
}

static enum status take_unattended(struct command *command, const char *text)
{
    (void)text;
    return note_set(command, config_set, "logger.unattended=", "yes");
}

static enum status take_socket(struct command *command, const char *text)
{
    return note_set(command, config_set, "logger.socket=", text);
}

static enum status take_json(struct command *command, const char *text)
{
    (void)text;
    command->json = true;
    return STATUS_OK;
}

static enum status take_quiet(struct command *command, const char *text)
{
    (void)text;
    command->voice.least = SAY_WARNING;
    return STATUS_OK;
}

static enum status take_levels(struct command *command, const char *text)
{
    (void)text;
    command->voice.levels = true;
    return STATUS_OK;
}

static enum status take_check(struct command *command, const char *text)
{
    (void)text;
    command->check_only = true;
    return STATUS_OK;
}

static enum status print_config_help(struct command *command, const char *text)
{
    (void)text;
    config_describe(stdout);
    command->done = true;
    return STATUS_OK;
}

static enum status print_version(struct command *command, const char *text)
{
    (void)text;
    puts("searun-logger " SEARUN_VERSION);
    command->done = true;
    return STATUS_OK;
}

static enum status print_help(struct command *command, const char *text);

static const struct option_row {
    const char *name, *argument; /* argument: NULL if there is none */
    enum status (*take)(struct command *command, const char *text);
    const char *help;
} options[] = {
    {"config", "FILE", take_config, "read settings from FILE (see --help-config)"},
    {"input", "[NAME=]INPUT", take_input, "listen to INPUT; may be given several times"},
    {"output", "RUN.h5", take_output, "write the run to this file; must not exist yet"},
    {"directory", "FOLDER", take_directory,
     "without --output: make a name in FOLDER from start time and boat (default: .)"},
    {"replay", "CAPTURE", take_replay,
     "record from a capture file instead of the inputs, as fast as possible"},
    {"rebuild", "JOURNAL", take_rebuild,
     "make the run file of a run that was cut off, and record nothing"},
    {"sheet", "FILE.csv", take_sheet,
     "make a run of readings that were taken by hand, and record nothing"},
    {"blank-sheet", "FILE", take_blank,
     "write a sheet to fill in, with what is known of the boat: FILE.csv for a spreadsheet, "
     "FILE.html for a printer"},
    {"csv", "FILE.csv", take_csv,
     "make a run of the file of another logger; with --sheet, both into one run"},
    {"columns", "MAP", take_columns,
     "which column of --csv is what: \"time=Time; coolant_temperature[C]=T1\", or a file of such "
     "lines"},
    {"boat", "NAME", take_boat, "the boat's name; as --set boat.name=NAME"},
    {"purpose", "PURPOSE", take_purpose,
     "\"before service\", \"after service\" or \"other\"; as --set run.purpose=PURPOSE"},
    {"set", "SECTION.KEY=VALUE", take_set,
     "any setting, over the file: engine0.thermostat=71,82 (degC), run.sea_state=slight"},
    {"duration", "SECONDS", take_duration,
     "stop after so many seconds (of the capture, with --replay)"},
    {"unattended", NULL, take_unattended,
     "wait until an engine turns, record until all have stopped, and wait again"},
    {"socket", "PATH", take_socket,
     "where a logger at work is asked (mark, status ...); as --set logger.socket=PATH"},
    {"json", NULL, take_json, "status: for programs"},
    {"quiet", NULL, take_quiet, "say only what is wrong or missing"},
    {"log-levels", NULL, take_levels,
     "for the system's log: begin each line with its level (<4> is a warning)"},
    {"check-config", NULL, take_check, "check file and options, record nothing"},
    {"help-config", NULL, print_config_help, "list every setting with default and allowed values"},
    {"help", NULL, print_help, "this text"},
    {"version", NULL, print_version, "the version"},
};
#define OPTION_COUNT (sizeof options / sizeof options[0])

static enum status print_help(struct command *command, const char *text)
{
    (void)text;
    printf("searun-logger listens to the engine data on a boat's instrument networks and records a "
           "run.\nIt never sends anything. Stop it with Ctrl-C.\n\n"
           "  searun-logger --input serial:/dev/ttyUSB0,4800 --purpose \"before service\"\n"
           "  searun-logger --config FILE\n"
           "  searun-logger --replay CAPTURE --output RUN.h5\n"
           "  searun-logger --unattended --config FILE\n\nAsking a logger that is at work:\n");
    for (int kind = 0; kind < REQUEST_KIND_COUNT; kind++)
        printf("  searun-logger %s%s%s\n        %s\n", request_rows[kind].name,
               *request_rows[kind].argument ? " " : "", request_rows[kind].argument,
               request_rows[kind].help);
    printf("\nOptions:\n");
    for (size_t i = 0; i < OPTION_COUNT; i++) {
        const char *argument = options[i].argument ? options[i].argument : "";
        printf("  --%s%s%s\n        %s\n", options[i].name, *argument ? " " : "", argument,
               options[i].help);
    }
    printf("\nInputs:\n");
    for (size_t i = 0; i < input_driver_count; i++)
        printf("  %s\n", input_drivers[i]->usage);
    printf(
        "\nUnits: temperatures in degC, engine speed in rpm, baud rates in bits a second, times in "
        "seconds (s).\n"
        "Exit status: 0 the run is recorded; 1 it failed, is not whole, or nothing was heard; 2 "
        "options or settings cannot be meant.\n");
    command->done = true;
    return STATUS_OK;
}

/* --- putting it together */

static void fill_long_options(struct option *to)
{
    for (size_t i = 0; i < OPTION_COUNT; i++)
        to[i] =
            (struct option){options[i].name, options[i].argument ? required_argument : no_argument,
                            NULL, (int)(1000 + i)};
    to[OPTION_COUNT] = (struct option){0};
}

/* A request to a logger at work: its words, joined by blanks. */
static enum status take_words(struct command *command, int count, char **words)
{
    if (request_find(words[0], strlen(words[0])) == REQUEST_KIND_COUNT) {
        if (strpbrk(words[0], ":/"))
            say(&command->voice, SAY_ERROR, "\"%s\" stands alone; did you mean --input %s?",
                words[0], words[0]);
        else
            say(&command->voice, SAY_ERROR,
                "\"%s\" is nothing that a logger at work does; it takes mark, note, purpose, "
                "start, stop and status",
                words[0]);
        return STATUS_BAD_USAGE;
    }
    size_t length = 0;
    for (int i = 0; i < count && length < sizeof command->request; i++)
        length += (size_t)snprintf(command->request + length, sizeof command->request - length,
                                   "%s%s", i > 0 ? " " : "", words[i]);
    if (length <= REQUEST_LINE_MAX)
        return STATUS_OK;
    say(&command->voice, SAY_ERROR,
        "the text is longer than %d bytes; at most %d are kept, please shorten it",
        REQUEST_LINE_MAX, REQUEST_TEXT_MAX);
    return STATUS_BAD_USAGE;
}

static enum status read_command(struct command *command, int argc, char **argv)
{
    struct option long_options[OPTION_COUNT + 1];
    int code;
    fill_long_options(long_options);
    opterr = 0;
    while (!command->done && (code = getopt_long(argc, argv, ":", long_options, NULL)) != -1) {
        if (code == '?' || code == ':') {
            say(&command->voice, SAY_ERROR, "%s %s; --help lists the options", argv[optind - 1],
                code == ':' ? "wants something behind it" : "is not an option that is known");
            return STATUS_BAD_USAGE;
        }
        enum status status = options[code - 1000].take(command, optarg);
        if (status != STATUS_OK)
            return status;
    }
    return command->done || optind == argc ? STATUS_OK
                                           : take_words(command, argc - optind, argv + optind);
}

static void tell_problem(void *self, const char *text)
{
    const struct command *command = self;
    say(&command->voice, SAY_ERROR, "%s", text);
}

static enum status apply_set(const struct command *command, const struct assignment *set,
                             struct config *to)
{
    struct complaint complaint = {""};
    size_t room = strlen(set->prefix) + strlen(set->text) + 1;
    char *text = malloc(room);
    if (!text)
        return STATUS_MEMORY;
    snprintf(text, room, "%s%s", set->prefix, set->text);
    enum status status = set->apply(to, text, &complaint);
    if (status != STATUS_OK)
        say(&command->voice, SAY_ERROR, "command line: %s", complaint.text);
    free(text);
    return status;
}

static enum status configure(struct command *command, struct config *to)
{
    struct problems problems = {tell_problem, command, 0};
    enum status status = STATUS_OK;
    if (command->file)
        status = config_read(to, command->file, &problems);
    for (size_t i = 0; i < command->set_count; i++) {
        enum status set_status = apply_set(command, &command->sets[i], to);
        status = status == STATUS_OK ? set_status : status;
    }
    return status;
}

/* The file may have been changed; the options count over it as before. */
static enum status reload(void *self, struct config *fresh)
{
    config_init(fresh);
    enum status status = configure(self, fresh);
    if (status != STATUS_OK)
        config_free(fresh);
    return status;
}

/* What cannot be meant is refused here already, with the words that the logger would have. */
static enum status ask(struct command *command)
{
    struct request request;
    struct complaint complaint = {""};
    size_t length = strlen(command->request);
    enum status status = request_parse(command->request, length, &request, &complaint);
    if (status == STATUS_OK) {
        strcpy(command->request + length,
               request.kind == REQUEST_STATUS && command->json && !request.json ? " json\n" : "\n");
        status = ask_logger(&command->config.settings, command->request, stdout, &complaint);
    }
    if (status != STATUS_OK)
        say(&command->voice, SAY_ERROR, "%s", complaint.text);
    return status;
}

static enum status write_blank(const struct command *command)
{
    struct complaint complaint = {""};
    enum status status = sheet_write_blank(command->blank, &command->config.facts, &complaint);
    if (status != STATUS_OK)
        say(&command->voice, SAY_ERROR, "%s", complaint.text);
    return status;
}

static enum status make_table_run(struct command *command)
{
    const char *why = NULL;
    if (!command->tables.csv != !command->tables.columns)
        why = "--csv and --columns belong together: one names the file, the other says what its "
              "columns are: --columns \"time=Time; coolant_temperature[C]=T1\"";
    else if (command->order.replay || command->rebuild || command->order.duration > 0)
        why = "--sheet and --csv make a run of what is in their files: nothing is replayed, "
              "rebuilt or timed beside them";
    if (why) {
        say(&command->voice, SAY_ERROR, "%s", why);
        return STATUS_BAD_USAGE;
    }
    command->tables.output = command->order.output;
    return tables_record(&command->config, &command->tables, &command->voice);
}

static enum status work(struct command *command)
{
    enum status status = configure(command, &command->config);
    if (status == STATUS_MEMORY || status == STATUS_IO) /* may be better the next time */
        return status;
    if (status != STATUS_OK)
        return STATUS_BAD_USAGE;
    if (command->request[0])
        return ask(command);
    if (command->check_only) {
        return checked_say(&command->config, command->order.output, command->order.replay != NULL,
                           &command->voice);
    }
    if (command->rebuild) {
        const struct rebuild_order order = {.journal = command->rebuild,
                                            .output = command->order.output,
                                            .keep = command->config.settings.keep_journal};
        return rebuild_run(&order, &command->voice);
    }
    if (command->blank)
        return write_blank(command);
    if (command->tables.sheet || command->tables.csv || command->tables.columns)
        return make_table_run(command);
    command->order.reload = command->file ? reload : NULL;
    command->order.self = command;
    command->voice.unsaid = &command->unsaid;
    return logger_record(&command->config, &command->order, &command->voice);
}

/* The tables are checked before anything is recorded with them: a row that lacks something is our
 * own mistake, and must not become a run file. */
static enum status check_tables(const struct voice *voice)
{
    size_t channel = channel_check();
    uint32_t message = can_rows_check();
    if (channel == 0 && message == 0)
        return STATUS_OK;
    say(voice, SAY_ERROR, "this program is not sound: row %zu of the channels, message %u", channel,
        (unsigned)message);
    return STATUS_BAD_DATA;
}

int main(int argc, char **argv)
{
    struct command command = {.voice = {.fd = STDERR_FILENO, .least = SAY_NOTE}};
    command.voice.levels = say_is_journal(STDERR_FILENO);
    config_init(&command.config);
    enum status status = check_tables(&command.voice);
    if (status == STATUS_OK)
        status = read_command(&command, argc, argv);
    if (status == STATUS_OK && !command.done)
        status = work(&command);
    config_free(&command.config);
    free(command.sets);
    if (status == STATUS_OK)
        return EXIT_SUCCESS;
    return status == STATUS_BAD_USAGE ? EXIT_BAD_USAGE : EXIT_RUN_FAILED;
}
