/* import_map.c - see import_map.h. */
#include "import_map.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define ITEM_MAX 300

/* --- columns of the file */

static enum status read_place(const char *value, struct import_place *to,
                              struct complaint *complaint)
{
    char *end;
    memset(to, 0, sizeof *to);
    if (*value != '#') {
        if (*value == '\0' || strlen(value) >= sizeof to->name)
            return complain(
                complaint, STATUS_BAD_USAGE,
                "columns: the name of a column is wanted behind =, or # and its number");
        snprintf(to->name, sizeof to->name, "%s", value);
        return STATUS_OK;
    }
    unsigned long number = strtoul(value + 1, &end, 10);
    if (!isdigit((unsigned char)value[1]) || *end != '\0' || number < 1 || number > 256)
        return complain(complaint, STATUS_BAD_USAGE,
                        "columns: \"%.40s\": columns are numbered from #1 to #256", value);
    to->number = number;
    return STATUS_OK;
}

/* --- settings */

static enum status set_date(struct import_map *map, const char *unit, const char *value,
                            struct complaint *complaint)
{
    (void)unit;
    map->has_date = true;
    return read_place(value, &map->date, complaint);
}

static enum status set_time(struct import_map *map, const char *unit, const char *value,
                            struct complaint *complaint)
{
    map->has_time = true;
    map->time_kind = IMPORT_TIME_SINCE;
    map->time_unit = written_unit_find(unit, UNIT_SECOND);
    if (unit[0] == '\0')
        map->time_kind = IMPORT_TIME_TEXT;
    else if (strcmp(unit, "unix") == 0)
        map->time_kind = IMPORT_TIME_UNIX;
    else if (strcmp(unit, "spreadsheet") == 0)
        map->time_kind = IMPORT_TIME_SPREADSHEET;
    else if (!map->time_unit)
        return complain(complaint, STATUS_BAD_USAGE,
                        "columns: time[%.20s]: allowed are time for dates and times as text, "
                        "time[s], time[ms], time[min], time[h], time[days] for numbers that count "
                        "from `start` on, time[unix], time[spreadsheet]",
                        unit);
    return read_place(value, &map->time, complaint);
}

static enum status set_start(struct import_map *map, const char *unit, const char *value,
                             struct complaint *complaint)
{
    const char *text = value;
    double ahead;
    (void)unit;
    map->has_start =
        take_written_date(&text, &map->start_date) && take_written_time(&text, &map->start_seconds);
    if (map->has_start && *text != '\0' && take_written_zone(&text, &ahead)) {
        map->zone = ahead;
        map->has_zone = true;
    }
    return map->has_start && *text == '\0'
               ? STATUS_OK
               : complain(complaint, STATUS_BAD_USAGE,
                          "columns: start = %.40s: write it as 2026-11-25 10:15:00", value);
}

static enum status set_zone(struct import_map *map, const char *unit, const char *value,
                            struct complaint *complaint)
{
    const char *text = value;
    (void)unit;
    map->has_zone = take_written_zone(&text, &map->zone) && *text == '\0';
    return map->has_zone ? STATUS_OK
                         : complain(complaint, STATUS_BAD_USAGE,
                                    "columns: zone = %.40s: write how far the clock is ahead of "
                                    "UTC, as +02:00",
                                    value);
}

static enum status set_skip(struct import_map *map, const char *unit, const char *value,
                            struct complaint *complaint)
{
    char *end;
    unsigned long lines = strtoul(value, &end, 10);
    (void)unit;
    if (!isdigit((unsigned char)*value) || *end != '\0' || lines > 1000000)
        return complain(complaint, STATUS_BAD_USAGE,
                        "columns: skip = %.40s: a number of lines is wanted", value);
    map->skip = lines;
    return STATUS_OK;
}

/* Words that may stand for a setting, and what they mean. */
struct choice {
    const char *word;
    int value;
};

static enum status choose(const char *key, const char *value, const struct choice *choices,
                          size_t count, int *to, struct complaint *complaint)
{
    char allowed[200] = "";
    for (size_t i = 0; i < count; i++) {
        if (strcasecmp(choices[i].word, value) == 0) {
            *to = choices[i].value;
            return STATUS_OK;
        }
        size_t length = strlen(allowed);
        snprintf(allowed + length, sizeof allowed - length, "%s%s", i > 0 ? ", " : "",
                 choices[i].word);
    }
    return complain(complaint, STATUS_BAD_USAGE, "columns: %s = %.40s: allowed are %s", key, value,
                    allowed);
}

static enum status set_separator(struct import_map *map, const char *unit, const char *value,
                                 struct complaint *complaint)
{
    static const struct choice words[] = {{"comma", ','}, {"semicolon", ';'}, {"tab", '\t'}};
    int chosen = 0;
    (void)unit;
    enum status status =
        choose("separator", value, words, sizeof words / sizeof words[0], &chosen, complaint);
    map->separator = (char)chosen;
    return status;
}

static enum status set_decimal(struct import_map *map, const char *unit, const char *value,
                               struct complaint *complaint)
{
    static const struct choice words[] = {{"comma", ','}, {"point", '.'}};
    int chosen = 0;
    (void)unit;
    enum status status =
        choose("decimal", value, words, sizeof words / sizeof words[0], &chosen, complaint);
    map->decimal = (char)chosen;
    return status;
}

static enum status set_names(struct import_map *map, const char *unit, const char *value,
                             struct complaint *complaint)
{
    static const struct choice words[] = {{"yes", 1}, {"no", 0}};
    int chosen = 1;
    (void)unit;
    enum status status =
        choose("names", value, words, sizeof words / sizeof words[0], &chosen, complaint);
    map->has_names = chosen;
    return status;
}

static enum status set_dates(struct import_map *map, const char *unit, const char *value,
                             struct complaint *complaint)
{
    static const struct choice words[] = {{"year-month-day", IMPORT_DATES_PLAIN},
                                          {"month/day/year", IMPORT_DATES_MONTH_FIRST},
                                          {"day/month/year", IMPORT_DATES_DAY_FIRST}};
    int chosen = 0;
    (void)unit;
    enum status status =
        choose("dates", value, words, sizeof words / sizeof words[0], &chosen, complaint);
    map->dates = (enum import_dates)chosen;
    return status;
}

static enum status set_missing(struct import_map *map, const char *unit, const char *value,
                               struct complaint *complaint)
{
    (void)unit;
    if (strlen(value) >= sizeof map->missing)
        return complain(complaint, STATUS_BAD_USAGE, "columns: missing = %.40s...: too long",
                        value);
    snprintf(map->missing, sizeof map->missing, "%s", value);
    return STATUS_OK;
}

static const struct setting_row {
    const char *key;
    enum status (*set)(struct import_map *map, const char *unit, const char *value,
                       struct complaint *complaint);
} settings[] = {
    {"time", set_time},       {"date", set_date},           {"start", set_start},
    {"zone", set_zone},       {"skip", set_skip},           {"names", set_names},
    {"dates", set_dates},     {"separator", set_separator}, {"decimal", set_decimal},
    {"missing", set_missing},
};
#define SETTINGS (sizeof settings / sizeof settings[0])

/* --- channels */

/* "engine1.": takes it off the key and returns the number; 0 without. -1: not readable. */
static int take_number(char *key)
{
    static const char *const words[] = {"engine", "tank", "battery"};
    char *dot = strchr(key, '.'), *end;
    if (!dot)
        return 0;
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        size_t n = strlen(words[i]);
        if (strncmp(key, words[i], n) != 0 || !isdigit((unsigned char)key[n]))
            continue;
        long number = strtol(key + n, &end, 10);
        if (end != dot || number >= INSTANCE_MAX)
            return -1;
        memmove(key, dot + 1, strlen(dot + 1) + 1);
        return (int)number;
    }
    return -1;
}

/* "T1 +- 0.5": takes the limit off the value. */
static bool take_right(char *value, double *right)
{
    char *sign = strstr(value, "+-"), *other = strstr(value, "\xC2\xB1");
    sign = sign ? sign : other;
    if (!sign)
        return true;
    if (!read_written_number(sign + 2, false, right) || !(*right >= 0 && *right < 1000))
        return false;
    while (sign > value && isspace((unsigned char)sign[-1]))
        sign--;
    *sign = '\0';
    return true;
}

static enum status find_unit(const char *key, const char *unit, struct import_column *column,
                             struct complaint *complaint)
{
    enum unit stored = channel_get(column->channel)->unit;
    char units[100];
    if (unit[0] == '\0' && stored != UNIT_DEGC) {
        column->unit = written_unit_of_several(stored);
        column->unit_assumed = column->unit != NULL;
        return STATUS_OK;
    }
    column->unit = written_unit_find(unit, stored);
    if (column->unit)
        return STATUS_OK;
    written_unit_list(stored, units, sizeof units);
    return complain(complaint, STATUS_BAD_USAGE,
                    "columns: %s%s%.20s%s: the unit is wanted in square brackets behind the "
                    "channel, one of: %s",
                    key, unit[0] ? "[" : "", unit, unit[0] ? "]" : "", units);
}

static enum status add_channel(struct import_map *map, char *key, const char *unit, char *value,
                               struct complaint *complaint)
{
    struct import_column column = {.engine = take_number(key)};
    column.channel = channel_find(key);
    if (column.engine < 0 || column.channel == CHANNEL_COUNT)
        return complain(complaint, STATUS_BAD_USAGE,
                        "columns: \"%.60s\" is not known; allowed are time, date, start, zone, "
                        "skip, names, dates, separator, decimal, missing, and the channels of "
                        "--help-config, with engine1. in front for the second engine",
                        key);
    if (map->count == IMPORT_COLUMNS_MAX)
        return complain(complaint, STATUS_BAD_USAGE, "columns: more than %d channels",
                        IMPORT_COLUMNS_MAX);
    enum status status = find_unit(key, unit, &column, complaint);
    if (status != STATUS_OK)
        return status;
    if (!take_right(value, &column.right))
        return complain(complaint, STATUS_BAD_USAGE,
                        "columns: %s = %.60s: a number is wanted behind +-", key, value);
    if (column.unit)
        column.right *= column.unit->factor;
    status = read_place(value, &column.place, complaint);
    if (status == STATUS_OK)
        map->columns[map->count++] = column;
    return status;
}

/* --- the list */

static char *strip(char *text)
{
    size_t n = strlen(text);
    while (n > 0 && isspace((unsigned char)text[n - 1]))
        text[--n] = '\0';
    return text + strspn(text, " \t\r\n");
}

/* "coolant_temperature[C]": the unit is cut off. */
static void cut_unit(char *key, char *unit, size_t room)
{
    char *open = strchr(key, '[');
    unit[0] = '\0';
    if (!open)
        return;
    snprintf(unit, room, "%.*s", (int)strcspn(open + 1, "]"), open + 1);
    *open = '\0';
    strip(key);
}

static enum status take_item(struct import_map *map, char *item, struct complaint *complaint)
{
    char unit[24];
    char *key = strip(item), *equals = strchr(key, '=');
    if (*key == '\0' || *key == '#')
        return STATUS_OK;
    if (!equals)
        return complain(
            complaint, STATUS_BAD_USAGE,
            "columns: \"%.60s\": KEY = COLUMN is wanted, as coolant_temperature[C] = T1", key);
    *equals = '\0';
    char *value = strip(equals + 1);
    strip(key);
    cut_unit(key, unit, sizeof unit);
    for (size_t i = 0; i < SETTINGS; i++)
        if (strcmp(settings[i].key, key) == 0)
            return settings[i].set(map, unit, value, complaint);
    return add_channel(map, key, unit, value, complaint);
}

static enum status check_whole(const struct import_map *map, struct complaint *complaint)
{
    if (!map->has_time)
        return complain(complaint, STATUS_BAD_USAGE,
                        "columns: which column is the time? Add time = NAME");
    if (map->time_kind == IMPORT_TIME_SINCE && !map->has_start)
        return complain(complaint, STATUS_BAD_USAGE,
                        "columns: the numbers of the time count from when on? Add start = "
                        "2026-11-25 10:15:00");
    if (map->count == 0)
        return complain(complaint, STATUS_BAD_USAGE,
                        "columns: no channel is named; add one, as coolant_temperature[C] = T1");
    return STATUS_OK;
}

enum status import_map_read(const char *text, struct import_map *out, struct complaint *complaint)
{
    char item[ITEM_MAX];
    const char *ends = strchr(text, '\n') ? "\n" : ";";
    enum status status = STATUS_OK;
    memset(out, 0, sizeof *out);
    out->has_names = true;
    while (*text && status == STATUS_OK) {
        size_t length = strcspn(text, ends);
        if (length >= sizeof item)
            return complain(complaint, STATUS_BAD_USAGE, "columns: \"%.60s...\" is too long", text);
        snprintf(item, sizeof item, "%.*s", (int)length, text);
        status = take_item(out, item, complaint);
        text += length + (text[length] != '\0');
    }
    return status == STATUS_OK ? check_whole(out, complaint) : status;
}
