/* input.c - the table of drivers, and what is common to all inputs: opening, failing, opening
 * again. */
#include "input.h"

#include <stdio.h>
#include <string.h>

#define DIGITS "0123456789"
#define LOOK_NS (20 * NS_PER_MS) /* where there is no descriptor to wait for */
#define SAY_FIRST_NS (60 * NS_PER_S)
#define SAY_LONGEST_NS (3600 * NS_PER_S)
#define LOSSES_SAID 3 /* in a row, each after a short time open */

const struct input_driver *const input_drivers[] = {
    &input_serial, &input_udp, &input_tcp, &input_can, &input_replay,
};
const size_t input_driver_count = sizeof input_drivers / sizeof input_drivers[0];

const struct input_driver *input_driver_of(const char *text, const char **address)
{
    for (size_t i = 0; i < input_driver_count; i++) {
        size_t length = strlen(input_drivers[i]->name);
        if (strncmp(text, input_drivers[i]->name, length) == 0 && text[length] == ':') {
            *address = text + length + 1;
            return input_drivers[i];
        }
    }
    return NULL;
}

/* A name without its colon: "udp", "udp 10110", "serial/dev/ttyUSB0". Returns its driver. */
static const struct input_driver *bare_name(const char *text)
{
    for (size_t i = 0; i < input_driver_count; i++) {
        size_t length = strlen(input_drivers[i]->name);
        if (strncmp(text, input_drivers[i]->name, length) == 0 &&
            (text[length] == '\0' || strchr(" =/,", text[length])))
            return input_drivers[i];
    }
    return NULL;
}

/* "can0", "vcan1", "slcan0". */
static bool is_interface(const char *text)
{
    const char *can = strstr(text, "can");
    size_t digits = can ? strspn(can + 3, DIGITS) : 0;
    return can && can - text <= 2 && digits > 0 && can[3 + digits] == '\0';
}

/* "192.168.1.20:10110", "gateway:2000": a host and a port, but no kind of input. */
static bool is_host_and_port(const char *text)
{
    const char *colon = strchr(text, ':');
    size_t digits = colon ? strspn(colon + 1, DIGITS) : 0;
    return colon && colon > text && digits > 0 && colon[1 + digits] == '\0' && strchr(text, '.');
}

/* What was probably meant; "" where nothing comes to mind. */
static void guess_input(const char *text, char *to, size_t room)
{
    const struct input_driver *bare = bare_name(text);
    if (bare)
        snprintf(to, room, "; a colon and the address follow the name, without a space: %s",
                 bare->usage);
    else if (strncmp(text, "/dev/", 5) == 0)
        snprintf(to, room, "; did you mean serial:%.80s,4800?", text);
    else if (is_interface(text))
        snprintf(to, room, "; did you mean can:%.80s?", text);
    else if (*text && text[strspn(text, DIGITS)] == '\0')
        snprintf(to, room, "; did you mean udp:%.80s?", text);
    else if (is_host_and_port(text))
        snprintf(to, room, "; did you mean tcp:%.80s?", text);
    else if (strchr(text, '/') || strchr(text, '.'))
        snprintf(to, room, "; if it is a capture, give it as --replay %.80s", text);
    else
        to[0] = '\0';
}

static enum status unknown_input(const char *text, struct complaint *complaint)
{
    char names[160] = "", guess[240];
    for (size_t i = 0; i < input_driver_count; i++) {
        size_t length = strlen(names);
        snprintf(names + length, sizeof names - length, "%s%s:", i > 0 ? ", " : "",
                 input_drivers[i]->name);
    }
    guess_input(text, guess, sizeof guess);
    return complain(complaint, STATUS_BAD_USAGE,
                    "\"%.80s\" is not an input; it must begin with one of %s%s", text, names,
                    guess);
}

enum status input_check(const char *text, struct complaint *complaint)
{
    static const struct settings none;
    const char *address;
    void *self = NULL;
    const struct input_driver *driver = input_driver_of(text, &address);
    if (!driver)
        return unknown_input(text, complaint);
    if (strlen(text) >= sizeof((struct run_input *)0)->text)
        return complain(complaint, STATUS_BAD_USAGE,
                        "the input is longer than %zu bytes; a link with a short name helps",
                        sizeof((struct run_input *)0)->text - 1);
    enum status status = driver->create(address, &none, &self, complaint);
    if (status == STATUS_OK)
        driver->destroy(self);
    return status;
}

bool input_next_option(const char **text, char *piece, size_t room)
{
    size_t length = strcspn(*text, ",");
    if (**text == '\0' || length >= room)
        return false;
    memcpy(piece, *text, length);
    piece[length] = '\0';
    *text += length + ((*text)[length] == ',');
    return true;
}

/* --- an input at work */

enum status inlet_init(struct inlet *inlet, unsigned number, const char *text,
                       const struct run_input *about, const struct settings *settings,
                       const struct voice *voice, struct complaint *complaint)
{
    const char *address;
    memset(inlet, 0, sizeof *inlet);
    inlet->driver = input_driver_of(text, &address);
    if (!inlet->driver)
        return unknown_input(text, complaint);
    inlet->number = number;
    inlet->about = about;
    inlet->voice = voice;
    inlet->longest = (int64_t)(settings->reopen_longest * 1e9);
    inlet->interval = REOPEN_FIRST_NS;
    inlet->say_interval = SAY_FIRST_NS;
    inlet->fd = -1;
    return inlet->driver->create(address, settings, &inlet->self, complaint);
}

void inlet_free(struct inlet *inlet)
{
    if (!inlet->driver || !inlet->self)
        return;
    inlet->driver->close(inlet->self);
    inlet->driver->destroy(inlet->self);
    inlet->self = NULL;
}

static double seconds(int64_t ns)
{
    return (double)ns / 1e9;
}

/* A failure is said once, and again only after growing intervals of steady trouble. */
static void say_failure(struct inlet *inlet, int64_t at, const char *why)
{
    if (at < inlet->say_at)
        return;
    say(inlet->voice, SAY_WARNING, "input %s (%s): %s (tried again until it works)",
        inlet->about->label, inlet->about->text, why);
    inlet->said_away = true;
    inlet->say_at = at + inlet->say_interval;
    inlet->say_interval *= 4;
    if (inlet->say_interval > SAY_LONGEST_NS)
        inlet->say_interval = SAY_LONGEST_NS;
}

/* The last instant at which something came from an input that was open until now. */
static int64_t last_heard(const struct inlet *inlet, const struct intake *intake)
{
    int64_t heard = intake->inputs[inlet->number].heard_at + intake->zero;
    return heard > inlet->opened_at ? heard : inlet->opened_at;
}

/* It was open and is not any more. */
static void lose(struct inlet *inlet, int64_t at, struct intake *intake)
{
    inlet->away_since = last_heard(inlet, intake);
    if (at - inlet->opened_at >= REOPEN_STEADY_NS) {
        inlet->interval = REOPEN_FIRST_NS;
        inlet->say_interval = SAY_FIRST_NS;
        inlet->losses = 0;
    }
    if (inlet->losses++ < LOSSES_SAID)
        inlet->say_at = at;
    intake_cut(intake, inlet->number, at);
}

/* Opening now fails for another reason: the adapter is there, but its interface is down. */
static bool is_news(struct inlet *inlet, const char *why)
{
    bool news = inlet->tried[0] && strncmp(inlet->tried, why, sizeof inlet->tried - 1) != 0;
    snprintf(inlet->tried, sizeof inlet->tried, "%.95s", why);
    return news && inlet->losses++ < LOSSES_SAID;
}

void inlet_tell_away(const struct inlet *inlet, int64_t at, struct intake *intake)
{
    char text[256];
    if (!inlet->failed)
        return;
    snprintf(text, sizeof text, "%s: %s", inlet->about->label, inlet->why);
    intake_event(intake, at, "input_away", text);
}

static void leave_open(struct inlet *inlet, int64_t at, struct intake *intake,
                       const struct complaint *complaint)
{
    if (inlet->state == INLET_OPEN) {
        lose(inlet, at, intake);
        inlet->tried[0] = '\0';
    } else if (is_news(inlet, complaint->text)) {
        inlet->say_at = at;
    }
    inlet->state = INLET_AWAY;
    if (!inlet->failed) {
        snprintf(inlet->why, sizeof inlet->why, "%.95s", complaint->text);
        inlet->failed = true;
        inlet_tell_away(inlet, at, intake);
    }
    say_failure(inlet, at, complaint->text);
}

/* Nothing comes, but the driver would see if it did: there is nothing to open again. */
static void hold(struct inlet *inlet, int64_t at, struct intake *intake,
                 const struct complaint *complaint)
{
    leave_open(inlet, at, intake, complaint);
    inlet->held = true;
}

static void fail(struct inlet *inlet, int64_t at, struct intake *intake,
                 const struct complaint *complaint)
{
    leave_open(inlet, at, intake, complaint);
    inlet->driver->close(inlet->self);
    inlet->held = false;
    inlet->retry_at = at + inlet->interval;
    inlet->interval = inlet->interval * 2 < inlet->longest ? inlet->interval * 2 : inlet->longest;
}

static void tell_gap(const struct inlet *inlet, int64_t until, struct intake *intake)
{
    intake_gap(intake, inlet->number, inlet->away_since, until,
               inlet->why[0] ? inlet->why : "did not open", 0);
}

static void say_open(const struct inlet *inlet, int64_t at)
{
    const struct run_input *about = inlet->about;
    if (inlet->said_away)
        say(inlet->voice, SAY_NOTE, "input %s (%s): open, after %.1f s without", about->label,
            about->text, seconds(at - inlet->away_since));
    else if (!inlet->was_open)
        say(inlet->voice, SAY_NOTE, "input %s (%s): open", about->label, about->text);
}

static void become_open(struct inlet *inlet, int64_t at, struct intake *intake)
{
    if (inlet->was_open)
        intake_count(intake, inlet->number, REASON_REOPENED, at, 1);
    if (inlet->was_open || inlet->failed)
        tell_gap(inlet, at, intake);
    say_open(inlet, at);
    inlet->state = INLET_OPEN;
    inlet->held = false;
    inlet->opened_at = at;
    inlet->was_open = true;
    inlet->failed = false;
    inlet->said_away = false;
}

static void end_it(struct inlet *inlet, const struct complaint *complaint)
{
    inlet->broken = complaint->text[0] != '\0';
    if (inlet->broken)
        say(inlet->voice, SAY_ERROR, "input %s (%s): %s", inlet->about->label, inlet->about->text,
            complaint->text);
    inlet->driver->close(inlet->self);
    inlet->state = INLET_OVER;
}

static void read_it(struct inlet *inlet, const struct moment *now, struct intake *intake)
{
    struct complaint complaint = {""};
    switch (inlet->driver->read(inlet->self, now, intake, inlet->number, &complaint)) {
    case INPUT_READ:
        if (inlet->state != INLET_OPEN)
            become_open(inlet, now->at, intake);
        break;
    case INPUT_DOWN:
        hold(inlet, now->at, intake, &complaint);
        break;
    case INPUT_GONE:
        fail(inlet, now->at, intake, &complaint);
        break;
    case INPUT_END:
        end_it(inlet, &complaint);
        break;
    case INPUT_OPENING:
        break;
    }
}

static void open_it(struct inlet *inlet, const struct moment *now, struct intake *intake)
{
    struct complaint complaint = {""};
    if (inlet->driver->open(inlet->self, &complaint) != STATUS_OK) {
        fail(inlet, now->at, intake, &complaint);
        return;
    }
    inlet->state = INLET_OPENING;
    read_it(inlet, now, intake);
}

void inlet_step(struct inlet *inlet, const struct moment *now, bool ready, struct intake *intake)
{
    switch (inlet->state) {
    case INLET_AWAY:
        if (inlet->held)
            read_it(inlet, now, intake);
        else if (now->at >= inlet->retry_at)
            open_it(inlet, now, intake);
        break;
    case INLET_OPENING:
        read_it(inlet, now, intake);
        break;
    case INLET_OPEN:
        if (ready || inlet->fd == INPUT_NO_FD)
            read_it(inlet, now, intake);
        break;
    case INLET_OVER:
        break;
    }
}

static int64_t deadline_of(int fd, int64_t now)
{
    return fd == INPUT_ALWAYS_FD ? now : fd == INPUT_NO_FD ? now + LOOK_NS : INT64_MAX;
}

int64_t inlet_deadline(const struct inlet *inlet, int64_t now)
{
    uint32_t events;
    switch (inlet->state) {
    case INLET_AWAY:
        return inlet->held ? now + LOOK_NS : inlet->retry_at;
    case INLET_OPENING:
        return now + LOOK_NS;
    case INLET_OPEN:
        return deadline_of(inlet->driver->fd(inlet->self, &events), now);
    case INLET_OVER:
        break;
    }
    return INT64_MAX;
}

void inlet_tell(const struct inlet *inlet, int64_t at, struct intake *intake)
{
    if (inlet->state == INLET_AWAY || inlet->state == INLET_OPENING)
        tell_gap(inlet, at, intake);
}

void inlet_finish(struct inlet *inlet, int64_t at, struct intake *intake)
{
    inlet_tell(inlet, at, intake);
    inlet->driver->close(inlet->self);
    inlet->state = INLET_OVER;
}
