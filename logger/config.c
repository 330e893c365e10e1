/* config.c - see config.h. */
#include "config.h"

#include <ctype.h>
#include <errno.h>
#include <ini.h>
#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "input.h"

#define FILE_MAX_SIZE (1024 * 1024)
#define NAME_MAX_LENGTH 30 /* of a key; inih cuts names at 49 without a word */

/* --- [logger] */

enum setting_kind { SETTING_TEXT, SETTING_NUMBER, SETTING_SWITCH };

static const struct setting {
    const char *key;
    enum setting_kind kind;
    const char *fallback;
    double low, high;
    bool whole; /* whole numbers only */
    const char *unit;
    size_t offset, room;
    const char *help;
} settings[] = {
#define AT(member) offsetof(struct settings, member), sizeof((struct settings *)0)->member
    {"directory", SETTING_TEXT, ".", 0, 0, false, "", AT(directory),
     "folder that runs are written to; it is made if only its last part is missing"},
    {"ring_size", SETTING_NUMBER, "16", 1, 1024, true, "MiB", AT(ring_size),
     "memory for what storage has not taken yet; 16 MiB hold 60 s of a bus with 1000 frames/s"},
    {"receive_buffer", SETTING_NUMBER, "8192", 64, 65536, true, "KiB", AT(receive_buffer),
     "what each network input asks the system to hold while the logger is not looking"},
    {"reopen_longest", SETTING_NUMBER, "30", 0.5, 3600, false, "s", AT(reopen_longest),
     "an input that fails is tried again after 0.5 s, then twice as long each time, up to this"},
    {"reserve", SETTING_NUMBER, "64", 0, 1048576, false, "MiB", AT(reserve),
     "space that is left free: a run ends when less is left, and the next begins when there is "
     "more"},
    {"keep_journal", SETTING_SWITCH, "no", 0, 0, false, "", AT(keep_journal),
     "whether the journal of a run is kept when its run file has been read back"},
    {"clock_tolerance", SETTING_NUMBER, "5", 1, 3600, false, "s", AT(clock_tolerance),
     "if GNSS time and the computer's clock differ by more, the run is dated by GNSS"},
    {"rpm_first_engine", SETTING_NUMBER, "0", 0, 1, true, "", AT(rpm_first_engine),
     "number that RPM sentences give to engine 0; 1 if the talker counts from 1"},
    {"transducer_defaults", SETTING_SWITCH, "yes", 0, 0, false, "", AT(transducer_defaults),
     "whether the built-in transducer names apply behind those of section [transducers]"},
    {"socket", SETTING_TEXT, "auto", 0, 0, false, "", AT(socket),
     "path of the control socket for searun-logger mark, status and the like; auto: in "
     "$RUNTIME_DIRECTORY, "
     "or where runs lie; none: no socket"},
    {"unattended", SETTING_SWITCH, "no", 0, 0, false, "", AT(unattended),
     "whether to wait until an engine turns, record until all have stopped, and wait again"},
    {"turning_rpm", SETTING_NUMBER, "100", 1, 1000, false, "rpm", AT(turning_rpm),
     "unattended: an engine that is faster turns"},
    {"end_after", SETTING_NUMBER, "600", 1, 86400, false, "s", AT(end_after),
     "unattended: a run ends when no engine has turned for so long"},
    {"before_start", SETTING_NUMBER, "300", 0, 3600, false, "s", AT(before_start),
     "unattended: what was heard for so long before an engine turned is kept in the run (up to 16 "
     "MiB of messages: at least 300 s of a bus with 1000 frames/s)"},
    {"longest_run", SETTING_NUMBER, "12", 0, 168, false, "h", AT(longest_run),
     "unattended: a run that lasts longer goes on in a further run file, nothing is lost between; "
     "0: any length"},
#undef AT
};

#define COUNT(array) (sizeof(array) / sizeof(array)[0])

static enum status assign_text(void *at, const struct setting *row, const char *value,
                               struct complaint *complaint)
{
    size_t length = strlen(value);
    if (length == 0 || length >= row->room)
        return complain(complaint, STATUS_BAD_USAGE, "%s: 1 to %zu bytes are allowed", row->key,
                        row->room - 1);
    memcpy(at, value, length + 1);
    return STATUS_OK;
}

static bool read_number(const char *text, double *out)
{
    char *end;
    size_t length = strspn(text, "+-.0123456789eE");
    *out = strtod(text, &end);
    return length > 0 && text[length] == '\0' && end == text + length && isfinite(*out);
}

static enum status assign_number(void *at, const struct setting *row, const char *value,
                                 struct complaint *complaint)
{
    double number;
    if (!read_number(value, &number) || number < row->low || number > row->high ||
        (row->whole && floor(number) < number))
        return complain(complaint, STATUS_BAD_USAGE,
                        "%s = %.60s: a %s from %g to %g%s%s is allowed (default %s)", row->key,
                        value, row->whole ? "whole number" : "number", row->low, row->high,
                        *row->unit ? " " : "", row->unit, row->fallback);
    *(double *)at = number;
    return STATUS_OK;
}

static enum status assign_switch(void *at, const struct setting *row, const char *value,
                                 struct complaint *complaint)
{
    bool on = strcmp(value, "yes") == 0;
    if (!on && strcmp(value, "no") != 0)
        return complain(complaint, STATUS_BAD_USAGE, "%s = %.60s: yes or no is allowed", row->key,
                        value);
    *(bool *)at = on;
    return STATUS_OK;
}

static enum status assign_setting(struct settings *to, const struct setting *row, const char *value,
                                  struct complaint *complaint)
{
    void *at = (char *)to + row->offset;
    switch (row->kind) {
    case SETTING_TEXT:
        return assign_text(at, row, value, complaint);
    case SETTING_NUMBER:
        return assign_number(at, row, value, complaint);
    case SETTING_SWITCH:
        break;
    }
    return assign_switch(at, row, value, complaint);
}

/* --- what a section allows, as words */

/* Appends ", word" to a list in a buffer; cuts silently, since it only helps a reader. */
static void list_add(char *list, size_t room, const char *word)
{
    size_t length = strlen(list);
    snprintf(list + length, room - length, "%s%s", length > 0 ? ", " : "", word);
}

static enum status unknown_key(const char *section, const char *key, const char *allowed,
                               struct complaint *complaint)
{
    return complain(complaint, STATUS_BAD_USAGE, "[%s] has no setting \"%.60s\"; allowed: %s",
                    section, key, allowed);
}

/* --- sections; each assigns one key of its own */

struct place_in_config {
    const struct section *section;
    int engine; /* of [engine N] */
};

struct section {
    const char *name;
    enum fact_section facts; /* of the first three */
    enum status (*assign)(struct config *config, const struct place_in_config *where,
                          const char *key, const char *value, struct complaint *complaint);
    bool (*knows)(const struct section *section, const char *key);
    bool free_names; /* keys are names of the user's choice */
};

static enum status assign_fact(struct config *config, const struct place_in_config *where,
                               const char *key, const char *value, struct complaint *complaint)
{
    enum fact_section section = where->section->facts;
    if (fact_row_find(section, key))
        return facts_set(&config->facts, section, where->engine, key, value, complaint);
    char allowed[512] = "";
    for (size_t i = 0; i < fact_row_count; i++)
        if (fact_rows[i].section == section)
            list_add(allowed, sizeof allowed, fact_rows[i].key);
    return unknown_key(where->section->name, key, allowed, complaint);
}

static bool knows_fact(const struct section *section, const char *key)
{
    return fact_row_find(section->facts, key) != NULL;
}

static const struct setting *find_setting(const char *key)
{
    for (size_t i = 0; i < COUNT(settings); i++)
        if (strcmp(settings[i].key, key) == 0)
            return &settings[i];
    return NULL;
}

static enum status assign_logger(struct config *config, const struct place_in_config *where,
                                 const char *key, const char *value, struct complaint *complaint)
{
    const struct setting *row = find_setting(key);
    if (row)
        return assign_setting(&config->settings, row, value, complaint);
    char allowed[512] = "";
    for (size_t i = 0; i < COUNT(settings); i++)
        list_add(allowed, sizeof allowed, settings[i].key);
    return unknown_key(where->section->name, key, allowed, complaint);
}

static bool knows_setting(const struct section *section, const char *key)
{
    (void)section;
    return find_setting(key) != NULL;
}

static bool knows_any(const struct section *section, const char *key)
{
    (void)section;
    return *key != '\0';
}

static bool is_label(const char *name)
{
    size_t length = strlen(name);
    return length >= 1 && length <= LABEL_MAX &&
           strspn(name, "abcdefghijklmnopqrstuvwxyz0123456789_") == length;
}

static struct run_input *find_input(struct config *config, const char *label)
{
    for (size_t i = 0; i < config->input_count; i++)
        if (strcmp(config->inputs[i].label, label) == 0)
            return &config->inputs[i];
    return NULL;
}

static enum status assign_input(struct config *config, const struct place_in_config *where,
                                const char *key, const char *value, struct complaint *complaint)
{
    (void)where;
    if (!is_label(key))
        return complain(complaint, STATUS_BAD_USAGE,
                        "\"%.60s\" cannot be the name of an input: 1 to %d of a-z, 0-9 and _ are "
                        "allowed",
                        key, LABEL_MAX);
    enum status status = input_check(value, complaint);
    if (status != STATUS_OK)
        return status;
    for (size_t i = 0; i < config->input_count; i++)
        if (strcmp(config->inputs[i].text, value) == 0 && strcmp(config->inputs[i].label, key) != 0)
            return complain(complaint, STATUS_BAD_USAGE, "%s is an input already, named \"%s\"",
                            value, config->inputs[i].label);
    struct run_input *input = find_input(config, key);
    if (!input && config->input_count == INPUTS_MAX)
        return complain(complaint, STATUS_BAD_USAGE, "%d inputs are the most that one run takes",
                        INPUTS_MAX);
    if (!input)
        input = &config->inputs[config->input_count++];
    snprintf(input->label, sizeof input->label, "%s", key);
    snprintf(input->text, sizeof input->text, "%s", value);
    return STATUS_OK;
}

/* --- [transducers] */

static const char *const row_syntax =
    "a row is TYPE, UNIT, NAME -> CHANNEL, engine N | engine {n} | vessel; "
    "e.g. C, C, ENGINE#{n} -> coolant_temperature, engine {n}";

/* Cuts the text at the first `stop` and strips blanks: returns the piece, moves *text behind it. */
static char *cut_piece(char **text, char stop)
{
    char *piece = *text;
    char *end = strchr(piece, stop);
    *text = end ? end + 1 : piece + strlen(piece);
    if (!end)
        end = *text;
    while (piece < end && isspace((unsigned char)*piece))
        piece++;
    while (end > piece && isspace((unsigned char)end[-1]))
        end--;
    *end = '\0';
    return piece;
}

/* What carries the number behind it: the channel decides, the word is for people. */
static const char *const numbered[] = {"engine ", "tank ", "battery "};

static bool read_engine(const char *text, int *engine)
{
    char *end;
    size_t word = 0;
    if (*text == '\0' || strcmp(text, "vessel") == 0) {
        *engine = TRANSDUCER_VESSEL;
        return true;
    }
    while (word < COUNT(numbered) && strncmp(text, numbered[word], strlen(numbered[word])) != 0)
        word++;
    if (word == COUNT(numbered))
        return false;
    text += strlen(numbered[word]);
    if (strcmp(text, "{n}") == 0) {
        *engine = TRANSDUCER_NUMBERED;
        return true;
    }
    long number = strtol(text, &end, 10);
    *engine = (int)number;
    return isdigit((unsigned char)*text) && *end == '\0' && number >= 0 && number < INSTANCE_MAX;
}

static bool copy_piece(char *to, size_t room, const char *piece)
{
    size_t length = strlen(piece);
    if (length >= room)
        return false;
    memset(to, 0, room);
    memcpy(to, piece, length);
    return true;
}

/* The left side: what a talker sends. */
static bool read_sent(char *text, struct transducer_row *row)
{
    const char *type = cut_piece(&text, ',');
    const char *unit = cut_piece(&text, ',');
    const char *name = cut_piece(&text, '\0');
    return copy_piece(row->type, sizeof row->type, type) &&
           copy_piece(row->unit, sizeof row->unit, unit) && *name &&
           copy_piece(row->name, sizeof row->name, name);
}

/* The right side: what it means. */
static enum status read_meaning(char *text, struct transducer_row *row, struct complaint *complaint)
{
    const char *channel = cut_piece(&text, ',');
    const char *engine = cut_piece(&text, '\0');
    row->channel = channel_find(channel);
    if (row->channel == CHANNEL_COUNT)
        return complain(complaint, STATUS_BAD_USAGE,
                        "\"%.60s\" is not a channel; --help-config lists them all", channel);
    if (!read_engine(engine, &row->engine))
        return complain(
            complaint, STATUS_BAD_USAGE,
            "\"%.60s\": engine 0 to engine %d, engine {n} or vessel is allowed (and tank "
            "or battery in place of engine)",
            engine, INSTANCE_MAX - 1);
    return transducer_row_check(row, complaint);
}

static enum status read_row(const char *value, struct transducer_row *row,
                            struct complaint *complaint)
{
    char text[256];
    if (strlen(value) >= sizeof text)
        return complain(complaint, STATUS_BAD_USAGE, "the row is too long; %s", row_syntax);
    strcpy(text, value);
    char *arrow = strstr(text, "->");
    for (char *next = arrow; next; next = strstr(next + 2, "->"))
        arrow = next;
    if (arrow)
        *arrow = '\0';
    if (!arrow || !read_sent(text, row))
        return complain(complaint, STATUS_BAD_USAGE, "\"%.80s\" cannot be read; %s", value,
                        row_syntax);
    return read_meaning(arrow + 2, row, complaint);
}

static enum status assign_transducer(struct config *config, const struct place_in_config *where,
                                     const char *key, const char *value,
                                     struct complaint *complaint)
{
    (void)where;
    (void)key;
    struct transducer_row row = {.channel = CHANNEL_COUNT};
    enum status status = read_row(value, &row, complaint);
    if (status != STATUS_OK)
        return status;
    size_t count = config->transducer_count + 1;
    struct transducer_row *rows = realloc(config->transducers, count * sizeof *rows);
    if (!rows)
        return complain(complaint, STATUS_MEMORY, "no memory for another transducer");
    rows[count - 1] = row;
    config->transducers = rows;
    config->transducer_count = count;
    return STATUS_OK;
}

static const struct section sections[] = {
    {"boat", FACT_BOAT, assign_fact, knows_fact, false},
    {"engine", FACT_ENGINE, assign_fact, knows_fact, false},
    {"run", FACT_RUN, assign_fact, knows_fact, false},
    {"logger", FACT_SECTION_COUNT, assign_logger, knows_setting, false},
    {"inputs", FACT_SECTION_COUNT, assign_input, knows_any, true},
    {"transducers", FACT_SECTION_COUNT, assign_transducer, knows_any, true},
};

/* "boat", "engine 0", "engine0". */
static bool find_section(const char *name, struct place_in_config *out)
{
    for (size_t i = 0; i < COUNT(sections); i++) {
        const struct section *section = &sections[i];
        size_t length = strlen(section->name);
        if (strncmp(name, section->name, length) != 0)
            continue;
        *out = (struct place_in_config){section, 0};
        if (section->facts != FACT_ENGINE && name[length] == '\0')
            return true;
        const char *number = name + length + strspn(name + length, " ");
        size_t digits = strspn(number, "0123456789");
        if (section->facts == FACT_ENGINE && digits >= 1 && digits <= 3 && number[digits] == '\0') {
            out->engine = atoi(number);
            return out->engine < INSTANCE_MAX;
        }
    }
    return false;
}

static enum status unknown_section(const char *name, struct complaint *complaint)
{
    return complain(complaint, STATUS_BAD_USAGE,
                    "there is no section [%.60s]; allowed: [boat], [engine 0] to [engine %d], "
                    "[run], [logger], [inputs], [transducers]",
                    name, INSTANCE_MAX - 1);
}

/* --- the file */

struct seen {
    char section[64], key[64];
    int line;
};

struct file {
    struct config *config;
    struct problems *problems;
    const char *name, *at, *end;
    int line;                  /* number of the line that inih works on */
    bool indented;             /* it begins with a blank: to inih it continues the value before */
    char section[64], key[64]; /* last assigned */
    struct seen *seen;
    size_t seen_count;
    bool no_memory;
};

static void tell(struct file *file, int line, const char *text)
{
    char whole[1400];
    snprintf(whole, sizeof whole, "%s:%d: %s", file->name, line, text);
    file->problems->count++;
    file->problems->tell(file->problems->self, whole);
}

/* What is wrong with a line as such, or NULL. */
static const char *fault_of_line(const char *line, size_t length, int room)
{
    if (memchr(line, '\0', length))
        return "the line holds a NUL byte; this is not a text file";
    if (length + 2 > (size_t)room)
        return "the line is too long; at most 198 bytes are read. Continue a long text on further "
               "lines that begin with a space";
    return NULL;
}

/* Gives inih the next line, as fgets would. A line that it would cut becomes a comment. */
static char *next_line(char *to, int room, void *stream)
{
    struct file *file = stream;
    if (file->at == file->end)
        return NULL;
    const char *feed = memchr(file->at, '\n', (size_t)(file->end - file->at));
    const char *end = feed ? feed : file->end;
    size_t length = (size_t)(end - file->at);
    file->line++;
    file->indented = length > 0 && isspace((unsigned char)file->at[0]);
    const char *fault = fault_of_line(file->at, length, room);
    if (fault) {
        tell(file, file->line, fault);
        memcpy(to, ";", 2);
    } else {
        memcpy(to, file->at, length);
        to[length] = '\0';
    }
    file->at = feed ? feed + 1 : file->end;
    return to;
}

static const struct seen *find_seen(const struct file *file, const char *section, const char *key)
{
    for (size_t i = 0; i < file->seen_count; i++)
        if (strcmp(file->seen[i].section, section) == 0 && strcmp(file->seen[i].key, key) == 0)
            return &file->seen[i];
    return NULL;
}

static void note_seen(struct file *file, const char *section, const char *key)
{
    struct seen *seen = realloc(file->seen, (file->seen_count + 1) * sizeof *seen);
    if (!seen) {
        file->no_memory = true;
        return;
    }
    file->seen = seen;
    seen += file->seen_count++;
    snprintf(seen->section, sizeof seen->section, "%s", section);
    snprintf(seen->key, sizeof seen->key, "%s", key);
    seen->line = file->line;
}

/* A line of a value in several lines that looks like a setting was hardly meant so. */
static bool looks_like_setting(const struct section *section, const char *text)
{
    char word[64];
    size_t length = strcspn(text, "=:");
    if (text[length] == '\0' || length >= sizeof word)
        return false;
    memcpy(word, text, length);
    while (length > 0 && isspace((unsigned char)word[length - 1]))
        length--;
    word[length] = '\0';
    return section->knows(section, word);
}

/* A further line of a text: joined to it by a space. */
static enum status continue_value(struct file *file, const struct place_in_config *where,
                                  const char *key, const char *value, struct complaint *complaint)
{
    const struct section *section = where->section;
    if (section->facts == FACT_SECTION_COUNT || looks_like_setting(section, value))
        return complain(
            complaint, STATUS_BAD_USAGE,
            "a line that begins with a space continues \"%s\" of the line before; begin "
            "a new setting at the beginning of the line",
            key);
    const char *before = facts_get(&file->config->facts, section->facts, where->engine, key);
    size_t room = strlen(before) + strlen(value) + 2;
    char *joined = malloc(room);
    if (!joined)
        return complain(complaint, STATUS_MEMORY, "no memory for a long text");
    snprintf(joined, room, "%s %s", before, value);
    enum status status =
        facts_set(&file->config->facts, section->facts, where->engine, key, joined, complaint);
    free(joined);
    return status;
}

static enum status assign_line(struct file *file, const char *section, const char *key,
                               const char *value, struct complaint *complaint)
{
    struct place_in_config where;
    if (!find_section(section, &where))
        return unknown_section(section, complaint);
    if (file->indented && strcmp(key, file->key) == 0 && strcmp(section, file->section) == 0)
        return continue_value(file, &where, key, value, complaint);
    snprintf(file->section, sizeof file->section, "%s", section);
    snprintf(file->key, sizeof file->key, "%s", key);
    const struct seen *before = find_seen(file, section, key);
    if (before)
        return complain(complaint, STATUS_BAD_USAGE, "[%s] %s is set twice; line %d set it before",
                        section, key, before->line);
    if (strlen(key) > NAME_MAX_LENGTH)
        return complain(complaint, STATUS_BAD_USAGE, "the name \"%.60s\" is longer than %d bytes",
                        key, NAME_MAX_LENGTH);
    note_seen(file, section, key);
    return where.section->assign(file->config, &where, key, value, complaint);
}

/* Called by inih for each "key = value". */
static int take_line(void *user, const char *section, const char *key, const char *value)
{
    struct file *file = user;
    struct complaint complaint = {""};
    if (assign_line(file, section, key, value ? value : "", &complaint) != STATUS_OK)
        tell(file, file->line, complaint.text);
    return 1;
}

enum status config_read_text(struct config *config, const char *name, const char *text,
                             size_t length, struct problems *problems)
{
    struct file file = {
        .config = config, .problems = problems, .name = name, .at = text, .end = text + length};
    unsigned before = problems->count;
    int fault = ini_parse_stream(next_line, &file, take_line, &file);
    if (fault > 0)
        tell(&file, fault, "neither \"[section]\" nor \"key = value\"");
    free(file.seen);
    if (fault == -2 || file.no_memory)
        return STATUS_MEMORY;
    return problems->count == before ? STATUS_OK : STATUS_BAD_USAGE;
}

static enum status tell_file(struct problems *problems, enum status status, const char *path,
                             const char *why)
{
    char text[1400];
    snprintf(text, sizeof text, "%s: %s", path, why);
    problems->count++;
    problems->tell(problems->self, text);
    return status;
}

enum status config_read(struct config *config, const char *path, struct problems *problems)
{
    enum status status = STATUS_IO;
    char *text = NULL;
    FILE *file = fopen(path, "rb");
    if (!file)
        return tell_file(problems, errno == ENOENT ? STATUS_NOT_FOUND : STATUS_IO, path,
                         strerror(errno));
    text = malloc(FILE_MAX_SIZE + 1);
    if (!text) {
        status = tell_file(problems, STATUS_MEMORY, path, "no memory to read it");
        goto out;
    }
    size_t length = fread(text, 1, FILE_MAX_SIZE + 1, file);
    if (ferror(file))
        status = tell_file(problems, STATUS_IO, path, strerror(errno));
    else if (length > FILE_MAX_SIZE)
        status = tell_file(problems, STATUS_BAD_USAGE, path,
                           "longer than 1 MiB; this is not a configuration file");
    else
        status = config_read_text(config, path, text, length, problems);
out:
    free(text);
    fclose(file);
    return status;
}

/* --- the command line */

enum status config_set(struct config *config, const char *assignment, struct complaint *complaint)
{
    char section[64], key[64];
    const char *equals = strchr(assignment, '=');
    const char *dot = equals ? memchr(assignment, '.', (size_t)(equals - assignment)) : NULL;
    if (!dot || (size_t)(dot - assignment) >= sizeof section ||
        (size_t)(equals - dot - 1) >= sizeof key)
        return complain(complaint, STATUS_BAD_USAGE,
                        "\"%.80s\" is not SECTION.KEY=VALUE, like boat.name=\"Tern's Reach\" or "
                        "engine0.thermostat=71,82",
                        assignment);
    snprintf(section, sizeof section, "%.*s", (int)(dot - assignment), assignment);
    snprintf(key, sizeof key, "%.*s", (int)(equals - dot - 1), dot + 1);
    struct place_in_config where;
    if (!find_section(section, &where))
        return unknown_section(section, complaint);
    return where.section->assign(config, &where, key, equals + 1, complaint);
}

/* A name from the text of an input: its letters and digits, made unique by a number. */
static void make_label(struct config *config, const char *text, char label[LABEL_MAX + 1])
{
    size_t length = 0;
    const char *from = strncmp(text, "serial:/dev/", 12) == 0 ? text + 12
                       : strncmp(text, "can:", 4) == 0        ? text + 4
                                                              : text;
    for (; *from && *from != ',' && length < LABEL_MAX - 2; from++) {
        char c = (char)tolower((unsigned char)*from);
        bool plain = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
        if (plain || (length > 0 && label[length - 1] != '_'))
            label[length++] = plain ? c : '_';
    }
    while (length > 0 && label[length - 1] == '_')
        length--;
    label[length] = '\0';
    for (int number = 2; find_input(config, label) && number < 100; number++)
        snprintf(label + length, LABEL_MAX + 1 - length, "%d", number);
}

enum status config_add_input(struct config *config, const char *text, struct complaint *complaint)
{
    char label[LABEL_MAX + 1];
    const char *equals = strchr(text, '='), *colon = strchr(text, ':');
    const struct place_in_config where = {.section = NULL};
    if (!equals || (colon && colon < equals)) {
        make_label(config, text, label);
        return assign_input(config, &where, *label ? label : "input", text, complaint);
    }
    char name[64];
    snprintf(name, sizeof name, "%.*s", (int)(equals - text), text);
    return assign_input(config, &where, name, equals + 1, complaint);
}

/* --- the whole */

void config_init(struct config *config)
{
    memset(config, 0, sizeof *config);
    for (size_t i = 0; i < COUNT(settings); i++)
        assign_setting(&config->settings, &settings[i], settings[i].fallback, NULL);
}

void config_free(struct config *config)
{
    facts_free(&config->facts);
    free(config->transducers);
    free(config->all_rows);
    memset(config, 0, sizeof *config);
}

enum status config_copy(struct config *to, const struct config *from)
{
    config_init(to);
    to->settings = from->settings;
    to->input_count = from->input_count;
    memcpy(to->inputs, from->inputs, sizeof to->inputs);
    enum status status = facts_copy(&to->facts, &from->facts);
    to->transducers = calloc(from->transducer_count + 1, sizeof *to->transducers);
    if (status == STATUS_OK && to->transducers) {
        to->transducer_count = from->transducer_count;
        if (from->transducer_count > 0)
            memcpy(to->transducers, from->transducers,
                   from->transducer_count * sizeof *to->transducers);
        return STATUS_OK;
    }
    config_free(to);
    return STATUS_MEMORY;
}

enum status config_transducers(struct config *config, struct transducer_map *out)
{
    size_t defaults = config->settings.transducer_defaults ? transducer_default_count : 0;
    size_t own = config->transducer_count;
    struct transducer_row *rows = realloc(config->all_rows, (own + defaults + 1) * sizeof *rows);
    if (!rows)
        return STATUS_MEMORY;
    if (own > 0)
        memcpy(rows, config->transducers, own * sizeof *rows);
    if (defaults > 0)
        memcpy(rows + own, transducer_defaults, defaults * sizeof *rows);
    config->all_rows = rows;
    *out = (struct transducer_map){own + defaults, rows, (int)config->settings.rpm_first_engine};
    return STATUS_OK;
}

/* --- what is set, as text */

#define ROW_ROOM 256

static const char *word_of(enum channel_id channel)
{
    switch (channel) {
    case CHANNEL_BATTERY_VOLTAGE:
    case CHANNEL_BATTERY_CURRENT:
    case CHANNEL_BATTERY_TEMPERATURE:
        return "battery";
    case CHANNEL_FLUID_LEVEL:
    case CHANNEL_FLUID_TYPE:
    case CHANNEL_TANK_CAPACITY:
        return "tank";
    default:
        return "engine";
    }
}

/* A row as the configuration writes it. */
static void row_text(char *to, size_t room, const struct transducer_row *row)
{
    char where[32] = "vessel";
    if (row->engine == TRANSDUCER_NUMBERED)
        snprintf(where, sizeof where, "%s {n}", word_of(row->channel));
    else if (row->engine >= 0)
        snprintf(where, sizeof where, "%s %d", word_of(row->channel), row->engine);
    snprintf(to, room, "%s, %s, %s -> %s, %s", row->type, row->unit, row->name,
             channel_get(row->channel)->key, where);
}

static char *fact_assignment(const struct fact *fact)
{
    static const char *const sections_of[] = {
        [FACT_BOAT] = "boat", [FACT_ENGINE] = "engine", [FACT_RUN] = "run"};
    char number[16] = "", *text = NULL;
    if (fact->section == FACT_ENGINE)
        snprintf(number, sizeof number, "%d", fact->engine);
    if (asprintf(&text, "%s%s.%s=%s", sections_of[fact->section], number, fact->key, fact->value) <
        0)
        return NULL;
    return text;
}

static char *setting_assignment(const struct settings *from, const struct setting *row)
{
    const void *at = (const char *)from + row->offset;
    char *text = NULL;
    int length = -1;
    switch (row->kind) {
    case SETTING_TEXT:
        length = asprintf(&text, "logger.%s=%s", row->key, (const char *)at);
        break;
    case SETTING_NUMBER:
        length = asprintf(&text, "logger.%s=%.17g", row->key, *(const double *)at);
        break;
    case SETTING_SWITCH:
        length = asprintf(&text, "logger.%s=%s", row->key, *(const bool *)at ? "yes" : "no");
        break;
    }
    return length < 0 ? NULL : text;
}

static char *row_assignment(size_t number, const struct transducer_row *row)
{
    char words[ROW_ROOM], *text = NULL;
    row_text(words, sizeof words, row);
    return asprintf(&text, "transducers.row%zu=%s", number, words) < 0 ? NULL : text;
}

/* The list, or NULL and nothing left of it if one of its texts found no memory. */
static char **drop_if_short(char **list, size_t count)
{
    size_t there = 0;
    for (size_t i = 0; i < count; i++)
        there += list[i] != NULL;
    if (there == count)
        return list;
    for (size_t i = 0; i < count; i++)
        free(list[i]);
    free(list);
    return NULL;
}

char **config_list(const struct config *config)
{
    size_t count = config->facts.count + COUNT(settings) + config->transducer_count, n = 0;
    char **list = calloc(count + 1, sizeof *list);
    if (!list)
        return NULL;
    for (size_t i = 0; i < config->facts.count; i++)
        list[n++] = fact_assignment(&config->facts.list[i]);
    for (size_t i = 0; i < COUNT(settings); i++)
        list[n++] = setting_assignment(&config->settings, &settings[i]);
    for (size_t i = 0; i < config->transducer_count; i++)
        list[n++] = row_assignment(i + 1, &config->transducers[i]);
    return drop_if_short(list, count);
}

void config_list_free(char **list)
{
    for (char **at = list; at && *at; at++)
        free(*at);
    free(list);
}

/* --- the listing */

static void describe_facts(FILE *to, enum fact_section section, const char *heading)
{
    fprintf(to, "\n[%s]\n", heading);
    for (size_t i = 0; i < fact_row_count; i++) {
        const struct fact_row *row = &fact_rows[i];
        if (row->section == section)
            fprintf(to, "  %-24s %s: %s (default: %s)\n", row->key, row->title, row->help,
                    *row->fallback ? row->fallback : "not recorded");
    }
}

static void describe_logger(FILE *to)
{
    fprintf(to, "\n[logger]\n");
    for (size_t i = 0; i < COUNT(settings); i++) {
        const struct setting *row = &settings[i];
        fprintf(to, "  %-24s %s (", row->key, row->help);
        if (row->kind == SETTING_NUMBER)
            fprintf(to, "%g to %g%s%s, ", row->low, row->high, *row->unit ? " " : "", row->unit);
        else if (row->kind == SETTING_SWITCH)
            fprintf(to, "yes or no, ");
        fprintf(to, "default: %s)\n", row->fallback);
    }
}

static void describe_inputs(FILE *to)
{
    fprintf(to,
            "\n[inputs]\n  NAME = INPUT             one line an input; NAME is 1 to %d of a-z, 0-9 "
            "and _; INPUT is one of\n",
            LABEL_MAX);
    for (size_t i = 0; i < input_driver_count; i++)
        fprintf(to, "      %s\n", input_drivers[i]->usage);
}

static void describe_row(FILE *to, const struct transducer_row *row)
{
    char text[ROW_ROOM];
    row_text(text, sizeof text, row);
    fprintf(to, "      %s\n", text);
}

static void describe_channel(FILE *to, const struct channel *channel)
{
    const char *unit = unit_symbol(channel->unit, UNITS_SI);
    fprintf(to, "      %-30s %s%s%s\n", channel->key, channel->title, *unit ? ", " : "", unit);
}

static void describe_transducers(FILE *to)
{
    fprintf(
        to,
        "\n[transducers]\n  NAME = ROW               which channel an XDR transducer is; "
        "NAME is your own.\n"
        "  A ROW is TYPE, UNIT, TRANSDUCER -> CHANNEL, engine N | engine {n} | vessel\n"
        "  (tank and battery for their channels).\n"
        "  TYPE, UNIT and TRANSDUCER stand as sent; an empty UNIT takes any; {n} is a number in "
        "the\n  transducer's name. The first row that fits counts. Built in:\n");
    for (size_t i = 0; i < transducer_default_count; i++)
        describe_row(to, &transducer_defaults[i]);
    fprintf(to, "  Channels:\n");
    for (int id = 0; id < CHANNEL_COUNT; id++)
        if (!transducer_is_unmapped((enum channel_id)id))
            describe_channel(to, channel_get((enum channel_id)id));
}

void config_describe(FILE *to)
{
    fprintf(to,
            "Settings of a searun-logger configuration file. Lines are \"key = value\" under a "
            "[section];\n"
            "a line that begins with ; or # is a comment, and so is what follows a space and a ;.\n"
            "A long text goes on in further lines that begin with a space. On the command line:\n"
            "--set boat.name=\"Tern's Reach\" --set engine0.thermostat=71,82\n");
    describe_facts(to, FACT_BOAT, "boat");
    describe_facts(to, FACT_ENGINE, "engine N");
    describe_facts(to, FACT_RUN, "run");
    describe_logger(to);
    describe_inputs(to);
    describe_transducers(to);
}
