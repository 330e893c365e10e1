/* boat_file.c - facts from an INI file. */
#include "boat_file.h"

#include <ctype.h>
#include <errno.h>
#include <ini.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "reading.h"
#include "text.h"

#define SIZE_MOST (256 * 1024)

struct reading {
    struct facts *facts;
    const char *path, *at;
    int line;
    bool indented;
    enum status status;
    struct complaint *complaint;
};

/* Keeps the first complaint. */
static void object(struct reading *reading, enum status status, const char *why)
{
    if (reading->status != STATUS_OK)
        return;
    struct text clean = {0};
    text_clip(&clean, why, 300);
    reading->status = complain(reading->complaint, status, "%s, line %d: %s", reading->path,
                               reading->line, text_string(&clean));
    text_free(&clean);
}

/* Hands inih one line; lines it would cut are refused, so that nothing is lost unseen. */
static char *next_line(char *to, int room, void *stream)
{
    struct reading *reading = stream;
    if (*reading->at == '\0')
        return NULL;
    size_t length = strcspn(reading->at, "\n");
    reading->line++;
    reading->indented = reading->at[0] == ' ' || reading->at[0] == '\t';
    if (length + 1 >= (size_t)room) {
        char why[120];
        snprintf(why, sizeof why,
                 "longer than %d bytes; go on in a new line that begins with a space", room - 2);
        object(reading, STATUS_BAD_USAGE, why);
        length = 0;
    }
    const char *from = reading->at;
    memcpy(to, from, length);
    to[length] = '\0';
    reading->at += strcspn(reading->at, "\n");
    reading->at += *reading->at == '\n';
    return to;
}

/* "boat", "engine 1", "run". */
static bool find_section(const char *name, enum fact_section *section, int *engine)
{
    *engine = 0;
    if (strcmp(name, "boat") == 0)
        *section = FACT_BOAT;
    else if (strcmp(name, "run") == 0)
        *section = FACT_RUN;
    else if (strncmp(name, "engine ", 7) == 0 && isdigit((unsigned char)name[7]) &&
             strlen(name + 7) <= 3 && name[7 + strspn(name + 7, "0123456789")] == '\0' &&
             (*engine = atoi(name + 7)) < INSTANCE_MAX)
        *section = FACT_ENGINE;
    else
        return false;
    return true;
}

static enum status set(struct reading *reading, enum fact_section section, int engine,
                       const char *key, const char *value, struct complaint *why)
{
    struct text joined = {0};
    bool again = boat_file_has(reading->facts, section, engine, key);
    if (again && !reading->indented)
        return complain(why, STATUS_BAD_USAGE, "%s is set twice in this section", key);
    if (again) {
        text_add(&joined, facts_get(reading->facts, section, engine, key));
        text_add(&joined, " ");
    }
    text_add(&joined, value);
    enum status status =
        joined.failed ? complain(why, STATUS_MEMORY, "no memory left")
                      : facts_set(reading->facts, section, engine, key, text_string(&joined), why);
    text_free(&joined);
    return status;
}

/* Called by inih for each "key = value". */
static int take_line(void *user, const char *section, const char *key, const char *value)
{
    struct reading *reading = user;
    struct complaint why = {""};
    enum fact_section where;
    int engine;
    enum status status;
    if (!find_section(section, &where, &engine))
        status = complain(&why, STATUS_BAD_USAGE,
                          "\"[%.60s]\" is no section; [boat], [engine 0] and [run] are allowed",
                          section);
    else
        status = set(reading, where, engine, key, value == NULL ? "" : value, &why);
    if (status != STATUS_OK)
        object(reading, status, why.text);
    return 1;
}

static enum status read_all(const char *path, struct text *out, struct complaint *complaint)
{
    char bytes[4096];
    FILE *file = fopen(path, "rbe");
    if (file == NULL)
        return complain(complaint, errno == ENOENT ? STATUS_NOT_FOUND : STATUS_IO,
                        "cannot read the boat file %s: %s", path, status_words(errno));
    size_t count;
    while (out->length <= SIZE_MOST && (count = fread(bytes, 1, sizeof bytes, file)) > 0)
        text_add_bytes(out, bytes, count);
    bool failed = ferror(file) != 0;
    fclose(file);
    if (failed)
        return complain(complaint, STATUS_IO, "cannot read the boat file %s", path);
    if (out->length > SIZE_MOST || strlen(text_string(out)) != out->length)
        return complain(complaint, STATUS_BAD_USAGE,
                        "%s is no boat file: it must be text of at most %d KiB", path,
                        SIZE_MOST / 1024);
    return out->failed ? complain(complaint, STATUS_MEMORY, "no memory left for %s", path)
                       : STATUS_OK;
}

enum status boat_file_read(const char *path, struct facts *out, struct complaint *complaint)
{
    struct text content = {0};
    struct reading reading = {.facts = out, .path = path, .complaint = complaint};
    enum status status = read_all(path, &content, complaint);
    if (status == STATUS_OK) {
        reading.at = text_string(&content);
        int fault = ini_parse_stream(next_line, &reading, take_line, &reading);
        reading.line = fault > 0 ? fault : reading.line;
        if (fault > 0)
            object(&reading, STATUS_BAD_USAGE, "neither \"[section]\" nor \"key = value\"");
        else if (fault < 0)
            object(&reading, STATUS_MEMORY, "no memory left");
        status = reading.status;
    }
    text_free(&content);
    return status;
}

bool boat_file_has(const struct facts *facts, enum fact_section section, int engine,
                   const char *key)
{
    for (size_t i = 0; facts != NULL && i < facts->count; i++) {
        const struct fact *fact = &facts->list[i];
        if (fact->section == section && strcmp(fact->key, key) == 0 &&
            (section != FACT_ENGINE || fact->engine == engine))
            return true;
    }
    return false;
}

enum status boat_file_fill(const struct facts *boat, struct facts *facts, struct facts *entered,
                           struct complaint *complaint)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < boat->count && status == STATUS_OK; i++) {
        const struct fact *fact = &boat->list[i];
        if (boat_file_has(facts, fact->section, fact->engine, fact->key))
            continue;
        status = facts_set(facts, fact->section, fact->engine, fact->key, fact->value, complaint);
        if (status == STATUS_OK)
            status =
                facts_set(entered, fact->section, fact->engine, fact->key, fact->value, complaint);
    }
    return status;
}
