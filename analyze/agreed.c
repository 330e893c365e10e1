/* agreed.c - see agreed.h. */
#include "agreed.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "facts.h"
#include "text.h"

static const char *words(const struct answer *answer, size_t run, int engine, const char *key)
{
    const struct facts *facts = answer->runs[run].facts;
    return facts ? facts_get(facts, FACT_ENGINE, engine, key) : "";
}

/* The first run that records the fact, or run_count. */
static size_t first_with(const struct answer *answer, int engine, const char *key)
{
    size_t run = 0;
    while (run < answer->run_count && words(answer, run, engine, key)[0] == '\0')
        run++;
    return run;
}

/* The first run of the other side that says something else than `run` does, or run_count. */
static size_t first_against(const struct answer *answer, int engine, const char *key, size_t run)
{
    for (size_t i = run; i < answer->run_count; i++) {
        const char *other = words(answer, i, engine, key);
        if (other[0] != '\0' && strcasecmp(other, words(answer, run, engine, key)) != 0)
            return i;
    }
    return answer->run_count;
}

static void warn_of(struct answer *answer, int engine, const char *key, size_t run, size_t other)
{
    answer_warn(answer, "facts_differ", engine,
                "%s: %s says %s, %s says %s. The first is used; correct the facts of the other run "
                "if they are wrong.",
                fact_row_find(FACT_ENGINE, key)->title, answer_cut(answer->runs[run].name).s,
                answer_cut(words(answer, run, engine, key)).s,
                answer_cut(answer->runs[other].name).s,
                answer_cut(words(answer, other, engine, key)).s);
}

static double agreed_number(struct answer *answer, int engine, const char *key)
{
    double value = NAN;
    size_t run = first_with(answer, engine, key);
    if (run == answer->run_count)
        return NAN;
    facts_number(answer->runs[run].facts, engine, key, &value);
    size_t other = first_against(answer, engine, key, run);
    if (other < answer->run_count)
        warn_of(answer, engine, key, run, other);
    return value;
}

static void agreed_pair(struct answer *answer, int engine, const char *key, double *low,
                        double *high)
{
    *low = *high = NAN;
    size_t run = first_with(answer, engine, key);
    if (run == answer->run_count)
        return;
    facts_pair(answer->runs[run].facts, engine, key, low, high);
    size_t other = first_against(answer, engine, key, run);
    if (other < answer->run_count)
        warn_of(answer, engine, key, run, other);
}

/* The thermostat: a difference between runs is a matter of its own, for a new one shifts the
 * coolant by itself. */
static void agree_thermostat(struct answer *answer, const struct compare_options *options,
                             int engine, struct agreed *out)
{
    const char *key = "thermostat";
    out->thermostat_start = out->thermostat_full = NAN;
    out->thermostat_from = "unknown";
    out->thermostat_u = agreed_number(answer, engine, "thermostat_uncertainty");
    size_t run = first_with(answer, engine, key);
    if (run < answer->run_count && facts_pair(answer->runs[run].facts, engine, key,
                                              &out->thermostat_start, &out->thermostat_full))
        out->thermostat_from = "run file";
    size_t other = run < answer->run_count ? first_against(answer, engine, key, run) : run;
    double start, full;
    if (other < answer->run_count &&
        facts_pair(answer->runs[other].facts, engine, key, &start, &full)) {
        out->thermostat_shift =
            fmax(fabs(start - out->thermostat_start), fabs(full - out->thermostat_full));
        answer_warn(
            answer, "thermostat_differs", engine,
            "The thermostat is %s °C in %s and %s °C in %s. A new thermostat shifts "
            "the coolant by itself, here by up to %.1f K: the interval was widened by that. "
            "If one entry is wrong, correct it or give --thermostat.",
            answer_cut(words(answer, run, engine, key)).s, answer_cut(answer->runs[run].name).s,
            answer_cut(words(answer, other, engine, key)).s, answer_cut(answer->runs[other].name).s,
            out->thermostat_shift);
    }
    if (!isnan(options->thermostat_start) && !isnan(options->thermostat_full)) {
        out->thermostat_start = options->thermostat_start;
        out->thermostat_full = options->thermostat_full;
        out->thermostat_from = "given";
    }
    if (!isnan(options->thermostat_u))
        out->thermostat_u = options->thermostat_u;
    if (isnan(out->thermostat_u))
        out->thermostat_u = AGREED_PLATE_U;
}

/* Whether runs of different sides name different things, and not only in another spelling. */
static bool sides_differ(const struct answer *answer, int engine, const char *key, size_t *before,
                         size_t *after)
{
    for (size_t b = 0; b < answer->run_count; b++)
        for (size_t a = 0; a < answer->run_count; a++) {
            const char *first = words(answer, b, engine, key);
            const char *second = words(answer, a, engine, key);
            *before = b;
            *after = a;
            if (answer->runs[b].side == SIDE_BEFORE && answer->runs[a].side == SIDE_AFTER &&
                first[0] && second[0] && !text_same_words(first, second))
                return true;
        }
    return false;
}

static void agree_sender(struct answer *answer, int engine, struct agreed *out)
{
    size_t before, after;
    out->sender_changed = sides_differ(answer, engine, "coolant_sender", &before, &after);
    if (out->sender_changed)
        answer_warn(answer, "sender_exchanged", engine,
                    "The facts name another coolant sender after (\"%s\") than before "
                    "(\"%s\"): the difference of the two senders is part of the change shown, "
                    "and its uncertainty was put into the interval.",
                    answer_cut(words(answer, after, engine, "coolant_sender")).s,
                    answer_cut(words(answer, before, engine, "coolant_sender")).s);
}

struct agreed agree_on(struct answer *answer, const struct compare_options *options, int engine)
{
    struct agreed out = {0};
    size_t before, after, run = first_with(answer, engine, "label");
    if (run < answer->run_count)
        snprintf(out.label, sizeof out.label, "%s",
                 answer_cut(words(answer, run, engine, "label")).s);
    else
        snprintf(out.label, sizeof out.label, "engine %d", engine);
    agree_thermostat(answer, options, engine, &out);
    out.rated_rpm = agreed_number(answer, engine, "rated_rpm");
    out.alarm = agreed_number(answer, engine, "alarm");
    agreed_pair(answer, engine, "normal_band", &out.normal_low, &out.normal_high);
    agree_sender(answer, engine, &out);
    out.propeller_changed = sides_differ(answer, engine, "propeller", &before, &after);
    return out;
}
