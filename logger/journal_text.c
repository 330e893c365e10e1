/* journal_text.c - see journal_text.h. */
#include "journal_text.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "run/rest.h"

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

/* "# WORD " and the text with its escapes. */
static size_t put_escaped(char *to, size_t room, const char *word, const char *text)
{
    size_t length = put(to, room, "# %s ", word);
    for (; length > 0 && *text; text++) {
        const char *escaped = *text == '\\' ? "\\\\" : *text == '\n' ? "\\n" : "\\r";
        bool plain = *text != '\\' && *text != '\n' && *text != '\r';
        if (length + 3 >= room)
            return 0;
        if (plain)
            to[length++] = *text;
        else
            length += put(to + length, room - length, "%s", escaped);
    }
    if (length == 0 || length + 1 >= room)
        return 0;
    to[length++] = '\n';
    return length;
}

size_t journal_text_version(char *to, size_t room, const char *software)
{
    return put(to, room, "# journal %d %s\n", JOURNAL_VERSION, software);
}

size_t journal_text_run(char *to, size_t room, const char *name)
{
    return put_escaped(to, room, "run", name);
}

size_t journal_text_id(char *to, size_t room, const char *run_id)
{
    return put(to, room, "# id %s\n", run_id);
}

size_t journal_text_set(char *to, size_t room, const char *assignment)
{
    return put_escaped(to, room, "set", assignment);
}

size_t journal_text_count(char *to, size_t room, int64_t start_unix_us,
                          const struct run_input *input, enum reason reason, uint64_t count,
                          int64_t first, int64_t last)
{
    return put(to, room, "# count %s %s %" PRIu64 " %" PRId64 " %" PRId64 "\n", input->label,
               reason_key(reason), count, start_unix_us + first / NS_PER_US,
               start_unix_us + last / NS_PER_US);
}

size_t journal_text_date(char *to, size_t room, int64_t start_unix_us, enum clock_source clock)
{
    return put(to, room, "# date %" PRId64 " %s\n", start_unix_us, clock_source_key(clock));
}

size_t journal_text_closing(char *to, size_t room, const struct journal_closing *closing)
{
    return put(to, room, "# block %" PRIu64 " %zu %" PRId64 " %" PRId64 " ", closing->number,
               closing->length, closing->from_us, closing->until_us);
}

size_t journal_text_crc(char *to, size_t room, uint32_t crc)
{
    return put(to, room, "%08" PRIX32 "\n", crc);
}

/* --- reading */

static bool take_rest(struct rest *rest, struct journal_text *out)
{
    out->text = rest->at;
    out->length = (size_t)(rest->end - rest->at);
    return true;
}

static bool parse_format(struct rest rest, struct journal_text *out)
{
    return rest_text(&rest, "# journal ") && rest_count(&rest, &out->version) &&
           rest_text(&rest, " ") && take_rest(&rest, out);
}

static bool parse_run(struct rest rest, struct journal_text *out)
{
    return rest_text(&rest, "# run ") && take_rest(&rest, out);
}

static bool parse_id(struct rest rest, struct journal_text *out)
{
    return rest_text(&rest, "# id ") && take_rest(&rest, out);
}

static bool parse_set(struct rest rest, struct journal_text *out)
{
    return rest_text(&rest, "# set ") && take_rest(&rest, out);
}

static enum reason find_reason(const char *text, size_t length)
{
    char key[64];
    if (length >= sizeof key)
        return REASON_COUNT;
    memcpy(key, text, length);
    key[length] = '\0';
    return reason_find(key);
}

static bool parse_count(struct rest rest, struct journal_text *out)
{
    const char *reason;
    size_t length;
    int64_t count;
    if (!rest_text(&rest, "# count ") || !rest_until(&rest, ' ', &out->label, &out->label_length) ||
        !rest_until(&rest, ' ', &reason, &length) || !rest_count(&rest, &count) ||
        !rest_text(&rest, " ") || !rest_signed(&rest, &out->first_us) || !rest_text(&rest, " ") ||
        !rest_signed(&rest, &out->last_us) || rest.at != rest.end)
        return false;
    out->reason = find_reason(reason, length);
    out->count = (uint64_t)count;
    return true;
}

static bool parse_date(struct rest rest, struct journal_text *out)
{
    if (!rest_text(&rest, "# date ") || !rest_signed(&rest, &out->start_us) ||
        !rest_text(&rest, " "))
        return false;
    for (int clock = CLOCK_SYSTEM; clock <= CLOCK_NOMINAL; clock++) {
        struct rest try = rest;
        out->clock = (enum clock_source)clock;
        if (rest_text(&try, clock_source_key(out->clock)) && try.at == try.end)
            return true;
    }
    return false;
}

static bool take_crc(struct rest *rest, uint32_t *crc)
{
    static const char digits[] = "0123456789ABCDEF";
    uint32_t value = 0;
    for (int i = 0; i < 8; i++, rest->at++) {
        const char *digit = rest->at < rest->end ? memchr(digits, *rest->at, 16) : NULL;
        if (!digit)
            return false;
        value = value << 4 | (uint32_t)(digit - digits);
    }
    *crc = value;
    return rest->at == rest->end;
}

/* One form only, so that no byte of it can be changed unnoticed: what was read is written again. */
static bool parse_closing(struct rest rest, struct journal_text *out)
{
    struct journal_closing *closing = &out->closing;
    int64_t number, length;
    const char *line = rest.at;
    char again[JOURNAL_CLOSING_MAX];
    if (!rest_text(&rest, "# block ") || !rest_count(&rest, &number) || !rest_text(&rest, " ") ||
        !rest_count(&rest, &length) || !rest_text(&rest, " ") ||
        !rest_signed(&rest, &closing->from_us) || !rest_text(&rest, " ") ||
        !rest_signed(&rest, &closing->until_us) || !rest_text(&rest, " ") ||
        length > (int64_t)JOURNAL_BODY_MAX)
        return false;
    closing->number = (uint64_t)number;
    closing->length = (size_t)length;
    size_t written = journal_text_closing(again, sizeof again, closing);
    return written == (size_t)(rest.at - line) && memcmp(again, line, written) == 0 &&
           take_crc(&rest, &closing->crc);
}

enum journal_line journal_text_parse(const char *line, size_t length, struct journal_text *out)
{
    static const struct form {
        enum journal_line kind;
        bool (*parse)(struct rest rest, struct journal_text *out);
        char third;
    } forms[] = {
        {JOURNAL_CLOSING, parse_closing, 'b'}, {JOURNAL_COUNT, parse_count, 'c'},
        {JOURNAL_SET, parse_set, 's'},         {JOURNAL_RUN, parse_run, 'r'},
        {JOURNAL_FORMAT, parse_format, 'j'},   {JOURNAL_DATE, parse_date, 'd'},
        {JOURNAL_ID, parse_id, 'i'},
    };
    out->kind = JOURNAL_CAPTURE;
    if (length < 3 || line[0] != '#')
        return JOURNAL_CAPTURE;
    for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++) {
        if (forms[i].third != line[2])
            continue;
        memset(out, 0, sizeof *out);
        if (forms[i].parse((struct rest){line, line + length}, out))
            out->kind = forms[i].kind;
    }
    return out->kind;
}

bool journal_text_unescape(char *to, size_t room, const char *text, size_t length)
{
    size_t written = 0;
    for (size_t i = 0; i < length; i++) {
        char c = text[i];
        if (c == '\\' && i + 1 == length)
            return false;
        if (c == '\\') {
            c = text[++i];
            if (c != '\\' && c != 'n' && c != 'r')
                return false;
            c = c == 'n' ? '\n' : c == 'r' ? '\r' : '\\';
        }
        if (written + 1 >= room)
            return false;
        to[written++] = c;
    }
    if (room == 0)
        return false;
    to[written] = '\0';
    return true;
}
