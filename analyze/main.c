/* searun-analyze - says what two sea trials show about an engine's cooling. */
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check.h"
#include "deliver.h"
#include "export.h"
#include "folder.h"
#include "guard.h"
#include "note_command.h"
#include "options.h"
#include "report.h"
#include "seasons_read.h"
#include "service_command.h"
#include "show.h"

/* Exit codes; searun-analyze(1), EXIT STATUS. */
enum outcome {
    OUTCOME_DONE = 0,
    OUTCOME_DAMAGED = 1, /* check only */
    OUTCOME_UNREADABLE = 2,
    OUTCOME_UNWRITTEN = 3,
    OUTCOME_USAGE = 4,
    OUTCOME_MEMORY = 5
};

static enum outcome fail(enum outcome outcome, const struct complaint *complaint)
{
    struct text words = {0};
    text_clean(&words, complaint->text);
    fprintf(stderr, "searun-analyze: %s\n", text_string(&words));
    text_free(&words);
    return outcome;
}

/* The outcome of a step that reads (or, with OUTCOME_UNWRITTEN, writes). */
static enum outcome outcome_of(enum status status, enum outcome otherwise)
{
    if (status == STATUS_MEMORY)
        return OUTCOME_MEMORY;
    return status == STATUS_BAD_USAGE ? OUTCOME_USAGE : otherwise;
}

/* Prints and looks whether it arrived: a full disk behind a pipe must not look like success. */
static enum outcome print(const struct text *words)
{
    struct complaint complaint;
    fwrite(text_string(words), 1, words->length, stdout);
    if (fflush(stdout) == 0 && !ferror(stdout))
        return OUTCOME_DONE;
    complain(&complaint, STATUS_IO, "cannot write to standard output: %s", strerror(errno));
    return fail(OUTCOME_UNWRITTEN, &complaint);
}

/* True if the command line asked for something else than running: then *outcome is final. */
static bool settled(const struct command_syntax *syntax, int count, char **arguments, void *request,
                    enum outcome *outcome)
{
    struct complaint complaint;
    struct text words = {0};
    bool help;
    enum status status = options_parse(syntax, count, arguments, request, &help, &complaint);
    if (status != STATUS_OK) {
        *outcome = fail(outcome_of(status, OUTCOME_USAGE), &complaint);
        return true;
    }
    if (!help)
        return false;
    options_help(&words, syntax);
    *outcome = print(&words);
    text_free(&words);
    return true;
}

/* Colours only on a terminal, and not where NO_COLOR is set. */
static bool wants_colour(void)
{
    const char *no = getenv("NO_COLOR");
    return isatty(STDOUT_FILENO) != 0 && (no == NULL || no[0] == '\0');
}

/* --- handing over */

static enum outcome deliver_it(const struct delivery *delivery)
{
    struct complaint complaint, note = {""};
    struct text printed = {0};
    enum status status = deliver(delivery, &printed, &note, &complaint);
    enum outcome outcome = OUTCOME_DONE;
    if (status != STATUS_OK)
        outcome = fail(outcome_of(status, OUTCOME_UNWRITTEN), &complaint);
    else
        outcome = print(&printed);
    if (note.text[0] != '\0')
        fail(outcome, &note);
    text_free(&printed);
    return outcome;
}

/* Where progress is shown; NULL: nowhere. */
static FILE *progress_stream(bool quiet)
{
    return isatty(STDERR_FILENO) && !quiet ? stderr : NULL;
}

/* `command` gives the same numbers again. */
static enum outcome hand_over(const struct delivery_kind *kind, const void *subject,
                              const struct handing *handing, const struct text *command)
{
    const struct delivery delivery = {
        .kind = kind,
        .subject = subject,
        .handing = handing,
        .command = text_string(command),
        .colour = wants_colour(),
        .progress = progress_stream(handing->quiet),
    };
    return command->failed ? OUTCOME_MEMORY : deliver_it(&delivery);
}

/* --- compare */

static enum outcome deliver_answer(const struct compare_request *request,
                                   const struct answer *answer)
{
    struct text command = {0};
    compare_command(&command, request);
    enum outcome outcome = hand_over(&delivery_of_comparison, answer, &request->handing, &command);
    text_free(&command);
    return outcome;
}

static enum outcome run_compare(int count, char **arguments)
{
    struct compare_request request;
    struct complaint complaint;
    struct answer answer = {0};
    enum outcome outcome;
    compare_request_default(&request);
    if (settled(&compare_syntax, count, arguments, &request, &outcome)) {
        compare_request_free(&request);
        return outcome;
    }
    enum status status = compare_request_finish(&request, &complaint);
    if (status == STATUS_OK)
        status = compare_runs(&request.options, &answer, &complaint);
    if (status != STATUS_OK)
        outcome = fail(outcome_of(status, OUTCOME_UNREADABLE), &complaint);
    else
        outcome = deliver_answer(&request, &answer);
    answer_free(&answer);
    compare_request_free(&request);
    return outcome;
}

/* --- seasons */

static enum outcome deliver_seasons(const struct seasons_request *request,
                                    const struct seasons *seasons)
{
    struct text command = {0};
    seasons_command(&command, request);
    enum outcome outcome = hand_over(&delivery_of_seasons, seasons, &request->handing, &command);
    text_free(&command);
    return outcome;
}

static void read_progress(void *self, size_t done, size_t count)
{
    FILE *progress = self;
    const int columns = 30;
    int full = count > 0 ? (int)((size_t)columns * done / count) : columns;
    fprintf(progress, "\rreading runs [%.*s%*s] %zu of %zu ", full,
            "##############################", columns - full, "", done, count);
    if (done == count)
        fputs("\r\033[K", progress);
    fflush(progress);
}

static enum status read_seasons(const struct seasons_request *request, struct seasons *seasons,
                                struct complaint *complaint)
{
    FILE *progress = progress_stream(request->handing.quiet);
    struct seasons_paths paths = {
        .count = request->runs.count,
        .list = request->runs.list,
        .services = request->service,
        .reading = {.no_cache = request->no_cache,
                    .wishes = {request->boat_file, request->wish_count, request->wishes},
                    .progress = progress != NULL ? read_progress : NULL,
                    .self = progress},
    };
    seasons->options = request->options;
    enum status status = seasons_read(&paths, seasons, complaint);
    return status != STATUS_OK ? status : seasons_solve(seasons, complaint);
}

static enum outcome run_seasons(int count, char **arguments)
{
    struct seasons_request request;
    struct complaint complaint;
    struct seasons *seasons = calloc(1, sizeof *seasons);
    enum outcome outcome;
    seasons_request_default(&request);
    if (seasons == NULL)
        return OUTCOME_MEMORY;
    if (!settled(&seasons_syntax, count, arguments, &request, &outcome)) {
        enum status status = read_seasons(&request, seasons, &complaint);
        outcome = status != STATUS_OK ? fail(outcome_of(status, OUTCOME_UNREADABLE), &complaint)
                                      : deliver_seasons(&request, seasons);
    }
    seasons_free(seasons);
    free(seasons);
    free(request.runs.list);
    return outcome;
}

/* --- show, export, check */

static enum outcome run_show(int count, char **arguments)
{
    struct show_request request = {.style = {UNITS_SI, false}};
    struct document document = {0};
    struct complaint complaint;
    struct text printed = {0};
    enum outcome outcome;
    if (settled(&show_syntax, count, arguments, &request, &outcome))
        return outcome;
    enum status status = show_run(&request, &document, &complaint);
    if (status != STATUS_OK) {
        outcome = fail(outcome_of(status, OUTCOME_UNREADABLE), &complaint);
    } else {
        report_text(&printed, &document, NULL, NULL, wants_colour());
        outcome = print(&printed);
    }
    text_free(&printed);
    document_free(&document);
    return outcome;
}

static enum outcome export_to(struct run *run, const struct export_request *request, FILE *out)
{
    struct complaint complaint;
    enum status status =
        request->raw ? export_raw(run, out, &complaint) : export_csv(run, request, out, &complaint);
    return status == STATUS_OK ? OUTCOME_DONE
                               : fail(outcome_of(status, OUTCOME_UNREADABLE), &complaint);
}

static enum outcome export_to_output(struct run *run, const struct export_request *request)
{
    enum outcome outcome = export_to(run, request, stdout);
    struct text nothing = {0};
    return outcome == OUTCOME_DONE ? print(&nothing) : outcome; /* did it arrive? */
}

static enum outcome export_to_file(struct run *run, const struct export_request *request)
{
    struct complaint complaint;
    struct new_file file;
    enum status status = request->replace ? new_file_open(&file, request->output, &complaint)
                                          : new_file_create(&file, request->output, &complaint);
    if (status != STATUS_OK)
        return fail(outcome_of(status, OUTCOME_UNWRITTEN), &complaint);
    enum outcome outcome = export_to(run, request, file.stream);
    status = new_file_close(&file, outcome == OUTCOME_DONE, &complaint);
    return status == STATUS_OK ? outcome : fail(outcome_of(status, OUTCOME_UNWRITTEN), &complaint);
}

static enum outcome run_export(int count, char **arguments)
{
    struct export_request request = {0};
    struct complaint complaint;
    struct run *run;
    enum outcome outcome;
    if (settled(&export_syntax, count, arguments, &request, &outcome))
        return outcome;
    enum status status = run_open(request.run, &run, &complaint);
    if (status != STATUS_OK)
        return fail(outcome_of(status, OUTCOME_UNREADABLE), &complaint);
    outcome =
        request.output != NULL ? export_to_file(run, &request) : export_to_output(run, &request);
    run_close(run);
    return outcome;
}

static enum outcome run_check_command(int count, char **arguments)
{
    struct check_request request = {0};
    struct complaint complaint;
    enum outcome outcome;
    if (settled(&check_syntax, count, arguments, &request, &outcome)) {
        free(request.runs.list);
        return outcome;
    }
    outcome = OUTCOME_DONE;
    for (size_t i = 0; i < request.runs.count; i++) {
        enum outcome one =
            (enum outcome)check_run(request.runs.list[i], request.quiet, stdout, &complaint);
        if (one == OUTCOME_UNREADABLE)
            fail(one, &complaint);
        outcome = one > outcome ? one : outcome;
    }
    free(request.runs.list);
    struct text nothing = {0};
    enum outcome printed = print(&nothing);
    return printed == OUTCOME_DONE ? outcome : printed;
}

static enum outcome run_note(int count, char **arguments)
{
    struct note_request request = {NULL, NULL};
    struct complaint complaint;
    enum outcome outcome;
    if (settled(&note_syntax, count, arguments, &request, &outcome))
        return outcome;
    if (request.remark == NULL) {
        complain(&complaint, STATUS_BAD_USAGE,
                 "there is no remark; usage: searun-analyze note RUN KEY=VALUE, or words that tick "
                 "steps after a service: searun-analyze note RUN \"filled, bled, cap on\"");
        return fail(OUTCOME_USAGE, &complaint);
    }
    struct document document = {0};
    struct text printed = {0};
    enum status status = note_run(request.run, request.remark, &document, &complaint);
    report_text(&printed, &document, NULL, NULL, wants_colour());
    outcome = print(&printed);
    if (status != STATUS_OK)
        outcome =
            fail(outcome_of(status, status == STATUS_IO ? OUTCOME_UNWRITTEN : OUTCOME_UNREADABLE),
                 &complaint);
    text_free(&printed);
    document_free(&document);
    return outcome;
}

static enum outcome run_service(int count, char **arguments)
{
    struct service_request request = {.style = {UNITS_SI, false}};
    struct document document = {0};
    struct complaint complaint;
    struct text printed = {0};
    enum outcome outcome;
    if (!settled(&service_syntax, count, arguments, &request, &outcome)) {
        enum status status = service_run(&request, &document, &complaint);
        bool writing = status == STATUS_IO || status == STATUS_FULL;
        report_text(&printed, &document, NULL, NULL, wants_colour());
        outcome = print(&printed); /* also what was added before a failure */
        if (status != STATUS_OK)
            outcome = fail(outcome_of(status, writing ? OUTCOME_UNWRITTEN : OUTCOME_UNREADABLE),
                           &complaint);
    }
    text_free(&printed);
    document_free(&document);
    free(request.what.list);
    return outcome;
}

/* --- the table of commands */

static const struct command {
    const struct command_syntax *syntax;
    enum outcome (*run)(int count, char **arguments);
} commands[] = {
    {&compare_syntax, run_compare}, {&seasons_syntax, run_seasons},     {&show_syntax, run_show},
    {&export_syntax, run_export},   {&check_syntax, run_check_command}, {&note_syntax, run_note},
    {&service_syntax, run_service},
};
#define COMMANDS (sizeof commands / sizeof commands[0])

static void add_usage(struct text *words)
{
    text_add(words, "usage: searun-analyze COMMAND ...\n\n");
    for (size_t i = 0; i < COMMANDS; i++)
        text_addf(words, "  searun-analyze %s %s\n", commands[i].syntax->name,
                  commands[i].syntax->arguments);
    text_add(words, "\nsearun-analyze COMMAND --help tells more of each, searun-analyze(1) all.\n"
                    "searun-analyze --version prints the version.\n");
}

static void add_names(struct text *words)
{
    for (size_t i = 0; i < COMMANDS; i++)
        text_addf(words, "%s, ", commands[i].syntax->name);
}

static enum outcome run_general(const char *word)
{
    struct text words = {0};
    enum outcome outcome;
    if (strcmp(word, "--version") == 0)
        text_add(&words, "searun-analyze " SEARUN_VERSION "\n");
    else if (strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0)
        add_usage(&words);
    if (words.length > 0) {
        outcome = print(&words);
    } else {
        struct complaint complaint;
        struct text clean = {0}, names = {0};
        text_clip(&clean, word, 40);
        add_names(&names);
        complain(&complaint, STATUS_BAD_USAGE,
                 "there is no command %s; %s--version and --help are allowed", text_string(&clean),
                 text_string(&names));
        text_free(&names);
        text_free(&clean);
        outcome = fail(OUTCOME_USAGE, &complaint);
    }
    text_free(&words);
    return outcome;
}

/* The command in a process of its own, as it reads files from anywhere. */
static int run_guarded(const struct command *command, int count, char **arguments)
{
    struct complaint complaint;
    int answer = guard_start(&complaint);
    int number = -2 - answer;
    if (answer == GUARD_WORK)
        return (int)command->run(count, arguments);
    if (answer >= 0)
        return answer;
    if (number == SIGINT || number == SIGTERM || number == SIGPIPE || number == SIGHUP)
        return 128 + number; /* somebody wanted it to end */
    return (int)fail(number == SIGKILL ? OUTCOME_MEMORY : OUTCOME_UNREADABLE, &complaint);
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        struct text words = {0};
        add_usage(&words);
        fputs(text_string(&words), stderr);
        text_free(&words);
        return OUTCOME_USAGE;
    }
    for (size_t i = 0; i < COMMANDS; i++)
        if (strcmp(argv[1], commands[i].syntax->name) == 0)
            return run_guarded(&commands[i], argc - 2, argv + 2);
    return (int)run_general(argv[1]);
}
