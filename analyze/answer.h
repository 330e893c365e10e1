/* answer.h - what a comparison found: the only input of charts and report. */
#ifndef SEARUN_ANSWER_H
#define SEARUN_ANSWER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "channel.h"
#include "checklist.h"
#include "service_log.h"
#include "warmups.h"

/* A number with its interval. NaN in all three where nothing can be said. */
struct interval {
    double value, low, high;
};

enum finding {
    FINDING_LOWERED,         /* the whole interval of the change lies below zero */
    FINDING_RAISED,          /* ... above zero */
    FINDING_NO_CHANGE_SHOWN, /* zero lies inside, and the interval is narrow enough to say so */
    FINDING_CANNOT_BE_SHOWN  /* these runs cannot tell; the answer says what to record next */
};
const char *finding_key(enum finding finding);   /* "lowered" ... the JSON contract */
const char *finding_words(enum finding finding); /* "lowered", "no change shown" ... */

enum thermostat_state { THERMOSTAT_UNKNOWN, THERMOSTAT_IN_CONTROL, THERMOSTAT_OPEN };
const char *thermostat_state_key(enum thermostat_state state); /* "unknown" "in_control" "open" */

enum side { SIDE_BEFORE, SIDE_AFTER, SIDE_COUNT };

enum refusal {
#define REFUSAL(id, key, words) REFUSAL_##id,
#include "refusals.def"
#undef REFUSAL
    REFUSAL_COUNT
};
const char *refusal_key(enum refusal refusal);
const char *refusal_words(enum refusal refusal); /* REFUSAL_NONE: "used" */

/* One stretch of steady running of one engine in one run. */
struct hold {
    size_t run; /* index into answer->runs */
    enum side side;
    double start, end;    /* s since run start */
    double used_from;     /* s; all means are over used_from .. end, start .. used_from settles */
    double rpm, rpm_sd;   /* mean and scatter */
    double coolant;       /* degC, mean over the part used; NaN if there was none */
    double coolant_slope; /* K/s over that part */
    double coolant_sd;    /* K about the line */
    double sea;           /* degC */
    double load;          /* percent load, NaN if not recorded */
    double fuel_rate;     /* L/h, NaN if not recorded */
    double air;           /* outside air, degC, NaN if not recorded */
    double band_rpm;      /* band it was put in; NaN if refused */
    double open_rise;     /* K, NaN if refused or thermostat unknown */
    double open_fraction; /* 0 .. 1 of the thermostat, NaN if unknown */
    enum refusal refusal; /* REFUSAL_NONE if used */
};

struct band_side {
    struct interval coolant; /* degC at the band's rpm and the reference sea */
    size_t holds;
    double sea; /* degC, mean of the holds */
    enum thermostat_state thermostat;
    struct interval open_rise; /* K */
};

struct band {
    double rpm;
    struct band_side side[SIDE_COUNT];
    struct interval change;       /* K, after minus before, at the reference sea */
    struct interval simultaneous; /* the same with the level holding over all bands at once */
    double df;
    enum finding finding;
};

struct uncompared {
    double rpm;
    enum side missing;
    char reason[200];
};

struct budget_term {
    const char
        *key; /* "scatter", "thermostat", "load", "sea", "lag", "resolution", "sender", "rpm" */
    const char *title;  /* for people */
    double kelvin;      /* standard uncertainty of the change in the key band, K */
    const char *shrink; /* what would make it smaller */
};

/* Thinned for charts, highest and lowest values kept: times in minutes since run start. A value of
 * NaN marks a gap across which no line may be drawn. */
struct sample_series {
    size_t count;
    double *minute, *value;
};

/* Another quantity in the same holds, as recorded (not moved to the reference sea). The interval
 * comes from holds of the same band and side; low and high are NaN where nothing was run twice. */
struct also_row {
    enum channel_id channel;
    double rpm;
    struct interval before, after, change;
};

/* The exchanger itself in one band, where its temperatures were recorded; NaN where not. */
struct exchanger_row {
    double rpm;
    struct exchanger_side {
        struct interval raw_rise;      /* K, raw water out minus in */
        struct interval effectiveness; /* 0 .. 1 */
        struct interval ntu;           /* transfer units, counterflow */
    } side[SIDE_COUNT];
};

#define BANDS_MAX 24
#define WARNING_MAX 400
#define WARNINGS_MAX 80
#define BUDGET_MAX 12
#define ALSO_MAX 400
#define HINTS_MAX 8

struct warning {
    const char *key;        /* stable, e.g. "sea_sensor_suspect" */
    int engine;             /* -1: all */
    char text[WARNING_MAX]; /* for people; says the consequence, in kelvin where it can be said */
};

/* Appends a warning; `engine` is the engine number or -1 for all. Too long a text is cut at a word.
 * When the list is full it only counts in warnings_left_out. `key` must be a constant. */
struct answer;
void answer_warn(struct answer *answer, const char *key, int engine, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* At most 60 bytes of a text in whole UTF-8 characters, "..." where it was cut: for warnings. */
struct cut {
    char s[64];
};
struct cut answer_cut(const char *text);

/* What a pattern may come from and what to inspect next: cautious words, never a certainty. */
struct hint {
    const char *key; /* stable, e.g. "raw_water_weak" */
    char text[WARNING_MAX];
};

/* Why the runs may not stand for one engine before and after a service; see doubt.h. */
struct doubt {
    const char *key; /* stable, e.g. "boats_differ"; NULL: nothing speaks against it */
    bool overruled;  /* somebody vouches for the runs: told, but the finding stands */
    char text[400];  /* what speaks against it */
    char next[400];  /* what to do about it */
};

struct engine_answer {
    int instance;
    char label[64];
    enum finding finding;
    char sentence[1000]; /* the finding in words a customer understands */
    char next[600];      /* what to record next; "" if nothing is missing */
    struct doubt doubt;
    struct interval open_rise_ratio; /* after over before */
    struct interval control_ratio;   /* the same of the engine left alone, NaN if none */
    size_t key_band;                 /* band quoted in the sentence; BANDS_MAX if none */
    size_t band_count;
    struct band bands[BANDS_MAX];
    size_t uncompared_count;
    struct uncompared uncompared[BANDS_MAX * 2];
    size_t hold_count;
    struct hold *holds; /* owned */
    size_t budget_count;
    struct budget_term budget[BUDGET_MAX];
    size_t also_count;
    struct also_row also[ALSO_MAX];
    double thermostat_start, thermostat_full; /* degC; NaN if unknown */
    double thermostat_u;                      /* standard uncertainty, K */
    const char *thermostat_from;              /* "given", "run file", "fitted", "unknown" */
    double lag;                               /* s, time constant used for stored heat */
    double lag_u;
    bool propeller_changed; /* the facts name another one after than before */
    const char *load_from;  /* "fuel_rate", "load", "runs" (their scatter), "assumed" */
    double load_u;          /* relative standard uncertainty of the heat load per run */
    size_t exchanger_count;
    struct exchanger_row exchanger[BANDS_MAX];
    size_t hint_count;
    struct hint hints[HINTS_MAX];
    double normal_low, normal_high, alarm, rated_rpm; /* NaN if not recorded */
    struct warmups warmups;                           /* in the runs after, by their dates */
    size_t steady_holds;   /* used holds after whose coolant was looked at for restlessness */
    size_t restless_holds; /* ... and was restless */
};

/* Which source gave a quantity, out of how many. */
struct choice {
    enum channel_id channel;
    size_t run;
    int engine;       /* -1 for the vessel */
    char chosen[160]; /* "127488 from 35" in words */
    size_t candidates;
    char others[300];
};

/* What cleaning found in one series that was used. Nothing is dropped without a line here. */
struct cleaned {
    size_t run;
    int engine; /* -1 for the vessel */
    enum channel_id channel;
    size_t samples;        /* as recorded */
    size_t unbelievable;   /* outside the catalogue's range or not finite, taken out */
    size_t spikes;         /* single samples far off their neighbours, taken out */
    size_t dropouts;       /* short jumps away and back (a loose contact), taken out */
    size_t stale;          /* silences longer than the catalogue allows; not bridged */
    double stale_seconds;  /* all of them together */
    double frozen_seconds; /* sender stood still to the last digit where it never does */
};

struct run_summary {
    enum side side;
    char path[4096];
    char name[256]; /* file name without folder */
    char sha256[65];
    char run_id[64];
    char software[64];
    char clock[24];
    int64_t start_unix_us;
    double duration;           /* s */
    double sea_mean, air_mean; /* NaN if not recorded */
    bool closed_cleanly;
    bool rebuilt; /* put together again from the journal after an unclean end */
    size_t gap_count;
    double gap_seconds;
    uint64_t lost;
    /* every fact of facts.def for the vessel and run is kept in: */
    struct facts *facts;   /* owned */
    struct facts *entered; /* those of them that come from a boat file, owned; NULL: none */
    struct notes *notes;   /* remarks beside the run file, owned; NULL: none */
    /* per engine, for the charts in time: */
    size_t trace_count;
    struct trace {
        int engine;
        bool by_hand; /* the coolant was read once in each hold, at its end */
        struct sample_series rpm, coolant, sea;
    } * traces;
};

struct answer {
    double confidence_level;    /* 0.95 */
    double reference_sea;       /* degC */
    const char *reference_from; /* "given" or "mean of both runs" */
    uint64_t seed;
    char boat_file[4096]; /* path of the boat file, "" without; and its SHA-256 */
    char boat_sha256[65];
    struct service_log *service; /* the service history, owned; NULL without */
    char service_path[4096];     /* of it, and its SHA-256 */
    char service_sha256[65];
    struct checklist checklist; /* ticks of the runs after */
    char options[1000];         /* the options used, for provenance */
    size_t run_count;
    struct run_summary *runs;
    size_t engine_count;
    struct engine_answer *engines;
    size_t choice_count;
    struct choice *choices;
    size_t cleaned_count;
    struct cleaned *cleaned; /* owned */
    size_t warning_count;
    struct warning warnings[WARNINGS_MAX];
    size_t warnings_left_out; /* that found no room in the list */
};

/* Was this work of the log done after every run before and before every run after? */
bool answer_service_between(const struct answer *answer, const struct service_event *event);

/* Frees what the answer owns and clears it. A zeroed answer may be freed. */
void answer_free(struct answer *answer);

#endif
