/* capture_text.c - see capture_text.h. */
#include "capture_text.h"

#include "rest.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define US_PER_S INT64_C(1000000)
#define US_PER_MS INT64_C(1000)

/* --- writing */

/* snprintf that answers 0 if the text does not fit. */
__attribute__((format(printf, 3, 4))) static size_t put(char *to, size_t room, const char *format,
                                                        ...)
{
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(to, room, format, arguments);
    va_end(arguments);
    return length < 0 || (size_t)length >= room ? 0 : (size_t)length;
}

size_t capture_text_start(char *to, size_t room, int64_t start_unix_us, enum clock_source clock)
{
    return put(to, room, "# searun capture %d start=%" PRId64 " clock=%s\n", CAPTURE_TEXT_VERSION,
               start_unix_us, clock_source_key(clock));
}

size_t capture_text_input(char *to, size_t room, const struct run_input *input)
{
    return put(to, room, "# input %s %s\n", input->label, input->text);
}

/* Words of people and of the system, on one line. */
static void put_words(char *to, size_t room, const char *words)
{
    size_t i = 0;
    for (; words[i] && i < room - 1; i++)
        to[i] = (unsigned char)words[i] < 0x20 || words[i] == 0x7F ? ' ' : words[i];
    to[i] = '\0';
}

size_t capture_text_gap(char *to, size_t room, int64_t start_unix_us, const struct run_input *input,
                        int64_t from, int64_t until, uint64_t lost, const char *why)
{
    char words[512];
    put_words(words, sizeof words, why);
    return put(to, room, "# gap %s %" PRId64 " %" PRId64 " %" PRIu64 " %s\n", input->label,
               start_unix_us + from / NS_PER_US, start_unix_us + until / NS_PER_US, lost, words);
}

size_t capture_text_event(char *to, size_t room, int64_t start_unix_us, int64_t at, const char *key,
                          const char *text)
{
    char words[512];
    if (!*key || strcspn(key, " \r\n") != strlen(key))
        return 0;
    put_words(words, sizeof words, text);
    return put(to, room, "# event %" PRId64 " %s %s\n", start_unix_us + at / NS_PER_US, key, words);
}

size_t capture_text_end(char *to, size_t room, int64_t end_unix_us)
{
    return put(to, room, "# end %" PRId64 "\n", end_unix_us);
}

/* The checksum of a TAG block: all characters between its backslashes and before '*', XORed. */
static unsigned tag_checksum(const char *text, size_t length)
{
    unsigned sum = 0;
    for (size_t i = 0; i < length; i++)
        sum ^= (unsigned char)text[i];
    return sum;
}

static size_t put_line(char *to, size_t room, int64_t unix_ms, const char *label,
                       const struct raw_message *message)
{
    char tag[80];
    size_t length = put(tag, sizeof tag, "s:%s,c:%" PRId64, label, unix_ms);
    if (length == 0)
        return 0;
    size_t head = put(to, room, "\\%s*%02X\\", tag, tag_checksum(tag, length));
    if (head == 0 || head + message->length + 1 > room)
        return 0;
    memcpy(to + head, message->bytes, message->length);
    to[head + message->length] = '\n';
    return head + message->length + 1;
}

static size_t put_frame(char *to, size_t room, int64_t unix_us, const char *label,
                        const struct raw_message *message)
{
    uint32_t id = message->can_id;
    bool wide = (id & (CAPTURE_CAN_EXTENDED | CAPTURE_CAN_ERROR)) != 0;
    /* can-utils writes the error flag as part of the number, the other two flags not at all. */
    uint32_t shown = id & ~(CAPTURE_CAN_EXTENDED | CAPTURE_CAN_REMOTE);
    if (unix_us < 0 || message->length > 8)
        return 0;
    char data[20] = "R";
    if (id & CAPTURE_CAN_REMOTE)
        put(data, sizeof data, message->length > 0 ? "R%zu" : "R", message->length);
    else
        data[0] = '\0';
    for (size_t i = 0; !(id & CAPTURE_CAN_REMOTE) && i < message->length; i++)
        put(data + 2 * i, sizeof data - 2 * i, "%02X", (unsigned)message->bytes[i]);
    return put(to, room, "(%010" PRId64 ".%06" PRId64 ") %s %0*" PRIX32 "#%s\n", unix_us / US_PER_S,
               unix_us % US_PER_S, label, wide ? 8 : 3, shown, data);
}

size_t capture_text_message(char *to, size_t room, int64_t start_unix_us,
                            const struct run_input *input, const struct raw_message *message)
{
    int64_t unix_us = start_unix_us + message->at / NS_PER_US;
    if (message->is_can)
        return put_frame(to, room, unix_us, input->label, message);
    return put_line(to, room, unix_us / US_PER_MS, input->label, message);
}

/* --- reading */

/* The value of a hexadecimal digit plus one, 0 for what is none. A table, because which digits come
 * cannot be foreseen: branches cost twice the time. */
static const uint8_t hex_digits[256] = {
    ['0'] = 1,  ['1'] = 2,  ['2'] = 3,  ['3'] = 4,  ['4'] = 5,  ['5'] = 6,  ['6'] = 7,  ['7'] = 8,
    ['8'] = 9,  ['9'] = 10, ['A'] = 11, ['B'] = 12, ['C'] = 13, ['D'] = 14, ['E'] = 15, ['F'] = 16,
    ['a'] = 11, ['b'] = 12, ['c'] = 13, ['d'] = 14, ['e'] = 15, ['f'] = 16,
};

static int hex_digit(char c)
{
    return hex_digits[(unsigned char)c] - 1;
}

static bool take_hex_byte(struct rest *rest, unsigned *out)
{
    if (rest->end - rest->at < 2)
        return false;
    int high = hex_digit(rest->at[0]), low = hex_digit(rest->at[1]);
    if (high < 0 || low < 0)
        return false;
    *out = (unsigned)(high << 4 | low);
    rest->at += 2;
    return true;
}

static bool is_believable(int64_t unix_s)
{
    return unix_s > -CAPTURE_UNIX_S_MAX && unix_s < CAPTURE_UNIX_S_MAX;
}

/* A date in microseconds. */
static bool take_date(struct rest *rest, int64_t *unix_us)
{
    return rest_signed(rest, unix_us) && is_believable(*unix_us / US_PER_S);
}

/* "1795601700.123456" as microseconds; digits beyond the sixth are dropped. */
static bool take_seconds(struct rest *rest, int64_t *unix_us)
{
    int64_t seconds, fraction = 0, weight = US_PER_S / 10;
    if (!rest_count(rest, &seconds) || seconds >= CAPTURE_UNIX_S_MAX)
        return false;
    if (rest_text(rest, "."))
        for (; rest->at < rest->end && rest_is_digit(*rest->at); rest->at++, weight /= 10)
            fraction += weight * (*rest->at - '0');
    *unix_us = seconds * US_PER_S + fraction;
    return true;
}

#define CAN_ID_11_BIT 0x7FFU
#define CAN_ID_29_BIT 0x1FFFFFFFU

/* The id of a frame. can-utils writes three digits for 11-bit ids and eight for all others. */
static bool take_id(struct rest *rest, uint32_t *id)
{
    const char *text;
    size_t length;
    if (!rest_until(rest, '#', &text, &length) || (length != 3 && length != 8))
        return false;
    uint32_t value = 0;
    for (size_t i = 0; i < length; i++) {
        int digit = hex_digit(text[i]);
        if (digit < 0)
            return false;
        value = value << 4 | (uint32_t)digit;
    }
    if (value > (length == 3 ? CAN_ID_11_BIT : CAPTURE_CAN_ERROR | CAN_ID_29_BIT))
        return false;
    if (length == 8 && !(value & CAPTURE_CAN_ERROR))
        value |= CAPTURE_CAN_EXTENDED;
    *id = value;
    return true;
}

static bool take_remote(struct rest *rest, struct capture_text *out)
{
    if (!rest_text(rest, "R"))
        return false;
    out->id |= CAPTURE_CAN_REMOTE;
    int64_t length = 0;
    rest_count(rest, &length);
    out->data_length = length <= 8 ? (unsigned)length : 8;
    return true;
}

static void take_bytes(struct rest *rest, struct capture_text *out)
{
    unsigned byte;
    while (out->data_length < 8 && take_hex_byte(rest, &byte)) {
        out->data[out->data_length++] = (uint8_t)byte;
        rest_text(rest, ".");
    }
}

static bool take_data(struct rest *rest, struct capture_text *out)
{
    if (!take_remote(rest, out))
        take_bytes(rest, out);
    /* Newer candump logs add " R" or " T" for received and sent. */
    if (rest_text(rest, " ") && !rest_text(rest, "R"))
        rest_text(rest, "T");
    return rest->at == rest->end;
}

static bool parse_frame(struct rest rest, struct capture_text *out)
{
    return rest_text(&rest, "(") && take_seconds(&rest, &out->unix_us) && rest_text(&rest, ") ") &&
           rest_until(&rest, ' ', &out->label, &out->label_length) && take_id(&rest, &out->id) &&
           take_data(&rest, out);
}

/* A line of ours: exactly the TAG block that put_line writes, its checksum included. */
static bool parse_line(struct rest rest, struct capture_text *out)
{
    int64_t unix_ms;
    unsigned sum;
    if (!rest_text(&rest, "\\"))
        return false;
    const char *tag = rest.at;
    if (!rest_text(&rest, "s:") || !rest_until(&rest, ',', &out->label, &out->label_length) ||
        !rest_text(&rest, "c:") || !rest_signed(&rest, &unix_ms))
        return false;
    size_t length = (size_t)(rest.at - tag);
    if (!rest_text(&rest, "*") || !take_hex_byte(&rest, &sum) || !rest_text(&rest, "\\") ||
        sum != tag_checksum(tag, length) || !is_believable(unix_ms / 1000))
        return false;
    out->unix_us = unix_ms * US_PER_MS;
    out->bytes = rest.at;
    out->length = (size_t)(rest.end - rest.at);
    return true;
}

static enum clock_source find_clock(struct rest rest)
{
    for (int clock = CLOCK_SYSTEM; clock <= CLOCK_NOMINAL; clock++) {
        struct rest try = rest;
        if (rest_text(&try, clock_source_key((enum clock_source)clock)) && try.at == try.end)
            return (enum clock_source)clock;
    }
    return CLOCK_CAPTURE;
}

static bool parse_start(struct rest rest, struct capture_text *out)
{
    int64_t version;
    if (!rest_text(&rest, "# searun capture ") || !rest_count(&rest, &version) ||
        version != CAPTURE_TEXT_VERSION || !rest_text(&rest, " start=") ||
        !take_date(&rest, &out->unix_us))
        return false;
    out->clock = rest_text(&rest, " clock=") ? find_clock(rest) : CLOCK_CAPTURE;
    return true;
}

static bool parse_input(struct rest rest, struct capture_text *out)
{
    if (!rest_text(&rest, "# input ") || !rest_until(&rest, ' ', &out->label, &out->label_length))
        return false;
    out->bytes = rest.at;
    out->length = (size_t)(rest.end - rest.at);
    return true;
}

static bool parse_gap(struct rest rest, struct capture_text *out)
{
    int64_t lost;
    if (!rest_text(&rest, "# gap ") || !rest_until(&rest, ' ', &out->label, &out->label_length) ||
        !take_date(&rest, &out->unix_us) || !rest_text(&rest, " ") ||
        !take_date(&rest, &out->until_unix_us) || !rest_text(&rest, " ") ||
        !rest_count(&rest, &lost) || !rest_text(&rest, " "))
        return false;
    out->lost = (uint64_t)lost;
    out->bytes = rest.at;
    out->length = (size_t)(rest.end - rest.at);
    return true;
}

static bool parse_event(struct rest rest, struct capture_text *out)
{
    if (!rest_text(&rest, "# event ") || !take_date(&rest, &out->unix_us) ||
        !rest_text(&rest, " ") || !rest_until(&rest, ' ', &out->label, &out->label_length))
        return false;
    out->bytes = rest.at;
    out->length = (size_t)(rest.end - rest.at);
    return true;
}

static bool parse_end(struct rest rest, struct capture_text *out)
{
    return rest_text(&rest, "# end ") && take_date(&rest, &out->unix_us) && rest.at == rest.end;
}

static bool parse_comment(struct rest rest, struct capture_text *out)
{
    (void)out;
    return rest_text(&rest, "#");
}

enum capture_text_kind capture_text_parse(const char *line, size_t length, struct capture_text *out)
{
    static const struct form {
        enum capture_text_kind kind;
        bool (*parse)(struct rest rest, struct capture_text *out);
        char first;
    } forms[] = {
        {CAPTURE_LINE, parse_line, '\\'},  {CAPTURE_FRAME, parse_frame, '('},
        {CAPTURE_START, parse_start, '#'}, {CAPTURE_INPUT, parse_input, '#'},
        {CAPTURE_GAP, parse_gap, '#'},     {CAPTURE_EVENT, parse_event, '#'},
        {CAPTURE_END, parse_end, '#'},     {CAPTURE_COMMENT, parse_comment, '#'},
    };
    for (size_t i = 0; length > 0 && i < sizeof forms / sizeof forms[0]; i++) {
        if (forms[i].first != line[0])
            continue;
        memset(out, 0, sizeof *out);
        if (forms[i].parse((struct rest){line, line + length}, out)) {
            out->kind = forms[i].kind;
            return out->kind;
        }
    }
    memset(out, 0, sizeof *out);
    return CAPTURE_OTHER;
}
