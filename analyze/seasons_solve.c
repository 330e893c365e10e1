/* seasons_solve.c - which outings are of which boat and engine, standard conditions, and the order
 * of work. See seasons.h. */
#include "seasons.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "rules.h"
#include "season_gather.h"
#include "season_sender.h"
#include "series.h"

/* Of the outings of the commonest speed: a faster one that is as common is taken, for the
 * thermostat hides less there. */
#define COMMON_SHARE 0.8
#define ROUND_RPM 50.0
#define SAME_RATING 0.5             /* K; 160F,180F is 71.1,82.2 and the same as 71,82 */
#define SAME_SERVICE (30 * 86400.0) /* s between runs that may be after the same service */

void seasons_options_default(struct seasons_options *options)
{
    *options = (struct seasons_options){
        .thermostat_start = NAN,
        .thermostat_full = NAN,
        .thermostat_u = NAN,
        .reference_rpm = NAN,
        .reference_sea = NAN,
        .warmest_sea = NAN,
        .alarm = NAN,
        .confidence_level = 0.95,
        .seed = 1,
    };
}

const char *season_outlook_key(enum season_outlook outlook)
{
    static const char *const keys[] = {
        [OUTLOOK_NOT_ENOUGH] = "not_enough",     [OUTLOOK_NO_ALARM] = "no_alarm",
        [OUTLOOK_SERVICED] = "serviced",         [OUTLOOK_DATE] = "date",
        [OUTLOOK_NOT_IN_SIGHT] = "not_in_sight", [OUTLOOK_REACHED] = "reached",
    };
    return keys[outlook];
}

static void free_series(struct season_series *series)
{
    free(series->points);
    free(series->curves);
}

void seasons_free(struct seasons *seasons)
{
    for (size_t i = 0; i < seasons->outing_count; i++)
        outing_free(&seasons->outings[i]);
    for (size_t i = 0; i < seasons->engine_count; i++) {
        free_series(&seasons->engines[i].series);
        free(seasons->engines[i].left_out);
    }
    for (size_t i = 0; i < seasons->pair_count; i++)
        free_series(&seasons->pairs[i].series);
    for (size_t i = 0; i < seasons->refused_count; i++) {
        free(seasons->refused[i].path);
        free(seasons->refused[i].why);
    }
    free(seasons->outings);
    free(seasons->outing_boat);
    free(seasons->events);
    free(seasons->boats);
    free(seasons->engines);
    free(seasons->pairs);
    free(seasons->refused);
    memset(seasons, 0, sizeof *seasons);
}

void season_warn(struct seasons *seasons, size_t boat, int engine, const char *key,
                 const char *format, ...)
{
    va_list list;
    if (seasons->warning_count == WARNINGS_MAX) {
        seasons->warnings_left_out++;
        return;
    }
    struct season_warning *warning = &seasons->warnings[seasons->warning_count++];
    *warning = (struct season_warning){.boat = boat, .engine = engine, .key = key};
    va_start(list, format);
    vsnprintf(warning->text, sizeof warning->text, format, list);
    va_end(list);
}

enum status seasons_add_event(struct seasons *seasons, const struct season_event *event)
{
    struct season_event *grown =
        realloc(seasons->events, (seasons->event_count + 1) * sizeof *grown);
    if (!grown)
        return STATUS_MEMORY;
    seasons->events = grown;
    size_t place = seasons->event_count++;
    for (; place > 0 && grown[place - 1].at > event->at; place--)
        grown[place] = grown[place - 1];
    grown[place] = *event;
    return STATUS_OK;
}

/* --- outings: in the order of time, each run once */

static int by_start(const void *left, const void *right)
{
    const struct outing *a = left, *b = right;
    if (a->start_unix_us != b->start_unix_us)
        return a->start_unix_us < b->start_unix_us ? -1 : 1;
    return strcmp(a->sha256, b->sha256);
}

static bool is_same_run(const struct outing *a, const struct outing *b)
{
    return strcmp(a->sha256, b->sha256) == 0 ||
           (a->run_id[0] != '\0' && strcmp(a->run_id, b->run_id) == 0);
}

/* Copies of one run would count as evidence twice. Sorted, so that they stand near each other. */
static void drop_copies(struct seasons *seasons)
{
    size_t kept = 0;
    for (size_t i = 0; i < seasons->outing_count; i++) {
        bool copy = false;
        for (size_t k = kept; k-- > 0 && !copy;) {
            if (seasons->outings[k].start_unix_us != seasons->outings[i].start_unix_us)
                break;
            copy = is_same_run(&seasons->outings[k], &seasons->outings[i]);
        }
        if (copy) {
            seasons->repeated++;
            outing_free(&seasons->outings[i]);
            continue;
        }
        if (kept != i)
            seasons->outings[kept] = seasons->outings[i];
        kept++;
    }
    seasons->outing_count = kept;
}

/* --- boats */

static const char *boat_fact(const struct outing *outing, const char *key)
{
    return facts_get(&outing->facts, FACT_BOAT, 0, key);
}

/* A registration tells boats apart better than a name; where one side lacks it, the name must
 * do. */
static bool is_of_boat(const struct season_boat *boat, const struct outing *outing)
{
    const char *name = boat_fact(outing, "name"), *hull = boat_fact(outing, "identification");
    if (hull[0] != '\0' && boat->identification[0] != '\0')
        return strcasecmp(hull, boat->identification) == 0;
    return strcasecmp(name, boat->name) == 0;
}

static void copy_fact(char *to, size_t room, const char *value)
{
    if (to[0] == '\0')
        snprintf(to, room, "%s", value);
}

static enum status find_boats(struct seasons *seasons)
{
    seasons->boats = calloc(seasons->outing_count + 1, sizeof *seasons->boats);
    seasons->outing_boat = calloc(seasons->outing_count + 1, sizeof *seasons->outing_boat);
    if (!seasons->boats || !seasons->outing_boat)
        return STATUS_MEMORY;
    for (size_t i = 0; i < seasons->outing_count; i++) {
        const struct outing *outing = &seasons->outings[i];
        size_t b = 0;
        while (b < seasons->boat_count && !is_of_boat(&seasons->boats[b], outing))
            b++;
        struct season_boat *boat = &seasons->boats[b];
        seasons->boat_count += b == seasons->boat_count;
        seasons->outing_boat[i] = b;
        boat->outings++;
        copy_fact(boat->name, sizeof boat->name, boat_fact(outing, "name"));
        copy_fact(boat->identification, sizeof boat->identification,
                  boat_fact(outing, "identification"));
        copy_fact(boat->port, sizeof boat->port, boat_fact(outing, "port"));
    }
    return STATUS_OK;
}

static void tell_boats(struct seasons *seasons)
{
    for (size_t b = 0; b < seasons->boat_count; b++)
        if (seasons->boats[b].name[0] == '\0' && seasons->boats[b].identification[0] == '\0' &&
            seasons->boat_count > 1)
            season_warn(seasons, b, -1, "boat_unknown",
                        "%zu of the runs name no boat. They are kept apart from the others: nobody "
                        "can tell whose they are.",
                        seasons->boats[b].outings);
}

/* --- engines */

static const char *engine_fact(const struct outing *outing, int instance, const char *key)
{
    return facts_get(&outing->facts, FACT_ENGINE, instance, key);
}

/* The engine of one outing among those found: by serial number, else by its number. */
static size_t engine_at(const struct seasons *seasons, size_t boat, int instance,
                        const char *serial)
{
    size_t e = 0;
    for (; e < seasons->engine_count; e++) {
        const struct season_engine *engine = &seasons->engines[e];
        if (engine->boat != boat)
            continue;
        bool both = serial[0] != '\0' && engine->serial[0] != '\0';
        if (both ? strcasecmp(serial, engine->serial) == 0 : instance == engine->instance)
            break;
    }
    return e;
}

static struct season_forecast no_forecast(void)
{
    const struct interval none = {NAN, NAN, NAN};
    return (struct season_forecast){.at = none, .hours = none, .now = none, .season = none};
}

static enum status add_engine(struct seasons *seasons, size_t boat, int instance)
{
    struct season_engine *grown =
        realloc(seasons->engines, (seasons->engine_count + 1) * sizeof *grown);
    if (!grown)
        return STATUS_MEMORY;
    seasons->engines = grown;
    grown[seasons->engine_count++] = (struct season_engine){
        .boat = boat,
        .instance = instance,
        .rated_rpm = NAN,
        .full_rpm = NAN,
        .alarm = NAN,
        .thermostat_start = NAN,
        .thermostat_full = NAN,
        .thermostat_u = NAN,
        .thermostat_from = "unknown",
        .normal_high = NAN,
        .load_from = "assumed",
        .follows = {NAN, NAN, NAN},
        .series = {.season = {NAN, NAN, NAN}},
        .forecast = no_forecast(),
    };
    return STATUS_OK;
}

/* The latest run that has a fact decides: parts are renewed. */
static void take_facts(const struct seasons *seasons, const struct outing *outing, int instance,
                       struct season_engine *engine)
{
    const char *label = engine_fact(outing, instance, "label");
    if (label[0] != '\0')
        snprintf(engine->label, sizeof engine->label, "%s", label);
    copy_fact(engine->serial, sizeof engine->serial, engine_fact(outing, instance, "serial"));
    copy_fact(engine->model, sizeof engine->model, engine_fact(outing, instance, "model"));
    facts_number(&outing->facts, instance, "rated_rpm", &engine->rated_rpm);
    facts_number(&outing->facts, instance, "alarm", &engine->alarm);
    double low = NAN;
    facts_pair(&outing->facts, instance, "normal_band", &low, &engine->normal_high);
    if (isfinite(seasons->options.alarm))
        engine->alarm = seasons->options.alarm;
}

/* Outings with a serial number come first: those without join them. */
static enum status find_engines_with(struct seasons *seasons, bool serial)
{
    enum status status = STATUS_OK;
    for (size_t o = 0; o < seasons->outing_count && !status; o++) {
        const struct outing *outing = &seasons->outings[o];
        for (size_t i = 0; i < outing->engine_count && !status; i++) {
            int instance = outing->engines[i].instance;
            const char *own = engine_fact(outing, instance, "serial");
            if ((own[0] != '\0') != serial)
                continue;
            size_t e = engine_at(seasons, seasons->outing_boat[o], instance, own);
            if (e == seasons->engine_count)
                status = add_engine(seasons, seasons->outing_boat[o], instance);
            if (!status)
                take_facts(seasons, outing, instance, &seasons->engines[e]);
        }
    }
    return status;
}

static int by_boat_and_number(const void *left, const void *right)
{
    const struct season_engine *a = left, *b = right;
    if (a->boat != b->boat)
        return a->boat < b->boat ? -1 : 1;
    return a->instance != b->instance ? (a->instance < b->instance ? -1 : 1)
                                      : strcmp(a->serial, b->serial);
}

/* One number with two serial numbers: an engine was exchanged, or two boats share a name. */
static void tell_exchanged(struct seasons *seasons)
{
    for (size_t e = 1; e < seasons->engine_count; e++) {
        const struct season_engine *a = &seasons->engines[e - 1], *b = &seasons->engines[e];
        if (a->boat == b->boat && a->instance == b->instance)
            season_warn(seasons, a->boat, a->instance, "engine_exchanged",
                        "Engine %d has the serial number \"%s\" in some runs and \"%s\" in others: "
                        "they are told apart as two engines. Runs without a serial number are "
                        "counted with the first of them.",
                        a->instance, answer_cut(a->serial).s, answer_cut(b->serial).s);
    }
}

static enum status find_engines(struct seasons *seasons)
{
    enum status status = find_engines_with(seasons, true);
    if (!status)
        status = find_engines_with(seasons, false);
    if (status)
        return status;
    if (seasons->engine_count > 1)
        qsort(seasons->engines, seasons->engine_count, sizeof *seasons->engines,
              by_boat_and_number);
    tell_exchanged(seasons);
    return STATUS_OK;
}

/* --- work that no log has: what the facts of the runs tell */

/* A changed zinc or sender does not make the engine run cooler: it is not what runs entered as
 * before and after a service stand around. */
static bool may_cool(const struct season_event *event)
{
    return event->step && !event->new_sender;
}

/* Does the log hold work between two outings of an engine that may change its cooling; a new
 * thermostat? */
static bool logged_between(const struct seasons *seasons, size_t boat, int instance,
                           const struct outing *from, const struct outing *to, bool thermostat)
{
    for (size_t i = 0; i < seasons->event_count; i++) {
        const struct season_event *event = &seasons->events[i];
        if (season_event_is_of(seasons, event, boat, instance) && !event->guessed &&
            (thermostat ? event->new_thermostat : may_cool(event)) &&
            event->at > (double)from->start_unix_us * 1e-6 &&
            event->at <= (double)to->start_unix_us * 1e-6)
            return true;
    }
    return false;
}

/* One rating may be written in Celsius and in Fahrenheit: 71,82 and 160F,180F are the same
 * thermostat. */
static bool differs_thermostat(const struct outing *a, const struct outing *b, int instance)
{
    double start[2], full[2];
    if (!facts_pair(&a->facts, instance, "thermostat", &start[0], &full[0]) ||
        !facts_pair(&b->facts, instance, "thermostat", &start[1], &full[1]))
        return false;
    return fmax(fabs(start[1] - start[0]), fabs(full[1] - full[0])) > SAME_RATING;
}

/* Runs soon one after the other may both be entered as after the service: that is one service. */
static bool is_served(const struct outing *before, const struct outing *after)
{
    const char *purpose = facts_get(&after->facts, FACT_RUN, 0, "purpose");
    const char *earlier = facts_get(&before->facts, FACT_RUN, 0, "purpose");
    double apart = (double)(after->start_unix_us - before->start_unix_us) * 1e-6;
    return strcmp(purpose, "after service") == 0 &&
           (strcmp(earlier, purpose) != 0 || apart > SAME_SERVICE ||
            strcmp(facts_get(&before->facts, FACT_RUN, 0, "service"),
                   facts_get(&after->facts, FACT_RUN, 0, "service")) != 0);
}

static enum status guess(struct seasons *seasons, size_t boat, int instance,
                         const struct outing *before, const struct outing *after)
{
    const char *work = facts_get(&after->facts, FACT_RUN, 0, "service");
    struct season_event event = {
        .at = (double)after->start_unix_us * 1e-6 - 1,
        .hours = NAN,
        .engine = instance,
        .step = true,
        .guessed = true,
        .new_thermostat = differs_thermostat(before, after, instance),
    };
    bool served =
        is_served(before, after) && !logged_between(seasons, boat, instance, before, after, false);
    event.new_thermostat =
        event.new_thermostat && !logged_between(seasons, boat, instance, before, after, true);
    if (!served && !event.new_thermostat)
        return STATUS_OK;
    snprintf(event.boat, sizeof event.boat, "%s", seasons->boats[boat].name);
    snprintf(event.what, sizeof event.what, "%.150s",
             served ? (work[0] != '\0' ? work : "service") : "another thermostat");
    return seasons_add_event(seasons, &event);
}

/* The outings of one engine one after the other. */
static enum status guess_events(struct seasons *seasons, const struct season_engine *engine)
{
    const struct outing *last = NULL;
    enum status status = STATUS_OK;
    for (size_t o = 0; o < seasons->outing_count && !status; o++) {
        const struct outing *outing = &seasons->outings[o];
        if (seasons->outing_boat[o] != engine->boat || !outing_engine_of(outing, engine->instance))
            continue;
        if (last)
            status = guess(seasons, engine->boat, engine->instance, last, outing);
        last = outing;
    }
    return status;
}

/* --- standard conditions */

static bool is_used(const struct hold *hold)
{
    return hold->refusal == REFUSAL_NONE && hold->rpm > 0 && isfinite(hold->sea) &&
           isfinite(hold->coolant);
}

/* Does an outing hold a speed, with any engine? */
static bool holds_speed(const struct outing *outing, double rpm)
{
    double near = fmax(rules.band.width_rpm, rules.band.width_ratio * rpm);
    for (size_t e = 0; e < outing->engine_count; e++)
        for (size_t i = 0; i < outing->engines[e].hold_count; i++) {
            const struct hold *hold = &outing->engines[e].holds[i];
            if (is_used(hold) && fabs(hold->rpm - rpm) <= near)
                return true;
        }
    return false;
}

/* The outings of one boat, one after the other: the next from `at` on, or outing_count. */
static size_t next_of(const struct seasons *seasons, size_t boat, size_t at)
{
    while (at < seasons->outing_count && seasons->outing_boat[at] != boat)
        at++;
    return at;
}

static double count_with(const struct seasons *seasons, size_t boat, double rpm)
{
    double count = 0;
    for (size_t o = next_of(seasons, boat, 0); o < seasons->outing_count;
         o = next_of(seasons, boat, o + 1))
        count += holds_speed(&seasons->outings[o], rpm);
    return count;
}

static double top_held(const struct outing *outing)
{
    double top = 0;
    for (size_t e = 0; e < outing->engine_count; e++)
        for (size_t i = 0; i < outing->engines[e].hold_count; i++) {
            const struct hold *hold = &outing->engines[e].holds[i];
            top = is_used(hold) ? fmax(top, hold->rpm) : top;
        }
    return top;
}

/* The speed that most outings hold; of those that nearly as many hold the fastest. */
static double choose_speed(const struct seasons *seasons, size_t boat)
{
    double top = 0, most = 0, best = NAN;
    for (size_t o = next_of(seasons, boat, 0); o < seasons->outing_count;
         o = next_of(seasons, boat, o + 1))
        top = fmax(top, top_held(&seasons->outings[o]));
    top = fmin(top, channel_get(CHANNEL_ENGINE_SPEED)->high); /* a kept outing may say anything */
    top = ceil(top / ROUND_RPM) * ROUND_RPM;
    for (double rpm = ROUND_RPM; rpm <= top; rpm += ROUND_RPM)
        most = fmax(most, count_with(seasons, boat, rpm));
    for (double rpm = top; rpm > 0 && isnan(best) && most > 0; rpm -= ROUND_RPM)
        if (count_with(seasons, boat, rpm) >= COMMON_SHARE * most)
            best = rpm;
    return best;
}

/* Median of the outings' seas to a whole degree, and the warmest to a tenth above. */
static void find_seas(const struct seasons *seasons, size_t boat, double *seas, double *median,
                      double *warmest)
{
    size_t count = 0;
    *warmest = NAN;
    for (size_t o = next_of(seasons, boat, 0); o < seasons->outing_count;
         o = next_of(seasons, boat, o + 1)) {
        const struct outing *outing = &seasons->outings[o];
        *warmest = fmax(*warmest, outing->sea_high);
        if (isfinite(outing->sea_low))
            seas[count++] = 0.5 * (outing->sea_low + outing->sea_high);
    }
    *median = round(series_median(seas, count));
    *warmest = ceil(*warmest * 10) / 10;
}

static enum status set_conditions(struct seasons *seasons)
{
    const struct seasons_options *o = &seasons->options;
    double *seas = malloc((seasons->outing_count + 1) * sizeof *seas);
    if (!seas)
        return STATUS_MEMORY;
    for (size_t b = 0; b < seasons->boat_count; b++) {
        struct season_boat *boat = &seasons->boats[b];
        find_seas(seasons, b, seas, &boat->reference_sea, &boat->warmest_sea);
        boat->reference_rpm =
            isfinite(o->reference_rpm) ? o->reference_rpm : choose_speed(seasons, b);
        boat->reference_sea = isfinite(o->reference_sea) ? o->reference_sea : boat->reference_sea;
        boat->warmest_sea = isfinite(o->warmest_sea) ? o->warmest_sea : boat->warmest_sea;
    }
    for (size_t e = 0; e < seasons->engine_count; e++) {
        struct season_engine *engine = &seasons->engines[e];
        engine->reference_rpm = seasons->boats[engine->boat].reference_rpm;
        engine->reference_sea = seasons->boats[engine->boat].reference_sea;
        engine->warmest_sea = seasons->boats[engine->boat].warmest_sea;
    }
    free(seas);
    return STATUS_OK;
}

/* --- pairs */

static enum status find_pairs(struct seasons *seasons)
{
    for (size_t a = 0; a < seasons->engine_count; a++)
        for (size_t b = a + 1; b < seasons->engine_count; b++) {
            if (seasons->engines[a].boat != seasons->engines[b].boat ||
                seasons->engines[a].instance == seasons->engines[b].instance)
                continue;
            struct season_pair *grown =
                realloc(seasons->pairs, (seasons->pair_count + 1) * sizeof *grown);
            if (!grown)
                return STATUS_MEMORY;
            seasons->pairs = grown;
            grown[seasons->pair_count++] = (struct season_pair){.first = a, .second = b};
        }
    return STATUS_OK;
}

/* --- what is wrong with the runs */

static void tell_engine(struct seasons *seasons, size_t e)
{
    const struct season_engine *engine = &seasons->engines[e];
    if (engine->series.point_count > 0 && isnan(engine->thermostat_start))
        season_warn(seasons, engine->boat, engine->instance, "thermostat_unknown",
                    "The thermostat's temperatures are not recorded. They stand on it or in the "
                    "engine's manual; give them with --thermostat START,FULL or in the logger's "
                    "configuration. Without them the intervals are wide.");
    for (size_t i = 0; i < engine->series.point_count; i++) {
        const struct outing *outing = &seasons->outings[engine->series.points[i].outing];
        const struct outing_engine *from = outing_engine_of(outing, engine->instance);
        if (!from || !from->sea_follows_engine)
            continue;
        season_warn(seasons, engine->boat, engine->instance, "sea_follows_engine",
                    "In %s the sea temperature (%s) follows the engine's heat: that outing may be "
                    "shown too cool.",
                    answer_cut(outing->name).s, answer_cut(from->sea_source).s);
    }
}

/* What a run says of a service names no engine. */
static void tell_guessed(struct seasons *seasons)
{
    for (size_t b = 0; b < seasons->boat_count; b++) {
        const struct season_event *first = NULL;
        size_t engines = 0;
        for (size_t e = 0; e < seasons->engine_count; e++)
            engines += seasons->engines[e].boat == b;
        for (size_t i = 0; i < seasons->event_count && !first; i++) {
            const struct season_event *event = &seasons->events[i];
            if (event->guessed && !event->new_sender && !event->new_thermostat &&
                strcmp(event->boat, seasons->boats[b].name) == 0)
                first = event;
        }
        if (first && engines > 1)
            season_warn(seasons, b, -1, "service_all_engines",
                        "What the runs themselves say of a service (the first: \"%s\") names no "
                        "engine and counts for every engine of the boat. If only one was worked "
                        "on, write it into the service log with its engine.",
                        answer_cut(first->what).s);
    }
}

static void tell_copies(struct seasons *seasons)
{
    if (seasons->repeated > 0)
        season_warn(seasons, 0, -1, "repeated_file",
                    "%zu of the files hold a run that is there already under another name; each "
                    "run counts once.",
                    seasons->repeated);
}

/* What the numbers of one engine do not allow is no reason to say nothing of the others. */
static enum status without_engine(struct seasons *seasons, size_t e)
{
    struct season_engine *engine = &seasons->engines[e];
    free_series(&engine->series);
    engine->series = (struct season_series){0};
    engine->series.season = (struct interval){NAN, NAN, NAN};
    engine->forecast = no_forecast();
    engine->follows = (struct interval){NAN, NAN, NAN};
    engine->failed = true;
    season_warn(seasons, engine->boat, engine->instance, "engine_failed",
                "Engine %d%s%s%s was left out: no line can be laid through its outings. A speed, "
                "temperature or date among them cannot be right; look at them with searun-analyze "
                "show, and leave the faulty ones out.",
                engine->instance, engine->label[0] != '\0' ? " (" : "", answer_cut(engine->label).s,
                engine->label[0] != '\0' ? ")" : "");
    return STATUS_OK;
}

static enum status solve_engine(struct seasons *seasons, size_t e)
{
    enum status status = season_engine_solve(seasons, e);
    if (status == STATUS_BAD_DATA)
        return without_engine(seasons, e);
    if (status == STATUS_OK)
        tell_engine(seasons, e);
    return status;
}

static enum status solve_pair(struct seasons *seasons, size_t p)
{
    struct season_pair *pair = &seasons->pairs[p];
    enum status status = season_pair_solve(seasons, p);
    if (status != STATUS_BAD_DATA)
        return status;
    free_series(&pair->series);
    pair->series = (struct season_series){0};
    season_warn(seasons, seasons->engines[pair->first].boat, -1, "pair_failed",
                "One engine against the other was left out: no line can be laid through what "
                "their outings have in common.");
    return STATUS_OK;
}

static enum status solve_all(struct seasons *seasons)
{
    enum status status = STATUS_OK;
    for (size_t e = 0; e < seasons->engine_count && !status; e++)
        status = guess_events(seasons, &seasons->engines[e]);
    for (size_t e = 0; e < seasons->engine_count && !status; e++)
        status = season_sender_look(seasons, &seasons->engines[e]);
    for (size_t e = 0; e < seasons->engine_count && !status; e++)
        status = solve_engine(seasons, e);
    if (!status) {
        tell_guessed(seasons);
        status = find_pairs(seasons);
    }
    for (size_t p = 0; p < seasons->pair_count && !status; p++)
        status = solve_pair(seasons, p);
    return status;
}

enum status seasons_solve(struct seasons *out, struct complaint *complaint)
{
    if (out->outing_count > 1)
        qsort(out->outings, out->outing_count, sizeof *out->outings, by_start);
    drop_copies(out);
    tell_copies(out);
    enum status status = find_boats(out);
    tell_boats(out);
    if (!status)
        status = find_engines(out);
    if (!status)
        status = set_conditions(out);
    if (!status)
        status = solve_all(out);
    return status ? complain(complaint, status, "no memory left for the seasons") : STATUS_OK;
}
