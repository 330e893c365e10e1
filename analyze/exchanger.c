/* exchanger.c - see exchanger.h. */
#include "exchanger.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define SAME_RATIO 1e-9 /* Cmin/Cmax closer to 1 than this takes the limit */

/* --- effectiveness */

static double counterflow(double ntu, double ratio)
{
    if (1 - ratio < SAME_RATIO)
        return ntu / (1 + ntu);
    double decay = exp(-ntu * (1 - ratio));
    return (1 - decay) / (1 - ratio * decay);
}

static double parallel(double ntu, double ratio)
{
    return -expm1(-ntu * (1 + ratio)) / (1 + ratio);
}

static double one_shell(double ntu, double ratio)
{
    double root = sqrt(1 + ratio * ratio), decay = exp(-ntu * root);
    return 2 / (1 + ratio + root * (1 + decay) / (1 - decay));
}

static double cross_unmixed(double ntu, double ratio)
{
    return -expm1(pow(ntu, 0.22) / ratio * expm1(-ratio * pow(ntu, 0.78)));
}

static double cross_max_mixed(double ntu, double ratio)
{
    return -expm1(ratio * expm1(-ntu)) / ratio;
}

static double cross_min_mixed(double ntu, double ratio)
{
    return -expm1(expm1(-ratio * ntu) / ratio);
}

static double (*const relations[EXCHANGER_KIND_COUNT])(double ntu, double ratio) = {
    [EXCHANGER_COUNTERFLOW] = counterflow,
    [EXCHANGER_PARALLEL] = parallel,
    [EXCHANGER_ONE_SHELL] = one_shell,
    [EXCHANGER_CROSS_UNMIXED] = cross_unmixed,
    [EXCHANGER_CROSS_MIN_MIXED] = cross_min_mixed,
    [EXCHANGER_CROSS_MAX_MIXED] = cross_max_mixed,
};

double exchanger_effectiveness(enum exchanger_kind kind, double ntu, double ratio)
{
    if (!(ntu >= 0) || !(ratio >= 0 && ratio <= 1))
        return NAN;
    if (ntu == 0)
        return 0;
    if (ratio < SAME_RATIO) /* one fluid keeps its temperature: all kinds are alike */
        return -expm1(-ntu);
    return relations[kind](ntu, ratio);
}

double exchanger_ntu(enum exchanger_kind kind, double effectiveness, double ratio)
{
    double low = 0, high = 1;
    if (!(effectiveness >= 0 && effectiveness < 1) || !(ratio >= 0 && ratio <= 1))
        return NAN;
    while (exchanger_effectiveness(kind, high, ratio) < effectiveness) {
        high *= 2;
        if (high > 1e4)
            return NAN; /* beyond what this kind reaches with any surface */
    }
    for (int i = 0; i < 100; i++) {
        double middle = 0.5 * (low + high);
        bool below = exchanger_effectiveness(kind, middle, ratio) < effectiveness;
        *(below ? &low : &high) = middle;
    }
    return 0.5 * (low + high);
}

/* --- what was recorded */

static struct interval plain(double value)
{
    return (struct interval){value, NAN, NAN};
}

static struct interval side_of(const struct also_row *row, enum side side)
{
    return side == SIDE_BEFORE ? row->before : row->after;
}

/* A recorded quantity in a band, or NaN. */
static struct interval recorded(const struct engine_answer *engine, enum channel_id channel,
                                double rpm, enum side side)
{
    for (size_t i = 0; i < engine->also_count; i++)
        if (engine->also[i].channel == channel && fabs(engine->also[i].rpm - rpm) < 0.5)
            return side_of(&engine->also[i], side);
    return plain(NAN);
}

/* Mean of the used holds of a band and side. */
static double hold_mean(const struct engine_answer *engine, double rpm, enum side side,
                        bool coolant)
{
    double sum = 0, count = 0;
    for (size_t i = 0; i < engine->hold_count; i++) {
        const struct hold *hold = &engine->holds[i];
        if (hold->refusal != REFUSAL_NONE || hold->side != side ||
            fabs(hold->band_rpm - rpm) >= 0.5)
            continue;
        sum += coolant ? hold->coolant : hold->sea;
        count++;
    }
    return count > 0 ? sum / count : NAN;
}

static double half_width(struct interval interval)
{
    double half = 0.5 * (interval.high - interval.low);
    return isfinite(half) ? half : 0;
}

/* a - b of two independent intervals; limits stay NaN where neither has any. */
static struct interval minus(struct interval a, struct interval b)
{
    double value = a.value - b.value, half = hypot(half_width(a), half_width(b));
    return half > 0 ? (struct interval){value, value - half, value + half} : plain(value);
}

/* a / b of two independent intervals, to first order. */
static struct interval over(struct interval a, struct interval b)
{
    double value = a.value / b.value;
    double relative = hypot(half_width(a) / a.value, half_width(b) / b.value);
    double half = fabs(value) * relative;
    return half > 0 ? (struct interval){value, value - half, value + half} : plain(value);
}

/* The four temperatures round the exchanger. */
struct terminals {
    struct interval coolant_in, coolant_out, raw_in, raw_out;
};

static struct terminals terminals_of(const struct engine_answer *engine, double rpm, enum side side)
{
    struct terminals t = {
        .coolant_in = recorded(engine, CHANNEL_EXCHANGER_COOLANT_IN, rpm, side),
        .coolant_out = recorded(engine, CHANNEL_EXCHANGER_COOLANT_OUT, rpm, side),
        .raw_in = recorded(engine, CHANNEL_RAW_WATER_IN, rpm, side),
        .raw_out = recorded(engine, CHANNEL_RAW_WATER_OUT, rpm, side),
    };
    if (isnan(t.coolant_in.value)) /* what leaves the engine enters the exchanger */
        t.coolant_in = plain(hold_mean(engine, rpm, side, true));
    if (isnan(t.raw_in.value))
        t.raw_in = plain(hold_mean(engine, rpm, side, false));
    return t;
}

/* Effectiveness and transfer units need both outlets: the larger change belongs to the smaller heat
 * capacity rate. Only the ratio of the rates is needed, and the balance of heat gives it. */
static void fill_units(const struct terminals *t, struct exchanger_side *side)
{
    struct interval cooled = minus(t->coolant_in, t->coolant_out);
    struct interval reach = minus(t->coolant_in, t->raw_in);
    if (!(cooled.value > 0) || !(side->raw_rise.value > 0) || !(reach.value > 0))
        return;
    bool coolant_least = cooled.value >= side->raw_rise.value;
    struct interval larger = coolant_least ? cooled : side->raw_rise;
    struct interval smaller = coolant_least ? side->raw_rise : cooled;
    double ratio = smaller.value / larger.value;
    side->effectiveness = over(larger, reach);
    side->ntu = plain(exchanger_ntu(EXCHANGER_COUNTERFLOW, side->effectiveness.value, ratio));
    if (isfinite(side->effectiveness.low)) {
        side->ntu.low = exchanger_ntu(EXCHANGER_COUNTERFLOW, side->effectiveness.low, ratio);
        side->ntu.high = exchanger_ntu(EXCHANGER_COUNTERFLOW, side->effectiveness.high, ratio);
    }
}

static bool fill_row(const struct engine_answer *engine, double rpm, struct exchanger_row *row)
{
    bool any = false;
    row->rpm = rpm;
    for (int s = 0; s < SIDE_COUNT; s++) {
        struct exchanger_side *side = &row->side[s];
        struct terminals t = terminals_of(engine, rpm, (enum side)s);
        *side = (struct exchanger_side){plain(NAN), plain(NAN), plain(NAN)};
        side->raw_rise = minus(t.raw_out, t.raw_in);
        fill_units(&t, side);
        any = any || isfinite(side->raw_rise.value) || isfinite(side->effectiveness.value);
    }
    return any;
}

/* --- hints */

/* A raw-water rise above this at full load speaks for too little flow. Heat of 0.6 to 1 kW a brake
 * kW and 65 to 70 L/min a 100 bhp give 9 to 17 K (flow from a pump supplier's general note; heat is
 * common practice, no source). */
#define RISE_HIGH 20.0
#define RISE_GROWN 1.15 /* raw-water rise after over before that is worth a word */
#define RATIO_GROWN 1.1 /* open rise, the same */

struct pattern {
    struct engine_answer *engine;
    const struct exchanger_row *top; /* exchanger at the highest speed where it is known, or NULL */
    const struct exchanger_row *both; /* the same where the raw water is known before and after */
    const struct band *low, *high;    /* lowest and highest band */
};

static bool fits_more_raw_rise(const struct pattern *p)
{
    if (!p->top)
        return false;
    double before = p->top->side[SIDE_BEFORE].raw_rise.value;
    double after = p->top->side[SIDE_AFTER].raw_rise.value;
    return after > RISE_GROWN * before || after > RISE_HIGH;
}

static bool fits_less_raw_rise(const struct pattern *p)
{
    return p->top && p->top->side[SIDE_BEFORE].raw_rise.value >
                         RISE_GROWN * p->top->side[SIDE_AFTER].raw_rise.value;
}

static bool fits_fouled(const struct pattern *p)
{
    return p->engine->finding == FINDING_RAISED &&
           p->high->side[SIDE_AFTER].thermostat == THERMOSTAT_OPEN && !fits_more_raw_rise(p);
}

static bool fits_cured(const struct pattern *p)
{
    return p->engine->finding == FINDING_LOWERED && !fits_less_raw_rise(p);
}

/* Warms the raw water as much as before, where it is known? Then neither its flow nor the heat has
 * changed much. */
static const char *cured_by(const struct pattern *p)
{
    if (!p->both)
        return "More raw water, cleaner tubes, fresh coolant or a lighter load look alike; the "
               "raw-water temperature behind the exchanger, recorded as well, would tell them "
               "apart.";
    double before = p->both->side[SIDE_BEFORE].raw_rise.value;
    double after = p->both->side[SIDE_AFTER].raw_rise.value;
    if (!(before > 0) || after > RISE_GROWN * before || before > RISE_GROWN * after)
        return "Cleaner tubes, fresh coolant or another load look alike.";
    return "The raw water warms about as much on its way as before, which speaks against more raw "
           "water or a lighter load: cleaner tubes or fresh coolant fit.";
}

/* After the service, all speeds below the start of opening. */
static bool fits_stuck_open(const struct pattern *p)
{
    return p->high->side[SIDE_AFTER].coolant.high < p->engine->thermostat_start - 2 &&
           strcmp(p->engine->thermostat_from, "fitted") != 0;
}

/* Hot at the lowest speed already, where the thermostat has most to give. */
static bool fits_stuck_shut(const struct pattern *p)
{
    return p->low->side[SIDE_AFTER].coolant.low > p->engine->thermostat_full + 2 &&
           strcmp(p->engine->thermostat_from, "fitted") != 0;
}

/* Readings that jump about in steady holds after the service, and did not before. */
static bool fits_air(const struct pattern *p)
{
    double sum[SIDE_COUNT] = {0}, count[SIDE_COUNT] = {0};
    for (size_t i = 0; i < p->engine->hold_count; i++) {
        const struct hold *hold = &p->engine->holds[i];
        if (hold->refusal != REFUSAL_NONE || !isfinite(hold->coolant_sd))
            continue;
        sum[hold->side] += hold->coolant_sd;
        count[hold->side]++;
    }
    double before = sum[SIDE_BEFORE] / count[SIDE_BEFORE];
    double after = sum[SIDE_AFTER] / count[SIDE_AFTER];
    return after > 1.0 && after > 2 * before;
}

/* What a pattern may come from. Causes and checks are common practice, no source. */
static const struct sign {
    const char *key;
    bool (*fits)(const struct pattern *);
    const char *text;
    const char *(*more)(const struct pattern *); /* a sentence behind it, or NULL */
} signs[] = {
    {"raw_water_weak", fits_more_raw_rise,
     "The raw water warms more on its way than before, or very much: less of it may be flowing. To "
     "inspect next: sea strainer and inlet, impeller and its cover, hoses that have gone soft, the "
     "exhaust elbow.",
     NULL},
    {"raw_water_stronger", fits_less_raw_rise,
     "The raw water warms less on its way than before: more of it may be flowing, so the change "
     "may "
     "come from impeller, strainer or hoses as well as from the exchanger. To inspect next: what "
     "of "
     "the raw-water side was worked on.",
     NULL},
    {"exchanger_fouled", fits_fouled,
     "The coolant runs hotter where the thermostat is open, as with an exchanger that carries off "
     "less heat. To inspect next: the tube bundle for scale and debris, the anode, the coolant "
     "side "
     "for sludge, and the raw-water flow before the exchanger is blamed.",
     NULL},
    {"exchanger_better", fits_cured,
     "The pattern fits an exchanger that carries off more heat than before. ", cured_by},
    {"thermostat_open", fits_stuck_open,
     "The coolant stays below the temperature at which the thermostat should open, even at the "
     "highest speed: it may be stuck open, missing, or of another rating. To inspect next: the "
     "thermostat in hot water with a thermometer, and the gauge against a second one.",
     NULL},
    {"thermostat_shut", fits_stuck_shut,
     "The coolant is above the thermostat's full-open temperature at the lowest speed already: the "
     "thermostat may not open, the coolant may not circulate, or the gauge reads high. To inspect "
     "next: hoses before and behind the thermostat by hand, the circulation pump, the gauge.",
     NULL},
    {"air_in_coolant", fits_air,
     "The coolant reading is unsteady in steady holds after the service and was not before: air "
     "may "
     "be left in the coolant. To inspect next: the level in the header tank when cold, bleed "
     "points, "
     "and the reading after the next warm run.",
     NULL},
};

static void add_hint(struct engine_answer *engine, const struct sign *sign,
                     const struct pattern *pattern)
{
    if (engine->hint_count == HINTS_MAX)
        return;
    struct hint *hint = &engine->hints[engine->hint_count++];
    hint->key = sign->key;
    snprintf(hint->text, sizeof hint->text, "%s%s", sign->text,
             sign->more ? sign->more(pattern) : "");
}

/* The exchanger at the highest speed at which the raw water is known on both sides; NULL for
 * none. */
static const struct exchanger_row *known_both(const struct engine_answer *engine)
{
    const struct exchanger_row *found = NULL;
    for (size_t i = 0; i < engine->exchanger_count; i++) {
        const struct exchanger_side *side = engine->exchanger[i].side;
        if (isfinite(side[SIDE_BEFORE].raw_rise.value) && isfinite(side[SIDE_AFTER].raw_rise.value))
            found = &engine->exchanger[i];
    }
    return found;
}

void exchanger_look(struct engine_answer *engine)
{
    engine->exchanger_count = engine->hint_count = 0;
    if (engine->band_count == 0)
        return;
    for (size_t b = 0; b < engine->band_count; b++)
        if (fill_row(engine, engine->bands[b].rpm, &engine->exchanger[engine->exchanger_count]))
            engine->exchanger_count++;
    struct pattern pattern = {
        .engine = engine,
        .top = engine->exchanger_count ? &engine->exchanger[engine->exchanger_count - 1] : NULL,
        .both = known_both(engine),
        .low = &engine->bands[0],
        .high = &engine->bands[engine->band_count - 1],
    };
    for (size_t i = 0; i < sizeof signs / sizeof *signs; i++)
        if (signs[i].fits(&pattern))
            add_hint(engine, &signs[i], &pattern);
}
