/* boat_main.c - boat-model: writes what the instruments of an invented boat would have said. */
#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleet.h"
#include "model_facts.h"
#include "writers.h"

enum format {
    FORMAT_0183,
    FORMAT_0183_TAG,
    FORMAT_N2K,
    FORMAT_RUN,
    FORMAT_RUN_N2K,
    FORMAT_SHEET,
    FORMAT_COUNT
};
static const char *const format_words[FORMAT_COUNT] = {"0183", "0183-tag", "n2k",
                                                       "run",  "run-n2k",  "sheet"};

struct wish {
    struct boat_scenario scenario;
    const char *name, *seed, *output, *truth, *purpose, *fleet;
    unsigned every;
    enum format format;
    double rapid_hz;
};

static const char usage[] =
    "boat-model: captures and runs of an invented boat whose cooling is known\n"
    "  boat-model --scenario NAME --output FILE [options] [key=value ...]\n"
    "    --scenario NAME  see --list\n"
    "    --output FILE    what to write; - for standard output (not for runs)\n"
    "    --format WORD    0183 (default), 0183-tag, n2k, run, run-n2k, sheet\n"
    "    --seed N         seed of everything random, default 1\n"
    "    --truth FILE     the truth as JSON\n"
    "    --purpose WORD   purpose written into a run file: before, after, other (default)\n"
    "    --rapid HZ       rate of engine speed on NMEA 2000, default 10\n"
    "    --list           scenarios and keys\n"
    "  boat-model --fleet FOLDER [--seed N] [--every S] [key=value ...]\n"
    "    ten seasons of a boat: run files with a reading every S seconds (default 2), the service\n"
    "    log and truth.json. Keys: seasons, engines, asymptotic, services, fuel, plate, 0183, "
    "hull\n";

static int list(void)
{
    for (size_t i = 0; i < boat_scenario_count(); i++)
        printf("%-16s %s\n", boat_scenario_name(i), boat_scenario_help(i));
    printf("keys (0. or 1. in front of an engine's key means that engine only):\n");
    for (size_t i = 0; boat_override_key(i) != NULL; i++)
        printf("  %s\n", boat_override_key(i));
    return 0;
}

static int refuse(const char *what, const char *why)
{
    fprintf(stderr, "boat-model: %s: %s\n", what, why);
    return 2;
}

static enum format find_format(const char *word)
{
    for (int i = 0; i < FORMAT_COUNT; i++)
        if (strcmp(format_words[i], word) == 0)
            return (enum format)i;
    return FORMAT_COUNT;
}

static bool take_option(struct wish *wish, int option)
{
    switch (option) {
    case 's':
        wish->name = optarg;
        return true;
    case 'o':
        wish->output = optarg;
        return true;
    case 'f':
        wish->format = find_format(optarg);
        return wish->format != FORMAT_COUNT;
    case 'n':
        wish->seed = optarg;
        return true;
    case 't':
        wish->truth = optarg;
        return true;
    case 'p':
        wish->purpose = optarg;
        return true;
    case 'r':
        wish->rapid_hz = strtod(optarg, NULL);
        return wish->rapid_hz >= 0.1 && wish->rapid_hz <= 100.0;
    case 'F':
        wish->fleet = optarg;
        return true;
    case 'e':
        wish->every = (unsigned)strtoul(optarg, NULL, 10);
        return wish->every >= 1 && wish->every <= 60;
    default:
        return false;
    }
}

/* 0: go on; otherwise the exit code plus one. */
static int read_options(struct wish *wish, int argc, char **argv)
{
    static const struct option options[] = {
        {"scenario", required_argument, NULL, 's'}, {"output", required_argument, NULL, 'o'},
        {"format", required_argument, NULL, 'f'},   {"seed", required_argument, NULL, 'n'},
        {"truth", required_argument, NULL, 't'},    {"purpose", required_argument, NULL, 'p'},
        {"rapid", required_argument, NULL, 'r'},    {"list", no_argument, NULL, 'l'},
        {"fleet", required_argument, NULL, 'F'},    {"every", required_argument, NULL, 'e'},
        {"help", no_argument, NULL, 'h'},           {NULL, 0, NULL, 0}};
    for (int option; (option = getopt_long(argc, argv, "", options, NULL)) != -1;) {
        if (option == 'l')
            return 1 + list();
        if (option == 'h')
            return 1 + (fputs(usage, stdout) < 0);
        if (!take_option(wish, option)) {
            fputs(usage, stderr);
            return 1 + 2;
        }
    }
    return 0;
}

static int read_scenario(struct wish *wish, int argc, char **argv)
{
    const char *why;
    char seed[40];
    if (wish->name == NULL || wish->output == NULL)
        return refuse("--scenario and --output", "are needed; see --help");
    if (!boat_scenario_named(wish->name, &wish->scenario))
        return refuse(wish->name, "no such scenario; see --list");
    snprintf(seed, sizeof seed, "seed=%s", wish->seed);
    if (!boat_override(&wish->scenario, seed, &why))
        return refuse(seed, why);
    for (int i = optind; i < argc; i++)
        if (!boat_override(&wish->scenario, argv[i], &why))
            return refuse(argv[i], why);
    return 0;
}

static enum status write_run_with_facts(const struct wish *wish, struct complaint *complaint)
{
    struct facts facts = {0};
    enum status status = model_facts(&wish->scenario, wish->purpose, &facts, complaint);
    if (status == STATUS_OK)
        status =
            write_run(&wish->scenario, wish->format == FORMAT_RUN ? RUN_LIKE_0183 : RUN_LIKE_N2K,
                      &facts, wish->output, NULL, complaint);
    facts_free(&facts);
    return status;
}

static enum status write_stream(const struct wish *wish, FILE *to, struct complaint *complaint)
{
    if (wish->format == FORMAT_SHEET)
        return write_sheet(&wish->scenario, wish->purpose, to, complaint);
    if (wish->format == FORMAT_N2K)
        return write_n2k(&wish->scenario, wish->rapid_hz, to, complaint);
    return write_0183(&wish->scenario, wish->format == FORMAT_0183_TAG, to, complaint);
}

static enum status write_output(const struct wish *wish, struct complaint *complaint)
{
    if (wish->format == FORMAT_RUN || wish->format == FORMAT_RUN_N2K)
        return write_run_with_facts(wish, complaint);
    if (strcmp(wish->output, "-") == 0)
        return write_stream(wish, stdout, complaint);
    FILE *to = fopen(wish->output, "w");
    if (to == NULL)
        return complain(complaint, STATUS_IO, "%s could not be opened for writing", wish->output);
    enum status status = write_stream(wish, to, complaint);
    if (fclose(to) != 0 && status == STATUS_OK)
        status = complain(complaint, STATUS_IO, "%s could not be written", wish->output);
    return status;
}

static enum status write_truth_file(const struct wish *wish, struct complaint *complaint)
{
    if (wish->truth == NULL)
        return STATUS_OK;
    FILE *to = fopen(wish->truth, "w");
    if (to == NULL)
        return complain(complaint, STATUS_IO, "%s could not be opened for writing", wish->truth);
    enum status status = write_truth(&wish->scenario, to, complaint);
    if (fclose(to) != 0 && status == STATUS_OK)
        status = complain(complaint, STATUS_IO, "%s could not be written", wish->truth);
    return status;
}

/* --- a fleet boat */

static bool set_fleet_key(struct fleet_plan *plan, const char *text)
{
    char key[24];
    double value;
    if (sscanf(text, "%23[^=]=%lf", key, &value) != 2)
        return false;
    if (strcmp(key, "seasons") == 0 && value >= 2 && value <= FLEET_SEASONS_MAX)
        plan->seasons = (size_t)value;
    else if (strcmp(key, "engines") == 0 && (value == 1 || value == 2))
        plan->engines = (size_t)value;
    else if (strcmp(key, "asymptotic") == 0)
        plan->growth = value != 0 ? FLEET_ASYMPTOTIC : FLEET_LINEAR;
    else if (strcmp(key, "services") == 0)
        plan->services = value != 0;
    else if (strcmp(key, "fuel") == 0)
        plan->fuel = value != 0;
    else if (strcmp(key, "plate") == 0)
        plan->plate = value != 0;
    else if (strcmp(key, "0183") == 0)
        plan->flavour = value != 0 ? RUN_LIKE_0183 : RUN_LIKE_N2K;
    else if (strcmp(key, "hull") == 0 && value >= 0 && value < 1)
        plan->hull = value;
    else
        return false;
    return true;
}

static int write_fleet(const struct wish *wish, int argc, char **argv)
{
    static struct fleet_boat boat;
    struct fleet_plan plan;
    struct complaint complaint = {""};
    fleet_plan_default(&plan);
    plan.seed = strtoull(wish->seed, NULL, 10);
    for (int i = optind; i < argc; i++)
        if (!set_fleet_key(&plan, argv[i]))
            return refuse(argv[i], "no key of a fleet, or no value for it; see --help");
    fleet_draw(&plan, 0, &boat);
    const enum status status = fleet_write(&boat, wish->every, wish->fleet, NULL, &complaint);
    return status == STATUS_OK ? 0 : refuse("writing", complaint.text);
}

int main(int argc, char **argv)
{
    struct wish wish = {.seed = "1", .purpose = "other", .rapid_hz = 10, .every = 2};
    struct complaint complaint = {""};
    int code = read_options(&wish, argc, argv);
    if (code != 0)
        return code - 1;
    if (wish.fleet != NULL)
        return write_fleet(&wish, argc, argv);
    code = read_scenario(&wish, argc, argv);
    if (code != 0)
        return code;
    enum status status = write_output(&wish, &complaint);
    if (status == STATUS_OK)
        status = write_truth_file(&wish, &complaint);
    return status == STATUS_OK ? 0 : refuse("writing", complaint.text);
}
