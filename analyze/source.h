/* source.h - the recorded series of a run, and which of several that measure the same is taken.
 *
 * A quantity (engine speed, coolant, sea ...) may come from several sources: two messages of one
 * device, two devices, a sentence and a bus. For each engine one source is taken in each run. The
 * order of the rules, each deciding only between those the rules before hold equal:
 *   1 a wish of the user
 *   2 sound: covers half the run, is not frozen, its median is believable for the quantity, and
 *   (sea)
 *     does not follow the engine's heat
 *   3 the channel that most runs have soundly; of equals the first named for the quantity (engine
 *     speed before shaft speed, sea before raw water inlet)
 *   4 the very same source is sound in most of the runs
 *   5 lies near the median of three and more
 *   6 covers more of the run (in classes of 5 %)
 *   7 finer steps (in classes of a factor of two)
 *   8 more readings a second
 *   9 order of names, so that the same files always give the same choice
 * Every choice is told (struct choice), and candidates that disagree are warned of.
 */
#ifndef SEARUN_SOURCE_H
#define SEARUN_SOURCE_H

#include "clean.h"
#include "compare.h"
#include "run_read.h"
#include "series.h"
#include "status.h"

/* What an engine's trial needs. Rows in source.c. */
enum quantity {
    QUANTITY_SPEED,
    QUANTITY_COOLANT,
    QUANTITY_SEA,
    QUANTITY_LOAD,
    QUANTITY_FUEL_RATE,
    QUANTITY_AIR,
    QUANTITY_GEAR,
    QUANTITY_BOAT_SPEED,
    QUANTITY_BESIDE /* this and all that follow are only tabled beside the cooling */
};
size_t quantity_count(void);

/* The channel that names the quantity: the first of those that may serve. */
enum channel_id quantity_channel(size_t quantity);
/* Whether it belongs into the table of what else changed. */
bool quantity_tabled(size_t quantity);

/* One cleaned series of one run, with what is known of it. */
struct candidate {
    struct origin origin;
    enum channel_id channel;
    char title[160]; /* "127488 from 35", "RPM from II", "XDR C:ENGRM from II" */
    struct series series;
    struct cleaning cleaning;
    struct profile profile;
    bool wish_only;      /* an unmapped transducer: taken if asked for, else never */
    bool follows_engine; /* a sea temperature that moves with the engine's heat */
};

/* A run with every series that may serve. */
struct logbook {
    struct run *run;
    const struct run_facts_of *about;
    size_t count;
    struct candidate *list;
};

/* Which series are read: all that may serve, or only those that tell of the cooling and need no
 * wish (all before QUANTITY_BESIDE, and the oil a cold start is seen by), which is twice as
 * fast. */
enum logbook_extent { LOGBOOK_ALL, LOGBOOK_COOLING };

/* Opens the run, reads and cleans. The complaint names the file. Close in every case. */
enum status logbook_open(const char *path, enum logbook_extent extent, struct logbook *out,
                         struct complaint *complaint);
void logbook_close(struct logbook *book);

/* Whether that engine has a speed, and whether it has a coolant temperature. */
struct engine_parts {
    bool speed, coolant;
};
struct engine_parts logbook_parts(const struct logbook *book, int engine);

/* Gives all of an engine's readings to the engine of another number. */
void logbook_renumber(struct logbook *book, int from, int to);

/* Which candidates of one run may serve a quantity of one engine. `alone` if the runs have only one
 * engine: then what is said of the vessel may be the engine's too. Up to `room` into `out`. */
#define CANDIDATES_MAX 32
size_t source_candidates(const struct logbook *book, size_t quantity, int engine, bool alone,
                         struct candidate *out[CANDIDATES_MAX]);

/* How well a wish means that candidate: 2 if it is its message, source, label or channel, 1 if it
 * only is part of its title, else 0. Where one is meant by name, parts of titles count for
 * nothing. */
int source_wished(const struct candidate *candidate, const struct source_wish *wish);

/* Takes one candidate a run, or NULL where a run has none (or only one of another channel than all
 * runs share: a shaft's speed is no engine's speed). */
enum status source_choose(const struct logbook *books, size_t book_count, size_t quantity,
                          int engine, bool alone, const struct source_wish *wish,
                          struct candidate **chosen);

/* Whether the median of a source is believable for the quantity: no sea is at 60 degC. */
bool source_believable(const struct candidate *candidate, size_t quantity);

/* Median of a minus b over their common time; NaN if they have none. */
enum status source_difference(const struct candidate *a, const struct candidate *b, double duration,
                              double *difference);

#endif
