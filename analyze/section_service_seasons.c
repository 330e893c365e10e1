/* section_service_seasons.c - the service history and what usually comes next, in the view over the
 * seasons. */
#include "section_service.h"

#include <math.h>
#include <string.h>

#include "facts.h"
#include "report.h"
#include "seasons.h"

#define YEAR_SECONDS (365.2425 * 86400.0)
#define SOON 1.0 /* years to the alarm that count as soon: the next season */

static double last_point(const struct season_engine *engine)
{
    size_t count = engine->series.point_count;
    return count > 0 ? engine->series.points[count - 1].at : NAN;
}

static enum advice_condition condition_of(const struct season_engine *engine)
{
    const struct season_forecast *forecast = &engine->forecast;
    double left = (forecast->at.low - last_point(engine)) / YEAR_SECONDS; /* as in the finding */
    switch (forecast->outlook) {
    case OUTLOOK_REACHED:
        return ADVICE_COOLS_POORLY;
    case OUTLOOK_DATE:
    case OUTLOOK_NOT_IN_SIGHT: /* the early end may be in sight all the same, or infinite */
        return left < SOON ? ADVICE_COOLS_POORLY : ADVICE_COOLS_WELL;
    case OUTLOOK_NO_ALARM:
        return isfinite(forecast->now.value) ? ADVICE_NO_VERDICT : ADVICE_NOT_MEASURED;
    case OUTLOOK_NOT_ENOUGH:
    case OUTLOOK_SERVICED:
        break;
    }
    return ADVICE_NOT_MEASURED;
}

/* How the fouling of the last stretch goes on, where there is enough of it. */
static void say_growth(struct text *out, const struct style *style,
                       const struct season_series *series)
{
    const struct season_segment *last =
        series->segment_count > 0 ? &series->segments[series->segment_count - 1] : NULL;
    if (last == NULL || !last->enough || !isfinite(last->growth.value))
        return;
    if (last->growth.low > 0)
        text_addf(out, "; fouling adds about %s a year of use to the open rise",
                  word_share(style, last->growth.value).s);
    else
        text_add(out, "; no fouling is shown since the last service");
}

static void condition_words(struct text *out, const struct style *style,
                            const struct season_engine *engine)
{
    const struct season_forecast *forecast = &engine->forecast;
    if (condition_of(engine) == ADVICE_NOT_MEASURED || !isfinite(forecast->now.value)) {
        text_add(out, forecast->outlook == OUTLOOK_SERVICED
                          ? "No outing since the last service can be used."
                          : "There are not enough outings yet.");
        return;
    }
    text_addf(out,
              "at full throttle in a sea of %.1f °C the coolant stands at %.0f °C by the "
              "outings",
              engine->warmest_sea, forecast->now.value);
    if (isfinite(engine->alarm))
        text_addf(out, " (alarm at %.0f °C)", engine->alarm);
    say_growth(out, style, &engine->series);
    text_add(out, ".");
}

/* The fact from the last outing of the boat that has it, or "". */
static const char *last_fact(const struct seasons *seasons, const struct season_engine *engine,
                             const char *key)
{
    for (size_t i = seasons->outing_count; i-- > 0;) {
        const char *value =
            facts_get(&seasons->outings[i].facts, FACT_ENGINE, engine->instance, key);
        if (seasons->outing_boat[i] == engine->boat && value[0] != '\0')
            return value;
    }
    return "";
}

static int64_t last_outing(const struct seasons *seasons, size_t boat)
{
    int64_t last = 0;
    for (size_t i = 0; i < seasons->outing_count; i++)
        if (seasons->outing_boat[i] == boat && seasons->outings[i].start_unix_us > last)
            last = seasons->outings[i].start_unix_us;
    return last / 1000000;
}

static struct word heading_of(const struct seasons *seasons, const struct season_engine *engine)
{
    const char *boat = seasons->boats[engine->boat].name;
    bool several = seasons->boat_count > 1 && boat[0] != '\0';
    struct word name = engine->label[0] != '\0' ? word_of("%s", engine->label)
                                                : word_of("engine %d", engine->instance);
    return word_of("What usually comes next: %.60s%s%.60s", several ? boat : "",
                   several ? ", " : "", name.s);
}

static void advise(struct document *document, const struct style *style,
                   const struct seasons *seasons, const struct season_engine *engine,
                   const struct service_log *log)
{
    struct text words = {0};
    size_t points = engine->series.point_count;
    condition_words(&words, style, engine);
    struct advice_input about = {
        .log = log,
        .engine = engine->instance,
        .label = engine->label,
        .now = last_outing(seasons, engine->boat),
        .hours = points > 0 ? engine->series.points[points - 1].hours : NAN,
        .condition = condition_of(engine),
        .condition_words = text_string(&words),
        .exchanger = last_fact(seasons, engine, "exchanger"),
        .coolant = last_fact(seasons, engine, "coolant"),
    };
    struct word heading = heading_of(seasons, engine);
    service_advice(document, style, heading.s, &about);
    document->failed |= words.failed;
    text_free(&words);
}

/* The log once more, with the lines of one boat only; advice for its engines. */
static void advise_boat(struct document *document, const struct style *style,
                        const struct seasons *seasons, size_t boat)
{
    struct service_log log;
    struct complaint complaint = {""};
    if (service_log_read(seasons->log_path, &log, &complaint) == STATUS_OK) {
        service_log_keep_boat(&log, seasons->boats[boat].name);
        for (size_t e = 0; e < seasons->engine_count; e++)
            if (seasons->engines[e].boat == boat)
                advise(document, style, seasons, &seasons->engines[e], &log);
    }
    service_log_free(&log);
}

void service_of_seasons(struct document *document, const struct style *style,
                        const struct seasons *seasons)
{
    struct service_log log;
    struct complaint complaint = {""};
    if (seasons->log_path[0] == '\0')
        return;
    if (service_log_read(seasons->log_path, &log, &complaint) != STATUS_OK) {
        document_paragraph(document, complaint.text);
    } else {
        document_paragraphf(document,
                            "From %s, a file that people keep beside the runs; it is no part of "
                            "what was recorded.",
                            seasons->log_path);
        service_table(document, style, &log);
        for (size_t boat = 0; boat < seasons->boat_count; boat++)
            advise_boat(document, style, seasons, boat);
    }
    service_log_free(&log);
}
