/* logger_reload.c - see logger_inside.h. Settings that are read again. */
#include "logger_inside.h"

#include <string.h>

static bool are_same_inputs(const struct config *a, const struct config *b)
{
    bool same = a->input_count == b->input_count;
    for (size_t i = 0; same && i < a->input_count; i++)
        same = strcmp(a->inputs[i].label, b->inputs[i].label) == 0 &&
               strcmp(a->inputs[i].text, b->inputs[i].text) == 0;
    return same;
}

/* What is in use for as long as the logger is at work stays as it is. */
static void keep_fixed(const struct logger *it, struct config *fresh)
{
    struct settings *new = &fresh->settings;
    const struct settings *old = &it->config.settings;
    if (!are_same_inputs(&it->config, fresh) || strcmp(old->socket, new->socket) != 0 ||
        old->unattended != new->unattended || old->receive_buffer < new->receive_buffer ||
        old->receive_buffer > new->receive_buffer || old->reopen_longest < new->reopen_longest ||
        old->reopen_longest > new->reopen_longest)
        say(it->voice, SAY_WARNING,
            "inputs, socket, unattended, receive_buffer and reopen_longest are as before until the "
            "logger is started again");
    fresh->input_count = it->config.input_count;
    memcpy(fresh->inputs, it->config.inputs, sizeof fresh->inputs);
    memcpy(new->socket, old->socket, sizeof new->socket);
    new->unattended = old->unattended;
    new->receive_buffer = old->receive_buffer;
    new->reopen_longest = old->reopen_longest;
}

static void adopt(struct logger *it, struct config *fresh)
{
    struct transducer_map map;
    if (config_transducers(fresh, &map) != STATUS_OK) {
        config_free(fresh);
        return;
    }
    keep_fixed(it, fresh);
    config_free(&it->config);
    it->config = *fresh;
    it->map = map;
    it->live.turning.above = it->config.settings.turning_rpm;
    if (!it->run)
        logger_follow_folder(it);
    say(it->voice, SAY_NOTE,
        "the settings were read again; facts, transducers and where runs go count from the next "
        "run on");
}

void logger_reload(struct logger *it)
{
    struct config fresh;
    if (!it->order->reload) {
        say(it->voice, SAY_WARNING, "there is no configuration file to read again");
        return;
    }
    notify_say(&it->notify, "RELOADING=1\nMONOTONIC_USEC=%lld",
               (long long)(loop_monotonic() / NS_PER_US));
    if (it->order->reload(it->order->self, &fresh) == STATUS_OK)
        adopt(it, &fresh);
    else
        say(it->voice, SAY_WARNING, "the settings are as before: the file is not taken as it is");
    notify_say(&it->notify, "READY=1");
}
