/* evidence.h - the used holds of one engine as plain numbers, and the bands both sides share. */
#ifndef SEARUN_EVIDENCE_H
#define SEARUN_EVIDENCE_H

#include "estimate.h"

/* One hold, as the estimate looks at it. */
struct look {
    size_t hold; /* index into engine->holds */
    size_t run;  /* index into evidence->runs */
    enum side side;
    size_t band;       /* index into evidence->bands; NO_BAND where the other side has none */
    size_t cell;       /* number of its cell: looks of one band and approach, of both sides */
    double ln_speed;   /* ln(rpm / evidence->middle_rpm) */
    double lag_factor; /* time constant of the stored heat over that at the highest speed held */
    double coolant;    /* degC */
    double sea;        /* degC */
    double slope;      /* K/s */
    double approach;   /* +1: warmed up to this reading, -1: cooled down to it, 0: neither */
    double load;       /* ln of the heat load over what is usual at that speed; 0 if not recorded */
    double reading_u;  /* K, what the step of the sender leaves unsure in `coolant` */
    double slope_u;    /* K/s, the same in `slope` */
    double warming_u;  /* of ln K: what an engine not long under way still takes up itself, and
                          what a speed that was read by hand leaves unsure */
};
#define NO_BAND ((size_t)-1)
#define SPEEDS_MAX (BANDS_MAX * 2)
#define CELLS_MAX 64

struct evidence_band {
    double rpm, ln_speed;
    size_t holds[SIDE_COUNT];
    double sea[SIDE_COUNT]; /* degC, mean of the holds */
};

struct evidence_run {
    size_t run; /* index into answer->runs */
    enum side side;
    size_t looks;
};

struct evidence {
    size_t count; /* looks */
    struct look *looks;
    size_t run_count; /* runs that have looks */
    struct evidence_run *runs;
    size_t band_count; /* shared bands, rising in rpm */
    struct evidence_band bands[BANDS_MAX];
    double middle_rpm;
    size_t side_looks[SIDE_COUNT];
    size_t speeds[SIDE_COUNT]; /* different bands of each side, shared or not */
    size_t cell_count;         /* at most CELLS_MAX */
    size_t replicates;         /* looks beyond the first of their run and band */
    const char *load_from;     /* "fuel_rate", "load", "assumed" */
};

/* Gathers the used holds of an engine. Holds without sea or coolant, or far below the start of a
 * known thermostat, get their refusal here; holds in a band of one side only get REFUSAL_NOT_SHARED
 * and their band goes to engine->uncompared, but they stay as looks: they tell about the
 * thermostat. STATUS_MEMORY, or STATUS_BAD_DATA with more than ESTIMATE_HOLDS_MAX holds. */
enum status evidence_gather(const struct answer *answer, const struct estimate_facts *facts,
                            struct engine_answer *engine, struct evidence *evidence,
                            struct complaint *complaint);

void evidence_free(struct evidence *evidence);

/* K, what the step of a sender leaves unsure in the mean of readings that scatter so. */
double evidence_reading_u(double step, double scatter);

/* Of ln K: what an engine not long under way still takes up itself, in a hold with means from..to
 * s. */
double evidence_warming_u(double from, double to);

#endif
