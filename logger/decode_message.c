/* decode_message.c - one whole CAN message becomes readings and events. See decode_message.h. */
#include "decode_message.h"

#include "frame_can.h"

#include <endian.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define NO_INSTANCE 0xFF
#define DAYS_TO_2000 10957 /* a date before is a clock that was never set */
#define TIME_PER_DAY                                                                               \
    INT64_C(864000000) /* 0.1 ms; from here on it is a leap second, which has no place in
                                           UNIX time */
#define US_PER_DAY INT64_C(86400000000)

enum special { PLAIN, NOT_AVAILABLE, OUT_OF_RANGE, RESERVED, ABSENT, SPECIAL_COUNT };

/* One message on its way through its field list. */
struct work {
    struct can_state *state;
    const struct can_input *input;
    const struct sink *sink;
    struct tally *tally;
    unsigned device;  /* DEVICES_MAX = not looked up yet */
    uint8_t instance; /* NO_INSTANCE = none, or not available */
    bool stop;        /* nothing more is to be taken from the message */
    bool refused;     /* it has no usable origin, which is counted */
    bool news;        /* something may be new about its device */
    unsigned missed[SPECIAL_COUNT];
    struct work_group {
        const struct can_choice *choice; /* NULL for a group whose code means nothing */
        struct known_origin *known;
        uint16_t code;
        uint8_t count;
    } group[CAN_GROUPS];
    bool has_day, has_time;
    uint8_t utc_group;
    int64_t day, time;
    size_t text_end, cursor;
    char text[EVENT_TEXT_MAX];
    struct value value[CAN_GROUPS][VALUES_MAX];
};

/* --- bits */

static uint64_t ones(unsigned bits)
{
    return ~UINT64_C(0) >> (64 - bits);
}

/* The field's bits as they are. The message can be read 8 bytes past its end. */
static uint64_t extract(const uint8_t *data, const struct can_field *field)
{
    uint64_t word;
    memcpy(&word, data + field->first / 8, sizeof word);
    return le64toh(word) >> field->first % 8 & ones(field->bits);
}

static enum special classify(const struct can_field *field, uint64_t raw)
{
    uint64_t all = ones(field->bits);
    if (field->flags & CAN_ONES_MISSING && raw == all)
        return NOT_AVAILABLE;
    uint64_t highest = field->flags & CAN_SIGNED ? all >> 1 : all;
    uint64_t below = ((highest - raw) & all) >> field->code_shift;
    if (below >= field->codes)
        return PLAIN;
    return below == 0 ? NOT_AVAILABLE : below == 1 ? OUT_OF_RANGE : RESERVED;
}

static enum special read_field(const struct work *work, const struct can_field *field,
                               uint64_t *raw)
{
    if ((size_t)field->first + field->bits > work->input->length * 8)
        return ABSENT;
    *raw = extract(work->input->data, field);
    return classify(field, *raw);
}

static double scaled(const struct can_field *field, uint64_t raw)
{
    uint64_t sign = UINT64_C(1) << (field->bits - 1);
    double number =
        field->flags & CAN_SIGNED ? (double)((int64_t)((raw ^ sign) - sign)) : (double)raw;
    return number * field->scale + field->offset;
}

/* --- origins */

static void label_of(const struct work *work, unsigned group, char *label, size_t size)
{
    const struct can_choice *choice = work->group[group].choice;
    const char *word = choice ? choice->label : work->input->row->instance_label;
    enum place place = choice ? choice->place : work->input->row->place;
    int end = 0;
    if (choice && choice->code == CHOICE_OTHER)
        end = snprintf(label, size, "%s %u", word, work->group[group].code);
    else if (choice)
        end = snprintf(label, size, "%s", word);
    else if (word && work->instance != NO_INSTANCE && work->instance > 0)
        end = snprintf(label, size, "%s", word);
    if (end > 0 && place == PLACE_VESSEL && work->instance != NO_INSTANCE && work->instance > 0)
        snprintf(label + end, size - (size_t)end, " %u", work->instance);
}

/* Who sent the message. */
static unsigned device_of(struct work *work)
{
    enum device_news news = DEVICE_KNOWN;
    if (work->device == DEVICES_MAX)
        work->device =
            device_at(&work->state->devices, work->input->at, work->input->source, &news);
    work->news |= news != DEVICE_KNOWN;
    return work->device;
}

static void fill_origin(const struct work *work, unsigned group, struct origin *origin)
{
    const struct can_input *input = work->input;
    const struct can_choice *choice = work->group[group].choice;
    origin->protocol = input->protocol;
    origin->place = choice ? choice->place : input->row->place;
    origin->instance = origin->place == PLACE_VESSEL ? 0 : work->instance;
    origin->input = work->state->input;
    origin->number = input->row->number;
    snprintf(origin->message, sizeof origin->message, "%s", input->row->key);
    device_text(&work->state->devices.device[work->device], origin->source);
    label_of(work, group, origin->label, sizeof origin->label);
}

/* Counts once that the message has no usable origin. */
static struct known_origin *refuse(struct work *work, enum reason why)
{
    if (!work->refused)
        tally_add(work->tally, why, work->input->at);
    work->refused = true;
    return NULL;
}

/* The origin of a group of the message, or NULL (counted). */
static struct known_origin *origin_of(struct work *work, unsigned group)
{
    if (work->group[group].known)
        return work->group[group].known;
    const struct can_choice *choice = work->group[group].choice;
    enum place place = choice ? choice->place : work->input->row->place;
    if (place != PLACE_VESSEL && work->instance >= INSTANCE_MAX) /* NO_INSTANCE is one of these */
        return refuse(work, REASON_BAD_INSTANCE);
    uint64_t key = (uint64_t)work->input->row_number | (uint64_t)device_of(work) << 8 |
                   (uint64_t)work->instance << 24 | (uint64_t)group << 32 |
                   (uint64_t)(choice ? work->group[group].code + 1 : 0) << 40;
    struct known_origin *known = origins_can_find(&work->state->origins, key);
    if (!known && (known = origins_can_add(&work->state->origins, key)))
        fill_origin(work, group, &known->origin);
    if (!known)
        return refuse(work, REASON_TOO_MANY_SOURCES);
    return work->group[group].known = known;
}

static struct event_context events_of(const struct work *work)
{
    return (struct event_context){&work->state->events, work->input->at, work->sink, work->tally};
}

/* --- roles of fields */

static void put_value(struct work *work, unsigned group, unsigned id, double value)
{
    const struct channel *channel = channel_get(id);
    if (!(value >= channel->low && value <= channel->high)) {
        work->missed[OUT_OF_RANGE]++;
        return;
    }
    work->value[group][work->group[group].count++] = (struct value){(uint16_t)id, value};
}

/* The choice of a code, or NULL if it is reserved. */
static const struct can_choice *find_choice(const struct can_choice *choices, uint64_t code)
{
    while (choices->code != code && choices->code != CHOICE_OTHER && choices->code != CHOICE_END)
        choices++;
    return choices->code == CHOICE_END ? NULL : choices;
}

/* A value whose code means nothing stands with those of group 0, if its channel does not depend on
 * it. */
static void take_value(struct work *work, const struct can_field *field, uint64_t raw)
{
    const struct can_choice *choice = work->group[field->group].choice;
    unsigned channel = field->channel;
    if (channel == CHANNEL_COUNT && choice)
        channel = choice->channel;
    if (channel != CHANNEL_COUNT)
        put_value(work, choice && choice->label[0] != '\0' ? field->group : 0, channel,
                  scaled(field, raw));
}

static void take_instance(struct work *work, const struct can_field *field, uint64_t raw)
{
    (void)field;
    work->instance = (uint8_t)raw;
}

static void take_select(struct work *work, const struct can_field *field, uint64_t raw)
{
    const struct can_choice *choice = find_choice(field->choices, raw);
    work->group[field->group].choice = choice;
    work->group[field->group].code = (uint16_t)raw;
    work->missed[RESERVED] += !choice;
}

static void take_code(struct work *work, const struct can_field *field, uint64_t raw)
{
    const struct can_choice *choice = find_choice(field->choices, raw);
    if (choice)
        put_value(work, field->group, field->channel, choice->value);
    work->missed[RESERVED] += !choice;
}

static void take_valid(struct work *work, const struct can_field *field, uint64_t raw)
{
    if (!find_choice(field->choices, raw))
        return;
    tally_add(work->tally, REASON_INVALID_STATUS, work->input->at);
    work->stop = true;
}

static void take_status(struct work *work, const struct can_field *field, uint64_t raw)
{
    struct known_origin *known = origin_of(work, field->group);
    struct event_context context = events_of(work);
    if (field->channel != CHANNEL_COUNT)
        put_value(work, field->group, field->channel, (double)raw);
    if (known)
        event_status(&context, known, field->slot, field->status, (unsigned)raw);
}

static void take_date(struct work *work, const struct can_field *field, uint64_t raw)
{
    work->has_day = raw >= DAYS_TO_2000;
    work->missed[OUT_OF_RANGE] += !work->has_day;
    work->day = (int64_t)raw;
    work->utc_group = field->group;
}

static void take_time(struct work *work, const struct can_field *field, uint64_t raw)
{
    (void)field;
    work->has_time = (int64_t)raw < TIME_PER_DAY;
    work->missed[OUT_OF_RANGE] += !work->has_time;
    work->time = (int64_t)raw;
}

/* --- texts */

static void add_text(struct work *work, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
static void add_text(struct work *work, const char *format, ...)
{
    size_t room = sizeof work->text - work->text_end;
    va_list args;
    va_start(args, format);
    int length = vsnprintf(work->text + work->text_end, room, format, args);
    va_end(args);
    if (length > 0)
        work->text_end += (size_t)length < room ? (size_t)length : room - 1;
}

/* Devices fill the rest of a text with zeros, ones, spaces or '@'. */
static bool is_filler(uint8_t byte)
{
    return byte == 0 || byte == 0xFF || byte == ' ' || byte == '@';
}

/* Adds `count` characters that lie `step` bytes apart. A zero ends them. */
static void add_field_text(struct work *work, const char *title, const uint8_t *bytes, size_t count,
                           size_t step)
{
    size_t end = 0;
    while (end < count && bytes[end * step] != 0)
        end++;
    while (end > 0 && is_filler(bytes[(end - 1) * step]))
        end--;
    if (end == 0) {
        work->missed[NOT_AVAILABLE]++;
        return;
    }
    add_text(work, "%s%s ", work->text_end > 0 ? "; " : "", title);
    for (size_t i = 0; i < end; i++) {
        uint8_t c = bytes[i * step];
        bool wide = step == 2 && bytes[i * step + 1] != 0;
        add_text(work, "%c", c >= 0x20 && c < 0x7F && !wide ? c : '?');
    }
}

static void take_text(struct work *work, const struct can_field *field)
{
    size_t first = field->first / 8, count = field->bits / 8;
    if (first + count > work->input->length)
        work->missed[ABSENT]++;
    else
        add_field_text(work, field->title, work->input->data + first, count, 1);
}

/*  byte   0          1                        2 ...
 *       +----------+------------------------+-------+
 *       | length,  | 0: two bytes a letter, | text  |
 *       | in all   | 1: one byte a letter   |       |
 *       +----------+------------------------+-------+
 */
static void take_counted_text(struct work *work, const struct can_field *field)
{
    const uint8_t *data = work->input->data;
    size_t first = field->first ? field->first / 8u : work->cursor;
    size_t length = first < work->input->length ? data[first] : 0;
    if (length < 2 || first + length > work->input->length || data[first + 1] > 1) {
        work->missed[ABSENT]++;
        work->cursor = work->input->length;
        return;
    }
    size_t step = data[first + 1] == 0 ? 2 : 1;
    add_field_text(work, field->title, data + first + 2, (length - 2) / step, step);
    work->cursor = first + length;
}

/* --- trouble codes and names */

/* A message without room for a single code says nothing about codes. */
static void take_faults(struct work *work, const struct can_field *field)
{
    size_t first = field->first / 8u, length = work->input->length;
    if (length < first + 4) {
        work->missed[ABSENT]++;
        return;
    }
    struct known_origin *known = origin_of(work, field->group);
    struct event_context context = events_of(work);
    if (known)
        event_faults(&context, known, device_of(work), work->input->data + first,
                     (length - first) / 4);
}

static void take_name(struct work *work, const struct can_field *field, uint64_t raw)
{
    (void)field;
    enum device_news news;
    struct device_table *devices = &work->state->devices;
    work->device = device_claim(devices, work->input->at, work->input->source, raw, &news);
    work->news = work->input->source < CAN_ADDRESS_NONE;
}

/* Tells which device has an address, if that is known and was not told yet. */
static void put_device(struct work *work)
{
    if (!work->news)
        return;
    const struct device *device = &work->state->devices.device[work->device];
    if (!device->named)
        return;
    struct device_name name = device_name_split(device->name);
    const char *class = device_class_title(name.class);
    work->text_end = 0;
    add_text(work,
             "NAME %016llX at address %u: maker code %u, unique number %u, class %u%s%s%s, "
             "function %u, instance %u",
             (unsigned long long)device->name, work->input->source, name.manufacturer, name.unique,
             name.class, *class ? " (" : "", class, *class ? ")" : "", name.function,
             name.instance);
    struct known_origin *known = origin_of(work, 0);
    struct event_context context = events_of(work);
    if (known)
        event_text(&context, known, "device", work->text);
}

/* --- the message */

static void take_number(struct work *work, const struct can_field *field, uint64_t raw)
{
    static void (*const take[])(struct work *, const struct can_field *, uint64_t) = {
        [CAN_VALUE] = take_value, [CAN_INSTANCE] = take_instance, [CAN_SELECT] = take_select,
        [CAN_CODE] = take_code,   [CAN_VALID] = take_valid,       [CAN_STATUS] = take_status,
        [CAN_DATE] = take_date,   [CAN_TIME] = take_time,         [CAN_NAME] = take_name,
    };
    if (field->role == CAN_VALUE) /* most are, and this one is spared the call */
        take_value(work, field, raw);
    else
        take[field->role](work, field, raw);
}

static void take_other(struct work *work, const struct can_field *field)
{
    static void (*const take[])(struct work *, const struct can_field *) = {
        [CAN_TEXT] = take_text,
        [CAN_TEXT_COUNTED] = take_counted_text,
        [CAN_FAULTS] = take_faults,
    };
    take[field->role](work, field);
}

/* An instance that is special is counted where one is needed, in origin_of. */
static void take_field(struct work *work, const struct can_field *field)
{
    uint64_t raw = 0;
    if (field->role >= CAN_TEXT) {
        take_other(work, field);
        return;
    }
    enum special special = read_field(work, field, &raw);
    if (special == PLAIN)
        take_number(work, field, raw);
    else if (field->role != CAN_INSTANCE || special == ABSENT)
        work->missed[special]++;
}

static void put_readings(struct work *work)
{
    unsigned total = 0;
    for (unsigned group = 0; group < CAN_GROUPS; group++) {
        size_t count = work->group[group].count;
        struct known_origin *known = count > 0 ? origin_of(work, group) : NULL;
        if (!known)
            continue;
        work->sink->readings(work->sink->self, work->input->at, &known->origin, work->value[group],
                             count);
        total += (unsigned)count;
    }
    if (total > 0)
        tally_add_many(work->tally, REASON_READINGS, work->input->at, total);
}

static void put_utc(struct work *work)
{
    if (!work->has_day || !work->has_time)
        return;
    struct known_origin *known = origin_of(work, work->utc_group);
    if (known)
        work->sink->utc(work->sink->self, work->input->at, &known->origin,
                        work->day * US_PER_DAY + work->time * 100);
}

static void put_text(struct work *work)
{
    struct known_origin *known = work->text_end > 0 ? origin_of(work, 0) : NULL;
    struct event_context context = events_of(work);
    if (known)
        event_text(&context, known, work->input->row->text_event, work->text);
}

static void count_missed(struct work *work)
{
    static const enum reason reasons[SPECIAL_COUNT] = {
        [NOT_AVAILABLE] = REASON_NOT_AVAILABLE,
        [OUT_OF_RANGE] = REASON_OUT_OF_RANGE,
        [RESERVED] = REASON_RESERVED,
        [ABSENT] = REASON_SHORT_MESSAGE,
    };
    for (unsigned i = NOT_AVAILABLE; i < ABSENT; i++)
        if (work->missed[i] > 0)
            tally_add_many(work->tally, reasons[i], work->input->at, work->missed[i]);
    if (work->missed[ABSENT] > 0)
        tally_add(work->tally, REASON_SHORT_MESSAGE, work->input->at);
}

/* Preferred addresses of a second engine and its gearbox are 1 and 4, those of the first 0 and 3
 * (SAE J1939 table of preferred addresses, from memory). Who has another address is with the
 * first. */
static uint8_t engine_of_source(const struct can_state *state, uint8_t home)
{
    return (uint8_t)(state->j1939_engine + (home == 1 || home == 4));
}

/* Field by field, for this runs for every message and most of the struct needs no value. */
static void begin_work(struct work *work, struct can_state *state, const struct can_input *input,
                       const struct sink *sink, struct tally *tally)
{
    work->state = state;
    work->input = input;
    work->sink = sink;
    work->tally = tally;
    work->device = DEVICES_MAX;
    work->instance = NO_INSTANCE;
    work->stop = work->refused = work->news = false;
    memset(work->missed, 0, sizeof work->missed);
    for (unsigned i = 0; i < CAN_GROUPS; i++)
        work->group[i] = (struct work_group){0};
    work->has_day = work->has_time = false;
    work->text_end = work->cursor = 0;
}

void decode_can_message(struct can_state *state, const struct can_input *input,
                        const struct sink *sink, struct tally *tally)
{
    struct work work;
    begin_work(&work, state, input, sink, tally);
    if (input->row->instance_of_source)
        work.instance = engine_of_source(state, state->devices.device[device_of(&work)].home);
    for (unsigned i = 0; i < input->row->count && !work.stop; i++)
        take_field(&work, &input->row->fields[i]);
    put_readings(&work);
    put_utc(&work);
    put_text(&work);
    put_device(&work);
    count_missed(&work);
}
