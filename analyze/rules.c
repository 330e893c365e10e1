/* rules.c - the numbers of rules.h, each with its reason. */
#include "rules.h"

const struct rules rules = {
    .clean =
        {
            /* Seven each side: a burst of up to seven bad readings still has honest neighbours. */
            .spike_neighbours = 7,
            /* A slow sender's neighbours must not reach into another speed. */
            .spike_reach = 60,
            /* Five standard deviations: one honest reading in two million of normal noise. */
            .spike_mads = 5,
            /* A coarse sender jumps by a step or two in all honesty. */
            .spike_steps = 2.5,
            /* Fifteen neighbours may be quiet by chance. */
            .spike_noises = 6,
            .dropout_longest = 30,
            .frozen_shortest = 60,
            .frozen_samples = 30,
            .frozen_intervals = 20,
            .lively_share = 0.10,
            /* Fifteen minutes through speeds a third apart: every cooling circuit moves by then. */
            .coarse_frozen = 900,
            .coarse_rpm_ratio = 1.3,
        },
    .source =
        {
            .coverage_least = 0.5,
            .coverage_class = 0.05,
            .agree_temperature = 1.5,
            .agree_relative = 0.05,
            .mark_sea = 0.7,
            .mark_coolant = 2.0,
            .mark_rpm = 0.02,
        },
    .hold =
        {
            /* Rejects throttle slips and waves of up to seven seconds, keeps the edges of a
             * hold. */
            .smooth = 15,
            .tolerance_rpm = 25,
            .tolerance_ratio = 0.015,
            /* A tachometer between two of its steps shows both. */
            .tolerance_steps = 0.75,
            /* About 1.7 time constants of the stored heat (90 s): below, the correction for what is
             * not settled outgrows what is measured. */
            .shortest = 150,
            .listed = 60,
            .excursion = 20,
            .inside_share = 0.9,
            .bridge = 60,
            /* The line through the coolant holds with a third of it missing, wherever it is. */
            .present_share = 0.6,
            /* The first part still carries the heat of the speed before. */
            .settle_share = 0.4,
            .settle_longest = 300,
            .used_least = 90,
            /* 3 K a minute, or 4.5 K of stored heat at 90 s: its uncertainty alone is over 1.5
             * K. */
            .slope_most = 0.05,
            .frozen_share = 0.2,
            .mark_split = 0.5,
            .idle_ratio = 0.30,
            .slow_ratio = 0.45,
            .slow_speed = 0.5,
            .warm_margin = 3,
            /* 0.3 K a minute. A low speed first in a ladder is cooler than all that follows, but it
             * does not rise. */
            .warm_slope = 0.005,
            .warm_least = 45,
            .shut_margin = 2,
            .shut_slack = 1,
            .sea_reach = 600,
        },
    .band =
        {
            /* The balance carries a hold to its band's speed along the curve of both runs (exponent
             * 1.9 +- 0.25): 4 % of speed cost 1 % of K. Ladders have steps of 7 % and more. */
            .width_rpm = 80,
            .width_ratio = 0.04,
            .round_ratio = 0.01,
            .round_rpm = 20,
        },
    .diagnose =
        {
            .unsettled_kelvin = 0.7,
            .throttle_ratio = 0.01,
            .throttle_rpm = 20,
            .sea_effect = 0.7,
            .sea_share = 0.5,
            .sea_lag = 300,
            .sea_drift = 2.0,
            .sea_frozen_step = 0.05,
            .seas_apart = 8,
            /* The upper sea changes by some tenths of a kelvin a day; other waters by more. */
            .seas_unlike = 3,
            .seas_unlike_days = 3,
            .coarse_step = 0.4,
            .cold_offset = 2.0,
            .cold_offset_sea = 6.0,
            .cold_spread = 6.0,
            .cold_above_sea = 20.0,
            .cold_window = 60,
            .unsteady_span = 20,
            .unsteady_kelvin = 0.5,
            .clock_step = 2.0,
            .lost_share = 0.01,
            .outlier_share = 0.01,
            .speed_shift = 0.05,
            .load_shift = 0.05,
            .cool_open = 3.0,
            .hot_shut = 3.0,
            .run_gap = 5.0,
            /* A bucket and a household thermometer. */
            .hand_sea_u = 0.7,
            /* Between half of it (a mean over the run) and 1/sqrt(12) of it (no known sign). */
            .drift_share = 0.4,
            /* What is left at full speed lies between nothing and twice what flow takes off:
             * 1/sqrt(3). */
            .chest_share = 0.6,
            .propeller_load = 0.05,
            /* Two good senders of a kind agree within 1 K or so (common practice, no source). */
            .sender_u = 1.0,
        },
    .warmup =
        {
            /* Most thermostats of closed circuits are stamped 71 to 85 degC. */
            .start_usual = 71,
            .warm_slack = 1,
            .warm_least = 10,
            /* A cap is opened on an engine that a hand can rest on, not a little below its
             * thermostat. */
            .cold_below = 20,
            .cold_most = 50,
            .bridge = 60,
            .underway = 1800,
        },
};
