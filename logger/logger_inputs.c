/* logger_inputs.c - see logger_inside.h. What is listened to. */
#include "logger_inside.h"

#include <stdio.h>
#include <string.h>

#include "input_replay.h"

static enum status no_inputs(const struct voice *voice)
{
    say(voice, SAY_ERROR, "nothing to record from; name an input with --input or in [inputs]:");
    for (size_t i = 0; i < input_driver_count; i++)
        say(voice, SAY_NOTE, "  %s", input_drivers[i]->usage);
    return STATUS_BAD_USAGE;
}

static enum status open_live(struct logger *it, struct complaint *complaint)
{
    const struct config *config = &it->config;
    if (config->input_count == 0) {
        no_inputs(it->voice);
        return STATUS_BAD_USAGE;
    }
    it->input_count = config->input_count;
    memcpy(it->inputs, config->inputs, sizeof it->inputs);
    for (unsigned i = 0; i < it->input_count; i++) {
        enum status status = inlet_init(&it->inlets[i], i, it->inputs[i].text, &it->inputs[i],
                                        &config->settings, it->voice, complaint);
        if (status != STATUS_OK)
            return status;
        it->inlet_count++;
    }
    return STATUS_OK;
}

static const char *const clock_words[] = {
    [CLOCK_SYSTEM] = "dates by the computer that recorded it",
    [CLOCK_GNSS] = "dates by GNSS",
    [CLOCK_CAPTURE] = "dates by the time stamps in it",
    [CLOCK_NOMINAL] = "without any date",
};

static void say_capture(const struct logger *it, const char *path,
                        const struct capture_about *about)
{
    say(it->voice, SAY_NOTE, "replaying %s: %s, %s", path, about->title, clock_words[about->clock]);
    if (about->kind == CAPTURE_TIMELESS)
        say(it->voice, SAY_WARNING,
            "nothing in %s tells the time: its lines are spread as a 4800-baud line would bring "
            "them, from 1970-01-01 on. Durations and slopes are only as good as that",
            path);
}

/* A candump log names its interfaces, but not what is known of them: which bus, which engine. That
 * is in the configuration, under the same names. */
static void take_bus_options(struct logger *it)
{
    const struct config *config = &it->config;
    for (size_t i = 0; i < it->input_count; i++)
        for (size_t k = 0; k < config->input_count; k++)
            if (strncmp(it->inputs[i].text, "replay:", 7) == 0 &&
                strncmp(config->inputs[k].text, "can:", 4) == 0 &&
                strcmp(it->inputs[i].label, config->inputs[k].label) == 0)
                it->inputs[i] = config->inputs[k];
}

static enum status open_replay(struct logger *it, const char *path, struct complaint *complaint)
{
    char text[PATH_ROOM + 16];
    struct inlet *inlet = &it->inlets[0];
    snprintf(text, sizeof text, "replay:%s", path);
    enum status status =
        inlet_init(inlet, 0, text, &it->inputs[0], &it->config.settings, it->voice, complaint);
    if (status != STATUS_OK)
        return status;
    it->inlet_count = 1;
    it->replay = inlet->self;
    status = inlet->driver->open(inlet->self, complaint);
    if (status != STATUS_OK)
        return status;
    const struct capture_about *about = input_replay_about(inlet->self);
    input_replay_limit(inlet->self, it->order->duration);
    it->input_count = about->input_count;
    memcpy(it->inputs, about->inputs, sizeof it->inputs);
    take_bus_options(it);
    it->replay_start_us = about->start_unix_us;
    it->replay_clock = about->clock;
    say_capture(it, path, about);
    return STATUS_OK;
}

/* The capture that the order or the only input names; NULL for a live run. */
static const char *capture_named(const struct logger *it, bool *mixed)
{
    const struct config *config = &it->config;
    const char *path = it->order->replay;
    for (size_t i = 0; !path && i < config->input_count; i++)
        if (strncmp(config->inputs[i].text, "replay:", 7) == 0)
            path = config->inputs[i].text + 7;
    *mixed = path && path != it->order->replay && config->input_count > 1;
    return path;
}

enum status logger_open_inputs(struct logger *it)
{
    struct complaint complaint = {""};
    bool mixed;
    const char *path = capture_named(it, &mixed);
    enum status status = STATUS_OK;
    if (mixed)
        status = complain(&complaint, STATUS_BAD_USAGE,
                          "a capture has its own time and cannot be recorded together with other "
                          "inputs; replay it alone");
    else
        status = path ? open_replay(it, path, &complaint) : open_live(it, &complaint);
    if (status != STATUS_OK && complaint.text[0])
        say(it->voice, SAY_ERROR, "%s", complaint.text);
    return status;
}
