/* One whole comparison against an independent one in R: a mixed model with a level for each run
 * (package nlme), fitted to the holds that searun-analyze writes. Skipped, with words, where R or
 * nlme is missing. */
#include "stage.h"

#include <cjson/cJSON.h>
#include <math.h>

#define RUNS 3 /* a side */

/* The steady balance with the rated thermostat (71 to 82 degC) and a time constant of 75 s, ln K as
 * a quadratic of ln speed, a random level for each run, weights from what 0.1 K and 1.5 % make of
 * ln K. */
static const char script[] =
    "suppressMessages(library(nlme))\n"
    "a <- commandArgs(TRUE)\n"
    "h <- read.csv(a[1], check.names = FALSE)\n"
    "h <- h[h$use == 'used', ]\n"
    "T <- h[['coolant (degC)']]; S <- h[['sea (degC)']]\n"
    "phi <- pmin(pmax((T - 71) / 11, 0.005), 1)\n"
    "K <- phi * (T - S) + 75 * h[['coolant drift (K/min)']] / 60\n"
    "steep <- 1 / (T - S) + ifelse(phi < 1, 1 / (T - 71), 0)\n"
    "d <- data.frame(y = log(K), x = log(h[['engine speed (rpm)']] / 2000),\n"
    "  side = factor(h$side, c('before', 'after')), run = factor(h$run),\n"
    "  v = 0.015^2 + (0.1 * steep)^2)\n"
    "f <- lme(y ~ x + I(x^2) + side, random = ~ 1 | run, data = d, weights = varFixed(~ v),\n"
    "  control = lmeControl(opt = 'optim'))\n"
    "i <- exp(intervals(f, which = 'fixed')$fixed['sideafter', ])\n"
    "cat(sprintf('ratio %.6f %.6f %.6f %d\\n', i[1], i[2], i[3], nrow(d)))\n";

static void make_run(const char *side, int number, const char *fouling, const char *day)
{
    char name[40], seed[8], load[32];
    snprintf(name, sizeof name, "%s%d.h5", side, number);
    snprintf(seed, sizeof seed, "%d", (side[0] == 'b' ? 10 : 20) + number);
    snprintf(load, sizeof load, "day_load=%s", day);
    stage_expect(stage_start_with(
                     NULL, stage_program("SEARUN_BOAT_MODEL"),
                     (const char *const[]){"boat-model", "--scenario", "up-and-down", "--seed",
                                           seed, "--format", "run", "--purpose", side, "--output",
                                           stage_path(name), fouling, "sea=18", load, NULL}),
                 0);
}

static void compare(void)
{
    static const char *const days[2][RUNS] = {{"1.01", "0.98", "1.02"}, {"0.99", "1.02", "1.00"}};
    for (int i = 0; i < RUNS; i++) {
        make_run("before", i, "fouling=0.1", days[0][i]);
        make_run("after", i, "fouling=0", days[1][i]);
    }
    stage_expect(stage_start_with(NULL, stage_program("SEARUN_ANALYZE"),
                                  (const char *const[]){
                                      "searun-analyze", "compare", "--before",
                                      stage_path("before0.h5"), stage_path("before1.h5"),
                                      stage_path("before2.h5"), "--after", stage_path("after0.h5"),
                                      stage_path("after1.h5"), stage_path("after2.h5"),
                                      "--thermostat", "71,82", "--thermostat-uncertainty", "0.1",
                                      "--quiet", "--output", stage_path("out"), NULL}),
                 0);
}

static double number(const cJSON *object, const char *key)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, key);
    assert_true(cJSON_IsNumber(item));
    return item->valuedouble;
}

/* The pooled ratio of searun: low, value, high. */
static void read_ratio(double ratio[3])
{
    static char bytes[1 << 20];
    FILE *file = fopen(stage_path("out/result.json"), "r");
    assert_non_null(file);
    bytes[fread(bytes, 1, sizeof bytes - 1, file)] = '\0';
    fclose(file);
    cJSON *root = cJSON_Parse(bytes);
    assert_non_null(root);
    const cJSON *engine = cJSON_GetArrayItem(cJSON_GetObjectItem(root, "engines"), 0);
    const cJSON *own = cJSON_GetObjectItem(engine, "open_rise_ratio");
    ratio[0] = number(own, "low");
    ratio[1] = number(own, "value");
    ratio[2] = number(own, "high");
    cJSON_Delete(root);
}

static void a_mixed_model_agrees(void **state)
{
    (void)state;
    double own[3], other[3];
    int holds;
    FILE *file = fopen(stage_path("check.R"), "w");
    assert_non_null(file);
    fputs(script, file);
    assert_int_equal(fclose(file), 0);
    struct program have = stage_start_with(
        NULL, "/usr/bin/env", (const char *const[]){"env", "Rscript", "-e", "library(nlme)", NULL});
    if (stage_wait(&have) != 0) {
        puts("skipped: R with its package nlme is not here (r-base-core, r-cran-nlme)");
        skip();
    }
    compare();
    read_ratio(own);
    struct program r =
        stage_start_with(NULL, "/usr/bin/env",
                         (const char *const[]){"env", "Rscript", stage_path("check.R"),
                                               stage_path("out/holds.csv"), NULL});
    stage_expect_words(r, 0, "ratio ");
    const char *said = strstr(stage_said(&r), "ratio ");
    assert_int_equal(sscanf(said, "ratio %lf %lf %lf %d", &other[0], &other[1], &other[2], &holds),
                     4);
    assert_true(holds >= RUNS * 2 * 10);
    /* Both find it lowered, each inside the interval of the other, with widths alike: searun allows
     * for the thermostat, the stored heat and the sensors too, which R was told as known. */
    if (!(own[2] < 1 && other[2] < 1 && own[1] > other[0] && own[1] < other[2] &&
          other[1] > own[0] && other[1] < own[2]))
        fail_msg("searun %.4f (%.4f to %.4f), R %.4f (%.4f to %.4f)", own[1], own[0], own[2],
                 other[1], other[0], other[2]);
    double widths = (own[2] - own[0]) / (other[2] - other[0]);
    if (!(widths > 0.6 && widths < 2))
        fail_msg("widths: searun %.4f, R %.4f", own[2] - own[0], other[2] - other[0]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(a_mixed_model_agrees)};
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
