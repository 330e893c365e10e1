/* fleet_score.h - boats over their seasons, through run files, service log and the real analyzer,
 * to a score against the truth.
 */
#ifndef SEARUN_SIMULATED_FLEET_SCORE_H
#define SEARUN_SIMULATED_FLEET_SCORE_H

#include "../../analyze/seasons_read.h"
#include "fleet.h"

/* The analyzer is handed in, so that the model's library does not pull it in. */
struct fleet_analyzer {
    void (*set_defaults)(struct seasons_options *);
    enum status (*read)(const struct seasons_paths *, struct seasons *, struct complaint *);
    enum status (*solve)(struct seasons *, struct complaint *);
    void (*release)(struct seasons *);
    fleet_sheet_maker *make_run; /* NULL: families that are read by hand cannot be scored */
};

/* The goal is 93 to 98 % in every family. `least` is what each reached when it was last looked at,
 * with some room: less than that means that something was spoilt. */
struct fleet_family {
    const char *key, *title;
    double least; /* share, 0 .. 1 */
    void (*bend)(struct fleet_plan *plan);
};
extern const struct fleet_family fleet_families[];
extern const size_t fleet_family_count;
const struct fleet_family *fleet_family_find(const char *key); /* or NULL */

/* The plan of a family under a seed. */
void fleet_family_plan(const struct fleet_family *family, uint64_t seed, struct fleet_plan *plan);

enum fleet_what {
    FLEET_TREND,         /* growth of the open rise a year, of stretches with outings enough */
    FLEET_TREND_FEW,     /* ... of the others */
    FLEET_STEP,          /* ratio of the open rise over a service */
    FLEET_STEP_FULL,     /* K, change of the reading at full throttle in the warmest sea */
    FLEET_NOW,           /* degC, that reading at the last outing */
    FLEET_DATE,          /* years from the last outing to the alarm; INFINITY: never */
    FLEET_DATE_BORROWED, /* ... where the slope is that of earlier stretches */
    FLEET_PAIR_TREND,
    FLEET_PAIR_STEP, /* of one engine over the other */
    FLEET_WHATS
};
extern const char *const fleet_what_words[FLEET_WHATS];

#define FLEET_CHECKS_MAX 60

/* Plain values only: it travels between processes in shared memory. */
struct fleet_boat_score {
    bool done; /* false: `failure` says why */
    char failure[160];
    size_t outings, count, left_out;
    struct fleet_check {
        enum fleet_what what;
        double truth;
        struct interval found;
    } check[FLEET_CHECKS_MAX];
    size_t outlook[6]; /* engines by enum season_outlook */
    double day;        /* of ln open rise, as found, first engine */
    double seconds;    /* of CPU in the analyzer */
};

/* Runs boat `number` of a family; its files are made in `folder` (which has to be there) and
 * removed. */
void fleet_score_boat(const struct fleet_family *family, uint64_t seed, uint64_t number,
                      const char *folder, const struct fleet_analyzer *analyzer,
                      struct fleet_boat_score *out);

bool fleet_held(const struct fleet_check *check);

/* How often intervals of one kind held the truth over all boats. */
struct fleet_tally {
    size_t intervals, held;
    double share, error; /* 0 .. 1, binomial standard error; NaN without intervals */
    double half;         /* median half-width; NaN */
    double bias;         /* median of found minus true value; NaN */
};
void fleet_tally(const struct fleet_boat_score *scores, size_t count, enum fleet_what what,
                 struct fleet_tally *out);

#endif
