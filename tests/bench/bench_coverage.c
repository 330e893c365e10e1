/* bench_coverage.c - how often the 95 % intervals hold the truth, by family of conditions.
 *
 * Each pair is a boat model run before and after a service; its run files are read and compared by
 * the very code of searun-analyze, and the answer is scored against the model's truth. A few pairs
 * also go the whole way through the programs: capture, searun-logger --replay, searun-analyze
 * compare --json. Beside it stands the naive way: a t test over all samples at one speed.
 */
#include <fcntl.h>
#include <getopt.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cjson/cJSON.h>

#include "../simulated/hand_run.h"
#include "../simulated/score.h"
#include "shares.h"

#define PATH_ROOM 700

struct wish {
    const char *families, *csv, *bin;
    uint64_t seed;
    size_t pairs, jobs, programs;
    bool verdict;
};

static const struct score_analyzer analyzer = {compare_options_default, compare_runs, answer_free,
                                               hand_run_make};

static const char usage[] =
    "bench_coverage: how often the intervals hold the truth\n"
    "  --pairs N        run pairs a family, default 200\n"
    "  --families A,B   only these; --list shows all\n"
    "  --seed N         default 1\n"
    "  --jobs N         processes, default 2\n"
    "  --csv FILE       every band of every pair\n"
    "  --programs N     pairs a family that also go through the programs, default 1\n"
    "  --bin DIR        where the programs are, default build/release\n"
    "  --verdict        exit with 1 if a family misses what is asked of it\n"
    "  --list           the families\n";

/* --- many pairs in several processes */

struct share {
    const struct wish *wish;
    const struct family *family;
    const char *folder;
    struct pair_score *scores; /* in memory of all */
};

static void work_share(const void *self, size_t job)
{
    const struct share *share = self;
    const struct wish *wish = share->wish;
    for (size_t i = job; i < wish->pairs; i += wish->jobs)
        score_pair(share->family, wish->seed, i, share->folder, &analyzer, &share->scores[i]);
}

static bool run_family(const struct wish *wish, const struct family *family, const char *folder,
                       struct pair_score *scores)
{
    const struct share share = {wish, family, folder, scores};
    memset(scores, 0, wish->pairs * sizeof *scores);
    return shares_run(wish->jobs, work_share, &share);
}

/* --- the table */

static void print_head(void)
{
    printf("\nTrue change and half-width in K at the top of the ladder; coverage in %% of 95 %% "
           "intervals.\n");
    printf("%-17s %6s |%-29s| %-11s %5s %5s | %5s | %-23s | %5s | %-9s | %s\n", "", "true",
           " covered at 1000 ... 2800 rpm", "all bands", "simul", "ratio", "half",
           "low  rais none cannot", "found", "t test", "CPU ms a pair");
    printf("%-17s %6s |%-29s| %-11s %5s %5s | %5s | %-23s | %5s | %-9s | %s\n", "family", "change",
           "", "", "", "", "width", "(% of pairs)", "2800", "2800  all", "model compare");
}

static void print_percent(double share, int width)
{
    if (isnan(share))
        printf("%*s", width, "-");
    else
        printf("%*.*f", width, width > 4 ? 1 : 0, 100.0 * share);
}

static void print_coverage(const struct family_score *score)
{
    for (size_t k = 0; k < FAMILY_SPEEDS; k++) {
        print_percent(score->covered_band[k], 4);
        putchar(' ');
    }
    printf("| ");
    print_percent(score->covered, 5);
    printf(" +-%3.1f", 100.0 * score->covered_error);
    print_percent(score->simultaneous, 6);
    print_percent(score->covered_ratio, 6);
}

static void print_family(const struct family *family, const struct family_score *score)
{
    const enum finding right = family->ratio < 1.0 ? FINDING_LOWERED : FINDING_NO_CHANGE_SHOWN;
    printf("%-17s %+6.1f |", family->key, score->truth_top);
    print_coverage(score);
    printf(" | %5.2f | ", score->half_top);
    for (int kind = 0; kind < 4; kind++)
        print_percent(score->finding[kind], kind == 0 ? 5 : 6);
    printf(" | ");
    print_percent(score->top_finding[right], 5);
    printf(" | ");
    print_percent(score->naive_top, 4);
    print_percent(score->naive_all, 5);
    printf(" | %5.1f %7.1f", score->ms_model, score->ms_compare);
    if (score->failed > 0)
        printf("  (%zu of %zu pairs failed)", score->failed, score->pairs);
    putchar('\n');
    fflush(stdout);
}

struct key_count {
    char key[32];
    size_t pairs;
};

static void count_key(struct key_count *list, size_t room, const char *key)
{
    for (size_t i = 0; i < room; i++) {
        if (list[i].pairs == 0)
            snprintf(list[i].key, sizeof list[i].key, "%s", key);
        if (strcmp(list[i].key, key) != 0)
            continue;
        list[i].pairs++;
        return;
    }
}

/* True if warning `k` of a pair says again what an earlier one said (of another run). */
static bool repeated(const struct pair_score *score, size_t k)
{
    for (size_t i = 0; i < k; i++)
        if (strcmp(score->warning[i], score->warning[k]) == 0)
            return true;
    return false;
}

/* Which warnings came, in how many pairs; and the first failure in words. */
static void print_notes(const struct pair_score *scores, size_t count)
{
    struct key_count list[24] = {{{0}, 0}};
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < scores[i].warning_count; k++)
            if (!repeated(&scores[i], k))
                count_key(list, 24, scores[i].warning[k]);
    printf("%17s ", "warnings %:");
    for (size_t i = 0; i < 24 && list[i].pairs > 0; i++)
        printf(" %s %.0f", list[i].key, 100.0 * (double)list[i].pairs / (double)count);
    putchar('\n');
    for (size_t i = 0; i < count; i++)
        if (!scores[i].compared) {
            printf("%17s  pair %zu: %s\n", "failed:", i, scores[i].failure);
            break;
        }
}

static void write_csv(FILE *csv, const struct family *family, const struct pair_score *scores,
                      size_t count)
{
    for (size_t i = 0; i < count; i++)
        for (size_t b = 0; b < scores[i].band_count; b++) {
            const struct score_band *band = &scores[i].band[b];
            fprintf(csv,
                    "%s,%zu,%.1f,%.3f,%.4f,%.4f,%.4f,%.4f,%.4f,%.4f,%s,%s,%.4f,%.4f,%.4f,%.4f,%.1f,"
                    "%.1f,%.1f\n",
                    family->key, i, band->rpm, scores[i].reference_sea, band->truth,
                    band->change.value, band->change.low, band->change.high, band->simultaneous.low,
                    band->simultaneous.high, finding_key(band->finding),
                    finding_key(scores[i].finding), scores[i].true_ratio, scores[i].ratio.value,
                    scores[i].ratio.low, scores[i].ratio.high, scores[i].true_lag, scores[i].lag,
                    scores[i].lag_u);
        }
}

/* --- a few pairs through the programs */

static bool run_program(char *const arguments[])
{
    fflush(NULL);
    const pid_t child = fork();
    if (child == 0) {
        const int quiet = open("/dev/null", O_WRONLY);
        dup2(quiet, STDOUT_FILENO);
        execv(arguments[0], arguments);
        _exit(127);
    }
    int code = 0;
    if (child < 0 || waitpid(child, &code, 0) != child)
        return false;
    return WIFEXITED(code) && WEXITSTATUS(code) == 0;
}

static bool write_capture(const struct boat_scenario *run, enum run_flavour flavour,
                          const char *path)
{
    FILE *to = fopen(path, "w");
    if (to == NULL)
        return false;
    const enum status status = run->hand.used             ? write_sheet(run, "other", to, NULL)
                               : flavour == RUN_LIKE_0183 ? write_0183(run, false, to, NULL)
                                                          : write_n2k(run, 1, to, NULL);
    return fclose(to) == 0 && status == STATUS_OK;
}

/* What people entered, as a configuration file. */
static bool write_config(const struct boat_scenario *run, const char *path)
{
    FILE *to = fopen(path, "w");
    if (to == NULL)
        return false;
    for (size_t i = 0; i < run->engine_count; i++) {
        const struct boat_engine *engine = &run->engine[i];
        fprintf(to, "[engine %zu]\ncoolant_sender = %s\npropeller = %s\n", i, engine->sender_words,
                engine->propeller_words);
        if (engine->plate_thermostat[0] != '\0')
            fprintf(to, "thermostat = %s\n", engine->plate_thermostat);
    }
    return fclose(to) == 0;
}

static bool record(const struct wish *wish, const struct boat_scenario *run,
                   enum run_flavour flavour, const char *folder, const char *path)
{
    char program[PATH_ROOM], capture[PATH_ROOM], config[PATH_ROOM];
    snprintf(program, sizeof program, "%s/searun-logger", wish->bin);
    snprintf(capture, sizeof capture, "%s/capture", folder);
    snprintf(config, sizeof config, "%s/config.ini", folder);
    if (!write_config(run, config) || !write_capture(run, flavour, capture))
        return false;
    unlink(path);
    char *const arguments[] = {
        program, "--quiet",  "--config",   config, run->hand.used ? "--sheet" : "--replay",
        capture, "--output", (char *)path, NULL};
    return run_program(arguments);
}

static cJSON *read_json(const char *path)
{
    static char text[4 << 20];
    FILE *from = fopen(path, "r");
    if (from == NULL)
        return NULL;
    const size_t length = fread(text, 1, sizeof text - 1, from);
    fclose(from);
    text[length] = '\0';
    return cJSON_Parse(text);
}

static double number_in(const cJSON *object, const char *key)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, key);
    return cJSON_IsNumber(item) ? item->valuedouble : NAN;
}

static const cJSON *served_in(const cJSON *top)
{
    const cJSON *engine;
    cJSON_ArrayForEach(engine, cJSON_GetObjectItemCaseSensitive(top, "engines"))
    {
        if (number_in(engine, "instance") == 0.0)
            return engine;
    }
    return NULL;
}

struct tally_programs {
    size_t tried, same_finding;
    double largest; /* K, difference of a band's change from the comparison in process */
};

static void tally_answer(const cJSON *engine, const struct pair_score *score,
                         struct tally_programs *tally)
{
    const cJSON *finding = cJSON_GetObjectItemCaseSensitive(engine, "finding");
    const cJSON *band;
    if (cJSON_IsString(finding) && strcmp(finding->valuestring, finding_key(score->finding)) == 0)
        tally->same_finding++;
    size_t at = 0;
    cJSON_ArrayForEach(band, cJSON_GetObjectItemCaseSensitive(engine, "bands"))
    {
        const cJSON *change = cJSON_GetObjectItemCaseSensitive(band, "change");
        const double off = at < score->band_count
                               ? fabs(number_in(change, "value") - score->band[at].change.value)
                               : INFINITY;
        tally->largest = fmax(tally->largest, off);
        at++;
    }
}

static bool compare_by_program(const struct wish *wish, const struct family_pair *pair,
                               const char *folder, cJSON **top)
{
    char program[PATH_ROOM], before[PATH_ROOM], after[PATH_ROOM], json[PATH_ROOM];
    snprintf(program, sizeof program, "%s/searun-analyze", wish->bin);
    snprintf(before, sizeof before, "%s/before.h5", folder);
    snprintf(after, sizeof after, "%s/after.h5", folder);
    snprintf(json, sizeof json, "%s/result.json", folder);
    const enum run_flavour flavour = pair->family->flavour;
    if (!record(wish, &pair->run[FAMILY_BEFORE][0], flavour, folder, before) ||
        !record(wish, &pair->run[FAMILY_AFTER][0], flavour, folder, after))
        return false;
    char *const arguments[] = {program, "compare", "--before", before, "--after",
                               after,   "--json",  json,       NULL};
    *top = run_program(arguments) ? read_json(json) : NULL;
    return *top != NULL;
}

/* Only families of one run a side and no options beyond the run files. */
static bool suits_programs(const struct family *family)
{
    return family->runs == 1 && family->engines == 1 && strcmp(family->key, "sender-told") != 0;
}

static void try_programs(const struct wish *wish, const struct family *family, const char *folder,
                         const struct pair_score *scores, struct tally_programs *tally)
{
    struct family_pair *pair = malloc(sizeof *pair);
    for (size_t i = 0; pair != NULL && i < wish->programs && i < wish->pairs; i++) {
        cJSON *top = NULL;
        family_draw(family, wish->seed, i, pair);
        tally->tried++;
        if (compare_by_program(wish, pair, folder, &top))
            tally_answer(served_in(top), &scores[i], tally);
        cJSON_Delete(top);
    }
    free(pair);
}

static void print_programs(const struct tally_programs *tally)
{
    if (tally->tried > 0)
        printf("\nthrough the programs (capture, searun-logger --replay, searun-analyze compare): "
               "%zu pairs, %zu with the same finding,\nlargest difference of a band's change from "
               "the one above %.3f K\n",
               tally->tried, tally->same_finding, tally->largest);
}

/* --- from first to last */

static bool known(const char *key)
{
    return family_find(key) != NULL;
}

static int list_families(void)
{
    for (size_t i = 0; i < family_count; i++)
        printf("%-17s %-42s sea %2.0f to %2.0f, %s\n", families[i].key, families[i].title,
               families[i].sea[0], families[i].sea[1],
               families[i].demand == DEMAND_STRICT ? "93 to 98 % asked" : "90 % asked");
    return 0;
}

static bool take_option(struct wish *wish, int option)
{
    char *end = NULL;
    const unsigned long long number = optarg != NULL ? strtoull(optarg, &end, 10) : 0;
    const bool plain = optarg != NULL && end != optarg && *end == '\0';
    switch (option) {
    case 'f':
        wish->families = optarg;
        return shares_known(optarg, known);
    case 'c':
        wish->csv = optarg;
        return true;
    case 'b':
        wish->bin = optarg;
        return true;
    case 'v':
        wish->verdict = true;
        return true;
    case 'p':
        wish->pairs = (size_t)number;
        return plain && number >= 1 && number <= 1000000;
    case 's':
        wish->seed = number;
        return plain;
    case 'j':
        wish->jobs = (size_t)number;
        return plain && number >= 1 && number <= 64;
    case 'r':
        wish->programs = (size_t)number;
        return plain;
    default:
        return false;
    }
}

/* 0: go on; otherwise the exit code plus one. */
static int read_options(struct wish *wish, int argc, char **argv)
{
    static const struct option options[] = {{"pairs", required_argument, NULL, 'p'},
                                            {"families", required_argument, NULL, 'f'},
                                            {"seed", required_argument, NULL, 's'},
                                            {"jobs", required_argument, NULL, 'j'},
                                            {"csv", required_argument, NULL, 'c'},
                                            {"programs", required_argument, NULL, 'r'},
                                            {"bin", required_argument, NULL, 'b'},
                                            {"verdict", no_argument, NULL, 'v'},
                                            {"list", no_argument, NULL, 'l'},
                                            {"help", no_argument, NULL, 'h'},
                                            {NULL, 0, NULL, 0}};
    for (int option; (option = getopt_long(argc, argv, "", options, NULL)) != -1;) {
        if (option == 'l')
            return 1 + list_families();
        if (option == 'h')
            return 1 + (fputs(usage, stdout) < 0);
        if (!take_option(wish, option)) {
            fputs(usage, stderr);
            return 1 + 2;
        }
    }
    return 0;
}

static bool make_folder(char *folder, size_t room)
{
    const char *base = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : getenv("TMPDIR");
    snprintf(folder, room, "%s/coverage-XXXXXX", base != NULL ? base : "/tmp");
    return mkdtemp(folder) != NULL;
}

static void clean_folder(const char *folder)
{
    static const char *const names[] = {"before.h5", "after.h5", "capture", "config.ini",
                                        "result.json"};
    char path[PATH_ROOM];
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        snprintf(path, sizeof path, "%s/%s", folder, names[i]);
        unlink(path);
    }
    rmdir(folder);
}

/* One family: run, print, and say whether it passed. */
static bool do_family(const struct wish *wish, const struct family *family, const char *folder,
                      struct pair_score *scores, FILE *csv, struct tally_programs *tally)
{
    struct family_score score;
    const char *why = "a process broke off";
    bool passed = run_family(wish, family, folder, scores);
    score_family(scores, wish->pairs, &score);
    print_family(family, &score);
    print_notes(scores, wish->pairs);
    passed = passed && score_passes(family, &score, &why);
    if (!passed)
        printf("%17s  %s\n", "MISSED:", why);
    if (csv != NULL)
        write_csv(csv, family, scores, wish->pairs);
    if (suits_programs(family))
        try_programs(wish, family, folder, scores, tally);
    return passed;
}

static int do_all(const struct wish *wish, const char *folder, struct pair_score *scores, FILE *csv)
{
    struct tally_programs tally = {0};
    size_t missed = 0;
    print_head();
    for (size_t i = 0; i < family_count; i++)
        if (shares_wanted(wish->families, families[i].key))
            missed += do_family(wish, &families[i], folder, scores, csv, &tally) ? 0 : 1;
    print_programs(&tally);
    if (tally.same_finding < tally.tried)
        missed++;
    printf("%zu missed\n", missed);
    return wish->verdict && missed > 0 ? 1 : 0;
}

int main(int argc, char **argv)
{
    struct wish wish = {.seed = 1, .pairs = 200, .jobs = 2, .programs = 1, .bin = "build/release"};
    char folder[200];
    int code = read_options(&wish, argc, argv);
    if (code != 0)
        return code - 1;
    struct pair_score *scores = shares_memory(wish.pairs * sizeof *scores);
    FILE *csv = wish.csv != NULL ? fopen(wish.csv, "w") : NULL;
    if (scores == NULL || !make_folder(folder, sizeof folder) ||
        (wish.csv != NULL && csv == NULL)) {
        fprintf(stderr, "bench_coverage: no memory, folder or CSV file to work with\n");
        return 2;
    }
    if (csv != NULL)
        fprintf(csv, "family,pair,rpm,reference_sea,truth,change,low,high,simultaneous_low,"
                     "simultaneous_high,band_finding,finding,true_ratio,ratio,ratio_low,"
                     "ratio_high,true_lag,lag,lag_u\n");
    code = do_all(&wish, folder, scores, csv);
    clean_folder(folder);
    if (csv != NULL && fclose(csv) != 0)
        code = 2;
    return code;
}
