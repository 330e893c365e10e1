/* checked.c - see checked.h. */
#include "checked.h"

#include <stdio.h>
#include <string.h>

#include "ask.h"

#define COUNT(array) (sizeof(array) / sizeof(array)[0])

struct checked {
    const struct config *config;
    const char *output; /* NULL: names are made */
    bool replay;
    const struct voice *voice;
};

/* --- boat, engines, this run */

static void say_fact(const struct checked *it, const struct fact *fact)
{
    const struct fact_row *row = fact_row_find(fact->section, fact->key);
    if (fact->section == FACT_ENGINE)
        say(it->voice, SAY_NOTE, "engine %d: %s: %s", fact->engine, row->title, fact->value);
    else
        say(it->voice, SAY_NOTE, "%s: %s: %s", fact->section == FACT_BOAT ? "boat" : "run",
            row->title, fact->value);
}

static void say_section(const struct checked *it, enum fact_section section)
{
    const struct facts *facts = &it->config->facts;
    for (size_t i = 0; i < facts->count; i++)
        if (facts->list[i].section == section)
            say_fact(it, &facts->list[i]);
}

static void warn_thermostat(const struct checked *it, int engine)
{
    double opens, open;
    if (!facts_pair(&it->config->facts, engine, "thermostat", &opens, &open))
        say(it->voice, SAY_WARNING,
            "engine%d.thermostat is not set: a comparison has to find out from the runs where it "
            "opens, and says less",
            engine);
}

static bool is_named(const struct facts *facts, int engine)
{
    for (size_t i = 0; i < facts->count; i++)
        if (facts->list[i].section == FACT_ENGINE && facts->list[i].engine == engine)
            return true;
    return false;
}

/* Engines that are named; if none is, engine 0. */
static void warn_thermostats(const struct checked *it)
{
    bool any = false;
    for (int engine = 0; engine < INSTANCE_MAX; engine++)
        if (is_named(&it->config->facts, engine)) {
            warn_thermostat(it, engine);
            any = true;
        }
    if (!any)
        warn_thermostat(it, 0);
}

static void say_facts(const struct checked *it)
{
    const struct facts *facts = &it->config->facts;
    for (int section = 0; section < FACT_SECTION_COUNT; section++)
        say_section(it, (enum fact_section)section);
    if (*facts_get(facts, FACT_BOAT, 0, "name") == '\0')
        say(it->voice, SAY_WARNING,
            "boat.name is not set: files get no boat in their names, and runs of two boats are "
            "hard to tell apart");
    warn_thermostats(it);
}

/* --- [logger] */

static void say_place(const struct checked *it)
{
    const struct settings *settings = &it->config->settings;
    if (it->output)
        say(it->voice, SAY_NOTE, "the run goes to %s", it->output);
    else
        say(it->voice, SAY_NOTE, "runs go to %s; their names are made of start time and boat",
            settings->directory);
    if (it->replay)
        return;
    say(it->voice, SAY_NOTE, "a run ends when less than %g MiB are free there (reserve)",
        settings->reserve);
    say(it->voice, SAY_NOTE, "the journal of a run %s when its run file is finished (keep_journal)",
        settings->keep_journal ? "stays" : "is removed");
    say(it->voice, SAY_NOTE,
        "while storage stands still, %g MiB of memory take what comes (ring_size)",
        settings->ring_size);
}

/* What only counts for a logger that is left aboard. */
static void say_unattended(const struct checked *it)
{
    const struct settings *settings = &it->config->settings;
    say(it->voice, SAY_NOTE,
        "unattended: a run begins when an engine is faster than %g rpm "
        "(turning_rpm), with what was heard in the %g s before (before_start)",
        settings->turning_rpm, settings->before_start);
    say(it->voice, SAY_NOTE, "unattended: it ends when none has been for %g s (end_after)",
        settings->end_after);
    if (settings->longest_run > 0)
        say(it->voice, SAY_NOTE,
            "unattended: after %g h it goes on in a further file (longest_run)",
            settings->longest_run);
    else
        say(it->voice, SAY_NOTE, "unattended: it is never split, however long (longest_run)");
    if (it->output)
        say(it->voice, SAY_ERROR,
            "--output names one run; an unattended logger makes many, and will "
            "not begin: name their folder with --directory");
}

static bool differs(double a, double b)
{
    return a < b || a > b;
}

static void say_attended(const struct checked *it)
{
    struct config plain;
    const struct settings *is = &it->config->settings, *was = &plain.settings;
    say(it->voice, SAY_NOTE,
        "not unattended: one run begins at once and ends when it is told to (unattended = yes, or "
        "--unattended, waits for an engine)");
    config_init(&plain);
    if (differs(is->turning_rpm, was->turning_rpm) || differs(is->end_after, was->end_after) ||
        differs(is->before_start, was->before_start) || differs(is->longest_run, was->longest_run))
        say(it->voice, SAY_WARNING,
            "turning_rpm, end_after, before_start and longest_run have no effect: they are for an "
            "unattended logger");
    config_free(&plain);
}

static void say_running(const struct checked *it)
{
    char path[4096];
    if (it->replay)
        return;
    if (it->config->settings.unattended)
        say_unattended(it);
    else
        say_attended(it);
    if (ask_place(&it->config->settings, it->config->settings.directory, path, sizeof path))
        say(it->voice, SAY_NOTE, "searun-logger status, mark and the like reach it at %s (socket)",
            path);
    else
        say(it->voice, SAY_NOTE,
            "there is no control socket: status, mark and the like cannot be used "
            "(socket)");
}

static void say_clock(const struct checked *it)
{
    const struct settings *settings = &it->config->settings;
    say(it->voice, SAY_NOTE,
        "a run is dated by GNSS if the computer's clock is off by more than %g s "
        "(clock_tolerance)",
        settings->clock_tolerance);
    say(it->voice, SAY_NOTE, "RPM sentences call engine 0 number %g (rpm_first_engine)",
        settings->rpm_first_engine);
}

/* --- [inputs] and [transducers] */

static void say_inputs(const struct checked *it)
{
    const struct config *config = it->config;
    for (size_t i = 0; i < config->input_count; i++)
        say(it->voice, SAY_NOTE, "input %s: %s", config->inputs[i].label, config->inputs[i].text);
    if (it->replay)
        return;
    if (config->input_count == 0)
        say(it->voice, SAY_WARNING, "no input is named yet");
    say(it->voice, SAY_NOTE,
        "an input that fails is tried again, after %g s at the latest (reopen_longest); a network "
        "or CAN input asks the system to hold %g KiB (receive_buffer)",
        config->settings.reopen_longest, config->settings.receive_buffer);
}

static void say_transducer(const struct checked *it, const struct transducer_row *row)
{
    const char *key = channel_get(row->channel)->key;
    const char *kind = place_key(transducer_row_place(row));
    char whose[40] = "the vessel";
    if (row->engine == TRANSDUCER_NUMBERED)
        snprintf(whose, sizeof whose, "%s {n}", kind);
    else if (row->engine != TRANSDUCER_VESSEL)
        snprintf(whose, sizeof whose, "%s %d", kind, row->engine);
    say(it->voice, SAY_NOTE, "transducer %s (type %s, unit %s): %s of %s", row->name, row->type,
        row->unit[0] ? row->unit : "any", key, whose);
}

static void say_transducers(const struct checked *it)
{
    for (size_t i = 0; i < it->config->transducer_count; i++)
        say_transducer(it, &it->config->transducers[i]);
    say(it->voice, SAY_NOTE, "built-in transducer names %s (transducer_defaults)",
        it->config->settings.transducer_defaults ? "count for the rest" : "do not count");
}

enum status checked_say(const struct config *config, const char *output, bool replay,
                        const struct voice *voice)
{
    static void (*const parts[])(const struct checked *) = {
        say_facts, say_inputs, say_transducers, say_place, say_running, say_clock,
    };
    const struct checked it = {config, output, replay, voice};
    for (size_t i = 0; i < COUNT(parts); i++)
        parts[i](&it);
    if (output && config->settings.unattended && !replay)
        return STATUS_BAD_USAGE;
    say(voice, SAY_NOTE, "the settings are sound");
    return STATUS_OK;
}
