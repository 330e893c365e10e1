/* section_season.c - the finding of the seasons: what state the cooling is in, what services
 * brought, when the next is due. */
#include <math.h>
#include <string.h>
#include <time.h>

#include "season_report.h"
#include "section_service.h"

#define SOON 31557600.0 /* s; an alarm that may come within a year is worth a plan now */

struct word season_month(double at)
{
    static const char *const names[] = {"January",   "February", "March",    "April",
                                        "May",       "June",     "July",     "August",
                                        "September", "October",  "November", "December"};
    time_t seconds = (time_t)at;
    struct tm tm;
    if (!isfinite(at) || gmtime_r(&seconds, &tm) == NULL)
        return word_of("no date in sight");
    return word_of("%s %d", names[tm.tm_mon % 12], tm.tm_year + 1900);
}

struct word season_day(double at)
{
    return isfinite(at) ? word_date((int64_t)(at * 1e6)) : word_of(WORD_NONE);
}

const char *season_boat_name(const struct seasons *seasons, size_t boat)
{
    const struct season_boat *of = &seasons->boats[boat];
    return of->name[0] != '\0'             ? of->name
           : of->identification[0] != '\0' ? of->identification
                                           : "boat not recorded";
}

struct word season_engine_name(const struct seasons *seasons, const struct season_engine *engine)
{
    struct text clean = {0};
    struct word label = word_of("engine %d", engine->instance), name;
    if (engine->label[0] != '\0') {
        text_clip(&clean, engine->label, 40);
        label = word_of("%s", text_string(&clean));
    }
    text_free(&clean);
    if (seasons->boat_count < 2)
        return label;
    text_clip(&clean, season_boat_name(seasons, engine->boat), 40);
    name = word_of("%.70s, %.70s", text_string(&clean), label.s);
    text_free(&clean);
    return name;
}

static void engine_heading(struct document *document, const struct report_input *input,
                           const struct season_engine *engine)
{
    struct text words = {0};
    if (input->seasons->engine_count > 1) {
        text_addf(&words, "Engine: %s", season_engine_name(input->seasons, engine).s);
        document_heading(document, 3, text_string(&words));
    }
    text_free(&words);
}

static void section_title_of(struct document *document, const struct report_input *input)
{
    const struct seasons *s = input->seasons;
    struct text below = {0};
    for (size_t b = 0; b < s->boat_count && b < 3; b++) {
        text_add(&below, b > 0 ? "; " : "");
        text_clip(&below, season_boat_name(s, b), 60);
        if (s->boats[b].port[0] != '\0') {
            text_add(&below, ", ");
            text_clip(&below, s->boats[b].port, 60);
        }
    }
    if (s->boat_count > 3)
        text_addf(&below, " and %zu more", s->boat_count - 3);
    document_title(document, "Engine cooling over the seasons", text_string(&below));
    text_free(&below);
}

/* --- the finding of one engine */

static double last_at(const struct season_engine *engine)
{
    return engine->series.points[engine->series.point_count - 1].at;
}

/* A reserve before the alarm is no good state where the coolant is above its normal band
 * already. */
static enum finding in_reserve(const struct season_engine *engine)
{
    return engine->forecast.now.value > engine->normal_high ? FINDING_RAISED : FINDING_LOWERED;
}

static const char *by_rate(const struct season_forecast *f)
{
    return f->borrowed ? ", by the fouling rate of earlier years" : "";
}

/* Outings after the last service that may change the cooling which could not be used, where none
 * could. */
static size_t unused_since(const struct seasons *s, const struct season_engine *engine,
                           const struct season_left_out **last)
{
    struct season_step done = {.at = NAN};
    size_t count = 0;
    *last = NULL;
    if (engine->forecast.outlook == OUTLOOK_SERVICED)
        season_done_between(s, engine->boat, engine->instance, -1, last_at(engine), INFINITY,
                            &done);
    for (size_t i = 0; i < engine->left_out_count; i++) {
        const struct season_left_out *row = &engine->left_out[i];
        if (!((double)s->outings[row->outing].start_unix_us / 1e6 >= done.at))
            continue;
        count++;
        *last = row;
    }
    return count;
}

enum finding season_headline(const struct seasons *seasons, const struct season_engine *engine,
                             struct text *out)
{
    const struct season_left_out *unused;
    const struct season_forecast *f = &engine->forecast;
    if (engine->failed) {
        text_add(out, "No line can be laid through the outings of this engine");
        return FINDING_CANNOT_BE_SHOWN;
    }
    if (engine->series.point_count == 0) {
        text_add(out, "No outing can be used for this engine");
        return FINDING_CANNOT_BE_SHOWN;
    }
    switch (f->outlook) {
    case OUTLOOK_REACHED:
        text_add(out, "No reserve left: at full throttle in the warmest sea the alarm is near");
        return FINDING_RAISED;
    case OUTLOOK_DATE:
    case OUTLOOK_NOT_IN_SIGHT:
        if (!isfinite(f->at.low)) {
            text_addf(out, "Reserve is left by outings up to %s; the next service is not in sight",
                      season_month(last_at(engine)).s);
            return in_reserve(engine);
        }
        if (f->at.low < last_at(engine) + SOON) {
            text_addf(out, "Plan the next service now: the alarm may come from %s on%s",
                      season_month(fmax(f->at.low, last_at(engine))).s, by_rate(f));
            return FINDING_RAISED;
        }
        text_addf(out, "Reserve is left by outings up to %s; plan the next service before %s%s",
                  season_month(last_at(engine)).s, season_month(f->at.low).s, by_rate(f));
        return in_reserve(engine);
    case OUTLOOK_SERVICED:
        text_add(out,
                 unused_since(seasons, engine, &unused) == 0
                     ? "Serviced after the last outing: record one to see what it brought"
                     : "Serviced after the last outing that can be used: record one to see what "
                       "it brought");
        return FINDING_CANNOT_BE_SHOWN;
    case OUTLOOK_NO_ALARM:
        text_add(out, "The next service cannot be dated: the alarm temperature is not known");
        return FINDING_CANNOT_BE_SHOWN;
    case OUTLOOK_NOT_ENOUGH:
        break;
    }
    text_add(out, "Not enough outings yet to say when the next service is due");
    return FINDING_CANNOT_BE_SHOWN;
}

/* "92.8 °C (91.2 to 94.6)". A tenth of a degree is as fine as anybody can use, also where one end
 * of the interval lies near. */
static struct word with_interval(const struct style *style, enum unit unit,
                                 struct interval interval, bool sign)
{
    int decimals = word_decimals(style, unit, interval);
    if (unit != UNIT_ONE && decimals > 1)
        decimals = 1;
    return word_of("%.60s (%.80s)",
                   sign ? word_change(style, unit, interval.value, decimals).s
                        : word_quantity(style, unit, interval.value, decimals).s,
                   word_range(style, unit, interval, decimals, sign).s);
}

static struct word warmest(const struct report_input *input, const struct season_engine *engine)
{
    return word_quantity(input->style, UNIT_DEGC, engine->warmest_sea, 1);
}

/* What comes and goes every year is no fouling of the exchanger, but heats the coolant all the
 * same. */
static void say_season(struct document *document, const struct report_input *input,
                       const struct season_engine *engine)
{
    if (engine->series.season_told)
        document_paragraphf(
            document,
            "That is at the beginning of a season, with a clean hull. By its end "
            "%s come on top, and are gone by the next spring: weed on hull and "
            "propeller does that. It is not counted as fouling of the exchanger, "
            "but the alarm may come so much sooner.",
            with_interval(input->style, UNIT_KELVIN, engine->forecast.season, true).s);
}

/* What the figures in brackets are, once, behind the first of them. */
static void explain_interval(struct text *words, const struct report_input *input,
                             const struct season_engine *engine)
{
    const struct seasons *s = input->seasons;
    for (const struct season_engine *e = s->engines; e < engine; e++)
        if (e->series.point_count > 0)
            return;
    double hundred = 100 * s->options.confidence_level;
    bool whole = fabs(hundred - round(hundred)) < 0.005;
    text_addf(words,
              " Figures in brackets are %s intervals: ranges that hold the true value in %s of 100 "
              "such reports.",
              word_level(input->style, s->options.confidence_level).s,
              word_number(input->style, hundred, whole ? 0 : 2).s);
}

static void say_state(struct document *document, const struct report_input *input,
                      const struct season_engine *engine)
{
    const struct season_forecast *f = &engine->forecast;
    struct text words = {0};
    text_addf(&words,
              "At full throttle (%s) in the warmest sea %s (%s) the coolant would stand at %s by "
              "the outings up to %s",
              word_rpm(engine->full_rpm).s,
              isfinite(input->seasons->options.warmest_sea) ? "asked for" : "on record",
              warmest(input, engine).s, with_interval(input->style, UNIT_DEGC, f->now, false).s,
              season_day(last_at(engine)).s);
    if (isfinite(engine->alarm)) {
        double margin = engine->alarm - f->now.value;
        text_addf(&words, ", %s %s the alarm at %s",
                  word_quantity(input->style, UNIT_KELVIN, fabs(margin), 1).s,
                  margin >= 0 ? "below" : "above",
                  word_quantity(input->style, UNIT_DEGC, engine->alarm, 0).s);
    }
    text_add(&words, ".");
    if (f->now.value > engine->normal_high)
        text_addf(&words, " That is above its normal band, which ends at %s.",
                  word_quantity(input->style, UNIT_DEGC, engine->normal_high, 0).s);
    const struct season_segment *last = &engine->series.segments[engine->series.segment_count - 1];
    if (last->enough)
        text_addf(&words, " Since %s it has changed by %s a year%s.", season_month(last->from).s,
                  with_interval(input->style, UNIT_KELVIN, last->climb, true).s,
                  engine->series.by_hours ? " of the usual running" : "");
    explain_interval(&words, input, engine);
    document_paragraph(document, text_string(&words));
    text_free(&words);
    say_season(document, input, engine);
}

/* Another sender is no service: what the line does there may be its doing. */
static void say_sender(struct document *document, const struct report_input *input,
                       const struct season_step *step)
{
    document_paragraphf(document,
                        "%s%s the coolant comes from another sender, and reads differently by %s "
                        "there: that may be the two senders, and says nothing of a service.",
                        step->guessed ? "Since shortly before " : "Since ", season_day(step->at).s,
                        with_interval(input->style, UNIT_KELVIN, step->full, true).s);
}

static void say_last_service(struct document *document, const struct report_input *input,
                             const struct season_engine *engine)
{
    const struct season_series *series = &engine->series;
    size_t last = series->step_count;
    if (last > 0 && series->steps[last - 1].sender_only)
        say_sender(document, input, &series->steps[last - 1]);
    while (last > 0 && series->steps[last - 1].sender_only)
        last--;
    if (last == 0)
        return;
    const struct season_step *step = &series->steps[last - 1];
    struct text words = {0}, what = {0};
    text_clip(&what, step->what, 160);
    text_addf(&words, "The last service that may change the cooling (%s, %s%s) ",
              text_string(&what), step->guessed ? "before " : "", season_day(step->at).s);
    switch (step->finding) {
    case FINDING_LOWERED:
        text_addf(&words, "was followed by cooler running: %s there.",
                  with_interval(input->style, UNIT_KELVIN, step->full, true).s);
        break;
    case FINDING_RAISED:
        text_addf(&words, "was followed by hotter running: %s there.",
                  with_interval(input->style, UNIT_KELVIN, step->full, true).s);
        break;
    case FINDING_NO_CHANGE_SHOWN:
        text_addf(&words, "changed nothing that can be shown: %s there.",
                  with_interval(input->style, UNIT_KELVIN, step->full, true).s);
        break;
    case FINDING_CANNOT_BE_SHOWN:
        text_addf(&words, "cannot be judged: the outings near it leave too much open, %s there.",
                  with_interval(input->style, UNIT_KELVIN, step->full, true).s);
        break;
    }
    document_paragraph(document, text_string(&words));
    text_free(&words);
    text_free(&what);
}

static void add_hours(struct text *words, const struct season_forecast *f)
{
    if (!isfinite(f->hours.value))
        return;
    text_addf(words, ", at %.0f engine hours (%.0f to ", f->hours.value, f->hours.low);
    if (isfinite(f->hours.high))
        text_addf(words, "%.0f)", f->hours.high);
    else
        text_add(words, "never)");
}

/* "goes on like this", or at what rate it is taken to go on. */
static void say_rate(struct text *words, const struct season_engine *engine)
{
    const struct season_series *series = &engine->series;
    size_t points = series->segments[series->segment_count - 1].points;
    if (!engine->forecast.borrowed) {
        text_add(words, "If fouling goes on like this, ");
        return;
    }
    text_addf(words,
              "There %s since the last service, too few for a fouling rate of their own; this is "
              "reckoned from the rate between earlier services, and may change with %s more. If "
              "fouling goes on at that rate, ",
              points == 1 ? "is only one outing"
                          : word_of("are only %s", word_count(points, "outing", "outings").s).s,
              points == 1 ? "two" : "one or two");
}

static void say_date(struct text *words, const struct report_input *input,
                     const struct season_engine *engine)
{
    const struct season_forecast *f = &engine->forecast;
    say_rate(words, engine);
    text_addf(words, "the alarm temperature would be reached about %s (%s interval: %s to %s)",
              season_month(f->at.value).s,
              word_level(input->style, input->seasons->options.confidence_level).s,
              season_month(f->at.low).s,
              isfinite(f->at.high) ? season_month(f->at.high).s : "never");
    add_hours(words, f);
    text_add(words, ". The early end is the one to plan by.");
}

static bool too_few(const struct season_engine *engine)
{
    const struct season_series *series = &engine->series;
    return !series->segments[series->segment_count - 1].enough;
}

static void say_outlook(struct document *document, const struct report_input *input,
                        const struct season_engine *engine)
{
    const struct season_forecast *f = &engine->forecast;
    struct text words = {0};
    switch (f->outlook) {
    case OUTLOOK_DATE:
        say_date(&words, input, engine);
        break;
    case OUTLOOK_REACHED:
        text_add(&words, "By the line through the outings the alarm temperature is reached already "
                         "under those conditions. Have the heat exchanger and the raw-water side "
                         "looked at before the warm season.");
        break;
    case OUTLOOK_NOT_IN_SIGHT:
        say_rate(&words, engine);
        text_add(&words, "nothing shows that the alarm temperature would be reached within the "
                         "next 30 years");
        if (isfinite(f->at.low))
            text_addf(&words,
                      "; it could be in %s at the earliest (%s interval), which is the end to plan "
                      "by",
                      season_month(f->at.low).s,
                      word_level(input->style, input->seasons->options.confidence_level).s);
        text_add(&words, ". Go on recording an outing now and then.");
        break;
    case OUTLOOK_SERVICED:
        text_add(&words, "What was foretold before the service counts no longer. Record an outing "
                         "like the earlier ones: the usual speeds, five minutes each, warm.");
        break;
    case OUTLOOK_NO_ALARM:
        text_add(&words, "Give the temperature at which the coolant alarm sounds with --alarm, or "
                         "enter it in the logger's configuration (alarm of the engine); it stands "
                         "in the engine's manual.");
        break;
    case OUTLOOK_NOT_ENOUGH:
        text_add(&words,
                 too_few(engine)
                     ? "A forecast needs at least three outings over two months since the "
                       "last service. Record some more: the usual speeds and full throttle, "
                       "five minutes each, warm, now and then over the season."
                     : "There are outings enough, but they leave the date too open: at the "
                       "speeds that were held the thermostat hides the exchanger, or the "
                       "days differ too much. Hold full throttle for five minutes each "
                       "time, best in warm water.");
        break;
    }
    document_paragraph(document, text_string(&words));
    text_free(&words);
}

static void key_figure(struct document *document, const struct report_input *input,
                       const struct season_engine *engine)
{
    const struct season_forecast *f = &engine->forecast;
    struct style other = *input->style;
    struct text sure = {0};
    int decimals = word_decimals(input->style, UNIT_DEGC, f->now);
    other.units = input->style->units == UNITS_US ? UNITS_SI : UNITS_US;
    text_addf(&sure, "%s interval %s\u00a0%s",
              word_level(input->style, input->seasons->options.confidence_level).s,
              word_range(input->style, UNIT_DEGC, f->now, decimals, false).s,
              unit_symbol(UNIT_DEGC, input->style->units));
    if (isfinite(engine->alarm))
        text_addf(&sure, "; alarm at %s",
                  word_quantity(input->style, UNIT_DEGC, engine->alarm, 0).s);
    document_key(document,
                 word_of("Coolant at full throttle (%s) in a sea of %s",
                         word_rpm(engine->full_rpm).s, warmest(input, engine).s)
                     .s,
                 word_quantity(input->style, UNIT_DEGC, f->now.value, decimals).s,
                 text_string(&sure), with_interval(&other, UNIT_DEGC, f->now, false).s);
    text_free(&sure);
}

static void refused_words(struct text *out, const struct season_refused *row)
{
    if (strstr(row->why, row->path) == NULL)
        text_addf(out, "%s: ", row->path);
    text_add(out, row->why);
}

/* A run of after the service is there, and nothing came of it: which, and why. */
static void say_unused(struct document *document, const struct seasons *s,
                       const struct season_engine *engine)
{
    const struct season_left_out *last;
    size_t count = unused_since(s, engine, &last);
    if (count == 1)
        document_paragraphf(document,
                            "There is an outing after the service, but it could not be used. %s: "
                            "%s.",
                            s->outings[last->outing].name, last->why);
    else if (count > 1)
        document_paragraphf(document,
                            "There are %zu outings after the service, but none could be used. The "
                            "last is %s: %s. The others stand under Left out.",
                            count, s->outings[last->outing].name, last->why);
    if (engine->forecast.outlook == OUTLOOK_SERVICED && s->refused_count > 0) {
        struct text words = {0};
        refused_words(&words, &s->refused[0]);
        document_paragraphf(document, "%s may be of after the service, too: %s%s",
                            s->refused_count == 1 ? "A file that could not be used"
                                                  : "Files that could not be used",
                            text_string(&words),
                            s->refused_count == 1 ? "" : ", and others under Left out");
        document->failed |= words.failed;
        text_free(&words);
    }
}

static void finding_of(struct document *document, const struct report_input *input,
                       const struct season_engine *engine)
{
    struct text headline = {0};
    enum finding finding = season_headline(input->seasons, engine, &headline);
    engine_heading(document, input, engine);
    document_finding(document, finding, text_string(&headline));
    text_free(&headline);
    if (engine->series.point_count == 0) {
        document_paragraphf(document, "%s",
                            engine->failed
                                ? "A speed, temperature or date among them cannot be right. Look "
                                  "at them with searun-analyze show, and leave the faulty ones "
                                  "out."
                            : engine->left_out_count > 0
                                ? "Why stands below, under Left out. A usable outing has "
                                  "engine speed, coolant and sea temperature, and at least one "
                                  "speed held steadily for two and a half minutes with a warm "
                                  "engine."
                                : "No run has readings of it.");
        return;
    }
    say_unused(document, input->seasons, engine);
    say_state(document, input, engine);
    key_figure(document, input, engine);
    say_last_service(document, input, engine);
    say_outlook(document, input, engine);
    if (engine->series.point_count == 1)
        document_paragraph(document, "There is only one outing: a beginning. What changes shows "
                                     "from the second one on.");
}

static void say_boats(struct document *document, const struct seasons *s)
{
    if (s->boat_count < 2)
        return;
    struct text words = {0};
    text_addf(&words, "The runs are of %zu boats, which are told apart here:", s->boat_count);
    for (size_t b = 0; b < s->boat_count; b++) {
        text_add(&words, b > 0 ? ", " : " ");
        text_clip(&words, season_boat_name(s, b), 60);
        text_addf(&words, " (%s)", word_count(s->boats[b].outings, "run", "runs").s);
    }
    text_add(&words, ".");
    document_paragraph(document, text_string(&words));
    text_free(&words);
}

static const struct season_left_out *left_out_of(const struct season_engine *engine, size_t outing)
{
    for (size_t i = 0; i < engine->left_out_count; i++)
        if (engine->left_out[i].outing == outing)
            return &engine->left_out[i];
    return NULL;
}

/* An outing that was left out, for one engine or several, and why. False if it was not. */
static bool unused_words(struct text *out, const struct seasons *s, size_t outing)
{
    const char *why = NULL;
    for (size_t e = 0; e < s->engine_count; e++) {
        const struct season_left_out *row = left_out_of(&s->engines[e], outing);
        if (row == NULL)
            continue;
        struct word name = season_engine_name(s, &s->engines[e]);
        bool again = why != NULL && strcmp(why, row->why) == 0;
        if (why == NULL)
            text_add(out, s->outings[outing].name);
        else if (!again)
            text_addf(out, ": %s;", why);
        if (s->engine_count > 1)
            text_addf(out, "%s %s", again || why == NULL ? "," : "", name.s);
        why = row->why;
    }
    if (why != NULL)
        text_addf(out, ": %s", why);
    return why != NULL;
}

/* As many as stand in the list under Left out. */
static void say_left_out(struct document *document, const struct seasons *s)
{
    struct text words = {0};
    size_t outings = 0;
    for (size_t o = 0; o < s->outing_count; o++) {
        outings += unused_words(&words, s, o);
        document->failed |= words.failed;
        text_free(&words);
    }
    if (s->refused_count + outings == 0)
        return;
    if (s->refused_count > 0)
        text_add(&words, word_count(s->refused_count, "file", "files").s);
    text_add(&words, s->refused_count > 0 && outings > 0 ? " and " : "");
    if (outings > 0)
        text_addf(&words, "%s%s", word_count(outings, "outing", "outings").s,
                  s->engine_count > 1 ? " (for one engine at least)" : "");
    document_paragraphf(document, "%s %s left out; why stands below, under Left out.",
                        text_string(&words), s->refused_count + outings == 1 ? "was" : "were");
    document->failed |= words.failed;
    text_free(&words);
}

static void section_season_finding(struct document *document, const struct report_input *input)
{
    const struct seasons *s = input->seasons;
    say_boats(document, s);
    for (size_t e = 0; e < s->engine_count; e++)
        finding_of(document, input, &s->engines[e]);
    if (s->engine_count == 0)
        document_finding(document, FINDING_CANNOT_BE_SHOWN,
                         "No run has an engine speed or a coolant temperature: there is nothing to "
                         "show. Look with searun-analyze show at what was recorded");
    say_left_out(document, s);
}

/* --- services and stretches */

static struct word percent(const struct style *style, struct interval ratio)
{
    struct interval change = {100 * (ratio.value - 1), 100 * (ratio.low - 1),
                              100 * (ratio.high - 1)};
    int decimals = word_limit_decimals(change, 0);
    return word_of("%.40s (%.60s) %%", word_signed(style, change.value, decimals).s,
                   word_range(style, UNIT_ONE, change, decimals, true).s);
}

/* The word that this report cannot do without. */
static void say_open_rise(struct document *document, const struct style *style)
{
    document_paragraphf(document,
                        "The open rise is how far the coolant would stand above the sea with the "
                        "thermostat wide open: less is better, and fouling makes it grow.%s",
                        style->units == UNITS_SI ? " K is a difference of one degree Celsius."
                                                 : "");
}

static void section_season_services(struct document *document, const struct report_input *input)
{
    const struct column columns[] = {{"when", COLUMN_SHORT},
                                     {"what was done", COLUMN_WORDS},
                                     {"open rise", COLUMN_SHORT},
                                     {"at full throttle", COLUMN_SHORT}};
    bool told = false;
    for (size_t e = 0; e < input->seasons->engine_count; e++) {
        const struct season_series *series = &input->seasons->engines[e].series;
        if (series->step_count == 0)
            continue;
        if (!told)
            say_open_rise(document, input->style);
        told = true;
        engine_heading(document, input, &input->seasons->engines[e]);
        document_table(document, "Change of the cooling from before to after", columns, 4);
        for (size_t i = 0; i < series->step_count; i++) {
            const struct season_step *step = &series->steps[i];
            document_cellf(document, "%s%s", step->guessed ? "before " : "",
                           season_day(step->at).s);
            document_cell(document, step->what);
            document_cell(document, percent(input->style, step->ratio).s);
            document_cell(document, with_interval(input->style, UNIT_KELVIN, step->full, true).s);
        }
    }
}

static void section_season_trends(struct document *document, const struct report_input *input)
{
    const struct column columns[] = {{"from", COLUMN_SHORT},
                                     {"to", COLUMN_SHORT},
                                     {"outings", COLUMN_NUMBER},
                                     {"open rise a year", COLUMN_SHORT},
                                     {"at full throttle, a year", COLUMN_SHORT}};
    for (size_t e = 0; e < input->seasons->engine_count; e++) {
        const struct season_series *series = &input->seasons->engines[e].series;
        if (series->segment_count == 0)
            continue;
        engine_heading(document, input, &input->seasons->engines[e]);
        document_table(document,
                       series->by_hours ? "Between services; a year is one of the usual running"
                                        : "Between services; a year of the calendar",
                       columns, 5);
        for (size_t i = 0; i < series->segment_count; i++) {
            const struct season_segment *segment = &series->segments[i];
            struct interval ratio = {1 + segment->growth.value, 1 + segment->growth.low,
                                     1 + segment->growth.high};
            document_cell(document, season_day(segment->from).s);
            document_cell(document, season_day(segment->to).s);
            document_cellf(document, "%zu", segment->points);
            document_cell(document, segment->enough ? percent(input->style, ratio).s : "too few");
            document_cell(document,
                          segment->enough
                              ? with_interval(input->style, UNIT_KELVIN, segment->climb, true).s
                              : WORD_NONE);
        }
        if (series->tends > 0)
            document_paragraphf(document,
                                "The outings show that fouling does not grow steadily but tends "
                                "to a limit, with a time of about %s years: limits are at least 20 "
                                "times as likely as straight lines.",
                                word_number(input->style, series->tends, 1).s);
    }
}

/* --- port against starboard */

static void section_season_pairs(struct document *document, const struct report_input *input)
{
    const struct seasons *s = input->seasons;
    const struct column columns[] = {{"when", COLUMN_SHORT},
                                     {"what was done", COLUMN_WORDS},
                                     {"change of the ratio", COLUMN_SHORT}};
    for (size_t p = 0; p < s->pair_count; p++) {
        const struct season_pair *pair = &s->pairs[p];
        const struct season_series *series = &pair->series;
        struct word first = season_engine_name(s, &s->engines[pair->first]);
        struct word second = season_engine_name(s, &s->engines[pair->second]);
        if (series->point_count == 0 || series->curve_count == 0)
            continue;
        const struct interval now = series->curves[series->curve_count - 1].rise;
        document_paragraphf(document,
                            "The open rise of %s over that of %s, from %s they share: what day and "
                            "sea do to both cancels. At the last of them: %s. It scatters by %s "
                            "from day to day.",
                            first.s, second.s,
                            word_count(series->point_count, "outing", "outings").s,
                            with_interval(input->style, UNIT_ONE, now, false).s,
                            word_of("%.1f %%", 100 * series->day).s);
        if (series->step_count == 0)
            continue;
        document_table(document, "", columns, 3);
        for (size_t i = 0; i < series->step_count; i++) {
            document_cell(document, season_day(series->steps[i].at).s);
            document_cell(document, series->steps[i].what);
            document_cell(document, percent(input->style, series->steps[i].ratio).s);
        }
    }
}

/* --- outings */

static void outing_row(struct document *document, const struct report_input *input,
                       const struct season_series *series, const struct season_point *point)
{
    struct interval own = season_own_interval(series, point, point->rise);
    const struct style *style = input->style;
    document_cell(document, season_day(point->at).s);
    document_cell(document, isfinite(point->hours) ? word_of("%.0f", point->hours).s : WORD_NONE);
    document_cell(document, word_value(style, UNIT_DEGC, point->sea, 1).s);
    document_cellf(document, "%zu", point->holds);
    document_cellf(document, "%.0f–%.0f", point->rpm_low, point->rpm_high);
    document_cell(document, word_value(style, UNIT_KELVIN, point->rise.value, 1).s);
    document_cell(document, word_range(style, UNIT_KELVIN, own, 1, false).s);
    document_cell(document, word_value(style, UNIT_DEGC, point->reading.value, 1).s);
    document_cell(document, word_value(style, UNIT_DEGC, point->full.value, 1).s);
}

static void section_season_outings(struct document *document, const struct report_input *input)
{
    const struct column columns[] = {
        {"date", COLUMN_SHORT},     {"hours", COLUMN_NUMBER},   {"sea", COLUMN_NUMBER},
        {"holds", COLUMN_NUMBER},   {"rpm", COLUMN_SHORT},      {"rise", COLUMN_NUMBER},
        {"interval", COLUMN_SHORT}, {"coolant", COLUMN_NUMBER}, {"at full", COLUMN_NUMBER}};
    for (size_t e = 0; e < input->seasons->engine_count; e++) {
        const struct season_engine *engine = &input->seasons->engines[e];
        if (engine->series.point_count == 0)
            continue;
        engine_heading(document, input, engine);
        document_table(
            document,
            word_of("Open rise (%s) and coolant (%s) at %s and a sea of %s; at full: coolant "
                    "at full throttle in the warmest sea; intervals beside the other outings",
                    unit_symbol(UNIT_KELVIN, input->style->units),
                    unit_symbol(UNIT_DEGC, input->style->units), word_rpm(engine->reference_rpm).s,
                    word_quantity(input->style, UNIT_DEGC, engine->reference_sea, 0).s)
                .s,
            columns, 9);
        for (size_t i = 0; i < engine->series.point_count; i++)
            outing_row(document, input, &engine->series, &engine->series.points[i]);
    }
}

static void section_season_left_out(struct document *document, const struct report_input *input)
{
    const struct seasons *s = input->seasons;
    struct text words = {0};
    for (size_t i = 0; i < s->refused_count; i++) {
        refused_words(&words, &s->refused[i]);
        document_item(document, text_string(&words));
        document->failed |= words.failed;
        text_free(&words);
    }
    for (size_t o = 0; o < s->outing_count; o++) {
        if (unused_words(&words, s, o))
            document_item(document, text_string(&words));
        document->failed |= words.failed;
        text_free(&words);
    }
}

/* --- how sure */

static struct word share_of(const struct style *style, double share)
{
    return word_of("%.60s %%", word_number(style, 100 * share, 1).s);
}

/* What comes and goes with the season, told or not. */
static void say_weed(struct document *document, const struct style *style,
                     const struct season_series *series)
{
    struct interval ratio = {exp(series->season.value), exp(series->season.low),
                             exp(series->season.high)};
    if (isnan(series->season.value)) {
        document_item(document,
                      "The dates of the outings show no lay-up: what weed on hull and propeller "
                      "adds, beyond a load that was recorded, cannot be told from fouling and "
                      "counts as such.");
        return;
    }
    document_itemf(document,
                   series->season_told
                       ? "By the end of a season %s have come on top, and are gone after the "
                         "lay-up: weed on hull and propeller does that. Lines and readings here "
                         "are without it."
                       : "Nothing is shown that comes with the season and goes at the lay-up, as "
                         "weed on hull and propeller does: %s over a season. What that leaves "
                         "open is in the intervals.",
                   percent(style, ratio).s);
}

static void certainty_of(struct document *document, const struct report_input *input,
                         const struct season_engine *engine)
{
    const struct style *style = input->style;
    const struct season_series *series = &engine->series;
    engine_heading(document, input, engine);
    document_itemf(document,
                   "From day to day the open rise scatters by %s (%s to %s), found from the %s "
                   "together with what is usual (2 %%): load, trim, hull and weather differ.",
                   share_of(style, series->day).s, share_of(style, series->day_low).s,
                   share_of(style, series->day_high).s,
                   word_count(series->point_count, "outing", "outings").s);
    document_itemf(document, "From hold to hold within an outing it scatters by %s.",
                   share_of(style, series->scatter).s);
    document_itemf(document,
                   "For each degree of warmer sea the coolant at %s stands %s degrees higher; the "
                   "thermostat takes up the rest. %s",
                   word_rpm(engine->reference_rpm).s,
                   with_interval(style, UNIT_ONE, engine->follows, false).s,
                   series->sea_told ? "The outings themselves tell that."
                                    : "The outings add little to what is usual: their seas are too "
                                      "alike or too few.");
    say_weed(document, style, series);
    if (isfinite(engine->thermostat_start))
        document_itemf(document, "Thermostat: %s to %s (%s), each within %s.",
                       word_quantity(style, UNIT_DEGC, engine->thermostat_start, 1).s,
                       word_quantity(style, UNIT_DEGC, engine->thermostat_full, 1).s,
                       strcmp(engine->thermostat_from, "given") == 0 ? "as given to the program"
                                                                     : "as recorded",
                       word_quantity(style, UNIT_KELVIN, engine->thermostat_u, 1).s);
    document_itemf(document, "Load: %s.",
                   strcmp(engine->load_from, "fuel_rate") == 0
                       ? "taken from the fuel rate of the outings"
                   : strcmp(engine->load_from, "load") == 0
                       ? "taken from the percent load of the outings"
                       : "not recorded often enough; it is part of the scatter from day to day");
    if (isfinite(series->hours_a_year))
        document_itemf(document,
                       "Running: %.0f hours a year. Fouling is counted by %s, forecasts suppose "
                       "that the boat is used as it was so far.",
                       series->hours_a_year, series->by_hours ? "engine hours" : "the calendar");
    else
        document_item(document, "No hour meter was recorded: fouling is counted by the calendar.");
}

static void section_season_certainty(struct document *document, const struct report_input *input)
{
    if (input->seasons->engine_count > 0)
        document_paragraphf(document,
                            "The figures in brackets say how far each may be off: %s of such "
                            "intervals hold the truth.",
                            word_level(input->style, input->seasons->options.confidence_level).s);
    for (size_t e = 0; e < input->seasons->engine_count; e++)
        if (input->seasons->engines[e].series.point_count > 0)
            certainty_of(document, input, &input->seasons->engines[e]);
}

static void section_season_history(struct document *document, const struct report_input *input)
{
    service_of_seasons(document, input->style, input->seasons);
}

static void section_season_charts(struct document *document, const struct report_input *input)
{
    for (size_t i = 0; i < input->drawings->count; i++)
        document_figure(document, i, input->drawings->list[i].caption);
}

static void section_season_warnings(struct document *document, const struct report_input *input)
{
    const struct seasons *s = input->seasons;
    for (size_t i = 0; i < s->warning_count; i++)
        report_prose_item(document, input->style, s->warnings[i].text);
    if (s->warnings_left_out > 0)
        document_itemf(document, "%s found no room in this list.",
                       word_count(s->warnings_left_out, "more warning", "more warnings").s);
}

static const char *const method[] = {
    "Steady stretches of at least two and a half minutes are looked for in every run, wherever "
    "they are. The balance of heat in the engine's circuit turns each into the open rise: how far "
    "the coolant would stand above the sea with the thermostat wide open. It does not depend on "
    "the sea nor on what the thermostat hides, and rises when the heat exchanger fouls.",
    "All outings share the engine and its thermostat; each has its own level. Levels are laid "
    "along lines between services, straight or tending to a limit, with a scatter from day to day "
    "that the outings themselves show. Services break the lines.",
    "Intervals are taken from seeded draws of everything that is not known: scatter, thermostat, "
    "sea, shape of the lines, hours run in a year. The outing is the unit of evidence, never the "
    "single reading.",
    "The forecast is of the line, if nothing is done; with more load the alarm comes sooner.",
};

static void section_season_method(struct document *document, const struct report_input *input)
{
    (void)input;
    for (size_t i = 0; i < sizeof method / sizeof method[0]; i++)
        document_paragraph(document, method[i]);
}

static void section_season_provenance(struct document *document, const struct report_input *input)
{
    const struct seasons *s = input->seasons;
    const struct column columns[] = {{"run", COLUMN_WORDS}, {"SHA-256", COLUMN_WORDS}};
    document_paragraphf(document, "searun-analyze %s. The same numbers again:", SEARUN_VERSION);
    document_code(document, input->command);
    if (s->log_path[0] != '\0')
        document_paragraphf(document, "Service log: %s, SHA-256 %s", s->log_path, s->log_sha256);
    if (s->boat_file[0] != '\0')
        document_paragraphf(document,
                            "Facts of boat and engines that the run files do not hold are from "
                            "%s, SHA-256 %s",
                            s->boat_file, s->boat_sha256);
    document_table(document, "", columns, 2);
    for (size_t i = 0; i < s->outing_count; i++) {
        document_cell(document, s->outings[i].name);
        document_cell(document, s->outings[i].sha256);
    }
}

const struct section season_sections[] = {
    {"title", "", true, section_title_of},
    {"finding", "Finding", true, section_season_finding},
    {"charts", "Charts", false, section_season_charts},
    {"services", "What each service brought", true, section_season_services},
    {"trends", "Fouling between services", true, section_season_trends},
    {"pairs", "One engine against the other", true, section_season_pairs},
    {"history", "Service history", false, section_season_history},
    {"warnings", "Warnings", true, section_season_warnings},
    {"outings", "Every outing", false, section_season_outings},
    {"left-out", "Left out", true, section_season_left_out},
    {"certainty", "How sure, and why", false, section_season_certainty},
    {"cautions", "Take care", false, section_cautions},
    {"method", "Method", false, section_season_method},
    {"provenance", "Provenance", false, section_season_provenance},
};
const size_t season_section_count = sizeof season_sections / sizeof season_sections[0];

enum status season_report_build(const struct report_input *input, struct document *out,
                                struct complaint *complaint)
{
    return report_build_of(season_sections, season_section_count, input, out, complaint);
}
