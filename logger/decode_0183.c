/* decode_0183.c - sentences become readings, as the tables say. */
#include "decode.h"

#include <assert.h>
#include <string.h>

#include "fields_0183.h"
#include "sentences_0183.h"
#include "transducers.h"

#define ADDRESS_LENGTH 5 /* two characters of the talker, three of the formatter */
#define US_PER_DAY INT64_C(86400000000)

/* Everything one sentence needs on its way. */
struct decoding {
    int64_t at;
    const struct sentence_row *row;
    const struct fields *fields;
    const struct sink *sink;
    struct tally *tally;
    struct origin origin;
    bool valid;     /* the sender stands by the values */
    bool cut_short; /* a field that should be there was not */
    char choice;    /* letter of the `select` field */
    size_t count;
    struct value values[VALUES_MAX];
};

static void count(const struct decoding *d, enum reason reason)
{
    tally_add(d->tally, reason, d->at);
}

/* --- single fields ---------------------------------------------------------------------------- */

/* A field by its number; an empty one beyond the end of the sentence. */
static struct field field_at(const struct decoding *d, unsigned number)
{
    return number < d->fields->count ? d->fields->list[number] : (struct field){"", 0};
}

static bool is_one_of(char letter, const char *letters)
{
    return letter != '\0' && strchr(letters, letter) != NULL;
}

static enum reason read_form(enum field_form form, struct field field, double *value)
{
    if (form == FORM_POSITION)
        return field_position(field, value);
    enum reason why = field_number(field, value);
    return why == FIELD_READ && form == FORM_MAGNITUDE && *value < 0 ? REASON_OUT_OF_RANGE : why;
}

static const struct unit_letter *find_letter(const struct unit_letter *units, char letter)
{
    for (; units->scale != 0; units++)
        if (units->letter == letter)
            return units;
    return NULL;
}

/* Reads one quantity into the unit of its channel. */
static enum reason read_row(const struct decoding *d, const struct field_row *row, double *value)
{
    if (row->at >= d->fields->count)
        return REASON_SHORT_MESSAGE;
    double sent;
    enum reason why = read_form(row->form, d->fields->list[row->at], &sent);
    if (why != FIELD_READ)
        return why;
    char letter = row->letter_at > 0 ? field_letter(field_at(d, row->letter_at)) : '\0';
    const struct unit_letter *unit = find_letter(row->units, letter);
    if (!unit)
        return REASON_UNKNOWN_UNIT;
    const struct channel *channel = channel_get(row->channel);
    *value = sent * unit->scale + unit->offset;
    return *value < channel->low || *value > channel->high ? REASON_OUT_OF_RANGE : FIELD_READ;
}

/* --- all fields of a sentence ----------------------------------------------------------------- */

static bool was_taken(const struct decoding *d, enum channel_id channel)
{
    return d->count > 0 && d->values[d->count - 1].channel == channel;
}

static bool has_other_form(const struct decoding *d, const struct field_row *row)
{
    return row + 1 < d->row->fields + d->row->count && row[1].otherwise;
}

/* Counts why a row gave nothing. What is merely absent is left to the other forms below the row. */
static void count_refused(struct decoding *d, const struct field_row *row, enum reason why)
{
    if (why != REASON_NOT_AVAILABLE && why != REASON_SHORT_MESSAGE)
        count(d, why);
    else if (has_other_form(d, row) || (why == REASON_SHORT_MESSAGE && row->optional))
        return;
    else if (why == REASON_SHORT_MESSAGE)
        d->cut_short = true;
    else
        count(d, why);
}

static void take_row(struct decoding *d, const struct field_row *row)
{
    double value;
    if (row->choice != '\0' && row->choice != d->choice)
        return;
    if (!d->valid && !row->always)
        return;
    if (row->otherwise && was_taken(d, row->channel))
        return;
    enum reason why = read_row(d, row, &value);
    if (why == FIELD_READ)
        d->values[d->count++] = (struct value){(uint16_t)row->channel, value};
    else
        count_refused(d, row, why);
}

static void take_fields(struct decoding *d)
{
    assert(d->row->count <= VALUES_MAX);
    for (size_t i = 0; i < d->row->count; i++)
        take_row(d, &d->row->fields[i]);
    if (d->cut_short)
        count(d, REASON_SHORT_MESSAGE);
    if (d->count == 0)
        return;
    tally_add_many(d->tally, REASON_READINGS, d->at, d->count);
    d->sink->readings(d->sink->self, d->at, &d->origin, d->values, d->count);
}

/* --- what rules the whole sentence ------------------------------------------------------------ */

/* Whether status and mode say that the sender stands by the values, or why not. */
static enum reason read_status(const struct decoding *d)
{
    const struct sentence_row *row = d->row;
    struct field status = field_at(d, row->status);
    if (row->status >= d->fields->count)
        return REASON_SHORT_MESSAGE;
    if (row->status > 0 && status.length == 0)
        return REASON_NOT_AVAILABLE;
    if (row->status > 0 && !is_one_of(field_letter(status), row->status_good))
        return REASON_INVALID_STATUS;
    if (row->mode > 0 && is_one_of(field_letter(field_at(d, row->mode)), row->mode_bad))
        return REASON_INVALID_STATUS;
    return FIELD_READ;
}

static void judge_status(struct decoding *d)
{
    enum reason why = read_status(d);
    d->valid = why == FIELD_READ;
    if (why == REASON_SHORT_MESSAGE)
        d->cut_short = true;
    else if (!d->valid)
        count(d, why);
}

/* The letter that says what the numbers are. False, and counted, if it says nothing. */
static bool take_choice(struct decoding *d)
{
    if (d->row->select == 0)
        return true;
    struct field field = field_at(d, d->row->select);
    d->choice = field_letter(field);
    if (is_one_of(d->choice, d->row->choices))
        return true;
    count(d, field.length == 0 ? REASON_NOT_AVAILABLE : REASON_RESERVED);
    return false;
}

static bool take_instance(struct decoding *d, int first)
{
    if (d->row->instance == 0)
        return true;
    unsigned number;
    enum reason why = field_count(field_at(d, d->row->instance), &number);
    if (why != FIELD_READ) {
        count(d, why);
        return false;
    }
    int64_t instance = (int64_t)number - (first > 0 ? first : 0);
    if (instance < 0 || instance >= INSTANCE_MAX) {
        count(d, REASON_BAD_INSTANCE);
        return false;
    }
    d->origin.instance = (uint8_t)instance;
    return true;
}

static enum reason read_date(const struct decoding *d, int64_t *days)
{
    const struct field parts[3] = {field_at(d, d->row->day), field_at(d, d->row->day + 1U),
                                   field_at(d, d->row->day + 2U)};
    return d->row->day > 0 ? field_day_month_year(parts, days)
                           : field_date(field_at(d, d->row->date), days);
}

/* Time and date. A sentence that states an impossible one is not believed at all: false. */
static bool take_utc(struct decoding *d)
{
    if (d->row->time == 0)
        return true;
    bool dated = d->row->date > 0 || d->row->day > 0;
    int64_t us = 0, days = 0;
    enum reason time = field_time(field_at(d, d->row->time), &us);
    enum reason date = dated ? read_date(d, &days) : REASON_NOT_AVAILABLE;
    enum reason worse = time != FIELD_READ && time != REASON_NOT_AVAILABLE ? time : date;
    if (worse != FIELD_READ && worse != REASON_NOT_AVAILABLE) {
        count(d, worse);
        return false;
    }
    if (dated && (time == REASON_NOT_AVAILABLE || date == REASON_NOT_AVAILABLE))
        count(d, REASON_NOT_AVAILABLE);
    else if (dated)
        d->sink->utc(d->sink->self, d->at, &d->origin, days * US_PER_DAY + us);
    return true;
}

static void decode_fields(struct decoding *d, int rpm_first_engine)
{
    judge_status(d);
    if (d->valid && !(take_choice(d) && take_instance(d, rpm_first_engine) && take_utc(d)))
        return;
    take_fields(d);
}

/* --- the sentence ----------------------------------------------------------------------------- */

static bool is_talker(const char *text)
{
    bool first = text[0] >= 'A' && text[0] <= 'Z' && text[0] != 'P';
    return first && ((text[1] >= 'A' && text[1] <= 'Z') || (text[1] >= '0' && text[1] <= '9'));
}

/* The row of the sentence, or NULL and counted. Proprietary sentences begin with P, queries end in
 * Q: neither is in the table. */
static const struct sentence_row *find_row(const struct sentence *sentence, struct field address,
                                           int64_t at, struct tally *tally)
{
    const struct sentence_row *row = NULL;
    if (address.length == ADDRESS_LENGTH && is_talker(address.text) && !sentence->encapsulated)
        row = sentence_row_find(address.text + 2);
    if (!row)
        tally_add(tally, address.length < ADDRESS_LENGTH ? REASON_SHORT_MESSAGE : REASON_NOT_OURS,
                  at);
    return row;
}

static void fill_origin(struct origin *origin, const struct sentence_row *row, unsigned input,
                        const struct sentence *sentence)
{
    memset(origin, 0, sizeof *origin);
    origin->protocol = PROTOCOL_NMEA0183;
    origin->place = (uint8_t)row->place;
    origin->input = (uint8_t)input;
    memcpy(origin->message, row->formatter, 3);
    size_t length = strnlen(sentence->source, sizeof sentence->source - 1);
    memcpy(origin->source, sentence->source, length);
    if (length > 0)
        origin->source[length++] = '/';
    memcpy(origin->source + length, sentence->text, 2);
}

void decode_sentence(const struct transducer_map *map, int64_t at, unsigned input,
                     const struct sentence *sentence, const struct sink *sink, struct tally *tally)
{
    struct fields fields;
    fields_split(sentence->text, sentence->length, &fields);
    const struct sentence_row *row = find_row(sentence, fields.list[0], at, tally);
    if (!row)
        return;
    struct decoding d;
    d.at = at;
    d.row = row;
    d.fields = &fields;
    d.sink = sink;
    d.tally = tally;
    d.cut_short = false;
    d.choice = '\0';
    d.count = 0;
    fill_origin(&d.origin, row, input, sentence);
    if (row->groups)
        transducers_decode(map, at, &fields, &d.origin, sink, tally);
    else
        decode_fields(&d, map->rpm_first_engine);
}
