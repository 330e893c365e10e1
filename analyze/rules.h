/* rules.h - every number the analyzer decides by, in one place, with its reason.
 *
 * Cleaning, the choice of sources, the search for holds, speed bands and the diagnosis of runs are
 * rules with numbers in them. They stand here and nowhere else, so that a reader of a report can
 * look them up. Where no source is named the number is our own choice, made for the reason given.
 */
#ifndef SEARUN_RULES_H
#define SEARUN_RULES_H

#include <stddef.h>

/* Taking out what no sensor can have meant. */
struct clean_rules {
    size_t spike_neighbours; /* samples each side the Hampel window may reach ... */
    double spike_reach;      /* s, ... and how far it may reach in time */
    double spike_mads;       /* a spike lies this many scaled median deviations off the median */
    double spike_steps;      /* ... and at least this many steps of the sender */
    double
        spike_noises; /* ... and this many standard deviations of the noise of the whole series */
    double dropout_longest;  /* s; a jump away that comes back later than this is believed */
    double frozen_shortest;  /* s without any change before a lively sender counts as frozen */
    size_t frozen_samples;   /* ... and at least so many samples */
    double frozen_intervals; /* ... and so many of its usual intervals between two changes */
    double lively_share;     /* share of changes above one step that makes a sender lively */
    double coarse_frozen;    /* s after which a coarse coolant sender counts as frozen ... */
    double coarse_rpm_ratio; /* ... if the highest speed meanwhile is this many times the lowest */
};

/* Which source of several is taken. */
struct source_rules {
    double coverage_least;    /* share of the run a source must cover to be taken before others */
    double coverage_class;    /* shares closer than this count as equal */
    double agree_temperature; /* K from the median of three or more sources */
    double agree_relative;    /* the same for speeds, pressures, rates */
    double mark_sea;          /* K between two sea sensors that is worth a warning */
    double mark_coolant;      /* K between two coolant senders */
    double mark_rpm;          /* relative, between two tachometers */
};

/* Steady stretches. */
struct hold_rules {
    double smooth;          /* s, width of the running median of speed */
    double tolerance_rpm;   /* speed stays within +- this, or ... */
    double tolerance_ratio; /* ... within +- this share, whichever is wider, or ... */
    double tolerance_steps; /* ... within +- this many steps of the tachometer */
    double shortest;        /* s */
    double listed;          /* s; shorter steady stretches are not even listed as refused */
    double excursion;       /* s off the mark that do not end a hold */
    double inside_share;    /* share of a joined stretch that must lie within the tolerance */
    double bridge;          /* s without speed readings that do not end a hold */
    double present_share;   /* share of the used part that must have readings */
    double settle_share;    /* first part of a hold that is not used ... */
    double settle_longest;  /* s, ... but not more than this */
    double used_least;      /* s, ... and at least this much is used */
    double slope_most;      /* K/s over the used part; above it the heat balance is not trusted */
    double frozen_share;    /* share of frozen readings that spoils a hold */
    double mark_split;      /* share of the tolerance: a mark splits where speeds differ by more */
    double idle_ratio;      /* of rated (or else the highest) speed: below it is idling */
    double slow_ratio;      /* below this share and ... */
    double slow_speed;      /* m/s, ... slower than this through the water: not under way */
    double warm_margin;     /* K below the lowest usual warm temperature ... */
    double warm_slope;      /* K/s, ... and rising faster than this: not warm yet */
    double warm_least;      /* degC, an engine below it is cold in any case */
    double shut_margin;     /* thermostat uncertainties below the start of opening ... */
    double shut_slack;      /* K, ... and a leak around the valve: shut */
    double sea_reach;       /* s, how far the next sea reading may be from a hold */
};

/* Speed bands. */
struct band_rules {
    double width_rpm;   /* holds of one band lie within this ... */
    double width_ratio; /* ... or this share of their speed, whichever is wider */
    double round_ratio; /* a round number (100, 50) is taken if it lies this near */
    double round_rpm;   /* ... or this near */
};

/* What is worth a warning. */
struct diagnose_rules {
    double unsettled_kelvin; /* K that the correction for stored heat leaves unsure in a hold */
    double throttle_ratio;   /* scatter of speed in a hold, relative ... */
    double throttle_rpm;     /* ... or rpm, whichever is wider */
    double sea_effect;       /* K the sea reading moves with the engine's heat */
    double sea_share;        /* ... explaining this share of its variation */
    double sea_lag;          /* s, an engine room or sea chest warms about this slowly */
    double sea_drift;        /* K from the first to the last tenth of a run */
    double sea_frozen_step;  /* K; a sensor finer than this that never changes is no sensor */
    double seas_apart;       /* K between the runs */
    double seas_unlike;      /* K between runs ... */
    double seas_unlike_days; /* ... of not more than so many days apart */
    double coarse_step;      /* K, coolant sender */
    double cold_offset;      /* K, coolant against oil at a cold start, between the runs */
    double cold_offset_sea;  /* K, the same against the sea where no oil was recorded */
    double cold_spread;      /* K, an engine is cold-soaked if its temperatures lie this close */
    double cold_above_sea;   /* K, ... and if the coolant is not further above the sea */
    double cold_window;      /* s, first part of a run that is looked at */
    double unsteady_span;    /* s, means over this are compared with their neighbours ... */
    double unsteady_kelvin;  /* K, ... and scatter by this or more in a steady hold */
    double clock_step;       /* s that UTC jumps against the steady clock */
    double lost_share;       /* share of a run in gaps, or of bad messages */
    double outlier_share;    /* share of samples cleaned away */
    double speed_shift;      /* relative change of boat speed at the same rpm */
    double load_shift;       /* relative change of fuel rate or load at the same rpm */
    double cool_open;        /* K below the start of the thermostat at load: stuck open? */
    double hot_shut;         /* K above full open at light load: stuck shut? */
    double run_gap;          /* s; recorded gaps shorter than this in total are not worth a line */
    double hand_sea_u;       /* K, standard uncertainty of a sea temperature that was typed in */
    double drift_share;      /* of the drift of a sensor: its standard uncertainty as a mean */
    double chest_share; /* of what a sea chest warms at low speed: how unsure that leaves the sea */
    double propeller_load; /* relative day-to-day load where the propeller was changed */
    double sender_u;       /* K, standard uncertainty between two coolant senders */
};

/* Heat cycles after a service. */
struct warmup_rules {
    double start_usual; /* degC: a thermostat whose rating is not known begins to open about here */
    double warm_slack;  /* K below the start of opening that count as warm */
    double warm_least;  /* s: so long at least, or it was a stray reading */
    double cold_below;  /* K below the start of opening: cooled down, ... */
    double cold_most;   /* degC, ... and not above this */
    double bridge;      /* s without readings that do not end a warm stretch */
    double underway;    /* s warm under way that make the half hour */
};

struct rules {
    struct clean_rules clean;
    struct source_rules source;
    struct hold_rules hold;
    struct band_rules band;
    struct diagnose_rules diagnose;
    struct warmup_rules warmup;
};

extern const struct rules rules;

#endif
