/* input_replay.c - a capture file, as fast as the machine allows, in the time of the capture. */
#include "input_replay.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "input.h"

#define ITEMS_A_WAKING 512

struct replay {
    char path[4096];
    struct capture *capture;
    int64_t end;
    int64_t limit; /* 0: none */
    uint64_t bad_lines;
};

static enum status create(const char *address, const struct settings *settings, void **self,
                          struct complaint *complaint)
{
    (void)settings;
    if (address[0] == '\0' || strlen(address) >= sizeof((struct replay *)0)->path)
        return complain(complaint, STATUS_BAD_USAGE, "replay:FILE must name a capture file");
    struct replay *replay = calloc(1, sizeof *replay);
    if (!replay)
        return complain(complaint, STATUS_MEMORY, "no memory for a replay");
    strcpy(replay->path, address);
    *self = replay;
    return STATUS_OK;
}

static enum status open_replay(void *self, struct complaint *complaint)
{
    struct replay *replay = self;
    if (replay->capture)
        return STATUS_OK;
    return capture_open(replay->path, &replay->capture, complaint);
}

static int fd_of(const void *self, uint32_t *events)
{
    (void)self;
    *events = 0;
    return INPUT_ALWAYS_FD;
}

static void take_gap(const struct capture_item *item, struct intake *intake)
{
    char why[96];
    snprintf(why, sizeof why, "%.*s", (int)item->length, item->bytes);
    intake_gap(intake, item->input, item->at, item->until, why, item->lost);
}

static void take_event(const struct capture_item *item, struct intake *intake)
{
    char text[256];
    snprintf(text, sizeof text, "%.*s", (int)item->length, item->bytes);
    intake_event(intake, item->at, item->key, text);
}

static void take_item(struct replay *replay, const struct capture_item *item, struct intake *intake)
{
    if (item->at > replay->end)
        replay->end = item->at;
    if (item->backward)
        intake_count(intake, item->input, REASON_TIME_BACKWARD, item->at, 1);
    if (item->clock_set)
        intake_event(intake, item->at, "clock_set", "the clock of the capture was set here");
    switch (item->what) {
    case CAPTURE_ITEM_LINE:
        intake_line(intake, item->input, item->at, item->bytes, item->length);
        break;
    case CAPTURE_ITEM_FRAME:
        intake_frame(intake, item->input, item->at, item->id, item->data, item->data_length);
        break;
    case CAPTURE_ITEM_GAP:
        take_gap(item, intake);
        break;
    case CAPTURE_ITEM_EVENT:
        take_event(item, intake);
        break;
    case CAPTURE_ITEM_BAD:
        replay->bad_lines++;
        intake_count(intake, item->input, REASON_TRUNCATED, item->at, 1);
        break;
    case CAPTURE_ITEM_DONE:
        break;
    }
}

static enum input_answer read_replay(void *self, const struct moment *now, struct intake *intake,
                                     unsigned number, struct complaint *complaint)
{
    struct replay *replay = self;
    struct capture_item item;
    enum status status = STATUS_OK;
    (void)now;
    (void)number;
    for (int i = 0; i < ITEMS_A_WAKING; i++) {
        if (!capture_next(replay->capture, &item, &status)) {
            if (status != STATUS_OK)
                complain(complaint, status, "the capture cannot be read to its end");
            return INPUT_END;
        }
        if (replay->limit > 0 && item.at > replay->limit)
            return INPUT_END;
        take_item(replay, &item, intake);
    }
    return INPUT_READ;
}

static void close_replay(void *self)
{
    struct replay *replay = self;
    capture_close(replay->capture);
    replay->capture = NULL;
}

const struct capture_about *input_replay_about(const void *self)
{
    const struct replay *replay = self;
    return replay->capture ? capture_about(replay->capture) : NULL;
}

int64_t input_replay_end(const void *self)
{
    return ((const struct replay *)self)->end;
}

void input_replay_limit(void *self, int64_t limit)
{
    ((struct replay *)self)->limit = limit;
}

uint64_t input_replay_bad_lines(const void *self)
{
    return ((const struct replay *)self)->bad_lines;
}

const struct input_driver input_replay = {
    .name = "replay",
    .usage = "replay:FILE   a capture; as --replay FILE",
    .create = create,
    .open = open_replay,
    .fd = fd_of,
    .read = read_replay,
    .close = close_replay,
    .destroy = free,
};
