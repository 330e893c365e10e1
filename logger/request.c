/* request.c - see request.h. */
#include "request.h"

#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "facts.h"

const struct request_row request_rows[REQUEST_KIND_COUNT] = {
    [REQUEST_MARK] = {"mark", "TEXT", "keep TEXT as an event in the run, at this moment"},
    [REQUEST_NOTE] = {"note", "KEY=VALUE",
                      "a fact of the run, as in [run] of the configuration: sea_state=slight"},
    [REQUEST_PURPOSE] = {"purpose", "PURPOSE",
                         "\"before service\", \"after service\" or \"other\": of this run, or of "
                         "the next if there is none"},
    [REQUEST_START] = {"start", "", "begin a run now, without waiting for an engine"},
    [REQUEST_STOP] = {"stop", "", "end the run"},
    [REQUEST_STATUS] = {"status", "", "tell how it goes: inputs, last values, run, space, losses"},
};

enum request_kind request_find(const char *name, size_t length)
{
    for (int kind = 0; kind < REQUEST_KIND_COUNT; kind++)
        if (strlen(request_rows[kind].name) == length &&
            memcmp(request_rows[kind].name, name, length) == 0)
            return (enum request_kind)kind;
    return REQUEST_KIND_COUNT;
}

static enum status unknown_request(struct complaint *complaint)
{
    return complain(complaint, STATUS_BAD_USAGE,
                    "this is not a request; allowed: mark TEXT, note KEY=VALUE, purpose PURPOSE, "
                    "start, stop, status");
}

/* --- texts */

static uint32_t code_point(const char *text, size_t length)
{
    static const unsigned char first_bits[] = {0, 0x7F, 0x1F, 0x0F, 0x07};
    uint32_t code = (unsigned char)text[0] & first_bits[length];
    for (size_t i = 1; i < length; i++)
        code = code << 6 | ((unsigned char)text[i] & 0x3F);
    return code;
}

/* Controls, line separators, and what turns the direction of writing, so that a text could look
 * like another one. Source of the ranges: Unicode, general categories Cc, Zl, Zp, and UAX 9 for
 * the explicit directional characters. */
static bool is_harmful(uint32_t code)
{
    return code < 0x20 || (code >= 0x7F && code < 0xA0) || code == 0x2028 || code == 0x2029 ||
           (code >= 0x202A && code <= 0x202E) || (code >= 0x2066 && code <= 0x2069) ||
           code == 0x200E || code == 0x200F || code == 0x061C;
}

static enum status check_text(const char *text, const char *what, struct complaint *complaint)
{
    for (const char *at = text; *at;) {
        size_t length = utf8_length(at);
        if (length == 0)
            return complain(complaint, STATUS_BAD_USAGE, "the %s is not UTF-8 text", what);
        if (is_harmful(code_point(at, length)))
            return complain(complaint, STATUS_BAD_USAGE,
                            "the %s holds a line break or another control character; write it on "
                            "one line",
                            what);
        at += length;
    }
    return STATUS_OK;
}

static void strip(const char **text, size_t *length)
{
    for (; *length > 0 && **text == ' '; (*text)++)
        (*length)--;
    while (*length > 0 && (*text)[*length - 1] == ' ')
        (*length)--;
}

static enum status take_text(const char *text, size_t length, const char *what, struct request *out,
                             struct complaint *complaint)
{
    strip(&text, &length);
    if (length == 0)
        return complain(complaint, STATUS_BAD_USAGE, "the %s is empty", what);
    if (length > REQUEST_TEXT_MAX)
        return complain(complaint, STATUS_BAD_USAGE,
                        "the %s is %zu bytes long; at most %d are kept, please shorten it", what,
                        length, REQUEST_TEXT_MAX);
    memcpy(out->text, text, length);
    out->text[length] = '\0';
    return check_text(out->text, what, complaint);
}

/* --- requests; each reads what stands behind its name */

static void list_facts(char *list, size_t room)
{
    list[0] = '\0';
    for (size_t i = 0; i < fact_row_count; i++) {
        size_t length = strlen(list);
        if (fact_rows[i].section != FACT_RUN)
            continue;
        snprintf(list + length, room - length, "%s%s", length > 0 ? ", " : "", fact_rows[i].key);
    }
}

static enum status unknown_fact(size_t length, struct complaint *complaint)
{
    char allowed[512];
    list_facts(allowed, sizeof allowed);
    return complain(complaint, STATUS_BAD_USAGE,
                    "%s; facts of a run are: %s. Boat and engines are in the configuration",
                    length == 0 ? "KEY=VALUE is wanted behind note" : "this is no fact of a run",
                    allowed);
}

/* Whether the value can be what it is said to be: tried on an empty list of facts. */
static enum status check_fact(const struct request *request, struct complaint *complaint)
{
    struct facts facts = {0};
    enum status status = facts_set(&facts, FACT_RUN, 0, request->key, request->text, complaint);
    facts_free(&facts);
    return status;
}

static enum status take_fact(const char *key, const char *value, size_t length, struct request *out,
                             struct complaint *complaint)
{
    out->key = fact_row_find(FACT_RUN, key)->key;
    enum status status = take_text(value, length, key, out, complaint);
    return status == STATUS_OK ? check_fact(out, complaint) : status;
}

static enum status take_note(const char *rest, size_t length, struct request *out,
                             struct complaint *complaint)
{
    char key[32];
    strip(&rest, &length);
    const char *equals = length > 0 ? memchr(rest, '=', length) : NULL;
    const char *name = rest;
    size_t name_length = equals ? (size_t)(equals - rest) : 0;
    strip(&name, &name_length);
    if (name_length == 0 || name_length >= sizeof key || memchr(name, '\0', name_length))
        return unknown_fact(name_length, complaint);
    memcpy(key, name, name_length);
    key[name_length] = '\0';
    if (!fact_row_find(FACT_RUN, key))
        return unknown_fact(name_length, complaint);
    return take_fact(key, equals + 1, length - (size_t)(equals + 1 - rest), out, complaint);
}

static enum status take_nothing(const char *rest, size_t length, const char *name,
                                struct complaint *complaint)
{
    strip(&rest, &length);
    if (length == 0)
        return STATUS_OK;
    return complain(complaint, STATUS_BAD_USAGE, "nothing may stand behind %s", name);
}

static enum status take_status(const char *rest, size_t length, struct request *out,
                               struct complaint *complaint)
{
    strip(&rest, &length);
    out->json = length == 4 && memcmp(rest, "json", 4) == 0;
    if (length == 0 || out->json)
        return STATUS_OK;
    return complain(complaint, STATUS_BAD_USAGE, "only \"json\" may stand behind status");
}

static enum status take_rest(const char *rest, size_t length, struct request *out,
                             struct complaint *complaint)
{
    switch (out->kind) {
    case REQUEST_MARK:
        return take_text(rest, length, "mark", out, complaint);
    case REQUEST_NOTE:
        return take_note(rest, length, out, complaint);
    case REQUEST_PURPOSE:
        return take_fact("purpose", rest, length, out, complaint);
    case REQUEST_STATUS:
        return take_status(rest, length, out, complaint);
    case REQUEST_START:
    case REQUEST_STOP:
    case REQUEST_KIND_COUNT:
        break;
    }
    return take_nothing(rest, length, request_rows[out->kind].name, complaint);
}

enum status request_parse(const char *line, size_t length, struct request *out,
                          struct complaint *complaint)
{
    memset(out, 0, sizeof *out);
    if (length > REQUEST_LINE_MAX)
        return complain(complaint, STATUS_BAD_USAGE,
                        "the request is longer than %d bytes; please shorten it", REQUEST_LINE_MAX);
    if (length > 0 && memchr(line, '\0', length))
        return complain(complaint, STATUS_BAD_USAGE, "the request holds a NUL byte");
    const char *blank = length > 0 ? memchr(line, ' ', length) : NULL;
    size_t name_length = blank ? (size_t)(blank - line) : length;
    out->kind = request_find(line, name_length);
    if (out->kind == REQUEST_KIND_COUNT)
        return unknown_request(complaint);
    return take_rest(line + name_length, length - name_length, out, complaint);
}
