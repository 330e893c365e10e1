/* score.h - one pair of a family, from the model through run files and the real comparison to a
 * score against the truth. */
#ifndef SEARUN_SIMULATED_SCORE_H
#define SEARUN_SIMULATED_SCORE_H

#include "../../analyze/compare.h"
#include "family.h"
#include "naive.h"

/* The comparison is handed in, so that the model's library does not pull in the analyzer. */
struct score_analyzer {
    void (*set_defaults)(struct compare_options *);
    enum status (*compare)(const struct compare_options *, struct answer *, struct complaint *);
    void (*release)(struct answer *);
    /* Makes the run file of a sheet; NULL: families that are read by hand cannot be scored. */
    enum status (*make_run)(const char *sheet, const char *run, struct complaint *);
};

#define SCORE_WARNINGS 12

struct score_band {
    double rpm, truth; /* K */
    struct interval change, simultaneous;
    enum finding finding;
};

/* Plain values only: it travels between processes in shared memory. */
struct pair_score {
    bool compared; /* false: `failure` says why */
    char failure[160];
    size_t band_count;
    struct score_band band[BANDS_MAX];
    double reference_sea;
    double true_ratio;           /* at the top of the ladder */
    double lag, lag_u, true_lag; /* s: as used; heat store over conductance before the service */
    struct interval ratio;
    enum finding finding;
    double naive_truth[FAMILY_SPEEDS]; /* K at the reference sea; NaN: no band */
    struct interval naive[FAMILY_SPEEDS];
    size_t warning_count;
    char warning[SCORE_WARNINGS][32];      /* keys */
    double seconds_model, seconds_compare; /* of CPU */
};

/* Runs pair `number` of the family. Run files are made in `folder` and removed. */
void score_pair(const struct family *family, uint64_t seed, uint64_t number, const char *folder,
                const struct score_analyzer *analyzer, struct pair_score *out);

/* What many scores say together. Shares are 0 .. 1, NaN where nothing can be counted. */
struct family_score {
    size_t pairs, failed;
    double truth_top;                    /* K, median true change at the top of the ladder */
    double covered_band[FAMILY_SPEEDS];  /* share of intervals that hold the truth */
    size_t compared_band[FAMILY_SPEEDS]; /* how many intervals there were */
    double covered, covered_error;       /* all bands; standard error from pair to pair */
    double simultaneous;                 /* all bands of a pair at once */
    double covered_ratio;
    size_t ratios;
    double half_top, half_all;   /* K, median half-widths of the change */
    double finding[4];           /* share of pairs by enum finding */
    double band_finding[4];      /* share of bands */
    double top_finding[4];       /* share of pairs, band at the top of the ladder */
    double naive_top, naive_all; /* coverage of the naive way */
    double ms_model, ms_compare; /* mean CPU time of one pair */
};

void score_family(const struct pair_score *scores, size_t count, struct family_score *out);

/* A family passes if its coverage is what is asked of it, within two standard errors, and false
 * findings of a kind that the truth rules out are at most 2.5 %, within two standard errors. On
 * failure *why says which. */
bool score_passes(const struct family *family, const struct family_score *score, const char **why);

#endif
