/* outing_json.c - an outing as JSON text and back. One table of members a struct serves both
 * ways. */
#include "outing.h"

#include <cjson/cJSON.h>
#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FORMAT "searun outing"
#define COUNT_MAX 9007199254740992.0 /* 2^53: the last whole number that a double holds exactly */
#define LIST_MAX 100000              /* holds, warnings, facts of one run */

/* --- the members of each struct */

enum kind { KIND_NUMBER, KIND_TEXT, KIND_TRUTH, KIND_SIZE, KIND_INT64, KIND_UINT64, KIND_INT };

struct member {
    const char *key;
    enum kind kind;
    size_t offset, room; /* room: of a text */
};

#define NUMBER(type, name)                                                                         \
    {                                                                                              \
#name, KIND_NUMBER, offsetof(struct type, name), 0                                         \
    }
#define TEXT(type, name)                                                                           \
    {                                                                                              \
#name, KIND_TEXT, offsetof(struct type, name), sizeof(((struct type *)0)->name)            \
    }
#define OTHER(type, name, kind)                                                                    \
    {                                                                                              \
#name, kind, offsetof(struct type, name), 0                                                \
    }

static const struct member run_members[] = {
    TEXT(outing, sha256),
    TEXT(outing, run_id),
    TEXT(outing, software),
    TEXT(outing, clock),
    OTHER(outing, start_unix_us, KIND_INT64),
    NUMBER(outing, duration),
    OTHER(outing, closed_cleanly, KIND_TRUTH),
    OTHER(outing, rebuilt, KIND_TRUTH),
    OTHER(outing, gap_count, KIND_SIZE),
    NUMBER(outing, gap_seconds),
    OTHER(outing, lost, KIND_UINT64),
    NUMBER(outing, sea_low),
    NUMBER(outing, sea_high),
    NUMBER(outing, sea_mean),
    NUMBER(outing, air_mean),
};

static const struct member engine_members[] = {
    OTHER(outing_engine, instance, KIND_INT),
    NUMBER(outing_engine, hours),
    NUMBER(outing_engine, top_speed),
    NUMBER(outing_engine, speed_step),
    NUMBER(outing_engine, coolant_step),
    OTHER(outing_engine, by_hand, KIND_TRUTH),
    NUMBER(outing_engine, coolant_u),
    NUMBER(outing_engine, coolant_run_u),
    NUMBER(outing_engine, coolant_instrument_u),
    TEXT(outing_engine, coolant_instrument),
    TEXT(outing_engine, coolant_other),
    NUMBER(outing_engine, speed_u),
    NUMBER(outing_engine, lag),
    NUMBER(outing_engine, lag_u),
    OTHER(outing_engine, lag_steps, KIND_SIZE),
    NUMBER(outing_engine, sea_drift),
    OTHER(outing_engine, sea_by_hand, KIND_TRUTH),
    OTHER(outing_engine, sea_follows_engine, KIND_TRUTH),
    NUMBER(outing_engine, cold_offset),
    OTHER(outing_engine, cold_by_oil, KIND_TRUTH),
    TEXT(outing_engine, speed_source),
    TEXT(outing_engine, coolant_source),
    TEXT(outing_engine, sea_source),
};

static const struct member hold_members[] = {
    NUMBER(hold, start),      NUMBER(hold, end),           NUMBER(hold, used_from),
    NUMBER(hold, rpm),        NUMBER(hold, rpm_sd),        NUMBER(hold, coolant),
    NUMBER(hold, coolant_sd), NUMBER(hold, coolant_slope), NUMBER(hold, sea),
    NUMBER(hold, load),       NUMBER(hold, fuel_rate),     NUMBER(hold, air),
    NUMBER(hold, band_rpm),
};

static const struct member warning_members[] = {
    TEXT(outing_warning, key),
    OTHER(outing_warning, engine, KIND_INT),
    TEXT(outing_warning, text),
};

#define COUNT(list) (sizeof(list) / sizeof(list)[0])

/* --- writing */

/* cJSON answers NULL when memory runs out; that is looked at once at the end. */
static void add(cJSON *to, const char *key, cJSON *item, bool *failed)
{
    if (item && cJSON_AddItemToObject(to, key, item))
        return;
    cJSON_Delete(item);
    *failed = true;
}

static cJSON *number_item(double value)
{
    return isfinite(value) ? cJSON_CreateNumber(value) : cJSON_CreateNull();
}

/* What is no UTF-8 is replaced, by more bytes: it is cut where it would not fit the room when it is
 * read again. Room 0: there is no limit. */
static cJSON *text_item(const char *words, size_t room)
{
    struct text valid = {0};
    text_valid(&valid, words);
    while (!valid.failed && room > 0 && valid.length >= room) {
        while (((unsigned char)valid.bytes[valid.length - 1] & 0xC0) == 0x80)
            valid.length--;
        valid.bytes[--valid.length] = '\0';
    }
    cJSON *item = valid.failed ? NULL : cJSON_CreateString(text_string(&valid));
    text_free(&valid);
    return item;
}

static cJSON *member_item(const struct member *member, const void *from)
{
    const char *at = (const char *)from + member->offset;
    switch (member->kind) {
    case KIND_NUMBER:
        return number_item(*(const double *)(const void *)at);
    case KIND_TEXT:
        return text_item(at, member->room);
    case KIND_TRUTH:
        return cJSON_CreateBool(*(const bool *)at);
    case KIND_SIZE:
        return cJSON_CreateNumber((double)*(const size_t *)(const void *)at);
    case KIND_INT64:
        return cJSON_CreateNumber((double)*(const int64_t *)(const void *)at);
    case KIND_UINT64:
        return cJSON_CreateNumber(fmin((double)*(const uint64_t *)(const void *)at, COUNT_MAX));
    case KIND_INT:
        break;
    }
    return cJSON_CreateNumber((double)*(const int *)(const void *)at);
}

static void add_members(cJSON *to, const struct member *members, size_t count, const void *from,
                        bool *failed)
{
    for (size_t i = 0; i < count; i++)
        add(to, members[i].key, member_item(&members[i], from), failed);
}

/* A new object at the end of a list. */
static cJSON *object_in(cJSON *list, bool *failed)
{
    cJSON *object = cJSON_CreateObject();
    if (object && cJSON_AddItemToArray(list, object))
        return object;
    cJSON_Delete(object);
    *failed = true;
    return NULL;
}

static cJSON *list_in(cJSON *to, const char *key, bool *failed)
{
    cJSON *list = cJSON_AddArrayToObject(to, key);
    *failed = *failed || !list;
    return list;
}

static void add_engine(cJSON *list, const struct outing_engine *engine, bool *failed)
{
    cJSON *to = object_in(list, failed);
    add_members(to, engine_members, COUNT(engine_members), engine, failed);
    cJSON *holds = list_in(to, "holds", failed);
    for (size_t i = 0; i < engine->hold_count && !*failed; i++) {
        cJSON *hold = object_in(holds, failed);
        add_members(hold, hold_members, COUNT(hold_members), &engine->holds[i], failed);
        add(hold, "refusal", cJSON_CreateString(refusal_key(engine->holds[i].refusal)), failed);
    }
}

static void add_facts(cJSON *to, const struct facts *facts, bool *failed)
{
    cJSON *list = list_in(to, "facts", failed);
    for (size_t i = 0; i < facts->count && !*failed; i++) {
        cJSON *fact = object_in(list, failed);
        add(fact, "section", cJSON_CreateNumber(facts->list[i].section), failed);
        add(fact, "engine", cJSON_CreateNumber(facts->list[i].engine), failed);
        add(fact, "key", cJSON_CreateString(facts->list[i].key), failed);
        add(fact, "value", text_item(facts->list[i].value, 0), failed);
    }
}

static void add_all(cJSON *root, const struct outing *outing, bool *failed)
{
    add(root, "format", cJSON_CreateString(FORMAT), failed);
    add(root, "version", cJSON_CreateNumber(OUTING_VERSION), failed);
    add_members(root, run_members, COUNT(run_members), outing, failed);
    add_facts(root, &outing->facts, failed);
    cJSON *engines = list_in(root, "engines", failed);
    for (size_t i = 0; i < outing->engine_count && !*failed; i++)
        add_engine(engines, &outing->engines[i], failed);
    cJSON *warnings = list_in(root, "warnings", failed);
    for (size_t i = 0; i < outing->warning_count && !*failed; i++)
        add_members(object_in(warnings, failed), warning_members, COUNT(warning_members),
                    &outing->warnings[i], failed);
}

enum status outing_write_json(const struct outing *outing, struct text *out,
                              struct complaint *complaint)
{
    cJSON *root = cJSON_CreateObject();
    bool failed = !root;
    if (root)
        add_all(root, outing, &failed);
    char *printed = failed ? NULL : cJSON_PrintUnformatted(root);
    if (printed)
        text_add(out, printed);
    failed = !printed || out->failed;
    cJSON_free(printed);
    cJSON_Delete(root);
    return failed ? complain(complaint, STATUS_MEMORY, "no memory left for the summary of a run")
                  : STATUS_OK;
}

/* --- reading */

static enum status bad(struct complaint *complaint, const char *what)
{
    return complain(complaint, STATUS_BAD_DATA, "the summary of a run cannot be read: %s", what);
}

static bool is_whole(const cJSON *item, double low, double high)
{
    return cJSON_IsNumber(item) && item->valuedouble >= low && item->valuedouble <= high &&
           floor(item->valuedouble) == item->valuedouble;
}

static bool read_text(const cJSON *item, char *to, size_t room)
{
    if (!cJSON_IsString(item) || strlen(item->valuestring) >= room)
        return false;
    strcpy(to, item->valuestring);
    return true;
}

static bool read_number(const cJSON *item, double *to)
{
    *to = cJSON_IsNumber(item) ? item->valuedouble : (double)NAN;
    return cJSON_IsNumber(item) || cJSON_IsNull(item);
}

static bool read_member(const struct member *member, const cJSON *item, void *into)
{
    char *at = (char *)into + member->offset;
    switch (member->kind) {
    case KIND_NUMBER:
        return read_number(item, (double *)(void *)at);
    case KIND_TEXT:
        return read_text(item, at, member->room);
    case KIND_TRUTH:
        *(bool *)at = cJSON_IsTrue(item);
        return cJSON_IsBool(item);
    case KIND_SIZE:
        if (is_whole(item, 0, COUNT_MAX))
            *(size_t *)(void *)at = (size_t)item->valuedouble;
        return is_whole(item, 0, COUNT_MAX);
    case KIND_INT64:
        if (is_whole(item, -COUNT_MAX, COUNT_MAX))
            *(int64_t *)(void *)at = (int64_t)item->valuedouble;
        return is_whole(item, -COUNT_MAX, COUNT_MAX);
    case KIND_UINT64:
        if (is_whole(item, 0, COUNT_MAX))
            *(uint64_t *)(void *)at = (uint64_t)item->valuedouble;
        return is_whole(item, 0, COUNT_MAX);
    case KIND_INT:
        break;
    }
    if (is_whole(item, INT_MIN, INT_MAX))
        *(int *)(void *)at = (int)item->valuedouble;
    return is_whole(item, INT_MIN, INT_MAX);
}

static const cJSON *item_of(const cJSON *object, const char *key)
{
    return cJSON_GetObjectItemCaseSensitive(object, key);
}

static bool read_members(const cJSON *object, const struct member *members, size_t count,
                         void *into)
{
    for (size_t i = 0; i < count; i++)
        if (!read_member(&members[i], item_of(object, members[i].key), into))
            return false;
    return true;
}

/* The list of that name and memory for its items; NULL with the status set where either fails. */
static const cJSON *read_list(const cJSON *from, const char *key, size_t size, void **memory,
                              enum status *status, struct complaint *complaint)
{
    const cJSON *list = item_of(from, key);
    if (!cJSON_IsArray(list) || cJSON_GetArraySize(list) > LIST_MAX) {
        *status = bad(complaint, key);
        return NULL;
    }
    *memory = calloc((size_t)cJSON_GetArraySize(list) + 1, size);
    if (*memory)
        return list;
    *status = complain(complaint, STATUS_MEMORY, "no memory left for the summary of a run");
    return NULL;
}

static bool read_refusal(const cJSON *item, enum refusal *to)
{
    for (int r = 0; r < REFUSAL_COUNT && cJSON_IsString(item); r++)
        if (strcmp(item->valuestring, refusal_key((enum refusal)r)) == 0) {
            *to = (enum refusal)r;
            return true;
        }
    return false;
}

static enum status read_engine(const cJSON *from, struct outing_engine *to,
                               struct complaint *complaint)
{
    enum status status = STATUS_OK;
    const cJSON *item;
    if (!read_members(from, engine_members, COUNT(engine_members), to))
        return bad(complaint, "engines");
    const cJSON *list =
        read_list(from, "holds", sizeof *to->holds, (void **)&to->holds, &status, complaint);
    if (!list)
        return status;
    cJSON_ArrayForEach(item, list)
    {
        struct hold *hold = &to->holds[to->hold_count++];
        hold->open_rise = hold->open_fraction = NAN;
        if (!read_members(item, hold_members, COUNT(hold_members), hold) ||
            !read_refusal(item_of(item, "refusal"), &hold->refusal))
            return bad(complaint, "holds");
    }
    return STATUS_OK;
}

static enum status read_engines(const cJSON *root, struct outing *out, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    const cJSON *item, *list = read_list(root, "engines", sizeof *out->engines,
                                         (void **)&out->engines, &status, complaint);
    cJSON_ArrayForEach(item, list)
    {
        if (!status)
            status = read_engine(item, &out->engines[out->engine_count++], complaint);
    }
    return status;
}

static enum status read_warnings(const cJSON *root, struct outing *out, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    const cJSON *item, *list = read_list(root, "warnings", sizeof *out->warnings,
                                         (void **)&out->warnings, &status, complaint);
    cJSON_ArrayForEach(item, list)
    {
        struct outing_warning *warning = &out->warnings[out->warning_count++];
        if (!read_members(item, warning_members, COUNT(warning_members), warning))
            return bad(complaint, "warnings");
    }
    return status;
}

static enum status read_fact(const cJSON *item, struct facts *facts, struct complaint *complaint)
{
    const cJSON *section = item_of(item, "section"), *engine = item_of(item, "engine");
    const cJSON *key = item_of(item, "key"), *value = item_of(item, "value");
    if (!is_whole(section, 0, FACT_SECTION_COUNT - 1) || !is_whole(engine, 0, INT_MAX) ||
        !cJSON_IsString(key) || !cJSON_IsString(value))
        return bad(complaint, "facts");
    enum status status =
        facts_set(facts, (enum fact_section)(int)section->valuedouble, (int)engine->valuedouble,
                  key->valuestring, value->valuestring, complaint);
    return status && status != STATUS_MEMORY ? bad(complaint, "facts") : status;
}

static enum status read_facts(const cJSON *root, struct facts *facts, struct complaint *complaint)
{
    enum status status = STATUS_OK;
    const cJSON *item, *list = item_of(root, "facts");
    if (!cJSON_IsArray(list) || cJSON_GetArraySize(list) > LIST_MAX)
        return bad(complaint, "facts");
    cJSON_ArrayForEach(item, list)
    {
        if (!status)
            status = read_fact(item, facts, complaint);
    }
    return status;
}

static enum status read_root(const cJSON *root, struct outing *out, struct complaint *complaint)
{
    const cJSON *format = item_of(root, "format"), *version = item_of(root, "version");
    if (!cJSON_IsString(format) || strcmp(format->valuestring, FORMAT) != 0)
        return bad(complaint, "it is none");
    if (!is_whole(version, OUTING_VERSION, OUTING_VERSION))
        return bad(complaint, "it is of another version");
    if (!read_members(root, run_members, COUNT(run_members), out))
        return bad(complaint, "members of the run");
    enum status status = read_facts(root, &out->facts, complaint);
    if (!status)
        status = read_engines(root, out, complaint);
    return status ? status : read_warnings(root, out, complaint);
}

enum status outing_read_json(const char *json, size_t length, struct outing *out,
                             struct complaint *complaint)
{
    memset(out, 0, sizeof *out);
    cJSON *root = cJSON_ParseWithLength(json, length);
    enum status status = root ? read_root(root, out, complaint) : bad(complaint, "no JSON");
    cJSON_Delete(root);
    return status;
}
